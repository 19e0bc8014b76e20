"""The faults, each done to a lift in the air whose own alarm sounds. What may be said, and what may be lost: nothing.

Each is a function ``(folder, times, seed) -> Outcome``. A fault is survived when nothing better than ``land_now`` or
``no_signal`` was said while it lasted, the right call stood again on a new reading, and nothing answered was lost.
"""

import contextlib
import os
import random
import signal
import sqlite3
import subprocess
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from monitor.store.database import database_path
from monitor.store.traces import MESSAGES, read_trace, trace_path, trace_sha256
from tests.brokers import wait_for
from tests.campaign.proxy import Proxy
from tests.campaign.rig import HONEST, Rig
from tests.disks import fill, small_disk
from tests.page.conftest import window
from tests.page.in_page import SHOWS, WATCH
from tests.page.serving import chromium, serve, wait_ready
from tests.page.test_dead_man import COVERED
from tests.tools import need

RIGHT_WITHIN_S: Final = 2.0
"""The promise: the right call within this long of the first reading."""


@dataclass
class Outcome:
    """What came of one kind of fault."""

    tried_n: int = 0
    survived_n: int = 0
    answered_n: int = 0
    lost: list[str] = field(default_factory=list)
    wrong_n: int = 0
    """Statuses better than they may have been."""
    right_again_s: list[float] = field(default_factory=list)
    """By the clock: a figure, of this machine and what else it does."""
    right_by_readings_s: list[float] = field(default_factory=list)
    """From the first reading judged afterwards to the one the right call stands on, by their own times: the promise."""
    note: str = ""


Fault = Callable[[Path, int, int], Outcome]


def _after(rig: Rig, outcome: Outcome, within_s: float = 20.0) -> None:
    """Note how the rig came out of one instance of a fault."""
    outcome.tried_n += 1
    try:
        took_s, by_readings_s = rig.right_again_s(within_s)
    except AssertionError:
        outcome.note = f"the right call was not back within {within_s:.0f} s"
        return
    outcome.right_again_s.append(took_s)
    outcome.right_by_readings_s.append(by_readings_s)
    outcome.survived_n += rig.still_acknowledged() and not rig.lifter.wrong


@contextlib.contextmanager
def in_the_air(rig: Rig, outcome: Outcome, **start: Any) -> Iterator[None]:
    """A lift whose alarm is acknowledged; afterwards it is ended, and what is lost is looked for."""
    rig.start(**start)
    rig.acknowledge()
    yield
    reader = rig.end_lift()
    outcome.answered_n += len(rig.people.done)
    outcome.lost += rig.lost(reader)
    outcome.wrong_n += len(rig.lifter.wrong)
    reader.close()


def engine_killed(folder: Path, times: int, seed: int) -> Outcome:
    """SIGKILL at seeded moments; started again at once."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            time.sleep(moments.uniform(0.0, 1.0))
            rig.kill_engine()
            rig.start_again()
            _after(rig, outcome)
    return outcome


def engine_frozen(folder: Path, times: int, seed: int) -> Outcome:
    """SIGSTOP for some seconds: statuses expire at their readers, and it goes on by itself."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            assert rig.engine is not None
            rig.engine.process.send_signal(signal.SIGSTOP)
            time.sleep(moments.uniform(1.0, 5.0))
            rig.engine.process.send_signal(signal.SIGCONT)
            _after(rig, outcome)
    return outcome


def broker_killed(folder: Path, times: int, seed: int) -> Outcome:
    """The broker ends and is started again seconds later."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            rig.broker.kill()
            time.sleep(moments.uniform(0.2, 5.0))
            rig.broker.start()
            _after(rig, outcome)
    return outcome


def broker_frozen(folder: Path, times: int, seed: int) -> Outcome:
    """The broker hangs with its connections open."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            rig.broker.freeze()
            time.sleep(moments.uniform(2.0, 8.0))
            rig.broker.thaw()
            _after(rig, outcome)
    return outcome


def broker_disk_full(folder: Path, times: int, seed: int) -> Outcome:
    """The disk of the broker's own store is full while it is told to save every second."""
    del seed
    outcome = Outcome()
    with small_disk(folder / "broker", size="1m") as disk:
        lines = ["persistence true", f"persistence_location {disk}/", "autosave_interval 1"]
        with Rig(folder, *lines) as rig, in_the_air(rig, outcome):
            for _ in range(times):
                fill(disk)
                time.sleep(3.0)
                _after(rig, outcome)
                (disk / "filler").unlink(missing_ok=True)
    return outcome


def sender_cut_off(folder: Path, times: int, seed: int) -> Outcome:
    """No readings for seconds: a standing call is not replaced by silence."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            rig.lifter.silent = True
            time.sleep(moments.uniform(1.0, 10.0))
            rig.lifter.silent = False
            _after(rig, outcome)
    return outcome


def messages_spoilt(folder: Path, times: int, seed: int) -> Outcome:
    """30 % lost, up to 2 s late, doubled, out of order: whole messages, as a radio with its own retries does it."""
    outcome, chance = Outcome(), random.Random(seed)

    def spoil(message: bytes) -> list[tuple[float, bytes]]:
        if chance.random() < 0.3:
            return []
        return [(chance.uniform(0.0, 2.0), message)] * (2 if chance.random() < 0.2 else 1)

    with Rig(folder, spoil=spoil) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            time.sleep(5.0)
            _after(rig, outcome)
    return outcome


def network_cut_frozen_slow(folder: Path, times: int, seed: int) -> Outcome:
    """The line between broker and engine is cut, frozen, two seconds slow, or 4 kB/s narrow."""
    outcome, chance = Outcome(), random.Random(seed)
    with Rig(folder) as rig, Proxy(rig.broker.port) as line, in_the_air(rig, outcome, url=line.url):
        for n in range(times):
            match n % 4:
                case 0:
                    line.cut()
                case 1:
                    line.frozen = True
                case 2:
                    line.delay_s = 2.0
                case _:
                    line.bytes_per_s = 4000.0
            time.sleep(chance.uniform(1.0, 6.0))
            line.mend()
            _after(rig, outcome, within_s=30.0)
    return outcome


def disk_full(folder: Path, times: int, seed: int) -> Outcome:
    """The records' disk is full: watching goes on, actions are refused in words, and nothing answered is lost."""
    del seed
    outcome = Outcome()
    (folder / "data").mkdir()
    with small_disk(folder / "data", size="48m") as disk, Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            refused_n = len(rig.people.refused)
            fill(disk)
            wait_for(lambda n=refused_n: len(rig.people.refused) > n, 20, "an action refused in words")
            _after(rig, outcome)
            (disk / "filler").unlink()
            done_n = len(rig.people.done)
            wait_for(lambda n=done_n: len(rig.people.done) > n, 20, "actions taken again")
        outcome.note = f"refused in words: {rig.people.refused[-1]}"
    return outcome


def disk_read_only(folder: Path, times: int, seed: int) -> Outcome:
    """The system turns the records' disk read-only, as it does after an error: as a full disk, but all at once."""
    del seed
    outcome = Outcome()
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            refused_n = len(rig.people.refused)
            with system_calls(rig, "pwrite64,fsync,fdatasync,ftruncate", "error=EROFS"):
                wait_for(lambda n=refused_n: len(rig.people.refused) > n, 20, "an action refused in words")
                _after(rig, outcome)
            done_n = len(rig.people.done)
            wait_for(lambda n=done_n: len(rig.people.done) > n, 20, "actions taken again")
        outcome.note = f"refused in words: {rig.people.refused[-1]}"
    return outcome


def disk_slow(folder: Path, times: int, seed: int) -> Outcome:
    """Every write to the disk takes a second longer: calls don't wait for it."""
    del seed
    outcome = Outcome()
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            with system_calls(rig, "fsync,fdatasync", "delay_enter=1000000"):
                time.sleep(4.0)
                _after(rig, outcome)
    return outcome


def database_locked(folder: Path, times: int, seed: int) -> Outcome:
    """Another program holds the database's write lock for some seconds."""
    outcome, moments = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            with contextlib.closing(sqlite3.connect(database_path(rig.data))) as other:
                other.execute("BEGIN IMMEDIATE")
                time.sleep(moments.uniform(1.0, 8.0))
                _after(rig, outcome)
                other.rollback()
    return outcome


def write_half_done(folder: Path, times: int, seed: int) -> Outcome:
    """The machine stops in the middle of a write: the log of the database ends with bytes that mean nothing."""
    outcome, chance = Outcome(), random.Random(seed)
    with Rig(folder) as rig, in_the_air(rig, outcome):
        for _ in range(times):
            time.sleep(chance.uniform(0.2, 1.0))
            rig.kill_engine()
            log = database_path(rig.data).with_name(database_path(rig.data).name + "-wal")
            with log.open("ab") as file:  # a last frame of which only a part is there
                file.write(chance.randbytes(chance.randrange(24, 4096)))
            rig.start_again()
            _after(rig, outcome)
    return outcome


def trace_half_written(folder: Path, times: int, seed: int) -> Outcome:
    """The machine stops as the lift's trace is to get its name, and half of the file never reached the disk."""
    outcome, chance = Outcome(), random.Random(seed)
    for n in range(times):
        here = folder / str(n)
        here.mkdir()
        with Rig(here) as rig, in_the_air(rig, outcome):
            time.sleep(chance.uniform(0.0, 2.0))
            trace = rig.data / trace_path(rig.lift)
            partial = trace.with_name(trace.name + ".partial")
            with system_calls(rig, "rename,renameat,renameat2", "signal=KILL", only=partial):
                rig.land()
                rig.engine_died()
            os.truncate(partial, partial.stat().st_size // 2)
            assert not trace.exists()
            rig.start_again()
        outcome.tried_n += 1
        outcome.survived_n += not partial.exists() and _is_whole(rig.data, rig.lift)
    return outcome


def _is_whole(data: Path, lift: str) -> bool:
    """Whether a lift's trace is the file the store tells of, with every row the journal has of that lift."""
    with contextlib.closing(sqlite3.connect(database_path(data))) as store:
        sha256, rows_n = store.execute("SELECT sha256, rows_n FROM traces WHERE lift = ?", [lift]).fetchone()
        journalled = store.execute(
            "SELECT kind FROM journal JOIN lifts ON journal.lifter = lifts.lifter"
            " WHERE lifts.id = ? AND now_s BETWEEN opened_now_s AND closed_now_s",
            [lift],
        ).fetchall()
    journalled_n = sum(kind in MESSAGES or kind == "judged" for (kind,) in journalled)
    trace = data / trace_path(lift)
    readings_n = read_trace(trace)["kind"].count("reading")
    return trace_sha256(trace) == sha256 and 0 < readings_n < rows_n == journalled_n


def clock_stepped(folder: Path, times: int, seed: int) -> Outcome:
    """The system's clock jumps an hour forth and back, with the engine running."""
    del seed
    outcome = Outcome()
    offset = folder / "offset"
    offset.write_text("+0s\n")
    with Rig(folder) as rig, in_the_air(rig, outcome, environment=faked_clock(offset)):
        for n in range(times):
            offset.write_text("+1h\n" if n % 2 == 0 else "+0s\n")
            time.sleep(2.0)
            outcome.tried_n += 1
            seen = rig.lifter.status["reading_time"]
            try:
                wait_for(lambda was=seen: rig.lifter.status["reading_time"] != was, 10, "a new reading judged")
            except AssertionError as error:
                outcome.note = str(error)
                continue
            right = rig.lifter.status["call"] == "land_now" and rig.still_acknowledged()
            outcome.survived_n += right and not rig.lifter.wrong
        offset.write_text("+0s\n")
        time.sleep(2.0)
    return outcome


def no_clock_at_start(folder: Path, times: int, seed: int) -> Outcome:
    """A box without a clock of its own starts in 1970 and learns the time while a load hangs."""
    del seed
    outcome = Outcome()
    for n in range(times):
        here = folder / str(n)
        here.mkdir()
        offset = here / "offset"
        offset.write_text(f"-{int(time.time()) - 86400}s\n")
        with Rig(here) as rig, in_the_air(rig, outcome, environment=faked_clock(offset)):
            time.sleep(1.0)
            offset.write_text("+0s\n")
            _after(rig, outcome)
    return outcome


def page_left_in_the_dark(folder: Path, times: int, seed: int) -> Outcome:
    """The page in a real browser while its server or the engine is frozen or killed and started again.

    It must cover itself, and show nothing better than the call from before to after.
    """
    outcome, chance = Outcome(), random.Random(seed)
    dark_s: list[float] = []
    with (
        Rig(folder) as rig,
        in_the_air(rig, outcome),
        contextlib.ExitStack() as pages,
        chromium() as browser,
        window(browser) as context,
    ):
        served = pages.enter_context(serve(rig.data))
        wait_ready(served)
        page = context.new_page()
        page.goto(f"{served.url}/?lifter=dock-6")
        page.wait_for_function(SHOWS, arg="land_now")
        page.evaluate(WATCH)
        for n in range(times):
            assert rig.engine is not None
            hurt = served.process if n % 2 == 0 else rig.engine.process
            is_kill = n % 4 >= 2
            from_s = time.monotonic()
            hurt.send_signal(signal.SIGKILL if is_kill else signal.SIGSTOP)
            page.wait_for_function("() => document.body.dataset.call === 'no_signal'", timeout=10_000, polling=20)
            dark_s.append(time.monotonic() - from_s)
            is_covered = page.evaluate(COVERED)
            time.sleep(chance.uniform(0.0, 3.0))
            if not is_kill:
                hurt.send_signal(signal.SIGCONT)
            elif hurt is rig.engine.process:
                rig.kill_engine()
                rig.start_again()
            else:
                hurt.wait()
                served = pages.enter_context(serve(rig.data, listen=served.url.removeprefix("http://")))
            _after(rig, outcome)
            page.wait_for_function(SHOWS, arg="land_now", timeout=20_000)
            showed = set(page.evaluate("() => window.showed.splice(0)"))
            outcome.survived_n -= not (is_covered and showed <= HONEST)
    dark_s.sort()
    outcome.note = f"page covered after {dark_s[len(dark_s) // 2]:.2f} s, at most {dark_s[-1]:.2f} (3 promised)"
    return outcome


FAULTS: Final[dict[str, tuple[Fault, int, int]]] = {
    "engine killed": (engine_killed, 6, 200),
    "engine frozen": (engine_frozen, 2, 20),
    "broker killed": (broker_killed, 2, 20),
    "broker frozen": (broker_frozen, 1, 10),
    "broker's disk full": (broker_disk_full, 1, 5),
    "sender cut off": (sender_cut_off, 2, 20),
    "messages lost, late, doubled, out of order": (messages_spoilt, 1, 12),
    "line cut, frozen, slow, narrow": (network_cut_frozen_slow, 4, 24),
    "disk full": (disk_full, 1, 5),
    "disk turned read-only": (disk_read_only, 1, 5),
    "disk slow (a second a write)": (disk_slow, 1, 5),
    "database locked": (database_locked, 1, 8),
    "write half done": (write_half_done, 2, 40),
    "trace half written": (trace_half_written, 1, 10),
    "clock stepped by an hour": (clock_stepped, 2, 10),
    "no clock at the start": (no_clock_at_start, 1, 4),
    "page left in the dark": (page_left_in_the_dark, 4, 20),
}
"""By name: what is done, how often in a short run, how often in a full one."""


@contextlib.contextmanager
def system_calls(rig: Rig, names: str, what: str, *, only: Path | None = None) -> Iterator[None]:
    """While this lasts the engine's system calls of these names, on one file or any, are answered otherwise."""
    assert rig.engine is not None
    how = ["-e", f"trace={names}", "-e", f"inject={names}:{what}", "-p", str(rig.engine.process.pid)]
    how += [] if only is None else ["-P", str(only)]
    tracing = subprocess.Popen([need("strace"), "-f", "-q", "-o", "/dev/null", *how])
    try:
        yield
    finally:
        tracing.terminate()
        tracing.wait()


def faked_clock(offset: Path) -> dict[str, str]:
    """What makes a process see the wall clock of the file; its monotonic clock stays true."""
    return {
        "LD_PRELOAD": _faketime(),
        "FAKETIME_TIMESTAMP_FILE": str(offset),
        "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",
    }


def _faketime() -> str:
    for folder in Path("/usr/lib").glob("*/faketime"):
        if (library := folder / "libfaketimeMT.so.1").exists():
            return str(library)
    need("libfaketime")  # says what to install
    raise AssertionError
