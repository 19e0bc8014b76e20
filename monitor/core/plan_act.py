"""A judged plan as the parameters of the action ``plan``: written where it is made, read by the engine that flies it."""

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Final

from monitor.core.carrying import Wind
from monitor.core.config import LifterConfig, Surface
from monitor.core.holding import Centre, Move
from monitor.core.lifter import Plan
from monitor.core.plan import PlanResult
from monitor.core.plan_input import PlanInput, bend_factor, planned_wind

NUMBERS: Final = (
    "weight_kg",
    *("tilt_low_deg", "tilt_high_deg", "rotation_low_deg", "rotation_high_deg"),
    *("cg_x_mm", "cg_y_mm", "cg_depth_mm"),
    *("wind_away_n", "wind_along_n", "wind_at_x_m", "wind_at_y_m", "wind_limit_m_s"),
    "bend_factor",
)
"""Parameters that are numbers: what stands there and is none cannot be a plan."""


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
    said = {name: finite(params, name) for name in NUMBERS}
    surface = params.get("surface")
    if (
        not pads_known
        or any(value is None and params.get(name) is not None for name, value in said.items())
        or (surface is not None and not (isinstance(surface, str) and surface in set(Surface)))
    ):
        return None
    given = {name: value for name, value in said.items() if value is not None}
    move = Move(
        tilt_low_deg=_within(given.get("tilt_low_deg", 0.0), 0.0, 180.0),
        tilt_high_deg=_within(given.get("tilt_high_deg", 90.0), 0.0, 180.0),
        rotation_low_deg=_within(given.get("rotation_low_deg", 0.0), -360.0, 360.0),
        rotation_high_deg=_within(given.get("rotation_high_deg", 360.0), -360.0, 360.0),
    )
    blown = Wind(
        away_n=given.get("wind_away_n", 0.0),
        along_n=given.get("wind_along_n", 0.0),
        at_m=(given.get("wind_at_x_m", 0.0), given.get("wind_at_y_m", 0.0)),
    )
    bend_factor = given.get("bend_factor", 1.0)
    above_zero = [given[name] for name in ("weight_kg", "wind_limit_m_s") if name in given]
    if min(above_zero, default=1.0) <= 0.0 or min(blown.away_n, blown.along_n) < 0.0 or bend_factor < 1.0:
        return None
    if move.tilt_low_deg > move.tilt_high_deg:
        return None
    return Plan(
        weight_kg=said["weight_kg"],
        pads=pads,
        move=move,
        centre=Centre(given.get("cg_x_mm", 0.0), given.get("cg_y_mm", 0.0), given.get("cg_depth_mm", 0.0)),
        tilts_given="tilt_low_deg" in given or "tilt_high_deg" in given,
        surface=Surface(surface) if surface is not None else None,
        wind=blown,
        bend_factor=bend_factor,
        wind_limit_m_s=said["wind_limit_m_s"],
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


def _within(value: float, low: float, high: float) -> float:
    return min(high, max(low, value))
