"""Alarm figures of a span in words: what, how much, and what the standards want of it. Pure."""

from typing import Final, NamedTuple

from monitor.core.alarm_stats import (
    ACCEPTABLE_N,
    FLOOD_ABOVE_N,
    FLOOD_LEAST_RATIO,
    MANAGEABLE_N,
    WANTED_RATIOS,
    Standing,
    Statistics,
    Which,
)
from monitor.core.alarm_table import Priority
from monitor.words.quantities import duration

SHOWN_N: Final = 10


class Figure(NamedTuple):
    """One line: what it is, its value, and what the standards want."""

    name: str
    value: str
    wanted: str


def figures(said: Statistics) -> list[Figure]:
    """The lines of a span's alarm figures, in the order a supervisor asks."""
    return [
        Figure("Alarms raised", f"{said.raised_n} in {duration(said.to_utc_s - said.from_utc_s)}", ""),
        Figure(
            "In ten minutes, mean",
            f"{said.mean_in_ten_minutes:.2f}",
            f"up to {ACCEPTABLE_N:.0f}; {MANAGEABLE_N:.0f} is the most that is manageable",
        ),
        Figure("In ten minutes, most", str(said.most_in_ten_minutes), f"up to {FLOOD_ABOVE_N}"),
        Figure(
            "Floods",
            f"{said.floods_n}, {said.flood_ratio:.1%} of the time",
            f"under {FLOOD_LEAST_RATIO:.0%} of the time",
        ),
        Figure("High, medium, low", _priorities(said), _wanted_priorities()),
        Figure("Chattering", _listed([f"{_name(which)} ({n} changes)" for which, n in said.chattering]), "none"),
        Figure(
            "Standing at the end",
            _listed([f"{_name(one.which)} for {duration(one.for_s)}" for one in said.standing]),
            f"fewer than 5 a day over 24 h; there are {said.stale_n}",
        ),
        Figure("Longest unacknowledged", _longest(said.longest_unacknowledged), ""),
        Figure(
            "Most frequent",
            _listed([f"{_name(which)} ({n})" for which, n in said.most_frequent]),
            f"the ten most frequent make {said.top_ratio:.0%} of all; 1 to 5 % is wanted",
        ),
    ]


def _name(which: Which) -> str:
    place = f"{which.lifter} circuit {which.about}" if which.about else which.lifter
    return f"{place}: {which.key.replace('_', ' ')}"


def _listed(names: list[str]) -> str:
    if not names:
        return "none"
    more = f" and {len(names) - SHOWN_N} more" if len(names) > SHOWN_N else ""
    return "; ".join(names[:SHOWN_N]) + more


def _priorities(said: Statistics) -> str:
    whole = sum(said.by_priority_n.values())
    parts = [said.by_priority_n[one] for one in (Priority.HIGH, Priority.MEDIUM, Priority.LOW)]
    shares = " (" + ", ".join(f"{part / whole:.0%}" for part in parts) + ")" if whole else ""
    return ", ".join(str(part) for part in parts) + shares


def _wanted_priorities() -> str:
    return "about " + ", ".join(f"{WANTED_RATIOS[one]:.0%}" for one in (Priority.HIGH, Priority.MEDIUM, Priority.LOW))


def _longest(one: Standing | None) -> str:
    if one is None:
        return "none"
    return f"{_name(one.which)} for {duration(one.for_s)}{'' if one.ended else ', still waiting'}"
