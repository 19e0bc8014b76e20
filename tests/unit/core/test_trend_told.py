"""How a trend is put together: what its steps and its line are asked of, and everything that is told of them."""

import math

import numpy as np
import pytest

from monitor.core import trends
from monitor.core.comparable import Effects
from monitor.core.steps import Found
from monitor.core.trends import DAY_S, Bounds, Step, trend
from tests.unit.core.test_trend_fit import NOW, even_noise, fit

N = 60
UTC_S = NOW - DAY_S * np.arange(N)[::-1]
VALUES = 3.0 + even_noise(N)
STEPS = [
    Found(10, 12, 0.5, 0.1, certain=True),
    Found(30, 31, -0.4, 0.2, certain=True),
    Found(56, 57, 0.3, 0.1, certain=False),
]
FIT = fit(level=3.0, slope=0.01, cov=((0.04, 0.001), (0.001, 1e-6)))
EFFECTS = Effects(np.zeros(1), np.ones(1))
T = 1.6448536


@pytest.fixture
def asked(monkeypatch):
    """The steps and the line are given; what they were asked of is kept."""
    told = {}

    def find_steps(*given):
        told["steps"] = given
        return STEPS

    def line(*given):
        told["line"] = given
        return FIT

    monkeypatch.setattr(trends, "find_steps", find_steps)
    monkeypatch.setattr(trends, "_fit", line)
    return told


def same(given, expected):
    assert len(given) == len(expected)
    for one, other in zip(given, expected, strict=True):
        assert np.array_equal(one, other) if isinstance(other, np.ndarray) else one is other or one == other


@pytest.mark.parametrize(("worse_up", "sign"), [(True, 1.0), (False, -1.0)])
def test_steps_are_looked_for_the_way_that_is_worse(asked, worse_up, sign):
    made = trend(
        UTC_S, VALUES, now_utc_s=NOW, worse_up=worse_up, least_scatter=0.07, services_utc_s=[float(UTC_S[20]) - 1.0]
    )
    values, restarts, least = asked["steps"]
    assert values == (sign * VALUES).tolist()
    assert (restarts, least) == ([20], 0.07)
    assert made.steps == tuple(
        Step(one.at, float(UTC_S[one.at]), sign * one.size, one.scatter, one.certain) for one in STEPS
    )
    assert made.worse_up is worse_up


@pytest.mark.parametrize(
    ("services", "begin", "inside"),
    [([], 0, [10, 30]), ([20], 20, [10]), ([30], 30, []), ([5, 25], 25, [5]), ([25, 60], 25, [5]), ([60], 0, [10, 30])],
)
def test_line_begins_with_the_last_service_that_lifts_followed(asked, services, begin, inside):
    """The step four lifts ago is told and no new level yet; one at the service itself is the service's."""
    columns = np.arange(N, dtype=float)[:, None]
    done = [float(UTC_S[at]) - 1.0 if at < N else NOW + 1.0 for at in services]
    made = trend(UTC_S, VALUES, now_utc_s=NOW, services_utc_s=done, columns=columns, effects=EFFECTS)
    same(asked["line"], (UTC_S[begin:], VALUES[begin:], NOW, inside, columns[begin:], EFFECTS))
    assert [one.utc_s for one in made.services] == done
    assert made.fitted_from_utc_s == UTC_S[begin]


def test_everything_of_the_line_is_told(asked):
    made = trend(UTC_S, VALUES, now_utc_s=NOW, limit=3.5)
    half, slope_half = T * math.sqrt(0.04), T * math.sqrt(1e-6)
    assert made.level == Bounds(pytest.approx(3.0 - half), 3.0, pytest.approx(3.0 + half))
    assert made.slope_per_day == Bounds(pytest.approx(0.01 - slope_half), 0.01, pytest.approx(0.01 + slope_half))
    assert made.reach == trends._reach(FIT, 3.5, 1.0, NOW)
    assert (made.scatter, made.limit, made.worse_up, made.services) == (0.01, 3.5, True, ())
    assert np.array_equal(made.utc_s, UTC_S)
    assert np.array_equal(made.values, VALUES)
    assert asked["line"][4:] == (None, None)
    assert trend(UTC_S, VALUES, now_utc_s=NOW).reach is None


def test_line_that_leaves_out_older_lifts_says_from_when_it_is(asked, monkeypatch):
    late = trends._Fit(3.0, 0.0, np.zeros((2, 2)), 9.0, 0.01, 7, has_slope=False)
    monkeypatch.setattr(trends, "_fit", lambda *_: late)
    made = trend(UTC_S, VALUES, now_utc_s=NOW, limit=3.5, services_utc_s=[float(UTC_S[20]) - 1.0])
    assert made.fitted_from_utc_s == UTC_S[27]
    assert (made.reach, made.slope_per_day) == (None, None)  # without a slope there is no day


def test_lifts_without_a_value_are_left_out_with_their_conditions(asked):
    values, columns = VALUES.copy(), np.arange(N, dtype=float)[:, None]
    values[[0, 1, 5]] = math.nan
    known = np.isfinite(values)
    trend(UTC_S, values, now_utc_s=NOW, columns=columns, effects=EFFECTS)
    same(asked["line"], (UTC_S[known], values[known], NOW, [10, 30], columns[known], EFFECTS))


@pytest.mark.parametrize("worse_up", [True, False])
def test_figure_without_lifts_is_told_as_nothing_with_its_limit(monkeypatch, worse_up):
    none = np.full(3, math.nan)
    made = trend(UTC_S[:3], none, now_utc_s=NOW, limit=0.5, worse_up=worse_up, services_utc_s=[NOW])
    nothing = Bounds(math.nan, math.nan, math.nan)
    assert (made.level, made.slope_per_day, made.scatter, made.reach, made.fitted_from_utc_s) == (None,) * 5
    assert (len(made.utc_s), len(made.values), made.steps) == (0, 0, ())
    assert (made.worse_up, made.limit) == (worse_up, 0.5)
    [service] = made.services
    assert (service.utc_s, service.better) == (NOW, None)
    assert repr((service.before, service.after)) == repr((nothing, nothing))


@pytest.mark.parametrize(("before_n", "after_n"), [(3, 2), (2, 3)])
def test_side_of_a_service_with_three_lifts_has_its_bounds(before_n, after_n):
    values = np.array([1.0, 1.2, 1.1, 2.0, 2.2, 2.1])[: before_n + after_n]
    made = trends._before_after(values, before_n, NOW, 1.0, [])
    known, unknown = (made.before, made.after) if before_n == 3 else (made.after, made.before)
    assert known == trends._bounds(values[:3] if before_n == 3 else values[2:])
    assert math.isnan(unknown.likely)
    assert (made.utc_s, made.better) == (NOW, None)


# --- how far back, with lines given


@pytest.mark.parametrize(
    ("slope_off", "level_off", "older_var", "agrees"),
    [
        (2.4, 0.0, 0.0, True),  # two and a half standard errors of what the newer ones know more
        (2.6, 0.0, 0.0, False),
        (0.0, 2.4, 0.0, True),
        (0.0, 2.6, 0.0, False),
        (-2.6, 0.0, 0.0, False),
        (1.24, 0.0, 1.0, True),  # a quarter of its variance at least
        (1.26, 0.0, 1.0, False),
        (0.0, 1.24, 1.0, True),
        (0.0, 1.26, 1.0, False),
        (1.7, 0.0, 0.5, True),  # 2.5 times the root of a half
        (1.8, 0.0, 0.5, False),
        (0.0, 1.8, 0.5, False),
    ],
)
def test_longer_stretch_counts_while_it_agrees_with_the_newest_lifts(
    monkeypatch, slope_off, level_off, older_var, agrees
):
    """Variance of a difference of two estimates, one of which has all the lifts of the other: that of their variances."""
    told = []

    def regress(*given):
        told.append(given[5])
        newest = given[5] == 300
        sd = 0.1
        var = sd**2 * (1.0 if newest else older_var)
        level, slope = (3.0, 0.01) if newest else (3.0 + sd * level_off, 0.01 + sd * slope_off)
        return trends._Fit(level, slope, np.diag([var, var]), 99.0, 0.01, given[5], True)

    monkeypatch.setattr(trends, "_regress", regress)
    made = trends._fit(np.arange(500.0), np.zeros(500), NOW, [], None, None)
    assert told[:2] == [300, 100]
    assert made.first == (
        300 if not agrees else 0 if older_var < 0.1 and max(slope_off, level_off) == 0.0 else made.first
    )
    assert (made.first < 300) is agrees


@pytest.mark.parametrize(("n", "tried"), [(200, [0]), (201, [1, 0]), (500, [300, 100, 0])])
def test_newest_two_hundred_lifts_are_looked_at_first_then_twice_as_many(monkeypatch, n, tried):
    told = []

    def regress(*given):
        told.append(given[5])
        same(given[1:5], (VALUES_OF[n], [7], COLUMNS, EFFECTS))
        assert given[0] == pytest.approx((np.arange(float(n)) * DAY_S - NOW) / DAY_S)
        return trends._Fit(3.0, 0.01, np.eye(2), 99.0, 0.01, given[5], True)

    monkeypatch.setattr(trends, "_regress", regress)
    trends._fit(np.arange(float(n)) * DAY_S, VALUES_OF[n], NOW, [7], COLUMNS, EFFECTS)
    assert told == tried


VALUES_OF = {n: np.ones(n) for n in (200, 201, 500)}
COLUMNS = np.ones((500, 1))


@pytest.mark.parametrize("lacking", ["newest", "longer"])
def test_stretch_without_a_slope_is_not_compared(monkeypatch, lacking):
    def regress(*given):
        has_slope = (given[5] == 300) is (lacking == "longer")
        return trends._Fit(3.0, 0.01, np.eye(2), 99.0, 0.01, given[5], has_slope)

    monkeypatch.setattr(trends, "_regress", regress)
    assert trends._fit(np.arange(500.0), np.zeros(500), NOW, [], None, None).first == 300


@pytest.mark.parametrize(("at", "inside"), [(55, [55]), (56, [])])
def test_step_of_five_lifts_is_a_new_level(asked, monkeypatch, at, inside):
    monkeypatch.setattr(trends, "find_steps", lambda *_: [Found(at, at + 1, 0.5, 0.1, certain=False)])
    trend(UTC_S, VALUES, now_utc_s=NOW)
    assert asked["line"][3] == inside


def test_figure_is_known_to_a_millionth_unless_said(asked):
    trend(UTC_S, VALUES, now_utc_s=NOW)
    assert asked["steps"][2] == 1e-6


def test_single_lift_since_a_service_has_a_level():
    made = trend(UTC_S, VALUES, now_utc_s=NOW, services_utc_s=[float(UTC_S[-1]) - 1.0])
    assert made.level.likely == pytest.approx(VALUES[-1])
    assert made.fitted_from_utc_s == UTC_S[-1]
