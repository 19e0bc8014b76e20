"""No single visitor may starve the others: how many requests one device may have, and how slowly it may send them.

This machine itself is not counted: a proxy in front of the pages counts its own visitors.
"""

import asyncio
import sys
from collections import Counter, OrderedDict
from typing import ClassVar, Final

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from dashboards import asgi
from dashboards.access import is_this_machine, peer_of
from dashboards.asgi import App, Receive, Scope, Send
from monitor.clock import monotonic_s

RATE_HZ: Final = 40.0
"""Requests a second of one device, lasting: an open page makes up to five."""
BURST_N: Final = 200
"""Requests at once: a page with all its files takes about twenty."""
AT_ONCE_N: Final = 32
"""Requests of one device being answered at a time."""
CONNECTIONS_N: Final = 48
"""Open connections of one device; a browser opens six."""
DEVICES_N: Final = 2000
"""Devices whose rate is remembered."""
FIRST_WITHIN_S: Final = 10.0
"""How long a request's head may take to arrive whole."""
FILES_N: Final = 8192
"""Files and connections this process asks the system to allow it."""


class Guard:
    """An app with a limit on each device's requests."""

    def __init__(self, app: App) -> None:
        self._app = app
        self._left: OrderedDict[str, tuple[float, float]] = OrderedDict()  # requests left, and when that was, s
        self._busy: Counter[str] = Counter()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Hand the request on, or answer 429."""
        if scope["type"] != "http" or is_this_machine(scope):
            await self._app(scope, receive, send)
            return
        peer = peer_of(scope)
        if self._busy[peer] >= AT_ONCE_N or not self._takes(peer):
            words = "Too many requests from this device. Wait a moment.\n"
            await asgi.respond(send, words, status=429, headers=[("retry-after", "1")])
            return
        self._busy[peer] += 1
        try:
            await self._app(scope, receive, send)
        finally:
            self._busy[peer] -= 1
            if not self._busy[peer]:
                del self._busy[peer]

    def _takes(self, peer: str) -> bool:
        """Take one request off what the device has left. A token bucket."""
        now_s = monotonic_s()
        left_n, at_s = self._left.pop(peer, (float(BURST_N), now_s))
        left_n = min(float(BURST_N), left_n + (now_s - at_s) * RATE_HZ)
        takes = left_n >= 1.0
        self._left[peer] = (left_n - 1.0 if takes else left_n, now_s)
        while len(self._left) > DEVICES_N:
            self._left.popitem(last=False)
        return takes


class Connection(H11Protocol):
    """One connection, closed when its device has too many or sends a request's head too slowly."""

    _open: ClassVar[Counter[str]] = Counter()
    _counted = ""
    _slow: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Count it, and begin to wait for a request."""
        super().connection_made(transport)
        scope = {"client": self.client, "server": self.server}
        if not is_this_machine(scope):
            self._counted = peer_of(scope)
            self._open[self._counted] += 1
            if self._open[self._counted] > CONNECTIONS_N:
                transport.abort()
                return
        self._wait()

    def data_received(self, data: bytes) -> None:
        """Take what came; the wait ends with a whole head, not with each byte."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._wait_no_more()
        elif self._slow is None:
            self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        """Count it no more."""
        self._wait_no_more()
        if self._counted:
            self._open[self._counted] -= 1
            if not self._open[self._counted]:
                del self._open[self._counted]
        super().connection_lost(exc)

    def _unsupported_upgrade_warning(self) -> None:
        """Say nothing: whoever asks for a websocket, which there are none of, would fill the log."""

    def _wait(self) -> None:
        self._wait_no_more()
        self._slow = self.loop.call_later(FIRST_WITHIN_S, self._too_slow)

    def _wait_no_more(self) -> None:
        if self._slow is not None:
            self._slow.cancel()
            self._slow = None

    def _too_slow(self) -> None:
        self._slow = None
        if not self.transport.is_closing():
            self.transport.abort()


def allow_many_files() -> None:
    """Ask the system for as many open connections as it grants, up to ``FILES_N``; Windows has no such limit."""
    if sys.platform == "win32":
        return
    import resource

    soft_n, hard_n = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted_n = FILES_N if hard_n == resource.RLIM_INFINITY else min(FILES_N, hard_n)
    if soft_n < wanted_n:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted_n, hard_n))
