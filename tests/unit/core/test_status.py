"""What is told of a circuit and of alarms, as messages."""

import pytest

from monitor.core.alarm_table import priority
from monitor.core.alarms import RULES, Alarm, Board, State
from monitor.core.facts import CircuitFacts, CircuitState
from monitor.core.messages import Text
from monitor.core.status import AlarmTold, alarms_told, circuit_text, raising_id
from monitor.core.warning_time import Bounds
from monitor.words.say import say
from tests.unit.core.made import NOW_S, circuit, losing

S = CircuitState


def said(part: CircuitFacts) -> str:
    return say(circuit_text(part, horizon_s=3600.0))


@pytest.mark.parametrize(
    ("part", "words"),
    [
        (circuit(state=S.NO_READING, age_s=None, vacuum_kpa=None), "No reading yet."),
        (circuit(state=S.NO_READING, age_s=12.9), "No reading for 12 s."),
        (circuit(state=S.SENSOR_FAULT, fault="frozen"), "The sensor stands still: its reading can't be believed."),
        (circuit(state=S.CRITICAL, vacuum_kpa=30.0), "Under the 34.0 kPa this load needs."),
        (circuit(state=S.LOW, vacuum_kpa=50.0), "At or under the warning level of 52.0 kPa."),
        (losing(early_s=250.0, likely_s=378.0), "Losing vacuum. May reach the warning level in 4 min (likely 6 min)."),
        (
            losing(early_s=250.0, likely_s=None),
            "Losing vacuum. May reach the warning level in 4 min at the earliest.",
        ),
        (
            losing(early_s=250.0, likely_s=378.0, level="needed"),
            "Losing vacuum. May reach what this load needs in 4 min (likely 6 min).",
        ),
        (
            losing(early_s=250.0, likely_s=None, level="needed"),
            "Losing vacuum. May reach what this load needs in 4 min at the earliest.",
        ),
        (circuit(state=S.BUILDING, vacuum_kpa=30.0), "Building. Warning level 52.0 kPa."),
        (circuit(state=S.OPEN, vacuum_kpa=0.1), "Open: not attached."),
        (circuit(to_warning=None), "Holding. Too early to say how long."),
        (circuit(reserve=None), "Holding with its pump; how long without it is not known."),
        (circuit(), "Holding. More than 1 h to the warning level, by the present leak."),
        (
            circuit(reserve=Bounds(1810.0, None, None)),
            "Holding. At least 30 min to the warning level if the pump stopped.",
        ),
    ],
)
def test_circuit_in_words(part: CircuitFacts, words: str) -> None:
    assert said(part) == words


@pytest.mark.parametrize("part", [circuit(to_warning=None), circuit(reserve=None), circuit(), circuit(state=S.OPEN)])
def test_vacuum_and_its_level_stand_beside_what_is_said(part: CircuitFacts) -> None:
    told = circuit_text(part, horizon_s=3600.0).values
    assert (told["vacuum_kpa"], told["level"]) == (64.0, "warning")


def test_shorter_horizon_never_promises_an_hour() -> None:
    assert say(circuit_text(circuit(), horizon_s=1800.0)).startswith("Holding. More than 30 min")


def board(*alarms: tuple[str, str, Alarm]) -> Board:
    return Board({(about, key): alarm for about, key, alarm in alarms}, raisings_n=9)


def test_raising_names_lifter_circuit_alarm_and_number() -> None:
    # DESIGN's own example.
    assert raising_id("dock-6", "B", "losing_vacuum", 17) == "dock-6/B/losing_vacuum/17"
    assert raising_id("dock-6", "", "battery_low", 3) == "dock-6/lifter/battery_low/3"


def test_alarm_that_is_over_is_not_told() -> None:
    assert alarms_told("dock-6", board(("B", "vacuum_low", Alarm(raising_n=1))), NOW_S, 0.0) == ()


@pytest.mark.parametrize("state", [state for state in State if state is not State.NORMAL])
def test_every_other_state_is_told(state: State) -> None:
    [told] = alarms_told("dock-6", board(("B", "vacuum_low", Alarm(state=state, raising_n=1))), NOW_S, 0.0)
    assert told.state is state


def test_shelved_is_a_flag_beside_the_state() -> None:
    alarm = Alarm(state=State.UNACKNOWLEDGED, raising_n=1, shelved_until_s=NOW_S + 60.0)
    [told] = alarms_told("dock-6", board(("", "wind_over_limit", alarm)), NOW_S, 0.0)
    assert (told.state, told.shelved, told.suppressed, told.out_of_service) == (
        State.UNACKNOWLEDGED,
        True,
        False,
        False,
    )


def test_since_is_told_in_utc_and_held_in_seconds() -> None:
    alarm = Alarm(state=State.UNACKNOWLEDGED, raising_n=1, since_s=NOW_S - 12.0)
    [told] = alarms_told("dock-6", board(("B", "vacuum_low", alarm)), NOW_S, 100.0)
    assert told.since_utc_s == NOW_S - 12.0 + 100.0
    assert told.says.values["held_s"] == 12.0


def test_unanswered_come_first_then_priority_then_age() -> None:
    def alarm(n: int, since_s: float, state: State = State.UNACKNOWLEDGED) -> Alarm:
        return Alarm(state=state, raising_n=n, since_s=since_s)

    given = board(
        ("", "battery_low", alarm(1, 10.0)),
        ("B", "vacuum_low", alarm(2, 30.0)),
        ("A", "vacuum_low", alarm(3, 20.0)),
        ("", "clock_wrong", alarm(4, 5.0)),
        ("", "lifter_alarm", alarm(5, 1.0, State.ACKNOWLEDGED)),
    )
    assert [told.raising.rpartition("/")[2] for told in alarms_told("dock-6", given, NOW_S, 0.0)] == list("32145")


def told_of(key: str, alarm: Alarm, about: str = "") -> AlarmTold:
    [told] = alarms_told("dock-6", board((about, key, alarm)), NOW_S, 100.0)
    return told


@pytest.mark.parametrize(
    ("key", "about", "values"),
    [
        ("vacuum_low", "B", {"value_kpa": 50.0, "limit_kpa": 52.0}),
        ("battery_low", "", {"value_v": 50.0, "limit_v": 52.0}),
        ("wind_over_limit", "", {"value_m_s": 50.0, "limit_m_s": 52.0}),
        ("pad_overloaded", "", {"value_ratio": 50.0, "limit_ratio": 52.0}),
        ("pump_not_building", "B", {"value_kpa": 50.0}),  # yes or no, and shown with the vacuum
        ("lifter_alarm", "", {}),
    ],
)
def test_alarm_is_told_with_value_and_limit_in_its_unit_and_what_to_do(
    key: str, about: str, values: dict[str, float]
) -> None:
    alarm = Alarm(State.ACKNOWLEDGED, 4, since_s=NOW_S - 7.0, value=50.0, limit=52.0, acknowledged_by="operator")
    told = told_of(key, alarm, about)
    assert (told.raising, told.key, told.about) == (f"dock-6/{about or 'lifter'}/{key}/4", key, about)
    assert (told.priority, told.acknowledged_by) == (priority(RULES[key]), "operator")
    assert told.says == Text(f"alarm.{key}.says", {"held_s": 7.0, "about": about, **values})
    assert told.do == Text(f"alarm.{key}.do")
    assert told.over_utc_s is None


def test_alarm_that_stands_again_is_not_over_though_it_was_before() -> None:
    told = told_of("battery_low", Alarm(State.ACKNOWLEDGED, 4, since_s=NOW_S - 9.0, returned_s=NOW_S - 500.0))
    assert (told.over_utc_s, told.says.values["held_s"]) == (None, 9.0)


def test_alarm_that_is_over_but_unanswered_says_how_long_it_lasted_and_since_when_it_is_over() -> None:
    alarm = Alarm(State.RETURNED_UNACKNOWLEDGED, 4, since_s=NOW_S - 60.0, returned_s=NOW_S - 45.0)
    told = told_of("vacuum_low", alarm, "B")
    assert told.says.values["held_s"] == 15.0
    assert (told.since_utc_s, told.over_utc_s) == (NOW_S + 40.0, NOW_S + 55.0)


def test_alarm_out_of_service_says_nothing_but_who_since_when_and_why() -> None:
    alarm = Alarm(
        raising_n=4, since_s=NOW_S - 900.0, out_of_service_s=NOW_S - 30.0, out_of_service_by="technician",
        out_of_service_why="on order", shelved_by="operator", shelved_why="noise",
    )  # fmt: skip
    told = told_of("battery_low", alarm)
    assert (told.out_of_service, told.since_utc_s) == (True, NOW_S + 70.0)
    assert (told.set_aside_by, told.set_aside_why) == ("technician", "on order")
    assert told.says == Text("alarm.nothing_now", {"alarm": "battery low"})


def test_alarm_out_of_service_that_stands_all_the_same_says_what_it_is() -> None:
    alarm = Alarm(State.UNACKNOWLEDGED, 4, since_s=NOW_S - 9.0, out_of_service_s=NOW_S - 30.0)
    told = told_of("battery_low", alarm)
    assert (told.since_utc_s, told.says.key) == (NOW_S + 91.0, "alarm.battery_low.says")


def test_shelf_says_who_and_why() -> None:
    alarm = Alarm(
        State.UNACKNOWLEDGED, 4, since_s=NOW_S - 9.0, shelved_until_s=NOW_S + 60.0, shelved_by="operator", shelved_why="noise"
    )  # fmt: skip
    told = told_of("battery_low", alarm)
    assert (told.shelved, told.out_of_service, told.suppressed) == (True, False, False)
    assert (told.set_aside_by, told.set_aside_why) == ("operator", "noise")


def test_what_is_set_aside_comes_last_and_what_is_over_after_what_stands() -> None:
    def alarm(n: int, state: State = State.UNACKNOWLEDGED, **changes: float) -> Alarm:
        return Alarm(state, n, since_s=NOW_S - 9.0, **changes)  # type: ignore[arg-type]

    given = board(
        ("A", "vacuum_low", alarm(1, shelved_until_s=NOW_S + 60.0)),
        ("B", "vacuum_low", alarm(2, State.RETURNED_UNACKNOWLEDGED)),
        ("", "clock_wrong", alarm(3)),
        ("", "battery_low", Alarm(raising_n=4, out_of_service_s=NOW_S)),
        ("", "lifter_alarm", alarm(5, State.ACKNOWLEDGED)),
    )
    assert [told.raising.rpartition("/")[2] for told in alarms_told("dock-6", given, NOW_S, 0.0)] == list("32514")


@pytest.mark.parametrize("state", list(S))
def test_every_word_of_a_circuit_carries_its_vacuum_and_which_level_it_is_about(state: CircuitState) -> None:
    part = circuit(state=state, vacuum_kpa=48.0, level="needed", fault="frozen")
    text = circuit_text(part, horizon_s=3600.0)
    assert (text.values["vacuum_kpa"], text.values["level"]) == (48.0, "needed")
