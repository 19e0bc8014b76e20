"""How a rounding gauge's noise is learned: against seeded gauges of known noise, scipy, and sums over every level and rate."""

import math
from itertools import product

import numpy as np
import pytest
from scipy.special import ndtr

from monitor.core import leak_noise
from monitor.core.leak_noise import due, learn
from monitor.core.leak_stairs import Seen, Stairs, Where
from tests.unit.core.leak_signals import RATIOS

STANDS = ((60.0, 5),)
RATES = [-1.5, -0.5, -0.15, 0, 0.01, 0.017, 0.028, 0.045, 0.07, 0.11, 0.17, 0.26, 0.4, 0.6, 0.9, 1.4, 2.2, 3.5, 5.3, 8]
"""Falls followed, kPa/min."""

USUAL = np.array([0.5, 1, 3, 14, 7, 7, 8, 10, 11, 11, 10, 7, 3, 2, 1.5, 1, 1, 0.8, 0.6, 0.6]) / 100.0
STANDING, SLOW, FAST, FASTEST = 3, 9, 14, 19  # 0, 0.11, 0.9 and 8 kPa/min
FINE, WIDE = leak_noise._GRIDS
"""Levels of the two least noises and of the others, 128 and 32 to a quantum."""


def counts_of(values):
    return tuple((value, values.count(value)) for value in sorted(set(values)))


def seen(at_s, counts, *, climb_kpa=0.0):
    return Seen(at_s, counts, climb_kpa)


def seen_by(vacuum_kpa, quantum_kpa, *, rate_hz=5):
    """Blocks of a second of readings, rounded."""
    rounded = np.round(vacuum_kpa / quantum_kpa) * quantum_kpa
    middle_s = 0.5 * (rate_hz - 1) / rate_hz
    return [
        seen(second + middle_s, counts_of(rounded[rate_hz * second :][:rate_hz].tolist()))
        for second in range(len(rounded) // rate_hz)
    ]


def taught(blocks, quantum_kpa):
    """A gauge that learned from all these blocks."""
    stairs = Stairs()
    for block in blocks:
        if window := due(stairs, block, -math.inf):
            learn(stairs, window, quantum_kpa)
    return stairs


def noisy(vacuum_kpa, noise_kpa, seed):
    return vacuum_kpa + noise_kpa * np.random.default_rng(seed).standard_normal(len(vacuum_kpa))


# --- gauges of known noise


@pytest.mark.parametrize(
    ("ratio", "rate_hz"),
    [(0.03, 2), (0.03, 5), (0.06, 5), (0.06, 20), (0.1, 2), (0.1, 5), (0.15, 5), (0.27, 2), (0.27, 5), (0.36, 5)],
)
def test_noise_is_learned_while_the_vacuum_falls_over_a_few_edges(ratio, rate_hz):
    """Median and spread of five gauges on a vacuum that falls by 3 kPa in 400 s; its rate is told to nobody."""
    at_s = np.arange(400 * rate_hz) / rate_hz
    learned = [
        taught(seen_by(noisy(60.0 - 0.0075 * at_s, ratio, seed), 1.0, rate_hz=rate_hz), 1.0).ratio for seed in range(5)
    ]
    assert np.median(learned) == pytest.approx(ratio, rel=0.15, abs=0.01)
    assert [min(learned), max(learned)] == pytest.approx([ratio, ratio], rel=0.45, abs=0.03)


@pytest.mark.parametrize(("ratio", "most"), [(0.06, 0.1), (0.1, 0.15), (0.2, 0.3)])
def test_long_stand_amid_a_step_does_not_make_the_noise_small(ratio, most):
    """A quarter of an hour, then a leak of 1 kPa/min: too small a noise would have its rate told too slow."""
    at_s = np.arange(1080 * 5) / 5.0
    vacuum = 60.03 - np.maximum(at_s - 900.0, 0.0) / 60.0
    stands = [taught(seen_by(noisy(vacuum, ratio, seed)[: 900 * 5], 1.0), 1.0) for seed in range(3)]
    fell = [taught(seen_by(noisy(vacuum, ratio, seed), 1.0), 1.0) for seed in range(3)]
    assert min(stairs.not_unlikely[1] for stairs in stands) >= ratio
    assert all(0.6 * ratio < stairs.ratio < most for stairs in fell)


@pytest.mark.parametrize("ratio", [0.1, 0.2])
@pytest.mark.parametrize("level_kpa", [60.3, 60.45, 60.49])
def test_vacuum_that_never_moves_beside_an_edge_does_not_make_the_noise_small(level_kpa, ratio):
    """An hour: the same flickering may be little noise near the edge or more further off."""
    stairs = taught(seen_by(noisy(np.full(3600 * 5, level_kpa), ratio, 1), 1.0), 1.0)
    assert stairs.not_unlikely[0] <= 1.5 * ratio
    assert stairs.not_unlikely[1] >= ratio


@pytest.mark.parametrize("rate_hz", [1, 5, 20])
@pytest.mark.parametrize(("swing_kpa", "quantum_kpa"), [(0.1, 0.5), (0.15, 0.5), (0.15, 1.0)])
def test_what_a_swing_scatters_about_the_fall_is_noise_to_it(swing_kpa, quantum_kpa, rate_hz):
    """No noise of the gauge: the root of the mean square of a swing is its size over the root of two."""
    at_s = np.arange(600 * rate_hz) / rate_hz
    swings = 60.0 - at_s / 200.0 + swing_kpa * np.sin(2.0 * np.pi * at_s / 9.0)
    told = taught(seen_by(swings, quantum_kpa, rate_hz=rate_hz), quantum_kpa)
    assert told.ratio == pytest.approx(swing_kpa / math.sqrt(2.0) / quantum_kpa, rel=0.2)


@pytest.mark.parametrize(("rate_hz", "held_s"), [(5, 1.0), (5, 2.0), (20, 2.0)])
def test_gauge_that_is_read_more_often_than_it_looks_is_not_held_to_be_quieter(rate_hz, held_s):
    """Noise of a tenth of its step, each look read up to forty times; falls of 0.45 kPa/min."""
    at_s = np.arange(400 * rate_hz) / rate_hz
    looked = np.floor(at_s / held_s).astype(int)
    told = []
    for seed in range(5):
        noise = 0.1 * np.random.default_rng(seed).standard_normal(looked[-1] + 1)
        told.append(taught(seen_by(60.0 - 0.0075 * looked * held_s + noise[looked], 1.0, rate_hz=rate_hz), 1.0))
    assert 0.07 < np.median([stairs.ratio for stairs in told]) < 0.15
    assert sum(stairs.not_unlikely[1] >= 0.1 for stairs in told) >= 4


# --- how likely a window is


def by_hand(grid, window, quantum_kpa, first_n, ratio, rate, level_n):
    """The same, block by block: normal noise, blurred by the fall within a block, one in a thousand anything."""
    middle_s = 0.5 * (window[0].at_s + window[-1].at_s)
    lasts_s = (window[-1].at_s - window[0].at_s) / (len(window) - 1)
    sd = math.hypot(ratio * quantum_kpa, rate / 60.0 * lasts_s / math.sqrt(12.0))
    step_kpa = quantum_kpa / grid.steps_n
    found = 0.0
    for one in window:
        level = (first_n + level_n) * step_kpa - round(rate / 60.0 * (one.at_s - middle_s) / step_kpa) * step_kpa
        for value, often in one.counts:
            off = round((value + one.climb_kpa) / step_kpa) * step_kpa - level
            off = min(max(off, -2.0 * quantum_kpa), 2.0 * quantum_kpa)
            likely = ndtr((off + 0.5 * quantum_kpa) / sd) - ndtr((off - 0.5 * quantum_kpa) / sd)
            found += often / sum(n for _, n in one.counts) * math.log(likely + 1e-3)
    return found


@pytest.mark.parametrize(("grid", "ratios"), [(FINE, RATIOS[:2]), (WIDE, RATIOS[2:])])
@pytest.mark.parametrize(
    ("window", "quantum_kpa"),
    [
        ([seen(0.0, STANDS), seen(1.0, STANDS), seen(2.0, STANDS)], 1.0),
        ([seen(4.0, ((59.5, 1), (60.0, 2))), seen(6.0, ((59.5, 3),))], 0.5),
        ([seen(0.0, ((58.0, 1), (60.0, 1), (61.0, 2)), climb_kpa=0.5), seen(1.5, ((59.0, 2),), climb_kpa=1.0)], 1.0),
    ],
)
def test_readings_are_as_likely_as_normal_noise_about_a_falling_level_makes_them(window, quantum_kpa, grid, ratios):
    first_n = round(59.3 * grid.steps_n / quantum_kpa)
    middle_s = 0.5 * (window[0].at_s + window[-1].at_s)
    found = leak_noise._likely(grid, window, middle_s, quantum_kpa, first_n)
    assert found.shape == shape(grid)
    for (rate_n, rate), level_n, (noise_n, ratio) in product(
        list(enumerate(RATES))[::4], (0, 15, 24, grid.levels_n - 1), enumerate(ratios)
    ):
        expected = by_hand(grid, window, quantum_kpa, first_n, ratio, rate, level_n)
        assert found[rate_n, level_n, noise_n] == pytest.approx(expected, abs=1e-3)


def test_every_noise_is_followed_over_a_quantum_and_a_half():
    assert [(grid.noises, grid.steps_n, grid.levels_n) for grid in (FINE, WIDE)] == [
        (slice(0, 2), 128, 193),
        (slice(2, 8), 32, 49),
    ]


def test_measured_hoist_is_taken_out_of_what_was_read():
    """Two edges passed by the air that thins, none by a leak: as if it had stood."""
    lowered = [((62.0, 5),), ((61.0, 5),), STANDS]
    learned = []
    for counts, climb_kpa in (([((62.0, 5),)] * 3, 0.0), (lowered, 1.0)):
        stairs = Stairs()
        learn(stairs, [seen(float(n), one, climb_kpa=climb_kpa * n) for n, one in enumerate(counts)], 1.0)
        learned.append(stairs)
    assert learned[1].log_weight == pytest.approx(learned[0].log_weight)
    for one, other in zip(learned[0].where, learned[1].where, strict=True):
        assert one.first_n == other.first_n
        assert one.share == pytest.approx(other.share)
    assert [one.first_n for one in learned[0].where] == [62 * 128 - 96, 62 * 32 - 24]


# --- where the vacuum is by then


def shape(grid):
    return len(RATES), grid.levels_n, len(RATIOS[grid.noises])


def anywhere(grid):
    return np.broadcast_to(USUAL[:, None, None] / grid.levels_n, shape(grid))


def at_one_place(rate_n, level_n, *, grid=FINE, first_n=7600, step_kpa=None, at_s=0.0):
    share = np.zeros(shape(grid))
    share[rate_n, level_n] = 1.0
    return Where(at_s, step_kpa or 1.0 / grid.steps_n, first_n, share)


def test_falls_mostly_stay_as_they_are_and_turn_to_any_now_and_then():
    turns = leak_noise._turns()
    assert turns.sum(axis=1) == pytest.approx(np.ones(20))
    expected = 0.005 * USUAL
    expected[[SLOW - 1, SLOW, SLOW + 1]] += [0.0125, 0.97, 0.0125]
    assert turns[SLOW] == pytest.approx(expected)
    assert turns[0, :2] == pytest.approx([0.97 + 0.0125 + 0.005 * 0.005, 0.0125 + 0.005 * 0.01])
    assert turns[19, 18:] == pytest.approx([0.0125 + 0.005 * 0.006, 0.97 + 0.0125 + 0.005 * 0.006])


@pytest.mark.parametrize(
    ("rate_n", "first_n", "after_s", "places"),
    [
        (STANDING, 7600, 12.0, {50: 1.0}),
        (SLOW, 7600, 12.0, {47: 0.816, 48: 0.184}),  # 0.11 kPa/min for 12 s: 2.816 levels
        (FAST, 7590, 12.5, {36: 1.0}),  # 24 levels down, ten more below the first followed
        (FAST, 7600, 50.0 / 1.92, {0: 1.0}),  # 50 levels down, the last one followed
        (STANDING, 7458, 12.0, {192: 1.0}),
    ],
)
def test_what_was_found_falls_on(rate_n, first_n, after_s, places):
    found = leak_noise._foreseen(FINE, at_one_place(rate_n, 50), after_s, 1.0 / 128.0, first_n)
    assert found.shape == shape(FINE)
    assert found.sum(axis=(0, 1)) == pytest.approx(np.ones(2))
    fell = (found - 0.001 * anywhere(FINE)) / 0.999
    turns = leak_noise._turns()[rate_n]
    for place, share in places.items():
        assert fell[:, place, 1] == pytest.approx(share * turns)
    assert fell[:, list(places)].sum(axis=(0, 1)) == pytest.approx(np.ones(2))


@pytest.mark.parametrize(("rate_n", "first_n"), [(STANDING, 7651), (STANDING, 7457), (FASTEST, 7600), (0, 7457)])
def test_what_leaves_the_levels_followed_may_be_anywhere(rate_n, first_n):
    found = leak_noise._foreseen(FINE, at_one_place(rate_n, 50), 31.0, 1.0 / 128.0, first_n)
    assert found == pytest.approx(anywhere(FINE))


@pytest.mark.parametrize("level_n", [0, 1, 191, 192])
def test_what_stands_at_the_ends_of_the_levels_followed_stays_there(level_n):
    found = leak_noise._foreseen(FINE, at_one_place(STANDING, level_n), 12.0, 1.0 / 128.0, 7600)
    assert found[STANDING, level_n] == pytest.approx([0.97, 0.97], abs=0.002)


def test_share_that_leaves_the_levels_followed_is_as_likely_anywhere():
    was = at_one_place(STANDING, 20)
    was.share[STANDING, 20], was.share[STANDING, 60] = 0.5, 0.5
    found = leak_noise._foreseen(FINE, was, 12.0, 1.0 / 128.0, 7640)
    assert found.sum(axis=(0, 1)) == pytest.approx(np.ones(2))
    kept = 0.999 * 0.5 * leak_noise._turns()[STANDING]
    assert found[:, 20, 0] == pytest.approx(kept + (1.0 - 0.999 * 0.5) * USUAL / 193.0)


@pytest.mark.parametrize(("steps", "kept"), [(1.0, True), (0.992, True), (1.008, True), (0.5, False), (1.02, False)])
def test_of_a_gauge_of_other_steps_the_vacuum_may_be_anywhere(steps, kept):
    found = leak_noise._foreseen(WIDE, at_one_place(STANDING, 20, grid=WIDE), 12.0, steps / 32.0, 7600)
    assert bool(found[STANDING, 20, 0] > 0.9) is kept
    assert np.array_equal(found, anywhere(WIDE)) is not kept
    assert np.array_equal(leak_noise._foreseen(WIDE, None, 12.0, steps / 32.0, 7600), anywhere(WIDE))


# --- what a gauge keeps of it


@pytest.mark.parametrize(("ago_s", "kept"), [(12.0, True), (55.0, True), (55.1, False)])
def test_each_noise_is_weighed_by_all_the_levels_and_falls_it_foresaw(ago_s, kept):
    """What was found is kept for five lengths of a window."""
    window = [seen(100.0 + n, ((60.0, 3), (61.0, 2))) for n in range(12)]
    before = np.array([-2.0, 0.0, -2.0, -0.5, -3.0, -1.5, 0.0, -0.25])
    was = tuple(
        at_one_place(SLOW, 20, grid=grid, first_n=60 * grid.steps_n, at_s=105.5 - ago_s) for grid in (FINE, WIDE)
    )
    stairs = Stairs(where=was)
    stairs.weigh(before)
    learn(stairs, window, 1.0)
    news = []
    for grid, then, told in zip((FINE, WIDE), was, stairs.where, strict=True):
        first_n = 60 * grid.steps_n - grid.levels_n // 2
        likely = np.exp(leak_noise._likely(grid, window, 105.5, 1.0, first_n))
        joint = likely * leak_noise._foreseen(grid, then if kept else None, 105.5, 1.0 / grid.steps_n, first_n)
        news.extend(np.log(joint.sum(axis=(0, 1))))
        assert (told.at_s, told.step_kpa, told.first_n) == (105.5, 1.0 / grid.steps_n, first_n)
        assert told.share == pytest.approx(joint / joint.sum(axis=(0, 1)), abs=1e-6)
        assert told.share.dtype == np.float32
    expected = before + np.maximum(np.array(news) - max(news), -3.0)
    assert stairs.log_weight == pytest.approx(expected - expected.max())
    assert stairs.learned
    assert stairs.ratio == pytest.approx(math.sqrt(np.average(np.square(RATIOS), weights=np.exp(expected))))


def test_one_window_is_no_more_than_so_much_news(monkeypatch):
    news = np.array([-40.0, -41.0, -42.5, -60.0, -40.5, -43.5, -44.0, -90.0])
    monkeypatch.setattr(leak_noise, "_likely", lambda grid, *_: np.broadcast_to(news[grid.noises], shape(grid)))
    stairs = Stairs()
    learn(stairs, [seen(float(n), STANDS) for n in range(12)], 1.0)
    assert stairs.log_weight == pytest.approx([0.0, -1.0, -2.5, -3.0, -0.5, -3.0, -3.0, -3.0])
    for _ in range(40):
        learn(stairs, [seen(float(n), STANDS) for n in range(12)], 1.0)
    assert (stairs.log_weight.min(), stairs.log_weight.max()) == (-8.0, 0.0), "a few windows undo what was learned"


def test_very_many_readings_leave_every_noise_a_likelihood():
    stairs = Stairs()
    learn(stairs, [seen(float(n), ((45.0, 40), (60.0, 300), (61.0, 300), (75.0, 40))) for n in range(20)], 1.0)
    assert np.all(np.isfinite(stairs.log_weight))
    assert all(np.all(np.isfinite(one.share)) for one in stairs.where)


def test_twelve_blocks_make_a_window():
    stairs = Stairs()
    told = [due(stairs, seen(float(n), STANDS), 0.0) for n in range(30)]
    assert [n for n, window in enumerate(told) if window] == [11, 23]
    assert [one.at_s for one in told[23]] == [float(n) for n in range(12, 24)]
    assert len(stairs.waiting) == 6


def test_window_waits_while_another_gauge_learns():
    stairs = Stairs()
    told = [due(stairs, seen(float(n), STANDS), 0.0, busy=n in (11, 12)) for n in range(26)]
    assert [n for n, window in enumerate(told) if window] == [13, 23]
    assert [one.at_s for one in told[23]] == [float(n) for n in range(12, 24)]


@pytest.mark.parametrize(("since_s", "kept_n"), [(0.0, 12), (0.5, 11), (6.0, 6), (6.5, 0)])
def test_blocks_of_another_stretch_are_left_out_and_a_few_teach_nothing(since_s, kept_n):
    stairs = Stairs(waiting=[seen(float(n), STANDS) for n in range(11)])
    assert len(due(stairs, seen(11.0, STANDS), since_s)) == kept_n
    assert stairs.waiting == []


@pytest.mark.parametrize(("at_s", "kept"), [(-4.0, True), (-3.0, True), (-3.1, True), (-5.1, False)])
def test_where_the_vacuum_was_in_another_stretch_is_forgotten(at_s, kept):
    stairs = Stairs(where=(at_one_place(STANDING, 50, at_s=at_s),), waiting=[seen(float(n), STANDS) for n in range(11)])
    due(stairs, seen(11.0, STANDS), -5.0)
    assert (stairs.where != ()) is kept
    assert stairs.where is not None
