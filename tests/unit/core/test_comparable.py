"""Leaks of different lifts made comparable, against handbook formulas and histories with known effects."""

import numpy as np
import pytest
import statsmodels.api as sm

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


def moving(n: int = 30, *, odd: bool = True) -> tuple[np.ndarray, np.ndarray]:
    """Leaks around 1 that follow two conditions by 3 % and -10 % a unit; every seventh lift is on an odd panel."""
    rng = np.random.default_rng(9)
    columns = np.column_stack([rng.normal(0.0, 4.0, n), (rng.random(n) < 0.4).astype(float)])
    values = 1.0 + columns @ np.array([0.03, -0.1]) + rng.normal(0.0, 0.05, n)
    values[::7] += 0.8 if odd else 0.0
    return values, columns


@pytest.mark.parametrize("odd", [False, True])
def test_effects_without_a_prior_are_those_of_huber_regression(odd: bool) -> None:
    """statsmodels: Huber's estimate (1964) with 1.5 scatters, the scatter from the median of what is left."""
    values, columns = moving(odd=odd)
    effects = comparable.learn_effects(values, columns, np.array([1e6, 1e6]))
    moved, by = np.diff(values) / np.median(values), np.diff(columns, axis=0)
    told = sm.RLM(moved, by, M=sm.robust.norms.HuberT(1.5)).fit(maxiter=200)
    assert effects.beta == pytest.approx(told.params, abs=0.003)
    left = moved - by @ effects.beta
    weights = np.minimum(1.0, 1.5 * told.scale / np.abs(left))
    assert effects.sd == pytest.approx(np.sqrt(np.diag(np.linalg.inv((by.T * weights) @ by))) * told.scale, rel=0.05)


@pytest.mark.parametrize("prior_sd", [0.002, 0.02])
def test_prior_draws_an_effect_to_nothing_by_what_the_lifts_leave_open(prior_sd: float) -> None:
    """Two normal estimates, weighed by their variances: of one condition, with no odd lifts."""
    values, columns = moving(odd=False)
    one = columns[:, :1]
    free = comparable.learn_effects(values, one, np.array([1e6]))
    drawn = comparable.learn_effects(values, one, np.array([prior_sd]))
    by = np.diff(one[:, 0])
    left = np.diff(values) / np.median(values) - by * drawn.beta[0]
    open_var = (1.4826 * np.median(np.abs(left))) ** 2 / (by**2).sum()
    share = prior_sd**2 / (prior_sd**2 + open_var)
    assert drawn.beta[0] == pytest.approx(share * free.beta[0], rel=0.2)
    assert drawn.sd[0] == pytest.approx(prior_sd * np.sqrt(1.0 - share), rel=0.2)


def test_three_lifts_are_the_least_that_teach() -> None:
    temperature = np.array([[0.0], [10.0], [0.0]])
    assert comparable.learn_effects(np.array([1.0, 1.1, 1.0]), temperature, np.array([0.02])).beta[0] > 0.001
    assert comparable.learn_effects(np.array([1.0, 1.1]), temperature[:2], np.array([0.02])).beta[0] == 0.0
