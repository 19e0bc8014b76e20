"""The pages' process as the supervisor starts it, and a browser to look at it."""

import math
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from tests.page.fake_engine import FakeEngine
from tests.page.statuses import SITE

ROOT = Path(__file__).parents[2]
WIDE, LAPTOP, TABLET, PHONE = (1920, 1080), (1366, 768), (820, 1180), (390, 844)


@dataclass
class Served:
    """A running pages' process. ``process`` may be killed by a test."""

    url: str
    process: subprocess.Popen[str]
    data: Path
    started_s: float
    bound_s: float


@contextmanager
def serve(
    data: Path,
    *,
    listen: str = "127.0.0.1:0",
    story: Path | None = None,
    join_link: bool = False,
    program: Path = ROOT,
) -> Iterator[Served]:
    """Start the pages of the program in a folder, wait until they are bound, end them afterwards."""
    command = [sys.executable, "-m", "dashboards", "--channel", str(data), "--data", str(data), "--listen", listen]
    if story is not None:
        command += ["--story", str(story)]
    if join_link:
        command.append("--join-link")
    begun_s = time.monotonic()
    process = subprocess.Popen(command, cwd=program, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        said = process.stdout.readline().split()
        assert said[:1] == ["listening"], said
        yield Served(f"http://{said[1]}", process, data, begun_s, time.monotonic() - begun_s)
    finally:
        if process.poll() is None:
            process.kill() if sys.exc_info()[0] else process.terminate()
        process.wait(10)
        process.stdout.close()


def wait_ready(served: Served, path: str = "/api/status", within_s: float = 60.0) -> float:
    """Seconds from the process's start to the first 200 at ``path``."""
    while time.monotonic() - served.started_s < within_s:
        try:
            with urllib.request.urlopen(served.url + path, timeout=within_s) as reply:  # noqa: S310 - our own
                reply.read()
                return time.monotonic() - served.started_s
        except TimeoutError:
            continue
        except urllib.error.HTTPError as error:
            error.close()
            time.sleep(0.01)
    raise AssertionError(f"{path} was not ready within {within_s} s")


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's browser, without a window."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path="/usr/bin/chromium", args=["--no-sandbox"])
        try:
            yield browser
        finally:
            browser.close()


def history(now_utc_s: float, circuits: str = "ABCDEF", falling: str = "B") -> dict[str, Any]:
    """Ten minutes of a lifter as the engine's greeting carries them: one circuit begins to fall six minutes ago."""
    start = int(now_utc_s) - 600
    return {
        name: [
            [
                start + i,
                63.0 + 0.12 * math.sin(i * 1.3 + ord(name)) - (max(0, i - 240) * 0.0152 if name in falling else 0),
            ]
            for i in range(600)
        ]
        for name in circuits
    }


def engine(data: Path, *lifters: dict[str, Any], every_s: float = 0.2) -> FakeEngine:
    """A fake engine that already has a past."""
    without = {"pads": [], "layouts": {}}
    site = SITE | {"lifters": [{"id": s["lifter"], "name": s["lifter_name"], **without} for s in lifters]}
    fake = FakeEngine(data, site, list(lifters), every_s)
    fake.history = {s["lifter"]: history(time.time(), "".join(s["circuits"])) for s in lifters}
    return fake
