"""What a person may do with an alarm: acknowledge, reset, shelve, take out of service; and what is refused.

A shelf ends by itself within an hour. Out of service is for a sensor or limit known to be wrong: it stands until
maintenance takes it back. Neither touches the call, and alarms that lead to `land_now` are open to neither.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Final

from monitor.core.alarms import IDLE_ALARM, RULES, Board, Happening, Moved, State, come_back, move, unshelve

SHELVE_MOST_S: Final = 3600.0
NEVER_SET_ASIDE: Final = frozenset(
    {
        "vacuum_low",
        "vacuum_critical",
        "sudden_loss",
        "release_under_load",
        "lifter_alarm",
        "margin_gone",
        "load_returns_after_release",
        "losing_vacuum",
        "over_wll",
        "pad_overloaded",
    }
)
"""Alarms that lead to `land_now`: they cannot be shelved nor taken out of service."""


MOVED_BY: Final[Mapping[str, str]] = {
    "acknowledge": "acknowledged",
    "reset": "cleared",
    "shelve": "shelved",
    "unshelve": "unshelved",
    "out_of_service": "out_of_service",
    "in_service": "in_service",
}


@dataclass(frozen=True, slots=True)
class Answered:
    """What came of an act on an alarm: done, or refused with the key of the reason."""

    done: bool
    key: str
    moved: Moved | None = None


def act(
    board: Board, kind: str, *, raising_n: int, who: str, now_s: float, duration_s: float = 0.0, why: str = ""
) -> Answered:
    """Acknowledge, reset, shelve or unshelve the alarm whose raising is ``raising_n``; an old raising answers nothing."""
    found = next(((key, alarm) for key, alarm in board.alarms.items() if alarm.raising_n == raising_n), None)
    if found is None or raising_n <= 0:
        return Answered(done=False, key="refused.not_this_raising")
    key, before = found
    rule = RULES[key[1]]
    match kind:
        case "acknowledge" | "reset":
            happening = Happening.ACKNOWLEDGED if kind == "acknowledge" else Happening.RESET
            state = move(before, rule, happening)
            if state is before.state:
                return Answered(done=False, key="refused.nothing_to_do")
            alarm = replace(before, state=state, acknowledged_by=who, acknowledged_s=now_s)
        case "shelve":
            if rule.key in NEVER_SET_ASIDE:
                return Answered(done=False, key="refused.cannot_be_shelved")
            if before.state is State.NORMAL:  # over already: it would silence a raising nobody has seen yet
                return Answered(done=False, key="refused.nothing_to_do")
            if not 0.0 < duration_s <= SHELVE_MOST_S or not why.strip():
                return Answered(done=False, key="refused.shelve_needs")
            alarm = replace(before, shelved_until_s=now_s + duration_s, shelved_by=who, shelved_why=why)
        case _:
            if before.shelved_until_s is None:
                return Answered(done=False, key="refused.nothing_to_do")
            alarm = unshelve(before)
    board.alarms[key] = alarm
    return Answered(done=True, key=f"done.{kind}", moved=Moved(key[0], rule, alarm, MOVED_BY[kind], who))


def set_service(
    board: Board, kind: str, place: tuple[str, str], *, who: str, role: str, now_s: float, why: str = ""
) -> Answered:
    """Take the alarm at ``place`` (about, key) out of service, or back in. It keeps being judged meanwhile."""
    rule, before = RULES[place[1]], board.alarms.get(place, IDLE_ALARM)
    if rule.key in NEVER_SET_ASIDE:
        return Answered(done=False, key="refused.cannot_be_out_of_service")
    if role != "maintenance":
        return Answered(done=False, key="refused.maintenance_only")
    if (before.out_of_service_s is None) is (kind == "in_service"):
        return Answered(done=False, key="refused.nothing_to_do")
    if kind == "in_service":
        alarm = come_back(replace(before, out_of_service_s=None, out_of_service_by="", out_of_service_why=""))
    elif not why.strip():
        return Answered(done=False, key="refused.out_of_service_needs")
    else:
        alarm = replace(before, out_of_service_s=now_s, out_of_service_by=who, out_of_service_why=why)
    board.alarms[place] = alarm
    return Answered(done=True, key=f"done.{kind}", moved=Moved(place[0], rule, alarm, MOVED_BY[kind], who))
