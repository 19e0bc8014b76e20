"""Hardware as it comes: odd topics and payloads, each through the site file and a recording to what is told of the lifter.

Every style stands in the guide (`connecting-hardware.md`) too, where it is of use to others. Published values are named
beside the row.
"""

import io
import json
import struct
from typing import Any

import pytest

from monitor.replay import replay
from monitor.settings.site import SiteSettings, read_site
from monitor.wire.recording import read_recording, write_line

T0 = 1764019200.0
SITE = """
site = "quayside"
ambient_kpa = 101.325
[broker]
url = "mqtt://127.0.0.1"
[[lifter]]
id = "dock-6"
basis = "asme-bth-1"
wll_kg = 900
expected_interval_s = 1
load_measures = "{load}"
[lifter.circuits.A]
warning_kpa = 40
[lifter.circuits.B]
warning_kpa = 40
"""


def site(sources: str, *, load: str = "net") -> SiteSettings:
    return read_site(SITE.format(load=load) + sources, name="site.toml")


def replayed(settings: SiteSettings, messages: list[tuple[str, object, float | None]]) -> tuple[dict, dict[str, Any]]:
    """The last status, and what was counted; each message with its topic, payload and arrival after T0."""
    statuses, summary = io.BytesIO(), io.BytesIO()
    lines = [
        write_line(topic, payload, None if after_s is None else T0 + after_s) for topic, payload, after_s in messages
    ]
    replay(read_recording(lines), settings, status_out=statuses, summary_out=summary)
    return json.loads(statuses.getvalue().splitlines()[-1]), json.loads(summary.getvalue())


def vacuums(status: dict[str, Any]) -> dict[str, float | None]:
    return {name: circuit["vacuum_kpa"] for name, circuit in status["circuits"].items()}


STYLES: dict[str, tuple[str, list[tuple[str, object]], dict[str, float], dict[str, object]]] = {
    # name: (sources, messages of one instant, vacuum of each circuit, other things told)
    "nested JSON arrays": (
        """
[[source]]
topic = "gateway/7/up"
format = "json"
lifter = "dock-6"
time_at = "meta.ts"
time_unit = "ms"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "payload.channels[0].samples[-1].v"
unit = "mbar"
reads = "gauge"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "payload.channels[name=vac 2].samples[-1].v"
unit = "mbar"
reads = "gauge"
""",
        [
            (
                "gateway/7/up",
                {
                    "meta": {"ts": 1764019200000},
                    "payload": {
                        "channels": [
                            {"name": "vac 1", "samples": [{"v": -100}, {"v": -634}]},
                            {"name": "vac 2", "samples": [{"v": -578.2}]},
                        ]
                    },
                },
            )
        ],
        {"A": 63.4, "B": 57.82},
        {},
    ),
    "CSV with a header line": (
        """
[[source]]
topic = "logger/+"
format = "csv"
lifter = "dock-6"
separator = ";"
decimal = ","
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "vac_a"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "vac_b"
[[source.value]]
to = "load_kg"
at = "last"
unit = "t"
""",
        [("logger/1", b"vac_b;vac_a;last\r\n57,8;63,4;0,6225\r\n")],
        {"A": 63.4, "B": 57.8},
        {"load": 622.5},
    ),
    "plain numbers with a unit": (
        """
[[source]]
topic = "vac/{lifter}/{circuit}"
format = "number"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
""",
        [("vac/dock-6/A", b"63.4 kPa"), ("vac/dock-6/B", b" 17.1inHg\n")],
        {"A": 63.4, "B": 57.907},  # 1 inHg = 3.386 388 kPa (NIST SP 811, B.8)
        {},
    ),
    "binary, big end first, hex": (
        """
[[source]]
topic = "lora/{lifter}/up"
format = "binary"
encoding = "hex"
fields = ["skip 1", "u16 a", "i16 b", "u8 flags", "u16 battery"]
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
scale = 0.01
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
unit = "hPa"
reads = "gauge"
[[source.value]]
to = "battery_v"
at = "battery"
unit = "mV"
[[source.value]]
to = "circuits.A.pump"
at = "flags"
words = { "0" = "off", "1" = "on" }
""",
        [("lora/dock-6/up", b"01 18C4 FDBE 01 6144")],
        {"A": 63.4, "B": 57.8},
        {"battery_v": 24.9, "pump": "on"},
    ),
    "binary, little end first": (
        """
[[source]]
topic = "rtu/{lifter}"
format = "binary"
byte_order = "little"
fields = ["f32 a", "f32 b"]
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
offset = 0.4
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
unit = "Pa"
""",
        [("rtu/dock-6", struct.pack("<ff", 63.0, 57800.0))],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "4 to 20 mA as counts": (
        """
[[source]]
topic = "plc/{lifter}/ai/{circuit}"
format = "number"
names = { "0" = "A", "1" = "B" }
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
raw_low = 6400
raw_high = 32000
low = 0
high = -100
reads = "gauge"
fault_below = 5760
""",
        [("plc/dock-6/ai/0", b"22630"), ("plc/dock-6/ai/1", b"21197")],
        {"A": 63.4, "B": 57.8},  # 4 mA is 6400, 20 mA 32000 counts of 32000: 6400 + 25600 x 0.634 = 22630.4
        {},
    ),
    "absolute pressure in hPa": (
        """
[[source]]
topic = "baro/{lifter}"
format = "json"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
unit = "hPa"
reads = "absolute"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
unit = "hPa"
reads = "absolute"
[[source.value]]
to = "ambient_kpa"
at = "air"
unit = "hPa"
""",
        [("baro/dock-6", {"a": 377, "b": 433.0, "air": 1011})],
        {"A": 63.4, "B": 57.8},
        {"ambient_kpa": 101.1},
    ),
    "inches of mercury, gauge, as text": (
        """
[[source]]
topic = "us/{lifter}/{circuit}/state"
format = "json"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
at = "state"
unit = "inHg"
reads = "gauge"
""",
        [("us/dock-6/A/state", {"state": "-18.722"}), ("us/dock-6/B/state", {"state": "-17.068 inHg"})],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "ISO text time with a zone": (
        """
[[source]]
topic = "iso/{lifter}"
format = "json"
time_at = "at"
time_unit = "text"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "v[0]"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "v[1]"
""",
        [("iso/dock-6", {"at": "2025-11-24T22:20:00+01:00", "v": [63.4, 57.8]})],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "names of places in the topic": (
        """
[[source]]
topic = "site/{lifter}/north/{circuit}/kpa"
format = "number"
names = { "Crane 3" = "dock-6", "left" = "A", "right" = "B" }
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
""",
        [("site/Crane 3/north/left/kpa", 63.4), ("site/Crane 3/north/right/kpa", 57.8)],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "one value a topic, words for states": (
        """
[[source]]
topic = "iot/pressure/{circuit}"
format = "number"
lifter = "dock-6"
[[source.value]]
to = "circuits.{circuit}.vacuum_kpa"
unit = "bar"
reads = "gauge"
[[source]]
topic = "iot/pump/{circuit}"
format = "number"
lifter = "dock-6"
[[source.value]]
to = "circuits.{circuit}.pump"
words = { "ON" = "on", "OFF" = "off" }
[[source]]
topic = "iot/weight"
format = "number"
lifter = "dock-6"
[[source.value]]
to = "load_kg"
unit = "lb"
""",
        [
            ("iot/pump/A", b"ON"),
            ("iot/pressure/A", b"-0.634"),
            ("iot/pressure/B", b"-0.578"),
            ("iot/weight", b"1372.4"),
        ],
        {"A": 63.4, "B": 57.8},
        {"load": 622.5, "pump": "on"},  # 1 lb = 0.453 592 37 kg (NIST SP 811, B.8)
    ),
    "binary in base64 inside a radio gateway's JSON, one topic for all devices": (
        """
[[source]]
topic = "application/+/device/+/event/up"
format = "binary"
lifter = "dock-6"
where = { "deviceInfo.devEui" = "0004a30b001c0530" }
inside_at = "data"
encoding = "base64"
time_at = "rxInfo[0].time"
time_unit = "text"
seq_at = "fCnt"
fields = ["u16 a", "u16 b", "u8 flags"]
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
scale = 0.1
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
scale = 0.1
[[source.value]]
to = "circuits.A.pump"
at = "flags"
bit = 3
""",
        [
            (
                "application/7/device/0004a30b001c0530/event/up",
                {"deviceInfo": {"devEui": "0004a30b001c0530"}, "data": "AnoCQgg="},  # 027a 0242 08
            ),
            (
                "application/7/device/0004a30b001c0531/event/up",
                {"deviceInfo": {"devEui": "0004a30b001c0531"}, "data": "AAAAAAA="},
            ),
        ],
        {"A": 63.4, "B": 57.8},
        {"pump": "on"},
    ),
    "text with names in it": (
        """
[[source]]
topic = "sms/{lifter}"
format = "text"
pattern = 'P1=(?P<a>[-+.0-9]+);P2=(?P<b>[-+.0-9]+)(?:;ALM=(?P<alarm>[01]))?'
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
reads = "gauge"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
reads = "gauge"
[[source.value]]
to = "lifter_alarm"
at = "alarm"
""",
        [("sms/dock-6", b"#17 P1=-63.4;P2=-57.8;ALM=0\0")],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "time-series lines, nanoseconds": (
        """
[[source]]
topic = "telegraf/{lifter}"
format = "text"
pattern = 'circuit=A .*vac=(?P<a>[0-9.]+),.* (?P<ns>[0-9]{19})'
time_at = "ns"
time_unit = "ns"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
[[source]]
topic = "telegraf/{lifter}/b"
format = "number"
[[source.value]]
to = "circuits.B.vacuum_kpa"
""",
        [("telegraf/dock-6", b"lifter,circuit=A vac=63.4,ok=t 1764019200000000000"), ("telegraf/dock-6/b", b"57.8")],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "a list of samples, the whole message": (
        """
[[source]]
topic = "batch/{lifter}"
format = "json"
each_at = "."
time_at = "t"
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
""",
        [("batch/dock-6", [{"t": T0 - 20.0, "a": 20, "b": 20}, {"t": T0, "a": 63.4, "b": 57.8}])],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "CSV, columns named in the site file": (
        """
[[source]]
topic = "csv/{lifter}"
format = "csv"
separator = "\t"
columns = ["stamp", "vac a", "vac b"]
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "vac a"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "vac b"
""",
        [("csv/dock-6", b"x\t63.4\t57.8\n")],
        {"A": 63.4, "B": 57.8},
        {},
    ),
    "Modbus registers, words swapped, local time": (
        """
[[source]]
topic = "modbus/{lifter}"
format = "binary"
encoding = "hex"
inside_at = "regs"
time_at = "when"
time_unit = "text"
time_zone = "Europe/Madrid"
fields = ["f32sw a", "f32sw b", "u24 grams"]
[[source.value]]
to = "circuits.A.vacuum_kpa"
at = "a"
[[source.value]]
to = "circuits.B.vacuum_kpa"
at = "b"
[[source.value]]
to = "load_kg"
at = "grams"
unit = "g"
""",
        [("modbus/dock-6", {"when": "2025-11-24 22:20:00", "regs": "999a427d 33334267 097fa4"})],
        {"A": 63.4, "B": 57.8},
        {"load": 622.5},
    ),
    "SenML": (
        """
[[source]]
topic = "senml/{lifter}"
format = "senml"
""",
        [
            (
                "senml/dock-6",
                [
                    {"bn": "urn:dev:mac:0024befffe804ff1:", "bu": "Pa", "n": "circuits/A/vacuum", "v": 63400},
                    {"n": "circuits/B/vacuum", "v": 57800},
                ],
            )
        ],
        {"A": 63.4, "B": 57.8},
        {},
    ),
}


@pytest.mark.parametrize("name", STYLES)
def test_hardware_as_it_comes(name: str) -> None:
    sources, messages, expected, more = STYLES[name]
    settings = site(sources)
    status, counted = replayed(
        settings,
        [
            (topic, payload, second + place * 0.01)
            for second in range(4)
            for place, (topic, payload) in enumerate(messages)
        ],
    )
    assert vacuums(status) == pytest.approx(expected, abs=0.006)
    assert {circuit["state"] for circuit in status["circuits"].values()} == {"holding"}
    assert counted["bad_n"] == counted["other_topics_n"] == counted["unknown_lifters_n"] == 0
    if "load" in more:
        assert status["load"]["kg"] == pytest.approx(more["load"], abs=0.06)
    if "pump" in more:
        assert status["circuits"]["A"]["pump"] == more["pump"]
    for key in ("battery_v", "ambient_kpa"):
        if key in more:
            assert status["facts"][key] == pytest.approx(more[key])
