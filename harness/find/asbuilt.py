"""The wall as built: a display file with its faults, and a map where software is enough."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from emulator.description.display import Display
from emulator.description.faults.built import EXTRA, as_built
from emulator.description.faults.fault import Fault
from emulator.description.mapfile import map_text
from emulator.description.rewrite import display_at
from emulator.description.tomltext import toml_value
from emulator.description.wiring import NO_CELL
from emulator.errors import UnsupportedError
from emulator.files import MARK, read_file
from harness.find.place import named_place

_MOST_BYTES = 32 << 20


def built_file(display: Display, faults: Sequence[Fault], target: Path) -> str:
    """The text of the display file with more `[[fault]]` tables.

    target: where it will be written. Raises UnsupportedError for a display that has no file, or
    whose file cannot take tables at its end; WriteError if it would not find its map from there.
    """
    if display.path is None:
        raise UnsupportedError(f"{display.name} has no display file", fix="write one first.")
    text = read_file(display.path, _MOST_BYTES).decode()
    parts = [text.rstrip("\n"), "", f"# {MARK}: faults that `foreglow find` found."]
    for fault in faults:
        parts += ["", "[[fault]]", f'kind = "{fault.name}"']
        parts += [f"{key} = {toml_value(value)}" for key, value in fault.given.items()]
    whole = "\n".join(parts) + "\n"
    written = display_at(whole, target, display.path)
    if written.faults[len(written.faults) - len(faults) :] != tuple(faults):
        raise UnsupportedError(
            f"{display.path} has its faults in a form that takes no more",
            fix="write each as a [[fault]] table.",
        )
    return whole


def why_not_rewired(display: Display, faults: Sequence[Fault]) -> str | None:
    """Why another map is not enough to make the wall right; None if it is."""
    for fault in faults:
        if fault.stage != "wiring":
            return f"{named_place(fault, display)}: only the soldering iron helps ({fault.name})"
    built = as_built(display, faults)
    held = np.concatenate(built.chains)
    empty = np.setdiff1d(display.wiring.placed, held)
    if empty.size:
        wiring = display.wiring
        first = f"column {wiring.column[empty[0]]}, row {wiring.row[empty[0]]}"
        more = f" and {empty.size - 1} more" if empty.size > 1 else ""
        return (
            f"the cell in {first}{more} has no LED: put one in, or declare a gap in [grid] and"
            " write the map again"
        )
    return None


def rewired_map(display: Display, faults: Sequence[Fault]) -> str:
    """The map as built, CSV for `[wiring] map`; an LED too many has no cell.

    Raises UnsupportedError if a map is not enough.
    """
    reason = why_not_rewired(display, faults)
    if reason is not None:
        raise UnsupportedError(f"a map is not enough: {reason}", fix="repair that first.")
    wiring = display.wiring
    tables = []
    for line, chain in enumerate(as_built(display, faults).chains):
        placed = (chain != EXTRA) & ~wiring.hidden[chain]
        cells = (np.where(placed, of[chain], NO_CELL) for of in (wiring.column, wiring.row))
        tables.append(np.stack([np.full(chain.size, line), np.arange(chain.size), *cells], axis=1))
    return map_text(np.concatenate(tables))
