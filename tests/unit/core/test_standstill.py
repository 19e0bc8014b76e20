"""One gauge's own values, one after another: how fine it is, how noisy, and when it must have moved by now."""

import math

import numpy as np
import pytest
from scipy.stats import norm

from monitor.core.standstill import LEARNS_N, Standstill, follow


def fed(*values_kpa: float, still: Standstill | None = None, from_s: float = 0.0, step_s: float = 1.0) -> Standstill:
    for number, value_kpa in enumerate(values_kpa):
        still = follow(still, value_kpa, from_s + number * step_s)
    assert still is not None
    return still


def known(*, noise_kpa: float = 0.1, quantum_kpa: float = 0.1, seen_n: int = LEARNS_N) -> Standstill:
    """A gauge of such a noise and resolution that says 60 for the first time at 0 s: rounding adds q²/12 to its variance."""
    bend_var_kpa2 = 6.0 * (noise_kpa**2 + quantum_kpa**2 / 12.0)
    return Standstill(60.0, 0.0, step_kpa=0.1, seen_n=seen_n, quantum_kpa=quantum_kpa, bend_var_kpa2=bend_var_kpa2)


def stood(still: Standstill, n: int, *, step_s: float = 1.0) -> Standstill:
    """The same value again until it was heard ``n`` times; its noise as known all the while."""
    for number in range(1, n):
        again = follow(still, still.raw_kpa, number * step_s)
        still = Standstill(
            still.raw_kpa, still.since_s, again.same_n, still.step_kpa, 0, still.seen_n, still.quantum_kpa,
            still.bend_var_kpa2, frozen=again.frozen,
        )  # fmt: skip
    return still


# --- what is learned


def test_first_value_says_nothing_of_the_gauge() -> None:
    still = fed(60.0)
    assert (still.raw_kpa, still.since_s, still.same_n, still.quantum_kpa) == (60.0, 0.0, 1, None)
    assert (still.frozen, still.noisy, still.noise_kpa) == (False, False, 0.0)


def test_value_stands_since_it_was_first_heard() -> None:
    still = fed(60.0, 61.0, 61.0, 61.0)
    assert (still.since_s, still.same_n, still.step_kpa) == (1.0, 3, 1.0)
    assert fed(60.0, still=still, from_s=9.0).since_s == 9.0


@pytest.mark.parametrize(
    ("values_kpa", "quantum_kpa"),
    [
        ((60.0, 60.5), 0.5),
        ((60.0, 60.5, 60.25), 0.25),  # the smallest step so far
        ((60.0, 59.9, 58.0), 0.1),
        ((60.0, 64.1), None),  # a wild step says nothing of its resolution
        ((60.0, 64.0), 4.0),
    ],
)
def test_resolution_is_the_smallest_step_seen(values_kpa: tuple[float, ...], quantum_kpa: float | None) -> None:
    assert fed(*values_kpa).quantum_kpa == (None if quantum_kpa is None else pytest.approx(quantum_kpa))


@pytest.mark.parametrize("noise_kpa", [0.1, 0.3])
@pytest.mark.parametrize("slope_kpa", [0.0, -0.05])
def test_noise_is_learned_and_no_trend_counts_as_such(noise_kpa: float, slope_kpa: float) -> None:
    chance = np.random.default_rng(4)
    learned_kpa = []
    still = None
    for number in range(2000):
        value_kpa = 60.0 + slope_kpa * number + noise_kpa * chance.standard_normal()
        still = follow(still, round(value_kpa, 2), float(number))
        learned_kpa.append(still.noise_kpa)
    assert np.mean(learned_kpa[500:]) == pytest.approx(noise_kpa, rel=0.12)


def test_wild_value_is_no_noise() -> None:
    calm = fed(*[60.0, 60.1] * 50)
    assert fed(95.0, still=calm, from_s=100.0).noise_kpa == calm.noise_kpa


def noted(*, step_kpa: float = 0.0, same_n: int = 1, seen_n: int = LEARNS_N, frozen: bool = False) -> Standstill:
    """A gauge at 60 kPa in steps of 0.25 kPa. Three of its second difference's deviations and a step are 1 kPa."""
    return Standstill(60.0, 0.0, same_n, step_kpa, seen_n=seen_n, quantum_kpa=0.25, bend_var_kpa2=0.0625, frozen=frozen)


@pytest.mark.parametrize(
    ("before_kpa", "same_n", "step_kpa", "bend_kpa"),
    [
        pytest.param(0.5, 1, 0.25, 0.25, id="slower on"),
        pytest.param(-0.5, 1, 0.25, 0.75, id="turned back"),
        pytest.param(0.5, 2, 0.25, 0.25, id="moved after it stood: from a standstill"),
        pytest.param(-0.5, 2, 0.25, 0.25, id="moved back after it stood: the same"),
        pytest.param(-0.5, 7, 0.25, 0.25, id="after it stood for long"),
        pytest.param(0.5, 1, 0.0, 0.5, id="came to a stand"),
        pytest.param(0.5, 2, 0.0, 0.0, id="stands on"),
        pytest.param(0.5, 3, 0.0, 0.0, id="stands still"),
    ],
)
def test_noise_is_learned_from_how_much_the_step_changed(
    before_kpa: float, same_n: int, step_kpa: float, bend_kpa: float
) -> None:
    """A fiftieth of the new square, forty-nine of what was known."""
    still = fed(60.0 + step_kpa, still=noted(step_kpa=before_kpa, same_n=same_n))
    assert still.bend_var_kpa2 == pytest.approx(0.98 * 0.0625 + 0.02 * bend_kpa**2)


@pytest.mark.parametrize(
    ("still", "value_kpa", "learned_n"),
    [
        pytest.param(noted(seen_n=0), 60.25, 1, id="first change"),
        pytest.param(noted(), 61.0, 1, id="just as much as usual"),
        pytest.param(noted(), 61.25, 0, id="more than usual"),
        pytest.param(noted(seen_n=39), 61.25, 1, id="more than usual, and what is usual not known yet"),
        pytest.param(noted(seen_n=0), 64.0, 1, id="a leap of just 4 kPa"),
        pytest.param(noted(seen_n=0), 64.25, 0, id="a leap of more"),
        pytest.param(noted(step_kpa=-2.0, seen_n=0), 62.0, 1, id="to and fro by 4 kPa"),
        pytest.param(noted(step_kpa=-2.0, seen_n=0), 62.25, 0, id="to and fro by more"),
        pytest.param(noted(step_kpa=5.0), 65.0, 0, id="a wild ramp"),
    ],
)
def test_change_teaches_what_is_usual_unless_it_is_wild(still: Standstill, value_kpa: float, learned_n: int) -> None:
    assert fed(value_kpa, still=still).seen_n - still.seen_n == learned_n


def test_back_from_a_wild_value_nothing_is_learned_before_the_resolution_is_known() -> None:
    still = fed(60.0, 65.0, 62.0, 62.0)
    assert (still.quantum_kpa, still.noise_kpa, still.bend_var_kpa2) == (None, 0.0, 0.0)


def test_gauge_that_stands_keeps_the_resolution_it_showed() -> None:
    assert fed(60.0, 60.5, 60.5, 60.5).quantum_kpa == 0.5


# --- frozen


@pytest.mark.parametrize("noise_kpa", [0.1, 0.2, 0.5])
def test_gauge_is_frozen_once_its_noise_makes_the_standstill_a_chance_in_a_thousand_millions(noise_kpa: float) -> None:
    """Each reading rounds to the same step by the normal distribution: twice Φ(q/2σ) less one."""
    stays = 2.0 * norm.cdf(0.5 * 0.1 / noise_kpa) - 1.0
    n = math.ceil(math.log(1e-9) / math.log(stays))
    assert not stood(known(noise_kpa=noise_kpa), n - 1, step_s=5.0).frozen
    assert stood(known(noise_kpa=noise_kpa), n, step_s=5.0).frozen


@pytest.mark.parametrize(("n", "frozen"), [(60, False), (61, True)])
def test_no_gauge_is_frozen_before_three_seconds(n: int, frozen: bool) -> None:
    assert stood(known(), n, step_s=0.05).frozen is frozen  # 22 readings would do


def test_standstill_is_timed_from_its_first_reading() -> None:
    still = Standstill(60.0, 100.0, seen_n=LEARNS_N, quantum_kpa=0.1, bend_var_kpa2=0.0625)
    assert not fed(*[60.0] * 29, still=still, from_s=100.1, step_s=0.1).frozen
    assert fed(*[60.0] * 30, still=still, from_s=100.1, step_s=0.1).frozen


@pytest.mark.parametrize(("noise_kpa", "frozen"), [(0.059, False), (0.061, True)])
def test_gauge_coarser_than_its_noise_may_stand_still_for_ever(noise_kpa: float, frozen: bool) -> None:
    assert stood(known(noise_kpa=noise_kpa), 500).frozen is frozen


@pytest.mark.parametrize(("seen_n", "frozen"), [(39, False), (40, True)])
def test_gauge_is_judged_by_its_noise_once_forty_changes_were_seen(seen_n: int, frozen: bool) -> None:
    assert stood(known(seen_n=seen_n), 100).frozen is frozen


def test_frozen_gauge_stays_so_while_it_says_the_same_and_thaws_with_three_changes_in_a_row() -> None:
    frozen = stood(known(), 40)
    assert frozen.frozen
    assert fed(60.0, still=frozen, from_s=50.0).frozen
    assert fed(60.1, 60.0, still=frozen, from_s=50.0).frozen
    assert not fed(60.1, 60.0, 60.1, still=frozen, from_s=50.0).frozen
    assert fed(60.1, 60.0, 60.0, 60.1, 60.0, still=frozen, from_s=50.0).frozen  # it stood in between
    assert not fed(60.1, 60.0, 60.0, 60.1, 60.0, 60.1, still=frozen, from_s=50.0).frozen


def test_standstill_teaches_that_the_noise_is_small_for_five_readings_only() -> None:
    """A frozen gauge must not unlearn its noise."""
    still = known()
    noises = [still.noise_kpa]
    for number in range(1, 12):
        still = follow(still, 60.0, 0.1 * number)
        noises.append(still.noise_kpa)
    assert noises[5] < noises[4] < noises[1]
    assert noises[5:] == [noises[5]] * 7


# --- noisy


def loud(n: int, *, by_kpa: float = 3.0) -> list[float]:
    """Readings to and fro, far above the noise known."""
    return [60.0 + by_kpa * (-1) ** number for number in range(n)]


def test_gauge_is_noisy_after_twenty_readings_of_which_more_than_a_third_are_loud() -> None:
    """Each loud one brings the share a twentieth nearer to one: over 0.35 with the ninth, and twenty of them in a row."""
    told = [fed(*loud(n), still=known()).noisy for n in range(1, 40)]
    first_n = told.index(True) + 1
    assert first_n == 9 + 19
    assert all(told[first_n - 1 :])


@pytest.mark.parametrize(
    ("bend_var_kpa2", "step_kpa", "is_loud"),
    [
        pytest.param(0.0, 0.75, False, id="all up to 0.75 kPa is ordinary"),
        pytest.param(0.0, 0.8125, True, id="more than that on a gauge without noise"),
        pytest.param(0.0625, 1.0, False, id="three deviations of 0.25 kPa and a step of 0.25 kPa"),
        pytest.param(0.0625, 1.0625, True, id="more than those"),
    ],
)
def test_reading_is_loud_above_its_usual_noise_and_its_resolution(
    bend_var_kpa2: float, step_kpa: float, is_loud: bool
) -> None:
    still = Standstill(60.0, 0.0, 2, seen_n=LEARNS_N, quantum_kpa=0.25, bend_var_kpa2=bend_var_kpa2)
    assert fed(60.0 + step_kpa, still=still).loud_ratio == (0.05 if is_loud else 0.0)


@pytest.mark.parametrize("by_kpa", [0.1, 0.18])
def test_noise_as_it_always_was_is_not_loud(by_kpa: float) -> None:
    """Second differences of four times the step: under 0.75 kPa all is ordinary."""
    assert not fed(*loud(200, by_kpa=by_kpa), still=known(noise_kpa=0.01)).noisy


@pytest.mark.parametrize("calm_with", [60.0, None])
def test_noisy_gauge_is_believed_again_once_the_loud_ones_are_a_tenth(calm_with: float | None) -> None:
    """Each calm one leaves 95 % of the share."""
    noisy = fed(*loud(40), still=known())
    assert noisy.noisy
    quiet_n = math.ceil(math.log(0.1 / noisy.loud_ratio) / math.log(0.95))
    last = noisy.raw_kpa
    values = [last if calm_with is None else last + 0.05 * (number % 2) for number in range(quiet_n + 6)]
    told = [fed(*values[:n], still=noisy, from_s=100.0).noisy for n in range(1, len(values))]
    assert told[quiet_n - 6]
    assert not told[-1]
