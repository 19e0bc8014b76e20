"""Which hypotheses of a bank are told and how likely each is; and when a level is reached, against scipy and integrals."""

import math

import numpy as np
import pytest

from monitor.core import leak_bank as banks
from monitor.core import leak_project as project
from monitor.core.leak_bank import KINDS
from monitor.core.leak_project import mixtures
from tests.unit.core.leak_signals import mixture
from tests.unit.core.test_leak_bank import NOW_S, bank_of, hypothesis


def sparse(weights, rows_n=2):
    """A bank in which row 1 has only the hypotheses given, by (slot, kind)."""
    bank = bank_of(rows_n)
    bank.since_s = [NOW_S - 1000.0] * rows_n
    bank.onset_s[:] = NOW_S - 500.0
    bank.log_weight[:, 1] = -1e4
    for (slot, kind), weight in weights.items():
        bank.log_weight[slot, 1, kind] = math.log(weight)
    return bank


# --- which are told


def test_each_hypothesis_is_told_with_the_moments_it_has():
    """Where its growth is open it is three of the same mean and covariance (Gauss-Hermite: 1/6, 2/3, 1/6)."""
    weights = {(3, 2): 0.5, (7, 5): 0.3, (9, 0): 0.2}
    bank = sparse(weights)
    bank.state[banks.P_GROWTH :, 3, 1, 2] = 1e-17  # known to grow or not
    bank.state[[banks.P_LEVEL_GROWTH, banks.P_RATE_GROWTH], 3, 1, 2] = 0.0
    mixed = mixture(bank, 1, 0.03**2, level_shift_kpa=-2.0)
    assert len(mixed.weight) == 1 + 3 + 3
    for (slot, kind), weight in weights.items():
        one = mixed.kind == kind
        share = mixed.weight[one] / weight
        assert sorted(share) == pytest.approx([1.0] if kind == 2 else [1 / 6, 1 / 6, 2 / 3])
        mean, cov = hypothesis(bank, slot, 1, kind)
        points = np.array([mixed.level[one] + 2.0, mixed.rate[one], mixed.growth[one]])
        assert points @ share == pytest.approx(mean)
        apart = points - mean[:, None]
        spread = (apart * share) @ apart.T
        assert spread[0, 0] + mixed.p_level[one] @ share == pytest.approx(cov[0, 0])
        assert spread[0, 1] + mixed.p_cross[one] @ share == pytest.approx(cov[0, 1])
        assert spread[1, 1] + mixed.p_rate[one] @ share == pytest.approx(cov[1, 1])
        if kind != 2:
            assert spread[0, 2] == pytest.approx(cov[0, 2])
            assert spread[1, 2] == pytest.approx(cov[1, 2])
            assert spread[2, 2] == pytest.approx(cov[2, 2])
        assert mixed.age_s[one] == pytest.approx(500.0)
        assert mixed.base[one] == pytest.approx(bank.base[slot, 1] if KINDS[kind].based else 0.0)
    assert mixed.moved == (-2.0, 0.0)


def test_variances_are_never_nothing():
    bank = sparse({(3, 2): 1.0})
    bank.state[banks.P_LEVEL :, 3, 1, 2] = 0.0
    mixed = mixture(bank, 1, 0.03**2)
    assert (mixed.p_level, mixed.p_rate) == (1e-12, 1e-18)


def told(bank, row=1):
    """Weights told by (slot, kind), with those of one hypothesis added up."""
    mixed = mixture(bank, row, 0.03**2)
    found = {}
    for kind, level, weight in zip(mixed.kind, mixed.level, mixed.weight, strict=True):
        slot = int(np.abs(bank.state[banks.LEVEL, :, row, kind] - level).argmin())
        found[slot, int(kind)] = found.get((slot, int(kind)), 0.0) + weight
    return found


def known_growth(bank):
    bank.state[[banks.P_GROWTH, banks.P_LEVEL_GROWTH, banks.P_RATE_GROWTH]] = 0.0
    return bank


def test_sixteen_likeliest_are_told():
    weights = {(slot, 2): 1.0 - 0.01 * slot for slot in range(20)}
    found = told(known_growth(sparse(weights)))
    total = sum(1.0 - 0.01 * slot for slot in range(16))
    assert found == {(slot, 2): pytest.approx((1.0 - 0.01 * slot) / total) for slot in range(16)}


@pytest.mark.parametrize(("log_ratio", "n"), [(8.9, 2), (9.1, 1)])
def test_what_is_hardly_likely_beside_the_likeliest_is_left_out(log_ratio, n):
    assert len(told(known_growth(sparse({(3, 2): 0.5, (5, 3): 0.5 * math.exp(-log_ratio)})))) == n


@pytest.mark.parametrize(
    ("age_s", "since_ago_s", "doubted"),
    [(29.9, 1000.0, True), (30.0, 1000.0, False), (5.0, 14.9, False), (5.0, 15.1, True), (5.0, 10.0, False)],
)
def test_fresh_change_is_told_as_a_hundredth_of_what_it_is(age_s, since_ago_s, doubted):
    """Not what began while its stretch may have settled."""
    bank = known_growth(sparse({(3, 2): 0.5, (5, 3): 0.5}))
    bank.onset_s[5, 1], bank.since_s[1] = NOW_S - age_s, NOW_S - since_ago_s
    bank.onset_s[3, 1] = NOW_S - 500.0
    share = 0.01 if doubted else 1.0
    assert told(bank)[5, 3] == pytest.approx(share / (1.0 + share))


def test_rows_together_are_told_as_each_alone():
    """One with three hypotheses, of which one grows, one with all; each feared by its own readings."""
    bank = sparse({(3, 2): 0.5, (7, 5): 0.3, (9, 0): 0.2}, rows_n=3)
    bank.state[banks.P_GROWTH, 3, 1, 2] = 0.0
    bank.onset_s[3, 0] = NOW_S - 5.0
    bank.log_weight[:, 0] -= 20.0  # however unlikely beside another row's
    rows, variances = [2, 0, 1], [0.05**2, 0.07**2, 0.03**2]
    for row, var, beside in zip(rows, variances, mixtures(bank, rows, variances, level_shift_kpa=0.5), strict=True):
        own = mixture(bank, row, var, level_shift_kpa=0.5)
        for name in ("weight", "kind", "age_s", "level", "rate", "growth", "base", "p_level", "p_cross", "p_rate"):
            assert getattr(beside, name).tolist() == pytest.approx(getattr(own, name).tolist())
        assert (beside.source, beside.moved) == (own.source, own.moved)
        assert beside.source[1] == row
    assert mixtures(bank, [], []) == []


def test_row_that_is_shifted_leaves_the_others():
    first, second = mixtures(bank_of(2), [0, 1], [0.03**2] * 2)
    before = second.level.copy(), second.rate.copy()
    first.shift(1.0, 0.5)
    assert (second.level == before[0]).all()
    assert (second.rate == before[1]).all()


# --- what is feared


@pytest.mark.parametrize(("block_kpa", "fear"), [(0.02, 0.0), (0.045, 0.0), (0.06, 0.5), (0.08, 1.0), (0.5, 1.0)])
def test_change_is_feared_the_more_the_coarser_the_readings(block_kpa, fear):
    """From once in a day to once in ten seconds, over the logarithm of what a second of readings is good to."""
    bank = known_growth(sparse({(3, 2): 1.0}))
    fears = mixture(bank, 1, block_kpa**2).source[2]
    if fear == 0.5:
        fear = math.log(0.06 / 0.045) / math.log(0.08 / 0.045)
    assert fears == pytest.approx(fear * math.log(10000.0))


def feared(bank, block_kpa=0.08):
    mixed = mixture(bank, 1, block_kpa**2)
    mixed.shift(0.5, 0.001)
    return mixed, project._feared(mixed)


def test_later_change_for_the_worse_is_feared_ten_thousand_times_as_much_for_half_a_minute():
    bank = known_growth(sparse({(3, 2): 0.9, (5, 3): 5e-5, (6, 4): 1e-3, (7, 2): 1e-3, (8, 3): 2e-3}))
    bank.onset_s[[3, 5, 6, 7, 8], 1] = NOW_S - np.array([400.0, 29.9, 20.0, 450.0, 30.0])
    _, fears = feared(bank)
    # 4, back to quiet, is no worse; one of 2 is not later; one of 3 would have shown
    weights = {2: (0.9, 1e-3), 3: (0.5, 2e-3), 4: (1e-3,)}
    total = 0.9 + 0.5 + 4e-3
    found = {kind: sorted(fears.weight[fears.kind == kind], reverse=True) for kind in (2, 3, 4)}
    for kind, given in weights.items():
        assert found[kind] == pytest.approx([one / total for one in given])
    assert max(fears.level[fears.kind == 3]) == pytest.approx(bank.state[banks.LEVEL, [5, 8], 1, 3].max() + 0.5)
    assert fears.moved == (0.5, 0.001)


def test_onset_of_the_likeliest_is_not_feared_however_fresh():
    """Its later rivals are, ten thousand times each."""
    bank = known_growth(sparse({(3, 2): 0.5, (4, 2): 0.4, (4, 3): 1e-4}))
    bank.onset_s[[3, 4], 1] = NOW_S - np.array([20.0, 10.0])
    _, fears = feared(bank)
    assert fears.weight[fears.kind == 3] == pytest.approx([1.0 / (1.0 + 0.4 * 1e4 + 0.5)], rel=1e-6)


def test_without_readings_or_fear_nothing_is_feared():
    bank = known_growth(sparse({(3, 2): 1.0}))
    assert feared(bank, 0.045)[1] is None
    mixed = mixture(bank, 1, 0.08**2)
    mixed.source = None
    assert project._feared(mixed) is None


def test_forty_eight_are_feared():
    weights = {(slot, kind): 0.5 for slot in range(20) for kind in (2, 3, 4)}
    assert len(feared(known_growth(sparse(weights)))[1].weight) == 48


def test_slightest_fear_counts():
    assert feared(known_growth(sparse({(3, 2): 1.0})), 0.047)[1] is not None
