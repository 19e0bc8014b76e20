"""What the alarms watch and the limits they watch it by, each under the name the alarm table gives it."""

import math
from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from monitor.core.call import (
    ATTACHED_STATES,
    FAULT_LASTS_S,
    LET_OUT_KPA,
    RESERVE_LEAST_S,
    Call,
    opens_under_load,
    over_plan_limit_kg,
)
from monitor.core.facts import UNHEARD, CircuitFacts, CircuitState, Facts
from monitor.core.load import LoadKnown, off_band_kg

APART_RATIO: Final = 0.25
CLOCK_OFFSET_LIMIT_S: Final = 5.0
DISK_LEAST_RATIO: Final = 0.05
TILT_LEAST_DEG: Final = 1.0
"""No tilt sensor on a swinging panel is better than this (common practice)."""

TROUBLED_CALLS: Final = frozenset({Call.LAND_NOW.value, Call.NO_SIGNAL.value, Call.LAND_SOON.value})
"""Calls of a lifter in tandem that are trouble for the other one too."""


Signal = Callable[[Facts, CircuitFacts | None], float | bool | None]


def _of(
    read: Callable[[CircuitFacts, Facts], float | bool | None], facts: Facts, circuit: CircuitFacts | None
) -> float | bool | None:
    return None if circuit is None else read(circuit, facts)


def _believed_kpa(circuit: CircuitFacts, facts: Facts) -> float | None:
    unheard = circuit.state in {CircuitState.NO_READING, CircuitState.SENSOR_FAULT}
    return None if unheard else circuit.vacuum_kpa


def _to_level_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.state in {CircuitState.NO_READING, CircuitState.SENSOR_FAULT} or circuit.to_warning is None:
        return None
    if circuit.leak is None or not circuit.leak.falling or circuit.to_warning.early_s is None:
        return math.inf
    return circuit.to_warning.early_s


def _silent_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.state is CircuitState.SENSOR_FAULT:
        return None
    if circuit.age_s is None:
        return math.inf if facts.ever_heard else None
    return circuit.age_s


def _lost_kpa(circuit: CircuitFacts, facts: Facts) -> float | None:
    """A fall that was seen is one, whatever came after it; that nothing is lost any more is known only of what is heard."""
    return None if circuit.state in UNHEARD and circuit.lost_kpa < LET_OUT_KPA else circuit.lost_kpa


def _reserve_s(circuit: CircuitFacts, facts: Facts) -> float | None:
    if circuit.reserve is None:
        return None
    return math.inf if circuit.reserve.early_s is None else circuit.reserve.early_s


def _apart_kpa(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    """How far circuits are apart. One not believed may be further off and never nearer: it hides no breach of the others."""
    values = [_believed_kpa(c, facts) for c in facts.used()]
    known = [value for value in values if value is not None]
    if len(known) < 2:
        return None
    apart_kpa = max(known) - min(known)
    return apart_kpa if len(known) == len(values) or apart_kpa >= _apart_limit_kpa(facts, circuit) else None


def _apart_limit_kpa(facts: Facts, circuit: CircuitFacts | None) -> float:
    return APART_RATIO * max(circuit.config.working_kpa for circuit in facts.used())


def _opens_under_load(facts: Facts, circuit: CircuitFacts | None) -> bool | None:
    """Begun is begun; that it is over is known only while every circuit and the load are heard."""
    if facts.silent:
        return None
    if opens_under_load(facts):
        return True
    return None if facts.load_lost or any(c.state in UNHEARD for c in facts.used()) else False


def _carried_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    return facts.judged_kg if facts.load_kg is None else facts.load_kg


def _partly_on_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.load_kg is None:
        return None
    return 0.0 if facts.load_known is LoadKnown.OFF else abs(facts.load_kg)


def _battery_early_s(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.battery_v is None:
        return None
    early_s = None if facts.battery_to_low is None else facts.battery_to_low.early_s
    return math.inf if early_s is None else early_s


def _pump_is(name: str, circuit: CircuitFacts, facts: Facts) -> bool | None:
    """Whether a pump has this trouble, unknown unheard; a circuit that was let go asks nothing of its pump."""
    if circuit.state in UNHEARD:
        return None
    builds = circuit.state is CircuitState.BUILDING and name == "not_building"
    return circuit.pump_trouble == name and (builds or circuit.state in ATTACHED_STATES)


def _bare(facts: Facts) -> bool:
    """The load is known to be off and there is none to judge by: what a load asks for is no trouble now."""
    return facts.load_known is LoadKnown.OFF and not facts.in_flight and facts.judged_kg is None


def _margin_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.holding is None or facts.silent:
        return None
    return math.inf if _bare(facts) else facts.holding.margin_kg


def _over_plan_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.planned_kg is not None and facts.load.largest_kg is not None:
        return facts.load.largest_kg
    return 0.0 if facts.load_known is LoadKnown.OFF and not facts.in_flight else None


def _worst_pad(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.silent or facts.holding is None:
        return None
    if facts.holding.worst_pad is None:
        return 0.0 if _bare(facts) else None
    return facts.holding.worst_pad[1]


def _needed_kpa(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    needed_kpa = None if circuit is None else circuit.needed_kpa
    return -math.inf if needed_kpa is None and _bare(facts) else needed_kpa


def _over_plan_limit_kg(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    limit_kg = over_plan_limit_kg(facts)
    return math.inf if limit_kg is None else limit_kg


def _duty_limit_ratio(circuit: CircuitFacts, facts: Facts) -> float:
    """Before the first stroke of a lift nothing has risen in it: what rose in the last one is over."""
    return math.inf if circuit.duty_limit_ratio is None else circuit.duty_limit_ratio


def _if_lost(facts: Facts, circuit: CircuitFacts | None) -> float | None:
    if facts.holding is None:
        return None
    if facts.judged_kg is None:
        return math.inf if _bare(facts) else None
    factors = [lost.factor for lost in facts.holding.if_lost.values() if lost.needed_factor is not None]
    return min((factor for factor in factors if factor is not None), default=None)


SIGNALS: Final[Mapping[str, Signal]] = {
    "vacuum_kpa": partial(_of, _believed_kpa),
    "to_level_early_s": partial(_of, _to_level_s),
    "reserve_early_s": partial(_of, _reserve_s),
    "lost_kpa": partial(_of, _lost_kpa),
    "opens_under_load": _opens_under_load,
    "silent_s": partial(_of, _silent_s),
    "fault_for_s": partial(_of, lambda c, f: None if c.state is CircuitState.NO_READING else c.fault_for_s),
    "pump_not_building": partial(_of, partial(_pump_is, "not_building")),
    "pump_not_starting": partial(_of, partial(_pump_is, "not_starting")),
    "pump_not_stopping": partial(_of, partial(_pump_is, "not_stopping")),
    "pump_down_s": partial(_of, lambda c, f: None if c.state in UNHEARD else c.pump_down_s),
    "duty_ratio": partial(_of, lambda c, f: None if c.state in UNHEARD else (c.duty_ratio or 0.0)),
    "lifter_alarm": lambda f, c: None if f.silent and not f.lifter_alarm else f.lifter_alarm,
    "load_kg": lambda f, c: f.load_kg,
    "carried_kg": _carried_kg,
    "margin_kg": _margin_kg,
    "released_load_kg": lambda f, c: (f.released_load_kg or 0.0) if f.load_fresh else None,
    "over_plan_kg": _over_plan_kg,
    "worst_pad_ratio": _worst_pad,
    "if_lost_factor": _if_lost,
    "circuits_apart_kpa": _apart_kpa,
    "tilt_beyond_plan_deg": lambda f, c: None if f.tilt_deg is None else f.tilt_beyond_plan_deg,
    "wind_m_s": lambda f, c: f.wind_m_s,
    "battery_v": lambda f, c: f.battery_v,
    "battery_early_s": _battery_early_s,
    "partly_on_kg": _partly_on_kg,
    "partner_in_trouble": lambda f, c: any(call in TROUBLED_CALLS for call, _ in f.partners.values()),
    "clock_offset_s": lambda f, c: None if f.clock_offset_s is None else abs(f.clock_offset_s),
    "link_down": lambda f, c: not f.link_up,
    "disk_free_ratio": lambda f, c: f.disk_free_ratio,
    "store_failing": lambda f, c: not f.store_writing,
}
"""What each rule watches. ``None`` is unknown: it neither raises at once nor clears."""

Limit = Callable[[Facts, CircuitFacts | None], float | None]

LIMITS: Final[Mapping[str, Limit]] = {
    "warning_kpa": lambda f, c: None if c is None else c.config.warning_kpa,
    "needed_kpa": _needed_kpa,
    "twice_landing_s": lambda f, c: 2.0 * f.landing_s,
    "sudden_kpa": lambda f, c: LET_OUT_KPA,
    "over_wll_kg": lambda f, c: f.config.wll_kg + f.config.load_accuracy_kg,
    "zero_kg": lambda f, c: 0.0,
    "load_on_kg": lambda f, c: f.config.load_on_kg,
    "stale_after_s": lambda f, c: f.stale_after_s,
    "fault_lasts_s": lambda f, c: FAULT_LASTS_S,
    "pump_down_limit_s": lambda f, c: None if c is None else c.pump_down_limit_s,
    "duty_limit_ratio": partial(_of, _duty_limit_ratio),
    "reserve_least_s": lambda f, c: max(RESERVE_LEAST_S, f.landing_s),
    "over_plan_limit_kg": _over_plan_limit_kg,
    "one_ratio": lambda f, c: 1.0,
    "needed_factor": lambda f, c: 2.0,
    "apart_kpa": _apart_limit_kpa,
    "off_band_kg": lambda f, c: off_band_kg(f.config, f.load.largest_kg),
    "tilt_slack_deg": lambda f, c: max(f.config.tilt_allowance_deg, TILT_LEAST_DEG),
    "wind_limit_m_s": lambda f, c: f.wind_limit_m_s,
    "battery_low_v": lambda f, c: f.config.battery_low_v,
    "clock_offset_limit_s": lambda f, c: CLOCK_OFFSET_LIMIT_S,
    "disk_least_ratio": lambda f, c: DISK_LEAST_RATIO,
}
