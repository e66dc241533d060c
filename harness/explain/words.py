"""The words for each operation: what is wrong, where, and what to do about it."""

from __future__ import annotations

from functools import singledispatch

import numpy as np

from harness.explain.grids import grids_like
from harness.explain.hidden import Forgotten, Stray
from harness.explain.hiddenwords import forgotten_words, hidden_hint, stray_words
from harness.explain.lednames import led_names
from harness.explain.named import place
from harness.explain.operations import (
    Backwards,
    LinesAre,
    MadeFor,
    MapIs,
    Moved,
    Offset,
    RangeBackwards,
    SameCell,
    Shows,
    Shuffled,
    Swapped,
    Symmetry,
    Taken,
)
from harness.explain.sizes import like_made_for, size_words
from harness.explain.statement import Statement
from harness.explain.wall import Kind, Wall, Words
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP, UNCLEAR
from harness.result.words import counted, joined, many

MARKS = {
    NEVER_LIT: "never lit",
    ALWAYS_LIT: "always lit",
    READS_GAP: "a gap cell",
    UNCLEAR: "nothing that is one cell's code",
}
_SWAPS = 6  # exchanged pairs a sentence names
_NOUNS: dict[Kind, str] = {
    "row": "row", "column": "column", "line": "line", "run": "run",
    "row of LEDs": "row", "column of LEDs": "column",
}  # fmt: skip


@singledispatch
def statement(operation: object, wall: Wall) -> Statement:
    """The words for an operation on this wall."""
    raise TypeError(f"no words for {operation!r}")


statement.register(Forgotten, forgotten_words)
statement.register(Stray, stray_words)


@statement.register
def _symmetry(operation: Symmetry, wall: Wall) -> Statement:
    o = operation
    place = "the whole wall"
    if not o.transposed:
        what, remedy = {
            (True, False): (
                "mirrored left-right",
                "In the map, count columns from the other side (columns - 1 - column). Cells are "
                "counted as seen from the front, not from the back.",
            ),
            (False, True): (
                "upside down: top and bottom are exchanged",
                "In the map, count rows from the other end (rows - 1 - row); row 0 is the top.",
            ),
            (True, True): (
                "turned by 180°: mirrored left-right and upside down",
                "In the map, start from the opposite corner, or hang the wall the other way up.",
            ),
        }[o.mirrored, o.upside_down]
        return Statement(what, place, remedy)
    if wall.rows != wall.columns:
        flips = joined(
            ["mirrored left-right"] * o.mirrored + ["turned upside down"] * o.upside_down
        )
        return Statement(
            "the map treats rows as columns: it numbers cells column · rows + row"
            + (f", and the result is {flips}" if flips else ""),
            place,
            f"In the map, number cells row · columns + column ({wall.columns} columns); swap the "
            "two indices or the picture's axes.",
        )
    what = {
        (False, False): "transposed: rows and columns are exchanged",
        (True, False): "turned by 90° to the left (counter-clockwise)",
        (False, True): "turned by 90° to the right (clockwise)",
        (True, True): "transposed about the other diagonal: exchanged rows and columns, both "
        "counted from the far end",
    }[o.mirrored, o.upside_down]
    remedy = "In the map, exchange the roles of row and column"
    if o.mirrored != o.upside_down:
        remedy += (
            ", and count one of the two from the other end. Then check again: if the wall is now"
            " mirrored or upside down, count the other one"
        )
    elif o.mirrored:
        remedy += ", and count both from the other end"
    return Statement(what, place, f"{remedy}.")


@statement.register
def _map_is(operation: MapIs, wall: Wall) -> Statement:
    theirs, own = operation.words, wall.words
    where, (_, groups) = place(operation, wall)
    begin = "" if where == "the whole wall" else f"{where}: "
    if own is None:
        what = f"{begin}the map is {in_words(theirs)}; the wiring follows no simple pattern"
        return Statement(what, where, "Take the map from the wiring's list of runs.")
    if operation.differences == ("path",):
        noun = own.along.removesuffix("s")
        runs = "runs" if len(np.unique(groups)) == 1 else "run"
        what = f"{where} {runs} backwards: the map is {theirs.path}, the wiring {own.path}"
        remedy = (
            f"In the map, reverse every second {noun}."
            if own.path == "serpentine"
            else f"In the map, run every {noun} in the same direction."
        )
        return Statement(what, where, remedy)
    their_part, own_part = _differences(theirs, own, operation.differences)
    remedy = "" if theirs.skips_gap else ", without numbers for the gap cells"
    return Statement(
        f"{begin}the map {their_part}, the wiring {own_part}",
        where,
        f"Make the map {in_words(own)}{remedy}.",
    )


def _differences(theirs: Words, own: Words, differences: tuple[str, ...]) -> tuple[str, str]:
    """What the map does, and what the wiring does instead."""
    parts = {
        "start": (f"starts at the {theirs.start}", f"at the {own.start}"),
        "along": (f"runs along {theirs.along}", f"along {own.along}"),
        "path": (f"is {theirs.path}", f"is {own.path}"),
        "lines": (f"has {_lines(theirs.lines)}", f"has {_lines(own.lines)}"),
        "skips_gap": ("counts the gap cells as LEDs", "skips them"),
    }
    return joined([parts[d][0] for d in differences]), joined([parts[d][1] for d in differences])


@statement.register
def _lines_are(operation: LinesAre, wall: Wall) -> Statement:
    where = counted("line", operation.lines)
    each = " each" if len(operation.lines) > 1 else ""
    if not operation.differences:
        what = f"in the map, {where}{each} goes through its cells {_order(operation.words)}"
        return Statement(what, where, "Take the order of these LEDs from the wiring's runs.")
    own, _ = wall.line_orders[operation.lines[0]][0]
    theirs, ours = _differences(operation.words, own, operation.differences)
    return Statement(
        f"{where}: the map{each} {theirs}, the wiring {ours}",
        where,
        f"In the map, go through the cells of {where}{each} {_order(own)}; or check whether "
        f"the strip of {where} begins at that end.",
    )


def _order(words: Words) -> str:
    return f"along {words.along} from the {words.start} corner, {words.path}"


@statement.register
def _made_for(operation: MadeFor, wall: Wall) -> Statement:
    grid = operation.grid
    where, _ = place(operation, wall)
    begin = "" if where == "the whole wall" else f"{where}: "
    shown = operation.apply(wall.wiring.cell, wall)
    noun, size, own = size_words(grids_like(wall, shown, grid.how, grid.outside) or [grid], wall)
    what = f"{begin}the map is made for {noun} of {size}; this wall has {own}"
    if grid.how == "flat":
        other = "column" if noun == "rows" else "row"
        what += f": it numbers cells {noun[:-1]} · {size} + {other}"
    lost = int((shown == NEVER_LIT).sum())
    if lost:
        what += f" ({many(lost)} {'gets' if lost == 1 else 'get'} a cell outside it and stay dark)"
    elif grid.outside == "edge":
        what += " (cells outside it show those at its edge)"
    elif grid.outside == "round":
        what += " (cells outside it wrap round to the other side)"
    remedy = f"Make the map for {wall.columns} columns and {wall.rows} rows."
    return Statement(what, where, remedy)


@statement.register
def _shuffled(operation: Shuffled, wall: Wall) -> Statement:
    where = _piece(operation.kind, operation.group, wall)
    # Listed cell by cell, since no shorter order was found.
    each = ", ".join(
        f"{wall.wiring.led[led]} that of {wall.wiring.led[giver]}"
        for led, giver in zip(operation.leds, operation.givers, strict=True)
    )
    return Statement(
        f"no order found within {where}: {many(len(operation.leds))} show each other's cells",
        where,
        f"Compare the map with the wiring there, cell by cell: LED {each}.",
    )


def _piece(kind: Kind, group: int, wall: Wall) -> str:
    """'row 7', 'run 7 (line 0, LEDs 168 to 191)'."""
    if kind != "run":
        return f"{_NOUNS[kind]} {group}"
    run = wall.wiring.runs[group]
    line = f"line {run.line}, " if wall.lines > 1 else ""
    return f"run {group} ({line}LEDs {run.first} to {run.last})"


def in_words(words: Words) -> str:
    """'serpentine along rows from the top-left corner, 2 lines'."""
    text = f"{words.path} along {words.along} from the {words.start} corner, {_lines(words.lines)}"
    return text if words.skips_gap else f"{text}, counting the gap cells as LEDs"


def _lines(count: int) -> str:
    return "1 line" if count == 1 else f"{count} lines"


@statement.register
def _moved(operation: Moved, wall: Wall) -> Statement:
    by = abs(operation.by)
    noun = operation.axis if by == 1 else operation.axis + "s"
    way = {
        ("row", True): "too low", ("row", False): "too high",
        ("column", True): "too far right", ("column", False): "too far left",
    }[operation.axis, operation.by > 0]  # fmt: skip
    return Statement(
        f"the picture sits {by} {noun} {way}, "
        + ("wrapped round" if operation.wraps else "and what leaves the wall is lost")
        + ("" if operation.wraps else like_made_for(operation, wall)),
        "the whole wall",
        f"In the map, {f'add {by} to' if operation.by > 0 else f'subtract {by} from'} the "
        f"{operation.axis} it looks up.",
    )


@statement.register
def _taken(operation: Taken, wall: Wall) -> Statement:
    noun, pairs = _NOUNS[operation.kind], operation.pairs
    swaps = operation.swaps
    if operation.kind == "line":
        what = joined([f"line {a} drives line {b}'s cells" for a, b in pairs])
        remedy = (
            "Exchange the outputs in the map or at the controller; check which plug feeds which "
            "line."
        )
    elif 2 * len(swaps) == len(pairs):
        each = ", ".join(f"{a} and {b}" for a, b in swaps[:_SWAPS])
        each += f" … ({len(swaps)} pairs)" if len(swaps) > _SWAPS else ""
        what = f"{noun}s {each}{' are each' if len(swaps) > 1 else ''} exchanged"
        remedy = f"Exchange these {noun}s in the map, or the strips on the wall."
    else:
        what = f"{noun}s are mixed up: " + joined(
            [f"{noun} {a} shows what was meant for {noun} {b}" for a, b in pairs]
        )
        remedy = f"Put these {noun}s in the map in the order of the strips on the wall."
    return Statement(what, counted(noun, [taker for taker, _ in pairs]), remedy)


@statement.register
def _backwards(operation: Backwards, wall: Wall) -> Statement:
    noun, groups = _NOUNS[operation.kind], operation.groups
    where = counted(noun, groups)
    one = len(groups) == 1
    if operation.kind == "run" and one:
        where = _piece("run", groups[0], wall)
    counting = ", counted over its LEDs (a gap skipped)" if " of LEDs" in operation.kind else ""
    return Statement(
        f"{where} {'runs' if one else 'run'} backwards{counting}",
        where,
        f"Reverse {'it' if one else 'them'} in the map, or check whether "
        f"{'the strip is' if one else 'the strips are'} mounted the wrong way round.",
    )


@statement.register
def _range_backwards(operation: RangeBackwards, wall: Wall) -> Statement:
    where = led_names(wall, operation.leds(wall).tolist())
    remedy = "Reverse them in the map, or check whether this piece of strip is the wrong way round."
    return Statement(f"{where} run backwards", where, remedy)


@statement.register
def _offset(operation: Offset, wall: Wall) -> Statement:
    o, by = operation, abs(operation.by)
    count = "one" if by == 1 else str(by)
    late = f"{count} LED{'s' * (by > 1)} {'late' if o.by > 0 else 'early'}"
    begin, where = _led(o, o.first, wall), _place(o, wall)
    if o.last is not None:
        stretch = f"everything from {begin} to {_led(o, o.last, wall)}"
    else:
        stretch = f"everything from {begin} on" if o.first else "everything"
    scope = ""
    if not o.lines:
        scope = "counted through all lines, "
    elif wall.lines > 1:
        scope = f"on {counted('line', o.lines)}{' each' if len(o.lines) > 1 else ''}, "
    tail = ", wrapped round" if o.fill == "around" else _freed(o, wall)
    leds = "LED" if by == 1 else "LEDs"
    if o.fill == "around":
        remedy = (
            f"In the map, the LED numbers of this stretch are too {'high' if o.by > 0 else 'low'}"
            f" by {count}, wrapped round."
        )
    elif o.by > 0:
        remedy = f"Look for {count} extra or repeated {leds} in the map just before {begin}."
    else:
        remedy = f"Look for {count} {leds} left out of the map at {begin}."
    remedy += hidden_hint(o, wall)
    return Statement(
        f"{scope}{stretch} is {late}{tail}{like_made_for(o, wall) if not o.first else ''}",
        where,
        f"{remedy} On hardware, a strip that is {count} {leds} longer or shorter than planned looks"
        " the same.",
    )


def _led(offset: Offset, number: int, wall: Wall) -> str:
    return f"LED {number}" if offset.lines else wall.led_name(number)


def _place(offset: Offset, wall: Wall) -> str:
    begin = _led(offset, offset.first, wall)
    last = offset.last
    if last is None and not offset.lines and wall.lines > 1:  # 'on' might end with the line
        last = len(wall) - 1
    end = "on" if last is None else f"to {_led(offset, last, wall)}"
    lines = f"{counted('line', offset.lines)}, " if offset.lines and wall.lines > 1 else ""
    return f"{lines}{begin} {end}"


def _freed(offset: Offset, wall: Wall) -> str:
    """The LEDs at the start of a late stretch that get no data."""
    lengths = wall.wiring.line_lengths
    length = min(lengths[n] for n in offset.lines) if offset.lines else len(wall)
    mine, giver = offset.givers(length)
    freed = mine[(giver < 0) & (mine < offset.first + offset.by)].tolist()
    if not freed:
        return ""
    names = counted("LED", freed) if offset.lines else led_names(wall, freed)
    return f" ({names} dark)"


@statement.register
def _shows(operation: Shows, wall: Wall) -> Statement:
    leds = led_names(wall, operation.leds)
    one = len(operation.leds) == 1
    verb = {NEVER_LIT: "is" if one else "are", ALWAYS_LIT: "is" if one else "are"}.get(
        operation.mark, "shows" if one else "show"
    )
    remedy = {
        NEVER_LIT: "Check that the map gives it a cell, and that the code sends enough data. On "
        "hardware: a dead LED, or no data from there on.",
        ALWAYS_LIT: "Check what else the code writes there. On hardware: a stuck LED, or one that "
        "receives noise instead of data.",
        READS_GAP: "The map gives it a cell of the gap, where there is no LED: skip gap cells when "
        "numbering.",
        UNCLEAR: "It shows a mixture of cells. Look for resampling, smoothing or fading, and send "
        "each cell of the picture unfiltered.",
    }[operation.mark]
    what = f"{leds} {verb} {MARKS[operation.mark]}"
    last = _tail(operation.leds, len(wall))
    if operation.mark == NEVER_LIT and last:
        does = (
            "does that"
            if len(last) == len(operation.leds)
            else f"does that to the last {len(last)}"
        )
        what += like_made_for(Shows(NEVER_LIT, last), wall, does)
    return Statement(what, leds, remedy)


def _tail(leds: tuple[int, ...], count: int) -> tuple[int, ...]:
    """The LEDs (sorted) that form an unbroken tail of all `count` LEDs."""
    return tuple(led for place, led in enumerate(leds) if led - place == count - len(leds))


@statement.register
def _same(operation: SameCell, wall: Wall) -> Statement:
    pair = led_names(wall, sorted((operation.led, operation.other)))
    return Statement(
        f"{pair} show the same cell",
        pair,
        f"In the map, give {wall.led_name(operation.led)} a cell of its own.",
    )


@statement.register
def _swapped(operation: Swapped, wall: Wall) -> Statement:
    pair = led_names(wall, (operation.led, operation.other))
    return Statement(f"{pair} are exchanged", pair, "Exchange their cells in the map.")
