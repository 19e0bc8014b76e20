"""Everything derived of a lifter at one instant: what calls, alarms, the status and the record are made from."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from monitor.core.config import CircuitConfig, LifterConfig
from monitor.core.holding import Holding
from monitor.core.leak import LeakView
from monitor.core.load import Load, LoadKnown, has_cell
from monitor.core.phases import Phase
from monitor.core.readings import Pump, Valve
from monitor.core.warning_time import Bounds


class CircuitState(StrEnum):
    """A circuit's state, worst first (DESIGN, words)."""

    NO_READING = "no_reading"
    SENSOR_FAULT = "sensor_fault"
    CRITICAL = "critical"
    LOW = "low"
    LOSING = "losing"
    HOLDING = "holding"
    BUILDING = "building"
    OPEN = "open"


UNHEARD: Final = frozenset({CircuitState.NO_READING, CircuitState.SENSOR_FAULT})


@dataclass(frozen=True, slots=True)
class CircuitFacts:
    """One circuit at one instant. ``vacuum_kpa`` is the value last believed, ``age_s`` its age."""

    id: str
    config: CircuitConfig
    state: CircuitState
    in_use: bool
    vacuum_kpa: float | None
    age_s: float | None
    fault: str | None
    fault_for_s: float
    needed_kpa: float | None
    pump: Pump | None
    pump_trouble: str | None
    leak: LeakView | None
    level: str  # which level the times run to: "warning" or "needed"
    level_kpa: float
    to_warning: Bounds | None
    reserve: Bounds | None
    assumed: tuple[str, ...]
    before: CircuitState | None  # the state last heard, while nothing is heard or believed now
    lost_kpa: float  # vacuum lost within the last two seconds, or since the reading before
    pump_down_s: float = 0.0  # how long this lift's pump-down took, or takes by now; 0 before it
    pump_down_limit_s: float | None = None  # from when that is slow, by this lifter's own history
    duty_ratio: float | None = None  # share of its time the pump runs, over its last strokes
    duty_limit_ratio: float | None = None  # from when that has risen over this lift
    gauges_apart_kpa: float | None = None  # how far its gauges are apart; None with one gauge
    gauge_moved: bool = True  # a gauge of it was seen to change since it was first heard

    def pump_runs(self) -> bool:
        """Whether its pump says that it runs, or, where none reports, whether its work shows."""
        if self.pump is not None:
            return self.pump is Pump.ON
        return self.leak is not None and self.leak.pump == "on"


@dataclass(frozen=True, slots=True)
class Facts:
    """A lifter at one instant."""

    now_s: float
    config: LifterConfig
    phase: Phase
    circuits: Mapping[str, CircuitFacts]
    in_use: tuple[CircuitFacts, ...]
    in_flight: bool  # the load hangs on the lifter, or may hang on it
    ever_heard: bool
    silent: bool  # every circuit in use is without a reading to be believed
    last_reading_s: float | None
    load: Load
    load_kg: float | None  # fresh net load
    load_known: LoadKnown
    load_fresh: bool
    stale_after_s: float
    valve: Valve | None
    load_lost: bool  # a load cell is configured and its reading is missing or stale
    judged_kg: float | None
    planned_kg: float | None
    holding: Holding | None
    tilt_deg: float | None
    rotation_deg: float | None
    height_m: float | None
    ambient_kpa: float | None
    temperature_c: float | None
    battery_v: float | None
    wind_m_s: float | None
    heard: Mapping[str, float | None]  # the same as last heard, whatever its age: silence ends no trouble
    lifter_alarm: bool
    tilt_outside_plan: bool
    tilt_beyond_plan_deg: float  # how far the tilt last heard is beyond the plan's; 0 inside and without a plan
    wind_limit_m_s: float | None  # the lower of the site's and the plan's
    battery_to_low: Bounds | None  # until the battery is low, by an established fall; None without one
    time_to_land_s: float
    landing_s: float  # time to land with the age of a slow lifter's readings added
    slow: bool
    link_up: bool
    store_writing: bool
    disk_free_ratio: float | None
    clock_offset_s: float | None
    released_load_kg: float | None  # load back on after the release
    partners: Mapping[str, tuple[str, str]]  # lifters in tandem: their call and release
    climb_doubted: bool = False  # what measures the hoist does not fit circuits at rest
    irregular: bool = False  # readings come at no steady interval, and the site file gives none

    def used(self) -> tuple[CircuitFacts, ...]:
        """The circuits whose pads are in use, in the site file's order."""
        return self.in_use

    def assumed(self) -> tuple[str, ...]:
        """What was not measured and had to be taken cautiously; ``words`` says how each is taken."""
        ambient = self.ambient_kpa is not None and self.config.ambient_at == "lifter"
        assumed = {
            "load": not has_cell(self.config),
            "tilt": self.tilt_deg is None,
            "rotation": self.rotation_deg is None,
            "ambient": not ambient,
            "height": not ambient and self.height_m is None,
            "climb": self.climb_doubted,
            "temperature": self.temperature_c is None,
            "pump": any(circuit.pump is None for circuit in self.in_use),
            "interval": self.irregular,
        }
        return tuple(name for name, missing in assumed.items() if missing)
