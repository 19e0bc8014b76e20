"""Scenario files: each that is shipped loads and runs, each fault of a bad one is told."""

import math
from itertools import pairwise

import numpy as np
import pytest

from simulator.acts import ACTS
from simulator.physics import Setting, vacuum_kpa
from simulator.play import play, timeline
from simulator.scenarios import Scenario, ScenarioError, load, names, read
from simulator.truth import leak_kpa_per_min, to_level_s
from tests.unit.simulator.lifts import HANGING, instants, readings, scenario

WANTED = {
    "clean-lift",
    "demo",
    "early-release",
    "frozen-sensor",
    "growing-leak",
    "heavier-than-planned",
    "leak-in-flight",
    "no-load-cell",
    "pump-stops",
    "silent-in-air",
    "touch-and-lift-again",
}


def faults_of(text: str) -> list[str]:
    with pytest.raises(ScenarioError) as caught:
        read(text, name="bad.toml")
    return str(caught.value).splitlines()


@pytest.fixture(scope="module", params=names())
def shipped(request: pytest.FixtureRequest) -> Scenario:
    return load(request.param)


def test_the_wanted_scenarios_are_there() -> None:
    assert set(names()) >= WANTED


def test_shipped_scenario_runs_to_its_end_and_drops_nothing(shipped: Scenario) -> None:
    moments = list(play(shipped, seed=3))
    assert moments[-1].t_s == pytest.approx(shipped.duration_s)
    assert not moments[-1].state.dropped
    assert min(moment.state.circuits[0].gas_mol for moment in moments) > 0.0
    assert all(vacuum_kpa(m.state, m.params, n) > -1.0 for m in moments[::5] for n in (0, 1))


def test_shipped_scenario_says_what_it_shows(shipped: Scenario) -> None:
    assert 5 < len(shipped.title) < 60
    assert 40 < len(shipped.about) < 400
    assert "\n" not in shipped.about


def test_clean_lift_takes_about_four_minutes_and_looks_like_one() -> None:
    moments = {round(m.t_s, 3): m for m in instants(load("clean-lift"))}
    assert 200.0 <= max(moments) <= 270.0
    pumped_s = next(t_s for t_s, m in moments.items() if vacuum_kpa(m.state, m.params, 0) > 65.0)
    assert 10.0 < pumped_s - 3.0 < 20.0
    assert all(
        62.0 < vacuum_kpa(m.state, m.params, n) < 66.5 for t, m in moments.items() if 30 < t < 219 for n in (0, 1)
    )
    assert moments[150.0].state.load_kg == pytest.approx(620.0, abs=15.0)
    assert moments[215.0].state.load_kg == pytest.approx(0.0, abs=1.0)
    assert vacuum_kpa(moments[222.4].state, moments[222.4].params, 0) < 1.0


def test_demo_shows_something_in_its_first_twenty_seconds_and_tells_its_story() -> None:
    demo = load("demo")
    moments = {round(m.t_s, 3): m for m in instants(demo)}
    assert vacuum_kpa(moments[5.0].state, moments[5.0].params, 0) > 5.0
    assert vacuum_kpa(moments[20.0].state, moments[20.0].params, 0) > 60.0
    assert demo.story[0][0] == 0.0
    assert len(demo.story) > 15
    assert all(len(line) < 160 for _, line in demo.story)


def test_demo_lands_the_leaking_panel_above_the_warning_level() -> None:
    lowest_kpa = min(
        vacuum_kpa(m.state, m.params, 1) for m in instants(load("demo")) if m.state.hook_kg > 0.0 or 300 < m.t_s < 549
    )
    assert 54.0 < lowest_kpa < 60.0


def test_demo_can_begin_again_where_it_ended() -> None:
    moments = instants(load("demo"))
    first, last = moments[0].state, moments[-1].state
    assert last.tilt_deg == first.tilt_deg
    assert last.height_m == first.height_m
    assert last.load_kg == pytest.approx(0.0, abs=0.5)
    assert abs(vacuum_kpa(last, moments[-1].params, 0)) < 0.2


def test_release_begun_too_early_finds_the_load_still_on() -> None:
    moments = [m for m in instants(load("early-release")) if 170.0 < m.t_s < 210.0]
    worst = min(moments, key=lambda m: vacuum_kpa(m.state, m.params, 0))
    assert worst.state.load_kg > 150.0
    assert vacuum_kpa(worst.state, worst.params, 0) < 30.0


def test_touch_and_lift_again_picks_twice() -> None:
    on = [m.state.load_kg > 300.0 for m in instants(load("touch-and-lift-again"))]
    picks_n = sum(after and not before for before, after in pairwise(on))
    assert picks_n == 3  # two landings are tried first: one touches only
    moments = {round(m.t_s, 3): m.state.load_kg for m in instants(load("touch-and-lift-again"))}
    assert moments[340.0] == pytest.approx(-60.0, abs=2.0)  # the lifter rests on the panel


def test_lifter_without_a_load_cell_sends_no_load_and_a_person_tells() -> None:
    sent = list(timeline(load("no-load-cell")))
    assert not any("load_kg" in s.payload for s in sent if s.leaf == "readings")
    kinds = [s.payload["kind"] for s in sent if s.leaf == "actions"]
    assert kinds == ["plan", "picked_up", "landed_fixed"]


def test_battery_that_dies_takes_pumps_and_then_the_radio_with_it() -> None:
    moments = instants(load("battery-dies"))
    cut_out_s = next(m.t_s for m in moments if m.state.pump_cut_out)
    silent_s = next(m.t_s for m in moments if m.payload is None)
    assert cut_out_s < silent_s < moments[-1].t_s
    last = list(timeline(load("battery-dies")))[-1]
    assert (last.leaf, last.payload) == ("connection", "offline")


def test_growing_leak_outruns_a_straight_line() -> None:
    moments = {round(m.t_s, 3): m for m in instants(load("growing-leak"))}
    early, late = moments[180.0], moments[320.0]
    truth_s = to_level_s(early.state, early.params, 1, 52.0)
    leak = leak_kpa_per_min(early.state, early.params, 1)
    straight_s = (vacuum_kpa(early.state, early.params, 1) - 52.0) / leak * 60.0
    assert truth_s is not None
    assert straight_s > 2.5 * truth_s
    assert late.state.load_kg < 1.0
    assert vacuum_kpa(late.state, late.params, 1) > 54.0


# --- The same seed, the same run ---


def test_same_seed_gives_the_same_messages_and_another_seed_others() -> None:
    once, again, other = (list(timeline(load("rough-network"), seed=seed)) for seed in (5, 5, 6))
    assert once == again
    assert once != other


def test_delivery_does_not_change_what_the_sensors_say() -> None:
    plain = {s.payload["seq"]: s.payload["circuits"] for s in readings(scenario())}
    lossy = scenario('faults = [{ at_s = 0, kind = "loss", share_ratio = 0.5 }]')
    for sent in readings(lossy):
        assert sent.payload["circuits"] == plain[sent.payload["seq"]]


def test_readings_come_at_the_rate_asked_for() -> None:
    fast = scenario(tail=HANGING + "[sender]\nrate_hz = 10\n")
    assert [round(s.stamp_s, 6) for s in readings(fast)] == [round(0.1 * n, 6) for n in range(201)]
    slow = scenario(tail=HANGING + "[sender]\nrate_hz = 0.5\n")
    assert [s.stamp_s for s in readings(slow)] == pytest.approx([2.0 * n for n in range(11)])


def test_physics_does_not_depend_on_the_rate_of_the_readings() -> None:
    last = [
        instants(scenario('acts = [{ at_s = 2, do = "land", over_s = 5 }]', HANGING + f"[sender]\nrate_hz = {rate}\n"))[
            -1
        ]
        for rate in (1, 5, 20)
    ]
    vacuums = [vacuum_kpa(m.state, m.params, 0) for m in last]
    assert max(vacuums) - min(vacuums) < 0.01


# --- Acts ---


def settings_after(acts: str) -> list[tuple[float, Setting]]:
    return [(m.t_s, m.params.setting) for m in instants(scenario(f"acts = [{acts}]", HANGING))]


def test_seal_test_switches_the_pumps_off_and_on_again() -> None:
    powered = [
        (t_s, s.circuits[0].pump_powered) for t_s, s in settings_after('{ at_s = 5, do = "seal_test", over_s = 8 }')
    ]
    assert {on for t_s, on in powered if t_s < 4.9 or t_s > 13.1} == {True}
    assert {on for t_s, on in powered if 5.1 < t_s < 12.9} == {False}


def test_acts_take_the_time_they_are_given() -> None:
    moments = {
        round(m.t_s, 3): m.state
        for m in instants(
            scenario(
                'acts = [{ at_s = 2, do = "tilt", to_deg = 0, over_s = 9 }, { at_s = 4, do = "land", over_s = 6 }]'
            )
        )
    }
    assert moments[2.0].tilt_deg == 90.0
    assert moments[6.6].tilt_deg == pytest.approx(44.0, abs=0.6)
    assert moments[11.2].tilt_deg == 0.0
    assert moments[7.0].hook_kg == pytest.approx(310.0, abs=6.0)
    assert moments[10.2].hook_kg == 0.0


def test_every_act_says_what_it_is() -> None:
    for act in ACTS.values():
        assert act.says
        assert act.undo is None or any(key.name == "over_s" for key in act.keys)


def test_weather_left_out_stays() -> None:
    settings = settings_after('{ at_s = 5, do = "weather", air_c = 4 }')
    before, after = settings[0][1], settings[-1][1]
    assert (after.air_goal_c, after.wind_mean_m_s) == (4.0, before.wind_mean_m_s)


# --- Bad files ---


def test_every_fault_of_a_bad_file_is_told_at_once_with_place_key_nearest_and_allowed() -> None:
    told = faults_of(
        """
        title = "bad"
        duraton_s = 100
        acts = [{ at_s = 1, do = "liftt" }, { at_s = -2, do = "press" }, { do = "hoist", to_m = 9999 }]
        faults = [{ at_s = 5, kind = "leak", circut = "B", leak_kpa_per_min = 1 }, { at_s = 5, kind = "leek" }]
        story = [{ at_s = 1, lines = "x" }]
        [weather]
        air_c = "warm"
        [sender]
        leave_out = ["load"]
        [sensors.vacum_kpa]
        noise = 1
        [circuits.B]
        leak_kpa_per_min = 99
        """
    )
    assert told == [
        "bad.toml, duraton_s is not a key. Did you mean duration_s? Allowed here: title, about, duration_s, panel, start, "
        "weather, lifter, circuits, sender, sensors, acts, faults, tells, story.",
        "bad.toml, duration_s is missing; it must be given: a number in 1 to 360000 (s).",
        "bad.toml: [weather], air_c is 'warm'; it must be a number in -40 to 50 (°C).",
        "bad.toml: [sender], leave_out is ['load']; it must be a list of texts of load_kg, tilt_deg, rotation_deg, "
        "height_m, ambient_kpa, temperature_c, battery_v, wind_m_s, pump, lifter_alarm, release_valve.",
        "bad.toml: [circuits.B], leak_kpa_per_min is 99; it must be a number in 0 to 10 (kPa/min).",
        "bad.toml: [sensors.vacum_kpa] is not a sensor. Did you mean vacuum_kpa? There are: vacuum_kpa, load_kg, "
        "tilt_deg, rotation_deg, height_m, ambient_kpa, temperature_c, battery_v, wind_m_s.",
        "bad.toml: acts 1, do is 'liftt', which is not known. Did you mean lift? Allowed: press, seal_test, pump_on, "
        "pump_off, lift, land, hoist, tilt, rotate, slew, release, close_valve, detach, panel, weather.",
        "bad.toml: acts 2 (press), at_s is -2; it must be a number in 0 to 360000 (s).",
        "bad.toml: acts 3 (hoist), at_s is missing; it must be given: a number in 0 to 360000 (s).",
        "bad.toml: acts 3 (hoist), to_m is 9999; it must be a number in -50 to 600 (m).",
        "bad.toml: faults 1 (leak), circut is not a key. Did you mean circuit? Allowed here: at_s, for_s, circuit, "
        "leak_kpa_per_min, critical_ratio, exponent.",
        "bad.toml: faults 2, kind is 'leek', which is not known. Did you mean leak? Allowed: "
        + ", ".join(all_faults())
        + ".",
        "bad.toml: story 1, lines is not a key. Did you mean line? Allowed here: at_s, line.",
        "bad.toml: story 1, line is missing; it must be given: text in quotes.",
        "Nothing was started.",
    ]


def all_faults() -> list[str]:
    from simulator.faults import FAULTS

    return list(FAULTS)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = ", "not TOML"),
        ('title = "x"\nduration_s = nan', "duration_s is nan; it must be a number in 1 to 360000 (s)."),
        ('title = "x"\nduration_s = true', "duration_s is True"),
        ('title = 5\nduration_s = 10', "title is 5; it must be text in quotes."),
        ('title = "x"\nduration_s = 10\nacts = 5', "acts is 5; it must be a list of tables."),
        ('title = "x"\nduration_s = 10\nacts = [5]', "acts 1, do is missing."),
        ('title = "x"\nduration_s = 10\nstory = ["y"]', "story 1 is 'y'; it must be a table of keys (at_s, line)."),
        ('title = "x"\nduration_s = 10\nacts = [{at_s = 11, do = "press"}]', "at_s is 11; it must be at most"),
        ('title = "x"\nduration_s = 10\nweather = 3', "weather is 3; it must be a table."),
        ('title = "x"\nduration_s = 10\n[circuits]\nA = 1', "[circuits.A] is 1; it must be a table of keys"),
        (
            'title = "x"\nduration_s = 10\nfaults = [{at_s = 1, kind = "gauges_disagree", circuit = "A", by_kpa = 5}]',
            "gauges_disagree needs [sender] gauges_n of 2 or more; it is 1.",
        ),
        ('title = "x"\nduration_s = 10\ntells = [{at_s = 1, kind = "relese"}]', "kind is 'relese'"),
    ],
)  # fmt: skip
def test_bad_file_is_told(text: str, says: str) -> None:
    told = faults_of(text)
    assert any(says in line for line in told), told
    assert told[0].startswith("bad.toml")


def test_unknown_scenario_names_the_nearest_and_all() -> None:
    with pytest.raises(ScenarioError, match=r"claen-lift is not a scenario\. Did you mean clean-lift\? There are: "):
        load("claen-lift")


def test_file_that_is_not_there_is_told(tmp_path) -> None:
    with pytest.raises(ScenarioError, match=r"none\.toml: the scenario cannot be read"):
        load(tmp_path / "none.toml")


def test_own_file_is_read_by_its_path(tmp_path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text('title = "mine"\nduration_s = 5\n', encoding="utf-8")
    assert load(path).name == "mine"
    assert load(str(path)).duration_s == 5.0


def test_circuit_the_lifter_does_not_have_is_told() -> None:
    stray = scenario('faults = [{ at_s = 1, kind = "leak", circuit = "C", leak_kpa_per_min = 1 }]')
    with pytest.raises(ScenarioError, match=r"test\.toml names circuit C; lifter dock-6 has A, B"):
        instants(stray)


# --- Sensors ---


def test_sensors_add_their_noise_and_round_to_their_quantum() -> None:
    tail = HANGING + "[sensors.vacuum_kpa]\nnoise = 0.3\nquantum = 0.25\n"
    steady = instants(scenario(tail=tail, duration_s=200))
    errors = [m.payload["circuits"]["A"]["vacuum_kpa"] - vacuum_kpa(m.state, m.params, 0) for m in steady]
    assert np.std(errors) == pytest.approx(math.hypot(0.3, 0.25 / math.sqrt(12)), rel=0.1)
    assert np.mean(errors) == pytest.approx(0.0, abs=0.05)
    assert all((4 * m.payload["circuits"]["A"]["vacuum_kpa"]).is_integer() for m in steady)


def test_calibration_moves_the_reading() -> None:
    off = scenario(tail=HANGING + "[sensors.vacuum_kpa]\nnoise = 0\nquantum = 0\ngain_ratio = 1.02\noffset = -0.5\n")
    for m in instants(off)[:5]:
        assert m.payload["circuits"]["A"]["vacuum_kpa"] == pytest.approx(1.02 * vacuum_kpa(m.state, m.params, 0) - 0.5)


def test_absolute_gauges_give_absolute_pressures() -> None:
    absolute = instants(scenario(tail=HANGING + "[sender]\nabsolute = true\n"))[0]
    circuit = absolute.payload["circuits"]["A"]
    assert "vacuum_kpa" not in circuit
    assert circuit["pressure_abs_kpa"] + 62.0 == pytest.approx(absolute.payload["ambient_kpa"], abs=0.4)
