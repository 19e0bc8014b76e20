"""A judged plan that meets one of its limits just: none of them is exceeded yet."""

import math
from dataclasses import replace

import pytest

from monitor.core import plan_says
from monitor.core.config import PadConfig
from monitor.core.panel import Panel, read_makeup, rectangle
from monitor.core.plan import judge_plan
from monitor.core.plan_input import PlanInput
from tests.histories import dock

STATED = Panel(weight_kg=620.0)


@pytest.mark.parametrize(("warning_kpa", "said"), [(61.9, False), (62.0, False), (62.1, True)])
def test_vacuum_that_reaches_just_its_warning_level_is_not_under_it(warning_kpa: float, said: bool) -> None:
    """A working level of 62 kPa on the ground, by the sea."""
    config = dock()
    config = replace(
        config, circuits={name: replace(one, warning_kpa=warning_kpa) for name, one in config.circuits.items()}
    )
    found = plan_says.outside(config, PlanInput(STATED), judge_plan(dock(), PlanInput(STATED)))
    assert ("plan.under_warning_level" in {text.key for text in found}) is said


@pytest.mark.parametrize(
    ("panel", "key", "said"),
    [
        pytest.param(Panel(rectangle(1.0, 1.0), layers=read_makeup("glass 8"), weight_kg=21.0), "weight_differs", False,
                     id="a twentieth over the 20 kg of 8 mm of glass"),
        pytest.param(Panel(rectangle(1.0, 1.0), layers=read_makeup("glass 8"), weight_kg=21.01), "weight_differs", True,
                     id="more than a twentieth"),
        pytest.param(Panel(rectangle(0.4, 2.0), weight_kg=100.0), "pad_near_edge", False, id="a pad's rim on the edge"),
        pytest.param(Panel(rectangle(0.398, 2.0), weight_kg=100.0), "pad_near_edge", True, id="a pad's rim over it"),
    ],
)  # fmt: skip
def test_weight_or_edge_that_is_met_just_is_not_said(panel: Panel, key: str, said: bool) -> None:
    """A round pad of 400 pi cm² has a radius of 200 mm; it stands in the middle."""
    config = dock(pads={"A1": PadConfig("A1", "A", 0.0, 0.0, 400.0 * math.pi)})
    found = plan_says.notes(config, PlanInput(panel), judge_plan(dock(), PlanInput(STATED)))
    assert (f"plan.{key}" in {text.key for text in found}) is said
