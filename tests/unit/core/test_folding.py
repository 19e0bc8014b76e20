"""One cause, one line; many at once, one line that names the first."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.alarm_table import ALARMS, Priority
from monitor.core.alarms import RULES, Alarm, Board, State
from monitor.core.folding import Fold, fold
from monitor.core.status import AlarmTold, alarms_told
from monitor.words.english import TEMPLATES

T0 = 1000.0
UNACK, ACK, LATCHED = State.UNACKNOWLEDGED, State.ACKNOWLEDGED, State.LATCHED_ACKNOWLEDGED


def told(*raised: tuple[str, str, float], **changes: object) -> tuple[AlarmTold, ...]:
    """Alarms by key, circuit and when they were raised, in the order an alarm list has them."""
    board = Board()
    for number, (key, about, since_s) in enumerate(raised, start=1):
        made = Alarm(state=UNACK, raising_n=number, since_s=since_s)
        board.alarms[about, key] = replace(made, **changes)  # type: ignore[arg-type]
    return alarms_told("dock-6", board, T0 + 600.0, 0.0)


def lines(*raised: tuple[str, str, float]) -> dict[str, set[str]]:
    """The leading alarms and what is folded under each."""
    return {line.lead.key: {alarm.key for alarm in line.under} for line in fold(told(*raised))}


def test_circuit_lost_suddenly_is_one_line() -> None:
    raised = [("sudden_loss", "B", T0), ("vacuum_low", "B", T0 + 0.5), ("margin_gone", "", T0 + 90.0)]
    assert lines(*raised) == {"sudden_loss": {"vacuum_low", "margin_gone"}}


def test_consequence_raised_before_its_cause_is_folded_all_the_same() -> None:
    assert lines(("vacuum_low", "B", T0), ("sudden_loss", "B", T0 + 0.3)) == {"sudden_loss": {"vacuum_low"}}


def test_two_circuits_are_two_causes() -> None:
    raised = [("losing_vacuum", "A", T0), ("losing_vacuum", "B", T0), ("vacuum_low", "B", T0 + 100.0)]
    assert [(f.lead.about, [a.key for a in f.under]) for f in fold(told(*raised))] == [("A", []), ("B", ["vacuum_low"])]


def test_cause_of_the_whole_lifter_leads_those_of_its_circuits() -> None:
    raised = [("broker_lost", "", T0), ("no_reading", "A", T0 + 3.0), ("no_reading", "B", T0 + 3.0)]
    assert lines(*raised) == {"broker_lost": {"no_reading"}}


def test_first_cause_is_found_through_others() -> None:
    raised = [("battery_low", "", T0), ("pump_not_starting", "B", T0 + 70.0), ("losing_vacuum", "B", T0 + 140.0)]
    assert lines(*raised) == {"battery_low": {"pump_not_starting", "losing_vacuum"}}


def test_silence_of_every_circuit_at_once_is_one_line() -> None:
    [line] = fold(told(("no_reading", "A", T0), ("no_reading", "B", T0 + 2.0)))
    assert (line.lead.about, len(line.under)) == ("A", 1)
    assert len(fold(told(("no_reading", "A", T0), ("no_reading", "B", T0 + 2.1)))) == 2


@pytest.mark.parametrize(("over_s", "lines_n"), [(99.9, 2), (100.0, 1)])
def test_cause_that_is_over_still_explains_what_came_while_it_stood(over_s: float, lines_n: int) -> None:
    cause, effect = told(("losing_vacuum", "B", T0), ("reserve_short", "B", T0 + 100.0))
    cause = replace(cause, state=State.RETURNED_UNACKNOWLEDGED, over_utc_s=T0 + over_s)
    assert len(fold((cause, effect))) == lines_n


def test_every_circuit_lost_at_once_is_one_line() -> None:
    [line] = fold(told(("sudden_loss", "A", T0), ("sudden_loss", "B", T0 + 2.0), ("vacuum_low", "B", T0 + 2.0)))
    assert (line.lead.about, len(line.under)) == ("A", 2)


def test_old_alarm_that_is_over_explains_nothing_new() -> None:
    [old] = told(("losing_vacuum", "B", T0), state=LATCHED)
    [new] = told(("vacuum_low", "B", T0 + 61.0))
    new = replace(new, raising="dock-6/B/vacuum_low/2")
    assert len(fold([old, new])) == 2
    assert len(fold([old, replace(new, since_utc_s=T0 + 60.0)])) == 1
    assert len(fold([replace(old, state=ACK), new])) == 1


@pytest.mark.parametrize("flag", ["shelved", "suppressed", "out_of_service"])
def test_what_is_set_aside_neither_explains_nor_is_explained(flag: str) -> None:
    cause, effect = told(("losing_vacuum", "B", T0), ("vacuum_low", "B", T0 + 70.0))
    assert len(fold([cause, effect])) == 1
    assert len(fold([replace(cause, **{flag: True}), effect])) == 2
    assert len(fold([cause, replace(effect, **{flag: True})])) == 2
    assert len(fold([replace(cause, **{flag: True}), replace(effect, **{flag: True})])) == 1  # with its like it is


@pytest.mark.parametrize("flag", ["shelved", "suppressed", "out_of_service"])
def test_what_is_set_aside_is_no_part_of_a_flood(flag: str) -> None:
    raised = told(*[(key, about, T0 + n) for n, (key, about) in enumerate(UNLIKE[:4])])
    assert len(fold(raised)) == 1
    assert len(fold([replace(raised[0], **{flag: True}), *raised[1:]])) == 4


UNLIKE = [
    ("wind_over_limit", ""),
    ("clock_wrong", ""),
    ("over_plan", ""),
    ("circuits_disagree", ""),
    ("broker_lost", ""),
]


def test_fourth_alarm_within_a_minute_folds_them_into_one_line_naming_the_first() -> None:
    at_s = [T0, T0 + 20.0, T0 + 40.0, T0 + 60.0]
    raised = [(key, about, since_s) for (key, about), since_s in zip(UNLIKE, at_s, strict=False)]
    assert len(lines(*raised[:3])) == 3
    [line] = fold(told(*raised))
    assert (line.lead.key, line.flood, len(line.under)) == ("wind_over_limit", True, 3)


def test_fourth_alarm_after_more_than_a_minute_does_not() -> None:
    at_s = [T0, T0 + 20.0, T0 + 40.0, T0 + 60.1]
    assert len(fold(told(*[(k, a, s) for (k, a), s in zip(UNLIKE, at_s, strict=False)]))) == 4


def test_flood_goes_on_with_the_fifth_and_takes_what_is_folded_with_it() -> None:
    raised = [(key, about, T0 + 15.0 * n) for n, (key, about) in enumerate(UNLIKE)]
    raised.append(("over_wll", "", T0 + 300.0))  # explains over_plan, which is swept up
    [line] = fold(told(*raised))
    assert (line.lead.key, len(line.under)) == ("over_wll", 5)


def test_flood_is_named_by_the_first_of_its_gravest_causes() -> None:
    raised = [("clock_wrong", "", T0), ("load_not_all_off", "", T0 + 1.0), ("margin_gone", "", T0 + 2.0)]
    raised.append(("lifter_alarm", "", T0 + 3.0))
    [line] = fold(told(*raised))
    assert line.lead.key == "margin_gone"


def test_alarm_long_after_a_flood_is_its_own_line() -> None:
    raised = [(key, about, T0 + 15.0 * n) for n, (key, about) in enumerate(UNLIKE)]
    raised.append(("battery_low", "", T0 + 300.0))
    assert {line.lead.key for line in fold(told(*raised))} == {"wind_over_limit", "battery_low"}


def test_alarm_long_before_a_flood_is_its_own_line() -> None:
    raised = [("battery_low", "", T0 - 300.0), *[(key, about, T0 + 15.0 * n) for n, (key, about) in enumerate(UNLIKE)]]
    assert {line.lead.key for line in fold(told(*raised))} == {"wind_over_limit", "battery_low"}


def test_four_of_one_cause_are_still_named_by_it() -> None:
    raised = [
        ("vacuum_low", "B", T0),
        ("sudden_loss", "B", T0),
        ("vacuum_critical", "B", T0 + 1),
        ("margin_gone", "", T0 + 2),
    ]
    [line] = fold(told(*raised))
    assert line.lead.key == "sudden_loss"


def test_line_is_as_urgent_as_its_most_urgent_alarm() -> None:
    lead, under = told(("battery_low", "", T0), ("no_reading", "B", T0))
    line = Fold(lead, (replace(under, priority=Priority.HIGH),))
    assert line.priority is Priority.HIGH
    assert Fold(lead).priority is lead.priority


def test_line_says_how_many_more() -> None:
    lead, under = told(("battery_low", "", T0), ("no_reading", "B", T0))
    assert Fold(lead).text is None
    one, flood = Fold(lead, (under,)).text, Fold(lead, (under,), flood=True).text
    assert one is not None
    assert flood is not None
    assert (one.key, one.values["alarms_n"]) == ("fold.more", 1)
    assert (flood.key, flood.values["alarms_n"]) == ("fold.flood", 2)
    assert {one.key, flood.key} <= set(TEMPLATES)


@pytest.mark.parametrize("seed", range(200))
def test_every_alarm_is_in_exactly_one_line_whatever_there_is(seed: int) -> None:
    rng = np.random.default_rng(seed)
    raised = []
    for rule in rng.permutation(np.array(ALARMS, dtype=object))[: rng.integers(0, 12)]:
        abouts = ("A", "B") if rule.per_circuit else ("",)
        raised += [(rule.key, about, T0 + float(rng.uniform(0.0, 300.0))) for about in abouts]
    alarms = told(*raised)
    alarms = tuple(
        replace(a, state=rng.choice([UNACK, ACK, LATCHED]), shelved=bool(rng.random() < 0.1)) for a in alarms
    )
    folded = fold(alarms)
    assert sorted(a.raising for line in folded for a in line.all) == sorted(a.raising for a in alarms)
    assert sum(line.flood for line in folded) <= 1


# --- the table


def test_explanations_are_declared_alarms() -> None:
    for rule in ALARMS:
        assert set(rule.led_by) <= set(RULES)
        assert rule.key not in rule.led_by or rule.per_circuit
        assert len(set(rule.led_by)) == len(rule.led_by)


def test_no_alarm_explains_itself_in_the_end() -> None:
    def causes(key: str, seen: tuple[str, ...] = ()) -> None:
        assert key not in seen, (*seen, key)
        for other in set(RULES[key].led_by) - {key}:
            causes(other, (*seen, key))

    for key in RULES:
        causes(key)
