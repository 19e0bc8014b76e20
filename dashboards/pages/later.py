"""Pages whose address is fixed and that are not built yet: they say so."""

from typing import Any, Final

from dash import html

from dashboards.pages.parts import paper

LATER: Final = {
    "plan": ("Plan", "Planning a lift on this page is not built yet. The program's plan command works it out."),
    "fleet": ("Fleet", "The view over several sites is not built yet."),
}


def layout(name: str) -> Any:
    """What is missing, and what there is instead."""
    title, words = LATER[name]
    return paper([html.H1(title), html.P(words), html.P(html.A("Finished lifts", href="/lifts"))])
