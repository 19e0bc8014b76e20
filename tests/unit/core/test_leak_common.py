"""The fall all circuits share, instant by instant: how much of it a hoist may be, and that no leak hides behind it."""

import pytest

from monitor.core.leak_common import FOLLOW_S, LINGER_S, Common, share, temperature_kpa_per_s

PER_MIN = 1.0 / 60.0
SD = 0.01 * PER_MIN
CALM = (0.05 * PER_MIN, SD)
FASTEST = 1.2 * PER_MIN  # 100 m at 1.7 m/s and 0.012 kPa/m


def told(common, *rates, dt_s=1.0, settled=True, height_m=100.0, speed_m_s=FASTEST / 0.012, **more):
    share(common, rates, dt_s, height_m=height_m, speed_m_s=speed_m_s, settled=[settled] * len(rates), **more)
    return common


def known(n=2, usual=CALM[0]):
    """Circuits that were seen at rest: their own usual leaks are no part of a hoist."""
    return Common([usual] * n)


def falls(kpa_per_min, sd=SD):
    return CALM[0] + kpa_per_min * PER_MIN, sd


def test_usual_leak_of_each_circuit_is_learned_at_rest_and_never_below_nothing():
    common = told(Common([None, None]), (0.1 * PER_MIN, SD), (-0.1 * PER_MIN, SD))
    assert common.usual_kpa_per_s == pytest.approx([0.1 * PER_MIN, 0.0])
    assert common.rate_kpa_per_s == 0.0


def test_rate_that_has_not_stood_yet_is_not_called_usual():
    assert told(Common([None, None]), CALM, CALM, settled=False).usual_kpa_per_s == [None, None]


@pytest.mark.parametrize(
    ("a", "b", "hoist"), [(0.6, 0.8, 0.6), (0.8, 0.6, 0.6), (0.6, 0.0, 0.0), (0.6, -0.1, 0.0), (3.0, 1.5, 1.2)]
)
def test_hoist_is_what_all_circuits_lose_at_least_and_no_faster_than_the_hoist_climbs(a, b, hoist):
    common = told(known(), falls(a), falls(b))
    assert common.rate_kpa_per_s == pytest.approx(hoist * PER_MIN, abs=1e-9)


def test_circuits_after_one_whose_rate_is_not_known_count_as_well():
    common = told(known(3), None, falls(0.8), falls(0.6))
    assert common.rate_kpa_per_s == pytest.approx(0.6 * PER_MIN)


def test_second_circuit_that_begins_to_be_known_is_taken_up():
    common = told(known(), falls(0.6), None)
    assert told(common, falls(0.6), falls(0.6)).ceiling_kpa_per_s == pytest.approx(0.625 * PER_MIN)


def test_usual_leak_does_not_overshoot_after_a_long_interval():
    common = told(known(), falls(0.05), falls(0.05), dt_s=240.0)
    assert common.usual_kpa_per_s == pytest.approx([0.1 * PER_MIN] * 2)


def test_one_circuit_alone_is_never_excused():
    for rates in ((falls(0.6),), (falls(0.6), None)):
        common = told(known(len(rates)), *rates)
        assert (common.rate_kpa_per_s, common.ceiling_kpa_per_s) == (0.0, 0.0)


def test_circuits_of_which_only_one_was_seen_at_rest_are_not_excused():
    """A lift starts on the ground: a fall seen from the first is a leak."""
    common = told(Common([CALM[0], None]), falls(0.6), falls(0.6), settled=False)
    assert (common.rate_kpa_per_s, common.ceiling_kpa_per_s) == (0.0, 0.0)


def test_coarse_gauges_that_had_no_time_to_show_their_rest_are_excused_but_for_what_is_in_order():
    common = told(Common([None, None]), falls(0.95), falls(1.05), settled=False, coarse=(True, True))
    assert common.rate_kpa_per_s == pytest.approx(0.7 * PER_MIN)  # 0.05 + 0.95 - 0.3
    one = told(Common([None, None]), falls(0.95), falls(1.05), settled=False, coarse=(True, False))
    assert one.rate_kpa_per_s == 0.0


def test_what_a_hoist_took_in_all_is_bounded_by_the_height_of_the_lift():
    common = known()
    for _ in range(59):
        told(common, falls(1.2), falls(1.2))
    assert common.rate_kpa_per_s > 0.0
    assert common.used_kpa == pytest.approx(59.0 * FASTEST)
    told(common, falls(1.2), falls(1.2))
    assert common.used_kpa == pytest.approx(1.2)  # 100 m
    for _ in range(round(FOLLOW_S) - 1):  # circuits show its end some seconds apart
        told(common, falls(1.2), falls(1.2))
        assert (common.used_kpa, common.ceiling_kpa_per_s) == pytest.approx((1.2, FASTEST))
        assert common.rate_kpa_per_s == pytest.approx(FASTEST)
    told(common, falls(1.2), falls(1.2))
    assert (common.rate_kpa_per_s, common.ceilings, common.lingers_s, common.leaks) == (0.0, [], 0.0, True)


def at_the_top():
    """All of the lift's height used up, and no fall since."""
    common = known()
    common.used_kpa = 1.2
    return common


def test_gauges_that_step_may_show_the_end_of_the_highest_hoist_as_late_as_they_do():
    common = at_the_top()
    found = [told(common, falls(0.6), falls(0.6), follow_s=30.0).leaks for _ in range(30)]
    assert found == [False] * 29 + [True]


def test_what_has_ended_in_time_was_the_hoist():
    common = at_the_top()
    for _ in range(3):
        for kpa_per_min in [*[0.6] * 11, 0.19]:
            assert not told(common, falls(kpa_per_min), falls(kpa_per_min)).leaks
    assert common.over_s == 0.0


@pytest.mark.parametrize(("kpa_per_min", "leaks"), [(0.2, False), (0.21, True)])
def test_slow_drift_of_all_at_the_top_is_no_shared_leak(kpa_per_min, leaks):
    common = known(usual=0.0)
    common.used_kpa = 1.2
    assert told(common, *[(kpa_per_min * PER_MIN, SD)] * 2, dt_s=20.0).leaks is leaks


@pytest.mark.parametrize(
    ("a", "b", "sd", "leaks"),
    [(1.49, 3.0, 0.0, False), (1.51, 1.51, 0.0, True), (1.74, 3.0, 0.1, False), (1.76, 1.76, 0.1, True)],
)
def test_fall_of_all_that_outruns_the_hoist_is_a_leak_whole(a, b, sd, leaks):
    """A hoist of 1.2 kPa/min, 0.3 that lifters in order lose besides, and how well the rates are known."""
    common = known()
    common.lingers_s = 9.0
    told(common, falls(a, sd * PER_MIN), falls(b, sd * PER_MIN))
    assert common.leaks is leaks
    assert common.lingers_s == (0.0 if leaks else LINGER_S)
    assert common.ceilings == ([] if leaks else [(pytest.approx(FASTEST), 0.0)])
    assert common.rate_kpa_per_s == pytest.approx(0.0 if leaks else FASTEST)
    assert common.used_kpa == pytest.approx(0.0 if leaks else FASTEST)


def test_shared_leak_stays_one_until_they_fall_together_no_more_and_is_not_learned_as_usual():
    common = told(known(), falls(3.0), falls(3.0))
    for _ in range(600):
        assert told(common, falls(0.6), falls(0.21)).leaks
    assert common.usual_kpa_per_s == [CALM[0]] * 2
    assert not told(common, falls(0.6), falls(0.19)).leaks
    assert told(common, falls(0.6), falls(0.6)).rate_kpa_per_s == pytest.approx(0.6 * PER_MIN)


def test_shared_leak_is_none_once_one_circuit_alone_is_at_rest():
    common = told(known(), falls(3.0), falls(3.0))
    assert not told(common, falls(3.0), None).leaks
    common = told(at_the_top(), falls(0.6), falls(0.6))
    assert common.over_s == 1.0
    assert told(common, falls(0.6), None).over_s == 0.0


def test_hook_that_comes_down_gives_it_back_no_faster_than_it_can():
    common = known()
    common.used_kpa = 1.0
    told(common, falls(-3.0), falls(-2.0), dt_s=10.0)
    assert common.used_kpa == pytest.approx(1.0 - 10.0 * FASTEST)
    assert common.rate_kpa_per_s == 0.0
    told(common, falls(-0.3), falls(-0.6), dt_s=10.0)
    # the slower of the two, less what they leak at rest
    assert common.used_kpa == pytest.approx(1.0 - 10.0 * FASTEST - 10.0 * 0.3 * PER_MIN)
    for _ in range(20):
        told(common, falls(-2.0), falls(-2.0), dt_s=10.0)
    assert common.used_kpa == 0.0


def test_most_that_a_hoist_may_be_is_the_upper_end_of_the_slowest_circuit_and_is_held_a_while():
    """Circuits show the end of one hoist some seconds apart."""
    common = told(known(), falls(0.6, 0.1 * PER_MIN), falls(0.5, 0.2 * PER_MIN))
    assert common.ceiling_kpa_per_s == pytest.approx(0.85 * PER_MIN)
    for _ in range(round(FOLLOW_S) - 1):
        told(common, falls(0.0), falls(0.0))
        assert common.ceiling_kpa_per_s == pytest.approx(0.85 * PER_MIN)
    told(common, falls(0.0), falls(0.0))
    assert common.ceiling_kpa_per_s == pytest.approx(0.025 * PER_MIN)


def test_where_gauges_step_the_most_is_held_as_long_as_they_may_take_to_show_the_end():
    """The most of all that was seen within that time, not of its first instant."""
    common = known()
    for kpa_per_min in [0.6, 0.5, *[0.4] * 10]:
        told(common, falls(kpa_per_min), falls(kpa_per_min), follow_s=40.0)
    held = [told(common, falls(0.0), falls(0.0), follow_s=40.0).ceiling_kpa_per_s / PER_MIN for _ in range(41)]
    expected = [0.625] * 28 + [0.525] + [0.425] * 10 + [0.025] * 2
    assert held == pytest.approx(expected)
    assert len(common.ceilings) == 1, "what is over is not kept"


@pytest.mark.parametrize(("coarse", "usual"), [((), 0.8), ((False, False), 0.8), ((True, False), 0.3)])
def test_coarse_gauge_that_shows_a_hoist_before_its_leak_was_known_does_not_take_it_for_usual(coarse, usual):
    """It steps so late that its first rate may be the hoist's; lifters in order lose up to 0.3 kPa/min (common practice)."""
    common = told(Common([None, None]), (0.8 * PER_MIN, SD), CALM, coarse=coarse)
    assert common.usual_kpa_per_s == pytest.approx([usual * PER_MIN, CALM[0]])
    told(common, (0.84 * PER_MIN, SD), CALM, dt_s=120.0, coarse=coarse)
    assert common.usual_kpa_per_s[0] == pytest.approx((0.84 if usual == 0.8 else 0.3) * PER_MIN)


def test_ceiling_is_no_faster_than_the_hoist_nor_below_nothing():
    assert told(known(), falls(1.4), falls(1.4)).ceiling_kpa_per_s == pytest.approx(FASTEST)
    assert told(known(), falls(-3.0), falls(-3.0)).ceiling_kpa_per_s == 0.0


@pytest.mark.parametrize(("kpa_per_min", "lingers"), [(0.21, True), (0.19, False), (-0.21, True)])
def test_hoist_lingers_a_minute(kpa_per_min, lingers):
    common = told(known(), falls(kpa_per_min), falls(kpa_per_min))
    assert common.lingers_s == (LINGER_S if lingers else 0.0)
    told(common, falls(0.0), falls(0.0), dt_s=10.0)
    assert common.lingers_s == (LINGER_S - 10.0 if lingers else 0.0)


@pytest.mark.parametrize(("kpa_per_s", "lingers_s"), [(0.2 / 60.0, 0.0), (-0.2 / 60.0, 0.0), (0.2001 / 60.0, LINGER_S)])
def test_hoist_is_under_way_above_its_least_rate(kpa_per_s, lingers_s):
    assert told(known(usual=0.0), (kpa_per_s, SD), (kpa_per_s, SD)).lingers_s == lingers_s


@pytest.mark.parametrize(
    ("kpa_per_s", "learns"), [(0.0995 / 60.0, True), (0.1 / 60.0, False), (-0.1 / 60.0, False), (-0.0995 / 60.0, True)]
)
def test_usual_leak_is_learned_below_a_tenth_of_a_kilopascal_a_minute_of_hoist(kpa_per_s, learns):
    """What all lose beyond their usual rates; here one of them loses a little more, which is its own."""
    usual = 0.5 / 60.0 if kpa_per_s < 0.0 else 0.0
    common = told(known(usual=usual), (usual + kpa_per_s, SD), (usual + kpa_per_s, SD), dt_s=12.0)
    assert (common.usual_kpa_per_s[0] != usual) is learns


@pytest.mark.parametrize(
    ("rates", "settled", "learned"),
    [
        pytest.param((falls(0.05), falls(0.05), None), True, (True, True, False), id="one whose rate is not known"),
        pytest.param((None, falls(0.05), falls(0.05)), True, (False, True, True), id="first of all"),
        pytest.param((falls(0.05), falls(0.05), None), False, (False, False, False), id="none has stood for long"),
    ],
)
def test_usual_leak_is_learned_of_the_circuits_that_are_seen_and_have_stood(rates, settled, learned):
    common = told(known(3), *rates, settled=settled, dt_s=12.0)
    assert tuple(usual != CALM[0] for usual in common.usual_kpa_per_s) == learned


@pytest.mark.parametrize(("kpa_per_min", "learns"), [(0.09, True), (0.11, False)])
def test_usual_leak_follows_slowly_while_nothing_is_hoisted(kpa_per_min, learns):
    """A hundred and twenty seconds bring it there; while all fall together it stands."""
    common = told(known(), falls(kpa_per_min), falls(kpa_per_min), dt_s=12.0)
    step = 0.1 * kpa_per_min * PER_MIN if learns else 0.0
    assert common.usual_kpa_per_s == pytest.approx([CALM[0] + step] * 2)


def test_gas_of_a_weaker_vacuum_moves_more_with_its_temperature():
    """10 K in ten minutes on 40 kPa of gas at 288 K: 0.139 kPa a minute (the gas law)."""
    assert temperature_kpa_per_s(101.3, 61.3) == pytest.approx(40.0 / 288.0 * 10.0 / 600.0)
    assert temperature_kpa_per_s(101.3, 110.0) == 0.0
