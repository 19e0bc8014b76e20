"""One alarm: raised in time, held by silence, cleared only by what is known, answered only by name."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.alarm_acts import NEVER_SET_ASIDE, SHELVE_MOST_S, Answered, act, set_service
from monitor.core.alarm_signals import SIGNALS
from monitor.core.alarm_table import Breach
from monitor.core.alarms import (
    RULES,
    Alarm,
    Board,
    Moved,
    State,
    Verdict,
    advance,
    gravest,
    judge,
    step,
    unshelve,
)
from monitor.core.facts import CircuitState, Facts
from monitor.core.holding import IfLost, WorstPad
from monitor.core.load import Load, LoadKnown
from monitor.core.phases import Phase
from monitor.core.status import alarms_told
from monitor.core.warning_time import Bounds
from tests.unit.core.made import NOW_S, circuit, facts, holding, losing

UNACK, ACK = State.UNACKNOWLEDGED, State.ACKNOWLEDGED
S = CircuitState


def run(board: Board, given: Facts, for_s: float, from_s: float = NOW_S) -> list[Moved]:
    """The same facts at 10 Hz for so long, both ends included."""
    moves: list[Moved] = []
    for number in range(round(for_s * 10) + 1):
        now_s = from_s + number / 10.0
        moves += step(board, replace(given, now_s=now_s), now_s)
    return moves


def stands(board: Board, key: str, about: str = "") -> Alarm:
    return board.alarms.get((about, key), Alarm())


def raised(*, key: str = "vacuum_low", state: State = UNACK) -> tuple[Board, int]:
    """A board on which one alarm of circuit B, or of the lifter, was raised."""
    board = Board()
    about = "B" if RULES[key].per_circuit else ""
    board.alarms[about, key] = Alarm(state=state, raising_n=7, since_s=NOW_S)
    board.raisings_n = 7
    return board, 7


LOW = facts(circuit("B", state=S.LOW, vacuum_kpa=51.0))
HOLDING = facts()
SILENT = facts(circuit("B", state=S.NO_READING, vacuum_kpa=51.0, age_s=20.0))


# --- on which side of its limit


@pytest.mark.parametrize(
    ("breach", "value", "verdict"),
    [
        (Breach.AT_OR_BELOW, 51.9, Verdict.BREACH),
        (Breach.AT_OR_BELOW, 52.0, Verdict.BREACH),
        (Breach.AT_OR_BELOW, 52.1, Verdict.CLEAR),
        (Breach.AT_OR_ABOVE, 51.9, Verdict.CLEAR),
        (Breach.AT_OR_ABOVE, 52.0, Verdict.BREACH),
        (Breach.AT_OR_ABOVE, 52.1, Verdict.BREACH),
    ],
)
def test_exactly_on_the_limit_is_in_breach(breach: Breach, value: float, verdict: Verdict) -> None:
    rule = replace(RULES["vacuum_low"], breach=breach)
    assert judge(Alarm(), rule, value, 52.0) is verdict


@pytest.mark.parametrize(
    ("breach", "value", "verdict"),
    [
        (Breach.AT_OR_BELOW, 53.9, Verdict.BREACH),
        (Breach.AT_OR_BELOW, 54.0, Verdict.BREACH),
        (Breach.AT_OR_BELOW, 54.1, Verdict.CLEAR),
        (Breach.AT_OR_ABOVE, 50.1, Verdict.BREACH),
        (Breach.AT_OR_ABOVE, 50.0, Verdict.BREACH),
        (Breach.AT_OR_ABOVE, 49.9, Verdict.CLEAR),
    ],
)
@pytest.mark.parametrize("state", [UNACK, ACK])
def test_deadband_holds_an_alarm_that_stands(state: State, breach: Breach, value: float, verdict: Verdict) -> None:
    # OPC 10000-9 Annex B.1.5: back only past the limit and the deadband; 2 % of 0 to 100 kPa (ISA-18.2, from memory).
    rule = replace(RULES["vacuum_low"], breach=breach)
    assert rule.clear_margin == 2.0
    assert judge(Alarm(state=state), rule, value, 52.0) is verdict


@pytest.mark.parametrize("value", [None, float("nan")])
@pytest.mark.parametrize("key", ["vacuum_low", "lifter_alarm"])
def test_unknown_is_neither_breach_nor_clear(key: str, value: float | None) -> None:
    assert judge(Alarm(state=UNACK), RULES[key], value, 52.0) is Verdict.UNKNOWN


def test_limit_that_is_gone_clears_nothing_that_stands() -> None:
    assert judge(Alarm(state=UNACK), RULES["vacuum_low"], 64.0, None) is Verdict.UNKNOWN


# --- delays (OPC 10000-9 Annex B.1.5: on-delay for the whole time, off-delay after the return)


@pytest.mark.parametrize(("for_s", "state"), [(1.9, State.NORMAL), (2.0, UNACK)])
def test_alarm_is_raised_after_its_delay(for_s: float, state: State) -> None:
    board = Board()
    run(board, facts(tilt_beyond_plan_deg=9.0), for_s)
    assert stands(board, "tilt_outside_plan").state is state


def test_touch_shorter_than_the_delay_raises_nothing() -> None:
    board = Board()
    run(board, facts(tilt_beyond_plan_deg=9.0), 1.9)
    run(board, facts(), 0.1, from_s=NOW_S + 2.0)
    run(board, facts(tilt_beyond_plan_deg=9.0), 1.9, from_s=NOW_S + 2.2)
    assert stands(board, "tilt_outside_plan").state is State.NORMAL


def test_low_vacuum_is_raised_by_its_first_touch() -> None:
    board = Board()
    [moved] = step(board, LOW, NOW_S)
    assert (moved.rule.key, moved.about, moved.moved) == ("vacuum_low", "B", "raised")


@pytest.mark.parametrize(("for_s", "state"), [(4.9, UNACK), (5.0, State.LATCHED_UNACKNOWLEDGED)])
def test_alarm_returns_after_its_delay(for_s: float, state: State) -> None:
    board, _ = raised()
    run(board, HOLDING, for_s)
    assert stands(board, "vacuum_low", "B").state is state


def test_alarm_stands_a_minute_at_least_so_that_none_can_chatter() -> None:
    # Chattering: three changes between alarm and clear within 60 s (two alarm-management trade texts).
    board = Board()
    changes: list[tuple[str, float]] = []
    for number in range(3000):
        given = LOW if number % 80 < 5 else HOLDING  # 0.5 s low in every 8 s
        moved = step(board, replace(given, now_s=NOW_S + number / 10.0), NOW_S + number / 10.0)
        changes += [(m.moved, number / 10.0) for m in moved if m.rule.key == "vacuum_low"]
    assert {moved for moved, _ in changes} == {"raised", "returned"}
    times_s = [at_s for _, at_s in changes]
    assert len(times_s) > 3
    assert all(late - early > 60.0 for early, late in zip(times_s, times_s[2:], strict=False))


@pytest.mark.parametrize(("calm_s", "raisings_n"), [(4.8, 1), (5.0, 2)])
@pytest.mark.parametrize("answered", [True, False])
def test_answered_alarm_that_was_over_is_raised_anew_within_its_minute(
    calm_s: float, raisings_n: int, answered: bool
) -> None:
    board = Board()
    run(board, LOW, 0.0)
    if answered:
        act(board, "acknowledge", raising_n=1, who="x", now_s=NOW_S)
    run(board, HOLDING, calm_s, from_s=NOW_S + 1.0)
    run(board, LOW, 0.0, from_s=NOW_S + 1.1 + calm_s)
    alarm = stands(board, "vacuum_low", "B")
    assert alarm.raising_n == (raisings_n if answered else 1)
    assert alarm.state is (ACK if answered and raisings_n == 1 else UNACK)
    assert alarm.acknowledged_by == ("x" if answered and raisings_n == 1 else "")


def test_touch_of_the_limit_begins_the_return_anew() -> None:
    board, _ = raised()
    run(board, HOLDING, 4.9)
    run(board, LOW, 0.0, from_s=NOW_S + 5.0)
    run(board, HOLDING, 4.9, from_s=NOW_S + 5.1)
    assert stands(board, "vacuum_low", "B").state is UNACK


def test_last_value_and_limit_in_breach_are_kept() -> None:
    board = Board()
    run(board, LOW, 0.0)
    run(board, HOLDING, 3.0, from_s=NOW_S + 1.0)
    alarm = stands(board, "vacuum_low", "B")
    assert (alarm.value, alarm.limit) == (51.0, 52.0)


# --- silence


@pytest.mark.parametrize("state", [UNACK, ACK])
def test_silence_never_clears_an_alarm(state: State) -> None:
    board, _ = raised(state=state)
    moves = run(board, SILENT, 600.0)
    assert stands(board, "vacuum_low", "B").state is state
    assert [moved.rule.key for moved in moves] == ["no_reading"]


def test_silence_begins_the_return_anew() -> None:
    board, _ = raised()
    run(board, HOLDING, 4.9)
    run(board, SILENT, 1.0, from_s=NOW_S + 5.0)
    run(board, HOLDING, 4.9, from_s=NOW_S + 6.1)
    assert stands(board, "vacuum_low", "B").state is UNACK


def test_silence_counts_towards_raising_what_had_begun() -> None:
    board = Board()
    run(board, facts(losing(early_s=100.0)), 0.0)
    run(board, facts(losing(early_s=100.0, state=S.NO_READING)), 1.0, from_s=NOW_S + 0.1)
    assert stands(board, "losing_vacuum", "B").state is UNACK


def test_silence_alone_raises_only_no_reading() -> None:
    board = Board()
    run(board, facts(*[circuit(name, state=S.NO_READING, age_s=20.0) for name in "AB"]), 60.0)
    assert {key for _, key in board.alarms} == {"no_reading"}


@pytest.mark.parametrize(("age_s", "state"), [(2.9, State.NORMAL), (3.0, UNACK)])
def test_no_reading_is_raised_at_the_stale_time(age_s: float, state: State) -> None:
    board = Board()
    step(board, facts(circuit("B", state=S.NO_READING, age_s=age_s)), NOW_S)
    assert stands(board, "no_reading", "B").state is state


def test_circuit_never_heard_of_a_lifter_that_is_heard_is_no_reading() -> None:
    board = Board()
    step(board, facts(circuit("B", state=S.NO_READING, age_s=None, vacuum_kpa=None)), NOW_S)
    assert stands(board, "no_reading", "B").state is UNACK


# --- where it is armed


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.SEALING, Phase.SEAL_TEST, Phase.RELEASED, Phase.PARKED])
def test_low_vacuum_on_the_ground_raises_no_alarm_of_the_air(phase: Phase) -> None:
    board = Board()
    run(board, facts(circuit("B", state=S.LOW, vacuum_kpa=40.0), phase=phase, in_flight=False), 30.0)
    assert stands(board, "vacuum_low", "B").state is State.NORMAL


def test_alarm_of_the_air_is_not_cleared_by_landing() -> None:
    board, _ = raised()
    run(board, replace(LOW, phase=Phase.LANDING, in_flight=False, load_known=LoadKnown.OFF), 60.0)
    assert stands(board, "vacuum_low", "B").state is UNACK


def test_load_known_to_be_off_delays_an_alarm_and_never_suppresses_it() -> None:
    board = Board()
    off = replace(LOW, phase=Phase.LANDING, in_flight=False, load_known=LoadKnown.OFF, load_kg=0.0)
    run(board, off, 9.9)
    assert stands(board, "vacuum_low", "B").state is State.NORMAL
    run(board, off, 0.2, from_s=NOW_S + 10.0)
    assert stands(board, "vacuum_low", "B").state is UNACK


# --- raisings and acknowledges


def test_every_raising_gets_its_own_number() -> None:
    board = Board()
    run(board, LOW, 0.0)
    run(board, HOLDING, 60.0, from_s=NOW_S + 1.0)
    run(board, LOW, 0.0, from_s=NOW_S + 70.0)
    assert stands(board, "vacuum_low", "B").raising_n == 2
    run(board, facts(circuit("A", state=S.LOW, vacuum_kpa=50.0)), 0.0, from_s=NOW_S + 71.0)
    assert stands(board, "vacuum_low", "A").raising_n == 3


@pytest.mark.parametrize("kind", ["acknowledge", "reset", "shelve", "unshelve"])
@pytest.mark.parametrize("raising_n", [6, 8, 0, -1])
def test_act_on_another_raising_changes_nothing(kind: str, raising_n: int) -> None:
    board, _ = raised()
    before = dict(board.alarms)
    answered = act(board, kind, raising_n=raising_n, who="operator", now_s=NOW_S, duration_s=60.0, why="known")
    assert (answered.done, answered.key, answered.moved) == (False, "refused.not_this_raising", None)
    assert board.alarms == before


def test_acknowledge_says_who_and_when() -> None:
    board, n = raised()
    answered = act(board, "acknowledge", raising_n=n, who="operator", now_s=NOW_S + 4.0)
    alarm = stands(board, "vacuum_low", "B")
    assert answered.moved is not None
    assert (answered.key, answered.moved.moved, answered.moved.who) == ("done.acknowledge", "acknowledged", "operator")
    assert (alarm.state, alarm.acknowledged_by, alarm.acknowledged_s) == (ACK, "operator", NOW_S + 4.0)


def test_second_acknowledge_is_refused() -> None:
    board, n = raised(state=ACK)
    assert act(board, "acknowledge", raising_n=n, who="operator", now_s=NOW_S).key == "refused.nothing_to_do"


def test_new_raising_is_unacknowledged_whoever_answered_the_last() -> None:
    board, n = raised(state=State.LATCHED_UNACKNOWLEDGED)
    act(board, "acknowledge", raising_n=n, who="operator", now_s=NOW_S)
    run(board, LOW, 0.0, from_s=NOW_S + 60.0)
    alarm = stands(board, "vacuum_low", "B")
    assert (alarm.state, alarm.acknowledged_by, alarm.acknowledged_s) == (UNACK, "", None)


def test_latched_alarm_goes_by_a_reset_after_its_acknowledge_only() -> None:
    board, n = raised(state=State.LATCHED_UNACKNOWLEDGED)
    assert not act(board, "reset", raising_n=n, who="operator", now_s=NOW_S).done
    act(board, "acknowledge", raising_n=n, who="operator", now_s=NOW_S)
    answered = act(board, "reset", raising_n=n, who="operator", now_s=NOW_S)
    assert answered.moved is not None
    assert (answered.key, answered.moved.moved) == ("done.reset", "cleared")
    assert stands(board, "vacuum_low", "B").state is State.NORMAL


def test_standing_alarm_is_never_reset() -> None:
    for state in (UNACK, ACK):
        board, n = raised(state=state)
        assert not act(board, "reset", raising_n=n, who="operator", now_s=NOW_S).done


# --- shelving


WIND = facts(config={"wind_limit_m_s": 9.0}, wind_m_s=12.0)


def shelved(for_s: float = 60.0, *, state: State = UNACK) -> tuple[Board, int]:
    board, n = raised(key="wind_over_limit", state=state)
    answered = act(board, "shelve", raising_n=n, who="supervisor", now_s=NOW_S, duration_s=for_s, why="gusts between")
    assert answered.key == "done.shelve"
    return board, n


def shelve(duration_s: float, why: str, *, key: str = "wind_over_limit") -> Answered:
    board, n = raised(key=key)
    return act(board, "shelve", raising_n=n, who="supervisor", now_s=NOW_S, duration_s=duration_s, why=why)


@pytest.mark.parametrize(
    ("duration_s", "why"), [(0.0, "known"), (-1.0, "known"), (SHELVE_MOST_S + 1.0, "known"), (60.0, "")]
)
def test_shelving_needs_a_reason_and_a_time_of_an_hour_at_most(duration_s: float, why: str) -> None:
    assert shelve(duration_s, why).key == "refused.shelve_needs"


def test_shelving_for_an_hour_is_allowed() -> None:
    assert SHELVE_MOST_S == 3600.0
    assert shelve(SHELVE_MOST_S, "known").done


def test_shelved_alarm_keeps_its_state_and_is_still_judged() -> None:
    # OPC 10000-9 §4.8: shelved alarms stay fully functional.
    board, _ = shelved(3600.0)
    assert stands(board, "wind_over_limit").state is UNACK
    calm = facts(config={"wind_limit_m_s": 9.0}, wind_m_s=4.0)
    run(board, calm, 60.0)
    assert stands(board, "wind_over_limit").state is State.RETURNED_UNACKNOWLEDGED


@pytest.mark.parametrize(("after_s", "off"), [(59.9, False), (60.0, True)])
def test_shelf_ends_by_itself(after_s: float, off: bool) -> None:
    board, _ = shelved(60.0)
    step(board, replace(WIND, now_s=NOW_S + after_s), NOW_S + after_s)
    assert (stands(board, "wind_over_limit").shelved_until_s is None) is off


@pytest.mark.parametrize("by_hand", [True, False])
def test_back_from_the_shelf_into_a_standing_alarm_is_unacknowledged(by_hand: bool) -> None:
    # ISA-18.2: never quietly acknowledged.
    board, n = shelved(60.0, state=ACK)
    if by_hand:
        answered = act(board, "unshelve", raising_n=n, who="supervisor", now_s=NOW_S + 10.0)
        assert answered.moved is not None
        assert answered.moved.moved == "unshelved"
    else:
        assert [moved.moved for moved in run(board, WIND, 0.0, from_s=NOW_S + 60.0)] == ["unshelved"]
    assert stands(board, "wind_over_limit").state is UNACK


def test_what_is_not_shelved_is_not_unshelved() -> None:
    board, n = raised(key="wind_over_limit", state=ACK)
    assert act(board, "unshelve", raising_n=n, who="supervisor", now_s=NOW_S).key == "refused.nothing_to_do"
    assert stands(board, "wind_over_limit").state is ACK


def test_shelving_an_alarm_that_is_over_never_silences_the_next_raising() -> None:
    board, n = raised(key="wind_over_limit", state=State.NORMAL)
    answered = act(board, "shelve", raising_n=n, who="supervisor", now_s=NOW_S, duration_s=600.0, why="known")
    assert answered.key == "refused.nothing_to_do"
    run(board, WIND, 1.0)
    assert stands(board, "wind_over_limit").shelved_until_s is None


# --- out of service


def serviced(
    kind: str = "out_of_service",
    *,
    board: Board | None = None,
    role: str = "maintenance",
    why: str = "gauge on order",
    key: str = "sensor_fault",
) -> tuple[Board, Answered]:
    board = board or Board()
    place = ("B" if RULES[key].per_circuit else "", key)
    return board, set_service(board, kind, place, who="the technician", role=role, now_s=NOW_S, why=why)


def test_out_of_service_says_who_since_when_and_why() -> None:
    board, answered = serviced()
    alarm = stands(board, "sensor_fault", "B")
    assert (answered.done, answered.key) == (True, "done.out_of_service")
    assert answered.moved is not None
    assert (answered.moved.moved, answered.moved.who) == ("out_of_service", "the technician")
    assert (alarm.out_of_service_by, alarm.out_of_service_s, alarm.out_of_service_why) == (
        "the technician",
        NOW_S,
        "gauge on order",
    )


@pytest.mark.parametrize("role", ["operator", "landing", "supervisor", ""])
@pytest.mark.parametrize("kind", ["out_of_service", "in_service"])
def test_only_maintenance_takes_an_alarm_out_of_service_or_puts_it_back(kind: str, role: str) -> None:
    board, _ = serviced() if kind == "in_service" else (Board(), None)
    before = dict(board.alarms)
    assert serviced(kind, board=board, role=role)[1].key == "refused.maintenance_only"
    assert board.alarms == before


@pytest.mark.parametrize("why", ["", "  "])
def test_out_of_service_needs_a_reason(why: str) -> None:
    board, answered = serviced(why=why)
    assert answered.key == "refused.out_of_service_needs"
    assert board.alarms == {}


@pytest.mark.parametrize("key", sorted(NEVER_SET_ASIDE))
def test_alarm_that_leads_to_land_now_is_never_out_of_service(key: str) -> None:
    board, answered = serviced(key=key)
    assert answered.key == "refused.cannot_be_out_of_service"
    assert board.alarms == {}


def test_twice_out_of_service_or_in_service_is_nothing_to_do() -> None:
    board, _ = serviced()
    assert serviced(board=board, why="another")[1].key == "refused.nothing_to_do"
    assert stands(board, "sensor_fault", "B").out_of_service_why == "gauge on order"
    assert serviced("in_service", board=board)[1].key == "done.in_service"
    assert serviced("in_service", board=board)[1].key == "refused.nothing_to_do"


FAULTY = facts(circuit("B", state=S.SENSOR_FAULT, fault="frozen", fault_for_s=9.0))


def test_out_of_service_keeps_being_judged_and_comes_back_unacknowledged() -> None:
    # OPC 10000-9 §4.8: out of service is a flag beside a life cycle that goes on; ISA-18.2: I -> B where abnormal.
    board, _ = serviced()
    assert [moved.moved for moved in run(board, FAULTY, 1.0)] == ["raised"]
    n = stands(board, "sensor_fault", "B").raising_n
    act(board, "acknowledge", raising_n=n, who="operator", now_s=NOW_S + 2.0)
    serviced("in_service", board=board)
    alarm = stands(board, "sensor_fault", "B")
    assert (alarm.state, alarm.out_of_service_s, alarm.out_of_service_why) == (UNACK, None, "")


# --- suppression by design


OPENED = [
    circuit(name, state=S.OPEN, vacuum_kpa=0.0, lost_kpa=0.0, leak=None, to_warning=None, reserve=None) for name in "AB"
]


def in_phase(phase: Phase, **changes: object) -> Facts:
    given = {"in_flight": False, "load_known": LoadKnown.OFF, "load_kg": 0.0, "holding": None, "judged_kg": None}
    return facts(*OPENED, phase=phase, **{**given, **changes})  # type: ignore[arg-type]


@pytest.mark.parametrize("phase", list(Phase))
def test_low_vacuum_is_suppressed_only_where_the_pads_are_known_to_be_open(phase: Phase) -> None:
    board, _ = raised()
    step(board, in_phase(phase), NOW_S)
    assert stands(board, "vacuum_low", "B").suppressed is (phase in {Phase.IDLE, Phase.RELEASED})


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.RELEASED, Phase.PARKED])
def test_nothing_is_suppressed_while_the_load_may_hang(phase: Phase) -> None:
    board, _ = raised()
    step(board, in_phase(phase, in_flight=True, load_known=LoadKnown.ON, load_kg=600.0), NOW_S)
    assert not stands(board, "vacuum_low", "B").suppressed


def test_load_that_reads_zero_suppresses_nothing() -> None:
    board, _ = raised()
    for phase in (Phase.LIFTING, Phase.CARRYING, Phase.LANDING):
        step(board, in_phase(phase), NOW_S)
        assert not stands(board, "vacuum_low", "B").suppressed


@pytest.mark.parametrize("key", ["lifter_alarm", "no_reading", "sensor_fault", "battery_low", "load_not_all_off"])
def test_what_is_wrong_whatever_the_pads_do_is_never_suppressed(key: str) -> None:
    assert RULES[key].suppressed_in == frozenset()


def test_suppressed_alarm_is_told_with_its_flag_and_its_moves_are_told() -> None:
    board, _ = raised()
    assert [m.moved for m in run(board, in_phase(Phase.RELEASED), 0.0)] == ["suppressed"]
    assert [m.moved for m in run(board, in_phase(Phase.RELEASED), 1.0, NOW_S + 1.0)] == []
    back = in_phase(Phase.SEALING)
    assert [m.moved for m in run(board, back, 0.0, NOW_S + 3.0)] == ["unsuppressed", "returned"]
    assert stands(board, "vacuum_low", "B").state is State.LATCHED_UNACKNOWLEDGED


def test_back_from_suppression_into_a_phase_that_watches_is_unacknowledged() -> None:
    # ISA-18.2: H -> B where abnormal, never quietly acknowledged.
    board, _ = raised(state=ACK)
    run(board, in_phase(Phase.RELEASED), 0.0)
    run(board, LOW, 0.0, NOW_S + 1.0)
    alarm = stands(board, "vacuum_low", "B")
    assert (alarm.state, alarm.suppressed) == (UNACK, False)


def test_back_from_suppression_unheard_it_stands() -> None:
    board, _ = raised(state=ACK)
    run(board, in_phase(Phase.RELEASED), 0.0)
    unheard = circuit("B", state=S.NO_READING, age_s=9.0, leak=None, to_warning=None, reserve=None)
    run(board, replace(facts(OPENED[0], unheard), phase=Phase.SEALING, in_flight=False), 0.0, NOW_S + 1.0)
    assert stands(board, "vacuum_low", "B").state is UNACK


# --- what it watches


def up(given: Facts, for_s: float = 60.0) -> set[str]:
    """Keys of what is raised by the same facts within a minute."""
    board = Board()
    run(board, given, for_s)
    return {key for (_, key), alarm in board.alarms.items() if alarm.state is UNACK}


@pytest.mark.parametrize(("early_s", "key"), [(480.0, {"losing_vacuum"}), (480.1, set())])
def test_losing_vacuum_is_judged_by_the_early_bound_against_twice_the_time_to_land(
    early_s: float, key: set[str]
) -> None:
    assert up(facts(losing(early_s=early_s))) == key


def test_vague_projection_raises_nothing() -> None:
    assert up(facts(circuit("B", to_warning=Bounds(10.0, 900.0, None)))) == set()


@pytest.mark.parametrize(("load_kg", "key"), [(904.9, set()), (905.0, {"over_wll"})])
def test_over_the_plate_by_the_cells_accuracy(load_kg: float, key: set[str]) -> None:
    assert up(facts(load_kg=load_kg)) == key


@pytest.mark.parametrize(("apart_kpa", "key"), [(15.4, set()), (15.5, {"circuits_disagree"})])
def test_circuits_a_quarter_of_the_working_level_apart(apart_kpa: float, key: set[str]) -> None:
    assert up(facts(circuit("A", vacuum_kpa=75.0), circuit("B", vacuum_kpa=75.0 - apart_kpa))) == key


@pytest.mark.parametrize(("for_s", "key"), [(2.9, set()), (3.0, {"sensor_fault"})])
def test_fault_that_lasts_three_seconds(for_s: float, key: set[str]) -> None:
    board = Board()
    step(board, facts(circuit("B", state=S.SENSOR_FAULT, fault="frozen", fault_for_s=for_s)), NOW_S)
    assert {name for _, name in board.alarms} == key


@pytest.mark.parametrize(("use_ratio", "key"), [(0.99, set()), (1.0, {"pad_overloaded"})])
def test_pad_at_its_whole_share(use_ratio: float, key: set[str]) -> None:
    assert up(facts(holding=holding(worst_pad=WorstPad("B3", use_ratio)))) == key


@pytest.mark.parametrize(
    ("lost", "key"),
    [
        ({"A": IfLost(2.5, 2.0), "B": IfLost(2.01, 2.0)}, set()),
        ({"A": IfLost(2.5, 2.0), "B": IfLost(2.0, 2.0)}, {"one_circuit_not_enough"}),
        ({"A": IfLost(1.0, None), "B": IfLost(None, 2.0)}, set()),  # not asked for, or not known
    ],
)
def test_one_circuit_lost_is_judged_where_the_basis_asks_for_it(lost: dict[str, IfLost], key: set[str]) -> None:
    assert up(facts(holding=holding(if_lost=lost))) == key


@pytest.mark.parametrize(("margin_kg", "key"), [(0.1, set()), (0.0, {"margin_gone"}), (None, set())])
def test_margin_of_nothing(margin_kg: float | None, key: set[str]) -> None:
    assert up(facts(holding=holding(margin_kg))) == key


@pytest.mark.parametrize(
    ("planned_kg", "largest_kg", "key"),
    [
        (600.0, 629.9, set()),
        (600.0, 630.0, {"over_plan"}),
        (100.0, 109.9, set()),
        (100.0, 110.0, {"over_plan"}),
        (None, 880.0, set()),
    ],
)
def test_over_the_plan_by_five_percent_or_twice_the_cells_accuracy(
    planned_kg: float | None, largest_kg: float, key: set[str]
) -> None:
    assert up(facts(planned_kg=planned_kg, load=Load(largest_kg=largest_kg))) == key


@pytest.mark.parametrize(
    ("load_kg", "known", "key"),
    [(18.7, LoadKnown.UNSURE, {"load_not_all_off"}), (18.5, LoadKnown.UNSURE, set()), (18.7, LoadKnown.OFF, set())],
)
def test_load_that_is_not_all_off_while_landing(load_kg: float, known: LoadKnown, key: set[str]) -> None:
    landing = facts(phase=Phase.LANDING, load_known=known, load_kg=load_kg, load=Load(net_kg=load_kg, largest_kg=620.0))
    assert up(landing) == key


@pytest.mark.parametrize(("second_kpa", "told_kpa"), [(59.5, 15.5), (60.0, None)])
def test_circuit_not_believed_hides_no_disagreement_of_the_others(second_kpa: float, told_kpa: float | None) -> None:
    """The limit is 15.5 kPa. Two that are so far apart are, whatever the third reads; two that are not say nothing of it."""
    silent = circuit("A", id="C", state=S.NO_READING, vacuum_kpa=65.0)
    three = facts(in_use=(circuit("A", vacuum_kpa=75.0), circuit("B", vacuum_kpa=second_kpa), silent))
    assert SIGNALS["circuits_apart_kpa"](three, None) == told_kpa


def test_circuits_are_compared_only_when_every_one_is_believed() -> None:
    apart = [circuit("A", vacuum_kpa=75.0), circuit("B", vacuum_kpa=54.0, state=S.SENSOR_FAULT, fault="frozen")]
    assert up(facts(*apart), 5.0) == set()


LOST = {"load_known": LoadKnown.UNSURE, "load_lost": True, "load_fresh": False, "load_kg": None}


@pytest.mark.parametrize(
    ("load", "told"),
    [({}, True), (LOST, True), ({"load_known": LoadKnown.UNSURE}, True), ({"load_known": LoadKnown.OFF}, False)],
)
def test_release_is_told_unless_the_load_is_known_to_be_off(load: dict[str, Any], told: bool) -> None:
    fast = [circuit(name, lost_kpa=20.0) for name in "AB"]
    assert ("release_under_load" in up(facts(*fast, **load))) is told


@pytest.mark.parametrize(("early_s", "key"), [(480.0, {"battery_will_not_last"}), (480.1, set()), (None, set())])
def test_battery_is_judged_by_its_early_bound_against_twice_the_time_to_land(
    early_s: float | None, key: set[str]
) -> None:
    assert up(facts(battery_to_low=Bounds(early_s, None, None)), 5.0) == key


def test_battery_not_heard_of_raises_nothing_new() -> None:
    assert up(facts(battery_to_low=Bounds(60.0, 90.0, 120.0), battery_v=None), 5.0) == set()


@pytest.mark.parametrize(
    ("call", "key"),
    [
        ("land_now", {"tandem_trouble"}), ("no_signal", {"tandem_trouble"}), ("land_soon", {"tandem_trouble"}),
        ("look", set()), ("holding", set()), ("not_lifting", set()),
    ],
)  # fmt: skip
def test_trouble_of_a_lifter_in_tandem(call: str, key: set[str]) -> None:
    assert up(facts(partners={"dock-7": (call, "do_not_release")}), 1.0) == key


@pytest.mark.parametrize(("beyond_deg", "key"), [(5.9, set()), (6.0, {"tilt_outside_plan"})])
def test_tilt_beyond_the_plan_by_the_allowance(beyond_deg: float, key: set[str]) -> None:
    assert up(facts(tilt_beyond_plan_deg=beyond_deg), 2.0) == key


def test_tilt_is_never_outside_by_less_than_a_degree() -> None:
    assert up(facts(config={"tilt_allowance_deg": 0.0}, tilt_beyond_plan_deg=0.9), 2.0) == set()
    assert up(facts(config={"tilt_allowance_deg": 0.0}, tilt_beyond_plan_deg=1.0), 2.0) == {"tilt_outside_plan"}


def test_trouble_that_is_yes_or_no_shows_its_value_all_the_same() -> None:
    board = Board()
    step(board, facts(circuit("B", pump_trouble="not_building", vacuum_kpa=56.5)), NOW_S)
    assert stands(board, "pump_not_building", "B").value == 56.5
    assert stands(board, "pump_not_building", "B").limit is None


def test_value_of_an_alarm_that_is_yes_or_no_is_none() -> None:
    board = Board()
    step(board, facts(lifter_alarm=True), NOW_S)
    assert stands(board, "lifter_alarm").value is None


def test_return_to_normal_is_told_as_cleared_and_to_unanswered_as_returned() -> None:
    calm = facts(config={"wind_limit_m_s": 9.0}, wind_m_s=4.0)
    for state, moved in ((ACK, "cleared"), (UNACK, "returned")):
        board, _ = raised(key="wind_over_limit", state=state)
        assert [move.moved for move in run(board, calm, 60.0)] == [moved]


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({"link_up": False}, "broker_lost"),
        ({"store_writing": False}, "record_not_written"),
        ({"disk_free_ratio": 0.05}, "disk_nearly_full"),
        ({"clock_offset_s": -5.0}, "clock_wrong"),
        ({"lifter_alarm": True}, "lifter_alarm"),
        ({"phase": Phase.LANDING, "load_known": LoadKnown.UNSURE, "load_kg": -40.0}, "load_not_all_off"),
        ({"phase": Phase.RELEASED, "in_flight": False, "released_load_kg": 30.0}, "load_returns_after_release"),
    ],
)
def test_what_is_wrong_beside_the_circuits_has_its_alarm(changes: dict[str, object], key: str) -> None:
    assert up(facts(**changes)) == {key}


@pytest.mark.parametrize(
    "changes",
    [{"disk_free_ratio": 0.051}, {"disk_free_ratio": None}, {"clock_offset_s": 4.9}, {"released_load_kg": 29.0}],
)
def test_what_is_not_yet_wrong_has_none(changes: dict[str, object]) -> None:
    assert up(facts(**changes)) == set()


def test_advance_changes_nothing_it_is_given() -> None:
    before = Alarm(state=UNACK, raising_n=3, since_s=1.0)
    for verdict in Verdict:
        advance(before, verdict, 60.0, rule=RULES["vacuum_low"], phase=Phase.CARRYING, raising_n=4)
    assert before == Alarm(state=UNACK, raising_n=3, since_s=1.0)


# --- what is over with the lift does not stand in the next


def test_alarm_of_a_circuit_no_longer_in_use_stands_until_nothing_hangs() -> None:
    board, _ = raised()
    unused = circuit("B", in_use=False, state=S.OPEN, vacuum_kpa=0.0)
    run(board, facts(unused), 90.0)
    assert stands(board, "vacuum_low", "B").state is UNACK
    landed = facts(unused, in_flight=False, load_known=LoadKnown.OFF, load_kg=0.0, phase=Phase.SEAL_TEST)
    run(board, landed, 6.0, from_s=NOW_S + 90.0)
    assert stands(board, "vacuum_low", "B").state is State.LATCHED_UNACKNOWLEDGED


def test_alarm_of_a_circuit_the_site_file_no_longer_names_does_not_stand_for_ever() -> None:
    board = Board(alarms={("C", "vacuum_low"): Alarm(state=UNACK, raising_n=1, since_s=NOW_S)}, raisings_n=1)
    run(board, facts(), 90.0)
    assert stands(board, "vacuum_low", "C").state is UNACK
    run(board, facts(in_flight=False, load_known=LoadKnown.OFF, phase=Phase.SEAL_TEST), 6.0, from_s=NOW_S + 90.0)
    assert stands(board, "vacuum_low", "C").state is State.LATCHED_UNACKNOWLEDGED


@pytest.mark.parametrize(
    ("about", "key", "reading"),
    [
        ("", "margin_gone", {"holding": holding(None)}),
        ("", "pad_overloaded", {"holding": holding(None, worst_pad=None)}),
        ("", "one_circuit_not_enough", {"holding": holding(None)}),
        ("", "over_plan", {"load": Load()}),
    ],
)
@pytest.mark.parametrize("known", [LoadKnown.OFF, LoadKnown.UNSURE, LoadKnown.ON])
def test_what_a_load_asks_for_is_over_only_with_the_load_known_to_be_off(
    about: str, key: str, reading: dict[str, object], known: LoadKnown
) -> None:
    board, _ = raised(key=key)
    given = facts(
        judged_kg=None, load_known=known, in_flight=known is not LoadKnown.OFF, phase=Phase.SEAL_TEST, **reading
    )
    run(board, given, 90.0)
    assert (stands(board, key, about).state is UNACK) is (known is not LoadKnown.OFF)


# --- what is told of an alarm


def test_value_told_is_never_one_of_the_deadband() -> None:
    board = Board()
    run(board, LOW, 1.0)
    run(board, facts(circuit("B", vacuum_kpa=53.5)), 5.0, from_s=NOW_S + 2.0)
    assert stands(board, "vacuum_low", "B").state is UNACK
    assert stands(board, "vacuum_low", "B").value == 51.0  # "53.5 kPa, at or under 52.0 kPa" would be false


def test_what_is_over_never_hides_what_stands_and_says_how_long_it_lasted() -> None:
    over = Alarm(state=State.LATCHED_UNACKNOWLEDGED, raising_n=1, since_s=NOW_S, returned_s=NOW_S + 70.0)
    board = Board(
        alarms={
            ("B", "vacuum_low"): over,
            ("", "wind_over_limit"): Alarm(state=UNACK, raising_n=2, since_s=NOW_S + 80.0),
        }
    )
    stands_now, is_over = alarms_told("dock-6", board, NOW_S + 600.0, 0.0)
    assert (stands_now.key, is_over.key) == ("wind_over_limit", "vacuum_low")
    assert (stands_now.says.values["held_s"], is_over.says.values["held_s"]) == (520.0, 70.0)
    assert (stands_now.over_utc_s, is_over.over_utc_s) == (None, NOW_S + 70.0)


# --- what stands, for the call


@pytest.mark.parametrize(
    ("alarms", "about"),
    [
        ({}, None),
        ({("B", "vacuum_low"): Alarm(state=UNACK, raising_n=3)}, "B"),
        ({("B", "vacuum_low"): Alarm(state=ACK, raising_n=3)}, "B"),  # an acknowledge makes nothing better
        ({("B", "vacuum_low"): Alarm(state=UNACK, raising_n=3, shelved_until_s=9e9)}, "B"),
        ({("", "over_wll"): Alarm(state=UNACK, raising_n=3)}, ""),
        ({("B", "vacuum_low"): Alarm(state=State.LATCHED_UNACKNOWLEDGED, raising_n=3)}, None),
        ({("B", "vacuum_low"): Alarm(raising_n=3)}, None),
        ({("", "wind_over_limit"): Alarm(state=UNACK, raising_n=3)}, None),  # of medium priority
        (
            {
                ("B", "vacuum_low"): Alarm(state=UNACK, raising_n=4),
                ("A", "vacuum_low"): Alarm(state=UNACK, raising_n=3),
            },
            "A",
        ),
        (
            {("A", "vacuum_low"): Alarm(state=UNACK, raising_n=4), ("B", "vacuum_low"): Alarm(state=ACK, raising_n=3)},
            "B",
        ),
    ],
)
def test_oldest_standing_alarm_of_high_priority_is_told(
    alarms: dict[tuple[str, str], Alarm], about: str | None
) -> None:
    assert gravest(Board(alarms=alarms)) == about


def test_return_forgets_the_breach_and_says_when() -> None:
    board = Board(alarms={("", "wind_over_limit"): Alarm(state=UNACK, raising_n=7, breach_since_s=NOW_S)}, raisings_n=7)
    calm = facts(config={"wind_limit_m_s": 9.0}, wind_m_s=4.0)
    run(board, calm, 60.0)
    alarm = stands(board, "wind_over_limit")
    assert (alarm.state, alarm.returned_s) == (State.RETURNED_UNACKNOWLEDGED, NOW_S + 60.0)
    assert (alarm.breach_since_s, alarm.clear_since_s) == (None, None)


def test_back_from_the_shelf_nothing_of_the_shelf_is_left() -> None:
    shelved = Alarm(state=ACK, raising_n=3, shelved_until_s=9e9, shelved_by="x", shelved_why="y")
    assert unshelve(shelved) == Alarm(state=UNACK, raising_n=3)


def test_new_raising_is_nobodys_yet_and_begins_with_its_breach() -> None:
    old = Alarm(
        state=ACK, raising_n=3, since_s=1.0, raised_s=1.0, acknowledged_by="x", acknowledged_s=2.0, clear_since_s=90.0
    )
    rule = RULES["wind_over_limit"]
    again = advance(old, Verdict.BREACH, 160.0, rule=rule, phase=Phase.CARRYING, raising_n=4)
    assert (again.state, again.raising_n, again.acknowledged_by, again.acknowledged_s) == (UNACK, 4, "", None)
    assert (again.raised_s, again.since_s, again.breach_since_s, again.clear_since_s) == (160.0, 160.0, 160.0, None)
    late = advance(Alarm(breach_since_s=150.0), Verdict.BREACH, 160.0, rule=rule, phase=Phase.CARRYING, raising_n=4)
    assert (late.raised_s, late.since_s, late.breach_since_s) == (160.0, 150.0, 150.0)


@pytest.mark.parametrize(("over_for_s", "state"), [(29.9, ACK), (30.0, UNACK)])
def test_breach_after_it_was_over_for_its_clear_delay_is_news(over_for_s: float, state: State) -> None:
    rule = RULES["clock_wrong"]
    old = Alarm(state=ACK, raising_n=3, raised_s=100.0, acknowledged_by="x", clear_since_s=120.0)
    assert rule.clear_after_s == 30.0
    again = advance(old, Verdict.BREACH, 120.0 + over_for_s, rule=rule, phase=Phase.CARRYING, raising_n=4)
    assert again.state is state


def test_breach_where_it_is_not_watched_begins_its_delay_anew() -> None:
    rule = RULES["load_not_all_off"]
    pending = Alarm(breach_since_s=100.0)
    outside = advance(pending, Verdict.BREACH, 110.0, rule=rule, phase=Phase.CARRYING, raising_n=1)
    assert outside == Alarm()
    assert advance(pending, Verdict.BREACH, 120.0, rule=rule, phase=Phase.LANDING, raising_n=1).state is UNACK
    back = advance(outside, Verdict.BREACH, 120.0, rule=rule, phase=Phase.LANDING, raising_n=1)
    assert (back.state, back.breach_since_s) == (State.NORMAL, 120.0)


def test_signal_whose_limit_is_gone_raises_nothing_and_clears_nothing() -> None:
    rule = RULES["wind_over_limit"]
    assert judge(Alarm(breach_since_s=1.0), rule, 20.0, None) is Verdict.CLEAR
    assert judge(Alarm(state=UNACK), rule, 20.0, None) is Verdict.UNKNOWN
    assert judge(Alarm(state=ACK), rule, 0.0, None) is Verdict.UNKNOWN


def test_alarms_of_all_circuits_out_of_use_return_together() -> None:
    low = circuit("A", state=S.LOW, vacuum_kpa=40.0), circuit("B", state=S.LOW, vacuum_kpa=40.0)
    board = Board()
    run(board, facts(*low), 5.0)
    assert {stands(board, "vacuum_low", name).state for name in "AB"} == {UNACK}
    unused = facts(*(replace(one, in_use=False) for one in low), replace(circuit("A"), id="C"), in_flight=False)
    returned = {(moved.about, moved.rule.key) for moved in run(board, unused, 100.0, NOW_S + 10.0)}
    assert {("A", "vacuum_low"), ("B", "vacuum_low")} <= returned


@pytest.mark.parametrize(("for_s", "state"), [(59.9, UNACK), (60.0, State.RETURNED_UNACKNOWLEDGED)])
def test_alarm_stands_exactly_a_minute_from_its_raising(for_s: float, state: State) -> None:
    rule = RULES["wind_over_limit"]
    alarm = Alarm(state=UNACK, raising_n=3, raised_s=100.0, clear_since_s=0.0)
    assert advance(alarm, Verdict.CLEAR, 100.0 + for_s, rule=rule, phase=Phase.CARRYING, raising_n=4).state is state


def test_back_from_suppression_where_it_is_not_watched_it_says_when_it_was_over() -> None:
    board = Board(
        alarms={("B", "vacuum_low"): Alarm(state=UNACK, raising_n=1, raised_s=NOW_S - 90.0, suppressed=True)},
        raisings_n=1,
    )
    step(board, facts(phase=Phase.SEALING, in_flight=False, load_known=LoadKnown.OFF, load_kg=0.0), NOW_S)
    alarm = stands(board, "vacuum_low", "B")
    assert (alarm.state, alarm.suppressed, alarm.returned_s) == (State.LATCHED_UNACKNOWLEDGED, False, NOW_S)


def test_move_is_told_with_the_alarm_as_it_is_then() -> None:
    board = Board()
    [moved] = step(board, facts(lifter_alarm=True), NOW_S)
    assert (moved.about, moved.rule.key, moved.moved) == ("", "lifter_alarm", "raised")
    assert moved.alarm is board.alarms["", "lifter_alarm"]
