"""Weighed hypotheses of a leak put in by hand, and the rates and times told of them: against closed forms and scipy."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from monitor.core.leak_bank import (
    BEND,
    KINDS,
    LAMINAR,
    RATE_WANDER,
    RATE_WANDER_RATIO,
    STEADY,
    UNSETTLED_S,
    Bank,
    observe,
    predict,
    restart,
    spawn,
)
from monitor.core.leak_project import (
    FALLING_KPA_PER_S,
    Around,
    Mixture,
    feared,
    gaussian,
    lasting_above,
    lost_kpa,
    rate_quantiles,
    time_to,
)
from monitor.core.warning_time import Bounds, laminar_distance_kpa, orifice_distance_kpa
from tests.unit.core.leak_signals import mixture, rate_of

AMBIENT_KPA = 101.325
HERE = Around(AMBIENT_KPA, 3600.0)
FAST_KPA_PER_S = 2.0 / 60.0
SETTLES, SETTLES_SLOWLY, BY_ORIFICE, BY_SEEPAGE, QUIET, DOUBLES = 0, 1, STEADY, STEADY + 1, STEADY + 2, STEADY + 3
WITH_TIME = int(np.flatnonzero(BEND == 1.0)[0])
WITH_SQUARE = int(np.flatnonzero(BEND == 0.5)[0])
RUNS_AWAY = int(np.flatnonzero(BEND == -1.0)[0])


def of(kind, *, weight=1.0, level=64.0, rate=FAST_KPA_PER_S, age_s=100.0, growth=0.0, base=0.0, sds=(1e-3, 1e-6)):
    """One hypothesis, its level and rate known as well as ``sds``."""
    one = (weight, kind, age_s, level, rate, growth, base, sds[0] ** 2, 0.0, sds[1] ** 2)
    return Mixture(*(np.array([value]) for value in one))


def both(*parts):
    names = ("weight", "kind", "age_s", "level", "rate", "growth", "base", "p_level", "p_cross", "p_rate")
    return Mixture(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


# --- rates


def test_points_of_one_rate_are_those_of_the_normal_distribution():
    told = rate_of(of(QUIET, rate=0.01, base=0.004, sds=(0.1, 0.002)))
    expected = norm(0.014, 0.002).ppf([0.05, 0.16, 0.5, 0.84, 0.95])
    assert np.allclose(told, expected, atol=0.002 * 0.08)  # between the points of its grid it is a straight line
    assert told.sd == pytest.approx(0.002, rel=0.08)


def test_points_of_two_rates_are_those_of_their_mixture():
    told = rate_of(both(of(QUIET, weight=0.8, rate=0.0, sds=(0.1, 1e-4)), of(QUIET, weight=0.2, rate=0.05)))
    assert told.middle == pytest.approx(0.0, abs=2e-4)
    assert told.high == pytest.approx(0.05, abs=1e-3)


def test_rates_together_are_told_as_each_alone():
    """Of one, two and twelve hypotheses: grids are made of ten at most."""
    many = of(QUIET)
    for number in range(1, 12):
        many = both(many, of(QUIET, weight=1.0 + 0.1 * number, rate=0.01 * number, sds=(0.1, 2e-3)))
    many.weight /= many.weight.sum()
    given = [of(QUIET, rate=0.02), many, both(of(QUIET, weight=0.7, rate=0.0), of(QUIET, weight=0.3, rate=0.05))]
    for beside, one in zip(rate_quantiles(given), given, strict=True):
        assert beside == pytest.approx(rate_of(one))
    assert rate_quantiles([]) == []


@pytest.mark.parametrize("above", [0.008, 0.014, 0.02])
def test_chance_of_a_rate_above_a_value_is_the_tail_of_the_normal_distribution(above):
    one = of(QUIET, rate=0.01, base=0.004, sds=(0.1, 0.002))
    assert lasting_above(one, above, settling_since_s=math.inf) == pytest.approx(norm(0.014, 0.002).sf(above), abs=2e-3)


@pytest.mark.parametrize(
    ("kind", "age_s", "since_s", "lasts"),
    [
        (SETTLES, 50.0, 40.0, False),  # gas that settles since its pump stopped has settled in a minute
        (SETTLES, 40.0 - UNSETTLED_S, 40.0, False),
        (
            SETTLES,
            39.9 - UNSETTLED_S,
            40.0,
            True,
        ),  # begun after the pump had stopped it is no settling, whatever its form
        (SETTLES_SLOWLY, 50.0, 40.0, False),
        (BY_ORIFICE, 50.0, 40.0, True),
    ],
)
def test_fall_that_settles_is_no_lasting_one(kind, age_s, since_s, lasts):
    one = of(kind, rate=0.02, growth=-1.0 / 20.0, age_s=age_s)
    assert (lasting_above(one, 0.01, settling_since_s=since_s) > 0.5) is lasts


def test_what_settles_dies_away_with_its_own_time():
    """0.02 kPa/s that fall to a third in 55 s are 0.0067 after a minute."""
    one = of(SETTLES, rate=0.02, growth=-1.0 / 55.0)
    left = 0.02 * math.exp(-60.0 / 55.0)
    assert lasting_above(one, 0.99 * left, settling_since_s=0.0) > 0.99
    assert lasting_above(one, 1.01 * left, settling_since_s=0.0) < 0.01


def test_only_the_hypotheses_counted_count():
    two = both(of(QUIET, weight=0.7), of(BY_ORIFICE, weight=0.3))
    counted = two.kind == BY_ORIFICE
    assert lasting_above(two, 0.0, settling_since_s=math.inf, counted=counted) == pytest.approx(0.3)
    assert lasting_above(two, 0.0, settling_since_s=math.inf) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("kind", "growth", "lost"),
    [
        (BY_ORIFICE, 0.0, 0.03 * 200.0),
        (
            DOUBLES,
            math.log(2.0) / 100.0,
            0.03 * 100.0 / math.log(2.0) * (1.0 - 0.25),
        ),  # the integral of 0.03 * 2^(-t/100 s)
        (WITH_TIME, 1.0 / 200.0, 0.03 * 200.0 / 2.0),  # a power n of the time since it was nothing grows by n/t
        (WITH_SQUARE, 2.0 / 200.0, 0.03 * 200.0 / 3.0),
        (WITH_TIME, 1.0 / 100.0, 0.03 * 100.0 / 2.0),  # nothing 100 s ago
        (SETTLES, -1.0 / 40.0, 0.03 * 200.0),
    ],
)
def test_what_was_lost_since_a_change_is_its_rate_looked_back_on(kind, growth, lost):
    assert lost_kpa(of(kind, rate=0.03, growth=growth, age_s=200.0))[0] == pytest.approx(lost, rel=1e-6)


def test_what_was_lost_before_the_change_is_none_of_it():
    assert lost_kpa(of(BY_ORIFICE, rate=0.03, base=0.5, age_s=200.0))[0] == pytest.approx(6.0)


# --- times


@pytest.mark.parametrize(
    ("kind", "distance_kpa"), [(BY_ORIFICE, orifice_distance_kpa), (BY_SEEPAGE, laminar_distance_kpa)]
)
@pytest.mark.parametrize("level_kpa", [52.0, 35.0])
def test_likely_time_of_a_steady_leak_is_that_of_its_flow_law(kind, distance_kpa, level_kpa):
    """ISO 6358 for an orifice, pa² - p² for seepage: distance over rate."""
    told = time_to(of(kind), level_kpa, HERE)
    expected_s = distance_kpa(64.0, level_kpa, ambient_kpa=AMBIENT_KPA) / FAST_KPA_PER_S
    assert told.likely_s == pytest.approx(expected_s, rel=0.01)
    assert told.early_s < told.likely_s < told.late_s


def test_quiet_fall_may_be_of_either_law():
    orifice, seepage = (time_to(of(kind), 35.0, HERE).likely_s for kind in (BY_ORIFICE, BY_SEEPAGE))
    assert orifice < time_to(of(QUIET), 35.0, HERE).likely_s < seepage
    assert LAMINAR[QUIET] == 0.5


def test_bounds_of_a_rate_that_is_hardly_known_are_those_of_its_points():
    """To 60 kPa, choked: 4 kPa over the 95 % and the 5 % point of 2 ± 0.2 kPa/min."""
    sd = 0.2 / 60.0
    told = time_to(of(BY_ORIFICE, sds=(1e-3, sd)), 60.0, HERE)
    fast, slow = (FAST_KPA_PER_S + z * sd for z in (1.645, -1.645))
    assert told.early_s == pytest.approx(4.0 / fast, rel=0.03)
    assert told.likely_s == pytest.approx(4.0 / FAST_KPA_PER_S, rel=0.02)
    assert told.late_s == pytest.approx(4.0 / slow, rel=0.04)


def test_bounds_of_a_level_that_is_hardly_known_are_those_of_its_points():
    told = time_to(of(BY_ORIFICE, sds=(0.5, 1e-6)), 60.0, HERE)
    assert told.early_s == pytest.approx((4.0 - 1.645 * 0.5) / FAST_KPA_PER_S, rel=0.03)
    assert told.late_s == pytest.approx((4.0 + 1.645 * 0.5) / FAST_KPA_PER_S, rel=0.03)


def test_level_and_rate_that_are_wrong_together_widen_the_bounds_less():
    """A fit of a line: read too high now, it falls too fast."""
    apart, joined = (of(BY_ORIFICE, sds=(0.5, 0.2 / 60.0)) for _ in range(2))
    joined.p_cross[:] = 0.9 * 0.5 * 0.2 / 60.0
    assert time_to(joined, 60.0, HERE).early_s > time_to(apart, 60.0, HERE).early_s
    assert time_to(joined, 60.0, HERE).late_s < time_to(apart, 60.0, HERE).late_s


def test_rate_wanders_so_a_far_level_is_never_known_to_the_second():
    rate, time_s = FAST_KPA_PER_S, 12.0 / FAST_KPA_PER_S
    sd_kpa = math.sqrt((RATE_WANDER + RATE_WANDER_RATIO * rate**2) * time_s**3 / 3.0)
    told = time_to(of(BY_ORIFICE, sds=(1e-6, 1e-9)), 52.0, HERE)
    assert told.late_s - told.early_s > 2.0 * 1.645 * sd_kpa / rate * 0.9


@pytest.mark.parametrize(("now_kpa", "zero"), [(52.0, True), (51.0, True), (52.1, False)])
def test_at_the_level_or_below_it_is_now(now_kpa, zero):
    assert (time_to(of(BY_ORIFICE, level=now_kpa), 52.0, HERE) == Bounds(0.0, 0.0, 0.0)) is zero


def test_what_is_beyond_the_horizon_is_none():
    assert time_to(of(QUIET, rate=1e-5), 52.0, HERE) == Bounds(None, None, None)
    told = time_to(of(BY_ORIFICE, sds=(1e-3, 0.5 / 60.0)), 52.0, Around(AMBIENT_KPA, 360.0))  # likely in just 360 s
    assert told.early_s is not None
    assert told.late_s is None


@pytest.mark.parametrize(
    ("second_sd_kpa", "share"), [(0.01, 0.90), (0.15, 0.90), (math.sqrt(0.15 * 0.29), 0.925), (0.29, 0.95), (1.0, 0.95)]
)
def test_late_time_is_the_point_that_the_worse_readings_put_further_out(second_sd_kpa, share):
    """A level known to 1 kPa, its rate known: late beyond likely goes as the normal distribution's points (scipy)."""
    one = of(QUIET, sds=(1.0, 1e-9))
    told, plain = (time_to(one, 52.0, around) for around in (HERE._replace(second_var_kpa2=second_sd_kpa**2), HERE))
    spread = (told.late_s - told.likely_s) / (plain.late_s - plain.likely_s)
    assert spread == pytest.approx(norm.ppf(share) / norm.ppf(0.95), abs=0.03)  # times are found on a grid
    assert (told.early_s, told.likely_s) == (plain.early_s, plain.likely_s)


def test_growing_leak_is_there_sooner_by_the_law_it_grows_by():
    """12 kPa at 2 kPa/min that double in 240 s: ln(1 + 12 g/r)/g."""
    growth = math.log(2.0) / 240.0
    told = time_to(of(DOUBLES, growth=growth), 52.0, HERE)
    grown_s = math.log1p(12.0 * growth / FAST_KPA_PER_S) / growth
    assert told.early_s < grown_s < told.late_s
    assert told.likely_s == pytest.approx(grown_s, rel=0.05)


@pytest.mark.parametrize(("kind", "power"), [(WITH_TIME, 2.0), (WITH_SQUARE, 3.0)])
def test_leak_that_grows_with_its_age_is_there_sooner(kind, power):
    """A rate r·(t/a)^n at age a has covered 12 kPa once (1 + t/a)^(n + 1) = 1 + 12 (n + 1)/(r a); it grows by n/a."""
    told = time_to(of(kind, growth=(power - 1.0) / 300.0), 52.0, HERE)
    grown_s = 300.0 * ((1.0 + 12.0 * power / (FAST_KPA_PER_S * 300.0)) ** (1.0 / power) - 1.0)
    assert told.likely_s == pytest.approx(grown_s, rel=0.06)


def test_leak_that_runs_away_is_there_before_it_does():
    """2 kPa/min that go as one over the time left, 300 s: 12 kPa are covered once 300 (1 - exp(-12/(r 300))) s have passed."""
    told = time_to(of(RUNS_AWAY, growth=1.0 / 300.0), 52.0, HERE)
    there_s = 300.0 * -math.expm1(-12.0 / (FAST_KPA_PER_S * 300.0))
    assert told.likely_s == pytest.approx(there_s, rel=0.06)
    assert told.late_s < 300.0


def test_what_cooling_gas_may_hide_moves_the_early_bound_alone():
    plain, hidden = (time_to(of(BY_ORIFICE), 52.0, Around(AMBIENT_KPA, 3600.0, kpa)) for kpa in (0.0, 0.2 / 60.0))
    assert (hidden.likely_s, hidden.late_s) == (plain.likely_s, plain.late_s)
    assert hidden.early_s == pytest.approx(plain.early_s * 2.0 / 2.2, rel=0.02)


def test_early_bound_is_never_later_than_the_likely_time():
    two = both(of(QUIET, weight=0.5, rate=0.0), of(DOUBLES, weight=0.5, growth=math.log(2.0) / 240.0))
    told = time_to(two, 52.0, HERE)
    assert told.likely_s is None or told.early_s <= told.likely_s


def test_growth_counts_for_the_early_bound_more_than_for_the_likely_time():
    """A tenth of growth: doubted for the likely time, feared for the early one while there is a leak."""
    two = both(of(BY_ORIFICE, weight=0.9), of(DOUBLES, weight=0.1, growth=math.log(2.0) / 60.0))
    alone = time_to(of(BY_ORIFICE), 52.0, HERE)
    told = time_to(two, 52.0, HERE)
    assert told.early_s < 0.8 * alone.early_s
    assert told.likely_s == pytest.approx(alone.likely_s, rel=0.02)


def test_growth_of_no_leak_is_not_feared():
    """In a lifter in order there is nothing to grow: what noise suggests must not call anybody."""
    calm = 0.5 * FALLING_KPA_PER_S
    two = both(of(QUIET, weight=0.9, rate=calm), of(DOUBLES, weight=0.1, rate=calm, growth=math.log(2.0) / 125.0))
    told = time_to(two, 52.0, HERE)
    assert told.early_s is None or told.early_s > 1500.0


def test_remembered_rate_is_steady_by_either_law():
    mixed = gaussian(64.0, (FAST_KPA_PER_S, (0.2 / 60.0) ** 2))
    assert [KINDS[kind].laminar for kind in mixed.kind] == [0.0, 1.0]
    assert mixed.weight.sum() == 1.0
    assert rate_of(mixed).middle == pytest.approx(FAST_KPA_PER_S, rel=1e-3)
    orifice_s = 12.0 / FAST_KPA_PER_S
    assert time_to(mixed, 52.0, HERE).likely_s > orifice_s


def test_shift_moves_level_and_rate_of_every_hypothesis():
    two = both(of(QUIET, level=64.0), of(BY_ORIFICE, level=63.0))
    two.shift(-2.0, 0.01)
    two.shift(0.5, 0.0)
    assert two.level.tolist() == [62.5, 61.5]
    assert np.allclose(two.rate, FAST_KPA_PER_S + 0.01)
    assert two.moved == (-1.5, 0.01)


def test_nothing_is_feared_beyond_what_was_found_without_a_record_of_readings():
    found = Bounds(100.0, 200.0, 300.0)
    assert feared(found, of(QUIET), 52.0, HERE) == found


# --- from a bank of hypotheses that saw readings


def bank_of(kpa_by_s, *, noise_kpa=0.03, seed=1):
    """A bank that saw one block a second, each as good as ``noise_kpa``."""
    chance = np.random.default_rng(seed)
    seen_kpa = np.asarray(kpa_by_s) + noise_kpa * chance.standard_normal(len(kpa_by_s))
    bank = Bank(1, 0.0)
    restart(bank, 0, seen_kpa[0], noise_kpa**2)
    for second, kpa in enumerate(seen_kpa[1:], start=1):
        predict(bank, float(second), np.zeros((2, 1)))
        observe(bank, np.array([kpa]), np.array([noise_kpa**2]), np.array([True]))
        spawn(bank, 1.0)
    return bank


STEADY_FALL = 64.0 - 2.0 / 60.0 * np.arange(120.0)
TURNED = 64.0 - np.maximum(0.0, np.arange(120.0) - 105.0) * 3.0 / 60.0  # 3 kPa/min, begun 15 s ago


def test_hypotheses_that_matter_are_told_with_their_weights():
    mixed = mixture(bank_of(STEADY_FALL), 0, 0.03**2)
    assert mixed.weight.sum() == pytest.approx(1.0)
    assert mixed.weight.min() > 0.0
    assert (mixed.weight * mixed.level).sum() == pytest.approx(STEADY_FALL[-1], abs=0.03)
    assert rate_of(mixed).middle * 60.0 == pytest.approx(2.0, abs=0.15)
    assert rate_of(mixed).low < 2.0 / 60.0 < rate_of(mixed).high


def test_time_of_what_a_bank_saw_is_that_of_the_fall():
    """1.0 kPa a minute short of 4: from 60.03 to 52 at 2 kPa/min are 4 min, a little more by seepage."""
    told = time_to(mixture(bank_of(STEADY_FALL), 0, 0.03**2), 52.0, HERE)
    assert told.early_s < 241.0 < told.late_s
    assert told.likely_s == pytest.approx(250.0, rel=0.12)


def test_levels_are_told_from_where_they_are_wanted():
    bank = bank_of(STEADY_FALL)
    plain, shifted = mixture(bank, 0, 0.03**2), mixture(bank, 0, 0.03**2, level_shift_kpa=-1.5)
    assert np.allclose(shifted.level, plain.level - 1.5)
    assert shifted.moved == (-1.5, 0.0)


def test_growth_that_is_not_known_is_told_as_three_hypotheses_of_the_same_middle():
    mixed = mixture(bank_of(STEADY_FALL), 0, 0.03**2)
    doubles = mixed.kind == DOUBLES
    if doubles.any():
        assert len(set(mixed.growth[doubles].tolist())) >= 3
    assert (mixed.p_level > 0.0).all()
    assert (mixed.p_rate > 0.0).all()


def test_change_is_told_only_on_stronger_evidence_and_feared_before():
    """A second of readings good to 0.08 kPa can't show a fresh leak yet: the early bound allows for it."""
    bank = bank_of(TURNED, noise_kpa=0.3)
    mixed = mixture(bank, 0, 0.3**2)
    found = time_to(mixed, 52.0, HERE)
    fears = feared(found, mixed, 52.0, HERE)
    assert (fears.likely_s, fears.late_s) == (found.likely_s, found.late_s)
    assert fears.early_s is not None
    assert found.early_s is None or fears.early_s <= found.early_s
    assert found.early_s is None or fears.early_s < 0.9 * found.early_s


def test_gauge_that_would_show_a_change_leaves_nothing_to_fear():
    bank = bank_of(STEADY_FALL, noise_kpa=0.01)
    mixed = mixture(bank, 0, 0.01**2)
    found = time_to(mixed, 52.0, HERE)
    assert feared(found, mixed, 52.0, HERE) == found


def test_what_was_shifted_since_is_feared_from_there_too():
    bank = bank_of(TURNED, noise_kpa=0.3)
    near, far = mixture(bank, 0, 0.3**2, level_shift_kpa=-6.0), mixture(bank, 0, 0.3**2)
    early = [feared(time_to(mixed, 52.0, HERE), mixed, 52.0, HERE).early_s for mixed in (near, far)]
    assert early[0] < early[1]


def test_at_its_level_already_nothing_is_feared_sooner():
    mixed = mixture(bank_of(TURNED, noise_kpa=0.3), 0, 0.3**2)
    now = Bounds(0.0, 0.0, 0.0)
    assert feared(now, mixed, 70.0, HERE) == now
