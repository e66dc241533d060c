"""A recording of 100,000 LEDs at 30 frames/s: megabytes an hour, and how fast it is read."""

from __future__ import annotations

import tempfile
import time
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from emulator import DiskRecorder, Display, canvas, load_recording, parse_display
from emulator.arrays import Bytes
from harness.patterns.sources import named_source
from tests.benchmarks.row import Row

SCENES = ("aurora", "lobby", "clock")
SECONDS, RATE = 2, 30


def wall() -> Display:
    """100,000 LEDs on 100 lines."""
    text = "[grid]\ncolumns = 500\nrows = 200\n[chip]\npart = 'WS2812B'\n[wiring]\nlines = 100\n"
    return parse_display(text, Path("bench.toml"))


def rows() -> Iterator[Row]:
    """A row a scene; the anchor is what differences between frames would save."""
    display = wall()
    for name in SCENES:
        source = named_source(name, display)
        pictures = (source(at / RATE) for at in range(SECONDS * RATE))
        drives = np.stack([canvas.to_drives(picture, display) for picture in pictures])
        yield _row(name, display, drives)


def _row(name: str, display: Display, drives: Bytes) -> Row:
    with tempfile.TemporaryDirectory() as folder:
        times_ns = np.arange(len(drives)) * (1_000_000_000 // RATE)
        begin_s = time.process_time()
        with DiskRecorder(folder, display) as recorder:
            for time_ns, frame in zip(times_ns.tolist(), drives, strict=True):
                recorder.append(time_ns, frame)
        written_s = time.process_time() - begin_s
        size = sum(file.stat().st_size for file in Path(folder).iterdir())
        begin_s = time.process_time()
        read = load_recording(folder)
        read_s = time.process_time() - begin_s
        assert len(read.times_ns) == len(drives)
    changes = drives.copy()
    changes[1:] -= drives[:-1]
    packed = len(zlib.compress(changes.tobytes(), 6))
    return Row(
        f"recording of scene {name}, 100,000 LEDs, {RATE} frames/s",
        f"{_mb_an_hour(size):.0f} MB/h, written {SECONDS / written_s:.0f}× and read"
        f" {SECONDS / read_s:.0f}× as fast as it plays",
        "≥ 1×",
        f"{_mb_an_hour(packed):.0f} MB/h with differences; {_mb_an_hour(drives.size):.0f} raw",
    )


def _mb_an_hour(size: int) -> float:
    return size / 1e6 / SECONDS * 3600
