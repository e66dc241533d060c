"""The contact sheet of a check: what the display showed for each test pattern."""

from __future__ import annotations

import numpy as np
from PIL import Image

from emulator.arrays import Light, Srgb
from emulator.light.still import contact_sheet
from harness.patterns.pattern import PATTERNS
from harness.patterns.sources import example_picture
from harness.subject.trial import Trial

_MOST_STEPS = 4  # tiles for each pattern


def check_sheet(trial: Trial) -> Image.Image:
    """Tiles of every pattern as shown, at most four steps each; labels say which are wrong."""
    return contact_sheet(
        trial.display, [_tile(trial, label, picture) for label, picture in sheet_pictures(trial)]
    )


def sheet_pictures(trial: Trial) -> list[tuple[str, Srgb]]:
    """(label, picture) of each tile: patterns by name and step, and the example with letters.

    A wall too low for letters has no such picture: its example is the pattern `corners`, which has
    its own tile.
    """
    display = trial.display
    pictures = []
    for pattern in PATTERNS.values():
        if pattern.for_camera:
            continue
        steps = pattern.steps(display)
        for step in _shown_steps(steps):
            label = pattern.name if steps == 1 else f"{pattern.name}, step {step}"
            pictures.append((label, pattern.draw(display, step)))
    example = example_picture(display)
    if not any(np.array_equal(example, picture) for _, picture in pictures):
        pictures.append(("letters (scene programme)", example))
    return pictures


def _shown_steps(count: int) -> list[int]:
    """At most four of so many steps, the first and the last among them."""
    chosen = np.linspace(0, count - 1, min(count, _MOST_STEPS)).round()
    return [int(step) for step in np.unique(chosen)]


def _tile(trial: Trial, label: str, picture: Srgb) -> tuple[str, Light]:
    meant, shown = trial.compare(picture)
    differs = not np.allclose(meant, shown, atol=0.02)
    return f"{label}, not as meant" if differs else label, shown
