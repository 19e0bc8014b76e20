"""A page left open for a day: its clock is moved on a stretch at a time, the server and the readings are real.

Every stretch is a hole the page can't have seen anything in, as of a tablet that slept: what it showed must be gone at once,
and the present call must be back by itself, at the end of the day as at its beginning, with no more kept than after a few
hours.
"""

import itertools
from typing import Any

import pytest

from tests.page.conftest import Site
from tests.page.in_page import SHOWS, WATCH
from tests.page.statuses import status

pytestmark = pytest.mark.browser

DAY_S = 86_400
CALLS = ("holding", "look", "land_soon", "land_now")


def _kept(site: Site) -> dict[str, float]:
    """What the browser keeps of the page, after its waste is collected."""
    session = site.context.new_cdp_session(site.page)
    session.send("Performance.enable")
    session.send("HeapProfiler.collectGarbage")
    metrics = session.send("Performance.getMetrics")["metrics"]
    session.detach()
    found: dict[str, Any] = {one["name"]: one["value"] for one in metrics}
    return {name: found[name] for name in ("JSHeapUsedSize", "Nodes", "JSEventListeners")}


@pytest.mark.parametrize("path", ["/", "/landing"])
@pytest.mark.parametrize("stretch_s", [3600, pytest.param(60, marks=pytest.mark.long)])
def test_a_page_left_open_for_a_day_is_as_right_as_in_its_first_minute(
    own_site: Site, path: str, stretch_s: int
) -> None:
    own_site.page.clock.install()
    own_site.open(path)
    own_site.page.evaluate(WATCH)
    early: dict[str, float] = {}
    holes_n = DAY_S // stretch_s
    for hole, call in zip(range(holes_n), itertools.cycle(CALLS), strict=False):
        own_site.page.clock.fast_forward(1000 * stretch_s)
        own_site.engine.say(status(call))
        own_site.page.wait_for_function(SHOWS, arg=call, timeout=10_000)
        showed = own_site.page.evaluate("() => window.showed.splice(0)")
        assert showed[0] == "no_signal", f"an old call stood after hole {hole}"
        if hole == holes_n // 6:
            early = _kept(own_site)
    late = _kept(own_site)
    print(f"{path}, {holes_n} holes: {early} -> {late}")
    assert late["JSEventListeners"] <= early["JSEventListeners"] + 3  # those of a request under way come and go
    assert late["Nodes"] <= 1.1 * early["Nodes"]
    assert late["JSHeapUsedSize"] <= 1.5 * early["JSHeapUsedSize"]
