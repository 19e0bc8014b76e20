"""The service's small parts: rows of the journal, actions, history, what judged, driving through time."""

import pytest

from monitor.actions import action_of
from monitor.core.events import (
    Action,
    ActionCame,
    ActionKind,
    ClockSet,
    ConnectionSaid,
    LastLifts,
    LinkChanged,
    ReadingCame,
    Resumed,
    StoreSaid,
    Tick,
    UnreadableCame,
)
from monitor.core.past_lifts import PastLifts
from monitor.drive import Drive
from monitor.history import LENGTH_S, History
from monitor.journalled import JUDGED, READING, RETAINED, UNREADABLE, event_of, message_event, row_of

ACTION = Action(
    "a1", ActionKind.SHELVE, "dock-6", "the supervisor", "supervisor", {"raising": "x/1", "duration_s": 60.0}
)


@pytest.mark.parametrize(
    "event",
    [
        LinkChanged(up=True),
        ConnectionSaid("dock-6", online=False),
        Resumed(1764019200.25),
        ClockSet(-0.125),
        StoreSaid(writing=False, free_ratio=0.015),
        StoreSaid(writing=True, free_ratio=None),
        LastLifts("dock-6", PastLifts((31.5, 240.0), {"A": (9.5, 10.0)})),
        LastLifts("dock-6", PastLifts(())),
        ActionCame(ACTION),
    ],
)
def test_every_event_comes_back_from_its_row(event: object) -> None:
    assert event_of(*row_of(event)) == event


@pytest.mark.parametrize(
    ("payload", "retained", "kind"),
    [
        (b'{"circuits": {"A": {"vacuum_kpa": 63.4}}, "seq": 7}', False, READING),
        (b'{"circuits": {"A": {"vacuum_kpa": 63.4}}, "seq": 7}', True, RETAINED),
        (b"{", False, UNREADABLE),
    ],
)
def test_message_comes_back_from_its_own_bytes(payload: bytes, retained: bool, kind: str) -> None:
    found_kind, event = message_event(payload, "dock-6", retained=retained)
    assert found_kind == kind
    assert isinstance(event, UnreadableCame if kind == UNREADABLE else ReadingCame)
    assert event_of(kind, "dock-6", payload) == event


def test_rows_for_the_trace_are_no_events() -> None:
    assert event_of(JUDGED, "dock-6", b"{}") is None
    assert event_of("of a later version", "dock-6", b"{}") is None


@pytest.mark.parametrize(
    ("kind", "payload"), [("clock", b"{"), ("clock", b"{}"), ("action", b'{"id": "a"}'), ("link", b"[]")]
)
def test_row_that_cannot_be_read_says_so(kind: str, payload: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        event_of(kind, "dock-6", payload)


def test_action_is_checked_and_the_topics_lifter_counts() -> None:
    said = {"id": "a1", "kind": "surface", "lifter": "dock-7", "params": {"surface": "wet"}}
    assert action_of(said) == Action("a1", ActionKind.SURFACE, "dock-7", "", "", {"surface": "wet"})
    assert action_of(said, lifter="dock-6").lifter == "dock-6"


@pytest.mark.parametrize(
    "wrong",
    [
        {"id": ""}, {"id": "x" * 101}, {"id": 7}, {"kind": "release"}, {"kind": None}, {"lifter": None}, {"who": 7},
        {"who": "x" * 101}, {"role": ["supervisor"]}, {"params": []}, {"params": None},
    ],
)  # fmt: skip
def test_what_is_no_action_is_none(wrong: dict) -> None:
    assert action_of({"id": "a1", "kind": "surface", "lifter": "dock-6", "params": {}} | wrong) is None


def test_history_keeps_ten_minutes_one_point_a_second_the_last_counts() -> None:
    history = History()
    for n in range(LENGTH_S * 2 + 100):
        history.add(1000.0 + n / 2, "dock-6", [("A", float(n))])
    points = history.points()["dock-6"]["A"]
    assert len(points) == LENGTH_S
    assert points[-1] == [1649.0, 1299.0]
    assert points[0] == [1050.0, 101.0]


def test_history_has_a_gap_where_nothing_was_to_be_believed() -> None:
    history = History()
    history.add(1.0, "dock-6", [("A", 60.0), ("B", None)])
    assert history.points() == {"dock-6": {"A": [[1.0, 60.0]], "B": [[1.0, None]]}}


def test_history_begins_again_where_the_clock_was_set_back() -> None:
    history = History()
    for second in (10.0, 11.0, 12.0, 11.0):
        history.add(second, "dock-6", [("A", second)])
    assert [point[0] for point in history.points()["dock-6"]["A"]] == [10.0, 11.0]


def test_ticks_come_before_what_follows_them(monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str, float]] = []

    def step(state: object, event: object, now_s: float) -> tuple[object, tuple]:
        seen.append((type(event).__name__, now_s))
        return state, ()

    monkeypatch.setattr("monitor.drive.step", step)
    drive = Drive(None, 0.4)
    assert [at_s for at_s, _ in drive.advance(1.6)] == [0.5, 1.0, 1.5]
    drive.take(ClockSet(0.0))
    assert list(drive.advance(1.2)) == []  # what claims to be earlier happens now
    drive.take(ClockSet(0.0))
    assert [at_s for at_s, _ in drive.advance(2.0)] == [2.0]
    drive.resume(9.9)
    assert seen[-3:] == [("ClockSet", 1.6), ("Tick", 2.0), ("Resumed", 9.9)]


def test_tick_that_fails_is_passed_over_not_tried_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    def step(state: object, event: object, now_s: float) -> tuple[object, tuple]:
        if isinstance(event, Tick) and now_s == 1.0:
            raise ZeroDivisionError
        return state, ()

    monkeypatch.setattr("monitor.drive.step", step)
    drive = Drive(None, 0.4)
    with pytest.raises(ZeroDivisionError):
        list(drive.advance(2.0))
    assert [at_s for at_s, _ in drive.advance(2.0)] == [1.5, 2.0]
