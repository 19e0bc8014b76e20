"""The record of a lift: what it was, what was seen of it, and what was not."""

from dataclasses import replace

import pytest

from monitor.core import summary
from monitor.core.alarms import State
from monitor.core.call import Call, Called
from monitor.core.facts import CircuitState, Facts
from monitor.core.load import Load
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.readings import Pump
from monitor.core.summary import LiftLog
from tests.unit.core.made import FALLING, FAR, NOW_S, circuit, facts, holding


def log() -> LiftLog:
    return summary.open_log("dock-6", ("A", "B"), NOW_S, utc_minus_now_s=100.0, version="1", time_to_land_s=240.0)


def called(call: Call) -> Called:
    return Called(call, Text("headline.holding"), Text(f"reason.{call.value}"))


def looks(log: LiftLog, given: Facts, *at_s: float, call: Call = Call.HOLDING) -> LiftLog:
    for now_s in at_s:
        summary.look(log, given, called(call), NOW_S + now_s)
    return log


# --- what is counted


def test_a_lift_is_named_by_lifter_and_utc_of_its_opening() -> None:
    opened = log()
    assert opened.id == f"dock-6-{int(NOW_S + 100.0)}"
    assert (opened.lifter, opened.opened_s, opened.utc_minus_now_s) == ("dock-6", NOW_S, 100.0)
    assert (opened.time_to_land_s, opened.version, list(opened.circuits)) == (240.0, "1", ["A", "B"])


def test_time_in_each_call_and_state_is_counted() -> None:
    noted = looks(log(), facts(), 0.0, 0.5, 1.0)
    looks(noted, facts(circuit("B", state=CircuitState.LOW)), 1.5, call=Call.LAND_NOW)
    assert noted.call_s == {"holding": 1.0, "land_now": 0.5}
    assert (noted.seen_s, noted.circuits["B"].seen_s) == (1.5, 1.5)
    assert noted.circuits["B"].state_s == {"holding": 1.0, "low": 0.5}


def test_time_not_looked_at_is_not_counted_as_seen() -> None:
    assert looks(log(), facts(), 0.0, 60.0).seen_s == 1.0


def test_silent_time_is_not_counted_as_seen() -> None:
    silent = facts(*[circuit(name, state=CircuitState.NO_READING) for name in "AB"])
    noted = looks(log(), silent, 0.0, 0.5, 1.0)
    assert noted.seen_s == 0.0
    assert noted.circuits["A"].seen_s == 0.0


@pytest.mark.parametrize(
    ("heights_m", "landing_s"),
    [
        ([20.0, 20.0, 12.0, 2.0], 30.0),
        ([20.0, 18.9], 20.0),
        ([20.0, 19.0, 12.0], 20.0),  # within a metre of the highest place it is still carried there
        ([20.0, 19.0], None),  # set down within a metre of where it was carried
        ([20.0, 20.0], None),
        ([20.0, 20.0, None], None),  # nothing is known of a way down
        ([None, None], None),
    ],
)
def test_landing_is_timed_from_the_height_it_was_carried_at_and_only_where_it_came_down(
    heights_m: list[float | None], landing_s: float | None
) -> None:
    noted = log()
    for number, height_m in enumerate(heights_m):
        looks(noted, facts(height_m=height_m), 10.0 * number)
    looks(noted, facts(height_m=heights_m[-1], phase=Phase.LANDING, in_flight=False), 10.0 * len(heights_m))
    assert noted.landing_s == landing_s
    assert noted.load_off_s == NOW_S + 10.0 * len(heights_m)


@pytest.mark.parametrize("state", [CircuitState.NO_READING, CircuitState.SENSOR_FAULT])
def test_value_not_believed_is_never_the_lowest(state: CircuitState) -> None:
    noted = looks(log(), facts(), 0.0)
    looks(noted, facts(circuit("B", state=state, vacuum_kpa=1.0)), 0.5)
    assert noted.circuits["B"].lowest_kpa == 64.0


def test_lowest_vacuum_and_margin_are_those_of_the_flight() -> None:
    ground = facts(circuit("B", vacuum_kpa=30.0), phase=Phase.SEALING, in_flight=False)
    noted = looks(log(), ground, 0.0)
    looks(noted, facts(circuit("B", vacuum_kpa=60.0)), 0.5)
    looks(noted, facts(circuit("B", vacuum_kpa=58.0)), 1.0)
    looks(noted, facts(circuit("B", vacuum_kpa=62.0)), 1.5)
    assert (noted.circuits["B"].lowest_kpa, noted.circuits["B"].lowest_s) == (58.0, NOW_S + 1.0)
    assert noted.circuits["B"].at_pick_kpa == 60.0
    assert (noted.lowest_margin_kg, noted.governs) == (190.0, "friction")


def test_worst_call_is_that_of_the_flight_with_its_reason() -> None:
    noted = looks(log(), facts(phase=Phase.SEALING, in_flight=False), 0.0, call=Call.LAND_NOW)
    looks(noted, facts(), 0.5, call=Call.LOOK)
    looks(noted, facts(), 1.0, call=Call.LAND_SOON)
    looks(noted, facts(), 1.5, call=Call.HOLDING)
    summary.look(noted, facts(), Called(Call.LAND_SOON, Text("headline.holding"), Text("reason.later")), NOW_S + 2.0)
    assert (noted.worst_call, noted.worst_call_reason) == ("land_soon", "reason.land_soon")


def test_gaps_are_counted_beyond_those_that_are_named() -> None:
    noted = log()
    for number in range(summary.GAPS_KEPT_N + 5):
        summary.note_gap(noted, number * 10.0, number * 10.0 + 4.0, "silence")
    assert (noted.gaps_n, len(noted.gaps)) == (summary.GAPS_KEPT_N + 5, summary.GAPS_KEPT_N)
    assert noted.gap_s == 4.0 * noted.gaps_n


# --- of each circuit, and of the surroundings


@pytest.mark.parametrize(("pump", "on_s"), [(Pump.ON, 1.0), (Pump.OFF, 0.0), (None, 0.0)])
def test_time_the_pump_says_it_runs_is_counted(pump: Pump | None, on_s: float) -> None:
    noted = looks(log(), facts(circuit("B", pump=pump)), 0.0, 0.5, 1.0)
    assert noted.circuits["B"].pump_on_s == on_s


def test_lowest_vacuum_in_flight_is_noted_with_its_time_beside_that_of_the_pick() -> None:
    noted = log()
    looks(noted, facts(circuit("B", vacuum_kpa=40.0), in_flight=False), 0.0)  # on the ground it says nothing
    for at_s, kpa in [(1.0, 64.0), (2.0, 61.0), (3.0, 62.0), (4.0, 61.0)]:
        looks(noted, facts(circuit("B", vacuum_kpa=kpa)), at_s)
    part = noted.circuits["B"]
    assert (part.at_pick_kpa, part.lowest_kpa, part.lowest_s) == (64.0, 61.0, NOW_S + 2.0)


def test_worst_and_last_leak_are_those_known_while_it_was_projected() -> None:
    noted = log()
    for at_s, leak, projected in [
        (0.0, 2.0, True), (1.0, 3.0, True), (2.0, 1.0, True), (3.0, 9.0, False), (4.0, None, True)
    ]:  # fmt: skip
        told = replace(FALLING, leak_kpa_per_min=leak)
        looks(noted, facts(circuit("B", leak=told, to_warning=FAR if projected else None)), at_s)
    looks(noted, facts(circuit("B", leak=None)), 5.0)
    assert (noted.circuits["B"].worst_leak_kpa_per_min, noted.circuits["B"].last_leak_kpa_per_min) == (3.0, 1.0)


def test_least_margin_is_noted_with_its_time_and_what_governed_then() -> None:
    noted = log()
    for at_s, margin_kg, governs in [
        (0.0, 190.0, "plate"),
        (1.0, 120.0, "friction"),
        (2.0, 120.0, "basis"),
        (2.5, 150.0, "plate"),
    ]:
        looks(noted, facts(holding=holding(margin_kg, governs=governs)), at_s)
    looks(noted, facts(holding=None), 3.0)
    looks(noted, facts(holding=holding(10.0), in_flight=False), 4.0)  # nothing hangs any more
    assert (noted.lowest_margin_kg, noted.lowest_margin_s, noted.governs) == (120.0, NOW_S + 1.0, "friction")


def test_surroundings_last_heard_stay_in_the_record() -> None:
    noted = looks(log(), facts(ambient_kpa=99.0, temperature_c=4.0, battery_v=24.0), 0.0)
    looks(noted, facts(ambient_kpa=None, temperature_c=None, battery_v=None), 1.0)
    assert noted.ambient_kpa == 99.0
    looks(noted, facts(ambient_kpa=98.5, temperature_c=None, battery_v=25.0), 2.0)
    assert (noted.ambient_kpa, noted.temperature_c, noted.battery_low_v) == (98.5, 4.0, 24.0)


def test_extremes_of_tilt_and_wind_are_those_in_flight() -> None:
    noted = looks(log(), facts(phase=Phase.SEAL_TEST, tilt_deg=0.0, wind_m_s=20.0), 0.0)
    for at_s, tilt_deg, wind_m_s in [(1.0, 80.0, 4.0), (2.0, 95.0, 7.0), (3.0, 90.0, None)]:
        looks(noted, facts(tilt_deg=tilt_deg, wind_m_s=wind_m_s, planned_kg=610.0), at_s)
    assert (noted.tilt_low_deg, noted.tilt_high_deg, noted.wind_high_m_s) == (80.0, 95.0, 7.0)
    assert (noted.planned_kg, noted.largest_kg, noted.load_on_s) == (610.0, 620.0, NOW_S + 1.0)


def test_largest_load_of_the_lift_stays() -> None:
    noted = log()
    for at_s, largest_kg in [(0.0, 620.0), (1.0, 500.0)]:
        looks(noted, facts(load=Load(largest_kg=largest_kg)), at_s)
    assert noted.largest_kg == 620.0


def test_circuit_that_comes_into_use_during_the_lift_is_logged_too() -> None:
    noted = summary.open_log("dock-6", ("A",), NOW_S, utc_minus_now_s=0.0, version="1", time_to_land_s=240.0)
    looks(noted, facts(circuit("B", vacuum_kpa=30.0), in_flight=False), 0.0, 0.5)
    assert noted.circuits["B"].seen_s == 0.5
    assert noted.circuits["B"].condition.building_from_s == NOW_S  # pumped down from then on


def test_late_readings_are_counted_and_the_lowest_keeps_its_first_time() -> None:
    noted = looks(log(), facts(), 0.0)
    for at_s, kpa in [(1.0, 60.0), (2.0, 55.0), (3.0, 55.0), (4.0, 58.0)]:
        summary.note_late(noted, [("B", kpa), ("Z", 1.0)], NOW_S + at_s)
    part = noted.circuits["B"]
    assert (part.late_n, part.late_lowest_kpa, part.late_lowest_s) == (4, 55.0, NOW_S + 2.0)


# --- alarms and gaps


def noted_alarm(noted: LiftLog, moved: str, at_s: float, *, who: str = "", state: State = State.UNACKNOWLEDGED) -> None:
    summary.note_alarm(
        noted, raising="dock-6/B/vacuum_low/3", key="vacuum_low", about="B", priority="high", state=state, moved=moved,
        who=who, at_s=at_s,
    )  # fmt: skip


def test_alarm_is_noted_with_when_it_was_raised_answered_and_first_over() -> None:
    noted = log()
    noted_alarm(noted, "raised", 10.0)
    noted_alarm(noted, "acknowledged", 12.0, who="operator", state=State.ACKNOWLEDGED)
    noted_alarm(noted, "shelved", 13.0, who="somebody else", state=State.ACKNOWLEDGED)
    noted_alarm(noted, "returned", 20.0, state=State.RETURNED_UNACKNOWLEDGED)
    noted_alarm(noted, "cleared", 25.0, state=State.NORMAL)
    [alarm] = noted.alarms.values()
    assert (alarm.raising, alarm.key, alarm.about, alarm.priority) == (
        "dock-6/B/vacuum_low/3",
        "vacuum_low",
        "B",
        "high",
    )
    assert (alarm.raised_s, alarm.acknowledged_s, alarm.acknowledged_by, alarm.returned_s) == (
        10.0,
        12.0,
        "operator",
        20.0,
    )


@pytest.mark.parametrize(
    ("moved", "state", "raised_s", "returned_s"),
    [
        ("raised", State.UNACKNOWLEDGED, 30.0, None),  # again, under the same name
        ("raised", State.ACKNOWLEDGED, 10.0, None),
        ("returned", State.RETURNED_UNACKNOWLEDGED, 10.0, 30.0),
        ("cleared", State.NORMAL, 10.0, 30.0),
        ("shelved", State.UNACKNOWLEDGED, 10.0, None),
    ],
)
def test_each_move_of_an_alarm_is_noted_at_its_time(
    moved: str, state: State, raised_s: float, returned_s: float | None
) -> None:
    noted = log()
    noted_alarm(noted, "raised", 10.0)
    noted_alarm(noted, moved, 30.0, state=state)
    [alarm] = noted.alarms.values()
    assert (alarm.raised_s, alarm.returned_s) == (raised_s, returned_s)


def test_alarm_raised_before_the_lift_is_noted_when_it_moves() -> None:
    noted = log()
    noted_alarm(noted, "acknowledged", 12.0, who="operator")
    [alarm] = noted.alarms.values()
    assert (alarm.raised_s, alarm.acknowledged_s) == (12.0, 12.0)


def test_five_hundred_alarms_are_kept() -> None:
    noted = log()
    for number in range(501):
        summary.note_alarm(
            noted, raising=f"n{number}", key="vacuum_low", about="B", priority="high", state=State.UNACKNOWLEDGED,
            moved="raised", who="", at_s=float(number),
        )  # fmt: skip
    assert len(noted.alarms) == summary.ALARMS_KEPT_N == 500


def test_alarm_that_stands_is_not_over() -> None:
    noted = log()
    noted_alarm(noted, "raised", 10.0)
    noted_alarm(noted, "unsuppressed", 12.0)
    [alarm] = noted.alarms.values()
    assert (alarm.raised_s, alarm.returned_s, alarm.acknowledged_s) == (10.0, None, None)


def test_gaps_are_counted_with_their_length_and_the_next_begins_where_the_last_one_ended() -> None:
    noted = log()
    assert summary.gap_from_s(noted, 7.0) == 7.0
    summary.note_gap(noted, 10.0, 14.0, "silence")
    summary.note_gap(noted, 20.0, 19.0, "restart")  # a clock set back is no time gained
    assert (noted.gaps_n, noted.gap_s) == (2, 4.0)
    assert [(gap.from_s, gap.to_s, gap.why) for gap in noted.gaps] == [(10.0, 14.0, "silence"), (20.0, 19.0, "restart")]
    assert summary.gap_from_s(noted, 7.0) == 19.0
    assert summary.gap_from_s(noted, 30.0) == 30.0
    summary.note_gap(noted, 40.0, 44.0, "silence")
    assert summary.gap_from_s(noted, 7.0) == 44.0
