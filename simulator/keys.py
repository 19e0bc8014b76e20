"""The keys a scenario file may hold, declared with unit, range and default; a check tells every fault at once."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import Enum, auto
from typing import Final


class Kind(Enum):
    """What stands behind a key."""

    NUMBER = "a number"
    WHOLE = "a whole number"
    FLAG = "true or false"
    TEXT = "text in quotes"
    TEXTS = "a list of texts"
    TABLE = "a table"
    TABLES = "a list of tables"


class _Required(Enum):
    """The default of a key that has none."""

    REQUIRED = auto()


REQUIRED: Final = _Required.REQUIRED


@dataclass(frozen=True, slots=True)
class Key:
    """One key: ``unit`` and ``says`` are its documentation, ``low`` and ``high`` its range, ends included."""

    name: str
    says: str
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    default: object = REQUIRED
    kind: Kind = Kind.NUMBER
    one_of: tuple[str, ...] = ()


def read_table(table: object, keys: Iterable[Key], *, where: str, faults: list[str]) -> dict[str, object]:
    """Check one table against its keys.

    Args:
        table: What the file holds there.
        keys: What it may hold.
        where: How a message calls the place, for example ``wind.toml: [weather]``.
        faults: Every fault found is added here, one sentence each.

    Returns:
        Every key with its value or its default; a key at fault is left out.
    """
    known = {key.name: key for key in keys}
    if not isinstance(table, Mapping):
        faults.append(f"{where} is {_shown(table)}; it must be a table of keys ({', '.join(known)}).")
        return {}
    for name in table:
        if name not in known:
            near = get_close_matches(str(name), known, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            faults.append(f"{where}, {name} is not a key.{hint} Allowed here: {', '.join(known)}.")
    values: dict[str, object] = {}
    for key in known.values():
        if key.name not in table:
            if key.default is REQUIRED:
                faults.append(f"{where}, {key.name} is missing; it must be given: {_allowed(key)}.")
            else:
                values[key.name] = key.default
        elif _fits(table[key.name], key):
            value = table[key.name]
            values[key.name] = float(value) if key.kind is Kind.NUMBER else value
        else:
            faults.append(f"{where}, {key.name} is {_shown(table[key.name])}; it must be {_allowed(key)}.")
    return values


def nearest(name: str, known: Iterable[str]) -> str:
    """`` Did you mean X?`` for a name that is not known, or nothing."""
    near = get_close_matches(name, list(known), n=1)
    return f" Did you mean {near[0]}?" if near else ""


def _fits(value: object, key: Key) -> bool:
    match key.kind:
        case Kind.NUMBER | Kind.WHOLE:
            is_number = type(value) is int or (key.kind is Kind.NUMBER and type(value) is float)
            return is_number and math.isfinite(value) and key.low <= value <= key.high  # type: ignore[arg-type,operator]
        case Kind.FLAG:
            return isinstance(value, bool)
        case Kind.TEXT:
            return isinstance(value, str) and value != "" and (not key.one_of or value in key.one_of)
        case Kind.TEXTS:
            return isinstance(value, list) and all(
                isinstance(item, str) and (not key.one_of or item in key.one_of) for item in value
            )
        case Kind.TABLE:
            return isinstance(value, Mapping)
        case Kind.TABLES:
            return isinstance(value, list)


def _allowed(key: Key) -> str:
    unit = f" ({key.unit})" if key.unit else ""
    if key.one_of:
        return f"{key.kind.value} of {', '.join(key.one_of)}"
    if math.isfinite(key.low) or math.isfinite(key.high):
        return f"{key.kind.value} in {key.low:g} to {key.high:g}{unit}"
    return f"{key.kind.value}{unit}"


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."
