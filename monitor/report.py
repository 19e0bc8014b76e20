"""A closed lift as one page to sign and send (HTML), as a table (CSV), as data (JSON). Pure: the record and trace are given.

The page says what was seen, what was not, and what judged it. It never says that a lift was safe.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime, tzinfo
from html import escape
from typing import Any, Final
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import msgspec

from monitor.report_plot import Words, clock_of, timeline
from monitor.spreadsheet import cell
from monitor.words.languages import ENGLISH, Speaker

ROWS_MAX_N: Final = 6
"""Rows of a table on the one page; the rest is counted there and stands in the JSON."""

WITH_MOST_N: Final = 80
"""Characters of what came with an action; all of it stands in the JSON."""

SHORT_N: Final = 24
"""Characters of a cell that is not broken into lines; a longer one is, within a word where it must be."""

CAUTIONS: Final = ("report.caution", "report.decide", "report.says_no_more")
PRINT_PX: Final = ((4500, 9), (8000, 7))
"""Print that fits one sheet of A4 up to so many characters, found by printing from Chromium; beyond them ``LEAST_PX``. The
PDF is fitted by itself (``report_pdf``)."""

LEAST_PX: Final = 6
SEAL_TESTS: Final = ("shift", "pre_pick")
SIGNERS: Final = ("supervisor", "operator", "landing")

STYLE: Final = """
@page { size: A4; margin: 10mm } * { box-sizing: border-box }
body { font: 11px/1.3 system-ui, "DejaVu Sans", sans-serif; color: #111; max-width: 190mm; margin: 0 auto; padding: 4mm }
h1 { font-size: 1.6em; margin: 0 } h2 { font-size: 1.1em; margin: 8px 0 2px; border-bottom: 1px solid #999 }
p { margin: 2px 0 } svg { width: 100%; height: auto; overflow: visible; font-family: inherit }
table { border-collapse: collapse; width: 100% } td, th { text-align: left; padding: 1px 6px 1px 0; vertical-align: top }
td { overflow-wrap: anywhere } .short { white-space: nowrap } td:last-child { white-space: normal; min-width: 44mm }
th { font-weight: 600; border-bottom: 1px solid #ccc }
h1, p { overflow-wrap: anywhere }
.facts { display: grid; grid-template-columns: repeat(4, 1fr); gap: 3px 10px }
.facts b { display: block; font-size: 1.2em } .sign { display: flex; gap: 8mm; margin-top: 12mm }
.sign div { flex: 1; border-top: 1px solid #111; padding-top: 2px } .small { color: #444 }
@media print { body { padding: 0; line-height: 1.2 } svg { max-height: 52mm }
  .sign { margin-top: 9mm } h2 { margin-top: 4px } p { margin: 1px 0 } .facts { gap: 1px 10px } }
.caution { border: 1px solid #111; padding: 3px 6px; margin-top: 6px }
"""

Clock = Callable[[float | None], str]


def lift_html(
    record: Mapping[str, Any],
    trace: Mapping[str, Sequence[Any]] | None = None,
    *,
    chained: str | None = None,
    speaker: Speaker = ENGLISH,
) -> str:
    """A lift on one page, with its timeline, alarms, cautions and room for signatures.

    Args:
        record: The record as it is kept.
        trace: The columns of its trace; None draws no timeline and says so.
        chained: The hash that stands for this record and all before it.
        speaker: In whose language and units.

    Returns:
        A whole HTML document without scripts and without anything to fetch. Times are site time with their offset.
    """
    zone = _zone(record.get("time_zone", "UTC"))
    clock = clock_of(record, zone)
    words = Words(speaker)

    def full(at_s: float | None) -> str:
        if at_s is None:
            return words("report.not_known")
        return datetime.fromtimestamp(at_s, zone).strftime("%Y-%m-%d %H:%M:%S %z")

    def short(at_s: float | None) -> str:
        return "" if at_s is None else clock(at_s)

    def heading(key: str) -> str:
        return f"<h2>{escape(words(key))}</h2>"

    title = words("report.title", lifter=record.get("lifter_name", record["lifter"]), at=record["site"])
    when = words("report.when", start=full(record["opened"]), end=full(record["closed"]),
                 took_exact_s=record["duration_s"], state=words.named("ended", record["ended"]))  # fmt: skip
    drawing = timeline(trace, record, clock, speaker) if trace else ""
    alarm_heads = ("lift.raised", "lift.alarm", "lift.about", "lift.priority", "report.returned", "lift.acknowledged")
    told_heads = ("report.when_head", "report.what", "report.who", "report.role", "report.with")
    signs = (words(f"report.sign.{one}") for one in SIGNERS)
    body = [
        f"<h1>{escape(title)}</h1>",
        f"<p>{escape(when)} <span class='small'>{escape(words('report.record', id=record['id']))}</span></p>",
        _facts(record, short, words),
        f"<p>{escape(_plan(record, short, words))}</p>",
        heading("lift.timeline"),
        drawing or f"<p>{escape(words('lift.no_times' if trace else 'lift.no_trace'))}</p>",
        heading("lift.circuits"),
        _circuits(record, short, words),
        *(f"<p>{escape(line)}</p>" for line in _seal_tests(record, short, words)),
        heading("lift.alarms"),
        _table([words(key) for key in alarm_heads], _alarms(record, short, words), "lift.no_alarm", words),
        heading("report.told"),
        _table([words(key) for key in told_heads], _actions(record, short, words), "report.nothing_told", words),
        heading("report.seen"),
        *(f"<p>{escape(line)}</p>" for line in _seen(record, short, words)),
        f"<p class='small'>{escape(_judged(record, chained, words))}</p>",
        f"<p class='caution'>{escape(' '.join(words(key) for key in CAUTIONS))}</p>",
        "<div class='sign'>" + "".join(f"<div>{escape(one)}</div>" for one in signs) + "</div>",
    ]
    said_n = len(re.sub(r"<[^>]*>", "", "".join(body).replace(drawing, "")))
    size_px = next((size_px for most_n, size_px in PRINT_PX if said_n <= most_n), LEAST_PX)
    sized = f"@media print {{ body {{ font-size: {size_px}px }} }}"
    return (
        f"<!doctype html><html lang='{speaker.language}'><head><meta charset='utf-8'>"
        f"<title>{escape(words('lift.title', id=record['id']))}</title>"
        "<link rel='icon' href='data:,'>"  # a page by itself: no browser shall ask the site for a picture of it
        f"<style>{STYLE}{sized}</style></head><body>{''.join(body)}</body></html>\n"
    )


def lift_csv(trace: Mapping[str, Sequence[Any]]) -> str:
    """The trace of a lift as CSV (RFC 4180): one row a message, the columns of ``monitor.store.traces``, empty for none."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(trace)
    for row in zip(*trace.values(), strict=True):
        table.writerow([cell(value) for value in row])
    return out.getvalue()


def figures_csv(record: Mapping[str, Any], *, chained: str | None = None) -> str:
    """The figures of a record as CSV (RFC 4180), for a lift whose trace is not kept: one row a figure, named by its way.

    The columns are ``figure`` and ``value``: ``circuits.A.lowest_kpa``, ``alarms.0.key``. Nothing of the record is left
    out; the first row says that there is no trace. Times are UTC epoch seconds, as in the trace.
    """
    out = io.StringIO()
    table = csv.writer(out)
    table.writerows([("figure", "value"), ("trace", "not kept")])
    table.writerows((cell(name), cell(value)) for name, value in _leaves("", {**record, "chained": chained}))
    return out.getvalue()


def lift_json(record: Mapping[str, Any], *, chained: str | None = None) -> str:
    """The record as indented JSON, with the hash that stands for it and all before it under ``chained``."""
    return msgspec.json.format(msgspec.json.encode({**record, "chained": chained}), indent=2).decode() + "\n"


def _facts(record: Mapping[str, Any], short: Clock, words: Words) -> str:
    load, margin, tilt = record["load"], record["margin"], record["tilt"]
    lowest = _value("lowest_kg", margin["lowest_kg"], words)
    if margin["at"] is not None:
        clock = short(margin["at"])
        key = words.known(f"report.margin.{margin['governs']}", "report.at")
        lowest = words(key, n=lowest, lowest_kg=margin["lowest_kg"], clock=clock)
    tilts = [_value("tilt_deg", tilt[name], words) for name in ("low_deg", "high_deg")]
    facts = {
        "lift.largest": _value("largest_kg", load["largest_kg"], words),
        "lift.planned": _value("planned_kg", load["planned_kg"], words, "report.no_plan"),
        "lift.lowest_margin": lowest,
        "lift.worst_call": words.named("call", record["worst_call"] or "") or words("report.none"),
        "lift.load_on": short(record["load_on"]) or words("report.never"),
        "lift.load_off": short(record["load_off"]) or words("report.not_seen"),
        "lift.picks": str(record["picks_n"]),
        "report.tilt": tilts[1] if tilt["high_deg"] is None else words("report.span", start=tilts[0], end=tilts[1]),
        "lift.height": _value("height_m", record["height_high_m"], words),
        "lift.wind": _value("wind_m_s", record["wind_high_m_s"], words),
        "lift.battery": _value("battery_v", record["battery_low_v"], words),
        "lift.time_to_land": _duration(record["time_to_land_s"], words),
    }
    said = (f"<div>{escape(words(key))}<b>{escape(value)}</b></div>" for key, value in facts.items())
    return f"<div class='facts'>{''.join(said)}</div>"


def _plan(record: Mapping[str, Any], short: Clock, words: Words) -> str:
    plan = record.get("plan")
    if not plan:
        return words("report.no_plan_saved")
    said = [_value("weight_kg", plan.get("weight_kg"), words, "report.weight_unknown")]
    if plan.get("pads"):
        said.append(words("report.pads", pads=", ".join(plan["pads"])))
    if plan.get("verdict"):
        said.append(words.named("report.verdict", plan["verdict"]))
    if plan.get("rated_kg") is not None:
        key = words.known(f"report.limit.{plan.get('governs')}", "report.limit")
        said.append(words(key, limit_kg=plan["rated_kg"]))
    role = words.named("word.role", plan["role"])
    return words("report.planned", clock=short(plan["at"]), who=plan["who"], role=role, words=", ".join(said))


def _circuits(record: Mapping[str, Any], short: Clock, words: Words) -> str:
    def number(name: str, value: float | None) -> str:
        return "-" if value is None else words.number_and_unit(name, value)[0]

    rows = []
    for name, one in record["circuits"].items():
        lowest = number("x_kpa", one["lowest_kpa"])
        if one["lowest_at"] is not None:
            lowest = words("report.at", n=lowest, clock=short(one["lowest_at"]))
        states = ", ".join(
            words("report.state_for", state=words.named("state", state), in_it_exact_s=in_it_s)
            for state, in_it_s in one["states_s"].items()
            if in_it_s >= 1.0
        )
        rows.append((
            name,
            number("x_kpa", one.get("warning_kpa")),
            number("x_kpa", one["at_pick_kpa"]),
            lowest,
            number("x_kpa_per_min", one["leak_kpa_per_min"]),
            number("x_kpa_per_min", one["worst_leak_kpa_per_min"]),
            _duration(one["pump_on_s"], words),
            states,
        ))  # fmt: skip
    heads = (
        words("lift.circuit"),
        words("report.warning_level", unit=words.number_and_unit("x_kpa", 0.0)[1]),
        words("lift.at_pick"),
        words("report.lowest"),
        words("report.leak", unit=words.number_and_unit("x_kpa_per_min", 0.0)[1]),
        words("report.worst_leak"),
        words("lift.pump_on"),
        words("report.states"),
    )
    return _table(heads, rows, "report.no_circuit", words)


def _alarms(record: Mapping[str, Any], short: Clock, words: Words) -> list[Sequence[str]]:
    return [
        (
            short(one["raised"]),
            words.named("alarm", one["key"], ".name"),
            words("about.circuit", about=one["about"]) if one["about"] else words("about.lifter"),
            words.named("priority", one["priority"]),
            short(one["returned"]) or words("report.stood"),
            f"{short(one['acknowledged'])} {one['acknowledged_by'] or ''}"
            if one["acknowledged"] is not None
            else words("report.not_acknowledged"),
        )
        for one in record["alarms"]
    ]


def _seal_tests(record: Mapping[str, Any], short: Clock, words: Words) -> list[str]:
    """The last test of each kind; all of them, with every circuit's words, stand in the data of the record."""
    last = {test["test"]: test for test in record.get("seal_tests", ())}
    lines = []
    for kind in SEAL_TESTS:
        if (test := last.get(kind)) is None:
            continue
        circuits = [
            words("lift.circuit_said", circuit=name, words=words.told(one))
            for name, one in test["circuits"].items()
            if kind == "pre_pick" or one["state"] != "passed"
        ]
        role, what = words.named("word.role", test["role"]), words(f"report.seal.{kind}")
        said = " ".join([words.told(test), *circuits])
        clock = short(test["asked"])
        lines.append(words("report.seal_test", what=what, clock=clock, who=test["who"], role=role, words=said))
    return lines if "pre_pick" in last else [*lines, words("report.no_seal_test")]


def _actions(record: Mapping[str, Any], short: Clock, words: Words) -> list[Sequence[str]]:
    return [
        (
            short(one["at"]),
            words.named("action", one["kind"]),
            one["who"],
            words.named("word.role", one["role"]),
            _shortened(
                ", ".join(
                    f"{key} {value}" for key, value in one["params"].items() if isinstance(value, str | int | float)
                )
            ),
        )
        for one in record["actions"]
    ]


def _shortened(text: str) -> str:
    return text if len(text) <= WITH_MOST_N else text[: WITH_MOST_N - 1] + "…"


def _seen(record: Mapping[str, Any], short: Clock, words: Words) -> list[str]:
    counts = record["counts"]
    lines = [words("report.believed", seen_exact_s=record["seen_s"], took_exact_s=record["duration_s"])]
    if record["gaps"]:
        gaps = [_gap(one, short, words) for one in record["gaps"][:ROWS_MAX_N]]
        more_n = record["gaps_n"] - len(gaps)
        if more_n > 0:
            gaps.append(words("report.gaps_more_n", gaps_n=more_n))
        lines.append(words("report.gaps", gap_exact_s=record["gap_s"], words="; ".join(gaps)))
    else:
        lines.append(words("lift.no_gap"))
    odd = [
        words(f"report.{key}", n=str(counts[key])) for key in ("rejected", "late", "doubled", "lost") if counts.get(key)
    ]
    if odd:
        lines.append(words("report.messages", words=", ".join(odd)))
    return lines


def _gap(gap: Mapping[str, Any], short: Clock, words: Words) -> str:
    key = words.known(f"lift.gap.{gap['why']}", "report.gap")
    return words(key, start=short(gap["from"]), end=short(gap["to"]))


def _judged(record: Mapping[str, Any], chained: str | None, words: Words) -> str:
    by = record["settings"]
    judged = words("report.judged", by=record["judged_by"], what=by["basis"], plate_kg=by["wll_kg"],
                   surface=by["surface"], friction_ratio=by["friction"])  # fmt: skip
    file_id = record.get("site_file_sha256")
    site_file = words("report.site_file", id=file_id) if file_id else words("report.no_site_file")
    return f"{judged} {site_file} {words('report.chained', id=chained) if chained else words('report.not_chained')}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], none: str, words: Words) -> str:
    if not rows:
        return f"<p>{escape(words(none))}</p>"
    head = "".join(f"<th>{escape(one)}</th>" for one in heads)
    body = "".join("<tr>" + "".join(map(_td, row)) + "</tr>" for row in rows[:ROWS_MAX_N])
    more = len(rows) - ROWS_MAX_N
    told = escape(words("report.more_rows", n=str(more)))
    rest = f"<tr><td colspan='{len(heads)}'>{told}</td></tr>" if more > 0 else ""
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}{rest}</tbody></table>"


def _td(said: str) -> str:
    kind = " class='short'" if len(said) <= SHORT_N else ""
    return f"<td{kind}>{escape(said)}</td>"


def _value(name: str, value: float | None, words: Words, none: str = "report.not_measured") -> str:
    return words(none) if value is None else words.value(name, value)


def _duration(seconds: float | None, words: Words) -> str:
    return words("report.not_known") if seconds is None else words.value("it_exact_s", seconds)


def _zone(name: str) -> tzinfo:
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError):
        return UTC


def _leaves(way: str, value: object) -> Iterator[tuple[str, object]]:
    """Every single value under ``value`` with the names and numbers that lead to it; what is empty is one empty value."""
    if isinstance(value, Mapping) and value:
        inside: Iterable[tuple[object, object]] = value.items()
    elif isinstance(value, Sequence) and not isinstance(value, str) and value:
        inside = enumerate(value)
    else:
        yield way, value if isinstance(value, str | int | float) else None
        return
    for name, one in inside:
        yield from _leaves(f"{way}.{name}" if way else str(name), one)
