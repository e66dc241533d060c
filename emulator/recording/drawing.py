"""Frames of a recording as pictures: as the light of the wall, or as plain squares of drives."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, Literal

import numpy as np
from PIL import Image

from emulator.arrays import Srgb
from emulator.description.display import Display
from emulator.description.faults.built import as_built
from emulator.light.look import Look
from emulator.light.still import page as page
from emulator.light.still import tile_wide as tile_wide
from emulator.light.wall import MOST_HIGH, WallView
from emulator.recording.shownon import display_of

if TYPE_CHECKING:  # a recording draws itself
    from emulator.recording.recording import Recording

Kind = Literal["light", "drives"]

_MOST_TILES = 60
_PAGE_WIDE = 1200


def drawer(
    recording: Recording, kind: Kind, display: Display | None, pixels_wide: int
) -> tuple[tuple[int, int], Callable[[int], Srgb]]:
    """(width, height), and a function: frame number → sRGB picture, uint8 (height, width, 3).

    kind 'light': the wall as it looks, in the LEDs' own colours, behind its cover; it needs the
    display, see `display_of`. kind 'drives': cells as plain squares whose code values are the
    drives, with white added to red, green and blue. A cell has whole pixels, at least one, so the
    width is otherwise at most `pixels_wide`. The next picture may overwrite the last one.
    """
    if kind == "light":
        shown = display_of(recording, display)
        view, glow = WallView(shown, pixels_wide, Look(led_colours=True)), None
        if shown.faults:
            glow = as_built(shown, shown.faults).glow.astype(np.float32)
        return (view.width, view.height), lambda frame: view.draw(recording.cells(frame, glow))
    across, down = recording.pitches_mm
    wide = pixels_wide // recording.columns
    wide = max(min(wide, int(MOST_HIGH * across / (recording.rows * down))), 1)
    high = max(round(wide * down / across), 1)

    def draw(frame: int) -> Srgb:
        codes = np.round(255 * recording.cells(frame).clip(0, 1)).astype(np.uint8)
        return codes.repeat(high, axis=0).repeat(wide, axis=1)

    return (wide * recording.columns, high * recording.rows), draw


def sheet(
    recording: Recording, kind: Kind = "light", display: Display | None = None
) -> Image.Image:
    """A contact sheet of up to 60 frames, evenly spread, with their times in s.

    kind: as for `drawer`. Raises RecordingError without a frame or a display: see `display_of`.
    """
    recording.frame_at(0)  # raises RecordingError without a frame
    shown = display_of(recording, display)
    count = min(len(recording), _MOST_TILES)
    frames = np.unique(np.linspace(0, len(recording) - 1, count).round().astype(int)).tolist()
    columns = math.ceil(math.sqrt(0.6 * count))  # a page of many tiles is about as high as wide
    _, draw = drawer(recording, kind, shown, tile_wide(shown, columns, _PAGE_WIDE))
    tiles = [
        (f"{recording.times_ns[frame] / 1e9:.3f} s", Image.fromarray(draw(frame)))  # copies
        for frame in frames
    ]
    return page(shown, tiles, columns, _PAGE_WIDE)
