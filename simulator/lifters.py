"""Which lifter is simulated: one of a site file, or the built-in one, with the details a site file has no key for."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from monitor.core.config import LifterConfig, LoadMeasures
from monitor.core.units import PA_PER_KPA, standard_ambient_kpa
from simulator.acts import number
from simulator.keys import Key
from simulator.physics import Body, CircuitBody, Leak, conductance_for

_NORMAL_LEAK_KPA_PER_MIN: Final = (0.05, 0.2)
_PUMP_SPREAD_RATIO: Final = (0.93, 1.07)  # no two pumps are alike
_FILL_S: Final = 11.6  # volume over pumping speed: 64 kPa in about a quarter of a minute
_ULTIMATE_KPA: Final = 10.0

CIRCUIT_KEYS: Final = (
    Key("volume_l", "sealed volume", "l", 0.1, 1000.0, default=None),
    Key("leak_kpa_per_min", "leak when all is well; 0.05 to 0.2 by the seed", "kPa/min", 0.0, 10.0, default=None),
    Key("critical_ratio", "ISO 6358 b of that leak", "", 0.0, 0.9, default=0.5),
    Key("exponent", "ISO 6358 m of that leak", "", 0.3, 1.0, default=0.5),
    Key("pump_l_per_s", "pumping speed", "l/s", 0.0, 100.0, default=None),
    Key("wall_w_per_k", "heat from walls to gas", "W/K", 0.0, 1000.0, default=None),
)  # fmt: skip
"""Keys of ``[circuits.NAME]`` in a scenario."""

BODY_KEYS: Final = (
    Key("friction_ratio", "true friction of pads on the panel", "", 0.05, 1.5, default=0.6),
    Key("battery_ah", "battery", "Ah", 0.01, 1000.0, default=40.0),
    Key("battery_ohm", "its inner resistance; a tired one has more", "Ω", 0.0, 1.0, default=0.03),
    Key("rope_m", "rope the load swings on", "m", 1.0, 300.0, default=25.0),
    Key(
        "altitude_m", "height of the site above the sea, where no site file says it", "m", -430.0, 5000.0, default=12.0
    ),
    Key("weather_kpa", "ambient pressure above that of the standard atmosphere", "kPa", -8.0, 8.0, default=0.0),
)
"""Keys of ``[lifter]`` in a scenario."""


@dataclass(frozen=True, slots=True)
class _Circuit:
    id: str
    pad_area_m2: float
    volume_l: float = 14.0
    pump_start_kpa: float = 60.0
    pump_stop_kpa: float = 66.0


@dataclass(frozen=True, slots=True)
class Lifter:
    """What is simulated, as far as its site file says. ``tare_kg`` is what the load cell feels beside the panel."""

    id: str = "dock-6"
    circuits: tuple[_Circuit, ...] = (_Circuit("A", 0.345), _Circuit("B", 0.345))
    altitude_m: float | None = None
    rate_hz: float | None = None
    tare_kg: float = 0.0
    has_load_cell: bool = True
    ambient_at_ground: bool = False


BUILT_IN: Final = Lifter()
"""Two circuits A and B with three pads of 1150 cm² each: the lifter of the demo, for when no site file is given."""


def lifter_of(config: LifterConfig) -> Lifter:
    """The lifter a site file describes; volumes, pump levels and pads it leaves out are those of the built-in one."""
    circuits = []
    for circuit in config.circuits.values():
        area_cm2 = sum(pad.area_cm2 for pad in config.pads.values() if pad.circuit == circuit.id)
        stop_kpa = circuit.pump_stop_kpa or circuit.working_kpa + 4.0
        circuits.append(
            _Circuit(
                circuit.id,
                pad_area_m2=area_cm2 / 1.0e4 or 0.345,
                volume_l=circuit.volume_l or 14.0,
                pump_start_kpa=circuit.pump_start_kpa or min(circuit.working_kpa - 2.0, stop_kpa - 1.0),
                pump_stop_kpa=stop_kpa,
            )
        )
    return Lifter(
        id=config.id,
        circuits=tuple(circuits),
        altitude_m=config.altitude_m,
        rate_hz=None if config.expected_interval_s is None else 1.0 / config.expected_interval_s,
        tare_kg=config.tare_kg if config.load_measures in (LoadMeasures.WITH_LIFTER, LoadMeasures.HOOK) else 0.0,
        has_load_cell=config.load_measures is not LoadMeasures.NONE,
        ambient_at_ground=config.ambient_at == "ground",
    )


def body_of(
    lifter: Lifter,
    details: Mapping[str, object],
    circuit_details: Mapping[str, Mapping[str, object]],
    rng: np.random.Generator,
) -> Body:
    """The physics of a lifter.

    Args:
        lifter: What the site file says.
        details: Checked `BODY_KEYS` of the scenario.
        circuit_details: Checked `CIRCUIT_KEYS` by circuit, for those the scenario names.
        rng: Seeded; draws normal leaks and how fast each pump is.
    """
    altitude_m = number(details, "altitude_m") if lifter.altitude_m is None else lifter.altitude_m
    ambient_kpa = standard_ambient_kpa(altitude_m) + number(details, "weather_kpa")
    circuits_n = len(lifter.circuits)
    leaks_kpa_per_min = rng.uniform(*_NORMAL_LEAK_KPA_PER_MIN, circuits_n).tolist()
    pump_ratios = rng.uniform(*_PUMP_SPREAD_RATIO, circuits_n).tolist()
    return Body(
        circuits=tuple(
            _circuit_body(circuit, circuit_details.get(circuit.id, {}), leak_kpa_per_min, pump_ratio, ambient_kpa)
            for circuit, leak_kpa_per_min, pump_ratio in zip(
                lifter.circuits, leaks_kpa_per_min, pump_ratios, strict=True
            )
        ),
        ground_ambient_pa=ambient_kpa * PA_PER_KPA,
        friction_ratio=number(details, "friction_ratio"),
        rope_m=number(details, "rope_m"),
        battery_ah=number(details, "battery_ah"),
        battery_ohm=number(details, "battery_ohm"),
    )


def _circuit_body(
    circuit: _Circuit, details: Mapping[str, object], leak_kpa_per_min: float, pump_ratio: float, ambient_kpa: float
) -> CircuitBody:
    volume_l = _given(details, "volume_l", circuit.volume_l)
    volume_m3 = volume_l / 1000.0
    room_kpa = max(0.5, 0.5 * (ambient_kpa - circuit.pump_stop_kpa))  # a pump that can reach its own stop level
    return CircuitBody(
        id=circuit.id,
        volume_m3=volume_m3,
        pad_area_m2=circuit.pad_area_m2,
        pump_m3_per_s=_given(details, "pump_l_per_s", pump_ratio * volume_l / _FILL_S) / 1000.0,
        pump_ultimate_pa=min(_ULTIMATE_KPA, room_kpa) * PA_PER_KPA,
        pump_start_kpa=circuit.pump_start_kpa,
        pump_stop_kpa=circuit.pump_stop_kpa,
        wall_w_per_k=_given(details, "wall_w_per_k", 0.18 * volume_l),
        normal_leak=Leak(
            conductance_for(_given(details, "leak_kpa_per_min", leak_kpa_per_min), volume_m3=volume_m3),
            critical_ratio=_given(details, "critical_ratio", 0.5),
            exponent=_given(details, "exponent", 0.5),
        ),
    )


def _given(details: Mapping[str, object], name: str, otherwise: float) -> float:
    value = details.get(name)
    return value if isinstance(value, float) and math.isfinite(value) else otherwise
