"""The view says what the status says: no better, no older, and in its words."""

import copy
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards.live import Snapshot
from dashboards.view_model import CALLS, RELEASES, Viewer, split_headline, view, worst_first
from dashboards.words import say
from monitor.core.alarm_table import Priority
from monitor.core.alarms import State
from monitor.core.call import Call
from monitor.core.facts import CircuitState
from monitor.core.release import Release
from monitor.words.english import TEMPLATES
from monitor.words.languages import languages, template
from tests.page.statuses import CALLS as SAID
from tests.page.statuses import SITE, alarm, alarm_line, circuit, losing, silent, status

GROUND = Viewer("ground")


def seen(*lifters: dict[str, Any], **changed: Any) -> Snapshot:
    plain: dict[str, Any] = {
        "number": "a.1",
        "utc_s": 1764019200.0,
        "made_s": 0.0,
        "link": {"broker": "up"},
        "store": {},
    }
    return Snapshot(lifters=tuple(lifters), **(plain | changed))


def one(said: dict[str, Any]) -> dict[str, Any]:
    shown = view(seen(said), GROUND, SITE)["one"]
    assert isinstance(shown, dict)
    return shown


# -- the fixed words are all known here


def test_every_fixed_word_has_its_words() -> None:
    assert set(CALLS) == set(Call)
    assert set(RELEASES) == set(Release)
    assert {f"state.{state}" for state in CircuitState} <= set(TEMPLATES)
    assert {f"call.{call}" for call in Call} <= set(TEMPLATES)
    assert {f"alarm.{state}" for state in State if state is not State.NORMAL} <= set(TEMPLATES)
    assert {priority.value for priority in Priority} == {"high", "medium", "low"}


HEADLINES = [key for key in TEMPLATES if key.startswith("headline.")]


@pytest.mark.parametrize("headline", [template(key, language) for language in languages() for key in HEADLINES])
def test_every_headline_fits_the_big_type(headline: str) -> None:
    headline = headline.format(circuit="B")
    big, rest = split_headline(headline)
    assert len(big) <= 30
    letters = [letter for letter in headline.lower() if letter.isalnum()]
    assert [letter for letter in (big + rest).lower() if letter.isalnum()] == letters, "no word is lost"


def test_long_headline_goes_on_in_the_reason() -> None:
    shown = one(status("no_signal"))
    assert shown["headline"] == "No readings: land the load"
    assert (
        shown["reason"]
        == "Listen for the lifter's own alarm. No reading can be believed; the last one came 12\u00a0s ago."
    )


# -- the page as a whole


@pytest.mark.parametrize("call", SAID)
def test_page_carries_call_and_release(call: str) -> None:
    said = view(seen(status(call)), GROUND, SITE)
    assert said["call"] == call
    assert said["release"] == status(call)["release"]
    json.dumps(said, allow_nan=False)


def test_several_lifters_the_worst_speaks_for_all() -> None:
    lifters = [status("not_lifting", lifter="a"), status("holding", lifter="b"), status("land_now", lifter="c")]
    said = view(seen(*lifters), GROUND, SITE)
    assert [tile["lifter"] for tile in said["tiles"]] == ["c", "b", "a"]
    assert said["call"] == "land_now"
    assert said["release"] == "do_not_release"


def test_same_call_do_not_release_comes_first() -> None:
    loose = status("holding", lifter="a", release="check_fixed")
    assert [s["lifter"] for s in worst_first([loose, status("holding", lifter="b")])] == ["b", "a"]


def test_one_lifter_asked_for_shows_the_others_beside() -> None:
    lifters = [status("holding", lifter="a"), status("land_now", lifter="b")]
    said = view(seen(*lifters), Viewer("ground", "a"), SITE)
    assert said["call"] == "holding"
    assert [(tile["lifter"], tile["call"]) for tile in said["others"]] == [("b", "land_now")]


def test_lifter_that_is_not_there_is_said() -> None:
    assert view(seen(status()), Viewer("ground", "dock-9"), SITE) == {
        "why": "There is no lifter “dock-9” on this site."
    }


def test_clock_is_the_sites() -> None:
    said = view(seen(status(), utc_s=1764019200.0), GROUND, SITE | {"time_zone": "Asia/Tokyo"})
    assert said["clock"] == "06:20:00"


# -- load and limit


def test_bar_is_load_over_limit() -> None:
    load = one(status())["load"]
    assert (load["look"], load["load"], load["margin"], load["limit"]) == (
        "room",
        "Load 622 kg",
        "276 kg below the limit",
        "Limit 900 kg",
    )
    assert load["load_ratio"] == pytest.approx(624 / 900, abs=1e-4)
    assert load["limit_ratio"] == 1.0


def test_over_the_limit_is_rounded_up_and_the_bar_passes_the_limit() -> None:
    said = status()
    said["holding"] |= {"rated_kg": 600.0, "margin_kg": -24.2}
    load = one(said)["load"]
    assert (load["look"], load["margin"]) == ("over", "25 kg over the limit")
    assert load["load_ratio"] == 1.0
    assert load["limit_ratio"] == pytest.approx(600 / 624, abs=1e-4)


def test_room_is_rounded_down() -> None:
    said = status()
    said["holding"] |= {"rated_kg": 900.9, "margin_kg": 276.9}
    load = one(said)["load"]
    assert (load["margin"], load["limit"]) == ("276 kg below the limit", "Limit 900 kg")


def test_judged_load_is_named_when_the_load_is_partly_off() -> None:
    said = status(load={"kg": 164.0, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": "on"})
    assert one(said)["load"]["load"] == "Load 164 kg, judged as 624 kg"


@pytest.mark.parametrize("blind", [silent(), circuit("sensor_fault", 60.0)])
def test_no_room_is_shown_while_no_circuit_is_known(blind: dict[str, Any]) -> None:
    load = one(status("no_signal", circuits={"A": blind, "B": blind}, load=status()["load"]))["load"]
    assert (load["look"], load["margin"]) == ("unknown", "Room to the limit not known")


def test_no_room_is_shown_while_the_load_reading_is_lost() -> None:
    load = one(status("land_soon", load=SAID["no_signal"]["load"]))["load"]
    assert load["look"] == "unknown"


def test_no_pads_is_said() -> None:
    said = status(holding=None)
    said["facts"]["pads_n"] = 0
    assert one(said)["load"]["note"] == say("load.no_pads")


def test_loss_of_a_circuit_names_the_worst_and_rounds_down() -> None:
    said = status()
    said["holding"]["if_lost"] = {
        "A": {"factor": 1.98, "needed_factor": None},
        "B": {"factor": 1.49, "needed_factor": None},
        "C": {"factor": None, "needed_factor": None},
    }
    assert one(said)["load"]["note"].endswith(
        "Without circuit B the rest would hold 1.4 times the load, by calculation."
    )


# -- circuits


def test_losing_circuit_shows_its_early_time_first() -> None:
    said = one(status("land_soon"))["circuits"][1]
    assert (said["word"], said["time"], said["number"]) == ("Losing vacuum", "4 min", "57.8")
    assert said["words"] == "May reach the warning level in 4\u00a0min (likely 6\u00a0min)."
    assert said["rate"] == "down 0.9 a minute, pump off"
    assert said["trace"]["ahead"]["early"] == 250.0


def test_unknown_projection_is_a_question_mark_never_a_time() -> None:
    said = one(status(circuits={"A": circuit(to_warning_s=None, words="Holding. Too early to say how long.")}))[
        "circuits"
    ][0]
    assert said["time"] == "?"
    assert said["trace"]["ahead"] is None


@pytest.mark.parametrize("state", ["no_reading", "sensor_fault", "open", "building", "low", "critical"])
def test_no_time_is_shown_where_none_is_known(state: str) -> None:
    assert one(status(circuits={"A": circuit(state)}))["circuits"][0]["time"] == ""


def test_level_line_is_what_governs() -> None:
    said = one(status(circuits={"A": circuit(needed_kpa=55.0)}))["circuits"][0]["trace"]
    assert said["governs_kpa"] == 55.0
    assert said["needed_kpa"] == 55.0
    assert said["low_kpa"] == 43.0


def test_order_of_circuits_never_changes() -> None:
    said = status(circuits={"B": silent(), "A": losing(), "C": circuit()})
    assert [c["id"] for c in one(said)["circuits"]] == ["B", "A", "C"]


# -- alarms, sound, what the cover will say


def test_unacknowledged_alarms_come_first() -> None:
    alarms = [
        alarm("acknowledged", "high", 1),
        alarm("unacknowledged", "low", 2),
        alarm("returned_unacknowledged", "high", 3),
        alarm("unacknowledged", "high", 4, shelved=True),
    ]
    shown = one(status("land_soon", alarms=alarms))
    assert [a["raising"][-1] for a in shown["alarms"]] == ["2", "3", "1", "4"]  # what is over never hides what stands
    assert [a["words"].startswith("Over now, circuit") for a in shown["alarms"]] == [False, True, False, False]
    assert [a["open"] for a in shown["alarms"]] == [True, True, False, False]
    assert [a["stands"] for a in shown["alarms"]] == [
        True,
        False,
        True,
        False,
    ]  # answered, it is still so; shelved, aside
    assert shown["more"] == "4 alarms"


def test_one_cause_is_one_line_with_the_rest_under_it() -> None:
    lead, low = alarm("acknowledged", "medium", 1), alarm("unacknowledged", "high", 2)
    lines = [alarm_line(lead, low, priority="high")]
    [line] = one(status("land_soon", alarms=[lead, low], alarm_lines=lines))["alarms"]
    assert (line["raising"][-1], line["priority"], line["more"]) == ("1", "high", "and 1 more from it")
    assert (line["open"], line["waits"]) == (True, False)  # open because of what is under it, which has its own button
    assert [(under["raising"][-1], under["waits"]) for under in line["under"]] == [("2", True)]


def test_line_with_an_alarm_that_waits_comes_before_one_without() -> None:
    lead, low, other = alarm("acknowledged", "medium", 1), alarm(raising_n=2), alarm("acknowledged", "high", 3)
    lines = [alarm_line(other), alarm_line(lead, low)]
    shown = one(status("land_soon", alarms=[lead, low, other], alarm_lines=lines))["alarms"]
    assert [line["raising"][-1] for line in shown] == ["1", "3"]


def test_alarm_names_what_it_is_about() -> None:
    said = one(status("land_soon"))["alarms"][0]
    assert said["words"].startswith("Circuit B: May reach the level it must keep in 4")
    assert said["raising"] == "dock-6/B/losing_vacuum/17"


@pytest.mark.parametrize(
    ("call", "level", "lost"),
    [
        ("land_now", "high", "medium"),
        ("land_soon", "high", "medium"),  # of its alarm, which waits
        ("no_signal", "medium", "medium"),
        ("holding", "none", "medium"),
        ("not_lifting", "none", "none"),
    ],
)
def test_sound_follows_the_call(call: str, level: str, lost: str) -> None:
    said = view(seen(status(call)), GROUND, SITE)["sound"]
    assert (said["level"], said["lost"]) == (level, lost)


@pytest.mark.parametrize(
    ("state", "priority", "level"),
    [
        ("unacknowledged", "high", "high"),
        ("unacknowledged", "medium", "medium"),
        ("unacknowledged", "low", "low"),
        ("latched_unacknowledged", "high", "low"),
        ("acknowledged", "high", "none"),
    ],
)
def test_sound_follows_the_priority_of_what_waits(state: str, priority: str, level: str) -> None:
    said = view(seen(status("holding", alarms=[alarm(state, priority)])), GROUND, SITE)["sound"]
    assert said["level"] == level


@pytest.mark.parametrize("call", ["land_now", "land_soon", "holding", "no_signal"])
def test_only_land_now_cannot_be_hushed(call: str) -> None:
    assert view(seen(status(call)), GROUND, SITE)["sound"]["hush"] is (call != "land_now")


def test_new_raising_is_something_new_to_sound_about() -> None:
    before = view(seen(status("land_soon", alarms=[alarm(raising_n=1)])), GROUND, SITE)["sound"]["about"]
    after = view(seen(status("land_soon", alarms=[alarm(raising_n=1), alarm(raising_n=2)])), GROUND, SITE)["sound"][
        "about"
    ]
    assert set(after) - set(before) == {"dock-6/B/losing_vacuum/2"}


def test_cover_is_told_beforehand_what_to_say() -> None:
    assert view(seen(status("holding")), GROUND, SITE)["lost"]["do"] == say("lost.load_on")
    assert view(seen(status("land_now")), GROUND, SITE)["lost"]["do"] == say("lost.land_now")
    said = view(seen(status("not_lifting")), GROUND, SITE)["lost"]
    assert said["do"] == say("lost.on_ground")
    assert said["last"] == "Last seen at 21:20:00"
    landing = view(seen(status("holding")), Viewer("landing", "dock-6"), SITE)["lost"]
    assert landing["do"].startswith("Do not release: nothing is known of the load. ")


def test_lost_broker_and_failing_disk_are_said() -> None:
    down = {"broker": "down", "since_utc_s": 1764019190.0}
    said = view(seen(status(), link=down, store={"writing": False}), GROUND, SITE)["notices"]
    assert said[0] == "Broker lost since 21:19:50: no readings arrive until it is back."
    assert said[1].startswith("Records can't be written")


# -- nothing in a status can break the page

_NUMBER = st.none() | st.floats(-1e4, 1e5, allow_nan=False)
_WORDS = st.text(max_size=40)


@given(
    call=st.sampled_from(CALLS),
    release=st.sampled_from(RELEASES),
    states=st.lists(st.sampled_from(sorted(CircuitState)), min_size=1, max_size=6),
    vacuum=_NUMBER,
    leak=_NUMBER,
    early=st.none() | st.floats(0, 1e5),
    kg=_NUMBER,
    judged=_NUMBER,
    margin=_NUMBER,
    tilt=_NUMBER,
    words=_WORDS,
)
def test_any_status_gives_a_view(call: str, release: str, states: list[str], words: str, **n: float | None) -> None:
    bounds = {"level": "warning", "early": n["early"], "likely": None, "late": None}
    said = copy.deepcopy(status()) | {"call": call, "release": release, "headline": words, "reason": words}
    said["circuits"] = {
        str(i): circuit(
            state, n["vacuum"], leak_kpa_per_min=n["leak"], to_warning_s=bounds, reserve_s=None, words=words
        )
        for i, state in enumerate(states)
    }
    said["load"] |= {"kg": n["kg"], "judged_kg": n["judged"]}
    said["holding"] |= {"margin_kg": n["margin"]}
    said["facts"] |= {"tilt_deg": n["tilt"]}
    shown = view(seen(said), GROUND, SITE)
    assert shown["call"] == call
    assert 0.0 <= shown["one"]["load"]["load_ratio"] <= 1.0
    json.dumps(shown, allow_nan=False)


def test_alarm_set_aside_is_neither_open_nor_heard() -> None:
    for flag in ("shelved", "suppressed", "out_of_service"):
        said = view(seen(status("holding", alarms=[alarm(**{flag: True})])), GROUND, SITE)
        assert said["one"]["alarms"][0]["open"] is False
        assert said["sound"]["level"] == "none"


def test_weight_off_and_all_open_is_no_overload() -> None:
    off = {"kg": -1.2, "source": "measured", "judged_kg": 630.0, "planned_kg": None, "known": "off"}
    opened = {name: circuit("open", 0.2) for name in "AB"}
    said = status("look", circuits=opened, load=off)
    said["holding"] |= {"rated_kg": 1.0, "margin_kg": -629.0}
    shown = one(said)["load"]
    assert (shown["look"], shown["load"], shown["limit"], shown["note"]) == (
        "unknown",
        "Load -1 kg",
        "Limit not known",
        "",
    )
    assert one(said | {"load": off | {"known": "on"}})["load"]["look"] == "over"


def test_load_on_the_ground_is_shown_without_a_judged_one() -> None:
    off = {"kg": 0.4, "source": "measured", "judged_kg": None, "planned_kg": None, "known": "off"}
    assert one(status("look", load=off))["load"]["load"] == "Load 0 kg"


def test_ages_are_those_at_the_snapshots_time() -> None:
    said = view(seen(status(time=1764019199.0)), GROUND, SITE)
    assert said["one"]["circuits"][0]["age_s"] == pytest.approx(1.2)


def test_status_past_its_time_to_live_is_no_signal() -> None:
    fresh = view(seen(status("holding", time=1764019197.0)), GROUND, SITE)
    assert fresh["call"] == "holding"
    stale = view(seen(status("holding", time=1764019196.9)), GROUND, SITE)
    assert (stale["call"], stale["release"]) == ("no_signal", "do_not_release")
    assert stale["one"]["reason"].startswith("The engine has not judged this lifter since 21:19:56.")
    assert {c["state"] for c in stale["one"]["circuits"]} == {"no_reading"}
    assert stale["one"]["load"]["look"] == "unknown"


def test_nothing_told_yet_is_waiting() -> None:
    assert view(seen(), GROUND, SITE) == {"why": say("lost.waiting")}


# -- what a person at the panel may tell


def told_acts(phase: str, known: str = "on", measures: str = "net", page: str = "landing") -> list[str]:
    site = SITE | {"lifters": [SITE["lifters"][0] | {"load_measures": measures}]}  # type: ignore[index]
    load = {"kg": None, "source": "measured", "judged_kg": 624.0, "planned_kg": None, "known": known}
    shown = view(seen(status("holding", phase=phase, load=load)), Viewer(page), site)["one"]
    return [said["key"].removeprefix("tell.") for said in shown.get("tell", [])]


SURFACES = ["surface.wet", "surface.oily"]


@pytest.mark.parametrize(
    ("phase", "known", "measures", "acts"),
    [
        ("carrying", "on", "net", SURFACES),  # "fixed" says nothing of a panel that hangs
        ("landing", "on", "net", ["confirm_fixed", *SURFACES]),
        ("landing", "off", "net", ["confirm_fixed", *SURFACES]),
        ("carrying", "unsure", "net", ["confirm_fixed", *SURFACES]),  # a silent cell: a person's word may end the lift
        ("seal_test", "off", "net", SURFACES),
        ("sealing", "unsure", "none", ["picked_up", *SURFACES]),
        ("parked", "unsure", "none", ["picked_up", *SURFACES]),
        ("carrying", "unsure", "none", ["landed_fixed", *SURFACES]),
        ("landing", "off", "none", ["picked_up", *SURFACES]),
        ("idle", "unsure", "none", []),
        ("released", "off", "net", []),
    ],
)
def test_landing_hand_is_offered_what_can_be_true_now(phase: str, known: str, measures: str, acts: list[str]) -> None:
    assert told_acts(phase, known, measures) == acts


def test_only_the_landing_page_takes_a_persons_word() -> None:
    assert told_acts("landing", page="ground") == []
