"""From the colours of LEDs to those of an sRGB screen, cell by cell."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Floats, Light
from emulator.light.observer import D65_XY, white_xyz
from emulator.light.primaries import Primaries
from emulator.picture.srgb import LUMINANCE

# Chromaticities of the screen's red, green and blue (IEC 61966-2-1).
_SCREEN_XY = ((0.64, 0.33), (0.30, 0.60), (0.15, 0.06))

# Cone responses of the linearised Bradford transform (ICC.1:2022, annex E).
_BRADFORD = np.array(
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def screen_from_xyz() -> Floats:
    """Matrix (3, 3): linear sRGB = matrix @ XYZ, from the chromaticities and D65."""
    primaries = np.stack([white_xyz(xy) for xy in _SCREEN_XY], axis=1)
    return np.linalg.inv(primaries * np.linalg.solve(primaries, white_xyz(D65_XY)))


def adaptation(white: Floats) -> Floats:
    """Matrix (3, 3) from XYZ seen under `white` (3,) to XYZ under D65 at Y = 1.

    So an eye that is adapted to the wall, or a camera set to its white, sees the colours.
    """
    gains = (_BRADFORD @ white_xyz(D65_XY)) / (_BRADFORD @ white)
    return np.asarray(np.linalg.solve(_BRADFORD, gains[:, None] * _BRADFORD))


def screen_from_drive(primaries: Primaries) -> Light:
    """Matrix (C, 3): linear sRGB = drive (…, C) @ matrix, full white on the screen's white."""
    to_xyz = adaptation(primaries.white) @ primaries.xyz.T
    return np.asarray((screen_from_xyz() @ to_xyz).T, dtype=np.float32)


def into_gamut(rgb: Light) -> Light:
    """Linear sRGB (…, 3) with the colours that no screen can show replaced by colours it can show.

    If a channel is negative, the colour moves towards white at constant luminance, as far as needed
    (its hue stays, in linear light). If a channel is above 1 and the luminance is not above that of
    white, the whole colour is dimmed, so that it keeps its hue and saturation: compared with its
    white, an LED's red or blue is brighter than a screen's. Colours within the screen's gamut stay
    as they are.
    """
    grey = rgb @ LUMINANCE.astype(np.float32)
    least = rgb.min(axis=-1)
    short = least < 0
    keep = np.where(short, grey / np.where(short, grey - least, 1), 1)[..., None]
    shown = grey[..., None] + keep * (rgb - grey[..., None])
    over = shown.max(axis=-1)
    over = np.where(grey <= 1, over, over / np.maximum(grey, 1))
    dimmed: Light = np.maximum(shown / np.maximum(over, 1)[..., None], 0).astype(np.float32)
    return dimmed
