"""One block at a time, with noise and quantum put in: its mean, its doubt and its swing, worked out by hand."""

import math

import numpy as np
import pytest

from monitor.core import leak_blocks
from monitor.core.leak_blocks import Gatherer, close, gather
from tests.unit.core.leak_signals import noise_known

FLOOR = 0.002**2


def ready(*, noise_kpa=0.05, quantum_kpa=0.0, noise_n=1000, **changes):
    """A gatherer whose noise has been learned for long and that rounds to a quantum, or not at all."""
    gatherer = Gatherer(noise_var=noise_kpa**2, noise_n=noise_n, decimal_kpa=0.0, tail=[(-0.2, 60.0), (-0.1, 60.0)])
    gatherer.steps_kpa = [quantum_kpa * n for n in (1, 1, 1, 2, 3)] if quantum_kpa else [0.0123, 0.0371, 0.0519, 0.0822]
    for name, value in changes.items():
        setattr(gatherer, name, value)
    return gatherer


def closed(gatherer, *values, from_s=0.0, step_s=0.1):
    for number, value in enumerate(values):
        gather(gatherer, value, from_s + step_s * number)
    return close(gatherer)


@pytest.fixture(autouse=True)
def as_put_in(monkeypatch):
    """Noise and quantum stay as they were put in."""
    monkeypatch.setattr(leak_blocks, "_learn", lambda *_: None)


# --- the mean and its doubt


def test_mean_of_a_fine_gauge_is_as_sure_as_its_noise_over_the_root_of_its_readings():
    told = closed(ready(), 60.0, 60.1, 59.9, 60.04)
    assert told.mean_kpa == pytest.approx(60.01)
    assert told.at_s == pytest.approx(0.15)
    assert told.noise_kpa2 == told.var_kpa2 == pytest.approx(0.05**2 / 4.0 + FLOOR)
    assert (told.half_kpa, told.soft_kpa2, told.still, told.counts) == (0.0, 0.0, False, ())


@pytest.mark.parametrize(
    ("noise_kpa", "quantum_kpa", "off_kpa", "counts"),
    [
        (0.05, 0.0, 0.30, True),  # five standard deviations and 0.06 kPa: 0.31
        (0.05, 0.0, 0.32, False),
        (0.08, 0.1, 0.57, True),  # and 1.2 quanta: 0.58
        (0.08, 0.1, 0.59, False),
        (0.05, 0.0, -0.30, True),
        (0.05, 0.0, -0.32, False),
    ],
)
def test_reading_far_from_the_middle_one_is_wild(noise_kpa, quantum_kpa, off_kpa, counts):
    gatherer = ready(noise_kpa=noise_kpa, quantum_kpa=quantum_kpa)
    told = closed(gatherer, 60.0 + off_kpa, 60.0, 60.0)
    assert told.mean_kpa == pytest.approx(60.0 + (off_kpa / 3.0 if counts else 0.0))
    assert told.at_s == pytest.approx(0.1 if counts else 0.15)


def test_of_two_readings_neither_is_wild():
    assert closed(ready(), 50.0, 60.0).mean_kpa == 55.0
    assert closed(ready(), 50.0).mean_kpa == 50.0
    assert closed(ready(), 50.0, 60.0, 60.1).mean_kpa == pytest.approx(60.05)


@pytest.mark.parametrize(
    ("noise_kpa", "told"),
    [(0.06, True), (0.0664, True), (0.0667, False), (0.08, False)],  # own noise: less quantum²/12 of the steps
)
def test_what_a_second_said_is_kept_where_the_steps_may_show(noise_kpa, told):
    """Up to a noise of 0.6 quanta beside that of the steps: 0.0664² = 0.06² + 0.1²/12."""
    made = closed(ready(noise_kpa=noise_kpa, quantum_kpa=0.1), 60.0, 60.1, 60.1)
    assert made.counts == (((60.0, 1), (60.1, 2)) if told else ())


def test_mean_of_a_rounding_gauge_may_stay_off_for_twenty_blocks():
    """What the noise leaves of the stairs: exp(-4 pi² noise²/quantum²) of quantum²/(2 pi²)."""
    gatherer = ready(noise_kpa=0.05, quantum_kpa=0.1)
    noise_known(gatherer.stairs, 0.48)  # known as blurred
    own = 0.05**2 - 0.1**2 / 12.0
    shows = math.exp(-4.0 * math.pi**2 * own / 0.1**2)
    told = closed(gatherer, 60.0, 60.1, 60.1, 60.0)
    assert told.var_kpa2 == pytest.approx(0.05**2 / 4.0 + FLOOR + 20.0 * shows * 0.1**2 / (2.0 * math.pi**2))
    assert (told.half_kpa, told.counts) == (0.0, ((60.0, 2), (60.1, 2)))
    assert told.read_s == told.at_s > 0.0
    assert gatherer.stairs_kpa == 0.0


def stairs(mix, **changes):
    """A gauge of 0.5 kPa whose noise is 0.03 of it or, mixing its values, over a quarter."""
    gatherer = ready(noise_kpa=0.5 * (0.27 if mix else 0.03), quantum_kpa=0.5, **changes)
    noise_known(gatherer.stairs, 0.27 if mix else 0.03)
    return gatherer


@pytest.mark.parametrize(
    ("ratio", "readings_n", "share"),
    [
        (0.03, 1, 1.0),
        (0.03, 9, 0.982),
        (0.1, 9, 0.821),
        (0.2, 4, 0.5),
        (0.2, 9, 0.454),
        (0.27, 9, 1.0 / 3.0),
        (0.36, 1, 1.0),
    ],
)
def test_steps_leave_a_mean_open_as_far_as_noise_and_readings_do_not_blur_them(ratio, readings_n, share):
    """The first harmonic of the stairs fades as exp(-2 pi² noise²/quantum²); a mean of n goes by steps of a quantum over n."""
    gatherer = ready(noise_kpa=0.5 * ratio, quantum_kpa=0.5)
    noise_known(gatherer.stairs, ratio)
    closed(gatherer, *[60.0] * readings_n)
    assert gatherer.stairs_kpa == pytest.approx(0.5 * share, rel=1e-3)


def test_coarse_gauge_says_within_what_the_vacuum_lies():
    gatherer = stairs(False)
    told = closed(gatherer, 60.0, 60.0, 60.0)
    assert (told.mean_kpa, told.half_kpa, told.still) == (60.0, 0.25, False)
    assert told.soft_kpa2 == pytest.approx((0.748 * 0.015) ** 2)  # the largest of three normal values: tables
    assert told.var_kpa2 == pytest.approx(
        told.soft_kpa2 + 0.25**2 / 3.0 + FLOOR
    )  # a box's variance is a third of its half²
    assert told.noise_kpa2 == pytest.approx(told.var_kpa2)
    assert told.counts == ((60.0, 3),)
    gatherer.tail = [(0.1, 60.0), (0.2, 60.0)]
    again = closed(gatherer, 60.0, 60.0, 60.0, from_s=1.0)
    assert again.still
    assert again.at_s == pytest.approx(1.2)


def test_swing_softens_the_sides_of_what_a_coarse_gauge_says(monkeypatch):
    """Three times the variance of a mean that moves by steps: of its noise and, as far as it leaves them, of the steps."""
    asked = []
    monkeypatch.setattr(leak_blocks, "_sway", lambda *given: asked.append(given) or 4.0)
    gatherer = ready(noise_kpa=0.25, quantum_kpa=0.5)
    noise_known(gatherer.stairs, 0.10)
    told = closed(gatherer, 60.0, 60.0, 60.0)
    own = 0.25**2 - 0.5**2 / 12.0
    rounded = 0.25**2 / 3.0 + math.exp(-4.0 * math.pi**2 * own / 0.5**2) * 0.5**2 / 12.0
    assert asked[0][1:] == pytest.approx((0.1, 60.0, rounded, 0.5 / 3.0))
    assert told.soft_kpa2 == pytest.approx((0.748 * 0.05) ** 2 + 3.0 * rounded)
    assert told.var_kpa2 == pytest.approx(told.soft_kpa2 + 0.25**2 / 3.0 + FLOOR)
    assert told.noise_kpa2 == pytest.approx(told.var_kpa2 - 3.0 * rounded)


@pytest.mark.parametrize(("low_n", "kpa"), [(2, 60.33), (3, 60.0)])
def test_middle_one_of_five_decides_which_are_wild(low_n, kpa):
    assert closed(ready(), *[60.0] * low_n, *[60.33] * (5 - low_n)).mean_kpa == pytest.approx(kpa)


def test_reading_before_is_the_last_one_known():
    gatherer = stairs(False)
    closed(gatherer, 60.0)
    gatherer.tail = [(0.2, 60.0)]
    assert closed(gatherer, 60.5, 60.5, from_s=1.0).at_s == pytest.approx(0.6)


def test_step_of_a_coarse_gauge_is_told_at_its_instant():
    gatherer = stairs(False)
    closed(gatherer, 60.0, 60.0, 60.0)
    gatherer.tail = [(0.1, 60.0), (0.2, 60.0)]
    told = closed(gatherer, 60.5, 60.5, 60.5, from_s=1.0)
    assert (told.at_s, told.mean_kpa, told.half_kpa) == (pytest.approx(0.6), 60.25, 0.0)
    assert told.read_s == pytest.approx(1.1)


# --- swings


def swayed(*means, var=0.01**2, gap_s=1.0, step_kpa=0.0):
    gatherer, ratio = Gatherer(), None
    for number, mean in enumerate(means):
        ratio = leak_blocks._sway(gatherer, gap_s * number, mean, var, step_kpa)
    return ratio, gatherer


def to_and_fro(size, n):
    return [60.0 + (size if (number // 4) % 2 else 0.0) for number in range(n)]


def test_calm_and_steady_falls_do_not_swing():
    assert swayed(*[60.0] * 30)[0] == 1.0
    assert swayed(*[60.0 - 0.5 * n for n in range(30)])[0] == 1.0
    assert swayed(60.0)[0] == 1.0


@pytest.mark.parametrize(("sds", "swings"), [(3.1, True), (2.9, False)])
def test_what_both_rises_and_falls_far_within_four_seconds_swings(sds, swings):
    """Beyond three standard deviations of a difference, by the second largest either way."""
    size = sds * 0.01 * math.sqrt(2.0)
    ratio, gatherer = swayed(*to_and_fro(size, 12))
    assert len(gatherer.moves) == 8
    assert ratio == pytest.approx(sds**2 if swings else 1.0)


def test_four_moves_are_the_least_that_tell_a_swing():
    size = 4.0 * 0.01 * math.sqrt(2.0)
    three, four = ([60.0, 60.0, 60.0, 60.0, 60.0 + size, 60.0 - size, 60.0 + size, 60.0 - size][:n] for n in (7, 8))
    assert swayed(*three)[0] == 1.0
    ratio, gatherer = swayed(*four)
    assert [round(one, 6) for one in gatherer.moves] == [4.0, -4.0, 4.0, -4.0]
    assert ratio == pytest.approx(16.0)


@pytest.mark.parametrize(
    ("size", "var", "counts"), [(1.49, 1e-4, True), (1.51, 1e-4, False), (3.4, 0.25, True), (3.7, 0.25, False)]
)
def test_move_beyond_any_swing_is_a_wild_reading(size, var, counts):
    """Beyond 1.5 kPa and five standard deviations of a difference: 5 x 0.5 x 1.414 = 3.54."""
    _, gatherer = swayed(*[60.0] * 4, 60.0 + size, var=var)
    assert len(gatherer.moves) == (1 if counts else 0)


def test_lag_is_four_seconds_at_any_pace():
    for gap_s, lag_n in ((0.5, 8), (1.0, 4), (2.0, 2), (9.0, 1)):
        _, gatherer = swayed(*[60.0 + 0.1 * n for n in range(12)], gap_s=gap_s)
        assert gatherer.moves[-1] == pytest.approx(0.1 * lag_n / (0.01 * math.sqrt(2.0)))


def test_last_twelve_means_and_twenty_five_moves_are_kept():
    means = [60.0 + 0.001 * (n % 7) ** 2 for n in range(60)]
    _, gatherer = swayed(*means)
    assert len(gatherer.means) == 12
    assert gatherer.means == [(float(n), means[n], 0.01**2) for n in range(48, 60)]
    last = range(35, 60)
    assert gatherer.moves == pytest.approx([(means[n] - means[n - 4]) / (0.01 * math.sqrt(2.0)) for n in last])
    assert gatherer.bends == pytest.approx([(means[n] - 2.0 * means[n - 4] + means[n - 8]) ** 2 / 6e-4 for n in last])


def test_bends_beyond_what_noise_makes_widen_by_their_median():
    """A second difference has six times the variance of a mean; half of normal squares lie under 0.455 (chi-squared)."""
    size = 0.03
    means = [60.0 + size * ((number // 4) % 2) for number in range(20)]
    ratio, gatherer = swayed(*means)
    assert len(gatherer.bends) == 12
    bend = (2.0 * size) ** 2 / (6.0 * 0.01**2)  # up and down again
    assert gatherer.bends == pytest.approx([bend] * 12)
    assert ratio == pytest.approx(max(bend / 0.455, (size / (0.01 * math.sqrt(2.0))) ** 2 if size > 0.0425 else 0.0))
    assert swayed(*means[:-1])[0] == 1.0  # eleven tell nothing yet
    calm = [60.0 + 0.011 * ((number // 4) % 2) for number in range(20)]  # bends of 0.807: 1.77 times the usual
    assert swayed(*calm)[0] == 1.0


def test_swing_makes_a_block_as_much_less_sure():
    gatherer = ready(noise_kpa=0.01)
    for second, kpa in enumerate(to_and_fro(0.2, 12)):
        told = closed(gatherer, kpa, from_s=float(second))
    assert told.noise_kpa2 == pytest.approx(0.01**2 + FLOOR)
    assert told.var_kpa2 / told.noise_kpa2 == pytest.approx(0.2**2 / (2.0 * (0.01**2 + FLOOR)))


@pytest.mark.parametrize(("times", "ratio"), [(1.9, 1.0), (2.1, 2.1), (2.9, 2.9)])
def test_median_of_the_bends_counts_from_twice_the_usual(times, ratio):
    gatherer = Gatherer(
        means=[(float(n), 60.0, 0.01**2) for n in range(12)], bends=[0.0] * 8 + [times * 0.455] * 5 + [9.0] * 4
    )
    assert leak_blocks._sway(gatherer, 12.0, 60.0, 0.01**2, 0.0) == pytest.approx(ratio)


@pytest.mark.parametrize(("noise_kpa", "usual"), [(0.25, 1.0), (0.3, 1.0), (0.36, 1.0)])
def test_noise_over_the_steps_of_a_coarse_gauge_does_not_swing(noise_kpa, usual):
    """One reading a second of 1 kPa: most second differences are 0 or 1, and their bare median jumps between the two."""
    chance = np.random.default_rng(4)
    var = noise_kpa**2 + 1.0 / 12.0
    ratios = []
    for _ in range(200):
        read = np.round(61.5 + chance.uniform(-0.5, 0.5) + noise_kpa * chance.standard_normal(60))
        ratios.append(swayed(*read.tolist(), var=var, step_kpa=1.0)[0])
    assert np.mean(np.array(ratios) == usual) >= 0.78  # 0.9 where nothing rounds


def test_means_of_a_coarse_gauge_that_swing_widely_are_still_seen_to():
    read = np.round(61.5 + 2.5 * np.sin(2.0 * np.pi * np.arange(40.0) / 10.0))
    assert swayed(*read.tolist(), var=0.3**2 + 1.0 / 12.0, step_kpa=1.0)[0] > 2.0


def test_parts_of_a_second_swing_by_its_mean():
    """Four blocks to a second: their mean is asked about once the second ends, at a quarter of their variance and step."""
    gatherer, asked = Gatherer(), []
    parts = [(0.1, 60.0), (0.35, 60.2), (0.6, 60.1), (0.85, 60.3)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(leak_blocks, "_sway", lambda *given: asked.append(given[1:]) or 7.0)
        told = [
            leak_blocks._sways(gatherer, at_s, kpa, 0.04, number == 3, step_kpa=0.5)
            for number, (at_s, kpa) in enumerate(parts)
        ]
    assert told == [1.0, 1.0, 1.0, 7.0]
    assert asked == [pytest.approx((0.475, 60.15, 0.01, 0.125))]
    assert gatherer.second == []


@pytest.mark.parametrize(("noise_kpa", "used_kpa"), [(0.0015, None), (0.15, None), (0.2, 0.2), (0.275, 0.275)])
def test_noise_that_hides_the_stairs_is_no_less_than_it_takes_to_hide_them(noise_kpa, used_kpa):
    """A gauge of 0.5 kPa stood for its first minute and seemed to have no noise; then its values mixed (found by 0.48)."""
    gatherer = ready(noise_kpa=noise_kpa, quantum_kpa=0.5)
    noise_known(gatherer.stairs, 0.48)
    told = closed(gatherer, 60.0, 60.5, 60.5)
    hides = 0.5 * math.sqrt(0.48**2 + 1.0 / 12.0)
    own = 0.48 if used_kpa is None else math.sqrt(max((used_kpa / 0.5) ** 2 - 1.0 / 12.0, 0.0))
    bias = 20.0 * math.exp(-4.0 * math.pi**2 * own**2) * 0.5**2 / (2.0 * math.pi**2)
    assert told.noise_kpa2 == pytest.approx((used_kpa or hides) ** 2 / 3.0 + FLOOR + bias)


def test_of_an_instant_the_first_reading_counts():
    gatherer = Gatherer()
    for value, at_s in ((62.0, 100.0), (50.0, 100.0), (61.9, 100.2), (50.0, 100.2)):
        gather(gatherer, value, at_s)
    assert (gatherer.values_kpa, gatherer.times_s) == ([62.0, 61.9], [100.0, 100.2])
