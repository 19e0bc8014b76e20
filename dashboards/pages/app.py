"""The Dash app: one page an address, its layout made on the server for that address (``mount`` says how).

The ground screen is drawn by the framework in the browser; the pages to read are written as HTML here (``written``).
"""

import os
import re
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, Final
from urllib.parse import parse_qs, urlsplit

os.environ.setdefault("DASH_DISABLE_VERSION_CHECK", "1")  # no request ever leaves the site's own server

import dash
import flask
from dash import html

from dashboards import shell
from dashboards.live import Live
from dashboards.mount import token
from dashboards.pages import alarms, ground, help, lifts  # noqa: A004 - named as the page is
from dashboards.pages.parts import paper
from dashboards.pages.written import written
from dashboards.static import Static
from dashboards.trend_desk import Desk
from dashboards.viewing import voice_of
from dashboards.words import Voice
from monitor import clock

if TYPE_CHECKING:
    from monitor.store.records import Reader

UNUSED: Final = re.compile(r'<script src="[^"]*/(?:deps/polyfill|dash_table/|dcc/)[^"]*"></script>\s*')
"""Bundles no page here needs: polyfills for browsers that cannot run the live script either, tables and controls."""

PLOTTING: Final = "plotly-basic.min.js"
"""The plotting library as its makers publish it for plain charts (DEVELOPERS.md says which); one page draws."""


class Pages(dash.Dash):
    """Dash with this product's own index."""

    def __init__(self, static: Static, store: Callable[[], "Reader"], live: Live, desk: Desk) -> None:
        """Make the app.

        Args:
            static: Where scripts and styles of the pages are.
            store: Opens the store's read side.
            live: What the engine said of its site.
            desk: Trends over the lifts.
        """
        super().__init__(
            "holdwatch",
            use_async=False,
            enable_mcp=False,
            include_assets_files=False,
            serve_locally=True,
            update_title="",
            suppress_callback_exceptions=True,  # else the whole layout is sent twice, to check callbacks against
        )
        self._static = static
        self._store = store
        self._live = live
        self._desk = desk
        self.layout = self._layout_of_address

    def bundles(self) -> frozenset[str]:
        """The framework's files that a page asks for."""
        scripts = UNUSED.sub("", self._generate_scripts_html())
        return frozenset(re.findall(r'src="([^"]*)"', scripts))

    def index(self, *args: Any, **kwargs: Any) -> Any:
        """The page of the address asked for: a live one by the framework, one to read as it stands."""
        name = page_name(urlsplit(flask.request.args["page"]).path)
        if name == "ground":
            return super().index(*args, **kwargs)  # type: ignore[no-untyped-call]
        content = written(self._layout_of_address())
        if name == "maintenance":  # fetched with the page, run by its script once the list is seen
            content += f'<link id="plotting" rel="preload" as="script" href="{self._static.url(PLOTTING)}">'
        return self._page(name, content)

    def interpolate_index(self, **parts: str) -> str:  # type: ignore[override]
        """The ground screen's index, whose scripts ask for its layout under the address's own prefix."""
        prefix = f'"requests_pathname_prefix":"/_page/{token(flask.request.args["page"])}/"'
        config = re.sub(r'"requests_pathname_prefix":"[^"]*"', prefix, parts["config"], count=1)
        scripts = UNUSED.sub("", parts["scripts"])
        return self._page("ground", parts["app_entry"] + config + scripts + parts["renderer"])

    def _page(self, name: str, content: str) -> str:
        voice = self._voice()
        return shell.page(
            self._static,
            name=name,
            title=voice.say(f"title.{name}"),
            content=content,
            is_live=name == "ground",
            speaker=voice.speaker,
        )

    def _layout_of_address(self) -> Any:
        in_request = flask.has_request_context()  # Dash also calls it once, to look at it, before it serves
        address = urlsplit(flask.request.args.get("page", "/") if in_request else "/")
        name, _, rest = address.path.strip("/").partition("/")
        voice = self._voice()
        if name == "help":
            return help.layout(rest, voice.speaker)
        query = {key: values[0] for key, values in parse_qs(address.query).items()}
        if name == "lifts":
            return self._lifts(query, voice)
        if name in {"maintenance", "fleet"}:
            return self._trends(name, query, voice)
        if name == "alarms":
            return self._alarms(query, voice)
        return ground.layout(voice.speaker)

    def _voice(self) -> Voice:
        """How to speak to who sent the request at hand."""
        if not flask.has_request_context():
            return voice_of("", "", self._live.site)
        headers = flask.request.headers
        return voice_of(headers.get("cookie", ""), headers.get("accept-language", ""), self._live.site)

    def _lifts(self, query: Mapping[str, str], voice: Voice) -> Any:
        from monitor.store.errors import StoreError  # with the store itself, loaded at the first need

        try:
            return lifts.layout(self._store, voice, query)
        except StoreError as error:
            heading = html.H1(voice.say("lifts.title"))
            return paper([heading, html.P(voice.say("lifts.unreadable", why=str(error)))], voice.speaker)

    def _trends(self, name: str, query: Mapping[str, str], voice: Voice) -> Any:
        from dashboards.pages import fleet, maintenance
        from monitor.store.errors import StoreError

        try:
            if name == "fleet":
                return fleet.layout(self._desk.fleet(), voice.speaker)
            return maintenance.layout(self._desk.of(query.get("site", "")), query, voice.speaker, self._live.refused())
        except StoreError as error:
            heading = html.H1(voice.say(f"page.{name}"))
            return paper([heading, html.P(voice.say("lifts.unreadable", why=str(error)))], voice.speaker)

    def _alarms(self, query: Mapping[str, str], voice: Voice) -> Any:
        from monitor.store.errors import StoreError

        try:
            statuses = self._live.statuses() if self._live.is_live() else None
            return alarms.layout(self._store, clock.utc_s(), query, voice, statuses)
        except StoreError as error:
            heading = html.H1(voice.say("alarms.figures_link"))
            return paper([heading, html.P(voice.say("lifts.unreadable", why=str(error)))], voice.speaker)


def page_name(path: str) -> str:
    """The page an address belongs to. Check: "/" is "ground", "/help/running" is "help"."""
    return path.strip("/").partition("/")[0] or "ground"
