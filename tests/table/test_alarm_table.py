"""Every declared alarm, row by row; and every (state, happening) pair of the life cycle.

Sources: ISA-18.2 / IEC 62682 state diagram (states A to D as open implementation notes give them, E and F from memory);
OPC 10000-9 Annex B.1.5 for what delays and deadbands mean.
"""

from dataclasses import replace
from string import Formatter

import pytest

from monitor.core.alarm_acts import NEVER_SET_ASIDE, act, set_service
from monitor.core.alarm_signals import LIMITS, SIGNALS
from monitor.core.alarm_table import ALARMS, SUPPRESSED_IN, AlarmRule, Breach, Priority, Role, Severity, priority
from monitor.core.alarms import RULES, Alarm, Board, Happening, State, Verdict, judge, move, step
from monitor.core.facts import CircuitState, Facts
from monitor.core.holding import IfLost, WorstPad
from monitor.core.load import LoadKnown
from monitor.core.messages import Text
from monitor.core.phases import Phase
from monitor.core.status import UNIT_SUFFIX, alarms_told
from monitor.core.warning_time import Bounds
from monitor.words.english import TEMPLATES
from monitor.words.quantities import UNKNOWN
from monitor.words.say import say
from tests.unit.core.made import NOW_S, circuit, facts, holding, losing

EVERY = pytest.mark.parametrize("rule", ALARMS, ids=lambda rule: rule.key)
LIMITED = pytest.mark.parametrize("rule", [r for r in ALARMS if r.limit], ids=lambda rule: rule.key)
ABOUT_THE_SITE = {"broker_lost", "disk_nearly_full", "record_not_written"}  # Holdwatch knows these by itself
OF_ANOTHER = {"tandem_trouble"}  # another lifter's call says it, whatever is heard of this one


def example(rule: AlarmRule, *, known: bool) -> tuple[Text, Text]:
    """What a rule says and does, with values or with none known."""
    board = Board()
    alarm = Alarm(State.UNACKNOWLEDGED, raising_n=1, since_s=NOW_S - 75.0, value=48.7, limit=52.0)
    board.alarms["B" if rule.per_circuit else "", rule.key] = (
        alarm if known else replace(alarm, value=None, limit=None, since_s=None)
    )
    [told] = alarms_told("dock-6", board, NOW_S, 0.0)
    return told.says, told.do


# --- the table


def test_keys_are_unique() -> None:
    assert len({rule.key for rule in ALARMS}) == len(ALARMS)


def test_every_signal_and_limit_is_used() -> None:
    watched = {rule.signal for rule in ALARMS} | {rule.shows for rule in ALARMS if rule.shows}
    assert watched == set(SIGNALS)
    assert {rule.shows for rule in ALARMS if rule.shows} <= set(SIGNALS)
    assert {rule.limit for rule in ALARMS if rule.limit} == set(LIMITS)


@EVERY
def test_signal_is_known(rule: AlarmRule) -> None:
    assert rule.signal in SIGNALS


@EVERY
def test_limit_is_known_where_there_is_something_to_compare(rule: AlarmRule) -> None:
    assert (rule.limit in LIMITS) is (rule.breach is not Breach.TRUE)


@EVERY
def test_unit_is_known_and_is_that_of_signal_and_limit(rule: AlarmRule) -> None:
    suffix = UNIT_SUFFIX[rule.unit]
    for name in (rule.signal, rule.limit) if rule.limit else filter(None, (rule.shows,)):
        known = next(
            (s for s in ("_kpa", "_kg", "_m_s", "_v", "_deg", "_ratio", "_factor", "_s") if name.endswith(s)), None
        )
        assert known is not None, name
        assert known.removeprefix("_").replace("factor", "ratio") == suffix, name


@EVERY
def test_what_it_says_and_what_to_do_are_given(rule: AlarmRule) -> None:
    for words in (rule.says, rule.do, rule.cause, rule.consequence):
        assert words.strip() == words
        assert words
    assert rule.do.endswith(".")
    assert not rule.says.endswith(".")


@EVERY
def test_placeholders_fit_the_values(rule: AlarmRule) -> None:
    asked = {name for _, name, _, _ in Formatter().parse(rule.says) if name}
    given = set(example(rule, known=True)[0].values)
    assert asked <= given
    assert "held_s" in asked or "value_s" in asked  # how long


@EVERY
def test_it_says_the_value_where_there_is_one(rule: AlarmRule) -> None:
    assert ("{value_" in rule.says) is bool(rule.limit or rule.shows)
    assert not (rule.limit and rule.shows)


@EVERY
@pytest.mark.parametrize("known", [True, False])
def test_text_fits(rule: AlarmRule, known: bool) -> None:
    says, do = (say(text) for text in example(rule, known=known))
    assert len(says) <= 100
    assert len(do) <= 100
    assert "{" not in says + do
    assert "None" not in says + do
    assert "nan" not in says + do


@LIMITED
def test_unknown_value_is_a_dash(rule: AlarmRule) -> None:
    assert UNKNOWN in say(example(rule, known=False)[0])


@EVERY
def test_words_stand_under_its_key(rule: AlarmRule) -> None:
    assert TEMPLATES[f"alarm.{rule.key}.says"] == rule.says
    assert TEMPLATES[f"alarm.{rule.key}.do"] == rule.do


@EVERY
def test_delays_are_times_and_shorter_than_the_time_to_act(rule: AlarmRule) -> None:
    assert 0.0 <= rule.raise_after_s < rule.time_to_act_s
    assert rule.clear_after_s > 0.0
    assert rule.off_raise_after_s is None or rule.off_raise_after_s > rule.raise_after_s


@EVERY
def test_deadband_is_not_negative(rule: AlarmRule) -> None:
    assert rule.clear_margin >= 0.0
    assert not rule.clear_margin or rule.limit


@LIMITED
def test_value_that_moves_both_ways_has_a_deadband(rule: AlarmRule) -> None:
    counts_up = rule.signal in {"silent_s", "fault_for_s", "pump_down_s"}  # grow and then begin anew: no flutter
    assert (rule.clear_margin > 0.0) is not counts_up


def test_low_vacuum_keeps_its_first_touch_and_a_two_percent_deadband() -> None:
    # Action is needed whenever the limit is touched: off-delay, no on-delay (trade note on the ISA-18.2 TR draft);
    # deadband for pressure 2 % of 0 to 100 kPa (ISA-18.2 / EEMUA 191 starting value, from memory).
    for key in ("vacuum_low", "vacuum_critical"):
        rule = RULES[key]
        assert rule.raise_after_s == 0.0
        assert rule.clear_after_s > 0.0
        assert rule.clear_margin == 2.0


@EVERY
def test_it_can_be_raised_somewhere(rule: AlarmRule) -> None:
    assert rule.armed_in


@EVERY
def test_suppression_by_design_is_for_a_lifter_that_carries_nothing(rule: AlarmRule) -> None:
    assert frozenset({Phase.IDLE, Phase.RELEASED, Phase.PARKED}) == SUPPRESSED_IN
    assert rule.suppressed_in <= SUPPRESSED_IN


@EVERY
def test_nothing_is_raised_where_it_is_suppressed(rule: AlarmRule) -> None:
    assert not rule.suppressed_in & rule.armed_in


@EVERY
def test_who_acts_is_known(rule: AlarmRule) -> None:
    assert rule.who_acts in Role


# --- priority


@pytest.mark.parametrize(
    ("severity", "time_to_act_s", "told"),
    [
        (Severity.LOAD_MAY_DROP, 600.0, Priority.HIGH),
        (Severity.LOAD_MAY_DROP, 601.0, Priority.MEDIUM),
        (Severity.LIFT_IN_DOUBT, 600.0, Priority.MEDIUM),
        (Severity.LIFT_IN_DOUBT, 601.0, Priority.LOW),
        (Severity.WORK_AFTERWARDS, 1.0, Priority.LOW),
    ],
)
def test_priority_follows_from_consequence_and_time_to_act(
    severity: Severity, time_to_act_s: float, told: Priority
) -> None:
    assert priority(replace(RULES["vacuum_low"], severity=severity, time_to_act_s=time_to_act_s)) is told


def test_alarms_that_lead_to_land_now_are_high_and_cannot_be_shelved() -> None:
    assert {rule.key for rule in ALARMS if priority(rule) is Priority.HIGH} == NEVER_SET_ASIDE


@pytest.mark.parametrize(
    "key",
    [
        "vacuum_low", "vacuum_critical", "losing_vacuum", "sudden_loss", "circuits_disagree", "pump_not_building",
        "pump_not_stopping", "reserve_short", "over_wll", "over_plan", "pad_overloaded", "one_circuit_not_enough",
        "lifter_alarm", "tilt_outside_plan", "wind_over_limit", "battery_low", "load_not_all_off", "release_under_load",
        "sensor_fault", "no_reading", "clock_wrong", "broker_lost", "disk_nearly_full", "record_not_written",
        "load_returns_after_release", "battery_will_not_last", "tandem_trouble", "margin_gone",
        "pump_not_starting", "pump_down_slow", "pump_duty_rising",
    ],
)  # fmt: skip
def test_alarm_is_declared(key: str) -> None:
    assert key in RULES


# --- on both sides of every limit, with its deadband


def limit_of(rule: AlarmRule) -> float:
    given = facts(config={"wind_limit_m_s": 9.0, "battery_low_v": 23.0}, planned_kg=600.0)
    about = circuit("B", pump_down_limit_s=15.0, duty_limit_ratio=0.2)
    limit = LIMITS[rule.limit](given, about if rule.per_circuit else None)
    assert limit is not None
    return limit


@LIMITED
def test_on_its_limit_it_is_in_breach_and_just_beyond_it_is_not(rule: AlarmRule) -> None:
    limit = limit_of(rule)
    good = 1.0 if rule.breach is Breach.AT_OR_BELOW else -1.0
    assert judge(Alarm(), rule, limit, limit) is Verdict.BREACH
    assert judge(Alarm(), rule, limit - good * 0.001, limit) is Verdict.BREACH
    assert judge(Alarm(), rule, limit + good * 0.001, limit) is Verdict.CLEAR


@LIMITED
def test_standing_it_clears_beyond_its_deadband_only(rule: AlarmRule) -> None:
    limit = limit_of(rule)
    good = 1.0 if rule.breach is Breach.AT_OR_BELOW else -1.0
    standing = Alarm(state=State.UNACKNOWLEDGED)
    edge = limit + good * rule.clear_margin
    assert judge(standing, rule, edge - good * 0.001, limit) is Verdict.BREACH
    assert judge(standing, rule, edge + good * 0.001, limit) is Verdict.CLEAR


# --- silence clears nothing, whatever is watched


def silent(**changes: object) -> Facts:
    gone = [
        circuit(n, state=CircuitState.NO_READING, age_s=60.0, leak=None, to_warning=None, reserve=None) for n in "AB"
    ]
    nothing = dict.fromkeys(
        ["tilt_deg", "height_m", "ambient_kpa", "temperature_c", "battery_v", "wind_m_s", "load_kg"]
    )
    config = {"wind_limit_m_s": 9.0, "battery_low_v": 23.0}
    lost = {"load_fresh": False, "load_lost": True, "load_known": LoadKnown.UNSURE, "clock_offset_s": None}
    return facts(*gone, config=config, **{**nothing, **lost, "planned_kg": 600.0, **changes})  # type: ignore[arg-type]


REMEMBERED = {"over_plan", "one_circuit_not_enough"}  # judged by the largest load of the lift and the vacuum last heard


@pytest.mark.parametrize(
    "rule", [r for r in ALARMS if r.key not in ABOUT_THE_SITE | OF_ANOTHER | REMEMBERED], ids=lambda r: r.key
)
@pytest.mark.parametrize("state", [State.UNACKNOWLEDGED, State.ACKNOWLEDGED])
def test_silence_is_never_clear(rule: AlarmRule, state: State) -> None:
    given = silent()
    about = given.circuits["B"] if rule.per_circuit else None
    limit = LIMITS[rule.limit](given, about) if rule.limit else None
    assert judge(Alarm(state=state), rule, SIGNALS[rule.signal](given, about), limit) is not Verdict.CLEAR


# --- each row is raised, answered and clears


CALM_AIR = {"config": {"wind_limit_m_s": 9.0, "battery_low_v": 23.0}, "planned_kg": 620.0}
GONE = {"phase": Phase.RELEASED, "in_flight": False, "load_kg": 0.0, "load_known": LoadKnown.OFF}
SET_DOWN = {**CALM_AIR, "phase": Phase.LANDING, "load_kg": 0.0, "load_known": LoadKnown.OFF, "in_flight": False}
BREACHES: dict[str, Facts] = {
    "vacuum_low": facts(circuit("B", state=CircuitState.LOW, vacuum_kpa=51.0)),
    "vacuum_critical": facts(circuit("B", state=CircuitState.CRITICAL, vacuum_kpa=30.0)),
    "losing_vacuum": facts(losing(early_s=400.0)),
    "sudden_loss": facts(circuit("B", lost_kpa=12.0)),
    "release_under_load": facts(*[circuit(name, lost_kpa=12.0) for name in "AB"]),
    "lifter_alarm": facts(lifter_alarm=True),
    "over_wll": facts(load_kg=950.0),
    "margin_gone": facts(holding=holding(-5.0)),
    "load_returns_after_release": facts(**{**GONE, "load_known": LoadKnown.ON, "released_load_kg": 80.0}),
    "no_reading": facts(circuit("B", state=CircuitState.NO_READING, age_s=9.0)),
    "sensor_fault": facts(circuit("B", state=CircuitState.SENSOR_FAULT, fault="frozen", fault_for_s=9.0)),
    "pump_not_building": facts(circuit("B", pump_trouble="not_building")),
    "pump_not_starting": facts(circuit("B", pump_trouble="not_starting")),
    "pump_not_stopping": facts(circuit("B", pump_trouble="not_stopping")),
    "pump_down_slow": facts(circuit("B", pump_down_s=40.0, pump_down_limit_s=20.0)),
    "pump_duty_rising": facts(circuit("B", duty_ratio=0.6, duty_limit_ratio=0.4)),
    "reserve_short": facts(circuit("B", reserve=Bounds(200.0, 400.0, None))),
    "over_plan": facts(planned_kg=500.0),
    "pad_overloaded": facts(holding=holding(worst_pad=WorstPad("B3", 1.1))),
    "one_circuit_not_enough": facts(holding=holding(if_lost={"A": IfLost(1.5, 2.0), "B": IfLost(2.5, 2.0)})),
    "circuits_disagree": facts(circuit("A", vacuum_kpa=80.0)),
    "tilt_outside_plan": facts(tilt_beyond_plan_deg=9.0),
    "wind_over_limit": facts(**{**CALM_AIR, "wind_m_s": 9.5}),
    "battery_low": facts(**{**CALM_AIR, "battery_v": 22.5}),
    "battery_will_not_last": facts(**{**CALM_AIR, "battery_to_low": Bounds(400.0, 600.0, None)}),
    "tandem_trouble": facts(partners={"dock-7": ("land_now", "do_not_release")}),
    "load_not_all_off": facts(phase=Phase.LANDING, load_known=LoadKnown.UNSURE, load_kg=60.0),
    "clock_wrong": facts(clock_offset_s=40.0),
    "broker_lost": facts(link_up=False),
    "disk_nearly_full": facts(disk_free_ratio=0.01),
    "record_not_written": facts(store_writing=False),
}
"""For each row, facts in which it is in breach."""

CALM_FACTS: dict[str, Facts] = {
    "load_returns_after_release": facts(**GONE),
    "load_not_all_off": facts(**SET_DOWN),
    "pump_down_slow": facts(circuit("B", pump_down_s=12.0, pump_down_limit_s=20.0), **CALM_AIR),
    "pump_duty_rising": facts(circuit("B", duty_ratio=0.2, duty_limit_ratio=0.4), **CALM_AIR),
    "one_circuit_not_enough": facts(holding=holding(if_lost={"A": IfLost(2.5, 2.0), "B": IfLost(2.5, 2.0)})),
}
"""And facts in which it is over, where that is not simply a lift in the air that holds."""


def test_every_row_has_its_breach() -> None:
    assert list(BREACHES) == [rule.key for rule in ALARMS]


def go_on(board: Board, given: Facts, from_s: float, for_s: float) -> float:
    for number in range(round(for_s * 2) + 1):
        step(board, replace(given, now_s=from_s + number / 2.0), from_s + number / 2.0)
    return from_s + for_s


@EVERY
def test_row_is_raised_answered_and_clears(rule: AlarmRule) -> None:
    board, place = Board(), ("B" if rule.per_circuit else "", rule.key)
    calm = CALM_FACTS.get(rule.key, facts(**CALM_AIR))
    now_s = go_on(board, calm, NOW_S, 60.0)
    assert board.alarms == {}
    now_s = go_on(board, BREACHES[rule.key], now_s, 60.0)
    assert board.alarms[place].state is State.UNACKNOWLEDGED
    raising_n = board.alarms[place].raising_n
    assert act(board, "acknowledge", raising_n=raising_n, who="lift supervisor", now_s=now_s).done
    assert (board.alarms[place].state, board.alarms[place].acknowledged_by) == (State.ACKNOWLEDGED, "lift supervisor")
    now_s = go_on(board, calm, now_s, 61.0 + rule.clear_after_s)
    if rule.latching:
        assert board.alarms[place].state is State.LATCHED_ACKNOWLEDGED
        assert act(board, "reset", raising_n=raising_n, who="lift supervisor", now_s=now_s).done
    assert board.alarms[place].state is State.NORMAL


# --- the life cycle


A, B, C = State.NORMAL, State.UNACKNOWLEDGED, State.ACKNOWLEDGED
D, E, F = State.RETURNED_UNACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED
OCCURS, RETURNS, ACK, RESET = Happening

DIAGRAM = {
    # state: (occurs, returns, acknowledged, reset)
    A: (B, A, A, A),
    B: (B, D, C, B),
    C: (C, A, C, C),
    D: (B, D, A, D),
}
LATCHING_DIAGRAM = {
    A: (B, A, A, A),
    B: (B, E, C, B),
    C: (C, F, C, C),
    E: (B, E, F, E),
    F: (B, F, F, A),
}


@pytest.mark.parametrize(
    ("latching", "state", "happening", "told"),
    [
        (latching, state, happening, told)
        for latching, diagram in ((False, DIAGRAM), (True, LATCHING_DIAGRAM))
        for state, row in diagram.items()
        for happening, told in zip(Happening, row, strict=True)
    ],
)
def test_every_state_and_happening(latching: bool, state: State, happening: Happening, told: State) -> None:
    rule = replace(RULES["vacuum_low"], latching=latching)
    assert move(Alarm(state=state), rule, happening) is told


def test_every_state_is_in_a_diagram() -> None:
    assert set(DIAGRAM) | set(LATCHING_DIAGRAM) == set(State)


@pytest.mark.parametrize(("latching", "state"), [(False, E), (False, F), (True, D)])
@pytest.mark.parametrize("happening", list(Happening))
def test_states_of_the_other_diagram_are_left_alone(latching: bool, state: State, happening: Happening) -> None:
    rule = replace(RULES["vacuum_low"], latching=latching)
    assert move(Alarm(state=state), rule, happening) is state


# --- set aside: shelved (G), suppressed by design (H), out of service (I) are flags beside the life cycle
# CHECK-VALUES: any -> G, H, I, and back to A where normal, to B where abnormal; OPC 10000-9 §4.8: judged all the while.

RULE = RULES["pump_not_building"]  # may be set aside in every way
PLACE = ("B", RULE.key)
FLAGS = ("shelved", "suppressed", "out_of_service")
TROUBLE = facts(circuit("B", pump_trouble="not_building"))
CALM = facts()
OPEN = [circuit(n, state=CircuitState.OPEN, vacuum_kpa=0.0, to_warning=None, reserve=None) for n in "AB"]


def with_flag(flag: str, state: State) -> Board:
    """An alarm in a state of the life cycle, set aside."""
    board = Board(raisings_n=4)
    alarm = Alarm(state=state, raising_n=4, since_s=NOW_S - 60.0, breach_since_s=NOW_S - 60.0)
    changes: dict[str, dict[str, object]] = {
        "shelved": {"shelved_until_s": NOW_S + 600.0, "shelved_by": "x", "shelved_why": "y"},
        "suppressed": {"suppressed": True},
        "out_of_service": {"out_of_service_s": NOW_S, "out_of_service_by": "x", "out_of_service_why": "y"},
    }
    board.alarms[PLACE] = replace(alarm, **changes[flag])  # type: ignore[arg-type]
    return board


def flags(alarm: Alarm) -> set[str]:
    up = {"shelved": alarm.shelved_until_s, "out_of_service": alarm.out_of_service_s}
    return {name for name, at_s in up.items() if at_s is not None} | ({"suppressed"} if alarm.suppressed else set())


def put_aside(board: Board, flag: str) -> None:
    match flag:
        case "shelved":
            act(board, "shelve", raising_n=4, who="x", now_s=NOW_S, duration_s=600.0, why="y")
        case "suppressed":
            given = facts(*OPEN, phase=Phase.RELEASED, in_flight=False, load_known=LoadKnown.OFF, load_kg=0.0)
            step(board, given, NOW_S)
        case _:
            set_service(board, "out_of_service", PLACE, who="x", role="maintenance", now_s=NOW_S, why="y")


def take_back(board: Board, flag: str, given: Facts) -> None:
    match flag:
        case "shelved":
            act(board, "unshelve", raising_n=4, who="x", now_s=NOW_S)
        case "suppressed":
            step(board, given, NOW_S)
        case _:
            set_service(board, "in_service", PLACE, who="x", role="maintenance", now_s=NOW_S)


@pytest.mark.parametrize("flag", FLAGS)
@pytest.mark.parametrize("state", [B, C, D])
def test_any_state_is_set_aside_and_keeps_its_place_in_the_life_cycle(flag: str, state: State) -> None:
    board = Board(alarms={PLACE: Alarm(state=state, raising_n=4, since_s=NOW_S)}, raisings_n=4)
    put_aside(board, flag)
    assert (board.alarms[PLACE].state, flags(board.alarms[PLACE])) == (state, {flag})


def test_normal_alarm_is_out_of_service_at_will_but_never_shelved_nor_suppressed_unseen() -> None:
    for flag in FLAGS:
        board = Board(alarms={PLACE: Alarm(raising_n=4)}, raisings_n=4)
        put_aside(board, flag)
        assert flags(board.alarms[PLACE]) == ({flag} if flag == "out_of_service" else set())


@pytest.mark.parametrize("flag", FLAGS)
@pytest.mark.parametrize(("state", "given", "back"), [(B, TROUBLE, B), (C, TROUBLE, B), (D, CALM, D), (A, CALM, A)])
def test_back_it_is_normal_or_unacknowledged_never_acknowledged(
    flag: str, state: State, given: Facts, back: State
) -> None:
    board = with_flag(flag, state)
    take_back(board, flag, given)
    assert (board.alarms[PLACE].state, flags(board.alarms[PLACE])) == (back, set())


@pytest.mark.parametrize("flag", ["shelved", "out_of_service"])
@pytest.mark.parametrize(
    ("state", "happening", "told"),
    [
        (state, happening, told)
        for state, row in DIAGRAM.items()
        for happening, told in zip(Happening, row, strict=True)
    ],
)
def test_life_cycle_goes_on_while_it_is_set_aside(flag: str, state: State, happening: Happening, told: State) -> None:
    board = with_flag(flag, state)
    match happening:
        case Happening.OCCURS:
            step(board, TROUBLE, NOW_S)
        case Happening.RETURNS:
            for at_s in (NOW_S, NOW_S + RULE.clear_after_s):
                step(board, CALM, at_s)
        case Happening.ACKNOWLEDGED:
            act(board, "acknowledge", raising_n=4, who="x", now_s=NOW_S)
        case _:
            act(board, "reset", raising_n=4, who="x", now_s=NOW_S)
    assert (board.alarms[PLACE].state, flags(board.alarms[PLACE])) == (told, {flag})
