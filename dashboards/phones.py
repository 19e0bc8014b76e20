"""The landing phones: when each lifter's was last heard, and the code by which one joins.

A landing page that is hidden, locked or out of range asks for nothing, so its silence is what the ground sees of it.
"""

from collections.abc import Callable, Mapping
from ipaddress import ip_address
from typing import Any, Final

import segno

from dashboards import asgi
from dashboards.access import Access
from dashboards.asgi import Receive, Scope, Send
from dashboards.words import Voice

CONNECTED_S: Final = 3.0
"""A phone asks at least every 0.6 s, 1.6 s with one lost request; after three it is not connected."""


class Phones:
    """Which landing pages ask for news, by lifter."""

    def __init__(self) -> None:
        self.seen_utc_s: dict[str | None, float] = {}
        """Last asked, by lifter; ``None`` for a page that shows all lifters."""

    def heard(self, lifter: str | None, at_utc_s: float, known: set[str]) -> None:
        """A landing page asked. A lifter that does not exist is not kept: anybody could fill the memory with names."""
        if lifter is None or lifter in known:
            self.seen_utc_s[lifter] = at_utc_s

    def last_utc_s(self, lifter: str) -> float | None:
        """When a page that shows this lifter last asked; ``None`` for never."""
        seen = [at_s for name in (lifter, None) if (at_s := self.seen_utc_s.get(name)) is not None]
        return max(seen, default=None)


class Joining:
    """The code on the ground screen that leads a phone to the landing page."""

    def __init__(self, access: Access, voice: Callable[[Scope], Voice], addresses: tuple[str, ...]) -> None:
        """``addresses`` are HOST[:PORT] that other machines may reach this server by, the best first; may be empty."""
        self._access = access
        self._voice = voice
        self._addresses = addresses

    async def get(self, scope: Scope, receive: Receive, send: Send) -> None:
        """``/api/join?lifter=ID``: the address and its code as a picture, or why a phone can't come."""
        del receive
        voice = self._voice(scope)
        host = next((name for name in (asgi.header(scope, "host"), *self._addresses) if not is_local(name)), None)
        if host is None:
            await asgi.respond_json(send, {"why": voice.say("join.local")})
            return
        path = self._access.join_path
        lifter = asgi.query_of(scope).get("lifter", "")
        url = f"{scope.get('scheme', 'http')}://{host}{path}"
        if lifter and path == "/landing":
            url += "?" + asgi.encoded(lifter=lifter)
        code = segno.make(url, error="m", micro=False)
        said: Mapping[str, Any] = {
            "url": url,
            "picture": code.svg_data_uri(scale=8, border=4, dark="#000", light="#fff"),
            "words": voice.say("join.scan"),
            "secure": "" if url.startswith("https") else voice.say("join.not_secure"),
        }
        await asgi.respond_json(send, said)


def is_local(host: str) -> bool:
    """Whether an address leads only to the machine that uses it. Check: "127.0.0.1:80", "localhost" and "[::1]" do."""
    name = host.rpartition(":")[0] if host.rpartition(":")[2].isdecimal() and not host.endswith("]") else host
    name = name.strip("[]").lower()
    if name in {"", "localhost"}:
        return True
    try:
        address = ip_address(name)
    except ValueError:
        return False
    return address.is_loopback or address.is_unspecified
