"""What is told of a lifter, as messages (key and values). Words are made of them outside the core."""

from collections.abc import Mapping
from dataclasses import dataclass

from monitor.core.alarm_table import AlarmRule, Breach, Priority, priority
from monitor.core.alarms import ACTIVE, RULES, Alarm, Board, State
from monitor.core.call import Called
from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.messages import Text, Value
from monitor.core.release import Release
from monitor.core.seal_tests import SealTests
from monitor.core.summary import ActionLog

VALID_FOR_S = 3.0
ORDER = {Priority.HIGH: 0, Priority.MEDIUM: 1, Priority.LOW: 2}


@dataclass(frozen=True, slots=True)
class LiftTold:
    """The lift in progress: its id once it is opened, since when, how many picks."""

    id: str
    since_utc_s: float
    picks_n: int
    loaded: bool


@dataclass(frozen=True, slots=True)
class AlarmTold:
    """One alarm that is not normal."""

    raising: str
    key: str
    about: str
    priority: Priority
    state: State
    shelved: bool
    suppressed: bool
    out_of_service: bool
    since_utc_s: float
    over_utc_s: float | None  # since when what it tells of is over; None while it stands
    acknowledged_by: str
    set_aside_by: str  # who shelved it or took it out of service, and why
    set_aside_why: str
    says: Text
    do: Text


@dataclass(frozen=True, slots=True)
class Status:
    """Everything told of one lifter at one instant."""

    site: str
    facts: Facts
    utc_s: float
    utc_minus_now_s: float
    sent_utc_s: float | None
    called: Called
    release: Release
    release_text: Text
    alarms: tuple[AlarmTold, ...]
    lift: LiftTold | None
    assumed: tuple[str, ...]
    counts: Mapping[str, int]
    seal_tests: SealTests
    plan: ActionLog | None


def raising_id(lifter: str, about: str, key: str, raising_n: int) -> str:
    """The name of one raising, which an acknowledge must give. Check: ``dock-6/B/losing_vacuum/17``."""
    return f"{lifter}/{about or 'lifter'}/{key}/{raising_n}"


def alarms_told(lifter: str, board: Board, now_s: float, utc_minus_now_s: float) -> tuple[AlarmTold, ...]:
    """The alarms that are not normal or set aside: unacknowledged first, then by priority, then by age; set aside last."""
    told = [
        _alarm_told(lifter, about, RULES[key], alarm, now_s, utc_minus_now_s)
        for (about, key), alarm in board.alarms.items()
        if alarm.state is not State.NORMAL or alarm.shelved_until_s is not None or alarm.out_of_service_s is not None
    ]
    told.sort(
        key=lambda a: (
            a.shelved or a.suppressed or a.out_of_service,
            a.state is State.ACKNOWLEDGED,
            a.state not in ACTIVE,  # what is over never hides what stands
            ORDER[a.priority],
            a.since_utc_s,
            a.raising,
        )
    )
    return tuple(told)


def _alarm_told(
    lifter: str, about: str, rule: AlarmRule, alarm: Alarm, now_s: float, utc_minus_now_s: float
) -> AlarmTold:
    normal = alarm.state is State.NORMAL
    since_s = alarm.out_of_service_s if normal and alarm.out_of_service_s is not None else alarm.since_s
    since_s = now_s if since_s is None else since_s
    over_s = None if alarm.state in ACTIVE else alarm.returned_s
    values: dict[str, Value] = {"held_s": (now_s if over_s is None else over_s) - since_s, "about": about}
    if rule.breach is not Breach.TRUE:
        unit = UNIT_SUFFIX[rule.unit]
        values |= {f"value_{unit}": alarm.value, f"limit_{unit}": alarm.limit}
    elif rule.shows:
        values[f"value_{UNIT_SUFFIX[rule.unit]}"] = alarm.value
    return AlarmTold(
        raising=raising_id(lifter, about, rule.key, alarm.raising_n),
        key=rule.key,
        about=about,
        priority=priority(rule),
        state=alarm.state,
        shelved=alarm.shelved_until_s is not None,
        suppressed=alarm.suppressed,
        out_of_service=alarm.out_of_service_s is not None,
        since_utc_s=since_s + utc_minus_now_s,
        over_utc_s=None if over_s is None else over_s + utc_minus_now_s,
        acknowledged_by=alarm.acknowledged_by,
        set_aside_by=alarm.out_of_service_by or alarm.shelved_by,
        set_aside_why=alarm.out_of_service_why or alarm.shelved_why,
        says=Text("alarm.nothing_now", {"alarm": rule.key.replace("_", " ")})
        if normal
        else Text(f"alarm.{rule.key}.says", values),
        do=Text(f"alarm.{rule.key}.do"),
    )


UNIT_SUFFIX: Mapping[str, str] = {"kPa": "kpa", "s": "s", "kg": "kg", "V": "v", "m/s": "m_s", "deg": "deg", "": "ratio"}
"""The name suffix of each unit in the alarm table."""


def circuit_text(circuit: CircuitFacts, *, horizon_s: float) -> Text:
    """What is said of one circuit. Times beyond ``horizon_s`` are not told apart."""
    values: dict[str, Value] = {"vacuum_kpa": circuit.vacuum_kpa, "level": circuit.level}
    match circuit.state:
        case CircuitState.NO_READING:
            key = "never" if circuit.age_s is None else "no_reading"
            return Text(f"circuit.{key}", {**values, "age_s": circuit.age_s})
        case CircuitState.SENSOR_FAULT:
            return Text(f"circuit.fault.{circuit.fault}", values)
        case CircuitState.CRITICAL:
            return Text("circuit.critical", {**values, "needed_kpa": circuit.needed_kpa})
        case CircuitState.LOW:
            return Text("circuit.low", {**values, "warning_kpa": circuit.config.warning_kpa})
        case CircuitState.LOSING if circuit.to_warning is not None:
            bounds = circuit.to_warning
            key = f"circuit.losing.{circuit.level}" + (".likely_beyond" if bounds.likely_s is None else "")
            return Text(key, {**values, "early_s": bounds.early_s, "likely_s": bounds.likely_s})
        case CircuitState.BUILDING:
            return Text("circuit.building", {**values, "warning_kpa": circuit.config.warning_kpa})
        case CircuitState.OPEN:
            return Text("circuit.open", values)
        case _:
            return _holding_text(circuit, values, horizon_s)


def _holding_text(circuit: CircuitFacts, values: dict[str, Value], horizon_s: float) -> Text:
    if circuit.to_warning is None:
        return Text("circuit.holding.too_early", values)
    if circuit.reserve is None:
        return Text("circuit.holding.no_reserve", values)
    if circuit.reserve.early_s is None:
        return Text(f"circuit.holding.beyond.{circuit.level}", {**values, "horizon_s": horizon_s})
    return Text(f"circuit.holding.reserve.{circuit.level}", {**values, "early_s": circuit.reserve.early_s})
