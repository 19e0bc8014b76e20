"""Plate values marked on pads, pads that slip, and weights at which nothing is left: worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core import carrying
from monitor.core.carrying import Wind
from monitor.core.config import Basis
from monitor.core.holding import Centre
from tests.unit.core.test_carrying import carrying as planned
from tests.unit.core.test_holding import six_pads

FLAT, UPRIGHT, NO_TURN = np.array([0.0]), np.array([90.0]), np.array([0.0])
AREA_M2 = 0.115


def test_what_held_over_what_asked() -> None:
    """Nothing held carries nothing, whatever is asked; what is held carries any weight that asks for nothing."""
    held, asked = np.array([6.0, 0.5, 0.0, 0.0, -1.0, 5.0]), np.array([2.0, 2.0, 2.0, 0.0, 2.0, 0.0])
    assert carrying._limit(held, asked).tolist() == [3.0, 0.25, 0.0, 0.0, 0.0, np.inf]


def test_what_asked_over_what_held() -> None:
    """What holds nothing is used beyond any limit, even where nothing is asked."""
    asked, held = np.array([6.0, 1.0, 2.0, 0.0, 2.0, 0.0]), np.array([2.0, 0.5, 0.0, 0.0, -1.0, 5.0])
    uses = carrying._use(asked, held)
    assert uses.tolist() == [3.0, 2.0, np.inf, np.inf, np.inf, 0.0]
    assert uses.dtype == np.float64


@pytest.mark.parametrize(
    ("pull", "blown", "most", "limit"),
    [
        pytest.param((0.6, 0.8), (0.0, 0.0), 10.0, 10.0, id="no wind: 3-4-5 triangle"),
        pytest.param((1.0, 0.0), (2.0, 0.0), 10.0, 8.0, id="wind on the pull takes of it"),
        pytest.param((1.0, 0.0), (0.0, 6.0), 10.0, 8.0, id="wind across it: 6, 8, 10"),
        pytest.param((1.0, 0.0), (0.0, 0.6), 1.0, 0.8, id="a newton: 0.6, 0.8, 1"),
        pytest.param((1.0, 0.0), (0.0, 10.0), 10.0, 0.0, id="the wind takes it all"),
        pytest.param((1.0, 0.0), (0.0, 11.0), 10.0, 0.0, id="and more"),
        pytest.param((np.inf, 0.0), (0.0, 0.0), 10.0, 0.0, id="no balance"),
        pytest.param((0.0, 0.0), (1.0, 0.0), 10.0, np.inf, id="no share of the load"),
        pytest.param((1.0, 0.0), (1.0, 0.0), np.inf, np.inf, id="no mark"),
    ],
)
def test_weight_at_which_load_and_wind_reach_the_most(
    pull: tuple[float, float], blown: tuple[float, float], most: float, limit: float
) -> None:
    numbers = [np.array([number]) for number in (*pull, *blown, most)]
    assert carrying._resultant_limit(*numbers)[0] == pytest.approx(limit)


def test_mark_of_a_pad_limits_the_weight_and_a_panel_that_bends_halves_it() -> None:
    """Flat, each of six pads pulls a sixth: 300 N marked are 1800 N of panel, 900 N with twice the rigid share."""
    marked = replace(planned(six_pads(), centre=Centre()), mark_n=np.full(6, 300.0))
    bent = replace(marked, bend_factor=2.0)
    assert marked.pad_limits_n(FLAT, NO_TURN)[0] == pytest.approx([1800.0] * 6)
    assert bent.pad_limits_n(FLAT, NO_TURN)[0] == pytest.approx([900.0] * 6)
    assert marked.mark_uses(FLAT, NO_TURN, 900.0)[0] == pytest.approx([0.5] * 6)
    assert bent.mark_uses(FLAT, NO_TURN, 900.0)[0] == pytest.approx([1.0] * 6)
    assert planned(six_pads()).mark_uses(FLAT, NO_TURN, 900.0)[0] == pytest.approx([0.0] * 6)


def test_circuit_lost_leaves_the_others_their_own_suction_and_marks() -> None:
    whole = planned(six_pads())
    own = replace(whole, suction_n=np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0]), mark_n=10.0 * np.arange(1.0, 7.0))
    left = own.without("B")
    assert left is not None
    kept = [circuit == "A" for circuit in whole.layout.circuits]
    assert left.suction_n.tolist() == own.suction_n[kept].tolist()
    assert left.mark_n.tolist() == own.mark_n[kept].tolist()


def test_pad_comes_off_by_its_pull_and_slides_by_friction() -> None:
    """Each of six pads of 0.115 m² takes a sixth: flat 1000 N of pull; upright 1000 N along, 2000 N by friction 0.5."""
    plan = planned(six_pads(), centre=Centre())
    for tilt, asked_n in ((FLAT, 1000.0), (UPRIGHT, 2000.0)):
        assert plan.slip_asked_pa(tilt, NO_TURN, 6000.0)[0] == pytest.approx([asked_n / AREA_M2] * 6)
        assert plan.slips(tilt, NO_TURN, 6000.0)[0] == pytest.approx([asked_n / (AREA_M2 * 52_000.0)] * 6)
    blown = planned(six_pads(), Wind(away_n=600.0), Centre())
    assert blown.slip_asked_pa(UPRIGHT, NO_TURN, 6000.0)[0] == pytest.approx([2100.0 / AREA_M2] * 6)


@pytest.mark.parametrize(("weight_n", "pull_n"), [(0.0, 100.0), (1.0, np.inf)])
def test_weightless_panel_asks_for_the_wind_alone_where_no_weight_could_be_balanced(
    weight_n: float, pull_n: float
) -> None:
    plan = planned(six_pads(), Wind(away_n=600.0), Centre(x_mm=5000.0))
    assert plan.shares_n(FLAT, NO_TURN, weight_n)[0][0, 0] == pytest.approx(pull_n)


@pytest.mark.parametrize(("basis", "asked_n"), [(Basis.ASME_BTH_1, 4.0 * 1000.0), (Basis.EN_13155, 2.0 * 2000.0)])
def test_basis_asks_for_so_much_vacuum_upright(basis: Basis, asked_n: float) -> None:
    """BTH-1: four times the share; EN 13155: twice the share over the friction of 0.5."""
    plan = planned(six_pads(basis=basis), centre=Centre())
    assert plan.suction_asked_pa(UPRIGHT, NO_TURN, 6000.0)[0] == pytest.approx([asked_n / AREA_M2] * 6)
