"""Messages nobody would send, by the million: ``python -m tests.fuzz [--messages 1000000] [--seed 1]``.

Half of them are readings of a lifter in trouble with bytes, values or structure changed, played into the engine through
the wire; the others are payloads of every mapped format, changed alike, played into the sources' inbox, and what half of
those bring goes on into an engine. Nothing may raise, nothing may hang, every message is counted once, and nothing may read
better than a message of the last seconds can have said: no circuit, no call, no release answer. Each other minute no message
is sent that can say anything good: then the call must be to land, or no signal, and the answer not to release.
"""

import argparse
import copy
import json
import math
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, Final

import cbor2

from monitor.core.call import Call
from monitor.core.events import Event, ReadingCame, Tick, UnreadableCame
from monitor.core.readings import Reading
from monitor.core.release import Release
from monitor.core.sources import BinaryField, Format, Source, ValueRule
from monitor.core.status import Status
from monitor.wire.inbox import Came, Inbox
from monitor.wire.mapping import Unreadable
from monitor.wire.reading_json import decode_reading, encode_reading
from tests.histories import START_S, Watch, dock

WARNING_KPA: Final = 52.0
OPEN_KPA: Final = 20.0
"""Over what an open circuit reads on any lifter, and under what these read."""
LOAD_KG: Final = 500.0
LATELY_S: Final = 20.0
"""The longest a circuit may go without a reading before it is ``no_reading``."""
GOOD_FOR_S: Final = 30.0
"""The longest anything good may be said after the last message that can say it: the above, and the ten seconds that calls stand
near a limit."""
GRIM_S: Final = 60.0
"""Of two such stretches one brings nothing good."""
SLOW_S: Final = 1.0
"""A message that takes longer than this hangs, s."""

ODD: Final[tuple[Any, ...]] = (
    None, True, False, 0, -1, 1e308, -1e308, 2**63, 10**400, 1e-320, "", "64", "NaN", "\x00", "𝟞𝟜", "<b>", [], {}, [[]],
    {"vacuum_kpa": 64.0}, [64.0], float("nan"), float("inf"), -float("inf"), "on", "off", 64.0, 101.3, -64.0, 1764019200,
)  # fmt: skip
NAMES: Final = ("circuits", "A", "B", "vacuum_kpa", "pressure_abs_kpa", "gauges", "pump", "load_kg", "time", "seq", "boot",
                "tilt_deg", "lifter_alarm", "ambient_kpa", "battery_v", "", "__proto__", "C" * 300)  # fmt: skip


@dataclass
class Tally:
    """What came of the messages."""

    messages_n: int = 0
    readings_n: int = 0
    engine_events_n: int = 0
    """Readings and refusals of sources that went on into an engine."""
    grim_n: int = 0
    """Statuses that were judged after nothing good had been said for a while."""
    refused: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest_s: float = 0.0


def changed(rng: random.Random, message: dict[str, Any]) -> bytes:
    """A message with structure, values or bytes changed, or none of them."""
    said = json.loads(json.dumps(message))
    for _ in range(rng.choice((0, 1, 1, 1, 2, 5))):
        _change_value(rng, said)
    raw = json.dumps(said).encode()
    if rng.random() < 0.3:
        raw = changed_bytes(rng, raw)
    return raw


def _change_value(rng: random.Random, said: Any) -> None:
    """Somewhere inside, one value is another, one key is another, or one is gone."""
    place = said
    while True:
        inner = [
            value
            for value in (place.values() if isinstance(place, dict) else place)
            if value and isinstance(value, dict | list)
        ]
        if not inner or rng.random() < 0.4:
            break
        place = rng.choice(inner)
    if isinstance(place, list):
        place.append(copy.deepcopy(rng.choice(ODD)))
        return
    key = rng.choice([*place, *NAMES])
    if rng.random() < 0.2:
        place.pop(key, None)
    elif rng.random() < 0.2:
        place[rng.choice(NAMES)] = place.pop(key, copy.deepcopy(rng.choice(ODD)))
    else:
        place[key] = copy.deepcopy(rng.choice(ODD))


def changed_bytes(rng: random.Random, raw: bytes) -> bytes:
    """A few bytes flipped, cut out, doubled or put in, the end cut off, or all of it made up."""
    data = bytearray(raw)
    for _ in range(rng.randint(1, 4)):
        at = rng.randrange(len(data)) if data else 0
        match rng.randrange(6):
            case 0 if data:
                data[at] ^= 1 << rng.randrange(8)
            case 1:
                del data[at : at + rng.randint(1, 8)]
            case 2:
                data[at:at] = data[at : at + 16]
            case 3:
                data[at:at] = rng.randbytes(rng.randint(1, 8))
            case 4:
                del data[at:]
            case _:
                data[:] = rng.randbytes(rng.randint(0, 64)) if rng.random() < 0.1 else data
    return bytes(data)


@dataclass(frozen=True, slots=True)
class Good:
    """What good a message can say, read without any code of the project.

    Of which circuits that they hold, of which that they are open, and of the load that it is off.
    """

    holding: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    off: bool = False

    def __bool__(self) -> bool:
        return bool(self.holding or self.opened or self.off)


def good_in(raw: bytes) -> Good:
    """What good is in a message; nothing in one that is no JSON object."""
    try:
        said = json.loads(raw)
        circuits = said["circuits"]
        holding = {
            name for name, one in circuits.items() if "pressure_abs_kpa" in one or any(_within(one, WARNING_KPA, 110.0))
        }
        opened = {name for name, one in circuits.items() if any(_within(one, -math.inf, OPEN_KPA))}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return Good()
    load_kg = said.get("load_kg")
    is_number = isinstance(load_kg, int | float) and not isinstance(load_kg, bool)
    return Good(frozenset(holding), frozenset(opened), is_number and load_kg < LOAD_KG / 2)


def _within(value: Any, low: float, high: float) -> Iterator[bool]:
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _within(inner, low, high)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield low < value < high


class Seen:
    """When anything good was last said, engine time."""

    def __init__(self) -> None:
        self.holding_s = dict.fromkeys("AB", -math.inf)
        self.opened_s = dict.fromkeys("AB", -math.inf)
        self.off_s = -math.inf
        self.any_s = START_S  # a lift in the first second has not been seen to hang yet

    def note(self, good: Good, now_s: float) -> None:
        """Take what a message can say."""
        self.holding_s |= dict.fromkeys(good.holding & self.holding_s.keys(), now_s)
        self.opened_s |= dict.fromkeys(good.opened & self.opened_s.keys(), now_s)
        self.off_s = now_s if good.off else self.off_s
        self.any_s = now_s if good else self.any_s


def fuzz_engine(messages_n: int, seed: int, tally: Tally) -> None:
    """Readings of a lifter whose vacuum is under the warning level with the load on, changed, into the engine."""
    rng = random.Random(seed)
    watch, seen = Watch(dock()), Seen()
    for seq in range(messages_n):
        circuits = {name: {"vacuum_kpa": 44.0 + 0.1 * (seq % 4), "pump": "off"} for name in "AB"}
        said = {"time": START_S + 0.1 * seq, "seq": seq, "boot": "f", "circuits": circuits, "load_kg": LOAD_KG,
                "tilt_deg": 90.0, "battery_v": 25.0, "lifter_alarm": False, "ambient_kpa": 101.3}  # fmt: skip
        raw = changed(rng, said)
        if (watch.now_s - START_S) // GRIM_S % 2 and good_in(raw):
            raw = json.dumps(said).encode()
        seen.note(good_in(raw), watch.now_s)
        began_s = time.process_time()
        watch.send(raw, retained=rng.random() < 0.02)
        watch.wait(0.1)
        tally.slowest_s = max(tally.slowest_s, time.process_time() - began_s)
        tally.messages_n += 1
        if watch.told:
            tally.wrong += [f"{words}: {raw!r}" for words in wrong_in(watch.status, seen, tally)]
        del watch.told[:-1], watch.moved[:], watch.closed[:], watch.filled[:]
    counts = next(iter(watch.state.lifters.values())).news.counts()
    tally.refused["readings"] += counts["rejected"]
    counted_n = sum(counts[kind] for kind in ("live", "doubled", "late", "retained", "rejected"))
    if counted_n != messages_n:
        tally.wrong.append(f"{messages_n} messages were sent and {counted_n} counted: {counts}")


def wrong_in(status: Status, seen: Seen, tally: Tally) -> Iterator[str]:
    """What a status says that nobody said, by the rules of the design (§5, given by their numbers)."""
    facts, call, release, now_s = status.facts, status.called.call, status.release, status.facts.now_s

    def lately(*at_s: float) -> bool:
        return now_s - min(at_s) <= GOOD_FOR_S

    for name, circuit in facts.circuits.items():
        if circuit.state in {"holding", "losing"} and now_s - seen.holding_s[name] > LATELY_S:
            yield f"1: circuit {name} {circuit.state}, and nothing said so for {LATELY_S} s"
        for bounds in (circuit.to_warning, circuit.reserve):
            times = (
                []
                if bounds is None
                else [math.inf if at is None else at for at in (bounds.early_s, bounds.likely_s, bounds.late_s)]
            )
            if times != sorted(times) or any(at < 0.0 for at in times):
                yield f"5: bounds of circuit {name} are {times}"
    if call is Call.HOLDING and not lately(*seen.holding_s.values()):
        yield f"1: the call is {call}, and not every circuit was said to hold"
    if call is Call.NOT_LIFTING and not (lately(seen.off_s) or lately(*seen.opened_s.values())):
        yield f"2: the call is {call}, and neither was the load off nor every circuit open"
    if release is Release.CHECK_FIXED and not lately(seen.off_s):
        yield f"4: the answer is {release}, and the load was not off"
    if release is Release.NOT_ATTACHED and not lately(*seen.opened_s.values()):
        yield f"4: the answer is {release}, and not every circuit was open"
    held = facts.holding
    if held is not None and held.rated_kg > facts.config.wll_kg:
        yield f"6: rated {held.rated_kg} kg on a plate of {facts.config.wll_kg}"
    if now_s - seen.any_s > GOOD_FOR_S:
        tally.grim_n += 1
        if call not in {Call.LAND_NOW, Call.NO_SIGNAL}:
            yield f"1, 2: the call is {call}, and nothing good was said for {GOOD_FOR_S} s"
        if release is not Release.DO_NOT_RELEASE:
            yield f"4: the answer is {release}, and nothing good was said for {GOOD_FOR_S} s"


VACUUM: Final = ("circuits", "{circuit}", "vacuum_kpa")
SOURCES: Final = (
    Source("j/{lifter}/{circuit}", Format.JSON, (ValueRule(VACUUM, at=("data", 0, "v"), unit="bar"),), time_at=("t",)),
    Source("n/{lifter}/{circuit}", Format.NUMBER, (ValueRule(VACUUM, unit="kPa"),)),
    Source("c/{lifter}", Format.CSV, (ValueRule(("circuits", "A", "vacuum_kpa"), at=(1,), unit="kPa"),), time_at=(0,)),
    Source(
        "b/{lifter}",
        Format.BINARY,
        (ValueRule(("circuits", "A", "vacuum_kpa"), at=("v",), unit="kPa", scale=0.1),),
        fields=(BinaryField("v", "h", 0),),
        size_bytes=2,
    ),
    Source("s/{lifter}", Format.SENML),
    Source("spBv1.0/{lifter}/NDATA/node", Format.SPARKPLUG),
)


def seeds() -> list[tuple[str, bytes]]:
    """A good message of every format, to be changed."""
    pack = [{"bn": "A:", "bt": START_S, "n": "vacuum_kpa", "v": 62.0}, {"n": "pump", "vs": "off"}]
    birth = bytes.fromhex(
        "0880d095ffbc3112120a0562645365711880d095ffbc312008580012260a104369726375697420412f56616375756d"
        "10011880d095ffbc31200a690000000000004ec01800"
    )
    return [
        ("j/dock-6/A", json.dumps({"t": START_S, "data": [{"v": -0.62}]}).encode()),
        ("n/dock-6/A", b"62.1 kPa"),
        ("c/dock-6", f"{START_S},62.1".encode()),
        ("b/dock-6", (620).to_bytes(2, "big")),
        ("s/dock-6", json.dumps(pack).encode()),
        ("s/dock-6", cbor2.dumps([{-2: "A:", -3: START_S, 0: "vacuum_kpa", 2: 62.0}])),
        ("spBv1.0/dock-6/NBIRTH/node", birth),
        ("spBv1.0/dock-6/NDATA/node", birth),
        ("spBv1.0/dock-6/NDEATH/node", birth[:27]),
    ]


def fuzz_sources(messages_n: int, seed: int, tally: Tally) -> None:
    """Payloads of every mapped format, changed, into the inbox; what comes out must be a reading that reads the same.

    From the middle on it goes into an engine too.
    """
    rng = random.Random(seed)
    inbox, watch = Inbox(SOURCES, {"dock-6": ("A", "B")}), Watch(dock())
    good = seeds()
    for n in range(messages_n):
        topic, raw = rng.choice(good)
        raw = changed_bytes(rng, raw) if rng.random() < 0.9 else raw
        watch.now_s += 0.1
        began_s = time.process_time()
        came = inbox.take(topic, raw, now_s=watch.now_s, now_utc_s=watch.now_s, retained=rng.random() < 0.02)
        came += inbox.due(watch.now_s)
        events = [event for one in came for event in _judged(one, topic, raw, tally)]
        if n >= messages_n // 2:
            for event in events:
                watch.take(event)
            watch.take(Tick())
        tally.slowest_s = max(tally.slowest_s, time.process_time() - began_s)
        tally.messages_n += 1
        tally.engine_events_n += len(events) if n >= messages_n // 2 else 0
        del watch.told[:-1], watch.moved[:], watch.closed[:], watch.filled[:]
    counts = next(iter(watch.state.lifters.values())).news.counts()
    counted_n = sum(counts[kind] for kind in ("live", "doubled", "late", "retained", "rejected"))
    if counted_n != tally.engine_events_n:
        tally.wrong.append(
            f"{tally.engine_events_n} messages of sources went on and {counted_n} were counted: {counts}"
        )


def _judged(one: Came, topic: str, raw: bytes, tally: Tally) -> Iterator[Event]:
    """Count what came of a message of a source; what of it goes on to the engine as a message."""
    if isinstance(one, Unreadable):
        tally.refused[f"{topic[0]}: {one.rejected.reason}"] += 1
        yield UnreadableCame("dock-6", one.rejected)
    elif isinstance(one, Reading):
        tally.readings_n += 1
        if not isinstance(decode_reading(encode_reading(one), lifter=one.lifter), Reading):
            tally.wrong.append(f"a reading that cannot be read again: {raw!r}")
        if one.lifter == "dock-6":
            yield ReadingCame(one)


def run(messages_n: int, seed: int) -> Tally:
    """Half of the messages into the engine, half into the inbox."""
    tally = Tally()
    fuzz_engine(messages_n - messages_n // 2, seed, tally)
    fuzz_sources(messages_n // 2, seed, tally)
    return tally


def main() -> int:
    """0 when nothing went wrong, else 1."""
    parser = argparse.ArgumentParser(prog="python -m tests.fuzz", description=__doc__)
    parser.add_argument("--messages", metavar="N", type=int, default=1_000_000)
    parser.add_argument("--seed", metavar="N", type=int, default=1)
    given = parser.parse_args()
    began_s = time.monotonic()
    tally = run(given.messages, given.seed)
    took_s = time.monotonic() - began_s
    print(f"{tally.messages_n} messages in {took_s:.0f} s, seed {given.seed}")
    print(f"slowest: {1000 * tally.slowest_s:.0f} ms of processor")
    print(f"readings from mapped sources {tally.readings_n}; refused and counted:")
    for reason, n in tally.refused.most_common():
        print(f"  {n:>8} {reason}")
    print(f"statuses judged when nothing good had been said for {GOOD_FOR_S:.0f} s: {tally.grim_n}")
    print(f"wrong: {len(tally.wrong)}", *tally.wrong[:5], sep="\n  ")
    return 1 if tally.wrong or tally.slowest_s > SLOW_S else 0


if __name__ == "__main__":
    sys.exit(main())
