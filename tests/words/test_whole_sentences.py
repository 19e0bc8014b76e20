"""Words are whole sentences: what is put into a sentence is a value, or stands apart by a mark, in every language.

A sentence put together of pieces can't be translated: word order, case and gender belong to the whole.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.core.entry_fault import FAULTS, Fault
from monitor.words.english import TEMPLATES
from monitor.words.languages import languages, template

ROOT = Path(__file__).parents[2]
MODULES = sorted([*(ROOT / "dashboards").rglob("*.py"), *(ROOT / "monitor").rglob("*.py")])
SAYING = {"say", "say_text", "say_told", "told", "named", "words", "name", "stood"}
"""What makes words: functions and methods by their names."""

SPEAKING = {"say", "words", "self"}
"""Of these, what takes a key and the values by name."""

APART = r"(?:^|[(:;,.] ?){%s}(?:$|[):;,.]| \()"
"""Between marks, or at an end: a label, an item of a list, a sentence of its own."""


def named(call: ast.Call) -> str:
    return call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")


def is_said(value: ast.AST, said: set[str]) -> bool:
    """Whether words are made in an expression, or it takes a name that holds some."""
    return any(
        (isinstance(node, ast.Call) and named(node) in SAYING) or (isinstance(node, ast.Name) and node.id in said)
        for node in ast.walk(value)
    )


def names_of_words(function: ast.AST) -> set[str]:
    """Names that a function gives to words."""
    said: set[str] = set()
    for _ in range(2):  # a name may be given to what another one holds
        for node in ast.walk(function):
            if isinstance(node, ast.Assign) and is_said(node.value, said):
                said |= {part.id for target in node.targets for part in ast.walk(target) if isinstance(part, ast.Name)}
    return said - {"voice", "words"}


def keys(asked: ast.AST) -> Iterator[str]:
    """Templates a call may ask for, by the texts in its first argument."""
    if isinstance(asked, ast.JoinedStr):
        parts = [re.escape(str(part.value)) if isinstance(part, ast.Constant) else "[a-z_.]+" for part in asked.values]
        pattern = "(figures.)?" + "".join(parts)
        yield from (key for key in TEMPLATES if re.fullmatch(pattern, key))
        return
    for node in ast.walk(asked):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from (key for key in (node.value, f"figures.{node.value}") if key in TEMPLATES)


def places_of_words() -> set[tuple[str, str]]:
    """Every template with a place that takes other words, and that place."""
    found = set()
    for path in MODULES:
        for function in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(function, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            calls = [node for node in ast.walk(function) if isinstance(node, ast.Call) and named(node) in SPEAKING]
            said = names_of_words(function) if calls else set()
            for call in calls:
                if call.args:
                    places = [one.arg for one in call.keywords if one.arg and is_said(one.value, said)]
                    found |= {(key, place) for key in keys(call.args[0]) for place in places}
    return found


PLACES = places_of_words()


def test_places_that_take_words_are_found() -> None:
    """The look-out itself works: these are known."""
    assert {("lift.seal_test", "what"), ("planning.fault_at", "place"), ("figures.frequent.value", "alarm")} <= PLACES


@pytest.mark.parametrize("language", languages())
def test_words_put_into_a_sentence_stand_apart_in_it(language: str) -> None:
    glued = [
        f"{key}, {place}: {words}"
        for key, place in sorted(PLACES - {("report.at", "n")})  # a number, or a dash
        for words in {template(key, language, count) for count in (1, 2)}
        if f"{{{place}}}" in words and not re.search(APART % place, words)
    ]
    assert glued == []


@pytest.mark.parametrize("path", sorted((ROOT / "dashboards" / "assets").glob("*.js")), ids=lambda path: path.stem)
def test_no_script_puts_words_together(path: Path) -> None:
    """A script says words as they came; a list of whole sentences it may join."""
    script = path.read_text(encoding="utf-8")
    assert re.findall(r"`[^`]*\$\{words\b[^`]*`|\bwords(?:\.\w+|\[[^\]]*\]) \+|\+ words\b", script) == []


@pytest.mark.parametrize("key", FAULTS)
def test_every_fault_of_a_plan_is_a_sentence_that_is_one_line_too(key: str) -> None:
    assert re.fullmatch(r"It is [^;]+; it must .+\.", FAULTS[key])
    places = dict.fromkeys(re.findall(r"{(\w+)}", FAULTS[key]), "9")
    assert str(Fault("weight", key, places)) == "weight is " + FAULTS[key].format(**places).removeprefix("It is ")
