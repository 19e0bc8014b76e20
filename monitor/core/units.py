"""Constants and conversions, each with its source."""

from typing import Final

STANDARD_GRAVITY_M_S2: Final = 9.80665
"""Standard gravity, m/s^2 (3rd CGPM, 1901; exact)."""

STANDARD_PRESSURE_KPA: Final = 101.325
"""Standard atmosphere, kPa (10th CGPM, 1954; exact)."""

PA_PER_KPA: Final = 1000.0
CM2_PER_M2: Final = 1.0e4
MM_PER_M: Final = 1000.0
MM_PER_INCH: Final = 25.4  # exact since 1959
S_PER_MIN: Final = 60.0

HOIST_KPA_PER_M: Final = 0.012
"""Fall of ambient pressure with height, kPa per metre: 1.225 * 9.80665 Pa/m at sea level (ISO 2533)."""


def kg_to_n(mass_kg: float) -> float:
    """Weight of a mass under standard gravity, N. Check: 100 kg is 980.665 N."""
    return mass_kg * STANDARD_GRAVITY_M_S2


def n_to_kg(force_n: float) -> float:
    """Mass whose weight is ``force_n``, kg. Check: 980.665 N is 100 kg."""
    return force_n / STANDARD_GRAVITY_M_S2


def standard_ambient_kpa(altitude_m: float) -> float:
    """Ambient pressure of the standard atmosphere at a geopotential altitude, kPa.

    Args:
        altitude_m: Geopotential height above sea level, m, -5000 to 11000.

    Returns:
        Pressure, kPa.

    Raises:
        ValueError: The height lies outside the troposphere of the standard.

    Source: ISO 2533:1975, troposphere, p = 101.325 * (1 - 0.0065 H / 288.15)^5.25588.
    Check: 2000 m is 79.4952 kPa.
    """
    if not -5000.0 <= altitude_m <= 11000.0:
        raise ValueError(f"altitude_m is {altitude_m}; the formula holds from -5000 to 11000 m")
    return STANDARD_PRESSURE_KPA * float((1.0 - 0.0065 * altitude_m / 288.15) ** 5.25588)
