"""Outlines, cut-outs and make-ups that cannot be, told word by word; sides, corners and distances on small numbers."""

import math

import pytest

from monitor.core import panel
from monitor.core.panel import Layer, Panel, PanelError, Point, contains, distance_m, read_makeup, rectangle

SQUARE = rectangle(2.0, 2.0)
NO_AREA = "outline is 0 m² large; it must have an area."


def told(given: Panel) -> list[str]:
    return [str(fault) for fault in given.faults()]


# --- what cannot be


@pytest.mark.parametrize(
    ("outline", "faults"),
    [
        pytest.param(rectangle(100.0, 100.0), [], id="to 50 m"),
        pytest.param(
            ((0.0, 0.0), (50.1, 0.0), (0.0, 1.0)),
            ["outline is not all numbers within 50 m; it must be corners in metres from the drawing's origin."],
            id="further",
        ),
        pytest.param(
            ((0.0, 0.0), (1.0, math.inf), (0.0, 1.0)),
            ["outline is not all numbers within 50 m; it must be corners in metres from the drawing's origin."],
            id="not finite",
        ),
        pytest.param(((0.0, 0.0), (1.0, 1.0)), ["outline is 2 corners; it must have at least three."], id="two corners"),
        pytest.param(((0.0, 0.0), (1.0, 0.0), (0.0, 1.0)), [], id="three"),
        pytest.param(((0.0, 0.0), (1.0, 1.0), (2.0, 2.0)), [NO_AREA], id="all in a line"),
        pytest.param(rectangle(0.01, 0.0099), ["outline is 9.9e-05 m² large; it must have an area."], id="99 mm²"),
        pytest.param(rectangle(0.01, 0.0101), [], id="101 mm²"),
        pytest.param(
            ((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 1.0)),
            ["outline is crossing itself at sides 1 and 3; it must go once round the panel."],
            id="crossing, the first and the third side",
        ),
        pytest.param(
            ((2.0, 0.0), (0.0, 1.0), (0.0, 0.0), (2.0, 2.0)),
            ["outline is crossing itself at sides 1 and 3; it must go once round the panel."],
            id="crossing, begun elsewhere",
        ),
        pytest.param(
            ((0.0, 0.0), (4.0, 0.0), (4.0, 3.0), (3.0, 3.0), (1.0, -1.0), (0.0, 3.0)),
            ["outline is crossing itself at sides 1 and 4; it must go once round the panel."],
            id="through the first side",
        ),
        pytest.param(
            ((0.0, 0.0), (4.0, 0.0), (4.0, 4.0), (2.0, 4.0), (5.0, 2.0), (0.0, 4.0)),
            ["outline is crossing itself at sides 2 and 4; it must go once round the panel."],
            id="through the second side",
        ),
    ],
)  # fmt: skip
def test_outline_that_cannot_be_is_told(outline: tuple[Point, ...], faults: list[str]) -> None:
    assert told(Panel(outline, weight_kg=1.0)) == faults


@pytest.mark.parametrize(
    ("holes", "faults"),
    [
        pytest.param([rectangle(0.5, 0.5)], [], id="inside"),
        pytest.param([rectangle(0.5, 0.5, (-0.5, 0.0)), rectangle(0.5, 0.5, (0.5, 0.0))], [], id="two side by side"),
        pytest.param(
            [rectangle(0.5, 0.5, (0.75, 0.0))],
            ["cut-out 1 is beyond the outline or on it; it must lie inside the panel."],
            id="on a side",
        ),
        pytest.param(
            [rectangle(0.5, 0.5), rectangle(0.5, 0.5, (3.0, 0.0))],
            ["cut-out 2 is beyond the outline or on it; it must lie inside the panel."],
            id="the second one outside",
        ),
        pytest.param(
            [rectangle(0.8, 0.8), rectangle(0.5, 0.5, (0.5, 0.5))],
            ["cut-out 2 is over cut-out 1; it must lie beside the others."],
            id="one over another",
        ),
        pytest.param(
            [rectangle(0.8, 0.8), rectangle(0.2, 0.2)],
            ["cut-out 2 is over cut-out 1; it must lie beside the others."],
            id="one in another",
        ),
        pytest.param(
            [rectangle(0.2, 0.2), rectangle(0.8, 0.8)],
            ["cut-out 2 is over cut-out 1; it must lie beside the others."],
            id="one round another",
        ),
        pytest.param(
            [rectangle(1.6, 0.2), rectangle(0.2, 1.6)],
            ["cut-out 2 is over cut-out 1; it must lie beside the others."],
            id="a cross",
        ),
        pytest.param(
            [rectangle(0.2, 0.2, (-0.5, 0.0)), rectangle(0.2, 0.2, (0.5, 0.0)), rectangle(1.4, 0.1)],
            [
                "cut-out 3 is over cut-out 1; it must lie beside the others.",
                "cut-out 3 is over cut-out 2; it must lie beside the others.",
            ],
            id="one over two others",
        ),
        pytest.param([rectangle(0.5, 0.0)], ["cut-out 1 is 0 m² large; it must have an area."], id="without an area"),
    ],
)
def test_cut_out_that_cannot_be_is_told(holes: list[tuple[Point, ...]], faults: list[str]) -> None:
    assert told(Panel(SQUARE, tuple(holes), weight_kg=1.0)) == faults


def test_cut_out_across_a_notch_is_beyond_the_outline() -> None:
    """All its corners lie on the panel, and the notch between them does not."""
    notched = ((0.0, 0.0), (3.0, 0.0), (3.0, 2.0), (2.0, 2.0), (1.5, 0.5), (1.0, 2.0), (0.0, 2.0))
    assert told(Panel(notched, (rectangle(2.4, 0.2, (1.5, 1.0)),), weight_kg=1.0)) == [
        "cut-out 1 is beyond the outline or on it; it must lie inside the panel."
    ]


@pytest.mark.parametrize(
    ("given", "faults"),
    [
        (Panel(weight_kg=0.0), ["weight is 0 kg; it must be above 0 and at most 100000 kg."]),
        (Panel(weight_kg=100_000.5), ["weight is 100000 kg; it must be above 0 and at most 100000 kg."]),
        (
            Panel(SQUARE),
            ["weight is not given; it must be stated, or follow from a size (or an outline) and a make-up."],
        ),
        (Panel(SQUARE, layers=(Layer("glass", 8.0),)), []),
        (Panel(rectangle(0.0, 1.0), layers=(Layer("glass", 8.0),)), [NO_AREA]),
        (Panel(rectangle(0.0, 1.0)), [NO_AREA]),
    ],
)
def test_weight_that_cannot_be_is_told(given: Panel, faults: list[str]) -> None:
    assert told(given) == faults


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("glass", ['makeup, layer 1 is "glass"; it must be a material and its thickness in mm, like "glass 8".']),
        ("glass 8 + ", ['makeup, layer 2 is ""; it must be a material and its thickness in mm, like "glass 8".']),
        ("glass 0", ["makeup, layer 1 is 0 mm thick; it must be above 0 and at most 1000 mm."]),
        ("glass 1000.5", ["makeup, layer 1 is 1000.5 mm thick; it must be above 0 and at most 1000 mm."]),
        ("Gap 16 + glass 8", ['makeup, layer 1 is "gap"; it must be a layer the pads can hold on.']),
        ("air 16 + glass 0", ["makeup, layer 2 is 0 mm thick; it must be above 0 and at most 1000 mm."]),
    ],
)
def test_makeup_that_cannot_be_is_told(text: str, faults: list[str]) -> None:
    with pytest.raises(PanelError) as caught:
        read_makeup(text)
    assert [str(fault) for fault in caught.value.faults] == faults
    assert str(caught.value) == "\n".join(faults)


def test_material_that_is_not_known_is_told_with_those_that_are() -> None:
    with pytest.raises(PanelError) as caught:
        read_makeup("glass 8 + Cheese 4 + steel 0")
    first, second = (str(fault) for fault in caught.value.faults)
    assert first.startswith('makeup, layer 2 is "cheese"; it must be one of glass, pvb, eva, ionomer, gap, granite, ')
    assert second == "makeup, layer 3 is 0 mm thick; it must be above 0 and at most 1000 mm."
    assert str(caught.value) == f"{first}\n{second}"


@pytest.mark.parametrize(
    ("text", "layer"),
    [
        ("glass 1000", Layer("glass", 1000.0)),
        ("float 8", Layer("glass", 8.0)),
        ("stone 3/4 in", Layer("marble", 19.05)),
        ("steel 1 inch", Layer("steel", 25.4)),
        ("steel 25.4 mm", Layer("steel", 25.4)),
        ("ALUMINIUM COMPOSITE PE 4", Layer("aluminium composite pe", 4.0)),
        ("glass 16/2", Layer("glass", 8.0)),
    ],
)
def test_layer_as_it_is_read(text: str, layer: Layer) -> None:
    [read] = read_makeup(text)
    assert (read.material, read.thickness_mm) == (layer.material, pytest.approx(layer.thickness_mm))


def test_gap_weighs_nothing_and_steel_by_its_density() -> None:
    assert [layer.areal_kg_m2 for layer in read_makeup("steel 2 + gap 16 + glass 8")] == [15.7, 0.0, 20.0]
    assert [layer.kind for layer in read_makeup("steel 2 + gap 16 + pvb 1")] == ["metal", "gap", "interlayer"]


# --- measures


def test_panel_of_which_only_a_weight_is_known_has_no_size() -> None:
    only = Panel(weight_kg=5.0)
    assert (only.area_m2, only.thickness_m, only.gaps_n, only.centre_m(), only.depth_m()) == (None, None, 0, None, None)
    assert (only.edge_area_m2(), only.mass_kg(), Panel().mass_kg()) == (None, 5.0, None)
    assert Panel(layers=(Layer("glass", 8.0),)).mass_kg() is None
    assert Panel(SQUARE).edge_area_m2() is None
    assert Panel(layers=(Layer("glass", 8.0),)).edge_area_m2() is None


def test_measures_of_an_insulating_unit() -> None:
    unit = Panel(SQUARE, (rectangle(1.0, 1.0),), read_makeup("glass 8 + gap 12 + glass 4 + gap 12 + glass 4"))
    assert unit.area_m2 == 3.0
    assert unit.thickness_m == pytest.approx(0.040)
    assert unit.gaps_n == 2
    assert unit.mass_kg() == pytest.approx(3.0 * 40.0 + 2 * (8.0 + 4.0) * 0.5)
    # (20·4 + 10·22 + 10·38)/40 mm are less than half of 40 mm
    assert unit.depth_m() == pytest.approx(0.020)
    assert unit.edge_area_m2() == pytest.approx(0.040 * math.sqrt(8.0))
    assert panel.perimeter_m(((0.0, 0.0), (3.0, 0.0), (0.0, 4.0))) == 12.0


def test_unit_of_gaps_alone_has_its_depth_in_the_middle() -> None:
    assert Panel(layers=(Layer("gap", 16.0),)).depth_m() == pytest.approx(0.008)


def test_centre_of_gravity_beside_the_origin_with_a_hole_drawn_clockwise() -> None:
    """(4·(3, 5) − 1·(3.5, 5))/3."""
    hole = tuple(reversed(rectangle(1.0, 1.0, (3.5, 5.0))))
    assert Panel(rectangle(2.0, 2.0, (3.0, 5.0)), (hole,)).centre_m() == pytest.approx((8.5 / 3, 5.0))
    assert Panel(rectangle(2.0, 2.0), (rectangle(2.0, 2.0),)).centre_m() is None


def test_corners_of_a_rectangle() -> None:
    assert rectangle(2.0, 1.0, (10.0, 20.0)) == ((9.0, 19.5), (11.0, 19.5), (11.0, 20.5), (9.0, 20.5))


# --- places


@pytest.mark.parametrize(
    ("at", "inside"),
    [
        ((0.0, 0.0), True),
        ((0.99, -0.99), True),
        ((1.0, 0.3), True),  # on a side
        ((1.0, 1.0), True),  # on a corner
        ((1.01, 0.0), False),
        ((-1.01, 0.0), False),
        ((0.0, 1.01), False),
        ((0.0, -1.01), False),
        ((-3.0, 1.0), False),  # level with a corner
        ((3.0, -1.0), False),
    ],
)
def test_place_inside_an_outline_or_on_it(at: Point, inside: bool) -> None:
    assert contains(SQUARE, at) is inside
    assert contains(tuple(reversed(SQUARE)), at) is inside


@pytest.mark.parametrize(
    ("at", "inside"),
    [
        ((1.0, 0.5), True), ((1.0, 1.5), False), ((0.2, 1.5), True), ((1.8, 1.5), True),
        ((-0.5, 2.0), False), ((-0.5, 1.0), False), ((2.5, 1.0), False), ((0.6, 1.0), True), ((1.45, 1.0), True),
    ],
)  # fmt: skip
def test_place_in_a_panel_with_a_notch(at: Point, inside: bool) -> None:
    """A notch from the top, as wide as the middle of it, down to 1 m: as seen from below a V."""
    assert contains(((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 1.0), (0.0, 2.0)), at) is inside


@pytest.mark.parametrize(
    ("at", "away_m"),
    [((1.5, 2.0), 2.0), ((1.5, -2.0), 2.0), ((4.0, 1.0), math.sqrt(2.0)), ((-3.0, 4.0), 5.0), ((2.0, 0.0), 0.0)],
)
def test_distance_from_a_line_between_two_places(at: Point, away_m: float) -> None:
    assert distance_m((0.0, 0.0), (3.0, 0.0), at) == pytest.approx(away_m)
    assert distance_m((0.0, 0.0), (0.0, 3.0), (at[1], at[0])) == pytest.approx(away_m)
    assert distance_m((10.0, 10.0), (13.0, 10.0), (10.0 + at[0], 10.0 + at[1])) == pytest.approx(away_m)


def test_distance_from_a_place_and_from_a_slanting_line() -> None:
    assert distance_m((1.0, 1.0), (1.0, 1.0), (4.0, 5.0)) == 5.0
    assert distance_m((0.0, 0.0), (4.0, 4.0), (0.0, 2.0)) == pytest.approx(math.sqrt(2.0))
    assert panel.side_distance_m(SQUARE, (0.25, 0.5)) == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("two", "crossing"),
    [
        pytest.param(((1.0, -1.0), (1.0, 1.0)), True, id="across"),
        pytest.param(((1.0, 1.0), (1.0, 2.0)), False, id="above"),
        pytest.param(((3.0, -1.0), (3.0, 1.0)), False, id="beyond its end"),
        pytest.param(((1.0, 0.0), (1.0, 1.0)), True, id="an end on it"),
        pytest.param(((2.0, 0.0), (3.0, 1.0)), True, id="an end on its end"),
        pytest.param(((2.0, -1.0), (2.0, 1.0)), True, id="its end on the other"),
        pytest.param(((1.0, 0.0), (5.0, 0.0)), True, id="along it"),
        pytest.param(((0.0, 1.0), (2.0, 1.0)), False, id="beside it"),
        pytest.param(((3.0, 0.0), (5.0, 0.0)), False, id="in line with it"),
        pytest.param(((-0.5, 0.4), (0.5, 1.5)), False, id="slanting by"),
        pytest.param(((-0.5, 0.4), (0.5, -0.6)), False, id="slanting by below"),
    ],
)
def test_sides_that_cross_or_touch(two: tuple[Point, Point], crossing: bool) -> None:
    one = ((0.0, 0.0), (2.0, 0.0))
    assert panel._cross(one, two) is crossing
    assert panel._cross(two, one) is crossing
