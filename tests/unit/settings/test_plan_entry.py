"""Plans as entered in a form or as JSON: read with units, and everything wrong told at once."""

import pytest

from monitor.core.config import Surface
from monitor.core.entry_fault import fault
from monitor.core.plan_input import PlanError, PlanInput
from monitor.settings.plan_entry import ENTRIES, US_UNITS, read_plan
from tests.unit.core.test_holding import six_pads

LIFTER = six_pads(layouts={"narrow": ("A1", "A2", "B1", "B2")})


def read(**entered: object) -> PlanInput:
    return read_plan(entered, LIFTER)


def faults(**entered: object) -> list[str]:
    with pytest.raises(PlanError) as caught:
        read(**entered)
    return [str(fault) for fault in caught.value.faults]


def test_text_and_numbers_read_alike() -> None:
    as_text = read(weight="600", cg_x_mm="50", tilt_deg=["0", "90"], vacuum_kpa="52", pads="A1, B2", wind_m_s="4")
    as_json = read(weight=600.0, cg_x_mm=50, tilt_deg=[0, 90], vacuum_kpa=52.0, pads=["A1", "B2"], wind_m_s=4)
    assert as_text == as_json
    assert as_json.pads == ("A1", "B2")


def test_nothing_entered_is_not_said() -> None:
    plan = read(weight=600, cg_x_mm="", vacuum_kpa=None, surface="", layout="", size="")
    assert plan == PlanInput(plan.panel)
    assert plan.panel.weight_kg == 600.0


def test_all_of_an_entry_counts() -> None:
    plan = read(
        size=["2500 mm", "1.5"],
        makeup="glass 8 + gap 16 + glass 8",
        spacer_kg_per_m="0.8",
        layout="narrow",
        tilt_deg="90",
        rotation_deg=[350, 10],
        surface="wet",
        coated=True,
        porous=True,
        share_ratio="60 %",
    )
    assert plan.panel.area_m2 == pytest.approx(3.75)
    assert plan.panel.spacer_kg_per_m == 0.8
    assert plan.pads == ("A1", "A2", "B1", "B2")
    assert (plan.move.tilt_low_deg, plan.move.tilt_high_deg) == (90.0, 90.0)
    assert (plan.move.rotation_low_deg, plan.move.rotation_high_deg) == (350.0, 10.0)
    assert plan.surface is Surface.WET
    assert (plan.coated, plan.porous, plan.in_tandem) == (True, True, True)
    assert plan.share_ratio == pytest.approx(0.6)


def test_corners_as_text_or_pairs() -> None:
    hole = "-0.1 m,-100; 100,-100; 100,100"
    as_text = read(weight=50, outline="-1200,-600; 1.2 m,-600; 1200,600; -1200,2 ft", cut_outs=hole)
    as_json = read(
        weight=50,
        outline=[[-1200, -600], ["1.2 m", -600], [1200, 600], [-1200, "2 ft"]],
        cut_outs=[[[-100, -100], [100, -100], [100, 100]]],
    )
    assert as_text.panel == as_json.panel
    assert as_text.panel.cut_outs == (((-0.1, -0.1), (0.1, -0.1), (0.1, 0.1)),)
    assert as_text.panel.outline[3] == pytest.approx((-1.2, 0.6096))


def test_bare_numbers_in_us_units() -> None:
    plan = read_plan(
        {"weight": "700", "size": "9 x 5", "vacuum_kpa": 15.5, "wind_m_s": "10", "cg_x_mm": "2", "altitude_m": "500 m"},
        LIFTER,
        bare_units=US_UNITS,
    )
    assert plan.panel.weight_kg == pytest.approx(317.515, abs=1e-3)
    assert plan.panel.area_m2 == pytest.approx(45 * 0.3048**2)
    assert plan.vacuum_kpa == pytest.approx(52.489, abs=1e-2)
    assert plan.wind_m_s == pytest.approx(4.4704)
    assert plan.cg_x_mm == pytest.approx(50.8)
    assert plan.altitude_m == 500.0


@pytest.mark.parametrize(
    ("entered", "field"),
    [
        ({"weight": True}, "weight"),
        ({"weight": float("nan")}, "weight"),
        ({"weight": [600]}, "weight"),
        ({"tilt_deg": [0, 45, 90]}, "tilt_deg"),
        ({"tilt_deg": []}, "tilt_deg"),
        ({"coated": "yes"}, "coated"),
        ({"surface": "wett"}, "surface"),
        ({"surface": 3}, "surface"),
        ({"makeup": 8}, "makeup"),
        ({"size": "98 in x 60"}, "size"),
        ({"size": [1, -1]}, "size"),
        ({"size": [1, "x"]}, "size"),
        ({"size": 3}, "size"),
        ({"outline": "0,0; 1"}, "outline, corner 2"),
        ({"outline": ";"}, "outline"),
        ({"outline": 5}, "outline"),
        ({"outline": [[0, 0], [1, "y"]]}, "outline, corner 2"),
        ({"outline": "0,0; 9000,0; 0,0; 0,9000"}, "outline"),
        ({"size": "2 x 2", "outline": "0,0; 2000,0; 0,2000"}, "size"),
        ({"cut_outs": "0,0; 1,0; 1,1"}, "cut_outs"),
        ({"cut_outs": 4, "size": "4 x 4"}, "cut_outs"),
        ({"cut_outs": [[[0, 0]], "a,b"], "size": "4 x 4"}, "cut_outs, number 2, corner 1"),
        ({"pads": 4}, "pads"),
        ({"pads": ["A1", 4]}, "pads"),
        ({"layout": "wide"}, "layout"),
        ({"spacer_kg_per_m": -1}, "spacer_kg_per_m"),
        ({"wieght": 5}, "wieght"),
    ],
)
def test_entry_that_cannot_be_read_is_named(entered: dict[str, object], field: str) -> None:
    told = faults(**{"weight": 600} | entered)
    assert any(fault.startswith(f"{field} is ") for fault in told), told
    assert all("; it must " in fault for fault in told)


def test_what_follows_from_an_unread_entry_is_not_told_twice() -> None:
    assert len(faults(size="1 x", makeup="glass 8")) == 1
    assert len(faults(size="1 x 1", makeup="cheese 8", pads="A1")) == 2  # and the pad beyond that size
    assert len(faults(weight=5, layout="wide", size="1 x 1")) == 1


def test_unknown_lifter_hides_nothing_else() -> None:
    with pytest.raises(PlanError) as caught:
        read_plan({"weight": "x", "tilt_deg": [0, 190]}, fault("lifter", "lifter", found="dock-9", known="dock-6"))
    assert [fault.field for fault in caught.value.faults] == ["lifter", "weight", "tilt_deg"]
    with pytest.raises(PlanError) as caught:
        read_plan({"weight": 5}, fault("lifter", "lifter", found="dock-9", known="dock-6"))
    assert [fault.field for fault in caught.value.faults] == ["lifter"]


def test_close_name_is_offered() -> None:
    assert "did you mean weight?" in faults(wieght=600)[0]
    assert "did you mean wet?" in faults(weight=600, surface="wett")[0]


def test_every_entry_is_an_option_of_the_command() -> None:
    from monitor.cli.main import parser

    given = parser().parse_args(["plan", "--site", "x", "--lifter", "y"])
    assert set(ENTRIES) <= vars(given).keys()
    assert set(US_UNITS) <= set(ENTRIES)
