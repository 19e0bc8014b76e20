"""Leak rates of different lifts made comparable: the same vacuum level, ambient pressure, temperature and surface.

Level, ambient and gas temperature follow from physics. What a seal itself does with temperature and surface is learned
from the circuit's own lifts: from one lift to the next its wear hardly moves, so what moves with the weather is the
weather's.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

REFERENCE_KPA: Final = 60.0
REFERENCE_AMBIENT_KPA: Final = 101.325
REFERENCE_C: Final = 20.0
ZERO_C_IN_K: Final = 273.15
CRITICAL_RATIO: Final = 0.5
"""ISO 6358 b of a sharp-edged gap (common practice); below it the flow is choked."""

SMALLEST_KPA_PER_MIN: Final = 0.02
"""Ratios are taken over at least this: a gauge tells no smaller leak in the minutes of a lift."""

EFFECT_MOST: Final = 1.5
"""A learned effect changes a leak by a factor of at most exp of this."""

PRIOR_SD_PER_K: Final = 0.02  # seals: a few per cent per kelvin at most (common practice)
PRIOR_SD_SURFACE: Final = 0.7  # half to twice
LOCAL_N: Final = 31


@dataclass(frozen=True, slots=True)
class Effects:
    """What conditions do to a circuit's leak: its logarithm changes by ``beta`` per unit of each column, ± ``sd``."""

    beta: Floats  # shape (k,)
    sd: Floats  # shape (k,)


def flow_ratio(at_kpa: Floats, ambient_kpa: Floats, temperature_c: Floats) -> Floats:
    """Leak of one and the same gap under these conditions over its leak at the reference.

    The mean of two laws between which real gaps lie: an orifice (ISO 6358: choked below b, the ellipse above it) and
    laminar seepage (in proportion to pa² − p²). A sealed volume, so pressure rises with the flow times the temperature.

    Args:
        at_kpa: Shape (n,), vacuum while the leak was measured, kPa below ambient.
        ambient_kpa: Shape (n,), kPa.
        temperature_c: Shape (n,), °C; taken for the gas and for the air outside.

    Returns:
        Shape (n,). 1 at the reference. NaN in gives NaN out.

    Check: at 60 kPa, 101.325 kPa and 20 °C it is 1; at 70.0 kPa of the same ambient 1.044 (choked: 1; laminar: 1.0888).
    """
    kelvin_ratio = (temperature_c + ZERO_C_IN_K) / (REFERENCE_C + ZERO_C_IN_K)
    orifice = _orifice(at_kpa, ambient_kpa) / _orifice(REFERENCE_KPA, REFERENCE_AMBIENT_KPA) * np.sqrt(kelvin_ratio)
    laminar = _laminar(at_kpa, ambient_kpa) / _laminar(REFERENCE_KPA, REFERENCE_AMBIENT_KPA)
    return np.asarray(0.5 * (orifice + laminar), dtype=np.float64)


def _orifice(at_kpa: Floats | float, ambient_kpa: Floats | float) -> Floats:
    p_ratio = (np.asarray(ambient_kpa) - at_kpa) / ambient_kpa
    over = np.clip((p_ratio - CRITICAL_RATIO) / (1.0 - CRITICAL_RATIO), 0.0, 1.0)
    return np.asarray(ambient_kpa * np.sqrt(1.0 - over**2), dtype=np.float64)


def _laminar(at_kpa: Floats | float, ambient_kpa: Floats | float) -> Floats:
    inside_kpa = np.asarray(ambient_kpa) - at_kpa
    return np.asarray(np.asarray(ambient_kpa) ** 2 - inside_kpa**2, dtype=np.float64)


def local_level(values: Floats) -> Floats:
    """Running median over ``LOCAL_N`` lifts, shape (n,); the ends take the nearest full window."""
    n = len(values)
    width = min(LOCAL_N, n)
    windows = np.lib.stride_tricks.sliding_window_view(values, width)
    inner = np.median(windows, axis=1)
    return np.concatenate([np.repeat(inner[:1], width // 2), inner, np.repeat(inner[-1:], n - len(inner) - width // 2)])


def learn_effects(values: Floats, columns: Floats, prior_sd: Floats) -> Effects:
    """What moves the leak from one lift to the next, by robust regression of differences with a prior around nothing.

    Args:
        values: Shape (n,), leaks at the reference flow, oldest first.
        columns: Shape (n, k), the conditions, 0 where they are as in the reference or not known.
        prior_sd: Shape (k,), how large an effect may well be.
    """
    k = columns.shape[1]
    if len(values) < 3 or k == 0:
        return Effects(np.zeros(k), prior_sd.copy())
    level = np.maximum(local_level(values), SMALLEST_KPA_PER_MIN)
    moved = np.diff(values) / np.sqrt(level[1:] * level[:-1])
    by = np.diff(columns, axis=0)
    beta, weights, precision = np.zeros(k), np.ones(len(moved)), np.diag(1.0 / prior_sd**2)
    for _ in range(6):
        left = moved - by @ beta
        scale = max(1.4826 * float(np.median(np.abs(left))), 1e-6)
        weights = np.minimum(1.0, 1.5 * scale / np.maximum(np.abs(left), 1e-12))
        precision = (by * weights[:, None]).T @ by / scale**2 + np.diag(1.0 / prior_sd**2)
        beta = np.linalg.solve(precision, (by * weights[:, None]).T @ moved / scale**2)
    return Effects(beta, np.sqrt(np.diag(np.linalg.inv(precision))))


def effect_ratio(effects: Effects, columns: Floats) -> Floats:
    """By what factor the learned conditions changed each lift's leak, shape (n,)."""
    return np.exp(np.clip(columns @ effects.beta, -EFFECT_MOST, EFFECT_MOST))
