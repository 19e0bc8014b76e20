"""From the weighed hypotheses of one circuit to the quantiles of its rate and of its time to a level."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from monitor.core.leak_bank import (
    GROWTHS_PER_S,
    LEVEL,
    P_CROSS,
    P_LEVEL,
    P_RATE,
    RATE,
    RATE_WANDER,
    Bank,
)
from monitor.core.warning_time import (
    NORMAL_05,
    Bounds,
    laminar_distance_kpa,
    normal_cdf,
    orifice_distance_kpa,
)

Floats = NDArray[np.float64]

SHARES: Final = np.array([0.05, 0.5, 0.95])
_KEPT_N: Final = 40
_COARSE_N: Final = 26
_FINE_N: Final = 9
_FIRST_S: Final = 4.0


@dataclass(slots=True)
class Mixture:
    """The likeliest hypotheses of one circuit, shapes (n,): levels in kPa of vacuum, rates in kPa/s, positive falling."""

    weight: Floats
    growth: Floats
    level: Floats
    rate: Floats
    p_level: Floats
    p_cross: Floats
    p_rate: Floats


def mixture(
    bank: Bank, row: int, *, level_shift_kpa: float = 0.0, rate_shift: float = 0.0, rate_var: float = 0.0
) -> Mixture:
    """The hypotheses of a row that matter, their levels and rates shifted (kPa, kPa/s) and rates widened ((kPa/s)²)."""
    log_weight = bank.log_weight[:, row].ravel()
    kept = np.argpartition(log_weight, -_KEPT_N)[-_KEPT_N:]
    kept = kept[log_weight[kept] > -9.0]
    weight = np.exp(log_weight[kept])
    state = bank.state[:, :, row].reshape(5, -1)[:, kept]
    return Mixture(
        weight / weight.sum(),
        GROWTHS_PER_S[kept % len(GROWTHS_PER_S)],
        state[LEVEL] + level_shift_kpa,
        state[RATE] + rate_shift,
        state[P_LEVEL],
        state[P_CROSS],
        state[P_RATE] + rate_var,
    )


def gaussian(level_kpa: float, rate: tuple[float, float]) -> Mixture:
    """One steady hypothesis at a level, with a remembered (mean, variance) of its rate."""
    one = np.ones(1)
    return Mixture(one, 0.0 * one, level_kpa * one, rate[0] * one, 0.0 * one, 0.0 * one, rate[1] * one)


def rate_above(mixed: Mixture, rate_kpa_per_s: float) -> float:
    """Probability that the rate is above a value."""
    return float((mixed.weight * normal_cdf((mixed.rate - rate_kpa_per_s) / np.sqrt(mixed.p_rate))).sum())


def rate_quantiles(mixed: Mixture) -> tuple[float, float, float]:
    """5 %, 50 % and 95 % points of the rate, kPa/s."""
    sd = np.sqrt(mixed.p_rate)
    if len(sd) == 1:
        return tuple(float(mixed.rate[0] + z * sd[0]) for z in (-NORMAL_05, 0.0, NORMAL_05))  # type: ignore[return-value]
    z = np.array([-2.5, -1.6, -1.0, -0.5, -0.2, 0.2, 0.5, 1.0, 1.6, 2.5])
    heavy = mixed.weight > 0.02
    grid = np.sort((mixed.rate[heavy, None] + sd[heavy, None] * z).ravel())
    below = (mixed.weight[:, None] * normal_cdf((grid - mixed.rate[:, None]) / sd[:, None])).sum(axis=0)
    low, middle, high = np.interp(SHARES, below, grid)
    return float(low), float(middle), float(high)


def time_to(mixed: Mixture, level_kpa: float, *, ambient_kpa: float, horizon_s: float) -> Bounds:
    """Quantiles of the time until a level is reached, under both flow laws, s; ``None`` beyond the horizon."""
    now_kpa = float((mixed.weight * mixed.level).sum())
    if now_kpa <= level_kpa:
        return Bounds(0.0, 0.0, 0.0)
    plain = now_kpa - level_kpa
    top = min(now_kpa, ambient_kpa - 1.0)
    orifice = max(orifice_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = max(laminar_distance_kpa(top, level_kpa, ambient_kpa=ambient_kpa), plain)
    laminar = min(laminar, 2.0 * orifice)
    stretch = 0.5 * (orifice + laminar) / plain
    law_sd = (laminar - orifice) / math.sqrt(12.0)
    to_go = (mixed.level - level_kpa) * stretch
    grid = np.geomspace(_FIRST_S, horizon_s, _COARSE_N)
    coarse = _reached(mixed, to_go, law_sd, grid)
    found: list[float | None] = []
    for share in SHARES:
        if coarse[-1] < share:
            found.append(None)
            continue
        place = int(np.searchsorted(coarse, share))
        low_s = 0.0 if place == 0 else float(grid[place - 1])
        fine = np.linspace(low_s, float(grid[place]), _FINE_N)
        reached = _reached(mixed, to_go, law_sd, fine[1:] if place == 0 else fine)
        if place == 0:
            reached = np.concatenate(([0.0], reached))
        found.append(float(np.interp(share, reached, fine)))
    return Bounds(*found)


def _reached(mixed: Mixture, to_go: Floats, law_sd: float, time_s: Floats) -> Floats:
    """Probability that the level has been reached by each time, never falling, shape of ``time_s``."""
    growth = mixed.growth[:, None]
    safe = np.where(growth == 0.0, 1.0, growth)
    reach = np.where(growth == 0.0, time_s, np.expm1(np.minimum(safe * time_s, 50.0)) / safe)
    covered = mixed.rate[:, None] * reach
    var = mixed.p_level[:, None] + reach * (reach * mixed.p_rate[:, None] - 2.0 * mixed.p_cross[:, None])
    var += law_sd * law_sd + RATE_WANDER * time_s**3 / 3.0 + 1e-9
    share = (mixed.weight[:, None] * normal_cdf((covered - to_go[:, None]) / np.sqrt(np.maximum(var, 1e-9)))).sum(
        axis=0
    )
    return np.asarray(np.maximum.accumulate(share))
