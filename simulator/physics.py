"""A vacuum lifter as physics: gas in sealed volumes, pumps, leaks, a load on a rope, height, battery and wind.

`step` is pure: no clock, no randomness, the same values in give the same values out. It knows no rule of the monitor
that watches it. Pressures here are absolute and in pascal unless a name says otherwise; readings are made of them in
`simulator.sensors`.

A circuit's gas keeps its amount and its temperature, so that what looks like a leak and is none happens by itself:
pumping cools the gas, which then warms and costs vacuum; shade cools the pads and hides a leak; hoisting lowers the
pressure outside on every circuit at once.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Final

from monitor.core.units import PA_PER_KPA, STANDARD_GRAVITY_M_S2

GAS_CONSTANT_J_PER_MOL_K: Final = 8.314462618
"""Molar gas constant (CODATA 2018, exact since the SI of 2019)."""
AIR_KG_PER_MOL: Final = 0.02896442
"""Molar mass of dry air (ISO 2533:1975)."""
AIR_CV_J_PER_MOL_K: Final = 2.5 * GAS_CONSTANT_J_PER_MOL_K
AIR_CP_CV_RATIO: Final = 1.4
"""Ideal diatomic gas."""
ANR_KG_PER_M3: Final = 1.185
ANR_K: Final = 293.15
"""Reference air of ISO 8778 (100 kPa, 20 °C, 65 % humidity), the base of ISO 6358 conductances."""
ZERO_C_IN_K: Final = 273.15
LAPSE_K_PER_M: Final = 0.0065
LAPSE_EXPONENT: Final = 5.25588
"""Troposphere of ISO 2533:1975."""
NOZZLE_FLUX_KG_PER_S_M2_PA: Final = 0.0404149
"""Choked mass flux of an ideal nozzle, air: this times p1/sqrt(T1) (isentropic flow, ratio of heats 1.4)."""

_PAD_OPEN_C = 4.0e-7  # conductance of pads that touch nothing, m^3/(s·Pa): far more than any pump
_SEAT_S = 1.5  # the lips take about this long to lie down on the panel
_UNSEAT_S = 0.3
_DOUBLINGS_MAX = 20.0  # a growing leak is an open pad long before it has doubled so often
_HOIST_ACCEL_M_S2 = 0.3
_FLAT_BATTERY_V = 18.0
# Rest voltage of a 24 V lead-acid set against its charge (from memory: 2.12 V a cell full, 1.96 V at a fifth).
_REST_V = ((0.0, _FLAT_BATTERY_V), (0.05, 22.6), (0.2, 23.6), (0.5, 24.4), (1.0, 25.5))


@dataclass(frozen=True, slots=True)
class Leak:
    """A way for air into a circuit, as ISO 6358 puts it.

    ``conductance_m3_per_s_pa`` is C, ``critical_ratio`` b, ``exponent`` m. The defaults are an orifice; b = 0 and m = 1
    is laminar seepage, which goes as p1² − p2². With ``doubling_s`` the conductance doubles every so often from
    ``start_s`` on.
    """

    conductance_m3_per_s_pa: float
    critical_ratio: float = 0.5
    exponent: float = 0.5
    start_s: float = 0.0
    doubling_s: float = math.inf

    def conductance_at(self, t_s: float) -> float:
        """C at a time, m^3/(s·Pa)."""
        doublings = max(0.0, t_s - self.start_s) / self.doubling_s
        return self.conductance_m3_per_s_pa * math.exp2(min(doublings, _DOUBLINGS_MAX))


@dataclass(frozen=True, slots=True)
class CircuitBody:
    """What one circuit is made of. ``wall_w_per_k`` carries heat between walls and gas; inf keeps it isothermal."""

    id: str
    volume_m3: float
    pad_area_m2: float
    pump_m3_per_s: float
    pump_ultimate_pa: float
    pump_start_kpa: float
    pump_stop_kpa: float
    wall_w_per_k: float
    normal_leak: Leak


@dataclass(frozen=True, slots=True)
class Body:
    """The lifter and the place it hangs in: what does not change during a lift."""

    circuits: tuple[CircuitBody, ...]
    ground_ambient_pa: float
    friction_ratio: float = 0.6
    valve_c_m3_per_s_pa: float = 8.0e-8
    wall_time_s: float = 240.0
    rope_m: float = 25.0
    bounce_hz: float = 1.1
    bounce_damping_ratio: float = 0.12
    swing_damping_ratio: float = 0.02
    battery_ah: float = 40.0
    battery_ohm: float = 0.03
    pump_a: float = 14.0
    idle_a: float = 0.6
    pump_cut_out_v: float = 20.5


@dataclass(frozen=True, slots=True)
class CircuitSetting:
    """What is being done to one circuit now."""

    pressed: bool = False
    pump_powered: bool = False
    pump_speed_ratio: float = 1.0
    pump_failed: bool = False
    leaks: tuple[Leak, ...] = ()


@dataclass(frozen=True, slots=True)
class Setting:
    """What crew, crane and weather do now. Goals are approached at the rate beside them."""

    circuits: tuple[CircuitSetting, ...]
    panel_kg: float = 0.0
    panel_area_m2: float = 0.0
    valve_open: bool = False
    load_goal_kg: float = 0.0
    load_kg_per_s: float = 100.0
    tilt_goal_deg: float = 90.0
    tilt_deg_per_s: float = 3.0
    rotation_goal_deg: float = 0.0
    rotation_deg_per_s: float = 3.0
    height_goal_m: float = 0.0
    hoist_m_per_s: float = 0.8
    slew_m_s2: float = 0.0
    air_goal_c: float = 14.0
    air_c_per_s: float = 0.1
    wind_mean_m_s: float = 4.0
    wind_gust_m_s: float = 2.0
    wind_phases_rad: tuple[float, ...] = ()
    battery_drain_a: float = 0.0


@dataclass(frozen=True, slots=True)
class Params:
    """Everything `step` needs beside the state."""

    body: Body
    setting: Setting


@dataclass(frozen=True, slots=True)
class CircuitState:
    """The gas in one circuit. ``seat_ratio``: 0 the pads touch nothing, 1 their lips lie down."""

    gas_mol: float
    gas_k: float
    seat_ratio: float = 0.0
    pump_running: bool = False


@dataclass(frozen=True, slots=True)
class State:
    """A lifter at one instant.

    ``hook_kg`` is what the crew has let the crane take on of the panel, ``load_kg`` what a perfect load cell feels of
    it while it bounces and swings. ``dropped``: the pads let go of more than they could hold; nothing hangs any more.
    """

    t_s: float
    circuits: tuple[CircuitState, ...]
    air_c: float
    wall_k: float
    hook_kg: float = 0.0
    load_kg: float = 0.0
    load_kg_per_s: float = 0.0
    swing_rad: float = 0.0
    swing_rad_per_s: float = 0.0
    tilt_deg: float = 90.0
    rotation_deg: float = 0.0
    height_m: float = 0.0
    climb_m_per_s: float = 0.0
    battery_ratio: float = 1.0
    pump_cut_out: bool = False
    dropped: bool = False


def begin(
    params: Params,
    *,
    tilt_deg: float = 90.0,
    height_m: float = 0.0,
    battery_ratio: float = 1.0,
    vacuum_kpa: float = 0.0,
) -> State:
    """A lifter at rest: gas at the temperature of the air and ``vacuum_kpa`` below ambient, nothing hanging."""
    air_c = params.setting.air_goal_c
    air_k = air_c + ZERO_C_IN_K
    ambient_pa = ambient_at_pa(params.body.ground_ambient_pa, height_m, air_c=air_c)
    gas_pa = ambient_pa - vacuum_kpa * PA_PER_KPA
    circuits = tuple(
        CircuitState(
            gas_pa * body.volume_m3 / (GAS_CONSTANT_J_PER_MOL_K * air_k), air_k, 1.0 if setting.pressed else 0.0
        )
        for body, setting in zip(params.body.circuits, params.setting.circuits, strict=True)
    )
    return State(0.0, circuits, air_c, air_k, tilt_deg=tilt_deg, height_m=height_m, battery_ratio=battery_ratio)


def step(state: State, params: Params, dt_s: float) -> State:
    """The lifter ``dt_s`` later, s (0.05 is fine; above 0.1 the bounce of the load is no longer followed).

    Never gives a negative amount of gas, and air through an opening never overshoots the pressure outside.
    """
    body, setting = params.body, params.setting
    t_s = state.t_s + dt_s
    air_c = _toward(state.air_c, setting.air_goal_c, setting.air_c_per_s * dt_s)
    air_k = air_c + ZERO_C_IN_K - LAPSE_K_PER_M * state.height_m
    wall_k = air_k + (state.wall_k - air_k) * math.exp(-dt_s / body.wall_time_s)
    ambient_pa = ambient_pa_of(state, params)
    cut_out = state.pump_cut_out or battery_v(state, params) < body.pump_cut_out_v

    circuits = tuple(
        _step_circuit(
            gas,
            circuit_body,
            circuit_setting,
            pads_on=circuit_setting.pressed and not state.dropped,
            valve_c=body.valve_c_m3_per_s_pa if setting.valve_open else 0.0,
            power=not cut_out,
            ambient_pa=ambient_pa,
            air_k=air_k,
            wall_k=wall_k,
            t_s=t_s,
            dt_s=dt_s,
        )
        for gas, circuit_body, circuit_setting in zip(state.circuits, body.circuits, setting.circuits, strict=True)
    )

    dropped = state.dropped or _slips(state, params)
    height_m, climb_m_per_s = _hoist(state, setting, dt_s)
    hook_kg = 0.0 if dropped else _toward(state.hook_kg, setting.load_goal_kg, setting.load_kg_per_s * dt_s)
    felt_kg, felt_kg_per_s, swing_rad, swing_rad_per_s = _rope(
        state, params, hook_kg, accel_m_s2=(climb_m_per_s - state.climb_m_per_s) / dt_s, dt_s=dt_s
    )
    return State(
        t_s=t_s,
        circuits=circuits,
        air_c=air_c,
        wall_k=wall_k,
        hook_kg=hook_kg,
        load_kg=felt_kg,
        load_kg_per_s=felt_kg_per_s,
        swing_rad=swing_rad,
        swing_rad_per_s=swing_rad_per_s,
        tilt_deg=_toward(state.tilt_deg, setting.tilt_goal_deg, setting.tilt_deg_per_s * dt_s),
        rotation_deg=_toward(state.rotation_deg, setting.rotation_goal_deg, setting.rotation_deg_per_s * dt_s),
        height_m=height_m,
        climb_m_per_s=climb_m_per_s,
        battery_ratio=max(0.0, state.battery_ratio - _current_a(circuits, params) * dt_s / (3600.0 * body.battery_ah)),
        pump_cut_out=cut_out,
        dropped=dropped,
    )


# --- What can be read off a state -------------------------------------------------------------------------------------


def pressure_pa(gas: CircuitState, body: CircuitBody) -> float:
    """Absolute pressure of a circuit's gas, Pa: p = nRT/V. Check: 1 mol at 273.15 K in 22.414 l is 101.325 kPa."""
    return gas.gas_mol * GAS_CONSTANT_J_PER_MOL_K * gas.gas_k / body.volume_m3


def vacuum_kpa(state: State, params: Params, circuit_n: int) -> float:
    """True vacuum of a circuit, kPa below the ambient at the lifter."""
    gas_pa = pressure_pa(state.circuits[circuit_n], params.body.circuits[circuit_n])
    return (ambient_pa_of(state, params) - gas_pa) / PA_PER_KPA


def ambient_pa_of(state: State, params: Params) -> float:
    """Ambient pressure at the lifter, Pa."""
    return ambient_at_pa(params.body.ground_ambient_pa, state.height_m, air_c=state.air_c)


def battery_v(state: State, params: Params) -> float:
    """Battery voltage under what is drawn now, V: rest voltage less current times inner resistance."""
    return _rest_v(state.battery_ratio) - _current_a(state.circuits, params) * params.body.battery_ohm


def has_power(state: State) -> bool:
    """Whether anything on the lifter still runs, its radio included."""
    return state.battery_ratio > 0.0


def wind_m_s(state: State, params: Params) -> float:
    """Wind now, m/s: the mean and gusts made of a few slow waves, whose phases make one day differ from another."""
    setting = params.setting
    phases = setting.wind_phases_rad
    if not phases:
        return setting.wind_mean_m_s
    waves = sum(math.sin(2.0 * math.pi * state.t_s / (4.0 * 1.7**n) + phase) for n, phase in enumerate(phases))
    return max(0.0, setting.wind_mean_m_s + setting.wind_gust_m_s * waves / math.sqrt(len(phases)))


def grip_ratio(state: State, params: Params) -> float:
    """How many times the pads would hold what hangs on them now; inf with nothing on them.

    Pads above a panel tilted by a from flat carry W·cos a as pull and W·sin a as friction, so together they hold
    F / (W·(cos a + sin a / µ)) times. Statics; flat needs F ≥ W, upright F ≥ W/µ.
    """
    if state.load_kg <= 0.0:
        return math.inf
    suction_n = sum(
        max(0.0, vacuum_kpa(state, params, n)) * PA_PER_KPA * circuit.pad_area_m2
        for n, circuit in enumerate(params.body.circuits)
    )
    tilt_rad = math.radians(state.tilt_deg)
    weight_n = state.load_kg * STANDARD_GRAVITY_M_S2
    needed_n = weight_n * (max(0.0, math.cos(tilt_rad)) + abs(math.sin(tilt_rad)) / params.body.friction_ratio)
    return suction_n / needed_n


# --- Laws -------------------------------------------------------------------------------------------------------------


def flow_kg_per_s(
    leak: Leak, *, upstream_pa: float, downstream_pa: float, upstream_k: float, t_s: float = 0.0
) -> float:
    """Mass flow through a leak, kg/s, from the higher pressure to the lower.

    Source: ISO 6358-1:2013 as remembered: q = C·p1·ρ0·√(T0/T1), times [1 − ((p2/p1 − b)/(1 − b))²]^m above b.
    Check: C = 1e-8 m³/(s·Pa), b = 0.5, 101325 Pa, 293.15 K: 1.200701e-3 choked, 9.788989e-4 against 80 kPa.
    """
    ratio = downstream_pa / upstream_pa
    b = leak.critical_ratio
    shape = 1.0 if ratio <= b else (1.0 - ((ratio - b) / (1.0 - b)) ** 2) ** leak.exponent
    choked = leak.conductance_at(t_s) * upstream_pa * ANR_KG_PER_M3 * math.sqrt(ANR_K / upstream_k)
    return choked * shape


def conductance_for(
    leak_kpa_per_min: float, *, volume_m3: float, ambient_pa: float = 101_325.0, air_k: float = ANR_K
) -> float:
    """Conductance C of a choked leak that costs a sealed volume so much vacuum, m^3/(s·Pa).

    Check: 20.2075 Pa/s in 10 l at 101.325 kPa and 20 °C is 2e-11.
    """
    molar_per_s = leak_kpa_per_min * PA_PER_KPA / 60.0 * volume_m3 / (GAS_CONSTANT_J_PER_MOL_K * air_k)
    return molar_per_s * AIR_KG_PER_MOL / (ambient_pa * ANR_KG_PER_M3 * math.sqrt(ANR_K / air_k))


def conductance_of_bore(bore_mm: float) -> float:
    """Conductance C of an ideal nozzle, m^3/(s·Pa). Check: 0.1 mm is 1.564473e-11 (isentropic choked flow of air)."""
    area_m2 = math.pi / 4.0 * (bore_mm / 1000.0) ** 2
    return area_m2 * NOZZLE_FLUX_KG_PER_S_M2_PA / (ANR_KG_PER_M3 * math.sqrt(ANR_K))


@lru_cache(maxsize=64)
def ambient_at_pa(ground_pa: float, height_m: float, *, air_c: float) -> float:
    """Pressure ``height_m`` above a place with ``ground_pa`` and ``air_c``, Pa.

    Source: hydrostatic equation with the lapse of ISO 2533:1975. Check: 101325 Pa, 15 °C, 2000 m: 79495.2 Pa.
    """
    return ground_pa * float((1.0 - LAPSE_K_PER_M * height_m / (air_c + ZERO_C_IN_K)) ** LAPSE_EXPONENT)


# --- Parts of a step --------------------------------------------------------------------------------------------------


def _step_circuit(
    gas: CircuitState,
    body: CircuitBody,
    setting: CircuitSetting,
    *,
    pads_on: bool,
    valve_c: float,
    power: bool,
    ambient_pa: float,
    air_k: float,
    wall_k: float,
    t_s: float,
    dt_s: float,
) -> CircuitState:
    mol, heat_k = gas.gas_mol, gas.gas_k
    gas_pa = pressure_pa(gas, body)
    running = _pump_runs(gas, body, setting, vacuum_kpa=(ambient_pa - gas_pa) / PA_PER_KPA, power=power)
    if running:
        speed = body.pump_m3_per_s * setting.pump_speed_ratio * max(0.0, 1.0 - body.pump_ultimate_pa / gas_pa)
        mol, heat_k = _without(mol, heat_k, mol * (1.0 - math.exp(-speed * dt_s / body.volume_m3)))
        gas_pa *= mol * heat_k / (gas.gas_mol * gas.gas_k)

    # Air through leaks and openings: enthalpy comes in with the outside temperature and goes out with the gas's own.
    # It comes after the pump, so that what stands open to the air is at its pressure however fast the pump.
    seat_ratio = _toward(gas.seat_ratio, 1.0 if pads_on else 0.0, dt_s / (_SEAT_S if pads_on else _UNSEAT_S))
    opening_c = valve_c + _PAD_OPEN_C * (1.0 - seat_ratio)
    leaks = (body.normal_leak, *setting.leaks, Leak(opening_c)) if opening_c else (body.normal_leak, *setting.leaks)
    inward = gas_pa <= ambient_pa
    high_pa, low_pa, high_k = (ambient_pa, gas_pa, air_k) if inward else (gas_pa, ambient_pa, heat_k)
    passing_kg_per_s = sum(
        flow_kg_per_s(leak, upstream_pa=high_pa, downstream_pa=low_pa, upstream_k=high_k, t_s=t_s) for leak in leaks
    )
    level_mol = (high_pa - low_pa) * body.volume_m3 / (AIR_CP_CV_RATIO * GAS_CONSTANT_J_PER_MOL_K * high_k)
    passing_mol = min(passing_kg_per_s / AIR_KG_PER_MOL * dt_s, level_mol)
    if inward:
        heat_k = (mol * heat_k + AIR_CP_CV_RATIO * passing_mol * air_k) / (mol + passing_mol)
        mol += passing_mol
    else:
        mol, heat_k = _without(mol, heat_k, passing_mol)

    heat_k = wall_k + (heat_k - wall_k) * math.exp(-body.wall_w_per_k * dt_s / (mol * AIR_CV_J_PER_MOL_K))
    return CircuitState(mol, heat_k, seat_ratio, running)


def _without(mol: float, gas_k: float, out_mol: float) -> tuple[float, float]:
    """Gas after some of it left; what stays has expanded and is colder."""
    return mol - out_mol, gas_k * (mol - AIR_CP_CV_RATIO * out_mol) / (mol - out_mol)


def _pump_runs(
    gas: CircuitState, body: CircuitBody, setting: CircuitSetting, *, vacuum_kpa: float, power: bool
) -> bool:
    """The pump's own switch: on at or below its start level, off at its stop level, between them as it was."""
    if not (power and setting.pump_powered) or setting.pump_failed or vacuum_kpa >= body.pump_stop_kpa:
        return False
    return gas.pump_running or vacuum_kpa <= body.pump_start_kpa


def _slips(state: State, params: Params) -> bool:
    return state.hook_kg > 0.0 and grip_ratio(state, params) < 1.0


def _hoist(state: State, setting: Setting, dt_s: float) -> tuple[float, float]:
    """Height and climb: speeds up and slows down at a crane's pace and stops on its goal."""
    to_go_m = setting.height_goal_m - state.height_m
    brake_m_per_s = math.sqrt(2.0 * _HOIST_ACCEL_M_S2 * abs(to_go_m))
    wanted_m_per_s = math.copysign(min(setting.hoist_m_per_s, brake_m_per_s), to_go_m)
    climb_m_per_s = _toward(state.climb_m_per_s, wanted_m_per_s, _HOIST_ACCEL_M_S2 * dt_s)
    move_m = climb_m_per_s * dt_s
    if move_m * to_go_m >= 0.0 and abs(move_m) >= abs(to_go_m):
        return setting.height_goal_m, 0.0
    return state.height_m + move_m, climb_m_per_s


def _rope(
    state: State, params: Params, hook_kg: float, *, accel_m_s2: float, dt_s: float
) -> tuple[float, float, float, float]:
    """The load on its rope: it bounces as a damped spring when the pull changes and swings with slewing and wind."""
    body, setting = params.body, params.setting
    pendulum_rad_per_s2 = STANDARD_GRAVITY_M_S2 / body.rope_m
    push_m_s2 = setting.slew_m_s2
    if hook_kg > 0.0 and setting.panel_kg > 0.0:
        # Wind pressure q = rho/2·v², twice for a flat panel: a sideways push on what hangs.
        push_m_s2 += 2.0 * 0.6125 * wind_m_s(state, params) ** 2 * setting.panel_area_m2 / setting.panel_kg
    swing_rad_per_s = state.swing_rad_per_s + dt_s * (
        push_m_s2 / body.rope_m
        - pendulum_rad_per_s2 * state.swing_rad
        - 2.0 * body.swing_damping_ratio * math.sqrt(pendulum_rad_per_s2) * state.swing_rad_per_s
    )
    swing_rad = state.swing_rad + dt_s * swing_rad_per_s
    pull_ratio = math.cos(swing_rad) + (swing_rad_per_s**2 * body.rope_m + accel_m_s2) / STANDARD_GRAVITY_M_S2
    bounce_rad_per_s = 2.0 * math.pi * body.bounce_hz
    felt_kg_per_s = state.load_kg_per_s + dt_s * (
        bounce_rad_per_s**2 * (hook_kg * pull_ratio - state.load_kg)
        - 2.0 * body.bounce_damping_ratio * bounce_rad_per_s * state.load_kg_per_s
    )
    return state.load_kg + dt_s * felt_kg_per_s, felt_kg_per_s, swing_rad, swing_rad_per_s


def _toward(value: float, goal: float, most: float) -> float:
    """``value`` moved towards ``goal`` by at most ``most``."""
    if abs(goal - value) <= most:
        return goal
    return value + math.copysign(most, goal - value)


def _current_a(circuits: tuple[CircuitState, ...], params: Params) -> float:
    running_n = sum(gas.pump_running for gas in circuits)
    return params.body.idle_a + params.setting.battery_drain_a + params.body.pump_a * running_n


def _rest_v(charge_ratio: float) -> float:
    for (low_ratio, low_v), (high_ratio, high_v) in pairwise(_REST_V):
        if charge_ratio <= high_ratio:
            return low_v + (high_v - low_v) * (charge_ratio - low_ratio) / (high_ratio - low_ratio)
    return _REST_V[-1][1]
