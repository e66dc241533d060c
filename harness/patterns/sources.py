"""What can be shown on a display, by name: patterns, scenes, and your files."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from emulator.arrays import Light
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import SourceError, UnknownNameError
from emulator.picture.clip import Clip
from emulator.picture.scene import SceneFile
from emulator.picture.smallfont import HEIGHT
from emulator.picture.source import Source, close_source
from emulator.picture.srgb import linear_to_srgb
from emulator.picture.still import Still, StillFolder, opened
from emulator.recording.disk import INDEX
from emulator.recording.recording import load_recording
from emulator.recording.shownon import display_of
from emulator.registry import Registry
from harness.patterns.pattern import ALL_PATTERNS, PATTERNS, pattern
from scenes import SCENES

PictureAt = Callable[[float], NDArray[Any]]
"""`picture_at(time_s)` is a picture for one display: a source bound to it, or a pattern."""

ALL_SOURCES = Registry[Source](
    "source", SCENES, callable, "a function of a time and a display", taken=PATTERNS
)
_LETTERS_IN_VIEW_S = 4.0


class Scene(Closing):
    """A source bound to a display: `scene(time_s)` is its picture."""

    def __init__(self, source: Source, display: Display) -> None:
        self.source = source
        self._display = display

    def __call__(self, time_s: float) -> NDArray[Any]:
        return np.asarray(self.source(time_s, self._display))

    def close(self) -> None:
        """Give back what the source holds."""
        close_source(self.source)


def named_source(name: str, display: Display, *, reload: bool = True) -> Scene:
    """time_s → picture of a demo scene, a test pattern, or the file or folder of a path.

    A path may be a scene (.py), a picture, a clip, a folder of pictures, or the folder of a
    recording. reload: load a scene's file again after it has changed. Raises UnknownNameError for a
    name that is none of these, SourceError and RecordingError for a file that cannot be shown.
    """
    path = Path(name)
    ours = name in PATTERNS or name in SCENES
    if ours or not (path.suffix == ".py" or path.exists()):
        return Scene(_by_name(name), display)
    if path.suffix == ".py":
        return Scene(SceneFile(path, reload=reload), display)
    if path.is_dir():
        return Scene(_recorded(path) if (path / INDEX).exists() else StillFolder(path), display)
    if path.is_file():
        return Scene(Still(path) if _stands_still(path) else Clip(path), display)
    raise SourceError("neither a file nor a folder", place=name, fix="name one.")


def check_known(name: str) -> None:
    """Raise UnknownNameError if a name is neither a scene nor a pattern."""
    if name not in ALL_SOURCES and name not in ALL_PATTERNS:
        known = [*ALL_SOURCES.names(), *ALL_PATTERNS.names()]
        raise UnknownNameError("scene, pattern or file", name, known)


def all_sources(display: Display) -> dict[str, PictureAt]:
    """Every scene and pattern: 'scene aurora', 'pattern chase' …"""
    titles = {name: f"scene {name}" for name in ALL_SOURCES.names()}
    titles |= {name: f"pattern {name}" for name in ALL_PATTERNS.names()}
    return {title: named_source(name, display) for name, title in titles.items()}


def example_picture(display: Display) -> NDArray[np.uint8]:
    """A picture (rows, columns, 3) uint8 that shows at a glance if it is mirrored or shuffled.

    It has letters; if the wall is too low for them, a colour in each corner.
    """
    if display.grid.rows < HEIGHT:
        return pattern("corners").draw(display, 0)
    light = named_source("programme", display)(_LETTERS_IN_VIEW_S)
    return (255 * linear_to_srgb(light)).round().astype(np.uint8)


def _by_name(name: str) -> Source:
    check_known(name)
    if name not in ALL_PATTERNS:
        return ALL_SOURCES[name]
    at = pattern(name).at
    return lambda time_s, shown: at(shown, time_s)


def _recorded(folder: Path) -> Source:
    """What a recording showed, repeated, on the display it was recorded on."""
    recording = load_recording(folder)
    recording.frame_at(0)  # raises if there is no frame
    begin_s, end_s = recording.times_ns[[0, -1]] / 1e9

    def picture(time_s: float, display: Display) -> Light:
        display_of(recording, display)
        at_s = begin_s + (time_s % (end_s - begin_s) if end_s > begin_s else 0.0)
        # A white LED adds to red, green and blue: a picture holds at most full light of each.
        return np.minimum(recording.cells(recording.frame_at(at_s)), np.float32(1))

    return picture


def _stands_still(path: Path) -> bool:
    """Whether a file holds exactly one picture that Pillow can read."""
    try:
        with opened(path) as image:
            return not getattr(image, "is_animated", False)
    except Image.DecompressionBombError:
        return True  # reported when it is read
    except Exception:  # see opened
        return False
