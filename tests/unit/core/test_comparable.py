"""Leaks of different lifts made comparable, against handbook formulas and histories with known effects."""

import numpy as np
import pytest

from monitor.core import comparable


def one(at_kpa: float, ambient_kpa: float = 101.325, temperature_c: float = 20.0) -> float:
    return float(comparable.flow_ratio(np.array([at_kpa]), np.array([ambient_kpa]), np.array([temperature_c]))[0])


def test_reference_conditions_change_nothing() -> None:
    assert one(60.0) == pytest.approx(1.0)


def test_choked_orifice_and_seepage_are_averaged() -> None:
    # choked at both levels (ISO 6358, b 0.5: p/pa 0.31 and 0.41); seepage as pa² − p²
    seeps = (101.325**2 - 31.325**2) / (101.325**2 - 41.325**2)
    assert one(70.0) == pytest.approx(0.5 * (1.0 + seeps))


def test_subsonic_orifice_follows_the_ellipse() -> None:
    # vacuum 30 kPa of 101.325: p/pa 0.7039, over b by 0.2039/0.5; ISO 6358
    ellipse = (1.0 - (0.70392 - 0.5) ** 2 / 0.25) ** 0.5
    seeps = (101.325**2 - 71.325**2) / (101.325**2 - 41.325**2)
    assert one(30.0) == pytest.approx(0.5 * (ellipse + seeps), rel=1e-4)


def test_thin_air_leaks_less() -> None:
    assert one(60.0, ambient_kpa=90.0) < one(60.0)


def test_effect_of_temperature_and_wet_is_learned_through_wear_and_steps() -> None:
    rng = np.random.default_rng(5)
    n = 600
    temperature = 8.0 * np.sin(np.arange(n) / 100.0) + rng.normal(0.0, 4.0, n)
    wet = (rng.random(n) < 0.2).astype(float)
    level = 0.1 + 0.0003 * np.arange(n) + 0.1 * (np.arange(n) > 300)
    values = level * np.exp(0.01 * temperature - 0.2 * wet + rng.normal(0.0, 0.1, n))
    effects = comparable.learn_effects(values, np.column_stack([temperature, wet]), np.array([0.02, 0.7]))
    assert effects.beta == pytest.approx([0.01, -0.2], abs=0.05)
    assert abs(effects.beta[0] - 0.01) < 3.0 * effects.sd[0] + 1e-3


def test_without_lifts_an_effect_is_nothing_and_unsure() -> None:
    effects = comparable.learn_effects(np.array([0.1]), np.zeros((1, 1)), np.array([0.02]))
    assert (effects.beta[0], effects.sd[0]) == (0.0, 0.02)
