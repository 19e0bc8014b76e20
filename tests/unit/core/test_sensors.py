"""Is a value to be believed? What is not believed never replaces what was, and never makes it look fresh."""

import numpy as np
import pytest

from monitor.core.readings import CircuitReading, Pump, Refusal
from monitor.core.sensors import (
    Gauge,
    Signal,
    forget_missing,
    freeze,
    is_doubted,
    is_stale,
    lowest_kpa,
    refusals_by_circuit,
    settle,
    stale_after_s,
    take,
)

NAN = Refusal("circuits.A.vacuum_kpa", "not_finite", "nan")


def feed(*values: float | None, gauge: Gauge | None = None, step_s: float = 0.1, from_s: float = 0.0) -> Gauge:
    """Vacuum readings one after another, ``None`` for one the wire refused."""
    gauge = gauge or Gauge()
    for number, value in enumerate(values):
        refusal = NAN if value is None else None
        now_s = from_s + number * step_s
        gauge = take(gauge, CircuitReading(value), now_s, ambient_kpa=101.3, refusal=refusal)
    return gauge


def feed_parts(*parts: CircuitReading, step_s: float = 0.1, gauge: Gauge | None = None, from_s: float = 0.0) -> Gauge:
    gauge = gauge or Gauge()
    for number, part in enumerate(parts):
        gauge = take(gauge, part, from_s + number * step_s, ambient_kpa=101.3, refusal=None)
    return gauge


# --- silence


@pytest.mark.parametrize(("age_s", "stale"), [(2.9, False), (3.0, False), (3.1, True)])
def test_no_reading_after_three_seconds(age_s: float, stale: bool) -> None:
    assert is_stale(feed(60.0), age_s, None) is stale


def test_never_heard_is_stale() -> None:
    assert is_stale(Gauge(), 0.0, None)


@pytest.mark.parametrize(
    ("interval_s", "after_s"),
    [(0.1, 3.0), (0.857, 3.0), (0.858, 3.003), (2.0, 7.0), (5.7, 19.95), (5.72, 20.0), (60.0, 20.0)],
)
def test_three_and_a_half_expected_intervals_between_three_and_twenty_seconds(
    interval_s: float, after_s: float
) -> None:
    assert stale_after_s(Gauge(), interval_s) == pytest.approx(after_s)


def test_interval_is_learned_where_none_is_configured() -> None:
    assert stale_after_s(feed(*[60.0] * 9, step_s=2.0), None) == pytest.approx(7.0)


def test_one_long_gap_teaches_no_longer_interval() -> None:
    gauge = feed(60.0, gauge=feed(*[60.0] * 9, step_s=0.2), from_s=100.0)
    assert stale_after_s(gauge, None) == 3.0


def test_other_quantities_go_stale_too() -> None:
    signal = Signal(25.0, 10.0)
    assert signal.fresh(13.0, 3.0) == 25.0
    assert signal.fresh(13.1, 3.0) is None


def test_circuit_left_out_of_a_reading_keeps_ageing() -> None:
    gauge = take(feed(60.0), CircuitReading(pump=Pump.OFF), 2.0, ambient_kpa=101.3, refusal=None)
    assert gauge.age_s(2.0) == 2.0


# --- refused values


def test_refused_value_never_replaces_nor_freshens_the_last_believed() -> None:
    gauge = feed(60.0, None, None)
    assert (gauge.vacuum_kpa, gauge.at_s, gauge.fault) == (60.0, 0.0, "not_finite")


def test_refused_value_is_a_fault_not_silence() -> None:
    gauge = feed(60.0, *[None] * 60)
    assert is_doubted(gauge, 6.0, None)
    assert gauge.fault_since_s == pytest.approx(0.1)


def test_after_refused_values_silence_is_silence() -> None:
    assert not is_doubted(feed(60.0, None), 3.2, None)


def test_believed_value_ends_the_fault_and_the_next_one_is_as_old_as_itself() -> None:
    gauge = feed(60.0, None, 60.1)
    assert (gauge.fault, gauge.fault_since_s) == (None, None)
    assert feed(None, gauge=gauge, from_s=9.0).fault_since_s == 9.0


@pytest.mark.parametrize(
    ("pattern", "n", "fault"),
    [
        ([60.0, None], 10, None),
        ([60.0, None], 60, "not_finite"),
        ([60.0, 60.0, None], 90, "not_finite"),
        ([60.0] * 4 + [None], 300, None),  # one in five, for ever
        ([60.0] * 19 + [None], 400, None),
    ],
)
def test_gauge_refused_more_often_than_every_fourth_time_is_broken_whatever_it_says_between(
    pattern: list[float | None], n: int, fault: str | None
) -> None:
    gauge = feed(*(pattern * n)[:n], 60.0)
    assert gauge.fault == fault
    assert gauge.vacuum_kpa == 60.0


def test_gauge_often_refused_is_believed_again_when_that_is_over_for_a_while() -> None:
    gauge = feed(*[60.0, None] * 30)
    assert feed(*[60.0] * 20, gauge=gauge, from_s=6.0).fault == "not_finite"
    later = feed(*[60.0] * 40, gauge=gauge, from_s=6.0)
    assert (later.fault, later.often_refused) == (None, False)
    assert feed(*[60.0] * 200, gauge=later, from_s=10.0).refused_ratio == 0.0


def test_fault_of_a_gauge_often_refused_lasts_from_when_it_began() -> None:
    gauge = feed(*[60.0, None] * 60)
    assert gauge.fault_since_s is not None
    assert gauge.fault_since_s < 3.0


def test_gauge_that_was_never_believed_knows_no_value() -> None:
    assert feed(None, None).vacuum_kpa is None


# --- jumps


@pytest.mark.parametrize(("step_kpa", "believed_kpa"), [(3.9, 63.9), (4.0, 64.0), (4.1, 60.0)])
def test_step_over_four_kilopascals_waits(step_kpa: float, believed_kpa: float) -> None:
    assert feed(60.0, 60.0 + step_kpa).vacuum_kpa == pytest.approx(believed_kpa)


def test_fall_that_goes_on_is_believed_with_the_second_reading() -> None:
    assert feed(60.0, 40.0, 38.0).vacuum_kpa == 38.0


def test_one_wild_value_is_forgotten() -> None:
    gauge = feed(60.0, 5.0, 60.1)
    assert (gauge.vacuum_kpa, gauge.pending_kpa) == (60.1, None)


def test_wild_values_to_both_sides_are_never_believed() -> None:
    assert feed(60.0, 20.0, 95.0, 20.0, 95.0).vacuum_kpa == 60.0


@pytest.mark.parametrize(("after_s", "believed_kpa"), [(0.9, 60.0), (1.0, 40.0), (1.1, 40.0)])
def test_fall_nobody_contradicts_is_believed_after_a_second(after_s: float, believed_kpa: float) -> None:
    gauge = feed(60.0, 40.0, step_s=1.0)
    assert settle(gauge, 1.0 + after_s).vacuum_kpa == believed_kpa


def test_jump_believed_late_keeps_the_age_of_its_reading() -> None:
    gauge = settle(feed(60.0, 40.0, step_s=1.0), 3.0)
    assert gauge.age_s(3.0) == 2.0


def test_refused_value_does_not_forget_a_fall_before_it() -> None:
    assert settle(feed(60.0, 40.0, None), 5.0).vacuum_kpa == 40.0


# --- several gauges, absolute gauges


def test_lowest_of_several_gauges_counts() -> None:
    assert feed_parts(CircuitReading(58.0, gauges={"1": 58.0, "2": 57.1})).vacuum_kpa == 57.1


@pytest.mark.parametrize(("apart_kpa", "fault"), [(2.9, None), (3.0, None), (3.1, "gauges_disagree")])
def test_gauges_more_than_three_kilopascals_apart_disagree(apart_kpa: float, fault: str | None) -> None:
    gauge = feed_parts(*[CircuitReading(gauges={"1": 60.0, "2": 60.0 - apart_kpa})] * 2)
    assert gauge.fault == fault
    assert gauge.vacuum_kpa == pytest.approx(60.0 - apart_kpa)


def test_one_wild_value_is_no_disagreement() -> None:
    even, wild = CircuitReading(gauges={"1": 60.0, "2": 60.0}), CircuitReading(gauges={"1": 60.0, "2": 80.0})
    assert feed_parts(even, wild).fault is None
    assert feed_parts(even, wild, even, wild).fault is None


def test_disagreement_lasts_from_when_it_began() -> None:
    apart = [CircuitReading(gauges={"1": 60.0, "2": 69.0})] * 100
    assert feed_parts(*apart).fault_since_s == pytest.approx(0.1)


def test_of_several_gauges_the_lowest_believed_counts_and_the_frozen_one_is_the_fault() -> None:
    moves = noisy(600, 0.1, 0.1)
    stops = [*noisy(200, 0.1, 0.1, 1), *[59.5] * 400]
    falls = [min(value, 60.0 - 0.01 * max(0, n - 200)) for n, value in enumerate(moves)]
    gauge = feed_parts(*[CircuitReading(gauges={"1": a, "2": b}) for a, b in zip(falls, stops, strict=True)][:400])
    assert (gauge.fault, gauge.vacuum_kpa) == ("frozen", falls[399])
    assert gauge.at_s == pytest.approx(39.9)


def test_of_several_gauges_the_other_counts_when_one_is_refused() -> None:
    refused = Refusal("circuits.A.gauges.1", "not_a_number", "'ERR'")
    gauge = take(feed(60.0), CircuitReading(gauges={"2": 57.0}), 1.0, ambient_kpa=101.3, refusal=refused)
    assert (gauge.fault, gauge.vacuum_kpa, gauge.at_s) == ("not_a_number", 57.0, 1.0)


def test_frozen_gauge_left_out_for_a_while_is_not_believed_again_for_that() -> None:
    flicker = noisy(60, 0.1, 0.05)
    parts = [CircuitReading(gauges={"1": value, "2": 63.0 + value - 60.0}) for value in flicker]
    frozen = feed_parts(
        *parts, *[CircuitReading(gauges={"1": 60.0, "2": 63.0 + v - 60.0}) for v in noisy(100, 0.1, 0.05)]
    )
    assert frozen.fault == "frozen"
    without = feed_parts(CircuitReading(gauges={"2": 63.0}), gauge=frozen, from_s=16.0)
    assert feed_parts(CircuitReading(gauges={"1": 60.0, "2": 63.1}), gauge=without, from_s=16.1).fault == "frozen"


def test_sender_that_invents_gauges_has_no_more_than_sixteen_remembered() -> None:
    gauge = feed_parts(*[CircuitReading(gauges={"1": 60.0, f"x{n}": 60.0}) for n in range(200)])
    assert len(gauge.last_heard) == 16
    assert len(gauge.stills) <= 18
    assert "1" in gauge.last_heard


@pytest.mark.parametrize(("values", "moved"), [([60.0] * 50, False), ([60.0] * 50 + [59.9], True), ([0.0, 64.0], True)])
def test_gauge_has_moved_once_it_was_seen_to_change(values: list[float], moved: bool) -> None:
    assert feed(*values).has_moved() is moved


def gauges(history: dict[str, list[float | None]], *, step_s: float = 0.5, gauge: Gauge | None = None) -> Gauge:
    """Several gauges of one circuit, reading after reading; ``None`` where one of them is left out."""
    gauge = gauge or Gauge()
    for number in range(max(map(len, history.values()))):
        said = {name: value for name, values in history.items() if (value := values[number]) is not None}
        now_s = number * step_s
        gauge = take(gauge, CircuitReading(gauges=said), now_s, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    return gauge


@pytest.mark.parametrize(("silent_n", "fault"), [(6, None), (7, "gauge_missing")])
def test_gauge_silent_over_three_seconds_beside_another_is_missed_and_its_last_value_counts(
    silent_n: int, fault: str | None
) -> None:
    gauge = gauges({"1": [60.0] * 9 + [None] * silent_n, "2": [62.0] * (9 + silent_n)})
    assert (gauge.fault, gauge.vacuum_kpa) == (fault, 60.0)


def in_turn(first: list[float], second: list[float], *, step_s: float = 0.5) -> list[Gauge]:
    """Two gauges of one circuit, now the one, now the other: what is remembered after each."""
    gauge, told = Gauge(), []
    said = [{name: value} for pair in zip(first, second, strict=True) for name, value in zip("12", pair, strict=True)]
    for number, one in enumerate(said):
        gauge = take(gauge, CircuitReading(gauges=one), number * step_s, ambient_kpa=101.3, refusal=None)
        told.append(gauge)
    return told


@pytest.mark.parametrize(("other_kpa", "fault"), [(61.0, None), (60.9, "gauges_disagree"), (20.0, "gauges_disagree")])
def test_of_gauges_that_come_in_turn_the_lowest_counts_and_they_may_disagree(
    other_kpa: float, fault: str | None
) -> None:
    for gauge in in_turn([64.0] * 9, [other_kpa] * 9)[5:]:
        assert (gauge.fault, gauge.vacuum_kpa) == (fault, other_kpa)


@pytest.mark.parametrize("kpa_per_s", [-12.0, -0.1, 0.1, 12.0])
def test_gauges_in_turn_of_a_circuit_that_is_drawn_down_or_let_go_agree(kpa_per_s: float) -> None:
    values = [30.0 + kpa_per_s * 0.1 * number for number in range(24)]
    for number, gauge in enumerate(in_turn(values[::2], values[1::2], step_s=0.1)):
        assert (gauge.fault, gauge.vacuum_kpa) == (None, min(values[max(0, number - 1) : number + 1]))
    assert {gauge.fault for gauge in in_turn(values[::2], values[1::2], step_s=1.5)} == {None}


@pytest.mark.parametrize("wild_n", range(4, 9))
def test_one_wild_value_of_gauges_in_turn_is_no_disagreement_and_does_not_count(wild_n: int) -> None:
    for wild_kpa in (0.0, 90.0):
        first = [64.0] * wild_n + [wild_kpa] + [64.0] * 8
        for gauge in in_turn(first, [63.0] * len(first))[1:]:
            assert (gauge.fault, gauge.vacuum_kpa) == (None, 63.0)


def test_disagreement_with_a_gauge_that_comes_seldom_lasts_between_its_values() -> None:
    seldom = ([50.0] + [None] * 3) * 6
    told = [gauges({"1": seldom[:n], "2": [60.0] * n}) for n in range(9, 25)]
    assert {(gauge.fault, gauge.vacuum_kpa) for gauge in told} == {("gauges_disagree", 50.0)}


def stroke(seldom_n: int) -> Gauge:
    """A pump lifts a circuit by 6 kPa in 3 s while the load hangs: gauge 2 says so ten times a second, 1 more seldom."""
    truth = [60.0] * 100 + [60.0 + 0.2 * n for n in range(30)] + [66.0] * 200
    gauge = Gauge()
    for number, kpa in enumerate(truth):
        said = {"2": kpa} | ({"1": kpa} if number % seldom_n == 0 else {})
        part = CircuitReading(gauges=said, pump=Pump.ON if 100 <= number < 130 else Pump.OFF)
        gauge = take(gauge, part, 0.1 * number, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    return gauge


@pytest.mark.parametrize("seldom_n", [1, 5, 20, 50, 70])
def test_gauge_that_comes_seldom_beside_a_quick_one_has_not_jumped_after_a_stroke(seldom_n: int) -> None:
    assert (stroke(seldom_n).fault, stroke(seldom_n).vacuum_kpa) == (None, 66.0)


def test_frozen_gauge_in_turn_with_another_is_a_fault_whichever_was_heard_last() -> None:
    gauge = freeze(in_turn([64.0] * 5, [60.0, 60.1] * 2 + [60.0])[-1], ("1",), 5.0)
    for number, part in enumerate([{"2": 60.1}, {"1": 64.0}, {"2": 60.0}]):
        gauge = take(gauge, CircuitReading(gauges=part), 5.5 + number, ambient_kpa=101.3, refusal=None)
        assert gauge.fault == "frozen"
    assert gauge.vacuum_kpa == 60.0


def test_absolute_gauge_in_turn_with_another_is_held_against_it_by_the_ambient() -> None:
    gauge = Gauge()
    for number in range(9):
        part = CircuitReading(60.0) if number % 2 else CircuitReading(pressure_abs_kpa=50.3)
        gauge = take(gauge, part, number * 0.5, ambient_kpa=101.3, refusal=None)
    assert (gauge.fault, gauge.vacuum_kpa) == ("gauges_disagree", pytest.approx(51.0))


def test_missing_gauge_that_is_forgotten_leaves_nothing_of_itself() -> None:
    before = feed_parts(*[CircuitReading(gauges={"1": 60.0, "2": 61.0})] * 2)
    alone = feed_parts(*[CircuitReading(gauges={"1": 60.0})] * 60, gauge=before, from_s=0.5, step_s=0.5)
    assert alone.fault == "gauge_missing"
    forgotten = forget_missing(alone)
    assert (set(forgotten.last_heard), set(forgotten.stills)) == ({"1"}, {"1"})
    assert feed_parts(CircuitReading(gauges={"1": 60.0}), gauge=forgotten, from_s=31.0).fault is None


def test_gauges_first_heard_together_are_each_missed() -> None:
    before = feed_parts(*[CircuitReading(gauges={"1": 60.0, "2": 61.0, "3": 62.0})] * 2)
    assert set(before.last_heard) == {"1", "2", "3"}


def test_missing_gauge_that_is_heard_again_is_missed_no_more() -> None:
    gauge = gauges({"1": [60.0] * 9 + [None] * 20 + [62.0] * 2, "2": [62.0] * 31})
    assert (gauge.fault, gauge.vacuum_kpa) == (None, 62.0)


def test_what_the_others_say_counts_where_it_is_lower_than_a_missing_gauge() -> None:
    gauge = gauges({"1": [60.0] * 9 + [None] * 20, "2": [62.0] * 20 + [61.0, 60.0, 59.0, 58.0, *[57.0] * 5]})
    assert (gauge.fault, gauge.vacuum_kpa) == ("gauge_missing", 57.0)


def test_one_wild_last_value_of_a_missing_gauge_does_not_count() -> None:
    gauge = gauges({"1": [60.0] * 9 + [0.0] + [None] * 20, "2": [62.0] * 30})
    assert (gauge.fault, gauge.vacuum_kpa) == ("gauge_missing", 60.0)


def test_gauge_that_always_comes_seldom_is_not_missed_before_its_own_time() -> None:
    seldom = ([60.0] + [None] * 9) * 6  # every 5 s beside one every half second
    told = [gauges({"1": seldom[:n], "2": [60.5] * n}).fault for n in range(1, 61)]
    assert set(told) == {None}
    assert gauges({"1": seldom + [None] * 30, "2": [60.5] * 90}).fault == "gauge_missing"  # over 3.5 of its intervals


def test_gauges_that_come_back_one_after_the_other_when_all_were_silent_are_not_missed() -> None:
    before = gauges({"1": [60.0] * 9, "2": [60.5] * 9})
    alone = take(before, CircuitReading(gauges={"2": 60.5}), 60.0, ambient_kpa=101.3, refusal=None)
    both = take(alone, CircuitReading(gauges={"1": 60.0}), 61.0, ambient_kpa=101.3, refusal=None)
    assert (alone.fault, both.fault) == (None, None)


def test_sender_that_tells_its_lowest_gauge_misses_none_whichever_it_is() -> None:
    gauge = Gauge()
    for number in range(40):  # its own vacuum is rounded, and now and then the same as a gauge
        part = CircuitReading(60.0, gauges={"1": 60.0 if number > 5 else 60.04, "2": 61.0})
        gauge = take(gauge, part, number * 0.5, ambient_kpa=101.3, refusal=None)
        assert gauge.fault is None


def test_missing_absolute_gauge_counts_by_the_ambient_of_now() -> None:
    gauge = Gauge()
    for number in range(40):
        part = CircuitReading(62.0, pressure_abs_kpa=41.3 if number < 9 else None)
        gauge = take(gauge, part, number * 0.5, ambient_kpa=101.3, refusal=None)
    assert (gauge.fault, gauge.vacuum_kpa) == ("gauge_missing", pytest.approx(60.0))


def test_absolute_gauge_is_taken_from_ambient() -> None:
    assert feed_parts(CircuitReading(pressure_abs_kpa=41.3)).vacuum_kpa == pytest.approx(60.0)


@pytest.mark.parametrize("by_kpa", [-9.0, 9.0])
def test_other_ambient_pressure_is_no_jump_of_an_absolute_gauge(by_kpa: float) -> None:
    """The ambient reading falls silent, or comes again: the vacuum is another at once, and nothing is wrong with the gauge."""
    gauge = Gauge()
    for number, ambient_kpa in enumerate([100.0] * 5 + [100.0 + by_kpa] * 5):
        part = CircuitReading(pressure_abs_kpa=40.0, pump=Pump.OFF)
        measured = (number < 5) is (by_kpa < 0.0)
        gauge = take(
            gauge,
            part,
            0.2 * number,
            ambient_kpa=ambient_kpa,
            ambient_measured=measured,
            refusal=None,
            rise_bounded=True,
        )
        assert (gauge.fault, gauge.vacuum_kpa) == (None, ambient_kpa - 40.0)


@pytest.mark.parametrize(("wild_n", "fault"), [(1, None), (5, "jumped")])
def test_ambient_reading_that_jumps_makes_no_vacuum(wild_n: int, fault: str | None) -> None:
    """One wild value is none; a sensor that steps up and stays would lift a circuit that is nearly gone over its level."""
    gauge = Gauge()
    for number, ambient_kpa in enumerate([100.0] * 5 + [109.0] * wild_n + [100.0] * (wild_n == 1)):
        part = CircuitReading(pressure_abs_kpa=50.0, pump=Pump.OFF)
        more = {"ambient_kpa": ambient_kpa, "ambient_measured": True, "rise_bounded": True}
        gauge = take(gauge, part, 0.2 * number, refusal=None, **more)
        assert gauge.vacuum_kpa == 50.0
    assert gauge.fault == fault


def test_jump_of_an_absolute_gauge_itself_is_one_whatever_the_ambient_does() -> None:
    gauge = Gauge()
    for number, (ambient_kpa, abs_kpa) in enumerate([(100.0, 50.0)] * 5 + [(91.0, 31.0)] * 5):
        part = CircuitReading(pressure_abs_kpa=abs_kpa, pump=Pump.OFF)
        more = {"ambient_kpa": ambient_kpa, "ambient_measured": number < 5, "rise_bounded": True}
        gauge = take(gauge, part, 0.2 * number, refusal=None, **more)
    assert gauge.fault == "jumped"


def test_absolute_gauge_is_followed_by_what_it_says_itself() -> None:
    gauge = Gauge()
    for number, kpa in enumerate([*(101.3 - value for value in noisy(300, 0.1, 0.1)), *[41.3] * 200]):
        ambient_kpa = 101.3 + 0.01 * (number % 3)  # an ambient that flickers moves no frozen gauge
        gauge = take(gauge, CircuitReading(pressure_abs_kpa=kpa), number * 0.1, ambient_kpa=ambient_kpa, refusal=None)
    assert gauge.fault == "frozen"


# --- frozen


def noisy(n: int, sd_kpa: float, quantum_kpa: float, seed: int = 0, *, about_kpa: float = 60.0) -> list[float]:
    values = about_kpa + sd_kpa * np.random.default_rng(seed).standard_normal(n)
    return [float(value) for value in np.round(values / quantum_kpa) * quantum_kpa]


def test_gauge_that_stops_flickering_is_frozen() -> None:
    gauge = feed(*noisy(200, 0.1, 0.1), *[60.0] * 100)
    assert gauge.fault == "frozen"


def test_fault_of_a_frozen_gauge_began_when_it_was_found() -> None:
    values = noisy(60, 0.1, 0.05)
    gauge = feed(*values, *[values[-1]] * 60)
    assert gauge.fault == "frozen"
    assert gauge.fault_since_s is not None
    assert 8.0 < gauge.fault_since_s < 11.9


def test_frozen_value_ages() -> None:
    gauge = feed(*noisy(200, 0.1, 0.1), *[60.0] * 200)
    now_s = 39.9
    assert is_doubted(gauge, now_s, None)
    assert is_stale(gauge, now_s, None)


def test_flickering_gauge_is_never_called_frozen() -> None:
    for seed in range(20):
        gauge = Gauge()
        for number, value in enumerate(noisy(3000, 0.1, 0.1, seed)):
            gauge = feed(value, gauge=gauge, from_s=number * 0.1)
            assert gauge.fault is None


def test_coarse_gauge_on_a_good_seal_may_stand_still() -> None:
    assert feed(*noisy(200, 0.1, 0.5), *[60.0] * 3000).fault is None


def test_gauge_without_noise_may_stand_still_and_step() -> None:
    stairs = [60.0 - 0.1 * (number // 100) for number in range(3000)]
    assert feed(*stairs).fault is None


def test_standstill_under_three_seconds_is_no_fault() -> None:
    assert feed(*noisy(200, 0.1, 0.1), *[60.0] * 25).fault is None


@pytest.mark.parametrize("wild_kpa", [[95.0], [5.0], [62.5], [95.0, 60.0, 95.0]])
def test_wild_values_are_not_noise(wild_kpa: list[float]) -> None:
    flicker = noisy(
        600, 0.02, 0.1, about_kpa=60.05
    )  # between two neighbouring steps at most: it may well stand still afterwards
    assert feed(*flicker, *wild_kpa, *[60.0] * 200).fault is None


def test_wild_value_first_of_all_is_not_noise() -> None:
    assert feed(60.0, 95.0, *noisy(600, 0.02, 0.1, about_kpa=60.05), *[60.0] * 200).fault is None


def test_thawed_gauge_is_believed_after_three_changes() -> None:
    frozen = feed(*noisy(200, 0.1, 0.1), *[60.0] * 100)
    first, second, third = 60.2, 59.9, 60.1
    assert feed(first, second, gauge=frozen, from_s=30.0).fault == "frozen"
    assert feed(first, second, third, gauge=frozen, from_s=30.0).fault is None


@pytest.mark.parametrize(("waited_s", "doubted"), [(3.0, True), (3.1, False)])
def test_fault_is_a_doubt_while_readings_come(waited_s: float, doubted: bool) -> None:
    assert is_doubted(feed(60.0, None, step_s=0.5), 0.5 + waited_s, None) is doubted


# --- noise far above its own history


@pytest.mark.parametrize("rate_hz", [1.0, 10.0])
@pytest.mark.parametrize(("sd_kpa", "fault"), [(0.08, None), (0.2, None), (1.0, "noisy"), (4.0, "noisy")])
def test_noise_far_above_its_own_history_is_a_fault(sd_kpa: float, fault: str | None, rate_hz: float) -> None:
    gauge = feed(*noisy(600, 0.08, 0.1), *noisy(200, sd_kpa, 0.1, 1), step_s=1.0 / rate_hz)
    assert gauge.fault == fault


def test_gauge_that_was_always_noisy_has_no_fault() -> None:
    gauge = Gauge()
    for number, value in enumerate(noisy(3000, 0.6, 0.1)):
        gauge = feed(value, gauge=gauge, from_s=number * 0.1)
        assert gauge.fault is None


def test_noise_is_a_fault_within_a_few_seconds_and_over_soon_after_it_ends() -> None:
    loud = feed(*noisy(600, 0.08, 0.1), *noisy(60, 1.5, 0.1, 1))
    assert loud.fault == "noisy"
    assert feed(*noisy(60, 0.08, 0.1, 2), gauge=loud, from_s=66.0).fault is None


def test_wild_readings_and_quick_slopes_are_no_noise() -> None:
    for seed in range(20):
        rng = np.random.default_rng(seed)
        slope = np.concatenate([np.full(600, 60.0), np.linspace(60.0, 66.0, 40), np.linspace(66.0, 0.0, 30)])
        values = np.round(slope + 0.08 * rng.standard_normal(slope.size), 1)
        values[rng.random(slope.size) < 0.02] = rng.uniform(0.0, 95.0)
        gauge = Gauge()
        for number, value in enumerate(values):
            gauge = feed(float(value), gauge=gauge, from_s=number * 0.1)
            assert gauge.fault is None


# --- a jump up that no pump makes


def hang(*values: float, pump: Pump | None = Pump.OFF, step_s: float = 0.2, gauge: Gauge | None = None) -> Gauge:
    """Readings while the load hangs, after a minute at 60 kPa."""
    gauge = gauge or feed(*[60.0] * 60, step_s=1.0)
    from_s = (gauge.heard_s or 0.0) + step_s
    for number, value in enumerate(values):
        part = CircuitReading(value, pump=pump)
        gauge = take(gauge, part, from_s + number * step_s, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    return gauge


@pytest.mark.parametrize(
    ("pump", "to_kpa", "fault"),
    [
        (Pump.OFF, 64.0, None),  # exactly what a jump may be
        (Pump.OFF, 64.1, "jumped"),
        (Pump.ON, 69.0, None),  # 4 kPa and 25 kPa a second over 0.2 s
        (Pump.ON, 74.1, "jumped"),
        (None, 69.0, None),
        (None, 74.1, "jumped"),
    ],
)
def test_rise_faster_than_any_pump_is_a_fault(pump: Pump | None, to_kpa: float, fault: str | None) -> None:
    gauge = hang(60.0, to_kpa, to_kpa, to_kpa, pump=pump)
    assert gauge.fault == fault
    assert gauge.vacuum_kpa == (60.0 if fault else to_kpa)


def test_fall_is_always_possible() -> None:
    gauge = hang(60.0, 3.0, 3.0)
    assert (gauge.vacuum_kpa, gauge.fault) == (3.0, None)


def test_one_wild_reading_up_is_no_jump() -> None:
    assert hang(60.0, 90.0, 60.0, 60.1).fault is None


def test_jump_is_a_fault_however_long_it_lasts_and_whatever_else_comes() -> None:
    gauge = hang(*[69.0] * 100, 95.0, 69.0, 20.0, *[69.0] * 300)
    assert (gauge.fault, gauge.vacuum_kpa) == ("jumped", 60.0)
    assert is_stale(gauge, gauge.heard_s or 0.0, None)


def test_jumped_gauge_that_slides_back_is_not_believed() -> None:
    slide = [69.0 - 0.02 * number for number in range(900)]
    assert hang(69.0, *slide).fault == "jumped"


@pytest.mark.parametrize("back_kpa", [[60.2, 60.1], [55.0, 54.9]])
def test_jump_back_is_believed_once_two_readings_agree(back_kpa: list[float]) -> None:
    high = hang(*[69.0] * 100)
    assert hang(back_kpa[0], gauge=high).fault == "jumped"
    assert (hang(*back_kpa, gauge=high).vacuum_kpa, hang(*back_kpa, gauge=high).fault) == (back_kpa[1], None)


def test_fall_after_a_jump_is_believed_after_a_second_of_silence() -> None:
    gauge = hang(2.0, gauge=hang(*[69.0] * 20))
    assert settle(gauge, (gauge.heard_s or 0.0) + 1.0).vacuum_kpa == 2.0


def test_two_wild_falls_do_not_make_the_way_back_a_fault() -> None:
    gauge = hang(60.0, 5.0, 8.0, 60.0, 60.1)
    assert (gauge.vacuum_kpa, gauge.fault) == (60.1, None)


def test_gauge_that_was_seen_to_fall_does_not_jump_back() -> None:
    """A sender that repeats an old value: green on it would hide a circuit that is nearly gone."""
    slide = [60.0 - 0.2 * number for number in range(50)]
    assert hang(*slide, 60.0, 60.0).fault == "jumped"


def test_rise_after_a_gap_or_by_a_slow_sender_is_no_fault() -> None:
    assert hang(60.0, 66.0, 66.0, step_s=3.5).fault is None
    assert hang(60.0, 66.0, 66.0, step_s=1.5).fault is None


def test_landed_the_vacuum_may_come_from_a_tank() -> None:
    high = hang(*[69.0] * 20)
    assert feed(69.0, 69.0, gauge=high, from_s=(high.heard_s or 0.0) + 0.2).fault is None


# --- which circuit a refusal belongs to


def test_refusals_are_found_by_circuit() -> None:
    refused = (
        Refusal("load_kg", "not_finite", "nan"),
        Refusal("circuits.A.vacuum_kpa", "out_of_range", "400"),
        Refusal("circuits.B", "wrong_shape", "7"),
        Refusal("circuits.C.gauges.2", "not_a_number", "'x'"),
        Refusal("circuits.D.pump", "not_known", "'maybe'"),
    )
    assert set(refusals_by_circuit(refused)) == {"A", "B", "C"}


# --- found to stand still, and what the pump did


def test_gauge_found_to_stand_still_is_a_fault_until_it_moves_and_the_other_gauge_counts() -> None:
    both = feed_parts(CircuitReading(60.0, gauges={"1": 60.0, "2": 60.5}))
    stuck = freeze(both, ("1",), 7.0)
    assert (stuck.fault, stuck.fault_since_s) == ("frozen", 7.0)
    assert {name: still.frozen for name, still in stuck.stills.items()} == {"1": True, "2": False}
    assert stuck.vacuum_kpa == 60.0
    twice = freeze(stuck, ("2",), 9.0)
    assert {name: still.frozen for name, still in twice.stills.items()} == {"1": True, "2": True}
    assert twice.fault_since_s == 7.0  # a fault that goes on is as old as it was


def test_stroke_of_a_pump_is_its_start_and_its_stop_and_the_last_two_are_kept() -> None:
    states = [None, Pump.OFF, Pump.ON, None, Pump.OFF, Pump.ON, Pump.ON, Pump.OFF, Pump.OFF, Pump.ON, Pump.OFF]
    parts = [CircuitReading(60.0, pump=state) for state in states]
    one = feed_parts(*parts[:5], step_s=1.0)
    assert (one.pump, one.pump_started_s, one.pump_stopped_s) == (Pump.OFF, 2.0, 4.0)
    assert one.strokes == ((2.0, 4.0),)
    assert feed_parts(*parts, step_s=1.0).strokes == ((5.0, 7.0), (9.0, 10.0))


@pytest.mark.parametrize("first", [Pump.ON, Pump.OFF])
def test_pump_first_heard_of_has_neither_started_nor_stopped(first: Pump) -> None:
    heard = feed_parts(CircuitReading(60.0, pump=first))
    assert (heard.pump, heard.pump_started_s, heard.pump_stopped_s, heard.strokes) == (first, None, None, ())
    stopped = feed_parts(CircuitReading(60.0, pump=Pump.OFF), gauge=heard, from_s=3.0)
    assert stopped.strokes == ()  # it ran before anybody listened: since when is not known


@pytest.mark.parametrize(
    ("part", "kpa"),
    [
        (CircuitReading(60.0, gauges={"1": 61.0, "2": 58.5}), 58.5),
        (CircuitReading(57.0, gauges={"1": 61.0}), 57.0),
        (CircuitReading(pressure_abs_kpa=41.3), 60.0),
        (CircuitReading(), None),
    ],
)
def test_weakest_of_what_a_circuit_says_is_its_vacuum(part: CircuitReading, kpa: float | None) -> None:
    assert lowest_kpa(part, 101.3) == pytest.approx(kpa)


# --- by the interval the site file names, and what a fault leaves as it was


@pytest.mark.parametrize(("now_s", "over"), [(16.9, False), (17.0, False), (17.1, True)])
def test_configured_interval_tells_silence_and_doubt_apart(now_s: float, over: bool) -> None:
    heard = feed(60.0, from_s=10.0)
    assert is_stale(heard, now_s, 2.0) is over
    assert is_doubted(feed(None, gauge=heard, from_s=10.0), now_s, 2.0) is not over


def test_never_heard_has_no_age() -> None:
    assert Gauge().age_s(5.0) is None
    assert feed(60.0, from_s=2.0).age_s(5.0) == 3.0


def test_fall_that_nobody_contradicts_is_believed_and_the_fault_beside_it_stays() -> None:
    fell = feed(60.0, 50.0, None)
    assert (fell.vacuum_kpa, fell.fault) == (60.0, "not_finite")
    since_s = fell.fault_since_s
    assert since_s == pytest.approx(0.2)
    settled = settle(fell, 1.2)
    assert (settled.vacuum_kpa, settled.fault, settled.fault_since_s) == (50.0, "not_finite", since_s)


def hanging(*values_kpa: float) -> Gauge:
    """A gauge at 60 kPa with its pump off and the load on, then these values."""
    gauge = Gauge()
    for number, value_kpa in enumerate((60.0, 60.0, *values_kpa)):
        part = CircuitReading(value_kpa, pump=Pump.OFF)
        gauge = take(gauge, part, 0.1 * number, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    return gauge


@pytest.mark.parametrize(
    ("values_kpa", "fault", "vacuum_kpa"),
    [
        ((80.0, 80.0), "jumped", 60.0),
        ((80.0, 80.0, 64.0, 64.0), None, 64.0),  # back to within a jump of what was believed, twice
        ((80.0, 80.0, 64.0), "jumped", 60.0),  # once is not enough
        ((80.0, 80.0, 64.1, 64.1), "jumped", 60.0),
        ((68.0, 68.0, 64.0, 64.0), "jumped", 60.0),  # slid by no more than a jump
        ((80.0, 80.0, 76.0, 72.0, 68.0, 64.0, 60.0, 60.0), "jumped", 60.0),  # slid all the way
        ((80.0, 80.0, 64.5, 62.0, 62.0), None, 62.0),  # one wild value between changes nothing
        ((80.0, 80.0, 62.0, 80.0, 62.0), "jumped", 60.0),  # back for one reading only, and again
        ((80.0, 80.0, 58.0, 80.0, 58.0), "jumped", 60.0),  # also from below what was believed
    ],
)
def test_after_a_rise_beyond_physics_only_a_jump_back_is_believed(
    values_kpa: tuple[float, ...], fault: str | None, vacuum_kpa: float
) -> None:
    gauge = hanging(*values_kpa)
    assert (gauge.fault, gauge.vacuum_kpa) == (fault, vacuum_kpa)


# --- more than any pump makes


def capped(*parts: CircuitReading, step_s: float = 0.5) -> Gauge:
    """A gauge that has read 60 kPa, then these readings; no pump makes more than 95 kPa."""
    gauge = Gauge()
    for number, part in enumerate((CircuitReading(60.0), *parts)):
        gauge = take(gauge, part, step_s * number, ambient_kpa=101.3, refusal=None, most_kpa=95.0)
    return gauge


@pytest.mark.parametrize(
    ("values_kpa", "fault"),
    [
        ((95.1,), None),  # one wild value says nothing
        ((95.1, 95.1), None),
        ((95.1, 95.1, 95.1), "out_of_range"),  # a second's worth is a fault
        ((95.0, 95.0, 95.0), None),  # just what a pump may make
        ((95.1, 95.1, 60.0, 95.1, 95.1), None),  # the second begins anew
    ],
)
def test_vacuum_that_no_pump_makes_is_a_fault_after_a_second(values_kpa: tuple[float, ...], fault: str | None) -> None:
    gauge = capped(*[CircuitReading(value_kpa) for value_kpa in values_kpa])
    assert gauge.fault == fault
    assert gauge.vacuum_kpa == (95.0 if 95.1 not in values_kpa else 60.0)


def test_gauge_beyond_what_a_pump_makes_is_a_fault_and_the_other_one_counts() -> None:
    gauge = capped(CircuitReading(59.0, gauges={"1": 59.0, "2": 98.0}))
    assert (gauge.fault, gauge.vacuum_kpa) == ("out_of_range", 59.0)
    assert gauge.apart_kpa is None  # one gauge is left, and is not apart from itself


def test_jump_to_the_very_value_believed_is_none() -> None:
    assert feed(60.0, 70.0, 60.0, 70.0).vacuum_kpa == 60.0


@pytest.mark.parametrize(("other_kpa", "kpa"), [(64.1, 64.1), (55.9, 60.0)])
def test_jump_is_believed_when_the_next_lies_on_its_side(other_kpa: float, kpa: float) -> None:
    assert feed(60.0, 64.05, other_kpa).vacuum_kpa == kpa


def test_first_refusal_of_a_circuit_is_the_one_that_is_told() -> None:
    late = Refusal("circuits.A", "not_a_table", "7")
    assert refusals_by_circuit((NAN, late)) == {"A": NAN}


@pytest.mark.parametrize(("after_s", "fault"), [(2.9, "jumped"), (3.0, "jumped"), (3.1, None)])
def test_rise_after_three_seconds_of_silence_is_nobodys_fault(after_s: float, fault: str | None) -> None:
    """What happened unheard may have been a pump that nobody saw; up to then it made 25 kPa a second at most."""
    gauge = feed_parts(CircuitReading(5.0, pump=Pump.OFF))
    for at_s in (after_s, after_s):
        gauge = take(gauge, CircuitReading(90.0), at_s, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    assert gauge.fault == fault


# --- both sides of what no pump makes


def read(*values: tuple[float, float], pump: Pump | None = Pump.OFF, gauge: Gauge | None = None) -> Gauge:
    """Readings under load, each with its time."""
    gauge = gauge or Gauge()
    for at_s, value_kpa in values:
        part = CircuitReading(value_kpa, pump=pump)
        gauge = take(gauge, part, at_s, ambient_kpa=101.3, refusal=None, rise_bounded=True)
    return gauge


@pytest.mark.parametrize(("to_kpa", "fault"), [(76.5, None), (76.6, "jumped")])
def test_running_pump_raises_by_a_jump_and_twenty_five_a_second_at_most(to_kpa: float, fault: str | None) -> None:
    assert read((0.0, 60.0), (0.25, to_kpa), (0.5, to_kpa), pump=Pump.ON).fault == fault


@pytest.mark.parametrize(("at_s", "fault"), [(1.0, "jumped"), (1.125, None)])
def test_resting_pump_may_have_run_unseen_for_more_than_a_second(at_s: float, fault: str | None) -> None:
    assert read((0.0, 60.0), (0.5, 70.0), (at_s, 70.0)).fault == fault


FALLEN = ((0.0, 60.0), (0.25, 50.0), (0.5, 50.0))  # believed at 0.5 s


@pytest.mark.parametrize(("to_kpa", "fault"), [(64.0, None), (64.1, "jumped")])
def test_way_back_from_a_jump_down_is_no_fault_up_to_a_jump_above_it(to_kpa: float, fault: str | None) -> None:
    assert read(*FALLEN, (0.75, to_kpa), (1.0, to_kpa)).fault == fault


@pytest.mark.parametrize(("back_s", "fault"), [(5.5, None), (5.75, "jumped")])
def test_way_back_from_a_jump_down_is_no_fault_for_five_seconds(back_s: float, fault: str | None) -> None:
    low = [(0.75 + 0.25 * n, 50.0) for n in range(17)]  # to 4.75 s
    assert read(*FALLEN, *low, (back_s - 0.25, 60.0), (back_s, 60.0)).fault == fault


def test_of_jumps_down_one_after_another_the_way_back_is_to_the_first_and_from_it_on() -> None:
    further = [(0.75 + 0.25 * n, 40.0) for n in range(19)]  # to 5.25 s
    assert read(*FALLEN, *further[:2], (1.25, 60.0), (1.5, 60.0)).fault is None
    assert read(*FALLEN, *further, (5.5, 60.0), (5.75, 60.0)).fault == "jumped"


def test_jump_is_a_fault_since_it_was_confirmed() -> None:
    assert read((0.0, 60.0), (0.25, 90.0), (0.5, 90.0), (0.75, 90.0)).fault_since_s == 0.5


def test_after_a_jump_back_the_gauge_is_followed_as_ever() -> None:
    back = read((0.0, 60.0), (0.25, 90.0), (0.5, 90.0), (0.75, 61.0), (1.0, 61.0))
    later = read((1.25, 59.0), (1.5, 57.0), gauge=back)
    assert (later.fault, later.vacuum_kpa, later.at_s) == (None, 57.0, 1.5)
