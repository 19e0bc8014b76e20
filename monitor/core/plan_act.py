"""A judged plan as the parameters of the action ``plan``: written where it is made, read by the engine that flies it."""

import math
from collections.abc import Mapping
from dataclasses import asdict

from monitor.core.carrying import Wind
from monitor.core.config import LifterConfig, Surface
from monitor.core.holding import Centre, Move
from monitor.core.lifter import Plan
from monitor.core.plan import PlanResult
from monitor.core.plan_input import PlanInput, bend_factor, planned_wind


def write_params(lifter: LifterConfig, plan: PlanInput, result: PlanResult) -> dict[str, object]:
    """What the engine has to know of a judged plan: plain values for an action.

    Check: :func:`read_params` gives the same weight, pads, move, centre, surface, wind and bending back.
    """
    wind = planned_wind(lifter, plan)
    params: dict[str, object] = {
        "weight_kg": result.weight_kg,
        "pads": [pad.id for pad in result.pads],
        **asdict(result.move),
        "cg_x_mm": result.centre.x_mm,
        "cg_y_mm": result.centre.y_mm,
        "cg_depth_mm": result.centre.depth_mm,
        "wind_away_n": wind.away_n,
        "wind_along_n": wind.along_n,
        "wind_at_x_m": wind.at_m[0],
        "wind_at_y_m": wind.at_m[1],
        "wind_limit_m_s": result.wind_limit_m_s,
        "bend_factor": bend_factor(lifter, plan),
        "verdict": result.verdict.value,
    }
    if plan.surface is not None:
        params["surface"] = plan.surface.value
    return params


def read_params(params: Mapping[str, object], config: LifterConfig) -> Plan | None:
    """The plan that an action's parameters say; ``None`` when something in them cannot be.

    What is left out is not known: the worst of all moves, all pads, still air, a rigid panel. Parameters not known here
    are for the record alone.
    """
    pads, pads_known = _pads(params, config)
    weight_kg = finite(params, "weight_kg")
    if not pads_known or (params.get("weight_kg") is not None and (weight_kg is None or weight_kg <= 0.0)):
        return None
    move = Move(
        tilt_low_deg=_within(finite(params, "tilt_low_deg"), 0.0, 0.0, 180.0),
        tilt_high_deg=_within(finite(params, "tilt_high_deg"), 90.0, 0.0, 180.0),
        rotation_low_deg=_within(finite(params, "rotation_low_deg"), 0.0, -360.0, 360.0),
        rotation_high_deg=_within(finite(params, "rotation_high_deg"), 360.0, -360.0, 360.0),
    )
    surface = params.get("surface")
    if surface is not None and not (isinstance(surface, str) and surface in set(Surface)):
        return None
    blown = Wind(
        away_n=_within(finite(params, "wind_away_n"), 0.0, -1.0, math.inf),
        along_n=_within(finite(params, "wind_along_n"), 0.0, -1.0, math.inf),
        at_m=(finite(params, "wind_at_x_m") or 0.0, finite(params, "wind_at_y_m") or 0.0),
    )
    bends, wind_limit_m_s = finite(params, "bend_factor"), finite(params, "wind_limit_m_s")
    if wind_limit_m_s is not None and wind_limit_m_s <= 0.0:
        return None
    if move.tilt_low_deg > move.tilt_high_deg or min(blown.away_n, blown.along_n) < 0.0 or (bends or 1.0) < 1.0:
        return None
    return Plan(
        weight_kg=weight_kg,
        pads=pads,
        move=move,
        centre=Centre(
            x_mm=finite(params, "cg_x_mm") or 0.0,
            y_mm=finite(params, "cg_y_mm") or 0.0,
            depth_mm=finite(params, "cg_depth_mm") or 0.0,
        ),
        tilts_given=finite(params, "tilt_low_deg") is not None or finite(params, "tilt_high_deg") is not None,
        surface=Surface(surface) if surface is not None else None,
        wind=blown,
        bend_factor=bends or 1.0,
        wind_limit_m_s=wind_limit_m_s,
    )


def _pads(params: Mapping[str, object], config: LifterConfig) -> tuple[tuple[str, ...] | None, bool]:
    """The pads a plan uses: by layout, by list, or all. The second value is whether they are known."""
    layout, pads = params.get("layout"), params.get("pads")
    if isinstance(layout, str) and layout:
        return config.layouts.get(layout), layout in config.layouts
    if isinstance(pads, list | tuple) and pads:
        names = tuple(str(pad) for pad in pads)
        return names, all(name in config.pads for name in names)
    return None, layout is None and pads is None


def finite(params: Mapping[str, object], name: str) -> float | None:
    """A finite number among an action's parameters; ``None`` where there is none."""
    value = params.get(name)
    if isinstance(value, bool) or not isinstance(value, int | float):
        return None
    try:
        number = float(value)
    except OverflowError:  # a whole number of over 308 digits
        return None
    return number if math.isfinite(number) else None


def _within(value: float | None, default: float, low: float, high: float) -> float:
    return default if value is None else min(high, max(low, value))
