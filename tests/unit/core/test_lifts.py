"""A lift opened and closed: what is fixed at its start, what its record takes along, what stands after it."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core import lifter, lifts, seal_tests
from monitor.core.config import Surface
from monitor.core.events import Effect, LiftClosed
from monitor.core.lifter import LifterState, Plan, Surroundings
from monitor.core.load import Load
from monitor.core.past_lifts import PastLifts
from monitor.core.phases import Phase, PhaseState
from monitor.core.seal_tests import SealTestKind
from monitor.core.summary import ActionLog
from tests.histories import dock

NOW_S = 5000.0
PLANNED = ActionLog("plan", "lift supervisor", "supervisor", NOW_S, {"weight_kg": 600.0})


def opened(phase: Phase = Phase.SEALING, **changes: Any) -> LifterState:
    one = lifter.begin(dock(**changes))
    one.past = PastLifts((300.0,) * 10)
    one.load = Load(net_kg=3.0, at_s=NOW_S, largest_kg=700.0, confirmed_off=True)
    one.phase = PhaseState(phase=phase, since_s=NOW_S, picks_n=2)
    lifts.open_lift(one, NOW_S, utc_minus_now_s=85_000.0, version="1.2")
    return one


@pytest.mark.parametrize(
    ("in_a_lift", "landing_s", "time_to_land_s"),
    [
        pytest.param(True, 400.0, 400.0, id="longer: at once"),
        pytest.param(True, 250.0, 300.0, id="shorter: not in this lift"),
        pytest.param(False, 250.0, 250.0, id="shorter, between two lifts"),
        pytest.param(False, 400.0, 400.0, id="longer, between two lifts"),
    ],
)
def test_time_to_land_of_a_lift_in_progress_gets_no_shorter_by_what_is_learned(
    in_a_lift: bool, landing_s: float, time_to_land_s: float
) -> None:
    """240 s by the site file; 300 s as the lift began."""
    one = opened() if in_a_lift else opened(Phase.IDLE)
    one.time_to_land_s = 300.0
    past = PastLifts((landing_s,) * 10)
    lifts.learn(one, past)
    assert (one.past, one.time_to_land_s) == (past, time_to_land_s)


def closed(one: LifterState, phase: Phase) -> list[Effect]:
    """The lifter comes to this phase a minute later."""
    one.phase = replace(one.phase, phase=phase)
    effects: list[Effect] = []
    facts = lifter.facts(one, NOW_S + 60.0, Surroundings(True, True, 0.4, {}))
    lifts.close_lift(one, facts, NOW_S + 60.0, effects)
    return effects


def flown(**changes: Any) -> LifterState:
    """A lift whose load was on for 20 s and took 50 s to land, with its plan and a test of each kind."""
    one = opened(**changes)
    assert one.log is not None
    one.log.load_on_s, one.log.load_off_s = NOW_S + 10.0, NOW_S + 30.0
    one.plan, one.planned = Plan(weight_kg=600.0), PLANNED
    for kind in (SealTestKind.SHIFT, SealTestKind.PRE_PICK):
        one.seal_tests = seal_tests.ask(
            one.seal_tests, kind, who="w", role="", now_s=NOW_S, config=one.config, landing_s=1.0
        )
        one.seal_tests = seal_tests.break_off(one.seal_tests, NOW_S, "by_hand")
    return one


@pytest.mark.parametrize("phase", list(Phase))
def test_lift_opens_with_anything_attached_but_not_where_it_is_parked(phase: Phase) -> None:
    attached = {Phase.SEALING, Phase.SEAL_TEST, Phase.LIFTING, Phase.CARRYING, Phase.LANDING}
    assert (opened(phase).log is not None) is (phase in attached)


def test_what_is_fixed_at_its_start() -> None:
    one = opened()
    assert one.log is not None
    assert (one.log.opened_s, one.log.utc_minus_now_s, one.log.version) == (NOW_S, 85_000.0, "1.2")
    assert list(one.log.circuits) == ["A", "B"]
    assert one.time_to_land_s == one.log.time_to_land_s == 300.0  # longer than the site file's 240 s
    assert (one.load.largest_kg, one.load.confirmed_off, one.load.net_kg) == (None, False, 3.0)
    log = one.log
    lifts.open_lift(one, NOW_S + 5.0, utc_minus_now_s=0.0, version="2")
    assert one.log is log


def test_only_circuits_of_the_pads_in_use_stand_in_its_record() -> None:
    one = lifter.begin(dock())
    one.plan = Plan(pads=("B1", "B2", "B3"))
    one.phase = PhaseState(phase=Phase.SEALING, since_s=NOW_S)
    lifts.open_lift(one, NOW_S, utc_minus_now_s=0.0, version="1")
    assert one.log is not None
    assert list(one.log.circuits) == ["B"]


def test_status_tells_the_lift_in_progress_by_the_clock() -> None:
    one = opened()
    assert one.log is not None
    told = lifts.lift_told(one)
    assert told is not None
    assert (told.id, told.since_utc_s, told.picks_n, told.loaded) == (one.log.id, NOW_S + 85_000.0, 2, False)
    one.log.load_on_s = NOW_S
    told = lifts.lift_told(one)
    assert told is not None
    assert told.loaded
    one.log = None
    assert lifts.lift_told(one) is None


@pytest.mark.parametrize("phase", list(Phase))
def test_lift_ends_when_its_pads_are_open_or_it_is_parked(phase: Phase) -> None:
    one = flown()
    effects = closed(one, phase)
    ended = phase in {Phase.IDLE, Phase.RELEASED, Phase.PARKED}
    assert (one.log is None) is ended
    assert [effect.summary.ended for effect in effects if isinstance(effect, LiftClosed)] == ([phase.value] * ended)


def test_record_says_by_what_it_was_judged() -> None:
    one = flown(surface=Surface.DRY, friction=0.5)
    one.surface = Surface.WET
    [effect] = closed(one, Phase.RELEASED)
    assert isinstance(effect, LiftClosed)
    record = effect.summary
    assert effect.lifter == "dock-6"
    assert (record.closed_s, record.surface, record.friction) == (NOW_S + 60.0, "wet", 0.2)
    assert (record.basis, record.wll_kg, record.plan) == ("asme-bth-1", 900.0, PLANNED)
    assert [test.kind for test in record.seal_tests] == ["shift", "pre_pick"]
    assert record.counts == one.news.counts()


def test_surface_of_the_site_file_stands_in_the_record_where_nobody_said_another() -> None:
    [effect] = closed(flown(surface=Surface.OILY), Phase.RELEASED)
    assert isinstance(effect, LiftClosed)
    assert effect.summary.surface == "oily"


def test_after_a_lift_its_plan_is_gone_and_its_landing_counts() -> None:
    one = flown()
    assert one.log is not None
    log = one.log
    log.circuits["A"].condition.pump_down_s = 12.0
    log.landing_s = 55.0
    expected = one.past.with_lift(55.0, {"A": 12.0, "B": None})
    [effect] = closed(one, Phase.RELEASED)
    assert isinstance(effect, LiftClosed)
    assert effect.summary.log is log
    assert (log.lifter, log.id) == ("dock-6", f"dock-6-{int(NOW_S) + 85_000}")
    assert (one.plan, one.planned) == (None, None)
    assert one.past == expected
    assert [test.kind for test in one.seal_tests.ended] == [SealTestKind.SHIFT]


def test_pads_let_go_before_anything_was_lifted_leave_no_record_and_the_plan_stands() -> None:
    one = flown()
    assert one.log is not None
    one.log.load_on_s = one.log.load_off_s = None
    past = one.past
    assert closed(one, Phase.IDLE) == []
    assert (one.plan, one.planned, one.past) == (Plan(weight_kg=600.0), PLANNED, past)
    assert one.log is None
    assert [test.stands for test in one.seal_tests.ended] == [True, False]  # the plate came off: the shift test stands
