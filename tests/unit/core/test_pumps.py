"""Does the pump do its part: both sides of every time and margin it is judged by."""

from dataclasses import replace

import pytest

from monitor.core.config import CircuitConfig
from monitor.core.pumps import PumpWatch, gains, watch
from monitor.core.readings import Pump
from tests.histories import values_of

CIRCUIT = CircuitConfig("A", warning_kpa=52.0, working_kpa=62.0, pump_start_kpa=60.0, pump_stop_kpa=66.0)


def feed(
    pump: str,
    vacuum: str,
    *,
    config: CircuitConfig = CIRCUIT,
    state: PumpWatch | None = None,
    from_s: float = 5000.0,
) -> PumpWatch:
    """Histories at 10 Hz, as of a gauge that is always believed."""
    state = state or PumpWatch()
    words, values = values_of(pump), values_of(vacuum)
    for number, value in enumerate(values):
        word = str(words[min(number, len(words) - 1)])
        assert isinstance(value, float)
        state = watch(state, Pump(word), value, from_s + number / 10.0, config=config)
    return state


@pytest.mark.parametrize(("for_n", "trouble"), [(120, None), (121, "not_building")])
def test_running_pump_must_gain_within_twelve_seconds(for_n: int, trouble: str | None) -> None:
    assert feed("onx1", f"50x{for_n}").trouble == trouble


@pytest.mark.parametrize(("gained_kpa", "trouble"), [(0.4, "not_building"), (0.5, None)])
def test_half_a_kilopascal_is_a_gain(gained_kpa: float, trouble: str | None) -> None:
    assert feed("onx1", f"50x60 {50 + gained_kpa}x80").trouble == trouble


def test_pump_that_falls_behind_a_leak_does_not_build() -> None:
    assert feed("onx1", "64>50x300").trouble == "not_building"


def test_slow_pump_that_builds_is_no_trouble() -> None:
    assert feed("onx1", "20>62x6000").trouble is None


def test_pump_near_its_stop_level_need_not_gain() -> None:
    assert feed("onx1", "65.5x600").trouble is None


def test_without_a_stop_level_the_working_level_is_enough() -> None:
    config = replace(CIRCUIT, pump_stop_kpa=None)
    assert feed("onx1", "61.5x600", config=config).trouble is None
    assert feed("onx1", "61.4x600", config=config).trouble == "not_building"


@pytest.mark.parametrize(("vacuum_kpa", "trouble"), [(58.9, "not_starting"), (59.0, None), (60.5, None)])
def test_resting_pump_must_start_a_kilopascal_under_its_level(vacuum_kpa: float, trouble: str | None) -> None:
    assert feed("offx1", f"{vacuum_kpa}x200").trouble == trouble


@pytest.mark.parametrize(("for_n", "trouble"), [(100, None), (101, "not_starting")])
def test_pump_must_start_within_ten_seconds(for_n: int, trouble: str | None) -> None:
    assert feed("offx1", f"58x{for_n}").trouble == trouble


def test_start_level_is_learned_where_none_is_configured() -> None:
    config = replace(CIRCUIT, pump_start_kpa=None)
    seen = feed("offx20 onx20 offx1", "60x20 60>65x20 65>60x20", config=config)
    assert seen.start_seen_kpa == 60.0
    assert feed("offx1", "58x120", config=config, state=seen, from_s=5100.0).trouble == "not_starting"


def test_first_pumping_down_teaches_no_start_level() -> None:
    config = replace(CIRCUIT, pump_start_kpa=None)
    assert feed("offx5 onx5", "0x5 0>10x5", config=config).start_seen_kpa is None


@pytest.mark.parametrize(("vacuum_kpa", "learned"), [(25.9, None), (26.0, 26.0)])
def test_start_below_half_the_warning_level_is_a_first_pumping_down(vacuum_kpa: float, learned: float | None) -> None:
    config = replace(CIRCUIT, pump_start_kpa=None)
    assert feed("offx5 onx1", f"{vacuum_kpa}x6", config=config).start_seen_kpa == learned


def test_without_any_start_level_a_resting_pump_is_no_trouble() -> None:
    assert feed("offx1", "20x300", config=replace(CIRCUIT, pump_start_kpa=None)).trouble is None


@pytest.mark.parametrize(("for_n", "trouble"), [(600, None), (601, "not_stopping")])
def test_pump_must_stop_within_a_minute_above_its_level(for_n: int, trouble: str | None) -> None:
    assert feed("onx1", f"67.1x{for_n}").trouble == trouble


def test_pump_a_kilopascal_above_its_stop_level_may_run() -> None:
    assert feed("onx1", "67x1200").trouble is None


def test_starting_ends_the_trouble_of_not_starting() -> None:
    assert feed("offx150 onx1", "58x150 58x1").trouble is None


def test_unreported_pump_changes_nothing() -> None:
    state = feed("offx1", "58x200")
    assert watch(state, None, 40.0, 5100.0, config=CIRCUIT) == state


def test_running_pump_gains_for_twelve_seconds_after_its_last_gain() -> None:
    state = feed("onx1", "50x1 50.5x1", from_s=100.0)
    assert gains(state, 112.0)
    assert not gains(state, 112.1)


def test_pump_at_its_stop_level_or_at_rest_gains_nothing() -> None:
    assert not gains(feed("onx1", "50x1 65.5x1", from_s=100.0), 100.2)
    assert gains(feed("onx1", "50x1 65.4x1", from_s=100.0), 100.2)
    assert not gains(feed("onx1 offx1", "50x1 60x1", from_s=100.0), 100.2)


def test_lowest_start_seen_is_the_level_a_pump_must_start_at() -> None:
    """A pump that once started later may do so again."""
    config = replace(CIRCUIT, pump_start_kpa=None)
    seen = feed("offx1 onx1 offx1 onx1 offx1 onx1", "62x2 58.5x2 61x2", config=config)
    assert seen.start_seen_kpa == 58.5
    assert feed("offx1", "57.5x120", config=config, state=seen, from_s=5100.0).trouble is None
    assert feed("offx1", "57.4x120", config=config, state=seen, from_s=5100.0).trouble == "not_starting"
