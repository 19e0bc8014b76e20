"""A fall of every circuit at once, without ambient or height reading: a hoist while it can be one, beyond that a leak, whole.

Lifts of 100 m at 1.5 m/s, which take 1.2 kPa in all and 1.08 kPa/min (ISO 2533: some 0.012 kPa a metre).
"""

import numpy as np
import pytest

from monitor.core.leak import to_level, view
from monitor.core.readings import Pump
from tests.unit.core.leak_signals import feed, read, start, times

ONSET_S = 100.0
LEVEL_KPA = 45.0
USUAL_KPA_PER_MIN = 0.05


def falls_together(kpa_per_min, duration_s, *, circuits_n=2, from_s=ONSET_S):
    """Times, the vacuum of all circuits, and the time left to the level."""
    t_s = times(duration_s, 5)
    since_s = t_s - t_s[0]
    truth = 64.0 - (USUAL_KPA_PER_MIN * since_s + kpa_per_min * np.maximum(since_s - from_s, 0.0)) / 60.0
    left_s = (truth - LEVEL_KPA) / (USUAL_KPA_PER_MIN + kpa_per_min) * 60.0
    return t_s, np.repeat(truth[:, None], circuits_n, axis=1), left_s


def watched(t_s, truth, left_s, **given):
    """Seconds since the onset, whether A falls, and its early bound over the truth."""
    rows = []

    def each(i, state):
        bounds = to_level(state, "A", LEVEL_KPA, t_s[i])
        early_s = np.nan if bounds is None else np.inf if bounds.early_s is None else bounds.early_s
        rows.append((t_s[i] - t_s[0] - ONSET_S, view(state, "A", t_s[i]).falling, early_s / left_s[i]))

    circuits_n = truth.shape[1]
    feed(start(circuits_n), t_s, read(truth, **given), each=each)
    return np.array(rows).T


@pytest.mark.parametrize(("noise_kpa", "quantum_kpa", "from_s"), [(0.05, 0.1, 25.0), (0.1, 0.5, 40.0)])
@pytest.mark.parametrize("circuits_n", [2, 4])
@pytest.mark.parametrize("kpa_per_min", [2.0, 3.0, 6.0])
def test_leak_of_all_that_outruns_the_hoist_is_told_whole_and_stays_told(
    kpa_per_min, circuits_n, noise_kpa, quantum_kpa, from_s
):
    lift = falls_together(kpa_per_min, ONSET_S + min(240.0, 1000.0 / kpa_per_min), circuits_n=circuits_n)
    since_s, falling, early = watched(*lift, noise_kpa=noise_kpa, quantum_kpa=quantum_kpa)
    after = since_s > from_s
    assert np.all(falling[after])
    assert np.all(early[after] <= 1.02)


def test_leak_of_all_that_a_hoist_might_be_is_told_whole_once_the_height_is_used_up():
    """0.9 kPa/min are 1.2 kPa in 80 s; twice twelve more for gauges that show a hoist's end apart."""
    since_s, falling, early = watched(*falls_together(0.9, ONSET_S + 300.0))
    assert not falling[since_s < 60.0].any()
    assert np.all(early[since_s > 110.0] <= 1.02)
    assert np.all(falling[since_s > 125.0])


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize(("noise_kpa", "quantum_kpa"), [(0.05, 0.1), (0.1, 0.5), (0.3, 1.0)])
@pytest.mark.parametrize("metres_per_s", [0.7, 1.5])
def test_highest_and_fastest_hoist_is_no_leak(metres_per_s, noise_kpa, quantum_kpa, seed):
    t_s, truth, left_s = falls_together(0.0, ONSET_S + 330.0, circuits_n=3)
    height_m = np.clip((t_s - t_s[0] - ONSET_S) * metres_per_s, 0.0, 100.0)
    truth = truth + np.random.default_rng(seed).uniform(-0.5, 0.5, 3) - 0.012 * height_m[:, None]
    _, falling, _ = watched(t_s, truth, left_s, noise_kpa=noise_kpa, quantum_kpa=quantum_kpa, seed=seed)
    assert not falling.any()


def test_leak_of_all_after_the_highest_hoist_is_told_at_once():
    t_s, truth, left_s = falls_together(0.9, 400.0, from_s=280.0)
    height_m = np.clip((t_s - t_s[0] - ONSET_S) * 1.0, 0.0, 100.0)
    left_s = left_s - 0.012 * height_m / 0.95 * 60.0
    since_s, falling, early = watched(t_s, truth - 0.012 * height_m[:, None], left_s)
    assert not falling[since_s < 180.0].any()
    assert np.all(falling[since_s > 225.0])
    assert np.all(early[since_s > 225.0] <= 1.02)


@pytest.mark.parametrize("leaks", [True, False])
def test_circuit_that_loses_more_than_the_lift_is_high_with_its_pump_on_is_falling(leaks):
    """1 kPa/min with a pump that runs and cannot keep up, alone; or a hoist of 100 m at that pace."""
    t_s, truth, _ = falls_together(1.0, ONSET_S + 200.0, circuits_n=1)
    if not leaks:
        truth = np.maximum(truth, truth[0] - 1.3)
    seen = []

    def each(i, state):
        seen.append((t_s[i] - t_s[0] - ONSET_S, view(state, "A", t_s[i]).falling))

    feed(start(1), t_s, read(truth), pump=[Pump.ON] * len(t_s), each=each)
    since_s, falling = np.array(seen).T
    assert not falling[since_s < 80.0].any()
    assert bool(np.all(falling[since_s > 120.0])) is leaks
    assert falling.any() == leaks


def test_pump_that_was_to_come_in_is_not_counted_on_after_a_hole():
    """It came in once, the site file says where; then 30 s unheard, in which it failed and a leak of 4 kPa/min began."""
    t_s = times(200.0, 5)
    since_s = t_s - t_s[0]
    truth = 64.0 - 0.2 / 60.0 * since_s + 2.0 * np.clip((since_s - 60.0) / 5.0, 0.0, 1.0)
    truth -= 4.0 / 60.0 * np.maximum(since_s - 120.0, 0.0)
    heard = (since_s < 120.0) | (since_s > 150.0)
    pump = [Pump.ON if 60.0 < at_s < 65.0 else Pump.OFF for at_s in since_s[heard]]
    told = []

    def each(i, state):
        told.append(to_level(state, "A", 50.0, t_s[heard][i]))

    feed(start(1, pump_start_kpa={"A": 61.0}), t_s[heard], read(truth[heard][:, None]), pump=pump, each=each)
    after_s = since_s[heard] - 150.0
    assert told[int(np.argmax(after_s > 0.0)) - 1].early_s is None
    since = [(bounds, at_s) for bounds, at_s in zip(told, after_s, strict=True) if at_s > 0.0]
    assert all(bounds is None or bounds.early_s is not None for bounds, _ in since)
    assert all(bounds is not None for bounds, at_s in since if at_s > 20.0)
