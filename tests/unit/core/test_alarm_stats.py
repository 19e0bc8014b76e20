"""Alarm figures of the standards, each on both sides of its limit.

Source: ISA-18.2 / IEC 62682 and EEMUA 191 as alarm-management trade texts quote them.
"""

import pytest

from monitor.core.alarm_stats import AlarmMove, Standing, Statistics, Which, statistics
from monitor.core.alarm_table import Priority

T0 = 1_764_019_200.0
HOUR_S = 3600.0
STATES = {
    "raised": "unacknowledged",
    "acknowledged": "acknowledged",
    "returned": "returned_unacknowledged",
    "cleared": "normal",
    "latched": "latched_acknowledged",
}


def move(at_s: float, moved: str = "raised", key: str = "battery_low", about: str = "", n: int = 1) -> AlarmMove:
    name = "returned" if moved == "latched" else moved
    raising = f"dock-6/{about or 'lifter'}/{key}/{n}"
    return AlarmMove(T0 + at_s, "dock-6", raising, key, about, name, STATES[moved])


def stats(*moves: AlarmMove, for_s: float = HOUR_S) -> Statistics:
    return statistics(moves, T0, T0 + for_s)


def raisings(*at_s: float) -> list[AlarmMove]:
    """Raisings of ever other alarms, cleared in the same instant: counts without standing alarms."""
    moves: list[AlarmMove] = []
    for number, second in enumerate(at_s):
        moves += [move(second, n=number), move(second, "cleared", n=number)]
    return moves


def test_nothing_is_nothing() -> None:
    said = stats()
    assert (said.raised_n, said.mean_in_ten_minutes, said.most_in_ten_minutes, said.floods_n) == (0, 0.0, 0, 0)
    assert (said.chattering, said.standing, said.stale_n, said.longest_unacknowledged, said.top_ratio) == (
        (),
        (),
        0,
        None,
        0.0,
    )


@pytest.mark.parametrize("for_s", [0.0, -1.0])
def test_span_without_length_is_refused(for_s: float) -> None:
    with pytest.raises(ValueError, match="no length"):
        stats(for_s=for_s)


def test_counts_by_ten_minutes() -> None:
    said = stats(*raisings(0.0, 599.9, 600.0, 3599.0, 3600.0))
    assert said.by_interval_n == (2, 1, 0, 0, 0, 2)  # the very end belongs to the last
    assert (said.raised_n, said.most_in_ten_minutes) == (5, 2)
    assert said.mean_in_ten_minutes == pytest.approx(5 / 6)


def test_short_last_interval_counts_and_the_mean_is_by_time() -> None:
    said = stats(*raisings(10.0, 610.0), for_s=900.0)
    assert said.by_interval_n == (1, 1)
    assert said.mean_in_ten_minutes == pytest.approx(2 / 1.5)


def test_moves_outside_the_span_are_not_counted() -> None:
    said = stats(*raisings(-0.1), *raisings(1.0), *raisings(HOUR_S + 0.1))
    assert said.raised_n == 1


def interval_counts(*counts: int) -> Statistics:
    at_s = [600.0 * place + 0.5 * number for place, count in enumerate(counts) for number in range(count)]
    return stats(*raisings(*at_s), for_s=600.0 * len(counts))


@pytest.mark.parametrize(
    ("counts", "floods_n", "flooded_n"),
    [
        ((10,), 0, 0),
        ((11,), 1, 1),
        ((11, 5, 10, 4, 0), 1, 3),
        ((11, 4, 11), 2, 2),
        ((5, 11, 11), 1, 2),
    ],
)
def test_flood_begins_above_ten_and_ends_under_five(counts: tuple[int, ...], floods_n: int, flooded_n: int) -> None:
    said = interval_counts(*counts)
    assert said.floods_n == floods_n
    assert said.flood_ratio == pytest.approx(flooded_n / len(counts))


@pytest.mark.parametrize(("last_s", "chattering"), [(60.0, True), (60.1, False)])
def test_three_changes_in_a_minute_chatter(last_s: float, chattering: bool) -> None:
    said = stats(move(0.0), move(30.0, "returned"), move(last_s, n=2))
    assert said.chattering == (((Which("dock-6", "battery_low", ""), 3),) if chattering else ())


def test_acknowledge_and_a_new_raising_of_what_stands_are_no_change() -> None:
    said = stats(move(0.0), move(10.0, "acknowledged"), move(20.0, n=2), move(30.0, "acknowledged", n=2))
    assert said.chattering == ()
    assert said.raised_n == 2


def test_two_circuits_do_not_chatter_together() -> None:
    moves = [
        move(0.0, about="A"),
        move(10.0, about="B"),
        move(20.0, "returned", about="A"),
        move(30.0, "returned", about="B"),
    ]
    assert stats(*moves).chattering == ()


@pytest.mark.parametrize(("since_s", "stale_n"), [(0.0, 0), (-0.1, 1)])
def test_stale_is_more_than_a_day(since_s: float, stale_n: int) -> None:
    said = stats(move(since_s), for_s=86_400.0)
    assert said.stale_n == stale_n
    assert said.standing[0].for_s == pytest.approx(86_400.0 - since_s)


def test_what_stands_at_the_end_is_told_the_longest_first() -> None:
    said = stats(
        move(10.0),
        move(20.0, key="over_plan"),
        move(5.0, key="wind_over_limit"),
        move(30.0, "latched", key="over_plan"),
    )
    assert [one.which.key for one in said.standing] == ["wind_over_limit", "battery_low"]
    assert said.standing[0].for_s == HOUR_S - 5.0


def test_longest_unacknowledged_runs_from_raising_to_acknowledge_whether_it_is_over_or_not() -> None:
    said = stats(
        move(0.0), move(50.0, "returned"), move(200.0, "cleared"), move(300.0, n=2), move(350.0, "acknowledged", n=2)
    )
    longest = said.longest_unacknowledged
    assert longest is not None
    assert (longest.for_s, longest.ended, longest.raising) == (200.0, True, "dock-6/lifter/battery_low/1")


def test_new_raising_begins_a_new_wait() -> None:
    said = stats(move(0.0), move(50.0, "returned"), move(70.0, n=2), move(100.0, "acknowledged", n=2))
    assert said.longest_unacknowledged is not None
    assert said.longest_unacknowledged.for_s == 70.0


def test_wait_that_goes_on_at_the_end_counts_and_one_that_ended_before_the_span_does_not() -> None:
    said = stats(move(-500.0, key="over_plan"), move(-10.0, "acknowledged", key="over_plan"), move(3500.0))
    assert said.longest_unacknowledged is not None
    assert (said.longest_unacknowledged.for_s, said.longest_unacknowledged.ended) == (100.0, False)


def test_priorities_are_those_of_the_table() -> None:
    said = stats(
        move(1.0, key="vacuum_low", about="B"), move(2.0), move(3.0, key="clock_wrong"), move(4.0, key="gone_since")
    )
    assert said.by_priority_n == {Priority.HIGH: 1, Priority.MEDIUM: 1, Priority.LOW: 1}
    assert said.raised_n == 4  # one of an older version's alarms is counted, without a priority


def test_most_frequent_are_ten_at_most_and_their_share() -> None:
    moves = [move(float(n), key=f"k{n % 12}", n=n) for n in range(24)]
    said = stats(*moves)
    assert len(said.most_frequent) == 10
    assert {number for _, number in said.most_frequent} == {2}
    assert said.top_ratio == pytest.approx(20 / 24)


def test_what_stands_and_what_waits_is_told_whole() -> None:
    said = stats(move(10.0, about="A", n=7), move(HOUR_S + 9.0), move(20.0, key="over_plan"))
    which = Which("dock-6", "battery_low", "A")
    told = Standing(which, "dock-6/A/battery_low/7", T0 + 10.0, HOUR_S - 10.0, ended=False)
    assert (said.standing[0], said.longest_unacknowledged) == (told, told)
    assert said.raised_n == 2  # what comes after the end hides nothing that comes before it
    assert (said.from_utc_s, said.to_utc_s) == (T0, T0 + HOUR_S)
    over = stats(move(10.0, about="A", n=7), move(40.0, "acknowledged", about="A", n=7)).longest_unacknowledged
    assert over == Standing(which, "dock-6/A/battery_low/7", T0 + 10.0, 30.0, ended=True)


def test_wait_that_ends_with_the_beginning_of_the_span_counts() -> None:
    said = stats(move(-30.0), move(0.0, "acknowledged"))
    assert said.longest_unacknowledged is not None
    assert said.longest_unacknowledged.for_s == 30.0


def test_every_raising_counts_by_its_priority() -> None:
    assert stats(*raisings(1.0, 2.0, 3.0)).by_priority_n[Priority.MEDIUM] == 3


def test_changes_chatter_wherever_in_a_longer_history_they_lie() -> None:
    moves = [move(100.0 * n, "raised" if n % 2 == 0 else "returned", n=n) for n in range(6)]
    late = [move(600.0 + 20.0 * n, "raised" if n % 2 == 0 else "returned", n=10 + n) for n in range(4)]
    assert stats(*moves, *late).chattering[0][1] == 4
    close = [move(at_s, "returned" if n % 2 else "raised", n=n) for n, at_s in enumerate((0.0, 10.0, 61.0, 65.0))]
    assert stats(*close).chattering[0][1] == 3  # the last three


def test_clock_set_back_leaves_nothing_standing_and_makes_no_chatter() -> None:
    """Raised at 2000 s and over a minute later, by a clock that was set back half an hour between; then twice more."""
    moves = [move(2000.0), move(260.0, "cleared"), move(320.0, n=2), move(380.0, "cleared", n=2)]
    said = stats(*moves)
    assert said.standing == ()
    assert said.chattering == ()
    assert said.raised_n == 2
    longest = said.longest_unacknowledged
    assert longest is not None
    assert (longest.for_s, longest.ended, longest.raising) == (60.0, True, "dock-6/lifter/battery_low/2")


def test_chatter_after_the_clock_was_set_back_is_still_found() -> None:
    assert stats(move(2000.0), move(260.0, "cleared"), move(290.0), move(320.0, "cleared")).chattering[0][1] == 3


def test_what_waited_half_a_second_waited_half_a_second() -> None:
    longest = stats(move(260.0), move(260.5, "cleared")).longest_unacknowledged
    assert longest is not None
    assert longest.for_s == 0.5
