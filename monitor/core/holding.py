"""Force against weight: what a lifter holds of a panel through a whole move, and what is left with a circuit lost.

:func:`prepare` walks the tilts and rotations of the move once and keeps the worst of each check per unit of weight and
of vacuum; :func:`hold` then only multiplies, so it can follow every reading.
"""

import math
import operator
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from monitor.core.config import Basis, LifterConfig
from monitor.core.factors import (
    EN_FACTOR,
    friction_demand,
    judged_tilts_deg,
    marks_between,
    nominal_design_factor,
    said_tilts_deg,
    turns_of,
)
from monitor.core.factors import Move as Move
from monitor.core.layout import Centre as Centre
from monitor.core.layout import Layout, lay_out
from monitor.core.pads import Floats
from monitor.core.search import Check, Worst, worst_over
from monitor.core.units import PA_PER_KPA, STANDARD_GRAVITY_M_S2

TIE: Final = 1.0 + 1.0e-9
"""Checks this close are equal, and the first of them governs."""


class WorstPad(NamedTuple):
    """The pad nearest its limit; ``use_ratio`` 1 is the limit, infinite when the pads cannot balance the load."""

    id: str
    use_ratio: float


class IfLost(NamedTuple):
    """What the pads left hold when one circuit is lost, as a multiple of the load; ``None``: no load known."""

    factor: float | None
    needed_factor: float | None


@dataclass(frozen=True, slots=True)
class HoldingModel:
    """A layout, a move and a centre of gravity, worked out: only vacuum and load are still open. Can be pickled."""

    basis: Basis
    wll_kg: float
    two_circuit_rule: bool
    circuits: tuple[str, ...]
    area_m2: tuple[float, ...]  # per circuit, of the pads in use
    total_basis: Worst  # times the load's weight: the suction all pads together must have
    total_friction: Worst
    pad_worst: tuple[tuple[str, Worst], ...]  # per circuit: its worst pad; pressure, Pa, per newton of weight
    marked: tuple[str, Worst] | None  # the pad that first meets the value marked on it: use per kilogram of load
    lost: tuple[tuple[float, ...], ...]  # [lost circuit][circuit left]: pressure, Pa, per newton of weight, at factor 1


@dataclass(frozen=True, slots=True)
class Holding:
    """What holds, against what is carried.

    ``rated_kg`` is the least of the plate, the basis, the friction check and the worst pad's share at the judged
    vacuum; ``governs`` names it (``plate``, ``basis``, ``friction``, ``worst_pad``; the first of equals) and
    ``at_tilt_deg`` is the tilt at which the computed figure is least. ``now_kg`` is the computed holding (basis and
    friction, all pads together) at the present vacuum, for information. ``needed_kpa`` is the vacuum at which the worst
    pad of each circuit would be used up, infinite when the pads cannot balance the load, ``None`` without a load.
    """

    basis: str
    governs: str
    at_tilt_deg: float
    rated_kg: float
    margin_kg: float | None
    margin_ratio: float | None
    now_kg: float
    worst_pad: WorstPad | None
    if_lost: Mapping[str, IfLost]
    needed_kpa: Mapping[str, float] | None


def prepare(
    lifter: LifterConfig,
    *,
    pads: tuple[str, ...] | None = None,
    move: Move = Move(),  # noqa: B008  (frozen)
    centre: Centre = Centre(),  # noqa: B008
    friction: float | None = None,
) -> HoldingModel | None:
    """Work out a layout for a move. ``None`` when the lifter has no pads configured.

    Args:
        lifter: The lifter.
        pads: Pads in use; all of them when left out.
        move: Tilts and rotations still to come.
        centre: Centre of gravity of the panel.
        friction: Friction of the surface as it is now; the lifter's when left out.

    Raises:
        ValueError: A pad in use is not the lifter's, none is, or ``friction`` is not above 0.
    """
    if not lifter.pads:
        return None
    mu = lifter.friction if friction is None else friction
    if not mu > 0.0:
        raise ValueError(f"friction is {mu}; it must be above 0")
    layout = lay_out(lifter, tuple(lifter.pads) if pads is None else pads, centre)
    judged = marks_between(*judged_tilts_deg(lifter, move), mu)
    said = marks_between(*said_tilts_deg(move), mu)
    turns = turns_of(move)

    def slips(tilt_deg: float) -> float:
        return EN_FACTOR * friction_demand(tilt_deg, mu)

    asked = nominal_design_factor if lifter.basis is Basis.ASME_BTH_1 else slips
    circuits = tuple(lifter.circuits)
    return HoldingModel(
        basis=lifter.basis,
        wll_kg=lifter.wll_kg,
        two_circuit_rule=lifter.two_circuit_rule,
        circuits=circuits,
        area_m2=tuple(float(layout.area_m2[pads].sum()) for pads in layout.by_circuit(circuits)),
        total_basis=max(Worst(asked(at), at) for at in judged),
        total_friction=max(Worst(slips(at), at) for at in said),
        pad_worst=tuple(
            (layout.ids[worst[0]], worst[1]) if worst else ("", Worst(0.0, 0.0))
            for worst in worst_over(pad_check(layout, lifter.basis, mu), layout.by_circuit(circuits), judged, turns)
        ),
        marked=_marked(lifter, layout, judged, turns),
        lost=tuple(_left(layout.without(circuit), circuits, mu, judged, turns) for circuit in circuits),
    )


def pad_check(layout: Layout, basis: Basis, friction: float) -> Check:
    """What the basis asks of each pad, as pressure (Pa) per newton of weight.

    Source: BTH-1 Nv sqrt(n^2 + s^2)/A; EN 13155 factor 2 with friction, 2 (n + s/mu)/A.
    """

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        pull, slide = layout.shares(tilt_deg, turn_deg)
        if basis is Basis.ASME_BTH_1:
            factor = 2.0 + 2.0 * np.abs(np.sin(np.radians(tilt_deg)))
            return factor[:, None] * np.hypot(pull, slide) / layout.area_m2
        return EN_FACTOR * (pull + slide / friction) / layout.area_m2

    return check


def _marked(
    lifter: LifterConfig, layout: Layout, tilts_deg: list[float], turns_deg: tuple[float, float]
) -> tuple[str, Worst] | None:
    """The pad that first meets the plate value marked on it: its share over that value, per kilogram of the load."""
    marked = [i for i, pad in enumerate(layout.ids) if lifter.pads[pad].wll_kg]
    marks_kg = np.array([lifter.pads[pad].wll_kg or math.inf for pad in layout.ids])

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        uses: Floats = np.hypot(*layout.shares(tilt_deg, turn_deg))
        uses[:, marked] /= marks_kg[marked]
        return uses

    found = worst_over(check, [marked], tilts_deg, turns_deg)[0] if marked else None
    return None if found is None else (layout.ids[found[0]], found[1])


def _left(
    left: Layout | None,
    circuits: tuple[str, ...],
    friction: float,
    tilts_deg: list[float],
    turns_deg: tuple[float, float],
) -> tuple[float, ...]:
    """Per circuit, with one lost: the most its pads must have at factor 1, Pa per newton of weight."""
    if left is None:
        return tuple(math.inf for _ in circuits)

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        pull, slide = left.shares(tilt_deg, turn_deg)
        return (pull + slide / friction) / left.area_m2

    found = worst_over(check, left.by_circuit(circuits), tilts_deg, turns_deg)
    return tuple(worst[1].value if worst else 0.0 for worst in found)


def hold(
    model: HoldingModel, *, judged_kpa: Mapping[str, float], now_kpa: Mapping[str, float], load_kg: float | None
) -> Holding:
    """Return what holds at these vacuums against this load.

    Args:
        model: From :func:`prepare`.
        judged_kpa: Per circuit, kPa below ambient: the lower of the present vacuum and the warning level. A circuit
            left out, or not a number, holds nothing.
        now_kpa: Per circuit, the present vacuum.
        load_kg: The load to be carried; ``None`` or 0 and below gives no margin ratio, uses or factors.
    """
    judged_pa = [_pascal(judged_kpa.get(circuit, 0.0)) for circuit in model.circuits]
    now_pa = [_pascal(now_kpa.get(circuit, 0.0)) for circuit in model.circuits]
    basis_kg, friction_kg = _computed_kg(model, judged_pa)
    pad_kg, pad_tilt_deg = math.inf, 0.0
    for pressure_pa, (pad, worst) in zip(judged_pa, model.pad_worst, strict=True):
        if pad and (may_kg := _over(pressure_pa, worst.value * STANDARD_GRAVITY_M_S2)) < pad_kg:
            pad_kg, pad_tilt_deg = may_kg, worst.tilt_deg
    if model.marked and (may_kg := _over(1.0, model.marked[1].value)) < pad_kg:
        pad_kg, pad_tilt_deg = may_kg, model.marked[1].tilt_deg
    checks = (
        ("basis", basis_kg, model.total_basis.tilt_deg),
        ("friction", friction_kg, model.total_friction.tilt_deg),
        ("worst_pad", pad_kg, pad_tilt_deg),
    )
    least_kg = min(basis_kg, friction_kg, pad_kg)
    governs, _, at_tilt_deg = next(check for check in checks if check[1] <= least_kg * TIE)
    if model.wll_kg <= least_kg * TIE:
        governs, least_kg = "plate", model.wll_kg
    loaded = load_kg is not None and load_kg > 0.0
    weight_n = load_kg * STANDARD_GRAVITY_M_S2 if load_kg is not None and loaded else 0.0
    needed_factor = EN_FACTOR if model.two_circuit_rule else None
    cannot = any(math.isinf(worst.value) for _, worst in model.pad_worst)
    return Holding(
        basis=model.basis.value,
        governs=governs,
        at_tilt_deg=at_tilt_deg,
        rated_kg=least_kg,
        margin_kg=None if load_kg is None else least_kg - load_kg,
        margin_ratio=(least_kg - load_kg) / load_kg if load_kg is not None and loaded else None,
        now_kg=0.0 if cannot else min(_computed_kg(model, now_pa)),
        worst_pad=_most_used(model, judged_pa, weight_n, load_kg) if load_kg is not None and loaded else None,
        if_lost={
            circuit: IfLost(_factor(judged_pa, asks, weight_n) if loaded else None, needed_factor)
            for circuit, asks in zip(model.circuits, model.lost, strict=True)
        },
        needed_kpa={
            circuit: weight_n * worst.value / PA_PER_KPA
            for circuit, (_, worst) in zip(model.circuits, model.pad_worst, strict=True)
        }
        if loaded
        else None,
    )


def _pascal(vacuum_kpa: float) -> float:
    return vacuum_kpa * PA_PER_KPA if vacuum_kpa > 0.0 else 0.0  # not a number is not above 0 either


def _over(held: float, asked: float) -> float:
    return held / asked if asked > 0.0 else math.inf


def _computed_kg(model: HoldingModel, pressure_pa: list[float]) -> tuple[float, float]:
    """What basis and friction allow all pads together, kg."""
    suction_kg = sum(map(operator.mul, model.area_m2, pressure_pa)) / STANDARD_GRAVITY_M_S2
    return suction_kg / model.total_basis.value, suction_kg / model.total_friction.value


def _most_used(model: HoldingModel, pressure_pa: list[float], weight_n: float, load_kg: float) -> WorstPad:
    uses = [
        WorstPad(pad, weight_n * worst.value / held_pa if held_pa else math.inf)
        for held_pa, (pad, worst) in zip(pressure_pa, model.pad_worst, strict=True)
        if pad
    ]
    if model.marked:
        uses.append(WorstPad(model.marked[0], load_kg * model.marked[1].value))
    return max(uses, key=lambda use: use.use_ratio)


def _factor(pressure_pa: list[float], asks: tuple[float, ...], weight_n: float) -> float:
    return min(_over(held_pa, weight_n * ask) for held_pa, ask in zip(pressure_pa, asks, strict=True))
