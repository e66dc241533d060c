"""GIF and APNG animations, by Pillow."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from emulator.errors import RecordingError
from emulator.files import MARK
from emulator.light.still import png_mark
from emulator.recording.pace import Moments

FORMATS = {".gif": "GIF", ".apng": "PNG"}
TICKS_PER_S = {".gif": 100, ".apng": 1000}  # GIF89a counts in 1/100 s, and Pillow in ms
# GIF players show a frame for longer than it says if that is less than this (common practice, no
# source).
LEAST_TICKS = {".gif": 2, ".apng": 1}
_MOST_PIXELS = 400_000_000  # of all frames, which Pillow keeps in memory: 1.2 GB


def check_length(frames: int, size: tuple[int, int]) -> None:
    """Raise RecordingError if so many frames of (width, height) need too much memory."""
    wide, high = size
    if frames * wide * high > _MOST_PIXELS:
        narrower = int(wide * (_MOST_PIXELS / frames / wide / high) ** 0.5)
        raise RecordingError(
            f"{frames} frames of {wide} × {high} pixels need too much memory",
            fix=f"write an .mp4, which may be of any length, or make them at most"
            f" {narrower} wide, or choose a shorter span.",
        )


def write_animation(
    path: Path, form: str, pictures: Iterable[NDArray[np.uint8]], moments: Moments
) -> None:
    """Write pictures, uint8 sRGB (height, width, 3), each shown from its moment to the next.

    The animation repeats without end. form: '.gif' or '.apng'. moments: (K + 1,) in its ticks.
    """
    first, *others = [Image.fromarray(picture) for picture in pictures]  # copies
    first.save(
        path,
        format=FORMATS[form],
        save_all=True,
        append_images=others,
        duration=(np.diff(moments) * (1000 // TICKS_PER_S[form])).tolist(),
        loop=0,
        **({"comment": MARK} if form == ".gif" else {"pnginfo": png_mark()}),
    )
