"""A disk that is really full, in the middle of a lift and as it ends: the lift is whole once there is room again."""

import json
import shutil
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.store import tracing
from monitor.store.records import Writer, open_reader, open_writer
from monitor.store.traces import read_trace
from tests.brokers import wait_for
from tests.contract.test_store import record
from tests.disks import fill, small_disk

pytestmark = pytest.mark.system

READINGS_N = 3000
VACUUMS_KPA = [round(60.0 + 0.001 * n, 3) for n in range(READINGS_N)]


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    with small_disk(tmp_path / "data", size="16m") as made:
        yield made


def readings(writer: Writer, first: int, end: int) -> None:
    for n in range(first, end):
        said = {"seq": n, "circuits": {"A": {"vacuum_kpa": VACUUMS_KPA[n]}}, "pad": "x" * 300}
        writer.journal(10.0 + n / 20, "reading", "dock-6", json.dumps(said).encode())


def close(writer: Writer) -> threading.Event:
    done = threading.Event()
    writer.close_lift(record("dock-6/1"), opened_now_s=10.0, closed_now_s=250.0, done=lambda _error: done.set())
    return done


def assert_whole(disk: Path) -> None:
    reader = open_reader(disk)
    assert [one["id"] for one in reader.lifts()] == ["dock-6/1"]
    assert reader.verify() is None
    path = reader.trace("dock-6/1")
    assert path is not None
    trace = read_trace(path)
    assert trace["seq"] == list(range(READINGS_N))
    assert trace["A.vacuum_kpa"] == VACUUMS_KPA
    reader.close()


def test_lift_that_goes_on_and_ends_while_the_disk_is_full_is_whole_afterwards(disk: Path) -> None:
    writer = open_writer(disk)
    readings(writer, 0, 1000)
    assert writer.flush()
    fill(disk)
    readings(writer, 1000, 2000)
    wait_for(lambda: not writer.health()["writing"], 20.0, "the full disk told")
    done = close(writer)
    readings(writer, 2000, READINGS_N)
    assert not done.wait(2.0), "told to be kept on a disk without a free byte"
    assert writer.health()["dropped_n"] == 0
    (disk / "filler").unlink()
    assert done.wait(20.0)
    assert writer.wait_for_traces(30.0)
    assert writer.health()["writing"]
    writer.close()
    assert_whole(disk)


def test_nearly_full_disk_is_seen_before_it_is_full(disk: Path) -> None:
    """The alarm ``disk_nearly_full`` follows this share (``test_service``)."""
    writer = open_writer(disk)
    readings(writer, 0, 10)
    assert writer.flush()
    share = writer.health()["free_ratio"]
    assert share is not None
    assert share > 0.9
    usage = shutil.disk_usage(disk)
    (disk / "filler").write_bytes(b"\0" * (usage.free - usage.total // 50))
    readings(writer, 10, 20)
    wait_for(lambda: (writer.health()["free_ratio"] or 1.0) < 0.05, 20.0, "a share of the disk that is left")
    assert writer.health()["writing"]
    assert writer.flush()
    writer.close()


def test_trace_for_which_there_is_no_room_is_made_however_long_the_disk_was_full(
    disk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The record was kept just before; its readings stay in the journal until the trace stands."""
    monkeypatch.setattr(tracing, "RETRY_S", 0.05)
    (disk / "traces").mkdir(exist_ok=True)
    writer = open_writer(disk)
    readings(writer, 0, READINGS_N)
    assert writer.flush()
    tried_n, write = 0, tracing.write_trace

    def write_on_a_full_disk(*given: object, **named: object) -> object:
        nonlocal tried_n
        if tried_n == 0:
            fill(disk)
        tried_n += 1
        return write(*given, **named)  # type: ignore[arg-type]

    monkeypatch.setattr(tracing, "write_trace", write_on_a_full_disk)
    assert close(writer).wait(20.0)
    wait_for(lambda: tried_n > 2 * tracing.TRIES_N, 30.0, "the trace tried again and again")
    assert writer._tracer._tries_n == {}, "a full disk counts as no try"
    (disk / "filler").unlink()
    assert writer.wait_for_traces(30.0)
    writer.close()
    assert_whole(disk)
