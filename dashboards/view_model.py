"""Snapshot and viewer in, what the page says out: text, severity, ages, bar lengths. Pure; the browser only draws it.

Ages in a view are those at the snapshot's own time; the browser adds what has passed since. Every string is plain text
and is only ever written as text.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from dashboards.live import Snapshot, Status
from dashboards.phones import CONNECTED_S
from dashboards.seal_view import seal_test
from dashboards.words import Voice, say, zone_of
from monitor.core.phases import ATTACHED
from monitor.words.english import TEMPLATES
from monitor.words.languages import ENGLISH, Speaker

CALLS: Final = ("land_now", "no_signal", "land_soon", "look", "holding", "not_lifting")
"""Calls, worst first."""

RELEASES: Final = ("do_not_release", "cannot_tell", "check_fixed", "not_attached")
"""Release answers, the most forbidding first."""

PRIORITIES: Final = ("high", "medium", "low")

UNACKNOWLEDGED: Final = frozenset({"unacknowledged", "returned_unacknowledged", "latched_unacknowledged"})
"""Alarm states that still wait for an acknowledgement."""

UNIT_GAP: Final = re.compile(r"(\d) (?=(?:s|min|h|kg|kPa|m|V|m/s|lb|inHg|ft|in|mph|°[CF])\b)")

SET_ASIDE: Final = ("shelved", "suppressed", "out_of_service")
"""Flags beside the life cycle of an alarm that is not to be heard for now."""

BLIND: Final = frozenset({"no_reading", "sensor_fault"})
"""Circuit states in which nothing is known of the vacuum now."""

HEADLINE_CHARS: Final = 30
"""What fits the call's big type on two lines; what stands behind a comma or colon further on begins the reason."""

STEADY_KPA_PER_MIN: Final = 0.05
"""Leaks below it are told as steady."""

View = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Viewer:
    """Who looks: at which page, at which lifter (``None``: all of them), in which language and units."""

    page: str
    lifter: str | None = None
    speaker: Speaker = ENGLISH


def view(
    snapshot: Snapshot,
    viewer: Viewer,
    site: Mapping[str, Any],
    story: Mapping[str, str] | None = None,
    phone_utc_s: Callable[[str], float | None] = lambda _: None,
) -> View:
    """All that a live page says.

    Args:
        snapshot: What the engine said last.
        viewer: Page and lifter.
        site: The engine's greeting: ``time_zone``, and per lifter its ``name``.
        story: The demonstration's line of the moment, ``title`` and ``line``.
        phone_utc_s: When a landing page of a lifter last asked for news, UTC; ``None`` for never.

    Returns:
        ``call`` and ``release`` for the page as a whole, and either ``one`` (a lifter) or ``tiles`` (several, worst
        first). Where the lifter asked for does not exist, only ``why``.
    """
    voice = Voice(viewer.speaker, zone_of(site))
    lifters = worst_first(_as_of(status, snapshot.utc_s, voice) for status in snapshot.lifters)
    shown = lifters if viewer.lifter is None else [s for s in lifters if s["lifter"] == viewer.lifter]
    if not shown:
        return {"why": voice.say("lost.lifter", lifter=viewer.lifter) if lifters else voice.say("lost.waiting")}
    said: View = {
        "call": shown[0]["call"],
        "release": min((s["release"] for s in shown), key=RELEASES.index),
        "clock": voice.clock(snapshot.utc_s),
        "age_words": voice.say("age", n="{n}"),
        "decimal_mark": voice.decimal_mark(),
        "notices": _notices(snapshot, voice),
        "sound": _sound(shown),
        "lost": _lost(shown, snapshot.utc_s, viewer.page, voice),
        "story": None if story is None else {key: str(story.get(key, "")) for key in ("title", "line")},
    }
    if len(shown) == 1:
        said["one"] = _lifter(shown[0], voice)
        settings = settings_of(site, shown[0]["lifter"])
        if viewer.page == "landing":
            said["one"]["tell"] = _to_tell(shown[0], settings, voice)
        if viewer.page == "seal-test":
            said["one"]["seal_test"] = seal_test(shown[0], settings, voice)
        said["one"]["first"] = _first(shown[0], site, voice)
        said["one"]["phone"] = _phone(phone_utc_s(shown[0]["lifter"]), snapshot.utc_s, voice)
        said["one"]["facts"].append(said["one"]["phone"]["fact"])
        said["others"] = [_tile(s, viewer.page, voice) for s in lifters if s is not shown[0]]
    else:
        said["tiles"] = [_tile(s, viewer.page, voice) for s in shown]
    return said


def _as_of(status: Status, at_utc_s: float, voice: Voice) -> Status:
    """The status with its ages at the snapshot's time. One that outlived its own time to live is no signal."""
    late_s = max(0.0, at_utc_s - status["time"])
    facts = {**status["facts"], "age_s": _later(status["facts"]["age_s"], late_s)}
    circuits = {name: {**c, "age_s": _later(c["age_s"], late_s)} for name, c in status["circuits"].items()}
    said = {**status, "facts": facts, "circuits": circuits}
    if late_s <= status["valid_for_s"]:
        return said
    silent = {**_both("words", "stale.circuit", text="text"), "state": "no_reading"}
    return {
        **said,
        **_both("headline", "lost.big"),
        **_both("reason", "stale.reason", clock=voice.clock(status["time"])),
        **_both("release_words", "stale.release"),
        **_both("release_reason", "stale.release_reason"),
        "call": "no_signal",
        "release": "do_not_release",
        "circuits": {name: {**c, **silent} for name, c in circuits.items()},
    }


def _both(name: str, key: str, text: str | None = None, **values: str) -> dict[str, Any]:
    """English words and the text beside them, as a status has them."""
    return {name: say(key, ENGLISH, **values), text or f"{name}_text": {"key": key, "values": values}}


def _later(age_s: float | None, late_s: float) -> float | None:
    return None if age_s is None else age_s + late_s


def worst_first(lifters: Iterable[Status]) -> list[Status]:
    """Lifters by call, worst first; then by release, then by name."""
    return sorted(lifters, key=lambda s: (CALLS.index(s["call"]), RELEASES.index(s["release"]), s["lifter"]))


def settings_of(site: Mapping[str, Any], lifter: str) -> Mapping[str, Any]:
    """A lifter's settings as the engine greeted with them."""
    return next((one for one in site.get("lifters", ()) if one["id"] == lifter), {})


def span(seconds: float | None, voice: Voice) -> str:
    """A time left, rounded down; ``None`` is further away than is looked. Check: 250 s is "4 min", 0 s is "now"."""
    if seconds is None:
        return voice.say("time.beyond")
    return voice.value("left_s", seconds) if seconds > 0 else voice.say("time.now")


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


def _lifter(status: Status, voice: Voice) -> View:
    alarms = status["alarms"]
    return {
        **_called(status, voice),
        "lifter": status["lifter"],
        "name": lifter_name(status),
        "release": {
            "look": status["release"],
            "words": voice.told(status, "release_words"),
            "reason": voice.told(status, "release_reason"),
        },
        "load": _load(status, voice),
        "landing": _landing_load(status, voice),
        "circuits": [_circuit(name, said, status, voice) for name, said in status["circuits"].items()],
        "facts": _facts(status, voice),
        "alarms": _alarm_lines(status, voice),
        "more": voice.say("alarms.more", alarms_n=len(alarms)) if len(alarms) > 1 else "",
    }


def _called(status: Status, voice: Voice) -> View:
    """Call, its words for the big type, and the reason."""
    big, rest = split_headline(voice.told(status, "headline"))
    reason = voice.told(status, "reason")
    return {
        "call": status["call"],
        "headline": big,
        "reason": _together(" ".join(part for part in (rest, reason) if part)),
    }


def lifter_name(status: Status) -> str:
    """What the site calls a lifter."""
    return str(status.get("lifter_name") or status["lifter"])


def _tile(status: Status, page: str, voice: Voice) -> View:
    return {
        **_called(status, voice),
        "lifter": status["lifter"],
        "name": lifter_name(status),
        "page": page,
        "release": {"look": status["release"], "words": voice.told(status, "release_words")},
        "margin": _load(status, voice)["margin"],
        "circuits": [
            {
                "id": name,
                "state": said["state"],
                "word": voice.say(f"state.{said['state']}"),
                "number": _number(said, voice)[0],
            }
            for name, said in status["circuits"].items()
        ],
        "age_s": status["facts"]["age_s"],
    }


def _load(status: Status, voice: Voice) -> View:
    """Load against limit, as words and as one bar: how much of it is load, how much is room left."""
    load, holding = status["load"], status["holding"]
    kg, judged_kg = load["kg"], load["judged_kg"]
    said: View = {"look": "unknown", "load_ratio": 0.0, "limit_ratio": 1.0}
    blind = all(circuit["state"] in BLIND for circuit in status["circuits"].values())
    if load["known"] == "off" and all(circuit["state"] == "open" for circuit in status["circuits"].values()):
        holding = judged_kg = None  # nothing is attached: what open pads would hold is no limit of anything
    if judged_kg is None:
        said["load"] = voice.say("load.unknown") if kg is None else voice.say("load.now", load_kg=kg)
    elif load["source"] == "measured" and kg is None:
        blind = True
        said["load"] = voice.say("load.lost", largest_kg=judged_kg)
    elif load["source"] == "planned":
        said["load"] = voice.say("load.planned", load_kg=judged_kg)
    elif kg is not None and judged_kg > kg + max(5.0, 0.02 * kg):
        said["load"] = voice.say("load.judged", load_kg=kg, judged_kg=judged_kg)
    else:
        said["load"] = voice.say("load.now", load_kg=judged_kg if kg is None else kg)
    if holding is None:
        note = "" if status["facts"]["pads_n"] else voice.say("load.no_pads")
        return said | {"margin": voice.say("load.no_margin"), "limit": voice.say("load.no_limit"), "note": note}
    rated_kg, margin_kg = holding["rated_kg"], holding["margin_kg"]
    said["limit"] = voice.say("load.limit", rated_at_least_kg=rated_kg)
    said["note"] = " ".join([voice.say(f"load.governs.{holding['governs']}"), *_if_lost(holding["if_lost"], voice)])
    if margin_kg is None or judged_kg is None or blind:
        return said | {"margin": voice.say("load.no_margin")}
    over = margin_kg < 0
    words = (
        voice.say("load.over", over_at_most_kg=-margin_kg)
        if over
        else voice.say("load.below", margin_at_least_kg=margin_kg)
    )
    whole_kg = max(rated_kg, judged_kg, 1.0)
    return said | {
        "margin": words,
        "look": "over" if over else "room",
        "load_ratio": round(max(0.0, judged_kg) / whole_kg, 4),
        "limit_ratio": round(rated_kg / whole_kg, 4),
    }


def _if_lost(if_lost: Mapping[str, Mapping[str, float | None]], voice: Voice) -> list[str]:
    """The circuit whose loss would leave least, rounded down."""
    factors = {name: said["factor"] for name, said in if_lost.items() if said["factor"] is not None}
    if not factors:
        return []
    name = min(factors, key=lambda key: factors[key])
    return [voice.say("load.if_lost", circuit=name, left_at_least_factor=factors[name])]


def _landing_load(status: Status, voice: Voice) -> View:
    """What the installer reads: the load still on the lifter, and of how much."""
    kg = status["load"]["kg"]
    largest_kg = (status.get("lift") or {}).get("largest_kg")
    known = kg is not None and status["load"]["source"] == "measured"
    rule = voice.say("landing.of", largest_kg=largest_kg) if known and largest_kg else voice.say("landing.rule")
    if status["release"] == "not_attached":
        rule = ""
    return {"kg": voice.value("load_kg", kg) if known else voice.say("landing.unknown"), "rule": rule}


def _to_tell(status: Status, settings: Mapping[str, Any], voice: Voice) -> list[View]:
    """What a person at the panel may tell now: acts with their words. They go into the record; none commands the lifter."""
    phase = status["phase"]
    acts: list[tuple[str, dict[str, str]]]
    if phase not in ATTACHED:
        return []
    if settings.get("load_measures") == "none":
        acts = [("landed_fixed", {})] if phase in ("lifting", "carrying") else [("picked_up", {})]
    else:
        down = phase == "landing" or (phase in ("lifting", "carrying") and status["load"]["known"] != "on")
        acts = [("confirm_fixed", {})] if down else []
    acts += [("surface", {"surface": surface}) for surface in ("wet", "oily")]
    keys = [".".join(("tell", kind, *params.values())) for kind, params in acts]
    return [
        {"key": key, "kind": kind, "params": params, "words": voice.say(key)}
        for key, (kind, params) in zip(keys, acts, strict=True)
    ]


def _circuit(name: str, said: Mapping[str, Any], status: Status, voice: Voice) -> View:
    state = said["state"]
    word = voice.say(f"state.{state}")
    governs_kpa = max(said["warning_kpa"], said["needed_kpa"] or 0.0)
    low_kpa = max(0.0, governs_kpa - 12.0)
    high_kpa = max(governs_kpa + 14.0, (said["vacuum_kpa"] or 0.0) + 2.0)
    to_level = said["to_warning_s"]
    number, unit = _number(said, voice)
    return {
        "id": name,
        "name": voice.say("circuit.name", circuit=name),
        "state": state,
        "word": word,
        "words": _together(voice.told(said, "words", "text").removeprefix(f"{word}. ")),
        "number": number,
        "unit": unit,
        "age_s": said["age_s"],
        "rate": _rate(said, voice),
        "time": _time(state, to_level, said["reserve_s"], voice),
        "trace": {
            "low_kpa": low_kpa,
            "high_kpa": high_kpa,
            "warning_kpa": said["warning_kpa"],
            "needed_kpa": said["needed_kpa"] if said["needed_kpa"] and said["needed_kpa"] > low_kpa else None,
            "governs_kpa": governs_kpa,
            "now_kpa": said["vacuum_kpa"],
            "ahead": to_level if state in {"losing", "holding"} else None,
            "land_s": status.get("time_to_land_s"),
            "warning_words": voice.say("trace.warning", level_kpa_plain=said["warning_kpa"]),
            "land_words": voice.say("trace.land"),
        },
    }


def _time(state: str, to_level: Mapping[str, Any] | None, reserve: Mapping[str, Any] | None, voice: Voice) -> str:
    """The time to show big: to the level as things go; where nothing falls, what would be left without the pump."""
    if state not in {"losing", "holding"}:
        return ""
    if to_level is None:
        return voice.say("time.unknown")
    if to_level["early"] is None and reserve is not None:
        return span(reserve["early"], voice)
    return span(to_level["early"], voice)


def _rate(said: Mapping[str, Any], voice: Voice) -> str:
    leak, pump = said["leak_kpa_per_min"], said["pump"] if said["pump"] in {"on", "off"} else "not_said"
    if leak is None or said["state"] not in {"losing", "low", "critical", "holding"}:
        return "" if pump == "not_said" else voice.say(f"rate.unknown.{pump}")
    return voice.say(f"rate.{'down' if leak >= STEADY_KPA_PER_MIN else 'steady'}.{pump}", leak_kpa_a_min=leak)


def _facts(status: Status, voice: Voice) -> list[View]:
    facts = status["facts"]
    phase = {"words": status["phase_words"], "text": {"key": f"phase.{status['phase']}", "values": {}}}
    said = [("fact.phase", voice.told(phase, "words", "text"))]
    tilt_deg = facts["tilt_deg"]
    said.append(("fact.tilt", voice.say("tilt.assumed") if tilt_deg is None else _tilt(tilt_deg, voice)))
    measured = [key for key in ("height_m", "battery_v", "wind_m_s", "temperature_c") if facts[key] is not None]
    said += [(f"fact.{key.partition('_')[0]}", voice.value(key, facts[key])) for key in measured]
    rows: list[View] = [
        {"key": key, "label": voice.say(key, at=facts["wind_at"]), "value": value, "age_s": None} for key, value in said
    ]
    rows.append({"key": "fact.reading", "label": voice.say("fact.reading"), "value": None, "age_s": facts["age_s"]})
    name = _with_pads(lifter_name(status), facts, voice)
    rows.append({"key": "fact.lifter", "label": voice.say("fact.lifter"), "value": name, "age_s": None})
    return rows


def _first(status: Status, site: Mapping[str, Any], voice: Voice) -> list[str]:
    """The steps to the first live reading, for a lifter that was never heard."""
    if status["facts"]["age_s"] is not None or any(c["age_s"] is not None for c in status["circuits"].values()):
        return []
    topic = "/".join((site.get("root", "holdwatch"), status["site"], status["lifter"], "readings"))
    return [
        voice.say("first.send", broker=site.get("broker") or "", topic=topic),
        voice.say("first.listen"),
        voice.say("first.then"),
        voice.say("first.try"),
    ]


def _phone(last_utc_s: float | None, now_utc_s: float, voice: Voice) -> View:
    """Whether the landing phone is connected, and when it was last heard."""
    how = "none" if last_utc_s is None else "here" if now_utc_s - last_utc_s <= CONNECTED_S else "gone"
    at = "" if last_utc_s is None else voice.clock(last_utc_s)
    value = voice.say(f"phone.{how}", clock=at)
    fact = {"key": f"fact.phone.{how}", "label": voice.say("fact.phone"), "value": value, "age_s": None}
    return {"fact": fact, "button": voice.say(f"phone.button.{how}", clock=at)}


def _with_pads(name: str, facts: Mapping[str, Any], voice: Voice) -> str:
    return voice.say("lifter.pads", lifter=name, pads_n=facts["pads_n"]) if facts["pads_n"] else name


def _tilt(tilt_deg: float, voice: Voice) -> str:
    place = "flat" if abs(tilt_deg) <= 5 else "upright" if abs(tilt_deg - 90) <= 5 else "leaning"
    return voice.say(f"tilt.{'over' if tilt_deg > 95 else place}", tilt_deg=tilt_deg)


def _alarm_lines(status: Status, voice: Voice) -> list[View]:
    """One line a cause: the leading alarm, how many more are folded under it, and those. Open if any of them waits."""
    alarms = {alarm["raising"]: alarm for alarm in status["alarms"]}
    lines = []
    for line in status["alarm_lines"]:
        lead, under = alarms[line["lead"]], sorted((alarms[one] for one in line["under"]), key=alarm_order)
        said = alarm_view(lead, voice) | {
            "priority": line["priority"],
            "open": any(_waits(one) for one in (lead, *under)),
            "stands": any(_stands(one) for one in (lead, *under)),
            "more": voice.told(line, "words", "text") if line["under"] else "",
            "flood": line["flood"],
            "under": [alarm_view(one, voice) for one in under],
        }
        lines.append((min(alarm_order(one) for one in (lead, *under)), said))
    return [said for _, said in sorted(lines, key=lambda pair: pair[0])]


def alarm_view(alarm: Mapping[str, Any], voice: Voice) -> View:
    """One alarm as every page tells it."""
    about, words = voice.told(alarm, "about"), voice.told(alarm, "words", "text")
    over = _is_over(alarm) and alarm["state"] != "normal"
    return {
        "raising": alarm["raising"],
        "priority": alarm["priority"],
        "state": alarm["state"],
        "open": _waits(alarm),
        "stands": _stands(alarm),
        "waits": _waits(alarm),
        "acknowledge": voice.say("alarm.acknowledge"),
        "words": _together(
            _sentence(voice.say("alarm.words_over" if over else "alarm.words", about=about, words=words))
        ),
        "do": voice.told(alarm, "do"),
        "said": _alarm_said(alarm, voice),
        "since": voice.say("alarm.since", clock=voice.clock(alarm["since"])),
    }


def _alarm_said(alarm: Mapping[str, Any], voice: Voice) -> str:
    """Its state, or that it is set aside, by whom and why."""
    key = f"alarm.{next((flag for flag in SET_ASIDE if alarm[flag]), alarm['state'])}"
    if alarm.get("set_aside_by") and f"{key}.by" in TEMPLATES:
        return voice.say(f"{key}.by", by=alarm["set_aside_by"], why=alarm["set_aside_why"])
    return voice.say(key)


def _is_over(alarm: Mapping[str, Any]) -> bool:
    """What it tells of is no longer so; it is there to be acknowledged or reset."""
    return alarm["state"] not in {"unacknowledged", "acknowledged"}


def _stands(alarm: Mapping[str, Any]) -> bool:
    """What it tells of is so now, and nobody and no phase has set it aside: answered or not, it is no smaller for that."""
    return not _is_over(alarm) and not any(alarm[flag] for flag in SET_ASIDE)


def _waits(alarm: Mapping[str, Any]) -> bool:
    """Whether it waits for an acknowledgement."""
    return alarm["state"] in UNACKNOWLEDGED and not any(alarm[flag] for flag in SET_ASIDE)


def alarm_order(alarm: Mapping[str, Any]) -> tuple[bool, bool, bool, int, float]:
    """Unacknowledged first, of these what stands before what is over, then by priority, then the newest."""
    return (
        any(alarm[flag] for flag in SET_ASIDE),
        not _waits(alarm),
        _is_over(alarm),
        PRIORITIES.index(alarm["priority"]),
        -alarm["since"],
    )


def _notices(snapshot: Snapshot, voice: Voice) -> list[str]:
    said = []
    if snapshot.link.get("broker") == "down":
        since = voice.clock(snapshot.link["since_utc_s"])
        said.append(" ".join([voice.say("notice.broker", clock=since), snapshot.link.get("words", "")]).strip())
    if snapshot.store.get("writing") is False:
        said.append(voice.say("notice.store"))
    elif (free := snapshot.store.get("free_ratio")) is not None and free < 0.05:
        said.append(voice.say("notice.disk", left_at_least_percent=100 * free))
    return said


def _sound(shown: Sequence[Status]) -> View:
    """How this page should sound, and what it sounds about: anything new in ``about`` ends a silence."""
    worst = shown[0]
    waiting = [a for s in shown for a in s["alarms"] if _waits(a)]
    up = any(s["in_flight"] for s in shown)
    levels = {a["priority"] if a["state"] == "unacknowledged" else "low" for a in waiting}  # one that is over is low
    if worst["call"] == "land_now":
        levels.add("high")
    elif worst["call"] in {"land_soon", "no_signal"} and up:
        levels.add("medium")
    return {
        "level": min(levels, key=PRIORITIES.index, default="none"),
        "hush": worst["call"] != "land_now",
        "about": [worst["call"], *sorted(a["raising"] for a in waiting)],
        "lost": "medium" if up else "none",
    }


def _lost(shown: Sequence[Status], at_utc_s: float, page: str, voice: Voice) -> View:
    """What the cover will say if the next reply never comes: held by the page beforehand. The landing hand's comes first."""
    key = "lost.on_ground"
    if any(s["in_flight"] for s in shown):
        key = "lost.load_on"
    if any(s["call"] == "land_now" for s in shown):
        key = "lost.land_now"
    numbers = [
        voice.say("lost.circuit", circuit=name, vacuum_kpa=said["vacuum_kpa"])
        for s in shown[:1]
        for name, said in s["circuits"].items()
    ]
    kg = shown[0]["load"]["kg"]
    if kg is not None:
        numbers.append(voice.value("load_kg", kg))
    return {
        "do": f"{voice.say('lost.release')} {voice.say(key)}" if page == "landing" else voice.say(key),
        "last": voice.say("lost.last", clock=voice.clock(at_utc_s)),
        "numbers": " · ".join(numbers),
    }


def _number(said: Mapping[str, Any], voice: Voice) -> tuple[str, str]:
    """The vacuum's number, "–" where there is none, and its unit."""
    number, unit = voice.number_and_unit("vacuum_kpa", said["vacuum_kpa"] or 0.0)
    return "–" if said["vacuum_kpa"] is None else number, unit


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def _together(words: str) -> str:
    """The same words with numbers kept on one line with their units. Check: "12 s ago" has no break after 12."""
    return UNIT_GAP.sub("\\1\u00a0", words)
