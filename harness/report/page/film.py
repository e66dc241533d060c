"""A film: the pictures of a pattern as sent and as shown, packed for the page."""

from __future__ import annotations

import base64
import zlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bools, Light, Srgb
from emulator.picture.srgb import linear_to_srgb, srgb_to_linear

_CLOSE = 0.02  # linear light: smaller differences are invisible
_COLOURS = 256  # more do not fit a byte for each cell


@dataclass(frozen=True, eq=False)
class Film:
    """T pictures of a wall, meant and shown: (T, rows, columns, 3) uint8 sRGB.

    steps: (T,) the numbers of the pattern's steps, of `of` in all. hold_ms: how long a step stays.
    gap: (rows, columns) without an LED. compared: whether anything was expected; if not, meant is
    the same as shown, and the page shows no verdict.
    """

    name: str
    about: str
    meant: Srgb
    shown: Srgb
    gap: Bools
    steps: Sequence[int]
    of: int
    hold_ms: int
    compared: bool = True

    @classmethod
    def of_light(
        cls, name: str, about: str, pictures: Sequence[tuple[Light, Light]], gap: Bools,
        steps: Sequence[int] = (0,), of: int = 1, hold_ms: int = 1000,
    ) -> Film:  # fmt: skip
        """From (meant, shown) linear light (rows, columns, 3) of each step."""
        meant, shown = (np.stack([_codes(pair[which]) for pair in pictures]) for which in range(2))
        return cls(name, about, meant, shown, gap, steps, of, hold_ms)

    @classmethod
    def of_shown(cls, name: str, about: str, light: Light, gap: Bools) -> Film:
        """One picture of linear light (rows, columns, 3), as it was shown; nothing was expected."""
        return replace(cls.of_light(name, about, [(light, light)], gap), compared=False)

    @cached_property
    def wrong(self) -> Bools:
        """(T, rows, columns) whether a cell visibly differs from what was meant."""
        off = np.abs(srgb_to_linear(self.meant / 255) - srgb_to_linear(self.shown / 255))
        return np.asarray((off > _CLOSE).any(axis=-1) & ~self.gap)

    def packed(self) -> dict[str, Any]:
        """The film as JSON types.

        data: base64 of a zlib stream (RFC 1950). It has a plane of bytes a picture, a byte a cell
        that is a number in `palette` (rrggbb), or three planes for R, G and B without a palette:
        all pictures meant, then all shown. Each picture meant is combined with the one before by
        exclusive or, each picture shown with the one meant at its step; then most bytes are 0.
        """
        wrong = self.wrong
        count, (rows, columns) = len(self.meant), self.gap.shape
        both = np.concatenate([self.meant, self.shown]).reshape(2 * count, rows * columns, 3)
        codes = both.astype(np.uint32) @ np.array([1 << 16, 1 << 8, 1], dtype=np.uint32)
        colours, numbers = np.unique(codes, return_inverse=True)
        planes: NDArray[np.uint8]
        if few := len(colours) <= _COLOURS:
            planes = numbers.reshape(2 * count, -1).astype(np.uint8)
        else:
            planes = both.transpose(0, 2, 1).reshape(2 * count, -1)
        changes = planes.copy()
        changes[1:count] ^= planes[: count - 1]
        changes[count:] ^= planes[:count]
        return {
            "name": self.name,
            "about": self.about,
            "steps": list(self.steps),
            "of": self.of,
            "hold_ms": self.hold_ms,
            "wrong": [int(cells.sum()) for cells in wrong],
            "differs": bool(wrong.any()),
            "compared": self.compared,
            "palette": [f"{colour:06x}" for colour in colours.tolist()] if few else None,
            "data": base64.b64encode(zlib.compress(changes.tobytes(), 9)).decode(),
        }


def _codes(light: Light) -> Srgb:
    return np.round(255 * linear_to_srgb(light.clip(0, 1))).astype(np.uint8)
