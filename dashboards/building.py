"""Puts the pages' parts together."""

import uuid
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from a2wsgi import WSGIMiddleware

from dashboards import asgi
from dashboards.access import Access
from dashboards.acting import Acting
from dashboards.guard import Guard
from dashboards.live import Live
from dashboards.mount import Mount
from dashboards.pages import landing, seal
from dashboards.pages.app import Pages
from dashboards.phones import Joining
from dashboards.plan_routes import PlanRoutes
from dashboards.reporting import Reporting
from dashboards.server import Server
from dashboards.static import Static, packed
from dashboards.story import Story
from dashboards.trend_desk import Desk
from dashboards.viewing import voice_of
from dashboards.words import Voice
from monitor.channel import ChannelClient, ChannelError
from monitor.ports import Listen, reachable

if TYPE_CHECKING:
    from monitor.store.records import Reader


def parts(
    live: Live,
    channel: ChannelClient,
    *,
    data: Path,
    story: Path | None,
    hosts: frozenset[str],
    join_link: bool,
    listening: tuple[str, int],
) -> tuple[Server, Pages]:
    """What answers, and the pages' framework behind it."""
    static = Static()

    def store() -> "Reader":
        from monitor.store.records import open_reader  # takes long to load, and no live page needs it

        return open_reader(data)

    async def act(action: Mapping[str, Any]) -> Mapping[str, Any]:
        try:
            return await channel.act({"id": uuid.uuid4().hex, **action})
        except ChannelError as error:
            return {"done": False, "key": "action.no_answer", "words": f"{str(error).capitalize()}."}

    def voice(scope: asgi.Scope) -> Voice:
        return voice_of(asgi.header(scope, "cookie"), asgi.header(scope, "accept-language"), live.site)

    access = Access(data, join_link=join_link, is_demo=story is not None)
    desk = Desk(store, data)
    desk.keep_warm()
    pages = Pages(static, store, live, desk)
    acting = Acting(act, access, voice)
    here = Listen(*listening)
    addresses = (*sorted(f"{name}:{here.port}" for name in hosts), reachable(str(here)))
    server = Server(
        live,
        acting,
        Mount(cast("asgi.App", WSGIMiddleware(pages.server, workers=4)), pages.bundles()),
        static=static,
        landing=cache(lambda speaker: packed(landing.html(static, speaker), asgi.HTML)),
        seal=cache(lambda speaker: packed(seal.html(static, speaker), asgi.HTML)),
        more={**PlanRoutes(live, static, acting, voice).routes, **Reporting(store, data, voice).routes},
        open_store=store,
        desk=desk,
        story=Story(story),
        access=access,
        joining=Joining(access, voice, addresses),
        voice=voice,
        hosts=hosts,
    )
    return server, pages


def guarded(server: Server, pages: Pages) -> asgi.App:
    """The ASGI app of one site: its parts behind the guard, with their security headers."""
    return asgi.with_headers(Guard(server), asgi.security_headers(pages.csp_hashes()))
