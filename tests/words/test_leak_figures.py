"""The leak guide's tables are made of what the benchmark counted, nothing typed in."""

import json
from pathlib import Path

import numpy as np
import pytest

from tests.benchmarks import leak_guide
from tests.benchmarks.leak import ALL, COUNTED, for_guide, kept, version
from tests.benchmarks.leak_guide import bold_if, filled

CELL = ALL[0]
GUIDE = (Path(__file__).parents[2] / "dashboards/help/leak-and-time.md").read_text()
PIECES = [json.loads(line) for line in COUNTED.read_text().splitlines()]
VERSIONS = {one["version"] for one in PIECES}


def cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.strip("|").split("|")]


def test_counted_pieces_are_of_one_estimator() -> None:
    assert len(VERSIONS) == 1


def test_guide_tells_what_was_counted_to_the_letter() -> None:
    (counted,) = VERSIONS
    assert filled(GUIDE, for_guide(kept(COUNTED, counted))) == GUIDE


def test_guide_names_the_estimator_counted_and_every_seed() -> None:
    seeds = {str(one["key"][2]) for one in PIECES}
    assert [name for name in (*VERSIONS, *seeds) if name not in GUIDE] == []


def test_guide_says_so_when_the_estimator_was_changed_since() -> None:
    assert ("**The estimator was changed since**" in GUIDE) == (version() not in VERSIONS)


def test_every_line_of_a_table_has_as_many_cells_as_headings() -> None:
    (version,) = VERSIONS
    tables = for_guide(kept(COUNTED, version))
    assert tables
    for table in tables:
        heads, _, *lines = table.splitlines()
        assert {len(cells(line)) for line in lines} == {len(cells(heads))}


def sudden_of(losing_s: float) -> np.ndarray:
    """Two leaks of 1 kPa/min in a fine cell: losing, a CUSUM after 5 s, the estimate, four others."""
    return np.array([[1.0, losing_s, 5.0, 9.0, 40.0, np.nan, 38.0, 24.0]] * 2)


def test_what_misses_the_wanted_figure_is_bold_and_what_never_came_says_so() -> None:
    within, beyond, never = (
        cells(leak_guide.sudden({CELL: sudden_of(losing_s)}).splitlines()[2]) for losing_s in (10.0, 10.1, np.nan)
    )
    assert within == [str(CELL), "1", "2", "10.0", "10.0", "9.0", within[6], "40.0", "never", "38.0", "24.0"]
    assert beyond[3] == "**10.1**"
    assert never[3] == "**never**"


def test_lifts_in_order_called_losing_are_bold_beyond_one_in_two_hundred() -> None:
    rows = [["drift", "ambient", False, int(n == 0), 0] for n in range(200)]
    told = [cells(leak_guide.orderly({CELL: some}).splitlines()[-1])[2] for some in (rows, rows[:199])]
    assert told == ["1", "**1**"]
    assert bold_if(False, "x") == "x"


def test_table_that_the_guide_lacks_is_no_table_of_it() -> None:
    with pytest.raises(ValueError, match="has 0 tables headed"):
        filled("| a |\n| --- |\n| 1 |\n", ["| b |\n| --- |\n| 2 |"])


def test_only_the_table_with_the_same_headings_is_made_anew() -> None:
    text = "Before\n\n| a |\n| --- |\n| 1 |\n\n| b |\n| --- |\n| 1 |\n| 1 |\n\nAfter\n"
    assert (
        filled(text, ["| b |\n| --- |\n| 2 |"]) == "Before\n\n| a |\n| --- |\n| 1 |\n\n| b |\n| --- |\n| 2 |\n\nAfter\n"
    )
