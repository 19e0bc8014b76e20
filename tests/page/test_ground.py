"""The ground screen says what the engine says, in the engine's words, large enough, and nothing of it runs as code."""

import itertools
import json
import time
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from dashboards.pages.parts import PAGES
from monitor.settings.access import Role, set_pin
from monitor.words.languages import languages
from tests.page.conftest import Site, window
from tests.page.in_page import BELOW_THE_FOLD, CAPITAL_PX, LINES_N, OVERFLOWS, OVERLAPS, SHOWS, WATCH_REASON
from tests.page.scenes import SCENES
from tests.page.serving import LAPTOP, PHONE, TABLET, WIDE, engine, serve, wait_ready
from tests.page.statuses import CALLS, alarm, alarm_line, circuit, losing, status, with_circuits

pytestmark = pytest.mark.browser

HEADLINES = {
    "land_now": "Land the load now",
    "no_signal": "No readings: land the load",
    "land_soon": "Land the load soon",
    "look": "Look at circuit B",
    "holding": "Holding",
    "not_lifting": "Not lifting",
}


@pytest.mark.parametrize("call", CALLS)
def test_call_reason_and_release_stand_side_by_side(site: Site, call: str) -> None:
    said = status(call)
    site.engine.say(said)
    site.open()
    assert site.text("#call-words") == HEADLINES[call]
    assert site.text("#reason").endswith(said["reason"])
    assert site.page.get_attribute("#call-shape use", "href") == f"#shape-{call}"
    assert site.page.get_attribute("body", "data-release") == said["release"]
    assert site.page.locator("#release").is_visible() == (said["release"] != "not_attached")
    assert "Keep clear of a raised load." in site.text("#caution")
    if call == "no_signal":
        assert site.text("#reason").startswith("Listen for the lifter's own alarm.")


def test_barred_circle_is_for_the_release_alone_and_nothing_says_safe(site: Site) -> None:
    site.open()
    assert site.page.get_attribute("#release-shape use", "href") == "#shape-do_not_release"
    for call in CALLS:
        site.engine.say(status(call))
        site.shows(call)
        shapes = site.page.eval_on_selector_all(
            "#call use, .lane use", "all => all.map(one => one.getAttribute('href'))"
        )
        assert "#shape-do_not_release" not in [
            shape for shape in shapes if shape != site.page.get_attribute("#release-shape use", "href")
        ]
        words = site.text("#screen").lower()
        assert not any(word in words.split() for word in ("safe", "ok", "okay"))


def test_call_follows_the_engine(site: Site) -> None:
    site.open()
    for call in ("land_soon", "land_now", "look", "holding"):
        site.engine.say(status(call))
        site.shows(call, within_s=1.0)


def test_lanes_show_state_number_trace_and_time(site: Site) -> None:
    site.engine.say(status("land_soon"))
    site.open()
    lane = ".lane[data-state=losing]"
    site.page.wait_for_selector(lane)
    assert site.text(f"{lane} .lane-name") == "B"
    assert site.text(f"{lane} .lane-word") == "Losing vacuum"
    assert site.text(f"{lane} .lane-words") == "May reach the warning level in 4 min (likely 6 min)."
    assert site.text(f"{lane} .lane-time") == "4 min"
    assert site.text(f"{lane} .lane-number") == "57.8"
    assert site.text(f"{lane} .lane-unit") == "kPa"
    assert site.text(f"{lane} .lane-rate") == "down 0.9 a minute, pump off"
    site.page.wait_for_function(
        "lane => document.querySelector(lane + ' .trace-past').getAttribute('d')?.length > 2000", arg=lane
    )
    assert site.page.get_attribute(f"{lane} .trace-fan", "d") is not None
    assert site.page.get_attribute(".lane[data-state=holding] .trace-fan", "d") is None


def test_room_to_the_limit_is_one_bar(site: Site) -> None:
    site.open()
    assert site.text("#load-words") == "Load 622 kg"
    assert site.text("#margin-words") == "276 kg below the limit"
    assert site.text("#limit-words") == "Limit 900 kg"
    load, bar = (site.page.locator(part).bounding_box() for part in ("#bar-load", "#bar"))
    assert load is not None
    assert bar is not None
    assert load["width"] / bar["width"] == pytest.approx(624 / 900, abs=0.01)


def test_age_grows_between_snapshots_and_old_numbers_are_struck_out(site: Site) -> None:
    site.engine.say(status("holding", circuits={"A": circuit(age_s=0.3), "B": circuit(age_s=5.0)}))
    site.open()
    site.page.wait_for_selector(".lane:nth-child(2)[data-old=yes]")
    decoration = "one => getComputedStyle(one).textDecorationLine"
    assert site.page.eval_on_selector(".lane:nth-child(1) .lane-number", decoration) == "none"
    assert site.page.eval_on_selector(".lane:nth-child(2) .lane-number", decoration) == "line-through"
    assert site.text(".lane:nth-child(1) .lane-age") == ""
    assert site.text(".lane:nth-child(2) .lane-age").startswith("5.")
    site.engine.pause()
    try:
        site.page.wait_for_function(
            "() => ['1.0 s ago', '1.1 s ago', '1.2 s ago'].includes(document.querySelector('.lane-age').textContent)"
        )
    finally:
        site.engine.resume()


def test_unknown_load_shows_no_room(site: Site) -> None:
    site.engine.say(status("no_signal"))
    site.open()
    site.page.wait_for_selector("#load[data-look=unknown]")
    assert site.text("#margin-words") == "Room to the limit not known"
    assert site.text("#load-words") == "Load reading lost, largest of this lift 624 kg"


def test_number_of_a_sensor_that_cannot_be_believed_is_struck_out(site: Site) -> None:
    site.engine.say(status("land_soon", circuits={"A": circuit(), "B": circuit("sensor_fault", 60.0)}))
    site.open()
    site.page.wait_for_selector(".lane[data-state=sensor_fault]")
    line = site.page.eval_on_selector(
        "[data-state=sensor_fault] .lane-number", "one => getComputedStyle(one).textDecorationLine"
    )
    assert line == "line-through"


def test_broker_lost_is_said(site: Site) -> None:
    site.open()
    site.engine.link = {"broker": "down", "since_utc_s": 1764019390.0}
    site.page.wait_for_selector("#notices li")
    assert site.text("#notices") == "Broker lost since 21:23:10: no readings arrive until it is back."
    site.engine.link = {"broker": "up", "since_utc_s": 0.0}
    site.page.wait_for_function("() => !document.querySelector('#notices li')")


def test_alarms_of_one_cause_are_one_line_that_opens(site: Site) -> None:
    lead, low = alarm("acknowledged", "medium", 1), alarm(raising_n=2)
    other = alarm("acknowledged", raising_n=3)
    lines = [alarm_line(lead, low, priority="high"), alarm_line(other)]
    site.engine.say(status("land_soon", alarms=[lead, low, other], alarm_lines=lines))
    site.open()
    line = site.page.locator("#alarms > .alarm").first
    assert line.get_attribute("data-open") == "yes"
    assert line.locator("> button").is_hidden()  # the lead is acknowledged
    assert line.locator("summary").inner_text() == "and 1 more from it"
    assert line.locator(".alarm-under .alarm").is_hidden()
    site.page.locator("#more").click()
    line.locator("summary").click()
    assert line.locator(".alarm-under .alarm").get_by_role("button", name="Acknowledge").is_visible()


@pytest.mark.parametrize("size", [WIDE, LAPTOP, TABLET, PHONE])
@pytest.mark.parametrize("circuits_n", [2, 3])
def test_every_alarm_is_reached_by_one_tap_and_the_call_stays_in_view(
    site: Site, browser: Browser, size: tuple[int, int], circuits_n: int
) -> None:
    alarms = [alarm(raising_n=n) for n in range(1, 8)]
    site.engine.say(with_circuits(status("land_soon", alarms=alarms), circuits_n))
    context = window(browser, size)
    try:
        page = context.new_page()
        page.goto(site.served.url)
        page.wait_for_function(SHOWS, arg="land_soon")
        page.locator("#more").click()
        page.wait_for_function("() => document.querySelectorAll('#alarms > .alarm').length === 7")
        assert [row.is_visible() for row in page.locator("#alarms > .alarm").all()] == [True] * 7
        page.evaluate("window.scrollTo(0, 0)")
        for place in ("#call-words", "#reason", "#release-words"):
            shown = page.locator(place).evaluate(ON_TOP)
            assert shown, place
    finally:
        context.close()


# IEC 60073 flashing: slow 0.4 to 0.8 Hz, normal 1.4 to 2.8 Hz, faster is more urgent (quoted in IEEE P1621 draft §4.4.2);
# WCAG 2.2 SC 2.3.1: at most three flashes in any second.
FLASH_HZ = {"high": (1.4, 2.8), "medium": (0.4, 0.8), "low": (0.0, 0.0)}


@pytest.mark.parametrize("priority", FLASH_HZ)
def test_mark_flashes_by_priority_and_is_steady_once_acknowledged(site: Site, priority: str) -> None:
    alarms = [alarm("unacknowledged", priority, 1), alarm("acknowledged", priority, 2)]
    site.engine.say(status("land_soon", alarms=alarms))
    site.open()
    marks = site.page.locator("#alarms > .alarm > .alarm-mark")
    look = """mark => {
      const said = getComputedStyle(mark);
      return [said.animationName, said.animationDuration, said.opacity];
    }"""
    name, period_s, _ = marks.nth(0).evaluate(look)
    flash_hz = 0.0 if name == "none" else 1.0 / float(period_s.removesuffix("s"))
    low_hz, high_hz = FLASH_HZ[priority]
    assert low_hz <= flash_hz <= high_hz
    assert flash_hz <= 3.0
    assert marks.nth(1).evaluate(look)[0] == "none"
    site.page.emulate_media(reduced_motion="reduce")
    assert marks.nth(0).evaluate(look)[::2] == [
        "none",
        "1",
    ]  # a flasher that stands still is on, never off (NUREG-0700)
    site.page.emulate_media(reduced_motion="no-preference")


def test_sound_has_a_pulse_pattern_for_each_priority(site: Site) -> None:
    # After IEC 60601-1-8 as a model: high 5 + 5 pulses every 2.5 to 15 s, medium 3, low 1 or 2; a fundamental of 150 to
    # 1000 Hz, at least four harmonics of 300 to 4000 Hz within 15 dB (component maker's summary and a project note).
    site.open()
    loaded = site.page.evaluate("performance.getEntriesByType('resource').map((entry) => entry.name)")
    url = next(name for name in loaded if name.endswith("/sound.js"))
    patterns, harmonics = site.page.evaluate("url => import(url).then((m) => [m.PATTERNS, m.HARMONICS])", url)
    assert {level: len(pattern["pulses"]) for level, pattern in patterns.items()} == {"high": 10, "medium": 3, "low": 2}
    gaps_s = [late - early for early, late in itertools.pairwise(patterns["high"]["pulses"])]
    assert max(gaps_s) == gaps_s[4]  # two bursts of five
    assert 2500 <= patterns["high"]["everyMs"] <= 15_000
    assert patterns["high"]["everyMs"] < patterns["medium"]["everyMs"] < patterns["low"]["everyMs"]
    for pattern in patterns.values():
        heard_hz = [number * pattern["hz"] for number in range(1, len(harmonics) + 1)]
        assert 150 <= heard_hz[0] <= 1000
        assert len([hz for hz in heard_hz if 300 <= hz <= 4000]) >= 4
        assert all(late - early >= pattern["length"] for early, late in itertools.pairwise(pattern["pulses"]))
    assert min(harmonics) / max(harmonics) >= 10 ** (-15 / 20)


ON_TOP = """place => {
  const box = place.getBoundingClientRect();
  const top = document.elementFromPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2);
  return top !== null && (place.contains(top) || top.contains(place));
}"""
OVER = alarm("latched_acknowledged", raising_n=15)


def test_acknowledge_names_the_raising_that_was_seen(site: Site) -> None:
    site.engine.say(status("land_soon", alarms=[alarm(raising_n=17), alarm("acknowledged", raising_n=16), OVER]))
    site.open()
    rows = site.page.locator(".alarm")
    assert rows.nth(0).get_attribute("data-open") == "yes"
    assert rows.nth(1).locator("button").is_hidden()
    widths = [rows.nth(i).evaluate("row => parseFloat(getComputedStyle(row).borderTopWidth)") for i in (0, 1)]
    assert widths[0] > widths[1], "unacknowledged differs from acknowledged in look"
    frames = [rows.nth(i).evaluate("row => getComputedStyle(row).borderTopStyle") for i in range(3)]
    inks = [rows.nth(i).evaluate("row => getComputedStyle(row).color") for i in range(3)]
    assert frames == ["solid", "solid", "dashed"], "what is over differs in look from what stands"
    assert inks[1] == inks[0] != inks[2], "an acknowledge does not fade what still stands"
    rows.nth(0).get_by_role("button", name="Acknowledge").click()
    site.page.get_by_label("Name or initials").fill("AB")
    site.page.get_by_role("combobox").select_option("operator")
    site.page.get_by_role("dialog").get_by_role("button", name="Continue").click()
    assert site.act() == {
        "kind": "acknowledge",
        "lifter": "dock-6",
        "who": "AB",
        "role": "operator",
        "params": {"raising": "dock-6/B/losing_vacuum/17"},
    }


def test_where_pins_are_set_acting_asks_for_one(site: Site) -> None:
    set_pin(site.served.data, Role.OPERATOR, "482913")
    try:
        site.engine.say(status("land_soon"))
        site.open()
        site.page.get_by_role("button", name="Acknowledge").click()
        site.page.get_by_label("Name or initials").fill("AB")
        site.page.get_by_role("combobox").select_option("operator")
        site.page.get_by_label("PIN of the role").fill("482914")
        site.page.get_by_role("button", name="Sign in").click()
        site.page.wait_for_function("() => document.querySelector('.dialog-wrong').textContent")
        assert site.text(".dialog-wrong") == "This is not the PIN of that role."
        site.page.get_by_label("PIN of the role").fill("482913")
        site.page.get_by_role("button", name="Sign in").click()
        act = site.act()
        assert (act["who"], act["role"]) == ("AB", "operator")
        assert "482913" not in site.page.evaluate("() => JSON.stringify(localStorage) + document.cookie")
        assert [said for said in site.complaints if "403 (Forbidden)" not in said] == []
        site.complaints.clear()
    finally:
        set_pin(site.served.data, Role.OPERATOR, None)


def test_refused_action_is_said_in_words(site: Site) -> None:
    site.engine.answer = {"done": False, "key": "refused.not_this_raising", "words": "That alarm has moved on."}
    site.engine.say(status("land_soon"))
    site.page.add_init_script("localStorage.setItem('holdwatch.who', JSON.stringify({who: 'AB', role: 'operator'}))")
    site.open()
    site.page.get_by_role("button", name="Acknowledge").click()
    site.page.wait_for_function("() => document.getElementById('answer').textContent === 'That alarm has moved on.'")
    site.engine.answer = {"done": True, "key": "done.acknowledge", "words": "Acknowledged."}
    assert [said for said in site.complaints if "409 (Conflict)" not in said] == []
    site.complaints.clear()


HOSTILE = "<img src=x onerror=\"document.body.dataset.hacked='yes'\">"


def test_names_and_words_from_outside_stay_text(site: Site) -> None:
    circuits = {HOSTILE: circuit(words=HOSTILE), "B": losing(words=HOSTILE)}
    alarms = [alarm(words=HOSTILE, about=HOSTILE, raising=f"dock-6/{HOSTILE}/1")]
    said = status("land_soon", lifter_name=HOSTILE, reason=HOSTILE, circuits=circuits, alarms=alarms)
    site.engine.say(said | {"release_reason": HOSTILE, "headline": HOSTILE})
    for path in ("/", "/landing"):
        site.open(path)
        site.page.wait_for_selector(".lane[data-state=losing]")
        assert HOSTILE.split("=")[0] in site.text("#screen")
        assert site.page.locator("#screen img").count() == 0
        assert site.page.get_attribute("body", "data-hacked") is None
    site.engine.say(said, status("holding", lifter="dock-7", lifter_name=HOSTILE))
    site.open()
    site.page.wait_for_selector(".tile:nth-child(2)")
    assert site.page.locator("#screen img").count() == 0


def test_several_lifters_are_tiles_worst_first(site: Site) -> None:
    site.engine.say(status("holding"), status("land_soon", lifter="dock-7", lifter_name="Dock 7"))
    site.open(call="land_soon")
    site.page.wait_for_selector("#tiles .tile:nth-child(2)")
    names = site.page.locator("#tiles .tile-name").all_inner_texts()
    assert names == ["Dock 7", "Dock 6"]
    site.page.locator("#tiles .tile-link").nth(0).click()
    site.page.wait_for_function("() => document.querySelector('#others .tile-name')?.textContent === 'Dock 6'")
    assert site.text("#call-words") == "Land the load soon"
    site.open("/?lifter=dock-6", call="holding")


def test_no_request_leaves_the_sites_own_server(site: Site) -> None:
    asked: list[str] = []
    site.page.on("request", lambda request: asked.append(request.url))
    for path in (*PAGES.values(), "/alarms", "/help/running", "/help/settings"):
        site.page.goto(site.served.url + path)
        site.page.wait_for_timeout(800)
    assert len(asked) > 30
    assert [url for url in asked if not url.startswith(site.served.url + "/")] == []


def test_first_run_leads_by_steps_to_the_first_reading_and_to_the_phone(own_site: Site) -> None:
    """On a lifter that was never heard; ``tests/system/test_first_run.py`` goes the whole way."""
    own_site.engine.say(*SCENES["never heard"])
    own_site.open()
    steps = own_site.page.locator("#first li")
    assert steps.count() == 4
    assert "mqtt://127.0.0.1:1883, topic holdwatch/quayside/dock-6/readings" in steps.nth(0).inner_text()
    assert "holdwatch listen --site" in steps.nth(1).inner_text()
    assert "join by phone" in steps.nth(2).inner_text()
    assert "holdwatch demo" in steps.nth(3).inner_text()
    own_site.page.get_by_role("button", name="Join by phone").wait_for()  # so named while no phone was ever seen
    own_site.engine.say(status("holding"))
    own_site.shows("holding")
    assert steps.count() == 0


def test_every_link_of_every_page_leads_somewhere(site: Site) -> None:
    site.engine.say(status("holding"))
    queue, seen = ["/", "/landing", "/seal-test"], {}
    while queue:
        path = queue.pop()
        if path in seen:
            continue
        reply = site.page.goto(site.served.url + path)
        assert reply is not None
        seen[path] = reply.status
        site.page.wait_for_selector("main")
        links = site.page.eval_on_selector_all("a[href^='/']", "all => all.map(one => one.getAttribute('href'))")
        queue += [link.partition("#")[0] for link in links if not link.startswith("/api/")]
    assert {path: code for path, code in seen.items() if code != 200} == {}
    assert {"/plan", "/seal-test", "/lifts", "/maintenance", "/fleet", "/alarms", "/help/cautions"} <= set(seen)


def test_unknown_lifter_is_said(site: Site) -> None:
    site.page.goto(site.served.url + "/?lifter=dock-9")
    site.page.wait_for_function("() => document.getElementById('cover-why').textContent.includes('dock-9')")
    assert site.page.get_attribute("body", "data-call") == "no_signal"


def test_story_stands_beside_in_the_demonstrations_own_panel(tmp_path: Path, browser: Browser) -> None:
    story = tmp_path / "story.json"
    story.write_text(
        json.dumps({"utc_s": 0.0, "scenario": "leak", "title": "A leak in flight", "line": "Watch circuit B."})
    )
    fake = engine(tmp_path, status("land_soon"))
    try:
        with serve(tmp_path, story=story) as served, window(browser) as context:
            wait_ready(served)
            page = context.new_page()
            page.goto(served.url)
            page.wait_for_selector("#story:not([hidden])")
            assert (
                " ".join(page.inner_text("#story").split())
                == "Demonstration: no real lifter A leak in flight Watch circuit B."
            )
            assert page.get_attribute("#story-line", "lang") == "en"
            story.write_text(json.dumps({"title": "A leak in flight", "line": "It is landed."}))
            page.wait_for_function("() => document.getElementById('story-line').textContent === 'It is landed.'")
    finally:
        fake.stop()


# -- size and room

MM_PER_PX = 24 * 25.4 * 16 / 337**0.5 / 1920
"""A 24-inch screen of 16:9 and 1920 pixels: 531.3 mm across."""


def _arcmin(page: Page, selector: str, distance_mm: float) -> float:
    """Angle of the capitals of what stands there, from the drawn type: h = 6.283 D MA / 21600 (NUREG-0700, 1.3.1-4)."""
    capital_px = page.eval_on_selector(selector, CAPITAL_PX)
    return float(capital_px * MM_PER_PX * 21600 / (6.283 * distance_mm))


@pytest.mark.parametrize("language", languages())
def test_type_is_large_enough_for_its_distance(site: Site, language: str) -> None:
    """NUREG-0700: characters of at least 16', preferably 20' to 22'; ISO 9241 has the same range.

    The call on up to two lines from 5 m; reason and circuit words from 3 m, 20' with up to three circuits, else 16'.
    """
    site.context.add_cookies([{"name": "holdwatch_language", "value": language, "url": site.served.url}])
    faults = []
    for name, lifters in SCENES.items():
        if len(lifters) > 1:
            continue
        site.engine.say(*lifters)
        site.open(call=lifters[0]["call"])
        site.page.evaluate("() => document.fonts.ready.then(() => true)")
        circuits_n = len(lifters[0]["circuits"])
        site.page.wait_for_selector(f"#circuits[data-count='{circuits_n}']")
        site.page.wait_for_timeout(200)
        wanted = 20.0 if circuits_n <= 3 else 16.0
        call = _arcmin(site.page, "#call-words", 5000)
        reason, word = (_arcmin(site.page, part, 3000) for part in ("#reason", ".lane-word"))
        lines = site.page.eval_on_selector("#call-words", LINES_N)
        told = f"call {call:.1f}' at 5 m on {lines} lines, reason {reason:.1f}', circuit words {word:.1f}' at 3 m"
        print(f"{language}, {name}, {circuits_n} circuits: {told}")
        if call < 20.0 or lines > 2 or reason < wanted or word < wanted:
            faults.append((name, told))
    assert faults == []


STORY = json.dumps({"title": "A leak in flight", "line": "Circuit B lost its seal at a chipped edge: watch its trace."})


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("size", [WIDE, LAPTOP, TABLET, PHONE], ids=str)
def test_nothing_overflows_and_nothing_important_is_below_the_fold(
    site: Site, browser: Browser, size: tuple[int, int], language: str
) -> None:
    """In every language; light and dark differ in colours alone, so they take turns."""
    (site.served.data / "story.json").write_text(STORY)
    for units, look in (("metric", "light"), ("us", "dark")):
        with window(browser, size, color_scheme=look) as context:
            chosen = {"holdwatch_language": language, "holdwatch_units": units}
            context.add_cookies(
                [{"name": key, "value": value, "url": site.served.url} for key, value in chosen.items()]
            )
            page = context.new_page()
            for name, lifters in SCENES.items():
                site.engine.say(*lifters)
                page.goto(site.served.url)
                page.wait_for_function(SHOWS, arg=lifters[0]["call"])
                if len(lifters) == 1:
                    page.wait_for_selector(f"#circuits[data-count='{len(lifters[0]['circuits'])}']")
                page.evaluate("() => document.fonts.ready.then(() => true)")
                page.wait_for_timeout(250)
                assert page.evaluate(OVERFLOWS) == [], name
                assert page.evaluate(OVERLAPS) == [], name
                if size != PHONE:
                    assert page.evaluate(BELOW_THE_FOLD) == [], name
                background = page.evaluate("() => getComputedStyle(document.documentElement).backgroundColor")
                assert background == ("rgb(255, 255, 255)" if look == "light" else "rgb(10, 17, 24)")
            assert page.get_attribute("html", "lang") == language


def test_bright_sun_is_black_on_white_without_greys(site: Site) -> None:
    site.open()
    button = site.page.locator("#look")
    for _ in range(3):
        button.click()
    assert button.inner_text() == "Look: bright sun"
    colours = site.page.eval_on_selector_all(
        ".fact dt, #load-note, .lane-words, #caution",
        "all => [...new Set(all.map(one => getComputedStyle(one).color))]",
    )
    assert colours == ["rgb(0, 0, 0)"]


def test_from_snapshot_to_the_changed_page(site: Site) -> None:
    """Printed, not judged: how long a change takes from the engine's offer to the page's own DOM."""
    site.open()
    site.page.evaluate(WATCH_REASON)
    sent: dict[str, float] = {}
    for i in range(40):
        words = f"Change {i}."
        sent[words] = time.time()
        site.engine.say(status("look", reason=words))
        time.sleep(0.11)
    site.page.wait_for_function("() => 'Change 39.' in window.seen")
    seen = site.page.evaluate("() => window.seen")
    took_ms = sorted(seen[words] - at_s * 1000 for words, at_s in sent.items() if words in seen)
    p50_ms, p95_ms = (took_ms[int(len(took_ms) * share)] for share in (0.5, 0.95))
    print(f"snapshot to DOM, {len(took_ms)} changes: p50 {p50_ms:.0f} ms, p95 {p95_ms:.0f} ms")
    assert len(took_ms) > 0.8 * len(sent), "where two changes come at once the newer one is drawn"
