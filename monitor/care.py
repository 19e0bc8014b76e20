"""Trends and maintenance list of the lifters of a data folder: read, followed, and told as JSON (``care_tables``: the rest)."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
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
        "limit": trend.limit,
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


def _bounds(bounds: Bounds | None) -> dict[str, float] | None:
    if bounds is None or not isfinite(bounds.likely):
        return None
    return {"low": bounds.low, "likely": bounds.likely, "high": bounds.high}
