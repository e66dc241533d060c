"""What can be shown on a display: patterns and scenes, by name, as functions of time."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.errors import UnknownNameError
from harness.patterns import PATTERNS, pattern
from scenes import SCENES

Source = Callable[[float], NDArray[Any]]

_LETTERS_IN_VIEW_S = 4.0


def pattern_source(name: str, display: Display) -> Source:
    """time_s → picture of a pattern. Raises UnknownNameError."""
    return partial(pattern(name).at, display)


def scene_source(name: str, display: Display) -> Source:
    """time_s → picture of a demo scene. Raises UnknownNameError."""
    if name not in SCENES:
        raise UnknownNameError("scene", name, SCENES)
    module, _, function = SCENES[name].partition(":")
    draw = getattr(importlib.import_module(module), function)
    return lambda time_s: np.asarray(draw(time_s, display))


def all_sources(display: Display) -> dict[str, Source]:
    """Every scene and pattern: 'scene aurora', 'pattern chase' …"""
    scenes = {f"scene {name}": scene_source(name, display) for name in SCENES}
    return scenes | {f"pattern {name}": pattern_source(name, display) for name in PATTERNS}


def example_picture(display: Display) -> NDArray[np.uint8]:
    """A picture with letters in it, uint8: what mirrors, turns or shuffles it shows at a glance."""
    return scene_source("programme", display)(_LETTERS_IN_VIEW_S).astype(np.uint8)
