"""step(state, event, now_s) -> (state, effects): only chains the folds of the other modules.

The state of a site is updated in place and can be pickled. Given the same events at the same times it gives the same
states and effects. Silence and delays are judged on ticks at whole multiples of ``TICK_S`` of engine time.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Final

from monitor.core import alarms, call, intake, late, lifter, lifts, release, seal_tests, summary
from monitor.core.acts import alarm_moved, apply_action, put_next_plan_in_force
from monitor.core.config import CoreConfig
from monitor.core.events import (
    ActionCame,
    ClockSet,
    ConnectionSaid,
    Effect,
    Event,
    LastLifts,
    LinkChanged,
    MessagesLost,
    ReadingCame,
    Resumed,
    StoreSaid,
    Tick,
    Told,
    UnreadableCame,
)
from monitor.core.intake import News
from monitor.core.lifter import LifterState
from monitor.core.status import Status, alarms_told

TICK_S: Final = 0.5

PARTNER_ROUNDS_N: Final = 2
"""A partner's trouble may raise an alarm here, and that alarm is this lifter's own news for the partner."""


@dataclass(slots=True)
class SiteState:
    """Everything the engine remembers of one site."""

    config: CoreConfig
    version: str
    lifters: dict[str, LifterState]
    link_up: bool = True
    store_writing: bool = True
    disk_free_ratio: float | None = None
    utc_minus_now_s: float = 0.0
    unknown_lifters_n: int = 0
    online: dict[str, bool] = field(default_factory=dict)
    streams: dict[tuple[str, str], intake.Intake] = field(default_factory=dict)  # the wire's, by lifter and topic


def begin(config: CoreConfig, *, version: str) -> SiteState:
    """A site nothing is known of yet: every answer is "no reading"."""
    lifters = {name: lifter.begin(settings) for name, settings in config.lifters.items()}
    return SiteState(config=config, version=version, lifters=lifters)


def ticks_between(last_s: float, now_s: float) -> Iterator[float]:
    """Whole multiples of ``TICK_S`` after ``last_s`` up to and including ``now_s``. Check: 0.4 to 1.6 gives 0.5, 1.0, 1.5."""
    for number in range(math.floor(last_s / TICK_S) + 1, math.floor(now_s / TICK_S) + 1):
        yield number * TICK_S


def step(state: SiteState, event: Event, now_s: float) -> tuple[SiteState, tuple[Effect, ...]]:
    """Fold one event in, at engine time ``now_s``; returns the state and what is to be done about it."""
    effects: list[Effect] = []
    match event:
        case ReadingCame():
            _reading(state, event, now_s, effects)
        case Tick():
            for one in state.lifters.values():
                lifter.settle(one, now_s)
            _tell_all(state, now_s, effects)
        case ActionCame(action):
            effects.append(apply_action(state.lifters.get(action.lifter), action, now_s, effects))
            if action.lifter in state.lifters:
                _tell(state, action.lifter, now_s, effects)
        case UnreadableCame(name, _, _):
            _unreadable(state, name, now_s, effects)
        case LinkChanged(up):
            state.link_up = up
            _tell_all(state, now_s, effects)
        case ConnectionSaid(name, online):
            state.online[name] = online
        case MessagesLost(name, n):
            if name in state.lifters:
                state.lifters[name].news = intake.missing(state.lifters[name].news, n)
        case StoreSaid(writing, free_ratio):
            state.store_writing, state.disk_free_ratio = writing, free_ratio
        case ClockSet(utc_minus_now_s):
            state.utc_minus_now_s = utc_minus_now_s
        case LastLifts(name, past):
            if name in state.lifters:
                lifts.learn(state.lifters[name], past)
        case Resumed(down_since_s):
            _resume(state, down_since_s, now_s, effects)
    return state, tuple(effects)


def _reading(state: SiteState, came: ReadingCame, now_s: float, effects: list[Effect]) -> None:
    reading = came.reading
    one = state.lifters.get(reading.lifter)
    if one is None:
        state.unknown_lifters_n += 1
        return
    heard_s, stale_s = one.heard_s, lifter.stale_after_s(one)
    if came.judged is None:
        one.news, news = intake.judge(
            one.news, reading, now_s, retained=came.retained, utc_minus_now_s=state.utc_minus_now_s
        )
    else:
        one.news, news = intake.counted(one.news, came.judged), came.judged
    if news is News.LIVE:
        if one.log is not None and heard_s is not None:
            from_s = summary.gap_from_s(one.log, heard_s)
            if now_s - from_s > stale_s:
                summary.note_gap(one.log, from_s, now_s, "silence")
        lifter.take(one, reading, now_s)
    elif news is News.LATE:
        lag_s = one.news.least_lag_s if came.judged is None else -state.utc_minus_now_s
        effects.extend(late.fill_in(one, reading, lag_s, now_s))
    _tell(state, reading.lifter, now_s, effects)


def _unreadable(state: SiteState, name: str, now_s: float, effects: list[Effect]) -> None:
    one = state.lifters.get(name)
    if one is None:
        state.unknown_lifters_n += 1
        return
    one.news = replace(one.news, rejected_n=one.news.rejected_n + 1)
    _tell(state, name, now_s, effects)


def _resume(state: SiteState, down_since_s: float, now_s: float, effects: list[Effect]) -> None:
    """After a restart nothing is believed until it is heard again; the lift in progress names its gap."""
    for one in state.lifters.values():
        if one.log is not None:
            summary.note_gap(one.log, down_since_s, now_s, "restart")
            one.log.looked_s = None
        alarms.restart_delays(one.board)
        one.seal_tests = seal_tests.break_off(one.seal_tests, now_s, "restart")
    _tell_all(state, now_s, effects)


def _tell_all(state: SiteState, now_s: float, effects: list[Effect]) -> None:
    for name in state.lifters:
        _tell(state, name, now_s, effects)


def _tell(state: SiteState, name: str, now_s: float, effects: list[Effect], rounds_n: int = PARTNER_ROUNDS_N) -> None:
    """Move the phase, judge everything of one lifter and tell it; its partner in tandem too where that changed."""
    one = state.lifters[name]
    lifter.advance_phase(one, now_s)
    lifts.open_lift(one, now_s, utc_minus_now_s=state.utc_minus_now_s, version=state.version)
    around = lifter.Surroundings(
        link_up=state.link_up,
        store_writing=state.store_writing,
        disk_free_ratio=state.disk_free_ratio,
        partners=_partners(state, name),
        lag_s=intake.worst_lag_s([one.news, *_streams(state, name)], now_s, state.utc_minus_now_s),
    )
    facts = lifter.facts(one, now_s, around)
    one.seal_tests = seal_tests.advance(one.seal_tests, facts)
    moved = alarms.step(one.board, facts, now_s)
    effects.extend(alarm_moved(one, move, now_s) for move in moved)
    called = call.with_alarm(call.judge(facts, one.called), alarms.gravest(one.board), facts)
    answer, text = release.judge(facts)
    own = (called.call, answer)
    one.called, one.release = called, answer
    called = call.with_partner(called, facts)
    answer, text = release.with_partner(answer, text, facts)
    if one.log is not None:
        summary.look(one.log, facts, called, now_s)
        one.log.picks_n = max(one.log.picks_n, one.phase.picks_n)
    status = Status(
        site=state.config.site,
        facts=facts,
        utc_s=now_s + state.utc_minus_now_s,
        utc_minus_now_s=state.utc_minus_now_s,
        sent_utc_s=one.news.sent_utc_s,
        called=called,
        release=answer,
        release_text=text,
        alarms=alarms_told(name, one.board, now_s, state.utc_minus_now_s),
        lift=lifts.lift_told(one),
        assumed=facts.assumed(),
        seal_tests=one.seal_tests,
        plan=one.planned,
        counts=one.news.counts(),
    )
    states = (circuit.state for circuit in facts.circuits.values())
    shown = (
        *own,
        called.call,
        answer,
        facts.phase,
        called.headline.key,
        called.reason.key,
        *states,
        *seal_tests.steps(one.seal_tests),
    )
    changed = bool(moved) or shown != one.shown
    partners_changed = shown[:2] != one.shown[:2]
    one.shown = shown
    effects.append(Told(status, changed))
    lifts.close_lift(one, facts, now_s, effects)
    if one.log is None:  # between two lifts
        put_next_plan_in_force(one)
    if partners_changed and rounds_n:
        for partner in _partners(state, name):
            _tell(state, partner, now_s, effects, rounds_n - 1)


def _streams(state: SiteState, name: str) -> list[intake.Intake]:
    """What the wire remembers of a lifter's topics."""
    return [stream for (lifter_id, _), stream in state.streams.items() if lifter_id == name]


def _partners(state: SiteState, name: str) -> dict[str, tuple[str, str]]:
    """Call and release of the lifters this one carries a panel with."""
    found: dict[str, tuple[str, str]] = {}
    for tandem in state.config.tandems:
        for other in tandem if name in tandem else ():
            partner = state.lifters[other]
            if other != name and partner.called is not None and partner.release is not None:
                found[other] = (partner.called.call.value, partner.release.value)
    return found
