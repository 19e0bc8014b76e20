"""A page whose server, network, engine or own script died says so by itself within 3 s, and comes back by itself."""

import signal
import time
from typing import Any, Literal

import pytest

from tests.page.conftest import Site
from tests.page.serving import serve

pytestmark = pytest.mark.browser

WITHIN_S = 3.0

COVERED = """() => {
  const style = getComputedStyle(document.getElementById("cover"));
  const box = document.getElementById("cover").getBoundingClientRect();
  return style.opacity === "1" && style.visibility === "visible" && box.width >= innerWidth && box.height >= innerHeight;
}"""
OPEN = """() => getComputedStyle(document.getElementById("cover")).opacity === "0" """


def _goes_dark(site: Site, from_s: float) -> float:
    site.page.wait_for_function("() => document.body.dataset.call === 'no_signal'", timeout=6000, polling=20)
    took_s = time.monotonic() - from_s
    assert site.page.evaluate(COVERED)
    assert site.page.get_attribute("body", "data-release") == "do_not_release"
    print(f"no signal after {took_s:.2f} s")
    return took_s


def _comes_back(site: Site, call: str = "land_soon") -> float:
    from_s = time.monotonic()
    site.shows(call)
    site.page.wait_for_function(OPEN)
    return time.monotonic() - from_s


def test_first_layout_is_no_signal_without_any_script(own_site: Site) -> None:
    context = own_site.page.context.browser.new_context(java_script_enabled=False)  # type: ignore[union-attr]
    page = context.new_page()
    for path in ("/", "/landing"):
        page.goto(own_site.served.url + path)
        assert page.get_attribute("body", "data-call") == "no_signal"
        assert page.locator("#cover").is_visible()
        assert "No signal" in page.inner_text("#cover")
    context.close()


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_server_killed(own_site: Site, path: str) -> None:
    own_site.open(path)
    own_site.page.wait_for_function(OPEN)
    from_s = time.monotonic()
    own_site.served.process.kill()
    assert _goes_dark(own_site, from_s) < WITHIN_S
    assert "Land the load" in own_site.text("#cover-do")
    assert "57.8" in own_site.text("#cover-numbers")
    struck = own_site.page.evaluate(
        "() => getComputedStyle(document.getElementById('cover-numbers')).textDecorationLine"
    )
    assert struck == "line-through"
    own_site.served.process.wait()
    with serve(own_site.served.data, listen=own_site.served.url.removeprefix("http://")):
        _comes_back(own_site)


def test_server_frozen_and_thawed(own_site: Site) -> None:
    own_site.open()
    own_site.page.wait_for_function(OPEN)
    from_s = time.monotonic()
    own_site.served.process.send_signal(signal.SIGSTOP)
    try:
        assert _goes_dark(own_site, from_s) < WITHIN_S
        time.sleep(1.0)
        own_site.engine.say(own_site.engine.lifters[0] | {"call": "land_now", "headline": "Land the load now"})
    finally:
        own_site.served.process.send_signal(signal.SIGCONT)
    assert _comes_back(own_site, "land_now") < WITHIN_S


def test_thawed_server_never_shows_what_waited_in_its_socket(own_site: Site) -> None:
    """The engine dies while the pages are frozen: what the pages then find in their socket is old, not live."""
    own_site.open()
    own_site.served.process.send_signal(signal.SIGSTOP)
    own_site.page.wait_for_function("() => document.body.dataset.call === 'no_signal'", timeout=6000)
    time.sleep(1.0)
    own_site.engine.pause()
    time.sleep(2.5)
    seen = own_site.page.evaluate_handle(
        "() => { const seen = []; new MutationObserver(() => seen.push(document.body.dataset.call))"
        ".observe(document.body, {attributes: true, attributeFilter: ['data-call']}); return seen; }"
    )
    own_site.served.process.send_signal(signal.SIGCONT)
    own_site.page.wait_for_timeout(2000)
    assert seen.json_value() == []
    own_site.engine.resume()
    _comes_back(own_site)


def test_network_cut(own_site: Site) -> None:
    own_site.open()
    own_site.page.wait_for_function(OPEN)
    from_s = time.monotonic()
    own_site.context.set_offline(True)
    assert _goes_dark(own_site, from_s) < WITHIN_S
    own_site.context.set_offline(False)
    assert _comes_back(own_site) < WITHIN_S


def test_engine_silent_is_said(own_site: Site) -> None:
    own_site.open()
    from_s = time.monotonic()
    own_site.engine.pause()
    assert _goes_dark(own_site, from_s) < WITHIN_S
    own_site.page.wait_for_function("() => document.getElementById('cover-why').textContent !== ''")
    assert own_site.text("#cover-why").startswith("The engine has sent nothing since ")
    own_site.engine.resume()
    _comes_back(own_site)


@pytest.mark.parametrize("motion", ["no-preference", "reduce"])
def test_script_hangs(own_site: Site, motion: Literal["no-preference", "reduce"]) -> None:
    """The page's own thread is busy for 7 s. The frames the browser draws meanwhile come from its compositor."""
    page = own_site.page
    page.emulate_media(reduced_motion=motion)
    probe = own_site.context.new_page()
    page.bring_to_front()
    own_site.open()
    page.wait_for_function(OPEN)
    session = own_site.context.new_cdp_session(page)
    frames: list[tuple[float, str]] = []

    def took(frame: dict[str, Any]) -> None:
        frames.append((frame["metadata"]["timestamp"], frame["data"]))
        session.send("Page.screencastFrameAck", {"sessionId": frame["sessionId"]})

    session.on("Page.screencastFrame", took)
    session.send("Page.startScreencast", {"format": "png", "maxWidth": 480, "maxHeight": 270})
    probe.wait_for_timeout(300)
    from_s = time.time()
    page.evaluate("() => { setTimeout(() => { const end = Date.now() + 7000; while (Date.now() < end); }, 0); }")
    probe.wait_for_timeout(4500)
    seen = [(at_s - from_s, probe.evaluate(IS_YELLOW, png)) for at_s, png in frames]
    assert [yellow for at_s, yellow in seen if at_s < 1.0][-1:] == [True], "the call was in view before"
    covered = [at_s for at_s, yellow in seen if at_s > 0 and not yellow]
    assert covered, "the cover was never drawn while the script hung"
    print(f"cover drawn after {covered[0]:.2f} s of a hung script")
    assert covered[0] < WITHIN_S
    assert not seen[-1][1], "once drawn, the cover stays"
    session.send("Page.stopScreencast")
    _comes_back(own_site)


IS_YELLOW = """async (png) => {
  const picture = new Image();
  picture.src = "data:image/png;base64," + png;
  await picture.decode();
  const canvas = new OffscreenCanvas(picture.width, picture.height).getContext("2d");
  canvas.drawImage(picture, 0, 0);
  const [red, green, blue] = canvas.getImageData(picture.width / 2, picture.height * 0.03, 1, 1).data;
  return red > 240 && green > 180 && blue < 60;
}"""
"""Whether a picture's call panel still has the full yellow of "land soon"."""


@pytest.mark.parametrize("event", ["new PageTransitionEvent('pagehide')", "new Event('freeze')"])
def test_hidden_page_drops_what_it_showed(own_site: Site, event: str) -> None:
    """Within the event itself, so that not one frame of the old is drawn on return."""
    own_site.open()
    own_site.page.wait_for_function(OPEN)
    target = "window" if "pagehide" in event else "document"
    left = own_site.page.evaluate(
        f"""() => {{
          {target}.dispatchEvent({event});
          return [document.body.dataset.call, document.body.dataset.release, ({COVERED})()];
        }}"""
    )
    assert left == ["no_signal", "do_not_release", True]
    _comes_back(own_site)


def test_clock_of_the_machine_does_not_matter(own_site: Site) -> None:
    """Ages come from when the page asked; a viewer's clock an hour off changes nothing."""
    own_site.page.clock.set_system_time(time.time() - 3600)
    own_site.open()
    own_site.page.wait_for_function(OPEN)
