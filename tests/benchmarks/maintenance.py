"""How soon the maintenance page opens: ``python -m tests.benchmarks.maintenance [--lifts N] [--opens N]``.

Years of invented lifts of one lifter, the pages as the supervisor starts them, Debian's browser. Wanted: 20,000 lifts open
within 1 s, from asking for the page until its list and every figure are drawn. Prints the load of the machine beside it.
"""

import argparse
import os
import tempfile
import time
from pathlib import Path
from statistics import median

from playwright.sync_api import Browser

from monitor.cli.main import main as holdwatch
from tests.page.conftest import window
from tests.page.serving import Served, chromium, engine, serve, wait_ready
from tests.page.statuses import status

LIST_SHOWN = "() => document.querySelector('.care-list')"
ALL_DRAWN = """() => {
  const graphs = [...document.querySelectorAll('.trend-graph')];
  return graphs.length > 0 && graphs.every((one) => one.querySelector('.points path'));
}"""


def open_page(browser: Browser, served: Served, times_n: int) -> list[tuple[float, float]]:
    """Seconds until the list stands and until every figure is drawn: with nothing kept by the browser, then again."""
    taken = []
    with window(browser, (1366, 768)) as context:
        for _ in range(times_n):
            page = context.new_page()
            began_s = time.monotonic()
            page.goto(f"{served.url}/maintenance", wait_until="commit")
            page.wait_for_function(LIST_SHOWN, polling=10)
            list_s = time.monotonic() - began_s
            page.wait_for_function(ALL_DRAWN, polling=10)
            taken.append((list_s, time.monotonic() - began_s))
            page.close()
    return taken


def told(name: str, taken: list[tuple[float, float]]) -> str:
    shown, drawn = ([one[n] for one in taken] for n in (0, 1))
    return f"| {name} | {len(taken)} | {median(shown):.2f} | {median(drawn):.2f} | {max(drawn):.2f} |"


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
                print("| opened | times | list, s (median) | figures, s (median) | figures, s (longest) |")
                print("| --- | --- | --- | --- | --- |")
                print(told("at once after the program's start", at_once))
                fresh = [one for _ in range(given.opens) for one in open_page(browser, served, 1)]
                print(told("by a browser that was never here", fresh))
                print(told("again by the same browser", open_page(browser, served, given.opens + 1)[1:]))
        finally:
            fake.stop()


if __name__ == "__main__":
    main()
