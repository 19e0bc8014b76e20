"""The status as other systems read it: every key with its meaning, and the JSON Schema made of that.

``python -m monitor.words.status_schema > dashboards/help/status.schema.json`` makes the published file anew. Readers must
pass over keys they don't know: new ones may join within version 1, none changes its meaning or goes.
"""

import json
from typing import Annotated, Any, Final, Literal, TypedDict

import msgspec
from msgspec import Meta

from monitor.core.alarm_table import Priority
from monitor.core.alarms import State
from monitor.core.call import Call
from monitor.core.config import Basis
from monitor.core.facts import CircuitState
from monitor.core.load import LoadKnown
from monitor.core.phases import Phase
from monitor.core.readings import Pump
from monitor.core.release import Release
from monitor.core.seal_tests import SealState, SealTestKind

SCHEMA_ID: Final = "urn:holdwatch:status:1"

Utc = Annotated[float, Meta(description="UTC, epoch seconds")]
Share = Annotated[float, Meta(description="ratio")]


class TextTold(TypedDict):
    """A message: its key and the SI values in it, to be said in any language; value names end in their unit."""

    key: str
    values: dict[str, float | str | None]


class PlanTold(TypedDict):
    """The plan the next lift, or this one, is judged against: by whom, in what role, when, and what for."""

    who: str
    role: str
    at: Utc
    weight_kg: Annotated[float | None, Meta(description="planned weight; null where the plan says none")]
    pads: Annotated[list[str] | None, Meta(description="pads in use; null for all")]
    verdict: Annotated[str | None, Meta(description="within_limits or outside_limits, of the figures entered")]


class LoadTold(TypedDict):
    """The load on the lifter, kg. `judged_kg` is what the margin is judged by."""

    kg: Annotated[float | None, Meta(description="measured now; null when not known")]
    source: Literal["measured", "planned", "none"]
    judged_kg: float | None
    planned_kg: float | None
    known: LoadKnown


class PadTold(TypedDict):
    """The pad that is used most."""

    id: str
    use_ratio: float | None


class LostTold(TypedDict):
    """What is left when a circuit is lost: the factor, and the one needed where a rule asks for it."""

    factor: float | None
    needed_factor: float | None


class HoldingTold(TypedDict):
    """What can be held, kg: by calculation from the figures entered, never more than the plate."""

    basis: Basis
    governs: Literal["plate", "basis", "friction", "worst_pad"]
    at_tilt_deg: float | None
    rated_kg: float | None
    margin_kg: Annotated[float | None, Meta(description="rated minus load; below 0 is over it")]
    margin_ratio: Annotated[float | None, Meta(description="margin over load; null when the load is zero or unknown")]
    now_kg: Annotated[float | None, Meta(description="at the present vacuum; information only")]
    worst_pad: PadTold | None
    if_lost: dict[str, LostTold]


class BoundsTold(TypedDict):
    """Time until a level, s: 5 % bound, likely, 95 % bound. A null bound is further away than the horizon."""

    level: Literal["warning", "needed"]
    early: float | None
    likely: float | None
    late: float | None


class CircuitTold(TypedDict):
    """One vacuum circuit. Vacuum is kPa below ambient, positive."""

    state: CircuitState
    vacuum_kpa: Annotated[float | None, Meta(description="last believed; see age_s")]
    age_s: float | None
    warning_kpa: float
    working_kpa: float
    needed_kpa: float | None
    pump: Pump | None
    leak_kpa_per_min: Annotated[float | None, Meta(description="positive when vacuum is lost")]
    assumed: list[str]
    to_warning_s: Annotated[BoundsTold | None, Meta(description="as things go now; null is unknown")]
    reserve_s: Annotated[BoundsTold | None, Meta(description="if the pump stopped now; null is unknown")]
    falling: bool
    fault: Annotated[str | None, Meta(description="why the newest value is not believed")]
    in_use: bool
    text: TextTold
    words: str


class AlarmToldJson(TypedDict):
    """One alarm that is not normal, in the life cycle of IEC 62682."""

    raising: Annotated[str, Meta(description="names this one raising; an acknowledge must give it")]
    key: str
    about: str
    about_text: TextTold
    priority: Priority
    state: State
    shelved: bool
    suppressed: bool
    out_of_service: bool
    since: Utc
    acknowledged_by: str | None
    set_aside_by: str | None
    set_aside_why: str | None
    text: TextTold
    words: str
    do: str
    do_text: TextTold


class AlarmLineTold(TypedDict):
    """One line of the alarm list: one cause, or many alarms within a minute."""

    lead: Annotated[str, Meta(description="the raising that leads")]
    under: Annotated[list[str], Meta(description="raisings folded under it; each keeps its own acknowledge")]
    priority: Annotated[Priority, Meta(description="the highest of all its alarms")]
    flood: Annotated[bool, Meta(description="four or more were raised within a minute")]
    text: TextTold | None
    words: Annotated[str, Meta(description="what is said beside the leading alarm's own words; may be empty")]


class FactsTold(TypedDict):
    """What else is known at this instant."""

    tilt_deg: float | None
    rotation_deg: float | None
    height_m: float | None
    ambient_kpa: float | None
    temperature_c: float | None
    battery_v: float | None
    wind_m_s: float | None
    wind_at: str
    pads_n: int
    age_s: Annotated[float | None, Meta(description="age of the last reading, s")]
    slow: bool


class LiftToldJson(TypedDict):
    """The lift in progress."""

    id: str
    since: Utc
    picks_n: int
    loaded: bool
    largest_kg: float | None


class CircuitSealTold(TypedDict):
    """One circuit in a seal test."""

    state: SealState
    start_kpa: float | None
    last_kpa: float | None
    lowest_kpa: float | None
    reserve_early_s: float | None
    text: TextTold
    words: str


class SealTestTold(TypedDict):
    """A guided seal test."""

    test: SealTestKind
    state: SealState
    who: str
    role: str
    asked: Utc | None
    begun: Utc | None
    ended: Utc | None
    for_s: float
    left_s: float | None
    needed_s: float | None
    text: TextTold
    words: str
    circuits: dict[str, CircuitSealTold]


class StatusTold(TypedDict):
    """What Holdwatch tells of one lifter: retained on `<root>/<site>/<lifter>/status`, and in `/api/status`.

    A status older than `valid_for_s` means `no_signal`, whatever it says. Holdwatch is an aid, not a safety device: the
    lifter's own gauge and alarm, the lift plan, local codes and a competent person decide.
    """

    version: Literal[1]
    site: str
    lifter: str
    lifter_name: str
    time: Utc
    valid_for_s: float
    reading_time: Annotated[float | None, Meta(description="of the last reading, by its sender's clock if it has one")]
    phase: Phase
    phase_words: str
    call: Annotated[Call, Meta(description="worst first: land_now, no_signal, land_soon, look, holding, not_lifting")]
    release: Annotated[Release, Meta(description="never says that a release may start")]
    headline: str
    headline_text: TextTold
    reason: str
    reason_text: TextTold
    release_words: str
    release_words_text: TextTold
    release_reason: str
    release_reason_text: TextTold
    load: LoadTold
    holding: Annotated[HoldingTold | None, Meta(description="null where no pads are configured, or nothing is known")]
    circuits: dict[str, CircuitTold]
    alarms: list[AlarmToldJson]
    alarm_lines: Annotated[list[AlarmLineTold], Meta(description="every alarm is in exactly one line")]
    time_to_land_s: float
    in_flight: bool
    assumed: Annotated[list[str], Meta(description="what was not measured and is taken cautiously")]
    assumed_words: Annotated[list[str], Meta(description="how each of `assumed` is taken, in English")]
    facts: FactsTold
    lift: LiftToldJson | None
    link: Literal["up", "down"]
    counts: Annotated[dict[str, int], Meta(description="messages since the engine began, by what they were")]
    seal_tests: dict[str, SealTestTold | None]
    plan: PlanTold | None


def status_schema() -> dict[str, Any]:
    """The JSON Schema (2020-12) of a status."""
    made = msgspec.json.schema(StatusTold)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA_ID, **made}


if __name__ == "__main__":
    print(json.dumps(status_schema(), indent=1))
