"""Pages whose address is fixed and that are not built yet: they say so."""

from typing import Any, Final

from dash import html

from dashboards.pages.parts import paper
from dashboards.words import say
from monitor.words.languages import Speaker

LATER: Final = ("fleet",)


def layout(name: str, speaker: Speaker) -> Any:
    """What is missing, and what there is instead."""
    title, words = html.H1(say(f"later.{name}.title", speaker)), html.P(say(f"later.{name}.words", speaker))
    return paper([title, words, html.P(html.A(say("lifts.finished", speaker), href="/lifts"))], speaker)
