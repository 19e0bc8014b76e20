"""How good leak and time to warning are, on simulated lifts of known truth: one line per cell, never pooled.

    python -m tests.benchmarks.leak --quick                   about two minutes on one core
    python -m tests.benchmarks.leak --lifts 200 --healthy 3000 --cells all --jobs 2
    python -m tests.benchmarks.leak --part coverage --seed 9100

The seeds below ``REPORT_SEED`` were used for training; figures are to be told from seeds never used for it.
"""

import argparse
import warnings
from concurrent.futures import ProcessPoolExecutor
from functools import partial

import numpy as np

from tests.benchmarks import leak_limits as limits
from tests.benchmarks.leak_lifts import LEAKS, STEP_S, Cell, healthy, leaky, pumped, read
from tests.benchmarks.leak_run import HORIZON_S, LOSING_S, run

REPORT_SEED = 9001
QUICK = (Cell(0.05, 0.1, 5.0), Cell(0.1, 0.1, 10.0), Cell(0.3, 0.1, 5.0), Cell(0.1, 0.5, 2.0), Cell(0.3, 1.0, 1.0))
ALL = (
    *QUICK,
    Cell(0.02, 0.05, 20.0),
    Cell(0.02, 0.05, 1.0),
    Cell(0.1, 0.1, 1.0),
    Cell(0.3, 0.5, 20.0),
    Cell(0.02, 1.0, 5.0),
    Cell(0.05, 0.5, 5.0),
)
RATES = (0.5, 1.0, 3.0, 6.0)
AFTER_S = 180.0


def share(hits, n):
    return f"{100.0 * hits / n:5.1f} %" if n else "    -  "


def upper(hits, n):
    """Upper 95 % limit of a share (Clopper-Pearson)."""
    from scipy.stats import beta

    return float(beta.ppf(0.95, hits + 1, n - hits)) if n and hits < n else 1.0


def median(values):
    return float(np.median(values)) if len(values) else np.nan


def middle(values):
    """Median with 'never' counted as later than everything."""
    values = np.where(np.isnan(values), np.inf, values)
    return float(np.median(values)) if len(values) else np.nan


def delays(cell, *, lifts_n, seed, rates, rivals):
    lines = []
    for rate in rates:
        chance = np.random.default_rng([seed, int(rate * 10), int(cell.noise_kpa * 100), int(cell.rate_hz)])
        rows = []
        for lift in leaky("sudden", lifts_n, chance, rate=rate, longest_s=700.0):
            end_s = min(lift.onset_s + max(AFTER_S, 4.0 * limits.quarter_s(cell, rate / 60.0)), lift.reaches_s(), 690.0)
            readings = read(lift, cell, chance, until_s=end_s)
            told = run(lift, readings)[0]
            after = told.t_s > lift.onset_s
            losing_s = (
                told.t_s[after][np.argmax(told.losing[after])] - lift.onset_s if told.losing[after].any() else np.nan
            )
            truth = (np.arange(len(lift.leak_kpa_per_min)) * STEP_S, lift.leak_kpa_per_min)
            t_s, y = limits.seconds(readings)
            found = [limits.within_quarter_s(told.t_s, told.leak, lift.onset_s, truth)]
            others = [np.full(len(t_s), np.nan)] * 4
            if rivals:
                windows = [limits.straight_line(t_s, y, width_s) for width_s in (60.0, 300.0)]
                others = [*windows, limits.theil_sen(t_s, y, 60.0), limits.trend_filter(cell, y)]
            found += [limits.within_quarter_s(t_s, other, lift.onset_s, truth) for other in others]
            rows.append((losing_s, limits.cusum_delay_s(cell, t_s, y, lift.onset_s, rate / 60.0), *found))
        losing, cusum, ours, w60, w300, sen, trend = (middle(column) for column in np.array(rows).T)
        bound = limits.quarter_s(cell, rate / 60.0)
        half = f"{0.5 * min(w60, w300):6.1f}" if cell.fine and rate >= 1.0 else "     -"
        lines.append(
            f"{rate:4.1f} kPa/min {cell!s:26s} n {len(rows):4d}  losing {losing:6.1f} s (at most {2 * cusum:6.1f})"
            f"  within 25 % {ours:6.1f} s (at most {1.5 * bound:6.1f}; half the windows {half})"
            f"  window 60 s {w60:6.1f}, 300 s {w300:6.1f}, Theil-Sen {sen:6.1f}, trend filter {trend:6.1f}"
        )
    return lines


def instants(cell, kinds, *, lifts_n, seed, **changes):
    """One instant per lift drawn between when the leak shows in the truth and when the level is reached."""
    chance = np.random.default_rng([seed, 7, int(cell.noise_kpa * 100), int(cell.quantum_kpa * 100), int(cell.rate_hz)])
    rows = []
    for kind in kinds:
        for lift in leaky(kind, lifts_n, chance, **changes):
            end_s = lift.reaches_s()
            if not np.isfinite(end_s) or end_s - lift.ready_s < 10.0:
                continue
            at_s = chance.uniform(lift.ready_s, end_s)
            readings = read(lift, cell, chance, until_s=at_s)
            told = run(lift, readings, from_s=max(at_s - 6.0, 0.0))[0]
            if not len(told.t_s):
                continue
            step = int(told.t_s[-1] / STEP_S)
            rate, before = lift.leak_kpa_per_min[step] / 60.0, lift.leak_kpa_per_min[max(step - 40, 0)] / 60.0
            steady = kind in ("sudden", "step")
            growth = 0.0 if steady or before <= 0 else np.log(rate / before) / (40 * STEP_S)
            age_s = told.t_s[-1] - (lift.ready_s if steady else lift.onset_s)
            grown = growth > 3.0 * limits.growth_sd(cell, max(age_s, 5.0), rate, growth) if growth > 0 else False
            rows.append(
                (
                    kinds.index(kind),
                    end_s - told.t_s[-1],
                    age_s,
                    told.known[-1],
                    told.early_s[-1],
                    told.likely_s[-1],
                    told.late_s[-1],
                    grown,
                    0.6745 * limits.slope_sd(cell, max(age_s, 5.0)) / rate,
                )
            )
    return np.array(rows, dtype=float)


def coverage(cell, *, lifts_n, seed):
    lines = []
    rows = instants(cell, LEAKS, lifts_n=lifts_n, seed=seed)
    kind, left_s, age_s, known, early, likely, late, grown, bound = rows.T
    left = np.minimum(left_s, HORIZON_S)
    early_, likely_, late_ = (
        np.where(np.isnan(early), HORIZON_S, early),
        np.where(np.isnan(likely), np.inf, likely),
        np.where(np.isnan(late), np.inf, late),
    )
    error = np.abs(likely_ / left - 1.0)
    told = known > 0
    too_late, too_early = told & (early_ > left + 1e-6), told & (late_ < left)
    old = age_s >= 30.0
    width = np.where(np.isinf(late_), np.inf, (late_ - early_) / left)
    wide = f"{np.median(width[told]):5.2f}{' (1.0)' if cell.fine else ''}"
    n = int(told.sum())
    seen = told & (age_s > limits.quarter_s(cell, 1.0 / 60.0))
    lines.append(
        f"{cell!s:26s} n {len(rows):5d}  inside {share(n - too_late.sum() - too_early.sum(), n)} (85 to 96)"
        f"  early too late {share(too_late.sum(), n)} (upper {100 * upper(int(too_late.sum()), n):4.1f}, at most 5; "
        f"once it could be seen {share((too_late & seen).sum(), seen.sum())})  late too early {share(too_early.sum(), n)}"
        f"  answered {share((told & old).sum(), old.sum())} (95)  width {wide}"
    )
    for number, name in enumerate(LEAKS):
        chosen = told & (kind == number) & (age_s > 60.0)
        if name in ("sudden", "step"):
            least = 150.0 * median(bound[chosen])
            most = 3.0 if cell.fine else max(least, 3.0)
            lines.append(
                f"    {name:8s} from 60 s on: n {chosen.sum():4d}  median error of the likely time"
                f" {100 * median(error[chosen]):5.1f} % (at most {most:4.1f}; 1.5 bounds {least:4.1f})"
            )
            continue
        sure, unsure = chosen & (grown > 0), told & (kind == number) & (grown == 0)
        lines.append(
            f"    {name:8s} growth shown: n {sure.sum():4d}  median error {100 * median(error[sure]):5.1f} % (at most 8)"
            f"   before: n {unsure.sum():4d}  early too late {share((too_late & unsure).sum(), unsure.sum())} (at most 5)"
        )
    return lines


def cooling(cell, *, lifts_n, seed):
    rows = instants(cell, ("sudden",), lifts_n=lifts_n, seed=seed + 1, cooling=True)
    told, early = rows[:, 3] > 0, np.where(np.isnan(rows[:, 4]), HORIZON_S, rows[:, 4])
    hits = int((told & (early > np.minimum(rows[:, 1], HORIZON_S) + 1e-6)).sum())
    return [f"{cell!s:26s} n {told.sum():4d}  early too late {share(hits, told.sum())} (at most 5)"]


def together(cell, *, lifts_n, seed):
    """The same leak on every circuit at once, with and without an ambient reading."""
    lines = []
    for shows in ("ambient", "nothing"):
        for rate in (1.0, 3.0):
            medians = []
            for everywhere in (False, True):
                chance = np.random.default_rng([seed, 11, int(rate), int(cell.rate_hz)])
                found = []
                for lift in leaky(
                    "sudden", lifts_n, chance, rate=rate, longest_s=700.0, all_circuits=everywhere, shows=shows
                ):
                    told = run(lift, read(lift, cell, chance, until_s=min(lift.onset_s + 240.0, lift.reaches_s())))[0]
                    after = told.t_s > lift.onset_s
                    found.append(
                        told.t_s[after][np.argmax(told.losing[after])] - lift.onset_s
                        if told.losing[after].any()
                        else np.nan
                    )
                medians.append(middle(found))
            lines.append(
                f"{cell!s:26s} {rate:3.1f} kPa/min, {shows:8s} n {lifts_n:3d}  one circuit {medians[0]:6.1f} s,"
                f" all {medians[1]:6.1f} s (at most {2 * medians[0]:6.1f})"
            )
    return lines


def orderly(job):
    """False ``losing`` in lifts that are in order: (kind, shows, pump told, cell, whether losing)."""
    seed, n, cells = job
    chance = np.random.default_rng([seed, 13])
    out = []
    for lift in healthy(n, chance):
        cell = cells[int(chance.integers(len(cells)))]
        told = run(lift, read(lift, cell, chance), circuits=range(lift.circuits_n), losing_only=True)
        losing = False
        for circuit, seen in told.items():
            learned_s = 60.0
            if (
                lift.pump_on is not None
            ):  # a pump counts once it came in by itself; untold, once its strokes show a period
                starts = np.flatnonzero(np.diff(lift.pump_on[:, circuit].astype(int)) == 1) * STEP_S
                needed_n = 1 if lift.pump_shown else 2
                learned_s = starts[needed_n - 1] + 15.0 if len(starts) >= needed_n else np.inf
            losing |= bool((seen.losing & ((seen.t_s > learned_s) | (lift.pump_on is None))).any())
        out.append((lift.kind, lift.shows, lift.pump_shown, str(cell), losing))
    return out


def pumps(cell, *, lifts_n, seed):
    """Pump that covers a leak: is it held, and the reserve; pump that runs and cannot keep up: the time to the level."""
    lines = []
    for shown in (True, False):
        chance = np.random.default_rng([seed, 17, int(shown), int(cell.rate_hz)])
        holds, errors = [], []
        for lift in pumped(lifts_n, chance, covers=True, shown=shown):
            told = run(lift, read(lift, cell, chance), from_s=300.0, every_s=5.0)[0]
            rests = ~lift.pump_on[np.minimum((told.t_s / STEP_S).astype(int), len(lift.pump_on) - 1), 0]
            holds.append(np.mean(np.isnan(told.early_s) & told.known))
            left_s = np.array([lift.at(t) - lift.level_kpa for t in told.t_s]) / lift.leak_kpa_per_min[0] * 60.0
            kept = rests & (left_s > 60.0)
            errors.append(
                np.median(np.abs(np.where(np.isnan(told.reserve_s), np.inf, told.reserve_s) / left_s - 1.0)[kept])
            )
        lines.append(
            f"{cell!s:26s} pump {'told' if shown else 'not told'}: n {lifts_n:3d}"
            f"  held {100 * np.mean(holds):5.1f} % of the time"
            f"  median error of the reserve {100 * np.median(errors):5.1f} % (at most 10)"
        )
    chance = np.random.default_rng([seed, 19, int(cell.rate_hz)])
    errors, made_up = [], 0
    for lift in pumped(lifts_n, chance, covers=False, shown=True):
        told = run(lift, read(lift, cell, chance), from_s=120.0, every_s=5.0)[0]
        left_s = lift.reaches_s() - told.t_s
        kept = (left_s > 30.0) & (told.t_s > lift.onset_s + 60.0)
        errors.append(np.median(np.abs(np.where(np.isnan(told.likely_s), np.inf, told.likely_s) / left_s - 1.0)[kept]))
        made_up += bool(np.isfinite(told.reserve_s[left_s > 5.0]).any())
    lines.append(
        f"{cell!s:26s} pump cannot keep up: n {lifts_n:3d}"
        f"  median error of the time {100 * np.median(errors):5.1f} % (at most 10)"
        f"  reserve made up in {made_up} lifts (0)"
    )
    return lines


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few lifts, five cells, no Theil-Sen")
    parser.add_argument("--lifts", type=int, default=40, help="lifts per cell and kind of leak")
    parser.add_argument("--healthy", type=int, default=300, help="lifts that are in order")
    parser.add_argument("--cells", choices=("quick", "all"), default="quick")
    parser.add_argument(
        "--part", choices=("delays", "coverage", "cooling", "together", "orderly", "pumps"), action="append"
    )
    parser.add_argument("--seed", type=int, default=REPORT_SEED)
    parser.add_argument("--jobs", type=int, default=1)
    given = parser.parse_args()
    warnings.simplefilter("ignore")
    lifts_n, healthy_n = (4, 16) if given.quick else (given.lifts, given.healthy)
    cells = ALL if given.cells == "all" else QUICK
    fewer = max(lifts_n // 2, 4)
    parts = {
        "delays": (
            "Sudden leak in one circuit: delay, median",
            partial(
                delays,
                lifts_n=fewer,
                seed=given.seed,
                rates=RATES[1:3] if given.quick else RATES,
                rivals=not given.quick,
            ),
        ),
        "coverage": ("All leaks, one instant per lift", partial(coverage, lifts_n=lifts_n, seed=given.seed)),
        "cooling": (
            "Steady leak while the gas cools by 10 K in 10 min",
            partial(cooling, lifts_n=2 * lifts_n, seed=given.seed),
        ),
        "together": (
            "The same leak on every circuit at once: delay until losing, median",
            partial(together, lifts_n=fewer, seed=given.seed),
        ),
        "pumps": ("Pumps", partial(pumps, lifts_n=fewer, seed=given.seed)),
    }
    with ProcessPoolExecutor(given.jobs) as pool:
        for name, (title, part) in parts.items():
            if given.part and name not in given.part:
                continue
            print(f"\n{title}  (noise, quantum, readings a second)")
            for lines in pool.map(part, cells[1:4] if name in ("together", "pumps", "cooling") else cells):
                print(*lines, sep="\n", flush=True)
        if not given.part or "orderly" in given.part:
            print(f"\nLifts in order: losing while the level is further than {LOSING_S:g} s away (at most one in 200)")
            chunks = [(given.seed + k, healthy_n // 8, cells) for k in range(8)]
            found = [row for rows in pool.map(orderly, chunks) for row in rows]
            for column in (0, 1, 3):
                for value in sorted({row[column] for row in found}):
                    tell(str(value), [row for row in found if row[column] == value])
            tell("all", found)


def tell(name, rows):
    print(f"  {name:28s} n {len(rows):5d}  false losing {sum(row[4] for row in rows):4d}", flush=True)


if __name__ == "__main__":
    main()
