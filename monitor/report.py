"""A closed lift as one page to sign and send (HTML), as a table (CSV), as data (JSON). Pure: the record and trace are given.

The page says what was seen, what was not, and what judged it. It never says that a lift was safe.
"""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from html import escape
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from monitor.report_plot import CALL_WORDS, timeline

ROWS_MAX_N: Final = 6
"""Rows of a table on the one page; the rest is counted there and stands in the JSON."""

FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")
"""A cell that begins so is run by spreadsheets; text from outside gets a ' in front."""

CAUTIONS: Final = (
    "Holdwatch watches and tells. It never controls the lifter, and it is not the warning device, gauge or interlock that "
    "standards require on the lifter. Keep clear of a raised load. The lifter's own gauge and alarm, the lift plan, local "
    "codes and a competent person decide. This record says what was measured and what was not; it is no statement that a "
    "lift was or will be safe."
)
NO_SEAL_TEST: Final = "No seal test before the pick was made with Holdwatch."
SEAL_TESTS: Final = {"shift": "Seal test at the start of the shift", "pre_pick": "Seal test before the pick"}

VERDICTS: Final = {
    "within_limits": "within the limits of the figures entered",
    "outside_limits": "OUTSIDE the limits of the figures entered",
}

SIGNERS: Final = ("Lift supervisor", "Crane operator", "Installer")
GOVERNS: Final = {
    "plate": "plate value",
    "basis": "design factor",
    "friction": "friction",
    "worst_pad": "worst pad",
}

ENDED: Final = {
    "released": "released at the end",
    "parked": "parked at the end",
    "open": "not over when the readings end",
}

STYLE: Final = """
@page { size: A4; margin: 10mm } * { box-sizing: border-box }
body { font: 11px/1.3 system-ui, "DejaVu Sans", sans-serif; color: #111; max-width: 190mm; margin: 0 auto; padding: 4mm }
h1 { font-size: 17px; margin: 0 } h2 { font-size: 12px; margin: 8px 0 2px; border-bottom: 1px solid #999 }
p { margin: 2px 0 } svg { width: 100%; height: auto; overflow: visible; font-family: inherit }
table { border-collapse: collapse; width: 100% } td, th { text-align: left; white-space: nowrap;
  padding: 1px 6px 1px 0; vertical-align: top }
td:last-child { white-space: normal } th { font-weight: 600; border-bottom: 1px solid #ccc }
.facts { display: grid; grid-template-columns: repeat(4, 1fr); gap: 3px 10px }
.facts b { display: block; font-size: 13px } .sign { display: flex; gap: 8mm; margin-top: 12mm }
.sign div { flex: 1; border-top: 1px solid #111; padding-top: 2px } .small { color: #444; overflow-wrap: anywhere }
@media print { body { padding: 0; font-size: 9px } svg { max-height: 58mm } .facts b { font-size: 11px } h1 { font-size: 15px }
  .sign { margin-top: 9mm } h2 { margin-top: 4px } p { margin: 1px 0 } .facts { gap: 1px 10px } }
.caution { border: 1px solid #111; padding: 3px 6px; margin-top: 6px }
"""

Clock = Callable[[float | None], str]


def lift_html(
    record: Mapping[str, Any], trace: Mapping[str, Sequence[Any]] | None = None, *, chained: str | None = None
) -> str:
    """A lift on one page, with its timeline, alarms, cautions and room for signatures.

    Args:
        record: The record as it is kept.
        trace: The columns of its trace; None draws no timeline and says so.
        chained: The hash that stands for this record and all before it.

    Returns:
        A whole HTML document without scripts and without anything to fetch. Times are site time with their offset.
    """
    zone = _zone(record.get("time_zone", "UTC"))

    def full(at_s: float | None) -> str:
        return "not known" if at_s is None else datetime.fromtimestamp(at_s, zone).strftime("%Y-%m-%d %H:%M:%S %z")

    def short(at_s: float | None) -> str:
        return "" if at_s is None else datetime.fromtimestamp(at_s, zone).strftime("%H:%M:%S")

    name = record.get("lifter_name", record["lifter"])
    drawing = timeline(trace, record, short) if trace else ""
    body = [
        f"<h1>Lift record: {escape(name)}, {escape(record['site'])}</h1>",
        f"<p>{full(record['opened'])} to {full(record['closed'])}, {_duration(record['duration_s'])}, "
        f"{escape(ENDED.get(record['ended'], record['ended']))}. <span class='small'>Record {escape(record['id'])}</span></p>",
        _facts(record, short),
        f"<p>{escape(_plan(record, short))}</p>",
        "<h2>Timeline</h2>",
        drawing or "<p>The readings of this lift are not kept here: no timeline.</p>",
        "<h2>Circuits</h2>",
        _circuits(record, short),
        *(f"<p>{escape(line)}</p>" for line in _seal_tests(record, short)),
        "<h2>Alarms</h2>",
        _table(
            ("raised", "alarm", "about", "priority", "returned", "acknowledged"), _alarms(record, short), "No alarm."
        ),
        "<h2>What people told Holdwatch</h2>",
        _table(("at", "what", "who", "role", "with"), _actions(record, short), "Nothing."),
        "<h2>What was not seen, and what judged</h2>",
        *(f"<p>{escape(line)}</p>" for line in _seen(record, short)),
        f"<p class='small'>{escape(_judged(record, chained))}</p>",
        f"<p class='caution'>{escape(CAUTIONS)}</p>",
        "<div class='sign'>" + "".join(f"<div>{escape(one)}: name, date</div>" for one in SIGNERS) + "</div>",
    ]
    return (
        f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>Lift {escape(record['id'])}</title>"
        f"<style>{STYLE}</style></head><body>{''.join(body)}</body></html>\n"
    )


def lift_csv(trace: Mapping[str, Sequence[Any]]) -> str:
    """The trace of a lift as CSV (RFC 4180): one row a message, the columns of ``monitor.store.traces``, empty for none."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(trace)
    for row in zip(*trace.values(), strict=True):
        table.writerow([_cell(value) for value in row])
    return out.getvalue()


def lift_json(record: Mapping[str, Any], *, chained: str | None = None) -> str:
    """The record as indented JSON, with the hash that stands for it and all before it under ``chained``."""
    return msgspec.json.format(msgspec.json.encode({**record, "chained": chained}), indent=2).decode() + "\n"


def _facts(record: Mapping[str, Any], short: Clock) -> str:
    load, margin, tilt = record["load"], record["margin"], record["tilt"]
    at = f" at {short(margin['at'])}" if margin["at"] is not None else ""
    governs = f", by {GOVERNS.get(margin['governs'], margin['governs'])}" if margin["governs"] else ""
    facts = {
        "largest load": _unit(load["largest_kg"], "kg", 0),
        "planned load": _unit(load["planned_kg"], "kg", 0, "no plan"),
        "least below the limit": _unit(margin["lowest_kg"], "kg", 0) + at + governs,
        "worst call in flight": CALL_WORDS.get(record["worst_call"] or "", "none"),
        "load on": short(record["load_on"]) or "never",
        "load off": short(record["load_off"]) or "not seen",
        "picks": str(record["picks_n"]),
        "tilt": f"{_unit(tilt['low_deg'], '', 0)} to {_unit(tilt['high_deg'], '°', 0)}"
        if tilt["high_deg"] is not None
        else "not measured",
        "greatest height": _unit(record["height_high_m"], "m", 0),
        "strongest wind": _unit(record["wind_high_m_s"], "m/s", 1),
        "lowest battery": _unit(record["battery_low_v"], "V", 1),
        "time to land in force": _duration(record["time_to_land_s"]),
    }
    return (
        "<div class='facts'>"
        + "".join(f"<div>{escape(k)}<b>{escape(v)}</b></div>" for k, v in facts.items())
        + "</div>"
    )


def _plan(record: Mapping[str, Any], short: Clock) -> str:
    plan = record.get("plan")
    if not plan:
        return "No plan was saved for this lift."
    said = [_unit(plan.get("weight_kg"), "kg", 0, "weight not said")]
    if plan.get("pads"):
        said.append(f"pads {', '.join(plan['pads'])}")
    if plan.get("verdict") in VERDICTS:
        said.append(VERDICTS[plan["verdict"]])
    if plan.get("rated_kg") is not None:
        said.append(f"limit {_unit(plan['rated_kg'], 'kg', 0)} by {GOVERNS.get(plan.get('governs'), 'the figures')}")
    return f"Planned at {short(plan['at'])} by {plan['who']} ({plan['role']}): {', '.join(said)}."


def _circuits(record: Mapping[str, Any], short: Clock) -> str:
    rows = []
    for name, one in record["circuits"].items():
        at = f" at {short(one['lowest_at'])}" if one["lowest_at"] is not None else ""
        states = ", ".join(
            f"{state.replace('_', ' ')} {_duration(s)}" for state, s in one["states_s"].items() if s >= 1.0
        )
        rows.append((
            name,
            _unit(one.get("warning_kpa"), "", 1, "-"),
            _unit(one["at_pick_kpa"], "", 1, "-"),
            _unit(one["lowest_kpa"], "", 1, "-") + at,
            _unit(one["leak_kpa_per_min"], "", 2, "-"),
            _unit(one["worst_leak_kpa_per_min"], "", 2, "-"),
            _duration(one["pump_on_s"]),
            states,
        ))  # fmt: skip
    heads = (
        "circuit",
        "warning level, kPa",
        "at pick",
        "lowest in flight",
        "leak, kPa/min",
        "worst",
        "pump on",
        "states",
    )
    return _table(heads, rows, "No circuit was read.")


def _alarms(record: Mapping[str, Any], short: Clock) -> list[Sequence[str]]:
    return [
        (
            short(one["raised"]),
            one["key"].replace("_", " "),
            f"circuit {one['about']}" if one["about"] else "lifter",
            one["priority"],
            short(one["returned"]) or "stood at the end",
            f"{short(one['acknowledged'])} {one['acknowledged_by'] or ''}"
            if one["acknowledged"] is not None
            else "not acknowledged",
        )
        for one in record["alarms"]
    ]


def _seal_tests(record: Mapping[str, Any], short: Clock) -> list[str]:
    """The last test of each kind; all of them, with every circuit's words, stand in the data of the record."""
    last = {test["test"]: test for test in record.get("seal_tests", ())}
    lines = [
        f"{title}, {short(test['asked'])}, {test['who']} ({test['role']}): {test['words']} "
        + " ".join(
            f"{name}: {one['words']}"
            for name, one in test["circuits"].items()
            if kind == "pre_pick" or one["state"] != "passed"
        )
        for kind, title in SEAL_TESTS.items()
        if (test := last.get(kind)) is not None
    ]
    return lines if "pre_pick" in last else [*lines, NO_SEAL_TEST]


def _actions(record: Mapping[str, Any], short: Clock) -> list[Sequence[str]]:
    return [
        (
            short(one["at"]),
            one["kind"].replace("_", " "),
            one["who"],
            one["role"],
            ", ".join(f"{key} {value}" for key, value in one["params"].items() if isinstance(value, str | int | float))[
                :80
            ],
        )
        for one in record["actions"]
    ]


def _seen(record: Mapping[str, Any], short: Clock) -> list[str]:
    counts = record["counts"]
    lines = [f"Readings to be believed for {_duration(record['seen_s'])} of {_duration(record['duration_s'])}."]
    if record["gaps"]:
        gaps = "; ".join(
            f"{short(one['from'])} to {short(one['to'])} ({one['why']})" for one in record["gaps"][:ROWS_MAX_N]
        )
        more = record["gaps_n"] - min(len(record["gaps"]), ROWS_MAX_N)
        lines.append(
            f"Not seen for {_duration(record['gap_s'])}: {gaps}" + (f"; and {more} more gaps." if more > 0 else ".")
        )
    else:
        lines.append("No gap in the readings.")
    named = {"rejected": "unreadable", "late": "late", "doubled": "doubled", "lost": "lost by the sender's count"}
    odd = [f"{counts[key]} {word}" for key, word in named.items() if counts.get(key)]
    if odd:
        lines.append(f"Messages since Holdwatch began: {', '.join(odd)}.")
    return lines


def _judged(record: Mapping[str, Any], chained: str | None) -> str:
    by = record["settings"]
    words = (
        f"Judged by Holdwatch {record['judged_by']} on {by['basis']}, plate value {by['wll_kg']:g} kg, surface {by['surface']} "
        f"(friction {by['friction']:g}). Site file {record.get('site_file_sha256', 'not known')}."
    )
    return words + (f" This record and all before it: {chained}." if chained else " Not in a chain of records.")


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], none: str) -> str:
    if not rows:
        return f"<p>{escape(none)}</p>"
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join(
        "<tr>" + "".join(f"<td>{escape(str(cell))}</td>" for cell in row) + "</tr>" for row in rows[:ROWS_MAX_N]
    )
    more = len(rows) - ROWS_MAX_N
    rest = f"<tr><td colspan='{len(heads)}'>and {more} more, in the data of this record</td></tr>" if more > 0 else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}{rest}</tbody></table>"


def _unit(value: float | None, unit: str, digits: int, none: str = "not measured") -> str:
    return none if value is None else f"{value:.{digits}f} {unit}".strip()


def _duration(seconds: float | None) -> str:
    if seconds is None:
        return "not known"
    whole = round(seconds)
    return (
        f"{whole} s"
        if whole < 60
        else f"{whole // 60} min {whole % 60:02d} s"
        if whole < 3600
        else f"{whole // 3600} h {whole % 3600 // 60:02d} min"
    )


def _zone(name: str) -> tzinfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def _cell(value: object) -> object:
    if isinstance(value, str) and value.startswith(FORMULA):
        return "'" + value
    return "" if value is None else value
