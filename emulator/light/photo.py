"""A camera's exposure of a lit wall, for a still to show a client."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from emulator.description.display import Display
from emulator.light import eye
from emulator.light.look import Look
from emulator.light.wall import WallView

Light = NDArray[np.float32]

_MIDDLE_GREY = 0.18  # what a meter makes of the mean: common practice, no source
_CLIPPED = 0.01  # of the picture may be overexposed: our choice
_METERED_WIDE = 480  # pixels; a meter does not see detail


def photo_look(display: Display, cells_light: Light, look: Look) -> Look:
    """The look, exposed for one picture (rows, columns, 3) as a camera set to the wall's white.

    Its mean comes out a middle grey, unless more than a hundredth would then be overexposed. A
    dark wall without ambient light stays as the eye sees it.
    """
    view = WallView(display, _METERED_WIDE, look)
    luminance = view.luminance(cells_light)
    luminance += eye.ambient_cdm2(display.cover, look.ambient_lx)
    white = max(float(luminance.mean()) / _MIDDLE_GREY, float(np.quantile(luminance, 1 - _CLIPPED)))
    return replace(look, white_cdm2=white) if white > 0 else look
