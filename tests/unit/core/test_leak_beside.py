"""What weighed hypotheses say of a circuit's rate, and what of it is its own beside the others."""

import math

import numpy as np
import pytest

from monitor.core import leak_bank as banks
from monitor.core import leak_judge as judge
from monitor.core.leak_bank import Bank, restart
from monitor.core.leak_project import Mixture
from tests.unit.core.test_leak_follow import NOW_S, PER_MIN, block, state_of

SD = 0.001 * PER_MIN


# --- what hypotheses show


def of(*, rate=2.0, age_s=60.0, base=0.0):
    one = (1.0, banks.STEADY, age_s, 62.0, rate * PER_MIN, 0.0, base * PER_MIN, 1e-6, 0.0, SD**2)
    return Mixture(*(np.array([value]) for value in one))


@pytest.mark.parametrize(
    ("given", "least_kpa", "stretch_s", "outlasts_s", "shows"),
    [
        ({}, 1.99, 300.0, 0.0, True),
        ({}, 2.01, 300.0, 0.0, False),
        ({"base": 0.34}, 2.01, 70.1, 0.0, False),  # what a lifter in order lost before a change is none of it
        ({"base": 0.35}, 2.34, 70.1, 0.0, True),  # but a leak goes on beside what changed
        ({"base": 0.35}, 2.36, 70.1, 0.0, False),
        ({"base": 0.3}, 2.29, 70.0, 0.0, True),  # and what the last rest lost from the start of this one
        ({"base": 0.3}, 2.31, 70.0, 0.0, False),
        ({"rate": 3.0, "age_s": 7.1}, 0.0, 300.0, 12.0, True),  # 0.35 kPa
        ({"rate": 3.0, "age_s": 6.9}, 0.0, 300.0, 12.0, False),
        ({"rate": 3.0, "age_s": 6.9}, 0.0, 300.0, 0.0, True),
        ({"rate": 0.5, "age_s": 12.0}, 0.0, 300.0, 12.0, True),
        ({"rate": 0.5, "age_s": 11.9}, 0.0, 300.0, 12.0, False),
        ({"rate": 0.5, "age_s": 12.0}, 0.11, 300.0, 12.0, False),
        ({"rate": 0.5, "age_s": 300.0}, 0.0, 300.0, math.inf, True),  # 2.5 kPa, however it swings
        ({"rate": 0.5, "age_s": 41.0}, 0.0, 300.0, math.inf, False),
    ],
)
def test_fall_shows_once_it_is_beyond_a_step_and_if_shared_beyond_a_swing(
    given, least_kpa, stretch_s, outlasts_s, shows
):
    for seen in (block(62.0), block(61.0)):
        told = judge._shows(of(**given), seen, least_kpa, stretch_s=stretch_s, outlasts_s=outlasts_s)
        assert told.tolist() == [shows]


@pytest.mark.parametrize(
    ("seen_kpa", "noise_kpa", "shows"),
    [
        (62.06, 0.0, False),  # 0.4 kPa are said to be lost, of which 0.06 came back
        (62.04, 0.0, True),
        (62.06, 0.01, True),  # which a noise of 0.01 kPa may have done
        (62.08, 0.01, False),
        (62.69, 0.0, False),
        (62.71, 0.0, True),  # no swing brings back so much: it is wild
    ],
)
def test_what_a_swing_brought_back_is_not_lost_though_a_hypothesis_has_not_seen_it_turn(seen_kpa, noise_kpa, shows):
    mixed, seen = of(rate=3.0, age_s=8.0), block(seen_kpa, noise_sd=noise_kpa)
    assert judge._shows(mixed, seen, 0.38, stretch_s=300.0, outlasts_s=math.inf).tolist() == [shows]
    assert judge._shows(mixed, seen, 0.38, stretch_s=300.0, outlasts_s=8.0).tolist() == [True]


def seen_bank(rows_n, rates, *, seconds=60, noise_kpa=0.01, begun_s=0.0):
    """A bank of rows that saw steady falls from 62 kPa, kPa/min, its last block at ``NOW_S``."""
    from_s = NOW_S - seconds
    bank = Bank(rows_n, from_s)
    for row in range(rows_n):
        restart(bank, row, 62.0, noise_kpa**2)
    for second in range(1, seconds + 1):
        banks.predict(bank, from_s + second, np.zeros((2, rows_n)))
        kpa = 62.0 - np.array(rates) * PER_MIN * second
        banks.observe(bank, kpa, np.full(rows_n, noise_kpa**2), np.full(rows_n, True))
        banks.spawn(bank, 1.0)
    bank.since_s = [NOW_S - seconds + begun_s] * rows_n
    return bank


def rated(**changes):
    """One circuit of two that lost 2 kPa/min for a minute, the other 0.1; told rates and whether they have settled."""
    state = state_of(2)
    state.bank = seen_bank(3, [2.0, 0.1, 0.0])
    state.climb_kpa = 0.5
    for track in state.tracks:
        track.begun_s = NOW_S - changes.get("stretch_s", 60.0)
    for name, value in changes.get("track", {}).items():
        setattr(state.tracks[0], name, value)
    state.tracks[0].pump.running = changes.get("running", False)
    return state, *judge._rates(state, state.bank)


def test_rate_of_each_circuit_is_told_with_its_spread():
    state, rates, settled = rated()
    assert rates[0][0] == pytest.approx(2.0 * PER_MIN, rel=0.03)
    assert rates[1][0] == pytest.approx(0.1 * PER_MIN, rel=0.3)
    assert 0.0 < rates[0][1] < 0.1 * PER_MIN
    assert rates[0] == (state.tracks[0].quantiles.middle, state.tracks[0].quantiles.sd)
    assert settled == [True, True]
    level_kpa = float((state.tracks[0].mixed.weight * state.tracks[0].mixed.level).sum())
    assert level_kpa == pytest.approx(60.0 - 0.5, abs=0.02)  # without the hoist the vacuum itself


@pytest.mark.parametrize(("stretch_s", "told"), [(7.9, False), (8.0, True)])
def test_rate_of_a_young_stretch_is_none_for_the_others(stretch_s, told):
    assert (rated(stretch_s=stretch_s)[1][0] is not None) is told


@pytest.mark.parametrize(("stretch_s", "stood"), [(30.0, False), (30.1, True)])
def test_rate_has_stood_after_half_a_minute(stretch_s, stood):
    assert rated(stretch_s=stretch_s)[2][0] is stood


def test_rate_that_is_hardly_known_has_not_stood():
    state = state_of(2)
    state.bank = seen_bank(3, [2.0, 0.1, 0.0], noise_kpa=0.5)
    assert judge._rates(state, state.bank)[1] == [False, False]


@pytest.mark.parametrize(
    ("changes", "mixed"),
    [({"running": True}, True), ({"track": {"begun_s": None}}, False), ({"track": {"block": None}}, False)],
)
def test_circuit_that_does_not_rest_or_was_not_seen_has_no_rate(changes, mixed):
    state, rates, settled = rated(**changes)
    assert settled[0] is ("running" in changes)  # what is not known has not stood
    assert rates[0] is None
    assert rates[1] is not None
    assert (state.tracks[0].mixed is not None) is mixed


# --- beside the others


def beside(rate, other, *, apart=None, hoist=0.0, ceiling=0.0, lingers_s=0.0, usual=0.05, since_s=None, leaks=False):
    """How sure it is that A, which falls by ``rate``, leaks by itself; ``apart`` by what it differs from the others."""
    state = state_of(2)
    state.bank = seen_bank(3, [rate, other, 0.0])
    state.relative = seen_bank(2, [rate - other if apart is None else apart, 0.0])
    state.common.rate_kpa_per_s, state.common.ceilings = hoist * PER_MIN, [(ceiling * PER_MIN, 0.0)]
    state.common.lingers_s, state.common.usual_kpa_per_s = lingers_s, [None if usual is None else usual * PER_MIN] * 2
    state.common.leaks = leaks
    track = state.tracks[0]
    track.begun_s, track.beyond_since_s = NOW_S - 60.0, since_s
    rates, _ = judge._rates(state, state.bank)
    return asked(state, rates), track


def asked(state, rates):
    """How sure it is of circuit A; what that moves is told anew, as at a block's end."""
    sure = judge._beside_others(state, state.bank, judge._apart(state).get(0), 0, rates)
    judge._tell_anew(state)
    return sure


def test_what_sets_a_circuit_apart_is_its_own():
    sure, track = beside(2.0, 0.1)
    assert sure > 0.999
    assert track.quantiles.middle == pytest.approx(2.0 * PER_MIN, rel=0.05)


def test_what_all_lose_is_believed_of_one_only_once_the_others_had_time_to_follow():
    for since_s, believed in ((None, False), (NOW_S - 11.9, False), (NOW_S - 12.0, True)):
        sure, track = beside(2.0, 2.0, since_s=since_s)
        assert (sure > 0.999) is believed
        assert track.beyond_since_s == (NOW_S if since_s is None else since_s)


def test_what_a_hoist_may_be_is_no_leak():
    sure, track = beside(2.0, 2.0, hoist=1.8, ceiling=1.8, since_s=NOW_S - 60.0)
    assert sure < 0.5
    assert track.beyond_since_s is None
    assert track.quantiles.middle == pytest.approx(0.2 * PER_MIN, abs=0.05 * PER_MIN)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        ({"hoist": 1.0, "ceiling": 1.0, "apart": 1.5}, 1.5 + 0.8 - 1.0),  # apart, and the other less the hoist
        ({"lingers_s": 0.5}, 2.0 - 0.8 + 0.05),  # a hoist just now: apart, and the other's usual leak
        ({"lingers_s": 0.5, "usual": None}, 2.0 - 0.8),
        ({"ceiling": 0.3}, 2.0 - 0.8 + 0.05),  # the others may be about to follow
        ({"ceiling": 0.19}, 2.0),
        ({"ceiling": 0.3, "usual": None}, 2.0),  # of whom nothing usual is known may be excused, but is told by itself
        ({}, 2.0),
    ],
)
def test_leak_is_told_without_the_hoist(given, told):
    _, track = beside(2.0, 0.8, **given)
    assert track.quantiles.middle == pytest.approx(told * PER_MIN, abs=0.04 * PER_MIN)
    level_kpa = float((track.mixed.weight * track.mixed.level).sum())
    assert level_kpa == pytest.approx(60.0, abs=0.03)


@pytest.mark.parametrize("given", [{"lingers_s": 0.5}, {"ceiling": 0.3}])
def test_leak_of_all_circuits_is_told_whole_whatever_hoisted_before(given):
    _, track = beside(2.0, 0.8, leaks=True, **given)
    assert track.quantiles.middle == pytest.approx(2.0 * PER_MIN, abs=0.04 * PER_MIN)


def test_others_count_by_the_mean_of_what_they_usually_lose():
    state = state_of(3)
    state.bank, state.relative = seen_bank(4, [2.0, 0.8, 0.8, 0.0]), seen_bank(3, [1.2, 0.0, 0.0])
    state.common.lingers_s, state.common.usual_kpa_per_s = 9.0, [None, 0.1 * PER_MIN, 0.3 * PER_MIN]
    for track in state.tracks:
        track.begun_s = NOW_S - 60.0
    rates, _ = judge._rates(state, state.bank)
    asked(state, rates)
    assert state.tracks[0].quantiles.middle == pytest.approx(1.4 * PER_MIN, abs=0.04 * PER_MIN)


@pytest.mark.parametrize("lacking", ["mixed", "begun_s", "block"])
def test_circuit_of_which_nothing_is_known_leaks_by_itself_for_nobody(lacking):
    state = state_of(2)
    setattr(state.tracks[0], lacking, None)
    assert asked(state, [None, None]) == 0.0


def test_circuit_that_was_never_compared_is_judged_by_itself():
    state = state_of(2)
    state.bank = seen_bank(3, [2.0, 2.0, 0.0])
    state.common.rate_kpa_per_s = 0.5 * PER_MIN
    rates, _ = judge._rates(state, state.bank)
    assert asked(state, rates) == 0.0
    track = state.tracks[0]
    assert track.quantiles.middle == pytest.approx(1.5 * PER_MIN, rel=0.05)
    assert float((track.mixed.weight * track.mixed.level).sum()) == pytest.approx(60.0, abs=0.03)


@pytest.mark.parametrize(("begun_ago_s", "since"), [(60.0, None), (80.0, NOW_S)])
def test_gas_that_settles_since_the_pump_stopped_is_not_beyond_a_hoist(begun_ago_s, since):
    """What began more than ten seconds after the stop is no settling, whatever its form."""
    state = state_of(2)
    track = state.tracks[0]
    track.begun_s, track.mixed = NOW_S - begun_ago_s, of(rate=3.0, age_s=60.0)
    track.mixed.kind[:], track.mixed.growth[:] = 0, -1.0 / 10.0
    assert asked(state, [None, None]) == 0.0
    assert track.beyond_since_s == since


def test_share_of_fresh_changes_is_that_of_the_last_twenty_seconds():
    bank = Bank(2, NOW_S)
    bank.since_s = [NOW_S - 300.0, math.inf]
    bank.log_weight[:, 0] = -math.inf
    for slot, (age_s, weight) in enumerate([(0.0, 0.1), (20.0, 0.2), (20.1, 0.3), (295.0, 0.4)]):
        bank.onset_s[slot, 0] = NOW_S - age_s
        bank.log_weight[slot, 0, :2] = math.log(weight / 2.0)
    assert judge._fresh_share(bank, 0) == pytest.approx(0.3)
    bank.since_s[0] = NOW_S - 15.0  # a stretch that may still have settled has no changes
    assert judge._fresh_share(bank, 0) == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("rates", "stairs_kpa", "follow_s"),
    [
        ((1.2, 0.1), (0.0, 0.0), 12.0),
        ((1.2, 0.1), (0.1, 0.2), 15.0),  # one and a half steps of the coarsest at the fastest: 0.2 kPa at 1.2 kPa/min
        ((0.1, 0.1), (0.1, 0.1), 1.5 * 0.1 / 0.35 * 60.0),  # no slower than a fall
        ((None, 1.5), (1.0, 0.0), 60.0),
        ((None, 1.6), (1.0, 0.0), 56.25),
        ((None, None), (1.0, 0.0), 60.0),
    ],
)
def test_coarse_gauges_may_take_a_step_and_a_half_to_show_a_hoist(rates, stairs_kpa, follow_s):
    state = state_of()
    for track, one in zip(state.tracks, stairs_kpa, strict=True):
        track.gatherer.stairs_kpa = one
    told = [None if rate is None else (rate * PER_MIN, 0.0) for rate in rates]
    assert judge._follow_s(state, told) == pytest.approx(follow_s)
