"""Alarms of whole lifts: raised, answered, over, and what of it stands in the next."""

import pytest

from tests.histories import Watch, carry, carrying, dock


def test_call_is_the_same_whatever_is_out_of_service_or_shelved() -> None:
    plain, quiet = carrying(battery_low_v=23.0), carrying(battery_low_v=23.0)
    for key, about in (("sensor_fault", "B"), ("battery_low", ""), ("no_reading", "A"), ("no_reading", "B")):
        params = {"alarm": key, "about": about, "reason": "known"}
        assert quiet.act("out_of_service", role="maintenance", **params) == "done.out_of_service"
    for watch in (plain, quiet):
        carry(watch, B="64x5 nanx60", battery_v="22x1")
        watch.wait(8.0)
    told = [[(s.called.call, s.called.reason.key, s.release) for s in w._since(-80)] for w in (plain, quiet)]
    assert told[0] == told[1]
    assert {"reason.sensor_fault", "reason.silent"} & {reason for _, reason, _ in told[0]}
    assert all(
        alarm.out_of_service for alarm in quiet.status.alarms if alarm.key != "no_reading" or alarm.about in "AB"
    )


def test_one_missed_message_does_not_clear_an_alarm() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>50x10 50x6 _x4 60x20")
    assert watch.alarms["vacuum_low B"] == "unacknowledged"


@pytest.mark.parametrize("then", ["nan", "_"], ids=["doubted", "silent"])
def test_sudden_loss_is_not_over_because_nothing_more_is_known(then: str) -> None:
    watch = carrying()
    carry(watch, B=f"64x5 64>50x3 {then}x600")
    assert watch.alarms["sudden_loss B"] == "unacknowledged"
    carry(watch, B="50x25")
    assert watch.alarms["sudden_loss B"] == "unacknowledged"  # it is heard again, and not yet for half a minute
    carry(watch, B="50x350")
    assert watch.alarms["sudden_loss B"] == "latched_unacknowledged"


def test_fall_seen_just_before_its_gauge_is_doubted_is_a_sudden_loss() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>52x3 nanx2")
    assert watch.alarms["sudden_loss B"] == "unacknowledged"


def test_alarm_is_answered_returns_and_is_reset() -> None:
    watch = carrying()
    carry(watch, B="64x5 64>50x10 50x10")
    [raising] = [alarm.raising for alarm in watch.status.alarms if alarm.key == "vacuum_low"]
    assert watch.act("acknowledge", role="operator", who="crane operator", raising=raising) == "done.acknowledge"
    assert watch.alarms["vacuum_low B"] == "acknowledged"
    carry(watch, B="50>64x10 64x600")
    assert watch.alarms["vacuum_low B"] == "latched_acknowledged"
    assert watch.act("reset", raising=raising) == "done.reset"
    assert "vacuum_low B" not in watch.alarms


def test_click_on_an_old_page_never_answers_a_new_alarm() -> None:
    watch = carrying()
    fall_and_back = "64x5 64>50x10 50x10 50>64x10 64x600"
    carry(watch, B=fall_and_back)
    old = next(alarm.raising for alarm in watch.status.alarms if alarm.key == "vacuum_low")
    carry(watch, B="64>50x10 50x10")
    assert watch.act("acknowledge", raising=old) == "refused.not_this_raising"
    assert watch.alarms["vacuum_low B"] == "unacknowledged"


@pytest.mark.parametrize(
    "raising",
    [
        "",
        "7",
        "dock-6/B/vacuum_low/",
        "dock-6/A/vacuum_low/1",
        "dock-7/B/vacuum_low/1",
        1,
        None,
        "dock-6/B/vacuum_low/١",
    ],
)
def test_acknowledge_must_name_the_whole_raising(raising: object) -> None:
    watch = carrying()
    carry(watch, B="64x5 64>50x10 50x10")
    assert watch.alarms["vacuum_low B"] == "unacknowledged"
    assert watch.act("acknowledge", raising=raising) == "refused.not_this_raising"


def test_alarms_are_told_unanswered_first_then_by_priority_then_by_age() -> None:
    watch = carrying(battery_low_v=23.0)
    carry(watch, battery_v="22x1", B="64x60 50x20")
    told = [alarm.key for alarm in watch.status.alarms]
    assert told[-1] == "battery_low"
    assert told[0] in {"vacuum_low", "sudden_loss"}
    first = watch.status.alarms[0].raising
    watch.act("acknowledge", raising=first)
    assert watch.status.alarms[-1].raising == first


LEFT = [
    ({"load_kg": "600>950x30 950x60 950>600x30"}, {"over_wll", "margin_gone", "pad_overloaded", "over_plan"}),
    ({"B": "64>20x40 20x40"}, {"vacuum_low", "vacuum_critical", "margin_gone", "pad_overloaded", "sudden_loss"}),
]


@pytest.mark.parametrize("planned", [True, False])
@pytest.mark.parametrize(("signals", "keys"), LEFT, ids=["over the plate", "circuit lost"])
def test_after_the_release_no_alarm_of_the_last_lift_stands_in_the_next(
    signals: dict[str, str], keys: set[str], planned: bool
) -> None:
    plan = {"weight_kg": 600.0, "tilt_low_deg": 0.0, "tilt_high_deg": 90.0}
    watch = carrying(plan=plan if planned else {})
    carry(watch, **signals)
    assert set(watch.raised()) == (keys if planned else keys - {"over_plan"})
    carry(watch, load_kg="600>0x20 0x80")
    carry(watch, A="64>0x20 0x100", B="64>0x20 0x100", load_kg="0x1")
    carry(watch, A="0>64x100 64x600", B="0>64x100 64x600", load_kg="0x1")
    assert (watch.phase, watch.call) == ("seal_test", "holding")
    assert {key for key, state in watch.alarms.items() if state in {"unacknowledged", "acknowledged"}} == set()


@pytest.mark.parametrize("every_s", [0.5, 2.0, 2.5, 4.0, 5.0])
def test_sudden_loss_and_release_under_load_are_told_however_seldom_a_lifter_is_heard(every_s: float) -> None:
    watch = Watch(dock())
    upright = {"tilt_deg": "90x1", "rate_hz": 1.0 / every_s}
    watch.play(A="0x3 64x20", B="0x3 64x20", A_pump="onx3 offx1", B_pump="onx3 offx1", load_kg="0x1", **upright)
    watch.play(A="64x1", B="64x1", A_pump="offx1", B_pump="offx1", load_kg="600x15", **upright)
    assert watch.raised() == []
    watch.play(A="64x1", B="54x4", A_pump="offx1", B_pump="offx1", load_kg="600x1", **upright)
    assert watch.alarms["sudden_loss B"] == "unacknowledged"
    assert watch.call != "holding"
    watch.play(A="20x3", B="20x3", A_pump="offx1", B_pump="offx1", load_kg="600x1", **upright)
    assert watch.alarms["release_under_load"] == "unacknowledged"
    assert watch.call == "land_now"
