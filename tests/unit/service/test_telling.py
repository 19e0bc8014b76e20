"""When a status is published: at once after a heartbeat, five a second while readings come."""

import itertools

import pytest

from monitor.telling import Telling
from monitor.wire.topics import Topics
from tests.histories import carrying


def test_reading_after_a_heartbeat_does_not_wait_and_readings_get_five_a_second() -> None:
    status = carrying().status
    sent: list[float] = []
    now_s = 0.0
    telling = Telling(Topics("holdwatch", "quayside"), ["dock-6"], lambda *_: sent.append(now_s))
    telling.take(status, now_s, changed=False, news=False)
    telling.publish_due(now_s, 0.0)
    assert sent == [0.0]
    for number in range(1, 400):
        now_s = number / 100
        telling.take(status, now_s, changed=False, news=True)
        telling.publish_due(now_s, 0.0)
    assert sent[1] == 0.01
    waits_s = [round(later - earlier, 3) for earlier, later in itertools.pairwise(sent[1:])]
    assert min(waits_s) >= 0.2
    assert max(waits_s) <= 0.26
    assert max(waits_s[5:]) <= 0.21


@pytest.mark.parametrize("every_ms", [10, 50, 100, 130, 190, 200, 210, 240, 330])
@pytest.mark.parametrize("begin_ms", [10, 90, 400, 790])
def test_never_more_than_five_in_any_second_whenever_readings_begin_and_stop(every_ms: int, begin_ms: int) -> None:
    status = carrying().status
    sent_ms: list[int] = []
    at_ms = 0
    telling = Telling(Topics("holdwatch", "quayside"), ["dock-6"], lambda *_: sent_ms.append(at_ms))
    for at_ms in range(0, 20_000, 10):
        on = at_ms % 7000 >= begin_ms and at_ms % 7000 < 4000  # readings for some seconds, then silence
        if at_ms % 500 == 0:
            telling.take(status, at_ms / 1000, changed=False, news=False)
        if on and (at_ms - begin_ms) % every_ms == 0:
            telling.take(status, at_ms / 1000, changed=False, news=True)
        telling.publish_due(at_ms / 1000, 0.0)
    for first, sixth in zip(sent_ms, sent_ms[5:], strict=False):
        assert sixth - first >= 1000, (first, sixth)
    assert max(later - earlier for earlier, later in itertools.pairwise(sent_ms)) <= 1000
