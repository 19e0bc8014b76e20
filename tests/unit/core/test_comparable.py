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


def test_pad_that_holds_nothing_leaks_nothing() -> None:
    assert one(0.0) == pytest.approx(0.0, abs=1e-9)
    assert one(-2.0) < 0.5  # a sensor's offset beyond ambient is still a number


def test_warm_gas_leaks_more_by_the_orifice_alone() -> None:
    """ISO 6358: the flow rises with the root of the temperature; a pressure rises with flow and temperature."""
    assert one(60.0, temperature_c=40.0) == pytest.approx(0.5 * (((40.0 + 273.15) / 293.15) ** 0.5 + 1.0))


def test_local_level_is_the_running_median_and_the_ends_take_the_nearest_window() -> None:
    values = np.random.default_rng(2).normal(1.0, 0.3, 100)
    level = comparable.local_level(values)
    assert level.shape == (100,)
    for at in (15, 40, 84):
        assert level[at] == np.median(values[at - 15 : at + 16])
    assert (level[:16] == np.median(values[:31])).all()
    assert (level[84:] == np.median(values[-31:])).all()
    assert (comparable.local_level(values[:5]) == np.median(values[:5])).all()


@pytest.mark.parametrize(
    ("by", "ratio"), [(10.0, np.exp(0.2)), (-10.0, np.exp(-0.2)), (500.0, np.exp(1.5)), (-500.0, np.exp(-1.5))]
)
def test_effect_of_conditions_is_a_factor_and_never_beyond_what_conditions_do(by: float, ratio: float) -> None:
    effects = comparable.Effects(np.array([0.02]), np.array([0.001]))
    assert comparable.effect_ratio(effects, np.array([[by]]))[0] == pytest.approx(ratio)


@pytest.mark.parametrize("lifts_n", [3, 600])
def test_few_lifts_teach_little_and_many_what_they_show(lifts_n: int) -> None:
    """Three lifts that all follow the temperature by 5 % a kelvin: at most what an effect may well be is believed of it."""
    temperature = np.tile([0.0, 1.0], 300)[:lifts_n]
    effects = comparable.learn_effects(np.exp(0.05 * temperature), temperature[:, None], np.array([0.02]))
    assert (float(effects.beta[0]) > 0.04) is (lifts_n > 3)
    assert effects.sd[0] <= 0.02


def test_no_conditions_have_no_effect() -> None:
    assert comparable.learn_effects(np.ones(9), np.zeros((9, 0)), np.zeros(0)).beta.shape == (0,)
