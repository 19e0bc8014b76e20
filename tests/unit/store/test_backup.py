"""A backup is whole or not there; what is put back is checked before anything is touched."""

import io
import stat
import tarfile
from pathlib import Path

import pytest
import sqlalchemy as sa

from monitor.store import tables as t
from monitor.store.backup import backup, restore
from monitor.store.records import StoreError, open_reader, open_writer


@pytest.fixture
def data(tmp_path: Path) -> Path:
    folder = tmp_path / "data"
    writer = open_writer(folder)
    record = {"version": 1, "id": "dock-6/1", "site": "quayside", "lifter": "dock-6", "opened": 1.0, "closed": 2.0}
    writer.journal(1.5, "reading", "dock-6", b'{"circuits":{"A":{"vacuum_kpa":60}}}')
    writer.close_lift(record, opened_now_s=1.0, closed_now_s=2.0)
    assert writer.wait_for_traces()
    writer.close()
    return folder


def repacked(source: Path, target: Path, **changed: bytes | None) -> Path:
    """A copy of a backup with files changed, taken out (None) or put in."""
    with tarfile.open(source) as old, tarfile.open(target, "w") as new:
        contents = {one.name: old.extractfile(one).read() for one in old.getmembers()} | changed
        for name, content in contents.items():
            if content is not None:
                member = tarfile.TarInfo(name)
                member.size = len(content)
                new.addfile(member, io.BytesIO(content))
    return target


def test_backup_is_its_owners_alone_and_leaves_nothing_else(data: Path, tmp_path: Path) -> None:
    backup(data, tmp_path / "b.tar")
    assert stat.S_IMODE((tmp_path / "b.tar").stat().st_mode) == 0o600
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b.tar", "data"]


def test_backup_never_replaces_a_file(data: Path, tmp_path: Path) -> None:
    (tmp_path / "b.tar").write_text("yesterday's")
    with pytest.raises(StoreError, match="is there already"):
        backup(data, tmp_path / "b.tar")
    assert (tmp_path / "b.tar").read_text() == "yesterday's"


def test_folder_without_a_store_is_said(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="there is no store here"):
        backup(tmp_path, tmp_path / "b.tar")


def test_missing_trace_is_counted_not_hidden(data: Path, tmp_path: Path) -> None:
    next((data / "traces").iterdir()).unlink()
    kept = backup(data, tmp_path / "b.tar")
    assert (kept.traces_n, kept.traces_missing_n) == (0, 1)


def test_place_that_is_not_empty_is_refused(data: Path, tmp_path: Path) -> None:
    backup(data, tmp_path / "b.tar")
    with pytest.raises(StoreError, match="has a store already"):
        restore(tmp_path / "b.tar", data)
    reader = open_reader(data)
    assert reader.verify() is None
    assert len(reader.lifts()) == 1
    reader.close()


def test_folder_in_use_is_refused(data: Path, tmp_path: Path) -> None:
    backup(data, tmp_path / "b.tar")
    writer = open_writer(data)
    with pytest.raises(StoreError, match="another Holdwatch engine"):
        restore(tmp_path / "b.tar", data)
    writer.close()


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"holdwatch.db": b"changed"}, "holdwatch.db is not as it was written"),
        ({"holdwatch.db": None}, "No such file"),
        ({"traces/dock-6%2F1.parquet": b"changed"}, "dock-6%2F1.parquet is not as it was written"),
        ({"contents.json": None}, "No such file"),
        ({"contents.json": b"{}"}, "Expected `object`"),
        ({"contents.json": b'{"sha256": {}}'}, "holdwatch.db is missing"),
        ({"contents.json": b'{"sha256": {"../../etc/passwd": "0"}}'}, "passwd is not as it was written"),
        ({"../outside": b"x"}, "outside"),
    ],
)
def test_backup_that_is_not_whole_is_refused(data: Path, tmp_path: Path, changed: dict, says: str) -> None:
    backup(data, tmp_path / "b.tar")
    bad = repacked(tmp_path / "b.tar", tmp_path / "bad.tar", **changed)
    with pytest.raises(StoreError, match="is no whole Holdwatch backup") as refused:
        restore(bad, tmp_path / "new")
    assert says in str(refused.value)
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["engine.lock"]
    assert not (tmp_path / "outside").exists()


@pytest.mark.parametrize("content", [b"", b"no tar at all" * 100])
def test_file_that_is_no_backup_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "b.tar").write_bytes(content)
    with pytest.raises(StoreError, match="is no whole Holdwatch backup"):
        restore(tmp_path / "b.tar", tmp_path / "new")


def test_cut_off_backup_is_refused(data: Path, tmp_path: Path) -> None:
    backup(data, tmp_path / "b.tar")
    whole = (tmp_path / "b.tar").read_bytes()
    for part in (0.2, 0.6):
        (tmp_path / "cut.tar").write_bytes(whole[: int(len(whole) * part)])
        with pytest.raises(StoreError, match="is no whole Holdwatch backup"):
            restore(tmp_path / "cut.tar", tmp_path / "new")


def test_backup_of_a_newer_program_is_refused(data: Path, tmp_path: Path) -> None:
    writer = open_writer(data)
    with writer._engine.begin() as connection:
        connection.execute(sa.update(t.meta).where(t.meta.c.key == "schema").values(value="99"))
    writer.close()
    backup(data, tmp_path / "b.tar")
    with pytest.raises(StoreError, match="newer Holdwatch"):
        restore(tmp_path / "b.tar", tmp_path / "new")
    assert [path.name for path in (tmp_path / "new").iterdir()] == ["engine.lock"]
