"""The pads at the ends of strips: their names, colours and places."""

from __future__ import annotations

from collections.abc import Sequence

from emulator.description.board import Pad
from harness.report.sheet.page import Point

_INWARDS_MM = 1.5  # from the strip's end to the middle of its pads: own figure
_ROOM = 0.8  # of the strip's width that the pads take

PAD_COLOURS: dict[Pad, str] = {
    "+": "#c00000", "GND": "#111111", "DATA": "#00743f", "CLOCK": "#0050b0", "BACKUP": "#8a6d00",
}  # fmt: skip


def pad_names(pads: Sequence[Pad], *, end: bool) -> list[str]:
    """The pads as printed on strips: DIN at the start, DOUT at the end; CI and CO of a clock."""
    names = {"DATA": ("DIN", "DOUT"), "CLOCK": ("CI", "CO"), "BACKUP": ("BIN", "BOUT")}
    if "CLOCK" in pads:
        names["DATA"] = ("DI", "DO")
    return [names[p][end] if p in names else p for p in pads]


def pad_row(
    pads: Sequence[Pad], place: Point, heading: tuple[int, int], wide_mm: float, *, end: bool
) -> list[Point]:
    """Where pads are, in mm of the board: across a strip of `wide_mm` whose end is at `place`."""
    (x, y), (dx, dy) = place, heading
    inwards = -_INWARDS_MM if end else _INWARDS_MM
    x, y = x + inwards * dx, y + inwards * dy
    points = []
    for number in range(len(pads)):
        across = ((number + 0.5) / len(pads) - 0.5) * wide_mm * _ROOM
        # With the arrow to the right, the first pad is on top; that turns with the arrow.
        points.append((x - dy * across, y + dx * across))
    return points
