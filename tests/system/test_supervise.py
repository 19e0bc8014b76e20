"""The supervisor with real processes."""

import asyncio
import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Coroutine
from pathlib import Path
from typing import Any

import pytest

from monitor.supervise import Part, PartFailedError, Supervisor
from tests.brokers import ROOT, wait_for

pytestmark = pytest.mark.system


def alive(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


class Pids(list[int]):
    def part(self, name: str, how: str, *more: str, **settings: Any) -> Part:
        def note(rest: str) -> list[str]:
            self.append(int(rest) if rest.isdigit() else 0)
            return [how, *more]

        return Part(name, "tests.system.parts", [how, *more], "up", note, **settings)


@pytest.fixture
def pids() -> Pids:
    return Pids()


def supervised(work: Coroutine[Any, Any, None]) -> None:
    asyncio.run(asyncio.wait_for(work, 30))


def test_killed_part_is_started_again_at_once(pids: Pids, capfd: pytest.CaptureFixture[str]) -> None:
    async def work() -> None:
        supervisor = Supervisor()
        await supervisor.start(pids.part("engine", "steady"))
        killed_s = time.monotonic()
        os.kill(pids[0], signal.SIGKILL)
        while len(pids) < 2:
            await asyncio.sleep(0.01)
        assert time.monotonic() - killed_s < 2
        await supervisor.end()

    supervised(work())
    assert not any(map(alive, pids))
    assert "the engine was ended by SIGKILL; starting it again in 0.2 s" in capfd.readouterr().err


def test_part_that_keeps_ending_is_started_less_and_less_often(pids: Pids, capfd: pytest.CaptureFixture[str]) -> None:
    async def work() -> None:
        supervisor = Supervisor()
        await supervisor.start(pids.part("pages", "flaky"))
        while len(pids) < 4:
            await asyncio.sleep(0.01)
        await supervisor.end()

    supervised(work())
    said = capfd.readouterr().err
    assert [f"again in {delay} s" in said for delay in (0.2, 0.4, 0.8)] == [True, True, True]
    assert not any(map(alive, pids))


@pytest.mark.parametrize(("code", "whole"), [(2, 2), (1, 1), (3, 1)])
def test_part_that_never_was_ready_ends_everything_with_its_code(pids: Pids, code: int, whole: int) -> None:
    async def work() -> None:
        supervisor = Supervisor()
        await supervisor.start(pids.part("broker", "steady"))
        with pytest.raises(PartFailedError, match=f"the engine ended with exit code {code}") as failed:
            await supervisor.start(pids.part("engine", "crash", str(code)), pids.part("pages", "steady"))
        assert failed.value.code == whole
        await supervisor.end()

    supervised(work())
    assert not any(map(alive, pids))


def test_part_that_ends_by_itself_is_let_go(pids: Pids) -> None:
    async def work() -> None:
        supervisor = Supervisor()
        brief = pids.part("simulator", "brief", ends_by_itself=True)
        await supervisor.start(pids.part("engine", "steady"), brief)
        assert brief.process is not None
        await brief.process.wait()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(supervisor.watch(asyncio.Event().wait()), 1)
        assert brief.started_n == 1
        await supervisor.end()

    supervised(work())


def test_deaf_part_is_killed_and_it_is_said(pids: Pids, capfd: pytest.CaptureFixture[str]) -> None:
    async def work() -> None:
        supervisor = Supervisor()
        await supervisor.start(pids.part("pages", "deaf"))
        began_s = time.monotonic()
        await supervisor.end()
        assert 2.5 < time.monotonic() - began_s < 5

    supervised(work())
    assert not any(map(alive, pids))
    assert "the pages did not end by itself within 3 s and was killed" in capfd.readouterr().err


SUPERVISE = """
import asyncio
from monitor.supervise import Part, Supervisor

async def work():
    supervisor = Supervisor()
    tell = lambda rest: print(rest, flush=True) or [{how!r}]
    await supervisor.start(*(Part(name, "tests.system.parts", [{how!r}], "up", tell) for name in "abc"))
    await asyncio.sleep(60)

asyncio.run(work())
"""


@pytest.mark.parametrize(("how", "within_s"), [("steady", 2.0), ("deaf", 5.0)])
def test_parts_die_with_a_supervisor_that_is_killed(how: str, within_s: float) -> None:
    command = [sys.executable, "-c", SUPERVISE.format(how=how)]
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as supervisor:
        assert supervisor.stdout is not None
        pids = [int(supervisor.stdout.readline()) for _ in range(3)]
        assert all(map(alive, pids))
        supervisor.kill()
    wait_for(lambda: not any(map(alive, pids)), within_s, "every part gone")
