"""Layouts written as HTML on the server: a page that is only read needs no framework in the browser."""

from html import escape
from typing import Any, Final

from dash.development.base_component import Component

NAMES: Final = {"className": "class", "htmlFor": "for"}
"""Properties whose attribute has another name; every other one is its own, in small letters."""

VOID: Final = frozenset({"br", "col", "hr", "img", "wbr"})
"""Elements without an end (HTML, 13.1.2)."""


def written(part: Any) -> str:
    """A layout of ``dash.html`` components, texts and numbers, as HTML; text is only ever written as text.

    Check: ``html.P(["<", html.B("x")], className="a")`` is ``<p class="a">&lt;<b>x</b></p>``.

    Raises:
        TypeError: There is a component that is no plain element, or a property that is no attribute.
    """
    if part is None:
        return ""
    if isinstance(part, list | tuple):
        return "".join(written(one) for one in part)
    if not isinstance(part, Component):
        return escape(str(part))
    plain = part.to_plotly_json()  # type: ignore[no-untyped-call]
    if plain["namespace"] != "dash_html_components":
        raise TypeError(f"{plain['type']} is no plain element: it needs the framework in the browser")
    tag = plain["type"].lower()
    properties = dict(plain["props"])
    children = properties.pop("children", None)
    begin = f"<{tag}{''.join(_attribute(name, value) for name, value in properties.items())}>"
    return begin if tag in VOID else f"{begin}{written(children)}</{tag}>"


def _attribute(name: str, value: Any) -> str:
    if value is None or value is False:
        return ""
    called = NAMES.get(name, name.lower())
    if value is True:
        return f" {called}"
    if not isinstance(value, str | int | float):
        raise TypeError(f"{name} is no attribute: it is {value!r}")
    return f' {called}="{escape(str(value))}"'
