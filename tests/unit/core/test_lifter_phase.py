"""What a lifter's phase is moved on, and how another pick is noticed: from a memory set by hand, one instant each."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import lifter
from monitor.core.lifter import LifterState, Plan
from monitor.core.load import Load, LoadKnown
from monitor.core.phases import Phase, PhaseInputs, PhaseState
from monitor.core.picked_again import Landed
from monitor.core.pumps import PumpWatch
from monitor.core.readings import Pump
from monitor.core.sensors import Gauge
from monitor.core.units import HOIST_KPA_PER_M
from tests.histories import NO_CELL, dock
from tests.unit.core.test_lifter_readings import bare

NOW_S = 100.0
OFF = Load(net_kg=0.0, at_s=NOW_S, in_band_since_s=90.0, in_band_n=5)
ON = Load(net_kg=600.0, at_s=NOW_S, above_since_s=90.0, largest_kg=620.0, grew_s=95.0)


def state_of(vacuum_kpa: dict[str, float | None], **changes: Any) -> LifterState:
    """Circuits of which this is believed just now; ``None``: silent for ten seconds."""
    state = lifter.begin(bare(**changes.pop("config", {})))
    for name, kpa in vacuum_kpa.items():
        at_s = NOW_S - 10.0 if kpa is None else NOW_S
        state.gauges[name] = Gauge(64.0 if kpa is None else kpa, at_s, at_s)
    for name, value in changes.items():
        setattr(state, name, value)
    return state


def moved_on(state: LifterState, monkeypatch: pytest.MonkeyPatch) -> PhaseInputs:
    """What the phase is moved on; it stays where it is."""
    seen: list[PhaseInputs] = []

    def noted(phase: PhaseState, inputs: PhaseInputs, _now_s: float) -> PhaseState:
        seen.append(inputs)
        return phase

    monkeypatch.setattr(lifter.phases, "advance", noted)
    lifter.advance_phase(state, NOW_S)
    return seen[0]


@pytest.mark.parametrize(
    ("vacuum_kpa", "load", "told"),
    [  # attached, all open, all sealed; the warning level is 52 kPa, open is 15 % of it
        pytest.param({"A": 64.0, "B": 64.0}, ON, (True, False, True), id="sealed"),
        pytest.param({"A": 64.0, "B": 52.0}, ON, (True, False, False), id="one at its warning level"),
        pytest.param({"A": 64.0, "B": 7.8}, ON, (True, False, False), id="one open"),
        pytest.param({"A": 7.8, "B": 7.8}, ON, (False, True, False), id="both open"),
        pytest.param({"A": 7.8, "B": 7.9}, ON, (True, False, False), id="one all but open"),
        pytest.param({"A": 64.0, "B": None}, ON, (True, False, False), id="one sealed, one silent"),
        pytest.param({"A": 0.0, "B": None}, ON, (False, False, False), id="one open, one silent, load on"),
        pytest.param({"A": 0.0, "B": None}, OFF, (False, True, False), id="one open, one silent, load off"),
        pytest.param({"A": None, "B": None}, OFF, (False, False, False), id="both silent"),
    ],
)
def test_what_the_circuits_hold(
    vacuum_kpa: dict[str, float | None], load: Load, told: tuple[bool, bool, bool], monkeypatch: pytest.MonkeyPatch
) -> None:
    inputs = moved_on(state_of(vacuum_kpa, load=load), monkeypatch)
    assert (inputs.any_attached, inputs.all_open, inputs.all_sealed) == told


def test_silence_of_a_circuit_is_by_the_interval_of_the_site_file(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten seconds are less than three and a half intervals of five."""
    state = state_of({"A": None, "B": None}, config={"expected_interval_s": 5.0})
    assert moved_on(state, monkeypatch).all_sealed


def test_gauge_at_fault_says_nothing_of_its_circuit(monkeypatch: pytest.MonkeyPatch) -> None:
    state = state_of({"A": 64.0, "B": 64.0}, load=ON)
    state.gauges["B"] = replace(state.gauges["B"], fault="frozen")
    inputs = moved_on(state, monkeypatch)
    assert (inputs.any_attached, inputs.all_sealed) == (True, False)


def test_circuit_whose_pads_are_not_in_use_is_not_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    state = lifter.begin(dock())
    state.gauges = {"A": Gauge(64.0, NOW_S, NOW_S), "B": Gauge(0.0, NOW_S, NOW_S, pump=Pump.ON)}
    state.plan = Plan(pads=("A1", "A2"))
    inputs = moved_on(state, monkeypatch)
    assert (inputs.all_sealed, inputs.pump_on) == (True, False)


@pytest.mark.parametrize(
    ("pump", "rose", "gained_s", "told"),
    [  # pump on, building, rising
        pytest.param(Pump.OFF, False, None, (False, False, False), id="rests"),
        pytest.param(None, False, None, (False, False, False), id="says nothing"),
        pytest.param(Pump.ON, False, None, (True, True, False), id="runs and gains nothing"),
        pytest.param(Pump.ON, False, 95.0, (True, True, True), id="runs and gained lately"),
        pytest.param(Pump.ON, False, 80.0, (True, True, False), id="runs and gained long ago"),
        pytest.param(Pump.OFF, True, None, (False, True, True), id="rises by itself"),
    ],
)
def test_what_the_pumps_do(
    pump: Pump | None,
    rose: bool,
    gained_s: float | None,
    told: tuple[bool, bool, bool],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Of one circuit; the other one rests."""
    state = state_of({"A": 64.0, "B": 64.0})
    state.gauges["A"] = replace(state.gauges["A"], pump=Pump.OFF)
    state.gauges["B"] = replace(state.gauges["B"], pump=pump)
    state.rose["B"] = rose
    state.pump_watches["B"] = PumpWatch(pump, mark_kpa=60.0, mark_s=gained_s)
    inputs = moved_on(state, monkeypatch)
    assert (inputs.pump_on, inputs.building, inputs.rising) == told


@pytest.mark.parametrize(
    ("config", "load", "told"),
    [  # known, load, largest, when it grew, whether it is weighed
        pytest.param({}, ON, (LoadKnown.ON, 600.0, 620.0, 95.0, True), id="on"),
        pytest.param({}, OFF, (LoadKnown.OFF, 0.0, None, None, True), id="off"),
        pytest.param({}, replace(ON, at_s=90.0), (LoadKnown.UNSURE, None, 620.0, 95.0, True), id="silent"),
        pytest.param({}, Load(), (LoadKnown.UNSURE, None, None, None, False), id="never heard"),
        pytest.param(NO_CELL, Load(), (LoadKnown.UNSURE, None, None, None, False), id="no cell"),
    ],
)
def test_what_the_load_is(
    config: dict[str, Any], load: Load, told: tuple[object, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    inputs = moved_on(state_of({"A": 64.0, "B": 64.0}, load=load, config=config), monkeypatch)
    assert (inputs.load, inputs.load_kg, inputs.largest_kg, inputs.load_grew_s, inputs.weighs) == told


@pytest.mark.parametrize(
    ("picked_up", "landed_fixed", "confirmed_off", "told"),
    [
        (False, False, False, (False, False)),
        (True, False, False, (True, False)),
        (False, True, False, (False, True)),
        (False, False, True, (False, True)),
    ],
)
def test_named_act_counts_once_and_a_confirmed_landing_until_the_next_pick(
    picked_up: bool,
    landed_fixed: bool,
    confirmed_off: bool,
    told: tuple[bool, bool],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    state = state_of({"A": 64.0, "B": 64.0}, config=NO_CELL, load=Load(confirmed_off=confirmed_off))
    state.picked_up, state.landed_fixed = picked_up, landed_fixed
    inputs = moved_on(state, monkeypatch)
    assert (inputs.picked_up, inputs.landed_fixed) == told
    assert (state.picked_up, state.landed_fixed) == (False, False)
    inputs = moved_on(state, monkeypatch)
    assert (inputs.picked_up, inputs.landed_fixed) == (False, confirmed_off)


@pytest.mark.parametrize(
    ("before", "after", "steepest_deg"),
    [
        (Phase.LANDING, Phase.RELEASED, 90.0),
        (Phase.SEALING, Phase.IDLE, 90.0),
        (Phase.RELEASED, Phase.RELEASED, 150.0),  # a new panel may be turned while the last one's release is told
        (Phase.CARRYING, Phase.LANDING, 150.0),
    ],
)
def test_steepest_tilt_is_forgotten_as_the_panel_is_let_go(
    before: Phase, after: Phase, steepest_deg: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = state_of({"A": 0.0, "B": 0.0}, tilt_high_deg=150.0, phase=PhaseState(phase=before))
    monkeypatch.setattr(lifter.phases, "advance", lambda _phase, _inputs, _now_s: PhaseState(phase=after))
    lifter.advance_phase(state, NOW_S)
    assert state.tilt_high_deg == steepest_deg


# --- another pick


def hook(state: LifterState, height_m: float) -> LifterState:
    """A height heard three times."""
    state.witness.heights_m = (height_m,) * 3
    return state


LOW = Landed("height", 20.0 * HOIST_KPA_PER_M)


@pytest.mark.parametrize(
    ("vacuum_kpa", "load", "landed", "height_m", "follows"),
    [
        pytest.param({"A": 64.0, "B": 64.0}, OFF, None, 25.0, Landed("height", 0.3), id="weight off, pads sealed"),
        pytest.param({"A": 64.0, "B": 40.0}, OFF, None, 25.0, None, id="weight off, one not sealed"),
        pytest.param({"A": 64.0, "B": 40.0}, OFF, LOW, 25.0, LOW, id="followed already"),
        pytest.param({"A": 64.0, "B": 0.0}, OFF, LOW, 25.0, LOW, id="one open: the other still holds"),
        pytest.param({"A": 64.0, "B": 64.0}, OFF, LOW, 15.0, Landed("height", 0.18), id="lower still"),
        pytest.param({"A": 0.0, "B": 0.0}, OFF, LOW, 25.0, None, id="let go"),
        pytest.param({"A": 64.0, "B": 64.0}, ON, LOW, 25.0, None, id="weight on"),
        pytest.param({"A": 64.0, "B": 64.0}, replace(OFF, at_s=90.0), LOW, 25.0, None, id="cell silent"),
    ],
)
def test_with_a_load_cell_the_hook_is_followed_while_the_weight_is_off_and_the_pads_are_on(
    vacuum_kpa: dict[str, float | None],
    load: Load,
    landed: Landed | None,
    height_m: float,
    follows: Landed | None,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    state = hook(state_of(vacuum_kpa, load=load, landed=landed), height_m)
    moved_on(state, monkeypatch)
    if follows is None:
        assert state.landed is None
    else:
        assert state.landed is not None
        assert (state.landed.climb_from, state.landed.opened) == ("height", False)
        assert state.landed.climb_kpa == pytest.approx(follows.climb_kpa)


@pytest.mark.parametrize(
    ("height_m", "known"), [(22.9, LoadKnown.OFF), (23.1, LoadKnown.UNSURE), (None, LoadKnown.OFF)]
)
def test_cell_that_reads_nothing_while_the_hook_comes_up_three_metres_is_not_believed(
    height_m: float | None, known: LoadKnown, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = state_of({"A": 64.0, "B": 64.0}, load=OFF, landed=LOW)
    if height_m is not None:
        hook(state, height_m)
    assert moved_on(state, monkeypatch).load is known
    assert lifter._load_known(replace_load(state, ON), NOW_S) is LoadKnown.ON


def replace_load(state: LifterState, load: Load) -> LifterState:
    state.load = load
    return state


@pytest.mark.parametrize(
    ("vacuum_kpa", "confirmed", "landed", "climbed_m", "picked"),
    [
        pytest.param({"A": 64.0, "B": 64.0}, True, LOW, 22.9, False, id="hardly up"),
        pytest.param({"A": 64.0, "B": 64.0}, True, LOW, 23.1, True, id="three metres up"),
        pytest.param({"A": 40.0, "B": 7.8}, True, LOW, 23.1, True, id="up, and one circuit holds"),
        pytest.param({"A": 0.0, "B": 0.0}, True, LOW, 23.1, False, id="up with nothing on it"),
        pytest.param({"A": 64.0, "B": 64.0}, False, LOW, 23.1, False, id="nobody said it was landed"),
        pytest.param({"A": 64.0, "B": 64.0}, True, replace(LOW, opened=True), 20.0, True, id="opened and sealed anew"),
        pytest.param({"A": 64.0, "B": 0.0}, True, LOW, 20.0, False, id="one opens"),
        pytest.param({"A": 64.0, "B": 64.0}, True, None, 23.1, False, id="just said"),
    ],
)
def test_without_a_load_cell_a_landing_stands_until_it_lifts_again(
    vacuum_kpa: dict[str, float | None],
    confirmed: bool,
    landed: Landed | None,
    climbed_m: float,
    picked: bool,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    state = state_of(vacuum_kpa, config=NO_CELL, load=Load(confirmed_off=confirmed), landed=landed, landed_fixed=True)
    state.witness.climb_from = "height"
    state.witness.climbs = ((NOW_S, climbed_m * HOIST_KPA_PER_M),) * 3
    inputs = moved_on(state, monkeypatch)
    assert inputs.picked_up is picked
    assert inputs.landed_fixed is not picked
    assert state.load.confirmed_off is (confirmed and not picked)
    assert (state.landed is None) is (picked or not confirmed)
    if state.landed is not None:
        assert state.landed.opened is (vacuum_kpa["B"] == 0.0)
        assert state.landed.climb_from == "height"
