"""Facts of one instant, made by hand: a lift in the air that holds, and whatever a test changes of it."""

from collections.abc import Mapping
from dataclasses import replace

from monitor.core.config import Basis, CircuitConfig, LifterConfig
from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.holding import Holding, IfLost, WorstPad
from monitor.core.leak import LeakView
from monitor.core.load import Load, LoadKnown
from monitor.core.phases import Phase
from monitor.core.warning_time import Bounds

LIFTER = LifterConfig(
    "dock-6",
    Basis.ASME_BTH_1,
    900.0,
    {name: CircuitConfig(name, warning_kpa=52.0, working_kpa=62.0) for name in "AB"},
    time_to_land_s=240.0,
)
FAR = Bounds(None, None, None)
TIGHT = LeakView(0.0, -0.1, 0.1, falling=False, pump="off", assumed=())
FALLING = LeakView(2.0, 1.5, 2.5, falling=True, pump="off", assumed=())
NOW_S = 5000.0


def circuit(name: str = "A", **changes: object) -> CircuitFacts:
    """One circuit at 64 kPa that holds beyond the horizon."""
    made = CircuitFacts(
        id=name,
        config=LIFTER.circuits[name],
        state=CircuitState.HOLDING,
        in_use=True,
        vacuum_kpa=64.0,
        age_s=0.1,
        fault=None,
        fault_for_s=0.0,
        needed_kpa=34.0,
        pump=None,
        pump_trouble=None,
        leak=TIGHT,
        level="warning",
        level_kpa=52.0,
        to_warning=FAR,
        reserve=FAR,
        assumed=(),
        before=None,
        lost_kpa=0.0,
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def losing(
    name: str = "B", *, early_s: float | None, likely_s: float | None = 900.0, **changes: object
) -> CircuitFacts:
    """One circuit whose fall is established, ``early_s`` from its warning level at the earliest."""
    bounds = Bounds(early_s, likely_s, None)
    return circuit(name, **{"state": CircuitState.LOSING, "leak": FALLING, "to_warning": bounds, **changes})


def holding(margin_kg: float | None = 190.0, **changes: object) -> Holding:
    """What holds 810 kg."""
    made = Holding(
        basis="asme-bth-1",
        governs="friction",
        at_tilt_deg=63.4,
        rated_kg=810.0,
        margin_kg=margin_kg,
        margin_ratio=None,
        now_kg=1000.0,
        worst_pad=WorstPad("B3", 0.7),
        if_lost={"A": IfLost(1.4, None), "B": IfLost(1.4, None)},
        needed_kpa={"A": 34.0, "B": 34.0},
    )
    return replace(made, **changes)  # type: ignore[arg-type]


def facts(*circuits: CircuitFacts, config: Mapping[str, object] | None = None, **changes: object) -> Facts:
    """A lifter carrying 620 kg in the air; circuits not given hold. ``config`` changes the site file's settings."""
    given = {part.id: part for part in circuits}
    parts = {name: given.get(name, circuit(name)) for name in LIFTER.circuits}
    in_use = tuple(part for part in parts.values() if part.in_use)
    unheard = {CircuitState.NO_READING, CircuitState.SENSOR_FAULT}
    made = Facts(
        now_s=NOW_S,
        config=replace(LIFTER, **(config or {})),  # type: ignore[arg-type]
        phase=Phase.CARRYING,
        circuits=parts,
        in_use=in_use,
        in_flight=True,
        ever_heard=True,
        silent=all(part.state in unheard for part in in_use),
        last_reading_s=NOW_S - 0.1,
        load=Load(net_kg=620.0, at_s=NOW_S - 0.1, largest_kg=620.0),
        load_kg=620.0,
        load_known=LoadKnown.ON,
        load_fresh=True,
        stale_after_s=3.0,
        valve=None,
        load_lost=False,
        judged_kg=620.0,
        planned_kg=None,
        holding=holding(),
        tilt_deg=90.0,
        rotation_deg=None,
        height_m=20.0,
        ambient_kpa=101.2,
        temperature_c=15.0,
        battery_v=25.0,
        wind_m_s=3.0,
        heard={"battery_v": 25.0, "wind_m_s": 3.0, "tilt_deg": 90.0},
        lifter_alarm=False,
        tilt_outside_plan=False,
        tilt_beyond_plan_deg=0.0,
        wind_limit_m_s=(config or {}).get("wind_limit_m_s"),  # type: ignore[arg-type]
        battery_to_low=None,
        time_to_land_s=240.0,
        landing_s=240.0,
        slow=False,
        link_up=True,
        store_writing=True,
        disk_free_ratio=0.5,
        clock_offset_s=0.1,
        released_load_kg=None,
        partners={},
    )
    return replace(made, **changes)  # type: ignore[arg-type]
