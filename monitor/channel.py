"""The local channel between engine and pages: snapshots out, operators' actions in, one JSON object a line.

A Unix socket in the data folder, for its owner only. Where a path is too long for a socket, or the platform has none,
``channel.json`` beside it says where the channel is: a socket elsewhere, or loopback with a token. The engine never
waits for it: the newest snapshot wins, a slow page skips to it, a dead one is dropped.
"""

import asyncio
import contextlib
import hmac
import inspect
import logging
import os
import secrets
import shutil
import socket
import tempfile
import threading
from collections.abc import Awaitable, Callable, Mapping
from concurrent.futures import Future
from pathlib import Path
from typing import Any, Final

import msgspec

log = logging.getLogger(__name__)

SOCKET_FILE: Final = "channel.sock"
PLACE_FILE: Final = "channel.json"

SNAPSHOT_EVERY_S: Final = 0.05
"""At most 20 snapshots a second go out."""

PATH_MAX_BYTES: Final = 100
"""The longest socket path used; systems allow 104 to 108."""

LINE_MAX_BYTES: Final = 64 * 1024
"""The longest line a page may send."""

SNAPSHOT_MAX_BYTES: Final = 64 * 1024 * 1024
"""The longest line the engine may send: ten minutes of history of a large site, with room."""

SEND_BUFFER_BYTES: Final = 64 * 1024

CLIENTS_MAX_N: Final = 64
SLOW_S: Final = 10.0
"""A client that has taken nothing for so long is dropped."""

RECONNECT_S: Final = 0.25

JSON = Mapping[str, Any]
Answer = Callable[[JSON], None]
"""Sends the answer to the page that asked. May be called from any thread, once."""


class ChannelError(Exception):
    """The engine cannot be reached, or has not answered. The text says which."""


class Place(msgspec.Struct, frozen=True, omit_defaults=True):
    """Where a channel is: ``unix``, or ``host``, ``port`` and the token to show first."""

    unix: str = ""
    host: str = ""
    port: int = 0
    token: str = ""


def place_of(path: Path) -> Place:
    """Where the channel of a data folder is, given the folder or the socket in it.

    Raises:
        ChannelError: No engine has opened one.
    """
    data = path if path.is_dir() else path.parent
    try:
        return msgspec.json.decode((data / PLACE_FILE).read_bytes(), type=Place)
    except FileNotFoundError:
        if (data / SOCKET_FILE).exists():  # there was no room on the disk to say so
            return Place(unix=str(data / SOCKET_FILE))
        raise ChannelError(f"{data}: no engine has opened its channel here") from None
    except (OSError, msgspec.DecodeError, msgspec.ValidationError) as error:
        raise ChannelError(f"{data / PLACE_FILE}: {error}") from error


class ChannelServer:
    """The engine's end, in a thread of its own.

    Args:
        data: The data folder; its one engine opens its one channel.
        hello: Makes what a new page is told first. Called from the channel's thread.
        on_action: Takes an action of a page and how to answer it. Called from the channel's thread; must not wait.
        unix: Whether to use a Unix socket; by default where the platform has them.
    """

    def __init__(
        self,
        data: Path,
        *,
        hello: Callable[[], JSON],
        on_action: Callable[[JSON, Answer], None],
        unix: bool = hasattr(socket, "AF_UNIX"),
    ) -> None:
        self._data = data
        self._hello = hello
        self._on_action = on_action
        self._unix = unix
        self._elsewhere: Path | None = None
        self._token = "" if unix else secrets.token_urlsafe(32)
        self._loop: asyncio.AbstractEventLoop | None = None
        self._opened: Future[None] = Future()
        self._stopped = asyncio.Event()
        self._offered: JSON | None = None
        self._wakes = False  # a wake of the loop is under way
        self._offering = threading.Lock()
        self._snapshot: JSON | None = None
        self._snapshot_n = 0
        self._line = b""
        self._line_n = 0  # the snapshot the line says
        self._news = asyncio.Event()
        self._fresh = asyncio.Event()
        self._clients: set[asyncio.Task[None]] = set()
        self._thread = threading.Thread(target=lambda: asyncio.run(self._main()), name="channel", daemon=True)

    def start(self) -> None:
        """Open the channel.

        Raises:
            OSError: It cannot be opened.
        """
        self._thread.start()
        self._opened.result()

    def offer(self, snapshot: JSON) -> None:
        """Send this to every page as soon as it takes it, unless a newer one is offered before. Never waits.

        The snapshot must not be changed afterwards.
        """
        with self._offering:
            self._offered = snapshot
            if self._wakes:
                return
            self._wakes = True
        self._call(self._news.set)

    def stop(self) -> None:
        """Close the channel; every page notices at once."""
        if not self._thread.is_alive():
            return
        self._call(self._stopped.set)
        self._thread.join(10.0)
        for path in (self._data / SOCKET_FILE, self._data / PLACE_FILE):
            path.unlink(missing_ok=True)
        if self._elsewhere is not None:
            shutil.rmtree(self._elsewhere, ignore_errors=True)

    def _call(self, what: Callable[..., object], *arguments: object) -> None:
        """Have the channel's thread do something; nothing once it has ended."""
        with contextlib.suppress(RuntimeError):
            if self._loop is not None:
                self._loop.call_soon_threadsafe(what, *arguments)

    # Everything below runs in the channel's thread.

    async def _main(self) -> None:
        self._loop = asyncio.get_running_loop()
        try:
            await self._open()
        except BaseException as error:  # noqa: BLE001 - handed to whoever starts it, who waits for it
            self._opened.set_exception(error)
            return
        self._opened.set_result(None)
        await self._stopped.wait()
        self._server.close()  # `asyncio.run` cancels whoever still talks, and waits for them

    async def _open(self) -> None:
        if self._unix:
            path = self._socket_path()
            path.unlink(
                missing_ok=True
            )  # left by an engine that was killed: the folder's lock says that none is there now
            listening = socket.socket(socket.AF_UNIX)
            try:
                listening.bind(str(path))
                path.chmod(0o600)  # before anyone may connect: nobody listens yet
                self._server = await asyncio.start_unix_server(self._serve, sock=listening, limit=LINE_MAX_BYTES)
            except BaseException:
                listening.close()
                raise
            place = Place(unix=str(path))
        else:
            self._server = await asyncio.start_server(self._serve, "127.0.0.1", 0, limit=LINE_MAX_BYTES)
            host, port = self._server.sockets[0].getsockname()[:2]
            place = Place(host=host, port=port, token=self._token)
        try:
            _write_private(self._data / PLACE_FILE, msgspec.json.encode(place))
        except OSError:
            if place.unix != str((self._data / SOCKET_FILE).absolute()):
                raise
            log.exception("channel: %s cannot be written; the socket is where it is looked for", PLACE_FILE)
        self._taking = asyncio.create_task(self._take())

    def _socket_path(self) -> Path:
        path = (self._data / SOCKET_FILE).absolute()
        if len(os.fsencode(path)) <= PATH_MAX_BYTES:
            return path
        self._elsewhere = Path(tempfile.mkdtemp(prefix="holdwatch-"))  # for its owner only
        return self._elsewhere / SOCKET_FILE

    async def _take(self) -> None:
        """Take the newest snapshot, at most 20 times a second, and wake whoever waits for it."""
        while True:
            await self._news.wait()
            self._news.clear()
            with self._offering:
                self._snapshot, self._wakes = self._offered, False
            self._snapshot_n += 1
            self._wake()
            await asyncio.sleep(SNAPSHOT_EVERY_S)

    def _wake(self) -> None:
        """Wake every client's sender to look for something to send."""
        self._fresh.set()
        self._fresh = asyncio.Event()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        if task is None or len(self._clients) >= CLIENTS_MAX_N:
            log.warning("channel: %d pages are connected already, one more is refused", len(self._clients))
            writer.close()
            return
        self._clients.add(task)
        try:
            await self._talk(reader, writer)
        except (OSError, EOFError, TimeoutError, asyncio.LimitOverrunError, ValueError) as error:
            log.debug("channel: a page is gone: %s", error)
        except asyncio.CancelledError:
            pass  # the engine stops
        except Exception:
            log.exception("channel: a fault of the program while talking to a page")
        finally:
            self._clients.discard(task)
            writer.transport.abort()

    async def _talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self._token:
            async with asyncio.timeout(SLOW_S):
                shown = await reader.readline()
            if not hmac.compare_digest(shown.strip(), self._token.encode()):
                log.warning("channel: somebody without the token was turned away")
                return
        # The buffers are kept small, so that a page that cannot follow holds at most one old snapshot.
        writer.transport.set_write_buffer_limits(high=0)
        writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_BYTES)
        answers: asyncio.Queue[bytes] = asyncio.Queue()
        writer.write(_line(self._hello()))
        sending = asyncio.create_task(self._send(writer, answers))
        try:
            await self._listen(reader, answers)
        finally:
            sending.cancel()
            with contextlib.suppress(asyncio.CancelledError, OSError, TimeoutError):
                await sending

    async def _send(self, writer: asyncio.StreamWriter, answers: asyncio.Queue[bytes]) -> None:
        """Answers first, then the newest snapshot, each only when the last was taken."""
        sent_n = 0
        try:
            await self._taken(writer)
            while True:
                while sent_n == self._snapshot_n and answers.empty():
                    await self._fresh.wait()
                while not answers.empty():
                    writer.write(answers.get_nowait())
                if sent_n != self._snapshot_n:
                    sent_n = self._snapshot_n
                    writer.write(self._newest_line())
                await self._taken(writer)
        finally:
            writer.transport.abort()  # ends the listening too

    @staticmethod
    async def _taken(writer: asyncio.StreamWriter) -> None:
        async with asyncio.timeout(SLOW_S):  # wait_for may swallow a cancellation when both happen at once
            await writer.drain()

    def _newest_line(self) -> bytes:
        """Encoded once for all pages, and not at all when there is none."""
        if self._line_n != self._snapshot_n:
            self._line, self._line_n = _line(self._snapshot), self._snapshot_n
        return self._line

    async def _listen(self, reader: asyncio.StreamReader, answers: asyncio.Queue[bytes]) -> None:
        while line := await reader.readline():
            try:
                said = msgspec.json.decode(line, type=dict[str, Any])
            except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
                said = {}
            if said.get("type") == "action" and isinstance(said.get("id"), str):
                self._on_action(said, self._answer(answers))
            else:
                log.warning("channel: a line that is no action was ignored: %.80r", line)

    def _answer(self, answers: asyncio.Queue[bytes]) -> Answer:
        def put(line: bytes) -> None:
            answers.put_nowait(line)
            self._wake()

        return lambda said: self._call(put, _line(said))


class ChannelClient:
    """The pages' end, for an asyncio program. ``run`` keeps it connected; ``act`` sends an action and waits for its answer."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._writer: asyncio.StreamWriter | None = None
        self._waiting: dict[str, asyncio.Future[dict[str, Any]]] = {}

    @property
    def connected(self) -> bool:
        return self._writer is not None

    async def run(
        self,
        on_hello: Callable[[dict[str, Any]], Awaitable[None] | None],
        on_snapshot: Callable[[dict[str, Any]], Awaitable[None] | None],
    ) -> None:
        """Stay connected until cancelled, and hand over what comes. Says hello again after every new connection."""
        while True:
            try:
                await self._listen({"hello": on_hello, "snapshot": on_snapshot})
            except (ChannelError, OSError, EOFError, ValueError, asyncio.LimitOverrunError) as error:
                log.debug("channel: %s", error)
            await asyncio.sleep(RECONNECT_S)

    async def act(self, action: JSON, timeout_s: float = 3.0) -> dict[str, Any]:
        """Send an action (``id``, ``kind``, ``lifter``, ``who``, ``role``, ``params``) and return the answer to it.

        Raises:
            ChannelError: The engine cannot be reached, or has not answered in time. Whether the action was taken
                is not known then; sending it again under the same id never takes it twice.
        """
        if self._writer is None:
            raise ChannelError("not done: the monitor cannot be reached")
        came: asyncio.Future[dict[str, Any]] = asyncio.get_running_loop().create_future()
        self._waiting[action["id"]] = came
        try:
            self._writer.write(_line({**action, "type": "action"}))
            async with asyncio.timeout(timeout_s):
                return await came
        except (TimeoutError, OSError):
            raise ChannelError(
                "the monitor has not answered: whether it was done is not known, look at the screen"
            ) from None
        finally:
            self._waiting.pop(action["id"], None)

    async def _listen(self, take: Mapping[str, Callable[[dict[str, Any]], Awaitable[None] | None]]) -> None:
        place = place_of(self._path)
        if place.unix:
            reader, writer = await asyncio.open_unix_connection(place.unix, limit=SNAPSHOT_MAX_BYTES)
        else:
            reader, writer = await asyncio.open_connection(place.host, place.port, limit=SNAPSHOT_MAX_BYTES)
        try:
            if place.token:
                writer.write(place.token.encode() + b"\n")
            self._writer = writer
            while line := await reader.readline():
                said = msgspec.json.decode(line)
                if said["type"] == "answer":
                    came = self._waiting.get(said["id"])
                    if came is not None and not came.done():
                        came.set_result(said)
                    continue
                done = take[said["type"]](said)
                if inspect.isawaitable(done):
                    await done
        finally:
            self._writer = None
            for came in self._waiting.values():
                if not came.done():
                    came.set_exception(ConnectionResetError())
            writer.transport.abort()


class SyncChannelClient:
    """A plain, blocking client for tests and tools. ``next`` waits at most ``timeout_s``; use it as a context."""

    def __init__(self, path: Path, timeout_s: float = 10.0) -> None:
        place = place_of(path)
        if place.unix:
            self._socket = socket.socket(socket.AF_UNIX)
            self._socket.settimeout(timeout_s)
            try:
                self._socket.connect(place.unix)
            except OSError:
                self._socket.close()
                raise
        else:
            self._socket = socket.create_connection((place.host, place.port), timeout_s)
            self._socket.sendall(place.token.encode() + b"\n")
        self._lines = self._socket.makefile("rb")

    def next(self, kind: str | None = None) -> dict[str, Any]:
        """The next message, or the next one of that type.

        Raises:
            ChannelError: The engine has closed the channel.
            TimeoutError: None came.
        """
        while line := self._lines.readline():
            said: dict[str, Any] = msgspec.json.decode(line)
            if kind in (None, said["type"]):
                return said
        raise ChannelError("the engine has closed the channel")

    def send(self, line: bytes) -> None:
        self._socket.sendall(line)

    def act(self, action: JSON) -> dict[str, Any]:
        """Send an action and return its answer, whatever comes in between."""
        self.send(_line({**action, "type": "action"}))
        while (answer := self.next("answer"))["id"] != action["id"]:
            pass
        return answer

    def __enter__(self) -> "SyncChannelClient":
        return self

    def __exit__(self, *_: object) -> None:
        self._lines.close()
        self._socket.close()


def _line(said: JSON | None) -> bytes:
    return msgspec.json.encode(said) + b"\n"


def _write_private(path: Path, content: bytes) -> None:
    partial = path.with_name(path.name + ".partial")
    partial.unlink(missing_ok=True)
    with open(os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # noqa: PTH123 - with a mode
        file.write(content)
    partial.replace(path)
