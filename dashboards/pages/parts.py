"""Parts that several pages share. Layout only."""

from typing import Any

from dash import html

from dashboards.words import say


def shape(name: str) -> html.Div:
    """A place for one shape; the script puts the drawing in, because Dash has no SVG elements."""
    return html.Div(id=name, className="shape-place")


def foot() -> html.Footer:
    """Caution, clock, and what a person may set on this device."""
    return html.Footer(
        [
            html.P(say("caution"), id="caution"),
            html.Nav(
                [html.A("Landing phone", href="/landing"), html.A("Lifts", href="/lifts"), html.A("Help", href="/help")]
            ),
            html.Button("", id="sound", type="button"),
            html.Button("", id="look", type="button"),
            html.Span(id="clock"),
        ]
    )


def paper(content: list[Any]) -> html.Div:
    """A page to be read: no live value on it."""
    links = {
        "Ground screen": "/",
        "Landing phone": "/landing",
        "Lifts": "/lifts",
        "Maintenance": "/maintenance",
        "Help": "/help",
    }
    return html.Div(
        [
            html.Header(
                [
                    html.Nav([html.A(words, href=address) for words, address in links.items()]),
                    html.Button("", id="look", type="button"),
                ]
            ),
            html.Main(content),
            html.Footer(html.P(say("caution"))),
        ],
        className="paper",
    )
