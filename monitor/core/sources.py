"""What the wire must know of a source whose messages are not Holdwatch's own: plain checked values, from the site file."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Format(StrEnum):
    """How a source's payload is written."""

    JSON = "json"
    NUMBER = "number"
    CSV = "csv"
    TEXT = "text"
    BINARY = "binary"
    SENML = "senml"
    SPARKPLUG = "sparkplug"


class Reads(StrEnum):
    """What a pressure counts from: below ambient and positive, from ambient and negative below it, or from zero."""

    VACUUM = "vacuum"
    GAUGE = "gauge"
    ABSOLUTE = "absolute"


class TimeUnit(StrEnum):
    """How a device writes its time."""

    S = "s"
    MS = "ms"
    US = "us"
    NS = "ns"
    TEXT = "text"


class Encoding(StrEnum):
    """What a binary payload is wrapped in."""

    BYTES = "bytes"
    HEX = "hex"
    BASE64 = "base64"


@dataclass(frozen=True, slots=True)
class Pick:
    """A step of a path into a list: the first object in it whose ``key`` is ``value``."""

    key: str
    value: str


Step = str | int | Pick
"""A step of a path: a key, a place in a list (0 is the first, -1 the last), or a pick."""


@dataclass(frozen=True, slots=True)
class BinaryField:
    """One field of a binary payload: its name, code and first byte.

    The code is ``struct``'s; u24 and i24 are whole numbers of three bytes; an s in front means that the two 16-bit words of
    the number stand the wrong way round, as many Modbus gateways send them.
    """

    name: str
    code: str
    start: int


@dataclass(frozen=True, slots=True)
class ValueRule:
    """One value of a reading, and how it is got.

    ``to`` is the field's path in a reading, ``{circuit}`` in it standing for the topic's level. ``at`` says where the raw
    value stands: a path in JSON, a column (from 0) of CSV, a field, record or metric name. A raw number outside
    ``fault_below`` to ``fault_above`` is a broken loop, not a value. It becomes ``raw * scale + offset`` in ``unit``,
    which is then turned into the field's own unit and, as ``reads`` says, into vacuum. Of a whole number only ``bit`` counts
    where one is given. ``words`` are looked up before anything else.
    """

    to: tuple[str, ...]
    at: tuple[Step, ...] = ()
    unit: str = ""
    reads: Reads = Reads.VACUUM
    scale: float = 1.0
    offset: float = 0.0
    fault_below: float | None = None
    fault_above: float | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    bit: int | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """One kind of message. ``topic`` is an MQTT filter in which ``{lifter}`` and ``{circuit}`` may name a level.

    A message counts only if every place in ``where`` holds its text. ``each_at`` is where a list of messages stands, ``()``
    for the message itself, None for none. ``inside_at`` is where the payload stands in a JSON message around it; times, counts
    and ``where`` are then read from around it.
    """

    topic: str
    format: Format
    values: tuple[ValueRule, ...] = ()
    lifter: str | None = None
    names: Mapping[str, str] = field(default_factory=dict)
    time_at: tuple[Step, ...] = ()
    time_unit: TimeUnit = TimeUnit.S
    time_zone: str = ""
    time_format: str = ""
    seq_at: tuple[Step, ...] = ()
    boot_at: tuple[Step, ...] = ()
    where: tuple[tuple[tuple[Step, ...], str], ...] = ()
    inside_at: tuple[Step, ...] = ()
    each_at: tuple[Step, ...] | None = None
    columns: tuple[str, ...] = ()
    header_lines: int = 0
    pattern: str = ""
    separator: str = ","
    decimal: str = "."
    byte_order: str = ">"
    fields: tuple[BinaryField, ...] = ()
    size_bytes: int = 0
    encoding: Encoding = Encoding.BYTES
    ask_rebirth: bool = False
