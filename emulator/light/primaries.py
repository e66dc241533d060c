"""The colours of an LED's own channels: XYZ, their white, and the gains that make D65."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.chips import Chip
from emulator.light.observer import (
    D65_XY,
    chromaticity,
    colour_temperature_k,
    narrow_band_xyz,
    white_xyz,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Primaries:
    """XYZ (3, 3) of the R, G and B channel at full drive, one a row; Y in candela.

    A white channel of a chip counts as red, green and blue together: its own spectrum is not
    modelled. PWM duty is linear in drive, so colours mix as the sum of drive · XYZ.
    """

    xyz: Floats

    @property
    def white(self) -> Floats:
        """XYZ (3,) of all three at full drive."""
        total: Floats = self.xyz.sum(axis=0)
        return total

    @property
    def intensity_cd(self) -> float:
        """Luminous intensity on the axis at full white."""
        return float(self.white[1])

    @property
    def white_temperature_k(self) -> float | None:
        """Correlated colour temperature of full white; None where it has none."""
        return colour_temperature_k(self.white)

    def gains_for(self, xy: tuple[float, float] = D65_XY) -> Floats:
        """Channel gains (3,), the largest 1, that mix to a chromaticity, by default D65.

        A negative gain means that the primaries cannot make it.
        """
        gains = np.linalg.solve(self.xyz.T, white_xyz(xy))
        return np.asarray(gains / gains.max(), dtype=np.float64)

    def mix(self, drive: ArrayLike) -> Floats:
        """XYZ (…, 3) of linear drives (…, 3), 1 is full."""
        mixed: Floats = np.asarray(drive, dtype=np.float64) @ self.xyz
        return mixed

    @property
    def chromaticities(self) -> Floats:
        """x, y (3, 2) of the three channels."""
        return chromaticity(self.xyz)


def chip_primaries(chip: Chip) -> Primaries:
    """The primaries of a chip from its wavelengths and intensities.

    The catalogue's dominant wavelength is taken for the peak of a Gaussian spectrum.
    """
    candela = np.asarray(chip.intensity_mcd) / 1000
    return Primaries(narrow_band_xyz(chip.wavelength_nm, chip.width_nm, candela))
