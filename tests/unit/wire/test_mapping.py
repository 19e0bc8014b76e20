"""Messages of other people's hardware, bytes by hand, into values of a reading."""

import base64
import json
import math
import struct

import pytest
import scipy.constants as sc
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.readings import PLAUSIBLE, Pump, Refusal, Valve
from monitor.core.sent_units import UNITS, to_own
from monitor.core.sources import BinaryField, Encoding, Format, Pick, Reads, Source, TimeUnit, ValueRule
from monitor.wire.mapping import Part, Route, Unreadable, read_message

VACUUM = ("circuits", "A", "vacuum_kpa")


def source(of: Format, *values: ValueRule, **more: object) -> Source:
    return Source(topic="plant/d6", format=of, values=values, lifter="dock-6", **more)


def read(made: Source, payload: bytes | str, topic: str = "plant/d6") -> Part:
    [part] = read_message(Route(made), topic, payload.encode() if isinstance(payload, str) else payload)
    assert isinstance(part, Part), part
    return part


def unreadable(made: Source, payload: bytes, topic: str = "plant/d6") -> Unreadable:
    [part] = read_message(Route(made), topic, payload)
    assert isinstance(part, Unreadable), part
    return part


def number(payload: str, **rule: object) -> tuple[float | None, str | None]:
    """The vacuum a plain number becomes, and why it was refused."""
    part = read(source(Format.NUMBER, ValueRule(VACUUM, **{"unit": "kPa", **rule})), payload)
    return part.values.get(VACUUM), part.refused[0].reason if part.refused else None


# Plain numbers, units, signs


@pytest.mark.parametrize(
    ("payload", "rule", "vacuum_kpa"),
    [
        ("62.3", {}, 62.3),
        (" 62.3\r\n", {}, 62.3),
        ("+6.23e1", {}, 62.3),
        (".5", {}, 0.5),
        ("623", {"unit": "mbar"}, 62.3),
        ("623 mbar", {}, 62.3),
        ("623mbar", {}, 62.3),
        ("-0.623 bar", {"reads": Reads.GAUGE}, 62.3),
        ("-62300", {"unit": "Pa", "reads": Reads.GAUGE}, 62.3),
        ("62.3KPA", {}, 62.3),
        ("623 mBar", {}, 62.3),
        ("18.4 INHG", {}, 62.30956),  # 18.4 x 3.386389
        ("635.28 cmH2O", {}, 62.29969),  # NIST SP 811: 1 cmH2O (conventional) is 98.0665 Pa
        ("0.6353 kgf/cm2", {}, 62.30165),  # NIST SP 811: 98.0665 kPa
        ("20 inHg", {}, 67.72777),  # NIST SP 811: 1 inHg (conventional) is 3.386389 kPa
        ("9 psi", {}, 62.052813),  # NIST SP 811: 1 psi is 6.894757 kPa
        ("467.3", {"unit": "mmHg"}, 62.301558),
        ("6230", {"scale": 0.01}, 62.3),
        ("60", {"offset": 2.3}, 62.3),
    ],
)
def test_number_becomes_vacuum(payload: str, rule: dict[str, object], vacuum_kpa: float) -> None:
    value, refused = number(payload, **rule)
    assert value == pytest.approx(vacuum_kpa, rel=1e-6)
    assert refused is None


@pytest.mark.parametrize(
    ("payload", "rule", "reason"),
    [
        ("-62.3", {}, "out_of_range"),  # a gauge's sign, not told to be one
        ("62300", {}, "out_of_range"),
        ("62.3 kg", {}, "not_known"),
        ("62.3 kPa abs", {}, "not_a_number"),
        ("62,3", {}, "not_a_number"),
        ("nan", {}, "not_a_number"),
        ("1e999", {}, "not_finite"),
        ("9" * 6000, {}, "not_finite"),
        ("٦٢", {}, "not_a_number"),
        ("1_000", {}, "not_a_number"),
        ("0x3e", {}, "not_known"),
    ],
)
def test_number_not_believed_is_refused(payload: str, rule: dict[str, object], reason: str) -> None:
    assert number(payload, **rule) == (None, reason)


def test_decimal_comma_where_the_source_says_so() -> None:
    made = source(Format.NUMBER, ValueRule(VACUUM, unit="kPa"), decimal=",")
    assert read(made, "62,3").values == {VACUUM: 62.3}
    assert read(made, "62.3").refused[0].reason == "not_a_number"  # "1.234" may be a thousand and a bit
    assert read(made, "1.062,3").refused[0].reason == "not_a_number"


def test_absolute_pressure_goes_to_its_own_field() -> None:
    made = source(Format.NUMBER, ValueRule(VACUUM, unit="mbar", reads=Reads.ABSOLUTE))
    assert read(made, "402").values == {("circuits", "A", "pressure_abs_kpa"): pytest.approx(40.2)}
    assert read(made, "1402").refused[0].reason == "out_of_range"


@pytest.mark.parametrize(
    ("ma", "expected"),
    [(4.0, 0.0), (12.0, 50.0), (20.0, 100.0), (3.9, -0.625), (3.59, None), (21.01, None), (0.0, None)],
)
def test_current_loop(ma: float, expected: float | None) -> None:
    """4 to 20 mA for 0 to 100 kPa; outside 3.6 to 21 mA the loop is broken (NAMUR NE 43, from memory)."""
    value, refused = number(str(ma), scale=6.25, offset=-25.0, fault_below=3.6, fault_above=21.0)
    assert value == (None if expected is None else pytest.approx(expected))
    assert refused == ("out_of_range" if expected is None else None)


@pytest.mark.parametrize(
    ("unit", "own", "factor"),
    [
        ("psi", "kPa", sc.psi / 1000),
        ("bar", "kPa", sc.bar / 1000),
        ("atm", "kPa", sc.atm / 1000),
        ("Torr", "kPa", sc.torr / 1000),
        ("mmHg", "kPa", sc.mmHg / 1000),
        ("inHg", "kPa", 25.4 * sc.mmHg / 1000),
        ("inH2O", "kPa", 25.4 * sc.g / 1000),
        ("at", "kPa", sc.kgf / 0.01**2 / 1000),
        ("lb", "kg", sc.lb),
        ("lbf", "kg", sc.lbf / sc.g),
        ("kN", "kg", 1000 / sc.g),
        ("ft", "m", sc.foot),
        ("in", "m", sc.inch),
        ("rad", "deg", 1 / sc.degree),
        ("km/h", "m/s", sc.kmh),
        ("mph", "m/s", sc.mph),
        ("kn", "m/s", sc.knot),
    ],
)
def test_units_agree_with_a_reference_library(unit: str, own: str, factor: float) -> None:
    """scipy.constants (CODATA, NIST), whose mmHg is the torr: 1.4e-7 beside the conventional column."""
    assert to_own(1.0, unit, own) == pytest.approx(factor, rel=2e-7)


@pytest.mark.parametrize("celsius", [-40.0, 0.0, 37.0])
def test_temperatures_agree_with_a_reference_library(celsius: float) -> None:
    for unit, name in (("K", "Kelvin"), ("degF", "Fahrenheit")):
        sent = float(sc.convert_temperature(celsius, "Celsius", name))
        assert to_own(sent, unit, "°C") == pytest.approx(celsius, abs=1e-9)


def test_every_unit_is_one_of_a_reading() -> None:
    assert {sent.own for sent in UNITS.values()} == {span.unit for span in PLAUSIBLE.values()}
    assert to_own(1.0, "kPa", "kg") is None
    assert to_own(1.0, "furlong", "m") is None


# JSON

DEEP = {
    "d": {"list": [{"name": "vac 1", "v": "63.4 kPa"}, {"name": "vac 2", "v": 57.8}], "odd.key": 24.9},
    "ts": 1764019200125,
}


@pytest.mark.parametrize(
    ("at", "vacuum_kpa"),
    [
        (("d", "list", 0, "v"), 63.4),
        (("d", "list", -1, "v"), 57.8),
        (("d", "list", Pick("name", "vac 2"), "v"), 57.8),
        (("d", "odd.key"), 24.9),
        (("d", "list", 2, "v"), None),
        (("d", "list", -3, "v"), None),
        (("d", "list", Pick("name", "vac 3"), "v"), None),
        (("d", "list", "v"), None),
        (("nothing",), None),
        (("ts", 0), None),
    ],
)
def test_path_into_json(at: tuple[object, ...], vacuum_kpa: float | None) -> None:
    part = read(source(Format.JSON, ValueRule(VACUUM, at=at, unit="kPa")), json.dumps(DEEP))
    assert part.values == ({} if vacuum_kpa is None else {VACUUM: vacuum_kpa})
    assert part.refused == ()


def test_null_in_json_is_not_given() -> None:
    assert read(source(Format.JSON, ValueRule(VACUUM, at=("v",), unit="kPa")), '{"v": null}') == Part(
        "dock-6", "plant/d6", {}
    )


@pytest.mark.parametrize("text", ["true", "[1]", '{"a":1}', '""', '"?"', "NaN", "1e999", "9" * 400])
def test_json_value_of_another_kind_is_refused(text: str) -> None:
    part = read(source(Format.JSON, ValueRule(VACUUM, at=("v",), unit="kPa")), f'{{"v": {text}}}')
    assert part.values == {}
    assert [refusal.field for refusal in part.refused] == ["circuits.A.vacuum_kpa"]


def test_words_are_translated() -> None:
    made = source(
        Format.JSON,
        ValueRule(("circuits", "A", "pump"), at=("p",), words={"1": "on", "0": "off"}),
        ValueRule(("release_valve",), at=("valve",)),
        ValueRule(("lifter_alarm",), at=("alarm",), words={"ALARM": "true", "OK": "false"}),
    )
    part = read(made, '{"p": 1, "valve": "closed", "alarm": "ALARM"}')
    assert part.values == {
        ("circuits", "A", "pump"): Pump.ON,
        ("release_valve",): Valve.CLOSED,
        ("lifter_alarm",): True,
    }
    assert read(made, '{"alarm": false}').values == {("lifter_alarm",): False}
    assert read(made, '{"p": 2}').refused == (Refusal("circuits.A.pump", "not_known", "2"),)


# Device time, count and run


@pytest.mark.parametrize(
    ("text", "unit", "utc_s"),
    [
        ("1764019200.125", TimeUnit.S, 1764019200.125),
        ('"1764019200.125"', TimeUnit.S, 1764019200.125),
        ("1764019200125", TimeUnit.MS, 1764019200.125),
        ("1764019200125000", TimeUnit.US, 1764019200.125),
        ('"2025-11-24T21:20:00.125Z"', TimeUnit.TEXT, 1764019200.125),
        ("null", TimeUnit.S, None),
    ],
)
def test_device_time(text: str, unit: TimeUnit, utc_s: float | None) -> None:
    made = source(Format.JSON, ValueRule(VACUUM, at=("v",), unit="kPa"), time_at=("t",), time_unit=unit)
    part = read(made, f'{{"v": 60, "t": {text}}}')
    assert part.sent_utc_s == utc_s
    assert part.refused == ()


@pytest.mark.parametrize(
    ("text", "unit", "reason"),
    [
        ("1764019200125", TimeUnit.S, "out_of_range"),
        ("1764019200", TimeUnit.MS, "out_of_range"),
        ("0", TimeUnit.S, "out_of_range"),
        ('"noon"', TimeUnit.S, "not_a_number"),
        ('"2025-11-24 21:20"', TimeUnit.TEXT, "wrong_shape"),
        ("1764019200", TimeUnit.TEXT, "wrong_shape"),
    ],
)
def test_device_time_not_believed_leaves_the_value(text: str, unit: TimeUnit, reason: str) -> None:
    made = source(Format.JSON, ValueRule(VACUUM, at=("v",), unit="kPa"), time_at=("t",), time_unit=unit)
    part = read(made, f'{{"v": 60, "t": {text}}}')
    assert part.sent_utc_s is None
    assert [(refusal.field, refusal.reason) for refusal in part.refused] == [("time", reason)]
    assert part.values == {VACUUM: 60.0}


def test_count_and_run() -> None:
    made = source(Format.JSON, ValueRule(VACUUM, at=("v",), unit="kPa"), seq_at=("n",), boot_at=("run",))
    part = read(made, '{"v": 60, "n": "17", "run": 4}')
    assert part.seq == 17
    assert part.boot == "4"


# CSV


def test_columns_of_csv() -> None:
    made = source(
        Format.CSV,
        ValueRule(VACUUM, at=(1,), unit="kPa"),
        ValueRule(("load_kg",), at=(2,), unit="kg"),
        time_at=(0,),
        separator=";",
        decimal=",",
    )
    part = read(made, '1764019200,5; 62,3 ;"622,5"\r\n')
    assert part.values == {VACUUM: 62.3, ("load_kg",): 622.5}
    assert part.sent_utc_s == 1764019200.5
    assert read(made, "1764019200;62,3").values == {VACUUM: 62.3}
    assert read(made, "1764019200;;622,5").values == {("load_kg",): 622.5}


def test_every_line_of_csv_is_a_part_and_a_heading_is_refused() -> None:
    made = source(Format.CSV, ValueRule(VACUUM, at=(1,), unit="kPa"), time_at=(0,))
    parts = read_message(Route(made), "plant/d6", b"time,vacuum\n1764019200,62.3\n\n1764019201,62.1\n")
    assert [part.values for part in parts] == [{}, {VACUUM: 62.3}, {VACUUM: 62.1}]
    assert [len(part.refused) for part in parts] == [2, 0, 0]


# Binary


LAYOUT = {
    "fields": (BinaryField("count", "H", 0), BinaryField("a", "h", 3), BinaryField("load", "f", 5)),
    "size_bytes": 9,
    "seq_at": ("count",),
}
RULES = (
    ValueRule(VACUUM, at=("a",), unit="kPa", scale=0.1, reads=Reads.GAUGE),
    ValueRule(("load_kg",), at=("load",), unit="kg"),
)


@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("encoding", list(Encoding))
def test_binary_layout(order: str, encoding: Encoding) -> None:
    raw = struct.pack(order + "Hxhf", 17, -623, 622.5)
    payload = {Encoding.BYTES: raw, Encoding.HEX: raw.hex().encode(), Encoding.BASE64: base64.b64encode(raw)}[encoding]
    part = read(source(Format.BINARY, *RULES, byte_order=order, encoding=encoding, **LAYOUT), payload)
    assert part.values == {VACUUM: pytest.approx(62.3), ("load_kg",): 622.5}
    assert part.seq == 17


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_binary_number_that_is_not_finite_is_refused(value: float) -> None:
    part = read(source(Format.BINARY, *RULES, **LAYOUT), struct.pack(">Hxhf", 1, -600, value))
    assert part.values == {VACUUM: pytest.approx(60.0)}
    assert part.refused[0].reason == "not_finite"


@pytest.mark.parametrize("size", [0, 1, 8, 10])
def test_binary_of_another_size_is_not_read(size: int) -> None:
    found = unreadable(source(Format.BINARY, *RULES, **LAYOUT), b"\x01" * size)
    assert found.lifter == "dock-6"
    assert found.rejected.found.startswith(f"{size} bytes, not 9")


# Topics


def test_levels_name_lifter_and_circuit() -> None:
    made = Source(
        topic="plant/{lifter}/+/vac/{circuit}/#",
        format=Format.NUMBER,
        values=(ValueRule(("circuits", "{circuit}", "vacuum_kpa"), unit="kPa"),),
        names={"VL 01": "dock-6", "left": "A"},
    )
    assert Route(made).subscription == "plant/+/+/vac/+/#"
    for topic, lifter, circuit in (
        ("plant/VL 01/x/vac/left/state", "dock-6", "A"),
        ("plant/VL 01/x/vac/left", "dock-6", "A"),
        ("plant/dock-7//vac/B/a/b", "dock-7", "B"),
    ):
        part = read(made, "62.3", topic)
        assert part.lifter == lifter
        assert part.values == {("circuits", circuit, "vacuum_kpa"): 62.3}
        assert part.stream == topic


@pytest.mark.parametrize("topic", ["plant/d7", "plant", "plant/d6/", "plant/d6/x", "xplant/d6", "plant/d6\n", ""])
def test_topic_of_somebody_else_is_nothing(topic: str) -> None:
    assert read_message(Route(source(Format.NUMBER, ValueRule(VACUUM, unit="kPa"))), topic, b"62.3") == []


def test_points_and_brackets_in_a_topic_mean_themselves() -> None:
    made = Source(topic="a.c/(x)", format=Format.NUMBER, values=(ValueRule(VACUUM, unit="kPa"),), lifter="dock-6")
    assert read_message(Route(made), "abc/(x)", b"1") == []
    assert len(read_message(Route(made), "a.c/(x)", b"1")) == 1


def test_level_that_no_site_file_could_name_is_told() -> None:
    made = Source(
        topic="p/{lifter}/{circuit}", format=Format.NUMBER, values=(ValueRule(("circuits", "{circuit}", "pump")),)
    )
    assert unreadable(made, b"on", "p/dock 6/A").lifter is None
    assert unreadable(made, b"on", "p/dock-6/A B").lifter == "dock-6"


# Anything at all

JSON_RULES = (ValueRule(VACUUM, at=("a", 0), unit="kPa"), ValueRule(("circuits", "A", "pump"), at=("p",)))
SOURCES = [
    source(Format.JSON, *JSON_RULES, time_at=("t",), seq_at=("n",), boot_at=("b",)),
    source(Format.NUMBER, ValueRule(VACUUM, unit="inHg", reads=Reads.GAUGE, scale=1e300)),
    source(Format.NUMBER, ValueRule(("lifter_alarm",))),
    source(Format.CSV, ValueRule(VACUUM, at=(1,), unit="kPa"), time_at=(0,), time_unit=TimeUnit.TEXT),
    source(Format.BINARY, *RULES, encoding=Encoding.BASE64, **LAYOUT),
    source(Format.BINARY, *RULES, encoding=Encoding.HEX, **LAYOUT),
    source(Format.BINARY, *RULES, **LAYOUT),
]
TOKENS = [*rb'{"a": [ 1e999 NaN " } ] , -60 mbar" "t": "p":"on"'.split(), b"\xff", b"\n", b"9" * 400, b"\x00"]
PIECES = st.lists(st.sampled_from(TOKENS), max_size=12).map(b"".join)


@settings(deadline=None, max_examples=400)
@given(st.sampled_from(SOURCES), st.binary(max_size=60) | PIECES | st.binary(min_size=9, max_size=9))
def test_any_bytes_give_plausible_values_or_a_reason(made: Source, payload: bytes) -> None:
    for part in read_message(Route(made), "plant/d6", payload):
        if isinstance(part, Unreadable):
            assert part.rejected.found.isprintable()
            continue
        for path, value in part.values.items():
            if path[-1] in PLAUSIBLE:
                assert type(value) is float
                assert PLAUSIBLE[path[-1]].holds(value)
        assert all(refusal.found.isprintable() for refusal in part.refused)


# Lists of messages, messages in messages, columns by name, patterns, bits


def vacuum_rule(*at: object, **more: object) -> ValueRule:
    return ValueRule(VACUUM, at, unit="kPa", **more)


def parts(made: Source, payload: str) -> list[Part | Unreadable]:
    return read_message(Route(made), "plant/d6", payload.encode())


def test_every_entry_of_a_list_is_a_message() -> None:
    made = source(Format.JSON, vacuum_rule("v"), each_at=("list",), time_at=("t",))
    found = parts(made, json.dumps({"list": [{"v": 60, "t": 1764019200}, {"v": 61, "t": 1764019201}]}))
    assert [(part.values[VACUUM], part.sent_utc_s) for part in found] == [(60.0, 1764019200.0), (61.0, 1764019201.0)]


@pytest.mark.parametrize("payload", ['{"list": 3}', "{}", '{"list": ' + json.dumps([0] * 1001) + "}"])
def test_no_list_says_so(payload: str) -> None:
    made = source(Format.JSON, vacuum_rule("v"), each_at=("list",))
    assert "each_at" in unreadable(made, payload.encode()).rejected.found


@pytest.mark.parametrize(
    ("payload", "n"), [('{"dev": "7", "v": 60}', 1), ('{"dev": 7, "v": 60}', 1), ('{"dev": 8, "v": 60}', 0), ("{}", 0)]
)
def test_message_of_another_device_is_nothing(payload: str, n: int) -> None:
    assert len(parts(source(Format.JSON, vacuum_rule("v"), where=((("dev",), "7"),)), payload)) == n


def test_payload_inside_a_message_with_the_time_around_it() -> None:
    made = source(
        Format.BINARY, vacuum_rule("a", scale=0.1), encoding=Encoding.BASE64, inside_at=("up", "data"), time_at=("t",),
        seq_at=("n",), fields=(BinaryField("a", "H", 0),), size_bytes=2,
    )  # fmt: skip
    part = read(made, json.dumps({"up": {"data": base64.b64encode(b"\x02\x7a").decode()}, "t": 1764019200, "n": 4}))
    assert (part.values[VACUUM], part.sent_utc_s, part.seq) == (pytest.approx(63.4), 1764019200.0, 4)


@pytest.mark.parametrize("payload", [b"{}", b'{"up": 4}', b"x"])
def test_nothing_inside_says_so(payload: bytes) -> None:
    made = source(Format.NUMBER, vacuum_rule(), inside_at=("up",))
    assert unreadable(made, payload).rejected.reason == "wrong_shape"


@pytest.mark.parametrize(
    ("payload", "vacuums_kpa"),
    [
        ("b,a\n1,60\n", [60.0]),
        ("a,b\n60,1\n61,2\n", [60.0, 61.0]),
        ("a,b\n60,1\nb,a\n2,61\n", [60.0, 61.0]),
        ("\ufeffa,b\n60,1\n", [60.0]),
        ("a,b\n", []),
    ],
)
def test_columns_by_the_names_in_a_line_of_the_message(payload: str, vacuums_kpa: list[float]) -> None:
    found = parts(source(Format.CSV, vacuum_rule("a")), payload)
    assert [part.values[VACUUM] for part in found] == vacuums_kpa


def test_columns_nobody_named_say_so() -> None:
    made = source(Format.CSV, vacuum_rule("vac"))
    assert "no line names the columns vac" in unreadable(made, b"60,1").rejected.found


def test_columns_named_by_the_site_file() -> None:
    assert read(source(Format.CSV, vacuum_rule("a"), columns=("x", "a")), "1,60").values[VACUUM] == 60.0


def test_header_lines_are_passed_over() -> None:
    assert read(source(Format.CSV, vacuum_rule(1), header_lines=2), "Logger 7\nt,vac\n1,60").values[VACUUM] == 60.0


@pytest.mark.parametrize(
    ("payload", "vacuum_kpa"), [("P=60.5;", 60.5), ("x\ny P=-1", -1.0), ("P=60.5\0", 60.5), ("T=2", None)]
)
def test_pattern_is_looked_for_anywhere(payload: str, vacuum_kpa: float | None) -> None:
    found = parts(source(Format.TEXT, vacuum_rule("p"), pattern="P=(?P<p>[-0-9.]+)|T="), payload)
    assert [part.values.get(VACUUM) for part in found] == [vacuum_kpa]


@pytest.mark.parametrize("payload", [b"nothing", b"P=" + b"9" * 5000, b"\xff"])
def test_text_without_its_pattern_says_so(payload: bytes) -> None:
    assert unreadable(source(Format.TEXT, vacuum_rule("p"), pattern="P=(?P<p>[0-9]+)$"), payload).lifter == "dock-6"


@pytest.mark.parametrize(("sent", "pump"), [(0b0100, Pump.ON), (0b1011, Pump.OFF), ("4", Pump.ON), (4.0, Pump.ON)])
def test_bit_of_a_whole_number(sent: object, pump: Pump) -> None:
    path = ("circuits", "A", "pump")
    part = read(source(Format.JSON, ValueRule(path, ("f",), bit=2)), json.dumps({"f": sent}))
    assert part.values[path] is pump


@pytest.mark.parametrize("sent", [4.5, "on", True, [4]])
def test_bit_of_what_is_no_whole_number_is_refused(sent: object) -> None:
    part = read(source(Format.JSON, ValueRule(("circuits", "A", "pump"), ("f",), bit=2)), json.dumps({"f": sent}))
    assert [refusal.reason for refusal in part.refused] == ["not_a_number"]


@pytest.mark.parametrize(
    ("sent", "words", "alarm", "refused_n"),
    [
        (True, {}, True, 0), ("TRUE", {}, True, 0), (1, {}, True, 0), ("0", {}, False, 0), (1, {"1": "false"}, False, 0),
        ("HORN", {}, True, 1), (7, {}, True, 1), ("off", {}, None, 1), ("", {}, None, 1),
    ],
)  # fmt: skip
def test_alarm_said_in_another_way_still_alarms(
    sent: object, words: dict[str, str], alarm: bool | None, refused_n: int
) -> None:
    part = read(source(Format.JSON, ValueRule(("lifter_alarm",), ("a",), words=words)), json.dumps({"a": sent}))
    assert part.values.get(("lifter_alarm",)) is alarm
    assert len(part.refused) == refused_n


@pytest.mark.parametrize(
    ("text", "zone", "written", "utc_s"),
    [
        ("2025-11-24T22:20:00+01:00", "", "", 1764019200.0),
        ("2025-11-24T22:20:00", "Europe/Madrid", "", 1764019200.0),  # CET is UTC+1 in November
        ("2025-11-24 22:20:00.5", "Europe/Madrid", "", 1764019200.5),
        ("24.11.2025 22:20:00", "Europe/Madrid", "%d.%m.%Y %H:%M:%S", 1764019200.0),
        ("11/24/25 09:20 PM", "UTC", "%m/%d/%y %I:%M %p", 1764019200.0),
        ("24.11.2025 22:20:00 +0100", "", "%d.%m.%Y %H:%M:%S %z", 1764019200.0),
        ("2025-11-24T22:20:00", "", "", None),
        ("yesterday", "UTC", "", None),
        ("2025-11-24", "UTC", "%d.%m.%Y", None),
    ],
)
def test_text_time_in_its_zone_and_form(text: str, zone: str, written: str, utc_s: float | None) -> None:
    made = source(
        Format.JSON, vacuum_rule("v"), time_at=("t",), time_unit=TimeUnit.TEXT, time_zone=zone, time_format=written
    )
    part = read(made, json.dumps({"v": 60, "t": text}))
    assert part.sent_utc_s == utc_s
    assert len(part.refused) == (utc_s is None)


@pytest.mark.parametrize(
    ("code", "order", "sent", "value"),
    [
        ("u24", ">", "00f7a8", 63400), ("u24", "<", "a8f700", 63400), ("i24", ">", "ff0858", -63400),
        # 63.4 as IEEE 754 single is 0x427D999A; its two registers swapped, as many Modbus gateways send it
        ("sf", ">", "999a427d", 63.4), ("sI", ">", "f7a80000", 63400), ("si", ">", "0858ffff", -63400),
    ],
)  # fmt: skip
def test_odd_binary_numbers(code: str, order: str, sent: str, value: float) -> None:
    made = source(
        Format.BINARY, ValueRule(("load_kg",), ("x",), unit="g" if code != "sf" else "kg"), encoding=Encoding.HEX,
        byte_order=order, fields=(BinaryField("x", code, 0),), size_bytes=len(sent) // 2,
    )  # fmt: skip
    part = read(made, sent)
    assert part.values[("load_kg",)] == pytest.approx(value if code == "sf" else value / 1000)
