"""What friction counts, and the tilts and turns a check is asked at."""

import math

import pytest

from monitor.core.config import Basis, Surface
from monitor.core.factors import Move, judged_tilts_deg, marks_between, said_tilts_deg, surface_friction, turns_of
from tests.histories import dock


@pytest.mark.parametrize(
    ("site", "own", "said", "counts"),
    [
        (Surface.DRY, 0.35, None, 0.35),
        (Surface.DRY, 0.35, Surface.DRY, 0.35),
        (Surface.DRY, 0.35, Surface.WET, 0.2),
        (Surface.DRY, 0.15, Surface.WET, 0.15),  # measured lower dry than the list has it wet: no better wet
        (Surface.WET, 0.15, Surface.DRY, 0.5),  # the supervisor says it is dry: the list's, not the wet figure
        (Surface.WET, 0.15, Surface.OILY, 0.1),
        (Surface.WET, 0.05, Surface.OILY, 0.05),
    ],
)
def test_friction_of_a_worse_surface_is_never_above_the_site_files(
    site: Surface, own: float, said: Surface | None, counts: float
) -> None:
    assert surface_friction(dock(surface=site, friction=own), said) == counts


@pytest.mark.parametrize(("basis", "judged"), [(Basis.EN_13155, (4.0, 96.0)), (Basis.ASME_BTH_1, (10.0, 90.0))])
def test_en_13155_widens_the_intended_tilts_by_six_degrees_at_both_ends(
    basis: Basis, judged: tuple[float, float]
) -> None:
    for move in (Move(10.0, 90.0), Move(90.0, 10.0)):
        assert said_tilts_deg(move) == (10.0, 90.0)
        assert judged_tilts_deg(dock(basis=basis, tilt_allowance_deg=6.0), move) == judged


@pytest.mark.parametrize("friction", [0.1, 0.2, 0.5])
@pytest.mark.parametrize(("low_deg", "high_deg"), [(-6.0, 96.0), (0.0, 180.0), (70.0, 80.0), (90.0, 186.0)])
def test_nothing_between_the_marks_asks_more_than_the_worst_of_them(
    friction: float, low_deg: float, high_deg: float
) -> None:
    """Cos + sin/µ peaks where tan is 1/µ, the design factor times the load upright, the pull lying flat."""
    checks = (
        lambda t: abs(math.cos(t)) + abs(math.sin(t)) / friction,
        lambda t: 2.0 + 2.0 * abs(math.sin(t)),
        lambda t: abs(math.cos(t)),
    )
    marks = marks_between(low_deg, high_deg, friction)
    assert {low_deg, high_deg} <= set(marks)
    assert min(marks) == low_deg
    assert max(marks) == high_deg
    for check in checks:
        worst = max(check(math.radians(mark)) for mark in marks)
        steps = (low_deg + (high_deg - low_deg) * number / 2000.0 for number in range(2001))
        assert max(check(math.radians(at_deg)) for at_deg in steps) <= worst + 1e-12


@pytest.mark.parametrize(
    ("low_deg", "high_deg", "inside"),
    [
        (-100.0, 280.0, [-90.0, -63.435, 0.0, 63.435, 90.0, 116.565, 180.0, 243.435, 270.0]),
        (-6.0, 96.0, [0.0, 63.435, 90.0]),
        (0.0, 90.0, [63.435]),
        (10.0, 20.0, []),
    ],
)
def test_marks_are_the_ends_first_and_where_a_check_can_peak_between_them(
    low_deg: float, high_deg: float, inside: list[float]
) -> None:
    """Flat, upright, lying on top, and where the tangent is 1/0.5 to either side of flat: 63.435°."""
    marks = marks_between(low_deg, high_deg, 0.5)
    assert marks[:2] == [low_deg, high_deg]
    assert sorted(set(marks[2:])) == pytest.approx(inside, abs=1e-3)


@pytest.mark.parametrize(
    ("low_deg", "high_deg", "turns_deg"),
    [
        (0.0, 360.0, (0.0, 360.0)),
        (10.0, 80.0, (10.0, 80.0)),
        (30.0, 30.0, (30.0, 30.0)),
        (350.0, 10.0, (350.0, 370.0)),  # through 0
        (300.0, -300.0, (300.0, 420.0)),
        (300.0, -60.5, (300.0, 659.5)),
        (-360.0, 360.0, (-360.0, 0.0)),  # a whole turn has all there is
    ],
)
def test_turn_goes_from_its_first_end_onward(low_deg: float, high_deg: float, turns_deg: tuple[float, float]) -> None:
    assert turns_of(Move(rotation_low_deg=low_deg, rotation_high_deg=high_deg)) == turns_deg
