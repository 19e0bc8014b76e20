"""What the core must know of a lifter: plain checked values, filled from a site file by ``monitor.settings``.

Every name is the site file's own (``site-reference`` in the help), with the defaults already resolved.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class Basis(StrEnum):
    """The standard whose design factor the holding is judged by."""

    ASME_BTH_1 = "asme-bth-1"
    EN_13155 = "en-13155"


class Surface(StrEnum):
    """Condition of the panel's surface under the pads."""

    DRY = "dry"
    WET = "wet"
    OILY = "oily"


SURFACE_FRICTION: Mapping[Surface, float] = {Surface.DRY: 0.5, Surface.WET: 0.2, Surface.OILY: 0.1}
"""Friction of rubber pads on glass by surface: oily 0.1, moist or wet 0.2 to 0.4 (the least is taken), glass, stone and
dry plastic 0.5. Source: trade-press article "How do you size a vacuum cup?" (2016)."""


class LoadMeasures(StrEnum):
    """What the load reading measures."""

    NET = "net"
    WITH_LIFTER = "with_lifter"
    HOOK = "hook"
    NONE = "none"


class Suspension(StrEnum):
    """How the pads hang: on a rigid frame, or on equalising beams (equal shares inside a beam group)."""

    RIGID = "rigid"
    BALANCED = "balanced"


@dataclass(frozen=True, slots=True)
class CircuitConfig:
    """One vacuum circuit."""

    id: str
    warning_kpa: float
    working_kpa: float
    volume_l: float | None = None
    pump_start_kpa: float | None = None
    pump_stop_kpa: float | None = None


@dataclass(frozen=True, slots=True)
class PadConfig:
    """One pad: place on the panel at rotation 0 (x along the width, y up the panel when upright), area, circuit."""

    id: str
    circuit: str
    x_mm: float
    y_mm: float
    area_cm2: float
    wll_kg: float | None = None


@dataclass(frozen=True, slots=True)
class LifterConfig:
    """One lifter, defaults resolved (``friction`` from ``surface``, ``ambient_kpa`` from the altitude, and so on)."""

    id: str
    basis: Basis
    wll_kg: float
    circuits: Mapping[str, CircuitConfig]
    pads: Mapping[str, PadConfig] = field(default_factory=dict)
    layouts: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    name: str = ""
    surface: Surface = Surface.DRY
    friction: float = 0.5
    friction_source: str = ""
    tilt_allowance_deg: float = 6.0
    two_circuit_rule: bool = False
    secondary_restraint: bool = False
    dynamic_factor: float = 1.0
    load_measures: LoadMeasures = LoadMeasures.NET
    tare_kg: float = 0.0
    load_accuracy_kg: float = 5.0
    load_on_kg: float = 30.0
    expected_interval_s: float | None = None
    time_to_land_s: float = 240.0
    losing_horizon_s: float = 1200.0
    projection_horizon_s: float = 3600.0
    hoist_height_m: float = 100.0
    hoist_speed_m_s: float = 1.5
    suspension: Suspension = Suspension.RIGID
    overhang_limit_mm: float = 600.0
    thin_panel_factor: float = 1.0
    seal_test_s: float = 60.0
    seal_shift_test_s: float = 240.0
    seal_shift_loss_ratio: float = 0.25
    battery_low_v: float | None = None
    wind_limit_m_s: float | None = None
    wind_at: str = "ground"
    wind_is_gust: bool = True
    shape_factor: float = 2.0
    service_leak_kpa_per_min: float = 0.5
    examination_due: str = ""
    inspection_days: int = 365
    inspection_lifts: int = 20_000
    altitude_m: float = 0.0
    ambient_kpa: float = 101.325
    ambient_at: str = "lifter"


@dataclass(frozen=True, slots=True)
class CoreConfig:
    """What the engine needs of one site."""

    site: str
    lifters: Mapping[str, LifterConfig]
    tandems: tuple[tuple[str, ...], ...] = ()

    def partners(self, lifter: str) -> tuple[str, ...]:
        """The lifters that carry one panel together with this one."""
        return tuple(other for tandem in self.tandems if lifter in tandem for other in tandem if other != lifter)
