"""How much of its time a circuit's pump runs, stroke by stroke: a duty that rises over a lift is a leak it still covers."""

from dataclasses import dataclass
from typing import Final

from monitor.core.readings import Pump

GAP_S: Final = 3.0
"""After a longer silence a stroke may have been missed: counting begins anew."""

RISES_RATIO: Final = 2.0
RISES_LEAST_RATIO: Final = 0.08
"""The duty has risen when it is twice the first and this much more: a hoist of 2 m/s alone, which draws on every circuit
with 1.4 kPa a minute, makes some 5 % of it with a slow pump (0.5 kPa/s)."""

FIRST_PUMP_DOWN_RATIO: Final = 0.5
"""A stroke begun below half the warning level is a pump-down, and none of these."""


@dataclass(slots=True)
class Duty:
    """One circuit's pump over one lift; updated in place. Ratios are running time over the time from start to start."""

    pump: Pump | None = None
    last_s: float | None = None
    started_s: float | None = None
    ran_s: float = 0.0
    first_ratio: float | None = None
    last_ratio: float | None = None
    steady_ratio: float | None = None  # the lower of the last two: one long stroke is no rise

    def limit_ratio(self) -> float | None:
        """From when the duty has risen over this lift; ``None`` before the first stroke is known."""
        if self.first_ratio is None:
            return None
        return max(RISES_RATIO * self.first_ratio, self.first_ratio + RISES_LEAST_RATIO)


def note_duty(duty: Duty, pump: Pump | None, vacuum_kpa: float, warning_kpa: float, now_s: float) -> None:
    """Fold one instant of a circuit that is heard and believed in."""
    if pump is None or (duty.last_s is not None and now_s - duty.last_s > GAP_S):
        duty.pump = duty.started_s = None
    elif pump is not duty.pump and duty.pump is not None:
        _turned(duty, pump, vacuum_kpa >= FIRST_PUMP_DOWN_RATIO * warning_kpa, now_s)
    duty.pump, duty.last_s = pump, now_s


def _turned(duty: Duty, pump: Pump, sealed: bool, now_s: float) -> None:
    if pump is Pump.OFF:
        if duty.started_s is not None:
            duty.ran_s = now_s - duty.started_s
        return
    if duty.started_s is not None:
        ratio = duty.ran_s / (now_s - duty.started_s)
        if duty.first_ratio is None:
            duty.first_ratio = ratio
        elif duty.last_ratio is not None:
            duty.steady_ratio = min(ratio, duty.last_ratio)
        duty.last_ratio = ratio
    duty.started_s = now_s if sealed else None
