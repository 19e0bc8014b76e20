"""The leak benchmark's rows as lines of text: figure, number of lifts, what was asked, upper limits of shares."""

from typing import NamedTuple

import numpy as np
from scipy.stats import beta

from tests.benchmarks import leak_limits as limits
from tests.benchmarks import leak_parts as parts
from tests.benchmarks.leak_run import HORIZON_S


def upper(hits, n):
    """Upper 95 % limit of a share (Clopper-Pearson)."""
    return float(beta.ppf(0.95, hits + 1, n - hits)) if n and hits < n else 1.0


def share(hits, n):
    return f"{100.0 * hits / n:5.1f} %" if n else "    -  "


def limited(hits, n):
    return f"{share(hits, n)} (upper {100.0 * upper(int(hits), int(n)):4.1f})"


def median(values):
    """Median with 'never' counted as later than everything."""
    values = np.where(np.isnan(values), np.inf, values)
    return float(np.median(values)) if len(values) else np.nan


class Delays(NamedTuple):
    """Median delays after leaks of one rate, s; ``half``: of the better straight line, wanted in fine cells, or infinite."""

    n: int
    losing: float
    cusum: float
    ours: float
    others: list[float]
    bound: float
    half: float


def delays(cell, rows):
    """Of each rate, kPa/min, what was found."""
    for rate in np.unique(rows[:, 0]):
        chosen = rows[rows[:, 0] == rate, 1:]
        losing, cusum, ours, *others = (median(column) for column in chosen.T)
        half = 0.5 * min(others[:2]) if cell.fine and rate >= 1.0 else np.inf
        yield rate, Delays(len(chosen), losing, cusum, ours, others, limits.quarter_s(cell, rate / 60.0), half)


def sudden(cell, rows):
    for rate, one in delays(cell, rows):
        w60, w300, sen, trend = one.others
        half = f"{one.half:6.1f}" if cell.fine and rate >= 1.0 else "     -"
        yield (
            f"{rate:4.1f} kPa/min {cell!s:26s} n {one.n:4d}  losing {one.losing:6.1f} s (at most {2 * one.cusum:6.1f})"
            f"  within 25 % {one.ours:6.1f} s (at most {1.5 * one.bound:6.1f}; half the windows {half})"
            f"  window 60 s {w60:6.1f}, 300 s {w300:6.1f}, Theil-Sen {sen:6.1f}, trend filter {trend:6.1f}"
        )


class Judged(NamedTuple):
    """Instants held against what came. What lies beyond the horizon counts as reached there."""

    kind: np.ndarray
    age_s: np.ndarray
    told: np.ndarray
    error: np.ndarray
    width: np.ndarray
    too_late: np.ndarray
    too_early: np.ndarray
    sure: np.ndarray
    least: np.ndarray
    law_known: np.ndarray
    law_found: np.ndarray

    @property
    def n(self):
        return int(self.told.sum())

    @property
    def old(self):
        return self.age_s >= 30.0

    def grows(self, name):
        """Which are leaks of a kind."""
        return self.told & (self.kind == parts.KINDS.index(name))

    def steady(self, name):
        """Which are leaks of a kind a minute after they last changed."""
        return self.grows(name) & (self.age_s > 60.0)


def judged(rows):
    """What an instant's times and the truth say of each other, of rows of ``leak_parts.instants``."""
    kind, left_s, age_s, known, early, likely, late, grown, least, law_known, law_found = rows.T
    left = np.minimum(left_s, HORIZON_S)
    early = np.where(np.isnan(early), HORIZON_S, early)
    likely, late = (np.where(np.isnan(one), np.inf, one) for one in (likely, late))
    told = known > 0
    return Judged(
        kind.astype(int),
        age_s,
        told,
        np.abs(likely / left - 1.0),
        np.where(np.isinf(late), np.inf, (late - early) / left),
        told & (early > left + 1e-6),
        told & (late < left),
        grown > 3.0,
        least,
        law_known,
        law_found,
    )


def instants(cell, rows):
    one = judged(rows)
    told, too_late, too_early, n = one.told, one.too_late, one.too_early, one.n
    seen = told & (one.age_s > limits.quarter_s(cell, 1.0 / 60.0))
    yield (
        f"{cell!s:26s} n {len(rows):5d}  inside {share(n - too_late.sum() - too_early.sum(), n)} (85 to 96)"
        f"  early too late {limited(too_late.sum(), n)} (at most 5; once it could be seen"
        f" {share((too_late & seen).sum(), seen.sum())})  late too early {share(too_early.sum(), n)}"
        f"  answered {share((told & one.old).sum(), one.old.sum())} (95)"
        f"  width {np.median(one.width[told]):5.2f}{' (1.0)' if cell.fine else ''}"
    )
    for number in sorted(set(one.kind)):
        name = parts.KINDS[number]
        if name in ("sudden", "step"):
            chosen = one.steady(name)
            least = 150.0 * median(one.least[chosen])
            most = 8.0 if name == "step" else 3.0 if cell.fine else least
            yield (
                f"    {name:9s} from 60 s on: n {chosen.sum():4d}  median error of the likely time"
                f" {100 * median(one.error[chosen]):5.1f} % (at most {most:4.1f}; 1.5 bounds {least:4.1f})"
            )
            continue
        grows = one.grows(name)
        sure, unsure = grows & one.sure, grows & ~one.sure
        least = (
            f"; least possible {100 * median(one.law_known[sure]):4.1f}, with the law of growth to be found"
            f" {100 * median(one.law_found[sure]):4.1f}"
        )
        yield (
            f"    {name:9s} growth shown: n {sure.sum():4d}  median error {100 * median(one.error[sure]):5.1f} % (at most 8"
            f"{least if np.isfinite(one.law_found[sure]).any() else ''})   before: n {unsure.sum():4d}"
            f"  early too late {limited((too_late & unsure).sum(), unsure.sum())} (at most 5)"
        )


def cooled(cell, rows):
    one = judged(rows)
    yield f"{cell!s:26s} n {one.n:4d}  early too late {limited(one.too_late.sum(), one.n)} (at most 5)"


def beside_one(rows, place, rate):
    """Median delays of a leak in one circuit and in all, by the place in ``SHOWS`` of what shows a hoist, and its rate."""
    chosen = rows[(rows[:, 0] == place) & (rows[:, 1] == rate)]
    return [median(chosen[chosen[:, 2] == everywhere, 3]) for everywhere in (0, 1)]


def together(cell, rows):
    for place, shows in enumerate(parts.SHOWS):
        for rate in parts.TOGETHER_RATES:
            one, every = beside_one(rows, place, rate)
            n = ((rows[:, 0] == place) & (rows[:, 1] == rate) & (rows[:, 2] == 1)).sum()
            yield (
                f"{cell!s:26s} {rate:3.1f} kPa/min, {shows:8s} n {n:3d}  one circuit {one:6.1f} s,"
                f" all {every:6.1f} s (at most {2 * one:6.1f})  from then on off or early too late"
                f" {100 * calm_share(rows, place, rate):5.1f} % of the time"
            )


def calm_share(rows, place, rate):
    """Of leaks in all circuits, for what share of the time from the first losing on it was off or early too late."""
    chosen = rows[(rows[:, 0] == place) & (rows[:, 1] == rate) & (rows[:, 2] == 1), 4]
    return np.mean(chosen[np.isfinite(chosen)]) if np.isfinite(chosen).any() else np.nan


def pumps(cell, rows):
    for case, name in enumerate(("covers, told", "covers, not told", "cannot keep up", "balances, fails")):
        _, held, error, made_up = rows[rows[:, 0] == case].T
        if case == parts.BALANCES:
            yield (
                f"{cell!s:26s} pump {name:16s} n {len(error):3d}  reserve made up in {int(made_up.sum())} (0)"
                f"  early too late from 10 s after it failed: {100 * error.mean():5.1f} % of the time"
            )
            continue
        covers = case != parts.CANNOT
        yield (
            f"{cell!s:26s} pump {name:16s} n {len(error):3d}  median error of the"
            f" {'reserve' if covers else 'time'} {100 * median(error):5.1f} % (at most 10; more than that in"
            f" {(~(error <= 0.1)).sum()})"
            + (
                f"  held {100 * held.mean():5.1f} % of the time"
                if covers
                else f"  reserve made up in {int(made_up.sum())} (0)"
            )
        )


def orderly(cell, rows):
    hits = sum(row[3] > 0 for row in rows)
    unknown = [row for row in rows if row[4] > 0]
    yield (
        f"{cell!s:26s} n {len(rows):5d}  called losing {hits:4d}  {limited(hits, len(rows))} (at most 0.5)"
        f"  besides before a pump could be known: {len(unknown)}"
    )
    for column in (0, 1):
        for value in sorted({row[column] for row in rows}):
            chosen = [row for row in rows if row[column] == value]
            if any(row[3] > 0 for row in chosen):
                yield f"    {value:12s} n {len(chosen):5d}  called losing {sum(row[3] > 0 for row in chosen):4d}"
