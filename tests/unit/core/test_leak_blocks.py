"""A second of readings as one block: its mean and when, how sure it is, and what shows of the gauge."""

import math

import numpy as np
import pytest
from scipy.stats import uniform

from monitor.core.leak_blocks import Block, Gatherer, begin_anew, close, gather, second_var_kpa2


def block(gatherer, values, *, from_s=0.0, step_s=0.1):
    for number, value in enumerate(values):
        gather(gatherer, value, from_s + number * step_s)
    return close(gatherer)


def seen(seconds, *, noise_kpa=0.08, quantum_kpa=0.01, slope_kpa=0.0, sway=lambda _: 0.0, seed=0, per_s=10):
    """The blocks of a signal, and its gatherer after them."""
    chance, gatherer, blocks = np.random.default_rng(seed), Gatherer(), []
    for second in range(seconds):
        at_s = second + np.arange(per_s) / per_s
        truth = 60.0 + slope_kpa * at_s + np.array([sway(one) for one in at_s])
        values = np.round((truth + noise_kpa * chance.standard_normal(per_s)) / quantum_kpa) * quantum_kpa
        blocks.append(block(gatherer, values.tolist(), from_s=float(second), step_s=1.0 / per_s))
    return gatherer, blocks


def test_second_in_which_nothing_came_is_no_block():
    assert close(Gatherer()) is None


def test_block_is_the_mean_of_its_readings_at_their_mean_time():
    _, blocks = seen(60)
    last = blocks[-1]
    assert last.at_s == pytest.approx(59.45)
    assert last.mean_kpa == pytest.approx(60.0, abs=0.1)
    assert (last.half_kpa, last.still) == (0.0, False)


@pytest.mark.parametrize("wild_kpa", [95.0, 5.0, 61.5])
def test_wild_reading_among_ten_moves_neither_the_mean_nor_its_time(wild_kpa):
    gatherer, _ = seen(60)
    values = [60.0, 60.1, 59.9, 60.0, wild_kpa, 60.1, 60.0, 59.9, 60.0, 60.0]
    told = block(gatherer, values, from_s=60.0)
    assert told.mean_kpa == pytest.approx(60.0, abs=0.01)
    assert told.at_s == pytest.approx(60.0 + 0.1 * (45.0 - 4.0) / 9.0)


@pytest.mark.parametrize("noise_kpa", [0.03, 0.1, 0.3])
@pytest.mark.parametrize("slope_kpa", [0.0, -0.05])
def test_noise_is_learned_and_no_fall_counts_as_such(noise_kpa, slope_kpa):
    gatherer, _ = seen(60, noise_kpa=noise_kpa, slope_kpa=slope_kpa)
    assert math.sqrt(gatherer.noise_var) == pytest.approx(noise_kpa, rel=0.12)


def test_block_is_as_sure_as_the_mean_of_so_many_readings():
    for per_s in (5, 20):
        _, blocks = seen(60, noise_kpa=0.1, per_s=per_s, seed=3)
        sds = [math.sqrt(one.var_kpa2) for one in blocks[30:]]
        assert np.median(sds) == pytest.approx(0.1 / math.sqrt(per_s), rel=0.15)
        scatter = np.std([one.mean_kpa for one in blocks[30:]])
        assert scatter == pytest.approx(0.1 / math.sqrt(per_s), rel=0.35)


def test_wild_readings_among_the_first_do_not_pass_for_noise():
    gatherer = Gatherer()
    values = (60.0 + 0.05 * np.random.default_rng(1).standard_normal(20)).round(2).tolist()
    values[3], values[11] = 95.0, 20.0
    block(gatherer, values[:10])
    block(gatherer, values[10:], from_s=1.0)
    assert math.sqrt(gatherer.noise_var) < 0.15


@pytest.mark.parametrize("quantum_kpa", [0.05, 0.1, 0.25, 0.5])
def test_resolution_of_the_gauge_is_found_by_its_steps(quantum_kpa):
    gatherer, _ = seen(60, noise_kpa=0.5 * quantum_kpa, quantum_kpa=quantum_kpa)
    assert gatherer.quantum_kpa == pytest.approx(quantum_kpa, rel=0.02)


def test_signal_that_does_not_round_has_none():
    gatherer, _ = seen(60, quantum_kpa=1e-7)
    assert gatherer.quantum_kpa == 0.0


@pytest.mark.parametrize(
    ("first", "quantum_kpa"), [(60.0, 1.0), (60.5, 0.5), (60.1, 0.1), (60.05, 0.05), (60.01, 0.01)]
)
def test_before_it_moved_a_gauge_may_be_as_coarse_as_its_value_is_round(first, quantum_kpa):
    gatherer = Gatherer()
    block(gatherer, [first])
    assert gatherer.quantum_kpa == quantum_kpa


def test_value_that_stands_though_it_is_not_round_may_be_of_the_coarsest_gauge():
    gatherer = Gatherer(coarsest_kpa=0.7)
    block(gatherer, [60.1234567] * 3)
    assert gatherer.quantum_kpa == 0.0
    block(gatherer, [60.1234567], from_s=1.0)
    assert gatherer.quantum_kpa == 0.7


def test_coarse_gauge_that_stands_says_only_that_the_vacuum_is_within_its_step():
    _, blocks = seen(
        30, noise_kpa=0.02, quantum_kpa=0.5, sway=lambda at_s: 0.5 * (int(at_s) % 2) if at_s < 8.0 else 0.0
    )
    last = blocks[-1]
    assert abs(last.mean_kpa - 60.0) <= 0.5
    assert last.half_kpa > 0.0
    assert last.counts == ((60.0, 10),)
    assert last.var_kpa2 >= last.half_kpa**2 / 3.0


@pytest.mark.parametrize("period_s", [6.0, 9.0])
def test_swing_of_the_load_makes_the_blocks_less_sure(period_s):
    calm = seen(60)[1][-1]
    swings = seen(60, sway=lambda at_s: 0.3 * math.sin(2.0 * math.pi * at_s / period_s))[1][-1]
    assert swings.var_kpa2 > 20.0 * calm.var_kpa2
    assert swings.noise_kpa2 == pytest.approx(calm.noise_kpa2, rel=0.5)  # that of the gauge itself is as it was


@pytest.mark.parametrize("slope_kpa", [-0.02, -0.2])
def test_steady_fall_is_no_swing(slope_kpa):
    falls = seen(60, slope_kpa=slope_kpa)[1][-1]
    assert falls.var_kpa2 < 3.0 * seen(60)[1][-1].var_kpa2


def test_another_stretch_forgets_the_swing_and_keeps_noise_and_resolution():
    gatherer, _ = seen(60, sway=lambda at_s: 0.3 * math.sin(at_s))
    noise_var, quantum_kpa = gatherer.noise_var, gatherer.quantum_kpa
    begin_anew(gatherer)
    assert (gatherer.means, gatherer.bends, gatherer.moves) == ([], [], [])
    assert (gatherer.noise_var, gatherer.quantum_kpa) == (noise_var, quantum_kpa)


@pytest.mark.parametrize(("stairs_kpa", "sd_kpa"), [(0.0, 0.03), (0.5, 0.03), (0.5, 0.2), (1.0, 0.2)])
def test_readings_of_a_gauge_that_steps_may_be_off_by_what_lies_between_two_edges(stairs_kpa, sd_kpa):
    gatherer = Gatherer()
    gatherer.stairs_kpa = stairs_kpa
    between_var = float(uniform(scale=stairs_kpa).var()) if stairs_kpa else 0.0
    told = second_var_kpa2(gatherer, Block(100.0, 60.0, sd_kpa**2, 0.01**2))
    assert told == pytest.approx(max(sd_kpa**2, between_var))
