"""The maintenance page in a real browser: list, figures, the way to a lift, a service note, CSV."""

import csv
import io
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser

from dashboards.pages.parts import PAGES
from monitor.cli.main import main
from monitor.fleet import collect
from tests.page.conftest import Site, watched
from tests.page.fake_engine import FakeEngine
from tests.page.in_page import axe_finds, keyboard_misses
from tests.page.serving import Served, engine, serve, wait_ready
from tests.page.statuses import status
from tests.unit.test_fleet import site_backup

pytestmark = [pytest.mark.system, pytest.mark.browser]


@pytest.fixture(scope="module")
def _kept(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FakeEngine, Served]]:
    """A year of invented lifts."""
    data = tmp_path_factory.mktemp("kept")
    assert main(["history", "--data", str(data), "--lifts", "800", "--years", "1", "--seed", "9"]) == 0
    fake = engine(data, status())
    try:
        with serve(data) as served:
            wait_ready(served, within_s=30.0)
            yield fake, served
    finally:
        fake.stop()


@pytest.fixture
def kept(_kept: tuple[FakeEngine, Served], browser: Browser) -> Iterator[Site]:
    fake, served = _kept
    with watched(fake, served, browser) as one:
        yield one


def look(site: Site, query: str = "") -> None:
    site.page.goto(f"{site.served.url}/maintenance{query}")
    site.page.wait_for_selector(".js-plotly-plot .points path", timeout=30_000)


def test_every_circuit_has_its_trend_and_the_page_its_caution(kept: Site) -> None:
    look(kept)
    assert kept.page.locator(".js-plotly-plot").count() == 2
    assert "competent person decide" in kept.text("main")
    assert kept.page.locator("main table").count() == 2


def test_refused_messages_are_counted_and_the_last_is_told(kept: Site) -> None:
    look(kept)
    assert kept.text("#refused + p") == "Nothing in the last hour."
    last = {"at": 1764019200.0, "field": "circuits.A.vacuum_kpa", "reason": "out_of_range", "found": "630"}
    told = {"messages_n": 1, "values_n": 12, "last": last | {"allowed": "-5 to 105 kPa"}}
    kept.engine.refused = {"dock-6": told}
    try:
        kept.page.wait_for_timeout(500)
        look(kept)
        said = [kept.text(f"#refused ~ p >> nth={n}") for n in range(5)]
        assert said[:4] == [
            "1 message could not be read in the last hour.",
            "12 values were left out of messages in the last hour.",
            "The last, at 21:20:00, circuits.A.vacuum_kpa: 630",
            "This is out of range. Allowed is: -5 to 105 kPa",
        ]
        assert "Mend the sender" in said[4]
    finally:
        kept.engine.refused = {}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_trends_and_a_lift(kept: Site, scheme: Literal["light", "dark"]) -> None:
    kept.page.emulate_media(color_scheme=scheme)
    look(kept)
    assert axe_finds(kept.page) == []
    kept.page.goto(kept.served.url + "/lifts")
    kept.page.wait_for_selector("main tbody a")
    assert axe_finds(kept.page) == []
    kept.page.locator("main tbody a").first.click()
    kept.page.wait_for_selector("dl.pairs")
    assert axe_finds(kept.page) == []


def test_filter_shows_one_circuit_and_another_figure(kept: Site) -> None:
    look(kept, "?circuit=B&figure=pump_down")
    assert kept.page.locator(".js-plotly-plot").count() == 1
    assert "Pump-down" in kept.text("main h2 >> nth=1")
    assert kept.page.text_content(".js-plotly-plot .ytitle") == "s"


def test_page_is_told_in_the_viewers_language_and_units(kept: Site) -> None:
    asked = [
        {"name": name, "value": value, "url": kept.served.url}
        for name, value in (("holdwatch_language", "es"), ("holdwatch_units", "us"))
    ]
    kept.context.add_cookies(asked)
    look(kept)
    assert kept.text("h1").startswith("Mantenimiento: ")
    assert kept.page.text_content(".js-plotly-plot .ytitle >> nth=0") == "inHg/min"
    assert "Fuga en las condiciones de referencia, inHg/min" in kept.text("main table >> nth=0")
    assert "límite de servicio" in kept.text(".js-plotly-plot >> nth=0")
    marks = kept.page.locator(".js-plotly-plot >> nth=0").locator(".ytick text").all_text_contents()
    assert any("," in mark for mark in marks), marks
    assert not any("." in mark for mark in marks), marks
    kept.page.goto(f"{kept.served.url}/fleet")
    kept.page.wait_for_selector("main table")
    assert "Qué mirar primero" in kept.text("main table")


def test_point_leads_to_its_lift(kept: Site) -> None:
    look(kept, "?circuit=A")
    lift = kept.page.evaluate("() => document.querySelector('.js-plotly-plot').data[0].customdata[0]")
    kept.page.evaluate(
        "() => document.querySelector('.js-plotly-plot').emit('plotly_click',"
        " {points: [{customdata: document.querySelector('.js-plotly-plot').data[0].customdata[0]}]})"
    )
    kept.page.wait_for_url(f"**/lifts?id={lift}")
    assert lift in kept.text("h1")


def test_service_note_goes_to_the_engine_with_who_said_it(kept: Site) -> None:
    kept.engine.actions.clear()
    look(kept)
    kept.page.evaluate("() => localStorage.setItem('holdwatch.who', JSON.stringify({who: 'AB', role: 'maintenance'}))")
    kept.page.select_option("#note-form select", "circuit B")
    kept.page.fill("#note-form textarea", "seal of B2 renewed")
    kept.page.click("#note-form button")
    kept.page.wait_for_function("() => document.getElementById('note-answer').textContent.length > 8")
    [action] = kept.engine.actions
    assert (action["kind"], action["who"], action["role"]) == ("service_note", "AB", "maintenance")
    assert action["params"] == {"about": "circuit B", "note": "seal of B2 renewed"}


def test_trends_come_as_csv(kept: Site) -> None:
    url = f"{kept.served.url}/api/trends.csv?lifter=dock-6"
    with urllib.request.urlopen(url, timeout=30) as reply:  # noqa: S310 - our own
        rows = list(csv.DictReader(io.StringIO(reply.read().decode())))
    assert {row["circuit"] for row in rows} == {"A", "B", ""}
    assert next(row for row in rows if row["circuit"] == "A")["figure"] == "leak"


def test_lift_comes_as_a_page_to_sign_and_as_pdf(kept: Site) -> None:
    look(kept, "?circuit=A")
    lift = kept.page.evaluate("() => document.querySelector('.js-plotly-plot').data[0].customdata[0]")
    kept.page.goto(f"{kept.served.url}/lifts?id={lift}")
    assert kept.text("main ul a >> nth=2") == "Figures of the record as CSV"
    kept.page.click("main ul a >> nth=0")
    kept.page.wait_for_selector(".sign")
    assert lift in kept.text("body")
    reply = kept.context.request.get(f"{kept.served.url}/api/report?lift={lift}&as=pdf", timeout=90_000)
    assert reply.body().startswith(b"%PDF-")
    kept.context.add_cookies([{"name": "holdwatch_language", "value": "es", "url": kept.served.url}])
    reply = kept.context.request.get(f"{kept.served.url}/api/report?lift={lift}&as=html", timeout=90_000)
    assert "Registro del izado" in reply.text()
    reply = kept.context.request.get(f"{kept.served.url}/api/report?lift={lift}&as=csv", timeout=90_000)
    assert reply.text().startswith("figure,value\r\ntrace,not kept\r\n")
    assert lift in reply.text()


def test_keyboard_alone_reaches_every_control(kept: Site) -> None:
    look(kept)
    assert keyboard_misses(kept.page) == []


def test_no_plotting_library_on_other_pages(kept: Site) -> None:
    asked: list[str] = []
    kept.page.on("request", lambda request: asked.append(request.url))
    for path in (*PAGES.values(), "/alarms", "/help/trends"):
        if path != PAGES["page.maintenance"]:
            kept.page.goto(kept.served.url + path)
            kept.page.wait_for_selector("main :is(h1, h2, #call-words)")
            kept.page.wait_for_load_state()
    assert len(asked) > 30
    assert not [url for url in asked if "plotly" in url or "/dcc/" in url]


def test_fleet_lists_every_lifter_with_what_to_look_at_first(kept: Site) -> None:
    kept.page.goto(f"{kept.served.url}/fleet")
    kept.page.wait_for_selector("main table")
    assert kept.page.locator("main tbody tr").count() == 1
    assert "dock-6" in kept.text("main tbody tr")
    assert "competent person decide" in kept.text("main")
    kept.page.click("main tbody a")
    kept.page.wait_for_url("**/maintenance?lifter=dock-6")


def test_lifter_of_another_site_has_its_trends_here_but_not_its_lifts(kept: Site, tmp_path: Path) -> None:
    backup = site_backup(tmp_path, "north", 50, "n.tar")
    collect(kept.served.data, backup)
    kept.page.goto(f"{kept.served.url}/fleet")
    kept.page.click("main tbody tr:has-text('north') a")
    kept.page.wait_for_selector(".js-plotly-plot .points path", timeout=30_000)
    assert "site=north" in kept.page.url
    assert kept.page.locator("#note-form").count() == 0
    assert kept.page.locator("main a[href^='/lifts?id']").count() == 0


def test_page_without_lifts_says_what_is_missing(site: Site) -> None:
    site.page.goto(f"{site.served.url}/maintenance")
    site.page.wait_for_selector("main p")
    assert "No engine has worked" in site.text("main")
