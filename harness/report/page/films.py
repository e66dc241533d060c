"""The films of a trial: every pattern, as it was sent and as the wall shows it."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Srgb
from emulator.bench import cell_light
from emulator.canvas import full_light, meant_light
from harness.patterns.pattern import Pattern, patterns_for_people
from harness.patterns.sources import example_picture
from harness.report.page.film import Film
from harness.subject.trial import Trial

_MOST_STEPS = 64  # of a pattern
_MOST_CELLS = 1_000_000  # of all steps of a pattern together: bounds time and size of the page


def films(trial: Trial) -> list[Film]:
    """A film of a picture with letters, and of each pattern. Sends them. Raises SubjectError."""
    trial.doing = "a picture with letters, for the report"
    letters = example_picture(trial.display)
    found = [_film(trial, "letters", "a picture with letters", [letters], [0])]
    for pattern in patterns_for_people():
        name = pattern.name
        steps = _steps(trial, pattern)
        trial.doing = f"pattern {name}, for the report"
        pictures = [pattern.draw(trial.display, step) for step in steps]
        count = pattern.steps(trial.display)
        found.append(_film(trial, name, pattern.about, pictures, steps, count, pattern.hold_ms))
    trial.doing = ""
    return found


def _steps(trial: Trial, pattern: Pattern) -> list[int]:
    """The steps to show: all, or as many as fit, evenly, the first and the last among them."""
    count = pattern.steps(trial.display)
    cells = trial.display.grid.columns * trial.display.grid.rows
    most = min(count, _MOST_STEPS, max(_MOST_CELLS // cells, 2))
    return sorted({round(step) for step in np.linspace(0, count - 1, most).tolist()})


def _film(
    trial: Trial,
    name: str,
    about: str,
    pictures: list[Srgb],
    steps: list[int],
    of: int = 1,
    hold_ms: int = 1000,
) -> Film:
    """A film in shares of what [canvas] makes of full white, so that a dimmed wall is seen too."""
    display, white = trial.display, full_light(trial.display).astype(np.float32)
    shown = cell_light(trial.show(pictures).light, display)
    meant = [meant_light(picture, display) / white for picture in pictures]
    pairs = list(zip(meant, shown, strict=True))
    return Film.of_light(name, about, pairs, display.gap, steps, of, hold_ms)
