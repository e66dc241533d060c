"""The pictures that a person may be asked to look at: single pictures of the test patterns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Bytes, Ints, Srgb
from emulator.description.display import Display
from harness.campaign.watch import data_of, sent_drives
from harness.patterns.pattern import PATTERNS, Pattern

# Seconds of a person's time for a picture: assumptions, no source. A plain one is seen at a glance;
# where each cell differs from its neighbour, it has to be compared with what it should be.
GLANCE_S, COMPARE_S = 6.0, 12.0

# A step lights one LED: too many pictures for a person, and each tells little.
_LEFT_OUT = ("chase",)
# Every cell changes once a second: a loose joint shows.
_MOVES = "checker"
MOVING = -1


@dataclass(frozen=True, eq=False)
class Question:
    """One picture that the wall shows while a person looks at it; or a few that change.

    pattern, step: where it comes from; step MOVING: all pictures of the pattern, one after the
    other. pictures: (T, rows, columns, 3) uint8 sRGB, T is 1 for a still one. seconds: of the
    person's time to look and answer.
    """

    pattern: Pattern
    step: int
    pictures: Srgb
    seconds: float

    @property
    def picture(self) -> Srgb:
        """The picture, or the first of those that change."""
        return np.asarray(self.pictures[0])

    @property
    def name(self) -> str:
        """'checker 2': the pattern, and the picture of it from 1."""
        return f"{self.pattern.name} {'moving' if self.step == MOVING else self.step + 1}"


@dataclass(frozen=True, eq=False)
class Frames:
    """All T pictures of Q questions.

    of: (T,) their question. pictures: (T, rows, columns, 3). drives: (T, N, C) that are sent, under
    the limit of the display file. data: (T, B) their bytes. lit: (Q, N) LEDs that should be lit
    at some time.
    """

    of: Ints
    pictures: Srgb
    drives: Bytes
    data: Bytes
    lit: Bools

    @classmethod
    def of_questions(cls, asked: Sequence[Question], display: Display) -> Self:
        """The frames of questions."""
        of = np.repeat(np.arange(len(asked)), [len(one.pictures) for one in asked])
        pictures = np.concatenate([one.pictures for one in asked])
        drives = sent_drives(pictures, display)
        lit = np.zeros((len(asked), display.leds), dtype=np.bool_)
        np.logical_or.at(lit, of, drives[..., : len(display.chip.channels)].any(axis=2))
        return cls(of, pictures, drives, data_of(drives, display), lit)

    @property
    def questions(self) -> int:
        """Q."""
        return int(self.of[-1]) + 1

    @property
    def moving(self) -> Ints:
        """The questions whose pictures change."""
        return np.flatnonzero(np.bincount(self.of) > 1)

    @property
    def plain(self) -> Ints:
        """The still questions that look the same in all cells."""
        same = (self.pictures == self.pictures[:, :1, :1]).all(axis=(1, 2, 3))
        return np.setdiff1d(self.of[same], self.moving)

    def joined(self, symbols: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Symbols (Q, U) of questions from those of pictures (T, U): of those that change, the one
        that differs most from the plan."""
        found: NDArray[np.uint8] = np.maximum.reduceat(
            symbols, np.flatnonzero(np.diff(self.of, prepend=-1))
        )
        return found


def questions(display: Display, patterns: Sequence[Pattern] | None = None) -> tuple[Question, ...]:
    """All pictures that differ, in the order of the patterns; and one that moves."""
    found: dict[bytes, Question] = {}
    usual = [p for p in PATTERNS.values() if not (p.for_camera or p.name in _LEFT_OUT)]
    for one in patterns or usual:
        pictures = one.pictures(display)
        for step, picture in enumerate(pictures):
            seconds = GLANCE_S + COMPARE_S * _detail(picture)
            found.setdefault(picture.tobytes(), Question(one, step, picture[None], seconds))
        if one.name == _MOVES:
            found[pictures.tobytes()] = Question(one, MOVING, pictures, GLANCE_S + COMPARE_S)
    return tuple(found.values())


def is_plain(picture: Srgb) -> bool:
    """Whether a picture (rows, columns, 3) is the same in all cells."""
    return bool((picture == picture[0, 0]).all())


def _detail(picture: Srgb) -> float:
    """The share of neighbouring cells that should look different, 0 to 1."""
    across = (np.diff(picture.astype(np.int16), axis=1) != 0).any(axis=2)
    down = (np.diff(picture.astype(np.int16), axis=0) != 0).any(axis=2)
    return float(np.concatenate([across.ravel(), down.ravel(), [False]]).mean())
