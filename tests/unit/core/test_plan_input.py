"""What is entered for a plan: every limit on both sides, what each fault says, and what follows before anything is judged."""

import math
from dataclasses import replace

import pytest

from monitor.core import plan_input
from monitor.core.carrying import STILL, Wind
from monitor.core.config import LifterConfig
from monitor.core.holding import Centre, Move
from monitor.core.panel import Panel, Point, read_makeup, rectangle
from monitor.core.plan_input import PlanError, PlanInput
from tests.unit.core.test_holding import lifter, six_pads

WEIGHED = Panel(weight_kg=100.0)
PANE = Panel(rectangle(2.5, 1.5), weight_kg=100.0)
HOLED = Panel(rectangle(2.5, 1.5), (rectangle(0.2, 0.2, (0.0, 0.3)),), weight_kg=100.0)


def entered(panel: Panel = WEIGHED, **said: object) -> PlanInput:
    return PlanInput(panel, **said)  # type: ignore[arg-type]


def faults(plan: PlanInput, config: LifterConfig | None = None) -> list[str]:
    return [str(fault) for fault in plan_input.plan_faults(config or six_pads(), plan)]


# --- what cannot be entered


@pytest.mark.parametrize(
    ("name", "low", "high", "beyond", "unit"),
    [
        ("cg_x_mm", -50_000, 50_000, 1, " (mm)"),
        ("cg_y_mm", -50_000, 50_000, 1, " (mm)"),
        ("cg_depth_mm", 0, 5_000, 0.5, " (mm)"),
        ("altitude_m", -430, 5_000, 1, " (m)"),
        ("lift_height_m", 0, 1_000, 0.5, " (m)"),
        ("wind_m_s", 0, 60, 0.5, " (m/s)"),
    ],
)
def test_number_entered_lies_within_its_ends(name: str, low: float, high: float, beyond: float, unit: str) -> None:
    for end in (low, high):
        assert faults(entered(**{name: float(end)})) == []
    for value in (low - beyond, high + beyond):
        told = f"{name} is {value:g}; it must lie in {low:g} to {high:g}{unit}."
        assert faults(entered(**{name: value})) == [told]


@pytest.mark.parametrize(
    ("vacuum_kpa", "told"),
    [
        (1.0, []),
        (0.9, ["vacuum_kpa is 0.9; it must lie in 1 to 105 (kPa)."]),
        (101.3, []),
        (101.325, ["vacuum_kpa is 101.325; it must be under the ambient pressure, 101.3 kPa."]),
        (105.0, ["vacuum_kpa is 105; it must be under the ambient pressure, 101.3 kPa."]),
    ],
)
def test_vacuum_entered_is_one_there_can_be(vacuum_kpa: float, told: list[str]) -> None:
    assert faults(entered(vacuum_kpa=vacuum_kpa)) == told


@pytest.mark.parametrize(
    ("share_ratio", "in_tandem", "told"),
    [
        (1.0, False, []),
        (0.99, False, ["share_ratio is 0.99; it must be 1 where one lifter carries the panel."]),
        (0.99, True, []),
        (0.05, True, []),
        (0.04, True, ["share_ratio is 0.04; it must lie in 0.05 to 1."]),
        (1.01, True, ["share_ratio is 1.01; it must lie in 0.05 to 1."]),
    ],
)
def test_share_below_one_only_in_tandem(share_ratio: float, in_tandem: bool, told: list[str]) -> None:
    assert faults(entered(share_ratio=share_ratio, in_tandem=in_tandem)) == told


@pytest.mark.parametrize(
    ("move", "told"),
    [
        (Move(0.0, 180.0, -360.0, 360.0), []),
        (Move(45.0, 45.0), []),
        (Move(-1.0, 181.0), ["tilt_deg is -1; it must lie in 0 to 180 (°).", "tilt_deg is 181; it must lie in 0 to 180 (°)."]),
        (Move(181.0, 181.0), ["tilt_deg is 181; it must lie in 0 to 180 (°)."]),
        (Move(45.5, 45.0), ["tilt_deg is 45.5 to 45; it must have its lower end first."]),
        (Move(0.0, 90.0, -361.0, 0.0), ["rotation_deg is -361; it must lie in -360 to 360 (°)."]),
        (Move(0.0, 90.0, 0.0, 361.0), ["rotation_deg is 361; it must lie in -360 to 360 (°)."]),
        (Move(0.0, 90.0, 350.0, 10.0), []),
    ],
)  # fmt: skip
def test_tilts_and_turns_there_can_be(move: Move, told: list[str]) -> None:
    assert faults(entered(move=move)) == told


def test_lifter_can_carry_something_and_every_circuit_has_pads() -> None:
    assert faults(entered(), six_pads(wll_kg=0.0)) == ["wll_kg is 0; it must be above 0."]
    assert faults(entered(), six_pads(wll_kg=0.5)) == []
    bare = lifter([], wll_kg=-5.0)
    assert faults(entered(), bare) == [
        "wll_kg is -5; it must be above 0.",
        "lifter dock-6, pads is not given; it must be in the site file for a plan.",
    ]
    one = six_pads()
    assert faults(entered(), replace(one, pads={"A1": one.pads["A1"]})) == [
        "circuit B is without pads; it must have some, or be left out of the lifter."
    ]


@pytest.mark.parametrize(
    ("panel", "pads", "told"),
    [
        pytest.param(WEIGHED, ("A1", "B1"), [], id="known"),
        pytest.param(WEIGHED, (), ["pads is an empty list; it must name the pads in use."], id="none"),
        pytest.param(WEIGHED, ("Z9", "A1"), ['pads is "Z9"; it must be among A1, B1, A2, B2, A3, B3.'], id="unknown"),
        pytest.param(WEIGHED, ("A1", "B1", "A1"), ['pads is "A1" twice; it must name each pad once.'], id="twice"),
        pytest.param(PANE, ("A1", "A2"), [], id="on the panel"),
        pytest.param(Panel(rectangle(1.799, 0.6), weight_kg=100.0), ("B1", "A1"),
            ["pad A1 is at -900, 300 mm, outside the panel; it must sit on the panel."], id="just beyond its side"),
        pytest.param(Panel(rectangle(1.8, 0.6), weight_kg=100.0), ("B1", "A1"), [], id="on its corner"),
        pytest.param(HOLED, ("A1", "B1", "A2"),
            ["pad B1 is at 0, 300 mm, over a cut-out; it must sit on the panel."], id="over an opening"),
    ],
)  # fmt: skip
def test_pads_in_use_are_the_lifters_and_sit_on_the_panel(panel: Panel, pads: tuple[str, ...], told: list[str]) -> None:
    assert faults(entered(panel, pads=pads)) == told


def test_pads_are_not_looked_for_on_a_panel_that_cannot_be() -> None:
    crossed: tuple[Point, ...] = ((0.0, 0.0), (2.0, 2.0), (2.0, 0.0), (0.0, 1.0))
    assert faults(entered(Panel(crossed, weight_kg=100.0))) == [
        "outline is crossing itself at sides 1 and 3; it must go once round the panel."
    ]


def test_lifter_without_pads_offers_none() -> None:
    told = faults(entered(pads=("A1",)), lifter([], circuits={}))
    assert told[-1] == 'pads is "A1"; it must be among –.'


def test_error_lists_every_fault_on_a_line_of_its_own() -> None:
    found = plan_input.plan_faults(six_pads(), entered(wind_m_s=-1.0, share_ratio=0.5))
    error = PlanError(found)
    assert error.faults == tuple(found)
    assert str(error) == (
        "wind_m_s is -1; it must lie in 0 to 60 (m/s).\n"
        "share_ratio is 0.5; it must be 1 where one lifter carries the panel."
    )


# --- what follows from it


@pytest.mark.parametrize(
    ("plan", "centre"),
    [
        (entered(), Centre(0.0, 0.0, 0.0)),
        (entered(Panel(rectangle(2.0, 1.0, (0.1, -0.2)), layers=read_makeup("glass 8"))), Centre(100.0, -200.0, 4.0)),
        (
            entered(
                Panel(rectangle(2.0, 1.0, (0.1, -0.2)), layers=read_makeup("glass 8")),
                cg_x_mm=0.0, cg_y_mm=7.0, cg_depth_mm=0.0,
            ),
            Centre(0.0, 7.0, 0.0),
        ),
    ],
    ids=["nothing known", "as outline and make-up give it", "as entered"],
)  # fmt: skip
def test_centre_of_gravity(plan: PlanInput, centre: Centre) -> None:
    found = plan_input.planned_centre(plan)
    assert (found.x_mm, found.y_mm, found.depth_mm) == pytest.approx((centre.x_mm, centre.y_mm, centre.depth_mm))


@pytest.mark.parametrize(
    ("altitude_m", "ambient_kpa"),
    [
        (None, 100.0),
        (0.0, 101.325),
        (2000.0, 79.4952),  # ISO 2533
        (-430.0, 106.6),
        (-431.0, 100.0),
        (5000.0, 54.02),  # ISO 2533
        (5001.0, 100.0),
    ],
)
def test_ambient_is_the_sites_or_the_standard_atmospheres(altitude_m: float | None, ambient_kpa: float) -> None:
    config = six_pads(ambient_kpa=100.0)
    found = plan_input.planned_ambient_kpa(config, entered(altitude_m=altitude_m))
    assert found == pytest.approx(ambient_kpa, abs=0.05)


@pytest.mark.parametrize(
    ("said", "available_kpa", "judged_kpa"),
    [
        pytest.param({}, 62.0, 52.0, id="working level, judged by the warning level"),
        pytest.param({"lift_height_m": 100.0}, 60.8, 52.0, id="1.2 kPa for 100 m"),
        pytest.param({"lift_height_m": 1000.0}, 50.0, 50.0, id="under the warning level"),
        pytest.param({"altitude_m": 2000.0}, 48.643, 48.643, id="thinner air: 62 · 79.495/101.325"),
        pytest.param({"altitude_m": -400.0}, 62.0, 52.0, id="thicker air adds nothing"),
        pytest.param({"vacuum_kpa": 57.0, "lift_height_m": 100.0}, 60.8, 55.8, id="entered, less the way up"),
        pytest.param({"vacuum_kpa": 5.0, "lift_height_m": 1000.0}, 50.0, 0.0, id="none left"),
    ],
)
def test_vacuum_to_judge_by(said: dict[str, float], available_kpa: float, judged_kpa: float) -> None:
    plan = entered(**said)
    assert plan_input.available_kpa(six_pads(), plan, "B") == pytest.approx(available_kpa, abs=1e-3)
    assert plan_input.judged_kpa(six_pads(), plan) == pytest.approx({"A": judged_kpa, "B": judged_kpa}, abs=1e-3)
    left_out = plan_input.judged_kpa(six_pads(), replace(plan, pads=("B1",)))
    assert left_out == pytest.approx({"B": judged_kpa}, abs=1e-3)


def test_pump_that_hardly_draws_has_nothing_left_far_up() -> None:
    config = six_pads()
    weak = replace(config, circuits={name: replace(one, working_kpa=3.0) for name, one in config.circuits.items()})
    assert plan_input.available_kpa(weak, entered(lift_height_m=1000.0), "A") == 0.0


@pytest.mark.parametrize(
    ("panel", "said", "config", "wind"),
    [
        pytest.param(PANE, {}, {}, STILL, id="no wind entered"),
        pytest.param(PANE, {"wind_m_s": 0.0}, {}, STILL, id="still"),
        pytest.param(WEIGHED, {"wind_m_s": 10.0}, {}, STILL, id="no area known"),
        pytest.param(PANE, {"wind_m_s": 10.0}, {}, Wind(468.75, 0.0), id="62.5 Pa · 2 · 3.75 m²"),
        pytest.param(PANE, {"wind_m_s": 10.0}, {"shape_factor": 1.0}, Wind(234.375, 0.0), id="cw 1"),
        pytest.param(PANE, {"wind_m_s": 10.0}, {"wind_is_gust": False}, Wind(918.75, 0.0), id="mean: 1.4² as much"),
        pytest.param(PANE, {"wind_m_s": 10.0, "share_ratio": 0.5}, {}, Wind(234.375, 0.0), id="half of it, in tandem"),
        pytest.param(
            Panel(rectangle(3.0, 4.0, (0.1, 0.2)), layers=read_makeup("glass 10")),
            {"wind_m_s": 10.0}, {}, Wind(1500.0, 6.25, (0.1, 0.2)), id="on its edge 5 m · 10 mm",
        ),
    ],
)  # fmt: skip
def test_force_of_the_wind(panel: Panel, said: dict[str, float], config: dict[str, object], wind: Wind) -> None:
    """By EN 13001-2, v²/1.6: 62.5 Pa at 10 m/s."""
    found = plan_input.planned_wind(six_pads(**config), entered(panel, **said))
    assert (found.away_n, found.along_n) == pytest.approx((wind.away_n, wind.along_n))
    assert found.at_m == pytest.approx(wind.at_m)
    assert plan_input.gust_m_s(six_pads(), entered()) == 0.0


@pytest.mark.parametrize(
    ("panel", "limit_m_s", "found_m_s"),
    [
        pytest.param(Panel(rectangle(3.0, 3.0), weight_kg=2000.0), 10.0, 5.164, id="EN 13000: 2 t, 9 m², cw 1"),
        pytest.param(Panel(rectangle(1.0, 1.0), weight_kg=2000.0), 10.0, 10.0, id="small for its weight"),
        pytest.param(Panel(rectangle(3.0, 3.0), weight_kg=2000.0), None, None, id="no limit"),
        pytest.param(Panel(weight_kg=2000.0), 10.0, None, id="no area"),
        pytest.param(Panel(rectangle(3.0, 3.0)), 10.0, None, id="no weight"),
    ],
)
def test_wind_limit_of_the_panel(panel: Panel, limit_m_s: float | None, found_m_s: float | None) -> None:
    config = six_pads(wind_limit_m_s=limit_m_s, shape_factor=1.0)
    found = plan_input.wind_limit_m_s(config, entered(panel))
    assert found == (None if found_m_s is None else pytest.approx(found_m_s, abs=5e-4))


@pytest.mark.parametrize(
    ("panel", "pads", "over_mm"),
    [
        pytest.param(WEIGHED, None, None, id="no outline"),
        pytest.param(Panel(rectangle(1.8, 0.6)), None, 0.0, id="no further than the pads"),
        pytest.param(Panel(rectangle(3.6, 1.5)), None, math.hypot(900.0, 450.0), id="beyond the corner pads"),
        pytest.param(Panel(rectangle(1.8, 1.5)), ("A1", "A2"), 1050.0, id="below a line of two pads"),
        pytest.param(Panel(rectangle(0.6, 0.8)), ("B1",), math.hypot(300.0, 700.0), id="round one pad"),
    ],
)
def test_overhang_is_the_longest_way_from_a_corner_to_the_pads(
    panel: Panel, pads: tuple[str, ...] | None, over_mm: float | None
) -> None:
    found = plan_input.overhang_mm(six_pads(), entered(panel, pads=pads))
    assert found == (None if over_mm is None else pytest.approx(over_mm))


@pytest.mark.parametrize(("limit_mm", "factor"), [(450.0, 1.0), (449.0, 1.5)])
def test_panel_that_reaches_far_beyond_its_pads_bends(limit_mm: float, factor: float) -> None:
    """A corner 450 mm above a corner pad."""
    config = six_pads(thin_panel_factor=1.5, overhang_limit_mm=limit_mm)
    assert plan_input.bend_factor(config, entered(Panel(rectangle(1.8, 1.5)))) == factor
    assert plan_input.bend_factor(config, entered()) == 1.0


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "fits"),
    [(350.0, 450.0, True), (351.0, 0.0, False), (-351.0, 0.0, False), (0.0, 451.0, False), (0.0, -451.0, False)],
)
def test_pads_still_sit_on_the_panel_with_the_lifter_moved(x_mm: float, y_mm: float, fits: bool) -> None:
    """The pads reach 900 by 300 mm, the pane 1250 by 750."""
    assert plan_input.fits_moved(six_pads(), entered(PANE), x_mm, y_mm) is fits
    assert plan_input.fits_moved(six_pads(), entered(), x_mm, y_mm)
    assert plan_input.fits_moved(six_pads(), entered(PANE, pads=("B1",)), 351.0, 450.0)
    assert plan_input.fits_moved(six_pads(), entered(PANE, pads=("A2",)), -2000.0, -1000.0)


def test_rim_of_a_pad_is_the_radius_of_a_circle_of_its_area() -> None:
    """1150 cm²: 191.3 mm."""
    assert plan_input.rim_mm(six_pads(), "A1") == pytest.approx(191.33, abs=0.01)
