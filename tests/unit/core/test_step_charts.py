"""What follows a figure lift by lift and finds its steps: against the textbook's filter, sums and ratios."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from monitor.core import steps
from monitor.core.steps import Found

FIRST = [1.0, 1.2, 0.9, 1.1, 1.0, 1.3, 0.8, 1.0, 1.1, 1.2, 0.9, 1.05]
MOVES = np.abs(np.diff(FIRST))


def following(**changes):
    """Level 1.0, slope 0.01, scatter 0.1, both known fairly well."""
    made = steps._Follower(FIRST, 1e-6)
    given = {"level": 1.0, "slope": 0.01, "scale": 0.1, "p11": 0.02, "p12": 0.001, "p22": 1e-4} | changes
    for name, value in given.items():
        setattr(made, name, value)
    return made


def variances(follower):
    return follower.p11, follower.p12, follower.p22


# --- how it begins


def test_level_is_the_median_of_the_first_lifts_and_scatter_that_from_one_to_the_next():
    made = steps._Follower(FIRST, 1e-6)
    assert made.level == float(np.median(FIRST))
    assert made.scale == pytest.approx(1.4826 * float(np.median(MOVES)) / math.sqrt(2.0))
    assert (made.slope, *variances(made)) == (0.0, 1.0, 0.0, 4e-4)
    assert made.up == made.down == [(0.0, 0)] * 3
    assert (made.rising, made.before, made.least) == (False, None, 1e-6)


@pytest.mark.parametrize(("values", "least", "scale"), [([-5.0] * 12, 1e-6, 0.1), ([0.0] * 12, 0.02, 0.02)])
def test_scatter_is_two_hundredths_of_the_level_at_least_and_what_the_figure_is_known_to(values, least, scale):
    assert steps._Follower(values, least).scale == pytest.approx(scale)


def test_service_leaves_the_level_open_and_the_slope_at_nothing():
    made = following(p22=0.5, rising=True, up=[(1.0, 3)] * 3)
    made.forget()
    assert (made.slope, *variances(made)) == (0.0, 400.0, 0.0, 0.5)
    assert (made.rising, made.up) == (False, [(0.0, 0)] * 3)
    made = following()
    made.forget()
    assert made.p22 == 4e-4
    assert made.level == 1.0


def test_copy_goes_its_own_way():
    made = following()
    twin = made.copy()
    twin.up[0], twin.level = (9.0, 9), 9.0
    assert made.up[0] == (0.0, 0)
    assert made.level == 1.0
    assert twin.scale == made.scale


# --- following


def test_expected_is_level_and_slope_with_older_lifts_discounted():
    """P' = F P F^T / 0.99 with F = [[1, 1], [0, 1]]; what is seen besides scatters by one."""
    made = following()
    expected, spread, z = made._expect(1.31)
    cov = (
        np.array([[1.0, 1.0], [0.0, 1.0]])
        @ np.array([[0.02, 0.001], [0.001, 1e-4]])
        @ np.array([[1.0, 0.0], [1.0, 1.0]])
        / 0.99
    )
    assert variances(made) == pytest.approx((cov[0, 0], cov[0, 1], cov[1, 1]))
    assert expected == pytest.approx(1.01)
    assert spread == pytest.approx(math.sqrt(cov[0, 0] + 1.0))
    assert z == pytest.approx(0.30 / (0.1 * spread))


@pytest.mark.parametrize(
    ("z", "p11", "taken"),
    [
        (1.0, 0.02, 1.0),
        (-1.0, 0.02, -1.0),
        (3.0, 0.02, 1.5),
        (-9.0, 0.02, -1.5),
        (3.0, 0.3, 1.5),
        (3.0, 0.31, 3.0),
        (9.0, 1.0, 4.0),
    ],
)
def test_lift_moves_level_and_slope_as_a_filter_would_and_an_odd_one_only_so_far(z, p11, taken):
    """Gain K = P H^T/(H P H^T + 1); an odd lift pulls 1.5 scatters, or 4 while the level is not sure."""
    made = following(p11=p11)
    cov = np.array([[p11, 0.001], [0.001, 1e-4]])
    gain = cov[:, 0] / (p11 + 1.0)
    made._update(1.01, 1.2, z)
    move = taken * 0.1 * 1.2
    assert (made.level, made.slope) == pytest.approx((1.01 + gain[0] * move, 0.01 + gain[1] * move))
    left = cov - np.outer(gain, cov[0])
    assert variances(made) == pytest.approx((left[0, 0], left[0, 1], left[1, 1]))


@pytest.mark.parametrize(("z", "square"), [(0.0, 0.0), (2.0, 4.0), (-3.4, 3.4**2), (3.5, 3.5), (-80.0, 3.5)])
def test_scatter_follows_by_a_fiftieth_and_an_odd_lift_hardly_widens_it(z, square):
    made = following(level=0.0, slope=0.0)
    made._update(0.0, 1.0, z)
    assert made.scale == pytest.approx(0.1 * math.sqrt(1.0 + 0.02 * (square - 1.0)))
    floor = following(scale=1e-9, least=0.005, level=0.0)
    floor._update(0.0, 1.0, 0.0)
    assert floor.scale == 0.005
    floor = following(scale=1e-9, level=-2.0)
    floor._update(-2.0, 1.0, 0.0)
    assert floor.scale == pytest.approx(0.04)


# --- the sums


def ratio(z, shift):
    """Log of the likelihood ratio of a shift; two lifts in a hundred are on odd panels and say nothing."""
    density = [0.98 * norm.pdf(z - by) + 0.02 * 0.1 for by in (shift, 0.0)]
    return math.log(density[0] / density[1])


@pytest.mark.parametrize("z", [-8.0, -3.0, 0.0, 1.0, 2.5, 6.0, 7.98])
@pytest.mark.parametrize(("number", "shift"), [(0, 2.0), (1, 4.0), (2, 7.0)])
def test_table_holds_the_logs_of_likelihood_ratios(z, number, shift):
    assert steps._table(shift)[steps._place(z)] == pytest.approx(ratio(z, shift), abs=0.15)
    assert steps._table(shift) == pytest.approx(steps._TABLES[number])
    assert len(steps._table(shift)) == 801


@pytest.mark.parametrize(("z", "place"), [(-8.0, 0), (-99.0, 0), (0.0, 400), (8.0, 800), (99.0, 800), (1.01, 450)])
def test_lift_beyond_eight_scatters_is_as_far_as_eight(z, place):
    assert steps._place(z) == place
    edges = steps._table(2.0)
    assert edges[place] == pytest.approx(ratio(0.02 * place - 8.0, 2.0))


@pytest.mark.parametrize(("z", "rises"), [(0.94, False), (-0.94, False), (1.1, True), (-1.1, True)])
def test_lift_within_its_scatter_begins_no_sum(z, rises):
    made = following()
    assert made._add(7, z) is None
    assert made.rising is rises
    assert (made.up[0][0] > 0.0) is (z > 1.0)
    assert (made.down[0][0] > 0.0) is (z < -1.0)


def test_sums_grow_by_their_ratios_and_remember_where_they_began():
    made = following()
    made._add(7, 1.3)
    first = ratio(1.3, 2.0)
    assert made.up[0] == (pytest.approx(first, abs=0.05), 7)
    assert made.up[2][1] == 7
    assert made._add(8, 1.2) is None
    assert made.up[0] == (pytest.approx(first + ratio(1.2, 2.0), abs=0.1), 7)
    made._add(9, -0.5)  # so it fell under nothing
    assert made.up[0][0] < 0.0
    made._add(10, 1.1)
    assert made.up[0] == (pytest.approx(ratio(1.1, 2.0), abs=0.05), 10)


@pytest.mark.parametrize(("sign", "limits"), [(1.0, (1.4, 6.2, 11.0)), (-1.0, (2.2, 6.5, 11.0))])
@pytest.mark.parametrize(("number", "shift"), [(0, 2.0), (1, 4.0), (2, 7.0)])
@pytest.mark.parametrize(("off", "shows"), [(0.1, True), (-0.1, False)])
def test_step_shows_once_a_sum_is_over_its_interval(sign, limits, number, shift, off, shows):
    made = following()
    sums = made.up if sign > 0.0 else made.down
    sums[number] = (limits[number] - ratio(1.5, shift) + off, 5)  # over its limit by so much after one lift at 1.5
    assert made._add(9, sign * 1.501) == (5 if shows else None)


def test_step_moves_the_level_to_the_middle_of_what_came_since():
    made = following()
    values = [1.0] * 10 + [1.5, 1.7, 1.6, 9.9]  # what comes after counts later
    found = made._step(12, 10, values, 1.01)
    assert found == Found(10, 12, pytest.approx(1.6 - (1.01 - 0.01 * 2)), 0.1, certain=False)
    assert (made.level, made.p12) == (1.6, 0.0)
    assert made.p11 == pytest.approx(math.pi / 2.0 / 3.0, rel=1e-3)  # the variance of a median over that of a mean
    assert made.p22 == 1e-4
    assert made.before.level == 1.0
    stiff = following(p22=1e-6)
    stiff._step(12, 10, values, 1.01)
    assert stiff.p22 == 1e-4


@pytest.mark.parametrize(("p11", "n", "told"), [(0.29, 12, True), (0.29, 11, False), (0.31, 12, False)])
def test_no_step_is_called_while_the_level_is_not_sure_or_few_lifts_were_seen(p11, n, told):
    made = following(p11=0.99 * p11 - 2.0 * 0.001 - 1e-4)
    values = [1.0] * 12 + [9.0]
    made.up = [(1.3, n - 1), (6.1, n - 1), (10.9, n - 1)]
    made.rising = True
    found = made.take(n, 1.35, [*values[:n], 1.35])
    assert (found is not None) is told
    if not told:
        assert made.level > 1.01
