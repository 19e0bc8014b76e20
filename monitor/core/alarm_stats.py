"""How the alarms of a site behaved over a span of time, by the figures of ISA-18.2 / IEC 62682 and EEMUA 191.

Made from the moves of alarms, in order. Everything counts what was told to people: raisings, not limits touched.
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final

from monitor.core.alarm_table import Priority, priority
from monitor.core.alarms import ACTIVE, RULES, State

INTERVAL_S: Final = 600.0
ACCEPTABLE_N: Final = 1.0  # raisings in ten minutes, on the mean: very likely acceptable
MANAGEABLE_N: Final = 2.0  # the most that is manageable
FLOOD_ABOVE_N: Final = 10  # a flood begins with an interval of more than this
FLOOD_UNDER_N: Final = 5  # and ends with one of fewer than this
FLOOD_LEAST_RATIO: Final = 0.01  # wanted share of the time in a flood: less than this
CHATTER_N: Final = 3
CHATTER_S: Final = 60.0
STALE_S: Final = 86_400.0
TOP_N: Final = 10
WANTED_RATIOS: Final = {Priority.HIGH: 0.05, Priority.MEDIUM: 0.15, Priority.LOW: 0.80}
UNACKNOWLEDGED: Final = frozenset({State.UNACKNOWLEDGED, State.RETURNED_UNACKNOWLEDGED, State.LATCHED_UNACKNOWLEDGED})


@dataclass(frozen=True, slots=True)
class AlarmMove:
    """One move of one alarm. ``state`` is the state it moved to."""

    at_utc_s: float
    lifter: str
    raising: str
    key: str
    about: str
    moved: str
    state: str


@dataclass(frozen=True, slots=True)
class Which:
    """One alarm of one lifter."""

    lifter: str
    key: str
    about: str


@dataclass(frozen=True, slots=True)
class Standing:
    """An alarm that stood, or waited for its acknowledgement, and how long: to its end or to the end of the span."""

    which: Which
    raising: str
    since_utc_s: float
    for_s: float
    ended: bool


@dataclass(frozen=True, slots=True)
class Statistics:
    """Alarms over a span. Counts by ten minutes are of whole intervals from the start of the span; the last may be short."""

    from_utc_s: float
    to_utc_s: float
    raised_n: int
    by_interval_n: tuple[int, ...]
    mean_in_ten_minutes: float
    most_in_ten_minutes: int
    floods_n: int
    flood_ratio: float
    by_priority_n: dict[Priority, int]
    most_frequent: tuple[tuple[Which, int], ...]
    top_ratio: float  # share of the ten most frequent alarms
    chattering: tuple[tuple[Which, int], ...]  # with the most changes within a minute
    standing: tuple[Standing, ...]  # active at the end of the span, the longest first
    stale_n: int  # of them, longer than 24 h
    longest_unacknowledged: Standing | None


@dataclass(slots=True)
class _Memory:
    """What is known of one alarm while its moves are gone through."""

    active_since_s: float | None = None
    waits_since_s: float | None = None
    raising: str = ""
    changes_s: list[float] = field(default_factory=list)


def statistics(moves: Iterable[AlarmMove], from_utc_s: float, to_utc_s: float) -> Statistics:
    """The figures of a span.

    Args:
        moves: In the order they happened, whatever was done to the clock between. Those before the span say what stood when
            it began; those after it are left out.
        from_utc_s: Its start.
        to_utc_s: Its end, after the start.

    Raises:
        ValueError: The span has no length.

    Source: ISA-18.2 / IEC 62682 and EEMUA 191 as trade texts quote them: about 1 in ten minutes is very likely acceptable,
    2 the most that is manageable; a flood begins with an interval of more than 10 and ends with one of fewer than 5;
    chattering is 3 changes within a minute; stale is more than 24 h; priorities about 5, 15 and 80 %.
    Check: 11 in one interval is a flood, 10 is none; 3 changes in 60.0 s chatter, in 60.1 s they do not.
    """
    if not to_utc_s > from_utc_s:
        raise ValueError(f"the span from {from_utc_s} to {to_utc_s} has no length")
    seen: dict[Which, _Memory] = {}
    raised: list[tuple[float, Which]] = []
    waited: list[Standing] = []
    for move in moves:
        if move.at_utc_s > to_utc_s:
            continue
        which = Which(move.lifter, move.key, move.about)
        memory = seen.setdefault(which, _Memory())
        if move.moved == "raised" and move.at_utc_s >= from_utc_s:
            raised.append((move.at_utc_s, which))
        _follow(memory, which, move, from_utc_s, waited)
    for which, memory in seen.items():
        if memory.waits_since_s is not None:
            waited.append(_stood(which, memory.raising, memory.waits_since_s, to_utc_s, ended=False))
    stand = [
        _stood(which, memory.raising, memory.active_since_s, to_utc_s, ended=False)
        for which, memory in seen.items()
        if memory.active_since_s is not None
    ]
    by_interval_n = _by_interval(raised, from_utc_s, to_utc_s)
    floods_n, flooded_n = _floods(by_interval_n)
    counts = Counter(which for _, which in raised)
    top = counts.most_common(TOP_N)
    by_priority_n = dict.fromkeys(Priority, 0)
    for _, which in raised:
        if which.key in RULES:
            by_priority_n[priority(RULES[which.key])] += 1
    chatter = {which: _most_within(memory.changes_s, CHATTER_S) for which, memory in seen.items()}
    return Statistics(
        from_utc_s=from_utc_s,
        to_utc_s=to_utc_s,
        raised_n=len(raised),
        by_interval_n=by_interval_n,
        mean_in_ten_minutes=len(raised) * INTERVAL_S / (to_utc_s - from_utc_s),
        most_in_ten_minutes=max(by_interval_n),
        floods_n=floods_n,
        flood_ratio=flooded_n / len(by_interval_n),
        by_priority_n=by_priority_n,
        most_frequent=tuple(top),
        top_ratio=sum(number for _, number in top) / len(raised) if raised else 0.0,
        chattering=tuple((which, n) for which, n in chatter.items() if n >= CHATTER_N),
        standing=tuple(sorted(stand, key=lambda one: -one.for_s)),
        stale_n=sum(one.for_s > STALE_S for one in stand),
        longest_unacknowledged=max(waited, key=lambda one: one.for_s, default=None),
    )


def _follow(memory: _Memory, which: Which, move: AlarmMove, from_utc_s: float, waited: list[Standing]) -> None:
    active, waits = move.state in ACTIVE, move.state in UNACKNOWLEDGED
    if active is (memory.active_since_s is None):
        memory.active_since_s = move.at_utc_s if active else None
        if move.at_utc_s >= from_utc_s:
            memory.changes_s.append(move.at_utc_s)
    if memory.waits_since_s is not None and (not waits or move.moved == "raised"):
        if move.at_utc_s >= from_utc_s:
            waited.append(_stood(which, memory.raising, memory.waits_since_s, move.at_utc_s, ended=True))
        memory.waits_since_s = None
    if waits and memory.waits_since_s is None:
        memory.waits_since_s = move.at_utc_s
    memory.raising = move.raising


def _stood(which: Which, raising: str, since_utc_s: float, to_utc_s: float, *, ended: bool) -> Standing:
    for_s = max(0.0, to_utc_s - since_utc_s)  # a clock set back meanwhile makes no negative time
    return Standing(which, raising, since_utc_s, for_s, ended)


def _by_interval(raised: Sequence[tuple[float, Which]], from_utc_s: float, to_utc_s: float) -> tuple[int, ...]:
    intervals_n = max(1, -int(-(to_utc_s - from_utc_s) // INTERVAL_S))
    counts = [0] * intervals_n
    for at_s, _ in raised:
        counts[min(int((at_s - from_utc_s) // INTERVAL_S), intervals_n - 1)] += 1
    return tuple(counts)


def _floods(by_interval_n: Sequence[int]) -> tuple[int, int]:
    """How many floods there were, and in how many intervals there was one."""
    floods_n = flooded_n = 0
    flooding = False
    for number in by_interval_n:
        begins = not flooding and number > FLOOD_ABOVE_N
        flooding = begins or (flooding and number >= FLOOD_UNDER_N)
        floods_n += begins
        flooded_n += flooding
    return floods_n, flooded_n


def _most_within(at_s: Sequence[float], within_s: float) -> int:
    """The most changes within a time, begun anew where the clock was set back.

    Check: 0, 30 and 60 s are 3 within 60 s; 0, 30 and 60.1 s are 2.
    """
    most_n = first = 0
    for last, late_s in enumerate(at_s):
        while not 0.0 <= late_s - at_s[first] <= within_s:
            first += 1
        most_n = max(most_n, last - first + 1)
    return most_n
