"""The pictures that a person may be asked to look at: single pictures of the test patterns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bytes, Srgb
from emulator.description.display import Display
from harness.campaign.watch import sent_drives
from harness.patterns.pattern import PATTERNS, Pattern

# Seconds of a person's time for a picture: assumptions, no source. A plain one is seen at a glance;
# where each cell differs from its neighbour, it has to be compared with what it should be.
GLANCE_S, COMPARE_S = 6.0, 12.0

# A step lights one LED: too many pictures for a person, and each tells little.
_LEFT_OUT = ("chase",)


@dataclass(frozen=True, eq=False)
class Question:
    """One picture that the wall shows while a person looks at it.

    pattern, step: where it comes from. picture: (rows, columns, 3) uint8 sRGB. seconds: of the
    person's time to look and answer.
    """

    pattern: Pattern
    step: int
    picture: Srgb
    seconds: float

    @property
    def name(self) -> str:
        """'checker 2': the pattern, and the picture of it from 1."""
        return f"{self.pattern.name} {self.step + 1}"


def questions(display: Display, patterns: Sequence[Pattern] | None = None) -> tuple[Question, ...]:
    """All pictures that differ from each other, in the order of the patterns."""
    found: dict[bytes, Question] = {}
    for one in patterns or [p for name, p in PATTERNS.items() if name not in _LEFT_OUT]:
        for step, picture in enumerate(one.pictures(display)):
            seconds = GLANCE_S + COMPARE_S * _detail(picture)
            found.setdefault(picture.tobytes(), Question(one, step, picture, seconds))
    return tuple(found.values())


def drives_of_questions(asked: Sequence[Question], display: Display) -> Bytes:
    """The drives (Q, N, C) that are sent, under the limit of the display file."""
    return sent_drives(np.stack([one.picture for one in asked]), display)


def _detail(picture: Srgb) -> float:
    """The share of neighbouring cells that should look different, 0 to 1."""
    across = (np.diff(picture.astype(np.int16), axis=1) != 0).any(axis=2)
    down = (np.diff(picture.astype(np.int16), axis=0) != 0).any(axis=2)
    return float(np.concatenate([across.ravel(), down.ravel(), [False]]).mean())
