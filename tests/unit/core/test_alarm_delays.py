"""How long a signal must be in breach before its alarm is raised: shorter unless the load is known to be off."""

from typing import Any

import pytest

from monitor.core.alarms import RULES, Alarm, State, Verdict, advance
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
