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
from scipy.stats import chi2
from statsmodels.stats.proportion import proportion_confint

from monitor.core import lifter_trends as lt
from monitor.core.steps import find_steps
from monitor.core.trends import DAY_S, HORIZON_DAYS
from simulator.history import Wishes
from tests.trend_histories import columns, first, history, notes_until

UNSEEN_FROM, TRAINING_FROM = 900_000, 0
LIFTS_N, YEARS = 3_000, 3.0
LOOKS_N = 4
STEP_LIFTS_N = 400
FOUND_WITHIN_N = 5
STEPS_EACH_N = 4
"""Steps a history is asked for."""
OURS, OURS_DOWN, CHANGE_POINTS = "Holdwatch", "Holdwatch, a step down", "change points (ruptures)"
NEVER_N = 99
WATCHED_EVERY_N = 4
"""One in so many healthy circuits is followed lift by lift."""

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
    if likely is not None and true is not None:
        score.errors.append(abs(likely - true) / (true - now))


@dataclass
class Steps:
    """What one way of finding steps did."""

    delays: list[int] = field(default_factory=list)  # lifts from the step to the one it is first told at
    kept_n: int = 0  # steps still told fifteen lifts after
    false_n: int = 0  # confirmed ones of healthy circuits
    listed_n: int = 0  # all told of healthy circuits after their last lift
    worn_false_n: int = 0  # confirmed ones while the leak grows
    healthy_lifts_n: int = 0

    def row(self, name: str) -> str:
        within_n = sum(delay <= FOUND_WITHIN_N for delay in self.delays)
        low, high = proportion_confint(within_n, len(self.delays), alpha=0.1, method="wilson")
        cells = [
            name,
            str(len(self.delays)),
            f"{100 * within_n / len(self.delays):.0f} % ({100 * low:.0f} to {100 * high:.0f})",
            f"{np.median(self.delays):.0f}",
            _lifts(float(np.quantile(self.delays, 0.95))),
            f"{100 * self.kept_n / len(self.delays):.0f} %",
            *(_rate(count, self.healthy_lifts_n) for count in (self.false_n, self.listed_n, self.worn_false_n)),
        ]
        return f"| {' | '.join(cells)} |"


def _lifts(delay: float) -> str:
    return f"{delay:.0f}" if delay < NEVER_N else "over 15"


def _rate(count: int, lifts_n: int) -> str:
    """Of 500 lifts, with the exact 90 % interval of a Poisson count (Garwood 1936)."""
    if not lifts_n:
        return "-"
    low, high = (0.5 * float(chi2.ppf(p, n)) if n else 0.0 for p, n in ((0.05, 2 * count), (0.95, 2 * count + 2)))
    return f"{500 * count / lifts_n:.2f} ({500 * low / lifts_n:.2f} to {500 * high / lifts_n:.2f})"


@dataclass
class Watched:
    """Healthy circuits followed lift by lift: possible steps, those taken back too."""

    lifts_n: int = 0
    told_n: int = 0  # different ones
    standing_n: int = 0  # lifts after which one stands

    def follow(self, values: np.ndarray) -> None:
        told = set()
        for n in range(50, len(values) + 1):
            found = [one for one in find_steps(values[:n].tolist(), (), lt.LEAST_SCATTER["leak"]) if not one.certain]
            told |= {one.noticed_at for one in found}
            self.standing_n += bool(found)
            self.lifts_n += 1
        self.told_n += len(told)

    @property
    def told_per_500(self) -> float:
        return 500 * self.told_n / self.lifts_n


@dataclass(frozen=True, slots=True)
class Known:
    """Lifts in scatters off the level, both taken from all lifts before the step (all of a healthy circuit)."""

    z: np.ndarray
    at: int


def steps(seeds: range) -> tuple[dict[str, Steps], Watched, list[Known], list[Known]]:
    """Steps of twice the scatter in one circuit, told lift by lift; and healthy circuits of 500 lifts."""
    found = {name: Steps() for name in (OURS, OURS_DOWN, CHANGE_POINTS)}
    quiet = Wishes(healthy_share=1.0, steps_per_year=1e-9, wear_changes_per_year=1e-9, services=False)
    wearing = replace(quiet, healthy_share=0.0)
    watched = Watched()
    stepped: list[Known] = []
    sound: list[Known] = []
    for seed in seeds:
        for wishes in (quiet, wearing):
            lifts = columns(history(seed, 500, 0.5, wishes))
            for name in lifts.circuits:
                made, _, _ = lt._leak(name, lifts, (), 0.5, float(lifts.utc_s[-1]))
                leak = lifts.circuits[name].leak_kpa_per_min
                certain_n, parted_n = sum(step.certain for step in made.steps), len(parts(leak[np.isfinite(leak)])) - 1
                if wishes is wearing:
                    found[OURS].worn_false_n += certain_n
                    found[CHANGE_POINTS].worn_false_n += parted_n
                    continue
                found[OURS].false_n += certain_n
                found[OURS].listed_n += len(made.steps)
                found[CHANGE_POINTS].false_n += parted_n
                found[CHANGE_POINTS].listed_n += parted_n
                for one in (found[OURS], found[CHANGE_POINTS]):
                    one.healthy_lifts_n += 500
                if len(sound) % WATCHED_EVERY_N == 0:
                    watched.follow(made.values)
                sound.append(standardised(made.values, len(made.values)))
        stepped += [one_step(STEPS_EACH_N * seed + n, found, quiet) for n in range(STEPS_EACH_N)]
    return found, watched, stepped, sound


def one_step(seed: int, found: dict[str, Steps], quiet: Wishes) -> Known:
    made = history(seed + 7, STEP_LIFTS_N, 0.5, quiet)
    truth = made.circuits[0]
    at = int(np.random.default_rng(seed).integers(60, STEP_LIFTS_N - 20))
    level = truth.stretches[0].leak_kpa_per_min
    step = 2.0 * float(np.hypot(truth.scatter_ratio * level, truth.noise_kpa_per_min))

    def stepped(sign: float) -> lt.LiftColumns:
        lifts = columns(made)
        leak = lifts.circuits[truth.id].leak_kpa_per_min
        leak[at:] *= 1.0 + sign * step / level  # a circuit that leaks more scatters more
        return lifts

    up, down = stepped(1.0), stepped(-1.0)
    for name, score in found.items():
        lifts, sign = (down, -1.0) if name == OURS_DOWN else (up, 1.0)
        looks = (n for n in range(1, 16) if told(name, first(lifts, at + n), truth.id, at, sign))
        score.delays.append(next(looks, NEVER_N))
        score.kept_n += told(name, first(lifts, at + 15), truth.id, at, sign)
    seen = first(up, at + FOUND_WITHIN_N)
    made_of, _, _ = lt._leak(truth.id, seen, (), 0.5, float(seen.utc_s[-1]))
    known = np.isfinite(up.circuits[truth.id].leak_kpa_per_min[:at])
    return standardised(made_of.values, int(known.sum()))


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


def told(way: str, lifts: lt.LiftColumns, name: str, at: int, sign: float) -> bool:
    """Whether a step is told that is dated from three lifts before the true one on (it is told of lifts up to now)."""
    leak = lifts.circuits[name].leak_kpa_per_min
    places = np.flatnonzero(np.isfinite(leak))
    if way == CHANGE_POINTS:
        return any(int(places[end]) >= at - 3 for end in parts(leak[places])[:-1])
    made, _, _ = lt._leak(name, lifts, (), 0.5, float(lifts.utc_s[-1]))
    return any(sign * one.size > 0.0 and int(places[one.lift]) >= at - 3 for one in made.steps)


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
        "told with a date",
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
        "95 % within",
        "told after 15",
        "confirmed false in 500 healthy lifts",
        "told after 500 healthy lifts",
        "confirmed false while wear grows",
    )
    print(f"\n90 % intervals in brackets\n\n| {' | '.join(heads)} |")
    print(f"| {' | '.join('---' for _ in heads)} |")
    found, watched, stepped, sound = steps(seeds)
    for name, one in found.items():
        print(one.row(name))
    print(
        f"possible steps of a healthy circuit: {watched.told_per_500:.0f} told in 500 lifts and taken back; one stands "
        f"after {100 * watched.standing_n / watched.lifts_n:.1f} % of its lifts"
    )
    for false_per_500 in (1.0, watched.told_per_500):
        share = knowing(stepped, sound, false_per_500)
        print(
            f"a chart that knows level, scatter and size: {100 * share:.0f} % with {false_per_500:.0f} false in 500 lifts"
        )
    speed()


if __name__ == "__main__":
    main()
