"""One lift of a lifter opened and closed: what is fixed at its start, what its record takes along, what stands after it."""

from monitor.core import lifter, seal_tests, summary
from monitor.core.events import Effect, LiftClosed
from monitor.core.facts import Facts
from monitor.core.lifter import LifterState
from monitor.core.load import begin_lift
from monitor.core.past_lifts import PastLifts
from monitor.core.phases import ATTACHED, Phase
from monitor.core.status import LiftTold


def open_lift(one: LifterState, now_s: float, *, utc_minus_now_s: float, version: str) -> None:
    """A lift opens with `sealing`, or with a pick from where it was parked."""
    if one.log is not None or one.phase.phase not in ATTACHED - {Phase.PARKED}:
        return
    one.load = begin_lift(one.load)
    fix_time_to_land(one)
    one.log = summary.open_log(
        one.config.id,
        lifter.used_circuits(one),
        now_s,
        utc_minus_now_s=utc_minus_now_s,
        version=version,
        time_to_land_s=one.time_to_land_s,
    )


def fix_time_to_land(one: LifterState) -> None:
    """The longer of the site file's figure and the 90th percentile of the last lifts; fixed when a lift starts."""
    one.time_to_land_s = one.past.time_to_land_s(one.config.time_to_land_s)


def learn(one: LifterState, past: PastLifts) -> None:
    """Take what the store knows of the last lifts. The time to land of a lift in progress never gets shorter by it."""
    in_force_s = one.time_to_land_s if one.log is not None else 0.0
    one.past = past
    fix_time_to_land(one)
    one.time_to_land_s = max(one.time_to_land_s, in_force_s)


def close_lift(one: LifterState, facts: Facts, now_s: float, effects: list[Effect]) -> None:
    """A lift ends when every circuit is open or it is parked; recorded only if the load came on, else its plan stands."""
    if one.log is None or facts.phase in ATTACHED - {Phase.PARKED}:
        return
    log, one.log = one.log, None
    if log.load_on_s is not None:
        effects.append(LiftClosed(one.config.id, close(one, log, now_s, facts.phase.value)))
        one.seal_tests = seal_tests.recorded(one.seal_tests)
        pump_down_s = {name: circuit.condition.pump_down_s for name, circuit in log.circuits.items()}
        one.past = one.past.with_lift(log.landing_s, pump_down_s)
        one.plan = one.planned = None  # after a seal that failed it stands: it is for the lift that follows
    one.seal_tests = seal_tests.let_go(one.seal_tests)


def close(one: LifterState, log: summary.LiftLog, now_s: float, ended: str) -> summary.Summary:
    """The record of a lift that ends now (or of one still open at the end of a replay)."""
    return summary.Summary(
        log=log,
        closed_s=now_s,
        ended=ended,
        counts=one.news.counts(),
        surface=(one.surface or one.config.surface).value,
        friction=lifter.friction(one),
        basis=one.config.basis.value,
        wll_kg=one.config.wll_kg,
        seal_tests=one.seal_tests.ended,
        plan=one.planned,
    )


def lift_told(one: LifterState) -> LiftTold | None:
    """What a status says of the lift in progress."""
    if one.log is None:
        return None
    opened_utc_s = one.log.opened_s + one.log.utc_minus_now_s
    return LiftTold(one.log.id, opened_utc_s, one.phase.picks_n, one.log.load_on_s is not None)
