"""A small TCP proxy between a program and its broker, that can cut, freeze, slow or throttle what passes."""

import asyncio
import contextlib
import threading
from typing import Self


class Proxy:
    """Listens on loopback and hands on to ``port``. Its attributes may be set at any time from any thread."""

    def __init__(self, port: int) -> None:
        self.delay_s = 0.0
        """How much later each piece is handed on, s."""
        self.bytes_per_s: float | None = None
        """At most this many; None for as many as come."""
        self.frozen = False
        """Whether nothing passes though connections stay open."""
        self.is_cut = False
        """Whether connections are ended and new ones refused."""
        self._target = port
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._loop.run_forever, daemon=True)
        self._writers: set[asyncio.StreamWriter] = set()

    def __enter__(self) -> Self:
        self._thread.start()
        self._server = asyncio.run_coroutine_threadsafe(
            asyncio.start_server(self._take, "127.0.0.1", 0), self._loop
        ).result(5)
        self.port = self._server.sockets[0].getsockname()[1]
        self.url = f"mqtt://127.0.0.1:{self.port}"
        return self

    def __exit__(self, *_: object) -> None:
        asyncio.run_coroutine_threadsafe(self._end(), self._loop).result(5)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(5)
        self._loop.close()

    def cut(self) -> None:
        """End every connection and refuse new ones until ``mend``."""
        self.is_cut = True
        asyncio.run_coroutine_threadsafe(self._hang_up(), self._loop).result(5)

    def mend(self) -> None:
        """Let everything pass again."""
        self.is_cut = self.frozen = False
        self.delay_s, self.bytes_per_s = 0.0, None

    async def _hang_up(self) -> None:
        for writer in list(self._writers):
            writer.transport.abort()

    async def _end(self) -> None:
        self._server.close()
        await self._hang_up()
        others = [task for task in asyncio.all_tasks() if task is not asyncio.current_task()]
        for task in others:
            task.cancel()
        await asyncio.gather(*others, return_exceptions=True)

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if self.is_cut:
            writer.transport.abort()
            return
        try:
            back, on = await asyncio.open_connection("127.0.0.1", self._target)
        except OSError:
            writer.transport.abort()
            return
        self._writers |= {writer, on}
        try:
            await asyncio.gather(self._pass(reader, on), self._pass(back, writer))
        finally:
            self._writers -= {writer, on}
            writer.transport.abort()
            on.transport.abort()

    async def _pass(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            while data := await reader.read(4096):
                while self.frozen:
                    await asyncio.sleep(0.02)
                if self.delay_s:
                    await asyncio.sleep(self.delay_s)
                if self.bytes_per_s:
                    await asyncio.sleep(len(data) / self.bytes_per_s)
                writer.write(data)
                await writer.drain()
        writer.transport.abort()
