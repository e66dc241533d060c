"""Two recordings of one display, frame by frame: where they differ first, and by how much."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from emulator.description.display import Display
from emulator.description.wiring import per_cell
from emulator.errors import RecordingError
from emulator.light.still import contact_sheet
from emulator.recording.recording import Recording
from emulator.recording.shownon import display_of

_BLOCK = 4_000_000  # drives compared at a time
_MOST_SHIFT = 300  # frames by which one recording may have begun before the other


@dataclass(frozen=True)
class Difference:
    """The first frame that differs.

    leds: bool (N,), which LEDs differ. led: number of the first of them, over all lines. one,
    other: its drives in both, in the order of the channels. most: the largest difference of a
    channel in that frame, 0 to 255.
    """

    frame: int
    leds: NDArray[np.bool_]
    led: int
    one: tuple[int, ...]
    other: tuple[int, ...]
    most: int


@dataclass(frozen=True)
class Comparison:
    """How two recordings compare, frame by frame in order.

    frames: how many both have. differing: how many of these differ in drives. missing: how many
    frames fewer the other has; negative if it has more. shift: if they differ, but frame n of the
    one is the same as frame n + shift of the other for all that overlap (at least half of the
    shorter one), this shift. later_ns: how much later the other's times are, as the median.
    late_ns: the largest difference of a time from that.
    """

    frames: int
    differing: int
    first: Difference | None
    missing: int
    shift: int
    later_ns: int
    late_ns: int

    @property
    def same(self) -> bool:
        """Whether drives and number of frames are the same; times do not count."""
        return self.first is None and self.missing == 0


def compare(one: Recording, other: Recording, tolerance: int = 0) -> Comparison:
    """Compare frame by frame, in order. tolerance: by how much a drive may differ, 0 to 255.

    Raises RecordingError if the two differ in grid, channels or wiring.
    """
    _check_alike(one, other)
    frames = min(len(one), len(other))
    differing, first = 0, None
    for begin, off in _differences(one, other, 0):
        wrong: NDArray[np.bool_] = np.any(off > tolerance, axis=2)
        numbers = np.flatnonzero(wrong.any(axis=1))
        differing += len(numbers)
        if len(numbers) and first is None:
            number = int(numbers[0])
            frame, led = begin + number, int(wrong[number].argmax())
            first = Difference(
                frame,
                wrong[number],
                led,
                tuple(one.stored[frame][led].tolist()),
                tuple(other.stored[frame][led].tolist()),
                int(off[number].max()),
            )
    later = other.times_ns[:frames] - one.times_ns[:frames]
    later_ns = int(np.median(later)) if frames else 0
    return Comparison(
        frames,
        differing,
        first,
        len(one) - len(other),
        _shift(one, other, tolerance) if first is not None else 0,
        later_ns,
        int(np.abs(later - later_ns).max(initial=0)),
    )


def told(one: Recording, other: Recording, found: Comparison) -> str:
    """A comparison in words: first the first difference, with its place and size."""
    parts = []
    first = found.first
    if first is not None:
        parts.append(
            f"{found.differing} of {found.frames} frames differ; the first is frame"
            f" {first.frame} at {_time_s(one, first):.3f} s: {int(first.leds.sum())} LEDs differ,"
            f" by at most {first.most}; the first is {one.place(first.led)}:"
            f" {_values(first.one, one)} and {_values(first.other, one)}"
        )
    else:
        parts.append(f"{found.frames} frames are the same")
    if found.shift:
        which = "second" if found.shift > 0 else "first"
        parts.append(
            f"the {which} recording shows the same {_frames(found.shift)} later: without this"
            " shift, no frame differs"
        )
    if found.missing:
        which = "second" if found.missing > 0 else "first"
        parts.append(f"the {which} recording has {_frames(found.missing)} fewer")
    if found.later_ns:
        which = "second" if found.later_ns > 0 else "first"
        parts.append(f"times of the {which} are {abs(found.later_ns) / 1e6:.3f} ms later")
    if found.late_ns:
        besides = "besides, " if found.later_ns else ""
        parts.append(f"{besides}times differ by up to {found.late_ns / 1e6:.3f} ms")
    return "; ".join(parts)


def comparison_json(one: Recording, other: Recording, found: Comparison) -> dict[str, Any]:
    """A comparison in JSON types; times in s, numbers from 0."""
    first: dict[str, Any] | None = None
    if found.first is not None:
        column, row = (int(n[found.first.led]) for n in one.columns_and_rows)
        first = {
            "frame": found.first.frame,
            "time_s": _time_s(one, found.first),
            "leds": int(found.first.leds.sum()),
            "most": found.first.most,
            "column": column,
            "row": row,
            "line": int(one.line[found.first.led]),
            "led": int(one.led[found.first.led]),
            "channels": one.channels,
            "one": list(found.first.one),
            "other": list(found.first.other),
        }
    return {
        "display": one.name,
        "same": found.same,
        "frames": found.frames,
        "differing": found.differing,
        "missing": found.missing,
        "shift": found.shift,
        "later_s": found.later_ns / 1e9,
        "late_s": found.late_ns / 1e9,
        "first": first,
    }


def difference_picture(
    one: Recording, other: Recording, first: Difference, display: Display | None = None
) -> Image.Image:
    """One page: the first frame that differs in both, and which cells differ, in white."""
    differs = np.repeat(first.leds[:, None], 3, axis=1).astype(np.float32)
    cells = per_cell(differs, one.cell, (one.rows, one.columns))
    tiles = [
        (f"one, frame {first.frame}, {_time_s(one, first):.3f} s", one.cells(first.frame)),
        ("the other", other.cells(first.frame)),
        (f"{int(first.leds.sum())} cells differ", cells),
    ]
    return contact_sheet(display_of(one, display), tiles, 3)


def _check_alike(one: Recording, other: Recording) -> None:
    differ = ""
    if (one.rows, one.columns) != (other.rows, other.columns):
        differ = f"{one.columns} × {one.rows} cells and {other.columns} × {other.rows}"
    elif one.channels != other.channels:
        differ = f"channels {one.channels} and {other.channels}"
    elif not np.array_equal(one.cell, other.cell):
        differ = "LEDs in different places: their wiring differs"
    if differ:
        raise RecordingError(
            f"'{one.name}' and '{other.name}' have {differ}",
            fix="compare recordings of the same display.",
        )


def _differences(
    one: Recording, other: Recording, shift: int
) -> Iterator[tuple[int, NDArray[np.uint8]]]:
    """Blocks of frames that overlap: number of the first, and differences, uint8 (T, N, C).

    Frame n of the one is compared with frame n + shift of the other.
    """
    begin, end = max(-shift, 0), min(len(one), len(other) - shift)
    step = max(_BLOCK // (len(one.cell) * len(one.channels)), 1)
    for at in range(begin, end, step):
        to = min(at + step, end)
        here, there = one.stored[at:to], other.stored[at + shift : to + shift]
        yield at, np.maximum(here, there) - np.minimum(here, there)


def _shift(one: Recording, other: Recording, tolerance: int) -> int:
    """The shift in frames for which all frames that overlap are the same; 0 if there is none."""
    weights = np.random.default_rng(0).integers(1, 1 << 16, len(one.cell) * len(one.channels))
    here, there = _marks(one, weights), _marks(other, weights)
    reach = tolerance * int(weights.sum())
    shorter = min(len(here), len(there))
    for shift in sorted(range(-_MOST_SHIFT, _MOST_SHIFT + 1), key=abs)[1:]:
        begin, end = max(-shift, 0), min(len(here), len(there) - shift)
        if 2 * (end - begin) < shorter:
            continue
        if (np.abs(here[begin:end] - there[begin + shift : end + shift]) > reach).any():
            continue
        if not any((off > tolerance).any() for _, off in _differences(one, other, shift)):
            return shift
    return 0


def _marks(recording: Recording, weights: NDArray[np.int64]) -> NDArray[np.int64]:
    """(T,) a checksum of each frame: frames that differ nearly always have different ones."""
    marks = np.empty(len(recording), dtype=np.int64)
    step = max(_BLOCK // len(weights), 1)
    for at in range(0, len(marks), step):
        block = recording.stored[at : at + step]
        marks[at : at + step] = block.reshape(len(block), -1) @ weights
    return marks


def _frames(count: int) -> str:
    return f"{abs(count)} frame{'s' if abs(count) != 1 else ''}"


def _time_s(one: Recording, first: Difference) -> float:
    return float(one.times_ns[first.frame] / 1e9)


def _values(drives: tuple[int, ...], recording: Recording) -> str:
    return " ".join(f"{c} {v}" for c, v in zip(recording.channels, drives, strict=True))
