"""Forecasts of the day the service limit is reached, and steps, on seeded histories whose truth is known."""

import numpy as np
import pytest

from tests.benchmarks.trends import FOUND_WITHIN_N, OURS, OURS_DOWN, Score, forecasts, judge, steps

NOW = 1_764_000_000.0
DAY = 86_400.0


@pytest.mark.long
def test_dates_are_near_the_truth_and_their_bounds_cover_it_as_often_as_they_say() -> None:
    """A hundred histories nobody tuned on: three years of wear that changes, steps, services, weather, odd panels."""
    score = forecasts(range(910_000, 910_100))["Holdwatch"]
    assert score.asked_n > 500
    assert len(score.covered) > 0.9 * score.asked_n
    assert len(score.errors) > 200
    assert 0.85 <= np.mean(score.covered) <= 0.96
    assert np.median(score.errors) <= 0.15


@pytest.mark.long
def test_steps_are_told_within_five_lifts_and_healthy_circuits_have_hardly_any() -> None:
    """Eighty steps of twice the scatter each way, and forty healthy circuits of 500 lifts."""
    found, _, _, _ = steps(range(920_000, 920_020))
    for score in (found[OURS], found[OURS_DOWN]):
        assert len(score.delays) == 80
        assert np.median(score.delays) <= FOUND_WITHIN_N
        assert np.mean(np.asarray(score.delays) <= FOUND_WITHIN_N) >= 0.85
    ours = found[OURS]
    assert ours.healthy_lifts_n == 40 * 500
    assert 500 * ours.listed_n / ours.healthy_lifts_n <= 1.0  # told after 500 lifts, possible ones too


@pytest.mark.parametrize(
    ("early_days", "likely_days", "late_days", "true_days", "errors", "covered"),
    [
        (80.0, 110.0, 140.0, 100.0, [0.1], [True]),
        (80.0, 150.0, np.inf, 100.0, [0.5], [True]),  # a likely date counts, however late its late bound
        (120.0, 150.0, 200.0, 100.0, [0.5], [False]),
        (80.0, None, np.inf, 100.0, [], [True]),
        (80.0, 150.0, 200.0, None, [], [False]),  # it is never reached, and a late bound was told
        (80.0, 150.0, np.inf, None, [], [True]),
        (80.0, 150.0, np.inf, 4000.0, [1.0 - 150.0 / 4000.0], [True]),  # beyond the ten years that are told
    ],
)
def test_every_forecast_with_a_likely_date_counts(
    early_days: float,
    likely_days: float | None,
    late_days: float,
    true_days: float | None,
    errors: list[float],
    covered: list[bool],
) -> None:
    score = Score()
    likely = None if likely_days is None else NOW + DAY * likely_days
    true = None if true_days is None else NOW + DAY * true_days
    judge(score, (NOW + DAY * early_days, likely, NOW + DAY * late_days), true, NOW)
    assert score.errors == pytest.approx(errors)
    assert score.covered == covered
    assert score.asked_n == 1


def test_forecast_that_was_not_made_is_asked_and_counts_nowhere() -> None:
    score = Score()
    judge(score, None, NOW + DAY, NOW)
    assert (score.asked_n, score.errors, score.covered) == (1, [], [])
