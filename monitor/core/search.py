"""The worst of a check over all tilts and rotations of a move."""

import math
from collections.abc import Callable, Sequence
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.core.pads import Floats


class Worst(NamedTuple):
    """The most a check asks over the move, and where."""

    value: float
    tilt_deg: float
    rotation_deg: float = 0.0


Check = Callable[[Floats, Floats], Floats]  # tilts and rotations, shape (m,), to one value per pad, shape (m, n)

_TILT_STEP_DEG: Final = 3.0
_TURN_STEP_DEG: Final = 7.5
_CLOSEST: Final = 3.0**-12
_LOOKS_N: Final = 60
_TINY: Final = 1.0e-300
_NEAR: Final = np.linspace(-1.0, 1.0, 7)


def worst_over(
    check: Check, groups: Sequence[Sequence[int]], tilts_deg: list[float], turns_deg: tuple[float, float]
) -> list[tuple[int, Worst] | None]:
    """The pad of each group that a check asks most of over the tilts and rotations of a move, and where.

    A grid, then ever closer looks at whatever could still be the worst. Marks and smooth peaks are found to rounding,
    a peak on a ridge (where a pad comes off or on load) to one part in a thousand.

    Args:
        check: What is asked of each pad.
        groups: Places of the pads of each group; the answer to an empty group is ``None``.
        tilts_deg: The ends of the tilts and the marks between that must be hit exactly.
        turns_deg: The ends of the rotations.
    """
    low_deg, high_deg = min(tilts_deg), max(tilts_deg)
    from_deg, to_deg = turns_deg
    lattice = np.arange(math.ceil(low_deg / _TILT_STEP_DEG), math.floor(high_deg / _TILT_STEP_DEG) + 1) * _TILT_STEP_DEG
    tilts = np.unique(np.concatenate([lattice, tilts_deg]))
    turns = np.linspace(from_deg, to_deg, 1 + math.ceil((to_deg - from_deg) / _TURN_STEP_DEG))
    tilt, turn = (grid.ravel() for grid in np.meshgrid(tilts, turns, indexing="ij"))
    pads = [pad for group in groups for pad in group]
    group_of = np.array([g for g, group in enumerate(groups) for _ in group])
    values = check(tilt, turn)[:, pads]
    at, which = _peaks(values.reshape(len(tilts), len(turns), -1))
    value, at_tilt, at_turn = values[at, which], tilt[at], turn[at]
    pad, group_at = np.array(pads)[which], group_of[which]
    across = np.meshgrid(_NEAR if high_deg > low_deg else [0.0], _NEAR if to_deg > from_deg else [0.0])
    off_tilt, off_turn = across[0].ravel(), across[1].ravel()
    closer = np.full(len(value), 1.0 if len(off_tilt) > 1 else 0.0)
    for look_n in range(_LOOKS_N):
        most = np.array([value[group_at == g].max(initial=_TINY) for g in range(len(groups))])
        hopeful = value >= most[group_at] * (1.0 - 0.1 * closer)
        still = np.flatnonzero(hopeful & np.isfinite(value) & (closer > _CLOSEST))
        if look_n > 1:  # alike by symmetry: one of them is enough
            alike = np.column_stack([np.round(value[still] / most[group_at[still]], 12), group_at[still]])
            kept = still[np.unique(alike, axis=0, return_index=True)[1]]
            closer[np.setdiff1d(still, kept)] = 0.0
            still = kept
        if not len(still):
            break
        tilt = np.clip(at_tilt[still, None] + _TILT_STEP_DEG * closer[still, None] * off_tilt, low_deg, high_deg)
        turn = np.clip(at_turn[still, None] + _TURN_STEP_DEG * closer[still, None] * off_turn, from_deg, to_deg)
        row = np.arange(len(still))
        values = check(tilt.ravel(), turn.ravel()).reshape(len(still), len(off_tilt), -1)[row, :, pad[still]]
        best = values.argmax(axis=1)
        better = values[row, best] > value[still]
        on_the_edge = better & (np.maximum(np.abs(off_tilt), np.abs(off_turn))[best] == 1.0)
        moved, best, row = still[better], best[better], row[better]
        value[moved], at_tilt[moved], at_turn[moved] = values[row, best], tilt[row, best], turn[row, best]
        closer[still[~on_the_edge]] /= 3.0
    answers: list[tuple[int, Worst] | None] = []
    for g, group in enumerate(groups):
        at = np.flatnonzero(group_at == g)
        peak = at[value[at].argmax()] if group else 0
        worst = Worst(float(value[peak]), float(at_tilt[peak]), float(at_turn[peak]))
        answers.append((int(pad[peak]), worst) if group else None)
    return answers


def _peaks(values: Floats) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Points of a grid, shape (tilts, turns, pads), no neighbour of which is higher: flat place and pad of each."""
    around = np.pad(values, ((1, 1), (1, 1), (0, 0)), constant_values=-np.inf)
    tilts_n, turns_n, pads_n = values.shape
    high = np.ones(values.shape, dtype=bool)
    for i in range(3):
        for j in range(3):
            high &= values >= around[i : i + tilts_n, j : j + turns_n]
    at, which = np.nonzero(high.reshape(-1, pads_n))
    return at, which
