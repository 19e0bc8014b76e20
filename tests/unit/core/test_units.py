"""Constants and the standard atmosphere against ISO 2533 values and two reference libraries."""

import pytest
from ambiance import Atmosphere
from fluids.atmosphere import ATMOSPHERE_1976

from monitor.core.units import HOIST_KPA_PER_M, kg_to_n, n_to_kg, standard_ambient_kpa

EARTH_RADIUS_M = 6_356_766.0  # of ISO 2533


@pytest.mark.parametrize(
    ("geopotential_m", "pressure_pa"),
    [
        (0, 101325.0),
        (500, 95460.8),
        (1000, 89874.6),
        (1500, 84556.0),
        (2000, 79495.2),
        (3000, 70108.5),
        (4000, 61640.2),
        (-5000, 177687.0),  # both ends of the troposphere, from memory of the table
        (11000, 22632.0),
    ],
)
def test_iso_2533_table(geopotential_m: float, pressure_pa: float) -> None:
    assert standard_ambient_kpa(geopotential_m) * 1000.0 == pytest.approx(pressure_pa, abs=1.0)


@pytest.mark.parametrize("geometric_m", [-400.0, 12.0, 850.0, 2000.0, 4800.0])
def test_reference_libraries_at_the_same_geopotential_height(geometric_m: float) -> None:
    geopotential_m = EARTH_RADIUS_M * geometric_m / (EARTH_RADIUS_M + geometric_m)
    ours_pa = standard_ambient_kpa(geopotential_m) * 1000.0
    assert ours_pa == pytest.approx(float(Atmosphere(geometric_m).pressure[0]), abs=1.0)
    assert ours_pa == pytest.approx(ATMOSPHERE_1976(geometric_m).P, abs=1.0)


def test_heights_the_formula_does_not_cover() -> None:
    for altitude_m in (-5001.0, 11001.0):
        told = rf"^altitude_m is {altitude_m}; the formula holds from -5000 to 11000 m$"
        with pytest.raises(ValueError, match=told):
            standard_ambient_kpa(altitude_m)


def test_hoisting_is_counted_at_its_steepest() -> None:
    """Near sea level 100 m take 1.2 kPa, and less the higher; a trade-press rule of thumb says 1.25."""
    for altitude_m in (0.0, 500.0, 2000.0):
        falls_kpa = standard_ambient_kpa(altitude_m) - standard_ambient_kpa(altitude_m + 100.0)
        assert falls_kpa <= HOIST_KPA_PER_M * 100.0
    assert standard_ambient_kpa(0.0) - standard_ambient_kpa(100.0) == pytest.approx(1.2, abs=0.01)


def test_weight_and_mass() -> None:
    assert kg_to_n(100.0) == pytest.approx(980.665)
    assert n_to_kg(980.665) == pytest.approx(100.0)
    assert n_to_kg(kg_to_n(321.0)) == pytest.approx(321.0)
