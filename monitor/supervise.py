"""Starts, restarts and ends the processes of one site, and ends them with itself.

The broker comes first, then engine, pages and simulator at the same time. A part that ends before it was ever ready
ends everything, with its own exit code; one that was ready is started again. They are ended in the opposite order, so
that the engine's last words still find a broker. Nothing is decided here about a load.
"""

import asyncio
import contextlib
import os
import signal
import sys
from collections.abc import Awaitable, Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

from monitor import child
from monitor.clock import monotonic_s

RESTART_MIN_S: Final = 0.2
RESTART_MAX_S: Final = 5.0
STEADY_AFTER_S: Final = 10.0  # a part that lived this long starts again at the shortest delay
END_WITHIN_S: Final = 3.0
ASK_EVERY_S: Final = 0.5
STILL_WAITING_S: Final = 10.0
_NEW_GROUP_ON_WINDOWS: Final = 0x200  # CREATE_NEW_PROCESS_GROUP


def say(words: str) -> None:
    """One line to the person at the terminal."""
    print(f"holdwatch: {words}", file=sys.stderr, flush=True)


class PartFailedError(Exception):
    """A part ended before it was ready. ``code`` is the exit code for the whole: its own 2 (bad input), else 1."""

    def __init__(self, name: str, returncode: int) -> None:
        super().__init__(f"the {name} {_how(returncode)} before it was ready; everything was ended.")
        self.code = 2 if returncode == 2 else 1


def _how(returncode: int) -> str:
    if returncode < 0:
        return f"was ended by {signal.Signals(-returncode).name}"
    return f"ended with exit code {returncode}"


@dataclass(slots=True)
class Part:
    """One process: a module with arguments, and the first word of the line on its standard output that says it is up.

    ``ready_word`` empty: it is ready once started. ``on_ready`` gets the rest of that line and may return new
    arguments for the next start (the port found for port 0, so that a restart keeps it). ``ends_by_itself``: exit
    code 0 is its natural end, not a fault.
    """

    name: str
    module: str
    arguments: Sequence[str]
    ready_word: str = ""
    on_ready: Callable[[str], Sequence[str]] | None = None
    ends_by_itself: bool = False
    environment: Mapping[str, str] = field(default_factory=dict)
    ready: asyncio.Event = field(default_factory=asyncio.Event)
    process: asyncio.subprocess.Process | None = None
    started_n: int = 0


class Supervisor:
    """Keeps parts running until `end` is called or one of them cannot be started."""

    def __init__(self) -> None:
        self._keeping: dict[str, tuple[Part, asyncio.Task[None]]] = {}  # in the order of starting
        self._ending = asyncio.Event()

    async def start(self, *parts: Part) -> None:
        """Start parts side by side and wait until all are ready.

        Raises:
            PartFailedError: One ended before it was ready.
        """
        for part in parts:
            self._keeping[part.name] = (part, asyncio.create_task(self._keep(part)))
        await self.watch(asyncio.gather(*(self._until_ready(part) for part in parts)))

    async def watch(self, awaited: Awaitable[object]) -> None:
        """Wait for something, or for a part to fail, whichever comes first.

        Raises:
            PartFailedError: A part that was never ready ended.
        """
        waiting = asyncio.ensure_future(awaited)
        keepers = [task for _, task in self._keeping.values()]
        pending = {waiting, *keepers}
        try:
            while not waiting.done():
                done, pending = await asyncio.wait(pending, return_when=asyncio.FIRST_COMPLETED)
                for task in done:
                    task.result()
        finally:
            await cancelled(waiting)

    async def end(self) -> None:
        """End every part, the last started first, but broker and engine only after those that speak to them."""
        self._ending.set()
        for part, task in reversed(self._keeping.values()):
            await _end(part)
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError, PartFailedError):
                await task

    def kill(self) -> None:
        """End every part at once."""
        self._ending.set()
        for part, _ in self._keeping.values():
            _signal_group(part, "SIGKILL")

    async def _until_ready(self, part: Part) -> None:
        while True:
            try:
                async with asyncio.timeout(STILL_WAITING_S):
                    await part.ready.wait()
                    return
            except TimeoutError:
                say(f"still waiting for the {part.name}")

    async def _keep(self, part: Part) -> None:
        delay_s = RESTART_MIN_S
        while not self._ending.is_set():
            began_s = monotonic_s()
            returncode = await self._run_once(part)
            if self._ending.is_set() or (part.ends_by_itself and returncode == 0):
                return
            if not part.ready.is_set():
                raise PartFailedError(part.name, returncode)
            if monotonic_s() - began_s >= STEADY_AFTER_S:
                delay_s = RESTART_MIN_S
            say(f"the {part.name} {_how(returncode)}; starting it again in {delay_s:.1f} s")
            await asyncio.sleep(delay_s)
            delay_s = min(2 * delay_s, RESTART_MAX_S)

    async def _run_once(self, part: Part) -> int:
        command = [sys.executable, "-P", child.__file__, part.module, *part.arguments]
        part.process = process = await asyncio.create_subprocess_exec(
            *command,
            stdin=asyncio.subprocess.PIPE,  # held open, see monitor.child
            stdout=asyncio.subprocess.PIPE,
            env=os.environ | part.environment,
            limit=1024 * 1024,
            # A group of its own: Ctrl-C reaches the supervisor alone, which ends the parts in order.
            process_group=None if sys.platform == "win32" else 0,
            creationflags=_NEW_GROUP_ON_WINDOWS if sys.platform == "win32" else 0,
        )
        part.started_n += 1
        if not part.ready_word:
            self._mark_ready(part, "")
        assert process.stdout is not None  # noqa: S101 - asked for above
        async for raw in process.stdout:
            line = raw.decode(errors="replace").rstrip()
            word, _, rest = line.partition(" ")
            if part.ready_word and word == part.ready_word:
                self._mark_ready(part, rest)
            elif line:
                say(f"{part.name}: {line}")
        return await process.wait()

    def _mark_ready(self, part: Part, rest: str) -> None:
        if part.on_ready is not None:
            part.arguments = part.on_ready(rest)
        if part.ready.is_set():
            say(f"the {part.name} is up again")
        part.ready.set()


def _signal_group(part: Part, name: str) -> None:
    process = part.process
    if process is None or process.returncode is not None:
        return
    with contextlib.suppress(ProcessLookupError):
        if sys.platform == "win32":
            process.kill()
        else:
            os.killpg(process.pid, getattr(signal, name))


async def _end(part: Part) -> None:
    process = part.process
    if process is None or process.returncode is not None:
        return
    for _ in range(round(END_WITHIN_S / ASK_EVERY_S)):
        _signal_group(part, "SIGTERM")  # again and again: one that is still loading may not have heard the first
        try:
            async with asyncio.timeout(ASK_EVERY_S):
                await process.wait()
        except TimeoutError:
            continue
        return
    say(f"the {part.name} did not end by itself within {END_WITHIN_S:.0f} s and was killed")
    _signal_group(part, "SIGKILL")
    await process.wait()


async def cancelled(*tasks: asyncio.Future[object]) -> None:
    """Cancel what is still running and take its outcome, whatever it is, so that none is reported as forgotten."""
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


def on_signals(first: Callable[[], None], again: Callable[[], None]) -> None:
    """Call ``first`` on Ctrl-C, SIGTERM or a closed terminal, and ``again`` on every later one."""
    loop = asyncio.get_running_loop()
    heard = False

    def hear() -> None:
        nonlocal heard
        (again if heard else first)()
        heard = True

    for name in ("SIGINT", "SIGTERM", "SIGHUP"):
        with contextlib.suppress(NotImplementedError, AttributeError):  # Windows: Ctrl-C is a KeyboardInterrupt
            number = getattr(signal, name)
            if name != "SIGHUP" or signal.getsignal(number) != signal.SIG_IGN:  # nohup wants it ignored
                loop.add_signal_handler(number, hear)
