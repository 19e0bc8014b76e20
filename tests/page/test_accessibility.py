"""What axe finds, what stays without colour, what a screen reader hears, and what a keyboard reaches."""

import base64
import itertools
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from monitor.words.languages import languages
from tests.page.conftest import Site, window
from tests.page.in_page import SHOWS, TIPLESS, axe_finds, keyboard_misses
from tests.page.scenes import SCENES
from tests.page.serving import PHONE, WIDE
from tests.page.statuses import CALLS, alarm, circuit, losing, silent, status

pytestmark = pytest.mark.browser

PAPER = (
    "/lifts",
    "/help",
    "/help/alarms",
    "/help/running",
    "/help/reading-the-screens",
    "/help/arithmetic",
    "/plan",
    "/maintenance",
    "/fleet",
    "/alarms",
)


def _open(page: Page, site: Site, path: str, language: str) -> None:
    page.context.add_cookies([{"name": "holdwatch_language", "value": language, "url": site.served.url}])
    page.goto(site.served.url + path)


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("path", ["/", "/landing"])
def test_axe_finds_nothing_on_a_live_page_in_any_state(site: Site, browser: Browser, path: str, look: str) -> None:
    with window(browser, WIDE if path == "/" else PHONE, color_scheme=look) as context:
        page = context.new_page()
        for (name, lifters), language in zip(SCENES.items(), itertools.cycle(languages()), strict=False):
            site.engine.say(*lifters)
            _open(page, site, path, language)
            page.wait_for_function(SHOWS, arg=lifters[0]["call"])
            page.wait_for_timeout(100)
            assert axe_finds(page) == [], name


@pytest.mark.parametrize("look", ["light", "dark"])
def test_axe_finds_nothing_on_the_cover(site: Site, browser: Browser, look: str) -> None:
    with window(browser, WIDE, color_scheme=look) as context:
        page = context.new_page()
        page.goto(site.served.url + "/?lifter=dock-9")
        page.wait_for_function("() => document.getElementById('cover-why').textContent !== ''")
        assert axe_finds(page) == []


@pytest.mark.parametrize("look", ["light", "dark"])
def test_axe_finds_nothing_on_a_page_to_read(site: Site, browser: Browser, look: str) -> None:
    with window(browser, WIDE, color_scheme=look) as context:
        page = context.new_page()
        for path, language in itertools.product(PAPER, languages()):
            _open(page, site, path, language)
            page.wait_for_selector("main h1")
            assert axe_finds(page) == [], (path, language)


@pytest.mark.parametrize("guide", ["leak-and-time", "measured", "trends"])
def test_guide_with_wide_tables_is_no_wider_than_a_phone(site: Site, browser: Browser, guide: str) -> None:
    with window(browser, PHONE) as context:
        page = context.new_page()
        page.goto(f"{site.served.url}/help/{guide}")
        page.wait_for_selector("main table")
        assert page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") == 0


# -- without colour

DEFICIENCIES = ("achromatopsia", "protanopia", "deuteranopia", "tritanopia")
"""Greyscale and the three common deficiencies, as Chromium simulates them (Machado 2009)."""

LIGHTNESS = """async (png) => {
  const picture = new Image();
  picture.src = "data:image/png;base64," + png;
  await picture.decode();
  const canvas = new OffscreenCanvas(picture.width, picture.height).getContext("2d");
  canvas.drawImage(picture, 0, 0);
  const { data } = canvas.getImageData(0, 0, picture.width, picture.height);
  const linear = (c) => ((c /= 255) <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
  const out = [];
  for (let i = 0; i < data.length; i += 4) {
    const [red, green, blue] = data.slice(i, i + 3);
    out.push(0.2126 * linear(red) + 0.7152 * linear(green) + 0.0722 * linear(blue));
  }
  return { wide: picture.width, light: out };
}"""
"""Relative luminance of every pixel (WCAG 2.2)."""


@pytest.fixture
def blind(site: Site) -> Iterator[Any]:
    """A function that sets the deficiency the page is seen with."""
    session = site.context.new_cdp_session(site.page)
    yield lambda kind: session.send("Emulation.setEmulatedVisionDeficiency", {"type": kind})
    session.send("Emulation.setEmulatedVisionDeficiency", {"type": "none"})


def _lightness(page: Page, probe: Page, selector: str) -> tuple[int, list[float]]:
    png = base64.b64encode(page.locator(selector).first.screenshot()).decode()
    seen = probe.evaluate(LIGHTNESS, png)
    return seen["wide"], seen["light"]


def _contrast(light: list[float]) -> float:
    """Contrast of words on their ground: the commonest lightness against what lies furthest from it (WCAG 2.2)."""
    steps = [round(value, 2) for value in light]
    ground = max(set(steps), key=steps.count)
    ranked = sorted(light)
    ends = ranked[len(ranked) // 100], ranked[-len(ranked) // 100]  # a hundredth: letters are thin
    return max((max(ground, end) + 0.05) / (min(ground, end) + 0.05) for end in ends)


def _coarse(wide: int, light: list[float], cells: int = 12) -> list[float]:
    """A drawing on a grid, each cell's mean, from 0 to 1 between its own darkest and lightest."""
    high = len(light) // wide
    sums = [[0.0, 0] for _ in range(cells * cells)]
    for at, value in enumerate(light):
        cell = sums[min(cells - 1, at // wide * cells // high) * cells + min(cells - 1, at % wide * cells // wide)]
        cell[0] += value
        cell[1] += 1
    means = [total / max(1, n) for total, n in sums]
    low, top = min(means), max(means)
    return [(mean - low) / max(1e-6, top - low) for mean in means]


@pytest.mark.parametrize("kind", DEFICIENCIES)
def test_every_call_is_told_by_word_and_shape_without_colour(site: Site, blind: Any, kind: str) -> None:
    probe = site.context.new_page()
    site.page.bring_to_front()
    drawings = {}
    for call in CALLS:
        site.engine.say(status(call))
        site.open(call=call)
        blind(kind)
        site.page.wait_for_timeout(150)
        assert site.text("#call-words")
        contrast = _contrast(_lightness(site.page, probe, "#call-words")[1])
        print(f"{kind}, {call}: words {contrast:.1f} to 1")
        assert contrast >= 4.5, call
        drawings[call] = _coarse(*_lightness(site.page, probe, "#call-shape"))
    probe.close()
    for one, other in itertools.combinations(CALLS, 2):
        if {one, other} == {"land_soon", "look"}:
            continue  # both warn, with the warning triangle; the word and the filled panel tell them apart
        apart = sum(abs(a - b) for a, b in zip(drawings[one], drawings[other], strict=True)) / len(drawings[one])
        assert apart > 0.1, (one, other)


@pytest.mark.parametrize("kind", DEFICIENCIES)
def test_every_circuit_state_is_told_by_word_and_shape_without_colour(site: Site, blind: Any, kind: str) -> None:
    probe = site.context.new_page()
    site.page.bring_to_front()
    made = [circuit("critical", 34.1), circuit("low", 51.4), losing(), circuit("building", 31.0), circuit("open", 0.1)]
    made += [circuit(), silent(5.0), circuit("sensor_fault", 60.0)]
    drawings: dict[str, list[float]] = {}
    words = set()
    for six in (made[:4], made[4:]):
        said = dict(zip("ABCD", six, strict=True))
        site.engine.say(status("land_now", circuits=said))
        site.open(call="land_now")
        blind(kind)
        for name, one in said.items():
            lane = f".lane[data-key={name}][data-state={one['state']}]"
            site.page.wait_for_selector(lane)
            words.add(site.text(f"{lane} .lane-word"))
            assert _contrast(_lightness(site.page, probe, f"{lane} .lane-word")[1]) >= 4.5, one["state"]
            drawings[one["state"]] = _coarse(*_lightness(site.page, probe, f"{lane} > .shape"))
    probe.close()
    assert len(words) == 8
    alike = [{"low", "critical"}, {"no_reading", "sensor_fault"}]  # one shape each: land, unknown; the word says which
    for one, other in itertools.combinations(drawings, 2):
        if {one, other} not in alike:
            apart = sum(abs(a - b) for a, b in zip(drawings[one], drawings[other], strict=True)) / len(drawings[one])
            assert apart > 0.1, (one, other)


RELEASES = {"do_not_release": "holding", "check_fixed": "check fixed", "cannot_tell": "no load cell"}
"""A scene with each release answer that is shown."""


@pytest.mark.parametrize("kind", DEFICIENCIES)
@pytest.mark.parametrize("path", ["/", "/landing"])
def test_every_release_answer_is_told_by_word_and_shape_without_colour(
    site: Site, blind: Any, kind: str, path: str
) -> None:
    probe = site.context.new_page()
    site.page.bring_to_front()
    drawings, words = {}, set()
    for answer, scene in RELEASES.items():
        site.engine.say(*SCENES[scene])
        site.open(path, call=SCENES[scene][0]["call"])
        blind(kind)
        site.page.wait_for_selector(f"#release[data-release={answer}]")
        words.add(site.text("#release-words"))
        assert _contrast(_lightness(site.page, probe, "#release-words")[1]) >= 4.5, answer
        drawings[answer] = _coarse(*_lightness(site.page, probe, "#release-shape"))
    probe.close()
    assert len(words) == len(RELEASES)
    warns = drawings.pop("check_fixed")
    for answer, bars in drawings.items():  # both forbid, with the barred circle; the words say which
        assert sum(abs(a - b) for a, b in zip(warns, bars, strict=True)) / len(warns) > 0.1, answer


# -- screen readers and keyboards


HEARD = (
    ("/", "Land the load now. Do not release"),
    ("/landing", "Do not release. Land the load now."),
)


@pytest.mark.parametrize(("path", "wanted"), HEARD)
def test_a_call_is_announced_once_and_nothing_between(site: Site, path: str, wanted: str) -> None:
    site.engine.say(status("holding"))
    site.open(path)
    assert site.page.get_attribute("#spoken", "aria-live") == "assertive"
    site.page.evaluate(
        "() => { window.heard = []; const place = document.getElementById('spoken'); new MutationObserver(() =>"
        " window.heard.push(place.textContent)).observe(place, {childList: true, characterData: true, subtree: true}); }"
    )
    site.page.wait_for_timeout(1200)
    assert site.page.evaluate("() => window.heard") == []
    site.engine.say(status("land_now"))
    site.shows("land_now")
    site.page.wait_for_timeout(600)
    assert site.page.evaluate("() => window.heard") == [wanted]


def test_lost_touch_is_announced(site: Site) -> None:
    """An alert (WAI-ARIA) is read when it comes to be seen: the cover is one, hidden from readers while all is live."""
    site.open()
    assert site.page.get_attribute("#cover", "role") == "alert"
    assert site.page.get_attribute("#cover", "aria-hidden") == "true"
    site.engine.pause()
    try:
        site.page.wait_for_function("() => !document.getElementById('cover').hasAttribute('aria-hidden')")
    finally:
        site.engine.resume()


@pytest.mark.parametrize("path", ["/", "/landing", "/seal-test", *PAPER])
def test_keyboard_alone_reaches_every_control_and_shows_where_it_is(site: Site, path: str) -> None:
    site.engine.say(status("land_soon", alarms=[alarm()]))
    site.page.goto(site.served.url + path)
    if path in {"/", "/landing", "/seal-test"}:
        site.shows("land_soon")
    site.page.wait_for_selector("main :is(h1, #call-words)")
    assert keyboard_misses(site.page) == []


def test_keyboard_alone_acknowledges(site: Site) -> None:
    site.engine.say(status("land_soon", alarms=[alarm(raising_n=17)]))
    site.open()
    site.page.locator(".alarm-button").focus()
    site.page.keyboard.press("Enter")
    site.page.get_by_role("dialog").wait_for()
    site.page.keyboard.type("AB")
    site.page.keyboard.press("Enter")
    assert site.act()["who"] == "AB"


def test_state_and_number_explain_themselves_on_a_tap_and_by_keyboard(site: Site) -> None:
    site.engine.say(status("land_soon", alarms=[alarm()]))
    site.open()
    page = site.page
    silent_n = page.eval_on_selector_all(
        "[data-tip]",
        "all => all.filter(one => !JSON.parse(document.body.dataset.words)['tip.' + one.dataset.tip]).length",
    )
    assert silent_n == 0
    assert page.locator("[data-tip]:visible").count() > 15
    page.locator(".lane[data-state=losing] .lane-word").click()
    assert page.inner_text("#tip").startswith("This circuit loses vacuum")
    page.keyboard.press("Escape")
    assert page.locator("#tip").is_hidden()
    page.locator("#margin-words").focus()
    page.keyboard.press("Enter")
    assert page.inner_text("#tip").startswith("Room between the load and the limit")
    page.locator(".alarm-words").first.click()
    assert page.inner_text("#tip") == alarm()["do"]


TOLD = (
    "#call-words, #release-words, #load-words, #margin-words, #limit-words, .lane-word, .lane-number, .lane-rate, .lane-time, "
    ".fact dd, .alarm-words"
)
"""Every state and number of a live page. Those of tiles are explained on the page that a tile opens."""


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("path", ["/", "/landing"])
def test_every_state_and_number_explains_itself_whatever_is_shown(site: Site, path: str, language: str) -> None:
    for name, lifters in SCENES.items():
        site.engine.say(*lifters)
        _open(site.page, site, path, language)
        site.shows(lifters[0]["call"])
        silent_told = site.page.evaluate(TIPLESS, TOLD)
        released = lifters[0]["release"] == "not_attached"  # then the landing page's top says the call, as below it
        assert [one for one in silent_told if not (released and one.startswith("release-words"))] == [], name


@pytest.mark.parametrize("path", ["/", "/landing"])
def test_no_text_flashes(site: Site, path: str) -> None:
    """Only the alarm's small mark, without words, at most three times a second (WCAG 2.2, 2.3.1); the cover runs once."""
    for lifters in SCENES.values():
        site.engine.say(*lifters)
        site.open(path, call=lifters[0]["call"])
        moving = site.page.evaluate(
            "() => document.getAnimations().map(one => [one.effect.target.className || one.effect.target.id,"
            " one.effect.target.textContent, one.effect.getTiming().iterations, one.effect.getTiming().duration])"
        )
        for name, words, times, lasts_ms in moving:
            if times == 1:
                assert name == "cover"
                continue
            assert (name, words) == ("alarm-mark", "")
            assert lasts_ms * 3 > 1000
