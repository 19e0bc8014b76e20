"""What was refused in the last hour: counted by lifter, the last in full, in a memory that does not grow."""

from monitor.core.readings import Reading, Rejected
from monitor.refusals import Refusals
from monitor.wire.reading_json import decode_reading

T0 = 1_764_019_200.0
NOT_JSON = Rejected("not_json", "{")


def decoded(message: str) -> Reading | Rejected:
    return decode_reading(message.encode(), lifter="dock-6")


def test_whole_messages_and_single_values_are_counted_apart() -> None:
    refusals = Refusals(["dock-6", "dock-7"])
    refusals.take("dock-6", NOT_JSON, T0)
    refusals.take(
        "dock-6", decoded('{"circuits": {"A": {"vacuum_kpa": 63}}, "tilt_deg": "steep", "load_kg": NaN}'), T0 + 1
    )
    refusals.take("dock-6", decoded('{"circuits": {"A": {"vacuum_kpa": 630}}, "tilt_deg": "steep"}'), T0 + 2)
    (told,) = refusals.told(T0 + 3).items()
    assert told[0] == "dock-6"
    assert told[1]["messages_n"] == 1
    assert told[1]["values_n"] == 4


def test_last_one_says_where_what_and_what_is_allowed() -> None:
    refusals = Refusals(["dock-6"])
    refusals.take("dock-6", decoded('{"circuits": {"A": {"vacuum_kpa": 63}}, "tilt_deg": 900}'), T0)
    last = refusals.told(T0)["dock-6"]["last"]
    assert last == {
        "at": T0,
        "field": "tilt_deg",
        "reason": "out_of_range",
        "found": "900",
        "allowed": "-15 to 195 deg",
    }


def test_an_hour_later_it_is_forgotten() -> None:
    refusals = Refusals(["dock-6"])
    refusals.take("dock-6", NOT_JSON, T0)
    assert refusals.told(T0 + 3599.0)["dock-6"]["messages_n"] == 1
    assert refusals.told(T0 + 3600.0) == {}


def test_flood_of_refusals_takes_no_more_memory() -> None:
    refusals = Refusals(["dock-6"])
    for n in range(50_000):
        refusals.take("dock-6", NOT_JSON, T0 + n / 5)
    assert len(refusals._counts["dock-6"]) <= 60
    assert 17_700 <= refusals.told(T0 + 10_000)["dock-6"]["messages_n"] <= 18_000


def test_strangers_and_good_readings_are_none_of_it() -> None:
    refusals = Refusals(["dock-6"])
    refusals.take("stranger", NOT_JSON, T0)
    refusals.take(None, NOT_JSON, T0)
    refusals.take("dock-6", decoded('{"circuits": {"A": {"vacuum_kpa": 63}}}'), T0)
    assert refusals.told(T0) == {}
