"""What hangs on the lifter: on, off, or neither; and the largest steady load, which a bounce never makes."""

from dataclasses import replace

import pytest

from monitor.core.config import LifterConfig, LoadMeasures
from monitor.core.load import (
    Load,
    LoadKnown,
    begin_lift,
    hangs_unproven,
    is_coarse,
    is_fresh,
    known,
    off_band_kg,
    restart_band,
    take,
)
from tests.histories import values_of
from tests.unit.core.made import LIFTER

BEGAN_S = 5000.0


def feed(
    history: str,
    *,
    load: Load | None = None,
    config: LifterConfig = LIFTER,
    from_s: float = BEGAN_S,
    step_s: float = 0.1,
) -> tuple[Load, float]:
    """A history of load readings, ten a second unless said; returns what is remembered and when the last came."""
    load, now_s = load or Load(), from_s
    for number, value in enumerate(values_of(history)):
        now_s = from_s + number * step_s
        if isinstance(value, float):
            load = take(load, value, now_s, config=config)
    return load, now_s


def known_after(history: str, config: LifterConfig = LIFTER, *, waited_s: float = 0.0) -> LoadKnown:
    load, now_s = feed(history, config=config)
    return known(load, now_s + waited_s, config=config, stale_after_s=3.0)


# --- on, off, neither


@pytest.mark.parametrize(
    ("history", "answer"),
    [
        ("30x20", LoadKnown.UNSURE),  # exactly load_on_kg is not above it
        ("30.5x6", LoadKnown.UNSURE),  # above for 0.5 s: a bump
        ("30.5x7", LoadKnown.ON),  # above for 0.6 s
        ("600x7", LoadKnown.ON),
        ("600x4 20x1 600x4", LoadKnown.UNSURE),  # the bump began anew
    ],
)
def test_load_is_on_after_six_tenths_of_a_second_above_its_limit(history: str, answer: LoadKnown) -> None:
    assert known_after(history) is answer


@pytest.mark.parametrize(
    ("history", "answer"),
    [
        ("0x50", LoadKnown.UNSURE),  # 4.9 s in the band
        ("0x51", LoadKnown.OFF),  # 5.0 s
        ("10x51", LoadKnown.OFF),  # exactly on the band's edge
        ("-10x51", LoadKnown.OFF),
        ("10.5x51", LoadKnown.UNSURE),
        ("-10.5x51", LoadKnown.UNSURE),  # the lifter rests on the panel
        ("0x30 11x1 0x50", LoadKnown.UNSURE),  # a bounce begins the five seconds anew
        ("0x30 11x1 0x51", LoadKnown.OFF),
    ],
)
def test_load_is_off_after_five_seconds_inside_the_band(history: str, answer: LoadKnown) -> None:
    assert known_after(history) is answer


def test_load_between_band_and_limit_is_neither() -> None:
    assert known_after("20x200") is LoadKnown.UNSURE


@pytest.mark.parametrize("history", ["600x60", "0x60"])
@pytest.mark.parametrize(("waited_s", "lost"), [(3.0, False), (3.1, True)])
def test_silent_cell_knows_nothing(history: str, waited_s: float, lost: bool) -> None:
    assert (known_after(history, waited_s=waited_s) is LoadKnown.UNSURE) is lost


def test_cell_never_heard_knows_nothing() -> None:
    assert known(Load(), 100.0, config=LIFTER, stale_after_s=3.0) is LoadKnown.UNSURE


def test_without_a_cell_only_a_named_confirmation_knows() -> None:
    config = replace(LIFTER, load_measures=LoadMeasures.NONE)
    assert known(Load(), 0.0, config=config, stale_after_s=3.0) is LoadKnown.UNSURE
    assert known(Load(confirmed_off=True), 0.0, config=config, stale_after_s=3.0) is LoadKnown.OFF


def test_reading_without_a_cell_configured_is_ignored() -> None:
    config = replace(LIFTER, load_measures=LoadMeasures.NONE)
    assert take(Load(), 0.0, 0.0, config=config) == Load()


def test_reading_without_a_load_makes_it_no_fresher() -> None:
    load, now_s = feed("600x10")
    load = take(load, None, now_s + 3.1, config=LIFTER)
    assert not is_fresh(load, now_s + 3.1, 3.0)


def test_gap_begins_the_five_seconds_anew() -> None:
    load, now_s = feed("0x60")
    assert known(restart_band(load), now_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.UNSURE


# --- slow senders


def test_band_needs_three_readings_however_slow() -> None:
    load, now_s = feed("0x2", step_s=6.0)  # in the band for 6 s, by two readings
    assert known(load, now_s, config=LIFTER, stale_after_s=20.0) is LoadKnown.UNSURE
    load, now_s = feed("0x3", step_s=3.0)
    assert known(load, now_s, config=LIFTER, stale_after_s=20.0) is LoadKnown.OFF


def test_silence_is_no_part_of_the_five_seconds() -> None:
    load, now_s = feed("0x5", step_s=1.0)
    assert known(load, now_s + 2.0, config=LIFTER, stale_after_s=3.0) is LoadKnown.UNSURE


@pytest.mark.parametrize(
    ("step_s", "stale_s"), [(0.1, 3.0), (0.8, 3.0), (1.0, 3.5), (2.0, 7.0), (6.0, 20.0), (10.0, 20.0)]
)
def test_load_is_stale_by_its_own_interval(step_s: float, stale_s: float) -> None:
    load, now_s = feed("600x9", step_s=step_s)
    assert is_fresh(load, now_s + stale_s - 0.01, 99.0)
    assert not is_fresh(load, now_s + stale_s + 0.01, 99.0)


def test_interval_is_known_after_two_gaps() -> None:
    assert feed("600x2")[0].interval_s is None
    assert feed("600x3")[0].interval_s == pytest.approx(0.1)


# --- a small panel may hang under the limit


@pytest.mark.parametrize(
    ("history", "hangs"),
    [
        ("10x60", False),  # on the band's edge
        ("11x20", False),  # over it for 1.9 s
        ("11x21", True),  # for 2.0 s
        ("11x15 9x1 11x15", False),
        ("-11x60", False),
    ],
)
def test_weight_over_the_band_for_two_seconds_may_be_a_small_panel(history: str, hangs: bool) -> None:
    load, now_s = feed(history)
    assert hangs_unproven(load, now_s) is hangs


# --- the band


@pytest.mark.parametrize(
    ("largest_kg", "accuracy_kg", "band_kg"),
    [
        (None, 5.0, 10.0),
        (300.0, 5.0, 10.0),
        (622.0, 5.0, 18.66),  # DESIGN's example lift: 3 % of the largest load
        (622.0, 10.0, 20.0),
        (100.0, 1.0, 10.0),
    ],
)
def test_band_is_the_largest_of_ten_kilograms_three_percent_and_twice_the_accuracy(
    largest_kg: float | None, accuracy_kg: float, band_kg: float
) -> None:
    config = replace(LIFTER, load_accuracy_kg=accuracy_kg)
    assert off_band_kg(config, largest_kg) == pytest.approx(band_kg)


def test_heavier_lift_widens_its_own_band() -> None:
    load, now_s = feed("622x60 18x51")
    assert known(load, now_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.OFF


@pytest.mark.parametrize(("largest_kg", "coarse"), [(None, False), (39.0, True), (40.0, False), (41.0, False)])
def test_cell_whose_band_is_over_a_quarter_of_the_panel_is_too_coarse(largest_kg: float | None, coarse: bool) -> None:
    assert is_coarse(LIFTER, largest_kg) is coarse


# --- what is measured


@pytest.mark.parametrize(("measures", "net_kg"), [("net", 700.0), ("with_lifter", 620.0), ("hook", 620.0)])
def test_tare_is_taken_off_unless_the_cell_measures_net(measures: str, net_kg: float) -> None:
    config = replace(LIFTER, load_measures=LoadMeasures(measures), tare_kg=80.0)
    assert take(Load(), 700.0, 0.0, config=config).net_kg == net_kg


# --- the largest steady load


def test_steady_load_becomes_the_largest() -> None:
    assert feed("0>600x30 600x30")[0].largest_kg == 600.0


def test_bounce_never_counts_as_load() -> None:
    assert feed("600x40 900x2 600x40")[0].largest_kg == 600.0


def test_swing_counts_by_its_low_side() -> None:
    largest_kg = feed("600x40 580x5 620x5 580x5 620x5 580x5 620x5")[0].largest_kg
    assert largest_kg == 600.0


def test_partial_landing_never_lowers_the_largest() -> None:
    assert feed("600x40 200x100")[0].largest_kg == 600.0


def test_load_under_its_limit_is_no_load_of_a_lift() -> None:
    assert feed("29x100")[0].largest_kg is None


@pytest.mark.parametrize(("load_kg", "largest_kg"), [(30.0, None), (30.5, 30.5)])
def test_largest_load_is_above_the_limit(load_kg: float, largest_kg: float | None) -> None:
    assert feed(f"{load_kg}x60")[0].largest_kg == largest_kg


@pytest.mark.parametrize(("more_kg", "grew"), [(12.0, False), (12.5, True)])
def test_two_percent_more_is_growth(more_kg: float, grew: bool) -> None:
    load, now_s = feed(f"600x60 {600 + more_kg}x60")
    assert load.grew_s is not None
    assert (load.grew_s > BEGAN_S + 5.0) is grew
    assert load.largest_kg == 600 + more_kg
    assert now_s > load.grew_s


def test_load_is_steady_over_three_seconds() -> None:
    assert feed("600x40 900x26")[0].largest_kg == 600.0  # 2.6 s of it: a tenth of the window is still 600
    assert feed("600x40 900x31")[0].largest_kg == 900.0


def test_growing_load_tells_when_it_last_grew() -> None:
    load, _ = feed("0>600x30 600x60")
    assert load.grew_s == pytest.approx(BEGAN_S + 5.6, abs=0.5)  # within the three seconds a steady load is judged over


def test_next_lift_forgets_the_last_ones_load_and_confirmation() -> None:
    load, _ = feed("600x60")
    begun = begin_lift(replace(load, confirmed_off=True))
    assert (begun.largest_kg, begun.grew_s, begun.confirmed_off) == (None, None, False)
    assert begun.net_kg == 600.0


def test_next_lift_does_not_count_time_spent_in_the_last_ones_wider_band() -> None:
    load, now_s = feed("622x60 15x60")
    assert known(load, now_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.OFF
    load, now_s = feed("8x10", load=begin_lift(load), from_s=now_s + 0.1)
    assert known(load, now_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.UNSURE


# --- what a hostile review found


def test_silence_is_no_part_of_the_five_seconds_off() -> None:
    load, now_s = feed("3x20")  # two seconds in the band, then nothing
    assert known(load, now_s + 2.9, config=LIFTER, stale_after_s=20.0) is LoadKnown.UNSURE


def test_one_reading_through_the_zero_of_a_swing_is_not_off() -> None:
    load = take(Load(), 600.0, 0.0, config=LIFTER)
    load = take(load, 3.0, 5.0, config=LIFTER)
    load = take(load, 3.0, 10.0, config=LIFTER)
    assert known(load, 14.0, config=LIFTER, stale_after_s=20.0) is LoadKnown.UNSURE


def test_load_that_falls_silent_is_stale_by_its_own_interval() -> None:
    load, now_s = feed("3x60")  # ten a second
    assert is_fresh(load, now_s + 3.0, 17.5)
    assert not is_fresh(load, now_s + 3.1, 17.5)  # however slow another circuit of the lifter is


# --- the window, and what a gap or a new lift forgets


def test_reading_exactly_three_seconds_old_counts_no_more() -> None:
    load, _ = feed("100x1 600x3", step_s=1.0)
    assert load.largest_kg == 600.0
    load, _ = feed("100x1 600x3", step_s=0.99)
    assert load.largest_kg == 100.0


def test_low_decile_of_ten_readings_passes_over_one_and_of_nine_over_none() -> None:
    assert feed("500x1 600x9")[0].largest_kg == 600.0
    assert feed("500x1 600x8")[0].largest_kg == 500.0


def test_steady_load_of_exactly_load_on_is_no_load_yet() -> None:
    assert feed("30x1 600x3")[0].largest_kg is None
    assert feed("30.1x1 600x3")[0].largest_kg == 30.1


def test_largest_load_may_be_under_a_kilogram_where_the_site_file_says_so() -> None:
    assert feed("0.8x3", config=replace(LIFTER, load_on_kg=0.2))[0].largest_kg == 0.8


def test_load_never_heard_is_not_fresh() -> None:
    assert not is_fresh(Load(), 5.0, 20.0)


@pytest.mark.parametrize(("age_s", "fresh"), [(6.0, True), (6.1, False)])
def test_until_its_own_interval_is_known_the_lifters_silence_counts(age_s: float, fresh: bool) -> None:
    assert is_fresh(Load(net_kg=1.0, at_s=100.0), 100.0 + age_s, 6.0) is fresh


def test_gap_begins_the_band_and_the_load_on_anew() -> None:
    band = restart_band(
        Load(net_kg=0.0, at_s=9.0, in_band_since_s=1.0, in_band_n=40, above_since_s=2.0, largest_kg=600.0)
    )
    assert (band.in_band_since_s, band.in_band_n, band.above_since_s, band.largest_kg) == (None, 0, None, 600.0)


def test_new_lift_counts_no_reading_of_the_last_in_its_band() -> None:
    begun = begin_lift(Load(net_kg=0.0, in_band_since_s=1.0, in_band_n=40, largest_kg=600.0, grew_s=2.0))
    assert (begun.in_band_since_s, begun.in_band_n, begun.largest_kg, begun.grew_s) == (None, 0, None, None)


# --- a broken cell


@pytest.mark.parametrize(
    ("history", "known_kg"),
    [
        ("600x100 0x1 600x1 0x1 600x1 0x1 600x1", True),
        (f"600x100 {'0x1 600x1 ' * 30}", False),
        (f"600x100 {'299x1 600x1 ' * 30}", False),
        (f"600x100 {'301x1 600x1 ' * 30}", True),
        (f"600x100 {'300x1 600x1 ' * 30}", True),
        (f"600x100 {'600x2 0x1 ' * 30}", True),  # to and fro, but not more often than every second time
        ("0x20 0>600x10 600x50 600>0x6 0x10", True),  # a pick and a setting down go one way
        (f"600x100 {'600x2 250x2 ' * 30}", True),  # bounces over several readings
    ],
)
def test_load_that_leaps_to_and_fro_is_as_if_not_given(history: str, known_kg: bool) -> None:
    load, now_s = feed(history)
    assert is_fresh(load, now_s, 3.0) is known_kg


def test_cell_that_leaps_no_more_is_believed_again() -> None:
    broken, now_s = feed(f"600x100 {'0x1 600x1 ' * 30}")
    soon, soon_s = feed("600x4", load=broken, from_s=now_s + 0.1)
    assert not is_fresh(soon, soon_s, 3.0)  # not by one good reading, nor by four
    load, later_s = feed("600x20", load=broken, from_s=now_s + 0.1)
    assert is_fresh(load, later_s, 3.0)
    assert known(load, later_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.ON


def test_leaps_before_any_load_was_lifted_are_not_judged() -> None:
    load, now_s = feed("5x1 -5x1 " * 40)
    assert known(load, now_s, config=LIFTER, stale_after_s=3.0) is LoadKnown.OFF


def test_first_load_heard_is_no_leap_and_one_back_from_it_neither() -> None:
    """To and fro takes two steps; of the first value nobody knows where it came from."""
    assert [feed(history)[0].leap_ratio for history in ("600x1", "600x1 0x1", "600x1 700x1")] == [0.0, 0.0, 0.0]
    assert feed("600x1 0x1 600x1")[0].leap_ratio == pytest.approx(0.1)
