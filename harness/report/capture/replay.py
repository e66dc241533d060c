"""Frames of a capture shown on a display."""

from __future__ import annotations

from typing import TextIO

import numpy as np
from PIL import Image

from emulator.bench import Bench
from emulator.description.display import Display
from emulator.errors import CaptureError
from emulator.light.still import contact_sheet
from emulator.signal.capture import Capture
from harness.report.picture import colour_picture
from harness.report.terminal import terminal

_MOST_TILES = 60


def check_lines(capture: Capture, display: Display) -> int:
    """The number of frames to show. Raises CaptureError if it is 0, or for too many lines."""
    lines, wanted = capture.lines, len(display.wiring.line_names)
    if len(lines) > wanted:
        raise CaptureError(
            f"the capture has {len(lines)} lines, '{display.name}' has {wanted}",
            fix="show it on a display with as many lines.",
        )
    count = max((len(line.frames) for line in lines), default=0)
    if count == 0:
        raise CaptureError("no frame was found in the capture", fix="check chip and line.")
    return count


def show_capture(capture: Capture, display: Display, out: TextIO | None) -> Image.Image:
    """Send a capture's frames to the display's lines, in order of their names in the capture.

    Prints the last frame to `out`, unless that is None, and returns a contact sheet of up to
    60 frames. Raises CaptureError if the capture has more lines than the display, or no frame.
    """
    lines = capture.lines
    wanted = len(display.wiring.line_names)
    count = check_lines(capture, display)
    bench = Bench(display)
    kept = set(np.linspace(0, count - 1, min(count, _MOST_TILES)).round().astype(int).tolist())
    tiles = []
    for number in range(count):
        frames = [line.frames[number] if number < len(line.frames) else None for line in lines]
        data = [f.data if f is not None else np.zeros(0, np.uint8) for f in frames]
        data += [np.zeros(0, np.uint8)] * (wanted - len(data))
        bench.send_frame(data)
        if number in kept:
            time_ms = next(f.time_ns for f in frames if f is not None) / 1e6
            tiles.append((f"frame {number}, {time_ms:.3f} ms", bench.picture))
    if out is not None:
        console = terminal(out)
        console.print(f"{display.name} after the last frame:")
        console.print(colour_picture(bench.picture, display.gap))
    return contact_sheet(display, tiles)
