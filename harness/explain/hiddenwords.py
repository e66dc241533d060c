"""The words for hidden LEDs: left out of the map, or lit although they must stay dark."""

from __future__ import annotations

import numpy as np

from harness.explain.hidden import Forgotten, Stray
from harness.explain.lednames import led_names
from harness.explain.operations import Offset
from harness.explain.statement import Statement
from harness.explain.wall import Wall
from harness.patterns.coded import READS_GAP
from harness.result.words import counted


def forgotten_words(operation: Forgotten, wall: Wall) -> Statement:
    """The words for a map that leaves out hidden LEDs."""
    left_out, wiring = operation.left_out(wall), wall.wiring
    names, one = led_names(wall, left_out.tolist()), left_out.size == 1
    lines, counts = np.unique(wiring.line[left_out], return_counts=True)
    where = "the whole wall" if wall.lines == 1 else counted("line", lines.tolist())
    of_lines = "" if wall.lines == 1 else f" of {where}"
    by = int(counts[0])
    # Whether they are the first LEDs of each line, as many on each: then all move up by as many.
    leading = (wiring.led[left_out] < by).all() and (counts == by).all()
    begin = wall.led_name(int(left_out[0]))
    after = np.arange(len(wiring.line)) >= left_out[0]
    if not operation.lines:
        where = led_names(wall, np.flatnonzero(after).tolist())
        what = f"counted through all lines, LEDs from {begin} on show what is meant for those after"
    elif leading:
        further = "the next" if by == 1 else f"the LED {by} further on"
        what = f"every LED{of_lines} shows what is meant for {further}"
    elif lines.size == 1:
        where = led_names(wall, np.flatnonzero(after & (wiring.line == lines[0])).tolist())
        what = f"LEDs{of_lines} from {begin} on show what is meant for those after"
    else:
        what = f"LEDs{of_lines} show what is meant for those after"
    has, it = ("has", "it") if one else ("have", "them")
    count = "a number for it" if one else "their numbers"
    return Statement(
        f"{what}: {names} {has} no cell and must stay dark, but the map leaves {it} out",
        where,
        f"In the map, keep {count}, and send 0 in every channel for {it}. If the wall has no such"
        " LEDs, take them out of the display file (hidden_first, hidden_between, hidden_last,"
        " hidden_leds).",
    )


def stray_words(operation: Stray, wall: Wall) -> Statement:
    """The words for hidden LEDs that are lit."""
    leds, one = led_names(wall, operation.leds), len(operation.leds) == 1
    shows = "is lit" if one else "are lit"
    cell = operation.shown[0]
    if one and cell >= 0:
        row, column = divmod(cell, wall.columns)
        shows = f"shows column {column}, row {row}"
    elif set(operation.shown) == {READS_GAP}:
        shows = f"{'shows' if one else 'show'} what the picture has in the gap"
    return Statement(
        f"{leds} {'has' if one else 'have'} no cell and must stay dark, but {shows}",
        leds,
        f"Send 0 in every channel for {'it' if one else 'them'}, whatever the picture.",
    )


def hidden_hint(offset: Offset, wall: Wall) -> str:
    """How hidden LEDs may cause an offset; '' if they do not."""
    first, wiring = offset.first, wall.wiring
    starts = [wiring.line_starts[line] for line in offset.lines] or [0]
    passed = [led for start in starts for led in range(start + first, start + first - offset.by)]
    passed = [led for led in passed if led < len(wall) and wiring.hidden[led]]
    if passed:
        has, it = ("has", "it") if len(passed) == 1 else ("have", "them")
        return f" {led_names(wall, passed)} {has} no cell: send 0 in every channel for {it}."
    if offset.by > 0 and not first and offset.last is None and not wiring.hidden.any():
        begins = "If the line begins" if wall.lines == 1 else "If each line begins"
        kind = "an LED" if offset.by == 1 else f"{offset.by} LEDs"
        return (
            f" {begins} with {kind} that has no cell, such as a level shifter, write hidden_first ="
            f" {offset.by} in [wiring] of the display file."
        )
    return ""
