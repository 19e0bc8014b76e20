"""Every line of the threat page has a test, and that test is there."""

import re
from pathlib import Path

TESTS = Path(__file__).parents[1]
PAGE = TESTS.parent / "dashboards" / "help" / "threats.md"


def _rows() -> list[list[str]]:
    lines = [line for line in PAGE.read_text(encoding="utf-8").splitlines() if line.startswith("| ")]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines[2:]]


def test_every_line_names_a_test_that_is_there() -> None:
    there = {
        name for path in TESTS.rglob("test_*.py") for name in re.findall(r"def (test_\w+)", path.read_text("utf-8"))
    }
    named = [re.findall(r"`(test_\w+)`", row[-1]) for row in _rows()]
    assert all(named)
    assert {name for row in named for name in row} - there == set()
