"""Runs a scenario: the script of the crew on the physics, measured, falsified and delivered, message by message."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulator.acts import number
from simulator.delivery import Delivery, Sent
from simulator.faults import Fault, Memory, Where, disturb, falsify
from simulator.keys import nearest
from simulator.lifters import BUILT_IN, Lifter, body_of
from simulator.physics import ZERO_C_IN_K, CircuitSetting, Params, Setting, State, begin, has_power, step
from simulator.scenarios import Begun, Scenario, ScenarioError
from simulator.sensors import Payload, measure

_STEP_S = 0.05
_RATE_HZ = 5.0
_WIND_WAVES_N = 8


@dataclass(frozen=True, slots=True)
class Instant:
    """What is so at the moment of one reading, and the reading before delivery (None: the sender has no power)."""

    t_s: float
    state: State
    params: Params
    payload: Payload | None


def play(scenario: Scenario, lifter: Lifter = BUILT_IN, *, seed: int = 0, idle_s: float = 0.0) -> Iterator[Instant]:
    """Run a scenario instant by instant, at the rate of the readings, with the truth beside each reading.

    Args:
        scenario: What happens.
        lifter: What it happens to.
        seed: Draws noise, wind and normal leaks; the same seed gives the same run, value for value.
        idle_s: How long to go on after the end with nothing more happening, s.

    Raises:
        ScenarioError: The scenario names a circuit this lifter does not have.
    """
    _check_circuits(scenario, lifter)
    wind_rng, leak_rng, sensor_rng, fault_rng = np.random.default_rng(seed).spawn(4)
    body = body_of(lifter, scenario.details, scenario.circuit_details, leak_rng)
    setting = _first_setting(scenario, len(body.circuits), wind_rng)
    suite = replace(
        scenario.suite,
        tare_kg=lifter.tare_kg,
        ambient_at_ground=lifter.ambient_at_ground,
        leave_out=scenario.suite.leave_out | (frozenset() if lifter.has_load_cell else {"load_kg"}),
    )
    params = Params(body, setting)
    state = _first_state(scenario, params)
    script = _Script(scenario.acts, _on(scenario.faults, Where.PHYSICS))
    sensor_faults = _on(scenario.faults, Where.SENSOR)
    memory: Memory = {}

    interval_s = 1.0 / (scenario.rate_hz or lifter.rate_hz or _RATE_HZ)
    steps_n = max(1, math.ceil(interval_s / _STEP_S - 1e-9))
    for reading_n in range(int((scenario.duration_s + idle_s) / interval_s + 1e-9) + 1):
        params = script.params_at(state, params)
        payload: Payload | None = None
        if has_power(state):
            payload = measure(state, params, suite, sensor_rng)
            for fault in sensor_faults:
                if fault.holds(state.t_s):
                    falsify(fault, payload, t_s=state.t_s, memory=memory, rng=fault_rng)
        yield Instant(state.t_s, state, params, payload)
        for _ in range(steps_n):
            params = script.params_at(state, params)
            state = step(state, params, interval_s / steps_n)
        state = replace(state, t_s=(reading_n + 1) * interval_s)  # no sum of roundings in the times


def timeline(
    scenario: Scenario, lifter: Lifter = BUILT_IN, *, seed: int = 0, idle_s: float = 0.0, first_seq: int = 0
) -> Iterator[Sent]:
    """Run a scenario and give its messages in the order they arrive.

    What people tell the monitor is among them (leaf ``actions``). Lifter, seed, ``idle_s`` and errors are those of
    `play`; ``first_seq`` numbers the first reading.
    """
    delivery = Delivery(
        _on(scenario.faults, Where.DELIVERY),
        np.random.default_rng((seed, 1)),
        latency_s=scenario.latency_s,
        first_seq=first_seq,
    )
    tells = [
        Sent(
            told.at_s,
            "actions",
            {
                "id": f"{scenario.name}-{n}",
                "kind": told.kind,
                "who": told.who,
                "role": told.role,
                "params": dict(told.params),
            },
        )
        for n, told in enumerate(scenario.tells, start=1)
    ]
    for instant in play(scenario, lifter, seed=seed, idle_s=idle_s):
        while tells and tells[0].at_s <= instant.t_s:
            yield from delivery.arrived(tells[0].at_s)
            yield tells.pop(0)
        yield from delivery.arrived(instant.t_s)
        delivery.take(instant.payload, instant.t_s)
    yield from delivery.arrived(math.inf)


class _Script:
    """Acts and physics faults in force as time goes on; works the setting out again only when something changes."""

    def __init__(self, acts: Sequence[Begun], faults: Sequence[Fault]) -> None:
        self._acts = list(acts)
        self._faults = faults
        self._undisturbed: Setting | None = None
        self._holding: list[Fault] = []

    def params_at(self, state: State, params: Params) -> Params:
        """The parameters at the time of a state, given those just before it."""
        setting = params.setting if self._undisturbed is None else self._undisturbed
        changed = False
        while self._acts and self._acts[0].at_s <= state.t_s + 1e-9:
            begun = self._acts.pop(0)
            do = begun.act.undo if begun.undone and begun.act.undo else begun.act.do
            setting = do(setting, state, params.body, begun.values)
            changed = True
        holding = [fault for fault in self._faults if fault.holds(state.t_s + 1e-9)]
        if not changed and holding == self._holding:
            return params
        self._undisturbed, self._holding = setting, holding
        for fault in holding:
            setting = disturb(fault, setting, params.body)
        return Params(params.body, setting)


def _first_setting(scenario: Scenario, circuits_n: int, rng: np.random.Generator) -> Setting:
    start, panel_kg = scenario.start, number(scenario.panel, "weight_kg")
    sealed = number(start, "vacuum_kpa") > 0.0
    return Setting(
        circuits=(CircuitSetting(pressed=sealed, pump_powered=sealed),) * circuits_n,
        panel_kg=panel_kg,
        panel_area_m2=number(scenario.panel, "area_m2"),
        load_goal_kg=number(start, "load_ratio") * panel_kg,
        tilt_goal_deg=number(start, "tilt_deg"),
        height_goal_m=number(start, "height_m"),
        air_goal_c=number(scenario.weather, "air_c"),
        wind_mean_m_s=number(scenario.weather, "wind_m_s"),
        wind_gust_m_s=number(scenario.weather, "gust_m_s"),
        wind_phases_rad=tuple(rng.uniform(0.0, 2.0 * math.pi, _WIND_WAVES_N).tolist()),
    )


def _first_state(scenario: Scenario, params: Params) -> State:
    start, hook_kg = scenario.start, params.setting.load_goal_kg
    state = begin(
        params,
        tilt_deg=number(start, "tilt_deg"),
        height_m=number(start, "height_m"),
        battery_ratio=number(start, "battery_ratio"),
        vacuum_kpa=number(start, "vacuum_kpa"),
    )
    wall_c = start["wall_c"]
    wall_k = wall_c + ZERO_C_IN_K if isinstance(wall_c, float) else state.wall_k
    return replace(state, hook_kg=hook_kg, load_kg=hook_kg, wall_k=wall_k)


def _on(faults: Sequence[Fault], where: Where) -> list[Fault]:
    return [fault for fault in faults if fault.rule.where is where]


def _check_circuits(scenario: Scenario, lifter: Lifter) -> None:
    known = [circuit.id for circuit in lifter.circuits]
    unknown = sorted(scenario.circuits_named - set(known))
    if unknown:
        raise ScenarioError(
            "\n".join(
                f"{scenario.name}.toml names circuit {circuit}; lifter {lifter.id} has {', '.join(known)}."
                f"{nearest(circuit, known)} Copy the scenario and name one of those."
                for circuit in unknown
            )
        )
