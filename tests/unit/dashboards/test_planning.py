"""What the plan page draws and what it hands to the engine, of one plan."""

import pytest

from dashboards.planning import judged
from dashboards.words import Voice
from tests.unit.core.test_holding import six_pads


@pytest.mark.parametrize(("cg_x_mm", "drawn"), [(300, [300.0, 0.0]), (400, None), (0, None)])
def test_better_place_is_drawn_where_it_keeps_every_pad_on_the_panel(cg_x_mm: int, drawn: list[float] | None) -> None:
    """Pads reach 900 mm to each side: on a pane of 2.4 m the lifter may move 300 mm, not 400."""
    entered = {"weight": 100, "size": "2.4 x 1.5", "cg_x_mm": cg_x_mm}
    answer, params = judged(six_pads(), entered, units="metric", today="", voice=Voice())
    assert answer["drawing"]["offset"] == (None if drawn is None else pytest.approx(drawn))
    assert params["cg_x_mm"] == cg_x_mm
