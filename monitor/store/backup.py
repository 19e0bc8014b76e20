"""The whole store as one file, taken while an engine works, and put back into an empty place.

A backup is a tar file: ``holdwatch.db`` (SQLite, whatever the store itself is kept in), ``traces/``, ``state.key`` and
``contents.json`` with the SHA-256 of each. The key unlocks the engine's own states: keep a backup as safe as the folder.
"""

import hashlib
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Engine

from monitor.store import tables as t
from monitor.store.database import (
    DATABASE_FILE,
    copy_sqlite,
    database_path,
    engine_for,
    prepare,
    put_in_place,
    schema_version,
    sqlite_engine,
    store_url,
)
from monitor.store.errors import StoreError, in_words
from monitor.store.lock import FolderLock

CONTENTS_FILE: Final = "contents.json"
KEY_FILE: Final = "state.key"
CHUNK_ROWS: Final = 1000


@dataclass(frozen=True, slots=True)
class Kept:
    """What a backup holds."""

    lifts_n: int
    traces_n: int
    traces_missing_n: int
    bytes_n: int


def backup(data: Path, target: Path, url: str | None = None) -> Kept:
    """Write a backup of a store, which may be in use, to a new file for its owner only.

    Args:
        data: The data folder.
        target: The file; it has its name only when it is whole.
        url: The database, where it is not in the folder.

    Raises:
        StoreError: There is no store, the file is there already, or it cannot be read or written.
    """
    if target.exists():
        raise StoreError(f"{target}: is there already; nothing was written. Name a new file.")
    if store_url(url) is None and not database_path(data).exists():
        raise StoreError(f"{data}: there is no store here; nothing was written. Name the data folder with --data.")
    partial = target.with_name(target.name + ".partial")
    try:
        with tempfile.TemporaryDirectory(prefix=".backup-", dir=target.parent) as folder:
            copy = Path(folder) / DATABASE_FILE
            _copy_database(data, url, copy)
            with _sqlite(copy) as engine, engine.connect() as connection:
                lifts_n = connection.scalar(sa.select(sa.func.count()).select_from(t.lifts)) or 0
                named = list(connection.scalars(sa.select(t.traces.c.path).where(t.traces.c.path.is_not(None))))
            files = {DATABASE_FILE: copy} | {path: data / path for path in named} | {KEY_FILE: data / KEY_FILE}
            there = {name: path for name, path in files.items() if path.is_file()}
            sha256 = {name: _sha256(path) for name, path in there.items()}
            (Path(folder) / CONTENTS_FILE).write_bytes(msgspec.json.encode({"version": 1, "sha256": sha256}))
            with partial.open("xb") as file:
                partial.chmod(0o600)
                with tarfile.open(fileobj=file, mode="w") as tar:
                    for name, path in (there | {CONTENTS_FILE: Path(folder) / CONTENTS_FILE}).items():
                        tar.add(path, name, recursive=False)
        put_in_place(partial, target)
    except (OSError, sa.exc.SQLAlchemyError, tarfile.TarError) as error:
        raise StoreError(f"{target}: the backup could not be written: {in_words(error)}. No file was left.") from error
    finally:
        partial.unlink(missing_ok=True)
    missing_n = sum(path not in there for path in named)
    return Kept(lifts_n, len(named) - missing_n, missing_n, target.stat().st_size)


def restore(source: Path, data: Path, url: str | None = None) -> Kept:
    """Put a backup into a data folder that has no store yet (and into an empty database, where one is named).

    Raises:
        StoreError: It is no whole backup, a newer program wrote it, or the place is not empty. Nothing was changed.
    """
    try:
        data.mkdir(mode=0o700, parents=True, exist_ok=True)
        lock = FolderLock(data)
    except OSError as error:
        raise StoreError(f"{data}: cannot be used: {error.strerror}. Name another folder with --data.") from error
    try:
        if database_path(data).exists() or (data / "traces").exists():
            raise StoreError(f"{data}: has a store already; nothing was changed. Name an empty folder with --data.")
        with tempfile.TemporaryDirectory(prefix=".restore-", dir=data) as folder:
            contents = _unpacked(source, Path(folder))
            with _sqlite(Path(folder) / DATABASE_FILE) as engine, engine.connect() as connection:
                if (found := schema_version(connection) or 0) > t.SCHEMA_VERSION:
                    raise StoreError(
                        f"{source}: written by a newer Holdwatch (schema version {found}; this program knows "
                        f"{t.SCHEMA_VERSION}). Nothing was changed. Use that newer version."
                    )
                lifts_n = connection.scalar(sa.select(sa.func.count()).select_from(t.lifts)) or 0
            if store_url(url) is not None:
                _fill_database(Path(folder) / DATABASE_FILE, data, url)
                (Path(folder) / DATABASE_FILE).unlink()
            for name in contents:
                if (Path(folder) / name).exists():
                    (data / name).parent.mkdir(mode=0o700, exist_ok=True)
                    put_in_place(Path(folder) / name, data / name)
    except (OSError, sa.exc.SQLAlchemyError) as error:
        raise StoreError(f"{data}: the backup could not be put back: {in_words(error)}") from error
    finally:
        lock.release()
    traces_n = sum(name.startswith("traces/") for name in contents)
    return Kept(lifts_n, traces_n, 0, source.stat().st_size)


def _unpacked(source: Path, folder: Path) -> list[str]:
    """Unpack a backup and check every file in it; returns their names."""
    wrong = f"{source}: is no whole Holdwatch backup"
    try:
        with tarfile.open(source) as tar:
            tar.extractall(folder, filter="data")  # refuses whatever leads out of the folder
        contents = msgspec.json.decode((folder / CONTENTS_FILE).read_bytes(), type=dict[str, object])
        hashes = msgspec.convert(contents.get("sha256"), dict[str, str])
        for name, sha256 in hashes.items():
            if Path(name).is_absolute() or ".." in Path(name).parts or _sha256(folder / name) != sha256:
                raise StoreError(f"{wrong}: {name} is not as it was written. Nothing was changed.")
    except (OSError, tarfile.TarError, msgspec.MsgspecError, EOFError) as error:
        raise StoreError(f"{wrong}: {in_words(error)}. Nothing was changed.") from error
    if DATABASE_FILE not in hashes:
        raise StoreError(f"{wrong}: {DATABASE_FILE} is missing. Nothing was changed.")
    return list(hashes)


def _copy_database(data: Path, url: str | None, copy: Path) -> None:
    if store_url(url) is None:
        copy_sqlite(database_path(data), copy)
        return
    source = engine_for(data, url, read_only=True)
    try:
        copy.touch(mode=0o600)
        with _sqlite(copy) as target:
            prepare(target, copy.parent)
            _copy_tables(source, target)
    finally:
        source.dispose()


def _fill_database(copy: Path, data: Path, url: str | None) -> None:
    target = engine_for(data, url, read_only=False)
    try:
        prepare(target, data)
        with target.connect() as connection:
            if connection.scalar(sa.select(sa.func.count()).select_from(t.lifts)):
                raise StoreError(f"{target.url.render_as_string()}: has lifts already; nothing was changed.")
        with _sqlite(copy) as source:
            prepare(source, copy.parent)  # an older backup is brought up to date first
            _copy_tables(source, target)
    finally:
        target.dispose()


def _copy_tables(source: Engine, target: Engine) -> None:
    """All rows of all tables, as they stood at one instant."""
    isolation = "REPEATABLE READ" if source.dialect.name == "postgresql" else "SERIALIZABLE"
    reading = source.connect().execution_options(isolation_level=isolation)
    with reading, target.begin() as writing:
        for table in t.metadata.sorted_tables:
            writing.execute(sa.delete(table))
            rows = reading.execute(sa.select(table).execution_options(yield_per=CHUNK_ROWS)).mappings()
            for chunk in rows.partitions(CHUNK_ROWS):
                writing.execute(sa.insert(table), [dict(row) for row in chunk])


@contextmanager
def _sqlite(file: Path) -> Iterator[Engine]:
    """An engine on one SQLite file, closed at the end."""
    engine = sqlite_engine(file, read_only=False)
    try:
        yield engine
    finally:
        engine.dispose()


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
