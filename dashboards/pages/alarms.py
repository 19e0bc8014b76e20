"""How the alarms behaved over the last hours, for the lift supervisor. Layout only."""

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final

from dash import html

from dashboards.pages.parts import paper
from monitor.core.alarm_stats import statistics
from monitor.words.alarm_figures import figures
from monitor.words.languages import ENGLISH, Speaker

if TYPE_CHECKING:
    from monitor.store.records import Reader

SPANS_H: Final = {"the last hour": 1, "a day": 24, "a week": 168, "four weeks": 672}


def layout(
    store: "Callable[[], Reader]", now_utc_s: float, query: Mapping[str, str], speaker: Speaker = ENGLISH
) -> Any:
    """The figures of the last ``?hours=`` (24 when left out), of ``?lifter=`` alone if it is named."""
    asked = query.get("hours", "")
    hours = min(max(int(asked), 1), 87_600) if asked.isdecimal() and len(asked) < 7 else 24
    lifter = query.get("lifter") or None
    said = statistics(store().alarm_moves(until=now_utc_s, lifter=lifter), now_utc_s - 3600.0 * hours, now_utc_s)
    more = f"&lifter={lifter}" if lifter else ""
    spans = [
        part for name, span_h in SPANS_H.items() for part in (html.A(name, href=f"/alarms?hours={span_h}{more}"), " · ")
    ]
    rows = [html.Tr([html.Th(name), html.Td(value), html.Td(wanted)]) for name, value, wanted in figures(said)]
    heads = html.Thead(html.Tr([html.Th(""), html.Th(f"Last {hours} h"), html.Th("Wanted by the standards")]))
    return paper(
        [
            html.H1("Alarm figures"),
            html.P(["Of ", lifter or "every lifter", ". Show ", *spans[:-1], "."]),
            html.Div(html.Table([heads, html.Tbody(rows)]), className="wide"),
            html.P(
                "Figures of ISA-18.2 / IEC 62682 and EEMUA 191, made for plants with operators at desks: take them as a "
                "measure of whether people still believe the alarms. They say nothing about a lift."
            ),
            html.P(
                [html.A("What each alarm means", href="/help/alarms"), " · ", html.A("Finished lifts", href="/lifts")]
            ),
        ],
        speaker,
    )
