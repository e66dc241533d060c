"""What a wall is sent: the recording of `foreglow record`, read as its document says."""

import json
import subprocess
import sys
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

FOREGLOW = (sys.executable, "-m", "foreglow")


@dataclass(frozen=True)
class Played:
    """The states of the wall: LEDs get `drives` (S, N, channels), 0 … 1, from `begins` (S,) s on.

    `cell`, `line` and `led` (N,) say where each LED is planned, of `cells` in all; `ends` is when
    the pattern ends.
    """

    begins: np.ndarray
    drives: np.ndarray
    ends: float
    cell: np.ndarray
    line: np.ndarray
    led: np.ndarray
    cells: int

    def at_pace(self, pace: float) -> "Played":
        """The same, at other than 4 pictures a second, as `foreglow run … --pace` plays it."""
        return replace(self, begins=self.begins * 4 / pace, ends=self.ends * 4 / pace)

    def spans(self, start: float, end: float) -> list[tuple[int, float, float]]:
        """The states between two times, each with its (first, last); before and after all is
        dark."""
        first = max(int(np.searchsorted(self.begins, start, side="right")) - 1, 0)
        spans = []
        for state in range(first, len(self.begins)):
            since = -np.inf if state == 0 else self.begins[state]
            until = self.begins[state + 1] if state + 1 < len(self.begins) else np.inf
            if since >= end:
                break
            spans.append((state, max(start, since), min(end, until)))
        return spans


def record(wall_file: Path, folder: Path) -> Played:
    """Records the coded film of a wall and reads the recording."""
    subprocess.run(
        [*FOREGLOW, "record", wall_file, "coded-film", "-o", folder],
        check=True,
        capture_output=True,
    )
    times, drives = [], []
    for line in (folder / "index.jsonl").read_text().splitlines()[1:]:
        with np.load(folder / json.loads(line)["chunk"]) as chunk:
            times.append(chunk["times_ns"] / 1e9)
            drives.append(chunk["drives"])
    when, sent = np.concatenate(times), np.concatenate(drives)
    changed = np.r_[True, (sent[1:] != sent[:-1]).any(axis=(1, 2))]
    with np.load(folder / "layout.npz") as layout:
        cell, line, led = layout["cell"], layout["line"], layout["led"]
        cells = layout["gap"].size
    return Played(
        when[changed], sent[changed] / np.float32(255), float(when[-1]), cell, line, led, cells
    )
