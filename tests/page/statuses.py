"""Statuses as the engine tells them, for pages to be tried on: one for each call, and what may be varied."""

import copy
from typing import Any

SITE = {
    "id": "quayside",
    "units": "metric",
    "language": "en",
    "time_zone": "UTC",
    "lifters": [{"id": "dock-6", "name": "Dock 6", "circuits": ["A", "B"]}],
}

JsonObject = dict[str, Any]


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
        "text": {"key": "circuit.holding.reserve", "values": {"early_s": 2460.0}},
        "words": "Holding. At least 41 min to the warning level if the pump stopped.",
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
        "text": {"key": "circuit.losing.warning", "values": {"early_s": early, "likely_s": likely}},
        "words": "Losing vacuum. May reach the warning level in 4 min (likely 6 min).",
        "falling": True,
    }
    return circuit("losing", 57.8, **(said | changed))


def silent(age_s: float | None = 12.4) -> JsonObject:
    """A circuit without a reading to be believed."""
    words = "No reading yet." if age_s is None else f"No reading for {age_s:.0f} s."
    return circuit("no_reading", None if age_s is None else 61.2, age_s=age_s, words=words, leak_kpa_per_min=None)


def alarm(state: str = "unacknowledged", priority: str = "high", raising_n: int = 17, **changed: Any) -> JsonObject:
    """One alarm."""
    said: JsonObject = {
        "raising": f"dock-6/B/losing_vacuum/{raising_n}",
        "key": "losing_vacuum",
        "about": "circuit B",
        "priority": priority,
        "state": state,
        "shelved": False,
        "suppressed": False,
        "out_of_service": False,
        "since": 1764019101.2,
        "acknowledged_by": None,
        "set_aside_by": None,
        "set_aside_why": None,
        "text": {"key": "alarm.losing_vacuum.says", "values": {}},
        "words": "May reach its level in 4 min, landing needs up to 8 min, for 12 s",
        "do": "Land the load while there is time. Then look at the pads of this circuit.",
    }
    return said | changed


def status(call: str = "holding", lifter: str = "dock-6", **changed: Any) -> JsonObject:
    """A lifter's status for a call, made to fit it; ``changed`` replaces keys at the top."""
    said = copy.deepcopy(_BASE) | {"lifter": lifter} | copy.deepcopy(CALLS[call]) | changed
    return said | {"call": call}


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
    "headline": "Holding",
    "headline_text": {"key": "headline.holding", "values": {}},
    "reason": "All 2 circuits hold, by the readings.",
    "reason_text": {"key": "reason.holding", "values": {"circuits_n": 2}},
    "release_words": "Do not release",
    "release_words_text": {"key": "release.do_not_release", "values": {}},
    "release_reason": "The lifter still carries the panel.",
    "release_reason_text": {"key": "release.load_on", "values": {"load_kg": 622.5, "largest_kg": 624.0}},
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
}

_LOW = circuit("low", 51.4, words="At or under the warning level of 52.0 kPa.", leak_kpa_per_min=1.3)

CALLS: dict[str, JsonObject] = {
    "land_now": {
        "headline": "Land the load now",
        "reason": "Circuit B is at 51.4 kPa, at or under its warning level 52.0 kPa.",
        "circuits": {"A": circuit(), "B": _LOW},
        "alarms": [
            alarm(
                words="Vacuum 51.4 kPa, at or under the warning level 52.0 kPa for 12 s",
                raising="dock-6/B/vacuum_low/3",
                key="vacuum_low",
            )
        ],
    },
    "no_signal": {
        "headline": "No readings: land the load, listen for the lifter's own alarm",
        "reason": "Last reading 12 s ago.",
        "release_reason": "The load reading is lost.",
        "load": {"kg": None, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "unknown"},
        "circuits": {"A": silent(), "B": silent()},
        "facts": _BASE["facts"] | {"age_s": 12.4},
    },
    "land_soon": {
        "headline": "Land the load soon",
        "reason": "Circuit B may reach its warning level in 4 min (likely 6 min); landing takes up to 4 min.",
        "circuits": {"A": circuit(), "B": losing()},
        "alarms": [alarm()],
    },
    "look": {
        "headline": "Look at circuit B",
        "reason": "If its pump stopped, circuit B could reach its warning level in 4 min.",
    },
    "holding": {},
    "not_lifting": {
        "phase": "idle",
        "phase_words": "Idle",
        "headline": "Not lifting",
        "reason": "Nothing is attached.",
        "release": "not_attached",
        "release_words": "",
        "release_reason": "",
        "in_flight": False,
        "load": {"kg": 0.4, "source": "measured", "judged_kg": None, "planned_kg": None, "known": "off"},
        "holding": None,
        "circuits": {
            name: circuit("open", 0.1, words="Open: not attached.", leak_kpa_per_min=None, needed_kpa=None)
            for name in ("A", "B")
        },
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
