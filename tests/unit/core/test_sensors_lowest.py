"""A vacuum told beside a circuit's named gauges: the sender's lowest, or a gauge of its own that may fall silent."""

import pytest

from monitor.core.readings import CircuitReading, Pump
from monitor.core.sensors import Gauge, take


def heard(*lowest_kpa, from_s=0.0, gauge=None):
    """One message a second from two gauges that both move, with the lowest as told or not told."""
    gauge = gauge or Gauge()
    for number, lowest in enumerate(lowest_kpa):
        now_s = from_s + number
        move = 0.1 * (number % 3)
        told = 64.0 + move if lowest == "same" else lowest if lowest is None else lowest + move
        reading = CircuitReading(vacuum_kpa=told, gauges={"front": 64.0 + move, "rear": 65.0 + move})
        gauge = take(gauge, reading, now_s, ambient_kpa=101.3, refusal=None)
    return gauge


@pytest.mark.parametrize(
    ("first", "then", "fault"),
    [
        ("same", None, None),  # it only repeated the front gauge
        (63.0, None, "gauge_missing"),
        (63.0, 63.0, None),
        (63.0, "same", None),  # it is told, though the front gauge says the same just now
    ],
)
def test_lowest_that_is_no_longer_told_is_missing_only_if_it_was_a_gauge_of_its_own(first, then, fault):
    gauge = heard(*[then] * 30, from_s=30.0, gauge=heard(*[first] * 30))
    assert gauge.fault == fault
    assert ("" in gauge.last_heard) is (first != "same")


def test_gauge_that_falls_silent_counts_with_what_it_said_last():
    gauge = heard(*[63.0] * 30)
    gauge = heard(*["same"] * 9, from_s=30.0, gauge=gauge)
    gauge = heard(*[None] * 30, from_s=39.0, gauge=gauge)
    assert gauge.fault == "gauge_missing"
    assert gauge.vacuum_kpa == pytest.approx(64.0, abs=0.3)


def test_gauge_that_jumped_back_is_believed_again_wherever_its_pump_takes_it():
    gauge = Gauge()
    values_kpa = [60.0] * 30 + [80.0] * 5 + [60.0] * 5 + [60.0 + 0.1 * n for n in range(180)]
    for number, kpa in enumerate(values_kpa):
        part = CircuitReading(vacuum_kpa=kpa, pump=Pump.ON)
        gauge = take(gauge, part, 0.1 * number, ambient_kpa=101.3, refusal=None, rise_bounded=True)
        if number == 34:
            assert gauge.fault == "jumped"
    assert (gauge.fault, gauge.vacuum_kpa) == (None, pytest.approx(77.9))


def test_last_value_of_a_silent_gauge_counts_for_nothing_where_all_that_are_heard_are_not_believed():
    gauge = heard(*[None] * 30)
    for number in range(20):  # the rear gauge falls silent, the front one reads more than any pump makes
        part = CircuitReading(vacuum_kpa=None, gauges={"front": 120.0})
        gauge = take(gauge, part, 30.0 + number, ambient_kpa=101.3, refusal=None, most_kpa=98.0)
    assert (gauge.fault, gauge.at_s, gauge.vacuum_kpa) == ("out_of_range", 29.0, pytest.approx(64.2))
