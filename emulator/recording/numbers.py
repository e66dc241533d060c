"""A recording as numbers: arrays for numpy, a table for spreadsheets."""

from __future__ import annotations

import csv
import zipfile
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from emulator.files import MARK
from emulator.recording.drawing import Kind
from emulator.recording.recording import Recording

Watch = Callable[[Sequence[int]], Iterable[int]]

_BLOCK = 256  # frames in memory at a time


def write_npz(recording: Recording, path: Path, kind: Kind, watch: Watch = iter) -> None:
    """Write a .npz: times_ns (T,), line, led, column, row (N,), and drives (T, N, C) or light.

    column and row are -1 for an LED without a cell. Drives are uint8 in the order of the channels.
    Light is linear, float32 (T, N, 3), 1 at full drive.
    """
    column, row = recording.columns_and_rows
    arrays = {
        "times_ns": recording.times_ns,
        "line": recording.line,
        "led": recording.led,
        "column": column,
        "row": row,
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.comment = MARK.encode()
        for name, array in arrays.items():
            with _member(archive, name) as member:
                np.lib.format.write_array(member, np.ascontiguousarray(array), allow_pickle=False)
        with _member(archive, kind) as member:
            first = _values(recording, kind, slice(0, 1))
            header = {
                "descr": np.lib.format.dtype_to_descr(first.dtype),
                "fortran_order": False,
                "shape": (len(recording), *first.shape[1:]),
            }
            np.lib.format.write_array_header_1_0(member, header)
            for begin in watch(range(0, len(recording), _BLOCK)):
                block = slice(begin, begin + _BLOCK)
                member.write(np.ascontiguousarray(_values(recording, kind, block)).data)


def write_csv(recording: Recording, path: Path, kind: Kind, watch: Watch = iter) -> None:
    """Write a CSV with a row for each LED of each frame: time_ns, line, led, column, row, values.

    Drives in the order of the channels, 0 to 255; light as linear r, g, b, 1 at full drive.
    """
    column, row = recording.columns_and_rows
    places = np.stack([recording.line, recording.led, column, row], axis=1).tolist()
    names = recording.channels.lower() if kind == "drives" else "rgb"
    with path.open("w", newline="", encoding="utf-8") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(["time_ns", "line", "led", "column", "row", *names])
        for frame in watch(range(len(recording))):
            shown = _values(recording, kind, frame)
            # As float64: rounded numbers are then short as text.
            values = (shown if kind == "drives" else shown.astype(float).round(6)).tolist()
            time_ns = int(recording.times_ns[frame])
            table.writerows(
                [time_ns, *place, *value] for place, value in zip(places, values, strict=True)
            )


def _values(recording: Recording, kind: Kind, frames: int | slice) -> NDArray[Any]:
    return recording.stored[frames] if kind == "drives" else recording.light(frames)


def _member(archive: zipfile.ZipFile, name: str) -> IO[bytes]:
    """A file of the archive to write an array to; without a date, so that equal data give equal
    files."""
    about = zipfile.ZipInfo(f"{name}.npy")
    about.compress_type = zipfile.ZIP_DEFLATED
    return archive.open(about, "w", force_zip64=True)
