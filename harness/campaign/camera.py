"""What a camera reads of each LED of a wall, beside what it should.

A camera on a tripod takes each picture of a pattern several times, and all-on (full white) once. It
gives one value of red, green and blue for each cell: the mean over its pixels, divided by the
brightness of that cell in all-on. So distance, lens and angle do not matter.

It tells: brightness of each colour in bands of 10 %, from 0.5 % of all-on on; and whether pictures
of the same step differ. It does not tell: what dims every picture of a cell alike, such as a dirty
front, as all-on has it too; where in its cell the light is; what is dimmer than its noise. A cell
that is dark in all-on is measured as if it were as bright as planned.

Bands and floor are assumptions, no source, for 8 bits, 100 pixels a cell, no daylight and an
exposure that clips nothing: shot noise is then far below 1 % a cell, and what the lens scatters
from bright neighbours is what limits it. Its colours are those of sRGB (IEC 61966-2-1).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Ints, Light

BAND = 0.10
FLOOR = 0.005
_MOST = 31  # bands up or down
_RGB_OF_XYZ = np.array(  # IEC 61966-2-1
    [[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]],
    dtype=np.float32,
)


class Camera:
    """Reads the LEDs of a display. all_on: (N,) luminance of each LED in all-on, as planned."""

    def __init__(self, hidden: Bools, all_on: Light) -> None:
        self._hidden, self._all_on = hidden, all_on

    def differences(
        self, planned: Light, shown: Light, all_on: Light, position: Ints
    ) -> NDArray[np.int64]:
        """(T, U) numbers, one for each kind of difference; 0 where it reads what it should.

        planned, shown: XYZ (T, U, 3). all_on: (U,) or (T, U) luminance in all-on, as built.
        position: (U,) of the LEDs.
        """
        found = np.zeros(shown.shape[:2], dtype=np.int64)
        should_on = self._all_on[position]
        on = np.broadcast_to(np.where(all_on >= FLOOR, all_on, should_on), found.shape)
        lit = (planned[..., 1] >= FLOOR / 2) | (shown[..., 1] >= FLOOR / 2)
        lit &= ~self._hidden[position]
        picture, led = np.nonzero(lit)
        reads = self._colours(shown[picture, led], on[picture, led])
        should = self._colours(planned[picture, led], should_on[led])
        steps = np.log(reads / should) / np.float32(np.log1p(BAND))
        bands = np.clip(np.rint(steps), -_MOST, _MOST).astype(np.int64)
        found[lit] = bands @ np.array([1, 64, 64 * 64])
        return found

    @staticmethod
    def _colours(xyz: Light, all_on: Light) -> Light:
        """(M, 3) red, green and blue with the floor added, of XYZ (M, 3)."""
        rgb = np.maximum(xyz @ _RGB_OF_XYZ.T, 0) / np.maximum(all_on, FLOOR)[:, None]
        return np.asarray(rgb + np.float32(FLOOR))
