"""Checks solved for the weight, with wind, against the live path and hand statics."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.carrying import Carrying, Wind
from monitor.core.config import Basis, LifterConfig
from monitor.core.holding import Centre
from monitor.core.layout import lay_out
from tests.unit.core.test_holding import G, six_pads

CENTRE = Centre(120.0, -40.0, 60.0)
TILT, TURN = np.array([0.0, 30.0, 63.4, 90.0, 100.0]), np.array([0.0, 80.0, 200.0, 300.0, 10.0])


def carrying(config: LifterConfig, wind: Wind = Wind(), centre: Centre = CENTRE) -> Carrying:  # noqa: B008
    layout = lay_out(config, tuple(config.pads), centre)
    suction_n = layout.area_m2 * 52_000.0
    return Carrying(layout, config.basis, config.friction, suction_n, np.full(len(suction_n), np.inf), wind)


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("wind", [Wind(), Wind(300.0, 40.0, (0.1, 0.2))])
def test_a_pad_is_used_up_at_its_limit(basis: Basis, wind: Wind) -> None:
    plan = carrying(six_pads(basis=basis), wind)
    limits = plan.pad_limits_n(TILT, TURN)
    for i in range(len(TILT)):
        for pad in range(6):
            use = plan.uses(TILT[i : i + 1], TURN[i : i + 1], float(limits[i, pad]))[0, pad]
            assert use == pytest.approx(1.0)


def test_wind_straight_on_is_shared_alike_and_added_to_the_pull() -> None:
    plan = carrying(six_pads(), Wind(away_n=600.0), Centre())
    pull, slide = plan.shares_n(np.array([0.0]), np.array([0.0]), 6000.0)
    assert pull[0] == pytest.approx([1100.0] * 6)
    assert slide[0] == pytest.approx([0.0] * 6)


def test_wind_off_the_pads_middle_pulls_the_near_pads_more() -> None:
    # F/6 + F e x/sum(x^2), e = 0.2 m, sum = 4 * 0.81; blown towards the pads it pulls nowhere
    plan = carrying(six_pads(), Wind(away_n=600.0, at_m=(0.2, 0.0)), Centre())
    pull, _ = plan.wind_shares
    assert pull.max() == pytest.approx(100.0 + 600.0 * 0.2 * 0.9 / 3.24)


def test_wind_along_adds_its_worst_direction() -> None:
    plan = carrying(six_pads(), Wind(along_n=60.0), Centre())
    _, slide = plan.shares_n(np.array([90.0]), np.array([0.0]), 6000.0)
    assert slide[0] == pytest.approx([1010.0] * 6)


def test_flat_totals_with_wind() -> None:
    # BTH-1: 2 (W + wind) = suction; friction with factor 2: the same lying flat
    plan = carrying(six_pads(), Wind(away_n=1000.0), Centre())
    for by_friction in (False, True):
        limit = plan.total_limits_n(np.array([0.0]), by_friction=by_friction)[0, 0]
        assert limit == pytest.approx(0.69 * 52_000.0 / 2 - 1000.0)


def test_upright_totals_with_wind() -> None:
    plan = carrying(six_pads(), Wind(away_n=1000.0), Centre())
    # BTH-1: 4 sqrt(W² + 1000²) = suction; friction: 2 (1000 + W/0.5) = suction
    basis = plan.total_limits_n(np.array([90.0]), by_friction=False)[0, 0]
    friction = plan.total_limits_n(np.array([90.0]), by_friction=True)[0, 0]
    assert 4 * np.hypot(basis, 1000.0) == pytest.approx(0.69 * 52_000.0)
    assert 2 * (1000.0 + friction / 0.5) == pytest.approx(0.69 * 52_000.0)


def test_more_wind_than_the_pads_hold_leaves_nothing() -> None:
    plan = carrying(six_pads(), Wind(away_n=50_000.0))
    assert (plan.pad_limits_n(TILT, TURN) == 0.0).all()
    assert (plan.total_limits_n(TILT, by_friction=True) == 0.0).all()
    assert (plan.total_limits_n(TILT, by_friction=False) == 0.0).all()


def test_bending_takes_the_worst_share_so_many_times() -> None:
    rigid = carrying(six_pads())
    bent = replace(rigid, bend_factor=1.5)
    assert bent.pad_limits_n(TILT, TURN) == pytest.approx(rigid.pad_limits_n(TILT, TURN) / 1.5)
    assert bent.total_limits_n(TILT, by_friction=True) == pytest.approx(rigid.total_limits_n(TILT, by_friction=True))
    assert bent.slips(TILT, TURN, 500 * G) == pytest.approx(1.5 * rigid.slips(TILT, TURN, 500 * G))


def test_circuit_lost_leaves_the_others_the_wind_as_well() -> None:
    left = carrying(six_pads(), Wind(away_n=600.0), Centre()).without("A")
    assert left is not None
    assert left.layout.ids == ("B1", "B2", "B3")
    # upper pad against two lower ones: half each side of the middle
    assert left.wind_shares[0] == pytest.approx([300.0, 150.0, 150.0])
    assert left.without("B") is None


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("by_friction", [True, False])
@pytest.mark.parametrize("wind", [Wind(), Wind(700.0, 300.0)])
def test_all_pads_together_are_asked_for_their_whole_suction_at_their_limit(
    basis: Basis, by_friction: bool, wind: Wind
) -> None:
    plan = carrying(six_pads(basis=basis), wind, Centre())
    for tilt_deg, limit_n in zip(TILT, plan.total_limits_n(TILT, by_friction=by_friction)[:, 0], strict=True):
        asked = plan.total_asked_n(np.array([tilt_deg]), float(limit_n), by_friction=by_friction)
        assert asked[0, 0] == pytest.approx(0.69 * 52_000.0)


def test_wind_asks_of_the_pads_without_a_load_as_well() -> None:
    plan = carrying(six_pads(), Wind(600.0, 60.0), Centre())
    pull, slide = plan.shares_n(np.array([0.0, 90.0]), np.array([0.0, 0.0]), 0.0)
    assert pull == pytest.approx(np.full((2, 6), 100.0))
    assert slide == pytest.approx(np.full((2, 6), 10.0))


def test_past_upright_the_design_factor_asks_for_the_whole_load_and_friction_gets_no_credit_for_its_pressing() -> None:
    """At 120°: BTH-1 as at 60°; with factor 2 and friction 0.5, 2 W sin 120°/0.5 = suction."""
    plan = carrying(six_pads(), centre=Centre())
    tilts = np.array([60.0, 120.0])
    by_basis = plan.total_limits_n(tilts, by_friction=False)[:, 0]
    assert by_basis[1] == pytest.approx(by_basis[0])
    by_friction = plan.total_limits_n(tilts, by_friction=True)[1, 0]
    assert 2.0 * by_friction * np.sin(np.radians(120.0)) / 0.5 == pytest.approx(0.69 * 52_000.0)
