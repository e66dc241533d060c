"""The light of all cells on a picture of the front, as a few small matrix products.

The light of a cell is a sum of products f_j(x)·g_j(y), of which a few carry all that matters.
The picture is then Σ_j D_j · cells · A_jᵀ. It is drawn in blocks of rows and tiles of columns;
within a piece so small all f_j of all cells are nearly alike, so that each piece has a basis of
its own with few members, and the large products are only as deep as that basis.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from emulator.light.cover import Axis, Spot

Floats = NDArray[np.float64]
Matrix = NDArray[np.float32]

# Blocks of rows stay in the processor's cache. Products this small also stay on one thread: a
# library that shares them out waits for its threads whenever the machine has other work.
ROWS, TILE = 64, 96
# Of the strongest: what is left out stays far below half a code value of a screen, even beside
# a wall that is otherwise lit all over.
_TERMS_TO, _BASIS_TO = 3e-5, 5e-5


class Piece(NamedTuple):
    """Some pixels of an axis: light = basis (P, k) @ (share (k, cells · terms) @ cells)."""

    pixels: slice
    cells: slice
    basis: Matrix
    share: Matrix


class Terms(NamedTuple):
    """Coefficients (K, r) of the r terms in the spot's profiles across and down."""

    across: Floats
    down: Floats


def separate(spot: Spot, across: Axis, down: Axis) -> Terms:
    """The fewest products that carry the spot: a singular value decomposition of its sum."""
    left, left_terms = _orthogonal(spot, across)
    right, right_terms = _orthogonal(spot, down)
    u, strength, vt = np.linalg.svd(left_terms @ right_terms.T)
    kept = strength > _TERMS_TO * strength[0]
    root = np.sqrt(strength[kept])
    return Terms(left @ (u[:, : len(root)] * root), right @ (vt.T[:, : len(root)] * root))


def _orthogonal(spot: Spot, axis: Axis) -> tuple[Floats, Floats]:
    """(to, back): profiles @ to is orthogonal over the reach; that @ back gives profiles · √weight.

    By way of the small Gram matrix: its eigenvalues hold to 1e-15 of the largest, which is more
    than the terms kept need.
    """
    reach = spot.reach_mm(axis)
    near = min(reach, 8 * spot.depth_mm)
    offsets = np.concatenate([np.linspace(0, near, 500), np.linspace(near, reach, 200)[1:]])
    root = np.sqrt(spot.weight)
    profiles = spot.profiles(offsets, axis) * np.sqrt(np.gradient(offsets))[:, None] * root
    square, vectors = np.linalg.eigh(profiles.T @ profiles)
    kept = square > 1e-13 * square[-1]
    strength = np.sqrt(square[kept])
    return root[:, None] * vectors[:, kept] / strength, strength[:, None] * vectors[:, kept].T


def pieces(
    spot: Spot, axis: Axis, terms: Floats, cells: int, pixels: int, size: int
) -> Iterator[Piece]:
    """An axis of `cells` cells and `pixels` pixels, cut into pieces of `size` pixels.

    terms: (K, r) coefficients of this axis.
    """
    at_mm = (np.arange(pixels) + 0.5) * cells / pixels * axis.pitch_mm
    centre_mm = (np.arange(cells) + 0.5) * axis.pitch_mm
    reach = spot.reach_mm(axis)
    for start in range(0, pixels, size):
        part = at_mm[start : start + size]
        first = int(np.searchsorted(centre_mm, part[0] - reach))
        last = max(int(np.searchsorted(centre_mm, part[-1] + reach)), first + 1)
        near = slice(min(first, cells - 1), min(last, cells))
        offset = part[:, None] - centre_mm[None, near]
        light = (spot.profiles(offset, axis) @ terms).reshape(len(part), -1)
        basis, strength, share = np.linalg.svd(light, full_matrices=False)
        kept = max(int((strength > _BASIS_TO * strength[0]).sum()), 1)
        yield Piece(
            slice(start, start + len(part)),
            near,
            np.ascontiguousarray(basis[:, :kept] * strength[:kept], dtype=np.float32),
            np.ascontiguousarray(share[:kept], dtype=np.float32),
        )


class Operator:
    """Light of cells to light on the front; build it once, then use it for every frame.

    The unit is lux for LEDs of one candela, times `gain`. Blocks come from the top down.
    """

    def __init__(
        self,
        spot: Spot,
        axes: tuple[Axis, Axis],
        cells: tuple[int, int],
        pixels: tuple[int, int],
    ) -> None:
        """cells: (columns, rows). pixels: (width, height)."""
        across, down = axes
        terms = separate(spot, across, down)
        self.terms = terms.across.shape[1]
        self.width, self.height = pixels
        self.tiles = list(pieces(spot, across, terms.across, cells[0], pixels[0], TILE))
        self.blocks = list(pieces(spot, down, terms.down, cells[1], pixels[1], ROWS))
        rows = cells[1]
        self._planes = np.empty((3, rows, cells[0]), dtype=np.float32)
        self._shared = [
            np.empty((3, rows, self.terms * len(tile.share)), dtype=np.float32)
            for tile in self.tiles
        ]
        # Of each tile: cells of a row to what each term and member of the basis gets of them.
        self._to_share = [
            np.ascontiguousarray(
                tile.share.reshape(len(tile.share), -1, self.terms)
                .transpose(1, 2, 0)
                .reshape(-1, self.terms * len(tile.share))
            )
            for tile in self.tiles
        ]
        self._onto = [np.ascontiguousarray(tile.basis.T) for tile in self.tiles]
        self._scaled = [basis.copy() for basis in self._onto]
        deep = max(len(block.share) for block in self.blocks)
        wide = max(len(tile.share) for tile in self.tiles)
        self._core = np.empty(3 * deep * wide, dtype=np.float32)
        self._band = np.empty(3 * ROWS * (wide + 1), dtype=np.float32)
        self._light = np.empty((3, ROWS, self.width), dtype=np.float32)
        self.expose(1.0, 0.0)

    def expose(self, gain: float, plus: float) -> None:
        """What `blocks_of` gives from now on: light · gain + plus."""
        self._scaled = [
            np.concatenate([onto * gain, np.full_like(onto[:1], plus)], dtype=np.float32)
            for onto in self._onto
        ]

    def brightest(self) -> float:
        """The most light anywhere in the picture when every cell is at 1, before `expose`."""
        down = np.concatenate([_all_lit(block, self.terms) for block in self.blocks])
        across = np.concatenate([_all_lit(tile, self.terms) for tile in self.tiles])
        # (height, r) @ (r, width) a block at a time, so that a large picture needs no more.
        return max(
            float((down[start : start + 256] @ across.T).max())
            for start in range(0, len(down), 256)
        )

    def blocks_of(self, cells: Matrix) -> Iterator[tuple[slice, Matrix]]:
        """(rows of pixels, light (3, rows, width)) for cells (rows, columns, 3), block by block.

        The light is in an array that the next block uses again.
        """
        self._planes[...] = np.moveaxis(cells, -1, 0)
        for tile, to_share, shared in zip(self.tiles, self._to_share, self._shared, strict=True):
            np.matmul(self._planes[:, :, tile.cells], to_share, out=shared)
        for block in self.blocks:
            count = block.pixels.stop - block.pixels.start
            light = self._light[:, :count]
            deep = len(block.share)
            for tile, onto, shared in zip(self.tiles, self._scaled, self._shared, strict=True):
                wide = len(tile.share)
                near = shared[:, block.cells].reshape(3, -1, wide)
                core = self._core[: 3 * deep * wide].reshape(3, deep, wide)
                band = self._band[: 3 * count * (wide + 1)].reshape(3, count, wide + 1)
                band[:, :, wide] = 1  # meets the row of `plus`
                np.matmul(block.share, near, out=core)
                np.matmul(block.basis, core, out=band[:, :, :wide])
                np.matmul(band, onto, out=light[:, :, tile.pixels])
            yield block.pixels, light


def _all_lit(piece: Piece, terms: int) -> Floats:
    """(P, r): each term's light on the pixels of a piece when every cell is lit."""
    each = piece.share.reshape(len(piece.share), -1, terms).astype(np.float64).sum(axis=1)
    lit: Floats = piece.basis @ each
    return lit
