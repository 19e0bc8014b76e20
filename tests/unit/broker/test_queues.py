import threading

import pytest

from monitor.broker import Inbox, LinkDown, LinkUp, Message, Outbox, _Publish


def message(n: int, size_n: int = 3) -> Message:
    return Message("t", str(n).encode().ljust(size_n), False, float(n))


def numbers(inbox: Inbox) -> list[int]:
    return [int(arrival.payload) for arrival in inbox.drain(0) if isinstance(arrival, Message)]


@pytest.mark.parametrize(("put_n", "dropped_n"), [(0, 0), (9, 0), (10, 0), (11, 1), (25, 15)])
def test_full_inbox_drops_the_oldest_and_counts_them(put_n: int, dropped_n: int) -> None:
    inbox = Inbox(max_n=10)
    for n in range(put_n):
        inbox.put(message(n))
    assert inbox.dropped_n == dropped_n
    assert numbers(inbox) == list(range(dropped_n, put_n))
    assert inbox.drain(0) == []


def test_inbox_is_bounded_in_bytes_but_the_newest_always_fits() -> None:
    inbox = Inbox(max_n=10, max_bytes=100)
    for n in range(4):
        inbox.put(message(n, 40))
    assert numbers(inbox) == [2, 3]
    inbox.put(message(4, 1_000))
    assert numbers(inbox) == [4]
    for n in range(5, 8):
        inbox.put(message(n, 40))
    assert numbers(inbox) == [6, 7]


def test_news_of_the_link_outlives_the_messages_around_it() -> None:
    inbox = Inbox(max_n=3)
    inbox.put(LinkDown("gone", 1.0))
    inbox.put(LinkUp("5", "", 2.0))
    for n in range(5):
        inbox.put(message(n))
    assert [type(arrival) for arrival in inbox.drain(0)] == [LinkDown, LinkUp, Message, Message, Message]
    assert inbox.dropped_n == 2


def test_drain_wakes_at_the_first_arrival() -> None:
    inbox = Inbox()
    came: list[object] = []
    waiting = threading.Thread(target=lambda: came.extend(inbox.drain(10)))
    waiting.start()
    inbox.put(message(1))
    waiting.join(5)
    assert came == [message(1)]


def out(topic: str, payload: bytes = b"x", *, retain: bool = False) -> _Publish:
    return _Publish(topic, payload, 1, retain, None)


def taken(outbox: Outbox) -> list[tuple[str, bytes]]:
    return [(item.topic, item.payload) for item in iter(outbox.take, None)]


def test_without_a_link_only_the_newest_of_each_retained_topic_is_kept() -> None:
    outbox = Outbox()
    outbox.put(out("a/status", b"1", retain=True))
    outbox.put(out("a/alarms"))
    outbox.put(out("a/status", b"2", retain=True))
    outbox.put(out("b/status", b"3", retain=True))
    assert outbox.unsent_n == 2  # the alarm, and the status that a newer one replaced
    assert taken(outbox) == []
    outbox.open()
    assert taken(outbox) == [("a/status", b"2"), ("b/status", b"3")]
    assert outbox.unsent_n == 2


def test_retained_ones_go_out_again_on_every_new_link() -> None:
    outbox = Outbox()
    outbox.open()
    outbox.put(out("a/status", b"1", retain=True))
    outbox.put(out("a/lifts", b"2"))
    assert taken(outbox) == [("a/status", b"1"), ("a/lifts", b"2")]
    outbox.close(0)
    outbox.open()
    assert taken(outbox) == [("a/status", b"1")]
    assert outbox.unsent_n == 0


def test_what_a_lost_link_left_unsent_or_unconfirmed_is_counted() -> None:
    outbox = Outbox()
    outbox.open()
    outbox.put(out("a/lifts"))
    outbox.put(out("a/status", retain=True))
    outbox.close(3)
    assert outbox.unsent_n == 4
    outbox.close(3)  # closing twice counts once
    assert outbox.unsent_n == 4


def test_full_outbox_drops_the_oldest_and_counts_them() -> None:
    outbox = Outbox(max_n=2)
    outbox.open()
    for n in range(5):
        outbox.put(out("a/alarms", str(n).encode()))
    assert taken(outbox) == [("a/alarms", b"3"), ("a/alarms", b"4")]
    assert outbox.unsent_n == 3
