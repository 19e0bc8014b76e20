"""How a battery's readings become blocks, blocks lines, and lines bounds: worked out by hand, both sides of every limit."""

import math

import numpy as np
import pytest
from scipy.stats import linregress

from monitor.core import battery
from monitor.core.battery import BatteryTrend, Line, to_level
from monitor.core.warning_time import Bounds

Blocks = tuple[tuple[float, float, float], ...]


def line(
    slope: float = -0.01,
    slope_error: float = 0.0,
    *,
    level_v: float = 24.0,
    level_error_v: float = 0.0,
    at_s: float = 0.0,
    middle_s: float = 0.0,
) -> Line:
    return Line(at_s, middle_s, level_v, level_error_v, slope, slope_error)


def fitted(blocks: Blocks) -> Line:
    found = battery._line(blocks)
    assert found is not None
    return found


def blocks(volts_n: int, *, on: tuple[float, ...] = (0.0,), step_v: float = -0.125, sag_v: float = 0.0) -> Blocks:
    """Every ten seconds from 0 s: 25 V, ``step_v`` more from block to block, and ``sag_v`` with the pump."""
    shares = [on[number % len(on)] for number in range(volts_n)]
    return tuple((10.0 * number, 25.0 + step_v * number + sag_v * share, share) for number, share in enumerate(shares))


def fed(times_s: list[float], *, pump_on: bool = False) -> BatteryTrend:
    trend = BatteryTrend()
    for at_s in times_s:
        trend = battery.take(trend, 25.0 - at_s / 10.0, at_s, pump_on=pump_on)
    return trend


# --- readings to blocks


def test_block_is_the_mean_of_ten_seconds_and_the_next_begins_with_the_reading_that_ends_it() -> None:
    """Readings at 0, 2 ... 8 s are of 4 s; those at 10, 12 ... 18 s of 14 s; each tenth of a second takes 10 mV."""
    trend = fed([2.0 * number for number in range(11)])
    assert trend.blocks == pytest.approx(np.array([(4.0, 24.6, 0.0), (14.0, 23.6, 0.0)]))
    assert (trend.since_s, trend.last_s, trend.n) == (20.0, 20.0, 1)


def test_share_of_the_pump_in_a_block_is_that_of_its_readings() -> None:
    trend = BatteryTrend()
    for at_s in range(11):
        trend = battery.take(trend, 25.0, float(at_s), pump_on=at_s in {2, 3, 10})
    assert trend.blocks == ((4.5, 25.0, 0.2),)


@pytest.mark.parametrize(
    ("next_s", "kept"),
    [
        pytest.param(130.0, True, id="silent for two minutes"),
        pytest.param(130.1, False, id="silent for longer"),
        pytest.param(10.0, True, id="twice in one instant"),
        pytest.param(9.9, False, id="clock set back"),
    ],
)
def test_trend_goes_on_over_two_minutes_of_silence_at_most(next_s: float, kept: bool) -> None:
    trend = battery.take(fed([0.0, 5.0, 10.0]), 24.0, next_s, pump_on=False)
    assert bool(trend.blocks) is kept


@pytest.mark.parametrize(("blocks_n", "lines_n"), [(5, 0), (6, 1), (18, 1), (19, 2)])
def test_second_line_is_laid_once_there_is_more_than_it_takes(blocks_n: int, lines_n: int) -> None:
    assert len(fed([float(at_s) for at_s in range(10 * blocks_n + 1)]).lines) == lines_n


# --- blocks to a line


def test_line_has_its_middle_its_slope_and_its_level_at_the_end() -> None:
    """An eighth of a volt each ten seconds; the least scatter is 30 mV, and a mean of t over 0, 10 ... 50 has 1750 s²."""
    found = fitted(blocks(6))
    assert (found.at_s, found.middle_s) == (50.0, 25.0)
    assert found.slope_v_per_s == pytest.approx(-0.0125)
    assert found.level_v == pytest.approx(25.0 - 0.625)
    assert found.slope_error_v_per_s == pytest.approx(0.03 / math.sqrt(1750.0))
    assert found.level_error_v == pytest.approx(0.03 * math.sqrt(1.0 / 6.0 + 25.0**2 / 1750.0))
    assert battery._line(blocks(5)) is None
    later = tuple((at_s + 100.0, volts, on) for at_s, volts, on in blocks(6))
    assert fitted(later).middle_s == 125.0


@pytest.mark.parametrize(
    ("on", "sag_v", "level_v"),
    [
        pytest.param((0.0, 0.5), -0.5, 24.0 - 0.5, id="as under the pump's load"),
        pytest.param((0.0, 0.5), 0.5, 24.0, id="a pump that lifts it is left out"),
    ],
)
def test_level_is_that_under_the_pumps_load(on: tuple[float, ...], sag_v: float, level_v: float) -> None:
    found = fitted(blocks(9, on=on, sag_v=sag_v))
    assert found.level_v == pytest.approx(level_v)
    assert found.slope_v_per_s == pytest.approx(-0.0125)


@pytest.mark.parametrize(("share", "level_v"), [(0.1, 24.75), (0.2, 25.0 - 2.5)])
def test_pump_that_hardly_runs_tells_nothing_of_its_load(share: float, level_v: float) -> None:
    """Every other block half a volt down, the pump on for a tenth or a fifth of it: a fifth tells of five times that."""
    flat = blocks(40, on=(0.0, share), step_v=0.0, sag_v=-0.5 / share)
    assert fitted(flat).level_v == pytest.approx(level_v, abs=0.03)


def test_line_through_residuals_that_share_is_widened() -> None:
    # Reference: scipy.stats.linregress; residuals in pairs share r, and error bars sqrt((1 + r)/(1 - r)) (AR(1), textbook).
    pairs = tuple((10.0 * number, 25.0 + 0.2 * (-1.0) ** (number // 2), 0.0) for number in range(40))
    at_s, volts, _ = np.array(pairs).T
    reference = linregress(at_s, volts)
    left = volts - reference.intercept - reference.slope * at_s
    share = float(left[1:] @ left[:-1] / (left @ left))
    assert 0.0 < share < 0.1
    widened = math.sqrt((1.0 + share) / (1.0 - share))
    assert fitted(pairs).slope_error_v_per_s == pytest.approx(reference.stderr * widened)


@pytest.mark.parametrize(
    ("left", "widening"),
    [
        pytest.param([0.0, 0.0, 0.0], 1.0, id="nothing left"),
        pytest.param([0.1, 0.1, -0.1, -0.1], math.sqrt(1.25 / 0.75), id="a quarter in common"),
        pytest.param([1.0] * 100, math.sqrt(1.9 / 0.1), id="nine tenths at most"),
    ],
)
def test_widening_of_residuals(left: list[float], widening: float) -> None:
    assert battery._widening(np.array(left)) == pytest.approx(widening)


# --- lines to bounds


@pytest.mark.parametrize(("z", "reached_s"), [(0.0, 200.0), (2.0, 100.0 + 0.8 / 0.014), (-2.0, 100.0 + 1.2 / 0.006)])
def test_level_is_reached_sooner_and_later_by_both_errors(z: float, reached_s: float) -> None:
    falls = line(-0.01, 0.002, level_error_v=0.1, at_s=100.0)
    assert falls.reaches_s(23.0, z) == pytest.approx(reached_s)


def test_bounds_are_those_of_the_line_that_gets_there_sooner_by_its_middle() -> None:
    """1 V at 10 mV/s: 100 s; at 9 ± 2 mV/s: 111 s, and 81 s at its 5 % point of 12.29 mV/s."""
    trend = BatteryTrend(lines=(line(-0.01), line(-0.009, 0.002)))
    assert to_level(trend, 23.0, 0.0, horizon_s=3600.0) == Bounds(
        pytest.approx(1.0 / 0.01229), pytest.approx(100.0), pytest.approx(100.0)
    )
    wide = to_level(BatteryTrend(lines=(line(-0.01, 0.002),)), 23.0, 0.0, horizon_s=3600.0)
    assert wide == Bounds(pytest.approx(1.0 / 0.01329), pytest.approx(100.0), pytest.approx(1.0 / 0.00671))


@pytest.mark.parametrize("slope", [0.0, 0.5, 2.0])
def test_line_that_does_not_fall_never_reaches_its_level(slope: float) -> None:
    assert line(slope).reaches_s(23.0, 0.0) == math.inf


def test_fall_that_quickens_counts_for_the_early_bound_as_from_now() -> None:
    """The steeper line is at 23 V in 4 s after its end at 74 s, and what quickens sooner."""
    lines = (line(-0.125, at_s=74.0), line(-0.25, middle_s=64.0, at_s=74.0))
    quickening_s = battery._quickening_s(lines, 23.0)
    assert 74.0 < quickening_s < 78.0
    found = to_level(BatteryTrend(lines=lines), 23.0, 74.5, horizon_s=3600.0)
    assert found == Bounds(pytest.approx(quickening_s - 74.5), pytest.approx(3.5), pytest.approx(3.5))
    assert to_level(BatteryTrend(lines=lines), 23.0, 80.0, horizon_s=3600.0) == Bounds(0.0, 0.0, 0.0)


@pytest.mark.parametrize(("horizon_s", "bounds"), [(96.0, Bounds(96.0, 96.0, 96.0)), (95.9, Bounds(None, None, None))])
def test_bound_beyond_the_horizon_is_none(horizon_s: float, bounds: Bounds) -> None:
    """1.5 V at 1/64 V/s: 96 s."""
    trend = BatteryTrend(lines=(line(-0.015625),))
    assert to_level(trend, 22.5, 0.0, horizon_s=horizon_s) == bounds


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param((line(),), id="one line"),
        pytest.param((line(0.0), line(-0.02)), id="the long one does not fall"),
        pytest.param((line(-0.01), line(0.0)), id="the short one does not fall"),
        pytest.param((line(-0.01), line(-0.02)), id="both of the same stretch"),
        pytest.param(
            (line(-0.01, 0.003), line(-0.015, middle_s=100.0)), id="apart by less than two errors of the long"
        ),
        pytest.param(
            (line(-0.01), line(-0.015, 0.003, middle_s=100.0)), id="apart by less than two errors of the short"
        ),
    ],
)
def test_fall_is_not_said_to_quicken(lines: tuple[Line, ...]) -> None:
    assert battery._quickening_s(lines, 23.0) == math.inf


@pytest.mark.parametrize(
    ("level_v", "apart_s"),
    [
        pytest.param(23.0, 64.0, id="a volt"),
        pytest.param(22.0, 0.5, id="two, soon"),
        pytest.param(23.5, 64.0, id="half"),
    ],
)
def test_fall_that_quickens_by_two_errors_is_at_its_level_when_its_slope_has_grown_so_far(
    level_v: float, apart_s: float
) -> None:
    """Twice as steep every ``apart_s``: from s at the middle of the short line, s/g·(2^(t/apart) - 1) is the fall."""
    lines = (line(-0.125, middle_s=30.0), line(-0.25, 0.0625, middle_s=30.0 + apart_s, at_s=apart_s + 40.0))
    after_s = battery._quickening_s(lines, level_v) - (apart_s + 40.0)
    growth_per_s = math.log(2.0) / apart_s
    slope = 0.25 * math.exp(growth_per_s * 10.0)
    assert slope / growth_per_s * (math.exp(growth_per_s * after_s) - 1.0) == pytest.approx(24.0 - level_v)


def test_battery_below_its_level_is_there_already() -> None:
    lines = (line(-0.125), line(-0.25, middle_s=64.0, at_s=74.0))
    assert battery._quickening_s(lines, 24.5) == 74.0
