"""Since when, how often, and how long a silence may be: the arithmetic every fold shares."""

import pytest

from monitor.core.timing import is_irregular, lasted, learned, since, stale_after_s


@pytest.mark.parametrize(
    ("since_s", "holds", "told_s"),
    [(None, True, 9.0), (4.0, True, 4.0), (0.0, True, 0.0), (4.0, False, None), (None, False, None)],
)
def test_what_holds_keeps_its_beginning_and_what_does_not_has_none(
    since_s: float | None, holds: bool, told_s: float | None
) -> None:
    assert since(since_s, holds, 9.0) == told_s


@pytest.mark.parametrize(
    ("since_s", "now_s", "told"), [(None, 99.0, False), (4.0, 8.9, False), (4.0, 9.0, True), (0.0, 5.0, True)]
)
def test_something_has_lasted_from_its_last_second_on(since_s: float | None, now_s: float, told: bool) -> None:
    assert lasted(since_s, 5.0, now_s) is told


@pytest.mark.parametrize(
    ("interval_s", "stale_s"),
    [(None, 3.0), (0.1, 3.0), (0.8, 3.0), (1.0, 3.5), (4.0, 14.0), (6.0, 20.0), (60.0, 20.0)],
)
def test_silence_means_something_after_three_seconds_or_three_and_a_half_intervals_and_twenty_at_most(
    interval_s: float | None, stale_s: float
) -> None:
    """Rule 1 of the design."""
    assert stale_after_s(interval_s) == stale_s


@pytest.mark.parametrize(
    ("times_s", "gaps_s", "interval_s"),
    [
        ((1.0,), (), None),
        ((1.0, 2.0), (1.0,), None),  # one gap is no habit
        ((1.0, 2.0, 4.0), (1.0, 2.0), 2.0),  # of two the longer: the cautious one
        ((1.0, 2.0, 3.0, 13.0), (1.0, 1.0, 10.0), 1.0),  # lost readings hardly move it
        ((1.0, 1.0, 2.0), (1.0,), None),  # told twice at once is no gap
        ((5.0, 4.0, 6.0), (2.0,), None),
        ((0.0, *range(10, 21)), (1.0,) * 9, 1.0),  # nine are kept
    ],
)
def test_interval_is_learned_as_the_middle_of_the_last_gaps(
    times_s: tuple[float, ...], gaps_s: tuple[float, ...], interval_s: float | None
) -> None:
    kept_s: tuple[float, ...] = ()
    last_s, told_s = None, None
    for at_s in times_s:
        kept_s, told_s = learned(kept_s, last_s, at_s)
        last_s = at_s
    assert kept_s == gaps_s
    assert told_s == interval_s


@pytest.mark.parametrize(
    ("gaps_s", "told"),
    [
        ((1.0,) * 9, False),
        ((1.0,) * 7 + (9.0, 9.0), False),  # two lost readings
        ((1.0,) * 6 + (1.5,) * 3, False),
        ((1.0,) * 6 + (1.6,) * 3, True),
        ((0.1, 0.1, *[1.0] * 7), False),  # two that came in a burst
        ((0.1, 0.1, 0.1, *[1.0] * 6), True),
        ((0.1, 0.1, 0.1, *[1.0] * 5), False),  # too few to say
    ],
)
def test_readings_are_irregular_where_three_gaps_are_half_as_long_again_as_three_others(
    gaps_s: tuple[float, ...], told: bool
) -> None:
    assert is_irregular(gaps_s) is told
    assert is_irregular(gaps_s[::-1]) is told
