"""Closed forms of the time to a level, against published vectors and reference libraries."""

import math

import fluids
import numpy as np
import pytest
from fluids.safety_valve import API520_F2
from scipy.stats import invgauss, norm

from monitor.core.warning_time import (
    growing_time_s,
    laminar_distance_kpa,
    normal_cdf,
    orifice_distance_kpa,
    orifice_flow_ratio,
    passage_probability,
    passage_quantile_s,
    slackening_per_kpa,
)

PA_KPA = 101.325
NOZZLE_RATIO = (2.0 / 2.4) ** 3.5  # ideal nozzle, ratio of heats 1.4
SLOPE_KPA_PER_S = 2e-11 * 101325.0 * 1.185 * 8.314462618 / 0.02896442 * 293.15 / 0.010 / 1000.0  # C·p1·p0/V of ISO 6358


def nozzle_flow_ratio(abs_ratio):
    """Flow of an isentropic nozzle over the choked flow: F2·sqrt(p1·(p1 - p2)) of API 520, by ``fluids``."""

    def flow(ratio):
        return API520_F2(1.4, 101325.0, 101325.0 * ratio) * math.sqrt(1.0 - ratio)

    return flow(max(abs_ratio, NOZZLE_RATIO)) / flow(NOZZLE_RATIO)


def test_choked_slope_is_that_of_the_iso_6358_flow_into_ten_litres():
    assert pytest.approx(0.0202075, rel=2e-3) == SLOPE_KPA_PER_S  # 20.2075 Pa/s, computed for 10 l and C = 2e-11


def test_critical_ratio_of_an_ideal_nozzle_matches_fluids():
    assert fluids.P_critical_flow(101325.0, 1.4) / 101325.0 == pytest.approx(NOZZLE_RATIO, rel=1e-9)


@pytest.mark.parametrize(("abs_kpa", "flow_kg_s"), [(80.0, 9.788989e-4), (95.0, 5.809523e-4)])
def test_subsonic_ellipse_matches_the_iso_6358_vectors(abs_kpa, flow_kg_s):
    assert orifice_flow_ratio(abs_kpa / PA_KPA) * 1.200701e-3 == pytest.approx(flow_kg_s, rel=2e-6)


@pytest.mark.parametrize("ratio", [0.53, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99])
def test_ellipse_stays_within_a_third_of_a_percent_under_the_isentropic_nozzle_of_fluids(ratio):
    ours, nozzle = orifice_flow_ratio(ratio, critical_ratio=NOZZLE_RATIO), nozzle_flow_ratio(ratio)
    assert ours == pytest.approx(nozzle, rel=3.3e-3)
    assert ours <= nozzle


@pytest.mark.parametrize("level_kpa", [60.0, 40.0, 30.0, 15.0])
def test_time_through_an_orifice_is_that_of_the_nozzle_of_fluids_integrated(level_kpa):
    """Vacuum is lost through an isentropic nozzle (API 520 by ``fluids``), kPa by kPa, from 80 kPa on."""
    at_kpa = np.linspace(80.0, level_kpa, 4001)
    slowness = np.array([1.0 / nozzle_flow_ratio(1.0 - kpa / PA_KPA) for kpa in at_kpa])
    integral = float(-np.trapezoid(slowness, at_kpa))
    ours = orifice_distance_kpa(80.0, level_kpa, ambient_kpa=PA_KPA, critical_ratio=NOZZLE_RATIO)
    assert ours == pytest.approx(integral, rel=1e-3)


@pytest.mark.parametrize(("level_kpa", "time_s"), [(70.0, 494.87), (60.0, 989.73), (40.0, 1981.2), (30.0, 2496.2)])
def test_time_through_an_orifice_is_linear_then_an_arcsine(level_kpa, time_s):
    distance = orifice_distance_kpa(80.0, level_kpa, ambient_kpa=PA_KPA, critical_ratio=0.528)
    assert distance / 0.0202075 == pytest.approx(time_s, rel=3e-5)


def test_time_of_laminar_seepage_matches_its_published_vector():
    assert laminar_distance_kpa(80.0, 60.0, ambient_kpa=PA_KPA) / 0.0202075 == pytest.approx(1051.3, rel=1e-4)


@pytest.mark.parametrize("law", [orifice_distance_kpa, laminar_distance_kpa])
@pytest.mark.parametrize(("start_kpa", "level_kpa"), [(85.0, 40.0), (62.0, 52.0), (45.0, 20.0)])
def test_distances_match_the_flow_integrated_numerically(law, start_kpa, level_kpa):
    def flow(vacuum_kpa):
        ratio = 1.0 - vacuum_kpa / PA_KPA
        return orifice_flow_ratio(ratio) if law is orifice_distance_kpa else 1.0 - ratio * ratio

    steps_n = 20000
    width = (start_kpa - level_kpa) / steps_n
    integral = sum(width / flow(start_kpa - (i + 0.5) * width) for i in range(steps_n)) * flow(start_kpa)
    assert law(start_kpa, level_kpa, ambient_kpa=PA_KPA) == pytest.approx(integral, rel=1e-6)


def test_a_straight_line_is_never_later_than_either_law():
    for level_kpa in range(5, 80, 5):
        assert orifice_distance_kpa(80.0, level_kpa, ambient_kpa=PA_KPA) >= 80.0 - level_kpa - 1e-9
        assert laminar_distance_kpa(80.0, level_kpa, ambient_kpa=PA_KPA) >= 80.0 - level_kpa


def test_laminar_seepage_never_reaches_ambient():
    assert laminar_distance_kpa(60.0, 0.0, ambient_kpa=PA_KPA) == math.inf


def test_a_doubling_leak_arrives_when_the_integral_of_its_rate_does():
    growth = math.log(2.0) / 120.0
    time_s = growing_time_s(15.0, 0.005, growth)
    assert time_s == pytest.approx(503.52, abs=0.01)
    assert 0.005 * math.expm1(growth * time_s) / growth == pytest.approx(15.0)


def test_a_leak_that_dies_away_may_never_arrive():
    assert growing_time_s(15.0, 0.05, -1 / 120.0) == math.inf
    assert growing_time_s(5.0, 0.05, -1 / 120.0) == pytest.approx(-120.0 * math.log(1.0 - 5.0 / 6.0))


def test_growth_of_nearly_nothing_is_a_steady_leak():
    assert growing_time_s(15.0, 0.05, 1e-13) == pytest.approx(300.0)
    assert growing_time_s(15.0, 0.0, 0.01) == math.inf
    assert growing_time_s(0.0, 0.0, 0.0) == 0.0


@pytest.mark.parametrize(
    ("distance", "drift", "spread"),
    [(10.0, 0.5, 1.0), (5.0, 0.02, 0.05), (3.0, 0.004, 0.02), (36.0, 0.1, 0.1), (29.9, 0.1, 0.1), (30.1, 0.1, 0.1)],
)
def test_first_passage_matches_scipys_inverse_gaussian(distance, drift, spread):
    shape = (distance / spread) ** 2
    reference = invgauss(mu=distance / drift / shape, scale=shape)
    for q in (0.05, 0.5, 0.95):
        got = passage_quantile_s(q, distance=distance, drift_per_s=drift, spread_per_root_s=spread)
        assert got == pytest.approx(reference.ppf(q), rel=1e-5)


def test_first_passage_vector():
    assert passage_probability(20.0, distance=10.0, drift_per_s=0.5, spread_per_root_s=1.0) == pytest.approx(
        0.5852888631, abs=1e-8
    )


def test_a_drift_away_arrives_only_by_luck():
    # P(ever) = exp(-2 a |v| / s²) = exp(-1)
    away = {"distance": 5.0, "drift_per_s": -0.1, "spread_per_root_s": 1.0}
    assert passage_quantile_s(0.5, **away) == math.inf
    assert passage_quantile_s(0.3, **away) < math.inf


def test_normal_distribution_is_close_enough_for_quantiles():
    import numpy as np

    z = np.linspace(-6.0, 6.0, 401)
    assert np.abs(normal_cdf(z) - norm.cdf(z)).max() < 1.5e-4


def test_slackening_at_60_kpa_of_vacuum_is_none_through_an_orifice_and_laminar_seepage_tells_the_rest():
    orifice, laminar = slackening_per_kpa(60.0, ambient_kpa=PA_KPA)
    assert orifice == 0.0  # choked
    assert laminar == pytest.approx(2 * 41.325 / (101.325**2 - 41.325**2))


@pytest.mark.parametrize("vacuum_kpa", [80.0, 50.0, 45.0, 30.0, 10.0, 1.5])
def test_slackening_is_how_the_flow_falls_with_the_vacuum(vacuum_kpa):
    def flows(kpa):
        ratio = 1.0 - kpa / PA_KPA
        return orifice_flow_ratio(ratio), 1.0 - ratio * ratio

    step_kpa = 1e-4
    for law, slackens in enumerate(slackening_per_kpa(vacuum_kpa, ambient_kpa=PA_KPA)):
        more, less = flows(vacuum_kpa + step_kpa)[law], flows(vacuum_kpa - step_kpa)[law]
        assert slackens == pytest.approx((more - less) / (2 * step_kpa) / flows(vacuum_kpa)[law], rel=1e-6, abs=1e-9)


def test_slackening_stays_finite_at_no_vacuum_and_beyond_ambient():
    assert all(map(math.isfinite, slackening_per_kpa(0.0, ambient_kpa=PA_KPA)))
    assert slackening_per_kpa(0.0, ambient_kpa=PA_KPA) == slackening_per_kpa(-5.0, ambient_kpa=PA_KPA)
    assert slackening_per_kpa(PA_KPA + 5.0, ambient_kpa=PA_KPA) == (0.0, 0.0)


def test_levels_at_or_above_the_start_are_no_way_to_go():
    for law in (orifice_distance_kpa, laminar_distance_kpa):
        assert law(60.0, 60.0, ambient_kpa=PA_KPA) == 0.0
        assert law(60.0, 61.0, ambient_kpa=PA_KPA) == 0.0


def test_flow_is_choked_up_to_the_critical_ratio_and_none_at_ambient():
    assert orifice_flow_ratio(0.3) == orifice_flow_ratio(0.5) == 1.0
    assert orifice_flow_ratio(0.51) < 1.0
    assert orifice_flow_ratio(1.0) == orifice_flow_ratio(1.2) == 0.0


def test_leak_that_dies_away_just_before_the_level_never_arrives():
    # it loses rate/|g| in all: 0.05 * 120 = 6 kPa
    assert growing_time_s(6.0, 0.05, -1 / 120.0) == math.inf
    assert growing_time_s(5.99, 0.05, -1 / 120.0) == pytest.approx(-120.0 * math.log(0.01 / 6.0), rel=1e-6)
    assert growing_time_s(5.0, -0.01, 0.01) == math.inf
    assert growing_time_s(-1.0, 0.05, 0.0) == 0.0


def test_no_drift_arrives_by_wandering_alone():
    # reflection principle: P(reached by t) = erfc(a / (s sqrt(2 t)))
    assert passage_probability(100.0, distance=10.0, drift_per_s=0.0, spread_per_root_s=1.0) == pytest.approx(
        math.erfc(1.0 / math.sqrt(2.0))
    )
    half_s = passage_quantile_s(0.5, distance=10.0, drift_per_s=0.0, spread_per_root_s=1.0)
    assert math.erfc(10.0 / math.sqrt(2.0 * half_s)) == pytest.approx(0.5, rel=1e-6)


def test_share_that_ever_arrives_against_the_drift_bounds_the_quantiles():
    away = {"distance": 5.0, "drift_per_s": -0.1, "spread_per_root_s": 1.0}
    assert passage_quantile_s(math.exp(-1.0) + 1e-9, **away) == math.inf
    late_s = passage_quantile_s(0.99 * math.exp(-1.0), **away)
    assert passage_probability(late_s, **away) == pytest.approx(0.99 * math.exp(-1.0), rel=1e-6)


@pytest.mark.parametrize("critical_ratio", [0.2, 0.35, 0.528])
def test_distance_counts_from_the_present_flow_whatever_the_critical_ratio(critical_ratio):
    start_kpa, level_kpa, steps_n = 40.0, 20.0, 20000
    width = (start_kpa - level_kpa) / steps_n
    flows = [
        orifice_flow_ratio(1.0 - (start_kpa - i * width) / PA_KPA, critical_ratio=critical_ratio)
        for i in (0.0, *(n + 0.5 for n in range(steps_n)))
    ]
    integral = flows[0] * sum(width / flow for flow in flows[1:])
    got = orifice_distance_kpa(start_kpa, level_kpa, ambient_kpa=PA_KPA, critical_ratio=critical_ratio)
    assert got == pytest.approx(integral, rel=1e-6)


def test_short_ways_and_low_levels_are_ways_too():
    assert growing_time_s(0.5, 0.05, 0.0) == pytest.approx(10.0)
    # pa (1 - r²) (atanh(1 - 0.5/pa) - atanh(r)) with r = 41.325/101.325
    ratio = 41.325 / PA_KPA
    assert laminar_distance_kpa(60.0, 0.5, ambient_kpa=PA_KPA) == pytest.approx(
        PA_KPA * (1.0 - ratio**2) * (math.atanh(1.0 - 0.5 / PA_KPA) - math.atanh(ratio))
    )


@pytest.mark.parametrize(
    ("distance", "drift", "spread", "share"), [(5.0, -0.5, 5.0, 0.5), (0.5, -0.1, 1.0, 0.8), (5.0, -0.02, 0.5, 0.4)]
)
def test_less_than_the_share_that_ever_arrives_has_its_time(distance, drift, spread, share):
    assert share < math.exp(2.0 * drift * distance / spread**2)  # P(ever)
    away = {"distance": distance, "drift_per_s": drift, "spread_per_root_s": spread}
    time_s = passage_quantile_s(share, **away)
    assert passage_probability(time_s, **away) == pytest.approx(share, rel=1e-6)


def test_path_that_hardly_wanders_arrives_when_its_drift_does():
    swift = {"distance": 10.0, "drift_per_s": 10.0, "spread_per_root_s": 0.01}
    assert passage_probability(2.0, **swift) == 1.0  # long there; what comes from behind the level is nothing
    assert passage_probability(0.5, **swift) == 0.0
    near = {"distance": 0.05, "drift_per_s": 1.0, "spread_per_root_s": 1e-4}
    assert passage_quantile_s(0.5, **near) == pytest.approx(0.05, rel=1e-4)
