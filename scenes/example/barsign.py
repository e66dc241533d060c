"""The sign over the theatre's bar: BAR in warm light, and a lamp that runs around it.

    python barsign.py                    # in a window, for ten minutes
    python barsign.py --to serial:///dev/ttyACM0?baud=2000000 --minutes 240

Late in the evening it is half as bright.
"""

from __future__ import annotations

import argparse
import contextlib
import time
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

import emulator

DISPLAY = Path(__file__).with_name("barsign.toml")
FRAMES_A_SECOND = 10
LATE_HOUR = 22
WARM = (255, 150, 60)
LAMP = (255, 230, 190)
LETTERS = (
    "####...###..####.",
    "#...#.#...#.#...#",
    "#...#.#...#.#...#",
    "####..#####.####.",
    "#...#.#...#.#.#..",
    "#...#.#...#.#..#.",
    "####..#...#.#...#",
)

Picture = NDArray[np.uint8]


def letters(display: emulator.Display) -> Picture:
    """BAR in the middle of the sign: (rows, columns, 3) sRGB."""
    ink = np.array([[cell == "#" for cell in row] for row in LETTERS])
    rows, columns, _ = display.picture_shape
    top, left = (rows - ink.shape[0]) // 2, (columns - ink.shape[1]) // 2
    picture = np.zeros((rows, columns, 3), np.uint8)
    picture[top : top + ink.shape[0], left : left + ink.shape[1]][ink] = WARM
    return picture


def edge(display: emulator.Display) -> list[tuple[int, int]]:
    """(column, row) of the cells around the sign, clockwise from the top left."""
    rows, columns, _ = display.picture_shape
    right, bottom = columns - 1, rows - 1
    return [
        *((column, 0) for column in range(right)),
        *((right, row) for row in range(bottom)),
        *((column, bottom) for column in range(right, 0, -1)),
        *((0, row) for row in range(bottom, 0, -1)),
    ]


def lamp(display: emulator.Display, step: int) -> Picture:
    """The lamp and the three cells that glow after it, so many cells along the edge."""
    cells = edge(display)
    picture = np.zeros(display.picture_shape, np.uint8)
    for behind in range(4):
        column, row = cells[(step - behind) % len(cells)]
        picture[row, column] = [code >> behind for code in LAMP]
    return picture


def run(out: emulator.Output, display: emulator.Display, seconds: float) -> None:
    """Show the sign for some time, then leave it dark."""
    begin = time.monotonic()
    words = letters(display)
    frames = round(seconds * FRAMES_A_SECOND)
    for step in range(frames + 1):
        wait_s = begin + step / FRAMES_A_SECOND - time.monotonic()
        time.sleep(max(wait_s, 0))
        picture = words + lamp(display, step)
        if time.localtime().tm_hour >= LATE_HOUR:
            picture //= 2
        if step == frames:
            picture[:] = 0
        out.send(picture)


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description="The sign over the bar.")
    parser.add_argument("--to", default="window:", help="address of the output")
    parser.add_argument("--minutes", type=float, default=10)
    options = parser.parse_args()
    display = emulator.load_display(DISPLAY)
    closed = contextlib.suppress(emulator.OutputClosedError)  # the window: the end of the show
    with emulator.open_output(options.to, display) as out, closed:
        run(out, display, options.minutes * 60)


if __name__ == "__main__":
    main()
