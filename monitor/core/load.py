"""What hangs on the lifter: net load, the largest steady load of this lift, and whether it is known to be on or off.

Three answers, not two: a load that is neither surely on nor steadily off is ``UNSURE`` and treated as on.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from monitor.core.config import LifterConfig, LoadMeasures
from monitor.core.timing import lasted, learned, since
from monitor.core.timing import stale_after_s as stale_by

STEADY_OVER_S: Final = 3.0
"""A steady load is one that stayed: the low decile of this window. A swing or a bounce does not count."""

OFF_FOR_S: Final = 5.0
"""Weight is off once the net load has stayed in the band around zero for so long (DESIGN: release table)."""

OFF_READINGS_N: Final = 3
"""And so many readings in a row must say so: one through the zero of a swing is not off."""

ON_FOR_S: Final = 0.6
"""A bump is not a pick: the load counts as on after staying above ``load_on_kg`` for so long."""

COARSE_RATIO: Final = 0.25
"""A cell whose zero band is more than this share of the lift's largest load is too coarse for the panel."""

OFF_LEAST_KG: Final = 10.0
OFF_RATIO: Final = 0.03
OFF_ACCURACIES: Final = 2.0
OVER_BAND_FOR_S: Final = 2.0
WINDOW_MOST_N: Final = 64

LEAPS_RATIO: Final = 0.5
LEAP_WEIGHT: Final = 0.1
LEAPS_MOST_RATIO: Final = 0.5
"""A load that leaps to and fro by half of this lift's largest, more often than every second reading over some ten, is a broken
cell's. The worst bounce at touch-down comes and goes within several readings, and a pick goes one way."""


class LoadKnown(StrEnum):
    """Whether the lifter carries the load."""

    ON = "on"
    OFF = "off"
    UNSURE = "unsure"


@dataclass(frozen=True, slots=True)
class Load:
    """What is remembered of the load. Mass in kg, net of the tare."""

    net_kg: float | None = None
    at_s: float | None = None
    window: tuple[tuple[float, float], ...] = ()
    largest_kg: float | None = None
    in_band_since_s: float | None = None
    in_band_n: int = 0
    above_since_s: float | None = None
    confirmed_off: bool = False
    grew_s: float | None = None
    gaps_s: tuple[float, ...] = ()
    interval_s: float | None = None
    over_band_since_s: float | None = None
    heard_kg: float | None = None
    step_kg: float = 0.0
    leap_ratio: float = 0.0


def has_cell(config: LifterConfig) -> bool:
    """Whether the site file says that a load is measured at all."""
    return config.load_measures is not LoadMeasures.NONE


def off_band_kg(config: LifterConfig, largest_kg: float | None) -> float:
    """Half width of the band around zero inside which the weight counts as off, kg.

    Source: DESIGN, release table: the larger of 10 kg, 3 % of this lift's largest load, twice the cell's accuracy.
    Check: 622 kg largest, 5 kg accuracy: 18.66 kg.
    """
    return max(OFF_LEAST_KG, OFF_RATIO * (largest_kg or 0.0), OFF_ACCURACIES * config.load_accuracy_kg)


def take(load: Load, load_kg: float | None, now_s: float, *, config: LifterConfig) -> Load:
    """Fold a live reading's load in. ``None`` changes nothing: its age grows."""
    if load_kg is None or not has_cell(config):
        return load
    tare_kg = 0.0 if config.load_measures is LoadMeasures.NET else config.tare_kg
    net_kg = load_kg - tare_kg
    step_kg = 0.0 if load.heard_kg is None else net_kg - load.heard_kg
    leaps = (
        load.largest_kg is not None and abs(step_kg) > LEAPS_RATIO * load.largest_kg and step_kg * load.step_kg < 0.0
    )
    leap_ratio = load.leap_ratio + LEAP_WEIGHT * (float(leaps) - load.leap_ratio)
    if leap_ratio > LEAPS_MOST_RATIO:  # as if not given: its age grows
        return replace(load, heard_kg=net_kg, step_kg=step_kg, leap_ratio=leap_ratio)
    window = (*(w for w in load.window if now_s - w[0] < STEADY_OVER_S), (now_s, net_kg))[-WINDOW_MOST_N:]
    values = sorted(w[1] for w in window)
    steady_kg = values[len(values) // 10]
    above_since_s = since(load.above_since_s, net_kg > config.load_on_kg, now_s)
    largest_kg = load.largest_kg
    grew_s = load.grew_s
    if above_since_s is not None and steady_kg > config.load_on_kg and steady_kg > (largest_kg or 0.0):
        if largest_kg is None or steady_kg > 1.02 * largest_kg:
            grew_s = now_s
        largest_kg = steady_kg
    band_kg = off_band_kg(config, largest_kg)
    in_band_since_s = since(load.in_band_since_s, abs(net_kg) <= band_kg, now_s)
    gaps_s, interval_s = learned(load.gaps_s, load.at_s, now_s)
    return Load(
        gaps_s=gaps_s,
        interval_s=interval_s,
        over_band_since_s=since(load.over_band_since_s, net_kg > band_kg, now_s),
        heard_kg=net_kg,
        step_kg=step_kg,
        leap_ratio=leap_ratio,
        net_kg=net_kg,
        at_s=now_s,
        window=window,
        largest_kg=largest_kg,
        in_band_since_s=in_band_since_s,
        in_band_n=0 if in_band_since_s is None else load.in_band_n + 1,
        above_since_s=above_since_s,
        confirmed_off=load.confirmed_off,
        grew_s=grew_s,
    )


def is_fresh(load: Load, now_s: float, stale_after_s: float) -> bool:
    """Whether the load reading is young enough to mean anything: by its own interval, by the lifter's until that is known."""
    if load.at_s is None:
        return False
    return now_s - load.at_s <= (stale_after_s if load.interval_s is None else stale_by(load.interval_s))


def hangs_unproven(load: Load, now_s: float) -> bool:
    """A weight above the band around zero has been on for a while, yet under ``load_on_kg``: a small panel may hang."""
    return lasted(load.over_band_since_s, OVER_BAND_FOR_S, now_s)


def known(load: Load, now_s: float, *, config: LifterConfig, stale_after_s: float) -> LoadKnown:
    """Whether the load is known to be on or off. Silence is neither."""
    if not has_cell(config):
        return LoadKnown.OFF if load.confirmed_off else LoadKnown.UNSURE
    if not is_fresh(load, now_s, stale_after_s) or load.net_kg is None:
        return LoadKnown.UNSURE
    if lasted(load.above_since_s, ON_FOR_S, now_s):
        return LoadKnown.ON
    if lasted(load.in_band_since_s, OFF_FOR_S, load.at_s or 0.0) and load.in_band_n >= OFF_READINGS_N:
        return LoadKnown.OFF  # heard to be off for so long: silence is no part of it
    return LoadKnown.UNSURE


def restart_band(load: Load) -> Load:
    """Begin the 5 s in the band anew: after a gap in the readings nothing is known of what happened in it."""
    return replace(load, in_band_since_s=None, in_band_n=0, above_since_s=None)


def begin_lift(load: Load) -> Load:
    """Forget the last lift's largest load, and the time spent in the band it made wider."""
    return replace(load, largest_kg=None, grew_s=None, confirmed_off=False, in_band_since_s=None, in_band_n=0)


def is_coarse(config: LifterConfig, largest_kg: float | None) -> bool:
    """Whether the cell cannot tell this panel from none."""
    return largest_kg is not None and off_band_kg(config, largest_kg) > COARSE_RATIO * largest_kg
