"""Statuses as the engine tells them, for pages to be tried on: one for each call, and what may be varied."""

import copy
from typing import Any

from monitor.core.messages import Text, Value
from monitor.words.say import say, text_dict

SITE = {
    "id": "quayside",
    "units": "metric",
    "language": "en",
    "time_zone": "UTC",
    "root": "holdwatch",
    "broker": "mqtt://127.0.0.1:1883",
    "lifters": [{"id": "dock-6", "name": "Dock 6", "circuits": ["A", "B"]}],
}

JsonObject = dict[str, Any]


def told(name: str, key: str, **values: Value) -> JsonObject:
    """English words and the text they were made from, as a status has them."""
    text = Text(key, values)
    return {name: say(text), "text" if name == "words" else f"{name}_text": text_dict(text)}


_WORDS_OF: dict[str, tuple[str, dict[str, Value]]] = {
    "holding": ("circuit.holding.reserve.warning", {"early_s": 2460.0}),
    "low": ("circuit.low", {"warning_kpa": 52.0}),
    "critical": ("circuit.critical", {"needed_kpa": 35.9}),
    "building": ("circuit.building", {"warning_kpa": 52.0}),
    "sensor_fault": ("circuit.fault.frozen", {}),
    "no_reading": ("circuit.never", {}),
    "losing": ("circuit.losing.warning", {"early_s": 250.0, "likely_s": 378.0}),
    "open": ("circuit.open", {}),
}
"""What is said of a circuit in each state."""


def circuit(state: str = "holding", vacuum_kpa: float | None = 63.1, **changed: Any) -> JsonObject:
    """One circuit. ``changed`` replaces keys."""
    beyond = {"level": "warning", "early": None, "likely": None, "late": None}
    reserve = {"level": "warning", "early": 2460.0, "likely": 3300.0, "late": None}
    said: JsonObject = {
        "state": state,
        "vacuum_kpa": vacuum_kpa,
        "age_s": 0.2,
        "warning_kpa": 52.0,
        "needed_kpa": 35.9,
        "pump": "off",
        "leak_kpa_per_min": 0.02,
        "assumed": [],
        "to_warning_s": beyond if state == "holding" else None,
        "reserve_s": reserve if state == "holding" else None,
        **told("words", _WORDS_OF[state][0], **_WORDS_OF[state][1]),
        "working_kpa": 62.0,
        "in_use": True,
        "fault": None,
        "falling": False,
    }
    return said | changed


def losing(
    early: float = 250.0, likely: float | None = 378.0, late: float | None = 560.0, **changed: Any
) -> JsonObject:
    """A circuit that loses vacuum."""
    bounds = {"level": "warning", "early": early, "likely": likely, "late": late}
    said = {
        "leak_kpa_per_min": 0.92,
        "to_warning_s": bounds,
        "reserve_s": bounds,
        **told("words", "circuit.losing.warning", early_s=early, likely_s=likely),
        "falling": True,
    }
    return circuit("losing", 57.8, **(said | changed))


def silent(age_s: float | None = 12.4) -> JsonObject:
    """A circuit without a reading to be believed."""
    said = told("words", "circuit.never" if age_s is None else "circuit.no_reading", age_s=age_s)
    return circuit("no_reading", None if age_s is None else 61.2, age_s=age_s, leak_kpa_per_min=None, **said)


def alarm(state: str = "unacknowledged", priority: str = "high", raising_n: int = 17, **changed: Any) -> JsonObject:
    """One alarm."""
    said: JsonObject = {
        "raising": f"dock-6/B/losing_vacuum/{raising_n}",
        "key": "losing_vacuum",
        **told("about", "about.circuit", about="B"),
        "priority": priority,
        "state": state,
        "shelved": False,
        "suppressed": False,
        "out_of_service": False,
        "since": 1764019101.2,
        "acknowledged_by": None,
        "set_aside_by": None,
        "set_aside_why": None,
        **told("words", "alarm.losing_vacuum.says", value_s=250.0, limit_s=480.0, held_s=12.0),
        **told("do", "alarm.losing_vacuum.do"),
    }
    return said | changed


def status(call: str = "holding", lifter: str = "dock-6", **changed: Any) -> JsonObject:
    """A lifter's status for a call, made to fit it; ``changed`` replaces keys at the top."""
    said = copy.deepcopy(_BASE) | {"lifter": lifter} | copy.deepcopy(CALLS[call]) | changed
    lines = [alarm_line(one) for one in said["alarms"]]
    return {"alarm_lines": lines} | said | {"call": call}


def alarm_line(lead: JsonObject, *under: JsonObject, **changed: Any) -> JsonObject:
    """One line of the alarm list."""
    said: JsonObject = {
        "lead": lead["raising"],
        "under": [one["raising"] for one in under],
        "priority": lead["priority"],
        "flood": False,
        "text": {"key": "fold.more", "values": {"alarms_n": len(under)}} if under else None,
        "words": f"and {len(under)} more from it" if under else "",
    }
    return said | changed


_BASE: JsonObject = {
    "version": 1,
    "site": "quayside",
    "lifter": "dock-6",
    "time": 1764019200.31,
    "valid_for_s": 3.0,
    "reading_time": 1764019200.125,
    "phase": "carrying",
    "phase_words": "Carrying",
    "call": "holding",
    "release": "do_not_release",
    **told("headline", "headline.holding"),
    **told("reason", "reason.holding", circuits_n=2),
    **told("release_words", "release.do_not_release"),
    **told("release_reason", "release.load_on", load_kg=622.5, largest_kg=624.0),
    "load": {"kg": 622.5, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "on"},
    "holding": {
        "basis": "asme-bth-1",
        "governs": "plate",
        "at_tilt_deg": 90.0,
        "rated_kg": 900.0,
        "margin_kg": 276.0,
        "margin_ratio": 0.442,
        "now_kg": 1066.0,
        "worst_pad": {"id": "B3", "use_ratio": 0.69},
        "if_lost": {"A": {"factor": 1.45, "needed_factor": None}, "B": {"factor": 1.47, "needed_factor": None}},
    },
    "circuits": {"A": circuit(), "B": circuit(vacuum_kpa=62.4)},
    "alarms": [],
    "lifter_name": "Dock 6",
    "time_to_land_s": 240.0,
    "in_flight": True,
    "assumed": [],
    "assumed_words": [],
    "facts": {
        "tilt_deg": 88.0,
        "rotation_deg": 0.0,
        "height_m": 41.0,
        "ambient_kpa": 101.1,
        "temperature_c": 14.2,
        "battery_v": 24.6,
        "wind_m_s": 4.2,
        "wind_at": "ground",
        "pads_n": 6,
        "age_s": 0.2,
        "slow": False,
    },
    "lift": {"id": "dock-6-1764018900", "since": 1764018900.0, "picks_n": 1, "loaded": True, "largest_kg": 624.0},
    "link": "up",
    "counts": {},
    "seal_tests": {"pre_pick": None, "shift": None},
    "plan": None,
}

_LOW = circuit("low", 51.4, leak_kpa_per_min=1.3)

CALLS: dict[str, JsonObject] = {
    "land_now": {
        **told("headline", "headline.land_now"),
        **told("reason", "reason.low", circuit="B", vacuum_kpa=51.4, warning_kpa=52.0),
        "circuits": {"A": circuit(), "B": _LOW},
        "alarms": [
            alarm(
                raising="dock-6/B/vacuum_low/3",
                key="vacuum_low",
                **told("words", "alarm.vacuum_low.says", value_kpa=51.4, limit_kpa=52.0, held_s=12.0),
                **told("do", "alarm.vacuum_low.do"),
            )
        ],
    },
    "no_signal": {
        **told("headline", "headline.no_signal"),
        **told("reason", "reason.silent", age_s=12.4),
        **told("release_reason", "release.load_lost"),
        "load": {"kg": None, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "unknown"},
        "circuits": {"A": silent(), "B": silent()},
        "facts": _BASE["facts"] | {"age_s": 12.4},
    },
    "land_soon": {
        **told("headline", "headline.land_soon"),
        **told(
            "reason",
            "reason.early_under_twice_landing",
            circuit="B",
            early_s=250.0,
            likely_s=378.0,
            time_to_land_s=240.0,
        ),
        "circuits": {"A": circuit(), "B": losing()},
        "alarms": [alarm()],
    },
    "look": {
        **told("headline", "headline.look_at_circuit", circuit="B"),
        **told("reason", "reason.reserve_short", circuit="B", early_s=250.0),
    },
    "holding": {},
    "not_lifting": {
        "phase": "idle",
        "phase_words": "Idle",
        **told("headline", "headline.not_lifting"),
        **told("reason", "reason.not_attached"),
        "release": "not_attached",
        **told("release_words", "release.not_attached"),
        **told("release_reason", "release.not_attached"),
        "in_flight": False,
        "load": {"kg": 0.4, "source": "measured", "judged_kg": None, "planned_kg": None, "known": "off"},
        "holding": None,
        "circuits": {name: circuit("open", 0.1, leak_kpa_per_min=None, needed_kpa=None) for name in ("A", "B")},
        "lift": None,
    },
}
"""What differs for each call."""


def with_circuits(said: JsonObject, count: int) -> JsonObject:
    """The same status with ``count`` circuits: those it has, and as many as are wanting."""
    names = "ABCDEF"[:count]
    some = list(said["circuits"].values())
    circuits = {name: copy.deepcopy(some[i] if i < len(some) else some[0]) for i, name in enumerate(names)}
    return said | {"circuits": circuits}
