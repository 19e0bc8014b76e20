"""Draws time to the warning level, told against true, for four lifts: ``python -m tests.benchmarks.leak_figure FILE.svg``."""

import sys
from pathlib import Path

import numpy as np

from tests.benchmarks.leak_lifts import KPA_PER_M, STEP_S, Cell, leaky, pumped, read
from tests.benchmarks.leak_run import run

SEED = 9201
CELL = Cell(0.1, 0.1, 5.0)
WIDTH, HEIGHT, LEFT, TOP, GAP = 440, 240, 56, 44, 30
MOST_MIN = 40.0


def cases():
    chance = np.random.default_rng(SEED)
    yield "Sudden leak of 1 kPa/min", leaky("sudden", 1, chance, rate=1.0, shows="ambient")[0], chance
    yield "Leak that grows", leaky("growing", 1, chance, shows="ambient")[0], chance
    hoisted = leaky("sudden", 1, chance, rate=1.0, shows="nothing")[0]
    grid = np.arange(len(hoisted.vacuum_kpa)) * STEP_S
    hoisted.height_m = np.clip((grid - 100.0) * 1.0, 0.0, 80.0)
    hoisted.vacuum_kpa = hoisted.vacuum_kpa - KPA_PER_M * hoisted.height_m[:, None]
    yield "The same, hoisted 80 m from 100 s on, no ambient reading", hoisted, chance
    yield "Pump runs and cannot keep up", pumped(1, chance, covers=False, shown=True)[0], chance


def panel(title, lift, chance, left, top):
    end_s = min(lift.reaches_s(), 1500.0)
    told = run(lift, read(lift, CELL, chance, until_s=end_s), every_s=2.0)[0]
    across, down = WIDTH - LEFT - 14, HEIGHT - TOP - 34

    def x(t_s):
        return left + LEFT + across * t_s / end_s

    def y(minutes):
        return top + TOP + down * (1.0 - min(minutes, MOST_MIN) / MOST_MIN)

    def line(times_s, minutes):
        return " ".join(f"{x(t):.1f},{y(m):.1f}" for t, m in zip(times_s, minutes, strict=True))

    def capped(seconds):
        return np.where(np.isnan(seconds), MOST_MIN, np.minimum(seconds / 60.0, MOST_MIN))

    known = told.known
    t_s = told.t_s[known]
    early, likely, late = (capped(values[known]) for values in (told.early_s, told.likely_s, told.late_s))
    true = np.minimum((lift.reaches_s() - t_s) / 60.0, MOST_MIN)
    true[t_s < lift.onset_s] = MOST_MIN
    parts = [
        f'<text x="{left + LEFT}" y="{top + 26}" font-weight="bold">{title}</text>',
        f'<polygon points="{line(t_s, early)} {line(t_s[::-1], late[::-1])}" fill="#9ecae1" fill-opacity="0.6"/>',
        f'<polyline points="{line(t_s, likely)}" fill="none" stroke="#08519c" stroke-width="1.6"/>',
        f'<polyline points="{line(t_s, true)}" fill="none" stroke="#d94801" stroke-width="1.6" stroke-dasharray="6 3"/>',
        f'<polyline points="{x(0)},{top + TOP} {x(0)},{y(0)} {x(end_s)},{y(0)}" fill="none" stroke="#333"/>',
    ]
    words = {0: "0", 10: "10", 20: "20", 30: "30", 40: "beyond"}
    parts += [f'<text x="{x(0) - 6}" y="{y(m) + 4:.1f}" text-anchor="end">{word}</text>' for m, word in words.items()]
    parts += [
        f'<text x="{x(t):.1f}" y="{y(0) + 16:.1f}" text-anchor="middle">{t // 60}</text>'
        for t in range(0, int(end_s) + 1, 240)
    ]
    return parts


def main():
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {2 * WIDTH + GAP} {2 * HEIGHT + 60}" font-family="sans-serif" '
        'font-size="12" role="img" aria-label="Time to the warning level, told against true, for four simulated lifts">',
        f'<rect width="{2 * WIDTH + GAP}" height="{2 * HEIGHT + 60}" fill="white"/>',
    ]
    for number, (title, lift, chance) in enumerate(cases()):
        parts += panel(title, lift, chance, (number % 2) * (WIDTH + GAP), (number // 2) * HEIGHT)
    foot = 2 * HEIGHT + 30
    parts.append(
        f'<text x="{LEFT}" y="{foot}">Minutes to the warning level over minutes of the lift. Line: likely. '
        "Band: early to late. Dashes: truth (before its onset a leak is beyond).</text></svg>"
    )
    Path(sys.argv[1]).write_text("\n".join(parts) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
