"""The light of every cell in every picture of the pattern: sums over its frames."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Floats, Ints
from harness.patterns.film import FilmStep
from harness.survey.landmarks import Ways
from harness.survey.seen import Outline
from harness.survey.shots import Shot, Shots, light_of
from harness.survey.straight import by_cell
from harness.survey.tracking import LIKE, Tracker

_CLIPPED = 0.9  # of the brightest that the camera can show, linear
_UNSTEADY = 0.25  # of a cell's light: the quartiles of its frames are further apart
_COLOURS = ("red", "green", "blue")


@dataclass
class Measured:
    """What was measured of the cells (rows, columns) of the lattice.

    swings: (B, rows, columns) bit less inverse; NaN for a bit not seen. colour: (3 pictures, rows,
    columns, 3 of the camera) light while all are red, green, blue, less the dark; NaN where not
    seen. dark: (rows, columns, 3) light while all are dark. lamps: (rows, columns) cells that then
    have a point as bright as the camera can show, so that an LED adds nothing. unsure: (rows,
    columns) cells whose light in a colour says little: as bright as the camera can show, or not the
    same in most frames. flicker: (rows, columns) variation of the light within a picture, as a
    share of it. inside: (rows, columns) share of the frames that have the cell. outline: where the
    cells are in the film's sharpest frame with all on. followed: share of the frames on which the
    lattice could be held. clipped: share of cells as bright as the camera can show.
    """

    swings: Floats
    colour: Floats
    dark: Floats
    lamps: Bools
    unsure: Bools
    flicker: Floats
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


def measure(shots: Shots, steps: tuple[FilmStep, ...], tracker: Tracker, ways: Ways) -> Measured:
    """Follow the wall through the film and add up the light of its cells.

    tracker: as the wall is in some shot. ways: from there to the shots of each picture.
    """
    first = tracker.outline
    bits = max(step.bit for step in steps) + 1
    shape = tracker.shape
    swings = np.full((bits, *shape), np.nan)
    # Of frames on which the lattice could not be held, and on which it could.
    colour: dict[tuple[bool, int], list[Floats]] = defaultdict(list)
    dark = np.zeros((*shape, 3))
    dark_frames = 0
    tops = np.zeros(shape)  # of the dark
    flicker: list[Floats] = []
    weight: list[NDArray[np.bool_]] = []
    waiting: tuple[int, Floats] | None = None  # bit, light
    tried = held = 0
    inside = np.zeros(shape)
    clipped: list[float] = []
    outline: Outline | None = None
    for turn, number, some in shots.pictures():
        step = steps[number]
        way = ways.get((turn, number))
        about = None if way is None else first.moved(way)
        sums = _Sums()
        for shot in some:
            if step.shows == "dark":
                if held:
                    means, brightest = _cells_rgb(tracker, shot)
                    dark += means
                    tops += brightest
                    dark_frames += 1
                continue
            frame = light_of(shot.light)
            like = tracker.follow(frame, shot.time_s, coded=step.bit >= 0, about=about)
            if step.shows in _COLOURS:
                which = _COLOURS.index(step.shows)
                colour[like >= LIKE, which].append(_cells_rgb(tracker, shot)[0])
                continue
            tried += 1
            if like < LIKE:
                continue
            held += 1
            inside += shots.has(tracker.outline, shape)
            cells = tracker.cells(tracker.now)
            sums.take(cells, float(np.mean(cells[tracker.inside])) + 1e-9)
            if step.shows == "on":
                clipped.append(float((cells[tracker.inside] > 0.97).mean()))
                if outline is None or shot is shots.sharpest:
                    outline = tracker.outline
        if not sums.count:
            continue
        light = sums.light / sums.count
        if sums.count >= 3 and step.shows in ("on", "bit", "inverse"):
            mean = light / max(float(light[tracker.inside].mean()), 1e-9)
            spread = np.sqrt(np.clip(sums.square / sums.count - mean**2, 0, None))
            flicker.append(spread / np.maximum(mean, 1e-6))
            weight.append(mean > 0.7)
        if step.shows == "bit":
            waiting = step.bit, light
        elif step.shows == "inverse" and waiting is not None and waiting[0] == step.bit:
            swings[step.bit] = waiting[1] - light
    dark = dark / dark_frames if dark_frames else np.full_like(dark, np.nan)
    shades, unsure = _colours([colour[True, k] or colour[False, k] for k in range(3)], dark)
    shine = np.array(weight) if weight else np.zeros((0, *shape), dtype=bool)
    moves = np.array(flicker) if flicker else np.zeros((0, *shape))
    counts = shine.sum(axis=0)
    steady = np.where(counts > 2, (moves * shine).sum(axis=0) / np.maximum(counts, 1), np.nan)
    return Measured(
        swings,
        shades - dark,
        dark,
        tops > _CLIPPED * max(dark_frames, 1),
        unsure,
        steady,
        outline or tracker.outline,
        inside / max(held, 1),
        held / max(tried, 1),
        float(np.median(clipped)) if clipped else 0.0,
    )


def _colours(pictures: Sequence[Sequence[Floats]], dark: Floats) -> tuple[Floats, Bools]:
    """(3, rows, columns, 3) light of the cells while all are red, green, blue, NaN without frames;
    and (rows, columns) where it is clipped, or not the same in most of them.

    pictures: frames of each colour. Their median does not see a passer-by, nor the few frames on
    which the lattice slipped.
    """
    light = np.full((3, *dark.shape), np.nan)
    unsure = np.zeros(dark.shape[:2], dtype=np.bool_)
    for number, frames in enumerate(pictures):
        if frames:
            light[number] = np.median(frames, axis=0)
            low, high = np.quantile(np.sum(frames, axis=-1), (0.25, 0.75), axis=0)
            usual = (light[number] - dark).sum(axis=-1)
            unsure |= high - low > _UNSTEADY * np.maximum(usual, 0)
            unsure |= light[number].max(axis=-1) > _CLIPPED
    return light, unsure


def _cells_rgb(tracker: Tracker, shot: Shot) -> tuple[Floats, Floats]:
    """(rows, columns, 3) linear light of each cell in each channel of the camera, and (rows,
    columns) of its brightest point in any."""
    assert shot.rgb is not None  # such shots have it
    rgb = light_of(shot.rgb)
    straight = [tracker.straight(np.ascontiguousarray(rgb[..., k])) for k in range(3)]
    brightest = by_cell(np.max(straight, axis=0), tracker.side).max(axis=(2, 3))
    return np.stack([tracker.cells(one) for one in straight], axis=-1), np.asarray(brightest)


def at_cells(values: Floats, cells: tuple[Ints, Ints]) -> Floats:
    """Values of the lattice (rows, columns, …) at the plan's cells; NaN outside the lattice."""
    row, column = cells
    inside = (row >= 0) & (row < values.shape[0]) & (column >= 0) & (column < values.shape[1])
    picked = values[np.clip(row, 0, values.shape[0] - 1), np.clip(column, 0, values.shape[1] - 1)]
    shape = inside.shape + (1,) * (picked.ndim - inside.ndim)
    return np.asarray(np.where(inside.reshape(shape), picked, np.nan))
