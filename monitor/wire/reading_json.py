"""The native reading: one JSON message per lifter, decoded strictly and without ever raising.

One bad field costs that field, not the message: it becomes None and is named in ``refused``. A message that gives no
circuit at all is ``Rejected``, unless it speaks of the lifter's own alarm, which may come by itself.
"""

import json
import math
import re
from collections.abc import Mapping
from datetime import datetime
from typing import Any, Final, TypeVar

import msgspec

from monitor.core.readings import PLAUSIBLE, CircuitReading, Pump, Reading, Refusal, Rejected, Valve
from monitor.wire.topics import ID

MAX_BYTES: Final = 65_536
MAX_CIRCUITS: Final = 32
MAX_GAUGES: Final = 16
MAX_SEQ: Final = 2**53 - 1
MAX_BOOT_CHARS: Final = 64
FOUND_CHARS: Final = 60
EARLIEST_UTC_S: Final = 946_684_800.0
"""2000-01-01T00:00:00Z: a clock before it was never set."""
LATEST_UTC_S: Final = 4_102_444_800.0
"""2100-01-01T00:00:00Z: a stamp after it is in milliseconds, or wrong."""

_RANGES: Final = {name: (span.low, span.high) for name, span in PLAUSIBLE.items()}
_CIRCUIT_NUMBERS: Final = ("vacuum_kpa", "pressure_abs_kpa")
_LIFTER_NUMBERS: Final = tuple((name, *span) for name, span in _RANGES.items() if name not in _CIRCUIT_NUMBERS)
_BESIDE_CIRCUITS: Final = (*(name for name, _, _ in _LIFTER_NUMBERS), "lifter_alarm", "release_valve")
_VACUUM: Final = _RANGES["vacuum_kpa"]
_PRESSURE: Final = _RANGES["pressure_abs_kpa"]
_PUMPS: Final = {str(pump): pump for pump in Pump}
_VALVES: Final = {str(valve): valve for valve in Valve}
_RFC_3339: Final = re.compile(
    r"([0-9]{4}-[0-9]{2}-[0-9]{2})[Tt ]([0-9]{2}:[0-9]{2}):([0-9]{2})(\.[0-9]{1,12})?([Zz]|[+-][0-9]{2}:[0-9]{2})"
)
_Word = TypeVar("_Word", Pump, Valve)


def _whole(digits: str) -> float:
    # Python refuses to turn more than 4300 digits into an int; no field here takes more than a float can hold.
    return int(digits) if len(digits) < 300 else math.copysign(math.inf, -1.0 if digits[0] == "-" else 1.0)


_LENIENT: Final = json.JSONDecoder(parse_int=_whole)
"""Also reads NaN, Infinity and numbers beyond any float, so that they cost their field and not the message."""


def decode_reading(payload: bytes, *, lifter: str) -> Reading | Rejected:
    """Decode one message on a lifter's ``readings`` topic.

    Args:
        payload: The message's bytes, whatever they are.
        lifter: The lifter named by the topic.

    Returns:
        The reading, every number in it finite and inside ``PLAUSIBLE``, what was not believed in ``refused``; or
        ``Rejected`` when the message is over 64 KiB, is not JSON in UTF-8, or has neither circuits nor the lifter's alarm.

    Check: ``{"circuits": {"A": {"vacuum_kpa": 63.4}}}`` gives circuit A 63.4 kPa below ambient and nothing else.
    """
    if len(payload) > MAX_BYTES:
        return Rejected("too_large", f"{len(payload)} bytes")
    try:
        message = parse_json(payload)
    except ValueError:
        return Rejected("not_json", repr(payload[:FOUND_CHARS]))
    return reading_of(message, lifter=lifter)


def parse_json(payload: bytes) -> object:
    """Read JSON in UTF-8, with NaN and Infinity let through as floats for the caller to refuse.

    Raises:
        ValueError: Not UTF-8, not JSON, or nested too deeply.
    """
    try:
        return msgspec.json.decode(payload)
    except (ValueError, RecursionError):
        pass
    try:
        return _LENIENT.decode(payload.decode())
    except RecursionError as error:
        raise ValueError("nested too deeply") from error


def reading_of(message: object, *, lifter: str) -> Reading | Rejected:
    """Check parsed JSON and make the reading of it; see ``decode_reading``."""
    if not isinstance(message, dict):
        return Rejected("wrong_shape", shown(message))
    refused: list[Refusal] = []
    circuits = _circuits_in(message, refused)
    if isinstance(circuits, Rejected):
        if flag_of(message.get("lifter_alarm"), "lifter_alarm", []) is None:
            return circuits
        if message.get("circuits"):
            refused = [Refusal("circuits", "wrong_shape", shown(message["circuits"]))]
        circuits = {}  # the lifter's own alarm is heard all the same

    values: dict[str, float | None] = {}
    for name, low, high in _LIFTER_NUMBERS:
        found = message.get(name)
        if found is not None:
            values[name] = number_in(found, low, high, name, refused)
    return Reading(
        lifter=lifter,
        circuits=circuits,
        lifter_alarm=flag_of(message.get("lifter_alarm"), "lifter_alarm", refused),
        release_valve=_word(message.get("release_valve"), _VALVES, "release_valve", refused),
        sent_utc_s=sent_utc_s(message.get("time"), refused),
        seq=seq_of(message.get("seq"), refused),
        boot=boot_of(message.get("boot"), refused),
        **values,
        refused=tuple(refused),
    )


def _circuits_in(message: dict[Any, object], refused: list[Refusal]) -> dict[str, CircuitReading] | Rejected:
    given = message.get("circuits")
    if given is None:
        return Rejected("no_circuits", shown(message))
    if not isinstance(given, dict):
        return Rejected("wrong_shape", f"circuits: {shown(given)}")
    circuits = _circuits(given, refused)
    if not any(isinstance(found, dict) for found in given.values()):
        return Rejected("wrong_shape" if given else "no_circuits", f"circuits: {shown(given)}")
    if not circuits:  # objects there were, but none under a name a circuit can have
        return Rejected("no_circuits", f"circuits: {shown(given)}")
    return circuits


def encode_reading(reading: Reading) -> bytes:
    """A joined reading as the native message it stands for, so that it is journalled and replayed like any other.

    A refused value stands as a text that says why, and is refused again (as ``not_a_number`` or the like).
    """
    circuits = {name: _given(circuit) for name, circuit in reading.circuits.items()}
    values = {"time": reading.sent_utc_s, "seq": reading.seq, "boot": reading.boot, "circuits": circuits}
    values |= {name: getattr(reading, name) for name in _BESIDE_CIRCUITS}
    message = {name: value for name, value in values.items() if value is not None}
    for refusal in reading.refused:
        why = f"{refusal.reason}: {refusal.found}"
        match refusal.field.split("."):
            case ["circuits", circuit, "gauges", gauge] if circuit in circuits:
                circuits[circuit].setdefault("gauges", {})[gauge] = why
            case ["circuits", circuit, name] if circuit in circuits:
                circuits[circuit][name] = why
            case ["lifter_alarm"]:
                message["lifter_alarm"] = "yes" if reading.lifter_alarm else "no"
            case [name]:
                message[name] = why
    return msgspec.json.encode(message)


def _given(circuit: CircuitReading) -> dict[str, Any]:
    given = {"vacuum_kpa": circuit.vacuum_kpa, "pressure_abs_kpa": circuit.pressure_abs_kpa, "pump": circuit.pump}
    return {name: value for name, value in given.items() if value is not None} | (
        {"gauges": dict(circuit.gauges)} if circuit.gauges else {}
    )


def sent_utc_s(found: object, refused: list[Refusal]) -> float | None:
    """A sender's stamp as UTC epoch seconds, from a number or RFC 3339 text with its zone.

    Args:
        found: What stood in the message; None means nothing did.
        refused: Takes what could not be believed: milliseconds, a clock never set, a text without zone.

    Check: 1764019200.125 and "2025-11-24T22:20:00.125+01:00" are the same instant, 1764019200.125.
    """
    if found is None:
        return None
    if not isinstance(found, str):
        return number_in(found, EARLIEST_UTC_S, LATEST_UTC_S, "time", refused)
    value = rfc_3339_utc_s(found)
    if value is None:
        refused.append(Refusal("time", "wrong_shape", shown(found)))
        return None
    return number_in(value, EARLIEST_UTC_S, LATEST_UTC_S, "time", refused)


def rfc_3339_utc_s(text: str) -> float | None:
    """UTC epoch seconds of an RFC 3339 text, leap second and any number of decimals included; None for any other text.

    Check: "1996-12-19T16:39:57-08:00" is 851042397.0 (RFC 3339 section 5.8: the same as "1996-12-20T00:39:57Z").
    """
    parts = _RFC_3339.fullmatch(text)
    if parts is None or parts[3] > "60":
        return None
    try:
        minute = datetime.fromisoformat(f"{parts[1]}T{parts[2]}:00{parts[5].upper().replace('Z', '+00:00')}")
    except ValueError:
        return None
    # Seconds are added by hand: a leap second (:60) is RFC 3339 too, and datetime keeps microseconds only.
    return minute.timestamp() + float(parts[3] + (parts[4] or ""))


def shown(found: object) -> str:
    """What stood in a message, shortened and in printable characters, for a refusal."""
    if isinstance(found, dict):
        return f"object of {len(found)}: {', '.join(map(repr, list(found)[:5]))}"[:FOUND_CHARS]
    if isinstance(found, list):
        return f"list of {len(found)}"
    if isinstance(found, str):
        return ascii(found[:FOUND_CHARS])[:FOUND_CHARS]
    if isinstance(found, int) and found.bit_length() > 64:
        return f"integer of {found.bit_length()} bits"
    return repr(found)


def _circuits(given: Mapping[str, object], refused: list[Refusal]) -> dict[str, CircuitReading]:
    circuits: dict[str, CircuitReading] = {}
    for place, (name, found) in enumerate(given.items()):
        if place == MAX_CIRCUITS:
            refused.append(Refusal("circuits", "out_of_range", f"{len(given)} circuits"))
            break
        if not ID.fullmatch(name):
            refused.append(Refusal("circuits", "not_known", shown(name)))
            continue
        where = f"circuits.{name}"
        if not isinstance(found, dict):
            refused.append(Refusal(where, "wrong_shape", shown(found)))
            circuits[name] = CircuitReading()
            continue
        vacuum = found.get("vacuum_kpa")
        pressure = found.get("pressure_abs_kpa")
        pump = found.get("pump")
        gauges = _gauges(found["gauges"], f"{where}.gauges", refused) if found.get("gauges") is not None else {}
        vacuum_kpa = None if vacuum is None else number_in(vacuum, *_VACUUM, f"{where}.vacuum_kpa", refused)
        if vacuum is None and pressure is None and gauges:
            vacuum_kpa = min(gauges.values())
        circuits[name] = CircuitReading(
            vacuum_kpa,
            None if pressure is None else number_in(pressure, *_PRESSURE, f"{where}.pressure_abs_kpa", refused),
            None if pump is None else _word(pump, _PUMPS, f"{where}.pump", refused),
            gauges,
        )
    return circuits


def _gauges(given: object, where: str, refused: list[Refusal]) -> dict[str, float]:
    if not isinstance(given, dict) or len(given) > MAX_GAUGES:
        refused.append(Refusal(where, "wrong_shape", shown(given)))
        return {}
    gauges: dict[str, float] = {}
    for name, found in given.items():
        if not ID.fullmatch(name):
            refused.append(Refusal(where, "not_known", shown(name)))
            continue
        value = number_in(found, *_VACUUM, f"{where}.{name}", refused)
        if value is not None:
            gauges[name] = value
    return gauges


def number_in(found: object, low: float, high: float, where: str, refused: list[Refusal]) -> float | None:
    """``found`` as a finite number from ``low`` to ``high``, ends included; anything else is refused under ``where``."""
    kind = type(found)  # exact: True is an int to isinstance
    if kind is float or kind is int:
        if low <= found <= high:  # type: ignore[operator]
            return float(found)  # type: ignore[arg-type]
        reason = "out_of_range" if kind is int or math.isfinite(found) else "not_finite"  # type: ignore[arg-type]
    else:
        reason = "not_a_number"
    refused.append(Refusal(where, reason, shown(found)))
    return None


def _word(found: object, words: Mapping[str, _Word], where: str, refused: list[Refusal]) -> _Word | None:
    if found is None:
        return None
    word = words.get(found) if isinstance(found, str) else None
    if word is None:
        refused.append(Refusal(where, "not_known", shown(found)))
    return word


def flag_of(found: object, where: str, refused: list[Refusal]) -> bool | None:
    """``found`` as yes or no. A word or number in its place is refused, and unless it plainly says no it counts as yes."""
    if found is None or isinstance(found, bool):
        return found
    refused.append(Refusal(where, "wrong_shape", shown(found)))
    said = found.strip().lower() if isinstance(found, str) else found
    return None if said in _SAYS_NO else True


_SAYS_NO = ("false", "off", "no", "0", "", 0)
"""Not a proper ``false``: it clears no alarm, and raises none."""


def seq_of(found: object, refused: list[Refusal]) -> int | None:
    """``found`` as a sequence number: whole, 0 to 2^53 - 1; None means nothing was given."""
    if found is None:
        return None
    value = number_in(found, 0.0, MAX_SEQ, "seq", refused)
    if value is None:
        return None
    if not value.is_integer():
        refused.append(Refusal("seq", "wrong_shape", shown(found)))
        return None
    return int(value)


def boot_of(found: object, refused: list[Refusal]) -> str | None:
    """``found`` as the text that names a sender's run, 64 printable characters at most."""
    if found is None:
        return None
    text = found if isinstance(found, str) else shown(found) if type(found) in (int, float) else None
    if text is None or len(text) > MAX_BOOT_CHARS or not text.isprintable():
        refused.append(Refusal("boot", "wrong_shape", shown(found)))
        return None
    return text
