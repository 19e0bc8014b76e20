"""What the search finds where the grid shows little of it: the top of a ridge, level ground, peaks all but alike."""

import numpy as np
import pytest

from monitor.core.pads import Floats
from monitor.core.search import worst_over


def asked_of(check, tilts_deg, turns_deg):  # type: ignore[no-untyped-def]
    """The worst of one pad, and how many places each look asked for, in looks round one place."""
    looks: list[float] = []

    def watched(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        looks.append(len(tilt_deg) / 49)
        return check(tilt_deg, turn_deg)[:, None]

    [found] = worst_over(watched, [[0]], tilts_deg, turns_deg)
    assert found is not None
    return found[1], looks[1:]


def test_narrow_ridge_that_the_grid_meets_once_is_followed_to_its_top() -> None:
    """It rises from 1 at (30°, 120°) by a tenth each 7.5° of rotation; elsewhere the grid sees less than 0.9."""

    def ridge(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        steps = (turn_deg - 120.0) / 7.5
        off = ((tilt_deg - 30.0) / 3.0 - 0.618 * steps) / np.hypot(1.0, 0.618)
        return np.exp(-((off / 0.2) ** 2)) * (1.0 + 0.1 * steps)

    worst, _ = asked_of(ridge, [24.0, 39.0], (105.0, 150.0))
    assert worst.value == pytest.approx(1.4, rel=1e-3)
    assert (worst.tilt_deg, worst.rotation_deg) == (pytest.approx(30.0 + 4 * 0.618 * 3.0, abs=0.01), 150.0)


def test_level_ground_is_looked_round_no_longer_than_a_hill() -> None:
    worst, looks = asked_of(lambda tilt, _turn: np.ones(len(tilt)), [24.0, 39.0], (105.0, 150.0))
    assert worst.value == 1.0
    assert looks[2:] == [1.0] * 11


def test_of_peaks_alike_those_left_out_are_not_looked_round_again() -> None:
    """Four alike, none of them on the grid: it is told apart after two looks which are."""
    worst, looks = asked_of(
        lambda tilt, turn: 2.0 + np.cos(np.radians(4.0 * (turn - 11.3))) - ((tilt - 31.1) / 50.0) ** 2,
        [0.0, 60.0],
        (0.0, 360.0),
    )
    assert worst.value == pytest.approx(3.0)
    assert looks[2:] == [1.0] * 11


@pytest.mark.parametrize("size", [1.0, 1e-8, 1e8])
def test_two_peaks_all_but_alike_are_told_apart_at_any_size(size: float) -> None:
    """The higher by a hundred thousandth; both are off the grid."""
    tops = ((0.99999, 48.0), (1.0, 141.0))

    def hills(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        two = [high * np.exp(-(((tilt_deg - 31.3) / 9) ** 2) - ((turn_deg - at) / 20) ** 2) for high, at in tops]
        return size * np.max(two, axis=0)

    worst, _ = asked_of(hills, [0.0, 60.0], (0.0, 360.0))
    assert worst.value == pytest.approx(size, rel=1e-9, abs=0.0)
    assert worst.rotation_deg == pytest.approx(141.0, abs=0.01)
