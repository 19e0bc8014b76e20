"""Where the search looks: the grid first, then ever closer round whatever could be the worst, and nowhere else."""

from collections.abc import Callable

import numpy as np
import pytest

from monitor.core.pads import Floats
from monitor.core.search import Check, _peaks, worst_over

Looks = list[tuple[list[float], list[float]]]


def watched(check: Callable[[Floats, Floats], Floats]) -> tuple[Check, Looks]:
    """The check of one pad, and where it is asked."""
    looks: Looks = []

    def asked(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        looks.append((tilt_deg.tolist(), turn_deg.tolist()))
        return check(tilt_deg, turn_deg)[:, None]

    return asked, looks


def hill(tilt_deg: Floats, turn_deg: Floats) -> Floats:
    return np.exp(-(((tilt_deg - 41.7) / 20) ** 2) - ((turn_deg - 123.4) / 50) ** 2)


@pytest.mark.parametrize(
    ("tilts_deg", "turns_deg", "tilts", "turns"),
    [
        ([10.0, 20.0], (30.0, 50.0), [10.0, 12.0, 15.0, 18.0, 20.0], [30.0, 30 + 20 / 3, 30 + 40 / 3, 50.0]),
        ([20.0, 11.5, 10.0], (0.0, 0.0), [10.0, 11.5, 12.0, 15.0, 18.0, 20.0], [0.0]),
        ([12.0, 15.0], (-10.0, 5.0), [12.0, 15.0], [-10.0, -2.5, 5.0]),
        ([13.0, 14.0], (350.0, 365.1), [13.0, 14.0], [350.0, 350 + 15.1 / 3, 350 + 30.2 / 3, 365.1]),
    ],
)
def test_grid_has_the_ends_the_marks_and_a_step_of_three_degrees_and_seven_and_a_half_at_most(
    tilts_deg: list[float], turns_deg: tuple[float, float], tilts: list[float], turns: list[float]
) -> None:
    check, looks = watched(lambda tilt, _turn: tilt)
    worst_over(check, [[0]], tilts_deg, turns_deg)
    assert looks[0][0] == pytest.approx([tilt for tilt in tilts for _ in turns])
    assert looks[0][1] == pytest.approx(turns * len(tilts))


def test_looks_are_each_a_third_as_wide_and_end_at_rounding() -> None:
    check, looks = watched(hill)
    worst_over(check, [[0]], [0.0, 90.0], (0.0, 360.0))
    wide = [(max(tilt) - min(tilt), max(turn) - min(turn)) for tilt, turn in looks[1:]]
    assert wide == pytest.approx(np.array([(6.0 / 3**number, 15.0 / 3**number) for number in range(13)]), abs=1e-9)
    assert {len(tilt) for tilt, _ in looks[1:]} == {49}


def test_looks_go_beyond_no_end() -> None:
    """The hill's top is beyond both lower ends."""
    check, looks = watched(hill)
    worst_over(check, [[0]], [50.0, 53.0], (150.0, 160.0))
    for tilts, turns in looks:
        assert 50.0 <= min(tilts) <= max(tilts) <= 53.0
        assert 150.0 <= min(turns) <= max(turns) <= 160.0
    check, looks = watched(lambda tilt, turn: 10.0 - hill(tilt, turn))
    worst_over(check, [[0]], [20.0, 30.0], (100.0, 110.0))
    assert min(min(tilts) for tilts, _ in looks) == 20.0
    assert min(min(turns) for _, turns in looks) == 100.0


@pytest.mark.parametrize(
    ("tilts_deg", "turns_deg", "asked_n"),
    [
        pytest.param([41.0], (120.0, 120.0), {1}, id="one tilt and turn are asked once"),
        pytest.param([41.0], (100.0, 140.0), {7}, id="one tilt"),
        pytest.param([30.0, 50.0], (120.0, 120.0), {7}, id="one turn"),
    ],
)
def test_what_does_not_vary_is_not_looked_round(
    tilts_deg: list[float], turns_deg: tuple[float, float], asked_n: set[int]
) -> None:
    check, looks = watched(hill)
    [found] = worst_over(check, [[0]], tilts_deg, turns_deg)
    assert found is not None
    if asked_n == {1}:
        assert [len(tilts) for tilts, _ in looks] == [1]
        assert found[1] == (pytest.approx(hill(np.array([41.0]), np.array([120.0]))[0]), 41.0, 120.0)
    else:
        assert {len(tilts) for tilts, _ in looks[1:]} == asked_n
        assert len(looks) == 14
        assert all(set(tilts) == {41.0} for tilts, _ in looks) or all(set(turns) == {120.0} for _, turns in looks)


def hills(*tops: float) -> Callable[[Floats, Floats], Floats]:
    """Hills of these heights at turns of 45°, 135°, 225° and 315°."""

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        return np.max(
            [
                top * np.exp(-(((tilt_deg - 30) / 9) ** 2) - ((turn_deg - 45 - 90 * number) / 20) ** 2)
                for number, top in enumerate(tops)
            ],
            axis=0,
        )

    return check


@pytest.mark.parametrize(
    ("tops", "looked_round_n"),
    [
        pytest.param((1.0, 0.85, 0.85), [1, 1, 1], id="a tenth lower is given up at once"),
        pytest.param((1.0, 0.95), [2, 1, 1], id="a twentieth lower after one look"),
        pytest.param((1.0, 0.98), [2, 2, 1], id="a fiftieth lower after two"),
        pytest.param((2.0, 2.0, 2.0, 2.0), [4, 4, 1], id="of four alike one is enough after two looks"),
    ],
)
def test_only_what_could_still_be_the_worst_is_looked_round(tops: tuple[float, ...], looked_round_n: list[int]) -> None:
    check, looks = watched(hills(*tops))
    [found] = worst_over(check, [[0]], [0.0, 60.0], (0.0, 360.0))
    assert found is not None
    assert found[1].value == pytest.approx(max(tops))
    assert [len(tilts) / 49 for tilts, _ in looks[1:4]] == looked_round_n
    assert {len(tilts) for tilts, _ in looks[3:]} == {49}


def test_empty_group_beside_one_place_is_none() -> None:
    first, found = worst_over(lambda tilt, _turn: np.ones((len(tilt), 1)), [[], [0]], [30.0], (0.0, 0.0))
    assert first is None
    assert found == (0, (1.0, 30.0, 0.0))


@pytest.mark.parametrize("below", [0.0, -100.0], ids=["above nothing", "below nothing"])
def test_peaks_of_a_grid_have_no_higher_neighbour(below: float) -> None:
    """Neighbours are the eight around, also across a corner; level ground is all peak."""
    first = np.array([[9, 1, 1, 1, 5], [1, 1, 1, 1, 1], [1, 7, 1, 6, 1], [1, 1, 1, 1, 8]], dtype=float)
    second = np.full((4, 5), 3.0)
    at, which = _peaks(np.stack([first, second], axis=2) + below)
    found = sorted(zip(at.tolist(), which.tolist(), strict=True))
    assert [place for place, pad in found if pad == 0] == [0, 2, 4, 11, 19]  # the 6 beside the 8 is none
    assert [place for place, pad in found if pad == 1] == list(range(20))
