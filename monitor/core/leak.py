"""Leak of each circuit of one lifter, and the time until a level, from readings as they come.

Readings are gathered into blocks of about a second; a bank of hypotheses (``leak_bank``) explains each circuit's blocks; the
part a hoist explains is set apart (``leak_common``), pump strokes end one stretch and begin another (``leak_pump``), and the
weighed hypotheses are carried forward to the level (``leak_project``). Memory and time per reading are fixed.
"""

import math
from typing import Final

from monitor.core.leak_blocks import BLOCK_S, gather, second_var_kpa2
from monitor.core.leak_common import Common, temperature_kpa_per_s
from monitor.core.leak_follow import climb, flush, forget
from monitor.core.leak_project import Around, RateQuantiles, feared, gaussian, rate_quantiles, time_to
from monitor.core.leak_pump import rate_at_rest
from monitor.core.leak_state import CircuitTrack, LeakConfig, LeakSample, LeakState, LeakView, known, resuming
from monitor.core.timing import stale_after_s
from monitor.core.units import HOIST_KPA_PER_M, S_PER_MIN
from monitor.core.warning_time import Bounds

__all__ = [
    "Bounds",
    "LeakConfig",
    "LeakSample",
    "LeakState",
    "LeakView",
    "advance",
    "begin",
    "reserve",
    "to_level",
    "view",
]

_GAP_LEAST_S: Final = 6.0
_LEAST_S: Final = 1e-3  # circuits that come one by one in an instant are no time apart
_WAITED_S: Final = 2.0 * BLOCK_S
_STROKE_FROM: Final = 0.7
_SOON: Final = 1.25  # a block ends with the last reading expected in it: the next may be late by a quarter
_QUICKEST_N: Final = 4
_QUICK_READINGS_N: Final = 5
_QUICK_SD_KPA: Final = 0.012
"""Blocks are as short as a quarter of a second where so many readings tell the vacuum so well; others would only be noisier."""

_COVER_KPA: Final = 0.5


def begin(config: LeakConfig) -> LeakState:
    """A state that knows nothing yet."""
    circuits_n = len(config.circuits)
    return LeakState(
        config=config,
        tracks=[CircuitTrack(circuit) for circuit in config.circuits],
        common=Common([None] * circuits_n),
        ambient_kpa=config.ambient_kpa,
        beside=[[] for _ in config.circuits],
        shift_kpa=[0.0] * circuits_n,
    )


def advance(state: LeakState, sample: LeakSample, now_s: float) -> LeakState:
    """Fold one instant in. Changes ``state`` and returns it.

    Circuits may come one by one in an instant: what has been heard in it already is left out, and so is an earlier instant.
    """
    if state.last_s is not None:
        waited_s = now_s - state.last_s
        if waited_s < 0.0 or (waited_s == 0.0 and not _brings_news(state, sample)):
            return state
        if waited_s > max(_GAP_LEAST_S, stale_after_s(state.interval_s)):
            flush(state)
            forget(state)
        else:
            if waited_s > _WAITED_S:
                flush(state)  # what comes after a pause is no part of what was before it
            state.paced_n += 1
            state.interval_s += max(0.1, 1.0 / state.paced_n) * (min(waited_s, _GAP_LEAST_S) - state.interval_s)
    turned = False
    for track, circuit in zip(state.tracks, state.config.circuits, strict=True):
        reported = sample.pump.get(circuit)
        turned |= reported is not None and reported is not track.pump.reported
    if turned:
        flush(state)
    if state.block_from_s is None:
        state.block_from_s = now_s
    if state.second_from_s is None:
        state.second_from_s = now_s
    for track, circuit in zip(state.tracks, state.config.circuits, strict=True):
        track.pump.reported = sample.pump.get(circuit)
        value = sample.vacuum_kpa.get(circuit)
        if value is not None and math.isfinite(value):
            gather(track.gatherer, value, now_s)
    if sample.ambient_kpa is not None and "ambient" not in state.climb_doubted:
        climb(state, "ambient", -sample.ambient_kpa, now_s)
    elif sample.height_m is not None and "height" not in state.climb_doubted:
        climb(state, "height", HOIST_KPA_PER_M * sample.height_m, now_s)
    state.last_s = now_s
    soon_s = now_s + _SOON * state.interval_s
    if state.paced_n and soon_s >= state.block_from_s + BLOCK_S / _blocks_n(state):
        flush(state, second_ends=soon_s >= state.second_from_s + BLOCK_S)
    return state


def _brings_news(state: LeakState, sample: LeakSample) -> bool:
    """Whether a circuit is heard that was not yet in the last instant."""
    heard = (sample.vacuum_kpa.get(track.circuit) for track in state.tracks if track.gatherer.heard_s != state.last_s)
    return any(value is not None for value in heard)


def _blocks_n(state: LeakState) -> int:
    """How many blocks a second is cut into: more than one where the gauges are fine and quick."""
    noise_var = max(track.gatherer.noise_var for track in state.tracks)
    least_s = max(state.interval_s, _LEAST_S) * max(_QUICK_READINGS_N, noise_var / _QUICK_SD_KPA**2)
    return max(min(int(BLOCK_S / least_s), _QUICKEST_N), 1)


def view(state: LeakState, circuit: str, now_s: float) -> LeakView:
    """What is known of a circuit's leak now: as of the last block, like its times."""
    at_s = now_s if state.bank is None else state.bank.at_s
    track = state.tracks[state.config.circuits.index(circuit)]
    assumed = []
    if not state.climb_source:
        assumed.append("ambient")
    if track.pump.reported is None:
        assumed.append("pump")
    if (track.pump.running or not known(track)) and rate_at_rest(track.pump, at_s) is not None:
        assumed.append("seal_test")
    told: tuple[float | None, float | None, float | None] = (None, None, None)
    rate = _off_quantiles(track, at_s)
    if rate is not None:
        told = (S_PER_MIN * rate.middle, S_PER_MIN * rate.low, S_PER_MIN * rate.high)
    return LeakView(*told, falling=track.falling, pump=_pump_word(track, state), assumed=tuple(assumed))


def to_level(state: LeakState, circuit: str, level_kpa: float, now_s: float) -> Bounds | None:
    """Time until a circuit's vacuum reaches a level as things are going now, pump and all; ``None``: too early to say."""
    return _told(state, circuit, level_kpa, now_s, "going")


def reserve(state: LeakState, circuit: str, level_kpa: float, now_s: float) -> Bounds | None:
    """Time until the level if the pump or its power stopped now; ``None``: what it leaks at rest is not known."""
    return _told(state, circuit, level_kpa, now_s, "rest")


def _told(state: LeakState, circuit: str, level_kpa: float, now_s: float, how: str) -> Bounds | None:
    track = state.tracks[state.config.circuits.index(circuit)]
    if state.bank is None or track.block is None or resuming(track):
        return None
    if how == "rest" and not track.pump.running and _starts_at(state, track) is None:
        how = "found"  # the pump rests already
    key = (how, level_kpa)
    if key not in track.bounds:
        track.bounds[key] = _project(state, track, level_kpa, how)
    bounds = track.bounds[key]
    if bounds is None:
        return None
    age_s = max(now_s - state.bank.at_s, 0.0)
    return Bounds(
        *(None if t is None else max(t - age_s, 0.0) for t in (bounds.early_s, bounds.likely_s, bounds.late_s))
    )


def _project(state: LeakState, track: CircuitTrack, level_kpa: float, how: str) -> Bounds | None:
    """Bounds of a level ``going`` on as now, the pump at ``rest``, or ``found`` as now without what may have begun unseen."""
    bank, block, pump = state.bank, track.block, track.pump
    if bank is None or block is None:
        return None
    ready = known(track)
    seen_kpa = max(one.mean_kpa for one in (*track.before, block))  # others may be wild
    if how != "rest" and level_kpa < seen_kpa and _covered(state, track, level_kpa, seen_kpa, known_rate=ready):
        return Bounds(None, None, None)
    at_rest = rate_at_rest(pump, bank.at_s)
    resting = gaussian(block.mean_kpa, at_rest) if at_rest is not None else None
    mixed = track.mixed if ready else None
    if (how == "rest" and pump.running) or (mixed is None and not pump.running):
        mixed = resting  # the last stretch at rest, while this one is too young or none
    if mixed is None:
        return Bounds(0.0, 0.0, 0.0) if track.before and seen_kpa <= level_kpa else None
    if block.mean_kpa > level_kpa >= float((mixed.weight * mixed.level).sum()):
        return None  # just begun, perhaps on a wild reading
    around = Around(
        state.ambient_kpa,
        state.config.horizon_s,
        temperature_kpa_per_s(state.ambient_kpa, block.mean_kpa),
        second_var_kpa2(track.gatherer, block) if mixed is track.mixed else math.inf,
    )
    if how != "going":
        return time_to(mixed, level_kpa, around)
    if ("found", level_kpa) not in track.bounds:
        track.bounds["found", level_kpa] = time_to(mixed, level_kpa, around)
    found = track.bounds["found", level_kpa]
    return None if found is None else feared(found, mixed, level_kpa, around)


def _covered(state: LeakState, track: CircuitTrack, level_kpa: float, seen_kpa: float, *, known_rate: bool) -> bool:
    """Whether the pump can be counted on to come in, or to end its stroke, before the level."""
    pump, block = track.pump, track.block
    if state.bank is None or block is None or pump.doubted:
        return False
    if pump.running:
        return not known_rate and pump.cycling(state.bank.at_s)  # one more stroke
    starts_kpa = _starts_at(state, track)
    if starts_kpa is None or starts_kpa <= level_kpa:
        return False
    return seen_kpa >= starts_kpa - _COVER_KPA - 3.0 * math.sqrt(block.var_kpa2)


def _starts_at(state: LeakState, track: CircuitTrack) -> float | None:
    """Vacuum at which a resting pump will come in, if it can be counted on."""
    pump, at_s = track.pump, 0.0 if state.bank is None else state.bank.at_s
    if pump.cycling(at_s):
        return sorted(pump.lows_kpa)[(len(pump.lows_kpa) - 1) // 2]
    starts_kpa = state.config.pump_start_kpa.get(track.circuit)
    if starts_kpa is not None and any(low_kpa >= _STROKE_FROM * starts_kpa for low_kpa in pump.lows_kpa):
        return starts_kpa
    return None  # a pump not yet seen to come in by itself may not come in


def _off_quantiles(track: CircuitTrack, now_s: float) -> RateQuantiles | None:
    if not track.pump.running and known(track):
        return track.quantiles
    at_rest = rate_at_rest(track.pump, now_s)
    return None if at_rest is None else rate_quantiles([gaussian(0.0, at_rest)])[0]


def _pump_word(track: CircuitTrack, state: LeakState) -> str | None:
    at_s = 0.0 if state.bank is None else state.bank.at_s
    if track.pump.cycling(at_s):
        return "cycling"
    if track.pump.reported is not None:
        return str(track.pump.reported)
    return "on" if track.pump.running else None
