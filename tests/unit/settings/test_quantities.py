"""Quantities as people write them, against NIST's factors (Special Publication 811, appendix B)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitor.core.sent_units import UNITS
from monitor.settings.quantities import SPELLINGS, QuantityError, read_quantity, read_size


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("16 inHg", "kPa", 16 * 3.386389),
        ("16inhg", "kPa", 16 * 3.386389),
        ('16 "Hg', "kPa", 16 * 3.386389),
        ("7.5 psi", "kPa", 7.5 * 6.894757),
        ("540 mbar", "kPa", 54.0),
        ("54 kPa", "kPa", 54.0),
        ("400 mm Hg", "kPa", 400 * 0.1333224),
        ("700 lb", "kg", 700 * 0.45359237),
        ("700 LBS", "kg", 700 * 0.45359237),
        ("0.6 t", "kg", 600.0),
        ("700 lbf", "kg", 700 * 0.45359237),
        ("5.88399 kN", "kg", 600.0),
        ("8 ft 2 in", "m", 98 * 0.0254),
        ("8' 2\"", "m", 98 * 0.0254),
        ("8ft2in", "m", 98 * 0.0254),
        ("2.5 m", "mm", 2500.0),
        ("98.5 in", "mm", 98.5 * 25.4),
        ("-900 mm", "mm", -900.0),
        ("178 in2", "cm2", 178 * 6.4516),
        ("1.2 sq ft", "cm2", 1.2 * 929.0304),
        ("0.115 m²", "cm2", 1150.0),
        ("20 mph", "m/s", 20 * 0.44704),
        ("20 kn", "m/s", 20 * 1852 / 3600),
        ("36 km/h", "m/s", 10.0),
        ("90°", "deg", 90.0),
        ("68 °F", "degC", 20.0),
        ("4 min", "s", 240.0),
        ("3.7 gal", "L", 3.7 * 3.785412),
        (" .5 m ", "m", 0.5),
    ],
)
def test_understood(text: str, unit: str, value: float) -> None:
    assert read_quantity(text, unit, field="it") == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("700 lb", "kPa"),
        ("16 inHg", "kg"),
        ("16", "kPa"),
        ("inHg", "kPa"),
        ("", "kPa"),
        ("   ", "kPa"),
        ("16 inHgs", "kPa"),
        ("12 cfm", "m"),
        ("2,5 m", "m"),
        ("1e400 m", "m"),
        ("nan m", "m"),
        ("inf m", "m"),
        ("700 lb 3", "kg"),
        ("700 lb; drop", "kg"),
        ("9**9**9 m", "m"),
        ("5 m**99", "m"),
        ("1" * 61, "m"),
        ("(1+1) m", "m"),
    ],
)
def test_refused_with_what_is_allowed(text: str, unit: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_quantity(text, unit, field="--weight")
    fault = caught.value.fault
    assert fault.field == "--weight"
    assert text[:60] in fault.found
    assert next(iter(SPELLINGS[unit])) in fault.allowed


def test_number_alone_only_where_it_may_stand() -> None:
    assert read_quantity("600", "kg", field="it", bare=True) == 600.0
    with pytest.raises(QuantityError):
        read_quantity("600 3 kg", "kg", field="it", bare=True)


@pytest.mark.parametrize(
    ("text", "size"),
    [
        ("2.5 m x 1.5 m", (2.5, 1.5)),
        ("2500 x 1500 mm", (2.5, 1.5)),
        ("2.5x1.5", (2.5, 1.5)),
        ("2.5 × 1.5 m", (2.5, 1.5)),
        ("98 in x 60 in", (98 * 0.0254, 60 * 0.0254)),
        ("8 ft 2 in x 5 ft", (98 * 0.0254, 60 * 0.0254)),
        ("250 cm x 1500 mm", (2.5, 1.5)),
    ],
)
def test_sizes(text: str, size: tuple[float, float]) -> None:
    assert read_size(text) == pytest.approx(size)


@pytest.mark.parametrize("text", ["2.5 m", "2.5 m x", "x 1.5 m", "2.5 m x 1.5 m x 3 m", "2.5 kg x 1.5 m", ""])
def test_sizes_refused(text: str) -> None:
    with pytest.raises(QuantityError) as caught:
        read_size(text)
    assert caught.value.fault.field == "size"


def test_same_factors_as_the_wires() -> None:
    """The units that hardware sends in are converted by a small table of NIST factors: both must agree."""
    for unit in ("kPa", "kg", "m", "m/s", "deg"):
        for written in SPELLINGS[unit]:
            sent = next((s for name, s in UNITS.items() if name.lower() == written and s.own == unit), None)
            if sent is not None:
                assert read_quantity(f"1 {written}", unit, field="it") == pytest.approx(sent.scale, rel=1e-5), written


@given(st.text(max_size=70), st.sampled_from(list(SPELLINGS)))
def test_any_text_is_read_or_refused(text: str, unit: str) -> None:
    try:
        value = read_quantity(text, unit, field="it", bare=True)
    except QuantityError as error:
        assert error.fault.field == "it"  # noqa: PT017
    else:
        assert isinstance(value, float)
