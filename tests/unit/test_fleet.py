"""Backups of several sites in one place: each lift once, in any order, nothing that was changed."""

import shutil
import sqlite3
from pathlib import Path

import pytest

from dashboards.trend_desk import Desk
from monitor.cli.main import main
from monitor.fleet import collect, folders
from monitor.store.errors import StoreError
from monitor.store.importing import import_lifts
from monitor.store.records import open_reader
from tests.brokers import ROOT
from tests.trend_histories import demo_site, history

DEMO = (ROOT / "configs" / "demo.toml").read_text()


def site_backup(folder: Path, site: str, lifts_n: int, name: str) -> Path:
    """A backup of a site that has closed its first ``lifts_n`` lifts."""
    data = folder / f"{site}-{lifts_n}"
    text = DEMO.replace('site = "quayside"', f'site = "{site}"')
    records = [record | {"site": site} for record in history(5, 60, 0.3).records()][:lifts_n]
    import_lifts(data, records, no_trace="a test", settings=("ab" * 32, text, "site.toml", "test"))
    assert main(["backup", "--data", str(data), "--out", str(folder / name)]) == 0
    return folder / name


def test_backups_come_in_any_order_and_every_lift_stands_once(tmp_path: Path) -> None:
    first = site_backup(tmp_path, "north", 20, "n1.tar")
    second = site_backup(tmp_path, "north", 50, "n2.tar")
    other = site_backup(tmp_path, "south", 30, "s1.tar")
    found = [collect(tmp_path / "central", one) for one in (second, first, other, second)]
    assert [(one.site, one.new_n) for one in found] == [("north", 50), ("north", 0), ("south", 30), ("north", 0)]
    assert [path.name for path in folders(tmp_path / "central")] == ["north", "south"]
    reader = open_reader(tmp_path / "central" / "fleet" / "north")
    assert len(reader.lifts(limit=100)) == 50
    assert reader.verify() is None
    reader.close()


def test_later_backup_goes_on_an_earlier_one(tmp_path: Path) -> None:
    first, second = site_backup(tmp_path, "north", 20, "n1.tar"), site_backup(tmp_path, "north", 50, "n2.tar")
    assert [collect(tmp_path / "central", one).new_n for one in (first, second)] == [20, 30]


def test_records_that_do_not_go_on_the_chain_are_refused(tmp_path: Path) -> None:
    collect(tmp_path / "central", site_backup(tmp_path, "north", 20, "n1.tar"))
    data = tmp_path / "other"
    records = [record | {"site": "north", "lifter_name": "x"} for record in history(5, 60, 0.3).records()]
    import_lifts(data, records, no_trace="a test", settings=("ab" * 32, DEMO, "site.toml", "test"))
    assert main(["backup", "--data", str(data), "--out", str(tmp_path / "other.tar")]) == 0
    with pytest.raises(StoreError, match="do not go on those of site north"):
        collect(tmp_path / "central", tmp_path / "other.tar")
    assert main(["collect", str(tmp_path / "other.tar"), "--data", str(tmp_path / "central")]) == 1


@pytest.mark.parametrize("record", ["replace(record, 'released', 'parked')", "null"])
def test_changed_or_missing_record_is_refused(record: str, tmp_path: Path) -> None:
    kept = site_backup(tmp_path, "north", 20, "n1.tar")
    collect(tmp_path / "central", kept)
    site_backup(tmp_path, "north", 30, "n2.tar")
    with sqlite3.connect(tmp_path / "north-30" / "holdwatch.db") as database:
        database.execute(f"update lifts set record = {record} where n = 23")  # noqa: S608 - our own
    database.close()
    assert main(["backup", "--data", str(tmp_path / "north-30"), "--out", str(tmp_path / "bad.tar")]) == 0
    for central in (tmp_path / "central", tmp_path / "other"):
        with pytest.raises(StoreError, match="does not fit"):
            collect(central, tmp_path / "bad.tar")
    assert folders(tmp_path / "other") == []
    reader = open_reader(tmp_path / "central" / "fleet" / "north")
    assert len(reader.lifts(limit=100)) == 20
    assert reader.verify() is None
    reader.close()


def test_desk_has_every_site_once_and_follows_a_newer_backup(tmp_path: Path) -> None:
    central = tmp_path / "central"
    collect(central, site_backup(tmp_path, "north", 20, "n1.tar"))
    collect(central, site_backup(tmp_path, "south", 30, "s1.tar"))
    desk = Desk(lambda: open_reader(central), central)
    assert {one.site: len(one.cares["dock-6"].trends.ids) for one in desk.fleet()} == {"north": 20, "south": 30}
    collect(central, site_backup(tmp_path, "north", 50, "n2.tar"))
    assert {one.site: len(one.cares["dock-6"].trends.ids) for one in desk.fleet()} == {"north": 50, "south": 30}
    assert demo_site().site == "quayside"
    shutil.rmtree(central)


@pytest.mark.parametrize("command", [["trends"], ["reanalyse", "--out", "{folder}/again.jsonl", "--workers", "1"]])
def test_command_that_finds_nothing_in_a_central_folder_says_where_the_sites_are(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    central = tmp_path / "central"
    collect(central, site_backup(tmp_path, "north", 20, "n.tar"))
    main([one.format(folder=tmp_path) for one in command] + ["--data", str(central)])
    assert f"A site's records are kept in {central / 'fleet' / 'north'}." in capsys.readouterr().err
