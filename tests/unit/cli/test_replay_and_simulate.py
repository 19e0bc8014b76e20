import json
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.brokers import ROOT

SITE = str(ROOT / "configs" / "demo.toml")


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    whole = tmp_path_factory.mktemp("recording") / "whole.jsonl"
    assert main(["simulate", "clean-lift", "--site", SITE, "--out", str(whole), "--seed", "7"]) == 0
    short = whole.with_name("short.jsonl")
    short.write_bytes(b"".join(whole.read_bytes().splitlines(keepends=True)[:150]))
    return short


def test_same_seed_writes_the_same_bytes(recording: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.jsonl"
    assert main(["simulate", "clean-lift", "--site", SITE, "--out", str(again), "--seed", "7"]) == 0
    assert again.read_bytes().startswith(recording.read_bytes())
    assert main(["simulate", "clean-lift", "--site", SITE, "--out", str(again), "--seed", "8"]) == 0
    assert not again.read_bytes().startswith(recording.read_bytes())


def test_replay_writes_one_status_a_reading_and_says_its_rate(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    outs = ["--status", str(tmp_path / "status.jsonl"), "--summary", str(tmp_path / "summary.json")]
    assert main(["replay", str(recording), "--site", SITE, *outs]) == 0
    said = capsys.readouterr()
    assert said.out == ""
    assert " a second)" in said.err
    readings = [line for line in recording.read_bytes().splitlines() if b"/readings" in line]
    statuses = [json.loads(line) for line in (tmp_path / "status.jsonl").read_bytes().splitlines()]
    answered = [status["reading_time"] for status in statuses]
    assert set(answered) >= {json.loads(line)["payload"]["time"] for line in readings}
    assert json.loads((tmp_path / "summary.json").read_bytes())["readings_n"] == len(readings)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["status.jsonl", "summary.json"]


@pytest.mark.parametrize("missing", ["recording", "site"])
def test_replay_of_a_missing_file_is_bad_input(
    missing: str, recording: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    given = {"recording": str(recording), "site": SITE} | {missing: "nowhere"}
    assert main(["replay", given["recording"], "--site", given["site"]]) == 2
    assert "nowhere" in capsys.readouterr().err


def test_output_that_cannot_be_written_fails_and_leaves_nothing(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "none" / "status.jsonl"
    assert main(["replay", str(recording), "--site", SITE, "--status", str(out)]) == 1
    assert "none/status.jsonl" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_replay_stopped_half_way_leaves_no_file_that_looks_whole(
    recording: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt  # as Ctrl-C does; a shell may start its background jobs with the signal ignored

    monkeypatch.setattr("monitor.replay.replay", interrupted)
    assert main(["replay", str(recording), "--site", SITE, "--status", str(tmp_path / "status.jsonl")]) == 1
    assert "stopped before the end" in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_lines_of_no_use_are_counted_and_told(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spoilt = tmp_path / "spoilt.jsonl"
    spoilt.write_bytes(b"no json\n" + recording.read_bytes() + b'{"topic": "other/place", "payload": {}}\n')
    assert main(["replay", str(spoilt), "--site", SITE]) == 0
    said = capsys.readouterr().err
    assert "1 lines or messages could not be read" in said
    assert "line 1: not_json" in said
    assert "1 lines were of another site or topic" in said
