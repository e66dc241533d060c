"""Compares what the wall has shown, frame by frame, with a sequence stored beside the test."""

from __future__ import annotations

import io
import zipfile
import zlib
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.bench import Bench, cell_light, led_light
from harness.assertions.failure import PictureFailure, place_of
from harness.assertions.latched import latched_frames
from harness.assertions.runningtest import RunningTest

__tracebackhide__ = True  # a failure points to the line of the test

Arrays = dict[str, NDArray[Any]]


def assert_sequence(
    bench: Bench, name: str, tolerance: int = 2, within_ms: float | None = None
) -> None:
    """Fail unless the frames latched so far are those of `pictures/<test module>/<name>.npz`.

    The file is beside the test; `pytest --foreglow-update` writes it from what was shown. Without
    it the assertion fails. It holds numpy arrays: times_ns (T,), ns after the first frame; drives
    (T, N, C) uint8; cell (N,) of each LED. tolerance: by how much a drive may differ, 0 to 255.
    within_ms: by how much the time of a frame may differ; None allows any. Raises AssertionError,
    which names the first frame that differs; ForeglowError outside a test.
    """
    test = RunningTest.now()
    path = test.path(name, ".npz")
    shown, stored = _arrays(bench), _read(path)
    if test.update:
        if stored is None or any(not np.array_equal(shown[key], stored[key]) for key in shown):
            data = io.BytesIO()
            np.savez_compressed(data, allow_pickle=False, **shown)
            test.write(path, data.getvalue())
        return
    about = f"the sequence {test.told(path)}"
    fix = f"  To store what was shown: {test.command}"
    if stored is None:
        why = "cannot be read" if path.exists() else "does not exist yet"
        pictures = [("shown", bench.picture)]
        raise PictureFailure(f"{about} {why}\n{fix}", bench.display, pictures)
    if not np.array_equal(shown["cell"], stored["cell"]) or (
        shown["drives"].shape[1:] != stored["drives"].shape[1:]
    ):
        raise AssertionError(f"{about} was stored with another wiring or chip\n{fix}")
    _compare_drives(bench, shown, stored, tolerance, f"not {about}\n{fix}\n")
    if len(shown["times_ns"]) != len(stored["times_ns"]):
        raise AssertionError(
            f"{len(shown['times_ns'])} frames are shown, {about} has {len(stored['times_ns'])}; the"
            f" frames that both have are the same\n{fix}"
        )
    off_ms = np.abs(shown["times_ns"] - stored["times_ns"]) / 1e6
    if within_ms is not None and (off_ms > within_ms).any():
        frame = int((off_ms > within_ms).argmax())
        raise AssertionError(
            f"the frames of {about} come at other times: the first is frame {frame}, at"
            f" {shown['times_ns'][frame] / 1e9:.3f} s instead of"
            f" {stored['times_ns'][frame] / 1e9:.3f} s after frame 0; the largest difference is"
            f" {off_ms.max():.2f} ms\n{fix}"
        )


def _compare_drives(bench: Bench, shown: Arrays, stored: Arrays, most: int, about: str) -> None:
    """Raise a PictureFailure for the first frame whose drives differ by too much."""
    wrong = [
        (np.abs(one.astype(np.int16) - other) > most).any(axis=-1)
        for one, other in zip(shown["drives"], stored["drives"], strict=False)
    ]
    differing = [number for number, leds in enumerate(wrong) if leds.any()]
    if not differing:
        return
    display, first = bench.display, differing[0]
    leds = wrong[first]
    mask = display.wiring.per_cell(leds[:, None])[..., 0]
    meant, light = (
        cell_light(led_light(one["drives"][first], display.chip.channels), display)
        for one in (stored, shown)
    )
    row, column = (int(v) for v in np.argwhere(mask)[0])
    led = int(display.wiring.led_at[row, column])
    values = [" ".join(map(str, one["drives"][first, led])) for one in (stored, shown)]
    raise PictureFailure.of_difference(
        f"{about}{len(differing)} of {len(wrong)} frames differ; the first is frame {first},"
        f" {shown['times_ns'][first] / 1e9:.3f} s after frame 0: {int(leds.sum())} LEDs; the"
        f" first is {place_of(display, column, row)}: expected {display.chip.channels} {values[0]},"
        f" shown {values[1]}",
        display,
        meant,
        light,
        mask,
        (column, row),
    )


def _arrays(bench: Bench) -> Arrays:
    """The arrays to store of a bench. Raises AssertionError if nothing has been shown."""
    drives, times_ns = latched_frames(bench), bench.recorder.times_ns
    return {"times_ns": times_ns - times_ns[0], "drives": drives, "cell": bench.display.wiring.cell}


def _read(path: Path) -> Arrays | None:
    """A stored sequence; None if it cannot be read."""
    try:
        with path.open("rb") as file:
            arrays = np.load(file, allow_pickle=False)
            found: Arrays = {key: arrays[key] for key in ("times_ns", "drives", "cell")}
    except (OSError, ValueError, KeyError, IndexError, EOFError, zipfile.BadZipFile, zlib.error):
        return None
    whole = found["drives"].dtype == np.uint8 and found["drives"].ndim == 3
    return found if whole and found["times_ns"].shape == found["drives"].shape[:1] else None
