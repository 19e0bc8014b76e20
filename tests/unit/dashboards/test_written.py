"""Layouts as HTML, read back by the standard library's own parser."""

from html.parser import HTMLParser
from typing import Any

import pytest
from dash import html

from dashboards.pages.written import written


class Heard(HTMLParser):
    """What a browser would make of it."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.said: list[Any] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.said.append((tag, dict(attrs)))

    def handle_endtag(self, tag: str) -> None:
        self.said.append(f"/{tag}")

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def test_elements_attributes_and_texts_come_back_as_they_were() -> None:
    odd = "<b>\"'&amp;"
    data: dict[str, Any] = {"data-figure": odd, "aria-label": odd}
    layout = html.P([None, html.B(7), html.Br(), odd], className="a", tabIndex=0, title=odd, **data)
    attributes = {"class": "a", "tabindex": "0", "title": odd, "data-figure": odd, "aria-label": odd}
    assert Heard(written(layout)).said == [("p", attributes), ("b", {}), "7", "/b", ("br", {}), odd, "/p"]


def test_true_and_false_are_there_and_not_there() -> None:
    layout = html.Select([html.Option("a", value="a", selected=True), html.Option("b", value="b", selected=False)])
    assert written(layout) == '<select><option selected value="a">a</option><option value="b">b</option></select>'


def test_what_needs_the_framework_is_refused() -> None:
    from dash import dcc

    with pytest.raises(TypeError, match="Graph is no plain element"):
        written(html.Div(dcc.Graph()))
    with pytest.raises(TypeError, match="style is no attribute"):
        written(html.P("a", style={"color": "red"}))
