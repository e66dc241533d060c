"""The pattern `coded-film`: each LED blinks its own number, for a camera.

It begins with a marker, in which all LEDs blink the Barker code of length 7 [1]: no shift of it
looks like it. Then all are on, all off. Each bit of the LEDs' words (`codewords`) follows, with its
inverse, in which the other LEDs are lit. At the end all are red, green, blue, and it goes dark.
In some bits, the same for all LEDs, bit and inverse are exchanged: the words of a BCH code, moved
on by a few bits, are words too, and pictures that are counted wrongly would show wrong numbers.

Each LED that has a cell has a number: its place among those LEDs, in the order of the data. An LED
changes at most once a picture, so at 4 pictures a second it flashes at most twice a second. In each
bit and inverse about half of the LEDs are lit, everywhere on the wall, so that its light is steady.

[1] R. H. Barker, Group synchronizing of binary digital systems, 1953.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np

from emulator.arrays import Srgb
from emulator.canvas import current_a, to_drives
from emulator.description.display import Display
from emulator.description.wiring import Wiring
from harness.patterns.codewords import code_for, codewords

Shows = Literal["dark", "on", "bit", "inverse", "red", "green", "blue"]

HOLD_MS = 250
BARKER = (True, True, True, False, False, True, False)
# The bits that are exchanged, lowest first: of 25 random numbers, the one with which fewest words
# that are moved on by 1 to 30 pictures resemble another word.
_EXCHANGED = 0x7E811D21C8ECDC79
_COLOURS: dict[Shows, tuple[int, int, int]] = {
    "on": (1, 1, 1),
    "red": (1, 0, 0),
    "green": (0, 1, 0),
    "blue": (0, 0, 1),
}


@dataclass(frozen=True)
class FilmStep:
    """What one step shows. bit: of the word, for 'bit' and 'inverse'; else -1."""

    shows: Shows
    bit: int = -1

    @property
    def lit(self) -> float:
        """The share of LEDs that are lit, about; 1 for a colour too."""
        return {"dark": 0.0, "bit": 0.5, "inverse": 0.5}.get(self.shows, 1.0)


@lru_cache(maxsize=8)
def film_steps(leds: int) -> tuple[FilmStep, ...]:
    """The steps for so many LEDs that have a cell."""
    dark, on = FilmStep("dark"), FilmStep("on")
    marker = [on if lit else dark for lit in BARKER]
    pairs = [
        FilmStep(shows, bit) for bit in range(code_for(leds).bits) for shows in ("bit", "inverse")
    ]
    colours = [FilmStep(shows) for shows in ("red", "green", "blue") for _ in range(2)]
    return (dark, dark, *marker, *[on] * 4, *[dark] * 3, *pairs, *colours, dark, dark, dark)


def film_words(leds: int) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """(leds, bits) True where an LED is lit in a bit, and dark in its inverse."""
    words = codewords(leds)
    return words ^ ((_EXCHANGED >> np.arange(words.shape[1], dtype=np.uint64)) & 1).astype(np.bool_)


def film_level(display: Display) -> int:
    """The value 0…255 of lit cells: all of them lit take no more than limit and supplies give."""
    one = replace(
        display,
        grid=display.grid.model_copy(update={"columns": 1, "rows": 1, "gaps": []}),
        wiring=Wiring.from_cells(1, 1, [0], [0], [0]),
        canvas=display.canvas.model_copy(update={"dither": False}),
    )
    values = np.arange(256, dtype=np.uint8)
    drives = to_drives(np.broadcast_to(values[:, None, None, None], (256, 1, 1, 3)), one)
    hidden = int(display.wiring.hidden.sum())
    dark_a = hidden * display.chip.dark_ma / 1000
    all_on_a = dark_a + (display.leds - hidden) * current_a(drives, display.chip)
    supplies_a = [supply.amps for supply in display.power.supply if supply.amps is not None]
    most_a = min(display.power.limit_a or np.inf, sum(supplies_a) or np.inf)
    return max(int(np.searchsorted(all_on_a, float(most_a), side="right")) - 1, 0)


def film_picture(display: Display, step: int) -> Srgb:
    """The picture (rows, columns, 3) of a step."""
    wiring = display.wiring
    leds = len(wiring.placed)
    shown = film_steps(leds)[step]
    picture = np.zeros(display.picture_shape, dtype=np.uint8)
    if shown.shows == "dark":
        return picture
    cells = wiring.cell[wiring.placed]
    if shown.bit >= 0:
        cells = cells[film_words(leds)[:, shown.bit] == (shown.shows == "bit")]
    colour = _COLOURS.get(shown.shows, (1, 1, 1))
    picture.reshape(-1, 3)[cells] = np.array(colour, dtype=np.uint8) * np.uint8(film_level(display))
    return picture
