"""Shares on pads: many loads at once, off the drawing's origin, small ones, and how the springs are found in few rounds."""

import numpy as np
import pytest

from monitor.core import pads
from monitor.core.pads import centre_is_between, pulls, slides

GRID = np.array([(x, y) for x in (-0.9, 0.0, 0.9) for y in (-0.3, 0.3)])
PIERS = np.array([(3.0, 2.0), (3.0, -2.0), (-3.0, 2.0), (-3.0, -2.0)])
REBALANCED = [175 / 3, 25.0, 50 / 3, 0.0]  # of 100 at (2, 1): worked out in test_pads
SHIFT = np.array([5.0, -3.0])


@pytest.mark.parametrize("shift", [np.zeros(2), SHIFT], ids=["about the origin", "off it"])
def test_each_load_is_shared_as_if_it_were_alone(shift: np.ndarray) -> None:  # type: ignore[type-arg]
    """However much larger another is: pressed and unpressed, lying, a couple, and nothing at all."""
    force = np.array([1.0e15, 100.0, 100.0, -100.0, 0.0])
    at = np.array([(0.0, 0.0), (2.0, 1.0), (0.0, 0.0), (2.0, 1.0), (0.0, 0.0)])
    places = PIERS + shift
    shares = pulls(places, np.full(4, 0.1), force, force[:, None] * (at + shift))
    assert shares[0] == pytest.approx([2.5e14] * 4)
    assert shares[1] == pytest.approx(REBALANCED, abs=1e-4)
    assert shares[2] == pytest.approx([25.0] * 4)
    assert shares[3] == pytest.approx([-54.1667, -29.1667, -20.8333, 4.1667], abs=1e-4)
    assert shares[4] == pytest.approx([0.0] * 4, abs=1e-9)


def test_pressed_loads_are_followed_to_their_end_beside_much_larger_ones() -> None:
    random = np.random.default_rng(12)
    for _ in range(40):
        places = random.uniform(-1.0, 1.0, (random.integers(3, 12), 2))
        force = np.array([1.0e15, 1.0e3, 1.0e-9])
        at = random.normal(0.0, 0.5, 2)
        large, small, tiny = pulls(places, np.full(len(places), 0.1), force, force[:, None] * at)
        assert small == pytest.approx(large * 1.0e-12, rel=1e-4, abs=1e-2)
        assert tiny == pytest.approx(large * 1.0e-24, rel=1e-4, abs=1e-14)


def test_rows_of_pads_in_one_line_are_each_judged_by_their_own_moment_across() -> None:
    """A moment of 30 N m across is 10 N m on each face of 0.2 m: 4·10/0.2 = 200 N more (circular section modulus)."""
    row = np.array([(-0.6, 0.0), (0.0, 0.0), (0.6, 0.0)])
    moment = np.array([(0.0, 0.0), (0.0, 30.0), (0.0, -30.0), (0.0, 0.03)])
    shares = pulls(row, np.full(3, 0.2), np.array([1.0e15, 900.0, 900.0, 0.9]), moment)
    assert shares[0] == pytest.approx([1.0e15 / 3] * 3)
    assert shares[1] == pytest.approx([500.0] * 3)
    assert shares[2] == pytest.approx([500.0] * 3)
    assert shares[3] == pytest.approx([0.5] * 3)  # of half a newton as of half a kilonewton


@pytest.mark.parametrize("force_n", [0.0, 0.5, 100.0])
def test_couple_on_three_rows_presses_as_little_as_it_can(force_n: float) -> None:
    """Of the couple alone the plate turns about the upper row, and presses the others by k 0.9 and k 1.8 a pad.

    It pulls 2.7 k a pad, 8.1 k are the couple (as in test_layout). Under a load the upper rows share that as well.
    """
    shares = pulls(GRID, np.full(6, 0.1), np.array([force_n]), np.array([[max(8.1, 0.9 * force_n), 0.0]]))[0]
    if force_n == 0.0:
        assert shares == pytest.approx([-1.8, -1.8, -0.9, -0.9, 2.7, 2.7], abs=1e-5)
    assert shares.sum() == pytest.approx(force_n, abs=1e-6)
    assert shares @ GRID[:, 0] == pytest.approx(max(8.1, 0.9 * force_n), rel=1e-6)
    assert shares[4] == pytest.approx(shares[5])


def test_small_load_outside_the_kern_is_shared_as_a_large_one() -> None:
    for force_n in (0.01, 1.0, 1.0e6):
        shares = pulls(PIERS, np.full(4, 0.1), np.array([force_n]), force_n * np.array([[2.0, 1.0]]))[0]
        assert shares / force_n * 100.0 == pytest.approx(REBALANCED, abs=1e-4)


def test_springs_are_found_in_a_few_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """One solution of the plane, and one a round: seven at most and two on average were seen on these."""
    solved: list[int] = []
    solve = np.linalg.solve

    def counted(matrix: np.ndarray, wanted: np.ndarray) -> np.ndarray:  # type: ignore[type-arg]
        solved.append(1)
        return solve(matrix, wanted)

    monkeypatch.setattr(pads.np.linalg, "solve", counted)
    random = np.random.default_rng(11)
    rounds = []
    for _ in range(200):
        places = random.uniform(-1.0, 1.0, (random.integers(3, 12), 2))
        solved.clear()
        pulls(places, np.full(len(places), 0.1), np.array([1000.0]), 1000.0 * random.normal(0.0, 0.5, (1, 2)))
        rounds.append(len(solved) - 1)
    assert max(rounds) <= 8
    assert np.mean(rounds) <= 3.0


# --- how far along a step the energy is least


@pytest.mark.parametrize(
    ("lift", "step", "work", "along"),
    [
        # The slope of the energy: of each pulled pad (lift + t step)·step, of a pressed one 1e-7 of that, less the work.
        pytest.param([1.0, 1.0], [1.0, 1.0], 6.0, 2.0, id="two pulled pads: 2(1 + t) = 6"),
        pytest.param([1.0], [-1.0], -0.25, 0.75, id="before it comes to be pressed: 1 - t = 0.25"),
        pytest.param([1.0], [-1.0], 1.0e-7, 2.0, id="after that: 1e-7 (t - 1) = 1e-7"),
        pytest.param([-1.0], [1.0], 1.0, 2.0, id="after it comes to be pulled: t - 1 = 1"),
        pytest.param([-5.0, -1.0], [1.0, 1.0], 3.0, 4.0, id="between two bends: t - 1 = 3"),
        pytest.param([-1.0, -5.0], [1.0, 1.0], 3.0, 4.0, id="the other way round"),
        pytest.param([1.0, -1.0, 3.0], [1.0, 0.0, 0.0], 3.0, 2.0, id="pads that stay: 1 + t = 3"),
        pytest.param([-2.0, 4.0], [4.0, -2.0], -7.0, 0.25, id="before either bend: -2(4 - 2t) = -7"),
    ],
)
def test_step_ends_where_the_energy_is_least(lift: list[float], step: list[float], work: float, along: float) -> None:
    found = pads._stride(np.array([lift]), np.array([step]), np.array([work]))
    assert found.shape == (1, 1)
    assert found.dtype == np.float64
    assert found[0, 0] == pytest.approx(along, rel=1e-5)


def test_steps_of_many_loads_end_each_by_itself() -> None:
    lift, step = np.array([[1.0, 1.0], [-5.0, -1.0], [1.0, 9.0]]), np.array([[1.0, 1.0], [1.0, 1.0], [-1.0, 0.0]])
    found = pads._stride(lift, step, np.array([6.0, 3.0, -0.25]))
    assert found[:, 0] == pytest.approx([2.0, 4.0, 0.75], rel=1e-5)


def test_step_that_moves_nothing_has_an_end() -> None:
    assert np.isfinite(pads._stride(np.ones((1, 2)), np.zeros((1, 2)), np.zeros(1))).all()


# --- along the panel


@pytest.mark.parametrize("shift", [np.zeros(2), SHIFT], ids=["about the origin", "off it"])
def test_slides_are_about_the_pads_own_middle(shift: np.ndarray) -> None:  # type: ignore[type-arg]
    """Two pads, one 1 m above the other's middle: 2 N to the right are 1 N each; 2 N m to the left are 1 N more below."""
    places = np.array([(0.0, 1.0), (0.0, -1.0)]) + shift
    shares = slides(places, np.full(2, 0.1), np.array([(2.0, 0.0), (2.0, 0.0), (0.0, 2.0)]), np.array([2.0, -2.0, 2.0]))
    assert shares == pytest.approx(np.array([(0.0, 2.0), (2.0, 0.0), (np.sqrt(2.0), np.sqrt(2.0))]))


@pytest.mark.parametrize(
    ("apart_m", "share_n"),
    [
        pytest.param(0.01, 1.0 / 0.01, id="a centimetre apart: T/a"),
        pytest.param(0.0004, 2.0 / (2 * 0.1), id="at one place: 2 T/(n R) on their faces"),
    ],
)
def test_torque_is_taken_by_the_arms_while_there_are_any(apart_m: float, share_n: float) -> None:
    places = np.array([(apart_m / 2, 0.0), (-apart_m / 2, 0.0)])
    shares = slides(places, np.full(2, 0.1), np.zeros((1, 2)), np.array([1.0]))[0]
    assert shares == pytest.approx([share_n, share_n])


@pytest.mark.parametrize("shift", [np.zeros(2), SHIFT], ids=["about the origin", "off it"])
@pytest.mark.parametrize(
    ("places", "centre", "between"),
    [
        (PIERS, (2.9, 1.9), True),
        (PIERS, (3.01, 0.0), False),
        (PIERS[:3], (-1.0, -1.0), False),
        (PIERS[:2], (3.0, 1.9), True),
        (PIERS[:2], (3.0, 2.1), False),
        (PIERS[:2], (3.02, 2.1), False),  # past the end of the line as well as beside it
        (PIERS[:2], (3.04, 0.0), True),
        (PIERS[:2], (2.94, 0.0), False),
        (PIERS[:1], (3.0, 2.04), True),
        (PIERS[:1], (3.0, 2.06), False),
        (PIERS[:1], (3.06, 2.0), False),
    ],
)  # fmt: skip
def test_centre_between_pads_wherever_they_are_drawn(
    places: np.ndarray,  # type: ignore[type-arg]
    centre: tuple[float, float],
    between: bool,
    shift: np.ndarray,  # type: ignore[type-arg]
) -> None:
    """A line, or a single pad, reaches a quarter of its radius of 0.2 m to each side: 0.05 m."""
    assert centre_is_between(places + shift, np.full(len(places), 0.2), np.array(centre) + shift) is between
