"""``reanalyse`` judges the traces of closed lifts again with the present program."""

import argparse
import os
from collections.abc import Callable
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from monitor.cli.common import DONE, FAILED, BadInputError, FailedError, load, say
from monitor.clock import monotonic_s

if TYPE_CHECKING:
    from collections.abc import Iterator

    from monitor.reanalysis import Task
    from monitor.store.records import Reader

TOLD_EVERY_S: Final = 10.0


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
    from monitor.judged_by import core_sha256, program_version, settings_sha256
    from monitor.reanalysis import run
    from monitor.store.errors import StoreError
    from monitor.store.records import open_reader
    from monitor.unfinished import Unfinished

    if not given.data.is_dir():
        raise BadInputError(f"--data is {given.data}, which is no folder. Name the data folder of `run` or `demo`.")
    if given.workers < 1:
        raise BadInputError(f"--workers is {given.workers}; it must be 1 or more.")
    site = load(given.site) if given.site else None
    text = site.text if site else None
    done_by = {
        "program": f"{program_version()} {core_sha256()}",
        "site file": settings_sha256(site) if site else "each lift's own",
        "data folder": str(given.data.resolve()),
        "choice of lifter": given.lifter or "all",
    }
    begin, workers_n, end = _cluster(given.cluster) if given.cluster else _cores(given.workers)
    reader = open_reader(given.data)
    try:
        teller = Teller(reader.traced_n(given.lifter), say, monotonic_s)
        with Unfinished(given.out, done_by) as unfinished:
            if unfinished.differs:
                what = ", ".join(unfinished.differs)
                say(f"What an earlier run left is not known to be of the same {what}: all lifts are judged again.")
            elif unfinished.done:
                say(f"An earlier run was cut off: going on after {len(unfinished.done)} of {teller.all_n} lifts.")
            tasks = _tasks(reader, given.data.resolve(), given.lifter, text, teller)
            done_n = run(tasks, unfinished, begin, workers_n, teller)
    except StoreError as error:
        raise FailedError(str(error)) from None
    except OSError as error:
        raise FailedError(
            f"--out is {given.out}: {error.strerror or error}. What was done is kept; run it again."
        ) from None
    finally:
        reader.close()
        end()
    failed_n = teller.failed_n
    of = f" of {teller.all_n}" if failed_n else ""
    say(f"{done_n}{of} lifts judged again, written to {given.out}" + (f"; {failed_n} could not be" if failed_n else ""))
    if not teller.all_n:
        say(f"{given.data} has no lift with a trace.{kept_in(given.data)}")
    return FAILED if failed_n else DONE


class Teller:
    """Says how far it is, now and then, and every lift that could not be judged at once."""

    def __init__(self, all_n: int, say: Callable[[str], None], now_s: Callable[[], float]) -> None:
        self.all_n, self.failed_n = all_n, 0
        self._say, self._now_s, self._told_s = say, now_s, now_s()

    def __call__(self, done_n: int, why: str | None) -> None:
        if why is not None:
            self.failed_n += 1
            self._say(why)
        elif self._now_s() - self._told_s >= TOLD_EVERY_S:
            self._told_s = self._now_s()
            left = f", {self.failed_n} could not be" if self.failed_n else ""
            self._say(f"{done_n} of {self.all_n} lifts judged again{left}")


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


def _tasks(reader: "Reader", data: Path, lifter: str | None, text: str | None, teller: Teller) -> "Iterator[Task]":
    from monitor.reanalysis import Task

    texts: dict[str, str | None] = {}
    for lift, record, path, sha256 in reader.traced(lifter):
        if sha256 not in texts:
            texts[sha256] = text or reader.settings(sha256)
        by = texts[sha256] or text
        if by is None:
            teller(0, f"lift {lift}: the site file that judged it is not kept; name one with --site")
            continue
        yield Task(lift, str(data / path), record, by)
