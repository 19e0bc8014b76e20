"""What an alarm watches, one signal at a time: a value that is heard, and unknown (``None``) where nothing is known.

An alarm is raised by a value on the wrong side of its limit and goes by one on the right side; ``None`` does neither. So
nothing that is silent, faulty or not yet known may give a value here that looks right.
"""

import math
from typing import Any

import pytest

from monitor.core.alarm_signals import LIMITS, SIGNALS
from monitor.core.facts import CircuitState, Facts
from monitor.core.holding import IfLost
from monitor.core.load import Load, LoadKnown
from monitor.core.warning_time import Bounds
from tests.unit.core.made import FALLING, FAR, TIGHT, circuit, facts, holding

S = CircuitState
SOON = Bounds(250.0, 378.0, 560.0)


@pytest.mark.parametrize(
    ("signal", "state", "value"),
    [
        ("vacuum_kpa", S.HOLDING, 64.0),
        ("vacuum_kpa", S.NO_READING, None),
        ("vacuum_kpa", S.SENSOR_FAULT, None),
        ("to_level_early_s", S.LOSING, 250.0),
        ("to_level_early_s", S.NO_READING, None),
        ("to_level_early_s", S.SENSOR_FAULT, None),
        ("silent_s", S.HOLDING, 0.1),
        ("silent_s", S.NO_READING, 0.1),  # that it says nothing is just what this one is about
        ("silent_s", S.SENSOR_FAULT, None),
        ("fault_for_s", S.SENSOR_FAULT, 7.0),
        ("fault_for_s", S.NO_READING, None),
        ("lost_kpa", S.HOLDING, 2.0),
        ("lost_kpa", S.NO_READING, None),
        ("lost_kpa", S.SENSOR_FAULT, None),
        ("pump_down_s", S.BUILDING, 40.0),
        ("pump_down_s", S.SENSOR_FAULT, None),
        ("duty_ratio", S.HOLDING, 0.3),
        ("duty_ratio", S.NO_READING, None),
    ],
)
def test_circuit_that_is_not_heard_gives_no_value_that_could_end_its_alarm(
    signal: str, state: CircuitState, value: float | None
) -> None:
    part = circuit(
        "B", state=state, leak=FALLING, to_warning=SOON, fault_for_s=7.0, lost_kpa=2.0, pump_down_s=40.0, duty_ratio=0.3
    )
    assert SIGNALS[signal](facts(part), part) == value


@pytest.mark.parametrize("name", ["not_building", "not_starting", "not_stopping"])
@pytest.mark.parametrize(
    ("state", "told"),
    [
        (S.HOLDING, True),
        (S.LOW, True),
        (S.OPEN, False),
        (S.NO_READING, None),
        (S.SENSOR_FAULT, None),  # what the pump does with a vacuum that is not believed is not known
    ],
)
def test_trouble_of_a_pump_is_told_while_its_circuit_is_attached_and_never_ended_by_silence(
    name: str, state: CircuitState, told: bool | None
) -> None:
    part = circuit("B", state=state, pump_trouble=name)
    assert SIGNALS[f"pump_{name}"](facts(part), part) is told


@pytest.mark.parametrize(("name", "told"), [("not_building", True), ("not_starting", False), ("not_stopping", False)])
def test_pump_that_runs_and_builds_nothing_is_told_while_its_pads_seal(name: str, told: bool) -> None:
    part = circuit("B", state=S.BUILDING, pump_trouble=name)
    assert SIGNALS[f"pump_{name}"](facts(part), part) is told


def test_each_trouble_of_a_pump_has_a_signal_of_its_own() -> None:
    part = circuit("B", pump_trouble="not_building")
    assert SIGNALS["pump_not_starting"](facts(part), part) is False
    assert SIGNALS["pump_not_stopping"](facts(part), part) is False


@pytest.mark.parametrize(
    ("signal", "changes", "value"),
    [
        ("to_level_early_s", {"to_warning": None}, None),  # no projection yet
        ("to_level_early_s", {"leak": None, "to_warning": SOON}, math.inf),
        ("to_level_early_s", {"leak": TIGHT, "to_warning": SOON}, math.inf),  # no fall is established
        ("to_level_early_s", {"leak": FALLING, "to_warning": FAR}, math.inf),  # beyond the horizon
        ("reserve_early_s", {"reserve": None}, None),
        ("reserve_early_s", {"reserve": FAR}, math.inf),
        ("reserve_early_s", {"reserve": SOON}, 250.0),
        ("silent_s", {"age_s": None}, math.inf),  # the lifter is heard, this circuit never was
        ("lost_kpa", {"lost_kpa": 8.0, "state": S.NO_READING}, 8.0),  # a sudden loss was seen, whatever came after it
        ("lost_kpa", {"lost_kpa": 7.9, "state": S.NO_READING}, None),
        ("duty_ratio", {"duty_ratio": None}, 0.0),
    ],
)
def test_what_is_known_of_a_circuit(signal: str, changes: dict[str, Any], value: float | None) -> None:
    part = circuit("B", **changes)
    assert SIGNALS[signal](facts(part), part) == value


def test_circuit_of_a_lifter_that_was_never_heard_is_not_silent_for_ever_but_unknown() -> None:
    part = circuit("B", age_s=None)
    assert SIGNALS["silent_s"](facts(part, ever_heard=False), part) is None


@pytest.mark.parametrize(
    "signal", ["vacuum_kpa", "to_level_early_s", "silent_s", "lost_kpa", "pump_not_building", "duty_ratio"]
)
def test_signal_of_a_circuit_that_is_gone_from_the_site_file_is_unknown(signal: str) -> None:
    assert SIGNALS[signal](facts(), None) is None


OFF: dict[str, Any] = {"load_known": LoadKnown.OFF, "in_flight": False, "judged_kg": None}
"""The load is known to be off, and none is planned."""

NOT_QUITE_OFF: list[dict[str, Any]] = [
    OFF | {"load_known": LoadKnown.UNSURE},
    OFF | {"in_flight": True},
    OFF | {"judged_kg": 620.0},
]


@pytest.mark.parametrize(
    ("signal", "holds", "bare", "else_"),
    [
        ("margin_kg", holding(None), math.inf, None),
        ("worst_pad_ratio", holding(None, worst_pad=None), 0.0, None),
        ("if_lost_factor", holding(if_lost={"A": IfLost(1.4, 2.0)}), math.inf, None),
    ],
)
def test_what_a_load_asks_for_is_far_off_only_with_no_load_at_all(
    signal: str, holds: Any, bare: float, else_: float | None
) -> None:
    """A margin that cannot be worked out because a load is not known is no good margin."""
    assert SIGNALS[signal](facts(holding=holds, **OFF), None) == bare
    for changes in NOT_QUITE_OFF[:2]:
        assert SIGNALS[signal](facts(holding=holds, **changes), None) == else_


@pytest.mark.parametrize("signal", ["margin_kg", "worst_pad_ratio", "if_lost_factor"])
def test_without_pads_in_the_site_file_nothing_is_known_of_what_holds(signal: str) -> None:
    assert SIGNALS[signal](facts(holding=None, **OFF), None) is None


@pytest.mark.parametrize(("signal", "value"), [("margin_kg", 190.0), ("worst_pad_ratio", 0.7)])
def test_what_holds_is_told_while_circuits_are_heard(signal: str, value: float) -> None:
    assert SIGNALS[signal](facts(), None) == value
    assert SIGNALS[signal](facts(silent=True), None) is None


def test_planned_load_is_judged_before_the_pick_as_in_the_air() -> None:
    planned = OFF | {"judged_kg": 620.0}
    assert SIGNALS["margin_kg"](facts(holding=holding(-5.0), **planned), None) == -5.0


def test_factor_with_a_circuit_lost_is_the_least_of_those_asked_for() -> None:
    lost = {"A": IfLost(2.5, 2.0), "B": IfLost(1.7, 2.0), "C": IfLost(0.4, None)}
    assert SIGNALS["if_lost_factor"](facts(holding=holding(if_lost=lost)), None) == 1.7
    assert SIGNALS["if_lost_factor"](facts(holding=holding(if_lost={"C": IfLost(0.4, None)})), None) is None


@pytest.mark.parametrize(
    ("needed_kpa", "changes", "limit_kpa"),
    [
        (34.0, {}, 34.0),
        (34.0, OFF, 34.0),
        (None, OFF, -math.inf),  # nothing is asked of it: no vacuum is too low for that
        *((None, changes, None) for changes in NOT_QUITE_OFF),
    ],
)
def test_vacuum_needed_is_unknown_unless_it_is_worked_out_or_nothing_hangs(
    needed_kpa: float | None, changes: dict[str, Any], limit_kpa: float | None
) -> None:
    part = circuit("B", needed_kpa=needed_kpa)
    assert LIMITS["needed_kpa"](facts(part, **changes), part) == limit_kpa
    assert LIMITS["needed_kpa"](facts(**changes), None) == (-math.inf if changes == OFF else None)


@pytest.mark.parametrize(
    ("planned_kg", "largest_kg", "changes", "value_kg"),
    [
        (600.0, 650.0, {}, 650.0),
        (600.0, None, {}, None),  # not weighed yet
        (None, 650.0, {}, None),
        (600.0, 650.0, OFF, 650.0),  # what was lifted over the plan stays so while the record is open
        (600.0, None, OFF, 0.0),
        (None, 650.0, OFF, 0.0),
        (None, None, OFF | {"load_known": LoadKnown.UNSURE}, None),
        (None, None, OFF | {"in_flight": True}, None),
    ],
)
def test_load_against_the_plan_is_the_largest_of_this_lift(
    planned_kg: float | None, largest_kg: float | None, changes: dict[str, Any], value_kg: float | None
) -> None:
    given = facts(planned_kg=planned_kg, load=Load(largest_kg=largest_kg), **changes)
    assert SIGNALS["over_plan_kg"](given, None) == value_kg


@pytest.mark.parametrize(
    ("load_kg", "known", "value_kg"),
    [
        (None, LoadKnown.OFF, None),
        (0.0, LoadKnown.UNSURE, 0.0),
        (40.0, LoadKnown.ON, 40.0),
        (-40.0, LoadKnown.UNSURE, 40.0),  # the lifter leans on the panel: not off either
        (4.0, LoadKnown.OFF, 0.0),
    ],
)
def test_load_that_is_partly_on_counts_by_its_size(load_kg: float | None, known: LoadKnown, value_kg: float) -> None:
    assert SIGNALS["partly_on_kg"](facts(load_kg=load_kg, load_known=known), None) == value_kg


@pytest.mark.parametrize(
    ("battery_v", "to_low", "value_s"),
    [(25.0, SOON, 250.0), (25.0, FAR, math.inf), (25.0, None, math.inf), (None, SOON, None)],
)
def test_battery_that_is_not_heard_lasts_no_known_time(
    battery_v: float | None, to_low: Bounds | None, value_s: float | None
) -> None:
    assert SIGNALS["battery_early_s"](facts(battery_v=battery_v, battery_to_low=to_low), None) == value_s


@pytest.mark.parametrize(
    ("a", "b", "apart_kpa"),
    [
        ({}, {"vacuum_kpa": 54.0}, 10.0),
        ({"vacuum_kpa": 54.0}, {}, 10.0),
        ({}, {"state": S.NO_READING}, None),
        ({}, {"in_use": False}, None),  # nothing to compare it with
    ],
)
def test_circuits_are_compared_where_two_are_believed(
    a: dict[str, Any], b: dict[str, Any], apart_kpa: float | None
) -> None:
    assert SIGNALS["circuits_apart_kpa"](facts(circuit("A", **a), circuit("B", **b)), None) == apart_kpa


@pytest.mark.parametrize(
    ("believed_kpa", "apart_kpa"),
    [
        pytest.param((75.0, 59.6), None, id="just within the limit: the third may be further off"),
        pytest.param((75.0, 59.5), 15.5, id="apart whatever the third reads"),
        pytest.param((40.0, 75.0), 35.0, id="far apart"),
        pytest.param((75.0,), None, id="nothing to compare it with"),
        pytest.param((), None, id="none is believed"),
    ],
)
def test_circuit_that_is_not_believed_brings_the_others_no_nearer(
    believed_kpa: tuple[float, ...], apart_kpa: float | None
) -> None:
    """A quarter of the working level of 62 kPa is the limit."""
    heard = [circuit("A", id=f"A{n}", vacuum_kpa=kpa) for n, kpa in enumerate(believed_kpa)]
    three = facts(in_use=(*heard, circuit("A", id="C", state=S.NO_READING, vacuum_kpa=65.0)))
    assert LIMITS["apart_kpa"](three, None) == 15.5
    assert SIGNALS["circuits_apart_kpa"](three, None) == apart_kpa


@pytest.mark.parametrize(("limit_ratio", "limit"), [(0.3, 0.3), (0.0, 0.0), (None, math.inf)])
def test_duty_has_risen_in_no_lift_before_its_first_stroke(limit_ratio: float | None, limit: float) -> None:
    part = circuit("A", duty_limit_ratio=limit_ratio)
    assert LIMITS["duty_limit_ratio"](facts(part), part) == limit
    assert LIMITS["duty_limit_ratio"](facts(part), None) is None


def test_load_let_out_is_no_news_of_a_lifter_that_is_silent() -> None:
    let_out = [circuit(name, lost_kpa=20.0) for name in "AB"]
    assert SIGNALS["opens_under_load"](facts(*let_out), None) is True
    assert SIGNALS["opens_under_load"](facts(*let_out, silent=True), None) is None


LOST: dict[str, Any] = {"load_known": LoadKnown.UNSURE, "load_lost": True, "load_fresh": False, "load_kg": None}


@pytest.mark.parametrize(
    ("later", "known"),
    [
        (facts(), False),
        (facts(**LOST), None),
        (facts(circuit("A", state=S.NO_READING)), None),
        (facts(circuit("A", state=S.SENSOR_FAULT)), None),
        (facts(*[circuit(name, state=S.SENSOR_FAULT, lost_kpa=20.0) for name in "AB"]), None),
    ],
)
def test_release_is_over_only_while_load_and_circuits_are_heard(later: Facts, known: bool | None) -> None:
    assert SIGNALS["opens_under_load"](later, None) is known


def test_release_with_a_silent_cell_tells_the_load_it_is_judged_by() -> None:
    fast = [circuit(name, lost_kpa=20.0) for name in "AB"]
    assert SIGNALS["carried_kg"](facts(*fast, load_kg=455.0), None) == 455.0
    assert SIGNALS["carried_kg"](facts(*fast, **LOST), None) == 620.0


def test_lift_without_a_plan_is_never_over_it() -> None:
    assert LIMITS["over_plan_limit_kg"](facts(planned_kg=None), None) == math.inf
    assert LIMITS["over_plan_limit_kg"](facts(planned_kg=600.0), None) == 630.0
