"""The figures of a plan at one tilt and turn, against statics worked out by hand: six pads of 0.115 m² at 52 kPa."""

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.core import plan_rating
from monitor.core.carrying import Carrying
from monitor.core.config import Basis, LifterConfig, Surface
from monitor.core.holding import Centre, IfLost, Move
from monitor.core.pads import Floats
from monitor.core.panel import Panel, rectangle
from monitor.core.plan_input import PlanInput
from monitor.core.plan_rating import Offset, Rating
from tests.unit.core.test_holding import G, six_pads

LEVELS = {"A": 52.0, "B": 52.0}
ALL_N = 6 * 0.115 * 52_000.0  # 35 880 N of suction
FLAT, UPRIGHT = Move(0.0, 0.0, 0.0, 0.0), Move(90.0, 90.0, 0.0, 0.0)
NO_TURN = (0.0, 0.0)
PLAN = PlanInput(Panel(weight_kg=500.0))


def carry(config: LifterConfig | None = None, plan: PlanInput = PLAN, centre: Centre = Centre()) -> Carrying:  # noqa: B008
    return plan_rating.carry(config or six_pads(), plan, centre, LEVELS)


def rated(config: LifterConfig, move: Move, centre: Centre = Centre(), **said: object) -> Rating:  # noqa: B008
    plan = replace(PLAN, move=move, **said)  # type: ignore[arg-type]
    return plan_rating.rate(config, plan, carry(config, plan, centre))


def test_pads_carry_by_their_circuits_vacuum_and_their_marks() -> None:
    config = six_pads(thin_panel_factor=1.5, overhang_limit_mm=100.0)
    config = replace(config, pads=config.pads | {"A2": replace(config.pads["A2"], wll_kg=150.0)})
    plan = PlanInput(Panel(rectangle(2.5, 1.5)), pads=("A1", "A2", "B1"), surface=Surface.WET, wind_m_s=10.0)
    found = plan_rating.carry(config, plan, Centre(10.0, 20.0, 30.0), {"A": 50.0, "B": 40.0})
    assert found.layout.ids == ("A1", "A2", "B1")
    assert found.layout.centre_m == pytest.approx([0.01, 0.02])
    assert found.layout.depth_m == pytest.approx(0.03)
    assert found.suction_n == pytest.approx([5750.0, 5750.0, 4600.0])
    assert found.mark_n == pytest.approx([math.inf, 150.0 * G, math.inf])
    assert (found.basis, found.friction, found.bend_factor) == (Basis.ASME_BTH_1, 0.2, 1.5)
    assert found.wind.away_n == pytest.approx(468.75)


@pytest.mark.parametrize(
    ("changes", "move", "centre", "said", "governs", "kg", "at_tilt_deg"),
    [
        pytest.param({}, FLAT, Centre(), {}, "basis", ALL_N / 2 / G, 0.0, id="flat: all alike, the basis first"),
        pytest.param({}, UPRIGHT, Centre(), {}, "basis", ALL_N / 4 / G, 90.0, id="upright, friction 0.5: all alike"),
        pytest.param({}, UPRIGHT, Centre(), {"surface": Surface.WET}, "friction", ALL_N / 10 / G, 90.0, id="wet: 2/0.2"),
        pytest.param({}, FLAT, Centre(x_mm=90.0), {}, "worst_pad",
                     0.115 * 52_000.0 / 2 / (1 / 6 + 0.09 * 0.9 / 3.24) / G, 0.0, id="off the middle: 1/6 + e x/Σx²"),
        pytest.param({"basis": Basis.EN_13155}, Move(60.0, 60.0, 0.0, 0.0), Centre(), {}, "basis",
                     ALL_N / 2 / math.sqrt(5.0) / G, math.degrees(math.atan(2.0)), id="EN: 6° more to each side"),
        pytest.param({"dynamic_factor": 1.25}, FLAT, Centre(), {}, "basis", ALL_N / 2.5 / G, 0.0, id="on the load"),
        pytest.param({}, Move(0.0, 90.0, 0.0, 0.0), Centre(), {}, "friction",
                     ALL_N / 2 / math.sqrt(5.0) / G, math.degrees(math.atan(2.0)), id="friction's worst on the way"),
    ],
)  # fmt: skip
def test_least_of_all_checks_governs(
    changes: dict[str, object],
    move: Move,
    centre: Centre,
    said: dict[str, object],
    governs: str,
    kg: float,
    at_tilt_deg: float,
) -> None:
    found = rated(six_pads(**changes), move, centre, **said)
    assert found.governs == governs
    assert found.rated_kg == pytest.approx(kg)
    assert found.computed_kg == found.rated_kg
    assert found.at.tilt_deg == pytest.approx(at_tilt_deg, abs=1e-4)


@pytest.mark.parametrize(("more", "governs"), [(0.5, "plate"), (1.0, "plate"), (1.001, "basis")])
def test_plate_governs_up_to_what_is_computed(more: float, governs: str) -> None:
    computed_kg = ALL_N / 2 / G
    found = rated(six_pads(wll_kg=more * computed_kg), FLAT)
    assert found.governs == governs
    assert found.rated_kg == pytest.approx(min(more, 1.0) * computed_kg)
    assert found.computed_kg == pytest.approx(computed_kg)
    assert found.at.tilt_deg == 0.0


def test_pad_that_is_used_most_is_named_with_its_turn() -> None:
    """Upright and turned by up to 90°; its depth pulls most at the one upper pad of a turned panel."""
    found = rated(six_pads(), Move(90.0, 90.0, 0.0, 90.0), Centre(x_mm=200.0, y_mm=50.0, depth_mm=80.0))
    assert found.governs == "worst_pad"
    by_turn = {}
    for turn_deg in np.arange(0.0, 90.5, 0.5):
        one = rated(six_pads(), Move(90.0, 90.0, turn_deg, turn_deg), Centre(x_mm=200.0, y_mm=50.0, depth_mm=80.0))
        by_turn[turn_deg] = one
    least = min(by_turn, key=lambda turn_deg: by_turn[turn_deg].rated_kg)
    assert found.pad == by_turn[least].pad == "A2"
    assert found.at.rotation_deg == pytest.approx(least, abs=0.5)
    assert found.rated_kg == pytest.approx(by_turn[least].rated_kg, rel=1e-3)


def test_check_that_asks_nothing_limits_nothing() -> None:
    assert plan_rating._rated_kg(six_pads(), 0.0) == math.inf
    assert plan_rating._rated_kg(six_pads(dynamic_factor=2.0), 1.0 / (100.0 * G)) == pytest.approx(50.0)


def test_pads_that_cannot_balance_the_load_are_rated_nothing() -> None:
    found = rated(six_pads(), FLAT, Centre(x_mm=1000.0))
    assert (found.governs, found.rated_kg, found.computed_kg) == ("worst_pad", 0.0, 0.0)


def test_each_pad_is_told_with_what_it_gets() -> None:
    rows = plan_rating.pad_uses(carry(), 6000.0, 90.0, 0.0)
    assert [(row.id, row.circuit) for row in rows] == [(pad, pad[0]) for pad in ("A1", "B1", "A2", "B2", "A3", "B3")]
    assert [row.normal_n for row in rows] == pytest.approx([0.0] * 6, abs=1e-6)
    assert [row.in_plane_n for row in rows] == pytest.approx([1000.0] * 6)
    assert [row.use_ratio for row in rows] == pytest.approx([4000.0 / 5980.0] * 6)
    off = plan_rating.pad_uses(carry(centre=Centre(x_mm=90.0)), 6000.0, 0.0, 0.0)
    assert [row.normal_n for row in off] == pytest.approx([850.0, 1000.0, 1150.0, 1150.0, 1000.0, 850.0])
    assert [row.in_plane_n for row in off] == [0.0] * 6


@pytest.mark.parametrize(("ruled", "needed"), [(False, None), (True, 2.0)])
def test_what_is_left_without_a_circuit(ruled: bool, needed: float | None) -> None:
    """Flat without A: B1 above and two below share 1/2, 1/4, 1/4 of 6000 N; each holds 5980 N."""
    config = six_pads(two_circuit_rule=ruled)

    def lost(circuit: str, weight_n: float, plan: PlanInput = PLAN) -> IfLost:
        return plan_rating.if_lost(config, carry(config, plan), circuit, weight_n, [0.0], NO_TURN)

    assert lost("A", 6000.0) == IfLost(pytest.approx(5980.0 / 3000.0), needed)
    assert lost("A", 0.0) == IfLost(math.inf, needed)
    assert lost("A", 6000.0, replace(PLAN, pads=("A1", "A2"))) == IfLost(0.0, needed)


def test_vacuum_needed_of_each_circuit_is_that_of_its_worst_pad() -> None:
    """Flat with factor 2, 6000 N 90 mm off: at most 1150 N on A2 and B2 of 0.115 m²; without A2 1000 N on A's others."""
    centre = Centre(x_mm=90.0)
    found = plan_rating.needed_kpa(carry(centre=centre), LEVELS, 6000.0, [0.0], NO_TURN)
    assert found == pytest.approx({"A": 20.0, "B": 20.0})
    one = plan_rating.needed_kpa(carry(plan=replace(PLAN, pads=("B1", "B2", "B3"))), LEVELS, 5980.0, [0.0], NO_TURN)
    assert one == pytest.approx({"B": 52.0})


@pytest.mark.parametrize(
    ("tilts_deg", "at_deg"),
    [
        ([0.0], [0.0]),
        ([0.0, 3.0], [0.0, 3.0]),
        ([4.0, 0.0], [0.0, 2.0, 4.0]),
        ([30.0, 36.0, 31.0], [30.0, 31.0, 33.0, 36.0]),
    ],
)
def test_curve_has_a_point_each_three_degrees_and_at_each_mark(tilts_deg: list[float], at_deg: list[float]) -> None:
    curve = plan_rating.margin_curve(six_pads(), carry(), tilts_deg, NO_TURN)
    assert [at for at, _ in curve] == pytest.approx(at_deg)


@pytest.mark.parametrize(
    ("changes", "centre", "curve_kg"),
    [
        pytest.param({}, Centre(), [ALL_N / 2 / G, ALL_N / 4 / G], id="basis"),
        pytest.param({"friction": 0.2}, Centre(), [ALL_N / 2 / G, ALL_N / 10 / G], id="friction"),
        pytest.param({"wll_kg": 1000.0}, Centre(), [1000.0, ALL_N / 4 / G], id="plate"),
        pytest.param({"dynamic_factor": 2.0, "wll_kg": 450.0}, Centre(), [450.0, 450.0], id="plate, dynamic factor"),
        pytest.param({"dynamic_factor": 2.0}, Centre(), [ALL_N / 4 / G, ALL_N / 8 / G], id="dynamic factor"),
        pytest.param({}, Centre(x_mm=90.0), [5980.0 / 2 / (1.15 / 6) / G, None], id="a pad off the middle"),
    ],
)
def test_curve_is_the_least_of_all_at_each_tilt(
    changes: dict[str, object], centre: Centre, curve_kg: list[float | None]
) -> None:
    config = six_pads(**changes)
    curve = plan_rating.margin_curve(config, carry(config, centre=centre), [0.0, 90.0], NO_TURN)
    assert curve[0] == (0.0, pytest.approx(curve_kg[0]))
    if curve_kg[1] is not None:
        assert curve[-1] == (90.0, pytest.approx(curve_kg[1]))


@pytest.mark.parametrize(
    ("turns_deg", "judged_deg"),
    [
        ((10.0, 24.0), [10.0, 17.0, 24.0]),
        ((0.0, 7.5), [0.0, 7.5]),
        ((20.0, 28.0), [20.0, 24.0, 28.0]),
        (NO_TURN, [0.0]),
    ],
)
def test_curve_is_the_least_over_the_turns(
    turns_deg: tuple[float, float], judged_deg: list[float], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every 7.5° at most, both ends included; at each tilt by itself."""
    judged: set[float] = set()

    def limits(_self: Carrying, tilt_deg: Floats, turn_deg: Floats) -> Floats:
        judged.update(turn_deg.tolist())
        return (1000.0 + 10.0 * tilt_deg - turn_deg)[:, None]

    monkeypatch.setattr(Carrying, "pad_limits_n", limits)
    curve = plan_rating.margin_curve(six_pads(), carry(), [30.0, 36.0], turns_deg)
    assert sorted(judged) == judged_deg
    assert [kg * G for _, kg in curve] == pytest.approx(
        [1300.0 - turns_deg[1], 1330.0 - turns_deg[1], 1360.0 - turns_deg[1]]
    )


def test_curve_past_upright_asks_for_the_whole_load() -> None:
    """At 120° the design factor is 2 + √3, of all of the weight; each pad only slides, by √3/2 of its share."""
    [(_, kg)] = plan_rating.margin_curve(six_pads(), carry(), [120.0], NO_TURN)
    assert kg == pytest.approx(ALL_N / (2.0 + math.sqrt(3.0)) / G)


def test_best_place_of_some_pads_is_by_their_own_middle() -> None:
    plan = replace(PLAN, pads=("A1", "A2"), move=FLAT)
    held = carry(plan=plan)
    found = plan_rating.best_offset(six_pads(), plan, Centre(), held, LEVELS, plan_rating.rate(six_pads(), plan, held))
    assert (found.x_mm, found.y_mm) == (pytest.approx(0.0), pytest.approx(-300.0))
    assert found.rated_kg == pytest.approx(2 * 5980.0 / 2 / G)


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "panel", "moved"),
    [
        pytest.param(0.6, 0.7, Panel(), (0.0, 0.0), id="less than a millimetre"),
        pytest.param(1.0, 0.0, Panel(), (1.0, 0.0), id="a millimetre"),
        pytest.param(90.0, -50.0, Panel(), (90.0, -50.0), id="over the centre of gravity"),
    ],
)
def test_best_place_is_over_the_centre_of_gravity(
    x_mm: float, y_mm: float, panel: Panel, moved: tuple[float, float]
) -> None:
    config, plan, centre = six_pads(), replace(PLAN, move=FLAT, panel=panel), Centre(x_mm, y_mm, 5.0)
    held = carry(config, plan, centre)
    rating = plan_rating.rate(config, plan, held)
    found = plan_rating.best_offset(config, plan, centre, held, LEVELS, rating)
    rated_kg = ALL_N / 2 / G if any(moved) else rating.rated_kg
    assert found == Offset(pytest.approx(moved[0]), pytest.approx(moved[1]), pytest.approx(rated_kg), True)


@pytest.mark.parametrize(("x_mm", "fits"), [(300.0, True), (400.0, False)])
def test_best_place_is_told_with_whether_the_pads_still_fit(x_mm: float, fits: bool) -> None:
    """Pads reach 900 mm to each side: on a pane of 2.4 m the lifter may move 300 mm."""
    plan = PlanInput(Panel(rectangle(2.4, 1.5), weight_kg=100.0), move=FLAT)
    held = carry(plan=plan, centre=Centre(x_mm))
    rating = plan_rating.rate(six_pads(), plan, held)
    assert plan_rating.best_offset(six_pads(), plan, Centre(x_mm), held, LEVELS, rating).fits is fits
