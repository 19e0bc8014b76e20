"""What the store costs: journal, actions, lifts, traces, the way back. Prints one line each; nothing here fails.

python -m tests.benchmarks.store [--data DIR] [--url postgresql://...] [--lifts 20000]
"""

import argparse
import json
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import sqlalchemy as sa

from monitor.store import tables as t
from monitor.store.chain import FIRST_HASH, link
from monitor.store.records import Writer, open_reader, open_writer

MESSAGE = json.dumps({
    "time": 1764019200.125, "seq": 10231, "boot": "7f3a",
    "circuits": {name: {"vacuum_kpa": 63.4, "pump": "off"} for name in "ABCD"},
    "load_kg": 622.5, "tilt_deg": 90.0, "rotation_deg": 0.0, "height_m": 41.0, "ambient_kpa": 101.1, "temperature_c": 14.2,
    "battery_v": 24.9, "wind_m_s": 4.2, "lifter_alarm": False, "release_valve": "closed",
}).encode()  # fmt: skip


def record(n: int) -> dict:
    circuits = {name: {"lowest_kpa": 58.4, "leak_kpa_per_min": 0.9, "states_s": {"holding": 230.0}} for name in "ABCD"}
    fixed = {"version": 1, "id": f"dock-6-{n}", "site": "quayside", "lifter": "dock-6", "circuits": circuits}
    return fixed | {"opened": 1.7e9 + 1000.0 * n, "closed": 1.7e9 + 1000.0 * n + 240.0, "landing_s": 55.0}


def timed(what: str, n: int, work: Callable[[], object]) -> None:
    wall_s, cpu_s = time.perf_counter(), time.process_time()
    work()
    wall_s, cpu_s = time.perf_counter() - wall_s, time.process_time() - cpu_s
    print(f"{what:<58}{n / wall_s:>12,.0f} a second{1e6 * cpu_s / n:>12,.1f} µs of processor each", flush=True)


def journal(writer: Writer, rows_n: int) -> None:
    for n in range(rows_n):
        writer.journal(1000.0 + n / 100, "reading", "dock-6", MESSAGE)
        if n % 5000 == 0:
            writer.flush()
    writer.flush()


def lift(writer: Writer, n: int, from_s: float, to_s: float) -> None:
    writer.close_lift(record(n), opened_now_s=from_s, closed_now_s=to_s)
    writer.wait_for_traces(60.0)


def many_lifts(writer: Writer, lifts_n: int) -> None:
    """Straight into the table: years of lifts in seconds."""
    rows, prev = [], FIRST_HASH
    for n in range(lifts_n):
        said = record(n)
        text = json.dumps(said)
        now = {"opened_now_s": 0.0, "closed_now_s": 0.0, "schema": 1, "record": text, "prev_hash": prev}
        prev = link(prev, said["id"], text)
        utc = {"opened_utc_ms": int(said["opened"] * 1000), "closed_utc_ms": int(said["closed"] * 1000), "hash": prev}
        rows.append({"n": 1000 + n, "id": f"old-{n}", "site": "quayside", "lifter": "dock-6"} | now | utc)
    with writer._engine.begin() as connection:
        connection.execute(sa.insert(t.lifts), rows)
        connection.execute(sa.insert(t.traces), [{"lift": row["id"], "rows_n": 0, "bytes_n": 0} for row in rows])


def main() -> None:
    given = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    given.add_argument("--data", type=Path)
    given.add_argument("--url")
    given.add_argument("--lifts", type=int, default=20_000)
    said = given.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        data = said.data or Path(folder)
        writer = open_writer(data, said.url)
        reader = open_reader(data, said.url)
        timed("journal rows, in groups", 100_000, lambda: journal(writer, 100_000))
        action = {"kind": "acknowledge", "lifter": "dock-6", "who": "w", "role": "supervisor", "utc_s": 1.0}
        timed(
            "actions, each on the disk before the next",
            300,
            lambda: [writer.action({"id": str(n)} | action) for n in range(300)],
        )
        timed("a lift's trace of 18,000 readings, readings", 18_000, lambda: lift(writer, 1, 1000.0, 1180.0))
        path = reader.trace("dock-6-1")
        print(f"{'its file':<58}{path.stat().st_size if path else 0:>12,} bytes")
        timed("journal rows read back", 100_000, lambda: sum(1 for _ in reader.journal()))
        many_lifts(writer, said.lifts)
        timed(f"records of {said.lifts:,} lifts read and parsed", said.lifts, lambda: reader.lifts(limit=said.lifts))
        timed("last 30 lifts of one lifter", 30, lambda: reader.lifts("dock-6", limit=30))
        reader.close()
        writer.close()


if __name__ == "__main__":
    main()
