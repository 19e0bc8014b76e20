"""Trends as figures for the plotting library: plain data, no import of it. Axis titles carry units; gaps are gaps."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final

import numpy as np

from dashboards.words import Voice
from monitor.core.lifter_trends import Service
from monitor.core.trends import DAY_S, Trend
from monitor.words.english import TEMPLATES
from monitor.words.quantities import Unit

POINTS_MOST_N: Final = 700
"""Points drawn; of more lifts evenly spaced ones. A shorter time shows every lift."""

DATES: Final = (
    {"dtickrange": [None, 86_399_999], "value": "%m-%d %H:%M"},
    {"dtickrange": [86_400_000, "M1"], "value": "%Y-%m-%d"},
    {"dtickrange": ["M1", None], "value": "%Y-%m"},
)
"""How the axis tells dates, by the span between two of its marks: as ISO 8601, which reads alike in every language."""

AHEAD_DAYS: Final = 730.0
INK, BAND, LIMIT, NOTE = "#2f86cc", "rgba(47,134,204,0.25)", "#d3202f", "#8a7a10"


def figure(
    trend: Trend,
    lift_ids: Sequence[str],
    *,
    title: str,
    unit: Unit,
    voice: Voice,
    services: Sequence[Service],
    now_utc_s: float,
    limit: float | None,
    since_utc_s: float | None = None,
    until_utc_s: float | None = None,
) -> dict[str, Any]:
    """One figure over the lifts, with its line, bounds, limit, steps and service notes.

    Args:
        trend: What is drawn.
        lift_ids: Shape (n,), the lift of each of its values; a click on a point leads there.
        title: What it is drawn of.
        unit: In which unit; the title of the value's axis.
        voice: The viewer's words and the site's time.
        services: Notes drawn as lines.
        now_utc_s: Where the forecast begins.
        limit: Service limit, as the trend has it.
        since_utc_s: Only lifts from here on.
        until_utc_s: Only lifts up to here.
    """

    def at(utc_s: float) -> str:
        return datetime.fromtimestamp(utc_s, voice.zone).strftime("%Y-%m-%d %H:%M")

    chosen = np.flatnonzero((trend.utc_s >= (since_utc_s or 0.0)) & (trend.utc_s <= (until_utc_s or float("inf"))))
    shown = chosen[thinned(len(chosen))]
    points = {
        "type": "scatter",
        "mode": "markers",
        "name": "lifts",
        "x": [at(float(trend.utc_s[n])) for n in shown],
        "y": [round(unit.of(float(trend.values[n])), 4) for n in shown],
        "customdata": [lift_ids[n] for n in shown],
        "marker": {"size": 5, "color": INK, "opacity": 0.55},
        "hovertemplate": "%{x}<br>%{y}<br>%{customdata}<extra></extra>",
    }
    data = [points, *_lines(trend, at, now_utc_s, limit)]
    for line in data[1:]:
        line["y"] = [round(unit.of(value), 5) for value in line["y"]]
    begin = float(trend.utc_s[chosen[0]]) if len(chosen) else now_utc_s
    shapes, notes = _marks(trend, services, at, begin, until_utc_s or float("inf"), voice)
    if limit is not None:
        limit = unit.of(limit)
        shapes.append({"type": "line", "xref": "paper", "x0": 0, "x1": 1, "y0": limit, "y1": limit,
                       "line": {"color": LIMIT, "dash": "dash", "width": 2}})  # fmt: skip
        notes.append({"xref": "paper", "x": 0.0, "xanchor": "left", "y": limit, "yanchor": "bottom", "showarrow": False,
                      "text": voice.say("maint.limit_line"), "font": {"size": 14}})  # fmt: skip
    return {
        "data": data,
        "layout": {
            "title": {"text": plain(title), "x": 0, "xanchor": "left", "font": {"size": 19}},
            "height": 380,
            "margin": {"l": 64, "r": 16, "t": 44, "b": 44},
            "paper_bgcolor": "rgba(0,0,0,0)",
            "plot_bgcolor": "rgba(0,0,0,0)",
            "showlegend": False,
            "hovermode": "closest",
            "font": {"family": '"Fira Sans Condensed", sans-serif', "size": 15},
            "separators": f"{voice.decimal_mark()} ",
            "xaxis": {
                "title": {"text": voice.say("maint.site_time", zone=voice.zone.key)},
                "type": "date",
                "tickformatstops": DATES,
                "hoverformat": "%Y-%m-%d %H:%M",
            },
            "yaxis": {
                "title": {"text": unit.words},
                "rangemode": "tozero",
            },
            "shapes": shapes,
            "annotations": notes,
        },
    }


def about(noted: str, voice: Voice) -> str:
    """What a service note is about, in the viewer's words; as it stands where it is of no kind known here."""
    part, _, circuit = noted.partition(" ")
    key = f"maint.about.{part or 'lifter'}"
    return voice.say(key, circuit=circuit) if key in TEMPLATES else noted


def plain(words: str) -> str:
    """Words from outside for a figure: the plotting library takes ``<b>``, ``<a href>`` and entities for its own marks."""
    return words.replace("&", "&amp;").replace("<", "&lt;")


def thinned(n: int) -> list[int]:
    """Places of ``n`` lifts to draw: all, or evenly spaced ones and always the last."""
    if n <= POINTS_MOST_N:
        return list(range(n))
    return [round(k * (n - 1) / (POINTS_MOST_N - 1)) for k in range(POINTS_MOST_N)]


def _lines(trend: Trend, at: Any, now_utc_s: float, limit: float | None) -> list[dict[str, Any]]:
    """The fitted line up to now, and its run on to the limit between its bounds."""
    if trend.level is None or trend.slope_per_day is None or trend.fitted_from_utc_s is None:
        return []
    from_utc_s = max(trend.fitted_from_utc_s, trend.steps[-1].utc_s if trend.steps else 0.0)
    back = trend.level.likely + trend.slope_per_day.likely * (from_utc_s - now_utc_s) / DAY_S
    lines = [_line([at(from_utc_s), at(now_utc_s)], [back, trend.level.likely], "trend", width=3)]
    reach = trend.reach
    if reach is None or reach.now or limit is None or reach.early_utc_s is None:
        return lines
    end = now_utc_s + AHEAD_DAYS * DAY_S
    worse, better = trend.level.high, trend.level.low
    if not trend.worse_up:
        worse, better = better, worse
    early = _until((now_utc_s, worse), reach.early_utc_s, limit, end)
    late = (end, better) if reach.late_utc_s is None else _until((now_utc_s, better), reach.late_utc_s, limit, end)
    # On along the limit to where the lower bound ends: the band between the two must not seem to fall again.
    ends = [early] if late[0] <= early[0] else [early, (late[0], early[1])]
    lines.append(_line([at(now_utc_s), *(at(one[0]) for one in ends)], [worse, *(one[1] for one in ends)], "early"))
    lines.append(_line([at(now_utc_s), at(late[0])], [better, late[1]], "late"))
    lines[-1] |= {"fill": "tonexty", "fillcolor": BAND}
    if reach.likely_utc_s is not None:
        likely = _until((now_utc_s, trend.level.likely), reach.likely_utc_s, limit, end)
        lines.append(
            _line([at(now_utc_s), at(likely[0])], [trend.level.likely, likely[1]], "likely", width=3, dash="dot")
        )
    return lines


def _until(begin: tuple[float, float], end_utc_s: float, limit: float, most_utc_s: float) -> tuple[float, float]:
    """Where a straight line from ``begin`` to the limit stands at its end or at the end of the figure."""
    utc_s, value = begin
    if end_utc_s <= most_utc_s:
        return end_utc_s, limit
    return most_utc_s, value + (limit - value) * (most_utc_s - utc_s) / max(end_utc_s - utc_s, 1.0)


def _line(x: list[str], y: list[float], name: str, *, width: int = 1, dash: str = "solid") -> dict[str, Any]:
    return {
        "type": "scatter",
        "mode": "lines",
        "name": name,
        "x": x,
        "y": y,
        "line": {"color": INK, "width": width, "dash": dash},
        "hoverinfo": "skip",
    }


def _marks(
    trend: Trend, services: Sequence[Service], at: Any, since_utc_s: float, until_utc_s: float, voice: Voice
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Steps and service notes as upright lines with their words."""
    shapes, notes = [], []
    marks = [(one.utc_s, plain(f"{about(one.about, voice)}: {one.note}"[:40]), NOTE, "solid") for one in services]
    step, possible = voice.say("maint.step_line"), voice.say("maint.possible_step_line")
    marks += [(one.utc_s, step if one.certain else possible, INK, "dot") for one in trend.steps]
    for utc_s, words, colour, dash in sorted(marks)[-30:]:
        if not since_utc_s <= utc_s <= until_utc_s:
            continue
        shapes.append({"type": "line", "yref": "paper", "y0": 0, "y1": 1, "x0": at(utc_s), "x1": at(utc_s),
                       "line": {"color": colour, "width": 1.5, "dash": dash}})  # fmt: skip
        notes.append({"yref": "paper", "y": 1.0, "yanchor": "top", "x": at(utc_s), "xanchor": "right", "showarrow": False,
                      "textangle": -90, "text": words, "font": {"size": 13}})  # fmt: skip
    return shapes, notes
