"""The lifters of several sites, those that need attention first. Layout only."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from dash import html

from dashboards.pages.parts import paper
from dashboards.trend_desk import Caring
from dashboards.words import say
from monitor.care import CAUTION, Care
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.say import say as say_text

NOTHING: Final = 99.0
"""Urgency of a lifter about which the list says nothing."""


def layout(sites: Sequence[Caring], speaker: Speaker = ENGLISH) -> Any:
    """One line a lifter: its site, how many lifts, the most urgent finding, and how many more there are."""
    rows = [
        (_urgency(care), site.site, name, care, ZoneInfo(site.time_zone))
        for site in sites
        for name, care in site.cares.items()
    ]
    if not rows:
        return paper(
            [html.H1(say("page.fleet", speaker)), html.P("No lifts yet, here or collected from other sites.")], speaker
        )
    rows.sort(key=lambda row: row[:3])
    heads = ("Site", "Lifter", "Lifts", "Last lift", "What to look at first", "More")
    table = html.Table(
        [
            html.Thead(html.Tr([html.Th(head) for head in heads])),
            html.Tbody([_row(site, name, care, zone, speaker) for _, site, name, care, zone in rows]),
        ]
    )
    how = (
        "Sites send their backups as files; collect puts them here. Each site's own pages and the trends command have the "
        "figures behind a line."
    )
    content = [html.H1(say("page.fleet", speaker)), html.P(CAUTION), html.Div(table, className="wide", tabIndex=0)]
    return paper([*content, html.P(how)], speaker)


def _urgency(care: Care) -> float:
    return care.items[0].urgency if care.items else NOTHING


def _row(site: str, name: str, care: Care, zone: ZoneInfo, speaker: Speaker) -> Any:
    trends = care.trends
    last = f"{datetime.fromtimestamp(float(trends.utc_s[-1]), zone):%Y-%m-%d}" if len(trends.utc_s) else "–"
    first = say_text(care.items[0].evidence, speaker) if care.items else "Nothing stands out in these lifts."
    more = str(len(care.items) - 1) if len(care.items) > 1 else "–"
    return html.Tr([html.Td(cell) for cell in (site, name, str(len(trends.ids)), last, first, more)])
