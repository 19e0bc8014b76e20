"""What a lifter remembers between readings, and for how long: vacuums, the battery's trend, pads in use, friction."""

from typing import Any

import pytest

from monitor.core import battery, lifter
from monitor.core.battery import BatteryTrend, Line
from monitor.core.config import Surface
from monitor.core.leak import LeakSample
from monitor.core.lifter import LifterState, Plan
from monitor.core.load import Load
from monitor.core.readings import CircuitReading, Pump, Reading
from tests.histories import dock
from tests.unit.core.test_lifter_readings import bare, hear, seconds, tell


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
        pytest.param([(0.0, 60.0), (1.0, 60.0), (2.5, 60.5)], True, id="above the second, the first is older"),
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
        pytest.param("lifter", 99.5, 50.0, 20.0, 99.5, id="measured on the lifter"),
        pytest.param("lifter", 99.5, 50.0, 20.1, 98.0, id="and stale: 3 kPa lower, nothing hangs"),
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


# --- what one reading is taken for


def take(state: LifterState, now_s: float, circuits: dict[str, CircuitReading], **said: Any) -> None:
    lifter.take(state, Reading("dock-6", circuits, **said), now_s)


def test_absolute_gauge_is_taken_from_the_ambient_pressure_of_its_reading() -> None:
    state = lifter.begin(bare())
    take(state, 0.0, {"A": CircuitReading(pressure_abs_kpa=40.0)}, ambient_kpa=100.0)
    assert state.gauges["A"].vacuum_kpa == 60.0


def test_circuit_is_heard_though_the_one_before_it_is_left_out() -> None:
    state = lifter.begin(bare())
    take(state, 1.0, {"B": CircuitReading(60.0, pump=Pump.ON)}, battery_v=24.0)
    assert (state.gauges["A"].at_s, state.gauges["B"].vacuum_kpa) == (None, 60.0)
    assert (state.pump_watches["B"].pump, state.pump_watches["B"].mark_s) == (Pump.ON, 1.0)
    assert state.battery_trend.sums[2] == 1.0  # as with a pump on
    take(state, 2.0, {"B": CircuitReading(60.0, pump=Pump.OFF)}, battery_v=24.0)
    assert state.battery_trend.sums[2] == 1.0


def test_jump_that_waits_is_no_value_of_late() -> None:
    state = lifter.begin(bare())
    take(state, 0.0, {"A": CircuitReading(64.0)})
    take(state, 0.5, {"A": CircuitReading(40.0)})
    assert state.recent["A"] == ((0.0, 64.0),)


@pytest.mark.parametrize(("ambient_at", "ambient_kpa"), [("lifter", 100.0), ("ground", None)])
def test_leak_is_followed_by_what_was_measured_on_the_lifter(
    ambient_at: str, ambient_kpa: float | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A value in doubt is none: two gauges that disagree twice."""
    samples: list[LeakSample] = []
    monkeypatch.setattr(lifter.leak, "advance", lambda leaks, sample, _now_s: samples.append(sample) or leaks)
    state = lifter.begin(bare(ambient_at=ambient_at))
    circuits = {"A": CircuitReading(gauges={"1": 60.0, "2": 50.0}), "B": CircuitReading(61.0, pump=Pump.OFF)}
    for now_s in (0.0, 0.5):
        take(state, now_s, circuits, ambient_kpa=100.0, height_m=20.0, temperature_c=14.0)
    assert samples[-1] == LeakSample(
        vacuum_kpa={"A": None, "B": 61.0},
        pump={"A": None, "B": Pump.OFF},
        ambient_kpa=ambient_kpa,
        height_m=20.0,
    )


def test_last_three_heights_are_kept() -> None:
    state = lifter.begin(bare())
    for number in range(5):
        hear(state, float(number), height_m=float(number))
    assert state.witness.heights_m == (2.0, 3.0, 4.0)


def test_silence_a_circuit_may_have_is_by_the_interval_of_the_site_file() -> None:
    state = lifter.begin(bare(expected_interval_s=5.0))
    hear(state, *seconds(0.0, 3.0, 1.0))
    assert state.stale_s == {"A": 17.5, "B": 17.5}


def test_leak_of_a_running_pump_is_that_of_its_last_rest_while_it_is_known() -> None:
    state = lifter.begin(bare())
    hear(state, *seconds(0.0, 60.0, 1.0), vacuum_kpa={"A": 60.0, "B": 60.0}, pump=Pump.OFF)
    hear(state, *seconds(61.0, 70.0, 1.0), vacuum_kpa={"A": 60.0, "B": 60.0}, pump=Pump.ON)
    leak = tell(state, 70.0).circuits["A"].leak
    assert leak is not None
    assert leak.leak_kpa_per_min is not None
    assert "seal_test" in leak.assumed


# --- gauges of one circuit that fall silent


def gauges(state: LifterState, *times_s: float, **named: float) -> None:
    for now_s in times_s:
        take(
            state, now_s, {"A": CircuitReading(gauges={key.strip("_"): kpa for key, kpa in named.items()})}, load_kg=0.0
        )


def test_one_gauge_silent_for_longer_than_the_slow_lifters_readings_last_is_missing() -> None:
    state = lifter.begin(bare(expected_interval_s=5.0))
    gauges(state, *seconds(0.0, 50.0, 5.0), _1=64.0, _2=64.0)
    gauges(state, *seconds(55.0, 65.0, 5.0), _1=64.0)
    assert state.gauges["A"].fault is None
    gauges(state, *seconds(70.0, 90.0, 5.0), _1=64.0)
    assert state.gauges["A"].fault == "gauge_missing"


def test_gauge_silent_for_a_moment_over_open_pads_is_remembered() -> None:
    state = lifter.begin(bare())
    gauges(state, *seconds(0.0, 5.0), _1=1.0, _2=1.0)
    gauges(state, 5.5, 6.0, _1=1.0)
    assert set(state.gauges["A"].last_heard) == {"1", "2"}


def test_gauge_that_is_missing_is_not_forgotten_for_one_wild_reading_of_the_other() -> None:
    state = lifter.begin(bare())
    gauges(state, *seconds(0.0, 5.0), _1=64.0, _2=64.0)
    gauges(state, *seconds(5.5, 40.0), _1=64.0)
    assert state.gauges["A"].fault == "gauge_missing"
    gauges(state, 40.5, _1=1.0)
    assert set(state.gauges["A"].last_heard) == {"1", "2"}
    gauges(state, 41.0, _1=1.0)  # and is open by the second one
    assert set(state.gauges["A"].last_heard) == {"1"}


def test_absolute_gauge_left_shows_open_pads_too() -> None:
    state = lifter.begin(bare())
    both = {"A": CircuitReading(gauges={"1": 1.0}, pressure_abs_kpa=99.0)}
    for now_s in seconds(0.0, 40.0):
        one = {"A": CircuitReading(pressure_abs_kpa=99.0)}
        take(state, now_s, both if now_s <= 5.0 else one, load_kg=0.0, ambient_kpa=100.0)
    assert state.gauges["A"].fault is None
    assert set(state.gauges["A"].last_heard) == {"absolute"}


# --- what time alone does


@pytest.mark.parametrize(
    ("load", "loaded"),
    [
        pytest.param(Load(net_kg=600.0, at_s=9.0, above_since_s=1.0), True, id="on"),
        pytest.param(Load(net_kg=0.0, at_s=9.0), False, id="off"),
        pytest.param(Load(net_kg=600.0, at_s=6.0, above_since_s=1.0), None, id="silent"),
        pytest.param(Load(), None, id="never heard"),
    ],
)
def test_gauges_are_held_against_the_load_while_it_is_heard(
    load: Load, loaded: bool | None, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[dict[str, Any]] = []

    def look(*_given: Any, **named: Any) -> dict[str, tuple[str, ...]]:
        seen.append(named)
        return {"B": ("",)}

    monkeypatch.setattr(lifter.moved, "look", look)
    state = lifter.begin(bare())
    state.load = load
    lifter.settle(state, 10.0)
    assert seen[0]["loaded"] is loaded
    assert (state.gauges["B"].fault, state.gauges["B"].fault_since_s, state.gauges["A"].fault) == ("frozen", 10.0, None)
