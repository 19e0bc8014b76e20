"""Messages nobody would send: nothing raises, nothing hangs, nothing is called good, everything refused is counted."""

import pytest

from tests import fuzz


@pytest.mark.parametrize("messages_n", [20_000, pytest.param(1_000_000, marks=pytest.mark.long)])
def test_no_changed_message_makes_anything_read_good(messages_n: int) -> None:
    tally = fuzz.run(messages_n, seed=7)
    assert tally.messages_n == messages_n
    assert tally.wrong == []
    assert tally.slowest_s < fuzz.SLOW_S
    assert tally.refused["readings"] > messages_n // 100
    assert tally.readings_n > messages_n // 100
