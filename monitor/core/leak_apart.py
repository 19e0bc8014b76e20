"""Each circuit held against the others at rest: what sets it apart is no hoist, however fast all of them lose or gain."""

import math
from typing import Final

import numpy as np

from monitor.core import leak_bank as banks
from monitor.core.leak_blocks import Block
from monitor.core.leak_pump import OFF_RATE_WIDEN
from monitor.core.leak_state import LeakState, known

_STAIRS_DIFFER: Final = 12.0


def compare(
    state: LeakState,
    bank: banks.Bank,
    blocks: list[Block | None],
    jumped: list[bool],
    foreseen: tuple[banks.Floats, banks.Floats],
    dt_s: float,
) -> None:
    """Let a bank see each circuit at rest against the mean of the others at rest.

    A circuit begins anew here too when it was silent for long, when its pump turned, or when the silent pump of one it was held
    against came in: some of the rise was taken in before that showed. It begins, and joins without a step as others come and
    go, by where all were ``foreseen`` (mean and variance of their levels): no wild reading moves that.
    """
    rows_n = len(blocks)
    level_kpa, level_var = foreseen
    expected_kpa = banks.moments(bank)[0][banks.LEVEL]
    seen, noise, wanted = np.zeros(rows_n), np.ones(rows_n), np.zeros(rows_n, dtype=bool)
    rests = [
        track.block is not None and not track.pump.running and not turned
        for track, turned in zip(state.tracks, jumped, strict=True)
    ]
    value_kpa = [
        float(level_kpa[n]) if block is None else block.mean_kpa + state.climb_kpa for n, block in enumerate(blocks)
    ]
    variance = [float(level_var[n]) if block is None else block.var_kpa2 for n, block in enumerate(blocks)]
    begun = [
        turned and track.pump.running and track.pump.reported is None
        for track, turned in zip(state.tracks, jumped, strict=True)
    ]
    suspect = [track.pump.suspect_s is not None for track in state.tracks]
    for row, block in enumerate(blocks):
        track = state.tracks[row]
        if track.block is None or track.pump.running or jumped[row] or any(begun[n] for n in state.beside[row]):
            bank.since_s[row] = math.inf
        others = [n for n in range(rows_n) if n != row and rests[n]]
        if block is None or not rests[row] or all(blocks[n] is None for n in others):
            continue
        noise[row] = variance[row] + sum(variance[n] for n in others) / len(others) ** 2
        if any(one is not None and _stairs(one) for one in (block, *(blocks[n] for n in others))):
            noise[row] *= _STAIRS_DIFFER  # gauges step at different times while the vacuum moves together
        foreseen_kpa = float(level_kpa[row] - sum(level_kpa[n] for n in others) / len(others))
        if bank.since_s[row] == math.inf:
            banks.restart(bank, row, foreseen_kpa, noise[row], rate=_rate_apart(state, row, others))
            state.beside[row], state.shift_kpa[row] = others, 0.0
        elif state.beside[row] != others:
            state.beside[row], state.shift_kpa[row] = others, float(expected_kpa[row]) - foreseen_kpa
        seen[row] = value_kpa[row] - sum(value_kpa[n] for n in others) / len(others) + state.shift_kpa[row]
        moves = not all(one is None or one.still for one in (block, *(blocks[n] for n in others)))
        wanted[row] = moves and not any(suspect[n] for n in (row, *others))
    banks.observe(bank, seen, noise, wanted)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)


def _rate_apart(state: LeakState, row: int, others: list[int]) -> tuple[float, float] | None:
    """Mean and variance of what a circuit was last known to lose, less what the others do, kPa/s and (kPa/s)²."""
    track = state.tracks[row]
    own = track.pump.off_rate
    if track.quantiles is not None and known(track):
        own = (track.quantiles.middle, track.quantiles.sd**2)
    if own is None:
        return None
    lost = [other.quantiles.middle for n in others if (other := state.tracks[n]).quantiles is not None and known(other)]
    return own[0] - sum(lost) / len(others), own[1] + OFF_RATE_WIDEN


def _stairs(block: Block) -> bool:
    return bool(block.half_kpa) or block.still
