"""What one gauge's own values say of it: does it stand still, or jitter, as it never did before.

Follows a gauge's raw values, as sent: its quantum, its noise (from second differences, so that no trend counts), how long
it has stood. A coarse gauge on a good seal may stand still; a gauge finer than its own noise may not.
"""

import math
from dataclasses import dataclass
from typing import Final

LEAST_S: Final = 3.0
ODDS: Final = 1e-9
"""A gauge is frozen when its own noise makes so long a standstill less likely than this."""

FINE_RATIO: Final = 0.6
"""Noise over quantum from which a standstill tells anything; below it a coarse gauge on a good seal may stand still
(flicker between two neighbouring steps alone looks like 0.41)."""

LEARNS_N: Final = 40
"""Changes to have seen before a gauge's noise is known well enough to judge by."""

LEARN_WEIGHT: Final = 0.02
STANDS_TEACH_N: Final = 5
"""So many readings of a standstill teach that the noise is small; a frozen gauge must not go on to unlearn it."""

WILD_KPA: Final = 4.0
"""A step larger than this teaches nothing about the noise."""

BEND_VARIANCES: Final = 6.0
"""The second difference of readings has six times the variance of one reading."""

THAW_CHANGES_N: Final = 3

LOUD_SDS: Final = 3.0
LOUD_LEAST_KPA: Final = 0.75
"""A second difference is loud above three of its own standard deviations and a quantum, and above this: noise under 0.3 kPa
is ordinary for an industrial gauge (common practice)."""

LOUD_WEIGHT: Final = 0.05
LOUD_RATIO: Final = 0.35
CALM_RATIO: Final = 0.1
LOUD_N: Final = 20
"""Noisy: more than a third of the second differences are loud (noise some four times its own history), for twenty readings.
One wild reading makes three of them loud, one in a hundred wild makes 3 %."""


@dataclass(frozen=True, slots=True)
class Standstill:
    """What is remembered of one gauge's raw values. ``since_s``: how long the present value has stood."""

    raw_kpa: float
    since_s: float
    same_n: int = 1
    step_kpa: float = 0.0
    changes_n: int = 0
    seen_n: int = 0
    quantum_kpa: float | None = None
    bend_var_kpa2: float = 0.0
    loud_ratio: float = 0.0
    loud_n: int = 0
    frozen: bool = False
    noisy: bool = False

    @property
    def noise_kpa(self) -> float:
        """Standard deviation of one reading before it was rounded, as learned: rounding adds a twelfth of a quantum squared."""
        return math.sqrt(max(0.0, self.bend_var_kpa2 / BEND_VARIANCES - (self.quantum_kpa or 0.0) ** 2 / 12.0))


def follow(still: Standstill | None, value_kpa: float, now_s: float) -> Standstill:
    """Fold one raw value in."""
    if still is None:
        return Standstill(value_kpa, now_s)
    step_kpa = value_kpa - still.raw_kpa
    if step_kpa == 0.0:
        return _stands(still, now_s)
    bend_kpa = abs(step_kpa - (still.step_kpa if still.same_n == 1 else 0.0))
    quantum_kpa = abs(step_kpa) if still.quantum_kpa is None else min(still.quantum_kpa, abs(step_kpa))
    usual_kpa = _usual_kpa(still, quantum_kpa)
    loud = still.seen_n >= LEARNS_N and bend_kpa > max(usual_kpa, LOUD_LEAST_KPA)
    loud_ratio = still.loud_ratio + LOUD_WEIGHT * (float(loud) - still.loud_ratio)
    loud_n = still.loud_n + 1 if loud_ratio > LOUD_RATIO else 0
    learns = abs(step_kpa) <= WILD_KPA and not _is_wild(still, bend_kpa, usual_kpa)
    changes_n = still.changes_n + 1
    return Standstill(
        value_kpa,
        now_s,
        1,
        step_kpa,
        changes_n,
        still.seen_n + learns,
        quantum_kpa if learns else still.quantum_kpa,
        _learned(still, bend_kpa, usual_kpa) if learns else still.bend_var_kpa2,
        loud_ratio,
        loud_n,
        still.frozen and changes_n < THAW_CHANGES_N,
        loud_n >= LOUD_N or (still.noisy and loud_ratio > CALM_RATIO),
    )


def _stands(still: Standstill, now_s: float) -> Standstill:
    """The same value again."""
    loud_ratio = still.loud_ratio * (1.0 - LOUD_WEIGHT)
    same_n, bend_var_kpa2 = still.same_n + 1, still.bend_var_kpa2
    if still.same_n <= STANDS_TEACH_N:
        bend_kpa = abs(still.step_kpa) if still.same_n == 1 else 0.0
        usual_kpa = _usual_kpa(still, still.quantum_kpa or 0.0)
        if not _is_wild(still, bend_kpa, usual_kpa):
            bend_var_kpa2 = _learned(still, bend_kpa, usual_kpa)
    return Standstill(
        still.raw_kpa,
        still.since_s,
        same_n,
        still.step_kpa,
        0,
        still.seen_n,
        still.quantum_kpa,
        bend_var_kpa2,
        loud_ratio,
        still.loud_n,
        still.frozen or _outlasts_its_noise(still, same_n, now_s),
        still.noisy and loud_ratio > CALM_RATIO,
    )


def _usual_kpa(still: Standstill, quantum_kpa: float) -> float:
    """The most a second difference usually is."""
    return LOUD_SDS * math.sqrt(still.bend_var_kpa2) + quantum_kpa


def _is_wild(still: Standstill, bend_kpa: float, usual_kpa: float) -> bool:
    """A wild value is no noise: learned as such, it would make the next standstill look frozen."""
    return bend_kpa > WILD_KPA or (still.seen_n >= LEARNS_N and bend_kpa > usual_kpa)


def _learned(still: Standstill, bend_kpa: float, usual_kpa: float) -> float:
    bend_kpa2 = min(bend_kpa, usual_kpa) ** 2
    return still.bend_var_kpa2 + LEARN_WEIGHT * (bend_kpa2 - still.bend_var_kpa2)


def _outlasts_its_noise(still: Standstill, same_n: int, now_s: float) -> bool:
    """Whether the gauge's own noise must have moved it by now."""
    if still.quantum_kpa is None or still.seen_n < LEARNS_N or now_s - still.since_s < LEAST_S:
        return False
    if still.noise_kpa < FINE_RATIO * still.quantum_kpa:
        return False
    stays = math.erf(0.5 * still.quantum_kpa / (still.noise_kpa * math.sqrt(2.0)))
    return same_n * math.log(max(stays, 1e-12)) < math.log(ODDS)
