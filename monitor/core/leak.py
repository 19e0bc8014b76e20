"""Leak of each circuit of one lifter, and the time until a level, from readings as they come.

Readings are gathered into blocks of about a second; a bank of hypotheses (``leak_bank``) explains each circuit's blocks; the
part a hoist explains is set apart (``leak_common``), pump strokes end one stretch and begin another (``leak_pump``), and the
weighed hypotheses are carried forward to the level (``leak_project``). Memory and time per reading are fixed.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

import numpy as np

from monitor.core import leak_bank as banks
from monitor.core.leak_blocks import BLOCK_S, Block, Gatherer, close, gather
from monitor.core.leak_common import FOLLOW_S, Common, share
from monitor.core.leak_project import Mixture, RateQuantiles, gaussian, lasting_above, mixture, rate_quantiles, time_to
from monitor.core.leak_pump import PumpTrack, infer, started, stopped
from monitor.core.readings import Pump
from monitor.core.units import HOIST_KPA_PER_M, S_PER_MIN
from monitor.core.warning_time import Bounds, slackening_per_kpa

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

SURE: Final = 0.999
"""Probability at which a fall is called established; a fresh one is doubted besides (``leak_project``)."""

FALLING_KPA_PER_S: Final = 0.35 / S_PER_MIN
"""A fall counts as one beyond this: lifters in order lose up to 0.3 kPa/min (common practice)."""

_GAP_INTERVALS: Final = 3.5
_GAP_LEAST_S: Final = 6.0
_GAP_MOST_S: Final = 20.0
_KNOWN_AFTER_S: Final = 8.0
_KNOWN_SD: Final = 0.25 / S_PER_MIN
_STAIRS_DIFFER: Final = 12.0
_FRESH_S: Final = 20.0
_HOISTING_KPA_PER_S: Final = 0.2 / S_PER_MIN
_COOLING_K_PER_S: Final = 10.0 / 600.0
_GAS_K: Final = 288.0
_CLIMB_VAR_MOST: Final = 0.03**2  # what a coarse ambient gauge leaves open stands still: no noise
_COARSEST_CLIMB_KPA: Final = 0.1
_WILD_SDS: Final = 8.0
_WILD_KPA: Final = 5.0
_COVER_KPA: Final = 0.5
_OFF_RATE_WIDEN: Final = (0.03 / S_PER_MIN) ** 2
_PUMPING_RATE: Final = (-0.2, 0.5**2)


@dataclass(frozen=True, slots=True)
class LeakConfig:
    """What is known of a lifter beforehand.

    ``ambient_kpa`` is assumed while none is measured. ``hoist_height_m`` and ``hoist_speed_m_s`` bound the fall all circuits
    may share. Times beyond ``horizon_s`` are not told apart. The mappings hold only circuits whose value is known.
    """

    circuits: tuple[str, ...]
    ambient_kpa: float
    hoist_height_m: float
    hoist_speed_m_s: float
    horizon_s: float
    volume_l: Mapping[str, float] = field(default_factory=dict)
    pump_start_kpa: Mapping[str, float] = field(default_factory=dict)
    pump_stop_kpa: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LeakSample:
    """Believed values of one instant; ``None`` where none is. ``ambient_kpa`` and the rest only if measured on the lifter."""

    vacuum_kpa: Mapping[str, float | None]
    pump: Mapping[str, Pump | None] = field(default_factory=dict)
    ambient_kpa: float | None = None
    height_m: float | None = None
    temperature_c: float | None = None


@dataclass(frozen=True, slots=True)
class LeakView:
    """One circuit's leak in kPa/min, positive when vacuum is lost, with its 5 % and 95 % points; ``None``: not known yet.

    ``falling``: a real fall is established. ``pump`` is ``on``, ``off``, ``cycling`` or ``None`` (not known). ``assumed`` names
    what had to be: ``ambient`` (no ambient or height measured), ``pump`` (its state inferred from its strokes), ``seal_test``
    (``reserve`` rests on a stretch with the pump off that lies back).
    """

    leak_kpa_per_min: float | None
    low_kpa_per_min: float | None
    high_kpa_per_min: float | None
    falling: bool
    pump: str | None
    assumed: tuple[str, ...]


@dataclass(slots=True)
class CircuitTrack:
    """One circuit between blocks."""

    circuit: str
    gatherer: Gatherer = field(default_factory=Gatherer)
    pump: PumpTrack = field(default_factory=PumpTrack)
    begun_s: float | None = None
    block: Block | None = None
    before: Block | None = None
    mixed: Mixture | None = None
    quantiles: RateQuantiles | None = None
    falling: bool = False
    beyond_since_s: float | None = None
    bounds: dict[tuple[str, float], Bounds | None] = field(default_factory=dict)


@dataclass(slots=True)
class LeakState:
    """Everything remembered of one lifter. Changed in place by ``advance``; can be pickled."""

    config: LeakConfig
    tracks: list[CircuitTrack]
    bank: banks.Bank | None = None
    relative: banks.Bank | None = None
    common: Common = field(default_factory=lambda: Common([]))
    last_s: float | None = None
    interval_s: float = BLOCK_S
    block_from_s: float | None = None
    climb: Gatherer = field(default_factory=lambda: Gatherer(coarsest_kpa=_COARSEST_CLIMB_KPA))
    climb_source: str = ""
    climb_seen: str = ""
    climb_kpa: float = 0.0
    climb_var: float = 0.0
    climb_shift_kpa: float = 0.0
    ambient_kpa: float = 0.0
    relative_kpa: list[float] = field(default_factory=list)


def begin(config: LeakConfig) -> LeakState:
    """A state that knows nothing yet."""
    circuits_n = len(config.circuits)
    return LeakState(
        config=config,
        tracks=[CircuitTrack(circuit) for circuit in config.circuits],
        common=Common([None] * circuits_n),
        ambient_kpa=config.ambient_kpa,
        relative_kpa=[0.0] * circuits_n,
    )


def advance(state: LeakState, sample: LeakSample, now_s: float) -> LeakState:
    """Fold one instant in. Changes ``state`` and returns it; an instant not later than the last is left out."""
    if state.last_s is not None:
        waited_s = now_s - state.last_s
        if waited_s <= 0.0:
            return state
        if waited_s > max(_GAP_LEAST_S, min(_GAP_INTERVALS * state.interval_s, _GAP_MOST_S)):
            _flush(state)
            _forget(state, waited_s)
        else:
            state.interval_s += 0.1 * (min(waited_s, _GAP_LEAST_S) - state.interval_s)
    turned = False
    for track, circuit in zip(state.tracks, state.config.circuits, strict=True):
        reported = sample.pump.get(circuit)
        turned |= reported is not None and reported is not track.pump.reported
    if turned:
        _flush(state)
    if state.block_from_s is None:
        state.block_from_s = now_s
    for track, circuit in zip(state.tracks, state.config.circuits, strict=True):
        track.pump.reported = sample.pump.get(circuit)
        value = sample.vacuum_kpa.get(circuit)
        if value is not None and math.isfinite(value):
            gather(track.gatherer, value, now_s)
    if sample.ambient_kpa is not None:
        _climb(state, "ambient", -sample.ambient_kpa, now_s)
    elif sample.height_m is not None:
        _climb(state, "height", HOIST_KPA_PER_M * sample.height_m, now_s)
    state.last_s = now_s
    if now_s + 0.75 * state.interval_s >= state.block_from_s + BLOCK_S:
        _flush(state)
    return state


def view(state: LeakState, circuit: str, now_s: float) -> LeakView:  # noqa: ARG001
    """What is known of a circuit's leak now."""
    track = state.tracks[state.config.circuits.index(circuit)]
    assumed = []
    if not state.climb_source:
        assumed.append("ambient")
    if track.pump.reported is None:
        assumed.append("pump")
    if track.pump.running and track.pump.off_rate is not None:
        assumed.append("seal_test")
    told: tuple[float | None, float | None, float | None] = (None, None, None)
    rate = _off_quantiles(track)
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
    if state.bank is None or track.block is None:
        return None
    if how == "rest" and not track.pump.running and _starts_at(state, track) is None:
        how = "going"  # the pump rests already
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
    bank, block, pump = state.bank, track.block, track.pump
    if bank is None or block is None:
        return None
    known = _known(track)
    if how == "going" and level_kpa < block.mean_kpa and _covered(state, track, level_kpa, known=known):
        return Bounds(None, None, None)
    resting = gaussian(block.mean_kpa, pump.off_rate) if pump.off_rate is not None else None
    mixed = track.mixed if known else None
    if (how == "rest" and pump.running) or (mixed is None and not pump.running):
        mixed = resting  # the last stretch at rest, while this one is too young or none
    if mixed is None:
        two = track.before is not None and max(track.before.mean_kpa, block.mean_kpa) <= level_kpa  # one may be wild
        return Bounds(0.0, 0.0, 0.0) if two else None
    hidden = _COOLING_K_PER_S / _GAS_K * max(state.ambient_kpa - block.mean_kpa, 0.0)
    if block.mean_kpa > level_kpa >= float((mixed.weight * mixed.level).sum()):
        return None  # just begun, perhaps on a wild reading
    return time_to(
        mixed,
        level_kpa,
        ambient_kpa=state.ambient_kpa,
        horizon_s=state.config.horizon_s,
        hidden_kpa_per_s=hidden,
    )


def _covered(state: LeakState, track: CircuitTrack, level_kpa: float, *, known: bool) -> bool:
    """Whether the pump can be counted on to come in, or to end its stroke, before the level."""
    pump, block = track.pump, track.block
    if state.bank is None or block is None:
        return False
    if pump.running:
        return not known and pump.cycling(state.bank.at_s)  # one more stroke
    starts_kpa = _starts_at(state, track)
    if starts_kpa is None or starts_kpa <= level_kpa:
        return False
    return block.mean_kpa >= starts_kpa - _COVER_KPA - 3.0 * math.sqrt(block.var_kpa2)


def _starts_at(state: LeakState, track: CircuitTrack) -> float | None:
    """Vacuum at which a resting pump will come in, if it can be counted on."""
    pump, at_s = track.pump, 0.0 if state.bank is None else state.bank.at_s
    if pump.cycling(at_s):
        return sorted(pump.lows_kpa)[(len(pump.lows_kpa) - 1) // 2]
    if pump.reported is not None or pump.lows_kpa:
        return state.config.pump_start_kpa.get(track.circuit)
    return None


def _known(track: CircuitTrack) -> bool:
    if track.quantiles is None or track.begun_s is None or track.block is None:
        return False
    spread = track.quantiles.sd
    return track.block.at_s - track.begun_s >= _KNOWN_AFTER_S and spread <= max(
        _KNOWN_SD, 0.3 * abs(track.quantiles.middle)
    )


def _off_quantiles(track: CircuitTrack) -> RateQuantiles | None:
    if not track.pump.running and _known(track):
        return track.quantiles
    if track.pump.off_rate is None:
        return None
    return rate_quantiles(gaussian(0.0, track.pump.off_rate))


def _pump_word(track: CircuitTrack, state: LeakState) -> str | None:
    at_s = 0.0 if state.bank is None else state.bank.at_s
    if track.pump.cycling(at_s):
        return "cycling"
    if track.pump.reported is not None:
        return str(track.pump.reported)
    return "on" if track.pump.running else None


def _forget(state: LeakState, waited_s: float) -> None:
    """After a hole in the readings everything starts from unknown: what was learned of noise and pump rest stays."""
    state.block_from_s = None
    state.bank = state.relative = None
    for track in state.tracks:
        track.begun_s = track.block = track.before = track.mixed = track.quantiles = None
        track.falling = False
        track.bounds = {}
        track.gatherer.tail, track.gatherer.means, track.gatherer.bends = [], [], []
        if track.pump.off_rate is not None:
            mean, var = track.pump.off_rate
            track.pump.off_rate = (mean, var + _OFF_RATE_WIDEN * (1.0 + waited_s / 60.0))
    state.common.rate_kpa_per_s = state.common.ceiling_kpa_per_s = 0.0


def _flush(state: LeakState) -> None:
    """End the block under way and let every hypothesis see it."""
    if state.block_from_s is None:
        return
    state.block_from_s = None
    blocks = [close(track.gatherer) for track in state.tracks]
    times_s = [block.at_s for block in blocks if block is not None]
    if not times_s:
        close(state.climb)
        return
    at_s = sum(times_s) / len(times_s)
    rows_n = len(state.tracks)
    if state.bank is None:
        state.climb_source = ""
        state.bank = banks.Bank(rows_n + 1, at_s)
        state.relative = banks.Bank(rows_n, at_s) if rows_n > 1 else None
    bank = state.bank
    dt_s = at_s - bank.at_s
    banks.predict(bank, at_s, _slackening(state, bank.rows_n))
    mean, var = banks.moments(bank)
    seen, noise, wanted = np.zeros(rows_n + 1), np.ones(rows_n + 1), np.zeros(rows_n + 1, dtype=bool)
    seen[-1], noise[-1], wanted[-1] = _follow_climb(state, bank)
    if wanted[-1]:
        state.climb_kpa, climb_var = banks.level_after(bank, rows_n, seen[-1], noise[-1])
        state.climb_var = min(climb_var, _CLIMB_VAR_MOST)
    jumped = [False] * rows_n
    for row, (track, block) in enumerate(zip(state.tracks, blocks, strict=True)):
        track.bounds = {}
        if block is None:
            if track.block is not None and at_s - track.block.at_s > _GAP_MOST_S:
                track.begun_s = track.block = track.before = track.mixed = track.quantiles = None
                track.falling = False
            continue
        fixed_kpa = block.mean_kpa + state.climb_kpa
        rate = float(mean[1, row])
        sd = math.sqrt(block.var_kpa2 + float(var[0, row]))
        if track.begun_s is None:
            banks.restart(bank, row, fixed_kpa, block.var_kpa2)
            track.begun_s = at_s
        else:
            jumped[row] = _follow_pump(state, track, row, block, fixed_kpa, float(mean[0, row]), sd)
        seen[row] = fixed_kpa + rate * (block.at_s - at_s)
        noise[row] = block.var_kpa2 + state.climb_var
        wanted[row] = not block.still and track.pump.suspect_s is None
    banks.observe(bank, seen, noise, wanted)
    if state.relative is not None and not state.climb_source:
        _follow_relative(state, state.relative, blocks, jumped, at_s, dt_s)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)
    for track, block in zip(state.tracks, blocks, strict=True):
        if block is not None:
            track.before, track.block = track.block, block
    _judge(state, dt_s)


def _slackening(state: LeakState, rows_n: int) -> banks.Floats:
    """How the flow laws slacken the leaks now, shape (2, circuits), 1/s."""
    found = np.zeros((2, rows_n))
    for row, track in enumerate(state.tracks):
        if track.block is not None and track.quantiles is not None and not track.pump.running:
            rate = min(max(track.quantiles.middle, 0.0), 1.0)
            for law, ratio in enumerate(slackening_per_kpa(track.block.mean_kpa, ambient_kpa=state.ambient_kpa)):
                found[law, row] = -min(ratio, 0.1) * rate
    return found


def _climb(state: LeakState, source: str, value_kpa: float, now_s: float) -> None:
    """Take one reading of how far the ambient pressure has fallen; one source to a block."""
    if source == state.climb_seen or not state.climb.values_kpa:
        state.climb_seen = source
        gather(state.climb, value_kpa, now_s)


def _follow_climb(state: LeakState, bank: banks.Bank) -> tuple[float, float, bool]:
    """Block of the measured fall of the ambient pressure: mean, variance, whether it says anything.

    What it said last stays the fall so far when the source changes: the new one is shifted to join without a step.
    """
    row = len(state.tracks)
    block = close(state.climb)
    source = "" if block is None else state.climb_seen
    if source != state.climb_source and block is not None:
        state.climb_shift_kpa = state.climb_kpa - block.mean_kpa
        state.climb.tail, state.climb.means, state.climb.stood_s = [], [], 0.0
        banks.restart(bank, row, state.climb_kpa, block.var_kpa2)
    state.climb_source = source
    if block is None:
        return 0.0, 1.0, False
    if source == "ambient":
        state.ambient_kpa = -block.mean_kpa
    return block.mean_kpa + state.climb_shift_kpa, block.var_kpa2, not block.still


def _follow_pump(
    state: LeakState, track: CircuitTrack, row: int, block: Block, fixed_kpa: float, expected_kpa: float, sd: float
) -> bool:
    """Start a new stretch when the pump starts or stops. Returns whether it did."""
    pump, bank = track.pump, state.bank
    if bank is None:
        return False
    if pump.reported is not None:
        runs = pump.reported is Pump.ON
        turn = None if runs is pump.running else runs
    else:
        turn = infer(pump, fixed_kpa, block.at_s, expected_kpa, sd)
    if turn is None:
        if not pump.running and pump.suspect_s is None:
            pump.calm_kpa = block.mean_kpa
        return False
    strays = abs(fixed_kpa - expected_kpa) > max(_WILD_SDS * sd, _WILD_KPA)
    level_kpa = (
        expected_kpa if strays and pump.reported is not None else fixed_kpa
    )  # no stretch begins on a wild reading
    if turn:
        known = track.quantiles if _known(track) else None
        started(pump, block.mean_kpa, block.at_s, None if known is None else (known.middle, known.sd**2))
        banks.restart(bank, row, level_kpa, block.var_kpa2, rate=_PUMPING_RATE)
        track.falling = False
    else:
        stopped(pump)
        rate = None if pump.off_rate is None else (pump.off_rate[0], pump.off_rate[1] + _OFF_RATE_WIDEN)
        banks.restart(bank, row, level_kpa, block.var_kpa2, rate=rate)
    track.begun_s = block.at_s
    return True


def _follow_relative(
    state: LeakState, bank: banks.Bank, blocks: list[Block | None], jumped: list[bool], at_s: float, dt_s: float
) -> None:
    """Each circuit against the mean of the others that rest: free of any hoist."""
    rows_n = len(blocks)
    change = [math.nan] * rows_n
    for row, (track, block) in enumerate(zip(state.tracks, blocks, strict=True)):
        if block is not None and track.block is not None and not track.pump.running and not jumped[row]:
            change[row] = block.mean_kpa - track.block.mean_kpa
    seen, noise, wanted = np.zeros(rows_n), np.ones(rows_n), np.zeros(rows_n, dtype=bool)
    banks.predict(bank, at_s, _slackening(state, bank.rows_n))
    for row, block in enumerate(blocks):
        others = [n for n in range(rows_n) if n != row and not math.isnan(change[n])]
        if block is None or math.isnan(change[row]) or not others:
            continue
        state.relative_kpa[row] += change[row] - sum(change[n] for n in others) / len(others)
        variances = [other.var_kpa2 for n in others if (other := blocks[n]) is not None]
        noise[row] = block.var_kpa2 + sum(variances) / len(others) ** 2
        if block.stair or any(other.stair for n in others if (other := blocks[n]) is not None):
            noise[row] *= _STAIRS_DIFFER  # gauges step at different times while the vacuum moves together
        seen[row] = state.relative_kpa[row]
        if bank.since_s[row] == math.inf:
            banks.restart(bank, row, seen[row], noise[row])
        wanted[row] = not (block.still and all(other is None or other.still for other in blocks))
    banks.observe(bank, seen, noise, wanted)
    if dt_s > 0.0:
        banks.spawn(bank, dt_s)


def _judge(state: LeakState, dt_s: float) -> None:
    """Rates, the hoist's part of them, and whether a fall is established, after a block."""
    bank, config = state.bank, state.config
    if bank is None:
        return
    rates: list[tuple[float, float] | None] = []
    settled = []
    for row, track in enumerate(state.tracks):
        if track.begun_s is None or track.block is None:
            track.mixed = None
            rates.append(None)
            settled.append(False)
            continue
        track.mixed = mixture(bank, row, level_shift_kpa=-state.climb_kpa)
        track.quantiles = rate_quantiles(track.mixed)
        rate = track.quantiles
        young = bank.at_s - track.begun_s < _KNOWN_AFTER_S
        rates.append(None if track.pump.running or young else (rate.middle, rate.sd))
        settled.append(rate.sd < 0.05 / S_PER_MIN and bank.at_s - track.begun_s > 30.0)
    measured = bool(state.climb_source)
    if not measured:
        share(
            state.common, rates, dt_s, height_m=config.hoist_height_m, speed_m_s=config.hoist_speed_m_s, settled=settled
        )
    for row, track in enumerate(state.tracks):
        if track.mixed is None or track.pump.running:
            track.falling = False
            continue
        rested_s = math.inf if track.begun_s is None else bank.at_s - track.begun_s
        fall = lasting_above(track.mixed, FALLING_KPA_PER_S, settling_since_s=rested_s)
        others_n = sum(rate is not None for n, rate in enumerate(rates) if n != row)
        if measured or others_n == 0 or state.relative is None:
            track.falling = _known_fall(track, fall, bank.at_s)
            continue
        fresh = _fresh_share(bank, row)
        own = (
            lasting_above(mixture(state.relative, row), FALLING_KPA_PER_S, settling_since_s=rested_s)
            if state.relative.since_s[row] < math.inf
            else 0.0
        )
        beyond = lasting_above(
            track.mixed, state.common.ceiling_kpa_per_s + FALLING_KPA_PER_S, settling_since_s=rested_s
        )
        if beyond < SURE:
            track.beyond_since_s = None
        elif track.beyond_since_s is None:
            track.beyond_since_s = bank.at_s
        if track.beyond_since_s is None or bank.at_s - track.beyond_since_s < FOLLOW_S:
            beyond = 0.0  # the other circuits may be about to follow: then it is a hoist
        track.falling = _known_fall(track, min(fall, max(own, beyond)), bank.at_s)
        hoist = state.common.rate_kpa_per_s
        unsettled = fresh >= 0.3 or (hoist == 0.0 and state.common.ceiling_kpa_per_s > _HOISTING_KPA_PER_S)
        if (unsettled or hoist > 0.0) and own < SURE and state.relative.since_s[row] < math.inf:
            # the others may be about to follow, or do: what sets this one apart, on top of what the others lose
            usual = state.common.usual_kpa_per_s
            base = [
                usual[n] if unsettled else rate[0] - hoist
                for n, rate in enumerate(rates)
                if n != row and rate is not None
            ]
            now_kpa = float((track.mixed.weight * track.mixed.level).sum())
            apart = mixture(state.relative, row)
            apart.level += now_kpa - float((apart.weight * apart.level).sum())
            apart.rate += sum(rate or 0.0 for rate in base) / len(base)
            track.mixed = apart
        elif hoist > 0.0:
            track.mixed.rate -= hoist
        track.quantiles = rate_quantiles(track.mixed)


def _known_fall(track: CircuitTrack, sure: float, at_s: float) -> bool:
    return sure >= SURE and track.begun_s is not None and at_s - track.begun_s >= 3.0


def _fresh_share(bank: banks.Bank, row: int) -> float:
    """Weight of the hypotheses whose onset is so recent that other circuits may not have shown theirs yet."""
    young = bank.at_s - bank.onset_s[:, row] <= _FRESH_S
    young[bank.slots[-1]] = False  # what began with the record is no change
    return float(np.exp(bank.log_weight[young, row]).sum())
