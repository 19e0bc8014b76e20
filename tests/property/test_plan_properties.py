"""What must hold for any plan: worse never reads better."""

from dataclasses import replace

from hypothesis import given, settings
from hypothesis import strategies as st

from monitor.core.config import Basis, CircuitConfig, LifterConfig, PadConfig, Surface
from monitor.core.holding import Move
from monitor.core.panel import Layer, Panel, rectangle
from monitor.core.plan import PlanResult, judge_plan
from monitor.core.plan_input import PlanInput

NEXT = 1.001  # two searches for the same peak agree to this on a ridge, as `worst_over` says


@st.composite
def lifters(draw: st.DrawFn) -> LifterConfig:
    """Two circuits taking turns on four to eight pads within 1.2 m of the middle."""
    grid = st.integers(-12, 12).map(lambda step: step * 100.0)
    places = draw(st.lists(st.tuples(grid, grid), min_size=4, max_size=8, unique=True))
    pads = {f"P{n}": PadConfig(f"P{n}", "AB"[n % 2], *place, 1150.0) for n, place in enumerate(places)}
    circuits = {name: CircuitConfig(name, 52.0, 62.0) for name in "AB"}
    basis, wll_kg = draw(st.sampled_from(list(Basis))), draw(st.sampled_from([400.0, 1.0e6]))
    return LifterConfig("dock-7", basis, wll_kg, circuits, pads, wind_limit_m_s=9.0, thin_panel_factor=1.2)


@st.composite
def plans(draw: st.DrawFn) -> PlanInput:
    tilts = sorted(draw(st.lists(st.floats(0.0, 180.0), min_size=2, max_size=2)))
    return PlanInput(
        Panel(rectangle(2.6, 2.6), layers=(Layer("glass", draw(st.floats(4.0, 40.0))),)),
        cg_x_mm=draw(st.floats(-400.0, 400.0)),
        cg_y_mm=draw(st.floats(-400.0, 400.0)),
        move=Move(*tilts, 0.0, draw(st.floats(0.0, 360.0))),
        altitude_m=draw(st.floats(0.0, 3000.0)),
        lift_height_m=draw(st.floats(0.0, 300.0)),
        wind_m_s=draw(st.floats(0.0, 15.0)),
        surface=draw(st.sampled_from(list(Surface))),
    )


def not_better(before: PlanResult, after: PlanResult) -> None:
    """No figure of ``after`` is better, and what was outside stays outside."""
    assert after.margin_kg <= before.margin_kg + abs(before.rated_kg) * (NEXT - 1.0)
    assert after.rated_kg <= before.rated_kg * NEXT
    assert after.worst_pad.use_ratio >= before.worst_pad.use_ratio / NEXT
    for circuit, lost in after.if_lost.items():
        assert (lost.factor or 0.0) <= (before.if_lost[circuit].factor or 0.0) * NEXT
    gone = {text.key for text in before.reasons[:-1]} - {text.key for text in after.reasons[:-1]}
    # being out of balance or falling is worse than being too heavy or short of factor, and is said in its stead
    assert gone <= {"plan.over", "plan.lost_too_little"}
    assert not gone or len(after.reasons) > 1


@given(lifters(), plans(), st.data())
@settings(max_examples=25, deadline=None)
def test_worse_never_reads_better(lifter: LifterConfig, plan: PlanInput, data: st.DataObject) -> None:
    worse = data.draw(
        st.sampled_from(
            [
                replace(plan, altitude_m=(plan.altitude_m or 0.0) + 500.0),
                replace(plan, lift_height_m=plan.lift_height_m + 200.0),
                replace(plan, wind_m_s=(plan.wind_m_s or 0.0) + 4.0),
                replace(plan, surface=Surface.OILY),
                replace(plan, move=replace(plan.move, tilt_high_deg=180.0)),
                replace(plan, move=replace(plan.move, rotation_high_deg=360.0)),
                replace(plan, move=replace(plan.move, tilt_low_deg=0.0)),
            ]
        )
    )
    not_better(judge_plan(lifter, plan), judge_plan(lifter, worse))


@given(lifters(), plans(), st.floats(1.0, 500.0))
@settings(max_examples=15, deadline=None)
def test_more_load_never_raises_the_margin(lifter: LifterConfig, plan: PlanInput, more_kg: float) -> None:
    light = replace(plan, panel=replace(plan.panel, weight_kg=200.0))
    heavy = replace(plan, panel=replace(plan.panel, weight_kg=200.0 + more_kg))
    before, after = judge_plan(lifter, light), judge_plan(lifter, heavy)
    assert after.margin_kg < before.margin_kg
    assert after.rated_kg == before.rated_kg
    assert after.worst_pad.use_ratio >= before.worst_pad.use_ratio
    for circuit in "AB":
        assert after.needed_kpa[circuit] >= before.needed_kpa[circuit]


@given(lifters(), plans(), st.floats(20.0, 90.0), st.floats(0.0, 30.0))
@settings(max_examples=15, deadline=None)
def test_less_vacuum_never_holds_more(lifter: LifterConfig, plan: PlanInput, level_kpa: float, less_kpa: float) -> None:
    plan = replace(plan, altitude_m=None)
    high = judge_plan(lifter, replace(plan, vacuum_kpa=level_kpa))
    low = judge_plan(lifter, replace(plan, vacuum_kpa=max(1.0, level_kpa - less_kpa)))
    not_better(high, low)
