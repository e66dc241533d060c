"""Arrays by what they hold: one name for each kind, with its shapes.

A type says the dtype only. The docstring of each function says the shapes of its arrays: N is the
number of LEDs of all lines, C of the channels of a chip, T of frames.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Picture = NDArray[Any]
"""(rows, columns, 3) of the display: uint8 by its `canvas.curve`, or float linear light 0…1."""

Srgb = NDArray[np.uint8]
"""(rows, columns, 3) or (height, width, 3): sRGB code values of a wall or of any image."""

Light = NDArray[np.float32]
"""(rows, columns, 3), (N, 3) or a stack of either: linear light, 1 at full white."""

Bytes = NDArray[np.uint8]
"""(N, C) or (T, N, C): drives; (B,) or (T, B): bytes of one line in the order on the wire."""

Times = NDArray[np.int64]
"""(T,): when frames were latched, in ns."""

Floats = NDArray[np.float64]
"""Figures of any shape."""

Ints = NDArray[np.int64]
"""Numbers that count or name: LEDs, cells, lines, levels."""

Bools = NDArray[np.bool_]
"""A choice of cells (rows, columns), of LEDs (N,) or of other things."""
