"""Pictures and clips for the tests, made from files of packages that we depend on."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import av
import matplotlib
import numpy as np
import pygame
from PIL import Image

from emulator import Display, parse_display

# matplotlib's sample data: a portrait of Rear Admiral Grace M. Hopper by the United States Navy,
# as a work of the federal government in the public domain (from memory; the package's note names
# no licence of its own).
PHOTO = Path(matplotlib.get_data_path()) / "sample_data" / "grace_hopper.jpg"
# DejaVu Sans, which matplotlib brings; its licence lies beside it (LICENSE_DEJAVU).
FONT = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / "DejaVuSans.ttf"
# An animated GIF of pygame-ce's examples.
GIF = Path(pygame.__file__).parent / "examples" / "data" / "animated_sample.gif"


def wall(columns: int, rows: int, **grid: float) -> Display:
    """A display of that size, 10 mm from cell to cell unless `grid` says otherwise."""
    sizes = {"columns": columns, "rows": rows, "pitch_mm": 10.0, **grid}
    text = "[grid]\n" + "".join(f"{key} = {value}\n" for key, value in sizes.items())
    text += '[chip]\npart = "WS2812B-V5"\n[wiring]\nstart = "top-left"\n'
    return parse_display(text, Path("wall.toml"))


@cache
def photo(wide: int = 96, high: int = 64) -> np.ndarray:
    """(high, wide, 3) uint8: the middle of the photograph."""
    with Image.open(PHOTO) as image:
        return np.asarray(image.convert("RGB").resize((wide, high)))


def moving_photo(frames: int) -> np.ndarray:
    """(frames, 64, 96, 3) uint8: the photograph, turned by 8 pixels a frame."""
    return np.stack([np.roll(photo(), 8 * number, axis=1) for number in range(frames)])


def write_clip(path: Path, frames: np.ndarray, rate: int, codec: str = "libx264") -> Path:
    """Write frames (T, h, w, 3) as a video file that PyAV encodes, almost without loss."""
    with av.open(str(path), "w") as file:
        stream = file.add_stream(codec, rate=rate)
        stream.height, stream.width = frames.shape[1:3]
        stream.pix_fmt = "bgr0" if codec == "ffv1" else "yuv444p"
        if codec == "libx264":
            stream.options = {"crf": "4", "g": "12"}
        for frame in frames:
            file.mux(stream.encode(av.VideoFrame.from_ndarray(frame, format="rgb24")))
        file.mux(stream.encode())
    return path
