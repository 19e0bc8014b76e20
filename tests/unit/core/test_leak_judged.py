"""Whether a fall is established, from rates and hypotheses put in by hand: both sides of each limit, hoists set apart."""

import numpy as np
import pytest

from monitor.core import leak_bank as banks
from monitor.core import leak_judge as judge
from monitor.core.leak_project import gaussian
from tests.unit.core.leak_signals import rate_of
from tests.unit.core.test_leak_follow import NOW_S, PER_MIN, block, state_of

SD = 0.001 * PER_MIN


def per_min(value, sd=SD):
    return value * PER_MIN, sd


def put(state, row, kpa_per_min, *, age_s=100.0, base=0.0):
    """Circuit ``row`` falls steadily by so much, and has for so long."""
    track = state.tracks[row]
    track.mixed = gaussian(62.0, (kpa_per_min * PER_MIN, SD**2))
    track.mixed.age_s = np.full(2, age_s)
    track.mixed.base = np.full(2, base * PER_MIN)
    track.quantiles = rate_of(track.mixed)
    return track


def seconds(*means_kpa, noise_sd=0.02):
    """Means of the last seconds, the last of them now."""
    return [(NOW_S - ago_s, mean, noise_sd**2) for ago_s, mean in zip((2.0, 1.0, 0.0), means_kpa, strict=True)]


def judged(monkeypatch, state, *others, measured="ambient", own=None):
    """Whether circuit A falls, the other circuits falling by ``others`` kPa/min."""
    rates = [per_min(own if own is not None else 2.0), *(None if one is None else per_min(one) for one in others)]
    monkeypatch.setattr(judge, "_rates", lambda *_: (rates, [True] * len(rates)))
    state.climb_source, state.ambient_kpa = measured, 101.3
    judge.judge(state, 1.0)
    return state.tracks[0].falling


@pytest.mark.parametrize(("kpa_per_min", "falls"), [(0.34, False), (0.36, True)])
def test_fall_beyond_what_lifters_in_order_lose_is_one(monkeypatch, kpa_per_min, falls):
    state = state_of(1)
    put(state, 0, kpa_per_min)
    assert judged(monkeypatch, state) is falls


@pytest.mark.parametrize(
    ("other", "kpa_per_min", "falls"),
    [
        (0.1, 0.44, False),  # what the others lose as well may be gas that cools
        (0.1, 0.46, True),
        (5.0, 0.48, False),  # but by no more than 10 K in ten minutes: 0.136 kPa/min at 62 of 101.3 kPa
        (5.0, 0.49, True),
        (-0.3, 0.36, True),  # gas that warms in the others excuses nothing
        (None, 0.36, True),
    ],
)
def test_gas_that_cools_excuses_what_the_others_show_of_it(monkeypatch, other, kpa_per_min, falls):
    state = state_of(2)
    put(state, 0, kpa_per_min)
    assert judged(monkeypatch, state, other) is falls


@pytest.mark.parametrize(("begun_ago_s", "falls"), [(2.9, False), (3.0, True)])
def test_first_three_seconds_of_a_stretch_establish_nothing(monkeypatch, begun_ago_s, falls):
    state = state_of(1)
    put(state, 0, 3.0, age_s=1.0).begun_s = NOW_S - begun_ago_s
    assert judged(monkeypatch, state) is falls


@pytest.mark.parametrize("lacking", ["mixed", "begun_s", "block", "quantiles"])
def test_what_is_not_known_is_not_falling(monkeypatch, lacking):
    state = state_of(1)
    track = put(state, 0, 3.0)
    track.falling = True
    setattr(track, lacking, None)
    assert not judged(monkeypatch, state)


@pytest.mark.parametrize(
    ("measured", "kpa_per_min", "known", "falls"),
    [
        ("ambient", 0.34, True, False),
        ("ambient", 0.36, True, True),
        ("ambient", 0.36, False, False),
        ("", 1.42, True, False),  # a hoist at 1.5 m/s takes 1.08 kPa/min of it
        ("", 1.44, True, True),
    ],
)
def test_circuit_that_loses_with_its_pump_running_is_falling(monkeypatch, measured, kpa_per_min, known, falls):
    state = state_of(1)
    track = put(state, 0, kpa_per_min, age_s=60.0)
    track.pump.running = True
    if not known:
        track.known_of_s = None
    assert judged(monkeypatch, state, measured=measured) is falls


@pytest.mark.parametrize(
    ("kpa_per_min", "lost_kpa", "stairs_kpa", "known", "falls"),
    [
        (1.0, 1.53, 0.0, True, False),  # a lift of 100 m takes 1.2 kPa, and a load that swings 0.35
        (1.0, 1.56, 0.0, True, True),
        (0.34, 9.0, 0.0, True, False),
        (0.36, 9.0, 0.0, True, True),
        (1.0, 9.0, 0.0, False, False),
        (1.0, 2.02, 0.5, True, False),
        (1.0, 2.06, 0.5, True, True),
    ],
)
def test_what_lost_more_than_the_lift_is_high_with_its_pump_running_is_falling(
    monkeypatch, kpa_per_min, lost_kpa, stairs_kpa, known, falls
):
    state = state_of(1)
    track = put(state, 0, kpa_per_min, age_s=60.0 * lost_kpa / kpa_per_min)
    track.pump.running, track.gatherer.stairs_kpa = True, stairs_kpa
    if not known:
        track.known_of_s = None
    assert judged(monkeypatch, state, measured="") is falls


@pytest.mark.parametrize(
    ("others", "measured", "stairs_kpa", "falls"),
    [
        ((), "", 1.33, True),  # 2 kPa lost in a minute are one and a half steps of 1.33 kPa
        ((), "", 1.34, False),
        ((0.0,), "ambient", 1.33, True),
        ((0.0,), "ambient", 1.34, False),
        ((0.0,), "", 0.79, True),  # and two and a half where the others may show a hoist late
        ((0.0,), "", 0.81, False),
    ],
)
def test_coarse_gauge_must_have_stepped_by_more_than_a_drift_would(monkeypatch, others, measured, stairs_kpa, falls):
    state = state_of(1 + len(others))
    put(state, 0, 2.0, age_s=60.0).gatherer.stairs_kpa = stairs_kpa
    monkeypatch.setattr(judge, "_beside_others", lambda *_, **__: 1.0)
    assert judged(monkeypatch, state, *others, measured=measured) is falls


@pytest.mark.parametrize(
    ("others", "age_s", "falls"),
    [
        ((0.6,), 11.9, False),  # 0.3 kPa in 11.9 s, and the other moves too: the load may swing
        ((0.6,), 12.0, True),
        ((-0.6,), 11.9, False),
        ((0.6, 0.0), 11.9, False),  # the third may not show it yet
        ((0.0, 0.6), 11.9, False),
        ((0.37, 0.37), 11.9, True),  # under a quarter of 1.5 kPa/min it is no swing of both
    ],
)
def test_fall_of_all_must_outlast_a_swing(monkeypatch, others, age_s, falls):
    state = state_of(1 + len(others))
    put(state, 0, 1.5, age_s=age_s)
    assert judged(monkeypatch, state, *others) is falls


@pytest.mark.parametrize(
    ("sd_kpa", "pumps", "age_s", "falls"),
    [
        (0.061, False, 11.9, False),  # the other's blocks scatter over three times as far as their noise
        (0.061, False, 12.0, True),
        (0.059, False, 11.9, True),
        (0.061, True, 11.9, True),
    ],
)
def test_fall_beside_a_circuit_that_swings_must_outlast_a_swing(monkeypatch, sd_kpa, pumps, age_s, falls):
    state = state_of(2)
    put(state, 0, 1.5, age_s=age_s)
    state.tracks[1].block, state.tracks[1].pump.running = block(sd=sd_kpa, noise_sd=0.02), pumps
    assert judged(monkeypatch, state, 0.0) is falls


@pytest.mark.parametrize(("age_s", "falls"), [(13.9, False), (14.1, True)])
def test_fall_of_all_found_before_the_circuit_was_seen_to_swing_must_be_larger_than_a_swing(monkeypatch, age_s, falls):
    """0.35 kPa at 1.5 kPa/min take 14 s: readings that swing no longer tell its age."""
    state = state_of(2)
    put(state, 0, 1.5, age_s=age_s).block = block(sd=0.061, noise_sd=0.02)
    assert judged(monkeypatch, state, 0.6) is falls


@pytest.mark.parametrize(
    ("chance", "onset_ago_s", "moves_kpa_per_min", "pumps", "falls"),
    [
        (2.9e-4, 3.0, 0.6, False, True),  # thirty times the prior chance of a second, less than 3e-4
        (3.1e-4, 3.0, 0.6, False, False),  # the other may have begun to move as well: the load may swing
        (3.1e-4, 3.0, -0.6, False, False),
        (3.1e-4, 3.0, 0.34, False, True),
        (3.1e-4, 20.1, 0.6, False, True),  # long ago it would be told by now
        (3.1e-4, 19.9, 0.6, False, False),
        (3.1e-4, 3.0, 0.6, True, True),
    ],
)
def test_another_circuit_that_may_have_begun_to_move_makes_a_swing_possible(
    monkeypatch, chance, onset_ago_s, moves_kpa_per_min, pumps, falls
):
    state = state_of(2)
    put(state, 0, 1.5, age_s=5.0)
    state.tracks[1].pump.running = pumps
    bank, slot = state.bank, state.bank.slots[3]
    bank.since_s[1] = NOW_S - 100.0
    bank.log_weight[slot, 1, banks.STEADY] = np.log(chance)
    bank.onset_s[slot, 1], bank.state[banks.RATE, slot, 1] = NOW_S - onset_ago_s, moves_kpa_per_min * PER_MIN
    assert judged(monkeypatch, state, 0.0) is falls


def test_fall_of_one_circuit_alone_outlasts_nothing(monkeypatch):
    """However lately it began itself: that is no other that begins to move."""
    state = state_of(2)
    put(state, 0, 1.5, age_s=0.5)
    bank, slot = state.bank, state.bank.slots[3]
    bank.since_s[0] = NOW_S - 100.0
    bank.log_weight[slot, 0, banks.STEADY] = np.log(0.5)
    bank.onset_s[slot, 0], bank.state[banks.RATE, slot, 0] = NOW_S - 0.5, 1.5 * PER_MIN
    assert judged(monkeypatch, state, 0.0)


@pytest.mark.parametrize(
    ("risen_kpa", "other", "measured", "before", "falls"),
    [
        (0.028, 0.6, "ambient", False, True),  # the noise of a difference, 0.0283 kPa
        (0.029, 0.6, "ambient", False, False),  # the load swings back
        (0.029, 0.0, "ambient", False, True),  # no other circuit moves
        (0.029, 0.6, "ambient", True, True),  # what is established stays
        (0.029, 0.6, "", False, True),  # the hook may come down
    ],
)
def test_fall_of_all_is_not_established_while_the_circuit_rises(monkeypatch, risen_kpa, other, measured, before, falls):
    state = state_of(2)
    track = put(state, 0, 1.5)
    monkeypatch.setattr(judge, "_beside_others", lambda *_, **__: 1.0)
    track.gatherer.means = seconds(62.0, 62.0, 62.0 + risen_kpa)
    track.falling = before
    assert judged(monkeypatch, state, other, measured=measured) is falls


@pytest.mark.parametrize(
    ("lowers_kpa_per_min", "seconds_n", "rises"), [(0.0, 3, True), (0.6, 3, True), (0.7, 3, False), (0.0, 2, False)]
)
def test_circuit_rises_if_it_gains_more_than_the_hook_that_comes_down_gives(lowers_kpa_per_min, seconds_n, rises):
    """0.05 kPa in two seconds, of which 0.7 kPa/min are 0.023; the noise of a difference is 0.0283 kPa."""
    track = state_of(1).tracks[0]
    track.gatherer.means = seconds(62.0, 62.0, 62.05)[-seconds_n:]
    assert judge._rises(track, lowers_kpa_per_min * PER_MIN) is rises


@pytest.mark.parametrize(("other", "falls"), [(0.34, True), (0.36, False)])
def test_little_leaks_of_the_others_are_no_swing(monkeypatch, other, falls):
    state = state_of(2)
    put(state, 0, 1.0, age_s=7.0)
    assert judged(monkeypatch, state, other) is falls


@pytest.mark.parametrize(
    ("measured", "other", "sure", "falls"),
    [("", 0.0, 0.9989, False), ("", 0.0, 0.9991, True), ("ambient", 0.0, 0.0, True), ("", None, 0.0, True)],
)
def test_where_no_hoist_is_measured_a_fall_is_judged_beside_the_others(monkeypatch, measured, other, sure, falls):
    state = state_of(2)
    put(state, 0, 2.0)
    monkeypatch.setattr(judge, "_beside_others", lambda *_, **__: sure)
    assert judged(monkeypatch, state, other, measured=measured) is falls


def test_each_circuit_is_judged_by_what_sets_it_apart_and_by_what_all_lose(monkeypatch):
    state = state_of(3)
    for row in range(2):
        put(state, row, 2.0)
    state.tracks[2].mixed = None
    state.relative.since_s = [NOW_S - 100.0, NOW_S - 100.0, np.inf]
    asked = []
    monkeypatch.setattr(
        judge,
        "_beside_others",
        lambda _state, _bank, apart, row, rates, **_: asked.append((row, apart.source[:2], rates)) or 1.0,
    )
    judged(monkeypatch, state, 2.0, None, measured="")
    rates = [per_min(2.0), per_min(2.0), None]
    assert asked == [(0, (state.relative, 0), rates), (1, (state.relative, 1), rates)]


def test_hoist_of_all_is_taken_up_only_where_none_is_measured(monkeypatch):
    for measured, common in (("", 0.5), ("ambient", 0.0)):
        state = state_of(2, hoist_height_m=100.0, hoist_speed_m_s=1.0)
        state.common.usual_kpa_per_s = [0.0, 0.0]
        monkeypatch.setattr(judge, "_beside_others", lambda *_, **__: 0.0)
        judged(monkeypatch, state, 0.6, own=0.5, measured=measured)
        assert state.common.rate_kpa_per_s == pytest.approx(common * PER_MIN)


@pytest.mark.parametrize("first", ["unknown", "running"])
def test_circuits_after_one_that_is_not_known_or_pumps_are_judged_as_well(monkeypatch, first):
    state = state_of(2)
    put(state, 1, 3.0)
    put(state, 0, 0.0).pump.running = first == "running"
    if first == "unknown":
        state.tracks[0].mixed = None
    judged(monkeypatch, state, 3.0, own=0.0)
    assert [track.falling for track in state.tracks] == [False, True]


def test_gain_of_vacuum_by_a_measured_hoist_is_doubted_from_this_block_on(monkeypatch):
    state = state_of(1)
    judged(monkeypatch, state, own=-1.0)
    assert state.climb_refuted_since_s == NOW_S


# --- a hoist that is measured wrong


def gains(*kpa_per_min, sd=SD):
    return [None if one is None else per_min(one, sd) for one in kpa_per_min]


@pytest.mark.parametrize(
    ("rates", "doubted"),
    [
        (gains(-0.21), True),
        (gains(-0.19), False),
        (gains(-0.3, sd=0.06 * PER_MIN), False),  # two standard deviations
        (gains(-0.3, sd=0.04 * PER_MIN), True),
        (gains(-0.3, 0.0), True),  # half of those at rest
        (gains(-0.3, 0.0, 0.0), False),
        (gains(-0.3, -0.3, 0.0, 0.0), True),
        (gains(-0.3, None, 0.0), True),
        (gains(0.3), False),
        ([None], False),
    ],
)
def test_hoist_by_which_half_the_resting_circuits_gain_vacuum_is_no_longer_believed(rates, doubted):
    state = state_of(1)
    state.climb_source, state.climb_doubted = "ambient", frozenset({"height"})
    state.climb.times_s, state.climb.values_kpa = [NOW_S], [-101.0]
    judge._doubt_climb(state, NOW_S, rates)
    judge._doubt_climb(state, NOW_S + 11.9, rates)
    assert state.climb_source == "ambient"
    assert state.climb_refuted_since_s == (NOW_S if doubted else None)
    judge._doubt_climb(state, NOW_S + 12.0, rates)
    assert state.climb_source == ("" if doubted else "ambient")
    assert state.climb_doubted == (frozenset({"ambient", "height"}) if doubted else frozenset({"height"}))
    assert state.climb_refuted_since_s is None
    assert state.climb.values_kpa == ([] if doubted else [-101.0])


def test_doubt_begins_anew_after_an_instant_without_any_and_needs_a_source():
    state = state_of(1)
    state.climb_source = "ambient"
    judge._doubt_climb(state, NOW_S, gains(-1.0))
    judge._doubt_climb(state, NOW_S + 6.0, gains(0.0))
    judge._doubt_climb(state, NOW_S + 12.0, gains(-1.0))
    assert (state.climb_source, state.climb_refuted_since_s) == ("ambient", NOW_S + 12.0)
    state.climb_source = ""
    judge._doubt_climb(state, NOW_S + 30.0, gains(-1.0))
    assert (state.climb_doubted, state.climb_refuted_since_s) == (frozenset(), None)
