"""The search for the shortest composition of operations that turns the map into what was seen.

Minimum description length: an explanation costs the sum of its statements plus one for every
LED left over. The search starts from each way in which the whole map may differ (none, a symmetry,
another wiring in a few words; each with or without lines exchanged), and adds the detectors'
proposals greedily. A result counts only after `sound` has cut it to statements that accuse nothing
that is right.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import combinations, product

import numpy as np

from emulator.arrays import Ints
from harness.explain.detectors import line_exchange, proposals, shuffled
from harness.explain.grids import OtherGrid, other_grids, variants
from harness.explain.hidden import Forgotten, Stray
from harness.explain.named import grounded
from harness.explain.operations import (
    MadeFor,
    MapIs,
    Operation,
    SameCell,
    Shows,
    Shuffled,
    Swapped,
    Symmetry,
    Taken,
)
from harness.explain.sound import cost, length, sound, trimmed
from harness.explain.state import Proposal, Seen, State
from harness.explain.wall import Wall
from harness.patterns.coded import ALWAYS_LIT, NEVER_LIT, READS_GAP, UNCLEAR

_ONE = 1.5  # length of one statement at most; a longer explanation may have a shorter one
_STEPS = 40  # proposals accepted at most from one start
_GRIDS = 3  # sizes of another grid that are tried in every way it may be used
_FIRST = 4  # starts tried first, in which the whole map differs in one respect
_MORE = 16  # starts tried after them, in which it differs in one or two
_ROUNDS, _REFINED = 3, 4  # rounds of refinement, and explanations refined in each
_EQUAL = 1e-9
_PLUGS = 8  # most lines of which every pair is tried exchanged
_SINGLES = 12  # most statements about single LEDs; more are listed cell by cell

# Operations, and the positions left over.
Found = tuple[tuple[Operation, ...], Ints]


def shortest(wall: Wall, source: Ints) -> Found:
    """The operations of the shortest explanation found, and the positions left over (int64)."""
    plain = State(Seen(wall, source), wall.wiring.cell)
    best = _Best(plain)
    ones, plugs, symmetries = _whole_map(wall)
    single = _promising(plain, [(o,) for o in (*ones, *plugs)])
    for start in single[:_FIRST]:
        best.improve(start)
    best.improve(())
    if best.total > _ONE:
        grids = _made_for(plain)
        double: list[Proposal] = [*product((*ones, *grids), symmetries)]
        for start in _promising(plain, [*single[_FIRST:], *((g,) for g in grids), *double])[:_MORE]:
            best.improve(start)
        best.refine()
    return best.found()


class _Best:
    """The shortest explanation so far, and what led to others."""

    def __init__(self, plain: State) -> None:
        self._plain = plain
        self._tried: dict[Proposal, float] = {}
        self._next: dict[tuple[bytes, bool], Proposal] = {}
        self.operations: Proposal = ()
        self.total = np.inf
        self._judge(())

    def improve(self, start: Proposal) -> None:
        """Search from this start and keep the result if it is shorter."""
        operations = self._greedy(start, True)
        self._judge(sound(self._plain, operations))
        if any(isinstance(operation, Shuffled) for operation in operations):
            # A shuffled piece hides what else is wrong with it: search once with shuffles first.
            operations = self._greedy(start, False)
            kept = sound(self._plain, operations)
            self._judge(kept)
            if kept != operations:
                self._judge(sound(self._plain, self._greedy(kept, True)))

    def found(self) -> Found:
        """The shortest explanation, cut to what it needs, and the positions left over."""
        operations = trimmed(self._plain, self.operations)
        return operations, np.flatnonzero(~self._plain.after(operations).right)

    def refine(self) -> None:
        """Remove operations from the best so far, one or all of a kind, and search again.

        An operation found while others were still missing may begin or end at the wrong place.
        """
        for _ in range(_ROUNDS):
            before = self.total
            for operations in sorted(self._tried, key=self._tried.__getitem__)[:_REFINED]:
                for fewer in _with_fewer(operations):
                    self.improve(fewer)
            if self.total > before - _EQUAL:
                break

    def _judge(self, operations: Proposal) -> None:
        if operations in self._tried:
            return
        state = self._plain.after(operations)
        complete = sound(self._plain, (*operations, *_singles(state)))
        self._tried[operations] = total = length(self._plain, complete)
        if total < self.total - _EQUAL:
            self.operations, self.total = complete, total

    def _greedy(self, start: Proposal, shuffles: bool) -> Proposal:
        """Add the proposal that pays most until none does, or until the best is out of reach.

        shuffles: whether shuffled pieces compete with the others; else they come if none pays.
        """
        operations, state = start, self._plain.after(start)
        for _ in range(_STEPS):
            if not state.left or cost(operations) + 0.9 > self.total:
                break
            best = self._step(state, shuffles)
            if not best:
                break
            operations, state = (*operations, *best), state.after(best)
        return operations

    def _step(self, state: State, shuffles: bool) -> Proposal:
        """What pays most on this state; empty if nothing does."""
        key = state.prediction.tobytes(), shuffles
        if key not in self._next:
            found = [*proposals(state), *(shuffled(state) if shuffles else ())]
            best = _best_of(state, found)
            if not best and not shuffles:
                best = _best_of(state, [*shuffled(state)])
            self._next[key] = best
        return self._next[key]


def _with_fewer(operations: Proposal) -> set[Proposal]:
    """The operations without one of them, and without all of one kind."""
    one = {(*operations[:place], *operations[place + 1 :]) for place in range(len(operations))}
    sorts = {type(operation) for operation in operations}
    return one | {tuple(o for o in operations if type(o) is not sort) for sort in sorts}


def _whole_map(wall: Wall) -> tuple[list[Operation], list[Operation], list[Operation]]:
    """The ways the whole map may differ: in one respect; in how lines are plugged; symmetries."""
    words = wall.words
    symmetries = _symmetries()
    maps = [MapIs(other, words.differences(other) if words else ()) for other, _ in wall.shorthands]
    left_out = _left_out(wall)
    whole = (*left_out, *symmetries, *maps)
    ones: list[Operation] = sorted(whole, key=lambda operation: operation.cost)
    plugs: list[Operation] = []
    if wall.lines <= _PLUGS:
        plugs = [Taken("line", ((a, b), (b, a))) for a, b in combinations(range(wall.lines), 2)]
    return ones, plugs, symmetries


def _left_out(wall: Wall) -> list[Operation]:
    """That all hidden LEDs are left out, line by line or of the whole chain."""
    ways = [Forgotten(tuple(range(wall.lines)))] + [Forgotten(())] * (wall.lines > 1)
    return [way for way in ways if way.left_out(wall).size]


def _made_for(plain: State) -> list[Operation]:
    """Maps for the most promising other grid sizes, in every way such a map may be used."""
    wall, words = plain.wall, plain.wall.words
    cells = np.arange(wall.cells)
    turned = [cells, *(symmetry.apply(cells, wall) for symmetry in _symmetries())]
    tables = np.stack([wall.as_seen(table) for table in turned])
    inside = plain.source >= 0

    def fitting(grid: OtherGrid) -> int:
        """LEDs that show their cell of this grid, with the picture turned to fit best."""
        shown = grid.cells(wall, words)
        if shown is None:
            return 0
        there = inside & (shown >= 0)
        return int((tables[:, shown[there]] == plain.source[there]).sum(axis=1).max())

    likely = sorted(other_grids(wall), key=fitting, reverse=True)[:_GRIDS]
    return [
        MadeFor(variant, words)
        for grid in likely
        for variant in variants(grid)
        if variant.cells(wall, words) is not None
    ]


def _symmetries() -> list[Operation]:
    return [Symmetry(*flags) for flags in product((False, True), repeat=3) if any(flags)]


def _promising(plain: State, bases: Sequence[Proposal]) -> list[Proposal]:
    """Each different base, also with lines exchanged; the most promising first."""
    seen: set[bytes] = set()
    starts: list[tuple[float, Proposal]] = []
    for base in bases:
        if not all(grounded(operation, plain.seen) for operation in base):
            continue
        state = plain.after(base)
        key = state.prediction.tobytes()
        if key in seen:
            continue
        seen.add(key)
        starts.append((_order(state), base))
        exchange = line_exchange(state)
        if exchange:
            starts.append((_order(state.after(exchange)), (*base, *exchange)))
    starts.sort(key=lambda start: -start[0])
    return [base for _, base in starts]


def _order(state: State) -> float:
    """How promising a start is: LEDs right, or at least next to what their neighbour shows."""
    giver = state.giver
    step = giver[1:] - giver[:-1]
    follows = (np.abs(step) == 1) & (giver[1:] >= 0) & (giver[:-1] >= 0)
    return float(len(state.right) - state.left + np.count_nonzero(follows))


def _best_of(state: State, found: list[Proposal]) -> Proposal:
    """The grounded proposal that sets right most LEDs beyond its cost; empty if none does."""
    wrong, most = state.left, _EQUAL
    best: Proposal = ()
    for proposal in found:
        if not all(grounded(operation, state.seen) for operation in proposal):
            continue
        pays = wrong - state.after(proposal).left - cost(proposal)
        if pays > most:
            best, most = proposal, pays
    return best


def _singles(state: State) -> Proposal:
    """Statements about single LEDs: those that show no cell, then doubles, then swapped pairs."""
    source, wrong = state.source, ~state.right
    found: list[Operation] = []
    stray = np.flatnonzero(wrong & state.wall.wiring.hidden & (source != NEVER_LIT))
    if stray.size:
        found.append(Stray(tuple(stray.tolist()), tuple(source[stray].tolist())))
    wrong &= ~state.wall.wiring.hidden
    for mark in (NEVER_LIT, ALWAYS_LIT, READS_GAP, UNCLEAR):
        leds = np.flatnonzero(wrong & (source == mark))
        if leds.size:
            found.append(Shows(mark, tuple(leds.tolist())))
    giver = state.giver
    wrong &= giver >= 0
    singles: list[Operation] = []
    for led in np.flatnonzero(wrong).tolist():
        other = int(giver[led])
        if state.right[other]:
            singles.append(SameCell(led, other))
        elif led < other and giver[other] == led:
            singles.append(Swapped(led, other))
    # Among many LEDs without a pattern, a few doubles are chance and would distract.
    if len(singles) > _SINGLES or 4 * len(singles) < wrong.sum():
        return tuple(found)
    return (*found, *singles)
