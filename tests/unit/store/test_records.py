"""The data folder: who may read it, who may open it, what an older one becomes."""

import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from monitor.store import database, tables
from monitor.store.records import StoreError, open_reader, open_writer


def test_folder_and_files_are_their_owners_alone(tmp_path: Path) -> None:
    data = tmp_path / "deep" / "data"
    writer = open_writer(data)
    writer.journal(1.0, "reading", "dock-6", b"")
    writer.flush()
    modes = {path.name: stat.S_IMODE(path.stat().st_mode) for path in (data, *data.iterdir())}
    writer.close()
    assert modes.pop("data") == 0o700
    assert set(modes) == {"engine.lock", "holdwatch.db", "holdwatch.db-wal", "holdwatch.db-shm"}
    assert set(modes.values()) == {0o600}


def test_lock_is_gone_with_its_process(tmp_path: Path) -> None:
    """A killed engine leaves its lock file, not its lock."""
    program = "import sys, os; from pathlib import Path; from monitor.store.records import open_writer\n"
    program += "open_writer(Path(sys.argv[1])); print('open', flush=True); sys.stdin.read()"
    holder = subprocess.Popen(
        [sys.executable, "-c", program, str(tmp_path)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with holder:
        assert holder.stdout.readline() == "open\n"
        with pytest.raises(StoreError, match=rf"{tmp_path}: another Holdwatch engine \(process {holder.pid}\)"):
            open_writer(tmp_path)
        holder.kill()
    assert (tmp_path / "engine.lock").exists()
    open_writer(tmp_path).close()


def test_unusable_folder_is_said_in_words(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match=r"file: the data folder cannot be used: .*--data"):
        open_writer(tmp_path / "file")


def test_damaged_database_is_set_aside_and_a_new_one_begun(tmp_path: Path) -> None:
    """Watching goes on, and nothing is thrown away: whoever can mend the file still has it."""
    (tmp_path / "holdwatch.db").write_text("no database " * 100)
    reader = open_reader(tmp_path)
    with pytest.raises(StoreError, match="not a database"):
        reader.lifts()
    writer = open_writer(tmp_path)
    writer.journal(1.0, "reading", "dock-6", b"x")
    assert writer.flush()
    (aside,) = tmp_path.glob("holdwatch.db.damaged-*")
    assert aside.read_text() == "no database " * 100
    assert writer.health()["writing"]
    assert aside.name in str(writer.health()["note"])
    assert len(list(reader.journal())) == 1
    reader.close()
    writer.close()


def test_database_damaged_while_in_use_is_set_aside_too(tmp_path: Path) -> None:
    writer = open_writer(tmp_path)
    for n in range(2000):
        writer.journal(float(n), "reading", "dock-6", b"x" * 500)
    assert writer.flush()
    connection = writer._connection.connection.dbapi_connection
    connection.execute("PRAGMA wal_checkpoint(truncate)")
    connection.execute("PRAGMA shrink_memory")  # else it would not look at the file again for long
    with (tmp_path / "holdwatch.db").open("r+b") as file:
        file.seek(4096)
        file.write(b"\xff" * 500_000)
    for n in range(2000, 4000):
        writer.journal(float(n), "reading", "dock-6", b"x" * 500)
    assert writer.flush(20.0)
    assert list(tmp_path.glob("holdwatch.db.damaged-*"))
    reader = open_reader(tmp_path)
    assert [row.now_s for row in reader.journal()] == [float(n) for n in range(2000, 4000)]
    reader.close()
    writer.close()


def test_store_that_cannot_be_opened_yet_is_tried_again(tmp_path: Path) -> None:
    """A disk that comes late must not keep the engine from watching."""
    open_writer(tmp_path).close()
    (tmp_path / "holdwatch.db").rename(tmp_path / "elsewhere")
    (tmp_path / "holdwatch.db").mkdir()
    writer = open_writer(tmp_path)
    assert not writer.health()["writing"]
    writer.journal(1.0, "reading", "dock-6", b"x")
    (tmp_path / "holdwatch.db").rmdir()
    (tmp_path / "elsewhere").rename(tmp_path / "holdwatch.db")
    assert writer.flush()
    assert writer.health()["writing"]
    writer.close()


def test_folder_names_are_taken_literally(tmp_path: Path) -> None:
    data = tmp_path / "a?mode=memory#%41 b"
    writer = open_writer(data)
    writer.journal(1.0, "reading", "dock-6", b"x")
    writer.close()
    reader = open_reader(data)
    assert len(list(reader.journal())) == 1
    reader.close()


def test_reader_of_a_folder_nobody_wrote_to_sees_nothing_and_makes_nothing(tmp_path: Path) -> None:
    reader = open_reader(tmp_path)
    assert reader.lifts() == []
    assert list(reader.journal()) == []
    assert reader.snapshots() == []
    assert reader.verify() is None
    assert list(tmp_path.iterdir()) == []
    reader.close()


def test_reader_opened_before_the_writer_sees_what_it_writes(tmp_path: Path) -> None:
    reader = open_reader(tmp_path)
    assert list(reader.journal()) == []
    writer = open_writer(tmp_path)
    writer.journal(1.0, "reading", "dock-6", b"x")
    writer.flush()
    assert len(list(reader.journal())) == 1
    writer.close()
    reader.close()


def test_older_store_is_copied_then_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    writer = open_writer(tmp_path)
    writer.journal(1.0, "reading", "dock-6", b"x")
    writer.close()

    def add_column(connection: Connection) -> None:
        connection.execute(sa.DDL("ALTER TABLE journal ADD COLUMN added INTEGER"))

    monkeypatch.setattr(database, "SCHEMA_VERSION", tables.SCHEMA_VERSION + 1)
    monkeypatch.setattr(database, "MIGRATIONS", {tables.SCHEMA_VERSION: add_column})
    open_writer(tmp_path).close()
    backup = tmp_path / f"holdwatch.db.schema-{tables.SCHEMA_VERSION}.bak"
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600
    for path, version, columns in (
        (backup, tables.SCHEMA_VERSION, 5),
        (tmp_path / "holdwatch.db", tables.SCHEMA_VERSION + 1, 6),
    ):
        with sqlite3.connect(path) as connection:
            assert connection.execute("SELECT value FROM meta WHERE key = 'schema'").fetchone() == (str(version),)
            assert len(connection.execute("SELECT * FROM journal").fetchone()) == columns
        connection.close()


def test_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    open_writer(tmp_path).close()

    def half(connection: Connection) -> None:
        connection.execute(sa.DDL("ALTER TABLE journal ADD COLUMN added INTEGER"))
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(database, "SCHEMA_VERSION", tables.SCHEMA_VERSION + 1)
    monkeypatch.setattr(database, "MIGRATIONS", {tables.SCHEMA_VERSION: half})
    writer = open_writer(tmp_path)
    assert "No space left" in str(writer.health()["error"])
    writer.close()
    monkeypatch.undo()
    writer = open_writer(tmp_path)
    writer.journal(1.0, "reading", "dock-6", b"")
    assert writer.flush()
    writer.close()


def test_writes_survive_a_killed_process(tmp_path: Path) -> None:
    """What a method returned for is there, though the process had no chance to close anything."""
    program = "import sys, os, threading; from pathlib import Path; from monitor.store.records import open_writer\n"
    program += "w = open_writer(Path(sys.argv[1])); done = threading.Event()\n"
    program += "r = {'id': 'dock-6/1', 'site': 's', 'lifter': 'dock-6', 'opened': 1.0, 'closed': 2.0, 'version': 1}\n"
    program += "w.close_lift(r, opened_now_s=1.0, closed_now_s=2.0, done=lambda e: done.set()); done.wait()\n"
    program += "a = {'id': 'a1', 'kind': 'surface', 'lifter': 'dock-6', 'who': '', 'role': '', 'utc_s': 1.0}\n"
    program += "w.action(a, timeout_s=20.0)\n"
    program += "os.kill(os.getpid(), 9)"
    killed = subprocess.run([sys.executable, "-c", program, str(tmp_path)], check=False, timeout=30)
    assert killed.returncode == -9
    reader = open_reader(tmp_path)
    assert [one["id"] for one in reader.lifts()] == ["dock-6/1"]
    assert [one["id"] for one in reader.actions()] == ["a1"]
    reader.close()


def test_only_postgresql_urls_are_known(tmp_path: Path) -> None:
    for url in ("mysql://h/d", "nonsense"):
        with pytest.raises(StoreError):
            open_writer(tmp_path, url)
    assert [path.name for path in tmp_path.iterdir()] == ["engine.lock"]
