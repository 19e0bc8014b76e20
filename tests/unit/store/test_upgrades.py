"""A store written by any earlier version opens, with everything in it, in this one.

``schema-N.sql`` is what the version of that number wrote. When the schema changes, the dump of the old one stays.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import pytest

from monitor.store.records import Reader, open_reader, open_writer
from monitor.store.tables import SCHEMA_VERSION

DUMPS = sorted(Path(__file__).parent.glob("schema-*.sql"))


@pytest.fixture(params=DUMPS, ids=lambda path: path.stem)
def upgraded(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Reader]:
    with sqlite3.connect(tmp_path / "holdwatch.db") as connection:
        connection.executescript(request.param.read_text())
    connection.close()
    writer = open_writer(tmp_path)
    assert writer.health()["writing"]
    reader = open_reader(tmp_path)
    yield reader
    reader.close()
    writer.close()


def test_there_is_a_dump_of_every_version() -> None:
    assert [path.stem for path in DUMPS] == [f"schema-{n}" for n in range(1, SCHEMA_VERSION + 1)]


def test_records_open_unchanged_and_their_chain_fits(upgraded: Reader) -> None:
    assert [one["id"] for one in upgraded.lifts()] == ["dock-6-2", "dock-6-1"]
    record = upgraded.lift("dock-6-1")
    assert record is not None
    assert (record["site"], record["opened"], record["landing_s"]) == ("quayside", 1764020200.0, 55.0)
    assert record["circuits"]["A"]["lowest_kpa"] == 58.4
    assert upgraded.verify() is None


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
