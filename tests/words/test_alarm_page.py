"""The guide's list of alarms is the table, row by row."""

from collections.abc import Iterator
from typing import Any

import pytest

from dashboards.pages.help import HELP, layout
from monitor.core.alarm_acts import NEVER_SET_ASIDE
from monitor.core.alarm_table import ALARMS, AlarmRule, priority
from monitor.words.alarm_page import alarm_page
from monitor.words.alarm_page import rows as alarm_rows
from monitor.words.languages import ENGLISH

EVERY = pytest.mark.parametrize("rule", ALARMS, ids=lambda rule: rule.key)


def parts_of(component: Any) -> Iterator[Any]:
    """A component and everything inside it, in the order it is read."""
    yield component
    children = getattr(component, "children", None)
    for child in children if isinstance(children, list | tuple) else [children] if children is not None else []:
        yield from parts_of(child)


def rows_by_alarm() -> dict[str, dict[str, str]]:
    """What the page says of each alarm: by its key, each row's name and words."""
    found: dict[str, dict[str, str]] = {}
    key = ""
    for part in parts_of(layout("alarms", ENGLISH)):
        kind = type(part).__name__
        if kind == "H2":
            key = part.id
            assert key not in found, f"{key} is listed twice"
            found[key] = {}
        elif kind == "Tr":
            name, said = part.children
            found[key][name.children] = said.children
    return found


ROWS = rows_by_alarm()


def test_page_lists_every_alarm_and_no_other_in_the_tables_order() -> None:
    assert list(ROWS) == [rule.key for rule in ALARMS]


@EVERY
def test_page_says_what_the_table_says(rule: AlarmRule) -> None:
    row = ROWS[rule.key]
    assert row["Says"] == rule.says
    assert row["Do"] == rule.do
    assert row["Cause"] == rule.cause
    assert row["Consequence"] == rule.consequence


@EVERY
def test_page_says_who_acts_and_how_urgent_it_is(rule: AlarmRule) -> None:
    row = ROWS[rule.key]
    assert row["Priority"] == priority(rule).value
    assert row["Who acts"] == rule.who_acts.value
    assert {phase.lower().replace(" ", "_") for phase in row["Watched in"].split(", ")} == {
        p.value for p in rule.armed_in
    }


def test_guide_in_the_repository_is_the_table() -> None:
    # Make it anew with: python -m monitor.words.alarm_page > dashboards/help/alarms.md
    assert (HELP / "alarms.md").read_text(encoding="utf-8") == alarm_page()


@EVERY
def test_guide_says_delays_and_what_may_be_set_aside(rule: AlarmRule) -> None:
    row = alarm_rows(rule)
    assert f"{rule.clear_after_s:g} s" in row["Clear"]
    assert row["Raised"].startswith(f"after {rule.raise_after_s:g} s" if rule.raise_after_s else "at once")
    assert ("never" in row["Set aside"]) is (rule.key in NEVER_SET_ASIDE)
    assert ("Suppressed in" in row) is bool(rule.suppressed_in)


def test_guides_lead_to_the_list() -> None:
    assert "(/help/alarms)" in (HELP / "reading-the-screens.md").read_text(encoding="utf-8")
    assert "/help/alarms" in {getattr(part, "href", None) for part in parts_of(layout("", ENGLISH))}
