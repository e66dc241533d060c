"""What a perfect film would show of a wall with faults, without any film: from a bench.

The readings are decoded here, apart from the survey's own reader: each LED's light in each picture
of the pattern, on a bench, against the words of the pattern.
"""

from __future__ import annotations

import numpy as np

from emulator import Bench
from emulator.picture.srgb import LUMINANCE
from harness.patterns.film import film_picture, film_steps, film_words
from harness.survey.seen import DARK, NO_CELL, Outline, Seen

CELL = 16  # pixels of the still


def light_of(display, faults=(), powered=False):
    """(T, rows, columns, 3) light of each cell in each picture, 1 at full drive; 0 in gaps."""
    bench = Bench(display, faults=faults, powered=powered)
    wiring, placed = display.wiring, display.wiring.placed
    light = np.zeros((len(film_steps(len(placed))), wiring.rows, wiring.columns, 3))
    for step, cells in enumerate(light):
        bench.send(film_picture(display, step))
        bench.settle()
        cells[wiring.row[placed], wiring.column[placed]] = bench.light[placed]
    return light


def seen_of(display, faults=(), powered=False, surface=None, rng=None, noise=0.0):
    """The Seen of an exact film. surface: (rows, columns) how much light reaches the camera;
    noise: of the light of each cell and colour, with rng."""
    wiring = display.wiring
    gap = wiring.led_at < 0
    light = light_of(display, faults, powered)
    if surface is not None:
        light = light * surface[..., None]
    steps = film_steps(len(wiring.placed))
    words = film_words(len(wiring.placed))

    def mean(shows, bit=-1):
        return light[[n for n, s in enumerate(steps) if (s.shows, s.bit) == (shows, bit)]].mean(0)

    on = light[[n for n, s in enumerate(steps) if s.shows == "on"][-1]]
    dark = light[-1]
    swing = (on - dark) @ LUMINANCE
    whole = (on - dark).sum(-1)
    bits = np.stack(
        [(mean("bit", b) - mean("inverse", b)).sum(-1) for b in range(words.shape[1])], -1
    )
    clear = (np.abs(bits) > 0.6 * np.abs(whole[..., None])).all(-1) & (whole > 0.02 * whole.max())
    index = {word.tobytes(): n for n, word in enumerate(words)}
    number = np.full(gap.shape, DARK)
    for row, column in np.argwhere(clear & ~gap).tolist():
        number[row, column] = index.get((bits[row, column] > 0).tobytes(), DARK)
    number[gap] = NO_CELL
    hues = np.stack([mean(name) - dark for name in ("red", "green", "blue")], 2)
    hues[gap] = np.nan
    colours = np.diagonal(hues, axis1=2, axis2=3).copy()
    if noise:
        colours = colours * np.exp(rng.normal(0, noise, colours.shape))
        swing = swing * np.exp(rng.normal(0, noise, swing.shape))
    full = np.array([np.median(colours[~gap][:, c]) for c in range(3)])
    colours = colours / np.where(full > 0, full, max(full.max(), 1e-9))
    swing = swing / max(np.median(swing[~gap]), 1e-9)
    colours[gap], swing[gap] = np.nan, np.nan
    column, row = np.full((2, len(wiring.placed)), -1)
    confidence = np.zeros(len(wiring.placed))
    for r, c in np.argwhere(number >= 0).tolist():
        n = number[r, c]
        home = (int(wiring.row[wiring.placed[n]]), int(wiring.column[wiring.placed[n]]))
        if confidence[n] == 0 or (r, c) == home:
            column[n], row[n], confidence[n] = c, r, 1.0
    why = tuple("" if one else "not found" for one in confidence)
    still = np.kron(
        np.round(255 * np.clip(on / max(on.max(), 1e-9), 0, 1) ** (1 / 2.2)).astype(np.uint8),
        np.ones((CELL, CELL, 1), np.uint8),
    )
    matrix = np.array([[CELL, 0, CELL / 2], [0, CELL, CELL / 2], [0, 0, 1]], dtype=float)
    return Seen(display, column, row, confidence, why, number, colours, hues,
                np.zeros_like(gap), swing,
                np.where(gap, np.nan, 0.0), still, Outline(matrix))  # fmt: skip
