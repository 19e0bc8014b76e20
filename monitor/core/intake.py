"""Is this message news: live, doubled, late, or a retained leftover?

Judged by arrival. The sender's own clock only ever makes a reading *older*: it may be wrong, jump or be missing.
Old readings that were buffered during an outage and come in a burst fill the record, never the live call.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from monitor.core.readings import Reading

LATE_AFTER_S: Final = 3.0
"""A reading that took this much longer than the quickest of its kind is old news (the shortest staleness, rule 1)."""

LOST_MOST_PER_S: Final = 100.0
"""No lifter sends so often (common practice: 1 to 20 a second). A count that jumped further began anew: nothing was lost."""

LAG_CREEP_RATIO: Final = 0.001
"""A sender's clock may run slow by this much: ten times the worst quartz (common practice). A link too slow for its data lags
by more, and what it brings grows old."""

RETIRED_KEPT_N: Final = 8

HEARD_LATELY_S: Final = 60.0
"""A sender that was silent for longer says nothing about its clock any more."""

NEW_RUN_N: Final = 3
NEW_RUN_PACE: Final = 1.25
"""So many late readings that follow one another for ``LATE_AFTER_S``, with nothing newer between them, and no faster than
their stamps say: the sender began anew. A buffer being emptied comes faster. Where count and stamps run on, a gateway may send
what it kept at the pace it was taken: then only stamps that agree with this site's clock tell news."""


class News(StrEnum):
    """What a message is, before a single value in it is looked at."""

    LIVE = "live"
    DOUBLED = "doubled"
    LATE = "late"
    RETAINED = "retained"


@dataclass(frozen=True, slots=True)
class Intake:
    """What is remembered of a lifter's messages to tell new from old. Counts are since the engine began."""

    boot: str | None = None
    retired_boots: tuple[str, ...] = ()
    seq: int | None = None
    sent_utc_s: float | None = None
    arrived_s: float | None = None
    least_lag_s: float | None = None
    behind_n: int = 0
    behind_seq: int | None = None
    behind_sent_utc_s: float | None = None
    behind_from: tuple[float, float | None] = (0.0, None)  # arrival and stamp of the first that follow one another
    behind_arrived_s: float | None = None
    live_n: int = 0
    doubled_n: int = 0
    late_n: int = 0
    retained_n: int = 0
    rejected_n: int = 0
    refused_n: int = 0
    lost_n: int = 0

    def counts(self) -> dict[str, int]:
        """What came of the messages, by name."""
        kinds = ("live", "doubled", "late", "retained", "rejected", "refused", "lost")
        return {kind: getattr(self, f"{kind}_n") for kind in kinds}


def judge(
    intake: Intake, reading: Reading, now_s: float, *, retained: bool, utc_minus_now_s: float | None = None
) -> tuple[Intake, News]:
    """Say what kind of news ``reading`` is, and remember it.

    Args:
        intake: What is remembered of the sender.
        reading: What came.
        now_s: Engine time of arrival.
        retained: Whether it was a leftover.
        utc_minus_now_s: UTC of this site minus engine time, s; None where it is not known.
    """
    if retained:
        return replace(intake, retained_n=intake.retained_n + 1), News.RETAINED
    by_itself = reading.lifter_alarm is not None and not reading.circuits
    if by_itself and reading.seq is None and reading.boot is None:
        # An alarm by itself, outside the sender's count: it says nothing of the readings' order.
        lateness_s = _lateness_s(intake, reading, now_s)
        news = News.LATE if lateness_s is not None and lateness_s > LATE_AFTER_S else News.LIVE
        return counted(intake, news), news
    if intake.arrived_s is None:
        return _live(intake, reading, now_s), News.LIVE
    news = _order(intake, reading, now_s)
    if news is News.DOUBLED:
        return replace(intake, doubled_n=intake.doubled_n + 1), news
    if news is News.LATE:
        behind = _behind(intake, reading, now_s)
        if _began_anew(behind, now_s) and not _old_of_this_run(intake, reading, now_s, utc_minus_now_s):
            anew = replace(behind, least_lag_s=None, late_n=intake.late_n)  # this one is counted as live
            return _live(anew, reading, now_s), News.LIVE
        return behind, news
    return _live(intake, reading, now_s), News.LIVE


def counted(intake: Intake, news: News) -> Intake:
    """Count what is known not to be live, or not to be this lifter's own sender's to judge."""
    match news:
        case News.DOUBLED:
            return replace(intake, doubled_n=intake.doubled_n + 1)
        case News.LATE:
            return replace(intake, late_n=intake.late_n + 1)
        case News.RETAINED:
            return replace(intake, retained_n=intake.retained_n + 1)
        case News.LIVE:
            return replace(intake, live_n=intake.live_n + 1)


def missing(intake: Intake, n: int) -> Intake:
    """Count messages that never came, where somebody else keeps the sender's count."""
    return replace(intake, lost_n=intake.lost_n + n)


def worst_lag_s(streams: Iterable[Intake], now_s: float, utc_minus_now_s: float) -> float | None:
    """UTC minus the clock of the sender that is furthest off, s, among those heard lately; None where none tells a time.

    Where a sender is heard late only, its newest late stamp counts.
    """
    lags_s: list[float] = []
    for one in streams:
        if one.behind_arrived_s is not None and one.behind_sent_utc_s is not None:
            arrived_s, lag_s = one.behind_arrived_s, one.behind_arrived_s - one.behind_sent_utc_s
        elif one.arrived_s is not None and one.least_lag_s is not None:
            arrived_s, lag_s = one.arrived_s, one.least_lag_s
        else:
            continue
        if now_s - arrived_s <= HEARD_LATELY_S:
            lags_s.append(lag_s + utc_minus_now_s)
    return max(lags_s, key=abs, default=None)


def _order(intake: Intake, reading: Reading, now_s: float) -> News:
    """Order by boot, then by sequence number, then by the sender's clock; arrival has the last word."""
    lateness_s = _lateness_s(intake, reading, now_s)
    sent_later = (
        reading.sent_utc_s is not None and intake.sent_utc_s is not None and reading.sent_utc_s > intake.sent_utc_s
    )
    if reading.boot != intake.boot:
        buffered = lateness_s is not None and lateness_s > LATE_AFTER_S  # a restart may empty an old buffer first
        # What was sent after the newest is no leftover: two senders use one name, and neither may hide the other.
        over = reading.boot in intake.retired_boots and not (sent_later and lateness_s is not None)
        return News.LATE if buffered or over else News.LIVE
    if reading.seq is not None and intake.seq is not None:
        if reading.seq == intake.seq:
            return News.DOUBLED
        if reading.seq < intake.seq:
            started_anew = sent_later and lateness_s is not None and lateness_s <= LATE_AFTER_S
            return News.LIVE if started_anew else News.LATE
        if not sent_later:
            return News.LIVE  # the sender's clock was set back, or it has none
    elif reading.sent_utc_s is not None and intake.sent_utc_s is not None and not sent_later:
        return News.DOUBLED if reading.sent_utc_s == intake.sent_utc_s else News.LATE
    return News.LATE if lateness_s is not None and lateness_s > LATE_AFTER_S else News.LIVE


def _lateness_s(intake: Intake, reading: Reading, now_s: float) -> float | None:
    """How much longer this reading took than the quickest so far, or ``None`` without clocks to tell."""
    if reading.sent_utc_s is None or intake.least_lag_s is None:
        return None
    return now_s - reading.sent_utc_s - intake.least_lag_s


def _behind(intake: Intake, reading: Reading, now_s: float) -> Intake:
    """Count a late reading, and whether it follows the late one before it."""
    follows = (
        intake.behind_seq is not None and reading.seq > intake.behind_seq
        if reading.seq is not None
        else reading.sent_utc_s is not None
        and intake.behind_sent_utc_s is not None
        and reading.sent_utc_s > intake.behind_sent_utc_s
    )
    return replace(
        intake,
        late_n=intake.late_n + 1,
        behind_n=intake.behind_n + 1 if follows else 1,
        behind_seq=reading.seq,
        behind_sent_utc_s=reading.sent_utc_s,
        behind_from=intake.behind_from if follows else (now_s, reading.sent_utc_s),
        behind_arrived_s=now_s,
    )


def _began_anew(behind: Intake, now_s: float) -> bool:
    """Whether the late readings are a new run of the sender, not old ones out of its buffer."""
    from_s, from_sent_utc_s = behind.behind_from
    took_s = now_s - from_s
    if behind.behind_n < NEW_RUN_N or took_s < LATE_AFTER_S:
        return False
    if behind.behind_sent_utc_s is None or from_sent_utc_s is None:
        return True
    return behind.behind_sent_utc_s - from_sent_utc_s <= NEW_RUN_PACE * took_s


def _old_of_this_run(intake: Intake, reading: Reading, now_s: float, utc_minus_now_s: float | None) -> bool:
    """Whether a late reading is of the run that was live, by its own word: what was kept back, or an old tape played again.

    It was sent after the last live one and its count runs on, or it was sent before it in a run that has a name. Only a stamp
    that is now by this site's clock says otherwise. A later stamp on an earlier count is a sender that began anew.
    """
    if reading.boot != intake.boot or reading.sent_utc_s is None or intake.sent_utc_s is None:
        return False
    counted_back = reading.seq is not None and intake.seq is not None and reading.seq < intake.seq
    later = reading.sent_utc_s > intake.sent_utc_s
    if counted_back if later else reading.boot is None:
        return False
    return utc_minus_now_s is None or abs(now_s + utc_minus_now_s - reading.sent_utc_s) > LATE_AFTER_S


def _retired(intake: Intake, reading: Reading) -> tuple[str, ...]:
    """The last boots of this sender that are over: what still comes of them is late."""
    if reading.boot == intake.boot or intake.boot is None:
        return intake.retired_boots
    others = (boot for boot in intake.retired_boots if boot not in {reading.boot, intake.boot})
    return (*others, intake.boot)[-RETIRED_KEPT_N:]


def _live(intake: Intake, reading: Reading, now_s: float) -> Intake:
    lag_s = None if reading.sent_utc_s is None else now_s - reading.sent_utc_s
    least_lag_s = intake.least_lag_s
    if lag_s is not None:
        set_back = (
            intake.sent_utc_s is not None and reading.sent_utc_s is not None and reading.sent_utc_s < intake.sent_utc_s
        )
        if least_lag_s is None or set_back or reading.boot != intake.boot:
            least_lag_s = lag_s
        else:
            crept_s = LAG_CREEP_RATIO * max(0.0, now_s - (intake.arrived_s if intake.arrived_s is not None else now_s))
            least_lag_s = min(least_lag_s + crept_s, lag_s)
    lost_n = intake.lost_n
    same_run = reading.boot == intake.boot and reading.seq is not None and intake.seq is not None
    if same_run and reading.seq is not None and intake.seq is not None and intake.arrived_s is not None:
        missing_n = max(0, reading.seq - intake.seq - 1)
        if missing_n <= LOST_MOST_PER_S * max(1.0, now_s - intake.arrived_s):
            lost_n += missing_n
    return replace(
        intake,
        boot=reading.boot,
        retired_boots=_retired(intake, reading),
        seq=reading.seq,
        sent_utc_s=reading.sent_utc_s if reading.sent_utc_s is not None else intake.sent_utc_s,
        arrived_s=now_s,
        least_lag_s=least_lag_s,
        behind_n=0,
        behind_seq=None,
        behind_sent_utc_s=None,
        behind_arrived_s=None,
        live_n=intake.live_n + 1,
        refused_n=intake.refused_n + len(reading.refused),
        lost_n=lost_n,
    )
