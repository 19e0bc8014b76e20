"""What the best possible estimate could do, and yardsticks: Cramér-Rao bounds, CUSUM, straight lines, a trend filter."""

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.stats import norm
from statsmodels.tsa.statespace.structural import UnobservedComponents

FALSE_ALARM_S = 28_800.0
_STRETCHES_N = 300  # of an hour each: some 37 false alarms
KEPT = 0.975  # readings lost on average


def reading_sd(cell):
    """Noise of one reading with what rounding adds, kPa."""
    return math.sqrt(cell.noise_kpa**2 + cell.quantum_kpa**2 / 12.0)


def slope_sd(cell, age_s):
    """Cramér-Rao bound of a slope whose onset is unknown: a free line over the time since, kPa/s."""
    readings_n = max(cell.rate_hz * KEPT * age_s, 2.0)
    return reading_sd(cell) * math.sqrt(12.0 / readings_n) / age_s


def quarter_s(cell, rate_kpa_per_s):
    """Least time until an estimate can be within 25 % of the truth 95 times in 100; a coarse gauge needs its steps, too."""
    age_s = 1.0
    while 1.96 * slope_sd(cell, age_s) > 0.25 * rate_kpa_per_s:
        age_s *= 1.01
    steps_s = 1.5 * cell.quantum_kpa / rate_kpa_per_s if cell.noise_kpa < cell.quantum_kpa / 3.0 else 0.0
    return max(age_s, steps_s)


@dataclass(frozen=True)
class Seen:
    """What a circuit's readings have to tell: their times before now in s, the true vacuum then, and how much each says.

    ``says``: Fisher information of one reading about the vacuum, 1/kPa². With steps coarser than the noise nearly all of it is
    in the readings beside an edge: what matters is which edges were passed, and when.
    """

    u_s: np.ndarray
    level_kpa: np.ndarray
    says: np.ndarray


def seen(cell, level_at, now_s, from_s):
    """The readings from ``from_s`` to now, ``level_at`` giving the true vacuum at times in s."""
    u_s = -np.arange(max((now_s - from_s) * cell.rate_hz * KEPT, 2.0))[::-1] / (cell.rate_hz * KEPT)
    level_kpa = level_at(now_s + u_s)
    return Seen(u_s, level_kpa, information(cell, level_kpa))


def information(cell, level_kpa):
    """Fisher information of one reading of a vacuum about it, 1/kPa².

    A rounded normal value: sum over the values it may take of (change of its probability)² over its probability.
    """
    grid, tabled = _informations(cell)
    return np.interp(level_kpa / cell.quantum_kpa % 1.0, grid, tabled, period=1.0)


@cache
def _informations(cell):
    grid = np.arange(2000) / 2000.0
    edges = np.arange(math.ceil(8.0 * cell.noise_kpa / cell.quantum_kpa) * 2 + 4) - 0.5
    z = (edges[:, None] - math.floor(edges.mean()) - grid) * cell.quantum_kpa / cell.noise_kpa
    chance = np.diff(norm.cdf(z), axis=0)
    squares = np.where(chance > 1e-15, np.diff(norm.pdf(z), axis=0) ** 2 / np.maximum(chance, 1e-15), 0.0)
    return grid, squares.sum(axis=0) / cell.noise_kpa**2


def growth_sd(seen, rate_kpa_per_s, growth_per_s):
    """Cramér-Rao bound of a growth rate (level and rate unknown besides), 1/s, for a rate now and readings since the onset."""
    t = seen.u_s - seen.u_s[0]
    first = rate_kpa_per_s * math.exp(-growth_per_s * t[-1])
    g = max(growth_per_s, 1e-6)
    by_growth = -first * (t * np.exp(g * t) / g - np.expm1(g * t) / g**2)
    return _sd(seen, [np.ones_like(t), -np.expm1(g * t) / g, by_growth], [0.0, 0.0, 1.0])


def _sd(seen, by, asks, known=0.0):
    """Cramér-Rao bound of what goes by ``asks`` with unknowns, by which the vacuum of the readings changes as ``by``.

    ``known``: what is known of the unknowns beforehand, as information (then it is van Trees' bound).
    """
    jacobian = np.stack(by, axis=1)
    told = (jacobian * seen.says[:, None]).T @ jacobian + np.diag(np.broadcast_to(known, len(by)))
    scale = 1.0 / np.sqrt(np.maximum(np.diag(told), 1e-300))
    scaled = told * scale * scale[:, None] + 1e-12 * np.eye(len(by))  # of what shows in nothing, nothing is known
    asks = np.array(asks) * scale
    return math.sqrt(asks @ np.linalg.solve(scaled, asks))


LAW_SD = 0.5
"""How far apart laws of growth lie: ``bend`` is 0 for exp(g·t), 1, 1/2 and 2 for the time, its square and its root. And laws of
the flow: an orifice is 0, laminar seepage 1."""
BASE_SD = 0.3 / 60.0 / math.sqrt(12.0)  # a normal leak, kPa/s
MEDIAN = 0.6745  # of an error's size, over its standard deviation


def growing_error(seen, leak, *, to_go_kpa):
    """Least median error of the likely time, over the time, with the law of growth known and with it to be found.

    Level, steady part, growing part and growth are unknown; then the law's bend as well, so far as ``LAW_SD``. A normal leak's
    size is known.
    """
    steps = {"base": 1e-3 * BASE_SD, "extra": 1e-4 * leak.extra, "growth": 1e-4 * leak.growth, "bend": 1e-4}
    both = [
        (replace(leak, **{name: getattr(leak, name) - d}), replace(leak, **{name: getattr(leak, name) + d}), 2.0 * d)
        for name, d in steps.items()
    ]
    left_s = leak.reaches_s(to_go_kpa)
    fastest = leak.base + leak.extra * (1.0 + leak.bend * leak.growth * left_s) ** (1.0 / leak.bend)
    by = [(low.fallen_kpa(seen.u_s) - high.fallen_kpa(seen.u_s)) / d for low, high, d in both]
    by.insert(0, np.ones_like(seen.u_s))
    asks = [1.0 / fastest, *((high.reaches_s(to_go_kpa) - low.reaches_s(to_go_kpa)) / d for low, high, d in both)]
    known = np.array([0.0, BASE_SD**-2, 0.0, 0.0, LAW_SD**-2])
    return tuple(MEDIAN * _sd(seen, by[:n], asks[:n], known[:n]) / left_s for n in (4, 5))


def steady_error(seen, leak, level_kpa):
    """Least median error of the likely time to a level, over the time: level, rate and the law of the flow are unknown.

    Of the law, ``LAW_SD`` is known. Only what was read since the onset counts: nobody knows when that was.
    """
    steps = {"level_kpa": 0.01, "rate": 0.01 * leak.rate, "laminar": 0.01}
    by, asks = [], []
    for name, d in steps.items():
        high, low = replace(leak, **{name: getattr(leak, name) + d}), replace(leak, **{name: getattr(leak, name) - d})
        by.append(
            leak.rate_at(seen.level_kpa) * (high.takes_s(seen.level_kpa) - low.takes_s(seen.level_kpa)) / (2.0 * d)
        )
        asks.append((high.takes_s(level_kpa) - low.takes_s(level_kpa)) / (2.0 * d))
    return MEDIAN * _sd(seen, by, asks, [0.0, 0.0, LAW_SD**-2]) / float(leak.takes_s(level_kpa))


def cusum_path(steps, allowance):
    """One-sided CUSUM of ``steps`` above an allowance, from nothing on and never set back."""
    total = np.cumsum(steps - allowance)
    return total - np.minimum.accumulate(np.minimum(total, 0.0))


def cusum_limit(steps, allowance, false_alarm_n):
    """Limit that a CUSUM of such steps, in control, passes once in ``false_alarm_n`` of them.

    By the tops between its returns to nothing: each above the limit is one alarm.
    """
    path = cusum_path(steps, allowance)
    returns = np.flatnonzero(path == 0.0)
    tops = np.sort(np.maximum.reduceat(path, returns))[::-1]
    alarms_n = round(len(steps) / false_alarm_n)
    return float(0.5 * (tops[alarms_n - 1] + tops[min(alarms_n, len(tops) - 1)]))


@cache
def _in_control(cell):
    """What a circuit in order loses from second to second beyond its usual 0 to 0.3 kPa/min, by medians of readings, kPa.

    Consecutive ones share a median: they are no independent numbers, and no table holds for them.
    """
    chance = np.random.default_rng(28_800)
    per_s = max(round(cell.rate_hz * KEPT), 1)
    found = []
    for _ in range(_STRETCHES_N):
        usual = chance.uniform(0.0, 0.3) / 60.0
        vacuum_kpa = chance.uniform(60.0, 80.0) - usual * (np.arange(3600 * per_s) / per_s)
        seen = vacuum_kpa + cell.noise_kpa * chance.standard_normal(len(vacuum_kpa))
        medians = np.median(np.round(seen / cell.quantum_kpa).reshape(-1, per_s), axis=1) * cell.quantum_kpa
        found.append(-np.diff(medians) - usual)
    return np.concatenate(found)


@cache
def decision_kpa(cell, rate_kpa_per_s):
    """Limit of the CUSUM tuned to a leak, one false alarm in ``FALSE_ALARM_S``, found on simulated readings, kPa."""
    return cusum_limit(_in_control(cell), 0.5 * rate_kpa_per_s, FALSE_ALARM_S)


def cusum_delay_s(cell, seconds_s, medians_kpa, onset_s, rate_kpa_per_s, usual_kpa_per_s):
    """Delay of a CUSUM on one-second differences, tuned to the very leak and told what was lost before, s (nan: never)."""
    limit_kpa = decision_kpa(cell, rate_kpa_per_s)
    total = 0.0
    for i in range(1, len(seconds_s)):
        lost = medians_kpa[i - 1] - medians_kpa[i] - usual_kpa_per_s
        total = max(total + lost - 0.5 * rate_kpa_per_s, 0.0)
        if total > limit_kpa:
            if seconds_s[i] > onset_s:
                return seconds_s[i] - onset_s
            total = 0.0
    return math.nan


def seconds(readings, circuit=0):
    """Medians of every second of a circuit, each at the second's last reading: before that nobody can know it."""
    second = np.floor(readings.t_s).astype(int)
    starts = np.flatnonzero(np.diff(second, prepend=-1))
    values = [np.median(part) for part in np.split(readings.vacuum_kpa[:, circuit], starts[1:])]
    times = [part[-1] for part in np.split(readings.t_s, starts[1:])]
    return np.array(times), np.array(values)


def straight_line(t_s, y, width_s):
    """Slope of least squares over the last ``width_s`` at every second, kPa/min, positive falling."""
    out = np.full(len(t_s), np.nan)
    for i in range(len(t_s)):
        kept = t_s[: i + 1] > t_s[i] - width_s
        if kept.sum() >= 10:
            out[i] = -60.0 * np.polyfit(t_s[: i + 1][kept] - t_s[i], y[: i + 1][kept], 1)[0]
    return out


def theil_sen(t_s, y, width_s):
    """Median of the slopes between all pairs of the last ``width_s`` (Theil 1950, Sen 1968), kPa/min."""
    out = np.full(len(t_s), np.nan)
    for i in range(len(t_s)):
        kept = t_s[: i + 1] > t_s[i] - width_s
        t, v = t_s[: i + 1][kept], y[: i + 1][kept]
        if len(t) >= 10:
            a, b = np.triu_indices(len(t), 1)
            out[i] = -60.0 * np.median((v[b] - v[a]) / (t[b] - t[a]))
    return out


def trend_filter(cell, y):
    """Local linear trend (Kalman), variances given: noise of a second's mean, slope wandering 0.1 kPa/min per root minute."""
    model = UnobservedComponents(y, "local linear trend")
    noise = reading_sd(cell) ** 2 / max(cell.rate_hz, 1.0) * 1.57  # of a median
    found = model.filter([noise, 0.0, (0.1 / 60.0) ** 2 / 60.0])
    return -60.0 * found.filtered_state[1]


def within_quarter_s(t_s, leak, onset_s, truth):
    """Delay after the onset from which an estimate is, and stays, within 25 % of the truth, s (nan: not to the end)."""
    after = t_s > onset_s
    good = np.abs(leak[after] / np.interp(t_s[after], *truth) - 1.0) <= 0.25
    if not len(good) or not good[-1]:
        return math.nan
    bad = np.flatnonzero(~good)
    return float(t_s[after][bad[-1] + 1 if len(bad) else 0] - onset_s)
