"""The build sheet for a terminal: the numbered wall, and what to cut from which reel."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Literal

from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.description.cutlist import CutList, cut_list, direction, length_mm
from emulator.description.display import Display
from emulator.description.fitting import remarks
from emulator.ports.lines import too_slow_words
from harness.result.words import counted

# Names of line colours in a terminal; colour alone never identifies a line.
_STYLES = ("dark_orange", "deep_sky_blue1", "green3", "yellow3", "dodger_blue2", "red3", "orchid")
_MARGIN = len("row 4095 ")


def line_label(display: Display, line: int) -> str:
    """'line 1', followed by the line's own name if it has one."""
    name = display.wiring.line_names[line]
    return f"line {line}" if name == f"line {line}" else f"line {line}, {name}"


def print_map(display: Display, console: Console) -> None:
    """Print the build sheet: the numbered grid from the front, the runs, the cut list.

    A grid too wide for the console is printed in blocks of columns.
    """
    wiring = display.wiring
    across, down = display.grid.pitches_mm
    console.print(Text(display.name, "bold"), Text(display.about))
    console.print(
        f"{wiring.columns} columns × {wiring.rows} rows, pitch {_mm(across)} mm"
        f" across and {_mm(down)} mm down; {display.leds_in_words}",
        highlight=False,
    )
    if display.chip.in_series > 1:
        console.print(f"Below, an LED is a group of {display.chip.in_series}: one chip drives it.")
    for number, leds in enumerate(wiring.line_lengths):
        hidden = wiring.hidden_on(number).tolist()
        dark = f", without a cell, to stay dark: {counted('LED', hidden)}" if hidden else ""
        console.print(Text(f"{line_label(display, number)}: {leds} LEDs{dark}", _style(number)))
    if slow := too_slow_words(display):
        console.print(Text(slow))
    console.print(
        Text("\nSeen from the front. An arrow marks a run's first LED and where its data goes.")
    )
    for text in _grid(display, console.width):
        console.print(text, no_wrap=True, overflow="crop")
    console.print(Text("\nRuns, in the order of the data; cells as (column, row)", "bold"))
    console.print(_runs_table(display))
    for line in _cut_lines(cut_list(display)):
        console.print(line, highlight=False)
    for remark in remarks(display.geometry):
        console.print(Text(f"\nDoes not go together: {remark}", "yellow"))


def _style(line: int) -> str:
    return _STYLES[line % len(_STYLES)]


def _mm(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _grid(display: Display, width: int) -> Iterator[Text]:
    """The numbered grid, one Text for each printed row, in blocks of columns.

    The line is beside each row or above each column if those belong to one line only, otherwise
    before each LED's number ('1:17').
    """
    wiring = display.wiring
    line_at = [
        [int(wiring.line[p]) if p >= 0 else -1 for p in row] for row in wiring.led_at.tolist()
    ]
    several = len(wiring.line_names) > 1
    rows_whole = _one_line_each(line_at) if several else None
    columns_whole = (
        _one_line_each([list(column) for column in zip(*line_at, strict=True)])
        if several and rows_whole is None
        else None
    )
    prefixed = several and rows_whole is None and columns_whole is None
    arrows = {(run.from_column, run.from_row): direction(run) for run in wiring.runs}

    def number(column: int, row: int) -> str:
        position = wiring.led_at[row, column]
        if position < 0:
            return "··"
        led = f"{wiring.led[position]}"
        return f"{line_at[row][column]}:{led}" if prefixed else led

    longest = max(max(wiring.line_lengths) - 1, wiring.columns - 1, 10)
    digits = len(str(longest)) + (len(str(len(wiring.line_names) - 1)) + 1 if prefixed else 0)
    margin = _MARGIN + (len(f"line {len(wiring.line_names) - 1} ") if rows_whole else 0)
    # One character before each number: for its arrow, and to separate numbers.
    most = max(1, (width - margin) // (digits + 1))
    blocks = -(-wiring.columns // most)
    per_block = -(-wiring.columns // blocks)
    for start in range(0, wiring.columns, per_block):
        columns = range(start, min(start + per_block, wiring.columns))
        if blocks > 1:
            yield Text(
                f"\ncolumns {columns[0]} to {columns[-1]} of 0 to {wiring.columns - 1}", "bold"
            )
        heads = "".join(f"{c:>{digits + 1}}" for c in columns)
        yield Text(f"{'column':<{margin}}{heads}", "dim")
        if columns_whole:
            owners = "".join(f"{_owner(columns_whole[c]):>{digits + 1}}" for c in columns)
            yield Text(f"{'line':<{margin}}{owners}", "dim")
        for row in range(wiring.rows):
            text = Text(f"row {row}".ljust(_MARGIN), "dim")
            if rows_whole:
                owner = rows_whole[row]
                text.append(
                    (f"line {owner}" if owner >= 0 else "").ljust(margin - _MARGIN),
                    _style(owner) if owner >= 0 else "",
                )
            for column in columns:
                arrow = arrows.get((column, row), " ")
                line = line_at[row][column]
                style = (
                    "dim" if line < 0 else f"bold {_style(line)}" if arrow != " " else _style(line)
                )
                text.append(arrow + number(column, row).rjust(digits), style)
            yield text


def _owner(line: int) -> str:
    return str(line) if line >= 0 else ""


def _one_line_each(strips: Sequence[Sequence[int]]) -> list[int] | None:
    """The single line of each row (or column), -1 if it has no LED; None if any has several."""
    owners = [set(strip) - {-1} for strip in strips]
    if any(len(owner) > 1 for owner in owners):
        return None
    return [next(iter(owner), -1) for owner in owners]


def _runs_table(display: Display) -> Table:
    table = Table(box=None, padding=(0, 1), header_style="dim")
    for name in ("run", "line", "LEDs", "count", "from", "", "to", "mm"):
        justify: Literal["left", "right"] = "left" if name in ("from", "", "to") else "right"
        table.add_column(name, justify=justify, no_wrap=True)
    for number, run in enumerate(display.wiring.runs):
        table.add_row(
            str(number),
            Text(str(run.line), _style(run.line)),
            f"{run.first}–{run.last}",
            str(run.leds),
            f"({run.from_column}, {run.from_row})",
            direction(run),
            f"({run.to_column}, {run.to_row})",
            _mm(length_mm(display, run)),
        )
    return table


def _cut_lines(cuts: CutList) -> Iterator[Text]:
    """The cut list as text: equal pieces together, then reel by reel."""
    yield Text("\nCut list", "bold")
    sizes = Counter((piece.leds, piece.length_mm) for piece in cuts.pieces)
    for (leds, mm), count in sorted(sizes.items(), reverse=True):
        yield Text(f"  {count} × {leds} LED{'s' if leds > 1 else ''}, {_mm(mm)} mm")
    joined = set(cuts.joined)
    alike: dict[tuple[int, ...], list[int]] = {}
    for run, pieces in groupby(cuts.pieces, key=lambda piece: piece.run):
        if run in joined:
            alike.setdefault(tuple(piece.leds for piece in pieces), []).append(run)
    for parts, runs in alike.items():
        yield Text(
            f"  {sum(parts)} LEDs are more than a reel holds: join run {_spans(runs)} from pieces"
            f" of {' + '.join(map(str, parts))}"
        )
    count = len(cuts.reels)
    sure = (
        "no fewer will do"
        if count == cuts.fewest
        else f"packed longest first; {cuts.fewest} might do"
    )
    left = sum(reel.left_over for reel in cuts.reels)
    yield Text(
        f"From reels of {cuts.reel_leds} LEDs: {count} reel{'s' if count != 1 else ''} ({sure}),"
        f" {left} LEDs left over in all",
        "bold",
    )
    for number, reel in enumerate(cuts.reels):
        equal = Counter(piece.leds for piece in reel.pieces)
        cut = " + ".join(f"{times} × {leds}" for leds, times in equal.items())
        yield Text(
            f"  reel {number}: {cut} LEDs (run {_spans([piece.run for piece in reel.pieces])}),"
            f" {reel.left_over} left over"
        )


def _spans(numbers: Sequence[int]) -> str:
    """'0–3, 7' for 0, 1, 2, 3, 7."""
    spans: list[tuple[int, int]] = []
    for number in sorted(numbers):
        if spans and number == spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], number)
        else:
            spans.append((number, number))
    return ", ".join(f"{a}" if a == b else f"{a}–{b}" for a, b in spans)
