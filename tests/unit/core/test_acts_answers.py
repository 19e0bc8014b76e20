"""Each act of a person by itself: what it answers, what it changes, and that a refused one changes nothing."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import lifter, lifts
from monitor.core.acts import apply_action
from monitor.core.alarms import Alarm, State
from monitor.core.config import Surface
from monitor.core.events import Action, ActionAnswered, ActionKind, AlarmMoved, Effect
from monitor.core.lifter import LifterState, Plan
from monitor.core.phases import Phase, PhaseState
from monitor.core.seal_tests import SealTestKind
from tests.histories import NO_CELL, dock

NOW_S = 5000.0
RAISING = "dock-6/B/losing_vacuum/7"
UNACK, ACK = State.UNACKNOWLEDGED, State.ACKNOWLEDGED


def state_of(phase: Phase = Phase.CARRYING, **changes: Any) -> LifterState:
    """A lifter in a lift with two alarms raised: the seventh, circuit B losing vacuum, and the eighth, its battery low."""
    state = lifter.begin(dock(**changes))
    state.phase = PhaseState(phase=Phase.SEALING, since_s=NOW_S - 600.0, sealed=True)
    lifts.open_lift(state, NOW_S - 600.0, utc_minus_now_s=0.0, version="test")
    state.phase = replace(state.phase, phase=phase)
    raised = Alarm(state=UNACK, raising_n=7, since_s=NOW_S - 60.0, raised_s=NOW_S - 60.0, value=250.0, limit=480.0)
    state.board.alarms["B", "losing_vacuum"] = raised
    state.board.alarms["", "battery_low"] = replace(raised, raising_n=8, value=22.0, limit=23.0)
    return state


def say(
    state: LifterState | None, kind: ActionKind | str, *, role: str = "supervisor", **params: Any
) -> tuple[ActionAnswered, list[Effect]]:
    effects: list[Effect] = []
    action = Action("a17", ActionKind(kind), "dock-6", "lift supervisor", role, params)
    return apply_action(state, action, NOW_S, effects), effects


def answer(state: LifterState | None, kind: ActionKind | str, *, role: str = "supervisor", **params: Any) -> str:
    """The key of the answer, which names the act it answers and says whether it was done."""
    answered, _ = say(state, kind, role=role, **params)
    assert answered.action_id == "a17"
    assert answered.done is answered.key.startswith("done.")
    return answered.key


@pytest.mark.parametrize("who", ["", "  "])
def test_nobody_acts_without_a_name(who: str) -> None:
    state, effects = state_of(), []  # type: ignore[var-annotated]
    action = Action("a17", ActionKind.ACKNOWLEDGE, "dock-6", who, "supervisor", {"raising": RAISING})
    assert apply_action(state, action, NOW_S, effects) == ActionAnswered("a17", done=False, key="refused.who")
    assert effects == []


@pytest.mark.parametrize(
    ("kind", "params", "key"),
    [
        ("surface", {"surface": "damp"}, "refused.surface"),
        ("plan", {"weight_kg": -1.0}, "refused.plan"),
        ("plan", {"layout": "none such"}, "refused.plan"),
        ("out_of_service", {"alarm": ["battery_low"], "reason": "x"}, "refused.no_such_alarm"),
        ("out_of_service", {"alarm": "battery_low", "about": 7, "reason": "x"}, "refused.no_such_alarm"),
        ("out_of_service", {"alarm": "no such", "about": 7, "reason": "x"}, "refused.no_such_alarm"),
    ],
)
def test_what_cannot_be_is_refused_and_not_noted(kind: str, params: dict[str, Any], key: str) -> None:
    state = state_of(Phase.SEAL_TEST)
    assert answer(state, kind, role="maintenance", **params) == key
    assert (state.plan, state.next_plan, state.surface) == (None, None, None)
    assert state.log is not None
    assert state.log.actions == []


def test_plan_by_a_layout_has_the_pads_of_this_lifters_layout() -> None:
    state = state_of(Phase.SEAL_TEST)
    assert answer(state, "plan", weight_kg=100.0, layout="narrow") == "done.plan"
    assert state.plan == Plan(weight_kg=100.0, pads=("A1", "A2", "B1", "B2"))


# --- an alarm, by the name of its raising


@pytest.mark.parametrize(
    "raising",
    [
        "dock-6/B/losing_vacuum/6", "dock-6/B/losing_vacuum/8", "dock-6/A/losing_vacuum/7", "dock-6/B/vacuum_low/7",
        "dock-7/B/losing_vacuum/7", "dock-6/lifter/losing_vacuum/7", "dock-6/B/losing_vacuum/07", "dock-6/B/losing_vacuum/",
        "dock-6/B/losing_vacuum/0", "dock-6/B/losing_vacuum/²", "dock-6/B/losing_vacuum/-7", "7", "", None, 7, ["7"],
        "dock-6/B/losing_vacuum/" + "7" * 5000,
    ],
)  # fmt: skip
def test_acknowledge_of_any_other_raising_changes_nothing(raising: object) -> None:
    state = state_of()
    assert answer(state, "acknowledge", raising=raising) == "refused.not_this_raising"
    assert state.board.alarms["B", "losing_vacuum"].state is UNACK


def test_acknowledge_says_who_and_when_and_is_told_and_noted() -> None:
    state = state_of()
    answered, effects = say(state, "acknowledge", raising=RAISING)
    assert answered == ActionAnswered("a17", done=True, key="done.acknowledge")
    alarm = state.board.alarms["B", "losing_vacuum"]
    assert (alarm.state, alarm.acknowledged_by, alarm.acknowledged_s) == (ACK, "lift supervisor", NOW_S)
    told = AlarmMoved("dock-6", RAISING, "losing_vacuum", "B", "acknowledged", "acknowledged", NOW_S, "lift supervisor")
    assert effects == [told]
    assert state.log is not None
    noted = state.log.alarms[RAISING]
    assert (noted.key, noted.about, noted.priority) == ("losing_vacuum", "B", "high")
    assert (noted.acknowledged_s, noted.acknowledged_by) == (NOW_S, "lift supervisor")
    assert state.board.alarms["", "battery_low"].state is UNACK


def test_second_acknowledge_is_refused_and_tells_nothing() -> None:
    state = state_of()
    say(state, "acknowledge", raising=RAISING)
    answered, effects = say(state, "acknowledge", raising=RAISING)
    assert (answered, effects) == (ActionAnswered("a17", done=False, key="refused.nothing_to_do"), [])


BATTERY = {"raising": "dock-6/lifter/battery_low/8"}


@pytest.mark.parametrize(
    ("params", "key"),
    [
        ({"duration_s": 600.0, "reason": "new battery on its way"}, "done.shelve"),
        ({"duration_s": 600, "reason": "new battery on its way"}, "done.shelve"),
        ({"duration_s": 1.0, "reason": "only to look"}, "done.shelve"),
        ({"duration_s": 3600.0, "reason": "new battery on its way"}, "done.shelve"),
        ({"duration_s": 3600.5, "reason": "new battery on its way"}, "refused.shelve_needs"),
        ({"duration_s": 0.0, "reason": "new battery on its way"}, "refused.shelve_needs"),
        ({"duration_s": float("nan"), "reason": "x"}, "refused.shelve_needs"),
        ({"duration_s": float("inf"), "reason": "x"}, "refused.shelve_needs"),
        ({"duration_s": 10**400, "reason": "x"}, "refused.shelve_needs"),
        ({"duration_s": "600", "reason": "x"}, "refused.shelve_needs"),
        ({"duration_s": True, "reason": "x"}, "refused.shelve_needs"),
        ({"reason": "new battery on its way"}, "refused.shelve_needs"),
        ({"duration_s": 600.0}, "refused.shelve_needs"),
        ({"duration_s": 600.0, "reason": ["x"]}, "refused.shelve_needs"),
    ],
)
def test_shelving_needs_a_time_and_a_reason(params: dict[str, Any], key: str) -> None:
    state = state_of()
    assert answer(state, "shelve", **BATTERY, **params) == key
    alarm = state.board.alarms["", "battery_low"]
    assert alarm.shelved_until_s == (NOW_S + params["duration_s"] if key == "done.shelve" else None)


def test_shelf_says_who_and_why_and_is_ended_by_hand() -> None:
    state = state_of()
    _, effects = say(state, "shelve", **BATTERY, duration_s=600.0, reason="new battery on its way")
    alarm = state.board.alarms["", "battery_low"]
    assert (alarm.shelved_by, alarm.shelved_why) == ("lift supervisor", "new battery on its way")
    assert [effect.moved for effect in effects if isinstance(effect, AlarmMoved)] == ["shelved"]
    assert answer(state, "unshelve", **BATTERY) == "done.unshelve"
    assert answer(state, "unshelve", **BATTERY) == "refused.nothing_to_do"


def test_alarm_that_is_over_is_not_shelved() -> None:
    """It would silence a raising nobody has seen yet."""
    state = state_of()
    state.board.alarms["", "battery_low"] = replace(state.board.alarms["", "battery_low"], state=State.NORMAL)
    assert answer(state, "shelve", **BATTERY, duration_s=600.0, reason="x") == "refused.nothing_to_do"


def test_alarm_that_leads_to_land_now_is_never_shelved() -> None:
    state = state_of()
    assert answer(state, "shelve", raising=RAISING, duration_s=600.0, reason="x") == "refused.cannot_be_shelved"


# --- out of service


@pytest.mark.parametrize(
    ("role", "params", "key"),
    [
        ("maintenance", {"alarm": "battery_low", "reason": "on order"}, "done.out_of_service"),
        ("maintenance", {"alarm": "battery_low", "about": "", "reason": "on order"}, "done.out_of_service"),
        ("maintenance", {"alarm": "battery_low", "about": None, "reason": "on order"}, "done.out_of_service"),
        ("maintenance", {"alarm": "battery_low"}, "refused.out_of_service_needs"),
        ("supervisor", {"alarm": "battery_low", "reason": "on order"}, "refused.maintenance_only"),
        ("maintenance", {"alarm": "losing_vacuum", "about": "B", "reason": "x"}, "refused.cannot_be_out_of_service"),
        ("maintenance", {"alarm": "losing_vacuum", "about": "C", "reason": "x"}, "refused.no_such_alarm"),
        ("maintenance", {"alarm": "battery_low", "about": "B", "reason": "x"}, "refused.no_such_alarm"),
    ],
)
def test_alarm_is_taken_out_of_service_by_maintenance_with_a_reason(
    role: str, params: dict[str, Any], key: str
) -> None:
    state = state_of()
    assert answer(state, "out_of_service", role=role, **params) == key
    alarm = state.board.alarms["", "battery_low"]
    done = key == "done.out_of_service"
    assert alarm.out_of_service_s == (NOW_S if done else None)
    assert (alarm.out_of_service_by, alarm.out_of_service_why) == (
        ("lift supervisor", "on order") if done else ("", "")
    )


def test_out_of_service_and_back_is_told_by_the_name_of_the_raising() -> None:
    state = state_of()
    _, gone = say(state, "out_of_service", role="maintenance", alarm="battery_low", reason="on order")
    _, back = say(state, "in_service", role="maintenance", alarm="battery_low")
    told = [effect for effect in (*gone, *back) if isinstance(effect, AlarmMoved)]
    assert [(move.moved, move.raising, move.at_s, move.who) for move in told] == [
        ("out_of_service", BATTERY["raising"], NOW_S, "lift supervisor"),
        ("in_service", BATTERY["raising"], NOW_S, "lift supervisor"),
    ]
    alarm = state.board.alarms["", "battery_low"]
    assert (alarm.out_of_service_s, alarm.out_of_service_by, alarm.out_of_service_why) == (None, "", "")
    assert answer(state, "in_service", role="maintenance", alarm="battery_low") == "refused.nothing_to_do"


def test_out_of_service_of_one_circuit_is_told_of_that_circuit() -> None:
    _, effects = say(state_of(), "out_of_service", role="maintenance", alarm="sensor_fault", about="B", reason="x")
    assert [effect.about for effect in effects if isinstance(effect, AlarmMoved)] == ["B"]


def test_alarm_never_raised_is_none_of_the_lift_though_it_was_taken_out_of_service() -> None:
    state = state_of()
    answer(state, "out_of_service", role="maintenance", alarm="sensor_fault", about="B", reason="on order")
    assert state.log is not None
    assert state.log.alarms == {}


def test_alarm_moves_between_two_lifts_too() -> None:
    state = state_of()
    state.log = None
    assert answer(state, "acknowledge", raising=RAISING) == "done.acknowledge"


# --- what is done stands in the record of the lift


def test_act_that_was_done_is_noted_with_all_that_was_said() -> None:
    state = state_of()
    answer(state, "service_note", role="maintenance", text="new seal on B2")
    answer(state, "surface", surface="damp")
    assert state.log is not None
    [noted] = state.log.actions
    assert (noted.kind, noted.who, noted.role, noted.at_s) == ("service_note", "lift supervisor", "maintenance", NOW_S)
    assert noted.params == {"text": "new seal on B2"}


def test_act_between_two_lifts_has_no_record_to_stand_in() -> None:
    state = lifter.begin(dock())
    assert answer(state, "service_note", text="new seal on B2") == "done.logged"


def test_act_on_a_lifter_the_site_does_not_have_is_refused() -> None:
    assert answer(None, "service_note") == "refused.no_such_lifter"


# --- picked up, landed and fixed


@pytest.mark.parametrize("kind", ["picked_up", "landed_fixed", "confirm_fixed"])
def test_no_word_of_a_person_moves_a_lift_whose_load_is_measured(kind: str) -> None:
    state = state_of()
    assert answer(state, kind) == "done.logged"
    assert (state.picked_up, state.load.confirmed_off) == (False, False)


def test_without_a_load_cell_a_named_person_picks_up_and_lands() -> None:
    state = state_of(Phase.SEAL_TEST, **NO_CELL)
    answer(state, "seal_test", test="pre_pick")
    state.load = replace(state.load, confirmed_off=True)
    assert answer(state, "picked_up") == "done.picked_up"
    assert (state.picked_up, state.landed_fixed, state.load.confirmed_off) == (True, False, False)
    [test] = state.seal_tests.ended
    assert (test.text.key, test.ended_s) == ("seal.broken.load_on", NOW_S)
    assert answer(state, "landed_fixed") == "done.landed_fixed"
    assert (state.landed_fixed, state.load.confirmed_off) == (True, True)


# --- the surface


@pytest.mark.parametrize(
    ("site", "standing", "said", "role", "done", "after"),
    [
        (Surface.DRY, None, "wet", "landing", True, Surface.WET),
        (Surface.DRY, Surface.WET, "wet", "landing", True, Surface.WET),
        (Surface.DRY, Surface.OILY, "wet", "landing", False, Surface.OILY),
        (Surface.DRY, Surface.OILY, "wet", "supervisor", True, Surface.WET),
        (Surface.DRY, Surface.WET, "dry", "supervisor", True, None),  # as in the site file
        (Surface.WET, None, "dry", "landing", False, None),
        (Surface.WET, None, "wet", "landing", True, None),
    ],
)
def test_surface_is_made_worse_by_anyone_and_better_by_the_supervisor(
    site: Surface, standing: Surface | None, said: str, role: str, done: bool, after: Surface | None
) -> None:
    state = state_of(surface=site)
    state.surface = standing
    assert answer(state, "surface", role=role, surface=said) == ("done.surface" if done else "refused.supervisor_only")
    assert state.surface is after


# --- the seal test


@pytest.mark.parametrize(
    ("phase", "cell", "params", "key"),
    [
        *((phase, True, {"test": "pre_pick"}, "done.seal_test") for phase in (Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED)),
        *(
            (phase, True, {"test": "pre_pick"}, "refused.seal_test_load_on")
            for phase in (Phase.LIFTING, Phase.CARRYING, Phase.LANDING)
        ),
        (Phase.CARRYING, False, {"test": "shift"}, "done.seal_test"),  # attached counts as carrying until somebody says
        (Phase.IDLE, True, {"test": "pre_pick"}, "refused.seal_test_open"),
        (Phase.RELEASED, True, {"test": "pre_pick"}, "refused.seal_test_open"),
        (Phase.SEAL_TEST, True, {"test": "quick"}, "refused.seal_test"),
        (Phase.SEAL_TEST, True, {"test": ["shift"]}, "refused.seal_test"),
        (Phase.SEAL_TEST, True, {}, "refused.seal_test"),
    ],
)  # fmt: skip
def test_seal_test_is_begun_attached_and_before_the_load_is_on(
    phase: Phase, cell: bool, params: dict[str, Any], key: str
) -> None:
    state = state_of(phase, **({} if cell else NO_CELL))
    assert answer(state, "seal_test", **params) == key
    assert (state.seal_tests.running is not None) is (key == "done.seal_test")


def test_seal_test_says_who_asked_for_what_and_one_runs_at_a_time() -> None:
    state = state_of(Phase.SEAL_TEST, seal_test_s=77.0)
    state.time_to_land_s = 400.0
    answer(state, "seal_test", test="pre_pick", role="operator")
    test = state.seal_tests.running
    assert test is not None
    assert (test.kind, test.who, test.role, test.asked_s) == (
        SealTestKind.PRE_PICK, "lift supervisor", "operator", NOW_S
    )  # fmt: skip
    assert (test.for_s, test.needed_s) == (77.0, 800.0)  # its reserve must last twice the time to land
    assert answer(state, "seal_test", test="shift") == "refused.seal_test_runs"
    assert state.seal_tests.running is test


def test_seal_test_is_ended_by_hand_once() -> None:
    state = state_of(Phase.SEAL_TEST)
    assert answer(state, "end_seal_test") == "refused.seal_test_none"
    answer(state, "seal_test", test="shift")
    assert answer(state, "end_seal_test") == "done.end_seal_test"
    [test] = state.seal_tests.ended
    assert (test.text.key, test.ended_s) == ("seal.broken.by_hand", NOW_S)
    assert state.seal_tests.running is None


# --- the plan

STANDING = Plan(weight_kg=600.0)
NEXT = Plan(weight_kg=300.0)


@pytest.mark.parametrize(
    ("hangs", "standing", "next_", "key", "after", "next_after"),
    [
        (False, STANDING, None, "done.plan_withdrawn", None, None),
        (False, None, None, "done.plan_withdrawn", None, None),
        (True, STANDING, None, "refused.plan_in_flight", STANDING, None),
        (True, STANDING, NEXT, "done.plan_withdrawn", STANDING, None),  # the next one's alone
        (True, None, NEXT, "done.plan_withdrawn", None, None),
        (True, None, None, "done.plan_withdrawn", None, None),
    ],
)
def test_plan_of_a_panel_that_hangs_is_never_withdrawn(
    hangs: bool, standing: Plan | None, next_: Plan | None, key: str, after: Plan | None, next_after: Plan | None
) -> None:
    state = state_of(Phase.CARRYING if hangs else Phase.SEAL_TEST)
    say(state, "service_note")
    assert state.log is not None
    [noted] = state.log.actions
    state.plan, state.planned = standing, noted if standing else None
    state.next_plan = (next_, noted) if next_ else None
    assert answer(state, "plan", withdraw=True) == key
    assert state.plan == after
    assert state.next_plan == next_after
    assert (state.planned is None) is (after is None)


@pytest.mark.parametrize("withdraw", ["yes", 1, None, False])
def test_only_a_plain_yes_withdraws_a_plan(withdraw: object) -> None:
    state = state_of(Phase.SEAL_TEST)
    assert answer(state, "plan", withdraw=withdraw, weight_kg=400.0) == "done.plan"
    assert state.plan == Plan(weight_kg=400.0)


@pytest.mark.parametrize(("hangs", "key"), [(False, "done.plan"), (True, "done.plan_next")])
def test_plan_says_who_made_it_when_and_all_that_was_entered(hangs: bool, key: str) -> None:
    state = state_of(Phase.LANDING if hangs else Phase.PARKED)
    assert answer(state, "plan", role="operator", weight_kg=400.0, note="north face") == key
    plan, planned = state.next_plan if state.next_plan is not None else (state.plan, state.planned)
    assert plan == Plan(weight_kg=400.0)
    assert planned is not None
    assert (planned.kind, planned.who, planned.role, planned.at_s) == ("plan", "lift supervisor", "operator", NOW_S)
    assert planned.params == {"weight_kg": 400.0, "note": "north face"}
    assert (state.plan is None) is hangs


@pytest.mark.parametrize(("role", "surface"), [("operator", Surface.OILY), ("supervisor", None)])
def test_surface_of_a_plan_is_drier_than_the_one_standing_only_by_the_supervisor(
    role: str, surface: Surface | None
) -> None:
    state = state_of(Phase.SEAL_TEST)
    state.surface = Surface.OILY
    answer(state, "plan", role=role, weight_kg=400.0, surface="dry")
    assert state.surface is surface
