"""The fit of a trend against least squares (numpy), Student's t (scipy) and values worked out by hand."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from monitor.core import trends
from monitor.core.comparable import Effects
from monitor.core.trends import DAY_S

NOW = 1_764_000_000.0
WIDENED = 1.35**2


def even_noise(n, size=0.1, seed=3):
    """Noise spread evenly from ``-size`` to ``size``, in no order: none of it is odd."""
    noise = np.linspace(-size, size, n)
    np.random.default_rng(seed).shuffle(noise)
    return noise


def line(n=60, level=3.0, per_day=0.03, size=0.1):
    days = np.arange(n, dtype=float) - (n - 1)
    return days, level + per_day * days + even_noise(n, size)


def least_squares(columns, values, own_n=2):
    """Coefficients and covariance of ordinary least squares, from the normal equations."""
    x = np.column_stack(columns)
    theta, *_ = np.linalg.lstsq(x, values, rcond=None)
    left = values - x @ theta
    return theta, np.linalg.inv(x.T @ x) * (left @ left) / (len(values) - own_n), left


def regress(days, values, *, steps=(), columns=None, effects=None, first=0):
    return trends._regress(days, values, steps, columns, effects, first)


def test_line_without_odd_lifts_is_that_of_least_squares_with_wider_bounds():
    days, values = line()
    made = regress(days, values)
    theta, cov, left = least_squares([np.ones(60), days], values)
    assert (made.level, made.slope) == pytest.approx(tuple(theta), rel=1e-5)
    cov = cov * WIDENED
    cov[1, 1] += (0.1 * theta[1]) ** 2  # wear may change by a tenth
    assert made.cov == pytest.approx(cov, rel=1e-3)
    assert made.scatter == pytest.approx(1.4826 * np.median(np.abs(left - np.median(left))), rel=1e-3)
    assert (made.freedom, made.first, made.has_slope) == (58.0, 0, True)


def test_only_lifts_from_the_first_on_are_fitted():
    days, values = line()
    values[:20] += 9.0
    made = regress(days, values, first=20)
    theta, *_ = least_squares([np.ones(40), days[20:]], values[20:])
    assert (made.level, made.slope) == pytest.approx(tuple(theta), rel=1e-5)
    assert (made.first, made.freedom) == (20, 38.0)


@pytest.mark.parametrize(
    ("steps", "first", "counts"), [([30], 0, True), ([30], 10, True), ([30], 30, False), ([10, 60], 10, False)]
)
def test_step_on_the_way_is_fitted_and_the_level_is_that_of_now(steps, first, counts):
    days, values = line()
    if counts:
        values[:30] -= 1.0
    made = regress(days, values, steps=steps, first=first)
    columns = [np.ones(60 - first), days[first:]]
    if counts:
        columns.append(-(np.arange(60 - first) < 30 - first).astype(float))
    theta, cov, _ = least_squares(columns, values[first:], len(columns))
    assert (made.level, made.slope) == pytest.approx(tuple(theta[:2]), rel=2e-3)
    assert made.freedom == 60 - first - len(columns)
    assert made.cov[0, 0] == pytest.approx(cov[0, 0] * WIDENED, rel=1e-3 if counts else 0.2)


@pytest.mark.parametrize(("sd", "fitted"), [(1e3, True), (1e-9, False)])
def test_learned_effect_widens_the_bounds_as_far_as_it_is_not_known(sd, fitted):
    days, values = line()
    by = np.column_stack([np.sin(days / 40.0), np.zeros(60)])  # a second condition never changed
    made = regress(days, values, columns=by, effects=Effects(np.zeros(2), np.array([sd, sd])))
    columns = [np.ones(60), days] + ([by[:, 0] * np.median(values)] if fitted else [])
    theta, cov, _ = least_squares(columns, values)
    assert (made.level, made.slope) == pytest.approx(tuple(theta[:2]), rel=1e-3)
    assert made.cov[0, 0] == pytest.approx(cov[0, 0] * WIDENED, rel=1e-2)
    assert made.freedom == 58.0


def test_conditions_count_from_the_first_lift_fitted_and_only_where_an_effect_was_learned():
    days, values = line()
    by = np.sin(days / 40.0)[:, None]
    late = regress(days, values, columns=by, effects=Effects(np.zeros(1), np.full(1, 1e3)), first=20)
    theta, *_ = least_squares([np.ones(40), days[20:], by[20:, 0] * np.median(values[20:])], values[20:])
    assert late.level == pytest.approx(theta[0], rel=1e-3)
    plain = regress(days, values)
    assert regress(days, values, columns=by).level == plain.level
    assert regress(days, values, effects=Effects(np.zeros(1), np.ones(1))).level == plain.level


@pytest.mark.parametrize(
    ("n", "span_days", "has_slope"), [(8, 7.0, True), (7, 6.0, False), (60, 0.51, True), (60, 0.5, False)]
)
def test_few_lifts_or_half_a_day_have_no_slope(n, span_days, has_slope):
    days = np.linspace(-span_days, 0.0, n)
    made = regress(days, 3.0 + 0.2 * days + even_noise(n, 0.01))
    assert made.has_slope is has_slope
    assert (made.slope != 0.0) is has_slope
    if not has_slope:
        assert made.level == pytest.approx(3.0 + 0.2 * days.mean(), abs=0.02)


def test_odd_lifts_weigh_less_the_odder_they_are():
    days, values = line()
    theta, *_ = least_squares([np.ones(60), days], values)
    for size in (2.0, 200.0):
        odd = values.copy()
        odd[::10] += size
        assert regress(days, odd).level == pytest.approx(theta[0], abs=0.06)


def test_line_through_odd_lifts_is_that_of_huber_regression():
    """statsmodels: Huber's estimate (1964) with 2 scatters, the scatter from the median of what is left."""
    days, values = line()
    values[::10] += np.array([2.0, 0.3, -0.25, 0.5, 9.0, -1.0])
    told = sm.RLM(values, np.column_stack([np.ones(60), days]), M=sm.robust.norms.HuberT(2.0)).fit(maxiter=200)
    made = regress(days, values)
    assert (made.level, made.slope) == pytest.approx(tuple(told.params), rel=2e-3)


def test_lifts_that_are_alike_widen_the_bounds():
    days, values = line()
    noise = np.sort(even_noise(60)).reshape(12, 5)  # five in a row alike
    noise = noise[np.random.default_rng(2).permutation(12)].ravel()
    values = 3.0 + 0.03 * days + noise
    made = regress(days, values)
    _, cov, left = least_squares([np.ones(60), days], values)
    alike = trends._persistence(left / (1.4826 * np.median(np.abs(left - np.median(left)))))
    assert alike > 1.5
    assert made.cov[0, 0] == pytest.approx(cov[0, 0] * WIDENED * alike, rel=0.02)


@pytest.mark.parametrize("sd", [0.01, 0.03])
def test_effect_that_is_known_somewhat_is_drawn_to_what_was_learned(sd):
    """Normal regression with a normal prior of the effect, around nothing: what was learned is taken out already."""
    days, values = line(level=0.3, per_day=0.003, size=0.01)
    by = np.sin(days / 30.0)[:, None]  # much as the days themselves go: what it is not, they are
    x = np.column_stack([np.ones(60), days, by[:, 0] * np.median(values)])
    theta, *_ = np.linalg.lstsq(x, values, rcond=None)
    for _ in range(50):
        left = values - x @ theta
        scatter = 1.4826 * np.median(np.abs(left - np.median(left)))
        theta = np.linalg.solve(x.T @ x / scatter**2 + np.diag([0.0, 0.0, 1.0 / sd**2]), x.T @ values / scatter**2)
    made = regress(days, values, columns=by, effects=Effects(np.zeros(1), np.full(1, sd)))
    assert (made.level, made.slope) == pytest.approx(tuple(theta[:2]), rel=2e-3)


def test_very_few_lifts_leave_two_degrees_of_freedom():
    assert regress(np.array([-1.0, 0.0]), np.array([3.0, 3.1])).freedom == 2.0
    assert regress(np.zeros(1), np.array([3.0])).level == pytest.approx(3.0)


# --- how far back


@pytest.mark.parametrize(("breaks_at", "first"), [(None, 0), (805, 800), (590, 600), (150, 200)])
def test_longest_stretch_that_agrees_with_the_newest_lifts_is_fitted(breaks_at, first):
    """Over the newest 200, 400, 800 or all of a thousand lifts."""
    days = np.arange(1000.0) - 999.0
    values = 3.0 + 0.002 * days + even_noise(1000, 0.05)
    values[:breaks_at] -= 0.0 if breaks_at is None else 0.1 * (days[:breaks_at] - days[breaks_at])
    made = trends._fit(NOW + days * DAY_S, values, NOW, [], None, None)
    assert made.first == first
    assert made.slope == pytest.approx(0.002, rel=0.1)


def test_step_in_an_older_stretch_is_no_reason_to_leave_it_out_once_it_is_found():
    days = np.arange(400.0) - 399.0
    values = 3.0 + 0.002 * days + even_noise(400, 0.05)
    values[:150] -= 1.0
    assert trends._fit(NOW + days * DAY_S, values, NOW, [150], None, None).first == 0
    assert trends._fit(NOW + days * DAY_S, values, NOW, [], None, None).first == 200


# --- the fit's own bounds


def fit(*, level=0.3, slope=0.0, cov=((0.0, 0.0), (0.0, 0.0)), freedom=1e6):
    return trends._Fit(level, slope, np.array(cov), freedom, 0.01, 0, True)


@pytest.mark.parametrize("freedom", [2.0, 3.0, 5.0, 10.0, 30.0, 1000.0])
def test_points_of_students_t_are_those_of_scipy(freedom):
    assert fit(freedom=freedom).t() == pytest.approx(stats.t.ppf(0.95, freedom), rel=2e-2 if freedom < 3 else 3e-3)
    assert fit(freedom=1.0).t() == fit(freedom=2.0).t()


@pytest.mark.parametrize(("freedom", "t"), [(2.0, 2.8847), (4.0, 2.1299), (10.0, 1.8124)])
def test_points_of_students_t_by_three_terms(freedom, t):
    """Abramowitz and Stegun 26.7.5, worked out by hand: 1.64485 + 1.52378/v + 1.42022/v² + 0.98300/v³."""
    assert fit(freedom=freedom).t() == pytest.approx(t, abs=1e-4)


def test_bounds_lie_a_t_of_standard_errors_around():
    low, likely, high = fit().spread(0.3, 0.04)
    assert (low, likely, high) == pytest.approx((0.3 - 1.64485 * 0.2, 0.3, 0.3 + 1.64485 * 0.2), abs=1e-5)
    assert fit().spread(0.3, -1e-9) == (0.3, 0.3, 0.3)


# --- plain statistics


SEVEN = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 107.0])  # median 4, half of them within 2
ERROR = 1.2533 * 1.4826 * 2.0 / math.sqrt(7.0)  # standard error of a median of normal values, by their middle half


def test_middle_is_the_median_with_its_standard_error():
    assert trends._middle(SEVEN) == pytest.approx((4.0, ERROR))
    assert trends._middle(np.full(5, 2.0)) == (2.0, 1e-9)
    told = trends._bounds(SEVEN)
    assert (told.low, told.likely, told.high) == pytest.approx((4.0 - 1.645 * ERROR, 4.0, 4.0 + 1.645 * ERROR))


def test_scatter_is_that_from_one_lift_to_the_next():
    moves = np.array([0.0, 1.0, 3.0, 2.0, 4.0])  # by 1, 2, 1 and 2: the middle is 1.5
    assert trends._scatter(moves) == pytest.approx(1.4826 * 1.5 / math.sqrt(2.0))
    assert trends._scatter(np.array([-5.0, -7.0])) == pytest.approx(0.2 * 6.0)
    assert trends._scatter(np.zeros(2)) == trends._scatter(np.zeros(9)) == 1e-6
    assert trends._scatter(np.array([1.0, 2.0, 3.0])) == pytest.approx(1.4826 / math.sqrt(2.0))


def test_odd_lift_counts_as_two_and_a_half_scatters():
    assert trends._unlikely(np.array([1.0, -2.0, 2.5, 100.0])) == pytest.approx((1.0 + 4.0 + 6.25 + 6.25) / 4.0)


@pytest.mark.parametrize(
    ("left", "factor"),
    [
        (np.ones(19), 1.0),  # too few to say
        (np.ones(20), 3.0),
        (np.tile([1.0, -1.0], 50), 1.0),
        (np.tile([1.0, 1.0, 1.0, 1.0, -1.0, -1.0, -1.0, -1.0], 50), None),
        (np.ones(400), 3.0),  # at most so much
    ],
)
def test_lifts_that_are_alike_teach_less(left, factor):
    """(1 + r)/(1 - r) of a first-order process, r less two standard errors of its estimate."""
    if factor is None:
        rho = (300.0 - 99.0) / 399.0 - 2.0 / 20.0  # of 399 neighbours 300 are alike and 99 are not
        factor = (1.0 + rho) / (1.0 - rho)
    assert trends._persistence(left) == pytest.approx(factor)
    assert trends._persistence(100.0 * left) == trends._persistence(0.1 * left) == pytest.approx(factor)


@pytest.mark.parametrize(("grows", "relative"), [(True, True), (False, False)])
def test_scatter_grows_with_the_figure_where_the_lifts_say_so(grows, relative):
    base = np.linspace(1.0, 9.0, 200)
    values = base + even_noise(200, 0.2) * (base / 5.0 if grows else 1.0)
    told = trends._spread_of(values, base, 0.1)
    assert told == pytest.approx(0.1 * base / 5.0 if relative else np.full(200, 0.1))


def test_figure_near_nothing_scatters_as_at_a_tenth_of_its_middle():
    base = np.array([0.0, 0.2] + [10.0] * 99)
    values = base * (1.0 + even_noise(101, 0.3))
    told = trends._spread_of(values, base, 0.1)
    assert told[:2] == pytest.approx(0.1 * 0.1 * np.median(np.abs(values)) / 10.0, rel=1e-6)
