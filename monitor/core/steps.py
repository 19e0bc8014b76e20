"""Steps of a figure that is measured once a lift: found as the lifts come, and dated.

A level and slope are followed with a discount (old lifts count less); what a lift differs from the expected, over the
scatter, feeds CUSUMs of likelihood ratios on each side (Page 1954), one per size of step. The likelihood knows that
some lifts are on an odd panel and say nothing, so these never make a step.

A step is told early, as a possible one, and judged again with every lift after that: dated anew, withdrawn as soon as the
lifts no longer speak for it, or certain after ten. Early means often wrong: even a chart that knew level, scatter and size
beforehand could not find twice the scatter within five lifts and raise one false step in 500 (``tests.benchmarks.trends``).
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from math import exp, inf, log, pi, sqrt
from statistics import median
from typing import Final

LEARN_N: Final = 12
"""Lifts before anything is called a step."""

MEMORY: Final = 0.99
"""How much a lift counts less with each one after it: about 100 lifts are remembered."""

SHIFTS: Final = (2.0, 4.0, 7.0)
"""Steps looked for, in scatters; a chart for the wrong size finds a step a little later."""

H_UP: Final = (1.4, 6.2, 11.0)
H_DOWN: Final = (2.2, 6.5, 11.0)
"""Decision intervals per shift (log of a likelihood ratio), set on training histories
(``python -m tests.benchmarks.trends``). Large shifts wait for a third lift: odd panels come in pairs too. A step for the
worse is told eagerly, because it is taken back as easily; one for the better a little less so."""

ODD_SHARE: Final = 0.02
ODD_DENSITY: Final = 0.1
"""Lifts on an odd panel (rough, dirty): how many, and how thin they are spread, per scatter (common practice)."""

NOTHING_Z: Final = 0.95
"""Within this no lift speaks for a step: half the smallest shift, less a little for the odd ones."""

CLIP: Final = 1.5
UNSURE_CLIP: Final = 4.0
"""How far one lift pulls the level, in scatters: little once it is known, much while it is not."""

SCALE_LOOKS: Final = 3.5
SCALE_GAIN: Final = 0.02
SCALE_AT_LEAST_RATIO: Final = 0.02
SLOPE_VAR_FIRST: Final = 4e-4
CONFIRM_N: Final = 10
CONFIRM_SHIFT: Final = 1.2
"""The mean of ``CONFIRM_N`` lifts after a step was noticed must still lie this many scatters off the old level."""

DATED_BACK_N: Final = 12
DATED_ANEW: Final = 2.0
WITHDRAWN_UNDER: Final = 0.8
"""A possible step is dated up to so many lifts back, anew where that is likelier by so much, and withdrawn under so much
(all logs of likelihood ratios)."""

UNSURE_VAR: Final = 0.3
"""While the level itself is less sure than this (in scatters squared), nothing is called a step."""


@dataclass(frozen=True, slots=True)
class Found:
    """A step: the lift it shows in first, the lift at which it was noticed, its size, the scatter it was judged by.

    ``certain`` is false while fewer than ``CONFIRM_N`` lifts followed.
    """

    at: int
    noticed_at: int
    size: float
    scatter: float
    certain: bool


def find_steps(values: Sequence[float], restarts: Collection[int] = (), least_scatter: float = 1e-6) -> list[Found]:
    """Every step of a figure, oldest first.

    Args:
        values: One a lift, oldest first, finite.
        restarts: Lifts at which a new level is expected (after a service): no step is called there.
        least_scatter: What the figure is known to at best: a coarse figure stands still and then moves by its quantum.
    """
    if len(values) < LEARN_N:
        return []
    restarts = frozenset(restarts)
    follower = _Follower(values[:LEARN_N], least_scatter)
    found: list[Found] = []
    before: _Follower | None = None  # as it was when the last step was noticed, until that is certain
    since = 0  # no step is dated back to before this: the last certain one, or the last service
    for n, value in enumerate(values):
        if n in restarts:
            follower.forget()
            before, since = None, n
        if before is not None and (withdrawn := before.judge_again(found, values, n, since)) is not None:
            if withdrawn:
                noticed_at = found.pop().noticed_at
                follower = before.go_on(noticed_at, values[noticed_at:n])
            else:
                since = found[-1].at + 1
            before = None
        step = follower.take(n, value, values)
        if step is not None and before is None:
            found.append(step)
            before = follower.before
    if before is not None and before.judge_again(found, values, len(values), since):
        del found[-1]
    return found


_TABLE_STEP: Final = 0.02
_TABLE_MOST: Final = 8.0  # a lift further off is as this far: nothing more is to be learned from it


def _table(shift: float) -> list[float]:
    """Log of the likelihood of a shift over that of none, for z from ``-_TABLE_MOST`` on in ``_TABLE_STEP``."""

    def density(z: float) -> float:
        return (1.0 - ODD_SHARE) * exp(-0.5 * z * z) / sqrt(2.0 * pi) + ODD_SHARE * ODD_DENSITY

    places_n = int(2.0 * _TABLE_MOST / _TABLE_STEP) + 1
    grid = [n * _TABLE_STEP - _TABLE_MOST for n in range(places_n)]
    return [log(density(z - shift) / density(z)) for z in grid]


_TABLES: Final = tuple(_table(shift) for shift in SHIFTS)


def _place(z: float) -> int:
    return int((min(max(z, -_TABLE_MOST), _TABLE_MOST) + _TABLE_MOST) / _TABLE_STEP)


def _likeliest(off: Sequence[float], dated: int, latest: int) -> tuple[int, float]:
    """Where an upward step in ``off`` (in scatters) likeliest began, up to ``latest``, and how likely that is.

    It stays ``dated`` unless another place is clearly likelier.
    """
    most, at, as_dated = -inf, dated, -inf
    for ratios in _TABLES:
        total = 0.0
        for n in range(len(off) - 1, -1, -1):
            total += ratios[_place(off[n])]
            if n == dated:
                as_dated = max(as_dated, total)
            if n <= latest and total > most:
                most, at = total, n
    return (at if most > as_dated + DATED_ANEW else dated), most


class _Follower:
    """Level and slope (per lift), their variances in units of the scatter squared, and the two sums."""

    __slots__ = ("before", "down", "least", "level", "p11", "p12", "p22", "rising", "scale", "slope", "up")

    def __init__(self, first: Sequence[float], least_scatter: float) -> None:
        self.least = least_scatter
        moves = [abs(after - before) for before, after in pairwise(first)]
        self.level = median(first)
        self.scale = max(1.4826 * median(moves) / sqrt(2.0), SCALE_AT_LEAST_RATIO * abs(self.level), self.least)
        self.slope = 0.0
        self.before: _Follower | None = None  # as it was before the last step
        self.rising = False  # whether any sum is above nothing
        self.p11, self.p12, self.p22 = 1.0, 0.0, SLOPE_VAR_FIRST
        self._begin_sums()

    def forget(self) -> None:
        self.p11, self.p12, self.p22 = 400.0, 0.0, max(self.p22, SLOPE_VAR_FIRST)
        self.slope = 0.0
        self._begin_sums()

    def copy(self) -> "_Follower":
        twin = object.__new__(_Follower)
        for name in self.__slots__:
            value = getattr(self, name)
            setattr(twin, name, value.copy() if isinstance(value, list) else value)
        return twin

    def take(self, n: int, value: float, values: Sequence[float]) -> Found | None:
        """Follow one lift; a step that shows with it."""
        expected, spread, z = self._expect(value)
        if self.p11 <= UNSURE_VAR and n >= LEARN_N:
            began = self._add(n, z)
            if began is not None:
                return self._step(n, began, values, expected)
        self._update(expected, spread, z)
        return None

    def go_on(self, begin: int, values: Sequence[float]) -> "_Follower":
        """Follow lifts that turned out to be part of no step, though some may be the beginning of another."""
        self._begin_sums()
        for n, value in enumerate(values, begin):
            expected, spread, z = self._expect(value)
            self._add(n, z)
            self._update(expected, spread, z)
        return self

    def judge_again(self, found: list[Found], values: Sequence[float], end: int, since: int) -> bool | None:
        """Judge the last step by the lifts from ``since`` to ``end``: true once withdrawn, false once certain, else None.

        Asked of the follower as it was when the step was noticed.
        """
        step = found[-1]
        begin = max(step.noticed_at - DATED_BACK_N, since)
        first = self.level + self.slope * (begin - step.noticed_at + 1)
        off = [(value - first - self.slope * n) / self.scale for n, value in enumerate(values[begin:end])]
        sign = 1.0 if step.size > 0.0 else -1.0
        at, most = _likeliest([sign * z for z in off], step.at - begin, step.noticed_at - begin)
        if most < WITHDRAWN_UNDER:
            return True
        if end - step.noticed_at > CONFIRM_N:
            after = [sign * min(max(z, -SCALE_LOOKS), SCALE_LOOKS) for z in off[step.noticed_at + 1 - begin :]]
            if sum(after) / len(after) < CONFIRM_SHIFT:
                return True
            found[-1] = replace(step, certain=True)
            return False
        size = median(off[at:]) * self.scale
        found[-1] = replace(step, at=begin + at, size=size if size * sign > 0.0 else step.size)
        return None

    def _expect(self, value: float) -> tuple[float, float, float]:
        self.p11, self.p12, self.p22 = (
            (self.p11 + 2.0 * self.p12 + self.p22) / MEMORY,
            (self.p12 + self.p22) / MEMORY,
            self.p22 / MEMORY,
        )
        expected, spread = self.level + self.slope, sqrt(self.p11 + 1.0)
        return expected, spread, (value - expected) / (self.scale * spread)

    def _update(self, expected: float, spread: float, z: float) -> None:
        most = CLIP if self.p11 <= UNSURE_VAR else UNSURE_CLIP
        move = min(max(z, -most), most) * self.scale * spread
        gain1, gain2 = self.p11 / (self.p11 + 1.0), self.p12 / (self.p11 + 1.0)
        self.level = expected + gain1 * move
        self.slope += gain2 * move
        self.p22 -= gain2 * self.p12
        self.p11, self.p12 = self.p11 * (1.0 - gain1), self.p12 * (1.0 - gain1)
        grown = 1.0 + SCALE_GAIN * ((z * z if abs(z) < SCALE_LOOKS else SCALE_LOOKS) - 1.0)
        self.scale = max(self.scale * sqrt(grown), SCALE_AT_LEAST_RATIO * abs(self.level), self.least)

    def _add(self, n: int, z: float) -> int | None:
        """Fold a lift into the sums; the lift a step began at, when one shows."""
        if not self.rising and -NOTHING_Z < z < NOTHING_Z:
            return None  # every ratio is under one and every sum nothing: most lifts
        place = _place(z)
        self.rising = False
        for sums, at, limits in ((self.up, place, H_UP), (self.down, -1 - place, H_DOWN)):
            for k, ratios in enumerate(_TABLES):
                total, began = sums[k]
                total, began = (total + ratios[at], began) if total > 0.0 else (ratios[at], n)
                if total > limits[k]:
                    return began
                sums[k] = (total, began)
                self.rising = self.rising or total > 0.0
        return None

    def _step(self, n: int, began: int, values: Sequence[float], expected: float) -> Found:
        self.before = self.copy()
        after = list(values[began : n + 1])
        level = median(after)
        found = Found(began, n, level - (expected - self.slope * (n - began)), self.scale, certain=False)
        self.level, self.p11, self.p12 = level, 1.57 / len(after), 0.0  # 1.57: variance of a median over that of a mean
        self.p22 = max(self.p22, SLOPE_VAR_FIRST / 4.0)
        self._begin_sums()
        return found

    def _begin_sums(self) -> None:
        self.rising = False
        self.up: list[tuple[float, int]] = [(0.0, 0)] * len(SHIFTS)
        self.down: list[tuple[float, int]] = [(0.0, 0)] * len(SHIFTS)
