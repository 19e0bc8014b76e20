"""The writer: one thread that puts everything on the disk, so that nobody who watches a load ever waits for one.

Callers hand over and go on. Alarms are written first and at once, then actions, closed lifts, and the journal in
groups. What cannot be written is kept and tried again; only journal rows are ever dropped, the oldest first, and
counted: their ids are then missing in the journal, so that a gap names itself.
"""

import logging
import shutil
import threading
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, TypedDict

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection, Engine

from monitor.clock import monotonic_s, utc_s
from monitor.store import tables as t
from monitor.store.chain import FIRST_HASH, link
from monitor.store.database import claim, database_path, is_damaged, prepare, set_aside
from monitor.store.errors import StoreError, TakenBeforeError, in_words
from monitor.store.lock import FolderLock
from monitor.store.pruning import TRACES_AT_ONCE_N, Keeping, drop_traces, prune_journal
from monitor.store.tracing import Tracer

log = logging.getLogger(__name__)

GROUP_S: Final = 0.2
"""Journal rows wait at most this long for others to share their commit."""

RETRY_S: Final = 1.0
"""After a failure the disk is tried again this often; an action tries it at once, because somebody waits."""

JOURNAL_MAX_N: Final = 20_000
"""Journal rows held while the disk does not follow: over three minutes of a busy site."""

ALARMS_MAX_N: Final = 10_000
ACTIONS_MAX_N: Final = 200
STUCK_S: Final = 3.0
"""A commit that takes longer is told as not writing."""

SNAPSHOTS_KEPT_N: Final = 3
PRUNE_EVERY_S: Final = 30.0

ROW_FAULTS: Final = (sa.exc.IntegrityError, sa.exc.DataError, ValueError, TypeError, OverflowError)
"""What says that one row is wrong; everything else says that the disk or the database is."""

Done = Callable[[StoreError | None], None]
"""Called from the writer's thread: None once the thing is on the disk, or why it is not."""


class Health(TypedDict):
    """How the store fares, for the engine and the pages."""

    writing: bool
    error: str | None
    note: str | None  # what happened to the store that somebody should see to
    free_ratio: float | None
    dropped_n: int


@dataclass(slots=True)
class _Waiting:
    """A row somebody waits for."""

    row: dict[str, Any]
    done: Done
    before_s: float


@dataclass(slots=True)
class _Lanes:
    """What is handed over and not written yet."""

    alarms: deque[dict[str, Any]] = field(default_factory=deque)
    actions: deque[_Waiting] = field(default_factory=deque)
    lifts: deque[_Waiting] = field(default_factory=deque)
    traces: deque[dict[str, Any]] = field(default_factory=deque)
    journal: deque[dict[str, Any]] = field(default_factory=deque)
    taken: list[dict[str, Any]] = field(default_factory=list)  # where the journal took actions
    snapshot: dict[str, Any] | None = None

    def urgent(self) -> bool:
        return bool(self.alarms or self.lifts or self.traces)

    def empty(self) -> bool:
        return not (self.urgent() or self.actions or self.journal or self.snapshot)


class Writer:
    """The one writer of a store. Made by ``monitor.store.records.open_writer``; ``close`` ends it.

    Every method may be called from any thread, and returns at once unless it says otherwise.
    """

    def __init__(self, data: Path, engine: Engine, reading: Engine, lock: FolderLock) -> None:
        self._data = data
        self._engine = engine
        self._reading = reading
        self._lock = lock
        self._wake = threading.Condition()
        self._lanes = _Lanes()
        self._closing = False
        self._flushing_n = 0  # who waits in `flush`
        self._busy_since_s: float | None = None
        self._error: str | None = None
        self._free_ratio: float | None = None
        self._dropped_n = 0
        self._connection: Connection | None = None
        self._keep_since_s: float | None = None
        self._prune_at_s = monotonic_s() + PRUNE_EVERY_S
        self.keeping = Keeping()
        self._lift_written = False
        self._rows_n = 0  # journal rows handed over; a row's id is its number after `_base_id`
        self._base_id: int | None = None
        self._note: str | None = None
        self._prepared = False
        self._open_first()
        self._tracer = Tracer(data, reading, self._trace_made)
        self._thread = threading.Thread(target=self._run, name="store-writer", daemon=True)
        self._thread.start()
        self._tracer.start()

    # What callers hand over.

    def journal(self, now_s: float, kind: str, lifter: str, payload: bytes, *, action: str = "") -> None:
        """Append a row to the journal, on the disk within about ``GROUP_S``.

        ``action`` is the id of an action on the disk, where the row says that the engine took it.
        """
        with self._wake:
            self._rows_n += 1
            lane = self._lanes.journal
            if len(lane) >= JOURNAL_MAX_N:
                lane.popleft()
                self._dropped_n += 1
            lane.append({"id": self._rows_n, "now_s": now_s, "kind": kind, "lifter": lifter, "payload": payload})
            if action:
                self._lanes.taken.append({"taken_id": plain(action), "taken_at": self._rows_n})
            if len(lane) == 1:
                self._wake.notify_all()

    def snapshot(
        self, now_s: float, blob: bytes, *, utc_minus_now_s: float, version: str, keep_since_s: float | None = None
    ) -> None:
        """Keep the engine's state, which stands after the last journal row handed over.

        Args:
            now_s: Engine time of the state.
            blob: The state.
            utc_minus_now_s: UTC minus engine time then, s.
            version: What can read the blob again (program and settings).
            keep_since_s: Journal rows from this engine time on are still needed (the oldest lift not closed yet).
        """
        keep_since_s = now_s if keep_since_s is None else keep_since_s
        with self._wake:
            self._lanes.snapshot = {
                "journal_id": self._rows_n,
                "now_s": now_s,
                "utc_minus_now_s": utc_minus_now_s,
                "keep_since_s": keep_since_s,
                "version": version,
                "blob": blob,
            }
            self._keep_since_s = keep_since_s
            self._wake.notify_all()

    def alarm(self, move: Mapping[str, Any]) -> None:
        """Keep a move of an alarm, at once: ``raising, moved, at_s, utc_s, lifter, key, about, state, who``."""
        row = {name: plain(move[name]) for name in ("raising", "moved", "lifter", "key", "about", "state", "who")}
        row |= {"at_s": move["at_s"], "utc_ms": round(move["utc_s"] * 1000)}
        with self._wake:
            if len(self._lanes.alarms) >= ALARMS_MAX_N:
                self._lanes.alarms.popleft()
                self._dropped_n += 1
            self._lanes.alarms.append(row)
            self._wake.notify_all()

    def action_soon(self, action: Mapping[str, Any], done: Done, *, timeout_s: float = 2.0) -> None:
        """Put an action (``id, kind, lifter, who, role, params, utc_s``) on the disk, then call ``done``.

        ``done`` gets a ``StoreError`` when it could not be written or its writing had not begun within ``timeout_s``
        (it is not on the disk then), or when an action of this id is there already.
        """
        row = {name: plain(action[name]) for name in ("id", "lifter", "kind", "who", "role")}
        row |= {"utc_ms": round(action["utc_s"] * 1000), "body": msgspec.json.encode(dict(action)).decode()}
        waiting = _Waiting(row, done, monotonic_s() + timeout_s)
        with self._wake:
            full = len(self._lanes.actions) >= ACTIONS_MAX_N
            if not full:
                self._lanes.actions.append(waiting)
                self._wake.notify_all()
        if full:
            done(StoreError("Not done: too many actions wait for the disk. Try again."))

    def action(self, action: Mapping[str, Any], *, timeout_s: float = 2.0) -> None:
        """Put an action on the disk; returns when it is there.

        Raises:
            StoreError: It could not be written in time.
        """
        ended = threading.Event()
        failure: list[StoreError | None] = []

        def done(error: StoreError | None) -> None:
            failure.append(error)
            ended.set()

        self.action_soon(action, done, timeout_s=timeout_s)
        if not ended.wait(timeout_s + STUCK_S):
            raise StoreError(
                "The disk has not answered: whether the action was kept is not known. Look at the screen and try again."
            )
        if failure[0] is not None:
            raise failure[0]

    def close_lift(
        self, record: Mapping[str, Any], *, opened_now_s: float, closed_now_s: float, done: Done | None = None
    ) -> None:
        """Keep the record of a closed lift, then call ``done``; after that, write its trace from the journal.

        The record needs ``version, id, site, lifter, opened, closed`` (UTC seconds); ``opened_now_s`` and ``closed_now_s``
        are the same instants in engine time.
        One of an id that is there already changes nothing. One that cannot be written is tried again for ever.
        """
        row = {
            **{name: plain(record[name]) for name in ("id", "site", "lifter")},
            "opened_utc_ms": round(record["opened"] * 1000),
            "closed_utc_ms": round(record["closed"] * 1000),
            "opened_now_s": opened_now_s,
            "closed_now_s": closed_now_s,
            "schema": record["version"],
            "record": msgspec.json.encode(dict(record)).decode(),
        }
        with self._wake:
            self._lanes.lifts.append(_Waiting(row, done or _nobody, float("inf")))
            self._wake.notify_all()

    def settings(self, sha256: str, text: str, *, name: str, program: str) -> None:
        """Keep the text of the site file in force from now on. Returns when it is on the disk.

        Raises:
            StoreError: It could not be written.
        """
        try:
            with self._engine.begin() as connection:
                _insert_new(connection, t.settings, [{"sha256": sha256, "text": text}])
                used = {"utc_ms": round(utc_s() * 1000), "sha256": sha256, "name": name, "program": program}
                _insert_new(connection, t.settings_used, [used])
        except (sa.exc.SQLAlchemyError, OSError) as error:
            raise StoreError(f"{self._data}: the settings could not be kept: {in_words(error)}") from error

    def health(self) -> Health:
        """Whether things reach the disk, the last error, the part of the disk that is free, and rows dropped."""
        with self._wake:
            stuck = self._busy_since_s is not None and monotonic_s() - self._busy_since_s > STUCK_S
            error = self._error or ("the disk does not answer" if stuck else None)
            return {
                "writing": error is None,
                "error": error,
                "note": self._note,
                "free_ratio": self._free_ratio,
                "dropped_n": self._dropped_n,
            }

    def flush(self, timeout_s: float = 10.0) -> bool:
        """Wait until everything handed over is on the disk; False when it is not by then."""
        with self._wake:
            self._flushing_n += 1
            self._wake.notify_all()
            try:
                return self._wake.wait_for(lambda: self._lanes.empty() and self._busy_since_s is None, timeout_s)
            finally:
                self._flushing_n -= 1

    def wait_for_traces(self, timeout_s: float = 10.0) -> bool:
        """Wait until every closed lift has its trace, or word why not."""
        return self.flush(timeout_s) and self._tracer.wait_idle(timeout_s) and self.flush(timeout_s)

    def close(self, timeout_s: float = 10.0) -> None:
        """Write what is left if the disk allows, then end the threads and let go of the folder."""
        self._tracer.stop()
        self._reading.dispose()  # the last to close puts the write-ahead file in order, which a reader may not
        with self._wake:
            self._closing = True
            self._wake.notify_all()
        self._thread.join(timeout_s)
        self._engine.dispose()
        self._lock.release()

    # The writer's thread.

    def _open_first(self) -> None:
        """Open the database before the thread starts. What may not be ours ends it; a disk that fails is tried again.

        Raises:
            NotOursError: Another engine has it, or a newer program wrote it.
        """
        try:
            self._connected()
        except (sa.exc.SQLAlchemyError, OSError) as error:
            self._error = self._failed(error)
            log.error("store: %s; watching goes on, and it is tried again", self._error)  # noqa: TRY400 - in words

    def _failed(self, error: BaseException) -> str:
        """Let go of a connection that failed; returns why in words."""
        self._disconnect()
        if not is_damaged(error):
            return in_words(error)
        self._reading.dispose()
        self._engine.dispose()
        try:
            aside = set_aside(self._data, utc_s())
        except OSError as worse:
            return in_words(worse)
        self._prepared, self._base_id = False, None
        self._note = f"the database was damaged and is kept as {aside.name}; a new one was begun"
        return f"{self._note} ({in_words(error)})"

    def _run(self) -> None:
        while True:
            with self._wake:
                self._wait()
                closing = self._closing
                lanes, self._lanes = self._lanes, _Lanes()
                self._busy_since_s = monotonic_s()
            free_ratio = _free_ratio(self._data)
            error = self._pass(lanes, probe=self._error is not None)
            with self._wake:
                self._give_back(lanes)
                self._busy_since_s = None
                self._free_ratio = free_ratio
                if error and error != self._error:
                    log.error("store: %s; what cannot be written is kept and tried again", error)
                elif self._error and not error:
                    log.warning("store: writing again, %d rows were dropped meanwhile", self._dropped_n)
                self._error = error
                self._wake.notify_all()
                if closing:
                    break
        self._disconnect()

    def _wait(self) -> None:
        lanes = self._lanes
        if self._error is not None:
            self._wake.wait_for(lambda: self._closing or lanes.actions, RETRY_S)
            return
        self._wake.wait_for(lambda: self._closing or not lanes.empty(), PRUNE_EVERY_S / 3)
        if not (lanes.urgent() or lanes.actions or lanes.empty()):
            self._wake.wait_for(lambda: self._closing or self._flushing_n or lanes.actions or lanes.urgent(), GROUP_S)

    def _pass(self, lanes: _Lanes, *, probe: bool) -> str | None:
        """Write all lanes, emptying each as it reaches the disk. Returns what went wrong, the rest still in place."""
        self._refuse_late(lanes)
        try:
            if probe:  # after a failure, an empty lane proves nothing
                self._probe()
            _one_by_one_if_need_be(self._write_alarms, lanes.alarms)
            while lanes.actions:
                self._write_action(lanes.actions)
            self._write_journal(lanes)
            while lanes.lifts:  # after its readings, of which its trace is made
                self._write_lift(lanes.lifts)
            _one_by_one_if_need_be(self._write_traces, lanes.traces)
            self._write_snapshot(lanes)  # last: whoever goes on from it does not look at what was before it again
            if self._lift_written:
                self._lift_written = False
                self._tracer.look()
            if monotonic_s() >= self._prune_at_s:
                self._prune_at_s = monotonic_s() + (0.0 if self._prune() else PRUNE_EVERY_S)
        except Exception as error:  # whatever it was: a writer that dies in silence is the worst of all
            if not isinstance(error, sa.exc.SQLAlchemyError | OSError | StoreError):
                log.exception("store: a fault of the program while writing")
            words = self._failed(error)
            while lanes.actions:
                lanes.actions.popleft().done(StoreError(f"Not done: it could not be written down ({words})."))
            return words
        return None

    def _refuse_late(self, lanes: _Lanes) -> None:
        now_s = monotonic_s()
        in_time = deque(one for one in lanes.actions if one.before_s >= now_s)
        late = [one for one in lanes.actions if one.before_s < now_s]
        lanes.actions = in_time
        for one in late:
            one.done(StoreError("Not done: the disk was too slow to write it down. Try again."))

    def _prune(self) -> bool:
        """Let go of what is not needed any more. Returns whether there may be more of it."""
        connection, more = self._connected(), False
        if self._keep_since_s is not None:
            with connection.begin():
                more = prune_journal(connection, self._keep_since_s)
        file = database_path(self._data)
        database_bytes = file.stat().st_size if file.exists() else 0
        with connection.begin():
            files = drop_traces(connection, self.keeping, now_utc_s=utc_s(), database_bytes=database_bytes)
        for name in files:  # after the commit: a trace that is named is there
            (self._data / name).unlink(missing_ok=True)
        return more or len(files) == TRACES_AT_ONCE_N

    def _probe(self) -> None:
        with self._connected().begin():
            self._connected().execute(sa.delete(t.meta).where(t.meta.c.key == "probe"))
            self._connected().execute(sa.insert(t.meta), {"key": "probe", "value": str(utc_s())})

    def _write_alarms(self, rows: Iterable[dict[str, Any]]) -> None:
        with self._connected().begin():
            _insert_new(self._connected(), t.alarms, list(rows))

    def _write_action(self, waiting: deque[_Waiting]) -> None:
        one = waiting[0]
        error = None
        with self._connected().begin():
            known = self._connected().scalar(sa.select(t.actions.c.id).where(t.actions.c.id == one.row["id"]))
            if known is None:
                self._connected().execute(sa.insert(t.actions), one.row)
            else:
                error = TakenBeforeError("Not done again: this action was taken before.")
        waiting.popleft().done(error)

    def _write_lift(self, waiting: deque[_Waiting]) -> None:
        one = waiting[0]
        connection = self._connected()
        with connection.begin():
            if connection.scalar(sa.select(t.lifts.c.n).where(t.lifts.c.id == one.row["id"])) is None:
                last = (
                    sa.select(t.lifts.c.hash)
                    .where(t.lifts.c.site == one.row["site"])
                    .order_by(t.lifts.c.n.desc())
                    .limit(1)
                )
                prev_hash = connection.scalar(last) or FIRST_HASH
                n = 1 + (connection.scalar(sa.select(sa.func.max(t.lifts.c.n))) or 0)
                chained = {"n": n, "prev_hash": prev_hash, "hash": link(prev_hash, one.row["id"], one.row["record"])}
                connection.execute(sa.insert(t.lifts), one.row | chained)
        self._lift_written = True
        waiting.popleft().done(None)

    def _write_traces(self, rows: Iterable[dict[str, Any]]) -> None:
        with self._connected().begin():
            _insert_new(self._connected(), t.traces, list(rows))

    def _write_journal(self, lanes: _Lanes) -> None:
        if not lanes.journal:
            return
        connection = self._connected()
        base_id = self._base_id or 0
        with connection.begin():
            _insert_new(connection, t.journal, [row | {"id": base_id + row["id"]} for row in lanes.journal])
            if lanes.taken:
                named = t.actions.c.id == sa.bindparam("taken_id")
                taken = [row | {"taken_at": base_id + row["taken_at"]} for row in lanes.taken]
                connection.execute(sa.update(t.actions).where(named).values(journal_id=sa.bindparam("taken_at")), taken)
        lanes.journal.clear()
        lanes.taken.clear()

    def _write_snapshot(self, lanes: _Lanes) -> None:
        if lanes.snapshot is None:
            return
        connection = self._connected()
        snapshot = lanes.snapshot | {"journal_id": (self._base_id or 0) + lanes.snapshot["journal_id"]}
        at = t.snapshots.c.journal_id
        with connection.begin():
            connection.execute(sa.delete(t.snapshots).where(at >= snapshot["journal_id"]))
            connection.execute(sa.insert(t.snapshots), snapshot)
            kept = sa.select(at).order_by(at.desc()).limit(SNAPSHOTS_KEPT_N).scalar_subquery()
            connection.execute(sa.delete(t.snapshots).where(at.not_in(kept)))
        lanes.snapshot = None

    def _give_back(self, lanes: _Lanes) -> None:
        """Put what was not written in front of what came meanwhile; the journal within its bound."""
        now = self._lanes
        now.alarms.extendleft(reversed(lanes.alarms))
        now.lifts.extendleft(reversed(lanes.lifts))
        now.traces.extendleft(reversed(lanes.traces))
        now.journal.extendleft(reversed(lanes.journal))
        now.taken[:0] = lanes.taken
        now.snapshot = now.snapshot or lanes.snapshot
        while len(now.journal) > JOURNAL_MAX_N:
            now.journal.popleft()
            self._dropped_n += 1

    def _connected(self) -> Connection:
        if self._connection is None:
            if not self._prepared:
                prepare(self._engine, self._data)
                self._prepared = True
            connection = self._engine.connect()
            try:
                claim(connection)
                if self._base_id is None:
                    with connection.begin():
                        ids = (t.journal.c.id, t.snapshots.c.journal_id)
                        self._base_id = max(connection.scalar(sa.select(sa.func.max(column))) or 0 for column in ids)
            except BaseException:
                connection.close()
                raise
            self._connection = connection
        return self._connection

    def _disconnect(self) -> None:
        connection, self._connection = self._connection, None
        if connection is not None:
            try:
                connection.invalidate()
                connection.close()
            except sa.exc.SQLAlchemyError as error:
                log.debug("store: closing a failed connection: %s", error)

    def _trace_made(self, row: dict[str, Any]) -> None:
        with self._wake:
            self._lanes.traces.append(row)
            self._wake.notify_all()


def _nobody(_error: StoreError | None) -> None:
    """Nobody waits."""


def _one_by_one_if_need_be(write: Callable[[Iterable[dict[str, Any]]], None], lane: deque[dict[str, Any]]) -> None:
    """Write a lane and empty it. A row the database will not take must not hold back the others, nor stay for ever."""
    if not lane:
        return
    try:
        write(lane)
    except ROW_FAULTS:
        while lane:
            try:
                write([lane[0]])
            except ROW_FAULTS:
                log.exception("store: one row was refused and is lost: %s", lane[0])
            lane.popleft()
    lane.clear()


def plain(text: str) -> str:
    """Text that every database takes: no zero bytes, no half characters."""
    return str(text).encode(errors="replace").decode().replace("\0", "\ufffd")


def _insert_new(connection: Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    """Insert the rows whose key is not there yet: a commit whose answer was lost is repeated."""
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    connection.execute(dialect.insert(table).on_conflict_do_nothing(), rows)


def _free_ratio(data: Path) -> float | None:
    try:
        usage = shutil.disk_usage(data)
    except OSError:
        return None
    return usage.free / usage.total if usage.total else None
