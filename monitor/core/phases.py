"""One lift's phases, and what moves between them. No one-way chain: touch down and lift again is carrying again.

With the load on or not known, loss of vacuum never leads to a better phase: only a load known to be off, or a
named confirmation, does.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from monitor.core.load import LoadKnown
from monitor.core.timing import lasted, since

AGAIN_RATIO: Final = 0.60
AGAIN_FOR_S: Final = 3.0
"""Carrying again: load over 60 % of this lift's largest for 3 s."""

DOWN_RATIO: Final = 0.80
DOWN_FOR_S: Final = 2.0
"""Landing: load under 80 % of this lift's largest for 2 s."""

TURN_RATIO: Final = 0.20
"""Between the two, only a load that has moved this far from its last turn changes the phase: what swings between them
never does. Over 80 % and under 60 % both thresholds say the same, whatever the turn."""

STEADY_FOR_S: Final = 3.0
"""Lifting becomes carrying once the load has not grown for so long."""

SAME_LIFT_WITHIN_S: Final = 900.0
"""A second pick inside 15 min is the same lift; attached and unladen for longer is parked."""

STANDS_FOR_S: Final = 10.0
"""Attached and not building for so long is sealed as well as it will be, whatever its level."""

BUILT_WITHIN_S: Final = 60.0
"""Sealed and its vacuum still rising, a lifter without a load cell is not carrying yet; after so long it counts as such."""

OPEN_FOR_S: Final = 1.0
RELEASED_FOR_S: Final = 60.0


class Phase(StrEnum):
    """Where a lift stands (DESIGN, words)."""

    IDLE = "idle"
    SEALING = "sealing"
    SEAL_TEST = "seal_test"
    LIFTING = "lifting"
    CARRYING = "carrying"
    LANDING = "landing"
    RELEASED = "released"
    PARKED = "parked"


IN_FLIGHT: Final = frozenset({Phase.LIFTING, Phase.CARRYING, Phase.LANDING})
ATTACHED: Final = frozenset({Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED}) | IN_FLIGHT


@dataclass(frozen=True, slots=True)
class PhaseInputs:
    """What the phases are decided from, all of it believed and fresh, or it is not counted."""

    any_attached: bool  # some circuit is known to hold vacuum
    all_open: bool  # every circuit is known to be open (every one heard, where the load is known to be off)
    all_sealed: bool  # every circuit is known to be above its warning level
    pump_on: bool  # some pump says it runs
    load: LoadKnown
    load_kg: float | None  # fresh net load
    largest_kg: float | None
    load_grew_s: float | None
    weighs: bool  # a load cell is configured and has been heard in this lift
    building: bool = True  # some circuit is known to rise, or its pump says it runs
    rising: bool = False  # some circuit's vacuum is known to rise
    picked_up: bool = False
    landed_fixed: bool = False


@dataclass(frozen=True, slots=True)
class PhaseState:
    """The phase, since when, and what the next one waits for."""

    phase: Phase = Phase.IDLE
    since_s: float | None = None
    again_since_s: float | None = None
    down_since_s: float | None = None
    open_since_s: float | None = None
    unladen_since_s: float | None = None
    turn_kg: float | None = None
    picks_n: int = 0
    sealed: bool = False
    touched_down: bool = False
    released_s: float | None = None  # when the last lift was released


def advance(state: PhaseState, inputs: PhaseInputs, now_s: float) -> PhaseState:
    """Return the next phase state."""
    state = _timers(state, inputs, now_s)
    phase = _next(state, inputs, now_s)
    if phase is state.phase:
        return state
    return _enter(state, phase, inputs, now_s)


def _timers(state: PhaseState, inputs: PhaseInputs, now_s: float) -> PhaseState:
    """Run the clocks that phases wait for, and follow the load's turning point."""
    load_kg, largest_kg = inputs.load_kg, inputs.largest_kg
    over = under = False
    turn_kg = state.turn_kg
    if load_kg is not None and largest_kg is not None:
        moved_kg = TURN_RATIO * largest_kg
        if state.phase is Phase.LANDING:
            turn_kg = load_kg if turn_kg is None else min(turn_kg, load_kg)
            turned = load_kg >= turn_kg + moved_kg or load_kg > DOWN_RATIO * largest_kg
            over = load_kg > AGAIN_RATIO * largest_kg and turned
        else:
            turn_kg = load_kg if turn_kg is None else max(turn_kg, load_kg)
            turned = load_kg <= turn_kg - moved_kg or load_kg < AGAIN_RATIO * largest_kg
            under = load_kg < DOWN_RATIO * largest_kg and turned
    return replace(
        state,
        turn_kg=turn_kg,
        again_since_s=since(state.again_since_s, over, now_s),
        down_since_s=since(state.down_since_s, under, now_s),
        open_since_s=since(state.open_since_s, inputs.all_open, now_s),
        unladen_since_s=since(state.unladen_since_s, inputs.load is LoadKnown.OFF, now_s),
        sealed=state.sealed or inputs.all_sealed,
        touched_down=state.touched_down or (state.phase is Phase.LANDING and inputs.load is LoadKnown.OFF),
    )


def _next(state: PhaseState, inputs: PhaseInputs, now_s: float) -> Phase:
    match state.phase:
        case Phase.IDLE | Phase.RELEASED:
            return _from_detached(state, inputs, now_s)
        case Phase.SEALING | Phase.SEAL_TEST | Phase.PARKED:
            return _from_ground(state, inputs, now_s)
        case Phase.LIFTING | Phase.CARRYING | Phase.LANDING:
            return _from_flight(state, inputs, now_s)


def _from_detached(state: PhaseState, inputs: PhaseInputs, now_s: float) -> Phase:
    if inputs.any_attached:
        return Phase.SEALING
    if state.phase is Phase.IDLE and inputs.load is LoadKnown.ON and state.released_s is not None:
        grips = not lasted(state.released_s, SAME_LIFT_WITHIN_S, now_s)
        return Phase.RELEASED if grips else Phase.IDLE  # with every circuit open: a pad may still grip
    over = state.phase is Phase.RELEASED and inputs.load is not LoadKnown.ON
    if over and lasted(state.since_s, RELEASED_FOR_S, now_s):
        return Phase.IDLE
    return state.phase


def _from_ground(state: PhaseState, inputs: PhaseInputs, now_s: float) -> Phase:
    if inputs.load is LoadKnown.ON:
        return Phase.LIFTING
    stands = inputs.any_attached and not inputs.building and lasted(state.since_s, STANDS_FOR_S, now_s)
    built = state.sealed and (not inputs.rising or lasted(state.since_s, BUILT_WITHIN_S, now_s))
    may_carry = (built or stands) and not inputs.weighs and not inputs.landed_fixed
    if inputs.picked_up or (may_carry and state.phase is not Phase.PARKED):
        return Phase.CARRYING  # without a load cell everything attached counts as carrying
    if lasted(state.open_since_s, OPEN_FOR_S, now_s) and (inputs.load is LoadKnown.OFF or not state.sealed):
        return Phase.IDLE
    if lasted(state.unladen_since_s, SAME_LIFT_WITHIN_S, now_s) and lasted(state.since_s, SAME_LIFT_WITHIN_S, now_s):
        return Phase.PARKED
    if state.phase is Phase.SEALING and inputs.all_sealed and not inputs.pump_on:
        return Phase.SEAL_TEST
    return state.phase


def _from_flight(state: PhaseState, inputs: PhaseInputs, now_s: float) -> Phase:
    if inputs.picked_up:
        return Phase.CARRYING
    if inputs.load is LoadKnown.OFF or inputs.landed_fixed:
        if lasted(state.open_since_s, OPEN_FOR_S, now_s):
            return Phase.RELEASED
        if state.phase is Phase.LANDING and lasted(state.unladen_since_s, SAME_LIFT_WITHIN_S, now_s):
            return Phase.PARKED
        return Phase.LANDING
    if state.phase is Phase.LANDING:
        return Phase.CARRYING if lasted(state.again_since_s, AGAIN_FOR_S, now_s) else Phase.LANDING
    if lasted(state.down_since_s, DOWN_FOR_S, now_s):
        return Phase.LANDING
    if state.phase is Phase.LIFTING and inputs.load is LoadKnown.ON and lasted(inputs.load_grew_s, STEADY_FOR_S, now_s):
        return Phase.CARRYING
    return state.phase


def _enter(state: PhaseState, phase: Phase, inputs: PhaseInputs, now_s: float) -> PhaseState:
    picked = phase is Phase.LIFTING or (
        phase is Phase.CARRYING and (state.touched_down or state.phase not in IN_FLIGHT)
    )
    over = state.phase in {Phase.IDLE, Phase.RELEASED, Phase.PARKED}
    return replace(
        state,
        phase=phase,
        since_s=now_s,
        again_since_s=None,
        down_since_s=None,
        turn_kg=inputs.load_kg,
        picks_n=(0 if over else state.picks_n) + int(picked),
        sealed=False if phase in {Phase.IDLE, Phase.RELEASED} else state.sealed,
        touched_down=False,
        released_s=now_s if phase is Phase.RELEASED and state.phase in IN_FLIGHT else state.released_s,
    )
