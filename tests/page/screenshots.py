"""Pictures of what people see: ``python -m tests.page.screenshots OUTDIR [--language CODE] [--units us]``.

Every scene of ``scenes`` on both live pages, at four sizes, light and dark, and lost.
``--ground FILE`` writes one picture only: the ground screen of a circuit losing vacuum, as the README shows it.
"""

import argparse
import json
import tempfile
import time
from pathlib import Path

from playwright.sync_api import Browser, Page

from tests.page.conftest import window
from tests.page.in_page import SHOWS
from tests.page.scenes import SCENES
from tests.page.serving import LAPTOP, PHONE, TABLET, WIDE, chromium, engine, serve, wait_ready
from tests.page.statuses import status

STORY = {
    "title": "A circuit starts to leak in flight",
    "line": "Circuit B lost its seal at a chipped edge: watch its trace.",
}
TOLD = ("three circuits", "every state", "stop hoisting, three")
"""Scenes that are shown with the demonstration's panel."""


def _page(browser: Browser, size: tuple[int, int], look: str, url: str, language: str, units: str) -> Page:
    context = window(browser, size, color_scheme=look)
    chosen = {"holdwatch_language": language, "holdwatch_units": units}
    context.add_cookies([{"name": name, "value": value, "url": url} for name, value in chosen.items()])
    return context.new_page()


def _shoot(page: Page, url: str, call: str, file: Path) -> None:
    page.goto(url)
    page.wait_for_function(SHOWS, arg=call)
    page.evaluate("() => document.fonts.ready.then(() => true)")
    page.wait_for_timeout(700)
    page.screenshot(path=file)


def shoot_all(out: Path, language: str, units: str) -> None:
    """Every scene, size and look."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        data = Path(folder)
        story = data / "story.json"
        fake = engine(data, status())
        try:
            with serve(data, story=story) as served:
                wait_ready(served)
                pages = {
                    (size, look): _page(browser, size, look, served.url, language, units)
                    for size in (WIDE, LAPTOP, TABLET, PHONE)
                    for look in ("light", "dark")
                }
                for name, lifters in SCENES.items():
                    story.unlink(missing_ok=True)
                    if name in TOLD:
                        story.write_text(json.dumps(STORY))
                    fake.say(*lifters)
                    for ((width, _), look), page in pages.items():
                        for path in ("/", "/landing") if width in (TABLET[0], PHONE[0]) else ("/",):
                            label = name.replace(", ", "-").replace(" ", "-") + path.replace("/", "-").rstrip("-")
                            _shoot(page, served.url + path, lifters[0]["call"], out / f"{label}-{width}-{look}.png")
                served.process.kill()
                for ((width, _), look), page in pages.items():
                    page.wait_for_function("() => document.body.dataset.call === 'no_signal'")
                    page.wait_for_timeout(300)
                    page.screenshot(path=out / f"lost-{width}-{look}.png")
        finally:
            fake.stop()


def shoot_ground(browser: Browser, file: Path) -> None:
    """The README's picture."""
    with tempfile.TemporaryDirectory() as folder:
        data = Path(folder)
        said = status("land_soon")
        fake = engine(data, said | {"alarms": [one | {"since": time.time() - 12.0} for one in said["alarms"]]})
        try:
            with serve(data) as served:
                wait_ready(served)
                with window(browser, (1280, 720), color_scheme="light") as context:
                    _shoot(context.new_page(), served.url, "land_soon", file)
        finally:
            fake.stop()


def main() -> None:
    """Write the pictures."""
    parser = argparse.ArgumentParser(prog="python -m tests.page.screenshots")
    parser.add_argument("outdir", type=Path, nargs="?")
    parser.add_argument("--language", metavar="CODE", default="en")
    parser.add_argument("--units", choices=("metric", "us"), default="metric")
    parser.add_argument("--ground", metavar="FILE", type=Path)
    options = parser.parse_args()
    if options.ground is not None:
        with chromium() as browser:
            shoot_ground(browser, options.ground)
    elif options.outdir is not None:
        shoot_all(options.outdir, options.language, options.units)
    else:
        parser.error("say where to write: OUTDIR, or --ground FILE")


if __name__ == "__main__":
    main()
