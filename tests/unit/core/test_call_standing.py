"""Which calls stand on for ten seconds after their row held last, attached or with the pads let go."""

import pytest

from monitor.core.call import Call, Called, Standing, judge
from monitor.core.facts import CircuitState
from monitor.core.load import Load, LoadKnown
from monitor.core.messages import Text
from monitor.core.phases import Phase
from tests.unit.core.made import NOW_S, circuit, facts, holding

OPEN = CircuitState.OPEN


@pytest.mark.parametrize(
    ("row", "held_ago_s", "was_in_flight", "pads", "call"),
    [
        pytest.param("lifter_alarm", 9.9, False, "open", "land_now", id="lifter's alarm, between its beeps"),
        pytest.param("lifter_alarm", 10.0, False, "open", "not_lifting", id="lifter's alarm, over"),
        pytest.param("lifter_alarm", 9.9, False, "closed", "land_now", id="lifter's alarm, attached"),
        pytest.param("load_returns", 9.9, False, "open", "land_now", id="a panel that swings under a pad"),
        pytest.param("load_returns", 9.9, False, "one open", "land_now", id="a panel under the pads still closed"),
        pytest.param("load_returns", 10.0, False, "open", "not_lifting", id="a panel that hangs no more"),
        pytest.param("critical", 9.9, False, "closed", "look", id="low vacuum on the ground"),
        pytest.param("critical", 9.9, False, "open", "not_lifting", id="low vacuum, and the pads were let go"),
        pytest.param("lifter_alarm", 9.9, True, "open", "not_lifting", id="in the air, and now it is on the ground"),
    ],
)
def test_call_stands_ten_seconds_and_with_open_pads_only_what_is_to_be_landed_there_too(
    row: str, held_ago_s: float, was_in_flight: bool, pads: str, call: str
) -> None:
    parts = [
        circuit(name, **({"state": OPEN, "vacuum_kpa": 0.1} if pads == "open" or (pads, name) == ("one open", "A") else {}))
        for name in "AB"
    ]  # fmt: skip
    before = Called(
        Call.LAND_NOW,
        Text("headline.land_now"),
        Text(f"reason.{row}"),
        in_flight=was_in_flight,
        standing={row: Standing(NOW_S - held_ago_s, {"circuit": "B", "vacuum_kpa": 40.0})},
    )
    phase = Phase.IDLE if pads == "open" else Phase.SEAL_TEST
    given = facts(*parts, phase=phase, in_flight=False, load_known=LoadKnown.OFF, load_kg=0.0, load=Load(),
                  judged_kg=None, holding=holding(None))  # fmt: skip
    assert judge(given, before).call.value == call
