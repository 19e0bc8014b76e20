"""What a crew can do in a scenario: a declared table, and what each act does to the setting of the physics."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Final

from simulator.keys import Key, Kind
from simulator.physics import Body, CircuitSetting, Setting, State

Values = Mapping[str, object]
Do = Callable[[Setting, State, Body, Values], Setting]


@dataclass(frozen=True, slots=True)
class Act:
    """One thing a crew does: its keys beside ``at_s`` and ``do``, and what it does."""

    key: str
    says: str
    do: Do
    keys: tuple[Key, ...] = ()
    undo: Do | None = None  # done by itself `over_s` later


def number(values: Values, name: str) -> float:
    """A number of an act or a fault whose keys have been checked."""
    value = values[name]
    assert isinstance(value, float)  # noqa: S101  the keys were checked when the file was read
    return value


def _number_or(values: Values, name: str, otherwise: float) -> float:
    return otherwise if values[name] is None else number(values, name)


def chosen(body: Body, values: Values) -> frozenset[str]:
    """The circuits meant: the one named, else all."""
    named = values.get("circuit")
    return frozenset(circuit.id for circuit in body.circuits if named is None or circuit.id == named)


def on_circuits(
    setting: Setting, body: Body, values: Values, change: Callable[[CircuitSetting], CircuitSetting]
) -> Setting:
    """The setting with the circuits meant changed."""
    meant = chosen(body, values)
    circuits = tuple(
        change(circuit) if made.id in meant else circuit
        for made, circuit in zip(body.circuits, setting.circuits, strict=True)
    )
    return replace(setting, circuits=circuits)


def _press(setting: Setting, _state: State, body: Body, values: Values) -> Setting:
    return on_circuits(setting, body, values, lambda circuit: replace(circuit, pressed=True, pump_powered=True))


def _pump_on(setting: Setting, _state: State, body: Body, values: Values) -> Setting:
    return on_circuits(setting, body, values, lambda circuit: replace(circuit, pump_powered=True))


def _pump_off(setting: Setting, _state: State, body: Body, values: Values) -> Setting:
    return on_circuits(setting, body, values, lambda circuit: replace(circuit, pump_powered=False))


def _load(setting: Setting, state: State, goal_kg: float, over_s: float) -> Setting:
    return replace(setting, load_goal_kg=goal_kg, load_kg_per_s=_rate(goal_kg - state.hook_kg, over_s))


def _lift(setting: Setting, state: State, _body: Body, values: Values) -> Setting:
    return _load(setting, state, number(values, "to_ratio") * setting.panel_kg, number(values, "over_s"))


def _land(setting: Setting, state: State, _body: Body, values: Values) -> Setting:
    return _load(setting, state, number(values, "to_kg"), number(values, "over_s"))


def _hoist(setting: Setting, _state: State, _body: Body, values: Values) -> Setting:
    return replace(setting, height_goal_m=number(values, "to_m"), hoist_m_per_s=number(values, "speed_m_s"))


def _tilt(setting: Setting, state: State, _body: Body, values: Values) -> Setting:
    goal_deg = number(values, "to_deg")
    return replace(
        setting, tilt_goal_deg=goal_deg, tilt_deg_per_s=_rate(goal_deg - state.tilt_deg, number(values, "over_s"))
    )


def _rotate(setting: Setting, state: State, _body: Body, values: Values) -> Setting:
    goal_deg = number(values, "to_deg")
    return replace(
        setting,
        rotation_goal_deg=goal_deg,
        rotation_deg_per_s=_rate(goal_deg - state.rotation_deg, number(values, "over_s")),
    )


def _slew(setting: Setting, _state: State, _body: Body, values: Values) -> Setting:
    return replace(setting, slew_m_s2=number(values, "accel_m_s2"))


def _stop_slewing(setting: Setting, _state: State, _body: Body, _values: Values) -> Setting:
    return replace(setting, slew_m_s2=0.0)


def _release(setting: Setting, state: State, body: Body, _values: Values) -> Setting:
    return replace(_pump_off(setting, state, body, {}), valve_open=True)


def _close_valve(setting: Setting, state: State, body: Body, _values: Values) -> Setting:
    return replace(_pump_on(setting, state, body, {}), valve_open=False)


def _detach(setting: Setting, _state: State, body: Body, values: Values) -> Setting:
    off = on_circuits(setting, body, values, lambda circuit: replace(circuit, pressed=False, pump_powered=False))
    return replace(off, valve_open=False)


def _panel(setting: Setting, _state: State, _body: Body, values: Values) -> Setting:
    return replace(setting, panel_kg=number(values, "weight_kg"), panel_area_m2=number(values, "area_m2"))


def _weather(setting: Setting, state: State, _body: Body, values: Values) -> Setting:
    air_c = _number_or(values, "air_c", setting.air_goal_c)
    return replace(
        setting,
        air_goal_c=air_c,
        air_c_per_s=_rate(air_c - state.air_c, number(values, "over_s")),
        wind_mean_m_s=_number_or(values, "wind_m_s", setting.wind_mean_m_s),
        wind_gust_m_s=_number_or(values, "gust_m_s", setting.wind_gust_m_s),
    )


def _rate(change: float, over_s: float) -> float:
    return max(abs(change) / over_s, 1e-9) if over_s else math.inf


CIRCUIT: Final = Key("circuit", "the circuit's name; all when left out", default=None, kind=Kind.TEXT)
_OVER: Final = Key("over_s", "how long it takes", "s", 0.0, 3600.0, default=10.0)
PANEL: Final = (
    Key("weight_kg", "true weight of the panel", "kg", 1.0, 100_000.0, default=620.0),
    Key("area_m2", "its area, for the wind", "m²", 0.1, 200.0, default=8.0),
)
WEATHER: Final = (
    Key("air_c", "air temperature at the ground", "°C", -40.0, 50.0, default=14.0),
    Key("wind_m_s", "mean wind", "m/s", 0.0, 40.0, default=3.0),
    Key("gust_m_s", "how far gusts reach from the mean", "m/s", 0.0, 20.0, default=1.0),
)

_TABLE: Final = (
    Act("press", "press the pads on the panel and switch the pumps on", _press, (CIRCUIT,)),
    Act(
        "seal_test",
        "switch the pumps off and watch, then on again",
        _pump_off,
        (Key("over_s", "how long", "s", 1.0, 900.0, default=60.0),),
        undo=_pump_on,
    ),
    Act("pump_on", "switch the pumps on", _pump_on, (CIRCUIT,)),
    Act("pump_off", "switch the pumps off", _pump_off, (CIRCUIT,)),
    Act(
        "lift",
        "let the load come on",
        _lift,
        (_OVER, Key("to_ratio", "share of the panel's weight taken on", "", 0.0, 1.5, default=1.0)),
    ),
    Act(
        "land",
        "let the load come off; below zero the lifter rests on the panel",
        _land,
        (_OVER, Key("to_kg", "load left on the lifter", "kg", -1000.0, 100_000.0, default=0.0)),
    ),
    Act(
        "hoist",
        "hoist or lower",
        _hoist,
        (
            Key("to_m", "height to reach", "m", -50.0, 600.0),
            Key("speed_m_s", "hoist speed", "m/s", 0.01, 5.0, default=0.8),
        ),
    ),
    Act(
        "tilt",
        "turn the panel between flat (0) and upright (90)",
        _tilt,
        (Key("to_deg", "tilt", "deg", 0.0, 180.0), _OVER),
    ),
    Act("rotate", "turn the panel in its own plane", _rotate, (Key("to_deg", "rotation", "deg", -360.0, 360.0), _OVER)),
    Act(
        "slew",
        "swing the crane round: the load lags behind and swings on",
        _slew,
        (Key("accel_m_s2", "sideways pull of the rope's top", "m/s²", -2.0, 2.0, default=0.15), _OVER),
        undo=_stop_slewing,
    ),
    Act("release", "pumps off and the release valve open", _release),
    Act("close_valve", "release valve closed and pumps on again", _close_valve),
    Act("detach", "take the pads off the panel", _detach, (CIRCUIT,)),
    Act("panel", "the next panel under the pads", _panel, PANEL),
    Act(
        "weather",
        "weather turns; what is left out stays",
        _weather,
        (*(replace(key, default=None) for key in WEATHER), _OVER),
    ),
)

ACTS: Final[Mapping[str, Act]] = {act.key: act for act in _TABLE}
"""Every act by its name in ``acts``, ``do = "..."``."""
