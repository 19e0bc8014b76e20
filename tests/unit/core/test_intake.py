"""What is news: arrival decides, a sender's clock only ever makes a reading older."""

import pytest

from monitor.core.intake import Intake, News, counted, judge, missing, worst_lag_s
from monitor.core.readings import CircuitReading, Reading, Refusal

SENT_S = 1_764_019_200.0  # the sender's clock may stand anywhere


def reading(**given: object) -> Reading:
    return Reading("dock-6", {"A": CircuitReading(60.0)}, **given)  # type: ignore[arg-type]


def take(
    *arrivals: tuple[float, Reading], retained: bool = False, utc_minus_now_s: float | None = None
) -> tuple[Intake, list[News]]:
    """Judge readings by arrival, one after another."""
    intake, news = Intake(), []
    for now_s, came in arrivals:
        intake, kind = judge(intake, came, now_s, retained=retained, utc_minus_now_s=utc_minus_now_s)
        news.append(kind)
    return intake, news


def test_first_reading_is_live_whatever_its_stamp() -> None:
    assert take((5.0, reading(seq=9, boot="a", sent_utc_s=1.0)))[1] == [News.LIVE]


def test_retained_reading_is_never_live() -> None:
    intake, news = take((5.0, reading(seq=1)), (6.0, reading(seq=2)), retained=True)
    assert news == [News.RETAINED, News.RETAINED]
    assert (intake.retained_n, intake.live_n, intake.arrived_s) == (2, 0, None)


def test_same_number_again_is_doubled() -> None:
    intake, news = take((0.0, reading(seq=7, boot="a")), (0.1, reading(seq=7, boot="a")))
    assert news == [News.LIVE, News.DOUBLED]
    assert intake.doubled_n == 1


def test_same_stamp_again_is_doubled_where_no_number_is_given() -> None:
    assert take((0.0, reading(sent_utc_s=SENT_S)), (0.2, reading(sent_utc_s=SENT_S)))[1][-1] is News.DOUBLED


def test_lower_number_is_late() -> None:
    assert take((0.0, reading(seq=7, boot="a")), (0.1, reading(seq=6, boot="a")))[1][-1] is News.LATE


def test_older_stamp_is_late_where_no_number_is_given() -> None:
    assert take((0.0, reading(sent_utc_s=SENT_S)), (0.1, reading(sent_utc_s=SENT_S - 0.1)))[1][-1] is News.LATE


def test_readings_without_number_or_stamp_are_live_by_arrival() -> None:
    assert take((0.0, reading()), (1.0, reading()), (2.0, reading()))[1] == [News.LIVE] * 3


@pytest.mark.parametrize(("delay_s", "news"), [(2.9, News.LIVE), (3.0, News.LIVE), (3.1, News.LATE)])
def test_reading_buffered_over_three_seconds_is_late(delay_s: float, news: News) -> None:
    quick = (100.0, reading(seq=1, boot="a", sent_utc_s=SENT_S))
    buffered = (101.0 + delay_s, reading(seq=2, boot="a", sent_utc_s=SENT_S + 1.0))
    assert take(quick, buffered)[1][-1] is news


def test_burst_after_an_outage_is_old_until_it_has_caught_up() -> None:
    first = (0.0, reading(seq=0, boot="a", sent_utc_s=SENT_S))
    burst = [(60.0, reading(seq=n, boot="a", sent_utc_s=SENT_S + n)) for n in range(1, 61)]
    intake, news = take(first, *burst)
    assert news[1:57] == [News.LATE] * 56  # 59 to 4 s old
    assert news[57:] == [News.LIVE] * 4  # 3, 2, 1 and 0 s old
    assert intake.late_n == 56


def test_buffer_emptied_at_five_times_the_pace_is_old_until_it_has_caught_up() -> None:
    first = (0.0, reading(seq=0, boot="a", sent_utc_s=SENT_S))
    drained = [(60.0 + n / 5.0, reading(seq=n, boot="a", sent_utc_s=SENT_S + n)) for n in range(1, 76)]
    _, news = take(first, *drained)
    assert news[1:72] == [News.LATE] * 71  # 60 + n/5 - n is above 3 s up to n = 71
    assert news[72:] == [News.LIVE] * 4


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize("pace", [0.5, 1.0, 1.2])
def test_what_a_gateway_kept_during_an_outage_is_old_however_slowly_it_is_sent(numbered: bool, pace: float) -> None:
    """A queue sent at the pace it was taken never catches up; every reading of it is a minute old."""
    first = (0.0, reading(seq=0 if numbered else None, sent_utc_s=SENT_S))
    kept = [
        (60.0 + n / pace, reading(seq=1 + n if numbered else None, sent_utc_s=SENT_S + 1.0 + n)) for n in range(300)
    ]
    assert set(take(first, *kept, utc_minus_now_s=SENT_S)[1][1:]) == {News.LATE}
    assert set(take(first, *kept)[1][1:]) == {News.LATE}  # nor where the site has no clock


@pytest.mark.parametrize(("off_s", "news"), [(0.0, News.LIVE), (3.0, News.LIVE), (-3.0, News.LIVE), (3.1, News.LATE)])
def test_clock_set_back_during_an_outage_is_believed_where_it_agrees_with_the_sites(off_s: float, news: News) -> None:
    """It was 40 s fast, and is set right meanwhile: after three seconds its readings are news again."""
    first = (0.0, reading(seq=0, boot="a", sent_utc_s=SENT_S + 40.0))
    after = [(60.0 + n, reading(seq=1 + n, boot="a", sent_utc_s=SENT_S + 60.0 + n - off_s)) for n in range(6)]
    assert take(first, *after, utc_minus_now_s=SENT_S)[1] == [News.LIVE] + [News.LATE] * 3 + [news] * 3


def test_clock_that_is_slewed_right_is_late_for_three_seconds_at_most() -> None:
    """A sender's clock 5 s fast is turned back by 8 in 100 s, as a time daemon may: none of its readings is old."""
    lag_s = [min(-5.0 + 0.08 * n, 0.0) for n in range(120)]
    came = [(float(n), reading(seq=n, sent_utc_s=SENT_S + n - lag_s[n])) for n in range(120)]
    news = take(*came, utc_minus_now_s=SENT_S)[1]
    assert news.count(News.LATE) <= 3
    assert news[-1] is News.LIVE


@pytest.mark.parametrize("wrong_s", [-3.0e8, -3600.0, 3600.0, 3.0e8])
def test_wrong_clock_of_a_sender_changes_nothing(wrong_s: float) -> None:
    came = [(n * 0.2, reading(seq=n, boot="a", sent_utc_s=SENT_S + wrong_s + n * 0.2)) for n in range(20)]
    assert take(*came)[1] == [News.LIVE] * 20


@pytest.mark.parametrize("jump_s", [-86400.0, -5.0, 86400.0])
def test_clock_that_is_set_leaves_readings_live(jump_s: float) -> None:
    before = [(n * 0.2, reading(seq=n, boot="a", sent_utc_s=SENT_S + n * 0.2)) for n in range(10)]
    after = [(n * 0.2, reading(seq=n, boot="a", sent_utc_s=SENT_S + jump_s + n * 0.2)) for n in range(10, 20)]
    assert take(*before, *after)[1] == [News.LIVE] * 20


@pytest.mark.parametrize(("slow_ratio", "news"), [(0.0002, News.LIVE), (0.001, News.LIVE), (0.002, News.LATE)])
def test_clock_may_run_slow_by_a_thousandth(slow_ratio: float, news: News) -> None:
    """The worst quartz in the cold loses a ten-thousandth (common practice)."""
    came = [(float(n), reading(seq=n, boot="a", sent_utc_s=SENT_S + (1.0 - slow_ratio) * n)) for n in range(4000)]
    assert (News.LATE in take(*came)[1]) is (news is News.LATE)


def test_link_that_lags_more_and_more_brings_old_readings_in_the_end() -> None:
    """A link that carries 98.5 of 100 bytes: after some three minutes what it brings is three seconds old, and says so."""
    came = [(n / 2, reading(seq=n, boot="a", sent_utc_s=SENT_S + n / 2 * (1.0 - 0.015))) for n in range(1200)]
    news = take(*came, utc_minus_now_s=SENT_S)[1]
    first_late = news.index(News.LATE)
    assert 200.0 <= first_late / 2 <= 220.0
    assert set(news[first_late:]) == {News.LATE}


def test_readings_are_counted_as_they_come() -> None:
    intake, _ = take(*[(float(n), reading(seq=n, boot="a")) for n in range(5)])
    assert intake.live_n == 5


def test_number_given_once_and_then_left_out_is_live() -> None:
    assert take((0.0, reading(seq=7)), (0.1, reading()), (0.2, reading(seq=8)))[1] == [News.LIVE] * 3


def test_sender_that_begins_to_number_is_live() -> None:
    assert take((0.0, reading(sent_utc_s=SENT_S)), (0.1, reading(seq=1, sent_utc_s=SENT_S + 0.1)))[1][-1] is News.LIVE


@pytest.mark.parametrize(("later_s", "news"), [(0.0, News.LATE), (0.1, News.LIVE)])
def test_numbers_that_begin_anew_are_live_when_the_senders_clock_says_so(later_s: float, news: News) -> None:
    came = [(0.0, reading(seq=900, sent_utc_s=SENT_S)), (0.1, reading(seq=1, sent_utc_s=SENT_S + later_s))]
    assert take(*came)[1][-1] is news


def test_old_number_with_a_later_stamp_that_took_too_long_is_late() -> None:
    came = [(0.0, reading(seq=900, sent_utc_s=SENT_S)), (10.0, reading(seq=1, sent_utc_s=SENT_S + 1.0))]
    assert take(*came)[1][-1] is News.LATE


@pytest.mark.parametrize(("delay_s", "news"), [(3.0, News.LIVE), (3.1, News.LATE)])
def test_restart_that_empties_an_old_buffer_first_is_late_until_it_has_caught_up(delay_s: float, news: News) -> None:
    came = [(0.0, reading(seq=9, boot="a", sent_utc_s=SENT_S))]
    came += [(20.0, reading(seq=0, boot="b", sent_utc_s=SENT_S + 20.0 - delay_s))]
    assert take(*came)[1][-1] is news


def test_messages_of_any_of_the_last_runs_are_late() -> None:
    runs = [(float(n), reading(seq=0, boot=boot)) for n, boot in enumerate("abcd")]
    for boot in "abc":
        assert take(*runs, (9.0, reading(seq=5, boot=boot)))[1][-1] is News.LATE


def test_restarted_sender_is_live_at_once() -> None:
    _, news = take((0.0, reading(seq=900, boot="a")), (1.0, reading(seq=0, boot="b")))
    assert news[-1] is News.LIVE


def test_message_that_begins_a_new_run_is_counted_once() -> None:
    intake, news = take((0.0, reading(seq=900)), *((1.0 + n, reading(seq=n)) for n in range(5)))
    counts = intake.counts()
    assert (counts["live"], counts["late"]) == (news.count(News.LIVE), news.count(News.LATE)) == (3, 3)


def test_message_of_the_run_before_the_restart_is_late() -> None:
    came = [(0.0, reading(seq=900, boot="a")), (1.0, reading(seq=0, boot="b")), (1.1, reading(seq=901, boot="a"))]
    assert take(*came)[1][-1] is News.LATE


def test_restart_told_by_nothing_is_believed_after_three_seconds_of_it() -> None:
    before = (0.0, reading(seq=900))
    again = [(1.0 + n, reading(seq=n)) for n in range(5)]
    assert take(before, *again)[1] == [News.LIVE, News.LATE, News.LATE, News.LATE, News.LIVE, News.LIVE]


def test_old_messages_in_disorder_never_look_like_a_restart() -> None:
    before = (0.0, reading(seq=900))
    disorder = [(4.0 + n, reading(seq=seq)) for n, seq in enumerate([50, 40, 60, 30, 55, 20])]
    assert take(before, *disorder)[1][1:] == [News.LATE] * 6


def test_live_message_between_old_ones_keeps_them_old() -> None:
    came = [(0.0, reading(seq=900)), (1.0, reading(seq=1)), (2.0, reading(seq=2)), (2.5, reading(seq=901))]
    assert take(*came, (6.0, reading(seq=3)))[1][-2:] == [News.LIVE, News.LATE]


def test_numbers_left_out_are_counted_as_lost() -> None:
    intake, _ = take((0.0, reading(seq=1, boot="a")), (0.1, reading(seq=5, boot="a")), (0.2, reading(seq=6, boot="a")))
    assert intake.lost_n == 3


def test_restart_counts_nothing_as_lost() -> None:
    assert take((0.0, reading(seq=1, boot="a")), (0.1, reading(seq=500, boot="b")))[0].lost_n == 0


def test_refused_fields_are_counted() -> None:
    refused = (Refusal("circuits.A.vacuum_kpa", "not_finite", "nan"), Refusal("load_kg", "out_of_range", "1e9"))
    assert take((0.0, reading(refused=refused)))[0].refused_n == 2


def test_late_and_doubled_messages_change_nothing_but_their_counts() -> None:
    intake, _ = take((0.0, reading(seq=7, boot="a", sent_utc_s=SENT_S)))
    after, _ = judge(intake, reading(seq=6, boot="a", sent_utc_s=SENT_S - 1), 0.2, retained=False)
    after, _ = judge(after, reading(seq=7, boot="a", sent_utc_s=SENT_S), 0.3, retained=False)
    kept = ("seq", "boot", "arrived_s", "sent_utc_s", "least_lag_s", "live_n")
    assert [getattr(after, name) for name in kept] == [getattr(intake, name) for name in kept]


def test_buffer_emptied_after_a_restart_is_old_news() -> None:
    before = (0.0, reading(boot="b", seq=1, sent_utc_s=1000.0))
    flushed = [(20.0 + n / 20, reading(boot="c", seq=n, sent_utc_s=400.0 + n)) for n in range(20)]
    assert set(take(before, *flushed)[1][1:]) == {News.LATE}


def test_what_comes_of_an_older_boot_stays_late() -> None:
    boots = [(float(n), reading(boot=boot, seq=1, sent_utc_s=1000.0 + n)) for n, boot in enumerate("bxy")]
    assert take(*boots, (3.0, reading(boot="b", seq=2, sent_utc_s=1001.0)))[1][-1] is News.LATE


def test_two_senders_of_one_name_do_not_hide_each_other() -> None:
    said = [(0.1 * n, reading(boot="ab"[n % 2], seq=9 * (n % 2) + n, sent_utc_s=SENT_S + 0.1 * n)) for n in range(8)]
    assert set(take(*said)[1]) == {News.LIVE}


def test_leftover_of_a_boot_that_is_over_is_late() -> None:
    old, new = reading(boot="a", seq=7, sent_utc_s=SENT_S), reading(boot="b", seq=0, sent_utc_s=SENT_S + 1.0)
    leftover = reading(boot="a", seq=8, sent_utc_s=SENT_S + 0.5)
    assert take((0.0, old), (1.0, new), (1.1, leftover))[1][-1] is News.LATE


# --- a sender that began anew, told from a buffer being emptied


@pytest.mark.parametrize(("apart_s", "news"), [(1.49, News.LATE), (1.5, News.LIVE)])
def test_three_old_numbers_in_a_row_are_a_new_run_after_three_seconds(apart_s: float, news: News) -> None:
    again = [(1.0 + apart_s * n, reading(seq=n)) for n in range(3)]
    assert take((0.0, reading(seq=900)), *again)[1][-1] is news


@pytest.mark.parametrize("numbered", [True, False])
@pytest.mark.parametrize(("boot", "news"), [("a", News.LATE), (None, News.LIVE)])
def test_old_tape_of_a_named_run_stays_old_at_any_pace(boot: str | None, news: News, numbered: bool) -> None:
    """Stamps of one run that stand before its newest: by the sender's own word these were heard already."""
    first = (0.0, reading(seq=900, boot=boot, sent_utc_s=SENT_S))
    tape = [
        (10.0 + n, reading(seq=n if numbered else None, boot=boot, sent_utc_s=SENT_S - 900.0 + n)) for n in range(60)
    ]
    assert (
        take(first, *tape, utc_minus_now_s=SENT_S)[1][-1] is news
    )  # unnamed, it may be a restart with its clock set back


def test_sender_that_counts_anew_with_its_clock_behind_is_news_after_three_seconds() -> None:
    """Switched off for 40 s, it took its clock up where it stood: a later stamp on an earlier count is no queue."""
    first = (0.0, reading(seq=900, boot="a", sent_utc_s=SENT_S))
    again = [(40.0 + n, reading(seq=n, boot="a", sent_utc_s=SENT_S + 1.0 + n)) for n in range(5)]
    assert take(first, *again, utc_minus_now_s=SENT_S)[1] == [News.LIVE] + [News.LATE] * 3 + [News.LIVE] * 2


def test_earlier_count_under_the_newest_stamp_is_old_in_a_named_run() -> None:
    first = (0.0, reading(seq=900, boot="a", sent_utc_s=SENT_S))
    again = [(40.0 + n, reading(seq=n, boot="a", sent_utc_s=SENT_S)) for n in range(5)]
    assert set(take(first, *again, utc_minus_now_s=SENT_S)[1][1:]) == {News.LATE}


def test_numbers_that_wrap_around_are_news_after_three_seconds_even_in_a_named_run() -> None:
    wrapped = [(1.0 + n, reading(seq=n, boot="a")) for n in range(5)]
    assert take((0.0, reading(seq=65_535, boot="a")), *wrapped)[1][-1] is News.LIVE


def test_two_old_numbers_are_no_new_run_however_long_they_take() -> None:
    assert take((0.0, reading(seq=900)), (1.0, reading(seq=1)), (9.0, reading(seq=2)))[1][-1] is News.LATE


@pytest.mark.parametrize(("pace", "news"), [(1.25, News.LIVE), (1.26, News.LATE)])
def test_run_that_comes_a_quarter_faster_than_its_stamps_is_a_buffer(pace: float, news: News) -> None:
    first = (0.0, reading(sent_utc_s=SENT_S))
    again = [(100.0 + 2.0 * n, reading(sent_utc_s=SENT_S - 1000.0 + 2.0 * pace * n)) for n in range(3)]
    assert take(first, *again)[1][-1] is news


def test_new_run_is_timed_by_its_own_clock_from_then_on() -> None:
    first = (0.0, reading(sent_utc_s=SENT_S))
    again = [(100.0 + n, reading(sent_utc_s=SENT_S - 1000.0 + n)) for n in range(6)]
    intake, news = take(first, *again)
    assert news[1:] == [News.LATE] * 3 + [News.LIVE] * 3
    assert intake.least_lag_s == pytest.approx(1100.0 - SENT_S)


@pytest.mark.parametrize(("boots_n", "news"), [(8, News.LATE), (9, News.LIVE)])
def test_the_last_eight_runs_of_a_sender_are_remembered(boots_n: int, news: News) -> None:
    runs = [(float(n), reading(seq=0, boot=str(n))) for n in range(boots_n + 1)]
    assert take(*runs, (50.0, reading(seq=9, boot="0")))[1][-1] is news


# --- the sender's clock


def test_quickest_reading_tells_the_lag_and_a_slower_one_hardly_moves_it() -> None:
    came = [(0.0, reading(seq=0, sent_utc_s=-10.0)), (1.0, reading(seq=1, sent_utc_s=-9.5))]
    assert take(*came)[0].least_lag_s == pytest.approx(10.001)  # a thousandth of the second it took
    assert take(*came, (2.0, reading(seq=2, sent_utc_s=-7.5)))[0].least_lag_s == 9.5


def test_clock_set_back_or_a_restart_begins_the_lag_anew() -> None:
    first = (0.0, reading(seq=0, boot="a", sent_utc_s=-10.0))
    assert take(first, (1.0, reading(seq=1, boot="a", sent_utc_s=-50.0)))[0].least_lag_s == 51.0
    assert take(first, (1.0, reading(seq=0, boot="b", sent_utc_s=-11.5)))[0].least_lag_s == 12.5


def test_reading_without_a_stamp_keeps_the_lag_and_the_last_stamp() -> None:
    intake, _ = take((0.0, reading(seq=0, sent_utc_s=-10.0)), (1.0, reading(seq=1)))
    assert (intake.least_lag_s, intake.sent_utc_s, intake.arrived_s) == (10.0, -10.0, 1.0)


def heard(lag_s: float | None, arrived_s: float | None = 100.0) -> Intake:
    return Intake(least_lag_s=lag_s, arrived_s=arrived_s)


@pytest.mark.parametrize(
    ("streams", "worst_s"),
    [
        ([heard(1.0), heard(3.0), heard(2.0)], 3.0),
        ([heard(-8.0), heard(3.0)], -8.0),  # further off is further off, early or late
        ([heard(None), heard(3.0)], 3.0),
        ([heard(9.0, 40.0), heard(3.0)], 9.0),  # heard a minute ago
        ([heard(9.0, 39.9), heard(3.0)], 3.0),
        ([heard(9.0, None), heard(3.0)], 3.0),
        ([heard(None)], None),
        (
            [Intake(least_lag_s=1.0, arrived_s=40.0, behind_arrived_s=99.0, behind_sent_utc_s=39.0)],
            60.0,
        ),  # only late ones
        (
            [Intake(least_lag_s=1.0, arrived_s=99.0, behind_arrived_s=99.5)],
            1.0,
        ),  # a late one without a stamp says nothing
        ([Intake(least_lag_s=1.0, arrived_s=39.0, behind_arrived_s=39.9, behind_sent_utc_s=9.0)], None),
        ([], None),
    ],
)
def test_clock_furthest_off_of_the_senders_heard_within_a_minute_is_told(
    streams: list[Intake], worst_s: float | None
) -> None:
    assert worst_lag_s(streams, 100.0, 0.0) == worst_s
    if worst_s is not None and worst_s > 0.0:
        assert worst_lag_s(streams, 100.0, 5.0) == worst_s + 5.0


# --- counts


@pytest.mark.parametrize(
    ("seq", "after_s", "lost_n"), [(102, 0.1, 100), (103, 0.1, 0), (60_002, 600.0, 60_000), (2**31, 0.1, 0)]
)
def test_more_than_could_have_been_sent_meanwhile_is_a_count_that_began_anew(
    seq: int, after_s: float, lost_n: int
) -> None:
    assert take((0.0, reading(seq=1)), (after_s, reading(seq=seq)))[0].lost_n == lost_n


@pytest.mark.parametrize(("seq", "lost_n"), [(2, 0), (3, 1), (12, 10)])
def test_each_number_left_out_is_one_lost(seq: int, lost_n: int) -> None:
    assert take((0.0, reading(seq=1)), (0.1, reading(seq=seq)))[0].lost_n == lost_n


def test_what_others_judged_is_counted_by_its_kind() -> None:
    for news in News:
        assert counted(Intake(), news).counts() == {**Intake().counts(), news.value: 1}
        assert counted(counted(Intake(), news), news).counts()[news.value] == 2


def test_messages_that_never_came_are_added_up() -> None:
    assert missing(missing(Intake(), 3), 2).counts()["lost"] == 5


@pytest.mark.parametrize(("took_s", "news"), [(3.0, News.LIVE), (3.1, News.LATE)])
def test_numbers_that_begin_anew_may_take_three_seconds_longer_than_the_quickest(took_s: float, news: News) -> None:
    came = [(0.0, reading(seq=900, sent_utc_s=SENT_S)), (1.0 + took_s, reading(seq=1, sent_utc_s=SENT_S + 1.0))]
    assert take(*came)[1][-1] is news


def test_the_same_old_message_again_and_again_is_no_new_run() -> None:
    by_number = [(1.0 + n, reading(seq=5)) for n in range(6)]
    assert set(take((0.0, reading(seq=900)), *by_number)[1][1:]) == {News.LATE}
    by_stamp = [(1.0 + n, reading(sent_utc_s=SENT_S - 50.0)) for n in range(6)]
    assert set(take((0.0, reading(sent_utc_s=SENT_S)), *by_stamp)[1][1:]) == {News.LATE}


def test_old_message_before_two_in_a_row_does_not_count_with_them() -> None:
    came = [(1.0, reading(seq=50)), (2.0, reading(seq=40)), (6.0, reading(seq=41))]
    assert take((0.0, reading(seq=900)), *came)[1][-1] is News.LATE


def test_new_run_whose_sender_tells_no_time_any_more_is_believed() -> None:
    again = [(1.0, reading(seq=1, sent_utc_s=SENT_S - 90.0)), (3.0, reading(seq=2)), (5.0, reading(seq=3))]
    assert take((0.0, reading(seq=900, sent_utc_s=SENT_S)), *again)[1][-1] is News.LIVE


def test_sender_that_names_its_run_only_now_and_then_is_live() -> None:
    came = [(0.0, reading()), (1.0, reading(boot="a")), (2.0, reading()), (3.0, reading(boot="b")), (4.0, reading())]
    assert take(*came)[1] == [News.LIVE] * 5


def test_coarse_clock_that_tells_the_same_second_twice_does_not_begin_the_lag_anew() -> None:
    came = [(0.0, reading(seq=0, sent_utc_s=-10.0)), (0.5, reading(seq=1, sent_utc_s=-10.0))]
    assert take(*came)[0].least_lag_s == pytest.approx(10.0005)  # a thousandth of the half second


def test_gaps_add_up() -> None:
    assert take(*[(float(n), reading(seq=seq)) for n, seq in enumerate([1, 5, 6, 9])])[0].lost_n == 5


@pytest.mark.parametrize(
    ("sent_utc_s", "alarm", "news"),
    [
        (110.0, True, News.LIVE),
        (107.0, True, News.LIVE),  # 3 s later than the quickest so far
        (106.9, True, News.LATE),
        (106.9, False, News.LATE),
        (None, True, News.LIVE),
    ],
)
def test_alarm_that_comes_by_itself_is_judged_by_its_stamp_and_outside_the_count(sent_utc_s, alarm, news) -> None:
    first, _ = take((0.0, reading(seq=7, sent_utc_s=100.0)))
    part = Reading("dock-6", {}, sent_utc_s=sent_utc_s, lifter_alarm=alarm)
    after, told = judge(first, part, 10.0, retained=False)
    assert told is news
    assert after == counted(first, news)
    assert (after.seq, after.arrived_s) == (first.seq, first.arrived_s)


@pytest.mark.parametrize("named", [{"seq": 7}, {"boot": "b", "seq": 7}])
def test_alarm_by_itself_that_is_numbered_stands_in_the_count(named) -> None:
    first, _ = take((0.0, reading(sent_utc_s=100.0, **named)))
    part = Reading("dock-6", {}, sent_utc_s=110.0, lifter_alarm=True, **named)
    assert judge(first, part, 10.0, retained=False)[1] is News.DOUBLED
