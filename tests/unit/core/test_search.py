"""The search for the worst of a move, on functions whose worst is known."""

import math

import numpy as np
import pytest

from monitor.core.factors import Move, marks_between, turns_of
from monitor.core.pads import Floats
from monitor.core.search import worst_over

WHOLE = (0.0, 360.0)


def test_smooth_peak_off_the_grid_is_found_to_rounding() -> None:
    def hill(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return np.exp(-(((tilt_deg - 41.7) / 20) ** 2) - ((turn_deg - 123.4) / 50) ** 2)[:, None]

    found = worst_over(hill, [[0]], [0.0, 90.0], WHOLE)[0]
    assert found is not None
    assert found[1].value == pytest.approx(1.0, abs=1e-12)
    assert found[1].tilt_deg == pytest.approx(41.7, abs=1e-5)
    assert found[1].rotation_deg == pytest.approx(123.4, abs=1e-5)


def test_higher_of_two_all_but_equal_peaks_is_found() -> None:
    def two_hills(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        on_the_grid = np.exp(-(((tilt_deg - 30) / 9) ** 2) - ((turn_deg - 60) / 20) ** 2)
        beside_it = 1.001 * np.exp(-(((tilt_deg - 61.5) / 9) ** 2) - ((turn_deg - 243.75) / 20) ** 2)
        return np.maximum(on_the_grid, beside_it)[:, None]

    found = worst_over(two_hills, [[0]], [0.0, 90.0], WHOLE)[0]
    assert found is not None
    assert found[1].value == pytest.approx(1.001, abs=1e-9)


def test_ridge_that_runs_askew_is_found_to_a_thousandth() -> None:
    def ridge(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return (1.0 - np.abs(tilt_deg - turn_deg / 4 - 3.3) / 90 - (turn_deg - 101) ** 2 / 1.0e5)[:, None]

    found = worst_over(ridge, [[0]], [0.0, 90.0], WHOLE)[0]
    assert found is not None
    assert found[1].value == pytest.approx(1.0, abs=1e-3)


def test_marks_are_hit_exactly() -> None:
    def spike(tilt_deg: Floats, _turn_deg: Floats) -> Floats:
        return np.where(tilt_deg == math.degrees(math.atan(2.0)), 1.0, 0.5)[:, None]

    found = worst_over(spike, [[0]], marks_between(0.0, 90.0, 0.5), (0.0, 0.0))[0]
    assert found is not None
    assert found[1].value == 1.0


def test_each_group_has_its_own_worst_pad() -> None:
    def three_pads(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return np.column_stack([tilt_deg / 90, turn_deg / 360, np.full(tilt_deg.shape, 0.25)])

    first, none, second = worst_over(three_pads, [[2, 0], [], [1]], [0.0, 45.0], (0.0, 180.0))
    assert none is None
    assert first is not None
    assert second is not None
    assert (first[0], first[1].value, first[1].tilt_deg) == (0, 0.5, 45.0)
    assert (second[0], second[1].value, second[1].rotation_deg) == (1, 0.5, 180.0)


@pytest.mark.parametrize("value", [0.0, math.inf])
def test_flat_checks_end(value: float) -> None:
    found = worst_over(lambda tilt, _turn: np.full((len(tilt), 2), value), [[0, 1]], [0.0, 90.0], WHOLE)[0]
    assert found is not None
    assert found[1].value == value


@pytest.mark.parametrize(
    ("turns", "ends"),
    [
        ((0.0, 360.0), (0.0, 360.0)),
        ((350.0, 10.0), (350.0, 370.0)),
        ((-10.0, 10.0), (-10.0, 10.0)),
        ((0.0, 800.0), (0.0, 360.0)),
    ],
)
def test_ends_of_the_rotations(turns: tuple[float, float], ends: tuple[float, float]) -> None:
    assert turns_of(Move(rotation_low_deg=turns[0], rotation_high_deg=turns[1])) == ends


def test_marks_between_the_ends() -> None:
    marks = sorted(set(marks_between(-6.0, 96.0, 0.5)))
    assert marks == pytest.approx([-6.0, 0.0, math.degrees(math.atan(2.0)), 90.0, 96.0])
    assert marks_between(10.0, 20.0, 0.5) == [10.0, 20.0]
