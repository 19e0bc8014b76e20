"""The bank of falls against the textbook: matrices for its filters (Kalman 1960), scipy's normal for its weights."""

import copy
import math

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import norm

from monitor.core import leak_bank as banks
from monitor.core.leak_bank import KINDS, P_GROWTH, SLOTS_N, Bank

MIN_S = 60.0
NOW_S = 1000.0
BENT = [number for number, kind in enumerate(KINDS) if kind.bend != 0.0]
POWERS = [number for number, kind in enumerate(KINDS) if kind.bend > 0.0]
(RUNS_AWAY,) = (number for number, kind in enumerate(KINDS) if kind.bend < 0.0)
PLAIN = [number for number, kind in enumerate(KINDS) if kind.bend == 0.0]


def bank_of(rows_n=3, seed=1):
    """A bank whose every hypothesis differs, as after some minutes: covariances are those of three numbers."""
    chance = np.random.default_rng(seed)
    bank = Bank(rows_n, NOW_S)
    shape = bank.log_weight.shape
    bank.state[banks.LEVEL] = 60.0 + chance.normal(0.0, 0.2, shape)
    bank.state[banks.RATE] = chance.normal(0.02, 0.05, shape)
    bank.state[banks.GROWTH] = chance.uniform(0.004, 0.02, shape)
    bank.state[banks.GROWTH, :, :, banks.SETTLING] *= -1.0
    roots = chance.normal(0.0, 1.0, (*shape, 3, 3)) * np.array([0.1, 0.01, 0.002])[:, None]
    spread = roots @ roots.swapaxes(-1, -2)
    for quantity, (one, other) in zip(
        range(banks.P_LEVEL, P_GROWTH + 1), [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)], strict=True
    ):
        bank.state[quantity] = spread[..., one, other]
    weight = chance.uniform(0.1, 1.0, shape)
    bank.log_weight = np.log(weight / weight.sum(axis=(0, 2), keepdims=True))
    bank.base = chance.uniform(0.0, 0.02, shape[:2])
    bank.onset_s = NOW_S - chance.uniform(20.0, 200.0, shape[:2])
    bank.since_s = [NOW_S - 300.0] * rows_n
    bank.born_s = sorted(NOW_S - chance.uniform(0.0, 300.0, SLOTS_N))[::-1]
    return bank


def hypothesis(bank, slot, row, kind):
    """Mean (level, rate, growth) and covariance of one hypothesis."""
    level, rate, growth, ll, lr, lg, rr, rg, gg = bank.state[:, slot, row, kind]
    return np.array([level, rate, growth]), np.array([[ll, lr, lg], [lr, rr, rg], [lg, rg, gg]])


def every(bank):
    return [
        (slot, row, kind) for slot in (0, 7, SLOTS_N - 1) for row in range(bank.rows_n) for kind in range(len(KINDS))
    ]


def same(bank, place, mean, cov):
    found_mean, found_cov = hypothesis(bank, *place)
    assert found_mean == pytest.approx(mean, rel=1e-9, abs=1e-15)
    assert found_cov == pytest.approx(cov, rel=1e-9, abs=1e-15)


SLACK = np.array([[-1e-3, -2e-3, 0.0], [-4e-3, -5e-3, 0.0]])


@pytest.mark.parametrize("dt_s", [0.5, 1.0, 3.0])
def test_prediction_is_that_of_a_linearised_filter(dt_s):
    """Level falls by the reach of the rate and by what was lost before; P' = F P F^T + Q, F by hand from the model.

    Of a rate that goes as (1 + b g t)^(1/b) the growth g goes as g/(1 + b g t).
    """
    bank = bank_of()
    before = copy.deepcopy(bank)
    banks.predict(bank, NOW_S + dt_s, SLACK)
    assert bank.at_s == NOW_S + dt_s
    for place in every(bank):
        slot, row, kind = place
        (level, rate, growth), cov = hypothesis(before, *place)
        law = SLACK[0, row] * (1.0 - KINDS[kind].laminar) + SLACK[1, row] * KINDS[kind].laminar
        change = (growth + law) * dt_s
        bend = KINDS[kind].bend
        grow = 1.0 + change + (1.0 - bend) * change**2 / 2.0  # the law and its integral by their series
        reach = dt_s * (1.0 + change / 2.0 + (1.0 - bend) * change**2 / 6.0)
        slackens = 1.0 + bend * growth * dt_s
        base = before.base[slot, row] if KINDS[kind].based else 0.0
        mean = np.array([level - reach * rate - dt_s * base, grow * rate, growth / slackens])
        by_growth = [-rate * dt_s**2 / 2.0, rate * dt_s * grow / slackens, slackens**-2]
        step = np.array([[1.0, -reach, by_growth[0]], [0.0, grow, by_growth[1]], [0.0, 0.0, by_growth[2]]])
        wander = (0.010 / MIN_S) ** 2 / MIN_S * KINDS[kind].wander + 0.01**2 / MIN_S * mean[1] ** 2
        noise = np.diag([0.0, wander * dt_s, 0.04**2 / MIN_S * mean[2] ** 2 * dt_s])
        same(bank, place, mean, step @ cov @ step.T + noise)


@pytest.mark.parametrize("later_s", [0.0, -1.0])
def test_time_that_does_not_pass_predicts_nothing(later_s):
    bank = bank_of()
    before = copy.deepcopy(bank)
    banks.predict(bank, NOW_S + later_s, SLACK)
    assert bank.at_s == NOW_S
    assert np.array_equal(bank.state, before.state)


def test_fall_that_doubles_in_250_s_has_doubled_after_250_steps():
    bank, growth = Bank(1, 0.0), math.log(2.0) / 250.0
    bank.state[banks.LEVEL], bank.state[banks.RATE], bank.state[banks.GROWTH] = 60.0, 0.01, growth
    bank.onset_s[:] = 0.0
    for second in range(250):
        banks.predict(bank, second + 1.0, np.zeros((2, 1)))
    level, rate = bank.state[banks.LEVEL, 0, 0], bank.state[banks.RATE, 0, 0]
    plain = [kind for kind in PLAIN if kind >= banks.SETTLING.stop]
    assert rate[plain] == pytest.approx(0.02, rel=1e-5)
    assert level[plain] == pytest.approx(60.0 - 0.01 / growth, rel=1e-6)  # integral of a rate from 0.01 to 0.02


@pytest.mark.parametrize("after_s", [60.0, 600.0])
@pytest.mark.parametrize("kind", POWERS)
def test_power_of_the_time_is_followed_from_its_growth(kind, after_s):
    """A rate of 0.01 kPa/s that is c (t/s)^n with n = 1/bend and n/t = g: its value, its growth n/t and its integral later.

    A step is a parabola: exact up to the square, beyond it leaves out no more than the third term of Taylor's series.
    """
    bend = KINDS[kind].bend
    power, growth = 1.0 / bend, 1.0 / 90.0
    left_out = max(1e-6, after_s * (1.0 - bend) * (1.0 - 2.0 * bend) * growth**3 / 6.0)
    bank = Bank(1, 0.0)
    bank.state[banks.LEVEL], bank.state[banks.RATE], bank.state[banks.GROWTH] = 60.0, 0.01, growth
    for second in range(int(after_s)):
        banks.predict(bank, second + 1.0, np.zeros((2, 1)))
    since_s = power / growth
    times = (since_s + after_s) / since_s
    level, rate, found = (bank.state[quantity, 0, 0, kind] for quantity in (banks.LEVEL, banks.RATE, banks.GROWTH))
    assert found == pytest.approx(power / (since_s + after_s))
    assert rate == pytest.approx(0.01 * times**power, rel=left_out)
    lost_kpa = 0.01 * since_s / (power + 1.0) * (times ** (power + 1.0) - 1.0)
    assert level == pytest.approx(60.0 - lost_kpa, rel=1e-6, abs=left_out * lost_kpa)


def test_what_runs_away_is_followed_from_its_growth():
    """A rate of 0.01 kPa/s that goes as one over the time left, 240 s: fourfold with 60 s left, 240 s times ln 4 of it lost."""
    bank = Bank(1, 0.0)
    bank.state[banks.LEVEL], bank.state[banks.RATE], bank.state[banks.GROWTH] = 60.0, 0.01, 1.0 / 240.0
    for second in range(180):
        banks.predict(bank, second + 1.0, np.zeros((2, 1)))
    level, rate, found = (bank.state[one, 0, 0, RUNS_AWAY] for one in (banks.LEVEL, banks.RATE, banks.GROWTH))
    assert found == pytest.approx(1.0 / 60.0)
    assert rate == pytest.approx(0.04, rel=0.002)  # a step is a parabola
    assert level == pytest.approx(60.0 - 2.4 * math.log(4.0), abs=0.002)


@pytest.mark.parametrize("dt_s", [1.0, 20.0, 60.0])
def test_from_45_s_before_its_end_on_what_runs_away_grows_no_faster_and_is_no_less_sure(dt_s):
    bank = bank_of()
    bank.state[banks.GROWTH], bank.state[P_GROWTH] = 1.0 / 45.0, 1e-5
    banks.predict(bank, NOW_S + dt_s, np.zeros((2, 3)))
    assert bank.state[banks.GROWTH, :, :, RUNS_AWAY] == pytest.approx(1.0 / 45.0)
    wander = 0.04**2 / MIN_S / 45.0**2 * dt_s
    assert bank.state[P_GROWTH, :, :, RUNS_AWAY] == pytest.approx(1e-5 + wander)


def test_powers_grow_beyond_measure_at_first_and_never_die():
    bank = bank_of()
    bank.state[banks.GROWTH] = 30.0
    banks.predict(bank, NOW_S + 1e-6, np.zeros((2, 3)))
    assert np.all(bank.state[banks.GROWTH][:, :, POWERS] == 1.0)
    bank.state[banks.GROWTH] = -0.05
    banks.predict(bank, NOW_S + 1.0, np.zeros((2, 3)))
    assert np.all(bank.state[banks.GROWTH][:, :, BENT] == 0.0)


def test_settling_never_ends_up_growing_and_no_growth_leaves_its_bounds():
    bank = bank_of()
    bank.state[banks.GROWTH] = 0.3
    bank.state[banks.P_RATE] = 0.0
    banks.predict(bank, NOW_S + 0.001, np.zeros((2, 3)))
    growth = bank.state[banks.GROWTH]
    assert np.all(growth[:, :, banks.SETTLING] == -1.0 / 500.0)
    assert np.all(growth[:, :, [kind for kind in PLAIN if kind >= banks.SETTLING.stop]] == 0.05)
    assert np.all(bank.state[banks.P_RATE] > 0.0)


def textbook(mean, cov, seen, noise):
    """One update by a measured level, its pull and its squeeze lessened by the chance that the block is wild."""
    spread = cov[0, 0] + noise
    good = 0.99 * norm.pdf(seen, mean[0], math.sqrt(spread))
    likelihood = good + 0.01 / 30.0
    trust = good / likelihood
    gain = cov[:, 0] / spread
    return mean + trust * gain * (seen - mean[0]), cov - trust * np.outer(gain, cov[0]), math.log(likelihood)


def test_observed_block_corrects_and_weighs_every_hypothesis_as_the_textbook_says():
    bank, seen, noise = bank_of(), np.array([60.1, 59.0, 61.0]), np.array([0.01, 0.04, 0.02])
    before = copy.deepcopy(bank)
    banks.observe(bank, seen, noise, np.array([True, True, False]))
    told = before.log_weight.copy()
    for slot in range(SLOTS_N):
        for kind in range(len(KINDS)):
            for row in (0, 1):
                mean, cov, log_likelihood = textbook(*hypothesis(before, slot, row, kind), seen[row], noise[row])
                same(bank, (slot, row, kind), mean, cov)
                told[slot, row, kind] += log_likelihood
    told -= logsumexp(told, axis=(0, 2), keepdims=True)
    assert bank.log_weight == pytest.approx(told, abs=1e-9)
    assert np.array_equal(bank.state[:, :, 2], before.state[:, :, 2])  # not wanted


def test_wild_block_far_away_moves_nothing_and_favours_nobody():
    bank = bank_of(1)
    before = copy.deepcopy(bank)
    banks.observe(bank, np.array([600.0]), np.array([0.01]), np.array([True]))
    assert bank.state == pytest.approx(before.state, rel=1e-9)
    assert bank.log_weight == pytest.approx(before.log_weight, abs=1e-9)


def log_box(level, half, spread):
    sd = math.sqrt(spread)
    return math.log(norm.cdf((half - level) / sd) - norm.cdf((-half - level) / sd))


@pytest.mark.parametrize("half", [0.1, 0.5])
@pytest.mark.parametrize("level", [-0.6, -0.2, 0.0, 0.3, 0.5])
def test_moments_of_a_box_are_the_derivatives_of_its_probability(level, half):
    spread, step = 0.04, 1e-3
    within, pull, squeeze = banks.box_moments(np.array([[-level]]), np.array([[spread]]), np.array([[half]]))
    at, up, down = (log_box(level + shift, half, spread) for shift in (0.0, step, -step))
    assert within.item() == pytest.approx(math.exp(at), rel=1e-4, abs=1e-6)
    assert pull.item() == pytest.approx((up - down) / (2.0 * step), rel=2e-3, abs=1e-4)
    assert squeeze.item() == pytest.approx((2.0 * at - up - down) / step**2, rel=5e-3, abs=1e-2)


def test_box_far_away_squeezes_within_bounds():
    within, pull, squeeze = banks.box_moments(np.array([[200.0]]), np.array([[0.04]]), np.array([[0.5]]))
    assert 0.0 < within.item() <= 1e-30
    assert np.isfinite(pull.item())
    assert 0.0 <= squeeze.item() <= 1.0 / 0.04


@pytest.mark.parametrize(("half", "squeeze"), [(10.0, 0.0), (1e-6, 25.0)], ids=["wide", "a point"])
def test_box_that_leaves_all_open_squeezes_nothing_and_a_point_as_a_value_would(half, squeeze):
    assert banks.box_moments(np.array([[0.0]]), np.array([[0.04]]), np.array([[half]]))[2].item() == pytest.approx(
        squeeze, abs=1e-2
    )


def test_block_in_a_box_corrects_by_the_box_and_leaves_other_rows_to_the_textbook():
    bank, seen, noise = bank_of(), np.array([60.1, 60.2, 59.9]), np.array([0.01, 0.04, 0.02])
    before = copy.deepcopy(bank)
    half = np.array([0.4, 0.0, 0.4])
    banks.observe(bank, seen, noise, np.array([True, True, False]), half)
    told = before.log_weight.copy()
    for slot in range(SLOTS_N):
        for kind in range(len(KINDS)):
            mean, cov, log_likelihood = textbook(*hypothesis(before, slot, 1, kind), seen[1], noise[1])
            same(bank, (slot, 1, kind), mean, cov)
            told[slot, 1, kind] += log_likelihood
            mean, cov = hypothesis(before, slot, 0, kind)
            spread = cov[0, 0] + noise[0]
            within, pull, squeeze = (
                one.item()
                for one in banks.box_moments(
                    np.array([[seen[0] - mean[0]]]), np.array([[spread]]), np.array([[half[0]]])
                )
            )
            good = 0.99 * within / 0.8  # the box is 0.8 kPa wide
            trust = good / (good + 0.01 / 30.0)
            told[slot, 0, kind] += math.log(good + 0.01 / 30.0)
            same(bank, (slot, 0, kind), mean + trust * pull * cov[0], cov - trust * squeeze * np.outer(cov[0], cov[0]))
    told -= logsumexp(told, axis=(0, 2), keepdims=True)
    assert bank.log_weight == pytest.approx(told, abs=1e-9)
    assert np.array_equal(bank.state[:, :, 2], before.state[:, :, 2])


def test_moments_are_those_of_a_weighed_mixture():
    """Mean of means; variance within plus variance between (law of total variance)."""
    bank = bank_of()
    mean, var = banks.moments(bank)
    for row in range(3):
        weight = np.exp(bank.log_weight[:, row])
        based = np.array([kind.based for kind in KINDS])
        rate = bank.state[banks.RATE, :, row] + bank.base[:, row, None] * based
        for found, values, own in (
            (0, bank.state[banks.LEVEL, :, row], bank.state[banks.P_LEVEL, :, row]),
            (1, rate, bank.state[banks.P_RATE, :, row]),
        ):
            middle = np.average(values, weights=weight)
            assert mean[found, row] == pytest.approx(middle)
            assert var[found, row] == pytest.approx(np.average(own + (values - middle) ** 2, weights=weight))


@pytest.mark.parametrize("seen_kpa", [60.1, 60.6, 58.0, 900.0])
def test_level_told_beforehand_is_the_level_once_the_block_is_observed(seen_kpa):
    bank = bank_of()
    level, var = banks.level_after(bank, 1, seen_kpa, 0.02)
    banks.observe(bank, np.full(3, seen_kpa), np.full(3, 0.02), np.full(3, True))
    mean, variance = banks.moments(bank)
    # told without the 1 % that a block may be wild taken off: 0.99 where the other says 1
    assert level == pytest.approx(mean[0, 1], abs=2e-3)
    assert var == pytest.approx(variance[0, 1], rel=0.02)


def test_level_told_beforehand_is_that_of_the_mixture_of_all_updates():
    """By scipy's normal, a wild block a hundred times in 30 kPa: 60.6 kPa is neither likely nor wild to all."""
    bank, seen_kpa, noise = bank_of(), 60.6, 0.02
    level, var = bank.state[banks.LEVEL, :, 1], bank.state[banks.P_LEVEL, :, 1]
    likely = norm.pdf(seen_kpa, level, np.sqrt(var + noise))
    weight = np.exp(bank.log_weight[:, 1]) * (likely + 0.01 / 30.0)
    gain = var / (var + noise) * likely / (likely + 0.01 / 30.0)
    after = level + gain * (seen_kpa - level)
    mean = np.average(after, weights=weight)
    spread = np.average(var * (1.0 - gain) + (after - mean) ** 2, weights=weight)
    assert banks.level_after(bank, 1, seen_kpa, noise) == pytest.approx((mean, spread), rel=1e-9)


@pytest.mark.parametrize(
    ("moves", "ago_s", "settled_ago_s", "counts"),
    [
        (0.02, 5.0, 60.0, True),
        (-0.02, 5.0, 60.0, True),
        (0.0199, 5.0, 60.0, False),
        (0.02, 10.0, 60.0, True),
        (0.02, 10.5, 60.0, False),  # too old
        (0.02, 5.0, 4.0, False),  # began while its stretch may still have settled
    ],
)
def test_chance_of_a_late_change_is_the_weight_of_those_that_move_so_fast(moves, ago_s, settled_ago_s, counts):
    """Row 1 of three; the older weight of 0.7 and the other rows' weights are none of it."""
    bank = Bank(3, NOW_S)
    bank.since_s = [NOW_S - settled_ago_s - banks.UNSETTLED_S] * 3
    bank.onset_s[:] = NOW_S - 500.0
    bank.state[banks.RATE] = 1.0
    bank.log_weight[4, 1, banks.STEADY], bank.log_weight[6] = math.log(0.25), math.log(0.7)
    bank.onset_s[4, 1], bank.state[banks.RATE, 4, 1] = NOW_S - ago_s, moves
    found = banks.chance_of(bank, 1, 0.02, youngest_s=10.0)
    assert found == pytest.approx(0.25 if counts else 0.0)


def test_what_was_lost_before_counts_in_a_change_that_comes_on_top_of_it():
    bank = Bank(1, NOW_S)
    bank.since_s, bank.onset_s[:] = [0.0], NOW_S - 5.0
    bank.base[:] = 0.015
    bank.state[banks.RATE] = 0.01
    bank.log_weight[2, 0] = np.log(np.arange(1.0, len(banks.KINDS) + 1.0) / 100.0)
    based = banks.BASED > 0.0
    weights = np.arange(1.0, len(banks.KINDS) + 1.0) / 100.0
    assert banks.chance_of(bank, 0, 0.02, youngest_s=10.0) == pytest.approx(weights[based].sum())
