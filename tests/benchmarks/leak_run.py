"""The monitor's estimate run over a benchmark lift's readings."""

from dataclasses import dataclass

import numpy as np

from monitor.core.leak import LeakConfig, LeakSample, advance, begin, reserve, to_level, view
from monitor.core.readings import Pump
from tests.benchmarks.leak_lifts import AMBIENT_KPA, CIRCUITS

HORIZON_S = 3600.0
LOSING_S = 1200.0


@dataclass
class Told:
    """What was told of one circuit about once a second: times, leak in kPa/min (nan unknown), losing, bounds (nan: beyond)."""

    t_s: np.ndarray
    leak: np.ndarray
    losing: np.ndarray
    known: np.ndarray
    early_s: np.ndarray
    likely_s: np.ndarray
    late_s: np.ndarray
    reserve_s: np.ndarray
    reserve_said: np.ndarray  # beyond the horizon, too
    reserve_labelled: np.ndarray  # as resting on a stretch that lies back

    def at(self, t_s):
        return max(int(np.searchsorted(self.t_s, t_s, side="right")) - 1, 0)


def config(lift):
    names = CIRCUITS[: lift.circuits_n]
    starts = {} if lift.pump_start_kpa is None else dict(zip(names, lift.pump_start_kpa.tolist(), strict=True))
    return LeakConfig(
        names, AMBIENT_KPA, hoist_height_m=200.0, hoist_speed_m_s=2.0, horizon_s=HORIZON_S, pump_start_kpa=starts
    )


def run(lift, readings, *, circuits=(0,), from_s=0.0, every_s=1.0, losing_only=False):
    """Feed a lift's readings; what was told of the wanted circuits from ``from_s`` on, about every ``every_s``.

    ``losing_only``: times are asked for only where a fall is established, which is all that ``losing`` needs, and quicker.
    """
    state = begin(config(lift))
    names = state.config.circuits
    rows = {c: [] for c in circuits}
    next_s = from_s
    for i, t_s in enumerate(readings.t_s):
        now_s = float(t_s)
        sample = LeakSample(
            dict(zip(names, readings.vacuum_kpa[i].tolist(), strict=True)),
            {}
            if readings.pump_on is None
            else {c: Pump.ON if on else Pump.OFF for c, on in zip(names, readings.pump_on[i], strict=True)},
            ambient_kpa=None if readings.ambient_kpa is None else float(readings.ambient_kpa[i]),
            height_m=None if readings.height_m is None else float(readings.height_m[i]),
        )
        state = advance(state, sample, now_s)
        if now_s < next_s:
            continue
        next_s = now_s + every_s
        for c in circuits:
            told = view(state, names[c], now_s)
            asked = told.falling or not losing_only
            bounds = to_level(state, names[c], lift.level_kpa, now_s) if asked else None
            rested = lift.pump_on is not None and not losing_only
            rest = reserve(state, names[c], lift.level_kpa, now_s) if rested else None
            early = None if bounds is None else bounds.early_s
            rows[c].append(
                (
                    now_s,
                    np.nan if told.leak_kpa_per_min is None else told.leak_kpa_per_min,
                    told.falling and early is not None and early < LOSING_S,
                    bounds is not None,
                    *(
                        np.nan if bounds is None or t is None else t
                        for t in ((None,) * 3 if bounds is None else (bounds.early_s, bounds.likely_s, bounds.late_s))
                    ),
                    np.nan if rest is None or rest.likely_s is None else rest.likely_s,
                    rest is not None,
                    "seal_test" in told.assumed,
                )
            )
    told = {}
    for c, seen in rows.items():
        columns = np.array(seen, dtype=float).reshape(-1, 10).T
        told[c] = Told(columns[0], columns[1], columns[2] > 0, columns[3] > 0, *columns[4:8], *(columns[8:] > 0))
    return told
