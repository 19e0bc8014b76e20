"""Is the load known to be off? The second answer, which neither hides the call nor is hidden by it.

Nothing here ever says that a release may start.
"""

from enum import StrEnum

from monitor.core.facts import CircuitState, Facts
from monitor.core.load import LoadKnown, has_cell, is_coarse, off_band_kg
from monitor.core.messages import Text
from monitor.core.phases import Phase


class Release(StrEnum):
    """The release answer (DESIGN, release table)."""

    DO_NOT_RELEASE = "do_not_release"
    CHECK_FIXED = "check_fixed"
    CANNOT_TELL = "cannot_tell"
    NOT_ATTACHED = "not_attached"


def judge(facts: Facts) -> tuple[Release, Text]:
    """The release answer and why. It is never better than known: silence, a doubt or a drifted zero is "do not"."""
    if facts.released_load_kg is not None:
        return Release.DO_NOT_RELEASE, Text("release.load_returns", {"load_kg": facts.released_load_kg})
    if facts.load_known is not LoadKnown.ON and _nothing_attached(facts):
        return Release.NOT_ATTACHED, Text("release.not_attached")
    if not has_cell(facts.config):
        return Release.CANNOT_TELL, Text("release.no_cell")
    if facts.load_lost:
        return Release.DO_NOT_RELEASE, Text("release.load_lost")
    largest_kg = facts.load.largest_kg
    values = {"load_kg": facts.load_kg, "largest_kg": largest_kg}
    if facts.load_known is LoadKnown.ON:
        return Release.DO_NOT_RELEASE, Text("release.load_on", values)
    band_kg = off_band_kg(facts.config, largest_kg)
    hangs = facts.load_kg is not None and facts.load_kg > band_kg
    if is_coarse(facts.config, largest_kg if largest_kg is not None else facts.planned_kg) and not hangs:
        return Release.CANNOT_TELL, Text("release.coarse", {"band_kg": band_kg})
    if facts.load_known is LoadKnown.OFF:
        return Release.CHECK_FIXED, Text("release.not_lifted_yet" if largest_kg is None else "release.weight_off")
    if facts.load_kg is not None and facts.load_kg < -band_kg:
        return Release.DO_NOT_RELEASE, Text("release.rests", {"load_kg": facts.load_kg})
    return Release.DO_NOT_RELEASE, Text("release.not_steadily_off", values)


def _nothing_attached(facts: Facts) -> bool:
    """Idle or released, and every circuit heard to be open just now: silence in `idle` proves nothing."""
    return facts.phase in {Phase.IDLE, Phase.RELEASED} and all(
        circuit.state is CircuitState.OPEN for circuit in facts.circuits.values()
    )


def with_partner(answer: Release, text: Text, facts: Facts) -> tuple[Release, Text]:
    """Two lifters on one panel: the answer changes only when both are known to be off. Told, never kept."""
    for lifter, (_, partner) in facts.partners.items():
        if partner == Release.DO_NOT_RELEASE and answer is not Release.DO_NOT_RELEASE:
            return Release.DO_NOT_RELEASE, Text("release.partner", {"lifter": lifter})
    for lifter, (_, partner) in facts.partners.items():
        if partner == Release.CANNOT_TELL and answer in {Release.CHECK_FIXED, Release.NOT_ATTACHED}:
            return Release.CANNOT_TELL, Text("release.partner_unknown", {"lifter": lifter})
    return answer, text
