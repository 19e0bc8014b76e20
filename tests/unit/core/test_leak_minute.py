"""A minute of blocks let in one after the other: level, rate and hoist come out as they were put in."""

import pytest

from monitor.core import leak_bank as banks
from monitor.core.leak import begin
from tests.unit.core.leak_signals import config
from tests.unit.core.test_leak_follow import PER_MIN
from tests.unit.core.test_leak_let_in import falling, second


@pytest.fixture(scope="module")
def minute():
    """A minute of one reading a second: A loses 2 kPa/min, B, read 0.8 s after it, 1 kPa/min; no noise, no hoist."""
    state = begin(config())
    for number in range(61):
        at_s = float(number)
        second(state, at_s, falling(2.0, at_s), falling(1.0, at_s + 0.8), apart_s=0.8)
    return state


@pytest.mark.parametrize(("row", "kpa_per_min"), [(0, 2.0), (1, 1.0)])
def test_level_and_rate_are_those_of_one_instant_though_circuits_are_read_apart(minute, row, kpa_per_min):
    track = minute.tracks[row]
    assert minute.bank.at_s == pytest.approx(60.4)
    mean, _ = banks.moments(minute.bank)
    assert mean[0, row] == pytest.approx(falling(kpa_per_min, 60.4), abs=0.008)
    assert mean[1, row] == pytest.approx(kpa_per_min * PER_MIN, rel=0.03)
    assert track.known_of_s == track.begun_s
    assert track.falling


def test_circuits_are_compared_by_how_they_moved(minute):
    """A has lost a kPa more than B since the first block."""
    assert minute.shift_kpa == [0.0, 0.0]
    assert banks.moments(minute.relative)[0][0] == pytest.approx([-1.0, 1.0], abs=0.03)
    assert banks.moments(minute.relative)[0][1] == pytest.approx([PER_MIN, -PER_MIN], rel=0.05)


def test_hoist_that_is_measured_is_no_leak():
    state = begin(config())
    for number in range(41):
        at_s = float(number)
        hoist = 0.6 * PER_MIN * at_s
        second(state, at_s, falling(0.1, at_s) - hoist, falling(0.1, at_s) - hoist, ambient_kpa=101.0123 - hoist)
    assert state.climb_source == "ambient"
    assert state.climb_kpa == pytest.approx(0.4, abs=0.01)
    assert state.climb_kpa == pytest.approx(banks.moments(state.bank)[0][0, -1], abs=2e-4)
    assert 0.0 < state.climb_var <= 0.03**2
    assert state.ambient_kpa == pytest.approx(100.6123)
    for track in state.tracks:
        assert track.quantiles.middle == pytest.approx(0.1 * PER_MIN, abs=0.03 * PER_MIN)
        assert float((track.mixed.weight * track.mixed.level).sum()) == pytest.approx(
            62.0 - 40.0 * 0.7 * PER_MIN, abs=0.02
        )
        assert not track.falling
    assert state.relative.at_s == 0.0  # the circuits are not compared where the hoist is known
