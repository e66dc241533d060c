"""The frames of a film that are looked at: some of each picture, the part with the wall, reduced.

They are kept, so that the film need not be decoded again; their number and size do not depend on
how long the film is.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints, Srgb
from harness.patterns.film import FilmStep
from harness.survey.footage import Footage, Frame, linear_of_code
from harness.survey.rhythm import Rhythm
from harness.survey.seen import Outline
from harness.survey.shift import Picture32, within

_FRAMES = 3  # of one picture
_PITCH = 16.0  # pixels that remain from one LED to the next, or fewer: glare blinks as well
_MOST_PIXELS = 400_000
_MOVES = 0.2  # of the block that changes most with the pattern: the wall is there, once at least
_AROUND = 0.12  # of the wall's size: the hand moves the camera

Coded = NDArray[np.uint8]


@dataclass(frozen=True)
class Shot:
    """A frame that shows one step alone. light: (h, w), rgb: (h, w, 3), both coded (`light_of`);
    rgb only where colours matter, in the dark and while all are of one colour."""

    step: int
    turn: int
    time_s: float
    light: Coded
    rgb: Coded | None = None


@dataclass(frozen=True)
class Shots:
    """Shots in the order of their times.

    still: (h, w, 3) the sharpest whole frame with all on, and sharpest: its shot. left, top,
    larger: where the shots' part is in the whole frame, and by how much larger it is there.
    pitch: pixels of a shot from one LED to the next, about.
    """

    shots: list[Shot]
    still: Srgb
    sharpest: Shot | None
    left: int
    top: int
    larger: float
    pitch: float

    def own_pixels(self, whole: Floats) -> Floats:
        """(…, 2) pixels of a shot, of pixels of the whole frame; `Outline.seen_at` goes back."""
        first = np.array([self.left, self.top]) + (self.larger - 1) / 2
        return np.asarray((whole - first) / self.larger)

    def has(self, outline: Outline, shape: tuple[int, ...]) -> Bools:
        """(rows, columns) whether the shots have these cells, of an outline in one of them."""
        return within(outline.middles(shape), self.shots[0].light.shape)

    def pictures(self) -> Iterator[tuple[int, int, list[Shot]]]:
        """Pass, step, and the shots of each picture."""
        for (turn, step), some in groupby(self.shots, key=lambda shot: (shot.turn, shot.step)):
            yield turn, step, list(some)


def light_of(coded: Coded) -> Picture32:
    """Linear light 0…1 of a shot, whose codes are its square root."""
    import cv2  # of the extra `camera`

    return np.asarray(cv2.LUT(coded, _squares()), dtype=np.float32)


@lru_cache(maxsize=1)
def _squares() -> NDArray[np.float32]:
    return ((np.arange(256) / 255) ** 2).astype(np.float32)


@dataclass(frozen=True)
class _Part:
    """The part of a frame in which the wall is, and by how much it is reduced."""

    left: int
    top: int
    right: int
    bottom: int
    reduced: float

    def of(self, codes: NDArray[np.uint8], narrow: bool = False) -> Coded:
        """The part of an image (h, w), as a shot has it."""
        import cv2  # of the extra `camera`

        part = np.ascontiguousarray(codes[self.top : self.bottom, self.left : self.right])
        light = cv2.LUT(part, linear_of_code(narrow))
        if self.reduced < 1:
            size = (
                max(round((self.right - self.left) * self.reduced), 1),
                max(round((self.bottom - self.top) * self.reduced), 1),
            )
            light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
        return (np.sqrt(light) * 255 + 0.5).astype(np.uint8)


def shots_of(film: Footage, rhythm: Rhythm, steps: tuple[FilmStep, ...], leds: int) -> Shots:
    """Decode the film and keep the shots of it; leds: how many the wall has."""
    chosen = _chosen(rhythm, steps)
    last = max(chosen, default=-1)
    shots: list[Shot] = []
    part: _Part | None = None
    pitch, sharp = 0.0, -1.0
    sharpest: Shot | None = None
    still: Srgb = np.zeros((1, 1, 3), dtype=np.uint8)
    for number, frame in enumerate(film.frames()):
        if number > last:
            break
        if number not in chosen:
            continue
        if part is None:
            size = frame.luma.shape
            pitch = _pitch(rhythm.light, size, leds)
            part = _part(rhythm, size, pitch)
        step, turn = int(rhythm.step[number]), int(rhythm.turn[number])
        shows = steps[step].shows
        light, rgb = part.of(frame.luma, frame.narrow), None
        if shows in ("dark", "red", "green", "blue"):
            whole = frame.rgb()
            channels = [part.of(np.ascontiguousarray(whole[..., k])) for k in range(3)]
            rgb = np.stack(channels, axis=-1)
            if shows != "dark":
                light = rgb.max(axis=2)  # luma hardly shows blue
        shots.append(Shot(step, turn, frame.time_s, light, rgb))
        if shows == "on" and (now := _sharpness(frame, part)) > sharp:
            sharp, sharpest, still = now, shots[-1], frame.rgb()
    if part is None:
        return Shots([], still, None, 0, 0, 1.0, 1.0)
    larger = 1 / part.reduced
    return Shots(shots, still, sharpest, part.left, part.top, larger, pitch / larger)


def _chosen(rhythm: Rhythm, steps: tuple[FilmStep, ...]) -> set[int]:
    """The numbers of the frames that are kept: some of each step, of the pass with most of it.

    A bit and its inverse are of one pass, so that nothing changes between them but the LEDs.
    """
    held: dict[tuple[int, int], Ints] = {}
    for number in np.flatnonzero(rhythm.step >= 0).tolist():
        key = int(rhythm.turn[number]), int(rhythm.step[number])
        held[key] = np.append(held.get(key, np.zeros(0, dtype=np.int64)), number)
    turns = sorted({turn for turn, _ in held})
    turns.sort(key=lambda turn: -sum(one == turn for one, _ in held))
    units = [
        (number, number + 1) if step.shows == "bit" else (number,)
        for number, step in enumerate(steps)
        if step.shows != "inverse"
    ]
    chosen: set[int] = set()
    for unit in units:
        whole = [one for one in turns if all((one, step) in held for step in unit)]
        for turn in whole[:1]:
            for some in (held[turn, step] for step in unit):
                chosen |= set(some[_spread(len(some))].tolist())
    return chosen


def _spread(count: int) -> Ints:
    """Which of so many frames are kept: evenly spread, and not those at a change, if it can be."""
    kept = min(count, _FRAMES)
    return ((np.arange(kept) + 0.5) * count / kept).astype(np.int64)


def _sharpness(frame: Frame, part: _Part) -> float:
    """Mean difference from pixel to pixel in the part, against its light."""
    some = frame.luma[part.top : part.bottom, part.left : part.right].astype(np.float32)
    return float(np.abs(np.diff(some, axis=1)).mean() / (some.mean() + 1))


def _pitch(light: Floats, shape: tuple[int, ...], leds: int) -> float:
    """About how many pixels an LED is from the next, if the LEDs fill what blinks."""
    rows, columns = light.shape
    share = np.clip(light, 0, None)
    share = share / max(float(share.max()), 1e-12)
    across, down = share.max(axis=0).sum(), share.max(axis=1).sum()
    return float(np.sqrt(across * shape[1] / columns * down * shape[0] / rows / leds))


def _part(rhythm: Rhythm, shape: tuple[int, ...], pitch: float) -> _Part:
    """The blocks that blink, and some around them; also where the wall is when a stand is hit."""
    light, moves = rhythm.light, rhythm.moves
    lit = (light > 0.08 * light.max()) | (moves > _MOVES * moves.max())
    bounds = []
    for axis in (1, 0):
        there, count = np.flatnonzero(lit.any(axis=axis)), light.shape[1 - axis]
        more = 2 + int(_AROUND * (there[-1] - there[0]))
        size = shape[1 - axis]
        bounds += [
            max(int(there[0]) - more, 0) * size // count,
            min(int(there[-1]) + 1 + more, count) * size // count,
        ]
    top, bottom, left, right = bounds
    most = float(np.sqrt(_MOST_PIXELS / ((bottom - top) * (right - left))))
    reduced = min(_PITCH / pitch, most, 1.0)
    # So many pixels that a whole number remains, except for less than one.
    right = left + round(int((right - left) * reduced) / reduced)
    bottom = top + round(int((bottom - top) * reduced) / reduced)
    return _Part(left, top, right, bottom, reduced)
