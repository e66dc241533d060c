"""The chip catalogue as a table."""

from __future__ import annotations

from rich import box
from rich.console import Console
from rich.table import Table

from emulator.description.chips import CHIPS, OneWire, Span


def print_chips(console: Console) -> None:
    """Print every part with its order, timing and the source of its figures."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in ("part", "order", "0 high", "0 low", "1 high", "1 low", "rest", "V"):
        table.add_column(heading, no_wrap=True)
    for chip in CHIPS.values():
        if isinstance(chip.wire, OneWire):
            wire = chip.wire
            times = [_span(s) for s in (wire.t0h, wire.t0l, wire.t1h, wire.t1l)]
            rest = f"{wire.reset_ns / 1000:g} µs"
        else:
            times = [f"≤ {chip.wire.most_hz / 1e6:g} MHz", "", "", ""]
            rest = f"{chip.wire.rest_ns / 1000:g} µs" if chip.wire.rest_ns else "–"
        table.add_row(chip.part, chip.order, *times, rest, f"{chip.volts:g}")
    console.print("High and low times in ns, least–most, or the fastest clock.")
    console.print("'rest' is the low line that latches a frame, – where an end frame does.")
    console.print(table)
    console.print("Sources:")
    for chip in CHIPS.values():
        # One line for each source, with the figures that come from it.
        by_source: dict[str, list[str]] = {}
        for figure, source in chip.sources.items():
            by_source.setdefault(source, []).append(figure)
        for source, figures in by_source.items():
            console.print(f"  {chip.part}: {', '.join(figures)}: {source}", highlight=False)


def _span(span: Span) -> str:
    most = f"{span.most / 1000:g}k" if span.most >= 10_000 else str(span.most)
    return f"{span.least}–{most}"
