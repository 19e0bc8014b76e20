"""Every message the core can send has its words in every language, and the words keep to what may be said."""

import ast
import re
from pathlib import Path
from string import Formatter

import pytest

from monitor.core.alarm_table import ALARMS
from monitor.core.alarms import Happening, State
from monitor.core.call import ROWS, Call
from monitor.core.events import ActionKind
from monitor.core.facts import CircuitState
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.release import Release
from monitor.words.quantities import METRIC
from monitor.words.say import LANGUAGES, say

MONITOR = Path(__file__).parents[2] / "monitor"
EVERY_LANGUAGE = pytest.mark.parametrize("language", sorted(LANGUAGES))
EVERY_TEMPLATE = pytest.mark.parametrize(
    ("language", "key"), [(language, key) for language, templates in LANGUAGES.items() for key in templates]
)
MESSAGE = re.compile(r"(headline|reason|release|circuit|phase|done|refused|about|plan|seal)\.[a-z0-9_]+(\.[a-z0-9_]+)*")
NAMES = {
    "circuit",
    "about",
    "alarm",
    "lifter",
    "at",
    "level",
}  # said as they are, in reasons, circuits, releases and alarms


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


@EVERY_LANGUAGE
@pytest.mark.parametrize("path", [*CORE, MONITOR / "telling.py"], ids=lambda path: path.stem)
def test_every_message_written_in_a_module_has_words(language: str, path: Path) -> None:
    written = {text for text in constants(path) if MESSAGE.fullmatch(text)}
    assert written <= set(LANGUAGES[language])


@EVERY_LANGUAGE
@pytest.mark.parametrize("path", CORE, ids=lambda path: path.stem)
def test_every_message_put_together_in_a_module_has_some_words(language: str, path: Path) -> None:
    for pattern in patterns(path):
        assert any(re.fullmatch(pattern, key) for key in LANGUAGES[language]), pattern


@EVERY_LANGUAGE
def test_every_call_phase_and_release_has_words(language: str) -> None:
    wanted = {f"headline.{call}" for call in Call}
    wanted |= {f"phase.{phase}" for phase in Phase}
    wanted |= {f"release.{answer}" for answer in Release}
    wanted |= {f"reason.{row.key}" for row in ROWS}
    assert wanted <= set(LANGUAGES[language])


@EVERY_LANGUAGE
def test_every_circuit_state_and_fault_has_words(language: str) -> None:
    own = {CircuitState.CRITICAL, CircuitState.LOW, CircuitState.BUILDING, CircuitState.OPEN}
    wanted = {f"circuit.{state}" for state in own}
    wanted |= {f"circuit.losing.{level}{more}" for level in ("warning", "needed") for more in ("", ".likely_beyond")}
    wanted |= {f"circuit.holding.{how}" for how in ("too_early", "no_reserve", "beyond", "reserve")}
    wanted |= {"circuit.never", "circuit.no_reading"}
    refusals = ("not_a_number", "not_finite", "out_of_range", "wrong_shape", "not_known")
    wanted |= {f"circuit.fault.{reason}" for reason in (*refusals, "frozen", "gauges_disagree")}
    assert wanted <= set(LANGUAGES[language])


@EVERY_LANGUAGE
def test_every_alarm_has_words(language: str) -> None:
    assert {f"alarm.{rule.key}.{what}" for rule in ALARMS for what in ("says", "do")} <= set(LANGUAGES[language])


@EVERY_LANGUAGE
def test_every_answer_has_words(language: str) -> None:
    answered_by_kind = ("acknowledge", "reset", "shelve", "unshelve")
    assert {kind.value for kind in ActionKind} >= set(answered_by_kind)
    assert {f"done.{kind}" for kind in answered_by_kind} <= set(LANGUAGES[language])


def test_languages_say_the_same_things() -> None:
    first, *others = LANGUAGES.values()
    for other in others:
        assert set(other) == set(first)


@EVERY_TEMPLATE
def test_every_value_asked_for_can_be_said(language: str, key: str) -> None:
    asked = [name for _, name, _, _ in Formatter().parse(LANGUAGES[language][key]) if name is not None]
    for name in asked:
        assert name.isidentifier(), "fields by name only"
        assert key.startswith("plan.") or name in NAMES or any(name.endswith(suffix) for suffix in METRIC), name


@EVERY_TEMPLATE
def test_nothing_known_is_still_said(language: str, key: str) -> None:
    template = LANGUAGES[language][key]
    asked = [name for _, name, _, _ in Formatter().parse(template) if name]
    said = say(Text(key, dict.fromkeys(asked)), language)
    assert "None" not in said
    assert said or key == "release.not_attached"
    assert said.strip() == said


@EVERY_TEMPLATE
def test_nothing_ever_says_safe_or_that_release_may_start(language: str, key: str) -> None:
    said = LANGUAGES[language][key].lower()
    for word in (
        "safe",
        "ok",
        "okay",
        "secure",
        "all clear",
        "go ahead",
        "release now",
        "may release",
        "can be released",
    ):
        assert not re.search(rf"\b{word}\b", said), word


@EVERY_TEMPLATE
def test_text_fits(language: str, key: str) -> None:
    longest = {"headline": 65, "release": 75, "phase": 12}.get(key.partition(".")[0], 250)
    assert len(LANGUAGES[language][key]) <= longest


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
