"""What people do at the pages: act, sign in, sign out, join. Each is refused in words when it can't be done."""

import json
from collections.abc import Awaitable, Callable, Mapping
from typing import Any, Final
from urllib.parse import urlsplit

from dashboards import asgi
from dashboards.access import Access, Person, RefusedError
from dashboards.asgi import Receive, Route, Scope, Send
from dashboards.words import Voice
from monitor.core.events import ActionKind

Act = Callable[[Mapping[str, Any]], Awaitable[Mapping[str, Any]]]

BODY_LIMIT_N: Final = 16_384
NAMED: Final = {"lifter": 64, "who": 64, "role": 32}
"""The names an action carries, and how long each may be."""


class Acting:
    """The part of the server that takes something in."""

    def __init__(self, act: Act, access: Access, voice: Callable[[Scope], Voice]) -> None:
        """``act`` sends an action to the engine and waits for its answer; ``access`` says who may; ``voice`` how to say it."""
        self._act = act
        self._access = access
        self._voice = voice
        self.routes: Mapping[str, tuple[str, Route]] = {
            "/api/actions": ("POST", self._post_action),
            "/api/me": ("GET", self._get_me),
            "/api/sign-in": ("POST", self._post_sign_in),
            "/api/sign-out": ("POST", self._post_sign_out),
        }

    async def _post_action(self, scope: Scope, receive: Receive, send: Send) -> None:
        """An act of a person at one of these pages, answered after it is on disk."""
        try:
            told = await self.do(scope, await own_json(scope, receive))
        except RefusedError as error:
            await self.refuse(scope, send, error)
            return
        await asgi.respond_json(send, told, status=200 if told["done"] else 409)

    async def do(self, scope: Scope, said: Mapping[str, Any]) -> dict[str, Any]:
        """Hand an action on as the person who may do it; ``done``, ``key`` and ``words`` of what came of it.

        Raises:
            RefusedError: It is no action, or not this person's to do.
        """
        action = read_action(said)
        named = Person(action["who"], action["role"])
        person = self._access.actor(scope, ActionKind(action["kind"]), named)
        answer = await self._act({**action, "who": person.who, "role": person.role})
        text = {"words": answer["words"], "text": {"key": answer["key"], "values": {}}}
        return {"done": answer["done"], "key": answer["key"], "words": self._voice(scope).told(text, "words", "text")}

    async def join(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a phone in that came by the join link, and send it on to the landing page."""
        del receive
        try:
            cookie = self._access.joined(scope["path"].removeprefix("/join/"), scope)
        except RefusedError as error:
            await asgi.respond(send, f"{self._said(scope, error)}\n", status=error.status)
            return
        await asgi.respond(send, "", status=303, headers=[("location", "/landing"), ("set-cookie", cookie)])

    async def refuse(self, scope: Scope, send: Send, error: RefusedError) -> None:
        """Answer with why something was not done."""
        await asgi.respond_json(send, _refused(error.key, self._said(scope, error)), status=error.status)

    def _said(self, scope: Scope, error: RefusedError) -> str:
        text = {"words": str(error), "text": {"key": error.key, "values": error.values}}
        return self._voice(scope).told(text, "words", "text")

    async def _get_me(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Who is signed in on this device, and whether acting takes a PIN here."""
        del receive
        try:
            needs_pin, person = self._access.needs_pin(), self._access.signed_in(scope)
        except RefusedError as error:
            await self.refuse(scope, send, error)
            return
        named = {"who": person.who, "role": person.role} if person else {"who": None, "role": "viewer"}
        await asgi.respond_json(send, {"needs_pin": needs_pin, **named})

    async def _post_sign_in(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            said = await own_json(scope, receive)
            who, role, pin = (_text(said, name, longest_n=64) for name in ("who", "role", "pin"))
            cookies = await self._access.sign_in(scope, who, role, pin)
        except RefusedError as error:
            await self.refuse(scope, send, error)
            return
        headers = [("set-cookie", cookie) for cookie in cookies]
        await asgi.respond_json(send, {"done": True, "who": who, "role": role}, headers=headers)

    async def _post_sign_out(self, scope: Scope, receive: Receive, send: Send) -> None:
        del receive
        if (foreign := why_foreign(scope)) is not None:
            await asgi.respond_json(send, _refused("action.foreign", foreign), status=403)
            return
        cookie = await self._access.sign_out(scope)
        await asgi.respond_json(send, {"done": True}, headers=[("set-cookie", cookie)])


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


async def own_json(scope: Scope, receive: Receive) -> dict[str, Any]:
    """The JSON object one of this server's own pages sent.

    Raises:
        RefusedError: It comes from elsewhere, is too long or too slow, or is no JSON object.
    """
    if (foreign := why_foreign(scope)) is not None:
        raise RefusedError("action.foreign", 403, f"Not done: {foreign}.")
    try:
        said = json.loads(await asgi.read_body(receive, BODY_LIMIT_N))
    except ValueError as error:
        raise RefusedError("action.unreadable", 400, f"Not done: {error}.") from None
    except TimeoutError:
        raise RefusedError("action.unreadable", 408, "Not done: the request came too slowly.") from None
    if not isinstance(said, dict):
        raise RefusedError("action.unreadable", 400, "Not done: the body must be one JSON object.")
    return said


def read_action(said: Mapping[str, Any]) -> dict[str, Any]:
    """An action as the channel takes it.

    Raises:
        RefusedError: It is none; the message says what was found and what is allowed.
    """
    if not isinstance(said.get("params", {}), dict):
        raise RefusedError("action.unreadable", 400, "Not done: params must be one JSON object.")
    if said.get("kind") not in list(ActionKind):
        words = f"Not done: kind is {said.get('kind')!r}; it must be one of {', '.join(sorted(ActionKind))}."
        raise RefusedError("action.unreadable", 400, words)
    named = {name: _text(said, name, longest_n=longest_n) for name, longest_n in NAMED.items()}
    return {"kind": said["kind"], **named, "params": said.get("params", {})}


def _text(said: Mapping[str, Any], name: str, *, longest_n: int) -> str:
    value = said.get(name)
    if not isinstance(value, str) or not 1 <= len(value) <= longest_n or not value.isprintable():
        words = f"Not done: {name} must be text of 1 to {longest_n} printable characters."
        raise RefusedError("action.unreadable", 400, words)
    return value


def _refused(key: str, words: str) -> dict[str, Any]:
    return {"done": False, "key": key, "words": words}
