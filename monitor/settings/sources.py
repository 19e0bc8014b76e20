"""The sources of a site file: how messages that are not Holdwatch's own become readings."""

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final, TypeVar
from zoneinfo import available_timezones

from monitor.core.config import LifterConfig
from monitor.core.readings import PLAUSIBLE, Pump, Valve
from monitor.core.sent_units import UNITS
from monitor.core.sources import Encoding, Format, Reads, Source, Step, TimeUnit, ValueRule
from monitor.settings.check import ID, ID_RULE, Findings, read_section, tables
from monitor.settings.faults import did_you_mean, found_text, nearest
from monitor.settings.paths import split_fields, split_path
from monitor.settings.table import Section, words_of

WORDS: Final = {"pump": words_of(Pump), "release_valve": words_of(Valve), "lifter_alarm": ("true", "false")}
"""The fields that are words, and their words."""

CIRCUIT_FIELDS: Final = ("vacuum_kpa", "pressure_abs_kpa", "pump")
LIFTER_FIELDS: Final = (*(name for name in PLAUSIBLE if name not in CIRCUIT_FIELDS), "lifter_alarm", "release_valve")
LOOP_MA: Final = (4.0, 20.0)
LOOP_NEAR_RATIO: Final = 0.005
"""Raw limits so near to one in five, of the upper, are the current itself or counts of it."""
LOOP_FAULT_MA: Final = (3.6, 21.0)
"""Currents outside these are a broken loop (NAMUR NE 43, from memory)."""

_RAW: Final = ("raw_low", "raw_high", "low", "high")
_NAMED: Final = re.compile(r"\{(lifter|circuit)\}")
_Read = TypeVar("_Read")


def read_sources(
    found: object, lifters: Sequence[LifterConfig], own_topic: str, findings: Findings
) -> tuple[Source, ...]:
    """Read every ``[[source]]``.

    Args:
        found: What stands under ``source``.
        lifters: The lifters of the file that are without fault.
        own_topic: A topic of Holdwatch's own readings, which no source may claim.
        findings: Takes what is wrong.
    """
    sources = []
    for place, source_table in enumerate(tables(found, "source", "[[source]]", findings), start=1):
        where = f"source number {place}"
        before_n = len(findings.faults)
        values = read_section(Section.SOURCE, source_table, where, findings, {})
        rules = [
            (
                f"{where}, value number {n}",
                read_section(Section.VALUE, table, f"{where}, value number {n}", findings, {}),
            )
            for n, table in enumerate(
                tables(source_table.get("value", []), f"{where}, value", "[[source.value]]", findings), 1
            )
        ]
        if len(findings.faults) == before_n:
            source = _source(values, rules, lifters, own_topic, where, findings)
            if len(findings.faults) == before_n:
                sources.append(source)
    return tuple(sources)


def _source(
    values: Mapping[str, Any],
    rules: Sequence[tuple[str, Mapping[str, Any]]],
    lifters: Sequence[LifterConfig],
    own_topic: str,
    where: str,
    findings: Findings,
) -> Source:
    _check_topic(values, own_topic, where, findings)
    _check_lifter(values, lifters, where, findings)
    of = Format(values["format"])
    fields, size_bytes = _tried(split_fields, values["fields"], f"{where}, fields", findings) or ((), 0)
    if bool(values["fields"]) is not (of is Format.BINARY):
        findings.fault(f"{where}, fields", "must be given for binary, and for binary only.")

    names = {field.name for field in fields} | set(values["columns"]) | _groups(values["pattern"], where, findings)

    def at(text: str, key_where: str) -> tuple[Step, ...]:
        return _place(text, of, names, key_where, findings)

    _check_of_format(values, of, where, findings)
    _check_time(values, where, findings)
    if not rules and of not in (Format.SENML, Format.SPARKPLUG):
        findings.fault(f"{where}, value", "is missing; there must be at least one [[source.value]].")
    named = [lifter for lifter in lifters if lifter.id == values["lifter"]] or lifters
    circuits = {name for lifter in named for name in lifter.circuits}
    taken: set[str] = set()
    made = []
    for rule_where, rule in rules:
        if rule["to"] in taken:
            findings.fault(f"{rule_where}, to", f"is {found_text(rule['to'])} a second time.")
        taken.add(rule["to"])
        made.append(_rule(rule, at(rule["at"], f"{rule_where}, at"), values["topic"], circuits, rule_where, findings))
    each_at, inside_at = values["each_at"], values["inside_at"]

    def around(text: str, key: str) -> tuple[Step, ...]:
        """A place of what is beside the values: in the message around the payload, where there is one."""
        key_where = f"{where}, {key}"
        return _place(text, Format.JSON, set(), key_where, findings) if inside_at else at(text, key_where)

    return Source(
        topic=values["topic"],
        format=of,
        values=tuple(made),
        lifter=values["lifter"],
        names=values["names"] or {},
        time_at=around(values["time_at"], "time_at") if values["time_at"] else (),
        time_unit=TimeUnit(values["time_unit"]),
        time_zone=values["time_zone"],
        time_format=values["time_format"],
        seq_at=around(values["seq_at"], "seq_at") if values["seq_at"] else (),
        boot_at=around(values["boot_at"], "boot_at") if values["boot_at"] else (),
        inside_at=around(inside_at, "inside_at") if inside_at else (),
        where=tuple((around(place, "where"), text) for place, text in (values["where"] or {}).items()),
        each_at=None if each_at is None else () if each_at == "." else at(each_at, f"{where}, each_at"),
        columns=values["columns"],
        header_lines=values["header_lines"],
        pattern=values["pattern"],
        separator=values["separator"],
        decimal=values["decimal"],
        byte_order=">" if values["byte_order"] == "big" else "<",
        fields=fields,
        size_bytes=size_bytes,
        encoding=Encoding(values["encoding"]),
        ask_rebirth=values["ask_rebirth"],
    )


def _check_of_format(values: Mapping[str, Any], of: Format, where: str, findings: Findings) -> None:
    """What is for some formats only."""
    if values["inside_at"] and of in (Format.SENML, Format.SPARKPLUG):
        findings.fault(f"{where}, inside_at", f"is given for {of}; it is for the formats that values are mapped from.")
    if bool(values["pattern"]) is not (of is Format.TEXT):
        findings.fault(f"{where}, pattern", "must be given for text, and for text only.")
    for key, its in (("each_at", Format.JSON), ("columns", Format.CSV), ("header_lines", Format.CSV)):
        if values[key] and of is not its:
            findings.fault(f"{where}, {key}", f"is given for {of}; it is for {its} only.")


def _check_time(values: Mapping[str, Any], where: str, findings: Findings) -> None:
    for key in ("time_zone", "time_format"):
        if values[key] and values["time_unit"] != TimeUnit.TEXT:
            findings.fault(
                f"{where}, {key}", f'is given for time_unit {found_text(values["time_unit"])}; it is for "text".'
            )
    zone, written = values["time_zone"], values["time_format"]
    if zone and zone not in available_timezones():
        says = f"is {found_text(zone)}; it must be the IANA name of a time zone, for example Europe/Madrid."
        findings.fault(f"{where}, time_zone", says, did_you_mean(nearest(zone, available_timezones())))
    if written and not zone and "%z" not in written:
        findings.fault(f"{where}, time_zone", "is missing; time_format has no %z, so the zone must be said.")


def _groups(pattern: str, where: str, findings: Findings) -> set[str]:
    try:
        return set(re.compile(pattern).groupindex)
    except re.error as error:
        findings.fault(f"{where}, pattern", f"is {found_text(pattern)}; it is no regular expression: {error}.")
        return set()


def _check_topic(values: Mapping[str, Any], own_topic: str, where: str, findings: Findings) -> None:
    topic = values["topic"]
    levels = _NAMED.sub("+", topic).split("/")
    fits = all("+" not in level or level == "+" for level in levels) and "#" not in "".join(levels[:-1])
    if (
        not topic
        or not fits
        or levels[-1] not in ("#", levels[-1].replace("#", ""))
        or set("".join(levels)) & set("{}")
    ):
        says = f"is {found_text(topic)}; each level must be a name, + or {{lifter}} or {{circuit}}, and # may end it."
        findings.fault(f"{where}, topic", says)
    elif len(set(named := _NAMED.findall(topic))) < len(named):
        findings.fault(f"{where}, topic", f"is {found_text(topic)}; a level may be named once only.")
    elif _matches(levels, own_topic.split("/")):
        says = f"is {found_text(topic)}; it must not take in Holdwatch's own readings ({own_topic})."
        findings.fault(f"{where}, topic", says)


def _matches(levels: Sequence[str], topic: Sequence[str]) -> bool:
    if levels and levels[-1] == "#":
        levels, topic = levels[:-1], topic[: len(levels) - 1]
    return len(levels) == len(topic) and all(a in ("+", b) for a, b in zip(levels, topic, strict=True))


def _check_lifter(values: Mapping[str, Any], lifters: Sequence[LifterConfig], where: str, findings: Findings) -> None:
    ids = [lifter.id for lifter in lifters]
    if ("{lifter}" in values["topic"]) is (values["lifter"] is not None):
        findings.fault(f"{where}, lifter", "must be given when the topic has no {lifter}, and only then.")
    elif values["lifter"] is not None and values["lifter"] not in ids:
        says = f"is {found_text(values['lifter'])}; it must be a lifter of this file: {', '.join(ids) or 'none'}."
        findings.fault(f"{where}, lifter", says, did_you_mean(nearest(values["lifter"], ids)))
    for seen, meant in (values["names"] or {}).items():
        if not ID.fullmatch(meant):
            findings.fault(f"{where}, names", f"has {found_text(meant)} for {found_text(seen)}; {ID_RULE}.")


def _place(text: str, of: Format, names: set[str], where: str, findings: Findings) -> tuple[Step, ...]:
    match of:
        case Format.JSON:
            return _tried(split_path, text, where, findings) or ()
        case Format.NUMBER:
            if text:
                findings.fault(where, f"is {found_text(text)}; a plain number has no places: leave it out.")
            return ()
        case Format.CSV:
            if re.fullmatch("[1-9][0-9]{0,3}", text):
                return (int(text) - 1,)
            if not text or re.fullmatch("[-0-9]+", text):
                says = f"is {found_text(text)}; it must be the number of a column, 1 for the first, or its name."
                findings.fault(where, says)
            elif names and text not in names:
                says = f"is {found_text(text)}; it must name one of columns: {', '.join(sorted(names))}."
                findings.fault(where, says, did_you_mean(nearest(text, names)))
        case Format.BINARY | Format.TEXT if text not in names:
            what = "one of the fields" if of is Format.BINARY else "a place in pattern"
            says = f"is {found_text(text)}; it must name {what}: {', '.join(sorted(names)) or 'none'}."
            findings.fault(where, says, did_you_mean(nearest(text, names)))
        case Format.SENML | Format.SPARKPLUG if not text:
            findings.fault(where, "is missing; it must name a record or metric.")
    return (text,)


def _rule(
    rule: Mapping[str, Any], at: tuple[Step, ...], topic: str, circuits: set[str], where: str, findings: Findings
) -> ValueRule:
    to = tuple(rule["to"].split("."))
    _check_to(to, topic, circuits, f"{where}, to", findings)
    name = "vacuum_kpa" if to[2:3] == ("gauges",) else to[-1]
    reads = Reads(rule["reads"])
    if name in WORDS:
        for key in ("unit", *_RAW, "fault_below", "fault_above"):
            if rule[key] is not None:
                findings.fault(f"{where}, {key}", f"is given for {to[-1]}, which is a word; leave it out.")
        for seen, meant in (rule["words"] or {}).items():
            if meant not in WORDS[name]:
                says = f"has {found_text(meant)} for {found_text(seen)}; it must be {' or '.join(WORDS[name])}."
                findings.fault(f"{where}, words", says)
    elif name in PLAUSIBLE:
        if rule["words"]:
            findings.fault(f"{where}, words", f"is given for {to[-1]}, which is a number; leave it out.")
        own = PLAUSIBLE[name].unit
        if rule["unit"] is not None and (rule["unit"] not in UNITS or UNITS[rule["unit"]].own != own):
            fitting = [unit for unit, sent in UNITS.items() if sent.own == own]
            says = f"is {found_text(rule['unit'])}; it must be one of {', '.join(fitting)}."
            findings.fault(f"{where}, unit", says, did_you_mean(nearest(rule["unit"], fitting)))
    if reads is not Reads.VACUUM and name != "vacuum_kpa":
        findings.fault(f"{where}, reads", f"is {found_text(rule['reads'])}; it is for vacuum_kpa and gauges only.")
    if reads is Reads.ABSOLUTE and to[2:3] == ("gauges",):
        findings.fault(f"{where}, reads", 'is "absolute"; a gauge beside others must read vacuum or gauge.')
    return ValueRule(
        to=to,
        at=at,
        unit=rule["unit"] or PLAUSIBLE[name].unit if name in PLAUSIBLE else "",
        reads=reads,
        words=rule["words"] or {},
        bit=rule["bit"],
        **_line(rule, where, findings),
    )


def _check_to(to: tuple[str, ...], topic: str, circuits: set[str], where: str, findings: Findings) -> None:
    text = found_text(".".join(to))
    match to:
        case (name,) if name in LIFTER_FIELDS:
            return
        case ("circuits", circuit, name) if name in CIRCUIT_FIELDS:
            pass
        case ("circuits", circuit, "gauges", gauge) if ID.fullmatch(gauge):
            pass
        case _:
            known = [*LIFTER_FIELDS, *(f"circuits.ID.{name}" for name in CIRCUIT_FIELDS), "circuits.ID.gauges.ID"]
            says = f"is {text}; it must be one of {', '.join(known)}."
            findings.fault(where, says, did_you_mean(nearest(".".join(to), known)))
            return
    if circuit == "{circuit}":
        if "{circuit}" not in topic:
            findings.fault(where, f"is {text}; the topic has no {{circuit}}.")
    elif circuit not in circuits:
        says = f"is {text}; the circuit must be one of {', '.join(sorted(circuits)) or 'none'}."
        findings.fault(where, says, did_you_mean(nearest(circuit, circuits)))


def _line(rule: Mapping[str, Any], where: str, findings: Findings) -> dict[str, Any]:
    """Scale, offset and fault limits, from either way of saying them."""
    given = [name for name in _RAW if rule[name] is not None]
    below, above = rule["fault_below"], rule["fault_above"]
    if not given:
        return {"scale": rule["scale"], "offset": rule["offset"], "fault_below": below, "fault_above": above}
    if len(given) < len(_RAW) or rule["raw_low"] == rule["raw_high"]:
        findings.fault(
            f"{where}, {given[0]}", f"stands alone; {', '.join(_RAW)} go together, and raw_low is not raw_high."
        )
        return {}
    if (rule["scale"], rule["offset"]) != (1.0, 0.0):
        findings.fault(f"{where}, scale", "and offset are given beside raw_low and the others; use one way.")
    counts_per_ma = rule["raw_high"] / LOOP_MA[1]
    if counts_per_ma > 0.0 and abs(rule["raw_low"] - counts_per_ma * LOOP_MA[0]) < LOOP_NEAR_RATIO * rule["raw_high"]:
        below = LOOP_FAULT_MA[0] * counts_per_ma if below is None else below
        above = LOOP_FAULT_MA[1] * counts_per_ma if above is None else above
    scale = (rule["high"] - rule["low"]) / (rule["raw_high"] - rule["raw_low"])
    return {"scale": scale, "offset": rule["low"] - scale * rule["raw_low"], "fault_below": below, "fault_above": above}


def _tried(read: Callable[[Any], _Read], given: object, where: str, findings: Findings) -> _Read | None:
    try:
        return read(given)
    except ValueError as error:
        findings.fault(where, f"is {found_text(given)}; {error}.")
        return None
