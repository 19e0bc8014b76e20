"""The guides, from Markdown beside this package: a site has no internet. The alarm list is made from the table.

``NAME.md`` is English; ``NAME.CODE.md`` beside it, where there is one, is the same guide in another language.
"""

from pathlib import Path
from typing import Any, Final

from dash import html

from dashboards.pages.markdown import render, title
from dashboards.pages.parts import paper
from dashboards.words import say
from monitor.core.alarm_table import ALARMS, AlarmRule, priority
from monitor.core.phases import Phase
from monitor.words.languages import SOURCE, Speaker, template

HELP: Final = Path(__file__).parents[1] / "help"

ORDER: Final = (
    "reading-the-screens",
    "cautions",
    "planning",
    "seal-tests",
    "running",
    "connecting-hardware",
    "settings",
    "arithmetic",
    "leak-and-time",
    "trends",
)
"""Guides in the order a newcomer needs them; any other comes after, by name."""


def layout(name: str, speaker: Speaker) -> Any:
    """One guide, or the list of them for an empty or unknown name."""
    guides = {path.stem: path for path in HELP.glob("*.md") if "." not in path.stem}
    if name == "alarms":
        return paper([html.H1(say("help.alarms", speaker)), *_alarms(speaker)], speaker)
    path = guides.get(name.removesuffix(".md"))
    if path is not None:
        return _guide(path, speaker)
    names = [known for known in ORDER if known in guides] + sorted(set(guides) - {*ORDER, "alarms"})
    rows = [_row(guides[known], speaker) for known in names]
    return paper(
        [
            html.H1(say("page.help", speaker)),
            html.Ul([*rows, html.Li(html.A(say("help.alarms_link", speaker), href="/help/alarms"))]),
        ],
        speaker,
    )


def in_language(guide: Path, language: str) -> Path | None:
    """The guide's file in a language, ``None`` where there is none."""
    if language == SOURCE:
        return guide
    path = guide.with_suffix(f".{language}.md")
    return path if path.exists() else None


def _guide(guide: Path, speaker: Speaker) -> Any:
    """The viewer's own guide, its headings linked by the same names; else the English one, which says so."""
    source = render(guide.read_text(encoding="utf-8"))
    path = in_language(guide, speaker.language)
    if path is None:
        only = html.P(say("help.only_english", speaker), lang=speaker.language)
        return paper([only, *source], speaker, lang=SOURCE)
    shown = render(path.read_text(encoding="utf-8"))
    for part, original in zip(
        *([one for one in parts if hasattr(one, "id")] for parts in (shown, source)), strict=True
    ):
        part.id = original.id
    return paper(shown, speaker)


def _row(guide: Path, speaker: Speaker) -> Any:
    path = in_language(guide, speaker.language)
    address = f"/help/{guide.stem}"
    if path is None:
        words = title(guide.read_text(encoding="utf-8"))
        return html.Li([html.A(words, href=address, lang=SOURCE), " ", say("help.in_english", speaker)])
    return html.Li(html.A(title(path.read_text(encoding="utf-8")), href=address))


def _alarms(speaker: Speaker) -> list[Any]:
    """Every declared alarm. Words stand as the table has them, with the places of their values."""
    figures = html.P(html.A(say("alarms.figures_link", speaker), href="/alarms"))
    rows = (part for rule in ALARMS for part in _alarm(rule, speaker))
    return [html.P(say("help.alarms_intro", speaker)), figures, *rows]


def _alarm(rule: AlarmRule, speaker: Speaker) -> list[Any]:
    rows = {
        say("help.says", speaker): template(f"alarm.{rule.key}.says", speaker.language),
        say("help.do", speaker): say(f"alarm.{rule.key}.do", speaker),
        say("help.priority", speaker): say(f"priority.{priority(rule)}", speaker),
        say("help.cause", speaker): say(f"alarm.{rule.key}.cause", speaker),
        say("help.consequence", speaker): say(f"alarm.{rule.key}.consequence", speaker),
        say("help.who", speaker): say(f"word.role.{rule.who_acts}", speaker),
        say("help.phases", speaker): ", ".join(
            say(f"phase.{phase}", speaker) for phase in Phase if phase in rule.armed_in
        ),
    }
    return [
        html.H2(say(f"alarm.{rule.key}.name", speaker), id=rule.key),
        html.Table(html.Tbody([html.Tr([html.Th(name), html.Td(said)]) for name, said in rows.items()])),
    ]
