"""The declared alarms, and nothing else. Life cycle and names by IEC 62682 / ISA-18.2; limits come from the site file.

Words follow one pattern: what, where, how much, how long, do this. The English template in ``says`` is the source
text; other languages are keyed by ``key``. Priority follows from the consequence and the time to act.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from monitor.core.phases import ATTACHED, IN_FLIGHT, Phase

ANY_PHASE: Final = frozenset(Phase)
RELEASE_TAKES_S: Final = 10.0
"""Letting the vacuum out of every pad takes less (common practice). The load reading zero delays, it never suppresses."""

SUPPRESSED_IN: Final = frozenset({Phase.IDLE, Phase.RELEASED, Phase.PARKED})
"""Suppression by design happens in these phases only, never because the load reads zero."""

PADS_OPEN: Final = frozenset({Phase.IDLE, Phase.RELEASED})
"""Every circuit heard to be open: low vacuum is how it should be. Not `parked`: a leaning panel is held by its pads."""


class Role(StrEnum):
    """Who acts on an alarm."""

    OPERATOR = "operator"
    LANDING = "landing"
    SUPERVISOR = "supervisor"
    MAINTENANCE = "maintenance"


class Severity(StrEnum):
    """What the consequence amounts to."""

    LOAD_MAY_DROP = "load_may_drop"
    LIFT_IN_DOUBT = "lift_in_doubt"
    WORK_AFTERWARDS = "work_afterwards"


class Priority(StrEnum):
    """Priority of an alarm, by consequence and time to act."""

    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class Breach(StrEnum):
    """On which side of its limit a signal is in breach."""

    AT_OR_BELOW = "at_or_below"
    AT_OR_ABOVE = "at_or_above"
    TRUE = "true"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlarmRule:
    """One declared alarm. ``signal`` and ``limit`` name entries of ``alarm_signals``."""

    key: str
    per_circuit: bool = False
    signal: str
    unit: str = ""
    breach: Breach = Breach.TRUE
    limit: str = ""
    shows: str = ""  # the signal whose value is told where the watched one is only yes or no
    clear_margin: float = 0.0
    raise_after_s: float = 0.0
    off_raise_after_s: float | None = None  # instead, while the load is known to be off: a release takes less than this
    clear_after_s: float = 5.0
    latching: bool = False
    armed_in: frozenset[Phase] = ATTACHED
    suppressed_in: frozenset[Phase] = frozenset()
    cause: str
    consequence: str
    severity: Severity
    who_acts: Role
    time_to_act_s: float
    says: str
    do: str


def priority(rule: AlarmRule) -> Priority:
    """Priority of a rule: the worse the consequence and the shorter the time, the higher."""
    if rule.severity is Severity.LOAD_MAY_DROP:
        return Priority.HIGH if rule.time_to_act_s <= 600.0 else Priority.MEDIUM
    if rule.severity is Severity.LIFT_IN_DOUBT:
        return Priority.MEDIUM if rule.time_to_act_s <= 600.0 else Priority.LOW
    return Priority.LOW


ALARMS: Final = (
    AlarmRule(
        key="vacuum_low",
        per_circuit=True,
        signal="vacuum_kpa",
        unit="kPa",
        breach=Breach.AT_OR_BELOW,
        limit="warning_kpa",
        clear_margin=2.0,
        clear_after_s=5.0,
        latching=True,
        off_raise_after_s=RELEASE_TAKES_S,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="Seal, hose or pump",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=60,
        says="Vacuum {value_kpa}, at or under the warning level {limit_kpa} for {held_s}",
        do="Lower the load and keep clear. Then look at the pad seal and the pump.",
    ),
    AlarmRule(
        key="vacuum_critical",
        per_circuit=True,
        signal="vacuum_kpa",
        unit="kPa",
        breach=Breach.AT_OR_BELOW,
        limit="needed_kpa",
        clear_margin=2.0,
        clear_after_s=5.0,
        latching=True,
        off_raise_after_s=RELEASE_TAKES_S,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="Seal, hose or pump",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=30,
        says="Vacuum {value_kpa}, under the {limit_kpa} this load needs, for {held_s}",
        do="Land the load now and keep everybody clear.",
    ),
    AlarmRule(
        key="losing_vacuum",
        per_circuit=True,
        signal="to_level_early_s",
        unit="s",
        breach=Breach.AT_OR_BELOW,
        limit="twice_landing_s",
        clear_margin=60.0,
        raise_after_s=1.0,
        clear_after_s=20.0,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="Pad seal, panel surface or hose",
        consequence="The vacuum may reach its warning level in the air",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=240,
        says="May reach its level in {value_s}, under twice the time to land ({limit_s}), for {held_s}",
        do="Land the load while there is time. Then look at the pads of this circuit.",
    ),
    AlarmRule(
        key="sudden_loss",
        per_circuit=True,
        signal="lost_kpa",
        unit="kPa",
        breach=Breach.AT_OR_ABOVE,
        limit="sudden_kpa",
        clear_margin=2.0,
        clear_after_s=30.0,
        latching=True,
        off_raise_after_s=RELEASE_TAKES_S,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="A pad came off, a hose burst, or a valve opened",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=15,
        says="Lost {value_kpa} within 2 s (limit {limit_kpa}), {held_s} ago",
        do="Stop, keep everybody clear, land the load now.",
    ),
    AlarmRule(
        key="release_under_load",
        signal="opens_under_load",
        unit="kg",
        shows="load_kg",
        raise_after_s=0.5,
        clear_after_s=10.0,
        latching=True,
        armed_in=IN_FLIGHT,
        cause="The release was begun while the lifter still carries the panel",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.LANDING,
        time_to_act_s=5,
        says="Vacuum is being let out while the lifter carries {value_kg}, for {held_s}",
        do="Close the release valve at once. Keep clear of the panel.",
    ),
    AlarmRule(
        key="lifter_alarm",
        signal="lifter_alarm",
        clear_after_s=3.0,
        latching=True,
        armed_in=ANY_PHASE,
        cause="The lifter's own warning device sounds",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=30,
        says="The lifter's own alarm sounds, for {held_s}",
        do="Follow the lifter's own alarm: land the load now.",
    ),
    AlarmRule(
        key="over_wll",
        signal="load_kg",
        unit="kg",
        breach=Breach.AT_OR_ABOVE,
        limit="over_wll_kg",
        clear_margin=5.0,
        raise_after_s=0.6,
        clear_after_s=5.0,
        latching=True,
        armed_in=ATTACHED,
        cause="The panel is heavier than the plate allows, or it is stuck",
        consequence="The load may drop",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=15,
        says="Load {value_kg}, over the plate's {limit_kg} for {held_s}",
        do="Stop hoisting and lower back.",
    ),
    AlarmRule(
        key="margin_gone",
        signal="margin_kg",
        unit="kg",
        breach=Breach.AT_OR_BELOW,
        limit="zero_kg",
        clear_margin=5.0,
        raise_after_s=0.6,
        clear_after_s=5.0,
        latching=True,
        off_raise_after_s=RELEASE_TAKES_S,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="Too much load, too little vacuum, or the panel turned further than planned",
        consequence="The holding is no longer what the rules ask",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=60,
        says="Margin {value_kg} by calculation, for {held_s}",
        do="Land the load now; if it was tilted last, tilt back first.",
    ),
    AlarmRule(
        key="load_returns_after_release",
        signal="released_load_kg",
        unit="kg",
        breach=Breach.AT_OR_ABOVE,
        limit="load_on_kg",
        clear_margin=5.0,
        raise_after_s=0.6,
        clear_after_s=5.0,
        latching=True,
        armed_in=frozenset({Phase.RELEASED, Phase.IDLE}),
        cause="A pad still grips the panel",
        consequence="The panel is pulled out of its place",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=5,
        says="Load {value_kg} came back after the release, for {held_s}",
        do="Stop hoisting: a pad still grips.",
    ),
    AlarmRule(
        key="no_reading",
        per_circuit=True,
        signal="silent_s",
        unit="s",
        breach=Breach.AT_OR_ABOVE,
        limit="stale_after_s",
        clear_after_s=2.0,
        armed_in=ATTACHED,
        cause="Radio, sender or sensor",
        consequence="Nobody can see whether the circuit holds",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=120,
        says="No reading for {value_s} (limit {limit_s})",
        do="Land the load; listen for the lifter's own alarm; read its gauge.",
    ),
    AlarmRule(
        key="sensor_fault",
        per_circuit=True,
        signal="fault_for_s",
        unit="s",
        breach=Breach.AT_OR_ABOVE,
        limit="fault_lasts_s",
        clear_after_s=5.0,
        armed_in=ATTACHED,
        cause="Sensor, cable or its mapping",
        consequence="Nobody can see whether the circuit holds",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=120,
        says="Its readings can't be believed, for {value_s}",
        do="Land the load; read the gauge on the lifter. Then check the sensor.",
    ),
    AlarmRule(
        key="pump_not_building",
        per_circuit=True,
        signal="pump_not_building",
        unit="kPa",
        shows="vacuum_kpa",
        clear_after_s=5.0,
        suppressed_in=PADS_OPEN,
        cause="Leak larger than the pump, blocked filter, or the pump itself",
        consequence="The vacuum can't recover",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=240,
        says="The pump runs and the vacuum stays at {value_kpa}, for {held_s}",
        do="Land the load soon. Then look at the filter, the seal and the pump.",
    ),
    AlarmRule(
        key="pump_not_starting",
        per_circuit=True,
        signal="pump_not_starting",
        unit="kPa",
        shows="vacuum_kpa",
        clear_after_s=5.0,
        suppressed_in=PADS_OPEN,
        cause="Pump, its switch or its power",
        consequence="Only the reserve holds the load",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=240,
        says="The pump did not start at its level: vacuum {value_kpa}, for {held_s}",
        do="Land the load soon. Then look at the pump and its power.",
    ),
    AlarmRule(
        key="pump_not_stopping",
        per_circuit=True,
        signal="pump_not_stopping",
        unit="kPa",
        shows="vacuum_kpa",
        clear_after_s=5.0,
        suppressed_in=PADS_OPEN,
        cause="The pump's switch or its setting",
        consequence="The battery empties sooner",
        severity=Severity.WORK_AFTERWARDS,
        who_acts=Role.MAINTENANCE,
        time_to_act_s=3600,
        says="The pump runs on above its stop level: vacuum {value_kpa}, for {held_s}",
        do="Carry on; have the pump's switch looked at.",
    ),
    AlarmRule(
        key="reserve_short",
        per_circuit=True,
        signal="reserve_early_s",
        unit="s",
        breach=Breach.AT_OR_BELOW,
        limit="reserve_least_s",
        clear_margin=30.0,
        raise_after_s=5.0,
        clear_after_s=30.0,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="The circuit leaks and the pump covers it",
        consequence="Without power the load can't be landed in time",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=600,
        says="If the pump stopped, {value_s} to the warning level (wanted {limit_s})",
        do="Land, then look at the pads of this circuit before the next lift.",
    ),
    AlarmRule(
        key="over_plan",
        signal="over_plan_kg",
        unit="kg",
        breach=Breach.AT_OR_ABOVE,
        limit="over_plan_limit_kg",
        clear_margin=5.0,
        raise_after_s=0.6,
        clear_after_s=5.0,
        armed_in=IN_FLIGHT,
        cause="The panel is heavier than planned, stuck, or two came together",
        consequence="The plan no longer fits this lift",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=60,
        says="Load {value_kg}, over the planned {limit_kg} for {held_s}",
        do="Stop hoisting. Ask the supervisor; land if in doubt.",
    ),
    AlarmRule(
        key="pad_overloaded",
        signal="worst_pad_ratio",
        unit="",
        breach=Breach.AT_OR_ABOVE,
        limit="one_ratio",
        clear_margin=0.02,
        raise_after_s=0.6,
        clear_after_s=5.0,
        latching=True,
        off_raise_after_s=RELEASE_TAKES_S,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="The load hangs off centre, or a pad has too little vacuum",
        consequence="A pad may let go",
        severity=Severity.LOAD_MAY_DROP,
        who_acts=Role.OPERATOR,
        time_to_act_s=60,
        says="The worst pad carries {value_ratio} of its share, for {held_s}",
        do="Land the load. Move the lifter on the panel before the next pick.",
    ),
    AlarmRule(
        key="one_circuit_not_enough",
        signal="if_lost_factor",
        unit="",
        breach=Breach.AT_OR_BELOW,
        limit="needed_factor",
        clear_margin=0.05,
        raise_after_s=2.0,
        clear_after_s=10.0,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="Too much load for one circuit alone",
        consequence="With one circuit lost the rest may not hold",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=300,
        says="With one circuit lost the rest holds {value_ratio} times (needed {limit_ratio}), for {held_s}",
        do="Land; use more pads or another lifter.",
    ),
    AlarmRule(
        key="circuits_disagree",
        signal="circuits_apart_kpa",
        unit="kPa",
        breach=Breach.AT_OR_ABOVE,
        limit="apart_kpa",
        clear_margin=2.0,
        raise_after_s=10.0,
        clear_after_s=10.0,
        armed_in=IN_FLIGHT,
        suppressed_in=PADS_OPEN,
        cause="One circuit leaks or its gauge is wrong",
        consequence="One circuit holds less than the others",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=900,
        says="Circuits differ by {value_kpa} (limit {limit_kpa}) for {held_s}",
        do="Look at the weaker circuit after landing.",
    ),
    AlarmRule(
        key="tilt_outside_plan",
        signal="tilt_beyond_plan_deg",
        unit="deg",
        breach=Breach.AT_OR_ABOVE,
        limit="tilt_slack_deg",
        clear_margin=0.5,
        raise_after_s=2.0,
        clear_after_s=5.0,
        armed_in=IN_FLIGHT,
        cause="The panel is turned further than planned",
        consequence="The plan no longer fits this lift",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=60,
        says="Tilted {value_deg} beyond the plan (allowed {limit_deg}), for {held_s}",
        do="Tilt back inside the plan.",
    ),
    AlarmRule(
        key="wind_over_limit",
        signal="wind_m_s",
        unit="m/s",
        breach=Breach.AT_OR_ABOVE,
        limit="wind_limit_m_s",
        clear_margin=0.5,
        raise_after_s=1.0,
        clear_after_s=60.0,
        cause="Wind over the site's limit",
        consequence="The panel swings; the crane may be overloaded",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=120,
        says="Wind {value_m_s}, at or over the limit {limit_m_s} for {held_s}",
        do="Follow the crane's chart and the site's wind rule; land the load.",
    ),
    AlarmRule(
        key="battery_low",
        signal="battery_v",
        unit="V",
        breach=Breach.AT_OR_BELOW,
        limit="battery_low_v",
        clear_margin=0.5,
        raise_after_s=3.0,
        clear_after_s=30.0,
        cause="The battery is empty or old",
        consequence="The pump and the lifter's own alarm may stop",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=300,
        says="Battery {value_v}, at or under {limit_v} for {held_s}",
        do="Land the load soon; charge or change the battery.",
    ),
    AlarmRule(
        key="battery_will_not_last",
        signal="battery_early_s",
        unit="s",
        breach=Breach.AT_OR_BELOW,
        limit="twice_landing_s",
        clear_margin=60.0,
        raise_after_s=5.0,
        clear_after_s=30.0,
        cause="The battery is nearly empty or failing, or a pump runs all the time",
        consequence="The pump and the lifter's own alarm may stop before the load is down",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=300,
        says="The battery may be low in {value_s}, under twice the time to land ({limit_s}), for {held_s}",
        do="Land the load soon; charge or change the battery.",
    ),
    AlarmRule(
        key="tandem_trouble",
        signal="partner_in_trouble",
        raise_after_s=1.0,
        clear_after_s=10.0,
        cause="Trouble of another lifter on the same panel",
        consequence="If it lets go, this lifter carries the whole panel",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.OPERATOR,
        time_to_act_s=60,
        says="Another lifter on this panel is in trouble, for {held_s}",
        do="Do what that lifter's own line says: both land together.",
    ),
    AlarmRule(
        key="load_not_all_off",
        signal="partly_on_kg",
        unit="kg",
        breach=Breach.AT_OR_ABOVE,
        limit="off_band_kg",
        clear_margin=2.0,
        raise_after_s=20.0,
        clear_after_s=5.0,
        armed_in=frozenset({Phase.LANDING}),
        cause="The panel is only partly set down, or the load cell's zero has drifted",
        consequence="A release now would move or drop the panel",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.LANDING,
        time_to_act_s=120,
        says="The load is not all off: {value_kg} (off is under {limit_kg}), for {held_s}",
        do="Do not release. Look at how the panel stands; check the load cell's zero afterwards.",
    ),
    AlarmRule(
        key="clock_wrong",
        signal="clock_offset_s",
        unit="s",
        breach=Breach.AT_OR_ABOVE,
        limit="clock_offset_limit_s",
        clear_margin=1.0,
        raise_after_s=30.0,
        clear_after_s=30.0,
        armed_in=ANY_PHASE,
        cause="The sender's clock is not set",
        consequence="Times in its own log are wrong",
        severity=Severity.WORK_AFTERWARDS,
        who_acts=Role.MAINTENANCE,
        time_to_act_s=86400,
        says="The sender's clock is off by {value_s} (limit {limit_s})",
        do="Nothing now: readings are judged by arrival. Set the sender's clock.",
    ),
    AlarmRule(
        key="broker_lost",
        signal="link_down",
        raise_after_s=1.0,
        clear_after_s=2.0,
        armed_in=ANY_PHASE,
        cause="The broker or the network to it",
        consequence="No readings arrive",
        severity=Severity.LIFT_IN_DOUBT,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=120,
        says="The connection to the broker is lost, for {held_s}",
        do="Read the gauge on the lifter. Check the broker and the network.",
    ),
    AlarmRule(
        key="disk_nearly_full",
        signal="disk_free_ratio",
        unit="",
        breach=Breach.AT_OR_BELOW,
        limit="disk_least_ratio",
        clear_margin=0.02,
        clear_after_s=60.0,
        armed_in=ANY_PHASE,
        cause="Records and traces fill the disk",
        consequence="Later lifts may not be recorded",
        severity=Severity.WORK_AFTERWARDS,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=86400,
        says="Room left on the disk: {value_ratio} (limit {limit_ratio}), for {held_s}",
        do="Carry on; make room on the disk today.",
    ),
    AlarmRule(
        key="record_not_written",
        signal="store_failing",
        raise_after_s=2.0,
        clear_after_s=5.0,
        armed_in=ANY_PHASE,
        cause="Disk full, read-only or failing",
        consequence="This lift may not be recorded",
        severity=Severity.WORK_AFTERWARDS,
        who_acts=Role.SUPERVISOR,
        time_to_act_s=1800,
        says="Records can't be written, for {held_s}",
        do="The watching goes on. Make room on the disk or change it.",
    ),
)
