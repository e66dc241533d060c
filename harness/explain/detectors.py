"""Detectors: operations that might turn the prediction into what was seen.

Each takes a State and yields proposals. A detector may guess, except about a piece of which most
LEDs show their own cell. The search applies every proposal and keeps those that pay.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Ints
from harness.explain.forgotten import forgotten
from harness.explain.offsets import offsets
from harness.explain.operations import Backwards, LinesAre, Moved, Operation, Shuffled, Taken
from harness.explain.ranges import ranges
from harness.explain.state import Proposal, State
from harness.explain.wall import ON_CELLS, Kind, Wall, Words

_SHUFFLED = 4  # LEDs that show each other's cells before they count as shuffled
_TABLE = 8192  # entries, up to which counting in a table is quicker than sorting
_EXCHANGES = 3  # exchanges of one kind reported one by one; more become one statement


def proposals(state: State) -> Iterator[Proposal]:
    """Everything worth trying on this state, except `shuffled`."""
    yield from moved(state)
    for kind in _kinds(state.wall):
        yield from taken(state, kind)
    for kind in (*_kinds(state.wall), *_led_kinds(state.wall)):
        yield from backwards(state, kind)
    yield from ((left_out,) for left_out in forgotten(state))
    yield from ((offset,) for offset in offsets(state))
    yield from ((reverse,) for reverse in ranges(state))
    yield from line_orders(state)


def moved(state: State) -> Iterator[Proposal]:
    """The whole picture moved, by the distance that most LEDs agree on."""
    wall, seen = state.wall, (state.source >= 0) & (state.prediction >= 0)
    row, column = np.divmod(state.prediction[seen], wall.columns)
    row_seen, column_seen = np.divmod(state.source[seen], wall.columns)
    down, right = (row - row_seen) % wall.rows, (column - column_seen) % wall.columns
    votes = np.bincount(down * wall.columns + right, minlength=1)
    down_by, right_by = divmod(int(votes.argmax()), wall.columns)
    for wraps in (True, False):
        found: list[Operation] = []
        if down_by:
            found.append(Moved("row", _nearest(down_by, wall.rows), wraps))
        if right_by:
            found.append(Moved("column", _nearest(right_by, wall.columns), wraps))
        if found:
            yield tuple(found)


def line_exchange(state: State) -> Proposal:
    """Whole lines taken from others, judged by the line alone, wherever on it the LEDs are."""
    votes = _votes(state, "line") if state.wall.lines > 1 else {}
    return tuple(Taken("line", pairs) for pairs in _components(votes))


def taken(state: State, kind: Kind) -> Iterator[Proposal]:
    """Pieces that show what was meant for others of their kind, perhaps backwards."""
    votes = _votes(state, kind)
    if not votes:
        return
    pieces = state.wall.pieces(kind)
    after = state.after((Taken(kind, tuple(votes.items())),))
    # A reversed giver is as good a reason to exchange, so each piece counts in its better way.
    turned = after.after((Backwards(kind, tuple(votes)),))
    owner = _owner(state, kind)
    gain = np.maximum(
        _count(owner, after.right, len(pieces)), _count(owner, turned.right, len(pieces))
    ) - _count(owner, state.right, len(pieces))
    worth = tuple(
        Taken(kind, pairs)
        for pairs in _components(votes)
        if sum(int(gain[taker]) for taker, _ in pairs) > 1
    )
    if worth:
        if len(worth) > _EXCHANGES:
            worth = (Taken(kind, tuple(sorted(pair for t in worth for pair in t.pairs))),)
        yield worth
        for (reverse,) in backwards(state.after(worth), kind):
            yield (*worth, reverse)


def backwards(state: State, kind: Kind) -> Iterator[Proposal]:
    """All pieces of a kind that fit better when reversed."""
    pieces = state.wall.pieces(kind)
    owner = _owner(state, kind)
    turned = state.after((Backwards(kind, tuple(range(len(pieces)))),))
    gain = _count(owner, turned.right, len(pieces)) - _count(owner, state.right, len(pieces))
    groups = np.flatnonzero((gain > 1) & state.seen.mostly_wrong(kind))
    if groups.size:
        yield (Backwards(kind, tuple(groups.tolist())),)


def line_orders(state: State) -> Iterator[Proposal]:
    """Lines that go through their cells from another corner, along the others, or another way."""
    wall = state.wall
    if wall.lines == 1:  # then it is the whole map that does so
        return
    shown, alike = wall.as_seen(state.prediction), dict[tuple[Words, tuple[str, ...]], list[int]]()
    for line in np.flatnonzero(state.seen.mostly_wrong("line")).tolist():
        mine = wall.placed_on(line)
        ways = wall.line_orders[line]
        own = ways[0][0] if np.array_equal(ways[0][1], mine) else None
        ways = ways[own is not None :]
        fitting = [int((shown[order] == state.source[mine]).sum()) for _, order in ways]
        best = int(np.argmax(fitting)) if fitting else 0
        if fitting and fitting[best] - state.right[mine].sum() > 1:
            words = ways[best][0]
            alike.setdefault((words, words.differences(own) if own else ()), []).append(line)
    for (words, differences), lines in alike.items():
        yield (LinesAre(tuple(lines), words, differences),)


def shuffled(state: State) -> Iterator[Proposal]:
    """Pieces whose LEDs show each other's cells in no order that any other detector finds."""
    wall = state.wall
    wrong = np.flatnonzero(~state.right & (state.giver >= 0))
    kinds: tuple[Kind, ...] = ("run", "row of LEDs", "column of LEDs")
    for kind in (*kinds, "line") if wall.lines > 1 else kinds:
        group = wall.pieces(kind).group
        within = wrong[group[wrong] == group[state.giver[wrong]]]
        count = np.bincount(group[within], minlength=len(wall.pieces(kind)))
        # If many show cells from elsewhere, this piece is not the one out of order.
        count[4 * count < 3 * np.bincount(group[wrong], minlength=len(count))] = 0
        count[~state.seen.mostly_wrong(kind)] = 0
        number = int(count.argmax())
        leds = within[group[within] == number]
        givers = state.giver[leds]
        if count[number] >= _SHUFFLED and _without_order(leds, givers):
            yield (Shuffled(kind, number, tuple(leds.tolist()), tuple(givers.tolist())),)


def _without_order(leds: Ints, givers: Ints) -> bool:
    """Whether LEDs get their cells in no order: neither in even steps, nor from a few distances."""
    steps = np.diff(givers)
    even = int((steps[1:] == steps[:-1]).sum())
    distances = len(np.unique(givers - leds))
    return even * 2 < len(leds) and distances * 3 > len(leds)


def _kinds(wall: Wall) -> tuple[Kind, ...]:
    # Pieces of one element each (the columns of a single row) are left to statements on LEDs.
    kinds: tuple[Kind, ...] = ("line", "row", "column", "run")
    return tuple(k for k in kinds if wall.pieces(k).longest > 1)


def _led_kinds(wall: Wall) -> tuple[Kind, ...]:
    # Counted over LEDs instead of cells, a row differs only where a gap interrupts it.
    return ("row of LEDs", "column of LEDs") if wall.gap.any() else ()


def _owner(state: State, kind: Kind) -> Ints:
    """(N,) the piece each LED belongs to: of the predicted cell, or of the LED; -1 for none."""
    group = state.wall.pieces(kind).group
    if kind in ON_CELLS:
        return np.append(group, -1)[np.maximum(state.prediction, -1)]
    return group


def _votes(state: State, kind: Kind) -> dict[int, int]:
    """For each piece of which at least a quarter shows one other piece, that piece."""
    pieces = state.wall.pieces(kind)
    giver = state.source if kind in ON_CELLS else state.giver
    owner = _owner(state, kind)
    valid = (owner >= 0) & (giver >= 0)
    taker, given = owner[valid], pieces.group[giver[valid]]
    pair, votes = _counted(taker * len(pieces) + given, len(pieces) ** 2)
    voters = np.bincount(taker, minlength=len(pieces))
    mine, other = np.divmod(pair, len(pieces))
    most = np.zeros(len(pieces), dtype=np.int64)
    np.maximum.at(most, mine, votes)
    won = (votes == most[mine]) & (votes * 4 >= voters[mine]) & (votes > 1) & (mine != other)
    won &= state.seen.mostly_wrong(kind)[mine]
    return dict(zip(mine[won].tolist(), other[won].tolist(), strict=True))


def _counted(numbers: Ints, end: int) -> tuple[Ints, Ints]:
    """The numbers 0 ≤ n < end that occur, each once, and how often."""
    if end > _TABLE:
        values, counts = np.unique(numbers, return_counts=True)
        return values, counts
    table = np.bincount(numbers, minlength=end)
    values = table.nonzero()[0]
    return values, table[values]


def _components(taken: dict[int, int]) -> list[tuple[tuple[int, int], ...]]:
    """Split taker → giver pairs into sets that share no piece: an exchange, a ring, a chain."""
    root: dict[int, int] = {}

    def find(piece: int) -> int:
        while root.setdefault(piece, piece) != piece:
            root[piece] = piece = root[root[piece]]
        return piece

    for taker, giver in taken.items():
        root[find(taker)] = find(giver)
    sets: dict[int, list[tuple[int, int]]] = {}
    for pair in taken.items():
        sets.setdefault(find(pair[0]), []).append(pair)
    return [tuple(sorted(pairs)) for pairs in sets.values()]


def _count(owner: Ints, right: NDArray[np.bool_], groups: int) -> Ints:
    return np.bincount(owner[right] + 1, minlength=groups + 1)[1:]


def _nearest(by: int, size: int) -> int:
    """The distance round a ring of `size`, the shorter way: -size/2 < by <= size/2."""
    return by - size if by * 2 > size else by
