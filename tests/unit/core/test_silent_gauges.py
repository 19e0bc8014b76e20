"""The gauges of a circuit, each by its own time: since when it was not heard, beside others and after a silence of all."""

import pytest

from monitor.core.silent_gauges import LastHeard, follow, silent

STALE_S = 3.0
BESIDE = {"1": LastHeard(0.0, (60.0,)), "2": LastHeard(-5.0, (61.0,))}


def test_of_one_gauge_alone_only_its_last_value_is_kept() -> None:
    """There is none to miss while it is heard, and its silence is the circuit's."""
    first = follow({}, {"1": 60.0}, None, 5.0, STALE_S)
    assert first == {"1": LastHeard(5.0, (60.0,))}
    assert follow(first, {"1": 59.0}, 5.0, 6.0, STALE_S) == {"1": LastHeard(6.0, (59.0,))}


def test_gauge_that_goes_on_alone_keeps_the_one_that_is_missed() -> None:
    assert set(follow(BESIDE, {"1": 60.0}, 0.0, 1.0, STALE_S)) == {"1", "2"}


@pytest.mark.parametrize(
    ("now_s", "last_s"),
    [
        pytest.param(2.9, -5.0, id="the circuit was silent for less than it may be"),
        pytest.param(3.0, -5.0, id="just so long"),
        pytest.param(3.1, 3.1, id="longer: each gauge has its time anew"),
    ],
)
def test_after_a_silence_of_the_whole_circuit_each_gauge_has_its_time_anew(now_s: float, last_s: float) -> None:
    assert follow(BESIDE, {"1": 60.0}, 0.0, now_s, STALE_S)["2"].at_s == last_s


def test_gauge_that_was_silent_before_the_whole_circuit_was_has_no_time_anew() -> None:
    gone = {**BESIDE, "2": LastHeard(-20.1, (61.0,))}
    assert follow(gone, {"1": 60.0}, 0.0, 10.0, STALE_S)["2"].at_s == -20.1


@pytest.mark.parametrize(
    ("now_s", "interval_s", "missed"),
    [
        pytest.param(20.0, None, False, id="twenty seconds until its interval is known"),
        pytest.param(20.1, None, True, id="longer"),
        pytest.param(7.0, 2.0, False, id="three and a half of its intervals"),
        pytest.param(7.1, 2.0, True, id="more of its intervals"),
        pytest.param(3.0, 0.1, False, id="as long as its circuit may be silent"),
        pytest.param(3.1, 0.1, True, id="longer than its circuit may be silent"),
    ],
)
def test_gauge_is_missed_once_it_is_silent_longer_than_it_and_its_circuit_may_be(
    now_s: float, interval_s: float | None, missed: bool
) -> None:
    gauges = {"1": LastHeard(0.0, (60.5, 60.0), (), interval_s)}
    assert silent(gauges, (), now_s, STALE_S) == ({"1": (60.5, 60.0)} if missed else {})
    assert silent(gauges, ("1",), now_s, STALE_S) == {}
