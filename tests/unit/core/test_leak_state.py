"""From when on a circuit's rate is told, and for how long it stays so."""

import math
from dataclasses import replace

import pytest

from monitor.core.leak_blocks import Block
from monitor.core.leak_project import RateQuantiles
from monitor.core.leak_state import CircuitTrack, known, known_rate, shown, spaced

PER_MIN = 1.0 / 60.0


def track(*, sd_per_min=0.1, middle_per_min=0.0, age_s=8.0, **changes):
    """A circuit whose stretch began at 100 s, its rate known to so much."""
    points = (middle_per_min + at * sd_per_min for at in (-1.6, -1.0, 0.0, 1.0, 1.6))
    made = CircuitTrack("A", begun_s=100.0, block=Block(100.0 + age_s, 62.0, 1e-4, 1e-4))
    made.quantiles = RateQuantiles(*(point * PER_MIN for point in points))
    for name, value in changes.items():
        setattr(made, name, value)
    return made


@pytest.mark.parametrize(
    ("sd_per_min", "middle_per_min", "age_s", "told"),
    [
        (0.24, 0.0, 8.0, True),
        (0.24, 0.0, 7.9, False),
        (0.26, 0.0, 100.0, False),  # a quarter of a kPa a minute
        (0.26, 1.0, 8.0, True),  # or three tenths of itself
        (0.31, 1.0, 8.0, False),
        (0.29, -1.0, 8.0, True),
        (0.59, 2.0, 8.0, True),
        (0.61, 2.0, 8.0, False),
    ],
)
def test_rate_has_shown_after_eight_seconds_if_it_is_known_well_enough(sd_per_min, middle_per_min, age_s, told):
    assert shown(track(sd_per_min=sd_per_min, middle_per_min=middle_per_min, age_s=age_s)) is told


@pytest.mark.parametrize("lacking", ["quantiles", "begun_s", "block"])
def test_what_was_not_seen_has_not_shown(lacking):
    assert shown(track())
    assert not shown(track(**{lacking: None}))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"known_of_s": 100.0}, True),
        ({"known_of_s": 90.0}, False),  # that was another stretch
        ({"known_of_s": None}, False),
        ({"known_of_s": None, "begun_s": None}, False),
        ({"known_of_s": 100.0, "quantiles": None}, False),
        ({"known_of_s": 100.0, "sd_per_min": 9.0}, True),  # it stays told, its bounds widen
    ],
)
def test_rate_stays_told_for_its_stretch(changes, told):
    assert known(track(**changes)) is told


@pytest.mark.parametrize(("heard_again_s_ago", "told"), [(0.0, False), (1.9, False), (2.0, True), (50.0, True)])
def test_rate_is_told_again_two_seconds_after_a_pause(heard_again_s_ago, told):
    one = track(known_of_s=100.0)
    one.resumed_s = one.block.at_s - heard_again_s_ago
    assert known(one) is told


@pytest.mark.parametrize(
    ("spacing_s", "waited_s", "paused"),
    [
        (0.25, 3.0, False),
        (0.25, 3.1, True),
        (1.0, 3.5, False),
        (1.0, 3.6, True),
        (4.0, 13.9, False),  # a slow gauge is waited for by its own pace
        (4.0, 14.1, True),
    ],
)
def test_pause_is_longer_than_three_and_a_half_times_the_usual(spacing_s, waited_s, paused):
    one = track(known_of_s=100.0)
    one.spacing_s = spacing_s
    later = replace(one.block, at_s=one.block.at_s + waited_s)
    spaced(one, later)
    assert one.resumed_s == (later.at_s if paused else -math.inf)
    assert one.spacing_s == pytest.approx(spacing_s + 0.1 * (waited_s - spacing_s))


def test_first_block_of_all_comes_after_no_pause():
    one = CircuitTrack("A")
    spaced(one, track().block)
    assert (one.resumed_s, one.spacing_s) == (-math.inf, 1.0)


def test_rate_that_is_told_is_known_by_its_mean_and_variance():
    found = known_rate(track(sd_per_min=0.1, middle_per_min=2.0, known_of_s=100.0))
    assert found == pytest.approx((2.0 * PER_MIN, (0.1 * PER_MIN) ** 2))


@pytest.mark.parametrize(
    "changes", [{"known_of_s": None}, {"known_of_s": 50.0}, {"known_of_s": 100.0, "quantiles": None}]
)
def test_rate_that_is_not_told_is_not_known(changes):
    assert known_rate(track(**changes)) is None
