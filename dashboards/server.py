"""The ASGI app: live JSON, actions, files, and the Dash app behind it.

The live path never touches the Dash app and needs no thread for each viewer, so a slow page can't delay a call.
"""

import asyncio
import re
import socket
from collections.abc import Callable, Mapping
from functools import cached_property
from pathlib import Path
from typing import Final

from dashboards import asgi
from dashboards.access import Access
from dashboards.acting import Acting
from dashboards.asgi import App, Receive, Route, Scope, Send
from dashboards.live import LIVE_FOR_S, Live
from dashboards.metrics import OPENMETRICS, metrics
from dashboards.mount import ADDRESSES
from dashboards.pages.timeline import drawn
from dashboards.phones import Joining, Phones
from dashboards.static import File, Static
from dashboards.story import Story
from dashboards.trend_desk import Desk
from dashboards.view_model import Viewer, view
from dashboards.words import Voice, say
from monitor.clock import monotonic_s, utc_s
from monitor.store.records import Reader
from monitor.words.languages import Speaker

NONCE: Final = re.compile(r"[0-9a-z]{1,32}")
LATEST_UTC_S: Final = 4_102_444_800.0
"""2100-01-01T00:00:00Z."""
LIVE_PAGES: Final = frozenset({"ground", "landing", "seal-test"})
OPEN: Final = ("/healthz", "/join/", "/static/")
"""What whoever has not joined may ask for: a watchdog's question, the way in, the files that are the same for every site."""
NOT_JOINED: Final = (
    "Join first: scan the code on the ground screen, or ask the lift supervisor for the join link.\n"
    "Holdwatch is an aid. The gauge and alarm on the lifter, the lift plan and your local rules decide.\n"
)
HELP: Final = Path(__file__).with_name("help")


class Server:
    """One site's pages."""

    def __init__(
        self,
        live: Live,
        acting: Acting,
        pages: App,
        *,
        static: Static,
        landing: Callable[[Speaker], File],
        seal: Callable[[Speaker], File],
        more: Mapping[str, tuple[str, Route]],
        open_store: Callable[[], Reader],
        desk: Desk,
        story: Story,
        access: Access,
        voice: Callable[[Scope], Voice],
        joining: Joining,
        hosts: frozenset[str] = frozenset(),
    ) -> None:
        """Put the parts together.

        Args:
            live: Latest snapshots.
            acting: What people do here.
            pages: Whatever is not answered here.
            static: Fingerprinted files.
            landing: Makes the landing page's HTML.
            seal: Makes the seal-test page's HTML.
            more: Routes of other parts.
            open_store: Opens the store's read side; called once, at the first need.
            desk: Trends over the lifts.
            story: The demonstration's line of the moment.
            access: Who may look and who may act.
            voice: How to speak to who sent a request.
            joining: The code that leads a phone to the landing page.
            hosts: Names this server may be called by, beside addresses in figures and this machine's own name.
        """
        self._live = live
        self._acting = acting
        self._pages = pages
        self._static = static
        self._html = {"/landing": landing, "/seal-test": seal}
        self._voice = voice
        self._open_store = open_store
        self._desk = desk
        self._story = story
        self._access = access
        own = socket.gethostname().lower()
        self._hosts = hosts | {"localhost", own, f"{own}.local"}
        self._views: dict[tuple[Viewer, int], bytes] = {}
        self._views_of = ""
        self._waiting_n = 0
        self._phones = Phones()
        self._pictures = Static(HELP)
        self._routes: Mapping[str, tuple[str, Route]] = {
            "/api/live": ("GET", self._get_live),
            "/api/status": ("GET", self._get_status),
            "/api/lifts": ("GET", self._get_lifts),
            "/api/trends.csv": ("GET", self._get_trends),
            "/healthz": ("GET", self._get_health),
            "/metrics": ("GET", self._get_metrics),
            "/landing": ("GET", self._get_html),
            "/seal-test": ("GET", self._get_html),
            "/timeline.svg": ("GET", self._get_timeline),
            "/api/join": ("GET", joining.get),
            "/help/status.schema.json": ("GET", self._get_beside_help),
            **acting.routes,
            **more,
        }
        self._folders: Mapping[str, Route] = {
            "/join/": acting.join,
            "/static/": self._get_file,
            "/help/img/": self._get_beside_help,
        }

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            if scope["type"] == "websocket":
                await send({"type": "websocket.close", "code": 1000})
            return
        path: str = scope["path"]
        method = "GET" if scope["method"] == "HEAD" else scope["method"]
        takes, route = self._routes.get(path) or self._under(path)
        if not asgi.is_own_host(asgi.header(scope, "host"), self._hosts):
            await asgi.respond(send, "This server is not known by that name.\n", status=421)
        elif not (path.startswith(OPEN) or self._access.may_look(scope)):
            await asgi.respond(send, NOT_JOINED, status=403)
        elif method != takes:
            words = f"{path} takes {takes}, not {method}.\n"
            await asgi.respond(send, words, status=405, headers=[("allow", _allowed(takes))])
        else:
            await route(scope, receive, send)

    @property
    def addresses(self) -> dict[str, str]:
        """Every address that is answered here and the method it takes; ``{name}`` stands for what comes under a folder."""
        own = {path: takes for path, (takes, _) in self._routes.items()}
        return (
            own
            | {f"{folder}{{name}}": "GET" for folder in self._folders}
            | dict.fromkeys(ADDRESSES - own.keys(), "GET")
        )

    def _under(self, path: str) -> tuple[str, Route]:
        """What answers in the folder a path lies in; the pages for any other."""
        return "GET", next((route for folder, route in self._folders.items() if path.startswith(folder)), self._pages)

    @cached_property
    def _store(self) -> Reader:
        return self._open_store()

    # -- files

    async def _get_file(self, scope: Scope, receive: Receive, send: Send) -> None:
        del receive
        await asgi.respond_file(scope, send, self._static.files.get(scope["path"].removeprefix(self._static.root)))

    async def _get_beside_help(self, scope: Scope, receive: Receive, send: Send) -> None:
        del receive
        file = self._pictures.files.get(scope["path"].removeprefix("/help/"))
        await asgi.respond_file(scope, send, file, cache="no-cache")

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
        if page == "landing":
            self._phones.heard(query.get("lifter"), utc_s(), self._live.lifters())
        self._waiting_n += 1
        try:
            await self._live.newer_than(number)
        finally:
            self._waiting_n -= 1
        snapshot, age_s = self._live.snapshot, self._live.age_s()
        if snapshot is None or age_s is None or age_s > LIVE_FOR_S:
            await asgi.respond_json(send, {"nonce": nonce, "why": self._why_quiet(self._voice(scope))}, status=503)
            return
        held_s = monotonic_s() - asked_s
        ages = f'"age_s":{age_s:.3f},"held_s":{held_s:.3f},"live_for_s":{LIVE_FOR_S}'
        said = f'{{"nonce":"{nonce}","build":"{self._static.fingerprint}",{ages}'.encode()
        if snapshot.number != number:
            since = int(query["since"]) if query.get("since", "").isdecimal() else 0
            said += b"," + self._view(Viewer(page, query.get("lifter"), self._voice(scope).speaker), since)
        await asgi.respond_long(scope, send, said + b"}", content_type=asgi.JSON)

    def _why_quiet(self, voice: Voice) -> str:
        if self._live.snapshot is None:
            return voice.say("lost.waiting")
        return voice.say("lost.engine", clock=voice.clock(self._live.quiet_since_utc_s))

    def _view(self, viewer: Viewer, since: int) -> bytes:
        """View and new trace points, as the inside of a JSON object: made once for all who see the same."""
        snapshot = self._live.snapshot
        assert snapshot is not None  # noqa: S101 - only asked for when there is one
        if self._views_of != snapshot.number:
            self._views.clear()
            self._views_of = snapshot.number
        kept = self._views.get((viewer, since))
        if kept is not None:
            return kept
        said = view(snapshot, viewer, self._live.site, self._story.now(), self._phones.last_utc_s)
        if "why" in said:  # a lifter that does not exist: not kept, or anybody could fill the memory with names
            return asgi.to_json(said)[1:-1]
        draws = viewer.page == "ground" and "one" in said  # the others draw no trace
        trace = self._live.traces.since(said["one"]["lifter"], since) if draws else {}
        whole = asgi.to_json({"number": snapshot.number, "view": said, "trace": trace})[1:-1]
        self._views[viewer, since] = whole
        return whole

    # -- for other programs

    async def _get_status(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Every lifter's status. One that is no longer live says ``no_signal``: its reader may not look at the time."""
        del scope, receive
        if self._live.snapshot is None:
            await asgi.respond_json(send, {"error": say("lost.waiting")}, status=503)
            return
        await asgi.respond_json(send, {"lifters": self._live.statuses()})

    async def _get_lifts(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Finished lifts, the newest first."""
        del receive
        query = asgi.query_of(scope)
        try:
            before = float(query["before"]) if "before" in query else None
            limit = int(query.get("limit", "50"))
        except ValueError:
            limit = 0
        if not (1 <= limit <= 1000 and (before is None or 0.0 <= before <= LATEST_UTC_S)):
            words = f"/api/lifts: before is UTC in epoch seconds, 0 to {LATEST_UTC_S:.0f}; limit is 1 to 1000.\n"
            await asgi.respond(send, words, status=400)
            return
        lifter = query.get("lifter") or None
        lifts = await asyncio.to_thread(lambda: self._store.lifts(lifter=lifter, before=before, limit=limit))
        await asgi.respond_json(send, {"lifts": lifts})

    async def _get_trends(self, scope: Scope, receive: Receive, send: Send) -> None:
        """The trends of one lifter, or of all, as CSV."""
        del receive
        lifter = asgi.query_of(scope).get("lifter", "")
        caring = await asyncio.to_thread(self._desk.caring)
        cares = {} if caring is None else caring.cares
        if lifter and lifter not in cares:
            await asgi.respond(send, "/api/trends.csv: there is no such lifter here.\n", status=404)
            return
        from monitor.care_tables import care_csv
        from monitor.words.say import say

        said = care_csv([cares[lifter]] if lifter else list(cares.values()), say)
        named = [("content-disposition", 'attachment; filename="holdwatch-trends.csv"')]
        await asgi.respond(send, said, content_type="text/csv; charset=utf-8", headers=named)

    async def _get_timeline(self, scope: Scope, receive: Receive, send: Send) -> None:
        """``/timeline.svg?id=LIFT``: the lift's drawing; 404 where its readings are not kept."""
        del receive
        lift, voice = asgi.query_of(scope).get("id", ""), self._voice(scope)
        drawing = await asyncio.to_thread(drawn, self._store, lift, voice)
        if not drawing:
            await asgi.respond(send, f"{voice.say('lift.no_trace')}\n", status=404)
            return
        await asgi.respond(send, drawing, content_type="image/svg+xml")

    async def _get_health(self, scope: Scope, receive: Receive, send: Send) -> None:
        """200 while snapshots come, 503 when they do not: for a watchdog."""
        del scope, receive
        is_live = self._live.is_live()
        said = {"pages": "up", "engine": "up" if is_live else "silent", "snapshot_age_s": self._live.age_s()}
        await asgi.respond_json(send, said, status=200 if is_live else 503)

    async def _get_metrics(self, scope: Scope, receive: Receive, send: Send) -> None:
        del scope, receive
        await asgi.respond(send, metrics(self._live, waiting_n=self._waiting_n), content_type=OPENMETRICS)

    async def _get_html(self, scope: Scope, receive: Receive, send: Send) -> None:
        del receive
        await asgi.respond_file(scope, send, self._html[scope["path"]](self._voice(scope).speaker), cache=asgi.NO_STORE)


def _allowed(takes: str) -> str:
    """What an address takes, as HTTP says it (RFC 9110, 10.2.1)."""
    return "GET, HEAD" if takes == "GET" else takes
