"""Where the tables live: SQLite in the data folder, or PostgreSQL by URL. Connections, schema version, migration."""

import os
import sqlite3
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.engine import URL, Connection, Engine, make_url

from monitor.store.errors import NotOursError, StoreError
from monitor.store.tables import SCHEMA_VERSION, meta, metadata

DATABASE_FILE: Final = "holdwatch.db"
BUSY_S: Final = 1.0
"""How long a connection waits for a lock someone else holds on SQLite before it says so."""

URL_VARIABLE: Final = "HOLDWATCH_STORE_URL"
IN_FOLDER: Final = "folder"
"""In place of a URL: the folder's own file, whatever the environment says."""

WRITER_KEY: Final = 0x401D_3A7C
"""PostgreSQL advisory lock of the one engine that writes to a database (any fixed number serves)."""

MIGRATIONS: Final[Mapping[int, Callable[[Connection], None]]] = {}
"""From each earlier schema version to the next; each runs inside the transaction that raises the version."""


def database_path(data: Path) -> Path:
    return data / DATABASE_FILE


def store_url(url: str | None) -> str | None:
    """The database that keeps the tables: as given, else the environment's (it holds a password); None for the folder."""
    return None if url == IN_FOLDER else url or os.environ.get(URL_VARIABLE) or None


def engine_for(data: Path, url: str | None, *, read_only: bool) -> Engine:
    """An engine on the store of a data folder, or on the database that ``store_url(url)`` names.

    Raises:
        StoreError: The URL is of no kind this store knows, or its driver is not installed.
    """
    url = store_url(url)
    if url is None:
        return sqlite_engine(database_path(data), read_only=read_only)
    try:
        parsed = make_url(url)
        if parsed.get_backend_name() != "postgresql":
            raise StoreError(
                f"store URL {parsed.render_as_string()}: only postgresql:// is known; leave it out for the data folder"
            )
        options = "-c default_transaction_read_only=on" if read_only else ""
        return sa.create_engine(
            parsed.set(drivername="postgresql+psycopg"),
            pool_pre_ping=True,
            connect_args={"connect_timeout": 5, "application_name": "holdwatch", "options": options},
        )
    except (sa.exc.ArgumentError, ImportError) as error:
        raise StoreError(
            f"store URL cannot be used: {error}. Installing the extra holdwatch[postgresql] brings the driver"
        ) from None


def sqlite_engine(path: Path, *, read_only: bool) -> Engine:
    """An engine on one SQLite file, which must be there."""
    query = {"uri": "true", "mode": "ro" if read_only else "rw"}
    # `uri` makes `?` and `#` in a folder's name matter: as_uri() quotes them.
    engine = sa.create_engine(
        URL.create("sqlite", database=path.absolute().as_uri(), query=query), connect_args={"timeout": BUSY_S}
    )

    @sa.event.listens_for(engine, "connect")
    def on_connect(connection: sqlite3.Connection, _record: object) -> None:
        connection.isolation_level = None  # transactions are begun below, so that schema changes are inside them too
        if read_only:
            connection.execute("PRAGMA query_only=on")
        else:
            connection.execute("PRAGMA journal_mode=wal")
            connection.execute("PRAGMA synchronous=full")  # a commit is on the disk, not only with the operating system

    @sa.event.listens_for(engine, "begin")
    def on_begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN" if read_only else "BEGIN IMMEDIATE")

    return engine


def claim(connection: Connection) -> None:
    """On PostgreSQL, be the one engine that writes to this database for as long as the connection lives.

    Raises:
        NotOursError: Another engine is.
    """
    if connection.dialect.name != "postgresql":
        return
    with connection.begin():
        if not connection.scalar(sa.select(sa.func.pg_try_advisory_lock(WRITER_KEY))):
            raise NotOursError(
                f"{connection.engine.url.render_as_string()}: another Holdwatch engine writes to this database. "
                "Stop that one, or name another database."
            )


def schema_version(connection: Connection) -> int | None:
    """The version the tables are in; None when there are none yet."""
    if not sa.inspect(connection).has_table(meta.name):
        return None
    found = connection.scalar(sa.select(meta.c.value).where(meta.c.key == "schema"))
    return None if found is None else int(found)


def prepare(engine: Engine, data: Path) -> None:
    """Make the tables, or bring those of an earlier version up to this one, after a copy was put beside them.

    Raises:
        NotOursError: The tables are of a newer version than this program knows; nothing was changed.
        OSError, sqlalchemy.exc.SQLAlchemyError: The database cannot be read or written.
    """
    if engine.dialect.name == "sqlite":
        os.close(os.open(database_path(data), os.O_RDWR | os.O_CREAT, 0o600))  # its other files take this mode too
    with engine.connect() as connection:
        found = schema_version(connection)
    where = data if engine.dialect.name == "sqlite" else engine.url.render_as_string()
    if found is not None and found > SCHEMA_VERSION:
        raise NotOursError(
            f"{where}: written by a newer Holdwatch (schema version {found}; this program knows {SCHEMA_VERSION}). "
            "Nothing was changed. Use that newer version, or another data folder."
        )
    if found == SCHEMA_VERSION:
        return  # without a write: a full disk must not keep the engine from starting
    if found is not None and found < SCHEMA_VERSION and engine.dialect.name == "sqlite":
        copy_sqlite(data / DATABASE_FILE, data / f"{DATABASE_FILE}.schema-{found}.bak")
    with engine.begin() as connection:
        if found is None:
            metadata.create_all(connection)
            connection.execute(sa.insert(meta), {"key": "schema", "value": str(SCHEMA_VERSION)})
            return
        for version in range(found, SCHEMA_VERSION):
            MIGRATIONS[version](connection)
        connection.execute(sa.update(meta).where(meta.c.key == "schema"), {"value": str(SCHEMA_VERSION)})


def is_damaged(error: BaseException) -> bool:
    """Whether SQLite says that the file is no database, or a broken one."""
    code = getattr(getattr(error, "orig", error), "sqlite_errorcode", None)
    return code in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)


def set_aside(data: Path, utc_s: float) -> Path:
    """Give a damaged SQLite file and what belongs to it another name, for whoever can mend it; returns that name.

    Raises:
        OSError: It cannot be renamed.
    """
    aside = data / f"{DATABASE_FILE}.damaged-{int(utc_s)}"
    for suffix in ("-wal", "-shm", ""):
        file = data / f"{DATABASE_FILE}{suffix}"
        if file.exists():
            file.rename(f"{aside}{suffix}")
    return aside


def copy_sqlite(source: Path, target: Path) -> None:
    """A whole copy of an SQLite file that may be in use, owner only, put in place when complete and on the disk."""
    partial = target.with_name(target.name + ".partial")
    partial.unlink(missing_ok=True)
    os.close(os.open(partial, os.O_RDWR | os.O_CREAT, 0o600))
    with_source, with_target = (
        sqlite3.connect(f"{source.absolute().as_uri()}?mode=ro", uri=True),
        sqlite3.connect(partial),
    )
    try:
        with_source.backup(with_target, pages=1000)
        with_target.execute("PRAGMA journal_mode=delete")
    finally:
        with_target.close()
        with_source.close()
    put_in_place(partial, target)


def put_in_place(partial: Path, target: Path) -> None:
    """Give a finished file its name, so that a crash leaves the old one or the whole new one, never a part."""
    with partial.open("rb+") as file:
        os.fsync(file.fileno())
    partial.replace(target)
    if os.name == "posix":
        folder = os.open(target.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def row_dict(row: sa.Row[Any]) -> dict[str, Any]:
    return dict(row._mapping)  # noqa: SLF001 - SQLAlchemy's public name for it
