"""What is remembered of one run of a sender when another begins, and of late messages when a live one comes."""

import pytest

from monitor.core.intake import Intake, News, judge, worst_lag_s
from monitor.core.readings import CircuitReading, Reading


def reading(**given: object) -> Reading:
    return Reading("dock-6", {"A": CircuitReading(60.0)}, **given)  # type: ignore[arg-type]


def take(*arrivals: tuple[float, Reading]) -> tuple[Intake, list[News]]:
    intake, news = Intake(), []
    for now_s, came in arrivals:
        intake, kind = judge(intake, came, now_s, retained=False)
        news.append(kind)
    return intake, news


@pytest.mark.parametrize(
    ("before", "after", "lost_n"),
    [
        pytest.param({"seq": 1, "boot": "a"}, {"seq": 50, "boot": "a"}, 48, id="the same run"),
        pytest.param({"seq": 1, "boot": "a"}, {"seq": 50, "boot": "b"}, 0, id="another run"),
        pytest.param({"seq": 1}, {"seq": 50, "boot": "b"}, 0, id="a run that has a name now"),
        pytest.param({"boot": "a"}, {"seq": 50, "boot": "a"}, 0, id="counted only now"),
        pytest.param({"seq": 1, "boot": "a"}, {"boot": "a"}, 0, id="counted no more"),
    ],
)
def test_numbers_left_out_are_lost_within_one_run_that_is_counted(
    before: dict[str, object], after: dict[str, object], lost_n: int
) -> None:
    assert take((0.0, reading(**before)), (1.0, reading(**after)))[0].lost_n == lost_n


@pytest.mark.parametrize(("seq", "lost_n"), [(102, 100), (103, 0)])
def test_what_could_have_been_sent_is_reckoned_from_the_last_arrival(seq: int, lost_n: int) -> None:
    """A hundred a second at most, and one second at least, at whatever hour."""
    assert take((90_000.0, reading(seq=1)), (90_000.1, reading(seq=seq)))[0].lost_n == lost_n


@pytest.mark.parametrize("numbered", [True, False])
def test_late_ones_before_a_live_one_do_not_count_towards_a_new_run(numbered: bool) -> None:
    """Three in a row within a second and a half are no new run, though the first late ones came six seconds ago."""

    def late(n: int) -> Reading:
        return reading(seq=n) if numbered else reading(sent_utc_s=1000.0 + n)

    live = reading(seq=901) if numbered else reading(sent_utc_s=9001.0)
    first = reading(seq=900) if numbered else reading(sent_utc_s=9000.0)
    came = [(0.0, first), (1.0, late(1)), (2.0, late(2)), (2.5, live)]
    came += [(6.0, late(3)), (6.7, late(4)), (7.4, late(5))]
    intake, news = take(*came)
    assert news == [News.LIVE, News.LATE, News.LATE, News.LIVE, *[News.LATE] * 3]
    assert intake.behind_from[0] == 6.0


def test_live_one_forgets_the_late_ones() -> None:
    intake, _ = take((0.0, reading(seq=9, sent_utc_s=50.0)), (1.0, reading(seq=8, sent_utc_s=49.0)))
    assert (intake.behind_n, intake.behind_seq, intake.behind_sent_utc_s, intake.behind_arrived_s) == (1, 8, 49.0, 1.0)
    intake, _ = judge(intake, reading(seq=10, sent_utc_s=51.0), 1.5, retained=False)
    assert (intake.behind_n, intake.behind_seq, intake.behind_sent_utc_s, intake.behind_arrived_s) == (0, *[None] * 3)


def test_clock_of_a_sender_heard_late_only_is_judged_by_its_newest_late_message() -> None:
    """Stamped 1010 s and here at 60 s: 950 s ahead, where the first was ahead by 1000 s."""
    intake, news = take((0.0, reading(sent_utc_s=1000.0)), (60.0, reading(sent_utc_s=1010.0)))
    assert news == [News.LIVE, News.LATE]
    assert worst_lag_s([intake], 61.0, 0.0) == -950.0


@pytest.mark.parametrize(
    ("said", "in_order"),
    [
        pytest.param({"circuits": {}, "lifter_alarm": True}, False, id="the alarm by itself"),
        pytest.param({"circuits": {}, "lifter_alarm": False}, False, id="that it is over, by itself"),
        pytest.param({"lifter_alarm": True}, True, id="a vacuum beside it"),
        pytest.param({"circuits": {}, "load_kg": 600.0}, True, id="a load and no alarm"),
        pytest.param({}, True, id="a vacuum"),
    ],
)
def test_only_an_alarm_by_itself_says_nothing_of_the_readings_order(said: dict[str, object], in_order: bool) -> None:
    told = Reading("dock-6", **{"circuits": {"A": CircuitReading(60.0)}, "sent_utc_s": 100.0, **said})  # type: ignore[arg-type]
    intake, news = judge(Intake(), told, 5.0, retained=False)
    assert news is News.LIVE
    assert intake.arrived_s == (5.0 if in_order else None)
