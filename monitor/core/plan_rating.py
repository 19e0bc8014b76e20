"""The figures of a plan: the least of all checks with wind, each pad's use, each circuit lost, the curve over tilt."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from monitor.core.carrying import Carrying
from monitor.core.config import LifterConfig
from monitor.core.factors import (
    EN_FACTOR,
    judged_tilts_deg,
    marks_between,
    said_tilts_deg,
    surface_friction,
    turns_of,
)
from monitor.core.holding import TIE, IfLost
from monitor.core.layout import Centre, lay_out
from monitor.core.pads import Floats
from monitor.core.plan_input import PlanInput, bend_factor, fits_moved, in_use, planned_wind
from monitor.core.search import Check, Worst, worst_over
from monitor.core.units import MM_PER_M, PA_PER_KPA, STANDARD_GRAVITY_M_S2, n_to_kg

CURVE_STEP_DEG: Final = 3.0
_NO_TURN: Final = (0.0, 0.0)


class PadUse(NamedTuple):
    """One pad at the governing tilt and turn, with the planned weight and the wind."""

    id: str
    circuit: str
    normal_n: float
    in_plane_n: float
    use_ratio: float


class Offset(NamedTuple):
    """How far to move the lifter over the panel so that all pads share alike, and what would then be rated.

    ``fits`` says whether every pad would still sit on the panel.
    """

    x_mm: float
    y_mm: float
    rated_kg: float
    fits: bool


@dataclass(frozen=True, slots=True)
class Rating:
    """The least of all checks for one position of the lifter."""

    governs: str
    rated_kg: float
    computed_kg: float
    at: Worst
    pad: str


def carry(lifter: LifterConfig, plan: PlanInput, centre: Centre, levels_kpa: Mapping[str, float]) -> Carrying:
    pads = in_use(lifter, plan)
    layout = lay_out(lifter, pads, centre)
    marks_kg = np.array([lifter.pads[pad].wll_kg or math.inf for pad in pads])
    return Carrying(
        layout=layout,
        basis=lifter.basis,
        friction=surface_friction(lifter, plan.surface),
        suction_n=layout.area_m2 * np.array([levels_kpa[circuit] for circuit in layout.circuits]) * PA_PER_KPA,
        mark_n=marks_kg * STANDARD_GRAVITY_M_S2,
        wind=planned_wind(lifter, plan),
        bend_factor=bend_factor(lifter, plan),
    )


def most_asked(check: Check, pads_n: int, tilts_deg: list[float], turns_deg: tuple[float, float]) -> tuple[int, Worst]:
    """The pad a check asks most of over the move, and where."""
    found = worst_over(check, [range(pads_n)], tilts_deg, turns_deg)[0]
    return found or (0, Worst(0.0, 0.0))


def _inverse(limit_n: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return 1.0 / limit_n


def rate(lifter: LifterConfig, plan: PlanInput, carrying: Carrying) -> Rating:
    """The least of the plate, both checks of all pads together, and the worst pad; the first of equals governs."""
    judged = marks_between(*judged_tilts_deg(lifter, plan.move), carrying.friction)
    said = marks_between(*said_tilts_deg(plan.move), carrying.friction)
    turns = turns_of(plan.move)

    def total(*, by_friction: bool) -> Check:
        return lambda tilt, _turn: _inverse(carrying.total_limits_n(tilt, by_friction=by_friction))

    pad, worst_pad = most_asked(
        lambda tilt, turn: _inverse(carrying.pad_limits_n(tilt, turn)), len(carrying.layout.ids), judged, turns
    )
    places = {
        "basis": most_asked(total(by_friction=False), 1, judged, _NO_TURN)[1],
        "friction": most_asked(total(by_friction=True), 1, said, _NO_TURN)[1],
        "worst_pad": worst_pad,
    }
    rated_kg = {name: _rated_kg(lifter, place.value) for name, place in places.items()}
    computed_kg = min(rated_kg.values())
    governs = next(name for name, kg in rated_kg.items() if kg <= computed_kg * TIE)
    plate = lifter.wll_kg <= computed_kg * TIE
    return Rating(
        governs="plate" if plate else governs,
        rated_kg=lifter.wll_kg if plate else computed_kg,
        computed_kg=computed_kg,
        at=places[governs],
        pad=carrying.layout.ids[pad],
    )


def _rated_kg(lifter: LifterConfig, per_weight_n: float) -> float:
    """Rated load from the inverse of the weight a check lets hang; the dynamic factor is on the load's side."""
    return n_to_kg(1.0 / per_weight_n) / lifter.dynamic_factor if per_weight_n > 0.0 else math.inf


def pad_uses(carrying: Carrying, weight_n: float, tilt_deg: float, turn_deg: float) -> tuple[PadUse, ...]:
    tilt, turn = np.array([tilt_deg]), np.array([turn_deg])
    pull, slide = carrying.shares_n(tilt, turn, weight_n)
    uses = carrying.uses(tilt, turn, weight_n)
    layout = carrying.layout
    rows = zip(layout.ids, layout.circuits, pull[0], slide[0], uses[0], strict=True)
    return tuple(PadUse(pad, circuit, float(n), float(s), float(use)) for pad, circuit, n, s, use in rows)


def if_lost(
    lifter: LifterConfig,
    carrying: Carrying,
    circuit: str,
    weight_n: float,
    tilts_deg: list[float],
    turns_deg: tuple[float, float],
) -> IfLost:
    needed = EN_FACTOR if lifter.two_circuit_rule else None
    left = carrying.without(circuit)
    if left is None:
        return IfLost(0.0, needed)
    asked = most_asked(lambda tilt, turn: left.slips(tilt, turn, weight_n), len(left.layout.ids), tilts_deg, turns_deg)[
        1
    ]
    return IfLost(1.0 / asked.value if asked.value > 0.0 else math.inf, needed)


def needed_kpa(
    carrying: Carrying,
    levels_kpa: Mapping[str, float],
    weight_n: float,
    tilts_deg: list[float],
    turns_deg: tuple[float, float],
) -> dict[str, float]:
    """Per circuit: the vacuum at which its worst pad's suction would be used up. It does not depend on the vacuum."""

    def asked_kpa(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return carrying.suction_asked_pa(tilt_deg, turn_deg, weight_n) / PA_PER_KPA

    found = worst_over(asked_kpa, carrying.layout.by_circuit(tuple(levels_kpa)), tilts_deg, turns_deg)
    return {circuit: worst[1].value for circuit, worst in zip(levels_kpa, found, strict=True) if worst}


def margin_curve(
    lifter: LifterConfig, carrying: Carrying, tilts_deg: list[float], turns_deg: tuple[float, float]
) -> tuple[tuple[float, float], ...]:
    """Rated load over the tilts judged: the least over the turns at each."""
    low_deg, high_deg = min(tilts_deg), max(tilts_deg)
    steps_n = 1 + math.ceil((high_deg - low_deg) / CURVE_STEP_DEG)
    at_deg = np.unique(np.concatenate([np.linspace(low_deg, high_deg, steps_n), tilts_deg]))
    turns = np.linspace(*turns_deg, 1 + math.ceil((turns_deg[1] - turns_deg[0]) / 7.5))
    tilt, turn = (grid.ravel() for grid in np.meshgrid(at_deg, turns, indexing="ij"))
    by_pad = carrying.pad_limits_n(tilt, turn).min(axis=1).reshape(len(at_deg), -1).min(axis=1)
    together = [carrying.total_limits_n(at_deg, by_friction=by_friction)[:, 0] for by_friction in (False, True)]
    least_kg = n_to_kg(1.0) * np.minimum(by_pad, np.minimum(*together)) / lifter.dynamic_factor
    return tuple((float(at), min(float(kg), lifter.wll_kg)) for at, kg in zip(at_deg, least_kg, strict=True))


def best_offset(
    lifter: LifterConfig,
    plan: PlanInput,
    centre: Centre,
    carrying: Carrying,
    levels_kpa: Mapping[str, float],
    rating: Rating,
) -> Offset:
    """The offset that brings the pads' own middle over the centre of gravity."""
    x_mm, y_mm = (float(mm) for mm in (carrying.layout.centre_m - carrying.layout.xy_m.mean(axis=0)) * MM_PER_M)
    if math.hypot(x_mm, y_mm) < 1.0:
        return Offset(0.0, 0.0, rating.rated_kg, fits=True)
    moved = replace(centre, x_mm=centre.x_mm - x_mm, y_mm=centre.y_mm - y_mm)
    rated_kg = rate(lifter, plan, carry(lifter, plan, moved, levels_kpa)).rated_kg
    return Offset(x_mm, y_mm, rated_kg, fits=fits_moved(lifter, plan, x_mm, y_mm))
