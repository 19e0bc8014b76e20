"""Readings of one signal gathered into blocks of about a second: mean, time, and how far the mean may be off.

Learns the noise of a reading from second differences (blind to a steady fall, and to a wild value now and then) and the
quantum from the steps between readings. A coarse gauge without noise stands still and then steps: only the step says
where the vacuum is, so a block that repeats the last value is *still*, and a step is placed half-way.
"""

import math
from dataclasses import dataclass, field
from typing import Final

BLOCK_S: Final = 1.0
_FLOOR_KPA: Final = 0.002
_STEPS_N: Final = 24
_NOISE_MEMORY_N: Final = 240
_NOISE_FIRST_N: Final = 20
_DECIMALS_KPA: Final = (1.0, 0.5, 0.1, 0.05, 0.01)
_BLURRED: Final = 0.03  # how little of a quantum's stairs may show through the noise before a gauge counts as blurred
_SWAY_LAG_S: Final = 4.0
_SWAY_N: Final = 25
_SWAY_KEPT_N: Final = 12
_BIAS_BLOCKS: Final = 20.0  # a quantised mean stays off to one side for some blocks on end


@dataclass(frozen=True, slots=True)
class Block:
    """About a second of one signal: mean in kPa at ``at_s`` and the variance of that mean in kPa².

    ``still``: it says nothing new. ``stair``: the gauge is too coarse for its noise.
    """

    at_s: float
    mean_kpa: float
    var_kpa2: float
    still: bool
    stair: bool = False


@dataclass(slots=True)
class Gatherer:
    """What is remembered of one signal between blocks."""

    times_s: list[float] = field(default_factory=list)
    values_kpa: list[float] = field(default_factory=list)
    noise_var: float = 0.05**2
    noise_n: int = 0
    first: list[float] = field(default_factory=list)
    steps_kpa: list[float] = field(default_factory=list)
    coarsest_kpa: float = 1.0
    decimal_kpa: float = 1.0
    tail: list[tuple[float, float]] = field(default_factory=list)
    stood_s: float = 0.0
    said_s: float = 0.0
    dwell_s: float = 0.0
    edge_kpa: float | None = None
    means: list[tuple[float, float]] = field(default_factory=list)
    bends: list[float] = field(default_factory=list)

    @property
    def quantum_kpa(self) -> float:
        """Quantum of the signal as far as it has shown, kPa."""
        if len(self.steps_kpa) < 3:
            return self.decimal_kpa
        return min(self.decimal_kpa, sorted(self.steps_kpa)[1])


def gather(gatherer: Gatherer, value_kpa: float, now_s: float) -> None:
    """Take one reading into the block under way."""
    gatherer.times_s.append(now_s)
    gatherer.values_kpa.append(value_kpa)


def close(gatherer: Gatherer) -> Block | None:
    """End the block under way; ``None`` if nothing came in it."""
    times_s, values_kpa = gatherer.times_s, gatherer.values_kpa
    if not values_kpa:
        return None
    gatherer.times_s, gatherer.values_kpa = [], []
    before = gatherer.tail[-1] if gatherer.tail else (times_s[0], values_kpa[0])
    _learn(gatherer, times_s, values_kpa)
    sd = math.sqrt(gatherer.noise_var)
    quantum = gatherer.quantum_kpa
    n = len(values_kpa)
    middle = sorted(values_kpa)[n // 2]
    if n > 2:
        reach = 5.0 * sd + 1.2 * quantum + 0.06
        kept = [i for i in range(n) if abs(values_kpa[i] - middle) <= reach]
    else:
        kept = list(range(n))
    used_n = len(kept)
    at_s = sum(times_s[i] for i in kept) / used_n
    mean = sum(values_kpa[i] for i in kept) / used_n
    own_var = max(gatherer.noise_var - quantum * quantum / 12.0, 0.0)
    stairs = quantum * quantum / (2.0 * math.pi**2)
    bias = stairs * math.exp(-min(4.0 * math.pi**2 * own_var / max(quantum, 1e-9) ** 2, 700.0))
    var = gatherer.noise_var / used_n + _FLOOR_KPA**2
    if bias <= _BLURRED * stairs:  # a gauge without a quantum has no stairs at all
        return Block(at_s, mean, (var + _BIAS_BLOCKS * bias) * _sway(gatherer, at_s, mean, var), False)
    return _stair(gatherer, [times_s[i] for i in kept], [values_kpa[i] for i in kept], before, quantum, own_var)


def _sway(gatherer: Gatherer, at_s: float, mean: float, var: float) -> float:
    """How much more the means scatter over some seconds than their noise explains (swing), as a ratio, 1 or more.

    The median of second differences over ``_SWAY_LAG_S``: a kink makes few of them large, swing makes most.
    """
    means = gatherer.means
    means.append((at_s, mean))
    if len(means) > _SWAY_KEPT_N:
        del means[0]
    lag_n = max(round(_SWAY_LAG_S * (len(means) - 1) / max(at_s - means[0][0], 1e-6)), 1) if len(means) > 1 else 1
    if len(means) <= 2 * lag_n:
        return 1.0
    bend = mean - 2.0 * means[-1 - lag_n][1] + means[-1 - 2 * lag_n][1]
    gatherer.bends.append(bend * bend / (6.0 * var))
    if len(gatherer.bends) > _SWAY_N:
        del gatherer.bends[0]
    if len(gatherer.bends) < _SWAY_N // 2:
        return 1.0
    ratio = sorted(gatherer.bends)[len(gatherer.bends) // 2] / 0.455
    return ratio if ratio > 2.0 else 1.0


def _stair(
    gatherer: Gatherer,
    times_s: list[float],
    values_kpa: list[float],
    before: tuple[float, float],
    quantum: float,
    own_var: float,
) -> Block:
    """A block of a gauge whose noise is too small to blur its quantum: only a step says where the vacuum is, half-way."""
    after = values_kpa[-1]
    step = after - before[1]
    inside_var = quantum * quantum / 12.0
    if gatherer.stood_s == 0.0:
        gatherer.stood_s = gatherer.said_s = times_s[-1]
        return Block(times_s[-1], after, inside_var, False, True)
    if abs(step) < 1e-6:
        return Block(times_s[-1], after, inside_var, not _due(gatherer, times_s[-1], 1.3 * gatherer.dwell_s), True)
    first = next(i for i in range(len(values_kpa)) if abs(values_kpa[i] - before[1]) > 1e-6)
    at_s = 0.5 * (times_s[first] + (times_s[first - 1] if first else before[0]))
    if abs(step) > 1.5 * quantum:
        gatherer.stood_s, gatherer.said_s, gatherer.edge_kpa = times_s[-1], times_s[-1], None
        return Block(times_s[-1], after, inside_var, False, True)
    edge_kpa, edge_var = before[1] + 0.5 * step, (0.15 * quantum) ** 2 + own_var
    if gatherer.edge_kpa is not None and abs(edge_kpa - gatherer.edge_kpa) < 0.1 * quantum:  # to and fro over one edge
        return Block(at_s, edge_kpa, edge_var, not _due(gatherer, at_s, 0.0), True)
    gatherer.dwell_s = min(at_s - gatherer.stood_s, 120.0)
    gatherer.stood_s, gatherer.said_s, gatherer.edge_kpa = at_s, at_s, edge_kpa
    return Block(at_s, edge_kpa, edge_var, False, True)


def _due(gatherer: Gatherer, at_s: float, quiet_s: float) -> bool:
    """Whether it is news that nothing new was read: once the next step is overdue, and then ever more seldom."""
    stood_s, said_s = at_s - gatherer.stood_s, gatherer.said_s - gatherer.stood_s
    if stood_s < quiet_s or stood_s < said_s + min(max(said_s, 4.0), 60.0):
        return False
    gatherer.said_s = at_s
    return True


def _learn(gatherer: Gatherer, times_s: list[float], values_kpa: list[float]) -> None:
    """Bring noise and quantum up to date."""
    tail = gatherer.tail
    noise_var, noise_n = gatherer.noise_var, gatherer.noise_n
    for now_s, value in zip(times_s, values_kpa, strict=True):
        if not tail:
            fits = next((q for q in _DECIMALS_KPA if abs(value / q - round(value / q)) < 1e-3), 0.0)
            gatherer.decimal_kpa = min(fits, gatherer.coarsest_kpa)
        else:
            step = abs(value - tail[-1][1])
            if step > 1e-6:
                gatherer.steps_kpa.append(step)
                if len(gatherer.steps_kpa) > _STEPS_N:
                    del gatherer.steps_kpa[0]
        if len(tail) == 2:
            (t0, y0), (t1, y1) = tail
            share = (t1 - t0) / (now_s - t0)
            bend = y1 - y0 - (value - y0) * share
            square = bend * bend / (1.0 + share * share + (1.0 - share) ** 2)
            noise_n += 1
            if noise_n <= _NOISE_FIRST_N:  # a wild value among the first must not be taken for noise
                gatherer.first.append(square)
                known = sorted(gatherer.first)
                kept = known[: max(len(known) - 1 - len(known) // 5, 1)]
                noise_var = max(1.25 * sum(kept) / len(kept), 1e-6)
            else:
                square = min(square, 7.0 * noise_var)
                noise_var = max(noise_var + (square - noise_var) / min(noise_n, _NOISE_MEMORY_N), 1e-6)
            tail[0] = tail[1]
            tail[1] = (now_s, value)
        else:
            tail.append((now_s, value))
    gatherer.noise_var, gatherer.noise_n = noise_var, noise_n
