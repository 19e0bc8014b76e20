"""What the standards ask for at a tilt, and the tilts and turns of a move they ask it at."""

import math
from dataclasses import dataclass
from typing import Final

from monitor.core.config import SURFACE_FRICTION, Basis, LifterConfig, Surface

EN_FACTOR: Final = 2.0
"""EN 13155 5.2.2.1: hold at least twice the working load at the end of the working range, at all intended tilts."""


@dataclass(frozen=True, slots=True)
class Move:
    """The tilts and turns still to come. A turn from 350 to 10 degrees goes through 0."""

    tilt_low_deg: float = 0.0
    tilt_high_deg: float = 90.0
    rotation_low_deg: float = 0.0
    rotation_high_deg: float = 360.0


def surface_friction(lifter: LifterConfig, surface: Surface | None) -> float:
    """Friction of a surface; ``None`` is the site file's. Its own lower figure is not raised by one no better."""
    if surface is None or surface is lifter.surface:
        return lifter.friction
    listed = SURFACE_FRICTION[surface]
    return min(listed, lifter.friction) if listed <= SURFACE_FRICTION[lifter.surface] else listed


def said_tilts_deg(move: Move) -> tuple[float, float]:
    """Ends of the intended tilts, the lower first."""
    return min(move.tilt_low_deg, move.tilt_high_deg), max(move.tilt_low_deg, move.tilt_high_deg)


def judged_tilts_deg(lifter: LifterConfig, move: Move) -> tuple[float, float]:
    """Ends of the tilts the basis judges: EN 13155 widens the intended ones by the allowance at both ends."""
    low_deg, high_deg = said_tilts_deg(move)
    wider_deg = lifter.tilt_allowance_deg if lifter.basis is Basis.EN_13155 else 0.0
    return low_deg - wider_deg, high_deg + wider_deg


def marks_between(low_deg: float, high_deg: float, friction: float) -> list[float]:
    """Both ends of an interval of tilts, and the tilts between at which a check can peak."""
    steepest_deg = math.degrees(math.atan(1.0 / friction))
    inside = [
        turn_deg + sign * off_deg for turn_deg in (0, 180) for sign in (-1, 1) for off_deg in (0.0, steepest_deg, 90.0)
    ]
    return [low_deg, high_deg, *(mark for mark in inside if low_deg < mark < high_deg)]


def turns_of(move: Move) -> tuple[float, float]:
    """Ends of the rotations, degrees, the second not below the first and at most one whole turn on."""
    low_deg, high_deg = move.rotation_low_deg, move.rotation_high_deg
    if high_deg < low_deg:
        high_deg += 360.0 * math.ceil((low_deg - high_deg) / 360.0)
    return low_deg, min(high_deg, low_deg + 360.0)
