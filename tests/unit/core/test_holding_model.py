"""What is kept of a move once it is worked out, and answers at the ends: no pads, small loads, nothing asked."""

import math

import pytest

from monitor.core import holding
from monitor.core.asked import Asked
from monitor.core.carrying import Wind
from monitor.core.config import Basis
from monitor.core.holding import HoldingModel, Move, hold, prepare
from tests.unit.core.test_holding import FLAT, HANGING, G, held, six_pads

PAD_N = 0.115 * 52_000.0


def prepared(**changes: object) -> HoldingModel:
    model = prepare(six_pads(), **{"move": Move(0.0, 0.0, 0.0, 0.0), **changes})  # type: ignore[arg-type]
    assert model is not None
    return model


def test_friction_is_checked_over_the_tilts_intended_and_the_basis_of_en_13155_six_degrees_beyond() -> None:
    model = prepare(six_pads(basis=Basis.EN_13155), move=FLAT)
    assert model is not None
    assert model.total_friction.tilt_deg == 0.0
    assert abs(model.total_basis.tilt_deg) == 6.0


def test_wind_is_asked_beside_the_weight_and_still_air_asks_for_the_weight_alone() -> None:
    """BTH-1 lying flat: 2 (W + 1000 N)."""
    still, windy = prepared(), prepared(wind=Wind(away_n=1000.0), planned_kg=100.0)
    assert (still.total_basis.per_n, still.total_basis.blown, still.total_basis.planned_n) == (
        pytest.approx(2.0), 0.0, 0.0
    )  # fmt: skip
    assert (windy.total_basis.per_n, windy.total_basis.blown) == (pytest.approx(2.0), pytest.approx(2000.0))
    assert windy.total_basis.planned_n == pytest.approx(100.0 * G)
    assert windy.pads[0][1].per_n == pytest.approx(still.pads[0][1].per_n)


def test_circuit_without_a_pad_in_use_limits_nothing_and_needs_nothing() -> None:
    model = prepared(pads=("A1", "A2", "A3"))
    answer = hold(model, judged_kpa={"A": 52.0}, now_kpa={"A": 52.0}, load_kg=500.0)
    assert answer.worst_pad is not None
    assert answer.worst_pad.id in {"A1", "A2", "A3"}
    assert answer.worst_pad.use_ratio == pytest.approx(2 * 250.0 * G / PAD_N)  # half of it on the lower one
    assert answer.needed_kpa is not None
    assert answer.needed_kpa["B"] == 0.0
    assert answer.if_lost["A"].factor == 0.0
    assert answer.if_lost["B"].factor == pytest.approx(PAD_N / (250.0 * G))


def test_small_load_has_its_ratio_and_factors() -> None:
    answer = held(six_pads(), HANGING, load_kg=0.001)
    assert answer.margin_ratio == pytest.approx(answer.rated_kg / 0.001 - 1.0)
    assert answer.if_lost["A"].factor == pytest.approx(PAD_N / (0.001 * G / 3 / 0.5))


@pytest.mark.parametrize(
    ("per_n", "factor"),
    [((0.0, 0.0), math.inf), ((0.0, 0.005), 104_000.0), ((520.0, 5.2), 1.0), ((math.inf, 0.0), 0.0)],
)
def test_load_may_grow_until_the_first_circuit_left_is_used_up(per_n: tuple[float, float], factor: float) -> None:
    """100 N against 52 kPa on each; where nothing is asked of any, without an end."""
    asks = tuple(Asked(one, 0.0) for one in per_n)
    assert holding._factor([52_000.0, 52_000.0], asks, 100.0) == pytest.approx(factor)
