"""One lifter's memory, and the facts of an instant made from it. Chains the folds of the smaller modules."""

import math
import operator
from dataclasses import dataclass, field, replace
from typing import Final

from monitor.core import (
    battery,
    circuits,
    holding,
    intake,
    leak,
    load,
    moved,
    phases,
    picked_again,
    pumps,
    sensors,
    timing,
)
from monitor.core.alarms import Board
from monitor.core.call import Called
from monitor.core.carrying import STILL, Wind
from monitor.core.config import CircuitConfig, LifterConfig, Surface
from monitor.core.factors import surface_friction
from monitor.core.facts import UNHEARD, CircuitFacts, CircuitState, Facts
from monitor.core.holding import Centre, Holding, HoldingModel, Move
from monitor.core.load import Load, LoadKnown
from monitor.core.past_lifts import PastLifts
from monitor.core.phases import IN_FLIGHT, OPEN_FOR_S, Phase, PhaseInputs, PhaseState
from monitor.core.picked_again import Landed
from monitor.core.pumps import PumpWatch
from monitor.core.readings import CircuitReading, Pump, Reading, Valve
from monitor.core.release import Release
from monitor.core.seal_tests import SealTests
from monitor.core.sensors import Gauge, Signal
from monitor.core.summary import ActionLog, LiftLog
from monitor.core.timing import STALE_MOST_S, lasted
from monitor.core.units import HOIST_KPA_PER_M
from monitor.core.warning_time import Bounds

ASSUMED_LOWER_KPA: Final = 3.0
"""A configured ambient is taken this much lower for holding and levels: the weather's daily spread (from memory)."""

AMBIENT_OVER_SITE_KPA: Final = 5.0
"""No weather lifts the ambient pressure so far above the site's (the highest at sea level is some 108 kPa, from memory; 105 is
rare). A sensor that says so would make an absolute gauge read too much vacuum: it is taken as not given."""

UPRIGHT_DEG: Final = 90.0
"""A tilt that is not measured is taken as this."""

MODELS_KEPT_N: Final = 3
RECENT_S: Final = 2.0
RISES_KPA: Final = 0.5
JUST_ATTACHED_S: Final = 5.0
_VALUE: Final = operator.itemgetter(1)
QUANTITIES: Final = (
    "tilt_deg",
    "rotation_deg",
    "height_m",
    "ambient_kpa",
    "temperature_c",
    "battery_v",
    "wind_m_s",
)


@dataclass(frozen=True, slots=True)
class Plan:
    """What the supervisor planned for the lift that follows."""

    weight_kg: float | None = None
    pads: tuple[str, ...] | None = None
    move: Move = field(default_factory=Move)
    centre: Centre = field(default_factory=Centre)
    tilts_given: bool = False
    surface: Surface | None = None
    wind: Wind = STILL
    bend_factor: float = 1.0
    wind_limit_m_s: float | None = None


@dataclass(slots=True)
class LifterState:
    """Everything remembered of one lifter. Its fields are values; the engine replaces them."""

    config: LifterConfig
    leaks: leak.LeakState
    gauges: dict[str, Gauge]
    pump_watches: dict[str, PumpWatch]
    stale_s: dict[str, float]  # silence after which each circuit has no reading, by the interval learned
    recent: dict[
        str, tuple[tuple[float, float], ...]
    ]  # believed within two seconds, or the last two of a slower circuit
    rose: dict[str, bool]  # whether what a circuit read last is that much above what it read just before
    before: dict[str, CircuitState]
    signals: dict[str, Signal] = field(default_factory=dict)
    battery_trend: battery.BatteryTrend = field(default_factory=battery.BatteryTrend)
    witness: moved.Witness = field(default_factory=moved.Witness)
    news: intake.Intake = field(default_factory=intake.Intake)
    load: Load = field(default_factory=Load)
    phase: PhaseState = field(default_factory=PhaseState)
    plan: Plan | None = None
    planned: ActionLog | None = None  # who planned, when, and all that the plan said
    next_plan: tuple[Plan, ActionLog] | None = None  # saved while a panel hangs: it counts once that lift is over
    seal_tests: SealTests = field(default_factory=SealTests)
    surface: Surface | None = None
    lifter_alarm: bool = False
    valve: Valve | None = None
    models: dict[tuple[object, ...], HoldingModel | None] = field(default_factory=dict)
    tilt_high_deg: float = UPRIGHT_DEG
    board: Board = field(default_factory=Board)
    called: Called | None = None
    release: Release | None = None
    shown: tuple[object, ...] = ()
    log: LiftLog | None = None
    past: PastLifts = field(default_factory=PastLifts)
    time_to_land_s: float = 0.0
    heard_s: float | None = None
    picked_up: bool = False
    landed_fixed: bool = False
    landed: Landed | None = None


def begin(config: LifterConfig) -> LifterState:
    """A lifter nothing is known of yet."""
    leak_config = leak.LeakConfig(
        circuits=tuple(config.circuits),
        ambient_kpa=config.ambient_kpa,
        hoist_height_m=config.hoist_height_m,
        hoist_speed_m_s=config.hoist_speed_m_s,
        horizon_s=config.projection_horizon_s,
        pump_start_kpa={
            name: one.pump_start_kpa for name, one in config.circuits.items() if one.pump_start_kpa is not None
        },
    )
    return LifterState(
        config=config,
        leaks=leak.begin(leak_config),
        gauges={circuit: Gauge() for circuit in config.circuits},
        pump_watches={circuit: PumpWatch() for circuit in config.circuits},
        stale_s={name: sensors.stale_after_s(Gauge(), config.expected_interval_s) for name in config.circuits},
        recent={},
        rose=dict.fromkeys(config.circuits, False),
        before={},
        signals={name: Signal() for name in QUANTITIES},
        time_to_land_s=config.time_to_land_s,
    )


def stale_after_s(state: LifterState) -> float:
    """Silence after which the lifter's own readings mean nothing: the longest of its circuits', rule 1."""
    return max(state.stale_s.values())


def take(state: LifterState, reading: Reading, now_s: float) -> None:
    """Fold one live reading in."""
    config = state.config
    if not load.is_fresh(state.load, now_s, stale_after_s(state)):
        state.load = load.restart_band(state.load)  # a cell that was silent while the circuits were not counts too
    state.heard_s = now_s
    if reading.ambient_kpa is not None and reading.ambient_kpa > config.ambient_kpa + AMBIENT_OVER_SITE_KPA:
        reading = replace(reading, ambient_kpa=None)
    for name in QUANTITIES:
        value = getattr(reading, name)
        if value is not None:
            state.signals[name] = Signal(value, now_s)
    if reading.lifter_alarm is not None:
        state.lifter_alarm = reading.lifter_alarm
    if reading.release_valve is not None:
        state.valve = reading.release_valve
    if reading.tilt_deg is not None and reading.tilt_deg > state.tilt_high_deg:
        # To the next whole degree: else every new crest of the sensor's noise has the whole holding worked out anew.
        state.tilt_high_deg = min(180.0, float(math.ceil(reading.tilt_deg)))
    state.load = load.take(state.load, reading.load_kg, now_s, config=config)
    _note_climb(state, reading, now_s)
    ambient_kpa = ambient_for_gauges_kpa(state, now_s)
    ambient_measured = _measured_ambient_kpa(state, now_s) is not None
    known = load.known(state.load, now_s, config=config, stale_after_s=stale_after_s(state))
    hangs = state.phase.phase in IN_FLIGHT and known is not LoadKnown.OFF
    refusals = sensors.refusals_by_circuit(reading.refused) if reading.refused else {}
    believed: dict[str, float | None] = {}
    pump_states: dict[str, Pump | None] = {}
    for name, circuit in config.circuits.items():
        part = reading.circuits.get(name)
        if part is None and name not in refusals:
            believed[name], pump_states[name] = None, state.gauges[name].pump
            continue
        part = part if part is not None else CircuitReading()
        gauge = sensors.take(
            state.gauges[name],
            part,
            now_s,
            ambient_kpa=ambient_kpa,
            refusal=refusals.get(name),
            ambient_measured=ambient_measured,
            most_kpa=sensors.MOST_OF_AMBIENT_RATIO * state.config.ambient_kpa,
            rise_bounded=hangs,
            stale_after_s=state.stale_s[name],
        )
        if gauge.fault == "gauge_missing" and not hangs and _let_go(gauge, part, circuit, ambient_kpa):
            gauge = sensors.forget_missing(gauge)
        believed[name] = _take_gauge(state, name, circuit, gauge, now_s)
        pump_states[name] = state.gauges[name].pump
    if reading.battery_v is not None:
        pump_on = any(pump is Pump.ON for pump in pump_states.values())
        state.battery_trend = battery.take(state.battery_trend, reading.battery_v, now_s, pump_on=pump_on)
    measured = config.ambient_at == "lifter"
    sample = leak.LeakSample(
        vacuum_kpa=believed,
        pump=pump_states,
        ambient_kpa=reading.ambient_kpa if measured else None,
        height_m=reading.height_m,
    )
    state.leaks = leak.advance(state.leaks, sample, now_s)


def _take_gauge(state: LifterState, name: str, circuit: CircuitConfig, gauge: Gauge, now_s: float) -> float | None:
    """Keep a circuit's gauge; returns the value believed of this very reading, or ``None``."""
    _keep(state, name, gauge)
    if gauge.at_s != now_s or gauge.vacuum_kpa is None:
        return None
    lately = (*_lately(state, name, now_s), (now_s, gauge.vacuum_kpa))[-64:]
    before = tuple(pair for pair in state.recent.get(name, ())[-1:] if now_s - pair[0] <= state.stale_s[name])
    state.recent[name] = lately if len(lately) > 1 else (*before, *lately)
    state.rose[name] = gauge.vacuum_kpa - min(lately, key=_VALUE)[1] >= RISES_KPA
    watch = pumps.watch(state.pump_watches[name], gauge.pump, gauge.vacuum_kpa, now_s, config=circuit)
    state.pump_watches[name] = watch
    return gauge.vacuum_kpa if gauge.fault is None else None


def _let_go(gauge: Gauge, part: CircuitReading, circuit: CircuitConfig, ambient_kpa: float) -> bool:
    """Whether a circuit is open, by what is believed and by the gauges that are heard."""
    heard_kpa, open_kpa = sensors.lowest_kpa(part, ambient_kpa), circuits.open_kpa(circuit)
    return heard_kpa is not None and max(heard_kpa, gauge.vacuum_kpa or 0.0) <= open_kpa


def _lately(state: LifterState, name: str, now_s: float) -> tuple[tuple[float, float], ...]:
    """What was believed of a circuit within ``RECENT_S``: times and values, the oldest first."""
    recent = state.recent.get(name, ())
    over_n = 0
    while over_n < len(recent) and now_s - recent[over_n][0] > RECENT_S:
        over_n += 1
    return recent[over_n:]


def _lost_kpa(state: LifterState, name: str, now_s: float) -> float:
    """Vacuum lost within ``RECENT_S``; by a circuit heard less often, since the reading before."""
    gauge = state.gauges[name]
    if gauge.vacuum_kpa is None or gauge.at_s is None:
        return 0.0
    values = [kpa for _, kpa in _lately(state, name, now_s)]
    if len(values) < 2 and now_s - gauge.at_s <= RECENT_S:
        earlier = [pair for pair in state.recent.get(name, ()) if pair[0] < gauge.at_s]
        values += [kpa for at_s, kpa in earlier[-1:] if gauge.at_s - at_s <= state.stale_s[name]]
    return max(0.0, max(values, default=0.0) - gauge.vacuum_kpa)


def _keep(state: LifterState, name: str, gauge: Gauge) -> None:
    state.gauges[name] = gauge
    state.stale_s[name] = sensors.stale_after_s(gauge, state.config.expected_interval_s)


def settle(state: LifterState, now_s: float) -> None:
    """What time alone does: a jump nobody contradicted is believed, a gauge that must have moved is frozen."""
    for name, gauge in state.gauges.items():
        _keep(state, name, sensors.settle(gauge, now_s))
    stale_s = stale_after_s(state)
    stuck = moved.look(
        state.witness,
        state.gauges,
        state.recent,
        now_s,
        config=state.config.circuits,
        loaded=state.load.above_since_s is not None if load.is_fresh(state.load, now_s, stale_s) else None,
        stale_after_s=stale_s,
    )
    for name, names in stuck.items():
        state.gauges[name] = sensors.freeze(state.gauges[name], names, now_s)


def _note_climb(state: LifterState, reading: Reading, now_s: float) -> None:
    """What this reading says of the height, for gauges that must follow it: by the ambient, else by the height."""
    measured = state.config.ambient_at == "lifter"
    if reading.height_m is not None:
        state.witness.heights_m = (*state.witness.heights_m[-2:], reading.height_m)
    if measured and reading.ambient_kpa is not None:
        moved.climbed(state.witness, "ambient", -reading.ambient_kpa, now_s)
    elif reading.height_m is not None and not (measured and state.signals["ambient_kpa"].value is not None):
        moved.climbed(state.witness, "height", HOIST_KPA_PER_M * reading.height_m, now_s)


def _measured_ambient_kpa(state: LifterState, now_s: float) -> float | None:
    """The ambient pressure as measured, while it counts for absolute gauges."""
    return state.signals["ambient_kpa"].fresh(now_s, STALE_MOST_S)


def ambient_for_gauges_kpa(state: LifterState, now_s: float) -> float:
    """Ambient pressure an absolute gauge is taken from: measured on the lifter, else cautious (lower).

    Ambient and height may come more seldom than the circuits do: the fastest hoist changes the pressure by 0.5 kPa in the
    longest silence there may be, while to go without would change every vacuum by several, to and fro.
    """
    config = state.config
    measured_kpa = _measured_ambient_kpa(state, now_s)
    height_m = state.signals["height_m"].fresh(now_s, STALE_MOST_S)
    if measured_kpa is not None and config.ambient_at == "lifter":
        return measured_kpa
    up_m = (
        max(0.0, height_m)
        if height_m is not None
        else (config.hoist_height_m if state.phase.phase in IN_FLIGHT else 0.0)
    )
    ground_kpa = measured_kpa if measured_kpa is not None else config.ambient_kpa - ASSUMED_LOWER_KPA
    return ground_kpa - HOIST_KPA_PER_M * up_m


def advance_phase(state: LifterState, now_s: float) -> None:
    """Move the phase on what is known at this instant."""
    config = state.config
    stale_s = stale_after_s(state)
    used = used_circuits(state)
    heard = {name: _heard_kpa(state, name, now_s) for name in used}
    fresh = load.is_fresh(state.load, now_s, stale_s)
    opened = {n: v <= circuits.open_kpa(config.circuits[n]) for n, v in heard.items() if v is not None}
    any_attached = not all(opened.values())
    all_sealed = all(v is not None and v > config.circuits[n].warning_kpa for n, v in heard.items())
    _watch_for_another_pick(state, now_s, any_open=any(opened.values()), all_sealed=all_sealed, attached=any_attached)
    known = _load_known(state, now_s)
    inputs = PhaseInputs(
        any_attached=any_attached,
        all_open=bool(opened) and all(opened.values()) and (len(opened) == len(used) or known is LoadKnown.OFF),
        all_sealed=all_sealed,
        pump_on=any(state.gauges[name].pump is Pump.ON for name in used),
        building=any(_builds(state, name) for name in used),
        rising=any(_rises(state, name, now_s) for name in used),
        load=known,
        load_kg=state.load.net_kg if fresh else None,
        largest_kg=state.load.largest_kg,
        load_grew_s=state.load.grew_s,
        weighs=load.has_cell(config) and state.load.at_s is not None,
        picked_up=state.picked_up,
        landed_fixed=_said_fixed(state, now_s, load_fresh=fresh, all_open=bool(opened) and all(opened.values())),
    )
    state.picked_up = state.landed_fixed = False
    before = state.phase.phase
    state.phase = phases.advance(state.phase, inputs, now_s)
    if state.phase.phase is not before and state.phase.phase in {Phase.IDLE, Phase.RELEASED}:
        state.tilt_high_deg = UPRIGHT_DEG


def _said_fixed(state: LifterState, now_s: float, *, load_fresh: bool, all_open: bool) -> bool:
    """Whether a named person's "fixed" moves the phase: without a load cell, and with a silent one once every pad is open."""
    if not load.has_cell(state.config):
        return state.landed_fixed or state.load.confirmed_off
    return state.landed_fixed and not load_fresh and all_open and lasted(state.phase.open_since_s, OPEN_FOR_S, now_s)


def _watch_for_another_pick(
    state: LifterState, now_s: float, *, any_open: bool, all_sealed: bool, attached: bool
) -> None:
    """Without a load cell: a named "landed and fixed" stands until the lifter lifts again, whoever says so."""
    if load.has_cell(state.config):
        off = load.known(state.load, now_s, config=state.config, stale_after_s=stale_after_s(state)) is LoadKnown.OFF
        follows = off and attached and (all_sealed or state.landed is not None)
        at_kpa = _hook_kpa(state)
        state.landed = (
            picked_again.follow(state.landed, climb_from="height", climb_kpa=at_kpa, any_open=False)
            if follows
            else None
        )
        return
    if not state.load.confirmed_off:
        state.landed = None
        return
    climb_kpa = moved.climb_kpa(state.witness, now_s, stale_after_s(state))
    state.landed = picked_again.follow(
        state.landed, climb_from=state.witness.climb_from, climb_kpa=climb_kpa, any_open=any_open
    )
    if attached and picked_again.picked_again(state.landed, climb_kpa=climb_kpa, all_sealed=all_sealed):
        state.load = replace(state.load, confirmed_off=False)
        state.picked_up, state.landed_fixed, state.landed = True, False, None


def _load_known(state: LifterState, now_s: float) -> LoadKnown:
    """Whether the load is on or off. A cell that reads nothing while the hook comes up with sealed pads on is not believed."""
    known = load.known(state.load, now_s, config=state.config, stale_after_s=stale_after_s(state))
    if known is not LoadKnown.OFF or state.landed is None or not load.has_cell(state.config):
        return known
    up = picked_again.picked_again(state.landed, climb_kpa=_hook_kpa(state), all_sealed=False)
    return LoadKnown.UNSURE if up else known


def _hook_kpa(state: LifterState) -> float | None:
    """What the height alone takes from every vacuum; not by the ambient pressure, which the weather moves too."""
    hook_m = moved.hook_m(state.witness)
    return None if hook_m is None else HOIST_KPA_PER_M * hook_m


def used_circuits(state: LifterState) -> tuple[str, ...]:
    """Circuits whose pads are in use by the plan's layout; all of them without a plan."""
    pads = state.plan.pads if state.plan is not None else None
    if not pads:
        return tuple(state.config.circuits)
    in_use = {state.config.pads[pad].circuit for pad in pads}
    return tuple(name for name in state.config.circuits if name in in_use)


def _heard_kpa(state: LifterState, name: str, now_s: float) -> float | None:
    gauge = state.gauges[name]
    if gauge.fault is not None or sensors.is_stale(gauge, now_s, state.config.expected_interval_s):
        return None
    return gauge.vacuum_kpa


def friction(state: LifterState) -> float:
    """Friction in force: the site file's, or that of the surface planned or reported since."""
    return surface_friction(state.config, state.surface)


def _model(state: LifterState) -> HoldingModel | None:
    """The holding model in force; worked out anew only when plan, surface or the tilts to judge change."""
    plan = state.plan if state.plan is not None else Plan()
    move = plan.move
    if not plan.tilts_given:
        move = replace(move, tilt_high_deg=max(move.tilt_high_deg, state.tilt_high_deg))
    else:
        heard_deg = state.signals["tilt_deg"].value
        tilt_deg = UPRIGHT_DEG if heard_deg is None else min(max(0.0, heard_deg), 180.0)
        low, high = min(move.tilt_low_deg, tilt_deg), max(move.tilt_high_deg, tilt_deg)
        if high - move.tilt_high_deg > 1.0 or move.tilt_low_deg - low > 1.0:
            move = replace(move, tilt_low_deg=float(int(low)), tilt_high_deg=min(180.0, float(int(high) + 1)))
    key = (plan.pads, move, plan.centre, friction(state), plan.wind, plan.bend_factor, plan.weight_kg)
    if key not in state.models:  # a tilt that swings about a whole degree asks for the same two again and again
        state.models = dict(tuple(state.models.items())[1 - MODELS_KEPT_N :])
        state.models[key] = holding.prepare(
            state.config,
            pads=plan.pads,
            move=move,
            centre=plan.centre,
            friction=friction(state),
            wind=plan.wind,
            bend_factor=plan.bend_factor,
            planned_kg=plan.weight_kg,
        )
    return state.models[key]


def _hold(state: LifterState, judged_kg: float | None) -> Holding | None:
    model = _model(state)
    if model is None:
        return None
    now_kpa = {name: max(0.0, gauge.vacuum_kpa or 0.0) for name, gauge in state.gauges.items()}
    judged_kpa = {name: min(value, state.config.circuits[name].warning_kpa) for name, value in now_kpa.items()}
    return holding.hold(model, judged_kpa=judged_kpa, now_kpa=now_kpa, load_kg=judged_kg)


def judged_kg(state: LifterState) -> float | None:
    """The load the margin is judged by: the largest steady one of this lift, before and without it the planned one."""
    planned_kg = state.plan.weight_kg if state.plan is not None else None
    largest_kg = state.load.largest_kg
    if largest_kg is None:
        return planned_kg
    if planned_kg is not None and state.phase.phase is Phase.LIFTING:
        return max(planned_kg, largest_kg)
    return largest_kg


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the engine knows beside the lifter itself."""

    link_up: bool
    store_writing: bool
    disk_free_ratio: float | None
    partners: dict[str, tuple[str, str]]
    lag_s: float | None = None  # UTC minus the clock of the sender that is furthest off, as far as it is known


def facts(state: LifterState, now_s: float, around: Surroundings) -> Facts:
    """Everything derived at this instant."""
    config = state.config
    stale_s = stale_after_s(state)
    used = set(used_circuits(state))
    known = _load_known(state, now_s)
    load_fresh = load.is_fresh(state.load, now_s, stale_s)
    load_lost = load.has_cell(config) and not load_fresh
    phase = state.phase.phase
    in_flight = _in_flight(state, known, load_lost=load_lost)
    judged = judged_kg(state)
    held = _hold(state, judged)
    parts = {name: _circuit_facts(state, name, now_s, held, name in used, in_flight) for name in config.circuits}
    in_use = tuple(part for part in parts.values() if part.in_use)
    fresh = {name: signal.fresh(now_s, stale_s) for name, signal in state.signals.items()}
    slow = stale_s > sensors.SLOW_AFTER_S
    load_kg = state.load.net_kg if load_fresh else None
    returned = phase is Phase.RELEASED and known is LoadKnown.ON
    plan = state.plan
    tilt_deg = fresh["tilt_deg"]
    beyond_deg = _tilt_beyond_deg(plan, state.signals["tilt_deg"].value)
    return Facts(
        now_s=now_s,
        config=config,
        phase=phase,
        circuits=parts,
        in_use=in_use,
        in_flight=in_flight,
        ever_heard=state.heard_s is not None,
        silent=all(part.state in UNHEARD for part in in_use),
        last_reading_s=state.heard_s,
        load=state.load,
        load_kg=load_kg,
        load_known=known,
        load_fresh=load_fresh,
        stale_after_s=stale_s,
        valve=state.valve,
        load_lost=load_lost,
        judged_kg=judged,
        planned_kg=plan.weight_kg if plan is not None else None,
        holding=held,
        tilt_deg=tilt_deg,
        rotation_deg=fresh["rotation_deg"],
        height_m=fresh["height_m"],
        ambient_kpa=fresh["ambient_kpa"],
        temperature_c=fresh["temperature_c"],
        battery_v=fresh["battery_v"],
        wind_m_s=fresh["wind_m_s"],
        heard={name: signal.value for name, signal in state.signals.items()},
        lifter_alarm=state.lifter_alarm,
        tilt_outside_plan=beyond_deg > config.tilt_allowance_deg,
        tilt_beyond_plan_deg=beyond_deg,
        wind_limit_m_s=_wind_limit_m_s(plan, config),
        battery_to_low=_battery_to_low(state, now_s),
        time_to_land_s=state.time_to_land_s,
        landing_s=state.time_to_land_s + (stale_s if slow else 0.0),
        slow=slow,
        link_up=around.link_up,
        store_writing=around.store_writing,
        disk_free_ratio=around.disk_free_ratio,
        clock_offset_s=around.lag_s,
        released_load_kg=load_kg if returned else None,
        partners=around.partners,
        climb_doubted=bool(state.leaks.climb_doubted),
        irregular=config.expected_interval_s is None
        and any(timing.is_irregular(state.gauges[name].gaps_s) for name in used),
    )


def _builds(state: LifterState, name: str) -> bool:
    """Whether a circuit's vacuum is known to rise, or its pump says it runs."""
    return state.gauges[name].pump is Pump.ON or state.rose[name]


def _rises(state: LifterState, name: str, now_s: float) -> bool:
    """Whether a circuit's vacuum is known to rise: lately by itself, or because its pump runs and gains."""
    return state.rose[name] or pumps.gains(state.pump_watches[name], now_s)


def _in_flight(state: LifterState, known: LoadKnown, *, load_lost: bool) -> bool:
    """Whether the load hangs on the lifter, or may: a lost load reading over sealed pads is taken as on."""
    if state.phase.phase in IN_FLIGHT:
        return known is not LoadKnown.OFF
    if state.phase.phase is Phase.IDLE:  # begun while nothing is heard of the vacuum: a load on hangs on it
        return known is LoadKnown.ON and any(gauge.at_s is None for gauge in state.gauges.values())
    on_pads = state.phase.phase in {Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED} and state.phase.sealed
    lost = load_lost and state.load.at_s is not None
    return on_pads and (known is LoadKnown.ON or lost or load.hangs_unproven(state.load, state.load.at_s or 0.0))


def _tilt_beyond_deg(plan: Plan | None, tilt_deg: float | None) -> float:
    """How far the panel is tilted beyond what was planned; 0 inside, and without a plan."""
    if plan is None or not plan.tilts_given or tilt_deg is None:
        return 0.0
    return max(0.0, plan.move.tilt_low_deg - tilt_deg, tilt_deg - plan.move.tilt_high_deg)


def _wind_limit_m_s(plan: Plan | None, config: LifterConfig) -> float | None:
    """The plan's limit for this panel, never above the site's."""
    limits = (config.wind_limit_m_s, plan.wind_limit_m_s if plan is not None else None)
    return min((limit for limit in limits if limit is not None), default=None)


def _battery_to_low(state: LifterState, now_s: float) -> Bounds | None:
    low_v = state.config.battery_low_v
    if low_v is None:
        return None
    return battery.to_level(state.battery_trend, low_v, now_s, horizon_s=state.config.projection_horizon_s)


def _assumed(state: LifterState, gauge: sensors.Gauge, view: leak.LeakView | None, now_s: float) -> tuple[str, ...]:
    """What a circuit's leak rests on without being measured; the ambient pressure also where its vacuum is taken from it."""
    assumed = () if view is None else view.assumed
    by_guess = gauge.ambient_kpa is not None and _measured_ambient_kpa(state, now_s) is None
    return ("ambient", *assumed) if by_guess and "ambient" not in assumed else assumed


def _circuit_facts(
    state: LifterState, name: str, now_s: float, held: Holding | None, in_use: bool, in_flight: bool
) -> CircuitFacts:
    config = state.config.circuits[name]
    gauge = state.gauges[name]
    interval_s = state.config.expected_interval_s
    doubted = gauge.fault is not None and sensors.is_doubted(gauge, now_s, interval_s)
    stale = not doubted and sensors.is_stale(gauge, now_s, interval_s)
    needed_kpa = held.needed_kpa.get(name) if held is not None and held.needed_kpa is not None else None
    level, level_kpa = circuits.levels_kpa(config, needed_kpa)
    view = to_level = reserve = None
    attached = gauge.vacuum_kpa is not None and gauge.vacuum_kpa > circuits.open_kpa(config)
    if not stale and gauge.fault is None and attached:
        view = leak.view(state.leaks, name, now_s)
        to_level = leak.to_level(state.leaks, name, level_kpa, now_s)
        reserve = leak.reserve(state.leaks, name, level_kpa, now_s)
    judged = circuits.judge(
        config=config,
        vacuum_kpa=gauge.vacuum_kpa,
        stale=stale,
        fault=gauge.fault if doubted else None,
        needed_kpa=needed_kpa,
        leak=view,
        to_warning=to_level,
        losing_horizon_s=state.config.losing_horizon_s,
        phase=state.phase.phase,
        sealed=state.phase.sealed,
        in_flight=in_flight,
        before=state.before.get(name),
        building=_builds(state, name) or now_s - (state.phase.since_s or now_s) < JUST_ATTACHED_S,
    )
    if judged not in UNHEARD:
        state.before[name] = judged
    condition = state.log.circuits[name].condition if state.log is not None and name in state.log.circuits else None
    return CircuitFacts(
        id=name,
        config=config,
        state=judged,
        in_use=in_use,
        vacuum_kpa=gauge.vacuum_kpa,
        age_s=gauge.age_s(now_s),
        fault=gauge.fault,
        fault_for_s=0.0 if gauge.fault_since_s is None else now_s - gauge.fault_since_s,
        needed_kpa=needed_kpa,
        pump=gauge.pump,
        pump_trouble=state.pump_watches[name].trouble,
        leak=view,
        level=level,
        level_kpa=level_kpa,
        to_warning=to_level,
        reserve=reserve,
        assumed=_assumed(state, gauge, view, now_s),
        before=state.before.get(name) if judged in UNHEARD else None,
        lost_kpa=_lost_kpa(state, name, now_s),
        pump_down_s=0.0 if condition is None else condition.pumping_down_s(gauge.pump, now_s),
        pump_down_limit_s=state.past.pump_down_limit_s(name),
        duty_ratio=None if condition is None else condition.duty.steady_ratio,
        duty_limit_ratio=None if condition is None else condition.duty.limit_ratio(),
        gauges_apart_kpa=gauge.apart_kpa,
        gauge_moved=gauge.has_moved(),
    )
