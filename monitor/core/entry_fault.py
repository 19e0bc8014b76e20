"""What can be wrong in what is entered for a plan: a key and values. The English of each key stands here, once.

Each is a whole sentence that begins with "It is", the entry, and says what it must be behind "; it must".
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

_IT_IS: Final = "It is "
_MUST: Final = "; it must "

FAULTS: Final[Mapping[str, str]] = {
    "fault.no_number": "It is {found}; it must be a number, or text with a number and its unit.",
    "fault.quantity": 'It is "{found}"; it must be a number and its unit ({units}), with a point for decimals.',
    "fault.span": "It is {found}; it must lie in {low} to {high} ({unit}).",
    "fault.span_plain": "It is {found}; it must lie in {low} to {high}.",
    "fault.not_above_0": "It is {found}; it must be above 0.",
    "fault.flag": "It is {found}; it must be true or false.",
    "fault.text": "It is {found}; it must be text.",
    "fault.word": "It is {found}; it must be one of {known}.",
    "fault.word_close": "It is {found}; it must be one of {known} (did you mean {close}?).",
    "fault.entry": "It is not a known entry; it must be one of {known}.",
    "fault.entry_close": "It is not a known entry; it must be one of {known} (did you mean {close}?).",
    # The panel.
    "fault.weight": "It is {found} kg; it must be above 0 and at most 100000 kg.",
    "fault.no_weight": "It is not given; it must be stated, or follow from a size (or an outline) and a make-up.",
    "fault.layer": 'It is "{found}"; it must be a material and its thickness in mm, like "glass 8".',
    "fault.material": 'It is "{found}"; it must be one of {known}.',
    "fault.thickness": "It is {found} mm thick; it must be above 0 and at most 1000 mm.",
    "fault.first_layer": 'It is "{found}"; it must be a layer the pads can hold on.',
    "fault.size": 'It is "{found}"; it must be width x height above 0, like 2.5 m x 1.5 m.',
    "fault.sides": "It is {width} x {height} m; it must be width x height above 0.",
    "fault.size_and_outline": "It is given beside an outline; it must be left out where an outline says it.",
    "fault.corners": "It is {found}; it must be corners, like 0,0; 2500,0; 2500,1500 (mm).",
    "fault.corner": "It is {found}; it must be x and y, like 2500,0 (mm).",
    "fault.corners_far": "It is not all numbers within 50 m; it must be corners in metres from the drawing's origin.",
    "fault.corners_few": "It is {found} corners; it must have at least three.",
    "fault.no_area": "It is {found} m² large; it must have an area.",
    "fault.crossing": "It is crossing itself at sides {one} and {other}; it must go once round the panel.",
    "fault.holes": "It is {found}; it must be a list of outlines.",
    "fault.holes_alone": "It is given without a size or an outline; it must lie in a panel whose size is known.",
    "fault.hole_beyond": "It is beyond the outline or on it; it must lie inside the panel.",
    "fault.hole_over": "It is over cut-out {other}; it must lie beside the others.",
    # The move.
    "fault.angles": "It is {found} angles; it must be the lower and the higher one.",
    "fault.ends": "It is {low} to {high}; it must have its lower end first.",
    "fault.over_ambient": "It is {found}; it must be under the ambient pressure, {most} kPa.",
    "fault.share_alone": "It is {found}; it must be 1 where one lifter carries the panel.",
    # Lifter and pads.
    "fault.lifter": 'It is "{found}"; it must be one of {known}.',
    "fault.lifter_without_pads": "It is not given; it must be in the site file for a plan.",
    "fault.circuit_without_pads": "It is without pads; it must have some, or be left out of the lifter.",
    "fault.layout": "It is {found}; it must be one of {known}.",
    "fault.no_layout": "It is {found}; it must be left out: the lifter has none.",
    "fault.layout_and_pads": "It is given beside pads; it must be left out where the pads are named.",
    "fault.pads": "It is {found}; it must be a list of pads.",
    "fault.pads_none": "It is an empty list; it must name the pads in use.",
    "fault.pad_unknown": 'It is "{found}"; it must be among {known}.',
    "fault.pad_twice": 'It is "{found}" twice; it must name each pad once.',
    "fault.pad_outside": "It is at {x}, {y} mm, outside the panel; it must sit on the panel.",
    "fault.pad_over_hole": "It is at {x}, {y} mm, over a cut-out; it must sit on the panel.",
}
"""What was found, and what it must be, by key. Numbers in it are as they may be typed: with a point, without a unit."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong in what was entered.

    Attributes:
        field: Its entry, or where in it: ``weight``, ``makeup, layer 2``, ``pad A1``.
        key: One of :data:`FAULTS`.
        values: What the key's words name.
    """

    field: str
    key: str
    values: Mapping[str, str]

    @property
    def found(self) -> str:
        """What was found, in English."""
        return FAULTS[self.key].removeprefix(_IT_IS).partition(_MUST)[0].format_map(self.values)

    @property
    def allowed(self) -> str:
        """What it must be, in English, as it follows "it must"."""
        return FAULTS[self.key].partition(_MUST)[2].removesuffix(".").format_map(self.values)

    def __str__(self) -> str:
        """One line, for the command line and the site file, which are English."""
        return f"{self.field} is {self.found}{_MUST}{self.allowed}."


def fault(field: str, key: str, **values: str) -> Fault:
    """The same, values by name. Check: ``fault("wll_kg", "not_above_0", found="0")`` is "wll_kg is 0; it must be above 0."."""
    return Fault(field, f"fault.{key}", values)
