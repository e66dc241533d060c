"""The build sheet: what to cut from which reel, and the numbered wall, for a terminal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, NamedTuple

from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.description.display import Display
from emulator.description.wiring import Run
from emulator.errors import OutOfRangeError

# Terminal names for line colours; a line is never told by its colour alone.
_STYLES = ("dark_orange", "deep_sky_blue1", "green3", "yellow3", "dodger_blue2", "red3", "orchid")
_MARGIN = len("row 4095 ")


class Piece(NamedTuple):
    """One uncut piece of strip: LEDs `first` … `last` of its line, the whole run or a part."""

    run: int
    first: int
    last: int
    length_mm: float

    @property
    def leds(self) -> int:
        return self.last - self.first + 1


@dataclass(frozen=True)
class Reel:
    """The pieces cut from one reel, in cutting order, and the LEDs left on it."""

    pieces: tuple[Piece, ...]
    left_over: int


@dataclass(frozen=True)
class CutList:
    """Pieces in the order of the data, and the reels of `reel_leds` LEDs they are cut from.

    joined: numbers of the runs that are longer than a reel and so are joined from pieces.
    fewest: no packing of these pieces needs fewer reels than this.
    """

    reel_leds: int
    pieces: tuple[Piece, ...]
    reels: tuple[Reel, ...]
    joined: tuple[int, ...]
    fewest: int


def line_label(display: Display, line: int) -> str:
    """'line 1', and after it the name the line was given."""
    name = display.wiring.line_names[line]
    return f"line {line}" if name == f"line {line}" else f"line {line}, {name}"


def direction(run: Run) -> str:
    """→ ← ↓ ↑ as the data runs, seen from the front; · for a single LED, which has no direction."""
    across, down = run.to_column - run.from_column, run.to_row - run.from_row
    if across:
        return "→" if across > 0 else "←"
    return "·" if down == 0 else "↓" if down > 0 else "↑"


def length_mm(display: Display, run: Run) -> float:
    """Length of a run in mm: LEDs × pitch along it, so a half pitch beyond both end LEDs."""
    return run.leds * _pitch_mm(display, run)


def _pitch_mm(display: Display, run: Run) -> float:
    pitch, row_pitch = display.grid.pitches_mm
    return row_pitch if direction(run) in "↓↑" else pitch


def cut_list(display: Display, reel_leds: int | None = None) -> CutList:
    """What to cut from reels of `reel_leds` LEDs (None: the display's own).

    A run is one uncut piece. A run longer than a reel is joined from whole reels and a rest.
    The pieces are packed longest first, each on the first reel with room (first-fit
    decreasing): seldom a reel more than needed; `fewest` tells when it is surely none.

    Raises OutOfRangeError when reel_leds is under 1.
    """
    reel_leds = display.reel_leds if reel_leds is None else reel_leds
    if reel_leds < 1:
        raise OutOfRangeError(f"a reel of {reel_leds} LEDs", fix="give at least 1.")
    pieces: list[Piece] = []
    joined: list[int] = []
    for number, run in enumerate(display.wiring.runs):
        pitch = _pitch_mm(display, run)
        for first in range(run.first, run.last + 1, reel_leds):
            last = min(first + reel_leds - 1, run.last)
            pieces.append(Piece(number, first, last, (last - first + 1) * pitch))
        if run.leds > reel_leds:
            joined.append(number)
    return CutList(
        reel_leds,
        tuple(pieces),
        _pack(pieces, reel_leds),
        tuple(joined),
        _fewest(pieces, reel_leds),
    )


def _pack(pieces: Iterable[Piece], reel_leds: int) -> tuple[Reel, ...]:
    left: list[int] = []
    cut: list[list[Piece]] = []
    longest_first = sorted(pieces, key=lambda piece: -piece.leds)
    for leds, equal in groupby(longest_first, key=lambda piece: piece.leds):
        reel = 0  # a reel too short for one of these is too short for the next as well
        for piece in equal:
            while reel < len(left) and left[reel] < leds:
                reel += 1
            if reel == len(left):
                left.append(reel_leds)
                cut.append([])
            left[reel] -= leds
            cut[reel].append(piece)
    return tuple(Reel(tuple(c), n) for c, n in zip(cut, left, strict=True))


def _fewest(pieces: Sequence[Piece], reel_leds: int) -> int:
    """A number of reels no packing can undercut.

    All LEDs must fit; and of pieces of n LEDs or more no reel holds more than reel_leds // n.
    """
    bound = -(-sum(piece.leds for piece in pieces) // reel_leds)
    as_long = 0
    for leds, count in sorted(Counter(piece.leds for piece in pieces).items(), reverse=True):
        as_long += count
        bound = max(bound, -(-as_long // (reel_leds // leds)))
    return bound


def print_map(display: Display, console: Console) -> None:
    """Print the build sheet: the numbered grid from the front, the runs, the cut list.

    A grid too wide for the console is printed in blocks of columns.
    """
    wiring = display.wiring
    across, down = display.grid.pitches_mm
    console.print(Text(display.name, "bold"), Text(display.about))
    console.print(
        f"{wiring.columns} columns × {wiring.rows} rows, pitch {_mm(across)} mm"
        f" across and {_mm(down)} mm down; {len(wiring)} LEDs {display.chip.part}",
        highlight=False,
    )
    for number, leds in enumerate(wiring.line_lengths):
        console.print(Text(f"{line_label(display, number)}: {leds} LEDs", _style(number)))
    console.print(
        Text("\nSeen from the front. An arrow marks a run's first LED and where its data goes.")
    )
    for text in _grid(display, console.width):
        console.print(text, no_wrap=True, overflow="crop")
    console.print(Text("\nRuns, in the order of the data; cells as (column, row)", "bold"))
    console.print(_runs_table(display))
    for line in _cut_lines(cut_list(display)):
        console.print(line, highlight=False)


def _style(line: int) -> str:
    return _STYLES[line % len(_STYLES)]


def _mm(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _grid(display: Display, width: int) -> Iterator[Text]:
    """The numbered grid, one Text a printed row, in as many blocks of columns as it takes.

    The line stands beside each row or above each column where those belong to one line only,
    and otherwise before each LED's number ('1:17').
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
    # One place before each number: room for its arrow, and what keeps numbers apart.
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
    """The one line of each row (or column), -1 where it has no LED; None if any has several."""
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
