"""A camera's exposure of a lit wall, for a still to show a client."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from emulator.arrays import Light
from emulator.description.display import Display
from emulator.light import eye
from emulator.light.look import Look
from emulator.light.wall import WallView

_MIDDLE_GREY = 0.18  # a light meter makes the mean this grey: common practice, no source
_CLIPPED = 0.01  # of the picture may be overexposed: our choice
_METERED_WIDE = 480  # pixels; a meter does not see detail


def photo_look(display: Display, cells_light: Light, look: Look) -> Look:
    """The look with the exposure of a camera, set to the wall's white, for one picture.

    cells_light: (rows, columns, 3) linear light. The mean luminance becomes a middle grey, unless
    more than a hundredth of the picture would be overexposed: brighter in a channel than the screen
    can show. (A red is overexposed long before its luminance is that of white.) A dark wall without
    ambient light stays as the eye sees it.
    """
    view = WallView(display, _METERED_WIDE, look)
    around = eye.ambient_cdm2(display.cover, look.ambient_lx)
    mean = float(view.luminance(cells_light).mean()) + around
    highlights = float(np.quantile(view.strongest(cells_light), 1 - _CLIPPED)) + around
    white = max(mean / _MIDDLE_GREY, highlights)
    return replace(look, white_cdm2=white) if white > 0 else look
