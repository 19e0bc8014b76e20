"""SenML (RFC 8428) in JSON and CBOR, resolved: every record with its full name, unit, value and absolute time.

CBOR needs the ``cbor2`` library. What the RFC says must not be used (a newer version, a field ending in "_" that is not
known) is refused as a whole.
"""

import importlib
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from monitor.wire.reading_json import MAX_BYTES, parse_json, shown

VERSION: Final = 10
"""Newest version known, and what counts where none is given (RFC 8428, section 4.4)."""

ABSOLUTE_FROM_S: Final = 2.0**28
"""A time below this is relative to now (RFC 8428, section 4.5.3)."""

MOST_RECORDS: Final = 1000
LABELS: Final = {
    -6: "bs", -5: "bv", -4: "bu", -3: "bt", -2: "bn", -1: "bver",
    0: "n", 1: "u", 2: "v", 3: "vs", 4: "vb", 5: "s", 6: "t", 7: "ut", 8: "vd",
}  # fmt: skip
"""The integer labels of CBOR (RFC 8428, section 6)."""

_VALUES: Final = ("v", "vs", "vb", "vd")
_BASE: Final = frozenset({"bn", "bt", "bu", "bv", "bs", "bver"})
_NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9:./_-]*")


@dataclass(frozen=True, slots=True)
class Record:
    """A resolved record. ``time_s`` is UTC epoch seconds; ``update_s`` the longest wait for the next reading, if said."""

    name: str
    unit: str
    value: float | str | bool | bytes | None
    sum: float | None
    time_s: float
    update_s: float | None


def read_senml(payload: bytes, *, now_utc_s: float) -> list[Record]:
    """Read and resolve a pack, JSON or CBOR by its first byte.

    Args:
        payload: The message's bytes.
        now_utc_s: What "now" means for records that say no time.

    Raises:
        ValueError: It is no SenML, or says that it must not be used by this version; the message says why.
    """
    if len(payload) > MAX_BYTES:
        raise ValueError(f"{len(payload)} bytes, more than {MAX_BYTES}")
    return resolve(parse_json(payload) if payload.lstrip()[:1] == b"[" else _cbor(payload), now_utc_s=now_utc_s)


def resolve(pack: object, *, now_utc_s: float) -> list[Record]:
    """Resolve a parsed pack (RFC 8428, section 4.6).

    Raises:
        ValueError: As ``read_senml``.

    Check: base time 1276020076.001 and t -5 is 1276020071.001 (RFC 8428, section 5.1.2).
    """
    if not isinstance(pack, list) or not 1 <= len(pack) <= MOST_RECORDS:
        raise ValueError(f"a pack is a list of 1 to {MOST_RECORDS} records, found {shown(pack)}")
    base: dict[str, Any] = {"bn": "", "bt": 0.0, "bu": "", "bv": 0.0, "bs": 0.0}
    version = next((item["bver"] for item in pack if isinstance(item, dict) and "bver" in item), VERSION)
    if type(version) is not int or not 1 <= version <= VERSION:
        raise ValueError(f"bver is {shown(version)}; versions to {VERSION} are known")
    records = []
    for item in pack:
        if not isinstance(item, dict) or item.get("bver", version) != version:
            raise ValueError(f"a record is an object, of the same bver as the others, found {shown(item)}")
        for label in item:
            if isinstance(label, str) and label.endswith("_"):
                raise ValueError(f"{shown(label)} must be understood and is not")
        for label in ("bt", "bv", "bs"):
            base[label] = _number(item, label, base[label])
        for label in ("bn", "bu"):
            base[label] = _text(item, label, base[label])
        if item.keys() - _BASE or not item:  # a record may carry base fields alone
            records.append(_record(item, base, now_utc_s))
    return records


def _record(item: Mapping[str, Any], base: Mapping[str, Any], now_utc_s: float) -> Record:
    name = base["bn"] + _text(item, "n", "")
    if not _NAME.fullmatch(name):
        raise ValueError(f"the name {shown(name)} is not one of letters, digits and - : . / _")
    given = [label for label in _VALUES if label in item]
    has_sum = "s" in item or base["bs"] != 0.0
    if len(given) > 1 or not (given or has_sum):
        raise ValueError(f"{name} has {len(given)} values, not one")
    time_s = base["bt"] + _number(item, "t", 0.0)
    return Record(
        name=name,
        unit=_text(item, "u", base["bu"]),
        value=_value(item, given[0], base["bv"]) if given else None,
        sum=base["bs"] + _number(item, "s", 0.0) if has_sum else None,
        time_s=time_s if time_s >= ABSOLUTE_FROM_S else now_utc_s + time_s,
        update_s=_number(item, "ut", 0.0) if "ut" in item else None,
    )


def _value(item: Mapping[str, Any], label: str, base_value: float) -> float | str | bool | bytes:
    found = item[label]
    if label == "v":
        return base_value + _number(item, "v", 0.0)
    fits = isinstance(found, {"vs": str, "vb": bool}.get(label, (str, bytes)))
    if not fits:
        raise ValueError(f"{label} is {shown(found)}")
    return found  # type: ignore[no-any-return]


def _number(item: Mapping[str, Any], label: str, default: float) -> float:
    found: object = item.get(label, default)
    try:
        value = float(found) if isinstance(found, int | float | Decimal) and not isinstance(found, bool) else math.nan
    except (OverflowError, ValueError):  # an integer beyond any float, a signalling Decimal
        value = math.nan
    if not math.isfinite(value):
        raise ValueError(f"{label} is {shown(found)}, not a number")
    return value


def _text(item: Mapping[str, Any], label: str, default: str) -> str:
    found = item.get(label, default)
    if isinstance(found, str):
        return found
    raise ValueError(f"{label} is {shown(found)}, not a text")


def _cbor(payload: bytes) -> object:
    try:
        cbor2 = importlib.import_module("cbor2")
    except ImportError:
        raise ValueError("this may be CBOR, which needs the cbor2 library") from None
    try:
        pack = cbor2.loads(payload)
    except (cbor2.CBORError, ValueError, TypeError, OverflowError, RecursionError, EOFError) as error:
        raise ValueError(f"no CBOR: {error}"[:200]) from error
    return [_labelled(item) for item in pack] if isinstance(pack, Sequence) and not isinstance(pack, str) else pack


def _labelled(item: object) -> object:
    if not isinstance(item, Mapping):
        return item
    return {LABELS.get(label, label) if type(label) is int else label: value for label, value in item.items()}
