"""What to look at on each lifter, and the trends it follows from. Layout only."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from importlib.metadata import version
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import numpy as np
from dash import html

from dashboards.figures import figure
from dashboards.pages.parts import paper
from dashboards.trend_desk import Caring
from dashboards.words import say
from monitor.care import CAUTION, Care
from monitor.core.lifter_trends import CircuitTrends, Service
from monitor.core.maintenance import Item
from monitor.core.trends import Bounds, Trend
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.say import say as say_text

FIGURES: Final[Mapping[str, tuple[str, str]]] = {
    "leak": ("Leak at the reference conditions", "leak, kPa/min"),
    "pump_down": ("Pump-down to the warning level", "time, s"),
    "duty": ("Pump on, share of the lift", "share of the lift"),
    "zero": ("Gauge with the pads open", "off zero, kPa"),
    "apart": ("Gauges of one circuit apart", "apart, kPa"),
    "battery": ("Lowest battery of a lift", "battery, V"),
}
SORTS: Final[Mapping[str, str]] = {"urgency": "most urgent first", "circuit": "by circuit", "figure": "by what it is"}
YEAR_DAYS: Final = 365.25
PARTS: Final = ("circuit ", "", "pump ", "gauge ")
"""What a service note about a circuit may begin with."""

LIBRARY: Final = f"/_dash-component-suites/plotly/package_data/plotly.min.js?v={version('plotly')}"

Query = Mapping[str, str]


def layout(caring: Caring | None, query: Query, speaker: Speaker = ENGLISH) -> Any:
    """``?lifter= &circuit= &figure= &sort= &since= &until=``: one lifter's list, figures and tables."""
    if caring is None or not caring.cares:
        return paper([html.H1("Maintenance"), html.P("No engine has worked on this site's records yet.")], speaker)
    lifter = query.get("lifter", "")
    if lifter not in caring.cares:
        lifter = next(iter(caring.cares))
    care, config, zone = caring.cares[lifter], caring.configs[lifter], ZoneInfo(caring.time_zone)
    if not len(care.trends.ids):
        words = "No finished lift yet: trends need some. A lift is recorded when it ends."
        return paper([html.H1(f"Maintenance: {config.name or lifter}"), html.P(words)], speaker)
    wanted = query.get("figure", "leak") if query.get("figure", "leak") in FIGURES else "leak"
    circuit = query.get("circuit", "") if query.get("circuit", "") in care.trends.circuits else ""
    content = [
        html.H1(f"Maintenance: {config.name or lifter}"),
        html.P(CAUTION, className="caution-line"),
        _filter(caring, lifter, circuit, wanted, query),
        html.H2("What to look at"),
        _list(care, circuit, query.get("sort", "urgency"), speaker),
        html.H2(FIGURES[wanted][0]),
        *_graphs(care, circuit, wanted, zone, caring.now_utc_s, query),
        html.H2("Trends in figures"),
        html.Div(_table(care, circuit, zone), className="wide", tabIndex=0),
        html.H2("Before and after service"),
        _services(care, circuit, zone),
        html.H2("Note a service"),
        _note(lifter, care),
    ]
    return paper(content, speaker)


def _filter(caring: Caring, lifter: str, circuit: str, wanted: str, query: Query) -> Any:
    def select(name: str, label: str, choices: Mapping[str, str], chosen: str) -> Any:
        options = [html.Option(words, value=value, selected=value == chosen) for value, words in choices.items()]
        return html.Label([label, html.Select(options, name=name)])

    def day(name: str, label: str) -> Any:
        return html.Label([label, _date_place(name, query.get(name, ""))])

    lifters = {name: config.name or name for name, config in caring.configs.items()}
    circuits = {"": "all", **{name: name for name in caring.cares[lifter].trends.circuits}}
    figures = {name: words for name, (words, _) in FIGURES.items()}
    return html.Form(
        [
            select("lifter", "Lifter", lifters, lifter),
            select("circuit", "Circuit", circuits, circuit),
            select("figure", "Figure", figures, wanted),
            select("sort", "List", SORTS, query.get("sort", "urgency")),
            day("since", "Lifts from"),
            day("until", "to"),
            html.Button("Show", type="submit"),
            html.A("Download CSV", href=f"/api/trends.csv?{urlencode({'lifter': lifter})}", className="button"),
        ],
        method="get",
        action="/maintenance",
        className="filter",
    )


def _date_place(name: str, value: str) -> Any:
    """Where the script puts a day field: the framework's own would bring its own calendar."""
    data: dict[str, Any] = {"data-name": name, "data-value": value}
    return html.Div(className="date-place", **data)


def _list(care: Care, circuit: str, sort: str, speaker: Speaker) -> Any:
    found = [item for item in care.items if not circuit or item.circuit in {circuit, None}]
    if sort == "circuit":
        found.sort(key=lambda item: (item.circuit or "", item.urgency))
    elif sort == "figure":
        found.sort(key=lambda item: (item.figure, item.urgency))
    if not found:
        return html.P("Nothing stands out in these lifts. That is no inspection.")
    return html.Ol([_item(item, care.trends.lifter, speaker) for item in found], className="care-list")


def _item(item: Item, lifter: str, speaker: Speaker) -> Any:
    pads = f" Pads {', '.join(item.pads)}." if item.pads else ""
    figure_of = item.figure.value if item.figure.value in FIGURES else "leak"
    query = {"lifter": lifter, "circuit": item.circuit or "", "figure": figure_of}
    links = [html.A("trend", href=f"/maintenance?{urlencode(query)}")] if item.figure.value in FIGURES else []
    if item.lift:
        links.append(html.A("lift", href=f"/lifts?{urlencode({'id': item.lift})}"))
    spaced: list[Any] = [part for link in links for part in (" ", link)]
    return html.Li([say_text(item.evidence, speaker) + pads, *spaced])


def _graphs(care: Care, circuit: str, wanted: str, zone: ZoneInfo, now_utc_s: float, query: Query) -> list[Any]:
    since, until = _day(query.get("since", ""), zone), _day(query.get("until", ""), zone, end=True)
    trends = care.trends
    shown: list[tuple[str, Trend, tuple[str, ...]]]
    if wanted == "battery":
        shown = [("Battery", trends.battery, ("battery",))]
    else:
        shown = [
            (say("circuit.name", circuit=one.id), getattr(one, wanted), tuple(f"{part}{one.id}" for part in PARTS))
            for name, one in trends.circuits.items()
            if not circuit or name == circuit
        ]
    graphs: list[Any] = []
    for title, trend, about in shown:
        if not len(trend.values):
            graphs.append(html.P(f"{title}: not measured on any lift."))
            continue
        places = np.searchsorted(trends.utc_s, trend.utc_s)
        graphs.append(
            _graph(
                title,
                figure(
                    trend,
                    [trends.ids[n] for n in places],
                    title=title,
                    axis=FIGURES[wanted][1],
                    services=[one for one in trends.services if one.about in {*about, "", "lifter"}],
                    zone=zone,
                    now_utc_s=now_utc_s,
                    limit=trend.limit,
                    since_utc_s=since,
                    until_utc_s=until,
                ),
            )
        )
    return [
        *graphs,
        html.P("A point is a lift: press it to open that lift with its trace. Choose fewer days to see every lift."),
    ]


def _graph(title: str, drawn: Mapping[str, Any]) -> Any:
    """Where the script draws a figure. The framework's own component would bring three more bundles."""
    data: dict[str, Any] = {"data-figure": json.dumps(drawn, separators=(",", ":")), "data-library": LIBRARY}
    return html.Div(className="trend-graph", role="img", title=f"{title}: lifts, trend, bounds and limit", **data)


def _table(care: Care, circuit: str, zone: ZoneInfo) -> Any:
    heads = (
        "Circuit",
        "Figure",
        "Now",
        "Change a year",
        "Limit",
        "Earliest",
        "Likely",
        "Latest",
        "Steps",
        "Last step",
    )
    rows = []
    for name, one in care.trends.circuits.items():
        if circuit and name != circuit:
            continue
        for wanted in ("leak", "pump_down", "duty", "zero", "apart"):
            trend: Trend = getattr(one, wanted)
            if len(trend.values):
                rows.append(_row(name, FIGURES[wanted][0], trend, zone))
        rows += _more(one)
    rows.append(_row("–", FIGURES["battery"][0], care.trends.battery, zone))
    return html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)])


def _row(circuit: str, words: str, trend: Trend, zone: ZoneInfo) -> Any:
    slope = trend.slope_per_day
    change = None if slope is None else Bounds(*(YEAR_DAYS * value for value in (slope.low, slope.likely, slope.high)))
    reach = trend.reach
    dates = ("–", "–", "–") if reach is None else tuple(
        "now" if reach.now else _date(at, zone) for at in (reach.early_utc_s, reach.likely_utc_s, reach.late_utc_s)
    )  # fmt: skip
    cells = (
        circuit,
        words,
        _bounds(trend.level),
        _bounds(change),
        "–" if trend.limit is None else f"{trend.limit:.3g}",
        *dates,
        str(len(trend.steps)),
        _date(trend.steps[-1].utc_s, zone) if trend.steps else "–",
    )
    return html.Tr([html.Td(cell) for cell in cells])


def _more(one: CircuitTrends) -> list[Any]:
    rows = []
    if one.sisters is not None:
        rows.append(
            html.Tr([html.Td(one.id), html.Td("Leak over that of its sister circuits"), html.Td(_bounds(one.sisters))])
        )
    if one.thin_n:
        rows.append(
            html.Tr([html.Td(one.id), html.Td("Lifts left out: leak known too shortly"), html.Td(str(one.thin_n))])
        )
    return rows


def _services(care: Care, circuit: str, zone: ZoneInfo) -> Any:
    heads = ("Day", "About", "Note", "By", "Before", "After", "Less")
    rows = []
    compared = {
        (service.utc_s, f"circuit {name}"): service
        for name, one in care.trends.circuits.items()
        for service in one.leak.services
    }
    for one in reversed(care.trends.services):
        found = compared.get((one.utc_s, one.about if one.about.startswith("circuit ") else f"circuit {one.about}"))
        if circuit and one.about not in {circuit, f"circuit {circuit}"}:
            continue
        rows.append(_service_row(one, found, zone))
    if not rows:
        return html.P("No service has been noted.")
    table = html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows[:50])])
    return html.Div(table, className="wide", tabIndex=0)


def _service_row(one: Service, found: Any, zone: ZoneInfo) -> Any:
    better = {True: "yes", False: "no", None: "can't tell"}
    cells = (
        _date(one.utc_s, zone),
        one.about or "lifter",
        one.note,
        one.who,
        "–" if found is None else f"{_bounds(found.before)} kPa/min",
        "–" if found is None else f"{_bounds(found.after)} kPa/min",
        "–" if found is None else better[found.better],
    )
    return html.Tr([html.Td(cell) for cell in cells])


def _note(lifter: str, care: Care) -> Any:
    data: dict[str, Any] = {"data-lifter": lifter}
    names: Sequence[str] = list(care.trends.circuits)
    about = [
        *(f"{part} {name}" for part in ("circuit", "pump", "gauge") for name in names),
        "battery",
        "inspection",
        "lifter",
    ]
    return html.Form(
        [
            html.Label(["About", html.Select([html.Option(one, value=one) for one in about], name="about")]),
            html.Label(["What was done", html.Textarea("", name="note", maxLength=200, required=True, rows=2)]),
            html.Button("Note it", type="submit"),
            html.P("", id="note-answer", role="status"),
        ],
        id="note-form",
        className="filter",
        **data,
    )


def _bounds(bounds: Bounds | None) -> str:
    if bounds is None or bounds.likely != bounds.likely:
        return "–"
    likely, low, high = (f"{round(value, 4) + 0.0:.3g}" for value in (bounds.likely, bounds.low, bounds.high))
    return f"{likely} ({low} to {high})"


def _date(utc_s: float | None, zone: ZoneInfo) -> str:
    return "–" if utc_s is None else f"{datetime.fromtimestamp(utc_s, zone):%Y-%m-%d}"


def _day(text: str, zone: ZoneInfo, *, end: bool = False) -> float | None:
    """The beginning (or end) of a day in site time; None for no day."""
    try:
        begins = datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()
    except ValueError:
        return None
    return begins + (86_400.0 if end else 0.0)
