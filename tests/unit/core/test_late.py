"""A reading that came after its time: what is filled in of it, when, and into which record."""

from typing import Any

import pytest

from monitor.core import late, lifter, summary
from monitor.core.events import FilledIn
from monitor.core.lifter import LifterState
from monitor.core.readings import CircuitReading, Reading
from monitor.core.sensors import Signal
from tests.histories import dock

NOW_S = 5000.0
BOTH = {"A": CircuitReading(61.0), "B": CircuitReading(62.0)}


def filled(
    one: LifterState | None = None, *, sent_utc_s: float | None = 90_000.0, lag_s: float | None = -85_100.0, **said: Any
) -> list[FilledIn]:
    """Stamped 90 000 by a clock 85 100 s ahead of the engine's: of 4900."""
    reading = Reading("dock-6", sent_utc_s=sent_utc_s, **{"circuits": BOTH, **said})
    return list(late.fill_in(one or lifter.begin(dock()), reading, lag_s, NOW_S))


def test_late_reading_is_told_at_the_time_of_its_stamp_by_the_engines_clock() -> None:
    assert filled() == [FilledIn("dock-6", 4900.0, (("A", 61.0), ("B", 62.0)))]


@pytest.mark.parametrize(
    ("when", "told"),
    [
        ({"lag_s": None}, False),  # nobody knows how far its clock is off
        ({"sent_utc_s": None}, False),
        ({"lag_s": -85_000.0}, True),  # just now
        ({"lag_s": -84_999.9}, False),  # of a time to come: its clock is wrong
    ],
)
def test_reading_of_no_known_time_or_of_one_to_come_fills_nothing_in(when: dict[str, Any], told: bool) -> None:
    assert bool(filled(**when)) is told


@pytest.mark.parametrize(
    ("circuits", "vacuums"),
    [
        ({"A": CircuitReading(gauges={"1": 61.0, "2": 58.0})}, (("A", 58.0),)),  # the weakest gauge counts
        ({"A": CircuitReading(61.0), "Z": CircuitReading(64.0)}, (("A", 61.0),)),  # no circuit of the site file
        ({"A": CircuitReading(pressure_abs_kpa=40.0)}, (("A", 98.2 - 40.0),)),  # from the cautious ambient of the site
    ],
)
def test_vacuum_is_taken_as_it_would_have_been_live(
    circuits: dict[str, CircuitReading], vacuums: tuple[tuple[str, float], ...]
) -> None:
    [told] = filled(lifter.begin(dock(ambient_kpa=101.2)), circuits=circuits)
    assert [name for name, _ in told.vacuums] == [name for name, _ in vacuums]
    assert [value for _, value in told.vacuums] == pytest.approx([value for _, value in vacuums])


@pytest.mark.parametrize(
    ("measured_s", "vacuum_kpa"),
    [
        pytest.param(NOW_S - 1.0, 99.0 - 40.0, id="measured a second ago"),
        pytest.param(NOW_S - 60.0, 98.2 - 40.0, id="a minute ago: the cautious one of the site"),
    ],
)
def test_vacuum_of_an_absolute_gauge_is_taken_from_the_ambient_known_now(measured_s: float, vacuum_kpa: float) -> None:
    one = lifter.begin(dock(ambient_kpa=101.2))
    one.signals["ambient_kpa"] = Signal(99.0, measured_s)
    [told] = filled(one, circuits={"A": CircuitReading(pressure_abs_kpa=40.0)})
    assert dict(told.vacuums) == {"A": pytest.approx(vacuum_kpa)}


@pytest.mark.parametrize("circuits", [{}, {"A": CircuitReading()}, {"Z": CircuitReading(64.0)}])
def test_reading_without_a_vacuum_of_this_lifter_tells_nothing(circuits: dict[str, CircuitReading]) -> None:
    assert filled(circuits=circuits) == []


@pytest.mark.parametrize(
    ("load_on_s", "load_off_s", "noted_n"),
    [(4800.0, None, 1), (4900.0, 4900.0, 1), (4950.0, None, 0), (4800.0, 4890.0, 0), (None, None, 0)],
)
def test_record_of_the_lift_takes_what_was_while_the_load_hung(
    load_on_s: float | None, load_off_s: float | None, noted_n: int
) -> None:
    one = lifter.begin(dock())
    one.log = summary.open_log("dock-6", ("A", "B"), 4700.0, utc_minus_now_s=0.0, version="test", time_to_land_s=240.0)
    one.log.load_on_s, one.log.load_off_s = load_on_s, load_off_s
    filled(one)
    assert [circuit.late_n for circuit in one.log.circuits.values()] == [noted_n, noted_n]
    assert one.log.circuits["A"].late_lowest_kpa == (61.0 if noted_n else None)
