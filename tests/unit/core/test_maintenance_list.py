"""The maintenance list from trends made by hand: every line with its place, its figures and the lift that shows it."""

from dataclasses import replace

import numpy as np
import pytest

from monitor.core.config import PadConfig
from monitor.core.lifter_trends import CircuitTrends, LifterTrends, Service
from monitor.core.maintenance import Figure, Item, NotSealed, items
from monitor.core.messages import Text
from monitor.core.trends import DAY_S, BeforeAfter, Bounds, Reach, Step, Trend
from tests.unit.core.made import LIFTER

NOW = 1_764_000_000.0
N = 100
UTC_S = NOW - DAY_S * np.arange(N)[::-1]
NO_LIFTS = np.array([])
PADS = ("B1", "B2")
CONFIG = replace(
    LIFTER,
    battery_low_v=23.0,
    inspection_lifts=0,
    inspection_days=10_000,
    pads={name: PadConfig(name, name[0], 0.0, 0.0, 500.0) for name in ("A1", "B1", "B2")},
)


def in_days(early, likely=None, late=None):
    return Reach(*(None if days is None else NOW + days * DAY_S for days in (early, likely, late)), now=False)


AT_ONCE = Reach(NOW, NOW, NOW, now=True)


def figure(likely=None, *, low=None, reach=None, steps=(), services=(), utc_s=UTC_S):
    level = None if likely is None else Bounds(likely if low is None else low, likely, likely)
    return Trend(utc_s, np.zeros(len(utc_s)), level, None, None, steps, services, reach, None, True, None)


def listed(*, config=CONFIG, due_in_days=None, not_sealed=(), services=(), battery=None, utc_s=UTC_S, **figures):
    """The list of a lifter in order but for circuit B's ``figures``."""
    given = {name: figure() for name in ("leak", "pump_down", "duty", "zero", "apart")} | figures
    circuits = {
        name: CircuitTrends(id=name, thin_n=0, temperature_per_k=None, **({"sisters": None} | made))
        for name, made in {
            "A": {name: figure() for name in ("leak", "pump_down", "duty", "zero", "apart")},
            "B": given,
        }.items()
    }
    ids = [f"lift-{n}" for n in range(len(utc_s))]
    trends = LifterTrends("dock-6", ids, utc_s, 0.5, circuits, battery or figure(), tuple(services))
    due_utc_s = None if due_in_days is None else NOW + due_in_days * DAY_S
    return items(config, trends, NOW, due_utc_s, not_sealed)


LEAK = {"circuit": "B", "leak_kpa_per_min": 0.2, "limit_kpa_per_min": 0.5}
NEWEST = f"lift-{N - 1}"


def line(urgency, about, key, values, *, pads=(), lift=NEWEST, circuit="B"):
    return Item(pytest.approx(urgency), "dock-6", circuit, about, Text(key, values), pads, lift)


def leak_line(urgency, key, lift=NEWEST, **values):
    return line(urgency, Figure.LEAK, key, LEAK | values, pads=PADS, lift=lift)


def dates(early, likely=None):
    return {
        "early_utc_s": NOW + early * DAY_S,
        "likely_utc_s": None if likely is None else NOW + likely * DAY_S,
    }


@pytest.mark.parametrize(
    ("leak", "told"),
    [
        (figure(0.2), []),
        (figure(0.5), [leak_line(0.0, "care.leak_over", leak_kpa_per_min=0.5)]),
        (figure(0.499), []),
        (figure(0.6, reach=AT_ONCE), [leak_line(0.0, "care.leak_over", leak_kpa_per_min=0.6)]),
        (figure(0.2, reach=in_days(30.0, 90.0)), [leak_line(1.0 + 30.0 / 180.0, "care.leak_reaches", **dates(30, 90))]),
        (figure(0.2, reach=in_days(31.0, 90.0)), [leak_line(4.0 + 31.0 / 180.0, "care.leak_reaches", **dates(31, 90))]),
        (figure(0.2, reach=in_days(180.0)), [leak_line(5.0, "care.leak_may_reach", **dates(180))]),
        (figure(0.2, reach=in_days(181.0)), []),
        (figure(0.2, reach=in_days(None)), []),
        (figure(None, reach=AT_ONCE), []),
    ],
)
def test_leak_that_is_over_its_limit_or_will_be_is_told_by_its_early_date(leak, told):
    assert listed(leak=leak) == told


def step(lifts_ago, size=0.1, *, certain=True):
    return Step(N - lifts_ago, float(UTC_S[N - lifts_ago]) - 60.0, size, 0.01, certain)


@pytest.mark.parametrize(
    ("steps", "likely", "urgency", "key"),
    [
        ((step(60),), 0.2, 2.0, "care.leak_stepped"),
        ((step(61),), 0.2, None, None),  # seen by now
        ((step(5), step(61)), 0.2, None, None),  # the last one counts
        ((step(5, certain=False),), 0.2, 5.9, "care.leak_may_step"),
        ((step(5, certain=False),), 0.4, 3.5, "care.leak_may_step"),  # 0.1 more are over the limit
        ((step(5, certain=False),), 0.399, 5.9, "care.leak_may_step"),
        ((step(5, size=-0.1),), 0.2, None, None),  # for the better
        ((step(5, size=0.0),), 0.2, None, None),
    ],
)
def test_step_of_the_last_sixty_lifts_is_told_with_its_lift(steps, likely, urgency, key):
    told = listed(leak=figure(likely, steps=steps))
    at = steps[-1]
    values = {"leak_kpa_per_min": likely, "step_kpa_per_min": at.size, "at_utc_s": at.utc_s}
    assert told == ([] if key is None else [leak_line(urgency, key, f"lift-{at.lift}", **values)])


def noted(days_ago, *, better):
    before, after = Bounds(0.25, 0.3, 0.35), Bounds(0.24, 0.29, 0.34)
    return BeforeAfter(NOW - days_ago * DAY_S, before, after, better)


@pytest.mark.parametrize(
    ("services", "told"),
    [
        ((noted(10.0, better=False),), True),
        ((noted(89.9, better=False),), True),
        ((noted(90.0, better=False),), False),
        ((noted(10.0, better=True),), False),
        ((noted(10.0, better=None),), False),
        ((noted(20.0, better=False), noted(10.0, better=True)), False),
        ((noted(20.0, better=True), noted(10.0, better=False)), True),
    ],
)
def test_service_that_did_not_help_is_told_for_ninety_days(services, told):
    last = services[-1]
    lift = int((last.utc_s > UTC_S).sum())
    values = {"at_utc_s": last.utc_s, "before_kpa_per_min": 0.3, "after_kpa_per_min": 0.29}
    expected = [leak_line(3.2, "care.service_no_better", f"lift-{lift}", **values)] if told else []
    assert listed(leak=figure(0.2, services=services)) == expected


@pytest.mark.parametrize(
    ("low", "leak", "told"), [(2.01, 0.2, True), (2.0, 0.2, False), (2.01, 0.1, False), (2.01, 0.11, True)]
)
def test_circuit_that_leaks_twice_its_sisters_is_told_where_it_leaks_at_all(low, leak, told):
    values = {"leak_kpa_per_min": leak, "times_ratio": 3.0}
    expected = [leak_line(6.0, "care.leak_over_sisters", **values)] if told else []
    assert listed(leak=figure(leak), sisters=Bounds(low, 3.0, 4.0)) == expected


def pump_line(urgency, key, **values):
    return line(urgency, Figure.PUMP, key, {"circuit": "B", "pump_down_s": 9.0} | values)


@pytest.mark.parametrize(
    ("pump_down", "told"),
    [
        (figure(9.0, reach=AT_ONCE), [pump_line(3.0, "care.pump_slow")]),
        (
            figure(9.0, reach=in_days(90.0)),
            [pump_line(5.5, "care.pump_slower", early_utc_s=NOW + 90.0 * DAY_S)],
        ),
        (
            figure(9.0, reach=in_days(179.9)),
            [pump_line(5.0 + 179.9 / 180.0, "care.pump_slower", early_utc_s=NOW + 179.9 * DAY_S)],
        ),
        (figure(9.0, reach=in_days(180.0)), []),
        (figure(9.0, reach=in_days(None)), []),
        (figure(None, reach=AT_ONCE), []),
        (figure(9.0), []),
    ],
)
def test_pump_that_slows_is_told(pump_down, told):
    assert listed(pump_down=pump_down) == told


@pytest.mark.parametrize(
    ("name", "low", "about", "urgency", "key", "values"),
    [
        ("zero", 1.61, Figure.ZERO, 2.5, "care.zero_off", {"open_kpa": 2.2, "limit_kpa": 1.6}),
        ("zero", 1.6, None, None, None, None),  # EN 837-1: class 1.6 on 100 kPa
        ("apart", 2.01, Figure.APART, 2.6, "care.gauges_apart", {"apart_kpa": 2.2}),
        ("apart", 2.0, None, None, None, None),
    ],
)
def test_gauge_that_is_off_is_told_once_its_lower_bound_says_so(name, low, about, urgency, key, values):
    expected = [] if key is None else [line(urgency, about, key, {"circuit": "B"} | values)]
    assert listed(**{name: figure(2.2, low=low)}) == expected


def battery_line(urgency, key, **values):
    return line(urgency, Figure.BATTERY, key, {"battery_v": 24.0, "limit_v": 23.0} | values, circuit=None)


@pytest.mark.parametrize(
    ("battery", "limit_v", "told"),
    [
        (figure(24.0, reach=AT_ONCE), 23.0, [battery_line(2.2, "care.battery_low")]),
        (
            figure(24.0, reach=in_days(180.0)),
            23.0,
            [battery_line(6.0, "care.battery_reaches", early_utc_s=NOW + 180.0 * DAY_S)],
        ),
        (
            figure(24.0, reach=in_days(45.0)),
            23.0,
            [battery_line(5.25, "care.battery_reaches", early_utc_s=NOW + 45.0 * DAY_S)],
        ),
        (figure(24.0, reach=in_days(180.1)), 23.0, []),
        (figure(24.0, reach=in_days(None)), 23.0, []),
        (figure(24.0), 23.0, []),
        (figure(None, reach=AT_ONCE), 23.0, []),
        (figure(24.0, reach=AT_ONCE), None, []),
    ],
)
def test_battery_that_ages_is_told(battery, limit_v, told):
    assert listed(battery=battery, config=replace(CONFIG, battery_low_v=limit_v)) == told


def inspection(urgency, key, **values):
    return line(urgency, Figure.INSPECTION, key, values, circuit=None, lift=None)


@pytest.mark.parametrize(
    ("days", "urgency", "key"),
    [(30.0, None, None), (29.9, 4.0, "due"), (0.0, 4.0, "due"), (-0.1, 0.5, "over"), (-50.0, 0.5, "over")],
)
def test_examination_is_told_in_the_month_before_its_day_and_from_then_on(days, urgency, key):
    due = {"due_utc_s": NOW + days * DAY_S}
    expected = (
        []
        if key is None
        else [line(urgency, Figure.EXAMINATION, f"care.examination_{key}", due, circuit=None, lift=None)]
    )
    assert listed(due_in_days=days) == expected


@pytest.mark.parametrize(
    ("about", "days", "urgency", "key"),
    [
        ("inspection", 69.9, 4.1, "due"),
        ("inspection", 70.0, None, None),
        ("inspection", 40.0, 4.1, "due"),
        ("inspection", 39.9, 0.6, "over"),
        ("circuit B", 99.1, 4.1, "due"),  # never noted: it counts from the first lift, 99 days ago
        ("circuit B", 98.9, 0.6, "over"),
    ],
)
def test_inspection_is_told_in_the_month_before_its_interval_is_over(about, days, urgency, key):
    """Noted 90, 70 and 40 days ago: the last one counts."""
    services = [Service(NOW - ago * DAY_S, about, "", "") for ago in (90.0, 70.0, 40.0)]
    begun = NOW - (40.0 if about == "inspection" else 99.0) * DAY_S
    lifts_n = 40 if about == "inspection" else 99
    values = {"due_utc_s": begun + days * DAY_S, "lifts_n": lifts_n, "since_utc_s": begun}
    expected = [] if key is None else [inspection(urgency, f"care.inspection_{key}", **values)]
    assert listed(services=services, config=replace(CONFIG, inspection_days=days)) == expected


@pytest.mark.parametrize(("limit_n", "urgency"), [(110, 4.2), (111, None), (100, 4.2), (99, 0.7), (50, 0.7), (0, None)])
def test_inspection_is_told_by_use_from_nine_tenths_on(limit_n, urgency):
    """99 lifts since the first."""
    begun = float(UTC_S[0])
    values = {"due_utc_s": begun + 10_000 * DAY_S, "lifts_n": 99, "since_utc_s": begun, "limit_n": limit_n}
    expected = [] if urgency is None else [inspection(urgency, "care.inspection_by_use", **values)]
    assert listed(config=replace(CONFIG, inspection_lifts=limit_n)) == expected


def test_lifter_that_never_lifted_has_no_inspection_due_and_no_lift_to_show():
    assert listed(config=replace(CONFIG, inspection_days=0), utc_s=NO_LIFTS) == []
    [over] = listed(leak=figure(0.6, utc_s=NO_LIFTS), utc_s=NO_LIFTS)
    assert over == leak_line(0.0, "care.leak_over", None, leak_kpa_per_min=0.6)
    [low] = listed(battery=figure(24.0, reach=AT_ONCE, utc_s=NO_LIFTS))
    assert low == replace(battery_line(2.2, "care.battery_low"), lift=None)
    once = listed(leak=figure(0.6, utc_s=UTC_S[-1:]), utc_s=UTC_S[-1:])
    assert once == [leak_line(0.0, "care.leak_over", "lift-0", leak_kpa_per_min=0.6)]
    [stepped] = listed(leak=figure(0.2, steps=(Step(N - 1, NOW + 9.0, 0.1, 0.01, certain=True),)))
    assert stepped.lift == NEWEST  # a time after the last lift is that of the last


def test_circuit_that_did_not_pass_its_seal_test_is_told_with_its_pads():
    [told] = listed(not_sealed=[NotSealed("B", NOW - 60.0, "lift-7")])
    values = {"circuit": "B", "at_utc_s": NOW - 60.0}
    assert told == line(0.8, Figure.SEAL_TEST, "care.not_sealed", values, pads=PADS, lift="lift-7")


def test_what_matters_most_comes_first():
    told = listed(
        leak=figure(0.2, steps=(step(5),)),
        zero=figure(2.2),
        battery=figure(24.0, reach=AT_ONCE),
        due_in_days=-1.0,
        not_sealed=[NotSealed("A", NOW, "lift-7")],
    )
    assert [one.urgency for one in told] == [0.5, 0.8, 2.0, 2.2, 2.5]
