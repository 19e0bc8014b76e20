"""Wind on a panel: pressure, force, and the speed at which a large area has to stay down."""

import math
from typing import Final

GUST_OVER_MEAN: Final = 1.4
"""Gust over mean speed. A mobile crane's manual pairs 50 km/h gust with 36 km/h mean (EN 13000 practice)."""

CHART_AREA_M2_PER_T: Final = 1.2
"""Wind area that crane charts allow for, m² of cw·A per tonne. Source: EN 13000, FEM 5.016 (formula from memory)."""


def pressure_pa(wind_m_s: float) -> float:
    """Dynamic pressure of wind, Pa.

    Source: EN 13001-2, q = v²/1.6. Twice the speed is four times the pressure. Check: 10 m/s is 62.5 Pa, 20 m/s 250 Pa.
    """
    return wind_m_s**2 / 1.6


def area_limit_m_s(chart_m_s: float, load_kg: float, shape_factor: float, area_m2: float) -> float:
    """Wind speed up to which a panel may hang, m/s: the chart's, or less when its area is large for its weight.

    Args:
        chart_m_s: The limit of the crane's chart or the site, above 0.
        load_kg: What hangs, above 0.
        shape_factor: cw of the panel.
        area_m2: Face area.

    Source: EN 13000 / FEM 5.016, v = v_TAB * sqrt(1.2 * m / (cw * A)), m in tonnes. A crane manual's worked example,
    2 t, 9 m², cw 1: 36 km/h falls to 18 and 50 to 25. Check: 2000 kg, cw 1, 9 m², 36 gives 18.59.
    """
    allowed_m2 = CHART_AREA_M2_PER_T * load_kg / 1000.0
    return chart_m_s * min(1.0, math.sqrt(allowed_m2 / (shape_factor * area_m2)))
