"""The embedded broker, a process of its own: ``python -m monitor.embedded --listen 127.0.0.1:0``.

The broker inside (rumqttd, in the iotcore wheel) serves MQTT 3.1.1 and MQTT 5 on a port each. One address for both is
what a gateway's manual expects, so a small front reads each client's first packet, checks its password, and hands the
connection on to the right one of two ports that only loopback reaches, under a login that only this process knows. It
has no access list: whoever is let in may write any topic. A site that needs one uses Mosquitto.
"""

import argparse
import asyncio
import contextlib
import hmac
import json
import logging
import os
import secrets
import signal
import socket
import sys
import tempfile
import threading
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

from monitor.mqtt_connect import Connect, protocol_level, read_connect, refusal
from monitor.passwords import PasswordError, Passwords
from monitor.ports import Listen, ListenError, check_free, parse_listen
from monitor.settings.addresses import is_loopback

MAX_PAYLOAD_BYTES: Final = 256 * 1024
MAX_CLIENTS_N: Final = 500
SEGMENT_BYTES: Final = 1024 * 1024  # rumqttd keeps ten of these per topic filter; its own default grows without end
FIRST_PACKET_WITHIN_S: Final = 5.0
UP_WITHIN_S: Final = 10.0
REFUSED_AFTER_S: Final = 1.0
"""A wrong password is answered so late: guessing must not be quick."""

INNER_USER: Final = "front"
ENGINE_USER: Final = "holdwatch-engine"
"""The engine's name here; nobody else can have it, for its password is made anew at every start."""

REFUSED_VERSION: Final = b"\x20\x02\x00\x01"  # MQTT 3.1.1, 3.2: CONNACK, "unacceptable protocol version"

log = logging.getLogger(__name__)


def login_from(environment: Mapping[str, str]) -> tuple[str, str] | None:
    """The one user and password this broker then asks of every client, or None when none is set."""
    user = environment.get("HOLDWATCH_BROKER_USER")
    return (user, environment.get("HOLDWATCH_BROKER_PASSWORD", "")) if user else None


class Door:
    """Who is let in: clients with a password in the file, the one login of the environment, and the engine."""

    def __init__(
        self, login: tuple[str, str] | None, passwords: Passwords | None = None, engine_password: str = ""
    ) -> None:
        self._login = login
        self._passwords = passwords
        self._engine_password = engine_password

    def asks(self) -> bool:
        """Whether a client must say who it is.

        Raises:
            PasswordError: The passwords cannot be read.
        """
        return self._login is not None or (self._passwords is not None and self._passwords.any())

    def lets_in(self, user: str | None, password: bytes | None) -> bool:
        """Whether this client comes in. Takes about 50 ms, for a wrong name as for a wrong password."""
        try:
            if not self.asks():
                return True
            if user is None or password is None:
                return False
            if self._engine_password and user == ENGINE_USER:
                return hmac.compare_digest(password, self._engine_password.encode())
            if self._login is not None and user == self._login[0]:
                return hmac.compare_digest(password, self._login[1].encode())
            return self._passwords is not None and self._passwords.fits(user, password)
        except PasswordError as error:
            log.error("%s Nobody is let in.", error)  # noqa: TRY400 - in words
            return False


def checked_listen(text: str, *, has_passwords: bool) -> Listen:
    """Read where to listen; beyond this machine only with passwords.

    Raises:
        ListenError: It is no address, or open to others without a password.
    """
    listen = parse_listen(text, option="[broker].listen")
    if not has_passwords and not is_loopback(listen.host):
        raise ListenError(
            f"[broker].listen is {listen}, which other machines can reach; without passwords anyone there could send "
            "false readings. Give each lifter one with `holdwatch password NAME --site FILE`, or listen on 127.0.0.1. "
            "Nothing was started."
        )
    return listen


def config_text(ports: Sequence[tuple[str, int]], login: tuple[str, str] | None) -> str:
    """Settings of the broker inside: one listener for each of ``("v4", port)`` and ``("v5", port)``, on loopback."""
    lines = [
        "id = 0",
        "[router]",
        "id = 0",
        f"max_connections = {MAX_CLIENTS_N}",
        "max_outgoing_packet_count = 200",
        f"max_segment_size = {SEGMENT_BYTES}",
        "max_segment_count = 10",
    ]
    for version, port in ports:
        lines += [
            f"[{version}.1]",
            f'name = "{version}"',
            f'listen = "127.0.0.1:{port}"',
            "next_connection_delay_ms = 1",
            f"[{version}.1.connections]",
            f"connection_timeout_ms = {FIRST_PACKET_WITHIN_S * 1000:.0f}",
            f"max_payload_size = {MAX_PAYLOAD_BYTES}",
            "max_inflight_count = 100",
            "dynamic_filters = true",
        ]
        if login is not None:
            user, password = (json.dumps(part) for part in login)  # a JSON string is a TOML basic string
            lines += [f"[{version}.1.connections.auth]", f"{user} = {password}"]
    return "\n".join(lines) + "\n"


class _Pipe(asyncio.Protocol):
    """One end of a connection handed on: what it reads, the other end writes, at the pace that end can take."""

    def __init__(self) -> None:
        self.transport: asyncio.Transport | None = None
        self.other: _Pipe | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)  # noqa: S101 - TCP and TLS always give one
        self.transport = transport
        sock: socket.socket = transport.get_extra_info("socket")
        sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def data_received(self, data: bytes) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.write(data)

    def pause_writing(self) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.pause_reading()

    def resume_writing(self) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.resume_reading()

    def connection_lost(self, _error: Exception | None) -> None:
        if self.other is not None and self.other.transport is not None:
            self.other.transport.close()


class _Client(_Pipe):
    """A client's end: holds back until its protocol level is known, then is joined to the listener for it."""

    def __init__(self, front: "_Front") -> None:
        super().__init__()
        self._front = front
        self._held = b""
        self._joining: asyncio.Task[None] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        self._front.clients.add(self)
        if len(self._front.clients) > MAX_CLIENTS_N:
            log.warning("more than %d clients: one more was turned away", MAX_CLIENTS_N)
            transport.close()
        self._overdue = asyncio.get_running_loop().call_later(FIRST_PACKET_WITHIN_S, transport.close)

    def data_received(self, data: bytes) -> None:
        if self.other is not None:
            super().data_received(data)
            return
        self._held += data
        if self._joining is not None or self.transport is None:
            return
        try:
            level = protocol_level(self._held)
            if level is not None and level not in self._front.ports:
                self.transport.write(REFUSED_VERSION)
                self.transport.close()
                return
            connect = read_connect(self._held)
        except ValueError as error:
            log.warning("a client that speaks no MQTT was turned away: %s", error)
            self.transport.close()
            return
        if connect is not None:
            self._overdue.cancel()
            self.transport.pause_reading()
            self._joining = asyncio.ensure_future(self._enter(connect))

    async def _enter(self, connect: Connect) -> None:
        assert self.transport is not None  # noqa: S101 - set before any data came
        loop = asyncio.get_running_loop()
        if not await loop.run_in_executor(None, self._front.door.lets_in, connect.user, connect.password):
            who = "a client without user name and password" if connect.user is None else f"{connect.user!r}"
            log.warning("%s at %s was turned away", who, self.transport.get_extra_info("peername", ("?",))[0])
            await asyncio.sleep(REFUSED_AFTER_S)
            self.transport.write(refusal(connect.level, has_login=connect.user is not None))
            self.transport.close()
            return
        self._held = connect.with_login(INNER_USER, self._front.inner_password) + self._held[connect.size_n :]
        await self._join(self._front.ports[connect.level])

    async def _join(self, port: int) -> None:
        assert self.transport is not None  # noqa: S101 - set before any data came
        try:
            _, inner = await asyncio.get_running_loop().create_connection(_Pipe, "127.0.0.1", port)
        except OSError:
            self.transport.close()
            return
        inner.other, self.other = self, inner
        if self.transport.is_closing():
            self.connection_lost(None)
            return
        super().data_received(self._held)
        self._held = b""
        self.transport.resume_reading()

    def connection_lost(self, error: Exception | None) -> None:
        self._overdue.cancel()
        self._front.clients.discard(self)
        super().connection_lost(error)


class _Front:
    def __init__(self, door: Door) -> None:
        self.door = door
        self.inner_password = secrets.token_urlsafe(24)
        self.ports: dict[int, int] = {}  # protocol level -> inner port
        self.clients: set[_Client] = set()


def _start_inner(password: str) -> dict[int, int]:
    """Start the broker inside, in a thread that lives as long as the process; return its port by protocol level."""
    from iotcore.iotcore import IotCoreBroker

    logging.getLogger("rumqttd").setLevel(logging.CRITICAL)  # it logs every packet as an error
    with contextlib.ExitStack() as held:
        probes = [held.enter_context(socket.socket()) for _ in range(2)]
        for probe in probes:
            probe.bind(("127.0.0.1", 0))
        ports = [probe.getsockname()[1] for probe in probes]
    with tempfile.TemporaryDirectory() as folder:  # only this user can read it
        path = Path(folder) / "broker.toml"
        path.write_text(config_text([("v4", ports[0]), ("v5", ports[1])], (INNER_USER, password)))
        inner = IotCoreBroker(config_path=str(path))
    threading.Thread(target=inner.run_forever, name="inner", daemon=True).start()
    return {4: ports[0], 5: ports[1]}


async def _until_up(ports: dict[int, int]) -> None:
    async with asyncio.timeout(UP_WITHIN_S):
        for port in ports.values():
            while True:
                try:
                    _, writer = await asyncio.open_connection("127.0.0.1", port)
                except OSError:
                    await asyncio.sleep(0.01)
                else:
                    writer.close()
                    break


async def serve(listen: Listen, door: Door) -> None:
    """Serve MQTT on ``listen`` until SIGTERM or Ctrl-C, and say ``listening HOST:PORT`` once clients are accepted.

    Raises:
        OSError: The address cannot be had.
        TimeoutError: The broker inside did not come up.
    """
    loop = asyncio.get_running_loop()
    ended = asyncio.Event()
    for name in ("SIGINT", "SIGTERM"):
        with contextlib.suppress(NotImplementedError):  # Windows: Ctrl-C raises KeyboardInterrupt instead
            loop.add_signal_handler(getattr(signal, name), ended.set)
    front = _Front(door)
    server = await loop.create_server(lambda: _Client(front), listen.host, listen.port, start_serving=False)
    front.ports = _start_inner(front.inner_password)
    await _until_up(front.ports)
    await server.start_serving()
    port = server.sockets[0].getsockname()[1]
    print(f"listening {listen.at(port)}", flush=True)
    await ended.wait()


def main(argv: Sequence[str] | None = None) -> int:
    """Run the broker: 0 when it was asked to end, 1 when it could not start, 2 when the address cannot be used."""
    parser = argparse.ArgumentParser(prog="python -m monitor.embedded", description=__doc__)
    parser.add_argument("--listen", default="127.0.0.1:1883", metavar="HOST:PORT")
    parser.add_argument("--passwords", metavar="FILE", type=Path, help="hashes of the clients' passwords")
    given = parser.parse_args(argv)
    login = login_from(os.environ)
    passwords = Passwords(given.passwords) if given.passwords is not None else None
    door = Door(login, passwords, os.environ.get("HOLDWATCH_ENGINE_PASSWORD", ""))
    logging.basicConfig(level=logging.WARNING, format="holdwatch broker: %(message)s", stream=sys.stderr)
    try:
        listen = checked_listen(given.listen, has_passwords=door.asks())
        check_free(listen, option="[broker].listen")
    except (ListenError, PasswordError) as error:
        print(f"holdwatch broker: {error}", file=sys.stderr)
        return 2
    try:
        asyncio.run(serve(listen, door))
    except KeyboardInterrupt:
        return 0
    except OSError as error:  # TimeoutError is one
        what = error.strerror or "the broker inside did not come up"
        print(f"holdwatch broker: could not start on {listen}: {what}.", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    code = main()
    sys.stdout.flush()
    os._exit(code)  # the broker inside has no way to be stopped, and its thread must not hold the process
