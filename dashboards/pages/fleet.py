"""The lifters of several sites, those that need attention first. Layout only."""

from collections.abc import Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from dash import html

from dashboards.pages.maintenance import address
from dashboards.pages.parts import paper, wide
from dashboards.trend_desk import Caring
from dashboards.words import Voice, say
from monitor.care import CAUTION, Care
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.say import say as say_text

NOTHING: Final = 99.0
"""Urgency of a lifter about which the list says nothing."""


def layout(sites: Sequence[Caring], speaker: Speaker = ENGLISH) -> Any:
    """One line a lifter: its site, how many lifts, the most urgent finding, and how many more there are."""
    title = html.H1(say("page.fleet", speaker))
    rows = [
        (_urgency(care), site.site, name, site, Voice(speaker, ZoneInfo(site.time_zone)))
        for site in sites
        for name, care in site.cares.items()
    ]
    if not rows:
        return paper([title, html.P(say("fleet.none", speaker))], speaker)
    rows.sort(key=lambda row: row[:3])
    heads = ("fleet.site", "maint.lifter", "fleet.first", "fleet.more", "fleet.lifts", "fleet.last")
    table = html.Table(
        [
            html.Thead(html.Tr([html.Th(say(head, speaker)) for head in heads])),
            html.Tbody([_row(site, name, voice) for _, _, name, site, voice in rows]),
        ],
        className="fleet",
    )
    caution = html.P(say_text(CAUTION, speaker), className="caution-line")
    how = html.P(say("fleet.how", speaker))
    return paper([title, caution, wide(table), how], speaker)


def _urgency(care: Care) -> float:
    return care.items[0].urgency if care.items else NOTHING


def _row(site: Caring, name: str, voice: Voice) -> Any:
    care = site.cares[name]
    lifter = html.A(site.configs[name].name or name, href=address(site, name))
    first = say_text(care.items[0].evidence, voice.speaker) if care.items else voice.say("care.nothing")
    more = str(len(care.items) - 1) if len(care.items) > 1 else "–"
    lifts = care.trends.utc_s
    last = voice.day(float(lifts[-1]) if len(lifts) else None)
    return html.Tr([html.Td(cell) for cell in (site.site, lifter, first, more, str(len(lifts)), last)])
