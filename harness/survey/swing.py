"""Where the wall shines: all on, or the swing between each bit and its inverse, over some pairs.

LEDs that fill their cells are one bright field when all are on; bits and inverses show each of
them. Nothing is known of the wall yet, so all that helps is in the pictures: the frames of one
picture show the same, a picture and its inverse show the opposite, and the sum of both shows all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats
from harness.patterns.film import FilmStep
from harness.survey.footage import Footage, Frame, linear_of_code
from harness.survey.rhythm import Rhythm, in_steps
from harness.survey.shift import Details, Picture32, moved, peak

_PAIRS = 10
_FRAMES = 4  # of one picture
_MOST_PIXELS = 300_000  # of the part compared, if the pitch stays
_LEAST_PITCH = 8.0  # pixels


@dataclass(frozen=True)
class _Box:
    """The part of a frame in which the wall is, and by how much it is reduced."""

    left: int
    top: int
    right: int
    bottom: int
    reduced: float

    def of(self, frame: Frame) -> Picture32:
        import cv2  # of the extra `camera`

        part = cv2.LUT(
            np.ascontiguousarray(frame.luma[self.top : self.bottom, self.left : self.right]),
            linear_of_code(),
        )
        if self.reduced == 1:
            return np.asarray(part, dtype=np.float32)
        size = (
            round((self.right - self.left) * self.reduced),
            round((self.bottom - self.top) * self.reduced),
        )
        return np.asarray(cv2.resize(part, size, interpolation=cv2.INTER_AREA), np.float32)

    def whole(self, part: Picture32, shape: tuple[int, ...]) -> Picture32:
        """The part in a frame of that shape, which is dark elsewhere."""
        import cv2  # of the extra `camera`

        image = np.zeros(shape, dtype=np.float32)
        size = (self.right - self.left, self.bottom - self.top)
        image[self.top : self.bottom, self.left : self.right] = cv2.resize(part, size)
        return image


def glow_of(film: Footage, rhythm: Rhythm, steps: tuple[FilmStep, ...], leds: int) -> Picture32:
    """The wall with all on, less the dark after it: shows LEDs that do not fill their cells.

    (h, w) linear light, 0 outside the part looked at; (1, 1) if the film does not show it.
    """
    on = [number for number, step in enumerate(steps) if step.shows == "on"]
    after = on[-1] + 1
    wanted = {*on[-4:], *(k for k in (after, after + 1) if steps[k].shows == "dark")}
    box: _Box | None = None
    shining: list[Frame] = []
    dark: list[Picture32] = []
    shape: tuple[int, ...] = (1, 1)
    turn, _ = _chosen(rhythm, steps)
    for step, frames in _pictures(in_steps(film.frames(), rhythm), (turn, wanted)):
        if box is None:
            shape = frames[0].luma.shape
            box = _box_of(shape, rhythm.light, pitch_of(rhythm, shape, leds))
        if step < after:
            shining += frames
        else:
            dark += [box.of(frame) for frame in frames]
    if box is None or not shining:
        return np.zeros((1, 1), np.float32)
    image = _together(shining, box)
    if dark:
        image = np.clip(image - np.mean(dark, axis=0), 0, None)
    return box.whole(image, shape)


def swing_of(film: Footage, rhythm: Rhythm, steps: tuple[FilmStep, ...], leds: int) -> Picture32:
    """The swing over some pairs of the pass with most of them, registered to its first picture.

    (h, w) root mean square, as for `glow_of`.
    """
    box: _Box | None = None
    total: Picture32 | None = None
    whole: Details | None = None
    shape: tuple[int, ...] = (0, 0)
    found = 0
    x = y = 0.0
    pitch = 0.0
    waiting: Picture32 | None = None
    for step, frames in _pictures(in_steps(film.frames(), rhythm), _chosen(rhythm, steps)):
        if box is None:
            shape = frames[0].luma.shape
            box = _box_of(shape, rhythm.light, pitch_of(rhythm, shape, leds))
            pitch = box.reduced * pitch_of(rhythm, shape, leds)
        picture = _together(frames, box)
        if steps[step].shows == "bit":
            waiting = picture
            continue
        if waiting is None:
            continue
        right, down, _ = peak(-Details(picture).against(Details(waiting)), reach=2.5 * pitch)
        inverse = moved(picture, -right, -down)
        both = Details(waiting + inverse, coarse=max(picture.shape))
        if total is None or whole is None:
            total = np.zeros_like(picture)
            whole = both
        else:
            # Where both overlap most, and near there, where their details do.
            x, y, _ = peak(both.against(whole, whitened=False))
            x, y, _ = peak(both.against(whole), (x, y), reach=max(0.48 * pitch, 1.5))
        total += moved((waiting - inverse) ** 2, -x, -y)
        found += 1
        waiting = None
    if total is None or box is None:
        return np.zeros((1, 1), np.float32)
    return box.whole(np.sqrt(total / found), shape)


def _chosen(rhythm: Rhythm, steps: tuple[FilmStep, ...]) -> tuple[int, set[int]]:
    """The pass with most pictures of the code, and some pairs that follow each other in it."""
    coded = np.array([step.bit >= 0 for step in steps])
    best, held = 0, np.zeros(len(steps), dtype=bool)
    for turn in np.unique(rhythm.turn[rhythm.turn >= 0]).tolist():
        there = np.bincount(rhythm.step[rhythm.turn == turn], minlength=len(steps)) > 0
        if (there & coded).sum() > (held & coded).sum():
            best, held = turn, there
    bits = [
        number
        for number, step in enumerate(steps)
        if step.shows == "bit" and held[number] and held[number + 1]
    ][:_PAIRS]
    return best, {number + more for number in bits for more in (0, 1)}


def _pictures(
    frames: Iterator[tuple[int, int, Frame]], chosen: tuple[int, set[int]]
) -> Iterator[tuple[int, list[Frame]]]:
    """The frames of each chosen step, at most some of each, step after step."""
    turn, wanted = chosen
    last = max(wanted, default=-1)
    now, held = -1, list[Frame]()
    for step, one, frame in frames:
        if one > turn or (one == turn and step > last):
            break
        if one != turn or step not in wanted:
            continue
        if step != now and held:
            yield now, held
            held = []
        now = step
        if len(held) < _FRAMES:
            held.append(frame)
    if held:
        yield now, held


def _together(frames: list[Frame], box: _Box) -> Picture32:
    """The mean of the frames of one picture, each moved onto the first."""
    first = box.of(frames[0])
    if len(frames) == 1:
        return first
    total, own = first.copy(), Details(first)
    for frame in frames[1:]:
        picture = box.of(frame)
        x, y, _ = peak(Details(picture).against(own))
        total += moved(picture, -x, -y)
    return np.asarray(total / len(frames), dtype=np.float32)


def _extent(light: Floats, shape: tuple[int, ...]) -> tuple[float, float]:
    """Width and height of what blinks, in pixels, about."""
    rows, columns = light.shape
    share = np.clip(light, 0, None)
    share = share / max(float(share.max()), 1e-12)
    across, down = share.max(axis=0).sum(), share.max(axis=1).sum()
    return float(across) * shape[1] / columns, float(down) * shape[0] / rows


def pitch_of(rhythm: Rhythm, shape: tuple[int, ...], leds: int) -> float:
    """About how many pixels an LED is from the next, if the LEDs fill what blinks."""
    wide, high = _extent(rhythm.light, shape)
    return float(np.sqrt(wide * high / leds))


def _box_of(shape: tuple[int, ...], light: NDArray[np.floating], pitch: float) -> _Box:
    """Around the blocks that blink, with two more on each side."""
    rows, columns = light.shape
    lit = light > 0.08 * light.max()
    down, across = np.flatnonzero(lit.any(axis=1)), np.flatnonzero(lit.any(axis=0))
    top, bottom = max(int(down[0]) - 2, 0), min(int(down[-1]) + 3, rows)
    left, right = max(int(across[0]) - 2, 0), min(int(across[-1]) + 3, columns)
    top, bottom = top * shape[0] // rows, bottom * shape[0] // rows
    left, right = left * shape[1] // columns, right * shape[1] // columns
    pixels = (bottom - top) * (right - left)
    reduced = max(float(np.sqrt(_MOST_PIXELS / pixels)), _LEAST_PITCH / pitch)
    return _Box(left, top, right, bottom, min(reduced, 1.0))
