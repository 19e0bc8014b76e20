"""The Dash app behind the live server: reached only under the addresses it has pages for, its bundles compressed once.

Dash answers any unknown path with 200 and an empty page, so nothing gets through that is not named here.
"""

import asyncio
import base64
import binascii
from typing import Final
from urllib.parse import urlencode

from dashboards import asgi
from dashboards.asgi import App, Message, Receive, Scope, Send
from dashboards.static import File, pack

PAGES: Final = frozenset({"/", "/lifts", "/maintenance", "/fleet", "/alarms", "/help"})
GUIDES: Final = "/help/"
BUNDLES: Final = "/_dash-component-suites/"
OF_A_PAGE: Final = "/_page/"
OWN: Final = frozenset({"_dash-layout", "_dash-dependencies"})
"""What the framework's script asks for on the page it draws."""
ADDRESSES: Final = PAGES | {f"{GUIDES}{{name}}", f"{BUNDLES}{{name}}"} | {f"{OF_A_PAGE}{{page}}/{own}" for own in OWN}
"""Everything that is answered here."""


def token(address: str) -> str:
    """An address as one path segment. Check: "/" is "Lw"."""
    return base64.urlsafe_b64encode(address.encode()).decode().rstrip("=")


def address_of(taken: str) -> str:
    """The address back from ``token``; "/" if it is none."""
    try:
        address = base64.urlsafe_b64decode(taken + "=" * (-len(taken) % 4)).decode()
    except (binascii.Error, ValueError):
        return "/"
    return address if address.startswith("/") else "/"


class Mount:
    """Dash as one of the server's parts.

    Dash knows one layout for an app. So that every address has its own without a second round trip, the index tells the
    browser to ask under ``/_page/TOKEN/``, the token being the address; it is taken off again here and handed on as
    ``?page=``.
    """

    def __init__(self, dash: App, bundles: frozenset[str]) -> None:
        """``dash`` is the Dash app as ASGI; ``bundles`` are the framework's files its pages ask for.

        No other is answered: Dash gives one file under any number of versions, and a page for a file that it does not know,
        and whatever is kept here for each address could be asked for until the memory is full.
        """
        self._named = bundles
        self._dash = asgi.with_headers(dash, {"cache-control": asgi.NO_STORE})
        self._bundles: dict[str, File] = {}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request for a page or for what a page's framework needs."""
        path: str = scope["path"]
        asked, _, own = path.removeprefix(OF_A_PAGE).partition("/")
        if (path.rstrip("/") or "/") in PAGES or path.startswith(GUIDES):
            query = scope["query_string"].decode("latin-1")
            asking = _asking(scope, "/", path + (f"?{query}" if query else ""))
            file = await _collect(self._dash, asking, receive)
            if file is not None:
                file = File(file.content_type, file.body, await asyncio.to_thread(pack, file.body))
            await asgi.respond_file(scope, send, file, cache=asgi.NO_STORE)
        elif path in self._named:
            await self._bundle(path, scope, receive, send)
        elif path.startswith(OF_A_PAGE) and own in OWN:
            await self._dash(_asking(scope, f"/{own}", address_of(asked)), receive, send)
        else:
            await asgi.respond(send, f"There is nothing at {path}.\n", status=404)

    async def _bundle(self, path: str, scope: Scope, receive: Receive, send: Send) -> None:
        """One of the framework's own files; its name carries its version."""
        if path not in self._bundles:
            file = await _collect(self._dash, _asking(scope, path, "/"), receive)
            if file is None:
                await asgi.respond_file(scope, send, None)
                return
            self._bundles[path] = File(file.content_type, file.body, await asyncio.to_thread(pack, file.body))
        await asgi.respond_file(scope, send, self._bundles[path])


def _asking(scope: Scope, path: str, address: str) -> Scope:
    """The request as Dash is to see it."""
    return {**scope, "method": "GET", "path": path, "query_string": urlencode({"page": address}).encode()}


async def _collect(app: App, scope: Scope, receive: Receive) -> File | None:
    """A whole answer, or ``None`` if it is not 200."""
    started: Message = {}
    body = bytearray()

    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            started.update(message)
        else:
            body.extend(message.get("body", b""))

    await app(scope, receive, send)
    content_type = next((value.decode() for name, value in started["headers"] if name == b"content-type"), "")
    return File(content_type, bytes(body), None) if started["status"] == asgi.OK else None
