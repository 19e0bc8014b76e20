"""From the weighed hypotheses of one circuit to the quantiles of its rate and of its time to a level."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from monitor.core.leak_bank import (
    AGE_FROM_S,
    BASED,
    GROWTH,
    KINDS,
    LAMINAR,
    LEVEL,
    P_GROWTH,
    P_LEVEL,
    P_LEVEL_GROWTH,
    P_LEVEL_RATE,
    P_RATE,
    P_RATE_GROWTH,
    POWER,
    RATE,
    RATE_WANDER,
    RATE_WANDER_RATIO,
    SETTLING,
    STEADY,
    Bank,
)
from monitor.core.warning_time import (
    Bounds,
    laminar_distance_kpa,
    normal_cdf,
    orifice_distance_kpa,
)

Floats = NDArray[np.float64]

SHARES: Final = (0.05, 0.5, 0.95)
_KEPT_N: Final = 16
_ASIDE: Final = np.array([[-math.sqrt(3.0)], [0.0], [math.sqrt(3.0)]])
_ASIDE_WEIGHT: Final = np.array([[1 / 6], [2 / 3], [1 / 6]])
_RATE_SHARES: Final = np.array([0.05, 0.16, 0.5, 0.84, 0.95])
_GRID_SDS: Final = np.array([-2.5, -1.6, -1.0, -0.5, -0.2, 0.2, 0.5, 1.0, 1.6, 2.5])
_COARSE: Final = np.linspace(0.0, 1.0, 26)
_FINE: Final = np.linspace(0.0, 1.0, 9)
_FIRST_S: Final = 4.0
_FRESH_S: Final = 30.0
_FRESH_DOUBT: Final = math.log(100.0)
"""The first changes that noise suggests are told only once the evidence for them is so much stronger."""

_LASTING_S: Final = 60.0

GROWTH_FEAR: Final = 2.0
GROWTH_DOUBT: Final = 0.07
"""The early bound gives growth the benefit of the doubt; the likely and the late time believe it only on evidence."""

BEND_SD_RATIO: Final = 0.35
"""A growing leak may go on growing by another law: uncertainty of what the growth adds, over what it adds."""


@dataclass(slots=True)
class Mixture:
    """The likeliest hypotheses of one circuit, shapes (n,): levels in kPa of vacuum, rates in kPa/s, positive falling.

    ``kind`` indexes ``KINDS``; ``base`` is lost besides ``rate``, steadily.
    """

    weight: Floats
    kind: NDArray[np.int_]
    age_s: Floats
    level: Floats
    rate: Floats
    growth: Floats
    base: Floats
    p_level: Floats
    p_cross: Floats
    p_rate: Floats


class RateQuantiles(NamedTuple):
    """5 %, 16 %, 50 %, 84 % and 95 % points of a rate, kPa/s."""

    low: float
    lower: float
    middle: float
    upper: float
    high: float

    @property
    def sd(self) -> float:
        """Half the width of the middle 68 %: a standard deviation that a few per cent of strays do not widen."""
        return 0.5 * (self.upper - self.lower)


def mixture(bank: Bank, row: int, *, level_shift_kpa: float = 0.0) -> Mixture:
    """The hypotheses of a row that matter, their levels shifted; each split in three over its growth (Gauss-Hermite)."""
    onset_s = bank.onset_s[:, row]
    fresh = bank.at_s - onset_s < _FRESH_S
    fresh[bank.slots[-1]] = False  # what began with the record is no change
    log_weight = (bank.log_weight[:, row] - _FRESH_DOUBT * fresh[:, None]).ravel()
    log_weight -= log_weight.max()
    kept = np.argpartition(log_weight, -_KEPT_N)[-_KEPT_N:]
    kept = kept[log_weight[kept] > -9.0]
    state = bank.state[:, :, row].reshape(P_GROWTH + 1, -1)[:, kept]
    slot, kind = kept // len(KINDS), kept % len(KINDS)
    growth_var = np.maximum(state[P_GROWTH], 1e-16)
    aside = _ASIDE * np.sqrt(growth_var)
    by_growth_level, by_growth_rate = state[P_LEVEL_GROWTH] / growth_var, state[P_RATE_GROWTH] / growth_var
    p_level = np.maximum(state[P_LEVEL] - by_growth_level * state[P_LEVEL_GROWTH], 1e-12)
    p_rate = np.maximum(state[P_RATE] - by_growth_rate * state[P_RATE_GROWTH], 1e-18)
    p_cross = state[P_LEVEL_RATE] - by_growth_level * state[P_RATE_GROWTH]
    weight = np.exp(log_weight[kept])
    return Mixture(
        ((weight / weight.sum()) * _ASIDE_WEIGHT).ravel(),
        _thrice(kind),
        _thrice(bank.at_s - onset_s[slot]),
        (state[LEVEL] + level_shift_kpa + by_growth_level * aside).ravel(),
        (state[RATE] + by_growth_rate * aside).ravel(),
        (state[GROWTH] + aside).ravel(),
        _thrice(bank.base[slot, row] * BASED[kind]),
        _thrice(p_level),
        _thrice(p_cross),
        _thrice(p_rate),
    )


def _thrice(values: NDArray[Any]) -> NDArray[Any]:
    return np.concatenate((values, values, values))


def gaussian(level_kpa: float, rate: tuple[float, float]) -> Mixture:
    """A steady fall from a level, with a remembered (mean, variance) of its rate, by either law."""
    two = np.ones(2)
    zero = np.zeros(2)
    kind = np.array([STEADY, STEADY + 1])
    return Mixture(0.5 * two, kind, zero, level_kpa * two, rate[0] * two, zero, zero, zero, zero, rate[1] * two)


def lasting_above(mixed: Mixture, rate_kpa_per_s: float, *, settling_since_s: float) -> float:
    """Probability that the rate is above a value and will be so a minute on.

    Gas settles only after its pump stopped: a hypothesis of settling counts if it is as old as the stretch, which began
    ``settling_since_s`` ago.
    """
    settles = (mixed.kind < SETTLING.stop) & (mixed.age_s >= settling_since_s - 3.0)
    rate = mixed.rate * np.where(settles, np.exp(mixed.growth * _LASTING_S), 1.0) + mixed.base
    return float((mixed.weight * normal_cdf((rate - rate_kpa_per_s) / np.sqrt(mixed.p_rate))).sum())


def rate_quantiles(mixed: Mixture) -> RateQuantiles:
    """Points of the rate's distribution, kPa/s."""
    sd = np.sqrt(mixed.p_rate)
    rate = mixed.rate + mixed.base
    heavy = mixed.weight > 0.01
    grid = np.sort((rate[heavy, None] + sd[heavy, None] * _GRID_SDS).ravel())
    below = (mixed.weight[:, None] * normal_cdf((grid - rate[:, None]) / sd[:, None])).sum(axis=0)
    return RateQuantiles(*np.interp(_RATE_SHARES, below, grid).tolist())


def time_to(
    mixed: Mixture, level_kpa: float, *, ambient_kpa: float, horizon_s: float, hidden_kpa_per_s: float = 0.0
) -> Bounds:
    """Quantiles of the time until a level is reached, under both flow laws, s; ``None`` beyond the horizon.

    Args:
        mixed: The hypotheses.
        level_kpa: Vacuum to reach, kPa.
        ambient_kpa: Ambient pressure now, kPa.
        horizon_s: Times beyond it are ``None``.
        hidden_kpa_per_s: What a cooling gas may hide of the leak: the early bound allows for it.
    """
    now_kpa = float((mixed.weight * mixed.level).sum())
    if now_kpa <= level_kpa:
        return Bounds(0.0, 0.0, 0.0)
    way = _way(mixed, now_kpa, level_kpa, ambient_kpa)
    early = _quantiles(_growth_times(mixed, GROWTH_FEAR), way, SHARES[:1], horizon_s, hidden_kpa_per_s)
    return Bounds(*early, *_quantiles(_growth_times(mixed, GROWTH_DOUBT), way, SHARES[1:], horizon_s, 0.0))


def _growth_times(mixed: Mixture, factor: float) -> Mixture:
    """The hypotheses with those of growth weighed otherwise."""
    weight = mixed.weight * np.where(BASED[mixed.kind] > 0.0, factor, 1.0)
    return replace(mixed, weight=weight / weight.sum())


@dataclass(slots=True)
class _Way:
    """Linear distance to the level per hypothesis, and how uncertain the flow law leaves it, kPa."""

    to_go: Floats
    law_sd: Floats


def _way(mixed: Mixture, now_kpa: float, level_kpa: float, ambient_kpa: float) -> _Way:
    plain = now_kpa - level_kpa
    top = min(now_kpa, ambient_kpa - 1.0)
    orifice = max(orifice_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = max(laminar_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = min(laminar, 2.0 * orifice)
    share = LAMINAR[mixed.kind]
    stretch = (orifice + (laminar - orifice) * share) / plain
    return _Way((mixed.level - level_kpa) * stretch, (laminar - orifice) * np.where(share == 0.5, 0.4, 0.15))


def _quantiles(
    mixed: Mixture, way: _Way, shares: Sequence[float], horizon_s: float, hidden_kpa_per_s: float
) -> list[float | None]:
    if _reached(mixed, way, np.array([horizon_s]), hidden_kpa_per_s)[0] < min(shares):
        return [None] * len(shares)
    grid = _FIRST_S * (horizon_s / _FIRST_S) ** _COARSE
    coarse = _reached(mixed, way, grid, hidden_kpa_per_s)
    found: list[float | None] = []
    for share in shares:
        if coarse[-1] < share:
            found.append(None)
            continue
        place = int(np.searchsorted(coarse, share))
        low_s = 0.0 if place == 0 else float(grid[place - 1])
        fine = low_s + (float(grid[place]) - low_s) * _FINE
        reached = np.zeros(len(_FINE))
        reached[1:] = _reached(mixed, way, fine[1:], hidden_kpa_per_s)
        reached[0] = 0.0 if place == 0 else coarse[place - 1]
        found.append(float(np.interp(share, reached, fine)))
    return found


def _reached(mixed: Mixture, way: _Way, time_s: Floats, hidden_kpa_per_s: float) -> Floats:
    """Probability that the level has been reached by each time, never falling, shape of ``time_s``."""
    time_s = time_s[:, None]
    rate = mixed.rate + mixed.base
    reach = _reach(mixed, time_s)
    covered = mixed.rate * reach + (mixed.base + hidden_kpa_per_s) * time_s
    var = mixed.p_level + reach * (reach * mixed.p_rate - 2.0 * mixed.p_cross)
    var += way.law_sd * way.law_sd + (RATE_WANDER + RATE_WANDER_RATIO * rate * rate) * time_s**3 / 3.0
    bend = BEND_SD_RATIO * mixed.rate * (reach - time_s)
    var += bend * bend
    share = (mixed.weight * normal_cdf((covered - way.to_go) / np.sqrt(np.maximum(var, 1e-9)))).sum(axis=1)
    return np.asarray(np.maximum.accumulate(share))


def _reach(mixed: Mixture, time_s: Floats) -> Floats:
    """How far a rate of one falls in a time, s."""
    grown = np.minimum(mixed.growth * time_s, 30.0)
    steady = np.abs(grown) < 1e-6
    reach = np.where(steady, time_s, np.expm1(grown) / np.where(steady, 1.0, mixed.growth))
    power = POWER[mixed.kind]
    if power.any():
        age_s = mixed.age_s + AGE_FROM_S
        ratio = 1.0 + time_s / age_s
        risen = np.where(power == 1.0, ratio * ratio, ratio * ratio * ratio) - 1.0
        reach = np.where(power > 0.0, age_s * risen / (power + 1.0), reach)
    return reach
