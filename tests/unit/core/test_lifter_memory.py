"""What a lifter remembers between readings, and for how long: vacuums, the battery's trend, pads in use, friction."""

import pytest

from monitor.core import battery, lifter
from monitor.core.battery import BatteryTrend, Line
from monitor.core.config import Surface
from monitor.core.lifter import Plan
from tests.histories import dock
from tests.unit.core.test_lifter_readings import bare, hear, tell


@pytest.mark.parametrize("low_v", [23.0, None])
def test_battery_is_foreseen_by_its_trend_where_a_low_level_is_entered(low_v: float | None) -> None:
    """24 V that fall by 1/64 V/s are at 23 V in 64 s."""
    state = lifter.begin(bare(battery_low_v=low_v, projection_horizon_s=64.0))
    state.battery_trend = BatteryTrend(lines=(Line(100.0, 50.0, 24.0, 0.0, -0.015625, 0.0),))
    assert tell(state, 100.0).battery_to_low == (None if low_v is None else battery.Bounds(64.0, 64.0, 64.0))


@pytest.mark.parametrize(
    ("kpa", "rose"),
    [
        pytest.param([(0.0, 60.0), (1.0, 60.4)], False, id="noise"),
        pytest.param([(0.0, 60.0), (1.0, 60.5)], True, id="half a kilopascal"),
        pytest.param([(0.0, 60.0), (2.0, 60.5)], True, id="within two seconds"),
        pytest.param([(0.0, 60.0), (2.1, 60.5)], False, id="more than two seconds apart"),
        pytest.param([(0.0, 61.0), (1.0, 60.0), (1.5, 60.5)], True, id="above the lowest"),
        pytest.param([(0.0, 60.0), (1.0, 59.5)], False, id="a fall"),
    ],
)
def test_vacuum_rises_that_is_half_a_kilopascal_above_its_lowest_of_two_seconds(
    kpa: list[tuple[float, float]], rose: bool
) -> None:
    state = lifter.begin(bare())
    for now_s, value_kpa in kpa:
        hear(state, now_s, vacuum_kpa={"A": value_kpa, "B": 60.0})
    assert state.rose == {"A": rose, "B": False}


def test_no_more_than_sixty_four_readings_are_kept_of_two_seconds() -> None:
    state = lifter.begin(bare())
    for number in range(70):
        hear(state, number / 64.0, vacuum_kpa={"A": 60.0, "B": 60.0})
    assert len(state.recent["A"]) == 64
    hear(state, 3.0, vacuum_kpa={"A": 60.0, "B": 60.0})
    assert [at_s for at_s, _ in state.recent["A"]] == [number / 64.0 for number in range(64, 70)] + [3.0]


@pytest.mark.parametrize(
    ("plan", "used"),
    [
        (None, ("A", "B")),
        (Plan(), ("A", "B")),
        (Plan(pads=("B1", "B2")), ("B",)),
        (Plan(pads=("B1", "A1")), ("A", "B")),
    ],
)
def test_circuits_in_use_are_those_of_the_plans_pads_in_the_site_files_order(
    plan: Plan | None, used: tuple[str, ...]
) -> None:
    state = lifter.begin(dock())
    state.plan = plan
    assert lifter.used_circuits(state) == used


@pytest.mark.parametrize(("said", "told"), [(None, 0.4), (Surface.WET, 0.2), (Surface.DRY, 0.4)])
def test_friction_is_that_of_the_surface_said_last(said: Surface | None, told: float) -> None:
    state = lifter.begin(bare(friction=0.4))
    state.surface = said
    assert lifter.friction(state) == told


@pytest.mark.parametrize(
    ("ambient_at", "ambient_kpa", "height_m", "now_s", "taken_kpa"),
    [
        pytest.param("lifter", 99.5, 50.0, 3.0, 99.5, id="measured on the lifter"),
        pytest.param("lifter", 99.5, 50.0, 3.1, 98.0, id="and stale: 3 kPa lower, nothing hangs"),
        pytest.param("ground", 100.0, 50.0, 3.0, 99.4, id="on the ground, 0.6 kPa for 50 m"),
        pytest.param("ground", 100.0, -5.0, 3.0, 100.0, id="below its zero a hook gains nothing"),
        pytest.param("ground", 100.0, None, 3.0, 100.0, id="on the ground, no height, nothing hangs"),
        pytest.param("lifter", None, 50.0, 3.0, 97.4, id="not measured: 3 kPa lower, and the height"),
        pytest.param("lifter", None, 0.5, 3.0, 97.994, id="half a metre"),
    ],
)
def test_ambient_pressure_an_absolute_gauge_is_taken_from(
    ambient_at: str, ambient_kpa: float | None, height_m: float | None, now_s: float, taken_kpa: float
) -> None:
    """By a site of 101 kPa."""
    state = lifter.begin(bare(ambient_at=ambient_at, ambient_kpa=101.0))
    hear(state, 0.0, ambient_kpa=ambient_kpa, height_m=height_m)
    assert lifter.ambient_for_gauges_kpa(state, now_s) == pytest.approx(taken_kpa)


@pytest.mark.parametrize(("told_kpa", "kept"), [(106.0, True), (106.1, False), (60.0, True)])
def test_ambient_pressure_no_weather_makes_is_as_if_not_given(told_kpa: float, kept: bool) -> None:
    """5 kPa above the site's 101."""
    state = lifter.begin(bare(ambient_kpa=101.0))
    hear(state, 0.0, ambient_kpa=told_kpa)
    assert state.signals["ambient_kpa"].value == (told_kpa if kept else None)
    assert (state.witness.climb_from == "ambient") is kept
