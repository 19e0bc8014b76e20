"""Is this value to be believed: stale, frozen, jumping, out of range, disagreeing.

One ``Gauge`` a circuit and one ``Signal`` for every other quantity. What is not believed is never used and never
clears anything; the value last believed stays, with its age.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final

from monitor.core import silent_gauges, timing
from monitor.core.readings import CircuitReading, Pump, Refusal
from monitor.core.silent_gauges import LastHeard
from monitor.core.standstill import Standstill, follow

MOST_OF_AMBIENT_RATIO: Final = 0.97
"""Of the site's ambient pressure. Lifters' pumps and ejectors end at 85 to 95 % (common practice)."""

SLOW_AFTER_S: Final = 10.0
"""Above this staleness a lifter is slow, and the age is added to the time to land."""

JUMP_KPA: Final = 4.0
"""A step between two readings larger than this waits for the next reading to agree, or for ``CONFIRM_S``."""

CONFIRM_S: Final = 1.0
"""A jump is believed after this long without another reading: silence counts towards raising."""

GAUGES_AGREE_KPA: Final = 3.0
"""Two gauges on one circuit further apart than this disagree (two of class 1.6 at their limits: common practice)."""

RISE_MOST_KPA_PER_S: Final = 25.0
"""No pump draws a sealed circuit down faster than this: from 0 to 60 kPa takes seconds (common practice)."""

REFUSED_WEIGHT: Final = 0.05
REFUSED_RATIO: Final = 0.25
REFUSED_CALM_RATIO: Final = 0.1
REFUSED_FORGOTTEN_RATIO: Final = 0.001
"""A gauge more than a quarter of whose readings are refused is broken, until fewer than a tenth are; some twenty count."""

RISE_UNSEEN_S: Final = 1.0
"""Between readings further apart than this a resting pump may have run and stopped again."""

BACK_WITHIN_S: Final = 5.0
"""A gauge that fell by a jump may be back so soon: wild readings made the fall believed. From a fall that was seen, or that
lasted, no gauge jumps back: what says so repeats an old value."""

STROKES_KEPT_N: Final = 2
NOTHING_ELSE: Final[Mapping[str, Any]] = {}

ABSOLUTE: Final = "absolute"
"""The name under which an absolute gauge is followed: its raw value does not move with the ambient pressure."""

FAULTS: Final = (
    *("not_a_number", "not_finite", "out_of_range", "wrong_shape", "not_known"),
    *("frozen", "noisy", "jumped", "gauges_disagree", "gauge_missing"),
)
"""Why a value is not believed: refused by the wire, or by what the gauge said before."""


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
    """What is remembered of one circuit's gauges.

    ``fault`` is one of ``FAULTS``, since ``fault_since_s``: why the newest value is not believed. ``stills`` follows the raw
    values of each gauge by its name, ``last_heard`` when each came. ``refused``: why one of its readings was refused last;
    ``refused_ratio``: how many are of late, ``often_refused`` whether too many. ``high_kpa``: what a gauge says since it jumped
    up beyond physics. ``left_kpa``: what it said before it last fell by a jump, at ``left_s``. ``strokes`` holds the last whole
    strokes of the pump: its start and stop.
    """

    vacuum_kpa: float | None = None
    at_s: float | None = None
    heard_s: float | None = None
    pump: Pump | None = None
    fault: str | None = None
    fault_since_s: float | None = None
    pending_kpa: float | None = None
    pending_since_s: float | None = None
    high_kpa: float | None = None
    beyond_since_s: float | None = None  # when it began to read more than any pump makes
    left_kpa: float = -math.inf
    left_s: float = -math.inf
    apart_kpa: float | None = None
    lagged_s: float = (
        0.0  # how long the gauge just heard was not, while others of the circuit were; of a jump that waits, its own
    )
    ambient_kpa: float | None = None  # what its absolute gauge was taken from last, if that is its only one
    ambient_measured: bool = False
    gaps_s: tuple[float, ...] = ()
    interval_s: float | None = None
    stills: Mapping[str, Standstill] = field(default_factory=dict)
    last_heard: Mapping[str, LastHeard] = field(default_factory=dict)
    refused: str | None = None
    refused_ratio: float = 0.0
    often_refused: bool = False
    pump_started_s: float | None = None
    pump_stopped_s: float | None = None
    strokes: tuple[tuple[float, float], ...] = ()

    def age_s(self, now_s: float) -> float | None:
        """Age of the value last believed, s."""
        return None if self.at_s is None else now_s - self.at_s

    def just_heard(self, name: str) -> bool:
        """Whether the gauge of that name was in the last message that spoke of this circuit's pressure."""
        heard = self.last_heard.get(name)
        return heard is not None and heard.at_s == self.heard_s

    def has_moved(self) -> bool:
        """Whether any gauge of the circuit was seen to change since it was first heard."""
        return any(still.step_kpa != 0.0 for still in self.stills.values())


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
    ambient_measured: bool = False,
    most_kpa: float = math.inf,
    rise_bounded: bool = False,
    stale_after_s: float = timing.STALE_LEAST_S,
) -> Gauge:
    """Fold one live circuit reading into its gauge.

    Args:
        gauge: What is remembered.
        circuit: The circuit's part of the reading.
        now_s: Engine time of arrival.
        ambient_kpa: Ambient pressure to take an absolute gauge from.
        refusal: The refused field of this circuit's pressure, if the wire refused it.
        ambient_measured: Whether that pressure was measured; where it is now and was not, or the reverse, no gauge has jumped.
        most_kpa: A vacuum above this is none: no lifter's pump makes it, but an absolute gauge taken for a vacuum does.
        rise_bounded: The load hangs, or may: nobody presses pads down or lets a tank in, only a pump raises the vacuum.
        stale_after_s: Silence after which the circuit has no reading: one gauge of several that is silent longer is missing.

    Returns:
        The gauge with the new value believed, pending or refused.
    """
    gauge = _take_pump(gauge, circuit.pump, now_s)
    raw_kpa = _raw_kpa(circuit)
    if raw_kpa or refusal is not None:
        gauge = _count_refused(gauge, refusal)
    if not raw_kpa:  # nothing said of this circuit's pressure: its age grows
        return gauge if refusal is None else _faulted(replace(gauge, heard_s=now_s), refusal.reason, now_s)
    by_ambient_kpa = ambient_kpa if raw_kpa.keys() == {ABSOLUTE} else None
    if by_ambient_kpa is not None and gauge.ambient_kpa is not None and ambient_measured is not gauge.ambient_measured:
        gauge = _shifted(gauge, ambient_kpa - gauge.ambient_kpa)
    heard = {name: follow(gauge.stills.get(name), value, now_s) for name, value in raw_kpa.items()}
    doubted = [still for still in heard.values() if _is_doubted(still)]
    believed = {n: value for n, value in raw_kpa.items() if not _is_doubted(heard[n])} if doubted else raw_kpa
    if circuit.vacuum_kpa is not None and "" in gauge.last_heard:
        raw_kpa = {**raw_kpa, "": circuit.vacuum_kpa}  # told, though one of the others says the same just now
    last_heard = silent_gauges.follow(gauge.last_heard, raw_kpa, gauge.heard_s, now_s, stale_after_s)
    values_kpa = _vacuums_kpa(believed, ambient_kpa)
    too_high = max(values_kpa, default=0.0) > most_kpa
    values_kpa = [value for value in values_kpa if value <= most_kpa]
    apart_kpa = max(values_kpa) - min(values_kpa) if len(values_kpa) > 1 else None
    if len(last_heard) > len(raw_kpa) and values_kpa:
        in_turn = silent_gauges.in_turn(last_heard, raw_kpa, now_s, stale_after_s)
        doubted += [gauge.stills[name] for name in in_turn if name in gauge.stills and _is_doubted(gauge.stills[name])]
        in_turn = {n: last for n, last in in_turn.items() if n not in gauge.stills or not _is_doubted(gauge.stills[n])}
        if in_turn:
            apart_kpa = max(apart_kpa or 0.0, _apart_in_turn_kpa(gauge, believed, in_turn, ambient_kpa) or 0.0)
        last_kpa = [_last_kpa(name, last.last_kpa, ambient_kpa) for name, last in in_turn.items()]
        values_kpa += [value for value in last_kpa if value <= most_kpa]
    disagree = min(apart_kpa or 0.0, gauge.apart_kpa or 0.0) > GAUGES_AGREE_KPA  # one wild value is no disagreement
    beyond_s = (now_s if gauge.beyond_since_s is None else gauge.beyond_since_s) if too_high else None
    seen: dict[str, Any] = {
        "heard_s": now_s,
        "stills": heard if heard.keys() >= gauge.stills.keys() else _kept(gauge.stills, heard, last_heard),
        "last_heard": last_heard,
        "apart_kpa": apart_kpa,
        "beyond_since_s": beyond_s,
        "ambient_kpa": by_ambient_kpa,
        "ambient_measured": ambient_measured,
        "lagged_s": _lagged_s(gauge, raw_kpa, now_s),
    }
    fault = gauge.refused if refusal is not None or gauge.often_refused else None
    if doubted:
        fault = "frozen" if any(still.frozen for still in doubted) else "noisy"
    elif too_high:
        fault = "out_of_range"
    elif disagree:
        fault = "gauges_disagree"
    if len(last_heard) > len(raw_kpa) and values_kpa:
        missing = silent_gauges.silent(last_heard, raw_kpa, now_s, stale_after_s)
        fault = fault or ("gauge_missing" if missing else None)
        values_kpa += [_last_kpa(name, last, ambient_kpa) for name, last in missing.items()]
    if fault is None and gauge.high_kpa is None and not _jumped(gauge, min(values_kpa)):
        return _believed(gauge, min(values_kpa), now_s, seen)  # as nearly always: one new gauge, not two
    gauge = replace(gauge, **seen)
    if beyond_s is not None and not values_kpa and now_s - beyond_s < CONFIRM_S:
        return gauge  # one wild value says nothing
    if not values_kpa:
        return _faulted(gauge, fault or "frozen", now_s)
    taken = _take_value(gauge, min(values_kpa), now_s, rise_bounded=rise_bounded)
    if fault is None:
        return taken
    return replace(taken, fault=fault, fault_since_s=now_s if gauge.fault_since_s is None else gauge.fault_since_s)


def _lagged_s(gauge: Gauge, raw_kpa: Mapping[str, float], now_s: float) -> float:
    """How long the slowest of the gauges just heard had not been: what it says anew may have come about in all that time."""
    lagged_s = max((now_s - last.at_s for n in raw_kpa if (last := gauge.last_heard.get(n)) is not None), default=0.0)
    return lagged_s if gauge.pending_kpa is None else max(lagged_s, gauge.lagged_s)


def _shifted(gauge: Gauge, by_kpa: float) -> Gauge:
    """An absolute gauge is taken from an assumed ambient pressure, or no more: that is no jump of what it says itself."""
    pending_kpa, high_kpa = gauge.pending_kpa, gauge.high_kpa
    return replace(
        gauge,
        vacuum_kpa=None if gauge.vacuum_kpa is None else gauge.vacuum_kpa + by_kpa,
        pending_kpa=None if pending_kpa is None else pending_kpa + by_kpa,
        high_kpa=None if high_kpa is None else high_kpa + by_kpa,
        left_kpa=gauge.left_kpa + by_kpa,
    )


def _take_value(gauge: Gauge, value_kpa: float, now_s: float, *, rise_bounded: bool) -> Gauge:
    """The lowest believed value: taken at once, or a jump that waits for the next reading to agree."""
    if gauge.high_kpa is not None and rise_bounded:
        return _jumped_up(gauge, value_kpa, now_s)
    if not _jumped(gauge, value_kpa):
        return _believed(gauge, value_kpa, now_s)
    if not _same_way(gauge, value_kpa):
        return replace(gauge, pending_kpa=value_kpa, pending_since_s=now_s)
    if rise_bounded and _beyond_physics(gauge, value_kpa, now_s):
        return replace(_faulted(gauge, "jumped", now_s), high_kpa=value_kpa)
    return _believed(gauge, value_kpa, now_s)


def _jumped_up(gauge: Gauge, value_kpa: float, now_s: float) -> Gauge:
    """After a jump up beyond physics only a jump back is believed: one that slides down may be read too high still."""
    if gauge.vacuum_kpa is None or gauge.high_kpa is None:
        return gauge
    if gauge.high_kpa - value_kpa > JUMP_KPA and value_kpa <= gauge.vacuum_kpa + JUMP_KPA:
        if gauge.pending_kpa is not None:
            return _believed(gauge, value_kpa, now_s)
        return replace(gauge, pending_kpa=value_kpa, pending_since_s=now_s)
    wild = abs(value_kpa - gauge.high_kpa) > JUMP_KPA
    gauge = replace(_faulted(gauge, "jumped", now_s), pending_kpa=None, pending_since_s=None)
    return gauge if wild else replace(gauge, high_kpa=value_kpa)


def settle(gauge: Gauge, now_s: float) -> Gauge:
    """Believe a jump that no later reading has contradicted for ``CONFIRM_S``. Called on every tick."""
    if gauge.pending_kpa is None or gauge.pending_since_s is None or now_s - gauge.pending_since_s < CONFIRM_S:
        return gauge
    believed = _believed(gauge, gauge.pending_kpa, gauge.pending_since_s)
    return replace(believed, fault=gauge.fault, fault_since_s=gauge.fault_since_s)


def _kept(
    stills: Mapping[str, Standstill], heard: Mapping[str, Standstill], last_heard: Mapping[str, LastHeard]
) -> Mapping[str, Standstill]:
    """Those just heard, and those left out this time: a frozen gauge is not believed again for having been silent."""
    return {**{name: still for name, still in stills.items() if name in last_heard}, **heard}


def forget_missing(gauge: Gauge) -> Gauge:
    """The pads have let go: a gauge that is gone for good is missed no more, and what is heard now makes the circuit."""
    heard = [name for name in gauge.last_heard if gauge.just_heard(name)]
    return replace(
        gauge,
        last_heard={name: gauge.last_heard[name] for name in heard},
        stills={name: still for name, still in gauge.stills.items() if name in heard},
    )


def freeze(gauge: Gauge, names: tuple[str, ...], now_s: float) -> Gauge:
    """The gauges of these names stand still although they must have moved: not believed until they move again."""
    stills = {name: replace(still, frozen=still.frozen or name in names) for name, still in gauge.stills.items()}
    return _faulted(replace(gauge, stills=stills), "frozen", now_s)


def _believed(gauge: Gauge, value_kpa: float, at_s: float, seen: Mapping[str, Any] = NOTHING_ELSE) -> Gauge:
    """The value believed, together with what else the reading showed."""
    gaps_s, interval_s = timing.learned(gauge.gaps_s, gauge.at_s, at_s)
    before_kpa, left_kpa, left_s = gauge.vacuum_kpa, gauge.left_kpa, gauge.left_s
    if before_kpa is not None and before_kpa - value_kpa > JUMP_KPA and at_s - left_s > BACK_WITHIN_S:
        left_kpa, left_s = before_kpa, at_s
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
        high_kpa=None,
        left_kpa=left_kpa,
        left_s=left_s,
        **seen,
    )


def _faulted(gauge: Gauge, reason: str, now_s: float) -> Gauge:
    """What cannot be believed says nothing; a fall that waits to be confirmed goes on waiting."""
    since_s = gauge.fault_since_s if gauge.fault_since_s is not None else now_s
    falls = gauge.pending_kpa is not None and gauge.vacuum_kpa is not None and gauge.pending_kpa < gauge.vacuum_kpa
    if falls:
        return replace(gauge, fault=reason, fault_since_s=since_s)
    return replace(gauge, fault=reason, fault_since_s=since_s, pending_kpa=None, pending_since_s=None)


def _count_refused(gauge: Gauge, refusal: Refusal | None) -> Gauge:
    """How many readings are refused of late: of a gauge refused every second time the others are not to be believed either."""
    if refusal is None and gauge.refused_ratio == 0.0:
        return gauge
    ratio = gauge.refused_ratio + REFUSED_WEIGHT * (float(refusal is not None) - gauge.refused_ratio)
    return replace(
        gauge,
        refused=gauge.refused if refusal is None else refusal.reason,
        refused_ratio=ratio if ratio > REFUSED_FORGOTTEN_RATIO else 0.0,
        often_refused=ratio > (REFUSED_CALM_RATIO if gauge.often_refused else REFUSED_RATIO),
    )


def _take_pump(gauge: Gauge, pump: Pump | None, now_s: float) -> Gauge:
    if pump is None or pump is gauge.pump:
        return gauge
    if gauge.pump is None:
        return replace(gauge, pump=pump)
    if pump is Pump.ON:
        return replace(gauge, pump=pump, pump_started_s=now_s)
    strokes = gauge.strokes
    if gauge.pump_started_s is not None:
        strokes = (*strokes, (gauge.pump_started_s, now_s))[-STROKES_KEPT_N:]
    return replace(gauge, pump=pump, pump_stopped_s=now_s, strokes=strokes)


def _raw_kpa(circuit: CircuitReading) -> dict[str, float]:
    """What each gauge of a circuit says, by its name. A vacuum beside several gauges is one of theirs: the sender's lowest."""
    raw_kpa = dict(circuit.gauges)
    if circuit.vacuum_kpa is not None and circuit.vacuum_kpa not in raw_kpa.values():
        raw_kpa[""] = circuit.vacuum_kpa
    if circuit.pressure_abs_kpa is not None:
        raw_kpa[ABSOLUTE] = circuit.pressure_abs_kpa
    return raw_kpa


def lowest_kpa(circuit: CircuitReading, ambient_kpa: float) -> float | None:
    """The weakest vacuum any gauge of the circuit shows: the cautious one counts."""
    return min(_vacuums_kpa(_raw_kpa(circuit), ambient_kpa), default=None)


def _vacuums_kpa(raw_kpa: Mapping[str, float], ambient_kpa: float) -> list[float]:
    return [_vacuum_kpa(name, value, ambient_kpa) for name, value in raw_kpa.items()]


def _vacuum_kpa(name: str, raw_kpa: float, ambient_kpa: float) -> float:
    return ambient_kpa - raw_kpa if name == ABSOLUTE else raw_kpa


def _last_kpa(name: str, last_kpa: tuple[float, ...], ambient_kpa: float) -> float:
    """The vacuum a gauge showed last, by the higher of two values: one wild value says nothing."""
    return max(_vacuum_kpa(name, raw_kpa, ambient_kpa) for raw_kpa in last_kpa)


def _is_doubted(still: Standstill) -> bool:
    return still.frozen or still.noisy


def _apart_in_turn_kpa(
    gauge: Gauge, heard_kpa: Mapping[str, float], in_turn: Mapping[str, LastHeard], ambient_kpa: float
) -> float | None:
    """How far gauges that come one after the other are apart, kPa; what it was where none can be held against another.

    Each is held by its last two values, of which the nearer count: those of the one just heard enclose the time of the other's
    last, so a circuit that falls or is drawn down sets nothing apart, nor does one wild value.
    """
    found = []
    for name, raw_kpa in heard_kpa.items():
        before = gauge.last_heard.get(name)
        if before is None:
            continue
        one = [_vacuum_kpa(name, raw, ambient_kpa) for raw in (before.last_kpa[-1], raw_kpa)]
        for other_name, last in in_turn.items():
            if last.at_s >= before.at_s:
                other = [_vacuum_kpa(other_name, raw, ambient_kpa) for raw in last.last_kpa]
                found.append(max(0.0, min(one) - max(other), min(other) - max(one)))
    return max(found, default=gauge.apart_kpa)


def _jumped(gauge: Gauge, value_kpa: float) -> bool:
    return gauge.vacuum_kpa is not None and abs(value_kpa - gauge.vacuum_kpa) > JUMP_KPA


def _same_way(gauge: Gauge, value_kpa: float) -> bool:
    """Whether a jump was pending already, to the same side of the value last believed."""
    if gauge.pending_kpa is None or gauge.vacuum_kpa is None:
        return False
    return (value_kpa - gauge.vacuum_kpa) * (gauge.pending_kpa - gauge.vacuum_kpa) > 0.0


def _beyond_physics(gauge: Gauge, value_kpa: float, now_s: float) -> bool:
    """Whether the vacuum has risen as no pump can raise it. A fall is always possible: a pad lets go, a hose comes off."""
    if gauge.vacuum_kpa is None or gauge.at_s is None:
        return False
    waited_s = max(now_s - gauge.at_s, gauge.lagged_s)
    if waited_s > timing.STALE_LEAST_S:
        return False
    if now_s - gauge.left_s <= BACK_WITHIN_S and value_kpa <= gauge.left_kpa + JUMP_KPA:
        return False  # back from a fall, which two wild readings may have made believed
    pumped = gauge.pump is not Pump.OFF or waited_s > RISE_UNSEEN_S
    return value_kpa - gauge.vacuum_kpa > JUMP_KPA + (RISE_MOST_KPA_PER_S * waited_s if pumped else 0.0)


def refusals_by_circuit(refused: tuple[Refusal, ...]) -> Mapping[str, Refusal]:
    """The refused pressure of each circuit, by circuit id (field paths ``circuits.ID`` and ``circuits.ID.what``)."""
    found: dict[str, Refusal] = {}
    for refusal in refused:
        parts = refusal.field.split(".")
        if parts[0] == "circuits" and len(parts) >= 2 and (len(parts) == 2 or parts[2] != "pump"):
            found.setdefault(parts[1], refusal)
    return found
