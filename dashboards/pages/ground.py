"""The ground screen: places for what the live script writes. Layout only."""

from dash import html

from dashboards.pages.parts import foot, shape
from dashboards.words import say
from monitor.words.languages import Speaker


def layout(speaker: Speaker) -> html.Div:
    """Call and release side by side, the reason, the room to the limit, a lane for each circuit, facts and alarms."""
    return html.Div(
        [
            html.Main(
                [
                    html.Section(
                        [
                            html.Div(
                                [shape("call-shape"), html.H1(say("lost.big", speaker), id="call-words")],
                                className="call-main",
                            ),
                            html.Div(
                                [
                                    shape("release-shape"),
                                    html.Div([html.P(id="release-words"), html.P(id="release-reason")]),
                                ],
                                id="release",
                            ),
                            html.P(id="reason"),
                        ],
                        id="call",
                    ),
                    html.Ul(id="notices"),
                    html.Section(
                        [
                            html.Div(
                                [html.P(id="load-words"), html.P(id="margin-words"), html.P(id="limit-words")],
                                className="load-says",
                            ),
                            html.Div([html.Div(id="bar-load"), html.Div(id="bar-limit")], id="bar"),
                            html.P(id="load-note"),
                        ],
                        id="load",
                    ),
                    html.Ol(id="first"),
                    html.Ol(id="circuits"),
                    html.Section(
                        [
                            html.Ul(id="alarms"),
                            html.Button(id="more", type="button"),
                            html.Dl(id="facts"),
                        ],
                        id="below",
                    ),
                    html.Ul(id="others"),
                    html.H1(say("tiles.title", speaker), id="tiles-title", className="unseen"),
                    html.Ul(id="tiles"),
                    html.Aside(
                        [html.B(say("story.label", speaker)), html.Span(id="story-title"), html.Span(id="story-line")],
                        id="story",
                        hidden=True,
                    ),
                    foot(speaker),
                ],
                id="screen",
            ),
            html.P(id="answer", hidden=True, role="status"),
        ]
    )
