"""Keeps what a display shows on disk, second by second, while it runs."""

from __future__ import annotations

import contextlib
import io
import json
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import WriteError
from emulator.files import write_whole
from emulator.recorder import Recorder

INDEX, LAYOUT = "index.jsonl", "layout.npz"
VERSION = 1
_CHUNK_NS = 1_000_000_000


class DiskRecorder(Recorder, Closing):
    """A Recorder that also writes every frame to a folder, to be given to a bench:

        with DiskRecorder("rec", display) as recorder:
            bench.recorder = recorder
            …

    Each second of the clock becomes one compressed chunk, written when the next second begins
    and by `close`. A chunk is written whole or not at all, and the index names it only then: if you
    kill the process, you lose the frames of the last second. (A crash of the machine can lose
    more: foreglow does not wait until the disk has stored the data.)

    If a chunk cannot be written, as on a full disk, its frames are lost and counted, and the show
    continues: `lost` is how many, `problem` why. Later chunks are tried again. `written` is
    how many frames are on disk.

    If the show ends before its first frame, no recording is left, so you can try again.

    folder: made if it is missing; it must not contain a recording. keep: frames remembered in
    memory, as in Recorder. Raises WriteError if the recording cannot be started.
    """

    def __init__(self, folder: Path | str, display: Display, keep: int | None = 256) -> None:
        channels = display.chip.channels
        super().__init__(display.leds, len(channels), keep)
        self.folder = Path(folder)
        self.lost = self.written = 0
        self.problem: str | None = None
        self._waiting: list[tuple[NDArray[np.int64], NDArray[np.uint8]]] = []
        self._second: int | None = None  # of the frames that wait
        self._chunks = 0
        self._ragged = False  # whether the index may end in half a line
        if (self.folder / INDEX).exists():
            raise WriteError(
                f"{self.folder} already has a recording and is left as it is",
                fix="name another folder.",
            )
        wiring = display.wiring
        layout = {"cell": wiring.cell, "line": wiring.line, "led": wiring.led, "gap": display.gap}
        write_whole(self.folder / LAYOUT, _npz(layout))
        about = {
            "version": VERSION,
            "display": display.name,
            "file": None if display.path is None else str(display.path.resolve()),
            "rows": display.grid.rows,
            "columns": display.grid.columns,
            "pitches_mm": display.grid.pitches_mm,
            "leds": display.leds,
            "channels": channels,
        }
        if display.faults:
            about["faults"] = [str(fault) for fault in display.faults]
        write_whole(self.folder / INDEX, json.dumps(about) + "\n")

    def append(self, time_ns: int, drives: NDArray[np.uint8]) -> None:
        """Add one frame (N, C) latched at `time_ns`."""
        super().append(time_ns, drives)
        self._take(np.array([time_ns]), drives[None])

    def extend(self, times_ns: NDArray[np.int64], drives: NDArray[np.uint8]) -> None:
        """Add a stack of frames (T, N, C) latched at `times_ns` (T,)."""
        super().extend(times_ns, drives)
        self._take(times_ns, drives)

    def close(self) -> None:
        """Write the frames that wait. You may add more and call `close` again."""
        self._write()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        super().__exit__(kind, error, trace)
        if kind is not None and not self.written:
            with contextlib.suppress(OSError):  # with other files in it, the folder stays
                (self.folder / INDEX).unlink()
                (self.folder / LAYOUT).unlink()
                self.folder.rmdir()

    def _take(self, times_ns: NDArray[np.int64], drives: NDArray[np.uint8]) -> None:
        seconds = times_ns // _CHUNK_NS
        begins = np.flatnonzero(np.diff(seconds)) + 1
        for part in np.split(np.arange(len(times_ns)), begins):
            if part.size == 0:
                continue
            second = int(seconds[part[0]])
            if second != self._second:
                self._write()
                self._second = second
            self._waiting.append((times_ns[part].astype(np.int64), drives[part]))  # copies

    def _write(self) -> None:
        """Write the frames that wait as a chunk, then add it to the index."""
        if not self._waiting:
            return
        times_ns = np.concatenate([times for times, _ in self._waiting])
        drives = np.concatenate([shown for _, shown in self._waiting])
        self._waiting = []
        name = f"{self._chunks:06d}.npz"
        self._chunks += 1
        line = {
            "chunk": name,
            "frames": len(times_ns),
            "from_ns": int(times_ns[0]),
            "to_ns": int(times_ns[-1]),
            "lost": self.lost,
        }
        try:
            write_whole(self.folder / name, _npz({"times_ns": times_ns, "drives": drives}))
            self._add_line(json.dumps(line) + "\n")
            self.written += len(times_ns)
        except OSError as error:  # also WriteError
            self.lost += len(times_ns)
            self.problem = str(error)

    def _add_line(self, line: str) -> None:
        begin = "\n" if self._ragged else ""
        self._ragged = True
        with (self.folder / INDEX).open("a", encoding="utf-8") as index:
            index.write(begin + line)
        self._ragged = False


def _npz(arrays: dict[str, NDArray[Any]]) -> bytes:
    data = io.BytesIO()
    np.savez_compressed(data, allow_pickle=False, **arrays)
    return data.getvalue()
