"""What of a lift goes into the trends over many: the steady leak, pump-down, open reading and gauges apart."""

import pytest

from monitor.core.condition import Condition, note_condition
from monitor.core.duty import Duty, note_duty
from monitor.core.facts import CircuitState, Facts
from monitor.core.readings import Pump
from tests.unit.core.made import FALLING, NOW_S, TIGHT, circuit, facts


def flight(**changes: object) -> Condition:
    """Two instants of half a second in flight, the second changed."""
    found = Condition()
    note_condition(found, circuit(leak=FALLING, vacuum_kpa=60.0), facts(), NOW_S, 0.5)
    note_condition(found, circuit(**{"leak": FALLING, "vacuum_kpa": 58.0, **changes}), facts(), NOW_S + 0.5, 0.5)
    return found


def test_steady_leak_and_its_level_are_means_over_the_time_known() -> None:
    found = flight()
    assert found.steady_leak_kpa_per_min() == pytest.approx(2.0)
    assert found.steady_at_kpa() == pytest.approx(59.0)
    assert found.leak_s == 1.0


@pytest.mark.parametrize("changes", [{"pump": Pump.ON}, {"to_warning": None}, {"leak": None}])
def test_leak_counts_only_with_the_pump_off_and_the_projection_known(changes: dict[str, object]) -> None:
    assert flight(**changes).leak_s == 0.5


def test_lift_whose_leak_was_never_known_has_none() -> None:
    assert Condition().steady_leak_kpa_per_min() is None
    assert Condition().steady_at_kpa() is None


def pumped(*vacuums_kpa: float, in_flight: bool = False) -> Condition:
    """One vacuum a second on the ground."""
    found, ground = Condition(), facts(in_flight=in_flight)
    for n, vacuum_kpa in enumerate(vacuums_kpa):
        note_condition(
            found, circuit(vacuum_kpa=vacuum_kpa, leak=TIGHT, state=CircuitState.BUILDING), ground, NOW_S + n, 1.0
        )
    return found


def test_pump_down_runs_from_ten_kpa_to_the_warning_level() -> None:
    assert pumped(4.0, 10.0, 30.0, 51.9, 52.0, 60.0).pump_down_s == 3.0


def test_pad_that_slipped_off_is_timed_anew() -> None:
    assert pumped(12.0, 30.0, 2.0, 10.0, 52.0).pump_down_s == 1.0


@pytest.mark.parametrize("vacuums", [(60.0, 61.0), (12.0, 40.0)])
def test_pump_down_not_seen_whole_is_not_known(vacuums: tuple[float, ...]) -> None:
    assert pumped(*vacuums).pump_down_s is None


def test_reading_when_open_is_the_last_one() -> None:
    found, ground = Condition(), facts(in_flight=False)
    for vacuum_kpa in (0.4, 0.3):
        note_condition(found, circuit(vacuum_kpa=vacuum_kpa, state=CircuitState.OPEN), ground, NOW_S, 1.0)
    assert found.open_kpa == 0.3


@pytest.mark.parametrize(
    ("from_s", "took_s", "pump", "told_s"),
    [
        (None, None, Pump.ON, 0.0),
        (NOW_S - 40.0, None, Pump.ON, 40.0),  # it still builds
        (NOW_S - 40.0, None, Pump.OFF, 0.0),
        (NOW_S - 40.0, None, None, 0.0),  # a pump that does not report is not timed by now
        (NOW_S - 40.0, 25.0, Pump.ON, 25.0),
        (None, 25.0, None, 25.0),
    ],
)
def test_pump_down_is_timed_by_now_while_the_pump_says_it_runs(
    from_s: float | None, took_s: float | None, pump: Pump | None, told_s: float
) -> None:
    assert Condition(building_from_s=from_s, pump_down_s=took_s).pumping_down_s(pump, NOW_S) == told_s


def test_means_are_per_second_known() -> None:
    found = Condition(leak_s=4.0, leak_sum_kpa=2.0, level_sum_kpa_s=240.0)
    assert found.steady_leak_kpa_per_min() == 0.5
    assert found.steady_at_kpa() == 60.0
    assert found.gauges_apart_kpa() is None


def test_duty_of_the_pump_is_noted_with_every_instant() -> None:
    found, expected = Condition(), Duty()
    for n, (pump, vacuum_kpa) in enumerate([(Pump.OFF, 60.0), (Pump.ON, 58.0), (Pump.ON, 63.0), (Pump.OFF, 64.0)] * 3):
        note_condition(found, circuit(pump=pump, vacuum_kpa=vacuum_kpa), facts(), NOW_S + n, 1.0)
        note_duty(expected, pump, vacuum_kpa, 52.0, NOW_S + n)
    assert found.duty == expected
    assert found.duty.last_ratio == 0.5  # two seconds of four


def test_gauges_apart_is_their_mean_difference() -> None:
    found = Condition()
    given: Facts = facts()
    for apart_kpa in (0.2, 0.4, None):
        note_condition(found, circuit(gauges_apart_kpa=apart_kpa), given, NOW_S, 1.0)
    assert found.gauges_apart_kpa() == pytest.approx(0.3)
