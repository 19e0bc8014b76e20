"""Seeded signals with known truth for the leak tests: vectorised, far simpler than a lifter, and honest about it."""

import numpy as np

from monitor.core.leak import LeakConfig, LeakSample, advance, begin
from monitor.core.leak_project import mixtures, rate_quantiles

CIRCUITS = ("A", "B", "C", "D", "E", "F")


def config(circuits_n=2, **changes):
    known = {"ambient_kpa": 101.3, "hoist_height_m": 100.0, "hoist_speed_m_s": 1.5, "horizon_s": 3600.0}
    return LeakConfig(circuits=CIRCUITS[:circuits_n], **(known | changes))


def times(duration_s, rate_hz, *, seed=0, jitter=0.0):
    step_s = np.full(round(duration_s * rate_hz), 1.0 / rate_hz)
    step_s *= 1.0 + jitter * np.random.default_rng(seed + 7919).uniform(-1.0, 1.0, len(step_s))
    return 1000.0 + np.cumsum(step_s)


def read(truth_kpa, *, noise_kpa=0.08, quantum_kpa=0.1, seed=0):
    noisy = truth_kpa + noise_kpa * np.random.default_rng(seed).standard_normal(truth_kpa.shape)
    return np.round(noisy / quantum_kpa) * quantum_kpa


def feed(state, t_s, seen_kpa, *, pump=None, ambient_kpa=None, height_m=None, each=None):
    """Feed rows of ``seen_kpa`` (readings, circuits); ``each(i, state)`` is called after every reading."""
    names = state.config.circuits
    for i, now_s in enumerate(t_s):
        sample = LeakSample(
            {c: (None if np.isnan(v) else float(v)) for c, v in zip(names, seen_kpa[i], strict=True)},
            {} if pump is None else {c: (pump[i] if not isinstance(pump[i], dict) else pump[i].get(c)) for c in names},
            ambient_kpa=None if ambient_kpa is None else float(ambient_kpa[i]),
            height_m=None if height_m is None else float(height_m[i]),
        )
        state = advance(state, sample, float(now_s))
        if each is not None:
            each(i, state)
    return state


def start(circuits_n=2, **changes):
    return begin(config(circuits_n, **changes))


def mixture(bank, row, block_var_kpa2, **shifted):
    """What a bank says of one row."""
    (mixed,) = mixtures(bank, [row], [block_var_kpa2], **shifted)
    return mixed


def rate_of(mixed):
    """Quantiles of one mixture's rate."""
    (told,) = rate_quantiles([mixed])
    return told


RATIOS = [0.03, 0.06, 0.10, 0.15, 0.20, 0.27, 0.36, 0.48]
"""What a rounding gauge's noise may be, over its quantum."""


def noise_known(stairs, ratio):
    """Make a gauge's noise known as one of those it may have."""
    stairs.weigh(np.where(np.array(RATIOS) == ratio, 0.0, -50.0))
