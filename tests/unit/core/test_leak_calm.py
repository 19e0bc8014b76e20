"""What a crane does to a sound lifter is no leak: hoists that coarse gauges show late, swings, lowering."""

import numpy as np
import pytest

from monitor.core.leak import to_level, view
from monitor.core.units import HOIST_KPA_PER_M
from tests.unit.core.leak_signals import feed, read, start, times

AMBIENT_KPA = 101.3
SEALED_KPA_PER_MIN = (0.25, 0.05, 0.2)  # up to 0.3 is a lifter in order (common practice)


def sound(t_s, height_m, *, swing_kpa=0.0, period_s=9.0, from_s=0.0):
    """Vacuum of three circuits in order, hoisted to ``height_m``, the load swinging from a time on, shape (times, circuits)."""
    at_s = (t_s - t_s[0])[:, None]
    vacuum_kpa = np.array([62.17, 61.63, 62.41]) - at_s / 60.0 * np.array(SEALED_KPA_PER_MIN)
    swing = swing_kpa * np.sin(2.0 * np.pi * (at_s - from_s) / period_s) * (at_s > from_s)
    return vacuum_kpa + swing * np.array([1.0, 0.6, 0.8]) - HOIST_KPA_PER_M * height_m[:, None]


def losing_s(t_s, seen, **given):
    """When any circuit was called losing with less than 20 min to the level, s from the start."""
    found = []

    def each(i, state):
        for circuit in state.config.circuits:
            if view(state, circuit, t_s[i]).falling:
                bounds = to_level(state, circuit, 45.0, t_s[i])
                if bounds is not None and bounds.early_s is not None and bounds.early_s < 1200.0:
                    found.append((round(float(t_s[i] - t_s[0])), circuit))

    feed(start(seen.shape[1], hoist_height_m=200.0, hoist_speed_m_s=2.0), t_s, seen, each=each, **given)
    return sorted(set(found))


@pytest.mark.parametrize("seed", range(4))
def test_swing_over_the_steps_of_a_coarse_gauge_while_the_hook_comes_down_is_no_leak(seed):
    t_s = times(420.0, 5.0)
    height_m = np.clip(150.0 - (t_s - t_s[0] - 150.0) * 1.0, 0.0, 150.0)
    truth = sound(t_s, height_m, swing_kpa=0.13, period_s=7.0 + 2.0 * seed)
    seen = read(truth, noise_kpa=0.05, quantum_kpa=0.5, seed=seed)
    assert losing_s(t_s, seen, ambient_kpa=AMBIENT_KPA - HOIST_KPA_PER_M * height_m) == []


@pytest.mark.parametrize("seed", range(4))
def test_end_of_a_hoist_that_gauges_of_1_kpa_show_late_is_no_leak(seed):
    t_s = times(360.0, 5.0)
    height_m = np.clip((t_s - t_s[0] - 100.0) * (1.2 + 0.2 * seed), 0.0, 170.0)
    seen = read(sound(t_s, height_m), noise_kpa=0.02, quantum_kpa=1.0, seed=seed)
    assert losing_s(t_s, seen) == []


@pytest.mark.parametrize(
    ("period_s", "swing_kpa"), [(6.0, 0.12), (9.0, 0.12), (14.0, 0.12), (7.5, 0.15), (9.0, 0.15), (14.0, 0.15)]
)
def test_swing_on_fine_quick_gauges_is_no_leak(period_s, swing_kpa):
    """One circuit shows it first, and each is still told to fall while the swing brings it back."""
    t_s = times(150.0, 20.0)
    truth = sound(t_s, np.zeros(len(t_s)), swing_kpa=swing_kpa, period_s=period_s, from_s=100.0)
    seen = read(truth, noise_kpa=0.02, quantum_kpa=0.05, seed=1)
    assert losing_s(t_s, seen, ambient_kpa=np.full(len(t_s), AMBIENT_KPA)) == []


def test_gauge_that_stood_but_for_wild_values_and_then_steps_does_not_leak():
    """It stands at 63.0 for a minute, wild now and then, and begins to read 62.5: one step of a slow loss in order."""
    t_s = times(150.0, 5.0)
    truth = 63.04 - np.column_stack(((t_s - t_s[0]) / 60.0 * 0.2, np.zeros(len(t_s))))
    seen = read(truth, noise_kpa=0.05, quantum_kpa=0.5, seed=3)
    seen[80, 0], seen[170, 0], seen[260, 0] = 58.5, 71.0, 22.5
    assert losing_s(t_s, seen, ambient_kpa=np.full(len(t_s), AMBIENT_KPA)) == []
