"""What is told of a leak and of its time, with everything the estimate knows put in by hand."""

import pytest
from scipy.stats import norm

from monitor.core import leak
from monitor.core.leak import begin, reserve, to_level, view
from monitor.core.leak_bank import Bank
from monitor.core.leak_blocks import Block
from monitor.core.leak_project import Around, feared, gaussian, time_to
from monitor.core.readings import Pump
from monitor.core.warning_time import Bounds
from tests.unit.core.leak_signals import config, mixture, rate_of
from tests.unit.core.test_leak_project import TURNED, bank_of

NOW_S = 5000.0
RATE = (2.0 / 60.0, (0.1 / 60.0) ** 2)
NEVER, AT_ONCE = Bounds(None, None, None), Bounds(0.0, 0.0, 0.0)
COOLS = (101.3 - 62.0) / 288.0 * 10.0 / 600.0  # gas that cools by 10 K in ten minutes
HERE, REMEMBERED = Around(101.3, 3600.0, COOLS, 0.01**2), Around(101.3, 3600.0, COOLS)
STEADILY, AS_LAST = (time_to(gaussian(62.0, RATE), 52.0, around) for around in (HERE, REMEMBERED))


def one(known=True, *, mean_kpa=62.0, level_kpa=62.0, before=(), running=False, strokes=(), **settings):
    """A state in which circuit A loses 2 kPa/min, and its track."""
    state = begin(config(**settings))
    state.bank = Bank(3, NOW_S)
    track = state.tracks[0]
    track.block = Block(NOW_S, mean_kpa, 0.01**2, 0.01**2)
    track.before = tuple(Block(NOW_S - 1.0, kpa, 0.01**2, 0.01**2) for kpa in before)
    track.begun_s = NOW_S - 100.0
    if known:
        track.known_of_s = track.begun_s
        track.mixed = gaussian(level_kpa, RATE)
        track.quantiles = rate_of(track.mixed)
    track.pump.running, track.pump.off_at_s = running, NOW_S - 10.0
    for ago_s, low_kpa in strokes:
        track.pump.starts_s.append(NOW_S - ago_s)
        track.pump.lows_kpa.append(low_kpa)
    return state, track


CYCLES = ((200.0, 56.0), (120.0, 55.0), (40.0, 57.0))  # every 80 s, its lowest in the middle 56 kPa


# --- the leak


def test_leak_is_told_in_kpa_a_minute_with_its_points():
    state, track = one()
    track.falling = True
    told = view(state, "A", NOW_S)
    assert told.leak_kpa_per_min == pytest.approx(2.0, rel=1e-3)
    assert told.low_kpa_per_min == pytest.approx(2.0 + 0.1 * norm.ppf(0.05), abs=0.01)
    assert told.high_kpa_per_min == pytest.approx(2.0 + 0.1 * norm.ppf(0.95), abs=0.01)
    assert told.falling
    assert not view(state, "B", NOW_S).falling
    assert view(state, "B", NOW_S).leak_kpa_per_min is None


@pytest.mark.parametrize(
    ("source", "reported", "known", "running", "off_rate", "assumed"),
    [
        ("", None, True, False, None, ("ambient", "pump")),
        ("height", None, True, False, RATE, ("pump",)),
        ("", Pump.OFF, True, False, RATE, ("ambient",)),
        ("ambient", Pump.OFF, False, False, RATE, ("seal_test",)),  # this rest is too young: the last one's is told
        ("ambient", Pump.OFF, False, False, None, ()),
        ("ambient", Pump.ON, True, True, RATE, ("seal_test",)),
        ("ambient", Pump.ON, True, True, None, ()),
    ],
)
def test_what_had_to_be_assumed_is_named(source, reported, known, running, off_rate, assumed):
    state, track = one(known, running=running)
    state.climb_source, track.pump.reported, track.pump.off_rate = source, reported, off_rate
    assert view(state, "A", NOW_S).assumed == assumed


@pytest.mark.parametrize(
    ("known", "running", "off_rate", "leak"),
    [
        (True, False, None, 2.0),
        (True, True, None, None),  # what the vacuum does under a pump is no leak
        (True, True, (1.0 / 60.0, 1e-8), 1.0),
        (False, False, (1.0 / 60.0, 1e-8), 1.0),  # this rest is too young: the last one's
        (False, False, None, None),
    ],
)
def test_leak_is_that_of_this_rest_or_else_of_the_last(known, running, off_rate, leak):
    state, track = one(known, running=running)
    track.pump.off_rate = off_rate
    told = view(state, "A", NOW_S).leak_kpa_per_min
    assert told == (None if leak is None else pytest.approx(leak, rel=0.01))


def test_leak_at_rest_is_not_told_once_the_pump_has_run_for_long():
    state, track = one(running=True)
    track.pump.off_rate = RATE
    track.pump.off_at_s = NOW_S - 120.0
    assert view(state, "A", NOW_S + 0.9).leak_kpa_per_min == pytest.approx(2.0, rel=0.01)
    assert view(state, "A", NOW_S + 0.9).assumed == ("ambient", "pump", "seal_test")
    track.pump.off_at_s = NOW_S - 120.1
    assert view(state, "A", NOW_S).leak_kpa_per_min is None
    assert view(state, "A", NOW_S).assumed == ("ambient", "pump")


@pytest.mark.parametrize(
    ("reported", "running", "strokes", "word"),
    [
        (None, False, (), None),
        (None, True, (), "on"),
        (Pump.OFF, True, (), "off"),
        (Pump.ON, False, (), "on"),
        (Pump.ON, True, CYCLES, "cycling"),
        (Pump.OFF, False, CYCLES[:1], "off"),  # once is no habit
        (Pump.OFF, False, ((600.0, 56.0), (500.0, 56.0)), "off"),  # nor long ago
    ],
)
def test_pump_is_told_in_a_word(reported, running, strokes, word):
    state, track = one(running=running, strokes=strokes)
    track.pump.reported = reported
    assert view(state, "A", NOW_S).pump == word


def test_before_any_block_a_pump_still_has_its_word():
    state, _ = one(running=True, strokes=((NOW_S + 100.0, 56.0), (NOW_S, 56.0)))
    state.bank = None
    assert view(state, "A", NOW_S).pump == "cycling"


# --- the time


def test_time_runs_down_between_blocks_and_never_below_nothing():
    state, _ = one()
    assert to_level(state, "A", 52.0, NOW_S) == STEADILY
    later = to_level(state, "A", 52.0, NOW_S + 10.0)
    assert later == Bounds(*(t - 10.0 for t in (STEADILY.early_s, STEADILY.likely_s, STEADILY.late_s)))
    assert to_level(state, "A", 52.0, NOW_S - 5.0) == STEADILY
    assert to_level(state, "A", 52.0, NOW_S + 5000.0) == AT_ONCE


def test_each_level_has_a_time_of_its_own_worked_out_once_a_block():
    state, track = one()
    near, far = (to_level(state, "A", level_kpa, NOW_S) for level_kpa in (58.0, 52.0))
    assert near == time_to(gaussian(62.0, RATE), 58.0, HERE)
    assert far == STEADILY
    track.mixed = gaussian(62.0, (2.0 * RATE[0], RATE[1]))
    assert to_level(state, "A", 58.0, NOW_S) == near
    track.bounds = {}
    assert to_level(state, "A", 58.0, NOW_S).likely_s < near.likely_s


@pytest.mark.parametrize("lacking", ["bank", "block"])
@pytest.mark.parametrize("asked", [to_level, reserve])
def test_nothing_is_told_of_what_was_not_seen(lacking, asked):
    state, track = one()
    if lacking == "bank":
        state.bank = None
    else:
        track.block = None
    assert asked(state, "A", 52.0, NOW_S) is None


def test_site_of_thin_air_and_short_horizon_counts():
    state, _ = one(ambient_kpa=80.0, horizon_s=400.0)
    around = Around(80.0, 400.0, (80.0 - 62.0) / 288.0 * 10.0 / 600.0, 0.01**2)
    assert to_level(state, "A", 52.0, NOW_S) == time_to(gaussian(62.0, RATE), 52.0, around)


@pytest.mark.parametrize("lacking", ["bank", "block"])
def test_pump_covers_nothing_where_nothing_was_seen(lacking):
    state, track = one(strokes=CYCLES)
    setattr(state if lacking == "bank" else track, lacking, None)
    assert leak._project(state, track, 52.0, "going") is None
    assert not leak._covered(state, track, 52.0, 62.0, known_rate=True)


def test_what_a_coarse_gauge_cannot_show_yet_is_feared_as_it_goes_and_not_of_the_reserve():
    """A fall of 3 kPa/min that began 15 s ago, read to 0.3 kPa a second."""
    state, track = one()
    track.mixed = mixture(bank_of(TURNED, noise_kpa=0.3), 0, 0.3**2)
    found = time_to(track.mixed, 52.0, HERE)
    fears = feared(found, track.mixed, 52.0, HERE)
    assert fears != found
    assert to_level(state, "A", 52.0, NOW_S) == fears
    assert reserve(state, "A", 52.0, NOW_S) == found
    track.bounds = {}
    assert reserve(state, "A", 52.0, NOW_S) == found
    assert to_level(state, "A", 52.0, NOW_S) == fears


def test_found_once_for_the_reserve_is_not_worked_out_again_as_it_goes():
    state, track = one()
    near = Bounds(1.0, 2.0, 3.0)
    track.bounds = {("found", 52.0): near}
    assert to_level(state, "A", 52.0, NOW_S) == near
    track.bounds = {("found", 52.0): None}
    assert to_level(state, "A", 52.0, NOW_S) is None


def test_estimate_of_another_stretch_is_not_gone_on_with():
    state, track = one()
    track.known_of_s = NOW_S - 900.0
    assert to_level(state, "A", 52.0, NOW_S) is None
    track.pump.off_rate, track.bounds = (1.0 / 60.0, 1e-8), {}
    assert to_level(state, "A", 52.0, NOW_S) == time_to(gaussian(62.0, (1.0 / 60.0, 1e-8)), 52.0, REMEMBERED)


@pytest.mark.parametrize(("seen_kpa", "covered"), [(54.7, True), (54.6, False)])
def test_three_standard_deviations_of_doubt_cover_a_pump_that_comes_in_late(seen_kpa, covered):
    """Where it comes in, less 0.5 kPa, less 3 x 0.3 kPa of doubt in the block: 54.6 kPa."""
    state, track = one(mean_kpa=seen_kpa, level_kpa=seen_kpa, strokes=CYCLES)
    track.block = Block(NOW_S, seen_kpa - 0.01, 0.3**2, 0.3**2)
    assert (to_level(state, "A", 52.0, NOW_S) == NEVER) is covered


def test_pump_that_came_and_went_long_ago_covers_nothing():
    state, _ = one(strokes=((900.0, 56.0), (800.0, 56.0)))
    assert to_level(state, "A", 52.0, NOW_S) == STEADILY


def test_pump_that_rests_and_may_not_come_in_leaves_the_reserve_as_it_falls():
    state, _ = one()
    assert reserve(state, "A", 52.0, NOW_S) == STEADILY


@pytest.mark.parametrize(
    ("level_kpa", "covered"),
    [(55.9, True), (56.0, False)],  # the middle of the vacuums it came in at: above it, it cannot be counted on
)
def test_pump_that_comes_and_goes_covers_levels_under_where_it_comes_in(level_kpa, covered):
    state, _ = one(strokes=CYCLES)
    assert (to_level(state, "A", level_kpa, NOW_S) == NEVER) is covered
    rest = reserve(state, "A", level_kpa, NOW_S)  # without its pump it falls on
    assert rest != NEVER


@pytest.mark.parametrize(("seen_kpa", "covered"), [(55.5, True), (55.4, False)])
def test_pump_that_should_have_come_in_and_has_not_covers_nothing(seen_kpa, covered):
    """Half a kPa and three standard deviations under where it comes in: 56.0 - 0.5 - 0.03."""
    state, _ = one(mean_kpa=seen_kpa, level_kpa=seen_kpa, strokes=CYCLES)
    assert (to_level(state, "A", 52.0, NOW_S) == NEVER) is covered


@pytest.mark.parametrize(
    ("low_kpa", "covered"),
    [(39.2, True), (39.1, False), (None, False)],  # 70 % of the 56 kPa it is set to
)
def test_pump_of_known_level_counts_once_it_was_seen_to_come_in_by_itself(low_kpa, covered):
    strokes = () if low_kpa is None else ((900.0, low_kpa),)
    state, _ = one(strokes=strokes, pump_start_kpa={"A": 56.0})
    assert (to_level(state, "A", 52.0, NOW_S) == NEVER) is covered


@pytest.mark.parametrize("running", [False, True])
@pytest.mark.parametrize("pump_start_kpa", [{}, {"A": 56.0}])
def test_pump_not_heard_of_since_a_hole_covers_nothing(running, pump_start_kpa):
    """It may have failed in it, and a leak begun: what falls is told, or that it is too early to say."""
    for doubted, known, told in ((False, False, NEVER), (True, False, None), (True, True, STEADILY)):
        state, track = one(known, running=running, strokes=CYCLES, pump_start_kpa=pump_start_kpa)
        track.pump.doubted = doubted
        assert to_level(state, "A", 52.0, NOW_S) == told


def test_stroke_under_way_of_a_pump_that_comes_and_goes_is_one_more():
    state, _ = one(False, running=True, strokes=CYCLES)
    assert to_level(state, "A", 52.0, NOW_S) == NEVER
    state, _ = one(running=True, strokes=CYCLES)  # it is known to lose all the same
    assert to_level(state, "A", 52.0, NOW_S) == STEADILY
    state, _ = one(False, running=True, strokes=CYCLES[:1])
    assert to_level(state, "A", 52.0, NOW_S) is None


def test_reserve_of_a_pump_that_runs_is_what_it_leaked_at_rest():
    state, track = one(running=True)
    assert reserve(state, "A", 52.0, NOW_S) is None
    track.pump.off_rate, track.bounds = (1.0 / 60.0, 1e-8), {}
    told = time_to(gaussian(62.0, (1.0 / 60.0, 1e-8)), 52.0, REMEMBERED)
    assert reserve(state, "A", 52.0, NOW_S) == told
    assert told.likely_s > AS_LAST.likely_s


def test_rest_that_is_too_young_goes_on_as_the_last():
    state, track = one(False)
    track.pump.off_rate = RATE
    assert to_level(state, "A", 52.0, NOW_S) == AS_LAST


@pytest.mark.parametrize(
    ("before", "mean_kpa", "told"),
    [
        ((), 51.0, None),
        ((51.5,), 51.0, AT_ONCE),
        ((52.5,), 51.0, None),
        ((51.0,), 52.0, AT_ONCE),
        ((51.0,), 60.0, None),
    ],
)
def test_at_a_level_without_a_known_leak_two_blocks_say_so_and_one_may_be_wild(before, mean_kpa, told):
    state, _ = one(False, mean_kpa=mean_kpa, before=before)
    assert to_level(state, "A", 52.0, NOW_S) == told


@pytest.mark.parametrize(
    ("mean_kpa", "level_kpa", "told"),
    [(60.0, 51.0, False), (60.0, 52.0, False), (52.0, 51.0, True), (60.0, 52.1, True)],
)
def test_estimate_that_just_began_below_what_is_read_says_nothing(mean_kpa, level_kpa, told):
    state, _ = one(mean_kpa=mean_kpa, level_kpa=level_kpa)
    assert (to_level(state, "A", 52.0, NOW_S) is not None) is told


def test_one_wild_block_does_not_uncover_a_pump():
    state, _ = one(mean_kpa=50.0, level_kpa=50.0, before=(62.0, 62.0), strokes=CYCLES)
    assert to_level(state, "A", 49.0, NOW_S) == NEVER
