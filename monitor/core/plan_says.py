"""What a judged plan has to say: why it is outside its limits, what governs, what to heed, what to check first."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from monitor.core.config import Basis, LifterConfig
from monitor.core.messages import Text, Value
from monitor.core.panel import side_distance_m
from monitor.core.plan_input import (
    PlanInput,
    available_kpa,
    hoist_takes_kpa,
    in_use,
    planned_ambient_kpa,
    rim_mm,
)
from monitor.core.seal_tests import reserve_needed_s
from monitor.core.units import MM_PER_M

if TYPE_CHECKING:
    from monitor.core.plan import PlanResult

DIFFERS_RATIO: Final = 0.05
"""A stated weight this far from what size and make-up give is worth a second look."""

OFF_MIDDLE_MM: Final = 1.0
"""A centre of gravity entered further than this from the middle of the outline entered is told."""

OFFSET_WORTH_RATIO: Final = 1.01
"""Moving the lifter is suggested when it would raise the rated load by more than this."""


def seal_test_needs_s(lifter: LifterConfig) -> float:
    """Reserve, at its early bound, that a seal test on the panel has to show. Check: 240 s to land asks for 480 s."""
    return reserve_needed_s(lifter.time_to_land_s)


def _text(key: str, **values: Value) -> Text:
    whole_mm = {name: round(v) for name, v in values.items() if name.endswith("_mm") and isinstance(v, float)}
    return Text(f"plan.{key}", values | whole_mm)


def outside(lifter: LifterConfig, plan: PlanInput, result: "PlanResult") -> tuple[Text, ...]:
    """Everything that puts the plan outside its limits, the heaviest first."""
    found = []
    offset = result.best_offset
    if math.isinf(result.worst_pad.use_ratio):
        found.append(_text("out_of_balance" if offset.fits else "cannot_balance", x_mm=offset.x_mm, y_mm=offset.y_mm))
    elif result.margin_kg < 0.0:
        found.append(_text("over", weight_at_most_kg=result.weight_kg, rated_at_least_kg=result.rated_kg))
    found += _lost_outside(lifter, result)
    for circuit in result.judged_kpa:
        levels = {
            "reached_kpa": available_kpa(lifter, plan, circuit),
            "warning_kpa": lifter.circuits[circuit].warning_kpa,
        }
        if levels["reached_kpa"] < levels["warning_kpa"]:
            found.append(_text("under_warning_level", circuit=circuit, **levels))
    limit_m_s = result.wind_limit_m_s
    if plan.wind_m_s is not None and limit_m_s is not None and plan.wind_m_s > limit_m_s:
        chart = {"chart_m_s": lifter.wind_limit_m_s, "where": lifter.wind_at}
        found.append(_text("wind_over", wind_m_s=plan.wind_m_s, limit_at_least_m_s=limit_m_s, **chart))
    if lifter.examination_due and plan.today > lifter.examination_due:
        found.append(_text("examination_overdue", due=lifter.examination_due))
    return tuple(found)


def _lost_outside(lifter: LifterConfig, result: "PlanResult") -> list[Text]:
    if len(result.if_lost) == 1 and lifter.basis is Basis.EN_13155 and not lifter.secondary_restraint:
        return [_text("one_circuit_unsecured", circuit=circuit) for circuit in result.if_lost]
    found = []
    for circuit, lost in result.if_lost.items():
        if lost.needed_factor is None or lost.factor is None or lost.factor >= lost.needed_factor:
            continue
        if lost.factor == 0.0:
            found.append(_text("lost_falls", circuit=circuit))
        else:
            ratios = {"factor_at_least_ratio": lost.factor, "needed_ratio": lost.needed_factor}
            found.append(_text("lost_too_little", circuit=circuit, **ratios))
    return found


def governing(lifter: LifterConfig, plan: PlanInput, result: "PlanResult") -> Text:
    """The one sentence that says what the rated load comes from."""
    return _text(
        f"governs_{result.governs}",
        rated_at_least_kg=result.rated_kg,
        weight_kg=result.weight_kg,
        margin_at_least_kg=result.margin_kg,
        at_tilt_deg=result.at_tilt_deg,
        basis=result.basis,
        surface=(plan.surface or lifter.surface).value,
        friction_ratio=result.friction,
        pad=result.governing_pad,
    )


def circuits(result: "PlanResult") -> tuple[Text, ...]:
    """Of each circuit in use: what this panel needs of it, and what is left without it."""
    found = []
    for circuit, lost in result.if_lost.items():
        levels = {"needed_at_most_kpa": result.needed_kpa[circuit], "judged_kpa": result.judged_kpa[circuit]}
        if math.isinf(levels["needed_at_most_kpa"]):
            found.append(_text("circuit_cannot", circuit=circuit))
        else:
            found.append(_text("circuit_needs", circuit=circuit, factor_at_least_ratio=lost.factor, **levels))
    return tuple(found)


def notes(lifter: LifterConfig, plan: PlanInput, result: "PlanResult") -> tuple[Text, ...]:
    """What to heed about these figures, and what they leave out."""
    found = []
    if result.computed_kg < lifter.wll_kg:
        plate = {"computed_at_least_kg": result.computed_kg, "wll_kg": lifter.wll_kg}
        found.append(_text("plate_not_carried", at_tilt_deg=result.at_tilt_deg, **plate))
    offset = result.best_offset
    if offset.fits and offset.rated_kg > result.rated_kg * OFFSET_WORTH_RATIO:
        found.append(_text("move_lifter", x_mm=offset.x_mm, y_mm=offset.y_mm, rated_at_least_kg=offset.rated_kg))
    friction = {"surface": (plan.surface or lifter.surface).value, "friction_ratio": result.friction}
    if result.friction == lifter.friction and lifter.friction_source:
        found.append(_text("friction_own", source=lifter.friction_source, **friction))
    else:
        found.append(_text("friction_listed", **friction))
    found += _lost_notes(lifter, result)
    found += _panel_notes(lifter, plan, result)
    found += _air_notes(lifter, plan)
    found += _wind_notes(lifter, plan, result)
    if lifter.dynamic_factor > 1.0:
        found.append(_text("dynamic_factor", factor_ratio=lifter.dynamic_factor))
    if not lifter.examination_due:
        found.append(_text("examination_not_known"))
    return tuple(found)


def _lost_notes(lifter: LifterConfig, result: "PlanResult") -> list[Text]:
    found = [_text("circuit_not_used", circuit=circuit) for circuit in lifter.circuits if circuit not in result.if_lost]
    if len(result.if_lost) == 1:
        return [*found, _text("one_circuit", circuit=next(iter(result.if_lost)))]
    for circuit, lost in result.if_lost.items():
        if lost.needed_factor is None and lost.factor is not None and lost.factor < 1.0:
            found.append(_text("lost_not_held", circuit=circuit, factor_at_least_ratio=lost.factor))
    return found


def _panel_notes(lifter: LifterConfig, plan: PlanInput, result: "PlanResult") -> list[Text]:
    panel = plan.panel
    held_on = panel.layers[0].kind if panel.layers else ""
    found = []
    made_kg = replace(panel, weight_kg=None).mass_kg()
    if panel.weight_kg is not None and made_kg is not None and abs(made_kg - panel.weight_kg) > DIFFERS_RATIO * made_kg:
        found.append(_text("weight_differs", weight_kg=panel.weight_kg, made_kg=made_kg))
    if result.overhang_mm is not None and result.overhang_mm > lifter.overhang_limit_mm:
        reach = {"overhang_mm": result.overhang_mm, "limit_mm": lifter.overhang_limit_mm}
        found.append(_text("overhang", factor_ratio=lifter.thin_panel_factor, **reach))
    near_edge = [pad for pad in in_use(lifter, plan) if _edge_mm(lifter, plan, pad) < rim_mm(lifter, pad)]
    if near_edge:
        found.append(_text("pad_near_edge", pads=", ".join(near_edge)))
    if panel.gaps_n:
        found.append(_text("holds_outer_pane"))
    if held_on in {"composite", "metal"}:
        found.append(_text("holds_skin"))
    if plan.coated:
        found.append(_text("holds_coating"))
    if plan.porous or held_on == "stone":
        found.append(_text("porous", reserve_s=seal_test_needs_s(lifter)))
    if plan.cg_depth_mm is None and panel.depth_m() is None:
        found.append(_text("depth_not_known"))
    middle = panel.centre_m()
    entered_mm = (result.centre.x_mm, result.centre.y_mm)
    if middle and math.dist(entered_mm, [at * MM_PER_M for at in middle]) > OFF_MIDDLE_MM:
        found.append(_text("off_middle", x_mm=entered_mm[0], y_mm=entered_mm[1]))
    if plan.in_tandem:
        found.append(_text("tandem", share_ratio=plan.share_ratio))
    if plan.in_tandem and not plan.partners:
        found.append(_text("tandem_not_set_up"))
    if plan.partners and not plan.in_tandem:
        found.append(_text("tandem_whole", partners=", ".join(plan.partners)))
    return found


def _edge_mm(lifter: LifterConfig, plan: PlanInput, pad: str) -> float:
    """From the pad's middle to the nearest edge of the panel or of a cut-out."""
    at_m = (lifter.pads[pad].x_mm / MM_PER_M, lifter.pads[pad].y_mm / MM_PER_M)
    edges = [edge for edge in (plan.panel.outline, *plan.panel.cut_outs) if edge]
    return MM_PER_M * min((side_distance_m(edge, at_m) for edge in edges), default=math.inf)


def _air_notes(lifter: LifterConfig, plan: PlanInput) -> list[Text]:
    found = []
    ambient_kpa = planned_ambient_kpa(lifter, plan)
    if ambient_kpa < lifter.ambient_kpa:
        found.append(_text("thin_air", altitude_m=plan.altitude_m, ambient_kpa=ambient_kpa))
    if plan.lift_height_m > 0.0:
        found.append(_text("hoist_takes", lift_height_m=plan.lift_height_m, takes_kpa=hoist_takes_kpa(plan)))
    if plan.vacuum_kpa is not None:
        levels_kpa = [circuit.warning_kpa for circuit in lifter.circuits.values()]
        if plan.vacuum_kpa > min(levels_kpa):
            found.append(_text("over_warning_level", vacuum_kpa=plan.vacuum_kpa, warning_kpa=min(levels_kpa)))
        if plan.vacuum_kpa < max(levels_kpa):
            found.append(_text("below_warning_level", vacuum_kpa=plan.vacuum_kpa, warning_kpa=max(levels_kpa)))
    return found


def _wind_notes(lifter: LifterConfig, plan: PlanInput, result: "PlanResult") -> list[Text]:
    found = []
    if lifter.wind_limit_m_s is None:
        found.append(_text("wind_no_limit"))
    elif result.wind_limit_m_s is None:
        found.append(_text("wind_no_area"))
    else:
        limits = {"limit_at_least_m_s": result.wind_limit_m_s, "chart_m_s": lifter.wind_limit_m_s}
        found.append(_text("wind_limit", where=lifter.wind_at, **limits))
    if plan.wind_m_s is None:
        found.append(_text("wind_not_entered"))
    elif result.area_m2 is None:
        found.append(_text("wind_not_counted"))
    elif plan.panel.edge_area_m2() is None:
        found.append(_text("wind_along_not_counted"))
    if not lifter.wind_is_gust:
        found.append(_text("wind_is_mean"))
    return found


def checks(lifter: LifterConfig, plan: PlanInput) -> tuple[Text, ...]:
    """The pre-lift check list, in the order it is gone through."""
    return (
        _text("check_plan_known"),
        _text("check_speaker"),
        _text("check_zone"),
        _text("check_set_down"),
        _text("check_weather", where=lifter.wind_at),
        _text("check_lifter"),
        _text("check_surface"),
        _text("check_pads", pads=", ".join(in_use(lifter, plan))),
        _text("check_tandem" if plan.in_tandem else "check_one_lifter"),
        _text("check_gauge"),
        _text("check_seal", test_s=lifter.seal_test_s, reserve_s=seal_test_needs_s(lifter)),
        *([_text("check_restraint")] if lifter.secondary_restraint else []),
        _text("check_trial_lift"),
        _text("check_weight"),
        _text("check_fixed"),
    )
