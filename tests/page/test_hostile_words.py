"""Words from outside that carry a script, on every page and in every answer that shows them: nothing of them ever runs.

The browser is told to pass over the content policy, which would stop such a script a second time: what is tried is the pages.
Live words of the ground and landing screens are in ``test_ground.py``, words a report alone has in ``test_report.py``.
"""

import json
import xml.etree.ElementTree as ET
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlencode

import pytest
from playwright.sync_api import Browser, Page

from monitor.service import site_told
from monitor.settings.site import read_site
from monitor.store.importing import import_lifts
from monitor.store.records import open_writer
from tests.brokers import ROOT
from tests.page.conftest import window
from tests.page.fake_engine import FakeEngine
from tests.page.serving import Served, history, serve, wait_ready
from tests.page.statuses import alarm, circuit, losing, status
from tests.trend_histories import history as lifts_history
from tests.unit.report.test_report import record, seal_test

pytestmark = [pytest.mark.system, pytest.mark.browser]

RUNS = "document.documentElement.dataset.ran='yes'"
HOSTILE = f'"\'><img src=x onerror="{RUNS}"><script>{RUNS}</script><a href="javascript:{RUNS}">hostile</a>'
NOTE = '<a href="//a.example">b</a>'
"""Short enough to stand whole beside its line in a figure; the plotting library knows some tags of its own."""

SITE = (
    (ROOT / "configs" / "demo.toml")
    .read_text()
    .replace('id = "dock-6"', f'id = "dock-6"\nname = {json.dumps(HOSTILE)}')
)
LIFT = f'"><img src=x onerror="{RUNS}">/1'
"""Shorter: a trace's file is named by it."""
T0 = 1_764_019_200.0

FOUND = """() => ({
  ran: document.documentElement.dataset.ran ?? null,
  images: document.querySelectorAll("img[src='x'], img[onerror]").length,
  scripts: [...document.scripts].filter((one) => one.type !== "application/json")
    .filter((one) => one.textContent.includes("dataset.ran")).length,
  links: [...document.querySelectorAll("a")].map((one) => one.getAttribute("href") ?? one.getAttribute("xlink:href"))
    .filter((href) => href && (/^\\s*javascript:/i.test(href) || href.startsWith("//"))),
})"""
NOTHING: dict[str, Any] = {"ran": None, "images": 0, "scripts": 0, "links": []}


def hostile_record() -> dict[str, Any]:
    """A lift in which every word that may come from outside is hostile."""
    one = record()["alarms"][0] | dict.fromkeys(("raising", "key", "about", "priority", "acknowledged_by"), HOSTILE)
    tested = seal_test(test=HOSTILE, who=HOSTILE, role=HOSTILE, words=HOSTILE)
    return record(
        id=LIFT, site=HOSTILE, lifter=HOSTILE, lifter_name=HOSTILE, ended=HOSTILE, judged_by=HOSTILE, worst_call="land_soon",
        circuits={HOSTILE: circuit_record(), "B": circuit_record()}, alarms=[one], site_file_sha256=HOSTILE,
        margin={"lowest_kg": 1.0, "at": None, "governs": HOSTILE}, opened=T0, closed=T0 + 240.0,
        actions=[{"kind": HOSTILE, "who": HOSTILE, "role": HOSTILE, "at": T0, "params": {HOSTILE: HOSTILE}}],
        seal_tests=[tested | {"circuits": {HOSTILE: {"state": "passed", "words": HOSTILE}}}],
        settings={"basis": HOSTILE, "wll_kg": 1.0, "surface": HOSTILE, "friction": 0.5},
    )  # fmt: skip


def circuit_record() -> dict[str, Any]:
    return {**record()["circuits"]["A"], "states_s": {"holding": 5.0}}


def hostile_status() -> dict[str, Any]:
    circuits = {HOSTILE: circuit(words=HOSTILE), "B": losing(words=HOSTILE)}
    plan = {"weight_kg": 600.0, "who": HOSTILE, "at": T0, "pads": [HOSTILE], "verdict": "within_limits"}
    said = status("land_soon", lifter_name=HOSTILE, reason=HOSTILE, circuits=circuits)
    alarms = [alarm(words=HOSTILE, about=HOSTILE, raising=f"dock-6/{HOSTILE}/1", acknowledged_by=HOSTILE, do=HOSTILE)]
    more = {"release_reason": HOSTILE, "headline": HOSTILE, "phase_words": HOSTILE, "assumed_words": [HOSTILE]}
    lines = status("land_soon", alarms=alarms)["alarm_lines"]
    return said | {"alarms": alarms, "alarm_lines": lines, "plan": plan} | more


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = tmp_path_factory.mktemp("hostile")
    _keep(data)
    fake = FakeEngine(data, site_told(read_site(SITE, name="site.toml")), [hostile_status()])
    fake.history = {"dock-6": history(T0)}
    last = {"at": T0, "field": HOSTILE, "reason": HOSTILE, "found": HOSTILE, "allowed": HOSTILE}
    fake.refused = {"dock-6": {"messages_n": 1, "values_n": 2, "last": last}}
    fake.answer = {"done": False, "key": "done.acknowledge", "words": HOSTILE}
    try:
        with serve(data) as running:
            wait_ready(running)
            yield running
    finally:
        fake.stop()


def _keep(data: Path) -> None:
    """A site with lifts, among them a hostile one with its trace, and a hostile service note."""
    lifts = list(lifts_history(5, 60, 0.3).records())
    noted = {"lifter": "dock-6", "kind": "service_note", "who": HOSTILE, "role": HOSTILE, "utc_s": lifts[30]["opened"]}
    notes = [
        noted | {"id": note, "params": {"about": "lifter", "note": note}, "who": HOSTILE} for note in (NOTE, HOSTILE)
    ]
    import_lifts(data, lifts, notes, no_trace="a test", settings=("ab" * 32, SITE, "site.toml", "test"))
    writer = open_writer(data)
    judged = dict.fromkeys(("call", "release", "phase", "seal_test"), HOSTILE) | {
        "margin_kg": 1.0,
        "utc_minus_now_s": 0.0,
    }
    writer.journal(T0, "judged", HOSTILE, json.dumps(judged).encode())
    for n in range(240):
        said = {"time": T0 + n, "boot": HOSTILE, "circuits": {name: {"vacuum_kpa": 60.0} for name in (HOSTILE, "B")}}
        writer.journal(T0 + n, "reading", HOSTILE, json.dumps(said | {"load_kg": 600.0}).encode())
    writer.close_lift(hostile_record(), opened_now_s=T0, closed_now_s=T0 + 240.0)
    assert writer.wait_for_traces(30.0)
    writer.close()


@pytest.fixture
def page(served: Served, browser: Browser) -> Iterator[Page]:
    del served
    with window(browser, bypass_csp=True) as context:
        yield context.new_page()


def test_the_eye_sees_what_runs(page: Page) -> None:
    """What the other tests look for is found where it is let in."""
    page.set_content(f'<p title="{HOSTILE}"></p>')
    page.wait_for_function("() => document.documentElement.dataset.ran")
    assert page.evaluate(FOUND) == {"ran": "yes", "images": 1, "scripts": 1, "links": [f"javascript:{RUNS}"]}


SHOWING = {
    "/": ("#screen", "onerror"),
    "/?lifter=dock-6": ("#screen", "onerror"),
    "/landing?lifter=dock-6": ("#screen", "onerror"),
    "/seal-test?lifter=dock-6": ("body", "onerror"),
    "/plan": ("body", "onerror"),
    "/lifts": ("main table", "onerror"),
    f"/lifts?{urlencode({'id': LIFT})}": ("main dl", "onerror"),
    "/maintenance": ("main", "onerror"),
    "/fleet": ("main", "onerror"),
    f"/alarms?{urlencode({'lifter': HOSTILE})}": ("main", "onerror"),
}
"""Every page that shows words from outside, and where those are waited for."""


@pytest.mark.parametrize("path", SHOWING, ids=lambda path: str(path)[:24])
def test_hostile_words_are_shown_as_words(path: str, page: Page, served: Served) -> None:
    place, wanted = SHOWING[path]
    page.goto(served.url + path)
    page.wait_for_function(
        "([place, wanted]) => document.querySelector(place)?.textContent.includes(wanted)", arg=[place, wanted]
    )
    if path == "/maintenance":
        page.wait_for_selector(".js-plotly-plot .annotation-text", timeout=30_000)
        assert NOTE in "".join(page.locator(".js-plotly-plot .annotation-text").all_text_contents())
    page.wait_for_timeout(300)
    assert page.evaluate(FOUND) == NOTHING


REFLECTED = (
    *(f"/?{urlencode({'lifter': HOSTILE})}", f"/landing?{urlencode({'lifter': HOSTILE})}"),
    *(f"/seal-test?{urlencode({'lifter': HOSTILE})}", f"/plan?{urlencode({'lifter': HOSTILE})}"),
    *(f"/lifts?{urlencode({name: HOSTILE})}" for name in ("id", "lifter", "before")),
    *(f"/maintenance?{urlencode({name: HOSTILE})}" for name in ("lifter", "circuit", "figure", "sort", "since", "until")),
    *(f"/{page}?{urlencode({'site': HOSTILE})}" for page in ("maintenance", "fleet")),
    *(f"/alarms?{urlencode({name: HOSTILE})}" for name in ("hours", "until")),
    *(f"/{page}/{quote(HOSTILE, safe='')}" for page in ("help", "join", "static", "nothing", "lifts", "_page")),
    *(f"/{quote(HOSTILE, safe='')}", f"/api/report?{urlencode({'lift': LIFT, 'as': HOSTILE})}"),
    *(f"/api/report?{urlencode({'lift': HOSTILE})}", f"/timeline.svg?{urlencode({'id': HOSTILE})}"),
    *(f"/api/live?{urlencode({'nonce': HOSTILE, 'page': HOSTILE})}", f"/api/trends.csv?{urlencode({'lifter': HOSTILE})}"),
)  # fmt: skip
"""Addresses that carry the words themselves."""


def test_hostile_words_in_an_address_never_run(page: Page, served: Served) -> None:
    for path in REFLECTED:
        page.goto(served.url + path)
        page.wait_for_timeout(100)
        assert page.evaluate(FOUND) == NOTHING, path


@pytest.mark.parametrize("form", ["html", "timeline"])
def test_a_hostile_lifts_report_and_drawing_run_nothing_opened_by_themselves(
    form: str, page: Page, served: Served
) -> None:
    asked = (
        f"/timeline.svg?{urlencode({'id': LIFT})}" if form == "timeline" else f"/api/report?{urlencode({'lift': LIFT})}"
    )
    reply = page.goto(served.url + asked)
    assert reply is not None
    assert reply.status == 200
    assert "onerror" in page.evaluate("() => document.documentElement.textContent")
    assert page.evaluate(FOUND) == NOTHING
    if form == "timeline":
        tags = {one.tag.rpartition("}")[2] for one in ET.fromstring(reply.body()).iter()}  # noqa: S314 - our own
        assert tags.isdisjoint({"script", "img", "image", "a", "foreignObject"})


def test_hostile_answer_to_an_act_is_shown_as_words(page: Page, served: Served) -> None:
    page.goto(f"{served.url}/maintenance")
    page.fill("#note-form textarea", HOSTILE)
    page.locator("#note-form button").click()
    dialog = page.locator("dialog[open]")
    dialog.wait_for()
    dialog.locator("input").first.fill("the maintenance")
    dialog.locator("button[type=submit], button").first.click()
    page.wait_for_function("() => document.getElementById('note-answer').textContent.length > 3")
    assert page.evaluate(FOUND) == NOTHING


def test_data_for_other_programs_is_never_taken_for_a_page(served: Served, page: Page) -> None:
    """JSON and CSV carry the words as they are; their type, with nosniff, keeps a browser from reading them as a page."""
    for path in (
        "/api/status",
        "/api/lifts",
        "/metrics",
        "/api/trends.csv",
        f"/api/report?{urlencode({'lift': LIFT, 'as': 'json'})}",
    ):
        reply = page.request.get(served.url + path)
        assert reply.status == 200
        assert "html" not in reply.headers["content-type"]
        assert reply.headers["x-content-type-options"] == "nosniff"
