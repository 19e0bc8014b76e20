"""Plans judged: numbers against the live path and the published examples, verdicts with their reasons, bad input."""

import json
import math
from dataclasses import replace
from string import Formatter

import pytest

from monitor.core.config import Basis, LifterConfig, PadConfig, Surface
from monitor.core.holding import Centre, Move, hold, prepare
from monitor.core.panel import Panel, read_makeup, rectangle
from monitor.core.plan import PlanResult, Verdict, judge_plan, numbers
from monitor.core.plan_input import PlanError, PlanInput
from monitor.core.plan_says import seal_test_needs_s
from monitor.words.plan_en import PLAN_WORDS
from monitor.words.say import say
from tests.unit.core.test_holding import UPRIGHT, G, lifter, six_pads

PANE = Panel(rectangle(2.5, 1.5), layers=read_makeup("glass 8 + pvb 1.52 + glass 8"))


def stated(weight_kg: float, **said: object) -> PlanInput:
    """A plan of which only the weight is known."""
    return PlanInput(Panel(weight_kg=weight_kg), **said)  # type: ignore[arg-type]


def keys(result: PlanResult) -> set[str]:
    return {text.key.removeprefix("plan.") for text in (*result.reasons, *result.notes)}


def outside(result: PlanResult) -> list[str]:
    return [text.key.removeprefix("plan.") for text in result.reasons[:-1]]


def faults_of(config: LifterConfig, plan: PlanInput) -> list[str]:
    with pytest.raises(PlanError) as caught:
        judge_plan(config, plan)
    return [fault.field for fault in caught.value.faults]


# Numbers.


def test_worked_example() -> None:
    result = judge_plan(six_pads(wll_kg=900.0), stated(624.0, move=UPRIGHT))
    assert result.rated_kg == 900.0
    assert result.governs == "plate"
    assert result.margin_kg == pytest.approx(276.0)
    assert result.use_ratio == pytest.approx(624.0 / 900.0)
    assert result.verdict is Verdict.WITHIN
    assert result.reasons[-1].key == "plan.governs_plate"


@pytest.mark.parametrize("basis", list(Basis))
@pytest.mark.parametrize("move", [Move(), UPRIGHT, Move(0.0, 30.0, 0.0, 0.0)])
@pytest.mark.parametrize("centre", [Centre(), Centre(150.0, 40.0, 30.0)])
def test_still_air_gives_the_live_figures(basis: Basis, move: Move, centre: Centre) -> None:
    config = six_pads(basis=basis, two_circuit_rule=True)
    where = {"cg_x_mm": centre.x_mm, "cg_y_mm": centre.y_mm, "cg_depth_mm": centre.depth_mm}
    result = judge_plan(config, stated(500.0, move=move, **where))
    model = prepare(config, move=move, centre=centre)
    assert model is not None
    live = hold(model, judged_kpa={"A": 52.0, "B": 52.0}, now_kpa={}, load_kg=500.0)
    assert result.rated_kg == pytest.approx(live.rated_kg, rel=1e-6)
    assert result.governs == live.governs
    assert result.at_tilt_deg == pytest.approx(live.at_tilt_deg, abs=1e-3)
    assert live.worst_pad is not None
    assert result.worst_pad.use_ratio == pytest.approx(live.worst_pad.use_ratio, rel=1e-6)
    assert live.needed_kpa is not None
    for circuit in "AB":
        assert result.needed_kpa[circuit] == pytest.approx(live.needed_kpa[circuit], rel=1e-6)
        assert result.if_lost[circuit].factor == pytest.approx(live.if_lost[circuit].factor, rel=1e-6)
        assert result.if_lost[circuit].needed_factor == 2.0


def test_weight_comes_from_the_makeup() -> None:
    result = judge_plan(six_pads(), PlanInput(PANE))
    assert result.weight_kg == pytest.approx(156.10, abs=5e-3)
    assert result.centre.depth_mm == pytest.approx(8.76)


def test_pads_at_the_governing_tilt() -> None:
    """4 x 2 grid at x = +-0.3, +-0.9, y = +-0.5 m, 600 kg at (0.15, 0.10) m: 367.7 to 1103.2 N, most over mean 1.5."""
    pads = [PadConfig(f"A{x}{y}", "A", x, y, 1150.0) for x in (-900, -300, 300, 900) for y in (-500, 500)]
    plan = stated(600.0, cg_x_mm=150.0, cg_y_mm=100.0, move=Move(0.0, 0.0))
    result = judge_plan(lifter(pads), plan)
    pulls = [pad.normal_n for pad in result.pads]
    assert min(pulls) == pytest.approx(367.7, abs=0.05)
    assert max(pulls) == pytest.approx(1103.2, abs=0.05)
    assert sum(pulls) == pytest.approx(600.0 * G)
    assert result.worst_pad.id == "A900500"
    assert result.pads[-1].use_ratio == pytest.approx(2 * 1103.24 / (0.115 * 52_000.0), rel=1e-5)


def test_bolts_in_shear_example_as_pads() -> None:
    """Shigley, example 8-7: 16 kN at 425 mm from four bolts at (+-75, +-60) mm: 20.97 and 14.79 kN."""
    pads = [PadConfig(f"A{x}{y}", "A", x, y, 1150.0) for x in (-75, 75) for y in (-60, 60)]
    plan = stated(16_000.0 / G, cg_x_mm=425.0, move=Move(90.0, 90.0, 0.0, 0.0))
    result = judge_plan(lifter(pads), plan)
    assert sorted(pad.in_plane_n for pad in result.pads) == pytest.approx([14_789, 14_789, 20_973, 20_973], abs=0.5)


def test_best_offset_brings_the_pads_over_the_centre_of_gravity() -> None:
    config = six_pads()
    off = judge_plan(config, stated(500.0, cg_x_mm=200.0, cg_y_mm=-50.0, move=Move(0.0, 0.0)))
    assert off.best_offset[:2] == pytest.approx((200.0, -50.0))
    moved = stated(500.0, cg_x_mm=0.0, cg_y_mm=0.0, move=Move(0.0, 0.0))
    assert off.best_offset.rated_kg == pytest.approx(judge_plan(config, moved).rated_kg)
    assert "move_lifter" in keys(off)
    assert "move_lifter" not in keys(judge_plan(config, moved))


def test_margin_curve_falls_to_the_rated_load() -> None:
    result = judge_plan(six_pads(wll_kg=900.0), PlanInput(PANE))
    tilts = [tilt for tilt, _ in result.margin_curve]
    assert (tilts[0], tilts[-1]) == (0.0, 90.0)
    assert min(kg for _, kg in result.margin_curve) == pytest.approx(result.rated_kg, rel=1e-6)
    assert dict(result.margin_curve)[result.at_tilt_deg] == pytest.approx(result.rated_kg, rel=1e-6)
    assert result.margin_curve[0][1] == 900.0


def test_dynamic_factor_counts_on_the_load_not_on_the_plate() -> None:
    plain = judge_plan(six_pads(), stated(300.0))
    raised = judge_plan(six_pads(dynamic_factor=1.2), stated(300.0))
    assert raised.rated_kg == pytest.approx(plain.rated_kg / 1.2)
    assert raised.weight_kg == 300.0
    assert raised.needed_kpa["A"] == pytest.approx(1.2 * plain.needed_kpa["A"])
    assert judge_plan(six_pads(dynamic_factor=1.2, wll_kg=400.0), stated(300.0)).rated_kg == 400.0


# Air.


def test_thinner_air_reaches_less_vacuum() -> None:
    """ISO 2533: 79.495 kPa at 2000 m, so 62 kPa of working level become 48.64, under the warning level of 52."""
    config = six_pads()
    result = judge_plan(config, stated(300.0, altitude_m=2000.0))
    assert result.judged_kpa["A"] == pytest.approx(62.0 * 79.4952 / 101.325, abs=1e-3)
    assert outside(result) == ["under_warning_level", "under_warning_level"]
    assert result.rated_kg < judge_plan(config, stated(300.0)).rated_kg


def test_site_that_is_high_already_is_not_lowered_twice() -> None:
    config = six_pads(altitude_m=2000.0, ambient_kpa=79.495)
    assert judge_plan(config, stated(300.0)).judged_kpa["A"] == 52.0
    assert judge_plan(config, stated(300.0, altitude_m=2000.0)).judged_kpa["A"] == pytest.approx(52.0)


def test_hoisting_takes_its_share() -> None:
    """0.012 kPa a metre: 62 - 12 = 50 on the way up 1000 m; a vacuum entered loses the same."""
    result = judge_plan(six_pads(), stated(300.0, lift_height_m=1000.0))
    assert result.judged_kpa["A"] == pytest.approx(50.0)
    assert judge_plan(six_pads(), stated(300.0, vacuum_kpa=60.0, lift_height_m=100.0)).judged_kpa["A"] == pytest.approx(
        58.8
    )


def test_vacuum_entered_is_what_counts() -> None:
    low, high = (judge_plan(six_pads(), stated(300.0, vacuum_kpa=level)) for level in (40.0, 60.0))
    assert high.rated_kg == pytest.approx(1.5 * low.rated_kg)
    assert "over_warning_level" in keys(high)
    assert "below_warning_level" in keys(low)


# Surface.


@pytest.mark.parametrize(
    ("changes", "surface", "friction"),
    [
        ({}, None, 0.5),
        ({}, Surface.WET, 0.2),
        ({}, Surface.OILY, 0.1),
        ({"friction": 0.4}, None, 0.4),
        ({"friction": 0.4}, Surface.DRY, 0.4),
        ({"friction": 0.15}, Surface.WET, 0.15),
        ({"surface": Surface.WET, "friction": 0.3}, Surface.WET, 0.3),
        ({"surface": Surface.WET, "friction": 0.3}, Surface.DRY, 0.5),
    ],
)
def test_friction_of_the_surface(changes: dict[str, object], surface: Surface | None, friction: float) -> None:
    assert judge_plan(six_pads(**changes), stated(100.0, surface=surface)).friction == friction


def test_wet_holds_less_than_dry() -> None:
    dry, wet = (judge_plan(six_pads(), stated(300.0, surface=surface)) for surface in (Surface.DRY, Surface.WET))
    # peak of cos + sin/mu is sqrt(1 + 1/mu²)
    assert wet.rated_kg / dry.rated_kg == pytest.approx(math.sqrt(5.0) / math.sqrt(26.0))
    assert wet.governs == "friction"


# Wind.


def test_large_area_limit_is_the_published_one() -> None:
    """EN 13000 example: 2 t, 9 m², cw 1, 10 m/s on the chart: 5.16 m/s."""
    config = six_pads(wind_limit_m_s=10.0, shape_factor=1.0, overhang_limit_mm=5000.0)
    plan = PlanInput(Panel(rectangle(3.0, 3.0), weight_kg=2000.0), wind_m_s=5.2)
    result = judge_plan(config, plan)
    assert result.wind_limit_m_s == pytest.approx(5.164, abs=5e-4)
    assert "wind_over" in outside(result)
    assert "wind_over" not in outside(judge_plan(config, replace(plan, wind_m_s=5.1)))


def test_no_limit_in_the_site_file_no_verdict_on_wind() -> None:
    result = judge_plan(six_pads(), PlanInput(PANE, wind_m_s=20.0))
    assert result.wind_limit_m_s is None
    assert "wind_no_limit" in keys(result)
    assert "wind_over" not in keys(result)


def test_no_size_no_verdict_on_wind() -> None:
    result = judge_plan(six_pads(wind_limit_m_s=9.0), stated(300.0, wind_m_s=5.0))
    assert result.wind_limit_m_s is None
    assert {"wind_no_area", "wind_not_counted"} <= keys(result)


def test_gust_on_the_face_counts_on_the_pads() -> None:
    # 10 m/s: 62.5 Pa * cw 2 * 3.75 m² = 468.75 N away, and on the edge 0.01752 m * sqrt(8.5) m
    config = six_pads(basis=Basis.EN_13155, tilt_allowance_deg=0.0)
    still, windy = (judge_plan(config, PlanInput(PANE, move=Move(0.0, 0.0), wind_m_s=v)) for v in (None, 10.0))
    along_n = 62.5 * 2 * 0.01752 * math.sqrt(8.5)
    assert windy.rated_kg == pytest.approx(still.rated_kg - (468.75 + along_n / 0.5) / G)


def test_mean_wind_is_raised_to_its_gusts() -> None:
    gust = judge_plan(six_pads(), PlanInput(PANE, wind_m_s=14.0))
    mean = judge_plan(six_pads(wind_is_gust=False), PlanInput(PANE, wind_m_s=10.0))
    assert mean.rated_kg == pytest.approx(gust.rated_kg)
    assert "wind_is_mean" in keys(mean)


# Verdicts.


def test_too_heavy_is_outside() -> None:
    result = judge_plan(six_pads(wll_kg=300.0), stated(301.0))
    assert result.verdict is Verdict.OUTSIDE
    assert outside(result) == ["over"]
    assert judge_plan(six_pads(wll_kg=300.0), stated(300.0)).verdict is Verdict.WITHIN


def test_two_circuit_rule_needs_factor_two_each() -> None:
    config = six_pads(basis=Basis.EN_13155, two_circuit_rule=True)
    result = judge_plan(config, stated(700.0, move=UPRIGHT))
    assert result.margin_kg > 0.0
    assert outside(result) == ["lost_too_little", "lost_too_little"]
    assert judge_plan(config, stated(300.0, move=UPRIGHT)).verdict is Verdict.WITHIN


def test_circuits_side_by_side_fall_when_one_is_lost() -> None:
    halves = [
        PadConfig(f"{c}{x}{y}", c, x, y, 1150.0)
        for c, xs in (("A", (-900, -300)), ("B", (300, 900)))
        for x in xs
        for y in (-300, 300)
    ]
    ruled = judge_plan(lifter(halves, two_circuit_rule=True), stated(100.0))
    assert outside(ruled) == ["lost_falls", "lost_falls"]
    told = judge_plan(lifter(halves), stated(100.0))
    assert told.verdict is Verdict.WITHIN
    assert "lost_not_held" in keys(told)


def test_one_circuit_needs_a_second_restraint_on_en() -> None:
    single = {"basis": Basis.EN_13155, "two_circuit_rule": False}
    pads = [PadConfig(f"A{x}{y}", "A", x, y, 1150.0) for x in (-600, 600) for y in (-300, 300)]
    assert outside(judge_plan(lifter(pads, **single), stated(100.0))) == ["one_circuit_unsecured"]
    strapped = judge_plan(lifter(pads, **single, secondary_restraint=True), stated(100.0))
    assert strapped.verdict is Verdict.WITHIN
    assert "one_circuit" in keys(strapped)
    assert "plan.check_restraint" in [text.key for text in strapped.checks]


def test_centre_outside_the_pads_says_how_to_move() -> None:
    result = judge_plan(six_pads(), stated(100.0, cg_x_mm=1000.0))
    assert outside(result) == ["out_of_balance"]
    assert result.reasons[0].values["x_mm"] == 1000
    assert result.rated_kg == 0.0
    assert result.best_offset.rated_kg > 0.0


@pytest.mark.parametrize(
    ("today", "overdue"), [("2027-02-28", False), ("2027-03-01", False), ("2027-03-02", True), ("", False)]
)
def test_examination_overdue(today: str, overdue: bool) -> None:
    result = judge_plan(six_pads(examination_due="2027-03-01"), stated(100.0, today=today))
    assert (outside(result) == ["examination_overdue"]) is overdue


def test_plate_that_the_warning_level_does_not_carry_is_said() -> None:
    assert "plate_not_carried" in keys(judge_plan(six_pads(wll_kg=900.0), stated(100.0)))
    assert "plate_not_carried" not in keys(judge_plan(six_pads(wll_kg=900.0), stated(100.0, move=UPRIGHT)))


def test_overhang_is_said_and_factored() -> None:
    long = PlanInput(Panel(rectangle(3.6, 1.5), weight_kg=300.0), move=UPRIGHT)
    result = judge_plan(six_pads(thin_panel_factor=1.5), long)
    assert result.overhang_mm == pytest.approx(math.hypot(900.0, 450.0))
    assert "overhang" in keys(result)
    assert result.worst_pad.use_ratio == pytest.approx(1.5 * judge_plan(six_pads(), long).worst_pad.use_ratio)
    assert "overhang" not in keys(judge_plan(six_pads(thin_panel_factor=1.5, overhang_limit_mm=1007.0), long))


@pytest.mark.parametrize(
    ("makeup", "said"),
    [
        ("glass 6 + gap 16 + glass 6", "holds_outer_pane"),
        ("aluminium composite 4", "holds_skin"),
        ("steel 3", "holds_skin"),
        ("granite 30", "porous"),
    ],
)
def test_what_the_pads_really_hold(makeup: str, said: str) -> None:
    assert said in keys(judge_plan(six_pads(), PlanInput(Panel(rectangle(2.5, 1.5), layers=read_makeup(makeup)))))


def test_what_is_entered_besides() -> None:
    result = judge_plan(six_pads(), replace(PlanInput(PANE), coated=True, porous=True, in_tandem=True, share_ratio=0.6))
    assert {"holds_coating", "porous", "tandem"} <= keys(result)
    assert result.weight_kg == pytest.approx(0.6 * 156.099, abs=1e-3)
    assert "plan.check_tandem" in [text.key for text in result.checks]


def test_stated_weight_that_does_not_fit_the_makeup_is_said() -> None:
    assert "weight_differs" in keys(judge_plan(six_pads(), PlanInput(replace(PANE, weight_kg=145.0))))
    assert "weight_differs" not in keys(judge_plan(six_pads(), PlanInput(replace(PANE, weight_kg=150.0))))


def test_pads_near_an_edge_are_named() -> None:
    close = judge_plan(six_pads(), PlanInput(Panel(rectangle(2.0, 1.5), weight_kg=100.0)))
    near = [text for text in close.notes if text.key == "plan.pad_near_edge"]
    assert near[0].values["pads"] == "A1, A2, B2, B3"


def test_circuit_without_a_pad_in_use_is_named() -> None:
    result = judge_plan(six_pads(), stated(100.0, pads=("A1", "A2", "A3")))
    assert {"circuit_not_used", "one_circuit"} <= keys(result)
    assert list(result.if_lost) == ["A"]
    assert result.if_lost["A"].factor == 0.0


def test_trial_lift_and_seal_test_are_on_the_list() -> None:
    checks = {text.key: text for text in judge_plan(six_pads(), stated(100.0)).checks}
    assert "plan.check_trial_lift" in checks
    assert checks["plan.check_seal"].values == {"test_s": 60.0, "reserve_s": 480.0}
    assert seal_test_needs_s(six_pads(time_to_land_s=100.0)) == 300.0


# Bad input: all of it at once, with the field named.


def test_every_fault_at_once() -> None:
    config = replace(six_pads(), wll_kg=-5.0)
    plan = PlanInput(
        Panel(rectangle(1.0, 0.0), weight_kg=-1.0),
        pads=("A1", "A1", "Z9"),
        move=Move(100.0, 40.0, -400.0, 0.0),
        vacuum_kpa=200.0,
        altitude_m=9000.0,
        wind_m_s=-1.0,
        share_ratio=0.5,
    )
    assert faults_of(config, plan) == [
        "outline",
        "weight",
        "vacuum_kpa",
        "altitude_m",
        "wind_m_s",
        "rotation_deg",
        "tilt_deg",
        "share_ratio",
        "wll_kg",
        "vacuum_kpa",
        "pads",
        "pads",
    ]


@pytest.mark.parametrize(
    ("plan", "field", "found"),
    [
        (PlanInput(Panel(rectangle(1.0, 1.0), weight_kg=50.0)), "pad A1", "at -900, 300 mm, outside the panel"),
        (
            PlanInput(Panel(rectangle(3.0, 1.5), (rectangle(0.4, 0.4, (0.0, 0.3)),), weight_kg=50.0)),
            "pad B1",
            "over a cut-out",
        ),
        (stated(50.0, pads=()), "pads", "an empty list"),
        (stated(50.0, cg_depth_mm=-1.0), "cg_depth_mm", "-1"),
        (stated(math.nan), "weight", "nan"),
        (stated(50.0, lift_height_m=math.inf), "lift_height_m", "inf"),
        (stated(50.0, vacuum_kpa=103.0), "vacuum_kpa", "103"),
        (PlanInput(Panel()), "weight", "not given"),
    ],
)
def test_fault_names_field_and_what_was_found(plan: PlanInput, field: str, found: str) -> None:
    with pytest.raises(PlanError) as caught:
        judge_plan(six_pads(), plan)
    fault = caught.value.faults[0]
    assert fault.field == field
    assert found in fault.found
    assert fault.allowed
    assert str(caught.value).startswith(f"{field} is ")


def test_lifter_without_pads_or_a_circuit_without_pads() -> None:
    assert faults_of(lifter([]), stated(50.0)) == ["lifter dock-6, pads"]
    config = six_pads()
    bare = replace(config, pads={name: pad for name, pad in config.pads.items() if pad.circuit == "A"})
    assert faults_of(bare, stated(50.0)) == ["circuit B"]


def test_moving_the_lifter_is_not_suggested_off_the_panel() -> None:
    """Pads reach 900 mm to each side: on a pane of 2.4 m the lifter may move 300 mm, not 400."""
    pane = PlanInput(Panel(rectangle(2.4, 1.5), weight_kg=100.0), cg_x_mm=300.0)
    assert "move_lifter" in keys(judge_plan(six_pads(), pane))
    assert "move_lifter" not in keys(judge_plan(six_pads(), replace(pane, cg_x_mm=400.0)))
    assert outside(judge_plan(six_pads(), replace(pane, cg_x_mm=1000.0))) == ["cannot_balance"]


def test_centre_of_gravity_off_the_middle_of_the_outline_is_told() -> None:
    assert "off_middle" in keys(judge_plan(six_pads(), PlanInput(PANE, cg_x_mm=2.0)))
    assert "off_middle" not in keys(judge_plan(six_pads(), PlanInput(PANE)))
    beside = Panel(rectangle(2.5, 1.5, (0.1, 0.0)), layers=PANE.layers)
    assert "off_middle" not in keys(judge_plan(six_pads(), PlanInput(beside)))


def test_tandem_of_the_site_file_and_of_the_plan_are_compared() -> None:
    both = stated(100.0, in_tandem=True, share_ratio=0.5, partners=("dock-7",))
    assert not {"tandem_not_set_up", "tandem_whole"} & keys(judge_plan(six_pads(), both))
    assert "tandem_not_set_up" in keys(judge_plan(six_pads(), replace(both, partners=())))
    assert "tandem_whole" in keys(judge_plan(six_pads(), replace(both, in_tandem=False, share_ratio=1.0)))


def test_source_of_the_friction_is_named() -> None:
    tested = six_pads(friction=0.6, friction_source="pull test of 3 March")
    assert "friction_own" in keys(judge_plan(tested, stated(100.0)))
    assert "friction_listed" in keys(judge_plan(tested, stated(100.0, surface=Surface.WET)))
    assert "friction_listed" in keys(judge_plan(six_pads(), stated(100.0)))


def test_each_circuit_tells_what_is_needed_of_it_and_what_is_left_without_it() -> None:
    result = judge_plan(six_pads(), stated(300.0))
    told = {text.values["circuit"]: text.values for text in result.circuits}
    assert told["A"]["needed_at_most_kpa"] == result.needed_kpa["A"]
    assert told["B"]["factor_at_least_ratio"] == result.if_lost["B"].factor
    cannot = judge_plan(six_pads(), stated(300.0, cg_x_mm=1000.0))
    assert {text.key for text in cannot.circuits} == {"plan.circuit_cannot"}


def test_words_round_to_the_cautious_side() -> None:
    """818.12 kg are carried: a panel of 818.4 is over it in words too, and 1.996 is not told as 2.00."""
    over = judge_plan(six_pads(), stated(818.4))
    assert say(over.reasons[0]) == "The panel weighs 819 kg; these figures allow 818 kg."
    ruled = six_pads(basis=Basis.EN_13155, two_circuit_rule=True, tilt_allowance_deg=0.0)
    kg = judge_plan(ruled, stated(100.0, move=UPRIGHT)).if_lost["A"].factor * 100.0 / 1.996
    short = judge_plan(ruled, stated(kg, move=UPRIGHT))
    assert "hold 1.99 times the panel; 2.00 times is needed" in say(short.reasons[0])


# What comes out.


def test_numbers_are_json_and_never_infinite() -> None:
    for centre_mm in (0.0, 1000.0):
        told = numbers(judge_plan(six_pads(), stated(100.0, cg_x_mm=centre_mm)))
        text = json.dumps(told, allow_nan=False)
        assert json.loads(text)["verdict"] in {"within_limits", "outside_limits"}
    assert told["use_ratio"] is None
    promised = "weight_kg rated_kg governs margin_kg use_ratio worst_pad pads if_lost needed_kpa wind_limit_m_s verdict reasons"
    assert set(promised.split()) <= told.keys()


def every_result() -> list[PlanResult]:
    """Plans that between them say everything there is to say."""
    halves = [
        PadConfig(f"{c}{x}{y}", c, x, y, 1150.0)
        for c, xs in (("A", (-900, -300)), ("B", (300, 900)))
        for x in xs
        for y in (-300, 300)
    ]
    row = [PadConfig(f"A{x}", "A", x, 0, 1150.0) for x in (-600, 600)]
    windy = six_pads(
        wind_limit_m_s=9.0, wind_is_gust=False, dynamic_factor=1.1, secondary_restraint=True, thin_panel_factor=1.2
    )
    due = six_pads(examination_due="2020-01-01", wll_kg=300.0)
    insulating = Panel(rectangle(4.0, 1.5), layers=read_makeup("granite 20 + gap 10 + glass 6"))
    return [
        judge_plan(windy, PlanInput(PANE, wind_m_s=20.0, altitude_m=3000.0, lift_height_m=50.0, vacuum_kpa=60.0)),
        judge_plan(windy, PlanInput(insulating, coated=True, vacuum_kpa=40.0)),
        judge_plan(windy, PlanInput(Panel(rectangle(1.9, 1.5), layers=read_makeup("steel 3")))),
        judge_plan(windy, PlanInput(replace(PANE, weight_kg=100.0))),
        judge_plan(windy, stated(100.0, wind_m_s=3.0, in_tandem=True, share_ratio=0.5)),
        judge_plan(due, stated(400.0, today="2027-01-01", pads=("A1", "A2", "A3"))),
        judge_plan(six_pads(), stated(100.0, cg_x_mm=1000.0)),
        judge_plan(six_pads(), PlanInput(Panel(rectangle(2.5, 1.5), weight_kg=100.0), cg_x_mm=1000.0, wind_m_s=3.0)),
        judge_plan(six_pads(), stated(100.0, cg_x_mm=300.0, partners=("dock-7",))),
        judge_plan(six_pads(friction=0.6, friction_source="pull test of 3 March"), stated(100.0, move=UPRIGHT)),
        judge_plan(lifter(halves, two_circuit_rule=True), stated(100.0)),
        judge_plan(lifter(halves), stated(100.0)),
        judge_plan(lifter(row, basis=Basis.EN_13155), stated(100.0)),
        judge_plan(six_pads(basis=Basis.EN_13155, two_circuit_rule=True), stated(700.0, move=UPRIGHT)),
    ]


def test_every_message_has_its_words_and_every_word_its_message() -> None:
    said = {}
    for result in every_result():
        for text in (*result.reasons, *result.circuits, *result.notes, *result.checks):
            names = {name for _, name, _, _ in Formatter().parse(PLAN_WORDS[text.key]) if name}
            assert names <= text.values.keys(), text.key
            said[text.key] = text
    assert PLAN_WORDS.keys() - said.keys() == {"plan.summary", *(f"plan.{verdict}" for verdict in Verdict)}


def test_no_words_promise_safety() -> None:
    for words in PLAN_WORDS.values():
        assert "safe" not in words.lower()
        assert "ok" not in words.lower().split()
