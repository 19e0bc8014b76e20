"""A lift judged before it happens: will these pads carry this panel through the whole move, and with a circuit lost?

A verdict is ``within_limits`` or ``outside_limits`` of the figures entered; the supervisor decides.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields, is_dataclass, replace
from enum import StrEnum

from monitor.core import plan_rating, plan_says
from monitor.core.config import LifterConfig
from monitor.core.factors import Move, judged_tilts_deg, marks_between, surface_friction, turns_of
from monitor.core.holding import IfLost, WorstPad
from monitor.core.layout import Centre
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
    wind_limit_m_s,
)
from monitor.core.plan_rating import Offset, PadUse
from monitor.core.units import kg_to_n


class Verdict(StrEnum):
    """What the figures entered say. Never that a lift is safe."""

    WITHIN = "within_limits"
    OUTSIDE = "outside_limits"


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
    circuits: tuple[Text, ...] = ()
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
    friction = surface_friction(lifter, plan.surface)
    tilts = marks_between(*judged_tilts_deg(lifter, plan.move), friction)
    turns = turns_of(plan.move)
    carrying = plan_rating.carry(lifter, plan, centre, levels)
    rating = plan_rating.rate(lifter, plan, carrying)

    def uses(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return carrying.uses(tilt_deg, turn_deg, weight_n)

    worst, most = plan_rating.most_asked(uses, len(pads), tilts, turns)
    at_turn_deg = rating.at.rotation_deg
    if rating.governs != "worst_pad":  # the checks of all pads together know no turn: show the pads at their worst one
        at_turn_deg = plan_rating.most_asked(uses, len(pads), [rating.at.tilt_deg], turns)[1].rotation_deg
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
        pads=plan_rating.pad_uses(carrying, weight_n, rating.at.tilt_deg, at_turn_deg),
        if_lost={circuit: plan_rating.if_lost(lifter, carrying, circuit, weight_n, tilts, turns) for circuit in levels},
        needed_kpa=plan_rating.needed_kpa(carrying, levels, weight_n, tilts, turns),
        judged_kpa=levels,
        wind_limit_m_s=wind_limit_m_s(lifter, plan),
        margin_curve=plan_rating.margin_curve(lifter, carrying, tilts, turns),
        best_offset=plan_rating.best_offset(lifter, plan, centre, carrying, levels, rating),
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
        circuits=plan_says.circuits(answer),
        notes=plan_says.notes(lifter, plan, answer),
        checks=plan_says.checks(lifter, plan),
    )


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
