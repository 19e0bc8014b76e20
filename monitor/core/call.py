"""The table from phase, states and times to a call. The worst row that holds is the call; its reason is said.

Each row says what it means with the load on and on the ground. On the ground the same troubles read "Do not lift".
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Final

from monitor.core.facts import UNHEARD, CircuitFacts, CircuitState, Facts
from monitor.core.load import LoadKnown
from monitor.core.messages import Text, Value
from monitor.core.phases import Phase
from monitor.core.readings import Valve

RESERVE_LEAST_S: Final = 300.0
"""EN 13155: a lifter without power holds for 5 min (clause 5.2.2.7, from memory)."""

RESERVE_VAGUE_RATIO: Final = 4.0
"""A reserve likely to last this many times what is asked calls nobody, however wide its bounds still are."""

WIND_NEAR_RATIO: Final = 0.9
OVER_PLAN_RATIO: Final = 0.05
UNDER_PLAN_RATIO: Final = 0.30
UNDER_PLAN_AFTER_S: Final = 60.0
"""So long after the load grew last it is all there: a crane takes a panel up in steps, and waits between them."""

FAULT_LASTS_S: Final = 3.0
LET_OUT_KPA: Final = 8.0
"""Lost by every circuit within two seconds: no leak does that, a release valve does."""

STANDS_S: Final = 10.0
STANDS_NOISY_S: Final = 30.0
"""Wind comes in gusts, a battery sags under its pump: such a value crosses its limit to and fro."""


class Call(StrEnum):
    """What the crew is called to do, worst first."""

    LAND_NOW = "land_now"
    NO_SIGNAL = "no_signal"
    LAND_SOON = "land_soon"
    LOOK = "look"
    HOLDING = "holding"
    NOT_LIFTING = "not_lifting"


WORST_FIRST: Final = tuple(Call)
RANK: Final = {call: rank for rank, call in enumerate(WORST_FIRST)}

Values = Mapping[str, Value]


@dataclass(frozen=True, slots=True)
class Row:
    """One row: when it holds it gives its values, and the call in flight and on the ground (``None``: not a call there)."""

    key: str
    in_flight: Call | None
    on_ground: Call | None
    when: Callable[[Facts], Values | None]
    stands_s: float = (
        0.0  # a row judged from an estimate or a noisy value stands so long after it last held: no flutter
    )


@dataclass(frozen=True, slots=True)
class Standing:
    """When a row last held, with its values then, and whether its circuit has been lost sight of since."""

    held_s: float
    values: Values
    lost: bool = False


@dataclass(frozen=True, slots=True)
class Called:
    """A call with its headline and reason, and the rows that still stand."""

    call: Call
    headline: Text
    reason: Text
    in_flight: bool = False
    standing: Mapping[str, Standing] = field(default_factory=dict)


def _first(facts: Facts, test: Callable[[CircuitFacts], bool]) -> CircuitFacts | None:
    return next((circuit for circuit in facts.used() if test(circuit)), None)


def _about(circuit: CircuitFacts, **values: Value) -> Values:
    return {"circuit": circuit.id, "vacuum_kpa": circuit.vacuum_kpa, **values}


def _lifter_alarm(facts: Facts) -> Values | None:
    return {} if facts.lifter_alarm else None


def _may_carry(facts: Facts) -> bool:
    """The load is on, or nobody knows it to be off in a phase that carries: a silent cell or none proves nothing."""
    return facts.load_known is LoadKnown.ON or (facts.load_known is LoadKnown.UNSURE and facts.in_flight)


def opens_under_load(facts: Facts) -> bool:
    """Vacuum is being let out while the lifter carries, or may: the valve says so, or every circuit falls fast at once."""
    if not _may_carry(facts):
        return False
    used = [c for c in facts.used() if c.state is not CircuitState.NO_READING]
    falls = len(used) > 1 and all(c.lost_kpa >= LET_OUT_KPA for c in used)
    return falls or (facts.valve is Valve.OPEN and any(c.lost_kpa > 0.0 for c in used))


def _release_under_load(facts: Facts) -> Values | None:
    return {} if facts.load_known is LoadKnown.ON and opens_under_load(facts) else None


def _release_unsure(facts: Facts) -> Values | None:
    """The same where the load cell is silent or doubtful, or there is none."""
    return {} if facts.load_known is LoadKnown.UNSURE and opens_under_load(facts) else None


def _critical(facts: Facts) -> Values | None:
    """Below what this load needs, as last heard: a circuit that fell silent there has not recovered."""
    hit = _first(
        facts,
        lambda c: (
            facts.in_flight and c.needed_kpa is not None and c.vacuum_kpa is not None and c.vacuum_kpa < c.needed_kpa
        ),
    )
    return None if hit is None else _about(hit, needed_kpa=hit.needed_kpa)


def _low(facts: Facts) -> Values | None:
    hit = _first(
        facts,
        lambda c: (
            c.state is CircuitState.LOW
            or (facts.in_flight and c.vacuum_kpa is not None and c.vacuum_kpa <= c.config.warning_kpa)
        ),
    )
    return None if hit is None else _about(hit, warning_kpa=hit.config.warning_kpa)


def _margin_gone(facts: Facts) -> Values | None:
    if facts.holding is None and facts.judged_kg is not None and facts.judged_kg >= facts.config.wll_kg:
        return {"governs": "plate", "rated_kg": facts.config.wll_kg, "judged_kg": facts.judged_kg}
    if facts.holding is None or facts.holding.margin_kg is None or facts.judged_kg is None:
        return None
    if facts.holding.margin_kg > 0.0 or (not facts.in_flight and not _all_sealed(facts)):
        return None
    return {"governs": facts.holding.governs, "rated_kg": facts.holding.rated_kg, "judged_kg": facts.judged_kg}


def _all_sealed(facts: Facts) -> bool:
    return all(c.vacuum_kpa is not None and c.vacuum_kpa > c.config.warning_kpa for c in facts.used())


def _early_s(circuit: CircuitFacts) -> float | None:
    """The early bound of a fall that is established; a projection still vague by noise alone calls nobody."""
    if circuit.state in UNHEARD:
        return None
    if circuit.to_warning is None or circuit.leak is None or not circuit.leak.falling:
        return None
    return circuit.to_warning.early_s


def _soonest(facts: Facts, within_s: float) -> Values | None:
    timed = [(early_s, c) for c in facts.used() if (early_s := _early_s(c)) is not None and early_s < within_s]
    if not timed:
        return None
    early_s, circuit = min(timed, key=lambda pair: pair[0])
    likely_s = circuit.to_warning.likely_s if circuit.to_warning is not None else None
    return _about(
        circuit,
        early_s=early_s,
        likely_s=likely_s,
        level=circuit.level,
        level_kpa=circuit.level_kpa,
        time_to_land_s=facts.landing_s,
    )


def _early_under_landing(facts: Facts) -> Values | None:
    return _soonest(facts, facts.landing_s)


def _early_under_twice_landing(facts: Facts) -> Values | None:
    return _soonest(facts, 2.0 * facts.landing_s)


def _silent_after_trouble(facts: Facts) -> Values | None:
    """Nothing believed of a circuit that was losing, or of the lifter after its pump or battery failed."""
    hit = _first(
        facts,
        lambda c: (
            (c.state is CircuitState.NO_READING or _is_faulty(c))
            and (c.before is CircuitState.LOSING or c.pump_trouble in STOPPED)
        ),
    )
    if hit is not None:
        return _about(hit, age_s=hit.age_s)
    if facts.silent and _battery_low(facts) is not None:
        return {"circuit": None, "age_s": _last_age_s(facts)}
    return None


def _last_age_s(facts: Facts) -> float | None:
    return None if facts.last_reading_s is None else facts.now_s - facts.last_reading_s


def _silent(facts: Facts) -> Values | None:
    return {"age_s": _last_age_s(facts)} if facts.silent else None


def _draws_down(facts: Facts, circuit: CircuitFacts) -> bool:
    """Before anything is lifted the pump is still making the vacuum: what would be left without it says nothing yet."""
    return facts.phase is Phase.SEALING and circuit.pump_runs()


def _reserve_under(facts: Facts, within_s: float) -> Values | None:
    timed = [
        (c.reserve.early_s, c)
        for c in facts.used()
        if c.state in {CircuitState.HOLDING, CircuitState.LOSING}
        and not _draws_down(facts, c)
        and c.reserve is not None
        and c.reserve.early_s is not None
        and c.reserve.early_s < within_s
        and (c.reserve.early_s > 0.0 or (c.vacuum_kpa or 0.0) <= c.level_kpa)  # zero above the level: only just sealed
        and c.reserve.likely_s is not None
        and c.reserve.likely_s < RESERVE_VAGUE_RATIO * within_s
    ]
    if not timed:
        return None
    early_s, circuit = min(timed, key=lambda pair: pair[0])
    return _about(circuit, early_s=early_s, level=circuit.level, time_to_land_s=facts.landing_s)


def _reserve_under_landing(facts: Facts) -> Values | None:
    return _reserve_under(facts, facts.landing_s)


def _reserve_short(facts: Facts) -> Values | None:
    return _reserve_under(facts, max(RESERVE_LEAST_S, 2.0 * facts.landing_s))


STOPPED: Final = frozenset({"not_building", "not_starting"})
ATTACHED_STATES: Final = frozenset({CircuitState.HOLDING, CircuitState.LOSING, CircuitState.LOW, CircuitState.CRITICAL})


def _pump_stopped(facts: Facts) -> Values | None:
    states = ATTACHED_STATES | UNHEARD if facts.in_flight else ATTACHED_STATES
    hit = _first(facts, lambda c: c.pump_trouble in STOPPED and c.state in states)
    return None if hit is None else _about(hit, trouble=hit.pump_trouble)


def _no_reading(facts: Facts) -> Values | None:
    hit = _first(facts, lambda c: c.state is CircuitState.NO_READING)
    return None if hit is None else _about(hit, age_s=hit.age_s)


def _sensor_fault(facts: Facts) -> Values | None:
    hit = _first(facts, _is_faulty)
    return None if hit is None else _about(hit, fault=hit.fault)


def _is_faulty(circuit: CircuitFacts) -> bool:
    return circuit.state is CircuitState.SENSOR_FAULT and circuit.fault_for_s >= FAULT_LASTS_S


def _sensor_doubt(facts: Facts) -> Values | None:
    hit = _first(facts, lambda c: c.state is CircuitState.SENSOR_FAULT)
    return None if hit is None else _about(hit, fault=hit.fault)


def _battery_low(facts: Facts) -> Values | None:
    limit_v, battery_v = facts.config.battery_low_v, facts.heard["battery_v"]
    if battery_v is None or limit_v is None or battery_v >= limit_v:
        return None
    return {"battery_v": battery_v, "limit_v": limit_v}


def _battery_will_not_last(facts: Facts) -> Values | None:
    """The battery may be low before a landing begun in good time is over."""
    to_low, within_s = facts.battery_to_low, 2.0 * facts.landing_s
    if to_low is None or to_low.early_s is None or to_low.early_s >= within_s:
        return None
    return {
        "limit_v": facts.config.battery_low_v,
        "early_s": to_low.early_s,
        "likely_s": to_low.likely_s,
        "time_to_land_s": facts.landing_s,
    }


def over_plan_limit_kg(facts: Facts) -> float | None:
    """The load from which a lift is over its plan, kg; ``None`` without one. Check: 620 kg planned, 5 kg accuracy: 651 kg."""
    if facts.planned_kg is None:
        return None
    return facts.planned_kg + max(OVER_PLAN_RATIO * facts.planned_kg, 2.0 * facts.config.load_accuracy_kg)


def _over_plan(facts: Facts) -> Values | None:
    measured_kg, limit_kg = facts.load.largest_kg, over_plan_limit_kg(facts)
    if limit_kg is None or measured_kg is None or measured_kg <= limit_kg:
        return None
    return {"load_kg": measured_kg, "planned_kg": facts.planned_kg}


def _under_plan(facts: Facts) -> Values | None:
    """Far less than planned hangs there, by the load cell: another panel, or a cell that reads too little."""
    measured_kg, planned_kg, grew_s = facts.load.largest_kg, facts.planned_kg, facts.load.grew_s
    if measured_kg is None or planned_kg is None or grew_s is None or facts.now_s - grew_s < UNDER_PLAN_AFTER_S:
        return None
    short_kg = max(UNDER_PLAN_RATIO * planned_kg, 2.0 * facts.config.load_accuracy_kg)
    return {"load_kg": measured_kg, "planned_kg": planned_kg} if planned_kg - measured_kg > short_kg else None


def _losing(facts: Facts) -> Values | None:
    hit = _first(facts, lambda c: c.state is CircuitState.LOSING)
    if hit is None or hit.to_warning is None:
        return None
    return _about(hit, early_s=hit.to_warning.early_s, likely_s=hit.to_warning.likely_s, level=hit.level)


def _too_early(facts: Facts) -> Values | None:
    hit = _first(facts, lambda c: c.state is CircuitState.HOLDING and c.to_warning is None)
    return None if hit is None else _about(hit)


def _load_unknown(facts: Facts) -> Values | None:
    if facts.load_lost or (facts.judged_kg is None and not facts.load_fresh):  # a load just coming on is known enough
        return {"load_lost": int(facts.load_lost)}
    return None


def _tilt_outside_plan(facts: Facts) -> Values | None:
    return {"tilt_deg": facts.heard["tilt_deg"]} if facts.tilt_outside_plan else None


def _wind_near(facts: Facts) -> Values | None:
    limit_m_s, wind_m_s = facts.wind_limit_m_s, facts.heard["wind_m_s"]
    if wind_m_s is None or limit_m_s is None or wind_m_s < WIND_NEAR_RATIO * limit_m_s:
        return None
    return {"wind_m_s": wind_m_s, "limit_m_s": limit_m_s, "at": facts.config.wind_at}


def _open_in_flight(facts: Facts) -> Values | None:
    hit = _first(facts, lambda c: c.state in {CircuitState.OPEN, CircuitState.BUILDING})
    return None if hit is None else _about(hit, warning_kpa=hit.config.warning_kpa)


def _load_returns(facts: Facts) -> Values | None:
    return None if facts.released_load_kg is None else {"load_kg": facts.released_load_kg}


def _load_on_open(facts: Facts) -> Values | None:
    on = facts.phase is Phase.IDLE and facts.load_known is LoadKnown.ON
    return {"load_kg": facts.load_kg} if on else None


def _building(facts: Facts) -> Values | None:
    return _open_in_flight(facts) if facts.phase in {Phase.SEALING, Phase.SEAL_TEST} else None


def _opened(facts: Facts) -> Values | None:
    return _open_in_flight(facts) if facts.phase in {Phase.LANDING, Phase.PARKED} else None


ROWS: Final = (
    Row("lifter_alarm", Call.LAND_NOW, Call.LAND_NOW, _lifter_alarm, stands_s=STANDS_S),
    Row("release_under_load", Call.LAND_NOW, Call.LOOK, _release_under_load, stands_s=STANDS_S),
    Row("release_unsure", Call.LAND_NOW, None, _release_unsure, stands_s=STANDS_S),
    Row("critical", Call.LAND_NOW, Call.LOOK, _critical, stands_s=STANDS_S),
    Row("low", Call.LAND_NOW, Call.LOOK, _low, stands_s=STANDS_S),
    Row("open_in_flight", Call.LAND_NOW, None, _open_in_flight),
    Row("margin_gone", Call.LAND_NOW, Call.LOOK, _margin_gone, stands_s=STANDS_S),
    Row("early_under_landing", Call.LAND_NOW, Call.LOOK, _early_under_landing, stands_s=STANDS_S),
    Row("silent_after_trouble", Call.LAND_NOW, None, _silent_after_trouble),
    Row("load_returns", Call.LAND_NOW, Call.LAND_NOW, _load_returns, stands_s=STANDS_S),
    Row("silent", Call.NO_SIGNAL, Call.NO_SIGNAL, _silent),
    Row("early_under_twice_landing", Call.LAND_SOON, Call.LOOK, _early_under_twice_landing, stands_s=STANDS_S),
    Row("reserve_under_landing", Call.LAND_SOON, Call.LOOK, _reserve_under_landing, stands_s=STANDS_S),
    Row("pump_stopped", Call.LAND_SOON, Call.LOOK, _pump_stopped),
    Row("no_reading", Call.LAND_SOON, Call.LOOK, _no_reading),
    Row("sensor_fault", Call.LAND_SOON, Call.LOOK, _sensor_fault),
    Row("battery_low", Call.LAND_SOON, Call.LOOK, _battery_low, stands_s=STANDS_NOISY_S),
    Row("battery_will_not_last", Call.LAND_SOON, Call.LOOK, _battery_will_not_last, stands_s=STANDS_NOISY_S),
    Row("over_plan", Call.LAND_SOON, Call.LOOK, _over_plan),
    Row("sensor_doubt", Call.LOOK, Call.LOOK, _sensor_doubt, stands_s=STANDS_S),
    Row("losing", Call.LOOK, Call.LOOK, _losing, stands_s=STANDS_S),
    Row("reserve_short", Call.LOOK, Call.LOOK, _reserve_short, stands_s=STANDS_S),
    Row("building", None, Call.LOOK, _building),
    Row("opened", None, Call.LOOK, _opened),
    Row("load_on_open", Call.LOOK, Call.LOOK, _load_on_open),
    Row("load_unknown", Call.LOOK, None, _load_unknown),
    Row("tilt_outside_plan", Call.LOOK, Call.LOOK, _tilt_outside_plan, stands_s=STANDS_S),
    Row("wind_near", Call.LOOK, Call.LOOK, _wind_near, stands_s=STANDS_NOISY_S),
    Row("too_early", Call.LOOK, None, _too_early),
    Row("under_plan", Call.LOOK, None, _under_plan),
)
"""Rows of equal call are told in this order."""

WITH_OPEN_PADS: Final = frozenset(row.key for row in ROWS if row.on_ground is Call.LAND_NOW)
"""Rows that stand on after every pad was let go: the others are over with it."""


def judge(facts: Facts, before: Called | None) -> Called:
    """The call, its headline and its reason. ``before`` is the call last made: a standing `land_now` outlives silence."""
    if facts.silent and before is not None and before.call is Call.LAND_NOW:
        lost = {key: replace(last, lost=True) for key, last in before.standing.items()}
        return replace(before, reason=Text("reason.standing", {"age_s": _last_age_s(facts)}), standing=lost)
    detached = not facts.in_flight and any(c.state is CircuitState.OPEN for c in facts.used())
    kept = before.standing if before is not None and before.in_flight is facts.in_flight else {}
    if detached:
        kept = {key: last for key, last in kept.items() if key in WITH_OPEN_PADS}
    standing: dict[str, Standing] = {}
    best: tuple[int, Row, Values] | None = None
    for row in ROWS:
        call = row.in_flight if facts.in_flight else row.on_ground
        if call is None:
            continue
        values = row.when(facts)
        if row.stands_s > 0.0 and (values is not None or row.key in kept):
            values = _stands(row, values, facts, kept, standing)
        if values is not None and (best is None or RANK[call] < best[0]):
            best = RANK[call], row, values
    if best is None:
        call, headline, reason = _calm(facts)
    else:
        rank, row, values = best
        call = WORST_FIRST[rank]
        key = f"reason.{row.key}"
        if values.get("level") == "needed":
            key += ".needed"
        if "likely_s" in values and values["likely_s"] is None:
            key += ".likely_beyond"
        headline, reason = _headline(call, row.key, values, facts), Text(key, values)
    return Called(call, headline, reason, in_flight=facts.in_flight, standing=standing)


def _stands(
    row: Row, values: Values | None, facts: Facts, kept: Mapping[str, Standing], standing: dict[str, Standing]
) -> Values | None:
    """The values of a row that holds now, or still stands since it last held."""
    if values is not None:
        standing[row.key] = Standing(facts.now_s, values)
        return values
    last = kept[row.key]
    circuit = facts.circuits.get(str(last.values.get("circuit")))
    if circuit is not None and (circuit.state in UNHEARD or (last.lost and circuit.to_warning is None)):
        last = Standing(
            facts.now_s, last.values, lost=True
        )  # silence is no recovery: it stands until the estimate is back
    elif facts.now_s - last.held_s >= row.stands_s:
        return None
    standing[row.key] = last
    return last.values


def _calm(facts: Facts) -> tuple[Call, Text, Text]:
    if facts.phase in {Phase.IDLE, Phase.RELEASED, Phase.PARKED}:
        key = "parked" if facts.phase is Phase.PARKED else "not_attached"
        return Call.NOT_LIFTING, Text("headline.not_lifting"), Text(f"reason.{key}")
    margin_kg = facts.holding.margin_kg if facts.holding is not None else None
    circuits_n = len(facts.used())
    reason = Text("reason.holding", {"circuits_n": circuits_n, "margin_kg": margin_kg})
    return Call.HOLDING, Text("headline.holding"), reason


def with_alarm(called: Called, about: str | None, facts: Facts) -> Called:
    """`holding` is never said while an alarm of high priority stands; ``about`` is its circuit, empty for the lifter.

    An alarm stands a minute at least, a row near its limit ten seconds: what is over is still something to look at.
    """
    if called.call is not Call.HOLDING or about is None:
        return called
    values: Values = {"circuit": about} if about else {}
    key = "reason.alarm_stands.circuit" if about else "reason.alarm_stands"
    return replace(
        called, call=Call.LOOK, headline=_headline(Call.LOOK, "alarm_stands", values, facts), reason=Text(key, values)
    )


def with_partner(called: Called, facts: Facts) -> Called:
    """Two lifters on one panel: the worse call shows on both. Told, never kept: a partner's call must not echo back."""
    for lifter, (call, _) in facts.partners.items():
        partner = Call(call)
        if RANK[partner] < RANK[called.call] and partner is not Call.NOT_LIFTING:
            called = Called(partner, Text(f"headline.{partner}"), Text("reason.tandem", {"lifter": lifter}))
    return called


def _headline(call: Call, key: str, values: Values, facts: Facts) -> Text:
    if key == "load_returns":
        return Text("headline.stop_hoisting_grips")
    if not facts.in_flight:
        if call is Call.NO_SIGNAL:
            return Text("headline.read_the_gauge")
        return Text("headline.do_not_lift")
    match call:
        case Call.LAND_NOW if key == "margin_gone" and facts.tilt_outside_plan:
            return Text("headline.tilt_back")
        case Call.LAND_NOW if facts.phase is Phase.LIFTING:
            return Text("headline.stop_hoisting")
        case Call.LOOK if "circuit" in values:
            return Text("headline.look_at_circuit", {"circuit": values["circuit"]})
        case _:
            return Text(f"headline.{call}")
