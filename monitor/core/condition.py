"""How a circuit fared on one lift: what trends over many lifts are made of. Folded in instant by instant."""

from dataclasses import dataclass, field
from typing import Final

from monitor.core.duty import Duty, note_duty
from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.readings import Pump

PUMP_DOWN_FROM_KPA: Final = 10.0
"""Pump-down is timed from here to the warning level: the first sealing of a pad is the crew's pace, not the pump's."""


@dataclass(slots=True)
class Condition:
    """Sums over one lift; updated in place. The leak counts in flight, with the pump off and the projection known."""

    leak_s: float = 0.0
    leak_sum_kpa: float = 0.0  # leak in kPa/min times s
    level_sum_kpa_s: float = 0.0
    building_from_s: float | None = None
    pump_down_s: float | None = None
    duty: Duty = field(default_factory=Duty)
    open_kpa: float | None = None
    apart_n: int = 0
    apart_sum_kpa: float = 0.0

    def steady_leak_kpa_per_min(self) -> float | None:
        """Mean leak over the flight; None where it was never known."""
        return self.leak_sum_kpa / self.leak_s if self.leak_s > 0.0 else None

    def steady_at_kpa(self) -> float | None:
        """Mean vacuum while the leak was known."""
        return self.level_sum_kpa_s / self.leak_s if self.leak_s > 0.0 else None

    def pumping_down_s(self, pump: Pump | None, now_s: float) -> float:
        """How long the pump-down took, or takes by now while the pump is said to run; 0 before it."""
        if self.pump_down_s is not None:
            return self.pump_down_s
        runs = self.building_from_s is not None and pump is Pump.ON
        return now_s - self.building_from_s if runs and self.building_from_s is not None else 0.0

    def gauges_apart_kpa(self) -> float | None:
        """Mean difference of the circuit's gauges; None with one gauge."""
        return self.apart_sum_kpa / self.apart_n if self.apart_n else None


def note_condition(condition: Condition, circuit: CircuitFacts, facts: Facts, now_s: float, step_s: float) -> None:
    """Fold one instant of a circuit that is heard and believed in."""
    vacuum_kpa = circuit.vacuum_kpa
    if vacuum_kpa is None:
        return
    if circuit.gauges_apart_kpa is not None:
        condition.apart_n += 1
        condition.apart_sum_kpa += circuit.gauges_apart_kpa
    note_duty(condition.duty, circuit.pump, vacuum_kpa, circuit.config.warning_kpa, now_s)
    if circuit.state is CircuitState.OPEN:
        condition.open_kpa = vacuum_kpa
    if facts.in_flight:
        _look_flight(condition, circuit, vacuum_kpa, step_s)
    elif condition.pump_down_s is None:
        _time_pump_down(condition, circuit, vacuum_kpa, now_s)


def _look_flight(condition: Condition, circuit: CircuitFacts, vacuum_kpa: float, step_s: float) -> None:
    leak = circuit.leak
    if leak is None or leak.leak_kpa_per_min is None or circuit.to_warning is None or circuit.pump is Pump.ON:
        return
    condition.leak_s += step_s
    condition.leak_sum_kpa += leak.leak_kpa_per_min * step_s
    condition.level_sum_kpa_s += vacuum_kpa * step_s


def _time_pump_down(condition: Condition, circuit: CircuitFacts, vacuum_kpa: float, now_s: float) -> None:
    if vacuum_kpa < PUMP_DOWN_FROM_KPA:
        condition.building_from_s = None
    elif vacuum_kpa >= circuit.config.warning_kpa:
        if condition.building_from_s is not None:
            condition.pump_down_s = now_s - condition.building_from_s
    elif condition.building_from_s is None:
        condition.building_from_s = now_s
