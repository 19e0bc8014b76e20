"""From the weighed hypotheses of one circuit to the quantiles of its rate and of its time to a level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.core.leak_bank import (
    BASED,
    BEND,
    GROWTH,
    KINDS,
    LAMINAR,
    LEVEL,
    P_GROWTH,
    P_LEVEL,
    P_LEVEL_GROWTH,
    P_LEVEL_RATE,
    P_RATE,
    P_RATE_GROWTH,
    RATE,
    RATE_WANDER,
    RATE_WANDER_RATIO,
    SETTLING,
    STEADY,
    UNSETTLED_S,
    Bank,
)
from monitor.core.units import S_PER_MIN
from monitor.core.warning_time import (
    Bounds,
    laminar_distance_kpa,
    normal_cdf,
    orifice_distance_kpa,
)

Floats = NDArray[np.float64]

SHARES: Final = (0.05, 0.5, 0.95)
_KEPT_N: Final = 16
_FEARED_N: Final = 48
_LEAST_LOG: Final = -9.0
_HEAVIEST: Final = np.arange(-10, 0)
_ASIDE: Final = np.array([-math.sqrt(3.0), math.sqrt(3.0)])
_GROWTH_VAR_LEAST: Final = 1e-16
_LEAST_LEFT: Final = 1e-300
_RATE_SHARES: Final = np.array([0.05, 0.16, 0.5, 0.84, 0.95])
_GRID_SDS: Final = np.array([-2.5, -1.6, -1.0, -0.5, -0.2, 0.2, 0.5, 1.0, 1.6, 2.5])
_COARSE: Final = np.linspace(0.0, 1.0, 26)
_FINE: Final = np.linspace(0.0, 1.0, 9)
_FIRST_S: Final = 4.0
_FRESH_S: Final = 30.0
_FRESH_DOUBT: Final = math.log(100.0)
"""The first changes that noise suggests are told only once the evidence for them is so much stronger."""

_LASTING_S: Final = 60.0

CHANGE_FEAR: Final = ([math.log(0.045), math.log(0.08)], [0.0, math.log(10000.0)])
"""The early bound believes so much more readily that a leak has just begun or widened: as readily as the rest where a second
of readings is good to 0.045 kPa, once in ten seconds, not once in a day, where it is no better than 0.08 kPa.

So what a gauge can't show yet counts, the longer the coarser it is. An older change is feared no more: it has shown, or is so
small that it would only take the weight from those that have not. Calibrated on training seeds for early bounds that hold.
"""

GROWTH_FEAR: Final = 4.0
GROWTH_DOUBT: Final = 0.2
"""The early bound fears growth; the likely and the late time believe it only on evidence. As found, the early bound goes from
doubt to ``LEAK_GROWTH_FEAR`` as more than the leak of a lifter in order becomes, from as likely as not, sure to grow."""

LEAK_GROWTH_FEAR: Final = 2.0

LATE_SHARE: Final = ([math.log(0.15), math.log(0.29)], [0.90, SHARES[2]])
"""Point of the weighed hypotheses that is the late time, by how far a second of readings may be off, kPa.

Where the readings are good the hypotheses leave it further off than it is: by their own 95 % point it came too early in one
of sixty. Calibrated on training seeds for a time that is too early in one of twenty.
"""

FALLING_KPA_PER_S: Final = 0.35 / S_PER_MIN
"""A fall counts as one beyond this: lifters in order lose up to 0.3 kPa/min (common practice)."""

_FEARED: Final = np.array([kind.feared for kind in KINDS], dtype=float)

BEND_SD_RATIO: Final = 0.35
"""A growing leak may go on growing by another law: uncertainty of what the growth adds, over what it adds."""


@dataclass(slots=True)
class Mixture:
    """The likeliest hypotheses of one circuit, shapes (n,): levels in kPa of vacuum, rates in kPa/s, positive falling.

    ``kind`` indexes ``KINDS``; ``base`` is lost besides ``rate``, steadily. ``source``: bank, row and fear of a change
    for the worse (log), to weigh the hypotheses as the early bound does while the bank stands as it was; ``moved``: what was
    added to levels and rates since.
    """

    weight: Floats
    kind: NDArray[np.int_]
    age_s: Floats
    level: Floats
    rate: Floats
    growth: Floats
    base: Floats
    p_level: Floats
    p_cross: Floats
    p_rate: Floats
    source: tuple[Bank, int, float] | None = None
    moved: tuple[float, float] = (0.0, 0.0)

    def shift(self, level_kpa: float, rate_kpa_per_s: float) -> None:
        """Add to every level and rate."""
        self.level += level_kpa
        self.rate += rate_kpa_per_s
        self.moved = (self.moved[0] + level_kpa, self.moved[1] + rate_kpa_per_s)


class RateQuantiles(NamedTuple):
    """5 %, 16 %, 50 %, 84 % and 95 % points of a rate, kPa/s."""

    low: float
    lower: float
    middle: float
    upper: float
    high: float

    @property
    def sd(self) -> float:
        """Half the width of the middle 68 %: a standard deviation that a few per cent of strays do not widen."""
        return 0.5 * (self.upper - self.lower)


def mixtures(
    bank: Bank, rows: Sequence[int], block_var_kpa2: Sequence[float], *, level_shift_kpa: float = 0.0
) -> list[Mixture]:
    """The hypotheses of each row that matter, levels shifted; those that may grow split in three over it (Gauss-Hermite).

    ``block_var_kpa2``: how far a second of each row's readings may be off.
    """
    if not rows:
        return []
    fresh = bank.changes()[:, rows] & (bank.at_s - bank.onset_s[:, rows] < _FRESH_S)
    chosen = _chosen(bank, rows, bank.log_weight[:, rows] - _FRESH_DOUBT * fresh[:, :, None], _KEPT_N)
    fears = np.interp(0.5 * np.log(block_var_kpa2), *CHANGE_FEAR).tolist()
    for row, mixed, fear in zip(rows, chosen, fears, strict=True):
        mixed.source = (bank, row, fear)
        mixed.shift(level_shift_kpa, 0.0)
    return chosen


def _feared(mixed: Mixture) -> Mixture | None:
    """The same hypotheses as the early bound weighs them: later ones for the worse count more."""
    if mixed.source is None:
        return None
    bank, row, fear = mixed.source
    if fear <= 0.0:
        return None
    onset_s, told = bank.onset_s[:, row], bank.log_weight[:, row]
    later = (
        bank.changes()[:, row] & (onset_s > onset_s[int(told.max(axis=1).argmax())]) & (bank.at_s - onset_s < _FRESH_S)
    )
    (feared,) = _chosen(bank, [row], (told + fear * _FEARED * later[:, None])[:, None], _FEARED_N)
    feared.shift(*mixed.moved)
    return feared


def _chosen(bank: Bank, rows: Sequence[int], log_weight: Floats, most_n: int) -> list[Mixture]:
    """Of each row the likeliest by ``log_weight``, shape (slots, rows, kinds), as one piece of the same arrays each."""
    log_weight = log_weight.swapaxes(0, 1).reshape(len(rows), -1)
    kept = np.argpartition(log_weight, -most_n, axis=1)[:, -most_n:]
    log_weight = np.take_along_axis(log_weight, kept, axis=1)
    log_weight -= log_weight.max(axis=1, keepdims=True)
    likely = log_weight > _LEAST_LOG
    of, kept, weight = np.nonzero(likely)[0], kept[likely], np.exp(log_weight[likely])
    weight /= np.add.reduceat(weight, np.searchsorted(of, range(len(rows))))[of]
    slot, kind, row = kept // len(KINDS), kept % len(KINDS), np.array(rows)[of]
    state = bank.state[:, slot, row, kind]
    grown = np.flatnonzero(state[P_GROWTH] > _GROWTH_VAR_LEAST)
    place = np.concatenate((np.arange(len(kept)), grown, grown))
    aside, share = np.zeros(len(place)), np.ones(len(place))
    aside[len(kept) :] = np.repeat(_ASIDE, len(grown))
    share[grown], share[len(kept) :] = 2.0 / 3.0, 1.0 / 6.0
    by_row = np.argsort(of[place], kind="stable")
    place, aside, share = place[by_row], aside[by_row], share[by_row]
    state, of, slot, kind, row = state[:, place], of[place], slot[place], kind[place], row[place]
    growth_var = np.maximum(state[P_GROWTH], _GROWTH_VAR_LEAST)
    aside *= np.sqrt(growth_var)
    by_growth_level, by_growth_rate = state[P_LEVEL_GROWTH] / growth_var, state[P_RATE_GROWTH] / growth_var
    weight = weight[place] * share
    every = (
        bank.at_s - bank.onset_s[slot, row],
        state[LEVEL] + by_growth_level * aside,
        state[RATE] + by_growth_rate * aside,
        state[GROWTH] + aside,
        bank.base[slot, row] * BASED[kind],
        np.maximum(state[P_LEVEL] - by_growth_level * state[P_LEVEL_GROWTH], 1e-12),
        state[P_LEVEL_RATE] - by_growth_level * state[P_RATE_GROWTH],
        np.maximum(state[P_RATE] - by_growth_rate * state[P_RATE_GROWTH], 1e-18),
    )
    ends = np.searchsorted(of, range(len(rows) + 1)).tolist()
    return [
        Mixture(weight[first:end], kind[first:end], *(one[first:end] for one in every)) for first, end in pairwise(ends)
    ]


def gaussian(level_kpa: float, rate: tuple[float, float]) -> Mixture:
    """A steady fall from a level, with a remembered (mean, variance) of its rate, by either law."""
    two = np.ones(2)
    zero = np.zeros(2)
    kind = np.array([STEADY, STEADY + 1])
    return Mixture(0.5 * two, kind, zero, level_kpa * two, rate[0] * two, zero, zero, zero, zero, rate[1] * two)


def lasting_above(
    mixed: Mixture, rate_kpa_per_s: float, *, settling_since_s: float, counted: NDArray[np.bool_] | None = None
) -> float:
    """Probability that the rate is above a value and will be so a minute on; ``counted``: by which hypotheses alone.

    Gas settles only after its pump stopped: a hypothesis of settling counts if it is as old as the stretch, which began
    ``settling_since_s`` ago.
    """
    settles = (mixed.kind < SETTLING.stop) & (mixed.age_s >= settling_since_s - UNSETTLED_S)
    rate = mixed.rate * np.where(settles, np.exp(mixed.growth * _LASTING_S), 1.0) + mixed.base
    weight = mixed.weight if counted is None else mixed.weight * counted
    return float((weight * normal_cdf((rate - rate_kpa_per_s) / np.sqrt(mixed.p_rate))).sum())


def lost_kpa(mixed: Mixture) -> Floats:
    """What every hypothesis says was lost since its onset by the change itself, kPa; of what settles, at its rate of now."""
    return -mixed.rate * _reach(replace(mixed, growth=np.maximum(mixed.growth, 0.0)), -mixed.age_s)


def rate_quantiles(mixed: Sequence[Mixture]) -> list[RateQuantiles]:
    """Points of the distribution of each one's rate, kPa/s."""
    if not mixed:
        return []
    weight = np.concatenate([one.weight for one in mixed])
    rate = np.concatenate([one.rate for one in mixed]) + np.concatenate([one.base for one in mixed])
    sd = np.sqrt(np.concatenate([one.p_rate for one in mixed]))
    sizes = np.array([len(one.weight) for one in mixed])
    of, ends = np.repeat(range(len(mixed)), sizes), np.cumsum(sizes)
    firsts = ends - sizes
    heavy = np.lexsort((weight, of))[np.maximum(ends[:, None] + _HEAVIEST, firsts[:, None])]
    grid = np.sort((rate[heavy][:, :, None] + sd[heavy][:, :, None] * _GRID_SDS).reshape(len(mixed), -1), axis=1)
    share = weight[:, None] * normal_cdf((grid[of] - rate[:, None]) / sd[:, None])
    below = np.add.reduceat(share, firsts.tolist(), axis=0)
    return [RateQuantiles(*np.interp(_RATE_SHARES, *one).tolist()) for one in zip(below, grid, strict=True)]


class Around(NamedTuple):
    """What a projection has to know besides: ambient pressure in kPa; times beyond the horizon in s are ``None``.

    ``hidden_kpa_per_s``: what a cooling gas may hide of the leak; the early bound allows for it. ``second_var_kpa2``: how far
    a second of the circuit's readings may be off.
    """

    ambient_kpa: float
    horizon_s: float
    hidden_kpa_per_s: float = 0.0
    second_var_kpa2: float = math.inf


def time_to(mixed: Mixture, level_kpa: float, around: Around) -> Bounds:
    """Quantiles of the time until a level is reached by the leak as found, under both flow laws, s."""
    now_kpa = _now_kpa(mixed)
    if now_kpa <= level_kpa:
        return Bounds(0.0, 0.0, 0.0)
    way = _way(mixed, now_kpa, level_kpa, around.ambient_kpa)
    shares = (SHARES[1], float(np.interp(0.5 * math.log(around.second_var_kpa2), *LATE_SHARE)))
    likely, late = _quantiles(_growth_times(mixed, GROWTH_DOUBT), way, shares, around.horizon_s, 0.0)
    leaks = lasting_above(mixed, FALLING_KPA_PER_S, settling_since_s=math.inf)
    fears = max(2.0 * leaks - 1.0, 0.0)
    grows = _growth_times(mixed, GROWTH_DOUBT + (LEAK_GROWTH_FEAR - GROWTH_DOUBT) * fears)
    return Bounds(_early_s(grows, way, around, likely), likely, late)


def feared(found: Bounds, mixed: Mixture, level_kpa: float, around: Around) -> Bounds:
    """What ``time_to`` found, its early bound no later than what the readings can't rule out yet would have it."""
    fears = _feared(mixed)
    if fears is None or found.early_s == 0.0:
        return found
    way = _way(fears, _now_kpa(mixed), level_kpa, around.ambient_kpa)
    fears = _growth_times(fears, GROWTH_FEAR)
    if found.early_s is not None:  # mostly what was found is early enough
        by_then = _reached(fears, way, np.array([found.early_s]), around.hidden_kpa_per_s)[0]
        if by_then < SHARES[0]:
            return found
    return replace(found, early_s=_early_s(fears, way, around, found.early_s))


def _early_s(mixed: Mixture, way: "_Way", around: Around, latest_s: float | None) -> float | None:
    early_s = _quantiles(mixed, way, SHARES[:1], around.horizon_s, around.hidden_kpa_per_s)[0]
    return min((t for t in (early_s, latest_s) if t is not None), default=None)


def _now_kpa(mixed: Mixture) -> float:
    return float((mixed.weight * mixed.level).sum())


def _growth_times(mixed: Mixture, factor: float) -> Mixture:
    """The hypotheses with those of growth weighed otherwise."""
    grows = (BASED[mixed.kind] > 0.0) & (mixed.kind >= SETTLING.stop)
    weight = mixed.weight * np.where(grows, factor, 1.0)
    return replace(mixed, weight=weight / weight.sum())


@dataclass(slots=True)
class _Way:
    """Linear distance to the level per hypothesis, and how uncertain the flow law leaves it, kPa."""

    to_go: Floats
    law_sd: Floats


def _way(mixed: Mixture, now_kpa: float, level_kpa: float, ambient_kpa: float) -> _Way:
    plain = now_kpa - level_kpa
    top = min(now_kpa, ambient_kpa - 1.0)
    orifice = max(orifice_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = max(laminar_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = min(laminar, 2.0 * orifice)
    share = LAMINAR[mixed.kind]
    stretch = (orifice + (laminar - orifice) * share) / plain
    return _Way((mixed.level - level_kpa) * stretch, (laminar - orifice) * np.where(share == 0.5, 0.4, 0.15))


def _quantiles(
    mixed: Mixture, way: _Way, shares: Sequence[float], horizon_s: float, hidden_kpa_per_s: float
) -> list[float | None]:
    if _reached(mixed, way, np.array([horizon_s]), hidden_kpa_per_s)[0] < min(shares):
        return [None] * len(shares)
    grid = _FIRST_S * (horizon_s / _FIRST_S) ** _COARSE
    coarse = _reached(mixed, way, grid, hidden_kpa_per_s)
    found: list[float | None] = []
    for share in shares:
        if coarse[-1] < share:
            found.append(None)
            continue
        place = int(np.searchsorted(coarse, share))
        low_s = 0.0 if place == 0 else float(grid[place - 1])
        fine = low_s + (float(grid[place]) - low_s) * _FINE
        reached = np.zeros(len(_FINE))
        reached[1:] = _reached(mixed, way, fine[1:], hidden_kpa_per_s)
        reached[0] = 0.0 if place == 0 else coarse[place - 1]
        found.append(float(np.interp(share, reached, fine)))
    return found


def _reached(mixed: Mixture, way: _Way, time_s: Floats, hidden_kpa_per_s: float) -> Floats:
    """Probability that the level has been reached by each time, never falling, shape of ``time_s``."""
    time_s = time_s[:, None]
    rate = mixed.rate + mixed.base
    reach = _reach(mixed, time_s)
    covered = mixed.rate * reach + (mixed.base + hidden_kpa_per_s) * time_s
    var = mixed.p_level + reach * (reach * mixed.p_rate - 2.0 * mixed.p_cross)
    var += way.law_sd * way.law_sd + (RATE_WANDER + RATE_WANDER_RATIO * rate * rate) * time_s**3 / 3.0
    bend = BEND_SD_RATIO * mixed.rate * (reach - time_s)
    var += bend * bend
    share = (mixed.weight * normal_cdf((covered - way.to_go) / np.sqrt(np.maximum(var, 1e-9)))).sum(axis=1)
    return np.asarray(np.maximum.accumulate(share))


def _reach(mixed: Mixture, time_s: Floats) -> Floats:
    """How far a rate of one falls in a time, s; before now where it is negative."""
    grown = np.minimum(mixed.growth * time_s, 30.0)
    steady = np.abs(grown) < 1e-6
    growth = np.where(steady, 1.0, mixed.growth)
    reach = np.where(steady, time_s, np.expm1(grown) / growth)
    bend = BEND[mixed.kind]
    bends = (bend != 0.0) & ~steady
    if bends.any():
        power = 1.0 + 1.0 / np.where(bends, bend, 1.0)
        left = np.maximum(1.0 + bend * grown, _LEAST_LEFT)  # of the time until it runs away, or since it was nothing
        log = power == 0.0
        bent = np.where(log, np.log(left), (left**power - 1.0) / np.where(log, 1.0, power))
        reach = np.where(bends, bent / (growth * np.where(bends, bend, 1.0)), reach)
    return reach
