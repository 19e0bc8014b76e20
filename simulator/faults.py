"""The faults a scenario can inject: a declared table, and what each does to physics, to a reading or to its delivery.

A fault holds from its ``at_s`` for its ``for_s``, or to the end. Each row says where it acts: physics faults change what
the lifter is stepped with, sensor faults change a reading after the sensors made it, delivery faults change when and how
a finished message arrives (done in `simulator.delivery`).
"""

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import partial
from typing import Final

import numpy as np

from monitor.core.units import S_PER_MIN
from simulator.acts import CIRCUIT, chosen, number, on_circuits
from simulator.keys import Key, Kind
from simulator.physics import Body, CircuitSetting, Leak, Setting, conductance_for, conductance_of_bore
from simulator.sensors import SENSORS, Payload, circuits_of, leave_out, quantised

Values = Mapping[str, object]


class Where(StrEnum):
    """What a fault acts on."""

    PHYSICS = "physics"
    SENSOR = "sensor"
    DELIVERY = "delivery"


@dataclass(frozen=True, slots=True)
class FaultRule:
    """One row: its name in ``faults``, ``kind = "..."``, and its keys beside ``at_s`` and ``for_s``."""

    key: str
    where: Where
    says: str
    keys: tuple[Key, ...] = ()


_CIRCUIT: Final = replace(CIRCUIT, says="the circuit's name")
_ONE_CIRCUIT: Final = Key("circuit", "the circuit's name", kind=Kind.TEXT)
_LEAK: Final = Key("leak_kpa_per_min", "vacuum lost while the flow is choked, at sea level", "kPa/min", 0.01, 5000.0)
_SENSOR: Final = (
    Key("sensor", "which reading", kind=Kind.TEXT, one_of=tuple(SENSORS)),
    CIRCUIT,
    Key("gauge", "which of a circuit's gauges; all when left out", default=None, kind=Kind.TEXT),
)
_SHARE: Final = Key("share_ratio", "share of the messages hit", "", 0.0, 1.0)

_TABLE: Final = (
    # physics
    FaultRule(
        "leak",
        Where.PHYSICS,
        "a circuit starts to leak",
        (
            _CIRCUIT,
            _LEAK,
            Key("critical_ratio", "ISO 6358 b", "", 0.0, 0.9, default=0.5),
            Key("exponent", "ISO 6358 m; b 0 and m 1 is laminar seepage", "", 0.3, 1.0, default=0.5),
        ),
    ),
    FaultRule(
        "growing_leak",
        Where.PHYSICS,
        "a leak that doubles again and again",
        (_CIRCUIT, _LEAK, Key("doubling_s", "time in which it doubles", "s", 1.0, 36_000.0)),
    ),
    FaultRule("common_leak", Where.PHYSICS, "a leak in what all circuits share, felt by each", (_LEAK,)),
    FaultRule(
        "hose_off",
        Where.PHYSICS,
        "a hose comes off: one circuit is lost",
        (_ONE_CIRCUIT, Key("bore_mm", "bore of the hose", "mm", 0.1, 50.0, default=6.0)),
    ),
    FaultRule("pad_slips", Where.PHYSICS, "pads come off the panel", (_ONE_CIRCUIT,)),
    FaultRule("pump_stop", Where.PHYSICS, "a pump stops and does not start again", (_CIRCUIT,)),
    FaultRule(
        "blocked_filter",
        Where.PHYSICS,
        "a filter blocks: the pump runs and moves little",
        (_CIRCUIT, Key("speed_ratio", "pumping speed left", "", 0.0, 1.0, default=0.1)),
    ),
    FaultRule("valve_opens", Where.PHYSICS, "the release valve opens by itself"),
    FaultRule(
        "battery_drain",
        Where.PHYSICS,
        "something draws on the battery: a dying set",
        (Key("current_a", "current drawn", "A", 0.0, 1000.0),),
    ),
    # sensors
    FaultRule("sensor_frozen", Where.SENSOR, "a reading stops updating", _SENSOR),
    FaultRule(
        "sensor_jump",
        Where.SENSOR,
        "a reading is off by a step",
        (*_SENSOR, Key("by", "step", "the sensor's", -1e5, 1e5)),
    ),
    FaultRule(
        "sensor_drift",
        Where.SENSOR,
        "a reading drifts away, its zero moves",
        (*_SENSOR, Key("per_min", "drift", "the sensor's a minute", -1e5, 1e5)),
    ),
    FaultRule(
        "sensor_noisy",
        Where.SENSOR,
        "a reading is noisier",
        (*_SENSOR, Key("noise", "standard deviation added", "the sensor's", 0.0, 1e5)),
    ),
    FaultRule(
        "sensor_reads",
        Where.SENSOR,
        "a reading stands at a value, possible or not",
        (*_SENSOR, Key("value", "what it reads", "the sensor's", -1e6, 1e6)),
    ),
    FaultRule(
        "sensor_rubbish",
        Where.SENSOR,
        "words where a number should be",
        (*_SENSOR, Key("text", "what it says", default="ERR", kind=Kind.TEXT)),
    ),
    FaultRule("sensor_missing", Where.SENSOR, "a reading is left out", _SENSOR),
    FaultRule(
        "gauges_disagree",
        Where.SENSOR,
        "one of a circuit's gauges reads otherwise than the rest",
        (
            _ONE_CIRCUIT,
            Key("gauge", "which", default="2", kind=Kind.TEXT),
            Key("by_kpa", "difference", "kPa", -100.0, 100.0),
        ),
    ),
    FaultRule(
        "pump_misreported",
        Where.SENSOR,
        "the pump is said to be what it is not",
        (_CIRCUIT, Key("says", "what is said", kind=Kind.TEXT, one_of=("on", "off"))),
    ),
    FaultRule("pump_not_reported", Where.SENSOR, "the pump's state is not reported"),
    FaultRule("lifter_alarm", Where.SENSOR, "the lifter's own alarm sounds"),
    # delivery
    FaultRule(
        "silent",
        Where.DELIVERY,
        "telemetry falls silent",
        (Key("says_offline", "the broker announces it (last will) once it goes on", default=False, kind=Kind.FLAG),),
    ),
    FaultRule("loss", Where.DELIVERY, "some messages never arrive", (_SHARE,)),
    FaultRule(
        "duplicate",
        Where.DELIVERY,
        "some messages arrive twice",
        (_SHARE, Key("by_s", "how long after", "s", 0.0, 60.0, default=0.3)),
    ),
    FaultRule(
        "reorder",
        Where.DELIVERY,
        "some messages arrive after later ones",
        (_SHARE, Key("by_s", "how long they are held back", "s", 0.0, 60.0, default=0.5)),
    ),
    FaultRule("late", Where.DELIVERY, "every message arrives late", (Key("by_s", "how late", "s", 0.0, 600.0),)),
    FaultRule("burst", Where.DELIVERY, "messages are held back and arrive all at once at the end"),
    FaultRule(
        "wrong_clock",
        Where.DELIVERY,
        "the sender's clock is wrong",
        (Key("by_s", "how much it is ahead; below zero behind", "s", -1e9, 1e9),),
    ),
    FaultRule("no_clock", Where.DELIVERY, "messages carry no time"),
    FaultRule("restart", Where.DELIVERY, "the sender restarts: silent meanwhile, then a new boot counting from 0"),
    FaultRule("garbled", Where.DELIVERY, "some messages are cut short and cannot be read", (_SHARE,)),
    FaultRule("retained", Where.DELIVERY, "messages are marked as leftovers"),
)

FAULTS: Final[Mapping[str, FaultRule]] = {rule.key: rule for rule in _TABLE}
"""Every fault by its name."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault of a scenario, with its checked keys."""

    rule: FaultRule
    at_s: float
    until_s: float
    values: Values

    def holds(self, t_s: float) -> bool:
        """Whether it is there at a time."""
        return self.at_s <= t_s < self.until_s


# --- Physics ----------------------------------------------------------------------------------------------------------


def disturb(fault: Fault, setting: Setting, body: Body) -> Setting:
    """The setting with a physics fault in it."""
    change = _CIRCUIT_CHANGES.get(fault.rule.key)
    if change is not None:
        return _change_circuits(fault, setting, body, change)
    if fault.rule.key == "valve_opens":
        return replace(setting, valve_open=True)
    return replace(setting, battery_drain_a=setting.battery_drain_a + number(fault.values, "current_a"))


def _change_circuits(
    fault: Fault, setting: Setting, body: Body, change: Callable[[Fault, float, CircuitSetting], CircuitSetting]
) -> Setting:
    volumes_m3 = {circuit.id: circuit.volume_m3 for circuit in body.circuits}
    for circuit_id in chosen(body, fault.values):
        change_one = partial(change, fault, volumes_m3[circuit_id])
        setting = on_circuits(setting, body, {"circuit": circuit_id}, change_one)
    return setting


def _leak(fault: Fault, volume_m3: float, circuit: CircuitSetting) -> CircuitSetting:
    values = fault.values
    leak = Leak(
        conductance_for(number(values, "leak_kpa_per_min"), volume_m3=volume_m3),
        critical_ratio=number(values, "critical_ratio") if "critical_ratio" in values else 0.5,
        exponent=number(values, "exponent") if "exponent" in values else 0.5,
        start_s=fault.at_s,
        doubling_s=number(values, "doubling_s") if "doubling_s" in values else math.inf,
    )
    return replace(circuit, leaks=(*circuit.leaks, leak))


def _hose_off(fault: Fault, _volume_m3: float, circuit: CircuitSetting) -> CircuitSetting:
    return replace(circuit, leaks=(*circuit.leaks, Leak(conductance_of_bore(number(fault.values, "bore_mm")))))


def _pad_slips(_fault: Fault, _volume_m3: float, circuit: CircuitSetting) -> CircuitSetting:
    return replace(circuit, pressed=False)


def _pump_stop(_fault: Fault, _volume_m3: float, circuit: CircuitSetting) -> CircuitSetting:
    return replace(circuit, pump_failed=True)


def _blocked_filter(fault: Fault, _volume_m3: float, circuit: CircuitSetting) -> CircuitSetting:
    return replace(circuit, pump_speed_ratio=number(fault.values, "speed_ratio"))


_CIRCUIT_CHANGES: Final = {
    "leak": _leak,
    "growing_leak": _leak,
    "common_leak": _leak,
    "hose_off": _hose_off,
    "pad_slips": _pad_slips,
    "pump_stop": _pump_stop,
    "blocked_filter": _blocked_filter,
}


# --- Sensors ----------------------------------------------------------------------------------------------------------

Memory = dict[tuple[str, float, str], object]
"""What each frozen reading last said, by fault, its start and the place it struck."""


def falsify(fault: Fault, payload: Payload, *, t_s: float, memory: Memory, rng: np.random.Generator) -> None:
    """Change a reading in place as a sensor fault does; ``memory`` carries what a frozen sensor last said."""
    match fault.rule.key:
        case "lifter_alarm":
            payload["lifter_alarm"] = True
        case "pump_not_reported":
            leave_out(payload, "pump")
        case "pump_misreported":
            for name, circuit in circuits_of(payload).items():
                if fault.values["circuit"] in (None, name):
                    circuit["pump"] = fault.values["says"]
        case _:
            for place, (holder, key) in _places(payload, fault.values):
                _falsify_one(fault, holder, key, t_s, memory, (fault.rule.key, fault.at_s, place), rng)
            _lowest_gauge_counts(payload)


def _falsify_one(
    fault: Fault,
    holder: dict[str, object],
    key: str,
    t_s: float,
    memory: Memory,
    remembered: tuple[str, float, str],
    rng: np.random.Generator,
) -> None:
    values, value = fault.values, holder[key]
    if fault.rule.key == "sensor_missing":
        del holder[key]
    elif fault.rule.key == "sensor_frozen":
        holder[key] = memory.setdefault(remembered, value)
    elif fault.rule.key == "sensor_rubbish":
        holder[key] = values["text"]
    elif fault.rule.key == "sensor_reads":
        holder[key] = number(values, "value")
    elif isinstance(value, float):
        quantum = SENSORS[str(values.get("sensor", "vacuum_kpa"))].quantum
        holder[key] = quantised(value + _error(fault, t_s, rng), quantum)


def _error(fault: Fault, t_s: float, rng: np.random.Generator) -> float:
    match fault.rule.key:
        case "sensor_drift":
            return number(fault.values, "per_min") * (t_s - fault.at_s) / S_PER_MIN
        case "sensor_noisy":
            return number(fault.values, "noise") * float(rng.standard_normal())
        case "sensor_jump":
            return number(fault.values, "by")
        case _:
            return number(fault.values, "by_kpa")


def _places(payload: Payload, values: Values) -> Iterator[tuple[str, tuple[dict[str, object], str]]]:
    """Where in a reading a sensor fault strikes: a name for the place, and the dictionary and key of its value."""
    sensor = values.get("sensor", "vacuum_kpa")
    if sensor != "vacuum_kpa":
        if sensor in payload:
            yield str(sensor), (payload, str(sensor))
        return
    for name, circuit in circuits_of(payload).items():
        if values["circuit"] not in (None, name):
            continue
        gauges = circuit.get("gauges")
        if isinstance(gauges, dict):
            for gauge in [gauge for gauge in gauges if values["gauge"] in (None, gauge)]:
                yield f"{name}.{gauge}", (gauges, gauge)
        else:
            key = "pressure_abs_kpa" if "pressure_abs_kpa" in circuit else "vacuum_kpa"
            if key in circuit:
                yield name, (circuit, key)


def _lowest_gauge_counts(payload: Payload) -> None:
    for circuit in circuits_of(payload).values():
        gauges = circuit.get("gauges")
        if isinstance(gauges, dict):
            numbers = [value for value in gauges.values() if isinstance(value, float)]
            if numbers:
                circuit["vacuum_kpa"] = min(numbers)
            else:
                circuit.pop("vacuum_kpa", None)
