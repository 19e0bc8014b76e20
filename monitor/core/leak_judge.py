"""Rates of the circuits judged after each block: the hoist's part of them, and whether a fall is established."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core import leak_bank as banks
from monitor.core.leak_blocks import Block, close, second_var_kpa2
from monitor.core.leak_common import (
    FOLLOW_MOST_S,
    FOLLOW_S,
    HOISTING_KPA_PER_S,
    SWING_KPA,
    SWING_S,
    share,
    temperature_kpa_per_s,
)
from monitor.core.leak_project import FALLING_KPA_PER_S, Mixture, lasting_above, lost_kpa, mixtures, rate_quantiles
from monitor.core.leak_pump import Rate
from monitor.core.leak_state import COARSE_KPA, KNOWN_AFTER_S, CircuitTrack, LeakState, known
from monitor.core.units import HOIST_KPA_PER_M, S_PER_MIN

SURE: Final = 0.999
"""Probability at which a fall is called established; a fresh one is doubted besides (``leak_project``)."""

_STRETCH_LEAST_S: Final = 3.0
_SETTLED_SD: Final = 0.05 / S_PER_MIN
_SETTLED_S: Final = 30.0
_SWINGING: Final = 9.0
_STEPS_LATE: Final = 1.5  # a step may be so late before a gauge shows that what it followed has ended
_STEPS_SHOWN: Final = 1.5  # one step says nothing of a rate: any drift takes one at some time
_STEPS_OTHERS: Final = 1.0  # and so far the gauges of the others may lag behind in what they show of a hoist
_SHARED_RATIO: Final = 0.25
_FRESH_SHARE: Final = 0.3
_FRESH_S: Final = 20.0
_MAY_MOVE: Final = 3e-4  # thirty times the prior chance of a second
_GAINS_AT_REST_KPA_PER_S: Final = 0.2 / S_PER_MIN  # gas that cools by 10 K in 10 min gives 0.14 kPa/min at 60 kPa
_REFUTED_SDS: Final = 2.0
_RISES_N: Final = 3
_BACK_SDS: Final = 2.0


def judge(state: LeakState, dt_s: float) -> None:
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
            coarse=[track.gatherer.stairs_kpa > COARSE_KPA for track in state.tracks],
            follow_s=follow_s,
        )
    apart = _apart(state)
    for row, track in enumerate(state.tracks):
        if track.mixed is None or track.begun_s is None or track.block is None or track.quantiles is None:
            track.falling = False
            continue
        stretch_s = bank.at_s - track.begun_s
        if track.pump.running:  # a pump that is on and loses all the same: it is dead, or can't keep up
            hoist = 0.0 if measured else HOIST_KPA_PER_M * config.hoist_speed_m_s
            sure = lasting_above(track.mixed, hoist + FALLING_KPA_PER_S, settling_since_s=stretch_s)
            if not measured:
                least_kpa = HOIST_KPA_PER_M * config.hoist_height_m + SWING_KPA + track.gatherer.stairs_kpa
                higher = lost_kpa(track.mixed) >= least_kpa  # than the lift
                sure = max(
                    sure, lasting_above(track.mixed, FALLING_KPA_PER_S, settling_since_s=stretch_s, counted=higher)
                )
            track.falling = sure >= SURE and known(track)
            continue
        others = [rate[0] for n, rate in enumerate(rates) if n != row and rate is not None]
        warming = temperature_kpa_per_s(state.ambient_kpa, track.block.mean_kpa)
        beyond = FALLING_KPA_PER_S + min(max(min(others, default=0.0), 0.0), warming)
        sure = lasting_above(track.mixed, beyond, settling_since_s=stretch_s)
        if sure >= SURE:
            least = max(FALLING_KPA_PER_S, _SHARED_RATIO * track.quantiles.middle)
            shared = max(map(abs, others), default=0.0) >= least or _swings(state, row) or _may_move(state, row)
            outlasts_s = (math.inf if _scatters(track.block) else SWING_S) if shared else 0.0
            steps_n = _STEPS_SHOWN if measured or not others else _STEPS_SHOWN + _STEPS_OTHERS
            least_kpa = steps_n * track.gatherer.stairs_kpa
            shows = _shows(track.mixed, track.block, least_kpa, stretch_s=stretch_s, outlasts_s=outlasts_s)
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
            sure = min(sure, _beside_others(state, bank, apart.get(row), row, rates, follow_s=follow_s))
        track.falling = sure >= SURE and stretch_s >= _STRETCH_LEAST_S
    _tell_anew(state)


def _swings(state: LeakState, row: int) -> bool:
    """Whether another circuit at rest swings."""
    blocks = [track.block for n, track in enumerate(state.tracks) if n != row and not track.pump.running]
    return any(block is not None and _scatters(block) for block in blocks)


def _scatters(block: Block) -> bool:
    """Whether blocks scatter so much more than their noise that no rate is told: a fall stays as it was found before."""
    return block.var_kpa2 > _SWINGING * block.noise_kpa2


def _may_move(state: LeakState, row: int) -> bool:
    """Whether another circuit at rest may have begun to move just now, though too lately to be told so.

    A swing moves all circuits together, and one of them is sure first: the others show it well before it is doubted no more.
    """
    bank = state.bank
    at_rest = [n for n, track in enumerate(state.tracks) if n != row and not track.pump.running]
    return bank is not None and any(
        banks.chance_of(bank, n, FALLING_KPA_PER_S, youngest_s=_FRESH_S) >= _MAY_MOVE for n in at_rest
    )


def _rises(track: CircuitTrack, lowers_kpa_per_s: float) -> bool:
    """Whether a circuit has risen by more than its noise over its last three seconds, the measured hoist taken out.

    A load that swings brings the vacuum back while the fall it made is still weighed: a leak does not begin like that.
    ``lowers_kpa_per_s``: how fast the hook comes down, as what the air presses.
    """
    means = track.gatherer.means
    if len(means) < _RISES_N:
        return False
    (first_s, first_kpa, first_var), (last_s, last_kpa, last_var) = means[-_RISES_N], means[-1]
    risen_kpa = last_kpa - first_kpa - lowers_kpa_per_s * (last_s - first_s)
    return risen_kpa > math.sqrt(first_var + last_var)


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


def _shows(mixed: Mixture, block: Block, least_kpa: float, *, stretch_s: float, outlasts_s: float) -> NDArray[np.bool_]:
    """Which hypotheses say of a fall that it has gone beyond a gauge's next step, and beyond a swing or outlasted one.

    What the last rest lost goes on from the beginning of this stretch, beside what settles; a leak that was there before goes
    on beside what changed. What a swing brings back is no loss, though a hypothesis may not have seen yet that it turned.
    """
    goes_on = (mixed.age_s >= stretch_s - banks.UNSETTLED_S) | (mixed.base >= FALLING_KPA_PER_S)
    lost = lost_kpa(mixed) + np.where(goes_on, mixed.base, 0.0) * mixed.age_s
    shows = lost >= least_kpa
    back_kpa = np.maximum(block.mean_kpa - _BACK_SDS * math.sqrt(block.noise_kpa2) - mixed.level, 0.0)
    back_kpa[back_kpa > 2.0 * SWING_KPA] = 0.0  # no swing but a wild reading
    return shows & ((lost - back_kpa >= SWING_KPA) | (mixed.age_s >= outlasts_s))


def _rates(state: LeakState, bank: banks.Bank) -> tuple[list[Rate | None], list[bool]]:
    """Per circuit its rate of fall with its standard deviation, kPa/s, and whether that has stood for a while."""
    rates: list[Rate | None] = [None] * len(state.tracks)
    settled = [False] * len(state.tracks)
    for track in state.tracks:
        track.mixed = None
    begun = [
        (row, begun_s, second_var_kpa2(track.gatherer, block))
        for row, track in enumerate(state.tracks)
        if (begun_s := track.begun_s) is not None and (block := track.block) is not None
    ]
    mixed = mixtures(bank, [one[0] for one in begun], [one[2] for one in begun], level_shift_kpa=-state.climb_kpa)
    for (row, begun_s, _), one, quantiles in zip(begun, mixed, rate_quantiles(mixed), strict=True):
        track, stretch_s = state.tracks[row], bank.at_s - begun_s
        track.mixed, track.quantiles = one, quantiles
        middle, sd = quantiles.middle, quantiles.sd
        rates[row] = None if track.pump.running or stretch_s < KNOWN_AFTER_S else (middle, sd)
        settled[row] = sd < _SETTLED_SD and stretch_s > _SETTLED_S
    return rates, settled


def _follow_s(state: LeakState, rates: Sequence[Rate | None]) -> float:
    """How long circuits may take to show the beginning or the end of a hoist, s: a gauge that steps waits for its next step."""
    fastest = max((rate[0] for rate in rates if rate is not None), default=0.0)
    coarsest_kpa = max(track.gatherer.stairs_kpa for track in state.tracks)
    return min(max(FOLLOW_S, _STEPS_LATE * coarsest_kpa / max(fastest, FALLING_KPA_PER_S)), FOLLOW_MOST_S)


def _apart(state: LeakState) -> dict[int, Mixture]:
    """What is known of how each circuit goes beside the others, by rows: of those at rest that are held against others."""
    relative = state.relative
    if relative is None:
        return {}
    compared = [
        (row, second_var_kpa2(track.gatherer, track.block))
        for row, track in enumerate(state.tracks)
        if track.block is not None and not track.pump.running and relative.since_s[row] < math.inf
    ]
    rows = [row for row, _ in compared]
    return dict(zip(rows, mixtures(relative, rows, [var for _, var in compared]), strict=True))


def _beside_others(
    state: LeakState,
    bank: banks.Bank,
    apart: Mixture | None,
    row: int,
    rates: Sequence[Rate | None],
    *,
    follow_s: float = FOLLOW_S,
) -> float:
    """Probability that a circuit leaks rather than is hoisted with the others; takes the hoist out of its hypotheses.

    ``apart``: how it goes beside the others, if it is held against any. Quantiles that are no longer true are taken away.
    """
    track, common = state.tracks[row], state.common
    if track.mixed is None or track.begun_s is None or track.block is None:
        return 0.0
    stretch_s = bank.at_s - track.begun_s
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
    if apart is not None and not common.leaks and (unsettled or hoist > HOISTING_KPA_PER_S or common.lingers_s > 0.0):
        # the others may be about to follow, or do, or just did: what sets this one apart, on top of what the others lose
        usual = common.usual_kpa_per_s
        others = [(n, rate[0]) for n, rate in enumerate(rates) if n != row and rate is not None]
        base = [rate - hoist if hoist > 0.0 and not unsettled else (usual[n] or 0.0) for n, rate in others]
        level_kpa = float((track.mixed.weight * track.mixed.level).sum() - (apart.weight * apart.level).sum())
        apart.shift(level_kpa, sum(base) / len(base))
        track.mixed, track.quantiles = apart, None
    elif hoist != 0.0:
        track.mixed.shift(0.0, -hoist)
        track.quantiles = None
    return max(own, beyond)


def _tell_anew(state: LeakState) -> None:
    """Quantiles where they were taken away."""
    moved = [(track, mixed) for track in state.tracks if track.quantiles is None and (mixed := track.mixed) is not None]
    for (track, _), quantiles in zip(moved, rate_quantiles([mixed for _, mixed in moved]), strict=True):
        track.quantiles = quantiles


def _fresh_share(bank: banks.Bank, row: int) -> float:
    """Weight of the hypotheses whose onset is so recent that other circuits may not have shown theirs yet."""
    return banks.chance_of(bank, row, 0.0, youngest_s=_FRESH_S)
