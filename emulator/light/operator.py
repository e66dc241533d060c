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
from emulator.light.far import MARGIN, FarField, joining, split
from emulator.light.product import product

Floats = NDArray[np.float64]
Matrix = NDArray[np.float32]

# Measured: blocks and tiles of this size keep the light of a block in the processor's cache.
ROWS, TILE = 128, 96
_SMALL = 64  # both, where a cell has so few pixels that a basis has many members
_FEW_PIXELS = 16
# Of the strongest: what is left out stays far below half a code value of a screen, even beside
# a wall that is otherwise lit all over.
_TERMS_TO, _BASIS_TO = 5e-5, 2e-4
_FEW = 64  # cells times terms


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
    spot: Spot, axis: Axis, terms: Floats, cells: int, pixels: int, size: int, margin: int = 0
) -> Iterator[Piece]:
    """An axis of `cells` cells and `pixels` pixels, cut into pieces of `size` pixels.

    terms: (K, r) coefficients of this axis. With a margin, so many samples of far light lie
    beyond each end, and the joining of the samples is one term more, the last.
    """
    at_mm = (np.arange(pixels) + 0.5) * cells / pixels * axis.pitch_mm
    number = np.arange(-margin, cells + margin)
    centre_mm = (number + 0.5) * axis.pitch_mm
    reach_mm = spot.reach_mm(axis)
    reach = max(reach_mm, margin * axis.pitch_mm)
    count = terms.shape[1]
    for start in range(0, pixels, size):
        part = at_mm[start : start + size]
        first = int(np.searchsorted(centre_mm, part[0] - reach))
        last = max(int(np.searchsorted(centre_mm, part[-1] + reach)), first + 1)
        near = slice(min(first, len(number) - 1), min(last, len(number)))
        offset = part[:, None] - centre_mm[None, near]
        light = np.zeros((*offset.shape, count + (margin > 0)))
        on_cells = (number[near] >= 0) & (number[near] < cells)
        reached = (np.abs(offset) <= reach_mm) & on_cells
        light[reached, :count] = spot.profiles(offset[reached], axis) @ terms
        if margin:
            light[..., count] = joining(offset, axis)
        flat = light.reshape(len(part), -1)
        basis, strength, share = np.linalg.svd(flat, full_matrices=False)
        # What the members of the basis after each one carry, at the pixel where it is most.
        carried = np.cumsum(((basis * strength) ** 2)[:, ::-1], axis=1)[:, ::-1]
        left_out = np.sqrt(carried.max(axis=0))
        kept = max(int((left_out > _BASIS_TO * left_out[0]).sum()), 1)
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
        near, far = split(spot, across, down)
        margin = 0
        self._far: FarField | None = None
        if far is not None:
            margin = MARGIN
            self._far = FarField(far, axes, separate(far, across, down), cells)
        columns, rows = cells
        terms = separate(near, across, down)
        self._near = terms.across.shape[1]
        self.terms = self._near + (margin > 0)
        self.width, self.height = pixels
        small = self.width < _FEW_PIXELS * columns
        tile, block = (_SMALL, _SMALL) if small else (TILE, ROWS)
        self.tiles = list(pieces(near, across, terms.across, columns, self.width, tile, margin))
        self.blocks = list(pieces(near, down, terms.down, rows, self.height, block, margin))
        # The cells, within a margin that stays dark.
        self._framed = np.zeros((3, rows + 2 * margin, columns + 2 * margin), dtype=np.float32)
        inner = slice(margin, margin + rows), slice(margin, margin + columns)
        self._planes = self._framed[:, inner[0], inner[1]]
        self._shared = [
            np.empty((3, rows + 2 * margin, self.terms * len(tile.share)), dtype=np.float32)
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
        # Where few cells reach a block, a basis for its rows costs more calls than it saves work.
        self._straight = [
            np.ascontiguousarray(block.basis @ block.share)
            if block.share.shape[1] <= _FEW
            else None
            for block in self.blocks
        ]
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
        """The most light anywhere in the picture when every cell is at 1; ends an exposure."""
        self.expose(1.0, 0.0)
        ones = np.ones((*self._planes.shape[1:], 3), dtype=np.float32)
        return max(float(light[0].max()) for _, light in self.blocks_of(ones))

    def blocks_of(self, cells: Matrix) -> Iterator[tuple[slice, Matrix]]:
        """(rows of pixels, light (3, rows, width)) for cells (rows, columns, 3), block by block.

        The light is in an array that the next block uses again.
        """
        self._planes[...] = np.moveaxis(cells, -1, 0)
        samples = None if self._far is None else self._far.of(self._planes)
        for tile, to_share, shared in zip(self.tiles, self._to_share, self._shared, strict=True):
            near = self._near * len(tile.share)
            product(self._framed[:, :, tile.cells], to_share[:, :near], shared[:, :, :near])
            if samples is not None:
                product(samples[:, :, tile.cells], to_share[:, near:], shared[:, :, near:])
        for block, straight in zip(self.blocks, self._straight, strict=True):
            count = block.pixels.stop - block.pixels.start
            light = self._light[:, :count]
            deep = len(block.share)
            for tile, onto, shared in zip(self.tiles, self._scaled, self._shared, strict=True):
                wide = len(tile.share)
                reaching = shared[:, block.cells].reshape(3, -1, wide)
                band = self._band[: 3 * count * (wide + 1)].reshape(3, count, wide + 1)
                band[:, :, wide] = 1  # meets the row of `plus`
                if straight is None:
                    core = self._core[: 3 * deep * wide].reshape(3, deep, wide)
                    product(block.share, reaching, core)
                    product(block.basis, core, band[:, :, :wide])
                else:
                    product(straight, reaching, band[:, :, :wide])
                product(band, onto, light[:, :, tile.pixels])
            yield block.pixels, light
