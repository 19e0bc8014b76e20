"""How instants are folded into the leak estimate: blocks, holes in the readings, pumps that turn, what measures the hoist."""

import itertools
import math

import numpy as np
import pytest

from monitor.core import leak
from monitor.core.leak import advance, begin
from monitor.core.leak_state import LeakSample
from monitor.core.readings import Pump
from tests.unit.core.leak_signals import config


def fed(*instants, circuits_n=2, state=None, **given):
    """A state that saw the same 62 kPa in both circuits at each instant."""
    state = state or begin(config(circuits_n))
    for now_s in instants:
        advance(state, LeakSample({"A": 62.0, "B": 61.0}, **given), now_s)
    return state


def under_way(state):
    return [len(track.gatherer.values_kpa) for track in state.tracks]


def test_state_that_begins_knows_the_circuits_and_the_air_of_the_site():
    state = begin(config(3, ambient_kpa=95.0))
    assert [track.circuit for track in state.tracks] == ["A", "B", "C"]
    assert state.common.usual_kpa_per_s == [None] * 3
    assert (state.beside, state.shift_kpa) == ([[], [], []], [0.0] * 3)
    assert (state.ambient_kpa, state.bank, state.last_s) == (95.0, None, None)
    assert state.config.circuits == ("A", "B", "C")


def test_every_circuit_that_is_heard_counts():
    state = begin(config())
    given = [{"A": 62.0, "B": 61.0}, {"A": None, "B": 61.1}, {"A": math.nan, "B": 61.2}, {"A": math.inf, "B": 61.3}, {}]
    for number, vacuum_kpa in enumerate(given):
        told = advance(state, LeakSample(vacuum_kpa), 100.0 + 0.01 * number)
    assert told is state
    assert state.tracks[0].gatherer.values_kpa == [62.0]
    assert state.tracks[1].gatherer.values_kpa == [61.0, 61.1, 61.2, 61.3]
    assert state.tracks[1].gatherer.times_s == [100.0, 100.01, 100.02, 100.03]
    assert state.last_s == 100.04


@pytest.mark.parametrize("again_s", [100.0, 99.0])
def test_instant_not_later_than_the_last_is_left_out(again_s):
    state = fed(100.0)
    advance(state, LeakSample({"A": 50.0}), again_s)
    assert state.tracks[0].gatherer.values_kpa == [62.0]
    assert (state.last_s, state.interval_s) == (100.0, 1.0)


def test_circuits_may_come_one_by_one_in_an_instant():
    state = begin(config())
    for given in ({"A": 62.0}, {"B": 61.0}, {"A": 50.0, "B": 50.0}):  # what was heard already is left out
        advance(state, LeakSample(given, ambient_kpa=101.0), 100.0)
    assert [track.gatherer.values_kpa for track in state.tracks] == [[62.0], [61.0]]
    assert state.climb.values_kpa == [-101.0]


@pytest.mark.parametrize("rate_hz", [1.0, 5.0])
@pytest.mark.parametrize("apart", [False, True])
def test_circuits_in_messages_of_their_own_are_told_as_those_of_one(apart, rate_hz):
    chance = np.random.default_rng(3)
    state = begin(config())
    for number in range(round(150.0 * rate_hz)):
        now_s = number / rate_hz
        lost = {"A": 0.0, "B": 2.0 / 60.0 * max(now_s - 60.0, 0.0)}
        seen = {circuit: 62.0 - kpa + 0.05 * chance.standard_normal() for circuit, kpa in lost.items()}
        for given in [{circuit: kpa} for circuit, kpa in seen.items()] if apart else [seen]:
            advance(state, LeakSample(given, ambient_kpa=101.3), now_s)
    told = leak.view(state, "B", now_s)
    assert told.falling
    assert told.leak_kpa_per_min == pytest.approx(2.0, rel=0.1)
    assert not leak.view(state, "A", now_s).falling


@pytest.mark.parametrize(("waited_s", "apart"), [(2.0, False), (2.1, True), (3.2, True)])
def test_what_comes_after_a_pause_is_no_part_of_the_block_before_it(waited_s, apart):
    state = fed(*(0.25 * number for number in range(42)))
    assert under_way(state) == [2, 2]  # the block under way began at 10 s
    fed(10.25 + waited_s, state=state)
    assert state.tracks[0].block.at_s == pytest.approx(10.125 if apart else (10.0 + 10.25 + 12.25) / 3.0)


def test_block_ends_with_the_last_reading_of_its_second():
    """At one reading a second each makes its own block, once the pace is known; at five a second the fifth ends one."""
    state = fed(100.0)
    assert under_way(state) == [1, 1]
    fed(101.0, state=state)
    assert under_way(state) == [0, 0]
    assert state.tracks[0].block.at_s == pytest.approx(100.5)
    fed(102.0, state=state)
    assert under_way(state) == [0, 0]
    assert state.tracks[0].block.at_s == pytest.approx(102.0)
    state.interval_s, state.paced_n = 0.2, 100
    fed(102.2, 102.4, 102.6, 102.75, state=state)
    assert under_way(state) == [4, 4]  # 0.55 s since it began, and a quarter more than 0.2 s make no second
    assert state.block_from_s == state.second_from_s == 102.2
    fed(102.97, state=state)
    assert under_way(state) == [0, 0]
    assert (state.block_from_s, state.second_from_s) == (None, None)
    assert state.tracks[0].block.at_s == pytest.approx(102.584)


@pytest.mark.parametrize(("read_s", "over"), [(0.805, True), (0.795, False)])
def test_next_reading_may_be_late_by_a_quarter(read_s, over):
    """Every 0.16 s: after one at 0.8 s the next may come at the second's end."""
    state = fed(100.0)
    state.interval_s, state.paced_n = (0.16 - 0.1 * 0.8) / 0.9, 100
    fed(100.0 + read_s, state=state)
    assert state.interval_s == pytest.approx(0.16, abs=6e-4)
    assert under_way(state) == ([0, 0] if over else [2, 2])


@pytest.mark.parametrize(
    ("noise_kpa", "interval_s", "blocks_n"),
    [
        (0.024, 0.05, 4),  # 5 readings of a fine gauge tell the vacuum to 0.012 kPa
        (0.026, 0.05, 4),
        (0.028, 0.05, 3),  # 0.27 s
        (0.03, 0.05, 3),
        (0.034, 0.05, 2),  # 0.4 s
        (0.054, 0.05, 1),  # 1.01 s
        (0.3, 0.05, 1),
        (0.005, 0.01, 4),  # never shorter than a quarter of a second
        (0.005, 0.1, 2),  # nor of fewer readings than five
        (0.005, 0.2, 1),
        (0.005, 1.0, 1),
    ],
)
def test_second_is_cut_where_every_circuit_tells_the_vacuum_well_in_less(noise_kpa, interval_s, blocks_n):
    state = fed(100.0)
    state.interval_s = interval_s
    state.tracks[0].gatherer.noise_var, state.tracks[1].gatherer.noise_var = noise_kpa**2, 0.001**2
    assert leak._blocks_n(state) == blocks_n


def test_quarter_of_a_second_is_seen_at_once_and_what_goes_by_seconds_waits():
    state = fed(*(100.0 + 0.05 * n for n in range(400)))
    ends = []
    for n in range(400, 480):
        for track in state.tracks:
            track.gatherer.noise_var = 0.02**2
        blocks_n, seconds_n = [one.block for one in state.tracks], len(state.tracks[0].gatherer.second)
        fed(100.0 + 0.05 * n, state=state)
        if state.tracks[0].block is not blocks_n[0]:
            ends.append((n, seconds_n, len(state.tracks[0].gatherer.second)))
    steps = {after[0] - before[0] for before, after in itertools.pairwise(ends)}
    assert steps == {5}
    assert [(one, then) for _, one, then in ends[-5:-1]] in (
        [(0, 1), (1, 2), (2, 3), (3, 0)],
        [(1, 2), (2, 3), (3, 0), (0, 1)],
        [(2, 3), (3, 0), (0, 1), (1, 2)],
        [(3, 0), (0, 1), (1, 2), (2, 3)],
    )


@pytest.mark.parametrize(
    ("waits_s", "interval_s"),
    [((2.0,), 2.0), ((0.5,), 0.5), ((2.0, 1.0), 1.5), ((6.5,), 1.0), ((1.0,) * 12 + (2.0,), 1.1)],
)
def test_usual_pace_of_the_readings_is_their_mean_and_then_followed_by_a_tenth_at_a_time(waits_s, interval_s):
    state = fed(100.0, *np.cumsum((100.0, *waits_s))[1:].tolist())
    assert state.interval_s == pytest.approx(interval_s)


@pytest.mark.parametrize(
    ("usual_s", "waited_s", "forgotten"),
    [
        (1.0, 6.0, False),  # six seconds are no hole at any pace
        (1.0, 6.1, True),
        (4.0, 14.0, False),  # nor three and a half times the usual
        (4.0, 14.1, True),
        (10.0, 20.0, False),  # twenty are one at any pace
        (10.0, 20.1, True),
    ],
)
def test_hole_in_the_readings_forgets_the_fall(usual_s, waited_s, forgotten):
    state = fed(100.0, 101.0)
    state.interval_s, state.paced_n = usual_s, 100
    state.tracks[0].pump.off_rate = (0.01, 1e-6)
    bank = state.bank
    fed(101.0 + waited_s, state=state)
    assert (state.bank is not bank) is forgotten
    assert state.tracks[0].pump.off_rate == (None if forgotten else (0.01, 1e-6))
    if forgotten:
        assert state.interval_s == usual_s  # a hole says nothing of the pace
    else:
        assert state.interval_s == pytest.approx(usual_s + 0.1 * (min(waited_s, 6.0) - usual_s))


def test_block_under_way_before_a_hole_is_seen_and_then_forgotten():
    state = fed(100.0, 100.1)
    state.tracks[0].pump.off_rate = None
    fed(120.2, state=state)
    assert (state.bank, state.tracks[0].block) == (None, None)
    assert state.tracks[0].gatherer.values_kpa == [62.0]
    assert state.block_from_s == 120.2


@pytest.mark.parametrize(
    ("pump", "ends"),
    [({"A": Pump.ON}, True), ({"A": Pump.OFF, "B": Pump.ON}, True), ({"A": Pump.OFF}, False), ({}, False)],
)
def test_pump_that_reports_a_turn_ends_the_block(pump, ends):
    state = fed(100.0, pump={"A": Pump.OFF})
    assert state.tracks[0].pump.reported is None or state.tracks[0].pump.reported is Pump.OFF
    first = under_way(state)
    fed(100.1, state=state, pump=pump)
    assert [track.pump.reported for track in state.tracks] == [pump.get("A"), pump.get("B")]
    assert first == [1, 1]
    assert under_way(state) == ([1, 1] if ends else [2, 2])


def climbed(state):
    return state.climb.values_kpa, state.climb_seen


@pytest.mark.parametrize(
    ("given", "doubted", "told"),
    [
        ({"ambient_kpa": 101.0}, (), ([-101.0], "ambient")),
        ({"height_m": 10.0}, (), ([pytest.approx(0.12)], "height")),  # 12 Pa a metre (ICAO standard atmosphere)
        ({"ambient_kpa": 101.0, "height_m": 10.0}, (), ([-101.0], "ambient")),
        ({"ambient_kpa": 101.0, "height_m": 10.0}, ("ambient",), ([pytest.approx(0.12)], "height")),
        ({"ambient_kpa": 101.0, "height_m": 10.0}, ("ambient", "height"), ([], "")),
        ({"height_m": 10.0}, ("height",), ([], "")),
        ({}, (), ([], "")),
    ],
)
def test_hoist_is_measured_by_the_ambient_pressure_or_else_by_the_height(given, doubted, told):
    state = begin(config())
    state.climb_doubted = frozenset(doubted)
    assert climbed(fed(100.0, state=state, **given)) == told
    assert state.climb.times_s == [100.0] * len(told[0])
