"""The seal-test page in a real browser, on statuses the engine itself gave: asked for, counted down, told by circuit."""

from collections.abc import Iterator
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, expect

from tests.page.conftest import Site, pages_of_the_demo, watched, window
from tests.page.fake_engine import FakeEngine
from tests.page.in_page import OVERFLOWS, SMALL_TARGETS, TIPLESS, axe_finds
from tests.page.serving import LAPTOP, PHONE, WIDE, Served
from tests.unit.core.test_seal_tests import attached, rest

pytestmark = pytest.mark.browser

TABLET = (820, 1180)
LOOK_AT = "/seal-test?lifter=dock-6"


@pytest.fixture(scope="module")
def states() -> dict[str, dict[str, Any]]:
    """The engine's own statuses through one test that passes and one in which a pump comes on."""
    watch = attached()
    said = {"none": watch.said}
    rest(watch, 1.0, B_pump="onx1")
    watch.act("seal_test", test="pre_pick", who="M. Roth")
    rest(watch, 3.0, B_pump="onx1")
    said["waiting"] = watch.said
    rest(watch, 20.0)
    said["running"] = watch.said
    rest(watch, 45.0)
    said["passed"] = watch.said
    watch.act("seal_test", test="pre_pick", who="M. Roth")
    rest(watch, 20.0, B_pump="offx50 onx10 offx1")
    said["failing"] = watch.said
    rest(watch, 45.0)
    said["not_passed"] = watch.said
    rest(watch, 10.0, load_kg="0>600x30 600x1")
    return said | {"load_on": watch.said}  # type: ignore[dict-item,return-value]


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory, states: dict[str, Any]) -> Iterator[tuple[FakeEngine, Served]]:
    with pages_of_the_demo(tmp_path_factory.mktemp("seal"), states["none"]) as both:
        yield both


@pytest.fixture
def site(served: tuple[FakeEngine, Served], browser: Browser) -> Iterator[Site]:
    fake, running = served
    fake.actions.clear()
    with watched(fake, running, browser, TABLET) as one:
        yield one


def look_at(site: Site, said: dict[str, Any]) -> None:
    site.engine.say(said)
    site.open(LOOK_AT)


def test_test_is_asked_for_by_a_named_person(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["none"])
    assert site.text("#test-word") == "No test yet"
    assert site.page.locator("#starts button").all_inner_texts() == [
        "Test before the pick: 60 s on the panel",
        "Start of shift: 5 min on a clean plate",
    ]
    site.page.click("#starts button:first-child")
    site.page.fill("dialog input", "M. Roth")
    site.page.select_option("dialog select", "supervisor")
    site.page.click("dialog button:not([type=button])")
    expect(site.page.locator("#answer")).to_have_text("Acknowledged.", timeout=20_000)
    [action] = site.engine.actions
    assert (action["kind"], action["who"], action["role"]) == ("seal_test", "M. Roth", "supervisor")
    assert action["params"] == {"test": "pre_pick"}


def test_test_that_waits_says_for_what(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["waiting"])
    assert site.text("#test-word") == "Waiting"
    assert site.text("#test-left") == ""
    assert site.page.locator(".lane-words").all_inner_texts() == [
        "Holds, and its pump rests. Waiting for the others.",
        "Its pump runs. Waiting for it to rest: switch it off, or let it reach its level.",
    ]


def test_countdown_runs_between_statuses_and_never_below_zero(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["running"])
    left_s = states["running"]["seal_tests"]["pre_pick"]["left_s"]
    assert 35 < left_s < 45
    minutes, seconds = site.text("#test-left").split(":")
    assert abs(60 * int(minutes) + int(seconds) - left_s) < 3
    assert site.text("#test-by") == "Asked for by M. Roth at 21:20:31."
    assert site.page.locator("#starts button").count() == 0
    over = states["running"]["seal_tests"] | {"pre_pick": states["running"]["seal_tests"]["pre_pick"] | {"left_s": 0.0}}
    site.engine.say(states["running"] | {"seal_tests": over})
    expect(site.page.locator("#test-left")).to_have_text("0:00")


def test_test_under_way_is_broken_off_by_a_named_person(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["running"])
    site.page.evaluate("localStorage.setItem('holdwatch.who', JSON.stringify({who: 'M. Roth', role: 'supervisor'}))")
    site.page.click("#end")
    expect(site.page.locator("#answer")).to_have_text("Acknowledged.", timeout=20_000)
    assert [action["kind"] for action in site.engine.actions] == ["end_seal_test"]


def test_passed_test_says_by_how_much_and_leaves_the_decision(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["passed"])
    assert site.text("#test-word") == "Passed"
    assert site.text("#test-words") == (
        "Every circuit has the reserve asked for, by these readings. The supervisor decides."
    )
    for words in site.page.locator(".lane-words").all_inner_texts():
        assert words.startswith("Held: ")
        assert words.endswith("8 min is asked for.")
    assert site.page.locator("[href='#shape-holding']").count() == 3  # two circuits and the call below
    assert "✓" not in site.page.inner_text("body")


def test_circuit_that_failed_shows_while_the_others_are_watched(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["failing"])
    assert site.text("#test-words") == "Circuit B did not pass; the others are watched to the end. Do not lift."
    assert site.page.locator(".lane-word").all_inner_texts() == ["Watched", "Not passed"]
    assert site.page.get_attribute(".lane:nth-child(2)", "data-result") == "not_passed"


def test_test_not_passed_says_why_and_holding_stands_below_it(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["not_passed"])
    assert site.text("#test-word") == "Not passed"
    assert site.text("#test-words") == "Circuit B. Do not lift: find out why, then test again."
    assert site.text(".lane:nth-child(2) .lane-words").startswith("Its pump came on after ")
    call, test = (site.page.locator(name).bounding_box() for name in ("#call", "#test"))
    assert call is not None
    assert test is not None
    assert call["y"] > test["y"]


@pytest.mark.parametrize(("state", "why"), [("load_on", "The load is on the lifter"), ("open", "Nothing is attached")])
def test_test_is_not_offered_where_it_makes_no_sense(site: Site, states: dict[str, Any], state: str, why: str) -> None:
    look_at(site, states[state] if state == "load_on" else opened(states["none"]))
    assert site.text("#why-not").startswith(why)
    assert site.page.locator("#starts button:disabled").count() == 2


def opened(said: dict[str, Any]) -> dict[str, Any]:
    circuits = {name: one | {"state": "open", "vacuum_kpa": 0.1} for name, one in said["circuits"].items()}
    return said | {"circuits": circuits, "call": "not_lifting"}


def test_page_whose_engine_falls_silent_covers_the_countdown(site: Site, states: dict[str, Any]) -> None:
    look_at(site, states["running"])
    site.engine.pause()
    try:
        site.shows("no_signal")
        assert float(site.page.evaluate("getComputedStyle(document.getElementById('cover')).opacity")) == 1.0
    finally:
        site.engine.resume()
        site.shows("holding")


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, LAPTOP, TABLET, PHONE], ids=lambda size: f"{size[0]}x{size[1]}")
def test_nothing_is_cut_and_buttons_fit_gloves(
    served: tuple[FakeEngine, Served], browser: Browser, states: dict[str, Any], size: tuple[int, int], look: str
) -> None:
    with window(browser, size, color_scheme=look) as context:
        page = context.new_page()
        for state in ("none", "waiting", "running", "passed", "not_passed"):
            served[0].say(states[state])
            page.goto(served[1].url + LOOK_AT)
            page.wait_for_function("() => document.body.dataset.call !== 'no_signal'")
            page.evaluate("() => document.fonts.ready.then(() => true)")
            assert page.evaluate(OVERFLOWS) == [], state
            assert page.evaluate(SMALL_TARGETS, 96) == [], state
            box = page.locator("#test").bounding_box()
            assert box is not None
            assert box["y"] + box["height"] <= size[1], "the countdown is on the first screen"


@pytest.mark.parametrize("look", ["light", "dark"])
def test_axe_finds_nothing_in_any_state_of_a_test(
    site: Site, states: dict[str, Any], look: Literal["light", "dark"]
) -> None:
    site.page.emulate_media(color_scheme=look)
    for name, said in states.items():
        look_at(site, said)
        assert axe_finds(site.page) == [], name


def test_every_state_and_number_explains_itself(site: Site, states: dict[str, Any]) -> None:
    for name, said in states.items():
        look_at(site, said)
        assert site.page.evaluate(TIPLESS, "#call-words, #test-word, #test-left, .lane-word, .lane-number") == [], name
    look_at(site, states["running"])
    site.page.locator("#test-left").click()
    assert site.text("#tip").startswith("Time until the test is over")


def test_several_lifters_ask_which(served: tuple[FakeEngine, Served], browser: Browser, states: dict[str, Any]) -> None:
    fake, running = served
    fake.say(states["none"], states["running"] | {"lifter": "dock-7", "lifter_name": "Dock 7"})
    with window(browser, TABLET) as context:
        page = context.new_page()
        page.goto(running.url + "/seal-test")
        page.wait_for_selector(".tile:nth-child(2)")
        links = page.locator(".tile-link").evaluate_all("links => links.map((one) => one.getAttribute('href')).sort()")
        assert links == ["/seal-test?lifter=dock-6", "/seal-test?lifter=dock-7"]
