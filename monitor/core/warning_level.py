"""What a lifter's pads carry at their warning levels, whatever is carried: beside it stands the value on the plate."""

from typing import NamedTuple

import numpy as np

from monitor.core.carrying import Carrying
from monitor.core.config import LifterConfig
from monitor.core.factors import Move, judged_tilts_deg, marks_between, said_tilts_deg
from monitor.core.layout import Centre, lay_out
from monitor.core.units import MM_PER_M, PA_PER_KPA, kg_to_n, n_to_kg


class Least(NamedTuple):
    """The least that is carried over the tilts, and where."""

    rated_kg: float
    tilt_deg: float


def at_warning_level(lifter: LifterConfig, pads: tuple[str, ...], move: Move) -> Least:
    """The least of basis, friction and every pad's share, of a flat panel hung by the middle of its pads in still air.

    Raises:
        ValueError: A pad is not the lifter's, or none is given.

    Check: six pads of 1150 cm² at 52 kPa carry 914.7 kg upright and, at friction 0.5, 818.1 kg at 63.4 degrees.
    """
    hung = lay_out(lifter, pads, Centre())
    x_mm, y_mm = hung.xy_m.mean(axis=0) * MM_PER_M
    layout = lay_out(lifter, pads, Centre(float(x_mm), float(y_mm)))
    levels_kpa = np.array([lifter.circuits[circuit].warning_kpa for circuit in layout.circuits])
    suction_n = layout.area_m2 * levels_kpa * PA_PER_KPA
    mark_n = np.array([kg_to_n(lifter.pads[pad].wll_kg or np.inf) for pad in pads])
    carrying = Carrying(layout, lifter.basis, lifter.friction, suction_n, mark_n)
    judged = np.array(marks_between(*judged_tilts_deg(lifter, move), lifter.friction))
    said = np.array(marks_between(*said_tilts_deg(move), lifter.friction))
    checks = (
        (judged, carrying.total_limits_n(judged, by_friction=False)),
        (said, carrying.total_limits_n(said, by_friction=True)),
        (judged, carrying.pad_limits_n(judged, np.zeros(judged.shape))),
    )
    found = [(float(limits.min()), float(tilts[limits.min(axis=1).argmin()])) for tilts, limits in checks]
    limit_n, tilt_deg = min(found)
    return Least(n_to_kg(limit_n), tilt_deg)
