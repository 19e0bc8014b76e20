"""One circuit's pump: its strokes, what it leaked at rest, and how long that says anything of now."""

import numpy as np
import pytest

from monitor.core.leak_pump import (
    RESTED_LATELY_S,
    PumpTrack,
    infer,
    lowest_kpa,
    rate_at_lowest,
    rate_at_rest,
    rested,
    started,
    stopped,
)
from monitor.core.readings import Pump

RATE = (0.02, 1e-6)


def strokes(*starts_s, ran_s=5.0, low_kpa=60.0, top_kpa=64.0, reported=Pump.OFF):
    track = PumpTrack(reported=reported)
    for start_s in starts_s:
        started(track, low_kpa, start_s, RATE)
        stopped(track, top_kpa, start_s + ran_s)
    return track


def test_lowest_of_a_rest_is_that_of_its_last_ten_seconds():
    track = PumpTrack()
    assert (lowest_kpa(track, 61.0), rate_at_lowest(track)) == (61.0, None)
    for now_s, kpa, rate in [(0.0, 59.0, (0.01, 1e-6)), (5.0, 60.0, (0.02, 1e-6)), (10.0, 60.5, None)]:
        rested(track, kpa, now_s, rate)
    assert (lowest_kpa(track, 61.0), rate_at_lowest(track)) == (59.0, (0.01, 1e-6))
    rested(track, 60.7, 10.1, (0.03, 1e-6))
    assert (lowest_kpa(track, 61.0), rate_at_lowest(track)) == (60.0, (0.02, 1e-6))
    rested(track, 59.5, 10.2, (0.04, 1e-6))
    assert (lowest_kpa(track, 61.0), rate_at_lowest(track)) == (59.5, (0.04, 1e-6))
    track.doubted = True
    started(track, 60.0, 11.0, None)
    assert (track.running, track.began_s, track.low_kpa) == (True, 11.0, 60.0)
    assert not track.doubted
    assert (lowest_kpa(track, 61.0), rate_at_lowest(track)) == (61.0, None)


@pytest.mark.parametrize(
    ("low_kpa", "after_s", "reported", "goes_on"),
    [
        (62.5, 11.9, None, True),  # in the upper half of the last one, within twelve seconds of its end
        (61.5, 11.9, None, False),
        (62.0, 11.9, None, False),  # just half way
        (62.5, 12.0, None, False),
        (62.5, 5.0, Pump.ON, False),  # a pump that reports says itself when it starts
    ],
)
def test_stroke_that_begins_high_and_soon_after_the_last_is_the_last_going_on(low_kpa, after_s, reported, goes_on):
    track = strokes(100.0, ran_s=5.0, low_kpa=60.0, top_kpa=64.0, reported=reported)
    started(track, low_kpa, 105.0 + after_s, None)
    stopped(track, 66.0, 130.0)
    assert track.lows_kpa == ([60.0] if goes_on else [60.0, low_kpa])
    assert track.starts_s == ([100.0] if goes_on else [100.0, 105.0 + after_s])
    assert (track.top_kpa, track.ended_s) == (66.0, 130.0)


def test_leak_at_rest_is_kept_with_its_time_and_not_forgotten_by_a_stroke_that_shows_none():
    track = PumpTrack()
    started(track, 60.0, 100.0, RATE)
    assert (track.off_rate, track.off_at_s) == (RATE, 100.0)
    stopped(track, 64.0, 105.0)
    started(track, 60.0, 200.0, None)
    assert (track.off_rate, track.off_at_s) == (RATE, 100.0)


@pytest.mark.parametrize(("ago_s", "known"), [(RESTED_LATELY_S, True), (RESTED_LATELY_S + 0.1, False)])
def test_pump_that_runs_on_or_rests_too_shortly_may_cover_a_leak_that_is_new(ago_s, known):
    track = PumpTrack()
    started(track, 60.0, 100.0, RATE)
    assert (rate_at_rest(track, 100.0 + ago_s) is not None) is known
    for starts_s in range(110, 200, 10):  # none of these rests tells what it leaked
        stopped(track, 64.0, starts_s - 5.0)
        started(track, 60.0, starts_s, None)
    assert (rate_at_rest(track, 100.0 + ago_s) is not None) is known
    stopped(track, 64.0, 100.0 + ago_s)
    assert track.off_rate == (RATE if known else None)


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
        ((1000.0, 1100.0), 1350.0, True),
        ((1000.0, 1100.0), 1350.1, False),
    ],
)
def test_pump_comes_and_goes_by_itself_while_it_came_lately(starts_s, now_s, cycling):
    assert strokes(*starts_s).cycling(now_s) is cycling


def seen(track, *kpa, expected_kpa=60.0, sd_kpa=0.05, from_s=0.0, noise_kpa=0.05):
    return [
        infer(track, value, from_s + number, expected_kpa, sd_kpa, noise_sd_kpa=noise_kpa)
        for number, value in enumerate(kpa)
    ]


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
        ((61.0, 61.1, 61.195), [None, None, None]),  # over both, 0.06 kPa/s and the noise of a difference: 0.191 kPa
        ((61.0, 61.1, 61.185), [None, None, False]),
    ],
)
def test_stroke_is_over_once_two_in_turn_show_no_rise(kpa, turns):
    track = PumpTrack(running=True)
    assert seen(track, *kpa, sd_kpa=5.0) == turns  # how well it can be foreseen does not matter


def test_stroke_on_a_noisy_gauge_is_followed_to_its_end():
    """0.28 kPa/s with a noise of 0.13 kPa in a second's readings."""
    track = PumpTrack(running=True)
    noise = 0.13 * np.random.default_rng(7).standard_normal(25)
    rise = np.concatenate((0.28 * np.arange(20), np.full(5, 0.28 * 19)))
    turns = seen(track, *(61.0 + rise + noise), noise_kpa=0.13)
    assert turns.index(False) in (20, 21, 22)


@pytest.mark.parametrize(
    ("low_kpa", "waited_s", "one"),
    [
        (66.0, 20.0, True),  # 1 kPa above where the last was thought to end: nothing rested between them
        (65.7, 20.0, False),  # as much as a swing does from one side to the other
        (65.6, 20.0, False),
        (63.5, 20.0, False),
        (63.5, 11.0, True),  # in its upper half, within seconds
        (62.4, 11.0, False),
    ],
)
def test_stroke_that_goes_on_where_the_last_seemed_to_end_is_the_same_stroke(low_kpa, waited_s, one):
    track = PumpTrack()
    started(track, 60.0, 0.0, (0.02, 1e-6))
    stopped(track, 65.0, 10.0)
    started(track, low_kpa, 10.0 + waited_s, (-0.2, 1e-6))
    assert (track.low_kpa, track.began_s) == ((60.0, 0.0) if one else (low_kpa, 10.0 + waited_s))
    assert track.off_rate == ((0.02, 1e-6) if one else (-0.2, 1e-6)), "what lies between is no rest"


@pytest.mark.parametrize(
    ("noise_kpa", "lifted_kpa", "shows"), [(0.05, 0.69, False), (0.05, 0.71, True), (0.2, 1.1, False), (0.2, 1.2, True)]
)
def test_slow_stroke_that_is_taken_for_a_swing_shows_once_it_is_higher_than_any_swing(noise_kpa, lifted_kpa, shows):
    """From one side of a swing to the other are 0.7 kPa, or four standard deviations of a difference."""
    track = PumpTrack()
    rested(track, 60.0, 0.0, None)
    high = 60.0 + lifted_kpa
    assert seen(track, high, high, expected_kpa=high, sd_kpa=1.0, noise_kpa=noise_kpa)[-1] is (True if shows else None)


def test_rise_worth_naming_is_by_the_second():
    """At 0.06 kPa/s and the noise of a difference, 0.31 kPa in four seconds."""
    for rise_kpa, goes_on in ((0.16, True), (0.15, False)):
        track = PumpTrack(running=True)
        told = [infer(track, 61.0 + rise_kpa * n, 2.0 * n, 60.0, 0.05, noise_sd_kpa=0.05) for n in range(3)]
        assert told == [None, None, None if goes_on else False]


@pytest.mark.parametrize(("rise_kpa", "goes_on"), [(0.06, True), (0.0599, False)])
def test_stroke_on_a_gauge_without_noise_goes_on_while_it_rises_by_so_much_in_a_second(rise_kpa, goes_on):
    track = PumpTrack(running=True)
    told = [infer(track, rise_kpa * n, float(n), 0.0, 0.05, noise_sd_kpa=0.0) for n in range(3)]
    assert told == [None, None, None if goes_on else False]


def test_each_stroke_and_each_rest_must_show_twice_anew():
    track = PumpTrack()
    assert seen(track, 60.5, 60.5) == [None, True]
    track.running = True
    assert seen(track, 60.5, 60.5, from_s=2.0) == [None, False]
    track.running = False
    assert seen(track, 60.5, 60.0, from_s=4.0) == [None, None]
    track.running = True
    assert seen(track, 60.0, 61.0, from_s=6.0) == [None, None]
