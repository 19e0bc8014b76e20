"""The site files that come with the project."""

from pathlib import Path

import pytest

from monitor.core.config import Basis, LifterConfig
from monitor.core.units import STANDARD_GRAVITY_M_S2
from monitor.settings.site import load_site

FOLDER = Path(__file__).parents[3] / "configs"
FILES = sorted(FOLDER.glob("*.toml"))


def lifters() -> list[LifterConfig]:
    return [lifter for path in FILES for lifter in load_site(path).core.lifters.values()]


# Six pads of 1150 cm² at 52 kPa: sum A dp/(g sqrt(20)) at 63.4 degrees, where friction 0.5 with factor 2 peaks (statics);
# four of them /(4 g) upright (BTH-1, end point) and /(g sqrt(20)).
PLATE = "under the plate's 900 kg: there the computed figure counts"
SIX = f"at the warning level the pads carry 818 kg between flat and upright (at a tilt of 63°), {PLATE}"
FOUR = (
    "layout narrow: at the warning level the pads carry 610 kg upright, 545 kg between flat and upright (at a tilt of "
    f"63°), {PLATE}"
)
NOTES = {
    "demo": [f"lifter dock-6: {SIX}", f"lifter dock-6, {FOUR}"],
    "example-site": [f"lifter dock-6: {SIX}", f"lifter dock-6, {FOUR}"],
    "example-mapped-hardware": [f"lifter dock-6: {SIX}"],
    "example-two-lifters": [f"lifter dock-6: {SIX}", f"lifter dock-7: {SIX}"],
    "example-no-load-cell": [
        "lifter dock-6: no load cell: picking up and landing are told by named actions",
        f"lifter dock-6: {SIX}",
        f"lifter dock-6, {FOUR}",
    ],
}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_loads_and_leaves_nothing_unexpected_to_note(path: Path) -> None:
    assert list(load_site(path).notes) == NOTES.get(path.stem, [])


def test_demo_needs_nothing_installed_and_no_free_port_known() -> None:
    demo = load_site(FOLDER / "demo.toml")
    assert demo.broker.embedded
    assert demo.broker.listen == "127.0.0.1:0"
    assert list(demo.core.lifters) == ["dock-6"]


@pytest.mark.parametrize("lifter", lifters(), ids=lambda lifter: lifter.id)
def test_pads_of_what_is_left_stand_around_the_middle_whichever_circuit_is_lost(lifter: LifterConfig) -> None:
    for lost in lifter.circuits:
        left = [pad for pad in lifter.pads.values() if pad.circuit != lost]
        assert sum(pad.x_mm for pad in left) == 0.0
        assert sum(pad.y_mm for pad in left) == 0.0
        # and not on one line, about which the panel could turn
        assert len({(pad.x_mm > 0) - (pad.x_mm < 0) for pad in left}) > 1
        assert len({pad.y_mm for pad in left}) > 1


@pytest.mark.parametrize("lifter", lifters(), ids=lambda lifter: lifter.id)
def test_pads_carry_the_plate_value_upright_at_the_warning_level(lifter: LifterConfig) -> None:
    """Design factor 4 upright on ASME BTH-1 (end point), 2 times 1/friction on EN 13155 with the best circuit lost."""
    force_n = {
        name: sum(pad.area_cm2 for pad in lifter.pads.values() if pad.circuit == name) / 10.0 * circuit.warning_kpa
        for name, circuit in lifter.circuits.items()
    }
    if lifter.basis is Basis.ASME_BTH_1:
        holds_kg = sum(force_n.values()) / 4.0 / STANDARD_GRAVITY_M_S2
    else:
        holds_kg = (sum(force_n.values()) - max(force_n.values())) * lifter.friction / 2.0 / STANDARD_GRAVITY_M_S2
    assert holds_kg >= lifter.wll_kg


def test_example_on_en_13155_is_under_the_two_circuit_rule() -> None:
    [lifter] = load_site(FOLDER / "example-four-circuits.toml").core.lifters.values()
    assert lifter.basis is Basis.EN_13155
    assert lifter.two_circuit_rule
    assert len(lifter.circuits) == 4


def test_two_lifters_carry_one_panel() -> None:
    assert load_site(FOLDER / "example-two-lifters.toml").core.tandems == (("dock-6", "dock-7"),)
