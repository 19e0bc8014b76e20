"""step() over whole flights: what is told of them, tandems, and that the same events give the same answers."""

import pickle

from monitor.core.events import Tick
from monitor.words.say import status_dict
from tests.histories import RESTING, STILL, Watch, calls, carry, carrying, dock, messages

SEALED = {"A": "64x1", "B": "64x1"}


def test_change_is_told_as_a_change_and_nothing_new_is_not() -> None:
    watch = carrying()
    carry(watch)
    watch.told.clear()
    watch.take(Tick())
    assert [told.changed for told in watch.told] == [False]
    carry(watch, B="64>50x20 50x5", noise_kpa=0.0)
    at_change = [told.status for told in watch.told if told.changed]
    assert "land_now" in calls(at_change)


def test_doubled_and_late_messages_change_nothing_but_their_counts() -> None:
    plain, noisy = carrying(), carrying()
    sent: list[dict[str, object]] = []
    for number in range(100):
        for watch in (plain, noisy):
            watch.until(watch.now_s + 0.1)
            watch.seq += 1
        kpa = 64.0 - 0.01 * number
        message: dict[str, object] = {"time": plain.now_s, "seq": plain.seq, "boot": "a", "load_kg": 600.0}
        message["circuits"] = {name: {"vacuum_kpa": kpa, "pump": "off"} for name in "AB"}
        sent.append(message)
        plain.send(message)
        noisy.send(message)
        noisy.send(message)
        noisy.send(sent[max(0, number - 5)])
    for key, value in plain.said.items():
        assert key == "counts" or noisy.said[key] == value
    assert noisy.said["counts"]["doubled"] + noisy.said["counts"]["late"] == 200  # type: ignore[index]


def test_sender_with_a_wrong_clock_is_live_and_told() -> None:
    watch = Watch()
    for number in range(400):
        watch.until(watch.now_s + 0.1)
        circuits = {name: {"vacuum_kpa": 0.0} for name in "AB"}
        watch.send({"time": watch.now_s - 900.0, "seq": number, "boot": "a", "load_kg": 0.0, "circuits": circuits})
    assert watch.call == "not_lifting"
    assert watch.alarms == {"clock_wrong": "unacknowledged"}


def test_plan_stands_until_a_lift_has_used_it() -> None:
    watch = Watch()
    watch.act("plan", weight_kg=600.0)
    watch.play(A="0>20x20 20x20 0x20", B="0>20x20 20x20 0x20", load_kg="0x1")  # a seal that failed
    assert (watch.phase, watch.status.facts.planned_kg) == ("idle", 600.0)
    watch.play(A="0>64x40 64x100", B="0>64x40 64x100", load_kg="0x80 0>600x10 600x50")
    assert watch.status.facts.planned_kg == 600.0
    watch.play(A="64x100 64>0x20 0x20", B="64x100 64>0x20 0x20", load_kg="600>0x10 0x1")
    assert (watch.phase, watch.status.facts.planned_kg) == ("released", None)


def test_same_events_give_the_same_answers() -> None:
    one, two = Watch(), Watch()
    vacuum = "0x5 0>64x100 64x100 64>50x60 50x10 _x60 50>64x60"
    for watch in (one, two):
        watch.play(A=vacuum, B="0x5 0>64x100 64x300", load_kg="0x200 0>600x20 600x1", noise_kpa=0.05)
    assert [status_dict(told.status) for told in one.told] == [status_dict(told.status) for told in two.told]
    assert one.moved == two.moved


def test_pickled_midway_it_goes_on_the_same() -> None:
    one = carrying()
    carry(one, B="64>60x100")
    two = one.copy()
    assert pickle.dumps(two.state) == pickle.dumps(pickle.loads(pickle.dumps(two.state)))  # noqa: S301  # our own
    for watch in (one, two):
        watch.told.clear()
        carry(watch, B="60>50x100 50x20 _x40 50x20", seed=9)
    assert [status_dict(told.status) for told in one.told] == [status_dict(told.status) for told in two.told]


# --- tandem


def pair() -> Watch:
    watch = Watch(dock(), dock(id="dock-7"), tandem=True)
    vacuum, pump = "0x5 0>64x100 64x200", "onx105 offx1"
    both(watch, A=vacuum, B=vacuum, A_pump=pump, B_pump=pump, load_kg="0x1")
    both(watch, load_kg="0>400x30 400x200")
    return watch


def both(watch: Watch, other: dict[str, str] | None = None, **signals: str) -> None:
    """Two histories side by side: dock-6 says ``signals``, dock-7 the same but for ``other``."""
    base = {**SEALED, **STILL, **RESTING, **signals}
    began_s, seq = watch.now_s, watch.seq
    first = list(messages(base, noise_kpa=0.05, seed=4))
    second = list(messages({**base, **(other or {})}, noise_kpa=0.05, seed=5))
    for number in range(max(len(first), len(second))):
        watch.until(began_s + (number + 1) / 10.0)
        for name, row in (("dock-6", first), ("dock-7", second)):
            message = row[min(number, len(row) - 1)]
            if message is not None:
                watch.send({"time": watch.now_s, "seq": seq + number, "boot": name, **message}, lifter=name)
    watch.seq = seq + max(len(first), len(second))


def test_in_tandem_the_worse_call_shows_on_both_and_goes_with_its_cause() -> None:
    watch = pair()
    assert (watch.call, watch.status_of("dock-7").called.call.value) == ("holding", "holding")
    both(watch, {"B": "64>50x30 50x10"}, load_kg="400x40")
    assert (watch.call, watch.reason) == ("land_now", "reason.tandem")
    assert watch.status_of("dock-7").called.reason.key == "reason.low"
    both(watch, {"B": "50>64x30 64x270"}, load_kg="400x300")
    assert (watch.call, watch.reason) == ("look", "reason.tandem")  # the other's alarm stands its minute
    assert watch.status_of("dock-7").called.reason.key == "reason.alarm_stands.circuit"
    both(watch, load_kg="400x400")
    assert watch.reason != "reason.tandem"
    assert watch.status_of("dock-7").called.call.value == watch.call


def test_in_tandem_release_changes_only_when_both_are_off() -> None:
    watch = pair()
    both(watch, {"load_kg": "400x100"}, load_kg="400>0x20 0x80")
    assert (watch.release, watch.status.release_text.key) == ("do_not_release", "release.partner")
    both(watch, load_kg="0x80")
    assert (watch.release, watch.status_of("dock-7").release.value) == ("check_fixed", "check_fixed")


def test_in_tandem_a_silent_partner_is_no_signal_on_both() -> None:
    watch = pair()
    both(watch, {"load_kg": "_x60"}, load_kg="400x60")
    assert (watch.call, watch.reason) == ("no_signal", "reason.tandem")
    assert watch.release == "do_not_release"


def test_in_tandem_the_partner_is_told_of_changes_alone() -> None:
    watch = pair()
    seen_n = len(watch.told)
    watch.until(watch.now_s + 0.1)
    circuits = {name: {"vacuum_kpa": 64.0, "pump": "off"} for name in "AB"}
    watch.send({"time": watch.now_s, "boot": "dock-6", "seq": 10**6, "circuits": circuits, "load_kg": 400.0})
    assert [told.status.facts.config.id for told in watch.told[seen_n:]] == ["dock-6"]


def test_lifters_without_a_tandem_do_not_touch_each_other() -> None:
    watch = Watch(dock(), dock(id="dock-7"))
    watch.play(**SEALED, load_kg="0x20")
    assert watch.status_of("dock-7").called.call.value == "no_signal"
    assert watch.call != "no_signal"
