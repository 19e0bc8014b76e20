"""Which gauges of a circuit have fallen silent while the others of it are heard, and what they said last.

Silence of one gauge is no recovery: until it is heard again the circuit counts the lower of its last value and the others. So
does, without being a fault, the last value of one that merely comes in turn with them.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from typing import Final

from monitor.core import timing

MOST_GAUGES_N: Final = 16
"""More names than any circuit has gauges: a sender that invents names makes no more of them remembered."""


@dataclass(frozen=True, slots=True)
class LastHeard:
    """One gauge: when it was heard last, its last two raw values (one wild value says nothing), and how often it comes."""

    at_s: float
    last_kpa: tuple[float, ...]
    gaps_s: tuple[float, ...] = ()
    interval_s: float | None = None

    def is_silent(self, now_s: float, stale_after_s: float) -> bool:
        """Whether it has been silent longer than its circuit, or it itself, may be: the longest until its interval is known."""
        own_s = timing.STALE_MOST_S if self.interval_s is None else timing.stale_after_s(self.interval_s)
        return now_s - self.at_s > max(own_s, stale_after_s)


def follow(
    gauges: Mapping[str, LastHeard], raw_kpa: Mapping[str, float], heard_s: float | None, now_s: float, stale_s: float
) -> Mapping[str, LastHeard]:
    """Note the gauges of one reading. ``heard_s``: when the circuit was heard before; ``stale_s``: its longest silence.

    After a silence of the whole circuit each gauge has its time anew to be heard.
    """
    if len(raw_kpa) == 1 and (
        not gauges or gauges.keys() == raw_kpa.keys()
    ):  # one gauge, as nearly always: none to miss
        return {name: LastHeard(now_s, (kpa,)) for name, kpa in raw_kpa.items()}
    followed = dict(gauges)
    if heard_s is not None and now_s - heard_s > stale_s:
        for name, gauge in gauges.items():
            if not gauge.is_silent(heard_s, stale_s):
                followed[name] = replace(gauge, at_s=now_s)
    for name, kpa in raw_kpa.items():
        before = gauges.get(name)
        if before is None:
            followed[name] = LastHeard(now_s, (kpa,))
            continue
        gaps_s, interval_s = timing.learned(before.gaps_s, before.at_s, now_s)
        followed[name] = LastHeard(now_s, (before.last_kpa[-1], kpa), gaps_s, interval_s)
    while len(followed) > max(MOST_GAUGES_N, len(raw_kpa)):
        del followed[min(followed, key=lambda name: followed[name].at_s)]
    return followed


def silent(
    gauges: Mapping[str, LastHeard], but: Collection[str], now_s: float, stale_s: float
) -> dict[str, tuple[float, ...]]:
    """The last raw values of the gauges that are silent, by name; ``but`` were heard just now."""
    return {n: gauge.last_kpa for n, gauge in gauges.items() if n not in but and gauge.is_silent(now_s, stale_s)}


def in_turn(
    gauges: Mapping[str, LastHeard], but: Collection[str], now_s: float, stale_s: float
) -> dict[str, LastHeard]:
    """The gauges that take turns with those heard just now (``but``), and are not silent: what they said last counts."""
    return {n: gauge for n, gauge in gauges.items() if n not in but and not gauge.is_silent(now_s, stale_s)}
