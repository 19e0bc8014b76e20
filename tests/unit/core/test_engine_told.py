"""What one step tells, and hands on to the smaller modules: a lifter without pads, one event each."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import engine, lifts
from monitor.core.call import Call, Called
from monitor.core.events import (
    Action,
    ActionCame,
    ActionKind,
    ClockSet,
    ConnectionSaid,
    LinkChanged,
    ReadingCame,
    StoreSaid,
    Tick,
)
from monitor.core.intake import Intake, News
from monitor.core.lifter import Plan
from monitor.core.messages import Text
from monitor.core.phases import Phase, PhaseState
from monitor.core.readings import CircuitReading, Reading
from monitor.core.summary import ActionLog
from tests.histories import START_S, Watch
from tests.unit.core.test_engine_pair import site, told

OPEN = {name: CircuitReading(0.0) for name in "AB"}


def acts(watch: Watch, name: str) -> str:
    watch.take(ActionCame(Action("a1", ActionKind.PLAN, name, "lift supervisor", "supervisor", {"weight_kg": 600.0})))
    return watch.answers[-1].key


def test_status_says_of_where_and_of_when_it_is() -> None:
    watch = site("dock-6")
    watch.take(ClockSet(7.0))
    watch.take(ReadingCame(Reading("dock-6", OPEN, sent_utc_s=START_S + 3.0)))
    status = watch.status
    assert (status.site, status.utc_s, status.utc_minus_now_s) == ("quayside", START_S + 7.0, 7.0)
    assert (status.sent_utc_s, status.facts.clock_offset_s) == (START_S + 3.0, 4.0)


def test_clock_that_is_furthest_off_is_told_of_a_lifters_own_streams() -> None:
    watch = site("dock-6", "dock-7")
    watch.state.streams = {
        ("dock-6", "one"): Intake(arrived_s=START_S, least_lag_s=9.0),
        ("dock-7", "two"): Intake(arrived_s=START_S, least_lag_s=99.0),
    }
    watch.take(Tick())
    assert [watch.status_of(name).facts.clock_offset_s for name in ("dock-6", "dock-7")] == [9.0, 99.0]


@pytest.mark.parametrize("writing", [True, False])
def test_store_and_disk_stand_in_the_facts(writing: bool) -> None:
    watch = site("dock-6")
    watch.take(StoreSaid(writing, 0.3))
    watch.take(Tick())
    assert (watch.status.facts.store_writing, watch.status.facts.disk_free_ratio) == (writing, 0.3)


def test_connection_topic_is_remembered_as_it_was_said() -> None:
    watch = site("dock-6")
    watch.take(ConnectionSaid("dock-6", online=True))
    watch.take(ConnectionSaid("dock-7", online=False))
    assert watch.state.online == {"dock-6": True, "dock-7": False}
    assert watch.told == []


def test_act_is_told_at_once_with_the_plan_it_made_and_one_on_no_lifter_is_not() -> None:
    watch = site("dock-6", "dock-7", tandem=False)
    assert acts(watch, "dock-6") == "done.plan"
    assert told(watch) == ["dock-6"]
    watch.take(Tick())
    plan = watch.status.plan
    assert plan is not None
    assert (plan.who, plan.params) == ("lift supervisor", {"weight_kg": 600.0})
    watch.told.clear()
    assert acts(watch, "dock-9") == "refused.no_such_lifter"
    assert told(watch) == []


def test_reading_is_judged_by_this_sites_clock(monkeypatch: pytest.MonkeyPatch) -> None:
    judged: list[Any] = []

    def noted(news: Intake, _reading: Reading, now_s: float, **named: Any) -> tuple[Intake, News]:
        judged.append((now_s, named))
        return news, News.DOUBLED

    monkeypatch.setattr(engine.intake, "judge", noted)
    watch = site("dock-6")
    watch.take(ClockSet(5000.0))
    watch.take(ReadingCame(Reading("dock-6", OPEN), retained=True))
    assert judged == [(START_S, {"retained": True, "utc_minus_now_s": 5000.0})]


def test_alarm_that_moves_is_a_change_though_call_and_phase_stay() -> None:
    watch = site("dock-6")
    watch.take(LinkChanged(False))
    watch.wait(0.5)
    seen = [(one.status.called.call, one.status.facts.phase) for one in watch.told]
    while "broker_lost" not in watch.raised():
        watch.wait(0.5)
    assert (watch.status.called.call, watch.status.facts.phase) == seen[-1]
    assert watch.told[-1].changed
    assert not watch.told[-2].changed


def test_record_of_a_lift_is_closed_with_its_picks_as_it_ends() -> None:
    watch = site("dock-6")
    one = watch.state.lifters["dock-6"]
    one.phase = PhaseState(phase=Phase.CARRYING, since_s=START_S, picks_n=2, sealed=True)
    lifts.open_lift(one, START_S, utc_minus_now_s=0.0, version="test")
    assert one.log is not None
    one.log.load_on_s = START_S
    watch.wait(0.5)
    assert watch.closed == []
    one.phase = replace(one.phase, phase=Phase.RELEASED, since_s=START_S + 0.5, picks_n=1)
    watch.wait(0.5)
    [closed] = watch.closed
    assert (closed.summary.closed_s, closed.summary.log.picks_n) == (START_S + 1.0, 2)


@pytest.mark.parametrize(("phase", "in_force"), [(Phase.IDLE, True), (Phase.CARRYING, False)])
def test_plan_saved_for_the_next_lift_counts_once_this_one_is_over(phase: Phase, in_force: bool) -> None:
    watch = site("dock-6")
    one = watch.state.lifters["dock-6"]
    one.next_plan = Plan(weight_kg=500.0), ActionLog("plan", "lift supervisor", "supervisor", START_S, {})
    one.phase = PhaseState(phase=phase, since_s=START_S, sealed=True)
    watch.wait(0.5)
    assert (one.plan is not None) is in_force
    assert (one.next_plan is None) is in_force


# --- partners


def test_lifters_of_another_tandem_are_no_partners() -> None:
    watch = site("dock-6", "dock-7", "dock-8", "dock-9", tandem=False)
    watch.state.config = replace(watch.state.config, tandems=(("dock-6", "dock-7"), ("dock-8", "dock-9")))
    watch.wait(1.0)
    partners = {name: set(watch.status_of(name).facts.partners) for name in watch.state.lifters}
    assert partners == {"dock-6": {"dock-7"}, "dock-7": {"dock-6"}, "dock-8": {"dock-9"}, "dock-9": {"dock-8"}}


@pytest.mark.parametrize(
    ("flickers", "names"),
    [
        pytest.param(False, ["dock-6", "dock-7", "dock-6"], id="all is new once"),
        pytest.param(True, ["dock-6", "dock-7", "dock-6", "dock-7"], id="each tell is another call"),
    ],
)
def test_two_partners_tell_each_other_twice_at_most(
    flickers: bool, names: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The tick tells dock-6, which knows of no partner yet, then dock-7, which tells dock-6, which tells back, and no more."""
    calls = iter([Call.LOOK, Call.LAND_SOON, Call.LAND_NOW] * 4)
    judge = engine.call.judge

    def flicker(facts: Any, before: Called | None) -> Called:
        return Called(next(calls), Text("headline.look"), Text("reason.low")) if flickers else judge(facts, before)

    monkeypatch.setattr(engine.call, "judge", flicker)
    watch = site("dock-6", "dock-7")
    watch.take(Tick())
    assert told(watch) == names
