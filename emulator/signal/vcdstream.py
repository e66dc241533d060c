"""A VCD file read in stretches of time, so that memory stays flat however long it is."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from emulator.description.chips import Chip, OneWire
from emulator.signal.changes import Toggles
from emulator.signal.framing import has_end_frame
from emulator.signal.vcd import (
    VcdLines,
    changes_of,
    common_step,
    no_progress,
    opened,
    read_header,
    resolution_ns,
    take_blocks,
    waveforms,
)


def stream_vcd(
    path: Path | str, chip: Chip, progress: Callable[[int], None] = no_progress
) -> Iterator[VcdLines]:
    """The lines of `read_vcd`, cut where all of them rest low for as long as ends a frame.

    Each stretch has that rest at both ends, so its frames decode as they would in the whole
    file. One block of the file (4 MiB) is read for a stretch, or more where nothing rests. The
    resolution is reckoned from the edges so far. A chip with start frames may pause within a
    frame: its file comes whole. Raises CaptureError as `read_vcd` does, but perhaps only after
    some stretches have come.
    """
    name = str(path)
    with opened(path) as (stream, position):
        header = read_header(name, stream)
        changes = changes_of(name, header)
        rest = _rest_ticks(chip, header.fs_per_tick)
        held: dict[bytes, Toggles] = {}
        begin: int | None = None
        origin: int | None = None  # the first edge; the common step is reckoned from there
        step = unknown = 0

        def stretch(part: dict[bytes, Toggles], end: int) -> VcdLines:
            nonlocal origin, step, unknown
            ticks = [line.ticks for line in part.values()]
            if origin is None:
                origin = min((int(t[0]) for t in ticks if t.size), default=None)
            step = math.gcd(step, common_step([np.array([origin or 0]), *ticks]))
            new, unknown = changes.unknown - unknown, changes.unknown
            lines = waveforms(name, header, part, (begin or 0, end), resolution_ns(header, step))
            return VcdLines(lines, new, tuple(header.passed_over))

        for _ in take_blocks(name, stream, changes):
            progress(position())
            held = _joined(held, changes.drain())
            begin = changes.start if begin is None else begin
            cut = _last_rest(held, rest) if rest is not None else None
            if cut is not None:
                part, held = _parted(held, cut[0])
                yield stretch(part, cut[1])
                begin = cut[0]
        held = _joined(held, changes.drain())
        begin = changes.start if begin is None else begin
        assert changes.end is not None
        yield stretch(held, changes.end)


def _rest_ticks(chip: Chip, fs_per_tick: int) -> int | None:
    """How long all lines must be low between two stretches; None for never."""
    if has_end_frame(chip):
        return None
    wire = chip.wire
    rest_ns = wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns
    return -(-rest_ns * 10**6 // fs_per_tick) + 1  # times are rounded to nanoseconds later


def _joined(held: dict[bytes, Toggles], more: dict[bytes, Toggles]) -> dict[bytes, Toggles]:
    if not held:
        return more
    return {
        code: Toggles(line.first_level, np.concatenate([line.ticks, more[code].ticks]))
        for code, line in held.items()
    }


def _last_rest(held: dict[bytes, Toggles], rest: int) -> tuple[int, int] | None:
    """The last pair of edges with so long a low of all lines between them, in ticks."""
    edges = np.sort(np.concatenate([line.ticks for line in held.values()]))
    begins = np.flatnonzero(np.diff(edges) >= rest)
    low = np.ones(begins.size, dtype=bool)
    for line in held.values():
        passed = np.searchsorted(line.ticks, edges[begins], side="right")
        low &= (passed & 1) == int(line.first_level)
    begins = begins[low]
    return (int(edges[begins[-1]]), int(edges[begins[-1] + 1])) if begins.size else None


def _parted(
    held: dict[bytes, Toggles], last: int
) -> tuple[dict[bytes, Toggles], dict[bytes, Toggles]]:
    """The toggles up to a tick, after which all lines are low, and those behind it."""
    before, after = {}, {}
    for code, line in held.items():
        count = int(np.searchsorted(line.ticks, last, side="right"))
        before[code] = Toggles(line.first_level, line.ticks[:count])
        after[code] = Toggles(False, line.ticks[count:])
    return before, after
