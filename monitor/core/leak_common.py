"""The part of a fall that every circuit shares: a hoist lowers the ambient pressure, and no circuit leaks by that.

Without an ambient or height reading a common fall counts as hoist only while it is no faster than the hoist can climb and
smaller in all than the lift is high. One beyond either is a leak, whole: nothing of it is put down to a hoist any more until
the circuits have stopped falling together. So is every fall seen before anything changed: a lift starts on the ground.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from monitor.core.units import HOIST_KPA_PER_M

FOLLOW_S: Final = 12.0
FOLLOW_MOST_S: Final = 60.0
"""Circuits may show the beginning or the end of one hoist so far apart, s: at least, and where their gauges step."""

LINGER_S: Final = 60.0
"""So long after a hoist a circuit is still better judged against the others than by itself, s."""

HOISTING_KPA_PER_S: Final = 0.2 / 60.0
"""A common fall faster than this is taken for a hoist under way."""

ORDERLY_KPA_PER_S: Final = 0.3 / 60.0
"""Lifters in order lose up to this (common practice)."""

SWING_KPA: Final = 0.35
SWING_S: Final = 12.0
"""A load that swings moves every circuit no further, nor longer, before it turns back and that shows (common practice: periods
of up to 15 s)."""

_SURE_SDS: Final = 2.5
_TEMPERATURE_K_PER_S: Final = 10.0 / 600.0
_GAS_K: Final = 288.0


def temperature_kpa_per_s(ambient_kpa: float, vacuum_kpa: float) -> float:
    """What the gas of a circuit gains or loses in pressure as it warms or cools by 10 K in ten minutes (shade), kPa/s.

    Check: ambient 101.3, at 61.3 kPa: 40 kPa of gas at 288 K, 0.139 kPa/min.
    """
    return _TEMPERATURE_K_PER_S / _GAS_K * max(ambient_kpa - vacuum_kpa, 0.0)


@dataclass(slots=True)
class Common:
    """The fall all circuits share.

    ``rate_kpa_per_s`` is taken for hoist now; ``ceilings``: the most it may be, now and just before, each with how long ago in
    s, the older the larger; ``used_kpa`` is what hoists took in all so far; ``lingers_s`` counts down after one. ``over_s``
    is how long the fall went on when the lift's height was used up; ``leaks`` if that, or its pace, shows that it is no hoist.
    """

    usual_kpa_per_s: list[float | None]
    rate_kpa_per_s: float = 0.0
    used_kpa: float = 0.0
    ceilings: list[tuple[float, float]] = field(default_factory=list)
    lingers_s: float = 0.0
    over_s: float = 0.0
    leaks: bool = False

    @property
    def ceiling_kpa_per_s(self) -> float:
        """The most that may be hoist, or was just now: circuits show the end of a hoist some seconds apart."""
        return self.ceilings[0][0] if self.ceilings else 0.0

    @property
    def usual_n(self) -> int:
        """Circuits whose rate at rest is known."""
        return sum(usual is not None for usual in self.usual_kpa_per_s)


def share(
    common: Common,
    rates: Sequence[tuple[float, float] | None],
    dt_s: float,
    *,
    height_m: float,
    speed_m_s: float,
    settled: Sequence[bool],
    coarse: Sequence[bool] = (),
    follow_s: float = FOLLOW_S,
) -> None:
    """Bring the common part up to date.

    Args:
        common: Changed in place.
        rates: Per circuit its rate of fall and that rate's standard deviation, kPa/s; ``None`` while the pump runs or it
            is not known.
        dt_s: Time since the last call, s.
        height_m: Height of the lift, m: bounds the common part in all.
        speed_m_s: Speed of the hoist, m/s: bounds it at any moment.
        settled: Per circuit whether its rate has stood long enough to be called usual.
        coarse: Per circuit whether its gauge steps so far that a hoist may begin before its rate at rest has shown: then no
            more than a lifter in order loses is usual, and that much may be excused unseen. None is where left out.
        follow_s: So far apart circuits may show the end of a hoist, s.
    """
    fastest = HOIST_KPA_PER_M * speed_m_s
    most = HOIST_KPA_PER_M * height_m
    usual_most = [ORDERLY_KPA_PER_S if one else math.inf for one in coarse] or [math.inf] * len(rates)
    excess = []
    for place, rate in enumerate(rates):
        if rate is None:
            continue
        usual = common.usual_kpa_per_s[place]
        if usual is None:
            usual = min(max(rate[0], 0.0), usual_most[place])
            if settled[place]:
                common.usual_kpa_per_s[place] = usual
        excess.append((rate[0] - usual, rate[1]))
    seen_n = sum(
        usual is not None or limit < math.inf for usual, limit in zip(common.usual_kpa_per_s, usual_most, strict=True)
    )
    if len(excess) < 2 or seen_n < 2:
        nothing_shared(common)
        return
    _doubt_hoist(common, excess, dt_s, fastest=fastest, most_kpa=most, follow_s=follow_s)
    if common.leaks:
        return
    if all(rate < 0.0 for rate, _ in excess):
        moved = max(max(rate for rate, _ in excess), -fastest)
    else:
        moved = min(max(min(rate for rate, _ in excess), 0.0), fastest)
    common.used_kpa = min(max(common.used_kpa + moved * dt_s, 0.0), most)
    common.rate_kpa_per_s = max(moved, 0.0)
    ceiling = min(max(min(rate + _SURE_SDS * sd for rate, sd in excess), 0.0), fastest)
    earlier = [(one, ago_s + dt_s) for one, ago_s in common.ceilings if one > ceiling and ago_s + dt_s < follow_s]
    common.ceilings = [*earlier, (ceiling, 0.0)]
    common.lingers_s = LINGER_S if abs(moved) > HOISTING_KPA_PER_S else max(common.lingers_s - dt_s, 0.0)
    if abs(moved) < 0.1 / 60.0:
        for place, rate in enumerate(rates):
            usual = common.usual_kpa_per_s[place]
            if rate is not None and usual is not None and settled[place]:
                now = min(max(rate[0], 0.0), usual_most[place])
                common.usual_kpa_per_s[place] = usual + (now - usual) * min(dt_s / 120.0, 1.0)


def nothing_shared(common: Common) -> None:
    """No fall of all circuits is known: what hoists took so far is kept."""
    common.rate_kpa_per_s, common.ceilings, common.over_s, common.leaks = 0.0, [], 0.0, False


def _doubt_hoist(
    common: Common,
    excess: Sequence[tuple[float, float]],
    dt_s: float,
    *,
    fastest: float,
    most_kpa: float,
    follow_s: float,
) -> None:
    """Whether the fall all circuits share can be no hoist: it outruns one, or goes on when the lift's height is used up.

    Circuits show the end of a hoist some seconds apart, and gauges that step late: so long it may still be one.
    """
    least = min(rate for rate, _ in excess)
    if least <= HOISTING_KPA_PER_S:
        common.over_s, common.leaks = 0.0, False
        return
    if common.used_kpa >= most_kpa:
        common.over_s += dt_s
    outruns = min(rate - _SURE_SDS * sd for rate, sd in excess) > fastest + ORDERLY_KPA_PER_S
    if outruns or common.over_s >= follow_s:
        nothing_shared(common)
        common.leaks, common.lingers_s = True, 0.0
