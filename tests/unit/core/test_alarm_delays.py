"""How long a signal must be in breach before its alarm is raised: by the load, and after a restart."""

from dataclasses import replace
from typing import Any

import pytest

from monitor.core.alarms import RULES, Alarm, Board, State, Verdict, advance, restart_delays
from monitor.core.phases import Phase


@pytest.mark.parametrize(
    ("said", "after_s", "raised"),
    [
        pytest.param({"load_off": True}, 9.9, False, id="the load is off: a release takes less than ten seconds"),
        pytest.param({"load_off": True}, 10.0, True, id="the load is off, and no release takes so long"),
        pytest.param({"load_off": False}, 0.0, True, id="the load is on or nobody knows"),
        pytest.param({}, 0.0, True, id="nothing is said of the load"),
    ],
)
def test_low_vacuum_waits_for_a_release_only_where_the_load_is_known_to_be_off(
    said: dict[str, Any], after_s: float, raised: bool
) -> None:
    rule = RULES["vacuum_low"]
    alarm = advance(Alarm(breach_since_s=50.0), Verdict.BREACH, 50.0 + after_s, rule=rule, phase=Phase.CARRYING,
                    raising_n=1, **said)  # fmt: skip
    assert (alarm.state is State.UNACKNOWLEDGED) is raised


@pytest.mark.parametrize(
    ("state", "breach_since_s", "after_s"),
    [
        pytest.param(State.UNACKNOWLEDGED, 40.0, 40.0, id="standing: since when it does is kept"),
        pytest.param(State.ACKNOWLEDGED, 40.0, 40.0, id="acknowledged: the same"),
        pytest.param(State.NORMAL, 40.0, None, id="about to be raised: its delay begins anew"),
        pytest.param(State.RETURNED_UNACKNOWLEDGED, 40.0, None, id="about to be raised again: the same"),
    ],
)
@pytest.mark.parametrize("clear_since_s", [45.0, None])
def test_after_a_restart_every_delay_begins_anew(
    state: State, breach_since_s: float, after_s: float | None, clear_since_s: float | None
) -> None:
    before = Alarm(state=state, raising_n=3, breach_since_s=breach_since_s, clear_since_s=clear_since_s, value=51.0)
    board = Board({("B", "vacuum_low"): before}, 3)
    restart_delays(board)
    assert board.alarms == {("B", "vacuum_low"): replace(before, breach_since_s=after_s, clear_since_s=None)}
