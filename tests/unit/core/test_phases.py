"""From idle to released and back: both sides of every load and time that moves a phase, and what never does."""

from collections.abc import Iterable
from dataclasses import replace

import pytest

from monitor.core.load import LoadKnown
from monitor.core.phases import ATTACHED, IN_FLIGHT, Phase, PhaseInputs, PhaseState, advance
from tests.histories import values_of

ON, OFF, UNSURE = LoadKnown.ON, LoadKnown.OFF, LoadKnown.UNSURE
OPEN = PhaseInputs(
    any_attached=False,
    all_open=True,
    all_sealed=False,
    pump_on=False,
    load=OFF,
    load_kg=0.0,
    largest_kg=None,
    load_grew_s=None,
    weighs=True,
)
BUILDING = replace(OPEN, any_attached=True, all_open=False, pump_on=True)
SEALED = replace(BUILDING, all_sealed=True, pump_on=False)
HANGING = replace(SEALED, load=ON, load_kg=600.0, largest_kg=600.0, load_grew_s=0.0)
UNHEARD = replace(OPEN, all_open=False, load=UNSURE, load_kg=None)


def go(state: PhaseState, inputs: PhaseInputs, for_s: float, from_s: float | None = None) -> PhaseState:
    """The same inputs at 10 Hz for so long, beginning a tenth of a second on."""
    from_s = state.since_s or 0.0 if from_s is None else from_s
    for number in range(1, round(for_s * 10) + 1):
        state = advance(state, inputs, from_s + number / 10.0)
    return state


def load_history(state: PhaseState, history: str, from_s: float, largest_kg: float = 600.0) -> list[PhaseState]:
    """A history of load readings at 10 Hz, the load never known to be off."""
    states = []
    for number, value in enumerate(values_of(history), start=1):
        assert isinstance(value, float)
        inputs = replace(HANGING, load_kg=value, largest_kg=largest_kg, load=ON if value > 30.0 else UNSURE)
        state = advance(state, inputs, from_s + number / 10.0)
        states.append(state)
    return states


def at(phase: Phase, **changes: object) -> PhaseState:
    return replace(PhaseState(phase=phase, since_s=0.0, sealed=phase in ATTACHED), **changes)  # type: ignore[arg-type]


CARRYING = at(Phase.CARRYING, picks_n=1, turn_kg=600.0)


def names(states: Iterable[PhaseState]) -> list[str]:
    told: list[str] = []
    for state in states:
        if not told or told[-1] != state.phase.value:
            told.append(state.phase.value)
    return told


# --- the lift that goes well


def test_a_lift_goes_from_idle_to_released() -> None:
    states = [PhaseState()]
    landing = replace(HANGING, load_kg=300.0)
    down = replace(SEALED, largest_kg=600.0)
    steps = [(OPEN, 2), (BUILDING, 5), (SEALED, 60), (HANGING, 10), (landing, 3), (down, 20)]
    now_s = 0.0
    for inputs, for_s in [*steps, (replace(OPEN, largest_kg=600.0), 2)]:
        for _ in range(for_s * 10):
            now_s += 0.1
            states.append(advance(states[-1], inputs, now_s))
    assert names(states) == ["idle", "sealing", "seal_test", "lifting", "carrying", "landing", "released"]
    assert states[-1].picks_n == 1


def test_vacuum_on_any_circuit_opens_a_lift() -> None:
    assert advance(PhaseState(), BUILDING, 1.0).phase is Phase.SEALING


def test_seal_test_waits_for_the_pumps() -> None:
    assert go(at(Phase.SEALING), replace(SEALED, pump_on=True), 60.0).phase is Phase.SEALING
    assert go(at(Phase.SEALING), SEALED, 0.1).phase is Phase.SEAL_TEST


def test_load_coming_on_is_lifting_from_any_ground_phase() -> None:
    for phase in (Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED):
        lifted = advance(at(phase), HANGING, 1.0)
        assert (lifted.phase, lifted.picks_n) == (Phase.LIFTING, 1)


@pytest.mark.parametrize(("for_s", "phase"), [(2.9, Phase.LIFTING), (3.0, Phase.CARRYING)])
def test_lifting_becomes_carrying_once_the_load_has_not_grown_for_three_seconds(for_s: float, phase: Phase) -> None:
    assert advance(at(Phase.LIFTING), HANGING, for_s).phase is phase


# --- landing and lifting again


@pytest.mark.parametrize(
    ("history", "phase"),
    [
        ("480x100", Phase.CARRYING),  # exactly 80 % of the largest
        ("479x20", Phase.CARRYING),  # under it for 1.9 s
        ("479x21", Phase.LANDING),  # for 2.0 s
        ("470x10 600x1 470x20", Phase.CARRYING),  # a bounce begins anew
    ],
)
def test_under_eighty_percent_for_two_seconds_is_landing(history: str, phase: Phase) -> None:
    assert load_history(CARRYING, history, 10.0)[-1].phase is phase


@pytest.mark.parametrize(
    ("history", "phase"),
    [
        ("360x100", Phase.LANDING),  # exactly 60 % of the largest
        ("361x30", Phase.LANDING),  # over it for 2.9 s
        ("361x31", Phase.CARRYING),  # for 3.0 s
        ("400x20 300x1 400x30", Phase.LANDING),
    ],
)
def test_over_sixty_percent_for_three_seconds_is_carrying_again(history: str, phase: Phase) -> None:
    assert load_history(at(Phase.LANDING, turn_kg=200.0), history, 10.0)[-1].phase is phase


def test_load_hanging_between_the_two_never_flutters() -> None:
    swing = " ".join(["400x15 440x15"] * 20)
    assert names(load_history(CARRYING, f"600>420x20 {swing}", 10.0)) == ["carrying", "landing"]


@pytest.mark.parametrize("half_period_n", [5, 20, 40, 100])
@pytest.mark.parametrize("before", [Phase.CARRYING, Phase.LANDING])
def test_swing_between_the_thresholds_never_flutters(before: Phase, half_period_n: int) -> None:
    swing = " ".join([f"384>456x{half_period_n} 456>384x{half_period_n}"] * 8)  # 64 to 76 % of 600 kg
    assert names(load_history(at(before, turn_kg=420.0), swing, 10.0)) == [before.value]


@pytest.mark.parametrize(("to_kg", "phase"), [(471.0, Phase.LANDING), (473.0, Phase.CARRYING)])
def test_only_a_fifth_of_the_load_above_its_turn_is_lifted_again(to_kg: float, phase: Phase) -> None:
    assert load_history(at(Phase.LANDING, turn_kg=352.0), f"{to_kg}x40", 10.0)[-1].phase is phase


@pytest.mark.parametrize(("to_kg", "phase"), [(401.0, Phase.CARRYING), (399.0, Phase.LANDING)])
def test_only_a_fifth_of_the_load_below_its_turn_is_landing(to_kg: float, phase: Phase) -> None:
    assert load_history(at(Phase.CARRYING, turn_kg=520.0), f"{to_kg}x30", 10.0)[-1].phase is phase


@pytest.mark.parametrize(("to_kg", "phase"), [(480.0, Phase.LANDING), (481.0, Phase.CARRYING)])
def test_over_eighty_percent_is_carrying_whatever_the_turn(to_kg: float, phase: Phase) -> None:
    assert load_history(at(Phase.LANDING, turn_kg=450.0), f"{to_kg}x40", 10.0)[-1].phase is phase


@pytest.mark.parametrize(("to_kg", "phase"), [(360.0, Phase.CARRYING), (359.0, Phase.LANDING)])
def test_under_sixty_percent_is_landing_whatever_the_turn(to_kg: float, phase: Phase) -> None:
    assert load_history(at(Phase.CARRYING, turn_kg=390.0), f"{to_kg}x30", 10.0)[-1].phase is phase


def test_panel_stuck_in_its_rack_is_not_landing_while_the_load_jerks() -> None:
    jerks = " ".join(["300x10 600x10"] * 10)
    assert names(load_history(at(Phase.CARRYING, turn_kg=600.0), jerks, 10.0)) == ["carrying"]


def test_lifted_again_after_touching_down_is_another_pick_of_the_same_lift() -> None:
    state = load_history(CARRYING, "600>0x20 0x20", 10.0)[-1]
    state = go(state, replace(SEALED, largest_kg=600.0), 10.0, from_s=14.0)
    assert (state.phase, state.touched_down) == (Phase.LANDING, True)
    state = load_history(state, "0>600x20 600x40", 24.0)[-1]
    assert (state.phase, state.picks_n) == (Phase.CARRYING, 2)


def test_partial_set_down_is_no_second_pick() -> None:
    states = load_history(CARRYING, "600>200x20 200x50 200>600x20 600x40", 10.0)
    assert names(states) == ["carrying", "landing", "carrying"]
    assert states[-1].picks_n == 1


# --- the end of a lift


@pytest.mark.parametrize(("for_s", "phase"), [(1.0, Phase.LANDING), (1.1, Phase.RELEASED)])
def test_released_once_every_circuit_was_open_for_a_second(for_s: float, phase: Phase) -> None:
    assert go(at(Phase.LANDING), replace(OPEN, largest_kg=600.0), for_s).phase is phase


def test_released_becomes_idle_after_a_minute() -> None:
    assert go(at(Phase.RELEASED), OPEN, 59.9).phase is Phase.RELEASED
    assert go(at(Phase.RELEASED), OPEN, 60.0).phase is Phase.IDLE


def test_next_lift_may_begin_within_that_minute_and_counts_its_own_picks() -> None:
    state = advance(at(Phase.RELEASED, picks_n=2), BUILDING, 20.0)
    assert state.phase is Phase.SEALING
    assert advance(state, HANGING, 40.0).picks_n == 1


@pytest.mark.parametrize("phase", [Phase.SEALING, Phase.SEAL_TEST, Phase.LANDING])
def test_attached_and_unladen_for_fifteen_minutes_is_parked(phase: Phase) -> None:
    before = go(at(phase), SEALED, 899.0).phase
    assert before is not Phase.PARKED
    assert go(at(phase), SEALED, 901.0).phase is Phase.PARKED


def test_pads_taken_off_again_before_a_pick_is_idle() -> None:
    assert go(at(Phase.SEAL_TEST), OPEN, 1.1).phase is Phase.IDLE


# --- what is not known never makes it better


@pytest.mark.parametrize("phase", sorted(IN_FLIGHT))
@pytest.mark.parametrize("load", [ON, UNSURE])
@pytest.mark.parametrize("inputs", [OPEN, UNHEARD, replace(OPEN, pump_on=True)])
def test_loss_of_vacuum_never_ends_a_flight_while_the_load_is_not_known_to_be_off(
    phase: Phase, load: LoadKnown, inputs: PhaseInputs
) -> None:
    lost = replace(inputs, load=load, load_kg=600.0 if load is ON else None, largest_kg=600.0)
    assert go(at(phase, picks_n=1), lost, 1000.0).phase in IN_FLIGHT


@pytest.mark.parametrize("phase", [Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED])
def test_loss_of_vacuum_never_ends_a_sealed_lift_while_the_load_is_not_known(phase: Phase) -> None:
    assert go(at(phase), replace(OPEN, load=UNSURE), 1000.0).phase is phase


@pytest.mark.parametrize("phase", list(Phase))
def test_silence_leaves_every_phase_but_released_as_it_is(phase: Phase) -> None:
    kept = Phase.IDLE if phase is Phase.RELEASED else phase
    assert go(at(phase), UNHEARD, 1000.0).phase is kept


# --- without a load cell


NO_CELL = replace(SEALED, weighs=False, load=UNSURE, load_kg=None)


def test_without_a_load_cell_sealed_counts_as_carrying() -> None:
    state = advance(at(Phase.SEALING, sealed=False), NO_CELL, 1.0)
    assert (state.phase, state.picks_n) == (Phase.CARRYING, 1)


@pytest.mark.parametrize(("for_s", "phase"), [(59.9, Phase.SEALING), (60.0, Phase.CARRYING)])
def test_without_a_load_cell_carrying_waits_for_the_vacuum_to_be_built_a_minute_at_most(
    for_s: float, phase: Phase
) -> None:
    rising = replace(NO_CELL, rising=True, pump_on=True)
    assert go(at(Phase.SEALING), rising, for_s).phase is phase


def test_without_a_load_cell_only_a_named_action_lands() -> None:
    assert go(CARRYING, NO_CELL, 2000.0).phase is Phase.CARRYING
    assert advance(CARRYING, replace(NO_CELL, landed_fixed=True), 2000.0).phase is Phase.LANDING


def test_without_a_load_cell_landed_and_then_open_is_released() -> None:
    landed = replace(NO_CELL, landed_fixed=True, load=OFF)
    state = go(CARRYING, landed, 5.0)
    gone = replace(landed, all_open=True, any_attached=False, all_sealed=False)
    assert go(state, gone, 1.2, from_s=10.0).phase is Phase.RELEASED


@pytest.mark.parametrize(("for_s", "phase"), [(9.9, Phase.SEALING), (10.0, Phase.CARRYING)])
def test_without_a_load_cell_attached_and_no_longer_building_counts_as_carrying(for_s: float, phase: Phase) -> None:
    leaky = replace(NO_CELL, all_sealed=False, building=False)
    assert go(at(Phase.SEALING, sealed=False), leaky, for_s).phase is phase
    assert go(at(Phase.SEALING, sealed=False), replace(leaky, building=True), 60.0).phase is Phase.SEALING


@pytest.mark.parametrize(("after_s", "phase"), [(100.0, Phase.RELEASED), (899.0, Phase.RELEASED), (900.0, Phase.IDLE)])
def test_load_back_on_long_after_the_release_is_a_pad_that_grips(after_s: float, phase: Phase) -> None:
    state = go(at(Phase.LANDING), OPEN, 1.1)
    assert (state.phase, state.released_s) == (Phase.RELEASED, 1.1)
    state = go(state, OPEN, after_s - 1.0)
    assert state.phase is Phase.IDLE
    loaded = replace(OPEN, load=ON, load_kg=80.0)
    state = advance(state, loaded, 1.1 + after_s)
    assert state.phase is phase
    assert go(state, loaded, 1000.0, 1.1 + after_s).phase is phase  # it stands as long as the load does


def test_load_on_an_open_lifter_that_never_lifted_is_idle() -> None:
    assert advance(at(Phase.IDLE), replace(OPEN, load=ON, load_kg=80.0), 5.0).phase is Phase.IDLE


def test_released_with_the_load_back_on_never_becomes_idle() -> None:
    assert go(at(Phase.RELEASED), replace(OPEN, load=ON, load_kg=80.0), 200.0).phase is Phase.RELEASED


def test_named_pick_is_carrying_from_the_ground_and_again_after_landing() -> None:
    assert advance(at(Phase.SEAL_TEST), replace(NO_CELL, picked_up=True), 1.0).phase is Phase.CARRYING
    landed = at(Phase.LANDING, picks_n=1, touched_down=True)
    state = advance(landed, replace(NO_CELL, picked_up=True), 1.0)
    assert (state.phase, state.picks_n) == (Phase.CARRYING, 2)


# --- what each entry leaves behind


@pytest.mark.parametrize(("load_kg", "phase"), [(419.9, Phase.LANDING), (420.0, Phase.CARRYING)])
def test_exactly_a_fifth_up_from_its_lowest_is_a_turn(load_kg: float, phase: Phase) -> None:
    down = load_history(at(Phase.LANDING, picks_n=1, turn_kg=300.0), "300x2", 0.0)[-1]
    assert load_history(down, f"{load_kg}x40", 1.0)[-1].phase is phase


@pytest.mark.parametrize(("load_kg", "phase"), [(440.1, Phase.CARRYING), (440.0, Phase.LANDING)])
def test_exactly_a_fifth_down_from_its_highest_is_a_turn(load_kg: float, phase: Phase) -> None:
    assert load_history(at(Phase.CARRYING, turn_kg=560.0), f"{load_kg}x30", 0.0)[-1].phase is phase


def test_turn_is_counted_from_the_highest_since_not_from_where_the_phase_began() -> None:
    state = load_history(at(Phase.CARRYING, turn_kg=400.0), "600x5 470x40", 0.0)[-1]
    assert state.phase is Phase.LANDING


def test_turn_is_counted_from_the_lowest_since_not_from_where_landing_began() -> None:
    state = load_history(at(Phase.LANDING, turn_kg=470.0), "330x5 460x40", 0.0)[-1]
    assert state.phase is Phase.CARRYING


def test_entering_a_phase_begins_its_clocks_and_its_turn_anew() -> None:
    state = at(Phase.CARRYING, turn_kg=600.0, again_since_s=1.0, down_since_s=1.0, picks_n=1)
    lower = replace(HANGING, load_kg=300.0)
    landing = advance(replace(state, down_since_s=7.9), lower, 10.0)
    assert (landing.phase, landing.since_s, landing.turn_kg) == (Phase.LANDING, 10.0, 300.0)
    assert (landing.again_since_s, landing.down_since_s) == (None, None)


@pytest.mark.parametrize("phase", [Phase.CARRYING, Phase.LANDING])
def test_pads_stay_sealed_through_a_flight_and_are_not_after_it(phase: Phase) -> None:
    state = at(Phase.LIFTING, picks_n=1, turn_kg=600.0)
    flown = load_history(state, "600x1" if phase is Phase.CARRYING else "600x2 100x60", 0.0)[-1]
    flown = go(flown, replace(HANGING, load_grew_s=-10.0), 0.1, 9.0) if phase is Phase.CARRYING else flown
    assert (flown.phase, flown.sealed) == (phase, True)
    released = go(at(Phase.LANDING, sealed=True), OPEN, 1.1)
    assert (released.phase, released.sealed) == (Phase.RELEASED, False)


def test_pads_that_never_sealed_again_go_back_to_idle_though_the_last_lift_was_sealed() -> None:
    state = go(at(Phase.SEALING, sealed=True), OPEN, 1.1)
    assert (state.phase, state.sealed) == (Phase.IDLE, False)


def test_each_touch_down_makes_one_pick() -> None:
    state = at(Phase.LANDING, picks_n=1, turn_kg=0.0, touched_down=True)
    again = load_history(state, "600x40", 0.0)[-1]
    assert (again.phase, again.picks_n, again.touched_down) == (Phase.CARRYING, 2, False)
    down = load_history(again, "100x40", 10.0)[-1]  # lowered, never set down
    assert (down.phase, down.touched_down) == (Phase.LANDING, False)
    assert load_history(down, "600x40", 20.0)[-1].picks_n == 2


def test_touch_down_is_remembered_until_the_next_pick() -> None:
    state = at(Phase.LANDING, picks_n=1)
    touched = advance(state, replace(HANGING, load=OFF, load_kg=0.0, load_grew_s=None), 5.0)
    assert touched.touched_down
    lifted = load_history(touched, "600x40", 5.0)[-1]
    assert (lifted.picks_n, lifted.touched_down) == (2, False)


def test_new_lift_forgets_the_touch_down_of_the_last() -> None:
    state = at(Phase.RELEASED, touched_down=True, picks_n=2, sealed=False)
    assert advance(state, BUILDING, 1.0).touched_down is False


def test_only_a_flight_that_ends_in_a_release_says_when() -> None:
    landing = load_history(at(Phase.CARRYING, turn_kg=600.0), "100x40", 0.0)[-1]
    assert (landing.phase, landing.released_s) == (Phase.LANDING, None)
    grips = advance(at(Phase.IDLE, released_s=4.0), replace(OPEN, load=ON, load_kg=80.0), 100.0)
    assert (grips.phase, grips.released_s) == (Phase.RELEASED, 4.0)


def test_phase_that_is_entered_begins_its_own_clocks_anew() -> None:
    again = load_history(at(Phase.LANDING, turn_kg=0.0, picks_n=1), "600x40", 0.0)
    entered = next(state for state in again if state.phase is Phase.CARRYING)
    down = next(state for state in load_history(again[-1], "100x40", 10.0) if state.phase is Phase.LANDING)
    for state in (entered, down):
        assert (state.again_since_s, state.down_since_s) == (None, None)
