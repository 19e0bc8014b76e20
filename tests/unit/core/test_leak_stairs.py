"""What a gauge that rounds coarsely says, against scipy and against numerical integration."""

import numpy as np
import pytest
from scipy import integrate, stats

from monitor.core.leak_bank import box_moments
from monitor.core.leak_blocks import Gatherer, close, gather
from monitor.core.leak_stairs import Stairs, normal_below, normal_point, normal_upper, say
from tests.unit.core.leak_signals import noise_known


def test_normal_tail_and_its_ratio_to_the_density_against_scipy():
    z = np.linspace(-5.0, 5.0, 101)
    density, tail = normal_upper(z)
    assert density == pytest.approx(stats.norm.pdf(z), rel=1e-12)
    assert tail == pytest.approx(stats.norm.sf(np.abs(z)), abs=1e-7, rel=2e-2)
    assert normal_below(z) == pytest.approx(stats.norm.cdf(z), abs=1e-7)


@pytest.mark.parametrize("share", [0.01, 0.2, 0.5, 0.7, 0.99])
def test_normal_point_against_scipy(share):
    assert normal_point(share) == pytest.approx(stats.norm.ppf(share), abs=5e-4)


@pytest.mark.parametrize("miss", [0.0, 0.3, -0.6, 1.0])  # further off a reading counts as wild
@pytest.mark.parametrize(("level_sd", "soft_sd"), [(0.2, 0.05), (0.5, 0.3), (1.5, 0.1)])
def test_a_level_cut_to_a_box_has_the_moments_of_the_integral(miss, level_sd, soft_sd):
    half = 0.5

    def density(level):
        inside = stats.norm.cdf((miss + half - level) / soft_sd) - stats.norm.cdf((miss - half - level) / soft_sd)
        return inside * stats.norm.pdf(level, scale=level_sd)

    around = (-8.0 * level_sd, 8.0 * level_sd)
    points = [miss - half, miss + half]
    total, mean, square = (
        integrate.quad(lambda x, n=n: x**n * density(x), *around, points=points, limit=200)[0] for n in range(3)
    )
    mean, square = mean / total, square / total
    var = level_sd**2
    within, pull, squeeze = box_moments(np.array([miss]), np.array([var + soft_sd**2]), np.array([half]))
    assert within[0] == pytest.approx(total, rel=1e-3, abs=1e-7)
    assert pull[0] * var == pytest.approx(mean, abs=2e-3)
    assert var - squeeze[0] * var**2 == pytest.approx(square - mean**2, rel=2e-2, abs=2e-4)


def test_shares_of_two_values_say_how_far_the_edge_is():
    chance = np.random.default_rng(4)
    stairs = Stairs()
    noise_known(stairs, 0.20)
    times = [0.01 * n for n in range(100)]
    level = 60.4
    said = [
        say(stairs, times, np.round(level + 0.2 * chance.standard_normal(100)).tolist(), (0.0, 60.0), 1.0)
        for _ in range(201)
    ][1:]
    mixed = [s for s in said if s.half_kpa == 0.0]
    assert len(mixed) > 150
    assert np.mean([s.kpa for s in mixed]) == pytest.approx(level, abs=0.02)
    assert np.std([s.kpa for s in mixed]) < 1.5 * np.sqrt(np.mean([s.var_kpa2 for s in mixed]))


def test_a_still_hard_gauge_says_the_same_ever_more_seldom_and_a_step_at_once():
    stairs = Stairs()
    noise_known(stairs, 0.03)
    new = []
    for n in range(100):
        times = [n + 0.2 * k for k in range(5)]
        new.append(say(stairs, times, [60.0] * 5, (n - 0.2, 60.0), 1.0).new)
    assert 5 < sum(new) < 25
    step = say(stairs, [100.0 + 0.2 * k for k in range(5)], [59.0] * 5, (99.8, 60.0), 1.0)
    assert step.new
    assert step.at_s == pytest.approx(99.9)
    assert step.kpa == pytest.approx(59.5)
    assert step.half_kpa == 0.0


@pytest.mark.parametrize("quantum", [0.05, 0.1, 0.25, 0.3386, 0.5, 1.0])
def test_the_quantum_is_found_also_with_wild_readings_and_in_other_units(quantum):
    chance = np.random.default_rng(5)
    gatherer = Gatherer()
    level = 60.0 - 0.01 * np.arange(600)
    seen = level + 0.3 * quantum * chance.standard_normal(600)
    wild = chance.random(600) < 0.01
    seen = np.where(wild, chance.uniform(0.0, 95.0, 600), seen)
    found = []
    for n, value in enumerate(np.round(seen / quantum) * quantum):
        gather(gatherer, float(value), 0.2 * n)
        if n % 5 == 4:
            close(gatherer)
            found.append(gatherer.quantum_kpa)
    assert np.mean(np.abs(np.array(found[40:]) / quantum - 1.0) < 0.02) > 0.95


@pytest.mark.parametrize(
    ("wild_kpa", "quantum_kpa"),
    [((58.5,), 0.5), ((58.5, 71.0, 22.5), 0.5), ((58.3,), 0.1), ((58.0,), 1.0), ((), 1.0), ((58.337,), 1.0)],
)
def test_gauge_that_stands_but_for_wild_values_is_as_coarse_as_these_allow(wild_kpa, quantum_kpa):
    """It stands at 63.0; a wild value that lies on no decimal step shows nothing of it."""
    gatherer = Gatherer()
    seen = [63.0] * 20 + [one for wild in wild_kpa for one in (wild, *[63.0] * 20)]
    for n, value in enumerate(seen):
        gather(gatherer, value, 0.2 * n)
    block = close(gatherer)
    assert gatherer.quantum_kpa == quantum_kpa
    assert block.var_kpa2 > (0.2 * quantum_kpa) ** 2, "it may lie anywhere within its step"


def test_a_signal_that_does_not_round_has_no_quantum():
    chance = np.random.default_rng(6)
    gatherer = Gatherer()
    for n in range(300):
        gather(gatherer, 60.0 + 0.3 * float(chance.standard_normal()), 0.2 * n)
        if n % 5 == 4:
            block = close(gatherer)
    assert gatherer.quantum_kpa < 0.02
    assert block.half_kpa == 0.0
