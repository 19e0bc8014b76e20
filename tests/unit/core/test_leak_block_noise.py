"""How a gauge's noise and quantum are learned from its readings, worked out by hand."""

import math

import pytest

from monitor.core.leak_blocks import Gatherer
from tests.unit.core.test_leak_one_block import closed, ready


@pytest.mark.parametrize(
    ("third", "at_s", "square"),
    [
        (60.3, 5.2, 0.3**2 / 6.0),  # 60, 60, 60.3 at even times: (0.15)² over 1.5
        (59.7, 5.2, 0.3**2 / 6.0),
        (60.3, 5.4, (0.3 * 0.25) ** 2 / (1.0 + 0.25**2 + 0.75**2)),
    ],
)
def test_noise_follows_how_far_a_reading_is_from_the_line_through_its_neighbours(third, at_s, square):
    gatherer = ready(noise_kpa=0.05, tail=[(5.0, 60.0), (5.1, 60.0)])
    closed(gatherer, third, from_s=at_s)
    assert gatherer.noise_var == pytest.approx(0.05**2 + (min(square, 7.0 * 0.05**2) - 0.05**2) / 240.0)
    assert gatherer.noise_n == 1001
    assert gatherer.tail == [(5.1, 60.0), (at_s, third)]
    assert gatherer.steps_kpa[-1] == pytest.approx(0.3)
    wild = ready(noise_kpa=0.05, tail=[(5.0, 60.0), (5.1, 60.0)])
    closed(wild, 95.0, from_s=5.2)
    assert wild.noise_var == pytest.approx(0.05**2 * (1.0 + 6.0 / 240.0))
    early = ready(noise_kpa=0.05, noise_n=40, tail=[(5.0, 60.0), (5.1, 60.0)])
    closed(early, 95.0, from_s=5.2)
    assert early.noise_var == pytest.approx(0.05**2 * (1.0 + 6.0 / 41.0))


def test_noise_of_the_first_readings_is_their_mean_square_but_for_the_largest():
    """Squares of 1, 2, 4 and 100 times 0.01: the largest of four is left out, and the rest taken a quarter larger."""
    gatherer = ready(noise_n=0, steps_kpa=[], tail=[], decimal_kpa=0.0)
    gatherer.first = [0.01, 0.02, 1.0]
    gatherer.tail, gatherer.noise_n = [(0.0, 60.0), (0.1, 60.0)], 3
    closed(gatherer, 60.0 + math.sqrt(0.24), from_s=0.2)  # 0.24/6 = 0.04
    assert gatherer.first[-1] == pytest.approx(0.04)
    assert gatherer.noise_var == pytest.approx(1.25 * (0.01 + 0.02 + 0.04) / 3.0)


def test_noise_is_never_taken_for_nothing():
    gatherer = ready(noise_kpa=1e-3, tail=[(0.0, 60.0), (0.1, 60.0)])
    closed(gatherer, *[60.0] * 5, from_s=0.2)
    assert gatherer.noise_var == 1e-6
    first = ready(noise_n=0, tail=[(0.0, 60.0), (0.1, 60.0)])
    closed(first, 60.0, from_s=0.2)
    assert first.noise_var == 1e-6


def test_last_twenty_four_steps_are_kept_and_standing_is_counted():
    gatherer = ready(tail=[(0.0, 60.0), (0.1, 60.0)], steps_kpa=[])
    closed(gatherer, *[60.0 + 0.01 * n * n for n in range(1, 31)], from_s=0.2)
    assert len(gatherer.steps_kpa) == 24
    assert (gatherer.steps_kpa[0], gatherer.steps_kpa[-1]) == pytest.approx((0.13, 0.59))
    assert gatherer.stood_n == 0
    closed(gatherer, 69.0, 69.0, 69.0, from_s=9.0)
    assert gatherer.stood_n == 3


@pytest.mark.parametrize(
    ("steps_kpa", "decimal_kpa", "stood_n", "coarsest_kpa", "quantum_kpa"),
    [
        ([0.1, 0.1, 0.2], 0.05, 0, 1.0, 0.1),
        ([0.2, 0.2, 0.3, 0.5], 1.0, 0, 1.0, 0.1),  # half of the second least
        ([0.3, 0.3, 0.4, 0.5], 1.0, 0, 1.0, 0.1),  # a third of it
        ([0.05, 0.1, 0.25, 0.35], 0.05, 0, 1.0, 0.05),
        ([0.4, 0.7, 1.1, 1.3], 0.1, 0, 1.0, 0.1),  # that of the first value
        ([0.0123, 0.0371, 0.0519, 0.0822], 0.0, 0, 1.0, 0.0),
        ([1.0, 1.0, 2.0], 0.0, 0, 0.5, 0.5),
        ([2.0, 2.0, 4.0], 0.0, 0, 1.0, 1.0),  # no coarser than the coarsest
        ([2.5, 2.5, 7.5], 1.0, 0, 0.5, 0.5),  # each over four of its quanta: no more than that it is no coarser
        ([1.01, 1.01, 2.02], 0.0, 0, 1.0, 1.01),
        ([0.1, 0.1], 0.5, 9, 1.0, 0.1),  # too few steps to say but that it is no coarser
        ([4.5, 4.5, 12.0, 12.0], 1.0, 99, 1.0, 0.5),  # wild values lie on its steps too
        ([4.51, 4.51, 12.0, 12.0], 1.0, 99, 1.0, 0.01),
        ([4.517, 4.517, 12.0, 12.0], 1.0, 99, 1.0, 1.0),  # or on none
        ([4.517, 4.517, 12.0, 12.0], 1.0, 2, 1.0, 0.0),
        ([], 0.0, 3, 0.7, 0.7),
        ([], 0.0, 2, 0.7, 0.0),
        ([0.1] * 17 + [0.15] * 3, 0.0, 0, 1.0, 0.1),  # 85 % are whole
        ([0.1] * 16 + [0.15] * 4, 0.0, 0, 1.0, 0.05),
        ([0.1, 0.1, 0.1049, 0.0951], 0.0, 0, 1.0, 0.1),
    ],
)
def test_quantum_is_what_most_steps_are_whole_times_of(steps_kpa, decimal_kpa, stood_n, coarsest_kpa, quantum_kpa):
    gatherer = Gatherer(steps_kpa=steps_kpa, decimal_kpa=decimal_kpa, stood_n=stood_n, coarsest_kpa=coarsest_kpa)
    assert gatherer.quantum_kpa == pytest.approx(quantum_kpa)
    gatherer.steps_kpa = [9.0]
    assert gatherer.quantum_kpa == pytest.approx(quantum_kpa)  # until something new has shown


@pytest.mark.parametrize(("value", "anew"), [(60.0, False), (60.2, True)])
def test_quantum_is_looked_for_anew_when_a_reading_moved(value, anew):
    gatherer = ready(quantum_kpa=0.1, rounds_kpa=0.7, tail=[(0.0, 60.0), (0.1, 60.0)])
    closed(gatherer, value, from_s=0.2)
    assert gatherer.quantum_kpa == pytest.approx(0.1 if anew else 0.7)


def first_noise(first, newest, *, quantum_kpa=0.0):
    """Noise after one more of the first readings, its square ``newest``: it bends by the root of six times that."""
    gatherer = ready(quantum_kpa=quantum_kpa, noise_n=len(first), tail=[(5.0, 60.0), (5.1, 60.0)])
    gatherer.first, gatherer.rounds_kpa = list(first), quantum_kpa
    closed(gatherer, 60.0 + math.sqrt(6.0 * newest), from_s=5.2)
    return gatherer.noise_var


@pytest.mark.parametrize(("first_n", "kept_n"), [(1, 1), (3, 3), (4, 3), (7, 6), (9, 7), (14, 11), (19, 15)])
def test_largest_and_every_fifth_of_the_first_squares_are_left_out(first_n, kept_n):
    """Squares of 1, 2, 3 ... times a hundred thousandth: the mean of those kept, a quarter larger."""
    known = [1e-5 * n for n in range(1, first_n + 2)]
    assert first_noise(known[:-1], known[-1]) == pytest.approx(1.25 * sum(known[:kept_n]) / kept_n)


A = 1e-5


@pytest.mark.parametrize(
    ("quantum_kpa", "square", "kept"),
    [
        (0.0, 29.0 * A, True),  # thirty times the middle one
        (0.0, 31.0 * A, False),
        (0.1, 0.022, True),  # or one and a half quanta, squared
        (0.1, 0.023, False),
    ],
)
def test_wild_one_of_the_first_squares_is_left_out(quantum_kpa, square, kept):
    noise = first_noise([0.5 * A, 0.5 * A, 0.5 * A, A, A, square, 1.0], 0.96, quantum_kpa=quantum_kpa)
    rest = 3.5 * A
    assert noise == pytest.approx(1.25 * ((rest + square) / 6.0 if kept else rest / 5.0))


def test_twentieth_reading_is_the_last_of_the_first():
    assert first_noise([4.0 * A] * 19, 4.0 * A) == pytest.approx(5.0 * A)
    assert first_noise([4.0 * A] * 20, 0.05**2) == pytest.approx(0.05**2)  # as it was, and no change


@pytest.mark.parametrize(("steps_n", "anew"), [(2, True), (3, False)])
def test_quantum_is_looked_for_anew_while_few_steps_were_seen(steps_n, anew):
    gatherer = ready(rounds_kpa=0.7, tail=[(0.0, 60.0), (0.1, 60.0)], steps_kpa=[0.1] * steps_n, decimal_kpa=0.5)
    closed(gatherer, 60.0, from_s=0.2)
    assert (gatherer.quantum_kpa == 0.7) is not anew
