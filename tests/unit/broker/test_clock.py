import time

import pytest

from monitor.clock import EngineClock, monotonic_s, utc_s


class Clocks:
    def __init__(self) -> None:
        self.utc = 1_764_019_200.0
        self.monotonic = 500.0


@pytest.fixture
def clocks() -> Clocks:
    return Clocks()


def engine_clock(clocks: Clocks, start_utc_s: float) -> EngineClock:
    return EngineClock(start_utc_s, utc=lambda: clocks.utc, monotonic=lambda: clocks.monotonic)


def test_engine_time_begins_at_utc_and_runs_on_monotonic_time(clocks: Clocks) -> None:
    clock = engine_clock(clocks, clocks.utc)
    assert clock.now_s() == 1_764_019_200.0
    clocks.monotonic += 12.5
    clocks.utc += 12.5
    assert clock.now_s() == 1_764_019_212.5
    assert clock.utc_minus_now_s() == 0.0


def test_stepped_system_clock_moves_only_the_difference(clocks: Clocks) -> None:
    clock = engine_clock(clocks, clocks.utc)
    clocks.utc -= 3600
    assert clock.now_s() == 1_764_019_200.0
    assert clock.utc_minus_now_s() == -3600.0


def test_arrival_on_the_monotonic_clock_has_its_engine_time(clocks: Clocks) -> None:
    clock = engine_clock(clocks, 1000.0)
    clocks.monotonic += 2
    assert clock.at_s(501.5) == 1001.5


def test_system_clocks_are_the_ones_meant() -> None:
    assert abs(utc_s() - time.time()) < 5
    first_s = monotonic_s()
    assert monotonic_s() >= first_s
    boot_s = time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()
    assert abs(first_s - boot_s) < 5
