"""Level, slope, bounds and forecast of a figure over many lifts."""

import numpy as np
import pytest
from scipy import stats

from monitor.core.trends import DAY_S, FITTED_FROM_N, Trend, compare, trend

NOW = 1_764_000_000.0


def wearing(
    n: int = 300, days: float = 300.0, level: float = 0.3, per_day: float = 0.0005, scatter: float = 0.02, seed: int = 0
) -> tuple[np.ndarray, np.ndarray]:
    """A figure that is ``level`` now and grew by ``per_day``."""
    ago = np.linspace(days, 0.0, n)
    values = level - per_day * ago + scatter * np.random.default_rng(seed).standard_normal(n)
    return NOW - ago * DAY_S, values


def followed(limit: float | None = 0.5, services: tuple[float, ...] = (), **how: float) -> Trend:
    utc_s, values = wearing(**how)  # type: ignore[arg-type]
    return trend(utc_s, values, now_utc_s=NOW, limit=limit, services_utc_s=services)


def test_level_slope_and_date_are_those_of_the_line() -> None:
    made = followed()
    assert made.level is not None
    assert made.slope_per_day is not None
    assert made.reach is not None
    assert made.level.likely == pytest.approx(0.3, abs=0.01)
    assert made.slope_per_day.likely == pytest.approx(0.0005, rel=0.1)
    true = NOW + 400.0 * DAY_S
    assert made.reach.early_utc_s is not None
    assert made.reach.late_utc_s is not None
    assert NOW < made.reach.early_utc_s < made.reach.late_utc_s
    assert made.reach.likely_utc_s == pytest.approx(true, abs=60 * DAY_S)


def test_bounds_cover_the_truth_as_often_as_they_say() -> None:
    inside = 0
    for seed in range(60):
        made = followed(seed=seed)
        assert made.reach is not None
        true = NOW + 400.0 * DAY_S
        inside += (made.reach.early_utc_s or 0.0) <= true <= (made.reach.late_utc_s or np.inf)
    assert inside >= 0.85 * 60


def test_bounds_are_not_narrower_than_ordinary_least_squares() -> None:
    utc_s, values = wearing()
    made = trend(utc_s, values, now_utc_s=NOW)
    fit = stats.linregress((utc_s - NOW) / DAY_S, values)  # SciPy: slope and its standard error
    assert made.slope_per_day is not None
    half = 0.5 * (made.slope_per_day.high - made.slope_per_day.low)
    assert half >= 1.6 * fit.stderr
    assert made.slope_per_day.likely == pytest.approx(fit.slope, abs=2.0 * fit.stderr)


def test_figure_that_does_not_grow_has_no_late_date() -> None:
    made = followed(per_day=0.0)
    assert made.reach is not None
    assert made.reach.late_utc_s is None


def test_limit_reached_already_is_now() -> None:
    made = followed(limit=0.25)
    assert made.reach is not None
    assert made.reach.now


def test_falling_figure_reaches_a_lower_limit() -> None:
    utc_s, values = wearing(per_day=-0.0005)
    made = trend(utc_s, values, now_utc_s=NOW, limit=0.1, worse_up=False)
    assert made.reach is not None
    assert made.reach.likely_utc_s == pytest.approx(NOW + 400.0 * DAY_S, abs=40 * DAY_S)


def test_one_wild_lift_in_ten_hardly_moves_the_forecast() -> None:
    utc_s, values = wearing()
    values[5::10] *= 3.0
    made = trend(utc_s, values, now_utc_s=NOW, limit=0.5)
    assert made.level is not None
    assert made.level.likely == pytest.approx(0.3, abs=0.02)


def test_step_of_a_few_lifts_is_told_and_moves_no_level() -> None:
    utc_s, values = wearing()
    for after_n in range(1, FITTED_FROM_N + 1):
        stepped = values.copy()
        stepped[-after_n:] += 0.08  # four scatters
        made = trend(utc_s, stepped, now_utc_s=NOW, limit=0.5)
        assert made.level is not None
        assert [step.lift for step in made.steps if not step.certain] == [300 - after_n]
        assert made.level.likely == pytest.approx(0.3 if after_n < FITTED_FROM_N else 0.38, abs=0.01)


def test_service_begins_a_new_line_and_is_compared() -> None:
    utc_s, values = wearing(n=400, days=400.0)
    values[300:] -= 0.2
    made = trend(utc_s, values, now_utc_s=NOW, limit=0.5, services_utc_s=[float(utc_s[300]) - 60.0])
    assert all(abs(step.lift - 300) > 5 for step in made.steps)
    assert made.fitted_from_utc_s is not None
    assert made.fitted_from_utc_s >= utc_s[300]
    [service] = made.services
    assert service.better is True
    assert service.before.likely - service.after.likely == pytest.approx(0.2, abs=0.03)


def test_service_that_changed_nothing_is_no_better() -> None:
    utc_s, values = wearing(n=400, days=400.0, per_day=0.0)
    made = trend(utc_s, values, now_utc_s=NOW, services_utc_s=[float(utc_s[300]) - 60.0])
    assert made.services[0].better is False


@pytest.mark.parametrize("n", [0, 1, 2, 7])
def test_few_lifts_have_no_slope_and_no_date(n: int) -> None:
    made = trend(NOW - np.arange(n, 0, -1) * DAY_S, np.full(n, 0.1), now_utc_s=NOW, limit=0.5)
    assert made.slope_per_day is None
    assert made.reach is None
    assert (made.level is None) == (n == 0)


def test_lifts_without_a_value_are_left_out() -> None:
    utc_s, values = wearing()
    values[::3] = np.nan
    assert len(trend(utc_s, values, now_utc_s=NOW).values) == 200


def test_circuit_is_compared_with_its_sisters() -> None:
    rng = np.random.default_rng(1)
    own, other = 0.3 + 0.01 * rng.standard_normal(50), 0.1 + 0.01 * rng.standard_normal(50)
    told = compare(own, [other, other])
    assert told is not None
    assert told.low < 3.0 < told.high
    assert compare(own, []) is None
    assert compare(own[:3], [other]) is None
