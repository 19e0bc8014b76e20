"""step(): ticks, news, links and restarts; whole flights and tandems stand in `test_engine_flights`."""

import pytest

from monitor.core.engine import ticks_between
from monitor.core.events import (
    ClockSet,
    ConnectionSaid,
    LastLifts,
    LinkChanged,
    MessagesLost,
    ReadingCame,
    Resumed,
    StoreSaid,
    Tick,
)
from monitor.core.intake import News
from monitor.core.past_lifts import PastLifts
from monitor.core.readings import CircuitReading, Reading
from tests.histories import START_S, Watch, carry, carrying, dock

SEALED = {"A": "64x1", "B": "64x1"}


# --- ticks


@pytest.mark.parametrize(
    ("last_s", "now_s", "ticks"),
    [
        (0.4, 1.6, [0.5, 1.0, 1.5]),
        (0.5, 1.0, [1.0]),  # one at the end, none at the beginning
        (1.0, 1.0, []),
        (0.6, 0.9, []),
        (1_764_019_200.0, 1_764_019_201.0, [1_764_019_200.5, 1_764_019_201.0]),
    ],
)
def test_ticks_are_whole_multiples_up_to_and_including_now(last_s: float, now_s: float, ticks: list[float]) -> None:
    assert list(ticks_between(last_s, now_s)) == ticks


def test_tick_tells_every_lifter() -> None:
    watch = Watch(dock(), dock(id="dock-7"))
    watch.take(Tick())
    assert [told.status.facts.config.id for told in watch.told] == ["dock-6", "dock-7"]


# --- before anything is known


def test_nothing_heard_yet_is_no_signal_and_do_not_release() -> None:
    watch = Watch()
    watch.wait(1.0)
    assert (watch.call, watch.release, watch.phase) == ("no_signal", "do_not_release", "idle")
    assert watch.said["reason"] == "No reading has come yet."
    assert watch.said["reading_time"] is None
    assert watch.alarms == {}


def test_nothing_known_is_null_never_a_number() -> None:
    watch = Watch()
    watch.wait(0.5)
    said = watch.said
    assert said["circuits"]["A"]["vacuum_kpa"] is None  # type: ignore[index]
    assert said["circuits"]["A"]["to_warning_s"] is None  # type: ignore[index]
    assert said["load"] == {"kg": None, "source": "none", "judged_kg": None, "planned_kg": None, "known": "unsure"}


# --- what is told at once


def test_status_follows_its_reading_in_the_same_step() -> None:
    watch = carrying()
    watch.told.clear()
    watch.send({"seq": 10**6, "boot": "a", "time": watch.now_s, "circuits": {"A": {"vacuum_kpa": 63.5}}})
    [told] = watch.told
    assert told.status.facts.circuits["A"].vacuum_kpa == 63.5


# --- news


def test_retained_readings_make_nothing_live() -> None:
    watch = Watch()
    for number in range(20):
        watch.until(watch.now_s + 0.5)
        message = {"seq": number, "circuits": {"A": {"vacuum_kpa": 64.0}, "B": {"vacuum_kpa": 64.0}}, "load_kg": 0.0}
        watch.send(message, retained=True)
    assert (watch.call, watch.release, watch.phase) == ("no_signal", "do_not_release", "idle")
    assert watch.circuit("A") == "no_reading"
    assert watch.said["counts"]["retained"] == 20  # type: ignore[index]


def test_retained_reading_never_freshens_what_was_live() -> None:
    watch = carrying()
    for _ in range(10):
        watch.until(watch.now_s + 0.5)
        watch.send({"circuits": {"A": {"vacuum_kpa": 64.0}, "B": {"vacuum_kpa": 64.0}}}, retained=True)
    assert watch.call == "no_signal"


def test_unreadable_messages_are_counted_and_are_silence() -> None:
    watch = carrying()
    for _ in range(20):
        watch.until(watch.now_s + 0.5)
        watch.send(b"\xff not json")
    assert watch.call == "no_signal"
    assert watch.said["counts"]["rejected"] == 20  # type: ignore[index]


@pytest.mark.parametrize("place", [{}, {"seq": 10**6, "boot": "a"}])
def test_alarm_of_the_lifter_that_comes_by_itself_is_land_now_until_it_is_taken_back(place: dict[str, object]) -> None:
    watch = carrying()
    said = {"time": watch.now_s, **place}
    watch.send({"lifter_alarm": True, **said})
    watch.seq = 10**6  # where the sender counts
    carry(watch, load_kg="600x20")
    assert watch.call == "land_now"
    assert watch.alarms["lifter_alarm"] == "unacknowledged"
    assert watch.said["counts"]["late"] == watch.said["counts"]["rejected"] == 0  # type: ignore[index]
    watch.send({"lifter_alarm": False})
    carry(watch, load_kg="600x120")
    assert watch.call == "look"  # the alarm itself stands a minute


def test_word_on_the_lifters_alarm_is_no_reading_of_a_circuit() -> None:
    watch = carrying()
    for _ in range(20):
        watch.until(watch.now_s + 0.5)
        watch.send({"lifter_alarm": False})
    assert watch.circuit("A") == watch.circuit("B") == "no_reading"
    assert watch.call not in {"holding", "look"}
    assert watch.release == "do_not_release"


def test_messages_of_an_unknown_lifter_are_counted_and_ignored() -> None:
    watch = Watch()
    watch.send({"circuits": {"A": {"vacuum_kpa": 64.0}}}, lifter="dock-9")
    watch.send(b"rubbish", lifter="dock-9")
    assert watch.told == []
    assert watch.state.unknown_lifters_n == 2


def test_each_message_of_an_unknown_lifter_counts() -> None:
    watch = Watch()
    for _ in range(3):
        watch.send({"circuits": {"A": {"vacuum_kpa": 64.0}}}, lifter="dock-9")
    assert watch.state.unknown_lifters_n == 3


def reading(watch: Watch, **said: object) -> Reading:
    return Reading(watch.lifter, {"A": CircuitReading(61.0), "B": CircuitReading(62.0)}, **said)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("news", "count"),
    [(News.DOUBLED, "doubled"), (News.LATE, "late"), (News.RETAINED, "retained")],
)
def test_what_the_wire_alone_knows_to_be_no_news_is_counted_and_never_live(news: News, count: str) -> None:
    watch = Watch()
    for _ in range(2):
        watch.take(ReadingCame(reading(watch, sent_utc_s=watch.now_s - 60.0), judged=news))
    assert watch.said["counts"][count] == 2  # type: ignore[index]
    assert (watch.call, watch.said["reading_time"]) == ("no_signal", None)


@pytest.mark.parametrize(("sender_ahead_s", "utc_minus_now_s"), [(0.0, 0.0), (7.0, 0.0), (0.0, 5000.0)])
def test_late_reading_is_filled_in_at_its_own_time_by_the_clock_of_its_sender(
    sender_ahead_s: float, utc_minus_now_s: float
) -> None:
    """The sender's clock may be wrong: how far is known by its live readings."""
    watch = Watch()
    watch.take(ClockSet(utc_minus_now_s))
    clock_s = utc_minus_now_s + sender_ahead_s
    for seq, at_s in [(1, 0.0), (2, 0.5), (3, 5.0), (4, 5.5)]:
        watch.until(START_S + at_s)
        watch.take(ReadingCame(reading(watch, sent_utc_s=watch.now_s + clock_s, seq=seq, boot="a")))
    watch.take(ReadingCame(reading(watch, sent_utc_s=START_S + 1.0 + clock_s, seq=2, boot="a")))
    assert [(filled.at_s - START_S, filled.vacuums) for filled in watch.filled] == [(1.0, (("A", 61.0), ("B", 62.0)))]


def test_late_reading_the_wire_tells_of_has_the_time_of_this_site() -> None:
    watch = Watch()
    watch.take(ClockSet(5000.0))
    watch.until(START_S + 60.0)
    watch.take(ReadingCame(reading(watch, sent_utc_s=START_S + 20.0 + 5000.0), judged=News.LATE))
    assert [filled.at_s - START_S for filled in watch.filled] == [20.0]


def test_doubled_reading_fills_nothing_in() -> None:
    watch = Watch()
    watch.take(ReadingCame(reading(watch, sent_utc_s=watch.now_s - 1.0), judged=News.DOUBLED))
    assert watch.filled == []


@pytest.mark.parametrize(("silent_s", "gaps"), [(3.0, []), (3.5, [(0.0, 3.5, "silence")])])
def test_silence_in_a_lift_longer_than_a_reading_lasts_is_named_in_its_record(
    silent_s: float, gaps: list[tuple[float, float, str]]
) -> None:
    watch = carrying()
    heard_s = watch.now_s
    watch.until(heard_s + silent_s)
    watch.seq += 1
    watch.send({"time": watch.now_s, "seq": watch.seq, "boot": "a", "circuits": {"A": {"vacuum_kpa": 64.0}}})
    log = watch.state.lifters["dock-6"].log
    assert log is not None
    assert [(gap.from_s - heard_s, gap.to_s - heard_s, gap.why) for gap in log.gaps] == gaps


def test_alarm_says_when_it_moved() -> None:
    watch = Watch()
    watch.take(LinkChanged(False))
    while "broker_lost" not in watch.raised():
        watch.wait(0.5)
    [at_s] = [move.at_s for move in watch.moved if move.key == "broker_lost"]
    assert at_s == watch.now_s


def test_record_of_a_lift_says_which_version_judged_it_and_when_by_the_clock() -> None:
    watch = carrying()
    log = watch.state.lifters["dock-6"].log
    assert log is not None
    assert log.version == "test"
    watch = Watch()
    watch.take(ClockSet(5000.0))
    watch.play(A="0x5 0>64x40", B="0x5 0>64x40", A_pump="onx1", B_pump="onx1")
    log = watch.state.lifters["dock-6"].log
    assert log is not None
    assert (log.utc_minus_now_s, log.version) == (5000.0, "test")


def test_land_now_stands_while_nothing_more_is_heard() -> None:
    watch = carrying()
    carry(watch, B="64>50x60 50x10")
    assert watch.call == "land_now"
    watch.wait(10.0)
    assert (watch.call, watch.reason) == ("land_now", "reason.standing")


def test_connection_topic_is_a_hint_and_never_proof() -> None:
    watch = carrying()
    watch.take(ConnectionSaid("dock-6", online=False))
    carry(watch, load_kg="600x20")
    assert watch.circuit("A") == "holding"
    watch.take(ConnectionSaid("dock-6", online=True))
    watch.wait(4.0)
    assert watch.call == "no_signal"


def test_what_a_count_left_out_is_counted_as_lost() -> None:
    watch = carrying()
    before_n = watch.state.lifters["dock-6"].news.lost_n
    watch.take(MessagesLost("dock-6", 3))
    watch.take(MessagesLost("dock-9", 5))
    assert watch.state.lifters["dock-6"].news.lost_n == before_n + 3


# --- around the lifter


def test_lost_broker_is_said_and_raises_its_alarm() -> None:
    watch = carrying()
    watch.take(LinkChanged(up=False))
    watch.wait(2.0)
    assert watch.said["link"] == "down"
    assert watch.alarms["broker_lost"] == "unacknowledged"
    watch.take(LinkChanged(up=True))
    watch.wait(60.0)  # an alarm stands a minute at least
    assert watch.alarms["broker_lost"] == "returned_unacknowledged"


def test_store_that_does_not_write_raises_its_alarm_and_the_watching_goes_on() -> None:
    watch = carrying()
    watch.take(StoreSaid(writing=False, free_ratio=0.01))
    carry(watch, load_kg="600x40")
    assert watch.alarms["record_not_written"] == "unacknowledged"
    assert watch.alarms["disk_nearly_full"] == "unacknowledged"
    assert watch.circuit("A") == "holding"


def test_clock_that_is_set_moves_what_is_told_and_nothing_that_is_judged() -> None:
    watch = carrying()
    watch.take(ClockSet(3600.0))
    carry(watch, load_kg="600x20")
    assert watch.status.utc_s == watch.now_s + 3600.0
    assert watch.circuit("A") == "holding"


# --- time to land


@pytest.mark.parametrize(
    ("times_s", "in_force_s"),
    [
        ((), 240.0),
        ((100.0,) * 30, 240.0),  # never shorter than the site file's
        ((100.0,) * 26 + (300.0,) * 4, 300.0),  # 90th percentile of thirty is the 27th
        ((100.0,) * 27 + (300.0,) * 3, 240.0),
        ((900.0,) + (100.0,) * 30, 240.0),  # the last thirty only
    ],
)
def test_time_to_land_is_the_longer_of_the_site_files_and_the_ninetieth_percentile(
    times_s: tuple[float, ...], in_force_s: float
) -> None:
    watch = Watch()
    watch.take(LastLifts("dock-6", PastLifts(times_s)))
    watch.wait(0.5)
    assert watch.said["time_to_land_s"] == in_force_s


@pytest.mark.parametrize(("times_s", "in_force_s"), [((500.0,) * 30, 500.0), ((300.0,) * 30, 400.0), ((), 400.0)])
def test_time_to_land_of_a_lift_in_progress_never_gets_shorter_by_what_the_store_knows(
    times_s: tuple[float, ...], in_force_s: float
) -> None:
    watch = Watch()
    watch.take(LastLifts("dock-6", PastLifts((400.0,) * 30)))
    watch.play(A="0x5 0>64x100", B="0x5 0>64x100", load_kg="0x1")
    assert watch.state.lifters["dock-6"].log is not None
    watch.take(LastLifts("dock-6", PastLifts(times_s)))
    watch.wait(0.5)
    assert watch.said["time_to_land_s"] == in_force_s


def test_landing_times_of_an_unknown_lifter_are_ignored() -> None:
    watch = Watch()
    watch.take(LastLifts("dock-9", PastLifts((900.0,))))
    watch.wait(0.5)
    assert watch.said["time_to_land_s"] == 240.0


# --- restarts


def test_after_a_restart_nothing_old_is_believed() -> None:
    watch = carrying()
    down_s = watch.now_s
    watch.now_s += 30.0
    watch.take(Resumed(down_s))
    assert (watch.call, watch.release, watch.phase) == ("no_signal", "do_not_release", "carrying")


def test_restart_is_a_gap_in_the_record_of_the_lift_and_ends_its_seal_test() -> None:
    watch = Watch()
    watch.play(A="0x5 0>64x40 64x60", B="0x5 0>64x40 64x60", A_pump="onx45 offx1", B_pump="onx45 offx1", load_kg="0x1")
    watch.act("seal_test", test="pre_pick", who="supervisor")
    one = watch.state.lifters["dock-6"]
    assert one.log is not None
    assert one.seal_tests.running is not None
    down_s = watch.now_s
    watch.now_s += 30.0
    watch.take(Resumed(down_s))
    assert [(gap.from_s, gap.to_s, gap.why) for gap in one.log.gaps] == [(down_s, down_s + 30.0, "restart")]
    assert one.seal_tests.running is None
    [test] = one.seal_tests.ended
    assert test.text.key == "seal.broken.restart"
    assert test.ended_s == down_s + 30.0


def test_acknowledged_alarm_is_still_acknowledged_after_a_restart() -> None:
    watch = carrying()
    carry(watch, B="64>50x60 50x10")
    [raising] = [alarm.raising for alarm in watch.status.alarms if alarm.key == "vacuum_low"]
    watch.act("acknowledge", raising=raising)
    again = watch.copy()
    down_s = again.now_s
    again.now_s += 10.0
    again.take(Resumed(down_s))
    assert again.alarms["vacuum_low B"] == "acknowledged"
    assert again.call == "land_now"


def test_delay_that_was_running_begins_anew_after_a_restart() -> None:
    """Circuits 20 kPa apart for 4 of the 10 s they must be: the minutes nobody watched are none of the other six."""
    watch = carrying()
    carry(watch, A="64>84x40 84x40")
    down_s = watch.now_s
    watch.now_s += 300.0
    watch.take(Resumed(down_s))
    watch.wait(15.0)
    assert "circuits_disagree" not in watch.alarms
    carry(watch, A="84x95")
    assert "circuits_disagree" not in watch.alarms
    carry(watch, A="84x15")
    assert watch.alarms["circuits_disagree"] == "unacknowledged"


def test_alarm_that_stood_still_says_since_when_after_a_restart() -> None:
    watch = carrying()
    carry(watch, wind_m_s="12x30")
    [before] = watch.status.alarms
    carry(watch, wind_m_s="2x300")  # on its way back for 30 of the 60 s it must be
    watch.now_s += 40.0
    watch.take(Resumed(watch.now_s - 40.0))
    carry(watch, wind_m_s="2x590")
    [after] = [alarm for alarm in watch.status.alarms if alarm.key == "wind_over_limit"]
    assert (after.state, after.raising, after.since_utc_s) == ("unacknowledged", before.raising, before.since_utc_s)
    carry(watch, wind_m_s="2x20")
    assert watch.alarms["wind_over_limit"] == "returned_unacknowledged"


def test_lift_in_progress_goes_on_after_a_restart() -> None:
    watch = carrying()
    carry(watch)
    begun = watch.said["lift"]["id"]  # type: ignore[index]
    again = watch.copy()
    again.take(Resumed(again.now_s))
    carry(again)
    assert again.said["lift"]["id"] == begun  # type: ignore[index]
    assert again.said["lift"]["picks_n"] == 1  # type: ignore[index]
