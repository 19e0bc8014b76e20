"""The trace file: nothing a lifter sent is lost, and half a file never has the name of a whole one."""

import json
from pathlib import Path

import pyarrow.parquet
import pytest

from monitor.store.traces import TraceRow, circuits_of, read_trace, trace_path, write_trace

READING = {
    "time": 1764019200.125, "seq": 10231, "boot": "7f3a",
    "circuits": {"A": {"vacuum_kpa": 63.4, "pump": "off"}, "B": {"vacuum_kpa": 57.8, "gauges": {"1": 57.8, "2": 58.1}}},
    "load_kg": 622.5, "lifter_alarm": False, "release_valve": "closed",
}  # fmt: skip


def rows(*messages: object, kind: str = "reading") -> list[TraceRow]:
    return [
        TraceRow(kind, float(n), said if isinstance(said, bytes) else json.dumps(said).encode())
        for n, said in enumerate(messages)
    ]


def made(data: Path, *messages: object, circuits: dict | None = None) -> dict[str, list]:
    write_trace(data, "dock-6/1", rows(*messages), circuits or {"A": (), "B": ("1", "2")})
    return read_trace(data / trace_path("dock-6/1"))


def test_every_field_of_a_reading_has_its_column(tmp_path: Path) -> None:
    trace = made(tmp_path, READING)
    assert trace["A.vacuum_kpa"] == [63.4]
    assert trace["A.pump"] == ["off"]
    assert trace["B.gauges.2"] == [58.1]
    assert trace["load_kg"] == [622.5]
    assert trace["seq"] == [10231.0]
    assert trace["lifter_alarm"] == [False]
    assert trace["tilt_deg"] == [None]
    assert trace["extra"] == [None]


@pytest.mark.parametrize(
    ("more", "extra"),
    [
        ({"gust": 7}, {"gust": 7}),
        ({"load_kg": "heavy"}, {"load_kg": "heavy"}),
        ({"lifter_alarm": 1}, {"lifter_alarm": 1}),
        ({"load_kg": True}, {"load_kg": True}),
        ({"seq": 2**60 + 1}, {"seq": 2**60 + 1}),
        (
            {"circuits": {"A": {"vacuum_kpa": None, "hose": "x"}}},
            {"circuits": {"A": {"vacuum_kpa": None, "hose": "x"}}},
        ),
        ({"circuits": {"Z": {"vacuum_kpa": 1}}}, {"circuits": {"Z": {"vacuum_kpa": 1}}}),
        ({"circuits": {"B": {"gauges": {"3": 1.5}}}}, {"circuits": {"B": {"gauges": {"3": 1.5}}}}),
        ({"circuits": [1, 2]}, {"circuits": [1, 2]}),
        ({"µ": "×"}, {"µ": "×"}),
    ],
)
def test_what_fits_no_column_stands_in_extra_as_it_came(tmp_path: Path, more: dict, extra: dict) -> None:
    assert json.loads(made(tmp_path, READING | more)["extra"][0]) == extra


@pytest.mark.parametrize("payload", [b"{", b"", b"[1]", b"7", b'{"a":"\xff"}', b'{"a":"\\ud800"}', b"[" * 100_000])
def test_unreadable_message_keeps_its_bytes_as_text(tmp_path: Path, payload: bytes) -> None:
    trace = made(tmp_path, payload, READING)
    assert trace["extra"][0] == payload.decode(errors="replace")
    assert trace["A.vacuum_kpa"] == [None, 63.4]


def test_long_trace_is_written_in_parts_and_read_whole(tmp_path: Path) -> None:
    file = write_trace(tmp_path, "dock-6/1", rows(*[READING] * 12_001), {"A": ()})
    assert file.rows_n == 12_001
    path = tmp_path / file.path
    assert file.bytes_n == path.stat().st_size
    assert pyarrow.parquet.ParquetFile(path).num_row_groups == 3
    assert read_trace(path)["now_s"] == [float(n) for n in range(12_001)]


def test_failure_half_way_leaves_no_file(tmp_path: Path) -> None:
    def broken() -> object:
        yield from rows(*[READING] * 6000)
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        write_trace(tmp_path, "dock-6/1", broken(), {"A": ()})
    assert list((tmp_path / "traces").iterdir()) == []


@pytest.mark.parametrize("lift", ["../../etc/x", "a/b", "..", "a\\b", "c:d", "%2e"])
def test_no_lift_id_leads_out_of_the_folder(tmp_path: Path, lift: str) -> None:
    write_trace(tmp_path, lift, [], {})
    assert [path.name for path in tmp_path.iterdir()] == ["traces"]
    assert len(list((tmp_path / "traces").iterdir())) == 1


def test_circuits_and_gauges_come_from_the_record_and_the_first_messages() -> None:
    record = {"circuits": {"A": {}, "B": {}}}
    found = circuits_of(record, rows(READING, b"{", {"circuits": 3}, {"circuits": {"A": {"gauges": []}}}))
    assert found == {"A": (), "B": ("1", "2")}
