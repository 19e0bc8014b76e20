"""The leak benchmark's rows as the tables of the guide ``leak-and-time.md``: bold misses what was wanted."""

import numpy as np

from tests.benchmarks import leak_parts as parts
from tests.benchmarks import leak_tables as tables
from tests.benchmarks.leak_lifts import UNTRAINED

NEVER = "never"
GROWING = ("growing", "ramp", "power")


def table(heads, lines):
    """Cells of text as a Markdown table."""
    rows = [heads, ["---"] * len(heads), *lines]
    return "\n".join(f"| {' | '.join(row)} |" for row in rows)


def bold_if(missed, text):
    return f"**{text}**" if missed else text


def seconds(value):
    return f"{value:.1f}" if np.isfinite(value) else NEVER


def sudden(rows_by_cell):
    """Delays after a sudden leak: ``losing`` and the estimate with what was wanted, then the estimates compared with it."""
    heads = ["noise, quantum, rate", "kPa/min", "leaks", "losing", "wanted", "within 25 % for good", "wanted"]
    heads += ["line, 60 s", "300 s", "Theil-Sen", "trend filter"]
    lines = []
    for cell, rows in rows_by_cell.items():
        name = str(cell)
        for rate, one in tables.delays(cell, rows):
            wanted = 2.0 * one.cusum, min(1.5 * one.bound, one.half)
            pairs = zip((one.losing, one.ours), wanted, strict=True)
            figures = [text for found, most in pairs for text in (bold_if(found > most, seconds(found)), seconds(most))]
            lines.append([name, f"{rate:g}", str(one.n), *figures, *map(seconds, one.others)])
            name = ""
    return table(heads, lines)


def instants(rows_by_cell):
    """Bounds and likely times at one instant a lift."""
    heads = ["noise, quantum, rate", "instants", "inside (85 to 96)", "early too late", "late too early", "steady"]
    heads += ["step", "doubling", "with the time", "its powers", "(late − early)/true", "answered"]
    lines = []
    for cell, rows in rows_by_cell.items():
        found = tables.judged(rows)
        n, late_n, soon_n = found.n, int(found.too_late.sum()), int(found.too_early.sum())
        inside = 100.0 * (n - late_n - soon_n) / n
        limit = 100.0 * tables.upper(late_n, n)
        width = float(np.median(found.width[found.told]))
        answered = 100.0 * (found.told & found.old).sum() / found.old.sum()
        steady = found.steady("sudden")
        error, least = 100.0 * tables.median(found.error[steady]), 150.0 * tables.median(found.least[steady])
        most = 3.0 if cell.fine else least
        growing = []
        for kind in ("step", *GROWING):
            sure = found.steady(kind) if kind == "step" else found.grows(kind) & found.sure
            off = 100.0 * tables.median(found.error[sure])
            growing.append(f"{bold_if(off > 8.0, f'{off:.1f}')} ({sure.sum()})")
        lines.append(
            [
                str(cell),
                str(len(rows)),
                f"{bold_if(not 85.0 <= inside <= 96.0, f'{inside:.1f}')} %",
                f"{bold_if(100.0 * late_n > 5.0 * n, f'{100.0 * late_n / n:.1f}')} % ({bold_if(limit > 5.0, f'{limit:.1f}')})",
                f"{100.0 * soon_n / n:.1f} %",
                f"{bold_if(error > most, f'{error:.1f}')} % ({most:.1f})",
                *growing,
                bold_if(cell.fine and width > 1.0, f"{width:.2f}"),
                f"{bold_if(answered < 95.0, f'{answered:.1f}')} %",
            ]
        )
    return table(heads, lines)


def growing(rows_by_cell):
    """Errors of growing leaks beside the least that is possible."""
    lines = []
    for cell, rows in rows_by_cell.items():
        found = tables.judged(rows)
        told, least, unsure_n, late_n = [], [], 0, 0
        for kind in GROWING:
            sure, unsure = found.grows(kind) & found.sure, found.grows(kind) & ~found.sure
            off = 100.0 * tables.median(found.error[sure])
            told.append(bold_if(off > 8.0, f"{off:.1f}"))
            least.append(f"{100.0 * tables.median(found.law_found[sure]):.1f}")
            unsure_n, late_n = unsure_n + int(unsure.sum()), late_n + int((unsure & found.too_late).sum())
        before = f"{bold_if(20 * late_n > unsure_n, str(late_n))} of {unsure_n}"
        lines.append([str(cell), f"{', '.join(told)} %", f"{', '.join(least)} %", before])
    heads = ["noise, quantum, rate", "doubling, with the time, its powers", "least possible"]
    return table([*heads, "early too late before growth shows"], lines)


def orderly(rows_by_cell):
    """Lifts in order by what happens in them: how many were called losing, and before a pump could be known."""
    rows = [row for every in rows_by_cell.values() for row in every]
    lines = []
    for kind in sorted({row[0] for row in rows}):
        chosen = [row for row in rows if row[0] == kind]
        lines.append([KINDS_SAID[kind], *_called(chosen)])
    lines.append(["all", *_called(rows)])
    heads = ["lifts in order", "number", "called losing", "upper limit", "and before a pump could be known"]
    return table(heads, lines)


KINDS_SAID = {
    "drift": "temperature drifts",
    "hoist": "hoisted by 30 to 200 m",
    "saw_tooth": "pump comes and goes",
    "swing": "hoisted, then swings",
    "warming": "gas warms after pump-down",
}


def _called(rows):
    hits = sum(row[3] > 0 for row in rows)
    limit = 100.0 * tables.upper(hits, len(rows))
    before_n = sum(row[4] > 0 for row in rows)
    return [str(len(rows)), bold_if(200 * hits > len(rows), str(hits)), f"{limit:.2f} %", str(before_n)]


def pumps(rows_by_cell):
    """Pumps: median errors, how many were off by more than 10 %, reserves made up, bounds after a pump that balanced failed."""
    heads = ["noise, quantum, rate", "lifts a case", "reserve, pump told", "reserve, not told", "held"]
    heads += ["cannot keep up", "made up", "early too late after it balanced and failed"]
    lines = []
    for cell, rows in rows_by_cell.items():
        cases = [rows[rows[:, 0] == case] for case in range(parts.BALANCES + 1)]
        told = []
        for case in cases[: parts.BALANCES]:
            error = 100.0 * tables.median(case[:, 2])
            off_n = int((~(case[:, 2] <= 0.1)).sum())
            told.append(f"{bold_if(error > 10.0, f'{error:.1f}')} % ({off_n})")
        held = np.concatenate([case[:, 1] for case in cases[: parts.CANNOT]]).mean()
        made_up_n = sum(int(case[:, 3].sum()) for case in cases)
        lines.append(
            [
                str(cell),
                str(len(cases[0])),
                *told[: parts.CANNOT],
                f"{100.0 * held:.1f} %",
                told[parts.CANNOT],
                bold_if(made_up_n > 0, str(made_up_n)),
                f"{100.0 * cases[parts.BALANCES][:, 2].mean():.1f} %",
            ]
        )
    return table(heads, lines)


def cooled(rows_by_cell):
    """Early bounds of a steady leak while the gas cools."""
    lines = []
    for cell, rows in rows_by_cell.items():
        found = tables.judged(rows)
        hits, n = int(found.too_late.sum()), found.n
        late = f"{100.0 * hits / n:.1f}"
        lines.append([str(cell), str(n), f"{bold_if(20 * hits > n, late)} % ({100.0 * tables.upper(hits, n):.1f})"])
    return table(["noise, quantum, rate", "lifts", "early too late (upper limit)"], lines)


def together(rows_by_cell):
    """Delays of the same leak on every circuit at once, beside those of one circuit alone, and how it was told from then on."""
    heads = ["noise, quantum, rate", "lifts"]
    heads += [
        f"{rate:g} kPa/min, {'ambient reading' if shows == 'ambient' else 'none'}"
        for shows in parts.SHOWS
        for rate in parts.TOGETHER_RATES
    ]
    heads.append("then off, or early too late")
    lines = []
    for cell, rows in rows_by_cell.items():
        told, calm = [], []
        for place in range(len(parts.SHOWS)):
            for rate in parts.TOGETHER_RATES:
                one, every = tables.beside_one(rows, place, rate)
                told.append(f"{seconds(one)}, {bold_if(every > 2.0 * one, seconds(every))}")
                calm.append(tables.calm_share(rows, place, rate))
        worst = 100.0 * np.nanmax(calm)
        lines.append([str(cell), str(len(rows) // (2 * len(told))), *told, f"{worst:.1f} % of the time"])
    return table(heads, lines)


def untrained(rows_by_cell):
    """Laws beside those of the coverage, by law over all cells: what is rare shows in many."""
    found = tables.judged(np.concatenate(list(rows_by_cell.values())))
    lines = []
    for name in UNTRAINED:
        grows = found.grows(name)
        sure = grows & found.sure
        n, late_n, soon_n = int(grows.sum()), int((grows & found.too_late).sum()), int((grows & found.too_early).sum())
        error = 100.0 * tables.median(found.error[sure])
        off = f"{bold_if(error > 8.0, f'{error:.1f}')} % ({sure.sum()})"
        limit = 100.0 * tables.upper(late_n, n)
        lines.append(
            [LAWS_SAID[name], str(n), f"{100.0 * late_n / n:.1f} % ({limit:.1f})", f"{100.0 * soon_n / n:.1f} %", off]
        )
    return table(["law", "instants", "early too late (upper limit)", "late too early", "likely time"], lines)


LAWS_SAID = {
    "cubic": "with the cube of the time",
    "levelling": "levels off",
    "runaway": "as one over the time left",
}


TABLES = {
    "delays": (sudden,),
    "coverage": (instants, growing),
    "untrained": (untrained,),
    "orderly": (orderly,),
    "pumps": (pumps,),
    "cooling": (cooled,),
    "together": (together,),
}


def guide(rows_by_part):
    """All tables of what was found: by part, then by cell, arrays of rows."""
    return [told(rows_by_part[part]) for part, every in TABLES.items() if rows_by_part.get(part) for told in every]


def filled(text, made):
    """A guide's text with each table in the place of the one that has its headings.

    Raises:
        ValueError: No table of the guide has such headings, or several do.
    """
    for new in made:
        heads = new.partition("\n")[0]
        before, *rest = text.split(f"{heads}\n")
        if len(rest) != 1:
            raise ValueError(f"The guide has {len(rest)} tables headed {heads}; it must have one, where it belongs.")
        lines = rest[0].splitlines(keepends=True)
        ends = next((n for n, line in enumerate(lines) if not line.startswith("|")), len(lines))
        text = f"{before}{new}\n{''.join(lines[ends:])}"
    return text
