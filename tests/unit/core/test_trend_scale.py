"""The fit of a trend at any size of its figure, beside wild lifts, and at its least: three lifts, a step at the second."""

import numpy as np
import pytest

from monitor.core import trends
from monitor.core.comparable import Effects

WIDENED = 1.35**2


def regress(days, values, *, steps=(), columns=None, effects=None, first=0):
    return trends._regress(days, values, steps, columns, effects, first)


def stepped(n=60):
    """A line of 0.03 a day with even noise of 0.1, and a step of 1 half way."""
    days = np.arange(n, dtype=float) - (n - 1)
    noise = np.linspace(-0.1, 0.1, n)
    np.random.default_rng(3).shuffle(noise)
    return days, 3.0 + 0.03 * days + noise - (np.arange(n) < n // 2)


@pytest.mark.parametrize("size", [1e-4, 1e-2, 1e2, 1e4])
def test_figure_in_another_unit_has_the_same_trend_in_that_unit(size):
    days, values = stepped()
    plain, made = (regress(days, one, steps=[30]) for one in (values, size * values))
    assert (made.level / size, made.slope / size) == pytest.approx((plain.level, plain.slope), rel=1e-5)
    assert made.cov / size**2 == pytest.approx(plain.cov, rel=1e-5)


@pytest.mark.parametrize("size", [1e-4, 1.0, 1e4])
def test_figure_whose_scatter_grows_with_it_does_so_at_any_size(size):
    """From 1 to 20 in 60 lifts, a tenth of it scatter: the last scatters as much more than the first."""
    base = size * np.exp(np.linspace(0.0, 3.0, 60))
    values = base * (1.0 + 0.1 * np.random.default_rng(3).standard_normal(60))
    spread = trends._spread_of(values, base, size)
    assert spread[-1] / spread[0] == pytest.approx(np.exp(3.0))


def test_two_wild_lifts_in_five_move_no_level():
    """They come so regularly that lifts which follow each other differ by as much."""
    values = np.tile([1.0, 6.0, 1.0, 6.0, 1.0], 10) + 0.01 * np.random.default_rng(5).standard_normal(50)
    assert regress(np.arange(50) - 49.0, values).level == pytest.approx(1.0, abs=0.05)


def test_bounds_of_three_lifts_are_those_of_a_mean_with_one_degree_of_freedom_to_spare():
    """1, 2 and 3: squares of 2 in all, one degree left beside level and slope, three lifts to the mean: 2/3, widened."""
    made = regress(np.array([-2.0, -1.0, 0.0]), np.array([1.0, 2.0, 3.0]))
    assert made.level == pytest.approx(2.0)
    assert made.cov[0, 0] == pytest.approx(2.0 / 3.0 * WIDENED)


@pytest.mark.parametrize(("step", "fitted_n"), [(9, 2), (10, 2), (11, 3), (59, 3), (60, 2)])
def test_step_is_fitted_from_the_second_lift_to_the_last(step, fitted_n):
    days, values = stepped()
    assert regress(days, values, steps=[step], first=10).freedom == 50 - fitted_n


@pytest.mark.parametrize("always", [1.0, -0.5])
def test_condition_that_never_changed_says_nothing_of_the_bounds(always):
    days, values = stepped()
    plain = regress(days, values)
    made = regress(days, values, columns=np.full((60, 1), always), effects=Effects(np.zeros(1), np.full(1, 0.5)))
    assert (made.level, made.slope) == pytest.approx((plain.level, plain.slope))
    assert made.cov == pytest.approx(plain.cov)
