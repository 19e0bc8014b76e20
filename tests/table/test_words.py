"""Every message the core can send has its words in every language, and the words keep to what may be said."""

import ast
import re
from pathlib import Path
from string import Formatter

import pytest
from babel.messages.pofile import read_po

from monitor.core.alarm_table import ALARMS, Priority, Role
from monitor.core.alarms import Happening, State
from monitor.core.call import ROWS, Call
from monitor.core.config import Surface
from monitor.core.events import ActionKind
from monitor.core.facts import CircuitState
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.release import Release
from monitor.core.seal_tests import SealTestKind
from monitor.words.english import TABLES, TEMPLATES
from monitor.words.languages import SOURCE, Speaker, is_translated, languages, template
from monitor.words.plural import Plural
from monitor.words.quantities import METRIC, US
from monitor.words.say import say

MONITOR = Path(__file__).parents[2] / "monitor"
EVERY_LANGUAGE = pytest.mark.parametrize("language", languages())
MESSAGE = re.compile(r"(headline|reason|release|circuit|phase|done|refused|about|plan|seal)\.[a-z0-9_]+(\.[a-z0-9_]+)*")
NAMES = {
    "circuit",
    "pads",
    "test",
    "word",
    "about",
    "alarm",
    "lifter",
    "at",
    "level",
    "clock",
    "words",
    "n",
    "id",
    "when",
    "what",
    "who",
    "role",
    "start",
    "end",
    "state",
    "why",
    "allowed",
    "field",
    "found",
    "broker",
    "topic",
    "by",
    "unit",
    "zone",
    "surface",
}


def constants(path: Path) -> set[str]:
    """Every whole string in a module."""
    nodes = ast.walk(ast.parse(path.read_text()))
    return {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}


def patterns(path: Path) -> set[str]:
    """Every message key put together in a module (``f"circuit.{key}"``), as a regular expression."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.JoinedStr) and node.values and isinstance(node.values[0], ast.Constant):
            parts = [re.escape(str(p.value)) if isinstance(p, ast.Constant) else "[a-z_.]+" for p in node.values]
            if re.match(r"(headline|reason|release|circuit|phase|done|refused|alarm|plan|seal)\\\.", parts[0]):
                found.add("".join(parts))
    return found


CORE = sorted((MONITOR / "core").glob("*.py"))


@pytest.mark.parametrize("path", [*CORE, MONITOR / "telling.py"], ids=lambda path: path.stem)
def test_every_message_written_in_a_module_has_words(path: Path) -> None:
    written = {text for text in constants(path) if MESSAGE.fullmatch(text)}
    assert written <= set(TEMPLATES)


@pytest.mark.parametrize("path", CORE, ids=lambda path: path.stem)
def test_every_message_put_together_in_a_module_has_some_words(path: Path) -> None:
    for pattern in patterns(path):
        assert any(re.fullmatch(pattern, key) for key in TEMPLATES), pattern


def test_every_call_phase_and_release_has_words() -> None:
    wanted = {f"headline.{call}" for call in Call}
    wanted |= {f"phase.{phase}" for phase in Phase}
    wanted |= {f"release.{answer}" for answer in Release}
    wanted |= {f"reason.{row.key}" for row in ROWS}
    assert wanted <= set(TEMPLATES)


def test_every_circuit_state_and_fault_has_words() -> None:
    own = {CircuitState.CRITICAL, CircuitState.LOW, CircuitState.BUILDING, CircuitState.OPEN}
    wanted = {f"circuit.{state}" for state in own}
    wanted |= {f"circuit.losing.{level}{more}" for level in ("warning", "needed") for more in ("", ".likely_beyond")}
    wanted |= {f"circuit.holding.{how}" for how in ("too_early", "no_reserve")}
    wanted |= {f"circuit.holding.{how}.{level}" for how in ("beyond", "reserve") for level in ("warning", "needed")}
    wanted |= {"circuit.never", "circuit.no_reading"}
    refusals = ("not_a_number", "not_finite", "out_of_range", "wrong_shape", "not_known")
    wanted |= {f"circuit.fault.{reason}" for reason in (*refusals, "frozen", "gauges_disagree", "gauge_missing")}
    assert wanted <= set(TEMPLATES)


def test_every_alarm_has_words() -> None:
    assert {f"alarm.{rule.key}.{what}" for rule in ALARMS for what in ("says", "do")} <= set(TEMPLATES)


def test_every_answer_has_words() -> None:
    answered_by_kind = ("acknowledge", "reset", "shelve", "unshelve")
    assert {kind.value for kind in ActionKind} >= set(answered_by_kind)
    assert {f"done.{kind}" for kind in answered_by_kind} <= set(TEMPLATES)


def test_every_fixed_word_of_a_record_has_words() -> None:
    wanted = {f"action.{kind}" for kind in ActionKind} | {f"priority.{priority}" for priority in Priority}
    wanted |= {f"ended.{how}" for how in ("released", "parked", "open")}
    wanted |= {f"lift.gap.{why}" for why in ("silence", "restart")}
    wanted |= {f"word.role.{role}" for role in Role} | {f"word.surface.{surface}" for surface in Surface}
    wanted |= {f"seal.{kind}" for kind in SealTestKind}
    assert wanted <= set(TEMPLATES)


def forms(key: str, language: str) -> list[str]:
    """Every form of a template: one, or one for each plural form of the language."""
    return list(dict.fromkeys(template(key, language, count) for count in (*range(30), 100, 1000)))


def asked(words: str) -> set[str]:
    """The values a template asks for."""
    return {name for _, name, _, _ in Formatter().parse(words) if name is not None}


def test_a_key_stands_in_one_table_alone() -> None:
    assert sum(len(table) for table in TABLES) == len(TEMPLATES)


def wanted(key: str) -> set[str]:
    """The values the English of a key asks for."""
    source = TEMPLATES[key]
    return asked(source.other if isinstance(source, Plural) else source)


@EVERY_LANGUAGE
def test_every_language_has_words_made_from_todays_english(language: str) -> None:
    """``python -m tests.translations`` shows what is missing and what went stale."""
    assert [key for key in TEMPLATES if not is_translated(key, language)] == []


@pytest.mark.parametrize("language", [language for language in languages() if language != SOURCE])
def test_no_language_has_words_nothing_asks_for(language: str) -> None:
    with (MONITOR / "words" / f"{language}.po").open("rb") as file:
        known = {message.context for message in read_po(file, locale=language) if message.id}
    assert known - set(TEMPLATES) == set()


@EVERY_LANGUAGE
def test_places_for_values_are_the_englishs(language: str) -> None:
    """A plural form may say its number in a word."""
    for key, source in TEMPLATES.items():
        counts = {name for name in wanted(key) if name.endswith("_n")} if isinstance(source, Plural) else set()
        for words in forms(key, language):
            assert asked(words) | counts == wanted(key), key


@EVERY_LANGUAGE
def test_every_value_asked_for_can_be_said(language: str) -> None:
    for key in TEMPLATES:
        for name in wanted(key):
            assert name.isidentifier(), "fields by name only"
            free = key.startswith(("plan.", "planning.", "fault.", "unit.")) or name in NAMES
            assert free or any(name.endswith(suffix) for suffix in METRIC), (key, name)


def test_both_systems_of_units_say_the_same_values() -> None:
    assert set(METRIC) == set(US)


@EVERY_LANGUAGE
@pytest.mark.parametrize("units", ["metric", "us"])
def test_nothing_known_is_still_said(language: str, units: str) -> None:
    for key in TEMPLATES:
        said = say(Text(key, dict.fromkeys(wanted(key))), Speaker(language, units, language))
        assert "None" not in said, key
        assert said or key == "release.not_attached", key
        assert said.strip() == said, key


BANNED = {
    "en": ("safe", "ok", "okay", "secure", "all clear", "go ahead", "release now", "may release", "can be released"),
    "es": ("seguro", "segura", "a salvo", "ok", "vale", "adelante", "puede soltar", "suelte ya", "se puede soltar"),
}
"""What no screen may say, in each language."""

DENIED = {
    "lift.says_no_more": "This record does not say that the lift was safe.",
    "report.says_no_more": "It is no statement that a lift was or will be safe.",
    "alarm.load_not_all_off.consequence": "A release now would move or drop the panel.",
    "script.awake.secure": "A page's https, not a lift.",
    "script.vibration.secure": "The same.",
}
"""Keys that use such a word to deny it, or of something else, and why."""


@EVERY_LANGUAGE
def test_nothing_ever_says_safe_or_that_release_may_start(language: str) -> None:
    assert BANNED[language], "a new language names the words that it may not say"
    for key in set(TEMPLATES) - set(DENIED):
        for said in forms(key, language):
            found = [word for word in BANNED[language] if re.search(rf"\b{word}\b", said.lower())]
            assert found == [], key


@EVERY_LANGUAGE
def test_text_fits(language: str) -> None:
    for key in TEMPLATES:
        longest = {"headline": 65, "release": 75, "phase": 12}.get(key.partition(".")[0], 250)
        assert all(len(words) <= longest for words in forms(key, language)), key


def test_release_answers_are_the_designs_words() -> None:
    assert say(Text("release.do_not_release")) == "Do not release"
    assert say(Text("release.check_fixed")) == "Weight is off. Is the panel fixed?"
    assert say(Text("release.cannot_tell")) == "Holdwatch can't tell: check by eye that the panel is fixed"
    assert say(Text("release.not_attached")) == ""


# --- the fixed words of the interface (DESIGN §4): hardware and pages rely on them


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (Phase, "idle sealing seal_test lifting carrying landing released parked"),
        (CircuitState, "no_reading sensor_fault critical low losing holding building open"),
        (Call, "land_now no_signal land_soon look holding not_lifting"),
        (Release, "do_not_release check_fixed cannot_tell not_attached"),
        (
            State,
            "normal unacknowledged acknowledged returned_unacknowledged latched_unacknowledged latched_acknowledged",
        ),
        (Happening, "occurs returns acknowledged reset"),
    ],
)
def test_fixed_words(words: type[Call], told: str) -> None:
    assert [word.value for word in words] == told.split()
