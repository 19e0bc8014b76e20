"""Reads the tables of a site file against the declared keys; collects every fault instead of stopping at the first."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Final

from monitor.settings.faults import Fault, allowed_text, did_you_mean, found_text, nearest, slipped
from monitor.settings.quantities import QuantityError, read_quantity
from monitor.settings.table import KEYS, Key, Kind, Section, keys_of

ID: Final = re.compile(r"[A-Za-z0-9_-]{1,64}")
_TABLES: Final = frozenset({Kind.TABLE, Kind.TABLES, Kind.NAMED_TABLES})
_WRONG: Final = object()


@dataclass(frozen=True, slots=True)
class InForce:
    """One setting in force, for the log: where it stands, its value, and where that came from."""

    where: str
    value: object
    origin: str


@dataclass(slots=True)
class Findings:
    """What came to light while a site file was read."""

    faults: list[Fault] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    in_force: list[InForce] = field(default_factory=list)

    def fault(self, where: str, says: str, hint: str = "") -> None:
        """Note one thing that is wrong."""
        self.faults.append(Fault(where, says, hint))

    def note(self, where: str, says: str) -> None:
        """Note one thing worth knowing that is not wrong."""
        self.notes.append(f"{where}: {says}")


def read_section(
    section: Section, found: Mapping[str, object], where: str, findings: Findings, outer: Mapping[str, Any]
) -> dict[str, Any]:
    """Check one table of a site file.

    Args:
        section: Which keys it may have.
        found: The table as parsed.
        where: How errors call it, for example ``lifter dock-6, circuit A``; empty for the file itself.
        findings: Takes faults and the settings in force.
        outer: Values a default may be worked out from besides the section's own.

    Returns:
        The values of the section's keys, defaults resolved; a key at fault, or whose default hangs on one, is left out.
        The tables in it are not looked into.
    """
    keys = keys_of(section)
    for name in found:
        if name not in keys:
            findings.fault(_at(where, name), "is not a known key here.", _hint_for_unknown(name, section))
    values: dict[str, Any] = {}
    for name, key in keys.items():
        if key.kind in _TABLES:
            continue
        if name in found:
            value, origin = _value(found[name], key, _at(where, name), findings), "site file"
        elif key.required:
            findings.fault(_at(where, name), f"is missing; it must {allowed_text(key)}.")
            continue
        else:
            value, origin = (
                _default(key, {**outer, **values}),
                f"default ({key.default_says})" if key.derive else "default",
            )
        if value is not _WRONG:
            values[name] = value
            findings.in_force.append(InForce(_at(where, name), value, origin))
    return values


def tables(found: object, where: str, heading: str, findings: Findings) -> list[Mapping[str, Any]]:
    """The tables of a list such as ``[[lifter]]``; anything else is a fault and counts as none."""
    if isinstance(found, list) and all(isinstance(item, dict) for item in found):
        return found
    hint = f"Write {heading} with two brackets above each one." if isinstance(found, dict) else ""
    findings.fault(where, f"is {found_text(found)}; it must be one {heading} table or more.", hint)
    return []


def table(found: object, where: str, heading: str, findings: Findings) -> Mapping[str, Any]:
    """A table such as ``[broker]``; anything else is a fault and counts as empty."""
    if isinstance(found, dict):
        return found
    findings.fault(where, f"is {found_text(found)}; it must be a table under the heading {heading}.")
    return {}


def named_tables(found: object, where: str, heading: str, findings: Findings) -> dict[str, Mapping[str, Any]]:
    """Tables by id such as ``[lifter.circuits.A]``; what has another shape or no proper id is a fault and left out."""
    named: dict[str, Mapping[str, Any]] = {}
    for name, inner in table(found, where, heading, findings).items():
        if not isinstance(inner, dict):
            findings.fault(_at(where, name), f"is {found_text(inner)}; it must be a table under the heading {heading}.")
        elif not ID.fullmatch(name):
            findings.fault(where, f"has the id {found_text(name)}; {ID_RULE}.")
        else:
            named[name] = inner
    return named


ID_RULE: Final = "an id must be 1 to 64 letters, digits, - and _"


def _at(where: str, name: str) -> str:
    name = name if name.isprintable() else ascii(name)
    return f"{where}, {name}" if where else name


def _default(key: Key, values: Mapping[str, Any]) -> object:
    if key.derive is None:
        return key.default
    try:
        return key.derive(values)
    except KeyError:  # hangs on a value that is itself at fault, which has been said
        return _WRONG


def _hint_for_unknown(name: str, section: Section) -> str:
    close = nearest(name, keys_of(section))
    if close is not None:
        return did_you_mean(close)
    elsewhere = [key.section for key in KEYS if key.name == name]
    if elsewhere:
        return "It belongs under " + " or ".join(str(place) or "no heading, at the top" for place in elsewhere) + "."
    return "Leave it out; `/help/settings` lists the keys."


def _value(found: object, key: Key, where: str, findings: Findings) -> object:
    def wrong(hint: str | None = None) -> object:
        findings.fault(where, f"is {found_text(found)}; it must {allowed_text(key)}.", did_you_mean(hint))
        return _WRONG

    match key.kind:
        case Kind.NUMBER | Kind.WHOLE:
            return _number(found, key, where, findings)
        case Kind.FLAG:
            if isinstance(found, bool):
                return found
            return wrong({"true": "true", "false": "false", "1": "true", "0": "false"}.get(str(found).lower()))
        case Kind.WORD:
            if isinstance(found, str) and found in key.words:
                return found
            close = nearest(str(found), key.words)
            return wrong(found_text(close) if close else None)
        case Kind.TEXT:
            if isinstance(found, str) and found.isprintable():
                return found
            return wrong()
        case Kind.ID:
            if isinstance(found, str) and ID.fullmatch(found):
                return found
            findings.fault(where, f"is {found_text(found)}; {ID_RULE}.", _id_hint(found))
            return _WRONG
        case Kind.IDS:
            if isinstance(found, list) and all(isinstance(item, str) for item in found):
                return tuple(found)
            return wrong()
        case Kind.TEXTS:
            if isinstance(found, list) and all(isinstance(item, str) and item.isprintable() for item in found):
                return tuple(found)
            return wrong()
        case Kind.TEXT_TABLE:
            if isinstance(found, dict) and all(isinstance(item, str) for item in found.values()):
                return found
            return wrong()
        case Kind.DATE:
            day = _date(found)
            return wrong() if day is None else day
        case _:
            raise AssertionError(key.kind)


def _number(found: object, key: Key, where: str, findings: Findings) -> object:
    value, shown = found, found_text(found)
    unit = key.unit.partition(" ")[0]
    if isinstance(found, str) and unit and _plain(found) is None:
        try:
            value = read_quantity(found, unit, field=where)
        except QuantityError as error:
            findings.fault(where, f"is {shown}; it must {error.fault.allowed}, and {allowed_text(key)}.")
            return _WRONG
        shown += f", {value:.6g} {unit}"
    whole = key.kind is Kind.WHOLE
    if isinstance(value, bool) or not isinstance(value, int | float) or (whole and not float(value).is_integer()):
        hint = did_you_mean(_plain(value) if isinstance(value, str) else None)
        findings.fault(where, f"is {shown}; it must be a {key.kind} and {allowed_text(key)}.", hint)
        return _WRONG
    if key.low is not None and key.high is not None and not key.low <= value <= key.high:
        hint = did_you_mean(slipped(value, key) if value is found else None)
        findings.fault(where, f"is {shown}; it must {allowed_text(key)}.", hint)
        return _WRONG
    return int(value) if whole else float(value)


def _plain(text: str) -> str | None:
    """A finite number in quotation marks, as it would stand without them; ``None`` for any other text."""
    try:
        return text if math.isfinite(float(text)) else None
    except ValueError:
        return None


def _date(found: object) -> str | None:
    if isinstance(found, date) and not isinstance(found, datetime):
        return found.isoformat()
    if found == "":
        return ""
    try:
        day = date.fromisoformat(found) if isinstance(found, str) and len(found) == 10 else None
    except ValueError:
        return None
    return day.isoformat() if day else None


def _id_hint(found: object) -> str:
    if not isinstance(found, str):
        return did_you_mean(f'"{found}"') if isinstance(found, int) and not isinstance(found, bool) else ""
    fitting = re.sub(r"[^A-Za-z0-9_-]+", "-", found).strip("-")[:64]
    return did_you_mean(f'"{fitting}"' if fitting else None)
