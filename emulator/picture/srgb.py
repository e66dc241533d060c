"""The curve of sRGB, by which picture files and cameras store light (IEC 61966-2-1)."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])  # of linear red, green, blue (IEC 61966-2-1)


def srgb_to_linear(value: ArrayLike) -> NDArray[np.float64]:
    """sRGB value 0…1 to linear light 0…1, any shape (IEC 61966-2-1)."""
    v = np.asarray(value, dtype=np.float64)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(light: ArrayLike) -> NDArray[np.float64]:
    """Linear light to sRGB value 0…1, any shape; light above 1 is cut off (IEC 61966-2-1)."""
    v = np.clip(np.asarray(light, dtype=np.float64), 0.0, 1.0)
    return np.where(v <= 0.0031308, v * 12.92, 1.055 * v ** (1 / 2.4) - 0.055)
