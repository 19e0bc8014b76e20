"""The alarms now, and how they behaved over the last hours, for the lift supervisor. Layout only."""

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import urlencode

from dash import html

from dashboards.pages import alarms_now
from dashboards.pages.parts import paper, wide
from dashboards.words import Voice, say
from monitor.clock import utc_of
from monitor.core.alarm_stats import statistics
from monitor.words.alarm_figures import figures

if TYPE_CHECKING:
    from monitor.store.records import Reader

SPANS_H: Final = (1, 24, 168, 672)


def layout(
    store: "Callable[[], Reader]",
    now_utc_s: float,
    query: Mapping[str, str],
    voice: Voice,
    statuses: Sequence[Mapping[str, Any]] | None,
) -> Any:
    """The alarms now, and figures of ``?hours=`` (24 when left out) up to ``?until=`` (now), of ``?lifter=`` alone if named.

    ``statuses``: what the engine says now; ``None`` while it says nothing.
    """
    speaker = voice.speaker
    asked = query.get("hours", "")
    hours = min(max(int(asked), 1), 87_600) if asked.isdecimal() and len(asked) < 7 else 24
    lifter = query.get("lifter") or None
    until, until_s = query.get("until", ""), now_utc_s
    try:
        until_s = min(utc_of(until), now_utc_s)
    except (ValueError, OverflowError):
        until = ""
    said = statistics(store().alarm_moves(until=until_s, lifter=lifter), until_s - 3600.0 * hours, until_s)
    kept = {name: value for name, value in (("lifter", lifter), ("until", until)) if value}
    spans = [
        part
        for span_h in SPANS_H
        for part in (
            " · ",
            html.A(say(f"figures.span.{span_h}", speaker), href=f"/alarms?{urlencode({'hours': span_h, **kept})}"),
        )
    ]
    of = say("figures.of", speaker, lifter=lifter) if lifter else say("figures.of_all", speaker)
    shown = [status for status in statuses or () if lifter in (None, status["lifter"])]
    rows = [html.Tr([html.Th(name), html.Td(value), html.Td(wanted)]) for name, value, wanted in figures(said, speaker)]
    last = say("figures.head.until", speaker, hours_n=hours, at=until) if until else ""
    heads = [last or say("figures.head.last", speaker, hours_n=hours), say("figures.head.wanted", speaker)]
    head = html.Tr([html.Td(), *(html.Th(words, scope="col") for words in heads)])
    return paper(
        [
            *alarms_now.section(shown, None if statuses is None else now_utc_s, voice),
            html.H2(say("figures.title", speaker)),
            html.P([of, " ", say("figures.show", speaker), *spans]),
            wide(html.Table([html.Thead(head), html.Tbody(rows)])),
            html.P(say("figures.about", speaker)),
            html.P(
                [
                    html.A(say("figures.help", speaker), href="/help/alarms"),
                    " · ",
                    html.A(say("figures.lifts", speaker), href="/lifts"),
                ]
            ),
        ],
        speaker,
    )
