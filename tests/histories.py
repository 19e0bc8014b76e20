"""Histories as data: what a lifter sent, message by message, played into the engine through the wire.

A history of one signal is words parted by blanks, one message each tenth of a second: ``60x10`` ten messages that say
60, ``60>50x100`` a hundred on a straight line from 60 to 50, ``_x4`` four messages that never came (whatever the other
signals say), ``-x4`` four messages without this field, ``nanx3`` three that say not-a-number. The last word of a
shorter history goes on until the longest one ends.
"""

import functools
import json
import pickle
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from monitor.core import engine
from monitor.core.config import CoreConfig, LifterConfig, LoadMeasures
from monitor.core.engine import SiteState, ticks_between
from monitor.core.events import (
    Action,
    ActionAnswered,
    ActionCame,
    ActionKind,
    AlarmMoved,
    Event,
    FilledIn,
    LiftClosed,
    ReadingCame,
    Tick,
    Told,
    UnreadableCame,
)
from monitor.core.readings import Reading
from monitor.core.status import Status
from monitor.settings.site import SiteSettings, load_site
from monitor.wire.reading_json import decode_reading
from monitor.wire.recording import RecordingLine, read_recording
from monitor.wire.topics import Topics
from monitor.words.say import status_dict
from simulator import publisher
from simulator.scenarios import Scenario

ROOT = Path(__file__).parent.parent
START_S = 1_764_019_200.0  # engine time of the first message, a whole multiple of the tick
RATE_HZ = 10.0
MISSED, LEFT_OUT = object(), object()


@functools.cache
def demo_site() -> SiteSettings:
    """The site of the demo: dock-6, two circuits, warning level 52 kPa, plate 900 kg, 240 s to land."""
    return load_site(ROOT / "configs" / "demo.toml")


def dock(*, pump_levels: bool = False, **changes: object) -> LifterConfig:
    """The demo's lifter with some of its settings changed; nobody entered at what vacuum its pumps start and stop."""
    config = demo_site().core.lifters["dock-6"]
    if not pump_levels:
        circuits = {
            name: replace(circuit, pump_start_kpa=None, pump_stop_kpa=None) for name, circuit in config.circuits.items()
        }
        config = replace(config, circuits=circuits)
    return replace(config, **changes)  # type: ignore[arg-type]


NO_CELL = {"load_measures": LoadMeasures.NONE}


def values_of(history: str) -> list[object]:
    """The message by message values of a history. Check: ``60x2 _x1`` is 60, 60 and one that never came."""
    values: list[object] = []
    for word in history.split():
        text, _, count = word.rpartition("x")
        number = int(count)
        if ">" in text:
            low, high = (float(end) for end in text.split(">"))
            values += [float(value) for value in np.linspace(low, high, number)]
        else:
            values += [_value_of(text)] * number
    return values


def _value_of(text: str) -> object:
    if text in {"_", "-"}:
        return MISSED if text == "_" else LEFT_OUT
    if text in {"true", "false"}:
        return text == "true"
    try:
        return float(text)
    except ValueError:
        return text


def messages(
    signals: Mapping[str, str], *, noise_kpa: float = 0.0, seed: int = 0, digits: int = 1
) -> Iterator[dict[str, object] | None]:
    """The message of each instant, ``None`` for one that never came. A capital names a circuit, ``A_pump`` its pump."""
    columns = {name: values_of(history) for name, history in signals.items()}
    rng = np.random.default_rng(seed)
    for number in range(max(map(len, columns.values()))):
        row = {name: column[min(number, len(column) - 1)] for name, column in columns.items()}
        if MISSED in row.values():
            yield None
            continue
        message: dict[str, object] = {"circuits": {}}
        circuits: dict[str, dict[str, object]] = message["circuits"]  # type: ignore[assignment]
        for name, value in row.items():
            circuit, _, what = name.partition("_")
            if not circuit.isupper():
                message |= {} if value is LEFT_OUT else {name: value}
                continue
            part = circuits.setdefault(circuit, {})
            if isinstance(value, float) and noise_kpa:
                value = round(value + noise_kpa * float(rng.standard_normal()), digits)
            part |= {} if value is LEFT_OUT else {what or "vacuum_kpa": value}
        yield message


class Watch:
    """The engine of one site, driven through histories; keeps everything it told."""

    def __init__(self, *lifters: LifterConfig, tandem: bool = False) -> None:
        lifters = lifters or (dock(),)
        names = tuple(config.id for config in lifters)
        self.lifter = names[0]
        config = CoreConfig("quayside", dict(zip(names, lifters, strict=True)), tandems=(names,) if tandem else ())
        self.state: SiteState = engine.begin(config, version="test")
        self.now_s = START_S
        self.seq = 0
        self.told: list[Told] = []
        self.moved: list[AlarmMoved] = []
        self.closed: list[LiftClosed] = []
        self.answers: list[ActionAnswered] = []
        self.filled: list[FilledIn] = []

    # --- driving

    def take(self, event: Event) -> None:
        """One event, now."""
        self.state, effects = engine.step(self.state, event, self.now_s)
        for effect in effects:
            kept = {
                Told: self.told,
                FilledIn: self.filled,
                AlarmMoved: self.moved,
                LiftClosed: self.closed,
                ActionAnswered: self.answers,
            }
            kept[type(effect)].append(effect)  # type: ignore[attr-defined]

    def wait(self, for_s: float) -> list[Status]:
        """Time passes and nothing comes."""
        return self.until(self.now_s + for_s)

    def until(self, now_s: float) -> list[Status]:
        seen_n = len(self.told)
        for at_s in ticks_between(self.now_s, now_s):
            self.now_s = at_s
            self.take(Tick())
        self.now_s = max(self.now_s, now_s)
        return self._since(seen_n)

    def send(self, message: Mapping[str, object] | bytes, *, retained: bool = False, lifter: str = "") -> None:
        """One message, now, as bytes over the wire."""
        lifter = lifter or self.lifter
        payload = message if isinstance(message, bytes) else json.dumps(message).encode()
        decoded = decode_reading(payload, lifter=lifter)
        came = isinstance(decoded, Reading)
        self.take(ReadingCame(decoded, retained) if came else UnreadableCame(lifter, decoded, retained))

    def play(
        self,
        *,
        rate_hz: float = RATE_HZ,
        noise_kpa: float = 0.0,
        seed: int = 0,
        digits: int = 1,
        lifter: str = "",
        **signals: str,
    ) -> list[Status]:
        """Play one history a signal; returns every status told of the lifter meanwhile."""
        seen_n, began_s = len(self.told), self.now_s
        sent = messages(signals, noise_kpa=noise_kpa, seed=seed, digits=digits)
        for number, message in enumerate(sent, start=1):
            self.until(began_s + number / rate_hz)
            self.seq += 1
            if message is not None:
                self.send({"time": self.now_s, "seq": self.seq, "boot": "a", **message}, lifter=lifter)
        return self._since(seen_n, lifter)

    def act(self, kind: str, *, role: str = "supervisor", who: str = "lift supervisor", **params: object) -> str:
        """A named person's action, now; returns the key of the answer."""
        action = Action(f"a{len(self.answers)}", ActionKind(kind), self.lifter, who, role, params)
        self.take(ActionCame(action))
        return self.answers[-1].key

    def run(self, events: Iterator[tuple[float, Event]]) -> list[Status]:
        """Any events at their times."""
        seen_n = len(self.told)
        for at_s, event in events:
            self.until(at_s)
            self.take(event)
        return self._since(seen_n)

    def copy(self) -> "Watch":
        """A second engine that goes on from here by itself, told nothing yet but its present status."""
        told, self.told = self.told, self.told[-2 * len(self.state.lifters) :]
        twin: Watch = pickle.loads(pickle.dumps(self))  # noqa: S301  # our own bytes, made on this line
        self.told = told
        return twin

    # --- looking

    def _since(self, seen_n: int, lifter: str = "") -> list[Status]:
        name = lifter or self.lifter
        return [told.status for told in self.told[seen_n:] if told.status.facts.config.id == name]

    def status_of(self, lifter: str = "") -> Status:
        return self._since(-len(self.state.lifters) * 2, lifter)[-1]

    @property
    def status(self) -> Status:
        """The newest status of the lifter."""
        return self.status_of()

    @property
    def said(self) -> dict[str, object]:
        """The newest status, as the JSON everybody gets."""
        return status_dict(self.status)

    @property
    def call(self) -> str:
        return self.status.called.call.value

    @property
    def reason(self) -> str:
        return self.status.called.reason.key

    @property
    def release(self) -> str:
        return self.status.release.value

    @property
    def phase(self) -> str:
        return self.status.facts.phase.value

    def circuit(self, name: str) -> str:
        """The state of a circuit."""
        return self.status.facts.circuits[name].state.value

    @property
    def alarms(self) -> dict[str, str]:
        """State by key and circuit (``vacuum_low B``, ``over_plan``) of every alarm that is not normal."""
        return {f"{alarm.key} {alarm.about}".strip(): alarm.state.value for alarm in self.status.alarms}

    def raised(self) -> list[str]:
        """Keys of every alarm raised so far, in order."""
        return [moved.key for moved in self.moved if moved.moved == "raised"]


def calls(statuses: list[Status]) -> list[str]:
    """The calls of statuses, repetitions left out."""
    told = [status.called.call.value for status in statuses]
    return [call for number, call in enumerate(told) if number == 0 or told[number - 1] != call]


EMPTY: Mapping[str, object] = {}
RESTING = {"A_pump": "offx1", "B_pump": "offx1"}
STILL = {"tilt_deg": "90x1", "height_m": "0x1", "ambient_kpa": "101.2x1"}


@functools.cache
def _carrying(
    changes: tuple[tuple[str, object], ...], load_kg: float, for_s: float, plan: tuple[tuple[str, object], ...]
) -> bytes:
    watch = Watch(dock(**dict(changes)))  # type: ignore[arg-type]
    if plan:
        assert watch.act("plan", **dict(plan)) == "done.plan"
    vacuum, pump = "0x5 0>64x100 64x200", "onx105 offx1"
    watch.play(A=vacuum, B=vacuum, A_pump=pump, B_pump=pump, load_kg="0x1", noise_kpa=0.05, seed=1, **STILL)
    load = f"0>{load_kg}x30 {load_kg}x{round(10 * for_s)}"
    watch.play(A="64x1", B="64x1", load_kg=load, noise_kpa=0.05, seed=2, **STILL, **RESTING)
    return pickle.dumps(watch.copy())


def carrying(
    load_kg: float = 600.0, *, for_s: float = 20.0, plan: Mapping[str, object] = EMPTY, **changes: object
) -> Watch:
    """A lift in the air: both circuits at 64 kPa without a leak, pumps off, upright, the load on for ``for_s``."""
    made = _carrying(tuple(sorted(changes.items())), load_kg, for_s, tuple(sorted(plan.items())))
    watch: Watch = pickle.loads(made)  # noqa: S301  # our own
    return watch


def carry(watch: Watch, *, seed: int = 3, noise_kpa: float = 0.05, **signals: str) -> list[Status]:
    """Go on with a lift in the air; what is not said goes on as in `carrying`."""
    return watch.play(
        **{"A": "64x1", "B": "64x1", "load_kg": "600x1", **STILL, **RESTING, **signals}, noise_kpa=noise_kpa, seed=seed
    )


def scenario_events(
    name: str | Scenario, *, seed: int = 0, site: SiteSettings | None = None
) -> Iterator[tuple[float, Event]]:
    """A scenario's recording as events, through the wire."""
    site = site or demo_site()
    topics = Topics(site.root, site.site)
    for line in read_recording(publisher.recording_lines(publisher.bind(name, site), seed=seed)):
        assert isinstance(line, RecordingLine)
        assert line.received_s is not None
        split = topics.split(line.topic)
        assert split is not None
        lifter, leaf = split
        if leaf == "readings":
            decoded = decode_reading(line.message, lifter=lifter)
            came = isinstance(decoded, Reading)
            event = ReadingCame(decoded, line.retained) if came else UnreadableCame(lifter, decoded, line.retained)
            yield line.received_s, event
        elif leaf == "actions":
            told = line.payload
            assert isinstance(told, dict)
            who, role, params = told["who"], told["role"], told.get("params", {})
            yield line.received_s, ActionCame(Action(told["id"], ActionKind(told["kind"]), lifter, who, role, params))
