"""Recordings: JSON Lines, one message a line: ``{"topic": "...", "payload": {...}, "received": 1764019200.2}``.

``received`` is UTC epoch seconds and optional; ``"retained": true`` marks a leftover. A payload that is no JSON (the
words ``online`` and ``offline``, or rubbish) stands as JSON text and is taken as that text's bytes again when read.
Bytes that are no text stand in base64, and ``"base64": true`` says so. A line that cannot be read never ends the
reading: it comes out as ``BadLine``, with its topic where that could be found.
"""

import gzip
import json
import math
import re
import zlib
from base64 import b64decode, b64encode
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final, TypeGuard, cast

import msgspec

from monitor.wire.reading_json import LATEST_UTC_S, parse_json, sent_utc_s, shown
from monitor.wire.status_json import encode_json

MAX_LINE_BYTES: Final = 1_048_576
_TOPIC: Final = re.compile(rb'"topic"\s*:\s*"([^"\\]{1,512})"')
_FOUND_CHARS: Final = 60


class _Line(msgspec.Struct, omit_defaults=True):
    topic: str
    payload: msgspec.Raw
    received: float | None = None
    retained: bool = False
    base64: bool = False


_LINES: Final = msgspec.json.Decoder(_Line)


@dataclass(frozen=True, slots=True)
class RecordingLine:
    """One message of a recording. ``payload`` is parsed JSON, ``message`` the bytes as they came over the wire."""

    topic: str
    payload: object
    received_s: float | None
    retained: bool
    line_n: int
    message: bytes


@dataclass(frozen=True, slots=True)
class BadLine:
    """A line that is not of this form, to be judged as a message that could not be read.

    ``reason`` is one of ``too_large``, ``not_json``, ``wrong_shape``, ``no_topic``, ``no_payload``, ``bad_received``,
    ``bad_retained``, ``bad_base64``, ``broken_file`` (what follows could not be unpacked). ``topic`` is None where none
    could be found.
    """

    line_n: int
    reason: str
    found: str
    topic: str | None = None


def read_recording(lines: Iterable[bytes]) -> Iterator[RecordingLine | BadLine]:
    """Read a recording line by line, in constant memory; blank lines are passed over."""
    for line_n, line in enumerate(lines, start=1):
        if line.strip():
            yield _read_line(line, line_n)


def read_recording_file(path: Path) -> Iterator[RecordingLine | BadLine]:
    """Read a recording file, unpacking it when its name ends in ``.gz``.

    Raises:
        OSError: The file cannot be opened or read.
    """
    with cast("IO[bytes]", gzip.open(path) if path.suffix == ".gz" else path.open("rb")) as file:
        line_n = 0
        try:
            while line := file.readline(MAX_LINE_BYTES + 1):
                line_n += 1
                if line.strip():
                    yield _read_line(line, line_n)
                while len(line) > MAX_LINE_BYTES and not line.endswith(b"\n"):
                    line = file.readline(MAX_LINE_BYTES + 1)
        except (EOFError, gzip.BadGzipFile, zlib.error) as error:
            yield BadLine(line_n + 1, "broken_file", str(error))


def write_line(topic: str, payload: object, received_s: float | None = None, retained: bool = False) -> bytes:
    """One line of a recording, newline included, keys in the order of the format and without spaces.

    Args:
        topic: The message's topic.
        payload: Parsed JSON, or the message's own bytes.
        received_s: When it arrived, UTC epoch seconds; None leaves it out.
        retained: Whether it was a leftover.

    Raises:
        ValueError: A number in the payload is not finite, or ``received_s`` is not.
    """
    if received_s is not None and not math.isfinite(received_s):
        raise ValueError(f"received_s is {received_s}; it must be UTC epoch seconds")
    raw, in_base64 = _as_json(payload) if isinstance(payload, bytes) else (encode_json(payload), False)
    line = _Line(topic, msgspec.Raw(raw), received_s, retained, in_base64)
    return msgspec.json.encode(line) + b"\n"


def line_time_s(line: RecordingLine) -> float | None:
    """When a line's message came, UTC epoch seconds: ``received``, else the payload's own time, else None."""
    if line.received_s is not None or not isinstance(line.payload, dict):
        return line.received_s
    return sent_utc_s(line.payload.get("time"), [])


def _as_json(message: bytes) -> tuple[bytes, bool]:
    """A message's bytes as the JSON that stands for them in a recording, and whether that is base64."""
    try:
        if isinstance(msgspec.json.decode(message), dict | list | int | float):
            return msgspec.json.format(message, indent=-1), False
    except (ValueError, RecursionError):
        pass
    try:
        return msgspec.json.encode(message.decode()), False
    except UnicodeDecodeError:
        return msgspec.json.encode(b64encode(message).decode()), True


def _message(payload: object, raw: bytes) -> bytes:
    return payload.encode(errors="replace") if isinstance(payload, str) else raw


def _read_line(line: bytes, line_n: int) -> RecordingLine | BadLine:
    if len(line) > MAX_LINE_BYTES:
        return _bad(line, line_n, "too_large", f"over {MAX_LINE_BYTES} bytes")
    try:
        read = _LINES.decode(line)
        payload = msgspec.json.decode(read.payload)
    except (ValueError, RecursionError):
        return _read_odd_line(line, line_n)
    if not read.topic:
        return _bad(line, line_n, "no_topic", shown(read.topic))
    if not _is_time(read.received):
        return _bad(line, line_n, "bad_received", shown(read.received))
    message = _message(payload, bytes(read.payload))
    if read.base64:
        try:
            message = b64decode(message, validate=True)
        except ValueError:
            return _bad(line, line_n, "bad_base64", shown(payload))
        payload = message.decode(errors="replace")
    return RecordingLine(read.topic, payload, read.received, read.retained, line_n, message)


def _read_odd_line(line: bytes, line_n: int) -> RecordingLine | BadLine:
    """A line the quick way refused: say why, or read it after all when only numbers in its payload are not finite."""
    try:
        read = parse_json(line)
    except ValueError:
        return _bad(line, line_n, "not_json", ascii(line[:_FOUND_CHARS].decode(errors="replace")))
    if not isinstance(read, dict):
        return _bad(line, line_n, "wrong_shape", shown(read))
    topic, received, retained = read.get("topic"), read.get("received"), read.get("retained", False)
    if not isinstance(topic, str) or not topic:
        return _bad(line, line_n, "no_topic", shown(topic))
    if "payload" not in read:
        return _bad(line, line_n, "no_payload", shown(read))
    if not _is_time(received):
        return _bad(line, line_n, "bad_received", shown(received))
    if not isinstance(retained, bool):
        return _bad(line, line_n, "bad_retained", shown(retained))
    payload = read["payload"]
    return RecordingLine(
        topic, payload, received and float(received), retained, line_n, _message(payload, json.dumps(payload).encode())
    )


def _is_time(received: object) -> TypeGuard[float | None]:
    return received is None or (type(received) in (int, float) and 0.0 <= received <= LATEST_UTC_S)  # type: ignore[operator]


def _bad(line: bytes, line_n: int, reason: str, found: str) -> BadLine:
    topic = _TOPIC.search(line[:MAX_LINE_BYTES])
    return BadLine(line_n, reason, found, topic[1].decode(errors="replace") if topic else None)
