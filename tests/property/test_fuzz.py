"""Messages nobody would send: nothing raises, nothing hangs, nothing is called good, everything refused is counted."""

import pytest

from tests import fuzz
from tests.histories import carrying


@pytest.mark.parametrize("messages_n", [20_000, pytest.param(1_000_000, marks=pytest.mark.long)])
def test_no_changed_message_makes_anything_read_good(messages_n: int) -> None:
    tally = fuzz.run(messages_n, seed=7)
    assert tally.messages_n == messages_n
    assert tally.wrong == []
    assert tally.grim_n > messages_n // 20
    assert tally.engine_events_n > messages_n // 20
    assert tally.slowest_s < fuzz.SLOW_S
    assert tally.refused["readings"] > messages_n // 100
    assert tally.readings_n > messages_n // 100


def test_what_nobody_said_is_seen() -> None:
    """A lift that holds, and whoever looks heard nothing of it; then one landed, and its circuits open."""
    watch, seen, tally = carrying(for_s=40.0), fuzz.Seen(), fuzz.Tally()
    said = [one.partition(": ")[0] for one in fuzz.wrong_in(watch.status, seen, tally)]
    assert said == ["1", "1", "1", "1, 2"]
    watch.play(A="63x80", B="62x80", load_kg="0x80", tilt_deg="90x80")
    assert "4:" in [one[:2] for one in fuzz.wrong_in(watch.status, seen, tally)]
    watch.play(A="0x100", B="0x100", load_kg="0x100", tilt_deg="90x100")
    assert {"2:", "4:"} <= {one[:2] for one in fuzz.wrong_in(watch.status, seen, tally)}


def test_message_says_only_the_good_that_is_in_it() -> None:
    grim = b'{"circuits": {"A": {"vacuum_kpa": 44.0}}, "load_kg": 500}'
    assert not fuzz.good_in(grim)
    assert fuzz.good_in(grim.replace(b"44.0", b"52.5")).holding == {"A"}
    assert fuzz.good_in(grim.replace(b"44.0", b"0.3")).opened == {"A"}
    assert fuzz.good_in(grim.replace(b"500", b"3")).off
    assert not fuzz.good_in(grim[:-1])
