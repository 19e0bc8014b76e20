"""Since when something holds, how often it is heard, and when silence means anything: shared by every fold."""

from typing import Final

STALE_LEAST_S: Final = 3.0
STALE_INTERVALS: Final = 3.5
STALE_MOST_S: Final = 20.0
"""Rule 1: no reading after 3 s or 3.5 expected intervals, whichever is longer, 20 s at most."""

GAPS_KEPT_N: Final = 9
IRREGULAR_RATIO: Final = 1.5


def since(since_s: float | None, holds: bool, now_s: float) -> float | None:
    """When something began to hold: kept while it holds, ``None`` while it does not."""
    if not holds:
        return None
    return now_s if since_s is None else since_s


def lasted(since_s: float | None, for_s: float, now_s: float) -> bool:
    """Whether something has held for so long."""
    return since_s is not None and now_s - since_s >= for_s


def stale_after_s(interval_s: float | None) -> float:
    """Silence after which nothing is known any more, s (rule 1), by the interval readings are expected at."""
    if interval_s is None:
        return STALE_LEAST_S
    return min(STALE_MOST_S, max(STALE_LEAST_S, STALE_INTERVALS * interval_s))


def learned(gaps_s: tuple[float, ...], last_s: float | None, at_s: float) -> tuple[tuple[float, ...], float | None]:
    """The last gaps between readings with this one, and their median once there are two: lost readings hardly move it."""
    if last_s is not None and at_s > last_s:
        gaps_s = (*gaps_s[-(GAPS_KEPT_N - 1) :], at_s - last_s)
    return gaps_s, sorted(gaps_s)[len(gaps_s) // 2] if len(gaps_s) >= 2 else None


def is_irregular(gaps_s: tuple[float, ...]) -> bool:
    """Whether the last gaps between readings are of no one length; two lost readings among them hide none."""
    if len(gaps_s) < GAPS_KEPT_N:
        return False
    ordered = sorted(gaps_s)
    return ordered[-3] > IRREGULAR_RATIO * ordered[2]
