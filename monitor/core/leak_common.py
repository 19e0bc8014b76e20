"""The part of a fall that every circuit shares: a hoist lowers the ambient pressure, and no circuit leaks by that.

Without an ambient or height reading a common fall counts as hoist only while it is slower than the hoist can climb and
smaller in all than the lift is high. What lies beyond is a leak, and so is every fall seen before anything changed: a lift
starts on the ground.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.units import HOIST_KPA_PER_M

FOLLOW_S: Final = 12.0
"""Circuits may show the beginning or the end of one hoist so far apart, s."""

LINGER_S: Final = 60.0
"""So long after a hoist a circuit is still better judged against the others than by itself, s."""

HOISTING_KPA_PER_S: Final = 0.2 / 60.0
"""A common fall faster than this is taken for a hoist under way."""

SWING_KPA: Final = 0.35
SWING_S: Final = 8.0
"""A load that swings moves every circuit no further, nor longer, before it turns back (common practice)."""

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

    ``rate_kpa_per_s`` is taken for hoist now; ``ceiling_kpa_per_s`` is the most it may be, or was just now (circuits show the
    end of a hoist some seconds apart); ``used_kpa`` is what hoists took in all so far;
    ``lingers_s`` counts down after one.
    """

    usual_kpa_per_s: list[float | None]
    rate_kpa_per_s: float = 0.0
    ceiling_kpa_per_s: float = 0.0
    used_kpa: float = 0.0
    held_s: float = 0.0
    lingers_s: float = 0.0


def share(
    common: Common,
    rates: Sequence[tuple[float, float] | None],
    dt_s: float,
    *,
    height_m: float,
    speed_m_s: float,
    settled: Sequence[bool],
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
    """
    fastest = HOIST_KPA_PER_M * speed_m_s
    most = HOIST_KPA_PER_M * height_m
    excess = []
    for place, rate in enumerate(rates):
        if rate is None:
            continue
        usual = common.usual_kpa_per_s[place]
        if usual is None:
            if settled[place]:
                common.usual_kpa_per_s[place] = max(rate[0], 0.0)
            usual = max(rate[0], 0.0)
        excess.append((rate[0] - usual, rate[1]))
    if len(excess) < 2 or sum(usual is not None for usual in common.usual_kpa_per_s) < 2:
        common.rate_kpa_per_s = common.ceiling_kpa_per_s = 0.0
        return
    climbing = common.used_kpa < most
    if all(rate < 0.0 for rate, _ in excess):
        moved = max(max(rate for rate, _ in excess), -fastest)
    else:
        moved = min(max(min(rate for rate, _ in excess), 0.0), fastest) if climbing else 0.0
    common.used_kpa = min(max(common.used_kpa + moved * dt_s, 0.0), most)
    common.rate_kpa_per_s = max(moved, 0.0)
    ceiling = min(max(min(rate + 2.5 * sd for rate, sd in excess), 0.0), fastest) if climbing else 0.0
    if ceiling >= common.ceiling_kpa_per_s or common.held_s <= 0.0:
        common.ceiling_kpa_per_s, common.held_s = ceiling, FOLLOW_S
    common.held_s -= dt_s
    common.lingers_s = LINGER_S if abs(moved) > HOISTING_KPA_PER_S else max(common.lingers_s - dt_s, 0.0)
    if abs(moved) < 0.1 / 60.0:
        for place, rate in enumerate(rates):
            usual = common.usual_kpa_per_s[place]
            if rate is not None and usual is not None and settled[place]:
                common.usual_kpa_per_s[place] = usual + (max(rate[0], 0.0) - usual) * min(dt_s / 120.0, 1.0)
