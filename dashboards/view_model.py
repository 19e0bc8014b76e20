"""Snapshot and viewer in, what the page says out: text, severity, ages, bar lengths. Pure; the browser only draws it.

Ages in a view are those at the snapshot's own time; the browser adds what has passed since. Every string is plain text
and is only ever written as text.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, floor
from typing import Any, Final
from zoneinfo import ZoneInfo

from dashboards.live import Snapshot, Status
from dashboards.words import say
from monitor.words.quantities import duration

CALLS: Final = ("land_now", "no_signal", "land_soon", "look", "holding", "not_lifting")
"""Calls, worst first."""

RELEASES: Final = ("do_not_release", "cannot_tell", "check_fixed", "not_attached")
"""Release answers, the most forbidding first."""

PRIORITIES: Final = ("high", "medium", "low")

UNACKNOWLEDGED: Final = frozenset({"unacknowledged", "returned_unacknowledged", "latched_unacknowledged"})
"""Alarm states that still wait for an acknowledgement."""

UNIT_GAP: Final = re.compile(r"(\d) (?=(?:s|min|h|kg|kPa|m|V|m/s)\b)")

SET_ASIDE: Final = ("shelved", "suppressed", "out_of_service")
"""Flags beside the life cycle of an alarm that is not to be heard for now."""

BLIND: Final = frozenset({"no_reading", "sensor_fault"})
"""Circuit states in which nothing is known of the vacuum now."""

HEADLINE_CHARS: Final = 30
"""What fits the call's big type on two lines; what stands behind a comma or colon further on begins the reason."""

View = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Viewer:
    """Who looks: at which page, and at which lifter (``None``: all of them)."""

    page: str
    lifter: str | None = None


def view(snapshot: Snapshot, viewer: Viewer, site: Mapping[str, Any], story: Mapping[str, str] | None = None) -> View:
    """All that a live page says.

    Args:
        snapshot: What the engine said last.
        viewer: Page and lifter.
        site: The engine's greeting: ``time_zone``, and per lifter its ``name``.
        story: The demonstration's line of the moment, ``title`` and ``line``.

    Returns:
        ``call`` and ``release`` for the page as a whole, and either ``one`` (a lifter) or ``tiles`` (several, worst
        first). Where the lifter asked for does not exist, only ``why``.
    """
    zone = zone_of(site)
    lifters = worst_first(_as_of(status, snapshot.utc_s, zone) for status in snapshot.lifters)
    shown = lifters if viewer.lifter is None else [s for s in lifters if s["lifter"] == viewer.lifter]
    if not shown:
        return {"why": say("lost.lifter", lifter=viewer.lifter) if lifters else say("lost.waiting")}
    said: View = {
        "call": shown[0]["call"],
        "release": min((s["release"] for s in shown), key=RELEASES.index),
        "clock": clock(snapshot.utc_s, zone),
        "age_words": say("age", n="{n}"),
        "notices": _notices(snapshot, zone),
        "sound": _sound(shown),
        "lost": _lost(shown, snapshot.utc_s, zone),
        "story": None if story is None else {key: str(story.get(key, "")) for key in ("title", "line")},
    }
    if len(shown) == 1:
        said["one"] = _lifter(shown[0], zone)
        said["others"] = [_tile(s, viewer) for s in lifters if s is not shown[0]]
    else:
        said["tiles"] = [_tile(s, viewer) for s in shown]
    return said


def _as_of(status: Status, at_utc_s: float, zone: ZoneInfo) -> Status:
    """The status with its ages at the snapshot's time. One that outlived its own time to live is no signal."""
    late_s = max(0.0, at_utc_s - status["time"])
    facts = {**status["facts"], "age_s": _later(status["facts"]["age_s"], late_s)}
    circuits = {name: {**c, "age_s": _later(c["age_s"], late_s)} for name, c in status["circuits"].items()}
    said = {**status, "facts": facts, "circuits": circuits}
    if late_s <= status["valid_for_s"]:
        return said
    return {
        **said,
        "call": "no_signal",
        "headline": say("lost.big"),
        "reason": say("stale.reason", clock=clock(status["time"], zone)),
        "release": "do_not_release",
        "release_words": say("stale.release"),
        "release_reason": "",
        "circuits": {name: {**c, "state": "no_reading", "words": say("stale.circuit")} for name, c in circuits.items()},
    }


def _later(age_s: float | None, late_s: float) -> float | None:
    return None if age_s is None else age_s + late_s


def worst_first(lifters: Iterable[Status]) -> list[Status]:
    """Lifters by call, worst first; then by release, then by name."""
    return sorted(lifters, key=lambda s: (CALLS.index(s["call"]), RELEASES.index(s["release"]), s["lifter"]))


def zone_of(site: Mapping[str, Any]) -> ZoneInfo:
    """The site's time zone, UTC before the engine said which."""
    return ZoneInfo(site.get("time_zone", "UTC"))


def clock(at_utc_s: float, zone: ZoneInfo) -> str:
    """Time of day at the site. Check: 0 in UTC is 00:00:00."""
    return f"{datetime.fromtimestamp(at_utc_s, zone):%H:%M:%S}"


def span(seconds: float | None) -> str:
    """A time left, rounded down; ``None`` is further away than is looked. Check: 250 s is "4 min", 0 s is "now"."""
    if seconds is None:
        return say("time.beyond")
    return duration(seconds) if seconds > 0 else say("time.now")


def split_headline(headline: str) -> tuple[str, str]:
    """The part for the call's big type, and what is left for the reason.

    Check: "No readings: land the load, listen for the lifter's own alarm" gives "No readings: land the load" and
    "Listen for the lifter's own alarm."
    """
    if len(headline) <= HEADLINE_CHARS:
        return headline, ""
    cut = max(headline.rfind(mark, 0, HEADLINE_CHARS) for mark in (", ", ": ", "; ", ". "))
    if cut < 0:
        return headline, ""
    rest = headline[cut + 2 :]
    return headline[:cut], _sentence(rest) + ("" if rest.endswith(".") else ".")


def _lifter(status: Status, zone: ZoneInfo) -> View:
    big, rest = split_headline(status["headline"])
    return {
        "lifter": status["lifter"],
        "name": status.get("lifter_name") or status["lifter"],
        "call": status["call"],
        "headline": big,
        "reason": _together(" ".join(part for part in (rest, status["reason"]) if part)),
        "release": {
            "look": status["release"],
            "words": status["release_words"],
            "reason": status["release_reason"],
        },
        "load": _load(status),
        "landing": _landing_load(status),
        "circuits": [_circuit(name, said, status) for name, said in status["circuits"].items()],
        "facts": _facts(status),
        "alarms": [_alarm(alarm, zone) for alarm in sorted(status["alarms"], key=_alarm_order)],
        "more": say("alarms.more", n=len(status["alarms"])) if len(status["alarms"]) > 1 else "",
    }


def _tile(status: Status, viewer: Viewer) -> View:
    big, rest = split_headline(status["headline"])
    return {
        "lifter": status["lifter"],
        "name": status.get("lifter_name") or status["lifter"],
        "page": viewer.page,
        "call": status["call"],
        "headline": big,
        "reason": _together(" ".join(part for part in (rest, status["reason"]) if part)),
        "release": {"look": status["release"], "words": status["release_words"]},
        "margin": _load(status)["margin"],
        "circuits": [
            {"id": name, "state": said["state"], "word": say(f"state.{said['state']}"), "number": _number(said)}
            for name, said in status["circuits"].items()
        ],
        "age_s": status["facts"]["age_s"],
    }


def _load(status: Status) -> View:
    """Load against limit, as words and as one bar: how much of it is load, how much is room left."""
    load, holding = status["load"], status["holding"]
    kg, judged_kg = load["kg"], load["judged_kg"]
    said: View = {"look": "unknown", "load_ratio": 0.0, "limit_ratio": 1.0}
    blind = all(circuit["state"] in BLIND for circuit in status["circuits"].values())
    blind = blind or (load["known"] == "off" and all(c["state"] == "open" for c in status["circuits"].values()))
    if judged_kg is None:
        said["load"] = say("load.unknown") if kg is None else say("load.now", load=_kg(kg))
    elif load["source"] == "measured" and kg is None:
        blind = True
        said["load"] = say("load.lost", largest=_kg(judged_kg))
    elif load["source"] == "planned":
        said["load"] = say("load.planned", load=_kg(judged_kg))
    elif kg is not None and judged_kg > kg + max(5.0, 0.02 * kg):
        said["load"] = say("load.judged", load=_kg(kg), judged=_kg(judged_kg))
    else:
        said["load"] = say("load.now", load=_kg(judged_kg if kg is None else kg))
    if holding is None:
        note = "" if status["facts"]["pads_n"] else say("load.no_pads")
        return said | {"margin": say("load.no_margin"), "limit": say("load.no_limit"), "note": note}
    rated_kg, margin_kg = holding["rated_kg"], holding["margin_kg"]
    said["limit"] = say("load.limit", rated=floor(rated_kg))
    said["note"] = " ".join([say(f"load.governs.{holding['governs']}"), *_if_lost(holding["if_lost"])])
    if margin_kg is None or judged_kg is None or blind:
        return said | {"margin": say("load.no_margin")}
    over = margin_kg < 0
    words = say("load.over", margin=ceil(-margin_kg)) if over else say("load.below", margin=floor(margin_kg))
    whole_kg = max(rated_kg, judged_kg, 1.0)
    return said | {
        "margin": words,
        "look": "over" if over else "room",
        "load_ratio": round(max(0.0, judged_kg) / whole_kg, 4),
        "limit_ratio": round(rated_kg / whole_kg, 4),
    }


def _if_lost(if_lost: Mapping[str, Mapping[str, float | None]]) -> list[str]:
    """The circuit whose loss would leave least, rounded down."""
    factors = {name: said["factor"] for name, said in if_lost.items() if said["factor"] is not None}
    if not factors:
        return []
    name = min(factors, key=lambda key: factors[key])
    return [say("load.if_lost", circuit=name, factor=f"{floor(factors[name] * 10) / 10:.1f}")]


def _landing_load(status: Status) -> View:
    """What the installer reads: the load still on the lifter, and of how much."""
    kg = status["load"]["kg"]
    largest_kg = (status.get("lift") or {}).get("largest_kg")
    known = kg is not None and status["load"]["source"] == "measured"
    rule = say("landing.of", largest=_kg(largest_kg)) if known and largest_kg else say("landing.rule")
    if status["release"] == "not_attached":
        rule = ""
    return {
        "kg": say("landing.kg", load=_kg(kg)) if known else say("landing.unknown"),
        "rule": rule,
    }


def _circuit(name: str, said: Mapping[str, Any], status: Status) -> View:
    state = said["state"]
    word = say(f"state.{state}")
    governs_kpa = max(said["warning_kpa"], said["needed_kpa"] or 0.0)
    low_kpa = max(0.0, governs_kpa - 12.0)
    high_kpa = max(governs_kpa + 14.0, (said["vacuum_kpa"] or 0.0) + 2.0)
    to_level = said["to_warning_s"]
    return {
        "id": name,
        "name": say("circuit.name", circuit=name),
        "state": state,
        "word": word,
        "words": _together(said["words"].removeprefix(f"{word}. ")),
        "number": _number(said),
        "unit": "kPa",
        "age_s": said["age_s"],
        "rate": _rate(said),
        "time": _time(state, to_level, said["reserve_s"]),
        "trace": {
            "low_kpa": low_kpa,
            "high_kpa": high_kpa,
            "warning_kpa": said["warning_kpa"],
            "needed_kpa": said["needed_kpa"] if said["needed_kpa"] and said["needed_kpa"] > low_kpa else None,
            "governs_kpa": governs_kpa,
            "now_kpa": said["vacuum_kpa"],
            "ahead": to_level if state in {"losing", "holding"} else None,
            "land_s": status.get("time_to_land_s"),
            "warning_words": say("trace.warning", level=f"{said['warning_kpa']:.0f}"),
            "land_words": say("trace.land"),
        },
    }


def _time(state: str, to_level: Mapping[str, Any] | None, reserve: Mapping[str, Any] | None) -> str:
    """The time to show big: to the level as things go; where nothing falls, what would be left without the pump."""
    if state not in {"losing", "holding"}:
        return ""
    if to_level is None:
        return say("time.unknown")
    if to_level["early"] is None and reserve is not None:
        return span(reserve["early"])
    return span(to_level["early"])


def _rate(said: Mapping[str, Any]) -> str:
    leak = said["leak_kpa_per_min"]
    parts = []
    if leak is not None and said["state"] in {"losing", "low", "critical", "holding"}:
        parts.append(say("rate.down", rate=f"{leak:.1f}") if leak >= 0.05 else say("rate.steady"))
    if said["pump"] is not None:
        parts.append(say(f"pump.{said['pump']}"))
    return ", ".join(parts)


def _facts(status: Status) -> list[View]:
    facts = status["facts"]
    said = [("fact.phase", status["phase_words"])]
    tilt_deg = facts["tilt_deg"]
    said.append(("fact.tilt", say("tilt.assumed") if tilt_deg is None else _tilt(tilt_deg)))
    for key, value, form in (
        ("fact.height", facts["height_m"], "{:.0f} m"),
        ("fact.battery", facts["battery_v"], "{:.1f} V"),
        ("fact.wind", facts["wind_m_s"], "{:.1f} m/s"),
        ("fact.temperature", facts["temperature_c"], "{:.0f} °C"),
    ):
        if value is not None:
            said.append((key, form.format(value)))
    rows: list[View] = [
        {"key": key, "label": say(key, place=facts["wind_at"]), "value": value, "age_s": None} for key, value in said
    ]
    rows.append({"key": "fact.reading", "label": say("fact.reading"), "value": None, "age_s": facts["age_s"]})
    name = status.get("lifter_name") or status["lifter"]
    rows.append({"key": "fact.lifter", "label": say("fact.lifter"), "value": _with_pads(name, facts), "age_s": None})
    return rows


def _with_pads(name: str, facts: Mapping[str, Any]) -> str:
    return say("lifter.pads", lifter=name, n=facts["pads_n"]) if facts["pads_n"] else name


def _tilt(tilt_deg: float) -> str:
    place = "flat" if abs(tilt_deg) <= 5 else "upright" if abs(tilt_deg - 90) <= 5 else "leaning"
    return say(f"tilt.{'over' if tilt_deg > 95 else place}", n=round(tilt_deg))


def _alarm(alarm: Mapping[str, Any], zone: ZoneInfo) -> View:
    return {
        "raising": alarm["raising"],
        "priority": alarm["priority"],
        "state": alarm["state"],
        "open": _waits(alarm),
        "acknowledge": say("alarm.acknowledge"),
        "words": _together(_sentence(say("alarm.words", about=alarm["about"], words=alarm["words"]))),
        "do": alarm["do"],
        "said": _alarm_said(alarm),
        "since": say("alarm.since", clock=clock(alarm["since"], zone)),
    }


def _alarm_said(alarm: Mapping[str, Any]) -> str:
    """Its state, or that it is set aside, by whom and why."""
    said = say(f"alarm.{next((flag for flag in SET_ASIDE if alarm[flag]), alarm['state'])}")
    if not alarm.get("set_aside_by"):
        return said
    return say("alarm.set_aside", said=said, by=alarm["set_aside_by"], why=alarm["set_aside_why"])


def _waits(alarm: Mapping[str, Any]) -> bool:
    """Whether it waits for an acknowledgement."""
    return alarm["state"] in UNACKNOWLEDGED and not any(alarm[flag] for flag in SET_ASIDE)


def _alarm_order(alarm: Mapping[str, Any]) -> tuple[bool, bool, int, float]:
    """Unacknowledged first, then by priority, then the newest."""
    return (
        any(alarm[flag] for flag in SET_ASIDE),
        not _waits(alarm),
        PRIORITIES.index(alarm["priority"]),
        -alarm["since"],
    )


def _notices(snapshot: Snapshot, zone: ZoneInfo) -> list[str]:
    said = []
    if snapshot.link.get("broker") == "down":
        since = clock(snapshot.link["since_utc_s"], zone)
        said.append(" ".join([say("notice.broker", clock=since), snapshot.link.get("words", "")]).strip())
    if snapshot.store.get("writing") is False:
        said.append(say("notice.store"))
    elif (free := snapshot.store.get("free_ratio")) is not None and free < 0.05:
        said.append(say("notice.disk", percent=floor(free * 100)))
    return said


def _sound(shown: Sequence[Status]) -> View:
    """How this page should sound, and what it sounds about: anything new in ``about`` ends a silence."""
    worst = shown[0]
    open_alarms = sorted(a["raising"] for s in shown for a in s["alarms"] if _waits(a))
    up = any(s["in_flight"] for s in shown)
    level = "none"
    if worst["call"] == "land_now":
        level = "high"
    elif worst["call"] in {"land_soon", "no_signal"} and up:
        level = "medium"
    elif open_alarms:
        level = "low"
    return {"level": level, "about": [worst["call"], *open_alarms], "lost": "medium" if up else "none"}


def _lost(shown: Sequence[Status], at_utc_s: float, zone: ZoneInfo) -> View:
    """What the cover will say if the next reply never comes: held by the page beforehand."""
    key = "lost.on_ground"
    if any(s["in_flight"] for s in shown):
        key = "lost.load_on"
    if any(s["call"] == "land_now" for s in shown):
        key = "lost.land_now"
    numbers = [f"{name} {_number(said)}" for s in shown[:1] for name, said in s["circuits"].items()]
    kg = shown[0]["load"]["kg"]
    if kg is not None:
        numbers.append(say("landing.kg", load=_kg(kg)))
    return {
        "do": say(key),
        "last": say("lost.last", clock=clock(at_utc_s, zone)),
        "numbers": " · ".join(numbers),
    }


def _number(said: Mapping[str, Any]) -> str:
    return "–" if said["vacuum_kpa"] is None else f"{said['vacuum_kpa']:.1f}"


def _kg(kg: float) -> str:
    return f"{round(kg)}".replace("-", "\u2212")


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _together(words: str) -> str:
    """The same words with numbers kept on one line with their units. Check: "12 s ago" has no break after 12."""
    return UNIT_GAP.sub("\\1\u00a0", words)
