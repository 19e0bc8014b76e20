"""One circuit's state from reading, leak and levels."""

from monitor.core.config import CircuitConfig
from monitor.core.facts import CircuitState
from monitor.core.leak import LeakView
from monitor.core.phases import Phase
from monitor.core.warning_time import Bounds

OPEN_RATIO = 0.15
OPEN_LEAST_KPA = 3.0
BACK_ABOVE_KPA = 0.5
"""A circuit that was at or under a level is above it again only by this much: noise at the level is no recovery."""


def open_kpa(config: CircuitConfig) -> float:
    """Vacuum at or below which a circuit holds nothing: 15 % of the warning level, at least 3 kPa (sensor offset)."""
    return max(OPEN_LEAST_KPA, OPEN_RATIO * config.warning_kpa)


def levels_kpa(config: CircuitConfig, needed_kpa: float | None) -> tuple[str, float]:
    """The level the times run to: the higher of the warning level and what this lift needs of the circuit."""
    if needed_kpa is not None and needed_kpa > config.warning_kpa:
        return "needed", needed_kpa
    return "warning", config.warning_kpa


def judge(
    *,
    config: CircuitConfig,
    vacuum_kpa: float | None,
    stale: bool,
    fault: str | None,
    needed_kpa: float | None,
    leak: LeakView | None,
    to_warning: Bounds | None,
    losing_horizon_s: float,
    phase: Phase,
    sealed: bool,
    in_flight: bool,
    before: CircuitState | None = None,
    building: bool = True,
) -> CircuitState:
    """The state of a circuit, worst first.

    In flight a circuit without vacuum is `critical` or `low`, never `open`; before the first seal it is `building`.
    """
    if stale or vacuum_kpa is None:
        return CircuitState.NO_READING
    if fault is not None:
        return CircuitState.SENSOR_FAULT
    if not in_flight and vacuum_kpa <= open_kpa(config):
        return CircuitState.OPEN
    if in_flight and needed_kpa is not None:
        back_kpa = BACK_ABOVE_KPA if before is CircuitState.CRITICAL else 0.0
        if vacuum_kpa < needed_kpa + back_kpa:
            return CircuitState.CRITICAL
    back_kpa = BACK_ABOVE_KPA if before in {CircuitState.LOW, CircuitState.CRITICAL} else 0.0
    if vacuum_kpa <= config.warning_kpa + back_kpa:
        if building and phase in {Phase.IDLE, Phase.SEALING, Phase.RELEASED} and not sealed:
            return CircuitState.BUILDING
        return CircuitState.LOW
    losing = (
        leak is not None
        and leak.falling
        and to_warning is not None
        and to_warning.early_s is not None
        and to_warning.early_s < losing_horizon_s
    )
    return CircuitState.LOSING if losing else CircuitState.HOLDING
