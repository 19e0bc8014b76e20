"""Each circuit held against the others at rest: what that bank is told, and when a circuit begins anew in it."""

import math

import numpy as np
import pytest

from monitor.core import leak_apart as apart
from monitor.core import leak_bank as banks
from monitor.core.leak import begin
from monitor.core.readings import Pump
from tests.unit.core.leak_signals import config
from tests.unit.core.test_leak_follow import NOW_S, PER_MIN, WIDENED, block, state_of
from tests.unit.core.test_leak_let_in import second


def start_var(bank):
    """Variance a first row began with, as far as wild readings left it."""
    return float(bank.state[banks.P_LEVEL, -1, 0, 0])


def compared(observed, *seen, state=None, foreseen=(62.0, 62.0, 62.0), var=0.01**2, **changes):
    """Three circuits at 62 kPa and a second later at ``seen``; what their comparison was told."""
    state = state or state_of(3)
    for name, row in changes.items():
        if name == "running":
            state.tracks[row].pump.running = True
        if name == "unseen":
            state.tracks[row].block = None
        if name == "suspect":
            state.tracks[row].pump.suspect_s = NOW_S
    blocks = [None if one is None else one if not isinstance(one, float) else block(one) for one in seen]
    jumped = [changes.get("jumped") == row for row in range(3)]
    state.relative.at_s = NOW_S + 1.0
    apart.compare(state, state.relative, blocks, jumped, (np.array(foreseen), np.full(3, var)), 1.0)
    return state, observed[-1]


def test_each_circuit_is_held_against_the_mean_of_the_others(observed):
    state, (rows_n, seen, noise, wanted, half) = compared(observed, 61.9, 61.95, 62.0)
    assert seen == pytest.approx([-0.075, 0.0, 0.075])
    assert noise == pytest.approx([1.5 * 0.02**2] * 3)  # its own and that of the mean of two
    assert wanted.tolist() == [True] * 3
    assert (rows_n, half) == (3, None)
    assert state.relative.since_s == [NOW_S + 1.0] * 3
    assert max(state.relative.born_s) == NOW_S + 1.0
    assert (state.beside, state.shift_kpa) == ([[1, 2], [0, 2], [0, 1]], [0.0] * 3)
    _, (_, seen, *_) = compared(observed, 61.8, 61.85, 61.9, state=state)
    assert seen == pytest.approx([-0.075, 0.0, 0.075])
    assert state.relative.since_s == [NOW_S + 1.0] * 3


def test_circuit_begins_where_it_was_foreseen_be_its_first_block_wild_or_not(observed):
    state, _ = compared(observed, 9.0, 62.0, 62.0, foreseen=(61.5, 62.0, 62.0))
    assert banks.moments(state.relative)[0][0] == pytest.approx([-0.5, 0.25, 0.25], abs=0.03)
    assert start_var(state.relative) == pytest.approx(4.0 * 1.5 * 0.02**2)


def test_circuit_begins_with_what_it_was_last_known_to_lose_less_what_the_others_do(observed):
    """All three lose 2 kPa/min; what is not known of another counts as nothing."""
    state = state_of(3)
    state.tracks[2].known_of_s = None
    state.tracks[2].pump.off_rate = (0.05, 1e-6)
    compared(observed, 61.9, 61.95, 62.0, state=state)
    var = state.tracks[0].quantiles.sd ** 2 + WIDENED
    assert state.relative.remembered[0] == pytest.approx((2.0 * PER_MIN - 1.0 * PER_MIN, var))
    assert state.relative.remembered[2] == pytest.approx((0.05 - 2.0 * PER_MIN, 1e-6 + WIDENED))


def test_circuit_of_which_no_leak_is_known_begins_without(observed):
    state = state_of(3)
    state.tracks[0].quantiles = None
    compared(observed, 61.9, 61.95, 62.0, state=state)
    assert state.relative.remembered[0] is None


@pytest.mark.parametrize(("wild_kpa", "foreseen_kpa"), [(61.0, 61.0), (9.0, 61.0), (61.0, 60.9)])
def test_others_come_and_go_without_a_step(observed, wild_kpa, foreseen_kpa):
    """The third, a kilopascal lower, is rested with the others from its second block on, be that wild or not."""
    state, _ = compared(observed, 62.0, 62.0, 61.0, running=2)
    state.tracks[2].pump.running = False
    _, (_, seen, *_) = compared(observed, 62.0, 62.0, wild_kpa, state=state, foreseen=(62.0, 62.0, foreseen_kpa))
    shift_kpa = -(62.0 - 0.5 * (62.0 + foreseen_kpa))
    assert state.shift_kpa[:2] == pytest.approx([shift_kpa] * 2)
    assert seen[0] == pytest.approx(62.0 - 0.5 * (62.0 + wild_kpa) + shift_kpa)
    assert state.beside == [[1, 2], [0, 2], [0, 1]]
    _, (_, seen, *_) = compared(observed, 62.0, 62.0, 61.0, state=state)
    assert seen[0] == pytest.approx(0.5 + shift_kpa)  # once joined it stays so


def test_one_that_is_not_heard_for_a_block_counts_by_where_it_was_foreseen(observed):
    state, (_, seen, noise, wanted, _) = compared(observed, 62.0, None, 62.0, foreseen=(9.0, 61.5, 9.0), var=0.03**2)
    assert seen == pytest.approx([0.25, 0.0, 0.25])
    assert noise == pytest.approx([1.25 * 0.02**2 + 0.25 * 0.03**2, 1.0, 1.25 * 0.02**2 + 0.25 * 0.03**2])
    assert wanted.tolist() == [True, False, True]
    assert state.beside == [[1, 2], [], [0, 1]]


def test_one_not_heard_counts_as_the_heard_do_with_the_hoist_so_far_taken_out(observed):
    state = state_of(3)
    state.climb_kpa = 0.4
    _, (_, seen, *_) = compared(observed, 61.6, None, 61.6, state=state, foreseen=(62.0, 62.0, 62.0))
    assert seen == pytest.approx([0.0, 0.0, 0.0])


def test_while_the_hoist_is_measured_nothing_is_compared(observed):
    state = begin(config())
    second(state, 0.0, 62.0123, 61.0123)
    second(state, 1.0, 62.0123, 61.0123, ambient_kpa=101.0)
    assert state.relative.since_s == [math.inf] * 2
    assert [told[0] for told in observed] == [3, 2, 3]
    for at_s in range(2, 14):
        second(state, float(at_s), 62.0123, 61.0123)
    assert state.relative.since_s == [12.0] * 2  # and anew once it is no longer heard of


def test_circuit_that_was_silent_for_long_begins_anew(observed):
    state, _ = compared(observed, 62.0, 62.0, 62.0)
    state.relative.since_s = [NOW_S - 50.0] * 3
    compared(observed, 62.0, 62.0, 62.0, state=state, unseen=1)
    assert state.relative.since_s == [NOW_S - 50.0, math.inf, NOW_S - 50.0]


def test_rise_that_may_be_a_stroke_is_not_compared(observed):
    _, (_, _, _, wanted, _) = compared(observed, 62.0, 62.0, 62.0, suspect=2)
    assert wanted.tolist() == [False] * 3


@pytest.mark.parametrize(("reported", "anew"), [(None, True), (Pump.ON, False)])
def test_stroke_that_showed_late_was_taken_in_by_all_it_was_held_against(observed, reported, anew):
    state, _ = compared(observed, 62.0, 62.0, 62.0)
    state.relative.since_s = [NOW_S - 50.0] * 3
    state.tracks[2].pump.running, state.tracks[2].pump.reported = True, reported
    compared(observed, 62.0, 62.0, 65.0, state=state, jumped=2)
    began_s = NOW_S + 1.0 if anew else NOW_S - 50.0
    assert state.relative.since_s == [began_s, began_s, math.inf]
    state.relative.since_s = [NOW_S - 50.0] * 3
    compared(observed, 62.0, 62.0, 65.0, state=state)  # it runs on
    assert state.relative.since_s == [NOW_S - 50.0, NOW_S - 50.0, math.inf]


@pytest.mark.parametrize(
    ("seen", "changes"),
    [
        ((62.1, 70.0, 62.0), {"running": 1}),
        ((62.1, 70.0, 62.0), {"jumped": 1}),
        ((62.1, 70.0, 62.0), {"unseen": 1}),
    ],
    ids=["its pump runs", "its pump turned", "just begun"],
)
def test_circuit_that_does_not_rest_is_held_against_nothing(observed, seen, changes):
    _, (_, told, noise, wanted, _) = compared(observed, *seen, **changes)
    assert told == pytest.approx([0.1, 0.0, -0.1])
    assert noise == pytest.approx([2.0 * 0.02**2, 1.0, 2.0 * 0.02**2])
    assert wanted.tolist() == [True, False, True]


def test_circuit_alone_is_held_against_nothing(observed):
    _, (_, _, _, wanted, _) = compared(observed, 61.0, None, None)
    assert wanted.tolist() == [False] * 3


@pytest.mark.parametrize(
    ("given", "wanted"),
    [
        ([{"half_kpa": 0.5}, {}, {}], [True] * 3),
        ([{"still": True}, {}, {}], [True] * 3),
        ([{"still": True}, {"still": True}, {"still": True}], [False] * 3),
        ([{}, {"still": True}, {"half_kpa": 0.5}], [True] * 3),
    ],
)
def test_gauges_that_step_at_different_times_differ_by_more(observed, given, wanted):
    _, (_, _, noise, told, _) = compared(observed, *(block(62.0, **one) for one in given))
    assert noise == pytest.approx([12.0 * 1.5 * 0.02**2] * 3)
    assert told.tolist() == wanted


def test_pump_that_turns_in_a_block_is_not_compared_by_it_and_anew_after():
    state = second(begin(config()), 0.0, 62.0123, 61.0123)
    second(state, 1.0, 62.0223, 61.0123)
    assert state.relative.since_s == [1.0, 1.0]  # a first block is compared with nothing
    state.tracks[0].pump.reported = Pump.ON
    second(state, 2.0, 63.0, 61.0123)
    assert state.relative.since_s == [math.inf, 1.0]
    state.tracks[0].pump.reported = Pump.OFF
    second(state, 3.0, 64.0, 61.0123)
    assert state.relative.since_s == [math.inf, 1.0]
    second(state, 4.0, 64.0, 61.0123)
    assert state.relative.since_s == [4.0, 1.0]
