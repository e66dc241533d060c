"""The explanation of a map: verified operations, and the LEDs that they do not explain."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from emulator.arrays import Ints
from emulator.description.wiring import NO_CELL, Wiring
from emulator.errors import PictureError
from harness.explain.lednames import led_names
from harness.explain.operations import Operation
from harness.explain.search import shortest
from harness.explain.wall import Wall
from harness.explain.words import MARKS, statement
from harness.patterns.coded import READS_GAP, UNCLEAR
from harness.result.finding import Finding
from harness.result.words import many

_ONE_BY_ONE = 8  # up to so many unexplained LEDs have a finding each; more share one


@dataclass(frozen=True, eq=False)
class Explanation:
    """Why the LEDs show what they show.

    wall: the wiring; source: (N,) what was seen. operations: applied in order to the true cell of
    each LED, they give `source` on every LED except `remaining` (positions, int64, sorted).
    """

    wall: Wall
    source: Ints
    operations: tuple[Operation, ...]
    remaining: Ints

    @property
    def right(self) -> bool:
        """True when every LED shows its own cell."""
        return not self.operations and not self.remaining.size

    def predicted(self) -> Ints:
        """(N,) what the LEDs show according to the operations."""
        return self.wall.as_seen(self._stages[-1])

    @cached_property
    def _stages(self) -> list[Ints]:
        stages = [self.wall.wiring.cell]
        for operation in self.operations:
            stages.append(operation.apply(stages[-1], self.wall))
        return stages

    @cached_property
    def _touched(self) -> list[Ints]:
        """Positions of the LEDs each operation concerns."""
        seen = [self.wall.as_seen(stage) for stage in self._stages]
        return [np.flatnonzero(a != b) for a, b in pairwise(seen)]

    def findings(self, check: str = "map") -> list[Finding]:
        """What is wrong in words: one finding an operation, then what remains."""
        touches = np.zeros(len(self.wall), dtype=np.int64)
        for leds in self._touched:
            touches[leds] += 1
        touches[self.remaining] += len(self.operations)
        found = []
        for operation, leds in zip(self.operations, self._touched, strict=True):
            what, where, remedy = statement(operation, self.wall)
            evidence = f"{many(len(leds))} of {len(self.wall)} affected"
            wrong = leds[self.source[leds] != self.wall.wiring.cell[leds]]
            if wrong.size:
                # The clearest example is an LED that the fewest other operations concern.
                evidence = f"{self._seen(int(wrong[touches[wrong].argmin()]))}; {evidence}"
            named = tuple(leds.tolist())
            found.append(Finding(check, what, where, evidence, remedy, leds=named))
        return [*found, *self._leftovers(check)]

    def _leftovers(self, check: str) -> list[Finding]:
        astray = self.source[self.remaining] != self.wall.wiring.cell[self.remaining]
        left, kept = self.remaining[astray].tolist(), self.remaining[~astray].tolist()
        found = self._listed(check, left) if left else []
        if kept:
            names, one = led_names(self.wall, kept), len(kept) == 1
            what = f"{names} {'is' if one else 'are'} right, although the LEDs nearby are wrong"
            found.append(
                Finding(
                    check,
                    what,
                    names,
                    f"{many(len(kept))} right",
                    "none needed.",
                    "note",
                    leds=tuple(kept),
                )
            )
        return found

    def _listed(self, check: str, left: list[int]) -> list[Finding]:
        """The LEDs that no operation explains, cell by cell."""
        remedy = "Compare the map's entries for these LEDs with the wiring, cell by cell."
        if len(left) <= _ONE_BY_ONE:
            return [
                Finding(
                    check,
                    f"{self.wall.led_name(led)} shows {self._place(int(self.source[led]))} "
                    f"{self._instead(led)}",
                    self.wall.led_name(led),
                    self._seen(led),
                    remedy,
                    leds=(led,),
                )
                for led in left
            ]
        told = "no further pattern" if self.operations else "no pattern"
        return [
            Finding(
                check,
                f"{told} found; {many(len(left))} {'still ' * bool(self.operations)}differ",
                led_names(self.wall, left),
                "; ".join(self._seen(led) for led in left),
                remedy,
                leds=tuple(left),
            )
        ]

    def _instead(self, led: int) -> str:
        cell = int(self.wall.wiring.cell[led])
        return "though it has no cell" if cell == NO_CELL else f"instead of {self._place(cell)}"

    def _seen(self, led: int) -> str:
        cell = int(self.wall.wiring.cell[led])
        meant = "has no cell" if cell == NO_CELL else f"was meant for {self._place(cell)}"
        return f"{self.wall.led_name(led)} {meant} and {self._shows(int(self.source[led]))}"

    def _shows(self, cell: int) -> str:
        lights = cell in MARKS and cell not in (READS_GAP, UNCLEAR)
        return f"is {MARKS[cell]}" if lights else f"shows {self._place(cell)}"

    def _place(self, cell: int) -> str:
        if cell < 0:
            return MARKS[cell]
        row, column = divmod(cell, self.wall.columns)
        return f"column {column}, row {row}"

    def to_json(self) -> dict[str, object]:
        """Everything, unshortened, as JSON types; LEDs as [line, led], cells as [column, row]."""
        return {
            "leds": len(self.wall),
            "right": self.right,
            "operations": [
                {
                    "operation": type(operation).__name__,
                    "parameters": asdict(operation),  # type: ignore[call-overload]
                    "what": statement(operation, self.wall).what,
                    "leds": [self._led_json(led) for led in leds.tolist()],
                }
                for operation, leds in zip(self.operations, self._touched, strict=True)
            ],
            "remaining": [
                {
                    "led": self._led_json(led),
                    "meant": self._meant_json(led),
                    "shows": self._cell_json(int(self.source[led])),
                }
                for led in self.remaining.tolist()
            ],
        }

    def _led_json(self, led: int) -> list[int]:
        return [int(self.wall.wiring.line[led]), int(self.wall.wiring.led[led])]

    def _cell_json(self, cell: int) -> list[int] | str:
        return MARKS[cell] if cell < 0 else [cell % self.wall.columns, cell // self.wall.columns]

    def _meant_json(self, led: int) -> list[int] | str:
        cell = int(self.wall.wiring.cell[led])
        return "no cell" if cell == NO_CELL else self._cell_json(cell)


def explain(wiring: Wiring, source: Ints) -> Explanation:
    """The shortest explanation found for what the LEDs show.

    wiring: where each LED sits. source: int64 (N,) from harness.patterns.coded.read_codes: the
    flat cell each LED shows, or a mark below 0. Cells of the gap count as READS_GAP.

    Raises PictureError if source is not N whole numbers, or one of them is not a cell of the grid.
    """
    wall, seen = Wall(wiring), np.asarray(source)
    if seen.shape != (len(wall),) or seen.dtype.kind not in "iu":
        raise PictureError(
            f"source has shape {seen.shape} and dtype {seen.dtype}; the wiring has "
            f"{many(len(wall))}",
            fix="give one whole number for each LED.",
        )
    outside = np.flatnonzero((seen >= wall.cells) | (seen < UNCLEAR))
    if outside.size:
        led = int(outside[0])
        raise PictureError(
            f"source of {wall.led_name(led)} is {seen[led]}; the grid has cells 0 to "
            f"{wall.cells - 1} and the marks are -1 to {UNCLEAR}",
            fix="number cells row · columns + column.",
        )
    seen = wall.as_seen(seen.astype(np.int64))
    return Explanation(wall, seen, *shortest(wall, seen))
