"""What a block of a coarse gauge says, case by case, and how its noise is weighed: tables, scipy and sums by hand."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from monitor.core import leak_stairs
from monitor.core.leak_stairs import Stairs, say
from tests.unit.core.leak_signals import RATIOS, noise_known

HARD, SOFT = 0.03, 0.27
TEN = [1.0 + 0.1 * n for n in range(10)]
OF_TEN, SD_OF_TEN = 1.539, 0.587  # mean and standard deviation of the largest of ten normal values (tables)


def gauge(ratio=HARD, *, stood_s=0.0, said_s=0.0):
    """A gauge that has stood since, its noise known to be 0.03 (hard) or 0.27 (soft) of its quantum."""
    made = Stairs(stood_s=stood_s, said_s=said_s)
    noise_known(made, ratio)
    return made


def said(stairs, values, *, times=TEN, before=(0.9, 60.0), quantum_kpa=1.0):
    return say(stairs, times[: len(values)], values, before, quantum_kpa)


def close_to(told, at_s, kpa, var_kpa2, half_kpa, *, new=True):
    assert tuple(told[:4]) == pytest.approx((at_s, kpa, var_kpa2, half_kpa), abs=1e-9)
    assert told.new is new


# --- the first block


@pytest.mark.parametrize(
    ("values", "kpa", "half_kpa"),
    [([60.0] * 10, 60.0, 0.5), ([60.0] * 5 + [61.0] * 5, 60.5, 1.0), ([60.0] * 9 + [62.0], 61.0, 1.5)],
)
def test_first_block_lies_anywhere_within_half_a_quantum_of_what_was_read(values, kpa, half_kpa):
    stairs = gauge(stood_s=None)
    close_to(said(stairs, values), 1.45, kpa, (SD_OF_TEN * 0.03) ** 2, half_kpa)
    assert stairs.stood_s == stairs.said_s == TEN[-1]


@pytest.mark.parametrize(("n", "sd"), [(1, 1.0), (2, 0.826), (4, 0.7085), (10, 0.587), (15, 0.556)])
def test_sides_are_softer_the_fewer_the_readings(n, sd):
    times = [0.1 * k for k in range(n)]
    told = said(gauge(stood_s=None), [60.0] * n, times=times, quantum_kpa=0.5)
    assert told.var_kpa2 == pytest.approx((sd * 0.015) ** 2)
    assert (told.half_kpa, told.at_s) == (0.25, pytest.approx(sum(times) / n))


# --- values that mix


def test_values_further_apart_than_a_step_are_told_by_their_mean():
    values = [60.0] * 4 + [61.0] * 2 + [62.0] * 4
    close_to(said(gauge(SOFT), values), 1.45, 61.0, (0.27**2 + 1.0 / 12.0) / 10.0, 0.0)
    close_to(said(gauge(SOFT), [60.0, 62.0], quantum_kpa=1.0), 1.05, 61.0, (0.27**2 + 1.0 / 12.0) / 2.0, 0.0)


@pytest.mark.parametrize("low_n", [1, 3, 5, 8])
def test_shares_of_two_values_say_how_far_the_edge_between_them_is(low_n):
    """The edge is where half would be low; so many scatters off it for another share; doubt as of a share of ten."""
    values = [60.0, 61.0] * min(low_n, 10 - low_n)
    values += [60.0 if low_n > 5 else 61.0] * (10 - len(values))
    share = (low_n + 0.5) / 11.0
    z = norm.ppf(share)
    var = 0.27**2 * share * (1.0 - share) / (10.0 * norm.pdf(z) ** 2) + 0.03**2
    stairs = gauge(SOFT)
    told = said(stairs, values)
    assert (told.at_s, told.half_kpa, told.new) == (pytest.approx(1.45), 0.0, True)
    assert told.kpa == pytest.approx(60.5 - 0.27 * z, abs=2e-4)
    assert told.var_kpa2 == pytest.approx(var, rel=2e-3)
    assert stairs.stood_s == stairs.said_s == TEN[-1]


@pytest.mark.parametrize(
    ("values", "at_s"),
    [([60.0] * 3 + [61.0] * 7, 1.25), ([61.0] * 8 + [60.0] * 2, 1.75), ([60.0] + [61.0] * 9, 1.05)],
)
def test_clean_step_of_a_hard_gauge_was_at_the_edge_at_its_instant(values, at_s):
    told = said(gauge(), values)
    assert (told.at_s, told.kpa) == (pytest.approx(at_s), 60.5)
    assert said(gauge(SOFT), values).at_s == pytest.approx(1.45)  # a soft one only mixes


def test_hard_gauge_that_goes_to_and_fro_mixes():
    told = said(gauge(), [60.0, 61.0] * 5)
    assert (told.at_s, told.kpa) == (pytest.approx(1.45), pytest.approx(60.5))


@pytest.mark.parametrize(
    ("values", "place"),
    [([60.0, 60.0, 61.0], 2), ([60.0, 61.0, 60.0], None), ([60.0, 60.0], None), ([60.0, 60.0 + 1e-7], None)],
)
def test_one_change_of_value_is_a_clean_step(values, place):
    assert leak_stairs._switch(values) == place


# --- values that stand


def test_soft_gauge_says_the_same_with_every_block_and_its_sides_lie_inwards():
    """Of five readings the largest noise was some 1.163 scatters (tables): so far the vacuum is from either edge."""
    soft = 0.27 * 0.669
    for stood in (60.0, 59.0):
        close_to(said(gauge(SOFT), [60.0] * 5, before=(0.9, stood)), 1.2, 60.0, soft**2, 0.5 - 1.163 * 0.27)


def test_box_is_never_narrower_than_a_tenth_of_the_quantum():
    times = [0.02 * n for n in range(50)]
    assert said(gauge(0.48), [60.0] * 50, times=times).half_kpa == 0.1


@pytest.mark.parametrize(("step_kpa", "box"), [(1.0, False), (-1.0, False), (1.5, False), (2.0, True), (-2.0, True)])
def test_hard_gauge_that_stepped_between_blocks_was_at_the_edge_between_them(step_kpa, box):
    stairs = gauge()
    told = said(stairs, [60.0] * 10, before=(0.6, 60.0 - step_kpa))
    if box:
        close_to(told, 1.45, 60.0, (SD_OF_TEN * 0.03) ** 2, 0.5 - OF_TEN * 0.03)
    else:
        close_to(told, 0.8, 60.0 - 0.5 * step_kpa, 1.6 * 0.03**2 + 0.03**2, 0.0)
    assert stairs.stood_s == stairs.said_s == TEN[-1]


@pytest.mark.parametrize(
    ("stood_for_s", "said_at_s", "new"),
    [
        (3.9, 0.0, False),  # four seconds at first
        (4.0, 0.0, True),
        (5.9, 4.0, False),  # then half as long again
        (6.0, 4.0, True),
        (5.5, 4.7, False),
        (4.5, 3.0, True),
        (59.9, 40.0, False),
        (60.0, 40.0, True),
        (259.9, 200.0, False),  # but once a minute
        (260.0, 200.0, True),
    ],
)
def test_hard_gauge_that_stands_says_so_ever_more_seldom(stood_for_s, said_at_s, new):
    now_s = 1000.0 + stood_for_s
    stairs = gauge(stood_s=1000.0, said_s=1000.0 + said_at_s)
    told = said(stairs, [60.0] * 3, times=[now_s - 0.2, now_s - 0.1, now_s])
    close_to(told, now_s, 60.0, 0.03**2, 0.5, new=new)
    assert stairs.said_s == (now_s if new else 1000.0 + said_at_s)
    assert stairs.stood_s == 1000.0


@pytest.mark.parametrize("ratio", [HARD, SOFT])
@pytest.mark.parametrize("quantum_kpa", [0.25, 2.0])
@pytest.mark.parametrize(
    ("steps", "before"),
    [
        ([0] * 10, 0),
        ([0] * 10, -1),
        ([0] * 10, -2),
        ([0] * 3 + [1] * 7, 0),
        ([0, 1] * 5, 0),
        ([0] * 4 + [1] * 3 + [2] * 3, 0),
        ([0] * 9 + [2], 0),
        ([0] * 50, 0),
    ],
)
def test_gauge_of_another_quantum_says_the_same_in_its_own_steps(steps, before, quantum_kpa, ratio):
    told = []
    for size in (quantum_kpa, 1.0):
        values = [60.0 + size * step for step in steps]
        times = [1.0 + 0.1 * n for n in range(len(steps))]
        told.append(said(gauge(ratio), values, times=times, before=(0.9, 60.0 + size * before), quantum_kpa=size))
    own, unit = told
    assert (own.at_s, own.new) == (unit.at_s, unit.new)
    assert (own.kpa - 60.0) / quantum_kpa == pytest.approx(unit.kpa - 60.0)
    assert (own.half_kpa / quantum_kpa, own.var_kpa2 / quantum_kpa**2) == pytest.approx((unit.half_kpa, unit.var_kpa2))


# --- how noisy it is


def test_noise_is_the_root_of_the_mean_square_of_what_it_may_be():
    made = Stairs()
    assert made.ratio == pytest.approx(math.sqrt(np.mean(np.square(RATIOS))))
    made.weigh(np.log([1e-30, 1e-30, 1.0, 1.0, 2.0, 1e-30, 1e-30, 1e-30]))
    assert made.ratio == pytest.approx(math.sqrt((0.01 + 0.0225 + 2.0 * 0.04) / 4.0))


@pytest.mark.parametrize(
    ("weights", "least", "most"),
    [
        ([1e-30, 1e-30, 1.0, 1.0, 2.0, 1e-30, 1e-30, 1e-30], 0.1, 0.2),
        ([0.02, 0.02, 0.02, 0.03, 0.02, 0.70, 0.185, 0.005], 0.2, 0.36),  # a tenth lies below, a hundredth above
        ([0.09, 0.02, 0.1, 0.1, 0.1, 0.1, 0.14, 0.35], 0.06, 0.48),
    ],
)
def test_noise_is_not_unlikely_between_a_tenth_and_a_hundredth_of_what_it_may_be(weights, least, most):
    made = Stairs()
    made.weigh(np.log(weights))
    assert made.not_unlikely == (made.ratio, made.ratio), "nothing is learned"
    made.learned = True
    made.weigh(np.log(weights))
    assert made.not_unlikely == (least, most)


@pytest.mark.parametrize(("n", "hard"), [(1, False), (3, True), (50, True)])
def test_gauge_is_hard_by_the_most_noise_that_is_not_unlikely(n, hard):
    """0.06 of its step at most: of three readings the largest scatters by 0.045 of it."""
    made = gauge(0.03)
    made.learned = True
    made.weigh(np.log([0.95, 0.05, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9, 1e-9]))
    assert said(made, [60.0] * n, times=[1.0 + 0.01 * k for k in range(n)]).new is not hard


@pytest.mark.parametrize(("ratio", "blurred"), [(0.36, False), (0.48, True)])
def test_noise_of_over_four_tenths_hides_the_stairs(ratio, blurred):
    assert gauge(ratio).blurred is blurred


@pytest.mark.parametrize("share", [0.001, 0.3, 0.5, 0.51, 0.9])
def test_point_of_the_normal_distribution_is_within_what_its_source_says(share):
    assert leak_stairs.normal_point(share) == pytest.approx(norm.ppf(share), abs=4.5e-4)
