"""Traces of closed lifts, made from the journal in a thread of its own: a long lift must not hold up an alarm."""

import errno
import logging
import threading
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Engine

from monitor.store import tables as t
from monitor.store.errors import in_words
from monitor.store.traces import MESSAGES, TraceFile, TraceRow, circuits_of, write_trace

log = logging.getLogger(__name__)

RETRY_S: Final = 60.0
TRIES_N: Final = 10
"""After so many, the store keeps why there is no trace, and lets the journal go."""

DISK_ALONE: Final = frozenset({errno.ENOSPC, errno.EDQUOT, errno.EROFS})
"""A full or read-only disk is no fault of the trace: tried for ever, and its readings stay in the journal meanwhile."""

NO_READING: Final = "the journal has no reading of this lift"


class Tracer:
    """Writes the trace of every closed lift that has none; what came of it goes to ``made`` as a row of ``traces``."""

    def __init__(self, data: Path, engine: Engine, made: Callable[[dict[str, Any]], None]) -> None:
        self._data = data
        self._engine = engine
        self._made = made
        self._wake = threading.Condition()
        self._look = True  # a lift may have closed just before the last end
        self._busy = False
        self._stopping = False
        self._tries_n: dict[str, int] = {}
        self._told: set[str] = set()
        self._thread = threading.Thread(target=self._run, name="store-tracer", daemon=True)

    def start(self) -> None:
        self._thread.start()

    def look(self) -> None:
        with self._wake:
            self._look = True
            self._wake.notify_all()

    def stop(self, timeout_s: float = 10.0) -> None:
        with self._wake:
            self._stopping = True
            self._wake.notify_all()
        self._thread.join(timeout_s)

    def wait_idle(self, timeout_s: float) -> bool:
        with self._wake:
            return self._wake.wait_for(lambda: not (self._look or self._busy), timeout_s)

    def _run(self) -> None:
        again_s: float | None = None
        while True:
            with self._wake:
                self._wake.wait_for(lambda: self._look or self._stopping, again_s)
                if self._stopping:
                    return
                self._look, self._busy = False, True
            try:
                again_s = None if self._make_missing() else RETRY_S
            except (sa.exc.SQLAlchemyError, OSError) as error:
                log.warning("store: traces wait: %s", in_words(error))
                again_s = RETRY_S
            with self._wake:
                self._busy = False
                self._wake.notify_all()

    def _make_missing(self) -> bool:
        whole = True
        for lift, record, opened_s, closed_s, lifter in self._missing():
            try:
                made = self._make(lift, msgspec.json.decode(record or b"{}"), opened_s, closed_s, lifter)
                row = _without(lift, NO_READING) if made is None else asdict(made) | {"lift": lift, "error": None}
            except (
                OSError,
                ValueError,
                ArithmeticError,
                TypeError,
                KeyError,
            ) as error:  # pyarrow's errors are ValueErrors and TypeErrors
                log.warning("store: the trace of lift %s could not be written: %s", lift, in_words(error))
                if isinstance(error, OSError) and error.errno in DISK_ALONE:
                    whole = False
                    continue
                self._tries_n[lift] = self._tries_n.get(lift, 0) + 1
                if self._tries_n[lift] < TRIES_N:
                    whole = False
                    continue
                row = _without(lift, in_words(error))
            self._told.add(lift)
            self._made(row)
        return whole

    def _missing(self) -> list[tuple[str, str | None, float, float, str]]:
        c = t.lifts.c
        query = sa.select(c.id, c.record, c.opened_now_s, c.closed_now_s, c.lifter).where(
            c.id.not_in(sa.select(t.traces.c.lift))
        )
        with self._engine.connect() as connection:
            return [tuple(row) for row in connection.execute(query.order_by(c.n)) if row.id not in self._told]

    def _make(
        self, lift: str, record: dict[str, Any], opened_s: float, closed_s: float, lifter: str
    ) -> TraceFile | None:
        c = t.journal.c
        query = (
            sa.select(c.kind, c.now_s, c.payload)
            .where(c.now_s >= opened_s, c.now_s <= closed_s, c.lifter == lifter, c.kind.in_([*MESSAGES, "judged"]))
            .order_by(c.id)
            .execution_options(yield_per=1000)
        )
        with self._engine.connect() as connection:
            first = [TraceRow(*row) for row in connection.execute(query.limit(20))]
            if not first:
                return None
            rows = (TraceRow(*row) for row in connection.execute(query))
            return write_trace(self._data, lift, rows, circuits_of(record, first))


def _without(lift: str, why: str) -> dict[str, Any]:
    """The row of a lift that has no trace."""
    return {"lift": lift, "path": None, "sha256": None, "rows_n": 0, "bytes_n": 0, "error": why}
