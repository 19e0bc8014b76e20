"""When a status is published: at once after a heartbeat, five a second while readings come."""

import itertools

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
    assert max(waits_s) <= 0.21
