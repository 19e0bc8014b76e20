"""How a possible step is dated, withdrawn or made certain by the lifts after it."""

import numpy as np
import pytest

from monitor.core import steps
from monitor.core.steps import Found, find_steps
from tests.unit.core.test_step_charts import following, ratio, variances


def test_likeliest_beginning_is_where_the_ratios_sum_highest():
    off = [0.0, 0.1, 2.1, 1.9, 2.2, 2.0]
    at, most = steps._likeliest(off, 2, 5)
    assert at == 2
    assert most == pytest.approx(sum(ratio(z, 2.0) for z in off[2:]), abs=0.1)


@pytest.mark.parametrize(
    ("off", "dated", "latest", "at"),
    [
        ([0.0, 0.0, 2.0, 4.0, 4.0], 4, 4, 3),  # anew where that is clearly likelier
        ([0.0, 0.0, 1.5, 2.0, 2.0], 3, 4, 3),  # by less than two it stays
        ([0.0, 0.0, 4.0, 4.0, 4.0], 4, 4, 2),
        ([4.0, 4.0, 4.0, 4.0], 3, 3, 0),  # from the very first
        ([0.0, 0.0, 0.0, 4.0], 0, 3, 3),  # and up to the one it was noticed at
        ([0.0, 0.0, 0.0, 4.0, 4.0], 0, 1, 0),  # no later than it was noticed
        ([0.0, 0.0, 0.0, 7.0, 7.0, 7.0], 1, 5, 3),
    ],
)
def test_step_stays_dated_unless_another_lift_is_clearly_likelier(off, dated, latest, at):
    assert steps._likeliest(off, dated, latest)[0] == at


def again(off, *, size=0.2, at=20, noticed_at=21, end=None, since=0, slope=0.0):
    """Judge a step noticed at lift 21 by lifts ``off`` scatters off the old level from lift 9 on."""
    made = following(level=1.0, slope=slope, scale=0.1)
    values = [1.0] * 9 + [1.0 + slope * (n + 9 - noticed_at + 1) + 0.1 * z for n, z in enumerate(off)]
    found = [Found(at, noticed_at, size, 0.1, certain=False)]
    told = made.judge_again(found, values, len(values) if end is None else end, since)
    return told, found[0]


@pytest.mark.parametrize("slope", [0.0, 0.05])
def test_possible_step_is_dated_and_sized_anew_with_each_lift(slope):
    told, step = again([0.0] * 9 + [2.2, 2.4, 2.3, 2.5], slope=slope, size=0.9)
    assert told is None
    assert (step.at, step.noticed_at, step.certain) == (18, 21, False)
    assert step.size == pytest.approx(0.235)


def test_possible_step_stays_where_it_was_dated_if_another_lift_is_hardly_likelier():
    assert again([0.0] * 9 + [1.5, 2.0, 2.0, 2.0], at=19)[1].at == 19
    assert again([0.0] * 9 + [3.5, 2.0, 2.0, 2.0], at=19)[1].at == 18


def test_possible_step_down_is_judged_the_same_way():
    told, step = again([0.0] * 11 + [-2.2, -2.4], size=-0.9)
    assert told is None
    assert (step.at, step.size) == (20, pytest.approx(-0.23))


def test_step_the_lifts_no_longer_speak_for_is_withdrawn():
    assert again([0.0] * 11 + [2.0, 0.0, 0.0, 0.0])[0] is True
    assert again([0.0] * 11 + [2.0, 2.0, 0.0])[0] is None
    assert again([0.0] * 11 + [2.0, 2.0], size=-0.2)[0] is True


@pytest.mark.parametrize(("mean", "told"), [(1.25, False), (1.15, True)])
def test_step_is_certain_where_ten_later_lifts_lie_off_the_old_level(mean, told):
    """On the mean by 1.2 scatters, an odd one counted as 3.5."""
    lifts = [3.0, 3.0] + [mean] * 10
    assert again([0.0] * 11 + lifts)[0] is told
    late, step = again([0.0] * 11 + [3.0, 3.0] + [2.0] * 10)
    assert late is False
    assert step.certain
    assert again([0.0] * 11 + [3.0, 3.0] + [2.0] * 9)[0] is None  # nine are too few


@pytest.mark.parametrize(("odd", "told"), [(3.5, False), (99.0, False), (-99.0, True)])
def test_odd_lift_confirms_no_more_than_three_and_a_half(odd, told):
    rest = 1.4 if odd == 99.0 else 1.2
    assert again([0.0] * 11 + [4.0, 4.0] + [rest] * 9 + [odd])[0] is told


def test_first_lift_after_a_step_was_noticed_counts_with_the_ten():
    """-3.5 and nine of 1.7 are 1.18 on the mean."""
    assert again([0.0] * 11 + [4.0, 4.0] + [-9.0] + [1.7] * 9)[0] is True


def test_size_that_points_the_other_way_is_not_taken():
    told, step = again([0.0] * 9 + [4.0] * 3 + [-0.1] * 4, size=0.4, at=18, noticed_at=20)
    assert told is None
    assert (step.at, step.size) == (18, 0.4)


def test_no_lift_before_the_last_service_counts():
    told, step = again([2.0] * 9 + [0.0, 0.0, 2.2, 2.4], since=18)
    assert told is None
    assert step.at == 20


def test_lifts_that_were_no_step_are_followed_after_all():
    made = following(up=[(1.0, 3)] * 3, rising=True)
    twin = following()
    assert made.go_on(30, [1.0, 1.15, 1.2]) is made
    for n, value in enumerate([1.0, 1.15, 1.2], 30):
        expected, spread, z = twin._expect(value)
        twin._add(n, z)
        twin._update(expected, spread, z)
    assert (made.level, made.slope, *variances(made), made.scale) == (
        twin.level, twin.slope, *variances(twin), twin.scale
    )  # fmt: skip
    assert made.up == twin.up
    assert made.up[0][1] == 31


def test_service_and_withdrawn_step_leave_what_follows_to_be_found():
    chance = np.random.default_rng(5)
    values = (1.0 + 0.1 * chance.standard_normal(200)).tolist()
    stepped = [value + (0.6 if n >= 60 else 0.0) + (0.6 if n >= 120 else 0.0) for n, value in enumerate(values)]
    assert [round(step.at, -1) for step in find_steps(stepped)] == [60, 120]
    assert not any(step.noticed_at in range(60, 66) for step in find_steps(stepped, [60]))
    assert all(step.noticed_at >= step.at for step in find_steps(stepped))


@pytest.mark.parametrize(
    ("values", "steps_at"),
    [
        pytest.param(
            [2.8, 3.3, 3.6, 3.6, 4.8, 4.5, 5.5, 4.7, 5.0, 4.3, 2.7, 2.6, 6.3, 6.9, 6.3, 6.0, 5.2, 6.4, 6.5, 9.3, 8.0, 9.8,
             6.9, 6.0, 8.1, 6.9],
            [12, 13],
            id="to the lift after the last certain one",
        ),
        pytest.param(
            [9.7, 10.2, 10.1, 21.3, 22.0, 21.5, 21.6, 21.7, 21.8, 12.7, 12.1, 12.7, 12.4, 12.4, 12.6, 12.5, 12.1, 12.7,
             12.6, 12.7, 12.6, 12.5],
            [0],
            id="to the first lift of all, twelve before it was noticed",
        ),
    ],
)  # fmt: skip
def test_step_is_dated_back_as_far_as(values, steps_at):
    """Where so many lifts before it lie off to the same side."""
    assert [step.at for step in find_steps(values)] == steps_at
