"""The colours of a chip's own channels: XYZ, their white, and the gains that make D65."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.arrays import Floats
from emulator.description.chips import Chip
from emulator.light.observer import (
    D65_XY,
    ColourTemperature,
    chromaticity,
    colour_temperature,
    narrow_band_xyz,
    planckian_xyz,
    white_xyz,
)

_Float = TypeVar("_Float", bound=np.floating)


@dataclass(frozen=True)
class Primaries:
    """XYZ (C, 3) of the R, G, B and, if there is one, W channel at full drive; Y in candela.

    PWM duty is linear in drive, so colours mix as the sum of drive · XYZ.
    """

    xyz: Floats

    @property
    def white(self) -> Floats:
        """XYZ (3,) of full white as pictures show it: only W if there is one, else R, G and B."""
        return self.mix(self.by_channel(np.ones(3)))

    @property
    def intensity_cd(self) -> float:
        """Luminous intensity on the axis at full white."""
        return float(self.white[1])

    @property
    def white_temperature(self) -> ColourTemperature:
        """Correlated colour temperature of full white."""
        return colour_temperature(self.white)

    def by_channel(self, light: NDArray[_Float]) -> NDArray[_Float]:
        """Linear drives (…, C), 1 is full, for light (…, 3); drives (…, C) are returned unchanged.

        A W channel gives what red, green and blue have in common, as the canvas sends it. If other
        code drives W together with R, G and B, only (…, 4) says what each channel does.
        """
        if light.shape[-1] == len(self.xyz):
            return light
        common = light.min(axis=-1, keepdims=True)
        return np.concatenate([light - common, common], axis=-1)

    def gains_for(self, xy: tuple[float, float] = D65_XY) -> Floats:
        """Light (3,) in red, green and blue, the largest 1, for a chromaticity; default: D65.

        With a W channel, the part that they have in common is the light of W. A negative gain means
        that the primaries cannot make the chromaticity.
        """
        if len(self.xyz) == 3:
            gains = np.linalg.solve(self.xyz.T, white_xyz(xy))
        else:
            # White and two colours make it: the two whose triangle with white contains it best.
            pairs = [[1, 2], [0, 2], [0, 1]]
            each = [np.linalg.solve(self.xyz[[*pair, 3]].T, white_xyz(xy)) for pair in pairs]
            number = int(np.argmax([amounts.min() for amounts in each]))
            gains = np.full(3, each[number][2])
            gains[pairs[number]] += each[number][:2]
        return np.asarray(gains / gains.max(), dtype=np.float64)

    def mix(self, drive: ArrayLike) -> Floats:
        """XYZ (…, 3) of linear drives (…, C), 1 is full."""
        mixed: Floats = np.asarray(drive, dtype=np.float64) @ self.xyz
        return mixed

    @property
    def chromaticities(self) -> Floats:
        """x, y (C, 2) of the channels."""
        return chromaticity(self.xyz)


def chip_primaries(chip: Chip) -> Primaries:
    """The primaries of a chip from its wavelengths, intensities and the temperature of its white.

    Of all its LEDs in series together. The dominant wavelength is taken as the peak of a Gaussian
    spectrum. The white of a phosphor is taken to be on the Planckian locus, at which makers aim
    (ANSI C78.377, from memory); only its colour matters, not its spectrum.
    """
    candela = chip.in_series * np.asarray(chip.intensity_mcd) / 1000
    xyz = narrow_band_xyz(chip.wavelength_nm, chip.width_nm, candela)
    if "W" in chip.channels:
        white = planckian_xyz(chip.white_k) * chip.in_series * chip.white_mcd / 1000
        xyz = np.concatenate([xyz, white[None]])
    return Primaries(xyz)
