"""What the leak benchmark measures: each part runs a few lifts of one cell and returns one row of numbers per lift."""

import math

import numpy as np

from tests.benchmarks import leak_limits as limits
from tests.benchmarks.leak_laws import Steady
from tests.benchmarks.leak_lifts import LEAKS, STEP_S, UNTRAINED, balanced, healthy, leaky, pumped, read
from tests.benchmarks.leak_run import run

RATES = (0.5, 1.0, 3.0, 6.0)
TOGETHER_RATES = (1.0, 3.0)
SHOWS = ("ambient", "nothing")
AFTER_S = 180.0
COVERED_S = 125.0  # a pump that ran so long may cover a leak: no reserve is known
COVERS_TOLD, COVERS_NOT_TOLD, CANNOT, BALANCES = range(4)
KINDS = LEAKS + UNTRAINED


def losing_after_s(told, onset_s):
    """Delay from the onset to the first ``losing``, s (nan: never)."""
    found = told.losing & (told.t_s > onset_s)
    return float(told.t_s[np.argmax(found)] - onset_s) if found.any() else math.nan


def falsely_calm(told, lift, from_s):
    """Share of the time from ``from_s`` on in which ``losing`` was off or early was later than the truth (nan: no time)."""
    since = told.t_s >= from_s
    early_s = np.where(told.known & ~np.isnan(told.early_s), told.early_s, np.inf)
    calm = ~told.losing | (early_s > lift.reaches_s() - told.t_s)
    return float(calm[since].mean()) if since.any() else math.nan


def sudden(cell, chance, n, *, rates=RATES, rivals=True):
    """Rows: rate, delay of ``losing``, of a CUSUM; from when within 25 % for good: ours, 60 s, 300 s, Theil-Sen, filter."""
    rows = []
    for rate in rates:
        for lift in leaky("sudden", n, chance, rate=rate, longest_s=700.0):
            end_s = min(lift.onset_s + max(AFTER_S, 4.0 * limits.quarter_s(cell, rate / 60.0)), lift.reaches_s(), 690.0)
            readings = read(lift, cell, chance, until_s=end_s)
            told = run(lift, readings)[0]
            truth = (np.arange(len(lift.leak_kpa_per_min)) * STEP_S, lift.leak_kpa_per_min)
            t_s, y = limits.seconds(readings)
            others = [np.full(len(t_s), np.nan)] * 4
            if rivals:
                windows = [limits.straight_line(t_s, y, width_s) for width_s in (60.0, 300.0)]
                others = [*windows, limits.theil_sen(t_s, y, 60.0), limits.trend_filter(cell, y)]
            rows.append(
                (
                    rate,
                    losing_after_s(told, lift.onset_s),
                    limits.cusum_delay_s(cell, t_s, y, lift.onset_s, rate / 60.0, lift.before_kpa_per_s),
                    limits.within_quarter_s(told.t_s, told.leak, lift.onset_s, truth),
                    *(limits.within_quarter_s(t_s, other, lift.onset_s, truth) for other in others),
                )
            )
    return rows


def instants(cell, chance, n, *, kinds=LEAKS, **changes):
    """One instant per lift drawn between when the leak shows in the truth and when the level is reached.

    Rows: kind, time left, age, known, early, likely, late, growth over its standard error, then the least median error of the
    likely time: of a steady leak, of a growing one with its law known, with its law to be found.
    """
    rows = []
    for kind in kinds:
        for lift in leaky(kind, n, chance, **changes):
            end_s = lift.reaches_s()
            if not np.isfinite(end_s) or end_s - lift.ready_s < 10.0:
                continue
            at_s = chance.uniform(lift.ready_s, end_s - STEP_S)  # in the last step it may be there already
            told = run(lift, read(lift, cell, chance, until_s=at_s), from_s=max(at_s - 6.0, 0.0))[0]
            if not len(told.t_s):
                continue
            now_s = told.t_s[-1]
            step = int(now_s / STEP_S)
            rate, before = lift.leak_kpa_per_min[step] / 60.0, lift.leak_kpa_per_min[max(step - 40, 0)] / 60.0
            steady = kind in ("sudden", "step")
            growth = 0.0 if steady or before <= 0 else np.log(rate / before) / (40 * STEP_S)
            begun_s = lift.ready_s if steady else lift.onset_s
            seen = limits.seen(cell, lift.at, now_s, min(begun_s, now_s - 5.0))
            grown = growth / limits.growth_sd(seen, rate, growth) if growth > 0 else 0.0
            least, leasts = math.nan, (math.nan, math.nan)
            if steady:
                least = limits.steady_error(seen, Steady(lift.at(now_s), rate, 0.5), lift.level_kpa)
            elif grown > 3.0 and kind not in ("levelling", "runaway"):  # whose laws are none of these
                seen = limits.seen(cell, lift.at, now_s, 0.0)
                to_go_kpa = lift.at(now_s) - lift.level_kpa
                leasts = limits.growing_error(seen, lift.growing(now_s), to_go_kpa=to_go_kpa)
            rows.append(
                (
                    KINDS.index(kind),
                    end_s - now_s,
                    now_s - begun_s,
                    told.known[-1],
                    told.early_s[-1],
                    told.likely_s[-1],
                    told.late_s[-1],
                    grown,
                    least,
                    *leasts,
                )
            )
    return rows


def untrained(cell, chance, n):
    return instants(cell, chance, n, kinds=UNTRAINED)


def cooled(cell, chance, n):
    return instants(cell, chance, n, kinds=("sudden",), cooling=True)


def together(cell, chance, n):
    """The same leak on every circuit at once.

    Rows: place in ``SHOWS``, rate, whether on every circuit, delay of ``losing``, and for what share of the time from then on
    ``losing`` was off or early too late.
    """
    rows = []
    for place, shows in enumerate(SHOWS):
        for rate in TOGETHER_RATES:
            for everywhere in (False, True):
                for lift in leaky(
                    "sudden", n, chance, rate=rate, longest_s=700.0, all_circuits=everywhere, shows=shows
                ):
                    told = run(lift, read(lift, cell, chance, until_s=min(lift.onset_s + 240.0, lift.reaches_s())))[0]
                    delay_s = losing_after_s(told, lift.onset_s)
                    rows.append((place, rate, everywhere, delay_s, falsely_calm(told, lift, lift.onset_s + delay_s)))
    return rows


def orderly(cell, chance, n):
    """``losing`` in lifts that are in order.

    Rows: kind, what shows the hoist, whether the pump is told, s of ``losing``, and s of it before the pump could be known.
    """
    rows = []
    for lift in healthy(n, chance):
        told = run(lift, read(lift, cell, chance), circuits=range(lift.circuits_n), losing_only=True)
        losing_s = before_s = 0
        for circuit, seen in told.items():
            after_s = -np.inf
            if lift.pump_on is not None:
                # a pump counts once it came in by itself; untold, once its strokes show a period
                starts = np.flatnonzero(np.diff(lift.pump_on[:, circuit].astype(int)) == 1) * STEP_S
                needed_n = 1 if lift.pump_shown else 2
                after_s = starts[needed_n - 1] + 15.0 if len(starts) >= needed_n else np.inf
            losing_s += int((seen.losing & (seen.t_s > after_s)).sum())
            before_s += int((seen.losing & (seen.t_s <= after_s)).sum())
        rows.append((lift.kind, lift.shows, lift.pump_shown, losing_s, before_s))
    return rows


def pumps(cell, chance, n):
    """Pumps. Rows: which case, share of the time held, error, whether a reserve was made up.

    The error is that of the reserve or of the time; where a pump balances a leak, the share of the time early was too late.
    """
    rows = []
    for case in (COVERS_TOLD, COVERS_NOT_TOLD):
        for lift in pumped(n, chance, covers=True, shown=case == COVERS_TOLD):
            told = run(lift, read(lift, cell, chance), from_s=300.0, every_s=5.0)[0]
            rests = ~pump_runs(lift, told.t_s)
            left_s = np.array([lift.at(t) - lift.level_kpa for t in told.t_s]) / lift.leak_kpa_per_min[0] * 60.0
            kept = rests & (left_s > 60.0)
            rows.append(
                (case, np.mean(np.isnan(told.early_s) & told.known), error(told.reserve_s, left_s, kept), False)
            )
    for lift in pumped(n, chance, covers=False, shown=True):
        told = run(lift, read(lift, cell, chance), from_s=120.0, every_s=5.0)[0]
        left_s = lift.reaches_s() - told.t_s
        kept = (left_s > 30.0) & (told.t_s > lift.onset_s + 60.0)
        # a gauge that reads the level already says "now", and may do so half a step before
        above = lift.at(told.t_s) - lift.level_kpa > 0.5 * cell.quantum_kpa + 3.0 * cell.noise_kpa
        made_up = (told.reserve_said & ~told.reserve_labelled)[above].any()
        rows.append((CANNOT, math.nan, error(told.likely_s, left_s, kept), made_up))
    for lift in balanced(n, chance):
        told = run(lift, read(lift, cell, chance), from_s=120.0)[0]
        on = pump_runs(lift, told.t_s)
        ends_s = np.flatnonzero(lift.pump_on[:, 0])[-1] * STEP_S
        since_s = told.t_s - lift.onset_s
        unknown = (on & (since_s > COVERED_S)) | (~on & (told.t_s > ends_s) & (told.t_s < ends_s + 5.0))
        made_up = (told.reserve_said & (unknown | (on & ~told.reserve_labelled)))[told.t_s > lift.onset_s + 5.0].any()
        left_s = lift.reaches_s() - told.t_s
        after = (told.t_s > ends_s + 10.0) & told.known & (left_s > 0.0)
        late = np.where(np.isnan(told.early_s), np.inf, told.early_s) > left_s
        rows.append((BALANCES, math.nan, float(late[after].mean()), made_up))
    return rows


def pump_runs(lift, t_s):
    """Whether the pump of circuit 0 runs at each time."""
    return lift.pump_on[np.minimum((t_s / STEP_S).astype(int), len(lift.pump_on) - 1), 0]


def error(told_s, left_s, kept):
    """Median error of a time over the time left; a time beyond the horizon is off by everything."""
    return float(np.median(np.abs(np.where(np.isnan(told_s), np.inf, told_s) / left_s - 1.0)[kept]))
