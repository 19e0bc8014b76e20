"""Time from a vacuum to a level: closed forms for the two leak laws, for a growing leak, and for a wandering one.

A sealed circuit of volume V gains pressure by V·dp/dt = Q. Through an orifice Q follows ISO 6358-1: it is choked, so
constant, while p/pa ≤ b, and falls along an ellipse above. Laminar seepage goes as pa² − p². Both are written here as a
*linear distance*: the fall in kPa that would take the same time at the present rate, never less than the plain difference.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

_LIFT_MOST: Final = 600.0
"""Above this a power of e and an erfc are no longer multiplied as they are: the one overflows where the other vanishes."""

CRITICAL_RATIO: Final = 0.5
"""b of ISO 6358 for a short orifice with its usual losses. An ideal nozzle has 0.528 for air, a long passage less."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """5 %, 50 % and 95 % points of the time until a level, s. ``None``: beyond the horizon. Already below: zeros."""

    early_s: float | None
    likely_s: float | None
    late_s: float | None


def orifice_flow_ratio(abs_ratio: float, *, critical_ratio: float = CRITICAL_RATIO) -> float:
    """Flow through an orifice over its choked flow.

    Args:
        abs_ratio: Absolute pressure in the circuit over ambient, 0 to 1.
        critical_ratio: b, above 0 and below 1.

    Returns:
        1 up to b, then the ellipse down to 0 at 1, dimensionless.

    Source: ISO 6358-1 with m = 0.5.
    Check: b = 0.5, 80/101.325: 0.8153 (9.788989e-4 / 1.200701e-3 kg/s for C = 1e-8 m³/(s·Pa) at 293.15 K).
    """
    beyond = min(max((abs_ratio - critical_ratio) / (1.0 - critical_ratio), 0.0), 1.0)
    return math.sqrt(1.0 - beyond * beyond)


def orifice_distance_kpa(
    start_kpa: float, level_kpa: float, *, ambient_kpa: float, critical_ratio: float = CRITICAL_RATIO
) -> float:
    """Linear distance from one vacuum down to another through an orifice, kPa.

    Linear while choked, then an arcsine: with u = (p/pa − b)/(1 − b) the time over the ellipse is
    pa·(1 − b)·(asin u1 − asin u0) over the choked rate.

    Args:
        start_kpa: Vacuum now, kPa below ambient, below ``ambient_kpa``.
        level_kpa: Vacuum to reach, kPa below ambient, 0 to ``start_kpa``.
        ambient_kpa: Ambient pressure, kPa absolute, above 0.
        critical_ratio: b of ISO 6358.

    Returns:
        kPa; divided by the present rate of fall in kPa/s it is the time in s. 0 when ``level_kpa`` is not below the start.

    Check: pa 101.325, b = 0.528, from 80 to 30: over the choked slope of 0.0202075 kPa/s 2496 s (2474 s if it were linear).
    """
    if level_kpa >= start_kpa:
        return 0.0
    scale = ambient_kpa * (1.0 - critical_ratio)
    choked_to = ambient_kpa * (1.0 - critical_ratio)  # vacuum at which p = b·pa
    linear = max(start_kpa - max(level_kpa, choked_to), 0.0)

    def beyond(vacuum_kpa: float) -> float:
        return min(max(((1.0 - vacuum_kpa / ambient_kpa) - critical_ratio) / (1.0 - critical_ratio), 0.0), 1.0)

    curved = scale * (math.asin(beyond(level_kpa)) - math.asin(beyond(start_kpa)))
    ratio_now = orifice_flow_ratio(1.0 - start_kpa / ambient_kpa, critical_ratio=critical_ratio)
    return ratio_now * (linear + curved)


def laminar_distance_kpa(start_kpa: float, level_kpa: float, *, ambient_kpa: float) -> float:
    """Linear distance from one vacuum down to another by laminar seepage, flow as pa² − p², kPa.

    Args and returns as ``orifice_distance_kpa``; ``level_kpa`` must be above 0 (ambient is never reached: infinite).

    Source: dp/dt = k·(pa² − p²) integrates to atanh(p/pa)/(k·pa).
    Check: pa 101.325, from 80 to 60 at 0.0202075 kPa/s at the start: 1051.3 s.
    """
    if level_kpa >= start_kpa:
        return 0.0
    if level_kpa <= 0.0:
        return math.inf
    now, then = max(1.0 - start_kpa / ambient_kpa, 0.0), 1.0 - level_kpa / ambient_kpa
    return ambient_kpa * (1.0 - now * now) * (math.atanh(then) - math.atanh(now))


def slackening_per_kpa(vacuum_kpa: float, *, ambient_kpa: float) -> tuple[float, float]:
    """Relative fall of the flow per kPa of vacuum lost, by an orifice and by laminar seepage, 1/kPa, 0 or more.

    Check: pa 101.325, at 60 kPa: 0 for the orifice (choked), 2·41.325/(101.325² − 41.325²) = 0.009656 for seepage.
    """
    pressure = min(max(ambient_kpa - vacuum_kpa, 0.0), ambient_kpa - 1.0)
    beyond = max((pressure / ambient_kpa - CRITICAL_RATIO) / (1.0 - CRITICAL_RATIO), 0.0)
    orifice = beyond / (1.0 - beyond * beyond) / (ambient_kpa * (1.0 - CRITICAL_RATIO))
    return orifice, 2.0 * pressure / (ambient_kpa**2 - pressure**2)


def growing_time_s(distance_kpa: float, rate_kpa_per_s: float, growth_per_s: float) -> float:
    """Time for a leak that grows as exp(g·t) to cover a linear distance, s; infinite if it dies out before.

    Args:
        distance_kpa: Linear distance, kPa, 0 or more.
        rate_kpa_per_s: Rate of fall now, kPa/s; 0 or less never arrives.
        growth_per_s: g, 1/s; negative for a leak that dies away, 0 for a steady one.

    Check: 15 kPa at 0.005 kPa/s doubling every 120 s: 503.52 s; steady: 3000 s.
    """
    if distance_kpa <= 0.0:
        return 0.0
    if rate_kpa_per_s <= 0.0:
        return math.inf
    linear_s = distance_kpa / rate_kpa_per_s
    grown = growth_per_s * linear_s
    if grown <= -1.0:
        return math.inf
    return linear_s if abs(grown) < 1e-9 else math.log1p(grown) / growth_per_s


def passage_probability(time_s: float, *, distance: float, drift_per_s: float, spread_per_root_s: float) -> float:
    """Probability that a Brownian path with drift has reached a barrier by a time.

    Args:
        time_s: Above 0.
        distance: To the barrier, above 0.
        drift_per_s: Towards the barrier, any sign.
        spread_per_root_s: Standard deviation after 1 s, above 0.

    Source: inverse Gaussian distribution (first passage), as in ``scipy.stats.invgauss``.
    Check: distance 10, drift 0.5, spread 1: 0.5852888631 at 20 s.
    """
    root = spread_per_root_s * math.sqrt(time_s)
    lift = 2.0 * drift_per_s * distance / spread_per_root_s**2
    ahead = 0.5 * math.erfc(-(drift_per_s * time_s - distance) / root / math.sqrt(2.0))
    far = (drift_per_s * time_s + distance) / root / math.sqrt(2.0)
    if lift < _LIFT_MOST:
        return ahead + math.exp(lift) * 0.5 * math.erfc(far)
    # erfc(far) is exp(-far²) times this, for far² is lift at least (asymptotic series, Abramowitz and Stegun 7.1.23)
    tail = (1.0 - 0.5 / far**2 + 0.75 / far**4) / (far * math.sqrt(math.pi))
    return ahead + 0.5 * math.exp(lift - far**2) * tail


def passage_quantile_s(share: float, *, distance: float, drift_per_s: float, spread_per_root_s: float) -> float:
    """Time by which a share of Brownian paths with drift has reached a barrier, s; infinite if so many never do.

    Args:
        share: 0 to 1, ends excluded.
        distance: As in ``passage_probability``, like the two below.
        drift_per_s: Towards the barrier.
        spread_per_root_s: Standard deviation after 1 s.

    Check: distance 5 kPa, drift 0.02 kPa/s, spread 0.05 kPa/√s: 190.7 s (5 %), 246.9 s (50 %), 319.8 s (95 %).
    """
    arrives = {"distance": distance, "drift_per_s": drift_per_s, "spread_per_root_s": spread_per_root_s}
    if drift_per_s < 0.0 and share >= math.exp(2.0 * drift_per_s * distance / spread_per_root_s**2):
        return math.inf
    low, high = 0.0, distance / max(abs(drift_per_s), spread_per_root_s / 100.0)
    while passage_probability(high, **arrives) < share:
        low, high = high, 2.0 * high
        if high > 1e12:
            return math.inf
    for _ in range(60):
        middle = 0.5 * (low + high)
        if passage_probability(middle, **arrives) < share:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def normal_cdf(z: NDArray[np.float64]) -> NDArray[np.float64]:
    """Standard normal distribution function, elementwise, within 1.5e-4 (numpy has no erf).

    Source: the logistic approximation 1/(1 + exp(−1.5976 z − 0.070565992 z³)) of Page (1977, Applied Statistics 26).
    """
    z = np.minimum(np.maximum(z, -7.0), 7.0)
    return np.asarray(1.0 / (1.0 + np.exp(-z * (1.5976 + 0.070565992 * z * z))))
