"""The landing phones as the ground screen sees them, and the code that leads one to its page."""

import base64
import http.client
import json
import re
import urllib.parse
from typing import Any

import pytest

from tests.page.conftest import Site, window
from tests.page.serving import PHONE
from tests.page.statuses import status

pytestmark = pytest.mark.browser

PHONE_FACT = "() => document.querySelector('#facts .fact:last-child dd').textContent"


def join(site: Site, host: str, query: str = "lifter=dock-6", **headers: str) -> dict[str, Any]:
    """What a browser that reached the server as ``host`` is told."""
    connection = http.client.HTTPConnection(site.served.url.removeprefix("http://"), timeout=5)
    connection.request("GET", f"/api/join?{query}", headers={"Host": host, **headers})
    reply = connection.getresponse()
    assert reply.status == 200
    said: dict[str, Any] = json.loads(reply.read())
    connection.close()
    return said


def test_code_leads_a_phone_to_the_lifters_landing_page(site: Site) -> None:
    said = join(site, "192.168.1.20:8050")
    assert said["url"] == "http://192.168.1.20:8050/landing?lifter=dock-6"
    kind, _, picture = said["picture"].partition(",")
    raw = base64.b64decode(picture) if "base64" in kind else urllib.parse.unquote_to_bytes(picture)
    assert kind.startswith("data:image/svg+xml")
    assert re.search(rb"<svg[^>]*>.*<path", raw, re.DOTALL)
    assert b"http" not in raw.replace(b"http://www.w3.org/2000/svg", b"")
    assert said["words"] == "Landing crew: scan this with the phone's camera."
    assert said["secure"].startswith("Not https: the phone will refuse to keep its screen on and to vibrate.")


def test_code_of_all_lifters_names_none(site: Site) -> None:
    assert join(site, "192.168.1.20:8050", "")["url"] == "http://192.168.1.20:8050/landing"


def test_name_of_a_lifter_cannot_change_the_address(site: Site) -> None:
    url = join(site, "192.168.1.20:8050", "lifter=x%26a%3D1%23b")["url"]
    assert url == "http://192.168.1.20:8050/landing?lifter=x%26a%3D1%23b"


def test_code_speaks_the_viewers_language(site: Site) -> None:
    said = join(site, "192.168.1.20:8050", Cookie="holdwatch_language=es")
    assert said["words"] != "Landing crew: scan this with the phone's camera."
    assert "cámara" in said["words"]


@pytest.mark.parametrize("host", ["127.0.0.1:8050", "localhost:8050", "[::1]:8050"])
def test_where_no_phone_can_come_the_button_says_why(site: Site, host: str) -> None:
    """A server that listens on this machine alone; its own address is no help to a phone."""
    said = join(site, host)
    assert set(said) == {"why"}
    assert said["why"].startswith("These pages are served to this machine only")


def test_join_button_shows_the_code_and_that_a_locked_phone_is_silent(site: Site) -> None:
    site.page.route(
        "**/api/join?*",
        lambda route: route.fulfill(json=join(site, "192.168.1.20:8050"), content_type="application/json"),
    )
    site.engine.say(status("holding"))
    site.open()
    site.page.locator("#join").click()
    dialog = site.page.get_by_role("dialog")
    dialog.locator("img").wait_for()
    assert dialog.locator("img").evaluate("one => one.decode().then(() => one.naturalWidth > 100)")
    assert "A locked phone stays silent" in dialog.inner_text()
    assert "192.168.1.20:8050/landing?lifter=dock-6" in dialog.inner_text()
    dialog.get_by_role("button", name="Close").click()
    assert dialog.count() == 0


def test_ground_screen_tells_connected_locked_and_gone_phones_apart(own_site: Site) -> None:
    # A server of its own: a landing page of all lifters, opened by any other test, counts for every lifter.
    own_site.engine.say(status("holding", lifter="dock-31", lifter_name="Dock 31"))
    ground = own_site.open()
    ground.wait_for_function(f"() => ({PHONE_FACT})() === 'none yet'")
    assert own_site.text("#join") == "Join by phone"
    with window(own_site.context.browser, PHONE) as pocket:  # type: ignore[arg-type]
        phone = pocket.new_page()
        phone.goto(own_site.served.url + "/landing?lifter=dock-31")
        ground.wait_for_function(f"() => ({PHONE_FACT})() === 'connected'")
        assert own_site.text("#join") == "Landing phone connected"
        # Locked: the page is hidden, asks for nothing, and says nothing old.
        phone.evaluate(
            "() => { Object.defineProperty(document, 'hidden', {value: true, configurable: true});"
            " document.dispatchEvent(new Event('visibilitychange')); }"
        )
        assert phone.get_attribute("body", "data-call") == "no_signal"
        ground.wait_for_function(f"() => /^gone, last seen [0-9:]{{8}}$/.test(({PHONE_FACT})())", timeout=6000)
        assert own_site.text("#join").startswith("Landing phone gone since ")
        phone.evaluate(
            "() => { Object.defineProperty(document, 'hidden', {value: false, configurable: true});"
            " document.dispatchEvent(new Event('visibilitychange')); }"
        )
        ground.wait_for_function(f"() => ({PHONE_FACT})() === 'connected'")
    ground.wait_for_function(f"() => ({PHONE_FACT})().startsWith('gone, last seen')", timeout=6000)
