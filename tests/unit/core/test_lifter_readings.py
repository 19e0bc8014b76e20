"""What one reading, or time alone, changes of a lifter's memory and of its facts: one step at a time, without the engine."""

import math
from dataclasses import replace
from typing import Any

import pytest

from monitor.core import lifter, lifts, moved
from monitor.core.carrying import Wind
from monitor.core.config import LifterConfig, Surface
from monitor.core.facts import CircuitState, Facts
from monitor.core.holding import Centre, Move
from monitor.core.leak_state import LeakConfig
from monitor.core.lifter import QUANTITIES, UPRIGHT_DEG, LifterState, Plan, Surroundings
from monitor.core.load import Load, LoadKnown
from monitor.core.past_lifts import PastLifts
from monitor.core.phases import Phase, PhaseState
from monitor.core.readings import CircuitReading, Pump, Reading, Refusal, Valve
from monitor.core.sensors import Signal
from monitor.core.units import HOIST_KPA_PER_M
from tests.histories import NO_CELL, dock

SEALED = {"A": 64.0, "B": 64.0}
AROUND = Surroundings(True, True, 0.4, {"dock-7": ("look", "do_not_release")}, lag_s=0.7)


def bare(**changes: Any) -> LifterConfig:
    """The demo's lifter without its pads: what holds is not worked out."""
    return dock(pads={}, layouts={}, **changes)


def circuits_of(vacuum_kpa: dict[str, float], pump: Pump | None = None) -> dict[str, CircuitReading]:
    return {name: CircuitReading(value, pump=pump) for name, value in vacuum_kpa.items()}


def hear(state: LifterState, *times_s: float, vacuum_kpa: dict[str, float] = SEALED, **said: Any) -> None:
    """The same reading at each of these times; time alone and the phase follow it, as in the engine."""
    pump = said.pop("pump", None)
    for now_s in times_s:
        lifter.take(state, Reading("dock-6", **{"circuits": circuits_of(vacuum_kpa, pump), **said}), now_s)
        lifter.settle(state, now_s)
        lifter.advance_phase(state, now_s)


def tell(state: LifterState, now_s: float) -> Facts:
    return lifter.facts(state, now_s, AROUND)


def in_the_air(state: LifterState) -> LifterState:
    state.phase = PhaseState(phase=Phase.CARRYING, since_s=0.0, sealed=True)
    state.load = Load(net_kg=600.0, at_s=0.0, largest_kg=600.0, above_since_s=-10.0)
    return state


def seconds(from_s: float, to_s: float, every_s: float = 0.5) -> list[float]:
    """Times every half a second, both ends included."""
    return [from_s + every_s * number for number in range(round((to_s - from_s) / every_s) + 1)]


# --- a lifter begins


def test_what_the_site_file_enters_of_a_circuit_is_what_its_leak_is_judged_by() -> None:
    circuits = dock(pump_levels=True).circuits
    config = dock(circuits={"A": circuits["A"], "B": replace(circuits["B"], pump_start_kpa=None)})
    assert lifter.begin(config).leaks.config == LeakConfig(
        circuits=("A", "B"),
        ambient_kpa=config.ambient_kpa,
        hoist_height_m=config.hoist_height_m,
        hoist_speed_m_s=config.hoist_speed_m_s,
        horizon_s=config.projection_horizon_s,
        pump_start_kpa={"A": 60.0},
    )


def test_nothing_is_known_before_the_first_reading() -> None:
    given = tell(lifter.begin(bare()), 0.0)
    assert not given.ever_heard
    assert given.last_reading_s is None
    assert given.silent
    assert {part.state for part in given.circuits.values()} == {CircuitState.NO_READING}
    assert set(given.heard) == set(QUANTITIES)
    assert set(given.heard.values()) == {None}


# --- what a reading says, and does not say


@pytest.mark.parametrize("name", QUANTITIES)
def test_quantity_left_out_of_a_reading_keeps_its_last_value_and_grows_old(name: str) -> None:
    state = lifter.begin(bare())
    hear(state, 0.0, **{name: 42.0})
    hear(state, 2.0)
    assert state.signals[name] == Signal(42.0, 0.0)
    assert getattr(tell(state, 3.0), name) == 42.0
    assert getattr(tell(state, 3.1), name) is None
    assert tell(state, 3.1).heard[name] == 42.0


@pytest.mark.parametrize(("said", "stands"), [((True, None), True), ((True, None, False), False), ((None,), False)])
def test_lifters_own_alarm_stands_until_the_lifter_says_it_is_over(said: tuple[bool | None, ...], stands: bool) -> None:
    state = lifter.begin(bare())
    for number, value in enumerate(said):
        hear(state, float(number), lifter_alarm=value)
    assert tell(state, len(said) - 1.0).lifter_alarm is stands


def test_valve_stands_as_told_last() -> None:
    state = lifter.begin(bare())
    hear(state, 0.0, release_valve=Valve.OPEN)
    hear(state, 1.0)
    assert tell(state, 1.0).valve is Valve.OPEN
    hear(state, 2.0, release_valve=Valve.CLOSED)
    assert tell(state, 2.0).valve is Valve.CLOSED


@pytest.mark.parametrize(
    ("tilts_deg", "judged_deg"),
    [
        ((90.0,), 90.0),
        ((20.0,), UPRIGHT_DEG),  # flat now, it may still be turned up
        ((100.2, 95.0), 101.0),  # the worst since it was picked, to the next whole degree
        ((120.0,), 120.0),
        ((187.0,), 180.0),  # no panel lies further over than on its back
    ],
)
def test_steepest_tilt_of_a_lift_is_kept(tilts_deg: tuple[float, ...], judged_deg: float) -> None:
    state = in_the_air(lifter.begin(bare()))
    for number, tilt_deg in enumerate(tilts_deg):
        hear(state, float(number), tilt_deg=tilt_deg, load_kg=600.0)
    assert state.tilt_high_deg == judged_deg


def test_steepest_tilt_is_forgotten_once_the_pads_are_open() -> None:
    state = in_the_air(lifter.begin(bare()))
    hear(state, *seconds(0.0, 1.0), tilt_deg=150.0, load_kg=600.0)
    hear(state, *seconds(1.5, 12.0), tilt_deg=90.0, load_kg=0.0)
    assert state.tilt_high_deg == 150.0
    hear(state, *seconds(12.5, 20.0), tilt_deg=90.0, load_kg=0.0, vacuum_kpa={"A": 0.0, "B": 0.0})
    assert state.phase.phase in {Phase.IDLE, Phase.RELEASED}
    assert state.tilt_high_deg == UPRIGHT_DEG


@pytest.mark.parametrize(("silent_s", "known"), [(3.0, LoadKnown.OFF), (3.5, LoadKnown.UNSURE)])
def test_weight_is_off_only_by_a_cell_that_was_heard_all_the_while(silent_s: float, known: LoadKnown) -> None:
    """The cell is silent while the circuits are not: what it weighed meanwhile nobody knows."""
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 4.0), load_kg=0.0)
    hear(state, *seconds(4.5, 4.0 + silent_s - 0.5))
    hear(state, *seconds(4.0 + silent_s, 6.0 + silent_s), load_kg=0.0)
    assert tell(state, 6.0 + silent_s).load_known is known


@pytest.mark.parametrize(("kpa", "fault"), [(98.2, None), (98.3, "out_of_range")])
def test_vacuum_stronger_than_any_pump_makes_at_this_site_is_not_believed(kpa: float, fault: str | None) -> None:
    """97 % of the site's 101.3 kPa: 98.26 kPa."""
    state = lifter.begin(bare(ambient_kpa=101.3))
    hear(state, *seconds(0.0, 2.0), vacuum_kpa={"A": kpa, "B": 64.0})
    assert tell(state, 2.0).circuits["A"].fault == fault


@pytest.mark.parametrize(
    ("hangs", "load_kg", "believed_kpa"),
    [(True, 600.0, 40.0), (False, 600.0, 64.0), (True, 0.0, 64.0)],
)
def test_vacuum_that_leaps_up_is_not_believed_while_a_load_may_hang(
    hangs: bool, load_kg: float, believed_kpa: float
) -> None:
    """On the ground pads are pressed down, or a tank is let in; under a load only a pump raises the vacuum, and slowly."""
    state = lifter.begin(bare())
    low = {"A": 40.0, "B": 40.0}
    hear(state, *seconds(0.0, 6.0), vacuum_kpa=low, load_kg=load_kg)
    state.phase = PhaseState(phase=Phase.CARRYING if hangs else Phase.SEAL_TEST, since_s=0.0, sealed=True)
    reading = Reading("dock-6", circuits_of(SEALED, Pump.OFF), load_kg=load_kg)
    lifter.take(state, reading, 6.1)
    lifter.take(state, reading, 6.2)
    assert state.gauges["A"].vacuum_kpa == believed_kpa


@pytest.mark.parametrize(
    ("in_air", "heard_kpa", "last_kpa", "open_"),
    [
        (False, 1.0, 1.0, True),  # let go: the gauge that fell silent says nothing more of it
        (True, 1.0, 1.0, False),
        (False, 7.8, 1.0, True),  # 15 % of its warning level holds nothing
        (False, 30.0, 1.0, False),
        (False, 1.0, 30.0, True),  # it was sealed while the silent gauge was heard last, and is open by the other one
    ],
)
def test_gauge_that_fell_silent_is_forgotten_once_its_circuit_was_let_go(
    in_air: bool, heard_kpa: float, last_kpa: float, open_: bool
) -> None:
    state = lifter.begin(bare(expected_interval_s=0.5))
    both = {"A": CircuitReading(gauges={"1": last_kpa, "2": last_kpa}), "B": CircuitReading(64.0)}
    one = {"A": CircuitReading(gauges={"1": heard_kpa}), "B": CircuitReading(64.0)}
    if in_air:
        in_the_air(state)
    for now_s in seconds(0.0, 40.0):
        lifter.take(state, Reading("dock-6", both if now_s <= 5.0 else one, load_kg=600.0 if in_air else 0.0), now_s)
        lifter.settle(state, now_s)
    assert (state.gauges["A"].fault is None) is open_


def test_circuit_left_out_of_a_reading_keeps_what_its_pump_said_and_grows_old() -> None:
    state = lifter.begin(bare())
    hear(state, 0.0, pump=Pump.ON)
    hear(state, 1.0, vacuum_kpa={"A": 64.0})
    part = tell(state, 1.0).circuits["B"]
    assert part.pump is Pump.ON
    assert part.age_s == 1.0


def test_refused_pressure_of_a_circuit_is_a_fault_though_the_reading_says_nothing_else_of_it() -> None:
    state = lifter.begin(bare())
    hear(state, 0.0)
    assert tell(state, 0.0).circuits["B"].state is CircuitState.HOLDING
    refused = (Refusal("circuits.B.vacuum_kpa", "not_finite", "NaN"),)
    hear(state, *seconds(0.5, 4.0), vacuum_kpa={"A": 64.0}, refused=refused)
    given = tell(state, 4.0)
    assert given.circuits["A"].fault is None
    assert given.circuits["B"].fault == "not_finite"
    assert given.circuits["B"].state is CircuitState.SENSOR_FAULT
    assert given.circuits["B"].age_s == 4.0
    assert given.circuits["B"].fault_for_s == 3.5
    assert given.circuits["B"].before is CircuitState.HOLDING


@pytest.mark.parametrize(("says", "falls"), [(True, False), (False, True)])
def test_battery_that_sags_under_a_pump_that_says_so_is_not_running_out(says: bool, falls: bool) -> None:
    """The pump draws a volt while it runs: known to run, it explains the fall."""
    state = lifter.begin(bare())
    for now_s in seconds(0.0, 200.0, 2.0):
        runs = now_s % 10.0 < now_s / 20.0  # ever longer of every ten seconds
        pump = {True: Pump.ON if runs else Pump.OFF, False: None}[says]
        hear(state, now_s, pump=pump, battery_v=24.0 if runs else 25.0)
    assert (tell(state, 200.0).battery_to_low is not None) is falls


def test_pressure_of_the_ground_is_no_measure_of_the_hoist() -> None:
    """Measured on the ground it does not fall as the hook comes up."""
    state = lifter.begin(bare(ambient_at="ground"))
    hear(state, 0.0, ambient_kpa=100.0)
    assert state.witness.climb_from != "ambient"
    state = lifter.begin(bare(ambient_at="lifter"))
    hear(state, 0.0, ambient_kpa=100.0)
    assert state.witness.climb_from == "ambient"


@pytest.mark.parametrize(
    ("ambient_at", "said", "from_", "climb_kpa"),
    [
        ("lifter", {"ambient_kpa": 100.0, "height_m": 30.0}, "ambient", -100.0),
        ("lifter", {"height_m": 30.0}, "height", 30.0 * HOIST_KPA_PER_M),
        ("ground", {"ambient_kpa": 100.0, "height_m": 30.0}, "height", 30.0 * HOIST_KPA_PER_M),
    ],
)
def test_hoist_is_followed_by_the_pressure_on_the_lifter_and_else_by_the_height(
    ambient_at: str, said: dict[str, float], from_: str, climb_kpa: float
) -> None:
    state = lifter.begin(bare(ambient_at=ambient_at))
    hear(state, *seconds(0.0, 1.0), **said)
    assert state.witness.climb_from == from_
    assert moved.climb_kpa(state.witness, 1.0, 3.0) == pytest.approx(climb_kpa)


def test_pressure_left_out_of_one_reading_does_not_pass_the_hoist_to_the_height() -> None:
    state = lifter.begin(bare())
    hear(state, 0.0, ambient_kpa=100.0, height_m=30.0)
    hear(state, 0.5, height_m=35.0)
    assert state.witness.climb_from == "ambient"


@pytest.mark.parametrize(
    ("phase", "height_m", "up_m"),
    [(Phase.SEAL_TEST, None, 0.0), (Phase.CARRYING, None, None), (Phase.CARRYING, 10.0, 10.0)],
)
def test_pressure_that_is_not_measured_is_taken_for_the_whole_hoist_in_the_air(
    phase: Phase, height_m: float | None, up_m: float | None
) -> None:
    config = dock()
    state = lifter.begin(config)
    hear(state, 0.0, height_m=height_m)
    state.phase = replace(state.phase, phase=phase)
    up_m = config.hoist_height_m if up_m is None else up_m
    lower_kpa = config.ambient_kpa - 3.0 - up_m * HOIST_KPA_PER_M
    assert lifter.ambient_for_gauges_kpa(state, 0.0) == pytest.approx(lower_kpa)


# --- what time alone does


def test_jump_that_nobody_contradicts_is_believed_though_nothing_more_comes() -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 2.0))
    lifter.take(state, Reading("dock-6", circuits_of({"A": 40.0, "B": 64.0})), 2.5)
    lifter.settle(state, 3.0)
    assert state.gauges["A"].vacuum_kpa == 64.0
    lifter.settle(state, 3.5)
    assert state.gauges["A"].vacuum_kpa == 40.0


def test_gauge_that_stands_while_the_load_comes_on_is_frozen_and_keeps_its_value() -> None:
    """The others move when the load comes on; the one that stands still to the last digit is stuck."""
    state = lifter.begin(bare())
    for number, now_s in enumerate(seconds(0.0, 120.0)):
        moves_kpa = 0.1 * math.sin(number)
        hear(state, now_s, vacuum_kpa={"A": 64.0 + moves_kpa, "B": 64.0 + moves_kpa}, load_kg=0.0, pump=Pump.OFF)
    assert state.gauges["B"].fault is None
    for number, now_s in enumerate(seconds(120.5, 260.0)):
        hear(state, now_s, vacuum_kpa={"A": 64.0 - 0.04 * number, "B": 63.9}, load_kg=600.0, pump=Pump.OFF)
    assert state.gauges["A"].fault is None
    assert state.gauges["B"].fault == "frozen"
    assert state.gauges["B"].vacuum_kpa == 63.9


# --- the facts of an instant


def test_what_the_engine_knows_beside_the_lifter_stands_in_its_facts() -> None:
    state = lifter.begin(bare())
    around = Surroundings(False, False, 0.04, {"dock-7": ("land_now", "do_not_release")}, lag_s=7.0)
    given = lifter.facts(state, 1.0, around)
    assert (given.link_up, given.store_writing, given.disk_free_ratio, given.clock_offset_s) == (
        False,
        False,
        0.04,
        7.0,
    )
    assert given.partners == {"dock-7": ("land_now", "do_not_release")}


@pytest.mark.parametrize(
    ("phase", "net_kg", "released_kg"),
    [(Phase.RELEASED, 300.0, 300.0), (Phase.CARRYING, 300.0, None), (Phase.RELEASED, 0.0, None)],
)
def test_load_back_on_after_the_release_is_told_as_such(phase: Phase, net_kg: float, released_kg: float | None) -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 6.0), load_kg=net_kg)
    state.phase = PhaseState(phase=phase, since_s=0.0)
    assert tell(state, 6.0).released_load_kg == released_kg


@pytest.mark.parametrize(("age_s", "fresh"), [(3.0, True), (3.1, False)])
def test_load_that_is_silent_is_lost(age_s: float, fresh: bool) -> None:
    state = lifter.begin(bare())
    hear(state, 0.0, load_kg=300.0)
    given = tell(state, age_s)
    assert (given.load_fresh, given.load_lost) == (fresh, not fresh)
    assert given.load_kg == (300.0 if fresh else None)


def test_load_is_never_lost_where_none_is_measured() -> None:
    assert not tell(lifter.begin(bare(**NO_CELL)), 0.0).load_lost


def test_lifter_is_silent_only_when_no_circuit_in_use_is_heard() -> None:
    state = lifter.begin(dock())
    hear(state, 0.0)
    hear(state, 4.0, vacuum_kpa={"A": 64.0})
    assert not tell(state, 4.0).silent
    state.plan = Plan(pads=("B1", "B2", "B3"))
    assert tell(state, 4.0).silent


@pytest.mark.parametrize(
    ("phase", "sealed", "known_kg", "flight"),
    [
        (Phase.SEALING, True, 600.0, True),
        (Phase.SEAL_TEST, True, 600.0, True),
        (Phase.PARKED, True, 600.0, True),
        (Phase.SEALING, False, 600.0, False),
        (Phase.RELEASED, True, 600.0, False),
        (Phase.SEAL_TEST, True, 0.0, False),
        (Phase.CARRYING, True, 600.0, True),
        (Phase.CARRYING, True, 0.0, False),
        (Phase.IDLE, True, 600.0, False),  # every circuit is heard, and holds nothing
        (Phase.SEAL_TEST, True, 30.0, True),  # under "load on", but on: a small panel
    ],
)
def test_load_hangs_where_it_may(phase: Phase, sealed: bool, known_kg: float, flight: bool) -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 8.0), load_kg=known_kg)
    state.phase = PhaseState(phase=phase, since_s=0.0, sealed=sealed)
    assert tell(state, 8.0).in_flight is flight


def test_load_on_at_the_start_hangs_while_a_circuit_was_never_heard() -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 8.0), vacuum_kpa={"A": 0.0}, load_kg=600.0)
    assert state.phase.phase is Phase.IDLE
    assert tell(state, 8.0).in_flight


@pytest.mark.parametrize(
    ("vacuum_kpa", "projected"),
    [({"A": 64.0, "B": 64.0}, {"A", "B"}), ({"A": 64.0, "B": 7.8}, {"A"}), ({"A": 64.0, "B": 7.9}, {"A", "B"})],
)
def test_only_a_circuit_that_is_attached_is_projected(vacuum_kpa: dict[str, float], projected: set[str]) -> None:
    """15 % of its warning level of 52 kPa, 7.8 kPa, holds nothing."""
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 5.0), vacuum_kpa=vacuum_kpa)
    given = tell(state, 5.0)
    assert {name for name, part in given.circuits.items() if part.leak is not None} == projected


def test_circuit_that_is_silent_or_at_fault_is_not_projected() -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 60.0))
    given = tell(state, 60.0).circuits["A"]
    assert (given.leak is None, given.to_warning is None) == (False, False)
    assert given.assumed == given.leak.assumed  # type: ignore[union-attr]
    silent = tell(state, 63.5).circuits["A"]
    assert (silent.leak, silent.to_warning, silent.reserve, silent.assumed) == (None, None, None, ())
    state.gauges["A"] = replace(state.gauges["A"], fault="frozen", fault_since_s=58.0)
    faulty = tell(state, 60.0).circuits["A"]
    assert (faulty.leak, faulty.to_warning, faulty.reserve, faulty.fault_for_s) == (None, None, None, 2.0)


def test_state_before_the_silence_is_told_only_in_it() -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 5.0))
    assert tell(state, 5.0).circuits["A"].before is None
    assert tell(state, 8.5).circuits["A"].before is CircuitState.HOLDING


@pytest.mark.parametrize(("after_s", "state_told"), [(4.9, CircuitState.BUILDING), (5.0, CircuitState.LOW)])
def test_circuit_just_attached_is_building_for_five_seconds(after_s: float, state_told: CircuitState) -> None:
    """Then what does not rise, and has no pump that says it runs, is low."""
    state = lifter.begin(bare())
    hear(state, 0.0, vacuum_kpa={"A": 30.0, "B": 30.0})
    state.phase = PhaseState(phase=Phase.SEALING, since_s=100.0)
    hear_s = 100.0 + after_s
    lifter.take(state, Reading("dock-6", circuits_of({"A": 30.0, "B": 30.0})), hear_s)
    assert tell(state, hear_s).circuits["A"].state is state_told


def test_level_is_what_the_lift_needs_where_that_is_more_than_the_warning_level() -> None:
    state = in_the_air(lifter.begin(dock(wll_kg=5000.0)))
    hear(state, *seconds(0.5, 1.5), load_kg=600.0)
    given = tell(state, 1.5).circuits["A"]
    assert given.level == "warning"
    assert given.level_kpa == 52.0
    assert given.needed_kpa is not None
    state.load = replace(state.load, largest_kg=2000.0)
    given = tell(state, 1.5).circuits["A"]
    assert given.level == "needed"
    assert given.level_kpa == given.needed_kpa
    assert given.needed_kpa is not None
    assert given.needed_kpa > 52.0


def test_vacuum_lost_is_measured_from_the_highest_of_the_last_two_seconds() -> None:
    state = lifter.begin(bare())
    for now_s, kpa in [(0.0, 66.0), (1.0, 64.0), (2.0, 65.0), (3.0, 63.0)]:
        hear(state, now_s, vacuum_kpa={"A": kpa, "B": 64.0})
    assert tell(state, 3.0).circuits["A"].lost_kpa == 2.0
    assert tell(state, 3.0).circuits["B"].lost_kpa == 0.0


@pytest.mark.parametrize(
    ("said", "lost_kpa"),
    [
        pytest.param([(0.0, 64.0), (2.5, 61.0)], 3.0, id="heard every 2.5 s"),
        pytest.param([(0.0, 64.0), (2.5, 61.0), (5.0, 59.0)], 2.0, id="since the reading before alone"),
        pytest.param([(0.0, 64.0), (2.5, 66.0)], 0.0, id="gained"),
        pytest.param([(0.0, 64.0), (1.0, 64.0), (3.5, 61.0)], 3.0, id="after one that was missed"),
        pytest.param(
            [*((float(n), 64.0) for n in range(8)), (11.0, 61.0)], 0.0, id="after a gap nothing is known of it"
        ),
    ],
)
def test_vacuum_lost_by_a_circuit_heard_less_often_is_measured_from_the_reading_before(
    said: list[tuple[float, float]], lost_kpa: float
) -> None:
    state = lifter.begin(bare())
    for now_s, kpa in said:
        hear(state, now_s, vacuum_kpa={"A": kpa, "B": 64.0})
    end_s = said[-1][0]
    assert tell(state, end_s).circuits["A"].lost_kpa == lost_kpa
    assert tell(state, end_s + 2.0).circuits["A"].lost_kpa == lost_kpa
    assert tell(state, end_s + 2.1).circuits["A"].lost_kpa == 0.0


@pytest.mark.parametrize(
    "plan",
    [
        {"pads": ("A1", "A2", "B1", "B2")},
        {"centre": Centre(x_mm=300.0)},
        {"wind": Wind(away_n=2000.0)},
        {"bend_factor": 1.5},
        {"surface": Surface.WET},
    ],
)
def test_what_holds_is_judged_by_everything_the_plan_says(plan: dict[str, Any]) -> None:
    """Each of these asks more of the pads than the same panel without it; put in force between two readings, it counts."""
    state = lifter.begin(dock(wll_kg=5000.0))
    hear(state, 0.0, tilt_deg=90.0)
    state.plan = Plan(weight_kg=600.0)
    plain = tell(state, 0.0).holding
    state.plan = Plan(weight_kg=600.0, **plan)
    state.surface = state.plan.surface
    asked = tell(state, 0.0).holding
    assert plain is not None
    assert asked is not None
    assert asked.rated_kg < plain.rated_kg
    state.plan, state.surface = Plan(weight_kg=600.0), None
    assert tell(state, 0.0).holding == plain


def test_holding_is_that_of_the_lower_of_vacuum_and_warning_level_and_now_that_of_the_vacuum() -> None:
    state = lifter.begin(dock(wll_kg=5000.0))
    held = {}
    for now_s, kpa in [(0.0, 64.0), (10.0, 52.0), (20.0, 45.0)]:
        hear(state, now_s, vacuum_kpa={"A": kpa, "B": kpa}, tilt_deg=90.0)
        hear(state, now_s + 2.0, vacuum_kpa={"A": kpa, "B": kpa}, tilt_deg=90.0)
        held[kpa] = tell(state, now_s + 2.0).holding
        assert held[kpa] is not None
    assert held[64.0].rated_kg == held[52.0].rated_kg > held[45.0].rated_kg
    assert held[64.0].now_kg > held[52.0].now_kg > held[45.0].now_kg


def test_last_reading_is_when_a_live_message_came_last() -> None:
    state = lifter.begin(bare())
    hear(state, 1.0, 2.5)
    assert tell(state, 9.0).last_reading_s == 2.5
    assert tell(state, 9.0).ever_heard


@pytest.mark.parametrize(
    ("tilt_deg", "judged"),
    [(187.0, Move(0.0, 180.0)), (-9.0, Move(0.0, 60.0)), (70.5, Move(0.0, 71.0)), (179.6, Move(0.0, 180.0))],
)
def test_panel_that_swings_past_its_ends_is_judged_by_no_tilt_there_is_not(tilt_deg: float, judged: Move) -> None:
    state = lifter.begin(dock())
    state.plan = Plan(weight_kg=600.0, move=Move(0.0, 60.0), tilts_given=True)
    hear(state, 0.0, tilt_deg=tilt_deg)
    tell(state, 0.0)
    [key] = state.models
    assert judged in key


def test_silence_the_lifter_is_judged_by_stands_in_its_facts() -> None:
    assert tell(lifter.begin(bare()), 0.0).stale_after_s == 3.0
    assert tell(lifter.begin(bare(expected_interval_s=2.0)), 0.0).stale_after_s == 7.0


def test_pump_is_judged_by_what_its_record_of_this_lift_shows() -> None:
    state = in_the_air(lifter.begin(bare()))
    assert (tell(state, 0.0).circuits["A"].duty_ratio, tell(state, 0.0).circuits["A"].pump_down_s) == (None, 0.0)
    lifts.open_lift(state, 0.0, utc_minus_now_s=0.0, version="1")
    assert state.log is not None
    condition = state.log.circuits["A"].condition
    condition.pump_down_s = 14.0
    condition.duty.first_ratio, condition.duty.steady_ratio = 0.2, 0.35
    state.past = PastLifts(pump_down_s={"A": (10.0,) * 5})
    part = tell(state, 0.0).circuits["A"]
    assert (part.pump_down_s, part.pump_down_limit_s) == (14.0, 15.0)
    assert (part.duty_ratio, part.duty_limit_ratio) == (0.35, 0.4)
    assert tell(state, 0.0).circuits["B"].pump_down_limit_s is None
