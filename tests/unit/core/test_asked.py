"""What a check asks as the weight grows: straight lines on the cautious side of the truth, met at the planned weight."""

import math

import pytest

from monitor.core.asked import Asked

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


def test_what_asks_nothing_carries_anything() -> None:
    assert Asked(0.0, 0.0).carries_n(1.0) == math.inf
    assert Asked(0.0, 0.0).carries_n(0.0) == math.inf
