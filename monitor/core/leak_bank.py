"""A bank of falls, one set per signal, weighed by how well each explains the readings.

Every hypothesis says "since time τ the vacuum falls in this way": steadily, growing, settling. Level, rate and growth g are
the states of a Kalman filter (extended: the rate grows by g). One family holds the laws of growth: the rate goes as
(1 + bend·g·t)^(1/bend), so that g slackens by bend·g²: exp(g·t) where bend is 0, above it a power of the time since it was
nothing, which the filter finds with g wherever τ lies; for a bend of -1 one over the time left until it runs away.

A hypothesis weighs the likelihood of the readings times the prior of a change at τ (Bayesian change-point detection: Adams and
MacKay, 2007, arXiv:0710.3742). New hypotheses are born with every block. Older ones are thinned so that their ages stay spread
evenly on a log scale: memory and time per block are fixed, and the onset is known to a fifth of its age.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.leak_stairs import normal_upper

Floats = NDArray[np.float64]

SLOTS_N: Final = 24
"""Onsets carried. Ages from 1 s to an hour in 24 steps are 1.4 apart."""


@dataclass(frozen=True, slots=True)
class Kind:
    """One way to fall. Mean and standard deviation of the rate in kPa/min; shares of the prior at an onset and at the start.

    The rate grows by ``growth``, known to mean and standard deviation in 1/s, with this ``bend``. ``laminar``: how much of the
    flow law's own slackening is that of laminar seepage, the rest an orifice's. ``based``: the fall comes on top of what was
    lost before. ``wander``: how much the rate wanders, over the standing value. ``feared``: a change for the worse.
    """

    onset_share: float
    onset_rate: tuple[float, float]
    start_share: float
    start_rate: tuple[float, float]
    growth: tuple[float, float] = (0.0, 0.0)
    bend: float = 0.0
    laminar: float = 0.5
    based: bool = False
    wander: float = 1.0
    feared: bool = True


def _doubling(doubling_s: float, sd_ratio: float) -> Kind:
    growth = math.log(2.0) / doubling_s
    return Kind(0.07, (0.35, 0.4), 1e-5, (0.3, 0.4), growth=(growth, sd_ratio * growth), based=True, wander=0.0)


def _bent(bend: float, onset_share: float = 0.05, told_by_s: float = 60.0) -> Kind:
    return Kind(
        onset_share,
        (0.15, 0.25),
        1e-5,
        (0.15, 0.25),
        growth=(1.0 / told_by_s, 0.5 / told_by_s),
        bend=bend,
        based=True,
        wander=0.0,
    )


KINDS: Final = (
    Kind(0.004, (0.0, 2.0), 0.25, (0.2, 2.0), growth=(-1 / 40, 0.4 / 40), based=True, feared=False),
    Kind(0.004, (0.0, 1.0), 0.20, (0.2, 1.0), growth=(-1 / 150, 0.5 / 150), based=True, feared=False),
    Kind(0.17, (1.0, 3.0), 0.10, (0.5, 1.0), growth=(0.0, 1e-4), laminar=0.0),
    Kind(0.14, (1.0, 3.0), 0.10, (0.5, 1.0), growth=(0.0, 1e-4), laminar=1.0),
    Kind(0.22, (0.1, 0.15), 0.33, (0.1, 0.15), feared=False),
    _doubling(500.0, 0.4),
    _doubling(240.0, 0.3),
    _doubling(125.0, 0.3),
    _bent(1.0),
    _bent(0.5),
    _bent(0.25, 0.01),
    _bent(0.1, 0.004),
    _bent(-1.0, 0.004, 240.0),
    Kind(0.095, (2.5e-3, 8e-3), 1e-5, (2.5e-3, 8e-3), growth=(1.0, 0.0), bend=1.0, based=True, wander=0.0),
    Kind(0.08, (0.0, 0.0), 0.0, (0.0, 0.6), feared=False),
)
"""Gas settling fast and slowly, steady through an orifice, steady seepage, back to quiet, doubling in about 8, 4 and 2 min,
growing with the time, with its square, its fourth and its tenth power, as one over the time left, with the time since just
this onset, last a jump of the level after which the rate goes on. The steep ones are rare at first, or the early bound of a
coarse gauge in order would come a minute sooner; readings that follow one soon leave no other.
"""

SETTLING: Final = slice(0, 2)
STEADY: Final = 2
JUMP: Final = len(KINDS) - 1

CHANGE_PER_S: Final = 1.0e-5
"""Prior chance of a new onset per second: one in a day of hanging."""


def _column(values: Iterable[float]) -> Floats:
    return np.array(list(values), dtype=float)


LAMINAR: Final = _column(kind.laminar for kind in KINDS)
BEND: Final = _column(kind.bend for kind in KINDS)
BASED: Final = _column(kind.based for kind in KINDS)
_GROWTH: Final = _column(kind.growth[0] for kind in KINDS)
_GROWTH_VAR: Final = _column(kind.growth[1] ** 2 for kind in KINDS)
_ONSET_SHARE: Final = _column(kind.onset_share for kind in KINDS)
_ONSET_RATE: Final = _column(kind.onset_rate[0] / 60.0 for kind in KINDS)
_ONSET_VAR: Final = _column((kind.onset_rate[1] / 60.0) ** 2 for kind in KINDS)
_START_SHARE: Final = np.log(np.maximum(_column(kind.start_share for kind in KINDS), 1e-30))
_START_RATE: Final = _column(kind.start_rate[0] / 60.0 for kind in KINDS)
_START_VAR: Final = _column((kind.start_rate[1] / 60.0) ** 2 for kind in KINDS)
_WANDER: Final = _column(kind.wander for kind in KINDS)
_BENT: Final = slice(int(np.argmax(BEND != 0.0)), int(np.argmax(BEND != 0.0)) + int((BEND != 0.0).sum()))
_SLOWEST_SETTLING: Final = -1.0 / 500.0
_JUMP_SD_KPA: Final = 3.0
_STEP_DOUBT: Final = math.log(1e4)
"""So much less readily a gauge's step is taken for a jump of the level, or for gas that begins to settle amid a rest: each step
would do, and no leak be seen behind them."""

WILD_SHARE: Final = 0.01
WILD_WIDTH_KPA: Final = 30.0
"""A block may be wild: one in a hundred, anywhere in 30 kPa."""

RATE_WANDER: Final = (0.010 / 60.0) ** 2 / 60.0
"""Growth of a rate's variance, (kPa/s)²/s: a steady leak is steady to 0.01 kPa/min in a minute."""

RATE_WANDER_RATIO: Final = 0.01**2 / 60.0
"""And to 1 % of itself, 1/s."""

GROWTH_WANDER_RATIO: Final = 0.04**2 / 60.0
"""A growth rate is steady to 4 % of itself in a minute, 1/s."""

LEVEL, RATE, GROWTH, P_LEVEL, P_LEVEL_RATE, P_LEVEL_GROWTH, P_RATE, P_RATE_GROWTH, P_GROWTH = range(9)

UNSETTLED_S: Final = 10.0
UNSETTLED_PER_S: Final = 0.03
UNSETTLED_SD_KPA: Final = 1.0
"""While pads and hoses settle after a pump's stop, in ways that have no law, any second may be the first of the fall that lasts
(common practice: seconds for gas in hoses and pads; the slower settling of a tank is one of ``KINDS``)."""

DEAD: Final = -1.0e4
"""Log weight of a hypothesis that is not in use."""

_LITTLE: Final = 1e-9

_BOUNDS: Final = (
    (-1e4, 1e4),
    (-10.0, 10.0),
    (-0.1, 0.05),
    (1e-9, 1e4),
    (-1e3, 1e3),
    (-1e3, 1e3),
    (1e-18, 1e2),
    (-10.0, 10.0),
    (0.0, 1e-2),
)
_LEAST: Final = np.tile(np.array([low for low, _ in _BOUNDS])[:, None, None, None], len(KINDS))
_MOST: Final = np.tile(np.array([high for _, high in _BOUNDS])[:, None, None, None], len(KINDS))
_LEAST[GROWTH, :, :, _BENT] = 0.0  # a power of the time never dies
_MOST[GROWTH, :, :, BEND > 0.0] = 1.0  # and begins by growing beyond measure
_STEEPEST: Final = np.where(BEND[_BENT] < 0.0, 1.0 / 45.0, np.inf)
"""So near its end what runs away goes on growing as it grows then, 1/s: beyond, a filter of it would believe anything."""


@dataclass(slots=True)
class Bank:
    """State of every hypothesis: ``state[quantity, slot, row, kind]``, quantities in the order of ``LEVEL`` to ``P_GROWTH``.

    Levels in kPa below a fixed reference, rates in kPa/s, positive falling. ``log_weight[slot, row, kind]`` is normalised per
    row; ``base[slot, row]`` is the rate lost before the onset at ``onset_s[slot, row]``. ``slots`` lists slots youngest
    first, ``born_s`` their births.
    """

    rows_n: int
    at_s: float
    state: Floats = field(init=False)
    log_weight: Floats = field(init=False)
    base: Floats = field(init=False)
    onset_s: Floats = field(init=False)
    slots: list[int] = field(init=False)
    born_s: list[float] = field(init=False)
    since_s: list[float] = field(init=False)
    remembered: list[tuple[float, float] | None] = field(init=False)

    def __post_init__(self) -> None:
        shape = (SLOTS_N, self.rows_n, len(KINDS))
        self.state = np.zeros((P_GROWTH + 1, *shape))
        self.state[P_LEVEL] = self.state[P_RATE] = 1.0
        self.log_weight = np.full(shape, DEAD)
        self.base = np.zeros(shape[:2])
        self.onset_s = np.full(shape[:2], self.at_s)
        self.slots = list(range(SLOTS_N))
        self.born_s = [-math.inf] * SLOTS_N
        self.since_s = [math.inf] * self.rows_n
        self.remembered = [None] * self.rows_n

    def unsettled(self, row: int) -> bool:
        """Whether the row's stretch is so young that it may still settle."""
        return 0.0 <= self.at_s - self.since_s[row] <= UNSETTLED_S

    def changes(self) -> NDArray[np.bool_]:
        """Which onsets are changes, shape (slots, rows): what began while a row's stretch may still have settled is none."""
        return self.onset_s > np.array(self.since_s) + UNSETTLED_S


def restart(
    bank: Bank, row: int, level_kpa: float, noise_var: float, *, rate: tuple[float, float] | None = None
) -> None:
    """Forget what a row knows and start it at a level, its rate unknown or, as (mean, variance) in kPa/s, remembered.

    Gas that settles after a stroke does so on top of the leak that is remembered: it doesn't take the leak away.
    """
    bank.log_weight[:, row] = DEAD
    bank.since_s[row], bank.remembered[row] = bank.at_s, rate
    _begin(bank, bank.slots[-1], row, level_kpa, 4.0 * noise_var)
    bank.log_weight[bank.slots[-1], row] = _START_SHARE


def _begin(bank: Bank, slot: int, row: int, level_kpa: float, level_var: float) -> None:
    """A row's hypotheses of each kind, as at the start of its stretch."""
    state, rate = bank.state[:, slot, row], bank.remembered[row]
    state[:] = 0.0
    state[LEVEL], state[P_LEVEL] = level_kpa, level_var
    state[RATE], state[P_RATE] = _START_RATE, _START_VAR
    state[GROWTH], state[P_GROWTH] = _GROWTH, _GROWTH_VAR
    bank.base[slot, row], bank.onset_s[slot, row] = 0.0, bank.at_s
    if rate is not None:
        state[RATE, STEADY : STEADY + 2] = rate[0]
        state[P_RATE, STEADY : STEADY + 2] = rate[1]
        bank.base[slot, row] = max(rate[0], 0.0)


def predict(bank: Bank, now_s: float, slackening: Floats) -> None:
    """Carry every hypothesis forward to a later time.

    Args:
        bank: Changed in place.
        now_s: Not before ``bank.at_s``.
        slackening: Shape (2, rows), 1/s, 0 or less: how the law of the flow makes it grow now, through an orifice and as
            laminar seepage.
    """
    dt_s = now_s - bank.at_s
    if dt_s <= 0.0:
        return
    level, rate, growth, p_level, p_lr, p_lg, p_rate, p_rg, p_growth = bank.state
    change = growth + (slackening[0][:, None] * (1.0 - LAMINAR) + slackening[1][:, None] * LAMINAR)
    change *= dt_s
    straighter = 1.0 - BEND
    grow = 1.0 + change * (1.0 + 0.5 * straighter * change)
    reach = dt_s * (1.0 + change * (0.5 + straighter * change / 6.0))
    slackens = 1.0 / np.maximum(1.0 + (dt_s * BEND[_BENT]) * growth[:, :, _BENT], _LITTLE)
    np.minimum(slackens, _STEEPEST / np.maximum(growth[:, :, _BENT], _LITTLE), out=slackens)
    pull = dt_s * rate * grow  # how a rate answers its growth
    pull[:, :, _BENT] *= slackens
    bend = (0.5 * dt_s) * dt_s * rate
    level -= reach * rate
    level -= dt_s * bank.base[:, :, None] * BASED
    p_level += reach * (reach * p_rate - 2.0 * p_lr) + bend * (bend * p_growth - 2.0 * p_lg + 2.0 * reach * p_rg)
    p_lr -= reach * p_rate + bend * p_rg
    p_lr *= grow
    p_lg -= reach * p_rg + bend * p_growth
    p_lr += pull * p_lg
    p_rate *= grow * grow
    p_rate += pull * (pull * p_growth + 2.0 * grow * p_rg)
    p_rg *= grow
    p_rg += pull * p_growth
    rate *= grow
    p_rate += (RATE_WANDER_RATIO * dt_s) * rate * rate + (RATE_WANDER * dt_s) * _WANDER
    growth[:, :, _BENT] *= slackens
    slackens *= slackens
    p_lg[:, :, _BENT] *= slackens
    p_rg[:, :, _BENT] *= slackens
    p_growth[:, :, _BENT] *= slackens * slackens
    p_growth += (GROWTH_WANDER_RATIO * dt_s) * growth * growth
    np.clip(bank.state, _LEAST, _MOST, out=bank.state)
    np.minimum(growth[:, :, SETTLING], _SLOWEST_SETTLING, out=growth[:, :, SETTLING])
    bank.at_s = now_s


def observe(
    bank: Bank, seen_kpa: Floats, noise_var: Floats, wanted: NDArray[np.bool_], half_kpa: Floats | None = None
) -> None:
    """Weigh and correct every hypothesis by one block per row.

    Args:
        bank: Changed in place.
        seen_kpa: Shape (rows,), kPa.
        noise_var: Shape (rows,), kPa², above 0.
        wanted: Shape (rows,); other rows stay as they are.
        half_kpa: Shape (rows,): where above 0 the level, with a noise of ``noise_var``, lay within so much of ``seen_kpa``.
    """
    level, rate, growth, p_level, p_lr, p_lg, p_rate, p_rg, p_growth = bank.state
    miss = seen_kpa[:, None] - level
    spread = p_level + noise_var[:, None]
    inlier = np.exp(-0.5 * np.minimum(miss * miss / spread, 1400.0))
    inlier *= (1.0 - WILD_SHARE) / math.sqrt(2.0 * math.pi)
    inlier /= np.sqrt(spread)
    likelihood = inlier + WILD_SHARE / WILD_WIDTH_KPA
    pull, squeeze = miss / spread, 1.0 / spread
    boxed = np.flatnonzero(wanted & (half_kpa > 0.0)) if half_kpa is not None else ()
    if half_kpa is not None and len(boxed):
        half = half_kpa[boxed, None]
        within, pull[:, boxed], squeeze[:, boxed] = box_moments(miss[:, boxed], spread[:, boxed], half)
        inlier[:, boxed] = within * ((1.0 - WILD_SHARE) / (2.0 * half))
        likelihood[:, boxed] = inlier[:, boxed] + WILD_SHARE / WILD_WIDTH_KPA
    trust = inlier / likelihood * wanted[:, None]
    pull *= trust
    squeeze *= trust
    gain_level, gain_rate, gain_growth = squeeze * p_level, squeeze * p_lr, squeeze * p_lg
    level += pull * p_level
    rate += pull * p_lr
    growth += pull * p_lg
    p_growth -= gain_growth * p_lg
    p_rg -= gain_rate * p_lg
    p_rate -= gain_rate * p_lr
    p_lg -= gain_level * p_lg
    p_lr -= gain_level * p_lr
    p_level -= gain_level * p_level
    bank.log_weight += np.log(likelihood) * wanted[:, None]
    best = bank.log_weight.max(axis=(0, 2), keepdims=True)
    total = np.log(np.exp(bank.log_weight - best).sum(axis=(0, 2), keepdims=True)) + best
    bank.log_weight -= total


def box_moments(miss: Floats, spread: Floats, half_kpa: Floats) -> tuple[Floats, Floats, Floats]:
    """A normal level cut to a box: its probability, and what moment matching asks for.

    Args:
        miss: The box's middle less the level, kPa.
        spread: Variance of the level and of the box's sides, kPa².
        half_kpa: Half the width of the box.

    Returns:
        Probability of the box; first and minus second derivative of its logarithm by the level, 1/kPa and 1/kPa².
    """
    sd = np.sqrt(spread)
    sides = np.stack((miss - half_kpa, miss + half_kpa)) / sd
    low, high = sides
    (at_low, at_high), (beyond_low, beyond_high) = normal_upper(sides)
    across = (low < 0.0) & (high > 0.0)
    within = np.where(across, 1.0 - beyond_low - beyond_high, np.abs(beyond_low - beyond_high))
    within = np.maximum(within, 1e-30)
    pull = (at_low - at_high) / (within * sd)
    squeeze = pull * pull + (high * at_high - low * at_low) / (within * spread)
    return within, pull, np.minimum(np.maximum(squeeze, 0.0), 1.0 / spread)


def spawn(bank: Bank, dt_s: float, stepping: NDArray[np.bool_] | None = None) -> None:
    """Give every row a new hypothesis of each kind: "a change has just begun", in the slot that is missed least.

    ``stepping``: shape (rows,), which rows are read by the steps of a gauge; none where left out.
    """
    mean, var = moments(bank)
    _free_a_slot(bank)
    slot = bank.slots[0]
    bank.born_s[slot] = bank.at_s
    state = bank.state[:, slot]
    state[:] = 0.0
    state[LEVEL], state[P_LEVEL] = mean[LEVEL][:, None], var[LEVEL][:, None]
    state[RATE], state[P_RATE] = _ONSET_RATE, _ONSET_VAR
    state[GROWTH], state[P_GROWTH] = _GROWTH, _GROWTH_VAR
    state[P_LEVEL, :, JUMP] += _JUMP_SD_KPA**2
    state[RATE, :, JUMP], state[P_RATE, :, JUMP] = mean[RATE], var[RATE]
    bank.base[slot], bank.onset_s[slot] = np.maximum(mean[RATE], 0.0), bank.at_s
    state[RATE, :, STEADY : STEADY + 2] += bank.base[slot][:, None]  # what opens comes on top of what was lost before
    bank.log_weight[slot] = np.log(CHANGE_PER_S * dt_s * _ONSET_SHARE)
    if stepping is not None:
        bank.log_weight[slot, stepping, JUMP] -= _STEP_DOUBT
        bank.log_weight[slot, stepping, SETTLING] -= _STEP_DOUBT
    for row in range(bank.rows_n):
        if bank.unsettled(row):
            _begin(bank, slot, row, mean[LEVEL, row], var[LEVEL, row] + UNSETTLED_SD_KPA**2)
            bank.log_weight[slot, row] = math.log(UNSETTLED_PER_S * dt_s) + _START_SHARE


def moments(bank: Bank) -> tuple[Floats, Floats]:
    """Mean and variance of level and of rate over the hypotheses, each of shape (2, rows)."""
    weight = np.exp(bank.log_weight)
    level, rate, p_level, p_rate = bank.state[LEVEL], bank.state[RATE], bank.state[P_LEVEL], bank.state[P_RATE]
    rate = rate + bank.base[:, :, None] * BASED
    mean = np.stack([(weight * level).sum(axis=(0, 2)), (weight * rate).sum(axis=(0, 2))])
    level_var = (weight * (p_level + (level - mean[LEVEL][:, None]) ** 2)).sum(axis=(0, 2))
    rate_var = (weight * (p_rate + (rate - mean[RATE][:, None]) ** 2)).sum(axis=(0, 2))
    return mean, np.stack([level_var, rate_var])


def chance_of(bank: Bank, row: int, rate_kpa_per_s: float, *, youngest_s: float) -> float:
    """Weight of a row's changes younger than ``youngest_s`` after which it moves so fast either way, the prior in it alone."""
    young = bank.changes()[:, row] & (bank.at_s - bank.onset_s[:, row] <= youngest_s)
    rate = bank.state[RATE, young, row] + bank.base[young, row, None] * BASED
    return float(np.exp(bank.log_weight[young, row])[np.abs(rate) >= rate_kpa_per_s].sum())


def level_after(bank: Bank, row: int, seen_kpa: float, noise_var: float) -> tuple[float, float]:
    """Mean and variance of a row's level as they will be once a block is observed; nothing is changed."""
    level, p_level = bank.state[LEVEL, :, row], bank.state[P_LEVEL, :, row]
    miss, spread = seen_kpa - level, p_level + noise_var
    inlier = np.exp(-0.5 * np.minimum(miss * miss / spread, 1400.0)) / np.sqrt(2.0 * math.pi * spread)
    weight = np.exp(bank.log_weight[:, row]) * (inlier + WILD_SHARE / WILD_WIDTH_KPA)
    weight /= weight.sum()
    gain = p_level / spread * inlier / (inlier + WILD_SHARE / WILD_WIDTH_KPA)
    after = level + gain * miss
    mean = float((weight * after).sum())
    return mean, float((weight * (p_level * (1.0 - gain) + (after - mean) ** 2)).sum())


def _free_a_slot(bank: Bank) -> None:
    """Join the neighbours in age that are closest for their age, keeping per row the likelier; put the free slot first."""
    slots, born_s = bank.slots, bank.born_s
    free = next((slot for slot in slots[1:-1] if born_s[slot] == -math.inf), None)
    if free is None:
        ages_s = [bank.at_s - born_s[slot] for slot in slots[:-1]]  # the three youngest and the oldest stay apart
        place = min(range(3, SLOTS_N - 2), key=lambda n: (ages_s[n + 1] - ages_s[n - 1]) / ages_s[n])
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
    bank.base[keep] = np.where(other, bank.base[free], bank.base[keep])
    bank.onset_s[keep] = np.where(other, bank.onset_s[free], bank.onset_s[keep])
    bank.state[:, keep] = np.where(other[:, None], bank.state[:, free], bank.state[:, keep])
