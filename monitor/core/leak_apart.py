"""Each circuit held against the others at rest: what sets it apart is no hoist, however fast all of them lose or gain."""

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from monitor.core import leak_bank as banks
from monitor.core.leak_blocks import Block
from monitor.core.leak_pump import OFF_RATE_WIDEN, Rate
from monitor.core.leak_state import LeakState, known_rate

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
    seen, noise, wanted = np.zeros(rows_n), np.ones(rows_n), np.zeros(rows_n, dtype=bool)
    rests = [
        track.block is not None and not track.pump.running and not turned
        for track, turned in zip(state.tracks, jumped, strict=True)
    ]
    begun = [
        turned and track.pump.running and track.pump.reported is None
        for track, turned in zip(state.tracks, jumped, strict=True)
    ]
    value_kpa = [
        float(level_kpa[n]) if block is None else block.mean_kpa + state.climb_kpa for n, block in enumerate(blocks)
    ]
    variance = [float(level_var[n]) if block is None else block.var_kpa2 for n, block in enumerate(blocks)]
    for row, block in enumerate(blocks):
        if not rests[row] or any(begun[n] for n in state.beside[row]):
            bank.since_s[row] = math.inf
        others = [n for n in range(rows_n) if n != row and rests[n]]
        heard = [one for n in others if (one := blocks[n]) is not None]
        if block is None or not rests[row] or not heard:
            continue
        heard.append(block)
        noise[row] = variance[row] + sum(variance[n] for n in others) / len(others) ** 2
        if any(_stairs(one) for one in heard):
            noise[row] *= _STAIRS_DIFFER  # gauges step at different times while the vacuum moves together
        if bank.since_s[row] == math.inf:
            rate = _rate_apart(state, row, others)
            banks.restart(bank, row, _apart_kpa(level_kpa, row, others), noise[row], rate=rate)
            state.beside[row], state.shift_kpa[row] = others, 0.0
        elif state.beside[row] != others:
            expected_kpa = float(banks.moments(bank)[0][banks.LEVEL, row])
            state.beside[row], state.shift_kpa[row] = others, expected_kpa - _apart_kpa(level_kpa, row, others)
        seen[row] = _apart_kpa(value_kpa, row, others) + state.shift_kpa[row]
        suspect = any(state.tracks[n].pump.suspect_s is not None for n in (row, *others))
        wanted[row] = not suspect and not all(one.still for one in heard)
    banks.observe(bank, seen, noise, wanted)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)


def _apart_kpa(kpa: Sequence[float] | banks.Floats, row: int, others: list[int]) -> float:
    """One circuit's value less the mean of the others'."""
    return float(kpa[row] - sum(kpa[n] for n in others) / len(others))


def _rate_apart(state: LeakState, row: int, others: list[int]) -> Rate | None:
    """Mean and variance of what a circuit was last known to lose, less what the others do, kPa/s and (kPa/s)²."""
    track = state.tracks[row]
    own = known_rate(track) or track.pump.off_rate
    if own is None:
        return None
    lost = [rate[0] for n in others if (rate := known_rate(state.tracks[n])) is not None]
    return own[0] - sum(lost) / len(others), own[1] + OFF_RATE_WIDEN


def _stairs(block: Block) -> bool:
    return bool(block.half_kpa) or block.still
