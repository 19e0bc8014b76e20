"""Parts that several pages share. Layout only."""

from dataclasses import dataclass
from typing import Any, Final

from dash import html

from dashboards.viewing import next_of
from dashboards.words import say
from monitor.words.languages import Speaker, languages, own_name
from monitor.words.quantities import SYSTEMS

PAGES: Final = {
    "page.ground": "/",
    "page.landing": "/landing",
    "page.plan": "/plan",
    "page.seal_test": "/seal-test",
    "page.lifts": "/lifts",
    "page.maintenance": "/maintenance",
    "page.fleet": "/fleet",
    "page.help": "/help",
}
"""Key of the words and address of the pages that others link to."""


@dataclass(frozen=True, slots=True)
class Switch:
    """A button that changes how this device is spoken to: what it chooses next, in the words of that choice."""

    id: str
    next: str
    words: str
    lang: str


def switches(speaker: Speaker) -> tuple[Switch, ...]:
    """Language and units. A language is called as it calls itself, so that who cannot read this page finds it."""
    language = next_of(speaker.language, languages())
    units = next_of(speaker.units, tuple(SYSTEMS))
    return (
        Switch("language", language, own_name(language), language),
        Switch("units", units, say(f"units.{units}", speaker), speaker.language),
    )


def switch_buttons(speaker: Speaker) -> list[Any]:
    """The switches, and the one of the look, as components."""
    buttons: list[Any] = []
    for one in switches(speaker):
        named: dict[str, Any] = {"data-next": one.next}
        buttons.append(html.Button(one.words, id=one.id, type="button", lang=one.lang, **named))
    return [html.Button("", id="look", type="button"), *buttons]


def wide(what: Any, also: str = "") -> html.Div:
    """What may be wider than a phone: it is moved by itself, with the keys too, and not the page with it."""
    return html.Div(what, className=f"wide {also}".rstrip(), tabIndex=0)


def links(speaker: Speaker, *, without: tuple[str, ...] = ()) -> html.Nav:
    """The other pages."""
    return html.Nav([html.A(say(key, speaker), href=address) for key, address in PAGES.items() if key not in without])


def shape(name: str) -> html.Div:
    """A place for one shape; the script puts the drawing in, because Dash has no SVG elements."""
    return html.Div(id=name, className="shape-place")


def foot(speaker: Speaker) -> html.Footer:
    """Caution, clock, and what a person may set on this device."""
    return html.Footer(
        [
            html.P(say("caution", speaker), id="caution"),
            links(speaker, without=("page.ground", "page.landing")),
            html.Button(say("phone.button.none", speaker), id="join", type="button"),
            html.Button("", id="sound", type="button"),
            *switch_buttons(speaker),
            html.Span(id="clock"),
        ]
    )


def paper(content: list[Any], speaker: Speaker, *, lang: str | None = None) -> html.Div:
    """A page to be read: no live value on it. ``lang`` is its content's language where that is not the viewer's."""
    return html.Div(
        [
            html.Header([links(speaker), html.Div(switch_buttons(speaker), className="switches")]),
            html.Main(content, lang=lang or speaker.language),
            html.Footer(html.P(say("caution", speaker))),
        ],
        className="paper",
    )
