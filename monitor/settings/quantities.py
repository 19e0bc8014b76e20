"""Quantities as people write them, ``16 inHg`` or ``8 ft 2 in``, in the unit a setting is kept in.

The conversion is a units library's; it is loaded when a unit has to be converted, because that takes a fifth of a
second. The spellings understood are a list of ours: the library reads "cfm" as a length (centi-femto-metre).
"""

import math
import re
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Final

from monitor.core.entry_fault import Fault, fault

if TYPE_CHECKING:
    import pint

SPELLINGS: Final[Mapping[str, Mapping[str, str]]] = {
    "kPa": {
        "kpa": "kPa",
        "pa": "Pa",
        "hpa": "hPa",
        "mbar": "mbar",
        "bar": "bar",
        "psi": "psi",
        "inhg": "inHg",
        "in hg": "inHg",
        '"hg': "inHg",
        "mmhg": "mmHg",
        "mm hg": "mmHg",
        "torr": "torr",
    },
    "kg": {
        "kg": "kg",
        "t": "metric_ton",
        "tonne": "metric_ton",
        "tonnes": "metric_ton",
        "lb": "lb",
        "lbs": "lb",
        "kn": "kN",
        "n": "N",
        "lbf": "lbf",
    },
    "m": {
        "m": "m",
        "cm": "cm",
        "mm": "mm",
        "ft": "ft",
        "'": "ft",
        "in": "inch",
        "inch": "inch",
        "inches": "inch",
        '"': "inch",
    },
    "cm2": {"cm2": "cm**2", "cm²": "cm**2", "mm2": "mm**2", "mm²": "mm**2", "m2": "m**2", "m²": "m**2"}
    | {"in2": "inch**2", "in²": "inch**2", "sq in": "inch**2", "ft2": "ft**2", "ft²": "ft**2", "sq ft": "ft**2"},
    "L": {"l": "liter", "gal": "gallon", "ft3": "ft**3", "ft³": "ft**3", "cu ft": "ft**3", "m3": "m**3", "m³": "m**3"},
    "m/s": {
        "m/s": "m/s",
        "km/h": "km/hour",
        "mph": "mile/hour",
        "kn": "knot",
        "kt": "knot",
        "knots": "knot",
        "ft/s": "ft/s",
    },
    "deg": {"deg": "degree", "°": "degree", "degrees": "degree"},
    "degC": {"°c": "degC", "degc": "degC", "°f": "degF", "degf": "degF"},
    "s": {"s": "s", "min": "minute", "h": "hour"},
    "V": {"v": "V", "mv": "mV"},
    "kPa/min": {"kpa/min": "kPa/minute", "mbar/min": "mbar/minute", "psi/min": "psi/minute", "inhg/min": "inHg/minute"},
    "kg/m": {"kg/m": "kg/m", "lb/ft": "lb/ft"},
    "ratio": {"%": "percent"},
    "GB": {"mb": "megabyte", "gb": "gigabyte", "tb": "terabyte"},
    "days": {"d": "day", "day": "day", "days": "day"},
}
"""Per unit a setting is kept in: the spellings understood, in lower case, and the library's name for each."""

SAME: Final[Mapping[str, tuple[str, str]]] = {
    "mm": ("m", "mm"),
    "cm2": ("cm2", "cm**2"),
    "L": ("L", "liter"),
    "ratio": ("ratio", "dimensionless"),
    "GB": ("GB", "gigabyte"),
    "kPa/min": ("kPa/min", "kPa/minute"),
}
"""Units kept in that are read by another's spellings, or that the library names differently."""

MOST_LETTERS_N: Final = 60
_PAIR: Final = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+\.?\d*|\.\d+))\s*(?P<unit>[^\d\s+-][^\d+-]*?[23]?)?\s*(?=[+-]?[\d.]|$)"
)


class QuantityError(ValueError):
    """A quantity that cannot be read. ``fault`` says which field, what was found and what is allowed."""

    def __init__(self, fault: Fault) -> None:
        """Take what was wrong."""
        self.fault = fault
        super().__init__(str(fault))


def read_quantity(text: str, unit: str, *, field: str, bare: bool = False) -> float:
    """Read a quantity, in one unit or in several that add up (``8 ft 2 in``).

    Args:
        text: As written.
        unit: The unit wanted, a key of :data:`SPELLINGS` or of :data:`SAME`. A force in kg is the mass it weighs.
        field: What an error calls it.
        bare: Whether a number without a unit is understood as in ``unit``.

    Raises:
        QuantityError: It is no number with a unit, or the unit measures something else.

    Check: 16 inHg is 54.18 kPa; 700 lb is 317.51 kg; 8 ft 2 in is 2.4892 m.
    """
    kind, _ = SAME.get(unit, (unit, unit))
    spellings = SPELLINGS[kind]
    wrong = QuantityError(fault(field, "quantity", found=text[:MOST_LETTERS_N], units=", ".join(spellings)))
    if len(text) > MOST_LETTERS_N:
        raise wrong
    total, end = 0.0, 0
    while end < len(text.rstrip()):
        found = _PAIR.match(text, end)
        if found is None:
            raise wrong
        word = (found["unit"] or "").strip().lower()
        if word in spellings:
            total += _converted(float(found["number"]), spellings[word], unit)
        elif not word and bare and end == 0 and found.end() == len(text):
            total = float(found["number"])
        else:
            raise wrong
        end = found.end()
    if end == 0 or not math.isfinite(total):
        raise wrong
    return total


def read_size(text: str, *, field: str = "size", bare_unit: str = "m") -> tuple[float, float]:
    """Read width and height in metres: ``2.5 m x 1.5 m``, ``98 in x 60 in``, or ``2500 x 1500 mm``.

    Args:
        text: As written. One unit behind the second number is that of both.
        field: What an error calls it.
        bare_unit: The unit where none is written at all.

    Raises:
        QuantityError: It is not two lengths above 0 with an x between.
    """
    wrong = QuantityError(fault(field, "size", found=text[:MOST_LETTERS_N]))
    parts = re.split(r"\s*[x×*]\s*", text.strip())
    if len(parts) != 2:
        raise wrong
    bare = [re.fullmatch(r"[\d.]+", part) is not None for part in parts]
    if bare[0]:
        unit = bare_unit if bare[1] else re.sub(r"^[\d.]+\s*", "", parts[1])
        parts = [f"{parts[0]} {unit}", f"{parts[1]} {unit}" if bare[1] else parts[1]]
    width_m, height_m = (read_quantity(part, "m", field=field) for part in parts)
    if not (width_m > 0.0 and height_m > 0.0):
        raise wrong
    return width_m, height_m


@cache
def _units() -> "pint.UnitRegistry[float]":
    import pint

    return pint.UnitRegistry()


def _converted(number: float, written: str, unit: str) -> float:
    _, wanted = SAME.get(unit, (unit, unit))
    quantity = _units().Quantity(number, written)
    if wanted == "kg" and quantity.check("[force]"):
        quantity = quantity / _units().Quantity(1.0, "standard_gravity")
    return float(quantity.to(wanted).magnitude)
