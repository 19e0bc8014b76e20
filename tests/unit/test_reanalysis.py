"""Traces judged again: the same verdicts from the same program, the same bytes however it is worked out."""

import json
import os
import signal
from concurrent.futures import Executor, ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from monitor import reanalysis
from monitor.cli.main import main
from monitor.reanalysis import Task
from tests.kept_lifts import keep_lifts


@pytest.fixture(scope="module")
def data(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return keep_lifts(tmp_path_factory.mktemp("kept"), {"clean-lift": 7, "one-circuit-lost": 5})


def again(data: Path, out: Path, *more: str) -> list[dict]:
    assert main(["reanalyse", "--data", str(data), "--out", str(out), *more]) == 0
    return [json.loads(line) for line in out.read_bytes().splitlines()]


def test_same_program_calls_the_same_in_flight(data: Path, tmp_path: Path) -> None:
    told = again(data, tmp_path / "again.jsonl", "--workers", "1")
    assert len(told) == 2
    for one in told:
        [now] = one["now"]
        assert now["worst_call"] == one["was"]["worst_call"]
        assert now["margin"]["governs"] == one["was"]["margin"]["governs"]
        assert now["margin"]["lowest_kg"] == pytest.approx(one["was"]["margin"]["lowest_kg"], abs=1.0)


def test_same_bytes_from_one_worker_and_from_two(data: Path, tmp_path: Path) -> None:
    again(data, tmp_path / "one.jsonl", "--workers", "1")
    again(data, tmp_path / "two.jsonl", "--workers", "2")
    assert (tmp_path / "one.jsonl").read_bytes() == (tmp_path / "two.jsonl").read_bytes()
    assert not list(tmp_path.glob("*.part"))


def test_run_that_was_cut_off_goes_on(data: Path, tmp_path: Path) -> None:
    whole = tmp_path / "whole.jsonl"
    again(data, whole, "--workers", "1")
    first, *_ = whole.read_bytes().splitlines(keepends=True)
    cut = tmp_path / "cut.jsonl"
    marked = first.replace(b'"was"', b'"kept":1,"was"')  # shows that it was not judged again
    (tmp_path / "cut.jsonl.part").write_bytes(marked + b'{"lift": "torn')
    again(data, cut, "--workers", "1")
    assert marked in cut.read_bytes()
    assert len(cut.read_bytes().splitlines()) == len(whole.read_bytes().splitlines())


def die_once(task: Task) -> bytes:
    """Kills its own process the first time."""
    mark = Path(task.trace)
    if not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return json.dumps({"lift": task.lift}).encode() + b"\n"


def test_killed_worker_costs_nothing_but_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reanalysis, "rejudge", die_once)
    begun = 0

    def begin() -> Executor:
        nonlocal begun
        begun += 1
        return ProcessPoolExecutor(1, mp_context=get_context("fork"))

    tasks = [Task(f"lift-{n}", str(tmp_path / "mark"), "{}", "") for n in range(3)]
    assert reanalysis.run(tasks, tmp_path / "out.jsonl", begin, 1, lambda *_: None) == 3
    assert begun == 2


def test_lift_that_cannot_be_judged_is_named_and_the_others_go_on(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    damaged = sorted((data / "traces").iterdir())[0]
    kept = damaged.read_bytes()
    damaged.write_bytes(b"no trace")
    try:
        assert main(["reanalyse", "--data", str(data), "--out", str(tmp_path / "out.jsonl"), "--workers", "1"]) == 1
    finally:
        damaged.write_bytes(kept)
    assert len((tmp_path / "out.jsonl").read_bytes().splitlines()) == 1
    assert "1 could not be" in capsys.readouterr().err


def test_bad_input_is_said(tmp_path: Path) -> None:
    assert main(["reanalyse", "--data", str(tmp_path / "none"), "--out", str(tmp_path / "out")]) == 2
    assert main(["reanalyse", "--data", str(tmp_path), "--out", str(tmp_path / "out"), "--workers", "0"]) == 2
