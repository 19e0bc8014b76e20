"""Parts that several pages share. Layout only."""

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
            html.Button("Sound is off. Tap to switch it on", id="sound", type="button"),
            html.Button("Look: as the device", id="look", type="button"),
            html.Span(id="clock"),
        ]
    )
