"""What arrives from a site's lifters, told in lines: for whoever connects hardware. Pure but for the state it keeps.

Told at once: the first message of a lifter, every change in what its messages hold, what does not fit. Told from time
to time: how many came, how often, how old, how many were lost or doubled, whose clock is off, who is silent.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from monitor.core.config import CoreConfig, LifterConfig, LoadMeasures
from monitor.core.readings import PLAUSIBLE, Reading, Refusal, Rejected
from monitor.wire.reading_json import decode_reading
from monitor.wire.topics import Topics

OPTIONAL: Final = (
    "load_kg", "tilt_deg", "rotation_deg", "height_m", "ambient_kpa", "temperature_c", "battery_v", "wind_m_s",
    "lifter_alarm", "release_valve",
)  # fmt: skip
CLOCK_OFF_S: Final = 2.0
SHOWN_MAX_N: Final = 20

_Shape = tuple[object, ...]


@dataclass(slots=True)
class _Heard:
    """What was heard of one lifter since the last summary, and before."""

    shape: _Shape = ()
    arrived_s: float | None = None
    came_n: int = 0
    unreadable_n: int = 0
    leftover_n: int = 0
    lost_n: int = 0
    doubled_n: int = 0
    boot: str | None = None
    seq: int | None = None
    clock_off_s: float | None = None


@dataclass(slots=True)
class Arriving:
    """Feed it messages; it yields lines worth a look."""

    topics: Topics
    core: CoreConfig
    elsewhere: frozenset[str] = frozenset()  # lifters that sources speak of: no silence where native readings are none
    _heard: dict[str, _Heard] = field(default_factory=dict)
    _strange: set[str] = field(default_factory=set)

    def take(self, topic: str, payload: bytes, *, retained: bool, now_s: float, now_utc_s: float) -> Iterator[str]:
        """What there is to say about one message. ``now_s`` is any clock that only rises."""
        place = self.topics.split(topic)
        if place is None or place[1] == "actions":
            yield from self._stranger(topic)
            return
        lifter_id, leaf = place
        if leaf == "connection":
            yield f"{lifter_id} says it is {payload.decode(errors='replace')[:40]}" + (
                " (retained)" if retained else ""
            )
        if leaf != "readings":
            return
        heard = self._heard.setdefault(lifter_id, _Heard())
        heard.came_n += 1
        heard.leftover_n += retained
        found = decode_reading(payload, lifter=lifter_id)
        if isinstance(found, Rejected):
            heard.unreadable_n += 1
            yield from self._changed(heard, (found.reason,), [f"{lifter_id} cannot be read: {rejected_said(found)}"])
            return
        heard.arrived_s = now_s
        self._count(heard, found, now_utc_s)
        config = self.core.lifters.get(lifter_id)
        yield from self._changed(heard, _shape(found), _describe(found, config))

    def summary(self, now_s: float, over_s: float) -> Iterator[str]:
        """How each lifter fared over the last ``over_s`` seconds; counts begin again."""
        for lifter_id in [*self.core.lifters, *(self._heard.keys() - self.core.lifters.keys())]:
            heard = self._heard.get(lifter_id)
            if heard is None or (heard.arrived_s is None and not heard.came_n):
                if lifter_id in self.elsewhere:
                    continue
                yield f"{lifter_id}: nothing yet on {self.topics.reading(lifter_id)}"
                continue
            age = "no reading yet" if heard.arrived_s is None else f"last reading {now_s - heard.arrived_s:.1f} s ago"
            counts = [f"{heard.came_n / over_s:.1f} messages a second", age]
            for n, what in (
                (heard.unreadable_n, "could not be read"),
                (heard.leftover_n, "retained (readings must not be)"),
                (heard.lost_n, "lost by the count of seq"),
                (heard.doubled_n, "doubled or late"),
            ):
                if n:
                    counts.append(f"{n} {what}")
            off_s = heard.clock_off_s
            if off_s is not None and abs(off_s) > CLOCK_OFF_S:
                counts.append(f"the sender's clock is {abs(off_s):.0f} s {'ahead' if off_s > 0 else 'behind'}")
            yield f"{lifter_id}: {', '.join(counts)}"
            heard.came_n = heard.unreadable_n = heard.leftover_n = heard.lost_n = heard.doubled_n = 0

    def _stranger(self, topic: str) -> Iterator[str]:
        if topic in self._strange or topic == self.topics.engine or len(self._strange) >= SHOWN_MAX_N:
            return
        self._strange.add(topic)
        yield f"does not fit: topic {topic[:120]}; readings go to {self.topics.reading('LIFTER')}"

    def _changed(self, heard: _Heard, shape: _Shape, lines: list[str]) -> Iterator[str]:
        if heard.shape != shape:
            heard.shape = shape
            yield from lines

    def _count(self, heard: _Heard, reading: Reading, now_utc_s: float) -> None:
        if reading.sent_utc_s is not None:
            heard.clock_off_s = reading.sent_utc_s - now_utc_s
        if reading.seq is not None and heard.seq is not None and reading.boot == heard.boot:
            step = reading.seq - heard.seq
            heard.lost_n += max(0, step - 1)
            heard.doubled_n += step <= 0
        if reading.seq is not None and (heard.seq is None or reading.boot != heard.boot or reading.seq > heard.seq):
            heard.seq, heard.boot = reading.seq, reading.boot


def _shape(reading: Reading) -> _Shape:
    circuits = tuple(
        (
            name,
            circuit.vacuum_kpa is None,
            circuit.pressure_abs_kpa is None,
            circuit.pump is None,
            tuple(circuit.gauges),
        )
        for name, circuit in reading.circuits.items()
    )
    fields = tuple(getattr(reading, name) is None for name in OPTIONAL)
    refusals = tuple((refusal.field, refusal.reason) for refusal in reading.refused)
    return (circuits, fields, reading.sent_utc_s is None, reading.seq is None, reading.boot is None, refusals)


def _describe(reading: Reading, config: LifterConfig | None) -> list[str]:
    lifter_id = reading.lifter
    came = [circuit_said(reading, name) for name in reading.circuits]
    came += [f"{name} {value_said(reading, name)}" for name in OPTIONAL if getattr(reading, name) is not None]
    lines = [f"{lifter_id} sends {', '.join(came)}"]
    missing = [name for name in OPTIONAL if getattr(reading, name) is None and not _refused(reading, name)]
    if config is not None and config.load_measures is LoadMeasures.NONE:
        missing = [name for name in missing if name != "load_kg"]
    missing += [name for name, value in (("time", reading.sent_utc_s), ("seq", reading.seq), ("boot", reading.boot))
                if value is None and not _refused(reading, name)]  # fmt: skip
    if missing:
        lines.append(f"{lifter_id} does not send {', '.join(missing)} (all of these are optional)")
    lines += [f"{lifter_id} does not fit: {refusal_said(refusal)}" for refusal in reading.refused]
    if config is None:
        lines.append(f"{lifter_id} is not in the site file: its readings are not judged")
        return lines
    for name in config.circuits:
        if name not in reading.circuits:
            lines.append(f"{lifter_id} does not fit: circuit {name} of the site file is not in the message")
    for name in reading.circuits:
        if name not in config.circuits:
            known = ", ".join(config.circuits)
            lines.append(f"{lifter_id} does not fit: circuit {name} is not in the site file (it has {known})")
    return lines


def _refused(reading: Reading, name: str) -> bool:
    return any(refusal.field == name for refusal in reading.refused)


def circuit_said(reading: Reading, name: str) -> str:
    circuit = reading.circuits[name]
    if circuit.vacuum_kpa is not None:
        said = f"circuit {name} {circuit.vacuum_kpa:g} kPa below ambient"
    elif circuit.pressure_abs_kpa is not None:
        said = f"circuit {name} {circuit.pressure_abs_kpa:g} kPa absolute"
    else:
        said = f"circuit {name} without a pressure"
    gauges = f", {len(circuit.gauges)} gauges" if circuit.gauges else ""
    pump = f", pump {circuit.pump}" if circuit.pump is not None else ""
    return f"{said} ({(gauges + pump).removeprefix(', ')})" if gauges or pump else said


def value_said(reading: Reading, name: str) -> str:
    value = getattr(reading, name)
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:g}" if isinstance(value, float) else str(value)


_REASONS: Final = {
    "not_a_number": "is no number",
    "not_finite": "is not finite",
    "out_of_range": "is out of range",
    "not_known": "is not a known word",
    "wrong_shape": "has the wrong shape",
}


def refusal_said(refusal: Refusal) -> str:
    says = f"{refusal.field} {_REASONS.get(refusal.reason, refusal.reason)}: found {refusal.found}"
    span = PLAUSIBLE.get(refusal.field.rpartition(".")[2])
    return says if span is None else f"{says}; allowed is {span.low:g} to {span.high:g} {span.unit}"


def rejected_said(rejected: Rejected) -> str:
    says = {
        "not_json": "it is not JSON",
        "too_large": "it is too large",
        "wrong_shape": "it has another shape",
        "no_circuits": "it has no circuits",
    }
    return f"{says.get(rejected.reason, rejected.reason)}: {rejected.found}"
