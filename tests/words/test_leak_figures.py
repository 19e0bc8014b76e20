"""The leak guide's tables are made of what the benchmark counted, nothing typed in."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import quad

from monitor.core.warning_time import growing_time_s, laminar_distance_kpa, orifice_distance_kpa
from tests.benchmarks import leak_guide
from tests.benchmarks.leak import ALL, COUNTED, for_guide, kept, version
from tests.benchmarks.leak_guide import bold_if, filled
from tests.benchmarks.leak_lifts import Cell
from tests.benchmarks.leak_limits import KEPT, slope_sd

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


def told(*words: str) -> list[float]:
    """The numbers that stand in the guide where ``…`` does in these words, its line breaks aside."""
    pattern = r"\s+".join(re.escape(word) for word in " ".join(words).split()).replace("…", r"([\d,.]*\d)")
    found = re.search(pattern, GUIDE)
    assert found is not None, pattern
    return [float(number.replace(",", "")) for number in found.groups()]


def test_worked_times_are_those_of_the_closed_forms() -> None:
    rate = 0.0202
    to_30, line_30, to_60, line_60 = told(
        "From 80 kPa, at 101.325 kPa outside and 0.0202 kPa/s, an orifice leads to 30 kPa in … s (… by a straight line),",
        "seepage to 60 kPa in … s (…).",
    )
    assert to_30 == round(orifice_distance_kpa(80.0, 30.0, ambient_kpa=101.325) / rate)
    assert to_60 == round(laminar_distance_kpa(80.0, 60.0, ambient_kpa=101.325) / rate)
    assert (line_30, line_60) == (round(50.0 / rate), round(20.0 / rate))
    steady, doubling = told("At 0.005 kPa/s 15 kPa last for … s; if the leak doubles every 120 s, for ….")
    assert steady == 15.0 / 0.005
    assert doubling == round(growing_time_s(15.0, 0.005, math.log(2.0) / 120.0))


def grown_kpa(time_s: float, rate: float, growth: float, bend: float) -> float:
    """What a rate of the guide's family covers, by quadrature."""
    return float(quad(lambda t: rate * (1.0 + bend * growth * t) ** (1.0 / bend), 0.0, time_s)[0])


@pytest.mark.parametrize("bend", [1.0, 0.5, 0.1, -1.0])
def test_guides_closed_forms_of_growth_cover_the_distance(bend: float) -> None:
    distance_kpa, rate, growth = 12.0, 0.02, 0.004
    ratio = growth * distance_kpa / rate
    if bend > 0.0:
        time_s = ((1.0 + (1.0 + bend) * ratio) ** (bend / (1.0 + bend)) - 1.0) / (bend * growth)
    else:
        time_s = (1.0 - math.exp(-ratio)) / growth
    assert grown_kpa(time_s, rate, growth, bend) == pytest.approx(distance_kpa)


def test_guides_least_errors_are_those_of_the_bound() -> None:
    fine, coarse, later = told(
        "read five times a second tells a leak to … kPa/min after half a minute; one of 0.3 kPa and 1 kPa",
        "read once a second to … kPa/min, and to … after two.",
    )
    for found, cell, age_s in (
        (fine, Cell(0.05, 0.1, 5.0), 30.0),
        (coarse, Cell(0.3, 1.0, 1.0), 30.0),
        (later, Cell(0.3, 1.0, 1.0), 120.0),
    ):
        assert found == pytest.approx(60.0 * slope_sd(cell, age_s) * math.sqrt(KEPT), rel=0.1)
