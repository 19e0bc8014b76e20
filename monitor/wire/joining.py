"""Values that come in messages of their own, joined into readings of a lifter; every value keeps its own age.

Nothing is repeated and nothing made up: a value goes out once, with the message that brought it, so the engine ages it
from its own arrival. Only the gauges of one circuit wait for each other, a second at most, because the lowest of them
counts and their disagreement is a fault. Each stream (source and topic) is put in order by itself: its sender's clock and
count say nothing about another's. What is not live goes out too, as ``Old``: for the record and the trace, never for
the call.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from monitor.core import intake
from monitor.core.events import MessagesLost
from monitor.core.intake import Intake, News
from monitor.core.readings import CircuitReading, Reading, Refusal
from monitor.core.sources import Source
from monitor.wire.mapping import Part, Path, Value

GAUGES_WAIT_S: Final = 1.0
MOST_STREAMS_N: Final = 5000


@dataclass(frozen=True, slots=True)
class Old:
    """A reading that is not live: doubled, late or a leftover. The time of a late one is on this site's clock."""

    reading: Reading
    news: News


@dataclass(slots=True)
class _Waiting:
    """The gauges of one circuit that have come; None stands for one that came and was not believed."""

    since_s: float
    gauges: dict[str, float | None] = field(default_factory=dict)


@dataclass(slots=True)
class Joiner:
    """What is remembered between messages. ``circuits`` are those of each lifter, by its id."""

    circuits: Mapping[str, tuple[str, ...]]
    gauges: Mapping[str, frozenset[str]] = field(default_factory=dict)  # circuit, or {circuit} -> its gauges
    # By lifter and topic; the engine's, so that it is kept with its state.
    streams: dict[tuple[str, str], Intake] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)  # what was not live, by its kind
    _waiting: dict[tuple[str, str], _Waiting] = field(default_factory=dict)
    # Since this began: what came between the kept streams and a restart is not known, so nothing is called lost by it.
    _heard: set[tuple[str, str]] = field(default_factory=set)

    def take(
        self, parts: Sequence[Part], now_s: float, now_utc_s: float, *, retained: bool = False
    ) -> list[Reading | Old | MessagesLost]:
        """Readings that go out now that a message has come, the old ones first, after what its count says is missing.

        Args:
            parts: What the message said of one lifter, one part for each time in it, oldest first. Only what is as new as
                the newest (within ``GAUGES_WAIT_S``) is live; a buffer sent at once is history.
            now_s: When it came, engine time.
            now_utc_s: The same, UTC.
            retained: Whether it was a leftover, which makes no live reading.
        """
        if not parts:
            return []
        part, older = newest(parts)
        key = part.lifter, part.stream
        before = self.streams.get(key)
        if before is None and len(self.streams) >= MOST_STREAMS_N:
            self.counts["too_many_streams"] += 1
            return []
        order = Reading(part.lifter, {}, sent_utc_s=part.sent_utc_s, seq=part.seq, boot=part.boot)
        utc_minus_now_s = now_utc_s - now_s
        stream, news = intake.judge(
            before or Intake(), order, now_s, retained=retained, utc_minus_now_s=utc_minus_now_s
        )
        self.streams[key] = stream
        lost_n = stream.lost_n - before.lost_n if before is not None and key in self._heard else 0
        if "\n" in part.stream:
            lost_n = 0  # one of several kinds of message on a topic, which may share one count
        self._heard.add(key)
        out: list[Reading | Old | MessagesLost] = [MessagesLost(part.lifter, lost_n)] if lost_n else []
        out += [
            self._old(one, news if news is News.RETAINED else _of_buffer(one, before), stream, utc_minus_now_s)
            for one in older
        ]
        if news is not News.LIVE:
            return [*out, self._old(part, news, stream, utc_minus_now_s)]
        return [*out, *self._live(part, now_s)]

    def late(self, parts: Sequence[Part], now_s: float, now_utc_s: float) -> list[Old]:
        """What the sender itself calls history."""
        streams = ((part, self.streams.get((part.lifter, part.stream), Intake())) for part in parts)
        return [self._old(part, News.LATE, stream, now_utc_s - now_s) for part, stream in streams]

    def due(self, now_s: float) -> list[Reading]:
        """Readings of gauges that have waited long enough for the others. To be asked at every tick."""
        over = [key for key, waiting in self._waiting.items() if now_s - waiting.since_s >= GAUGES_WAIT_S]
        return [reading for key in over if (reading := self._release(*key)) is not None]

    def _old(self, part: Part, news: News, stream: Intake, utc_minus_now_s: float) -> Old:
        self.counts[news] += 1
        plain, circuits, arrived = _sorted(part)
        for circuit, gauges in arrived.items():
            held = circuits.setdefault(circuit, {})
            held.update(_of_gauges(_Waiting(0.0, dict(gauges)), held))
        sent_utc_s = part.sent_utc_s
        if sent_utc_s is not None and news is News.LATE and stream.least_lag_s is not None:
            sent_utc_s += stream.least_lag_s + utc_minus_now_s
        reading = self._reading(part.lifter, circuits, plain, part.refused)
        return Old(replace(reading, sent_utc_s=sent_utc_s, seq=part.seq, boot=part.boot), news)

    def _live(self, part: Part, now_s: float) -> Iterator[Reading]:
        plain, circuits, arrived = _sorted(part)
        for refusal in part.refused:
            match refusal.field.split("."):
                case ["circuits", circuit, "gauges", gauge]:
                    arrived.setdefault(circuit, {})[gauge] = None
        for circuit, gauges in arrived.items():
            yield from self._gather(part.lifter, circuit, gauges, circuits, now_s)
        if plain or circuits or part.refused:
            yield self._reading(part.lifter, circuits, plain, part.refused)

    def _gather(
        self,
        lifter: str,
        circuit: str,
        gauges: Mapping[str, float | None],
        circuits: dict[str, dict[str, Any]],
        now_s: float,
    ) -> Iterator[Reading]:
        """Let gauges wait for each other; when all are there they join the reading that goes out now."""
        waiting = self._waiting.get((lifter, circuit))
        if waiting is not None and (waiting.gauges.keys() & gauges.keys() or now_s - waiting.since_s >= GAUGES_WAIT_S):
            released = self._release(lifter, circuit)  # a new round began before the old one was whole
            if released is not None:
                yield released
        waiting = self._waiting.setdefault((lifter, circuit), _Waiting(now_s))
        waiting.gauges.update(gauges)
        if waiting.gauges.keys() >= (self.gauges.get(circuit) or self.gauges.get("{circuit}", frozenset())):
            del self._waiting[lifter, circuit]
            circuits.setdefault(circuit, {}).update(_of_gauges(waiting, circuits.get(circuit, {})))

    def _release(self, lifter: str, circuit: str) -> Reading | None:
        waiting = self._waiting.pop((lifter, circuit))
        of_gauges = _of_gauges(waiting, {})
        return self._reading(lifter, {circuit: of_gauges}, {}, ()) if of_gauges else None

    def _reading(
        self,
        lifter: str,
        circuits: Mapping[str, Mapping[str, Any]],
        plain: Mapping[str, Any],
        refused: tuple[Refusal, ...],
    ) -> Reading:
        # Every circuit stands in the reading, empty where nothing came: what was last said of its pump still holds.
        names = dict.fromkeys((*self.circuits.get(lifter, ()), *circuits))
        return Reading(
            lifter=lifter,
            circuits={name: CircuitReading(**circuits.get(name, {})) for name in names},
            refused=refused,
            **plain,
        )


def newest(parts: Sequence[Part]) -> tuple[Part, list[Part]]:
    """One part of what is newest in a message, and the parts that are too old to be in it."""
    last = parts[-1]
    if len(parts) == 1:
        return last, []
    values: dict[Path, Value] = {}
    refused: list[Refusal] = []
    older: list[Part] = []
    for part in parts:
        same_line = part is last or (part.sent_utc_s is not None and last.sent_utc_s is not None)
        if same_line and (last.sent_utc_s or 0.0) - (part.sent_utc_s or 0.0) <= GAUGES_WAIT_S:
            values |= part.values
            refused += part.refused
        else:
            older.append(part)
    return replace(last, values=values, refused=tuple(refused)), older


def _of_buffer(part: Part, before: Intake | None) -> News:
    """What an older part of a message is: told again where the stream was as far already, else late."""
    told_utc_s = before.sent_utc_s if before is not None else None
    again = part.sent_utc_s is not None and told_utc_s is not None and part.sent_utc_s <= told_utc_s
    return News.DOUBLED if again else News.LATE


def _sorted(
    part: Part,
) -> tuple[dict[str, Any], dict[str, dict[str, Any]], dict[str, dict[str, float | None]]]:
    """A part's values: the lifter's own, those of circuits, and those of gauges beside others of their circuit."""
    plain: dict[str, Any] = {}
    circuits: dict[str, dict[str, Any]] = {}
    arrived: dict[str, dict[str, float | None]] = {}
    for path, value in part.values.items():
        match path:
            case ("circuits", circuit, "gauges", gauge):
                arrived.setdefault(circuit, {})[gauge] = _float(value)
            case ("circuits", circuit, name):
                circuits.setdefault(circuit, {})[name] = value
            case (name,):
                plain[name] = value
    return plain, circuits, arrived


def gauges_of(sources: tuple[Source, ...]) -> dict[str, frozenset[str]]:
    """Which gauges each circuit has by the rules of the sources."""
    found: dict[str, set[str]] = {}
    for source in sources:
        for rule in source.values:
            match rule.to:
                case ("circuits", circuit, "gauges", gauge):
                    found.setdefault(circuit, set()).add(gauge)
    return {circuit: frozenset(gauges) for circuit, gauges in found.items()}


def _of_gauges(waiting: _Waiting, beside: Mapping[str, Any]) -> dict[str, Any]:
    gauges = {name: value for name, value in waiting.gauges.items() if value is not None}
    if not gauges:
        return {}
    if "vacuum_kpa" in beside or "pressure_abs_kpa" in beside:
        return {"gauges": gauges}
    return {"gauges": gauges, "vacuum_kpa": min(gauges.values())}


def _float(value: Value) -> float:
    return float(value)
