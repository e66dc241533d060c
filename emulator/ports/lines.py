"""How many lines a wall needs for a frame rate.

A line carries its LEDs one after the other, so its length decides how long a frame takes.
"""

from __future__ import annotations

import numpy as np

from emulator.arrays import Ints
from emulator.description.display import Display
from emulator.description.wiring import Wiring, blocks
from emulator.errors import OutOfRangeError
from emulator.ports.link import line_ns, wire_link


def most_leds(display: Display, frames_per_s: float) -> int:
    """The most LEDs of the display's chip on one line at a frame rate; 0 if even one is too slow.

    For the slowest picture, with the chip's framing and reset.
    """
    fits, too_many = 0, 1

    def carries(leds: int) -> bool:
        wire_ns, _, reset_ns = line_ns(display, leds)
        return (wire_ns + reset_ns) * frames_per_s <= 1e9

    while carries(too_many):
        fits, too_many = too_many, 2 * too_many
    while too_many - fits > 1:
        middle = (fits + too_many) // 2
        fits, too_many = (middle, too_many) if carries(middle) else (fits, middle)
    return fits


def fewest_lines(display: Display, frames_per_s: float) -> int | None:
    """The fewest lines, all sent together, with which the wall's LEDs carry a frame rate.

    They share the strips in blocks, as with `lines` in [wiring], and each has hidden LEDs before
    and after its strips where the wall's lines do. None if one strip alone has too many LEDs.
    """
    most = most_leds(display, frames_per_s)
    strips, more = _strips(display.wiring)
    before = np.concatenate([[0], np.cumsum(strips)])
    for lines in range(max(1, -(-int(before[-1]) // max(most, 1))), len(strips) + 1):
        if np.diff(before[blocks(len(strips), lines)]).max() + more <= most:
            return lines
    return None


def enough_lines(display: Display) -> int:
    """`fewest_lines` for the display file's frame rate. Raises OutOfRangeError if it is None."""
    wanted, along = display.controller.frame_rate, display.wiring.along
    lines = fewest_lines(display, wanted)
    if lines is None:
        leds, most = max(run.leds for run in display.wiring.runs), most_leds(display, wanted)
        raise OutOfRangeError(
            f"no number of lines carries {wanted:g} frames/s: a strip has {leds} LEDs, and a line"
            f" can have {most}",
            fix=f"lay the strips along {'columns' if along == 'rows' else 'rows'}, ask for fewer"
            " frames a second, or use a faster chip.",
        )
    return lines


def _strips(wiring: Wiring) -> tuple[Ints, int]:
    """LEDs on each strip along a row or column, in the order of the data; and the most hidden LEDs
    that a line has before its first strip and after its last, which are not counted there."""
    at = wiring.row if wiring.along == "rows" else wiring.column
    number = np.cumsum((np.diff(at, prepend=-1) != 0) | (np.diff(wiring.line, prepend=-1) != 0)) - 1
    ends = np.zeros(len(wiring.line_names), np.int64)
    inner = np.ones(len(wiring), np.bool_)
    for line, (first, leds) in enumerate(zip(wiring.line_starts, wiring.line_lengths, strict=True)):
        placed = np.flatnonzero(~wiring.hidden[first : first + leds])
        if placed.size:
            inner[first : first + placed[0]] = inner[first + placed[-1] + 1 : first + leds] = False
            ends[line] = leds - (placed[-1] - placed[0] + 1)
    return np.bincount(number[inner]), int(ends.max())


def too_slow_words(display: Display) -> str:
    """That the lines are too long for the display file's frame rate, and what to do; '' if they
    are not."""
    wanted = display.controller.frame_rate
    found = wire_link(display).too_slow(wanted)
    if found is None:
        return ""
    fix = sharing(display, wanted)
    return f"{found[0]}" + (f". To reach them, {fix}." if fix else ".")


def sharing(display: Display, frames_per_s: float) -> str:
    """What to do so that the lines carry a frame rate; '' if they do, or if no lines would."""
    if wire_link(display).too_slow(frames_per_s) is None:
        return ""
    most = most_leds(display, frames_per_s)
    if not most:
        return ""
    lines, now = fewest_lines(display, frames_per_s), len(display.wiring.line_names)
    among = f"share the LEDs among {lines} lines"
    if lines is None:
        lines = -(-display.leds // most)
        among = (
            f"share the LEDs among {lines} lines or more, with cuts in strips: {most} LEDs a line"
        )
    if display.in_turn:
        return f"send the lines together{'' if lines <= now else ' and ' + among}"
    return among
