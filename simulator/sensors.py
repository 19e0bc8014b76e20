"""What the lifter's sensors make of the truth: calibration, noise, quantisation, and fields a sender does not have.

The random numbers come from a seeded generator passed in; `Reading` here is a plain dictionary in the shape of the
message, so that the monitor's own types play no part in making it.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from monitor.core.units import PA_PER_KPA
from simulator.physics import (
    ZERO_C_IN_K,
    Params,
    State,
    ambient_pa_of,
    battery_v,
    pressure_pa,
    vacuum_kpa,
    wind_m_s,
)

Payload = dict[str, object]


@dataclass(frozen=True, slots=True)
class Sensor:
    """One kind of sensor: reading = quantised(gain · truth + offset + noise). Noise is a standard deviation."""

    noise: float
    quantum: float
    gain_ratio: float = 1.0
    offset: float = 0.0


SENSORS: Final[Mapping[str, Sensor]] = {
    "vacuum_kpa": Sensor(noise=0.08, quantum=0.1),
    "load_kg": Sensor(noise=1.2, quantum=0.5),
    "tilt_deg": Sensor(noise=0.15, quantum=0.1),
    "rotation_deg": Sensor(noise=0.15, quantum=0.1),
    "height_m": Sensor(noise=0.05, quantum=0.1),
    "ambient_kpa": Sensor(noise=0.01, quantum=0.01),
    "temperature_c": Sensor(noise=0.05, quantum=0.1),
    "battery_v": Sensor(noise=0.02, quantum=0.1),
    "wind_m_s": Sensor(noise=0.1, quantum=0.1),
}
"""Every measured quantity and what an ordinary industrial sensor does to it (common practice), in its name's unit."""


@dataclass(frozen=True, slots=True)
class Suite:
    """All sensors of one lifter. ``tare_kg`` is added to the load by a cell that also feels the lifter."""

    sensors: Mapping[str, Sensor] = field(default_factory=lambda: SENSORS)
    leave_out: frozenset[str] = frozenset()  # of SENSORS' names and "pump", "lifter_alarm", "release_valve"
    gauges_n: int = 1
    absolute: bool = False
    tare_kg: float = 0.0
    ambient_at_ground: bool = False


def measure(state: State, params: Params, suite: Suite, rng: np.random.Generator) -> Payload:
    """One reading of everything, without its stamp (time, seq, boot).

    A circuit with more than one gauge gives the lowest as its vacuum and each gauge beside it.
    """
    noise = iter(rng.standard_normal(len(SENSORS) + len(params.body.circuits) * suite.gauges_n).tolist())

    def read(name: str, truth: float) -> float:
        sensor = suite.sensors[name]
        value = sensor.gain_ratio * truth + sensor.offset + sensor.noise * next(noise)
        return quantised(value, sensor.quantum)

    ambient_kpa = ambient_pa_of(state, params) / PA_PER_KPA
    circuits: dict[str, Payload] = {}
    for n, (gas, body) in enumerate(zip(state.circuits, params.body.circuits, strict=True)):
        if suite.absolute:
            circuit: Payload = {"pressure_abs_kpa": read("vacuum_kpa", pressure_pa(gas, body) / PA_PER_KPA)}
        else:
            gauges = [read("vacuum_kpa", vacuum_kpa(state, params, n)) for _ in range(suite.gauges_n)]
            circuit = {"vacuum_kpa": min(gauges)}
            if suite.gauges_n > 1:
                circuit["gauges"] = {str(gauge_n): value for gauge_n, value in enumerate(gauges, start=1)}
        circuit["pump"] = "on" if gas.pump_running else "off"
        circuits[body.id] = circuit
    payload: Payload = {
        "circuits": circuits,
        "load_kg": read("load_kg", state.load_kg + suite.tare_kg),
        "tilt_deg": read("tilt_deg", state.tilt_deg),
        "rotation_deg": read("rotation_deg", state.rotation_deg),
        "height_m": read("height_m", state.height_m),
        "ambient_kpa": read(
            "ambient_kpa", params.body.ground_ambient_pa / PA_PER_KPA if suite.ambient_at_ground else ambient_kpa
        ),
        "temperature_c": read("temperature_c", state.wall_k - ZERO_C_IN_K),
        "battery_v": read("battery_v", battery_v(state, params)),
        "wind_m_s": max(0.0, read("wind_m_s", wind_m_s(state, params))),
        "lifter_alarm": False,
        "release_valve": "open" if params.setting.valve_open else "closed",
    }
    for name in suite.leave_out:
        leave_out(payload, name)
    return payload


def quantised(value: float, quantum: float) -> float:
    """``value`` to the nearest whole number of quanta; 0 leaves it as it is. Check: 63.44 by 0.1 is 63.4."""
    return round(round(value / quantum) * quantum, 9) + 0.0 if quantum else value  # + 0.0: never -0.0


def leave_out(payload: Payload, name: str) -> None:
    """Take a field out of a reading in place; ``vacuum_kpa`` and ``pump`` are those of every circuit."""
    payload.pop(name, None)
    if name in ("vacuum_kpa", "pump"):
        for circuit in circuits_of(payload).values():
            circuit.pop(name, None)


def circuits_of(payload: Payload) -> dict[str, Payload]:
    """The part of a reading that belongs to its circuits, by their names."""
    circuits = payload["circuits"]
    assert isinstance(circuits, dict)  # noqa: S101  `measure` made it so; this tells the type checker
    return circuits
