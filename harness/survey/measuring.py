"""The light of every cell in every picture of the pattern: sums over frames, never the frames."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import groupby, islice

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints, Srgb
from harness.patterns.film import FilmStep
from harness.survey.footage import Footage, Frame
from harness.survey.rhythm import Rhythm, in_steps
from harness.survey.seen import Outline
from harness.survey.straight import by_cell
from harness.survey.tracking import LIKE, Tracker

_FRAMES = 6  # of one picture that are looked at
_CLIPPED = 0.9  # of the brightest that the camera can show, linear
_COLOURS = ("red", "green", "blue")


@dataclass
class Measured:
    """What was measured of the cells (rows, columns) of the lattice.

    swings: (B, rows, columns) bit less inverse, mean over passes; NaN for a bit not seen. colour:
    (3 pictures, rows, columns, 3 of the camera) light while all are red, green, blue, less the
    dark; NaN where not seen. clipped_cells: (rows, columns) cells as bright as the camera can show:
    a point of them in the dark, or all of them in one of these pictures. flicker: (rows, columns)
    variation of the light within a picture, as a share of it. inside: (rows, columns) share of the
    frames that have the cell. still, outline: the sharpest frame with all on, and where the cells
    are in it. followed: share of the frames on which the lattice could be held. clipped: share of
    cells as bright as the camera can show.
    """

    swings: Floats
    colour: Floats
    clipped_cells: Bools
    flicker: Floats
    still: Srgb | None
    outline: Outline
    inside: Floats
    followed: float
    clipped: float


@dataclass
class _Sums:
    """Sums of one picture."""

    count: int = 0
    light: Floats = field(default_factory=lambda: np.zeros(0))
    square: Floats = field(default_factory=lambda: np.zeros(0))

    def take(self, cells: Floats, scale: float) -> None:
        if not self.count:
            self.light, self.square = np.zeros_like(cells), np.zeros_like(cells)
        self.count += 1
        self.light += cells
        self.square += (cells / scale) ** 2


def measure(
    film: Footage, rhythm: Rhythm, steps: tuple[FilmStep, ...], tracker: Tracker
) -> Measured:
    """Follow the wall through the film and add up the light of its cells.

    tracker: as the wall is in some frame.
    """
    bits = max(step.bit for step in steps) + 1
    shape = tracker.shape
    total = np.zeros((bits, *shape))
    passes = np.zeros(bits, dtype=np.int64)
    # Of frames on which the lattice could not be held, and on which it could.
    colour = np.zeros((2, 3, *shape, 3))
    colour_frames = np.zeros((2, 3), dtype=np.int64)
    dark = np.zeros((*shape, 3))
    dark_frames = 0
    tops = np.zeros(shape)  # of the dark
    flicker: list[Floats] = []
    weight: list[NDArray[np.bool_]] = []
    waiting: tuple[int, int, Floats] | None = None  # pass, bit, light
    best: tuple[float, Srgb | None, Outline] = (-1.0, None, tracker.outline)
    tried = held = 0
    inside = np.zeros(shape)
    grid = np.stack(np.meshgrid(*map(np.arange, shape[::-1])), axis=-1).astype(np.float64)
    clipped: list[float] = []
    lost = True
    for turn, number, frames in _pictures(in_steps(film.frames(), rhythm)):
        step = steps[number]
        sums = _Sums()
        for frame in frames:
            if step.shows == "dark":
                if not lost:
                    means, brightest = _cells_rgb(tracker, frame)
                    dark += means
                    tops += brightest
                    dark_frames += 1
                continue
            if step.shows in _COLOURS:
                # Luma hardly shows blue.
                rgb = frame.rgb()
                like = tracker.follow(rgb.max(axis=2), frame.time_s, coded=False)
                which, sure = _COLOURS.index(step.shows), int(like >= LIKE)
                colour[sure, which] += _cells_rgb(tracker, frame)[0]
                colour_frames[sure, which] += 1
                continue
            tried += 1
            like = tracker.follow(frame.luma, frame.time_s, coded=step.bit >= 0)
            if like < LIKE:
                continue
            lost = False
            held += 1
            at = tracker.outline.pixels(grid)
            inside += ((at >= 0) & (at < frame.luma.shape[::-1])).all(axis=-1)
            cells = tracker.cells(tracker.now)
            scale = float(np.mean(cells[tracker.inside])) + 1e-9
            sums.take(cells, scale)
            if step.shows == "on":
                clipped.append(float((cells[tracker.inside] > 0.97).mean()))
                sharp = float(np.abs(np.diff(tracker.now, axis=1)).mean()) / scale
                if sharp > best[0]:
                    best = (sharp, frame.rgb(), tracker.outline)
        if not sums.count:
            continue
        light = sums.light / sums.count
        if sums.count >= 3 and step.shows in ("on", "bit", "inverse"):
            mean = light / max(float(light[tracker.inside].mean()), 1e-9)
            spread = np.sqrt(np.clip(sums.square / sums.count - mean**2, 0, None))
            flicker.append(spread / np.maximum(mean, 1e-6))
            weight.append(mean > 0.7)
        if step.shows == "bit":
            waiting = (turn, step.bit, light)
        elif step.shows == "inverse" and waiting is not None and waiting[:2] == (turn, step.bit):
            total[step.bit] += waiting[2] - light
            passes[step.bit] += 1
    with np.errstate(invalid="ignore", divide="ignore"):
        swings = total / passes[:, None, None]
        shades = (colour / colour_frames[..., None, None, None])[
            (colour_frames[1] > 0).astype(np.int64), np.arange(3)
        ]
        clipped_cells = (shades.max(axis=(0, 3)) > _CLIPPED) | (tops > _CLIPPED * dark_frames)
        shades -= dark / dark_frames if dark_frames else np.nan
    shine = np.array(weight) if weight else np.zeros((0, *shape), dtype=bool)
    moves = np.array(flicker) if flicker else np.zeros((0, *shape))
    counts = shine.sum(axis=0)
    steady = np.where(counts > 2, (moves * shine).sum(axis=0) / np.maximum(counts, 1), np.nan)
    return Measured(
        swings,
        shades,
        clipped_cells & (dark_frames > 0),
        steady,
        best[1],
        best[2],
        inside / max(held, 1),
        held / max(tried, 1),
        float(np.median(clipped)) if clipped else 0.0,
    )


def _pictures(
    frames: Iterator[tuple[int, int, Frame]],
) -> Iterator[tuple[int, int, Iterator[Frame]]]:
    """Pass, step, and some frames of each picture."""
    for (turn, step), some in groupby(frames, key=lambda one: (one[1], one[0])):
        yield turn, step, (frame for _, _, frame in islice(some, _FRAMES))


def _cells_rgb(tracker: Tracker, frame: Frame) -> tuple[Floats, Floats]:
    """(rows, columns, 3) linear light of each cell in each channel of the camera, and (rows,
    columns) of its brightest point in any."""
    rgb = frame.rgb()
    straight = [tracker.straight(rgb[..., channel]) for channel in range(3)]
    brightest = by_cell(np.max(straight, axis=0), tracker.side).max(axis=(2, 3))
    return np.stack([tracker.cells(one) for one in straight], axis=-1), np.asarray(brightest)


def at_cells(values: Floats, cells: tuple[Ints, Ints]) -> Floats:
    """Values of the lattice (rows, columns, …) at the plan's cells; NaN outside the lattice."""
    row, column = cells
    inside = (row >= 0) & (row < values.shape[0]) & (column >= 0) & (column < values.shape[1])
    picked = values[np.clip(row, 0, values.shape[0] - 1), np.clip(column, 0, values.shape[1] - 1)]
    shape = inside.shape + (1,) * (picked.ndim - inside.ndim)
    return np.asarray(np.where(inside.reshape(shape), picked, np.nan))
