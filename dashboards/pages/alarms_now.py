"""The alarms of this moment, and what supervisor and maintenance may do with one beside acknowledging it. Layout only."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from dash import html

from dashboards.view_model import alarm_order, alarm_view, lifter_name
from dashboards.words import Voice
from monitor.core.alarm_acts import NEVER_SET_ASIDE

MINUTES: Final = (10, 30, 60)
"""For how long an alarm may be shelved: an hour at most."""


def section(statuses: Sequence[Mapping[str, Any]], at_utc_s: float | None, voice: Voice) -> list[Any]:
    """Heading and list. ``at_utc_s``: when the engine said so; ``None`` while it says nothing."""
    title = html.H1(voice.say("aside.title"))
    if at_utc_s is None:
        return [title, html.P(voice.say("aside.silent"))]
    rows = [_row(status, alarm, voice) for status in statuses for alarm in sorted(status["alarms"], key=alarm_order)]
    shown = html.Ul(rows, className="plain asides") if rows else html.P(voice.say("aside.none"))
    about = " ".join(voice.say(key, clock=voice.clock(at_utc_s)) for key in ("aside.as_of", "aside.about"))
    return [title, shown, html.P(about), html.P("", id="answer", role="status", hidden=True)]


def _row(status: Mapping[str, Any], alarm: Mapping[str, Any], voice: Voice) -> Any:
    said = alarm_view(alarm, voice)
    words = [
        html.B(lifter_name(status)),
        " ",
        said["words"],
        " ",
        html.Span(f"{said['since']}, {said['said']}", className="soft"),
    ]
    return html.Li([html.P(words), *_acts(status["lifter"], alarm, said, voice)])


def _acts(lifter: str, alarm: Mapping[str, Any], said: Mapping[str, Any], voice: Voice) -> list[Any]:
    now = []
    if said["waits"]:
        now.append("acknowledge")
    if str(alarm["state"]).startswith("latched"):
        now.append("reset")
    if alarm["shelved"]:
        now.append("unshelve")
    if alarm["out_of_service"]:
        now.append("in_service")
    plain = [_form(lifter, alarm, [_button(kind, voice) for kind in now])] if now else []
    if alarm["key"] in NEVER_SET_ASIDE:
        return [*plain, html.P(voice.say("aside.never"), className="soft")]
    if alarm["out_of_service"] or alarm["shelved"]:
        return plain
    minutes = html.Select([html.Option(str(n), value=str(n)) for n in MINUTES], name="minutes")
    fields = [
        html.Label([voice.say("aside.reason"), html.Textarea("", name="reason", maxLength=120, required=True, rows=1)]),
        html.Label([voice.say("aside.minutes"), minutes]),
        _button("shelve", voice),
        _button("out_of_service", voice),
    ]
    return [*plain, html.Details([html.Summary(voice.say("aside.open")), _form(lifter, alarm, fields)])]


def _form(lifter: str, alarm: Mapping[str, Any], fields: list[Any]) -> Any:
    about = (alarm.get("about_text") or {}).get("values", {}).get("about", "")
    data: dict[str, Any] = {
        "data-lifter": lifter,
        "data-raising": alarm["raising"],
        "data-alarm": alarm["key"],
        "data-about": about,
    }
    return html.Form(fields, className="filter aside", **data)


def _button(kind: str, voice: Voice) -> Any:
    key = "alarm.acknowledge" if kind == "acknowledge" else f"aside.{kind}"
    return html.Button(voice.say(key), type="submit", value=kind)
