"""What is asked of a hoist that is not measured, and of circuits that swing, rise or fall just as far as they may."""

import math

import pytest

from monitor.core import leak_judge as judge
from monitor.core.leak_common import HOISTING_KPA_PER_S
from monitor.core.leak_state import COARSE_KPA
from tests.unit.core.test_leak_beside import asked, of, seen_bank
from tests.unit.core.test_leak_follow import NOW_S, PER_MIN, block, state_of
from tests.unit.core.test_leak_judged import judged, put, seconds


def test_hoist_of_all_is_asked_with_how_coarse_each_gauge_is_and_how_late_it_may_show(monkeypatch):
    """One and a half steps of 0.5 kPa at 1.2 kPa/min take 37.5 s."""
    asked = {}
    monkeypatch.setattr(judge, "share", lambda *_, **given: asked.update(given))
    monkeypatch.setattr(judge, "_beside_others", lambda *_, follow_s=None: asked.update(beside_s=follow_s) or 1.0)
    state = state_of(2)
    for row, stairs_kpa in enumerate((COARSE_KPA, 0.5)):
        put(state, row, 1.2).gatherer.stairs_kpa = stairs_kpa
    judged(monkeypatch, state, 1.0, own=1.2, measured="")
    assert asked["coarse"] == [False, True]
    assert asked["follow_s"] == asked["beside_s"] == pytest.approx(37.5)


@pytest.mark.parametrize(("sd_kpa", "swings"), [(3 / 32, False), (3.1 / 32, True)])
def test_circuit_swings_whose_blocks_scatter_more_than_three_times_as_far_as_their_noise(sd_kpa, swings):
    state = state_of(2)
    state.tracks[1].block = block(sd=sd_kpa, noise_sd=1 / 32)
    assert judge._swings(state, 0) is swings
    assert not judge._swings(state, 1), "it is not beside itself"


def test_fall_of_a_circuit_that_itself_scatters_need_not_outlast_a_swing(monkeypatch):
    state = state_of(2)
    put(state, 0, 1.5, age_s=9.9).block = block(sd=0.2, noise_sd=0.02)
    assert judged(monkeypatch, state, 0.0)


@pytest.mark.parametrize(("risen_kpa", "rises"), [(5 / 64, False), (5.1 / 64, True)])
def test_circuit_rises_by_more_than_the_noise_of_a_difference(risen_kpa, rises):
    """Noises of 3/64 and 4/64 kPa together make 5/64."""
    track = state_of(1).tracks[0]
    track.gatherer.means = [(NOW_S - 3.0, 60.0, 1.0), *seconds(62.0, 62.0, 62.0 + risen_kpa, noise_sd=4 / 64)]
    track.gatherer.means[1] = (NOW_S - 2.0, 62.0, (3 / 64) ** 2)
    assert judge._rises(track, 0.0) is rises


@pytest.mark.parametrize(("lowers_kpa_per_min", "falls"), [(0.7, True), (0.0, False)])
def test_what_the_hook_gives_as_it_comes_down_is_no_rise(monkeypatch, lowers_kpa_per_min, falls):
    """0.05 kPa in two seconds, of which 0.7 kPa/min are 0.023; the noise of a difference is 0.0283 kPa."""
    state = state_of(2)
    track = put(state, 0, 1.5)
    state.bank = seen_bank(3, [0.0, 0.0, lowers_kpa_per_min])
    track.gatherer.means = seconds(62.0, 62.0, 62.05)
    assert judged(monkeypatch, state, 0.6) is falls


@pytest.mark.parametrize(
    ("ceiling_kpa_per_s", "kpa_per_min", "beyond"),
    [
        pytest.param(HOISTING_KPA_PER_S, 0.62, True, id="no hoist under way yet: 0.2 and a fall of 0.35"),
        pytest.param(1.05 * HOISTING_KPA_PER_S, 0.62, False, id="under way: 0.136 more may be gas that cools"),
        pytest.param(1.05 * HOISTING_KPA_PER_S, 0.75, True, id="beyond that as well"),
        pytest.param(1.0 * PER_MIN, 1.39, False, id="with the gas no more than the hoist can climb: 1.08"),
        pytest.param(1.0 * PER_MIN, 1.46, True, id="beyond what it can climb"),
    ],
)
def test_fall_is_beyond_a_hoist_under_way_and_what_gas_may_do_meanwhile(ceiling_kpa_per_s, kpa_per_min, beyond):
    """At 62 of 101.3 kPa 10 K in ten minutes make 0.136 kPa/min; at 1.5 m/s a hoist takes 1.08 kPa/min."""
    state = state_of(2)
    state.ambient_kpa, state.common.ceilings = 101.3, [(ceiling_kpa_per_s, 0.0)]
    track = state.tracks[0]
    track.mixed = of(rate=kpa_per_min)
    asked(state, [None, None])
    assert track.beyond_since_s == (NOW_S if beyond else None)


@pytest.mark.parametrize(("stairs_kpa", "sd_kpa"), [(0.0, 0.03), (0.1, 0.03), (0.5, 0.5 / math.sqrt(12.0))])
def test_early_bound_fears_by_the_gauge_beside_an_edge_as_between_two(monkeypatch, stairs_kpa, sd_kpa):
    """A step tells the level well, and nothing of what comes after: that second is as blind as the others."""
    asked, real = [], judge.mixtures
    monkeypatch.setattr(judge, "mixtures", lambda *given, **more: asked.extend(given[2]) or real(*given, **more))
    state = state_of(1)
    state.bank = seen_bank(2, [0.5, 0.0])
    state.tracks[0].block, state.tracks[0].gatherer.stairs_kpa = block(sd=0.03), stairs_kpa
    judge._rates(state, state.bank)
    assert asked == [pytest.approx(sd_kpa**2)]
