"""Which values of which lifts each figure of a lifter is followed by, and against which limit; worked out by hand."""

import math
from dataclasses import replace

import numpy as np
import pytest

from monitor.core import lifter_trends
from monitor.core.comparable import flow_ratio, learn_effects
from monitor.core.lifter_trends import CircuitColumns, LiftColumns, Service, by_day, conditions, follow
from monitor.core.trends import DAY_S, Bounds, compare, trend
from tests.unit.core.made import LIFTER

NOW = 1_764_000_000.0
NOON = math.floor(NOW / DAY_S) * DAY_S + 0.5 * DAY_S
N = 40
NAN = math.nan
CONFIG = replace(LIFTER, battery_low_v=23.0, service_leak_kpa_per_min=0.7)
RNG = np.random.default_rng(11)
LEAK_A, LEAK_B = (0.2 + 0.01 * RNG.standard_normal(N) for _ in range(2))
WARM = 20.0 + 5.0 * RNG.standard_normal(N)


def circuit(leak=LEAK_A, **changes):
    made = {
        "leak_kpa_per_min": leak,
        "at_kpa": np.full(N, 62.0),
        "known_s": np.full(N, 100.0),
        "pump_down_s": np.linspace(7.0, 9.0, N),
        "pump_on_s": np.full(N, 12.0),
        "open_kpa": np.full(N, -0.4),
        "apart_kpa": np.full(N, 0.3),
    }
    return CircuitColumns(**(made | changes))


def lifts(circuits=None, **changes):
    """One lift a day at noon."""
    made = {
        "ids": [f"lift-{n}" for n in range(N)],
        "utc_s": NOON - DAY_S * np.arange(N)[::-1],
        "duration_s": np.full(N, 300.0),
        "temperature_c": WARM,
        "ambient_kpa": np.full(N, 100.0),
        "surface": np.array(["dry"] * N),
        "battery_v": np.linspace(25.0, 24.0, N),
        "circuits": {"A": circuit(), "B": circuit(LEAK_B)} if circuits is None else circuits,
    }
    return LiftColumns(**(made | changes))


@pytest.fixture
def asked(monkeypatch):
    """What was asked of the trends: values and conditions, in order: leaks of A and B, figures of each, battery."""
    told = []

    def note(utc_s, values, **how):
        told.append({"utc_s": utc_s, "values": values, **how})
        return trend(utc_s, values, **how)

    monkeypatch.setattr(lifter_trends, "trend", note)
    return told


ORDER = [
    "leak A",
    "leak B",
    *(f"{name} {key}" for key in "AB" for name in ("pump_down", "duty", "zero", "apart")),
    "battery",
]


def by_name(asked):
    return dict(zip(ORDER, asked, strict=True))


@pytest.mark.parametrize(
    ("name", "values", "limit", "least"),
    [
        ("pump_down A", np.linspace(7.0, 9.0, N), 1.5 * float(np.median(np.linspace(7.0, 9.0, N)[:30])), 0.1),
        ("duty A", np.full(N, 0.04), None, 0.002),
        ("zero A", np.full(N, 0.4), 1.6, 0.1),  # EN 837-1, class 1.6 on 100 kPa
        ("apart B", np.full(N, 0.3), None, 0.1),
        ("battery", np.linspace(25.0, 24.0, N), 23.0, 0.05),
    ],
)
def test_each_figure_is_followed_day_by_day_against_its_limit(asked, name, values, limit, least):
    follow(CONFIG, lifts(), (), NOW)
    told = by_name(asked)[name]
    assert told["values"] == pytest.approx(values)
    assert np.array_equal(told["utc_s"], lifts().utc_s)
    assert told["limit"] == (None if limit is None else pytest.approx(limit))
    assert told["least_scatter"] == least
    assert told["now_utc_s"] == NOW
    assert told.get("worse_up", True) is (name != "battery")


def test_leak_is_followed_as_it_would_be_at_the_reference(asked):
    made = follow(CONFIG, lifts(), (), NOW)
    told = by_name(asked)["leak A"]
    at_reference = LEAK_A / flow_ratio(np.full(N, 62.0), np.full(N, 100.0), WARM)
    columns = (WARM - 20.0)[:, None]
    effects = learn_effects(at_reference, columns, np.array([0.02]))
    assert told["values"] == pytest.approx(at_reference / np.exp(columns @ effects.beta))
    assert told["columns"] == pytest.approx(columns)
    assert told["effects"].beta == pytest.approx(effects.beta)
    assert (told["limit"], told["least_scatter"], told["now_utc_s"]) == (0.7, 0.002, NOW)
    one = made.circuits["A"]
    beta, sd = float(effects.beta[0]), float(effects.sd[0])
    assert one.temperature_per_k == Bounds(
        pytest.approx(beta - 1.645 * sd), pytest.approx(beta), pytest.approx(beta + 1.645 * sd)
    )
    assert one.sisters == compare(one.leak.values, [made.circuits["B"].leak.values])
    assert (one.id, one.thin_n) == ("A", 0)


def test_figures_stand_at_their_circuit_and_lifter():
    made = follow(CONFIG, lifts(), (), NOW)
    assert (made.lifter, made.limit_kpa_per_min, list(made.circuits)) == ("dock-6", 0.7, ["A", "B"])
    assert made.ids == lifts().ids
    assert np.array_equal(made.utc_s, lifts().utc_s)
    one = made.circuits["B"]
    assert [figure.values[-1] for figure in (one.pump_down, one.duty, one.zero, one.apart)] == pytest.approx(
        [9.0, 0.04, 0.4, 0.3]
    )
    assert made.battery.limit == 23.0


def test_circuit_that_no_lift_names_and_one_alone_have_no_sisters():
    made = follow(CONFIG, lifts({"B": circuit(), "Z": circuit()}), (), NOW)
    assert list(made.circuits) == ["B"]
    assert made.circuits["B"].sisters is None


@pytest.mark.parametrize(
    ("column", "value", "as_if"),
    [
        ("ambient_kpa", np.full(N, NAN), 101.325),
        ("temperature_c", np.full(N, NAN), 20.0),
        ("at_kpa", np.full(N, NAN), 60.0),
    ],
)
def test_condition_that_is_not_known_is_taken_as_the_reference(asked, column, value, as_if):
    if column == "at_kpa":
        follow(CONFIG, lifts({"A": circuit(at_kpa=value)}), (), NOW)
    else:
        follow(CONFIG, lifts({"A": circuit()}, **{column: value}), (), NOW)
    given = {"at_kpa": 62.0, "ambient_kpa": 100.0, "temperature_c": WARM} | {column: as_if}
    at_reference = LEAK_A / flow_ratio(*(np.broadcast_to(one, N) for one in given.values()))
    told = asked[0]
    known = told["values"] * np.exp(told["columns"] @ told["effects"].beta)
    assert known == pytest.approx(at_reference)
    if column == "temperature_c":
        assert not told["columns"].any()


def test_leak_known_too_shortly_is_left_out_and_counted(asked):
    known_s = np.full(N, 20.0)
    known_s[[3, 7, 8]] = 19.9
    leak = LEAK_A.copy()
    leak[[8, 9]] = NAN  # never known at all
    made = follow(CONFIG, lifts({"A": circuit(leak, known_s=known_s)}), (), NOW)
    assert made.circuits["A"].thin_n == 2
    assert np.flatnonzero(np.isnan(asked[0]["values"])).tolist() == [3, 7, 8, 9]


def test_pump_is_as_quick_as_in_its_first_thirty_lifts(asked):
    pump_down_s = np.concatenate([[NAN] * 5, np.full(16, 6.0), np.full(14, 8.0), np.full(5, 99.0)])
    made = follow(CONFIG, lifts({"A": circuit(pump_down_s=pump_down_s)}), (), NOW)
    assert made.circuits["A"].pump_down.limit == 9.0
    made = follow(CONFIG, lifts({"A": circuit(pump_down_s=np.full(N, NAN))}), (), NOW)
    assert made.circuits["A"].pump_down.limit is None


def test_duty_of_a_lift_of_no_length_is_that_over_a_second():
    made = follow(CONFIG, lifts({"A": circuit(pump_on_s=np.full(N, 0.5))}, duration_s=np.zeros(N)), (), NOW)
    assert made.circuits["A"].duty.values == pytest.approx(np.full(N, 0.5))


NOTED = [
    Service(NOON - days * DAY_S, about, "", "maintenance")
    for days, about in [
        (5.0, "circuit A"), (6.0, "A"), (7.0, "pump A"), (8.0, "gauge A"), (9.0, "battery"), (10.0, ""), (11.0, "lifter"),
        (12.0, "circuit B"), (13.0, "inspection"),
    ]
]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "days"),
    [
        ("leak A", [11.0, 10.0, 6.0, 5.0]),
        ("leak B", [12.0, 11.0, 10.0]),
        ("pump_down A", [11.0, 10.0, 7.0]),
        ("duty A", [11.0, 10.0, 7.0]),
        ("zero A", [11.0, 10.0, 8.0]),
        ("apart A", [11.0, 10.0, 8.0]),
        ("zero B", [11.0, 10.0]),
        ("battery", [11.0, 10.0, 9.0]),
    ],
)
def test_figure_begins_anew_with_what_was_done_to_its_part_or_to_the_whole_lifter(asked, name, days):
    made = follow(CONFIG, lifts(), NOTED, NOW)
    assert by_name(asked)[name]["services_utc_s"] == [NOON - one * DAY_S for one in days]
    assert [one.utc_s for one in made.services] == sorted(one.utc_s for one in NOTED)


def test_conditions_are_what_differs_from_warm_and_dry():
    surface = np.array(["dry", "wet", "oily", "wet"])
    given = lifts(temperature_c=np.array([25.0, NAN, 20.0, 10.0]), surface=surface)
    columns, prior = conditions(given)
    assert columns.tolist() == [[5.0, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, 1.0, 0.0], [-10.0, 0.0, 1.0]]  # oily before wet
    assert prior.tolist() == [0.02, 0.7, 0.7]


@pytest.mark.parametrize(
    ("hours", "values", "parted", "days", "middles"),
    [
        ([1.0, 2.0, 3.0], [5.0, 9.0, 6.0], [], [2.0], [6.0]),
        ([1.0, 2.0, 3.0, 4.0], [5.0, 9.0, 6.0, 7.0], [], [2.0], [6.0]),  # the lower of the two in the middle
        ([1.0, 25.0, 26.0], [5.0, 9.0, 6.0], [], [1.0, 25.0], [5.0, 6.0]),
        ([1.0, 2.0, 3.0, 25.0], [5.0, 9.0, 6.0, 1.0], [2.0], [1.0, 2.0, 25.0], [5.0, 6.0, 1.0]),  # from its instant on
        ([1.0, 2.0, 3.0], [5.0, 9.0, 6.0], [1.5, 2.5], [1.0, 2.0, 3.0], [5.0, 9.0, 6.0]),
        ([1.0, 2.0, 3.0], [NAN, 9.0, NAN], [], [2.0], [9.0]),
        ([1.0], [NAN], [0.5], [], []),
    ],
)
def test_day_is_told_by_its_lower_middle_value_at_its_middle_lift(hours, values, parted, days, middles):
    told = by_day(3600.0 * np.array(hours), np.array(values), [3600.0 * one for one in parted])
    assert (told[0] / 3600.0).tolist() == days
    assert told[1].tolist() == middles


def test_effects_are_those_of_the_lifts_that_have_a_value():
    leak = LEAK_A.copy()
    leak[::3] = NAN
    made = follow(CONFIG, lifts({"A": circuit(leak)}), (), NOW).circuits["A"]
    usable = np.isfinite(leak)
    at_reference = (LEAK_A / flow_ratio(np.full(N, 62.0), np.full(N, 100.0), WARM))[usable]
    effects = learn_effects(at_reference, (WARM - 20.0)[usable, None], np.array([0.02]))
    assert made.temperature_per_k.likely == pytest.approx(float(effects.beta[0]))
