"""What a named person may tell the engine: who and in which role, and what is refused in words."""

import pytest

from monitor.core.config import Surface
from monitor.core.events import ActionKind
from monitor.words.english import TEMPLATES
from monitor.words.say import summary_dict
from tests.histories import NO_CELL, STILL, Watch, carry, carrying, dock

PLAN = {"weight_kg": 620.0, "tilt_low_deg": 80.0, "tilt_high_deg": 90.0, "layout": "narrow"}


def seal(watch: Watch) -> None:
    """Both circuits to 64 kPa, nothing lifted yet."""
    vacuum = "0x5 0>64x100 64x200"
    watch.play(A=vacuum, B=vacuum, load_kg="0x1", noise_kpa=0.05, **STILL)


def hang(watch: Watch, load_kg: str) -> None:
    """A load on what holds 64 kPa."""
    watch.play(A="64x1", B="64x1", load_kg=load_kg, noise_kpa=0.05, **STILL)


def let_go(watch: Watch) -> None:
    """The vacuum is let out of every pad, with nothing on the hook."""
    watch.play(A="64>0x10 0x30", B="64>0x10 0x30", load_kg="0x1", **STILL)


@pytest.mark.parametrize("kind", list(ActionKind))
@pytest.mark.parametrize("who", ["", "  "])
def test_nobody_acts_without_a_name(kind: ActionKind, who: str) -> None:
    watch = Watch()
    assert watch.act(kind, who=who, weight_kg=600.0) == "refused.who"
    assert watch.state.lifters["dock-6"].plan is None


@pytest.mark.parametrize("kind", list(ActionKind))
def test_every_answer_has_words(kind: ActionKind) -> None:
    watch = Watch()
    for params in ({}, PLAN, {"surface": "wet"}, {"raising": "dock-6/B/vacuum_low/1"}):
        assert watch.act(kind, **params) in TEMPLATES


def test_unknown_lifter_is_refused() -> None:
    watch = Watch()
    watch.lifter = "dock-9"
    assert watch.act("plan", **PLAN) == "refused.no_such_lifter"


def test_done_actions_stand_in_the_record_of_the_lift_and_refused_ones_do_not() -> None:
    watch = carrying()
    watch.act("confirm_fixed", role="landing", who="installer")
    watch.act("surface", surface="damp")
    [noted] = watch.state.lifters["dock-6"].log.actions  # type: ignore[union-attr]
    assert (noted.kind, noted.who, noted.role, noted.at_s) == ("confirm_fixed", "installer", "landing", watch.now_s)


@pytest.mark.parametrize(("planned_m_s", "counts_m_s"), [(6.0, 6.0), (20.0, 9.0)])
def test_wind_limit_of_the_plan_counts_where_it_is_lower_than_the_sites(planned_m_s: float, counts_m_s: float) -> None:
    watch = carrying(wind_limit_m_s=9.0, plan={"weight_kg": 600.0, "wind_limit_m_s": planned_m_s})
    carry(watch, wind_m_s="7x20")
    assert watch.status.facts.wind_limit_m_s == counts_m_s
    assert ("wind_over_limit" in watch.alarms) is (counts_m_s < 7.0)


@pytest.mark.parametrize("limit_m_s", [0.0, -3.0])
def test_wind_limit_of_nothing_is_refused(limit_m_s: float) -> None:
    assert carrying().act("plan", weight_kg=600.0, wind_limit_m_s=limit_m_s) == "refused.plan"


# --- out of service


@pytest.mark.parametrize(
    "params",
    [
        {}, {"alarm": "no_such"}, {"alarm": "sensor_fault"}, {"alarm": "sensor_fault", "about": "Z"},
        {"alarm": "battery_low", "about": "B"}, {"alarm": 7}, {"alarm": ["battery_low"]}, {"alarm": "battery_low", "about": 7},
    ],
)  # fmt: skip
@pytest.mark.parametrize("kind", ["out_of_service", "in_service"])
def test_alarm_to_be_out_of_service_must_be_one_of_this_lifters(kind: str, params: dict[str, object]) -> None:
    watch = Watch()
    assert watch.act(kind, role="maintenance", reason="on order", **params) == "refused.no_such_alarm"
    assert watch.alarms == {}


@pytest.mark.parametrize("reason", [None, 7, ["x"]])
def test_reason_that_is_no_text_is_none(reason: object) -> None:
    answered = Watch().act("out_of_service", role="maintenance", alarm="battery_low", reason=reason)
    assert answered == "refused.out_of_service_needs"


def test_alarm_out_of_service_is_shown_though_it_tells_nothing() -> None:
    watch = Watch()
    watch.act(
        "out_of_service", role="maintenance", who="technician", alarm="sensor_fault", about="B", reason="on order"
    )
    [told] = watch.said["alarms"]  # type: ignore[misc]
    assert (told["state"], told["out_of_service"]) == ("normal", True)
    assert (told["set_aside_by"], told["set_aside_why"]) == ("technician", "on order")
    assert told["words"] == "“sensor fault” tells nothing now"
    watch.act("in_service", role="maintenance", alarm="sensor_fault", about="B")
    assert watch.said["alarms"] == []


def test_alarm_out_of_service_is_no_alarm_of_the_lift() -> None:
    watch = carrying()
    watch.act("out_of_service", role="maintenance", alarm="battery_low", reason="on order")
    log = watch.state.lifters["dock-6"].log
    assert log is not None
    assert log.alarms == {}
    assert [act.kind for act in log.actions] == ["out_of_service"]


# --- the surface


@pytest.mark.parametrize(
    ("begun", "said", "role", "answer"),
    [
        ("dry", "wet", "operator", "done.surface"),
        ("dry", "oily", "landing", "done.surface"),
        ("wet", "oily", "landing", "done.surface"),
        ("wet", "dry", "operator", "refused.supervisor_only"),
        ("oily", "wet", "landing", "refused.supervisor_only"),
        ("wet", "dry", "supervisor", "done.surface"),
    ],
)
def test_anyone_makes_the_surface_worse_and_only_the_supervisor_takes_it_back(
    begun: str, said: str, role: str, answer: str
) -> None:
    watch = Watch()
    watch.act("surface", surface=begun)
    assert watch.act("surface", role=role, surface=said) == answer


@pytest.mark.parametrize("surface", ["damp", "", None, 1, ["wet"]])
def test_surface_is_dry_wet_or_oily(surface: object) -> None:
    try:
        answer = Watch().act("surface", surface=surface)
    except TypeError:  # a list is not even hashable
        pytest.fail("an action from a page must never raise")
    assert answer == "refused.surface"


def test_margin_follows_a_wet_surface_at_once() -> None:
    watch = carrying()
    before = watch.status.facts.holding
    watch.act("surface", role="landing", surface="wet")
    after = watch.status.facts.holding
    assert before is not None
    assert after is not None
    assert after.rated_kg < before.rated_kg
    assert after.governs == "friction"


def test_wet_surface_that_takes_the_margin_is_land_now() -> None:
    watch = carrying()
    watch.act("surface", surface="wet")  # 622 kg held at friction 0.5 is 249 kg at 0.2
    assert watch.call == "land_now"


def test_dry_by_the_supervisor_is_never_better_than_the_site_file() -> None:
    watch = Watch(dock(friction=0.3))
    watch.act("surface", surface="wet")
    watch.act("surface", surface="dry")
    watch.play(A="64x20", B="64x20", load_kg="0x1")
    other = Watch(dock(friction=0.3))
    other.play(A="64x20", B="64x20", load_kg="0x1")
    assert watch.said["holding"] == other.said["holding"]


# --- the plan


@pytest.mark.parametrize(
    "wrong",
    [
        {"weight_kg": 0.0},
        {"weight_kg": -5.0},
        {"weight_kg": float("nan")},
        {"weight_kg": "heavy"},
        {"weight_kg": True},
        {"layout": "wide"},
        {"layout": 7},
        {"pads": ["A1", "Z9"]},
        {"pads": "A1"},
        {"pads": []},
        {"tilt_low_deg": 90.0, "tilt_high_deg": 10.0},
        {"surface": "damp"},
        {"surface": 3},
        {"surface": ["wet"]},  # not even hashable
        {"weight_kg": 10**400},  # JSON knows no largest whole number
        {"tilt_low_deg": 10**400, "layout": 7},
        {"wind_away_n": -1.0},
        {"wind_along_n": -1.0},
        {"bend_factor": 0.5},
    ],
)
def test_plan_that_does_not_fit_is_refused_and_changes_nothing(wrong: dict[str, object]) -> None:
    watch = Watch()
    assert watch.act("plan", **PLAN) == "done.plan"
    standing = watch.state.lifters["dock-6"].plan
    without = {key: value for key, value in PLAN.items() if not ("pads" in wrong and key == "layout")}
    assert watch.act("plan", **{**without, **wrong}) == "refused.plan"
    assert watch.state.lifters["dock-6"].plan == standing


def test_plan_chooses_the_pads_by_layout_by_list_or_all() -> None:
    for params, pads in (
        ({"layout": "narrow"}, ("A1", "A2", "B1", "B2")),
        ({"pads": ["A1", "B1"]}, ("A1", "B1")),
        ({}, None),
    ):
        watch = Watch()
        assert watch.act("plan", weight_kg=100.0, **params) == "done.plan"
        plan = watch.state.lifters["dock-6"].plan
        assert plan is not None
        assert plan.pads == pads


def test_plan_is_judged_before_the_pick() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=2000.0)
    vacuum = "0x5 0>64x100 64x50"
    watch.play(A=vacuum, B=vacuum, load_kg="0x1", **STILL)
    assert (watch.call, watch.reason) == ("look", "reason.margin_gone")
    assert watch.said["headline"] == "Do not lift"


def test_heavier_than_planned_is_land_soon_and_an_alarm() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=400.0)
    seal(watch)
    hang(watch, "0>600x20 600x60")
    assert (watch.call, watch.reason) == ("land_soon", "reason.over_plan")
    assert watch.alarms["over_plan"] == "unacknowledged"


def test_cell_that_reads_half_of_the_planned_panel_is_look_a_minute_after_the_pick() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    seal(watch)
    hang(watch, "0>300x20 300x500")
    assert watch.call == "holding"
    hang(watch, "300x150")
    assert (watch.call, watch.reason, watch.raised()) == ("look", "reason.under_plan", [])


def test_plan_is_for_the_lift_that_follows_only() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    seal(watch)
    assert watch.status.facts.planned_kg == 600.0
    hang(watch, "0>600x20 600x60 600>0x20 0x60")
    let_go(watch)
    assert watch.phase == "released"
    assert watch.status.facts.planned_kg is None or watch.wait(1.0)[-1].facts.planned_kg is None


def test_plan_stands_in_the_record_of_its_lift_with_who_and_what_was_entered() -> None:
    watch = Watch()
    watch.act("plan", who="the supervisor", weight_kg=600.0, verdict="within_limits", entered={"weight": "600"})
    assert watch.said["plan"] == {
        "who": "the supervisor", "role": "supervisor", "at": watch.now_s, "weight_kg": 600.0, "pads": None,
        "verdict": "within_limits",
    }  # fmt: skip
    seal(watch)
    hang(watch, "0>600x20 600x60 600>0x20 0x60")
    let_go(watch)
    plan = summary_dict(watch.closed[-1].summary)["plan"]
    assert isinstance(plan, dict)
    assert (plan["who"], plan["weight_kg"], plan["entered"]) == ("the supervisor", 600.0, {"weight": "600"})
    assert watch.said["plan"] is None


def test_plan_stands_until_a_load_was_lifted() -> None:
    """Pads that are let go and pressed on again, after a seal test that failed, carry the same panel."""
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    vacuum = "0x5 0>64x100 64x50 64>0x30 0x50"
    watch.play(A=vacuum, B=vacuum, load_kg="0x1", noise_kpa=0.05, **STILL)
    assert watch.phase == "idle"
    assert watch.closed == []
    assert watch.status.facts.planned_kg == 600.0


@pytest.mark.parametrize(
    "milder",
    [
        {"weight_kg": 120.0},
        {"weight_kg": 850.0, "tilt_low_deg": 0.0, "tilt_high_deg": 0.0},
        {"weight_kg": 850.0, "pads": ["A1", "A2", "A3"]},
        {"withdraw": True},
    ],
)
def test_next_panels_plan_never_judges_the_one_that_hangs(milder: dict[str, object]) -> None:
    """Everything but the plan's own words stays as it is without that act."""
    told = []
    for acts in (False, True):
        watch = Watch(dock(**NO_CELL))
        watch.act("plan", weight_kg=850.0, cg_x_mm=300.0)
        watch.play(A="0x5 0>64x100 64x200", B="0x5 0>64x100 64x200", noise_kpa=0.05, **STILL)
        watch.act("picked_up")
        if acts:
            said = watch.act("plan", **milder)
            assert said == ("refused.plan_in_flight" if "withdraw" in milder else "done.plan_next")
        watch.play(A="64>58x600", B="64x600", noise_kpa=0.05, **STILL)
        told.append(watch.said)
    assert told[0] == told[1]


def test_plan_saved_while_a_panel_hangs_is_in_force_once_that_lift_is_over() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    seal(watch)
    hang(watch, "0>600x20 600x60")
    assert watch.act("plan", weight_kg=300.0, surface="wet") == "done.plan_next"
    assert watch.status.facts.planned_kg == 600.0
    hang(watch, "600x30 600>0x20 0x60")
    let_go(watch)
    assert watch.phase == "released"
    watch.wait(1.0)
    assert watch.status.facts.planned_kg == 300.0
    assert watch.state.lifters["dock-6"].surface is Surface.WET
    plan = summary_dict(watch.closed[-1].summary)["plan"]
    assert isinstance(plan, dict)
    assert plan["weight_kg"] == 600.0
    assert watch.act("plan", withdraw=True) == "done.plan_withdrawn"
    assert watch.status.facts.planned_kg is None


def test_plan_saved_for_the_next_panel_can_be_taken_back_alone() -> None:
    watch = carrying()
    watch.act("plan", weight_kg=300.0)
    assert watch.act("plan", withdraw=True) == "done.plan_withdrawn"
    hang(watch, "600x30 600>0x20 0x60")
    let_go(watch)
    watch.wait(1.0)
    assert watch.status.facts.planned_kg is None


def test_plan_is_withdrawn() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    assert watch.act("plan", withdraw=True) == "done.plan_withdrawn"
    assert watch.status.facts.planned_kg is None
    assert watch.said["plan"] is None


def test_pads_not_in_use_make_no_call() -> None:
    watch = Watch(dock())
    watch.act("plan", weight_kg=100.0, pads=["A1", "A2", "A3"])
    watch.play(A="0x5 0>64x100 64x200", B="0x1", load_kg="0x1", noise_kpa=0.05, **STILL)
    assert watch.phase == "seal_test"
    assert watch.call == "holding"


# --- without a load cell


def test_without_a_load_cell_picked_up_and_landed_are_named_actions() -> None:
    watch = Watch(dock(**NO_CELL))
    watch.act("plan", weight_kg=600.0)
    vacuum, pump = "0x5 0>64x100 64x300", "onx105 offx1"
    watch.play(A=vacuum, B=vacuum, A_pump=pump, B_pump=pump, noise_kpa=0.05, **STILL)
    assert watch.phase == "carrying"
    assert watch.act("landed_fixed", role="landing") == "done.landed_fixed"
    assert watch.phase == "landing"
    assert watch.act("picked_up") == "done.picked_up"
    assert watch.phase == "carrying"


def test_without_a_load_cell_open_circuits_in_the_air_never_end_the_lift() -> None:
    watch = Watch(dock(**NO_CELL))
    vacuum = "0x5 0>64x100 64x100 64>0x20 0x300"
    watch.play(A=vacuum, B=vacuum, **STILL)
    assert (watch.phase, watch.call, watch.release) == ("carrying", "land_now", "cannot_tell")


def test_with_a_load_cell_a_named_landing_is_noted_only() -> None:
    watch = carrying()
    assert watch.act("landed_fixed") == "done.logged"
    carry(watch, load_kg="600x20")
    assert (watch.phase, watch.release) == ("carrying", "do_not_release")
