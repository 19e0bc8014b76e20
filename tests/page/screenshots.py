"""Pictures of what people see: ``python -m tests.page.screenshots OUTDIR [--ground FILE]``.

Every call on both live pages, at three sizes, light and dark, with two to six circuits, several lifters, and lost.
``--ground FILE`` writes one picture only: the ground screen of a circuit losing vacuum, as the README shows it.
"""

import argparse
import json
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Page

from tests.page.serving import LAPTOP, PHONE, WIDE, chromium, engine, serve, wait_ready
from tests.page.statuses import CALLS, alarm, circuit, losing, silent, status, with_circuits

STORY = {
    "title": "A circuit starts to leak in flight",
    "line": "Circuit B lost its seal at a chipped edge: watch its trace.",
}


def scenes() -> Iterator[tuple[str, list[dict[str, Any]], dict[str, Any] | None]]:
    """Name, statuses, story."""
    for call in CALLS:
        yield call, [status(call)], None
    yield "three-circuits", [with_circuits(status("land_soon"), 3)], STORY
    yield "six-circuits", [with_circuits(status("land_now"), 6)], None
    yield "four-circuits-no-signal", [with_circuits(status("no_signal"), 4)], STORY
    mixed = {
        "A": circuit(),
        "B": losing(),
        "C": silent(4.2),
        "D": circuit("sensor_fault", 60.0, words="The sensor stands still: its reading can't be believed."),
        "E": circuit("critical", 34.1, words="Under the 35.9 kPa this load needs."),
        "F": circuit("building", 31.0, words="Building. Warning level 52.0 kPa.", pump="on"),
    }
    stop = {"headline": "Stop hoisting, lower back", "phase": "lifting", "phase_words": "Lifting"}
    alarms = [alarm(), alarm("acknowledged", "medium", 18), alarm("returned_unacknowledged", "low", 19)]
    yield "stop-hoisting-six", [status("land_now", circuits=mixed, alarms=alarms, **stop)], STORY
    yield "stop-hoisting-three", [with_circuits(status("land_now", alarms=alarms, **stop), 3)], STORY
    yield "alarms", [status("land_soon", alarms=alarms)], None
    over = {"rated_kg": 580.0, "margin_kg": -44.0, "margin_ratio": -0.07, "governs": "friction"}
    said = status(
        "land_now", headline="Tilt back", reason="The load of 624 kg is at or over the limit by calculation, 580 kg."
    )
    yield "over", [said | {"holding": said["holding"] | over}], None
    fixed = {
        "phase": "landing",
        "phase_words": "Landing",
        "release": "check_fixed",
        "release_words": "Weight is off. Is the panel fixed?",
        "release_reason": "An upright panel on its blocks is held from falling by the pads alone.",
        "load": {"kg": 3.0, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "off"},
    }
    yield "check-fixed", [status("holding", **fixed)], None
    tell = {
        "release": "cannot_tell",
        "release_words": "Holdwatch can't tell: check by eye that the panel is fixed",
        "release_reason": "This lifter has no load cell.",
        "load": {"kg": None, "source": "none", "judged_kg": None, "planned_kg": None, "known": "unknown"},
    }
    no_cell = status("look", headline="Look at the lifter", reason="The load on the lifter is not known.", **tell)
    no_cell["holding"] |= {"margin_kg": None, "margin_ratio": None}
    yield "no-load-cell", [no_cell], None
    two = [status("land_soon"), status("not_lifting", lifter="dock-7", lifter_name="Dock 7")]
    yield "two-lifters", two, None


def _page(browser: Browser, size: tuple[int, int], look: str) -> Page:
    width, height = size
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=look)  # type: ignore[arg-type]
    return context.new_page()


def _shoot(page: Page, url: str, call: str, file: Path) -> None:
    page.goto(url)
    page.wait_for_function("call => document.body.dataset.call === call", arg=call)
    page.evaluate("() => document.fonts.ready.then(() => true)")
    page.wait_for_timeout(700)
    page.screenshot(path=file)


def shoot_all(out: Path) -> None:
    """Every scene, size and look."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        data = Path(folder)
        story = data / "story.json"
        first = status()
        fake = engine(data, first)
        try:
            with serve(data, story=story) as served:
                wait_ready(served)
                pages = {
                    (s, look): _page(browser, s, look) for s in (WIDE, LAPTOP, PHONE) for look in ("light", "dark")
                }
                for name, lifters, told in scenes():
                    story.unlink(missing_ok=True)
                    if told is not None:
                        story.write_text(json.dumps(told))
                    fake.say(*lifters)
                    for ((width, _), look), page in pages.items():
                        for path in ("/", "/landing") if width == PHONE[0] else ("/",):
                            file = out / f"{name}{path.replace('/', '-').rstrip('-')}-{width}-{look}.png"
                            _shoot(page, served.url + path, lifters[0]["call"], file)
                served.process.kill()
                for ((width, _), look), page in pages.items():
                    page.wait_for_function("() => document.body.dataset.call === 'no_signal'")
                    page.wait_for_timeout(300)
                    page.screenshot(path=out / f"lost-{width}-{look}.png")
        finally:
            fake.stop()


def shoot_ground(file: Path) -> None:
    """The README's picture."""
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        data = Path(folder)
        fake = engine(data, status("land_soon"))
        try:
            with serve(data) as served:
                wait_ready(served)
                context = browser.new_context(viewport={"width": 1280, "height": 720}, color_scheme="light")
                _shoot(context.new_page(), served.url, "land_soon", file)
        finally:
            fake.stop()


def main() -> None:
    """Write the pictures."""
    parser = argparse.ArgumentParser(prog="python -m tests.page.screenshots")
    parser.add_argument("outdir", type=Path, nargs="?")
    parser.add_argument("--ground", metavar="FILE", type=Path)
    options = parser.parse_args()
    if options.ground is not None:
        shoot_ground(options.ground)
    elif options.outdir is not None:
        shoot_all(options.outdir)
    else:
        parser.error("say where to write: OUTDIR, or --ground FILE")


if __name__ == "__main__":
    main()
