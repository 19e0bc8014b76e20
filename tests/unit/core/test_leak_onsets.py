"""Onsets in the bank of falls: how a stretch starts, how changes are born, and which are joined to make room."""

import copy
import math

import numpy as np
import pytest

from monitor.core import leak_bank as banks
from monitor.core.leak_bank import KINDS, P_GROWTH, SLOTS_N, Bank
from tests.unit.core.test_leak_bank import MIN_S, NOW_S, bank_of

STEADY_KINDS = [2, 3]
CROSS = [banks.P_LEVEL_RATE, banks.P_LEVEL_GROWTH, banks.P_RATE_GROWTH]


def test_new_bank_knows_nothing():
    bank = Bank(2, NOW_S)
    assert bank.state.shape == (9, 24, 2, 15)
    assert np.all(bank.log_weight == -1e4)
    assert np.all(bank.state[[banks.P_LEVEL, banks.P_RATE]] == 1.0)
    assert not bank.base.any()
    assert bank.base.shape == bank.onset_s.shape == (24, 2)
    assert np.all(bank.onset_s == NOW_S)
    assert bank.slots == list(range(24))
    assert bank.born_s == [-math.inf] * 24
    assert (bank.since_s, bank.remembered) == ([math.inf] * 2, [None] * 2)


@pytest.mark.parametrize(
    ("age_s", "unsettled"), [(-0.1, False), (0.0, True), (0.5, True), (10.0, True), (10.1, False), (-math.inf, False)]
)
def test_stretch_may_settle_for_its_first_ten_seconds(age_s, unsettled):
    bank = Bank(2, NOW_S)
    bank.since_s = [NOW_S - age_s, NOW_S - 500.0]
    assert bank.unsettled(0) is unsettled
    assert not bank.unsettled(1)


def test_only_what_begins_after_the_settling_is_a_change():
    bank = Bank(2, NOW_S)
    bank.since_s = [900.0, 0.0]
    bank.onset_s[:4, 0] = [900.0, 909.9, 910.0, 910.1]
    assert bank.changes()[:4, 0].tolist() == [False, False, False, True]


def starts(rate=None):
    bank = bank_of()
    before = copy.deepcopy(bank)
    banks.restart(bank, 1, 58.0, 0.25, rate=rate)
    return bank, before


@pytest.mark.parametrize("rate", [None, (0.02, 1e-6), (-0.2, 0.25)])
def test_restarted_row_begins_at_its_level_with_the_rates_of_the_table_or_the_one_remembered(rate):
    bank, before = starts(rate)
    slot = bank.slots[-1]
    state = bank.state[:, slot, 1]
    assert np.all(state[banks.LEVEL] == 58.0)
    assert np.all(state[banks.P_LEVEL] == 4.0 * 0.25)
    assert not state[CROSS].any()
    for number, kind in enumerate(KINDS):
        mean, var = kind.start_rate[0] / MIN_S, (kind.start_rate[1] / MIN_S) ** 2
        if rate is not None and number in STEADY_KINDS:
            mean, var = rate
        assert state[banks.RATE, number] == pytest.approx(mean)
        assert state[banks.P_RATE, number] == pytest.approx(var)
        assert state[banks.GROWTH, number] == pytest.approx(kind.growth[0])
        assert state[P_GROWTH, number] == pytest.approx(kind.growth[1] ** 2)
        weight = bank.log_weight[slot, 1, number]
        assert weight == pytest.approx(math.log(kind.start_share) if kind.start_share else math.log(1e-30))
    assert bank.base[slot, 1] == (0.0 if rate is None else max(rate[0], 0.0))
    assert bank.onset_s[slot, 1] == NOW_S
    assert (bank.since_s[1], bank.remembered[1]) == (NOW_S, rate)
    others = [one for one in range(SLOTS_N) if one != slot]
    assert np.all(bank.log_weight[others, 1] == -1e4)
    assert np.array_equal(bank.log_weight[:, [0, 2]], before.log_weight[:, [0, 2]])
    assert np.array_equal(bank.state[:, :, [0, 2]], before.state[:, :, [0, 2]])


def spawned(dt_s=0.5, **since_s):
    bank = bank_of()
    bank.slots = [3, *(slot for slot in range(SLOTS_N) if slot != 3)]
    for row, at_s in since_s.items():
        bank.since_s[int(row[1:])] = at_s
    mean, var = banks.moments(bank)
    banks.spawn(bank, dt_s)
    return bank, mean, var


def test_every_second_a_change_of_each_kind_may_just_have_begun():
    bank, mean, var = spawned(0.5)
    slot = bank.slots[0]
    assert bank.born_s[slot] == NOW_S
    assert np.all(bank.onset_s[slot] == NOW_S)
    for row in range(3):
        state = bank.state[:, slot, row]
        assert np.all(state[banks.LEVEL] == mean[0, row])
        assert not state[CROSS].any()
        assert bank.base[slot, row] == max(mean[1, row], 0.0)
        for number, kind in enumerate(KINDS[:-1]):
            assert state[banks.P_LEVEL, number] == pytest.approx(var[0, row])
            before = bank.base[slot, row] if number in (2, 3) else 0.0  # what opens comes on top of what was lost
            assert state[banks.RATE, number] == pytest.approx(kind.onset_rate[0] / MIN_S + before)
            assert state[banks.P_RATE, number] == pytest.approx((kind.onset_rate[1] / MIN_S) ** 2)
        jump = banks.JUMP  # the level leaps by some 3 kPa and the rate goes on
        assert state[banks.P_LEVEL, jump] == pytest.approx(var[0, row] + 9.0)
        assert (state[banks.RATE, jump], state[banks.P_RATE, jump]) == (mean[1, row], var[1, row])
        for number, kind in enumerate(KINDS):
            assert (state[banks.GROWTH, number], state[P_GROWTH, number]) == pytest.approx(
                (kind.growth[0], kind.growth[1] ** 2)
            )
            chance = 1.0e-5 * 0.5 * kind.onset_share
            assert math.exp(bank.log_weight[slot, row, number]) == pytest.approx(chance)


def test_step_of_a_gauge_is_hardly_ever_taken_for_a_jump_or_for_gas_that_begins_to_settle():
    """Ten thousand times less readily, and in the rows that step alone."""
    bank = bank_of()
    banks.spawn(bank, 1.0, np.array([False, True, False]))
    chance = np.exp(bank.log_weight[bank.slots[0]])
    explains_a_step = {banks.JUMP, *range(len(KINDS))[banks.SETTLING]}
    for number, kind in enumerate(KINDS):
        doubt = 1e-4 if number in explains_a_step else 1.0
        assert chance[:, number] == pytest.approx(1.0e-5 * kind.onset_share * np.array([1.0, doubt, 1.0]))


def test_gas_that_settles_after_a_stroke_is_not_doubted_where_a_gauge_steps():
    bank, _, _ = spawned(0.5, r1=NOW_S - 5.0)
    stepping = copy.deepcopy(bank)
    banks.spawn(bank, 1.0)
    banks.spawn(stepping, 1.0, np.array([False, True, False]))
    slot = bank.slots[0]
    assert stepping.log_weight[slot, 1].tolist() == bank.log_weight[slot, 1].tolist()


def test_rate_below_nothing_leaves_no_base():
    bank = bank_of()
    bank.state[banks.RATE], bank.base = -0.5, np.zeros_like(bank.base)
    banks.spawn(bank, 1.0)
    assert not bank.base[bank.slots[0]].any()


def test_young_stretch_is_begun_anew_with_each_second():
    """3 % a second that the fall that lasts begins now, from a level of its own, some 1 kPa off (common practice)."""
    bank, mean, var = spawned(0.5, r1=NOW_S - 5.0)
    slot = bank.slots[0]
    state = bank.state[:, slot, 1]
    assert np.all(state[banks.LEVEL] == mean[0, 1])
    assert state[banks.P_LEVEL] == pytest.approx(var[0, 1] + 1.0)
    for number, kind in enumerate(KINDS):
        assert state[banks.RATE, number] == pytest.approx(kind.start_rate[0] / MIN_S)
        share = max(kind.start_share, 1e-30)
        assert bank.log_weight[slot, 1, number] == pytest.approx(math.log(0.03 * 0.5 * share))
    assert bank.base[slot, 1] == 0.0
    onset_rate = KINDS[2].onset_rate[0] / MIN_S + bank.base[slot, 0]
    assert bank.state[banks.RATE, slot, 0, 2] == pytest.approx(onset_rate)  # the others are old


@pytest.mark.parametrize("unborn", [1, 5, 22])
def test_slot_never_used_is_taken_before_any_are_joined(unborn):
    bank = bank_of()
    bank.born_s[unborn] = bank.born_s[22] = -math.inf
    state = bank.state.copy()
    banks._free_a_slot(bank)
    assert bank.slots[0] == unborn
    assert sorted(bank.slots) == list(range(SLOTS_N))
    assert np.array_equal(bank.state, state)


@pytest.mark.parametrize("first", [0, SLOTS_N - 1], ids=["youngest", "oldest"])
def test_youngest_and_oldest_are_never_given_away_though_unborn(first):
    bank = bank_of()
    bank.born_s[first] = -math.inf
    banks._free_a_slot(bank)
    assert bank.slots[0] != first


AGES_S = [float(1.3**n) for n in range(SLOTS_N)]


@pytest.mark.parametrize(
    ("moved", "free", "keep"),
    [
        ({10: 17.0}, 11, 10),  # of 17.0, 17.9 and 23.3 s the middle one, joined to the nearer
        ({11: 14.2}, 10, 11),
        ({1: 1.68, 2: 1.69, 3: 1.70, 11: 14.2}, 10, 11),  # the three youngest stay apart, however close
        ({4: 2.2}, 3, 4),
        ({22: 250.0}, 21, 22),
    ],
)
def test_neighbours_closest_for_their_age_are_joined(moved, free, keep):
    bank = bank_of(1)
    bank.born_s = [NOW_S - moved.get(number, age_s) for number, age_s in enumerate(AGES_S)]
    before = copy.deepcopy(bank)
    banks._free_a_slot(bank)
    assert bank.slots == [free, *(slot for slot in range(SLOTS_N) if slot != free)]
    changed = [slot for slot in range(SLOTS_N) if not np.array_equal(bank.log_weight[slot], before.log_weight[slot])]
    assert changed == [keep]


@pytest.mark.parametrize(("shares", "kept"), [((0.6, 0.2), "keep"), ((0.2, 0.6), "free"), ((0.3, 0.3), "keep")])
def test_joined_slots_keep_the_likelier_and_the_weight_of_both(shares, kept):
    bank = bank_of(2)
    for slot, share in zip((4, 5), shares, strict=True):
        weight = np.linspace(1.0, 2.0, len(KINDS)) + slot
        bank.log_weight[slot, 0] = np.log(share * weight / weight.sum())
    if shares[0] == shares[1]:
        bank.log_weight[5, 0] = bank.log_weight[4, 0]
    bank.log_weight[4, 1] = bank.log_weight[5, 1] = banks.DEAD
    before = copy.deepcopy(bank)
    banks._join(bank, 4, 5)
    source = 4 if kept == "keep" else 5
    weight = np.exp(bank.log_weight[4, 0])
    assert weight.sum() == pytest.approx(sum(shares))
    likelier = np.exp(before.log_weight[source, 0])
    assert weight / weight.sum() == pytest.approx(likelier / likelier.sum())
    assert bank.base[4, 0] == before.base[source, 0]
    assert bank.onset_s[4, 0] == before.onset_s[source, 0]
    assert np.array_equal(bank.state[:, 4, 0], before.state[:, source, 0])
    assert np.array_equal(bank.state[:, 4, 1], before.state[:, 4, 1])  # neither lives: the kept one stays
    assert np.all(np.isfinite(bank.log_weight[4, 1]))
    assert np.array_equal(bank.state[:, 5], before.state[:, 5])


@pytest.mark.parametrize(("doubling_s", "sd_ratio", "number"), [(500.0, 0.4, 5), (240.0, 0.3, 6), (125.0, 0.3, 7)])
def test_kinds_that_double_do_so_in_their_time(doubling_s, sd_ratio, number):
    kind = banks._doubling(doubling_s, sd_ratio)
    assert math.exp(kind.growth[0] * doubling_s) == pytest.approx(2.0)
    assert kind.growth[1] == pytest.approx(sd_ratio * kind.growth[0])
    assert kind == KINDS[number]
    column = banks._column([True, False])
    assert (column.dtype, column.tolist()) == (float, [1.0, 0.0])


@pytest.mark.parametrize(
    ("bend", "share", "number"), [(1.0, 0.05, 8), (0.5, 0.05, 9), (0.25, 0.01, 10), (0.1, 0.004, 11)]
)
def test_kinds_that_bend_are_about_a_minute_old_in_their_growth(bend, share, number):
    kind = banks._bent(bend, share)
    assert kind == KINDS[number]
    assert (kind.bend, kind.onset_share) == (bend, share)
    assert kind.growth == pytest.approx((1.0 / 60.0, 0.5 / 60.0))
    assert banks._bent(bend).onset_share == 0.05


def test_what_runs_away_does_so_in_some_four_minutes_and_what_goes_with_the_time_may_begin_now():
    runs_away, since_onset = KINDS[12:14]
    assert (runs_away.bend, runs_away.onset_share) == (-1.0, 0.004)
    assert runs_away.growth == pytest.approx((1.0 / 240.0, 1.0 / 480.0))
    assert (since_onset.bend, since_onset.growth) == (1.0, (1.0, 0.0))
