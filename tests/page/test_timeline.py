"""A lift's record as a page: vacuum, load, tilt, alarms and actions on one time axis, in the viewer's words, on one sheet."""

import re
import urllib.error
import urllib.request
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from playwright.sync_api import Browser, Page

from tests.kept_lifts import keep_lifts
from tests.page.conftest import window
from tests.page.serving import LAPTOP, PHONE, TABLET, Served, engine, serve, wait_ready
from tests.page.statuses import status

pytestmark = [pytest.mark.system, pytest.mark.browser]

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    data = keep_lifts(tmp_path_factory.mktemp("lifts"), {"leak-in-flight": 3})
    fake = engine(data, status())
    try:
        with serve(data) as running:
            wait_ready(running, within_s=30.0)
            yield running
    finally:
        fake.stop()


@pytest.fixture
def kept(served: Served, browser: Browser) -> Iterator[Page]:
    with window(browser) as context:
        page = context.new_page()
        page.goto(served.url + "/lifts")
        page.locator("main tbody a").first.wait_for()
        yield page


def drawing(page: Page, **headers: str) -> ET.Element:
    """The timeline of the one lift that is kept."""
    href = page.locator("main tbody a").first.get_attribute("href")
    address = page.url.replace("/lifts", "/timeline.svg?" + str(href).partition("?")[2])
    with urllib.request.urlopen(urllib.request.Request(address, headers=headers)) as reply:  # noqa: S310 - our own
        assert reply.headers["content-type"] == "image/svg+xml"
        return ET.fromstring(reply.read())  # noqa: S314 - our own


def words(svg: ET.Element) -> list[str]:
    return ["".join(text.itertext()) for text in svg.iter(f"{SVG}text")]


def test_vacuum_load_tilt_alarms_and_acts_stand_on_one_axis(kept: Page) -> None:
    svg = drawing(kept)
    said = words(svg)
    assert {"A", "B", "load", "tilt"} <= set(" ".join(said).split())
    assert any("circuit B" in one for one in said), "the alarm of the circuit that leaks"
    clocks = [one for one in said if re.fullmatch(r"\d\d:\d\d(:\d\d)?", one)]
    assert len(clocks) >= 3
    assert clocks == sorted(clocks)
    assert len(list(svg.iter(f"{SVG}path"))) + len(list(svg.iter(f"{SVG}polyline"))) >= 4


def test_drawing_is_told_in_the_viewers_language_and_units(kept: Page) -> None:
    said = " ".join(words(drawing(kept, Cookie="holdwatch_language=es; holdwatch_units=us")))
    assert "carga" in said
    assert "inHg" in said
    assert " kPa" not in said


@pytest.mark.parametrize("query", ["", "id=", "id=none", "id=..%2F..%2Fetc%2Fpasswd"])
def test_lift_without_a_trace_has_no_drawing_and_says_so(served: Served, query: str) -> None:
    with pytest.raises(urllib.error.HTTPError) as caught:
        urllib.request.urlopen(f"{served.url}/timeline.svg?{query}")  # noqa: S310 - our own
    assert caught.value.code == 404
    assert b"readings of this lift are not kept" in caught.value.read()
    caught.value.close()


def without_times(trace: Path) -> None:
    """The trace as one without a row that says what the clock showed."""
    table = pq.read_table(trace)
    place = table.column_names.index("utc_s")
    pq.write_table(table.set_column(place, "utc_s", pa.nulls(len(table), pa.float64())), trace)


@pytest.mark.parametrize("spoil", [without_times, lambda trace: trace.write_bytes(b"torn")], ids=["no times", "torn"])
def test_trace_that_cannot_be_drawn_is_said_in_words(kept: Page, served: Served, spoil: Callable[[Path], None]) -> None:
    (trace,) = (served.data / "traces").glob("*.parquet")
    whole = trace.read_bytes()
    try:
        spoil(trace)
        kept.locator("main tbody a").first.click()
        kept.get_by_text("no timeline").wait_for()
        assert kept.locator("img").count() == 0
    finally:
        trace.write_bytes(whole)


@pytest.mark.parametrize("size", [LAPTOP, TABLET, PHONE], ids=str)
def test_lifts_page_shows_it_and_fits_the_screen(kept: Page, size: tuple[int, int]) -> None:
    kept.set_viewport_size({"width": size[0], "height": size[1]})
    kept.locator("main tbody a").first.click()
    picture = kept.locator("img.timeline")
    picture.wait_for()
    assert picture.evaluate("one => one.decode().then(() => one.getBoundingClientRect().width > 300)")
    assert kept.evaluate("() => document.documentElement.scrollWidth <= innerWidth + 1")


def test_lifts_page_prints_on_one_sheet(kept: Page) -> None:
    kept.locator("main tbody a").first.click()
    kept.locator("img.timeline").wait_for()
    kept.wait_for_load_state("networkidle")
    (sheets,) = re.findall(rb"/Type /Pages.*?/Count (\d+)", kept.pdf(prefer_css_page_size=True), re.DOTALL)
    assert int(sheets) == 1
