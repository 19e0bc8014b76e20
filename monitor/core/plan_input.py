"""What a supervisor enters for a lift, what of it cannot be, and what follows from it before anything is judged."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations_with_replacement
from typing import Final

from monitor.core.carrying import STILL, Wind
from monitor.core.config import LifterConfig, Surface
from monitor.core.entry_fault import Fault, fault
from monitor.core.factors import Move
from monitor.core.layout import Centre
from monitor.core.panel import Panel, contains, distance_m
from monitor.core.units import HOIST_KPA_PER_M, MM_PER_M, standard_ambient_kpa
from monitor.core.wind import GUST_OVER_MEAN, area_limit_m_s, pressure_pa


@dataclass(frozen=True, slots=True)
class PlanInput:
    """A lift as planned. ``None`` means not said.

    Attributes:
        panel: The panel as it hangs on the drawing of the pads; it states or gives the weight.
        pads: Pads in use; all of the lifter's when left out.
        cg_x_mm: Centre of gravity from the drawing's origin; the outline's when left out, without one 0.
        cg_y_mm: The same, up the panel.
        cg_depth_mm: Pad face to centre of gravity; from the make-up when left out, without one 0.
        move: Tilts and turns from pick to set-down.
        vacuum_kpa: Vacuum to judge by on every circuit; each circuit's warning level when left out.
        altitude_m: Height above sea level; the site's when left out.
        lift_height_m: How far above the place of picking the panel goes.
        wind_m_s: Wind to allow for, measured as the site file says.
        surface: The panel's surface under the pads; the site file's when left out.
        coated: The pads hold on a coating, film or paint.
        porous: Air comes through the panel's face, so the pumps work all the time.
        in_tandem: Another lifter holds the same panel.
        share_ratio: Part of the panel that this lifter carries; below 1 only in tandem.
        partners: Lifters that the site file puts in tandem with this one.
        today: ISO date, against which the examination may be overdue.
    """

    panel: Panel
    pads: tuple[str, ...] | None = None
    cg_x_mm: float | None = None
    cg_y_mm: float | None = None
    cg_depth_mm: float | None = None
    move: Move = field(default_factory=Move)
    vacuum_kpa: float | None = None
    altitude_m: float | None = None
    lift_height_m: float = 0.0
    wind_m_s: float | None = None
    surface: Surface | None = None
    coated: bool = False
    porous: bool = False
    in_tandem: bool = False
    share_ratio: float = 1.0
    partners: tuple[str, ...] = ()
    today: str = ""


class PlanError(ValueError):
    """A plan that cannot be judged. ``faults`` holds everything that was wrong."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        """Take all faults at once."""
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, faults)))


_SPANS: Final = (
    ("cg_x_mm", -50_000.0, 50_000.0, "mm"),
    ("cg_y_mm", -50_000.0, 50_000.0, "mm"),
    ("cg_depth_mm", 0.0, 5_000.0, "mm"),
    ("vacuum_kpa", 1.0, 105.0, "kPa"),
    ("altitude_m", -430.0, 5_000.0, "m"),
    ("lift_height_m", 0.0, 1_000.0, "m"),
    ("wind_m_s", 0.0, 60.0, "m/s"),
    ("share_ratio", 0.05, 1.0, ""),
)
_MOVE_SPANS: Final = (
    ("tilt_deg", ("tilt_low_deg", "tilt_high_deg"), 0.0, 180.0),
    ("rotation_deg", ("rotation_low_deg", "rotation_high_deg"), -360.0, 360.0),
)


def plan_faults(lifter: LifterConfig, plan: PlanInput) -> list[Fault]:
    """Everything that cannot be in a plan for this lifter, all at once; empty when it can be judged."""
    faults = entry_faults(plan) + _lifter_faults(lifter)
    if plan.vacuum_kpa is not None and plan.vacuum_kpa >= (most_kpa := planned_ambient_kpa(lifter, plan)):
        faults.append(fault("vacuum_kpa", "over_ambient", found=f"{plan.vacuum_kpa:g}", most=f"{most_kpa:.1f}"))
    return faults + _pad_faults(lifter, plan)


def entry_faults(plan: PlanInput) -> list[Fault]:
    """What cannot be in a plan for any lifter."""
    faults = plan.panel.faults()
    for name, low, high, unit in _SPANS:
        faults += _span_fault(name, getattr(plan, name), low, high, unit)
    for name, ends, low, high in _MOVE_SPANS:
        for end in dict.fromkeys(getattr(plan.move, end) for end in ends):
            faults += _span_fault(name, end, low, high, "°")
    if plan.move.tilt_low_deg > plan.move.tilt_high_deg:
        tilts = {"low": f"{plan.move.tilt_low_deg:g}", "high": f"{plan.move.tilt_high_deg:g}"}
        faults.append(fault("tilt_deg", "ends", **tilts))
    if plan.share_ratio < 1.0 and not plan.in_tandem:
        faults.append(fault("share_ratio", "share_alone", found=f"{plan.share_ratio:g}"))
    return faults


def _span_fault(name: str, value: float | None, low: float, high: float, unit: str) -> list[Fault]:
    if value is None or low <= value <= high:
        return []
    said = {"found": f"{value:g}", "low": f"{low:g}", "high": f"{high:g}"}
    return [fault(name, "span", **said, unit=unit) if unit else fault(name, "span_plain", **said)]


def _lifter_faults(lifter: LifterConfig) -> list[Fault]:
    faults = []
    if not lifter.wll_kg > 0.0:
        faults.append(fault("wll_kg", "not_above_0", found=f"{lifter.wll_kg:g}"))
    if not lifter.pads:
        faults.append(fault(f"lifter {lifter.id}, pads", "lifter_without_pads"))
        return faults
    held = {pad.circuit for pad in lifter.pads.values()}
    faults += [
        fault(f"circuit {circuit}", "circuit_without_pads") for circuit in lifter.circuits if circuit not in held
    ]
    return faults


def _pad_faults(lifter: LifterConfig, plan: PlanInput) -> list[Fault]:
    faults = []
    pads = in_use(lifter, plan)
    if plan.pads is not None and not pads:
        faults.append(fault("pads", "pads_none"))
    for n, name in enumerate(pads):
        pad = lifter.pads.get(name)
        if pad is None:
            faults.append(fault("pads", "pad_unknown", found=name, known=", ".join(lifter.pads) or "–"))
        elif name in pads[:n]:
            faults.append(fault("pads", "pad_twice", found=name))
        elif plan.panel.outline and not plan.panel.outline_faults():
            at_m = (pad.x_mm / MM_PER_M, pad.y_mm / MM_PER_M)
            if not contains(plan.panel.outline, at_m):
                faults.append(fault(f"pad {name}", "pad_outside", x=f"{pad.x_mm:g}", y=f"{pad.y_mm:g}"))
            elif any(contains(hole, at_m) for hole in plan.panel.cut_outs):
                faults.append(fault(f"pad {name}", "pad_over_hole", x=f"{pad.x_mm:g}", y=f"{pad.y_mm:g}"))
    return faults


def in_use(lifter: LifterConfig, plan: PlanInput) -> tuple[str, ...]:
    """Pads in use."""
    return tuple(lifter.pads) if plan.pads is None else plan.pads


def planned_centre(plan: PlanInput) -> Centre:
    """Centre of gravity: as entered, else as outline and make-up give it, else the drawing's origin at no depth."""
    x_m, y_m = plan.panel.centre_m() or (0.0, 0.0)
    depth_m = plan.panel.depth_m() or 0.0
    return Centre(
        x_mm=x_m * MM_PER_M if plan.cg_x_mm is None else plan.cg_x_mm,
        y_mm=y_m * MM_PER_M if plan.cg_y_mm is None else plan.cg_y_mm,
        depth_mm=depth_m * MM_PER_M if plan.cg_depth_mm is None else plan.cg_depth_mm,
    )


def planned_ambient_kpa(lifter: LifterConfig, plan: PlanInput) -> float:
    """Ambient pressure where the panel is picked: the site's, or the standard atmosphere's at the altitude entered."""
    if plan.altitude_m is None or not -430.0 <= plan.altitude_m <= 5_000.0:
        return lifter.ambient_kpa
    return standard_ambient_kpa(plan.altitude_m)


def hoist_takes_kpa(plan: PlanInput) -> float:
    """What the way up takes off every circuit's vacuum. Check: 100 m take 1.2 kPa."""
    return HOIST_KPA_PER_M * plan.lift_height_m


def available_kpa(lifter: LifterConfig, plan: PlanInput, circuit: str) -> float:
    """Vacuum of a circuit up there: its working level, in proportion to the ambient pressure, less what hoisting takes.

    A pump reaches the same ratio of ambient anywhere, so less in kPa the higher the site. Check: 62 kPa at sea level are
    48.6 at 2000 m (ISO 2533, 79.495 kPa).
    """
    thinner = min(1.0, planned_ambient_kpa(lifter, plan) / lifter.ambient_kpa)
    return max(0.0, lifter.circuits[circuit].working_kpa * thinner - hoist_takes_kpa(plan))


def judged_kpa(lifter: LifterConfig, plan: PlanInput) -> Mapping[str, float]:
    """Vacuum to judge by, per circuit with pads in use."""
    used = {lifter.pads[pad].circuit for pad in in_use(lifter, plan)}
    levels = {}
    for name, circuit in lifter.circuits.items():
        if name in used and plan.vacuum_kpa is None:
            levels[name] = min(circuit.warning_kpa, available_kpa(lifter, plan, name))
        elif name in used and plan.vacuum_kpa is not None:
            levels[name] = max(0.0, plan.vacuum_kpa - hoist_takes_kpa(plan))
    return levels


def gust_m_s(lifter: LifterConfig, plan: PlanInput) -> float:
    """Gust speed of the wind entered; a mean is raised to its gusts."""
    return (plan.wind_m_s or 0.0) * (1.0 if lifter.wind_is_gust else GUST_OVER_MEAN)


def planned_wind(lifter: LifterConfig, plan: PlanInput) -> Wind:
    """Force of the gust on the panel's face and, along the panel, on its edge."""
    area_m2 = plan.panel.area_m2
    if not plan.wind_m_s or area_m2 is None:
        return STILL
    blow = pressure_pa(gust_m_s(lifter, plan)) * lifter.shape_factor * plan.share_ratio
    return Wind(
        away_n=blow * area_m2,
        along_n=blow * (plan.panel.edge_area_m2() or 0.0),
        at_m=plan.panel.centre_m() or (0.0, 0.0),
    )


def wind_limit_m_s(lifter: LifterConfig, plan: PlanInput) -> float | None:
    """Wind up to which this panel may hang by the site's limit; ``None`` without a limit or an area."""
    area_m2, weight_kg = plan.panel.area_m2, plan.panel.mass_kg()
    if lifter.wind_limit_m_s is None or not area_m2 or not weight_kg:
        return None
    return area_limit_m_s(lifter.wind_limit_m_s, weight_kg, lifter.shape_factor, area_m2)


def overhang_mm(lifter: LifterConfig, plan: PlanInput) -> float | None:
    """Longest way from a corner of the panel to the pads' outline; ``None`` without a panel's outline."""
    if not plan.panel.outline:
        return None
    pads = [(pad.x_mm / MM_PER_M, pad.y_mm / MM_PER_M) for pad in map(lifter.pads.__getitem__, in_use(lifter, plan))]
    between = list(combinations_with_replacement(pads, 2))
    return MM_PER_M * max(min(distance_m(a, b, corner) for a, b in between) for corner in plan.panel.outline)


def fits_moved(lifter: LifterConfig, plan: PlanInput, x_mm: float, y_mm: float) -> bool:
    """Whether every pad in use would still sit on the panel with the lifter moved so far over it."""
    if not plan.panel.outline:
        return True
    places = [lifter.pads[pad] for pad in in_use(lifter, plan)]
    return all(plan.panel.holds((pad.x_mm + x_mm) / MM_PER_M, (pad.y_mm + y_mm) / MM_PER_M) for pad in places)


def bend_factor(lifter: LifterConfig, plan: PlanInput) -> float:
    """How much more than a rigid plate's share a pad may get: the site's factor where the panel reaches far beyond."""
    over_mm = overhang_mm(lifter, plan)
    return lifter.thin_panel_factor if over_mm is not None and over_mm > lifter.overhang_limit_mm else 1.0


def rim_mm(lifter: LifterConfig, pad: str) -> float:
    """Radius of a circle of the pad's area."""
    return 10.0 * math.sqrt(lifter.pads[pad].area_cm2 / math.pi)
