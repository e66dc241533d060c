"""How a row of cells is split into pieces that fit the bed, as few different ones as can be."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from typing import NamedTuple

# Kinds of a piece along one direction: it has both outer ends, one, or none.
WHOLE, END, INNER = 2, 1, 0
Kind = tuple[int, int]  # outer ends, cells
_MANY = 64


class Most(NamedTuple):
    """The most cells of a piece with both outer ends, with one, with none."""

    whole: int
    end: int
    inner: int


def kinds_of(pieces: tuple[int, ...]) -> set[Kind]:
    """The different pieces of a row, an end the same on the left and on the right."""
    if len(pieces) == 1:
        return {(WHOLE, pieces[0])}
    ends = {(END, pieces[0]), (END, pieces[-1])}
    return ends | {(INNER, cells) for cells in pieces[1:-1]}


def split_rows(
    rows: Mapping[int, int], most: Most, seamless: Collection[int] = ()
) -> dict[int, tuple[int, ...]] | None:
    """Pieces, in cells, for each length of row (cells → how many such rows there are).

    As few different pieces as can be with at most one piece more in a row than it needs (two if
    `seamless` names lines where no seam may be), then as few pieces, then pieces of about one
    length. All inner pieces have one length. None if a row cannot be split.
    """
    best: tuple[tuple[int, int, int], dict[int, tuple[int, ...]]] | None = None
    for inner in range(1, max(most.inner, 1) + 1):
        kinds: set[Kind] = set()
        split: dict[int, tuple[int, ...]] = {}
        count = 0
        for cells in sorted(rows, reverse=True):
            options = list(_splits(cells, inner, most, seamless))
            if not options:
                break
            # Of those as good, the one with the most even ends.
            split[cells] = min(
                options,
                key=lambda p: (len(kinds_of(p) - kinds), len(p), abs(p[0] - p[-1]), -p[0]),
            )
            kinds |= kinds_of(split[cells])
            count += rows[cells] * len(split[cells])
        else:
            uneven = sum(max(pieces) - min(pieces) for pieces in split.values())
            worth = len(kinds), count, uneven
            if best is None or worth < best[0]:
                best = worth, split
    return None if best is None else best[1]


def _splits(
    cells: int, inner: int, most: Most, seamless: Collection[int]
) -> Iterator[tuple[int, ...]]:
    """The ways to split a row with inner pieces of one length."""
    if cells <= most.whole:
        yield (cells,)
    over = cells - 2 * most.end
    if inner > most.inner or most.end < 1:
        return
    least = max(0, -(-over // inner))
    # One piece more than needed makes the number of inner ones odd or even; another one helps only
    # around seams that must not be.
    furthest = max(0, -(-over // most.inner)) + (2 if seamless else 1)
    for between in range(least, min(furthest, (cells - 2) // inner) + 1):
        rest = cells - between * inner
        low, high = max(1, rest - most.end), min(most.end, rest - 1)
        if high - low > _MANY and not seamless:
            low, high = rest // 2, (rest + 1) // 2  # on large beds only ends as even as can be
        for first in range(low, high + 1):
            seams = {first + number * inner for number in range(between + 1)}
            if not seams & set(seamless):
                yield (first, *[inner] * between, rest - first)
