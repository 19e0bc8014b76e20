"""The yardsticks the leak benchmark measures by, against published tables and scipy."""

import numpy as np
import pytest
from scipy.stats import norm

from tests.benchmarks.leak_laws import Growing, Steady, law_of
from tests.benchmarks.leak_lifts import Cell, Readings, gas, leaky, read
from tests.benchmarks.leak_limits import (
    cusum_limit,
    decision_kpa,
    growing_error,
    growth_sd,
    information,
    reading_sd,
    seconds,
    seen,
    slope_sd,
    steady_error,
    trend_filter,
)


def run_length(shift, limit, *, allowance=0.5, nodes_n=200):
    """Average run length of a one-sided CUSUM, by the integral equation on Gauss points (Goel and Wu 1971)."""
    x, w = np.polynomial.legendre.leggauss(nodes_n)
    x, w = 0.5 * limit * (x + 1.0), 0.5 * limit * w
    to_zero = norm.cdf(allowance - shift - x)
    kernel = norm.pdf(x[None, :] - x[:, None] + allowance - shift) * w[None, :]
    matrix = np.eye(nodes_n + 1)
    matrix[0, 0] -= norm.cdf(allowance - shift)
    matrix[0, 1:] -= norm.pdf(x + allowance - shift) * w
    matrix[1:, 0] -= to_zero
    matrix[1:, 1:] -= kernel
    return float(np.linalg.solve(matrix, np.ones(nodes_n + 1))[0])


@pytest.mark.parametrize(("limit", "false_alarm", "shift_one"), [(4.0, 335.37, 8.38), (5.0, 930.89, 10.38)])
def test_run_lengths_match_the_published_one_sided_table(limit, false_alarm, shift_one):
    # two-sided 168 and 465 (Montgomery, Introduction to Statistical Quality Control) are half of these
    assert run_length(0.0, limit) == pytest.approx(false_alarm, rel=1e-3)
    assert run_length(1.0, limit) == pytest.approx(shift_one, rel=2e-3)


@pytest.mark.parametrize(("limit", "false_alarm"), [(4.0, 335.37), (5.0, 930.89)])
def test_limit_found_on_independent_steps_is_that_of_the_published_table(limit, false_alarm):
    steps = np.random.default_rng(4).standard_normal(2_000_000)
    assert cusum_limit(steps, 0.5, false_alarm) == pytest.approx(limit, rel=0.01)


@pytest.mark.parametrize(
    ("cell", "rate_kpa_per_min", "least", "most"),
    [
        (Cell(0.05, 0.1, 5.0), 1.0, 0.6, 1.6),  # some 37 alarms set the limit, 50 try it
        (Cell(0.3, 0.1, 5.0), 6.0, 0.6, 1.6),
        (Cell(0.3, 1.0, 1.0), 3.0, 0.0, 2.0),  # by steps: no limit lies between some alarms too many and none
        (Cell(0.02, 1.0, 5.0), 6.0, 0.0, 2.0),
    ],
)
def test_cusum_of_a_circuit_in_order_gives_a_false_alarm_in_eight_hours(cell, rate_kpa_per_min, least, most):
    limit_kpa, allowance = decision_kpa(cell, rate_kpa_per_min / 60.0), 0.5 * rate_kpa_per_min / 60.0
    chance, alarms_n, hours_n = np.random.default_rng(11), 0, 400
    per_s = round(cell.rate_hz)
    for _ in range(hours_n):
        usual = chance.uniform(0.0, 0.3) / 60.0
        t_s = np.arange(3600 * per_s) / per_s
        seen = np.round((70.0 - usual * t_s + cell.noise_kpa * chance.standard_normal(len(t_s))) / cell.quantum_kpa)
        lost = -np.diff(np.median(seen.reshape(-1, per_s), axis=1) * cell.quantum_kpa) - usual
        total = 0.0
        for one in (lost - allowance).tolist():
            total = max(total + one, 0.0)
            if total > limit_kpa:
                alarms_n, total = alarms_n + 1, 0.0
    assert least <= alarms_n / (hours_n / 8.0) < most


def test_slope_bound_is_the_covariance_of_least_squares():
    cell = Cell(noise_kpa=0.1, quantum_kpa=1e-6, rate_hz=10.0)
    t = np.linspace(0.0, 30.0, round(10.0 * 0.975 * 30.0))
    design = np.stack([np.ones_like(t), t], axis=1)
    exact = 0.1 * np.sqrt(np.linalg.inv(design.T @ design)[1, 1])
    assert slope_sd(cell, 30.0) == pytest.approx(exact, rel=0.01)
    assert reading_sd(cell) == pytest.approx(0.1)


def test_growth_bound_is_reached_by_least_squares_on_simulated_noise():
    from scipy.optimize import curve_fit

    cell = Cell(noise_kpa=0.1, quantum_kpa=1e-3, rate_hz=2.0)
    growth, first, t = 0.004, 0.3 / 60.0, np.linspace(0.0, 300.0, round(2.0 * 0.975 * 300.0))
    chance = np.random.default_rng(3)

    def fall(t, level, rate, g):
        return level - rate * np.expm1(g * t) / g

    found = [
        curve_fit(fall, t, fall(t, 62.0, first, growth) + 0.1 * chance.standard_normal(len(t)), (62.0, first, growth))[
            0
        ][2]
        for _ in range(200)
    ]
    bound = growth_sd(
        seen(cell, lambda t: fall(t, 62.0, first, growth), 300.0, 0.0), first * np.exp(growth * 300.0), growth
    )
    assert np.std(found) == pytest.approx(bound, rel=0.15)


@pytest.mark.parametrize("level_kpa", [61.0, 61.2, 61.45, 61.5])
@pytest.mark.parametrize(("noise_kpa", "quantum_kpa"), [(0.1, 0.1), (0.1, 0.5), (0.3, 1.0)])
def test_information_of_a_rounded_reading_is_the_spread_of_its_score(noise_kpa, quantum_kpa, level_kpa):
    # the variance of the score is the information (Lehmann and Casella, Theory of Point Estimation, 2.5)
    chance = np.random.default_rng(5)
    value = np.round((level_kpa + noise_kpa * chance.standard_normal(200_000)) / quantum_kpa) * quantum_kpa
    high, low = (value + 0.5 * quantum_kpa - level_kpa) / noise_kpa, (value - 0.5 * quantum_kpa - level_kpa) / noise_kpa
    score = (norm.pdf(low) - norm.pdf(high)) / (norm.cdf(high) - norm.cdf(low)) / noise_kpa
    found = information(Cell(noise_kpa, quantum_kpa, 1.0), np.array([level_kpa]))
    assert found == pytest.approx(np.mean(score**2), rel=0.05)


def test_a_fine_reading_tells_as_much_as_its_noise_allows_and_a_coarse_one_at_its_edges_alone():
    assert information(Cell(0.1, 1e-3, 1.0), np.array([61.0, 61.3])) == pytest.approx([100.0, 100.0], rel=1e-3)
    amid, at_edge = information(Cell(0.02, 1.0, 1.0), np.array([61.0, 61.5]))
    assert amid < 1e-6
    assert at_edge == pytest.approx(2.0 / np.pi / 0.02**2, rel=1e-3)  # of a coin that shows which side: 4·φ(0)²/σ²


def test_a_gauge_that_has_not_stepped_bounds_no_growth():
    cell = Cell(0.02, 1.0, 5.0)
    stands = seen(cell, lambda t: 61.2 - 0.4 * t / 300.0, 300.0, 0.0)
    steps = seen(cell, lambda t: 61.2 - 6.0 * t / 300.0, 300.0, 0.0)
    assert growth_sd(stands, 0.4 / 300.0, 0.004) > 100.0 * 0.004
    assert growth_sd(steps, 6.0 / 300.0, 0.004) < 0.004


@pytest.mark.parametrize("bend", [0.01, 1.0])
def test_bound_of_the_time_is_reached_by_least_squares_on_simulated_noise(bend):
    from scipy.optimize import least_squares

    cell = Cell(noise_kpa=0.1, quantum_kpa=1e-3, rate_hz=2.0)
    true = Growing(base=0.15 / 60.0, extra=1.2 / 60.0, growth=0.004, bend=bend, age_s=240.0)
    u = np.linspace(-300.0, 0.0, round(2.0 * 0.975 * 300.0))
    base_sd = 0.3 / 60.0 / np.sqrt(12.0)  # a normal leak lies somewhere in 0 to 0.3 kPa/min
    chance = np.random.default_rng(3)

    def leak(scaled):
        return Growing(base_sd * scaled[1], true.extra * scaled[2], true.growth * scaled[3], bend, true.age_s)

    def left_s(scaled):
        return leak(scaled).reaches_s(8.0 + scaled[0])

    def misses(scaled, fell, prior):
        return [*((scaled[0] - leak(scaled).fallen_kpa(u) - fell) / 0.1), scaled[1] - prior]

    start = np.array([0.0, true.base / base_sd, 1.0, 1.0])
    found = []
    for _ in range(120):
        fell = -true.fallen_kpa(u) + 0.1 * chance.standard_normal(len(u))
        prior = start[1] + chance.standard_normal()
        found.append(left_s(least_squares(misses, start, args=(fell, prior)).x))
    readings = seen(cell, lambda t: 64.0 - true.fallen_kpa(t - 300.0), 300.0, 0.0)
    error, wider = growing_error(readings, true, to_go_kpa=8.0)
    assert 0.6745 * np.std(found) / left_s(start) == pytest.approx(error, rel=0.2)
    assert wider > error


def test_bound_of_a_steady_leaks_time_is_reached_by_least_squares_on_simulated_noise():
    from scipy.optimize import least_squares

    cell, true = Cell(noise_kpa=0.1, quantum_kpa=1e-3, rate_hz=2.0), Steady(60.0, 1.0 / 60.0, 0.5)
    vacuum = np.linspace(50.0, 66.0, 4000)
    takes_s = true.takes_s(vacuum)
    u = np.linspace(-300.0, 0.0, round(2.0 * 0.975 * 300.0))
    chance = np.random.default_rng(3)

    def leak(scaled):
        return Steady(60.0 + scaled[0], scaled[1] / 60.0, 0.5 + 0.5 * scaled[2])

    def misses(scaled, readings, prior):
        model = np.interp(-u, -leak(scaled).takes_s(vacuum), vacuum)
        return [*((model - readings) / 0.1), scaled[2] - prior]

    at = np.interp(-u, -takes_s, vacuum)
    found = []
    for _ in range(120):
        readings = at + 0.1 * chance.standard_normal(len(u))
        scaled = least_squares(misses, [0.0, 1.0, 0.0], args=(readings, chance.standard_normal()), diff_step=1e-3).x
        found.append(float(leak(scaled).takes_s(52.0)))
    readings = seen(cell, lambda t: np.interp(300.0 - t, -takes_s, vacuum), 300.0, 0.0)
    left_s = float(true.takes_s(52.0))
    assert 0.6745 * np.std(found) / left_s == pytest.approx(steady_error(readings, true, 52.0), rel=0.2)


def test_simulated_gas_follows_the_closed_form():
    from monitor.core.warning_time import laminar_distance_kpa, orifice_distance_kpa

    chance = np.random.default_rng(0)
    steps_n, n = 2400, 40
    vacuum, rate = gas(np.full(n, 70.0), np.full((steps_n, n), 1.0 / 60.0), chance)
    after = vacuum[1200]
    slowest = laminar_distance_kpa(70.0, float(after.max()), ambient_kpa=101.325)
    fastest = orifice_distance_kpa(70.0, float(after.min()), ambient_kpa=101.325, critical_ratio=0.528)
    assert fastest == pytest.approx(10.0, rel=1e-3)  # 600 s at 1 kPa/min
    assert slowest == pytest.approx(10.0, rel=1e-3)
    assert rate[0] == pytest.approx(1.0)


def test_simulated_laws_are_choked_and_elliptic():
    assert law_of(40.0, 0.5, laminar=False) == pytest.approx(1.0)
    assert law_of(80.0, 0.5, laminar=False) == pytest.approx(
        9.788989e-4 / 1.200701e-3, rel=2e-4
    )  # ISO 6358, pa 101.325


def test_a_yardstick_knows_a_second_only_once_it_is_over():
    t_s = np.array([0.1, 0.5, 0.9, 1.2, 1.7, 2.4])
    times, values = seconds(Readings(t_s, np.array([[60.0], [60.2], [60.1], [59.0], [59.2], [58.0]])))
    assert times.tolist() == [0.9, 1.7, 2.4]
    assert values == pytest.approx([60.1, 59.1, 58.0])


def test_the_same_seed_gives_the_same_lifts_and_readings():
    cell = Cell(0.1, 0.1, 5.0)
    once, again = (
        [
            read(lift, cell, np.random.default_rng(1), until_s=60.0)
            for lift in leaky("growing", 2, np.random.default_rng(7), longest_s=400.0)
        ]
        for _ in range(2)
    )
    assert np.array_equal(once[1].vacuum_kpa, again[1].vacuum_kpa)
    assert np.array_equal(once[1].t_s, again[1].t_s)


def test_the_trend_filter_finds_a_slope_and_follows_a_change_of_it():
    t = np.arange(400.0)
    seconds = 62.0 - np.maximum(t - 100.0, 0.0) / 60.0 + 0.05 * np.random.default_rng(0).standard_normal(len(t))
    found = trend_filter(Cell(noise_kpa=0.1, quantum_kpa=0.1, rate_hz=5.0), seconds)
    assert found[95] == pytest.approx(0.0, abs=0.1)
    assert found[-1] == pytest.approx(1.0, abs=0.1)
