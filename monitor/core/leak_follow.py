"""A block of readings let in: the ambient pressure followed, pumps noticed, every hypothesis weighed, falls judged."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core import leak_bank as banks
from monitor.core.leak_blocks import Block, begin_anew, close, gather
from monitor.core.leak_common import (
    FOLLOW_MOST_S,
    FOLLOW_S,
    HOISTING_KPA_PER_S,
    SWING_KPA,
    SWING_S,
    share,
    temperature_kpa_per_s,
)
from monitor.core.leak_project import FALLING_KPA_PER_S, Mixture, lasting_above, lost_kpa, mixture, rate_quantiles
from monitor.core.leak_pump import infer, lowest_kpa, rested, started, stopped
from monitor.core.leak_stairs import due, learn
from monitor.core.leak_state import KNOWN_AFTER_S, CircuitTrack, LeakState, known, shown
from monitor.core.readings import Pump
from monitor.core.units import HOIST_KPA_PER_M, S_PER_MIN
from monitor.core.warning_time import slackening_per_kpa

SURE: Final = 0.999
"""Probability at which a fall is called established; a fresh one is doubted besides (``leak_project``)."""

GAP_MOST_S: Final = 20.0
"""After a longer hole in the readings what was known is forgotten, s."""

Rate = tuple[float, float]

_STRETCH_LEAST_S: Final = 3.0
_SETTLED_SD: Final = 0.05 / S_PER_MIN
_SETTLED_S: Final = 30.0
_SWINGING: Final = 9.0
_BEFORE_N: Final = 2
_COARSE_KPA: Final = 0.3
_STEPS_LATE: Final = 1.5  # a step may be so late before a gauge shows that what it followed has ended
_STEPS_SHOWN: Final = 1.5  # one step says nothing of a rate: any drift takes one at some time
_STEPS_OTHERS: Final = 1.0  # and so far the gauges of the others may lag behind in what they show of a hoist
_SHARED_RATIO: Final = 0.25
_FRESH_SHARE: Final = 0.3
_CLIMB_HELD_S: Final = 10.0
_STAIRS_DIFFER: Final = 12.0
_FRESH_S: Final = 20.0
_CLIMB_VAR_MOST: Final = 0.03**2  # what a coarse ambient gauge leaves open stands still: no noise
_WILD_SDS: Final = 8.0
_WILD_KPA: Final = 5.0
_SWINGS_KPA: Final = 0.2 * SWING_KPA  # a load that swings takes the vacuum over an edge and back: no noise of the gauge
_LEAST_SOFT: Final = 1e-4
_OFF_RATE_WIDEN: Final = (0.03 / S_PER_MIN) ** 2
_GAINS_AT_REST_KPA_PER_S: Final = 0.2 / S_PER_MIN  # gas that cools by 10 K in 10 min gives 0.14 kPa/min at 60 kPa
_REFUTED_SDS: Final = 2.0
_PUMPING_RATE: Final = (-0.2, 0.5**2)


def forget(state: LeakState, waited_s: float) -> None:
    """After a hole in the readings everything starts from unknown: what was learned of noise and pump rest stays."""
    state.block_from_s = None
    state.bank = state.relative = None
    for track in state.tracks:
        track.begun_s = track.block = track.mixed = track.quantiles = None
        track.before, track.falling = (), False
        track.bounds = {}
        track.gatherer.tail = []
        begin_anew(track.gatherer)
        if track.pump.off_rate is not None:
            mean, var = track.pump.off_rate
            track.pump.off_rate = (mean, var + _OFF_RATE_WIDEN * (1.0 + waited_s / 60.0))
    state.common.rate_kpa_per_s, state.common.ceilings = 0.0, []
    state.climb_refuted_since_s, state.climb_doubted = None, frozenset()


def flush(state: LeakState) -> None:
    """End the block under way and let every hypothesis see it."""
    if state.block_from_s is None:
        return
    state.block_from_s = None
    blocks = [close(track.gatherer) for track in state.tracks]
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
    seen[-1], noise[-1], wanted[-1] = _follow_climb(state, bank)
    if wanted[-1]:
        state.climb_kpa, climb_var = banks.level_after(bank, rows_n, seen[-1], noise[-1])
        state.climb_var = min(climb_var, _CLIMB_VAR_MOST)
    jumped = [False] * rows_n
    for row, (track, block) in enumerate(zip(state.tracks, blocks, strict=True)):
        track.bounds = {}
        if block is None:
            if track.block is not None and at_s - track.block.at_s > GAP_MOST_S:
                track.begun_s = track.block = track.mixed = track.quantiles = None
                track.before, track.falling = (), False
            continue
        fixed_kpa = block.mean_kpa + state.climb_kpa
        rate = float(mean[1, row])
        sd = math.sqrt(block.var_kpa2 + float(var[0, row]))
        if track.begun_s is None:
            banks.restart(bank, row, fixed_kpa, block.var_kpa2)
            track.begun_s, track.pump.followed = at_s, []
        else:
            jumped[row] = _follow_pump(state, track, row, block, fixed_kpa, float(mean[0, row]), sd)
        seen[row] = fixed_kpa + rate * (block.at_s - at_s)
        half[row] = block.half_kpa
        noise[row] = (block.soft_kpa2 + _LEAST_SOFT if block.half_kpa else block.var_kpa2) + state.climb_var
        wanted[row] = not block.still and track.pump.suspect_s is None
        if block.counts:
            _learn_noise(state, track, block, mean[:, row], var[:, row])
    banks.observe(bank, seen, noise, wanted, half)
    if state.relative is not None and not state.climb_source:
        _follow_relative(state, state.relative, blocks, jumped, at_s, dt_s)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)
    for track, block in zip(state.tracks, blocks, strict=True):
        if block is not None:
            track.before = (*track.before, track.block)[-_BEFORE_N:] if track.block is not None else ()
            track.block = block
    _judge(state, dt_s)
    for track in state.tracks:
        if shown(track):
            track.known_of_s = track.begun_s


def _learn_noise(state: LeakState, track: CircuitTrack, block: Block, mean: banks.Floats, var: banks.Floats) -> None:
    stairs, since_s = track.gatherer.stairs, track.begun_s
    if state.bank is None or since_s is None:
        return
    judged = due(stairs, block.at_s, block.counts, since_s)
    if judged is None:
        return
    at_s, counts = judged
    ago_s = state.bank.at_s - at_s
    level_kpa = float(mean[banks.LEVEL] + mean[banks.RATE] * ago_s) - state.climb_kpa
    quantum_kpa = track.gatherer.quantum_kpa
    level_var = float(var[banks.LEVEL] + var[banks.RATE] * ago_s * ago_s)
    swings_kpa = _SWINGS_KPA if quantum_kpa > _COARSE_KPA else 0.0
    learn(stairs, counts, quantum_kpa, (level_kpa, level_var), swings_kpa=swings_kpa)


def _stairs(block: Block) -> bool:
    return bool(block.half_kpa) or block.still


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


def _follow_climb(state: LeakState, bank: banks.Bank) -> tuple[float, float, bool]:
    """Block of the measured fall of the ambient pressure: mean, variance, whether it says anything.

    What it said last stays the fall so far when the source changes: the new one is shifted to join without a step.
    """
    row = len(state.tracks)
    block = close(state.climb)
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
    state: LeakState, track: CircuitTrack, row: int, block: Block, fixed_kpa: float, expected_kpa: float, sd: float
) -> bool:
    """Start a new stretch when the pump starts or stops. Returns whether it did."""
    pump, bank = track.pump, state.bank
    if bank is None:
        return False
    if pump.reported is not None:
        runs = pump.reported is Pump.ON
        turn = None if runs is pump.running else runs
    else:
        noise_sd = math.sqrt(block.noise_kpa2)
        turn = infer(pump, fixed_kpa, block.at_s, expected_kpa, sd, noise_sd_kpa=noise_sd)
    if turn is None:
        if not pump.running and pump.suspect_s is None:
            rested(pump, expected_kpa, block.at_s)
        return False
    strays = abs(fixed_kpa - expected_kpa) > max(_WILD_SDS * sd, _WILD_KPA)
    level_kpa, level_var = fixed_kpa, block.var_kpa2
    if strays and pump.reported is not None:  # no stretch begins on a wild reading, nor sticks to a wrong expectation
        level_kpa, level_var = expected_kpa, (fixed_kpa - expected_kpa) ** 2
    if turn:
        rest = track.quantiles if known(track) else None
        low_kpa = lowest_kpa(pump, fixed_kpa) - state.climb_kpa  # its last blocks already hold some of the rise
        started(pump, low_kpa, block.at_s, None if rest is None else (rest.middle, rest.sd**2))
        banks.restart(bank, row, level_kpa, level_var, rate=_PUMPING_RATE)
        track.falling = False
    else:
        stopped(pump, block.mean_kpa, block.at_s)
        rate = None if pump.off_rate is None else (pump.off_rate[0], pump.off_rate[1] + _OFF_RATE_WIDEN)
        banks.restart(bank, row, level_kpa, level_var, rate=rate)
    track.begun_s = block.at_s
    begin_anew(track.gatherer)
    return True


def _follow_relative(
    state: LeakState, bank: banks.Bank, blocks: list[Block | None], jumped: list[bool], at_s: float, dt_s: float
) -> None:
    """Each circuit against the mean of the others that rest: free of any hoist."""
    rows_n = len(blocks)
    change = [math.nan] * rows_n
    for row, (track, block) in enumerate(zip(state.tracks, blocks, strict=True)):
        if block is not None and track.block is not None and not track.pump.running and not jumped[row]:
            change[row] = block.mean_kpa - track.block.mean_kpa
    seen, noise, wanted = np.zeros(rows_n), np.ones(rows_n), np.zeros(rows_n, dtype=bool)
    banks.predict(bank, at_s, _slackening(state, bank.rows_n))
    for row, block in enumerate(blocks):
        others = [n for n in range(rows_n) if n != row and not math.isnan(change[n])]
        if block is None or math.isnan(change[row]) or not others:
            continue
        state.relative_kpa[row] += change[row] - sum(change[n] for n in others) / len(others)
        variances = [other.var_kpa2 for n in others if (other := blocks[n]) is not None]
        noise[row] = block.var_kpa2 + sum(variances) / len(others) ** 2
        if _stairs(block) or any(_stairs(other) for n in others if (other := blocks[n]) is not None):
            noise[row] *= _STAIRS_DIFFER  # gauges step at different times while the vacuum moves together
        seen[row] = state.relative_kpa[row]
        if bank.since_s[row] == math.inf:
            banks.restart(bank, row, seen[row], noise[row])
        wanted[row] = not (block.still and all(other is None or other.still for other in blocks))
    banks.observe(bank, seen, noise, wanted)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)


def _judge(state: LeakState, dt_s: float) -> None:
    """Rates, the hoist's part of them, and whether a fall is established, after a block."""
    bank, config = state.bank, state.config
    if bank is None:
        return
    rates, settled = _rates(state, bank)
    _doubt_climb(state, bank.at_s, rates)
    measured = bool(state.climb_source)
    follow_s = _follow_s(state, rates)
    if not measured:
        share(
            state.common,
            rates,
            dt_s,
            height_m=config.hoist_height_m,
            speed_m_s=config.hoist_speed_m_s,
            settled=settled,
            coarse=[track.gatherer.stairs_kpa > _COARSE_KPA for track in state.tracks],
            follow_s=follow_s,
        )
    for row, track in enumerate(state.tracks):
        if track.mixed is None or track.begun_s is None or track.block is None or track.quantiles is None:
            track.falling = False
            continue
        stretch_s = bank.at_s - track.begun_s
        if track.pump.running:  # a pump that is on and loses all the same: it is dead, or can't keep up
            hoist = 0.0 if measured else HOIST_KPA_PER_M * config.hoist_speed_m_s
            sure = lasting_above(track.mixed, hoist + FALLING_KPA_PER_S, settling_since_s=stretch_s)
            track.falling = sure >= SURE and known(track)
            continue
        others = [rate[0] for n, rate in enumerate(rates) if n != row and rate is not None]
        warming = temperature_kpa_per_s(state.ambient_kpa, track.block.mean_kpa)
        beyond = FALLING_KPA_PER_S + min(max(min(others, default=0.0), 0.0), warming)
        sure = lasting_above(track.mixed, beyond, settling_since_s=stretch_s)
        if sure >= SURE:
            least = max(FALLING_KPA_PER_S, _SHARED_RATIO * track.quantiles.middle)
            shared = max(map(abs, others), default=0.0) >= least or _swings(state, row)
            steps_n = _STEPS_SHOWN if measured or not others else _STEPS_SHOWN + _STEPS_OTHERS
            shows = _shows(track.mixed, steps_n * track.gatherer.stairs_kpa, stretch_s=stretch_s, shared=shared)
            sure = lasting_above(track.mixed, beyond, settling_since_s=stretch_s, counted=shows)
            if (
                measured
                and shared
                and not track.falling
                and _rises(track, float(banks.moments(bank)[0][banks.RATE, -1]))
            ):
                sure = 0.0
        alone = all(rate is None for n, rate in enumerate(rates) if n != row)
        if not (measured or alone or state.relative is None):
            sure = min(sure, _beside_others(state, bank, state.relative, row, rates, follow_s=follow_s))
        track.falling = sure >= SURE and stretch_s >= _STRETCH_LEAST_S


def _swings(state: LeakState, row: int) -> bool:
    """Whether another circuit swings: its blocks scatter so much more than their noise that no rate of it is told."""
    blocks = [track.block for n, track in enumerate(state.tracks) if n != row and not track.pump.running]
    return any(block is not None and block.var_kpa2 > _SWINGING * block.noise_kpa2 for block in blocks)


def _rises(track: CircuitTrack, lowers_kpa_per_s: float) -> bool:
    """Whether a circuit has risen by more than its noise over its last three blocks, the measured hoist taken out.

    A load that swings brings the vacuum back while the fall it made is still weighed: a leak does not begin like that.
    ``lowers_kpa_per_s``: how fast the hook comes down, as what the air presses.
    """
    block, first = track.block, track.before[0] if len(track.before) == _BEFORE_N else None
    if block is None or first is None:
        return False
    risen_kpa = block.mean_kpa - first.mean_kpa - lowers_kpa_per_s * (block.at_s - first.at_s)
    return risen_kpa > math.sqrt(block.noise_kpa2 + first.noise_kpa2)


def _doubt_climb(state: LeakState, at_s: float, rates: Sequence[Rate | None]) -> None:
    """Stop believing a measured hoist by which circuits gain vacuum at rest: a drift like that would hide a leak of its pace.

    No pump runs in them, and gas that cools makes up for a little only. One gauge of three that creeps refutes nothing.
    """
    gains_n = sum(rate is not None and rate[0] + _REFUTED_SDS * rate[1] < -_GAINS_AT_REST_KPA_PER_S for rate in rates)
    rest_n = sum(rate is not None for rate in rates)
    if not state.climb_source or not gains_n or 2 * gains_n < rest_n:
        state.climb_refuted_since_s = None
    elif state.climb_refuted_since_s is None:
        state.climb_refuted_since_s = at_s
    elif at_s - state.climb_refuted_since_s >= FOLLOW_S:
        state.climb_doubted |= {state.climb_source}
        state.climb_source, state.climb_refuted_since_s = "", None
        close(state.climb)


def _shows(mixed: Mixture, least_kpa: float, *, stretch_s: float, shared: bool) -> NDArray[np.bool_]:
    """Which hypotheses say of a fall that it has gone beyond a gauge's next step and, if all move, beyond a swing.

    What the last rest lost goes on from the beginning of this stretch, beside what settles.
    """
    remembered = np.where(mixed.age_s >= stretch_s - banks.UNSETTLED_S, mixed.base, 0.0)
    lost = lost_kpa(mixed) + remembered * mixed.age_s
    shows = lost >= least_kpa
    return shows & ((lost >= SWING_KPA) | (mixed.age_s >= SWING_S)) if shared else shows


def _rates(state: LeakState, bank: banks.Bank) -> tuple[list[Rate | None], list[bool]]:
    """Per circuit its rate of fall with its standard deviation, kPa/s, and whether that has stood for a while."""
    rates: list[Rate | None] = []
    settled = []
    for row, track in enumerate(state.tracks):
        if track.begun_s is None or track.block is None:
            track.mixed = None
            rates.append(None)
            settled.append(False)
            continue
        stretch_s = bank.at_s - track.begun_s
        track.mixed = mixture(bank, row, track.block.var_kpa2, level_shift_kpa=-state.climb_kpa)
        track.quantiles = rate_quantiles(track.mixed)
        middle, sd = track.quantiles.middle, track.quantiles.sd
        rates.append(None if track.pump.running or stretch_s < KNOWN_AFTER_S else (middle, sd))
        settled.append(sd < _SETTLED_SD and stretch_s > _SETTLED_S)
    return rates, settled


def _follow_s(state: LeakState, rates: Sequence[Rate | None]) -> float:
    """How long circuits may take to show the beginning or the end of a hoist, s: a gauge that steps waits for its next step."""
    fastest = max((rate[0] for rate in rates if rate is not None), default=0.0)
    coarsest_kpa = max(track.gatherer.stairs_kpa for track in state.tracks)
    return min(max(FOLLOW_S, _STEPS_LATE * coarsest_kpa / max(fastest, FALLING_KPA_PER_S)), FOLLOW_MOST_S)


def _beside_others(
    state: LeakState,
    bank: banks.Bank,
    relative: banks.Bank,
    row: int,
    rates: Sequence[Rate | None],
    *,
    follow_s: float = FOLLOW_S,
) -> float:
    """Probability that a circuit leaks rather than is hoisted with the others; takes the hoist out of its hypotheses."""
    track, common = state.tracks[row], state.common
    if track.mixed is None or track.begun_s is None or track.block is None:
        return 0.0
    stretch_s = bank.at_s - track.begun_s
    compared = relative.since_s[row] < math.inf
    apart = mixture(relative, row, track.block.var_kpa2) if compared else None
    own = 0.0 if apart is None else lasting_above(apart, FALLING_KPA_PER_S, settling_since_s=stretch_s)
    most = common.ceiling_kpa_per_s
    if most > HOISTING_KPA_PER_S:  # under way: what the circuits lost before it isn't known that well
        warmed = most + temperature_kpa_per_s(state.ambient_kpa, track.block.mean_kpa)
        most = max(most, min(warmed, HOIST_KPA_PER_M * state.config.hoist_speed_m_s))
    beyond = lasting_above(track.mixed, most + FALLING_KPA_PER_S, settling_since_s=stretch_s)
    if beyond < SURE:
        track.beyond_since_s = None
    elif track.beyond_since_s is None:
        track.beyond_since_s = bank.at_s
    if track.beyond_since_s is None or bank.at_s - track.beyond_since_s < follow_s:
        beyond = 0.0  # the other circuits may be about to follow: then it is a hoist
    hoist = common.rate_kpa_per_s
    unsettled = _fresh_share(bank, row) >= _FRESH_SHARE or (
        hoist == 0.0 and common.ceiling_kpa_per_s > HOISTING_KPA_PER_S and common.usual_n >= 2
    )
    if apart is not None and (unsettled or hoist > 0.0 or common.lingers_s > 0.0):
        # the others may be about to follow, or do, or just did: what sets this one apart, on top of what the others lose
        usual = common.usual_kpa_per_s
        others = [(n, rate[0]) for n, rate in enumerate(rates) if n != row and rate is not None]
        base = [rate - hoist if hoist > 0.0 and not unsettled else (usual[n] or 0.0) for n, rate in others]
        level_kpa = float((track.mixed.weight * track.mixed.level).sum() - (apart.weight * apart.level).sum())
        apart.shift(level_kpa, sum(base) / len(base))
        track.mixed = apart
    else:
        track.mixed.shift(0.0, -hoist)
    track.quantiles = rate_quantiles(track.mixed)
    return max(own, beyond)


def _fresh_share(bank: banks.Bank, row: int) -> float:
    """Weight of the hypotheses whose onset is so recent that other circuits may not have shown theirs yet."""
    young = bank.changes(row) & (bank.at_s - bank.onset_s[:, row] <= _FRESH_S)
    return float(np.exp(bank.log_weight[young, row]).sum())
