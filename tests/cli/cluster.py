"""A program of its own: a scheduler and two workers on this machine, until its input ends."""

import sys

if __name__ == "__main__":
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=2,
        threads_per_worker=1,
        processes=False,
        protocol="tcp://",
        dashboard_address=None,
    ) as cluster:
        sys.stdout.write(f"{cluster.scheduler_address}\n")
        sys.stdout.flush()
        sys.stdin.read()
