"""A lift judged before it happens: will these pads carry this panel through the whole move, and with a circuit lost?

A verdict is ``within_limits`` or ``outside_limits`` of the figures entered; the supervisor decides.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from enum import StrEnum
from typing import Final, NamedTuple

import numpy as np

from monitor.core import plan_says
from monitor.core.carrying import Carrying
from monitor.core.config import LifterConfig
from monitor.core.holding import (
    EN_FACTOR,
    TIE,
    Centre,
    Check,
    IfLost,
    Move,
    Worst,
    WorstPad,
    judged_tilts_deg,
    lay_out,
    marks_between,
    said_tilts_deg,
    turns_of,
    worst_over,
)
from monitor.core.messages import Text
from monitor.core.pads import Floats
from monitor.core.plan_input import (
    PlanError,
    PlanInput,
    in_use,
    judged_kpa,
    overhang_mm,
    plan_faults,
    planned_centre,
    planned_friction,
    planned_wind,
    wind_limit_m_s,
)
from monitor.core.units import MM_PER_M, PA_PER_KPA, STANDARD_GRAVITY_M_S2, kg_to_n, n_to_kg

CURVE_STEP_DEG: Final = 3.0


class Verdict(StrEnum):
    """What the figures entered say. Never that a lift is safe."""

    WITHIN = "within_limits"
    OUTSIDE = "outside_limits"


class PadUse(NamedTuple):
    """One pad at the governing tilt and turn, with the planned weight and the wind."""

    id: str
    circuit: str
    normal_n: float
    in_plane_n: float
    use_ratio: float


class Offset(NamedTuple):
    """How far to move the lifter over the panel so that all pads share alike, and what would then be rated."""

    x_mm: float
    y_mm: float
    rated_kg: float


@dataclass(frozen=True, slots=True)
class Rating:
    """The least of all checks for one position of the lifter."""

    governs: str
    rated_kg: float
    computed_kg: float
    at: Worst
    pad: str


@dataclass(frozen=True, slots=True)
class PlanResult:
    """A plan judged. ``reasons`` begin with all that puts it outside its limits and end with what governs."""

    lifter: str
    basis: str
    weight_kg: float
    rated_kg: float
    computed_kg: float
    governs: str
    at_tilt_deg: float
    at_rotation_deg: float
    margin_kg: float
    use_ratio: float
    worst_pad: WorstPad
    governing_pad: str
    pads: tuple[PadUse, ...]
    if_lost: Mapping[str, IfLost]
    needed_kpa: Mapping[str, float]
    judged_kpa: Mapping[str, float]
    wind_limit_m_s: float | None
    margin_curve: tuple[tuple[float, float], ...]
    best_offset: Offset
    centre: Centre
    move: Move
    friction: float
    area_m2: float | None
    overhang_mm: float | None
    verdict: Verdict = Verdict.OUTSIDE
    reasons: tuple[Text, ...] = ()
    notes: tuple[Text, ...] = ()
    checks: tuple[Text, ...] = ()


def judge_plan(lifter: LifterConfig, plan: PlanInput) -> PlanResult:
    """Return what the figures entered say of a lift.

    Raises:
        PlanError: Something entered cannot be; it lists every fault found.

    Check: six pads of 1150 cm² at 52 kPa, 624 kg upright, plate 900 kg: rated 900, governed by the plate, margin 276.
    """
    faults = plan_faults(lifter, plan)
    if faults:
        raise PlanError(faults)
    centre, pads = planned_centre(plan), in_use(lifter, plan)
    levels = judged_kpa(lifter, plan)
    weight_kg = (plan.panel.mass_kg() or 0.0) * plan.share_ratio
    weight_n = kg_to_n(weight_kg) * lifter.dynamic_factor
    friction = planned_friction(lifter, plan.surface)
    tilts = marks_between(*judged_tilts_deg(lifter, plan.move), friction)
    turns = turns_of(plan.move)
    carrying = _carrying(lifter, plan, centre, levels)
    rating = _rate(lifter, plan, carrying)

    def uses(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return carrying.uses(tilt_deg, turn_deg, weight_n)

    worst, most = _worst(uses, len(pads), tilts, turns)
    at_turn_deg = rating.at.rotation_deg
    if rating.governs != "worst_pad":  # the checks of all pads together know no turn: show the pads at their worst one
        at_turn_deg = _worst(uses, len(pads), [rating.at.tilt_deg], turns)[1].rotation_deg
    answer = PlanResult(
        lifter=lifter.id,
        basis=lifter.basis.value,
        weight_kg=weight_kg,
        rated_kg=rating.rated_kg,
        computed_kg=rating.computed_kg,
        governs=rating.governs,
        at_tilt_deg=rating.at.tilt_deg,
        at_rotation_deg=at_turn_deg,
        margin_kg=rating.rated_kg - weight_kg,
        use_ratio=weight_kg / rating.rated_kg if rating.rated_kg > 0.0 else math.inf,
        worst_pad=WorstPad(pads[worst], most.value),
        governing_pad=rating.pad,
        pads=_pad_uses(carrying, weight_n, rating.at.tilt_deg, at_turn_deg),
        if_lost={circuit: _if_lost(lifter, carrying, circuit, weight_n, tilts, turns) for circuit in levels},
        needed_kpa=_needed_kpa(carrying, levels, weight_n, tilts, turns),
        judged_kpa=levels,
        wind_limit_m_s=wind_limit_m_s(lifter, plan),
        margin_curve=_curve(lifter, carrying, tilts, turns),
        best_offset=_best_offset(lifter, plan, centre, carrying, levels, rating),
        centre=centre,
        move=plan.move,
        friction=friction,
        area_m2=plan.panel.area_m2,
        overhang_mm=overhang_mm(lifter, plan),
    )
    outside = plan_says.outside(lifter, plan, answer)
    return replace(
        answer,
        verdict=Verdict.OUTSIDE if outside else Verdict.WITHIN,
        reasons=(*outside, plan_says.governing(lifter, plan, answer)),
        notes=plan_says.notes(lifter, plan, answer),
        checks=plan_says.checks(lifter, plan),
    )


def _carrying(lifter: LifterConfig, plan: PlanInput, centre: Centre, levels_kpa: Mapping[str, float]) -> Carrying:
    pads = in_use(lifter, plan)
    layout = lay_out(lifter, pads, centre)
    over_mm = overhang_mm(lifter, plan)
    marks_kg = np.array([lifter.pads[pad].wll_kg or math.inf for pad in pads])
    return Carrying(
        layout=layout,
        basis=lifter.basis,
        friction=planned_friction(lifter, plan.surface),
        suction_n=layout.area_m2 * np.array([levels_kpa[circuit] for circuit in layout.circuits]) * PA_PER_KPA,
        mark_n=marks_kg * STANDARD_GRAVITY_M_S2,
        wind=planned_wind(lifter, plan),
        bend_factor=lifter.thin_panel_factor if over_mm is not None and over_mm > lifter.overhang_limit_mm else 1.0,
    )


def _worst(check: Check, pads_n: int, tilts_deg: list[float], turns_deg: tuple[float, float]) -> tuple[int, Worst]:
    """The pad a check asks most of over the move, and where."""
    found = worst_over(check, [range(pads_n)], tilts_deg, turns_deg)[0]
    return found or (0, Worst(0.0, 0.0))


def _inverse(limit_n: Floats) -> Floats:
    with np.errstate(divide="ignore"):
        return 1.0 / limit_n


def _rate(lifter: LifterConfig, plan: PlanInput, carrying: Carrying) -> Rating:
    """The least of the plate, both checks of all pads together, and the worst pad; the first of equals governs."""
    judged = marks_between(*judged_tilts_deg(lifter, plan.move), carrying.friction)
    said = marks_between(*said_tilts_deg(plan.move), carrying.friction)
    turns = turns_of(plan.move)

    def total(*, by_friction: bool) -> Check:
        return lambda tilt, _turn: _inverse(carrying.total_limits_n(tilt, by_friction=by_friction))

    pad, worst_pad = _worst(
        lambda tilt, turn: _inverse(carrying.pad_limits_n(tilt, turn)), len(carrying.layout.ids), judged, turns
    )
    places = {
        "basis": _worst(total(by_friction=False), 1, judged, _NO_TURN)[1],
        "friction": _worst(total(by_friction=True), 1, said, _NO_TURN)[1],
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


def _pad_uses(carrying: Carrying, weight_n: float, tilt_deg: float, turn_deg: float) -> tuple[PadUse, ...]:
    tilt, turn = np.array([tilt_deg]), np.array([turn_deg])
    pull, slide = carrying.shares_n(tilt, turn, weight_n)
    uses = carrying.uses(tilt, turn, weight_n)
    layout = carrying.layout
    rows = zip(layout.ids, layout.circuits, pull[0], slide[0], uses[0], strict=True)
    return tuple(PadUse(pad, circuit, float(n), float(s), float(use)) for pad, circuit, n, s, use in rows)


def _if_lost(
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
    asked = _worst(lambda tilt, turn: left.slips(tilt, turn, weight_n), len(left.layout.ids), tilts_deg, turns_deg)[1]
    return IfLost(1.0 / asked.value if asked.value > 0.0 else math.inf, needed)


def _needed_kpa(
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


def _curve(
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


def _best_offset(
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
        return Offset(0.0, 0.0, rating.rated_kg)
    moved = replace(centre, x_mm=centre.x_mm - x_mm, y_mm=centre.y_mm - y_mm)
    return Offset(x_mm, y_mm, _rate(lifter, plan, _carrying(lifter, plan, moved, levels_kpa)).rated_kg)


_NO_TURN: Final = (0.0, 0.0)


def numbers(result: PlanResult) -> dict[str, object]:
    """The result as plain values for JSON, its messages as key and values. What is infinite is ``None``."""
    return {part.name: _plain(getattr(result, part.name)) for part in fields(result)}


def _plain(value: object) -> object:
    if isinstance(value, tuple) and hasattr(value, "_asdict"):
        value = value._asdict()
    elif is_dataclass(value) and not isinstance(value, type):
        value = {part.name: getattr(value, part.name) for part in fields(value)}
    if isinstance(value, Mapping):
        return {key: _plain(part) for key, part in value.items()}
    if isinstance(value, tuple):
        return [_plain(part) for part in value]
    if isinstance(value, StrEnum):
        return value.value
    return None if isinstance(value, float) and not math.isfinite(value) else value
