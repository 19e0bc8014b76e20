"""Numbers as people say them, by language and units. The unit comes from the suffix of a value's name."""

import math
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Final

from monitor.core.messages import Value

UNKNOWN: Final = "—"


def duration(seconds: float) -> str:
    """A time to go or a time past, rounded *down*: an early bound is never told longer than it is.

    Check: 250 s is "4 min"; 45 s is "45 s"; 3700 s is "1 h 1 min".
    """
    return _whole_s(max(0, math.floor(seconds)))


def duration_needed(seconds: float) -> str:
    """A time that something takes, rounded *up*: landing is never told shorter than it is. Check: 250 s is "5 min"."""
    whole_s = max(0, math.ceil(seconds))
    return _whole_s(whole_s if whole_s < MINUTES_FROM_S else 60 * math.ceil(whole_s / 60))


MINUTES_FROM_S: Final = 100


def _whole_s(whole_s: int) -> str:
    if whole_s < MINUTES_FROM_S:
        return f"{whole_s} s"
    minutes = whole_s // 60
    hours, rest = divmod(minutes, 60)
    return f"{minutes} min" if not hours else f"{hours} h {rest} min" if rest else f"{hours} h"


def date(utc_s: float) -> str:
    """The day of an instant, in UTC (ISO 8601). Check: 0 is "1970-01-01"."""
    return f"{datetime.fromtimestamp(utc_s, UTC):%Y-%m-%d}"


def _plain(digits: int, unit: str) -> Callable[[float], str]:
    return lambda value: f"{value:.{digits}f}{unit}"


METRIC: Final[Mapping[str, Callable[[float], str]]] = {
    "_kpa_per_min": _plain(2, " kPa/min"),
    "_kpa": _plain(1, " kPa"),
    "_kg": _plain(0, " kg"),
    "_s": duration,
    "_utc_s": date,
    "_to_land_s": duration_needed,
    "_needed_s": duration_needed,
    "_v": _plain(1, " V"),
    "_m_s": _plain(1, " m/s"),
    "_deg": _plain(0, "°"),
    "_mm": _plain(0, " mm"),
    "_m": _plain(0, " m"),
    "_ratio": _plain(2, ""),
    "_percent": _plain(0, " %"),
    "_n": _plain(0, ""),
}
"""How a value is printed, by the suffix of its name; the longest suffix wins."""

SUFFIXES: Final = sorted(METRIC, key=len, reverse=True)


def say_value(name: str, value: Value) -> str:
    """One value in words. ``None`` and what is not finite is a dash, never a number."""
    if value is None:
        return UNKNOWN
    if isinstance(value, str):
        return value
    if not math.isfinite(value):
        return UNKNOWN
    for suffix in SUFFIXES:
        if name.endswith(suffix):
            return METRIC[suffix](value)
    return str(value)
