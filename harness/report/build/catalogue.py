"""The chip catalogue as a table."""

from __future__ import annotations

from collections.abc import Sequence

from rich import box
from rich.console import Console
from rich.table import Table

from emulator.description.chips import OneWire, Span, all_chips


def print_chips(console: Console, sources: bool = False) -> None:
    """Print every part with its order and figures; with `sources`, the source of each figure."""
    table = _table("part", "order", "0 high", "0 low", "1 high", "1 low", "rest", "volts")
    for chip in all_chips():
        if isinstance(chip.wire, OneWire):
            wire = chip.wire
            times = [_span(s) for s in (wire.t0h, wire.t0l, wire.t1h, wire.t1l)]
            rest = f"{wire.reset_ns / 1000:g} µs"
        else:
            times = [f"≤ {chip.wire.most_hz / 1e6:g} MHz", "", "", ""]
            rest = f"{chip.wire.rest_ns / 1000:g} µs" if chip.wire.rest_ns else "–"
        table.add_row(chip.part, chip.order, *times, rest, f"{chip.volts:g}")
    console.print("High and low times in ns, least–most, or the fastest clock.")
    console.print(
        "'rest' is the low time that latches a frame; – if an end frame or zero bytes do that."
    )
    console.print(table)
    _print_figures(console)
    if sources:
        _print_sources(console)
    else:
        console.print("Where each figure is from: foreglow chips --sources")


def _print_sources(console: Console) -> None:
    console.print("Sources:")
    for chip in all_chips():
        # One line for each source, with the figures that come from it.
        by_source: dict[str, list[str]] = {}
        for figure, source in chip.sources.items():
            by_source.setdefault(source, []).append(figure)
        for source, figures in by_source.items():
            console.print(f"  {chip.part}: {', '.join(figures)}: {source}", highlight=False)


def _print_figures(console: Console) -> None:
    """Current and light of every part, one column for each key of [chip]."""
    current = _table("part", "channel_ma", "dark_ma", "forward_v", "dropout_v", "emitter_mm")
    light = _table("part", "wavelength_nm", "width_nm", "intensity_mcd", "half_angle_deg")
    white = _table("part", "white_mcd", "white_k")
    for chip in all_chips():
        current.add_row(
            chip.part, f"{chip.channel_ma:g}", f"{chip.dark_ma:g}", _row(chip.channel_forward_v),
            f"{chip.dropout_v:g}", f"{chip.emitter_mm:g}",
        )  # fmt: skip
        light.add_row(
            chip.part, _row(chip.wavelength_nm), _row(chip.width_nm), _row(chip.intensity_mcd),
            f"{chip.half_angle_deg:g}",
        )  # fmt: skip
        if "W" in chip.order:
            white.add_row(chip.part, f"{chip.white_mcd:g}", f"{chip.white_k:g}")
    console.print(
        "Current and light. To use your own figure, write the name of its column as a key of"
        " [chip]. Several figures are those of red, green, blue (and white).",
    )
    for table in (current, light, white):
        console.print(table)


def _table(*headings: str) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in headings:
        table.add_column(heading, no_wrap=True)
    return table


def _row(values: Sequence[float]) -> str:
    return " ".join(f"{value:g}" for value in values)


def _span(span: Span) -> str:
    most = f"{span.most / 1000:g}k" if span.most >= 10_000 else str(span.most)
    return f"{span.least}–{most}"
