"""The words for a map made for a grid of another size, and for what looks the same."""

from __future__ import annotations

from collections.abc import Sequence

from harness.explain.grids import OtherGrid, grids_like
from harness.explain.operations import Operation
from harness.explain.wall import Wall


def like_made_for(operation: Operation, wall: Wall, does: str = "does that") -> str:
    """What to add if a map made for another grid looks the same as this operation; else ''."""
    shown = operation.apply(wall.wiring.cell, wall)
    grids = grids_like(wall, shown) or grids_like(wall, shown, "asked, one chain")
    if not grids:
        return ""
    noun, size, own = size_words(grids, wall)
    return f"; a map made for {noun} of {size} {does}, this wall has {own}"


def size_words(grids: Sequence[OtherGrid], wall: Wall) -> tuple[str, str, int]:
    """'rows' or 'columns', in which the grids differ; their number ('13 or 14'); the wall's."""
    across = grids[0].columns != wall.columns
    sizes = [str(grid.columns if across else grid.rows) for grid in grids]
    text = " or ".join(sizes) if len(sizes) < 4 else f"{sizes[0]} (or {len(sizes) - 1} others)"
    return ("rows", text, wall.columns) if across else ("columns", text, wall.rows)
