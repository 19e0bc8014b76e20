"""A real Dask cluster of two processes: prints its address and one worker's process, ends with its standard input."""

import sys

from distributed import LocalCluster


def main() -> None:
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        worker = next(iter(cluster.workers.values()))
        print(cluster.scheduler_address, worker.process.pid, flush=True)
        sys.stdin.read()


if __name__ == "__main__":
    main()
