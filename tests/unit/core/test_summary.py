"""The record of a lift: what it was, what was seen of it, and what was not."""

import json
from dataclasses import replace

import pytest

from monitor.core import summary
from monitor.core.alarms import State
from monitor.core.call import Call, Called
from monitor.core.events import Resumed
from monitor.core.facts import CircuitState, Facts
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.readings import Pump
from monitor.core.summary import LiftLog
from monitor.words.say import summary_dict
from tests.histories import START_S, Watch, carry, carrying
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
    assert log().id == f"dock-6-{int(NOW_S + 100.0)}"


def test_time_in_each_call_and_state_is_counted() -> None:
    noted = looks(log(), facts(), 0.0, 0.5, 1.0)
    looks(noted, facts(circuit("B", state=CircuitState.LOW)), 1.5, call=Call.LAND_NOW)
    assert noted.call_s == {"holding": 1.0, "land_now": 0.5}
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
    assert (noted.worst_call, noted.worst_call_reason) == ("land_soon", "reason.land_soon")


def test_gaps_are_counted_beyond_those_that_are_named() -> None:
    noted = log()
    for number in range(summary.GAPS_KEPT_N + 5):
        summary.note_gap(noted, number * 10.0, number * 10.0 + 4.0, "silence")
    assert (noted.gaps_n, len(noted.gaps)) == (summary.GAPS_KEPT_N + 5, summary.GAPS_KEPT_N)
    assert noted.gap_s == 4.0 * noted.gaps_n


# --- of a whole lift


def whole_lift(**signals: str) -> tuple[Watch, dict[str, object]]:
    """A lift carried, landed, and released; the signals are those of the flight."""
    watch = carrying()
    carry(watch, **signals)
    carry(watch, load_kg="600>0x20 0x60")
    carry(watch, A="64>0x10 0x30", B="64>0x10 0x30", load_kg="0x1", noise_kpa=0.0)
    [closed] = watch.closed
    return watch, summary_dict(closed.summary)


def test_record_of_a_lift_that_went_well() -> None:
    watch, record = whole_lift(load_kg="600x100")
    assert watch.phase == "released"
    assert record["ended"] == "released"
    assert record["picks_n"] == 1
    assert record["load"] == {"largest_kg": 600.0, "planned_kg": None}
    assert (record["gaps_n"], record["gap_s"], record["gaps"]) == (0, 0.0, [])
    assert record["worst_call"] in {"look", "holding"}
    assert record["judged_by"] == "test"
    assert record["settings"] == {"basis": "asme-bth-1", "wll_kg": 900.0, "surface": "dry", "friction": 0.5}
    assert START_S < record["opened"] < record["load_on"] < record["load_off"] < record["closed"]  # type: ignore[operator]


def test_record_is_json() -> None:
    _, record = whole_lift(B="64>50x100 50x20 50>64x50")
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_record_names_its_alarms_with_who_answered() -> None:
    watch = carrying()
    carry(watch, B="64>50x60 50x10")
    [raising] = [alarm.raising for alarm in watch.status.alarms if alarm.key == "vacuum_low"]
    watch.act("acknowledge", role="operator", who="crane operator", raising=raising)
    carry(watch, B="50>64x60 64x640", load_kg="600x1")  # an alarm stands a minute at least
    carry(watch, load_kg="600>0x20 0x60")
    carry(watch, A="64>0x10 0x30", B="64>0x10 0x30", load_kg="0x1", noise_kpa=0.0)
    record = summary_dict(watch.closed[0].summary)
    [noted] = [alarm for alarm in record["alarms"] if alarm["raising"] == raising]  # type: ignore[attr-defined]
    assert (noted["key"], noted["about"], noted["priority"]) == ("vacuum_low", "B", "high")
    assert noted["acknowledged_by"] == "crane operator"
    assert noted["raised"] < noted["acknowledged"] < noted["returned"]
    assert record["worst_call"] == "land_now"
    assert record["worst_call_reason"] == "reason.low"
    assert record["circuits"]["B"]["lowest_kpa"] == pytest.approx(50.0, abs=0.3)  # type: ignore[index]


def test_silence_in_flight_is_a_gap_from_the_last_reading_to_the_next() -> None:
    _, record = whole_lift(load_kg="600x50 _x100 600x100")
    assert record["gaps_n"] == 1
    assert record["gap_s"] == pytest.approx(10.1, abs=0.05)
    [gap] = record["gaps"]  # type: ignore[misc]
    assert gap["why"] == "silence"
    assert gap["to"] - gap["from"] == pytest.approx(10.1, abs=0.05)


def test_missed_messages_under_the_stale_time_are_no_gap() -> None:
    _, record = whole_lift(load_kg="600x50 _x20 600x100")
    assert record["gaps_n"] == 0
    assert record["counts"]["lost"] == 20  # type: ignore[index]


def test_restart_in_flight_is_a_gap_that_is_named() -> None:
    watch = carrying()
    carry(watch)
    down_s = watch.now_s
    watch.now_s += 7.0
    watch.take(Resumed(down_s))
    carry(watch, load_kg="600>0x20 0x60")
    carry(watch, A="64>0x10 0x30", B="64>0x10 0x30", load_kg="0x1", noise_kpa=0.0)
    record = summary_dict(watch.closed[0].summary)
    whys = {gap["why"] for gap in record["gaps"]}  # type: ignore[attr-defined]
    assert whys == {"restart"}
    assert record["gap_s"] == pytest.approx(7.0)


def test_touch_down_and_lift_again_is_one_lift_of_two_picks() -> None:
    _, record = whole_lift(load_kg="600>0x20 0x60 0>600x20 600x60")
    assert record["picks_n"] == 2


def test_seal_without_a_pick_is_no_lift() -> None:
    watch = Watch()
    vacuum = "0x5 0>64x100 64x100 64>0x10 0x60"
    watch.play(A=vacuum, B=vacuum, load_kg="0x1")
    assert watch.phase == "idle"
    assert watch.closed == []


def test_next_lift_after_the_release_has_a_record_of_its_own() -> None:
    watch, first = whole_lift()
    vacuum = "0>64x100 64x100"
    carry(watch, A=vacuum, B=vacuum, load_kg="0x1")
    carry(watch, load_kg="0>400x20 400x80 400>0x20 0x60")
    carry(watch, A="64>0x10 0x30", B="64>0x10 0x30", load_kg="0x1", noise_kpa=0.0)
    second = summary_dict(watch.closed[1].summary)
    assert second["id"] != first["id"]
    assert second["picks_n"] == 1
    assert second["load"]["largest_kg"] == 400.0  # type: ignore[index]
    assert second["actions"] == []


def test_time_to_land_in_force_is_fixed_when_the_lift_starts() -> None:
    _, record = whole_lift()
    assert record["time_to_land_s"] == 240.0


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
    for at_s, margin_kg, governs in [(0.0, 190.0, "plate"), (1.0, 120.0, "friction"), (2.0, 150.0, "worst_pad")]:
        looks(noted, facts(holding=holding(margin_kg, governs=governs)), at_s)
    looks(noted, facts(holding=None), 3.0)
    looks(noted, facts(holding=holding(10.0), in_flight=False), 4.0)  # nothing hangs any more
    assert (noted.lowest_margin_kg, noted.lowest_margin_s, noted.governs) == (120.0, NOW_S + 1.0, "friction")


def test_surroundings_last_heard_stay_in_the_record() -> None:
    noted = looks(log(), facts(ambient_kpa=99.0, temperature_c=4.0, battery_v=24.0), 0.0)
    looks(noted, facts(ambient_kpa=None, temperature_c=None, battery_v=None), 1.0)
    looks(noted, facts(ambient_kpa=98.5, temperature_c=None, battery_v=25.0), 2.0)
    assert (noted.ambient_kpa, noted.temperature_c, noted.battery_low_v) == (98.5, 4.0, 24.0)


def test_extremes_of_tilt_and_wind_are_those_in_flight() -> None:
    noted = looks(log(), facts(phase=Phase.SEAL_TEST, tilt_deg=0.0, wind_m_s=20.0), 0.0)
    for at_s, tilt_deg, wind_m_s in [(1.0, 80.0, 4.0), (2.0, 95.0, 7.0), (3.0, 90.0, None)]:
        looks(noted, facts(tilt_deg=tilt_deg, wind_m_s=wind_m_s, planned_kg=610.0), at_s)
    assert (noted.tilt_low_deg, noted.tilt_high_deg, noted.wind_high_m_s) == (80.0, 95.0, 7.0)
    assert (noted.planned_kg, noted.largest_kg, noted.load_on_s) == (610.0, 620.0, NOW_S + 1.0)


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
