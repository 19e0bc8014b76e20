"""What is known to have moved a gauge since its value last changed: rule 1's definition of a frozen one.

Its pump's strokes; the ambient pressure or height measured on the lifter; the load coming on or off; the other circuits; and
that another one was let go and drawn down again, as this one must have been.
What moves one circuit alone says nothing of another, so the others count only where something moves all of them at once.
Looked at on ticks. A coarse gauge on a good seal may stand still: each cause must be worth several of its quanta.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Final

from monitor.core.circuits import open_kpa
from monitor.core.config import CircuitConfig
from monitor.core.readings import Pump
from monitor.core.sensors import ABSOLUTE, BACK_WITHIN_S, Gauge
from monitor.core.standstill import LEAST_S, Standstill

ROUNDING_KPA: Final = 1e-6
FINE_QUANTUM_KPA: Final = 0.2 + ROUNDING_KPA
COARSE_QUANTUM_KPA: Final = 1.0 + ROUNDING_KPA
PUMP_MOVES_WITHIN_S: Final = 10.0
"""A fine gauge cannot stand still for so long over the start of its pump, nor over its stop below the stop level."""

STROKE_LEAST_S: Final = 2.0
STROKES_N: Final = 2
"""A stroke lifts the vacuum from start to stop level, by kilopascals (common practice): a fine gauge shows one, any other,
and one stuck since its first reading, two."""

STOPS_BELOW_KPA: Final = 0.5
QUANTA: Final = 4.0
LEAST_KPA: Final = 0.2
NOISE_SDS: Final = 6.0
"""What moves it must be worth so many quanta of the gauge, this much at least, and so many standard deviations of what shows
it."""

TOGETHER_S: Final = 30.0
"""The others must move together within so long: their own normal leaks move them less."""

LET_GO_S: Final = BACK_WITHIN_S + 1.0
"""A circuit that reads open for less was not let go: its gauge may have jumped down and back."""

SETTLED_S: Final = 60.0
"""So long after a stroke the gas warms, and a circuit's vacuum falls by itself."""

SEVERAL_N: Final = 3
LOAD_BEFORE_S: Final = 2.5
LOAD_AFTER_S: Final = 6.0
LOAD_MOVES_KPA: Final = 1.0
"""What the others must show over the load coming on or off: a leak would have to be of 7 kPa/min and begin with it."""

READINGS_LEAST_N: Final = 3


@dataclass(frozen=True, slots=True)
class Seen:
    """What a circuit read lately: the middle of it, and how surely."""

    vacuum_kpa: float
    sd_kpa: float
    settled: bool  # its pump is said to rest, and has for a while


@dataclass(frozen=True, slots=True)
class Scene:
    """What could move a gauge, at one tick. ``climb_kpa``: what the ambient pressure alone takes from every vacuum."""

    at_s: float
    climb_kpa: float | None
    seen: Mapping[str, Seen]


@dataclass(frozen=True, slots=True)
class Drawn:
    """Whether a circuit was seen above its warning level last, or open; since when open, when let go, when drawn down again."""

    is_drawn: bool
    opened_s: float = -math.inf
    let_go_s: float = -math.inf
    drawn_s: float = -math.inf


@dataclass(slots=True)
class Witness:
    """The last scenes of one lifter, and the one in which each gauge took its present value. Updated in place."""

    scenes: list[Scene] = field(default_factory=list)
    loaded_s: float = -math.inf
    marks: dict[tuple[str, str], tuple[float, Scene]] = field(default_factory=dict)
    drawn: dict[str, Drawn] = field(default_factory=dict)
    climbs: tuple[tuple[float, float], ...] = ()
    climb_from: str = ""
    heights_m: tuple[float, ...] = ()
    loaded: bool | None = None
    turned: Scene | None = None
    turned_s: float = 0.0


def climbed(witness: Witness, source: str, climb_kpa: float, at_s: float) -> None:
    """Note what ``source`` ("ambient" or "height") measured on the lifter says, at its reading."""
    if source != witness.climb_from:
        witness.climb_from, witness.climbs = source, ()
        witness.marks.clear()
    witness.climbs = (*witness.climbs[-2:], (at_s, climb_kpa))


def hook_m(witness: Witness) -> float | None:
    """Height of the hook by the middle of the last three readings of it, however old; None before there are three."""
    return sorted(witness.heights_m)[1] if len(witness.heights_m) == SEVERAL_N else None


def climb_kpa(witness: Witness, now_s: float, stale_after_s: float) -> float | None:
    """What the height takes from every vacuum, by the middle of the last three readings: one wild value is no hoist."""
    fresh = [climb for at_s, climb in witness.climbs if now_s - at_s <= stale_after_s]
    return sorted(fresh)[1] if len(fresh) == SEVERAL_N else None


def look(
    witness: Witness,
    gauges: Mapping[str, Gauge],
    recent: Mapping[str, tuple[tuple[float, float], ...]],
    now_s: float,
    *,
    config: Mapping[str, CircuitConfig],
    loaded: bool | None,
    stale_after_s: float,
) -> dict[str, tuple[str, ...]]:
    """Which gauges, by circuit, stand still although something must have moved them.

    Args:
        witness: What is remembered; updated in place.
        gauges: By circuit.
        recent: The values believed of each circuit lately, with their times.
        now_s: Engine time of the tick.
        config: Of each circuit. While it holds nothing its gauge may stand still, whatever its pump does.
        loaded: Whether the load cell feels a load, ``None`` while that is not known.
        stale_after_s: Age from which a reading means nothing.
    """
    scene = Scene(now_s, climb_kpa(witness, now_s, stale_after_s), _seen(gauges, recent, now_s))
    witness.scenes = [*(s for s in witness.scenes if now_s - s.at_s <= TOGETHER_S), scene]
    before = witness.scenes[0]
    turned = _load_turned(witness, loaded, now_s)
    _note_drawn(witness, gauges, now_s, config)
    frozen: dict[str, tuple[str, ...]] = {}
    witness.marks = {(c, name): mark for (c, name), mark in witness.marks.items() if name in gauges[c].stills}
    for circuit, gauge in gauges.items():
        for name, still in gauge.stills.items():
            since_s, mark = witness.marks.get((circuit, name), (None, scene))
            if since_s != still.since_s:
                witness.marks[circuit, name] = still.since_s, scene
                continue
            if (
                still.frozen
                or not gauge.just_heard(name)
                or now_s - still.since_s < LEAST_S
                or (gauge.vacuum_kpa or 0.0) <= open_kpa(config[circuit])
            ):
                continue
            if (
                _pump_moved(gauge, still, now_s, config[circuit].pump_stop_kpa)
                or _other_drawn(circuit, gauge, witness, still)
            ) or (
                name != ABSOLUTE
                and gauge.pump is not Pump.ON
                and (
                    _climbed_away(mark, scene, still)
                    or (still.since_s <= before.at_s and _others_moved(circuit, before, scene, still))
                    or (
                        turned is not None
                        and still.since_s <= turned.at_s
                        and _load_moved(circuit, turned, scene, still)
                    )
                )
            ):
                frozen[circuit] = (*frozen.get(circuit, ()), name)
    return frozen


def _seen(
    gauges: Mapping[str, Gauge], recent: Mapping[str, tuple[tuple[float, float], ...]], now_s: float
) -> dict[str, Seen]:
    seen: dict[str, Seen] = {}
    for circuit, pairs in recent.items():
        gauge = gauges[circuit]
        values = sorted(value for _, value in pairs)
        if len(values) < READINGS_LEAST_N or gauge.fault is not None or now_s - pairs[-1][0] > LEAST_S:
            continue
        noise_kpa = max((still.noise_kpa for still in gauge.stills.values()), default=0.0)
        rested = gauge.pump_stopped_s is None or now_s - gauge.pump_stopped_s >= SETTLED_S
        sd_kpa = 1.25 * noise_kpa / len(values) ** 0.5  # of a median: 1.25 times that of a mean
        seen[circuit] = Seen(values[len(values) // 2], sd_kpa, rested and gauge.pump is Pump.OFF)
    return seen


def _pump_moved(gauge: Gauge, still: Standstill, now_s: float, stop_kpa: float | None) -> bool:
    strokes = sum(start_s >= still.since_s and stop_s - start_s >= STROKE_LEAST_S for start_s, stop_s in gauge.strokes)
    if still.quantum_kpa is not None and still.quantum_kpa > COARSE_QUANTUM_KPA:
        return False
    if strokes >= STROKES_N:
        return True
    if still.quantum_kpa is None or still.quantum_kpa > FINE_QUANTUM_KPA:
        return False
    if strokes:
        return True
    started_s, stopped_s = gauge.pump_started_s, gauge.pump_stopped_s
    if gauge.pump is Pump.ON:
        return started_s is not None and still.since_s <= started_s <= now_s - PUMP_MOVES_WITHIN_S
    below = stop_kpa is not None and gauge.vacuum_kpa is not None and gauge.vacuum_kpa < stop_kpa - STOPS_BELOW_KPA
    return below and stopped_s is not None and still.since_s + LEAST_S <= stopped_s <= now_s - PUMP_MOVES_WITHIN_S


def _note_drawn(
    witness: Witness, gauges: Mapping[str, Gauge], now_s: float, config: Mapping[str, CircuitConfig]
) -> None:
    for circuit, gauge in gauges.items():
        if gauge.vacuum_kpa is None or gauge.at_s is None or gauge.fault is not None or now_s - gauge.at_s > LEAST_S:
            continue
        last = witness.drawn.get(circuit)
        if gauge.vacuum_kpa <= open_kpa(config[circuit]):
            if last is None:
                witness.drawn[circuit] = Drawn(False, opened_s=now_s)
            elif last.is_drawn:
                witness.drawn[circuit] = replace(last, is_drawn=False, opened_s=now_s, let_go_s=now_s)
        elif gauge.vacuum_kpa >= config[circuit].warning_kpa:
            if last is None:
                witness.drawn[circuit] = Drawn(True)
            elif not last.is_drawn:
                was_let_go = now_s - last.opened_s >= LET_GO_S
                drawn_s = now_s if was_let_go else last.drawn_s
                witness.drawn[circuit] = replace(last, is_drawn=True, drawn_s=drawn_s)


def _other_drawn(circuit: str, gauge: Gauge, witness: Witness, still: Standstill) -> bool:
    """Another circuit was let go and drawn down again; beside a gauge that never moved it is enough that one was drawn down.

    The pump of this one must have come on meanwhile, so that its pads were set anew too; where it says nothing, a lift must lie
    between: on the ground one circuit alone may be set again for its bad seal.
    """
    for other, last in witness.drawn.items():
        if other == circuit or last.drawn_s < still.since_s:
            continue
        if still.step_kpa == 0.0:
            if gauge.pump is None or _came_on_since(gauge, still.since_s):
                return True
        elif still.since_s <= last.let_go_s <= last.drawn_s:
            lifted = still.since_s <= witness.loaded_s <= last.let_go_s
            if _came_on_since(gauge, last.let_go_s) or (gauge.pump is None and lifted):
                return True
    return False


def _came_on_since(gauge: Gauge, from_s: float) -> bool:
    return gauge.pump_started_s is not None and gauge.pump_started_s >= from_s


def _least_move_kpa(still: Standstill) -> float:
    """What a gauge must show; one that has not moved since it was first heard may be the coarsest there is."""
    return max(LEAST_KPA, QUANTA * (COARSE_QUANTUM_KPA if still.quantum_kpa is None else still.quantum_kpa))


def _climbed_away(mark: Scene, scene: Scene, still: Standstill) -> bool:
    if mark.climb_kpa is None or scene.climb_kpa is None:
        return False
    return abs(scene.climb_kpa - mark.climb_kpa) >= _least_move_kpa(still)


def _moves(circuit: str, before: Scene, scene: Scene, still: Standstill) -> list[float]:
    """How far each other circuit moved, of those seen in both scenes; nothing where one of them hardly did."""
    moves = []
    for other, now in scene.seen.items():
        then = before.seen.get(other)
        if other == circuit or then is None:
            continue
        move_kpa = now.vacuum_kpa - then.vacuum_kpa
        if abs(move_kpa) < max(_least_move_kpa(still), NOISE_SDS * (now.sd_kpa + then.sd_kpa)):
            return []
        moves.append(move_kpa)
    return moves if all(move < 0.0 for move in moves) or all(move > 0.0 for move in moves) else []


def _others_moved(circuit: str, before: Scene, scene: Scene, still: Standstill) -> bool:
    """All the others, two or more, moved the same way with their pumps resting: something moves every circuit."""
    if not all(part.settled for view in (before, scene) for other, part in view.seen.items() if other != circuit):
        return False
    return len(_moves(circuit, before, scene, still)) >= SEVERAL_N - 1


def _load_turned(witness: Witness, loaded: bool | None, now_s: float) -> Scene | None:
    """The scene just before the load came on or off, a little after that; else ``None``."""
    if loaded:
        witness.loaded_s = now_s
    if loaded is not None:
        if witness.loaded is not None and loaded is not witness.loaded:
            early = [scene for scene in witness.scenes if now_s - scene.at_s >= LOAD_BEFORE_S]
            witness.turned, witness.turned_s = early[-1] if early else None, now_s
        witness.loaded = loaded
    if witness.turned is None or now_s - witness.turned_s < LOAD_AFTER_S:
        return None
    turned, witness.turned = witness.turned, None
    return turned


def _load_moved(circuit: str, turned: Scene, scene: Scene, still: Standstill) -> bool:
    moves = _moves(circuit, turned, scene, still)
    return bool(moves) and min(abs(move) for move in moves) >= LOAD_MOVES_KPA
