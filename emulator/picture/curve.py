"""Transfer curves: from a picture's code values to light, and from light to code values.

'sRGB': the curve of IEC 61966-2-1, which picture files and cameras use.
'L*': the value is CIE 1976 lightness, 0…1 for L* 0…100 (CIE 15): even steps to the eye.
A number: a plain power, value^number.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from emulator.description.canvas import Curve
from emulator.picture.srgb import linear_to_srgb, srgb_to_linear

# CIE 15, with the exact fractions: below L* = 8 lightness is linear, L* = 903.3 Y.
_KAPPA = 24389 / 27
_LINEAR_TO = 8.0


def value_to_light(value: ArrayLike, curve: Curve) -> NDArray[np.float64]:
    """Linear light 0…1 for values 0…1 of a picture, any shape."""
    v = np.asarray(value, dtype=np.float64)
    if curve == "sRGB":
        return srgb_to_linear(v)
    if curve == "L*":
        lightness = 100 * v
        return np.where(lightness > _LINEAR_TO, ((lightness + 16) / 116) ** 3, lightness / _KAPPA)
    return np.asarray(v**curve)


def light_to_value(light: ArrayLike, curve: Curve) -> NDArray[np.float64]:
    """Values 0…1 of a picture for linear light, any shape; light above 1 is cut off."""
    y = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    if curve == "sRGB":
        return linear_to_srgb(y)
    if curve == "L*":
        return np.where(y > _LINEAR_TO / _KAPPA, 1.16 * np.cbrt(y) - 0.16, y * _KAPPA / 100)
    return np.asarray(y ** (1 / curve))
