"""The call over whole lifts: what silence, gaps and faults may never do to it."""

import pytest

from monitor.core.call import RANK, Call
from monitor.core.messages import Text
from monitor.core.status import Status
from tests.histories import Watch, calls, carry, carrying, dock


def never_better_than(status: list[Status], call: Call) -> bool:
    return all(RANK[one.called.call] <= RANK[call] for one in status)


LOW_BATTERY = {"battery_low_v": 23.0}


def test_silence_in_the_air_is_no_signal_within_the_stale_time() -> None:
    watch = carrying()
    began_s = watch.now_s
    told = watch.wait(10.0)
    assert calls(told) == ["holding", "no_signal"]
    since_s = next(one.facts.now_s for one in told if one.called.call is Call.NO_SIGNAL)
    assert since_s - began_s <= 3.5


def test_silence_after_a_losing_circuit_is_land_now() -> None:
    watch = carrying()
    carry(watch, B="64>60x600")
    assert watch.circuit("B") == "losing"
    watch.wait(4.0)
    assert (watch.call, watch.circuit("B")) == ("land_now", "no_reading")


def test_silence_after_the_battery_was_low_is_land_now() -> None:
    watch = carrying(**LOW_BATTERY)
    carry(watch, battery_v="22.5x50")
    assert watch.call == "land_soon"
    watch.wait(4.0)
    assert watch.call == "land_now"


def test_battery_that_is_no_longer_reported_is_still_low() -> None:
    watch = carrying(**LOW_BATTERY)
    carry(watch, battery_v="22.5x50")
    assert never_better_than(carry(watch, battery_v="-x100"), Call.LAND_SOON)


def test_standing_land_now_outlives_silence_and_comes_back_judged_anew() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>45x50 45x10")
    assert watch.call == "land_now"
    assert calls(watch.wait(120.0)) == ["land_now"]
    assert watch.status.called.reason.values["age_s"] == pytest.approx(120.0, abs=0.6)
    carry(watch, B="64x400")
    assert watch.call != "land_now"


def test_gap_in_the_readings_of_a_losing_circuit_never_improves_the_call() -> None:
    watch = carrying()
    carry(watch, B="64>60x600")
    call = watch.status.called.call
    assert call in {Call.LAND_NOW, Call.LAND_SOON}
    assert never_better_than(watch.wait(8.0), call)
    assert never_better_than(carry(watch, B="59.5>58.9x100"), call)


def test_faulty_readings_of_a_losing_circuit_never_improve_the_call() -> None:
    watch = carrying()
    carry(watch, B="64>60x600")
    call = watch.status.called.call
    assert never_better_than(carry(watch, B="nanx300"), call)


def test_lifter_that_is_in_tandem_shows_the_worse_call() -> None:
    watch = Watch(dock(), dock(id="dock-7"), tandem=True)
    vacuum, pump = "0x5 0>64x100 64x100", "onx105 offx1"
    signals = {"A": vacuum, "B": vacuum, "A_pump": pump, "B_pump": pump, "load_kg": "0x1"}
    watch.play(**signals)
    assert watch.call == "no_signal"  # the other one was never heard
    assert watch.status.called.reason.key == "reason.tandem"


def test_after_a_dip_the_call_is_look_while_the_alarm_stands_its_minute_and_then_holding() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>50x10 50x6 50>64x10 64x150")
    assert (watch.call, watch.alarms["vacuum_low B"]) == ("look", "unacknowledged")
    assert watch.status.called.reason == Text("reason.alarm_stands.circuit", {"circuit": "B"})
    carry(watch, B="64x500")
    assert (watch.call, watch.alarms["vacuum_low B"]) == ("holding", "latched_unacknowledged")


def test_lifters_alarm_that_sounds_in_pulses_is_one_call() -> None:
    """A buzzer wired to the sender is silent between its beeps: the call is not, and ends ten seconds after the last."""
    watch = carrying()
    beeping = carry(watch, lifter_alarm=" ".join("truex5 falsex5" for _ in range(20)))
    assert calls(beeping) == ["land_now"]
    after = carry(watch, lifter_alarm="falsex200")
    still = [status for status in after if status.called.call is Call.LAND_NOW]
    assert still[-1].facts.now_s - beeping[-1].facts.now_s == pytest.approx(
        9.5, abs=0.11
    )  # its last beep ended 0.5 s before
    assert calls(after) == ["land_now", "look"]  # its alarm stands a minute


@pytest.mark.parametrize("low_kg", [10.0, 0.0])
def test_load_that_comes_and_goes_after_the_release_is_one_call(low_kg: float) -> None:
    """A panel that a pad still holds swings under the hook."""
    watch = carrying()
    carry(watch, load_kg="600>0x20 0x80")
    carry(watch, A="64>0x20 0x50", B="64>0x20 0x50", load_kg="0x1")
    assert watch.call == "not_lifting"
    swings = " ".join(f"60x15 {low_kg}x15" for _ in range(6))
    told = carry(watch, A="0x1", B="0x1", load_kg=swings)
    assert calls(told) == ["not_lifting", "land_now"]
    assert calls(carry(watch, A="0x1", B="0x1", load_kg="0x150"))[-1] == "not_lifting"


def test_with_the_pads_let_go_no_other_call_stands_on() -> None:
    watch = carrying()
    carry(watch, B="64>50x20 50x20")
    assert watch.call == "land_now"
    carry(watch, B="50x1", load_kg="600>0x20 0x80")
    told = carry(watch, A="64>0x20 0x30", B="50>0x20 0x30", load_kg="0x1")
    assert told[-1].called.call is Call.NOT_LIFTING
