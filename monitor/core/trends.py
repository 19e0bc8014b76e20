"""Many lifts in; level, slope, steps, forecasts and their bounds out. Pure.

One *figure* is something measured once a lift (leak, pump-down, duty, battery, gauge). A figure is first made
comparable (``comparable``), then steps are found (``steps``), then level and slope since the last service are fitted
robustly, with the steps in between, and run on to the limit.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from math import inf, isfinite, sqrt
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.comparable import Effects
from monitor.core.steps import LEARN_N, Found, find_steps

Floats = NDArray[np.float64]

DAY_S: Final = 86_400.0
LEAST_N: Final = 8
"""Fewer lifts since the last service give a level and no slope."""

COMPARED_N: Final = 20
"""Lifts on each side of a service note, and of a circuit and its sisters, that are compared."""

NOW_N: Final = 200
"""A slope is first looked at over this many newest lifts; longer stretches count while they agree with shorter ones."""

FITTED_FROM_N: Final = 5
"""A step of fewer lifts is told and moves neither level nor forecast: one odd lift is no new level."""

AGREE_Z: Final = 2.5
HORIZON_DAYS: Final = 3650.0
"""A limit further away than ten years is not told."""

WIDEN: Final = 1.35
SLOPE_CHANGES_RATIO: Final = 0.1
"""Bounds are this much wider than the noise alone says, and wear may change by this share (one standard deviation);
set on training histories (``tests.benchmarks.trends``)."""

PERSISTS_MOST: Final = 3.0
"""Lifts that follow each other are alike (same crew, same panels): at most so much less is learned from each."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """A value with its 5 % and 95 % bounds."""

    low: float
    likely: float
    high: float


@dataclass(frozen=True, slots=True)
class Step:
    """A figure moved to a new level within one lift and the next. ``certain`` is false while few lifts followed."""

    lift: int
    utc_s: float
    size: float
    scatter: float
    certain: bool


@dataclass(frozen=True, slots=True)
class Reach:
    """When a limit is reached, UTC seconds; None for a bound beyond the horizon. ``now`` says that it is already."""

    early_utc_s: float | None
    likely_utc_s: float | None
    late_utc_s: float | None
    now: bool


@dataclass(frozen=True, slots=True)
class BeforeAfter:
    """A figure before and after a service, each with its bounds; ``better`` when the bounds do not meet, None too few."""

    utc_s: float
    before: Bounds
    after: Bounds
    better: bool | None


@dataclass(frozen=True, slots=True)
class Trend:
    """One figure of one circuit or lifter over its lifts."""

    utc_s: Floats  # shape (n,)
    values: Floats  # shape (n,), comparable
    level: Bounds | None  # now
    slope_per_day: Bounds | None
    scatter: float | None
    steps: tuple[Step, ...]
    services: tuple[BeforeAfter, ...]
    reach: Reach | None  # None: no limit, or no slope known
    fitted_from_utc_s: float | None
    worse_up: bool
    limit: float | None  # where service is due


def trend(
    utc_s: Floats,
    values: Floats,
    *,
    now_utc_s: float,
    services_utc_s: Sequence[float] = (),
    limit: float | None = None,
    worse_up: bool = True,
    least_scatter: float = 1e-6,
    columns: Floats | None = None,
    effects: Effects | None = None,
) -> Trend:
    """Follow one figure over its lifts.

    Args:
        utc_s: Shape (n,), when each lift was, rising.
        values: Shape (n,), the figure, comparable already; NaN where it was not measured.
        now_utc_s: What "now" is for the level and the forecast.
        services_utc_s: When something was done that may change it.
        limit: Where service is due.
        worse_up: Whether more is worse.
        least_scatter: What the figure is known to at best.
        columns: Shape (n, k), conditions whose learned effect was taken out, for the bounds.
        effects: How large that effect is, and how surely it is known.

    Returns:
        The trend over the lifts that have a value.
    """
    known = np.isfinite(values)
    utc_s, values = utc_s[known], values[known]
    columns = columns[known] if columns is not None else None
    sign = 1.0 if worse_up else -1.0
    restarts = [int(np.searchsorted(utc_s, at_s)) for at_s in services_utc_s]
    found = find_steps((sign * values).tolist(), restarts, least_scatter)
    steps = tuple(Step(one.at, float(utc_s[one.at]), sign * one.size, one.scatter, one.certain) for one in found)
    services = tuple(_before_after(values, at, at_s, sign, found)
                     for at, at_s in zip(restarts, services_utc_s, strict=True))  # fmt: skip
    begin = max((at for at in restarts if at < len(values)), default=0)
    fitted = None
    if len(values) - begin >= 1:
        inside = [one.at - begin for one in found if one.at > begin and len(values) - one.at >= FITTED_FROM_N]
        fitted = _fit(utc_s[begin:], values[begin:], now_utc_s, inside,
                      columns[begin:] if columns is not None else None, effects)  # fmt: skip
    if fitted is None:
        return Trend(utc_s, values, None, None, None, steps, services, None, None, worse_up, limit)
    reach = None
    if limit is not None and fitted.has_slope:
        reach = _reach(fitted, limit, sign, now_utc_s)
    slope = Bounds(*fitted.spread(fitted.slope, fitted.cov[1, 1])) if fitted.has_slope else None
    level = Bounds(*fitted.spread(fitted.level, fitted.cov[0, 0]))
    return Trend(utc_s, values, level, slope, fitted.scatter, steps, services, reach,
                 float(utc_s[begin + fitted.first]), worse_up, limit)  # fmt: skip


def compare(values: Floats, others: Sequence[Floats]) -> Bounds | None:
    """How many times a circuit's newest lifts exceed the middle of its sisters', with bounds; None with too few.

    Args:
        values: Shape (n,), comparable, oldest first.
        others: The same of each sister.
    """
    rest = [one[-COMPARED_N:] for one in others if len(one) >= LEAST_N]
    own = values[-COMPARED_N:]
    if len(own) < LEAST_N or not rest:
        return None
    middle = float(np.median([np.median(one) for one in rest]))
    if middle <= 0.0:
        return None
    mean, sd = _middle(own)
    other_sd = max(_middle(one)[1] for one in rest)
    ratio = mean / middle
    spread = 1.645 * ratio * sqrt((sd / max(abs(mean), 1e-9)) ** 2 + (other_sd / middle) ** 2)
    return Bounds(ratio - spread, ratio, ratio + spread)


# --- the fit


@dataclass(frozen=True, slots=True)
class _Fit:
    level: float
    slope: float  # per day
    cov: Floats  # (2, 2)
    freedom: float
    scatter: float
    first: int
    has_slope: bool

    def spread(self, middle: float, variance: float) -> tuple[float, float, float]:
        half = self.t() * sqrt(max(variance, 0.0))
        return middle - half, middle, middle + half

    def t(self) -> float:
        """The 95 % point of Student's t (Cornish-Fisher; Abramowitz and Stegun 26.7.5). Check: 10 degrees: 1.812."""
        z, v = 1.6448536, max(self.freedom, 2.0)
        terms = (
            (z**3 + z) / 4.0,
            (5 * z**5 + 16 * z**3 + 3 * z) / 96.0,
            (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384.0,
        )
        return float(z + terms[0] / v + terms[1] / v**2 + terms[2] / v**3)


def _fit(
    utc_s: Floats,
    values: Floats,
    now_utc_s: float,
    steps: Sequence[int],
    columns: Floats | None,
    effects: Effects | None,
) -> _Fit:
    """The longest stretch up to now that agrees with its newest part."""
    days = (utc_s - now_utc_s) / DAY_S
    n = len(values)
    first = max(0, n - NOW_N)
    best = _regress(days, values, steps, columns, effects, first)
    while first > 0:
        longer = max(0, n - 2 * (n - first))
        fitted = _regress(days, values, steps, columns, effects, longer)
        apart = abs(fitted.slope - best.slope) / sqrt(
            max(best.cov[1, 1] - fitted.cov[1, 1], 0.25 * best.cov[1, 1], 1e-30)
        )
        off = abs(fitted.level - best.level) / sqrt(
            max(best.cov[0, 0] - fitted.cov[0, 0], 0.25 * best.cov[0, 0], 1e-30)
        )
        if not (best.has_slope and fitted.has_slope) or max(apart, off) > AGREE_Z:
            break
        first, best = longer, fitted
    return best


def _regress(
    days: Floats, values: Floats, steps: Sequence[int], columns: Floats | None, effects: Effects | None, first: int
) -> _Fit:
    days, values = days[first:], values[first:]
    n = len(values)
    design = [np.ones(n), days]
    prior = [0.0, 0.0]
    for at in steps:
        if 0 < at - first < n:
            design.append(
                -(np.arange(n) < at - first).astype(np.float64)
            )  # before it, so that the level is that of now
            prior.append(0.0)
    own_n = len(design)
    has_slope = n >= LEAST_N and float(np.ptp(days)) > 0.5
    scatter = _scatter(values)
    if columns is not None and effects is not None:
        by = columns[first:]
        middle = max(float(np.median(values)), 1e-6)
        for k in range(by.shape[1]):
            if float(np.ptp(by[:, k])) > 0.0:
                design.append(by[:, k] * middle)
                prior.append(1.0 / max(float(effects.sd[k]), 1e-6) ** 2)
    x = np.column_stack(design)
    if not has_slope:
        prior[1] = 1e18
    ridge = np.diag(np.asarray(prior))
    base = np.full(n, float(np.median(values)))
    theta = np.zeros(x.shape[1])
    weights = np.ones(n)
    for _ in range(8):
        spread = _spread_of(values, base, scatter)
        left = (values - x @ theta) / spread if theta.any() else (values - base) / spread
        scale = max(1.4826 * float(np.median(np.abs(left - np.median(left)))), 1e-9)
        weights = np.minimum(1.0, 2.0 * scale / np.maximum(np.abs(left), 1e-12)) / (spread * scale) ** 2
        information = (x * weights[:, None]).T @ x + ridge + 1e-12 * np.eye(x.shape[1])
        theta = np.linalg.solve(information, (x * weights[:, None]).T @ values)
        base = x[:, :own_n] @ theta[:own_n]
    left = (values - x @ theta) * np.sqrt(weights)
    factor = max(float(left @ left) / max(n - own_n, 1), 0.5) * _persistence(left) * WIDEN**2
    cov = np.linalg.inv(information)[:2, :2] * factor
    cov[1, 1] += (SLOPE_CHANGES_RATIO * theta[1]) ** 2
    resid = values - x @ theta
    return _Fit(float(theta[0]), float(theta[1]) if has_slope else 0.0, cov, max(float(n - own_n), 2.0),
                float(1.4826 * np.median(np.abs(resid - np.median(resid)))), first, has_slope)  # fmt: skip


def _spread_of(values: Floats, base: Floats, scatter: float) -> Floats:
    """Scatter at each lift in proportion to ``scatter``: a larger leak scatters more, if the lifts say so."""
    level = np.maximum(base, 0.1 * max(float(np.median(np.abs(values))), 1e-9))
    left = np.abs(values - base)
    relative = level / float(np.median(level))
    even = max(1.4826 * float(np.median(left)), 1e-9)
    grown = max(1.4826 * float(np.median(left / relative)), 1e-9)
    even_fit = _unlikely(left / even) + 2.0 * float(np.log(even))
    grown_fit = _unlikely(left / relative / grown) + 2.0 * float(np.mean(np.log(grown * relative)))
    return np.asarray(scatter * relative if grown_fit < even_fit else np.full(len(values), scatter), dtype=np.float64)


def _unlikely(z: Floats) -> float:
    """Mean of z², an odd lift counted as 2.5 scatters at most."""
    return float(np.mean(np.minimum(z * z, 6.25)))


def _scatter(values: Floats) -> float:
    """Scatter from one lift to the next, untouched by trend and steps."""
    if len(values) < 3:
        return max(0.2 * abs(float(np.median(values))), 1e-6)
    return max(1.4826 * float(np.median(np.abs(np.diff(values)))) / sqrt(2.0), 1e-6)


def _persistence(left: Floats) -> float:
    """By how much the variance of a mean grows because lifts that follow each other are alike (first-order)."""
    if len(left) < 20:
        return 1.0
    cut = np.clip(left, -3.0, 3.0)
    rho = float(np.mean(cut[1:] * cut[:-1]) / max(float(np.mean(cut * cut)), 1e-12))
    rho = min(max(rho - 2.0 / sqrt(len(left)), 0.0), 0.9)
    return min((1.0 + rho) / (1.0 - rho), PERSISTS_MOST)


# --- when the limit is reached


def _reach(fitted: _Fit, limit: float, sign: float, now_utc_s: float) -> Reach | None:
    """First times at which the upper bound, the likely line and the lower bound meet the limit (Fieller 1954)."""
    gap = sign * (limit - fitted.level)
    slope = sign * fitted.slope
    if gap <= 0.0:
        return Reach(now_utc_s, now_utc_s, now_utc_s, now=True)
    t = fitted.t()
    aa, bb, ab = fitted.cov[0, 0], fitted.cov[1, 1], fitted.cov[0, 1]
    early = _first_meeting(gap, slope, t, aa, ab, bb, upper=True)
    late = _first_meeting(gap, slope, t, aa, ab, bb, upper=False)
    likely = gap / slope if slope > 0.0 else inf

    def at(days: float) -> float | None:
        return now_utc_s + days * DAY_S if isfinite(days) and days <= HORIZON_DAYS else None

    return Reach(at(early), at(likely), at(late), now=False)


def _first_meeting(gap: float, slope: float, t: float, aa: float, ab: float, bb: float, *, upper: bool) -> float:
    """Days until slope·d ± t·sd(d) reaches ``gap``; sd² = aa + 2·ab·d + bb·d²."""
    side = 1.0 if upper else -1.0

    def over(days: float) -> float:
        return slope * days + side * t * sqrt(max(aa + 2.0 * ab * days + bb * days * days, 0.0)) - gap

    if over(0.0) >= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    while over(high) < 0.0:
        low, high = high, 2.0 * high
        if high > 4.0 * HORIZON_DAYS:
            return inf
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if over(middle) < 0.0 else (low, middle)
    return high


# --- before and after


def _before_after(values: Floats, at: int, at_s: float, sign: float, found: Collection[Found]) -> BeforeAfter:
    before = values[max(0, at - COMPARED_N) : at]
    end = min([at + COMPARED_N, *(one.at for one in found if one.at > at + LEARN_N)])
    after = values[at:end]
    nothing = Bounds(float("nan"), float("nan"), float("nan"))
    if len(before) < 3 or len(after) < 3:
        return BeforeAfter(at_s, _bounds(before) if len(before) >= 3 else nothing,
                           _bounds(after) if len(after) >= 3 else nothing, None)  # fmt: skip
    (mean, sd), (new, new_sd) = _middle(before), _middle(after)
    moved = sign * (mean - new) / sqrt(sd**2 + new_sd**2)
    return BeforeAfter(at_s, _bounds(before), _bounds(after), True if moved > 2.0 else False if moved < 1.0 else None)


def _bounds(values: Floats) -> Bounds:
    mean, sd = _middle(values)
    return Bounds(mean - 1.645 * sd, mean, mean + 1.645 * sd)


def _middle(values: Floats) -> tuple[float, float]:
    """Median and its standard error."""
    middle = float(np.median(values))
    return middle, max(1.2533 * 1.4826 * float(np.median(np.abs(values - middle))) / sqrt(len(values)), 1e-9)
