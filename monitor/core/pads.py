"""Shares of a load on the pads that hold it: a rigid plate on equal springs."""

from typing import Final

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

ONE_LINE_M: Final = 1.0e-3
"""Pads that stray less than this from a line (or a point), m, are in one line: they have no lever arm across it."""

_SOFT_RATIO: Final = (
    1.0e-7  # stiffness of a pressed pad over a pulled one's: it pushes back only where nothing else can
)
_ROUNDING: Final = 1.0e-12
_ROUNDS_N: Final = 60


def pulls(xy_m: Floats, radius_m: Floats, force_n: Floats, moment_nm: Floats) -> Floats:
    """Return what each pad pulls of loads directed away from the pads. Pressed pads come out negative.

    The plate is rigid and the springs are equal, so a pad's share is a plane over the drawing, a + b x + c y. A pad
    that this would press pulls nothing and the rest rebalance; only where pulls alone cannot balance the moments (the
    depth of an upright panel) do pressed pads push back, as little as they can, which gives the pulled ones the most.
    Under a load that lies on the pads all of them are springs both ways.
    Pads in one line, or a single pad, have no lever arm across the line: each pad's own face takes its part of that
    moment, and the pull stated is the one at which its rim would just start to lift, 4 M/R more (circular section
    modulus pi R^3/4).

    Args:
        xy_m: Shape (n, 2), m, places of the pads.
        radius_m: Shape (n,), m, radius of a circle of each pad's area.
        force_n: Shape (m,), N, away from the pads; below 0 the load lies on them.
        moment_nm: Shape (m, 2), N m: the sums over the pads of share times x and of share times y.

    Returns:
        Shape (m, n), N. Above 0 the pad pulls. Sums to ``force_n``, but for what pads in one line add for their rims.

    Source: rigid pile cap, general coupled form: [n Sx Sy; Sx Sxx Sxy; Sy Sxy Syy] [a b c] = W [1 x0 y0].
    Check: pads at the corners of 6 x 4, load 100 at (2, 1): the plane gives 54.17, 29.17, 20.83 and -4.17; with the
    pressed pad at 0 the others rebalance to 58.33, 25.00 and 16.67.
    """
    middle_m = xy_m.mean(axis=0)
    about_middle_nm = moment_nm - force_n[:, None] * middle_m
    _, spread_m, axes = np.linalg.svd(xy_m - middle_m, full_matrices=True)
    spread_m = np.append(spread_m, [0.0, 0.0])[:2]  # a single pad has one singular value
    spans = spread_m > ONE_LINE_M
    reach_m = spread_m[spans]
    plane = np.column_stack([np.ones(len(xy_m)), (xy_m - middle_m) @ axes.T[:, spans] / reach_m])
    wanted = np.column_stack([force_n, about_middle_nm @ axes.T[:, spans] / reach_m])
    shares = _springs(plane, wanted)
    if spans.all():
        return shares
    across_nm = np.linalg.norm(about_middle_nm @ axes.T[:, ~spans], axis=1)[:, None]
    rim_n = 4.0 * across_nm / (len(xy_m) * radius_m)
    return np.where(
        across_nm > _ROUNDING * np.abs(wanted).sum(axis=1, keepdims=True), np.maximum(shares, 0.0) + rim_n, shares
    )


def _springs(plane: Floats, wanted: Floats) -> Floats:
    """Shares, (m, n), that balance ``wanted``: pulled pads are springs of stiffness 1, pressed ones of all but none.

    Where the load lies on the pads, pressing is what they do and all are springs both ways.
    Newton's method on the (convex) energy of the springs with an exact search along each step: ends in a few rounds.
    """
    lift = np.linalg.solve(plane.T @ plane, wanted.T).T @ plane.T
    shares: Floats = lift.copy()
    scale = np.abs(wanted).sum(axis=1, keepdims=True)
    rows = np.flatnonzero((wanted[:, 0] >= 0.0) & (lift < -_ROUNDING * scale).any(axis=1))
    lift = lift[rows]
    for _ in range(_ROUNDS_N):
        if not len(rows):
            break
        stiffness = np.where(lift > 0.0, 1.0, _SOFT_RATIO)
        gram = np.einsum("mn,ni,nj->mij", stiffness, plane, plane)
        goal = np.linalg.solve(gram, wanted[rows][:, :, None])[:, :, 0] @ plane.T
        shares[rows] = stiffness * goal
        turned = ((goal > 0.0) != (lift > 0.0)) & (np.abs(goal) > 1.0e-9 * np.abs(goal).max(axis=1, keepdims=True))
        on = turned.any(axis=1)
        rows, lift, goal, stiffness = rows[on], lift[on], goal[on], stiffness[on]
        lift = lift + _stride(lift, goal - lift, (stiffness * goal * (goal - lift)).sum(axis=1)) * (goal - lift)
    return shares


def _stride(lift: Floats, step: Floats, work: Floats) -> Floats:
    """How far along ``step`` the springs' energy is least, (m, 1): its slope rises, with a bend at each pad."""
    moving = np.where(step == 0.0, 1.0, step)
    bends = np.sort(np.where(step == 0.0, 0.0, np.maximum(-lift / moving, 0.0)), axis=1)
    stops = np.concatenate([np.zeros((len(step), 1)), bends, 2.0 * bends[:, -1:] + 1.0], axis=1)
    there = lift[:, None, :] + stops[:, :, None] * step[:, None, :]
    slope = (np.where(there > 0.0, 1.0, _SOFT_RATIO) * there * step[:, None, :]).sum(axis=2) - work[:, None]
    after = np.clip((slope <= 0.0).sum(axis=1), 1, stops.shape[1] - 1)[:, None]
    low, high = np.take_along_axis(slope, after - 1, 1), np.take_along_axis(slope, after, 1)
    low_at, high_at = np.take_along_axis(stops, after - 1, 1), np.take_along_axis(stops, after, 1)
    rise = np.where(high > low, high - low, 1.0)
    return np.where(high > low, low_at - low * (high_at - low_at) / rise, high_at)


def slides(xy_m: Floats, radius_m: Floats, force_n: Floats, torque_nm: Floats) -> Floats:
    """Return what each pad carries of loads along the panel: the elastic vector method.

    Each pad takes an equal part of the force, and of the torque about the pads' centroid a part at right angles to its
    arm and in proportion to it. Pads without any arm (one pad) take the torque by their faces: the force stated is the
    one that would slide the rim, 2 T/R more (circular section modulus pi R^3/2).

    Args:
        xy_m: Shape (n, 2), m.
        radius_m: Shape (n,), m.
        force_n: Shape (m, 2), N, in the plane of the pads.
        torque_nm: Shape (m,), N m, about the pads' centroid, counter-clockwise.

    Returns:
        Shape (m, n), N: the size of each pad's share.

    Source: Shigley, Mechanical Engineering Design, bolted joints loaded in shear: F' = V/n, F'' = M r/sum(r^2).
    Check: four pads at (+-75, +-60) mm, 16 kN at 425 mm from their centroid: 20.97 and 14.79 kN.
    """
    arm_m = xy_m - xy_m.mean(axis=0)
    polar_m2 = float((arm_m**2).sum())
    direct = force_n[:, None, :] / len(xy_m)
    if polar_m2 > ONE_LINE_M**2:
        turned = np.column_stack([-arm_m[:, 1], arm_m[:, 0]])
        vectors = direct + torque_nm[:, None, None] * turned / polar_m2
        sizes: Floats = np.hypot(vectors[:, :, 0], vectors[:, :, 1])
        return sizes
    rim_n: Floats = 2.0 * np.abs(torque_nm)[:, None] / (len(xy_m) * radius_m)
    return rim_n + np.hypot(direct[:, :, 0], direct[:, :, 1])


def centre_is_between(xy_m: Floats, radius_m: Floats, centre_m: Floats) -> bool:
    """Whether pulls alone can balance a load through ``centre_m``, shape (2,): it lies within the pads' outline.

    For pads in one line "within" reaches a quarter of the smallest pad's radius to each side: there the whole face
    still pulls (the kern of a circle). Check: pads at (-1, 0) and (1, 0) hold a load at (0.5, 0), none at (1.1, 0).
    """
    middle_m = xy_m.mean(axis=0)
    _, spread_m, axes = np.linalg.svd(xy_m - middle_m, full_matrices=True)
    off_m = (centre_m - middle_m) @ axes.T
    spread_m = np.append(spread_m, [0.0, 0.0])[:2]
    across_m = float(np.linalg.norm(off_m[spread_m <= ONE_LINE_M]))
    if across_m > float(radius_m.min()) / 4.0:
        return False
    along_m = centre_m - (off_m * (spread_m <= ONE_LINE_M)) @ axes
    shares = pulls(xy_m, radius_m, np.ones(1), along_m[None, :])
    return bool(shares.min() > -1.0e-5)
