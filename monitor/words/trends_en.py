"""English: what the maintenance list says. One sentence a message key: what was seen, by how much, since when."""

from collections.abc import Mapping
from typing import Final

TRENDS_WORDS: Final[Mapping[str, str]] = {
    "care.leak_over": (
        "Circuit {circuit} leaks {leak_kpa_per_min} at the reference conditions; service is due at {limit_kpa_per_min}."
    ),
    "care.leak_reaches": (
        "Circuit {circuit} leaks {leak_kpa_per_min} and may reach its service limit of {limit_kpa_per_min} on "
        "{early_utc_s} (likely {likely_utc_s})."
    ),
    "care.leak_may_reach": (
        "Circuit {circuit} leaks {leak_kpa_per_min} and may reach its service limit of {limit_kpa_per_min} on "
        "{early_utc_s} at the earliest."
    ),
    "care.leak_stepped": (
        "The leak of circuit {circuit} stepped up by {step_kpa_per_min} on {at_utc_s}; it is now {leak_kpa_per_min}."
    ),
    "care.leak_may_step": (
        "The leak of circuit {circuit} may have stepped up by {step_kpa_per_min} on {at_utc_s}; a few more lifts will tell."
    ),
    "care.service_no_better": (
        "The service of circuit {circuit} on {at_utc_s} brought no less leak: {before_kpa_per_min} before, "
        "{after_kpa_per_min} after."
    ),
    "care.not_sealed": "Circuit {circuit} did not pass its last seal test, on {at_utc_s}.",
    "care.leak_over_sisters": "Circuit {circuit} leaks {times_ratio} times what the other circuits of this lifter leak.",
    "care.pump_slow": "The pump of circuit {circuit} takes {pump_down_s} to its warning level, half as long again as when new.",
    "care.pump_slower": (
        "The pump of circuit {circuit} grows slower ({pump_down_s} now) and may take half as long again as when new from "
        "{early_utc_s} on."
    ),
    "care.zero_off": (
        "The gauge of circuit {circuit} is off zero by {open_kpa} with the pads open, over the {limit_kpa} allowed."
    ),
    "care.gauges_apart": "The gauges of circuit {circuit} are {apart_kpa} apart on the mean of a lift.",
    "care.battery_low": "The battery falls to {battery_v} on a lift, at or under its limit of {limit_v}.",
    "care.battery_reaches": (
        "The battery falls to {battery_v} on a lift and may reach its limit of {limit_v} from {early_utc_s} on."
    ),
    "care.examination_due": "The thorough examination is due on {due_utc_s}.",
    "care.examination_over": "The thorough examination was due on {due_utc_s}: do not lift before it is done.",
    "care.inspection_due": "The periodic inspection is due on {due_utc_s}; {lifts_n} lifts since {since_utc_s}.",
    "care.inspection_over": "The periodic inspection was due on {due_utc_s}; {lifts_n} lifts since {since_utc_s}.",
    "care.inspection_by_use": "{lifts_n} lifts since {since_utc_s}; the periodic inspection is due after {limit_n}.",
}
