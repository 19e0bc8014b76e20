"""Small tables of the core: plausible ranges, tandems, and units as hardware sends them."""

import math

import pytest

from monitor.core.config import CoreConfig
from monitor.core.readings import Span
from monitor.core.sent_units import to_own


@pytest.mark.parametrize(
    ("value", "holds"),
    [
        (-5.0, True),
        (-5.01, False),
        (50.0, True),
        (105.0, True),
        (105.01, False),
        (math.nan, False),
        (math.inf, False),
    ],
)
def test_range_holds_its_ends_and_nothing_that_is_not_a_number(value, holds):
    assert Span(-5.0, 105.0, "kPa").holds(value) is holds
    assert not Span(-math.inf, math.inf, "kPa").holds(math.inf)


@pytest.mark.parametrize(
    ("lifter", "partners"), [("a", ("b", "c")), ("b", ("a", "c")), ("d", ("e",)), ("alone", ()), ("e", ("d",))]
)
def test_partners_are_the_others_of_the_same_tandem(lifter, partners):
    assert CoreConfig("site", {}, (("a", "b", "c"), ("d", "e"))).partners(lifter) == partners


@pytest.mark.parametrize(
    ("value", "unit", "own", "told"),
    [
        (20.0, "inHg", "kPa", 67.72777),  # NIST SP 811, appendix B: 3.386389 kPa each
        (68.0, "°F", "°C", 20.0),
        (293.15, "K", "°C", 20.0),
        (1.0, "kN", "kg", 101.9716),
        (640.0, "mBar", "kPa", 64.0),
        (64.0, "KPA", "kPa", 64.0),
    ],
)
def test_value_is_told_in_the_readings_own_unit(value, unit, own, told):
    assert to_own(value, unit, own) == pytest.approx(told, rel=1e-6)


@pytest.mark.parametrize(("unit", "own"), [("kg", "kPa"), ("mpa", "kPa"), ("fathom", "m"), ("", "kPa")])
def test_unit_that_is_not_known_or_measures_something_else_gives_nothing(unit, own):
    assert to_own(1.0, unit, own) is None
