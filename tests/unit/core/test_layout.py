"""What each pad gets of a unit of weight, at tilts and turns worked out by hand: six pads at ±0.9 and 0 m by ±0.3 m."""

import math

import numpy as np
import pytest

from monitor.core.config import PadConfig, Suspension
from monitor.core.holding import Centre
from monitor.core.layout import Layout, lay_out
from monitor.core.pads import Floats
from tests.unit.core.test_holding import lifter, six_pads

PADS = ("A1", "B1", "A2", "B2", "A3", "B3")  # above from left to right, below from right to left
HALF, ROOT = 0.5, math.sqrt(3.0) / 2.0  # sine and cosine of 30°


def layout(centre: Centre = Centre(), pads: tuple[str, ...] = PADS) -> Layout:  # noqa: B008
    return lay_out(six_pads(), pads, centre)


def shares(given: Layout, tilt_deg: float, turn_deg: float = 0.0) -> tuple[Floats, Floats]:
    pull, slide = given.shares(np.array([tilt_deg]), np.array([turn_deg]))
    return pull[0], slide[0]


def test_pads_in_use_are_laid_out_in_metres() -> None:
    found = layout(Centre(100.0, -200.0, 30.0), ("B2", "A1"))
    assert (found.ids, found.circuits) == (("B2", "A1"), ("B", "A"))
    assert found.xy_m.tolist() == [[0.9, -0.3], [-0.9, 0.3]]
    assert found.area_m2.tolist() == [0.115, 0.115]
    assert (found.centre_m.tolist(), found.depth_m, found.balanced) == ([0.1, -0.2], 0.03, False)
    assert found.radius_m == pytest.approx([0.19133] * 2, abs=1e-5)  # 1150 cm² are a circle of 191.3 mm
    assert lay_out(six_pads(suspension=Suspension.BALANCED), PADS, Centre()).balanced


@pytest.mark.parametrize("pads", [(), ("A1", "Z9"), ("Z9",)])
def test_pads_in_use_are_the_lifters(pads: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match=r"^pads in use are \[.*\]; they must be some of \['A1', 'B1', .*\]$"):
        layout(pads=pads)


def test_pads_of_each_circuit() -> None:
    assert layout().by_circuit(("A", "C", "B")) == [[0, 2, 4], [], [1, 3, 5]]


def test_circuit_lost_leaves_the_others() -> None:
    left = layout(Centre(100.0)).without("A")
    assert left is not None
    assert (left.ids, left.circuits) == (("B1", "B2", "B3"), ("B", "B", "B"))
    assert left.xy_m.tolist() == [[0.0, 0.3], [0.9, -0.3], [-0.9, -0.3]]
    assert left.area_m2.shape == (3,)
    assert left.centre_m.tolist() == [0.1, 0.0]
    assert left.without("B") is None


@pytest.mark.parametrize(
    ("tilt_deg", "pull", "slide"),
    [(0.0, 1.0, 0.0), (30.0, ROOT, HALF), (90.0, 0.0, 1.0), (150.0, 0.0, HALF), (180.0, 0.0, 0.0)],
)
def test_weight_in_the_middle_is_shared_alike(tilt_deg: float, pull: float, slide: float) -> None:
    found = shares(layout(), tilt_deg)
    assert found[0] == pytest.approx([pull / 6] * 6, abs=1e-9)
    assert found[1] == pytest.approx([slide / 6] * 6, abs=1e-9)


@pytest.mark.parametrize("tilt_deg", [0.0, 30.0])
def test_weight_off_the_middle_pulls_the_near_pads_more(tilt_deg: float) -> None:
    """The plane: 1/6 + 0.09 x/3.24 - 0.03 y/0.54."""
    pull, _ = shares(layout(Centre(90.0, -30.0)), tilt_deg)
    away = math.cos(math.radians(tilt_deg))
    places = [(-0.9, 0.3), (0.0, 0.3), (0.9, 0.3), (0.9, -0.3), (0.0, -0.3), (-0.9, -0.3)]
    assert pull == pytest.approx([away * (1 / 6 + 0.09 * x / 3.24 - 0.03 * y / 0.54) for x, y in places])


@pytest.mark.parametrize(
    ("turn_deg", "upper", "each"),
    [
        pytest.param(0.0, (0, 1, 2), 0.06 * 0.3 / 0.54, id="as drawn"),
        pytest.param(90.0, (2, 3), 0.06 * 2.7 / 8.1, id="a quarter to the left: the right side is up"),
        pytest.param(180.0, (3, 4, 5), 0.06 * 0.3 / 0.54, id="head down"),
        pytest.param(270.0, (0, 5), 0.06 * 2.7 / 8.1, id="a quarter to the right"),
    ],
)
def test_depth_of_an_upright_panel_pulls_the_upper_pads(turn_deg: float, upper: tuple[int, ...], each: float) -> None:
    """The couple W·d: d y/Σy² on two rows.

    On three the plate turns about the upper one and presses the others by k 0.9 and k 1.8: it pulls
    2.7 k a pad, and 0.9·2·2.7 k + 0.9·2·1.8 k = 8.1 k is the couple. What is pressed pulls nothing.
    """
    pull, _ = shares(layout(Centre(depth_mm=60.0)), 90.0, turn_deg)
    assert pull == pytest.approx([each if pad in upper else 0.0 for pad in range(6)], abs=1e-9)


@pytest.mark.parametrize(("depth_mm", "upper"), [(60.0, 0.06 * ROOT * 0.3 / 0.54), (0.0, 0.0)])
def test_panel_that_lies_on_the_pads_does_not_ease_what_its_depth_pulls(depth_mm: float, upper: float) -> None:
    """At 120° half of the weight presses; the depth pulls as it would without that."""
    pull, _ = shares(layout(Centre(depth_mm=depth_mm)), 120.0)
    assert pull == pytest.approx([upper] * 3 + [0.0] * 3, abs=1e-9)


def test_tilts_are_judged_each_by_itself() -> None:
    both, _ = layout(Centre(depth_mm=60.0)).shares(np.array([120.0, 0.0, 90.0]), np.zeros(3))
    alone = [shares(layout(Centre(depth_mm=60.0)), tilt_deg)[0] for tilt_deg in (120.0, 0.0, 90.0)]
    assert both == pytest.approx(np.array(alone))


@pytest.mark.parametrize(
    ("centre", "pads", "turn_deg", "sizes"),
    [
        pytest.param(
            Centre(x_mm=200.0), PADS, 0.0,
            {"A2": math.hypot(0.06 / 3.78, 1 / 6 + 0.18 / 3.78), "A1": math.hypot(0.06 / 3.78, 1 / 6 - 0.18 / 3.78)},
            id="beside the middle",
        ),
        pytest.param(
            Centre(y_mm=200.0), PADS, 0.0, {"A2": 1 / 6, "A1": 1 / 6}, id="above the middle: no torque as drawn"
        ),
        pytest.param(
            Centre(y_mm=200.0), PADS, 90.0,
            {"B1": math.hypot(1 / 6 + 0.06 / 3.78, 0.0), "A3": math.hypot(1 / 6 - 0.06 / 3.78, 0.0)},
            id="above the middle, turned a quarter: the near pads slide more",
        ),
        pytest.param(
            Centre(), ("A1", "A2"), 90.0, {"A1": math.hypot(0.5, 0.3 / 1.8)}, id="below the middle of two pads, turned"
        ),
        pytest.param(
            Centre(y_mm=100.0), ("A1", "B1", "B2"), 90.0, dict.fromkeys(("A1", "B1", "B2"), 1 / 3), id="three, about it"
        ),
        pytest.param(
            Centre(x_mm=100.0, y_mm=300.0), ("B1",), 0.0, {"B1": 1.0 + 2 * 0.1 / math.sqrt(0.115 / math.pi)},
            id="one pad, by its face: 2 T/R",
        ),
    ],
)  # fmt: skip
def test_upright_panel_slides_and_turns(
    centre: Centre, pads: tuple[str, ...], turn_deg: float, sizes: dict[str, float]
) -> None:
    """The elastic vector method: V/n, and at right angles to each arm T r/Σr², Σr² = 3.78 m² (1.62 of two pads)."""
    _, slide = shares(layout(centre, pads), 90.0, turn_deg)
    assert {pad: slide[pads.index(pad)] for pad in sizes} == pytest.approx(sizes)


@pytest.mark.parametrize(
    ("x_mm", "tilt_deg", "falls"),
    [
        (1000.0, 0.0, True),
        (1000.0, 44.9, True),
        (1000.0, 45.0, False),
        (1000.0, 135.0, False),
        (1000.0, 150.0, False),
        (800.0, 0.0, False),
    ],
)
def test_panel_held_outside_its_centre_of_gravity_peels_off_where_it_hangs_more_than_it_slides(
    x_mm: float, tilt_deg: float, falls: bool
) -> None:
    given = layout(Centre(x_mm=x_mm))
    assert given.can_hang is (x_mm < 900.0)
    assert np.isinf(shares(given, tilt_deg)[0]).all() is np.bool_(falls)


BEAMS = [
    PadConfig(f"A{n}", "A", x, y, 1150.0)
    for n, (x, y) in enumerate([(-400, 300), (-400, -300), (0, 300), (0, 500), (400.4, 300), (400, -300)])
]


@pytest.mark.parametrize(
    ("suspension", "y_mm", "pull"),
    [
        # Beams: the middle one at 0.4 m takes y/0.8 a pad, the others the rest; pads of one beam share it alike.
        pytest.param(Suspension.BALANCED, 160.0, [0.15, 0.15, 0.2, 0.2, 0.15, 0.15], id="on beams"),
        # A plane a + c y with Σy = 0.8 m and Σy² = 0.7 m².
        pytest.param(Suspension.RIGID, 160.0, [0.1742, 0.1472, 0.1742, 0.1831, 0.1742, 0.1472], id="on a rigid frame"),
        pytest.param(Suspension.BALANCED, -100.0, [0.0803, 0.2472, 0.0803, 0.0247, 0.0803, 0.2472],
                     id="the beams cannot balance it: rigid again"),
    ],
)  # fmt: skip
def test_pads_on_one_beam_share_alike_while_the_beams_can_balance_the_load(
    suspension: Suspension, y_mm: float, pull: list[float]
) -> None:
    config = lifter(BEAMS, suspension=suspension)
    found, _ = shares(lay_out(config, tuple(config.pads), Centre(y_mm=y_mm)), 0.0)
    if y_mm < 0.0:
        rigid = lifter(BEAMS)
        assert found == pytest.approx(shares(lay_out(rigid, tuple(rigid.pads), Centre(y_mm=y_mm)), 0.0)[0])
    else:
        assert found == pytest.approx(pull, abs=1e-3)


def test_beams_in_one_line_balance_no_moment_across_it() -> None:
    """All six pads hang on beams whose middles are on one line: 100 mm above it is for the rigid frame, 1/6 + 0.1 y/0.54."""
    balanced = lay_out(six_pads(suspension=Suspension.BALANCED), PADS, Centre(y_mm=100.0))
    upper, lower = 1 / 6 + 0.03 / 0.54, 1 / 6 - 0.03 / 0.54
    assert shares(balanced, 0.0)[0] == pytest.approx([upper, upper, upper, lower, lower, lower])


def test_beams_are_asked_at_each_tilt_by_itself() -> None:
    config = lifter(BEAMS, suspension=Suspension.BALANCED)
    given = lay_out(config, tuple(config.pads), Centre(y_mm=160.0, depth_mm=400.0))
    both, _ = given.shares(np.array([0.0, 90.0]), np.zeros(2))
    assert both[0] == pytest.approx([0.15, 0.15, 0.2, 0.2, 0.15, 0.15], abs=1e-3)
    assert both[1] == pytest.approx(shares(given, 90.0)[0])
    rigid = lay_out(lifter(BEAMS), tuple(config.pads), Centre(y_mm=160.0, depth_mm=400.0))
    assert both[1] == pytest.approx(shares(rigid, 90.0)[0])
