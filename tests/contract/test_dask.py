"""The same bytes from a real Dask cluster as from this machine, and a killed worker costs nothing but time."""

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from monitor.cli.main import main
from tests.brokers import ROOT
from tests.kept_lifts import keep_lifts

pytestmark = pytest.mark.system


def test_cluster_gives_the_same_bytes_though_a_worker_is_killed(tmp_path: Path) -> None:
    data = keep_lifts(tmp_path, {"clean-lift": 7})
    assert main(["reanalyse", "--data", str(data), "--out", str(tmp_path / "here.jsonl"), "--workers", "1"]) == 0
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    command = [sys.executable, str(Path(__file__).with_name("dask_cluster.py"))]
    with subprocess.Popen(command, stdin=-1, stdout=-1, stderr=-3, text=True, env=environment) as cluster:
        assert cluster.stdout is not None
        address, worker_pid = cluster.stdout.readline().split()
        os.kill(int(worker_pid), signal.SIGKILL)
        again = [sys.executable, "-m", "monitor", "reanalyse", "--data", str(data), "--cluster", address]
        again += ["--out", str(tmp_path / "there.jsonl")]
        done = subprocess.run(
            again, cwd=ROOT, env=environment, capture_output=True, text=True, timeout=240, check=False
        )
        cluster.communicate("", timeout=60)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "there.jsonl").read_bytes() == (tmp_path / "here.jsonl").read_bytes()
