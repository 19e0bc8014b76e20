"""What one message from a lifter says: values with unit, sign and plausible range.

The sign, said once: ``vacuum_kpa`` is pressure *below* ambient, so 0 is ambient and more is stronger. An absolute
pressure is ``pressure_abs_kpa``. A value that could not be believed is ``None`` here and named in ``refused``.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final


class Pump(StrEnum):
    """What a circuit's pump says of itself."""

    ON = "on"
    OFF = "off"


class Valve(StrEnum):
    """What the release valve says of itself."""

    OPEN = "open"
    CLOSED = "closed"


@dataclass(frozen=True, slots=True)
class Span:
    """The plausible range of a quantity; outside it a value is a fault of the sensor or the mapping, not a fact."""

    low: float
    high: float
    unit: str

    def holds(self, value: float) -> bool:
        """Whether ``value`` is finite and inside, ends included."""
        return math.isfinite(value) and self.low <= value <= self.high


PLAUSIBLE: Final[Mapping[str, Span]] = {
    "vacuum_kpa": Span(-5.0, 105.0, "kPa"),  # a little below zero: a sensor's offset with the pad open
    "pressure_abs_kpa": Span(0.0, 115.0, "kPa"),
    "load_kg": Span(-20_000.0, 200_000.0, "kg"),
    "tilt_deg": Span(-15.0, 195.0, "deg"),  # 0 to 180, and a panel that swings a little past its ends
    "rotation_deg": Span(-360.0, 360.0, "deg"),
    "height_m": Span(-200.0, 1_500.0, "m"),
    "ambient_kpa": Span(40.0, 115.0, "kPa"),
    "temperature_c": Span(-60.0, 90.0, "°C"),
    "battery_v": Span(0.0, 1_000.0, "V"),
    "wind_m_s": Span(0.0, 100.0, "m/s"),
}
"""Plausible range of each number a reading may carry."""


@dataclass(frozen=True, slots=True)
class Refusal:
    """One field that was present but could not be believed.

    ``field`` is its path in the message, for example ``circuits.A.vacuum_kpa``. ``reason`` is one of ``not_a_number``,
    ``not_finite``, ``out_of_range``, ``not_known`` (a word outside its list), ``wrong_shape``. ``found`` is what stood
    there, shortened.
    """

    field: str
    reason: str
    found: str


@dataclass(frozen=True, slots=True)
class CircuitReading:
    """One circuit in one message. Exactly one of the two pressures is normally given."""

    vacuum_kpa: float | None = None
    pressure_abs_kpa: float | None = None
    pump: Pump | None = None
    gauges: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Reading:
    """One message from one lifter, decoded. ``None`` means not given or not believed (see ``refused``)."""

    lifter: str
    circuits: Mapping[str, CircuitReading]
    load_kg: float | None = None
    tilt_deg: float | None = None
    rotation_deg: float | None = None
    height_m: float | None = None
    ambient_kpa: float | None = None
    temperature_c: float | None = None
    battery_v: float | None = None
    wind_m_s: float | None = None
    lifter_alarm: bool | None = None
    release_valve: Valve | None = None
    sent_utc_s: float | None = None
    seq: int | None = None
    boot: str | None = None
    refused: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True)
class Rejected:
    """A message that could not be read at all: no reading came of it.

    ``reason`` is one of ``not_json``, ``too_large``, ``wrong_shape``, ``no_circuits``; ``found`` is its beginning, shortened.
    """

    reason: str
    found: str
