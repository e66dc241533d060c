"""Prints every benchmark as a ratio to its anchor: `python -m tests.benchmarks`.

Ratios are measured side by side in one run, since machines differ and are noisy. Nothing here
fails: look into a row below its mark.
"""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table

from tests.benchmarks import (
    bench_frames,
    bench_light,
    bench_picture,
    bench_power,
    bench_signal,
    bench_soak,
    bench_spi,
    bench_window,
)


def main() -> None:
    """Run all benchmarks and print their table."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("work", "measured", "wanted", "anchor"):
        table.add_column(heading)
    for bench in (
        bench_picture,
        bench_frames,
        bench_signal,
        bench_spi,
        bench_power,
        bench_light,
        bench_window,
        bench_soak,
    ):
        for row in bench.rows():
            table.add_row(*row)
    Console(width=120).print(table)


if __name__ == "__main__":
    main()
