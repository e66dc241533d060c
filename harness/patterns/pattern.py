"""Test patterns: each shows one property of a display, before and after it is built.

A pattern has a number of steps, each a picture (rows, columns, 3) uint8 sRGB, and a time for which
each step stays. No LED flashes more than twice a second, so that nobody near the display or the
screen sees more than three flashes a second (WCAG 2.2, SC 2.3.1).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Srgb
from emulator.description.display import Display
from emulator.picture.curve import light_to_value
from emulator.registry import Registry
from harness.patterns.coded import coded_masks, coded_steps
from harness.patterns.film import HOLD_MS, film_picture, film_steps
from scenes import SCENES

RED, GREEN, BLUE = (255, 0, 0), (0, 255, 0), (0, 0, 255)
WHITE = (255, 255, 255)
_BLOCK = 64  # pictures in memory


@dataclass(frozen=True)
class Pattern:
    """A test pattern. foreglow's own are in `harness.patterns.pattern.PATTERNS`.

    name: by which it is shown. about: what it shows, in a few words. hold_ms: how long each step
    stays, in ms. steps: display → number of pictures. draw: (display, step from 0) → picture (rows,
    columns, 3) uint8 sRGB. Change large areas at most four times a second, which are two flashes
    (WCAG 2.2, SC 2.3.1). for_camera: its pictures say nothing to a person, so pages, sheets and
    campaigns leave it out.
    """

    name: str
    about: str
    hold_ms: int
    steps: Callable[[Display], int]
    draw: Callable[[Display, int], Srgb]
    for_camera: bool = False

    def pictures(self, display: Display, first: int = 0, last: int | None = None) -> Srgb:
        """Steps from `first` to before `last` (default: all), (T, rows, columns, 3) uint8 sRGB."""
        last = self.steps(display) if last is None else last
        return np.stack([self.draw(display, step) for step in range(first, last)])

    def in_blocks(self, display: Display) -> Iterator[tuple[int, Srgb]]:
        """All pictures, some at a time: the first step of each block, and its pictures."""
        steps = self.steps(display)
        for first in range(0, steps, _BLOCK):
            yield first, self.pictures(display, first, min(first + _BLOCK, steps))

    def lasts_s(self, display: Display) -> float:
        """How long all steps take, in s."""
        return self.steps(display) * self.hold_ms / 1000

    def at(self, display: Display, time_s: float) -> Srgb:
        """The picture (rows, columns, 3) at a time; the pattern repeats after its last step."""
        step = int(time_s * 1000 // self.hold_ms) % self.steps(display)
        return self.draw(display, step)


def patterns_for_people() -> list[Pattern]:
    """All patterns, those of other packages too, except those that only a camera reads."""
    found = [ALL_PATTERNS[name] for name in ALL_PATTERNS.names()]
    return [one for one in found if not one.for_camera]


def pattern(name: str) -> Pattern:
    """The pattern of that name. Raises UnknownNameError, which lists all names."""
    return ALL_PATTERNS[name]


def _black(display: Display) -> Srgb:
    return np.zeros(display.picture_shape, dtype=np.uint8)


def _plain(display: Display, colour: tuple[int, int, int]) -> Srgb:
    picture = _black(display)
    picture[:] = colour
    return picture


def _dark(display: Display, step: int) -> Srgb:
    return _black(display)


def _channels(display: Display, step: int) -> Srgb:
    return _plain(display, (RED, GREEN, BLUE, WHITE)[step])


def _rows(display: Display, step: int) -> Srgb:
    picture = _black(display)
    picture[step] = WHITE
    return picture


def _columns(display: Display, step: int) -> Srgb:
    picture = _black(display)
    picture[:, step] = WHITE
    return picture


def _chase(display: Display, step: int) -> Srgb:
    """One LED at a time, in the order of the data, all lines one after the other.

    In the step of a hidden LED all is dark.
    """
    picture = _black(display)
    wiring = display.wiring
    if not wiring.hidden[step]:
        picture[wiring.row[step], wiring.column[step]] = WHITE
    return picture


def _checker(display: Display, step: int) -> Srgb:
    rows, columns, _ = display.picture_shape
    lit = (np.add.outer(np.arange(rows), np.arange(columns)) + step) % 2 == 0
    return np.where(lit[..., None], np.uint8(255), np.uint8(0)).repeat(3, axis=-1)


def _ramp(display: Display, step: int) -> Srgb:
    """Dark to full from left to right, in one channel or all: levels, not places."""
    _, columns, _ = display.picture_shape
    level = np.round(np.linspace(0, 255, columns)).astype(np.uint8)
    picture = _black(display)
    for channel in ((0,), (1,), (2,), (0, 1, 2))[step]:
        picture[..., channel] = level
    return picture


def _corners(display: Display, step: int) -> Srgb:
    """A red bar and foot at the top left; a green, a blue and a white cell at the other corners.

    It looks different however it is mirrored or turned.
    """
    picture = _black(display)
    rows, columns, _ = display.picture_shape
    picture[-1, -1] = WHITE
    picture[-1, 0] = BLUE
    picture[0, -1] = GREEN
    picture[0, : max(1, min(4, columns - 1))] = RED
    picture[: max(1, min(3, rows - 1)), 0] = RED
    return picture


def _numbers(display: Display, step: int) -> Srgb:
    """Marks for counting along a line: LED 0 white, every 10th green, 50th blue, 100th red."""
    led = display.wiring.led
    colours = np.full((len(led), 3), 20, dtype=np.uint8)
    for every, colour in ((10, GREEN), (50, BLUE), (100, RED)):
        colours[led % every == 0] = colour
    colours[led == 0] = WHITE
    return display.wiring.per_cell(colours)


def _full_load(display: Display, step: int) -> Srgb:
    """White in rising steps of light: a quarter, a half, three quarters, full."""
    level = round(255 * float(light_to_value((step + 1) / 4, display.canvas.curve)))
    return _plain(display, (level, level, level))


def _coded(display: Display, step: int) -> Srgb:
    mask = coded_masks(display.gap)[step]
    return np.where(mask[..., None], np.uint8(255), np.uint8(0)).repeat(3, axis=-1)


def _count(number: int) -> Callable[[Display], int]:
    return lambda display: number


PATTERNS: Mapping[str, Pattern] = {
    p.name: p
    for p in (
        Pattern("dark", "every LED dark: what stays lit is broken", 1000, _count(1), _dark),
        Pattern(
            "channels", "all red, green, blue, then white: channel order and dead channels",
            1000, _count(4), _channels,
        ),
        Pattern("rows", "one row at a time, from the top", 200, lambda d: d.grid.rows, _rows),
        Pattern(
            "columns", "one column at a time, from the left",
            200, lambda d: d.grid.columns, _columns,
        ),
        Pattern(
            "chase", "one LED at a time, in the order of the data", 50, lambda d: d.leds, _chase
        ),
        Pattern("checker", "every other cell: leaks to neighbours", 1000, _count(2), _checker),
        Pattern("ramp", "dark to full, left to right: levels", 1000, _count(4), _ramp),
        Pattern("corners", "a mark that shows mirroring and turning", 1000, _count(1), _corners),
        Pattern("numbers", "every 10th, 50th and 100th LED marked", 1000, _count(1), _numbers),
        Pattern(
            "full-load", "white in four steps up to full: mind the supply, heat and eyes",
            2000, _count(4), _full_load,
        ),
        Pattern(
            "coded", "each LED blinks its own number: the map is read back from it",
            500, lambda d: coded_steps(len(d.wiring.placed)), _coded,
        ),
        Pattern(
            "coded-film", "each LED blinks its own number for a camera: `foreglow survey` reads it",
            HOLD_MS, lambda d: len(film_steps(len(d.wiring.placed))), film_picture, for_camera=True,
        ),
    )
}  # fmt: skip

ALL_PATTERNS = Registry[Pattern](
    "pattern", PATTERNS, lambda thing: isinstance(thing, Pattern), "a harness.Pattern",
    taken=SCENES,
)  # fmt: skip
