"""Numbers as people say them, by language and units. The unit comes from the suffix of a value's name.

``_at_least_`` before the suffix rounds down, ``_at_most_`` up: what may be carried is never told larger than it is.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import lru_cache
from typing import Final

from monitor.core.messages import Value
from monitor.core.sent_units import UNITS
from monitor.words.english import TEMPLATES
from monitor.words.languages import ENGLISH, SOURCE, Speaker, template

UNKNOWN: Final = "—"
MINUTES_FROM_S: Final = 100


def duration(seconds: float, speaker: Speaker = ENGLISH) -> str:
    """A time to go or a time past, rounded *down*: an early bound is never told longer than it is.

    Check: 250 s is "4 min"; 45 s is "45 s"; 3700 s is "1 h 1 min".
    """
    return _whole_s(max(0, math.floor(seconds)), speaker)


def duration_needed(seconds: float, speaker: Speaker = ENGLISH) -> str:
    """A time that something takes, rounded *up*: landing is never told shorter than it is. Check: 250 s is "5 min"."""
    whole_s = max(0, math.ceil(seconds))
    return _whole_s(whole_s if whole_s < MINUTES_FROM_S else 60 * math.ceil(whole_s / 60), speaker)


def duration_exact(seconds: float, speaker: Speaker = ENGLISH) -> str:
    """A time in a record, which is no call: to the second, minutes from an hour on. Check: 125 s is "2 min 05 s"."""
    whole_s = round(seconds)
    if whole_s < 60 or whole_s >= 3600:
        return _whole_s(whole_s, speaker)
    return template("unit.min_s", speaker.language).format(n=whole_s // 60, rest=f"{whole_s % 60:02d}")


def _whole_s(whole_s: int, speaker: Speaker) -> str:
    if whole_s < MINUTES_FROM_S:
        return template("unit.s", speaker.language).format(n=whole_s)
    hours, rest = divmod(whole_s // 60, 60)
    name = "unit.min" if not hours else "unit.h_min" if rest else "unit.h"
    return template(name, speaker.language).format(n=hours or rest, rest=rest)


def date(utc_s: float, speaker: Speaker = ENGLISH) -> str:
    """The day of an instant, in UTC, as ISO 8601 writes it in any language. Check: 0 is "1970-01-01"."""
    del speaker
    return f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d}"


@dataclass(frozen=True, slots=True)
class Measure:
    """One unit: the key of its words, digits shown, and ``shown = own * scale + offset``."""

    words: str
    digits: int
    scale: float = 1.0
    offset: float = 0.0


def _in(unit: str, words: str, digits: int, own_per_si: float = 1.0) -> Measure:
    """A unit by the one table of factors (``core.sent_units``, NIST SP 811); ``own_per_si`` where names differ from it."""
    sent = UNITS[unit]
    return Measure(words, digits, own_per_si / sent.scale, -sent.offset / sent.scale)


METRIC: Final[Mapping[str, Measure | Callable[[float, Speaker], str]]] = {
    "_kpa_per_min": Measure("unit.kpa_per_min", 2),
    "_kpa_a_min": Measure("unit.none", 1),
    "_kpa_plain": Measure("unit.none", 0),
    "_kpa": Measure("unit.kpa", 1),
    "_kg": Measure("unit.kg", 0),
    "_s": duration,
    "_exact_s": duration_exact,
    "_utc_s": date,
    "_to_land_s": duration_needed,
    "_needed_s": duration_needed,
    "_v": Measure("unit.v", 1),
    "_m_s": Measure("unit.m_s", 1),
    "_deg": Measure("unit.deg", 0),
    "_mm": Measure("unit.mm", 0),
    "_m": Measure("unit.m", 0),
    "_c": Measure("unit.c", 0),
    "_ratio": Measure("unit.none", 2),
    "_factor": Measure("unit.none", 1),
    "_percent": Measure("unit.percent", 0),
    "_fine_percent": Measure("unit.percent", 1),
    "_n": Measure("unit.none", 0),
}
"""How a value is printed, by the suffix of its name; the longest suffix wins."""

US: Final[Mapping[str, Measure | Callable[[float, Speaker], str]]] = {
    **METRIC,
    "_kpa_per_min": _in("inHg", "unit.inhg_per_min", 2),
    "_kpa_a_min": _in("inHg", "unit.none", 2),
    "_kpa_plain": _in("inHg", "unit.none", 1),
    "_kpa": _in("inHg", "unit.inhg", 1),
    "_kg": _in("lb", "unit.lb", 0),
    "_m_s": _in("mph", "unit.mph", 1),
    "_mm": _in("in", "unit.in", 1, 1e-3),
    "_m": _in("ft", "unit.ft", 0),
    "_c": _in("°F", "unit.f", 0),
}
SYSTEMS: Final = {"metric": METRIC, "us": US}

SUFFIXES: Final = sorted(METRIC, key=len, reverse=True)


def say_value(name: str, value: Value, speaker: Speaker = ENGLISH) -> str:
    """One value in words. ``None`` and what is not finite is a dash, never a number.

    Check: ``wind_m_s`` 10 is "10.0 m/s", for US units "22.4 mph"; ``vacuum_kpa`` 60 is "60,0 kPa" in Spanish.
    """
    if value is None:
        return UNKNOWN
    if isinstance(value, str):
        key = f"word.{name}.{value}"
        return template(key, speaker.language) if key in TEMPLATES else value
    if not math.isfinite(value):
        return UNKNOWN
    suffix = suffix_of(name)
    if suffix is None:
        return str(value)
    measure = SYSTEMS[speaker.units][suffix]
    if not isinstance(measure, Measure):
        return measure(value, speaker)
    return template(measure.words, speaker.language).format(n=_number(name, value, measure, speaker))


def number_and_unit(name: str, value: float, speaker: Speaker) -> tuple[str, str]:
    """Number and unit apart, where they are printed in two sizes. Check: ``x_kpa`` 57.84 is ("57.8", "kPa").

    Raises:
        KeyError: The name ends in no unit, or in a time.
    """
    measure = SYSTEMS[speaker.units][suffix_of(name) or ""]
    if not isinstance(measure, Measure):
        raise KeyError(name)
    return _number(name, value, measure, speaker), template(measure.words, speaker.language).format(n="").strip()


@dataclass(frozen=True, slots=True)
class Unit:
    """What a drawing or a table prints beside its numbers, and how they come to be: ``shown = own * scale + offset``."""

    words: str
    scale: float = 1.0
    offset: float = 0.0

    def of(self, value: float) -> float:
        """A value in this unit."""
        return value * self.scale + self.offset


def unit_of(name: str, speaker: Speaker) -> Unit:
    """The viewer's unit of a value; times are seconds. Check: ``x_kpa`` in US units is inHg, 10 of it 2.953.

    Raises:
        KeyError: The name ends in no unit.
    """
    measure = SYSTEMS[speaker.units][suffix_of(name) or ""]
    if not isinstance(measure, Measure):
        measure = Measure("unit.s", 0)
    return Unit(template(measure.words, speaker.language).format(n="").strip(), measure.scale, measure.offset)


def suffix_of(name: str) -> str | None:
    """The suffix that says a value's unit, ``None`` without one."""
    return next((suffix for suffix in SUFFIXES if name.endswith(suffix)), None)


def _number(name: str, value: float, measure: Measure, speaker: Speaker) -> str:
    shown = value * measure.scale + measure.offset
    if "_at_least_" in name or "_at_most_" in name:
        step = 10.0**measure.digits
        # A hair of room, so that 900 kg is not told as 899 because of the last bit.
        shown = (
            math.floor(shown * step + 1e-9) / step if "_at_least_" in name else math.ceil(shown * step - 1e-9) / step
        )
    return localised(f"{round(shown, measure.digits) + 0.0:.{measure.digits}f}", speaker.locale)


@lru_cache(maxsize=8192)
def localised(digits: str, locale: str) -> str:
    """A number in figures with a locale's own mark. No grouping: in a call, 1.200 must never be read as 1 and a bit."""
    if locale == SOURCE:
        return digits
    from babel.numbers import format_decimal

    decimals = len(digits.partition(".")[2])
    pattern = f"0.{'0' * decimals}" if decimals else "0"
    return format_decimal(Decimal(digits), format=pattern, locale=locale, group_separator=False)
