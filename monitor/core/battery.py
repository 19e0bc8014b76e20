"""How long the battery lasts: a line through its voltage with the pumps' sag taken out, and bounds on when it is low.

Readings are gathered into blocks of ten seconds; a line V = a + b·t + c·(share of the time a pump ran) is laid through the
last ten minutes of them and another through the last three, which follows a battery that has begun to fail. The level is
judged as under pump load. Error bars are widened by what the residuals have in common from block to block.
"""

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from monitor.core.warning_time import Bounds

BLOCK_S: Final = 10.0
BLOCKS_KEPT_N: Final = 60
RECENT_N: Final = 18
LEAST_N: Final = 6
GAP_S: Final = 120.0
"""After a longer silence the trend begins anew."""

FLOOR_V: Final = 0.03
"""Least scatter assumed of a block: 0.1 V / sqrt(12), a common rounding."""

Z_EARLY: Final = 1.645  # 5 %
Z_FALLS: Final = 3.0
"""So many error bars below zero a slope is an established fall. Asked all the time, it must be seldom by chance."""

Z_QUICKENS: Final = 2.0
"""So many error bars apart two slopes are a fall that quickens."""


@dataclass(frozen=True, slots=True)
class Line:
    """One straight line through blocks: the level under pump load at ``at_s``, its slope, and their error bars."""

    at_s: float
    middle_s: float
    level_v: float
    level_error_v: float
    slope_v_per_s: float
    slope_error_v_per_s: float

    @property
    def falls(self) -> bool:
        """Whether the fall is established."""
        return self.slope_v_per_s + Z_FALLS * self.slope_error_v_per_s < 0.0

    def reaches_s(self, level_v: float, z: float) -> float:
        """When the line is at a level, engine time, with slope and height lowered by ``z`` error bars; ``inf``: never."""
        slope = self.slope_v_per_s - z * self.slope_error_v_per_s
        above_v = self.level_v - z * self.level_error_v - level_v
        return self.at_s + max(0.0, above_v) / -slope if slope < 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class BatteryTrend:
    """What is remembered of one battery: blocks of (time, mean voltage, share of pump on), the one under way, the lines."""

    blocks: tuple[tuple[float, float, float], ...] = ()
    since_s: float = 0.0
    last_s: float | None = None
    sums: tuple[float, float, float] = (0.0, 0.0, 0.0)
    n: int = 0
    lines: tuple[Line, ...] = ()


def take(trend: BatteryTrend, battery_v: float, now_s: float, *, pump_on: bool) -> BatteryTrend:
    """Fold one reading of the voltage in."""
    if trend.last_s is None or now_s - trend.last_s > GAP_S or now_s < trend.last_s:
        trend = BatteryTrend(since_s=now_s)
    elif now_s - trend.since_s >= BLOCK_S:
        trend = _close_block(trend, now_s)
    sum_s, sum_v, sum_on = trend.sums
    sums = (sum_s + now_s - trend.since_s, sum_v + battery_v, sum_on + pump_on)
    return replace(trend, last_s=now_s, sums=sums, n=trend.n + 1)


def _close_block(trend: BatteryTrend, now_s: float) -> BatteryTrend:
    after_s, mean_v, on_ratio = (total / trend.n for total in trend.sums)
    blocks = (*trend.blocks, (trend.since_s + after_s, mean_v, on_ratio))[-BLOCKS_KEPT_N:]
    fits = (_line(blocks), _line(blocks[-RECENT_N:]) if len(blocks) > RECENT_N else None)
    return BatteryTrend(blocks, now_s, lines=tuple(fit for fit in fits if fit is not None))


def _line(blocks: tuple[tuple[float, float, float], ...]) -> Line | None:
    if len(blocks) < LEAST_N:
        return None
    at_s, volts, on = np.array(blocks).T
    end_s = float(at_s[-1])
    columns = [np.ones_like(at_s), at_s - end_s]
    sags = float(np.ptp(on)) > 0.1  # else what the pumps do to it cannot be told from its level
    if sags:
        columns.append(on)
    design = np.stack(columns, axis=1)
    inverse = np.linalg.pinv(design.T @ design)
    fit = inverse @ design.T @ volts
    left = volts - design @ fit
    free_n = len(blocks) - len(columns)  # three at least
    scatter_v = max(math.sqrt(float(left @ left) / free_n), FLOOR_V)
    widened = scatter_v * _widening(left)
    under_load = np.array([1.0, 0.0, 1.0]) if sags and fit[2] < 0.0 else np.eye(len(columns))[0]
    return Line(
        at_s=end_s,
        middle_s=0.5 * float(at_s[0] + at_s[-1]),
        level_v=float(under_load @ fit),
        level_error_v=widened * math.sqrt(float(under_load @ inverse @ under_load)),
        slope_v_per_s=float(fit[1]),
        slope_error_v_per_s=widened * math.sqrt(float(inverse[1, 1])),
    )


def _widening(left: "np.ndarray[tuple[int], np.dtype[np.float64]]") -> float:
    """How much wider error bars are when each residual carries on a share of the last: sqrt((1 + r)/(1 - r)), r to 0.9.

    Source: variance of a mean of an AR(1) series (textbook). Check: r = 0 gives 1, r = 0.5 gives 1.732.
    """
    power = float(left @ left)
    common = float(left[1:] @ left[:-1]) / power if power > 1e-12 else 0.0
    common = min(max(common, 0.0), 0.9)
    return math.sqrt((1.0 + common) / (1.0 - common))


def to_level(trend: BatteryTrend, level_v: float, now_s: float, *, horizon_s: float) -> Bounds | None:
    """Time until the battery is at a level under pump load, s, by its established fall.

    Returns:
        Bounds, ``None`` in them beyond the horizon. The early one is the earliest of both lines' 5 % points and of a fall that
        goes on quickening; likely and late are those of the line that gets there sooner. ``None``: no fall is established.

    A battery at its end falls within minutes after hours of hardly falling: while that knee lies wholly ahead, no voltage
    tells of it, and these bounds are late. What is known then is only that it is low, once it is.
    """
    falling = [line for line in trend.lines if line.falls]
    if not falling:
        return None
    early_s = min(*(line.reaches_s(level_v, Z_EARLY) for line in trend.lines), _quickening_s(trend.lines, level_v))
    sooner = min(falling, key=lambda line: line.reaches_s(level_v, 0.0))
    times_s = (early_s, sooner.reaches_s(level_v, 0.0), sooner.reaches_s(level_v, -Z_EARLY))
    early, likely, late = (max(0.0, at_s - now_s) for at_s in times_s)
    return Bounds(
        *(None if left_s > horizon_s else left_s for left_s in (min(early, likely), likely, max(late, likely)))
    )


def _quickening_s(lines: tuple[Line, ...], level_v: float) -> float:
    """When the level is reached if the fall goes on quickening as it did between the two lines, engine time.

    The slope grows as exp(g·t), so the fall after t is s/g·(exp(g·t) - 1), solved for the distance to the level.
    """
    if len(lines) < 2 or not all(line.falls for line in lines):
        return math.inf
    long, short = lines
    ratio, apart_s = short.slope_v_per_s / long.slope_v_per_s, short.middle_s - long.middle_s
    error = math.hypot(short.slope_error_v_per_s, long.slope_error_v_per_s)
    if apart_s <= 0.0 or long.slope_v_per_s - short.slope_v_per_s < Z_QUICKENS * error:
        return math.inf
    growth_per_s = math.log(ratio) / apart_s
    fall_v_per_s = -short.slope_v_per_s * math.exp(growth_per_s * (short.at_s - short.middle_s))
    above_v = max(0.0, short.level_v - level_v)
    return short.at_s + math.log1p(growth_per_s * above_v / fall_v_per_s) / growth_per_s
