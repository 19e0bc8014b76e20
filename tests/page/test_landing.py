"""The landing page: the release answer first, big targets, and every refusal of the browser in words."""

import pytest
from playwright.sync_api import Browser

from tests.page.conftest import Site, window
from tests.page.in_page import GAPS, OVERFLOWS, SHOWS, SMALL_TARGETS
from tests.page.serving import PHONE
from tests.page.statuses import CALLS, alarm, status, with_circuits

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("look", ["light", "dark"])
def test_release_answer_is_on_top_whatever_the_call(site: Site, browser: Browser, look: str) -> None:
    with window(browser, PHONE, color_scheme=look) as context:
        page = context.new_page()
        for call in CALLS:
            said = status(call, alarms=[alarm()] if call == "land_now" else [])
            site.engine.say(said)
            page.goto(site.served.url + "/landing?lifter=dock-6")
            page.wait_for_function(SHOWS, arg=call)
            page.evaluate("() => document.fonts.ready.then(() => true)")
            box = page.locator("#release").bounding_box()
            assert box is not None
            assert box["y"] < 20
            assert page.inner_text("#release-words") == (said["release_words"] or "Not lifting")
            assert page.inner_text("#caution").startswith("This screen is an aid.")
            assert page.evaluate(OVERFLOWS) == [], call
            assert page.evaluate(SMALL_TARGETS, 96) == []
            assert all(gap >= 24 for gap in page.evaluate(GAPS))


def test_load_still_on_the_lifter_in_kg(site: Site) -> None:
    load = {"kg": 164.2, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "on"}
    site.engine.say(status("holding", phase="landing", load=load))
    site.open("/landing")
    assert site.text("#load-words") == "164 kg"
    assert site.text("#load-rule") == "of 624 kg. Do not release until the panel is fixed and the supervisor says so."
    site.engine.say(status("no_signal"))
    site.shows("no_signal")
    site.page.wait_for_function("() => document.getElementById('load-words').textContent === 'not known'")
    assert site.page.get_attribute("body", "data-release") == "do_not_release"


def test_panel_said_to_be_fixed_is_told_under_a_name_and_the_answer_stays(site: Site) -> None:
    site.engine.say(status("look", phase="landing", release="do_not_release"))
    site.page.add_init_script("localStorage.setItem('holdwatch.who', JSON.stringify({who: 'CD', role: 'landing'}))")
    site.open("/landing")
    fixed = site.page.get_by_role("button", name="The panel is fixed")
    assert fixed.is_hidden()
    site.page.get_by_text("Tell what you see").click()
    assert "never means that a release may start" in site.text("#tell")
    assert site.page.evaluate(OVERFLOWS) == []
    assert site.page.evaluate(SMALL_TARGETS, 96) == []
    assert all(gap >= 24 for gap in site.page.evaluate(GAPS))
    fixed.click()
    assert site.act() == {
        "kind": "confirm_fixed",
        "lifter": "dock-6",
        "who": "CD",
        "role": "landing",
        "params": {},
    }
    assert fixed.is_hidden()
    assert site.page.get_attribute("body", "data-release") == "do_not_release"


def test_nothing_is_asked_of_the_landing_hand_while_nothing_is_attached(site: Site) -> None:
    site.engine.say(status("not_lifting", phase="idle"))
    site.open("/landing")
    assert site.page.locator("#tell").is_hidden()


def test_every_circuit_is_listed(site: Site) -> None:
    site.engine.say(with_circuits(status("land_soon"), 4))
    site.open("/landing")
    assert site.page.locator(".lane-word").all_inner_texts() == [
        "A Holding",
        "B Losing vacuum",
        "C Holding",
        "D Holding",
    ]


def test_sound_is_loudly_off_until_tapped_and_cannot_be_quietened_for_land_now(site: Site) -> None:
    site.engine.say(status("land_soon"))
    site.open("/landing")
    sound = site.page.locator("#sound")
    assert sound.inner_text() == "Sound is off. Tap to switch it on"
    sound.click()
    site.page.wait_for_function("() => document.getElementById('sound').dataset.sound === 'on'")
    assert sound.inner_text() == "I heard it: quiet for a minute"
    sound.click()
    assert sound.inner_text() == "Quiet for a minute"
    site.engine.say(status("land_now"))
    site.shows("land_now")
    assert sound.get_attribute("data-sound") == "on"
    sound.click()
    assert sound.get_attribute("data-sound") == "on"


def test_new_alarm_ends_the_quiet(site: Site) -> None:
    site.engine.say(status("land_soon", alarms=[alarm(raising_n=1)]))
    site.open("/landing")
    sound = site.page.locator("#sound")
    sound.click()
    site.page.wait_for_function("() => document.getElementById('sound').dataset.sound === 'on'")
    sound.click()
    assert sound.get_attribute("data-sound") == "hushed"
    site.engine.say(status("land_soon", alarms=[alarm(raising_n=1), alarm(raising_n=2)]))
    site.page.wait_for_function("() => document.getElementById('sound').dataset.sound === 'on'")


def test_screen_lock_refused_is_said(site: Site) -> None:
    """Headless Chromium has no screen to keep awake and refuses; so does any phone on plain http."""
    site.open("/landing")
    site.page.evaluate(
        "() => { navigator.wakeLock.request = () => Promise.reject(new DOMException('no', 'NotAllowedError')); }"
    )
    site.page.locator("#awake").click()
    site.page.wait_for_selector("#awake[data-awake=refused]")
    assert site.text("#device-says").startswith("The phone refused to keep the screen on")
    assert "A locked phone stays silent" in site.text("#device-says")


def test_not_secure_page_says_what_to_do(site: Site) -> None:
    site.page.add_init_script("Object.defineProperty(window, 'isSecureContext', {value: false})")
    site.open("/landing")
    assert site.text("#awake") == "Screen may go dark: refused"
    assert "not secure (https)" in site.text("#device-says")


def test_screen_lock_held_is_shown(site: Site) -> None:
    site.page.add_init_script("navigator.wakeLock.request = async () => new EventTarget()")
    site.open("/landing")
    site.page.locator("#awake").click()
    site.page.wait_for_selector("#awake[data-awake=on]")
    assert site.text("#awake") == "Screen stays on"


@pytest.mark.parametrize(
    ("device", "state", "says"),
    [
        ("navigator.vibrate = () => true", "on", "Vibration is on, with the sound."),
        ("navigator.vibrate = () => false", "denied", "The phone refused to vibrate"),
        ("Object.defineProperty(navigator, 'vibrate', {value: undefined})", "none", "This browser can't vibrate"),
        (
            "Object.defineProperty(navigator, 'vibrate', {value: undefined});"
            "Object.defineProperty(window, 'isSecureContext', {value: false})",
            "secure",
            "This page is not secure (https), and the browser refuses to vibrate",
        ),
    ],
)
def test_vibration_says_whether_the_phone_does_it(site: Site, device: str, state: str, says: str) -> None:
    site.page.add_init_script(device)
    site.engine.say(status("holding"))
    site.open("/landing")
    before = site.page.get_attribute("#vibration", "data-vibration")
    assert before == ("off" if "=>" in device else state)
    site.page.locator("#sound").click()
    site.page.wait_for_selector(f"#vibration[data-vibration={state}]")
    assert site.text("#vibration").startswith(says)


def test_vibration_follows_the_pulses_of_the_sound(site: Site) -> None:
    site.page.add_init_script(
        "window.felt = []; navigator.vibrate = (pulses) => window.felt.push(pulses.length / 2) > 0"
    )
    site.engine.say(status("holding"))
    site.open("/landing")
    site.page.locator("#sound").click()
    site.page.wait_for_function("() => window.felt.length === 1")
    site.engine.say(status("land_now"))
    site.page.wait_for_function("() => window.felt.length > 1")
    assert site.page.evaluate("() => window.felt.slice(0, 2)") == [2, 10]  # the test tone is low's, then high's


def test_several_lifters_ask_which(site: Site) -> None:
    site.engine.say(status("holding"), status("look", lifter="dock-7", lifter_name="Dock 7"))
    site.open("/landing", call="look")
    site.page.wait_for_selector(".tile:nth-child(2)")
    assert site.page.locator(".tile-link").first.get_attribute("href") == "/landing?lifter=dock-7"
