"""Invented histories: shaped as real records, the same for the same seed, and true to their own truth."""

import json
from itertools import islice
from pathlib import Path

import numpy as np
import pytest

from monitor.cli.main import main
from monitor.store.records import open_reader
from tests.brokers import ROOT
from tests.trend_histories import UNTIL_UTC_S, history

SITE = str(ROOT / "configs" / "demo.toml")


def test_record_has_the_shape_of_a_real_one(tmp_path: Path) -> None:
    recording, summary = tmp_path / "lift.jsonl", tmp_path / "summary.json"
    assert main(["simulate", "clean-lift", "--site", SITE, "--out", str(recording), "--seed", "7"]) == 0
    assert main(["replay", str(recording), "--site", SITE, "--summary", str(summary)]) == 0
    [real] = json.loads(summary.read_text())["lifts"]
    invented = next(history(1, 5, 0.1).records())

    def shape(value: object) -> object:
        return {key: shape(inner) for key, inner in value.items()} if isinstance(value, dict) else None

    for record in (real, invented):
        for name in ("calls_s", "counts"):
            record.pop(name)
        for circuit in record["circuits"].values():
            circuit.pop("states_s")
    real.pop("site_file_sha256")  # put in by whoever writes it down
    assert shape(invented) == shape(real)


def test_same_seed_gives_the_same_history() -> None:
    assert list(history(3, 50, 0.2).records()) == list(history(3, 50, 0.2).records())
    assert list(history(3, 50, 0.2).records()) != list(history(4, 50, 0.2).records())


def test_lifts_lie_in_working_hours_before_the_end_and_never_overlap() -> None:
    opened = np.array([record["opened"] for record in history(3, 2000, 1.0).records()])
    assert opened[-1] < UNTIL_UTC_S
    assert (np.diff(opened) >= 500).all()
    assert (opened % 86_400 >= 7 * 3600).all()


def test_leaks_follow_their_truth() -> None:
    made = history(11, 3000, 2.0)
    for truth in made.circuits:
        opened = made.lifts["opened_utc_s"]
        true = np.array([truth.stretch_at(at).leak_at(at) for at in opened])
        ratio = made.lifts[truth.id]["steady_leak_kpa_per_min"] / true
        assert 0.8 < np.nanmedian(ratio) < 1.25


def test_more_lifts_than_days_have_room_for_is_said() -> None:
    with pytest.raises(ValueError, match="there is room for 1 to"):
        history(1, 100_000, 0.5)


def test_command_writes_lifts_notes_and_truth_that_trends_can_read(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    data = tmp_path / "data"
    assert main(["simulate", "history", "--data", str(data), "--lifts", "600", "--years", "1.5", "--seed", "2"]) == 0
    truth = json.loads((data / "history-truth.json").read_text())
    assert set(truth["circuits"]) == {"A", "B"}
    reader = open_reader(data)
    assert reader.verify() is None
    assert len(reader.records_after("dock-6")) == 600
    assert [act["utc_s"] for act in reader.actions(kinds=["service_note"])] == [
        one["utc_s"] for one in truth["services"]
    ]
    reader.close()
    capsys.readouterr()
    assert main(["trends", "--data", str(data), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    [lifter] = told["lifters"]
    assert lifter["lifts_n"] == 600
    assert set(lifter["circuits"]) == {"A", "B"}
    assert main(["trends", "--data", str(data)]) == 0
    assert "competent person decide" in capsys.readouterr().out
    assert main(["trends", "--data", str(data), "--csv"]) == 0
    rows = capsys.readouterr().out.splitlines()
    assert rows[0].startswith("lifter,circuit,figure,unit")
    assert len(rows) == 1 + 2 * 7 + 1


def test_history_is_never_written_over_anything(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "something").write_text("")
    assert main(["history", "--data", str(tmp_path)]) == 2
    assert "not empty" in capsys.readouterr().err
    assert main(["simulate", "history"]) == 2
    assert "--data" in capsys.readouterr().err


def test_trends_of_a_folder_without_lifts_says_so(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["trends", "--data", str(tmp_path / "none")]) == 2
    assert main(["trends", "--data", str(tmp_path)]) == 1
    assert "no engine has worked here yet" in capsys.readouterr().err


def test_truth_goes_on_along_its_stretch() -> None:
    made = history(2, 600, 1.0)
    for truth in made.circuits:
        for stretch in islice(truth.stretches, 3):
            at = stretch.reaches_utc_s(0.5)
            assert at is None or stretch.leak_at(at) == pytest.approx(0.5)
