import json

import pytest

from monitor.cli.arriving import Arriving
from monitor.core.config import Basis, CircuitConfig, CoreConfig, LifterConfig
from monitor.wire.topics import Topics

UTC_S = 1_764_019_200.0
READING = {"time": UTC_S, "seq": 1, "boot": "a", "circuits": {"A": {"vacuum_kpa": 63.4}, "B": {"vacuum_kpa": 57.8}}}


@pytest.fixture
def arriving() -> Arriving:
    circuits = {name: CircuitConfig(name, 52.0, 62.0) for name in "AB"}
    lifters = {name: LifterConfig(name, Basis.ASME_BTH_1, 900.0, circuits) for name in ("dock-6", "dock-7")}
    return Arriving(Topics("holdwatch", "quayside"), CoreConfig("quayside", lifters))


def take(
    arriving: Arriving, message: object, *, lifter: str = "dock-6", leaf: str = "readings", at_s: float = 0.0
) -> list[str]:
    payload = message if isinstance(message, bytes) else json.dumps(message).encode()
    topic = f"holdwatch/quayside/{lifter}/{leaf}"
    return list(arriving.take(topic, payload, retained=False, now_s=at_s, now_utc_s=UTC_S))


def test_first_message_is_described_and_the_same_again_is_not(arriving: Arriving) -> None:
    first = take(arriving, READING)
    assert first[0] == "dock-6 sends circuit A 63.4 kPa below ambient, circuit B 57.8 kPa below ambient"
    assert first[1].startswith("dock-6 does not send load_kg, tilt_deg,")
    assert len(first) == 2
    assert take(arriving, READING | {"seq": 2, "circuits": {"A": {"vacuum_kpa": 60}, "B": {"vacuum_kpa": 50}}}) == []


def test_change_of_what_is_sent_is_described_again(arriving: Arriving) -> None:
    take(arriving, READING)
    pumps = {"A": {"vacuum_kpa": 63.4, "pump": "on"}, "B": {"pressure_abs_kpa": 40.0, "gauges": {"1": 57.8}}}
    assert take(arriving, READING | {"circuits": pumps, "load_kg": 622.5, "lifter_alarm": False})[0] == (
        "dock-6 sends circuit A 63.4 kPa below ambient (pump on), circuit B 40 kPa absolute (1 gauges), "
        "load_kg 622.5, lifter_alarm false"
    )


@pytest.mark.parametrize(
    ("change", "line"),
    [
        (
            {"circuits": {"A": {"vacuum_kpa": 634}, "B": {"vacuum_kpa": 57.8}}},
            "dock-6 does not fit: circuits.A.vacuum_kpa is out of range: found 634; allowed is -5 to 105 kPa",
        ),
        (
            {"circuits": {"A": {"vacuum_kpa": 63.4}}},
            "dock-6 does not fit: circuit B of the site file is not in the message",
        ),
        (
            {"circuits": READING["circuits"] | {"C": {"vacuum_kpa": 1}}},
            "dock-6 does not fit: circuit C is not in the site file (it has A, B)",
        ),
        (
            {"load_kg": "heavy"},
            "dock-6 does not fit: load_kg is no number: found 'heavy'; allowed is -20000 to 200000 kg",
        ),
    ],
)
def test_what_does_not_fit_is_named(arriving: Arriving, change: dict[str, object], line: str) -> None:
    assert line in take(arriving, READING | change)


def test_lifter_or_topic_not_in_the_site_file_is_named_once(arriving: Arriving) -> None:
    assert take(arriving, READING, lifter="dock-9")[-1] == "dock-9 is not in the site file: its readings are not judged"
    strange = take(arriving, READING, leaf="reading")
    assert strange == [
        "does not fit: topic holdwatch/quayside/dock-6/reading; readings go to holdwatch/quayside/LIFTER/readings"
    ]
    assert take(arriving, READING, leaf="reading") == []


def test_message_that_cannot_be_read_is_told(arriving: Arriving) -> None:
    assert take(arriving, b"hello") == ["dock-6 cannot be read: it is not JSON: b'hello'"]


def test_summary_counts_what_was_lost_doubled_unreadable_and_silent(arriving: Arriving) -> None:
    for seq in (1, 2, 2, 5, 4):
        take(arriving, READING | {"seq": seq, "time": UTC_S + 60}, at_s=9.0)
    take(arriving, b"hello")
    assert list(arriving.summary(now_s=10.0, over_s=10.0)) == [
        "dock-6: 0.6 messages a second, last reading 1.0 s ago, 1 could not be read, 2 lost by the count of seq, "
        "2 doubled or late, the sender's clock is 60 s ahead",
        "dock-7: nothing yet on holdwatch/quayside/dock-7/readings",
    ]


def test_restarted_sender_has_lost_nothing(arriving: Arriving) -> None:
    take(arriving, READING | {"seq": 500})
    take(arriving, READING | {"seq": 1, "boot": "b"})
    take(arriving, READING | {"seq": 2, "boot": "b"})
    assert "lost" not in next(arriving.summary(now_s=1.0, over_s=1.0))
