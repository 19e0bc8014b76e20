"""Numbers as people say them: never nicer than they are."""

import math

import pytest

from monitor.words.quantities import METRIC, UNKNOWN, duration, duration_needed, say_value


@pytest.mark.parametrize(
    ("seconds", "words"),
    [
        (-3.0, "0 s"),
        (0.9, "0 s"),
        (45.0, "45 s"),
        (99.99, "99 s"),
        (100.0, "1 min"),
        (119.9, "1 min"),
        (250.0, "4 min"),
        (3599.0, "59 min"),
        (3600.0, "1 h"),
        (7200.0, "2 h"),
        (3700.0, "1 h 1 min"),
    ],
)
def test_time_to_go_is_rounded_down(seconds: float, words: str) -> None:
    assert duration(seconds) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.0, "0 s"), (44.1, "45 s"), (99.0, "99 s"), (99.1, "2 min"), (240.0, "4 min"), (241.0, "5 min")],
)
def test_time_to_land_is_rounded_up(seconds: float, words: str) -> None:
    assert duration_needed(seconds) == words
    assert say_value("time_to_land_s", seconds) == words


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("vacuum_kpa", 57.84, "57.8 kPa"),
        ("leak_kpa_per_min", 0.923, "0.92 kPa/min"),
        ("load_kg", 622.4, "622 kg"),
        ("battery_v", 22.96, "23.0 V"),
        ("wind_m_s", 8.14, "8.1 m/s"),
        ("tilt_deg", 89.6, "90°"),
        ("height_m", 41.2, "41 m"),
        ("use_ratio", 0.694, "0.69"),
        ("circuits_n", 2, "2"),
        ("age_s", 12.9, "12 s"),
        ("circuit", "B", "B"),
    ],
)
def test_unit_follows_from_the_name(name: str, value: float | str, words: str) -> None:
    assert say_value(name, value) == words


@pytest.mark.parametrize("name", [f"value{suffix}" for suffix in METRIC])
@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf])
def test_what_is_not_known_is_a_dash_never_a_number(name: str, value: float | None) -> None:
    assert say_value(name, value) == UNKNOWN
