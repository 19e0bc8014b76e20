"""What every answer has in common: its headers, its compression, and the request read with a limit."""

import asyncio
import gzip
import json
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from ipaddress import ip_address
from typing import Any, Final
from urllib.parse import parse_qsl, urlencode, urlsplit

from dashboards.static import File

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]
Route = App
Headers = list[tuple[bytes, bytes]]

BODY_WITHIN_S: Final = 10.0
PACK_FROM_N: Final = 8192
"""Bytes from which compressing an answer is worth its time: a page's first news, not those that follow."""
OK: Final = 200
JSON: Final = "application/json"
TEXT: Final = "text/plain; charset=utf-8"
HTML: Final = "text/html; charset=utf-8"

NO_STORE: Final = "no-store"
FOR_EVER: Final = "public, max-age=31536000, immutable"


async def respond(
    send: Send,
    body: bytes | str,
    *,
    status: int = 200,
    content_type: str = TEXT,
    cache: str = NO_STORE,
    headers: Iterable[tuple[str, str]] = (),
) -> None:
    """Send one whole answer."""
    raw = body.encode() if isinstance(body, str) else body
    every = [("content-type", content_type), ("content-length", str(len(raw))), ("cache-control", cache), *headers]
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [(name.encode(), value.encode("latin-1")) for name, value in every],
        }
    )
    await send({"type": "http.response.body", "body": raw})


async def respond_json(
    send: Send, value: object, *, status: int = 200, headers: Iterable[tuple[str, str]] = ()
) -> None:
    """Send a value as JSON."""
    await respond(send, to_json(value), status=status, content_type=JSON, headers=headers)


async def respond_long(scope: Scope, send: Send, body: bytes, *, content_type: str) -> None:
    """Send an answer made here, compressed where it is worth it and the reader takes that."""
    worth = len(body) >= PACK_FROM_N and "gzip" in header(scope, "accept-encoding")
    headers = [("vary", "accept-encoding"), *([("content-encoding", "gzip")] if worth else [])]
    await respond(send, gzip.compress(body, 3) if worth else body, content_type=content_type, headers=headers)


async def respond_file(scope: Scope, send: Send, file: File | None, *, cache: str = FOR_EVER) -> None:
    """Send a file, compressed where the reader takes that; 404 for ``None``."""
    if file is None:
        await respond(send, "There is no such file.\n", status=404)
        return
    packed = file.packed if "gzip" in header(scope, "accept-encoding") else None
    headers = [("vary", "accept-encoding"), *([("content-encoding", "gzip")] if packed else [])]
    await respond(send, packed or file.body, content_type=file.content_type, cache=cache, headers=headers)


def to_json(value: object) -> bytes:
    """Compact JSON; a number that is not finite is an error, for no reader could take it."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


async def read_body(receive: Receive, limit_n: int) -> bytes:
    """The whole request body.

    Raises:
        ValueError: It is longer than ``limit_n`` bytes.
        TimeoutError: It was not there within ``BODY_WITHIN_S``.
    """
    body = bytearray()
    more = True
    async with asyncio.timeout(BODY_WITHIN_S):
        while more:
            message = await receive()
            body += message.get("body", b"")
            if len(body) > limit_n:
                raise ValueError(f"the body is over {limit_n} bytes")
            more = message.get("more_body", False) and message["type"] != "http.disconnect"
    return bytes(body)


def query_of(scope: Scope) -> dict[str, str]:
    """The query's values by name; the last of several counts."""
    return dict(parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True))


def encoded(**values: str) -> str:
    """A query. Check: ``lifter="dock 6"`` is "lifter=dock+6"."""
    return urlencode(values)


def header(scope: Scope, name: str) -> str:
    """One request header, or ``""``."""
    wanted = name.encode()
    return next((value.decode("latin-1") for key, value in scope["headers"] if key == wanted), "")


def is_own_host(host: str, names: frozenset[str]) -> bool:
    """Whether a request's Host is one of ours: an address in figures, this machine, or a name the site gave.

    A page of another site that points its own name at this machine (DNS rebinding) comes with that name and is refused.
    Check: "127.0.0.1:8050" and "[::1]:8050" are, "evil.example:8050" is not.
    """
    try:
        name = (urlsplit(f"//{host}").hostname or "").lower()
        if name in names:
            return True
        ip_address(name)
    except ValueError:
        return False
    return True


def with_headers(app: App, every: Mapping[str, str]) -> App:
    """The same app, with ``every`` header on every answer, whoever made it."""
    raw: Headers = [(name.encode(), value.encode()) for name, value in every.items()]

    async def wrapped(scope: Scope, receive: Receive, send: Send) -> None:
        async def send_on(message: Message) -> None:
            if message["type"] == "http.response.start":
                message = {**message, "headers": [*message["headers"], *raw]}
            await send(message)

        await app(scope, receive, send_on)

    return wrapped


def security_headers(script_hashes: Iterable[str]) -> dict[str, str]:
    """Headers that keep a page to its own server and its own scripts. Styles set by the page framework need inline."""
    policy = {
        "default-src": "'none'",
        "script-src": " ".join(["'self'", *script_hashes]),
        "style-src": "'self' 'unsafe-inline'",
        "img-src": "'self' data:",
        "font-src": "'self'",
        "connect-src": "'self'",
        "form-action": "'self'",
        "base-uri": "'none'",
        "frame-ancestors": "'none'",
    }
    return {
        "content-security-policy": "; ".join(f"{name} {value}" for name, value in policy.items()),
        "x-content-type-options": "nosniff",
        "x-frame-options": "DENY",
        "referrer-policy": "no-referrer",
        "cross-origin-opener-policy": "same-origin",
        "cross-origin-resource-policy": "same-origin",
        "permissions-policy": "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
    }
