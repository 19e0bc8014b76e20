"""What must hold for any layout, panel, move and vacuum."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from monitor.core.config import Basis, CircuitConfig, LifterConfig, PadConfig
from monitor.core.holding import Centre, Holding, Move, hold, prepare
from monitor.core.layout import lay_out

NEXT = 1.001  # two searches for the same peak agree to this on a ridge, as `worst_over` says

grid_mm = st.integers(-12, 12).map(lambda step: step * 100.0)
vacuum_kpa = st.floats(0.0, 90.0)


@st.composite
def lifters(draw: st.DrawFn, least_n: int = 1) -> LifterConfig:
    """A lifter of one to four circuits and up to eight pads anywhere, in one line too."""
    places = draw(st.lists(st.tuples(grid_mm, grid_mm), min_size=least_n, max_size=8, unique=True))
    circuits_n = draw(st.integers(1, 4))
    pads = {
        f"P{n}": PadConfig(f"P{n}", "ABCD"[n % circuits_n], *place, draw(st.sampled_from([400.0, 1150.0])))
        for n, place in enumerate(places)
    }
    circuits = {name: CircuitConfig(name, 52.0, 62.0) for name in "ABCD"[:circuits_n]}
    return LifterConfig(
        "dock-7",
        draw(st.sampled_from(list(Basis))),
        draw(st.sampled_from([300.0, 1.0e6])),
        circuits,
        pads,
        friction=draw(st.sampled_from([0.1, 0.2, 0.5])),
    )


@st.composite
def moves(draw: st.DrawFn) -> Move:
    tilts = sorted(draw(st.lists(st.floats(0.0, 180.0), min_size=2, max_size=2)))
    turns = sorted(draw(st.lists(st.floats(0.0, 360.0), min_size=2, max_size=2)))
    return Move(*tilts, *turns)


centres = st.builds(Centre, st.floats(-600.0, 600.0), st.floats(-600.0, 600.0), st.floats(0.0, 200.0))


def held(lifter: LifterConfig, move: Move, centre: Centre, level: dict[str, float], load_kg: float = 300.0) -> Holding:
    model = prepare(lifter, move=move, centre=centre)
    assert model is not None
    return hold(model, judged_kpa=level, now_kpa=level, load_kg=load_kg)


@given(lifters(), moves(), centres, st.data())
@settings(max_examples=60, deadline=None)
def test_less_vacuum_never_holds_more(lifter: LifterConfig, move: Move, centre: Centre, data: st.DataObject) -> None:
    level = {circuit: data.draw(vacuum_kpa) for circuit in lifter.circuits}
    fallen = data.draw(st.sampled_from(list(lifter.circuits)))
    lower = {**level, fallen: data.draw(st.floats(0.0, level[fallen]))}
    before, after = held(lifter, move, centre, level), held(lifter, move, centre, lower)
    assert after.rated_kg <= before.rated_kg
    assert after.now_kg <= before.now_kg
    assert before.worst_pad is not None
    assert after.worst_pad is not None
    assert after.worst_pad.use_ratio >= before.worst_pad.use_ratio
    for circuit in lifter.circuits:
        assert (after.if_lost[circuit].factor or 0.0) <= (before.if_lost[circuit].factor or 0.0)


@given(lifters(), moves(), centres, vacuum_kpa, st.floats(1.0, 2000.0), st.floats(0.0, 500.0))
@settings(max_examples=60, deadline=None)
def test_more_load_never_raises_the_margin(
    lifter: LifterConfig, move: Move, centre: Centre, level_kpa: float, load_kg: float, more_kg: float
) -> None:
    level = dict.fromkeys(lifter.circuits, level_kpa)
    light, heavy = held(lifter, move, centre, level, load_kg), held(lifter, move, centre, level, load_kg + more_kg)
    assert heavy.margin_kg is not None
    assert light.margin_kg is not None
    assert heavy.margin_kg <= light.margin_kg
    assert heavy.margin_ratio is not None
    assert light.margin_ratio is not None
    assert heavy.margin_ratio <= light.margin_ratio
    assert heavy.rated_kg == light.rated_kg


@given(lifters(), moves(), centres, st.data())
@settings(max_examples=60, deadline=None)
def test_wider_move_never_holds_more(lifter: LifterConfig, move: Move, centre: Centre, data: st.DataObject) -> None:
    wider = Move(
        data.draw(st.floats(0.0, move.tilt_low_deg)),
        data.draw(st.floats(move.tilt_high_deg, 180.0)),
        data.draw(st.floats(0.0, move.rotation_low_deg)),
        data.draw(st.floats(move.rotation_high_deg, 360.0)),
    )
    level = dict.fromkeys(lifter.circuits, 52.0)
    narrow, wide = held(lifter, move, centre, level), held(lifter, wider, centre, level)
    assert wide.rated_kg <= narrow.rated_kg * NEXT
    for circuit in lifter.circuits:
        assert (wide.if_lost[circuit].factor or 0.0) <= (narrow.if_lost[circuit].factor or 0.0) * NEXT


@given(lifters(), moves(), centres, st.floats(0.0, 360.0))
@settings(max_examples=60, deadline=None)
def test_turning_layout_centre_and_gravity_together_turns_the_answer(
    lifter: LifterConfig, move: Move, centre: Centre, turn_deg: float
) -> None:
    cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))

    def turned(x_mm: float, y_mm: float) -> tuple[float, float]:
        return x_mm * cos - y_mm * sin, x_mm * sin + y_mm * cos

    pads = {}
    for name, pad in lifter.pads.items():
        x_mm, y_mm = turned(pad.x_mm, pad.y_mm)
        pads[name] = replace(pad, x_mm=x_mm, y_mm=y_mm)
    x_mm, y_mm = turned(centre.x_mm, centre.y_mm)
    same = replace(
        move, rotation_low_deg=move.rotation_low_deg - turn_deg, rotation_high_deg=move.rotation_high_deg - turn_deg
    )
    level = dict.fromkeys(lifter.circuits, 52.0)
    one = held(lifter, move, centre, level)
    two = held(replace(lifter, pads=pads), same, replace(centre, x_mm=x_mm, y_mm=y_mm), level)
    assert two.rated_kg == pytest.approx(one.rated_kg, rel=1e-6)


@given(lifters(), centres, st.floats(0.0, 90.0), st.floats(0.0, 360.0))
@settings(max_examples=200, deadline=None)
def test_shares_sum_to_the_load(lifter: LifterConfig, centre: Centre, tilt_deg: float, turn_deg: float) -> None:
    """Without depth and with the centre between the pads the pulls alone sum to the part along the pads."""
    layout = lay_out(lifter, tuple(lifter.pads), replace(centre, depth_mm=0.0))
    assume(layout.can_hang)
    assume(np.linalg.matrix_rank(layout.xy_m - layout.xy_m.mean(axis=0), tol=1e-3) == 2)
    pull, slide = layout.shares(np.array([tilt_deg]), np.array([turn_deg]))
    assert pull.sum() == pytest.approx(math.cos(math.radians(tilt_deg)), abs=1e-4)
    assert pull[0] @ layout.xy_m == pytest.approx(math.cos(math.radians(tilt_deg)) * layout.centre_m, abs=1e-4)
    assert slide.sum() >= math.sin(math.radians(tilt_deg)) * (
        1 - 1e-9
    )  # sizes: never less than the force they add up to


@given(lifters(least_n=2), st.data())
@settings(max_examples=60, deadline=None)
def test_fewer_pads_never_raise_the_computed_total(lifter: LifterConfig, data: st.DataObject) -> None:
    """Sum of A dp over Nv; fewer pads may balance a panel better, so only the total is bound to fall."""
    names = tuple(lifter.pads)
    fewer = tuple(data.draw(st.lists(st.sampled_from(names), min_size=1, max_size=len(names) - 1, unique=True)))
    level = dict.fromkeys(lifter.circuits, 52.0)
    every, some = prepare(lifter), prepare(lifter, pads=fewer)
    assert every is not None
    assert some is not None
    assert sum(some.area_m2) <= sum(every.area_m2)
    assert some.total_basis == every.total_basis
    if hold(every, judged_kpa=level, now_kpa=level, load_kg=None).now_kg > 0.0:
        some_kg = hold(some, judged_kpa=level, now_kpa=level, load_kg=None).now_kg
        assert some_kg <= hold(every, judged_kpa=level, now_kpa=level, load_kg=None).now_kg


@given(lifters(), moves(), centres, st.data())
@settings(max_examples=60, deadline=None)
def test_no_tilt_or_turn_of_the_move_asks_more_than_was_rated(
    lifter: LifterConfig, move: Move, centre: Centre, data: st.DataObject
) -> None:
    level = dict.fromkeys(lifter.circuits, 52.0)
    answer = held(lifter, move, centre, level)
    tilt_deg = data.draw(st.floats(move.tilt_low_deg, move.tilt_high_deg))
    turn_deg = data.draw(st.floats(move.rotation_low_deg, move.rotation_high_deg))
    layout = lay_out(lifter, tuple(lifter.pads), centre)
    pull, slide = layout.shares(np.array([tilt_deg]), np.array([turn_deg]))
    if lifter.basis is Basis.ASME_BTH_1:
        asked = (2 + 2 * math.sin(math.radians(tilt_deg))) * np.hypot(pull, slide)
    else:
        asked = 2 * (pull + slide / lifter.friction)
    if answer.rated_kg == 0.0:
        return
    weight_n = answer.rated_kg * 9.80665
    assert (weight_n * asked[0] <= layout.area_m2 * 52_000.0 * NEXT).all()


def test_fewer_pads_may_balance_better() -> None:
    """Taking away the pads on the heavy side's far end can raise the worst pad's share limit: not a fault."""
    places = {"P0": -1200.0, "P1": -900.0, "P2": 300.0, "P3": 600.0}
    pads = {
        f"{name}{y:+.0f}": PadConfig(f"{name}{y:+.0f}", "A", x, y, 1150.0)
        for name, x in places.items()
        for y in (-300.0, 300.0)
    }
    lifter = LifterConfig("dock-7", Basis.ASME_BTH_1, 1e6, {"A": CircuitConfig("A", 52.0, 62.0)}, pads)
    centre = Centre(x_mm=450.0)
    level = {"A": 52.0}
    every = prepare(lifter, move=Move(0.0, 0.0), centre=centre)
    near = prepare(
        lifter, pads=tuple(pad for pad in pads if pad[:2] in {"P2", "P3"}), move=Move(0.0, 0.0), centre=centre
    )
    assert every is not None
    assert near is not None
    every_kg = hold(every, judged_kpa=level, now_kpa=level, load_kg=None).rated_kg
    assert hold(near, judged_kpa=level, now_kpa=level, load_kg=None).rated_kg > every_kg


def test_more_tilt_alone_may_raise_the_friction_margin() -> None:
    """Beyond tan(tilt) = 1/mu the friction demand falls again: upright holds more than 63 degrees."""
    pads = {f"P{n}": PadConfig(f"P{n}", "A", 600.0 * n, 300.0 * (n % 2), 1150.0) for n in range(4)}
    lifter = LifterConfig("dock-7", Basis.ASME_BTH_1, 1e6, {"A": CircuitConfig("A", 52.0, 62.0)}, pads, friction=0.2)
    centre = Centre(x_mm=900.0, y_mm=150.0)
    at_peak, upright = (
        held(lifter, Move(tilt_deg, tilt_deg, 0.0, 0.0), centre, {"A": 52.0}) for tilt_deg in (78.69, 90.0)
    )
    assert upright.governs == "friction"
    assert upright.rated_kg > at_peak.rated_kg
