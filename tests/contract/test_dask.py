"""The same bytes from a real Dask cluster as from this machine, and a killed worker costs nothing but time."""

from pathlib import Path

from distributed import LocalCluster

from monitor.cli.main import main
from tests.kept_lifts import keep_lifts


def test_cluster_gives_the_same_bytes_though_a_worker_is_killed(tmp_path: Path) -> None:
    data = keep_lifts(tmp_path, {"clean-lift": 7, "leak-in-flight": 3})
    assert main(["reanalyse", "--data", str(data), "--out", str(tmp_path / "here.jsonl"), "--workers", "1"]) == 0
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        next(iter(cluster.workers.values())).process.kill()
        command = ["reanalyse", "--data", str(data), "--out", str(tmp_path / "there.jsonl")]
        assert main([*command, "--cluster", cluster.scheduler_address]) == 0
    assert (tmp_path / "there.jsonl").read_bytes() == (tmp_path / "here.jsonl").read_bytes()
