"""A first draft of `[[source]]` tables from messages that were seen: guesses by names and numbers, each to be checked.

Pure. The guesses read names as people write them (vac, press, mbar, bat) and numbers by their size. What was not
understood stands in the draft as a comment, so that nothing seen is passed over in silence.
"""

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Final

from monitor.core.config import LifterConfig
from monitor.settings.site import SiteSettings
from monitor.wire.reading_json import rfc_3339_utc_s, shown
from monitor.wire.sparkplug import NAMESPACE
from monitor.wire.topics import Topics

MOST_TOPICS_N: Final = 200
MOST_LEAVES_N: Final = 60

_FIELDS: Final = (
    ("vacuum", ("vac", "vacuum", "press", "pressure", "gauge", "underpressure", "suction", "p")),
    ("pump", ("pump", "motor")),
    ("load_kg", ("load", "weight", "mass", "cell", "w")),
    ("tilt_deg", ("tilt", "angle", "pitch")),
    ("rotation_deg", ("rotation", "turn", "yaw")),
    ("height_m", ("height", "hook")),
    ("ambient_kpa", ("ambient", "baro", "barometer", "atmosphere", "air")),
    ("temperature_c", ("temperature", "temp")),
    ("battery_v", ("battery", "bat", "vbat", "batt", "supply")),
    ("wind_m_s", ("wind", "anemometer", "gust")),
    ("lifter_alarm", ("alarm", "horn", "warning")),
    ("release_valve", ("valve", "release")),
)
_TIMES: Final = ("time", "ts", "timestamp", "t", "date", "datetime", "at", "epoch")
_COUNTS: Final = ("seq", "sequence", "counter", "fcnt", "n", "msgid")
_BOOTS: Final = ("boot", "session", "run")
_UNITS: Final = {
    "kpa": "kPa", "mbar": "mbar", "hpa": "hPa", "bar": "bar", "pa": "Pa", "mpa": "MPa", "psi": "psi", "inhg": "inHg",
    "mmhg": "mmHg", "torr": "Torr", "kg": "kg", "t": "t", "lb": "lb", "lbs": "lb", "kn": "kN", "mv": "mV", "v": "V",
    "deg": "deg", "rad": "rad", "degc": "degC", "degf": "degF", "ft": "ft", "mm": "mm", "kmh": "km/h", "mph": "mph",
}  # fmt: skip
_PRESSURES: Final = ("kPa", "mbar", "hPa", "bar", "Pa", "MPa", "psi", "inHg", "mmHg", "Torr")
_LOADS: Final = ("kg", "t", "lb", "kN")
_NUMBER: Final = re.compile(r"\s*([-+]?[0-9]*\.?[0-9]+(?:[eE][-+]?[0-9]+)?)\s*([A-Za-z°%/]{0,8})\s*")


@dataclass(slots=True)
class _Seen:
    n: int = 0
    payload: bytes = b""
    lowest: dict[str, float] = field(default_factory=dict)
    highest: dict[str, float] = field(default_factory=dict)


@dataclass(slots=True)
class Draft:
    """Feed it messages; ``toml`` is the draft."""

    site: SiteSettings
    _seen: dict[str, _Seen] = field(default_factory=dict)

    def take(self, topic: str, payload: bytes) -> None:
        """Remember one message."""
        own = Topics(self.site.root, self.site.site)
        if topic.startswith("$") or topic == own.engine or own.split(topic) is not None:
            return
        if topic in self._seen or len(self._seen) < MOST_TOPICS_N:
            seen = self._seen.setdefault(topic, _Seen())
            seen.n += 1
            seen.payload = payload
            for name, value in _numbers(payload):
                seen.lowest[name] = min(value, seen.lowest.get(name, value))
                seen.highest[name] = max(value, seen.highest.get(name, value))

    def toml(self) -> str:
        """The draft, to be put at the end of the site file and checked line by line."""
        if not self._seen:
            return "# Nothing was seen beside Holdwatch's own topics: is the hardware on, and is this its broker?\n"
        head = "# A first draft by names and sizes alone. Check every line against the gauge itself, open and under vacuum.\n"
        blocks: dict[str, str] = {}
        for topic, seen in sorted(self._seen.items()):
            pattern, lifter, circuit = self._pattern(topic)
            if pattern not in blocks:
                blocks[pattern] = "\n".join(_usable(list(self._block(topic, pattern, lifter, circuit, seen))))
        return head + "\n" + "\n\n".join(blocks.values()) + "\n"

    def _pattern(self, topic: str) -> tuple[str, LifterConfig | None, str | None]:
        """The topic with its lifter and circuit in braces, whose they are, and the circuit's id."""
        lifters = self.site.core.lifters
        levels = topic.split("/")
        named = next((level for level in levels if level in lifters), None)
        lifter = lifters[named] if named else next(iter(lifters.values())) if len(lifters) == 1 else None
        circuits = lifter.circuits if lifter is not None else {}
        circuit = next((level for level in levels if level in circuits), None)
        out = []
        for level in levels:
            if level == named and "{lifter}" not in out:
                out.append("{lifter}")
            elif level == circuit and "{circuit}" not in out:
                out.append("{circuit}")
            else:
                out.append("+" if set(level) & set("{}") else level)
        return "/".join(out), lifter, circuit

    def _block(
        self, topic: str, pattern: str, lifter: LifterConfig | None, circuit: str | None, seen: _Seen
    ) -> Iterator[str]:
        yield f"# {seen.n} messages on {topic}, the last: {_sample(seen.payload)}"
        if topic.startswith(f"{NAMESPACE}/"):
            levels = pattern.split("/")
            yield from _head("/".join([NAMESPACE, levels[1], "+", *levels[3:]]), "sparkplug", lifter)
            yield "# Without values: metrics named as a reading's fields, like circuits/A/vacuum_kpa. Else one table each."
            return
        message = _json(seen.payload)
        if _is_senml(message):
            yield from _head(pattern, "senml", lifter)
            return
        if isinstance(message, dict | list):
            yield from self._json_block(pattern, lifter, circuit, message, seen)
        elif (number := _NUMBER.fullmatch(seen.payload.decode(errors="replace"))) is not None:
            yield from _head(pattern, "number", lifter)
            yield from self._value("", pattern.split("/"), float(number[1]), number[2], lifter, circuit, seen)
        elif (separator := _separator(seen.payload)) is not None:
            yield from _head(pattern, "csv", lifter)
            yield f"separator = {_quoted(separator)}"
            yield "# One table for each column that is a value, for example:"
            yield from _example("1", lifter)
        else:
            yield f"# not understood: {len(seen.payload)} bytes. Is it binary? Then its layout from the maker's manual:"
            yield from (
                f"# {line}" for line in (*_head(pattern, "binary", lifter), 'fields = ["u16 vacuum", "skip 2"]')
            )
            yield from (f"# {line}" for line in _example("vacuum", lifter))

    def _json_block(
        self, pattern: str, lifter: LifterConfig | None, circuit: str | None, message: object, seen: _Seen
    ) -> Iterator[str]:
        yield from _head(pattern, "json", lifter)
        leaves = list(_leaves(message))[:MOST_LEAVES_N]
        rest = []
        for path, value in leaves:
            name = _words(path)[-1:] or [""]
            unit = _time_unit(value) if name[0] in _TIMES else None
            if unit is not None:
                yield f"time_at = {_quoted(path)}"
                yield f'time_unit = "{unit}"'
            elif name[0] in _COUNTS and isinstance(value, int) and not isinstance(value, bool):
                yield f"seq_at = {_quoted(path)}"
            elif name[0] in _BOOTS:
                yield f"boot_at = {_quoted(path)}"
            else:
                rest.append((path, value))
        for path, value in rest:
            yield from self._value(path, [*pattern.split("/"), path], value, "", lifter, circuit, seen)

    def _value(
        self,
        path: str,
        names: Sequence[str],
        value: object,
        unit: str,
        lifter: LifterConfig | None,
        circuit: str | None,
        seen: _Seen,
    ) -> Iterator[str]:
        """One value's table, or a comment where its name says nothing."""
        words = [word for name in names for word in _words(name)]
        what = _field_of(words)
        at = [f"at = {_quoted(path)}"] if path else []
        if what is None:
            yield f"# not understood: {path or 'the number'} = {shown(value)}"
            return
        of = "{circuit}" if circuit is not None else _circuit_of(_words(path) if path else words, lifter)
        if what in ("vacuum", "pump") and of is None:
            yield f"# which circuit is {path or 'it'} = {shown(value)}?"
            return
        if what == "pump":
            yield from ("[[source.value]]", f'to = "circuits.{of}.pump"', *at)
            return
        if what != "vacuum":
            fits = [word for word in words if word in _UNITS and (what != "load_kg" or _UNITS[word] in _LOADS)]
            said = [f'unit = "{_UNITS[fits[-1]]}"'] if fits and not unit and what == "load_kg" else []
            yield from ("[[source.value]]", f'to = "{what}"', *at, *said)
            return
        yield from ("[[source.value]]", f'to = "circuits.{of}.vacuum_kpa"', *at)
        lowest, highest = seen.lowest.get(path), seen.highest.get(path)
        yield from _pressure(words, unit, lowest, highest)


def _usable(lines: list[str]) -> list[str]:
    """A source without any value is no source: it stands as a comment until somebody gives it one.

    A field that a value had already is no second value's: that one is a comment too.
    """
    taken: set[str] = set()
    twice = False
    for place, line in enumerate(lines):
        if line == "[[source.value]]":
            twice = lines[place + 1] in taken
            taken.add(lines[place + 1])
        elif line.startswith("# not understood"):
            twice = False
        if twice:
            lines[place] = (
                f"# {line}" if line != "[[source.value]]" else "# a second one for the same field:\n# [[source.value]]"
            )
    of = next((line for line in lines if line.startswith("format")), "")
    if "[[source.value]]" in lines or of in ('format = "senml"', 'format = "sparkplug"'):
        return lines
    return [line if line.startswith("#") else f"# {line}" for line in lines]


def _pressure(words: Sequence[str], unit: str, lowest: float | None, highest: float | None) -> Iterator[str]:
    said = [_UNITS[word] for word in words if word in _UNITS and _UNITS[word] in _PRESSURES]
    size = max(abs(lowest or 0.0), abs(highest or 0.0))
    if not unit:
        guess = said[-1] if said else "kPa" if size <= 105.0 else "mbar" if size <= 1150.0 else "Pa"
        yield f'unit = "{guess}"' + ("" if said else f"  # by its size, {size:g}: check")
    if lowest is not None and lowest < 0.0:
        yield 'reads = "gauge"  # it is negative'
    elif any(word in ("abs", "absolute") for word in words):
        yield 'reads = "absolute"  # by its name'
    else:
        yield '# reads = "absolute"   if it shows about 100 kPa with the pads open'


def _head(pattern: str, of: str, lifter: LifterConfig | None) -> Iterator[str]:
    yield "[[source]]"
    yield f"topic = {_quoted(pattern)}"
    yield f'format = "{of}"'
    if "{lifter}" not in pattern:
        yield f'lifter = "{lifter.id if lifter else "ID"}"' + ("" if lifter else "  # which lifter is it?")


def _example(at: str, lifter: LifterConfig | None) -> Iterator[str]:
    circuit = next(iter(lifter.circuits), "A") if lifter is not None else "A"
    yield from ("[[source.value]]", f'to = "circuits.{circuit}.vacuum_kpa"', f'at = "{at}"')


def _field_of(words: Sequence[str]) -> str | None:
    for word in reversed(words):
        for name, known in _FIELDS:
            if word in known or (len(word) > 2 and any(len(one) > 3 and word.startswith(one) for one in known)):
                return name
    return None


def _circuit_of(words: Sequence[str], lifter: LifterConfig | None) -> str | None:
    """The circuit a name speaks of: its id, or a number that counts the circuits."""
    circuits = list(lifter.circuits) if lifter is not None else []
    for word in reversed(words):
        for circuit in circuits:
            if word == circuit.lower():
                return circuit
    if len(circuits) == 1:
        return circuits[0]
    for word in reversed(words):
        if word.isdecimal() and 1 <= int(word) <= len(circuits):
            return circuits[int(word) - 1]
    return None


def _words(name: str) -> list[str]:
    """The words of a name. Check: "data.vacA_kPa[0]" is data, vac, a, kpa, 0."""
    for unit in ("kPa", "hPa", "mPa", "inHg", "mmHg"):
        name = name.replace(unit, unit.lower())
    return [word.lower() for word in re.findall(r"[A-Z]?[a-z]+|[A-Z]+|[0-9]+", name)]


def _leaves(message: object, path: str = "") -> Iterator[tuple[str, object]]:
    if isinstance(message, dict):
        for key, value in message.items():
            plain = re.fullmatch(r'[^\s."\[\]=]+', key)
            step = key if plain else _json_key(key)
            yield from _leaves(value, f"{path}.{step}" if path else step)
    elif isinstance(message, list):
        for place, value in enumerate(message[:10]):
            yield from _leaves(value, f"{path}[{place}]")
    elif message is not None:
        yield path, message


def _json_key(key: str) -> str:
    return '"' + key.replace('"', "") + '"'


def _numbers(payload: bytes) -> Iterator[tuple[str, float]]:
    message = _json(payload)
    if isinstance(message, dict | list):
        for path, value in _leaves(message):
            if isinstance(value, int | float) and not isinstance(value, bool):
                yield path, float(value)
    elif (number := _NUMBER.fullmatch(payload.decode(errors="replace"))) is not None:
        yield "", float(number[1])


def _json(payload: bytes) -> object:
    try:
        return json.loads(payload)
    except (ValueError, RecursionError):
        return None


def _is_senml(message: object) -> bool:
    return (
        isinstance(message, list)
        and bool(message)
        and all(isinstance(item, dict) and item.keys() & {"n", "bn"} for item in message)
    )


def _time_unit(value: object) -> str | None:
    if isinstance(value, str):
        return "text" if rfc_3339_utc_s(value) is not None else None
    if not isinstance(value, int | float) or isinstance(value, bool):
        return None
    return next(
        (
            unit
            for unit, per_s in (("s", 1), ("ms", 1e3), ("us", 1e6), ("ns", 1e9))
            if 1e9 * per_s <= value < 4.2e9 * per_s
        ),
        None,
    )


def _separator(payload: bytes) -> str | None:
    try:
        line = payload.decode().strip().splitlines()[-1]
    except (UnicodeDecodeError, IndexError):
        return None
    return next((mark for mark in (";", "\t", ",") if mark in line), None)


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)  # a JSON string is a TOML basic string


def _sample(payload: bytes) -> str:
    text = ascii(payload[:120].decode(errors="replace"))[1:-1]
    return text + ("..." if len(payload) > 120 else "")
