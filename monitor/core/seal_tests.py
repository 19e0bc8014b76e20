"""Two guided tests with the pumps at rest: does every circuit hold, before anything is lifted?

*Shift test*, on a clean plate: the vacuum falls by at most 25 % in 4 min (ASME BTH-1, vacuum preservation), and stays above
its warning level for 5 min (EN 13155, 5.2.2.7); both from memory of the standards. *Pre-pick test*, on the real panel: after
a minute the reserve of every circuit, at its early bound, is at least 5 min or twice the time to land.

A pump that rests by itself is as good as one switched off: the test waits until every pump rests, and a pump that comes on
proves nothing. What was not seen to its end is not passed.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from monitor.core.config import LifterConfig, LoadMeasures
from monitor.core.facts import UNHEARD, CircuitFacts, CircuitState, Facts
from monitor.core.load import LoadKnown
from monitor.core.messages import Text, Value

RESERVE_LEAST_S: Final = 300.0
"""A pre-pick test asks for this much reserve, or twice the time to land if that is more (EN 13155 5.2.2.7, from memory)."""

HOLDS_FOR_S: Final = 300.0
"""A shift test watches so long that the vacuum stays above its warning level (EN 13155 5.2.2.7, from memory)."""

WAITS_MOST_S: Final = 120.0
"""A test that can't begin for so long is broken off: the next person must not find it beginning by itself."""

RISES_KPA: Final = 1.5
"""Vacuum that rises so far has had a pump at work, whatever the pump says. Cooling gas alone raises it by 0.7 in 5 min
(10 K in 10 min on 40 kPa absolute)."""

KEPT_N: Final = 20


class SealTestKind(StrEnum):
    """Which of the two."""

    PRE_PICK = "pre_pick"
    SHIFT = "shift"


class SealState(StrEnum):
    """How far a test, or one circuit in it, has come."""

    WAITING = "waiting"
    RUNNING = "running"
    PASSED = "passed"
    NOT_PASSED = "not_passed"


UNDER_WAY: Final = frozenset({SealState.WAITING, SealState.RUNNING})


@dataclass(frozen=True, slots=True)
class CircuitTest:
    """One circuit in a test. ``lowest_kpa`` is over the whole test, ``at_loss_kpa`` over the time the loss counts."""

    state: SealState
    text: Text
    start_kpa: float | None = None
    last_kpa: float | None = None
    lowest_kpa: float | None = None
    at_loss_kpa: float | None = None
    reserve_s: float | None = None  # early bound; None: beyond the horizon, or not known


@dataclass(frozen=True, slots=True)
class SealTest:
    """One test, under way or over. What it asks for was fixed when it was asked for."""

    kind: SealTestKind
    who: str
    role: str
    asked_s: float
    for_s: float
    needed_s: float
    state: SealState = SealState.WAITING
    text: Text = field(default_factory=lambda: Text("seal.waiting"))
    circuits: Mapping[str, CircuitTest] = field(default_factory=dict)
    begun_s: float | None = None
    ended_s: float | None = None
    stands: bool = True  # neither detached nor parked since

    def left_s(self, now_s: float) -> float | None:
        """Time still to watch; ``None`` while it waits or when it is over."""
        if self.begun_s is None or self.ended_s is not None:
            return None
        return max(0.0, self.begun_s + self.for_s - now_s)


@dataclass(frozen=True, slots=True)
class SealTests:
    """The test under way, and those that ended since the last recorded lift, oldest first."""

    running: SealTest | None = None
    ended: tuple[SealTest, ...] = ()

    def latest(self, kind: SealTestKind) -> SealTest | None:
        """The one to show of a kind: under way, else the last since which the pads have neither let go nor been parked."""
        if self.running is not None and self.running.kind is kind:
            return self.running
        return next((test for test in reversed(self.ended) if test.kind is kind and test.stands), None)

    def word(self) -> str | None:
        """Which test, and how far it has come. Check: "pre_pick running"."""
        test = self.running or (self.ended[-1] if self.ended else None)
        return None if test is None or not test.stands else f"{test.kind} {test.state}"


def reserve_needed_s(time_to_land_s: float) -> float:
    """Reserve, at its early bound, that a pre-pick test has to show. Check: 240 s to land asks for 480 s."""
    return max(RESERVE_LEAST_S, 2.0 * time_to_land_s)


def ask(
    tests: SealTests, kind: SealTestKind, *, who: str, role: str, now_s: float, config: LifterConfig, landing_s: float
) -> SealTests:
    """A named person asks for a test; it begins as soon as every circuit holds and every pump rests."""
    pre_pick = kind is SealTestKind.PRE_PICK
    return replace(
        tests,
        running=SealTest(
            kind,
            who,
            role,
            now_s,
            for_s=config.seal_test_s if pre_pick else max(config.seal_shift_test_s, HOLDS_FOR_S),
            needed_s=reserve_needed_s(landing_s) if pre_pick else HOLDS_FOR_S,
        ),
    )


def advance(tests: SealTests, facts: Facts) -> SealTests:
    """Fold one instant in."""
    test = tests.running
    if test is None:
        return tests
    why = _why_broken(test, facts)
    if why is not None:
        return break_off(tests, facts.now_s, why)
    if test.begun_s is None:
        return replace(tests, running=_wait(test, facts))
    circuits = {
        name: _watch(one, test, facts.circuits[name], facts) if one.state in UNDER_WAY else one
        for name, one in test.circuits.items()
    }
    failed = _named(circuits, SealState.NOT_PASSED)
    if any(one.state in UNDER_WAY for one in circuits.values()):
        text = Text("seal.running.failed", {"circuit": failed}) if failed else Text(f"seal.running.{test.kind}")
        return replace(tests, running=replace(test, circuits=circuits, text=text))
    text = Text("seal.not_passed", {"circuit": failed}) if failed else Text(f"seal.passed.{test.kind}")
    state = SealState.NOT_PASSED if failed else SealState.PASSED
    return _over(tests, replace(test, circuits=circuits, state=state, text=text, ended_s=facts.now_s))


def break_off(tests: SealTests, now_s: float, why: str) -> SealTests:
    """The test under way is over and not passed; ``why`` ends its message key."""
    test = tests.running
    if test is None:
        return tests
    text = Text(f"seal.broken.{why}")
    circuits = {
        name: replace(one, state=SealState.NOT_PASSED, text=text) if one.state in UNDER_WAY else one
        for name, one in test.circuits.items()
    }
    return _over(tests, replace(test, circuits=circuits, state=SealState.NOT_PASSED, text=text, ended_s=now_s))


def let_go(tests: SealTests) -> SealTests:
    """Detached or parked: what a pre-pick test showed may be so no longer. A shift test was about the lifter and stands."""
    ended = tuple(replace(test, stands=test.kind is SealTestKind.SHIFT) for test in tests.ended)
    return replace(tests, ended=ended)


def recorded(tests: SealTests) -> SealTests:
    """A lift was recorded with its tests: of these only the last shift test is told with the next one too."""
    shift = [test for test in tests.ended if test.kind is SealTestKind.SHIFT]
    return replace(tests, ended=tuple(shift[-1:]))


def _over(tests: SealTests, test: SealTest) -> SealTests:
    return replace(tests, running=None, ended=(*tests.ended, test)[-KEPT_N:])


def _named(circuits: Mapping[str, CircuitTest], state: SealState) -> str:
    return ", ".join(name for name, one in circuits.items() if one.state is state)


def _why_broken(test: SealTest, facts: Facts) -> str | None:
    """What ends a test as a whole."""
    if facts.load_known is LoadKnown.ON and facts.config.load_measures is not LoadMeasures.NONE:
        return "load_on"
    if test.circuits and set(test.circuits) != {circuit.id for circuit in facts.used()}:
        return "pads"
    if test.begun_s is None and facts.now_s - test.asked_s >= WAITS_MOST_S:
        return "waited"
    return None


def _wait(test: SealTest, facts: Facts) -> SealTest:
    """Begin as soon as every circuit is heard, holds, and its pump rests."""
    waits = {circuit.id: _waits_for(circuit) for circuit in facts.used()}
    if any(text is not None for text in waits.values()) or not waits:
        ready = Text("seal.circuit.ready")
        circuits = {name: CircuitTest(SealState.WAITING, text or ready) for name, text in waits.items()}
        return replace(test, circuits=circuits)
    circuits = {circuit.id: _begin(circuit) for circuit in facts.used()}
    pre_pick = test.kind is SealTestKind.PRE_PICK
    return replace(
        test,
        circuits=circuits,
        begun_s=facts.now_s,
        needed_s=reserve_needed_s(facts.landing_s) if pre_pick else test.needed_s,
        state=SealState.RUNNING,
        text=Text(f"seal.running.{test.kind}"),
    )


def _waits_for(circuit: CircuitFacts) -> Text | None:
    if circuit.state in UNHEARD:
        return _unheard_text(circuit)
    if circuit.vacuum_kpa is None or circuit.vacuum_kpa <= circuit.config.warning_kpa:
        levels: dict[str, Value] = {"vacuum_kpa": circuit.vacuum_kpa, "warning_kpa": circuit.config.warning_kpa}
        return Text("seal.circuit.builds", levels)
    return Text("seal.circuit.pump_runs") if circuit.pump_runs() else None


def _begin(circuit: CircuitFacts) -> CircuitTest:
    kpa = circuit.vacuum_kpa
    text = Text("seal.circuit.watched", {"start_kpa": kpa, "vacuum_kpa": kpa})
    return CircuitTest(SealState.RUNNING, text, start_kpa=kpa, last_kpa=kpa, lowest_kpa=kpa, at_loss_kpa=kpa)


def _watch(one: CircuitTest, test: SealTest, circuit: CircuitFacts, facts: Facts) -> CircuitTest:
    """Follow one circuit; worst first."""
    if circuit.state in UNHEARD or circuit.vacuum_kpa is None:
        return _failed(one, _unheard_text(circuit))
    if one.start_kpa is None or one.lowest_kpa is None or one.at_loss_kpa is None or test.begun_s is None:
        return one
    kpa = circuit.vacuum_kpa
    past_s = facts.now_s - test.begun_s
    counts = test.kind is SealTestKind.SHIFT and past_s <= facts.config.seal_shift_test_s
    lowest_kpa = min(one.lowest_kpa, kpa)
    losses = _losses(one.start_kpa, min(one.at_loss_kpa, kpa) if counts else one.at_loss_kpa, facts.config)
    one = replace(
        one,
        last_kpa=kpa,
        lowest_kpa=lowest_kpa,
        at_loss_kpa=losses["low_kpa"],
        reserve_s=circuit.reserve.early_s if circuit.reserve is not None else None,
        text=Text("seal.circuit.watched", {"start_kpa": one.start_kpa, "vacuum_kpa": kpa}),
    )
    if circuit.pump_runs():
        return _failed(one, Text("seal.circuit.pump_came_on", {"after_s": past_s}))
    if kpa - lowest_kpa > RISES_KPA:
        return _failed(one, Text("seal.circuit.rose", {"rise_kpa": kpa - lowest_kpa}))
    level = "warning" if test.kind is SealTestKind.SHIFT else circuit.level
    level_kpa = circuit.config.warning_kpa if test.kind is SealTestKind.SHIFT else circuit.level_kpa
    if kpa <= level_kpa:
        values: dict[str, Value] = {"vacuum_kpa": kpa, "level_kpa": level_kpa, "after_s": past_s}
        return _failed(one, Text(f"seal.circuit.low.{level}", values))
    if counts and losses["low_kpa"] < (1.0 - facts.config.seal_shift_loss_ratio) * losses["start_kpa"]:
        return _failed(one, Text("seal.circuit.lost_too_much", losses))
    if (
        past_s - (circuit.age_s or 0.0) < test.for_s
    ):  # the last value must be heard after the time is up: no silence passes
        return one
    if not circuit.gauge_moved:
        return _failed(one, Text("seal.circuit.never_moved", {"vacuum_kpa": kpa}))
    if test.kind is SealTestKind.SHIFT:
        return _passed(one, Text("seal.circuit.passed.shift", {**losses, "held_s": HOLDS_FOR_S}))
    return _pre_pick_judged(one, test, circuit, facts)


def _failed(one: CircuitTest, text: Text) -> CircuitTest:
    return replace(one, state=SealState.NOT_PASSED, text=text)


def _passed(one: CircuitTest, text: Text) -> CircuitTest:
    return replace(one, state=SealState.PASSED, text=text)


def _unheard_text(circuit: CircuitFacts) -> Text:
    if circuit.state is CircuitState.SENSOR_FAULT:
        return Text("seal.circuit.sensor_fault")
    return Text("seal.circuit.no_reading", {"age_s": circuit.age_s})


def _losses(start_kpa: float, low_kpa: float, config: LifterConfig) -> dict[str, float]:
    """What a circuit lost and what it may lose. Check: from 60 kPa, 45.0 is the last that passes, 25 %.

    It began above its warning level, so ``start_kpa`` is above 0.
    """
    return {
        "start_kpa": start_kpa,
        "low_kpa": low_kpa,
        "lost_percent": 100.0 * (start_kpa - low_kpa) / start_kpa,
        "most_percent": 100.0 * config.seal_shift_loss_ratio,
        "over_s": config.seal_shift_test_s,
    }


def _pre_pick_judged(one: CircuitTest, test: SealTest, circuit: CircuitFacts, facts: Facts) -> CircuitTest:
    horizon_s = facts.config.projection_horizon_s
    if circuit.reserve is None:
        return _failed(one, Text("seal.circuit.too_early"))
    early_s = circuit.reserve.early_s
    values: dict[str, Value] = {"early_s": early_s, "reserve_needed_s": test.needed_s, "horizon_s": horizon_s}
    if early_s is not None:
        text = Text(
            "seal.circuit.passed.pre_pick" if early_s >= test.needed_s else "seal.circuit.reserve_short", values
        )
        return _passed(one, text) if early_s >= test.needed_s else _failed(one, text)
    if horizon_s >= test.needed_s:
        return _passed(one, Text("seal.circuit.passed.beyond", values))
    return _failed(one, Text("seal.circuit.beyond_short", values))


def steps(tests: SealTests) -> tuple[object, ...]:
    """What is told at once when it changes: a test that begins or ends, and a circuit in it that is done."""
    test = tests.running
    if test is None:
        return (len(tests.ended), *(ended.asked_s for ended in tests.ended[-1:]))
    return (test.state, *(one.state for one in test.circuits.values()))
