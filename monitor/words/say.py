"""A message said in words, and a status or record as the fixed JSON of the interface. Pure."""

import math
from collections.abc import Mapping
from typing import Final

from monitor.core.facts import CircuitFacts, CircuitState, Facts
from monitor.core.folding import Fold, fold
from monitor.core.messages import Text
from monitor.core.seal_tests import SealTest, SealTestKind
from monitor.core.status import VALID_FOR_S, AlarmTold, Status, circuit_text
from monitor.core.summary import ActionLog, CircuitLog, Summary
from monitor.core.warning_time import Bounds
from monitor.words.languages import ENGLISH, Speaker, template
from monitor.words.quantities import say_value

VERSION: Final = 1
_said: dict[tuple[Speaker, str, tuple[str, ...]], str] = {}
_SAID_MOST_N: Final = 4096


def say(text: Text, speaker: Speaker = ENGLISH) -> str:
    """The words of a message, in a viewer's language and units.

    Raises:
        KeyError: There is no such key, or a value is missing; tests make sure that neither happens.
    """
    values = {name: say_value(name, value, speaker) for name, value in text.values.items()}
    key = (speaker, text.key, tuple(values.values()))
    words = _said.get(key)
    if words is None:
        if len(_said) >= _SAID_MOST_N:
            _said.clear()
        counts = (
            value for name, value in text.values.items() if name.endswith("_n") and isinstance(value, int | float)
        )
        words = _said[key] = template(text.key, speaker.language, next(counts, None)).format_map(values)
    return words


def say_told(told: Mapping[str, object], speaker: Speaker) -> str:
    """The words of a message that came as JSON (``text_dict``).

    Raises:
        KeyError: There is no such key, or a value is missing.
    """
    return say(Text(str(told["key"]), told["values"]), speaker)  # type: ignore[arg-type]


def text_dict(text: Text) -> dict[str, object]:
    """A message as JSON: its key and SI values."""
    return {"key": text.key, "values": {name: _number(value) for name, value in text.values.items()}}


def status_dict(status: Status) -> dict[str, object]:
    """A status as the JSON of the interface (DESIGN, status), version 1. Its words are English; ``text`` says the rest."""
    facts = status.facts
    reason = status.called.reason
    if reason.key == "reason.silent" and not facts.ever_heard:
        reason = Text("reason.never_heard")
    release_text = Text(f"release.{status.release}")
    last_s = facts.last_reading_s
    return {
        "version": VERSION,
        "site": status.site,
        "lifter": facts.config.id,
        "time": round(status.utc_s, 3),
        "valid_for_s": VALID_FOR_S,
        "reading_time": _reading_time(status),
        "phase": facts.phase.value,
        "call": status.called.call.value,
        "release": status.release.value,
        "headline": say(status.called.headline),
        "headline_text": text_dict(status.called.headline),
        "reason": say(reason),
        "reason_text": text_dict(reason),
        "release_words": say(release_text),
        "release_words_text": text_dict(release_text),
        "release_reason": say(status.release_text),
        "release_reason_text": text_dict(status.release_text),
        "load": _load(status),
        "holding": _holding(status),
        "circuits": {name: _circuit(circuit, facts) for name, circuit in facts.circuits.items()},
        "alarms": [_alarm(alarm) for alarm in status.alarms],
        "alarm_lines": [_line(line) for line in fold(status.alarms)],
        "lifter_name": facts.config.name or facts.config.id,
        "phase_words": say(Text(f"phase.{facts.phase}")),
        "time_to_land_s": facts.time_to_land_s,
        "in_flight": facts.in_flight,
        "assumed": list(status.assumed),
        "assumed_words": [say(Text(f"assumed.{name}")) for name in status.assumed],
        "facts": {
            "tilt_deg": facts.tilt_deg,
            "rotation_deg": facts.rotation_deg,
            "height_m": facts.height_m,
            "ambient_kpa": facts.ambient_kpa,
            "temperature_c": facts.temperature_c,
            "battery_v": facts.battery_v,
            "wind_m_s": facts.wind_m_s,
            "wind_at": facts.config.wind_at,
            "pads_n": len(facts.config.pads),
            "age_s": None if last_s is None else round(facts.now_s - last_s, 3),
            "slow": facts.slow,
        },
        "lift": None
        if status.lift is None
        else {
            "id": status.lift.id,
            "since": round(status.lift.since_utc_s, 3),
            "picks_n": status.lift.picks_n,
            "loaded": status.lift.loaded,
            "largest_kg": _rounded(facts.load.largest_kg, 1),
        },
        "link": "up" if facts.link_up else "down",
        "counts": dict(status.counts),
        "seal_tests": {
            kind.value: None
            if (test := status.seal_tests.latest(kind)) is None
            else seal_test_dict(test, status.utc_minus_now_s, facts.now_s)
            for kind in SealTestKind
        },
        "plan": None if status.plan is None else _planned(status.plan, _utc_of(status.utc_minus_now_s)),
    }


def _reading_time(status: Status) -> float | None:
    """The sender's own stamp where there is one, else when the last reading arrived."""
    if status.sent_utc_s is not None:
        return round(status.sent_utc_s, 3)
    last_s = status.facts.last_reading_s
    return None if last_s is None else round(last_s + status.utc_minus_now_s, 3)


def _load(status: Status) -> dict[str, object]:
    facts = status.facts
    if facts.load.largest_kg is not None or facts.load_kg is not None:
        source = "measured"
    else:
        source = "planned" if facts.planned_kg is not None else "none"
    return {
        "kg": _rounded(facts.load_kg, 1),
        "source": source,
        "judged_kg": _rounded(facts.judged_kg, 1),
        "planned_kg": _rounded(facts.planned_kg, 1),
        "known": facts.load_known.value,
    }


def _holding(status: Status) -> dict[str, object] | None:
    held = status.facts.holding
    if held is None:
        return None
    pad = held.worst_pad
    return {
        "basis": held.basis,
        "governs": held.governs,
        "at_tilt_deg": _rounded(held.at_tilt_deg, 1),
        "rated_kg": _rounded(held.rated_kg, 1),
        "margin_kg": _rounded(held.margin_kg, 1),
        "margin_ratio": _rounded(held.margin_ratio, 3),
        "now_kg": _rounded(held.now_kg, 1),
        "worst_pad": None if pad is None else {"id": pad.id, "use_ratio": _rounded(pad.use_ratio, 3)},
        "if_lost": {
            name: {"factor": _rounded(lost.factor, 2), "needed_factor": lost.needed_factor}
            for name, lost in held.if_lost.items()
        },
    }


def _circuit(circuit: CircuitFacts, facts: Facts) -> dict[str, object]:
    text = circuit_text(circuit, horizon_s=facts.config.projection_horizon_s)
    leak = circuit.leak
    timed = circuit.state in {CircuitState.HOLDING, CircuitState.LOSING, CircuitState.LOW, CircuitState.CRITICAL}
    return {
        "state": circuit.state.value,
        "vacuum_kpa": _rounded(circuit.vacuum_kpa, 2),
        "age_s": _rounded(circuit.age_s, 2),
        "warning_kpa": circuit.config.warning_kpa,
        "needed_kpa": _rounded(circuit.needed_kpa, 1),
        "pump": None if circuit.pump is None else circuit.pump.value,
        "leak_kpa_per_min": None if leak is None else _rounded(leak.leak_kpa_per_min, 3),
        "assumed": list(circuit.assumed),
        "to_warning_s": _bounds(circuit.to_warning, circuit.level) if timed else None,
        "reserve_s": _bounds(circuit.reserve, circuit.level) if timed else None,
        "text": text_dict(text),
        "words": say(text),
        "working_kpa": circuit.config.working_kpa,
        "in_use": circuit.in_use,
        "fault": circuit.fault,
        "falling": leak is not None and leak.falling,
    }


def _bounds(bounds: Bounds | None, level: str) -> dict[str, object] | None:
    if bounds is None:
        return None
    return {
        "level": level,
        "early": _rounded(bounds.early_s, 1),
        "likely": _rounded(bounds.likely_s, 1),
        "late": _rounded(bounds.late_s, 1),
    }


def _alarm(alarm: AlarmTold) -> dict[str, object]:
    about = Text("about.circuit", {"about": alarm.about}) if alarm.about else Text("about.lifter")
    return {
        "raising": alarm.raising,
        "key": alarm.key,
        "about": say(about),
        "about_text": text_dict(about),
        "priority": alarm.priority.value,
        "state": alarm.state.value,
        "shelved": alarm.shelved,
        "suppressed": alarm.suppressed,
        "out_of_service": alarm.out_of_service,
        "since": round(alarm.since_utc_s, 3),
        "acknowledged_by": alarm.acknowledged_by or None,
        "set_aside_by": alarm.set_aside_by or None,
        "set_aside_why": alarm.set_aside_why or None,
        "text": text_dict(alarm.says),
        "words": say(alarm.says),
        "do": say(alarm.do),
        "do_text": text_dict(alarm.do),
    }


def _line(line: Fold) -> dict[str, object]:
    """One line of the alarm list: the raising that leads, those folded under it, and what is said of them."""
    return {
        "lead": line.lead.raising,
        "under": [alarm.raising for alarm in line.under],
        "priority": line.priority.value,
        "flood": line.flood,
        "text": None if line.text is None else text_dict(line.text),
        "words": "" if line.text is None else say(line.text),
    }


def summary_dict(summary: Summary) -> dict[str, object]:
    """A lift's record as JSON. Times are UTC epoch seconds."""
    log = summary.log
    utc = _utc_of(log.utc_minus_now_s)
    reason_key = log.worst_call_reason
    return {
        "version": VERSION,
        "id": log.id,
        "lifter": log.lifter,
        "opened": utc(log.opened_s),
        "load_on": utc(log.load_on_s),
        "load_off": utc(log.load_off_s),
        "closed": utc(summary.closed_s),
        "ended": summary.ended,
        "duration_s": round(summary.closed_s - log.opened_s, 3),
        "picks_n": log.picks_n,
        "load": {"largest_kg": _rounded(log.largest_kg, 1), "planned_kg": _rounded(log.planned_kg, 1)},
        "margin": {
            "lowest_kg": _rounded(log.lowest_margin_kg, 1),
            "at": utc(log.lowest_margin_s),
            "governs": log.governs,
        },
        "tilt": {"low_deg": _rounded(log.tilt_low_deg, 1), "high_deg": _rounded(log.tilt_high_deg, 1)},
        "height_high_m": _rounded(log.height_high_m, 1),
        "wind_high_m_s": _rounded(log.wind_high_m_s, 1),
        "battery_low_v": _rounded(log.battery_low_v, 2),
        "temperature_c": _rounded(log.temperature_c, 1),
        "ambient_kpa": _rounded(log.ambient_kpa, 2),
        "circuits": {name: _circuit_log(circuit, utc) for name, circuit in log.circuits.items()},
        "calls_s": {call: round(seconds, 1) for call, seconds in log.call_s.items()},
        "worst_call": log.worst_call,
        "worst_call_reason": reason_key,
        "alarms": [
            {
                "raising": alarm.raising,
                "key": alarm.key,
                "about": alarm.about or None,
                "priority": alarm.priority,
                "raised": utc(alarm.raised_s),
                "returned": utc(alarm.returned_s),
                "acknowledged": utc(alarm.acknowledged_s),
                "acknowledged_by": alarm.acknowledged_by or None,
            }
            for alarm in log.alarms.values()
        ],
        "actions": [
            {"kind": act.kind, "who": act.who, "role": act.role, "at": utc(act.at_s), "params": dict(act.params)}
            for act in log.actions
        ],
        "seen_s": round(log.seen_s, 1),
        "gap_s": round(log.gap_s, 1),
        "gaps_n": log.gaps_n,
        "gaps": [{"from": utc(gap.from_s), "to": utc(gap.to_s), "why": gap.why} for gap in log.gaps],
        "counts": dict(summary.counts),
        "time_to_land_s": log.time_to_land_s,
        "landing_s": _rounded(log.landing_s, 1),
        "settings": {
            "basis": summary.basis,
            "wll_kg": summary.wll_kg,
            "surface": summary.surface,
            "friction": summary.friction,
        },
        "seal_tests": [seal_test_dict(test, log.utc_minus_now_s) for test in summary.seal_tests],
        "plan": None if summary.plan is None else _planned(summary.plan, utc) | dict(summary.plan.params),
        "judged_by": log.version,
    }


def _circuit_log(log: CircuitLog, utc: "_Utc") -> dict[str, object]:
    return {
        "lowest_kpa": _rounded(log.lowest_kpa, 2),
        "lowest_at": utc(log.lowest_s),
        "at_pick_kpa": _rounded(log.at_pick_kpa, 2),
        "leak_kpa_per_min": _rounded(log.last_leak_kpa_per_min, 3),
        "worst_leak_kpa_per_min": _rounded(log.worst_leak_kpa_per_min, 3),
        "states_s": {state: round(seconds, 1) for state, seconds in log.state_s.items()},
        "pump_on_s": round(log.pump_on_s, 1),
        "seen_s": round(log.seen_s, 1),
        "steady_leak_kpa_per_min": _rounded(log.condition.steady_leak_kpa_per_min(), 4),
        "steady_at_kpa": _rounded(log.condition.steady_at_kpa(), 2),
        "steady_s": round(log.condition.leak_s, 1),
        "pump_down_s": _rounded(log.condition.pump_down_s, 2),
        "duty_first_ratio": _rounded(log.condition.duty.first_ratio, 3),
        "duty_last_ratio": _rounded(log.condition.duty.last_ratio, 3),
        "open_kpa": _rounded(log.condition.open_kpa, 2),
        "gauges_apart_kpa": _rounded(log.condition.gauges_apart_kpa(), 3),
        "late_n": log.late_n,
        "late_lowest_kpa": _rounded(log.late_lowest_kpa, 2),
        "late_lowest_at": utc(log.late_lowest_s),
    }


def _planned(plan: ActionLog, utc: "_Utc") -> dict[str, object]:
    """Who planned, when, and what for: enough to tell one plan from another."""
    said = {name: plan.params.get(name) for name in ("weight_kg", "pads", "verdict")}
    return {"who": plan.who, "role": plan.role, "at": utc(plan.at_s), **said}


def seal_test_dict(test: SealTest, utc_minus_now_s: float, now_s: float | None = None) -> dict[str, object]:
    """A seal test as JSON. ``left_s`` counts down while it is watched; ``needed_s`` is what it asks for."""
    utc = _utc_of(utc_minus_now_s)
    return {
        "test": test.kind.value,
        "state": test.state.value,
        "who": test.who,
        "role": test.role,
        "asked": utc(test.asked_s),
        "begun": utc(test.begun_s),
        "ended": utc(test.ended_s),
        "for_s": test.for_s,
        "left_s": _rounded(test.left_s(now_s), 1) if now_s is not None else None,
        "needed_s": test.needed_s,
        "text": text_dict(test.text),
        "words": say(test.text),
        "circuits": {
            name: {
                "state": one.state.value,
                "start_kpa": _rounded(one.start_kpa, 2),
                "last_kpa": _rounded(one.last_kpa, 2),
                "lowest_kpa": _rounded(one.lowest_kpa, 2),
                "reserve_early_s": _rounded(one.reserve_s, 1),
                "text": text_dict(one.text),
                "words": say(one.text),
            }
            for name, one in test.circuits.items()
        },
    }


class _Utc:
    """Engine time to UTC epoch seconds, ``None`` kept."""

    def __init__(self, utc_minus_now_s: float) -> None:
        self._shift_s = utc_minus_now_s

    def __call__(self, at_s: float | None) -> float | None:
        return None if at_s is None else round(at_s + self._shift_s, 3)


def _utc_of(utc_minus_now_s: float) -> _Utc:
    return _Utc(utc_minus_now_s)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None or not math.isfinite(value) else round(value, digits)


def _number(value: object) -> object:
    return None if isinstance(value, float) and not math.isfinite(value) else value
