"""The same bytes from a real Dask cluster as from this machine, and a killed worker costs nothing but time."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest

from monitor.cli.main import main
from tests.benchmarks.reanalyse import multiply
from tests.brokers import ROOT, wait_for
from tests.kept_lifts import keep_lifts

pytestmark = pytest.mark.system

LIFTS_N: Final = 8


def test_cluster_gives_the_same_bytes_though_a_worker_is_killed_in_the_middle(tmp_path: Path) -> None:
    data = keep_lifts(tmp_path, {"clean-lift": 7})
    multiply(data, LIFTS_N)
    assert main(["reanalyse", "--data", str(data), "--out", str(tmp_path / "here.jsonl"), "--workers", "1"]) == 0
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, str(Path(__file__).with_name("dask_cluster.py"))]
    part = tmp_path / "there.jsonl.part"

    def judged_n() -> int:
        """Lifts on the disk so far; the first line of the file says what does the work."""
        return part.read_bytes().count(b"\n") - 1 if part.exists() else 0

    with subprocess.Popen(command, stdin=-1, stdout=-1, stderr=-3, text=True, env=environment) as cluster:
        assert cluster.stdout is not None
        address, worker_pid = cluster.stdout.readline().split()
        again = [sys.executable, "-m", "monitor", "reanalyse", "--data", str(data), "--cluster", address]
        again += ["--out", str(tmp_path / "there.jsonl")]
        with subprocess.Popen(again, cwd=ROOT, env=environment, stdout=-1, stderr=-1, text=True) as judging:
            wait_for(lambda: judged_n() >= 1 or judging.poll() is not None, 120.0, "the first lift judged again")
            done_n = judged_n()
            os.kill(int(worker_pid), signal.SIGKILL)
            _, said = judging.communicate(timeout=240)
        cluster.communicate("", timeout=60)
    assert judging.returncode == 0, said
    assert 1 <= done_n < LIFTS_N, "the worker was killed before or after the work, not in it"
    assert (tmp_path / "there.jsonl").read_bytes() == (tmp_path / "here.jsonl").read_bytes()
    assert len((tmp_path / "here.jsonl").read_bytes().splitlines()) == LIFTS_N
