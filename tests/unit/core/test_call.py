"""The call from phase, states and times: each row on both sides of its limit, and what silence may never do to it."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.call import Call, Called, judge, opens_under_load, with_alarm, with_partner
from monitor.core.facts import CircuitState, Facts
from monitor.core.load import Load, LoadKnown
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.readings import Pump, Valve
from monitor.core.warning_time import Bounds
from monitor.words.say import say
from tests.unit.core.made import NOW_S, TIGHT, circuit, facts, holding, losing

S = CircuitState


def call(given: Facts, before: Called | None = None) -> str:
    """Call and reason, as ``land_now low``."""
    called = judge(given, before)
    return f"{called.call.value} {called.reason.key.removeprefix('reason.')}"


def headline(given: Facts) -> str:
    return judge(given, None).headline.key.removeprefix("headline.")


def ground(*circuits: object, **changes: object) -> Facts:
    changes = {
        "phase": Phase.SEAL_TEST,
        "in_flight": False,
        "load_known": LoadKnown.OFF,
        "load_kg": 0.0,
        "load": Load(),
        "judged_kg": None,
        "holding": holding(None),
        **changes,
    }
    return facts(*circuits, **changes)  # type: ignore[arg-type]


# --- holding, and not lifting


def test_every_circuit_holding_and_fresh_is_holding() -> None:
    assert call(facts()) == "holding holding"


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RELEASED])
def test_nothing_attached_is_not_lifting(phase: Phase) -> None:
    opened = [circuit(name, state=S.OPEN, vacuum_kpa=0.1) for name in "AB"]
    assert call(ground(*opened, phase=phase)) == "not_lifting not_attached"


def test_parked_is_not_lifting() -> None:
    assert call(ground(phase=Phase.PARKED)) == "not_lifting parked"


# --- land now


def test_circuit_at_its_warning_level_is_land_now() -> None:
    assert call(facts(circuit("B", state=S.LOW, vacuum_kpa=52.0))) == "land_now low"


def test_circuit_below_what_the_load_needs_is_land_now() -> None:
    assert call(facts(circuit("B", state=S.CRITICAL, vacuum_kpa=33.9))) == "land_now critical"


@pytest.mark.parametrize("state", [S.OPEN, S.BUILDING])
def test_circuit_without_vacuum_in_flight_is_land_now(state: CircuitState) -> None:
    assert call(facts(circuit("B", state=state))).startswith("land_now")


@pytest.mark.parametrize(
    ("early_s", "told"),
    [
        (239.0, "land_now early_under_landing"),
        (240.0, "land_soon early_under_twice_landing"),
        (479.0, "land_soon early_under_twice_landing"),
        (480.0, "look losing"),
    ],
)
def test_early_bound_against_the_time_to_land(early_s: float, told: str) -> None:
    assert call(facts(losing(early_s=early_s))) == told


def test_soonest_circuit_is_named() -> None:
    called = judge(facts(losing("A", early_s=400.0), losing("B", early_s=300.0)), None)
    assert called.reason.values["circuit"] == "B"
    assert called.reason.values["early_s"] == 300.0


def test_slow_lifter_lands_by_a_longer_time() -> None:
    assert call(facts(losing(early_s=250.0), landing_s=260.0, slow=True)) == "land_now early_under_landing"


def test_likely_time_beyond_the_horizon_is_not_said() -> None:
    assert call(facts(losing(early_s=100.0, likely_s=None))) == "land_now early_under_landing.likely_beyond"


@pytest.mark.parametrize(("margin_kg", "told"), [(0.1, "holding holding"), (0.0, "land_now margin_gone")])
def test_margin_gone_is_land_now(margin_kg: float, told: str) -> None:
    assert call(facts(holding=holding(margin_kg))) == told


def test_exactly_what_the_load_needs_is_not_below_it() -> None:
    assert call(facts(circuit("B", state=S.LOW, vacuum_kpa=34.0, needed_kpa=34.0))) == "land_now low"


@pytest.mark.parametrize(("vacuum_kpa", "told"), [(52.0, "holding holding"), (52.1, "look margin_gone")])
def test_on_the_ground_the_margin_counts_once_every_circuit_is_sealed(vacuum_kpa: float, told: str) -> None:
    given = ground(circuit("B", vacuum_kpa=vacuum_kpa), holding=holding(-5.0), judged_kg=815.0)
    assert call(given) == told


def test_tilt_back_is_for_a_margin_lost_by_tilting_only() -> None:
    assert headline(facts(holding=holding(-5.0))) == "land_now"
    assert headline(facts(circuit("B", state=S.LOW, vacuum_kpa=50.0), tilt_outside_plan=True)) == "land_now"


def test_margin_gone_by_tilting_says_tilt_back() -> None:
    assert headline(facts(holding=holding(-5.0), tilt_outside_plan=True)) == "tilt_back"


@pytest.mark.parametrize(("judged_kg", "told"), [(899.0, "holding holding"), (900.0, "land_now margin_gone")])
def test_without_pads_the_plate_is_the_limit(judged_kg: float, told: str) -> None:
    assert call(facts(holding=None, judged_kg=judged_kg)) == told


def test_without_pads_the_plate_is_named_with_its_figures() -> None:
    reason = judge(facts(holding=None, judged_kg=950.0), None).reason
    assert reason.values == {"governs": "plate", "rated_kg": 900.0, "judged_kg": 950.0}


@pytest.mark.parametrize(("margin_kg", "judged_kg"), [(None, 620.0), (-5.0, None)])
def test_margin_that_is_not_known_is_not_called_gone(margin_kg: float | None, judged_kg: float | None) -> None:
    assert "margin_gone" not in call(facts(holding=holding(margin_kg), judged_kg=judged_kg))


@pytest.mark.parametrize("phase", list(Phase))
def test_lifters_own_alarm_is_land_now_in_every_phase(phase: Phase) -> None:
    flying = phase in {Phase.LIFTING, Phase.CARRYING, Phase.LANDING}
    assert call(facts(phase=phase, in_flight=flying, lifter_alarm=True)) == "land_now lifter_alarm"


def test_load_back_after_the_release_says_stop_hoisting() -> None:
    opened = [circuit(name, state=S.OPEN, vacuum_kpa=0.1) for name in "AB"]
    back = ground(*opened, phase=Phase.RELEASED, released_load_kg=80.0)
    assert (call(back), headline(back)) == ("land_now load_returns", "stop_hoisting_grips")


def test_while_lifting_land_now_says_lower_back() -> None:
    assert headline(facts(circuit("B", state=S.LOW, vacuum_kpa=50.0), phase=Phase.LIFTING)) == "stop_hoisting"


# --- vacuum let out under load


@pytest.mark.parametrize(("lost_kpa", "told"), [(7.9, "holding holding"), (8.0, "land_now release_under_load")])
def test_every_circuit_falling_fast_at_once_is_a_release(lost_kpa: float, told: str) -> None:
    assert call(facts(*[circuit(name, lost_kpa=lost_kpa) for name in "AB"])) == told


def test_one_circuit_falling_fast_is_no_release() -> None:
    assert call(facts(circuit("A", lost_kpa=20.0))) == "holding holding"


def test_lifter_of_one_circuit_that_falls_fast_leaks_and_is_no_release() -> None:
    assert call(facts(circuit("A", lost_kpa=20.0), circuit("B", in_use=False))) == "holding holding"


def test_open_valve_alone_is_no_release() -> None:
    assert call(facts(valve=Valve.OPEN)) == "holding holding"


def test_open_valve_and_falling_vacuum_under_load_is_a_release() -> None:
    assert call(facts(circuit("A", lost_kpa=0.5), valve=Valve.OPEN)) == "land_now release_under_load"


def test_open_valve_with_the_load_off_is_how_a_lift_ends() -> None:
    given = ground(circuit("A", lost_kpa=20.0), circuit("B", lost_kpa=20.0), valve=Valve.OPEN, phase=Phase.LANDING)
    assert call(given) == "holding holding"


@pytest.mark.parametrize("lost", [{"load_lost": True, "load_fresh": False, "load_kg": None}, {}])
@pytest.mark.parametrize("phase", [Phase.LIFTING, Phase.CARRYING, Phase.LANDING])
def test_vacuum_let_out_with_the_load_not_known_to_be_off_is_a_release_too(phase: Phase, lost: dict[str, Any]) -> None:
    falling = [circuit(name, lost_kpa=8.0) for name in "AB"]
    assert call(facts(*falling, phase=phase, load_known=LoadKnown.UNSURE, **lost)) == "land_now release_unsure"


def test_pads_opened_on_the_ground_with_the_load_not_known_are_no_release() -> None:
    falling = [circuit(name, lost_kpa=20.0) for name in "AB"]
    assert call(ground(*falling, load_known=LoadKnown.UNSURE, phase=Phase.SEALING)) == "holding holding"


# --- land soon


@pytest.mark.parametrize(
    ("reserve_s", "told"),
    [
        (Bounds(239.0, 500.0, None), "land_soon reserve_under_landing"),
        (Bounds(240.0, 500.0, None), "look reserve_short"),
        (Bounds(479.0, 900.0, None), "look reserve_short"),
        (Bounds(480.0, 900.0, None), "holding holding"),
        (Bounds(100.0, 959.0, None), "land_soon reserve_under_landing"),
        (Bounds(100.0, 960.0, None), "look reserve_short"),  # likely four times what is asked
        (Bounds(100.0, 5000.0, None), "holding holding"),  # so vague that it says nothing
        (Bounds(100.0, None, None), "holding holding"),
        (None, "holding holding"),
    ],
)
def test_reserve_against_the_time_to_land(reserve_s: Bounds | None, told: str) -> None:
    assert call(facts(circuit("B", reserve=reserve_s))) == told


@pytest.mark.parametrize(
    ("pump", "inferred", "phase", "told"),
    [
        (Pump.ON, None, Phase.SEALING, "holding holding"),
        (None, "on", Phase.SEALING, "holding holding"),
        (Pump.OFF, "cycling", Phase.SEALING, "look reserve_under_landing"),
        (Pump.ON, None, Phase.SEAL_TEST, "look reserve_under_landing"),
    ],
)
def test_reserve_is_not_asked_of_a_circuit_that_its_pump_draws_down_before_the_lift(
    pump: Pump | None, inferred: str | None, phase: Phase, told: str
) -> None:
    leak = replace(TIGHT, pump=inferred)
    drawn = circuit("B", pump=pump, leak=leak, vacuum_kpa=52.2, reserve=Bounds(60.0, 90.0, None))
    assert call(ground(drawn, phase=phase)) == told


def test_reserve_of_a_running_pump_counts_in_the_air() -> None:
    assert (
        call(facts(circuit("B", pump=Pump.ON, reserve=Bounds(60.0, 90.0, None)))) == "land_soon reserve_under_landing"
    )


@pytest.mark.parametrize(("reserve_s", "told"), [(299.0, "look reserve_short"), (300.0, "holding holding")])
def test_reserve_is_wanted_for_five_minutes_at_least(reserve_s: float, told: str) -> None:
    # EN 13155 asks a lifter without power to hold for 5 min (clause from memory).
    given = facts(circuit("B", reserve=Bounds(reserve_s, 900.0, None)), landing_s=60.0)
    assert call(given) == told


@pytest.mark.parametrize(
    ("trouble", "told"),
    [
        ("not_building", "land_soon pump_stopped"),
        ("not_starting", "land_soon pump_stopped"),
        ("not_stopping", "holding holding"),
    ],
)
def test_pump_that_stopped_is_land_soon(trouble: str, told: str) -> None:
    assert call(facts(circuit("B", pump_trouble=trouble))) == told


def test_one_circuit_without_reading_is_land_soon() -> None:
    assert call(facts(circuit("B", state=S.NO_READING, before=S.HOLDING))) == "land_soon no_reading"


@pytest.mark.parametrize(("for_s", "told"), [(2.9, "look sensor_doubt"), (3.0, "land_soon sensor_fault")])
def test_sensor_fault_that_lasts_is_land_soon(for_s: float, told: str) -> None:
    assert call(facts(circuit("B", state=S.SENSOR_FAULT, fault="frozen", fault_for_s=for_s))) == told


@pytest.mark.parametrize(("battery_v", "told"), [(23.0, "holding holding"), (22.9, "land_soon battery_low")])
def test_low_battery_is_land_soon(battery_v: float, told: str) -> None:
    heard = {"battery_v": battery_v, "wind_m_s": None, "tilt_deg": None}
    assert call(facts(config={"battery_low_v": 23.0}, heard=heard)) == told


@pytest.mark.parametrize(("largest_kg", "told"), [(630.0, "holding holding"), (630.1, "land_soon over_plan")])
def test_heavier_than_planned_by_five_percent_is_land_soon(largest_kg: float, told: str) -> None:
    assert call(facts(planned_kg=600.0, load=Load(largest_kg=largest_kg))) == told


def test_small_panel_may_be_off_by_twice_the_cells_accuracy() -> None:
    assert call(facts(planned_kg=100.0, load=Load(largest_kg=110.0))) == "holding holding"
    assert call(facts(planned_kg=100.0, load=Load(largest_kg=110.1))) == "land_soon over_plan"


# --- look


def lighter(
    largest_kg: float, *, grew_s_ago: float = 60.0, planned_kg: float | None = 600.0, **changes: object
) -> Facts:
    """A lift that carries what its load cell reads, so long after that grew last."""
    load = Load(largest_kg=largest_kg, grew_s=NOW_S - grew_s_ago)
    return facts(**{"planned_kg": planned_kg, "load": load, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize(("largest_kg", "told"), [(420.0, "holding holding"), (419.9, "look under_plan")])
def test_lighter_than_planned_by_three_tenths_is_look(largest_kg: float, told: str) -> None:
    assert call(lighter(largest_kg)) == told


@pytest.mark.parametrize(("grew_s_ago", "told"), [(59.9, "holding holding"), (60.0, "look under_plan")])
def test_load_that_came_on_in_part_is_given_a_minute(grew_s_ago: float, told: str) -> None:
    assert call(lighter(200.0, grew_s_ago=grew_s_ago)) == told


@pytest.mark.parametrize(("largest_kg", "told"), [(60.0, "holding holding"), (59.9, "look under_plan")])
def test_small_panel_may_be_lighter_by_twice_the_cells_accuracy(largest_kg: float, told: str) -> None:
    assert call(lighter(largest_kg, planned_kg=100.0, config={"load_accuracy_kg": 20.0})) == told


def test_without_a_plan_or_a_load_nothing_is_lighter_than_planned() -> None:
    assert call(lighter(200.0, planned_kg=None)) == "holding holding"
    assert call(facts(planned_kg=600.0, load=Load())) == "holding holding"


def test_after_landing_nobody_is_told_to_look_at_a_light_panel() -> None:
    assert call(ground(planned_kg=600.0, load=Load(largest_kg=200.0, grew_s=NOW_S - 300.0))) == "holding holding"


@pytest.mark.parametrize(("wind_m_s", "told"), [(8.0, "holding holding"), (8.1, "look wind_near")])
def test_wind_near_its_limit_is_look(wind_m_s: float, told: str) -> None:
    heard = {"battery_v": None, "wind_m_s": wind_m_s, "tilt_deg": None}
    assert call(facts(config={"wind_limit_m_s": 9.0}, heard=heard)) == told


def test_projection_not_known_yet_is_look_in_flight_only() -> None:
    assert call(facts(circuit("B", to_warning=None))) == "look too_early"
    assert call(ground(circuit("B", to_warning=None))) == "holding holding"


def test_lost_load_reading_is_look() -> None:
    assert call(facts(load_lost=True, load_fresh=False)) == "look load_unknown"


def test_without_a_plan_and_a_load_cell_the_call_is_look_at_best() -> None:
    unknown = facts(judged_kg=None, load=Load(), load_fresh=False, load_kg=None, load_known=LoadKnown.UNSURE)
    assert call(unknown) == "look load_unknown"


def test_load_that_is_just_coming_on_is_known_enough() -> None:
    assert call(facts(judged_kg=None, load=Load())) == "holding holding"


def test_look_names_the_circuit() -> None:
    called = judge(facts(losing(early_s=1000.0)), None)
    assert (called.headline.key, called.headline.values["circuit"]) == ("headline.look_at_circuit", "B")


# --- no signal


def test_no_circuit_believed_is_no_signal() -> None:
    silent = [circuit(name, state=S.NO_READING, before=S.HOLDING) for name in "AB"]
    assert call(facts(*silent)) == "no_signal silent"
    assert headline(facts(*silent)) == "no_signal"
    assert headline(ground(*silent)) == "read_the_gauge"


def test_faults_on_every_circuit_are_no_signal() -> None:
    faulty = [circuit(name, state=S.SENSOR_FAULT, fault="frozen", fault_for_s=9.0) for name in "AB"]
    assert call(facts(*faulty)) == "no_signal silent"


# --- on the ground the same troubles read "Do not lift"


@pytest.mark.parametrize(
    "given",
    [
        ground(circuit("B", state=S.LOW, vacuum_kpa=50.0)),
        ground(losing(early_s=100.0)),
        ground(circuit("B", pump_trouble="not_building")),
        ground(circuit("B", state=S.NO_READING)),
        ground(circuit("B", state=S.SENSOR_FAULT, fault="frozen", fault_for_s=5.0)),
        ground(circuit("B", state=S.BUILDING, vacuum_kpa=30.0), phase=Phase.SEALING),
        ground(circuit("B", state=S.OPEN, vacuum_kpa=0.0), phase=Phase.PARKED),
        ground(holding=holding(-5.0), judged_kg=815.0),
    ],
    ids=["low", "losing", "pump", "no_reading", "fault", "building", "open", "margin"],
)
def test_on_the_ground_it_reads_do_not_lift(given: Facts) -> None:
    called = judge(given, None)
    assert (called.call, called.headline.key) == (Call.LOOK, "headline.do_not_lift")


# --- silence never makes it better


LOW = judge(facts(circuit("B", state=S.LOW, vacuum_kpa=50.0)), None)


def test_standing_land_now_is_never_replaced_by_silence() -> None:
    silent = [circuit(name, state=S.NO_READING, vacuum_kpa=64.0) for name in "AB"]
    called = judge(facts(*silent, last_reading_s=NOW_S - 12.0), LOW)
    assert called.call is Call.LAND_NOW
    assert called.reason == Text("reason.standing", {"age_s": 12.0})


def test_standing_land_now_outlives_silence_on_the_ground_too() -> None:
    opened = [circuit(name, state=S.OPEN, vacuum_kpa=0.1) for name in "AB"]
    before = judge(ground(*opened, phase=Phase.RELEASED, released_load_kg=80.0), None)
    silent = [circuit(name, state=S.NO_READING) for name in "AB"]
    assert judge(ground(*silent, phase=Phase.RELEASED), before).call is Call.LAND_NOW


@pytest.mark.parametrize("vacuum_kpa", [52.0, 33.0])
def test_circuit_last_heard_low_has_not_recovered_by_falling_silent(vacuum_kpa: float) -> None:
    assert call(facts(circuit("B", state=S.NO_READING, vacuum_kpa=vacuum_kpa))).startswith("land_now")


@pytest.mark.parametrize(
    "lost", [{"state": S.NO_READING}, {"state": S.SENSOR_FAULT, "fault": "frozen", "fault_for_s": 3.0}]
)
@pytest.mark.parametrize("trouble", [{"before": S.LOSING}, {"before": S.HOLDING, "pump_trouble": "not_building"}])
def test_nothing_believed_of_a_circuit_in_trouble_is_land_now(
    lost: dict[str, object], trouble: dict[str, object]
) -> None:
    assert call(facts(circuit("B", **lost, **trouble))) == "land_now silent_after_trouble"


def test_doubt_of_a_moment_leaves_a_stopped_pump_land_soon() -> None:
    doubted = circuit("B", state=S.SENSOR_FAULT, fault="not_finite", fault_for_s=0.1, pump_trouble="not_building")
    assert call(facts(doubted)) == "land_soon pump_stopped"


def test_silence_after_battery_low_is_land_now() -> None:
    silent = [circuit(name, state=S.NO_READING, before=S.HOLDING) for name in "AB"]
    heard = {"battery_v": 22.0, "wind_m_s": None, "tilt_deg": None}
    given = facts(*silent, config={"battery_low_v": 23.0}, heard=heard, battery_v=None)
    assert call(given) == "land_now silent_after_trouble"


# --- rows judged from an estimate stand a while


def stood(after: Facts, for_s: float) -> str:
    """The call ``for_s`` after a circuit was last seen to run out inside the time to land."""
    before = judge(facts(losing(early_s=200.0)), None)
    return call(facts(*after.circuits.values(), now_s=NOW_S + for_s), before)


@pytest.mark.parametrize(("for_s", "told"), [(9.9, "land_now early_under_landing"), (10.0, "holding holding")])
def test_call_from_an_estimate_stands_for_ten_seconds(for_s: float, told: str) -> None:
    assert stood(facts(), for_s) == told


@pytest.mark.parametrize("state", [S.NO_READING, S.SENSOR_FAULT])
@pytest.mark.parametrize("back_s", [1.0, 60.0, 600.0])
def test_call_from_an_estimate_outlives_silence_until_there_is_one_again(state: CircuitState, back_s: float) -> None:
    called = judge(facts(losing(early_s=400.0)), None)
    unheard = circuit("B", state=state, fault="not_finite", fault_for_s=1.0)
    called = judge(facts(unheard, now_s=NOW_S + 1.0), called)
    called = judge(facts(circuit("B", to_warning=None), now_s=NOW_S + 1.0 + back_s), called)
    assert called.reason.key == "reason.early_under_twice_landing"
    called = judge(facts(now_s=NOW_S + 11.0 + back_s), called)
    assert called.call is Call.HOLDING


def test_call_from_an_estimate_does_not_stand_while_a_pump_stroke_is_learned() -> None:
    assert stood(facts(circuit("B", to_warning=None)), 10.0) == "look too_early"


@pytest.mark.parametrize("row", ["battery_v", "wind_m_s"])
@pytest.mark.parametrize(("for_s", "stands"), [(29.9, True), (30.0, False)])
def test_noisy_value_at_its_limit_stands_for_half_a_minute(row: str, for_s: float, stands: bool) -> None:
    config = {"battery_low_v": 23.0, "wind_limit_m_s": 9.0}
    calm = {"battery_v": 25.0, "wind_m_s": 3.0, "tilt_deg": 90.0}
    before = judge(facts(config=config, heard={**calm, row: {"battery_v": 22.0, "wind_m_s": 8.5}[row]}), None)
    after = judge(facts(config=config, heard=calm, now_s=NOW_S + for_s), before)
    assert (after.call is before.call) is stands


def test_call_from_an_estimate_does_not_stand_once_a_circuit_is_open_on_the_ground() -> None:
    before = judge(ground(losing(early_s=200.0)), None)
    assert before.reason.key == "reason.early_under_landing"
    opened = ground(circuit("A", state=S.OPEN, vacuum_kpa=0.0), phase=Phase.LANDING, now_s=NOW_S + 1.0)
    assert call(opened, before) == "look opened"
    assert call(ground(now_s=NOW_S + 1.0), before) == "look early_under_landing"


def test_call_of_the_air_does_not_stand_on_the_ground() -> None:
    before = judge(facts(losing(early_s=200.0)), None)
    assert call(ground(now_s=NOW_S + 1.0), before) == "holding holding"


# --- two lifters on one panel


@pytest.mark.parametrize(
    ("own", "partner", "told"),
    [
        (facts(), "land_now", "land_now tandem"),
        (facts(), "look", "look tandem"),
        (facts(), "holding", "holding holding"),
        (facts(), "not_lifting", "holding holding"),
        (facts(circuit("B", state=S.LOW, vacuum_kpa=50.0)), "land_now", "land_now low"),
        (facts(circuit("B", state=S.LOW, vacuum_kpa=50.0)), "land_soon", "land_now low"),
        (ground(phase=Phase.PARKED), "holding", "holding tandem"),
    ],
)
def test_the_worse_call_of_two_shows(own: Facts, partner: str, told: str) -> None:
    given = replace(own, partners={"dock-7": (partner, "do_not_release")})
    called = with_partner(judge(given, None), given)
    assert f"{called.call.value} {called.reason.key.removeprefix('reason.')}" == told


# --- an alarm of high priority that stands


@pytest.mark.parametrize(
    ("about", "headline", "reason"),
    [
        (
            "B",
            Text("headline.look_at_circuit", {"circuit": "B"}),
            Text("reason.alarm_stands.circuit", {"circuit": "B"}),
        ),
        ("", Text("headline.look"), Text("reason.alarm_stands")),
    ],
)
def test_holding_is_never_said_under_a_standing_alarm_of_high_priority(
    about: str, headline: Text, reason: Text
) -> None:
    called = with_alarm(judge(facts(), None), about, facts())
    assert (called.call, called.headline, called.reason) == (Call.LOOK, headline, reason)
    assert say(called.reason)


def test_on_the_ground_a_standing_alarm_reads_do_not_lift() -> None:
    given = ground(phase=Phase.SEAL_TEST, load_known=LoadKnown.OFF)
    assert judge(given, None).call is Call.HOLDING
    assert with_alarm(judge(given, None), "B", given).headline == Text("headline.do_not_lift")


def test_standing_alarm_makes_no_other_call_better_nor_worse() -> None:
    for given in (facts(lifter_alarm=True), facts(losing(early_s=900.0)), ground(phase=Phase.PARKED)):
        called = judge(given, None)
        assert with_alarm(called, "B", given) == called
    assert with_alarm(judge(facts(), None), None, facts()).call is Call.HOLDING


def test_call_of_the_other_lifter_is_told_with_its_own_headline_and_its_name() -> None:
    given = facts(partners={"dock-7": ("land_soon", "do_not_release")})
    called = with_partner(judge(given, None), given)
    assert say(called.headline) == "Land the load soon"
    assert say(called.reason) == "Lifter dock-7 on the same panel calls for it."
    assert called.reason.values == {"lifter": "dock-7"}


def test_calm_reason_counts_the_circuits_and_carries_the_margin() -> None:
    reason = judge(facts(), None).reason
    assert say(reason) == "2 circuits hold, by the readings."
    assert reason.values == {"circuits_n": 2, "margin_kg": 190.0}
    assert judge(facts(holding=None), None).reason.values["margin_kg"] is None


# --- silence after trouble


def test_silence_after_a_low_battery_tells_the_age_of_the_last_reading() -> None:
    silent = [circuit(name, state=S.NO_READING, age_s=12.0) for name in "AB"]
    low = {"battery_v": 22.0, "wind_m_s": None, "tilt_deg": None}
    given = facts(*silent, config={"battery_low_v": 23.0}, heard=low, last_reading_s=NOW_S - 12.0)
    assert judge(given, None).reason == Text("reason.silent_after_trouble", {"circuit": None, "age_s": 12.0})


def test_lifter_never_heard_has_no_last_reading() -> None:
    silent = [circuit(name, state=S.NO_READING, age_s=None) for name in "AB"]
    assert judge(facts(*silent, last_reading_s=None), None).reason.values == {"age_s": None}


@pytest.mark.parametrize("in_flight", [True, False])
def test_pump_that_stopped_counts_behind_a_doubted_gauge_only_in_the_air(in_flight: bool) -> None:
    doubted = circuit("B", pump_trouble="not_starting", state=S.SENSOR_FAULT, fault_for_s=1.0)
    told = call(facts(doubted) if in_flight else ground(doubted))
    assert ("pump_stopped" in told) is in_flight


# --- one of several circuits


@pytest.mark.parametrize(("a_s", "b_s", "named"), [(100.0, 200.0, "A"), (200.0, 100.0, "B"), (150.0, 150.0, "A")])
def test_circuit_that_runs_out_first_is_named(a_s: float, b_s: float, named: str) -> None:
    fall = facts(losing("A", early_s=a_s), losing("B", early_s=b_s))
    reserve = facts(circuit("A", reserve=Bounds(a_s, 400.0, None)), circuit("B", reserve=Bounds(b_s, 400.0, None)))
    for given in (fall, reserve):
        values = judge(given, None).reason.values
        assert (values["circuit"], values["early_s"]) == (named, min(a_s, b_s))


def test_message_of_a_fall_carries_its_level_and_the_time_to_land() -> None:
    values = judge(facts(losing(early_s=100.0, level="needed", level_kpa=57.0)), None).reason.values
    assert (values["level"], values["level_kpa"], values["time_to_land_s"]) == ("needed", 57.0, 240.0)


@pytest.mark.parametrize("changes", [{"to_warning": None}, {"leak": None}, {"to_warning": None, "leak": None}])
def test_fall_without_a_projection_or_a_leak_is_timed_by_nobody(changes: dict[str, Any]) -> None:
    assert "early" not in call(facts(losing(early_s=100.0, **changes)))


@pytest.mark.parametrize(
    ("vacuum_kpa", "early_s", "told"),
    [(52.1, 0.0, "holding holding"), (52.1, 0.5, "land_soon reserve_under_landing"),
     (52.0, 0.0, "land_now low"), (60.0, 0.0, "holding holding")],
)  # fmt: skip
def test_reserve_of_nothing_above_the_level_is_only_just_sealed(vacuum_kpa: float, early_s: float, told: str) -> None:
    assert call(facts(circuit("B", vacuum_kpa=vacuum_kpa, reserve=Bounds(early_s, 300.0, None)))) == told


def test_reserve_of_nothing_at_the_level_counts() -> None:
    needed = circuit("B", vacuum_kpa=57.0, level="needed", level_kpa=57.0, reserve=Bounds(0.0, 100.0, None))
    assert call(facts(needed)) == "land_soon reserve_under_landing.needed"


@pytest.mark.parametrize(
    ("early_s", "told"), [(479.9, "land_soon"), (480.0, "holding"), (600.0, "holding"), (None, "holding")]
)
def test_battery_is_called_under_twice_the_time_to_land(early_s: float | None, told: str) -> None:
    assert call(facts(battery_to_low=Bounds(early_s, 900.0, None))).split()[0] == told


# --- what stands, and what silence does to it


def test_row_that_stands_no_longer_than_it_holds_is_not_remembered() -> None:
    assert judge(facts(circuit("B", state=S.NO_READING, age_s=9.0)), None).standing == {}


def test_land_now_lost_sight_of_stands_until_the_estimate_is_back() -> None:
    silent = [circuit(name, state=S.NO_READING, vacuum_kpa=64.0) for name in "AB"]
    called = judge(facts(losing(early_s=100.0)), None)
    called = judge(facts(*silent, now_s=NOW_S + 5.0), called)
    called = judge(facts(circuit("B", to_warning=None), now_s=NOW_S + 60.0), called)
    assert called.call is Call.LAND_NOW
    called = judge(facts(circuit("B", to_warning=None), now_s=NOW_S + 90.0), called)
    assert called.call is Call.LAND_NOW
    assert judge(facts(now_s=NOW_S + 101.0), called).call is Call.HOLDING


@pytest.mark.parametrize(
    ("row", "value"), [("no_reading", 9.0), ("sensor_doubt", "not_finite")], ids=["no reading", "doubt"]
)
def test_message_of_a_circuit_not_believed_carries_its_age_or_its_fault(row: str, value: float | str) -> None:
    unheard = {"no_reading": circuit("B", state=S.NO_READING, age_s=9.0),
               "sensor_doubt": circuit("B", state=S.SENSOR_FAULT, fault="not_finite")}[row]  # fmt: skip
    reason = judge(facts(unheard), None).reason
    assert reason.key == f"reason.{row}"
    assert value in reason.values.values()


@pytest.mark.parametrize(
    ("known", "in_flight", "opens"),
    [
        (LoadKnown.OFF, True, False),
        (LoadKnown.UNSURE, True, True),
        (LoadKnown.UNSURE, False, False),
        (LoadKnown.ON, False, True),
    ],
)
def test_vacuum_let_out_counts_only_while_a_load_may_hang_there(known: LoadKnown, in_flight: bool, opens: bool) -> None:
    let_out = [circuit(name, lost_kpa=9.0) for name in "AB"]
    assert opens_under_load(facts(*let_out, load_known=known, in_flight=in_flight)) is opens
