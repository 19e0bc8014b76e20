"""The true figures against closed forms."""

import math
from dataclasses import replace

import pytest

from simulator.physics import Body, CircuitBody, CircuitSetting, Leak, Params, Setting, begin, conductance_for, step
from simulator.truth import leak_kpa_per_min, to_level_s

VOLUME_M3 = 0.010


def lifter(leak: Leak, *, pump: bool = False) -> Params:
    body = CircuitBody("A", VOLUME_M3, 0.345, 1e-3, 0.0, 60.0, 66.0, math.inf, Leak(0.0))
    circuit = CircuitSetting(pressed=True, pump_powered=pump, leaks=(leak,))
    return Params(Body((body,), 101_325.0), Setting((circuit,), air_goal_c=20.0))


def test_true_leak_is_conductance_times_pressure() -> None:
    params = lifter(Leak(2e-11))
    assert leak_kpa_per_min(begin(params, vacuum_kpa=70.0), params, 0) == pytest.approx(20.2075 * 60 / 1000, rel=5e-5)


def test_true_leak_is_zero_without_vacuum() -> None:
    params = lifter(Leak(2e-11))
    assert leak_kpa_per_min(begin(params), params, 0) == 0.0


def test_true_time_of_a_choked_leak_is_a_straight_line() -> None:
    params = lifter(Leak(conductance_for(1.2, volume_m3=VOLUME_M3)))
    assert to_level_s(begin(params, vacuum_kpa=64.0), params, 0, 52.0) == pytest.approx(600.0, abs=0.3)


def test_true_time_of_a_growing_leak_follows_its_growth() -> None:
    """v(t) = v0 - r·(e^(g·t) - 1)/g with g = ln 2 / doubling time."""
    rate, growth = 0.3 / 60.0, math.log(2.0) / 75.0
    params = lifter(Leak(conductance_for(0.3, volume_m3=VOLUME_M3), doubling_s=75.0))
    expected_s = math.log(1.0 + growth * 12.0 / rate) / growth
    assert to_level_s(begin(params, vacuum_kpa=64.0), params, 0, 52.0) == pytest.approx(expected_s, abs=0.5)


def test_true_time_counts_from_now_though_time_has_passed() -> None:
    params = lifter(Leak(conductance_for(0.3, volume_m3=VOLUME_M3), doubling_s=75.0))
    state = begin(params, vacuum_kpa=64.0)
    whole_s = to_level_s(state, params, 0, 52.0)
    for _ in range(500):
        state = step(state, params, 0.2)
    left_s = to_level_s(state, params, 0, 52.0)
    assert whole_s is not None
    assert left_s == pytest.approx(whole_s - 100.0, abs=0.3)


def test_working_pump_keeps_the_level_away_and_reserve_leaves_it_out() -> None:
    params = lifter(Leak(conductance_for(3.0, volume_m3=VOLUME_M3)), pump=True)
    state = begin(params, vacuum_kpa=62.0)
    assert to_level_s(state, params, 0, 52.0) is None
    assert to_level_s(state, params, 0, 52.0, pump=False) == pytest.approx(200.0, abs=0.3)


def test_already_below_is_zero_and_beyond_the_horizon_is_none() -> None:
    params = lifter(Leak(conductance_for(1.0, volume_m3=VOLUME_M3)))
    state = begin(params, vacuum_kpa=50.0)
    assert to_level_s(state, params, 0, 52.0) == 0.0
    assert to_level_s(state, params, 0, 20.0, horizon_s=60.0) is None


def test_hoist_stands_still_for_the_true_time() -> None:
    params = lifter(Leak(conductance_for(1.2, volume_m3=VOLUME_M3)))
    hoisting = replace(params, setting=replace(params.setting, height_goal_m=300.0, hoist_m_per_s=2.0))
    state = begin(params, vacuum_kpa=64.0)
    assert to_level_s(state, hoisting, 0, 52.0) == to_level_s(state, params, 0, 52.0)
