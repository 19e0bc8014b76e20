"""Holding against weight, checked against the standards' factors and statics."""

import pytest

from monitor.core.config import Basis, CircuitConfig, LifterConfig, PadConfig
from monitor.core.holding import Move, hold, prepare


def six_pads(**changes: object) -> LifterConfig:
    """Two circuits of three pads of 1150 cm² each, taking turns, warning level 52 kPa."""
    places = [
        ("A1", -900, 300),
        ("B1", 0, 300),
        ("A2", 900, 300),
        ("B2", -900, -300),
        ("A3", 0, -300),
        ("B3", 900, -300),
    ]
    pads = {pad: PadConfig(pad, pad[0], x_mm, y_mm, 1150.0) for pad, x_mm, y_mm in places}
    circuits = {circuit: CircuitConfig(circuit, 52.0, 62.0) for circuit in "AB"}
    return LifterConfig(
        **{"id": "dock-6", "basis": Basis.ASME_BTH_1, "wll_kg": 900.0, "circuits": circuits, "pads": pads, **changes}
    )


WARNING = {"A": 52.0, "B": 52.0}


def test_design_example_upright() -> None:
    model = prepare(six_pads(), move=Move(90.0, 90.0))
    held = hold(model, judged_kpa=WARNING, now_kpa={"A": 63.4, "B": 57.8}, load_kg=624.0)
    assert held.governs == "plate"
    assert held.rated_kg == 900.0
    assert held.margin_kg == pytest.approx(276.0)
    assert held.margin_ratio == pytest.approx(0.442, abs=5e-4)
    assert held.now_kg == pytest.approx(1066.0, abs=0.05)
