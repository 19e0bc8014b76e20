"""How fast traces are judged again: ``python -m tests.benchmarks.reanalyse [--lifts N]``.

One simulated lift, kept N times; prints traces a second and core with one and with two workers, the scaling between
them, and the greatest memory of the parent and its workers for N and for 4 N lifts, which shall be the same.
"""

import argparse
import resource
import subprocess
import sys
import tempfile
from pathlib import Path
from time import perf_counter

import sqlalchemy as sa

from monitor.store import tables as t
from monitor.store.chain import link
from monitor.store.database import sqlite_engine
from tests.kept_lifts import keep_lifts


def multiply(data: Path, lifts_n: int) -> None:
    """Keep the one lift of a folder under more names, all with the same trace file."""
    engine = sqlite_engine(data / "holdwatch.db", read_only=False)
    with engine.begin() as connection:
        first = dict(connection.execute(sa.select(t.lifts).order_by(t.lifts.c.n).limit(1)).mappings().one())
        trace = dict(connection.execute(sa.select(t.traces).limit(1)).mappings().one())
        n = connection.scalar(sa.select(sa.func.max(t.lifts.c.n))) or 0
        prev_hash = connection.scalar(sa.select(t.lifts.c.hash).where(t.lifts.c.n == n))
        for more in range(n + 1, lifts_n + 1):
            lift = f"{first['id']}-{more:06d}"
            digest = link(prev_hash, lift, first["record"])
            row = first | {"n": more, "id": lift, "prev_hash": prev_hash, "hash": digest}
            connection.execute(sa.insert(t.lifts), row)
            connection.execute(sa.insert(t.traces), trace | {"lift": lift})
            prev_hash = digest
    engine.dispose()


def run(data: Path, out: Path, workers_n: int) -> tuple[float, float]:
    """Seconds and the greatest memory of one process in MB."""
    began = perf_counter()
    command = [sys.executable, "-m", "monitor", "reanalyse", "--data", str(data), "--out", str(out)]
    subprocess.run([*command, "--workers", str(workers_n)], check=True, capture_output=True)
    return perf_counter() - began, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lifts", type=int, default=24)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        data = keep_lifts(Path(folder), {"clean-lift": 7})
        print("| lifts | workers | s | traces a second and core | greatest process, MB |")
        print("| --- | --- | --- | --- | --- |")
        rates = {}
        for lifts_n, workers_n in ((given.lifts, 1), (given.lifts, 2), (4 * given.lifts, 2)):
            multiply(data, lifts_n)
            took_s, memory_mb = run(data, Path(folder) / f"{lifts_n}-{workers_n}.jsonl", workers_n)
            rates[lifts_n, workers_n] = lifts_n / took_s
            print(f"| {lifts_n} | {workers_n} | {took_s:.1f} | {lifts_n / took_s / workers_n:.2f} | {memory_mb:.0f} |")
        print(f"scaling from one to two workers: {rates[given.lifts, 2] / rates[given.lifts, 1]:.2f}")


if __name__ == "__main__":
    main()
