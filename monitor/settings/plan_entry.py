"""A plan as people enter it, on the command line, in a form or as JSON, read into the core's :class:`PlanInput`.

Entries go by the names of the command's options, with ``_`` for ``-``. A quantity is a number in the unit its name ends
in (``weight``: kg; ``size``: m; ``outline`` and ``cut_outs``: mm), or text with a unit: ``16 inHg``, ``700 lb``.
Nothing, ``None`` or an empty text means: not entered.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from monitor.core.config import LifterConfig, Surface
from monitor.core.entry_fault import Fault, fault
from monitor.core.factors import Move
from monitor.core.panel import (
    SPACER_KG_PER_M,
    Layer,
    Panel,
    PanelError,
    Point,
    read_makeup,
    rectangle,
)
from monitor.core.plan_input import PlanError, PlanInput, entry_faults, plan_faults
from monitor.core.units import MM_PER_M
from monitor.settings.faults import found_text, nearest
from monitor.settings.quantities import QuantityError, read_quantity, read_size

QUANTITIES: Final[Mapping[str, str]] = {
    "weight": "kg",
    "spacer_kg_per_m": "kg/m",
    "cg_x_mm": "mm",
    "cg_y_mm": "mm",
    "cg_depth_mm": "mm",
    "vacuum_kpa": "kPa",
    "altitude_m": "m",
    "lift_height_m": "m",
    "wind_m_s": "m/s",
    "share_ratio": "ratio",
}
"""Entries that are one quantity, and the unit of a bare number."""

SPANS: Final = ("tilt_deg", "rotation_deg")
"""Entries that are two angles, the lower first; one alone stands for both."""

FLAGS: Final = ("coated", "porous")
WORDS: Final = ("size", "outline", "cut_outs", "makeup", "layout", "pads", "surface")
ENTRIES: Final = (*QUANTITIES, *SPANS, *FLAGS, *WORDS)

US_UNITS: Final[Mapping[str, str]] = {
    "weight": "lb",
    "size": "ft",
    "outline": "in",
    "cut_outs": "in",
    "cg_x_mm": "in",
    "cg_y_mm": "in",
    "cg_depth_mm": "in",
    "vacuum_kpa": "inHg",
    "altitude_m": "ft",
    "lift_height_m": "ft",
    "wind_m_s": "mph",
}
"""What a bare number means to someone who works in US customary units, for :func:`read_plan`."""


def read_plan(
    entered: Mapping[str, object],
    lifter: LifterConfig | Fault,
    *,
    today: str = "",
    partners: tuple[str, ...] = (),
    bare_units: Mapping[str, str] | None = None,
) -> PlanInput:
    """Read what was entered for a lift of this lifter.

    Args:
        entered: By the names in :data:`ENTRIES`. A span is two quantities; pads are a list or text with commas;
            an outline is a list of [x, y] or text, ``0,0; 2500,0; 2500,1500``, and cut-outs are a list of those.
        lifter: The lifter, or what is wrong with the one named: the rest is looked at all the same.
        today: ISO date, against which the lifter's examination may be overdue.
        partners: Lifters that the site file puts in tandem with this one.
        bare_units: What a bare number's unit is instead, by entry: :data:`US_UNITS`, for example.

    Raises:
        PlanError: Something could not be read or cannot be; it lists every fault found, each naming the entry.

    Check: ``{"weight": "700 lb"}`` is a panel of 317.51 kg.
    """
    reading = _Reading(entered, bare_units or {})
    known = None if isinstance(lifter, Fault) else lifter
    plan = replace(reading.plan(known), today=today, partners=partners)
    unread = {one.field.partition(",")[0] for one in reading.faults}
    cannot = entry_faults(plan) if known is None else plan_faults(known, plan)
    faults = [lifter] if isinstance(lifter, Fault) else []
    faults += reading.faults + [one for one in cannot if not _follows(one, unread)]
    if faults:
        raise PlanError(faults)
    return plan


def _follows(one: Fault, unread: set[str]) -> bool:
    """Whether a fault only follows from what could not be read: no weight from that, pads that were not meant."""
    if one.key == "fault.no_weight":
        return bool(unread & {"weight", "size", "outline", "makeup"})
    return one.field.startswith("pad ") and bool(unread & {"layout", "pads", "size", "outline"})


class _Reading:
    """Reads one entry after another and keeps what was wrong."""

    def __init__(self, entered: Mapping[str, object], bare_units: Mapping[str, str]) -> None:
        self.faults: list[Fault] = []
        self._entered = {name: found for name, found in entered.items() if found is not None and found != ""}
        self._bare_units = bare_units
        for name in self._entered:
            if name not in ENTRIES:
                close = nearest(name, ENTRIES)
                known = ", ".join(ENTRIES)
                if close:
                    self._wrong(name, "entry_close", known=known, close=close)
                else:
                    self._wrong(name, "entry", known=known)

    def plan(self, lifter: LifterConfig | None) -> PlanInput:
        quantity = {name: self._quantity(name) for name in QUANTITIES}
        tilts, turns = (self._span(name) for name in SPANS)
        surface = self._word("surface", tuple(Surface))
        share_ratio = quantity["share_ratio"]
        return PlanInput(
            panel=self._panel(quantity["weight"], quantity["spacer_kg_per_m"]),
            pads=self._pads(lifter),
            cg_x_mm=quantity["cg_x_mm"],
            cg_y_mm=quantity["cg_y_mm"],
            cg_depth_mm=quantity["cg_depth_mm"],
            move=Move(*(tilts or (0.0, 90.0)), *(turns or (0.0, 360.0))),
            vacuum_kpa=quantity["vacuum_kpa"],
            altitude_m=quantity["altitude_m"],
            lift_height_m=quantity["lift_height_m"] or 0.0,
            wind_m_s=quantity["wind_m_s"],
            surface=Surface(surface) if surface else None,
            coated=self._flag("coated"),
            porous=self._flag("porous"),
            in_tandem=share_ratio is not None,
            share_ratio=1.0 if share_ratio is None else share_ratio,
        )

    def _wrong(self, field: str, key: str, **values: str) -> None:
        self.faults.append(fault(field, key, **values))

    def _measure(self, name: str, found: object, unit: str, field: str = "") -> float | None:
        """One quantity; ``None`` when it could not be read, which has then been noted."""
        if isinstance(found, int | float) and not isinstance(found, bool):
            if math.isfinite(found) and name not in self._bare_units:
                return float(found)
            found = f"{found}"
        if not isinstance(found, str):
            self._wrong(field or name, "no_number", found=found_text(found))
            return None
        bare = re.fullmatch(r"\s*[+-]?[\d.]+\s*", found) is not None
        try:
            text = f"{found} {self._bare_units[name]}" if bare and name in self._bare_units else found
            return read_quantity(text, unit, field=field or name, bare=True)
        except QuantityError as error:
            self.faults.append(error.fault)
            return None

    def _quantity(self, name: str) -> float | None:
        return self._measure(name, self._entered[name], QUANTITIES[name]) if name in self._entered else None

    def _span(self, name: str) -> tuple[float, float] | None:
        found = self._entered.get(name)
        if found is None:
            return None
        ends = list(found) if isinstance(found, list | tuple) else [found]
        if not 1 <= len(ends) <= 2:
            self._wrong(name, "angles", found=str(len(ends)))
            return None
        angles = [self._measure(name, end, "deg") for end in ends]
        read = [angle for angle in angles if angle is not None]
        return (read[0], read[-1]) if len(read) == len(ends) else None

    def _flag(self, name: str) -> bool:
        found = self._entered.get(name, False)
        if not isinstance(found, bool):
            self._wrong(name, "flag", found=found_text(found))
        return found is True

    def _word(self, name: str, words: Sequence[str]) -> str | None:
        found = self._entered.get(name)
        if found is None or (isinstance(found, str) and found in words):
            return found
        close = nearest(str(found), words)
        said = {"found": found_text(found), "known": ", ".join(words)}
        if close:
            self._wrong(name, "word_close", **said, close=close)
        else:
            self._wrong(name, "word", **said)
        return None

    def _text(self, name: str) -> str | None:
        found = self._entered.get(name)
        if found is None or isinstance(found, str):
            return found
        self._wrong(name, "text", found=found_text(found))
        return None

    def _panel(self, weight_kg: float | None, spacer_kg_per_m: float | None) -> Panel:
        if spacer_kg_per_m is not None and not 0.0 <= spacer_kg_per_m <= 20.0:
            self._wrong("spacer_kg_per_m", "span", found=f"{spacer_kg_per_m:g}", low="0", high="20", unit="kg/m")
        return Panel(
            outline=self._outline(),
            cut_outs=self._cut_outs(),
            layers=self._layers(),
            weight_kg=weight_kg,
            spacer_kg_per_m=SPACER_KG_PER_M if spacer_kg_per_m is None else spacer_kg_per_m,
        )

    def _layers(self) -> tuple[Layer, ...]:
        text = self._text("makeup")
        try:
            return read_makeup(text) if text else ()
        except PanelError as error:
            self.faults.extend(error.faults)
            return ()

    def _outline(self) -> tuple[Point, ...]:
        size, outline = self._entered.get("size"), self._entered.get("outline")
        if size is not None and outline is not None:
            self._wrong("size", "size_and_outline")
        if outline is not None:
            return self._corners("outline", "outline", outline)
        if isinstance(size, list | tuple) and len(size) == 2:
            return self._rectangle([self._measure("size", side, "m") for side in size])
        text = self._text("size")
        try:
            return rectangle(*read_size(text, bare_unit=self._bare_units.get("size", "m"))) if text else ()
        except QuantityError as error:
            self.faults.append(error.fault)
            return ()

    def _rectangle(self, sides_m: list[float | None]) -> tuple[Point, ...]:
        width_m, height_m = sides_m
        if width_m is None or height_m is None:
            return ()
        if not (width_m > 0.0 and height_m > 0.0):
            self._wrong("size", "sides", width=f"{width_m:g}", height=f"{height_m:g}")
            return ()
        return rectangle(width_m, height_m)

    def _cut_outs(self) -> tuple[tuple[Point, ...], ...]:
        found = self._entered.get("cut_outs", ())
        if isinstance(found, str):
            found = [found]
        if not isinstance(found, list | tuple):
            self._wrong("cut_outs", "holes", found=found_text(found))
            return ()
        if found and "size" not in self._entered and "outline" not in self._entered:
            self._wrong("cut_outs", "holes_alone")
        holes = [self._corners("cut_outs", f"cut_outs, number {n}", hole) for n, hole in enumerate(found, start=1)]
        return tuple(hole for hole in holes if hole)

    def _corners(self, name: str, field: str, found: object) -> tuple[Point, ...]:
        """Corners in metres; empty when one could not be read."""
        corners: list[Any] = []
        if isinstance(found, str):
            corners = [part for part in found.split(";") if part.strip()]
        elif isinstance(found, list | tuple):
            corners = list(found)
        if not corners:
            self._wrong(field, "corners", found=found_text(found))
        read: list[Point] = []
        for n, corner in enumerate(corners, start=1):
            pair = corner.split(",") if isinstance(corner, str) else corner
            if not isinstance(pair, list | tuple) or len(pair) != 2:
                self._wrong(f"{field}, corner {n}", "corner", found=found_text(corner))
                continue
            at_mm = [self._measure(name, part, "mm", f"{field}, corner {n}") for part in pair]
            if at_mm[0] is not None and at_mm[1] is not None:
                read.append((at_mm[0] / MM_PER_M, at_mm[1] / MM_PER_M))
        return tuple(read) if len(read) == len(corners) else ()

    def _pads(self, lifter: LifterConfig | None) -> tuple[str, ...] | None:
        layout, pads = self._text("layout"), self._entered.get("pads")
        if layout is not None and pads is not None:
            self._wrong("layout", "layout_and_pads")
        if pads is not None:
            names = pads.split(",") if isinstance(pads, str) else pads
            if isinstance(names, list | tuple) and all(isinstance(name, str) for name in names):
                return tuple(name.strip() for name in names)
            self._wrong("pads", "pads", found=found_text(pads))
        elif layout is not None and lifter is not None:
            if layout in lifter.layouts:
                return lifter.layouts[layout]
            if lifter.layouts:
                self._wrong("layout", "layout", found=found_text(layout), known=", ".join(lifter.layouts))
            else:
                self._wrong("layout", "no_layout", found=found_text(layout))
        return None
