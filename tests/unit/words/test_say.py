"""A status as the JSON of the interface: the fixed keys, nulls where nothing is known, words beside their message."""

import json
import math
from dataclasses import replace

import pytest

from monitor.core.call import judge as judge_call
from monitor.core.facts import CircuitState, Facts
from monitor.core.holding import WorstPad
from monitor.core.load import Load, LoadKnown
from monitor.core.messages import Text
from monitor.core.release import judge as judge_release
from monitor.core.seal_tests import SealTests
from monitor.core.status import Status, alarms_told
from monitor.core.warning_time import Bounds
from monitor.words.say import say, status_dict, text_dict
from tests.histories import Watch, carry, carrying, dock
from tests.unit.core.made import NOW_S, circuit, facts, holding, losing

# The keys of DESIGN §3, word by word: other people's hardware and tests rely on them.
FIXED = {
    "version", "site", "lifter", "time", "valid_for_s", "reading_time", "phase", "call", "release", "headline", "reason",
    "load", "holding", "circuits", "alarms",
}  # fmt: skip
FIXED_HOLDING = {"basis", "governs", "rated_kg", "margin_kg", "margin_ratio", "now_kg", "worst_pad", "if_lost"}
FIXED_CIRCUIT = {
    "state", "vacuum_kpa", "age_s", "warning_kpa", "needed_kpa", "pump", "leak_kpa_per_min", "assumed", "to_warning_s",
    "reserve_s", "text", "words",
}  # fmt: skip
FIXED_ALARM = {"raising", "key", "about", "priority", "state", "shelved", "since", "words"}


def status(given: Facts) -> Status:
    release, text = judge_release(given)
    return Status(
        site="quayside",
        facts=given,
        utc_s=1_764_019_200.31,
        utc_minus_now_s=1_764_014_200.0,
        sent_utc_s=1_764_019_200.125,
        called=judge_call(given, None),
        release=release,
        release_text=text,
        alarms=(),
        lift=None,
        assumed=(),
        counts={},
        seal_tests=SealTests(),
        plan=None,
    )


def said(given: Facts) -> dict[str, object]:
    made = status_dict(status(given))
    json.dumps(made, allow_nan=False)
    return made


def circuit_said(part: object) -> dict[str, object]:
    return said(facts(part))["circuits"][part.id]  # type: ignore[arg-type,index,attr-defined,return-value]


# --- the fixed keys


def test_every_fixed_key_is_there() -> None:
    made = said(facts())
    assert set(made) >= FIXED
    assert set(made["holding"]) >= FIXED_HOLDING  # type: ignore[call-overload]
    assert set(made["circuits"]["B"]) >= FIXED_CIRCUIT  # type: ignore[index]
    assert set(made["load"]) >= {"kg", "source", "judged_kg"}  # type: ignore[call-overload]


def test_alarm_has_its_fixed_keys() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>50x30 50x5")
    alarms = watch.said["alarms"]
    assert alarms
    for alarm in alarms:  # type: ignore[attr-defined]
        assert set(alarm) >= FIXED_ALARM
        assert alarm["raising"].startswith(
            f"dock-6/{'B' if alarm['about'] == 'circuit B' else 'lifter'}/{alarm['key']}/"
        )


def test_version_site_lifter_and_times() -> None:
    made = said(facts())
    assert (made["version"], made["site"], made["lifter"]) == (1, "quayside", "dock-6")
    assert (made["time"], made["valid_for_s"], made["reading_time"]) == (1_764_019_200.31, 3.0, 1_764_019_200.125)


def test_without_a_senders_clock_the_arrival_is_the_reading_time() -> None:
    made = status_dict(replace(status(facts()), sent_utc_s=None))
    assert made["reading_time"] == round(NOW_S - 0.1 + 1_764_014_200.0, 3)


def test_every_text_stands_beside_its_words() -> None:
    made = said(facts(losing(early_s=250.0, likely_s=378.0)))
    for words, text in (
        ("headline", "headline_text"),
        ("reason", "reason_text"),
        ("release_words", "release_words_text"),
        ("release_reason", "release_reason_text"),
    ):
        message = made[text]
        assert made[words] == say(Text(message["key"], message["values"]))  # type: ignore[index]


# --- what is not known is null


def test_bounds_beyond_the_horizon_are_null_and_an_unknown_projection_is_null_as_a_whole() -> None:
    beyond = circuit_said(circuit("B", to_warning=Bounds(2000.0, None, None)))
    assert beyond["to_warning_s"] == {"level": "warning", "early": 2000.0, "likely": None, "late": None}
    assert circuit_said(circuit("B", to_warning=None, reserve=None))["to_warning_s"] is None


def test_level_already_reached_is_zeros() -> None:
    low = circuit_said(circuit("B", state=CircuitState.LOW, vacuum_kpa=50.0, to_warning=Bounds(0.0, 0.0, 0.0)))
    assert low["to_warning_s"] == {"level": "warning", "early": 0.0, "likely": 0.0, "late": 0.0}


@pytest.mark.parametrize(
    "state", [CircuitState.NO_READING, CircuitState.SENSOR_FAULT, CircuitState.BUILDING, CircuitState.OPEN]
)
def test_circuit_that_is_not_believed_or_not_sealed_has_no_times(state: CircuitState) -> None:
    made = circuit_said(circuit("B", state=state, fault="frozen"))
    assert (made["to_warning_s"], made["reserve_s"]) == (None, None)


def test_no_pads_is_holding_null() -> None:
    assert said(facts(holding=None))["holding"] is None


def test_pads_that_cannot_balance_the_load_are_null_not_infinite() -> None:
    made = said(facts(circuit("B", needed_kpa=math.inf), holding=holding(worst_pad=WorstPad("B3", math.inf))))
    assert made["holding"]["worst_pad"] == {"id": "B3", "use_ratio": None}  # type: ignore[index]
    assert made["circuits"]["B"]["needed_kpa"] is None  # type: ignore[index]


@pytest.mark.parametrize(
    ("changes", "source"),
    [
        ({}, "measured"),
        ({"load_kg": None}, "measured"),  # this lift's largest is remembered
        ({"load": Load(), "load_kg": None, "planned_kg": 600.0}, "planned"),
        ({"load": Load(), "load_kg": None}, "none"),
    ],
)
def test_where_the_load_comes_from(changes: dict[str, object], source: str) -> None:
    assert said(facts(**changes))["load"]["source"] == source  # type: ignore[index]


def test_value_that_is_not_finite_is_null_in_a_message() -> None:
    assert text_dict(Text("reason.silent", {"age_s": math.inf})) == {"key": "reason.silent", "values": {"age_s": None}}


def test_message_without_words_is_an_error_and_never_silence() -> None:
    with pytest.raises(KeyError):
        say(Text("reason.no_such_reason"))


# --- DESIGN's own example, said


def test_designs_example_is_said_as_designed() -> None:
    b = losing(early_s=250.0, likely_s=378.0, vacuum_kpa=57.8)
    made = said(facts(b, load_known=LoadKnown.ON))
    assert made["circuits"]["B"]["words"] == "Losing vacuum. May reach the warning level in 4 min (likely 6 min)."  # type: ignore[index]
    assert made["reason"] == (
        "Circuit B may reach its warning level in 4 min (likely 6 min); landing takes up to 4 min."
    )
    assert (made["call"], made["headline"]) == ("land_soon", "Land the load soon")
    assert (made["release"], made["release_words"]) == ("do_not_release", "Do not release")


def test_whole_status_of_a_lifter_is_json_from_the_first_tick_on() -> None:
    watch = Watch(dock(name="Dock 6"))
    watch.wait(0.5)
    made = json.loads(json.dumps(watch.said, allow_nan=False))
    assert made["lifter_name"] == "Dock 6"
    assert alarms_told("dock-6", watch.state.lifters["dock-6"].board, watch.now_s, 0.0) == ()
