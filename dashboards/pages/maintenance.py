"""What to look at on each lifter, and the trends it follows from. Layout only."""

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, Final
from urllib.parse import urlencode
from zoneinfo import ZoneInfo

import numpy as np
from dash import html

from dashboards.figures import about, figure
from dashboards.pages.parts import paper, wide
from dashboards.trend_desk import Caring
from dashboards.words import Voice
from monitor.care import CAUTION, Care
from monitor.core.lifter_trends import CircuitTrends, Service
from monitor.core.maintenance import Figure, Item
from monitor.core.trends import BeforeAfter, Bounds, Trend
from monitor.words.english import TEMPLATES
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.quantities import Unit
from monitor.words.say import say as say_text

FIGURES: Final[Mapping[str, str]] = {
    "leak": "leak_kpa_per_min",
    "pump_down": "pump_down_s",
    "duty": "duty_percent",
    "zero": "zero_kpa",
    "apart": "apart_kpa",
    "battery": "battery_v",
}
"""Each figure with a name whose suffix says its unit."""

SORTS: Final = ("urgency", "circuit", "figure")
YEAR_DAYS: Final = 365.25
PARTS: Final = ("circuit ", "", "pump ", "gauge ")
"""What a service note about a circuit may begin with."""

EVIDENCE: Final[Mapping[Figure, tuple[str, str]]] = {
    Figure.SEAL_TEST: ("tests", "#seal-tests"),
    Figure.INSPECTION: ("noted", "#services"),
    Figure.EXAMINATION: ("setting", "/help/settings"),
}
"""The link to an item's evidence where that is no trend: its word, and where on this page or elsewhere it leads."""

COLUMNS: Final = ("circuit", "figure", "now", "change", "limit", "early", "likely", "late", "steps", "last_step")
NONE: Final = "–"

Query = Mapping[str, str]


def layout(
    caring: Caring | None, query: Query, speaker: Speaker = ENGLISH, refused: Mapping[str, Any] | None = None
) -> Any:
    """``?site= &lifter= &circuit= &figure= &sort= &since= &until=``: one lifter's list, figures and tables.

    Of a site that was collected from elsewhere: without what its own pages alone can do (its lifts, notes, CSV, refusals).
    ``refused`` is what the engine says of the last hour's messages, by lifter; None while it is silent.
    """
    voice = Voice(speaker) if caring is None else Voice(speaker, ZoneInfo(caring.time_zone))
    if caring is None or not caring.cares:
        return paper([html.H1(voice.say("page.maintenance")), html.P(voice.say("maint.none"))], speaker)
    lifter = query.get("lifter", "")
    if lifter not in caring.cares:
        lifter = next(iter(caring.cares))
    care, config = caring.cares[lifter], caring.configs[lifter]
    title = html.H1(voice.say("maint.title", lifter=config.name or lifter, at=caring.site))
    if not len(care.trends.ids):
        return paper([title, html.P(voice.say("maint.no_lift")), *_refused(caring, lifter, refused, voice)], speaker)
    wanted = query.get("figure", "leak") if query.get("figure", "leak") in FIGURES else "leak"
    circuit = query.get("circuit", "") if query.get("circuit", "") in care.trends.circuits else ""
    content = [
        title,
        html.P(say_text(CAUTION, speaker), className="caution-line"),
        html.H2(voice.say("maint.list")),
        _list(caring, lifter, circuit, query.get("sort", "urgency"), voice),
        _filter(caring, lifter, circuit, wanted, query, voice),
        html.H2(voice.say(f"maint.figure.{wanted}"), id="trend"),
        *_graphs(care, circuit, wanted, caring.now_utc_s, query, voice),
        html.H2(voice.say("maint.figures")),
        wide(_table(care, circuit, voice), "figures"),
        html.H2(voice.say("maint.seal_tests"), id="seal-tests"),
        _seal_tests(care, circuit, voice, linked=caring.is_own),
        html.H2(voice.say("maint.services"), id="services"),
        _services(care, circuit, voice),
    ]
    content += _refused(caring, lifter, refused, voice)
    if caring.is_own:
        content += [html.H2(voice.say("maint.note_one")), _note(lifter, care, voice)]
    return paper(content, speaker)


def _filter(caring: Caring, lifter: str, circuit: str, wanted: str, query: Query, voice: Voice) -> Any:
    def select(name: str, choices: Mapping[str, str], chosen: str) -> Any:
        options = [html.Option(words, value=value, selected=value == chosen) for value, words in choices.items()]
        return html.Label([voice.say(f"maint.{name}"), html.Select(options, name=name)])

    def day(name: str) -> Any:
        return html.Label([voice.say(f"maint.{name}"), _date_place(name, query.get(name, ""))])

    lifters = {name: config.name or name for name, config in caring.configs.items()}
    circuits = {"": voice.say("maint.all"), **{name: name for name in caring.cares[lifter].trends.circuits}}
    csv = html.A(voice.say("maint.csv"), href=f"/api/trends.csv?{urlencode({'lifter': lifter})}", className="button")
    site = html.Label(
        [voice.say("fleet.site"), html.Select([html.Option(caring.site, value=caring.site)], name="site")]
    )
    return html.Form(
        [
            *([] if caring.is_own else [site]),
            select("lifter", lifters, lifter),
            select("circuit", circuits, circuit),
            select("figure", {name: voice.say(f"maint.figure.{name}") for name in FIGURES}, wanted),
            select("sort", {name: voice.say(f"maint.sort.{name}") for name in SORTS}, query.get("sort", "urgency")),
            day("since"),
            day("until"),
            html.Button(voice.say("maint.show"), type="submit"),
            *([csv] if caring.is_own else []),
        ],
        method="get",
        action="/maintenance",
        className="filter",
    )


def _date_place(name: str, value: str) -> Any:
    """Where the script puts a day field: the framework's own would bring its own calendar."""
    data: dict[str, Any] = {"data-name": name, "data-value": value}
    return html.Div(className="date-place", **data)


def _list(caring: Caring, lifter: str, circuit: str, sort: str, voice: Voice) -> Any:
    care = caring.cares[lifter]
    found = [item for item in care.items if not circuit or item.circuit in {circuit, None}]
    if sort == "circuit":
        found.sort(key=lambda item: (item.circuit or "", item.urgency))
    elif sort == "figure":
        found.sort(key=lambda item: (item.figure, item.urgency))
    if not found:
        return html.P(voice.say("care.nothing"))
    return html.Ol([_item(item, caring, voice) for item in found], className="care-list")


def address(caring: Caring, lifter: str, **query: str) -> str:
    """Where a lifter's maintenance page is, of this site or of one collected from elsewhere."""
    site = {} if caring.is_own else {"site": caring.site}
    return f"/maintenance?{urlencode({**site, 'lifter': lifter, **query})}"


def _item(item: Item, caring: Caring, voice: Voice) -> Any:
    pads = f" {voice.say('care.pads', pads=', '.join(item.pads))}" if item.pads else ""
    what, place = EVIDENCE.get(item.figure, ("trend", "#trend"))
    if item.figure is Figure.EXAMINATION:
        href = place
    else:
        figure = {"figure": item.figure.value} if item.figure.value in FIGURES else {}
        href = address(caring, item.lifter, circuit=item.circuit or "", **figure) + place
    links = [html.A(voice.say(f"maint.{what}"), href=href)]
    if item.lift and caring.is_own:
        links.append(html.A(voice.say("maint.lift"), href=f"/lifts?{urlencode({'id': item.lift})}"))
    spaced: list[Any] = [part for link in links for part in (" ", link)]
    return html.Li([say_text(item.evidence, voice.speaker) + pads, *spaced])


def _unit(wanted: str, voice: Voice) -> Unit:
    """The unit a figure is shown in; a share is shown in per cent."""
    unit = voice.unit(FIGURES[wanted])
    return Unit(unit.words, 100.0) if wanted == "duty" else unit


def _graphs(care: Care, circuit: str, wanted: str, now_utc_s: float, query: Query, voice: Voice) -> list[Any]:
    since, until = _day(query.get("since", ""), voice.zone), _day(query.get("until", ""), voice.zone, end=True)
    trends = care.trends
    shown: list[tuple[str, Trend, tuple[str, ...]]]
    if wanted == "battery":
        shown = [(voice.say("maint.battery"), trends.battery, ("battery",))]
    else:
        shown = [
            (voice.say("circuit.name", circuit=name), getattr(one, wanted), tuple(f"{part}{name}" for part in PARTS))
            for name, one in trends.circuits.items()
            if not circuit or name == circuit
        ]
    graphs: list[Any] = []
    for title, trend, noted in shown:
        if not len(trend.values):
            graphs.append(html.P(voice.say("maint.not_measured", what=title)))
            continue
        places = np.searchsorted(trends.utc_s, trend.utc_s)
        drawn = figure(
            trend,
            [trends.ids[n] for n in places],
            title=title,
            unit=_unit(wanted, voice),
            voice=voice,
            services=[one for one in trends.services if one.about in {*noted, "", "lifter"}],
            now_utc_s=now_utc_s,
            limit=trend.limit,
            since_utc_s=since,
            until_utc_s=until,
        )
        graphs.append(_graph(voice.say("maint.drawn", what=title), drawn))
    return [*graphs, html.P(voice.say("maint.press"))]


def _graph(says: str, drawn: Mapping[str, Any]) -> Any:
    """Where the script draws a figure. The framework's own component would bring three more bundles."""
    data: dict[str, Any] = {"data-figure": json.dumps(drawn, separators=(",", ":"))}
    return html.Div(className="trend-graph", role="figure", title=says, **data)


def _rows(heads: Sequence[str], rows: Sequence[Any]) -> Any:
    return html.Table([html.Thead(html.Tr([html.Th(head) for head in heads])), html.Tbody(rows)])


def _table(care: Care, circuit: str, voice: Voice) -> Any:
    rows = []
    for name, one in care.trends.circuits.items():
        if circuit and name != circuit:
            continue
        for wanted in ("leak", "pump_down", "duty", "zero", "apart"):
            trend: Trend = getattr(one, wanted)
            if len(trend.values):
                rows.append(_row(name, wanted, trend, voice))
        rows += _more(one, voice)
    if len(care.trends.battery.values):
        rows.append(_row(NONE, "battery", care.trends.battery, voice))
    return _rows([voice.say(f"maint.{name}") for name in COLUMNS], rows)


def _row(circuit: str, wanted: str, trend: Trend, voice: Voice) -> Any:
    unit = _unit(wanted, voice)
    slope = trend.slope_per_day
    change = None if slope is None else Bounds(*(YEAR_DAYS * value for value in (slope.low, slope.likely, slope.high)))
    reach = trend.reach
    dates = (NONE, NONE, NONE)
    if reach is not None and reach.now:
        dates = (voice.say("maint.reached"),) * 3
    elif reach is not None:
        dates = (voice.day(reach.early_utc_s), voice.day(reach.likely_utc_s), voice.day(reach.late_utc_s))
    cells = (
        circuit,
        voice.say("maint.in_unit", what=voice.say(f"maint.figure.{wanted}"), unit=unit.words),
        _bounds(trend.level, unit, voice),
        _bounds(change, Unit("", unit.scale), voice),
        NONE if trend.limit is None else voice.figure(unit.of(trend.limit)),
        *dates,
        str(len(trend.steps)),
        voice.day(trend.steps[-1].utc_s) if trend.steps else NONE,
    )
    return html.Tr([html.Td(cell) for cell in cells])


def _more(one: CircuitTrends, voice: Voice) -> list[Any]:
    rows = []
    if one.sisters is not None:
        rows.append((one.id, voice.say("maint.sisters"), _bounds(one.sisters, Unit(""), voice)))
    if one.thin_n:
        rows.append((one.id, voice.say("maint.thin"), str(one.thin_n)))
    return [html.Tr([html.Td(cell) for cell in (*row, *[""] * (len(COLUMNS) - len(row)))]) for row in rows]


def _seal_tests(care: Care, circuit: str, voice: Voice, *, linked: bool) -> Any:
    tests = [test for test in reversed(care.seal_tests) if not circuit or circuit in test["circuits"]]
    if not tests:
        return html.P(voice.say("maint.no_seal_test"))
    rows = [
        html.Tr(
            [
                html.Td(_day_of(test, voice, linked=linked)),
                html.Td(voice.named("seal", test["test"])),
                html.Td(test["who"]),
                html.Td(html.Ul([html.Li(said) for said in _said(test, circuit, voice)], className="plain")),
            ]
        )
        for test in tests
    ]
    heads = [voice.say(f"maint.{name}") for name in ("day", "test", "by", "result")]
    return wide(_rows(heads, rows), "seal-tests")


def _day_of(test: Mapping[str, Any], voice: Voice, *, linked: bool) -> Any:
    day = voice.day(test["asked"])
    return html.A(day, href=f"/lifts?{urlencode({'id': test['lift']})}") if linked else day


def _said(test: Mapping[str, Any], circuit: str, voice: Voice) -> list[str]:
    return [
        voice.say("lift.circuit_said", circuit=name, words=voice.told(one, "words", "text"))
        for name, one in test["circuits"].items()
        if not circuit or name == circuit
    ]


def _services(care: Care, circuit: str, voice: Voice) -> Any:
    compared = {
        (service.utc_s, f"circuit {name}"): service
        for name, one in care.trends.circuits.items()
        for service in one.leak.services
    }
    rows = [
        _service_row(one, compared.get((one.utc_s, f"circuit {one.about.removeprefix('circuit ')}")), voice)
        for one in reversed(care.trends.services)
        if not circuit or one.about in {circuit, f"circuit {circuit}"}
    ]
    if not rows:
        return html.P(voice.say("maint.no_service"))
    unit = _unit("leak", voice).words
    heads = [voice.say(f"maint.{name}") for name in ("day", "about", "note", "by")]
    heads += [voice.say("maint.before", unit=unit), voice.say("maint.after", unit=unit), voice.say("maint.less")]
    return wide(_rows(heads, rows[:50]))


def _service_row(one: Service, found: BeforeAfter | None, voice: Voice) -> Any:
    cells = [voice.day(one.utc_s), about(one.about, voice), one.note, one.who]
    if found is None:
        cells += [NONE, NONE, NONE]
    else:
        less = {True: "yes", False: "no", None: "unknown"}[found.better]
        unit = _unit("leak", voice)
        cells += [_bounds(found.before, unit, voice), _bounds(found.after, unit, voice)]
        cells.append(voice.say(f"maint.less.{less}"))
    return html.Tr([html.Td(cell) for cell in cells])


def _refused(caring: Caring, lifter: str, refused: Mapping[str, Any] | None, voice: Voice) -> list[Any]:
    """How much of the lifter's messages was refused, and of the last where, what, what is allowed and what to do."""
    if not caring.is_own:
        return []
    head = html.H2(voice.say("maint.refused"), id="refused")
    if refused is None or lifter not in refused:
        return [head, html.P(voice.say(f"maint.refused.{'unknown' if refused is None else 'none'}"))]
    told, last = refused[lifter], refused[lifter]["last"]
    said = {"clock": voice.clock(last["at"]), "found": last["found"]}
    why = f"maint.refused.why.{last['reason']}"
    why = (
        why
        if why in TEMPLATES and (last.get("allowed") or last["reason"] != "out_of_range")
        else "maint.refused.why.other"
    )
    where = (
        voice.say("maint.refused.last_in", field=last["field"], **said)
        if last["field"]
        else voice.say("maint.refused.last", **said)
    )
    return [
        head,
        *(
            html.P(voice.say(f"maint.refused.{kind}", **{f"{kind}_n": told[f"{kind}_n"]}))
            for kind in ("messages", "values")
            if told[f"{kind}_n"]
        ),
        html.P(where, className="refused"),
        html.P(voice.say(why, allowed=last.get("allowed", ""))),
        html.P(
            [
                voice.say("maint.refused.do"),
                " ",
                html.A(voice.say("maint.refused.help"), href="/help/connecting-hardware"),
            ]
        ),
    ]


def _note(lifter: str, care: Care, voice: Voice) -> Any:
    data: dict[str, Any] = {"data-lifter": lifter}
    parts = [f"{part} {name}" for part in ("circuit", "pump", "gauge") for name in care.trends.circuits]
    noted = [html.Option(about(one, voice), value=one) for one in (*parts, "battery", "inspection", "lifter")]
    return html.Form(
        [
            html.Label([voice.say("maint.about"), html.Select(noted, name="about")]),
            html.Label(
                [voice.say("maint.what_done"), html.Textarea("", name="note", maxLength=200, required=True, rows=2)]
            ),
            html.Button(voice.say("maint.note_it"), type="submit"),
            html.P("", id="note-answer", role="status"),
        ],
        id="note-form",
        className="filter",
        **data,
    )


def _bounds(bounds: Bounds | None, unit: Unit, voice: Voice) -> str:
    if bounds is None or bounds.likely != bounds.likely:
        return NONE
    likely, low, high = (voice.figure(unit.of(value)) for value in (bounds.likely, bounds.low, bounds.high))
    return voice.say("maint.between", n=likely, start=low, end=high)


def _day(text: str, zone: ZoneInfo, *, end: bool = False) -> float | None:
    """The beginning (or end) of a day in site time; None for no day."""
    try:
        begins = datetime.fromisoformat(text).replace(tzinfo=zone).timestamp()
    except ValueError:
        return None
    return begins + (86_400.0 if end else 0.0)
