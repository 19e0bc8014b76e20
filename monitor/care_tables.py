"""Trends and lists as tables, in CSV, and in words for a terminal. Both are made of what the JSON says: they say the same."""

import csv
import io
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from math import isfinite
from typing import Any, Final

from monitor.care import CAUTION, Care, care_dict
from monitor.core.messages import Text
from monitor.spreadsheet import cell

UNITS: Final[Mapping[str, str]] = {
    "leak": "kPa/min", "pump_down": "s", "duty": "ratio", "zero": "kPa", "apart": "kPa", "battery": "V",
    "over_sisters": "times", "temperature_per_k": "1/K",
}  # fmt: skip
NAMES: Final[Mapping[str, str]] = {
    "leak": "leak at the reference conditions", "pump_down": "pump-down to the warning level",
    "duty": "pump on, share of the lift", "zero": "gauge off zero with the pads open", "apart": "gauges of one circuit apart",
    "battery": "lowest battery of a lift", "over_sisters": "leak, times that of the sister circuits",
    "temperature_per_k": "how the leak follows the temperature",
}  # fmt: skip
BETTER: Final = {True: "yes", False: "no", None: ""}
AFTER_SERVICE: Final = {"yes": "less", "no": "no less", "": "can't tell whether that is less"}
YEAR_DAYS: Final = 365.25

HEADS: Final[Mapping[str, Sequence[str]]] = {
    "figures": (
        "lifter", "circuit", "figure", "unit", "lifts", "level", "level_low", "level_high", "change_per_year",
        "change_low", "change_high", "limit", "limit_reached", "limit_reached_early", "limit_reached_likely",
        "limit_reached_late", "steps", "last_step", "scatter", "fitted_from", "lifts_left_out",
    ),
    "list": ("lifter", "place", "circuit", "pads", "figure", "evidence", "lift"),
    "steps": ("lifter", "circuit", "figure", "unit", "at", "size", "scatter", "certain"),
    "services": (
        "lifter", "at", "about", "note", "who", "circuit", "figure", "unit", "before", "before_low", "before_high",
        "after", "after_low", "after_high", "better",
    ),
}  # fmt: skip
"""The tables and their columns. Dates are UTC; an empty cell is not known, or beyond ten years for a limit."""

TEXTS: Final = frozenset({"lifter", "circuit", "pads", "about", "note", "who", "evidence", "lift"})
"""Columns with text from outside."""

NOTHING: Final = Text("care.nothing", {})
NO_LIFT: Final = Text("maint.no_lift", {})

Row = dict[str, str]
Say = Callable[[Text], str]


def care_csv(cares: Sequence[Care], say: Say, table: str = "figures") -> str:
    """One of the tables in ``HEADS`` as CSV (RFC 4180)."""
    out = io.StringIO()
    writer = csv.DictWriter(out, HEADS[table], restval="")
    writer.writeheader()
    for care in cares:
        for row in rows(care_dict(care, say))[table]:
            writer.writerow({name: cell(value) if name in TEXTS else value for name, value in row.items()})
    return out.getvalue()


def care_text(cares: Sequence[Care], say: Say) -> str:
    """For a person at a terminal: the list, then every figure with its steps and services."""
    lines = []
    for care in cares:
        tables = rows(care_dict(care, say))
        lines.append(f"{care.trends.lifter}: {len(care.trends.ids)} lifts")
        for row in tables["list"]:
            pads = f" Pads: {row['pads']}." if row["pads"] else ""
            lift = f" Lift {row['lift']}." if row["lift"] else ""
            lines.append(f"  {row['place']}. {row['evidence']}{pads}{lift}")
        if not len(care.trends.ids):
            lines.append(f"  {say(NO_LIFT)}")
            continue
        if not tables["list"]:
            lines.append(f"  {say(NOTHING)}")
        if tables["figures"]:
            lines.append("  Figures, with their 5 % and 95 % bounds in brackets; dates are UTC:")
        for row in tables["figures"]:
            lines.append(f"  {_figure_said(row)}")
            lines += [f"    {_step_said(one)}" for one in tables["steps"] if _of(one) == _of(row)]
            lines += [f"    {_service_said(one)}" for one in tables["services"] if _of(one) == _of(row)]
        lines += [f"  {_service_said(one)}" for one in tables["services"] if not one["figure"]]
    return "\n".join([*lines, say(CAUTION), ""])


def rows(told: Mapping[str, Any]) -> dict[str, list[Row]]:
    """The tables of one lifter as ``care_dict`` tells of it; cells are text."""
    lifter = {"lifter": told["lifter"]}
    tables: dict[str, list[Row]] = {name: [] for name in HEADS}
    for n, item in enumerate(told["list"], 1):
        tables["list"].append(lifter | {
            "place": str(n), "circuit": item["circuit"] or "", "pads": ", ".join(item["pads"]), "figure": item["figure"],
            "evidence": item["words"], "lift": item["lift"] or "",
        })  # fmt: skip
    compared: dict[float, list[Row]] = {}
    for circuit, figure, trend in _trends(told):
        of = lifter | {"circuit": circuit, "figure": figure, "unit": UNITS[figure]}
        tables["figures"].append(of | _figure(trend))
        for step in trend.get("steps", ()):
            tables["steps"].append(of | {
                "at": _date(step["utc_s"]), "size": _number(step["size"]), "scatter": _number(step["scatter"]),
                "certain": "yes" if step["certain"] else "no",
            })  # fmt: skip
        for one in trend.get("services", ()):
            sides = _bounds("before", one["before"]) | _bounds("after", one["after"])
            compared.setdefault(one["utc_s"], []).append(of | sides | {"better": BETTER[one["better"]]})
    nothing = dict.fromkeys(HEADS["services"], "")
    for one in told["services"]:
        noted = lifter | {"at": _date(one["utc_s"]), "about": one["about"], "note": one["note"], "who": one["who"]}
        tables["services"] += [row | noted for row in compared.get(one["utc_s"], [nothing])]
    return tables


def _trends(told: Mapping[str, Any]) -> Iterator[tuple[str, str, Mapping[str, Any]]]:
    """Circuit, figure and what is told of it; a figure that no lift measured is a row without values."""
    for circuit, figures in told["circuits"].items():
        for figure, trend in figures.items():
            if figure in ("over_sisters", "temperature_per_k"):
                if trend is not None:
                    yield circuit, figure, {"level": trend}
            else:
                yield circuit, figure, trend
    yield "", "battery", told["battery"]


def _figure(trend: Mapping[str, Any]) -> Row:
    slope, reach, steps = trend.get("slope_per_day"), trend.get("limit_reached") or {}, trend.get("steps", ())
    change = None if slope is None else {name: YEAR_DAYS * value for name, value in slope.items()}
    dates = {f"limit_reached_{name}": _date(reach.get(name)) for name in ("early", "likely", "late")}
    return _bounds("level", trend["level"]) | _bounds("change", change, "change_per_year") | dates | {
        "lifts": _number(trend.get("n")),
        "limit": _number(trend.get("limit")),
        "limit_reached": "now" if reach.get("now") else "",
        "steps": str(len(steps)) if "steps" in trend else "",
        "last_step": _date(steps[-1]["utc_s"]) if steps else "",
        "scatter": _number(trend.get("scatter")),
        "fitted_from": _date(trend.get("fitted_from")),
        "lifts_left_out": _number(trend.get("left_out_n")),
    }  # fmt: skip


def _bounds(name: str, bounds: Mapping[str, float] | None, likely: str = "") -> Row:
    at = bounds or {}
    values = {likely or name: at.get("likely"), f"{name}_low": at.get("low"), f"{name}_high": at.get("high")}
    return {column: _number(value) for column, value in values.items()}


def _of(row: Row) -> tuple[str, str]:
    return row["circuit"], row["figure"]


def _figure_said(row: Row) -> str:
    whose = f"circuit {row['circuit']}, " if row["circuit"] else ""
    said = [f"{whose}{NAMES[row['figure']]}, {row['unit']}: {_range(row, 'level')}"]
    if row["lifts"] not in ("", "0"):
        since = f" (level and change since {row['fitted_from']})" if row["fitted_from"] else ""
        said.append(f"{row['lifts']} lifts{since}")
    if row["lifts_left_out"] not in ("", "0"):
        said.append(f"{row['lifts_left_out']} left out, known too shortly")
    if row["change_per_year"]:
        said.append(f"change a year {_range(row, 'change', 'change_per_year')}")
    if row["scatter"]:
        said.append(f"scatter {row['scatter']}")
    if row["limit"]:
        said.append(f"limit {row['limit']}{_reach_said(row)}")
    if row["steps"] not in ("", "0"):
        said.append(f"steps: {row['steps']}, the last on {row['last_step']}")
    return "; ".join(said)


def _reach_said(row: Row) -> str:
    if row["limit_reached"]:
        return ", reached now"
    early, likely, late = (row[f"limit_reached_{name}"] for name in ("early", "likely", "late"))
    if not (early or likely or late):
        return ""
    beyond = "over ten years away"
    return f", reached on {early or beyond} at the earliest, likely {likely or beyond}, at the latest {late or beyond}"


def _step_said(row: Row) -> str:
    kind = "step" if row["certain"] == "yes" else "possible step"
    return f"{kind} of {row['size']} on {row['at']}; scatter {row['scatter']}"


def _service_said(row: Row) -> str:
    said = f"service on {row['at']}, {row['about'] or 'lifter'}, by {row['who']}: {row['note']}"
    if not row["figure"]:
        return said
    return f"{said}; {row['unit']} before {_range(row, 'before')}, after {_range(row, 'after')}: {AFTER_SERVICE[row['better']]}"


def _range(row: Row, name: str, likely: str = "") -> str:
    middle = row[likely or name]
    return f"{middle} ({row[f'{name}_low']} to {row[f'{name}_high']})" if middle else "not known"


def _number(value: float | None) -> str:
    if value is None or not isfinite(value):
        return ""
    return str(value) if isinstance(value, int) else f"{value:.4g}"


def _date(utc_s: float | None) -> str:
    return "" if utc_s is None else f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d}"
