"""When a level is reached by weighed hypotheses, against scipy and integrals."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.stats import norm

from monitor.core import leak_bank as banks
from monitor.core import leak_project as project
from monitor.core.leak_bank import KINDS, RATE_WANDER, RATE_WANDER_RATIO
from monitor.core.leak_project import Around, time_to
from monitor.core.warning_time import Bounds, laminar_distance_kpa, orifice_distance_kpa
from tests.unit.core.leak_signals import mixture
from tests.unit.core.test_leak_bank import NOW_S
from tests.unit.core.test_leak_chosen import known_growth, sparse
from tests.unit.core.test_leak_project import (
    AMBIENT_KPA,
    BY_ORIFICE,
    BY_SEEPAGE,
    DOUBLES,
    QUIET,
    RUNS_AWAY,
    WITH_SQUARE,
    WITH_TIME,
    both,
    of,
)

# --- how far it reaches


@pytest.mark.parametrize(
    ("kind", "growth"),
    [
        (BY_ORIFICE, 0.0),
        (BY_ORIFICE, 1e-9),
        (DOUBLES, 0.005),
        (DOUBLES, -0.01),
        (WITH_TIME, 0.0),
        (WITH_TIME, 0.01),
        (WITH_SQUARE, 0.01),
        (RUNS_AWAY, 0.003),
    ],
)
@pytest.mark.parametrize("time_s", [10.0, 300.0, -40.0])
def test_reach_of_a_rate_is_its_integral(kind, growth, time_s):
    one, bend = of(kind, growth=growth), KINDS[kind].bend

    def rate(t):
        return (1.0 + bend * growth * t) ** (1.0 / bend) if bend else math.exp(growth * t)

    assert project._reach(one, np.array([[time_s]])).item() == pytest.approx(quad(rate, 0.0, time_s)[0], rel=1e-6)


@pytest.mark.parametrize("time_s", [100.0, 101.0, 3600.0])
def test_once_it_has_run_away_everything_is_lost(time_s):
    """Beside what a lifter holds: 0.05 kPa/min, a hundred seconds before, is more than 50 kPa."""
    reach_s = project._reach(of(RUNS_AWAY, growth=0.01), np.array([[time_s]])).item()
    assert np.isfinite(reach_s)
    assert reach_s * 0.05 / 60.0 > 50.0


def test_growth_is_followed_to_exp_30_at_most():
    assert project._reach(of(DOUBLES, growth=1.0), np.array([[900.0]])).item() == pytest.approx(math.expm1(30.0))


@pytest.mark.parametrize("age_s", [50.0, 400.0, 4000.0])
def test_growth_is_followed_back_to_its_onset(age_s):
    """What a rate that grows by a hundredth a second has lost, by its integral."""
    lost = project.lost_kpa(of(DOUBLES, rate=0.04, growth=0.01, age_s=age_s)).item()
    assert lost == pytest.approx(quad(lambda t: 0.04 * math.exp(0.01 * t), -age_s, 0.0, limit=200)[0], rel=1e-6)


@pytest.mark.parametrize(("found_s", "early_s"), [(0.0, 0.0), (0.5, 0.25), (1.0, 0.25), (2.0, 0.25)])
def test_early_bound_is_that_of_what_is_feared_unless_the_level_is_reached(monkeypatch, found_s, early_s):
    """What is feared is surely there by then, and a twentieth of it in a quarter of a second."""
    feared = of(BY_ORIFICE, rate=1.0)
    monkeypatch.setattr(project, "_feared", lambda _: feared)
    monkeypatch.setattr(project, "_reached", lambda *_: np.array([1.0]))
    monkeypatch.setattr(project, "_quantiles", lambda *_: [0.25])
    told = project.feared(Bounds(found_s, 50.0, 90.0), feared, 52.0, Around(AMBIENT_KPA, 3600.0))
    assert told == Bounds(early_s, 50.0, 90.0)


def test_steady_falls_stay_so_beside_those_that_grow_with_their_age():
    mixed = both(of(BY_ORIFICE), of(WITH_TIME, growth=0.01))
    assert project._reach(mixed, np.array([[50.0]])).ravel() == pytest.approx([50.0, 100.0 * (1.5**2 - 1.0) / 2.0])


def test_rate_that_wanders_for_long_leaves_its_reach_open():
    """By 0.01 kPa/min and 1 % of all it loses, in a minute: some 3.3 kPa after 2000 s at 0.05 kPa/s."""
    one = of(BY_ORIFICE, rate=0.01, base=0.04, sds=(1e-3, 1e-9))
    told = project._reached(one, project._Way(np.array([103.0]), np.zeros(1)), np.array([2000.0]), 0.0).item()
    sd = math.sqrt(((0.01 / 60.0) ** 2 + (0.01 * 0.05) ** 2) / 60.0 * 2000.0**3 / 3.0)
    assert told == pytest.approx(norm.cdf(-3.0 / sd), abs=3e-4)


@pytest.mark.parametrize("time_s", [60.0, 100.0, 140.0])
@pytest.mark.parametrize(("growth", "hidden"), [(0.0, 0.0), (0.004, 0.0), (0.0, 0.01)])
def test_chance_of_being_there_is_the_tail_of_all_that_is_not_known(time_s, growth, hidden):
    """Variances of level, rate, both together, the flow law, a rate that wanders, and a growth that goes on otherwise."""
    one = of(DOUBLES, rate=0.04, growth=growth, base=0.01, sds=(0.3, 0.002))
    one.p_cross[:] = 1e-4
    way = project._Way(np.array([5.0]), np.array([0.2]))
    told = project._reached(one, way, np.array([time_s]), hidden).item()
    reach = math.expm1(growth * time_s) / growth if growth else time_s
    covered = 0.04 * reach + (0.01 + hidden) * time_s
    wander = (RATE_WANDER + RATE_WANDER_RATIO * 0.05**2) * time_s**3 / 3.0
    var = 0.3**2 + reach**2 * 0.002**2 - 2.0 * reach * 1e-4 + 0.2**2 + wander + (0.35 * 0.04 * (reach - time_s)) ** 2
    assert told == pytest.approx(norm.cdf((covered - 5.0) / math.sqrt(var)), abs=3e-4)


def test_chance_never_falls_with_time_and_is_that_of_all_hypotheses():
    two = both(of(BY_ORIFICE, weight=0.4, rate=0.05), of(BY_SEEPAGE, weight=0.6, rate=0.05))
    way = project._Way(np.array([4.0, 1.0]), np.zeros(2))
    assert project._reached(two, way, np.array([10.0, 30.0, 70.0, 90.0]), 0.0) == pytest.approx(
        [0.0, 0.6, 0.6, 1.0], abs=0.01
    )
    gains = of(BY_ORIFICE, rate=-0.01, sds=(0.3, 1e-6))
    told = project._reached(gains, project._Way(np.zeros(1), np.zeros(1)), np.array([1.0, 100.0]), 0.0)
    assert told == pytest.approx([norm.cdf(-0.01 / 0.3)] * 2, abs=2e-3)


# --- the way to a level


@pytest.mark.parametrize("level_kpa", [60.0, 35.0, 10.0])
@pytest.mark.parametrize(("kind", "doubt"), [(BY_ORIFICE, 0.15), (BY_SEEPAGE, 0.15), (QUIET, 0.4)])
def test_way_is_stretched_by_the_law_of_the_flow(level_kpa, kind, doubt):
    now_kpa = 64.0
    way = project._way(of(kind, level=63.0), now_kpa, level_kpa, AMBIENT_KPA)
    orifice = orifice_distance_kpa(now_kpa, level_kpa, ambient_kpa=AMBIENT_KPA)
    laminar = min(laminar_distance_kpa(now_kpa, level_kpa, ambient_kpa=AMBIENT_KPA), 2.0 * orifice)
    law = orifice + (laminar - orifice) * KINDS[kind].laminar
    assert way.to_go.item() == pytest.approx((63.0 - level_kpa) * law / (now_kpa - level_kpa), rel=1e-6)
    assert way.law_sd.item() == pytest.approx((laminar - orifice) * doubt, rel=1e-6)


@pytest.mark.parametrize(("now_kpa", "level_kpa"), [(102.0, 90.0), (102.0, 3.0), (100.8, 3.0), (64.0, 0.01)])
def test_way_to_near_nothing_or_from_beyond_the_ambient_pressure_is_bounded(now_kpa, level_kpa):
    """From a kPa within the ambient pressure at most; by seepage no further than twice that of an orifice."""
    way = project._way(of(BY_SEEPAGE, level=now_kpa), now_kpa, level_kpa, AMBIENT_KPA)
    top, plain = min(now_kpa, AMBIENT_KPA - 1.0), now_kpa - level_kpa
    orifice = max(orifice_distance_kpa(top, level_kpa, ambient_kpa=AMBIENT_KPA), plain)
    laminar = max(laminar_distance_kpa(top, level_kpa, ambient_kpa=AMBIENT_KPA), plain)
    assert way.to_go.item() == pytest.approx(min(laminar, 2.0 * orifice), rel=1e-6)
    assert (laminar > 2.0 * orifice) is (level_kpa == 0.01)


# --- growth weighed


@pytest.mark.parametrize(("factor", "weights"), [(4.0, [1 / 7, 2 / 7, 4 / 7]), (0.5, [2 / 7, 4 / 7, 1 / 7])])
def test_growth_counts_so_many_times_and_settling_is_none(factor, weights):
    three = both(of(0, weight=0.25), of(BY_ORIFICE, weight=0.5), of(DOUBLES, weight=0.25))
    assert project._growth_times(three, factor).weight == pytest.approx(weights)
    assert three.weight.tolist() == [0.25, 0.5, 0.25]


# --- points of a time


@pytest.mark.parametrize("to_go", np.linspace(6.0, 10.0, 17))
def test_points_of_a_time_are_where_the_chance_is_so_much(to_go):
    """By bisection (scipy) of the chance itself; between the points of its grid it is a straight line."""
    one, way = of(BY_ORIFICE, rate=0.05, sds=(0.4, 1e-9)), project._Way(np.array([to_go]), np.zeros(1))
    found = project._quantiles(one, way, (0.05, 0.5, 0.95), 3600.0, 0.0)

    def beyond(time_s, share):
        return project._reached(one, way, np.array([time_s]), 0.0).item() - share

    assert found == pytest.approx([brentq(beyond, 1.0, 3600.0, args=(share,)) for share in (0.05, 0.5, 0.95)], rel=1e-2)


@pytest.mark.parametrize(
    ("horizon_s", "known"), [(150.0, [False, False]), (155.0, [True, False]), (3600.0, [True, True])]
)
def test_point_beyond_the_horizon_is_none(horizon_s, known):
    one = of(BY_ORIFICE, rate=0.05, sds=(0.25, 1e-9))
    way = project._Way(np.array([8.0]), np.zeros(1))
    found = project._quantiles(one, way, (0.05, 0.95), horizon_s, 0.0)
    assert [point is not None for point in found] == known


@pytest.mark.parametrize("time_s", [0.6, 2.0])
def test_time_of_seconds_is_told_from_nothing_on(time_s):
    one = of(BY_ORIFICE, rate=1.0, sds=(0.1, 1e-9))
    found = project._quantiles(one, project._Way(np.array([time_s]), np.zeros(1)), (0.5,), 3600.0, 0.0)
    assert found == pytest.approx([time_s], abs=0.25)  # its finest steps are half a second


def test_early_bound_is_the_earlier_of_its_own_and_the_likely_time():
    one, way = of(BY_ORIFICE, rate=0.05, sds=(0.25, 1e-9)), project._Way(np.array([8.0]), np.zeros(1))
    around = Around(AMBIENT_KPA, 3600.0)
    early_s = project._quantiles(one, way, (0.05,), 3600.0, 0.0)[0]
    assert project._early_s(one, way, around, None) == early_s
    assert project._early_s(one, way, around, early_s + 9.0) == early_s
    assert project._early_s(one, way, around, 100.0) == 100.0
    assert project._early_s(one, way, Around(AMBIENT_KPA, 60.0), 100.0) == 100.0
    assert project._early_s(one, way, Around(AMBIENT_KPA, 60.0), None) is None


def test_fear_is_taken_up_only_where_it_is_likely_by_the_early_bound():
    bank = known_growth(sparse({(3, 4): 0.9, (5, 3): 2e-4}))
    bank.onset_s[[3, 5], 1] = NOW_S - np.array([400.0, 20.0])
    bank.state[banks.LEVEL, [3, 5], 1, [4, 3]] = 64.0
    bank.state[banks.RATE, [3, 5], 1, [4, 3]] = [0.01, 0.1]
    bank.base[:], bank.state[banks.GROWTH] = 0.0, 0.0
    bank.state[banks.P_LEVEL :, :, 1] = 0.0
    mixed, around = mixture(bank, 1, 0.08**2), Around(AMBIENT_KPA, 3600.0)
    found = time_to(mixed, 52.0, around)
    told = project.feared(found, mixed, 52.0, around)
    assert found.early_s > 900.0
    assert told.early_s == pytest.approx(laminar_distance_kpa(64.0, 52.0, ambient_kpa=AMBIENT_KPA) / 0.1, rel=0.1)
    assert (told.likely_s, told.late_s) == (found.likely_s, found.late_s)
    near = Bounds(20.0, found.likely_s, found.late_s)
    assert project.feared(near, mixed, 52.0, around) == near


def test_fear_is_taken_up_where_nothing_was_found_within_the_horizon():
    bank = known_growth(sparse({(3, 4): 0.9, (5, 3): 2e-4}))
    bank.onset_s[[3, 5], 1] = NOW_S - np.array([400.0, 40.0])
    bank.state[:2, [3, 5], 1, [4, 3]] = [[64.0, 0.0], [64.0, 0.1]]
    bank.base[:], bank.state[banks.GROWTH] = 0.0, 0.0
    bank.state[banks.P_LEVEL :, :, 1] = 0.0
    mixed = mixture(bank, 1, 0.08**2)
    told = project.feared(Bounds(None, None, None), mixed, 52.0, Around(AMBIENT_KPA, 3600.0))
    assert told.early_s is not None
    assert (told.likely_s, told.late_s) == (None, None)


@pytest.mark.parametrize(("kpa_per_min", "factor"), [(0.1, 0.2), (2.0, 2.0)])
def test_growth_is_doubted_of_no_leak_and_feared_of_one(monkeypatch, kpa_per_min, factor):
    """And the early bound is asked to be no later than the likely time."""
    factors, asked, weigh, early = [], [], project._growth_times, project._early_s
    monkeypatch.setattr(project, "_growth_times", lambda mixed, by: factors.append(by) or weigh(mixed, by))
    monkeypatch.setattr(project, "_early_s", lambda *given: asked.append(given) or early(*given))
    told = time_to(of(QUIET, rate=kpa_per_min / 60.0), 60.0, Around(AMBIENT_KPA, 36_000.0))
    assert factors == pytest.approx([0.2, factor], abs=1e-3)
    assert asked[0][3] == told.likely_s is not None
