"""Units that hardware sends in, and what they are in a reading's own.

Source of the factors: NIST Special Publication 811 (2008), appendix B. Columns are the conventional ones, mercury of
13 595.1 and water of 1000 kg/m^3 under standard gravity; a force stands for the mass it weighs there.
"""

from dataclasses import dataclass
from typing import Final

from monitor.core.units import STANDARD_GRAVITY_M_S2


@dataclass(frozen=True, slots=True)
class SentUnit:
    """``own`` is the reading's unit; ``value_own = value * scale + offset``."""

    own: str
    scale: float
    offset: float = 0.0


_LB_KG: Final = 0.45359237
_MMHG_KPA: Final = 13.5951 * STANDARD_GRAVITY_M_S2 / 1000.0
_INCH_MM: Final = 25.4
UNITS: Final = {
    "kPa": SentUnit("kPa", 1.0),
    "Pa": SentUnit("kPa", 0.001),
    "hPa": SentUnit("kPa", 0.1),
    "MPa": SentUnit("kPa", 1000.0),
    "mbar": SentUnit("kPa", 0.1),
    "bar": SentUnit("kPa", 100.0),
    "psi": SentUnit("kPa", 6.894757),
    "inHg": SentUnit("kPa", _INCH_MM * _MMHG_KPA),
    "mmHg": SentUnit("kPa", _MMHG_KPA),
    "Torr": SentUnit("kPa", 101.325 / 760.0),
    "inH2O": SentUnit("kPa", _INCH_MM * STANDARD_GRAVITY_M_S2 / 1000.0),
    "cmH2O": SentUnit("kPa", STANDARD_GRAVITY_M_S2 / 100.0),
    "mmH2O": SentUnit("kPa", STANDARD_GRAVITY_M_S2 / 1000.0),
    "kgf/cm2": SentUnit("kPa", 98.0665),
    "atm": SentUnit("kPa", 101.325),
    "at": SentUnit("kPa", 98.0665),
    "kg": SentUnit("kg", 1.0),
    "g": SentUnit("kg", 0.001),
    "t": SentUnit("kg", 1000.0),
    "lb": SentUnit("kg", _LB_KG),
    "N": SentUnit("kg", 1.0 / STANDARD_GRAVITY_M_S2),
    "kN": SentUnit("kg", 1000.0 / STANDARD_GRAVITY_M_S2),
    "daN": SentUnit("kg", 10.0 / STANDARD_GRAVITY_M_S2),
    "lbf": SentUnit("kg", _LB_KG),
    "deg": SentUnit("deg", 1.0),
    "°": SentUnit("deg", 1.0),
    "rad": SentUnit("deg", 57.29577951308232),
    "m": SentUnit("m", 1.0),
    "cm": SentUnit("m", 0.01),
    "mm": SentUnit("m", 0.001),
    "ft": SentUnit("m", 0.3048),
    "in": SentUnit("m", 0.0254),
    "°C": SentUnit("°C", 1.0),
    "degC": SentUnit("°C", 1.0),
    "Cel": SentUnit("°C", 1.0),
    "K": SentUnit("°C", 1.0, -273.15),
    "°F": SentUnit("°C", 5.0 / 9.0, -160.0 / 9.0),
    "degF": SentUnit("°C", 5.0 / 9.0, -160.0 / 9.0),
    "V": SentUnit("V", 1.0),
    "mV": SentUnit("V", 0.001),
    "m/s": SentUnit("m/s", 1.0),
    "km/h": SentUnit("m/s", 1.0 / 3.6),
    "mph": SentUnit("m/s", 0.44704),
    "kn": SentUnit("m/s", 1852.0 / 3600.0),
}
"""By the way they are written. SenML's (RFC 8428) and Sparkplug's engineering units are among them."""


_FOLDED: Final = {
    name.casefold(): unit
    for name, unit in UNITS.items()
    if unit.own in ("kPa", "kg") and name not in ("MPa", "kN", "N")
}
"""Pressures and masses as displays write them, KPA or mBar; not those whose case tells them apart (MPa and mPa)."""


def to_own(value: float, unit: str, own: str) -> float | None:
    """Turn a value into a reading's own unit; None when the unit is not known or measures something else.

    Check: 20 inHg is 67.72777 kPa; 68 °F is 20 °C; 1 kN weighs as 101.9716 kg.
    """
    sent = UNITS.get(unit) or _FOLDED.get(unit.casefold())
    return None if sent is None or sent.own != own else value * sent.scale + sent.offset
