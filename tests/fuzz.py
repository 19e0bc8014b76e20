"""Messages nobody would send, by the million: ``python -m tests.fuzz [--messages 1000000] [--seed 1]``.

Half of them are readings of a lifter in trouble with bytes, values or structure changed, played into the engine through
the wire; the others are payloads of every mapped format, changed alike, played into the sources' inbox. Nothing may
raise, nothing may hang, and no circuit may be called holding unless a value that could say so was really sent lately.
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

from monitor.core.readings import Reading
from monitor.core.sources import BinaryField, Format, Source, ValueRule
from monitor.core.status import Status
from monitor.wire.inbox import Inbox
from monitor.wire.mapping import Unreadable
from monitor.wire.reading_json import decode_reading, encode_reading
from tests.histories import START_S, Watch, dock

WARNING_KPA: Final = 52.0
LATELY_S: Final = 20.0
"""The longest a circuit may go without a reading before it is ``no_reading``."""
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


def can_say_holding(raw: bytes) -> frozenset[str]:
    """Circuits of which a message has a number above the warning level, or any absolute pressure.

    Read without any code of the project.
    """
    try:
        circuits = json.loads(raw)["circuits"]
        return frozenset(name for name, one in circuits.items() if "pressure_abs_kpa" in one or any(_above(one)))
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return frozenset()


def _above(value: Any) -> Iterator[bool]:
    if isinstance(value, dict | list):
        for inner in value.values() if isinstance(value, dict) else value:
            yield from _above(inner)
    elif isinstance(value, int | float) and not isinstance(value, bool):
        yield WARNING_KPA < value < 110.0


def fuzz_engine(messages_n: int, seed: int, tally: Tally) -> None:
    """Readings of a lifter whose vacuum is under the warning level with the load on, changed, into the engine."""
    rng = random.Random(seed)
    watch = Watch(dock())
    last_s = dict.fromkeys("AB", -math.inf)
    for seq in range(messages_n):
        circuits = {name: {"vacuum_kpa": 44.0 + 0.1 * (seq % 4), "pump": "off"} for name in "AB"}
        said = {"time": START_S + 0.1 * seq, "seq": seq, "boot": "f", "circuits": circuits, "load_kg": 500.0,
                "tilt_deg": 90.0, "battery_v": 25.0, "lifter_alarm": False, "ambient_kpa": 101.3}  # fmt: skip
        raw = changed(rng, said)
        for name in can_say_holding(raw) & last_s.keys():
            last_s[name] = watch.now_s
        began_s = time.process_time()
        watch.send(raw, retained=rng.random() < 0.02)
        watch.wait(0.1)
        tally.slowest_s = max(tally.slowest_s, time.process_time() - began_s)
        tally.messages_n += 1
        if watch.told:
            _look(watch.status, watch.now_s, last_s, raw, tally)
        del watch.told[:-1], watch.moved[:], watch.closed[:], watch.filled[:]
    tally.refused["readings"] += next(iter(watch.state.lifters.values())).news.rejected_n


def _look(status: Status, now_s: float, last_s: dict[str, float], raw: bytes, tally: Tally) -> None:
    for name, circuit in status.facts.circuits.items():
        if circuit.state in {"holding", "losing"} and now_s - last_s[name] > LATELY_S:
            tally.wrong.append(f"circuit {name} {circuit.state} though nothing said so for {LATELY_S} s: {raw!r}")


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
    """Payloads of every mapped format, changed, into the inbox; what comes out must be a reading that reads the same."""
    rng = random.Random(seed)
    inbox = Inbox(SOURCES, {"dock-6": ("A", "B")})
    good = seeds()
    now_s = START_S
    for _ in range(messages_n):
        topic, raw = rng.choice(good)
        raw = changed_bytes(rng, raw) if rng.random() < 0.9 else raw
        now_s += 0.1
        began_s = time.process_time()
        came = inbox.take(topic, raw, now_s=now_s, now_utc_s=now_s, retained=rng.random() < 0.02)
        came += inbox.due(now_s)
        tally.slowest_s = max(tally.slowest_s, time.process_time() - began_s)
        tally.messages_n += 1
        for one in came:
            if isinstance(one, Unreadable):
                tally.refused[f"{topic[0]}: {one.rejected.reason}"] += 1
            elif isinstance(one, Reading):
                tally.readings_n += 1
                if not isinstance(decode_reading(encode_reading(one), lifter=one.lifter), Reading):
                    tally.wrong.append(f"a reading that cannot be read again: {raw!r}")


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
    print(f"wrong: {len(tally.wrong)}", *tally.wrong[:5], sep="\n  ")
    return 1 if tally.wrong or tally.slowest_s > SLOW_S else 0


if __name__ == "__main__":
    sys.exit(main())
