"""A panel: what it is made of, its outline, and from these its weight and centre of gravity."""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.entry_fault import Fault, fault
from monitor.core.units import MM_PER_INCH, MM_PER_M

Point = tuple[float, float]


class PanelError(ValueError):
    """A panel that cannot be. ``faults`` holds all that was found."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        """Take all faults at once."""
        self.faults = tuple(faults)
        super().__init__("\n".join(map(str, faults)))


@dataclass(frozen=True, slots=True)
class Material:
    """A material a panel may be made of; ``kind`` tells what the pads hold on."""

    density_kg_m3: float
    kind: str  # glass, interlayer, gap, stone, metal, composite
    source: str


_MEMORY = "EN 1991-1-1 annex A and handbooks, from memory"
MATERIALS: Final[Mapping[str, Material]] = {
    "glass": Material(2500.0, "glass", "EN 572-1, 2500 kg/m³ at 18 °C (2.5 kg/m² per mm)"),
    "pvb": Material(1070.0, "interlayer", "1070 kg/m³, from memory; public pages give interlayers 950 to 1100"),
    "eva": Material(960.0, "interlayer", "950 to 1100 kg/m³ on public pages; 960 from memory"),
    "ionomer": Material(950.0, "interlayer", "950 to 1100 kg/m³ on public pages; 950 from memory"),
    "gap": Material(0.0, "gap", "its gas weighs under 0.03 kg/m² and is left out"),
    "granite": Material(2700.0, "stone", f"2600 to 2700, {_MEMORY}: the heaviest is taken"),
    "marble": Material(2800.0, "stone", f"2700 to 2800, {_MEMORY}: the heaviest is taken"),
    "limestone": Material(2600.0, "stone", f"2000 to 2600, {_MEMORY}: the heaviest is taken"),
    "sandstone": Material(2700.0, "stone", f"2100 to 2700, {_MEMORY}: the heaviest is taken"),
    "slate": Material(2800.0, "stone", f"2700 to 2800, {_MEMORY}: the heaviest is taken"),
    "concrete": Material(2500.0, "stone", f"reinforced, {_MEMORY}"),
    "ceramic": Material(2400.0, "stone", f"2300 to 2400, {_MEMORY}: the heaviest is taken"),
    "aluminium": Material(2700.0, "metal", _MEMORY),
    "steel": Material(7850.0, "metal", _MEMORY),
    "copper": Material(8900.0, "metal", _MEMORY),
    "zinc": Material(7200.0, "metal", _MEMORY),
    "fibre cement": Material(1900.0, "composite", f"1700 to 1900, {_MEMORY}: the heaviest is taken"),
    "aluminium composite": Material(1900.0, "composite", f"mineral core, 4 mm are 7.6 kg/m², {_MEMORY}"),
    "aluminium composite pe": Material(1375.0, "composite", f"polyethylene core, 4 mm are 5.5 kg/m², {_MEMORY}"),
    "timber": Material(800.0, "composite", f"hardwood 640 to 800, {_MEMORY}: the heaviest is taken"),
    "mineral wool": Material(200.0, "composite", f"up to 200, {_MEMORY}"),
}
"""Materials by the word used in a make-up. Where a stone or board varies, the heaviest usual one is taken."""

ALIASES: Final[Mapping[str, str]] = {
    "aluminum": "aluminium",
    "acm": "aluminium composite",
    "air": "gap",
    "argon": "gap",
    "krypton": "gap",
    "cavity": "gap",
    "spacer": "gap",
    "sgp": "ionomer",
    "stone": "marble",
    "fiber cement": "fibre cement",
    "float": "glass",
}

SPACER_KG_PER_M: Final = 0.5
"""Weight of one gap's spacer and sealant per metre of edge, kg/m. A public glazing page gives about 22 kg/m² with them
for a 4 + 4 unit of 20 kg/m² glass: 2 kg on a square metre with 4 m of edge."""


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a make-up."""

    material: str
    thickness_mm: float

    @property
    def areal_kg_m2(self) -> float:
        """Mass per area, kg/m². Check: 8 mm of glass is 20 kg/m²."""
        return MATERIALS[self.material].density_kg_m3 * self.thickness_mm / MM_PER_M

    @property
    def kind(self) -> str:
        return MATERIALS[self.material].kind


_LAYER: Final = re.compile(
    r"(?P<material>[^\W\d]+(?: [^\W\d]+)*?)\s*(?P<thickness>\d+(?:\.\d+)?)(?:/(?P<of>[1-9]\d*))?\s*(?P<unit>mm|in|inch|\")?"
)


def read_makeup(text: str) -> tuple[Layer, ...]:
    """Read a make-up such as ``glass 8 + pvb 1.52 + glass 8``: layers from the pads outward.

    A thickness is in mm, or in inches where that is written: ``glass 1/2 in`` is 12.7 mm. (A nominal half inch may be made
    thinner, ASTM C1036; its weight is then overstated, which is the cautious side.)

    Raises:
        PanelError: A layer could not be read, its material is not known, or its thickness is out of range; all of them.

    Check: ``glass 8 + pvb 1.52 + glass 8`` weighs 41.626 kg/m².
    """
    layers, faults = [], []
    for n, part in enumerate(text.split("+"), start=1):
        field = f"makeup, layer {n}"
        found = _LAYER.fullmatch(part.strip().lower())
        if found is None:
            faults.append(fault(field, "layer", found=part.strip()))
            continue
        word = found["material"]
        material, thickness_mm = ALIASES.get(word, word), float(found["thickness"]) / float(found["of"] or 1)
        if found["unit"] not in {None, "mm"}:
            thickness_mm *= MM_PER_INCH
        if material not in MATERIALS:
            faults.append(fault(field, "material", found=word, known=", ".join(MATERIALS)))
        if not 0.0 < thickness_mm <= 1000.0:
            faults.append(fault(field, "thickness", found=f"{thickness_mm:g}"))
        layers.append(Layer(material, thickness_mm))
    if not faults and layers[0].kind in {"gap", "interlayer"}:
        faults.append(fault("makeup, layer 1", "first_layer", found=layers[0].material))
    if faults:
        raise PanelError(faults)
    return tuple(layers)


@dataclass(frozen=True, slots=True)
class Panel:
    """A panel as it hangs on the drawing of the pads: outline and cut-outs in metres from the drawing's origin.

    Attributes:
        outline: Corners in order, at least three, m; empty when only a weight is known.
        cut_outs: Outlines of openings in it.
        layers: Make-up from the pads outward; empty when only a weight is known.
        weight_kg: A stated weight, which then counts instead of the worked-out one.
        spacer_kg_per_m: Weight of each gap's edge per metre.
    """

    outline: tuple[Point, ...] = ()
    cut_outs: tuple[tuple[Point, ...], ...] = ()
    layers: tuple[Layer, ...] = ()
    weight_kg: float | None = None
    spacer_kg_per_m: float = SPACER_KG_PER_M

    @property
    def area_m2(self) -> float | None:
        """Face area without the cut-outs."""
        if not self.outline:
            return None
        return abs(_area_m2(self.outline)) - sum(abs(_area_m2(hole)) for hole in self.cut_outs)

    @property
    def thickness_m(self) -> float | None:
        return sum(layer.thickness_mm for layer in self.layers) / MM_PER_M if self.layers else None

    @property
    def gaps_n(self) -> int:
        return sum(layer.kind == "gap" for layer in self.layers)

    def mass_kg(self) -> float | None:
        """The stated weight, else what outline and make-up give, else ``None``.

        Check: 2.5 x 1.5 m of ``glass 8 + pvb 1.52 + glass 8`` is 156.10 kg.
        """
        if self.weight_kg is not None or not self.layers or self.area_m2 is None:
            return self.weight_kg
        edges_m = perimeter_m(self.outline) + sum(map(perimeter_m, self.cut_outs))
        sheet_kg = self.area_m2 * sum(layer.areal_kg_m2 for layer in self.layers)
        return sheet_kg + self.gaps_n * edges_m * self.spacer_kg_per_m

    def centre_m(self) -> Point | None:
        """Centre of gravity on the drawing, cut-outs taken out; ``None`` without an outline."""
        if not self.outline or not self.area_m2:
            return None
        parts = [(abs(_area_m2(self.outline)), _centroid(self.outline))]
        parts += [(-abs(_area_m2(hole)), _centroid(hole)) for hole in self.cut_outs]
        return (
            sum(area * at[0] for area, at in parts) / self.area_m2,
            sum(area * at[1] for area, at in parts) / self.area_m2,
        )

    def depth_m(self) -> float | None:
        """Pad face to centre of gravity: half the thickness, or more where the heavier layers lie further out."""
        if self.thickness_m is None:
            return None
        outward_mm, moment, mass = 0.0, 0.0, 0.0
        for layer in self.layers:
            moment += layer.areal_kg_m2 * (outward_mm + layer.thickness_mm / 2.0)
            mass += layer.areal_kg_m2
            outward_mm += layer.thickness_mm
        return max(self.thickness_m / 2.0, moment / mass / MM_PER_M if mass else 0.0)

    def edge_area_m2(self) -> float | None:
        """The largest area the wind sees along the panel: thickness times the longest way across."""
        if self.thickness_m is None or not self.outline:
            return None
        return self.thickness_m * max(math.dist(a, b) for a in self.outline for b in self.outline)

    def holds(self, x_m: float, y_m: float) -> bool:
        """Whether a place lies on the panel: inside the outline, not over a cut-out."""
        at = (x_m, y_m)
        return contains(self.outline, at) and not any(contains(hole, at) for hole in self.cut_outs)

    def faults(self) -> list[Fault]:
        """Everything that cannot be, all at once."""
        faults = self.outline_faults()
        if self.weight_kg is not None and not 0.0 < self.weight_kg <= 100_000.0:
            faults.append(fault("weight", "weight", found=f"{self.weight_kg:g}"))
        if not faults and self.mass_kg() is None:
            faults.append(fault("weight", "no_weight"))
        return faults

    def outline_faults(self) -> list[Fault]:
        """What cannot be in the outline and its cut-outs."""
        if not self.outline:
            return []
        faults = _outline_faults("outline", self.outline)
        for n, hole in enumerate(self.cut_outs, start=1):
            faults += _outline_faults(f"cut-out {n}", hole)
        return faults or self._cut_out_faults()

    def _cut_out_faults(self) -> list[Fault]:
        faults = []
        for n, hole in enumerate(self.cut_outs, start=1):
            inside = all(contains(self.outline, corner) for corner in hole)
            if not inside or any(_cross(a, b) for a in _sides(self.outline) for b in _sides(hole)):
                faults.append(fault(f"cut-out {n}", "hole_beyond"))
            faults += [
                fault(f"cut-out {n}", "hole_over", other=str(m))
                for m, other in enumerate(self.cut_outs[: n - 1], start=1)
                if _overlap(hole, other)
            ]
        return faults


def _overlap(one: Sequence[Point], two: Sequence[Point]) -> bool:
    crossing = any(_cross(a, b) for a in _sides(one) for b in _sides(two))
    return crossing or contains(one, two[0]) or contains(two, one[0])


def rectangle(width_m: float, height_m: float, centre_m: Point = (0.0, 0.0)) -> tuple[Point, ...]:
    """Corners of an upright rectangle, counter-clockwise."""
    x_m, y_m = centre_m
    return tuple((x_m + i * width_m / 2.0, y_m + j * height_m / 2.0) for i, j in ((-1, -1), (1, -1), (1, 1), (-1, 1)))


def _sides(outline: Sequence[Point]) -> list[tuple[Point, Point]]:
    return list(zip(outline, (*outline[1:], outline[0]), strict=True))


def perimeter_m(outline: Sequence[Point]) -> float:
    """Length of the outline, m."""
    return sum(math.dist(a, b) for a, b in _sides(outline))


def _area_m2(outline: Sequence[Point]) -> float:
    """Signed area, above 0 counter-clockwise. Source: the shoelace formula. Check: the unit square is 1."""
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in _sides(outline)) / 2.0


def _centroid(outline: Sequence[Point]) -> Point:
    cross = [(a, b, a[0] * b[1] - b[0] * a[1]) for a, b in _sides(outline)]
    six_areas = 3.0 * sum(part[2] for part in cross)
    return (
        sum((a[0] + b[0]) * part for a, b, part in cross) / six_areas,
        sum((a[1] + b[1]) * part for a, b, part in cross) / six_areas,
    )


def contains(outline: Sequence[Point], at: Point) -> bool:
    """Whether a point lies inside an outline or on it (crossing count)."""
    if any(_on_side(a, b, at) for a, b in _sides(outline)):
        return True
    inside = False
    for a, b in _sides(outline):
        if (a[1] > at[1]) != (b[1] > at[1]) and at[0] < a[0] + (at[1] - a[1]) * (b[0] - a[0]) / (b[1] - a[1]):
            inside = not inside
    return inside


def side_distance_m(outline: Sequence[Point], at: Point) -> float:
    """Distance from a point to the nearest side of an outline, m."""
    return min(distance_m(a, b, at) for a, b in _sides(outline))


def distance_m(a: Point, b: Point, at: Point) -> float:
    """Distance from a point to the straight line between two others, m."""
    length2 = math.dist(a, b) ** 2
    along = ((at[0] - a[0]) * (b[0] - a[0]) + (at[1] - a[1]) * (b[1] - a[1])) / length2 if length2 else 0.0
    along = min(max(along, 0.0), 1.0)
    return math.dist(at, (a[0] + along * (b[0] - a[0]), a[1] + along * (b[1] - a[1])))


def _on_side(a: Point, b: Point, at: Point) -> bool:
    return distance_m(a, b, at) < 1.0e-9


def _outline_faults(field: str, outline: Sequence[Point]) -> list[Fault]:
    if not all(math.isfinite(value) and abs(value) <= 50.0 for corner in outline for value in corner):
        return [fault(field, "corners_far")]
    if len(outline) < 3:
        return [fault(field, "corners_few", found=str(len(outline)))]
    if abs(_area_m2(outline)) < 1.0e-4:
        return [fault(field, "no_area", found=f"{abs(_area_m2(outline)):g}")]
    sides = _sides(outline)
    for i, one in enumerate(sides):
        for j in range(i + 2, len(sides) - (i == 0)):
            if _cross(one, sides[j]):
                return [fault(field, "crossing", one=str(i + 1), other=str(j + 1))]
    return []


def _cross(one: tuple[Point, Point], two: tuple[Point, Point]) -> bool:
    def side(a: Point, b: Point, at: Point) -> float:
        return (b[0] - a[0]) * (at[1] - a[1]) - (b[1] - a[1]) * (at[0] - a[0])

    apart_one = side(*one, two[0]) * side(*one, two[1])
    apart_two = side(*two, one[0]) * side(*two, one[1])
    touching = any(_on_side(*one, corner) for corner in two) or any(_on_side(*two, corner) for corner in one)
    return touching or (apart_one < 0.0 and apart_two < 0.0)
