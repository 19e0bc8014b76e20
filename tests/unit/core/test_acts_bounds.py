"""Acts at the edges of what can be said: one nobody knows, one that leaves out what it needs, a raising told once more."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import alarm_acts, alarms, lifter, lifts
from monitor.core.acts import alarm_moved, apply_action
from monitor.core.alarms import Alarm, State
from monitor.core.events import Action, ActionAnswered, ActionKind
from monitor.core.lifter import LifterState
from monitor.core.phases import Phase, PhaseState
from tests.histories import NO_CELL, dock

NOW_S = 5000.0


def in_a_lift() -> LifterState:
    one = lifter.begin(dock())
    one.phase = PhaseState(phase=Phase.SEALING, since_s=NOW_S)
    lifts.open_lift(one, NOW_S, utc_minus_now_s=0.0, version="test")
    return one


def test_act_the_engine_does_not_know_is_refused_and_not_noted() -> None:
    """As a page of another version may send it."""
    one = in_a_lift()
    action = Action("a17", "hoist", "dock-6", "lift supervisor", "supervisor", {})  # type: ignore[arg-type]
    assert apply_action(one, action, NOW_S, []) == ActionAnswered("a17", done=False, key="refused.not_known")
    assert one.log is not None
    assert one.log.actions == []


def test_alarm_of_the_lift_is_noted_as_raised_when_it_was() -> None:
    one = in_a_lift()
    rule = alarms.RULES["losing_vacuum"]
    standing = Alarm(state=State.UNACKNOWLEDGED, raising_n=7)
    for moved, at_s in (("unsuppressed", NOW_S + 1.0), ("raised", NOW_S + 5.0)):
        told = alarm_moved(one, alarms.Moved("B", rule, standing, moved), at_s)
    assert one.log is not None
    assert [(noted.raising, noted.raised_s) for noted in one.log.alarms.values()] == [(told.raising, NOW_S + 5.0)]


def board_of(**changes: object) -> alarms.Board:
    standing = Alarm(state=State.UNACKNOWLEDGED, raising_n=8, since_s=NOW_S)
    return alarms.Board({("", "battery_low"): replace(standing, **changes)})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("said", "done"),
    [
        pytest.param({"duration_s": 60.0, "why": "new one on its way"}, True, id="a time and a reason"),
        pytest.param({"why": "new one on its way"}, False, id="a reason alone"),
        pytest.param({"duration_s": 60.0}, False, id="a time alone"),
        pytest.param({}, False, id="neither"),
    ],
)
def test_shelf_without_a_time_or_a_reason_is_refused(said: dict[str, Any], done: bool) -> None:
    answered = alarm_acts.act(board_of(), "shelve", raising_n=8, who="operator", now_s=NOW_S, **said)
    assert answered.key == ("done.shelve" if done else "refused.shelve_needs")


@pytest.mark.parametrize(("said", "done"), [({"why": "on order"}, True), ({}, False)])
def test_out_of_service_without_a_reason_is_refused(said: dict[str, Any], done: bool) -> None:
    place, who = ("", "battery_low"), "maintenance hand"
    answered = alarm_acts.set_service(
        board_of(), "out_of_service", place, who=who, role="maintenance", now_s=NOW_S, **said
    )
    assert answered.key == ("done.out_of_service" if done else "refused.out_of_service_needs")


@pytest.mark.parametrize("raising_n", [0, -1])
def test_alarm_that_was_never_raised_has_no_raising_to_answer(raising_n: int) -> None:
    """As one that was taken out of service before."""
    board = board_of(state=State.NORMAL, raising_n=raising_n, out_of_service_s=NOW_S)
    answered = alarm_acts.act(board, "acknowledge", raising_n=raising_n, who="operator", now_s=NOW_S)
    assert answered.key == "refused.not_this_raising"


@pytest.mark.parametrize(
    ("kind", "cell", "picked_up", "landed_fixed", "confirmed_off", "key"),
    [
        pytest.param("picked_up", True, False, False, False, "done.logged", id="picked up: a measured load says it better"),
        pytest.param("landed_fixed", True, False, True, False, "done.logged", id="fixed: asked where the cell is silent"),
        pytest.param("confirm_fixed", True, False, True, False, "done.logged", id="confirmed fixed: the same"),
        pytest.param("picked_up", False, True, False, False, "done.picked_up", id="no cell: picked up"),
        pytest.param("landed_fixed", False, False, True, True, "done.landed_fixed", id="no cell: fixed, and the load off"),
        pytest.param("confirm_fixed", False, False, False, False, "done.logged", id="no cell: only noted"),
        pytest.param("service_note", True, False, False, False, "done.logged", id="a note moves nothing"),
    ],
)  # fmt: skip
def test_what_a_named_person_sees_is_kept_as_far_as_no_load_is_measured(
    kind: str, cell: bool, picked_up: bool, landed_fixed: bool, confirmed_off: bool, key: str
) -> None:
    one = lifter.begin(dock(**({} if cell else NO_CELL)))
    answered = apply_action(one, Action("a17", ActionKind(kind), "dock-6", "signaller", "landing", {}), NOW_S, [])
    assert answered == ActionAnswered("a17", done=True, key=key)
    assert (one.picked_up, one.landed_fixed, one.load.confirmed_off) == (picked_up, landed_fixed, confirmed_off)
