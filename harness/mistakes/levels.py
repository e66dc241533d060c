"""Mistakes of colours and levels: what code makes of the values of a picture.

All channels of a cell change by the same rule, whichever cell it is. Values are floats 0…255 of
shape (…, 3): red, green, blue. A result outside 0…255 is cut off by whoever uses it.
To add one: enter it in LEVELS.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from emulator.arrays import Floats
from emulator.description.canvas import Curve
from emulator.picture.curve import light_to_value, value_to_light

_LEAK = 0.1  # of a channel to each of the two others


@dataclass(frozen=True)
class LevelMistake:
    """What code does wrong, in words, and `apply(values, curve)`, which does it."""

    what: str
    apply: Callable[[Floats, Curve], Floats]


def _no_curve(values: Floats, curve: Curve) -> Floats:
    return 255 * light_to_value(values / 255, curve)


def _green_without_curve(values: Floats, curve: Curve) -> Floats:
    return np.where(np.arange(3) == 1, _no_curve(values, curve), values)


def _bits_reversed(values: Floats, curve: Curve) -> Floats:
    bits = np.unpackbits(np.round(values).astype(np.uint8)[..., None], axis=-1)
    return np.packbits(bits[..., ::-1], axis=-1)[..., 0].astype(float)


LEVELS: dict[str, LevelMistake] = {
    "no curve": LevelMistake("levels go to the LEDs without the curve", _no_curve),
    "curve twice": LevelMistake(
        "levels go through the curve twice", lambda v, curve: 255 * value_to_light(v / 255, curve)
    ),
    "inverse curve": LevelMistake(
        "levels go through the inverse of the curve",
        lambda v, curve: _no_curve(_no_curve(v, curve), curve),
    ),
    "green without a curve": LevelMistake(
        "green goes to the LEDs without the curve", _green_without_curve
    ),
    "blue left out": LevelMistake("blue never lights", lambda v, _: v * np.array([1, 1, 0])),
    "colours leak": LevelMistake(
        "a tenth of each channel leaks into each of the others before the curve",
        lambda v, _: v @ (np.eye(3) * (1 - 3 * _LEAK) + _LEAK),
    ),
    "half of the levels": LevelMistake("levels are halved", lambda v, _: v // 2),
    "levels doubled": LevelMistake(
        "levels are doubled, and cut off at 255", lambda v, _: np.minimum(2 * v, 255)
    ),
    "levels 30 too high": LevelMistake(
        "levels are 30 too high: black glows", lambda v, _: np.minimum(v + 30, 255)
    ),
    "overflow of levels": LevelMistake(
        "levels are multiplied by 1.2 and overflow a byte", lambda v, _: np.floor(1.2 * v) % 256
    ),
    "inverted": LevelMistake("levels are inverted", lambda v, _: 255 - v),
    "level 255 dark": LevelMistake("level 255 is dark", lambda v, _: np.where(v == 255, 0, v)),
    "below 80 black": LevelMistake("levels below 80 are dark", lambda v, _: np.where(v < 80, 0, v)),
    "rounded to tens": LevelMistake(
        "levels are rounded to tens", lambda v, _: np.round(v / 10) * 10
    ),
    "4 bits of the level": LevelMistake(
        "four bits of each level are left", lambda v, _: np.floor(v / 16) * 16
    ),
    "bits reversed": LevelMistake("the bits of each level are reversed", _bits_reversed),
    "video levels sent": LevelMistake(
        "levels 0 to 255 are sent as 16 to 235", lambda v, _: 16 + v * 219 / 255
    ),
    "video levels expected": LevelMistake(
        "levels 16 to 235 are taken for 0 to 255", lambda v, _: (v - 16) * 255 / 219
    ),
}
