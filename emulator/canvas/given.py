"""Bytes for the wire as users give them: of any kind, to an array."""

from __future__ import annotations

import numpy as np

from emulator.arrays import Bytes
from emulator.errors import FrameError


def is_bytes(piece: object) -> bool:
    """Whether it is bytes of its own, and not a single number."""
    return isinstance(piece, (bytes, bytearray, memoryview, np.ndarray)) and (
        not isinstance(piece, np.ndarray) or piece.ndim > 0
    )


def as_bytes(piece: object) -> Bytes:
    """Byte values of any kind as (B,) uint8. Raises FrameError."""
    if isinstance(piece, (bytes, bytearray, memoryview)):
        return np.frombuffer(piece, dtype=np.uint8)
    try:
        array = np.asarray(piece)
    except ValueError:
        array = np.empty(0, dtype=object)
    if array.dtype == np.uint8:
        return np.ascontiguousarray(array).ravel()
    if array.dtype.kind in "iu" and array.size and array.min() >= 0 and array.max() <= 255:
        return array.astype(np.uint8).ravel()
    raise FrameError(
        f"bytes for the wire are {type(piece).__name__} of {array.dtype}",
        fix="give bytes, or a uint8 array, or whole numbers from 0 to 255.",
    )
