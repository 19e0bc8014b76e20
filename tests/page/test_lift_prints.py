"""A lift's own page, printed by the real browser, is one sheet of A4 in every language."""

import re
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from monitor.store.records import open_reader
from tests.kept_lifts import keep_lifts
from tests.page.conftest import window
from tests.page.serving import engine, serve, wait_ready
from tests.page.statuses import status

pytestmark = [pytest.mark.system, pytest.mark.browser]


@pytest.mark.parametrize("language", ["en", "es"])
def test_lift_page_prints_on_one_sheet(language: str, tmp_path: Path, browser: Browser) -> None:
    data = keep_lifts(tmp_path, {"leak-in-flight": 7})
    reader = open_reader(data)
    [record] = reader.lifts()
    reader.close()
    assert record["alarms"], "a lift with something to tell"
    fake = engine(data, status())
    try:
        with serve(data) as served, window(browser) as context:
            wait_ready(served)
            context.add_cookies([{"name": "holdwatch_language", "value": language, "url": served.url}])
            page = context.new_page()
            page.goto(f"{served.url}/lifts?id={record['id']}")
            page.wait_for_function("() => document.querySelector('img.timeline')?.complete")
            printed = page.pdf(prefer_css_page_size=True)
    finally:
        fake.stop()
    (sheets,) = re.findall(rb"/Count\s+(\d+)", printed)
    assert int(sheets) == 1
