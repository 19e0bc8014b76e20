"""A gauge that rounds more coarsely than its noise blurs: what such readings say of the vacuum, and how noisy it is.

A rounded reading says that the vacuum with its noise lay within half a quantum of it: a *box* with soft sides, not a value
with a Gaussian error. Where readings of two neighbouring values mix, their shares say how far the vacuum is from the edge
between them. With little noise nothing new is said until the value steps; then the instant of the step says where it is.
"""

import math
from dataclasses import dataclass, field
from functools import cache
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Counts = tuple[tuple[float, int], ...]
"""Values read in a block and how often, kPa."""

NOISES: Final = np.array([0.03, 0.06, 0.10, 0.15, 0.20, 0.27, 0.36, 0.48])
"""Noise over quantum: what it may be; the least allows for a gauge that is not quite even."""

_BLURRED: Final = 0.43
"""From this noise over quantum on the mean of readings is as good as their noise and the quantum's own allow."""

_NOT_UNLIKELY: Final = (0.1, 0.99)
_HARD: Final = 0.05
"""Sides softer than this (over the quantum) let every block be weighed; harder ones say the same again and again."""

_EDGE_RATIO: Final = 0.03
_REPEATS: Final = 1.5
_MOST_QUIET_S: Final = 60.0
_SAME_KPA: Final = 1e-6
_OF_N: Final = ([1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0], [0.0, 0.564, 0.846, 1.163, 1.539, 1.867, 2.249])
_OF_N_SD: Final = [1.0, 0.826, 0.748, 0.669, 0.587, 0.525, 0.464]
"""Mean and standard deviation of the largest of n normal values (tables of order statistics)."""

_OF_MOST_N: Final = 50
"""Where these tables end: beyond it their last line holds."""


class Said(NamedTuple):
    """What a block says: at a time the vacuum was ``kpa`` with a variance, or within ``half_kpa`` of it.

    Where ``half_kpa`` is above 0 the variance softens the sides. ``new``: whether it is to be weighed.
    """

    at_s: float
    kpa: float
    var_kpa2: float
    half_kpa: float
    new: bool


class Seen(NamedTuple):
    """A block to learn from: values read about ``at_s``, how often, and how far the hoist then lowered what the air presses."""

    at_s: float
    counts: Counts
    climb_kpa: float


class Where(NamedTuple):
    """How likely each rate and level was at a time by each noise: shares of one, shape (rates, levels, noises).

    The levels are ``step_kpa`` apart, the first at ``first_n`` of them.
    """

    at_s: float
    step_kpa: float
    first_n: int
    share: NDArray[np.float32]


@dataclass(slots=True)
class Stairs:
    """What is remembered of a rounding gauge: log weights of its noise, since when it stands, blocks to learn from.

    ``said_s``: when standing still was weighed last. ``learned``: whether its noise was. ``ratio``: noise over
    quantum, root of the mean square. ``not_unlikely``: the least of it that is not unlikely, which is all that standing still
    may be held to show, and the most, by which an edge may be held to be blurred. Both are ``ratio`` while nothing is learned.
    """

    log_weight: Floats = field(default_factory=lambda: np.zeros(len(NOISES)))
    stood_s: float | None = None
    said_s: float = 0.0
    learned: bool = False
    waiting: list[Seen] = field(default_factory=list)
    where: tuple[Where, ...] = ()
    ratio: float = field(init=False)
    not_unlikely: tuple[float, float] = field(init=False)

    def __post_init__(self) -> None:
        self.weigh(self.log_weight)

    def weigh(self, log_weight: Floats) -> None:
        """Take these log weights of the noise as found."""
        self.log_weight, weight = log_weight, np.exp(log_weight)
        self.ratio = math.sqrt(float((weight * NOISES**2).sum() / weight.sum()))
        below = np.cumsum(weight)
        least, most = np.searchsorted(below, np.multiply(_NOT_UNLIKELY, below[-1])).tolist()
        self.not_unlikely = (float(NOISES[least]), float(NOISES[most])) if self.learned else (self.ratio, self.ratio)

    @property
    def blurred(self) -> bool:
        """Whether the noise hides the stairs."""
        return self.ratio > _BLURRED


def say(
    stairs: Stairs, times_s: list[float], values_kpa: list[float], before: tuple[float, float], quantum_kpa: float
) -> Said:
    """What a block of readings says, the reading ``before`` it (time, value) known."""
    n, after = len(values_kpa), values_kpa[-1]
    middle_s = sum(times_s) / n
    least_sd, sd = (ratio * quantum_kpa for ratio in stairs.not_unlikely)
    half = 0.5 * quantum_kpa
    inwards, softness = _largest_of(min(n, _OF_MOST_N))
    low, high = min(values_kpa), max(values_kpa)
    soft, hard = softness * stairs.ratio * quantum_kpa, softness * sd < _HARD * quantum_kpa
    if stairs.stood_s is None:
        stairs.stood_s = stairs.said_s = times_s[-1]
        return Said(middle_s, 0.5 * (low + high), soft * soft, half + 0.5 * (high - low), True)
    box = Said(middle_s, after, soft * soft, max(half - inwards * least_sd, 0.1 * quantum_kpa), True)
    if high - low > 1.5 * quantum_kpa:
        mean = sum(values_kpa) / n
        return Said(middle_s, mean, (sd * sd + quantum_kpa**2 / 12.0) / n, 0.0, True)
    if high - low > _SAME_KPA:
        share = (sum(value < 0.5 * (low + high) for value in values_kpa) + 0.5) / (n + 1.0)
        z = normal_point(share)
        density = math.exp(-0.5 * z * z) / math.sqrt(2.0 * math.pi)
        var = sd * sd * share * (1.0 - share) / (n * density * density) + (_EDGE_RATIO * quantum_kpa) ** 2
        at_s, kpa = middle_s, 0.5 * (low + high) - z * sd
        clean = _switch(values_kpa)
        if hard and clean is not None:
            at_s, kpa = 0.5 * (times_s[clean - 1] + times_s[clean]), 0.5 * (low + high)
        stairs.stood_s = stairs.said_s = times_s[-1]
        return Said(at_s, kpa, var, 0.0, True)
    if not hard:
        return box
    step = after - before[1]
    if abs(step) > _SAME_KPA:
        stairs.stood_s = stairs.said_s = times_s[-1]
        if abs(step) > 1.5 * quantum_kpa:
            return box
        var = 1.6 * sd * sd + (_EDGE_RATIO * quantum_kpa) ** 2
        return Said(0.5 * (before[0] + times_s[0]), before[1] + 0.5 * step, var, 0.0, True)
    since_s, said_s = times_s[-1] - stairs.stood_s, stairs.said_s - stairs.stood_s
    new = since_s >= min(max(_REPEATS * said_s, said_s + 1.0, 4.0), said_s + _MOST_QUIET_S)
    if new:
        stairs.said_s = times_s[-1]
    return Said(times_s[-1], after, sd * sd, half, new)


@cache
def _largest_of(n: int) -> tuple[float, float]:
    """Mean and standard deviation of the largest of n normal values, n up to the table's end."""
    return float(np.interp(n, *_OF_N)), float(np.interp(n, _OF_N[0], _OF_N_SD))


def _switch(values_kpa: list[float]) -> int | None:
    """Place of the one change of value in a block; ``None`` if it changed to and fro."""
    places = [i for i in range(1, len(values_kpa)) if abs(values_kpa[i] - values_kpa[i - 1]) > _SAME_KPA]
    return places[0] if len(places) == 1 else None


def normal_upper(z: Floats) -> tuple[Floats, Floats]:
    """Density and upper tail of the standard normal distribution at |z|, elementwise; far out their ratio holds.

    Source: Abramowitz and Stegun, 26.2.17, within 7.5e-8.
    """
    z = np.abs(z)
    density = np.exp(-0.5 * np.minimum(z * z, 1400.0)) * (1.0 / math.sqrt(2.0 * math.pi))
    t = 1.0 / (1.0 + 0.2316419 * z)
    ratio = t * (0.319381530 + t * (-0.356563782 + t * (1.781477937 + t * (-1.821255978 + t * 1.330274429))))
    return density, density * ratio


def normal_below(z: Floats) -> Floats:
    """Standard normal distribution function, elementwise."""
    tail = normal_upper(z)[1]
    return np.where(z > 0.0, 1.0 - tail, tail)


def normal_point(share: float) -> float:
    """Point below which a share of the standard normal distribution lies, within 4.5e-4.

    Source: Abramowitz and Stegun, 26.2.23.
    """
    t = math.sqrt(-2.0 * math.log(min(share, 1.0 - share)))
    z = t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1.0 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
    return z if share > 0.5 else -z
