"""The parameters of the action ``plan``: what is written for the engine, what is read, and what is no plan."""

import json
import math

import pytest

from monitor.core.carrying import Wind
from monitor.core.config import Surface
from monitor.core.holding import Centre, Move
from monitor.core.lifter import Plan
from monitor.core.panel import Panel, read_makeup, rectangle
from monitor.core.plan import judge_plan
from monitor.core.plan_act import NUMBERS, read_params, write_params
from monitor.core.plan_input import PlanInput
from tests.histories import dock
from tests.unit.core.test_holding import six_pads

SAID = {
    "weight_kg": 600.0, "tilt_low_deg": 10.0, "tilt_high_deg": 80.0, "rotation_low_deg": -20.0, "rotation_high_deg": 30.0,
    "cg_x_mm": 1.0, "cg_y_mm": 2.0, "cg_depth_mm": 3.0, "wind_away_n": 4.0, "wind_along_n": 5.0, "wind_at_x_m": 0.6,
    "wind_at_y_m": 0.7, "wind_limit_m_s": 8.0, "bend_factor": 1.9, "surface": "wet", "pads": ["A1", "B1"],
}  # fmt: skip


def test_everything_an_action_says_is_read() -> None:
    assert read_params(SAID, dock()) == Plan(
        weight_kg=600.0,
        pads=("A1", "B1"),
        move=Move(10.0, 80.0, -20.0, 30.0),
        centre=Centre(1.0, 2.0, 3.0),
        tilts_given=True,
        surface=Surface.WET,
        wind=Wind(4.0, 5.0, (0.6, 0.7)),
        bend_factor=1.9,
        wind_limit_m_s=8.0,
    )


@pytest.mark.parametrize("surface", [None, Surface.WET])
def test_what_is_written_for_the_engine_is_what_was_judged(surface: Surface | None) -> None:
    """By EN 13001-2 14 m/s is 122.5 Pa: on 3.75 m² with cw 2 918.75 N, on an edge of 8 mm by 2.915 m 5.714 N."""
    config = six_pads(wind_limit_m_s=9.0, thin_panel_factor=1.25, overhang_limit_mm=500.0)
    pane = Panel(rectangle(2.5, 1.5, (0.1, -0.2)), layers=read_makeup("glass 8"))
    plan = PlanInput(
        pane, pads=("A1", "A2", "B1", "B2"), cg_x_mm=50.0, cg_y_mm=-30.0, cg_depth_mm=6.0, wind_m_s=14.0,
        move=Move(60.0, 60.0, 20.0, 20.0), surface=surface,
    )  # fmt: skip
    params = write_params(config, plan, judge_plan(config, plan))
    assert params.pop("verdict") == "outside_limits"  # 14 m/s are over the limit
    assert params.pop("pads") == ["A1", "A2", "B1", "B2"]
    assert params.pop("surface", None) == (None if surface is None else "wet")
    assert params == pytest.approx(
        {
            "weight_kg": 75.0, "tilt_low_deg": 60.0, "tilt_high_deg": 60.0, "rotation_low_deg": 20.0,
            "rotation_high_deg": 20.0, "cg_x_mm": 50.0, "cg_y_mm": -30.0, "cg_depth_mm": 6.0, "wind_away_n": 918.75,
            "wind_along_n": 5.714, "wind_at_x_m": 0.1, "wind_at_y_m": -0.2, "wind_limit_m_s": 9.0 * math.sqrt(0.09 / 7.5),
            "bend_factor": 1.25,
        },
        rel=1e-4,
    )  # fmt: skip
    assert set(params) == set(NUMBERS)


def test_what_is_written_is_read_again_as_it_was_judged() -> None:
    config = six_pads(wind_limit_m_s=9.0)
    plan = PlanInput(Panel(rectangle(2.5, 1.5), weight_kg=600.0), move=Move(0.0, 0.0, 0.0, 0.0), wind_m_s=2.0)
    params = json.loads(json.dumps(write_params(config, plan, judge_plan(config, plan))))
    assert params["verdict"] == "within_limits"
    read = read_params(params, config)
    assert read is not None
    assert (read.weight_kg, read.pads, read.move, read.wind) == (600.0, tuple(config.pads), plan.move, Wind(18.75, 0.0))


def test_what_is_left_out_is_not_known() -> None:
    """The worst of all moves, all pads, still air, a rigid panel."""
    assert read_params({}, dock()) == Plan()
    assert read_params(dict.fromkeys(SAID), dock()) == Plan()


@pytest.mark.parametrize("name", NUMBERS)
@pytest.mark.parametrize("wrong", ["12", True, float("nan"), float("inf"), [1.0], 10**400])
def test_number_that_is_none_is_no_plan(name: str, wrong: object) -> None:
    """Left out it would count as less than was meant: still air, a rigid panel, no limit of its own."""
    assert read_params({**SAID, name: wrong}, dock()) is None


@pytest.mark.parametrize(
    ("name", "least", "allowed"),
    [
        ("weight_kg", 0.0, False),
        ("weight_kg", 0.1, True),
        ("wind_limit_m_s", 0.0, False),
        ("wind_limit_m_s", 0.1, True),
        ("wind_away_n", -0.1, False),
        ("wind_away_n", 0.0, True),
        ("wind_along_n", -0.1, False),
        ("wind_along_n", 0.0, True),
        ("bend_factor", 0.99, False),
        ("bend_factor", 0.0, False),
        ("bend_factor", 1.0, True),
        ("tilt_low_deg", 80.1, False),  # above the upper end
        ("tilt_low_deg", 80.0, True),
    ],
)
def test_limits_of_what_a_plan_may_say(name: str, least: float, allowed: bool) -> None:
    assert (read_params({**SAID, name: least}, dock()) is not None) is allowed


@pytest.mark.parametrize(
    ("said", "move"),
    [
        ({"tilt_low_deg": -15.0, "tilt_high_deg": 195.0}, Move(0.0, 180.0)),
        ({"tilt_low_deg": 195.0, "tilt_high_deg": 195.0}, Move(180.0, 180.0)),
        ({"rotation_low_deg": 400.0, "rotation_high_deg": 400.0}, Move(0.0, 90.0, 360.0, 360.0)),
        ({"rotation_low_deg": -400.0, "rotation_high_deg": -400.0}, Move(0.0, 90.0, -360.0, -360.0)),
        (
            {"rotation_low_deg": -400.0, "rotation_high_deg": 400.0},
            Move(rotation_low_deg=-360.0, rotation_high_deg=360.0),
        ),
        ({"tilt_high_deg": 30.0}, Move(0.0, 30.0)),
        ({"tilt_low_deg": 60.0}, Move(60.0, 90.0)),
    ],
)
def test_move_is_kept_within_what_a_panel_can_do(said: dict[str, float], move: Move) -> None:
    plan = read_params(said, dock())
    assert plan is not None
    assert plan.move == move
    assert plan.tilts_given is bool({"tilt_low_deg", "tilt_high_deg"} & set(said))


@pytest.mark.parametrize(
    ("said", "pads"),
    [
        ({}, None),
        ({"pads": ["A1", "B1"]}, ("A1", "B1")),
        ({"pads": ("A1",)}, ("A1",)),
        ({"layout": "narrow"}, ("A1", "B1")),
        ({"layout": "narrow", "pads": ["A2"]}, ("A1", "B1")),
        ({"layout": "", "pads": ["A2"]}, ("A2",)),
    ],
)
def test_pads_of_a_plan_are_those_of_its_layout_or_its_list_or_all(
    said: dict[str, object], pads: tuple[str, ...] | None
) -> None:
    plan = read_params(said, six_pads(layouts={"narrow": ("A1", "B1")}))
    assert plan is not None
    assert plan.pads == pads


@pytest.mark.parametrize(
    "said",
    [
        {"layout": "wide"},
        {"layout": ""},
        {"layout": 3},
        {"pads": []},
        {"pads": "A1"},
        {"pads": ["A1", "Z9"]},
        {"layout": "wide", "pads": ["A1"]},
        {"surface": "damp"},
        {"surface": 3},
        {"surface": ""},
    ],
)
def test_pads_or_surface_not_known_are_no_plan(said: dict[str, object]) -> None:
    assert read_params(said, six_pads(layouts={"narrow": ("A1", "B1")})) is None
