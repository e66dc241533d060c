"""Cuts a capture of any length between frames into stretches, so that memory does not grow."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip, OneWire
from emulator.signal.capture import clock_pairs
from emulator.signal.clocked import after_zero_bytes, start_frames
from emulator.signal.waveform import Waveform, joined_lines

Lines = Mapping[str, Waveform]


class Gaps(NamedTuple):
    """Times between frames of one line, or of a pair of clock and data.

    from_ns, to_ns : int64 (n,), rising. A frame ends at `from_ns` or before, and the next begins at
    `to_ns`. [ns]
    """

    from_ns: NDArray[np.int64]
    to_ns: NDArray[np.int64]


def stretches(blocks: Iterable[Lines], chip: Chip) -> Iterator[Lines]:
    """The lines of successive blocks of a capture, cut again: each stretch has whole frames.

    blocks : as `vcd_blocks`, `csv_blocks` and `sample_blocks` give them.

    A cut is where all lines are between frames: at rest for as long as ends a frame, or, for a chip
    with start frames or zero bytes, between the last clock before a frame and its first clock. So
    the frames of a stretch decode as they would in the whole capture. The pause at a cut belongs to
    the stretches on both sides. A block gives at most one stretch. If its lines are never between
    frames at the same time, the block is kept until later blocks make a cut possible. The
    resolution may become better known from stretch to stretch. Raises CaptureError if clocks and
    data lines do not pair up.
    """
    held: Lines = {}
    for block in blocks:
        held = joined_lines([held, block]) if held else block
        cut = _last_cut(held, chip)
        if cut is not None:
            parts = {name: line.parted(*cut) for name, line in held.items()}
            yield {name: before for name, (before, _) in parts.items()}
            held = {name: after for name, (_, after) in parts.items()}
    if held:
        yield held


def _last_cut(lines: Lines, chip: Chip) -> tuple[int, int] | None:
    """The last time between frames on all lines, from and to; None if there is none.

    There must be edges before and after it: they show which line is a clock.
    """
    wire = chip.wire
    if isinstance(wire, OneWire):
        gaps, least_ns = [_lows(line) for line in lines.values()], wire.reset_ns
    elif wire.latch != "rest":
        starts = start_frames if wire.latch == "end frame" else after_zero_bytes
        pairs = clock_pairs(lines, chip)
        gaps, least_ns = [_before_starts(lines[c], lines[d], starts) for c, d in pairs], 1
    else:
        clocks = dict.fromkeys(clock for clock, _ in clock_pairs(lines, chip))
        gaps, least_ns = [_lows(lines[clock]) for clock in clocks], wire.rest_ns
    begins, ends = _common(gaps)
    some = next(iter(lines.values()))  # all lines cover the same time
    fit = (ends - begins >= least_ns) & (begins > some.start_ns) & (ends < some.end_ns)
    last = np.flatnonzero(fit)[-1:]
    return (int(begins[last[0]]), int(ends[last[0]])) if last.size else None


def _lows(line: Waveform) -> Gaps:
    """All times at which a line is low, also those that the ends of the capture cut."""
    return Gaps(
        np.concatenate([[line.start_ns] * (not line.first_level), line.falls_ns]).astype(np.int64),
        np.concatenate([line.rises_ns, [line.end_ns] * (not line.last_level)]).astype(np.int64),
    )


def _before_starts(
    clock: Waveform, data: Waveform, starts: Callable[[NDArray[np.uint8]], NDArray[np.int64]]
) -> Gaps:
    """The low clocks just before the bits that begin frames."""
    rises, falls = clock.rises_ns, clock.falls_ns[int(clock.first_level) :]
    begins = starts(data.levels_before(rises))
    begins = begins[begins > 0]
    return Gaps(falls[begins - 1], rises[begins])


def _common(gaps: list[Gaps]) -> Gaps:
    """The times that are in a gap of every line."""
    begins = np.unique(np.concatenate([gap.from_ns for gap in gaps]))
    ends = np.full(begins.size, np.iinfo(np.int64).max)
    for from_ns, to_ns in gaps:
        if not from_ns.size:
            return Gaps(from_ns, to_ns)
        at = np.searchsorted(from_ns, begins, side="right") - 1
        ends = np.minimum(ends, np.where(at >= 0, to_ns[at], begins))
    there = ends > begins
    return Gaps(begins[there], ends[there])
