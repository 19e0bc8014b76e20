"""Messages that are not Holdwatch's own, turned into values of a reading as the site file's sources say.

Strict like the native decoder and just as quiet: nothing raises, one bad field costs that field, and what could not be
read says why. What a message does not hold is not given; nothing is made up for it.
"""

import base64
import csv
import math
import re
import struct
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial
from typing import Final, Literal
from zoneinfo import ZoneInfo

from monitor.core.readings import PLAUSIBLE, Pump, Refusal, Rejected, Valve
from monitor.core.sent_units import to_own
from monitor.core.sources import BinaryField, Encoding, Format, Pick, Reads, Source, Step, TimeUnit, ValueRule
from monitor.wire.reading_json import (
    EARLIEST_UTC_S,
    LATEST_UTC_S,
    MAX_BYTES,
    boot_of,
    flag_of,
    number_in,
    parse_json,
    rfc_3339_utc_s,
    seq_of,
    shown,
)
from monitor.wire.topics import ID

Path = tuple[str, ...]
Value = float | bool | Pump | Valve
MOST_LINES: Final = 1000
MOST_TEXT_CHARS: Final = 4096
"""What a regular expression is let loose on."""

_PER_S: Final = {TimeUnit.S: 1.0, TimeUnit.MS: 1e3, TimeUnit.US: 1e6, TimeUnit.NS: 1e9}
_NUMBER: Final = re.compile(
    r"\s*([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,4})?)\s*([A-Za-z°%][^\s]{0,15})?\s*"
)
_WORDS: Final[Mapping[str, Mapping[str, Value]]] = {
    "pump": {"on": Pump.ON, "true": Pump.ON, "1": Pump.ON, "off": Pump.OFF, "false": Pump.OFF, "0": Pump.OFF},
    "release_valve": {str(valve): valve for valve in Valve},
    "lifter_alarm": {"true": True, "1": True, "false": False, "0": False},
}


@dataclass(frozen=True, slots=True)
class Part:
    """What one message said of one lifter. Parts of one ``stream`` follow each other; two streams know nothing of it."""

    lifter: str
    stream: str
    values: Mapping[Path, Value]
    refused: tuple[Refusal, ...] = ()
    sent_utc_s: float | None = None
    seq: int | None = None
    boot: str | None = None


@dataclass(frozen=True, slots=True)
class Unreadable:
    """A message of a source that could not be read; ``lifter`` is None where not even that was known."""

    lifter: str | None
    rejected: Rejected


Get = Callable[[tuple[Step, ...]], object]
"""Gives the raw value at a place, or None where there is none."""


@dataclass(frozen=True, slots=True)
class Route:
    """A source and its topics."""

    source: Source
    pattern: re.Pattern[str] = field(init=False)

    def __post_init__(self) -> None:
        """Make the pattern of the source's topics."""
        object.__setattr__(
            self,
            "pattern",
            re.compile("/".join(map(_level, self.source.topic.split("/"))).replace("/(?:/.*)?", "(?:/.*)?")),
        )

    @property
    def subscription(self) -> str:
        """The MQTT filter to subscribe to."""
        return re.sub(r"\{(lifter|circuit)\}", "+", self.source.topic)

    def place(self, topic: str) -> Mapping[str, str] | Unreadable | None:
        """The lifter and circuit a topic names; None when it is not this source's."""
        levels = self.pattern.fullmatch(topic)
        if levels is None:
            return None
        names = {kind: self.source.names.get(seen, seen) for kind, seen in levels.groupdict().items()}
        lifter = self.source.lifter or names["lifter"]
        if not ID.fullmatch(lifter):
            return Unreadable(None, Rejected("wrong_shape", f"lifter {shown(lifter)} in the topic"))
        if not ID.fullmatch(names.get("circuit", "-")):
            return Unreadable(lifter, Rejected("wrong_shape", f"circuit {shown(names['circuit'])} in the topic"))
        return {**names, "lifter": lifter}


def read_message(route: Route, topic: str, payload: bytes) -> list[Part | Unreadable]:
    """Read one message by a source that is neither SenML nor Sparkplug.

    Args:
        route: The source and its topics.
        topic: The message's topic.
        payload: Its bytes, whatever they are.

    Returns:
        Nothing when the topic is not the source's; else one part (of CSV one a line), or why it could not be read.

    Check: "-623 mbar" by a rule that reads gauge for ``circuits.A.vacuum_kpa`` is 62.3.
    """
    place = route.place(topic)
    if place is None:
        return []
    if isinstance(place, Unreadable):
        return [place]
    if len(payload) > MAX_BYTES:
        return [Unreadable(place["lifter"], Rejected("too_large", f"{len(payload)} bytes"))]
    source = route.source
    try:
        around = None
        if source.inside_at:
            around = partial(walk, parse_json(payload))
            payload = _inside(around(source.inside_at))
        messages = list(_READERS[source.format](source, payload))
        stream = _stream(source, topic)
        return [part_of(source, place, stream, get, around) for get in messages if _counts(source, around or get)]
    except ValueError as error:
        return [Unreadable(place["lifter"], Rejected("wrong_shape", f"{error}: {payload[:40]!r}"))]


def _stream(source: Source, topic: str) -> str:
    """The topic; where several senders share one, what tells this sender's messages apart belongs to it."""
    return "\n".join([topic, *(f"{at}={text}" for at, text in source.where)])


def _inside(found: object) -> bytes:
    if not isinstance(found, str):
        raise ValueError(f"no text where inside_at says, found {shown(found)}")  # noqa: TRY004 - a message's fault
    return found.encode()


def _counts(source: Source, get: Get) -> bool:
    """Whether every place holds what the site file asks for."""
    return all(_as_text(get(at)) == text for at, text in source.where)


def _as_text(raw: object) -> str:
    return str(raw).lower() if isinstance(raw, bool) else raw.strip() if isinstance(raw, str) else shown(raw)


def part_of(source: Source, place: Mapping[str, str], stream: str, get: Get, around: Get | None = None) -> Part:
    """Make the part of a message whose raw values ``get`` gives; its time and counts come from ``around``, if given."""
    told = around or get
    refused: list[Refusal] = []
    values: dict[Path, Value] = {}
    for rule in source.values:
        raw = get(rule.at)
        if raw is None:
            continue
        path = tuple(place["circuit"] if step == "{circuit}" else step for step in rule.to)
        take_value(values, path, raw, rule, refused, decimal=source.decimal)
    return Part(
        lifter=place["lifter"],
        stream=stream,
        values=values,
        sent_utc_s=_sent_utc_s(told(source.time_at), source, refused) if source.time_at else None,
        seq=seq_of(_as_number(told(source.seq_at), source.decimal), refused) if source.seq_at else None,
        boot=boot_of(told(source.boot_at), refused) if source.boot_at else None,
        refused=tuple(refused),
    )


def take_value(
    values: dict[Path, Value], path: Path, raw: object, rule: ValueRule, refused: list[Refusal], *, decimal: str = "."
) -> None:
    """Turn one raw value into the field's own unit and sign, and put it under its path; or refuse it."""
    where = ".".join(path)
    name = path[-1]
    if rule.bit is not None:
        whole = _as_number(raw, decimal)
        if not isinstance(whole, int | float) or isinstance(whole, bool) or whole != int(whole):
            refused.append(Refusal(where, "not_a_number", shown(raw)))
            return
        raw = int(whole) >> rule.bit & 1
    if name in _WORDS:
        _take_word(values, path, raw, rule, refused)
        return
    span = PLAUSIBLE["vacuum_kpa" if path[2:3] == ("gauges",) else name]
    if decimal == "," and isinstance(raw, str) and "." in raw:  # "1.234" may be a thousand
        refused.append(Refusal(where, "not_a_number", shown(raw)))
        return
    number, unit = _with_unit(raw, rule.unit, decimal)
    if not isinstance(number, int | float) or isinstance(number, bool):
        refused.append(Refusal(where, "not_a_number", shown(raw)))
        return
    if not _in_loop(number, rule):
        refused.append(Refusal(where, "out_of_range", shown(raw)))
        return
    sent = float(number) if abs(number) < 1e300 else math.inf  # an integer may be beyond any float
    own = to_own(sent * rule.scale + rule.offset, unit, span.unit)
    if own is None:
        refused.append(Refusal(where, "not_known", shown(raw)))
        return
    if rule.reads is Reads.ABSOLUTE:
        path, span = (*path[:-1], "pressure_abs_kpa"), PLAUSIBLE["pressure_abs_kpa"]
    value = -own if rule.reads is Reads.GAUGE else own
    if span.holds(value):
        values[path] = float(value)
    else:
        reason = "out_of_range" if abs(value) < math.inf else "not_finite"
        refused.append(Refusal(where, reason, f"{shown(raw)} as {value:.6g} {span.unit}"))


def _take_word(values: dict[Path, Value], path: Path, raw: object, rule: ValueRule, refused: list[Refusal]) -> None:
    text = _as_text(raw)
    known = _WORDS[path[-1]]
    word = known.get(rule.words[text]) if text in rule.words else known.get(text.lower())
    if word is not None:
        values[path] = word
    elif path[-1] != "lifter_alarm":
        refused.append(Refusal(".".join(path), "not_known", shown(raw)))
    elif (said := flag_of(raw, path[-1], refused)) is not None:
        values[path] = said  # an alarm said in another way still alarms


def _in_loop(number: float, rule: ValueRule) -> bool:
    return not (
        (rule.fault_below is not None and number < rule.fault_below)
        or (rule.fault_above is not None and number > rule.fault_above)
    )


def _with_unit(raw: object, unit: str, decimal: str) -> tuple[object, str]:
    """The number in a text and its unit; a number is itself and in the rule's unit."""
    if not isinstance(raw, str):
        return raw, unit
    parts = _NUMBER.fullmatch(raw.replace(decimal, ".") if decimal == "," and "." not in raw else raw)
    if parts is None:
        return None, unit
    return float(parts[1]), parts[2] or unit


def _as_number(raw: object, decimal: str) -> object:
    if not isinstance(raw, str):
        return raw
    number, unit = _with_unit(raw, "", decimal)
    return raw if number is None or unit else number


def _sent_utc_s(raw: object, source: Source, refused: list[Refusal]) -> float | None:
    if raw is None:
        return None
    if source.time_unit is TimeUnit.TEXT:
        stamp = _text_utc_s(raw.strip(), source) if isinstance(raw, str) else None
        if stamp is None:
            refused.append(Refusal("time", "wrong_shape", shown(raw)))
            return None
        return number_in(stamp, EARLIEST_UTC_S, LATEST_UTC_S, "time", refused)
    number = _as_number(raw, source.decimal)
    per_s = _PER_S[source.time_unit]
    counted = number_in(number, EARLIEST_UTC_S * per_s, LATEST_UTC_S * per_s, "time", refused)
    return None if counted is None else counted / per_s


def _text_utc_s(text: str, source: Source) -> float | None:
    """A text time: RFC 3339, or as the source's format says, in its zone where it names none itself."""
    if not source.time_format and (said := rfc_3339_utc_s(text)) is not None:
        return said
    try:
        form = source.time_format
        read = datetime.strptime(text, form) if form else datetime.fromisoformat(text)  # noqa: DTZ007 - the zone follows
        if read.tzinfo is None:
            if not source.time_zone:
                return None
            read = read.replace(tzinfo=ZoneInfo(source.time_zone))
        return read.timestamp()
    except (ValueError, OverflowError):
        return None


def _json(source: Source, payload: bytes) -> Iterator[Get]:
    message = parse_json(payload)
    if source.each_at is None:
        yield lambda at: walk(message, at)
        return
    entries = walk(message, source.each_at)
    if not isinstance(entries, list) or len(entries) > MOST_LINES:
        raise ValueError(f"no list of at most {MOST_LINES} messages where each_at says, found {shown(entries)}")
    for entry in entries:
        yield partial(walk, entry)


def walk(message: object, at: Sequence[Step]) -> object:
    """What stands at a path in parsed JSON; None where there is nothing."""
    for step in at:
        match step, message:
            case str(), dict():
                message = message.get(step)
            case int(), list():
                message = message[step] if -len(message) <= step < len(message) else None
            case Pick(key, value), list():
                fitting = (item for item in message if isinstance(item, dict) and str(item.get(key)) == value)
                message = next(fitting, None)
            case _:
                return None
    return message


def _number(_: Source, payload: bytes) -> Iterator[Get]:
    text = _text_of(payload).strip()
    yield lambda _: text or None


def _text_of(payload: bytes) -> str:
    """UTF-8, with or without a byte order mark; senders in C may leave the final zero on."""
    return payload.rstrip(b"\0").decode("utf-8-sig")


def _text(source: Source, payload: bytes) -> Iterator[Get]:
    text = _text_of(payload)
    if len(text) > MOST_TEXT_CHARS:
        raise ValueError(f"{len(text)} characters, more than {MOST_TEXT_CHARS}")
    found = re.search(source.pattern, text)
    if found is None:
        raise ValueError("pattern is not in it")
    named = found.groupdict()
    yield lambda at: named.get(str(at[0]))


def _csv(source: Source, payload: bytes) -> Iterator[Get]:
    lines = [line for line in _text_of(payload).splitlines() if line.strip()][source.header_lines :]
    if len(lines) > MOST_LINES:
        raise ValueError(f"more than {MOST_LINES} lines")
    try:
        rows = list(csv.reader(lines, delimiter=source.separator, strict=True, skipinitialspace=True))
    except csv.Error as error:
        raise ValueError(str(error)) from error
    columns = list(source.columns)
    asked = _column_names(source)
    for row in rows:
        cells = [cell.strip() for cell in row]
        if asked and asked <= set(cells):
            columns = cells  # a line that names the columns; it may stand anywhere
        elif asked and not columns:
            raise ValueError(f"no line names the columns {', '.join(sorted(asked))}")
        else:
            yield partial(_column, cells, columns)


def _column_names(source: Source) -> set[str]:
    """The columns that the rules call by name."""
    places = [rule.at for rule in source.values] + [at for at, _ in source.where]
    places += [source.time_at, source.seq_at, source.boot_at]
    return {at[0] for at in places if at and isinstance(at[0], str)}


def _column(row: Sequence[str], columns: Sequence[str], at: Sequence[Step]) -> str | None:
    place = at[0] if isinstance(at[0], int) else columns.index(str(at[0])) if at[0] in columns else len(row)
    return (row[place] or None) if place < len(row) else None


def _binary(source: Source, payload: bytes) -> Iterator[Get]:
    match source.encoding:
        case Encoding.HEX:
            payload = bytes.fromhex(payload.decode())
        case Encoding.BASE64:
            payload = base64.b64decode(payload.strip(), validate=True)
    if len(payload) != source.size_bytes:
        raise ValueError(f"{len(payload)} bytes, not {source.size_bytes}")
    values = {item.name: _field(item, payload, source.byte_order) for item in source.fields}
    yield lambda at: values.get(str(at[0]))


def _field(item: BinaryField, payload: bytes, byte_order: str) -> float:
    if item.code in ("u24", "i24"):
        order: Literal["big", "little"] = "big" if byte_order == ">" else "little"
        return int.from_bytes(payload[item.start : item.start + 3], order, signed=item.code == "i24")
    if item.code.startswith("s"):
        raw = payload[item.start : item.start + 4]
        return float(struct.unpack(byte_order + item.code[1:], raw[2:] + raw[:2])[0])
    value: float = struct.unpack_from(byte_order + item.code, payload, item.start)[0]
    return value


_READERS: Final[Mapping[Format, Callable[[Source, bytes], Iterator[Get]]]] = {
    Format.JSON: _json,
    Format.NUMBER: _number,
    Format.CSV: _csv,
    Format.TEXT: _text,
    Format.BINARY: _binary,
}


def _level(level: str) -> str:
    match level:
        case "{lifter}" | "{circuit}":
            return f"(?P<{level[1:-1]}>[^/]+)"
        case "+":
            return "[^/]*"
        case "#":
            return "(?:/.*)?"
        case _:
            return re.escape(level)
