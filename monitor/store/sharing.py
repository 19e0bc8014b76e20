"""What a site's store gives to a central one, and how the central one keeps it: each lift once, in the site's own chain.

The central store holds each site in a data folder of its own, with the places and hashes the site gave its lifts. A lift is
taken only where it goes on the chain that is there, so it comes once however often it is sent, and a changed one never.
"""

import hashlib
from pathlib import Path
from typing import Any, Final

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.store import tables as t
from monitor.store.chain import FIRST_HASH, link
from monitor.store.database import IN_FOLDER, engine_for, prepare, put_in_place, row_dict
from monitor.store.errors import StoreError, in_words
from monitor.store.traces import trace_path

NOT_SENT: Final = "The site has not sent this trace."
LIFTS_MOST_N: Final = 50
WANTED_MOST_N: Final = 20


class LiftRow(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """A closed lift as its site keeps it; ``record`` is None where somebody took it away."""

    n: int
    id: str
    site: str
    lifter: str
    opened_utc_ms: int
    closed_utc_ms: int
    opened_now_s: float
    closed_now_s: float
    schema: int
    record: str | None
    prev_hash: str
    hash: str


class SettingsRow(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """A site file, and when it came into force."""

    utc_ms: int
    sha256: str
    name: str
    program: str
    text: str


class NoteRow(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """A service note."""

    id: str
    utc_ms: int
    lifter: str
    kind: str
    who: str
    role: str
    body: str


class Batch(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """What a site sends at once. ``id`` is given back when it is on the disk."""

    id: str
    lifts: list[LiftRow]
    settings: list[SettingsRow] = []
    notes: list[NoteRow] = []


class Trace(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """A lift's trace: its file follows, or ``error`` says why there is none."""

    id: str
    lift: str
    sha256: str
    rows_n: int
    error: str = ""


class Have(msgspec.Struct, forbid_unknown_fields=True, frozen=True):
    """What the central store has of a site, told after each batch; ``refused`` says why it did not take that one."""

    batch: str
    n: int
    hash: str
    wanted: list[str]  # lifts whose trace is not here, the oldest
    refused: str = ""


class Outgoing:
    """A site's store, read only: it may be in use."""

    def __init__(self, data: Path, url: str | None = None) -> None:
        """``data`` is the site's data folder; ``url`` as in ``open_writer``.

        Raises:
            StoreError: Its store is of no kind known here.
        """
        self._data = data
        self._engine = engine_for(data, url, read_only=True)

    def site(self) -> str | None:
        """The site its newest lift is of; None without a lift."""
        rows = self._rows(sa.select(t.lifts.c.site).order_by(t.lifts.c.n.desc()).limit(1))
        return rows[0].site if rows else None

    def hash_at(self, n: int) -> str | None:
        """The hash of a lift by its place; None where there is none."""
        rows = self._rows(sa.select(t.lifts.c.hash).where(t.lifts.c.n == n))
        return FIRST_HASH if n == 0 else rows[0].hash if rows else None

    def beginning(self, batch: str) -> Batch:
        """No lift yet, but the site files and service notes trends need."""
        used = sa.select(t.settings_used, t.settings.c.text).join(
            t.settings, t.settings.c.sha256 == t.settings_used.c.sha256
        )
        notes = sa.select(*(t.actions.c[name] for name in NoteRow.__struct_fields__))
        return Batch(
            batch,
            [],
            [SettingsRow(**row_dict(row)) for row in self._rows(used)],
            [NoteRow(**row_dict(row)) for row in self._rows(notes.where(t.actions.c.kind == "service_note"))],
        )

    def after(self, n: int, batch: str) -> Batch:
        """The next lifts after a place."""
        rows = self._rows(sa.select(t.lifts).where(t.lifts.c.n > n).order_by(t.lifts.c.n).limit(LIFTS_MOST_N))
        return Batch(batch, [LiftRow(**row_dict(row)) for row in rows])

    def trace(self, lift: str, most_bytes: int) -> tuple[Trace, bytes] | None:
        """A lift's trace and its file, without the file where it is gone or longer than ``most_bytes``; None: not yet made."""
        rows = self._rows(sa.select(t.traces).where(t.traces.c.lift == lift))
        if not rows:
            return None
        if rows[0].path is None:
            return Trace(lift, lift, "", 0, rows[0].error or "The site has no trace of this lift."), b""
        if rows[0].bytes_n > most_bytes:
            return Trace(lift, lift, "", 0, f"The trace is longer ({rows[0].bytes_n} bytes) than may be sent."), b""
        try:
            content = (self._data / rows[0].path).read_bytes()
        except OSError as error:
            return Trace(lift, lift, "", 0, f"The site can't read this trace: {error.strerror}."), b""
        return Trace(lift, lift, rows[0].sha256, rows[0].rows_n), content

    def close(self) -> None:
        self._engine.dispose()

    def _rows(self, query: sa.Select[Any]) -> list[sa.Row[Any]]:
        try:
            with self._engine.connect() as connection:
                return list(connection.execute(query))
        except sa.exc.SQLAlchemyError as error:
            raise StoreError(f"{self._data}: the store cannot be read: {in_words(error)}") from error


class Incoming:
    """What the central store keeps of one site: a data folder that every command can work on."""

    def __init__(self, data: Path, site: str) -> None:
        """``data`` is the folder of this site alone.

        Raises:
            StoreError: It cannot be made or written.
        """
        self._data, self._site = data, site
        try:
            data.mkdir(mode=0o700, parents=True, exist_ok=True)
            self._engine = engine_for(data, IN_FOLDER, read_only=False)
            prepare(self._engine, data)
        except (OSError, sa.exc.SQLAlchemyError) as error:
            raise StoreError(f"{data}: cannot be written: {in_words(error)}") from error

    def take(self, batch: Batch) -> Have:
        """Put a batch on the disk, whole or not at all.

        Raises:
            StoreError: It cannot be written.
        """
        refused = ""
        try:
            with self._engine.begin() as connection:
                refused = self._misfit(connection, batch)
                if not refused:
                    self._put(connection, batch)
        except (OSError, sa.exc.SQLAlchemyError) as error:
            raise StoreError(f"{self._data}: cannot be written: {in_words(error)}") from error
        return self._have(batch.id, refused)

    def take_trace(self, trace: Trace, content: bytes) -> Have:
        """Put a trace on the disk, or why there is none.

        Raises:
            StoreError: It cannot be written.
        """
        if not trace.error and hashlib.sha256(content).hexdigest() != trace.sha256:
            return self._have(trace.id, f"the trace of lift {trace.lift} is not whole")
        values: dict[str, Any] = {"error": trace.error or None, "rows_n": trace.rows_n, "bytes_n": len(content)}
        try:
            if not trace.error:
                path = trace_path(trace.lift)
                self._write(self._data / path, content)
                values |= {"path": path, "sha256": trace.sha256}
            with self._engine.begin() as connection:
                connection.execute(sa.update(t.traces).where(t.traces.c.lift == trace.lift), values)
        except (OSError, sa.exc.SQLAlchemyError) as error:
            raise StoreError(f"{self._data}: cannot be written: {in_words(error)}") from error
        return self._have(trace.id, "")

    def close(self) -> None:
        self._engine.dispose()

    def _write(self, file: Path, content: bytes) -> None:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        partial = file.with_name(file.name + ".partial")
        partial.write_bytes(content)
        put_in_place(partial, file)

    def _misfit(self, connection: Connection, batch: Batch) -> str:
        """Why a batch cannot be taken: lifts of another site, changed ones, or ones that do not go on the chain."""
        n, last = _newest(connection)
        for lift in batch.lifts:
            if lift.site != self._site:
                return f"lift {lift.id} is of site {lift.site}, sent as {self._site}"
            if lift.n <= n:
                kept = connection.scalar(sa.select(t.lifts.c.hash).where(t.lifts.c.n == lift.n))
                if kept != lift.hash:
                    return f"lift {lift.id} is not the one that was sent before: one of the two was changed"
                continue
            if lift.prev_hash != last:
                return f"lift {lift.id} does not go on what is here"
            if lift.record is None:
                return f"the record of lift {lift.id} is missing"
            if link(lift.prev_hash, lift.id, lift.record) != lift.hash:
                return f"lift {lift.id} was changed after it was closed"
            n, last = lift.n, lift.hash
        return ""

    def _put(self, connection: Connection, batch: Batch) -> None:
        n, _ = _newest(connection)
        lifts = [msgspec.structs.asdict(lift) for lift in batch.lifts if lift.n > n]
        nothing = {"path": None, "sha256": None, "rows_n": 0, "bytes_n": 0, "error": NOT_SENT}
        _insert_new(connection, t.lifts, t.lifts.c.n, lifts)
        _insert_new(connection, t.traces, t.traces.c.lift, [{"lift": lift["id"], **nothing} for lift in lifts])
        rows = [msgspec.structs.asdict(one) for one in batch.settings]
        texts = {row["sha256"]: row.pop("text") for row in rows}
        _insert_new(connection, t.settings, t.settings.c.sha256, [{"sha256": k, "text": v} for k, v in texts.items()])
        _insert_new(connection, t.settings_used, t.settings_used.c.utc_ms, rows)
        notes = [msgspec.structs.asdict(one) | {"journal_id": 0} for one in batch.notes]
        _insert_new(connection, t.actions, t.actions.c.id, notes)

    def _have(self, batch: str, refused: str) -> Have:
        wanted = (
            sa.select(t.traces.c.lift)
            .join(t.lifts, t.lifts.c.id == t.traces.c.lift)
            .where(t.traces.c.path.is_(None), t.traces.c.error == NOT_SENT)
            .order_by(t.lifts.c.n)
            .limit(WANTED_MOST_N)
        )
        with self._engine.connect() as connection:
            n, last = _newest(connection)
            return Have(batch, n, last, list(connection.scalars(wanted)), refused)


def _newest(connection: Connection) -> tuple[int, str]:
    row = connection.execute(sa.select(t.lifts.c.n, t.lifts.c.hash).order_by(t.lifts.c.n.desc()).limit(1)).first()
    return (0, FIRST_HASH) if row is None else (row.n, row.hash)


def _insert_new(connection: Connection, table: sa.Table, key: sa.Column[Any], rows: list[dict[str, Any]]) -> None:
    """Insert the rows whose key is not there yet."""
    known = set(connection.scalars(sa.select(key).where(key.in_([row[key.name] for row in rows]))))
    new = list({row[key.name]: row for row in rows if row[key.name] not in known}.values())
    if new:
        connection.execute(sa.insert(table), new)
