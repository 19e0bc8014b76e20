"""Is this value to be believed: stale, frozen, jumping, out of range, disagreeing.

One ``Gauge`` a circuit and one ``Signal`` for every other quantity. What is not believed is never used and never
clears anything; the value last believed stays, with its age.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from monitor.core import timing
from monitor.core.readings import CircuitReading, Pump, Refusal

SLOW_AFTER_S: Final = 10.0
"""Above this staleness a lifter is slow, and the age is added to the time to land."""

JUMP_KPA: Final = 4.0
"""A step between two readings larger than this waits for the next reading to agree, or for ``CONFIRM_S``."""

CONFIRM_S: Final = 1.0
"""A jump is believed after this long without another reading: silence counts towards raising."""

GAUGES_AGREE_KPA: Final = 3.0
"""Two gauges on one circuit further apart than this disagree (two of class 1.6 at their limits: common practice)."""

FROZEN_LEAST_S: Final = 3.0
FROZEN_ODDS: Final = 1e-9
"""A gauge is frozen when its own noise makes so long a standstill less likely than this."""

FINE_RATIO: Final = 0.7
"""Noise over quantum from which a standstill tells anything; below it a coarse gauge on a good seal may stand still
(flicker between two neighbouring steps alone looks like 0.5)."""

FROZEN_LEARNS_N: Final = 40
"""Changes to have seen before a gauge's noise is known well enough to call a standstill."""

FINE_QUANTUM_KPA: Final = 0.2
PUMP_MOVES_WITHIN_S: Final = 10.0
"""A gauge this fine cannot stand still for so long over the start of its pump."""

NOISE_WEIGHT: Final = 0.02
UNFREEZE_CHANGES_N: Final = 3


@dataclass(frozen=True, slots=True)
class Signal:
    """The last believed value of a quantity and when it arrived (engine time)."""

    value: float | None = None
    at_s: float | None = None

    def fresh(self, now_s: float, stale_after_s: float) -> float | None:
        """The value while it is not stale, else ``None``."""
        if self.at_s is None or now_s - self.at_s > stale_after_s:
            return None
        return self.value


@dataclass(frozen=True, slots=True)
class Gauge:
    """What is remembered of one circuit's gauge.

    ``fault`` is why the newest value is not believed (``not_a_number``, ``not_finite``, ``out_of_range``,
    ``wrong_shape``, ``frozen``, ``gauges_disagree``), since ``fault_since_s``.
    """

    vacuum_kpa: float | None = None
    at_s: float | None = None
    heard_s: float | None = None
    pump: Pump | None = None
    fault: str | None = None
    fault_since_s: float | None = None
    pending_kpa: float | None = None
    pending_since_s: float | None = None
    gaps_s: tuple[float, ...] = ()
    interval_s: float | None = None
    raw_kpa: float | None = None
    step_kpa: float = 0.0
    same_n: int = 0
    same_since_s: float | None = None
    changes_n: int = 0
    seen_n: int = 0
    quantum_kpa: float | None = None
    bend_var_kpa2: float = 0.0
    pump_moved_s: float | None = None
    apart_kpa: float | None = None

    def age_s(self, now_s: float) -> float | None:
        """Age of the value last believed, s."""
        return None if self.at_s is None else now_s - self.at_s


def stale_after_s(gauge: Gauge, expected_interval_s: float | None) -> float:
    """Silence after which a circuit has no reading, s (rule 1). Learns the interval when none is configured."""
    return timing.stale_after_s(gauge.interval_s if expected_interval_s is None else expected_interval_s)


def is_stale(gauge: Gauge, now_s: float, expected_interval_s: float | None) -> bool:
    """Whether the value last believed is too old to mean anything."""
    return gauge.at_s is None or now_s - gauge.at_s > stale_after_s(gauge, expected_interval_s)


def is_doubted(gauge: Gauge, now_s: float, expected_interval_s: float | None) -> bool:
    """Whether readings do come, but are not believed: a fault of the sensor, not silence."""
    recent = gauge.heard_s is not None and now_s - gauge.heard_s <= stale_after_s(gauge, expected_interval_s)
    return gauge.fault is not None and recent


def take(
    gauge: Gauge,
    circuit: CircuitReading,
    now_s: float,
    *,
    ambient_kpa: float,
    refusal: Refusal | None,
) -> Gauge:
    """Fold one live circuit reading into its gauge.

    Args:
        gauge: What is remembered.
        circuit: The circuit's part of the reading.
        now_s: Engine time of arrival.
        ambient_kpa: Ambient pressure to take an absolute gauge from.
        refusal: The refused field of this circuit's pressure, if the wire refused it.

    Returns:
        The gauge with the new value believed, pending or refused.
    """
    gauge = _take_pump(gauge, circuit.pump, now_s)
    if refusal is not None:
        return _faulted(replace(gauge, heard_s=now_s), refusal.reason, now_s)
    value_kpa = lowest_kpa(circuit, ambient_kpa)
    if value_kpa is None:
        return gauge  # nothing said of this circuit's pressure: its age grows
    spread_kpa = _spread_kpa(circuit, ambient_kpa)
    gauge = replace(gauge, heard_s=now_s, apart_kpa=spread_kpa if len(circuit.gauges) > 1 else None)
    gauge = _watch_standstill(gauge, value_kpa, now_s)
    if _is_frozen(gauge, now_s):
        return _faulted(gauge, "frozen", now_s)
    if gauge.fault == "frozen" and gauge.changes_n < UNFREEZE_CHANGES_N:
        return gauge
    if spread_kpa > GAUGES_AGREE_KPA:
        return replace(_faulted(gauge, "gauges_disagree", now_s), vacuum_kpa=value_kpa, at_s=now_s)
    if _jumped(gauge, value_kpa) and not _same_way(gauge, value_kpa):
        return replace(gauge, pending_kpa=value_kpa, pending_since_s=now_s)
    return _believed(gauge, value_kpa, now_s)


def settle(gauge: Gauge, now_s: float) -> Gauge:
    """Believe a jump that no later reading has contradicted for ``CONFIRM_S``. Called on every tick."""
    if gauge.pending_kpa is None or gauge.pending_since_s is None or now_s - gauge.pending_since_s < CONFIRM_S:
        return gauge
    believed = _believed(gauge, gauge.pending_kpa, gauge.pending_since_s)
    return replace(believed, fault=gauge.fault, fault_since_s=gauge.fault_since_s)


def _believed(gauge: Gauge, value_kpa: float, at_s: float) -> Gauge:
    gaps_s, interval_s = timing.learned(gauge.gaps_s, gauge.at_s, at_s)
    return replace(
        gauge,
        vacuum_kpa=value_kpa,
        at_s=at_s,
        gaps_s=gaps_s,
        interval_s=interval_s,
        fault=None,
        fault_since_s=None,
        pending_kpa=None,
        pending_since_s=None,
    )


def _faulted(gauge: Gauge, reason: str, now_s: float) -> Gauge:
    """What cannot be believed says nothing; a fall that waits to be confirmed goes on waiting."""
    since_s = gauge.fault_since_s if gauge.fault_since_s is not None else now_s
    falls = gauge.pending_kpa is not None and gauge.vacuum_kpa is not None and gauge.pending_kpa < gauge.vacuum_kpa
    if falls:
        return replace(gauge, fault=reason, fault_since_s=since_s)
    return replace(gauge, fault=reason, fault_since_s=since_s, pending_kpa=None, pending_since_s=None)


def _take_pump(gauge: Gauge, pump: Pump | None, now_s: float) -> Gauge:
    if pump is None or pump is gauge.pump:
        return gauge
    moved_s = gauge.pump_moved_s if gauge.pump is None else now_s
    return replace(gauge, pump=pump, pump_moved_s=moved_s)


def _pressures_kpa(circuit: CircuitReading, ambient_kpa: float) -> list[float]:
    values = list(circuit.gauges.values())
    if circuit.vacuum_kpa is not None:
        values.append(circuit.vacuum_kpa)
    if circuit.pressure_abs_kpa is not None:
        values.append(ambient_kpa - circuit.pressure_abs_kpa)
    return values


def lowest_kpa(circuit: CircuitReading, ambient_kpa: float) -> float | None:
    """The weakest vacuum any gauge of the circuit shows: the cautious one counts."""
    return min(_pressures_kpa(circuit, ambient_kpa), default=None)


def _spread_kpa(circuit: CircuitReading, ambient_kpa: float) -> float:
    if not circuit.gauges:
        return 0.0
    values = _pressures_kpa(circuit, ambient_kpa)
    return max(values) - min(values)


def _jumped(gauge: Gauge, value_kpa: float) -> bool:
    return gauge.vacuum_kpa is not None and abs(value_kpa - gauge.vacuum_kpa) > JUMP_KPA


def _same_way(gauge: Gauge, value_kpa: float) -> bool:
    """Whether a jump was pending already, to the same side of the value last believed."""
    if gauge.pending_kpa is None or gauge.vacuum_kpa is None:
        return False
    return (value_kpa - gauge.vacuum_kpa) * (gauge.pending_kpa - gauge.vacuum_kpa) > 0.0


def _watch_standstill(gauge: Gauge, value_kpa: float, now_s: float) -> Gauge:
    """Follow how often the raw value moves, its smallest step and its noise (from second differences: no trend)."""
    if gauge.raw_kpa is None:
        return replace(gauge, raw_kpa=value_kpa, same_n=1, same_since_s=now_s)
    step_kpa = value_kpa - gauge.raw_kpa
    if step_kpa == 0.0:
        return replace(gauge, same_n=gauge.same_n + 1, changes_n=0)  # a standstill teaches nothing about the noise
    bend_kpa = abs(step_kpa - (gauge.step_kpa if gauge.same_n == 1 else 0.0))
    gauge = replace(
        gauge, raw_kpa=value_kpa, step_kpa=step_kpa, same_n=1, same_since_s=now_s, changes_n=gauge.changes_n + 1
    )
    quantum_kpa = abs(step_kpa) if gauge.quantum_kpa is None else min(gauge.quantum_kpa, abs(step_kpa))
    most_kpa = 3.0 * math.sqrt(gauge.bend_var_kpa2) + quantum_kpa
    if abs(step_kpa) > JUMP_KPA or (bend_kpa > most_kpa and gauge.seen_n >= FROZEN_LEARNS_N):
        return gauge  # a wild value is not noise: learned as such, it would make the next standstill look frozen
    bend_kpa2 = min(bend_kpa, most_kpa) ** 2
    return replace(
        gauge,
        seen_n=gauge.seen_n + 1,
        quantum_kpa=quantum_kpa,
        bend_var_kpa2=gauge.bend_var_kpa2 + NOISE_WEIGHT * (bend_kpa2 - gauge.bend_var_kpa2),
    )


def _is_frozen(gauge: Gauge, now_s: float) -> bool:
    """Standing still although a pump or its own noise must have moved it. A coarse gauge on a good seal may stand."""
    if gauge.same_since_s is None or now_s - gauge.same_since_s < FROZEN_LEAST_S or gauge.quantum_kpa is None:
        return False
    runs = gauge.pump is Pump.ON and gauge.pump_moved_s is not None and gauge.quantum_kpa <= FINE_QUANTUM_KPA
    if runs and gauge.same_since_s <= (gauge.pump_moved_s or 0.0) <= now_s - PUMP_MOVES_WITHIN_S:
        return True
    if gauge.seen_n < FROZEN_LEARNS_N:
        return False
    noise_kpa = math.sqrt(gauge.bend_var_kpa2 / 6.0)  # a second difference has six times the variance of one reading
    if noise_kpa < FINE_RATIO * gauge.quantum_kpa:
        return False
    stays = math.erf(0.5 * gauge.quantum_kpa / (noise_kpa * math.sqrt(2.0)))
    return gauge.same_n * math.log(max(stays, 1e-12)) < math.log(FROZEN_ODDS)


def refusals_by_circuit(refused: tuple[Refusal, ...]) -> Mapping[str, Refusal]:
    """The refused pressure of each circuit, by circuit id (field paths ``circuits.ID`` and ``circuits.ID.what``)."""
    found: dict[str, Refusal] = {}
    for refusal in refused:
        parts = refusal.field.split(".")
        if parts[0] == "circuits" and len(parts) >= 2 and (len(parts) == 2 or parts[2] != "pump"):
            found.setdefault(parts[1], refusal)
    return found
