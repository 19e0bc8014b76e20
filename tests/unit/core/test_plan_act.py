"""A plan taken into the flight: what is judged there is what was planned, wind and bending and surface too."""

import json
from dataclasses import replace

import pytest

from monitor.core.config import Basis, LifterConfig, Surface
from monitor.core.holding import Holding, Move, hold, prepare
from monitor.core.lifter import friction
from monitor.core.panel import Panel, read_makeup, rectangle
from monitor.core.plan import PlanResult, judge_plan
from monitor.core.plan_act import read_params, write_params
from monitor.core.plan_input import PlanInput
from tests.histories import Watch, dock
from tests.unit.core.test_holding import six_pads

PANE = Panel(rectangle(3.2, 2.4), layers=read_makeup("glass 10 + gap 16 + glass 6 + pvb 0.76 + glass 6"))
PLAN = PlanInput(PANE, cg_x_mm=60.0, cg_y_mm=-20.0, move=Move(0.0, 90.0, -10.0, 30.0), wind_m_s=9.0)


def flown(config: LifterConfig, plan: PlanInput, load_kg: float | None = None) -> tuple[PlanResult, Holding]:
    """A plan judged, and what the engine makes of it with every circuit at its warning level."""
    result = judge_plan(config, plan)
    taken = read_params(json.loads(json.dumps(write_params(config, plan, result))), config)
    assert taken is not None
    model = prepare(
        config,
        pads=taken.pads,
        move=taken.move,
        centre=taken.centre,
        friction=result.friction,
        wind=taken.wind,
        bend_factor=taken.bend_factor,
        planned_kg=taken.weight_kg,
    )
    assert model is not None
    level = {name: circuit.warning_kpa for name, circuit in config.circuits.items()}
    return result, hold(model, judged_kpa=level, now_kpa=level, load_kg=load_kg or result.weight_kg)


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("wll_kg", [1.0e5, 500.0])
@pytest.mark.parametrize("plan", [PLAN, replace(PLAN, wind_m_s=20.0), replace(PLAN, surface=Surface.WET)])
def test_flight_is_judged_as_planned(basis: Basis, wll_kg: float, plan: PlanInput) -> None:
    config = six_pads(basis=basis, wll_kg=wll_kg, thin_panel_factor=1.3, overhang_limit_mm=500.0)
    result, live = flown(config, plan)
    assert live.worst_pad is not None
    assert live.worst_pad.use_ratio == pytest.approx(result.worst_pad.use_ratio, rel=1e-6)
    assert live.needed_kpa == pytest.approx(result.needed_kpa, rel=1e-6)
    for circuit in "AB":
        assert live.if_lost[circuit].factor == pytest.approx(result.if_lost[circuit].factor, rel=1e-6)
    assert live.margin_kg is not None
    assert (live.margin_kg > 0.0) is (result.margin_kg > 0.0)
    assert live.rated_kg <= result.rated_kg * (1 + 1e-6)
    assert live.rated_kg == pytest.approx(result.rated_kg, rel=0.05, abs=1.0)  # chord and slope against the curve
    assert live.governs == result.governs


@pytest.mark.parametrize("load_ratio", [0.3, 0.9, 1.2, 2.0])
def test_another_weight_than_planned_is_judged_no_less_cautiously(load_ratio: float) -> None:
    config = six_pads(thin_panel_factor=1.3, overhang_limit_mm=500.0)
    other_kg = load_ratio * judge_plan(config, PLAN).weight_kg
    _, live = flown(config, PLAN, load_kg=other_kg)
    exact = judge_plan(config, replace(PLAN, panel=replace(PANE, weight_kg=other_kg)))
    assert live.worst_pad is not None
    assert live.worst_pad.use_ratio >= exact.worst_pad.use_ratio * (1 - 1e-9)
    assert live.worst_pad.use_ratio <= exact.worst_pad.use_ratio * 1.15  # the chord is furthest off at a small load


def test_wind_and_bending_take_of_the_margin() -> None:
    config = six_pads(thin_panel_factor=1.3, overhang_limit_mm=500.0)
    still = flown(config, replace(PLAN, wind_m_s=None))[1].worst_pad
    windy = flown(config, PLAN)[1].worst_pad
    rigid = flown(six_pads(), replace(PLAN, wind_m_s=None))[1].worst_pad
    assert still is not None
    assert windy is not None
    assert rigid is not None
    assert windy.use_ratio > still.use_ratio
    assert still.use_ratio == pytest.approx(1.3 * rigid.use_ratio)


def test_wind_on_a_panel_that_cannot_be_balanced() -> None:
    _, live = flown(six_pads(), replace(PLAN, cg_x_mm=1000.0))
    assert live.rated_kg == 0.0
    assert live.now_kg == 0.0


# Through the engine.


def planned(watch: Watch, **changes: object) -> None:
    config = watch.state.lifters["dock-6"].config
    plan = replace(PlanInput(Panel(weight_kg=600.0), move=Move(0.0, 90.0)), **changes)  # type: ignore[arg-type]
    assert watch.act("plan", **write_params(config, plan, judge_plan(config, plan))) == "done.plan"


def test_wind_of_the_plan_counts_in_the_air() -> None:
    pane = Panel(rectangle(2.5, 2.0), weight_kg=600.0)
    still, windy = Watch(dock()), Watch(dock())
    planned(still, panel=pane)
    planned(windy, panel=pane, wind_m_s=12.0)
    for watch in (still, windy):
        watch.play(A="64x60", B="64x60", load_kg="0x30 600x30", tilt_deg="90x60")
    assert windy.said["holding"]["rated_kg"] < still.said["holding"]["rated_kg"]
    assert windy.said["holding"]["worst_pad"]["use_ratio"] > still.said["holding"]["worst_pad"]["use_ratio"]


def test_wind_limit_of_the_plan_counts_in_the_air() -> None:
    """600 kg, 5 m², cw 2: 9 m/s on the chart fall to 9 sqrt(1.2 * 0.6/(2 * 5)) = 2.41 m/s (EN 13000 large areas)."""
    watch = Watch(dock(wind_limit_m_s=9.0))
    planned(watch, panel=Panel(rectangle(2.5, 2.0), weight_kg=600.0))
    watch.play(A="64x80", B="64x80", load_kg="0x30 600x50", wind_m_s="2.5x80", tilt_deg="90x80")
    assert watch.told[-1].status.facts.wind_limit_m_s == pytest.approx(2.415, abs=1e-3)
    assert "wind_over_limit" in {alarm["key"] for alarm in watch.said["alarms"]}


@pytest.mark.parametrize(
    ("role", "standing", "surface", "counts"),
    [
        ("supervisor", "dry", "wet", 0.2),
        ("installer", "dry", "wet", 0.2),
        ("supervisor", "wet", "dry", 0.5),
        ("installer", "wet", "dry", 0.2),
    ],
)
def test_surface_of_the_plan_counts(role: str, standing: str, surface: str, counts: float) -> None:
    config = dock(surface=Surface(standing), friction={"dry": 0.5, "wet": 0.2}[standing])
    watch = Watch(config)
    plan = PlanInput(Panel(weight_kg=300.0), surface=Surface(surface))
    assert watch.act("plan", role=role, **write_params(config, plan, judge_plan(config, plan))) == "done.plan"
    assert friction(watch.state.lifters["dock-6"]) == counts


def test_turn_through_zero_is_flown_as_planned() -> None:
    watch = Watch(dock())
    planned(watch, move=Move(0.0, 90.0, 350.0, 10.0))
    plan = watch.state.lifters["dock-6"].plan
    assert plan is not None
    assert (plan.move.rotation_low_deg, plan.move.rotation_high_deg) == (350.0, 10.0)
