"""How well trends tell what is true: ``python -m tests.benchmarks.trends [--histories N] [--training]``.

Seeded histories of three years with wear, changes of wear, steps, services, weather and odd panels; the answer is in the
history. Unseen seeds by default; the constants of ``monitor/core/steps.py`` and ``trends.py`` were set on ``--training``
seeds alone. Compared with a straight line through all raw leaks, and with a change-point library (``ruptures``, PELT
with the least-squares cost and the usual penalty 3·σ²·ln n) followed by a straight line through the last part.
"""

import argparse
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from math import exp, inf, log
from time import perf_counter

import numpy as np
import ruptures

from monitor.core import lifter_trends as lt
from monitor.core.steps import find_steps
from monitor.core.trends import DAY_S, HORIZON_DAYS
from simulator.history import Wishes
from tests.trend_histories import columns, first, history, notes_until

UNSEEN_FROM, TRAINING_FROM = 500_000, 0
LIFTS_N, YEARS = 3_000, 3.0
LOOKS_N = 4
STEP_LIFTS_N = 400
FOUND_WITHIN_N = 5

Forecast = tuple[float, float | None, float]  # early, likely, late, UTC seconds; inf for never


@dataclass
class Score:
    """What one way of forecasting did."""

    errors: list[float] = field(default_factory=list)
    covered: list[bool] = field(default_factory=list)
    asked_n: int = 0

    def row(self, name: str) -> str:
        told = len(self.errors)
        median = f"{100 * float(np.median(self.errors)):.1f} %" if self.errors else "-"
        worst = f"{100 * float(np.quantile(self.errors, 0.9)):.0f} %" if self.errors else "-"
        cover = f"{100 * float(np.mean(self.covered)):.1f} %" if self.covered else "-"
        return f"| {name} | {self.asked_n} | {told} | {median} | {worst} | {cover} |"


def ours(lifts: lt.LiftColumns, name: str, notes: Sequence[lt.Service], limit: float, now: float) -> Forecast | None:
    made, _, _ = lt._leak(name, lifts, notes, limit, now)
    if made.reach is None:
        return None
    reach = made.reach
    return (reach.early_utc_s or inf, reach.likely_utc_s, reach.late_utc_s or inf)


def straight_line(
    lifts: lt.LiftColumns, name: str, notes: Sequence[lt.Service], limit: float, now: float
) -> Forecast | None:
    leak = lifts.circuits[name].leak_kpa_per_min
    known = np.isfinite(leak)
    return line((lifts.utc_s[known] - now) / DAY_S, leak[known], limit, now)


def change_points(
    lifts: lt.LiftColumns, name: str, notes: Sequence[lt.Service], limit: float, now: float
) -> Forecast | None:
    leak = lifts.circuits[name].leak_kpa_per_min
    known = np.isfinite(leak)
    days, leak = (lifts.utc_s[known] - now) / DAY_S, leak[known]
    ends = parts(leak)
    begin = ends[-2] if len(ends) > 1 else 0
    return line(days[begin:], leak[begin:], limit, now)


def parts(leak: np.ndarray) -> list[int]:
    """Ends of the parts that PELT finds."""
    scatter = max(1.4826 * float(np.median(np.abs(np.diff(leak)))) / 2**0.5, 1e-6)
    found = ruptures.KernelCPD(kernel="linear", min_size=2).fit(leak.reshape(-1, 1))  # PELT, its compiled form
    return list(found.predict(pen=3.0 * scatter**2 * log(len(leak))))


def line(days: np.ndarray, leak: np.ndarray, limit: float, now: float) -> Forecast | None:
    """Ordinary least squares and its textbook 90 % interval of the crossing (delta method)."""
    if len(days) < 8:
        return None
    (slope, level), cov = np.polyfit(days, leak, 1, cov=True)
    if slope <= 0.0:
        return (inf, None, inf)
    gap = limit - level
    likely = gap / slope
    half = 1.645 * float(np.sqrt(max(cov[1, 1] + 2 * likely * cov[0, 1] + likely**2 * cov[0, 0], 0.0))) / slope
    return (now + DAY_S * (likely - half), now + DAY_S * likely, now + DAY_S * (likely + half))


WAYS: dict[str, Callable[..., Forecast | None]] = {
    "Holdwatch": ours,
    "straight line through all raw leaks": straight_line,
    "change points (ruptures), then a line": change_points,
}


def forecasts(seeds: range) -> dict[str, Score]:
    """Ask every way at a few moments of every history when each circuit reaches its limit if nothing else happens."""
    scores = {name: Score() for name in WAYS}
    for seed in seeds:
        made = history(seed, LIFTS_N, YEARS)
        lifts = columns(made)
        limit = made.lifter.service_leak_kpa_per_min
        for n in np.random.default_rng(seed + 1).integers(200, LIFTS_N, LOOKS_N):
            now = float(lifts.utc_s[n - 1]) + 1.0
            seen, notes = first(lifts, int(n)), notes_until(made, now)
            for truth in made.circuits:
                here = truth.stretch_at(now)
                if here.leak_at(now) >= 0.9 * limit:
                    continue  # due already
                true = here.reaches_utc_s(limit)
                for name, way in WAYS.items():
                    judge(scores[name], way(seen, truth.id, notes, limit, now), true, now)
    return scores


def judge(score: Score, told: Forecast | None, true: float | None, now: float) -> None:
    score.asked_n += 1
    if told is None:
        return
    early, likely, late = told
    at = inf if true is None or true > now + HORIZON_DAYS * DAY_S else true
    score.covered.append(early <= at <= late)
    if likely is not None and late < inf and true is not None:
        score.errors.append(abs(likely - true) / (true - now))


@dataclass
class Steps:
    """What one way of finding steps did."""

    delays: list[int] = field(default_factory=list)  # lifts from the step to the one it is first told at
    kept_n: int = 0  # steps still told fifteen lifts after
    false_n: int = 0
    worn_false_n: int = 0  # the same while the leak grows
    standing: list[bool] = field(default_factory=list)  # of a healthy circuit, whether a possible step is told
    healthy_lifts_n: int = 0

    def row(self, name: str) -> str:
        within = np.mean([delay <= FOUND_WITHIN_N for delay in self.delays])
        standing = f"{100 * float(np.mean(self.standing)):.1f} %" if self.standing else "-"
        return (
            f"| {name} | {len(self.delays)} | {100 * within:.0f} % | {np.median(self.delays):.0f} "
            f"| {np.quantile(self.delays, 0.9):.0f} | {100 * self.kept_n / len(self.delays):.0f} % "
            f"| {500 * self.false_n / max(self.healthy_lifts_n, 1):.2f} "
            f"| {500 * self.worn_false_n / max(self.healthy_lifts_n, 1):.2f} | {standing} |"
        )


@dataclass(frozen=True, slots=True)
class Known:
    """Lifts in scatters off the level, both taken from all lifts before the step (all of a healthy circuit)."""

    z: np.ndarray
    at: int


def steps(seeds: range) -> tuple[dict[str, Steps], list[Known], list[Known]]:
    """A step of twice the scatter in one circuit, told lift by lift; and healthy circuits of 500 lifts."""
    found = {"Holdwatch": Steps(), "change points (ruptures)": Steps()}
    quiet = Wishes(healthy_share=1.0, steps_per_year=1e-9, wear_changes_per_year=1e-9, services=False)
    wearing = replace(quiet, healthy_share=0.0)
    stepped, sound = [], []
    for seed in seeds:
        worn = columns(history(seed, 500, 0.5, wearing))
        for name in worn.circuits:
            made, _, _ = lt._leak(name, worn, (), 0.5, float(worn.utc_s[-1]))
            found["Holdwatch"].worn_false_n += sum(step.certain for step in made.steps)
            leak = worn.circuits[name].leak_kpa_per_min
            found["change points (ruptures)"].worn_false_n += len(parts(leak[np.isfinite(leak)])) - 1
        healthy = columns(history(seed, 500, 0.5, quiet))
        for name in healthy.circuits:
            made, _, _ = lt._leak(name, healthy, (), 0.5, float(healthy.utc_s[-1]))
            for one in found.values():
                one.healthy_lifts_n += 500
            found["Holdwatch"].false_n += sum(step.certain for step in made.steps)
            found["Holdwatch"].standing += stands(made.values)
            leak = healthy.circuits[name].leak_kpa_per_min
            found["change points (ruptures)"].false_n += len(parts(leak[np.isfinite(leak)])) - 1
            sound.append(standardised(made.values, len(made.values)))
        stepped.append(one_step(seed, found, quiet))
    return found, stepped, sound


def stands(values: np.ndarray, every_n: int = 9) -> list[bool]:
    """Whether a possible step is told of a circuit as it stood after some of its lifts."""
    return [
        any(not step.certain for step in find_steps(values[:n].tolist(), (), lt.LEAST_SCATTER["leak"]))
        for n in range(50, len(values), every_n)
    ]


def one_step(seed: int, found: dict[str, Steps], quiet: Wishes) -> Known:
    made = history(seed + 7, STEP_LIFTS_N, 0.5, quiet)
    lifts = columns(made)
    truth = made.circuits[0]
    at = int(np.random.default_rng(seed).integers(60, STEP_LIFTS_N - 20))
    level = truth.stretches[0].leak_kpa_per_min
    step = 2.0 * float(np.hypot(truth.scatter_ratio * level, truth.noise_kpa_per_min))
    leak = lifts.circuits[truth.id].leak_kpa_per_min
    leak[at:] *= 1.0 + step / level  # a circuit that leaks more scatters more
    for name, score in found.items():
        looks = (lifts_n for lifts_n in range(1, 16) if told(name, first(lifts, at + lifts_n), truth.id, at))
        score.delays.append(next(looks, 99))
        score.kept_n += told(name, first(lifts, at + 15), truth.id, at)
    seen = first(lifts, at + FOUND_WITHIN_N)
    made_of, _, _ = lt._leak(truth.id, seen, (), 0.5, float(seen.utc_s[-1]))
    return standardised(made_of.values, int(np.isfinite(leak[:at]).sum()))


def standardised(values: np.ndarray, at: int) -> Known:
    level = float(np.median(values[:at]))
    scatter = 1.4826 * float(np.median(np.abs(values[:at] - level)))
    return Known((values - level) / scatter, at)


def knowing(stepped: Sequence[Known], sound: Sequence[Known], false_per_500: float) -> float:
    """Share that a chart finds in time which is told level, scatter, size of step and odd lifts beforehand.

    Page's chart of the likelihood ratio of exactly this step; in the mean no other finds it sooner at the same rate of
    false ones (Moustakides 1986, worst case). Its limit is set on the healthy circuits themselves, in its favour.
    """

    def density(z: float, shift: float) -> float:
        return 0.98 * exp(-0.5 * (z - shift) ** 2) / 2.5066 + 0.02 * 0.1

    def raised(one: Known, limit: float) -> list[int]:
        places, total = [], 0.0
        for n, z in enumerate(one.z):
            total = max(total, 0.0) + log(density(z, 2.0) / density(z, 0.0))
            if total > limit:
                places.append(n)
                total = 0.0
        return places

    low, high = 0.5, 12.0
    lifts_n = sum(len(one.z) for one in sound)
    for _ in range(12):
        limit = 0.5 * (low + high)
        too_many = 500 * sum(len(raised(one, limit)) for one in sound) > false_per_500 * lifts_n
        low, high = (limit, high) if too_many else (low, limit)
    return float(np.mean([any(n >= one.at for n in raised(one, high)) for one in stepped]))


def told(way: str, lifts: lt.LiftColumns, name: str, at: int) -> bool:
    """Whether a step is told that is dated from three lifts before the true one on (it is told of lifts up to now)."""
    leak = lifts.circuits[name].leak_kpa_per_min
    places = np.flatnonzero(np.isfinite(leak))
    if way == "Holdwatch":
        made, _, _ = lt._leak(name, lifts, (), 0.5, float(lifts.utc_s[-1]))
        return any(one.size > 0 and int(places[one.lift]) >= at - 3 for one in made.steps)
    return any(int(places[end]) >= at - 3 for end in parts(leak[places])[:-1])


def speed() -> None:
    made = history(1, 20_000, 5.0)
    began = perf_counter()
    lifts = columns(made)
    read_s, began = perf_counter() - began, perf_counter()
    lt.follow(made.lifter, lifts, notes_until(made, inf), float(lifts.utc_s[-1]))
    print(
        f"20,000 lifts of one lifter: records written and read {read_s:.2f} s, all trends {perf_counter() - began:.2f} s"
    )


def main() -> None:
    warnings.simplefilter("ignore")
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--histories", type=int, default=60)
    parser.add_argument("--training", action="store_true", help="the seeds the constants were set on")
    given = parser.parse_args()
    seeds = range(TRAINING_FROM, TRAINING_FROM + given.histories)
    if not given.training:
        seeds = range(UNSEEN_FROM, UNSEEN_FROM + given.histories)
    print(f"seeds {seeds.start} to {seeds.stop - 1}\n")
    heads = (
        "forecast of the date",
        "asked",
        "told with a late bound",
        "median error of the time left",
        "90 % under",
        "covered",
    )
    print(f"| {' | '.join(heads)} |")
    print("| --- | --- | --- | --- | --- | --- |")
    for name, score in forecasts(seeds).items():
        print(score.row(name))
    heads = (
        "step of twice the scatter",
        "asked",
        f"found within {FOUND_WITHIN_N} lifts",
        "median lifts",
        "90 % within",
        "told after 15",
        "false in 500 healthy lifts",
        "while wear grows",
        "a possible one is told on",
    )
    print(f"\n| {' | '.join(heads)} |")
    print(f"| {' | '.join('---' for _ in heads)} |")
    found, stepped, sound = steps(seeds)
    for name, one in found.items():
        print(one.row(name))
    for false_per_500 in (1.0, 11.0):
        share = knowing(stepped, sound, false_per_500)
        print(
            f"a chart that knows level, scatter and size: {100 * share:.0f} % with {false_per_500:g} false in 500 lifts"
        )
    speed()


if __name__ == "__main__":
    main()
