"""The writer while the disk misbehaves: nobody waits for it, nothing is said to be kept that is not."""

import contextlib
import resource
import sqlite3
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.store import database, writing
from monitor.store.records import StoreError, Writer, open_reader, open_writer


@pytest.fixture
def writer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Writer]:
    monkeypatch.setattr(database, "BUSY_S", 0.2)
    monkeypatch.setattr(writing, "RETRY_S", 0.2)
    made = open_writer(tmp_path)
    yield made
    made.close()


@contextlib.contextmanager
def full_disk() -> Iterator[None]:
    """No file may be written: every write fails as on a full disk, however little it is and wherever in a file it goes."""
    old = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, old[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, old)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Somebody else holds the database."""
    other = sqlite3.connect(folder / "holdwatch.db", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        yield
    finally:
        other.close()


def until(condition: object, timeout_s: float = 10.0) -> None:
    ended = time.monotonic() + timeout_s
    while not condition():  # type: ignore[operator]
        assert time.monotonic() < ended
        time.sleep(0.005)


def action(name: str) -> dict:
    return {"id": name, "kind": "acknowledge", "lifter": "dock-6", "who": "", "role": "supervisor", "utc_s": 1.0}


def move(raising: str) -> dict:
    said = {"raising": raising, "moved": "raised", "at_s": 1.0, "utc_s": 1.0, "lifter": "dock-6"}
    return said | {"key": "vacuum_low", "about": "circuit B", "state": "unacknowledged", "who": ""}


def test_full_disk_is_told_keeps_everything_and_is_got_over(writer: Writer, tmp_path: Path) -> None:
    assert writer.health()["writing"]
    with full_disk():
        for n in range(1000):
            writer.journal(float(n), "reading", "dock-6", b"x" * 1000)
        for n in range(100):
            writer.alarm(move(f"r{n}"))
        until(lambda: not writer.health()["writing"])
        assert writer.health()["error"]
        with pytest.raises(StoreError, match="Not done: it could not be written down"):
            writer.action(action("a1"), timeout_s=30.0)
    writer.action(action("a2"), timeout_s=30.0)
    assert writer.flush()
    assert (writer.health()["writing"], writer.health()["error"], writer.health()["dropped_n"]) == (True, None, 0)
    reader = open_reader(tmp_path)
    assert len(list(reader.journal())) == 1000
    assert len(reader.alarms()) == 100
    assert [one["id"] for one in reader.actions()] == ["a2"]
    reader.close()


def test_health_stays_bad_until_something_was_really_written(writer: Writer, tmp_path: Path) -> None:
    with locked(tmp_path):
        with pytest.raises(StoreError):
            writer.action(action("a1"), timeout_s=30.0)
        assert not writer.health()["writing"]
        time.sleep(2 * writing.RETRY_S)  # two more tries, with nothing left to write
        assert not writer.health()["writing"]
    until(lambda: writer.health()["writing"])


def test_locked_database_keeps_nobody_waiting(writer: Writer, tmp_path: Path) -> None:
    with locked(tmp_path):
        began = time.monotonic()
        for n in range(1000):
            writer.journal(float(n), "reading", "dock-6", b"x")
        writer.alarm(move("r1"))
        assert time.monotonic() - began < 0.5
        with pytest.raises(StoreError, match="locked"):
            writer.action(action("a1"), timeout_s=30.0)
        assert writer.health()["error"] == "database is locked"
    assert writer.flush()
    assert writer.health()["writing"]


def test_action_the_disk_was_too_slow_for_is_refused_and_not_kept(writer: Writer, tmp_path: Path) -> None:
    answers: list[StoreError | None] = []
    came = threading.Event()

    def done(error: StoreError | None) -> None:
        answers.append(error)
        came.set()

    with locked(tmp_path):
        writer.alarm(move("r1"))
        until(lambda: writer._busy_since_s is not None)
        writer.action_soon(action("a1"), done, timeout_s=0.01)
        assert came.wait(10.0)
    assert "Not done" in str(answers[0])
    assert writer.flush()
    reader = open_reader(tmp_path)
    assert reader.actions() == []
    reader.close()


def test_journal_beyond_its_bound_drops_the_oldest_and_counts_them(
    writer: Writer, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(writing, "JOURNAL_MAX_N", 100)
    with locked(tmp_path):
        for n in range(250):
            writer.journal(float(n), "reading", "dock-6", b"")
        until(lambda: not writer.health()["writing"])
    assert writer.flush()
    assert writer.health()["dropped_n"] == 150
    reader = open_reader(tmp_path)
    assert [row.id for row in reader.journal()] == list(range(151, 251))
    reader.close()


def test_alarm_goes_before_a_journal_that_waits(writer: Writer, tmp_path: Path) -> None:
    said: list[str] = []
    with locked(tmp_path):
        for n in range(writing.JOURNAL_MAX_N):
            writer.journal(float(n), "reading", "dock-6", b"x" * 300)
        until(lambda: not writer.health()["writing"])
        writer.alarm(move("r1"))
        sa.event.listen(writer._engine, "before_cursor_execute", lambda *args: said.append(args[2]))
        sa.event.listen(writer._engine, "commit", lambda _connection: said.append("COMMIT"))
    assert writer.flush()
    order = [text.split("(")[0].strip() for text in said if text.startswith(("INSERT", "COMMIT"))]
    assert order[-4:] == ["INSERT INTO alarms", "COMMIT", "INSERT INTO journal", "COMMIT"]


def test_one_bad_row_holds_back_neither_the_others_nor_itself_for_ever(writer: Writer, tmp_path: Path) -> None:
    writer.alarm(move("r1"))
    writer.alarm(move("r2") | {"at_s": None})
    writer.alarm(move("r3"))
    assert writer.flush()
    reader = open_reader(tmp_path)
    assert [one["raising"] for one in reader.alarms()] == ["r1", "r3"]
    assert writer.health()["writing"]
    reader.close()


def test_close_writes_what_was_handed_over(tmp_path: Path) -> None:
    writer = open_writer(tmp_path)
    writer.journal(1.0, "reading", "dock-6", b"x")
    writer.alarm(move("r1"))
    writer.close()
    reader = open_reader(tmp_path)
    assert len(list(reader.journal())) == 1
    assert len(reader.alarms()) == 1
    reader.close()
