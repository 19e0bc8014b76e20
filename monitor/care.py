"""Trends and maintenance list of the lifters of a data folder: read, followed, and told as JSON, text or CSV."""

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from math import isfinite
from typing import Any, Final
from zoneinfo import ZoneInfo

from monitor.core.config import LifterConfig
from monitor.core.lifter_trends import LifterTrends, follow
from monitor.core.maintenance import Item, items
from monitor.core.messages import Text
from monitor.core.trends import Bounds, Trend
from monitor.store.conditions import Lifts, not_sealed, services
from monitor.store.records import Reader

CAUTION: Final = Text("care.caution", {})
UNITS: Final[Mapping[str, str]] = {
    "leak": "kPa/min", "pump_down": "s", "duty": "ratio", "zero": "kPa", "apart": "kPa", "battery": "V",
}  # fmt: skip
CSV_HEADS: Final = (
    "lifter", "circuit", "figure", "unit", "lifts", "level", "level_low", "level_high", "change_per_year",
    "change_low", "change_high", "limit_reached_early", "limit_reached_likely", "limit_reached_late", "steps", "last_step",
)  # fmt: skip
YEAR_DAYS: Final = 365.25


@dataclass(frozen=True, slots=True)
class Care:
    """One lifter: its trends and its list."""

    trends: LifterTrends
    items: list[Item]
    seal_tests: Sequence[Mapping[str, Any]] = ()  # the newest, oldest first, as the records have them


class Carer:
    """Follows the lifters of one store; lifts read once are not read again. Not to be called from two threads at once."""

    def __init__(self, reader: Reader) -> None:
        self._reader = reader
        self._lifts: dict[str, Lifts] = {}
        self._made: dict[str, tuple[object, Care]] = {}

    def care(self, config: LifterConfig, time_zone: str, now_utc_s: float) -> Care:
        """What is to be said of a lifter now.

        Raises:
            StoreError: The store cannot be read.
        """
        lifts = self._lifts.setdefault(config.id, Lifts())
        lifts.add(self._reader.records_after(config.id, lifts.last_n))
        noted = services(self._reader.actions(config.id, limit=SERVICES_MOST_N, kinds=["service_note"]))
        key = (lifts.last_n, tuple(noted), config, int(now_utc_s // NOW_STEP_S))
        made = self._made.get(config.id)
        if made is None or made[0] != key:
            trends = follow(config, lifts.columns(), noted, now_utc_s)
            due = _day_begins(config.examination_due, time_zone)
            tests = tuple(lifts.seal_tests)
            made = (key, Care(trends, items(config, trends, now_utc_s, due, not_sealed(tests)), tests))
            self._made[config.id] = made
        return made[1]


SERVICES_MOST_N: Final = 10_000
NOW_STEP_S: Final = 3600.0
"""Trends of days need no newer "now" than of this hour."""


def _day_begins(date: str, time_zone: str) -> float | None:
    return datetime.fromisoformat(date).replace(tzinfo=ZoneInfo(time_zone)).timestamp() if date else None


def care_dict(care: Care, say: Callable[[Text], str]) -> dict[str, Any]:
    """As JSON. Times are UTC epoch seconds; a bound that is not known or beyond ten years is null."""
    trends = care.trends
    return {
        "lifter": trends.lifter,
        "lifts_n": len(trends.ids),
        "service_limit_kpa_per_min": trends.limit_kpa_per_min,
        "list": [
            {
                "circuit": item.circuit,
                "pads": list(item.pads),
                "figure": item.figure.value,
                "key": item.evidence.key,
                "values": dict(item.evidence.values),
                "words": say(item.evidence),
                "lift": item.lift,
            }
            for item in care.items
        ],
        "circuits": {
            name: {
                "leak": trend_dict(one.leak) | {"left_out_n": one.thin_n},
                "over_sisters": _bounds(one.sisters),
                "temperature_per_k": _bounds(one.temperature_per_k),
                "pump_down": trend_dict(one.pump_down),
                "duty": trend_dict(one.duty),
                "zero": trend_dict(one.zero),
                "apart": trend_dict(one.apart),
            }
            for name, one in trends.circuits.items()
        },
        "battery": trend_dict(trends.battery),
        "services": [
            {"utc_s": one.utc_s, "about": one.about, "note": one.note, "who": one.who} for one in trends.services
        ],
    }


def trend_dict(trend: Trend) -> dict[str, Any]:
    """One figure as JSON."""
    reach = trend.reach
    return {
        "n": len(trend.values),
        "level": _bounds(trend.level),
        "slope_per_day": _bounds(trend.slope_per_day),
        "scatter": trend.scatter,
        "fitted_from": trend.fitted_from_utc_s,
        "limit_reached": None
        if reach is None
        else {
            "early": reach.early_utc_s,
            "likely": reach.likely_utc_s,
            "late": reach.late_utc_s,
            "now": reach.now,
        },
        "steps": [
            {"utc_s": step.utc_s, "size": step.size, "scatter": step.scatter, "certain": step.certain}
            for step in trend.steps
        ],
        "services": [
            {"utc_s": one.utc_s, "before": _bounds(one.before), "after": _bounds(one.after), "better": one.better}
            for one in trend.services
        ],
    }


def care_csv(cares: list[Care]) -> str:
    """One row a figure (RFC 4180); dates in UTC."""
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(CSV_HEADS)
    for care in cares:
        for name, one in care.trends.circuits.items():
            for figure in ("leak", "pump_down", "duty", "zero", "apart"):
                table.writerow(_row(care.trends.lifter, name, figure, getattr(one, figure)))
        table.writerow(_row(care.trends.lifter, "", "battery", care.trends.battery))
    return out.getvalue()


def care_text(cares: list[Care], say: Callable[[Text], str]) -> str:
    """For a person at a terminal."""
    lines = []
    for care in cares:
        lines.append(f"{care.trends.lifter}: {len(care.trends.ids)} lifts")
        for n, item in enumerate(care.items, 1):
            pads = f" Pads: {', '.join(item.pads)}." if item.pads else ""
            lift = f" Lift {item.lift}." if item.lift else ""
            lines.append(f"  {n}. {say(item.evidence)}{pads}{lift}")
        if not care.items:
            lines.append("  Nothing stands out in these lifts.")
        for name, one in care.trends.circuits.items():
            if one.leak.level is not None:
                level = one.leak.level
                lines.append(
                    f"  circuit {name}: leak {level.likely:.3f} kPa/min ({level.low:.3f} to {level.high:.3f}) at the "
                    f"reference conditions, service at {care.trends.limit_kpa_per_min:g}; {len(one.leak.steps)} steps"
                )
    return "\n".join([*lines, say(CAUTION), ""])


def _row(lifter: str, circuit: str, figure: str, trend: Trend) -> list[object]:
    level, slope, reach = trend.level, trend.slope_per_day, trend.reach
    return [
        lifter,
        circuit,
        figure,
        UNITS[figure],
        len(trend.values),
        *(("", "", "") if level is None else (_number(level.likely), _number(level.low), _number(level.high))),
        *(
            ("", "", "")
            if slope is None
            else [_number(YEAR_DAYS * value) for value in (slope.likely, slope.low, slope.high)]
        ),
        *(("", "", "") if reach is None else map(_date, (reach.early_utc_s, reach.likely_utc_s, reach.late_utc_s))),
        len(trend.steps),
        _date(trend.steps[-1].utc_s) if trend.steps else "",
    ]


def _number(value: float) -> str:
    return f"{value:.4g}"


def _date(utc_s: float | None) -> str:
    return "" if utc_s is None else f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d}"


def _bounds(bounds: Bounds | None) -> dict[str, float] | None:
    if bounds is None or not isfinite(bounds.likely):
        return None
    return {"low": bounds.low, "likely": bounds.likely, "high": bounds.high}
