"""Every figure of a lifter over its lifts: leak, pump-down, duty and gauges per circuit, and its battery. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core import comparable
from monitor.core.comparable import Effects
from monitor.core.config import LifterConfig
from monitor.core.trends import DAY_S, Bounds, Trend, compare, trend

Floats = NDArray[np.float64]

PUMP_SLOWER_RATIO: Final = 1.5
"""A pump that takes this much longer than in its first lifts is due (common practice: filters first)."""

ZERO_OFF_KPA: Final = 1.6
"""A gauge of class 1.6 with 100 kPa span may be off by this much (EN 837-1)."""

FIRST_N: Final = 30
"""Lifts that say how quick a pump was when it was new or renewed."""

LEAST_SCATTER: Final = {"leak": 0.002, "pump_down": 0.1, "duty": 0.002, "zero": 0.1, "apart": 0.1, "battery": 0.05}
"""What a figure is known to at best (kPa/min, s, share, kPa, kPa, V): gauges step by 0.1 kPa (common practice)."""

THIN_S: Final = 20.0
"""A leak known for less time than this on a lift is left out, and counted."""


@dataclass(frozen=True, slots=True)
class CircuitColumns:
    """One circuit's figures, one a lift, shape (n,); NaN where a lift does not say."""

    leak_kpa_per_min: Floats
    at_kpa: Floats
    known_s: Floats
    pump_down_s: Floats
    pump_on_s: Floats
    open_kpa: Floats
    apart_kpa: Floats


@dataclass(frozen=True, slots=True)
class LiftColumns:
    """The lifts of one lifter, oldest first, shape (n,)."""

    ids: Sequence[str]
    utc_s: Floats
    duration_s: Floats
    temperature_c: Floats
    ambient_kpa: Floats
    surface: NDArray[np.str_]
    battery_v: Floats
    circuits: Mapping[str, CircuitColumns]


@dataclass(frozen=True, slots=True)
class Service:
    """What somebody noted: ``about`` is "circuit A", "pump A", "gauge A", "battery", or "" for the whole lifter."""

    utc_s: float
    about: str
    note: str
    who: str


@dataclass(frozen=True, slots=True)
class CircuitTrends:
    """One circuit."""

    id: str
    leak: Trend
    thin_n: int  # lifts whose leak was known too shortly
    sisters: Bounds | None  # times its sisters' leak
    temperature_per_k: Bounds | None  # how its leak follows the temperature
    pump_down: Trend
    duty: Trend
    zero: Trend
    apart: Trend


@dataclass(frozen=True, slots=True)
class LifterTrends:
    """One lifter."""

    lifter: str
    ids: Sequence[str]
    utc_s: Floats
    limit_kpa_per_min: float
    circuits: Mapping[str, CircuitTrends]
    battery: Trend
    services: tuple[Service, ...]


def follow(config: LifterConfig, lifts: LiftColumns, services: Sequence[Service], now_utc_s: float) -> LifterTrends:
    """All trends of a lifter.

    Args:
        config: The lifter as its site file has it now.
        lifts: Its lifts.
        services: What was noted, in any order.
        now_utc_s: What "now" is.
    """
    services = tuple(sorted(services, key=lambda one: one.utc_s))
    limit = config.service_leak_kpa_per_min
    leaks = {name: _leak(name, lifts, services, limit, now_utc_s) for name in config.circuits if name in lifts.circuits}
    circuits = {}
    for name, (leak, thin_n, effects) in leaks.items():
        others = [other.values for key, (other, _, _) in leaks.items() if key != name]
        circuits[name] = _circuit(name, lifts, services, now_utc_s, leak, thin_n, effects, others)
    done = _times(services, "battery")
    days, battery_v = by_day(lifts.utc_s, lifts.battery_v, done)
    limit_v = config.battery_low_v
    battery = trend(
        days,
        battery_v,
        now_utc_s=now_utc_s,
        services_utc_s=done,
        limit=limit_v,
        worse_up=False,
        least_scatter=LEAST_SCATTER["battery"],
    )
    return LifterTrends(config.id, lifts.ids, lifts.utc_s, limit, circuits, battery, services)


def conditions(lifts: LiftColumns) -> tuple[Floats, Floats]:
    """The conditions of each lift as columns, shape (n, k), and how large the effect of each may well be, shape (k,)."""
    temperature = np.nan_to_num(lifts.temperature_c - comparable.REFERENCE_C)
    columns, prior = [temperature], [comparable.PRIOR_SD_PER_K]
    for surface in sorted(set(lifts.surface.tolist()) - {"dry"}):
        columns.append((lifts.surface == surface).astype(np.float64))
        prior.append(comparable.PRIOR_SD_SURFACE)
    return np.column_stack(columns), np.asarray(prior)


def by_day(utc_s: Floats, values: Floats, parted_utc_s: Sequence[float]) -> tuple[Floats, Floats]:
    """The (lower) median of each day's values at the day's middle lift; a day is parted where a service fell into it.

    Slow figures need no more: twenty thousand lifts are a few hundred days.
    """
    known = np.isfinite(values)
    utc_s, values = utc_s[known], values[known]
    if not len(values):
        return utc_s, values
    group = np.floor(utc_s / DAY_S) + np.searchsorted(np.asarray(parted_utc_s), utc_s, side="right") / (
        1.0 + len(parted_utc_s)
    )
    _, begins = np.unique(group, return_index=True)
    middle = begins + (np.diff(np.append(begins, len(values))) - 1) // 2
    return utc_s[middle], values[np.lexsort((values, group))][middle]


def _leak(
    name: str, lifts: LiftColumns, services: Sequence[Service], limit: float, now_utc_s: float
) -> tuple[Trend, int, Effects]:
    one = lifts.circuits[name]
    ambient = np.where(np.isfinite(lifts.ambient_kpa), lifts.ambient_kpa, comparable.REFERENCE_AMBIENT_KPA)
    temperature = np.where(np.isfinite(lifts.temperature_c), lifts.temperature_c, comparable.REFERENCE_C)
    at_kpa = np.where(np.isfinite(one.at_kpa), one.at_kpa, comparable.REFERENCE_KPA)
    known = np.isfinite(one.leak_kpa_per_min)
    thin = known & (one.known_s < THIN_S)
    values = np.where(known & ~thin, one.leak_kpa_per_min, np.nan)
    values = values / comparable.flow_ratio(at_kpa, ambient, temperature)
    columns, prior = conditions(lifts)
    usable = np.isfinite(values)
    effects = comparable.learn_effects(values[usable], columns[usable], prior)
    made = trend(
        lifts.utc_s,
        values / comparable.effect_ratio(effects, columns),
        now_utc_s=now_utc_s,
        services_utc_s=_times(services, f"circuit {name}"),
        limit=limit,
        least_scatter=LEAST_SCATTER["leak"],
        columns=columns,
        effects=effects,
    )
    return made, int(thin.sum()), effects


def _circuit(
    name: str,
    lifts: LiftColumns,
    services: Sequence[Service],
    now_utc_s: float,
    leak: Trend,
    thin_n: int,
    effects: Effects,
    others: Sequence[Floats],
) -> CircuitTrends:
    one = lifts.circuits[name]
    gauge, pump = _times(services, f"gauge {name}"), _times(services, f"pump {name}")

    def plain(figure: str, values: Floats, done_utc_s: Sequence[float], limit: float | None) -> Trend:
        days, middles = by_day(lifts.utc_s, values, done_utc_s)
        return trend(
            days,
            middles,
            now_utc_s=now_utc_s,
            services_utc_s=done_utc_s,
            limit=limit,
            least_scatter=LEAST_SCATTER[figure],
        )

    first = one.pump_down_s[np.isfinite(one.pump_down_s)][:FIRST_N]
    quick_s = float(np.median(first)) if len(first) else None
    per_k, sd = float(effects.beta[0]), float(effects.sd[0])
    return CircuitTrends(
        id=name,
        leak=leak,
        thin_n=thin_n,
        sisters=compare(leak.values, others),
        temperature_per_k=Bounds(per_k - 1.645 * sd, per_k, per_k + 1.645 * sd),
        pump_down=plain("pump_down", one.pump_down_s, pump, None if quick_s is None else PUMP_SLOWER_RATIO * quick_s),
        duty=plain("duty", one.pump_on_s / np.maximum(lifts.duration_s, 1.0), pump, None),
        zero=plain("zero", np.abs(one.open_kpa), gauge, ZERO_OFF_KPA),
        apart=plain("apart", one.apart_kpa, gauge, None),
    )


def _times(services: Sequence[Service], about: str) -> list[float]:
    """When something was done to one thing, or to the whole lifter."""
    short = about.removeprefix("circuit ")
    return [one.utc_s for one in services if one.about in {about, short, "", "lifter"}]
