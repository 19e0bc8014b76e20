"""A first draft of the sources: what it guesses is valid, and turns the very messages it saw into the right readings."""

import json
import tomllib

import pytest

from monitor.cli.draft import Draft
from monitor.core.readings import Reading
from monitor.settings.site import SiteSettings, read_site
from monitor.wire.inbox import Inbox
from tests.small_site import SMALL_SITE

NOW_S = 1_764_019_200.0
MORE = """
[[lifter]]
id = "dock-7"
basis = "asme-bth-1"
wll_kg = 900
[lifter.circuits.A]
warning_kpa = 52
"""


def draft(messages: list[tuple[str, object]], site: str = SMALL_SITE) -> str:
    made = Draft(read_site(site, name="site.toml"))
    for topic, payload in messages:
        made.take(topic, _bytes(payload))
    return made.toml()


def _bytes(payload: object) -> bytes:
    return payload if isinstance(payload, bytes) else json.dumps(payload).encode()


def readings(settings: SiteSettings, messages: list[tuple[str, object]]) -> dict[str, float]:
    """Every value that came of the messages, by its path."""
    circuits = {name: tuple(lifter.circuits) for name, lifter in settings.core.lifters.items()}
    box = Inbox(settings.sources, circuits)
    found: dict[str, float] = {}
    for topic, payload in messages:
        for came in box.take(topic, _bytes(payload), now_s=NOW_S, now_utc_s=NOW_S):
            assert isinstance(came, Reading), came
            assert came.refused == ()
            found |= {f"{name}": one.vacuum_kpa for name, one in came.circuits.items() if one.vacuum_kpa is not None}
            found |= {name: getattr(came, name) for name in ("load_kg", "tilt_deg", "battery_v") if getattr(came, name)}
    return found


@pytest.mark.parametrize(
    ("messages", "expected"),
    [
        (
            [
                ("plant/dock-6/A/vacuum_mbar", b"-634"),
                ("plant/dock-6/B/vacuum_mbar", b"-578"),
                ("plant/dock-6/weight", b"622.5 kg"),
            ],
            {"A": 63.4, "B": 57.8, "load_kg": 622.5},
        ),
        (
            [
                (
                    "gw/1",
                    {"ts": 1764019200000, "seq": 4, "vacA_kPa": 63.4, "vacB_kPa": 57.8, "loadKg": 622.5, "rssi": -70},
                )
            ],
            {"A": 63.4, "B": 57.8, "load_kg": 622.5},
        ),
        (
            [
                (
                    "gw/2",
                    {
                        "data": {"sensors": [{"pressure": 63400, "id": "x"}, {"pressure_2": 57800}]},
                        "battery": {"v": 24.9},
                    },
                )
            ],
            {"B": 57.8, "battery_v": 24.9},
        ),
        ([("x/vac1", b"63.4"), ("x/vac2", b"57.8"), ("x/angle", b"90")], {"A": 63.4, "B": 57.8, "tilt_deg": 90.0}),
        ([("s", [{"n": "circuits/A/vacuum", "u": "Pa", "v": 63400}])], {"A": 63.4}),
    ],
)
def test_draft_reads_what_it_was_made_from(messages: list[tuple[str, object]], expected: dict[str, float]) -> None:
    text = draft(messages)
    settings = read_site(SMALL_SITE + text, name="site.toml")  # every line of it is valid
    found = readings(settings, messages)
    assert {name: found.get(name) for name in expected} == pytest.approx(expected)


def test_what_is_not_understood_is_never_passed_over() -> None:
    text = draft(
        [("gw/1", {"vacA": 60, "rssi": -70, "fw": "1.2"}), ("odd/bytes", b"\x01\xff\x02"), ("csv/x", b"1;2;3")]
    )
    assert "# not understood: rssi = -70" in text
    assert "# not understood: fw = '1.2'" in text
    assert "# not understood: 3 bytes. Is it binary?" in text
    assert 'format = "csv"' in text
    read_site(SMALL_SITE + text, name="site.toml")


def test_time_is_told_by_its_size() -> None:
    for value, unit in (
        (1764019200, "s"),
        (1764019200123, "ms"),
        (1764019200123456, "us"),
        ("2025-11-24T21:20:00Z", "text"),
    ):
        assert tomllib.loads(draft([("g", {"time": value, "vacA": 60})]))["source"][0]["time_unit"] == unit


def test_lifter_that_is_not_known_is_asked_for() -> None:
    assert "# which lifter is it?" in draft([("gauge", b"60")], SMALL_SITE + MORE)


def test_circuit_that_is_not_known_is_asked_for() -> None:
    assert "# which circuit is" in draft([("gw", {"vacuum": 60})])


def test_own_topics_and_the_brokers_are_left_out() -> None:
    own = [
        ("holdwatch/quayside/dock-6/readings", {}),
        ("holdwatch/quayside/engine", b"online"),
        ("$SYS/broker/uptime", b"1"),
    ]
    assert draft(own).startswith("# Nothing was seen")


def test_sparkplug_is_known_by_its_topic() -> None:
    text = draft([("spBv1.0/plant/DDATA/gw/dock-6", b"\x08\x01")])
    assert tomllib.loads(text)["source"] == [{"topic": "spBv1.0/plant/+/gw/{lifter}", "format": "sparkplug"}]


@pytest.mark.parametrize(
    "payload",
    [b"", b"\x00", b'{"a": {"b.c": [1, {"d e": "x\\ny"}]}}', b"[]", b"null", b'"', b"\xff", b'{"vac": "\x7f"}'],
)
def test_any_payload_makes_a_draft_that_is_valid(payload: bytes) -> None:
    read_site(SMALL_SITE + draft([("a/b \"c'", payload), ("vac/{x}/A", payload)]), name="site.toml")
