"""A block of readings let in: the ambient pressure followed, pumps noticed, every hypothesis weighed."""

import math
from typing import Final

import numpy as np

from monitor.core import leak_bank as banks
from monitor.core.leak_apart import compare
from monitor.core.leak_blocks import Block, begin_anew, close, gather
from monitor.core.leak_common import nothing_shared
from monitor.core.leak_judge import judge
from monitor.core.leak_noise import due, learn
from monitor.core.leak_pump import OFF_RATE_WIDEN, infer, lowest_kpa, rate_at_lowest, rested, started, stopped
from monitor.core.leak_stairs import Seen
from monitor.core.leak_state import BEFORE_N, CircuitTrack, LeakState, known_rate, shown, spaced
from monitor.core.readings import Pump
from monitor.core.timing import STALE_MOST_S
from monitor.core.warning_time import slackening_per_kpa

_CLIMB_HELD_S: Final = 10.0
_CLIMB_VAR_MOST: Final = 0.03**2  # what a coarse ambient gauge leaves open stands still: no noise
_WILD_SDS: Final = 8.0
_WILD_KPA: Final = 5.0
_LEAST_SOFT: Final = 1e-4
_PUMPING_RATE: Final = (-0.2, 0.5**2)
_PAIR_N: Final = 2
_PAIR_FROM_S: Final = 0.7
"""A silent pump is judged by two readings or more: slower ones are taken in pairs."""


def forget(state: LeakState) -> None:
    """After a hole in the readings everything starts from unknown: what was learned of noise and of strokes stays."""
    state.block_from_s = state.second_from_s = None
    state.bank = state.relative = None
    for track in state.tracks:
        _lose_track(track)
        track.bounds = {}
        track.gatherer.tail = []
        begin_anew(track.gatherer)
    nothing_shared(state.common)
    state.climb_refuted_since_s, state.climb_doubted = None, frozenset()


def _lose_track(track: CircuitTrack) -> None:
    """Nothing is known of a circuit any more, nor what it leaked at rest: a leak may have begun unheard."""
    track.begun_s = track.block = track.mixed = track.quantiles = track.pump.off_rate = None
    track.before, track.falling, track.pump.waiting, track.pump.doubted = (), False, [], True


def flush(state: LeakState, *, second_ends: bool = True) -> None:
    """End the block under way and let every hypothesis see it; what is judged by seconds waits until one ends."""
    if state.block_from_s is None:
        return
    state.block_from_s = None
    if second_ends:
        state.second_from_s = None
    blocks = [close(track.gatherer, second_ends=second_ends) for track in state.tracks]
    times_s = [block.at_s for block in blocks if block is not None]
    if not times_s:
        close(state.climb)
        return
    at_s = sum(times_s) / len(times_s)
    rows_n = len(state.tracks)
    if state.bank is None:
        state.climb_source = ""
        state.bank = banks.Bank(rows_n + 1, at_s)
        state.relative = banks.Bank(rows_n, at_s) if rows_n > 1 else None
    bank = state.bank
    dt_s = at_s - bank.at_s
    banks.predict(bank, at_s, _slackening(state, bank.rows_n))
    mean, var = banks.moments(bank)
    seen, noise, wanted = np.zeros(rows_n + 1), np.ones(rows_n + 1), np.zeros(rows_n + 1, dtype=bool)
    half = np.zeros(rows_n + 1)
    seen[-1], noise[-1], wanted[-1] = _follow_climb(state, bank, second_ends=second_ends)
    if wanted[-1]:
        state.climb_kpa, climb_var = banks.level_after(bank, rows_n, seen[-1], noise[-1])
        state.climb_var = min(climb_var, _CLIMB_VAR_MOST)
    jumped = [False] * rows_n
    learns = False
    for row, (track, block) in enumerate(zip(state.tracks, blocks, strict=True)):
        track.bounds = {}
        if block is None:
            if track.block is not None and at_s - track.block.at_s > STALE_MOST_S:
                _lose_track(track)
            continue
        spaced(track, block)
        fixed_kpa = block.mean_kpa + state.climb_kpa
        rate = float(mean[1, row])
        sd = math.sqrt(block.var_kpa2 + float(var[0, row]))
        if track.begun_s is None:
            banks.restart(bank, row, fixed_kpa, block.var_kpa2)
            track.begun_s, track.pump.followed = at_s, []
        else:
            jumped[row] = _follow_pump(
                state, track, row, block, fixed_kpa, float(mean[0, row]), sd, second_ends=second_ends
            )
        seen[row] = fixed_kpa + rate * (block.at_s - at_s)
        half[row] = block.half_kpa
        noise[row] = (block.soft_kpa2 + _LEAST_SOFT if block.half_kpa else block.var_kpa2) + state.climb_var
        wanted[row] = not block.still and track.pump.suspect_s is None
        if block.counts and second_ends:  # one gauge at a time: it takes as long as many blocks
            learns = _learn_noise(state, track, block, busy=learns) or learns
    banks.observe(bank, seen, noise, wanted, half)
    if state.relative is not None:
        if state.climb_source:
            state.relative.since_s = [math.inf] * rows_n
        else:
            banks.predict(state.relative, at_s, _slackening(state, rows_n))
            compare(state, state.relative, blocks, jumped, (mean[banks.LEVEL], var[banks.LEVEL]), dt_s)
    if dt_s > 0.0:
        stepping = np.array([track.gatherer.stairs_kpa > 0.0 for track in state.tracks] + [False])
        banks.spawn(bank, dt_s, stepping)
    for track, block in zip(state.tracks, blocks, strict=True):
        if block is not None:
            if track.block is None or second_ends:
                track.before = (*track.before, track.block)[-BEFORE_N:] if track.block is not None else ()
            track.block = block
    judge(state, dt_s)
    for track in state.tracks:
        if shown(track):
            track.known_of_s = track.begun_s


def _learn_noise(state: LeakState, track: CircuitTrack, block: Block, *, busy: bool) -> bool:
    """Keep a block of a gauge that may be coarse; learn its noise once enough are there, unless busy. Returns whether."""
    if track.begun_s is None:
        return False
    stairs = track.gatherer.stairs
    window = due(stairs, Seen(block.read_s, block.counts, state.climb_kpa), track.begun_s, busy=busy)
    if window:
        learn(stairs, window, track.gatherer.quantum_kpa)
    return bool(window)


def _slackening(state: LeakState, rows_n: int) -> banks.Floats:
    """How the flow laws slacken the leaks now, shape (2, circuits), 1/s."""
    found = np.zeros((2, rows_n))
    for row, track in enumerate(state.tracks):
        if track.block is not None and track.quantiles is not None and not track.pump.running:
            rate = min(max(track.quantiles.middle, 0.0), 1.0)
            for law, ratio in enumerate(slackening_per_kpa(track.block.mean_kpa, ambient_kpa=state.ambient_kpa)):
                found[law, row] = -min(ratio, 0.1) * rate
    return found


def climb(state: LeakState, source: str, value_kpa: float, now_s: float) -> None:
    """Take one reading of how far the ambient pressure has fallen; one source to a block."""
    if source == state.climb_seen or not state.climb.values_kpa:
        state.climb_seen = source
        gather(state.climb, value_kpa, now_s)


def _follow_climb(state: LeakState, bank: banks.Bank, *, second_ends: bool) -> tuple[float, float, bool]:
    """Block of the measured fall of the ambient pressure: mean, variance, whether it says anything.

    What it said last stays the fall so far when the source changes: the new one is shifted to join without a step.
    """
    row = len(state.tracks)
    block = close(state.climb, second_ends=second_ends)
    source = "" if block is None else state.climb_seen
    if source != state.climb_source and block is not None:
        state.climb_shift_kpa = state.climb_kpa - block.mean_kpa
        state.climb.tail, state.climb.means, state.climb.stairs.stood_s = [], [], None
        banks.restart(bank, row, state.climb_kpa, block.var_kpa2)
    if block is None:
        if bank.at_s - state.climb_at_s > _CLIMB_HELD_S:
            state.climb_source = ""
        return 0.0, 1.0, False
    state.climb_source, state.climb_at_s = source, bank.at_s
    if source == "ambient":
        state.ambient_kpa = -block.mean_kpa
    return block.mean_kpa + state.climb_shift_kpa, block.var_kpa2, not block.still


def _follow_pump(
    state: LeakState,
    track: CircuitTrack,
    row: int,
    block: Block,
    fixed_kpa: float,
    expected_kpa: float,
    sd: float,
    *,
    second_ends: bool,
) -> bool:
    """Start a new stretch when the pump starts or stops. Returns whether it did."""
    pump, bank = track.pump, state.bank
    if bank is None:
        return False
    if pump.reported is not None:
        pump.waiting = []
        runs = pump.reported is Pump.ON
        turn = None if runs is pump.running else runs
    else:
        if not second_ends:
            return False
        pump.waiting.append((fixed_kpa, block.at_s, expected_kpa))
        n = len(pump.waiting)
        if n < _PAIR_N and state.interval_s > _PAIR_FROM_S:
            return False
        fixed_kpa, at_s, expected_kpa = (sum(one) / n for one in zip(*pump.waiting, strict=True))
        pump.waiting = []
        sd = math.sqrt(max(sd * sd - block.var_kpa2 * (1.0 - 1.0 / n), 0.0))
        turn = infer(pump, fixed_kpa, at_s, expected_kpa, sd, noise_sd_kpa=math.sqrt(block.noise_kpa2 / n))
    rest = known_rate(track)
    if turn is None:
        if not pump.running and pump.suspect_s is None:
            rested(pump, expected_kpa, block.at_s, rest)
        return False
    strays = abs(fixed_kpa - expected_kpa) > max(_WILD_SDS * sd, _WILD_KPA)
    level_kpa, level_var = fixed_kpa, block.var_kpa2
    if strays and pump.reported is not None:  # no stretch begins on a wild reading, nor sticks to a wrong expectation
        level_kpa, level_var = expected_kpa, (fixed_kpa - expected_kpa) ** 2
    if turn:
        low_kpa = lowest_kpa(pump, fixed_kpa) - state.climb_kpa  # its last blocks already hold some of the rise
        started(pump, low_kpa, block.at_s, rate_at_lowest(pump) if pump.reported is None else rest)
        banks.restart(bank, row, level_kpa, level_var, rate=_PUMPING_RATE)
        track.falling = False
    else:
        stopped(pump, block.mean_kpa, block.at_s)
        rate = None if pump.off_rate is None else (pump.off_rate[0], pump.off_rate[1] + OFF_RATE_WIDEN)
        banks.restart(bank, row, level_kpa, level_var, rate=rate)
    track.begun_s = block.at_s
    begin_anew(track.gatherer)
    return True
