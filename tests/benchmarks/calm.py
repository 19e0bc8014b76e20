"""How calm Holdwatch is: what sounds or changes the call over lifts in order, and what chatters over every fault scenario.

    python -m tests.benchmarks.calm [--lifts 200] [--first 0] [--scenarios]

A lift in order is the simulator's, drawn by its seed: panel of 250 to 700 kg, leak of 0.05 to 0.2 kPa/min, hoist of 5 to 90 m,
tilts, a swing, wind and temperature as they come, one in four set down and lifted again, 4 to 13 minutes long. Counted are
alarms raised (each of them sounds) and calls worse than "look" while the load hangs. Goal: at most one lift in a hundred.
Chatter: three changes of one alarm within 60.0 s (two alarm-management trade texts). Nothing here fails.
"""

import argparse
from collections import Counter

import numpy as np

from monitor.core.alarm_stats import CHATTER_N, CHATTER_S
from monitor.core.call import RANK, Call
from monitor.core.events import AlarmMoved, Told
from monitor.core.folding import fold
from simulator.scenarios import Scenario, names, read
from tests.histories import NO_CELL, START_S, Watch, demo_site, dock, scenario_events


def healthy(seed: int) -> Scenario:
    """A lift in order, drawn by its seed."""
    rng = np.random.default_rng(seed)
    height_m = float(rng.uniform(5.0, 90.0))
    weight_kg = float(rng.uniform(250.0, 700.0))
    acts: list[dict[str, object]] = [{"at_s": 3.0, "do": "press"}, {"at_s": 28.0, "do": "seal_test", "over_s": 62.0}]
    at_s = 95.0
    acts.append({"at_s": at_s, "do": "lift", "over_s": float(rng.uniform(3.0, 12.0))})
    at_s += 16.0
    if rng.random() < 0.6:
        acts.append({"at_s": at_s, "do": "tilt", "to_deg": 90.0, "over_s": float(rng.uniform(10.0, 30.0))})
        at_s += 35.0
    if rng.random() < 0.25:
        acts += [{"at_s": at_s, "do": "land", "over_s": 8.0}, {"at_s": at_s + 40.0, "do": "lift", "over_s": 6.0}]
        at_s += 60.0
    speed_m_s = float(rng.uniform(0.4, 1.2))
    acts.append({"at_s": at_s, "do": "hoist", "to_m": height_m, "speed_m_s": speed_m_s})
    at_s += height_m / speed_m_s + 5.0
    if rng.random() < 0.5:
        acts.append({"at_s": at_s, "do": "slew", "over_s": 6.0, "accel_m_s2": float(rng.uniform(0.05, 0.2))})
    at_s += float(rng.uniform(20.0, 400.0))
    acts.append({"at_s": at_s, "do": "land", "over_s": float(rng.uniform(5.0, 20.0))})
    at_s += float(rng.uniform(35.0, 90.0))
    acts += [{"at_s": at_s, "do": "release"}, {"at_s": at_s + 6.0, "do": "detach"}]
    tables = {
        "start": {"tilt_deg": float(rng.choice([0.0, 90.0])), "battery_ratio": float(rng.uniform(0.45, 1.0))},
        "panel": {"weight_kg": weight_kg, "area_m2": float(rng.uniform(3.0, 10.0))},
        "weather": {"air_c": float(rng.uniform(-5.0, 32.0)), "wind_m_s": float(rng.uniform(0.5, 5.0))},
    }
    lines = ['title = "A lift in order"', f"duration_s = {at_s + 20.0}"]
    rows = (", ".join(f"{k} = {_toml(v)}" for k, v in act.items()) for act in acts)
    lines.append("acts = [" + ", ".join(f"{{ {row} }}" for row in rows) + "]")
    for name, table in tables.items():
        lines += [f"[{name}]", *(f"{key} = {_toml(value)}" for key, value in table.items())]
    return read("\n".join(lines), name=f"healthy-{seed}.toml")


def _toml(value: object) -> str:
    return f'"{value}"' if isinstance(value, str) else f"{value:.3f}"


def run(scenario: Scenario | str, seed: int) -> Watch:
    """The engine after a whole scenario."""
    watch = Watch(dock(pump_levels=True, **(NO_CELL if scenario == "no-load-cell" else {})))
    watch.run(scenario_events(scenario, seed=seed, site=demo_site()))
    return watch


def calls_above_look(told: list[Told]) -> set[str]:
    """Reasons of calls worse than "look" while the load hangs."""
    flying = (one.status for one in told if one.status.facts.in_flight)
    return {s.called.reason.key for s in flying if RANK[s.called.call] < RANK[Call.LOOK]}


def chatters(moved: list[AlarmMoved]) -> list[str]:
    """Alarms that changed three times within a minute."""
    changes: dict[tuple[str, str], list[float]] = {}
    for move in moved:
        if move.moved in {"raised", "returned", "cleared"}:
            changes.setdefault((move.about, move.key), []).append(move.at_s)
    last = CHATTER_N - 1
    return [
        f"{key} {about}".strip()
        for (about, key), at_s in changes.items()
        if any(late - early <= CHATTER_S for early, late in zip(at_s, at_s[last:], strict=False))
    ]


def lifts(first: int, lifts_n: int) -> None:
    worse_n, alarmed_n, minutes = 0, 0, 0.0
    reasons: Counter[str] = Counter()
    for seed in range(first, first + lifts_n):
        watch = run(healthy(seed), seed)
        raised, above = watch.raised(), calls_above_look(watch.told)
        minutes += (watch.now_s - START_S) / 60.0
        alarmed_n += bool(raised)
        worse_n += bool(raised or above)
        reasons.update({*raised, *above})
        if raised or above:
            print(
                f"seed {seed}: alarms {', '.join(raised) or 'none'}; calls {', '.join(sorted(above)) or 'none'}",
                flush=True,
            )
    print(
        f"{lifts_n} lifts in order, {minutes:.0f} min: {alarmed_n} with an alarm, {worse_n} with an alarm or a call above look"
    )
    for key, number in reasons.most_common():
        print(f"  {number:4d} {key}")


def scenarios() -> None:
    print(f"{'scenario':24s} {'raised':>6s} {'lines':>6s}  chatters")
    for name in names():
        watch = run(name, 0)
        lines_n = max((len(fold(one.status.alarms)) for one in watch.told), default=0)
        print(
            f"{name:24s} {len(watch.raised()):6d} {lines_n:6d}  {', '.join(chatters(watch.moved)) or 'none'}",
            flush=True,
        )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.calm", description=__doc__.splitlines()[0])
    parser.add_argument("--lifts", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="first seed")
    parser.add_argument("--scenarios", action="store_true", help="every fault scenario instead")
    given = parser.parse_args()
    if given.scenarios:
        scenarios()
    else:
        lifts(given.first, given.lifts)


if __name__ == "__main__":
    main()
