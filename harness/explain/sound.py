"""What makes an explanation sound; cuts an explanation until it is.

Every explanation passes `sound` before foreglow reports it. Afterwards, each statement
1. names groups of LEDs of which at least half show another cell than their own;
2. changes LEDs of which at least half do so, and at least a third come out as seen in the end;
3. is needed, with every piece it lists: without it the whole would be longer. A statement costs
   more than nothing and an LED left over costs one, so each statement explains some LEDs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from harness.explain.hidden import Forgotten
from harness.explain.named import grounded
from harness.explain.operations import Backwards, LinesAre, Offset, Operation, Shuffled, Taken
from harness.explain.state import Proposal, State

_SHARE = 1 / 3  # of the LEDs an operation changes, those that it must set right
_EQUAL = 1e-9


def cost(operations: Proposal) -> float:
    """Length of the statements."""
    return sum(operation.cost for operation in operations)


def length(plain: State, operations: Proposal) -> float:
    """Length of an explanation: of its statements, and one for each LED left over."""
    return cost(operations) + plain.after(operations).left


def sound(plain: State, operations: Proposal) -> Proposal:
    """The operations without those that accuse what is right or that are not needed."""
    operations = tuple(o for o in operations if grounded(o, plain.seen))
    while operations:
        stages = [plain]
        for operation in operations:
            stages.append(stages[-1].after((operation,)))
        worse = _baseless(stages, operations)
        if worse is None:
            worse = _needless(stages, operations)
        if worse is None:
            break
        operations = (*operations[:worse], *operations[worse + 1 :])
    return operations


def trimmed(plain: State, operations: Proposal) -> Proposal:
    """Sound operations without the pieces in their lists that are not needed; still sound."""
    best = length(plain, operations)
    for place in range(len(operations)):
        for _ in range(len(list(_lesser(operations[place])))):
            for less in _lesser(operations[place]):
                fewer = (*operations[:place], less, *operations[place + 1 :])
                shorter = length(plain, fewer)
                if shorter <= best + _EQUAL and grounded(less, plain.seen):
                    operations, best = fewer, shorter
                    break
            else:
                break
    return sound(plain, operations)


def _baseless(stages: list[State], operations: Proposal) -> int | None:
    """An operation that changes mostly LEDs that are right, or that sets right only a few of them.

    A shuffled piece that comes out right does not confirm other statements about it.
    """
    wall, wrong, right = stages[0].wall, stages[0].seen.wrong, stages[-1].right
    proved = right.copy()
    for operation in operations:
        if isinstance(operation, Shuffled):
            proved[list(operation.leds)] = False
    shown = [wall.as_seen(stage.prediction) for stage in stages]
    for place, operation in enumerate(operations):
        touched = shown[place] != shown[place + 1]
        fit = right if isinstance(operation, Shuffled) else proved
        count = np.count_nonzero(touched)
        accused, fitting = (np.count_nonzero(part & touched) for part in (wrong, fit))
        if 2 * accused < count or fitting < _SHARE * count:
            return place
    return None


def _needless(stages: list[State], operations: Proposal) -> int | None:
    """The operation that pays least, if the explanation is shorter without it."""
    left = stages[-1].left
    best, worst = None, -_EQUAL
    for place, operation in enumerate(operations):
        without = stages[place].after(operations[place + 1 :])
        pays = without.left - left - operation.cost
        if pays < worst:
            best, worst = place, pays
    return best


def _lesser(operation: Operation) -> Iterator[Operation]:
    """The operation with one piece less in the list it names."""
    if isinstance(operation, Backwards) and len(operation.groups) > 1:
        for group in operation.groups:
            yield replace(operation, groups=tuple(g for g in operation.groups if g != group))
    elif isinstance(operation, Taken) and len(operation.pairs) > 1:
        for pair in operation.pairs:
            gone = {pair, pair[::-1]}
            if pairs := tuple(p for p in operation.pairs if p not in gone):
                yield replace(operation, pairs=pairs)
    elif isinstance(operation, Forgotten | LinesAre | Offset) and len(operation.lines) > 1:
        for line in operation.lines:
            yield replace(operation, lines=tuple(n for n in operation.lines if n != line))
