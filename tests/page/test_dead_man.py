"""A page whose server, network, engine or own script died says so by itself within 3 s, and comes back by itself."""

import signal
import time
from typing import Any, Literal

import pytest

from tests.page.conftest import Site
from tests.page.serving import serve, wait_ready
from tests.page.statuses import status

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
        assert ("Do not release" in page.inner_text("#cover")) == (path == "/landing")
    context.close()


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_server_killed(own_site: Site, path: str) -> None:
    own_site.open(path)
    own_site.page.wait_for_function(OPEN)
    from_s = time.monotonic()
    own_site.served.process.kill()
    assert _goes_dark(own_site, from_s) < WITHIN_S
    assert "Land the load" in own_site.text("#cover-do")
    assert own_site.text("#cover-do").startswith("Do not release") == (path == "/landing")
    assert "57.8" in own_site.text("#cover-numbers")
    struck = own_site.page.evaluate(
        "() => getComputedStyle(document.getElementById('cover-numbers')).textDecorationLine"
    )
    assert struck == "line-through"
    own_site.served.process.wait()
    with serve(own_site.served.data, listen=own_site.served.url.removeprefix("http://")) as again:
        wait_ready(again)
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
    seen = [(at_s - from_s, probe.evaluate(IS_YELLOW, png)) for at_s, png in frames if at_s - from_s < 6.5]
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


SEEN_BY_FRAME = """() => {
  window.frames_seen = [];
  const look = () => {
    const open = getComputedStyle(document.getElementById("cover")).opacity === "0";
    window.frames_seen.push([Date.now(), open, document.getElementById("reason").textContent]);
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""
"""Notes at every frame whether the values can be seen, and which reason they belong to."""


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_frozen_page_shows_nothing_old_when_it_thaws_not_for_one_frame(own_site: Site, path: str) -> None:
    """The browser itself freezes the page, as it does to one in the background, and thaws it."""
    page = own_site.open(path)
    page.wait_for_function(OPEN)
    old = page.inner_text("#reason")
    page.evaluate(SEEN_BY_FRAME)
    session = own_site.context.new_cdp_session(page)
    session.send("Page.setWebLifecycleState", {"state": "frozen"})
    time.sleep(3.5)
    own_site.engine.say(status("look"))
    time.sleep(0.5)
    thawed_ms = time.time() * 1000
    session.send("Page.setWebLifecycleState", {"state": "active"})
    own_site.shows("look")
    page.wait_for_timeout(300)
    after = [frame for frame in page.evaluate("() => window.frames_seen") if frame[0] > thawed_ms]
    assert after, "frames are drawn again"
    assert [frame for frame in after if frame[1] and frame[2] == old] == []


def test_tab_brought_back_from_behind_another_shows_nothing_old(own_site: Site) -> None:
    page = own_site.open()
    page.wait_for_function(OPEN)
    old = page.inner_text("#reason")
    page.evaluate(SEEN_BY_FRAME)
    other = own_site.context.new_page()
    other.bring_to_front()
    other.wait_for_timeout(3500)
    own_site.engine.say(status("look"))
    other.wait_for_timeout(500)
    back_ms = time.time() * 1000
    page.bring_to_front()
    own_site.shows("look")
    after = [frame for frame in page.evaluate("() => window.frames_seen") if frame[0] > back_ms + 500]
    assert [frame for frame in after if frame[1] and frame[2] == old] == []


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_page_whose_script_is_blocked_stays_covered(own_site: Site, path: str) -> None:
    own_site.context.route("**/*.js", lambda route: route.abort())
    own_site.page.goto(own_site.served.url + path)
    own_site.page.wait_for_timeout(3000)
    assert own_site.page.evaluate(COVERED)
    assert own_site.page.get_attribute("body", "data-call") == "no_signal"


@pytest.mark.parametrize("bytes_per_s", [1500, 4000, 12000])
def test_link_slower_than_the_data_shows_nothing_older_than_three_seconds(own_site: Site, bytes_per_s: int) -> None:
    """Each status carries the time it was made; whatever can be seen is held against the clock, for twelve seconds."""
    page = own_site.open()
    page.wait_for_function(OPEN)
    session = own_site.context.new_cdp_session(page)
    slow = {"offline": False, "latency": 150, "downloadThroughput": bytes_per_s, "uploadThroughput": bytes_per_s}
    session.send("Network.enable")
    session.send("Network.emulateNetworkConditions", slow)
    page.evaluate(
        """() => {
          window.oldest_ms = 0; window.open_n = 0; window.shut_n = 0;
          setInterval(() => {
            if (getComputedStyle(document.getElementById("cover")).opacity !== "0") { window.shut_n++; return; }
            const made = Number(document.getElementById("reason").textContent.replace(/[^0-9]/g, ""));
            if (made > 1e12) { window.open_n++; window.oldest_ms = Math.max(window.oldest_ms, Date.now() - made); }
          }, 50);
        }"""
    )
    end_s = time.monotonic() + 12
    while time.monotonic() < end_s:
        own_site.engine.say(status("land_soon", reason=f"Made at {time.time() * 1000:.0f}."))
        page.wait_for_timeout(250)
    oldest_ms, open_n, shut_n = page.evaluate("() => [window.oldest_ms, window.open_n, window.shut_n]")
    print(
        f"{bytes_per_s} bytes/s: oldest shown {oldest_ms / 1000:.2f} s, shown {open_n}, covered {shut_n} times of 50 ms"
    )
    assert oldest_ms <= 3000
    assert open_n + shut_n > 100
