"""What arrives on the topics of the site file's sources, and what each value became; for whoever connects hardware.

Told at once: the first message of a topic, every change in what its messages become. Told from time to time: how often
they come, what was doubled, late, retained or not understood, whose clock is off, and what each lifter still lacks.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from monitor.cli.arriving import CLOCK_OFF_S, OPTIONAL, circuit_said, refusal_said, rejected_said, value_said
from monitor.core.config import LoadMeasures
from monitor.core.events import MessagesLost
from monitor.core.readings import Reading
from monitor.settings.site import SiteSettings
from monitor.wire.inbox import Ask, Came, Inbox, Online
from monitor.wire.joining import Old
from monitor.wire.mapping import Unreadable

MOST_TOPICS_N: Final = 200
_WORDS: Final = {
    "late": "late (kept for the record only)",
    "doubled": "doubled",
    "retained": "retained (old news)",
    "refused": "with a value that does not fit",
    "unreadable": "could not be read",
    "nothing": "held nothing that a rule names",
}


@dataclass(slots=True)
class _Topic:
    shape: tuple[object, ...] = ()
    arrived_s: float | None = None
    came_n: int = 0
    counts: Counter[str] = field(default_factory=Counter)
    became: str = ""


class ArrivingSources:
    """Feed it messages; it yields lines worth a look."""

    def __init__(self, site: SiteSettings) -> None:
        circuits = {name: tuple(lifter.circuits) for name, lifter in site.core.lifters.items()}
        self.inbox = Inbox(site.sources, circuits)
        self._core = site.core
        self._topics: dict[str, _Topic] = {}
        self._heard_s: dict[tuple[str, str], float] = {}  # (lifter, field) -> when it last came, believed

    def take(self, topic: str, payload: bytes, *, retained: bool, now_utc_s: float) -> Iterator[str]:
        """What there is to say about one message."""
        if not self.inbox.knows(topic) or (topic not in self._topics and len(self._topics) >= MOST_TOPICS_N):
            return
        heard = self._topics.setdefault(topic, _Topic())
        heard.came_n += 1
        heard.arrived_s = now_utc_s
        before_n = self.inbox.unknown_lifters_n
        came = self.inbox.take(topic, payload, now_s=now_utc_s, now_utc_s=now_utc_s, retained=retained)
        lines = [line for one in came for line in self._came(heard, one, now_utc_s)]
        if self.inbox.unknown_lifters_n > before_n:
            lines = ["of a lifter that is not in the site file: give its id in names"]
        elif not came:
            heard.counts["nothing"] += 1
            lines = ["nothing in it that a rule of its source names (or a gauge that waits for the others)"]
        shape = (*(_shape_of(one) for one in came), *(lines if not came else ()))
        if shape != heard.shape:
            heard.shape = shape
            yield from (f"{topic}: {line}" for line in lines)

    def due(self, now_utc_s: float) -> None:
        """Let go of gauges that waited long enough."""
        for reading in self.inbox.due(now_utc_s):
            self._note(reading, now_utc_s)

    def summary(self, now_utc_s: float, over_s: float) -> Iterator[str]:
        """How each topic fared over the last ``over_s`` seconds, and what each lifter lacks; counts begin again."""
        for topic, heard in self._topics.items():
            said = [f"{heard.came_n / over_s:.1f} messages a second"]
            if heard.arrived_s is not None:
                said.append(f"last {now_utc_s - heard.arrived_s:.1f} s ago")
            said += [f"{n} {_WORDS[kind]}" for kind, n in heard.counts.items() if n]
            streams = self.inbox.joiner.streams.items()
            stream = next((stream for (_, name), stream in streams if name.partition("\n")[0] == topic), None)
            if stream is not None and stream.lost_n:
                said.append(f"{stream.lost_n} lost by the count of seq since the start")
            if stream is not None and stream.least_lag_s is not None:
                off_s = -stream.least_lag_s
                how = (
                    f"{abs(off_s):.1f} s {'ahead' if off_s > 0 else 'behind'}" if abs(off_s) > CLOCK_OFF_S else "right"
                )
                said.append(f"the sender's clock is {how}")
            if heard.became:
                said.append(f"became {heard.became}")
            yield f"{topic}: {', '.join(said)}"
            heard.came_n = 0
            heard.counts.clear()
        for reason, n in self.inbox.missed.items():
            yield f"Sparkplug: {n} times something was missed ({reason}): what it meant is known at the next birth only"
        for route in self.inbox.routes:
            if not any(route.place(topic) for topic in self._topics):
                yield f"nothing yet on {route.subscription}"
        yield from self._lacking(now_utc_s)

    def _lacking(self, now_utc_s: float) -> Iterator[str]:
        for name in self.lifters():
            config = self._core.lifters[name]
            wanted = [f"circuit {circuit}" for circuit in config.circuits]
            wanted += ["load_kg"] if config.load_measures is not LoadMeasures.NONE else []
            told = []
            for what in wanted:
                heard_s = self._heard_s.get((name, what))
                told.append(f"{what} {'never' if heard_s is None else f'{now_utc_s - heard_s:.1f} s ago'}")
            yield f"{name}: last heard: {', '.join(told)}"

    def lifters(self) -> list[str]:
        """The lifters that a source may speak of."""
        named = {route.source.lifter for route in self.inbox.routes}
        return [name for name in self._core.lifters if None in named or name in named]

    def _came(self, heard: _Topic, came: Came, now_utc_s: float) -> Iterator[str]:
        match came:
            case Reading():
                self._note(came, now_utc_s)
                heard.became = became = self._became(came)
                heard.counts["refused"] += bool(came.refused)
                yield became or "no value"
                yield from (f"does not fit: {refusal_said(refusal)}" for refusal in came.refused)
            case Old(reading, news):
                heard.counts[news.value] += 1
                yield f"{_WORDS[news.value]}: {self._became(reading)}"
            case MessagesLost(_, n):
                yield f"{n} lost by the sender's count"
            case Unreadable(_, rejected):
                heard.counts["unreadable"] += 1
                yield f"cannot be read: {rejected_said(rejected)}"
            case Online(lifter, online):
                yield f"{lifter} says it is {'online' if online else 'offline'}"
            case Ask(topic, _):
                yield f"a rebirth would be asked for on {topic} (listen asks nobody)"

    def _note(self, reading: Reading, now_utc_s: float) -> None:
        for name, circuit in reading.circuits.items():
            if circuit.vacuum_kpa is not None or circuit.pressure_abs_kpa is not None or circuit.gauges:
                self._heard_s[reading.lifter, f"circuit {name}"] = now_utc_s
        if reading.load_kg is not None:
            self._heard_s[reading.lifter, "load_kg"] = now_utc_s

    def _became(self, reading: Reading) -> str:
        known = self._core.lifters[reading.lifter].circuits
        circuits = [
            circuit_said(reading, name)
            + ("" if name in known else f" (not believed: the site file has {', '.join(known)})")
            for name, one in reading.circuits.items()
            if one.vacuum_kpa is not None or one.pressure_abs_kpa is not None or one.pump is not None or one.gauges
        ]
        others = [f"{name} {value_said(reading, name)}" for name in OPTIONAL if getattr(reading, name) is not None]
        return f"{reading.lifter} {', '.join([*circuits, *others])}" if circuits or others else ""


def _shape_of(came: Came) -> tuple[object, ...]:
    match came:
        case Reading():
            circuits = tuple(
                (name, one.vacuum_kpa is None, one.pressure_abs_kpa is None, one.pump, tuple(one.gauges))
                for name, one in came.circuits.items()
            )
            fields = tuple(getattr(came, name) is None for name in OPTIONAL)
            return ("reading", circuits, fields, tuple((one.field, one.reason) for one in came.refused))
        case Old(_, news):
            return ("old", news)
        case MessagesLost():
            return ("lost",)
        case Unreadable(_, rejected):
            return ("unreadable", rejected.reason)
        case _:
            return (came,)
