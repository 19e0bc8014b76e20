"""Pad shares against published load-share examples and an independent solver."""

import numpy as np
import pytest
from scipy.optimize import nnls

from monitor.core.pads import Floats, centre_is_between, pulls, slides

POINT = 1.0e-3  # m, radius: the published examples are of points


def pull_of(places: list[tuple[float, float]], load: float, at: tuple[float, float], radius: float = POINT) -> Floats:
    """Shares of one load at a place."""
    moment = load * np.array([at])
    return pulls(np.array(places), np.full(len(places), radius), np.array([load]), moment)[0]


def slide_of(
    places: list[tuple[float, float]], force: tuple[float, float], torque: float, radius: float = POINT
) -> Floats:
    """Shares of one force along the panel, with a torque about the centroid."""
    return slides(np.array(places), np.full(len(places), radius), np.array([force]), np.array([torque]))[0]


# eng-tips thread 400254: rigid base on four piers at the corners of 6 x 4 ft, 100 t, eccentric by 2 and 1 ft.
# Published by the plane alone: 54, 29, -4, 21 t.
PIERS = [(3.0, 2.0), (3.0, -2.0), (-3.0, 2.0), (-3.0, -2.0)]


def test_corner_piers_are_the_published_ones_where_the_load_lies_on_them() -> None:
    """A base on piers presses and lifts both ways, as the pads do under a panel that lies on them: the plane as it is."""
    shares = -pull_of(PIERS, -100.0, (2.0, 1.0))
    assert shares == pytest.approx([54.1667, 29.1667, 20.8333, -4.1667], abs=1e-4)
    assert [round(share) for share in shares] == [54, 29, 21, -4]


def test_corner_piers_inside_the_kern_follow_the_published_plane() -> None:
    # the same plane at half the eccentricity presses nowhere: 25 +- 100*1/(6*2) +- 100*0.5/(4*2)
    assert pull_of(PIERS, 100.0, (1.0, 0.5)) == pytest.approx([39.5833, 27.0833, 22.9167, 10.4167], abs=1e-4)


def test_corner_pier_that_would_be_pressed_pulls_nothing_and_the_rest_rebalance() -> None:
    shares = pull_of(PIERS, 100.0, (2.0, 1.0))  # the plane: 54.1667, 29.1667, 20.8333, -4.1667
    # three pads left are statically determinate: n1 - n2 = 100/3, n1 + n2 = 250/3
    assert shares == pytest.approx([175 / 3, 25.0, 50 / 3, 0.0], abs=1e-4)
    assert shares.sum() == pytest.approx(100.0)


def test_pile_group_with_driven_errors_couples_the_axes() -> None:
    """Pile-cap calculation sheet (scribd 417790842), four piles, 1693 kN, 26.50 and 8.50 mm off their centroid.

    The sheet prints the sums of squares, 605 755 and 532 259 mm², and uncoupled shares; the only places in whole
    millimetres with these sums and the coupling sum 19 573 mm² are the ones below.
    """
    places = np.array([(-366.5, 384.5), (-410.5, -367.5), (365.5, -361.5), (411.5, 344.5)])
    assert (places**2).sum(axis=0) == pytest.approx([605_755.0, 532_259.0])
    assert places.prod(axis=1).sum() == pytest.approx(19_573.0)
    uncoupled = 1693.0 * (0.25 + places @ (np.array([26.5, 8.5]) / (places**2).sum(axis=0)))
    assert uncoupled == pytest.approx([406.50, 382.91, 440.55, 463.04], abs=0.005)
    shares = pull_of(list(map(tuple, places)), 1693.0, (26.5, 8.5))
    assert shares == pytest.approx([405.75, 384.22, 441.23, 461.79], abs=0.005)
    assert shares.sum() == pytest.approx(1693.0)


def test_grid_of_eight_pads() -> None:
    """4 x 2 pads at x = +-0.3, +-0.9, y = +-0.5 m, 600 kg at (0.15, 0.10) m: 367.7 to 1103.2 N, most over mean 1.5."""
    places = [(x, y) for x in (-0.9, -0.3, 0.3, 0.9) for y in (-0.5, 0.5)]
    shares = pull_of(places, 600.0 * 9.80665, (0.15, 0.10))
    assert shares.min() == pytest.approx(367.7, abs=0.1)
    assert shares.max() == pytest.approx(1103.2, abs=0.1)
    assert shares.max() / shares.mean() == pytest.approx(1.5)
    lost = places.index((0.9, -0.5))
    left = pull_of(places[:lost] + places[lost + 1 :], 600.0 * 9.80665, (0.15, 0.10))
    assert left[-1] == pytest.approx(1450.0, abs=0.1)
    assert left.sum() == pytest.approx(5883.99, abs=0.01)


def test_bolts_in_shear_single_column_pair() -> None:
    """Shigley, Mechanical Engineering Design, example 8-7: 16 kN, 425 mm from four bolts at (+-75, +-60) mm."""
    bolts = [(0.075, 0.06), (0.075, -0.06), (-0.075, 0.06), (-0.075, -0.06)]
    assert slide_of(bolts, (0.0, -16.0), 16.0 * -0.425) == pytest.approx([20.97, 20.97, 14.79, 14.79], abs=0.005)


def test_bolt_group_two_by_three() -> None:
    """AS 4100 bolt group, published sum of r² 29 200 mm²: 2 x 3 at 80 mm x 70 mm, 120 kN at 200 mm."""
    bolts = [(x, y) for x in (0.04, -0.04) for y in (0.07, 0.0, -0.07)]
    assert (np.array(bolts) ** 2).sum() * 1.0e6 == pytest.approx(29_200.0)
    shares = slide_of(bolts, (0.0, -120.0), -120.0 * 0.2)
    assert shares == pytest.approx([78.14, 52.88, 78.14, 58.96, 12.88, 58.96], abs=0.005)


def test_depth_pulls_the_upper_pads_and_presses_the_lower() -> None:
    # a couple alone: 1000 N at 0.05 m on two rows 0.6 m apart, two pads each: 1000*0.05/0.6/2
    places = [(-0.9, 0.3), (0.9, 0.3), (-0.9, -0.3), (0.9, -0.3)]
    shares = pulls(np.array(places), np.full(4, POINT), np.zeros(1), np.array([[0.0, 50.0]]))[0]
    assert shares == pytest.approx([41.667, 41.667, -41.667, -41.667], abs=1e-3)


def test_pads_in_one_line_take_a_moment_across_it_by_their_faces() -> None:
    row = np.array([(-0.6, 0.0), (0.0, 0.0), (0.6, 0.0)])
    radius = np.full(3, 0.2)
    # circular section modulus pi R^3/4 (any handbook of mechanics): 10 N m on each face is 4*10/0.2 = 200 N more
    along = pulls(row, radius, np.array([900.0]), np.array([[0.0, 0.0]]))[0]
    across = pulls(row, radius, np.array([900.0]), np.array([[0.0, 30.0]]))[0]
    assert along == pytest.approx([300.0, 300.0, 300.0])
    assert across == pytest.approx([500.0, 500.0, 500.0])


def test_single_pad_takes_torque_by_its_face() -> None:
    # circular section modulus pi R^3/2 in torsion: 2 T/R more
    assert slide_of([(0.0, 0.0)], (0.0, -500.0), 0.0, radius=0.2) == pytest.approx([500.0])
    assert slide_of([(0.0, 0.0)], (0.0, -500.0), 10.0, radius=0.2) == pytest.approx([600.0])
    assert pull_of([(0.0, 0.0)], 500.0, (0.0, 0.0), radius=0.2) == pytest.approx([500.0])


@pytest.mark.parametrize(
    ("places", "centre", "between"),
    [
        (PIERS, (3.0, 2.0), True),
        (PIERS, (3.01, 0.0), False),
        (PIERS[:3], (0.1, 0.1), True),
        (PIERS[:3], (-1.0, -1.0), False),
        ([(-1.0, 0.0), (1.0, 0.0)], (0.9, 0.0), True),
        ([(-1.0, 0.0), (1.0, 0.0)], (1.1, 0.0), False),
        ([(-1.0, 0.0), (1.0, 0.0)], (0.0, 0.049), True),
        ([(-1.0, 0.0), (1.0, 0.0)], (0.0, 0.051), False),
        ([(-1.0, -1.0), (1.0, 1.0)], (0.5, 0.5), True),
        ([(0.0, 0.0)], (0.03, 0.03), True),
        ([(0.0, 0.0)], (0.06, 0.0), False),
    ],
)
def test_centre_between_the_pads(places: list[tuple[float, float]], centre: tuple[float, float], between: bool) -> None:
    radius = np.full(len(places), 0.2)  # kern of a circle: a quarter of it, 0.05 m
    assert centre_is_between(np.array(places), radius, np.array(centre)) is between


def test_shares_are_those_of_an_independent_solver() -> None:
    """Least energy of pulling springs, pressed ones almost without stiffness, by non-negative least squares (SciPy)."""
    random = np.random.default_rng(7)
    soft = 1.0e-7
    for _ in range(60):
        places = random.uniform(-1.0, 1.0, (random.integers(3, 12), 2))
        n = len(places)
        moment = random.normal(0.0, 0.5, 2)
        shares = pulls(places, np.full(n, POINT), np.ones(1), moment[None, :])[0]
        balance = 1.0e7 * np.column_stack([np.ones(n), places]).T
        energy = np.block([[np.eye(2 * n)], [balance, -np.sqrt(soft) * balance]])
        wanted = np.concatenate([np.zeros(2 * n), 1.0e7 * np.array([1.0, *moment])])
        found, _ = nnls(energy, wanted, maxiter=10_000)
        assert shares == pytest.approx(found[:n] - np.sqrt(soft) * found[n:], abs=1e-3 * np.abs(shares).max())
        assert shares.sum() == pytest.approx(1.0)
        assert shares @ places == pytest.approx(moment)
