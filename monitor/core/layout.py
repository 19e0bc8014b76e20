"""The pads in use under a panel, and what each gets of it at a tilt and a turn."""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from monitor.core.config import LifterConfig, Suspension
from monitor.core.pads import Floats, centre_is_between, pulls, slides
from monitor.core.units import CM2_PER_M2, MM_PER_M


@dataclass(frozen=True, slots=True)
class Centre:
    """Centre of gravity from the pad drawing's origin: x along the width, y up the panel, depth away from the pads."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    depth_mm: float = 0.0


@dataclass(frozen=True)
class Layout:
    """Pads in use and the panel's centre of gravity, in metres, as arrays."""

    ids: tuple[str, ...]
    circuits: tuple[str, ...]
    xy_m: Floats
    area_m2: Floats
    centre_m: Floats  # x, y
    depth_m: float
    balanced: bool

    @cached_property
    def radius_m(self) -> Floats:
        return np.sqrt(self.area_m2 / np.pi)

    @cached_property
    def can_hang(self) -> bool:
        return centre_is_between(self.xy_m, self.radius_m, self.centre_m)

    def by_circuit(self, circuits: tuple[str, ...]) -> list[list[int]]:
        """Places of each circuit's pads in the arrays."""
        return [[i for i, its in enumerate(self.circuits) if its == circuit] for circuit in circuits]

    def without(self, circuit: str) -> "Layout | None":
        """The layout with one circuit lost; ``None`` when no pad is left."""
        left = [i for i, its in enumerate(self.circuits) if its != circuit]
        if not left:
            return None
        return replace(
            self,
            ids=tuple(self.ids[i] for i in left),
            circuits=tuple(self.circuits[i] for i in left),
            xy_m=self.xy_m[left],
            area_m2=self.area_m2[left],
        )

    def shares(self, tilt_deg: Floats, rotation_deg: Floats) -> tuple[Floats, Floats]:
        """Pulling and sliding share of each pad per unit of weight, both shape (m, n), at m tilts and rotations.

        Infinite where the pads cannot balance the load. Turning the panel counter-clockwise by ``rotation_deg`` turns
        gravity the other way in the drawing. Past upright the panel lies on the pads; what its depth pulls at the upper
        pads is then not eased by that.
        """
        tilt, turn = np.radians(tilt_deg), np.radians(rotation_deg)
        away, along = np.cos(tilt), np.sin(tilt)
        down = np.column_stack([-np.sin(turn), -np.cos(turn)])
        lever_nm = -self.depth_m * along[:, None] * down  # the depth pulls the upper pads
        pull = np.maximum(self._pulls(away, away[:, None] * self.centre_m + lever_nm), 0.0)
        lying = away < 0.0
        if lying.any() and self.depth_m:
            pull[lying] = np.maximum(pull[lying], self._pulls(np.zeros(lying.sum()), lever_nm[lying]))
        arm_m = self.centre_m - self.xy_m.mean(axis=0)
        force = along[:, None] * down
        slide = slides(self.xy_m, self.radius_m, force, arm_m[0] * force[:, 1] - arm_m[1] * force[:, 0])
        if not self.can_hang:
            # hanging more than it slides, a panel held outside its centre of gravity peels off
            pull[away > np.abs(along) + 1.0e-9] = np.inf
        return pull, slide

    def _pulls(self, force: Floats, moment: Floats) -> Floats:
        rigid = pulls(self.xy_m, self.radius_m, force, moment)
        if not self.balanced:
            return rigid
        # Pads at one place along the width hang on one beam and share equally while the beams can balance the load;
        # where they cannot, a beam comes to rest on its stop and the frame is rigid again.
        places = np.round(self.xy_m[:, 0], 3)
        beams_m = np.array([self.xy_m[places == place].mean(axis=0) for place in places])
        shared = pulls(beams_m, self.radius_m, force, moment)
        fits = np.isclose(shared @ self.xy_m, moment, rtol=0.0, atol=1.0e-6).all(axis=1, keepdims=True)
        return np.where(fits & (shared >= 0.0).all(axis=1, keepdims=True), shared, rigid)


def lay_out(lifter: LifterConfig, pads: tuple[str, ...], centre: Centre) -> Layout:
    """Return the pads in use as arrays.

    Raises:
        ValueError: A pad is not the lifter's, or none is given.
    """
    unknown = [pad for pad in pads if pad not in lifter.pads]
    if unknown or not pads:
        raise ValueError(f"pads in use are {list(pads)}; they must be some of {list(lifter.pads)}")
    chosen = [lifter.pads[pad] for pad in pads]
    return Layout(
        ids=tuple(pads),
        circuits=tuple(pad.circuit for pad in chosen),
        xy_m=np.array([[pad.x_mm, pad.y_mm] for pad in chosen]) / MM_PER_M,
        area_m2=np.array([pad.area_cm2 for pad in chosen]) / CM2_PER_M2,
        centre_m=np.array([centre.x_mm, centre.y_mm]) / MM_PER_M,
        depth_m=centre.depth_mm / MM_PER_M,
        balanced=lifter.suspension is Suspension.BALANCED,
    )
