"""The facts of an instant, one by one, from a lifter's memory set by hand."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import lifter, lifts
from monitor.core.carrying import Wind
from monitor.core.facts import CircuitState
from monitor.core.holding import Centre, Move
from monitor.core.lifter import LifterState, Plan, judged_kg
from monitor.core.load import Load, LoadKnown
from monitor.core.phases import Phase, PhaseState
from monitor.core.readings import Pump
from monitor.core.sensors import Gauge, Signal
from monitor.core.standstill import Standstill
from tests.histories import dock
from tests.unit.core.test_lifter_readings import bare, hear, in_the_air, seconds, tell


def planned(state: LifterState, **plan: Any) -> LifterState:
    state.plan = Plan(**plan)
    return state


@pytest.mark.parametrize(
    ("plan", "largest_kg", "phase", "judged"),
    [
        (None, None, Phase.SEAL_TEST, None),
        (None, 200.0, Phase.LIFTING, 200.0),
        (Plan(), 200.0, Phase.LIFTING, 200.0),
        (Plan(weight_kg=600.0), None, Phase.SEAL_TEST, 600.0),
        (Plan(weight_kg=600.0), 200.0, Phase.LIFTING, 600.0),  # the load is still coming on
        (Plan(weight_kg=600.0), 650.0, Phase.LIFTING, 650.0),
        (Plan(weight_kg=600.0), 560.0, Phase.CARRYING, 560.0),  # measured and steady
        (Plan(weight_kg=600.0), 650.0, Phase.LANDING, 650.0),
    ],
)
def test_load_the_margin_is_judged_by(
    plan: Plan | None, largest_kg: float | None, phase: Phase, judged: float | None
) -> None:
    state = lifter.begin(bare())
    state.plan, state.load, state.phase = plan, Load(largest_kg=largest_kg), PhaseState(phase=phase)
    assert judged_kg(state) == judged
    given = tell(state, 1.0)
    assert (given.judged_kg, given.planned_kg) == (judged, None if plan is None else plan.weight_kg)
    assert (given.now_s, given.config, given.phase, given.load) == (1.0, state.config, phase, state.load)
    assert [part.id for part in given.in_use] == ["A", "B"]


@pytest.mark.parametrize(
    ("given", "tilt_deg", "beyond_deg", "outside"),
    [
        (True, 29.0, 1.0, False),
        (True, 30.0, 0.0, False),
        (True, 45.0, 0.0, False),
        (True, 60.0, 0.0, False),
        (True, 60.5, 0.5, False),
        (True, 66.0, 6.0, False),
        (True, 66.1, 6.1, True),
        (True, 23.9, 6.1, True),
        (True, None, 0.0, False),
        (False, 150.0, 0.0, False),
        (False, None, 0.0, False),
    ],
)
def test_tilt_beyond_the_plan_by_more_than_the_allowance_is_outside_it(
    given: bool, tilt_deg: float | None, beyond_deg: float, outside: bool
) -> None:
    state = planned(lifter.begin(bare(tilt_allowance_deg=6.0)), move=Move(30.0, 60.0), tilts_given=given)
    state.signals["tilt_deg"] = Signal(tilt_deg, 0.0)
    for now_s in (0.0, 100.0):  # as last heard: silence ends no trouble
        found = tell(state, now_s)
        assert found.tilt_beyond_plan_deg == pytest.approx(beyond_deg)
        assert found.tilt_outside_plan is outside


@pytest.mark.parametrize(
    ("site_m_s", "plan", "limit_m_s"),
    [
        (9.0, None, 9.0),
        (9.0, Plan(), 9.0),
        (9.0, Plan(wind_limit_m_s=7.0), 7.0),
        (9.0, Plan(wind_limit_m_s=11.0), 9.0),
        (None, Plan(wind_limit_m_s=7.0), 7.0),
        (None, None, None),
    ],
)
def test_wind_limit_is_the_lower_of_the_sites_and_the_plans(
    site_m_s: float | None, plan: Plan | None, limit_m_s: float | None
) -> None:
    state = lifter.begin(bare(wind_limit_m_s=site_m_s))
    state.plan = plan
    assert tell(state, 0.0).wind_limit_m_s == limit_m_s


@pytest.mark.parametrize(
    ("interval_s", "slow", "landing_s"),
    [(1.0, False, 240.0), (10.0 / 3.5, False, 240.0), (3.0, True, 250.5), (5.0, True, 257.5)],
)
def test_age_of_a_slow_lifters_readings_is_added_to_the_time_to_land(
    interval_s: float, slow: bool, landing_s: float
) -> None:
    """Silence means something after three and a half intervals; over ten seconds is slow."""
    given = tell(lifter.begin(bare(expected_interval_s=interval_s, time_to_land_s=240.0)), 0.0)
    assert (given.slow, given.landing_s, given.time_to_land_s) == (slow, landing_s, 240.0)


@pytest.mark.parametrize(
    ("gaps_s", "configured_s", "irregular"),
    [
        ((0.2,) * 9, None, False),
        ((0.1, 0.5, 0.2, 0.9, 0.1, 0.5, 0.2, 0.9, 0.1), None, True),
        ((0.1, 0.5, 0.2, 0.9, 0.1, 0.5, 0.2, 0.9, 0.1), 0.5, False),
        ((0.2,) * 9, 0.5, False),
    ],
)
def test_readings_at_no_steady_interval_are_said_unless_one_is_configured(
    gaps_s: tuple[float, ...], configured_s: float | None, irregular: bool
) -> None:
    state = lifter.begin(bare(expected_interval_s=configured_s))
    state.gauges["A"] = Gauge(gaps_s=gaps_s)
    assert tell(state, 0.0).irregular is irregular


@pytest.mark.parametrize("doubted", [frozenset(), frozenset({"ambient"})])
def test_hoist_that_does_not_fit_is_said(doubted: frozenset[str]) -> None:
    state = lifter.begin(bare())
    state.leaks.climb_doubted = doubted
    assert tell(state, 0.0).climb_doubted is bool(doubted)


@pytest.mark.parametrize(
    ("at_s", "phase", "sealed", "flight"),
    [
        pytest.param(0.0, Phase.SEAL_TEST, True, True, id="a lost load reading over sealed pads"),
        pytest.param(0.0, Phase.SEAL_TEST, False, False, id="over pads that were never sealed"),
        pytest.param(None, Phase.SEAL_TEST, True, False, id="a cell never heard"),
        pytest.param(0.0, Phase.IDLE, True, False, id="over nothing"),
    ],
)
def test_load_that_is_lost_may_hang(at_s: float | None, phase: Phase, sealed: bool, flight: bool) -> None:
    state = lifter.begin(bare())
    hear(state, 19.0)
    state.load, state.phase = Load(net_kg=0.0, at_s=at_s), PhaseState(phase=phase, since_s=0.0, sealed=sealed)
    given = tell(state, 20.0)
    assert (given.in_flight, given.load_known, given.load_lost) == (flight, LoadKnown.UNSURE, True)


# --- what the pads are asked


def asked(state: LifterState, monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """What is worked out anew."""
    made: list[dict[str, Any]] = []
    monkeypatch.setattr(lifter.holding, "prepare", lambda _config, **named: made.append(named))
    tell(state, 0.0)
    return made


@pytest.mark.parametrize(
    ("plan", "steepest_deg", "tilt_deg", "move"),
    [
        (None, 90.0, 10.0, Move(0.0, 90.0)),
        (None, 150.0, 10.0, Move(0.0, 150.0)),
        (Plan(move=Move(0.0, 120.0)), 90.0, 10.0, Move(0.0, 120.0)),
        (Plan(move=Move(0.0, 30.0), tilts_given=True), 150.0, 10.0, Move(0.0, 30.0)),
        (Plan(move=Move(0.0, 30.0), tilts_given=True), 90.0, 31.0, Move(0.0, 30.0)),
        (Plan(move=Move(0.0, 30.0), tilts_given=True), 90.0, 31.5, Move(0.0, 32.0)),
        (Plan(move=Move(0.0, 30.0), tilts_given=True), 90.0, None, Move(0.0, 91.0)),
        (Plan(move=Move(80.0, 90.0), tilts_given=True), 90.0, 85.0, Move(80.0, 90.0)),
        (Plan(move=Move(80.0, 90.0), tilts_given=True), 90.0, 79.0, Move(80.0, 90.0)),
        (Plan(move=Move(80.0, 90.0), tilts_given=True), 90.0, 78.5, Move(78.0, 91.0)),
        (Plan(move=Move(2.0, 30.0), tilts_given=True), 90.0, 0.5, Move(0.0, 31.0)),
        (Plan(move=Move(0.0, 179.5), tilts_given=True), 90.0, 190.0, Move(0.0, 179.5)),
        (Plan(move=Move(0.0, 178.0), tilts_given=True), 90.0, 190.0, Move(0.0, 180.0)),
    ],
)
def test_tilts_judged_are_the_planned_ones_or_the_worst_and_what_is_read_a_degree_beyond_them(
    plan: Plan | None, steepest_deg: float, tilt_deg: float | None, move: Move, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = lifter.begin(dock())
    state.plan, state.tilt_high_deg = plan, steepest_deg
    state.signals["tilt_deg"] = Signal(tilt_deg, 0.0)
    assert [made["move"] for made in asked(state, monkeypatch)] == [move]


def test_pads_are_asked_what_the_plan_says(monkeypatch: pytest.MonkeyPatch) -> None:
    plan: dict[str, Any] = {
        "pads": ("A1", "B1"), "move": Move(10.0, 20.0), "centre": Centre(1.0, 2.0, 3.0),
        "wind": Wind(4.0, 5.0, (6.0, 7.0)), "bend_factor": 1.5,
    }  # fmt: skip
    state = planned(lifter.begin(dock(friction=0.4)), weight_kg=600.0, tilts_given=True, **plan)
    state.signals["tilt_deg"] = Signal(15.0, 0.0)
    assert asked(state, monkeypatch) == [{**plan, "friction": 0.4, "planned_kg": 600.0}]
    assert asked(state, monkeypatch) == []  # worked out once
    bare_plan = asked(planned(lifter.begin(dock(friction=0.4))), monkeypatch)[0]
    assert (bare_plan["pads"], bare_plan["planned_kg"]) == (None, None)


def test_last_three_moves_worked_out_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    state = lifter.begin(dock())
    for steepest_deg in (91.0, 92.0, 93.0, 94.0):
        state.tilt_high_deg = steepest_deg
        assert len(asked(state, monkeypatch)) == 1
    assert len(state.models) == 3
    for steepest_deg, made_n in ((92.0, 0), (93.0, 0), (94.0, 0), (91.0, 1)):
        state.tilt_high_deg = steepest_deg
        assert len(asked(state, monkeypatch)) == made_n


def test_circuit_never_heard_or_below_ambient_holds_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    held: list[dict[str, Any]] = []
    monkeypatch.setattr(lifter.holding, "hold", lambda _model, **named: held.append(named))
    state = lifter.begin(dock())
    for vacuum_kpa, now_kpa, judged_kpa in ((64.0, 64.0, 52.0), (50.0, 50.0, 50.0), (-0.5, 0.0, 0.0)):
        state.gauges["A"] = Gauge(vacuum_kpa=vacuum_kpa)
        tell(state, 0.0)
        assert held[-1] == {
            "now_kpa": {"A": now_kpa, "B": 0.0}, "judged_kpa": {"A": judged_kpa, "B": 0.0}, "load_kg": None
        }  # fmt: skip


# --- a circuit


def test_circuit_is_told_as_its_gauge_and_pump_are_remembered() -> None:
    state = lifter.begin(bare())
    given = tell(state, 0.0).circuits["A"]
    assert (given.id, given.config, given.vacuum_kpa, given.age_s) == ("A", state.config.circuits["A"], None, None)
    assert (given.lost_kpa, given.fault_for_s, given.gauges_apart_kpa, given.gauge_moved) == (0.0, 0.0, None, False)
    assert (given.pump, given.pump_trouble, given.leak) == (None, None, None)
    hear(state, *seconds(0.0, 60.0, 1.0), pump=Pump.OFF)
    moved = {"": replace(Standstill(64.0, 0.0), step_kpa=0.1)}
    state.gauges["A"] = replace(state.gauges["A"], apart_kpa=0.7, stills=moved)
    state.pump_watches["A"] = replace(state.pump_watches["A"], trouble="not_starting")
    given = tell(state, 60.5).circuits["A"]
    assert (given.vacuum_kpa, given.age_s, given.gauges_apart_kpa, given.gauge_moved) == (64.0, 0.5, 0.7, True)
    assert (given.pump, given.pump_trouble) == (Pump.OFF, "not_starting")
    assert None not in {given.leak, given.reserve, given.to_warning}
    assert given.reserve != given.to_warning  # whatever may begin unseen counts in the one alone


@pytest.mark.parametrize(
    ("heard_s", "state_told"),
    [(90.0, CircuitState.SENSOR_FAULT), (82.5, CircuitState.SENSOR_FAULT), (82.4, CircuitState.NO_READING)],
)
def test_gauge_at_fault_is_one_that_is_heard_and_else_silent(heard_s: float, state_told: CircuitState) -> None:
    """By an interval of 5 s a circuit is silent after 17.5 s."""
    state = lifter.begin(bare(expected_interval_s=5.0))
    state.gauges["A"] = Gauge(64.0, 40.0, heard_s, fault="frozen", fault_since_s=40.0)
    assert tell(state, 100.0).circuits["A"].state is state_told


@pytest.mark.parametrize(("at_s", "state_told"), [(82.5, CircuitState.HOLDING), (82.4, CircuitState.NO_READING)])
def test_reading_lasts_three_and_a_half_intervals(at_s: float, state_told: CircuitState) -> None:
    state = lifter.begin(bare(expected_interval_s=5.0))
    state.gauges["A"] = Gauge(64.0, at_s, at_s)
    assert tell(state, 100.0).circuits["A"].state is state_told


def test_state_of_a_circuit_is_judged_by_all_that_is_known_of_it(monkeypatch: pytest.MonkeyPatch) -> None:
    judged: dict[str, Any] = {}
    judge = lifter.circuits.judge

    def noted(**named: Any) -> CircuitState:
        if named["config"].id == "A":
            judged.update(named)
        return judge(**named)

    monkeypatch.setattr(lifter.circuits, "judge", noted)
    state = in_the_air(lifter.begin(dock(losing_horizon_s=1234.0)))
    state.phase = replace(state.phase, since_s=1.0)
    hear(state, *seconds(1.0, 60.0), load_kg=600.0)
    given = tell(state, 60.0).circuits["A"]
    tell(state, 60.0)
    assert judged["needed_kpa"] == given.needed_kpa is not None
    assert judged["leak"] == given.leak is not None
    assert judged["to_warning"] == given.to_warning is not None
    assert (judged["vacuum_kpa"], judged["stale"], judged["fault"]) == (64.0, False, None)
    assert (judged["losing_horizon_s"], judged["sealed"], judged["in_flight"]) == (1234.0, True, True)
    assert (judged["phase"], judged["before"]) == (Phase.CARRYING, CircuitState.HOLDING)
    assert judged["building"] is False


@pytest.mark.parametrize(("pump", "took_s"), [(Pump.ON, 7.0), (Pump.OFF, 0.0)])
def test_pump_down_under_way_is_timed_while_the_pump_runs(pump: Pump, took_s: float) -> None:
    state = in_the_air(lifter.begin(bare()))
    lifts.open_lift(state, 0.0, utc_minus_now_s=0.0, version="1")
    assert state.log is not None
    state.log.circuits["A"].condition.building_from_s = 3.0
    state.gauges["A"] = Gauge(30.0, 10.0, 10.0, pump=pump)
    assert tell(state, 10.0).circuits["A"].pump_down_s == took_s
