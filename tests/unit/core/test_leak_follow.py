"""A block let in, step by step on states made by hand: the hoist that is measured, pumps that turn, what is forgotten."""

import math

import numpy as np
import pytest

from monitor.core import leak_bank as banks
from monitor.core import leak_follow as follow
from monitor.core.leak import begin
from monitor.core.leak_bank import Bank
from monitor.core.leak_blocks import Block, gather
from monitor.core.leak_project import gaussian
from monitor.core.readings import Pump
from tests.unit.core.leak_signals import config, noise_known, rate_of

NOW_S = 5000.0
PER_MIN = 1.0 / 60.0
WIDENED = (0.03 * PER_MIN) ** 2


def block(kpa=62.0, at_s=NOW_S, sd=0.02, noise_sd=0.02, **given):
    return Block(at_s, kpa, sd**2, noise_sd**2, **given)


def state_of(circuits_n=2, *, leak_kpa_per_min=2.0, **settings):
    """Every circuit has rested for 100 s and its leak is known."""
    state = begin(config(circuits_n, **settings))
    state.interval_s = 0.2
    state.bank, state.relative = Bank(circuits_n + 1, NOW_S), Bank(circuits_n, NOW_S)
    for track in state.tracks:
        track.block, track.begun_s = block(), NOW_S - 100.0
        track.known_of_s = track.begun_s
        track.mixed = gaussian(62.0, (leak_kpa_per_min * PER_MIN, (0.01 * PER_MIN) ** 2))
        track.quantiles = rate_of(track.mixed)
    return state


# --- a hole in the readings


def test_hole_forgets_falls_rests_and_doubts_and_keeps_noise_and_strokes():
    state = state_of()
    state.block_from_s, state.common.rate_kpa_per_s, state.common.ceilings = NOW_S, 0.01, [(0.02, 0.0)]
    state.common.over_s, state.common.leaks, state.common.used_kpa = 3.0, True, 0.7
    state.climb_refuted_since_s, state.climb_doubted = NOW_S, frozenset({"height"})
    track, other = state.tracks
    track.before, track.falling, track.bounds = (block(),), True, {("going", 52.0): None}
    track.gatherer.tail, track.gatherer.means, track.gatherer.noise_var = [(NOW_S, 62.0)], [(NOW_S, 62.0)], 0.5
    track.pump.off_rate, track.pump.running = (0.01, 1e-6), True
    follow.forget(state)
    assert (state.block_from_s, state.bank, state.relative) == (None, None, None)
    assert (track.begun_s, track.block, track.mixed, track.quantiles) == (None, None, None, None)
    assert (track.before, track.falling, track.bounds) == ((), False, {})
    assert (track.gatherer.tail, track.gatherer.means, track.gatherer.noise_var) == ([], [], 0.5)
    assert track.pump.off_rate is None  # what began in the hole would be hidden by it
    assert track.pump.running
    assert other.pump.off_rate is None
    assert (state.common.rate_kpa_per_s, state.common.ceiling_kpa_per_s) == (0.0, 0.0)
    assert (state.common.over_s, state.common.leaks, state.common.used_kpa) == (0.0, False, 0.7)
    assert [one.pump.doubted for one in state.tracks] == [True, True]
    assert (state.climb_refuted_since_s, state.climb_doubted) == (None, frozenset())


# --- the hoist that is measured


@pytest.mark.parametrize(
    ("seen", "under_way", "source", "taken"),
    [("", [], "height", True), ("height", [0.1], "height", True), ("height", [0.1], "ambient", False)],
)
def test_one_source_of_the_hoist_to_a_block(seen, under_way, source, taken):
    state = state_of()
    state.climb_seen, state.climb.values_kpa = seen, list(under_way)
    follow.climb(state, source, 0.2, NOW_S)
    assert state.climb.values_kpa == ([*under_way, 0.2] if taken else under_way)
    assert state.climb_seen == (source if taken else seen)


def climbed(state, source, *values_kpa):
    for value in values_kpa:
        follow.climb(state, source, value, max(state.climb.heard_s + 0.1, NOW_S))
    return follow._follow_climb(state, state.bank, second_ends=True)


def test_hoist_counts_from_where_it_began_and_joins_without_a_step_when_its_source_changes():
    state = state_of()
    state.climb.means = state.climb.tail = [(0.0, 5.0)]
    state.climb.stairs.stood_s = 4000.0
    mean, var, says = climbed(state, "ambient", -101.0123)
    assert (mean, says) == (pytest.approx(0.0, abs=1e-9), True)
    assert var > 0.0
    assert (state.climb_source, state.climb_at_s, state.ambient_kpa) == ("ambient", NOW_S, 101.0123)
    assert (state.climb.stairs.stood_s, state.climb.tail) == (None, [])
    assert state.bank.since_s == [math.inf, math.inf, NOW_S]  # the row of the hoist
    assert np.all(state.bank.state[banks.LEVEL, -1, 2] == 0.0)
    assert np.all(state.bank.state[banks.P_LEVEL, -1, 2] == pytest.approx(4.0 * var))
    mean, _, _ = climbed(state, "ambient", -100.9012)
    assert mean == pytest.approx(101.0123 - 100.9012)
    assert state.ambient_kpa == 100.9012
    state.climb_kpa = mean
    assert climbed(state, "height", 0.51237)[0] == pytest.approx(101.0123 - 100.9012)
    assert (state.climb_source, state.ambient_kpa) == ("height", 100.9012)
    assert np.all(state.bank.state[banks.LEVEL, -1, 2] == mean)
    assert climbed(state, "height", 0.61237)[0] == pytest.approx(101.0123 - 100.9012 + 0.1)


def test_source_that_changes_is_no_swing_of_its_own():
    state = state_of()
    climbed(state, "ambient", -101.0123)
    state.climb.means = [(NOW_S, 101.0)] * 9
    climbed(state, "height", 0.2371)
    assert (state.climb.means, state.climb.tail) == ([], [])


@pytest.mark.parametrize(("ago_s", "source"), [(10.0, "height"), (10.1, "")])
def test_hoist_that_is_not_heard_of_for_ten_seconds_is_not_measured(ago_s, source):
    state = state_of()
    state.climb_source, state.climb_at_s = "height", NOW_S - ago_s
    assert follow._follow_climb(state, state.bank, second_ends=True) == (0.0, 1.0, False)
    assert state.climb_source == source


def test_ambient_gauge_that_stands_says_nothing_new():
    state = state_of()
    says = []
    for second in range(4):
        for tenth in range(10):
            gather(state.climb, -101.0, NOW_S + second + 0.1 * tenth)
        state.climb_seen = "ambient"
        state.climb.noise_var = 1e-8
        noise_known(state.climb.stairs, 0.03)
        says.append(follow._follow_climb(state, state.bank, second_ends=True)[2])
    assert says[0]
    assert not all(says)


# --- pumps


def turned(state, seen, *, fixed_kpa=62.0, expected_kpa=62.0, sd=0.05):
    return follow._follow_pump(state, state.tracks[0], 0, seen, fixed_kpa, expected_kpa, sd, second_ends=True)


def test_silent_pump_of_slow_readings_is_judged_by_two_of_them(monkeypatch):
    """One reading a second of a coarse gauge says too little: the mean of two, half as uncertain, tells."""
    asked = []
    monkeypatch.setattr(follow, "infer", lambda _, *given, noise_sd_kpa: asked.append((*given, noise_sd_kpa)))
    state = state_of()
    for interval_s, expected_n in ((0.71, [0, 1, 1, 2]), (0.7, [3, 4])):
        state.interval_s = interval_s
        for number, n in enumerate(expected_n):
            seen = block(at_s=NOW_S + number, sd=0.4, noise_sd=0.3)
            assert not turned(state, seen, fixed_kpa=62.0 + 0.2 * number, expected_kpa=62.0 + 0.1 * number, sd=0.5)
            assert len(asked) == n
    assert asked[0] == pytest.approx((62.1, NOW_S + 0.5, 62.05, math.sqrt(0.25 - 0.08), 0.3 / math.sqrt(2.0)))
    assert asked[2] == pytest.approx((62.0, NOW_S, 62.0, 0.5, 0.3))
    state.interval_s = 1.0
    turned(state, block(), fixed_kpa=62.0)
    assert state.tracks[0].pump.waiting
    follow.forget(state)
    assert state.tracks[0].pump.waiting == [], "what was before a hole is not paired"
    again = state_of()
    again.tracks[0].pump.waiting, again.tracks[0].pump.reported = [(62.0, NOW_S, 62.0)], Pump.OFF
    turned(again, block())
    assert again.tracks[0].pump.waiting == [], "nor what was before the pump reported"


def test_silent_pump_is_judged_by_whole_seconds(monkeypatch):
    monkeypatch.setattr(follow, "infer", lambda *_, **__: pytest.fail("asked before its second ended"))
    state = state_of()
    assert follow._follow_pump(state, state.tracks[0], 0, block(), 66.0, 62.0, 0.05, second_ends=False) is False
    assert state.tracks[0].pump.waiting == []


def start_level(state):
    return float(state.bank.state[banks.LEVEL, -1, 0, 0]), float(state.bank.state[banks.P_LEVEL, -1, 0, 0])


def test_pump_that_starts_ends_the_rest_and_its_leak_is_remembered():
    state = state_of()
    track = state.tracks[0]
    track.pump.reported, track.falling, state.climb_kpa = Pump.ON, True, 0.5
    track.gatherer.means = [(NOW_S, 62.0)]
    track.pump.followed = [(NOW_S - 1.0, 61.9, (0.07, 1e-6))]
    assert turned(state, block(61.6, sd=0.1), fixed_kpa=62.1)
    assert (track.pump.running, track.falling, track.begun_s) == (True, False, NOW_S)
    assert track.pump.began_s == NOW_S
    assert track.pump.low_kpa == pytest.approx(61.4)  # 61.9 less what the hoist took
    assert track.pump.off_rate == pytest.approx((2.0 * PER_MIN, (0.01 * PER_MIN) ** 2), rel=0.1)
    assert state.bank.remembered[0] == (-0.2, 0.25)  # it builds vacuum
    assert start_level(state) == pytest.approx((62.1, 4.0 * 0.1**2))
    assert state.bank.since_s[1] == math.inf
    assert track.gatherer.means == []


def test_rest_whose_leak_was_not_known_leaves_the_last_one_remembered():
    state = state_of()
    track = state.tracks[0]
    track.pump.reported, track.known_of_s, track.pump.off_rate = Pump.ON, None, (0.01, 1e-6)
    assert turned(state, block(), fixed_kpa=62.3)
    assert track.pump.off_rate == (0.01, 1e-6)
    assert track.pump.low_kpa == 62.3  # nothing was followed


@pytest.mark.parametrize(
    ("off_rate", "ran_s", "remembered"),
    [((0.01, 1e-6), 120.0, True), ((0.01, 1e-6), 120.1, False), (None, 120.0, False)],  # it may have covered a new one
)
def test_pump_that_stops_begins_a_rest_with_what_it_leaked_before(off_rate, ran_s, remembered):
    state = state_of()
    track = state.tracks[0]
    track.pump.reported, track.pump.running, track.pump.off_rate = Pump.OFF, True, off_rate
    track.pump.off_at_s = NOW_S - ran_s
    track.falling = True
    assert turned(state, block(65.0), fixed_kpa=65.5)
    assert (track.pump.running, track.pump.top_kpa, track.pump.ended_s) == (False, 65.0, NOW_S)
    assert state.bank.remembered[0] == (pytest.approx((0.01, 1e-6 + WIDENED)) if remembered else None)
    assert track.pump.off_rate == (off_rate if remembered else None)
    assert start_level(state)[0] == 65.5
    assert track.begun_s == NOW_S


@pytest.mark.parametrize("reported", [Pump.ON, Pump.OFF])
def test_pump_that_goes_on_as_it_was_changes_nothing(reported):
    state = state_of()
    track = state.tracks[0]
    track.pump.reported, track.pump.running = reported, reported is Pump.ON
    assert not turned(state, block(), expected_kpa=61.9)
    assert track.begun_s == NOW_S - 100.0
    rest = (track.quantiles.middle, track.quantiles.sd**2)
    assert track.pump.followed == ([] if reported is Pump.ON else [(NOW_S, 61.9, rest)])


def test_rest_of_a_silent_pump_leaked_what_it_did_before_some_of_the_stroke_was_taken_in():
    state = state_of()
    track = state.tracks[0]
    for kpa, leak in ((61.9, 2.0), (61.8, 3.0), (62.3, 0.5)):
        track.quantiles = rate_of(gaussian(62.0, (leak * PER_MIN, (0.01 * PER_MIN) ** 2)))
        assert not turned(state, block(kpa), fixed_kpa=kpa, expected_kpa=kpa)
    track.known_of_s = None
    assert not turned(state, block(62.4), fixed_kpa=62.4, expected_kpa=62.4)
    for _ in range(2):
        state.tracks[0].pump.waiting = []
        turns = turned(state, block(64.0), fixed_kpa=64.0)
    assert turns
    assert track.pump.off_rate == pytest.approx((3.0 * PER_MIN, (0.01 * PER_MIN) ** 2), rel=0.1)


def test_rise_that_is_suspected_is_no_rest_to_follow():
    state = state_of()
    track = state.tracks[0]
    assert not turned(state, block(62.6), fixed_kpa=62.6)
    assert track.pump.suspect_s == NOW_S
    assert track.pump.followed == []
    assert turned(state, block(62.6), fixed_kpa=62.6)
    assert track.pump.running


@pytest.mark.parametrize(("lifted_kpa", "shows"), [(1.1, False), (1.2, True)])
def test_slow_stroke_is_weighed_by_the_noise_of_the_gauge_not_by_a_swing(lifted_kpa, shows):
    """Four standard deviations of a difference of two blocks of 0.2 kPa are 1.13 kPa."""
    state = state_of()
    state.tracks[0].pump.followed = [(NOW_S, 62.0, None)]
    given = {"fixed_kpa": 62.0 + lifted_kpa, "expected_kpa": 62.0 + lifted_kpa, "sd": 1.0}
    turns = [turned(state, block(62.0, sd=1.0, noise_sd=0.2), **given) for _ in range(2)]
    assert turns[-1] is shows


@pytest.mark.parametrize(
    ("off_kpa", "sd", "strays"),
    [(4.9, 0.05, False), (5.1, 0.05, True), (-5.1, 0.05, True), (7.9, 1.0, False), (8.1, 1.0, True)],
)
@pytest.mark.parametrize("reported", [Pump.ON, None])
def test_no_stretch_begins_on_a_wild_reading(off_kpa, sd, strays, reported):
    """Beyond 5 kPa and eight standard deviations a pump's report is believed, the value beside it is not."""
    state = state_of()
    state.tracks[0].pump.reported = reported
    given = {"fixed_kpa": 62.0 + off_kpa, "sd": sd}
    if reported is None:
        turned(state, block(), **given)
    if reported is None and off_kpa < 0.0:
        return  # a fall is no stroke
    assert turned(state, block(), **given)
    wild = strays and reported is not None
    assert start_level(state) == pytest.approx((62.0, 4.0 * off_kpa**2) if wild else (62.0 + off_kpa, 4.0 * 0.02**2))


def test_without_a_bank_no_pump_is_followed():
    state = state_of()
    state.bank, state.tracks[0].pump.reported = None, Pump.ON
    assert not turned(state, block())
    assert not state.tracks[0].pump.running


# --- what is known of the flow and of the noise


@pytest.mark.parametrize(
    ("leak", "running", "lacking", "rate"),
    [
        (2.0, False, None, 2.0 * PER_MIN),
        (-2.0, False, None, 0.0),  # a gain slackens nothing
        (120.0, False, None, 1.0),
        (2.0, True, None, 0.0),
        (2.0, False, "block", 0.0),
        (2.0, False, "quantiles", 0.0),
    ],
)
def test_leak_slackens_by_the_laws_of_its_flow(leak, running, lacking, rate):
    """Through an orifice choked at 62 kPa not at all; seepage goes as pa² - p²: its slope over itself is 2 p/(pa² - p²)."""
    state = state_of(leak_kpa_per_min=leak)
    state.ambient_kpa = 101.3
    track = state.tracks[0]
    track.pump.running = running
    if lacking:
        setattr(track, lacking, None)
    found = follow._slackening(state, 3)
    inside = 101.3 - 62.0
    assert found.shape == (2, 3)
    assert found[0, 0] == 0.0
    assert found[1, 0] == pytest.approx(-rate * 2.0 * inside / (101.3**2 - inside**2), rel=0.01)
    assert found[:, 2].tolist() == [0.0, 0.0]


def test_flow_slackens_by_no_more_than_a_tenth_per_kpa():
    state = state_of()
    state.tracks[0].block = block(5.0)
    assert follow._slackening(state, 3).min() == pytest.approx(-0.1 * 2.0 * PER_MIN, rel=0.01)
