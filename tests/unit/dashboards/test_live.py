"""How old a snapshot is, whoever stopped, and traces with their gaps."""

import asyncio

import pytest

from dashboards.live import LIVE_FOR_S, TRACE_S, Live, Traces
from tests.page.statuses import circuit, silent, status


class Clocks:
    """Two clocks a test turns by hand."""

    def __init__(self) -> None:
        self.monotonic_s = 1000.0
        self.utc_s = 1764019200.0

    def pass_s(self, seconds: float) -> None:
        self.monotonic_s += seconds
        self.utc_s += seconds


@pytest.fixture
def clocks() -> Clocks:
    return Clocks()


@pytest.fixture
def live(clocks: Clocks) -> Live:
    return Live(monotonic=lambda: clocks.monotonic_s, utc=lambda: clocks.utc_s)


def said(clocks: Clocks, **changed: object) -> dict[str, object]:
    return {"type": "snapshot", "utc_s": clocks.utc_s, "lifters": [status()], **changed}


def test_nothing_is_live_before_the_first_snapshot(live: Live) -> None:
    assert live.age_s() is None
    assert not live.is_live()


def test_age_grows_and_ends_the_life(live: Live, clocks: Clocks) -> None:
    live.take(said(clocks))
    assert live.age_s() == 0.0
    clocks.pass_s(LIVE_FOR_S - 0.001)
    assert live.is_live()
    clocks.pass_s(0.002)
    assert not live.is_live()


def test_snapshot_that_waited_in_the_socket_arrives_old(live: Live, clocks: Clocks) -> None:
    waiting = said(clocks)
    clocks.pass_s(8.0)
    live.take(waiting)
    assert live.age_s() == pytest.approx(8.0)
    assert not live.is_live()


def test_engines_own_monotonic_stamp_outlives_a_stepped_clock(live: Live, clocks: Clocks) -> None:
    waiting = said(clocks, monotonic_s=clocks.monotonic_s)
    clocks.pass_s(0.3)
    clocks.utc_s += 3600.0
    live.take(waiting)
    assert live.age_s() == pytest.approx(0.3)


def test_page_can_be_covered_within_three_seconds_of_the_engines_last_word() -> None:
    assert LIVE_FOR_S + 0.5 < 3.0


def test_waiter_is_woken_by_news_and_never_held_longer_than_told(live: Live, clocks: Clocks) -> None:
    async def both() -> tuple[str, float]:
        live.take(said(clocks))
        first = live.snapshot
        assert first is not None
        loop = asyncio.get_running_loop()
        begun_s = loop.time()
        await live.newer_than(first.number, hold_s=0.05)
        held_s = loop.time() - begun_s
        loop.call_later(0.01, live.take, said(clocks))
        await live.newer_than(first.number, hold_s=5.0)
        assert live.snapshot is not None
        return live.snapshot.number, held_s

    number, held_s = asyncio.run(both())
    assert number.endswith(".2")
    assert 0.04 < held_s < 0.5


def test_number_differs_after_a_restart(clocks: Clocks) -> None:
    """A page asks for what is newer than it has; a restarted server must never take its number for its own."""
    numbers = set()
    for _ in range(2):
        again = Live(monotonic=lambda: clocks.monotonic_s, utc=lambda: clocks.utc_s)
        again.take(said(clocks))
        assert again.snapshot is not None
        numbers.add(again.snapshot.number)
    assert len(numbers) == 2


# -- traces


def test_hello_fills_the_traces(live: Live) -> None:
    live.hello(
        {"site": {"id": "quayside"}, "history": {"dock-6": {"A": [[100.2, 63.1], [101.4, None], [102.0, 63.0]]}}}
    )
    assert live.traces.since("dock-6", 0) == {"A": [(100, 63.1), (101, None), (102, 63.0)]}


def test_one_point_a_second_the_last_one_counts() -> None:
    traces = Traces()
    for at_s, kpa in ((10.1, 60.0), (10.9, 59.0), (11.0, 58.0)):
        traces.add(at_s, [status(circuits={"A": circuit(vacuum_kpa=kpa)})])
    assert traces.since("dock-6", 0) == {"A": [(10, 59.0), (11, 58.0)]}
    assert traces.since("dock-6", 10) == {"A": [(11, 58.0)]}


@pytest.mark.parametrize("blind", [silent(), silent(None), circuit("sensor_fault", 60.0)])
def test_gap_is_a_gap(blind: dict[str, object]) -> None:
    traces = Traces()
    traces.add(10.0, [status(circuits={"A": circuit()})])
    traces.add(11.0, [status(circuits={"A": blind})])
    assert traces.since("dock-6", 0) == {"A": [(10, 63.1), (11, None)]}


def test_ten_minutes_are_kept() -> None:
    traces = Traces()
    for second in range(TRACE_S + 50):
        traces.add(float(second), [status(circuits={"A": circuit()})])
    points = traces.since("dock-6", 0)["A"]
    assert len(points) == TRACE_S
    assert points[0][0] == 50


def test_clock_set_back_keeps_the_trace_in_order() -> None:
    traces = Traces()
    for second in (10, 11, 12, 11):
        traces.add(float(second), [status(circuits={"A": circuit()})])
    assert [second for second, _ in traces.since("dock-6", 0)["A"]] == [10, 11]
    assert [second for second, _ in traces.since("dock-6", 12)["A"]] == [10, 11], (
        "a page ahead of it gets all of it anew"
    )
