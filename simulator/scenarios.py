"""Scenario files: TOML in ``configs/scenarios`` to a checked `Scenario`, every fault of a file told at once.

A scenario is a clock with things on it: acts of the crew, faults, what a person tells the monitor, and the story told
beside the page, each with its ``at_s``. `simulator.play` runs it.
"""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib.resources import files
from pathlib import Path
from typing import Final

from monitor.core.events import ActionKind
from simulator.acts import ACTS, PANEL, WEATHER, Act, number
from simulator.faults import FAULTS, Fault
from simulator.keys import Key, Kind, nearest, read_table
from simulator.lifters import BODY_KEYS, CIRCUIT_KEYS
from simulator.sensors import SENSORS, Sensor, Suite

_FOLDER = files("configs") / "scenarios"

_TOP: Final = (
    Key("title", "what it shows, in a few words", kind=Kind.TEXT),
    Key("about", "what happens and what to watch", default="", kind=Kind.TEXT),
    Key("duration_s", "how long it runs", "s", 1.0, 360_000.0),
    Key("panel", "the first panel", default={}, kind=Kind.TABLE),
    Key("start", "how things stand at the start", default={}, kind=Kind.TABLE),
    Key("weather", "the weather at the start", default={}, kind=Kind.TABLE),
    Key("lifter", "what a site file has no key for", default={}, kind=Kind.TABLE),
    Key("circuits", "the same, by circuit", default={}, kind=Kind.TABLE),
    Key("sender", "the sender of the readings", default={}, kind=Kind.TABLE),
    Key("sensors", "what sensors do to the truth", default={}, kind=Kind.TABLE),
    Key("acts", "what the crew does, by time", default=[], kind=Kind.TABLES),
    Key("faults", "what goes wrong, by time", default=[], kind=Kind.TABLES),
    Key("tells", "what a person tells the monitor, by time; in recordings only", default=[], kind=Kind.TABLES),
    Key("story", "what is told beside the page, by time", default=[], kind=Kind.TABLES),
)
_START: Final = (
    Key("tilt_deg", "tilt of the pads", "deg", 0.0, 180.0, default=90.0),
    Key("height_m", "height of the hook", "m", -50.0, 600.0, default=0.0),
    Key("battery_ratio", "charge of the battery", "", 0.0, 1.0, default=0.9),
    Key("vacuum_kpa", "above 0: the pads are on and pumped down to this", "kPa", 0.0, 90.0, default=0.0),
    Key("load_ratio", "share of the panel already hanging", "", 0.0, 1.0, default=0.0),
    Key("wall_c", "temperature of pads and hoses; the air's when left out", "°C", -40.0, 90.0, default=None),
)
_SENDER: Final = (
    Key("rate_hz", "readings a second; the site file's, else 5", "1/s", 0.01, 50.0, default=None),
    Key("latency_s", "time from reading to arrival", "s", 0.0, 10.0, default=0.02),
    Key("gauges_n", "gauges on each circuit", "", 1, 4, default=1, kind=Kind.WHOLE),
    Key("absolute", "gives absolute pressures instead of vacuum", default=False, kind=Kind.FLAG),
    Key(
        "leave_out",
        "fields it does not send",
        default=[],
        kind=Kind.TEXTS,
        one_of=(*(name for name in SENSORS if name != "vacuum_kpa"), "pump", "lifter_alarm", "release_valve"),
    ),
)
_SENSOR: Final = (
    Key("noise", "standard deviation", "the sensor's", 0.0, 1e4, default=None),
    Key("quantum", "step it is rounded to; 0 for none", "the sensor's", 0.0, 1e4, default=None),
    Key("gain_ratio", "calibration: factor", "", 0.1, 10.0, default=1.0),
    Key("offset", "calibration: zero", "the sensor's", -1e4, 1e4, default=0.0),
)
_AT: Final = Key("at_s", "when, from the start", "s", 0.0, 360_000.0)
_FAULT: Final = (_AT, Key("for_s", "how long; to the end when left out", "s", 0.0, 360_000.0, default=None))
_TELL: Final = (
    _AT,
    Key("kind", "what is told", kind=Kind.TEXT, one_of=tuple(ActionKind)),
    Key("who", "who tells it", default="lift supervisor", kind=Kind.TEXT),
    Key("role", "in which role", default="supervisor", kind=Kind.TEXT),
    Key("params", "what goes with it", default={}, kind=Kind.TABLE),
)
_STORY: Final = (_AT, Key("line", "one or two sentences", kind=Kind.TEXT))


class ScenarioError(ValueError):
    """A scenario cannot be used; the text says every reason, one a line."""


@dataclass(frozen=True, slots=True)
class Begun:
    """An act at its time, with its checked keys."""

    at_s: float
    act: Act
    values: Mapping[str, object]
    undone: bool = False


@dataclass(frozen=True, slots=True)
class Told:
    """What a person tells the monitor: an action of a recording, never sent over MQTT."""

    at_s: float
    kind: str
    who: str
    role: str
    params: Mapping[str, object]


@dataclass(frozen=True, slots=True)
class Scenario:
    """One checked scenario. ``acts``, ``tells`` and ``story`` stand in the order of their times."""

    name: str
    title: str
    about: str
    duration_s: float
    panel: Mapping[str, object]
    start: Mapping[str, object]
    weather: Mapping[str, object]
    details: Mapping[str, object]
    circuit_details: Mapping[str, Mapping[str, object]]
    rate_hz: float | None
    latency_s: float
    suite: Suite
    acts: tuple[Begun, ...] = ()
    faults: tuple[Fault, ...] = ()
    tells: tuple[Told, ...] = ()
    story: tuple[tuple[float, str], ...] = ()
    circuits_named: frozenset[str] = field(default_factory=frozenset)


def names() -> list[str]:
    """The scenarios that come with Holdwatch, by name."""
    return sorted(entry.name.removesuffix(".toml") for entry in _FOLDER.iterdir() if entry.name.endswith(".toml"))


def load(name_or_path: str | Path) -> Scenario:
    """One of the scenarios that come with Holdwatch by its name, or any file by its path (it ends in ``.toml``).

    Raises:
        ScenarioError: No such scenario, the file cannot be read, or something in it is not allowed.
    """
    text = str(name_or_path)
    path = Path(text)
    if path.suffix == ".toml" or path.name != text:
        try:
            return read(path.read_text(encoding="utf-8"), name=path.name)
        except (OSError, UnicodeDecodeError) as error:
            raise ScenarioError(f"{path}: the scenario cannot be read ({error}). Nothing was started.") from None
    if text not in names():
        raise ScenarioError(
            f"{text} is not a scenario.{nearest(text, names())} There are: {', '.join(names())}; "
            "or give the path of a .toml file."
        )
    return read((_FOLDER / f"{text}.toml").read_text(encoding="utf-8"), name=f"{text}.toml")


def read(text: str, *, name: str) -> Scenario:
    """Check the text of a scenario file. ``name`` is what messages call the file.

    Raises:
        ScenarioError: One line for every fault found.
    """
    try:
        table = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}: not TOML: {error}. Nothing was started.") from None
    faults: list[str] = []
    top = read_table(table, _TOP, where=name, faults=faults)
    lists = {key: _entries(top.get(key), f"{name}: {key}") for key in ("acts", "faults", "tells", "story")}
    parts = {
        key: read_table(top.get(key, {}), keys, where=f"{name}: [{key}]", faults=faults)
        for key, keys in (
            ("panel", PANEL),
            ("start", _START),
            ("weather", WEATHER),
            ("lifter", BODY_KEYS),
            ("sender", _SENDER),
        )
    }
    circuit_details = {
        str(circuit): read_table(details, CIRCUIT_KEYS, where=f"{name}: [circuits.{circuit}]", faults=faults)
        for circuit, details in _items(top.get("circuits"))
    }
    sensors = _read_sensors(top.get("sensors"), name, faults)
    duration_s = top.get("duration_s", math.inf)
    end_s = duration_s if isinstance(duration_s, float) else math.inf

    acts = [begun for where, entry in lists["acts"] for begun in _read_act(entry, where, end_s, faults)]
    faults_in = [fault for where, entry in lists["faults"] for fault in _read_fault(entry, where, end_s, faults)]
    tells = [told for where, entry in lists["tells"] for told in _read_tell(entry, where, end_s, faults)]
    story = [line for where, entry in lists["story"] for line in _read_story(entry, where, end_s, faults)]
    gauges_n = parts["sender"].get("gauges_n")
    if any(fault.rule.key == "gauges_disagree" for fault in faults_in) and gauges_n == 1:
        faults.append(f"{name}: gauges_disagree needs [sender] gauges_n of 2 or more; it is 1.")
    if faults:
        raise ScenarioError("\n".join([*faults, "Nothing was started."]))

    sender = parts["sender"]
    leave_out, rate_hz = sender["leave_out"], sender["rate_hz"]
    assert isinstance(leave_out, list)  # noqa: S101  checked above; this tells the type checker
    assert isinstance(gauges_n, int)  # noqa: S101
    return Scenario(
        name=name.removesuffix(".toml"),
        title=str(top["title"]),
        about=str(top["about"]),
        duration_s=end_s,
        panel=parts["panel"],
        start=parts["start"],
        weather=parts["weather"],
        details=parts["lifter"],
        circuit_details=circuit_details,
        rate_hz=rate_hz if isinstance(rate_hz, float) else None,
        latency_s=number(sender, "latency_s"),
        suite=Suite(sensors, frozenset(leave_out), gauges_n, absolute=sender["absolute"] is True),
        acts=tuple(sorted(acts, key=lambda begun: begun.at_s)),
        faults=tuple(faults_in),
        tells=tuple(sorted(tells, key=lambda told: told.at_s)),
        story=tuple(sorted(story)),
        circuits_named=frozenset(circuit_details)
        | {
            str(values["circuit"])
            for values in (*(begun.values for begun in acts), *(fault.values for fault in faults_in))
            if values.get("circuit") is not None
        },
    )


def _entries(found: object, where: str) -> list[tuple[str, object]]:
    """The tables of one list, each with what a message calls it."""
    return [(f"{where} {n}", entry) for n, entry in enumerate(found, start=1)] if isinstance(found, list) else []


def _items(table: object) -> list[tuple[str, object]]:
    return list(table.items()) if isinstance(table, Mapping) else []


def _kind(
    entry: object, key: str, known: Mapping[str, object], where: str, faults: list[str]
) -> tuple[str, dict[str, object]] | None:
    """The word that says which row of a table an entry is, and the entry without it."""
    rest = dict(entry) if isinstance(entry, Mapping) else {}
    word = rest.pop(key, None)
    if isinstance(word, str) and word in known:
        return word, rest
    hint = nearest(word, known) if isinstance(word, str) else ""
    found = "is missing" if word is None else f"is {word!r}, which is not known"
    faults.append(f"{where}, {key} {found}.{hint} Allowed: {', '.join(known)}.")
    return None


def _in_time(values: Mapping[str, object], where: str, end_s: float, faults: list[str]) -> bool:
    """Whether an entry's time was read and lies inside the scenario."""
    at_s = values.get("at_s")
    if not isinstance(at_s, float):
        return False
    if at_s > end_s:
        faults.append(f"{where}, at_s is {at_s:g}; it must be at most the scenario's duration_s, {end_s:g}.")
    return True


def _read_act(entry: object, where: str, end_s: float, faults: list[str]) -> list[Begun]:
    kind = _kind(entry, "do", ACTS, where, faults)
    if kind is None:
        return []
    act = ACTS[kind[0]]
    found_n = len(faults)
    values = read_table(kind[1], (_AT, *act.keys), where=f"{where} ({act.key})", faults=faults)
    if not _in_time(values, where, end_s, faults) or len(faults) > found_n:
        return []
    begun = Begun(number(values, "at_s"), act, values)
    if act.undo is None:
        return [begun]
    return [begun, replace(begun, at_s=begun.at_s + number(values, "over_s"), undone=True)]


def _read_fault(entry: object, where: str, end_s: float, faults: list[str]) -> list[Fault]:
    kind = _kind(entry, "kind", FAULTS, where, faults)
    if kind is None:
        return []
    rule = FAULTS[kind[0]]
    found_n = len(faults)
    values = read_table(kind[1], (*_FAULT, *rule.keys), where=f"{where} ({rule.key})", faults=faults)
    if not _in_time(values, where, end_s, faults) or len(faults) > found_n:
        return []
    at_s, for_s = number(values, "at_s"), values["for_s"]
    until_s = at_s + for_s if isinstance(for_s, float) else math.inf
    if rule.key == "burst" and not math.isfinite(until_s):
        until_s = end_s
    return [Fault(rule, at_s, until_s, values)]


def _read_tell(entry: object, where: str, end_s: float, faults: list[str]) -> list[Told]:
    found_n = len(faults)
    values = read_table(entry, _TELL, where=where, faults=faults)
    if not _in_time(values, where, end_s, faults) or len(faults) > found_n:
        return []
    return [
        Told(
            number(values, "at_s"),
            str(values["kind"]),
            str(values["who"]),
            str(values["role"]),
            dict(_items(values["params"])),
        )
    ]


def _read_story(entry: object, where: str, end_s: float, faults: list[str]) -> list[tuple[float, str]]:
    values = read_table(entry, _STORY, where=where, faults=faults)
    if not _in_time(values, where, end_s, faults) or "line" not in values:
        return []
    return [(number(values, "at_s"), str(values["line"]))]


def _read_sensors(found: object, name: str, faults: list[str]) -> Mapping[str, Sensor]:
    sensors = dict(SENSORS)
    for sensor, table in _items(found):
        if sensor not in SENSORS:
            hint = nearest(sensor, SENSORS)
            faults.append(f"{name}: [sensors.{sensor}] is not a sensor.{hint} There are: {', '.join(SENSORS)}.")
            continue
        values = read_table(table, _SENSOR, where=f"{name}: [sensors.{sensor}]", faults=faults)
        given = {key: value for key, value in values.items() if isinstance(value, float)}
        sensors[sensor] = replace(SENSORS[sensor], **given)
    return sensors
