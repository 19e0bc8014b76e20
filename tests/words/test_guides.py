"""A guide in another language says what the English one says: same headings, same figures, same tables, the screen's words."""

import re
from pathlib import Path

import pytest

from dashboards.pages.help import HELP, layout
from monitor.words.languages import SOURCE, Speaker, languages, template

CREW = ("reading-the-screens", "cautions", "seal-tests", "planning", "running", "trends")
"""Guides that the screens lead to; what to do at each alarm is made from the alarm table in every language."""

TRANSLATED = sorted(path for path in HELP.glob("*.*.md"))
OTHERS = [language for language in languages() if language != SOURCE]

ON_SCREEN = (
    *(f"headline.{call}" for call in ("land_now", "land_soon", "holding", "not_lifting", "do_not_lift")),
    *(f"release.{answer}" for answer in ("do_not_release", "check_fixed")),
    *(f"state.{state}" for state in ("holding", "losing", "low", "critical", "no_reading", "sensor_fault", "building", "open")),
    *("lost.big", "phone.button.none"),
)  # fmt: skip


def _source(path: Path) -> str:
    return path.with_name(f"{path.stem.partition('.')[0]}.md").read_text(encoding="utf-8")


def _headings(text: str) -> list[int]:
    return [len(marks) for marks in re.findall(r"^(#+) ", text, re.MULTILINE)]


def _numbers(text: str) -> list[str]:
    return sorted(number.replace(",", ".") for number in re.findall(r"\d+(?:[.,]\d+)*", text))


def _tables(text: str) -> list[int]:
    return [line.count("|") for line in text.splitlines() if line.startswith("|")]


def _code(text: str) -> list[str]:
    return sorted(" ".join(one.split()) for one in re.findall(r"`(.*?)`", text, re.DOTALL))


@pytest.mark.parametrize("name", CREW)
def test_crew_has_its_guides_in_spanish(name: str) -> None:
    """A new language is one file of words; its guides may follow."""
    assert (HELP / f"{name}.es.md").exists()


@pytest.mark.parametrize("path", TRANSLATED, ids=lambda path: path.stem)
def test_translated_guide_has_the_headings_numbers_tables_and_links_of_the_english_one(path: Path) -> None:
    said, source = path.read_text(encoding="utf-8"), _source(path)
    assert path.stem.partition(".")[2] in OTHERS
    assert _headings(said) == _headings(source)
    assert _numbers(said) == _numbers(source)
    assert _tables(said) == _tables(source)
    assert re.findall(r"\]\((.*?)\)", said) == re.findall(r"\]\((.*?)\)", source)
    assert _code(said) == _code(source)


@pytest.mark.parametrize("language", [SOURCE, "es"])
def test_guide_to_the_screens_uses_the_screens_own_words(language: str) -> None:
    suffix = "" if language == SOURCE else f".{language}"
    said = " ".join((HELP / f"reading-the-screens{suffix}.md").read_text(encoding="utf-8").split())
    assert [key for key in ON_SCREEN if template(key, language) not in said] == []


def test_viewer_gets_the_guide_of_their_language_with_the_same_anchors() -> None:
    speaker = Speaker(language="es")
    for name in CREW:
        ids = [re.findall(r"id='([^']+)'", str(layout(name, one))) for one in (speaker, Speaker())]
        assert ids[0] == ids[1]
        assert ids[0]
        assert template("help.only_english", "es") not in str(layout(name, speaker))


@pytest.mark.parametrize("language", OTHERS)
def test_guide_without_a_translation_says_so_and_marks_its_language(language: str) -> None:
    shown = str(layout("arithmetic", Speaker(language=language)))
    assert template("help.only_english", language) in shown
    assert f"lang='{SOURCE}'" in shown
    assert template("help.in_english", language) in str(layout("", Speaker(language=language)))
    assert template("help.only_english", SOURCE) not in str(layout("arithmetic", Speaker()))
