"""One circuit's state: worst first, both sides of each level, and noise at a level is no recovery."""

from dataclasses import replace

import pytest

from monitor.core.circuits import judge, levels_kpa, open_kpa
from monitor.core.facts import CircuitState
from monitor.core.phases import IN_FLIGHT, Phase
from monitor.core.warning_time import Bounds
from tests.unit.core.made import FALLING, FAR, LIFTER, TIGHT

CONFIG = LIFTER.circuits["A"]  # warning level 52 kPa
S = CircuitState


def state(vacuum_kpa: float | None = 64.0, **changes: object) -> CircuitState:
    given: dict[str, object] = {
        "config": CONFIG,
        "vacuum_kpa": vacuum_kpa,
        "stale": False,
        "fault": None,
        "needed_kpa": 34.0,
        "leak": TIGHT,
        "to_warning": FAR,
        "losing_horizon_s": 1200.0,
        "phase": Phase.CARRYING,
        "sealed": True,
        "in_flight": True,
    }
    return judge(**{**given, **changes})  # type: ignore[arg-type]


def test_fresh_believed_and_above_its_levels_holds() -> None:
    assert state() is S.HOLDING


@pytest.mark.parametrize("vacuum_kpa", [64.0, 40.0, 0.0, None])
@pytest.mark.parametrize("fault", [None, "frozen"])
def test_stale_is_no_reading_whatever_it_was(vacuum_kpa: float | None, fault: str | None) -> None:
    assert state(vacuum_kpa, stale=True, fault=fault) is S.NO_READING


def test_never_believed_is_no_reading() -> None:
    assert state(None) is S.NO_READING


@pytest.mark.parametrize("vacuum_kpa", [64.0, 40.0, 0.0])
@pytest.mark.parametrize("in_flight", [True, False])
def test_fault_is_never_holding_nor_open(vacuum_kpa: float, in_flight: bool) -> None:
    assert state(vacuum_kpa, fault="frozen", in_flight=in_flight) is S.SENSOR_FAULT


@pytest.mark.parametrize(
    ("vacuum_kpa", "told"),
    [(52.1, S.HOLDING), (52.0, S.LOW), (51.9, S.LOW), (34.0, S.LOW), (33.9, S.CRITICAL), (0.0, S.CRITICAL)],
)
def test_levels_in_flight(vacuum_kpa: float, told: CircuitState) -> None:
    assert state(vacuum_kpa) is told


def test_load_that_needs_more_than_the_warning_level_is_critical_above_it() -> None:
    assert state(57.9, needed_kpa=58.0) is S.CRITICAL
    assert state(58.0, needed_kpa=58.0) is S.HOLDING


def test_pads_that_cannot_balance_the_load_are_critical_at_any_vacuum() -> None:
    assert state(90.0, needed_kpa=float("inf")) is S.CRITICAL


@pytest.mark.parametrize(
    ("vacuum_kpa", "before", "told"),
    [
        (52.4, S.LOW, S.LOW),
        (52.5, S.LOW, S.LOW),
        (52.6, S.LOW, S.HOLDING),
        (34.4, S.CRITICAL, S.CRITICAL),
        (34.5, S.CRITICAL, S.LOW),
        (34.4, S.LOW, S.LOW),
    ],
)
def test_back_above_a_level_only_by_half_a_kilopascal(
    vacuum_kpa: float, before: CircuitState, told: CircuitState
) -> None:
    assert state(vacuum_kpa, before=before) is told


@pytest.mark.parametrize("phase", sorted(IN_FLIGHT))
@pytest.mark.parametrize("vacuum_kpa", [7.8, 2.0, 0.0, -0.2])
@pytest.mark.parametrize("needed_kpa", [None, 34.0])
def test_circuit_without_vacuum_in_flight_is_never_open(
    phase: Phase, vacuum_kpa: float, needed_kpa: float | None
) -> None:
    assert state(vacuum_kpa, phase=phase, needed_kpa=needed_kpa) in {S.CRITICAL, S.LOW}


@pytest.mark.parametrize(("vacuum_kpa", "told"), [(7.8, S.OPEN), (7.9, S.BUILDING)])
def test_open_on_the_ground_is_at_or_under_fifteen_percent_of_the_warning_level(
    vacuum_kpa: float, told: CircuitState
) -> None:
    assert open_kpa(CONFIG) == pytest.approx(7.8)
    assert state(vacuum_kpa, in_flight=False, phase=Phase.SEALING, sealed=False) is told


def test_open_level_is_three_kilopascals_at_least() -> None:
    assert open_kpa(replace(CONFIG, warning_kpa=10.0)) == 3.0


@pytest.mark.parametrize("phase", [Phase.IDLE, Phase.SEALING, Phase.RELEASED])
def test_before_the_first_seal_a_low_circuit_is_building(phase: Phase) -> None:
    assert state(40.0, in_flight=False, phase=phase, sealed=False) is S.BUILDING


@pytest.mark.parametrize("phase", [Phase.SEALING, Phase.SEAL_TEST, Phase.PARKED])
def test_after_it_a_low_circuit_is_low_on_the_ground_too(phase: Phase) -> None:
    assert state(40.0, in_flight=False, phase=phase) is S.LOW


def test_critical_is_for_a_load_in_the_air() -> None:
    assert state(20.0, in_flight=False, phase=Phase.SEAL_TEST) is S.LOW


@pytest.mark.parametrize(("early_s", "told"), [(1199.0, S.LOSING), (1200.0, S.HOLDING), (None, S.HOLDING)])
def test_losing_is_an_established_fall_whose_early_bound_is_inside_the_horizon(
    early_s: float | None, told: CircuitState
) -> None:
    assert state(leak=FALLING, to_warning=Bounds(early_s, None, None)) is told


def test_vague_bound_without_an_established_fall_is_no_loss() -> None:
    assert state(leak=TIGHT, to_warning=Bounds(60.0, 900.0, None)) is S.HOLDING


def test_projection_not_known_yet_still_holds() -> None:
    assert state(leak=None, to_warning=None) is S.HOLDING


@pytest.mark.parametrize(
    ("needed_kpa", "level"),
    [(None, ("warning", 52.0)), (34.0, ("warning", 52.0)), (52.0, ("warning", 52.0)), (58.0, ("needed", 58.0))],
)
def test_times_run_to_the_higher_level(needed_kpa: float | None, level: tuple[str, float]) -> None:
    assert levels_kpa(CONFIG, needed_kpa) == level
