"""Without a load cell: after "landed and fixed" a lifter that lifts again is carrying, whether or not anybody says so."""

import pytest

from tests.histories import NO_CELL, Watch, dock

UP = "64x1"
STILL = {"tilt_deg": "90x1", "A_pump": "offx1", "B_pump": "offx1"}


def landed(**signals: str) -> Watch:
    """Landed and fixed after a lift to 20 m, pads on."""
    watch = Watch(dock(**NO_CELL))
    watch.play(A="0x5 0>64x50 64x120", B="0x5 0>64x50 64x120", **{**STILL, **signals})
    assert watch.phase == "carrying"
    assert watch.act("landed_fixed") == "done.landed_fixed"
    watch.play(A="64x20", B="64x20", **{**STILL, **signals})
    assert (watch.phase, watch.release) == ("landing", "cannot_tell")
    return watch


@pytest.mark.parametrize(("to_m", "phase"), [(22.8, "landing"), (23.2, "carrying")])
def test_hoist_with_the_pads_on_is_another_pick(to_m: float, phase: str) -> None:
    watch = landed(height_m="20x1")
    watch.play(A=UP, B=UP, height_m=f"20>{to_m}x40 {to_m}x20", **STILL)
    assert watch.phase == phase
    assert watch.status.facts.in_flight is (phase == "carrying")


@pytest.mark.parametrize(("to_kpa", "phase"), [(100.94, "landing"), (100.92, "carrying")])
def test_ambient_tells_a_hoist_too(to_kpa: float, phase: str) -> None:
    watch = landed(ambient_kpa="101x1")
    watch.play(A=UP, B=UP, ambient_kpa=f"101>{to_kpa}x40 {to_kpa}x20", **STILL)
    assert watch.phase == phase


def test_hoist_counts_from_the_lowest_place_since() -> None:
    watch = landed(height_m="20x1")
    watch.play(A=UP, B=UP, height_m="20>5x60 5>9x40 9x20", **STILL)
    assert watch.phase == "carrying"


def test_pads_that_open_and_seal_again_are_another_pick() -> None:
    watch = landed()
    watch.play(A="64>2x10 2x30 2>64x60 64x20", B=UP, **STILL)
    assert (watch.phase, watch.status.lift.picks_n) == ("carrying", 2)


def test_one_wild_height_is_no_pick() -> None:
    watch = landed(height_m="20x1")
    watch.play(A=UP, B=UP, height_m="20x20 90x1 20x20", **STILL)
    assert watch.phase == "landing"


def test_empty_lifter_may_be_hoisted_away() -> None:
    watch = landed(height_m="20x1")
    watch.play(A="64>0x20 0x20", B="64>0x20 0x20", height_m="20x30 20>60x60", **STILL)
    assert watch.phase == "released"


def test_named_pick_still_counts() -> None:
    watch = landed()
    watch.act("picked_up")
    assert watch.phase == "carrying"


def test_carrying_begins_once_the_vacuum_is_built_and_calls_nobody_before() -> None:
    watch = Watch(dock(**NO_CELL, pump_levels=True))
    pump = {"A_pump": "offx10 onx80 offx1", "B_pump": "offx10 onx80 offx1"}
    told = watch.play(A="0x10 0>66x80 66x200", B="0x10 0>66x80 66x200", tilt_deg="90x1", noise_kpa=0.05, **pump)
    assert watch.phase == "carrying"
    began = next(status for status in told if status.facts.phase == "carrying")
    assert min(circuit.vacuum_kpa for circuit in began.facts.used()) > 65.0
    assert {status.called.call.value for status in told} <= {"not_lifting", "look", "holding"}
