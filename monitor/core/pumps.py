"""Does the pump do its part: running and nothing builds, needed and not starting, never stopping.

Asks what no limit can: "the pump is on; is vacuum building?" (the shape of a check that demands a gain in a window).
"""

from dataclasses import dataclass
from typing import Final

from monitor.core.config import CircuitConfig
from monitor.core.readings import Pump
from monitor.core.timing import since

BUILDS_WITHIN_S: Final = 12.0
BUILDS_KPA: Final = 0.5
"""A running pump must gain this much in ``BUILDS_WITHIN_S`` while it is below its stop level."""

STARTS_WITHIN_S: Final = 10.0
STARTS_MARGIN_KPA: Final = 1.0
"""A pump must have started so long after the vacuum fell this far below its start level."""

STOPS_WITHIN_S: Final = 60.0
STOPS_MARGIN_KPA: Final = 1.0
"""A pump must have stopped so long after the vacuum rose this far above its stop level."""

TROUBLES: Final = ("not_building", "not_starting", "not_stopping")


@dataclass(frozen=True, slots=True)
class PumpWatch:
    """What is remembered of one circuit's pump; ``trouble`` is one of ``TROUBLES`` or ``None``."""

    pump: Pump | None = None
    start_seen_kpa: float | None = None
    mark_kpa: float | None = None
    mark_s: float | None = None
    at_stop: bool = False
    below_since_s: float | None = None
    above_since_s: float | None = None
    trouble: str | None = None


def watch(state: PumpWatch, pump: Pump | None, vacuum_kpa: float, now_s: float, *, config: CircuitConfig) -> PumpWatch:
    """Fold one believed reading of a circuit in."""
    if pump is None:
        return state
    start_seen_kpa = state.start_seen_kpa
    if pump is Pump.ON and state.pump is Pump.OFF and vacuum_kpa >= 0.5 * config.warning_kpa:
        start_seen_kpa = vacuum_kpa if start_seen_kpa is None else min(start_seen_kpa, vacuum_kpa)
    fold = _running if pump is Pump.ON else _resting
    return fold(state, start_seen_kpa, vacuum_kpa, now_s, config)


def gains(state: PumpWatch, now_s: float) -> bool:
    """Whether a running pump has gained lately, and is not at its stop level yet."""
    return state.mark_s is not None and not state.at_stop and now_s - state.mark_s < BUILDS_WITHIN_S


def _running(
    state: PumpWatch, start_seen_kpa: float | None, vacuum_kpa: float, now_s: float, config: CircuitConfig
) -> PumpWatch:
    stop_kpa = config.pump_stop_kpa if config.pump_stop_kpa is not None else config.working_kpa
    above = vacuum_kpa > stop_kpa + STOPS_MARGIN_KPA
    above_since_s = since(state.above_since_s, above, now_s)
    trouble = None
    mark_kpa, mark_s = state.mark_kpa, state.mark_s
    at_stop = vacuum_kpa >= stop_kpa - BUILDS_KPA
    if mark_kpa is None or mark_s is None or vacuum_kpa >= mark_kpa + BUILDS_KPA or at_stop:
        mark_kpa, mark_s = vacuum_kpa, now_s
    elif now_s - mark_s >= BUILDS_WITHIN_S:
        trouble = "not_building"
    if above_since_s is not None and config.pump_stop_kpa is not None and now_s - above_since_s >= STOPS_WITHIN_S:
        trouble = "not_stopping"
    return PumpWatch(
        Pump.ON,
        start_seen_kpa,
        mark_kpa=mark_kpa,
        mark_s=mark_s,
        at_stop=at_stop,
        above_since_s=above_since_s,
        trouble=trouble,
    )


def _resting(
    state: PumpWatch, start_seen_kpa: float | None, vacuum_kpa: float, now_s: float, config: CircuitConfig
) -> PumpWatch:
    start_kpa = config.pump_start_kpa if config.pump_start_kpa is not None else start_seen_kpa
    below = start_kpa is not None and vacuum_kpa < start_kpa - STARTS_MARGIN_KPA
    below_since_s = since(state.below_since_s, below, now_s)
    waits = below_since_s is not None and now_s - below_since_s >= STARTS_WITHIN_S
    trouble = "not_starting" if waits else None
    return PumpWatch(Pump.OFF, start_seen_kpa, below_since_s=below_since_s, trouble=trouble)
