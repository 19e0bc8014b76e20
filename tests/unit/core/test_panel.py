"""Weights and centres of gravity of panels against published and computed examples."""

import math

import numpy as np
import pytest

from monitor.core.panel import Layer, Panel, PanelError, contains, read_makeup, rectangle, side_distance_m


def areal(makeup: str) -> float:
    """Mass per area, kg/m²."""
    return sum(layer.areal_kg_m2 for layer in read_makeup(makeup))


# EN 572-1: 2500 kg/m³, so 2.5 kg/m² per mm. Published table (glazing pages): 2 mm 5, 4 mm 10, 6 mm 15, 10 mm 25, 12 mm 30.


@pytest.mark.parametrize(
    ("makeup", "kg_m2"), [("glass 2", 5), ("glass 4", 10), ("glass 6", 15), ("glass 10", 25), ("glass 12", 30)]
)
def test_published_glass_table(makeup: str, kg_m2: float) -> None:
    assert areal(makeup) == pytest.approx(kg_m2)


@pytest.mark.parametrize(
    ("makeup", "kg_m2"), [("glass 4 + gap 16 + glass 4", 20), ("glass 4 + gap 12 + glass 4 + gap 12 + glass 4", 30)]
)
def test_published_insulating_units_glass_only(makeup: str, kg_m2: float) -> None:
    assert areal(makeup) == pytest.approx(kg_m2)


def test_published_pane() -> None:
    """A public glazing page: 1.7 x 0.5 m x 12 mm is 25.5 kg."""
    assert Panel(rectangle(1.7, 0.5), layers=read_makeup("glass 12")).mass_kg() == pytest.approx(25.5)


def test_laminates_with_their_interlayers() -> None:
    """PVB 1070 kg/m³: 44.2 is 20.813 kg/m², 88.4 is 41.626; 2.5 x 1.5 m of it 156.10 kg (one page's 150 is too low)."""
    assert areal("glass 4 + pvb 0.76 + glass 4") == pytest.approx(20.813, abs=5e-4)
    assert areal("glass 8 + pvb 1.52 + glass 8") == pytest.approx(41.626, abs=5e-4)
    panel = Panel(rectangle(2.5, 1.5), layers=read_makeup("glass 8 + pvb 1.52 + glass 8"))
    assert panel.mass_kg() == pytest.approx(156.10, abs=5e-3)


def test_insulating_unit_with_and_without_its_edges() -> None:
    """3.2 x 2.4 m of 10 / 16 / 6-0.76-6 is 428.65 kg of glass and interlayer."""
    layers = read_makeup("glass 10 + argon 16 + glass 6 + pvb 0.76 + glass 6")
    assert Panel(rectangle(3.2, 2.4), layers=layers, spacer_kg_per_m=0.0).mass_kg() == pytest.approx(428.65, abs=5e-3)
    assert Panel(rectangle(3.2, 2.4), layers=layers).mass_kg() == pytest.approx(428.65 + 11.2 * 0.5, abs=5e-3)


def test_published_insulating_unit_with_its_edges() -> None:
    """Another glazing page gives about 22 kg/m² for the 4 + 4 unit of 20 kg/m² glass."""
    unit = Panel(rectangle(1.0, 1.0), layers=read_makeup("glass 4 + gap 16 + glass 4"))
    assert unit.mass_kg() == pytest.approx(22.0)


def test_us_table_of_glass() -> None:
    """GANA's table (from memory): 1/4 in 3.2 to 3.3 lb/ft², 1/2 in 6.5, 1 in 13.0; nominal inches are not nominal mm."""
    lb_ft2 = 0.204816
    assert areal("glass 6") * lb_ft2 == pytest.approx(3.072, abs=5e-4)
    assert areal("glass 12.7") * lb_ft2 == pytest.approx(6.5, abs=0.05)
    assert areal("glass 25.4") * lb_ft2 == pytest.approx(13.0, abs=0.05)


def test_other_materials() -> None:
    """Handbook densities (from memory): granite 27 kg/m² per cm; composite of 4 mm 5.5 (PE) and 7.6 kg/m² (mineral)."""
    assert areal("granite 30") == pytest.approx(81.0)
    assert areal("aluminium composite pe 4") == pytest.approx(5.5)
    assert areal("ACM 4 mm") == pytest.approx(7.6)
    assert areal("steel 2") == pytest.approx(15.7)


def test_stated_weight_counts() -> None:
    panel = Panel(rectangle(2.0, 1.0), layers=read_makeup("glass 8"), weight_kg=45.0)
    assert panel.mass_kg() == 45.0


def test_all_faults_of_a_makeup_at_once() -> None:
    with pytest.raises(PanelError) as caught:
        read_makeup("glass eight + unobtainium 4 + steel 0")
    assert [fault.field for fault in caught.value.faults] == ["makeup, layer 1", "makeup, layer 2", "makeup, layer 3"]
    assert "unobtainium" in str(caught.value)
    assert "glass eight" in str(caught.value)


@pytest.mark.parametrize(
    "makeup",
    ["", "glass", "8", "glass -8", "glass 8 +", "gap 16 + glass 8", "glass 8; drop", "glass 1e3", "glass 1001"],
)
def test_makeup_that_cannot_be(makeup: str) -> None:
    with pytest.raises(PanelError):
        read_makeup(makeup)


def test_makeup_is_read_whatever_the_spacing() -> None:
    assert read_makeup(" Glass 8+PVB 1.52mm +glass  8 ") == (
        Layer("glass", 8.0),
        Layer("pvb", 1.52),
        Layer("glass", 8.0),
    )


# Outline and centre of gravity.


def test_thickness_in_inches() -> None:
    """An inch is 25.4 mm: 12.7 mm of glass are 31.75 kg/m² (EN 572-1), 6.503 lb/ft² (US table: 6.5)."""
    for text in ("glass 1/2 in", 'glass 0.5"', "glass 0.5 inch", "glass 12.7 mm", "glass 12.7"):
        [layer] = read_makeup(text)
        assert layer.areal_kg_m2 == pytest.approx(31.75)
        assert layer.areal_kg_m2 * 0.204816 == pytest.approx(6.503, abs=1e-3)


def test_rectangle_has_its_centre_where_it_hangs() -> None:
    panel = Panel(rectangle(2.0, 1.0, (0.3, -0.1)), weight_kg=1.0)
    assert panel.area_m2 == pytest.approx(2.0)
    assert panel.centre_m() == pytest.approx((0.3, -0.1))


@pytest.mark.parametrize("turned", [False, True])
def test_l_shape_against_its_parts(turned: bool) -> None:
    """Two rectangles, 2 x 1 at (1, 0.5) and 1 x 1 at (0.5, 1.5): (2*1 + 1*0.5)/3 and (2*0.5 + 1*1.5)/3."""
    corners = [(0.0, 0.0), (2.0, 0.0), (2.0, 1.0), (1.0, 1.0), (1.0, 2.0), (0.0, 2.0)]
    panel = Panel(tuple(reversed(corners)) if turned else tuple(corners), weight_kg=1.0)
    assert panel.area_m2 == pytest.approx(3.0)
    assert panel.centre_m() == pytest.approx((2.5 / 3, 2.5 / 3))
    assert panel.faults() == []


def test_cut_out_moves_the_centre_away() -> None:
    hole = rectangle(0.5, 0.5, (0.5, 0.0))
    panel = Panel(rectangle(2.0, 1.0), (hole,), read_makeup("glass 10"))
    assert panel.area_m2 == pytest.approx(1.75)
    assert panel.centre_m() == pytest.approx((-0.125 / 1.75, 0.0))
    assert panel.mass_kg() == pytest.approx(43.75)


def test_centre_of_any_polygon_is_that_of_its_points() -> None:
    """Against counting: the middles of 20 000 small squares that fill the bounding square."""
    corners = ((0.0, 0.0), (1.0, 0.2), (0.9, 1.0), (0.5, 0.4), (0.1, 0.8))
    panel = Panel(corners, weight_kg=1.0)
    middles = (np.arange(142) + 0.5) / 142
    points = np.array([(x, y) for x in middles for y in middles])
    inside = points[[contains(corners, (x, y)) for x, y in points]]
    assert len(inside) / len(points) == pytest.approx(panel.area_m2, abs=0.001)
    assert inside.mean(axis=0) == pytest.approx(panel.centre_m(), abs=0.001)


def test_depth_is_half_the_thickness_or_further_out_where_the_weight_is() -> None:
    assert Panel(layers=read_makeup("glass 8 + pvb 1.52 + glass 8")).depth_m() == pytest.approx(0.00876)
    heavy_outside = Panel(layers=read_makeup("glass 6 + gap 20 + glass 12"))
    # (15*3 + 30*32)/45 mm
    assert heavy_outside.depth_m() == pytest.approx(0.0223333, abs=1e-6)
    heavy_inside = Panel(layers=read_makeup("glass 12 + gap 20 + glass 6"))
    assert heavy_inside.depth_m() == pytest.approx(0.019)


def test_edge_area() -> None:
    panel = Panel(rectangle(3.0, 4.0), layers=read_makeup("glass 10"))
    assert panel.edge_area_m2() == pytest.approx(0.05)


# What cannot be.


@pytest.mark.parametrize(
    ("panel", "field"),
    [
        (Panel(((0.0, 0.0), (1.0, 0.0)), weight_kg=1.0), "outline"),
        (Panel(((0.0, 0.0), (1.0, 0.0), (2.0, 0.0)), weight_kg=1.0), "outline"),
        (Panel(rectangle(0.0, 1.0), weight_kg=1.0), "outline"),
        (Panel(((0.0, 0.0), (1.0, 1.0), (1.0, 0.0), (0.0, 1.0)), weight_kg=1.0), "outline"),
        (Panel(((0.0, 0.0), (math.nan, 0.0), (1.0, 1.0)), weight_kg=1.0), "outline"),
        (Panel(((0.0, 0.0), (51.0, 0.0), (1.0, 1.0)), weight_kg=1.0), "outline"),
        (Panel(rectangle(1.0, 1.0), (rectangle(0.5, 0.5, (0.5, 0.0)),), weight_kg=1.0), "cut-out 1"),
        (Panel(rectangle(1.0, 1.0), (rectangle(0.2, 0.2), rectangle(0.1, 0.1)), weight_kg=1.0), "cut-out 2"),
        (Panel(rectangle(1.0, 1.0)), "weight"),
        (Panel(rectangle(1.0, 1.0), weight_kg=-3.0), "weight"),
        (Panel(rectangle(1.0, 1.0), weight_kg=math.nan), "weight"),
        (Panel(layers=(Layer("glass", 8.0),)), "weight"),
    ],
)
def test_panel_that_cannot_be(panel: Panel, field: str) -> None:
    assert [fault.field for fault in panel.faults()] == [field]


def test_all_faults_of_a_panel_at_once() -> None:
    panel = Panel(rectangle(1.0, 0.0), (rectangle(0.0, 0.1),), weight_kg=-1.0)
    assert {fault.field for fault in panel.faults()} == {"outline", "cut-out 1", "weight"}


def test_distance_to_the_edge() -> None:
    assert side_distance_m(rectangle(2.0, 1.0), (0.6, 0.0)) == pytest.approx(0.4)
    assert side_distance_m(rectangle(2.0, 1.0), (4.0, 4.5)) == pytest.approx(5.0)


def test_edges_of_a_cut_out_weigh_as_well() -> None:
    """An insulating unit with an opening has a spacer around that too: 8 m outside and 2 m inside at 0.5 kg/m."""
    unit = Panel(rectangle(2.0, 2.0), (rectangle(0.5, 0.5),), read_makeup("glass 4 + gap 16 + glass 4"))
    assert unit.mass_kg() == pytest.approx(3.75 * 20.0 + 10.0 * 0.5)


@pytest.mark.parametrize(("at_m", "holds"), [((0.9, 0.4), True), ((0.5, 0.0), False), ((1.1, 0.0), False)])
def test_pad_holds_on_the_panel_and_not_over_its_opening(at_m: tuple[float, float], holds: bool) -> None:
    panel = Panel(rectangle(2.0, 1.0), (rectangle(0.5, 0.5, (0.5, 0.0)),), weight_kg=1.0)
    assert panel.holds(*at_m) is holds


@pytest.mark.parametrize(("weight_kg", "allowed"), [(100_000.0, True), (100_001.0, False), (0.1, True), (0.0, False)])
def test_weight_a_panel_may_have(weight_kg: float, allowed: bool) -> None:
    assert (Panel(weight_kg=weight_kg).faults() == []) is allowed


@pytest.mark.parametrize("first", ["pvb 1.52", "gap 16"])
def test_pads_hold_on_no_interlayer_and_no_gap(first: str) -> None:
    with pytest.raises(PanelError) as caught:
        read_makeup(f"{first} + glass 8")
    assert [fault.field for fault in caught.value.faults] == ["makeup, layer 1"]


@pytest.mark.parametrize(
    "corners",
    [
        ((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 2.0)),  # crosses itself
        ((0.0, 0.0), (2.0, 0.0), (2.0, 2.0), (1.0, 0.0), (0.0, 2.0)),  # a corner on another side
        ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (3.0, 1.0), (3.0, 2.0), (0.5, 2.0), (0.5, -1.0)),
    ],
)
def test_outline_that_crosses_or_touches_itself_is_none(corners: tuple[tuple[float, float], ...]) -> None:
    for turned in (corners, corners[1:] + corners[:1], tuple(reversed(corners))):
        assert [fault.field for fault in Panel(turned, weight_kg=1.0).faults()] == ["outline"]
