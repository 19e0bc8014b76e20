"""How good leak and time to warning are, on simulated lifts of known truth: one line per cell, never pooled.

    python -m tests.benchmarks.leak --quick
    python -m tests.benchmarks.leak --lifts 200 --healthy 3000 --cells all --jobs 2 --kept full.jsonl --minutes 60
    python -m tests.benchmarks.leak --part coverage --lifts 20 --seed 9100
    python -m tests.benchmarks.leak --kept tests/benchmarks/leak_counted.jsonl --minutes 0 --guide GUIDE

A run is made of pieces of a few lifts, each with seeds of its own, going round the cells. With ``--kept`` each piece is
written to a file as it ends and none is run twice: the full run is taken in as many turns as it needs (``--minutes`` ends one),
and told from all the file holds. Pieces of another estimator or benchmark are left aside. Files of runs with other seeds may be
joined. ``leak_counted.jsonl`` holds what was counted so far. ``--guide`` writes what was found into the tables of a Markdown
file that have such headings.

Seeds below ``REPORT_SEED`` were used for training; figures are to be told from seeds never used for it.
"""

import argparse
import ast
import hashlib
import json
import time
import warnings
from collections import defaultdict
from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait
from functools import partial
from pathlib import Path
from typing import NamedTuple

import numpy as np

import monitor.core
from tests.benchmarks import leak_parts as parts
from tests.benchmarks import leak_tables as tables
from tests.benchmarks.leak_guide import filled, guide
from tests.benchmarks.leak_lifts import LEAKS, UNTRAINED, Cell
from tests.benchmarks.leak_run import LOSING_S

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
SOURCES = ("leak*.py", "warning_time.py")
MEASURES = ("leak_laws.py", "leak_lifts.py", "leak_limits.py", "leak_parts.py", "leak_run.py")
COUNTED = Path(__file__).with_name("leak_counted.jsonl")


class Part(NamedTuple):
    """A part of the benchmark: title, what runs a piece, what tells its rows, lifts of each kind to a piece, kinds."""

    title: str
    piece: callable
    told: callable
    n: int
    kinds_n: int


PARTS = {
    "orderly": Part(
        f"Lifts in order: losing while the level is further than {LOSING_S:g} s away",
        parts.orderly,
        tables.orderly,
        5,
        1,
    ),
    "coverage": Part("All leaks, one instant per lift", parts.instants, tables.instants, 2, len(LEAKS)),
    "delays": Part("Sudden leak in one circuit: delay, median", parts.sudden, tables.sudden, 2, len(parts.RATES)),
    "pumps": Part("Pumps", parts.pumps, tables.pumps, 2, 4),
    "cooling": Part("Steady leak while the gas cools by 10 K in 10 min", parts.cooled, tables.cooled, 4, 1),
    "together": Part(
        "The same leak on every circuit at once: delay until losing, median",
        parts.together,
        tables.together,
        1,
        2 * len(parts.SHOWS) * len(parts.TOGETHER_RATES),
    ),
    "untrained": Part(
        "Leaks by laws beside those, one instant per lift",
        parts.untrained,
        tables.instants,
        4,
        len(UNTRAINED),
    ),
}


def plain(value):
    """A value of a row as it is kept: numbers to five digits."""
    value = getattr(value, "tolist", lambda: value)()
    return float(f"{value:.5g}") if isinstance(value, float) else value


class Piece(NamedTuple):
    """Some lifts of a part in one cell, with seeds of their own."""

    part: str
    cell: Cell
    seed: int
    number: int

    def key(self):
        return [self.part, str(self.cell), self.seed, self.number]

    def run(self, *, quick):
        """Its rows and the seconds of processor time they took."""
        warnings.simplefilter("ignore")
        cell = [round(1000.0 * value) for value in (self.cell.noise_kpa, self.cell.quantum_kpa, self.cell.rate_hz)]
        chance = np.random.default_rng([self.seed, list(PARTS).index(self.part), self.number, *cell])
        piece = PARTS[self.part].piece
        if quick and self.part == "delays":
            piece = partial(piece, rates=parts.RATES[1:3], rivals=False)
        begun_s = time.process_time()
        rows = piece(self.cell, chance, PARTS[self.part].n)
        return [[plain(one) for one in row] for row in rows], time.process_time() - begun_s


def wanted(given, cells):
    """All pieces of a run, in the order to run them: first some of everything."""
    lifts_n = {
        "orderly": given.healthy / len(cells),
        "coverage": given.lifts,
        "cooling": 2 * given.lifts,
    }
    pieces = []
    for name in given.part or PARTS:
        rounds_n = -(-lifts_n.get(name, max(given.lifts // 2, 4)) // PARTS[name].n)
        some = cells[1:4] if given.quick and name in ("together", "pumps", "cooling") else cells
        pieces += [
            (number / rounds_n, Piece(name, cell, given.seed, number))
            for number in range(int(rounds_n))
            for cell in some
        ]
    return [piece for _, piece in sorted(pieces, key=lambda one: one[0])]


def version():
    """Digest of the estimator and of what measures it."""
    core = Path(monitor.core.__file__).parent
    files = [path for source in SOURCES for path in sorted(core.glob(source))]
    files += [Path(__file__).with_name(name) for name in MEASURES]
    return digest(path.read_text() for path in files)


def digest(sources):
    """Digest of modules but for their docstrings and blank lines: what is said of code may be mended without counting anew."""
    whole = hashlib.sha256()
    for source in sources:
        lines = source.splitlines()
        for node in ast.walk(ast.parse(source)):
            if (
                isinstance(node, ast.Expr)
                and isinstance(node.value, ast.Constant)
                and isinstance(node.value.value, str)
            ):
                lines[node.lineno - 1 : node.end_lineno] = [""] * (node.end_lineno - node.lineno + 1)
        whole.update("".join(f"{line}\n" for line in lines if line.strip()).encode())
    return whole.hexdigest()[:12]


def kept(path, of=None):
    """Pieces kept in a file that are of a version, if not told otherwise of this one, by their keys."""
    if path is None or not path.exists():
        return {}
    lines = [json.loads(line) for line in path.read_text().splitlines() if line.endswith("}")]
    return {json.dumps(one["key"]): one for one in lines if one["version"] == (of or version())}


def measure(given, pieces, found):
    """Run the pieces not found yet and add them to ``found`` and to the file."""
    end_s = time.monotonic() + 60.0 * given.minutes
    todo = iter([piece for piece in pieces if json.dumps(piece.key()) not in found])
    with ProcessPoolExecutor(given.jobs) as pool:
        running = {}
        while True:
            while len(running) < given.jobs and time.monotonic() < end_s and (piece := next(todo, None)):
                running[pool.submit(piece.run, quick=given.quick)] = piece
            if not running:
                return
            for done in wait(running, return_when=FIRST_COMPLETED).done:
                key = running.pop(done).key()
                rows, took_s = done.result()
                found[json.dumps(key)] = one = {
                    "key": key,
                    "version": version(),
                    "seconds": round(took_s, 2),
                    "rows": rows,
                }
                if given.kept is not None:
                    with given.kept.open("a") as file:
                        file.write(json.dumps(one, separators=(",", ":")) + "\n")


def gather(found):
    """Rows by part and cell, pieces in the order of their keys."""
    gathered = defaultdict(list)
    for one in sorted(found.values(), key=lambda one: one["key"]):
        part, cell, _, _ = one["key"]
        gathered[part, cell] += one["rows"]
    return gathered


def for_guide(found, cells=ALL):
    """The guide's tables of what was found."""
    gathered = gather(found)
    return guide(
        {part: {cell: arranged(part, rows) for cell in cells if (rows := gathered[part, str(cell)])} for part in PARTS}
    )


def arranged(part, rows):
    """Rows of a part as its tables take them."""
    return rows if part == "orderly" else np.array(rows, dtype=float)


def tell(found, cells):
    """Print what was found, by part and cell."""
    gathered, took_s = gather(found), defaultdict(float)
    for one in found.values():
        took_s[one["key"][0]] += one["seconds"]
    for name, part in PARTS.items():
        rows_n = sum(len(rows) for (one, _), rows in gathered.items() if one == name)
        if not rows_n:
            continue
        print(
            f"\n{part.title}  (noise, quantum, readings a second); {took_s[name] / rows_n:.2f} s of processor time a lift"
        )
        every = []
        for cell in cells:
            if rows := gathered[name, str(cell)]:
                print(*part.told(cell, arranged(name, rows)), sep="\n", flush=True)
                every += rows
        if name == "orderly":
            print(*part.told("all cells", every), sep="\n")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="few lifts, five cells, no rivals; nothing is kept")
    parser.add_argument("--lifts", type=int, default=40, help="lifts per cell and kind of leak")
    parser.add_argument("--healthy", type=int, default=300, help="lifts that are in order, over all cells")
    parser.add_argument("--cells", choices=("quick", "all"), default="quick")
    parser.add_argument("--part", choices=tuple(PARTS), action="append")
    parser.add_argument("--seed", type=int, default=REPORT_SEED)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--kept", type=Path, help="JSON Lines file that keeps the pieces of a run")
    parser.add_argument(
        "--minutes", type=float, default=float("inf"), help="begin no piece after so long; 0 only tells"
    )
    parser.add_argument("--guide", type=Path, help="Markdown file whose tables are to be those of what was found")
    given = parser.parse_args()
    if given.quick:
        given.lifts, given.healthy, given.kept = 4, 25, None
    cells = ALL if given.cells == "all" else QUICK
    pieces = wanted(given, cells)
    found = kept(given.kept)
    missing_n = sum(json.dumps(piece.key()) not in found for piece in pieces)
    print(
        f"{len(pieces)} pieces, {len(pieces) - missing_n} kept already; estimator and benchmark {version()}", flush=True
    )
    measure(given, pieces, found)
    missing_n = sum(json.dumps(piece.key()) not in found for piece in pieces)
    tell(found, cells)
    if given.guide is not None:
        given.guide.write_text(filled(given.guide.read_text(), for_guide(found)))
    if missing_n:
        print(f"\n{missing_n} of {len(pieces)} pieces are still to be run.")


if __name__ == "__main__":
    main()
