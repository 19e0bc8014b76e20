"""``reanalyse`` judges the traces of closed lifts again with the present program."""

import argparse
import os
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, FAILED, BadInputError, FailedError, load, say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.reanalysis import Task
    from monitor.store.records import Reader

TOLD_EVERY_N: Final = 100


def add(commands: Any) -> None:
    """Add the command."""
    again = commands.add_parser(
        "reanalyse",
        help="judge the traces of closed lifts again with this program",
        description="Judge every lift that has a trace again and write, a line a lift, what was called then and now. A run "
        "that was cut off goes on where it was. The kept records are never changed.",
    )
    again.add_argument("--data", metavar="DIR", type=Path, required=True, help="the data folder")
    again.add_argument("--out", metavar="FILE.jsonl", type=Path, required=True, help="the file to write")
    again.add_argument("--site", metavar="FILE", type=Path, help="site file to judge by (default: each lift's own)")
    again.add_argument("--lifter", metavar="ID", help="only this lifter's")
    how = again.add_mutually_exclusive_group()
    how.add_argument("--workers", metavar="N", type=int, default=os.cpu_count() or 1, help="default: all cores")
    how.add_argument("--cluster", metavar="ADDRESS", help="a Dask scheduler whose workers see DIR under the same path")
    again.set_defaults(act=_reanalyse)


def _reanalyse(given: argparse.Namespace) -> int:
    from monitor.fleet import kept_in
    from monitor.reanalysis import run
    from monitor.store.errors import StoreError
    from monitor.store.records import open_reader

    if not given.data.is_dir():
        raise BadInputError(f"--data is {given.data}, which is no folder. Name the data folder of `run` or `demo`.")
    if given.workers < 1:
        raise BadInputError(f"--workers is {given.workers}; it must be 1 or more.")
    text = load(given.site).text if given.site else None
    failed: list[str] = []

    def progress(done_n: int, why: str | None) -> None:
        if why is not None:
            failed.append(why)
            say(why)
        elif done_n % TOLD_EVERY_N == 0:
            say(f"{done_n} lifts judged again")

    begin, workers_n, end = _cluster(given.cluster) if given.cluster else _cores(given.workers)
    reader = open_reader(given.data)
    try:
        done_n = run(_tasks(reader, given.data.resolve(), given.lifter, text), given.out, begin, workers_n, progress)
    except StoreError as error:
        raise FailedError(str(error)) from None
    except OSError as error:
        raise FailedError(
            f"--out is {given.out}: {error.strerror or error}. What was done is kept; run it again."
        ) from None
    finally:
        reader.close()
        end()
    say(f"{done_n} lifts judged again, written to {given.out}" + (f"; {len(failed)} could not be" if failed else ""))
    if not done_n and not failed:
        say(f"{given.data} has no lift with a trace.{kept_in(given.data)}")
    return FAILED if failed else DONE


Workers = tuple[Callable[[], Executor], int, Callable[[], None]]
"""What makes the workers, how many there are, and what lets go of them at the end."""


def _cores(workers_n: int) -> Workers:
    if workers_n == 1:
        return lambda: ThreadPoolExecutor(1), 1, _nothing  # no process to be started
    return lambda: ProcessPoolExecutor(workers_n, mp_context=get_context("spawn")), workers_n, _nothing


def _nothing() -> None:
    """There is nothing to let go of."""


def _cluster(address: str) -> Workers:
    try:
        from distributed import Client as Dask
    except ImportError:
        raise BadInputError("--cluster needs Dask: install holdwatch[fleet]. Nothing was judged.") from None
    connect: Any = Dask
    try:
        client: Any = connect(address, timeout="10s")
    except (OSError, ValueError) as error:
        raise FailedError(f"--cluster is {address}, which does not answer ({error}). Nothing was judged.") from None
    workers_n = max(1, sum(client.nthreads().values()))
    return lambda: client.get_executor(retries=3, pure=False), workers_n, client.close


def _tasks(reader: "Reader", data: Path, lifter: str | None, text: str | None) -> "Iterator[Task]":
    from monitor.reanalysis import Task

    texts: dict[str, str | None] = {}
    for lift, record, path, sha256 in reader.traced(lifter):
        if sha256 not in texts:
            texts[sha256] = text or reader.settings(sha256)
        by = texts[sha256] or text
        if by is None:
            say(f"lift {lift}: the site file that judged it is not kept; name one with --site")
            continue
        yield Task(lift, str(data / path), record, by)
