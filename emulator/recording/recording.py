"""A recording read from disk, as arrays."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.bench import led_light
from emulator.description.wiring import NO_CELL, per_cell
from emulator.errors import RecordingError
from emulator.files import check_file, read_file
from emulator.light.still import png
from emulator.recording.chunks import BROKEN, Chunks, header, read_chunk
from emulator.recording.disk import INDEX, LAYOUT, VERSION
from emulator.recording.drawing import sheet

_MOST_CELLS = 1 << 20  # as in display files
_MOST_INDEX = 256 << 20  # bytes: the seconds of weeks
_PLACES = ("cell", "line", "led")
_CHANNELS = ("RGB", "RGBW", "RGBI")
_LAST_NS = 100_000_000  # how long a single frame lasts if nothing says so


@dataclass(frozen=True)
class Recording:
    """Frames with their times, and the place of each LED.

    times_ns: (T,) int64, when each was latched. stored: the drives (T, N, C) uint8, C as in
    `channels`, as an array or in their files: see `Chunks`.
    cell: (N,) flat index into (rows, columns), NO_CELL for a hidden LED. line, led: (N,), number of
    the line, and number on that line. pitches_mm: across, down. lost: frames that could not be
    written. problems: chunks that cannot be read, in words. until_ns: when the last frame ended;
    None if unknown. faults: of the wall as built, as sentences.
    """

    name: str
    file: str | None
    times_ns: NDArray[np.int64]
    stored: NDArray[np.uint8] | Chunks
    channels: str
    rows: int
    columns: int
    pitches_mm: tuple[float, float]
    cell: NDArray[np.int64]
    line: NDArray[np.int64]
    led: NDArray[np.int64]
    lost: int = 0
    problems: tuple[str, ...] = ()
    until_ns: int | None = None
    faults: tuple[str, ...] = ()

    def __len__(self) -> int:
        return len(self.times_ns)

    @property
    def drives(self) -> NDArray[np.uint8]:
        """uint8 (T, N, C) of all frames, in memory; `stored[begin:end]` reads some of them."""
        return self.stored[:]

    @property
    def end_ns(self) -> int:
        """When the last frame ends, in ns; if that is unknown, it lasts as long as the average."""
        if self.until_ns is not None or not len(self):
            return self.until_ns or 0
        each_ns = _LAST_NS
        if len(self) > 1:
            each_ns = round(int(self.times_ns[-1] - self.times_ns[0]) / (len(self) - 1))
        return int(self.times_ns[-1]) + each_ns

    def light(
        self, frames: int | slice, glow: NDArray[np.float32] | None = None
    ) -> NDArray[np.float32]:
        """(N, 3) or (T, N, 3): linear light of each LED, 1 is a channel at full drive.

        glow: (N, L) light of each light-giving channel for its drive; 1 without. Raises IndexError
        and RecordingError as `Chunks` does.
        """
        return led_light(self.stored[frames], self.channels, glow)

    def cells(
        self, frame: int | slice, glow: NDArray[np.float32] | None = None
    ) -> NDArray[np.float32]:
        """(rows, columns, 3) or (T, rows, columns, 3): linear light of each cell; gaps are dark.

        glow: as for `light`. Raises IndexError and RecordingError as `Chunks` does.
        """
        return per_cell(self.light(frame, glow), self.cell, (self.rows, self.columns))

    def between(self, from_s: float | None = None, to_s: float | None = None) -> Recording:
        """The part shown from `from_s` to `to_s`; default: from the beginning, to the end.

        The frame shown at `from_s` begins at that time. Raises RecordingError if nothing was shown.
        """
        self.frame_at(0)  # raises RecordingError without a frame
        begin_ns, end_ns = int(self.times_ns[0]), self.end_ns
        first_ns = begin_ns if from_s is None else max(round(from_s * 1e9), begin_ns)
        last_ns = end_ns if to_s is None else min(round(to_s * 1e9), end_ns)
        if first_ns >= last_ns:
            raise RecordingError(
                f"the recording goes from {begin_ns / 1e9:g} s to {end_ns / 1e9:g} s, and shows"
                " nothing in the span that you asked for",
                fix="choose a span inside it, with the beginning before the end.",
            )
        first = max(int(np.searchsorted(self.times_ns, first_ns, side="right")) - 1, 0)
        last = max(int(np.searchsorted(self.times_ns, last_ns, side="left")), first + 1)
        times_ns = self.times_ns[first:last].copy()
        times_ns[0] = max(times_ns[0], first_ns)
        stored = self.stored
        part = stored.part(first, last) if isinstance(stored, Chunks) else stored[first:last]
        return replace(self, times_ns=times_ns, stored=part, until_ns=last_ns)

    def frame_at(self, time_s: float) -> int:
        """Number of the frame shown at a time; before the first frame, that of the first.

        Raises RecordingError without a frame.
        """
        if not len(self):
            raise RecordingError("the recording has no frame", fix="record a longer show.")
        return max(int(np.searchsorted(self.times_ns, round(time_s * 1e9), side="right")) - 1, 0)

    def _repr_png_(self) -> bytes | None:
        """What a notebook shows: a contact sheet; None without frames or without the display."""
        try:
            return png(sheet(self))
        except RecordingError:
            return None

    def place(self, led: int) -> str:
        """The place of an LED, 0…N-1, in words."""
        column, row = (int(n[led]) for n in self.columns_and_rows)
        cell = "no cell" if column == NO_CELL else f"column {column}, row {row}"
        return f"{cell} (line {self.line[led]}, LED {self.led[led]})"

    @property
    def columns_and_rows(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """(N,) each: the column and the row of each LED's cell, NO_CELL for a hidden LED."""
        row, column = np.divmod(self.cell, self.columns)
        return np.where(self.cell == NO_CELL, NO_CELL, column), row


def load_recording(folder: Path | str) -> Recording:
    """The recording in a folder, also one that was cut off.

    Every chunk is read once, to check it; the drives stay in the files. Half a line at the end of
    the index, and chunks that the index does not name, are skipped: a killed process leaves those.
    A chunk that is named but cannot be read becomes one of `problems`. Raises RecordingError if
    there is no recording, or its head is broken.
    """
    folder = Path(folder)
    try:
        text = read_file(folder / INDEX, _MOST_INDEX).decode("utf-8", errors="replace")
    except OSError as error:
        raise RecordingError(
            f"{folder} has no recording: {INDEX} cannot be read ({error.strerror})",
            fix="name the folder that `foreglow record` or DiskRecorder wrote.",
        ) from error
    head, _, rest = text.partition("\n")
    try:
        about = _head(json.loads(head))
        leds, grid = about["leds"], about["rows"] * about["columns"]
        places = _places(folder / LAYOUT, leds)
        least = {"cell": NO_CELL, "line": 0, "led": 0}
        if any(where.min(initial=0) < least[key] for key, where in places.items()):
            raise ValueError("places do not match the number of LEDs")
        if places["cell"].max(initial=0) >= grid:
            raise ValueError("an LED is outside the grid")
    except (*BROKEN, TypeError, IndexError, RecursionError) as error:
        raise RecordingError(
            f"the head of the recording is broken ({error})",
            place=folder,
            fix="record again; the chunks can still be read with numpy.",
        ) from error
    channels = len(about["channels"])
    times, files, lost, problems = [np.empty(0, dtype=np.int64)], [], 0, []
    for line in rest.splitlines():
        chunk = _line(line)
        if chunk is None:
            continue
        lost = max(lost, int(chunk["lost"]))
        try:
            times.append(read_chunk(folder / chunk["chunk"], leds, channels)[0])
        except BROKEN as error:
            problems.append(f"{chunk['chunk']}: {error}")
            continue
        files.append(folder / chunk["chunk"])
    return Recording(
        **{key: about[key] for key in ("file", "channels", "rows", "columns")},
        name=about["display"],
        pitches_mm=(float(about["pitches_mm"][0]), float(about["pitches_mm"][1])),
        times_ns=np.concatenate(times),
        stored=Chunks(files, [len(chunk) for chunk in times[1:]], leds, channels),
        cell=places["cell"],
        line=places["line"],
        led=places["led"],
        lost=lost,
        problems=tuple(problems),
        faults=tuple(about.get("faults", ())),
    )


def _places(path: Path, leds: int) -> dict[str, NDArray[np.int64]]:
    """Cell, line and number of each LED, (N,) each. Raises one of BROKEN."""
    check_file(path)
    with path.open("rb") as file, np.load(file, allow_pickle=False) as layout:
        for key in _PLACES:
            shape, dtype = header(layout.zip, key)
            if shape != (leds,) or dtype.kind not in "iu":
                raise ValueError("places do not match the number of LEDs")
        return {key: layout[key].astype(np.int64) for key in _PLACES}


def _head(about: Any) -> dict[str, Any]:
    """The first line of an index, checked. Raises ValueError, KeyError or TypeError."""
    if about["version"] != VERSION:
        raise ValueError(f"version {about['version']}, this foreglow reads {VERSION}")
    rows, columns, leds = about["rows"], about["columns"], about["leds"]
    if any(type(n) is not int or n < 1 for n in (rows, columns, leds)):
        raise ValueError("the sizes are not whole numbers above 0")
    if max(leds, rows * columns) > _MOST_CELLS or about["channels"] not in _CHANNELS:
        raise ValueError("no display has these sizes or channels")
    across, down = (float(mm) for mm in about["pitches_mm"])
    if not (across > 0 and down > 0 and type(about["display"]) is str):
        raise ValueError("no display has this pitch or name")
    if about["file"] is not None and type(about["file"]) is not str:
        raise ValueError("the display file is not a name")
    faults = about.get("faults", [])
    if type(faults) is not list or any(type(one) is not str for one in faults):
        raise ValueError("the faults are not a list of sentences")
    found: dict[str, Any] = about
    return found


def _line(text: str) -> dict[str, Any] | None:
    """A line of the index about a chunk; None if it is half a line or something else."""
    try:
        line = json.loads(text)
        name = line["chunk"]
        whole = type(name) is str and name == Path(name).name and type(line["lost"]) is int
    except (ValueError, TypeError, KeyError, RecursionError):
        return None
    return line if whole else None
