"""A bank of straight and curved falls, one set per signal, weighed by how well each explains the readings.

Every hypothesis says "since time τ the vacuum falls at a rate that grows as exp(g·t)". With g given, level and rate obey
a linear law, so a two-state Kalman filter carries each hypothesis exactly; its weight is the likelihood of the readings
times the prior of a change at τ (Bayesian change-point detection: Adams and MacKay, 2007, arXiv:0710.3742). A new
hypothesis is born with every block. Older ones are thinned so that their ages stay spread evenly on a log scale: memory
and time per block are fixed, and the onset is known to a fifth of its age.
"""

import math
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SLOTS_N: Final = 24
"""Onsets carried. Ages from 1 s to an hour in 24 steps are 1.4 apart."""

GROWTHS_PER_S: Final = np.array(
    [
        -1 / 40,
        -1 / 120,
        -1 / 400,
        0.0,
        *(math.log(2.0) / doubling_s for doubling_s in (600, 400, 270, 180, 110)),
        0.0,
        0.0,
    ]
)
"""Growth rates carried, 1/s: gas settling, steady, doubling in 10 to 2 min, back to quiet, and a jump of the level."""

STEADY: Final = 3
JUMP: Final = len(GROWTHS_PER_S) - 1

CHANGE_PER_S: Final = 1 / 4000
"""Prior chance of a new onset per second."""

_ONSET_SHARE: Final = np.array([0.03, 0.03, 0.03, 0.36, *[0.03] * 5, 0.30, 0.10])
_RATE_MEAN: Final = np.array([0.0, 0.0, 0.0, 1.0, *[0.5] * 5, 0.1, 0.0]) / 60.0
_RATE_SD: Final = np.array([2.0, 2.0, 1.0, 3.0, *[0.5] * 5, 0.15, 0.0]) / 60.0
_START_SHARE: Final = np.array([0.08, 0.08, 0.08, 0.35, *[0.006] * 5, 0.38, 0.0])
_START_MEAN: Final = np.array([0.0, 0.0, 0.0, 0.5, *[0.3] * 5, 0.1, 0.0]) / 60.0
_START_SD: Final = np.array([4.0, 4.0, 1.0, 1.0, *[0.4] * 5, 0.15, 0.6]) / 60.0
_JUMP_SD_KPA: Final = 3.0

WILD_SHARE: Final = 0.01
WILD_WIDTH_KPA: Final = 30.0
"""A block may be wild: one in a hundred, anywhere in 30 kPa."""

RATE_WANDER: Final = (0.010 / 60.0) ** 2 / 60.0
"""Growth of a rate's variance, (kPa/s)²/s: a steady leak is steady to 0.01 kPa/min in a minute."""

LEVEL, RATE, P_LEVEL, P_CROSS, P_RATE = range(5)

DEAD: Final = -1.0e4
"""Log weight of a hypothesis that is not in use."""

_LEAST: Final = np.array([-1e4, -10.0, 1e-9, -1e3, 1e-14])[:, None, None, None]
_MOST: Final = np.array([1e4, 10.0, 1e4, 1e3, 100.0])[:, None, None, None]


@dataclass(slots=True)
class Bank:
    """State of every hypothesis: ``state[(level, rate, p_level, p_cross, p_rate), slot, row, growth]``.

    Levels in kPa below a fixed reference, rates in kPa/s, positive falling; ``log_weight[slot, row, growth]`` is
    normalised per row. ``slots`` lists slots youngest first, ``born_s`` their births.
    """

    rows_n: int
    at_s: float
    state: Floats = field(init=False)
    log_weight: Floats = field(init=False)
    slots: list[int] = field(init=False)
    born_s: list[float] = field(init=False)
    since_s: list[float] = field(init=False)

    def __post_init__(self) -> None:
        shape = (SLOTS_N, self.rows_n, len(GROWTHS_PER_S))
        self.state = np.zeros((5, *shape))
        self.state[P_LEVEL] = self.state[P_RATE] = 1.0
        self.log_weight = np.full(shape, DEAD)
        self.slots = list(range(SLOTS_N))
        self.born_s = [-math.inf] * SLOTS_N
        self.since_s = [math.inf] * self.rows_n


def restart(
    bank: Bank, row: int, level_kpa: float, noise_var: float, *, rate: tuple[float, float] | None = None
) -> None:
    """Forget what a row knows and start it at a level, its rate unknown or, as (mean, variance) in kPa/s, remembered."""
    slot = bank.slots[-1]
    bank.log_weight[:, row] = DEAD
    bank.log_weight[slot, row] = np.log(np.maximum(_START_SHARE, 1e-30))
    state = bank.state[:, slot, row]
    state[LEVEL] = level_kpa
    state[P_LEVEL] = 4.0 * noise_var
    state[P_CROSS] = 0.0
    state[RATE] = _START_MEAN
    state[P_RATE] = _START_SD**2
    if rate is not None:
        state[RATE, STEADY] = rate[0]
        state[P_RATE, STEADY] = rate[1]
    bank.since_s[row] = bank.at_s


def widen(bank: Bank, row: int, level_var: float, rate_var: float) -> None:
    """Make a row less sure of its levels (kPa²) and rates ((kPa/s)²), as after a hole in the readings."""
    bank.state[P_LEVEL, :, row] += level_var
    bank.state[P_RATE, :, row] += rate_var


def predict(bank: Bank, now_s: float) -> None:
    """Carry every hypothesis forward to a later time."""
    dt_s = now_s - bank.at_s
    if dt_s <= 0.0:
        return
    grow, reach = transition(dt_s)
    level, rate, p_level, p_cross, p_rate = bank.state
    level -= reach * rate
    p_level += reach * (reach * p_rate - 2.0 * p_cross)
    p_cross -= reach * p_rate
    p_cross *= grow
    rate *= grow
    p_rate *= grow * grow
    p_rate += RATE_WANDER * dt_s
    np.clip(bank.state, _LEAST, _MOST, out=bank.state)
    bank.at_s = now_s


def transition(dt_s: float) -> tuple[Floats, Floats]:
    """How rates grow over a time (factor), and how far a unit rate falls in it (s), per growth rate."""
    grown = GROWTHS_PER_S * dt_s
    safe = np.where(GROWTHS_PER_S == 0.0, 1.0, GROWTHS_PER_S)
    return np.exp(grown), np.where(GROWTHS_PER_S == 0.0, dt_s, np.expm1(grown) / safe)


def observe(bank: Bank, seen_kpa: Floats, noise_var: Floats, wanted: NDArray[np.bool_]) -> None:
    """Weigh and correct every hypothesis by one block per row, shapes (rows,); rows not wanted stay as they are."""
    level, rate, p_level, p_cross, p_rate = bank.state
    miss = seen_kpa[:, None] - level
    spread = p_level + noise_var[:, None]
    inlier = (1.0 - WILD_SHARE) / math.sqrt(2.0 * math.pi) * np.exp(-0.5 * np.minimum(miss * miss / spread, 1400.0))
    inlier /= np.sqrt(spread)
    likelihood = inlier + WILD_SHARE / WILD_WIDTH_KPA
    trust = inlier / likelihood * wanted[:, None]
    trust /= spread
    gain_level, gain_rate = trust * p_level, trust * p_cross
    level += gain_level * miss
    rate += gain_rate * miss
    p_rate -= gain_rate * p_cross
    p_cross -= gain_level * p_cross
    p_level -= gain_level * p_level
    bank.log_weight += np.log(likelihood) * wanted[:, None]
    best = bank.log_weight.max(axis=(0, 2), keepdims=True)
    total = np.log(np.exp(bank.log_weight - best).sum(axis=(0, 2), keepdims=True)) + best
    bank.log_weight -= total


def spawn(bank: Bank, dt_s: float) -> None:
    """Give every row a new hypothesis for each growth rate: "a change has just begun", in the slot that is missed least."""
    weight = np.exp(bank.log_weight)
    mean, var = moments(bank, weight)
    _free_a_slot(bank)
    slot = bank.slots[0]
    bank.born_s[slot] = bank.at_s
    state = bank.state[:, slot]
    state[LEVEL] = mean[LEVEL][:, None]
    state[P_LEVEL] = var[LEVEL][:, None]
    state[P_CROSS] = 0.0
    state[RATE] = _RATE_MEAN
    state[P_RATE] = _RATE_SD**2
    state[P_LEVEL, :, JUMP] += _JUMP_SD_KPA**2
    state[RATE, :, JUMP] = mean[RATE]
    state[P_RATE, :, JUMP] = var[RATE]
    bank.log_weight[slot] = np.log(CHANGE_PER_S * dt_s * _ONSET_SHARE)


def moments(bank: Bank, weight: Floats) -> tuple[Floats, Floats]:
    """Mean and variance of level and rate over the hypotheses, each of shape (2, rows)."""
    first = bank.state[: RATE + 1]
    mean = (weight * first).sum(axis=(1, 3))
    spread = bank.state[(P_LEVEL, P_RATE), :] + (first - mean[:, None, :, None]) ** 2
    return mean, (weight * spread).sum(axis=(1, 3))


def _free_a_slot(bank: Bank) -> None:
    """Join the two neighbours in age that are closest for their age, keeping per row the likelier; put the free slot first."""
    slots, born_s = bank.slots, bank.born_s
    free = next((slot for slot in slots[1:-1] if born_s[slot] == -math.inf), None)
    if free is None:
        ages_s = [bank.at_s - born_s[slot] for slot in slots]
        ages_s[-1] = math.inf
        # the join that leaves the smallest gap for its age; the three youngest and the oldest stay apart
        place = min(
            range(3, SLOTS_N - 1),
            key=lambda n: (ages_s[n + 1] - ages_s[n - 1]) / ages_s[n] if n < SLOTS_N - 2 else math.inf,
        )
        nearer = place - 1 if 2.0 * ages_s[place] < ages_s[place - 1] + ages_s[place + 1] else place + 1
        free = slots[place]
        _join(bank, slots[nearer], free)
    slots.remove(free)
    slots.insert(0, free)


def _join(bank: Bank, keep: int, free: int) -> None:
    weight = np.exp(bank.log_weight[(keep, free), :])
    total = weight.sum(axis=2)
    other = total[1] > total[0]
    both = np.log(np.maximum(total.sum(axis=0), 1e-300))[:, None]
    shares = bank.log_weight[(keep, free), :] - np.log(np.maximum(total, 1e-300))[:, :, None]
    bank.log_weight[keep] = np.where(other[:, None], shares[1], shares[0]) + both
    bank.state[:, keep] = np.where(other[:, None], bank.state[:, free], bank.state[:, keep])
