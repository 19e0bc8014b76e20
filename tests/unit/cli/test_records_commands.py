import csv
import json
import re
import shutil
import sqlite3
import threading
from pathlib import Path

import pytest

from monitor.cli.main import main
from monitor.core.messages import Text
from monitor.fleet import folders
from monitor.report import lift_html
from monitor.store.records import open_reader, open_writer
from monitor.words.say import say
from tests.brokers import ROOT
from tests.tools import sheets

SITE = str(ROOT / "configs" / "demo.toml")


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with the record of one simulated lift; its readings are not kept."""
    folder = tmp_path_factory.mktemp("kept")
    recording, summary = folder / "lift.jsonl", folder / "summary.json"
    assert main(["simulate", "clean-lift", "--site", SITE, "--out", str(recording), "--seed", "7"]) == 0
    assert main(["replay", str(recording), "--site", SITE, "--summary", str(summary)]) == 0
    [record] = json.loads(summary.read_text())["lifts"]
    (folder / "data").mkdir()
    writer = open_writer(folder / "data")
    kept = threading.Event()
    writer.close_lift(record, opened_now_s=record["opened"], closed_now_s=record["closed"], done=lambda _: kept.set())
    assert kept.wait(10)
    assert writer.wait_for_traces()
    writer.close()
    return folder / "data"


@pytest.fixture
def lift(data: Path) -> str:
    reader = open_reader(data)
    [record] = reader.lifts()
    reader.close()
    return str(record["id"])


def test_report_is_a_page_with_its_caution(data: Path, lift: str, tmp_path: Path) -> None:
    out = tmp_path / "lift.html"
    assert main(["report", lift, "--data", str(data), "--out", str(out)]) == 0
    page = out.read_text()
    assert lift in page
    assert "competent person" in page


def test_report_as_pdf_is_one_sheet(data: Path, lift: str, tmp_path: Path) -> None:
    out = tmp_path / "lift.pdf"
    assert main(["report", lift, "--data", str(data), "--out", str(out)]) == 0
    written = out.read_bytes()
    assert written.startswith(b"%PDF-")
    assert sheets(written) == 1


def test_report_as_json_is_the_record(data: Path, lift: str, tmp_path: Path) -> None:
    out = tmp_path / "lift.json"
    assert main(["report", lift, "--data", str(data), "--out", str(out)]) == 0
    assert json.loads(out.read_text())["id"] == lift


def test_report_as_csv_without_a_trace_is_the_figures_of_the_record(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "lift.csv"
    assert main(["report", lift, "--data", str(data), "--out", str(out)]) == 0
    assert "readings are not kept" in capsys.readouterr().err
    told = dict(csv.reader(out.read_text().splitlines()))
    reader = open_reader(data)
    record = reader.lift(lift)
    reader.close()
    assert record is not None
    assert (told["trace"], told["id"]) == ("not kept", lift)
    assert float(told["load.largest_kg"]) == record["load"]["largest_kg"]
    assert float(told["circuits.A.lowest_kpa"]) == record["circuits"]["A"]["lowest_kpa"]


def test_report_of_an_unknown_lift_names_the_newest(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", "dock-6-1", "--data", str(data), "--out", str(tmp_path / "lift.html")]) == 2
    assert lift in capsys.readouterr().err


def test_report_in_another_form_says_which_there_are(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", lift, "--data", str(data), "--out", str(tmp_path / "lift.doc")]) == 2
    assert ".html, .pdf, .csv, .json" in capsys.readouterr().err


def test_verify_says_that_nothing_was_changed(data: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", "--data", str(data)]) == 0
    assert "as it was" in capsys.readouterr().err


def test_verify_names_the_changed_lift_of_a_collected_site_too(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    central, kept = tmp_path / "central", tmp_path / "kept.tar"
    central.mkdir()
    assert main(["verify", "--data", str(central)]) == 0
    assert "has no closed lift: nothing was checked" in capsys.readouterr().err
    assert main(["backup", "--data", str(data), "--out", str(kept)]) == 0
    assert main(["collect", str(kept), "--data", str(central)]) == 0
    assert main(["verify", "--data", str(central)]) == 0
    assert "as it was when it was closed; 1 lifts" in capsys.readouterr().err
    assert main(["trends", "--data", str(central)]) == 1
    [site] = folders(central)
    assert f"kept in {site}." in capsys.readouterr().err
    with sqlite3.connect(site / "holdwatch.db") as database:
        database.execute("update lifts set record = replace(record, 'released', 'parked')")
    database.close()
    assert main(["verify", "--data", str(central)]) == 1
    assert f"lift {lift} of site quayside does not fit: changed" in capsys.readouterr().err


def test_verify_names_a_lift_whose_record_is_missing(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copytree(data, tmp_path / "data")
    with sqlite3.connect(tmp_path / "data" / "holdwatch.db") as database:
        database.execute("update lifts set record = null")
    database.close()
    assert main(["verify", "--data", str(tmp_path / "data")]) == 1
    assert f"lift {lift} of site quayside does not fit: its record is missing" in capsys.readouterr().err


def test_verify_tells_how_many_lifts_and_the_hash_that_the_report_prints(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["report", lift, "--data", str(data), "--out", str(tmp_path / "lift.json")]) == 0
    chained = json.loads((tmp_path / "lift.json").read_text())["chained"]
    assert main(["verify", "--data", str(data)]) == 0
    assert f"site quayside: 1 lifts, the last is {lift}, its hash {chained}" in capsys.readouterr().err


def test_verify_without_a_folder_is_bad_input(tmp_path: Path) -> None:
    assert main(["verify", "--data", str(tmp_path / "nowhere")]) == 2


def test_backup_put_into_an_empty_folder_has_every_lift(
    data: Path, lift: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["backup", "--data", str(data), "--out", str(tmp_path / "kept.tar")]) == 0
    assert main(["restore", str(tmp_path / "kept.tar"), "--data", str(tmp_path / "new")]) == 0
    assert capsys.readouterr().err.count("1 lifts") == 2
    assert main(["verify", "--data", str(tmp_path / "new")]) == 0
    reader = open_reader(tmp_path / "new")
    assert [one["id"] for one in reader.lifts()] == [lift]
    reader.close()


def test_restore_never_writes_over_a_store(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["backup", "--data", str(data), "--out", str(tmp_path / "kept.tar")]) == 0
    assert main(["restore", str(tmp_path / "kept.tar"), "--data", str(data)]) == 1
    assert "has a store already; nothing was changed" in capsys.readouterr().err


def test_plan_and_named_confirmations_stand_in_the_record_and_on_its_page(tmp_path: Path) -> None:
    recording, summary = tmp_path / "lift.jsonl", tmp_path / "summary.json"
    assert main(["simulate", "no-load-cell", "--site", SITE, "--out", str(recording), "--seed", "3"]) == 0
    assert main(["replay", str(recording), "--site", SITE, "--summary", str(summary)]) == 0
    said = [json.loads(line) for line in recording.read_text().splitlines()]
    plan, *told = (one["payload"] for one in said if one["topic"].endswith("/actions"))
    [record] = json.loads(summary.read_text())["lifts"]
    kept = [(act["kind"], act["who"], act["role"]) for act in record["actions"]]
    assert kept == [(act["kind"], act["who"], act["role"]) for act in told]
    assert [kind for kind, _, _ in kept] == ["picked_up", "landed_fixed"]
    assert record["plan"]["who"] == plan["who"]  # entered before the lift began
    assert record["plan"]["weight_kg"] == plan["params"]["weight_kg"]
    page = lift_html(record)
    for kind, who, _ in kept:
        assert re.search(rf"<td[^>]*>{say(Text(f'action.{kind}', {}))}</td><td[^>]*>{who}</td>", page)
