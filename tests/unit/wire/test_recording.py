"""Recordings: what came live comes again in replay, and no line ends the reading."""

import gzip
import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.wire.reading_json import decode_reading
from monitor.wire.recording import (
    MAX_LINE_BYTES,
    BadLine,
    RecordingLine,
    line_time_s,
    read_recording,
    read_recording_file,
    write_line,
)

TOPIC = "holdwatch/quayside/dock-6/readings"
GOOD = b'{"topic": "holdwatch/quayside/dock-6/readings", "payload": {"circuits": {}}, "received": 1764019200.2}\n'


def line_of(text: bytes) -> RecordingLine:
    [line] = read_recording([text])
    assert isinstance(line, RecordingLine), line
    return line


def bad_line_of(text: bytes) -> BadLine:
    [line] = read_recording([text])
    assert isinstance(line, BadLine), line
    return line


def test_line_of_the_design_is_read() -> None:
    assert line_of(GOOD) == RecordingLine(TOPIC, {"circuits": {}}, 1764019200.2, False, 1, b'{"circuits": {}}')


def test_line_is_written_compact_and_in_order() -> None:
    assert write_line(TOPIC, {"time": 1.5, "circuits": {}}, 1764019200.2, retained=True) == (
        b'{"topic":"holdwatch/quayside/dock-6/readings","payload":{"time":1.5,"circuits":{}},'
        b'"received":1764019200.2,"retained":true}\n'
    )
    assert write_line("t", {}) == b'{"topic":"t","payload":{}}\n'


def test_leftover_is_marked() -> None:
    assert line_of(b'{"topic":"t","payload":{},"retained":true}').retained is True
    assert line_of(b'{"topic":"t","payload":{}}').retained is False


def test_blank_lines_are_passed_over_and_counted() -> None:
    lines = list(read_recording([b"\n", GOOD, b"  \r\n", GOOD]))
    assert [line.line_n for line in lines] == [2, 4]


@pytest.mark.parametrize(
    ("text", "utc_s"),
    [
        (b'{"topic":"t","payload":{"time":1764019200.5},"received":1764019201}', 1764019201.0),
        (b'{"topic":"t","payload":{"time":1764019200.5}}', 1764019200.5),
        (b'{"topic":"t","payload":{"time":"2025-11-24T21:20:00.5Z"}}', 1764019200.5),
        (b'{"topic":"t","payload":{"time":1764019200500}}', None),
        (b'{"topic":"t","payload":{"time":NaN}}', None),
        (b'{"topic":"t","payload":{}}', None),
        (b'{"topic":"t","payload":"online"}', None),
    ],
)
def test_clock_is_received_else_the_payloads_time(text: bytes, utc_s: float | None) -> None:
    assert line_time_s(line_of(text)) == utc_s


@pytest.mark.parametrize(
    ("text", "reason", "topic"),
    [
        (b"rubbish", "not_json", None),
        (b"\xff\xfe", "not_json", None),
        (b'{"topic":"t/dock-6","payload":{"circuits":{"A"', "not_json", "t/dock-6"),
        (b"[1]", "wrong_shape", None),
        (b"null", "wrong_shape", None),
        (b'{"payload":{}}', "no_topic", None),
        (b'{"topic":7,"payload":{}}', "no_topic", None),
        (b'{"topic":"","payload":{}}', "no_topic", None),
        (b'{"topic":"t"}', "no_payload", "t"),
        (b'{"topic":"t","payload":{},"received":"now"}', "bad_received", "t"),
        (b'{"topic":"t","payload":{},"received":true}', "bad_received", "t"),
        (b'{"topic":"t","payload":{},"received":NaN}', "bad_received", "t"),
        (b'{"topic":"t","payload":{},"received":-1}', "bad_received", "t"),
        (b'{"topic":"t","payload":{},"received":1764019200200}', "bad_received", "t"),
        (b'{"topic":"t","payload":{},"retained":1}', "bad_retained", "t"),
        (b'{"topic":"t","payload":"' + b"x" * MAX_LINE_BYTES + b'"}', "too_large", "t"),
    ],
)
def test_bad_line_says_why_and_names_its_topic_where_it_can(text: bytes, reason: str, topic: str | None) -> None:
    bad = bad_line_of(text)
    assert (bad.reason, bad.topic, bad.line_n) == (reason, topic, 1)
    assert bad.found.isprintable()


def test_bad_line_does_not_end_the_reading() -> None:
    lines = list(read_recording([GOOD, b"rubbish\n", GOOD]))
    assert [type(line) for line in lines] == [RecordingLine, BadLine, RecordingLine]


@pytest.mark.parametrize(
    "message",
    [
        b'{"circuits": {"A": {"vacuum_kpa": 63.40}}}',
        b'{"circuits": {"A": {"vacuum_kpa": NaN}}, "load_kg": 1e999}',
        b'{"circuits": {"A": {"vacuum_kpa": 60}}, "circuits": {"B": {"vacuum_kpa": 61}}}',
        b'{\n  "circuits": {\n "A": {"vacuum_kpa": 60}}}\n',
        b'{"circuits": {"A": {"vacuum_kpa": 60}}, "boot": "\xff"}',
        b"online",
        b"",
        b"null",
        b'"63.4"',
        b"63.4",
        b"\x00\x01\x02",
        b"[" * 5000,
    ],
)
def test_message_is_judged_in_replay_as_it_was_live(message: bytes) -> None:
    line = line_of(write_line(TOPIC, message, 1764019200.2))
    live = decode_reading(message, lifter="dock-6")
    again = decode_reading(line.message, lifter="dock-6")
    assert getattr(again, "reason", None) == getattr(live, "reason", None)
    assert getattr(again, "circuits", None) == getattr(live, "circuits", None)
    assert getattr(again, "refused", None) == getattr(live, "refused", None)


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=80) | st.text().map(str.encode))
def test_any_message_makes_one_line_and_text_comes_back_byte_by_byte(message: bytes) -> None:
    line = write_line(TOPIC, message)
    assert line.count(b"\n") == 1
    assert line.endswith(b"\n")
    read = line_of(line)
    try:
        text = message.decode()
    except UnicodeDecodeError:
        assert decode_reading(read.message, lifter="a") == decode_reading(read.message, lifter="a")
        assert getattr(decode_reading(read.message, lifter="a"), "reason", "") == "not_json"
        return
    assert read.message == message or json.loads(read.message) == json.loads(text)


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=200))
def test_any_line_is_read_or_bad_and_never_raises(text: bytes) -> None:
    for line in read_recording([text, b'{"topic":"t","payload":' + text + b"}"]):
        assert isinstance(line, RecordingLine | BadLine)


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_number_that_is_not_finite_is_never_written(value: float) -> None:
    with pytest.raises(ValueError, match="JSON compliant"):
        write_line("t", {"a": [value]})
    with pytest.raises(ValueError, match="received_s is"):
        write_line("t", {}, value)


# Files


@pytest.mark.parametrize("name", ["lift.jsonl", "lift.jsonl.gz"])
def test_file_is_read_plain_or_packed(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(gzip.compress(GOOD * 3) if name.endswith("gz") else GOOD * 3)
    assert [line.line_n for line in read_recording_file(path)] == [1, 2, 3]


def test_last_line_cut_off_by_a_crash_is_bad_and_the_rest_read(tmp_path: Path) -> None:
    path = tmp_path / "lift.jsonl"
    path.write_bytes(GOOD + GOOD[:70])
    assert [type(line) for line in read_recording_file(path)] == [RecordingLine, BadLine]


def test_packed_file_cut_off_gives_what_it_holds(tmp_path: Path) -> None:
    path = tmp_path / "lift.jsonl.gz"
    noise = b"".join(write_line(TOPIC, {"n": n * 7919 % 65_537}) for n in range(20_000))
    packed = gzip.compress(noise)
    path.write_bytes(packed[: len(packed) // 2])
    lines = list(read_recording_file(path))
    assert len(lines) > 1000
    assert isinstance(lines[-1], BadLine)
    assert lines[-1].reason == "broken_file"


def test_file_that_is_not_packed_says_so(tmp_path: Path) -> None:
    path = tmp_path / "lift.jsonl.gz"
    path.write_bytes(GOOD)
    [bad] = read_recording_file(path)
    assert isinstance(bad, BadLine)
    assert bad.reason == "broken_file"


def test_line_without_end_is_one_bad_line_in_little_memory(tmp_path: Path) -> None:
    path = tmp_path / "lift.jsonl"
    path.write_bytes(b'{"topic":"t' + b"x" * (3 * MAX_LINE_BYTES) + b"\n" + GOOD)
    bad, good = read_recording_file(path)
    assert isinstance(bad, BadLine)
    assert (bad.line_n, bad.reason) == (1, "too_large")
    assert isinstance(good, RecordingLine)
    assert good.line_n == 2


def test_missing_file_is_the_callers_to_tell(tmp_path: Path) -> None:
    with pytest.raises(FileNotFoundError):
        next(read_recording_file(tmp_path / "none.jsonl"))
