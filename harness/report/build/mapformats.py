"""The wiring map as CSV, JSON and C99 text."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from emulator.arrays import Ints
from emulator.description.cutlist import cut_list, direction, length_mm
from emulator.description.display import Display
from emulator.description.mapfile import map_text
from emulator.description.wiring import NO_CELL
from emulator.files import MARK
from harness.report.build.buildsheet import line_label

_C_ROW = 12


def map_csv(display: Display) -> str:
    """One row for each LED in the order of the data, with the columns line, led, column, row.

    column and row are -1 for a hidden LED.
    `emulator.description.mapfile.read_map` reads it back.
    """
    wiring = display.wiring
    return map_text(np.stack([wiring.line, wiring.led, *_cells(display)], axis=1))


def map_json(display: Display) -> str:
    """The map both ways, the runs and the cut list, as one JSON object.

    lines[].leds[LED] is [column, row], null for a hidden LED; led_at[row][column] is [line, LED],
    null in a gap; a piece of the cut list says which LEDs of which run it holds.
    """
    wiring = display.wiring
    pairs = np.stack(_cells(display), axis=1).tolist()
    cells = [None if NO_CELL in cell else cell for cell in pairs]
    leds = [*np.stack([wiring.line, wiring.led], axis=1).tolist(), None]
    cuts = cut_list(display)
    content = {
        "about": f"Wiring map. {MARK}.",
        "display": display.name,
        "columns": wiring.columns,
        "rows": wiring.rows,
        "lines": [
            {"name": name, "leds": cells[start : start + length]}
            for name, start, length in zip(
                wiring.line_names, wiring.line_starts, wiring.line_lengths, strict=True
            )
        ],
        # Position -1, no LED, picks the None at the end.
        "led_at": [[leds[position] for position in row] for row in wiring.led_at.tolist()],
        "runs": [
            {
                "run": number,
                "line": run.line,
                "first": run.first,
                "last": run.last,
                "from": [run.from_column, run.from_row],
                "to": [run.to_column, run.to_row],
                "leds": run.leds,
                "length_mm": round(length_mm(display, run), 3),
                "direction": direction(run),
            }
            for number, run in enumerate(wiring.runs)
        ],
        "cut_list": {
            "reel_leds": cuts.reel_leds,
            "joined_runs": cuts.joined,
            "fewest_reels": cuts.fewest,
            "reels": [
                {
                    "pieces": [
                        {
                            "run": piece.run,
                            "first": piece.first,
                            "last": piece.last,
                            "leds": piece.leds,
                            "length_mm": round(piece.length_mm, 3),
                        }
                        for piece in reel.pieces
                    ],
                    "left_over": reel.left_over,
                }
                for reel in cuts.reels
            ],
        },
    }
    # One line of text for each key: easy to read and to compare.
    keys = (f"{json.dumps(k)}: {json.dumps(v)}" for k, v in content.items())
    return "{\n" + ",\n".join(keys) + "\n}\n"


def map_c(display: Display) -> str:
    """A C99 header with the map both ways; positions count through the lines one after another."""
    wiring = display.wiring
    name = _identifier(display.name)
    upper = name.upper()
    # The highest value of the type means 'no LED', so no position may use it.
    bits = 16 if max(wiring.columns * wiring.rows, len(wiring)) < 0xFFFF else 32
    none = "0xFFFF" if bits == 16 else "0xFFFFFFFF"
    type_ = f"static const uint{bits}_t"
    led_at, cell_of = (
        np.where(numbers < 0, (1 << bits) - 1, numbers).tolist()
        for numbers in (wiring.led_at, wiring.cell)
    )
    names = "".join(
        f" *   {_comment(line_label(display, number))}: {length} LEDs\n"
        for number, length in enumerate(wiring.line_lengths)
    )
    rows = ",\n".join("    {" + _values(row, "     ") + "}" for row in led_at)
    return f"""\
/* Wiring map of the display {_comment(display.name)}. {MARK}.
 *
{names} *
 * Columns run right and rows run down, both from 0, seen from the front. LEDs are numbered from
 * 0 through all lines, one line after another.
 *   {name}_led_at[row][column]  number of the LED in that cell, {upper}_NO_LED where there is none
 *   {name}_cell_of[LED]         its cell: row * {upper}_COLUMNS + column, {upper}_NO_CELL
 *                               where it has none and must stay dark
 *   {name}_line_start[line]     number of the line's first LED; the last entry is {upper}_LEDS
 */
#ifndef {upper}_MAP_H
#define {upper}_MAP_H

#include <stdint.h>

#define {upper}_COLUMNS {wiring.columns}
#define {upper}_ROWS {wiring.rows}
#define {upper}_LEDS {len(wiring)}
#define {upper}_LINES {len(wiring.line_names)}
#define {upper}_NO_LED {none}
#define {upper}_NO_CELL {none}

{type_} {name}_led_at[{upper}_ROWS][{upper}_COLUMNS] = {{
{rows}
}};

{type_} {name}_cell_of[{upper}_LEDS] = {{
    {_values(cell_of, "    ")}
}};

{type_} {name}_line_start[{upper}_LINES + 1] = {{
    {_values([*wiring.line_starts, len(wiring)], "    ")}
}};

#endif
"""


def _cells(display: Display) -> tuple[Ints, Ints]:
    """(N,) each: column and row of the cell of each LED, NO_CELL for a hidden one."""
    wiring = display.wiring
    return (
        np.where(wiring.hidden, NO_CELL, wiring.column),
        np.where(wiring.hidden, NO_CELL, wiring.row),
    )


def _values(numbers: Sequence[int], indent: str) -> str:
    return f",\n{indent}".join(", ".join(map(str, row)) for row in _chunks(numbers))


def _chunks(numbers: Sequence[int]) -> Iterator[Iterable[int]]:
    return (numbers[i : i + _C_ROW] for i in range(0, len(numbers), _C_ROW))


def _identifier(name: str) -> str:
    """A C identifier of ASCII letters and digits; starts with 'display_' if it needs a letter."""
    cleaned = re.sub(r"[^a-z0-9]+", "_", name.lower()).strip("_")
    return cleaned if re.match("[a-z]", cleaned) else f"display_{cleaned}".rstrip("_")


def _comment(name: str) -> str:
    """A name that is safe in a C comment: it cannot end it, start one, or form a trigraph."""
    return re.sub(r"[^A-Za-z0-9 _.,:()+-]", "_", name)
