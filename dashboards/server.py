"""The ASGI app: live JSON, actions, files, and the Dash app behind it.

The live path never touches the Dash app and needs no thread for each viewer, so a slow page can't delay a call.
"""

import asyncio
import json
import re
import socket
from collections.abc import Awaitable, Callable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Final
from urllib.parse import urlsplit

from dashboards import asgi
from dashboards.asgi import App, Receive, Scope, Send
from dashboards.live import LIVE_FOR_S, Live
from dashboards.metrics import OPENMETRICS, metrics
from dashboards.static import Static
from dashboards.story import Story
from dashboards.view_model import Viewer, clock, view, zone_of
from dashboards.words import say
from monitor.clock import monotonic_s
from monitor.core.events import ActionKind
from monitor.store.records import Reader

Act = Callable[[Mapping[str, Any]], Awaitable[Mapping[str, Any]]]
Route = Callable[[Scope, Receive, Send], Awaitable[None]]

BODY_LIMIT_N: Final = 16_384
NONCE: Final = re.compile(r"[0-9a-z]{1,32}")
LIVE_PAGES: Final = frozenset({"ground", "landing"})
HELP: Final = Path(__file__).with_name("help")


class Server:
    """One site's pages."""

    def __init__(
        self,
        live: Live,
        act: Act,
        pages: App,
        *,
        static: Static,
        landing: str,
        open_store: Callable[[], Reader],
        story: Story,
        hosts: frozenset[str] = frozenset(),
    ) -> None:
        """Put the parts together.

        Args:
            live: Latest snapshots.
            act: Sends an action to the engine and waits for its answer.
            pages: Whatever is not answered here.
            static: Fingerprinted files.
            landing: The landing page's HTML.
            open_store: Opens the store's read side; called once, at the first need.
            story: The demonstration's line of the moment.
            hosts: Names this server may be called by, beside addresses in figures and this machine's own name.
        """
        self._live = live
        self._act = act
        self._pages = pages
        self._static = static
        self._landing = landing
        self._open_store = open_store
        self._story = story
        own = socket.gethostname().lower()
        self._hosts = hosts | {"localhost", own, f"{own}.local"}
        self._views: dict[Viewer, tuple[str, int, bytes]] = {}
        self._waiting_n = 0
        self._pictures = Static(HELP)
        self._routes: Mapping[str, tuple[str, Route]] = {
            "/api/live": ("GET", self._get_live),
            "/api/status": ("GET", self._get_status),
            "/api/lifts": ("GET", self._get_lifts),
            "/api/actions": ("POST", self._post_action),
            "/healthz": ("GET", self._get_health),
            "/metrics": ("GET", self._get_metrics),
            "/landing": ("GET", self._get_landing),
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1000})
            return
        path: str = scope["path"]
        method = "GET" if scope["method"] == "HEAD" else scope["method"]
        if not asgi.is_own_host(asgi.header(scope, "host"), self._hosts):
            await asgi.respond(send, "This server is not known by that name.\n", status=421)
        elif path in self._routes:
            takes, route = self._routes[path]
            if method == takes:
                await route(scope, receive, send)
            else:
                await asgi.respond(send, f"{path} takes {takes}, not {method}.\n", status=405)
        elif path.startswith("/static/"):
            file = self._static.files.get(path.removeprefix(self._static.root))
            await asgi.respond_file(scope, send, file)
        elif path.startswith("/help/img/"):
            file = self._pictures.files.get(path.removeprefix("/help/"))
            await asgi.respond_file(scope, send, file, cache="no-cache")
        else:
            await self._pages(scope, receive, send)

    @cached_property
    def _store(self) -> Reader:
        return self._open_store()

    # -- live

    async def _get_live(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The long poll: at once when there is news for this viewer, else after ``HOLD_S`` at most."""
        del receive
        asked_s = monotonic_s()
        query = asgi.query_of(scope)
        nonce, number, page = query.get("nonce", ""), query.get("number", ""), query.get("page", "")
        if not NONCE.fullmatch(nonce) or page not in LIVE_PAGES:
            words = f"/api/live: nonce is 1 to 32 of 0-9a-z, page is one of {', '.join(sorted(LIVE_PAGES))}.\n"
            await asgi.respond(send, words, status=400)
            return
        self._waiting_n += 1
        try:
            await self._live.newer_than(number)
        finally:
            self._waiting_n -= 1
        snapshot, age_s = self._live.snapshot, self._live.age_s()
        if snapshot is None or age_s is None or age_s > LIVE_FOR_S:
            await asgi.respond_json(send, {"nonce": nonce, "why": self._why_quiet()}, status=503)
            return
        held_s = monotonic_s() - asked_s
        said = f'{{"nonce":"{nonce}","age_s":{age_s:.3f},"held_s":{held_s:.3f},"live_for_s":{LIVE_FOR_S}'.encode()
        if snapshot.number != number:
            since = int(query["since"]) if query.get("since", "").isdecimal() else 0
            said += b"," + self._view(Viewer(page, query.get("lifter")), since)
        await asgi.respond(send, said + b"}", content_type=asgi.JSON)

    def _why_quiet(self) -> str:
        if self._live.snapshot is None:
            return say("lost.waiting")
        return say("lost.engine", clock=clock(self._live.quiet_since_utc_s, zone_of(self._live.site)))

    def _view(self, viewer: Viewer, since: int) -> bytes:
        """View and new trace points, as the inside of a JSON object: made once for all who see the same."""
        snapshot = self._live.snapshot
        assert snapshot is not None  # noqa: S101 - only asked for when there is one
        kept = self._views.get(viewer)
        if kept is not None and kept[:2] == (snapshot.number, since):
            return kept[2]
        said = view(snapshot, viewer, self._live.site, self._story.now())
        if "why" in said:  # a lifter that does not exist: not kept, or anybody could fill the memory with names
            return asgi.to_json(said)[1:-1]
        trace = self._live.traces.since(said["one"]["lifter"], since) if "one" in said else {}
        whole = asgi.to_json({"number": snapshot.number, "view": said, "trace": trace})[1:-1]
        self._views[viewer] = (snapshot.number, since, whole)
        return whole

    # -- for other programs

    async def _get_status(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Every lifter's status. One that is no longer live says ``no_signal``: its reader may not look at the time."""
        del scope, receive
        snapshot = self._live.snapshot
        if snapshot is None:
            await asgi.respond_json(send, {"error": say("lost.waiting")}, status=503)
            return
        quiet = {} if self._live.is_live() else {"call": "no_signal", "release": "do_not_release"}
        await asgi.respond_json(send, {"lifters": [{**status, **quiet} for status in snapshot.lifters]})

    async def _get_lifts(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Finished lifts, the newest first."""
        del receive
        query = asgi.query_of(scope)
        try:
            before = float(query["before"]) if "before" in query else None
            limit = int(query.get("limit", "50"))
        except ValueError:
            limit = 0
        if not 1 <= limit <= 1000:
            await asgi.respond(send, "/api/lifts: before is UTC in epoch seconds, limit 1 to 1000.\n", status=400)
            return
        lifter = query.get("lifter") or None
        lifts = await asyncio.to_thread(lambda: self._store.lifts(lifter=lifter, before=before, limit=limit))
        await asgi.respond_json(send, {"lifts": lifts})

    async def _get_health(self, scope: Scope, receive: Receive, send: Send) -> None:
        """200 while snapshots come, 503 when they do not: for a watchdog."""
        del scope, receive
        is_live = self._live.is_live()
        said = {"pages": "up", "engine": "up" if is_live else "silent", "snapshot_age_s": self._live.age_s()}
        await asgi.respond_json(send, said, status=200 if is_live else 503)

    async def _get_metrics(self, scope: Scope, receive: Receive, send: Send) -> None:
        del scope, receive
        await asgi.respond(send, metrics(self._live, waiting_n=self._waiting_n), content_type=OPENMETRICS)

    async def _get_landing(self, scope: Scope, receive: Receive, send: Send) -> None:
        del scope, receive
        await asgi.respond(send, self._landing, content_type=asgi.HTML)

    # -- actions

    async def _post_action(self, scope: Scope, receive: Receive, send: Send) -> None:
        """An act of a person at one of these pages, answered after it is on disk."""
        if (foreign := why_foreign(scope)) is not None:
            await asgi.respond_json(send, _refused("action.foreign", foreign), status=403)
            return
        try:
            action = read_action(await asgi.read_body(receive, BODY_LIMIT_N))
        except ValueError as error:
            await asgi.respond_json(send, _refused("action.unreadable", str(error)), status=400)
            return
        answer = await self._act(action)
        said = {key: answer[key] for key in ("done", "key", "words")}
        await asgi.respond_json(send, said, status=200 if said["done"] else 409)


def why_foreign(scope: Scope) -> str | None:
    """Why a request does not come from one of this server's own pages; ``None`` if it does.

    A browser sends the Origin with every POST and cannot be made to leave it out; JSON as the content type makes it ask
    first when the page is another site's.
    """
    origin = asgi.header(scope, "origin")
    if origin and urlsplit(origin).netloc != asgi.header(scope, "host"):
        return "it comes from a page of another site"
    if asgi.header(scope, "sec-fetch-site") not in {"", "same-origin"}:
        return "it comes from a page of another site"
    if asgi.header(scope, "content-type").partition(";")[0].strip().lower() != asgi.JSON:
        return "its content type must be application/json"
    return None


def read_action(body: bytes) -> dict[str, Any]:
    """An action as the channel takes it.

    Raises:
        ValueError: It is none; the message says what was found and what is allowed.
    """
    said = json.loads(body)
    if not (isinstance(said, dict) and isinstance(said.get("params", {}), dict)):
        raise ValueError("the body must be one JSON object, and so must its params")  # noqa: TRY004 - one error for all
    if said.get("kind") not in set(ActionKind):
        raise ValueError(f"kind is {said.get('kind')!r}; it must be one of {', '.join(sorted(ActionKind))}")
    for name, longest_n in (("lifter", 64), ("who", 64), ("role", 32)):
        value = said.get(name)
        if not isinstance(value, str) or not 1 <= len(value) <= longest_n or not value.isprintable():
            raise ValueError(f"{name} must be text of 1 to {longest_n} printable characters")
    return {name: said.get(name, {}) for name in ("kind", "lifter", "who", "role", "params")}


def _refused(key: str, why: str) -> dict[str, Any]:
    return {"done": False, "key": key, "words": f"Not done: {why}."}
