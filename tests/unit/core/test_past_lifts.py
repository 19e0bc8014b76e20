"""What a lifter's last lifts say of the time to land."""

import numpy as np
import pytest

from monitor.core.past_lifts import PastLifts
from tests.histories import RESTING, STILL, Watch, dock

SITE_S = 240.0


@pytest.mark.parametrize("lifts_n", [1, 2, 9, 10, 11, 29, 30])
def test_time_to_land_is_the_ninetieth_percentile_of_the_last_lifts(lifts_n: int) -> None:
    """Beside numpy's inverted empirical distribution (Hyndman and Fan 1996, definition 1)."""
    landings_s = tuple(np.random.default_rng(lifts_n).uniform(250.0, 900.0, lifts_n).tolist())
    assert PastLifts(landings_s).time_to_land_s(SITE_S) == np.percentile(landings_s, 90.0, method="inverted_cdf")


@pytest.mark.parametrize("landings_s", [(), (60.0,) * 30, (239.9,)])
def test_time_to_land_is_never_shorter_than_the_site_files(landings_s: tuple[float, ...]) -> None:
    assert PastLifts(landings_s).time_to_land_s(SITE_S) == SITE_S
    assert PastLifts().time_to_land_s(0.5) == 0.5


def test_thirty_lifts_count_and_no_more() -> None:
    past = PastLifts((900.0,) * 30)
    for _ in range(27):
        past = past.with_lift(300.0, {})
    assert past.time_to_land_s(SITE_S) == 300.0  # three of thirty were longer
    assert len(past.landing_s) == 30


def test_lift_that_showed_no_landing_teaches_none() -> None:
    assert PastLifts((300.0,)).with_lift(None, {}).landing_s == (300.0,)


def test_next_lift_goes_by_what_was_learned_and_a_lift_under_way_does_not_change() -> None:
    watch = Watch(dock())
    one = watch.state.lifters["dock-6"]
    one.past = PastLifts((300.0,) * 10)
    vacuum = {"A": "0x5 0>64x100 64x20", "B": "0x5 0>64x100 64x20"}
    watch.play(**vacuum, load_kg="0x1", **STILL, **RESTING)
    assert watch.said["time_to_land_s"] == 300.0
    one.past = PastLifts((500.0,) * 10)
    watch.play(A="64x20", B="64x20", load_kg="0x1", **STILL, **RESTING)
    assert watch.said["time_to_land_s"] == 300.0


def pumped(*took_s: float | None, circuit: str = "A") -> PastLifts:
    past = PastLifts()
    for one_s in took_s:
        past = past.with_lift(None, {circuit: one_s, "Z": None})
    return past


@pytest.mark.parametrize(
    ("took_s", "limit_s"),
    [
        ((10.0,) * 4, None),  # no habit yet
        ((10.0,) * 5, 15.0),  # half as long again
        ((4.0,) * 5, 7.0),  # and three seconds at least
        ((6.0,) * 5, 9.0),
        ((10.0, 10.0, 10.0, 10.0, 60.0), 15.0),  # by the middle: one clogged pick is no habit
        ((6.0, 8.0, 10.0, 40.0, 60.0), 15.0),
        ((10.0, None, 10.0, 10.0, 10.0), None),  # not seen is not counted
        ((90.0,) * 20 + (10.0,) * 30, 15.0),  # of the last thirty
    ],
)
def test_pump_down_is_slow_half_as_long_again_as_usual(took_s: tuple[float | None, ...], limit_s: float | None) -> None:
    past = pumped(*took_s)
    assert past.pump_down_limit_s("A") == limit_s
    assert past.pump_down_limit_s("Z") is None


def test_pump_downs_of_each_circuit_are_its_own_and_thirty_are_kept() -> None:
    past = pumped(*[10.0] * 40).with_lift(None, {"B": 20.0})
    assert (len(past.pump_down_s["A"]), past.pump_down_s["B"]) == (30, (20.0,))
    assert past.landing_s == ()
