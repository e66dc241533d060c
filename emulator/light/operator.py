"""The light of all cells on a picture of the front, as a few small matrix products.

The light of a cell is a sum of products f_j(x)·g_j(y), of which a few are enough.
The picture is then Σ_j D_j · cells · A_jᵀ. It is drawn in blocks of rows and tiles of columns. In
so small a piece the f_j of all cells are nearly the same. So each piece has its own basis with few
members, and the large products are only as deep as that basis. The product along the rows comes
last: its other side already has red, green and blue side by side, as in the picture.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from emulator.arrays import Floats
from emulator.light.cover import Axis, Spot
from emulator.light.far import MARGIN, FarField, joining, split
from emulator.light.product import Matrix, product

# Called with a slice of rows of pixels, their light (rows, width, 3), and an array of this shape to
# work in; the next call uses both arrays again.
Take = Callable[[slice, Matrix, Matrix], None]

# Measured: larger pieces need fewer calls; smaller ones have bases with fewer members, above all if
# cells have few pixels.
_PIECE, _SMALL_PIECE = 128, 64
_FEW_PIXELS = 16
# Share of the strongest term: weaker ones are left out. They add far less than half a code value of
# a screen, even if the rest of the wall is fully lit: fewer than one pixel in 200 is one code off.
_TERMS_TO, _BASIS_TO = 1e-4, 2e-4


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
    """The fewest products that give the spot: a singular value decomposition of its sum."""
    left, left_terms = _orthogonal(spot, across)
    right, right_terms = _orthogonal(spot, down)
    u, strength, vt = np.linalg.svd(left_terms @ right_terms.T)
    kept = strength > _TERMS_TO * strength[0]
    root = np.sqrt(strength[kept])
    return Terms(left @ (u[:, : len(root)] * root), right @ (vt.T[:, : len(root)] * root))


def _orthogonal(spot: Spot, axis: Axis) -> tuple[Floats, Floats]:
    """(to, back): profiles @ to is orthogonal over the reach; that @ back gives profiles · √weight.

    From the small Gram matrix: its eigenvalues are exact to 1e-15 of the largest, which is more
    than enough for the terms kept.
    """
    reach = spot.reach_mm(axis)
    near = min(reach, 8 * spot.depth_mm)
    offsets = np.concatenate([np.linspace(0, near, 500), np.linspace(near, reach, 200)[1:]])
    if axis.off_mm:
        offsets = np.concatenate([-offsets[:0:-1], offsets])
    root = np.sqrt(spot.weight)
    profiles = spot.profiles(offsets, axis) * np.sqrt(np.gradient(offsets))[:, None] * root
    square, vectors = np.linalg.eigh(profiles.T @ profiles)
    kept = square > 1e-13 * square[-1]
    strength = np.sqrt(square[kept])
    return root[:, None] * vectors[:, kept] / strength, strength[:, None] * vectors[:, kept].T


class Pieces:
    """An axis of `cells` cells and `pixels` pixels, cut into pieces; made where they are needed.

    terms: (K, r) coefficients of this axis. size: pixels of a piece, at most. margin: how many
    samples of far light there are beyond each end; with one, the joining of the samples is an
    additional term, the last. Where pixels are larger than cells, each is the mean of so many
    points that these are not.
    """

    def __init__(
        self, spot: Spot, axis: Axis, terms: Floats, cells: int, pixels: int, size: int, margin: int
    ) -> None:
        self._spot, self._axis, self._terms = spot, axis, terms
        self._cells, self._pixels, self._margin = cells, pixels, margin
        self.size = -(-pixels // -(-pixels // size))  # all pieces are about equally long
        self._points = points_a_pixel(cells, pixels)
        self._number = np.arange(-margin, cells + margin)
        self._made: dict[int, Piece] = {}

    def over(self, part: slice) -> list[Piece]:
        """The pieces that cover some pixels."""
        numbers = range(part.start // self.size, -(-part.stop // self.size))
        new = [number for number in numbers if number not in self._made]
        self._made.update(zip(new, self._make(new), strict=True))
        return [self._made[number] for number in numbers]

    def _make(self, numbers: list[int]) -> list[Piece]:
        axis, number, count = self._axis, self._number, self._terms.shape[1]
        centre_mm = (number + 0.5) * axis.pitch_mm
        reach_mm = self._spot.reach_mm(axis)
        reach = max(reach_mm, self._margin * axis.pitch_mm)
        step_mm = self._cells / (self._pixels * self._points) * axis.pitch_mm
        pixels, nears, offsets, masks = [], [], [], []
        for start in (self.size * number for number in numbers):
            pixels.append(slice(start, min(start + self.size, self._pixels)))
            ends = self._points * start, self._points * pixels[-1].stop
            at_mm = (np.arange(*ends) + 0.5) * step_mm
            first = int(np.searchsorted(centre_mm, at_mm[0] - reach))
            last = max(int(np.searchsorted(centre_mm, at_mm[-1] + reach)), first + 1)
            near = slice(min(first, len(number) - 1), min(last, len(number)))
            offset = at_mm[:, None] - centre_mm[None, near]
            on_cells = (number[near] >= 0) & (number[near] < self._cells)
            nears.append(near)
            offsets.append(offset)
            masks.append((np.abs(offset) <= reach_mm) & on_cells)
        given = [offset[mask] for offset, mask in zip(offsets, masks, strict=True)]
        lights = _each_once(self._spot, axis, self._terms, given)
        made = []
        for part, near, offset, reached in zip(pixels, nears, offsets, masks, strict=True):
            light = np.zeros((*offset.shape, count + (self._margin > 0)))
            light[reached, :count] = next(lights)
            if self._margin:
                light[..., count] = joining(offset, axis)
            means = light.reshape(-1, self._points, light[0].size).mean(axis=1)
            made.append(_piece(part, near, means))
        return made


def points_a_pixel(cells: int, pixels: int) -> int:
    """The points whose mean a pixel shows: more than one where pixels are larger than cells."""
    return max(-(-cells // pixels), 1)


def _piece(pixels: slice, near: slice, light: Floats) -> Piece:
    """The piece of (P, cells · terms) light.

    Its basis is that of a singular value decomposition, from the small Gram matrix: several times
    as fast, and exact to 1e-8 of the largest member, which is more than enough.
    """
    square, basis = np.linalg.eigh(light @ light.T)
    # How much the later members of the basis give, at the pixel where that is most.
    carried = np.cumsum(basis**2 * np.maximum(square, 0), axis=1)[:, ::-1]
    left_out = np.sqrt(carried.max(axis=0))
    kept = max(int((left_out > _BASIS_TO * left_out[0]).sum()), 1)
    basis = basis[:, ::-1][:, :kept]
    return Piece(
        pixels,
        near,
        np.ascontiguousarray(basis, dtype=np.float32),
        np.ascontiguousarray(basis.T @ light, dtype=np.float32),
    )


def _each_once(spot: Spot, axis: Axis, terms: Floats, offsets_mm: list[Floats]) -> Iterator[Floats]:
    """(n, r) terms of the spot at each list of offsets (n,).

    Most offsets repeat from cell to cell; the spot is calculated once for each.
    """
    if not offsets_mm:
        return
    every, back = np.unique(np.round(np.concatenate(offsets_mm), 9), return_inverse=True)
    light = spot.profiles(every, axis) @ terms
    ends = np.cumsum([len(part) for part in offsets_mm])[:-1]
    for indices in np.split(back, ends):
        yield light[indices]


class Operator:
    """From the light of cells to light on the front; make it once, then use it for every frame.

    The unit is lux for LEDs of one candela, times `gain`.
    """

    def __init__(
        self,
        spot: Spot,
        axes: tuple[Axis, Axis],
        cells: tuple[int, int],
        pixels: tuple[int, int],
        part: tuple[slice, slice] | None = None,
    ) -> None:
        """cells: (columns, rows). pixels: (width, height) of the whole wall. part: the columns and
        rows of pixels that are drawn, as for `show`; default: all."""
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
        self._pixels = pixels
        size = _SMALL_PIECE if pixels[0] < _FEW_PIXELS * columns else _PIECE
        self._across = Pieces(near, across, terms.across, columns, pixels[0], size, margin)
        self._down = Pieces(near, down, terms.down, rows, pixels[1], size, margin)
        # The cells, within a margin that stays dark.
        self._framed = np.zeros((3, rows + 2 * margin, columns + 2 * margin), dtype=np.float32)
        inner = slice(margin, margin + rows), slice(margin, margin + columns)
        self._planes = self._framed[:, inner[0], inner[1]]
        self._gain, self._plus = 1.0, 0.0
        self.show(slice(0, pixels[0]) if part is None else part[0],
                  slice(0, pixels[1]) if part is None else part[1])  # fmt: skip

    def show(self, across: slice, down: slice) -> None:
        """Draw these columns and rows of pixels from now on."""
        self._shown = across, down
        self.width, self.height = across.stop - across.start, down.stop - down.start
        self.tiles, self.blocks = self._across.over(across), self._down.over(down)
        # All tiles get the same number of members and of pixels: some are zero.
        members = max(len(tile.share) for tile in self.tiles)
        rows, wide = self._framed.shape[1], self._across.size
        self._shared = np.empty((len(self.tiles), 3, rows, self.terms, members), dtype=np.float32)
        self._to_share = [_to_share(tile, self.terms, members) for tile in self.tiles]
        self._onto = np.zeros((len(self.tiles), members, wide), dtype=np.float32)
        for onto, tile in zip(self._onto, self.tiles, strict=True):
            onto[: len(tile.share), : len(tile.basis)] = tile.basis.T
        deep = max(len(block.share) for block in self.blocks)
        self._desk = _Desk(self._onto.shape, deep, self._down.size)
        self.expose(self._gain, self._plus)

    def expose(self, gain: float, plus: float) -> None:
        """From now on `blocks_of` gives light · gain + plus."""
        self._gain, self._plus = gain, plus
        self._scaled = [
            np.concatenate(
                [gain * block.basis, np.full_like(block.basis[:, :1], plus)],
                axis=1,
                dtype=np.float32,
            )
            for block in self.blocks
        ]

    def brightest(self) -> float:
        """The most light anywhere in what is shown when every cell is at 1; resets `expose`."""
        self.expose(1.0, 0.0)
        most: list[float] = []
        ones = np.ones((*self._planes.shape[1:], 3), dtype=np.float32)
        self.blocks_of(ones, lambda rows, light, spare: most.append(float(light[..., 0].max())))
        return max(most)

    def blocks_of(self, cells: Matrix, take: Take) -> None:
        """Call `take` with every block of rows of the picture of cells (rows, columns, 3).

        One thread draws them. On two cores that other programs also used, a second thread was no
        faster: 0.9 to 1.1 times, by the quickest of 600 pictures of 128 × 128 cells at 1024 × 1024.
        """
        self._planes[...] = np.moveaxis(cells, -1, 0)
        samples = None if self._far is None else self._far.of(self._planes)
        for tile, to_share, shared in zip(self.tiles, self._to_share, self._shared, strict=True):
            self._share(tile.cells, samples, to_share, shared)
        for block, scaled in zip(self.blocks, self._scaled, strict=True):
            self._draw(block, scaled, take)

    def _share(
        self, cells: slice, samples: Matrix | None, to_share: Matrix, shared: Matrix
    ) -> None:
        """The light of every row of cells for each term and member of one tile."""
        flat = shared.reshape(*shared.shape[:2], -1)
        near = self._near * shared.shape[-1]
        product(self._framed[:, :, cells], to_share[:, :near], flat[:, :, :near])
        if samples is not None:
            product(samples[:, :, cells], to_share[:, near:], flat[:, :, near:])

    def _draw(self, block: Piece, scaled: Matrix, take: Take) -> None:
        """Draw the rows shown of one block from the tiles' shares."""
        desk, (columns, rows) = self._desk, self._shown
        begin = max(block.pixels.start, rows.start)
        end = min(block.pixels.stop, rows.stop)
        scaled = scaled[begin - block.pixels.start : end - block.pixels.start]
        deep, count, tiles = len(block.share), len(scaled), len(self.tiles)
        reaching = self._shared[:, :, block.cells]
        core, lines = desk.core[:, :, :deep], desk.lines[:, :, :deep]
        product(block.share, reaching.reshape(tiles, 3, -1, reaching.shape[-1]), core)
        product(core, self._onto[:, None], lines)
        for channel in range(3):
            desk.mixed[:, :deep, :, channel] = lines[:, channel]
        desk.mixed[:, deep] = 1  # multiplies the column of `plus`
        across = desk.mixed[:, : deep + 1].reshape(tiles, deep + 1, -1)
        light = desk.light[:count]
        product(scaled, across, light.reshape(count, tiles, -1).transpose(1, 0, 2))
        left = columns.start - self.tiles[0].pixels.start
        seen = slice(left, left + self.width)
        take(slice(begin - rows.start, end - rows.start), light[:, seen], desk.spare[:count, seen])


class _Desk:
    """The arrays that a block is drawn in."""

    def __init__(self, onto: tuple[int, ...], deep: int, rows: int) -> None:
        tiles, members, wide = onto
        self.core = np.empty((tiles, 3, deep, members), dtype=np.float32)
        self.lines = np.empty((tiles, 3, deep, wide), dtype=np.float32)
        self.mixed = np.empty((tiles, deep + 1, wide, 3), dtype=np.float32)
        self.light, self.spare = np.empty((2, rows, tiles * wide, 3), dtype=np.float32)


def _to_share(tile: Piece, terms: int, members: int) -> Matrix:
    """(near cells, terms · members): from a row's cells to each term and member of the basis."""
    by_cell = tile.share.reshape(len(tile.share), -1, terms).transpose(1, 2, 0)
    padded = np.zeros((*by_cell.shape[:2], members), dtype=np.float32)
    padded[..., : len(tile.share)] = by_cell
    return padded.reshape(len(padded), -1)
