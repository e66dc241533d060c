"""What campaigns of the demos and of a wall of 24 × 24 reach, and what they take.

    python -m tests.harness.campaign.marks [NAME…] [--cluster] [--workers N]

With --cluster on a local Dask cluster. Seconds are those of this machine and all else it did.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import resource
from collections.abc import Iterator

from emulator import load_display
from harness.campaign.campaign import Campaign, run_campaign
from harness.campaign.running import Where
from tests.harness.campaign.test_campaign import wall

WALLS = ("foyer", "banner", "sign", "24 × 24")


def reached(done: Campaign) -> tuple[float, float, float]:
    """Shares of single faults that change something: detected, named; and of pairs: detected."""
    changes, eye, pairs = done.changes, done.eye, done.pairs
    both = pairs.eye.makes != 0
    return (
        (eye.detected & changes).sum() / changes.sum(),
        (eye.named & changes).sum() / changes.sum(),
        (pairs.eye.detected & both).sum() / max(both.sum(), 1),
    )


@contextlib.contextmanager
def _where(cluster: bool, workers: int) -> Iterator[Where]:
    if not cluster:
        yield Where(workers)
        return
    from distributed import LocalCluster

    with LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    ) as local:
        yield Where(cluster=local.scheduler_address)


def _megabytes(who: int) -> int:
    return resource.getrusage(who).ru_maxrss // 1024


def main() -> None:
    """Print a row for each wall."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("names", nargs="*", default=WALLS)
    parser.add_argument("--cluster", action="store_true")
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 1)
    asked = parser.parse_args()
    print("| display | faults | with an effect | detected | named | pairs | s | work s"
          " | overhead s | MB: here, a worker |")  # fmt: skip
    for name in asked.names:
        display = wall(rows=24, columns=24) if name == "24 × 24" else load_display(name)
        with _where(asked.cluster, asked.workers) as where:
            done = run_campaign(display, pairs=300, where=where)
        shares = " | ".join(f"{share:.1%}" for share in reached(done))
        took = done.took
        memory = f"{_megabytes(resource.RUSAGE_SELF)}, {_megabytes(resource.RUSAGE_CHILDREN)}"
        print(f"| {name} | {len(done.faults):,} | {done.changes.sum():,} | {shares}"
              f" | {took.whole_s:.1f} | {took.parts_s:.1f} | {took.overhead_s:.1f} | {memory} |",
              flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
