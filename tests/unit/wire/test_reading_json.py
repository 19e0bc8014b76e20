"""A reading's bytes, written by hand. What cannot be believed costs its field; nothing ever raises."""

import json
import math
from dataclasses import replace
from datetime import datetime

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.readings import PLAUSIBLE, CircuitReading, Pump, Reading, Refusal, Rejected, Valve
from monitor.wire.reading_json import MAX_BYTES, decode_reading, encode_reading, reading_of, rfc_3339_utc_s

PROMISED = b"""{"time": 1764019200.125, "seq": 10231, "boot": "7f3a",
 "circuits": {"A": {"vacuum_kpa": 63.4, "pump": "off"}, "B": {"vacuum_kpa": 57.8, "gauges": {"1": 57.8, "2": 58.1}}},
 "load_kg": 622.5, "tilt_deg": 90.0, "rotation_deg": 0.0, "height_m": 41.0, "ambient_kpa": 101.1, "temperature_c": 14.2,
 "battery_v": 24.9, "wind_m_s": 4.2, "lifter_alarm": false, "release_valve": "closed"}"""
NUMBERS = [name for name in PLAUSIBLE if name not in ("vacuum_kpa", "pressure_abs_kpa")]


def read(payload: bytes | str) -> Reading:
    found = decode_reading(payload.encode() if isinstance(payload, str) else payload, lifter="dock-6")
    assert isinstance(found, Reading), found
    return found


def reject(payload: bytes | str) -> Rejected:
    found = decode_reading(payload.encode() if isinstance(payload, str) else payload, lifter="dock-6")
    assert isinstance(found, Rejected), found
    return found


def with_field(name: str, text: str) -> Reading:
    return read(f'{{"circuits": {{"A": {{"vacuum_kpa": 60}}}}, "{name}": {text}}}')


def circuit(text: str) -> tuple[CircuitReading, tuple[Refusal, ...]]:
    reading = read(f'{{"circuits": {{"A": {text}}}}}')
    return reading.circuits["A"], reading.refused


# What is promised


def test_message_of_the_design_is_read_whole() -> None:
    assert read(PROMISED) == Reading(
        lifter="dock-6",
        circuits={
            "A": CircuitReading(vacuum_kpa=63.4, pump=Pump.OFF),
            "B": CircuitReading(vacuum_kpa=57.8, gauges={"1": 57.8, "2": 58.1}),
        },
        load_kg=622.5,
        tilt_deg=90.0,
        rotation_deg=0.0,
        height_m=41.0,
        ambient_kpa=101.1,
        temperature_c=14.2,
        battery_v=24.9,
        wind_m_s=4.2,
        lifter_alarm=False,
        release_valve=Valve.CLOSED,
        sent_utc_s=1764019200.125,
        seq=10231,
        boot="7f3a",
    )


def test_vacuum_alone_is_enough() -> None:
    assert read('{"circuits":{"A":{"vacuum_kpa":63.4}}}') == Reading("dock-6", {"A": CircuitReading(63.4)})


def test_absolute_pressure_serves_instead() -> None:
    assert circuit('{"pressure_abs_kpa": 40.2}') == (CircuitReading(pressure_abs_kpa=40.2), ())


def test_whole_numbers_are_numbers() -> None:
    found, _ = circuit('{"vacuum_kpa": 63}')
    assert found.vacuum_kpa == 63.0
    assert type(found.vacuum_kpa) is float


def test_lowest_gauge_counts_where_no_vacuum_is_given() -> None:
    assert circuit('{"gauges": {"1": 57.8, "2": 55.1}}') == (CircuitReading(55.1, gauges={"1": 57.8, "2": 55.1}), ())


def test_gauge_not_believed_leaves_the_others_to_count() -> None:
    found, refused = circuit('{"gauges": {"1": 57.8, "2": 555.1}}')
    assert found == CircuitReading(57.8, gauges={"1": 57.8})
    assert refused == (Refusal("circuits.A.gauges.2", "out_of_range", "555.1"),)


def test_gauges_do_not_hide_a_vacuum_not_believed() -> None:
    found, refused = circuit('{"vacuum_kpa": "?", "gauges": {"1": 57.8}}')
    assert found.vacuum_kpa is None
    assert refused == (Refusal("circuits.A.vacuum_kpa", "not_a_number", "'?'"),)


def test_unknown_fields_are_ignored() -> None:
    assert read('{"circuits":{"A":{"vacuum_kpa":60,"flow":[1]}},"new":{"a":1}}') == read(
        '{"circuits":{"A":{"vacuum_kpa":60}}}'
    )


def test_null_is_not_given() -> None:
    names = ["time", "seq", "boot", "lifter_alarm", "release_valve", *NUMBERS]
    nulls = "".join(f',"{name}":null' for name in names)
    assert read(f'{{"circuits":{{"A":{{"vacuum_kpa":null,"pump":null,"gauges":null}}}}{nulls}}}') == Reading(
        "dock-6", {"A": CircuitReading()}
    )


@pytest.mark.parametrize("pump", list(Pump))
def test_pump_words(pump: Pump) -> None:
    assert circuit(f'{{"vacuum_kpa": 60, "pump": "{pump}"}}') == (CircuitReading(60.0, pump=pump), ())


@pytest.mark.parametrize("valve", list(Valve))
def test_valve_words(valve: Valve) -> None:
    assert with_field("release_valve", f'"{valve}"').release_valve is valve


# Numbers


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("end", ["low", "high"])
def test_limit_is_believed_and_the_next_number_is_not(name: str, end: str) -> None:
    limit = getattr(PLAUSIBLE[name], end)
    beyond = math.nextafter(limit, math.inf if end == "high" else -math.inf)
    assert getattr(with_field(name, repr(limit)), name) == limit
    assert with_field(name, repr(limit)).refused == ()
    assert getattr(with_field(name, repr(beyond)), name) is None
    assert with_field(name, repr(beyond)).refused == (Refusal(name, "out_of_range", repr(beyond)),)


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("NaN", "not_finite"),
        ("Infinity", "not_finite"),
        ("-Infinity", "not_finite"),
        ("1e999", "not_finite"),
        ("-1e999", "not_finite"),
        ("9" * 400, "out_of_range"),
        ("9" * 250, "out_of_range"),
        ("9" * 6000, "not_finite"),
        ("-" + "9" * 6000, "not_finite"),
        ("1e300", "out_of_range"),
        ("true", "not_a_number"),
        ("false", "not_a_number"),
        ('"60.0"', "not_a_number"),
        ("[60.0]", "not_a_number"),
        ('{"value": 60.0}', "not_a_number"),
    ],
)
def test_number_not_believed_costs_its_field_only(text: str, reason: str) -> None:
    reading = read(
        f'{{"circuits":{{"A":{{"vacuum_kpa":{text}}},"B":{{"vacuum_kpa":61.5}}}},"load_kg":{text},"tilt_deg":90}}'
    )
    assert reading.circuits["A"] == CircuitReading()
    assert reading.circuits["B"].vacuum_kpa == 61.5
    assert reading.load_kg is None
    assert reading.tilt_deg == 90.0
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [
        ("circuits.A.vacuum_kpa", reason),
        ("load_kg", reason),
    ]


def test_number_too_small_for_a_float_is_zero() -> None:
    assert circuit('{"vacuum_kpa": 1e-999}') == (CircuitReading(0.0), ())


# Words, flags and shapes


@pytest.mark.parametrize(
    ("name", "text", "reason"),
    [
        ("release_valve", '"ajar"', "not_known"),
        ("release_valve", "1", "not_known"),
        ("release_valve", '"Open"', "not_known"),
        ("seq", "-1", "out_of_range"),
        ("seq", "1.5", "wrong_shape"),
        ("seq", '"7"', "not_a_number"),
        ("seq", "true", "not_a_number"),
        ("seq", "1e999", "not_finite"),
        ("seq", "9007199254740992", "out_of_range"),
        ("boot", "true", "wrong_shape"),
        ("boot", "[1]", "wrong_shape"),
        ("boot", '"' + "x" * 65 + '"', "wrong_shape"),
        ("boot", '"a\\u0000b"', "wrong_shape"),
        ("boot", '"\\ud800"', "wrong_shape"),
    ],
)
def test_field_of_another_kind_is_refused(name: str, text: str, reason: str) -> None:
    reading = with_field(name, text)
    assert getattr(reading, name) is None
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [(name, reason)]
    assert reading.circuits["A"].vacuum_kpa == 60.0


@pytest.mark.parametrize("text", ["1", '"true"', "[]", '"sounding"', "{}"])
def test_lifter_alarm_said_in_another_way_still_alarms(text: str) -> None:
    reading = with_field("lifter_alarm", text)
    assert reading.lifter_alarm is True
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [("lifter_alarm", "wrong_shape")]


@pytest.mark.parametrize("text", ["0", '"false"', '"off"'])
def test_lifter_alarm_denied_in_another_way_clears_nothing(text: str) -> None:
    assert with_field("lifter_alarm", text).lifter_alarm is None


@pytest.mark.parametrize(("text", "seq"), [("0", 0), ("7.0", 7), ("9007199254740991", 2**53 - 1)])
def test_seq(text: str, seq: int) -> None:
    assert with_field("seq", text).seq == seq
    assert type(with_field("seq", text).seq) is int


@pytest.mark.parametrize(
    ("text", "boot"), [('"7f3a"', "7f3a"), ("17", "17"), ("1.5", "1.5"), ('""', ""), ('"' + "x" * 64 + '"', "x" * 64)]
)
def test_boot(text: str, boot: str) -> None:
    assert with_field("boot", text).boot == boot


@pytest.mark.parametrize("text", ['"blocked"', "true", "1", '["on"]'])
def test_pump_word_not_known_leaves_the_vacuum(text: str) -> None:
    found, refused = circuit(f'{{"vacuum_kpa": 60, "pump": {text}}}')
    assert found == CircuitReading(60.0)
    assert [(refusal.field, refusal.reason) for refusal in refused] == [("circuits.A.pump", "not_known")]


@pytest.mark.parametrize("text", ["63.4", '"63.4"', "[63.4]", "true", "null"])
def test_circuit_that_is_no_object_stays_without_a_value(text: str) -> None:
    reading = read(f'{{"circuits":{{"A":{text},"B":{{"vacuum_kpa":60}}}}}}')
    assert reading.circuits["A"] == CircuitReading()
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [("circuits.A", "wrong_shape")]


@pytest.mark.parametrize("text", ["57.8", "[57.8]", "true", "{" + ",".join(f'"{n}":50' for n in range(17)) + "}"])
def test_gauges_of_another_shape_are_refused(text: str) -> None:
    found, refused = circuit(f'{{"gauges": {text}}}')
    assert found == CircuitReading()
    assert [(refusal.field, refusal.reason) for refusal in refused] == [("circuits.A.gauges", "wrong_shape")]


@pytest.mark.parametrize("name", ["", " ", "A B", "Ä", "A/B", "<b>", "\\ud800", "\\u0000", "x" * 65])
def test_circuit_or_gauge_whose_name_no_site_file_could_have_is_refused(name: str) -> None:
    reading = read(f'{{"circuits":{{"A":{{"vacuum_kpa":60,"gauges":{{"{name}":61}}}},"{name}":{{"vacuum_kpa":62}}}}}}')
    assert list(reading.circuits) == ["A"]
    assert reading.circuits["A"].gauges == {}
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [
        ("circuits.A.gauges", "not_known"),
        ("circuits", "not_known"),
    ]


def test_circuits_beyond_thirty_two_are_refused_in_one_line() -> None:
    circuits = ",".join(f'"c{n}":{{"vacuum_kpa":60}}' for n in range(40))
    reading = read(f'{{"circuits":{{{circuits}}}}}')
    assert len(reading.circuits) == 32
    assert reading.refused == (Refusal("circuits", "out_of_range", "40 circuits"),)


def test_refusals_stay_few_however_much_is_wrong() -> None:
    circuits = ",".join(f'"c {n}":0' for n in range(4000))
    reading = read(f'{{"circuits":{{"A":{{}},{circuits}}}}}')
    assert len(reading.refused) <= 33


# Time


@pytest.mark.parametrize(
    ("text", "utc_s"),
    [
        ('"2025-11-24T21:20:00.125Z"', 1764019200.125),
        ('"2025-11-24T22:20:00.125+01:00"', 1764019200.125),
        ('"2025-11-24 13:20:00.125-08:00"', 1764019200.125),
        ('"2025-11-24t21:20:00z"', 1764019200.0),
        ('"2025-11-24T21:20:00.123456789Z"', 1764019200.123456789),
        ('"2016-12-31T23:59:60Z"', 1483228800.0),
        ("1764019200", 1764019200.0),
        ("946684800", 946684800.0),
        ("4102444800", 4102444800.0),
    ],
)
def test_time(text: str, utc_s: float) -> None:
    assert with_field("time", text).sent_utc_s == utc_s


@pytest.mark.parametrize(
    ("text", "same_as"),
    [  # RFC 3339 section 5.8, published examples and what it says of them
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50.52+00:00"),
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57+00:00"),
        ("1990-12-31T23:59:60Z", "1991-01-01T00:00:00+00:00"),
        ("1990-12-31T15:59:60-08:00", "1991-01-01T00:00:00+00:00"),
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27.87+00:00"),
    ],
)
def test_published_examples_of_rfc_3339(text: str, same_as: str) -> None:
    assert rfc_3339_utc_s(text) == pytest.approx(datetime.fromisoformat(same_as).timestamp(), abs=1e-6)


def test_text_agrees_with_the_library_to_the_microsecond() -> None:
    text = "2031-07-09T05:06:07.654321+05:45"
    assert with_field("time", f'"{text}"').sent_utc_s == pytest.approx(
        datetime.fromisoformat(text).timestamp(), abs=1e-6
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("1764019200125", "out_of_range"),  # milliseconds
        ("946684799.9", "out_of_range"),
        ("4102444800.5", "out_of_range"),
        ("0", "out_of_range"),
        ("-1", "out_of_range"),
        ("NaN", "not_finite"),
        ("true", "not_a_number"),
        ("[]", "not_a_number"),
        ('"1985-04-12T23:20:50.52Z"', "out_of_range"),
        ('"2025-11-24T21:20:00"', "wrong_shape"),  # no zone
        ('"2025-11-24T21:20Z"', "wrong_shape"),
        ('"2025-11-24"', "wrong_shape"),
        ('"2025-02-30T21:20:00Z"', "wrong_shape"),
        ('"2025-11-24T24:20:00Z"', "wrong_shape"),
        ('"2025-11-24T21:20:61Z"', "wrong_shape"),
        ('"2025-11-24T21:20:00+25:00"', "wrong_shape"),
        ('"0001-01-01T00:00:00+23:59"', "out_of_range"),
        ('"20251124T212000Z"', "wrong_shape"),
        ('"1764019200"', "wrong_shape"),
        ('"٢٠٢٥-11-24T21:20:00Z"', "wrong_shape"),
        ('""', "wrong_shape"),
    ],
)
def test_time_not_believed_is_refused_and_the_rest_kept(text: str, reason: str) -> None:
    reading = with_field("time", text)
    assert reading.sent_utc_s is None
    assert [(refusal.field, refusal.reason) for refusal in reading.refused] == [("time", reason)]
    assert reading.circuits["A"].vacuum_kpa == 60.0


# Messages that are no reading


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "not_json"),
        (b"\x00", "not_json"),
        (b"online", "not_json"),
        (b"{", "not_json"),
        (b'{"circuits": {"A": {"vacuum_kpa": 60', "not_json"),
        (b'{"circuits": {"A": {"vacuum_kpa": 60}}} trailing', "not_json"),
        (b'{"circuits": {"A": {"vacuum_kpa": 60,}}}', "not_json"),
        (b'{"circuits": {"A": {"vacuum_kpa": 060}}}', "not_json"),
        (b"{'circuits': {}}", "not_json"),
        (b'{"circuits": {"A": {"vacuum_kpa": 60}}, "boot": "\xff"}', "not_json"),
        (b'\xef\xbb\xbf{"circuits": {"A": {"vacuum_kpa": 60}}}', "not_json"),
        ('{"circuits": {"A": {"vacuum_kpa": 60}}}'.encode("utf-16"), "not_json"),
        (b"[" * 50_000, "not_json"),
        (b'{"a":' * 10_000, "not_json"),
        (b" " * MAX_BYTES + b"{}", "too_large"),
        (b"null", "wrong_shape"),
        (b"63.4", "wrong_shape"),
        (b'"63.4"', "wrong_shape"),
        (b'[{"circuits": {"A": {"vacuum_kpa": 60}}}]', "wrong_shape"),
        (b"{}", "no_circuits"),
        (b'{"vacuum_kpa": 60}', "no_circuits"),
        (b'{"circuits": null}', "no_circuits"),
        (b'{"circuits": {}}', "no_circuits"),
        (b'{"circuits": {"A B": {"vacuum_kpa": 60}}}', "no_circuits"),
        (b'{"circuits": [{"vacuum_kpa": 60}]}', "wrong_shape"),
        (b'{"circuits": 60}', "wrong_shape"),
        (b'{"circuits": {"A": 60, "B": 61}}', "wrong_shape"),
        (b'{"lifter_alarm": null, "circuits": {}}', "no_circuits"),
        (b'{"lifter_alarm": "off"}', "no_circuits"),
    ],
)
def test_message_that_is_no_reading_is_rejected_with_its_reason(payload: bytes, reason: str) -> None:
    rejected = reject(payload)
    assert rejected.reason == reason
    assert len(rejected.found) <= 300
    assert rejected.found.isprintable()


@pytest.mark.parametrize(
    ("rest", "reason"),
    [("", None), (', "circuits": {}', None), (', "circuits": null', None), (', "circuits": [1]', "wrong_shape")],
)
@pytest.mark.parametrize("sounds", [True, False])
def test_lifter_alarm_is_heard_without_a_circuit_beside_it(sounds: bool, rest: str, reason: str | None) -> None:
    reading = read(f'{{"lifter_alarm": {str(sounds).lower()}{rest}}}'.encode())
    assert reading.lifter_alarm is sounds
    assert reading.circuits == {}
    assert [refusal.reason for refusal in reading.refused] == ([reason] if reason else [])


def test_message_of_the_greatest_size_is_read() -> None:
    message = b'{"circuits": {"A": {"vacuum_kpa": 60}}}'
    assert read(message + b" " * (MAX_BYTES - len(message))).circuits["A"].vacuum_kpa == 60.0


# Anything at all


def check_promises(payload: bytes) -> None:
    """Whatever came: no exception, and every number in a reading finite and plausible."""
    found = decode_reading(payload, lifter="dock-6")
    if isinstance(found, Rejected):
        assert found.reason in ("not_json", "too_large", "wrong_shape", "no_circuits")
        assert found.found.isprintable()
        return
    assert found.lifter == "dock-6"
    assert found.circuits or found.lifter_alarm is not None
    assert len(found.circuits) <= 32
    for name in NUMBERS:
        value = getattr(found, name)
        assert value is None or (type(value) is float and PLAUSIBLE[name].holds(value))
    for circuit_reading in found.circuits.values():
        for value in (circuit_reading.vacuum_kpa, *circuit_reading.gauges.values()):
            assert value is None or (type(value) is float and PLAUSIBLE["vacuum_kpa"].holds(value))
        pressure = circuit_reading.pressure_abs_kpa
        assert pressure is None or (type(pressure) is float and PLAUSIBLE["pressure_abs_kpa"].holds(pressure))
        assert circuit_reading.pump in (None, Pump.ON, Pump.OFF)
    assert found.sent_utc_s is None or 946684800.0 <= found.sent_utc_s <= 4102444800.0
    assert found.seq is None or (type(found.seq) is int and 0 <= found.seq < 2**53)
    assert found.boot is None or (len(found.boot) <= 64 and found.boot.isprintable())
    assert found.lifter_alarm in (None, True, False)
    for refusal in found.refused:
        assert refusal.reason in ("not_a_number", "not_finite", "out_of_range", "not_known", "wrong_shape")
        assert refusal.found.isprintable()
        assert len(refusal.found) <= 100


LEAF = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=20)
    | st.sampled_from([60.0, 1e999, math.nan, "on", "open", 1764019200, "2025-11-24T21:20:00Z", 10**400, "\ud800"])
)
JSON = st.recursive(
    LEAF,
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)
FIELDS = ["time", "seq", "boot", "circuits", "lifter_alarm", "release_valve", *NUMBERS]
CIRCUIT = JSON | st.dictionaries(
    st.sampled_from(["vacuum_kpa", "pressure_abs_kpa", "pump", "gauges"]), JSON, max_size=4
)
MESSAGE = st.fixed_dictionaries(
    {"circuits": st.dictionaries(st.sampled_from("ABCD") | st.text(max_size=3), CIRCUIT, max_size=4)},
    optional={name: JSON for name in FIELDS if name != "circuits"},
)


@settings(deadline=None, max_examples=300)
@given(st.binary(max_size=300))
def test_any_bytes_keep_the_promises(payload: bytes) -> None:
    check_promises(payload)


@settings(deadline=None, max_examples=300)
@given(JSON)
def test_any_json_keeps_the_promises(message: object) -> None:
    check_promises(json.dumps(message).encode())


@settings(deadline=None, max_examples=300)
@given(MESSAGE)
def test_anything_in_any_field_keeps_the_promises(message: dict[str, object]) -> None:
    check_promises(json.dumps(message).encode())


@settings(deadline=None, max_examples=300)
@given(st.integers(0, len(PROMISED) - 1), st.integers(0, 40), st.binary(max_size=12))
def test_mutilated_message_keeps_the_promises(start: int, length: int, put: bytes) -> None:
    check_promises(PROMISED[:start] + put + PROMISED[start + length :])


@settings(deadline=None, max_examples=100)
@given(MESSAGE)
def test_quick_parser_reads_what_the_standard_librarys_reads(message: dict[str, object]) -> None:
    payload = json.dumps(message)
    assert decode_reading(payload.encode(), lifter="dock-6") == reading_of(json.loads(payload), lifter="dock-6")


REFUSABLE = [
    *NUMBERS,
    "lifter_alarm",
    "release_valve",
    "time",
    "circuits.A.vacuum_kpa",
    "circuits.A.pump",
    "circuits.B.gauges.2",
]


@settings(deadline=None, max_examples=100)
@given(
    st.dictionaries(st.sampled_from(NUMBERS), st.floats(0.0, 1.0) | st.just(50.0)),
    st.builds(
        CircuitReading, st.none() | st.floats(-5.0, 105.0), st.none() | st.just(40.5), st.sampled_from([None, *Pump])
    ),
    st.lists(st.sampled_from(REFUSABLE), unique=True),
)
def test_joined_reading_is_the_same_from_its_message(
    numbers: dict[str, float], circuit_a: CircuitReading, refused: list[str]
) -> None:
    numbers = {name: value for name, value in numbers.items() if PLAUSIBLE[name].holds(value) and name not in refused}
    vacuum = None if "circuits.A.vacuum_kpa" in refused else circuit_a.vacuum_kpa
    circuit_a = replace(circuit_a, vacuum_kpa=vacuum, pump=None if "circuits.A.pump" in refused else circuit_a.pump)
    circuits = {"A": circuit_a, "B": CircuitReading(57.8, gauges={"1": 57.8})}
    refusals = tuple(Refusal(name, "out_of_range", "x") for name in refused)
    first = Reading("dock-6", circuits, **numbers, refused=refusals)
    again = read(encode_reading(first))
    assert replace(again, refused=()) == replace(first, refused=())
    assert sorted(refusal.field for refusal in again.refused) == sorted(refused)


def test_message_of_the_design_comes_back_from_its_reading() -> None:
    assert json.loads(encode_reading(read(PROMISED))) == json.loads(PROMISED)
