"""One lift's record, built up reading by reading. It says how much it did not see, and what judged it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Final

from monitor.core.alarms import State
from monitor.core.call import RANK, Call, Called
from monitor.core.condition import Condition, note_condition
from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.phases import IN_FLIGHT
from monitor.core.readings import Pump
from monitor.core.seal_tests import SealTest

GAPS_KEPT_N: Final = 100
ALARMS_KEPT_N: Final = 500
HIGHEST_WITHIN_M: Final = 1.0
STEP_MOST_S: Final = 1.0
"""Time between two looks counts as seen up to here; the engine looks at least twice a second."""


@dataclass(slots=True)
class CircuitLog:
    """One circuit over one lift."""

    lowest_kpa: float | None = None
    lowest_s: float | None = None
    at_pick_kpa: float | None = None
    worst_leak_kpa_per_min: float | None = None
    last_leak_kpa_per_min: float | None = None
    state_s: dict[str, float] = field(default_factory=dict)
    pump_on_s: float = 0.0
    seen_s: float = 0.0
    condition: Condition = field(default_factory=Condition)
    late_n: int = 0
    late_lowest_kpa: float | None = None
    late_lowest_s: float | None = None


@dataclass(slots=True)
class Gap:
    """A stretch without readings: from the last one heard to the next, and why."""

    from_s: float
    to_s: float
    why: str  # "silence" or "restart"


@dataclass(slots=True)
class AlarmLog:
    """One raising of an alarm during the lift."""

    raising: str
    key: str
    about: str
    priority: str
    raised_s: float
    returned_s: float | None = None
    acknowledged_s: float | None = None
    acknowledged_by: str = ""


@dataclass(slots=True)
class ActionLog:
    """What a named person did during the lift."""

    kind: str
    who: str
    role: str
    at_s: float
    params: Mapping[str, object]


@dataclass(slots=True)
class LiftLog:
    """A lift in progress; updated in place."""

    id: str
    lifter: str
    opened_s: float
    utc_minus_now_s: float
    time_to_land_s: float
    version: str
    circuits: dict[str, CircuitLog]
    looked_s: float | None = None
    load_on_s: float | None = None
    load_off_s: float | None = None
    picks_n: int = 0
    largest_kg: float | None = None
    planned_kg: float | None = None
    lowest_margin_kg: float | None = None
    lowest_margin_s: float | None = None
    governs: str | None = None
    tilt_low_deg: float | None = None
    tilt_high_deg: float | None = None
    height_high_m: float | None = None
    height_last_m: float | None = None
    highest_last_s: float | None = None
    wind_high_m_s: float | None = None
    battery_low_v: float | None = None
    temperature_c: float | None = None
    ambient_kpa: float | None = None
    call_s: dict[str, float] = field(default_factory=dict)
    worst_call: str | None = None
    worst_call_reason: str | None = None
    seen_s: float = 0.0
    gap_s: float = 0.0
    gaps_n: int = 0
    gaps: list[Gap] = field(default_factory=list)
    alarms: dict[str, AlarmLog] = field(default_factory=dict)
    actions: list[ActionLog] = field(default_factory=list)
    landing_s: float | None = None


@dataclass(frozen=True, slots=True)
class Summary:
    """A closed lift: its log, when and how it ended, and the message counts while it lasted."""

    log: LiftLog
    closed_s: float
    ended: str  # "released", "parked", or "open" in a replay that ends in the middle
    counts: Mapping[str, int]
    surface: str
    friction: float
    basis: str
    wll_kg: float
    seal_tests: tuple[SealTest, ...] = ()
    plan: ActionLog | None = None


def open_log(
    lifter: str,
    circuits: tuple[str, ...],
    now_s: float,
    *,
    utc_minus_now_s: float,
    version: str,
    time_to_land_s: float,
) -> LiftLog:
    """A new lift of this lifter."""
    return LiftLog(
        id=f"{lifter}-{int(now_s + utc_minus_now_s)}",
        lifter=lifter,
        opened_s=now_s,
        utc_minus_now_s=utc_minus_now_s,
        time_to_land_s=time_to_land_s,
        version=version,
        circuits={circuit: CircuitLog() for circuit in circuits},
    )


def look(log: LiftLog, facts: Facts, called: Called, now_s: float) -> None:
    """Fold one instant in."""
    step_s = 0.0 if log.looked_s is None else min(max(now_s - log.looked_s, 0.0), STEP_MOST_S)
    log.looked_s = now_s
    log.call_s[called.call] = log.call_s.get(called.call, 0.0) + step_s
    if not facts.silent:
        log.seen_s += step_s
    for circuit in facts.used():
        _look_circuit(log.circuits.setdefault(circuit.id, CircuitLog()), circuit, facts, now_s, step_s)
    if facts.phase in IN_FLIGHT:
        _look_flight(log, facts, called, now_s)
    log.ambient_kpa = facts.ambient_kpa if facts.ambient_kpa is not None else log.ambient_kpa
    log.temperature_c = facts.temperature_c if facts.temperature_c is not None else log.temperature_c
    log.battery_low_v = _least(log.battery_low_v, facts.battery_v)


def _look_circuit(log: CircuitLog, circuit: CircuitFacts, facts: Facts, now_s: float, step_s: float) -> None:
    log.state_s[circuit.state] = log.state_s.get(circuit.state, 0.0) + step_s
    if circuit.state in {CircuitState.NO_READING, CircuitState.SENSOR_FAULT} or circuit.vacuum_kpa is None:
        return
    log.seen_s += step_s
    if circuit.pump is Pump.ON:
        log.pump_on_s += step_s
    note_condition(log.condition, circuit, facts, now_s, step_s)
    if not facts.in_flight:
        return
    if log.at_pick_kpa is None:
        log.at_pick_kpa = circuit.vacuum_kpa
    if log.lowest_kpa is None or circuit.vacuum_kpa < log.lowest_kpa:
        log.lowest_kpa, log.lowest_s = circuit.vacuum_kpa, now_s
    if circuit.leak is not None and circuit.leak.leak_kpa_per_min is not None and circuit.to_warning is not None:
        log.last_leak_kpa_per_min = circuit.leak.leak_kpa_per_min
        log.worst_leak_kpa_per_min = _most(log.worst_leak_kpa_per_min, circuit.leak.leak_kpa_per_min)


def _look_flight(log: LiftLog, facts: Facts, called: Called, now_s: float) -> None:
    if log.load_on_s is None:
        log.load_on_s = now_s
    log.largest_kg = _most(log.largest_kg, facts.load.largest_kg)
    log.planned_kg = facts.planned_kg
    log.tilt_low_deg = _least(log.tilt_low_deg, facts.tilt_deg)
    log.tilt_high_deg = _most(log.tilt_high_deg, facts.tilt_deg)
    log.wind_high_m_s = _most(log.wind_high_m_s, facts.wind_m_s)
    if facts.height_m is not None:
        log.height_last_m = facts.height_m
        log.height_high_m = _most(log.height_high_m, facts.height_m)
        if log.height_high_m is not None and facts.height_m >= log.height_high_m - HIGHEST_WITHIN_M:
            log.highest_last_s = now_s
    held = facts.holding
    least_kg = _least(log.lowest_margin_kg, held.margin_kg if held is not None else None)
    if facts.in_flight and held is not None and least_kg != log.lowest_margin_kg:
        log.lowest_margin_kg, log.lowest_margin_s, log.governs = least_kg, now_s, held.governs
    if not facts.in_flight:
        if log.load_off_s is None:
            log.load_off_s = now_s
            if log.highest_last_s is not None and _came_down(log):
                log.landing_s = now_s - log.highest_last_s
    else:
        log.load_off_s = None
        _note_call(log, called)


def _came_down(log: LiftLog) -> bool:
    """Whether the panel was landed lower than it was carried: one set at that height tells nothing of a way down."""
    heights = log.height_last_m, log.height_high_m
    return heights[0] is not None and heights[1] is not None and heights[0] < heights[1] - HIGHEST_WITHIN_M


def _note_call(log: LiftLog, called: Called) -> None:
    if log.worst_call is None or RANK[called.call] < RANK[Call(log.worst_call)]:
        log.worst_call, log.worst_call_reason = called.call.value, called.reason.key


def note_gap(log: LiftLog, from_s: float, to_s: float, why: str) -> None:
    """Name a stretch that was not seen."""
    log.gaps_n += 1
    log.gap_s += max(0.0, to_s - from_s)
    if len(log.gaps) < GAPS_KEPT_N:
        log.gaps.append(Gap(from_s, to_s, why))


def note_late(log: LiftLog, vacuums: Iterable[tuple[str, float]], at_s: float) -> None:
    """Note what came after its time, of when the load hung; beside what was judged, never in its place."""
    if log.load_on_s is None or at_s < log.load_on_s or (log.load_off_s is not None and at_s > log.load_off_s):
        return
    for name, vacuum_kpa in vacuums:
        circuit = log.circuits.get(name)
        if circuit is not None:
            circuit.late_n += 1
            if circuit.late_lowest_kpa is None or vacuum_kpa < circuit.late_lowest_kpa:
                circuit.late_lowest_kpa, circuit.late_lowest_s = vacuum_kpa, at_s


def gap_from_s(log: LiftLog, heard_s: float) -> float:
    """Where a silence begins: at the last reading, or at the end of a gap named since (a restart), so none counts twice."""
    return max(heard_s, log.gaps[-1].to_s) if log.gaps else heard_s


def note_alarm(
    log: LiftLog, *, raising: str, key: str, about: str, priority: str, state: State, moved: str, who: str, at_s: float
) -> None:
    """Note a move of an alarm; one raised before the lift began is noted when it moves."""
    entry = log.alarms.get(raising)
    if entry is None:
        if len(log.alarms) >= ALARMS_KEPT_N:
            return
        entry = AlarmLog(raising, key, about, priority, at_s)
        log.alarms[raising] = entry
    if moved in {"returned", "cleared"} and entry.returned_s is None:
        entry.returned_s = at_s
    if moved == "acknowledged":
        entry.acknowledged_s, entry.acknowledged_by = at_s, who
    if moved == "raised" and state is State.UNACKNOWLEDGED:
        entry.raised_s = at_s


def _least(so_far: float | None, value: float | None) -> float | None:
    if value is None:
        return so_far
    return value if so_far is None else min(so_far, value)


def _most(so_far: float | None, value: float | None) -> float | None:
    if value is None:
        return so_far
    return value if so_far is None else max(so_far, value)
