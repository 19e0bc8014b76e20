"""What must hold for any plan: worse never reads better."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitor.core.config import Basis, CircuitConfig, LifterConfig, PadConfig, Surface
from monitor.core.holding import Move
from monitor.core.panel import Layer, Panel, rectangle
from monitor.core.plan import PlanResult, judge_plan
from monitor.core.plan_input import PlanInput, judged_kpa, planned_centre
from monitor.core.plan_rating import carry

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


@given(lifters(), plans(), st.floats(0.0, 360.0))
@settings(max_examples=15, deadline=None)
def test_turning_pads_panel_and_gravity_together_turns_the_answer(
    lifter: LifterConfig, plan: PlanInput, turn_deg: float
) -> None:
    """Only the wind's direction along the panel is any; everything else turns with it."""
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def turned(x: float, y: float) -> tuple[float, float]:
        return x * cos - y * sin, x * sin + y * cos

    pads = {}
    for name, pad in lifter.pads.items():
        x_mm, y_mm = turned(pad.x_mm, pad.y_mm)
        pads[name] = replace(pad, x_mm=x_mm, y_mm=y_mm)
    assert plan.cg_x_mm is not None
    assert plan.cg_y_mm is not None
    cg_x_mm, cg_y_mm = turned(plan.cg_x_mm, plan.cg_y_mm)
    move = plan.move
    same = replace(
        plan,
        panel=replace(plan.panel, outline=tuple(turned(*corner) for corner in plan.panel.outline)),
        cg_x_mm=cg_x_mm,
        cg_y_mm=cg_y_mm,
        move=replace(
            move, rotation_low_deg=move.rotation_low_deg - turn_deg, rotation_high_deg=move.rotation_high_deg - turn_deg
        ),
    )
    if same.move.rotation_low_deg < -360.0:
        return
    one, two = judge_plan(lifter, plan), judge_plan(replace(lifter, pads=pads), same)
    assert two.rated_kg == pytest.approx(one.rated_kg, rel=NEXT - 1.0)
    assert two.worst_pad.use_ratio == pytest.approx(one.worst_pad.use_ratio, rel=NEXT - 1.0)
    assert two.wind_limit_m_s == pytest.approx(one.wind_limit_m_s)
    for circuit in "AB":
        assert two.if_lost[circuit].factor == pytest.approx(one.if_lost[circuit].factor, rel=2 * (NEXT - 1.0))


@given(lifters(), plans(), st.data())
@settings(max_examples=15, deadline=None)
def test_fewer_pads_never_raise_what_all_together_hold(
    lifter: LifterConfig, plan: PlanInput, data: st.DataObject
) -> None:
    """Sum of A dp over Nv and the friction of all together; the worst pad may fare better with fewer, so it is left out."""
    fewer = tuple(
        data.draw(
            st.lists(st.sampled_from(sorted(lifter.pads)), min_size=1, max_size=len(lifter.pads) - 1, unique=True)
        )
    )
    tilts = np.linspace(plan.move.tilt_low_deg, plan.move.tilt_high_deg, 9)

    def totals(pads: tuple[str, ...] | None) -> list[np.ndarray]:
        some = replace(plan, pads=pads)
        carrying = carry(lifter, some, planned_centre(some), judged_kpa(lifter, some))
        return [carrying.total_limits_n(tilts, by_friction=by_friction) for by_friction in (False, True)]

    for some, every in zip(totals(fewer), totals(None), strict=True):
        assert (some <= every * (1.0 + 1.0e-9)).all()


@given(lifters(), plans())
@settings(max_examples=15, deadline=None)
def test_shares_sum_to_the_load(lifter: LifterConfig, plan: PlanInput) -> None:
    """Lying flat, in still air: the pulls sum to the weight and their moments to that of the centre of gravity."""
    xy_mm = np.array([(pad.x_mm, pad.y_mm) for pad in lifter.pads.values()])
    assume(np.linalg.matrix_rank(xy_mm - xy_mm.mean(axis=0), tol=1.0) == 2)  # a single row adds for its rims
    flat = replace(plan, move=Move(0.0, 0.0), wind_m_s=None)
    result = judge_plan(replace(lifter, tilt_allowance_deg=0.0), flat)
    assume(result.rated_kg > 0.0)
    pulls = {pad.id: pad.normal_n for pad in result.pads}
    weight_n = result.weight_kg * 9.80665
    assert sum(pulls.values()) == pytest.approx(weight_n, rel=1e-4)
    for at, cg_mm in (("x_mm", result.centre.x_mm), ("y_mm", result.centre.y_mm)):
        moment_nmm = sum(pull * getattr(lifter.pads[pad], at) for pad, pull in pulls.items())
        assert moment_nmm == pytest.approx(weight_n * cg_mm, rel=1e-4, abs=weight_n)  # 1 mm
