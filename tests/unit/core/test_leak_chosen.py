"""Which hypotheses of a bank are told and how likely each is; and when a level is reached, against scipy and integrals."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from monitor.core import leak_bank as banks
from monitor.core import leak_project as project
from monitor.core.leak_bank import KINDS, RATE_WANDER, RATE_WANDER_RATIO
from monitor.core.leak_project import Around, mixture, time_to
from monitor.core.warning_time import Bounds, laminar_distance_kpa, orifice_distance_kpa
from tests.unit.core.test_leak_bank import NOW_S, bank_of, hypothesis
from tests.unit.core.test_leak_project import (
    AMBIENT_KPA,
    BY_ORIFICE,
    BY_SEEPAGE,
    DOUBLES,
    QUIET,
    WITH_SQUARE,
    WITH_TIME,
    both,
    of,
)


def sparse(weights, rows_n=2):
    """A bank in which row 1 has only the hypotheses given, by (slot, kind)."""
    bank = bank_of(rows_n)
    bank.since_s = [NOW_S - 1000.0] * rows_n
    bank.onset_s[:] = NOW_S - 500.0
    bank.log_weight[:, 1] = -1e4
    for (slot, kind), weight in weights.items():
        bank.log_weight[slot, 1, kind] = math.log(weight)
    return bank


# --- which are told


def test_each_hypothesis_is_told_with_the_moments_it_has():
    """Where its growth is open it is three of the same mean and covariance (Gauss-Hermite: 1/6, 2/3, 1/6)."""
    weights = {(3, 2): 0.5, (7, 5): 0.3, (9, 0): 0.2}
    bank = sparse(weights)
    bank.state[banks.P_GROWTH :, 3, 1, 2] = 1e-17  # known to grow or not
    bank.state[[banks.P_LEVEL_GROWTH, banks.P_RATE_GROWTH], 3, 1, 2] = 0.0
    mixed = mixture(bank, 1, 0.03**2, level_shift_kpa=-2.0)
    assert len(mixed.weight) == 1 + 3 + 3
    for (slot, kind), weight in weights.items():
        one = mixed.kind == kind
        share = mixed.weight[one] / weight
        assert sorted(share) == pytest.approx([1.0] if kind == 2 else [1 / 6, 1 / 6, 2 / 3])
        mean, cov = hypothesis(bank, slot, 1, kind)
        points = np.array([mixed.level[one] + 2.0, mixed.rate[one], mixed.growth[one]])
        assert points @ share == pytest.approx(mean)
        apart = points - mean[:, None]
        spread = (apart * share) @ apart.T
        assert spread[0, 0] + mixed.p_level[one] @ share == pytest.approx(cov[0, 0])
        assert spread[0, 1] + mixed.p_cross[one] @ share == pytest.approx(cov[0, 1])
        assert spread[1, 1] + mixed.p_rate[one] @ share == pytest.approx(cov[1, 1])
        if kind != 2:
            assert spread[0, 2] == pytest.approx(cov[0, 2])
            assert spread[1, 2] == pytest.approx(cov[1, 2])
            assert spread[2, 2] == pytest.approx(cov[2, 2])
        assert mixed.age_s[one] == pytest.approx(500.0)
        assert mixed.base[one] == pytest.approx(bank.base[slot, 1] if KINDS[kind].based else 0.0)
    assert mixed.moved == (-2.0, 0.0)


def test_variances_are_never_nothing():
    bank = sparse({(3, 2): 1.0})
    bank.state[banks.P_LEVEL :, 3, 1, 2] = 0.0
    mixed = mixture(bank, 1, 0.03**2)
    assert (mixed.p_level, mixed.p_rate) == (1e-12, 1e-18)


def told(bank, row=1):
    """Weights told by (slot, kind), with those of one hypothesis added up."""
    mixed = mixture(bank, row, 0.03**2)
    found = {}
    for kind, level, weight in zip(mixed.kind, mixed.level, mixed.weight, strict=True):
        slot = int(np.abs(bank.state[banks.LEVEL, :, row, kind] - level).argmin())
        found[slot, int(kind)] = found.get((slot, int(kind)), 0.0) + weight
    return found


def known_growth(bank):
    bank.state[[banks.P_GROWTH, banks.P_LEVEL_GROWTH, banks.P_RATE_GROWTH]] = 0.0
    return bank


def test_sixteen_likeliest_are_told():
    weights = {(slot, 2): 1.0 - 0.01 * slot for slot in range(20)}
    found = told(known_growth(sparse(weights)))
    total = sum(1.0 - 0.01 * slot for slot in range(16))
    assert found == {(slot, 2): pytest.approx((1.0 - 0.01 * slot) / total) for slot in range(16)}


@pytest.mark.parametrize(("log_ratio", "n"), [(8.9, 2), (9.1, 1)])
def test_what_is_hardly_likely_beside_the_likeliest_is_left_out(log_ratio, n):
    assert len(told(known_growth(sparse({(3, 2): 0.5, (5, 3): 0.5 * math.exp(-log_ratio)})))) == n


@pytest.mark.parametrize(
    ("age_s", "since_ago_s", "doubted"),
    [(29.9, 1000.0, True), (30.0, 1000.0, False), (5.0, 14.9, False), (5.0, 15.1, True), (5.0, 10.0, False)],
)
def test_fresh_change_is_told_as_a_hundredth_of_what_it_is(age_s, since_ago_s, doubted):
    """Not what began while its stretch may have settled."""
    bank = known_growth(sparse({(3, 2): 0.5, (5, 3): 0.5}))
    bank.onset_s[5, 1], bank.since_s[1] = NOW_S - age_s, NOW_S - since_ago_s
    bank.onset_s[3, 1] = NOW_S - 500.0
    share = 0.01 if doubted else 1.0
    assert told(bank)[5, 3] == pytest.approx(share / (1.0 + share))


# --- what is feared


@pytest.mark.parametrize(("block_kpa", "fear"), [(0.02, 0.0), (0.045, 0.0), (0.06, 0.5), (0.08, 1.0), (0.5, 1.0)])
def test_change_is_feared_the_more_the_coarser_the_readings(block_kpa, fear):
    """From once in a day to once in half a minute, over the logarithm of what a second of readings is good to."""
    bank = known_growth(sparse({(3, 2): 1.0}))
    fears = mixture(bank, 1, block_kpa**2).source[2]
    if fear == 0.5:
        fear = math.log(0.06 / 0.045) / math.log(0.08 / 0.045)
    assert fears == pytest.approx(fear * math.log(3000.0))


def feared(bank, block_kpa=0.08):
    mixed = mixture(bank, 1, block_kpa**2)
    mixed.shift(0.5, 0.001)
    return mixed, project._feared(mixed)


def test_later_change_for_the_worse_is_feared_three_thousand_times_as_much():
    bank = known_growth(sparse({(3, 2): 0.9, (5, 3): 1e-4, (6, 4): 1e-3, (7, 2): 1e-3}))
    bank.onset_s[[3, 5, 6, 7], 1] = NOW_S - np.array([400.0, 200.0, 200.0, 450.0])
    _, fears = feared(bank)
    weights = {2: (0.9, 1e-3), 3: (0.3,), 4: (1e-3,)}  # 4, back to quiet, is no worse; the older one is not later
    total = 0.9 + 0.3 + 2e-3
    found = {kind: sorted(fears.weight[fears.kind == kind], reverse=True) for kind in (2, 3, 4)}
    for kind, given in weights.items():
        assert found[kind] == pytest.approx([one / total for one in given])
    assert fears.level[fears.kind == 3] == pytest.approx([bank.state[banks.LEVEL, 5, 1, 3] + 0.5])
    assert fears.moved == (0.5, 0.001)


def test_without_readings_or_fear_nothing_is_feared():
    bank = known_growth(sparse({(3, 2): 1.0}))
    assert feared(bank, 0.045)[1] is None
    mixed = mixture(bank, 1, 0.08**2)
    mixed.source = None
    assert project._feared(mixed) is None


def test_thirty_two_are_feared():
    weights = {(slot, kind): 0.5 for slot in range(20) for kind in (2, 3)}
    assert len(feared(known_growth(sparse(weights)))[1].weight) == 32


# --- how far it reaches


@pytest.mark.parametrize(
    ("kind", "growth"),
    [(BY_ORIFICE, 0.0), (BY_ORIFICE, 1e-9), (DOUBLES, 0.005), (DOUBLES, -0.01), (WITH_TIME, 0.0), (WITH_SQUARE, 0.0)],
)
@pytest.mark.parametrize("time_s", [10.0, 300.0])
def test_reach_of_a_rate_is_its_integral(kind, growth, time_s):
    one, power = of(kind, growth=growth, age_s=99.0), KINDS[kind].power

    def rate(t):
        return (1.0 + t / 100.0) ** power * math.exp(growth * t * (power == 0.0))

    assert project._reach(one, np.array([[time_s]])).item() == pytest.approx(quad(rate, 0.0, time_s)[0], rel=1e-6)


def test_growth_is_followed_to_exp_30_at_most():
    assert project._reach(of(DOUBLES, growth=1.0), np.array([[900.0]])).item() == pytest.approx(math.expm1(30.0))


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


def test_way_from_beyond_the_ambient_pressure_is_that_from_just_within():
    way = project._way(of(BY_SEEPAGE, level=102.0), 102.0, 90.0, AMBIENT_KPA)
    top = AMBIENT_KPA - 1.0
    orifice = max(orifice_distance_kpa(top, 90.0, ambient_kpa=AMBIENT_KPA), 12.0)
    laminar = min(max(laminar_distance_kpa(top, 90.0, ambient_kpa=AMBIENT_KPA), 12.0), 2.0 * orifice)
    assert way.to_go.item() == pytest.approx(laminar, rel=1e-6)


# --- growth weighed


@pytest.mark.parametrize(("factor", "weights"), [(4.0, [1 / 7, 2 / 7, 4 / 7]), (0.5, [0.5 / 2, 1 / 2, 0.5 / 2])])
def test_growth_counts_so_many_times_and_settling_is_none(factor, weights):
    three = both(of(0, weight=0.25), of(BY_ORIFICE, weight=0.5), of(DOUBLES, weight=0.25))
    made = project._growth_times(three, factor)
    total = 0.25 + 0.5 + 0.25 * factor
    assert made.weight == pytest.approx([0.25 / total, 0.5 / total, 0.25 * factor / total])
    assert len(weights) == 3
    assert three.weight.tolist() == [0.25, 0.5, 0.25]


# --- points of a time


def test_points_of_a_time_are_where_the_chance_is_so_much():
    one = of(BY_ORIFICE, level=64.0, rate=0.05, sds=(0.4, 1e-9))
    way = project._Way(np.array([8.0]), np.zeros(1))
    found = project._quantiles(one, way, (0.05, 0.5, 0.95), 3600.0, 0.0)
    wander = math.sqrt((RATE_WANDER + RATE_WANDER_RATIO * 0.05**2) * 160.0**3 / 3.0)
    sd = math.hypot(0.4, wander)
    assert found == pytest.approx([(8.0 + norm.ppf(share) * sd) / 0.05 for share in (0.05, 0.5, 0.95)], rel=0.01)


@pytest.mark.parametrize(
    ("horizon_s", "known"), [(150.0, [False, False]), (155.0, [True, False]), (3600.0, [True, True])]
)
def test_point_beyond_the_horizon_is_none(horizon_s, known):
    one = of(BY_ORIFICE, rate=0.05, sds=(0.25, 1e-9))
    way = project._Way(np.array([8.0]), np.zeros(1))
    found = project._quantiles(one, way, (0.05, 0.95), horizon_s, 0.0)
    assert [point is not None for point in found] == known


def test_time_of_seconds_is_told_from_nothing_on():
    one = of(BY_ORIFICE, rate=1.0, sds=(0.1, 1e-9))
    found = project._quantiles(one, project._Way(np.array([2.0]), np.zeros(1)), (0.5,), 3600.0, 0.0)
    assert found == pytest.approx([2.0], abs=0.1)


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
    bank.onset_s[[3, 5], 1] = NOW_S - np.array([400.0, 40.0])
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
