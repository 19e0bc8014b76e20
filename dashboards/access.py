"""Who may look and who may act: the join link, the roles and their PINs, and for how long a sign-in lasts.

With no PIN set, whoever sits at this machine may act and is named by what he writes; other devices may only look.
"""

import asyncio
import hashlib
import math
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie
from pathlib import Path
from typing import Any, Final

from itsdangerous import BadSignature, URLSafeTimedSerializer

from dashboards.asgi import Scope, header
from dashboards.signed_out import SignedOut
from dashboards.slowing import Slowing
from dashboards.words import say
from monitor.clock import boot_id, monotonic_s
from monitor.core.events import ActionKind
from monitor.core.messages import Value
from monitor.hashing import NOBODYS, matches
from monitor.settings.access import PinError, Role, join_token, read_pins, signing_key
from monitor.words.languages import ENGLISH

SHIFT_S: Final = 12 * 3600
YEAR_S: Final = 365 * 24 * 3600
GUESSES_AT_ONCE_N: Final = 8
"""Guesses waiting to be worked out; one is worked out at a time, so that a flood of them can't take the machine."""

SESSION, DEVICE, VIEW = "holdwatch_session", "holdwatch_device", "holdwatch_view"
_LASTS_S: Final[Mapping[str, int]] = {SESSION: SHIFT_S, DEVICE: YEAR_S, VIEW: YEAR_S}
_SIGNED: Final = frozenset({"id", "who", "role", "pin", "boot", "until_s"})
"""What a sign-in says; its end is on the monotonic clock of this start of the machine, which nobody can set back."""

_CREW: Final = frozenset({Role.OPERATOR, Role.LANDING, Role.SUPERVISOR})
_AT_THE_LANDING: Final = frozenset({Role.LANDING, Role.SUPERVISOR})
_WORKSHOP: Final = frozenset({Role.MAINTENANCE, Role.SUPERVISOR})

MAY: Final[Mapping[ActionKind, frozenset[Role]]] = {
    ActionKind.ACKNOWLEDGE: _CREW | _WORKSHOP,
    ActionKind.RESET: _WORKSHOP,
    ActionKind.OUT_OF_SERVICE: _WORKSHOP,
    ActionKind.IN_SERVICE: _WORKSHOP,
    ActionKind.PICKED_UP: _CREW,
    ActionKind.LANDED_FIXED: _AT_THE_LANDING,
    ActionKind.CONFIRM_FIXED: _AT_THE_LANDING,
    ActionKind.SURFACE: _CREW,
    ActionKind.SERVICE_NOTE: _WORKSHOP,
    ActionKind.SEAL_TEST: _CREW | _WORKSHOP,
    ActionKind.END_SEAL_TEST: _CREW | _WORKSHOP,
}
"""Which roles may do what; whatever is not named here only the supervisor may."""


@dataclass(frozen=True, slots=True)
class Person:
    """Who acts, as signed in."""

    who: str
    role: str


class RefusedError(Exception):
    """Something this visitor may not do. ``key`` names why, ``status`` is the HTTP status, the text says what to do."""

    def __init__(self, key: str, status: int, words: str = "", **values: Value) -> None:
        """``words`` where they are for who writes programs; else ``key`` and ``values`` say them in any language."""
        super().__init__(words or say(key, ENGLISH, **values))
        self.key = key
        self.status = status
        self.values = values


class Access:
    """The doorkeeper of one site's pages."""

    def __init__(
        self,
        data: Path,
        *,
        join_link: bool = False,
        is_demo: bool = False,
        monotonic: Callable[[], float] = monotonic_s,
    ) -> None:
        """Begin with nobody slowed.

        Args:
            data: The data folder, which holds PINs and key; both are read at each need, so a change counts at once.
            join_link: Whether other devices must have come through the join link to look.
            is_demo: Whether there is no real lifter: then any device may act while no PIN is set.
            monotonic: Clock of the waits and of sign-ins, s.
        """
        self._data = data
        self._join_link = join_link
        self._is_demo = is_demo
        self._monotonic = monotonic
        self._slowing = Slowing()
        self._guessing = asyncio.Lock()
        self._guesses_n = 0
        self._signed_out = SignedOut(data, monotonic, SHIFT_S)

    @property
    def _key(self) -> bytes:
        return signing_key(self._data)

    # -- looking

    def may_look(self, scope: Scope) -> bool:
        """Whether this visitor may see the pages."""
        return not self._join_link or is_this_machine(scope) or self._cookie(scope, VIEW) == join_token(self._key)

    def joined(self, token: str, scope: Scope) -> str:
        """The cookie for whoever came with the right join token.

        Raises:
            RefusedError: It is not the right one.
        """
        wanted = join_token(self._key)
        if not secrets.compare_digest(token.encode(), wanted.encode()):
            raise RefusedError("access.join", 403)
        return self._set(scope, VIEW, wanted)

    @property
    def join_path(self) -> str:
        """Where a phone is let in: the landing page, or the join link where the site asks for it."""
        return f"/join/{join_token(self._key)}" if self._join_link else "/landing"

    # -- acting

    def signed_in(self, scope: Scope) -> Person | None:
        """Who is signed in on this device, if anybody still is."""
        said = self._signed(scope)
        if said is None:
            return None
        kept = self._pins().get(said["role"])
        return Person(said["who"], said["role"]) if kept and said["pin"] == _mark(kept) else None

    def needs_pin(self) -> bool:
        """Whether the site has set any PIN, and so lets only signed-in people act."""
        return bool(self._pins())

    def actor(self, scope: Scope, kind: ActionKind, said: Person) -> Person:
        """Who is acting: the person signed in, or ``said`` where no PIN is set and the device may be believed.

        Raises:
            RefusedError: Nobody is signed in, or this role may not do it.
        """
        if not self.needs_pin():
            if self._is_demo or is_this_machine(scope):
                return said
            raise RefusedError("access.no_pin", 403)
        person = self.signed_in(scope)
        if person is None:
            raise RefusedError("access.sign_in", 401)
        allowed = MAY.get(kind, frozenset({Role.SUPERVISOR}))
        if person.role not in allowed:
            raise RefusedError("access.role", 403, allowed=", ".join(sorted(allowed)), role=person.role)
        return person

    async def sign_in(self, scope: Scope, who: str, role: str, pin: str) -> list[str]:
        """Check a PIN; the cookies to set.

        Raises:
            RefusedError: The PIN is wrong, or it is too early for another guess.
        """
        role = role if role in set(Role) else ""  # any other word is the same one word, or they would fill the memory
        kept = self._pins().get(role)
        peer = peer_of(scope)
        device = self._cookie(scope, DEVICE)
        device = device["id"] if isinstance(device, dict) and device["role"] == role else ""
        if not device and is_this_machine(scope):
            device = "this machine"  # whoever can reach the machine itself must not be locked out from afar
        if not device and self._guesses_n >= GUESSES_AT_ONCE_N:
            raise RefusedError("access.busy", 503)
        self._guesses_n += 1
        try:
            async with self._guessing:  # one after the other: a miss slows whoever waits behind it
                if (wait_s := self._slowing.wait_s(role, device, peer, self._monotonic())) > 0.0:
                    raise RefusedError("access.wait", 429, wait_s=math.ceil(wait_s), role=role)
                # A role without a PIN takes as long as one with: which roles have one is nobody's business.
                if not await asyncio.to_thread(matches, pin.encode(), kept or NOBODYS) or kept is None:
                    self._slowing.missed(role, device, peer, self._monotonic())
                    raise RefusedError("access.wrong_pin", 403)
        finally:
            self._guesses_n -= 1
        self._slowing.hit(role, device, peer)
        session = {
            "id": secrets.token_hex(8),
            "who": who,
            "role": role,
            "pin": _mark(kept),
            "boot": boot_id(),
            "until_s": self._monotonic() + SHIFT_S,
        }
        known = {"id": secrets.token_hex(8), "role": role}
        return [self._set(scope, SESSION, session), self._set(scope, DEVICE, known)]

    async def sign_out(self, scope: Scope) -> str:
        """End this device's sign-in; the cookie to set."""
        said = self._signed(scope)
        if said is not None:
            await asyncio.to_thread(self._signed_out.add, said["id"], said["until_s"])
        return f"{SESSION}=; Max-Age=0; {_attributes(scope, SESSION)}"

    # -- inside

    def _pins(self) -> Mapping[Any, str]:
        try:
            return read_pins(self._data)
        except PinError as error:
            raise RefusedError("access.pins", 503, str(error)) from None

    def _signed(self, scope: Scope) -> dict[str, Any] | None:
        """A sign-in whose time is not over and that nobody ended."""
        said = self._cookie(scope, SESSION)
        if not isinstance(said, dict) or not said.keys() >= _SIGNED or said["boot"] != boot_id():
            return None
        is_over = self._monotonic() >= said["until_s"] or self._signed_out.has(said["id"], said["until_s"])
        return None if is_over else said

    def _cookie(self, scope: Scope, name: str) -> Any:
        """What a cookie of ours says; None where there is none, it is too old, or somebody else made it."""
        try:
            found = SimpleCookie(header(scope, "cookie")).get(name)
            if found is None:
                return None
            # A sign-in says its own end, on a clock nobody sets.
            most_s = None if name == SESSION else _LASTS_S[name]
            return self._signer(name).loads(found.value, max_age=most_s)
        except (BadSignature, CookieError):
            return None

    def _set(self, scope: Scope, name: str, value: Any) -> str:
        signed = self._signer(name).dumps(value)
        return f"{name}={signed}; Max-Age={_LASTS_S[name]}; {_attributes(scope, name)}"

    def _signer(self, name: str) -> URLSafeTimedSerializer:
        return URLSafeTimedSerializer(self._key, salt=name)


def peer_of(scope: Scope) -> str:
    """The address a request came from."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def is_this_machine(scope: Scope) -> bool:
    """Whether a request was made on this very machine: by its loopback address, or by the one it was called at."""
    peer = peer_of(scope)
    server = scope.get("server")
    return peer in {"127.0.0.1", "::1"} or (peer != "" and server is not None and peer == server[0])


def _attributes(scope: Scope, name: str) -> str:
    # A phone follows the join link from its camera or a message, so what lets it look comes along with a link; what
    # lets it act never does.
    same_site = "Lax" if name == VIEW else "Strict"
    secure = "; Secure" if scope.get("scheme") == "https" else ""
    return f"Path=/; HttpOnly; SameSite={same_site}{secure}"


def _mark(kept: str) -> str:
    """Changes when the PIN does: sign-ins made with the old one end."""
    return hashlib.sha256(kept.encode()).hexdigest()[:16]
