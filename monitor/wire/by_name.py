"""Values that come with their own names, units and times, as SenML's records and Sparkplug's metrics do.

With rules, a rule's ``at`` is the name. Without any, a name that ends in a reading's own field path is that field:
``circuits/A/vacuum_kpa``, ``circuits/A/gauges/1``, ``load_kg`` and so on, parted by / or . or :, unit suffix or not.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from monitor.core.readings import PLAUSIBLE, Refusal
from monitor.core.sources import Source, ValueRule
from monitor.wire.mapping import Part, Path, Value, take_value
from monitor.wire.reading_json import EARLIEST_UTC_S, LATEST_UTC_S, number_in

_CIRCUIT_FIELDS: Final = ("vacuum_kpa", "pressure_abs_kpa", "pump")
_FIELDS: Final = (*(name for name in PLAUSIBLE if name not in _CIRCUIT_FIELDS), "lifter_alarm", "release_valve")
_SUFFIX: Final = re.compile(r"_(kpa|kg|deg|m|c|v|m_s)$")
_BARE: Final = {_SUFFIX.sub("", name.replace("_m_s", "")): name for name in (*_CIRCUIT_FIELDS, *_FIELDS)}
_ID: Final = "[A-Za-z0-9_-]{1,64}"
_IN_CIRCUIT: Final = re.compile(
    rf"(?:.*[:/.])?circuits[:/.](?P<circuit>{_ID})[:/.](?:gauges[:/.](?P<gauge>{_ID})|(?P<field>[a-z_]+))"
)


@dataclass(frozen=True, slots=True)
class Named:
    """One value as it came: full name, unit ("" where none is said), raw value, UTC epoch seconds if said."""

    name: str
    unit: str
    value: object
    time_utc_s: float | None


def path_of(name: str) -> Path | None:
    """The field path a name ends in, or None. Check: "urn:dev:x:circuits/A/vacuum" is circuits, A, vacuum_kpa."""
    parts = _IN_CIRCUIT.fullmatch(name)
    if parts is None:
        field = _field(re.split("[:/.]", name)[-1])
        return (field,) if field in _FIELDS else None
    if parts["gauge"] is not None:
        return ("circuits", parts["circuit"], "gauges", parts["gauge"])
    field = _field(parts["field"])
    return ("circuits", parts["circuit"], field) if field in _CIRCUIT_FIELDS else None


def _field(text: str) -> str:
    return _BARE.get(text, text)


def parts_by_name(source: Source, place: Mapping[str, str], stream: str, items: Iterable[Named]) -> list[Part]:
    """Parts of one message, one for each time in it, oldest first; names that mean nothing here are left out."""
    rules = {rule.at[0]: rule for rule in source.values}
    by_time: dict[float | None, tuple[dict[Path, Value], list[Refusal]]] = {}
    for item in items:
        rule = rules.get(item.name)
        if rules:
            path = tuple(place["circuit"] if step == "{circuit}" else step for step in rule.to) if rule else None
        else:
            path = path_of(item.name)
        if path is None:
            continue
        values, refused = by_time.setdefault(item.time_utc_s, ({}, []))
        take_value(values, path, item.value, _rule_for(rule, path, item.unit), refused, decimal=source.decimal)
    parts = []
    for time_utc_s in sorted(by_time, key=lambda at: (at is not None, at or 0.0)):
        values, refused = by_time[time_utc_s]
        sent = None if time_utc_s is None else number_in(time_utc_s, EARLIEST_UTC_S, LATEST_UTC_S, "time", refused)
        parts.append(Part(place["lifter"], stream, values, tuple(refused), sent))
    return parts


def _rule_for(rule: ValueRule | None, path: Path, unit: str) -> ValueRule:
    """The rule that counts for one value: its own unit comes before the rule's."""
    if rule is None:
        own = PLAUSIBLE.get("vacuum_kpa" if path[2:3] == ("gauges",) else path[-1])
        return ValueRule(path, unit=unit or (own.unit if own else ""))
    if not unit:
        return rule
    return replace(rule, unit=unit)
