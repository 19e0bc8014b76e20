"""What every store promises, on SQLite and on a real PostgreSQL."""

import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.store import tables as t
from monitor.store.backup import backup, restore
from monitor.store.pruning import Keeping
from monitor.store.records import Reader, StoreError, Writer, open_reader, open_writer
from monitor.store.traces import read_trace
from tests.brokers import wait_for

SLOW_S = 60.0
"""These tests promise nothing of a slow machine, where an act that waits longer than two seconds is refused."""


@dataclass
class Store:
    """A store under test, opened and closed as often as a test likes."""

    data: Path
    url: str | None
    opened: list[Writer | Reader] = field(default_factory=list)

    def writer(self) -> Writer:
        self.opened.append(open_writer(self.data, self.url))
        return self.opened[-1]

    def reader(self) -> Reader:
        self.opened.append(open_reader(self.data, self.url))
        return self.opened[-1]


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgres)])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    url = request.getfixturevalue("new_database")() if request.param == "postgresql" else None
    made = Store(tmp_path / "data", url)
    yield made
    for one in made.opened:
        one.close()


def record(lift: str, *, lifter: str = "dock-6", opened: float = 1764019000.0, **more: object) -> dict:
    fixed = {"id": lift, "site": "quayside", "lifter": lifter, "opened": opened, "closed": opened + 240.0}
    return fixed | {"version": 1, "circuits": {"A": {}, "B": {}}} | more


def close_lift(writer: Writer, lift: str, **more: object) -> None:
    done = threading.Event()
    writer.close_lift(record(lift, **more), opened_now_s=10.0, closed_now_s=250.0, done=lambda _error: done.set())
    assert done.wait(10.0)


def action(name: str, *, utc_s: float = 1764019100.0) -> dict:
    said = {"id": name, "kind": "acknowledge", "lifter": "dock-6", "who": "supervisor", "role": "supervisor"}
    return said | {"params": {"raising": "dock-6/B/losing_vacuum/17"}, "utc_s": utc_s}


def move(raising: str, moved: str = "raised", *, at_s: float = 12.5) -> dict:
    said = {"raising": raising, "moved": moved, "at_s": at_s, "utc_s": 1764019100.0 + at_s, "lifter": "dock-6"}
    return said | {"key": "losing_vacuum", "about": "circuit B", "state": "unacknowledged", "who": ""}


def test_journal_keeps_order_kind_and_bytes(store: Store) -> None:
    writer = store.writer()
    for n in range(100):
        writer.journal(n / 10, "reading", "dock-6", bytes([n, 0, 255]))
    assert writer.flush()
    rows = list(store.reader().journal())
    assert [row.id for row in rows] == list(range(1, 101))
    assert [row.now_s for row in rows] == [n / 10 for n in range(100)]
    assert {row.kind for row in rows} == {"reading"}
    assert [row.payload for row in rows] == [bytes([n, 0, 255]) for n in range(100)]


def test_journal_goes_on_after_a_restart(store: Store) -> None:
    writer = store.writer()
    writer.journal(1.0, "reading", "dock-6", b"a")
    writer.close()
    writer = store.writer()
    writer.journal(2.0, "reading", "dock-6", b"b")
    writer.close()
    assert [row.id for row in store.reader().journal()] == [1, 2]
    assert [row.payload for row in store.reader().journal(after_id=1)] == [b"b"]
    assert [row.payload for row in store.reader().journal(since_s=2.0)] == [b"b"]


def test_snapshot_stands_after_the_rows_handed_over_before_it(store: Store) -> None:
    writer = store.writer()
    writer.journal(1.0, "reading", "dock-6", b"a")
    writer.snapshot(1.5, b"state", utc_minus_now_s=0.25, version="1 abc")
    writer.journal(2.0, "reading", "dock-6", b"b")
    assert writer.flush()
    newest = store.reader().snapshots()[0]
    assert (newest.journal_id, newest.now_s, newest.utc_minus_now_s) == (1, 1.5, 0.25)
    assert (newest.version, newest.blob) == ("1 abc", b"state")
    assert [row.payload for row in store.reader().journal(after_id=newest.journal_id)] == [b"b"]


def test_three_snapshots_are_kept(store: Store) -> None:
    writer = store.writer()
    for n in range(5):
        writer.journal(float(n), "reading", "dock-6", b"")
        writer.snapshot(float(n), bytes([n]), utc_minus_now_s=0.0, version="1")
        assert writer.flush()
    assert [one.blob for one in store.reader().snapshots()] == [b"\4", b"\3", b"\2"]


def test_snapshot_ids_are_never_given_to_new_rows(store: Store) -> None:
    """A crash may lose the journal rows a later snapshot already stands after."""
    writer = store.writer()
    for n in range(3):
        writer.journal(float(n), "reading", "dock-6", b"")
    writer.snapshot(2.0, b"state", utc_minus_now_s=0.0, version="1")
    assert writer.flush()
    with writer._engine.begin() as connection:
        connection.execute(sa.delete(t.journal))
    writer.close()
    writer = store.writer()
    writer.journal(3.0, "reading", "dock-6", b"")
    assert writer.flush()
    assert [row.id for row in store.reader().journal()] == [4]


def test_action_is_on_the_disk_when_it_returns(store: Store) -> None:
    writer = store.writer()
    writer.action(action("a1"), timeout_s=SLOW_S)
    assert store.reader().actions() == [action("a1")]
    assert store.reader().actions(lifter="dock-7") == []
    assert store.reader().actions(since=1764019100.001) == []


def test_same_action_twice_is_refused_in_words(store: Store) -> None:
    writer = store.writer()
    writer.action(action("a1"), timeout_s=SLOW_S)
    with pytest.raises(StoreError, match="taken before"):
        writer.action(action("a1"), timeout_s=SLOW_S)
    assert len(store.reader().actions()) == 1


def test_actions_not_taken_are_those_no_journal_row_names(store: Store) -> None:
    writer = store.writer()
    writer.action(action("a1", utc_s=5.0), timeout_s=SLOW_S)
    writer.action(action("a2", utc_s=6.0), timeout_s=SLOW_S)
    writer.journal(1.0, "action", "dock-6", b"{}", action="a1")
    assert writer.flush()
    assert [one["id"] for one in store.reader().actions_not_taken()] == ["a2"]


def test_alarm_moves_come_back_in_order_and_once(store: Store) -> None:
    writer = store.writer()
    writer.alarm(move("dock-6/B/losing_vacuum/17"))
    writer.alarm(move("dock-6/B/losing_vacuum/17", "acknowledged", at_s=20.0))
    writer.alarm(move("dock-6/B/losing_vacuum/17"))  # a journal replayed after a crash says it again
    assert writer.flush()
    moves = store.reader().alarms("dock-6")
    assert [one["moved"] for one in moves] == ["raised", "acknowledged"]
    assert [one["utc_ms"] for one in moves] == [1764019112500, 1764019120000]


def test_alarm_moves_are_in_the_order_they_happened_though_the_clock_was_set_back(store: Store) -> None:
    writer = store.writer()
    writer.alarm(move("dock-6/B/losing_vacuum/17"))
    writer.alarm(move("dock-6/B/losing_vacuum/17", "cleared", at_s=72.5) | {"utc_s": 1764015572.5})
    assert writer.flush()
    moves = store.reader().alarm_moves(until=1764020000.0)
    assert [(one.moved, one.at_utc_s) for one in moves] == [("raised", 1764019112.5), ("cleared", 1764015572.5)]


def test_closed_lift_comes_back_as_it_was(store: Store) -> None:
    writer = store.writer()
    close_lift(writer, "dock-6/1", largest_kg=622.5, words="µ × −")
    assert store.reader().lift("dock-6/1") == record("dock-6/1", largest_kg=622.5, words="µ × −")
    assert store.reader().lift("dock-6/2") is None


def test_lift_closed_again_changes_nothing(store: Store) -> None:
    writer = store.writer()
    close_lift(writer, "dock-6/1", largest_kg=1.0)
    close_lift(writer, "dock-6/1", largest_kg=2.0)
    assert [one["largest_kg"] for one in store.reader().lifts()] == [1.0]


def test_lifts_are_listed_newest_first_by_lifter_and_before(store: Store) -> None:
    writer = store.writer()
    for n in range(4):
        close_lift(writer, f"dock-6/{n}", opened=1000.0 + n)
        close_lift(writer, f"dock-7/{n}", lifter="dock-7", opened=2000.0 + n)
    reader = store.reader()
    assert [one["id"] for one in reader.lifts("dock-6")] == ["dock-6/3", "dock-6/2", "dock-6/1", "dock-6/0"]
    assert [one["id"] for one in reader.lifts(limit=2)] == ["dock-7/3", "dock-7/2"]
    assert [one["id"] for one in reader.lifts(before=1002.0)] == ["dock-6/1", "dock-6/0"]


def test_names_with_bytes_a_database_refuses_are_kept_readable(store: Store) -> None:
    writer = store.writer()
    writer.action(action("a1") | {"who": "a\0b"}, timeout_s=SLOW_S)
    writer.alarm(move("r\0\ud800"))
    writer.alarm(move("r2", at_s=13.0))
    assert writer.flush()
    assert store.reader().actions()[0]["who"] == "a\0b"
    assert [one["raising"] for one in store.reader().alarms()] == ["r\ufffd?", "r2"]


def test_settings_text_is_kept_once_per_text(store: Store) -> None:
    writer = store.writer()
    writer.settings("abc", 'site = "quayside"', name="site.toml", program="1")
    writer.settings("abc", 'site = "quayside"', name="site.toml", program="2")
    assert store.reader().settings("abc") == 'site = "quayside"'
    assert store.reader().settings("def") is None


def test_chain_holds_and_names_the_first_changed_record(store: Store) -> None:
    writer = store.writer()
    for n in range(5):
        close_lift(writer, f"dock-6/{n}")
    assert writer.wait_for_traces()
    assert store.reader().verify() is None
    with writer._engine.begin() as connection:
        wrong = store.reader().lift("dock-6/2")
        assert wrong is not None
        connection.execute(
            sa.update(t.lifts).where(t.lifts.c.id == "dock-6/2").values(record=str(wrong | {"site": "x"}))
        )
    misfit = store.reader().verify()
    assert misfit is not None
    assert (misfit.lift, misfit.reason) == ("dock-6/2", "changed")


def test_record_taken_away_is_named_and_so_is_a_lift_taken_out(store: Store) -> None:
    writer = store.writer()
    for n in range(4):
        close_lift(writer, f"dock-6/{n}")
    assert writer.wait_for_traces()
    with writer._engine.begin() as connection:
        connection.execute(sa.update(t.lifts).where(t.lifts.c.id == "dock-6/1").values(record=None))
    misfit = store.reader().verify()
    assert misfit is not None
    assert (misfit.lift, misfit.reason) == ("dock-6/1", "record_missing")
    with writer._engine.begin() as connection:
        connection.execute(sa.delete(t.lifts).where(t.lifts.c.id == "dock-6/1"))
    misfit = store.reader().verify()
    assert misfit is not None
    assert (misfit.lift, misfit.reason) == ("dock-6/2", "order")


def test_traces_let_go_leave_every_record_and_the_chain(store: Store) -> None:
    writer = store.writer()
    close_lift(writer, "dock-6/0")
    assert writer.wait_for_traces()
    with writer._engine.begin() as connection:
        connection.execute(sa.update(t.traces).values(path=None, error="let go to keep to the disk budget"))
    assert store.reader().verify() is None


def test_first_that_does_not_fit_is_named_after_pruning_too(store: Store) -> None:
    writer = traced(store, *(1000.0 * n for n in range(1, 7)))
    writer.keeping = Keeping(trace_keep_s=time.time() - 3500.0)
    prune(writer)
    assert [store.reader().trace(f"dock-6/{n}") is None for n in range(6)] == [True] * 3 + [False] * 3
    assert store.reader().verify() is None

    def first() -> tuple[str, str]:
        misfit = store.reader().verify()
        assert misfit is not None
        return misfit.lift, misfit.reason

    kept = store.reader().trace("dock-6/4")
    assert kept is not None
    kept.write_bytes(kept.read_bytes() + b"x")
    assert first() == ("dock-6/4", "trace_changed")
    for changed in (3, 1):  # the first of them, whether its trace is kept or let go
        with writer._engine.begin() as connection:
            at = t.lifts.c.id == f"dock-6/{changed}"
            record = connection.scalar(sa.select(t.lifts.c.record).where(at))
            connection.execute(sa.update(t.lifts).where(at).values(record=record.replace("dock-6", "dock-7", 1)))
        assert first() == (f"dock-6/{changed}", "changed")
    assert len(store.reader().lifts()) == 6


def test_chain_ends_say_how_many_lifts_a_site_has_and_the_last_hash(store: Store) -> None:
    writer = store.writer()
    assert store.reader().chain_ends() == []
    for site, lift in (("north", "a/1"), ("quayside", "b/1"), ("north", "a/2")):
        close_lift(writer, lift, site=site)
    ends = {end.site: (end.lifts_n, end.lift, end.hash) for end in store.reader().chain_ends()}
    hashes = dict(store.reader().hashes())  # the last of each site stays
    assert ends == {"north": (2, "a/2", hashes["north"]), "quayside": (1, "b/1", hashes["quayside"])}


def test_each_site_has_its_own_chain(store: Store) -> None:
    writer = store.writer()
    close_lift(writer, "a")
    close_lift(writer, "b", site="northgate")
    close_lift(writer, "c")
    with store.reader()._engine.connect() as connection:
        rows = {row.id: row for row in connection.execute(sa.select(t.lifts))}
    assert rows["b"].prev_hash == "0" * 64
    assert rows["c"].prev_hash == rows["a"].hash


def test_trace_holds_every_reading_of_the_lift(store: Store) -> None:
    writer = store.writer()
    writer.journal(9.9, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":1}}}')
    writer.journal(10.0, "judged", "dock-6", b'{"call":"holding","release":"do_not_release","utc_minus_now_s":100.0}')
    for n in range(20):
        writer.journal(10.0 + n, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":%d}},"load_kg":5}' % n)
        writer.journal(10.0 + n, "reading", "dock-7", b'{"circuits":{"A":{"vacuum_kpa":99}}}')
    close_lift(writer, "dock-6/1")
    assert writer.wait_for_traces()
    path = store.reader().trace("dock-6/1")
    assert path is not None
    trace = read_trace(path)
    assert trace["kind"] == ["judged"] + ["reading"] * 20
    assert trace["A.vacuum_kpa"] == [None, *(float(n) for n in range(20))]
    assert trace["utc_s"] == [110.0, *(110.0 + n for n in range(20))]
    assert trace["call"] == ["holding"] * 21


def test_trace_missing_after_a_crash_is_made_at_the_next_start(store: Store) -> None:
    writer = store.writer()
    writer.journal(11.0, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
    close_lift(writer, "dock-6/1")
    assert writer.wait_for_traces()
    with writer._engine.begin() as connection:
        connection.execute(sa.delete(t.traces))
    writer.close()
    writer = store.writer()
    assert writer.wait_for_traces()
    assert store.reader().trace("dock-6/1") is not None


def test_lift_without_a_reading_in_the_journal_has_no_trace(store: Store) -> None:
    writer = store.writer()
    writer.journal(11.0, "reading", "dock-7", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
    close_lift(writer, "dock-6/1")
    assert writer.wait_for_traces()
    assert store.reader().trace("dock-6/1") is None
    with writer._engine.begin() as connection:
        [row] = connection.execute(sa.select(t.traces))
    assert (row.path, row.rows_n, row.error) == (None, 0, "the journal has no reading of this lift")


def test_changed_trace_is_named(store: Store) -> None:
    writer = store.writer()
    writer.journal(11.0, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
    close_lift(writer, "dock-6/1")
    assert writer.wait_for_traces()
    path = store.reader().trace("dock-6/1")
    assert path is not None
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    assert store.reader().verify().reason == "trace_changed"
    path.unlink()
    assert store.reader().verify().reason == "trace_missing"


def test_journal_is_pruned_but_never_what_is_still_needed(store: Store) -> None:
    writer = store.writer()
    for n in range(100):
        writer.journal(100.0 * n, "reading", "dock-6", b"")
    writer.snapshot(9900.0, b"", utc_minus_now_s=0.0, version="1", keep_since_s=5000.0)
    writer._prune_at_s = 0.0
    writer.journal(9900.0, "reading", "dock-6", b"")
    assert writer.flush()
    assert min(row.now_s for row in store.reader().journal()) == 5000.0  # the oldest lift still open

    writer.snapshot(9900.0, b"", utc_minus_now_s=0.0, version="1")
    writer._prune_at_s = 0.0
    writer.journal(9900.0, "reading", "dock-6", b"")
    assert writer.flush()
    assert min(row.now_s for row in store.reader().journal()) == 6300.0  # the last hour


def traced(store: Store, *opened: float) -> Writer:
    writer = store.writer()
    for n, at_s in enumerate(opened):
        writer.journal(11.0, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
        close_lift(writer, f"dock-6/{n}", opened=at_s)
    assert writer.wait_for_traces()
    return writer


def prune(writer: Writer) -> None:
    writer._prune_at_s = 0.0
    writer.alarm(move("prune"))
    assert writer.flush()


def test_traces_go_by_age_and_records_stay(store: Store) -> None:
    writer = traced(store, time.time() - 800 * 86_400, time.time() - 700 * 86_400)
    writer.keeping = Keeping(trace_keep_s=730 * 86_400)
    old = store.reader().trace("dock-6/0")
    prune(writer)
    assert store.reader().trace("dock-6/0") is None
    assert not old.exists()
    assert store.reader().trace("dock-6/1").exists()
    assert len(store.reader().lifts()) == 2
    assert store.reader().verify() is None


def test_oldest_traces_go_to_keep_to_the_budget(store: Store) -> None:
    writer = traced(store, 3000.0, 1000.0, 2000.0)
    database = store.data / "holdwatch.db"
    size = store.reader().trace("dock-6/0").stat().st_size + (database.stat().st_size if database.exists() else 0)
    writer.keeping = Keeping(budget_bytes=size + 10)
    prune(writer)
    assert [store.reader().trace(f"dock-6/{n}") is None for n in range(3)] == [False, True, True]
    prune(writer)
    assert store.reader().trace("dock-6/0").exists()


def test_trace_let_go_is_not_made_again(store: Store) -> None:
    writer = traced(store, 1000.0)
    writer.keeping = Keeping(trace_keep_s=1.0)
    prune(writer)
    writer.close()
    assert store.writer().wait_for_traces()
    assert store.reader().trace("dock-6/0") is None


def test_second_engine_is_refused(store: Store) -> None:
    store.writer()
    with pytest.raises(StoreError, match=r"data: another Holdwatch engine \(process \d+\)"):
        store.writer()


def test_store_of_a_newer_version_is_refused_in_words(store: Store) -> None:
    writer = store.writer()
    with writer._engine.begin() as connection:
        connection.execute(sa.update(t.meta).where(t.meta.c.key == "schema").values(value="99"))
    writer.close()
    with pytest.raises(StoreError, match="newer Holdwatch"):
        store.writer()
    with pytest.raises(StoreError, match="schema version 99"):
        store.reader().lifts()


def test_reads_go_on_hard_while_writing(store: Store) -> None:
    """Four readers without pause neither fail nor keep one row of the writer's from the disk."""
    writer = store.writer()
    ending = threading.Event()
    failures: list[StoreError] = []
    reads: list[int] = []

    def read() -> None:
        reader = store.reader()
        n = 0
        try:
            while not ending.is_set():
                reader.lifts(limit=10)
                sum(1 for _ in reader.journal(since_s=0.0))
                n += 1
        except StoreError as error:
            failures.append(error)
        reads.append(n)

    threads = [threading.Thread(target=read) for _ in range(4)]
    for thread in threads:
        thread.start()
    for n in range(400):
        writer.journal(float(n), "reading", "dock-6", b"x" * 300)
        if n % 20 == 0:
            writer.alarm(move(f"r{n}"))
            writer.action(action(f"a{n}"), timeout_s=SLOW_S)
            close_lift(writer, f"dock-6/{n}")
    assert writer.flush()
    ending.set()
    for thread in threads:
        thread.join()
    assert failures == []
    assert min(reads) > 0
    assert writer.health()["error"] is None
    assert writer.health()["dropped_n"] == 0
    assert len(store.reader().lifts()) == 20
    assert len(list(store.reader().journal())) == 400


def test_reader_cannot_write(store: Store) -> None:
    store.writer()
    with pytest.raises(sa.exc.SQLAlchemyError), store.reader()._engine.begin() as connection:
        connection.execute(sa.insert(t.meta), {"key": "x", "value": "y"})


@pytest.mark.postgres
def test_second_folder_on_one_database_is_refused(new_database: Callable[[], str], tmp_path: Path) -> None:
    url = new_database()
    writer = open_writer(tmp_path / "one", url)
    with pytest.raises(StoreError, match="another Holdwatch engine writes to this database"):
        open_writer(tmp_path / "two", url)
    writer.close()
    open_writer(tmp_path / "two", url).close()


@pytest.mark.postgres
def test_writer_goes_on_after_the_server_dropped_its_connection(
    new_database: Callable[[], str], tmp_path: Path
) -> None:
    url = new_database()
    writer = open_writer(tmp_path / "data", url)
    writer.alarm(move("r1"))
    assert writer.flush()
    with writer._engine.connect() as connection:
        others = sa.text("datname = current_database() AND pid <> pg_backend_pid()")
        end = sa.select(sa.func.pg_terminate_backend(sa.column("pid"))).select_from(sa.table("pg_stat_activity"))
        connection.execute(end.where(others)).all()
    writer.alarm(move("r2", at_s=13.0))
    writer.journal(1.0, "reading", "dock-6", b"")
    assert writer.flush()
    assert writer.health()["error"] is None
    reader = open_reader(tmp_path / "data", url)
    assert [one["raising"] for one in reader.alarms()] == ["r1", "r2"]
    assert len(list(reader.journal())) == 1
    reader.close()
    writer.close()


def test_backup_of_a_store_in_use_comes_back_whole(store: Store, tmp_path: Path) -> None:
    writer = store.writer()
    for n in range(3):
        writer.journal(10.0 + n, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
        close_lift(writer, f"dock-6/{n}")
    writer.action(action("a1"), timeout_s=SLOW_S)
    writer.alarm(move("r1"))
    writer.snapshot(12.0, b"state", utc_minus_now_s=0.0, version="1")
    writer.settings("abc", "site = 1", name="site.toml", program="1")
    assert writer.wait_for_traces()
    kept = backup(store.data, tmp_path / "b.tar", store.url)
    assert (kept.lifts_n, kept.traces_n, kept.traces_missing_n) == (3, 3, 0)
    close_lift(writer, "dock-6/after")

    put_back = restore(tmp_path / "b.tar", tmp_path / "new")
    assert (put_back.lifts_n, put_back.traces_n) == (3, 3)
    before, after = store.reader(), open_reader(tmp_path / "new")
    assert after.verify() is None
    assert after.lifts() == [one for one in before.lifts() if one["id"] != "dock-6/after"]
    assert after.actions() == before.actions()
    assert after.alarms() == before.alarms()
    assert after.snapshots() == before.snapshots()
    assert list(after.journal()) == list(before.journal())
    assert after.settings("abc") == "site = 1"
    assert read_trace(after.trace("dock-6/1")) == read_trace(before.trace("dock-6/1"))
    after.close()


def test_backup_taken_while_lifts_are_closed_has_every_lift_kept_before_it(store: Store, tmp_path: Path) -> None:
    writer, stop = store.writer(), threading.Event()
    kept: list[str] = []

    def work() -> None:
        while not stop.is_set():
            n = len(kept)
            writer.journal(11.0, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
            close_lift(writer, f"dock-6/{n}", opened=1764019000.0 + n)
            kept.append(f"dock-6/{n}")

    working = threading.Thread(target=work)
    working.start()
    during_n = 0
    try:
        for m in range(4):
            wait_for(lambda least_n=5 * (m + 1): len(kept) >= least_n, 30.0, "lifts closed")
            before = list(kept)
            backup(store.data, tmp_path / f"{m}.tar", store.url)
            during_n += len(kept) - len(before)
            restore(tmp_path / f"{m}.tar", tmp_path / f"{m}")
            restored = open_reader(tmp_path / f"{m}")
            assert restored.verify() is None
            there = [one["id"] for one in reversed(restored.lifts(limit=100_000))]
            restored.close()
            assert there[: len(before)] == before
            assert there == [f"dock-6/{n}" for n in range(len(there))]
    finally:
        stop.set()
        working.join()
    assert during_n > 0, "nothing was written while the backups were made"
    assert store.reader().verify() is None


@pytest.mark.postgres
def test_backup_of_a_folder_can_go_on_in_a_database(new_database: Callable[[], str], tmp_path: Path) -> None:
    writer = open_writer(tmp_path / "old")
    close_lift(writer, "dock-6/1")
    assert writer.wait_for_traces()
    writer.close()
    backup(tmp_path / "old", tmp_path / "b.tar")
    url = new_database()
    restore(tmp_path / "b.tar", tmp_path / "new", url)
    assert not (tmp_path / "new" / "holdwatch.db").exists()
    writer = open_writer(tmp_path / "new", url)
    close_lift(writer, "dock-6/2")
    assert writer.wait_for_traces()
    writer.close()
    reader = open_reader(tmp_path / "new", url)
    assert [one["id"] for one in reader.lifts()] == ["dock-6/2", "dock-6/1"]
    assert reader.verify() is None
    reader.close()
    with pytest.raises(StoreError, match="has lifts already"):
        restore(tmp_path / "b.tar", tmp_path / "newer", url)


@pytest.mark.postgres
def test_database_is_named_by_the_environment(
    new_database: Callable[[], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("HOLDWATCH_STORE_URL", new_database())
    writer = open_writer(tmp_path)
    close_lift(writer, "dock-6/1")
    writer.close()
    reader = open_reader(tmp_path)
    assert len(reader.lifts()) == 1
    reader.close()
    assert not (tmp_path / "holdwatch.db").exists()
