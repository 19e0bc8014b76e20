"""Force against weight: what a lifter holds of a panel through a whole move, and what is left with a circuit lost.

:func:`prepare` walks the tilts and rotations of the move once and keeps what each check asks at most, by the weight;
:func:`hold` then only multiplies, so it can follow every reading.
"""

import math
import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Final, NamedTuple

import numpy as np

from monitor.core.asked import Asked, most
from monitor.core.carrying import STILL, Carrying, Wind
from monitor.core.config import Basis, LifterConfig
from monitor.core.factors import EN_FACTOR, judged_tilts_deg, marks_between, said_tilts_deg, turns_of
from monitor.core.factors import Move as Move
from monitor.core.layout import Centre as Centre
from monitor.core.layout import lay_out
from monitor.core.pads import Floats
from monitor.core.units import PA_PER_KPA, kg_to_n, n_to_kg

Groups = Sequence[Sequence[int]]

TIE: Final = 1.0 + 1.0e-9
"""Checks this close are equal, and the first of them governs."""


class WorstPad(NamedTuple):
    """The pad nearest its limit; ``use_ratio`` 1 is the limit, infinite when the pads cannot balance the load."""

    id: str
    use_ratio: float


class IfLost(NamedTuple):
    """What the pads left hold when one circuit is lost, as a multiple of the load; ``None``: no load known."""

    factor: float | None
    needed_factor: float | None


@dataclass(frozen=True, slots=True)
class HoldingModel:
    """A layout, a move and a centre of gravity, worked out: only vacuum and load are still open. Can be pickled."""

    basis: Basis
    wll_kg: float
    two_circuit_rule: bool
    circuits: tuple[str, ...]
    area_m2: tuple[float, ...]  # per circuit, of the pads in use
    total_basis: Asked  # the suction all pads together must have, N
    total_friction: Asked
    pads: tuple[tuple[str, Asked], ...]  # per circuit: its worst pad, and the vacuum it must have, Pa
    marked: tuple[str, Asked] | None  # the pad that first meets the value marked on it, and its use of that value
    lost: tuple[tuple[Asked, ...], ...]  # [lost circuit][circuit left]: the vacuum its pads must have, Pa, at factor 1


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


def prepare(
    lifter: LifterConfig,
    *,
    pads: tuple[str, ...] | None = None,
    move: Move = Move(),  # noqa: B008  (frozen)
    centre: Centre = Centre(),  # noqa: B008
    friction: float | None = None,
    wind: Wind = STILL,
    bend_factor: float = 1.0,
    planned_kg: float | None = None,
) -> HoldingModel | None:
    """Work out a layout for a move. ``None`` when the lifter has no pads configured.

    Args:
        lifter: The lifter.
        pads: Pads in use; all of them when left out.
        move: Tilts and rotations still to come.
        centre: Centre of gravity of the panel.
        friction: Friction of the surface as it is now; the lifter's when left out.
        wind: Wind to allow for.
        bend_factor: How much more than a rigid plate's share a pad may get of a panel that bends.
        planned_kg: Load at which the answer with wind is exact, elsewhere it is on the cautious side; the plate's value
            when left out.

    Raises:
        ValueError: A pad in use is not the lifter's, none is, or ``friction`` is not above 0.
    """
    if not lifter.pads:
        return None
    mu = lifter.friction if friction is None else friction
    if not mu > 0.0:
        raise ValueError(f"friction is {mu}; it must be above 0")
    layout = lay_out(lifter, tuple(lifter.pads) if pads is None else pads, centre)
    carrying = Carrying(
        layout=layout,
        basis=lifter.basis,
        friction=mu,
        suction_n=layout.area_m2,  # no check asked for here knows the vacuum
        mark_n=np.array([kg_to_n(lifter.pads[pad].wll_kg or math.inf) for pad in layout.ids]),
        wind=wind,
        bend_factor=bend_factor,
    )
    judged = marks_between(*judged_tilts_deg(lifter, move), mu)
    circuits = tuple(lifter.circuits)
    by_circuit = layout.by_circuit(circuits)
    walk = _Walk(judged, turns_of(move), kg_to_n(planned_kg or lifter.wll_kg))
    marked = [i for i, pad in enumerate(layout.ids) if lifter.pads[pad].wll_kg]
    mark = walk.asked(carrying, Carrying.mark_uses, [marked])[0]
    said = replace(walk, tilts_deg=marks_between(*said_tilts_deg(move), mu))
    return HoldingModel(
        basis=lifter.basis,
        wll_kg=lifter.wll_kg,
        two_circuit_rule=lifter.two_circuit_rule,
        circuits=circuits,
        area_m2=tuple(float(layout.area_m2[pads].sum()) for pads in by_circuit),
        total_basis=walk.total(carrying, by_friction=False),
        total_friction=said.total(carrying, by_friction=True),
        pads=tuple(
            (layout.ids[found[0]], found[1]) if found else ("", NOTHING)
            for found in walk.asked(carrying, Carrying.suction_asked_pa, by_circuit)
        ),
        marked=mark and (layout.ids[mark[0]], mark[1]),
        lost=tuple(walk.left(carrying.without(circuit), circuits) for circuit in circuits),
    )


NOTHING: Final = Asked(0.0, 0.0)
"""Of a circuit without a pad in use."""


@dataclass(frozen=True, slots=True)
class _Walk:
    """Over the tilts and turns of a move, at a planned weight."""

    tilts_deg: list[float]
    turns_deg: tuple[float, float]
    planned_n: float

    def asked(
        self, carrying: Carrying, check: Callable[[Carrying, Floats, Floats, float], Floats], groups: Groups
    ) -> list[tuple[int, Asked] | None]:
        """What a check asks at most of the pads of each group."""
        if not any(groups):
            return [None for _ in groups]
        still, windy = partial(check, replace(carrying, wind=STILL)), partial(check, carrying)
        wind = None if carrying.wind == STILL else windy
        return most(still, wind, self.planned_n, groups, self.tilts_deg, self.turns_deg)

    def total(self, carrying: Carrying, *, by_friction: bool) -> Asked:
        """What the basis or friction asks of all pads together: no turn changes it."""

        def check(one: Carrying, tilt_deg: Floats, _turn_deg: Floats, weight_n: float) -> Floats:
            return one.total_asked_n(tilt_deg, weight_n, by_friction=by_friction)

        found = replace(self, turns_deg=(0.0, 0.0)).asked(carrying, check, [[0]])[0]
        return found[1] if found else NOTHING

    def left(self, carrying: Carrying | None, circuits: tuple[str, ...]) -> tuple[Asked, ...]:
        """Per circuit, with one lost: the vacuum its pads must have at factor 1."""
        if carrying is None:
            return tuple(Asked(math.inf, 0.0) for _ in circuits)
        found = self.asked(carrying, Carrying.slip_asked_pa, carrying.layout.by_circuit(circuits))
        return tuple(worst[1] if worst else NOTHING for worst in found)


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
    limits = [(asked, held_pa) for held_pa, (pad, asked) in zip(judged_pa, model.pads, strict=True) if pad]
    if model.marked:
        limits.append((model.marked[1], 1.0))
    for asked, held in limits:
        if (may_kg := n_to_kg(asked.carries_n(held))) < pad_kg:
            pad_kg, pad_tilt_deg = may_kg, asked.tilt_deg
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
    weight_n = kg_to_n(load_kg) if load_kg is not None and loaded else 0.0
    needed_factor = EN_FACTOR if model.two_circuit_rule else None
    cannot = any(math.isinf(asked.per_n) for _, asked in model.pads)
    return Holding(
        basis=model.basis.value,
        governs=governs,
        at_tilt_deg=at_tilt_deg,
        rated_kg=least_kg,
        margin_kg=None if load_kg is None else least_kg - load_kg,
        margin_ratio=(least_kg - load_kg) / load_kg if load_kg is not None and loaded else None,
        now_kg=0.0 if cannot else min(_computed_kg(model, now_pa)),
        worst_pad=_most_used(model, judged_pa, weight_n) if loaded else None,
        if_lost={
            circuit: IfLost(_factor(judged_pa, asks, weight_n) if loaded else None, needed_factor)
            for circuit, asks in zip(model.circuits, model.lost, strict=True)
        },
        needed_kpa={
            circuit: asked.at(weight_n) / PA_PER_KPA
            for circuit, (_, asked) in zip(model.circuits, model.pads, strict=True)
        }
        if loaded
        else None,
    )


def _pascal(vacuum_kpa: float) -> float:
    return vacuum_kpa * PA_PER_KPA if vacuum_kpa > 0.0 else 0.0  # not a number is not above 0 either


def _computed_kg(model: HoldingModel, pressure_pa: list[float]) -> tuple[float, float]:
    """What basis and friction allow all pads together, kg."""
    suction_n = sum(map(operator.mul, model.area_m2, pressure_pa))
    return n_to_kg(model.total_basis.carries_n(suction_n)), n_to_kg(model.total_friction.carries_n(suction_n))


def _most_used(model: HoldingModel, pressure_pa: list[float], weight_n: float) -> WorstPad:
    uses = [
        WorstPad(pad, asked.at(weight_n) / held_pa if held_pa else math.inf)
        for held_pa, (pad, asked) in zip(pressure_pa, model.pads, strict=True)
        if pad
    ]
    if model.marked:
        uses.append(WorstPad(model.marked[0], model.marked[1].at(weight_n)))
    return max(uses, key=lambda use: use.use_ratio)


def _factor(pressure_pa: list[float], asks: tuple[Asked, ...], weight_n: float) -> float:
    """The most by which load and wind together may grow; infinite where nothing is asked of any pad left."""
    pairs = [(held_pa, asked.at(weight_n)) for held_pa, asked in zip(pressure_pa, asks, strict=True)]
    return min((held_pa / asked_pa for held_pa, asked_pa in pairs if asked_pa > 0.0), default=math.inf)
