"""English: what a guided seal test says. One whole sentence or two a message key."""

from collections.abc import Mapping
from typing import Final

SEAL_WORDS: Final[Mapping[str, str]] = {
    "seal.waiting": "Waiting: the test begins by itself once every circuit holds and every pump rests.",
    "seal.running.pre_pick": "Pumps at rest: every circuit is watched. Do not lift yet.",
    "seal.running.shift": "Pumps at rest: every circuit is watched. Leave the plate alone.",
    "seal.running.failed": "Circuit {circuit} did not pass; the others are watched to the end. Do not lift.",
    "seal.passed.pre_pick": "Passed: every circuit has the reserve asked for, by these readings. The supervisor decides.",
    "seal.passed.shift": "Passed: every circuit kept its vacuum on this plate, by these readings. The supervisor decides.",
    "seal.not_passed": "Not passed: circuit {circuit}. Do not lift: find out why, then test again.",
    "seal.broken.restart": "Not passed: Holdwatch was restarted and did not see the test to its end. Test again.",
    "seal.broken.by_hand": "Not passed: the test was broken off by hand.",
    "seal.broken.load_on": "Not passed: the load came on before the test was over. Lower back and test again.",
    "seal.broken.pads": "Not passed: the pads in use were changed meanwhile. Test again.",
    "seal.broken.waited": "Not passed: the test could not begin within 2 min. The circuits say why.",
    # One circuit.
    "seal.circuit.ready": "Holds, and its pump rests. Waiting for the others.",
    "seal.circuit.pump_runs": "Its pump runs. Waiting for it to rest: switch it off, or let it reach its level.",
    "seal.circuit.builds": "At {vacuum_kpa}, not above its warning level of {warning_kpa}. Waiting for more vacuum.",
    "seal.circuit.watched": "Began at {start_kpa}, now {vacuum_kpa}.",
    "seal.circuit.no_reading": "No reading for {age_s}: nobody knows what happened meanwhile.",
    "seal.circuit.sensor_fault": "Its readings can't be believed: look at the sensor, then test again.",
    "seal.circuit.never_moved": (
        "Its gauge has said {vacuum_kpa} ever since it was first heard, so it may be stuck. Let some air in, pump again, see "
        "it move, and test again."
    ),
    "seal.circuit.pump_came_on": "Its pump came on after {after_s}: the test proves nothing. Switch it off and test again.",
    "seal.circuit.rose": "Its vacuum rose by {rise_kpa}: a pump was at work. Switch it off and test again.",
    "seal.circuit.low.warning": "Fell to {vacuum_kpa} after {after_s}; its warning level is {level_kpa}.",
    "seal.circuit.low.needed": "Fell to {vacuum_kpa} after {after_s}; this lift needs {level_kpa} of it.",
    "seal.circuit.lost_too_much": (
        "Fell from {start_kpa} to {low_kpa}: it lost {lost_percent}, and at most {most_percent} in {over_s} is allowed."
    ),
    "seal.circuit.reserve_short": (
        "Without its pump it may reach its level in {early_s}; at least {reserve_needed_s} is asked for."
    ),
    "seal.circuit.beyond_short": (
        "Holds for {horizon_s} by the present leak, and no further is looked; at least {reserve_needed_s} is asked for."
    ),
    "seal.circuit.too_early": "Too early to say how long it would hold. Test again, and leave the pump off.",
    "seal.circuit.passed.pre_pick": (
        "Held: by its present leak at least {early_s} to its level without the pump; {reserve_needed_s} is asked for."
    ),
    "seal.circuit.passed.beyond": (
        "Held: by its present leak more than {horizon_s} to its level without the pump; {reserve_needed_s} is asked for."
    ),
    "seal.circuit.passed.shift": (
        "Held: from {start_kpa} to {low_kpa} in {over_s}, {lost_percent} lost of {most_percent} allowed; above its warning "
        "level for {held_s}."
    ),
}
"""By message key. Placeholders are filled from the message's values in the viewer's units."""
