"""What a check asks as the weight grows: straight lines on the cautious side of the truth, met at the planned weight."""

import math

import numpy as np
import pytest

from monitor.core.asked import Asked, most
from monitor.core.pads import Floats

STILL = Asked(per_n=3.0, tilt_deg=90.0)
# 4 sqrt((w + 0)^2 + 300^2), a wind of 300 N at right angles to the weight: 5000 at 1214.5 N
PLANNED_N = math.sqrt(1250.0**2 - 300.0**2)
BLOWN = Asked(per_n=4.0, tilt_deg=90.0, blown=1200.0, planned_n=PLANNED_N, at_planned=5000.0)


def truth(weight_n: float) -> float:
    return 4.0 * math.hypot(weight_n, 300.0)


def test_still_air_is_in_proportion() -> None:
    assert STILL.at(0.0) == 0.0
    assert STILL.at(2.0) == 6.0
    assert STILL.carries_n(6.0) == 2.0
    assert STILL.carries_n(0.0) == 0.0


def test_wind_is_met_at_no_weight_and_at_the_planned_one() -> None:
    for weight_n in (0.0, PLANNED_N):
        assert BLOWN.at(weight_n) == pytest.approx(truth(weight_n))
    assert BLOWN.carries_n(5000.0) == pytest.approx(PLANNED_N)
    assert BLOWN.carries_n(1200.0) == 0.0
    assert BLOWN.carries_n(1199.0) == 0.0


@pytest.mark.parametrize("weight_n", [1.0, 300.0, 1000.0, 1300.0, 5000.0])
def test_elsewhere_it_asks_no_less_than_the_truth(weight_n: float) -> None:
    assert BLOWN.at(weight_n) >= truth(weight_n)
    assert BLOWN.carries_n(truth(weight_n)) <= weight_n
    assert BLOWN.at(BLOWN.carries_n(truth(weight_n))) == pytest.approx(truth(weight_n))


def test_what_cannot_be_balanced_carries_nothing() -> None:
    cannot = Asked(math.inf, 0.0)
    assert cannot.at(0.0) == 0.0
    assert cannot.at(1.0) == math.inf
    assert cannot.carries_n(100.0) == 0.0
    windy = Asked(math.inf, 0.0, blown=5.0, planned_n=10.0, at_planned=math.inf)
    assert windy.at(0.0) == 5.0
    assert windy.at(10.0) == math.inf
    assert windy.carries_n(100.0) == 0.0


@pytest.mark.parametrize(("per_n", "held", "carries_n"), [(0.5, 2.0, 4.0), (1.0, 2.0, 2.0), (0.01, 2.0, 200.0)])
def test_what_asks_little_carries_in_proportion(per_n: float, held: float, carries_n: float) -> None:
    assert Asked(per_n, 0.0).carries_n(held) == pytest.approx(carries_n)


def test_what_asks_nothing_carries_anything() -> None:
    assert Asked(0.0, 0.0).carries_n(1.0) == math.inf
    assert Asked(0.0, 0.0).carries_n(0.0) == math.inf


def factors(tilt_deg: Floats, turn_deg: Floats) -> Floats:
    """Two pads: the first asks most upright, the second at a turn of 90°."""
    upright = 1.0 + np.abs(np.sin(np.radians(tilt_deg)))
    return np.column_stack([2.0 * upright, upright * (1.0 + np.sin(np.radians(turn_deg)))])


def still(tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
    return weight_n * factors(tilt_deg, turn_deg)


def windy(tilt_deg: Floats, turn_deg: Floats, weight_n: float) -> Floats:
    return np.hypot(still(tilt_deg, turn_deg, weight_n), [300.0, 700.0])


def test_most_of_a_move_in_still_air_is_told_pad_by_pad_in_proportion_to_the_weight() -> None:
    found = most(still, None, 1000.0, [[0], [], [1], [0, 1]], [0.0, 90.0], (0.0, 45.0))
    assert found[1] is None
    assert [one and one[0] for one in found] == [0, None, 1, 0]
    for one, per_n in zip(
        (found[0], found[2], found[3]), (4.0, 2.0 * (1.0 + math.sin(math.radians(45.0))), 4.0), strict=True
    ):
        assert one is not None
        assert one[1] == Asked(pytest.approx(per_n), 90.0)


def test_most_of_a_move_with_wind_is_exact_for_the_wind_alone_and_at_the_planned_weight() -> None:
    found = most(still, windy, 1000.0, [[0], [], [0, 1]], [0.0, 90.0], (0.0, 90.0))
    assert found[1] is None
    for one, blown, planned in (
        (found[0], 300.0, math.hypot(4000.0, 300.0)),
        (found[2], 700.0, math.hypot(4000.0, 700.0)),
    ):
        assert one is not None
        assert one[1].at(0.0) == pytest.approx(blown)
        assert one[1].at(1000.0) == pytest.approx(planned)
        assert one[1].per_n == pytest.approx(4.0)
        assert one[1].tilt_deg == pytest.approx(90.0)
    assert found[2] is not None
    assert found[2][0] == 1  # at a turn of 90° the second pad asks as much of the weight, and more of the wind
