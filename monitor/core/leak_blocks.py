"""Readings of one signal gathered into blocks of about a second: what they say of the vacuum, and when.

Learns the noise of a reading from second differences (blind to a steady fall, and to a wild value now and then) and the
quantum from the steps between readings. A gauge whose noise does not hide its quantum is read as ``leak_stairs`` says.
"""

import math
from dataclasses import dataclass, field
from typing import Final

from monitor.core.leak_stairs import Counts, Stairs, say

BLOCK_S: Final = 1.0
_FLOOR_KPA: Final = 0.002
_STEPS_N: Final = 24
_NOISE_MEMORY_N: Final = 240
_NOISE_FIRST_N: Final = 20
_FIRST_MOST: Final = 30.0
_DECIMALS_KPA: Final = (1.0, 0.5, 0.1, 0.05, 0.01)
_MAY_ROUND: Final = 0.6  # noise over quantum beyond which no stairs show
_WHOLE: Final = 0.05
_DECIMAL: Final = 1e-3
_NEAR_QUANTA: Final = 4.0
_WHOLE_SHARE: Final = 0.85
_STOOD_N: Final = 3
_SWAY_LAG_S: Final = 4.0
_SWAY_N: Final = 25
_SWAY_KEPT_N: Final = 12
_SWAY_LEAST_N: Final = 4
_SWAY_SDS: Final = 3.0
_SWAY_MOST_SDS: Final = 5.0
_SWAY_MOST_KPA: Final = 1.5
_GOLDEN: Final = 0.5 * (math.sqrt(5.0) - 1.0)  # multiples of it fill the unit evenly
_BIAS_BLOCKS: Final = 20.0  # a quantised mean stays off to one side for some blocks on end


@dataclass(frozen=True, slots=True)
class Block:
    """About a second of one signal: mean in kPa at ``at_s`` and the variance of that mean in kPa².

    ``noise_kpa2`` is that variance without what a swing adds.
    ``half_kpa`` above 0: the vacuum lay within so much of the mean, no likelier in the middle, the sides softened by a noise
    of variance ``soft_kpa2``. ``still``: nothing to be weighed. ``counts``: values read and how often, if the gauge may be
    coarse; they were read about ``read_s``.
    """

    at_s: float
    mean_kpa: float
    var_kpa2: float
    noise_kpa2: float
    still: bool = False
    half_kpa: float = 0.0
    soft_kpa2: float = 0.0
    counts: Counts = ()
    read_s: float = 0.0


@dataclass(slots=True)
class Gatherer:
    """What is remembered of one signal between blocks."""

    heard_s: float = -math.inf
    times_s: list[float] = field(default_factory=list)
    values_kpa: list[float] = field(default_factory=list)
    noise_var: float = 0.05**2
    noise_n: int = 0
    first: list[float] = field(default_factory=list)
    steps_kpa: list[float] = field(default_factory=list)
    rounds_kpa: float | None = None
    """The quantum as last found; ``None`` once something new has shown."""

    coarsest_kpa: float = 1.0
    decimal_kpa: float = 1.0
    tail: list[tuple[float, float]] = field(default_factory=list)
    stood_n: int = 0
    stairs: Stairs = field(default_factory=Stairs)
    means: list[tuple[float, float, float]] = field(default_factory=list)
    """Of the last whole seconds: when, mean in kPa and the variance of that mean by its noise in kPa²."""

    second: list[tuple[float, float]] = field(default_factory=list)
    sway: float = 1.0
    within: float = 0.0
    bends: list[float] = field(default_factory=list)
    moves: list[float] = field(default_factory=list)
    stairs_kpa: float = 0.0
    """How far a second's readings may be from the vacuum by the steps of a gauge; 0 while its noise hides them."""

    @property
    def quantum_kpa(self) -> float:
        """Quantum of the signal as far as it has shown, kPa; 0 if it does not round."""
        if self.rounds_kpa is None:
            self.rounds_kpa = self._rounds_kpa()
        return self.rounds_kpa

    def _rounds_kpa(self) -> float:
        near_kpa = sorted(step for step in self.steps_kpa if step <= _NEAR_QUANTA * self.coarsest_kpa)
        if len(near_kpa) < 3:  # or nothing but wild values, which say no more than that what they lie on is no coarser
            decimal_kpa = _decimal_kpa(self.steps_kpa, self.decimal_kpa)
            return self.coarsest_kpa if decimal_kpa == 0.0 and self.stood_n >= _STOOD_N else decimal_kpa
        for quantum in (near_kpa[1], near_kpa[1] / 2.0, near_kpa[1] / 3.0, self.decimal_kpa):
            if not 0.0 < quantum <= 1.01 * self.coarsest_kpa:
                continue
            if _whole_n(self.steps_kpa, quantum) >= _WHOLE_SHARE * len(self.steps_kpa):
                return quantum
        return 0.0


def _whole_n(steps_kpa: list[float], quantum_kpa: float, *, within: float = _WHOLE) -> int:
    """How many of the steps are whole quanta, within a share of one."""
    return sum(abs(step / quantum_kpa - round(step / quantum_kpa)) < within for step in steps_kpa)


def _decimal_kpa(values_kpa: list[float], most_kpa: float) -> float:
    """The coarsest decimal step that all values lie on, at most so coarse; 0 where they lie on none."""
    fits = (
        one
        for one in _DECIMALS_KPA
        if one <= most_kpa and _whole_n(values_kpa, one, within=_DECIMAL) == len(values_kpa)
    )
    return next(fits, 0.0)


def gather(gatherer: Gatherer, value_kpa: float, now_s: float) -> None:
    """Take one reading into the block under way; of an instant the first one."""
    if now_s == gatherer.heard_s:
        return
    gatherer.heard_s = now_s
    gatherer.times_s.append(now_s)
    gatherer.values_kpa.append(value_kpa)


def begin_anew(gatherer: Gatherer) -> None:
    """Forget how the means moved: another stretch begins. Noise and quantum stay."""
    gatherer.means, gatherer.bends, gatherer.moves, gatherer.second = [], [], [], []
    gatherer.sway = 1.0


def close(gatherer: Gatherer, *, second_ends: bool = True) -> Block | None:
    """End the block under way, and a second with it or not; ``None`` if nothing came in it."""
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
    counts: Counts = ()
    shows = _shows(own_var, quantum)
    gatherer.stairs_kpa = 0.0
    if own_var < (_MAY_ROUND * quantum) ** 2:
        seen = [values_kpa[i] for i in kept]
        counts = tuple((value, seen.count(value)) for value in sorted(set(seen)))
        if not gatherer.stairs.blurred:
            leaves = math.sqrt(_shows((gatherer.stairs.ratio * quantum) ** 2, quantum))
            gatherer.stairs_kpa = quantum * max(leaves, 1.0 / math.sqrt(used_n))
            said = say(gatherer.stairs, [times_s[i] for i in kept], seen, before, quantum)
            rounded = gatherer.noise_var / used_n + shows * quantum * quantum / 12.0  # such a mean moves by steps
            step_kpa = quantum / used_n
            swings = (_sways(gatherer, at_s, mean, rounded, second_ends, step_kpa=step_kpa) - 1.0) * rounded
            soft = said.var_kpa2 + swings
            var = soft + said.half_kpa**2 / 3.0 + _FLOOR_KPA**2
            return Block(said.at_s, said.kpa, var, var - swings, not said.new, said.half_kpa, soft, counts, at_s)
    noise_var, hides = gatherer.noise_var, (gatherer.stairs.ratio**2 + 1.0 / 12.0) * quantum * quantum
    if counts and noise_var < 0.5 * hides:  # learned while the value stood, before it was found to hide the stairs
        noise_var, shows = hides, _shows((gatherer.stairs.ratio * quantum) ** 2, quantum)
    bias = shows * quantum * quantum / (2.0 * math.pi**2)
    var = noise_var / used_n + _FLOOR_KPA**2
    noise = var + _BIAS_BLOCKS * bias
    return Block(at_s, mean, noise * _sways(gatherer, at_s, mean, var, second_ends), noise, counts=counts, read_s=at_s)


def second_var_kpa2(gatherer: Gatherer, block: Block) -> float:
    """How far readings may be off, as a variance: beside an edge of the gauge as far as between two."""
    return max(block.var_kpa2, gatherer.stairs_kpa**2 / 12.0)


def _shows(own_var: float, quantum: float) -> float:
    """How much of the stairs a noise of its own leaves in the mean, 0 to 1."""
    return math.exp(-min(4.0 * math.pi**2 * own_var / max(quantum, 1e-9) ** 2, 700.0))


def _sways(
    gatherer: Gatherer, at_s: float, mean: float, var: float, second_ends: bool, *, step_kpa: float = 0.0
) -> float:
    """``_sway`` of the means of whole seconds, of which this one is the last or a part; such means go by ``step_kpa``."""
    gatherer.second.append((at_s, mean))
    if second_ends:
        n = len(gatherer.second)
        at_s, mean = (sum(one) / n for one in zip(*gatherer.second, strict=True))
        gatherer.second = []
        gatherer.sway = _sway(gatherer, at_s, mean, var / n, step_kpa / n)
    return gatherer.sway


def _sway(gatherer: Gatherer, at_s: float, mean: float, var: float, step_kpa: float) -> float:
    """How much more the means scatter over some seconds than their noise explains (swing), as a ratio, 1 or more.

    The median of second differences over ``_SWAY_LAG_S``: a kink makes few of them large, swing makes most. And sooner:
    no leak rises, so what both fell and rose far within half a minute swings.
    """
    means, bends, moves = gatherer.means, gatherer.bends, gatherer.moves
    means.append((at_s, mean, var))
    if len(means) > _SWAY_KEPT_N:
        del means[0]
    lag_n = max(round(_SWAY_LAG_S * (len(means) - 1) / max(at_s - means[0][0], 1e-6)), 1) if len(means) > 1 else 1
    ratio = 1.0
    if len(means) > lag_n:
        move, sd = mean - means[-1 - lag_n][1], math.sqrt(2.0 * var)
        if abs(move) <= max(_SWAY_MOST_KPA, _SWAY_MOST_SDS * sd):  # beyond it is a wild reading
            moves.append(move / sd)
            if len(moves) > _SWAY_N:
                del moves[0]
        if len(moves) >= _SWAY_LEAST_N:
            ordered = sorted(moves)
            both = min(-ordered[1], ordered[-2])  # the second largest either way: one wild reading is no swing
            if both > _SWAY_SDS:
                ratio = both * both
    if len(means) <= 2 * lag_n:
        return ratio
    bend = abs(mean - 2.0 * means[-1 - lag_n][1] + means[-1 - 2 * lag_n][1])
    gatherer.within = (gatherer.within + _GOLDEN) % 1.0
    bend += (gatherer.within - 0.5) * step_kpa  # what goes by steps lies somewhere within one, or the median would jump
    bends.append(bend * bend / (6.0 * var))
    if len(bends) > _SWAY_N:
        del bends[0]
    if len(bends) < _SWAY_N // 2:
        return ratio
    usual = sorted(bends)[len(bends) // 2] / 0.455
    return max(ratio, usual if usual > 2.0 else 1.0)


def _learn(gatherer: Gatherer, times_s: list[float], values_kpa: list[float]) -> None:
    """Bring noise and quantum up to date."""
    tail = gatherer.tail
    noise_var, noise_n = gatherer.noise_var, gatherer.noise_n
    for now_s, value in zip(times_s, values_kpa, strict=True):
        if not tail or abs(value - tail[-1][1]) > 1e-6 or len(gatherer.steps_kpa) < 3:
            gatherer.rounds_kpa = None
        if not tail:
            gatherer.decimal_kpa = min(_decimal_kpa([value], math.inf), gatherer.coarsest_kpa)
        else:
            step = abs(value - tail[-1][1])
            if step > 1e-6:
                gatherer.steps_kpa.append(step)
                if len(gatherer.steps_kpa) > _STEPS_N:
                    del gatherer.steps_kpa[0]
            else:
                gatherer.stood_n += 1
        if len(tail) == 2:
            (t0, y0), (t1, y1) = tail
            share = (t1 - t0) / (now_s - t0)
            bend = y1 - y0 - (value - y0) * share
            square = bend * bend / (1.0 + share * share + (1.0 - share) ** 2)
            noise_n += 1
            if noise_n <= _NOISE_FIRST_N:  # a wild value among the first must not be taken for noise
                gatherer.first.append(square)
                known = sorted(gatherer.first)
                most = max(_FIRST_MOST * known[len(known) // 2], (1.5 * gatherer.quantum_kpa) ** 2)
                kept = [one for one in known[: max(len(known) - 1 - len(known) // 5, 1)] if one <= most] or known[:1]
                noise_var = max(1.25 * sum(kept) / len(kept), 1e-6)
            else:
                square = min(square, 7.0 * noise_var)
                noise_var = max(noise_var + (square - noise_var) / min(noise_n, _NOISE_MEMORY_N), 1e-6)
            tail[0] = tail[1]
            tail[1] = (now_s, value)
        else:
            tail.append((now_s, value))
    gatherer.noise_var, gatherer.noise_n = noise_var, noise_n
