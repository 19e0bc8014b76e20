"""How soon the maintenance page opens: ``python -m tests.benchmarks.maintenance [--lifts N] [--opens N]``.

Years of invented lifts of one lifter, the pages as the supervisor starts them, Debian's browser. Wanted: 20,000 lifts open
within 1 s. Told are the seconds from asking for the page until the list is painted, the first figure and every figure, and the
processor time of the page's main thread, which depends less on what else the machine does. Its load is printed beside them.
"""

import argparse
import os
import tempfile
import time
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser

from dashboards.trend_desk import WARM_FIRST_S
from monitor.cli.main import main as holdwatch
from tests.page.conftest import window
from tests.page.serving import Served, chromium, engine, serve, wait_ready
from tests.page.statuses import status

WATCH = """
const list = () => document.querySelector('.care-list');
const graphs = () => [...document.querySelectorAll('.trend-graph')];
const drawn = (one) => one.querySelector('.points path');
const steps = {
  list,
  first: () => graphs().some(drawn),
  all: () => document.readyState !== 'loading' && graphs().length > 0 && graphs().every(drawn),
};
window.seen = {};
const look = () => {
  for (const [name, holds] of Object.entries(steps)) {
    if (seen[name] !== undefined || !holds()) continue;
    seen[name] = null; // a frame with it is yet to come
    requestAnimationFrame(() => setTimeout(() => { seen[name] = performance.now() / 1000; }));
  }
};
new MutationObserver(look).observe(document, { childList: true, subtree: true });
"""
"""Run by the page itself before anything else: asking it from outside holds up the very thread that draws."""

ALL_SEEN = "() => ['list', 'first', 'all'].every((name) => seen[name])"


def open_page(browser: Browser, served: Served, times_n: int) -> list[list[float]]:
    """Seconds from asking until list, first and all figures were painted, and of the main thread, time after time.

    In one browser that began with nothing.
    """
    taken = []
    with window(browser, (1366, 768)) as context:
        for _ in range(times_n):
            page = context.new_page()
            page.add_init_script(WATCH)
            session = context.new_cdp_session(page)
            session.send("Performance.enable", {"timeDomain": "threadTicks"})
            page.goto(f"{served.url}/maintenance", wait_until="commit")
            page.wait_for_function(ALL_SEEN, polling=1000)
            metrics = {one["name"]: one["value"] for one in session.send("Performance.getMetrics")["metrics"]}
            taken.append([*page.evaluate("[seen.list, seen.first, seen.all]"), metrics["TaskDuration"]])
            page.close()
    return taken


def told(name: str, taken: list[list[float]]) -> str:
    cells = " | ".join(f"{median(column):.2f}" for column in zip(*taken, strict=True))
    return f"| {name} | {len(taken)} | {cells} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lifts", type=int, default=20_000)
    parser.add_argument("--opens", type=int, default=5)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, chromium() as browser:
        data = Path(folder)
        assert holdwatch(["history", "--data", folder, "--lifts", str(given.lifts)]) == 0
        fake = engine(data, status())
        try:
            with serve(data) as served:
                wait_ready(served)
                at_once = open_page(browser, served, 1)
                print(f"{given.lifts} lifts of one lifter; load of the machine {os.getloadavg()[0]:.1f}")
                print("| opened (medians, s) | times | list | first figure | all figures | main thread |")
                print("| --- | --- | --- | --- | --- | --- |")
                print(told("at once after the program's start", at_once))
                time.sleep(WARM_FIRST_S + 2.0)
                fresh = [one for _ in range(given.opens) for one in open_page(browser, served, 1)]
                print(told("by a browser that was never here", fresh))
                print(told("again by the same browser", open_page(browser, served, given.opens + 1)[1:]))
        finally:
            fake.stop()


if __name__ == "__main__":
    main()
