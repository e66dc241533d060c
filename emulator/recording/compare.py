"""Two recordings of one display, frame by frame: where they differ first, and by how much."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from emulator.description.display import Display
from emulator.light.still import contact_sheet
from emulator.recording.recording import Recording, RecordingError, display_of

_BLOCK = 256  # frames in one go


@dataclass(frozen=True)
class Difference:
    """The first frame that differs: which LEDs (N,) do, the first of them and the most by.

    led: its number over all lines. one, other: its drives, in the order of the channels. most:
    the largest difference of a channel in that frame, 0 to 255.
    """

    frame: int
    leds: NDArray[np.bool_]
    led: int
    one: tuple[int, ...]
    other: tuple[int, ...]
    most: int


@dataclass(frozen=True)
class Comparison:
    """frames: how many both have. differing: how many of these differ in drives. late_ns: by how
    much the times of a frame differ at most. missing: frames the other has fewer than the one;
    negative when it has more."""

    frames: int
    differing: int
    first: Difference | None
    late_ns: int
    missing: int

    @property
    def same(self) -> bool:
        """Same drives and as many frames; times are told, not judged."""
        return self.first is None and self.missing == 0


def compare(one: Recording, other: Recording, tolerance: int = 0) -> Comparison:
    """Compare frame by frame, in order. tolerance: by how much a drive may differ, 0 to 255.

    Raises RecordingError where the two are not of the same grid, channels and wiring.
    """
    if (one.rows, one.columns, one.channels) != (
        other.rows,
        other.columns,
        other.channels,
    ) or not np.array_equal(one.cell, other.cell):
        raise RecordingError(
            f"'{one.name}' and '{other.name}' differ in grid, channels or wiring\n"
            "  To mend: compare recordings of the same display."
        )
    frames = min(len(one), len(other))
    differing, first = 0, None
    for begin in range(0, frames, _BLOCK):
        part = slice(begin, min(begin + _BLOCK, frames))
        off = np.abs(one.drives[part].astype(np.int16) - other.drives[part])
        wrong = (off > tolerance).any(axis=2)
        numbers = np.flatnonzero(wrong.any(axis=1))
        differing += len(numbers)
        if len(numbers) and first is None:
            frame = int(numbers[0])
            led = int(wrong[frame].argmax())
            first = Difference(
                begin + frame,
                wrong[frame],
                led,
                tuple(one.drives[begin + frame, led].tolist()),
                tuple(other.drives[begin + frame, led].tolist()),
                int(off[frame].max()),
            )
    late = np.abs(one.times_ns[:frames] - other.times_ns[:frames])
    return Comparison(frames, differing, first, int(late.max(initial=0)), len(one) - len(other))


def told(one: Recording, other: Recording, found: Comparison) -> str:
    """A comparison in words: the first difference, where, how much; then the rest."""
    parts = []
    first = found.first
    if first is not None:
        time_s = one.times_ns[first.frame] / 1e9
        parts.append(
            f"{found.differing} of {found.frames} frames differ; the first is frame"
            f" {first.frame} at {time_s:.3f} s: {int(first.leds.sum())} LEDs differ, by at most"
            f" {first.most}; the first is {one.place(first.led)}: {_values(first.one, one)}"
            f" and {_values(first.other, one)}"
        )
    else:
        parts.append(f"{found.frames} frames are the same")
    if found.missing:
        which = "second" if found.missing > 0 else "first"
        parts.append(f"the {which} recording has {abs(found.missing)} frames fewer")
    if found.late_ns:
        parts.append(f"times differ by up to {found.late_ns / 1e6:.3f} ms")
    return "; ".join(parts)


def difference_picture(
    one: Recording, other: Recording, first: Difference, display: Display | None = None
) -> Image.Image:
    """One page: the first frame that differs in both, and which cells differ, in white."""
    cells = np.zeros((one.rows * one.columns, 3), dtype=np.float32)
    cells[one.cell[first.leds]] = 1
    time_s = one.times_ns[first.frame] / 1e9
    tiles = [
        (f"one, frame {first.frame}, {time_s:.3f} s", one.cells(first.frame)),
        ("the other", other.cells(first.frame)),
        (f"{int(first.leds.sum())} cells differ", cells.reshape(one.rows, one.columns, 3)),
    ]
    return contact_sheet(display_of(one, display), tiles, 3)


def _values(drives: tuple[int, ...], recording: Recording) -> str:
    return " ".join(f"{c} {v}" for c, v in zip(recording.channels, drives, strict=True))
