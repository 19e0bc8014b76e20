"""Traces judged again: the same verdicts from the same program, the same bytes however it is worked out."""

import errno
import json
import os
import re
import shutil
import signal
import sqlite3
import threading
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from monitor import judged_by, reanalysis
from monitor.cli.main import main
from monitor.cli.reanalyse import Teller
from monitor.reanalysis import Task
from monitor.unfinished import Unfinished
from tests.kept_lifts import SITE_FILE, keep_lifts

MARK = b'"marked":1,"was"'


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


def left_by(data: Path, out: Path, *more: str) -> None:
    """What a run leaves that is cut off after its first lift, marked so that it shows whether it was judged again."""

    def cut_off(_unfinished: Unfinished) -> int:
        raise OSError(errno.EIO, "cut off")

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(Unfinished, "finish", cut_off)
        assert main(["reanalyse", "--data", str(data), "--out", str(out), "--workers", "1", *more]) == 1
    part = out.with_name(out.name + ".part")
    named, first, *_ = part.read_bytes().splitlines(keepends=True)
    part.write_bytes(named + first.replace(b'"was"', MARK) + b'{"lift": "torn')


def test_run_that_was_cut_off_goes_on(data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    whole, cut = tmp_path / "whole.jsonl", tmp_path / "cut.jsonl"
    again(data, whole, "--workers", "1")
    left_by(data, cut)
    again(data, cut, "--workers", "1")
    assert "going on after 1 of 2 lifts" in capsys.readouterr().err
    assert cut.read_bytes().count(MARK) == 1
    assert cut.read_bytes().replace(MARK, b'"was"') == whole.read_bytes()


def quickly(task: Task) -> bytes:
    """Judges nothing: what is taken over of an earlier run is the same whatever the verdicts are."""
    return json.dumps({"lift": task.lift, "was": {}, "now": [task.site_text]}).encode() + b"\n"


@pytest.mark.parametrize(
    ("before", "otherwise"),
    [
        (["--site", "{folder}/other.toml"], "site file"),
        (["--lifter", "dock-6"], "choice of lifter"),
        ([], "program"),
        (["--data", "{folder}/moved"], "data folder"),
    ],
)
def test_what_was_judged_otherwise_is_judged_again(
    data: Path,
    tmp_path: Path,
    before: list[str],
    otherwise: str,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr(reanalysis, "rejudge", quickly)
    whole, cut = tmp_path / "whole.jsonl", tmp_path / "cut.jsonl"
    again(data, whole, "--workers", "1")
    (tmp_path / "other.toml").write_text(SITE_FILE.read_text().replace("wll_kg = 900", "wll_kg = 800"))
    shutil.copytree(data, tmp_path / "moved")
    with pytest.MonkeyPatch.context() as patched:
        if otherwise == "program":
            patched.setattr(judged_by, "core_sha256", lambda: "of another program")
        left_by(data, cut, *(one.format(folder=tmp_path) for one in before))
    again(data, cut, "--workers", "1")
    assert f"not known to be of the same {otherwise}: all lifts are judged again" in capsys.readouterr().err
    assert cut.read_bytes() == whole.read_bytes()
    assert not list(tmp_path.glob("*.part"))


def test_what_a_run_left_that_named_nothing_is_judged_again(
    data: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reanalysis, "rejudge", quickly)
    whole, cut = tmp_path / "whole.jsonl", tmp_path / "cut.jsonl"
    again(data, whole, "--workers", "1")
    (tmp_path / "cut.jsonl.part").write_bytes(whole.read_bytes().replace(b'"was"', MARK))
    again(data, cut, "--workers", "1")
    assert cut.read_bytes() == whole.read_bytes()


def test_progress_is_told_by_time() -> None:
    said: list[str] = []
    clock_s = iter([0.0, 4.0, 9.9, 10.0, 10.0, 12.0, 20.5, 20.5])
    teller = Teller(7, said.append, lambda: next(clock_s))
    for done_n in range(4):
        teller(done_n, None)
    teller(3, "lift-5: no site file")
    teller(4, None)
    assert said == ["2 of 7 lifts judged again", "lift-5: no site file", "4 of 7 lifts judged again, 1 could not be"]


def test_progress_is_told_while_a_long_lift_is_at_work(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    asked = threading.Event()

    def long_lift(task: Task) -> bytes:
        assert asked.wait(30.0), "nothing was told while this lift was judged"
        return json.dumps({"lift": task.lift}).encode() + b"\n"

    def progress(done_n: int, why: str | None) -> None:
        assert why is None
        if done_n == 0:
            asked.set()

    monkeypatch.setattr(reanalysis, "rejudge", long_lift)
    monkeypatch.setattr(reanalysis, "TOLD_WITHIN_S", 0.01)
    with Unfinished(tmp_path / "out.jsonl", {}) as unfinished:
        tasks = [Task("lift-1", "", "{}", "")]
        assert reanalysis.run(tasks, unfinished, lambda: ThreadPoolExecutor(1), 1, progress) == 1


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
    with Unfinished(tmp_path / "out.jsonl", {}) as unfinished:
        assert reanalysis.run(tasks, unfinished, begin, 1, lambda *_: None) == 3
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


def test_lift_whose_site_file_is_not_kept_is_named_and_counted(
    data: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reanalysis, "rejudge", quickly)
    copied, out = tmp_path / "data", tmp_path / "out.jsonl"
    shutil.copytree(data, copied)
    with sqlite3.connect(copied / "holdwatch.db") as database:  # one lift was judged by a file that is not there
        other = "json_set(record, '$.site_file_sha256', 'ef')"
        database.execute(f"update lifts set record = {other} where id like '%clean-lift'")  # noqa: S608 - our own
    database.close()
    asked = ["reanalyse", "--data", str(copied), "--out", str(out), "--workers", "1"]
    assert main(asked) == 1
    said = capsys.readouterr().err
    assert re.search(r"lift \S+-clean-lift: the site file that judged it is not kept; name one with --site", said)
    assert f"1 of 2 lifts judged again, written to {out}; 1 could not be" in said
    assert len(out.read_bytes().splitlines()) == 1
    assert main([*asked, "--site", str(SITE_FILE)]) == 0
    assert f"2 lifts judged again, written to {out}\n" in capsys.readouterr().err


def test_bad_input_is_said(tmp_path: Path) -> None:
    assert main(["reanalyse", "--data", str(tmp_path / "none"), "--out", str(tmp_path / "out")]) == 2
    assert main(["reanalyse", "--data", str(tmp_path), "--out", str(tmp_path / "out"), "--workers", "0"]) == 2
