"""One alarm: judge(), advance(), come_back(). Silence counts towards raising, never towards clearing.

Life cycle by IEC 62682 / ISA-18.2 as a table of (state, event); shelved, suppressed by design and out of service are
flags beside it, and an alarm so flagged keeps being judged. No flag of an alarm reaches the call: that is made from facts.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from monitor.core.alarm_signals import LIMITS, SIGNALS
from monitor.core.alarm_table import ALARMS, AlarmRule, Breach, Priority, priority
from monitor.core.facts import Facts
from monitor.core.load import LoadKnown
from monitor.core.phases import IN_FLIGHT, Phase


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

STANDS_LEAST_S: Final = 60.0
"""An alarm once raised stands so long at least. With three changes in a minute being chatter, none can."""

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
    raised_s: float | None = None  # when it was raised: `since_s` and the delay
    breach_since_s: float | None = None
    clear_since_s: float | None = None
    returned_s: float | None = None  # when it was last over
    value: float | None = None
    limit: float | None = None
    acknowledged_by: str = ""
    acknowledged_s: float | None = None
    shelved_until_s: float | None = None
    shelved_by: str = ""
    shelved_why: str = ""
    suppressed: bool = False
    out_of_service_s: float | None = None
    out_of_service_by: str = ""
    out_of_service_why: str = ""


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
HIGH: Final = frozenset(rule.key for rule in ALARMS if priority(rule) is Priority.HIGH)


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
        if now_s - since_s < rule.clear_after_s or not _stood(alarm, now_s):
            return alarm if alarm.clear_since_s is not None else replace(alarm, clear_since_s=since_s)
        return _returned(alarm, rule, now_s)
    if alarm.state in ACTIVE:
        again = verdict is Verdict.BREACH and alarm.state is State.ACKNOWLEDGED and phase in rule.armed_in
        if again and alarm.clear_since_s is not None and now_s - alarm.clear_since_s >= rule.clear_after_s:
            return _raised(alarm, rule, now_s, now_s, raising_n)  # it was over and only stood its minute: this is news
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
    return _raised(alarm, rule, now_s, since_s, raising_n)


def _raised(alarm: Alarm, rule: AlarmRule, now_s: float, since_s: float, raising_n: int) -> Alarm:
    state = State.UNACKNOWLEDGED if alarm.state in ACTIVE else move(alarm, rule, Happening.OCCURS)
    return replace(
        alarm,
        state=state,
        raising_n=raising_n,
        raised_s=now_s,
        since_s=since_s,
        breach_since_s=since_s,
        clear_since_s=None,
        acknowledged_by="",
        acknowledged_s=None,
    )


def _returned(alarm: Alarm, rule: AlarmRule, now_s: float) -> Alarm:
    state = move(alarm, rule, Happening.RETURNS)
    return replace(alarm, state=state, returned_s=now_s, breach_since_s=None, clear_since_s=None)


def _stood(alarm: Alarm, now_s: float) -> bool:
    return alarm.raised_s is None or now_s - alarm.raised_s >= STANDS_LEAST_S


@dataclass(slots=True)
class Board:
    """All alarms of one lifter, and the number of the last raising."""

    alarms: dict[tuple[str, str], Alarm] = field(default_factory=dict)
    raisings_n: int = 0


def step(board: Board, facts: Facts, now_s: float) -> list[Moved]:
    """Judge every rule against the facts of this instant; the board is updated in place. Returns what moved."""
    moves: list[Moved] = []
    circuits = facts.used()
    used = {LIFTER, *(circuit.id for circuit in circuits)}
    for key in [key for key in board.alarms if key[0] not in used]:
        # Of a circuit whose pads are no longer in use nothing is asked, once nothing hangs; before that it stands.
        verdict = Verdict.UNKNOWN if facts.in_flight else Verdict.CLEAR
        moves += _step_one(board, key, RULES[key[1]], board.alarms[key], verdict, None, None, facts, now_s)
    for rule, signal, limit_of in WATCHED:
        for circuit in circuits if rule.per_circuit else NO_CIRCUIT:
            key = (LIFTER if circuit is None else circuit.id, rule.key)
            before = board.alarms.get(key, IDLE_ALARM)
            value = signal(facts, circuit)
            if before is IDLE_ALARM and (value is None or value is False):
                continue  # nothing to raise, nothing that stands
            limit = None if limit_of is None else limit_of(facts, circuit)
            verdict = judge(before, rule, value, limit)
            if verdict is Verdict.BREACH or before is not IDLE_ALARM:
                moves += _step_one(board, key, rule, before, verdict, value, limit, facts, now_s)
    return moves


def restart_delays(board: Board) -> None:
    """After a restart what waits for a delay begins it anew: nobody watched meanwhile."""
    for key, alarm in board.alarms.items():
        begun_s = alarm.breach_since_s if alarm.state in ACTIVE else None
        if (alarm.breach_since_s, alarm.clear_since_s) != (begun_s, None):
            board.alarms[key] = replace(alarm, breach_since_s=begun_s, clear_since_s=None)


WATCHED: Final = tuple((rule, SIGNALS[rule.signal], LIMITS.get(rule.limit)) for rule in ALARMS)
IDLE_ALARM: Final = Alarm()
NO_CIRCUIT: Final = (None,)


def gravest(board: Board) -> str | None:
    """What the oldest standing alarm of high priority is about: a circuit, or empty for the lifter; ``None`` without one."""
    standing = [
        (alarm.raising_n, about)
        for (about, key), alarm in board.alarms.items()
        if alarm.state in ACTIVE and key in HIGH
    ]
    return min(standing)[1] if standing else None


def _step_one(
    board: Board,
    key: tuple[str, str],
    rule: AlarmRule,
    before: Alarm,
    verdict: Verdict,
    value: float | bool | None,
    limit: float | None,
    facts: Facts,
    now_s: float,
) -> list[Moved]:
    # What hangs in the air is watched as carried, whatever phase its readings let the lifter seem to be in.
    phase = Phase.CARRYING if facts.in_flight and facts.phase not in IN_FLIGHT else facts.phase
    alarm = before
    if alarm.shelved_until_s is not None and now_s >= alarm.shelved_until_s:
        alarm = unshelve(alarm)
    off = facts.load_known is LoadKnown.OFF
    alarm = advance(alarm, verdict, now_s, rule=rule, phase=phase, raising_n=board.raisings_n + 1, load_off=off)
    if alarm.state in ACTIVE and judge(IDLE_ALARM, rule, value, limit) is Verdict.BREACH:  # never one of the deadband
        shown = SIGNALS[rule.shows](facts, facts.circuits.get(key[0])) if rule.shows else value
        number = float(shown) if shown is not None and not isinstance(shown, bool) else None
        alarm = replace(alarm, value=number, limit=limit)
    alarm = _suppress(alarm, rule, phase, now_s, may_return=verdict is not Verdict.UNKNOWN and _stood(alarm, now_s))
    if alarm is before:
        return []
    board.alarms[key] = alarm
    board.raisings_n = max(board.raisings_n, alarm.raising_n)
    return [Moved(key[0], rule, alarm, moved) for moved in _moves(before, alarm)]


def _suppress(alarm: Alarm, rule: AlarmRule, phase: Phase, now_s: float, *, may_return: bool) -> Alarm:
    """Suppression by design, in and out. Back in a phase where it would not be raised it is normal, if that is known."""
    suppressed = phase in rule.suppressed_in and alarm.state is not State.NORMAL
    if alarm.suppressed is suppressed:
        return alarm
    alarm = replace(alarm, suppressed=suppressed)
    if suppressed:
        return alarm
    if may_return and phase not in rule.armed_in and alarm.state in ACTIVE:
        return _returned(alarm, rule, now_s)
    return come_back(alarm)


def _moves(before: Alarm, alarm: Alarm) -> Iterator[str]:
    if before.shelved_until_s is not None and alarm.shelved_until_s is None:
        yield "unshelved"
    if before.suppressed and not alarm.suppressed and alarm.state is not State.NORMAL:
        yield "unsuppressed"
    if alarm.raising_n != before.raising_n:
        yield "raised"
    elif alarm.state not in ACTIVE and before.state in ACTIVE:
        yield "cleared" if alarm.state is State.NORMAL else "returned"
    if alarm.suppressed and not before.suppressed:
        yield "suppressed"


def come_back(alarm: Alarm) -> Alarm:
    """Back from where it was set aside into a standing alarm: unacknowledged again, never quietly answered."""
    return replace(alarm, state=State.UNACKNOWLEDGED) if alarm.state is State.ACKNOWLEDGED else alarm


def unshelve(alarm: Alarm) -> Alarm:
    """Off the shelf."""
    return come_back(replace(alarm, shelved_until_s=None, shelved_by="", shelved_why=""))
