"""What a judged plan has to say, sentence by sentence: each on one side of its limit and not on the other, with its figures.

The figures judged are put in by hand here; ``test_plan.py`` works them out.
"""

import functools
import math
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from monitor.core import plan_says
from monitor.core.config import Basis, LifterConfig, PadConfig, Surface
from monitor.core.holding import Centre, IfLost, WorstPad
from monitor.core.messages import Text
from monitor.core.panel import Panel, read_makeup, rectangle
from monitor.core.plan import PlanResult, judge_plan
from monitor.core.plan_input import PlanInput
from monitor.core.plan_rating import Offset
from tests.histories import dock

STATED = Panel(weight_kg=620.0)
GLASS = read_makeup("glass 8 + pvb 1.52 + glass 8")


@functools.cache
def _judged() -> PlanResult:
    return judge_plan(dock(), PlanInput(STATED))


def judged(**changes: Any) -> PlanResult:
    """620 kg within its limits, on two circuits; and whatever a test changes of it."""
    still = Offset(0.0, 0.0, 800.0, fits=True)
    return replace(
        _judged(), **{"rated_kg": 800.0, "computed_kg": 900.0, "best_offset": still, "wind_limit_m_s": None, **changes}
    )


def plan(**said: Any) -> PlanInput:
    return PlanInput(**{"panel": STATED, **said})


def told(texts: Iterable[Text]) -> dict[str, dict[str, object]]:
    """Values by key, of which each stands once."""
    texts = tuple(texts)
    found = {text.key.removeprefix("plan."): dict(text.values) for text in texts}
    assert len(found) == len(texts)
    return found


def outside(config: LifterConfig | None = None, said: PlanInput | None = None, **changes: Any) -> dict[str, Any]:
    return told(plan_says.outside(config or dock(), said or plan(), judged(**changes)))


def notes(config: LifterConfig | None = None, said: PlanInput | None = None, **changes: Any) -> dict[str, Any]:
    return told(plan_says.notes(config or dock(), said or plan(), judged(**changes)))


# --- what puts a plan outside its limits


def test_plan_within_its_limits_has_nothing_against_it() -> None:
    assert outside() == {}


@pytest.mark.parametrize(("margin_kg", "said"), [(0.0, False), (-0.1, True)])
def test_over_its_rated_load_is_outside(margin_kg: float, said: bool) -> None:
    values = {"weight_at_most_kg": 620.0, "rated_at_least_kg": 800.0}
    assert outside(margin_kg=margin_kg) == ({"over": values} if said else {})


@pytest.mark.parametrize(("fits", "key"), [(True, "out_of_balance"), (False, "cannot_balance")])
def test_panel_that_does_not_balance_is_said_before_its_weight_and_where_the_lifter_would_have_to_be(
    fits: bool, key: str
) -> None:
    out = {"worst_pad": WorstPad("A1", math.inf), "margin_kg": -620.0}
    assert outside(**out, best_offset=Offset(120.4, -60.6, 700.0, fits=fits)) == {key: {"x_mm": 120, "y_mm": -61}}


@pytest.mark.parametrize(
    ("lost", "expected"),
    [
        (IfLost(1.9, 2.0), {"lost_too_little": {"circuit": "B", "factor_at_least_ratio": 1.9, "needed_ratio": 2.0}}),
        (IfLost(2.0, 2.0), {}),
        (IfLost(0.0, 2.0), {"lost_falls": {"circuit": "B"}}),
        (IfLost(0.5, None), {}),  # information only where nothing asks for it
        (IfLost(None, 2.0), {}),
    ],
)
def test_circuit_that_is_lost_must_leave_what_is_asked_for(lost: IfLost, expected: dict[str, Any]) -> None:
    assert outside(if_lost={"A": IfLost(2.5, 2.0), "B": lost}) == expected


@pytest.mark.parametrize(
    ("basis", "restraint", "circuits", "said"),
    [
        (Basis.EN_13155, False, "A", True),
        (Basis.EN_13155, True, "A", False),
        (Basis.ASME_BTH_1, False, "A", False),
        (Basis.EN_13155, False, "AB", False),
    ],
)
def test_one_circuit_alone_asks_for_a_secondary_restraint(
    basis: Basis, restraint: bool, circuits: str, said: bool
) -> None:
    config = dock(basis=basis, secondary_restraint=restraint)
    found = outside(config, if_lost={name: IfLost(0.0, None) for name in circuits})
    assert found == ({"one_circuit_unsecured": {"circuit": "A"}} if said else {})


@pytest.mark.parametrize(("lift_height_m", "said"), [(833.0, False), (834.0, True)])
def test_vacuum_the_pump_does_not_reach_up_there_is_outside(lift_height_m: float, said: bool) -> None:
    """A working level of 62 kPa less 0.012 kPa a metre; the warning level is 52."""
    found = outside(None, plan(lift_height_m=lift_height_m), judged_kpa={"B": 52.0})
    assert set(found) == ({"under_warning_level"} if said else set())
    if said:
        values = {"circuit": "B", "warning_kpa": 52.0, "reached_kpa": pytest.approx(62.0 - 0.012 * 834.0)}
        assert found["under_warning_level"] == values


@pytest.mark.parametrize(
    ("wind_m_s", "limit_m_s", "said"), [(8.1, 8.0, True), (8.0, 8.0, False), (None, 8.0, False), (8.1, None, False)]
)
def test_wind_over_the_limit_of_this_panel_is_outside(
    wind_m_s: float | None, limit_m_s: float | None, said: bool
) -> None:
    found = outside(dock(wind_at="hook"), plan(wind_m_s=wind_m_s), wind_limit_m_s=limit_m_s)
    values = {"wind_m_s": wind_m_s, "limit_at_least_m_s": limit_m_s, "chart_m_s": 9.0, "where": "hook"}
    assert found == ({"wind_over": values} if said else {})


@pytest.mark.parametrize(
    ("due", "today", "said"),
    [("2026-05-01", "2026-05-02", True), ("2026-05-01", "2026-05-01", False), ("", "2026-05-02", False)],
)
def test_examination_is_overdue_from_the_day_after(due: str, today: str, said: bool) -> None:
    found = outside(dock(examination_due=due), plan(today=today))
    assert found == ({"examination_overdue": {"due": due}} if said else {})


# --- what the rated load comes from, and each circuit


def test_what_governs_is_said_with_all_its_figures() -> None:
    given = judged(governs="worst_pad", governing_pad="B3", margin_kg=180.0, at_tilt_deg=63.4, friction=0.2)
    assert plan_says.governing(dock(), plan(surface=Surface.WET), given) == Text(
        "plan.governs_worst_pad",
        {
            "rated_at_least_kg": 800.0,
            "weight_kg": 620.0,
            "margin_at_least_kg": 180.0,
            "at_tilt_deg": 63.4,
            "basis": "asme-bth-1",
            "surface": "wet",
            "friction_ratio": 0.2,
            "pad": "B3",
        },
    )
    assert plan_says.governing(dock(surface=Surface.OILY), plan(), given).values["surface"] == "oily"


def test_each_circuit_says_what_is_needed_of_it_and_what_is_left_without_it() -> None:
    given = judged(
        if_lost={"A": IfLost(1.4, None), "B": IfLost(1.3, None)},
        needed_kpa={"A": 34.0, "B": math.inf},
        judged_kpa={"A": 52.0, "B": 50.0},
    )
    needs = {"circuit": "A", "factor_at_least_ratio": 1.4, "needed_at_most_kpa": 34.0, "judged_kpa": 52.0}
    assert plan_says.circuits(given) == (
        Text("plan.circuit_needs", needs),
        Text("plan.circuit_cannot", {"circuit": "B"}),
    )


# --- what to heed


def test_notes_of_a_plain_plan() -> None:
    assert set(notes()) == {
        "friction_listed", "depth_not_known", "wind_no_area", "wind_not_entered", "examination_not_known"
    }  # fmt: skip


@pytest.mark.parametrize(("computed_kg", "said"), [(899.9, True), (900.0, False)])
def test_plate_that_is_not_carried_is_said(computed_kg: float, said: bool) -> None:
    found = notes(computed_kg=computed_kg, at_tilt_deg=63.4)
    values = {"computed_at_least_kg": computed_kg, "wll_kg": 900.0, "at_tilt_deg": 63.4}
    assert found.get("plate_not_carried") == (values if said else None)


@pytest.mark.parametrize(
    ("rated_kg", "fits", "said"), [(808.1, True, True), (808.0, True, False), (900.0, False, False)]
)
def test_moving_the_lifter_is_suggested_where_it_is_worth_a_hundredth(rated_kg: float, fits: bool, said: bool) -> None:
    found = notes(best_offset=Offset(12.0, 34.0, rated_kg, fits=fits))
    values = {"x_mm": 12, "y_mm": 34, "rated_at_least_kg": rated_kg}
    assert found.get("move_lifter") == (values if said else None)


@pytest.mark.parametrize(
    ("own", "source", "used", "key"),
    [
        (0.35, "own trial of May", 0.35, "friction_own"),
        (0.35, "own trial of May", 0.2, "friction_listed"),
        (0.35, "", 0.35, "friction_listed"),
    ],
)
def test_friction_is_told_with_where_it_comes_from(own: float, source: str, used: float, key: str) -> None:
    found = notes(dock(friction=own, friction_source=source), plan(surface=Surface.WET), friction=used)
    values = {"surface": "wet", "friction_ratio": used} | ({"source": source} if key == "friction_own" else {})
    assert found[key] == values
    assert len({"friction_own", "friction_listed"} & set(found)) == 1
    assert notes(dock(surface=Surface.OILY))["friction_listed"]["surface"] == "oily"


@pytest.mark.parametrize(
    ("lost", "expected"),
    [
        ({"A": IfLost(1.4, None)}, {"circuit_not_used": {"circuit": "B"}, "one_circuit": {"circuit": "A"}}),
        (
            {"A": IfLost(1.0, None), "B": IfLost(0.9, None)},
            {"lost_not_held": {"circuit": "B", "factor_at_least_ratio": 0.9}},
        ),
        ({"A": IfLost(0.9, 2.0), "B": IfLost(None, None)}, {}),  # the first is a reason, not a note
    ],
)
def test_what_is_left_with_a_circuit_lost_is_noted_where_nothing_asks_for_it(
    lost: dict[str, IfLost], expected: dict[str, Any]
) -> None:
    found = notes(if_lost=lost)
    assert {key: found[key] for key in ("circuit_not_used", "one_circuit", "lost_not_held") if key in found} == expected


@pytest.mark.parametrize(
    ("stated_kg", "said"), [(148.2, True), (148.4, False), (163.8, False), (164.0, True), (None, False)]
)
def test_stated_weight_a_twentieth_off_the_make_up_is_said(stated_kg: float | None, said: bool) -> None:
    """2.5 x 1.5 m of two glasses of 8 mm and 1.52 mm of PVB weigh 156.10 kg."""
    panel = Panel(rectangle(2.5, 1.5), layers=GLASS, weight_kg=stated_kg)
    found = notes(None, plan(panel=panel)).get("weight_differs")
    assert found == ({"weight_kg": stated_kg, "made_kg": pytest.approx(156.10, abs=5e-3)} if said else None)


@pytest.mark.parametrize(("overhang_mm", "said"), [(None, False), (600.0, False), (600.4, True)])
def test_panel_that_reaches_far_beyond_the_pads_is_said(overhang_mm: float | None, said: bool) -> None:
    found = notes(dock(thin_panel_factor=1.3), overhang_mm=overhang_mm).get("overhang")
    assert found == ({"overhang_mm": 600, "limit_mm": 600, "factor_ratio": 1.3} if said else None)


@pytest.mark.parametrize(
    ("panel", "near"),
    [
        (Panel(rectangle(2.19, 2.0)), "A1, A2"),
        (Panel(rectangle(2.21, 2.0)), None),
        (Panel(rectangle(3.0, 3.0), (((-0.1, 0.0), (0.1, 0.0), (0.1, 0.1), (-0.1, 0.1)),)), None),
        (Panel(rectangle(3.0, 3.0), (((-0.9, 0.4), (0.9, 0.4), (0.9, 0.5), (-0.9, 0.5)),)), "A1, A2"),
        (STATED, None),
    ],
)
def test_pad_nearer_an_edge_or_a_hole_than_its_own_radius_is_said(panel: Panel, near: str | None) -> None:
    """A round pad of 1256.6 cm² has a radius of 200 mm; two stand 900 mm from the middle, 300 mm above it."""
    pads = {name: PadConfig(name, "A", x, 300.0, 1256.6) for name, x in (("A1", -900.0), ("A2", 900.0))}
    panel = replace(panel, weight_kg=100.0)
    found = notes(dock(pads=pads), plan(panel=panel)).get("pad_near_edge")
    assert found == ({"pads": near} if near else None)


@pytest.mark.parametrize(
    ("makeup", "said", "keys"),
    [
        ("glass 8", {}, set()),
        ("glass 6 + gap 16 + glass 6", {}, {"holds_outer_pane"}),
        ("aluminium 4", {}, {"holds_skin"}),
        ("aluminium composite 4", {}, {"holds_skin"}),
        ("granite 30", {}, {"porous"}),
        ("glass 8", {"coated": True}, {"holds_coating"}),
        ("glass 8", {"porous": True}, {"porous"}),
    ],
)
def test_what_the_pads_hold_on_is_said(makeup: str, said: dict[str, Any], keys: set[str]) -> None:
    found = notes(
        dock(time_to_land_s=240.0), plan(panel=Panel(rectangle(3.0, 3.0), layers=read_makeup(makeup)), **said)
    )
    assert set(found) & {"holds_outer_pane", "holds_skin", "porous", "holds_coating"} == keys
    assert found.get("porous", {"reserve_s": 480.0}) == {"reserve_s": 480.0}
    assert "depth_not_known" not in found


def test_depth_is_not_known_only_while_neither_is_entered() -> None:
    assert "depth_not_known" not in notes(None, plan(cg_depth_mm=12.0))


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "said"), [(0.9, 0.0, False), (0.0, 1.0, False), (1.1, 0.0, True), (0.8, 0.8, True)]
)
def test_centre_off_the_middle_of_the_outline_is_said(x_mm: float, y_mm: float, said: bool) -> None:
    found = notes(None, plan(panel=Panel(rectangle(3.0, 3.0), weight_kg=100.0)), centre=Centre(x_mm, y_mm, 0.0))
    assert found.get("off_middle") == ({"x_mm": round(x_mm), "y_mm": round(y_mm)} if said else None)
    assert "off_middle" not in notes(centre=Centre(500.0, 0.0, 0.0))  # no outline, no middle
    aside = Panel(((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)), weight_kg=100.0)  # its middle at 500, 500 mm
    assert "off_middle" not in notes(None, plan(panel=aside), centre=Centre(500.0, 500.0, 0.0))


@pytest.mark.parametrize(
    ("in_tandem", "partners", "expected"),
    [
        (False, (), {}),
        (True, ("dock-7",), {"tandem": {"share_ratio": 0.6}}),
        (True, (), {"tandem": {"share_ratio": 0.6}, "tandem_not_set_up": {}}),
        (False, ("dock-7", "dock-8"), {"tandem_whole": {"partners": "dock-7, dock-8"}}),
    ],
)
def test_two_lifters_on_one_panel_are_said(
    in_tandem: bool, partners: tuple[str, ...], expected: dict[str, Any]
) -> None:
    found = notes(None, plan(in_tandem=in_tandem, partners=partners, share_ratio=0.6))
    assert {key: values for key, values in found.items() if key.startswith("tandem")} == expected


# --- air and wind


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ({}, {}),
        ({"altitude_m": 2000.0}, {"thin_air": {"altitude_m": 2000.0, "ambient_kpa": pytest.approx(79.495, abs=1e-3)}}),
        ({"altitude_m": -400.0}, {}),
        ({"lift_height_m": 100.0}, {"hoist_takes": {"lift_height_m": 100.0, "takes_kpa": pytest.approx(1.2)}}),
        ({"vacuum_kpa": 60.0}, {"over_warning_level": {"vacuum_kpa": 60.0, "warning_kpa": 50.0}}),
        ({"lift_height_m": 0.5}, {"hoist_takes": {"lift_height_m": 0.5, "takes_kpa": pytest.approx(0.006)}}),
        ({"vacuum_kpa": 52.0}, {"over_warning_level": {"vacuum_kpa": 52.0, "warning_kpa": 50.0}}),
        ({"vacuum_kpa": 50.0}, {"below_warning_level": {"vacuum_kpa": 50.0, "warning_kpa": 52.0}}),
        ({"vacuum_kpa": 45.0}, {"below_warning_level": {"vacuum_kpa": 45.0, "warning_kpa": 52.0}}),
    ],
)  # fmt: skip
def test_air_that_takes_of_the_vacuum_is_said(said: dict[str, Any], expected: dict[str, Any]) -> None:
    """2000 m: 79.495 kPa by ISO 2533; 1.2 kPa a hundred metres of hoist."""
    circuits = dock().circuits
    config = dock(circuits={"A": circuits["A"], "B": replace(circuits["B"], warning_kpa=50.0)})
    air = ("thin_air", "hoist_takes", "over_warning_level", "below_warning_level")
    found = notes(config, plan(**said))
    assert {key: found[key] for key in air if key in found} == expected


OUTLINED = Panel(rectangle(3.0, 3.0), weight_kg=100.0)
THICK = Panel(rectangle(3.0, 3.0), layers=GLASS)


@pytest.mark.parametrize(
    ("config", "said", "changes", "expected"),
    [
        ({"wind_limit_m_s": None}, {"wind_m_s": 5.0, "panel": THICK}, {"area_m2": 9.0}, {"wind_no_limit": {}}),
        ({}, {"wind_m_s": 5.0, "panel": THICK}, {"area_m2": 9.0}, {"wind_no_area": {}}),
        (
            {"wind_at": "hook"},
            {"wind_m_s": 5.0, "panel": THICK},
            {"area_m2": 9.0, "wind_limit_m_s": 7.5},
            {"wind_limit": {"limit_at_least_m_s": 7.5, "chart_m_s": 9.0, "where": "hook"}},
        ),
        ({}, {"panel": THICK}, {"area_m2": 9.0}, {"wind_no_area": {}, "wind_not_entered": {}}),
        ({}, {"wind_m_s": 5.0}, {"area_m2": None}, {"wind_no_area": {}, "wind_not_counted": {}}),
        (
            {},
            {"wind_m_s": 5.0, "panel": OUTLINED},
            {"area_m2": 9.0},
            {"wind_no_area": {}, "wind_along_not_counted": {}},
        ),
        (
            {"wind_is_gust": False},
            {"wind_m_s": 5.0, "panel": THICK},
            {"area_m2": 9.0},
            {"wind_no_area": {}, "wind_is_mean": {}},
        ),
    ],
)
def test_what_is_known_of_the_wind_is_said(
    config: dict[str, Any], said: dict[str, Any], changes: dict[str, Any], expected: dict[str, Any]
) -> None:
    found = notes(dock(**config), plan(**said), **changes)
    assert {key: values for key, values in found.items() if key.startswith("wind")} == expected


@pytest.mark.parametrize(("factor", "said"), [(1.0, False), (1.1, True)])
def test_dynamic_factor_is_said_where_the_site_has_one(factor: float, said: bool) -> None:
    assert notes(dock(dynamic_factor=factor)).get("dynamic_factor") == ({"factor_ratio": 1.1} if said else None)


def test_examination_that_is_known_is_not_asked_for() -> None:
    assert "examination_not_known" not in notes(dock(examination_due="2027-05-01"))


# --- the check list


def test_check_list_is_in_the_order_it_is_gone_through() -> None:
    config = dock(wind_at="hook", seal_test_s=70.0, time_to_land_s=200.0)
    found = told(plan_says.checks(config, plan(pads=("A1", "B1"))))
    assert list(found) == [
        "check_plan_known", "check_speaker", "check_zone", "check_set_down", "check_weather", "check_lifter",
        "check_surface", "check_pads", "check_one_lifter", "check_gauge", "check_seal", "check_trial_lift", "check_weight",
        "check_fixed",
    ]  # fmt: skip
    assert found["check_weather"] == {"where": "hook"}
    assert found["check_pads"] == {"pads": "A1, B1"}
    assert found["check_seal"] == {"test_s": 70.0, "reserve_s": 400.0}
    assert all(not values for key, values in found.items() if key not in {"check_weather", "check_pads", "check_seal"})


def test_restraint_and_tandem_stand_in_the_check_list_where_there_are_any() -> None:
    found = list(told(plan_says.checks(dock(secondary_restraint=True), plan(in_tandem=True))))
    assert found[8] == "check_tandem"
    assert found[found.index("check_seal") + 1] == "check_restraint"
