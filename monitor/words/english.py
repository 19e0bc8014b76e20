"""English: one template a message key. Whole sentences, never fragments glued together.

The alarm templates stand in the alarm table, which is the source text; they are added here under their keys.
"""

from collections.abc import Mapping
from typing import Final

from monitor.core.alarm_table import ALARMS
from monitor.core.entry_fault import FAULTS
from monitor.words.alarm_figures_en import FIGURE_WORDS
from monitor.words.maintenance_en import MAINTENANCE_WORDS
from monitor.words.pages_en import PAGE_WORDS
from monitor.words.plan_en import PLAN_WORDS
from monitor.words.planning_en import PLANNING_WORDS
from monitor.words.plural import Plural, Template
from monitor.words.report_en import REPORT_WORDS
from monitor.words.seal_en import SEAL_WORDS
from monitor.words.trends_en import TRENDS_WORDS

HEADLINES: Final[Mapping[str, str]] = {
    "headline.land_now": "Land the load now",
    "headline.stop_hoisting": "Stop hoisting, lower back",
    "headline.stop_hoisting_grips": "Stop hoisting: a pad still grips",
    "headline.tilt_back": "Tilt back",
    "headline.no_signal": "No readings: land the load, listen for the lifter's own alarm",
    "headline.read_the_gauge": "Read the gauge on the lifter",
    "headline.land_soon": "Land the load soon",
    "headline.look": "Look at the lifter",
    "headline.look_at_circuit": "Look at circuit {circuit}",
    "headline.do_not_lift": "Do not lift",
    "headline.holding": "Holding",
    "headline.not_lifting": "Not lifting",
}

REASONS: Final[Mapping[str, Template]] = {
    "reason.lifter_alarm": "The lifter's own alarm sounds.",
    "reason.release_under_load": "Vacuum is let out while the lifter carries the load: close the release valve.",
    "reason.release_unsure": "Vacuum is let out, and the load is not known to be off: close the release valve.",
    "reason.critical": "Circuit {circuit} is at {vacuum_kpa}, under the {needed_kpa} this load needs.",
    "reason.low": "Circuit {circuit} is at {vacuum_kpa}, at or under its warning level {warning_kpa}.",
    "reason.open_in_flight": "Circuit {circuit} does not hold: {vacuum_kpa}, warning level {warning_kpa}.",
    "reason.margin_gone": "The load of {judged_kg} is at or over the limit by calculation, {rated_kg}.",
    "reason.early_under_landing": (
        "Circuit {circuit} may reach its warning level in {early_s} (likely {likely_s}); landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_twice_landing": (
        "Circuit {circuit} may reach its warning level in {early_s} (likely {likely_s}); landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_landing.likely_beyond": (
        "Circuit {circuit} may reach its warning level in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_twice_landing.likely_beyond": (
        "Circuit {circuit} may reach its warning level in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_landing.needed": (
        "Circuit {circuit} may reach what this load needs in {early_s} (likely {likely_s}); "
        "landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_twice_landing.needed": (
        "Circuit {circuit} may reach what this load needs in {early_s} (likely {likely_s}); "
        "landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_landing.needed.likely_beyond": (
        "Circuit {circuit} may reach what this load needs in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.early_under_twice_landing.needed.likely_beyond": (
        "Circuit {circuit} may reach what this load needs in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.losing.needed": (
        "Circuit {circuit} is losing vacuum: what this load needs in {early_s} at the earliest (likely {likely_s})."
    ),
    "reason.losing.needed.likely_beyond": (
        "Circuit {circuit} is losing vacuum: what this load needs in {early_s} at the earliest."
    ),
    "reason.reserve_under_landing.needed": (
        "Without its pump circuit {circuit} could reach what this load needs in {early_s}; "
        "landing takes up to {time_to_land_s}."
    ),
    "reason.reserve_short.needed": "If its pump stopped, circuit {circuit} could reach what this load needs in {early_s}.",
    "reason.losing.likely_beyond": "Circuit {circuit} is losing vacuum: its warning level in {early_s} at the earliest.",
    "reason.silent_after_trouble": "Nothing heard for {age_s}, and there was trouble before that.",
    "reason.standing": "It was time to land when the readings stopped: last reading {age_s} ago.",
    "reason.load_returns": "{load_kg} came back on the lifter after the release.",
    "reason.load_on_open": "{load_kg} is on the lifter while every circuit is open.",
    "reason.silent": "No reading can be believed; the last one came {age_s} ago.",
    "reason.never_heard": "No reading has come yet.",
    "reason.reserve_under_landing": (
        "Without its pump circuit {circuit} could reach its warning level in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.pump_stopped": "The pump of circuit {circuit} has stopped or builds no vacuum.",
    "reason.no_reading": "No reading from circuit {circuit}.",
    "reason.sensor_fault": "The readings of circuit {circuit} can't be believed.",
    "reason.sensor_doubt": "The last reading of circuit {circuit} can't be believed.",
    "reason.battery_low": "The battery is at {battery_v}, under {limit_v}: it may not last the lift.",
    "reason.battery_will_not_last": (
        "The battery may be down to {limit_v} in {early_s} (likely {likely_s}); landing takes up to {time_to_land_s}."
    ),
    "reason.battery_will_not_last.likely_beyond": (
        "The battery may be down to {limit_v} in {early_s}; landing takes up to {time_to_land_s}."
    ),
    "reason.over_plan": "The load is {load_kg}, planned were {planned_kg}.",
    "reason.under_plan": (
        "The load reads only {load_kg}, planned were {planned_kg}: another panel, or a load cell that is wrong."
    ),
    "reason.losing": "Circuit {circuit} is losing vacuum: its warning level in {early_s} at the earliest (likely {likely_s}).",
    "reason.reserve_short": "If its pump stopped, circuit {circuit} could reach its warning level in {early_s}.",
    "reason.building": "Vacuum is building: circuit {circuit} is at {vacuum_kpa}, warning level {warning_kpa}.",
    "reason.opened": "Circuit {circuit} is open: {vacuum_kpa}.",
    "reason.load_unknown": "The load on the lifter is not known.",
    "reason.tilt_outside_plan": "The tilt of {tilt_deg} is outside the plan.",
    "reason.wind_near": "Wind {wind_m_s}, limit {limit_m_s}, measured at the {at}.",
    "reason.too_early": "Circuit {circuit} holds; it is too early to say for how long.",
    "reason.alarm_stands": "An alarm of high priority still stands: see the alarms.",
    "reason.alarm_stands.circuit": "An alarm of high priority of circuit {circuit} still stands: see the alarms.",
    "reason.holding": Plural("The circuit holds, by the readings.", "{circuits_n} circuits hold, by the readings."),
    "reason.not_attached": "Nothing is attached.",
    "reason.parked": "Attached on the ground; nobody is lifting.",
    "reason.tandem": "Lifter {lifter} on the same panel calls for it.",
    "reason.engine_stopped": "Holdwatch was stopped.",
    "reason.engine_silent": "Holdwatch's engine says nothing: nobody watches the load.",
    "reason.engine_fault": "Holdwatch failed on this reading and can't judge it.",
}

RELEASES: Final[Mapping[str, str]] = {
    "release.do_not_release": "Do not release",
    "release.check_fixed": "Weight is off. Is the panel fixed?",
    "release.cannot_tell": "Holdwatch can't tell: check by eye that the panel is fixed",
    "release.not_attached": "",
    "release.load_on": "The lifter still carries the panel.",
    "release.load_lost": "The load reading is lost.",
    "release.not_steadily_off": "The load is not steadily off.",
    "release.rests": "The lifter rests on the panel.",
    "release.load_returns": "The load came back on the lifter.",
    "release.weight_off": "An upright panel on its blocks is held from falling by the pads alone.",
    "release.not_lifted_yet": "Not lifted yet. Before letting go: what else holds the panel?",
    "release.no_cell": "This lifter has no load cell.",
    "release.coarse": "The load cell is too coarse for this panel.",
    "release.partner": "Lifter {lifter} on the same panel still carries it.",
    "release.partner_unknown": "Whether lifter {lifter} on the same panel carries it is not known.",
}

CIRCUITS: Final[Mapping[str, str]] = {
    "circuit.never": "No reading yet.",
    "circuit.no_reading": "No reading for {age_s}.",
    "circuit.fault.frozen": "The sensor stands still: its reading can't be believed.",
    "circuit.fault.noisy": "The sensor jitters as it never did before: its reading can't be believed.",
    "circuit.fault.jumped": "The reading jumped up faster than any pump: it can't be believed.",
    "circuit.fault.gauges_disagree": "Its gauges disagree: the lower one counts.",
    "circuit.fault.gauge_missing": "One of its gauges is silent: the lower of its last value and the others counts.",
    "circuit.fault.not_a_number": "The reading is not a number.",
    "circuit.fault.not_finite": "The reading is not a number.",
    "circuit.fault.out_of_range": "The reading is out of range.",
    "circuit.fault.wrong_shape": "The reading can't be read.",
    "circuit.fault.not_known": "The reading can't be read.",
    "circuit.critical": "Under the {needed_kpa} this load needs.",
    "circuit.low": "At or under the warning level of {warning_kpa}.",
    "circuit.losing.warning": "Losing vacuum. May reach the warning level in {early_s} (likely {likely_s}).",
    "circuit.losing.needed": "Losing vacuum. May reach what this load needs in {early_s} (likely {likely_s}).",
    "circuit.losing.warning.likely_beyond": "Losing vacuum. May reach the warning level in {early_s} at the earliest.",
    "circuit.losing.needed.likely_beyond": "Losing vacuum. May reach what this load needs in {early_s} at the earliest.",
    "circuit.building": "Building. Warning level {warning_kpa}.",
    "circuit.open": "Open: not attached.",
    "circuit.holding.too_early": "Holding. Too early to say how long.",
    "circuit.holding.no_reserve": "Holding with its pump; how long without it is not known.",
    "circuit.holding.beyond.warning": "Holding. More than {horizon_s} to the warning level, by the present leak.",
    "circuit.holding.beyond.needed": "Holding. More than {horizon_s} to what this load needs, by the present leak.",
    "circuit.holding.reserve.warning": "Holding. At least {early_s} to the warning level if the pump stopped.",
    "circuit.holding.reserve.needed": "Holding. At least {early_s} to what this load needs if the pump stopped.",
}

PHASES: Final[Mapping[str, str]] = {
    "phase.idle": "Idle",
    "phase.sealing": "Sealing",
    "phase.seal_test": "Seal test",
    "phase.lifting": "Lifting",
    "phase.carrying": "Carrying",
    "phase.landing": "Landing",
    "phase.released": "Released",
    "phase.parked": "Parked",
}

ASSUMED: Final[Mapping[str, str]] = {
    "assumed.load": "No load is measured: the planned weight counts.",
    "assumed.tilt": "No tilt is measured: the panel is taken as upright, the margin at the worst tilt.",
    "assumed.rotation": "No turn is measured: the margin is that of the worst turn.",
    "assumed.ambient": "No ambient pressure is measured on the lifter: it is taken lower than the site's.",
    "assumed.height": "No height is measured: a fall of all circuits together may be the hoist, within its bounds.",
    "assumed.climb": "What measures the hoist does not fit circuits at rest: times are worked out without it.",
    "assumed.temperature": "No temperature is measured: gas that cools may hide a leak, and times allow for it.",
    "assumed.pump": (
        "A pump does not say whether it runs: its strokes are read off the vacuum, and one that never rests is not noticed."
    ),
    "assumed.interval": "Readings come at no steady interval: how long silence is normal is learned from them.",
}

ANSWERS: Final[Mapping[str, str]] = {
    "done.acknowledge": "Acknowledged.",
    "done.reset": "Reset.",
    "done.shelve": "Shelved.",
    "done.unshelve": "Back from the shelf.",
    "done.out_of_service": "Taken out of service, until maintenance puts it back.",
    "done.in_service": "Back in service.",
    "done.logged": "Noted in the record.",
    "done.picked_up": "Noted: the load is on.",
    "done.landed_fixed": "Noted: the panel is landed and fixed.",
    "done.surface": "Noted: the surface has changed; the margin follows.",
    "done.plan_withdrawn": "The plan is withdrawn: the next lift is judged without one.",
    "done.plan": "The plan is in force for the lift that follows.",
    "done.plan_next": "Saved for the next panel: the one in the air is judged as before.",
    "refused.no_such_lifter": "There is no such lifter on this site.",
    "refused.who": "Say who you are: nothing was done.",
    "refused.not_this_raising": "That alarm has moved on: look again before you answer it.",
    "refused.nothing_to_do": "That alarm has been answered already.",
    "refused.cannot_be_shelved": "This alarm can't be shelved: it calls for landing.",
    "refused.cannot_be_out_of_service": "This alarm can't be taken out of service: it calls for landing.",
    "refused.maintenance_only": "Only maintenance takes an alarm out of service or puts it back.",
    "refused.out_of_service_needs": "Taking an alarm out of service needs a reason.",
    "refused.no_such_alarm": "This lifter has no such alarm: name it, and its circuit if it is a circuit's.",
    "refused.shelve_needs": "Shelving needs a reason and a time of at most one hour.",
    "refused.surface": "The surface is dry, wet or oily.",
    "refused.supervisor_only": "Only the supervisor takes this back.",
    "refused.plan": "The plan does not fit this lifter: check weight, pads and tilts.",
    "refused.plan_in_flight": "A panel is in the air: its plan stands until it is landed.",
    "done.seal_test": "The seal test is asked for: it begins once every circuit holds and every pump rests.",
    "done.end_seal_test": "The seal test is broken off and counts as not passed.",
    "refused.seal_test": "A seal test is pre_pick or shift.",
    "refused.seal_test_runs": "A seal test is under way already.",
    "refused.seal_test_none": "No seal test is under way.",
    "refused.seal_test_load_on": "The load is on the lifter: a seal test is made before the pick.",
    "refused.seal_test_open": "Nothing is attached: press the pads on and build the vacuum first.",
    "refused.not_known": "Holdwatch does not know this action.",
    "refused.not_written": "This could not be written to the disk: nothing was done.",
}

ABOUTS: Final[Mapping[str, str]] = {"about.circuit": "circuit {about}", "about.lifter": "lifter"}

ALARM_WORDS: Final[Mapping[str, str]] = {
    "fold.more": "and {alarms_n} more from it",
    "fold.flood": "{alarms_n} alarms within a minute; this is the first cause",
    "alarm.nothing_now": "“{alarm}” tells nothing now",
    **{f"alarm.{rule.key}.says": rule.says for rule in ALARMS},
    **{f"alarm.{rule.key}.do": rule.do for rule in ALARMS},
    **{f"alarm.{rule.key}.cause": rule.cause for rule in ALARMS},
    **{f"alarm.{rule.key}.consequence": rule.consequence for rule in ALARMS},
    **{f"alarm.{rule.key}.name": rule.key.replace("_", " ").capitalize() for rule in ALARMS},
    **{f"word.alarm.{name}": name for name in (rule.key.replace("_", " ") for rule in ALARMS)},
}

UNITS: Final[Mapping[str, str]] = {
    "unit.none": "{n}",
    "unit.percent": "{n} %",
    "unit.s": "{n} s",
    "unit.min": "{n} min",
    "unit.min_s": "{n} min {rest} s",
    "unit.h": "{n} h",
    "unit.h_min": "{n} h {rest} min",
    "unit.kpa": "{n} kPa",
    "unit.kpa_per_min": "{n} kPa/min",
    "unit.kg": "{n} kg",
    "unit.v": "{n} V",
    "unit.m_s": "{n} m/s",
    "unit.deg": "{n}°",
    "unit.mm": "{n} mm",
    "unit.m": "{n} m",
    "unit.c": "{n} °C",
    "unit.inhg": "{n} inHg",
    "unit.inhg_per_min": "{n} inHg/min",
    "unit.lb": "{n} lb",
    "unit.mph": "{n} mph",
    "unit.in": "{n} in",
    "unit.ft": "{n} ft",
    "unit.f": "{n} °F",
}

NAMED: Final[Mapping[str, str]] = {
    f"word.{name}.{word}": word
    for name, words in {
        "at": ("ground", "lifter", "crane", "mast"),
        "where": ("ground", "lifter", "crane", "mast"),
        "surface": ("dry", "wet", "oily"),
        "role": ("operator", "landing", "supervisor", "maintenance"),
    }.items()
    for word in words
}
"""Values that are words themselves, by the value's name; any other text is said as it is."""

TABLES: Final[tuple[Mapping[str, Template], ...]] = (
    HEADLINES, REASONS, RELEASES, CIRCUITS, PHASES, ASSUMED, ANSWERS, ABOUTS, ALARM_WORDS, UNITS, NAMED, PLAN_WORDS,
    SEAL_WORDS, TRENDS_WORDS, MAINTENANCE_WORDS, REPORT_WORDS, PAGE_WORDS, PLANNING_WORDS, FAULTS, FIGURE_WORDS,
)  # fmt: skip
TEMPLATES: Final[Mapping[str, Template]] = {key: words for table in TABLES for key, words in table.items()}
"""Every template by its key. A key stands in one table alone."""
