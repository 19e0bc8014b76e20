"""Every sentence a live page may say has room on every screen, in every language, with the longest values it may have."""

from collections.abc import Iterator
from contextlib import ExitStack
from itertools import cycle, islice, product
from string import Formatter
from typing import Any

import pytest
from playwright.sync_api import Browser, Page

from monitor.core.alarm_table import ALARMS
from monitor.core.messages import Value
from monitor.core.release import Release
from monitor.words.english import HEADLINES, REASONS, RELEASES, TEMPLATES
from monitor.words.languages import languages, template
from monitor.words.plural import Plural
from tests.page.conftest import Site, window
from tests.page.in_page import BELOW_THE_FOLD, LINES_N, OVERFLOWS, OVERLAPS, SHOWS
from tests.page.scenes import ALARMS as ALARMS_SHOWN
from tests.page.scenes import MIXED
from tests.page.serving import LAPTOP, PHONE, TABLET, WIDE
from tests.page.statuses import alarm, circuit, status, told, with_circuits

pytestmark = pytest.mark.browser

NAMES: dict[str, Value] = {
    "circuit": "B", "lifter": "Tower crane 2", "at": "ground", "about": "B", "held_s": 3540.0, "n": 12.0, "clock": "21:18:21",
}  # fmt: skip
LONGEST: dict[str, float] = {
    "_kpa_per_min": 12.34, "_kpa": 61.2, "_kg": 1234.0, "_v": 24.6, "_m_s": 12.3, "_deg": 135.0, "_m": 123.0, "_ratio": 1.23,
    "_factor": 12.3, "_percent": 100.0, "_n": 12.0, "_s": 3540.0,
}  # fmt: skip
STATES = {"losing": "losing", "low": "low", "critical": "critical", "building": "building", "open": "open",
          "fault": "sensor_fault", "never": "no_reading", "no_reading": "no_reading"}  # fmt: skip
LAST = {"name"}
"""A label, not a sentence: ``circuit.name``."""


def values(key: str) -> dict[str, Value]:
    """For every place of a template a value that takes much room."""
    source = TEMPLATES[key]
    words = source.other if isinstance(source, Plural) else source
    places = {name for _, name, _, _ in Formatter().parse(words) if name}
    return {
        name: NAMES.get(name, next((v for end, v in LONGEST.items() if name.endswith(end)), "B")) for name in places
    }


def said_of_a_circuit(key: str) -> dict[str, Any]:
    """A circuit in the state a sentence belongs to."""
    return circuit(STATES.get(key.split(".")[1], "holding"), **told("words", key, **values(key)))


def statuses() -> Iterator[dict[str, Any]]:
    """Statuses that say, between them, every headline, reason, release answer, circuit and alarm there is."""
    circuits = [key for key in TEMPLATES if key.startswith("circuit.") and key.split(".")[1] not in LAST]
    answers = [answer for answer in Release if RELEASES[f"release.{answer}"]]
    because = [key for key in RELEASES if key.partition(".")[2] not in set(Release)]
    most = max(len(REASONS), len(HEADLINES), len(circuits), len(because), len(ALARMS))
    rows = zip(
        *(islice(cycle(some), most) for some in (HEADLINES, REASONS, answers, because, circuits, ALARMS)), strict=True
    )
    for n, (headline, reason, answer, why, one, rule) in enumerate(rows):
        other = circuits[(n + 1) % len(circuits)]
        raised = alarm(
            raising=f"dock-6/B/{rule.key}/{n}",
            key=rule.key,
            **told("words", f"alarm.{rule.key}.says", **values(f"alarm.{rule.key}.says")),
            **told("do", f"alarm.{rule.key}.do", **values(f"alarm.{rule.key}.do")),
        )
        yield status(
            "land_now",
            **told("headline", headline, **values(headline)),
            **told("reason", reason, **values(reason)),
            **told("release_words", f"release.{answer}"),
            **told("release_reason", why, **values(why)),
            release=answer.value,
            circuits={"A": said_of_a_circuit(one), "B": said_of_a_circuit(other)},
            alarms=[raised],
            lifter_name=f"Dock {n}",
        )


def test_every_table_is_walked() -> None:
    """The walk itself leaves nothing out."""
    spoken = [one for said in statuses() for one in (said["headline_text"]["key"], said["reason_text"]["key"])]
    assert set(spoken) == set(HEADLINES) | set(REASONS)
    circuits = {one["text"]["key"] for said in statuses() for one in said["circuits"].values()}
    assert circuits == {key for key in TEMPLATES if key.startswith("circuit.")} - {"circuit.name"}
    assert {said["alarms"][0]["key"] for said in statuses()} == {rule.key for rule in ALARMS}


@pytest.mark.parametrize("language", languages())
def test_every_sentence_has_room_on_every_screen(site: Site, browser: Browser, language: str) -> None:
    with ExitStack() as stack:
        pages: list[tuple[str, Page]] = []
        for size, path in ((WIDE, "/"), (LAPTOP, "/"), (TABLET, "/"), (PHONE, "/"), (PHONE, "/landing")):
            context = stack.enter_context(window(browser, size))
            context.add_cookies([{"name": "holdwatch_language", "value": language, "url": site.served.url}])
            page = context.new_page()
            page.goto(site.served.url + path)
            page.wait_for_function(SHOWS, arg="holding")
            page.evaluate("() => document.fonts.ready.then(() => true)")
            pages.append((f"{size[0]} {path}", page))
        faults = []
        for said in statuses():
            site.engine.say(said)
            for name, page in pages:
                page.wait_for_function("name => document.title.endsWith(` · ${name}`)", arg=said["lifter_name"])
                found = page.evaluate(OVERFLOWS) + page.evaluate(OVERLAPS)
                if not name.startswith(str(PHONE[0])):
                    found += page.evaluate(BELOW_THE_FOLD)
                if found:
                    keys = [said["headline_text"]["key"], said["reason_text"]["key"]]
                    faults.append((name, *keys, *(one["text"]["key"] for one in said["circuits"].values()), found))
        assert faults == []


def beside_the_longest_answer() -> Iterator[dict[str, Any]]:
    """Every headline beside the longest release answer, over three circuits and over six of every state."""
    for n, (headline, count) in enumerate(product(HEADLINES, (3, 6))):
        silent = headline in {"headline.no_signal", "headline.read_the_gauge"}
        reason = "reason.silent" if silent else "reason.early_under_landing"
        said = status(
            "land_now",
            **told("headline", headline, **values(headline)),
            **told("reason", reason, **values(reason)),
            **told("release_words", "release.cannot_tell"),
            **told("release_reason", "release.coarse"),
            release="cannot_tell",
            alarms=ALARMS_SHOWN,
            lifter_name=f"Dock {n}",
        )
        yield with_circuits(said, count) if count == 3 else said | {"circuits": MIXED}


@pytest.mark.parametrize("language", languages())
def test_every_headline_has_two_lines_and_room_beside_the_longest_answer(
    site: Site, browser: Browser, language: str
) -> None:
    """On two lines the call keeps its size for 5 m (``test_ground``)."""
    with ExitStack() as stack:
        pages = [stack.enter_context(window(browser, size)).new_page() for size in (WIDE, LAPTOP)]
        for page in pages:
            page.context.add_cookies([{"name": "holdwatch_language", "value": language, "url": site.served.url}])
            page.goto(site.served.url)
            page.wait_for_function(SHOWS, arg="holding")
        for said in beside_the_longest_answer():
            site.engine.say(said)
            for page in pages:
                page.wait_for_function("name => document.title.endsWith(` · ${name}`)", arg=said["lifter_name"])
                what = (said["headline_text"]["key"], len(said["circuits"]))
                assert page.eval_on_selector("#call-words", LINES_N) <= 2, what
                assert page.evaluate(BELOW_THE_FOLD) + page.evaluate(OVERLAPS) == [], what


ANSWERS = ("done.", "refused.", "access.", "script.act.")
BOX = """([id, words]) => {
  const place = document.getElementById(id) ?? document.body.appendChild(Object.assign(document.createElement("p"), { id }));
  place.textContent = words;
  place.hidden = false;
  const box = place.getBoundingClientRect();
  place.hidden = true;
  return box.left >= -1 && box.right <= innerWidth + 1 && box.top >= -1 && box.bottom <= innerHeight + 1;
}"""


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("size", [LAPTOP, PHONE], ids=str)
def test_every_answer_and_explanation_has_room(
    site: Site, browser: Browser, size: tuple[int, int], language: str
) -> None:
    with window(browser, size) as context:
        page = context.new_page()
        page.goto(site.served.url + "/landing")
        page.wait_for_function(SHOWS, arg="holding")
        keys = {"answer": ANSWERS, "tip": ("script.tip.", *(f"alarm.{rule.key}.do" for rule in ALARMS))}
        cut = [
            key
            for place, starts in keys.items()
            for key in TEMPLATES
            if key.startswith(starts) and not page.evaluate(BOX, [place, template(key, language)])
        ]
        assert cut == []


DEVICE = {"sound": "script.sound.", "awake": "script.awake.", "vibration": "script.vibration.", "look": "script.look."}
"""Where the landing page tells what this phone does, and the words it may tell there."""


@pytest.mark.parametrize("language", languages())
def test_everything_told_of_the_phone_itself_has_room(site: Site, browser: Browser, language: str) -> None:
    with window(browser, PHONE) as context:
        page = context.new_page()
        page.goto(site.served.url + "/landing")
        page.wait_for_function(SHOWS, arg="holding")
        for place, start in DEVICE.items():
            for key in (key for key in TEMPLATES if key.startswith(start)):
                page.evaluate(
                    "([id, words]) => { document.getElementById(id).textContent = words; }",
                    [place, template(key, language)],
                )
                assert page.evaluate(OVERFLOWS) == [], key
