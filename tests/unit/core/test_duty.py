"""A pump's strokes by themselves: how much of its time it runs, and from when that has risen."""

import pytest

from monitor.core.duty import Duty, note_duty
from monitor.core.readings import Pump

WARNING_KPA = 52.0


def noted(
    *turns: tuple[float, str], vacuum_kpa: float = 60.0, until_s: float | None = None, every_s: float = 1.0
) -> Duty:
    """A pump that is told each second to run or not, from each of these times on."""
    duty = Duty()
    ends_s = [at_s for at_s, _ in turns[1:]] + [turns[-1][0] + 1.0 if until_s is None else until_s]
    for (at_s, pump), end_s in zip(turns, ends_s, strict=True):
        now_s = at_s
        while now_s < end_s:
            note_duty(duty, Pump(pump), vacuum_kpa, WARNING_KPA, now_s)
            now_s += every_s
    return duty


def strokes(*ran_s: float, apart_s: float = 100.0) -> Duty:
    """Strokes begun ``apart_s`` from one another, each so long; one more begins after the last."""
    turns = [(0.0, "off")]
    for number, one_s in enumerate(ran_s):
        turns += [(10.0 + number * apart_s, "on"), (10.0 + number * apart_s + one_s, "off")]
    return noted(*turns, (10.0 + len(ran_s) * apart_s, "on"))


def test_duty_is_running_time_over_the_time_from_start_to_start() -> None:
    duty = strokes(20.0)
    assert (duty.first_ratio, duty.last_ratio, duty.steady_ratio) == (0.2, 0.2, None)


def test_one_long_stroke_is_no_rise_and_two_are() -> None:
    assert strokes(20.0, 60.0).steady_ratio == 0.2
    duty = strokes(20.0, 60.0, 50.0)
    assert (duty.first_ratio, duty.last_ratio, duty.steady_ratio) == (0.2, 0.5, 0.5)


@pytest.mark.parametrize(("ran_s", "limit"), [(20.0, 0.4), (8.0, 0.16), (5.0, 0.13)])
def test_duty_has_risen_at_twice_the_first_and_eight_hundredths_more(ran_s: float, limit: float) -> None:
    assert strokes(ran_s).limit_ratio() == pytest.approx(limit)


def test_before_the_first_stroke_is_over_nothing_is_known() -> None:
    assert noted((0.0, "off"), (10.0, "on"), (30.0, "off"), until_s=90.0).limit_ratio() is None


def test_pump_that_runs_when_it_is_first_heard_began_nobody_knows_when() -> None:
    assert noted((0.0, "on"), (20.0, "off"), (100.0, "on")).first_ratio is None


@pytest.mark.parametrize(("vacuum_kpa", "counts"), [(26.0, True), (25.9, False)])
def test_pump_down_from_under_half_the_warning_level_is_no_stroke(vacuum_kpa: float, counts: bool) -> None:
    duty = noted((0.0, "off"), (10.0, "on"), (30.0, "off"), (110.0, "on"), vacuum_kpa=vacuum_kpa)
    assert (duty.first_ratio is not None) is counts


@pytest.mark.parametrize(("every_s", "counts"), [(3.0, True), (3.5, False)])
def test_silence_in_which_a_stroke_may_have_been_missed_begins_the_count_anew(every_s: float, counts: bool) -> None:
    duty = noted((0.0, "off"), (10.0, "on"), (30.0, "off"), (110.0, "on"), every_s=every_s)
    assert (duty.first_ratio is not None) is counts


def test_pump_that_is_not_told_of_begins_the_count_anew() -> None:
    duty = noted((0.0, "off"), (10.0, "on"), (30.0, "off"))
    note_duty(duty, None, 60.0, WARNING_KPA, 31.0)
    note_duty(duty, Pump.OFF, 60.0, WARNING_KPA, 32.0)
    note_duty(duty, Pump.ON, 60.0, WARNING_KPA, 33.0)
    assert duty.first_ratio is None
