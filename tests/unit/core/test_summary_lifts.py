"""The record of whole lifts, played message by message."""

import json

import pytest

from monitor.core.events import Resumed
from monitor.words.say import summary_dict
from tests.histories import START_S, Watch, carry, carrying


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
