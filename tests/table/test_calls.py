"""The table from facts to calls, row by row: what each says, in flight and on the ground, and in what order."""

import json
from dataclasses import replace
from string import Formatter

import pytest

from monitor.core.call import RANK, ROWS, WORST_FIRST, Call, Called, Row, judge
from monitor.core.facts import CircuitState, Facts
from monitor.core.load import Load, LoadKnown
from monitor.core.phases import IN_FLIGHT, Phase
from monitor.core.warning_time import Bounds
from monitor.words.english import TEMPLATES
from monitor.words.say import say, text_dict
from tests.unit.core.made import NOW_S, circuit, facts, holding, losing

S = CircuitState
SILENT = [circuit(name, state=S.NO_READING, age_s=9.0, before=S.HOLDING) for name in "AB"]
LIMITS = {"wind_limit_m_s": 9.0, "battery_low_v": 23.0}

EXAMPLES: dict[str, Facts] = {
    "lifter_alarm": facts(lifter_alarm=True),
    "release_under_load": facts(*[circuit(name, lost_kpa=9.0) for name in "AB"]),
    "release_unsure": facts(*[circuit(name, lost_kpa=9.0) for name in "AB"], load_known=LoadKnown.UNSURE),
    "critical": facts(circuit("B", state=S.CRITICAL, vacuum_kpa=30.0)),
    "low": facts(circuit("B", state=S.LOW, vacuum_kpa=50.0)),
    "open_in_flight": facts(circuit("B", state=S.BUILDING, vacuum_kpa=53.0)),
    "margin_gone": facts(holding=holding(-12.0)),
    "early_under_landing": facts(losing(early_s=100.0)),
    "silent_after_trouble": facts(circuit("B", state=S.NO_READING, age_s=9.0, before=S.LOSING)),
    "load_returns": facts(
        *[circuit(name, state=S.OPEN, vacuum_kpa=0.0) for name in "AB"],
        phase=Phase.RELEASED, in_flight=False, released_load_kg=80.0,
    ),
    "silent": facts(*SILENT),
    "early_under_twice_landing": facts(losing(early_s=400.0)),
    "reserve_under_landing": facts(circuit("B", reserve=Bounds(200.0, 400.0, None))),
    "pump_stopped": facts(circuit("B", pump_trouble="not_building")),
    "no_reading": facts(circuit("B", state=S.NO_READING, age_s=9.0)),
    "sensor_fault": facts(circuit("B", state=S.SENSOR_FAULT, fault="frozen", fault_for_s=9.0)),
    "battery_low": facts(config=LIMITS, heard={"battery_v": 22.0, "wind_m_s": None, "tilt_deg": None}),
    "battery_will_not_last": facts(config=LIMITS, battery_to_low=Bounds(400.0, 600.0, None)),
    "over_plan": facts(planned_kg=500.0),
    "sensor_doubt": facts(circuit("B", state=S.SENSOR_FAULT, fault="not_finite")),
    "losing": facts(losing(early_s=900.0)),
    "reserve_short": facts(circuit("B", reserve=Bounds(400.0, 900.0, None))),
    "building": facts(
        circuit("B", state=S.BUILDING, vacuum_kpa=30.0), phase=Phase.SEALING, in_flight=False, judged_kg=None,
        load=Load(), load_known=LoadKnown.OFF,
    ),
    "opened": facts(
        circuit("B", state=S.OPEN, vacuum_kpa=1.0), phase=Phase.LANDING, in_flight=False, load_known=LoadKnown.OFF
    ),
    "load_on_open": facts(
        *[circuit(name, state=S.OPEN, vacuum_kpa=0.0) for name in "AB"], phase=Phase.IDLE, in_flight=False
    ),
    "load_unknown": facts(load_lost=True, load_fresh=False, load_kg=None),
    "tilt_outside_plan": facts(tilt_outside_plan=True),
    "wind_near": facts(config=LIMITS, heard={"battery_v": None, "wind_m_s": 8.5, "tilt_deg": None}),
    "too_early": facts(circuit("B", to_warning=None)),
    "under_plan": facts(planned_kg=1000.0, load=Load(largest_kg=620.0, grew_s=NOW_S - 90.0)),
}  # fmt: skip
"""For each row, facts in which it is the worst that holds."""

EVERY = pytest.mark.parametrize("row", ROWS, ids=lambda row: row.key)


def called_by(row: Row) -> Called:
    return judge(EXAMPLES[row.key], None)


def test_every_row_has_its_example_and_its_own_key() -> None:
    assert [row.key for row in ROWS] == list(EXAMPLES)


@EVERY
@pytest.mark.parametrize("likely_s", [500.0, None])
@pytest.mark.parametrize("level", ["warning", "needed"])
def test_reason_names_the_level_that_counts(row: Row, level: str, likely_s: float | None) -> None:
    given = EXAMPLES[row.key]
    circuits = [
        replace(c, level=level, to_warning=c.to_warning and replace(c.to_warning, likely_s=likely_s))
        for c in given.circuits.values()
    ]
    given = replace(given, circuits={c.id: c for c in circuits}, in_use=tuple(circuits))
    called = judge(given, None)
    if "level" not in called.reason.values:
        assert ".needed" not in called.reason.key
        return
    said = say(called.reason)
    assert ("warning level" in said) is (level == "warning")
    assert ("this load needs" in said) is (level == "needed")


@EVERY
def test_row_makes_the_call_and_says_why(row: Row) -> None:
    called = called_by(row)
    expected = row.in_flight if EXAMPLES[row.key].in_flight else row.on_ground
    assert called.reason.key.removeprefix("reason.").removesuffix(".likely_beyond") == row.key
    assert called.call is expected


@EVERY
def test_reason_fits_its_values(row: Row) -> None:
    template = TEMPLATES[f"reason.{row.key}"]
    asked = {name for _, name, _, _ in Formatter().parse(template) if name}
    values = row.when(EXAMPLES[row.key])
    assert values is not None
    assert asked <= set(values)


@EVERY
def test_reason_is_said_whatever_is_not_known(row: Row) -> None:
    text = called_by(row).reason
    unknown = replace(text, values=dict.fromkeys(text.values))
    for said in (say(text), say(unknown)):
        assert 0 < len(said) <= 130
        assert said.endswith(".")
        assert "None" not in said
        assert "{" not in said


@EVERY
def test_reason_without_a_likely_time_does_not_speak_of_it(row: Row) -> None:
    values = row.when(EXAMPLES[row.key])
    assert values is not None
    if "likely_s" not in values:
        assert f"reason.{row.key}.likely_beyond" not in TEMPLATES
        return
    beyond = TEMPLATES[f"reason.{row.key}.likely_beyond"]
    assert "likely" not in beyond
    assert "{early_s}" in beyond


@EVERY
def test_message_is_json(row: Row) -> None:
    called = called_by(row)
    for text in (called.reason, called.headline):
        json.dumps(text_dict(text), allow_nan=False)


@EVERY
def test_early_bound_is_said_before_the_likely_time(row: Row) -> None:
    template = TEMPLATES[f"reason.{row.key}"]
    if "{likely_s}" in template:
        assert template.index("{early_s}") < template.index("{likely_s}")


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("critical", "Circuit B is at 30.0 kPa, under the 34.0 kPa this load needs."),
        ("low", "Circuit B is at 50.0 kPa, at or under its warning level 52.0 kPa."),
        ("open_in_flight", "Circuit B does not hold: 53.0 kPa, warning level 52.0 kPa."),
        ("margin_gone", "The load of 620 kg is at or over the limit by calculation, 810 kg."),
        (
            "early_under_landing",
            "Circuit B may reach its warning level in 1 min (likely 15 min); landing takes up to 4 min.",
        ),
        ("silent_after_trouble", "Nothing heard for 9 s, and there was trouble before that."),
        ("load_returns", "80 kg came back on the lifter after the release."),
        (
            "reserve_under_landing",
            "Without its pump circuit B could reach its warning level in 3 min; landing takes up to 4 min.",
        ),
        ("battery_low", "The battery is at 22.0 V, under 23.0 V: it may not last the lift."),
        (
            "battery_will_not_last",
            "The battery may be down to 23.0 V in 6 min (likely 10 min); landing takes up to 4 min.",
        ),
        ("over_plan", "The load is 620 kg, planned were 500 kg."),
        (
            "under_plan",
            "The load reads only 620 kg, planned were 1000 kg: another panel, or a load cell that is wrong.",
        ),
        ("losing", "Circuit B is losing vacuum: its warning level in 15 min at the earliest (likely 15 min)."),
        ("reserve_short", "If its pump stopped, circuit B could reach its warning level in 6 min."),
        ("building", "Vacuum is building: circuit B is at 30.0 kPa, warning level 52.0 kPa."),
        ("opened", "Circuit B is open: 1.0 kPa."),
        ("load_on_open", "620 kg is on the lifter while every circuit is open."),
        ("tilt_outside_plan", "The tilt of 90° is outside the plan."),
        ("wind_near", "Wind 8.5 m/s, limit 9.0 m/s, measured at the ground."),
    ],
)
def test_reason_tells_what_was_read_and_the_limit(row: str, words: str) -> None:
    assert say(judge(EXAMPLES[row], None).reason) == words


@pytest.mark.parametrize(
    ("row", "value", "told"),
    [("pump_stopped", "trouble", "not_building"), ("sensor_fault", "fault", "frozen"), ("load_unknown", "load_lost", 1),
     ("losing", "level", "warning"), ("margin_gone", "governs", "friction")],
)  # fmt: skip
def test_message_carries_what_a_page_may_say_beside_its_words(row: str, value: str, told: object) -> None:
    assert judge(EXAMPLES[row], None).reason.values[value] == told


# --- the order


def test_rows_stand_worst_first() -> None:
    ranks = [RANK[row.in_flight] for row in ROWS if row.in_flight is not None]
    assert ranks == sorted(ranks)


def test_calls_stand_worst_first_everywhere() -> None:
    told = ["land_now", "no_signal", "land_soon", "look", "holding", "not_lifting"]
    assert [call.value for call in WORST_FIRST] == told
    assert [call.value for call in sorted(Call, key=RANK.__getitem__)] == told  # what the record ranks by


@EVERY
def test_no_row_is_worse_on_the_ground_than_in_the_air(row: Row) -> None:
    if row.in_flight is not None and row.on_ground is not None:
        assert RANK[row.in_flight] <= RANK[row.on_ground]


@EVERY
def test_no_row_makes_a_good_call(row: Row) -> None:
    assert {row.in_flight, row.on_ground} & {Call.HOLDING, Call.NOT_LIFTING} == set()


def test_silence_is_said_on_the_ground_too() -> None:
    [row] = [row for row in ROWS if row.key == "silent"]
    assert (row.in_flight, row.on_ground) == (Call.NO_SIGNAL, Call.NO_SIGNAL)


# --- what it says, word by word (DESIGN, the words)


@pytest.mark.parametrize(
    ("row", "phase", "words"),
    [
        ("low", Phase.CARRYING, "Land the load now"),
        ("low", Phase.LIFTING, "Stop hoisting, lower back"),
        ("low", Phase.SEAL_TEST, "Do not lift"),
        ("silent", Phase.CARRYING, "No readings: land the load, listen for the lifter's own alarm"),
        ("silent", Phase.SEAL_TEST, "Read the gauge on the lifter"),
        ("pump_stopped", Phase.CARRYING, "Land the load soon"),
        ("pump_stopped", Phase.SEAL_TEST, "Do not lift"),
        ("losing", Phase.CARRYING, "Look at circuit B"),
        ("losing", Phase.SEAL_TEST, "Do not lift"),
        ("tilt_outside_plan", Phase.CARRYING, "Look at the lifter"),
        ("load_returns", Phase.RELEASED, "Stop hoisting: a pad still grips"),
    ],
)
def test_headline(row: str, phase: Phase, words: str) -> None:
    given = replace(EXAMPLES[row], phase=phase, in_flight=phase in IN_FLIGHT)
    assert say(judge(given, None).headline) == words


def test_margin_lost_by_tilting_says_tilt_back() -> None:
    given = facts(holding=holding(-12.0), tilt_outside_plan=True)
    assert say(judge(given, None).headline) == "Tilt back"


def test_calm_headlines() -> None:
    opened = [circuit(name, state=S.OPEN, vacuum_kpa=0.0) for name in "AB"]
    ground = {"in_flight": False, "load_known": LoadKnown.OFF}
    assert say(judge(facts(), None).headline) == "Holding"
    assert say(judge(facts(phase=Phase.PARKED, **ground), None).headline) == "Not lifting"
    assert say(judge(facts(*opened, phase=Phase.IDLE, **ground), None).headline) == "Not lifting"


# --- every phase and every circuit state


@pytest.mark.parametrize("phase", sorted(IN_FLIGHT))
@pytest.mark.parametrize("state", [state for state in CircuitState if state is not S.HOLDING])
def test_in_flight_only_holding_circuits_make_holding(phase: Phase, state: CircuitState) -> None:
    part = losing(early_s=900.0) if state is S.LOSING else circuit("B", state=state, vacuum_kpa=20.0)
    assert RANK[judge(facts(part, phase=phase), None).call] <= RANK[Call.LOOK]


@pytest.mark.parametrize("phase", list(Phase))
@pytest.mark.parametrize("state", [S.NO_READING, S.SENSOR_FAULT])
def test_one_circuit_not_believed_is_never_holding_in_any_phase(phase: Phase, state: CircuitState) -> None:
    given = facts(circuit("B", state=state, fault="frozen", fault_for_s=1.0), phase=phase, in_flight=phase in IN_FLIGHT)
    assert RANK[judge(given, None).call] <= RANK[Call.LOOK]


@pytest.mark.parametrize("phase", list(Phase))
def test_no_circuit_believed_is_no_signal_in_every_phase(phase: Phase) -> None:
    given = facts(*SILENT, phase=phase, in_flight=phase in IN_FLIGHT)
    assert judge(given, None).call is Call.NO_SIGNAL
