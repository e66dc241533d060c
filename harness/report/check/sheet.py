"""The contact sheet of a check: what the display showed for each test pattern."""

from __future__ import annotations

import numpy as np
from PIL import Image

from emulator.arrays import Light, Srgb
from emulator.light.still import contact_sheet
from harness.patterns.pattern import PATTERNS, Pattern
from harness.patterns.sources import example_picture
from harness.subject.trial import Trial

_MOST_STEPS = 4  # tiles a pattern


def check_sheet(trial: Trial) -> Image.Image:
    """Tiles of every pattern as shown, at most four steps each; those not as meant say so."""
    tiles = []
    for pattern in PATTERNS.values():
        for step in _telling_steps(pattern, trial):
            picture = pattern.draw(trial.display, step)
            label = pattern.name if pattern.steps(trial.display) == 1 else f"{pattern.name} {step}"
            tiles.append(_tile(trial, label, picture))
    tiles.append(_tile(trial, "letters", example_picture(trial.display)))
    return contact_sheet(trial.display, tiles)


def _telling_steps(pattern: Pattern, trial: Trial) -> list[int]:
    count = pattern.steps(trial.display)
    return sorted(
        set(np.linspace(0, count - 1, min(count, _MOST_STEPS)).round().astype(int).tolist())
    )


def _tile(trial: Trial, label: str, picture: Srgb) -> tuple[str, Light]:
    meant, shown = trial.compare(picture)
    differs = not np.allclose(meant, shown, atol=0.02)
    return f"{label}, not as meant" if differs else label, shown
