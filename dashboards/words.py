"""What the pages say of themselves, by key and language. What the engine says comes in the status.

Templates are whole sentences; values are put in by name, never glued on.
"""

from collections.abc import Mapping
from typing import Final

ENGLISH: Final[Mapping[str, str]] = {
    "caution": "This screen is an aid. The gauge and alarm on the lifter, the lift plan and your local rules decide. "
    "Keep clear of a raised load.",
    # -- no signal: said by the page when it, the server or the engine has gone quiet
    "lost.big": "No signal",
    "lost.first": "This screen has no live readings yet. Read the gauge on the lifter and listen for its own alarm.",
    "lost.load_on": "This screen has lost touch. Land the load, and listen for the lifter's own alarm.",
    "lost.on_ground": "This screen has lost touch. Read the gauge on the lifter.",
    "lost.land_now": "This screen has lost touch. Its last call stands: land the load now.",
    "lost.waiting": "Waiting for the first readings from the engine.",
    "lost.engine": "The engine has sent nothing since {clock}.",
    "lost.lifter": "There is no lifter “{lifter}” on this site.",
    "lost.last": "Last seen at {clock}",
    "stale.reason": "The engine has not judged this lifter since {clock}. Read the gauge on the lifter; land the load.",
    "stale.release": "Do not release",
    "stale.circuit": "Not judged.",
    # -- call
    "load.now": "Load {load} kg",
    "load.judged": "Load {load} kg, judged as {judged} kg",
    "load.planned": "Planned load {load} kg",
    "load.unknown": "Load not known",
    "load.lost": "Load reading lost, largest of this lift {largest} kg",
    "load.below": "{margin} kg below the limit",
    "load.over": "{margin} kg over the limit",
    "load.no_margin": "Room to the limit not known",
    "load.limit": "Limit {rated} kg",
    "load.no_limit": "Limit not known",
    "load.no_pads": "No pads are set up for this lifter, so what it may carry is not worked out. Its plate decides.",
    "load.governs.plate": "The limit is the lifter's plate.",
    "load.governs.basis": "The limit follows from the vacuum and the design standard.",
    "load.governs.friction": "The limit follows from friction on this surface.",
    "load.governs.worst_pad": "The limit follows from the hardest worked pad.",
    "load.if_lost": "Without circuit {circuit} the rest would hold {factor} times the load, by calculation.",
    "governs.plate": "the lifter's plate",
    "governs.basis": "the vacuum and the design standard",
    "governs.friction": "friction on the surface",
    "governs.worst_pad": "the hardest worked pad",
    "call.land_now": "Land now",
    "call.no_signal": "No signal",
    "call.land_soon": "Land soon",
    "call.look": "Look",
    "call.holding": "Holding",
    "call.not_lifting": "Not lifting",
    # -- circuits
    "circuit.name": "Circuit {circuit}",
    "state.no_reading": "No reading",
    "state.sensor_fault": "Sensor fault",
    "state.critical": "Too low",
    "state.low": "Low",
    "state.losing": "Losing vacuum",
    "state.holding": "Holding",
    "state.building": "Building",
    "state.open": "Not attached",
    "rate.down": "down {rate} a minute",
    "rate.steady": "steady",
    "pump.on": "pump on",
    "pump.off": "pump off",
    "pump.cycling": "pump cycling",
    "time.now": "now",
    "time.beyond": "over 1 h",
    "time.unknown": "?",
    "trace.warning": "warning {level}",
    "trace.land": "landed",
    "age": "{n} s ago",
    # -- facts
    "fact.phase": "Phase",
    "fact.tilt": "Tilt",
    "fact.height": "Height",
    "fact.battery": "Battery",
    "fact.wind": "Wind at the {place}",
    "fact.temperature": "Air",
    "fact.reading": "Last reading",
    "fact.lifter": "Lifter",
    "lifter.pads": "{lifter}, {n} pads",
    "tilt.flat": "{n}° flat",
    "tilt.leaning": "{n}°",
    "tilt.upright": "{n}° upright",
    "tilt.over": "{n}° over",
    "tilt.assumed": "taken as upright",
    # -- alarms
    "alarms.more": "{n} alarms",
    "alarm.words": "{about}: {words}",
    "alarm.since": "since {clock}",
    "alarm.unacknowledged": "not acknowledged",
    "alarm.acknowledged": "acknowledged",
    "alarm.returned_unacknowledged": "over, not acknowledged",
    "alarm.latched_unacknowledged": "held, not acknowledged",
    "alarm.latched_acknowledged": "held, acknowledged",
    "alarm.shelved": "shelved",
    "alarm.suppressed": "suppressed in this phase",
    "alarm.out_of_service": "out of service",
    "alarm.set_aside": "{said} by {by}: {why}",
    "alarm.acknowledge": "Acknowledge",
    # -- notices
    "notice.broker": "Broker lost since {clock}: no readings arrive until it is back.",
    "notice.store": "Records can't be written: the disk is full or refuses. Nothing new is kept until it is mended.",
    "notice.disk": "The disk is nearly full: {percent} % left.",
    # -- seal test
    "seal.pre_pick": "Before the pick, on the panel",
    "seal.shift": "Start of shift, on a clean plate",
    # -- landing
    "landing.load": "Load still on the lifter",
    "landing.of": "of {largest} kg. Do not release until the panel is fixed and the supervisor says so.",
    "landing.rule": "Do not release until the panel is fixed and the supervisor says so.",
    "landing.kg": "{load} kg",
    "landing.unknown": "not known",
    # -- story
    "story.label": "Demonstration: no real lifter",
}


def say(key: str, **values: object) -> str:
    """The words for a key, values put in by name."""
    return ENGLISH[key].format_map(values)
