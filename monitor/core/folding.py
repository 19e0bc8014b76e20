"""One cause, one line: which alarm leads, which are folded under it, and when many at once become a single line.

From the fourth alarm within a minute they are one line that names the first of the gravest causes among them.
The alarm table says which alarms explain which (``led_by``). An alarm is folded under its cause when that stands for the
same circuit, or for the lifter, or stood when it was raised, or was raised within a minute of it: an old one that is over
explains nothing new.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from monitor.core.alarm_table import Priority
from monitor.core.alarms import ACTIVE, RULES
from monitor.core.messages import Text
from monitor.core.status import ORDER, AlarmTold

WITHIN_S: Final = 60.0
AT_ONCE_S: Final = 2.0
FLOOD_N: Final = 4


@dataclass(frozen=True, slots=True)
class Fold:
    """One line of the alarm list. ``flood``: it stands for many alarms at once, not for one cause."""

    lead: AlarmTold
    under: tuple[AlarmTold, ...] = ()
    flood: bool = False

    @property
    def all(self) -> tuple[AlarmTold, ...]:
        return (self.lead, *self.under)

    @property
    def priority(self) -> Priority:
        """The highest of all its alarms."""
        return min((alarm.priority for alarm in self.all), key=lambda priority: ORDER[priority])

    @property
    def text(self) -> Text | None:
        """What is said beside the leading alarm's own words; ``None`` for an alarm by itself."""
        if not self.under:
            return None
        if self.flood:
            return Text("fold.flood", {"alarms_n": len(self.all)})
        return Text("fold.more", {"alarms_n": len(self.under)})


def fold(told: Sequence[AlarmTold]) -> tuple[Fold, ...]:
    """The lines of an alarm list, in the order of their first alarm in it. Every alarm is in exactly one line.

    What is shelved, suppressed or out of service is folded only with its like, and is no part of a flood.
    """
    leads = {alarm.raising: _root(alarm, told) for alarm in told}
    flood = _flood([alarm for alarm in told if not any(_set_aside(alarm))])
    first = min((leads[alarm.raising] for alarm in flood), key=lambda a: (ORDER[a.priority], *_age(a)), default=None)
    if first is not None:
        swept = {leads[alarm.raising].raising for alarm in flood}
        leads = {name: first if lead.raising in swept else lead for name, lead in leads.items()}
    lines: dict[str, list[AlarmTold]] = {}
    for alarm in told:
        lines.setdefault(leads[alarm.raising].raising, []).append(alarm)
    by_raising = {alarm.raising: alarm for alarm in told}
    return tuple(
        Fold(by_raising[lead], tuple(a for a in line if a.raising != lead), flood=by_raising[lead] is first)
        for lead, line in lines.items()
    )


def _set_aside(alarm: AlarmTold) -> tuple[bool, bool, bool]:
    return alarm.shelved, alarm.suppressed, alarm.out_of_service


def _age(alarm: AlarmTold) -> tuple[float, str]:
    return alarm.since_utc_s, alarm.raising


def _root(alarm: AlarmTold, told: Sequence[AlarmTold]) -> AlarmTold:
    """The first cause of an alarm that can be named; itself where there is none."""
    for key in RULES[alarm.key].led_by:
        for other in told:
            if other.key == key and _explains(other, alarm):
                return _root(other, told)
    return alarm


def _explains(cause: AlarmTold, alarm: AlarmTold) -> bool:
    if _set_aside(cause) != _set_aside(alarm):
        return False
    apart_s = abs(cause.since_utc_s - alarm.since_utc_s)
    if cause.key == alarm.key:  # what befalls several circuits at once has one cause
        return cause.about != alarm.about and apart_s <= AT_ONCE_S and _age(cause) < _age(alarm)
    if cause.about and alarm.about and cause.about != alarm.about:
        return False
    stood = cause.over_utc_s is not None and cause.since_utc_s <= alarm.since_utc_s <= cause.over_utc_s
    return cause.state in ACTIVE or stood or apart_s <= WITHIN_S


def _flood(heard: Sequence[AlarmTold]) -> list[AlarmTold]:
    """The alarms raised with at least three others within a minute, oldest first."""
    by_age = sorted(heard, key=_age)
    swept: set[int] = set()
    for first in range(len(by_age) - FLOOD_N + 1):
        if by_age[first + FLOOD_N - 1].since_utc_s - by_age[first].since_utc_s <= WITHIN_S:
            swept.update(range(first, first + FLOOD_N))
    return [by_age[number] for number in sorted(swept)]
