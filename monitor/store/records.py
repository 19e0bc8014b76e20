"""The store as others see it: ``open_writer`` for the one engine, ``open_reader`` for everybody else.

A store is a data folder: ``holdwatch.db`` (SQLite, or else a PostgreSQL database by URL), ``traces/``, ``engine.lock``.
"""

from collections.abc import Collection, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from monitor.core.alarm_stats import AlarmMove
from monitor.store import tables as t
from monitor.store.chain import End, Link, Misfit, first_misfit
from monitor.store.database import database_path, engine_for, row_dict, schema_version, store_url
from monitor.store.errors import StoreError, in_words
from monitor.store.lock import FolderLock
from monitor.store.traces import trace_sha256
from monitor.store.writing import Health, Writer

__all__ = ["Health", "JournalRow", "Reader", "Snapshot", "StoreError", "Writer", "open_reader", "open_writer"]


TRACED_AT_ONCE_N: Final = 100


@dataclass(frozen=True, slots=True)
class JournalRow:
    """One thing the engine took in, in order. ``id`` rises by one; a hole means rows were dropped."""

    id: int
    now_s: float
    kind: str
    lifter: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Snapshot:
    """The engine's state after the journal row ``journal_id``."""

    journal_id: int
    now_s: float
    utc_minus_now_s: float
    keep_since_s: float
    version: str
    blob: bytes


class Reader:
    """Reads a store. Every method may be called from any thread.

    Every method raises ``StoreError`` when the store cannot be read. One that was never written to reads as empty.
    """

    def __init__(self, data: Path, engine: Engine, file: Path | None) -> None:
        self._data = data
        self._engine = engine
        self._file = file
        self._checked = False
        self._inode: int | None = None

    def lifts(self, lifter: str | None = None, before: float | None = None, limit: int = 50) -> list[dict[str, Any]]:
        """Records of closed lifts, the one opened last first.

        Args:
            lifter: Only this one's.
            before: Only those opened before this UTC second.
            limit: At most this many.
        """
        c = t.lifts.c
        query = (
            sa.select(c.record).where(c.record.is_not(None)).order_by(c.opened_utc_ms.desc(), c.n.desc()).limit(limit)
        )
        if lifter is not None:
            query = query.where(c.lifter == lifter)
        if before is not None:
            query = query.where(c.opened_utc_ms < round(before * 1000))
        return [msgspec.json.decode(row.record) for row in self._rows(query)]

    def lift(self, lift: str) -> dict[str, Any] | None:
        """The record of one closed lift."""
        rows = self._rows(sa.select(t.lifts.c.record).where(t.lifts.c.id == lift))
        return msgspec.json.decode(rows[0].record) if rows and rows[0].record is not None else None

    def hash(self, lift: str) -> str | None:
        """The hash that stands for a closed lift and every one before it on its site."""
        rows = self._rows(sa.select(t.lifts.c.hash).where(t.lifts.c.id == lift))
        return rows[0].hash if rows else None

    def trace(self, lift: str) -> Path | None:
        """The Parquet file of a closed lift; None when there is none (yet)."""
        rows = self._rows(sa.select(t.traces.c.path).where(t.traces.c.lift == lift, t.traces.c.path.is_not(None)))
        return self._data / rows[0].path if rows else None

    def alarms(self, lifter: str | None = None, since: float = 0.0, limit: int = 1000) -> list[dict[str, Any]]:
        """Moves of alarms from a UTC second on, oldest first, the last ``limit`` of them."""
        c = t.alarms.c
        query = (
            sa.select(t.alarms)
            .where(c.utc_ms >= round(since * 1000))
            .order_by(c.utc_ms.desc(), c.at_s.desc(), c.raising.desc())
            .limit(limit)
        )
        if lifter is not None:
            query = query.where(c.lifter == lifter)
        return [row_dict(row) for row in reversed(self._rows(query))]

    def alarm_moves(self, *, until: float, lifter: str | None = None) -> list[AlarmMove]:
        """Every move of alarms up to a UTC second, in the order they happened: what alarm figures are made from."""
        c = t.alarms.c
        query = sa.select(t.alarms).where(c.utc_ms <= round(until * 1000)).order_by(c.at_s)  # never set back
        if lifter is not None:
            query = query.where(c.lifter == lifter)
        return [
            AlarmMove(row.utc_ms / 1000.0, row.lifter, row.raising, row.key, row.about, row.moved, row.state)
            for row in self._rows(query)
        ]

    def last_raisings(self, before_s: float = float("inf")) -> dict[str, int]:
        """The number of the last raising of any alarm before an engine time, by lifter: what stands last in its name."""
        c = t.alarms.c
        last: dict[str, int] = {}
        for row in self._rows(sa.select(c.lifter, c.raising).where(c.at_s < before_s).distinct()):
            number = row.raising.rpartition("/")[2]
            last[row.lifter] = max(last.get(row.lifter, 0), int(number) if number.isdecimal() else 0)
        return last

    def records_after(self, lifter: str, after_n: int = 0) -> list[tuple[int, str]]:
        """Place in the chain and text of each of a lifter's records after a place, in that order."""
        c = t.lifts.c
        query = sa.select(c.n, c.record).where(c.lifter == lifter, c.n > after_n, c.record.is_not(None)).order_by(c.n)
        return [(row.n, row.record) for row in self._rows(query)]

    def traced_n(self, lifter: str | None = None) -> int:
        """How many lifts ``traced`` gives."""
        query = self._traced(lifter, sa.func.count())
        return int(rows[0][0]) if (rows := self._rows(query)) else 0

    def traced(self, lifter: str | None = None) -> Iterator[tuple[str, str, str, str]]:
        """Id, record, trace's path in the folder and site file's SHA-256 of each lift that has both, oldest first."""
        c = t.lifts.c
        query = self._traced(lifter, c.n, c.id, c.record, t.traces.c.path).order_by(c.n).limit(TRACED_AT_ONCE_N)
        last_n = 0
        while rows := self._rows(query.where(c.n > last_n)):  # no connection stays open while whoever asks works
            for row in rows:
                yield row.id, row.record, row.path, msgspec.json.decode(row.record).get("site_file_sha256", "")
            last_n = rows[-1].n

    @staticmethod
    def _traced(lifter: str | None, *columns: sa.ColumnElement[Any]) -> sa.Select[Any]:
        c = t.lifts.c
        query = sa.select(*columns).select_from(t.lifts).join(t.traces, t.traces.c.lift == c.id)
        query = query.where(t.traces.c.path.is_not(None), c.record.is_not(None))
        return query if lifter is None else query.where(c.lifter == lifter)

    def hashes(self) -> list[tuple[str, str]]:
        """Site and hash of every closed lift, in the order they were closed."""
        c = t.lifts.c
        return [(row.site, row.hash) for row in self._rows(sa.select(c.site, c.hash).order_by(c.n))]

    def chain_ends(self) -> list[End]:
        """The last closed lift of each site, and how many there are up to it."""
        c = t.lifts.c
        last = (
            sa.select(c.site, sa.func.count().label("lifts_n"), sa.func.max(c.n).label("n")).group_by(c.site).subquery()
        )
        query = sa.select(c.site, last.c.lifts_n, c.id, c.hash).join(last, last.c.n == c.n).order_by(c.site)
        return [End(*tuple(row)) for row in self._rows(query)]

    def settings_in_force(self) -> str | None:
        """The text of the site file that came into force last."""
        used = sa.select(t.settings_used.c.sha256).order_by(t.settings_used.c.utc_ms.desc()).limit(1)
        rows = self._rows(sa.select(t.settings.c.text).where(t.settings.c.sha256 == used.scalar_subquery()))
        return rows[0].text if rows else None

    def actions(
        self, lifter: str | None = None, since: float = 0.0, limit: int = 1000, kinds: Collection[str] = ()
    ) -> list[dict[str, Any]]:
        """Actions from a UTC second on, oldest first, the last ``limit`` of them; of some ``kinds`` only, if any are named."""
        c = t.actions.c
        query = sa.select(c.body).where(c.utc_ms >= round(since * 1000)).order_by(c.utc_ms.desc()).limit(limit)
        if lifter is not None:
            query = query.where(c.lifter == lifter)
        if kinds:
            query = query.where(c.kind.in_(kinds))
        return [msgspec.json.decode(row.body) for row in reversed(self._rows(query))]

    def actions_not_taken(self) -> list[dict[str, Any]]:
        """Actions that are on the disk and that no journal row says the engine took, oldest first."""
        query = sa.select(t.actions.c.body).where(t.actions.c.journal_id.is_(None)).order_by(t.actions.c.utc_ms)
        return [msgspec.json.decode(row.body) for row in self._rows(query)]

    def snapshots(self) -> list[Snapshot]:
        """The engine states kept, newest first."""
        return [
            Snapshot(*tuple(row))
            for row in self._rows(sa.select(t.snapshots).order_by(t.snapshots.c.journal_id.desc()))
        ]

    def journal(self, after_id: int = 0, since_s: float | None = None) -> Iterator[JournalRow]:
        """Journal rows after an id, or from an engine time on, in order."""
        query = sa.select(t.journal).where(t.journal.c.id > after_id).order_by(t.journal.c.id)
        if since_s is not None:
            query = query.where(t.journal.c.now_s >= since_s)
        with self._connection() as connection:
            for row in connection.execute(query.execution_options(yield_per=1000)) if connection else ():
                yield JournalRow(*tuple(row))

    def newest_row(self) -> JournalRow | None:
        """The last row of the journal."""
        rows = self._rows(sa.select(t.journal).order_by(t.journal.c.id.desc()).limit(1))
        return JournalRow(*tuple(rows[0])) if rows else None

    def settings(self, sha256: str) -> str | None:
        """The text of a site file that was in force once."""
        rows = self._rows(sa.select(t.settings.c.text).where(t.settings.c.sha256 == sha256))
        return rows[0].text if rows else None

    def verify(self) -> Misfit | None:
        """The first closed record, or trace of one, that is not as it was when it was closed; None when all are.

        Reads every record and every trace there is: minutes for years of lifts.
        """
        c = t.lifts.c
        links = sa.select(c.id, c.site, c.record, c.prev_hash, c.hash).order_by(c.n)
        misfit = first_misfit(Link(*tuple(row)) for row in self._rows(links))
        if misfit is not None:
            return misfit
        files = (
            sa.select(c.id, c.site, t.traces.c.path, t.traces.c.sha256)
            .join(t.traces, t.traces.c.lift == c.id)
            .order_by(c.n)
        )
        for row in self._rows(files.where(t.traces.c.path.is_not(None))):
            lift, site, path, sha256 = tuple(row)
            try:
                if trace_sha256(self._data / path) != sha256:
                    return Misfit(lift, site, "trace_changed")
            except OSError:
                return Misfit(lift, site, "trace_missing")
        return None

    def close(self) -> None:
        self._engine.dispose()

    def _rows(self, query: sa.Select[Any]) -> list[sa.Row[Any]]:
        with self._connection() as connection:
            return list(connection.execute(query)) if connection else []

    @contextmanager
    def _connection(self) -> Iterator[Connection | None]:
        try:
            if self._file is not None and not self._is_there(self._file):
                yield None
                return
            with self._engine.connect() as connection:
                if not self._checked:
                    self._check(connection)
                yield connection
        except (sa.exc.SQLAlchemyError, OSError) as error:
            raise StoreError(f"{self._data}: the store cannot be read: {in_words(error)}") from error

    def _is_there(self, file: Path) -> bool:
        """Whether there is a database; one begun anew after a damaged one was set aside is opened anew."""
        try:
            found = file.stat().st_ino
        except FileNotFoundError:
            return False
        if found != self._inode:
            self._engine.dispose()
            self._inode, self._checked = found, False
        return True

    def _check(self, connection: Connection) -> None:
        found = schema_version(connection)
        if found != t.SCHEMA_VERSION:
            raise StoreError(
                f"{self._data}: the store is of schema version {found}; this program reads {t.SCHEMA_VERSION}. "
                "An engine of this version brings an older one up to date when it starts."
            )
        self._checked = True


def open_writer(data: Path, url: str | None = None) -> Writer:
    """Lock a data folder and open its store for writing, made if it is not there, brought up to date if it is older.

    Args:
        data: The data folder; made for its owner only.
        url: ``postgresql://...`` to keep the tables in that database instead of the folder; by default the environment's
            ``HOLDWATCH_STORE_URL``, if any.

    A store that cannot be written to just now is opened all the same, says so in its ``health`` and is tried again:
    watching a load must not wait for a disk. A damaged SQLite file is set aside under another name.

    Raises:
        NotOursError: Another engine has it, or it was written by a newer version.
        StoreError: The folder or the URL cannot be used.
    """
    try:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = FolderLock(data)
    except OSError as error:
        raise StoreError(
            f"{data}: the data folder cannot be used: {error.strerror}. Name another one with --data."
        ) from error
    undo = ExitStack()
    undo.callback(lock.release)
    try:
        engine = engine_for(data, url, read_only=False)
        undo.callback(engine.dispose)
        writer = Writer(data, engine, engine_for(data, url, read_only=True), lock)
    except BaseException:
        undo.close()
        raise
    return writer


def open_reader(data: Path, url: str | None = None) -> Reader:
    """The store's read side. It never makes, changes or locks anything, and works while a writer does.

    Raises:
        StoreError: ``url`` is of no kind this store knows.
    """
    return Reader(data, engine_for(data, url, read_only=True), None if store_url(url) else database_path(data))
