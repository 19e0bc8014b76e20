"""Blocks let in second by second: what every circuit's hypotheses are told of them, and what is kept between two."""

import math

import pytest

from monitor.core import leak_bank as banks
from monitor.core import leak_follow as follow
from monitor.core.leak import begin
from monitor.core.leak_blocks import gather
from monitor.core.leak_stairs import Seen
from tests.unit.core.leak_signals import config, noise_known
from tests.unit.core.test_leak_follow import PER_MIN, block


def second(state, at_s, *kpa, ambient_kpa=None, apart_s=0.0):
    """One reading of each circuit that is heard, ``apart_s`` after each other, and of the ambient pressure."""
    for number, (track, value) in enumerate(zip(state.tracks, kpa, strict=True)):
        if value is not None:
            gather(track.gatherer, value, at_s + number * apart_s)
    if ambient_kpa is not None:
        follow.climb(state, "ambient", -ambient_kpa, at_s)
    state.block_from_s = at_s
    follow.flush(state)
    return state


def falling(kpa_per_min, at_s, from_kpa=62.0123457):
    return from_kpa - kpa_per_min * PER_MIN * at_s + 0.003 * math.sin(9.0 * at_s) + 0.002 * math.sin(3.7 * at_s)


def test_gauges_that_step_are_told_of_as_such(monkeypatch):
    """The first steps by half a kilopascal, the second does not; what measures the hoist never counts as one that does."""
    told, real = [], banks.spawn
    monkeypatch.setattr(banks, "spawn", lambda bank, dt_s, *given: told.append([*given]) or real(bank, dt_s, *given))
    state = begin(config())
    for at_s in range(40):
        second(state, float(at_s), 62.0 - 0.5 * (at_s // 8), falling(0.1, at_s), ambient_kpa=101.0)
    assert state.tracks[0].gatherer.stairs_kpa == 0.5
    assert state.tracks[1].gatherer.stairs_kpa == 0.0
    assert [given.tolist() for given in told[-1]] == [[True, False, False]]


def test_without_a_block_under_way_nothing_is_let_in():
    state = begin(config())
    gather(state.tracks[0].gatherer, 62.0, 1.0)
    follow.flush(state)
    assert state.bank is None
    assert state.tracks[0].gatherer.values_kpa == [62.0]


def test_second_in_which_no_circuit_was_heard_is_over():
    state = second(begin(config()), 1.0, None, None, ambient_kpa=101.0)
    assert (state.bank, state.block_from_s, state.climb.values_kpa) == (None, None, [])


@pytest.mark.parametrize("circuits_n", [1, 2, 3])
def test_first_block_begins_every_circuit_at_its_level(circuits_n):
    state = begin(config(circuits_n))
    state.climb_source, state.climb_at_s = "height", 9.0
    kpa = [62.0123457, 61.0123457, 60.0123457][:circuits_n]
    state.tracks[0].pump.followed, state.tracks[0].bounds = [(0.0, 9.0)], {("going", 1.0): None}
    second(state, 10.0, *kpa, apart_s=0.4)
    at_s = 10.0 + 0.2 * (circuits_n - 1)
    assert state.bank.at_s == pytest.approx(at_s)
    assert state.bank.rows_n == circuits_n + 1
    assert (state.relative.rows_n if state.relative else None) == (circuits_n if circuits_n > 1 else None)
    assert state.climb_source == ""
    assert state.bank.since_s == [state.bank.at_s] * circuits_n + [math.inf]
    for row, track in enumerate(state.tracks):
        assert (track.begun_s, track.before, track.known_of_s) == (state.bank.at_s, (), None)
        assert track.block.mean_kpa == kpa[row]
        assert banks.moments(state.bank)[0][0, row] == pytest.approx(kpa[row])
        assert (track.pump.followed, track.bounds) == ([], {})
        assert state.bank.state[banks.P_LEVEL, state.bank.slots[-1], row, 2] < 4.0 * track.block.var_kpa2
    assert state.block_from_s is None


def test_last_two_blocks_before_this_one_are_kept():
    state, seen = begin(config(1)), []
    for number in range(4):
        seen.append(second(state, float(number), 62.0123 - 0.0371 * number**2).tracks[0].block)
        assert state.tracks[0].before == tuple(seen[-3:-1])


def test_what_goes_by_seconds_waits_for_one_to_end():
    state, track = begin(config(1)), None
    for number in range(3):
        track = state.tracks[0]
        gather(track.gatherer, 62.0123 - 0.0371 * number, 1.0 + 0.3 * number)
        follow.climb(state, "ambient", -101.0, 1.0 + 0.3 * number)
        state.block_from_s, state.second_from_s = 1.0, 1.0
        follow.flush(state, second_ends=number == 2)
        ended = (0, 0, 1)[number]
        assert (len(track.gatherer.means), len(state.climb.means)) == (ended, ended)
        assert len(track.before) == ended
        assert state.second_from_s == (None if ended else 1.0)


@pytest.mark.parametrize(("silent_s", "known"), [(20.0, True), (20.1, False)])
def test_circuit_that_falls_silent_is_forgotten_after_twenty_seconds(observed, silent_s, known):
    state = second(begin(config()), 5.0, 61.0123, 62.0123)
    track = state.tracks[0]
    track.before, track.falling, track.mixed = (block(),), True, object()
    track.quantiles, track.pump.waiting = None, [(61.0, 5.0, 61.0)]
    second(state, 5.0 + silent_s, None, 62.0)
    assert state.tracks[1].block.at_s == 5.0 + silent_s  # the other one is followed all the same
    assert next(told[3].tolist() for told in reversed(observed) if told[0] == 3) == [False, True, False]
    assert (track.block is not None) is known
    assert (track.begun_s is not None) is known
    assert track.before == ((block(),) if known else ())
    if not known:
        assert (track.mixed, track.quantiles, track.falling) == (None, None, False)
    assert track.pump.doubted is not known
    assert bool(track.pump.waiting) is known  # of a silent pump: an old reading is not paired with a new one
    assert track.bounds == {}


def test_no_change_is_born_in_no_time():
    state = second(second(begin(config(1)), 0.0, 62.0123), 0.0, 62.0234)
    assert set(state.bank.born_s) == {-math.inf}
    second(state, 1.0, 62.0123)
    assert max(state.bank.born_s) == 1.0


def test_blocks_are_weighed_by_their_noise_and_what_the_hoist_leaves_open(observed):
    state = second(begin(config()), 0.0, 62.0123457, 61.0123457, ambient_kpa=101.0123)
    second(state, 1.0, 62.0223457, 61.0323457, ambient_kpa=100.9123)
    rows_n, seen, noise, wanted, half = observed[-1]
    assert rows_n == 3
    assert 0.0 < state.climb_kpa < 0.1
    assert 0.0 < state.climb_var <= 0.03**2
    assert seen == pytest.approx([62.0223457 + state.climb_kpa, 61.0323457 + state.climb_kpa, 0.1])
    expected = [track.block.var_kpa2 + state.climb_var for track in state.tracks]
    assert noise[:2] == pytest.approx(expected)
    assert noise[2] == pytest.approx(0.05**2, rel=0.3)  # that of the ambient gauge itself
    assert wanted.tolist() == [True, True, True]
    assert half.tolist() == [0.0, 0.0, 0.0]


def test_coarse_gauge_is_told_as_a_box_and_not_at_all_while_it_stands(observed):
    state = begin(config(1))
    for number in range(3):
        state.tracks[0].gatherer.noise_var = 1e-8
        noise_known(state.tracks[0].gatherer.stairs, 0.03)
        second(state, float(number), 62.0)
        _, _, noise, wanted, half = observed[-1]
        told = state.tracks[0].block
        assert half[0] == told.half_kpa > 0.0
        assert noise[0] == pytest.approx(told.soft_kpa2 + 1e-4)
        assert wanted.tolist() == [number == 0, False]


def test_rise_that_may_be_a_stroke_waits_for_the_next_block(observed):
    state = begin(config(1))
    state.interval_s = 0.2
    for number in range(5):
        second(state, float(number), falling(0.0, float(number)))
        assert observed[-1][3].tolist() == [True, False]
    second(state, 5.0, 66.0)
    assert observed[-1][3].tolist() == [False, False]
    second(state, 6.0, 66.5)
    assert state.tracks[0].pump.running
    assert state.tracks[0].begun_s == 6.0


def test_pump_is_followed_by_what_was_expected_and_how_surely(monkeypatch):
    told = []
    monkeypatch.setattr(follow, "_follow_pump", lambda *given, **_: told.append(given) or False)
    state = begin(config())
    for number in range(3):
        second(state, float(number), falling(0.0, float(number)), 61.0)
    expected = second(begin(config()), 0.0, falling(0.0, 0.0), 61.0)
    assert [given[2] for given in told] == [0, 1, 0, 1]
    given, (mean, var) = told[0], foreseen(expected, 1.0)
    assert given[0] is state
    assert given[1] is state.tracks[0]
    assert given[4] == given[3].mean_kpa
    assert given[5] == pytest.approx(mean)
    assert given[6] == pytest.approx(math.sqrt(given[3].var_kpa2 + var))


@pytest.mark.parametrize(
    ("second_ends", "counted", "learns"), [(True, True, True), (False, True, False), (True, False, False)]
)
def test_noise_is_learned_from_whole_seconds_of_gauges_that_may_be_coarse(monkeypatch, second_ends, counted, learns):
    told = []
    monkeypatch.setattr(follow, "_learn_noise", lambda *given, busy: told.append(given) or busy)
    state = second(begin(config()), 0.0, 62.0, 61.0)
    told.clear()
    gather(state.tracks[1].gatherer, 61.0, 1.0)
    state.tracks[1].gatherer.noise_var = 1e-8 if counted else 9.0
    state.block_from_s = 1.0
    follow.flush(state, second_ends=second_ends)
    assert [one[1:] for one in told if one[1] is state.tracks[1]] == [(state.tracks[1], state.tracks[1].block)] * learns
    assert all(one[0] is state for one in told)


def test_gauge_learns_from_a_window_of_its_blocks_once_it_is_due(monkeypatch):
    kept, learned = [], []
    monkeypatch.setattr(follow, "due", lambda *given, busy: kept.append((*given, busy)) or [given[1]] * (len(kept) % 2))
    monkeypatch.setattr(follow, "learn", lambda *given: learned.append(given))
    state = second(begin(config(1)), 0.0, 62.0)
    track, block = state.tracks[0], state.tracks[0].block
    state.climb_kpa, track.begun_s = 1.5, -4.0
    kept.clear()
    learned.clear()
    assert [follow._learn_noise(state, track, block, busy=busy) for busy in (False, True)] == [True, False]
    seen = Seen(block.read_s, block.counts, 1.5)
    assert kept == [(track.gatherer.stairs, seen, -4.0, False), (track.gatherer.stairs, seen, -4.0, True)]
    assert learned == [(track.gatherer.stairs, [seen], track.gatherer.quantum_kpa)]
    track.begun_s = None
    assert follow._learn_noise(state, track, block, busy=False) is False
    assert len(kept) == 2


def test_gauges_learn_one_after_the_other(monkeypatch):
    """To learn takes as long as many blocks."""
    learned = []
    monkeypatch.setattr(follow, "learn", lambda stairs, *_: learned.append(stairs))
    state = begin(config(3))
    at = []
    for number in range(29):
        second(state, float(number), 62.0, 61.0, 60.0)
        at.extend((number, [track.gatherer.stairs is one for track in state.tracks].index(True)) for one in learned)
        learned.clear()
    assert at == [(11, 0), (12, 1), (13, 2), (23, 0), (24, 1), (25, 2)]


def foreseen(state, at_s):
    banks.predict(state.bank, at_s, follow._slackening(state, 3))
    mean, var = banks.moments(state.bank)
    return float(mean[0, 0]), float(var[0, 0])
