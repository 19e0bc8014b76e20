"""One circuit's pump: its strokes, what it leaked at rest, and how long that says anything of now."""

import pytest

from monitor.core.leak_pump import RESTED_LATELY_S, PumpTrack, infer, rate_at_rest, started, stopped

RATE = (0.02, 1e-6)


def strokes(*starts_s, ran_s=5.0, low_kpa=60.0):
    track = PumpTrack()
    for start_s in starts_s:
        track.calm_kpa = low_kpa
        started(track, 60.4, start_s, RATE)
        stopped(track)
    return track


def test_stroke_begins_where_the_vacuum_stood_before_the_pump_showed():
    track = PumpTrack(calm_kpa=59.8)
    started(track, 60.4, 100.0, None)
    assert (track.running, track.running_since_s, track.low_kpa, track.calm_kpa) == (True, 100.0, 59.8, None)
    again = PumpTrack()
    started(again, 60.4, 100.0, None)
    assert again.low_kpa == 60.4


def test_leak_at_rest_is_kept_with_its_time_and_not_forgotten_by_a_stroke_that_shows_none():
    track = PumpTrack()
    started(track, 60.0, 100.0, RATE)
    assert (track.off_rate, track.off_at_s) == (RATE, 100.0)
    stopped(track)
    started(track, 60.0, 200.0, None)
    assert (track.off_rate, track.off_at_s) == (RATE, 100.0)


@pytest.mark.parametrize(("ran_s", "known"), [(RESTED_LATELY_S, True), (RESTED_LATELY_S + 0.1, False)])
def test_pump_that_runs_on_may_cover_a_leak_that_is_new(ran_s, known):
    track = PumpTrack()
    started(track, 60.0, 100.0, RATE)
    assert (rate_at_rest(track, 100.0 + ran_s) is not None) is known
    stopped(track)
    assert rate_at_rest(track, 9999.0) == RATE


def test_last_six_strokes_are_kept_with_where_and_when_they_began():
    track = strokes(*range(0, 800, 100))
    assert track.starts_s == [200, 300, 400, 500, 600, 700]
    assert track.lows_kpa == [60.0] * 6
    assert not track.running


@pytest.mark.parametrize(
    ("starts_s", "now_s", "cycling"),
    [
        ((0.0,), 10.0, False),  # once is no habit
        ((0.0, 100.0), 350.0, True),
        ((0.0, 100.0), 350.1, False),  # two and a half of its periods ago
        ((0.0, 50.0, 200.0), 450.0, True),
        ((0.0, 50.0, 200.0), 450.1, False),
    ],
)
def test_pump_comes_and_goes_by_itself_while_it_came_lately(starts_s, now_s, cycling):
    assert strokes(*starts_s).cycling(now_s) is cycling


def seen(track, *kpa, expected_kpa=60.0, sd_kpa=0.05, from_s=0.0):
    return [infer(track, value, from_s + number, expected_kpa, sd_kpa) for number, value in enumerate(kpa)]


@pytest.mark.parametrize(
    ("kpa", "sd_kpa", "turns"),
    [
        ((60.0, 60.31, 60.6), 0.05, [None, None, True]),
        ((60.0, 60.29, 60.29), 0.05, [None, None, None]),  # under 0.3 kPa
        ((60.0, 60.39, 60.39), 0.1, [None, None, None]),  # and under four standard deviations
        ((60.0, 60.41, 60.41), 0.1, [None, None, True]),
        ((60.0, 65.0, 60.0, 65.0), 0.05, [None, None, None, None]),  # one wild value is no stroke
    ],
)
def test_pump_that_does_not_report_shows_by_two_rises(kpa, sd_kpa, turns):
    assert seen(PumpTrack(), *kpa, sd_kpa=sd_kpa) == turns


@pytest.mark.parametrize(
    ("kpa", "turns"),
    [
        ((61.0, 61.2, 61.4, 61.6), [None, None, None, None]),
        ((61.0, 61.2, 61.25, 61.25), [None, None, None, False]),  # twice no rise worth naming: it rests
        ((61.0, 61.2, 61.2, 61.4, 61.4, 61.4), [None, None, None, None, None, False]),
        ((61.0, 61.115, 61.23), [None, None, None]),  # 0.06 kPa/s and one standard deviation
        ((61.0, 61.1, 61.2), [None, None, False]),
    ],
)
def test_stroke_is_over_once_two_in_turn_show_no_rise(kpa, turns):
    track = PumpTrack(running=True)
    assert seen(track, *kpa) == turns
