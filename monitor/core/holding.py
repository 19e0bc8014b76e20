"""Force against weight: what a lifter holds of a panel through a whole move, and what is left with a circuit lost.

:func:`prepare` walks the tilts and rotations of the move once and keeps the worst of each check per unit of weight and
of vacuum; :func:`hold` then only multiplies, so it can follow every reading.
"""

import math
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

from monitor.core.config import Basis, LifterConfig, Suspension
from monitor.core.pads import Floats, centre_is_between, pulls, slides
from monitor.core.units import CM2_PER_M2, MM_PER_M, PA_PER_KPA, STANDARD_GRAVITY_M_S2

EN_FACTOR: Final = 2.0
"""EN 13155 5.2.2.1: hold at least twice the working load at the end of the working range, at all intended tilts."""


TIE: Final = 1.0 + 1.0e-9
"""Checks this close are equal, and the first of them governs."""


@dataclass(frozen=True, slots=True)
class Move:
    """The tilts and turns still to come. A turn from 350 to 10 degrees goes through 0."""

    tilt_low_deg: float = 0.0
    tilt_high_deg: float = 90.0
    rotation_low_deg: float = 0.0
    rotation_high_deg: float = 360.0


@dataclass(frozen=True, slots=True)
class Centre:
    """Centre of gravity from the pad drawing's origin: x along the width, y up the panel, depth away from the pads."""

    x_mm: float = 0.0
    y_mm: float = 0.0
    depth_mm: float = 0.0


class WorstPad(NamedTuple):
    """The pad nearest its limit; ``use_ratio`` 1 is the limit, infinite when the pads cannot balance the load."""

    id: str
    use_ratio: float


class IfLost(NamedTuple):
    """What the pads left hold when one circuit is lost, as a multiple of the load; ``None``: no load known."""

    factor: float | None
    needed_factor: float | None


class Worst(NamedTuple):
    """The most a check asks over the move, and where."""

    value: float
    tilt_deg: float
    rotation_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class HoldingModel:
    """A layout, a move and a centre of gravity, worked out: only vacuum and load are still open. Can be pickled."""

    basis: Basis
    wll_kg: float
    two_circuit_rule: bool
    circuits: tuple[str, ...]
    area_m2: tuple[float, ...]  # per circuit, of the pads in use
    total_basis: Worst  # times the load's weight: the suction all pads together must have
    total_friction: Worst
    pad_worst: tuple[tuple[str, Worst], ...]  # per circuit: its worst pad; pressure, Pa, per newton of weight
    marked: tuple[str, Worst] | None  # the pad that first meets the value marked on it: use per kilogram of load
    lost: tuple[tuple[float, ...], ...]  # [lost circuit][circuit left]: pressure, Pa, per newton of weight, at factor 1


@dataclass(frozen=True, slots=True)
class Holding:
    """What holds, against what is carried.

    ``rated_kg`` is the least of the plate, the basis, the friction check and the worst pad's share at the judged
    vacuum; ``governs`` names it (``plate``, ``basis``, ``friction``, ``worst_pad``; the first of equals) and
    ``at_tilt_deg`` is the tilt at which the computed figure is least. ``now_kg`` is the computed holding (basis and
    friction, all pads together) at the present vacuum, for information. ``needed_kpa`` is the vacuum at which the worst
    pad of each circuit would be used up, infinite when the pads cannot balance the load, ``None`` without a load.
    """

    basis: str
    governs: str
    at_tilt_deg: float
    rated_kg: float
    margin_kg: float | None
    margin_ratio: float | None
    now_kg: float
    worst_pad: WorstPad | None
    if_lost: Mapping[str, IfLost]
    needed_kpa: Mapping[str, float] | None


def nominal_design_factor(tilt_deg: float) -> float:
    """Design factor of a vacuum pad by the tilt of its face from horizontal.

    Source: ASME BTH-1, vacuum pads: 2 with the face horizontal, 4 vertical; between them 2 + 2 sin(tilt) (the printed
    form could not be read, the end points are firm). Check: 0, 30 and 90 degrees give 2, 3 and 4.
    """
    return 2.0 + 2.0 * abs(math.sin(math.radians(tilt_deg)))


def friction_demand(tilt_deg: float, friction: float) -> float:
    """Suction over weight at which a panel would just slide or fall, without a factor.

    Lying on the pads (past upright) the panel's own pressing is not credited.

    Source: statics, sliding s <= mu (F - n): F >= n + s/mu with n = W cos, s = W sin. Peaks at tan(tilt) = 1/mu.
    Check: mu 0.5: 0 degrees 1.000, 63.43 degrees 2.236, 90 degrees 2.000.
    """
    tilt = math.radians(tilt_deg)
    return max(math.cos(tilt), 0.0) + abs(math.sin(tilt)) / friction


def said_tilts_deg(move: Move) -> tuple[float, float]:
    """Ends of the intended tilts, the lower first."""
    return min(move.tilt_low_deg, move.tilt_high_deg), max(move.tilt_low_deg, move.tilt_high_deg)


def judged_tilts_deg(lifter: LifterConfig, move: Move) -> tuple[float, float]:
    """Ends of the tilts the basis judges: EN 13155 widens the intended ones by the allowance at both ends."""
    low_deg, high_deg = said_tilts_deg(move)
    wider_deg = lifter.tilt_allowance_deg if lifter.basis is Basis.EN_13155 else 0.0
    return low_deg - wider_deg, high_deg + wider_deg


def marks_between(low_deg: float, high_deg: float, friction: float) -> list[float]:
    """Both ends of an interval of tilts, and the tilts between at which a check can peak."""
    steepest_deg = math.degrees(math.atan(1.0 / friction))
    inside = [
        turn_deg + sign * off_deg
        for turn_deg in (-180, 0, 180)
        for sign in (-1, 1)
        for off_deg in (0.0, steepest_deg, 90.0)
    ]
    return [low_deg, high_deg, *(mark for mark in inside if low_deg < mark < high_deg)]


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


Check = Callable[[Floats, Floats], Floats]  # tilts and rotations, shape (m,), to one value per pad, shape (m, n)

_TILT_STEP_DEG: Final = 3.0
_TURN_STEP_DEG: Final = 7.5
_CLOSEST: Final = 3.0**-12
_LOOKS_N: Final = 60
_NEAR: Final = np.linspace(-1.0, 1.0, 7)


def worst_over(
    check: Check, groups: Sequence[Sequence[int]], tilts_deg: list[float], turns_deg: tuple[float, float]
) -> list[tuple[int, Worst] | None]:
    """The pad of each group that a check asks most of over the tilts and rotations of a move, and where.

    A grid, then ever closer looks at whatever could still be the worst. Marks and smooth peaks are found to rounding,
    a peak on a ridge (where a pad comes off or on load) to one part in a thousand.

    Args:
        check: What is asked of each pad.
        groups: Places of the pads of each group; the answer to an empty group is ``None``.
        tilts_deg: The ends of the tilts and the marks between that must be hit exactly.
        turns_deg: The ends of the rotations.
    """
    low_deg, high_deg = min(tilts_deg), max(tilts_deg)
    from_deg, to_deg = turns_deg
    lattice = np.arange(math.ceil(low_deg / _TILT_STEP_DEG), math.floor(high_deg / _TILT_STEP_DEG) + 1) * _TILT_STEP_DEG
    tilts = np.unique(np.concatenate([lattice, tilts_deg]))
    turns = np.linspace(from_deg, to_deg, 1 + math.ceil((to_deg - from_deg) / _TURN_STEP_DEG))
    tilt, turn = (grid.ravel() for grid in np.meshgrid(tilts, turns, indexing="ij"))
    pads = [pad for group in groups for pad in group]
    group_of = np.array([g for g, group in enumerate(groups) for _ in group])
    values = check(tilt, turn)[:, pads]
    at, which = _peaks(values.reshape(len(tilts), len(turns), -1))
    value, at_tilt, at_turn, pad, group_at = (
        values[at, which],
        tilt[at],
        turn[at],
        np.array(pads)[which],
        group_of[which],
    )
    across = np.meshgrid(_NEAR if high_deg > low_deg else [0.0], _NEAR if to_deg > from_deg else [0.0])
    off_tilt, off_turn = across[0].ravel(), across[1].ravel()
    closer = np.full(len(value), 1.0 if len(off_tilt) > 1 else 0.0)
    for look_n in range(_LOOKS_N):
        most = np.array([value[group_at == g].max(initial=0.0) for g in range(len(groups))])
        hopeful = value >= most[group_at] * (1.0 - 0.1 * closer)
        still = np.flatnonzero(hopeful & np.isfinite(value) & (closer > _CLOSEST))
        if look_n > 1:  # alike by symmetry: one of them is enough
            alike = np.column_stack([np.round(value[still] / most[group_at[still]], 12), group_at[still]])
            kept = still[np.unique(alike, axis=0, return_index=True)[1]]
            closer[np.setdiff1d(still, kept)] = 0.0
            still = kept
        if not len(still):
            break
        tilt = np.clip(at_tilt[still, None] + _TILT_STEP_DEG * closer[still, None] * off_tilt, low_deg, high_deg)
        turn = np.clip(at_turn[still, None] + _TURN_STEP_DEG * closer[still, None] * off_turn, from_deg, to_deg)
        row = np.arange(len(still))
        values = check(tilt.ravel(), turn.ravel()).reshape(len(still), len(off_tilt), -1)[row, :, pad[still]]
        best = values.argmax(axis=1)
        better = values[row, best] > value[still]
        on_the_edge = better & (np.maximum(np.abs(off_tilt), np.abs(off_turn))[best] == 1.0)
        moved, best, row = still[better], best[better], row[better]
        value[moved], at_tilt[moved], at_turn[moved] = values[row, best], tilt[row, best], turn[row, best]
        closer[still[~on_the_edge]] /= 3.0
    answers: list[tuple[int, Worst] | None] = []
    for g, group in enumerate(groups):
        at = np.flatnonzero(group_at == g)
        peak = at[value[at].argmax()] if group else 0
        worst = Worst(float(value[peak]), float(at_tilt[peak]), float(at_turn[peak]))
        answers.append((int(pad[peak]), worst) if group else None)
    return answers


def _peaks(values: Floats) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Points of a grid, shape (tilts, turns, pads), no neighbour of which is higher: flat place and pad of each."""
    around = np.pad(values, ((1, 1), (1, 1), (0, 0)), constant_values=-np.inf)
    tilts_n, turns_n, pads_n = values.shape
    high = np.ones(values.shape, dtype=bool)
    for i in range(3):
        for j in range(3):
            high &= values >= around[i : i + tilts_n, j : j + turns_n]
    at, which = np.nonzero(high.reshape(-1, pads_n))
    return at, which


def turns_of(move: Move) -> tuple[float, float]:
    """Ends of the rotations, degrees, the second not below the first and at most one whole turn on."""
    low_deg, high_deg = move.rotation_low_deg, move.rotation_high_deg
    if high_deg < low_deg:
        high_deg += 360.0 * math.ceil((low_deg - high_deg) / 360.0)
    return low_deg, min(high_deg, low_deg + 360.0)


def prepare(
    lifter: LifterConfig,
    *,
    pads: tuple[str, ...] | None = None,
    move: Move = Move(),
    centre: Centre = Centre(),
    friction: float | None = None,
) -> HoldingModel | None:
    """Work out a layout for a move. ``None`` when the lifter has no pads configured.

    Args:
        lifter: The lifter.
        pads: Pads in use; all of them when left out.
        move: Tilts and rotations still to come.
        centre: Centre of gravity of the panel.
        friction: Friction of the surface as it is now; the lifter's when left out.

    Raises:
        ValueError: A pad in use is not the lifter's, none is, or ``friction`` is not above 0.
    """
    if not lifter.pads:
        return None
    mu = lifter.friction if friction is None else friction
    if not mu > 0.0:
        raise ValueError(f"friction is {mu}; it must be above 0")
    layout = lay_out(lifter, tuple(lifter.pads) if pads is None else pads, centre)
    judged = marks_between(*judged_tilts_deg(lifter, move), mu)
    said = marks_between(*said_tilts_deg(move), mu)
    turns = turns_of(move)

    def slips(tilt_deg: float) -> float:
        return EN_FACTOR * friction_demand(tilt_deg, mu)

    asked = nominal_design_factor if lifter.basis is Basis.ASME_BTH_1 else slips
    circuits = tuple(lifter.circuits)
    return HoldingModel(
        basis=lifter.basis,
        wll_kg=lifter.wll_kg,
        two_circuit_rule=lifter.two_circuit_rule,
        circuits=circuits,
        area_m2=tuple(float(layout.area_m2[pads].sum()) for pads in layout.by_circuit(circuits)),
        total_basis=max(Worst(asked(at), at) for at in judged),
        total_friction=max(Worst(slips(at), at) for at in said),
        pad_worst=tuple(
            (layout.ids[worst[0]], worst[1]) if worst else ("", Worst(0.0, 0.0))
            for worst in worst_over(pad_check(layout, lifter.basis, mu), layout.by_circuit(circuits), judged, turns)
        ),
        marked=_marked(lifter, layout, judged, turns),
        lost=tuple(_left(layout.without(circuit), circuits, mu, judged, turns) for circuit in circuits),
    )


def pad_check(layout: Layout, basis: Basis, friction: float) -> Check:
    """What the basis asks of each pad, as pressure (Pa) per newton of weight.

    Source: BTH-1 Nv sqrt(n^2 + s^2)/A; EN 13155 factor 2 with friction, 2 (n + s/mu)/A.
    """

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        pull, slide = layout.shares(tilt_deg, turn_deg)
        if basis is Basis.ASME_BTH_1:
            factor = 2.0 + 2.0 * np.abs(np.sin(np.radians(tilt_deg)))
            return factor[:, None] * np.hypot(pull, slide) / layout.area_m2
        return EN_FACTOR * (pull + slide / friction) / layout.area_m2

    return check


def _marked(
    lifter: LifterConfig, layout: Layout, tilts_deg: list[float], turns_deg: tuple[float, float]
) -> tuple[str, Worst] | None:
    """The pad that first meets the plate value marked on it: its share over that value, per kilogram of the load."""
    marked = [i for i, pad in enumerate(layout.ids) if lifter.pads[pad].wll_kg]
    marks_kg = np.array([lifter.pads[pad].wll_kg or math.inf for pad in layout.ids])

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        uses: Floats = np.hypot(*layout.shares(tilt_deg, turn_deg))
        uses[:, marked] /= marks_kg[marked]
        return uses

    found = worst_over(check, [marked], tilts_deg, turns_deg)[0] if marked else None
    return None if found is None else (layout.ids[found[0]], found[1])


def _left(
    left: Layout | None,
    circuits: tuple[str, ...],
    friction: float,
    tilts_deg: list[float],
    turns_deg: tuple[float, float],
) -> tuple[float, ...]:
    """Per circuit, with one lost: the most its pads must have at factor 1, Pa per newton of weight."""
    if left is None:
        return tuple(math.inf for _ in circuits)

    def check(tilt_deg: Floats, turn_deg: Floats) -> Floats:
        pull, slide = left.shares(tilt_deg, turn_deg)
        return (pull + slide / friction) / left.area_m2

    found = worst_over(check, left.by_circuit(circuits), tilts_deg, turns_deg)
    return tuple(worst[1].value if worst else 0.0 for worst in found)


def hold(
    model: HoldingModel, *, judged_kpa: Mapping[str, float], now_kpa: Mapping[str, float], load_kg: float | None
) -> Holding:
    """Return what holds at these vacuums against this load.

    Args:
        model: From :func:`prepare`.
        judged_kpa: Per circuit, kPa below ambient: the lower of the present vacuum and the warning level. A circuit
            left out, or not a number, holds nothing.
        now_kpa: Per circuit, the present vacuum.
        load_kg: The load to be carried; ``None`` or 0 and below gives no margin ratio, uses or factors.
    """
    judged_pa = [_pascal(judged_kpa.get(circuit, 0.0)) for circuit in model.circuits]
    now_pa = [_pascal(now_kpa.get(circuit, 0.0)) for circuit in model.circuits]
    basis_kg, friction_kg = _computed_kg(model, judged_pa)
    pad_kg, pad_tilt_deg = math.inf, 0.0
    for pressure_pa, (pad, worst) in zip(judged_pa, model.pad_worst, strict=True):
        if pad and (may_kg := _over(pressure_pa, worst.value * STANDARD_GRAVITY_M_S2)) < pad_kg:
            pad_kg, pad_tilt_deg = may_kg, worst.tilt_deg
    if model.marked and (may_kg := _over(1.0, model.marked[1].value)) < pad_kg:
        pad_kg, pad_tilt_deg = may_kg, model.marked[1].tilt_deg
    checks = (
        ("basis", basis_kg, model.total_basis.tilt_deg),
        ("friction", friction_kg, model.total_friction.tilt_deg),
        ("worst_pad", pad_kg, pad_tilt_deg),
    )
    least_kg = min(basis_kg, friction_kg, pad_kg)
    governs, _, at_tilt_deg = next(check for check in checks if check[1] <= least_kg * TIE)
    if model.wll_kg <= least_kg * TIE:
        governs, least_kg = "plate", model.wll_kg
    loaded = load_kg is not None and load_kg > 0.0
    weight_n = load_kg * STANDARD_GRAVITY_M_S2 if load_kg is not None and loaded else 0.0
    needed_factor = EN_FACTOR if model.two_circuit_rule else None
    cannot = any(math.isinf(worst.value) for _, worst in model.pad_worst)
    return Holding(
        basis=model.basis.value,
        governs=governs,
        at_tilt_deg=at_tilt_deg,
        rated_kg=least_kg,
        margin_kg=None if load_kg is None else least_kg - load_kg,
        margin_ratio=(least_kg - load_kg) / load_kg if load_kg is not None and loaded else None,
        now_kg=0.0 if cannot else min(_computed_kg(model, now_pa)),
        worst_pad=_most_used(model, judged_pa, weight_n, load_kg) if load_kg is not None and loaded else None,
        if_lost={
            circuit: IfLost(_factor(judged_pa, asks, weight_n) if loaded else None, needed_factor)
            for circuit, asks in zip(model.circuits, model.lost, strict=True)
        },
        needed_kpa={
            circuit: weight_n * worst.value / PA_PER_KPA
            for circuit, (_, worst) in zip(model.circuits, model.pad_worst, strict=True)
        }
        if loaded
        else None,
    )


def _pascal(vacuum_kpa: float) -> float:
    return vacuum_kpa * PA_PER_KPA if vacuum_kpa > 0.0 else 0.0  # not a number is not above 0 either


def _over(held: float, asked: float) -> float:
    return held / asked if asked > 0.0 else math.inf


def _computed_kg(model: HoldingModel, pressure_pa: list[float]) -> tuple[float, float]:
    """What basis and friction allow all pads together, kg."""
    suction_kg = sum(map(operator.mul, model.area_m2, pressure_pa)) / STANDARD_GRAVITY_M_S2
    return suction_kg / model.total_basis.value, suction_kg / model.total_friction.value


def _most_used(model: HoldingModel, pressure_pa: list[float], weight_n: float, load_kg: float) -> WorstPad:
    uses = [
        WorstPad(pad, weight_n * worst.value / held_pa if held_pa else math.inf)
        for held_pa, (pad, worst) in zip(pressure_pa, model.pad_worst, strict=True)
        if pad
    ]
    if model.marked:
        uses.append(WorstPad(model.marked[0], load_kg * model.marked[1].value))
    return max(uses, key=lambda use: use.use_ratio)


def _factor(pressure_pa: list[float], asks: tuple[float, ...], weight_n: float) -> float:
    return min(_over(held_pa, weight_n * ask) for held_pa, ask in zip(pressure_pa, asks, strict=True))
