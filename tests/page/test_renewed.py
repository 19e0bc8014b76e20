"""The server comes back with another build while pages are open: none goes on with its old script."""

import shutil
from pathlib import Path

import pytest
from playwright.sync_api import Route

from tests.page.conftest import Site
from tests.page.serving import ROOT, serve
from tests.page.statuses import status

pytestmark = pytest.mark.browser


def _another_build(folder: Path) -> Path:
    """The program with scripts that leave a mark."""
    for name in ("dashboards", "monitor"):
        shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("ground.js", "landing.js"):
        with (folder / "dashboards" / "assets" / name).open("a") as script:
            script.write('\ndocument.body.dataset.mark = "another";\n')
    return folder


@pytest.mark.parametrize("path", ["/?lifter=dock-6", "/landing?lifter=dock-6"])
def test_open_page_takes_up_the_new_build_once_and_keeps_its_look(own_site: Site, path: str, tmp_path: Path) -> None:
    page, served = own_site.open(path), own_site.served
    page.evaluate("() => localStorage.setItem('holdwatch.look', 'sun')")
    loads: list[str] = []
    page.on("load", lambda shown: loads.append(shown.url))
    served.process.kill()
    served.process.wait()
    program = _another_build(tmp_path / "program")
    with serve(served.data, listen=served.url.removeprefix("http://"), program=program):
        page.wait_for_function("() => document.body.dataset.mark === 'another'", timeout=30_000)
        own_site.engine.say(status("land_now"))
        own_site.shows("land_now")
        page.wait_for_timeout(2000)
    assert loads == [served.url + path]
    assert page.evaluate("() => document.documentElement.dataset.look") == "sun"


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_page_that_stays_old_is_covered_and_never_loads_in_a_loop(own_site: Site, path: str) -> None:
    """As behind something that keeps old pages: every reply names another build than the page that comes."""

    def renamed(route: Route) -> None:
        reply = route.fetch()
        route.fulfill(response=reply, json=reply.json() | {"build": "another"})

    page = own_site.open(path)
    loads: list[str] = []
    page.on("load", lambda shown: loads.append(shown.url))
    page.route("**/api/live?*", renamed)
    page.wait_for_timeout(6000)
    assert len(loads) == 1
    assert page.get_attribute("body", "data-call") == "no_signal"
    assert "reload this page" in own_site.text("#cover-why")
    page.unroute_all(behavior="ignoreErrors")
