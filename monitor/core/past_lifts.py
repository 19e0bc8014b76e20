"""What a lifter's last lifts took, and what is learned from it: the time to land, and how long a pump-down may take."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

KEPT_N: Final = 30
LANDING_PERCENTILE: Final = 0.9

LEARNS_N: Final = 5
SLOWER_RATIO: Final = 1.5
SLOWER_LEAST_S: Final = 3.0
"""A pump-down is slow when it takes half as long again as it usually does, and this much longer at least. Panels and pads
differ; a filter half blocked takes twice as long (common practice)."""


@dataclass(frozen=True, slots=True)
class PastLifts:
    """The last lifts of one lifter, newest last. ``pump_down_s`` by circuit: from 10 kPa to the warning level."""

    landing_s: tuple[float, ...] = ()
    pump_down_s: Mapping[str, tuple[float, ...]] = field(default_factory=dict)

    def with_lift(self, landing_s: float | None, pump_down_s: Mapping[str, float | None]) -> "PastLifts":
        """The same with one more lift; what it did not show is left out."""
        landings_s = self.landing_s if landing_s is None else (*self.landing_s, landing_s)
        pump_downs_s = {**self.pump_down_s}
        for circuit, took_s in pump_down_s.items():
            if took_s is not None:
                pump_downs_s[circuit] = (*pump_downs_s.get(circuit, ()), took_s)[-KEPT_N:]
        return PastLifts(landings_s[-KEPT_N:], pump_downs_s)

    def time_to_land_s(self, configured_s: float) -> float:
        """The longer of the site file's figure and the 90th percentile of the last lifts."""
        times_s = sorted(self.landing_s[-KEPT_N:])
        learned_s = times_s[math.ceil(LANDING_PERCENTILE * len(times_s)) - 1] if times_s else 0.0
        return max(configured_s, learned_s)

    def pump_down_limit_s(self, circuit: str) -> float | None:
        """From when a circuit's pump-down is slow by its own history; ``None`` before five lifts. Check: 10 s usually: 15 s."""
        times_s = sorted(self.pump_down_s.get(circuit, ())[-KEPT_N:])
        if len(times_s) < LEARNS_N:
            return None
        usual_s = times_s[len(times_s) // 2]
        return max(SLOWER_RATIO * usual_s, usual_s + SLOWER_LEAST_S)
