"""Prints every benchmark as a ratio to its anchor: `python -m tests.benchmarks`.

Ratios are measured side by side in one run, since machines differ and are noisy. Nothing here
fails: look into a row below its mark. `--large` runs commands on walls of up to a million LEDs
instead, which takes half an hour; `--large "check wall"` those that begin so.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from itertools import chain

from rich import box
from rich.console import Console
from rich.table import Table

from tests.benchmarks import (
    bench_e131,
    bench_frames,
    bench_light,
    bench_picture,
    bench_power,
    bench_recording,
    bench_signal,
    bench_soak,
    bench_spi,
    bench_window,
    large,
)
from tests.benchmarks.row import Row

BENCHES = (
    bench_picture,
    bench_frames,
    bench_signal,
    bench_spi,
    bench_power,
    bench_light,
    bench_window,
    bench_soak,
)
LARGE = {  # walls of 100,000 LEDs, too
    "E1.31": bench_e131.rows,
    "recording": bench_recording.rows,
    "window": bench_window.large_rows,
}


def main() -> None:
    """Run the benchmarks and print their table; with --large, each row when it is done."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks")
    parser.add_argument("--large", nargs="?", const="", metavar="COMMAND")
    asked = parser.parse_args().large
    console = Console(width=120)
    if asked is None:
        console.print(_table(row for bench in BENCHES for row in bench.rows()))
        return
    some = [rows() for name, rows in LARGE.items() if name.startswith(asked)]
    for row in chain(*some, large.rows(asked)):
        console.print(" | ".join(row), highlight=False, soft_wrap=True)


def _table(rows: Iterable[Row]) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for heading in ("work", "measured", "wanted", "anchor"):
        table.add_column(heading)
    for row in rows:
        table.add_row(*row)
    return table


if __name__ == "__main__":
    main()
