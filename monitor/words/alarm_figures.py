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
from monitor.core.messages import Text, Value
from monitor.words.languages import ENGLISH, Speaker
from monitor.words.quantities import say_value
from monitor.words.say import say

SHOWN_N: Final = 10
WORST_FIRST: Final = (Priority.HIGH, Priority.MEDIUM, Priority.LOW)


class Figure(NamedTuple):
    """One line: what it is, its value, and what the standards want."""

    name: str
    value: str
    wanted: str


def figures(said: Statistics, speaker: Speaker = ENGLISH) -> list[Figure]:
    """The lines of a span's alarm figures, in the order a supervisor asks."""
    words = _Words(speaker)
    wanted = {f"{one.value}_percent": 100.0 * WANTED_RATIOS[one] for one in WORST_FIRST}
    least_percent, top_percent = 100.0 * FLOOD_LEAST_RATIO, 100.0 * said.top_ratio
    lines = {
        "raised": (words("raised.value", raised_n=said.raised_n, span_s=said.to_utc_s - said.from_utc_s), ""),
        "mean": (
            say_value("mean_ratio", said.mean_in_ten_minutes, speaker),
            words("mean.wanted", acceptable_n=ACCEPTABLE_N, manageable_n=MANAGEABLE_N),
        ),
        "most": (str(said.most_in_ten_minutes), words("most.wanted", most_n=FLOOD_ABOVE_N)),
        "floods": (
            words("floods.value", floods_n=said.floods_n, flood_fine_percent=100.0 * said.flood_ratio),
            words("floods.wanted", least_percent=least_percent),
        ),
        "priorities": (_priorities(said, speaker), words("priorities.wanted", **wanted)),
        "chattering": (
            words.listed([words("chattering.value", alarm=words.name(w), changes_n=n) for w, n in said.chattering]),
            words("none"),
        ),
        "standing": (
            words.listed([words.stood(one) for one in said.standing]),
            words("standing.wanted", stale_n=said.stale_n),
        ),
        "longest": (words.longest(said.longest_unacknowledged), ""),
        "frequent": (
            words.listed([words("frequent.value", alarm=words.name(w), times_n=n) for w, n in said.most_frequent]),
            words("frequent.wanted", top_percent=top_percent),
        ),
    }
    return [Figure(words(key), value, wish) for key, (value, wish) in lines.items()]


class _Words:
    """The words of the figures in one language."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker

    def __call__(self, key: str, **values: Value) -> str:
        return say(Text(f"figures.{key}", values), self._speaker)

    def name(self, which: Which) -> str:
        alarm = say(Text(f"word.alarm.{which.key.replace('_', ' ')}", {}), self._speaker)
        if which.about:
            return self("of_circuit", lifter=which.lifter, circuit=which.about, alarm=alarm)
        return self("of_lifter", lifter=which.lifter, alarm=alarm)

    def listed(self, names: list[str]) -> str:
        if not names:
            return self("none")
        more = [self("more", more_n=len(names) - SHOWN_N)] if len(names) > SHOWN_N else []
        return "; ".join([*names[:SHOWN_N], *more])

    def stood(self, one: Standing) -> str:
        return self("standing.value", alarm=self.name(one.which), for_s=one.for_s)

    def longest(self, one: Standing | None) -> str:
        if one is None:
            return self("none")
        return self.stood(one) if one.ended else self("longest.waiting", alarm=self.name(one.which), for_s=one.for_s)


def _priorities(said: Statistics, speaker: Speaker) -> str:
    parts = [said.by_priority_n[one] for one in WORST_FIRST]
    shares = [say_value("x_percent", 100.0 * part / sum(parts), speaker) for part in parts] if sum(parts) else []
    return ", ".join(map(str, parts)) + (f" ({', '.join(shares)})" if shares else "")
