"""Steps of a figure from lift to lift: found soon, dated, withdrawn when nothing came of them."""

import numpy as np
import pytest

from monitor.core.steps import CONFIRM_N, LEARN_N, find_steps


def quiet(seed: int, n: int, level: float = 0.1, scatter: float = 0.01) -> list[float]:
    return (level + scatter * np.random.default_rng(seed).standard_normal(n)).tolist()


def stepped(seed: int, at: int, after_n: int, size: float) -> list[float]:
    values = quiet(seed, at + after_n)
    return [value + (size if n >= at else 0.0) for n, value in enumerate(values)]


@pytest.mark.parametrize("size", [0.04, -0.04, 0.1])
def test_step_is_found_dated_and_sized(size: float) -> None:
    [step] = find_steps(stepped(1, 100, 40, size))
    assert abs(step.at - 100) <= 1
    assert step.certain
    assert step.size == pytest.approx(size, abs=0.015)
    assert step.scatter == pytest.approx(0.01, rel=0.4)


def test_most_steps_of_twice_the_scatter_are_told_within_five_lifts() -> None:
    told = [bool(find_steps(stepped(seed, 100, 5, 0.02))) for seed in range(60)]
    assert sum(told) >= 57  # of 300 such, 98 % are


def test_step_after_two_odd_lifts_is_told_where_it_is() -> None:
    found_n = 0
    for seed in range(60):
        values = stepped(seed, 100, 10, 0.02)
        values[94] += 0.025
        values[95] += 0.025
        found_n += any(abs(step.at - 100) <= 3 for step in find_steps(values))
    assert found_n >= 36  # of 200 such, 72 % are


def test_possible_step_is_withdrawn_by_the_lifts_after_it() -> None:
    values = quiet(8, 160)
    values[140] = values[141] = values[142] = values[143] = 0.125  # two and a half scatters
    assert [step.certain for step in find_steps(values[:144])] == [False]
    assert find_steps(values[:152]) == []


def test_no_step_is_dated_back_past_another_or_past_a_service() -> None:
    for seed in range(20):
        random = np.random.default_rng(seed)
        values = 1.0 + 0.1 * random.standard_normal(400)
        values[random.random(400) < 0.03] *= 2.0
        for at in random.integers(20, 390, 6):
            values[at:] += random.choice([-0.25, 0.2, 0.4])
        [service, *_] = restarts = [int(n) for n in random.integers(20, 390, 2)]
        for lifts_n in range(40, 401, 40):
            found = find_steps(values[:lifts_n].tolist(), restarts)
            places = [step.at for step in found]
            assert places == sorted(set(places))
            assert not any(step.at < service < step.noticed_at for step in found)


@pytest.mark.parametrize("size", [0.1, 0.3, 3.0])
def test_large_step_is_told_within_four_lifts(size: float) -> None:
    assert len(find_steps(stepped(1, 100, 4, size))) == 1


def test_step_is_not_certain_before_later_lifts_confirm_it() -> None:
    values = stepped(1, 100, 40, 0.1)
    noticed_at = find_steps(values)[0].noticed_at
    assert not find_steps(values[: noticed_at + CONFIRM_N])[0].certain
    assert find_steps(values[: noticed_at + CONFIRM_N + 2])[0].certain


def test_few_odd_lifts_make_no_step_that_stays() -> None:
    values = quiet(2, 200)
    for n in (60, 61, 62, 140):
        values[n] = 0.3
    assert find_steps(values) == []


def test_slow_growth_is_no_step() -> None:
    values = [value + 0.0002 * n for n, value in enumerate(quiet(3, 500))]
    assert find_steps(values) == []


def test_at_most_one_false_step_in_five_hundred_healthy_lifts() -> None:
    assert sum(step.certain for seed in range(20) for step in find_steps(quiet(seed, 500))) <= 20


def test_new_level_at_a_service_is_no_step() -> None:
    assert find_steps(stepped(4, 100, 60, -0.06), restarts=[100]) == []


@pytest.mark.parametrize("n", [0, 1, LEARN_N - 1])
def test_too_few_lifts_have_no_step(n: int) -> None:
    assert find_steps([0.1] * n) == []


def test_figure_that_never_moves_is_no_fault() -> None:
    assert find_steps([0.0] * 200) == []
