"""The guides, from Markdown beside this package: a site has no internet. The alarm list is made from the table."""

from pathlib import Path
from typing import Any, Final

from dash import html

from dashboards.pages.markdown import render, title
from dashboards.pages.parts import paper
from monitor.core.alarm_table import ALARMS, AlarmRule, priority

HELP: Final = Path(__file__).parents[1] / "help"

ORDER: Final = (
    "reading-the-screens",
    "cautions",
    "planning",
    "running",
    "connecting-hardware",
    "settings",
    "arithmetic",
    "leak-and-time",
    "trends",
)
"""Guides in the order a newcomer needs them; any other comes after, by name."""


def layout(name: str) -> Any:
    """One guide, or the list of them for an empty or unknown name."""
    guides = {path.stem: path for path in HELP.glob("*.md")}
    if name == "alarms":
        return paper([html.H1("Alarms"), *_alarms()])
    path = guides.get(name.removesuffix(".md"))
    if path is not None:
        return paper(render(path.read_text(encoding="utf-8")))
    names = [known for known in ORDER if known in guides] + sorted(set(guides) - set(ORDER))
    rows = [html.Li(html.A(title(guides[known].read_text(encoding="utf-8")), href=f"/help/{known}")) for known in names]
    return paper(
        [
            html.H1("Help"),
            html.Ul([*rows, html.Li(html.A("Alarms: what each means and what to do", href="/help/alarms"))]),
        ]
    )


def _alarms() -> list[Any]:
    """Every declared alarm. Words stand as the table has them, with the places of their values."""
    intro = html.P(
        "Every alarm Holdwatch can raise, from the one table it judges by. Priority follows from the consequence and the "
        "time there is to act. Times and levels come from the site file."
    )
    return [intro, *(part for rule in ALARMS for part in _alarm(rule))]


def _alarm(rule: AlarmRule) -> list[Any]:
    rows = {
        "Says": rule.says,
        "Do": rule.do,
        "Priority": priority(rule).value,
        "Cause": rule.cause,
        "Consequence": rule.consequence,
        "Who acts": rule.who_acts.value,
        "Watched in": ", ".join(sorted(phase.value.replace("_", " ") for phase in rule.armed_in)),
    }
    return [
        html.H2(rule.key.replace("_", " ").capitalize(), id=rule.key),
        html.Table(html.Tbody([html.Tr([html.Th(name), html.Td(said)]) for name, said in rows.items()])),
    ]
