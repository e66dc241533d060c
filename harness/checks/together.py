"""Patterns in which each cell is lit in one step only, proven without a picture for each step.

A chase over N LEDs is N pictures of N LEDs: ten billion LEDs for a wall of 100,000. Here, steps
that are far apart are shown together: those whose numbers have the same remainder by p. This is
done for several p without common factors, whose product is not less than the number of steps, so
that any two steps are apart for one p at least (Chinese remainder theorem). If a picture is not as
meant, its steps are shown in halves, down to one step alone, which decides.

Take code that gives every LED, for each picture, the most that a lit cell gives it (linear code
with a wrong map, dead or dim LEDs, leaks). Then this finds every step that is wrong alone:
- A step that lights an LED of another step shows it for a p that keeps the two apart.
- A step that leaves its own LED dark shows it unless another step lights that LED for each p.
  These are several steps, and so wrong themselves. For every LED that a wrong step lights, the
  LED's own step is shown alone too.
Other code can be right for many lit cells and wrong for one, so some steps are shown alone anyway.
If one of them is wrong, and right together with others, the number of wrong steps is a least one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from itertools import count as numbers_from

import numpy as np

from emulator.arrays import Bools, Ints, Srgb
from emulator.description.display import Display
from harness.checks.steps import FAINT, LEAST_LIT, Steps, judge_alone
from harness.patterns.pattern import Pattern
from harness.subject.trial import Trial

ALONE = 64  # steps that are shown alone whatever the pictures show
MOST_MORE = 200  # pictures that find which steps are wrong; then it is enough to know that some are
APART = 12  # steps that are shown together are at least so many numbers apart


def _chase(display: Display) -> Ints:
    wiring = display.wiring
    step = np.full(display.gap.shape, -1)
    step[wiring.row[wiring.placed], wiring.column[wiring.placed]] = wiring.placed
    return step


def _rows(display: Display) -> Ints:
    row: Ints = np.indices(display.gap.shape)[0]
    return row


def _columns(display: Display) -> Ints:
    column: Ints = np.indices(display.gap.shape)[1]
    return column


STEP_OF_CELL: Mapping[str, Callable[[Display], Ints]] = {
    "rows": _rows,
    "columns": _columns,
    "chase": _chase,
}
"""For patterns that show each cell white in one step and dark in the others: the step
(rows, columns) of each cell; -1 for a cell that is never lit."""


def shown_together(trial: Trial, pattern: Pattern) -> Steps:
    """Which steps of a pattern of `STEP_OF_CELL` are wrong. Raises SubjectError."""
    search = _Search(trial, pattern)
    count = pattern.steps(trial.display)
    search.alone(np.arange(0, count, -(-count // ALONE)))
    search.doubt()
    search.left = MOST_MORE
    for group in search.groups(count):
        search.together(group)
    return search.found


def moduli(count: int) -> list[int]:
    """Numbers without common factors whose product is at least `count`: as many as can be at
    least APART, and so the smallest sum."""
    many = max(int(math.log(max(count, 2)) / math.log(APART)), 1)
    for least in numbers_from(max(math.floor(count ** (1 / many)), 1)):
        found: list[int] = []
        for number in numbers_from(least):
            if all(math.gcd(number, other) == 1 for other in found):
                found.append(number)
            if len(found) == many:
                break
        if math.prod(found) >= count:
            return found
    raise AssertionError  # the loop ends: larger numbers have a larger product


class _Search:
    """The steps shown so far, and which of them are wrong. left: pictures still allowed."""

    def __init__(self, trial: Trial, pattern: Pattern) -> None:
        display, wiring = trial.display, trial.judged.wiring
        self.trial, self.pattern = trial, pattern
        self.found = Steps()
        self.left = MOST_MORE
        self._of_cell = STEP_OF_CELL[pattern.name](display)
        self._own = self._of_cell[wiring.row, wiring.column]  # (M,) step of each LED
        self._shown = np.zeros(pattern.steps(display), dtype=np.bool_)  # alone
        # Of each wrong step, the steps whose LEDs it shows wrong.
        self._touches: dict[int, set[int]] = {}

    def groups(self, count: int) -> Iterator[Ints]:
        """The steps to show together; first those that light no LED, which must all stay dark."""
        lights = np.zeros(count, dtype=np.bool_)
        lights[self._own] = True
        yield np.flatnonzero(~lights)
        step = np.flatnonzero(lights)
        for number in moduli(count):
            for rest in range(number):
                yield step[step % number == rest]

    def alone(self, steps: Ints) -> None:
        """Show steps alone; then those of the LEDs that a wrong step lights, and so on."""
        while True:
            steps = steps[~self._shown[steps]]
            if not steps.size:
                return
            if steps.size > self.left:
                self.found.complete = False
                steps = steps[: self.left]
            self.left -= steps.size
            self._shown[steps] = True
            wrong = judge_alone(self.trial, self.pattern, steps.tolist(), self.found)
            touches = {step: set(self._own[leds].tolist()) for step, leds in wrong.items()}
            self._touches |= touches
            steps = np.array(sorted(set().union(*touches.values())), dtype=np.int64)

    def doubt(self) -> None:
        """Show a wrong step with one that has nothing to do with it. If that looks right, so can
        other wrong steps."""
        with_leds = np.unique(self._own[self._shown[self._own]]).tolist()  # of those shown
        wrong = next((step for step in with_leds if step in self.found.wrong), None)
        if wrong is None or self._shown.all():
            return
        for other in with_leds:
            related = other in self._touches[wrong] or wrong in self._touches.get(other, ())
            if other != wrong and not related:
                dark, stray = self._judge(np.array(sorted((wrong, other))))
                self.found.complete &= bool(dark.size or stray)
                return

    def together(self, steps: Ints) -> None:
        """Show steps in one picture; if it is not as meant, find the wrong ones among them."""
        groups = [steps]
        while groups and self.found.complete:
            some = groups.pop()
            some = some[~self._shown[some]]
            if some.size < 2:
                self.alone(some)
                continue
            dark, stray = self._judge(some)
            if dark.size:
                self.alone(dark)
                groups.append(some)
            elif stray:
                groups += np.array_split(some, 2)
            if dark.size or stray:
                self.left -= 1
                self.found.complete &= self.left > 0

    def _judge(self, steps: Ints) -> tuple[Ints, bool]:
        """Show steps together. Returns those whose own LEDs do not all light up, and whether an
        LED of another step does.

        As `steps.differs` for a step alone: lit is above half of the step's brightest LED. Which
        step lights another's LED is open, so half of the weakest step's is too much there.
        """
        light = self.trial.show([self._picture(steps)]).light[0]
        light = light[self.trial.display.wiring.placed]
        self.found.pictures += 1
        chosen = np.zeros(self._shown.size, dtype=np.bool_)
        chosen[steps] = True
        lit = chosen[self._own]
        if not lit.any():
            return steps[:0], bool((light > FAINT).any())
        order = np.flatnonzero(lit)[np.argsort(self._own[lit], kind="stable")]
        own, begins = np.unique(self._own[order], return_index=True)
        low = np.minimum.reduceat(light[order], begins)
        high = np.maximum.reduceat(light[order], begins)
        dark = (low <= np.maximum(high / 2, LEAST_LIT)).any(axis=1)
        bound = np.maximum(high.min(axis=0) / 2, LEAST_LIT)
        return own[dark], bool((light[~lit] > bound).any())

    def _picture(self, steps: Ints) -> Srgb:
        chosen = np.zeros(self._shown.size + 1, dtype=np.bool_)  # the last: cells never lit
        chosen[steps] = True
        lit: Bools = chosen[self._of_cell]
        return np.where(lit[..., None], np.uint8(255), np.uint8(0)).repeat(3, axis=-1)
