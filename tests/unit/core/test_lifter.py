"""One lifter's memory and the facts made from it: what is assumed, remembered, and never forgotten too soon."""

from dataclasses import replace

import pytest

from monitor.core import lifter
from monitor.core.config import SURFACE_FRICTION, LoadMeasures, Surface
from monitor.core.holding import Move
from monitor.core.panel import Panel
from monitor.core.plan import judge_plan
from monitor.core.plan_input import PlanInput
from tests.histories import NO_CELL, STILL, Watch, carry, carrying, dock

SEALED = {"A": "64x1", "B": "64x1"}


# --- silence of a whole lifter


def test_lifter_is_judged_by_its_slowest_circuit() -> None:
    watch = Watch(dock(expected_interval_s=2.0))
    watch.play(rate_hz=0.5, **dict.fromkeys("AB", "64x5"))
    assert lifter.stale_after_s(watch.state.lifters["dock-6"]) == 7.0


def test_slow_lifter_says_so_and_adds_its_age_to_the_time_to_land() -> None:
    watch = Watch(dock(expected_interval_s=5.0))
    watch.play(rate_hz=0.2, **dict.fromkeys("AB", "64x5"))
    given = watch.status.facts
    assert given.slow
    assert given.landing_s == 240.0 + 17.5
    assert given.time_to_land_s == 240.0


# --- what is assumed


MEASURED = {"tilt_deg": "90x1", "ambient_kpa": "101x1", "rotation_deg": "0x1", "temperature_c": "14x1"}
PUMPS = {"A_pump": "offx1", "B_pump": "offx1"}


def test_what_was_assumed_is_said() -> None:
    watch = Watch()
    watch.play(**SEALED)
    assert watch.status.assumed == ("tilt", "rotation", "ambient", "height", "temperature", "pump")
    watch.play(**SEALED, **MEASURED, **PUMPS)
    assert watch.status.assumed == ()


def test_an_ambient_pressure_that_drifts_while_the_circuits_stand_still_is_said_not_to_count() -> None:
    watch = Watch()
    drifting = MEASURED | {"ambient_kpa": "101x300 101>99x600"}
    watch.play(**SEALED, **drifting, **PUMPS, noise_kpa=0.1)
    assert watch.status.assumed == ("climb",)


@pytest.mark.parametrize(
    ("missing", "assumed"),
    [
        ("tilt_deg", ("tilt",)),
        ("rotation_deg", ("rotation",)),
        ("ambient_kpa", ("ambient", "height")),
        ("temperature_c", ("temperature",)),
        ("A_pump", ("pump",)),
        ("height_m", ()),  # the ambient pressure tells the hoist
    ],
)
def test_each_missing_input_is_said_by_itself(missing: str, assumed: tuple[str, ...]) -> None:
    watch = Watch()
    watch.play(**SEALED, **{name: word for name, word in {**MEASURED, **PUMPS}.items() if name != missing})
    assert watch.status.assumed == assumed


@pytest.mark.parametrize(("ambient_kpa", "assumed"), [(None, ("ambient",)), (101.0, ())])
def test_circuit_whose_vacuum_is_taken_from_an_assumed_ambient_says_so(
    ambient_kpa: float | None, assumed: tuple[str, ...]
) -> None:
    """The height tells the hoist, so the leak assumes nothing; the vacuum of an absolute gauge does."""
    watch = Watch()
    told = {} if ambient_kpa is None else {"ambient_kpa": ambient_kpa}
    for number in range(20):
        parts = {name: {"pressure_abs_kpa": 40.0 + 0.1 * (number % 2), "pump": "off"} for name in "AB"}
        watch.until(watch.now_s + 0.5)
        watch.seq += 1
        base = {"time": watch.now_s, "seq": watch.seq, "boot": "a", "height_m": 5.0, "load_kg": 0.0}
        watch.send({**base, **told, "circuits": parts})
    assert watch.status.facts.circuits["A"].assumed == assumed


def test_height_stands_in_for_the_ambient_and_ground_ambient_is_none() -> None:
    watch = Watch(dock(ambient_at="ground"))
    watch.play(**SEALED, **MEASURED, **PUMPS, height_m="20x1")
    assert watch.status.assumed == ("ambient",)


def test_planned_load_is_assumed_without_a_load_cell() -> None:
    watch = Watch(dock(**NO_CELL))
    watch.play(**SEALED, **MEASURED, **PUMPS)
    assert watch.status.assumed == ("load",)


def test_every_assumption_has_its_words() -> None:
    watch = Watch(dock(**NO_CELL))
    watch.play(**SEALED)
    words = watch.said["assumed_words"]
    assert isinstance(words, list)
    assert len(words) == len(watch.status.assumed) == 7
    assert all(str(line).endswith(".") for line in words)


# --- friction


def test_friction_of_each_surface_is_the_published_one() -> None:
    # Trade press, "How do you size a vacuum cup?" (2016): oily 0.1, moist or wet 0.2 to 0.4, glass and stone 0.5.
    assert SURFACE_FRICTION == {Surface.DRY: 0.5, Surface.WET: 0.2, Surface.OILY: 0.1}


# --- the margin does not heal, nor look splendid


def test_partial_landing_never_heals_the_margin() -> None:
    watch = carrying()
    before = watch.status.facts.holding
    carry(watch, load_kg="600>200x20 200x60")
    after = watch.status.facts.holding
    assert before is not None
    assert after is not None
    assert after.margin_kg == before.margin_kg


def test_panel_flat_before_it_is_turned_up_is_judged_by_the_worst_tilt_to_come() -> None:
    flat, upright = carrying(), carrying()
    carry(flat, tilt_deg="0x30")
    carry(upright, tilt_deg="90x30")
    assert flat.said["holding"] == upright.said["holding"]


def test_panel_turned_past_upright_is_judged_by_that_from_then_on() -> None:
    watch = carrying()
    carry(watch, tilt_deg="90>150x30 150x10 150>90x30 90x10")
    assert watch.state.lifters["dock-6"].tilt_high_deg == 150.0


def test_vacuum_above_the_warning_level_raises_no_rating() -> None:
    full, just = carrying(), carrying()
    carry(full, A="64x60", B="64x60")
    carry(just, A="64>53x60", B="64>53x60")
    assert full.status.facts.holding is not None
    assert just.status.facts.holding is not None
    assert full.status.facts.holding.rated_kg == just.status.facts.holding.rated_kg
    assert full.status.facts.holding.now_kg > just.status.facts.holding.now_kg


def test_vacuum_below_it_lowers_the_rating_even_in_silence() -> None:
    watch = carrying()
    carry(watch, B="64>45x60 45x10")
    low = watch.status.facts.holding
    watch.wait(20.0)
    silent = watch.status.facts.holding
    assert low is not None
    assert silent is not None
    assert silent.rated_kg == low.rated_kg < 780.0


# --- what is known of the load decides whether it may hang


@pytest.mark.parametrize(
    ("history", "in_flight"),
    [("600x1", True), ("600>0x20 0x30", True), ("600>0x20 0x60", False), ("-x60", True), ("600>20x20 20x90", True)],
)
def test_load_is_in_flight_unless_it_is_known_to_be_off(history: str, in_flight: bool) -> None:
    watch = carrying()
    carry(watch, load_kg=history)
    assert watch.status.facts.in_flight is in_flight


def test_lost_load_reading_over_sealed_pads_is_taken_as_on() -> None:
    watch = Watch()
    vacuum = "0x5 0>64x100 64x100"
    watch.play(A=vacuum, B=vacuum, load_kg="0x1", noise_kpa=0.05, **STILL)
    assert (watch.phase, watch.status.facts.in_flight) == ("seal_test", False)
    watch.play(A="64x50", B="64x50", noise_kpa=0.05, **STILL)
    assert (watch.phase, watch.status.facts.in_flight) == ("seal_test", True)


def test_quantity_no_longer_sent_is_not_shown_as_if_it_were() -> None:
    watch = carrying()
    carry(watch, wind_m_s="8x20 -x60", battery_v="25x20 -x60")
    given = watch.status.facts
    assert (given.wind_m_s, given.battery_v) == (None, None)
    assert given.heard["wind_m_s"] == 8.0


def test_circuits_left_out_of_a_message_only_grow_old() -> None:
    watch = carrying()
    carry(watch, A="-x60")
    parts = watch.status.facts.circuits
    assert parts["A"].state.value == "no_reading"
    assert parts["B"].state.value == "holding"


def test_circuit_nobody_configured_is_ignored() -> None:
    watch, other = carrying(), carrying()
    carry(watch, C="5x20", noise_kpa=0.0)
    carry(other, load_kg="600x20", noise_kpa=0.0)
    assert watch.said == other.said


def test_lost_within_two_seconds_is_told() -> None:
    watch = carrying()
    carry(watch, noise_kpa=0.0, B="64x20 54x2")
    assert watch.status.facts.circuits["B"].lost_kpa == 10.0
    carry(watch, noise_kpa=0.0, B="54x25")
    assert watch.status.facts.circuits["B"].lost_kpa == 0.0


def test_load_measured_with_the_lifter_is_told_net() -> None:
    watch = Watch(dock(load_measures=LoadMeasures.WITH_LIFTER, tare_kg=80.0))
    watch.play(**SEALED, load_kg="700x3")
    assert watch.status.facts.load_kg == 620.0


def test_state_of_a_lifter_begins_unknown() -> None:
    state = lifter.begin(replace(dock(), time_to_land_s=300.0))
    assert state.called is None
    assert state.heard_s is None
    assert state.time_to_land_s == 300.0
    assert all(gauge.at_s is None for gauge in state.gauges.values())


# --- what a circuit does just now


@pytest.mark.parametrize(("after_n", "lost_kpa"), [(20, 3.0), (21, 0.0)])
def test_vacuum_lost_counts_for_two_seconds(after_n: int, lost_kpa: float) -> None:
    watch = Watch()
    watch.play(A=f"60x5 57x{after_n}", B="60x1")
    assert watch.status.facts.circuits["A"].lost_kpa == lost_kpa


def test_gain_is_no_loss() -> None:
    watch = Watch()
    watch.play(A="57x5 60x2", B="60x1")
    assert watch.status.facts.circuits["A"].lost_kpa == 0.0


# --- what was planned, and what is read beside it


def rated_kg(tilt_deg: float | None, **plan: object) -> float:
    """What is rated on the ground with such a plan, at such a tilt; no plate governs."""
    watch = Watch(dock(wll_kg=5000.0))
    still = {name: word for name, word in STILL.items() if name != "tilt_deg"}
    assert watch.act("plan", weight_kg=600.0, **plan) == "done.plan"
    tilt = {} if tilt_deg is None else {"tilt_deg": f"{tilt_deg}x3"}
    watch.play(A="64x3", B="64x3", load_kg="0x1", **still, **tilt)
    assert watch.status.facts.holding is not None
    return watch.status.facts.holding.rated_kg


def test_panel_is_judged_by_the_tilts_planned_as_the_plan_judged_them() -> None:
    """A roof pane that stays under 30° is not asked what it would hold upright."""
    flat = {"tilt_low_deg": 0.0, "tilt_high_deg": 30.0}
    config = dock(wll_kg=5000.0)
    plan = PlanInput(Panel(weight_kg=600.0), move=Move(0.0, 30.0))
    assert rated_kg(10.0, **flat) == pytest.approx(judge_plan(config, plan).rated_kg)
    assert rated_kg(10.0, **flat) > rated_kg(10.0)


@pytest.mark.parametrize(("tilt_deg", "judged_anew"), [(30.0, False), (31.0, False), (31.5, True), (80.0, True)])
def test_panel_turned_a_degree_beyond_its_plan_is_judged_by_that_tilt(tilt_deg: float, judged_anew: bool) -> None:
    """Steeper than planned asks more of the pads."""
    flat = {"tilt_low_deg": 0.0, "tilt_high_deg": 30.0}
    assert (rated_kg(tilt_deg, **flat) < rated_kg(10.0, **flat)) is judged_anew


@pytest.mark.parametrize(("tilt_deg", "judged_anew"), [(80.0, False), (79.0, False), (78.5, True)])
def test_panel_laid_a_degree_flatter_than_its_plan_is_judged_by_that_tilt(tilt_deg: float, judged_anew: bool) -> None:
    """On the way from 80° to 63° the friction check asks more."""
    steep = {"tilt_low_deg": 80.0, "tilt_high_deg": 90.0}
    assert (rated_kg(tilt_deg, **steep) < rated_kg(85.0, **steep)) is judged_anew


def test_tilt_that_is_not_measured_is_taken_as_upright_whatever_was_planned() -> None:
    assert rated_kg(None, tilt_low_deg=0.0, tilt_high_deg=30.0) == rated_kg(None, tilt_low_deg=0.0, tilt_high_deg=90.0)


def test_panel_that_swings_about_the_edge_of_its_plan_is_not_worked_out_anew_at_each_turn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made: list[object] = []
    prepare = lifter.holding.prepare

    def counted(*given: object, **named: object) -> object:
        made.append(named["move"])
        return prepare(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(lifter.holding, "prepare", counted)
    watch = Watch()
    assert watch.act("plan", weight_kg=600.0, tilt_low_deg=0.0, tilt_high_deg=30.0) == "done.plan"
    still = {name: word for name, word in STILL.items() if name != "tilt_deg"}
    made.clear()
    watch.play(**SEALED, load_kg="0x1", **still, tilt_deg=" ".join(["30.8x1 31.2x1"] * 20))
    assert made[-1] == Move(0.0, 32.0)
    assert len(made) <= 3  # before any tilt was heard, inside the plan, and beyond it
    watch.play(**SEALED, load_kg="0x1", **still, tilt_deg="31.2>60x40")
    assert len(watch.state.lifters["dock-6"].models) == lifter.MODELS_KEPT_N
