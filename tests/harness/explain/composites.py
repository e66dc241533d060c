"""Random walls and random composites of faults, for the tests of the explanations."""

from __future__ import annotations

from dataclasses import dataclass
from typing import get_args

import numpy as np

from emulator.description.wiring import Along, Corner, Path, Wiring, shorthand
from harness.explain import operations as ops
from harness.mistakes import FAULTS, as_seen
from harness.mistakes.fault import Fault

Generator = np.random.Generator

# The statements that name a fault by its kind. A whole map, a symmetry and a line taken for
# another have the same effect on some walls, so each group stands for its members.
_MAP = (ops.MapIs, ops.Symmetry, ops.MadeFor, ops.LinesAre)
_PIECES = (ops.Taken, ops.Backwards, ops.MapIs, ops.LinesAre, ops.Symmetry)
_LED = (ops.Shows, ops.SameCell, ops.Swapped)
KINDS = {
    "wrong path": (*_MAP, ops.Backwards),
    "wrong corner": _MAP,
    "wrong along": _MAP,
    "gap counted": _MAP,
    "other width": (ops.MadeFor,),
    "other height": (ops.MadeFor,),
    "drawn for other width": (ops.MadeFor,),
    "counted by other width": (ops.MadeFor,),
    "mirrored": (ops.Symmetry, ops.MapIs),
    "upside down": (ops.Symmetry, ops.MapIs),
    "turned": (ops.Symmetry, ops.MapIs),
    "transposed": (ops.Symmetry, ops.MapIs),
    "rows exchanged": (ops.Taken,),
    "columns exchanged": (ops.Taken,),
    "lines exchanged": (ops.Taken,),
    "line from elsewhere": (ops.LinesAre, *_PIECES),
    "run reversed": (ops.Backwards, ops.MapIs),
    "range reversed": (ops.RangeBackwards, *_PIECES),
    "run shuffled": (ops.Shuffled,),
    "row shuffled": (ops.Shuffled,),
    "line shuffled": (ops.Shuffled,),
    "late": (ops.Offset,),
    "double LED": _LED,
    "dead LED": _LED,
    "stuck LED": _LED,
}
_MAPS = [name for name in FAULTS if name in list(FAULTS)[: list(FAULTS).index("mirrored")]]
_PICTURES = ["mirrored", "upside down", "turned", "transposed"]


def random_wall(rng: Generator) -> Wiring:
    """A wall of 36 to 289 LEDs: any corner, rows or columns, path, lines; often with a gap."""
    rows, columns = (int(n) for n in rng.integers(6, 18, 2))
    gap = np.zeros((rows, columns), dtype=bool)
    if rng.random() < 0.4:
        row, column = int(rng.integers(rows - 2)), int(rng.integers(columns - 2))
        gap[row : row + int(rng.integers(1, 3)), column : column + int(rng.integers(1, 3))] = True
    along = str(rng.choice(get_args(Along)))
    lines = int(rng.choice([1, 1, 2, 3, min(5, rows, columns)]))
    return shorthand(
        gap, str(rng.choice(get_args(Corner))), along, str(rng.choice(get_args(Path))), lines
    )


@dataclass(frozen=True)
class Composite:
    """Faults on a wall, in the order in which they act, and what is seen of them."""

    wiring: Wiring
    names: tuple[str, ...]
    faults: tuple[Fault, ...]

    @property
    def seen(self) -> np.ndarray:
        return self.without(-1)

    def without(self, left_out: int) -> np.ndarray:
        """What is seen when one of the faults is not there."""
        cells = self.wiring.cell
        for number, fault in enumerate(self.faults):
            if number != left_out:
                cells = fault.apply(cells, self.wiring)
        return as_seen(cells, self.wiring)

    def effective(self) -> list[str]:
        """Names of the faults without which something else would be seen."""
        seen = self.seen
        return [
            name
            for number, name in enumerate(self.names)
            if not np.array_equal(self.without(number), seen)
        ]


def random_composite(rng: Generator, *, in_order: bool = True, bench: bool = True) -> Composite:
    """One to four faults on a random wall.

    in_order: they act as on a bench, the map first. bench: of two wrong maps, or two ways to turn
    the whole picture, at once no bench has both: they make one of each.
    """
    wiring = random_wall(rng)
    names = [str(n) for n in rng.choice(list(FAULTS), int(rng.integers(1, 5)), replace=False)]
    if in_order:
        names.sort(key=list(FAULTS).index)
    found: list[tuple[str, Fault]] = []
    for name in names:
        group = next((g for g in (_MAPS, _PICTURES) if name in g), None)
        if bench and group and any(other in group for other, _ in found):
            continue
        fault = FAULTS[name].example(wiring, rng)
        if fault is not None:
            found.append((name, fault))
    return Composite(wiring, tuple(n for n, _ in found), tuple(f for _, f in found))
