"""The evening in the lobby: a poster, the time and tonight's play in turn, fading into each other.

The poster is for that play, and drawn here: dusk, a moon, and a ferry with lit windows.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.picture.dial import WARM, digits, hands
from emulator.picture.mix import Turns
from emulator.picture.still import Pan
from emulator.picture.text import inked, small_letters
from scenes import programme
from scenes.clock import OPENING_S

BEFORE_S = OPENING_S - 20 * 60  # ten past seven: the first guests are here
TURN_S = 16.0
WIDE, HIGH = 288, 464
STROKE = 12  # of the title: a column of cells where the wall has 24


def poster() -> NDArray[np.uint8]:
    """(HIGH, WIDE, 3) uint8 sRGB: the title above, the ferry on dark water below."""
    down = np.linspace(0, 1, HIGH)[:, None]
    stops = [0.0, 0.5, 0.84, 0.85, 1.0]  # from the top: night, dusk, the horizon, water
    red = np.interp(down, stops, [8, 60, 210, 36, 4])
    green = np.interp(down, stops, [8, 18, 96, 30, 10])
    blue = np.interp(down, stops, [46, 86, 60, 62, 26])
    ground = np.stack(np.broadcast_arrays(red, green, blue, np.zeros((1, WIDE)))[:3], axis=-1)
    image = Image.fromarray(ground.round().astype(np.uint8))
    pen = ImageDraw.Draw(image)
    pen.ellipse((192, 204, 264, 276), fill=(255, 236, 190))
    for row, half in ((400, 34), (424, 20), (444, 36)):
        pen.rectangle((228 - half, row, 228 + half, row + 7), fill=(150, 112, 84))
    pen.polygon(((16, 376), (186, 376), (164, 410), (38, 410)), fill=(10, 8, 20))
    pen.rectangle((48, 340, 150, 376), fill=(14, 12, 28))
    pen.rectangle((104, 308, 124, 340), fill=(120, 18, 22))
    for left in range(56, 144, 24):
        pen.rectangle((left, 352, left + 12, 364), fill=(255, 196, 96))
    picture = np.array(image)
    for line, top in (("NIGHT", 24), ("FERRY", 108)):
        drawn = np.kron(small_letters(line), np.ones((STROKE, STROKE))) > 0
        left = (WIDE - drawn.shape[1]) // 2 // STROKE * STROKE
        title = picture[top : top + len(drawn), left : left + drawn.shape[1]]
        title[drawn] = 255, 226, 170
    return picture


def dial(time_s: float, display: Display) -> Light:
    """The time before the doors open, with hands where they can be read, over the evening sky."""
    rows, columns, _ = display.picture_shape
    face = hands if min(rows, columns) >= 12 else digits
    coverage = face(BEFORE_S + time_s, display)
    return inked(coverage, WARM, programme.sky, time_s, display)


tonight = programme.over_sky("Tonight 20:00  Night Ferry", cells_per_s=11.0)

picture = Turns([Pan(poster(), period_s=2 * TURN_S), dial, tonight], seconds=TURN_S, fade_s=2.0)
