"""Languages and units: plural rules, decimal marks and conversions by sources outside this project."""

import math

import pytest
from babel import Locale
from babel.numbers import format_decimal
from pint import UnitRegistry

from monitor.core.messages import Text
from monitor.words.languages import ENGLISH, Speaker, is_translated, languages, own_name, template
from monitor.words.quantities import METRIC, US, Measure, localised, number_and_unit, say_value
from monitor.words.say import say, say_told, text_dict

SPANISH = Speaker("es", "metric", "es")
US_SPANISH = Speaker("es", "us", "es_US")


def test_there_is_english_and_spanish_and_each_names_itself() -> None:
    assert languages()[0] == "en"
    assert "es" in languages()
    assert (own_name("en"), own_name("es")) == ("English", "Español")


@pytest.mark.parametrize("language", languages())
@pytest.mark.parametrize("count", [0, 1, 2, 5, 21, 100])
def test_plural_form_is_the_one_of_cldr(language: str, count: int) -> None:
    """The Unicode CLDR plural rules, as Babel carries them."""
    one, other = (template("alarms.more", language, n) for n in (1, 2))
    wanted = one if Locale.parse(language).plural_form(count) == "one" else other
    assert template("alarms.more", language, count) == wanted


def test_plural_counts_by_the_value_whose_name_ends_in_n() -> None:
    assert say(Text("reason.holding", {"circuits_n": 1})) == "The circuit holds, by the readings."
    assert say(Text("reason.holding", {"circuits_n": 3})) == "3 circuits hold, by the readings."
    assert say(Text("reason.holding", {"circuits_n": 3}), SPANISH).startswith("3 circuitos mantienen")


@pytest.mark.parametrize("locale", ["es", "es_MX", "es_US", "en_GB", "de"])
@pytest.mark.parametrize("digits", ["57.8", "0.92", "622", "-4.0", "1200"])
def test_number_follows_the_locale_without_grouping(locale: str, digits: str) -> None:
    """CLDR's own marks, as Babel prints them."""
    decimals = len(digits.partition(".")[2])
    assert localised(digits, locale) == format_decimal(
        float(digits), format="0." + "0" * decimals if decimals else "0", locale=locale, group_separator=False
    )


def test_spanish_of_spain_has_a_comma_and_of_mexico_a_point() -> None:
    text = Text("reason.low", {"circuit": "B", "vacuum_kpa": 51.4, "warning_kpa": 52.0})
    assert "51,4 kPa" in say(text, SPANISH)
    assert "51.4 kPa" in say(text, Speaker("es", "metric", "es_MX"))
    assert "51.4 kPa" in say(text)


UREG: UnitRegistry = UnitRegistry(autoconvert_offset_to_baseunit=True)
PINT = {
    "_kpa": ("kPa", "inHg"),
    "_kpa_per_min": ("kPa/min", "inHg/min"),
    "_kpa_a_min": ("kPa/min", "inHg/min"),
    "_kpa_plain": ("kPa", "inHg"),
    "_kg": ("kg", "lb"),
    "_m_s": ("m/s", "mph"),
    "_mm": ("mm", "in"),
    "_m": ("m", "ft"),
    "_c": ("degC", "degF"),
}
"""The units of pint, a library of its own, for each suffix that US units change."""


@pytest.mark.parametrize("suffix", sorted(METRIC))
@pytest.mark.parametrize("value", [-20.0, 0.0, 1.0, 63.4, 900.0])
def test_us_units_are_pints(suffix: str, value: float) -> None:
    measure = US[suffix]
    if suffix not in PINT:
        assert measure is METRIC[suffix], "the same in both systems"
        return
    assert isinstance(measure, Measure)
    own, shown = PINT[suffix]
    wanted = UREG.Quantity(value, own).to(shown).magnitude
    assert value * measure.scale + measure.offset == pytest.approx(wanted, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("vacuum_kpa", 60.0, "17.7 inHg"),
        ("load_kg", 622.5, "1372 lb"),
        ("wind_m_s", 10.0, "22.4 mph"),
        ("height_m", 41.0, "135 ft"),
        ("overhang_mm", 300.0, "11.8 in"),
        ("temperature_c", 14.2, "58 °F"),
        ("battery_v", 24.9, "24.9 V"),
        ("left_s", 250.0, "4 min"),
        ("tilt_deg", 88.0, "88°"),
    ],
)
def test_us_units_are_said(name: str, value: float, words: str) -> None:
    assert say_value(name, value, Speaker("en", "us", "en")) == words


@pytest.mark.parametrize("units", ["metric", "us"])
@pytest.mark.parametrize("kg", [0.0, 0.4, 275.9, 276.0, 899.999, 900.0])
def test_room_is_rounded_down_and_excess_up_in_either_unit(units: str, kg: float) -> None:
    speaker = Speaker("en", units, "en")
    per_kg = 1.0 if units == "metric" else 1 / 0.45359237
    least, most = (float(say_value(f"x_{how}_kg", kg, speaker).split()[0]) for how in ("at_least", "at_most"))
    assert kg * per_kg - 1 < least <= kg * per_kg + 1e-6
    assert kg * per_kg - 1e-6 <= most < kg * per_kg + 1
    assert least == math.floor(kg * per_kg + 1e-6)


def test_number_and_unit_come_apart() -> None:
    assert number_and_unit("vacuum_kpa", 57.84, ENGLISH) == ("57.8", "kPa")
    assert number_and_unit("vacuum_kpa", 57.84, US_SPANISH) == ("17.1", "inHg")
    with pytest.raises(KeyError):
        number_and_unit("age_s", 1.0, ENGLISH)


def test_word_that_is_a_value_is_translated_and_any_other_stays() -> None:
    assert say_value("at", "ground", SPANISH) == "suelo"
    assert say_value("at", "crane tip", SPANISH) == "crane tip"
    assert say_value("circuit", "ground", SPANISH) == "ground"


def test_changed_english_is_a_stale_translation(monkeypatch: pytest.MonkeyPatch) -> None:
    import monitor.words.languages as module

    monkeypatch.setattr(module, "TEMPLATES", {**module.TEMPLATES, "headline.look": "Look at the lifter again"})
    assert not is_translated("headline.look", "es")
    assert template("headline.look", "es") == "Look at the lifter again", "English rather than what no longer fits"


def test_message_that_came_as_json_is_said_alike() -> None:
    text = Text("reason.low", {"circuit": "B", "vacuum_kpa": 51.4, "warning_kpa": None})
    for speaker in (ENGLISH, SPANISH, US_SPANISH):
        assert say_told(text_dict(text), speaker) == say(text, speaker)
