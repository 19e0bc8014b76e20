"""What a check asks over a whole move, as the weight grows: worked out once, then only multiplied."""

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from monitor.core.pads import Floats
from monitor.core.search import Worst, worst_over

AtWeight = Callable[[Floats, Floats, float], Floats]  # tilts and turns (m,), weight in N, to one value per pad (m, n)


class Asked(NamedTuple):
    """What a check asks at most over the move: ``blown`` of no weight, and straight on from there.

    With wind a check asks a sum or a resultant of two vectors, one of them in proportion to the weight. That is convex
    in the weight and nowhere steeper than in still air, so the chord up to the planned weight and from there the slope
    of still air never lie below it. Both meet it at no weight and at the planned weight; without wind, everywhere.
    """

    per_n: float  # in still air, per newton of weight
    tilt_deg: float
    blown: float = 0.0  # by the wind alone
    planned_n: float = 0.0
    at_planned: float = 0.0

    def at(self, weight_n: float) -> float:
        """What is asked at a weight. Check: 3 per newton in still air, 2 N: 6."""
        if math.isinf(self.per_n):
            return math.inf if weight_n > 0.0 else self.blown
        if weight_n < self.planned_n:
            return self.blown + (self.at_planned - self.blown) * weight_n / self.planned_n
        return self.at_planned + self.per_n * (weight_n - self.planned_n)

    def carries_n(self, held: float) -> float:
        """The weight at which what is held is used up; 0 where nothing of it is left for a weight."""
        if held >= self.at_planned:
            return self.planned_n + _over(held - self.at_planned, self.per_n)
        return max(0.0, self.planned_n * _over(held - self.blown, self.at_planned - self.blown))


def _over(held: float, asked: float) -> float:
    return held / asked if asked > 0.0 else math.inf


def most(
    still: AtWeight,
    windy: AtWeight | None,
    planned_n: float,
    groups: Sequence[Sequence[int]],
    tilts_deg: list[float],
    turns_deg: tuple[float, float],
) -> list[tuple[int, Asked] | None]:
    """The pad of each group that a check asks most of, and what it asks; ``None`` for an empty group.

    Args:
        still: The check in still air.
        windy: The same with the wind; ``None`` without any.
        planned_n: Weight at which the answer with wind is to be exact, N, above 0.
        groups: Places of the pads of each group.
        tilts_deg: The ends of the tilts and the marks between that must be hit exactly.
        turns_deg: The ends of the rotations.
    """

    def worst(check: AtWeight, weight_n: float) -> list[tuple[int, Worst] | None]:
        return worst_over(lambda tilt, turn: check(tilt, turn, weight_n), groups, tilts_deg, turns_deg)

    calm = worst(still, 1.0)
    if windy is None:
        return [found and (found[0], Asked(found[1].value, found[1].tilt_deg)) for found in calm]
    tilts = np.array(tilts_deg)
    blown = windy(tilts, np.full(tilts.shape, turns_deg[0]), 0.0)  # no turn changes it, and a tilt only by the factor
    answers: list[tuple[int, Asked] | None] = []
    for pads, at_rest, planned in zip(groups, calm, worst(windy, planned_n), strict=True):
        if at_rest is None or planned is None:
            answers.append(None)
            continue
        light = float(blown[:, list(pads)].max())
        asked = Asked(at_rest[1].value, planned[1].tilt_deg, light, planned_n, planned[1].value)
        answers.append((planned[0], asked))
    return answers
