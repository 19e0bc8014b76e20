"""What the leak estimate is told, remembers and tells: values only."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from monitor.core.leak_bank import Bank
from monitor.core.leak_blocks import BLOCK_S, Block, Gatherer
from monitor.core.leak_common import Common
from monitor.core.leak_project import Mixture, RateQuantiles
from monitor.core.leak_pump import PumpTrack, Rate
from monitor.core.readings import Pump
from monitor.core.timing import stale_after_s
from monitor.core.units import S_PER_MIN
from monitor.core.warning_time import Bounds

KNOWN_AFTER_S: Final = 8.0

AGAIN_AFTER_S: Final = 2.0
"""After a pause in its readings a circuit is told again once it was heard for so long: one reading shows no new leak, s."""

_SPACING_SHARE: Final = 0.1

COARSE_KPA: Final = 0.3
"""A gauge of longer steps is coarse: a swing or a short drift may pass within one of them."""

BEFORE_N: Final = 2
"""Blocks kept of a circuit before its last, each of another second."""

_KNOWN_SD: Final = 0.25 / S_PER_MIN
_COARSEST_CLIMB_KPA: Final = 0.1


@dataclass(frozen=True, slots=True)
class LeakConfig:
    """What is known of a lifter beforehand.

    ``ambient_kpa`` is assumed while none is measured. ``hoist_height_m`` and ``hoist_speed_m_s`` bound the fall all circuits
    may share. Times beyond ``horizon_s`` are not told apart. ``pump_start_kpa``: of the circuits for which it is known.
    """

    circuits: tuple[str, ...]
    ambient_kpa: float
    hoist_height_m: float
    hoist_speed_m_s: float
    horizon_s: float
    pump_start_kpa: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeakSample:
    """Believed values of one instant; ``None`` where none is. ``ambient_kpa`` and the rest only if measured on the lifter."""

    vacuum_kpa: Mapping[str, float | None]
    pump: Mapping[str, Pump | None] = field(default_factory=dict)
    ambient_kpa: float | None = None
    height_m: float | None = None


@dataclass(frozen=True, slots=True)
class LeakView:
    """One circuit's leak in kPa/min, positive when vacuum is lost, with its 5 % and 95 % points; ``None``: not known yet.

    ``falling``: a real fall is established. ``pump`` is ``on``, ``off``, ``cycling`` or ``None`` (not known). ``assumed`` names
    what had to be: ``ambient`` (no ambient or height measured), ``pump`` (its state inferred from its strokes), ``seal_test``
    (``reserve`` rests on a stretch with the pump off that lies back).
    """

    leak_kpa_per_min: float | None
    low_kpa_per_min: float | None
    high_kpa_per_min: float | None
    falling: bool
    pump: str | None
    assumed: tuple[str, ...]


@dataclass(slots=True)
class CircuitTrack:
    """One circuit between blocks. ``known_of_s``: beginning of the stretch whose rate is told, if any.

    ``before``: the last blocks of the two seconds before ``block``. ``spacing_s``: how far apart its blocks usually are;
    ``resumed_s``: when it was heard again after a pause.
    """

    circuit: str
    gatherer: Gatherer = field(default_factory=Gatherer)
    pump: PumpTrack = field(default_factory=PumpTrack)
    begun_s: float | None = None
    known_of_s: float | None = None
    block: Block | None = None
    before: tuple[Block, ...] = ()
    spacing_s: float = BLOCK_S
    resumed_s: float = -math.inf
    mixed: Mixture | None = None
    quantiles: RateQuantiles | None = None
    falling: bool = False
    beyond_since_s: float | None = None
    bounds: dict[tuple[str, float], Bounds | None] = field(default_factory=dict)


@dataclass(slots=True)
class LeakState:
    """Everything remembered of one lifter. Changed in place by ``advance``; can be pickled.

    ``climb_doubted``: what measures the hoist (``ambient``, ``height``) but is not believed, because circuits at rest seemed to
    gain vacuum by it, since ``climb_refuted_since_s``. ``interval_s``: usual pace of the readings, from ``paced_n`` of them.
    ``beside``: which others each circuit is held against in ``relative``, its difference to them shifted by ``shift_kpa``.
    """

    config: LeakConfig
    tracks: list[CircuitTrack]
    bank: Bank | None = None
    relative: Bank | None = None
    common: Common = field(default_factory=lambda: Common([]))
    last_s: float | None = None
    interval_s: float = BLOCK_S
    paced_n: int = 0
    block_from_s: float | None = None
    second_from_s: float | None = None
    climb: Gatherer = field(default_factory=lambda: Gatherer(coarsest_kpa=_COARSEST_CLIMB_KPA))
    climb_source: str = ""
    climb_seen: str = ""
    climb_at_s: float = -math.inf
    climb_kpa: float = 0.0
    climb_var: float = 0.0
    climb_shift_kpa: float = 0.0
    climb_refuted_since_s: float | None = None
    climb_doubted: frozenset[str] = frozenset()
    ambient_kpa: float = 0.0
    beside: list[list[int]] = field(default_factory=list)
    shift_kpa: list[float] = field(default_factory=list)


def spaced(track: CircuitTrack, block: Block) -> None:
    """Note how long after the last block this one came, before it takes its place."""
    if track.block is None:
        return
    waited_s = block.at_s - track.block.at_s
    if waited_s > stale_after_s(track.spacing_s):
        track.resumed_s = block.at_s
    track.spacing_s += _SPACING_SHARE * (waited_s - track.spacing_s)


def known(track: CircuitTrack) -> bool:
    """Whether a circuit's rate is to be told.

    It stays so for its stretch, only its bounds widen with what comes; but for the first seconds after a pause.
    """
    if track.begun_s is None or track.known_of_s != track.begun_s or track.quantiles is None or resuming(track):
        return False
    return track.block is None or track.block.at_s - track.resumed_s >= AGAIN_AFTER_S


def resuming(track: CircuitTrack) -> bool:
    """Whether a circuit is heard again after a pause, but no block yet: what was found before it says nothing of now."""
    if track.block is None:
        return False
    return track.gatherer.heard_s - track.block.at_s > stale_after_s(track.spacing_s)


def known_rate(track: CircuitTrack) -> Rate | None:
    """Mean and variance of a circuit's rate if it is to be told, kPa/s and (kPa/s)²."""
    quantiles = track.quantiles
    return (quantiles.middle, quantiles.sd**2) if quantiles is not None and known(track) else None


def shown(track: CircuitTrack) -> bool:
    """Whether a circuit's rate has shown well enough, since its stretch began, to be told from now on."""
    if track.quantiles is None or track.begun_s is None or track.block is None:
        return False
    spread = track.quantiles.sd
    return track.block.at_s - track.begun_s >= KNOWN_AFTER_S and spread <= max(
        _KNOWN_SD, 0.3 * abs(track.quantiles.middle)
    )
