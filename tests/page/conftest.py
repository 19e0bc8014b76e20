"""One server for all; a test that kills its server starts its own."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, ConsoleMessage, Page

from monitor.service import site_told
from monitor.settings.site import load_site
from tests.page.fake_engine import FakeEngine
from tests.page.in_page import SHOWS
from tests.page.serving import ROOT, WIDE, Served, chromium, engine, serve, wait_ready
from tests.page.statuses import status


@dataclass
class Site:
    """A fake engine, the pages on it, and a browser window."""

    engine: FakeEngine
    served: Served
    context: BrowserContext
    page: Page
    complaints: list[str] = field(default_factory=list)
    """Errors of the page's script, and whatever its content policy refused."""

    def open(self, path: str = "/", call: str | None = None) -> Page:
        """Open a page and wait until it shows ``call`` (by default what the engine says first)."""
        self.page.goto(self.served.url + path)
        self.shows(call or self.engine.lifters[0]["call"])
        return self.page

    def shows(self, call: str, within_s: float = 5.0) -> None:
        """Wait until the page shows a call."""
        self.page.wait_for_function(SHOWS, arg=call, timeout=within_s * 1000)

    def act(self) -> dict[str, Any]:
        """The one act that reached the engine, once the page tells its answer: what, on which lifter, by whom."""
        answered = "words => document.getElementById('answer').textContent === words"
        self.page.wait_for_function(answered, arg=self.engine.answer["words"])
        (action,) = self.engine.actions
        return {key: action[key] for key in ("kind", "lifter", "who", "role", "params")}

    def text(self, selector: str) -> str:
        """The words somewhere, with single spaces."""
        return " ".join(self.page.inner_text(selector).split())


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One for a module: while it lives its event loop counts as running, and no test elsewhere could begin its own."""
    with chromium() as running:
        yield running


@pytest.fixture(scope="session")
def _shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FakeEngine, Served]]:
    data = tmp_path_factory.mktemp("data")
    fake = engine(data, status())
    try:
        with serve(data, story=data / "story.json") as served:
            wait_ready(served)
            yield fake, served
    finally:
        fake.stop()


@pytest.fixture
def site(_shared: tuple[FakeEngine, Served], browser: Browser) -> Iterator[Site]:
    """The shared server, with a window of its own."""
    fake, served = _shared
    fake.say(status())
    fake.link = {"broker": "up", "since_utc_s": 0.0}
    fake.actions.clear()
    (served.data / "story.json").unlink(missing_ok=True)
    with watched(fake, served, browser) as one:
        yield one


@pytest.fixture
def own_site(tmp_path: Path, browser: Browser) -> Iterator[Site]:
    """A server of its own, to be killed."""
    fake = engine(tmp_path, status("land_soon"))
    try:
        with serve(tmp_path) as served, window(browser) as context:
            wait_ready(served)
            yield Site(fake, served, context, context.new_page())
    finally:
        fake.stop()


@contextmanager
def watched(fake: FakeEngine, served: Served, browser: Browser, size: tuple[int, int] = WIDE) -> Iterator[Site]:
    """A window on the pages, which must have had nothing to complain of when it closes."""
    with window(browser, size) as context:
        one = Site(fake, served, context, context.new_page())
        one.page.on("pageerror", lambda error: one.complaints.append(str(error)))
        one.page.on("console", lambda said: one.complaints.append(said.text) if _complains(said) else None)
        yield one
        assert one.complaints == []


def _complains(said: ConsoleMessage) -> bool:
    """Not when no engine was heard for some seconds, as on a busy machine: the page itself says so, for each test to see."""
    is_quiet_engine = "503 (Service Unavailable)" in said.text and "/api/live?" in said.location["url"]
    return said.type == "error" and not is_quiet_engine


@contextmanager
def pages_of_the_demo(data: Path, *said: dict[str, Any]) -> Iterator[tuple[FakeEngine, Served]]:
    """The pages on an engine that told the site of ``configs/demo.toml`` and says these statuses."""
    fake = FakeEngine(data, site_told(load_site(ROOT / "configs" / "demo.toml")), list(said))
    try:
        with serve(data) as served:
            wait_ready(served, within_s=40.0)
            yield fake, served
    finally:
        fake.stop()


def window(browser: Browser, size: tuple[int, int] = WIDE, **options: Any) -> BrowserContext:
    """A window of a size; closed as a context manager."""
    return browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
