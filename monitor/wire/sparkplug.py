"""Sparkplug B 3.0, read only: births, data and deaths of edge nodes and their devices.

Topics, sequence and session rules: Eclipse Sparkplug 3.0.0 specification, chapters 4 to 6. The payload is the published
protobuf definition (proto2, package org.eclipse.tahu.protobuf), declared here field by field and read by the
``protobuf`` library. The specification contradicts itself on the seq of a birth (0, or 0 to 255): any is taken.
"""

import importlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache
from typing import Any, Final

from monitor.wire.by_name import Named
from monitor.wire.reading_json import MAX_BYTES

NAMESPACE: Final = "spBv1.0"
REBIRTH: Final = "Node Control/Rebirth"
MOST_METRICS: Final = 2000
MOST_NODES: Final = 1000
ASK_AGAIN_S: Final = 10.0
"""A node is asked for a rebirth this often at most."""

_BOOLEAN: Final = 11
_SEQ_ROUND_N: Final = 256
_SIGNED_BITS: Final = {1: 8, 2: 16, 3: 32, 4: 64}
"""Int8 to Int64 travel as unsigned numbers in two's complement."""

_UNIT_PROPERTY: Final = "engUnit"
"""The property that names a metric's unit (common practice; the specification leaves it open)."""

_FIELDS: Final = {
    "Payload": "1 timestamp uint64; 2 metrics *Metric; 3 seq uint64",
    "Metric": (
        "1 name string; 2 alias uint64; 3 timestamp uint64; 4 datatype uint32; 5 is_historical bool; 7 is_null bool; "
        "9 properties PropertySet; 10 int_value uint32; 11 long_value uint64; 12 float_value float; "
        "13 double_value double; 14 boolean_value bool; 15 string_value string"
    ),
    "PropertySet": "1 keys *string; 2 values *PropertyValue",
    "PropertyValue": "1 type uint32; 2 is_null bool; 8 string_value string",
}
_VALUE_FIELDS: Final = ("int_value", "long_value", "float_value", "double_value", "boolean_value", "string_value")


@dataclass(frozen=True, slots=True)
class Metric:
    """One metric as it travels; ``name`` is empty where only the alias was sent, ``value`` None where it is null."""

    name: str
    alias: int | None
    value: float | bool | str | None
    unit: str = ""
    time_utc_s: float | None = None
    is_historical: bool = False


@dataclass(frozen=True, slots=True)
class Payload:
    """A decoded payload. ``seq`` is None on a death."""

    time_utc_s: float | None
    seq: int | None
    metrics: tuple[Metric, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """What a node or device told: live values, and those it marked as historical, which never are."""

    items: tuple[Named, ...]
    historical: tuple[Named, ...] = ()


@dataclass(frozen=True, slots=True)
class Lives:
    """A node (``device`` empty) or device was born or died."""

    node: str
    device: str
    online: bool


@dataclass(frozen=True, slots=True)
class Missed:
    """Something of a node was missed (``reason``: seq, alias, birth): only a rebirth tells what it means now."""

    node: str
    reason: str
    n: int = 0
    """Messages left out by the node's count, which goes round at 256; 0 where that is not known."""


@dataclass(slots=True)
class _Node:
    online: bool = False
    bd_seq: int | None = None
    seq: int | None = None
    names: dict[str, dict[int, tuple[str, str]]] = field(default_factory=dict)  # device -> alias -> name, unit


@dataclass(slots=True)
class Host:
    """What is remembered of every edge node heard."""

    nodes: dict[str, _Node] = field(default_factory=dict)

    def take(self, topic: str, payload: bytes) -> list[Told | Lives | Missed]:
        """Read one message on a Sparkplug topic.

        Raises:
            ValueError: The payload is not Sparkplug's.
        """
        levels = topic.split("/")
        if len(levels) not in (4, 5) or levels[0] != NAMESPACE:
            return []
        kind, node_id, device = levels[2], f"{levels[1]}/{levels[3]}", (levels[4] if len(levels) == 5 else "")
        if kind not in ("NBIRTH", "NDEATH", "NDATA", "DBIRTH", "DDEATH", "DDATA") or (kind[0] == "D") is not bool(
            device
        ):
            return []
        read = decode_payload(payload)
        if node_id not in self.nodes and len(self.nodes) >= MOST_NODES:
            raise ValueError(f"more than {MOST_NODES} edge nodes")
        node = self.nodes.setdefault(node_id, _Node())
        if kind == "NDEATH":
            return _node_death(node, node_id, read)
        return list(_others(node, node_id, device, kind, read))


def _node_death(node: _Node, node_id: str, read: Payload) -> list[Told | Lives | Missed]:
    """A death whose bdSeq is not the last birth's is an old will and means nothing."""
    if node.bd_seq is not None and _bd_seq(read) != node.bd_seq:
        return []
    node.online, node.seq = False, None
    return [Lives(node_id, "", online=False)]


def _others(node: _Node, node_id: str, device: str, kind: str, read: Payload) -> Iterator[Told | Lives | Missed]:
    expected = None if node.seq is None else (node.seq + 1) % _SEQ_ROUND_N
    node.seq = read.seq
    if kind == "NBIRTH":
        node.online, node.bd_seq, node.names = True, _bd_seq(read), {}
    elif expected is not None and read.seq != expected:
        out_n = 0 if read.seq is None else (read.seq - expected) % _SEQ_ROUND_N
        yield Missed(node_id, "seq", out_n if out_n < _SEQ_ROUND_N // 2 else 0)  # else it came late or twice
    if kind.endswith("BIRTH"):
        node.names[device] = {item.alias: (item.name, item.unit) for item in read.metrics if item.alias is not None}
        yield Lives(node_id, device, online=True)
    elif kind == "DDEATH":
        node.names.pop(device, None)
        yield Lives(node_id, device, online=False)
        return
    elif not node.online or device not in node.names:
        yield Missed(node_id, "birth")
    known = node.names.get(device, {})
    items: list[Named] = []
    historical: list[Named] = []
    unknown = False
    for item in read.metrics:
        name, unit = (item.name, item.unit) if item.name else known.get(item.alias or 0, ("", ""))
        if not unit and item.alias is not None:
            unit = known.get(item.alias, ("", ""))[1]
        unknown |= not name
        if name and item.value is not None:
            named = Named(name, unit, item.value, item.time_utc_s or read.time_utc_s)
            (historical if item.is_historical else items).append(named)
    if unknown:
        yield Missed(node_id, "alias")
    yield Told(tuple(items), tuple(historical))


def _bd_seq(read: Payload) -> int | None:
    values = [item.value for item in read.metrics if item.name == "bdSeq"]
    return int(values[0]) if values and isinstance(values[0], int | float) else None


def decode_payload(payload: bytes) -> Payload:
    """Decode the protobuf of a payload.

    Raises:
        ValueError: It is not one, or the ``protobuf`` library is missing.
    """
    if len(payload) > MAX_BYTES:
        raise ValueError(f"{len(payload)} bytes, more than {MAX_BYTES}")
    message = _classes()["Payload"]()
    try:
        message.ParseFromString(payload)
    except importlib.import_module("google.protobuf.message").DecodeError:
        raise ValueError("no Sparkplug payload") from None
    if len(message.metrics) > MOST_METRICS:
        raise ValueError(f"{len(message.metrics)} metrics, more than {MOST_METRICS}")
    seq = message.seq if message.HasField("seq") else None
    if seq is not None and seq > 255:
        raise ValueError(f"seq is {seq}, more than 255")
    return Payload(_seconds(message), seq, tuple(_metric(item) for item in message.metrics))


def encode_rebirth(now_utc_s: float) -> bytes:
    """The payload that asks an edge node for its births: the one message ever sent to a device."""
    message = _classes()["Payload"](timestamp=int(now_utc_s * 1000))
    message.metrics.add(name=REBIRTH, timestamp=int(now_utc_s * 1000), datatype=_BOOLEAN, boolean_value=True)
    encoded: bytes = message.SerializeToString()
    return encoded


def _metric(item: Any) -> Metric:
    return Metric(
        name=_text(item.name),
        alias=item.alias if item.HasField("alias") else None,
        value=_value(item),
        unit=_unit(item.properties),
        time_utc_s=_seconds(item),
        is_historical=item.is_historical,
    )


def _value(item: Any) -> float | bool | str | None:
    given = [name for name in _VALUE_FIELDS if item.HasField(name)]
    if item.is_null or not given:
        return None
    value: Any = getattr(item, given[-1])
    if isinstance(value, bytes):
        return _text(value)
    bits = _SIGNED_BITS.get(item.datatype)
    if bits is not None and type(value) is int:
        value &= (1 << bits) - 1
        value -= (value >> (bits - 1)) << bits
    return value  # type: ignore[no-any-return]


def _unit(properties: Any) -> str:
    for key, value in zip(properties.keys, properties.values, strict=False):
        if key == _UNIT_PROPERTY and not value.is_null:
            return _text(value.string_value)
    return ""


def _text(found: str | bytes) -> str:
    """A string field; the library gives one that is not UTF-8 as bytes."""
    return found if isinstance(found, str) else found.decode(errors="replace")


def _seconds(message: Any) -> float | None:
    return message.timestamp / 1000.0 if message.HasField("timestamp") else None


@cache
def _classes() -> dict[str, Any]:
    """The message classes of the published definition."""
    try:
        descriptor_pb2 = importlib.import_module("google.protobuf.descriptor_pb2")
        factory = importlib.import_module("google.protobuf.message_factory")
        pool = importlib.import_module("google.protobuf.descriptor_pool").DescriptorPool()
    except ImportError:
        raise ValueError("Sparkplug needs the protobuf library") from None
    file = descriptor_pb2.FileDescriptorProto(
        name="payload.proto", package="org.eclipse.tahu.protobuf", syntax="proto2"
    )
    kinds = descriptor_pb2.FieldDescriptorProto
    for name, fields in _FIELDS.items():
        message = file.message_type.add(name=name)
        for text in fields.split("; "):
            number, field_name, kind = text.split(" ")
            bare = kind.lstrip("*")
            added = message.field.add(
                name=field_name,
                number=int(number),
                label=kinds.LABEL_REPEATED if kind != bare else kinds.LABEL_OPTIONAL,
                type=kinds.TYPE_MESSAGE if bare in _FIELDS else getattr(kinds, f"TYPE_{bare.upper()}"),
            )
            if bare in _FIELDS:
                added.type_name = f".org.eclipse.tahu.protobuf.{bare}"
    pool.Add(file)
    return {
        name: factory.GetMessageClass(pool.FindMessageTypeByName(f"org.eclipse.tahu.protobuf.{name}"))
        for name in _FIELDS
    }
