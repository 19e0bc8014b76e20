"""One alarm: judge(), advance(), acknowledge(). Silence counts towards raising, never towards clearing.

Life cycle by IEC 62682 / ISA-18.2 as a table of (state, event); shelved, suppressed by design and out of service are
flags beside it, and an alarm so flagged keeps being judged.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from monitor.core.alarm_table import ALARMS, AlarmRule, Breach
from monitor.core.call import (
    ATTACHED_STATES,
    FAULT_LASTS_S,
    LET_OUT_KPA,
    RESERVE_LEAST_S,
    Call,
    opens_under_load,
    over_plan_limit_kg,
)
from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.load import LoadKnown, off_band_kg
from monitor.core.phases import IN_FLIGHT, Phase

APART_RATIO: Final = 0.25
CLOCK_OFFSET_LIMIT_S: Final = 5.0
DISK_LEAST_RATIO: Final = 0.05
TILT_LEAST_DEG: Final = 1.0
"""No tilt sensor on a swinging panel is better than this (common practice)."""

TROUBLED_CALLS: Final = frozenset({Call.LAND_NOW.value, Call.NO_SIGNAL.value, Call.LAND_SOON.value})
"""Calls of a lifter in tandem that are trouble for the other one too."""


class State(StrEnum):
    """Life-cycle state of an alarm."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    LATCHED_UNACKNOWLEDGED = "latched_unacknowledged"
    LATCHED_ACKNOWLEDGED = "latched_acknowledged"


class Happening(StrEnum):
    """What moves an alarm from state to state."""

    OCCURS = "occurs"
    RETURNS = "returns"
    ACKNOWLEDGED = "acknowledged"
    RESET = "reset"


_S, _H = State, Happening
PLAIN: Final[Mapping[tuple[State, Happening], State]] = {
    (_S.NORMAL, _H.OCCURS): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _H.ACKNOWLEDGED): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _H.RETURNS): _S.RETURNED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _H.RETURNS): _S.NORMAL,
    (_S.RETURNED_UNACKNOWLEDGED, _H.ACKNOWLEDGED): _S.NORMAL,
    (_S.RETURNED_UNACKNOWLEDGED, _H.OCCURS): _S.UNACKNOWLEDGED,
}
LATCHING: Final[Mapping[tuple[State, Happening], State]] = {
    (_S.NORMAL, _H.OCCURS): _S.UNACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _H.ACKNOWLEDGED): _S.ACKNOWLEDGED,
    (_S.UNACKNOWLEDGED, _H.RETURNS): _S.LATCHED_UNACKNOWLEDGED,
    (_S.ACKNOWLEDGED, _H.RETURNS): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _H.ACKNOWLEDGED): _S.LATCHED_ACKNOWLEDGED,
    (_S.LATCHED_UNACKNOWLEDGED, _H.OCCURS): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _H.OCCURS): _S.UNACKNOWLEDGED,
    (_S.LATCHED_ACKNOWLEDGED, _H.RESET): _S.NORMAL,
}
"""Transitions by (state, happening); a pair not listed changes nothing. Source: ISA-18.2 state diagram (A to F)."""

ACTIVE: Final = frozenset({State.UNACKNOWLEDGED, State.ACKNOWLEDGED})


class Verdict(StrEnum):
    """What a signal says of its limit just now."""

    BREACH = "breach"
    CLEAR = "clear"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm's memory. ``raising_n`` names the raising an acknowledge must answer."""

    state: State = State.NORMAL
    raising_n: int = 0
    since_s: float | None = None
    breach_since_s: float | None = None
    clear_since_s: float | None = None
    value: float | None = None
    limit: float | None = None
    acknowledged_by: str = ""
    acknowledged_s: float | None = None
    shelved_until_s: float | None = None
    shelved_why: str = ""
    suppressed: bool = False
    out_of_service_why: str = ""


Signal = Callable[[Facts, CircuitFacts | None], float | bool | None]


def _circuit(read: Callable[[CircuitFacts, Facts], float | bool | None]) -> Signal:
    def signal(facts: Facts, circuit: CircuitFacts | None) -> float | bool | None:
        return None if circuit is None else read(circuit, facts)

    return signal


def _believed_kpa(circuit: CircuitFacts, facts: Facts) -> float | None:
    unheard = circuit.state in {CircuitState.NO_READING, CircuitState.SENSOR_FAULT}
    return None if unheard else circuit.vacuum_kpa


def _to_level_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.state in {CircuitState.NO_READING, CircuitState.SENSOR_FAULT} or circuit.to_warning is None:
        return None
    if circuit.leak is None or not circuit.leak.falling or circuit.to_warning.early_s is None:
        return math.inf
    return circuit.to_warning.early_s


def _silent_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.state is CircuitState.SENSOR_FAULT:
        return None
    if circuit.age_s is None:
        return math.inf if facts.ever_heard else None
    return circuit.age_s


def _reserve_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.reserve is None:
        return None
    return math.inf if circuit.reserve.early_s is None else circuit.reserve.early_s


def _apart_kpa(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    values = [_believed_kpa(c, facts) for c in facts.used()]
    known = [value for value in values if value is not None]
    return None if len(known) != len(values) or len(known) < 2 else max(known) - min(known)


def _partly_on_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.load_kg is None:
        return None
    return 0.0 if facts.load_known is LoadKnown.OFF else abs(facts.load_kg)


def _battery_early_s(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.battery_v is None:
        return None
    early_s = None if facts.battery_to_low is None else facts.battery_to_low.early_s
    return math.inf if early_s is None else early_s


def _trouble(name: str) -> Signal:
    return _circuit(lambda c, f: None if c.state is CircuitState.NO_READING else _troubled(c, name))


def _troubled(circuit: CircuitFacts, name: str) -> bool:
    return circuit.pump_trouble == name and circuit.state in ATTACHED_STATES


def _if_lost(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.holding is None or facts.judged_kg is None:
        return None
    factors = [lost.factor for lost in facts.holding.if_lost.values() if lost.needed_factor is not None]
    return min((factor for factor in factors if factor is not None), default=None)


SIGNALS: Final[Mapping[str, Signal]] = {
    "vacuum_kpa": _circuit(_believed_kpa),
    "to_level_early_s": _circuit(_to_level_s),
    "reserve_early_s": _circuit(_reserve_s),
    "lost_kpa": _circuit(lambda c, f: None if c.state is CircuitState.NO_READING else c.lost_kpa),
    "opens_under_load": lambda f, c: None if f.silent or not f.load_fresh else opens_under_load(f),
    "silent_s": _circuit(_silent_s),
    "fault_for_s": _circuit(lambda c, f: None if c.state is CircuitState.NO_READING else c.fault_for_s),
    "pump_not_building": _trouble("not_building"),
    "pump_not_starting": _trouble("not_starting"),
    "pump_not_stopping": _trouble("not_stopping"),
    "lifter_alarm": lambda f, c: None if f.silent and not f.lifter_alarm else f.lifter_alarm,
    "load_kg": lambda f, c: f.load_kg,
    "margin_kg": lambda f, c: None if f.holding is None or f.silent else f.holding.margin_kg,
    "released_load_kg": lambda f, c: (f.released_load_kg or 0.0) if f.load_fresh else None,
    "over_plan_kg": lambda f, c: f.load.largest_kg if f.planned_kg is not None else None,
    "worst_pad_ratio": lambda f, c: (
        None if f.silent or f.holding is None or f.holding.worst_pad is None else f.holding.worst_pad[1]
    ),
    "if_lost_factor": _if_lost,
    "circuits_apart_kpa": _apart_kpa,
    "tilt_beyond_plan_deg": lambda f, c: None if f.tilt_deg is None else f.tilt_beyond_plan_deg,
    "wind_m_s": lambda f, c: f.wind_m_s,
    "battery_v": lambda f, c: f.battery_v,
    "battery_early_s": _battery_early_s,
    "partly_on_kg": _partly_on_kg,
    "partner_in_trouble": lambda f, c: any(call in TROUBLED_CALLS for call, _ in f.partners.values()),
    "clock_offset_s": lambda f, c: None if f.clock_offset_s is None else abs(f.clock_offset_s),
    "link_down": lambda f, c: not f.link_up,
    "disk_free_ratio": lambda f, c: f.disk_free_ratio,
    "store_failing": lambda f, c: not f.store_writing,
}
"""What each rule watches. ``None`` is unknown: it neither raises at once nor clears."""

Limit = Callable[[Facts, CircuitFacts | None], float | None]

LIMITS: Final[Mapping[str, Limit]] = {
    "warning_kpa": lambda f, c: None if c is None else c.config.warning_kpa,
    "needed_kpa": lambda f, c: None if c is None else c.needed_kpa,
    "twice_landing_s": lambda f, c: 2.0 * f.landing_s,
    "sudden_kpa": lambda f, c: LET_OUT_KPA,
    "over_wll_kg": lambda f, c: f.config.wll_kg + f.config.load_accuracy_kg,
    "zero_kg": lambda f, c: 0.0,
    "load_on_kg": lambda f, c: f.config.load_on_kg,
    "stale_after_s": lambda f, c: f.stale_after_s,
    "fault_lasts_s": lambda f, c: FAULT_LASTS_S,
    "reserve_least_s": lambda f, c: max(RESERVE_LEAST_S, f.landing_s),
    "over_plan_limit_kg": lambda f, c: over_plan_limit_kg(f),
    "one_ratio": lambda f, c: 1.0,
    "needed_factor": lambda f, c: 2.0,
    "apart_kpa": lambda f, c: APART_RATIO * max(circuit.config.working_kpa for circuit in f.used()),
    "off_band_kg": lambda f, c: off_band_kg(f.config, f.load.largest_kg),
    "tilt_slack_deg": lambda f, c: max(f.config.tilt_allowance_deg, TILT_LEAST_DEG),
    "wind_limit_m_s": lambda f, c: f.wind_limit_m_s,
    "battery_low_v": lambda f, c: f.config.battery_low_v,
    "clock_offset_limit_s": lambda f, c: CLOCK_OFFSET_LIMIT_S,
    "disk_least_ratio": lambda f, c: DISK_LEAST_RATIO,
}


@dataclass(frozen=True, slots=True)
class Moved:
    """An alarm changed its state."""

    about: str
    rule: AlarmRule
    alarm: Alarm
    moved: str
    who: str = ""


Alarms = Mapping[tuple[str, str], Alarm]
"""Alarms of one lifter by (about, key); ``about`` is a circuit id, or empty for the lifter."""

LIFTER: Final = ""
RULES: Final[Mapping[str, AlarmRule]] = {rule.key: rule for rule in ALARMS}


def judge(alarm: Alarm, rule: AlarmRule, value: float | bool | None, limit: float | None) -> Verdict:
    """Say whether the signal is in breach. Unknown, not finite below zero, or without a limit: unknown."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return Verdict.UNKNOWN
    if rule.breach is Breach.TRUE:
        return Verdict.BREACH if value else Verdict.CLEAR
    if limit is None:
        return Verdict.UNKNOWN if alarm.state in ACTIVE else Verdict.CLEAR
    margin = rule.clear_margin if alarm.state in ACTIVE else 0.0
    if rule.breach is Breach.AT_OR_BELOW:
        return Verdict.BREACH if value <= limit + margin else Verdict.CLEAR
    return Verdict.BREACH if value >= limit - margin else Verdict.CLEAR


def move(alarm: Alarm, rule: AlarmRule, happening: Happening) -> State:
    """The state after ``happening``, by the table of the life cycle."""
    table = LATCHING if rule.latching else PLAIN
    return table.get((alarm.state, happening), alarm.state)


def advance(
    alarm: Alarm,
    verdict: Verdict,
    now_s: float,
    *,
    rule: AlarmRule,
    phase: Phase,
    raising_n: int,
    load_off: bool = False,
) -> Alarm:
    """Return the alarm's next state. Reads no clock, changes nothing it is given.

    ``raising_n`` is the number a new raising gets. An alarm is newly raised only in its armed phases; one that is
    raised stays until its signal is known to be clear, whatever the phase.
    """
    if verdict is Verdict.CLEAR:
        if alarm.state not in ACTIVE:
            return alarm if alarm.breach_since_s is None else replace(alarm, breach_since_s=None)
        since_s = now_s if alarm.clear_since_s is None else alarm.clear_since_s
        if now_s - since_s < rule.clear_after_s:
            return alarm if alarm.clear_since_s is not None else replace(alarm, clear_since_s=since_s)
        return replace(alarm, state=move(alarm, rule, Happening.RETURNS), breach_since_s=None, clear_since_s=None)
    if alarm.state in ACTIVE:
        return alarm if alarm.clear_since_s is None else replace(alarm, clear_since_s=None)
    if verdict is Verdict.UNKNOWN and alarm.breach_since_s is None:
        return alarm  # silence alone raises nothing new here: `no_reading` says it
    if phase not in rule.armed_in:
        return alarm if alarm.breach_since_s is None else replace(alarm, breach_since_s=None)
    since_s = now_s if alarm.breach_since_s is None else alarm.breach_since_s
    raise_after_s = rule.raise_after_s
    if load_off and rule.off_raise_after_s is not None:
        raise_after_s = rule.off_raise_after_s
    if now_s - since_s < raise_after_s:
        return replace(alarm, breach_since_s=since_s)
    return replace(
        alarm,
        state=move(alarm, rule, Happening.OCCURS),
        raising_n=raising_n,
        since_s=since_s,
        breach_since_s=since_s,
        clear_since_s=None,
        acknowledged_by="",
        acknowledged_s=None,
    )


@dataclass(slots=True)
class Board:
    """All alarms of one lifter, and the number of the last raising."""

    alarms: dict[tuple[str, str], Alarm] = field(default_factory=dict)
    raisings_n: int = 0


def step(board: Board, facts: Facts, now_s: float) -> list[Moved]:
    """Judge every rule against the facts of this instant; the board is updated in place. Returns what moved."""
    moves: list[Moved] = []
    circuits = facts.used()
    for rule, signal, limit_of in WATCHED:
        if not rule.per_circuit:
            limit = None if limit_of is None else limit_of(facts, None)
            _step_one(board, (LIFTER, rule.key), rule, signal(facts, None), limit, facts, now_s, moves)
            continue
        for circuit in circuits:
            limit = None if limit_of is None else limit_of(facts, circuit)
            _step_one(board, (circuit.id, rule.key), rule, signal(facts, circuit), limit, facts, now_s, moves)
    return moves


WATCHED: Final = tuple((rule, SIGNALS[rule.signal], LIMITS.get(rule.limit)) for rule in ALARMS)
IDLE_ALARM: Final = Alarm()


def _step_one(
    board: Board,
    key: tuple[str, str],
    rule: AlarmRule,
    value: float | bool | None,
    limit: float | None,
    facts: Facts,
    now_s: float,
    moves: list[Moved],
) -> None:
    before = board.alarms.get(key, IDLE_ALARM)
    if before.shelved_until_s is not None and now_s >= before.shelved_until_s:
        before = board.alarms[key] = _unshelved(before)
        moves.append(Moved(key[0], rule, before, "unshelved"))
    verdict = judge(before, rule, value, limit)
    if verdict is not Verdict.BREACH and before is IDLE_ALARM:
        return
    alarm = advance(
        before,
        verdict,
        now_s,
        rule=rule,
        phase=Phase.CARRYING if facts.in_flight and facts.phase not in IN_FLIGHT else facts.phase,
        raising_n=board.raisings_n + 1,
        load_off=facts.load_known is LoadKnown.OFF,
    )
    if alarm.state in ACTIVE and verdict is Verdict.BREACH:
        shown = SIGNALS[rule.shows](facts, facts.circuits.get(key[0])) if rule.shows else value
        number = float(shown) if shown is not None and not isinstance(shown, bool) else None
        alarm = replace(alarm, value=number, limit=limit)
    suppressed = facts.phase in rule.suppressed_in
    if alarm.suppressed is not suppressed:
        alarm = replace(alarm, suppressed=suppressed)
    if alarm is before:
        return
    board.alarms[key] = alarm
    if alarm.raising_n != before.raising_n:
        board.raisings_n = alarm.raising_n
        moves.append(Moved(key[0], rule, alarm, "raised"))
    elif alarm.state is not before.state:
        moves.append(Moved(key[0], rule, alarm, "cleared" if alarm.state is State.NORMAL else "returned"))


def _unshelved(alarm: Alarm) -> Alarm:
    """Back from the shelf into a standing alarm: unacknowledged again, never quietly answered."""
    state = State.UNACKNOWLEDGED if alarm.state is State.ACKNOWLEDGED else alarm.state
    return replace(alarm, shelved_until_s=None, shelved_why="", state=state)


SHELVE_MOST_S: Final = 3600.0
NEVER_SHELVED: Final = frozenset(
    {
        "vacuum_low",
        "vacuum_critical",
        "sudden_loss",
        "release_under_load",
        "lifter_alarm",
        "margin_gone",
        "load_returns_after_release",
        "losing_vacuum",
        "over_wll",
        "pad_overloaded",
    }
)
"""Alarms that lead to `land_now`: they cannot be shelved nor taken out of service."""


MOVED_BY: Final[Mapping[str, str]] = {
    "acknowledge": "acknowledged",
    "reset": "cleared",
    "shelve": "shelved",
    "unshelve": "unshelved",
}


@dataclass(frozen=True, slots=True)
class Answered:
    """What came of an act on an alarm: done, or refused with the key of the reason."""

    done: bool
    key: str
    moved: Moved | None = None


def act(
    board: Board, kind: str, *, raising_n: int, who: str, now_s: float, duration_s: float = 0.0, why: str = ""
) -> Answered:
    """Acknowledge, reset, shelve or unshelve the alarm whose raising is ``raising_n``; an old raising answers nothing."""
    found = next(((key, alarm) for key, alarm in board.alarms.items() if alarm.raising_n == raising_n), None)
    if found is None or raising_n <= 0:
        return Answered(done=False, key="refused.not_this_raising")
    key, before = found
    rule = RULES[key[1]]
    match kind:
        case "acknowledge" | "reset":
            happening = Happening.ACKNOWLEDGED if kind == "acknowledge" else Happening.RESET
            state = move(before, rule, happening)
            if state is before.state:
                return Answered(done=False, key="refused.nothing_to_do")
            alarm = replace(before, state=state, acknowledged_by=who, acknowledged_s=now_s)
        case "shelve":
            if rule.key in NEVER_SHELVED:
                return Answered(done=False, key="refused.cannot_be_shelved")
            if before.state is State.NORMAL:  # over already: it would silence a raising nobody has seen yet
                return Answered(done=False, key="refused.nothing_to_do")
            if not 0.0 < duration_s <= SHELVE_MOST_S or not why:
                return Answered(done=False, key="refused.shelve_needs")
            alarm = replace(before, shelved_until_s=now_s + duration_s, shelved_why=why)
        case _:
            if before.shelved_until_s is None:
                return Answered(done=False, key="refused.nothing_to_do")
            alarm = _unshelved(before)
    board.alarms[key] = alarm
    return Answered(done=True, key=f"done.{kind}", moved=Moved(key[0], rule, alarm, MOVED_BY[kind], who))
