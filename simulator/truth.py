"""What is really so of a simulated lifter, by the physics alone: figures an estimator can be checked against."""

from dataclasses import replace

from monitor.core.units import PA_PER_KPA, S_PER_MIN
from simulator.physics import (
    AIR_KG_PER_MOL,
    GAS_CONSTANT_J_PER_MOL_K,
    ZERO_C_IN_K,
    Params,
    State,
    ambient_pa_of,
    flow_kg_per_s,
    pressure_pa,
    step,
    vacuum_kpa,
)


def leak_kpa_per_min(state: State, params: Params, circuit_n: int) -> float:
    """True leak of one circuit, kPa of vacuum lost a minute through its leaks alone, at its gas's own temperature.

    Pump, heat, hoisting and open pads do not count. Check: C = 2e-11 into 10 l at 20 °C, choked: 1.21245 kPa/min.
    """
    body, gas = params.body.circuits[circuit_n], state.circuits[circuit_n]
    gas_pa, ambient_pa = pressure_pa(gas, body), ambient_pa_of(state, params)
    if gas_pa >= ambient_pa:
        return 0.0
    leaks = (body.normal_leak, *params.setting.circuits[circuit_n].leaks)
    air_k = state.air_c + ZERO_C_IN_K
    passing_kg_per_s = sum(
        flow_kg_per_s(leak, upstream_pa=ambient_pa, downstream_pa=gas_pa, upstream_k=air_k, t_s=state.t_s)
        for leak in leaks
    )
    molar_per_s = passing_kg_per_s / AIR_KG_PER_MOL
    return molar_per_s * GAS_CONSTANT_J_PER_MOL_K * gas.gas_k / body.volume_m3 / PA_PER_KPA * S_PER_MIN


def to_level_s(
    state: State,
    params: Params,
    circuit_n: int,
    level_kpa: float,
    *,
    horizon_s: float = 3600.0,
    pump: bool = True,
    dt_s: float = 0.2,
) -> float | None:
    """True time until a circuit's vacuum is at or below a level, s, if nobody does anything from now on.

    A copy of the lifter runs on with its leaks (growing ones grow), heat and battery; the hoist stands still.

    Args:
        state: The lifter now.
        params: What holds for it now.
        circuit_n: Which circuit, counted from 0.
        level_kpa: Level, kPa below ambient.
        horizon_s: How far to look, s.
        pump: Whether the pumps may go on as they do, or all lose their power now (the reserve).
        dt_s: Step, s; the answer is a whole number of them.

    Returns:
        Seconds, 0 when it is there already, None beyond the horizon.
    """
    setting = replace(
        params.setting,
        height_goal_m=state.height_m,
        tilt_goal_deg=state.tilt_deg,
        rotation_goal_deg=state.rotation_deg,
        load_goal_kg=state.hook_kg,
        slew_m_s2=0.0,
    )
    if not pump:
        setting = replace(setting, circuits=tuple(replace(circuit, pump_powered=False) for circuit in setting.circuits))
    frozen = replace(params, setting=setting)
    copy = replace(state, climb_m_per_s=0.0)
    for step_n in range(int(horizon_s / dt_s) + 1):
        if vacuum_kpa(copy, frozen, circuit_n) <= level_kpa:
            return step_n * dt_s
        copy = step(copy, frozen, dt_s)
    return None
