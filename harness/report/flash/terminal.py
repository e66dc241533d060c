"""The report of `foreglow flash`: both kinds of flash, the worst second and place, the caution."""

from __future__ import annotations

from typing import Any

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from harness.flash.judge import CAUTION, MOST_AREA_SR, MOST_FLASHES, Judgement
from harness.flash.words import described


def flash_json(name: str, display: Display, judged: Judgement) -> dict[str, Any]:
    """The judgement as plain data, without the trace; lengths in m, times in s, areas in sr."""
    kinds: dict[str, Any] = {
        kind.kind: {
            "below": kind.below,
            "most_in_a_second": kind.most,
            "in_step_in_a_second": kind.in_step,
            "area_sr": round(kind.area_sr, 6),
            "area_share": round(kind.area_share, 4),
            "from_s": kind.from_ns / 1e9,
            "to_s": kind.to_ns / 1e9,
            "led": kind.led,
            "column": kind.column,
            "row": kind.row,
        }
        for kind in (judged.general, judged.red)
    }
    return {
        "display": display.name,
        "shown": name,
        "below": judged.below,
        "distance_m": judged.distance_m,
        "fine_pattern": judged.fine,
        "most_area_sr": MOST_AREA_SR,
        **kinds,
        "caution": CAUTION,
    }


def print_flash(name: str, display: Display, judged: Judgement, console: Console) -> None:
    """Print the judgement, its worst second, and that it is not a medical clearance."""
    last_s = judged.times_ns[-1] / 1e9
    console.print(
        Text.assemble(
            (display.name, "bold"),
            f", {name}: {len(judged.times_ns)} frames up to"
            f" {last_s:.1f} s, seen from {judged.distance_m:g} m",
        ),
        highlight=False,
    )
    console.print(flash_table(judged))
    worst = judged.worst
    console.print(f"Worst: {described(worst)}.", highlight=False)
    if judged.fine:
        console.print("Cells look smaller than 0.1°: fine, balanced patterns do not count.")
    style = "green" if judged.below else "bold red"
    console.print(Text(flash_sentence(judged), style))
    console.print(Text(CAUTION, "yellow"))


def flash_sentence(judged: Judgement) -> str:
    """The judgement in a sentence."""
    allowed = f"{MOST_FLASHES} flashes a second, or {MOST_AREA_SR:g} sr of a 10° field"
    return f"{'Below' if judged.below else 'Above'} the thresholds ({allowed})."


def flash_table(judged: Judgement) -> Table:
    """Both kinds of flash with their figures."""
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False)
    for title in ("flashes", "of one LED", "of a field", "area over 3 /s", "of 10°", "verdict"):
        table.add_column(title, justify="left" if title in ("flashes", "verdict") else "right")
    for kind in (judged.general, judged.red):
        verdict = Text("below", "green") if kind.below else Text("above", "bold red")
        table.add_row(
            kind.kind,
            f"{kind.most} /s",
            f"{kind.in_step} /s",
            f"{kind.area_sr:.4f} sr",
            f"{kind.area_share:.0%}",
            verdict,
        )
    return table
