"""When a limit is reached, what a service changed and how a circuit stands beside its sisters, worked out by hand."""

import math

import numpy as np
import pytest

from monitor.core import trends
from monitor.core.steps import Found
from monitor.core.trends import DAY_S, Bounds, Reach
from tests.unit.core.test_trend_fit import NOW, even_noise, fit

# --- when the limit is reached


def meeting(gap, slope, t, aa, ab, bb):
    """Days at which (gap - slope·d)² = t²·sd²(d) (Fieller 1954), from the roots of the quadratic."""
    roots = np.roots([slope**2 - t**2 * bb, -2.0 * gap * slope - 2.0 * t**2 * ab, gap**2 - t**2 * aa])
    return sorted(float(root.real) for root in roots if abs(root.imag) < 1e-12 and root.real > 0.0)


@pytest.mark.parametrize(
    ("slope", "aa", "ab", "bb"),
    [(0.001, 1e-4, 0.0, 1e-8), (0.001, 1e-4, 2e-7, 1e-8), (0.001, 1e-4, -2e-7, 4e-8), (0.01, 1e-6, 0.0, 1e-8)],
)
def test_bounds_of_the_day_are_the_roots_of_fieller(slope, aa, ab, bb):
    given = (0.2, slope, 1.645, aa, ab, bb)
    early, *_, late = meeting(*given)
    assert trends._first_meeting(*given, upper=True) == pytest.approx(early, rel=1e-9)
    assert trends._first_meeting(*given, upper=False) == pytest.approx(late, rel=1e-9)


def test_meeting_within_the_day_is_found_within_the_day():
    assert trends._first_meeting(0.25, 1.0, 0.0, 0.0, 0.0, 0.0, upper=True) == pytest.approx(0.25)


def test_bound_that_is_over_already_is_today_and_one_that_never_meets_is_never():
    assert trends._first_meeting(0.01, 0.001, 1.645, 1e-4, 0.0, 0.0, upper=True) == 0.0
    assert trends._first_meeting(0.2, 0.0, 1.645, 1e-4, 0.0, 0.0, upper=True) == math.inf
    assert trends._first_meeting(0.2, 0.001, 1.645, 1e-4, 0.0, 1e-6, upper=False) == math.inf
    assert trends._first_meeting(1.0, 1.0, 1.645, 0.0, -1.0, 0.0, upper=True) == pytest.approx(
        1.0
    )  # no root of less than nothing


def test_meeting_is_looked_for_beyond_the_ten_years_that_are_told():
    assert trends._first_meeting(8_000.0, 1.0, 0.0, 0.0, 0.0, 0.0, upper=True) == pytest.approx(8_000.0)
    assert trends._first_meeting(9_000.0, 1.0, 0.0, 0.0, 0.0, 0.0, upper=True) == math.inf


SURE = ((1e-12, 0.0), (0.0, 1e-18))


@pytest.mark.parametrize(
    ("level", "slope", "limit", "sign", "days"),
    [
        (0.3, 0.001, 0.5, 1.0, 200.0),
        (24.0, -0.01, 23.0, -1.0, 100.0),
        (0.3, -0.001, 0.5, 1.0, None),
        (0.3, 0.0, 0.5, 1.0, None),
        (0.3, 0.2 / 3650.0, 0.5, 1.0, 3650.0),
        (0.3, 0.2 / 3651.0, 0.5, 1.0, None),  # ten years
    ],
)
def test_day_of_the_limit_is_the_gap_over_the_slope(level, slope, limit, sign, days):
    made = trends._reach(fit(level=level, slope=slope, cov=SURE), limit, sign, NOW)
    if days is None:
        assert made == Reach(None, None, None, now=False)
        return
    assert made.likely_utc_s == pytest.approx(NOW + days * DAY_S, abs=1.0)
    assert (made.early_utc_s - NOW) / DAY_S == pytest.approx(days, rel=1e-4)
    assert not made.now


@pytest.mark.parametrize(
    ("level", "limit", "sign", "now"),
    [(0.5, 0.5, 1.0, True), (0.49, 0.5, 1.0, False), (22.9, 23.0, -1.0, True), (23.1, 23.0, -1.0, False)],
)
def test_limit_that_is_reached_is_reached_now(level, limit, sign, now):
    made = trends._reach(fit(level=level), limit, sign, NOW)
    assert made.now is now
    if now:
        assert made == Reach(NOW, NOW, NOW, now=True)


def test_bounds_of_a_day_are_those_of_its_fit():
    cov = ((1e-4, 2e-7), (2e-7, 1e-8))
    made = trends._reach(fit(slope=0.001, cov=cov), 0.5, 1.0, NOW)
    early, *_, late = meeting(0.2, 0.001, fit().t(), 1e-4, 2e-7, 1e-8)
    assert made.early_utc_s == pytest.approx(NOW + early * DAY_S, abs=1.0)
    assert made.late_utc_s == pytest.approx(NOW + late * DAY_S, abs=1.0)


# --- before and after a service


def around(before, after, *, sign=1.0, found=(), at=None):
    values = np.concatenate([before, after])
    return trends._before_after(values, len(before) if at is None else at, NOW, sign, found)


STEADY = 1.0 + even_noise(41, 0.1, seed=1)
SE = trends._middle(STEADY[-20:])[1]


@pytest.mark.parametrize(
    ("drop_ses", "sign", "better"),
    [
        (2.9, 1.0, True),
        (2.8, 1.0, None),
        (1.45, 1.0, None),
        (1.35, 1.0, False),
        (-9.0, 1.0, False),
        (-9.0, -1.0, True),
        (9.0, -1.0, False),
    ],
)
def test_service_helped_where_both_bounds_say_so(drop_ses, sign, better):
    """Two standard errors of a difference of two medians are 2.83 of one; one is 1.41."""
    before = STEADY[-20:]
    made = around(before, before - drop_ses * SE, sign=sign)
    assert made.better is better
    assert made.utc_s == NOW
    assert made.before == trends._bounds(before)
    assert made.after.likely == pytest.approx(made.before.likely - drop_ses * SE)


def test_twenty_lifts_on_each_side_count():
    before, after = (
        np.concatenate([np.full(30, 9.0), STEADY[-20:]]),
        np.concatenate([STEADY[-20:] - 0.5, np.full(30, 9.0)]),
    )
    made = around(before, after)
    assert made.before == trends._bounds(STEADY[-20:])
    assert made.after == trends._bounds(STEADY[-20:] - 0.5)


@pytest.mark.parametrize(("step_after_n", "counted_n"), [(12, 20), (13, 13), (25, 20)])
def test_lifts_after_a_later_step_are_not_the_services_doing(step_after_n, counted_n):
    found = [Found(20 + step_after_n, 99, 1.0, 0.1, certain=True)]
    after = STEADY[:30]
    assert around(STEADY[-20:], after, found=found).after == trends._bounds(after[:counted_n])


@pytest.mark.parametrize(("before_n", "after_n"), [(2, 20), (20, 2), (3, 3), (0, 0)])
def test_three_lifts_on_each_side_are_the_least(before_n, after_n):
    made = around(STEADY[:before_n], STEADY[:after_n] - 9.0)
    assert (made.better is True) is (before_n >= 3 and after_n >= 3)
    assert math.isnan(made.before.likely) is (before_n < 3)
    assert math.isnan(made.after.high) is (after_n < 3)
    if before_n >= 3:
        assert made.before == trends._bounds(STEADY[:before_n])


# --- beside its sisters


def test_circuit_is_held_against_the_middle_of_its_sisters_newest_lifts():
    own = np.concatenate([np.full(30, 99.0), STEADY[:20] * 0.3])
    sisters = [np.concatenate([np.full(30, 99.0), STEADY[:20]]), np.full(20, 1.1), np.full(20, 0.9), np.full(7, 50.0)]
    told = trends.compare(own, sisters)
    mean, sd = trends._middle(STEADY[:20] * 0.3)
    middle = np.median([np.median(STEADY[:20]), 1.1, 0.9])
    other_sd = trends._middle(STEADY[:20])[1]
    ratio = mean / middle
    half = 1.645 * ratio * math.hypot(sd / mean, other_sd / middle)
    assert told == Bounds(pytest.approx(ratio - half), pytest.approx(ratio), pytest.approx(ratio + half))


@pytest.mark.parametrize(
    ("own_n", "sister_n", "sister", "told"),
    [(8, 8, 0.1, True), (7, 8, 0.1, False), (8, 7, 0.1, False), (8, 8, 0.0, False)],
)
def test_eight_lifts_of_both_that_leak_at_all_are_compared(own_n, sister_n, sister, told):
    assert (trends.compare(np.full(own_n, 0.2), [np.full(sister_n, sister)]) is not None) is told
