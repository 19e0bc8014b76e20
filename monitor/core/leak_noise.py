"""How noisy a gauge is that rounds, over its quantum: each noise it may have follows the vacuum for itself.

Noise shows only where the vacuum passes an edge between two values, and against how fast it passes: the same flickering is ten
times the noise where the vacuum falls ten times as fast. And too small a noise makes the rate told too slow. So nothing of
what the noise serves is taken for its judge. By each noise a filter on a grid follows how likely every level and rate is
(point-mass filter: Bucy and Senne, 1971), one window of blocks after the other; how likely its readings were weighs the noise.
A load that swings takes the vacuum over an edge and back: so far as blocks scatter by it, it is noise to the fall, and learned.
"""

from collections.abc import Sequence
from functools import lru_cache
from typing import Final, NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from monitor.core.leak_stairs import NOISES, Seen, Stairs, Where, normal_below
from monitor.core.units import S_PER_MIN

Floats = NDArray[np.float64]

_WINDOW_N: Final = 12
_LEAST_N: Final = 6


class _Grid(NamedTuple):
    """Levels on which some of the noises are followed: so many to a quantum, over a quantum and a half.

    Of a longer way within a window the slower rates explain nothing.
    """

    first: int
    end: int
    steps_n: int

    @property
    def noises(self) -> slice:
        return slice(self.first, self.end)

    @property
    def levels_n(self) -> int:
        return self.steps_n * 3 // 2 + 1

    @property
    def reach_n(self) -> int:
        """So far off a reading, two quanta, it is as unlikely as any."""
        return 2 * self.steps_n


_GRIDS: Final = (_Grid(0, 2, 128), _Grid(2, len(NOISES), 32))
"""The least noises want the finest levels: between two of them readings beside an edge would seem impossible."""

_RATES: Final = (
    np.array(
        [-1.5, -0.5, -0.15, 0, 0.01, 0.017, 0.028, 0.045, 0.07, 0.11, 0.17, 0.26, 0.4, 0.6, 0.9, 1.4, 2.2, 3.5, 5.3, 8]
    )
    / S_PER_MIN
)
_USUAL: Final = np.array([0.5, 1, 3, 14, 7, 7, 8, 10, 11, 11, 10, 7, 3, 2, 1.5, 1, 1, 0.8, 0.6, 0.6]) / 100.0
"""Falls, kPa/s, and how usual each is: shares of one."""

_STAYS: Final = 0.97
_NEXT: Final = 0.025
"""Shares of the falls that stay as they are from window to window, and that go over to the next slower or faster one."""

_ASTRAY: Final = 0.001
_HELD_WINDOWS: Final = 5.0
_WILD: Final = 1e-3
_MOST_NEWS: Final = 3.0
_DOUBT: Final = 8.0
_SAME_STEP: Final = 0.01


def _turns() -> Floats:
    """How likely each fall (row) is followed by each other (column), shape (rates, rates)."""
    turns = np.tile((1.0 - _STAYS - _NEXT) * _USUAL, (len(_RATES), 1))
    for row in range(len(_RATES)):
        turns[row, row] += _STAYS
        for beside in (max(row - 1, 0), min(row + 1, len(_RATES) - 1)):
            turns[row, beside] += _NEXT / 2.0
    return turns


_TURNS: Final = _turns()


def due(stairs: Stairs, seen: Seen, since_s: float, *, busy: bool = False) -> list[Seen]:
    """Keep a block to learn from. Returns a window of them once it is full, else nothing; while others learn it waits.

    Blocks before ``since_s`` belong to another stretch and are left out, and so is where the vacuum was then; of too few
    blocks nothing is learned.
    """
    stairs.waiting.append(seen)
    if len(stairs.waiting) < _WINDOW_N or busy:
        return []
    window, stairs.waiting = stairs.waiting[:_WINDOW_N], stairs.waiting[_WINDOW_N:]
    if stairs.where and stairs.where[0].at_s < since_s:
        stairs.where = ()
    window = [one for one in window if one.at_s >= since_s]
    return window if len(window) >= _LEAST_N else []


def learn(stairs: Stairs, window: Sequence[Seen], quantum_kpa: float) -> None:
    """Weigh the possible noises of a gauge by a window of its blocks, and follow the vacuum through it by each."""
    at_s = 0.5 * (window[0].at_s + window[-1].at_s)
    values = np.concatenate([np.repeat(value + one.climb_kpa, often) for one in window for value, often in one.counts])
    middle_kpa = float(np.median(values))
    held_s = _HELD_WINDOWS * (window[-1].at_s - window[0].at_s)
    news, found = np.zeros(len(NOISES)), []
    for grid, where in zip(_GRIDS, stairs.where or (None,) * len(_GRIDS), strict=True):
        step_kpa = quantum_kpa / grid.steps_n
        first_n = round(middle_kpa / step_kpa) - grid.levels_n // 2
        before = _foreseen(grid, where if where and at_s - where.at_s <= held_s else None, at_s, step_kpa, first_n)
        likely = _likely(grid, window, at_s, quantum_kpa, first_n)
        most = float(likely.max())
        joint = np.exp(likely - most) * before
        evidence = joint.sum(axis=(0, 1))
        news[grid.noises] = np.log(evidence) + most
        found.append(Where(at_s, step_kpa, first_n, (joint / evidence).astype(np.float32)))
    stairs.where, stairs.learned = tuple(found), True
    log_weight = stairs.log_weight + np.maximum(news - news.max(), -_MOST_NEWS)
    stairs.weigh(np.maximum(log_weight - log_weight.max(), -_DOUBT))


def _likely(grid: _Grid, window: Sequence[Seen], at_s: float, quantum_kpa: float, first_n: int) -> Floats:
    """Log likelihood of a window's readings by rate, level at its middle and noise, shape (rates, levels, noises).

    Noise is normal; a block lasts so long that a fall blurs its readings evenly; one reading in a thousand may be anything. A
    block counts as one reading: those of a second may not be of their own, where noise lingers, a load swings or a gauge is
    read more often than it looks.
    """
    lasts_s = (window[-1].at_s - window[0].at_s) / (len(window) - 1)
    lasts_s_per_kpa = float(f"{lasts_s / quantum_kpa:.1e}")  # so exactly that a gauge's windows mostly share a table
    one_reading = sliding_window_view(_one_reading(grid, lasts_s_per_kpa), grid.levels_n, axis=2)
    read = [
        (one.at_s, value + one.climb_kpa, often / sum(every for _, every in one.counts))
        for one in window
        for value, often in one.counts
    ]
    read_s, value_kpa, shares = np.array(read).T
    fallen_n = np.rint(_RATES * ((read_s[:, None] - at_s) * grid.steps_n / quantum_kpa))
    off_n = np.rint(value_kpa * grid.steps_n / quantum_kpa)[:, None] - first_n + fallen_n
    most_n = grid.reach_n + grid.levels_n
    begins = most_n - np.minimum(np.maximum(off_n, -grid.reach_n), most_n).astype(int)
    likely = np.zeros((len(_RATES), len(NOISES[grid.noises]), grid.levels_n))
    rates_n = np.arange(len(_RATES))
    for n, share in enumerate(shares):
        likely += share * one_reading[rates_n, :, begins[n]]
    return likely.transpose(0, 2, 1)


@lru_cache(maxsize=16)
def _one_reading(grid: _Grid, lasts_s_per_kpa: float) -> Floats:
    """Log likelihood of one reading by rate, noise and how far it is above the level, shape (rates, noises, places).

    From far above to far below, so that the places of rising levels follow each other. ``lasts_s_per_kpa``: how long a block
    lasts, over the quantum.
    """
    sd = np.sqrt(NOISES[grid.noises] ** 2 + (_RATES[:, None] * lasts_s_per_kpa) ** 2 / 12.0)[:, :, None]
    most_n = grid.reach_n + grid.levels_n
    off = np.clip(np.arange(most_n, -most_n - 1, -1), -grid.reach_n, grid.reach_n) / grid.steps_n
    return np.log(normal_below((off + 0.5) / sd) - normal_below((off - 0.5) / sd) + _WILD)


def _foreseen(grid: _Grid, where: Where | None, at_s: float, step_kpa: float, first_n: int) -> Floats:
    """How likely each rate and level is by each noise before a window is looked at, shape (rates, levels, noises).

    What was last found falls on by its rates. What leaves the levels followed, and a share that went astray, may be anywhere.
    """
    shape = len(_RATES), grid.levels_n, len(NOISES[grid.noises])
    anywhere = np.broadcast_to(_USUAL[:, None, None] / grid.levels_n, shape)
    if where is None or abs(where.step_kpa / step_kpa - 1.0) > _SAME_STEP:
        return anywhere
    fallen = _RATES[:, None] * ((at_s - where.at_s) / step_kpa)
    came_from = np.arange(grid.levels_n) + (first_n - where.first_n) + fallen
    below = np.floor(came_from)
    part = (came_from - below)[..., None]
    places = np.clip(below, -2, grid.levels_n).astype(int) + 2
    share = np.pad(where.share, ((0, 0), (2, 2), (0, 0)))
    rates_n = np.arange(len(_RATES))[:, None]
    found = share[rates_n, places] * (1.0 - part) + share[rates_n, places + 1] * part
    found = (_TURNS.T @ found.reshape(len(_RATES), -1)).reshape(shape)
    found += np.maximum(1.0 - found.sum(axis=(0, 1)), 0.0) * anywhere
    return np.asarray((1.0 - _ASTRAY) * found + _ASTRAY * anywhere)
