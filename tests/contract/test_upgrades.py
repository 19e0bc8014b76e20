"""A store written by any earlier version opens, with everything in it, in this one, on SQLite and on PostgreSQL.

``upgrades/schema-N.DIALECT.sql`` is what the version of that number wrote; its lift ``dock-6-3`` has all that a record of
that version held. When the schema or the record changes, the dumps of the old one stay.
"""

import csv
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import psycopg
import pytest

from monitor.cli.main import main
from monitor.store.records import Reader, open_reader, open_writer
from monitor.store.tables import SCHEMA_VERSION
from tests.tools import sheets

DUMPS: Final = Path(__file__).parent / "upgrades"
DIALECTS: Final = ("sqlite", "postgresql")
PRINTED: Final = (
    "Lift record: dock-6, quayside", "2025-11-24 21:24:02 +0000", "5 min 10 s, released", "658 kg",
    "161 kg at 21:25:42, by friction", "90° to 91°", "41 m", "60.6 at 21:28:20",
    "2.76", "Losing vacuum: 2 min 32 s", "Land now", "Reserve short",
    "Pump not starting", "Planned at 21:24:07 by the supervisor", "limit 818 kg by friction", "the technician",
    "seal of B2 renewed",
    "Seal test before the pick, 21:24:12, the supervisor", "3 % lost of 25 % allowed", "No gap in the readings.",
    "900 kg", "b799c40b7023e72d34753fbf3f2e8df05afae704c4f85d30c3cd6cd05d8b7da4",
)  # fmt: skip
LOWEST_B_KPA: Final = 60.6
CASES: Final = [
    pytest.param((n, dialect), id=f"{n}-{dialect}", marks=[pytest.mark.postgres] if dialect == "postgresql" else [])
    for n in range(1, SCHEMA_VERSION + 1)
    for dialect in DIALECTS
]


@pytest.fixture(params=CASES)
def old(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The data folder of an earlier version's store, opened once by this one's engine."""
    n, dialect = request.param
    dump = (DUMPS / f"schema-{n}.{dialect}.sql").read_text()
    if dialect == "postgresql":
        url = request.getfixturevalue("new_database")()
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute(dump.encode())
        monkeypatch.setenv("HOLDWATCH_STORE_URL", url)
    else:
        with sqlite3.connect(tmp_path / "holdwatch.db") as database:
            database.executescript(dump)
        database.close()
    writer = open_writer(tmp_path)
    assert writer.health()["writing"]
    writer.close()
    return tmp_path


@pytest.fixture
def upgraded(old: Path) -> Iterator[Reader]:
    reader = open_reader(old)
    yield reader
    reader.close()


def test_there_is_a_dump_of_every_version() -> None:
    wanted = {f"schema-{n}.{dialect}.sql" for n in range(1, SCHEMA_VERSION + 1) for dialect in DIALECTS}
    assert {path.name for path in DUMPS.iterdir()} == wanted


def test_records_open_unchanged_and_their_chain_fits(upgraded: Reader) -> None:
    assert [one["id"] for one in upgraded.lifts()] == ["dock-6-2", "dock-6-1", "dock-6-3"]
    record = upgraded.lift("dock-6-1")
    assert record is not None
    assert (record["site"], record["opened"], record["landing_s"]) == ("quayside", 1764020200.0, 55.0)
    assert record["circuits"]["A"]["lowest_kpa"] == 58.4
    assert upgraded.verify() is None


def test_record_is_printed_and_exported_with_every_figure(old: Path, tmp_path: Path) -> None:
    """The figures are those of the dump, read by eye from it."""
    for ending in ("html", "pdf", "json", "csv"):
        out = tmp_path / f"lift.{ending}"
        assert main(["report", "dock-6-3", "--data", str(old), "--out", str(out)]) == 0
    page = (tmp_path / "lift.html").read_text()
    for said in PRINTED:
        assert said in page, said
    assert sheets((tmp_path / "lift.pdf").read_bytes()) == 1
    told = json.loads((tmp_path / "lift.json").read_text())
    figures = dict(csv.reader((tmp_path / "lift.csv").read_text().splitlines()))
    assert told["circuits"]["B"]["lowest_kpa"] == float(figures["circuits.B.lowest_kpa"]) == LOWEST_B_KPA
    assert [one["key"] for one in told["alarms"]] == ["losing_vacuum", "reserve_short", "pump_not_starting"]


def test_actions_alarms_and_settings_are_all_there(upgraded: Reader) -> None:
    assert [(one["id"], one["kind"], one["who"]) for one in upgraded.actions()] == [
        ("a1", "surface", "the supervisor"),
        ("a2", "service_note", "maintenance"),
    ]
    assert [one["id"] for one in upgraded.actions_not_taken()] == ["a2"]
    (moved,) = upgraded.alarms()
    assert (moved["raising"], moved["utc_ms"]) == ("dock-6/B/losing_vacuum/17", 1764019210500)
    assert upgraded.last_raisings() == {"dock-6": 17}
    assert upgraded.settings("ab" * 32) == 'site = "quayside"'


def test_a_lift_in_progress_can_go_on(upgraded: Reader) -> None:
    assert [(row.id, row.kind) for row in upgraded.journal()] == [(1, "reading"), (2, "action")]
    (snapshot,) = upgraded.snapshots()
    assert (snapshot.journal_id, snapshot.keep_since_s, snapshot.blob) == (2, 1764019205.0, b"state")
