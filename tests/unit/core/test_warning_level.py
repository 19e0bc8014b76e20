"""What the pads carry at their warning levels beside the value on the plate."""

import math
from dataclasses import replace

import pytest

from monitor.core.config import Basis, CircuitConfig
from monitor.core.factors import Move
from monitor.core.warning_level import at_warning_level
from tests.unit.core.test_holding import FLAT, UPRIGHT, G, six_pads

SUCTION_N = 0.69 * 52_000.0


@pytest.mark.parametrize(
    ("changes", "move", "rated_kg", "tilt_deg"),
    [
        ({}, UPRIGHT, SUCTION_N / (4 * G), 90.0),  # BTH-1, end point 4
        ({}, FLAT, SUCTION_N / (2 * G), 0.0),  # end point 2
        ({}, Move(), SUCTION_N / (math.sqrt(20.0) * G), math.degrees(math.atan(2.0))),  # friction peaks at tan = 1/mu
        ({"friction": 0.2}, UPRIGHT, SUCTION_N / (10 * G), 90.0),  # 2/mu
        ({"basis": Basis.EN_13155, "tilt_allowance_deg": 0.0}, FLAT, SUCTION_N / (2 * G), 0.0),
    ],
)
def test_least_of_basis_and_friction(changes: dict[str, object], move: Move, rated_kg: float, tilt_deg: float) -> None:
    config = six_pads(**changes)
    least = at_warning_level(config, tuple(config.pads), move)
    assert least.rated_kg == pytest.approx(rated_kg)
    assert least.tilt_deg == pytest.approx(tilt_deg)


def test_pads_of_the_circuit_with_the_lower_level_are_the_limit() -> None:
    config = six_pads()
    uneven = replace(config, circuits={"A": CircuitConfig("A", 52.0, 62.0), "B": CircuitConfig("B", 40.0, 50.0)})
    least = at_warning_level(uneven, tuple(config.pads), UPRIGHT)
    assert least.rated_kg == pytest.approx(0.69 * 40_000.0 / (4 * G))


def test_value_marked_on_a_pad_is_a_limit_too() -> None:
    config = six_pads()
    marked = replace(config, pads={**config.pads, "A3": replace(config.pads["A3"], wll_kg=60.0)})
    assert at_warning_level(marked, tuple(config.pads), UPRIGHT).rated_kg == pytest.approx(360.0)


def test_panel_hangs_by_the_middle_of_the_pads_in_use() -> None:
    """Two pads at the upper left: flat each has half of it, wherever they are drawn."""
    assert at_warning_level(six_pads(), ("A1", "B1"), FLAT).rated_kg == pytest.approx(2 * 0.115 * 52_000.0 / (2 * G))


@pytest.mark.parametrize(
    ("tilt_deg", "factor"),
    [
        pytest.param(90.0, 4.0, id="four upright, where friction asks for two"),
        pytest.param(120.0, 2.0 + math.sqrt(3.0), id="past upright of the whole load, though a pad only slides"),
    ],
)
def test_basis_governs_on_a_surface_that_does_not_slide(tilt_deg: float, factor: float) -> None:
    config = six_pads(friction=1.0)
    least = at_warning_level(config, tuple(config.pads), Move(tilt_deg, tilt_deg))
    assert least.rated_kg == pytest.approx(SUCTION_N / (factor * G))
