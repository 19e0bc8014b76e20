"""The plan page in a real browser: what is entered, what is answered, what is saved, and the one printed sheet."""

import json
import re
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, Page, expect

from dashboards.planning import entry_of
from tests.histories import Watch
from tests.page.conftest import Site, pages_of_the_demo, watched, window
from tests.page.fake_engine import FakeEngine
from tests.page.in_page import OVERFLOWS, TIPLESS, axe_finds, keyboard_misses
from tests.page.serving import LAPTOP, PHONE, WIDE, Served, serve
from tests.page.statuses import status

pytestmark = pytest.mark.browser

TABLET = (820, 1180)
PANE = {"size": "2.6 m x 1.7 m", "makeup": "glass 12 + pvb 1.52 + glass 12"}
"""4.42 m² of 24 mm glass (EN 572-1: 60 kg/m²) and 1.52 mm PVB: 272 kg."""

EVERYTHING = PANE | {
    "cut_outs": "100,100; 400,100; 400,400", "cg_x_mm": "120", "cg_y_mm": "-40", "cg_depth_mm": "14", "wind_m_s": "1",
    "altitude_m": "1200", "lift_height_m": "100 ft", "vacuum_kpa": "16 inHg", "share_ratio": "0.6", "tilt_deg.high": "95",
    "spacer_kg_per_m": "0.4", "weight": "290",
}  # fmt: skip


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[FakeEngine, Served]]:
    with pages_of_the_demo(tmp_path_factory.mktemp("plan"), status("not_lifting")) as both:
        yield both


@pytest.fixture
def site(planned: tuple[FakeEngine, Served], browser: Browser) -> Iterator[Site]:
    fake, served = planned
    fake.actions.clear()
    with watched(fake, served, browser) as one:
        one.page.goto(served.url + "/plan")
        yield one


def enter(page: Page, **entries: str) -> None:
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    for name, value in entries.items():
        page.fill(f"[name='{name}']", value)


def verdict(page: Page, wanted: str) -> None:
    expect(page.locator("#verdict")).to_have_attribute("data-verdict", wanted, timeout=60_000)


def figure(page: Page, label: str) -> str:
    return page.locator("#figures div", has_text=label).locator("dd").first.inner_text()


def test_lift_within_the_figures_entered(site: Site) -> None:
    page = site.page
    verdict(page, "waiting")
    enter(page, weight="620")
    verdict(page, "within_limits")
    assert site.text("#verdict") == "Within limits Within the figures entered; the supervisor decides."
    assert figure(page, "Panel") == "620 kg"
    assert float(figure(page, "Below the limit").removesuffix(" kg")) > 0
    assert site.text("#reasons li:last-child").startswith("Friction governs")
    assert page.locator("#circuits tr").count() == 2
    assert page.locator("#checks li").count() >= 14
    assert "Trial lift" in site.text("#checks")
    assert page.locator("#curve svg path.limit").count() == 1


def test_lift_outside_says_why(site: Site) -> None:
    enter(site.page, weight="2000")
    verdict(site.page, "outside_limits")
    assert site.text("#reasons li:first-child").startswith("The panel weighs 2000 kg")
    assert site.page.locator(".pad[data-look=over]").count() == 6
    assert figure(site.page, "Over the limit").endswith(" kg")


@pytest.mark.parametrize("weight", ["620", "2000"])
def test_page_never_calls_a_lift_safe(site: Site, weight: str) -> None:
    enter(site.page, weight=weight)
    site.page.wait_for_selector("#verdict[data-verdict$=limits]", timeout=60_000)
    said = site.page.inner_text("body").lower()
    assert not re.search(r"\b(safe|ok|okay|secure|go ahead|approved)\b", said)
    assert "✓" not in said
    assert "✔" not in said


def test_weight_and_centre_follow_from_size_and_make_up(site: Site) -> None:
    enter(site.page, **PANE)
    verdict(site.page, "within_limits")
    assert figure(site.page, "Panel") == "272 kg"  # 4.42 m² of 24 mm glass and 1.52 mm PVB
    assert site.page.locator("svg.pads path.panel").count() == 1


def test_units_people_write_are_understood(site: Site) -> None:
    enter(site.page, weight="700 lb")
    verdict(site.page, "within_limits")
    assert figure(site.page, "Panel") == "318 kg"  # 700 lb are 317.51 kg (NIST SP 811: 1 lb is 0.45359237 kg)
    site.page.select_option("#bare_units", "us")
    enter(site.page, weight="700")
    verdict(site.page, "working")
    verdict(site.page, "within_limits")
    assert figure(site.page, "Panel") == "318 kg"


def test_all_faults_are_shown_at_once_each_at_its_entry(site: Site) -> None:
    page = site.page
    enter(page, weight="heavy", makeup="glass 8 + foam 3", wind_m_s="900", size="1 m x 1 m", **{"tilt_deg.low": "95"})
    verdict(page, "faulty")
    at = {name: site.text(f"#fault-{name}") for name in ("weight", "makeup", "wind_m_s", "tilt_deg", "pads")}
    assert at["weight"].startswith('It is "heavy"; it must be a number and its unit')
    assert at["makeup"].startswith('Layer 2: It is "foam"; it must be one of glass')
    assert at["wind_m_s"] == "It is 900; it must lie in 0 to 60 (m/s)."
    assert at["tilt_deg"] == "It is 95 to 90; it must have its lower end first."
    assert "Pad A1: It is at -900, 300 mm, outside the panel; it must sit on the panel." in at["pads"]
    assert page.get_attribute("#weight", "aria-invalid") == "true"
    assert page.locator("#result").is_hidden()
    enter(page, weight="300", makeup="", wind_m_s="2", size="", **{"tilt_deg.low": ""})
    verdict(page, "within_limits")
    assert page.get_attribute("#weight", "aria-invalid") is None


def test_faults_speak_the_viewers_language(site: Site) -> None:
    page = site.page
    page.context.add_cookies([{"name": "holdwatch_language", "value": "es", "url": site.served.url}])
    page.reload()
    enter(page, weight="heavy", makeup="glass 8 + foam 3", wind_m_s="900", size="1 m x 1 m")
    verdict(page, "faulty")
    at = {name: site.text(f"#fault-{name}") for name in ("weight", "makeup", "wind_m_s", "pads")}
    assert at["weight"].startswith("«heavy» no es válido; debe ser un número con su unidad (kg, ")
    assert at["makeup"].startswith("Capa 2: «foam» no es válido; debe ser uno de glass, ")
    assert at["wind_m_s"] == "900 no es válido; debe estar entre 0 y 60 (m/s)."
    assert "Ventosa A1: Está en -900, 300 mm, fuera del panel; debe apoyar en el panel." in at["pads"]


@pytest.mark.parametrize(
    ("field", "entry"),
    [("makeup, layer 2", "makeup"), ("pad A1", "pads"), ("cut-out 2", "cut_outs"), ("outline, corner 3", "outline")],
)
def test_fault_goes_to_its_entry(field: str, entry: str) -> None:
    assert entry_of(field) == entry


def test_keyboard_alone_reaches_every_control_and_every_figure_explains_itself(site: Site) -> None:
    page = site.page
    enter(page, **EVERYTHING)
    page.wait_for_selector("#verdict[data-verdict$=limits]", timeout=60_000)
    assert keyboard_misses(page) == []
    assert page.evaluate(TIPLESS, "#figures dd") == []
    page.locator("#figures dd").first.click()
    assert site.text("#tip").startswith("The panel by what was entered")


def test_pads_are_tapped_and_reached_by_keyboard(site: Site) -> None:
    page = site.page
    enter(page, weight="300")
    verdict(page, "within_limits")
    before = page.get_attribute("[data-pad=B3]", "aria-label")
    page.click("[data-pad=A1] .pad-seal")
    verdict(page, "within_limits")
    page.wait_for_function(
        "before => document.querySelector('[data-pad=B3]').getAttribute('aria-label') !== before", arg=before
    )
    assert page.get_attribute("[data-pad=A1]", "aria-pressed") == "false"
    assert page.get_attribute("[data-pad=A1]", "aria-label") == "A1, A: out"
    page.focus("[data-pad=A1]")
    page.keyboard.press("Space")
    expect(page.locator("[data-pad=A1]")).to_have_attribute("aria-pressed", "true")
    assert page.evaluate("document.activeElement.dataset.pad") == "A1"
    page.click("#layouts button:has-text('narrow')")
    expect(page.locator("[data-pad=A3]")).to_have_attribute("aria-pressed", "false")
    expect(page.locator("#layouts button:has-text('narrow')")).to_have_attribute("aria-pressed", "true")


@pytest.mark.parametrize("look", ["light", "dark"])
def test_axe_finds_nothing_on_an_answer_or_on_faults(site: Site, look: Literal["light", "dark"]) -> None:
    page = site.page
    page.emulate_media(color_scheme=look)
    for wanted, weight in (("within_limits", "620"), ("outside_limits", "2000"), ("faulty", "heavy")):
        enter(page, weight=weight)
        verdict(page, wanted)
        assert axe_finds(page) == [], wanted


def test_old_answer_never_stands_over_new_entries(site: Site) -> None:
    page = site.page
    enter(page, weight="620")
    verdict(page, "within_limits")
    page.route("**/api/plan", lambda _route: None)  # the answer never comes
    page.fill("#weight", "2000")
    assert page.get_attribute("#verdict", "data-verdict") == "working"
    assert page.get_attribute("#result", "data-old") == "yes"
    assert page.is_disabled("#save")
    assert page.is_disabled("#print")
    expect(page.locator("#verdict")).to_have_attribute("data-verdict", "lost", timeout=40_000)
    assert page.locator("#result").is_hidden()


def test_page_that_got_no_answer_asks_again_by_itself(site: Site) -> None:
    page = site.page
    page.route("**/api/plan", lambda route: route.abort())
    enter(page, weight="300")
    verdict(page, "lost")
    page.unroute("**/api/plan")
    verdict(page, "within_limits")
    assert [said for said in site.complaints if "net::ERR_FAILED" not in said] == []
    site.complaints.clear()


def test_plan_is_saved_as_an_act_of_a_person_and_the_engine_takes_it(site: Site) -> None:
    page = site.page
    enter(page, **PANE, **{"tilt_deg.high": "80"})
    verdict(page, "within_limits")
    assert site.text("#saved-says") == "Not saved: the next lift is not judged against this plan."
    page.click("#save")
    page.fill("dialog input", "R. Lifter")
    page.select_option("dialog select", "supervisor")
    page.click("dialog button:not([type=button])")
    expect(page.locator("#saved-says")).to_contain_text("Saved at")
    [action] = site.engine.actions
    assert (action["kind"], action["lifter"], action["who"], action["role"]) == (
        "plan",
        "dock-6",
        "R. Lifter",
        "supervisor",
    )
    params = action["params"]
    assert params["verdict"] == "within_limits"
    assert params["entered"]["size"] == "2.6 m x 1.7 m"
    assert page.get_attribute("#next", "href") == "/seal-test?lifter=dock-6"
    watch = Watch()
    assert watch.act("plan", **params) == "done.plan"
    plan = watch.state.lifters["dock-6"].plan
    assert plan is not None
    assert plan.weight_kg == pytest.approx(272.4, abs=0.1)
    assert plan.move.tilt_high_deg == 80.0
    page.fill("#makeup", "glass 12")
    verdict(page, "within_limits")
    assert site.text("#saved-says") == "Not saved: the next lift is not judged against this plan."
    assert page.locator("#next").is_hidden()


def test_plan_in_force_is_shown_and_withdrawn_by_a_named_person(site: Site) -> None:
    page = site.page
    assert page.locator("#in-force").is_hidden()
    plan = {"who": "R. Lifter", "role": "supervisor", "at": 1764019200.0, "weight_kg": 620.2, "pads": ["A1", "B1"]}
    site.engine.say(status("not_lifting", plan=plan | {"verdict": "outside_limits"}))
    try:
        page.reload()
        expect(page.locator("#in-force-says")).to_contain_text(
            "In force for the next lift: 620 kg, pads A1, B1, saved by",
            timeout=25_000,  # asked for too soon, it is there when the page looks again
        )
        assert site.text("#in-force-says").endswith("It is OUTSIDE the limits of the figures entered.")
        page.evaluate("localStorage.setItem('holdwatch.who', JSON.stringify({who: 'M. Roth', role: 'supervisor'}))")
        page.click("#withdraw")
        expect(page.locator("#answer")).to_have_text("Acknowledged.", timeout=60_000)
        assert [action["params"] for action in site.engine.actions] == [{"withdraw": True}]
    finally:
        site.engine.say(status("not_lifting"))


def test_what_was_entered_is_still_there_after_a_reload(site: Site) -> None:
    page = site.page
    enter(page, weight="620", cg_x_mm="50")
    page.click("[data-pad=A1] .pad-seal")
    page.reload()
    verdict(page, "within_limits")
    assert page.input_value("#weight") == "620"
    assert page.locator("#cg_x_mm").is_visible()
    assert page.get_attribute("[data-pad=A1]", "aria-pressed") == "false"


@pytest.mark.parametrize("entries", [EVERYTHING, {"weight": "2000"}], ids=["everything entered", "outside"])
def test_plan_prints_on_one_sheet(site: Site, entries: dict[str, str]) -> None:
    enter(site.page, **entries)
    site.page.wait_for_selector("#verdict[data-verdict$=limits]", timeout=60_000)
    sheet = site.page.pdf(prefer_css_page_size=True)
    assert re.findall(rb"/Count\s+(\d+)", sheet) == [b"1"]
    site.page.emulate_media(media="print")
    assert site.page.locator("#entries").is_hidden()
    assert site.page.locator("#checks").is_visible()
    assert site.page.locator("#caution").is_visible()
    assert site.page.locator("#sign").is_visible()


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, LAPTOP, TABLET, PHONE], ids=lambda size: f"{size[0]}x{size[1]}")
def test_nothing_is_cut_and_targets_are_large(
    planned: tuple[FakeEngine, Served], browser: Browser, size: tuple[int, int], look: str
) -> None:
    with window(browser, size, color_scheme=look) as context:
        page = context.new_page()
        page.goto(planned[1].url + "/plan")
        enter(page, **EVERYTHING)
        page.wait_for_selector("#verdict[data-verdict$=limits]", timeout=60_000)
        assert page.evaluate(OVERFLOWS) == []
        assert page.evaluate("document.documentElement.scrollWidth") == size[0]
        boxes = page.evaluate(
            """() => [...document.querySelectorAll("#plan :is(button, select, input:not([type=checkbox]), .pad-target)")]
            .filter((one) => one.checkVisibility()).map((one) => one.getBoundingClientRect())
            .map((box) => [box.width, box.height])"""
        )
        assert min(side for box in boxes for side in box) >= 44
        page.evaluate("scrollTo(0, 0)")
        box = page.locator("#verdict").bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= size[1], "the verdict is in view while something is entered"


# --- for programs


def post(served: Served, body: object, **headers: str) -> tuple[int, dict[str, Any]]:
    request = urllib.request.Request(  # noqa: S310 - our own
        served.url + "/api/plan",
        json.dumps(body).encode(),
        {"Content-Type": "application/json", **{name.replace("_", "-"): value for name, value in headers.items()}},
    )
    try:
        with urllib.request.urlopen(request, timeout=20) as reply:  # noqa: S310 - our own
            return reply.status, json.load(reply)
    except urllib.error.HTTPError as error:
        with error:
            return error.code, json.load(error)


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ({"lifter": "dock-9", "entered": {}}, 400),
        ({"lifter": ["dock-6"], "entered": {}}, 400),
        ({"lifter": "dock-6", "entered": []}, 400),
        ({"lifter": "dock-6", "entered": {}, "units": "nautical"}, 400),
        ([], 400),
    ],
)
def test_what_is_no_question_is_refused_in_words(planned: tuple[FakeEngine, Served], body: object, code: int) -> None:
    status_code, said = post(planned[1], body)
    assert status_code == code
    assert said["words"].startswith("Not done: ")


def test_page_of_another_site_saves_nothing(planned: tuple[FakeEngine, Served]) -> None:
    fake, served = planned
    fake.actions.clear()
    body = {"lifter": "dock-6", "entered": {"weight": "300"}, "save": True, "who": "X", "role": "supervisor"}
    assert post(served, body, Origin="http://elsewhere.example")[0] == 403
    assert fake.actions == []
    assert post(served, body)[0] == 200
    assert [action["kind"] for action in fake.actions] == ["plan"]


def test_plan_without_a_name_is_not_saved(planned: tuple[FakeEngine, Served]) -> None:
    fake, served = planned
    fake.actions.clear()
    body = {"lifter": "dock-6", "entered": {"weight": "300"}, "save": True, "role": "supervisor"}
    code, said = post(served, body)
    assert code == 400
    assert "who must be text" in said["words"]
    assert fake.actions == []


def test_plan_that_cannot_be_judged_is_not_saved(planned: tuple[FakeEngine, Served]) -> None:
    fake, served = planned
    fake.actions.clear()
    code, said = post(
        served, {"lifter": "dock-6", "entered": {"weight": "-3"}, "save": True, "who": "X", "role": "supervisor"}
    )
    assert code == 200
    assert [fault["entry"] for fault in said["faults"]] == ["weight"]
    assert fake.actions == []


def test_page_before_the_engine_said_which_lifters_there_are(tmp_path: Path, browser: Browser) -> None:
    with serve(tmp_path) as served, window(browser) as context:
        page = context.new_page()
        page.goto(served.url + "/plan")
        assert "which lifters there are" in page.inner_text("#plan-none")
        assert page.locator("#entries").is_hidden()
