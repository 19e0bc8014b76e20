"""A lifter without a load cell, said to be landed and fixed: is it lifting again, though nobody says so?

A hoist with the pads on, or pads that opened and sealed anew, is another pick. What is read can only make it worse: the named
action alone makes it better.
"""

from dataclasses import dataclass
from typing import Final

from monitor.core.units import HOIST_KPA_PER_M

HOISTED_M: Final = {"height": 3.0, "ambient": 6.0}
"""A hook that has come up so far with the pads on carries something; the ambient pressure tells it less finely."""


@dataclass(frozen=True, slots=True)
class Landed:
    """What is remembered since somebody said "landed and fixed"; ``climb_kpa`` is the lowest place since, by ``climb_from``."""

    climb_from: str = ""
    climb_kpa: float | None = None
    opened: bool = False


def follow(landed: Landed | None, *, climb_from: str, climb_kpa: float | None, any_open: bool) -> Landed:
    """Fold one instant in. ``climb_kpa``: what the height takes from every vacuum, ``None`` while it is not known."""
    opened = any_open or (landed is not None and landed.opened)
    if landed is None or landed.climb_from != climb_from or landed.climb_kpa is None or climb_kpa is None:
        return Landed(climb_from, climb_kpa, opened)
    return Landed(climb_from, min(landed.climb_kpa, climb_kpa), opened)


def picked_again(landed: Landed, *, climb_kpa: float | None, all_sealed: bool) -> bool:
    """Whether the lifter must be taken to carry again."""
    if landed.opened and all_sealed:
        return True
    if climb_kpa is None or landed.climb_kpa is None:
        return False
    return climb_kpa - landed.climb_kpa >= HOIST_KPA_PER_M * HOISTED_M[landed.climb_from]
