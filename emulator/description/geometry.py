"""The wall as it is built, in mm: LEDs, strip ends, jumpers, holes, feeds and the strips' lattice.

Every report, drawing and template takes its places and lengths from here. x runs right and y runs
down from the board's top left corner, seen from the front. Lengths are of wires as you cut them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from emulator.arrays import Floats
from emulator.description.outline import Outline, cell_of
from emulator.description.power import FeedSection
from emulator.description.route import Way, length_mm, route
from emulator.description.wiring import Run

if TYPE_CHECKING:
    from emulator.description.display import Display

_BEYOND_MM = 8.0  # from a strip's end to the hole of its wires: own figure

# LEDs on a metre of strip, as commonly sold: common practice, no source.
DENSITIES = (30, 32, 48, 60, 72, 74, 96, 100, 120, 144)
_NEAR = 0.02  # a pitch this close to that of a density is taken for it


class Strip(NamedTuple):
    """The ends of a run: half a pitch beyond its first and last LED; and where its data goes.

    heading: (1, 0) right, (-1, 0) left, (0, 1) down, (0, -1) up.
    """

    start: tuple[float, float]
    end: tuple[float, float]
    heading: tuple[int, int]


class Jumper(NamedTuple):
    """The wires from run `run` to the next: its holes, its way, its length as you cut it."""

    run: int
    way: Way
    holes: tuple[tuple[float, float], ...]
    length_mm: float


class Hole(NamedTuple):
    """A hole to drill: its middle, its diameter, and what passes through it."""

    x_mm: float
    y_mm: float
    diameter_mm: float
    use: str


class Lattice(NamedTuple):
    """The strips' LEDs against the cells: what adds up over the longest run.

    strip_mm, grid_mm: the distance from LED to LED, of the strip and of the grid. run: the longest
    run. over_mm: how far its last LED is from its cell if the first one is in its cell; half of
    that at each end if you align the middle. joints: soldered joints in it.
    joints_mm: what they can add. most_mm: the largest error of an LED from the middle of its cell,
    aligned in the middle.
    """

    strip_mm: float
    grid_mm: float
    run: int
    over_mm: float
    joints: int
    joints_mm: float
    most_mm: float


@dataclass(frozen=True, eq=False)
class Geometry:
    """The places of everything on the board of a display."""

    display: Display

    @cached_property
    def outline(self) -> Outline:
        """The buses' ways, and the lengths of feeds."""
        return Outline.of(self.display.placement, self.display.wiring)

    @cached_property
    def led_mm(self) -> Floats:
        """(N, 2) x and y of each LED.

        Hidden LEDs beyond a run's ends go on along it, a pitch apart.
        """
        wiring, gap = self.display.wiring, self.display.gap
        places = self.display.placement.led_mm(wiring.column, wiring.row)
        for number, run in enumerate(wiring.runs):
            first = wiring.line_starts[run.line] + run.first
            span = slice(first, first + run.leds)
            own = ~wiring.hidden[span] | gap[wiring.row[span], wiring.column[span]]
            if own.all():
                continue
            at = np.flatnonzero(own) if own.any() else np.zeros(1, dtype=np.int64)
            order = np.arange(run.leds)
            beyond = np.minimum(order - at[0], 0) + np.maximum(order - at[-1], 0)
            places[span] += beyond[:, None] * np.multiply(self.headings[number], self.pitch_mm(run))
        return places

    def pitch_mm(self, run: Run) -> float:
        """From LED to LED of a run."""
        across, down = self.display.grid.pitches_mm
        return down if self._upright(run) else across

    def _upright(self, run: Run) -> bool:
        if run.cells_along == 1:
            return self.display.wiring.along == "columns"
        return run.from_column == run.to_column

    @cached_property
    def headings(self) -> tuple[tuple[int, int], ...]:
        """Where each run's data goes; a single cell's, right or down unless the strips end there.

        (1, 0) right, (-1, 0) left, (0, 1) down, (0, -1) up.
        """
        found = []
        for run in self.display.wiring.runs:
            across, down = run.to_column - run.from_column, run.to_row - run.from_row
            if across == down == 0:
                found.append((0, 1) if self._upright(run) else (1, 0))
            else:
                found.append(((across > 0) - (across < 0), (down > 0) - (down < 0)))
        return tuple(found)

    @cached_property
    def strips(self) -> tuple[Strip, ...]:
        """The strips, one a run."""
        wiring, found = self.display.wiring, []
        for run, (dx, dy) in zip(wiring.runs, self.headings, strict=True):
            first = wiring.line_starts[run.line] + run.first
            half = self.pitch_mm(run) / 2
            x0, y0 = self.led_mm[first].tolist()
            x1, y1 = self.led_mm[first + run.leds - 1].tolist()
            start, end = (x0 - dx * half, y0 - dy * half), (x1 + dx * half, y1 + dy * half)
            found.append(Strip(start, end, (dx, dy)))
        return tuple(found)

    @cached_property
    def jumpers(self) -> tuple[Jumper, ...]:
        """The wires from each run to the next of its line, in the order of the data."""
        return tuple(self.jumper(n) for n in self._jumped())

    def _jumped(self) -> Iterator[int]:
        runs = self.display.wiring.runs
        for number, (one, two) in enumerate(pairwise(runs)):
            if one.line == two.line:
                yield number

    def jumper(self, run: int) -> Jumper:
        """The wires from a run to the next."""
        board, obstacles = self.display.board, self.display.placement.obstacles
        one, two = self.strips[run], self.strips[run + 1]
        if board.wires == "front":
            way = route(one.end, two.start, obstacles)
            return Jumper(run, way, (), self._cut_mm(length_mm(way)))
        out = self.hole_mm(one.end, one.heading)
        back = (-two.heading[0], -two.heading[1])
        into = self.hole_mm(two.start, back)
        way = route(out, into, obstacles)
        on_front = length_mm((one.end, out)) + length_mm((into, two.start))
        through = 2 * board.thickness_mm
        return Jumper(run, way, (out, into), self._cut_mm(on_front + through + length_mm(way)))

    def _cut_mm(self, way_mm: float) -> float:
        """A wire's way and its service loop, in whole centimetres."""
        return 10 * float(np.ceil(round((way_mm + self.display.board.service_loop_mm) / 10, 6)))

    def hole_mm(self, end: tuple[float, float], outwards: tuple[int, int]) -> tuple[float, float]:
        """The hole of the wires at a strip's end: beyond it, or beside it if a strip goes on."""
        x, y = end[0] + outwards[0] * _BEYOND_MM, end[1] + outwards[1] * _BEYOND_MM
        obstacles = self.display.placement.obstacles
        if not self._on_a_strip(x, y) and not any(o.holds(x, y) for o in obstacles):
            return x, y
        across, down = self.display.grid.pitches_mm
        x, y = end[0] - outwards[0] * _BEYOND_MM, end[1] - outwards[1] * _BEYOND_MM
        aside = abs(outwards[1]) * across / 2, abs(outwards[0]) * down / 2
        beside = [(x + side * aside[0], y + side * aside[1]) for side in (1, -1)]
        return next((p for p in beside if not any(o.holds(*p) for o in obstacles)), beside[0])

    def _on_a_strip(self, x: float, y: float) -> bool:
        """Whether there is an LED within a pitch's quarter across and half along."""
        across, down = self.display.grid.pitches_mm
        apart = np.abs(self.led_mm - (x, y))
        return bool(((apart[:, 0] < across / 2) & (apart[:, 1] < down / 2)).any())

    @cached_property
    def feed_holes(self) -> tuple[tuple[float, float], ...]:
        """The place beside the pads of each feed's LED, where its wires come through the board."""
        wiring, (across, down) = self.display.wiring, self.display.grid.pitches_mm
        found = []
        for feed in self.display.whole_power.feed:
            at = wiring.line_starts[feed.line] + feed.led
            dx, dy = self.headings[int(wiring.run[at])]
            run = wiring.runs[int(wiring.run[at])]
            half = self.pitch_mm(run) / 2
            ahead = half if feed.led == run.last and feed.led != run.first else -half
            x, y = self.led_mm[at].tolist()
            found.append((x + dx * ahead + abs(dy) * across * 0.4,
                          y + dy * ahead + abs(dx) * down * 0.4))  # fmt: skip
        return tuple(found)

    @cached_property
    def holes(self) -> tuple[Hole, ...]:
        """All holes to drill for wires, those of the jumpers first; none if wires run in front."""
        if self.display.board.wires == "front":
            return ()
        size, found = self.display.board.hole_mm, []
        for number, jumper in enumerate(self.jumpers, 1):
            out, into = jumper.holes
            found.append(Hole(*out, size, f"J{number}, end of run {jumper.run}"))
            found.append(Hole(*into, size, f"J{number}, start of run {jumper.run + 1}"))
        for line, (x, y) in self.inputs.items():
            found.append(Hole(x, y, size, f"data in of line {line}"))
        for number, (x, y) in enumerate(self.feed_holes):
            found.append(Hole(x, y, size, f"feed {number}"))
        return tuple(found)

    @cached_property
    def inputs(self) -> dict[int, tuple[float, float]]:
        """Line → the hole of its data from the controller."""
        found: dict[int, tuple[float, float]] = {}
        for run, strip in zip(self.display.wiring.runs, self.strips, strict=True):
            if run.line not in found:
                back = (-strip.heading[0], -strip.heading[1])
                found[run.line] = self.hole_mm(strip.start, back)
        return found

    def data_in(self, line: int) -> tuple[Way, float]:
        """The way of the data from the controller to a line, and its length as you cut it.

        The way is empty, and the length that of data_wire_m, if [board] does not say where the
        controller is.
        """
        board, display = self.display.board, self.display
        if board.controller_mm is None:
            return (), display.controller.data_wire_m * 1000
        x, y = board.controller_mm
        way = route((x, y), self.inputs[line], display.placement.obstacles)
        through = _BEYOND_MM + (board.thickness_mm if board.wires == "back" else 0.0)
        return way, self._cut_mm(length_mm(way) + through)

    def feed_way(self, feed: FeedSection, number: int) -> Way:
        """The way of a feed from its bus, or its supply where that has no bus; empty if unknown."""
        power, board = self.display.whole_power, self.display.board
        hole, obstacles = self.feed_holes[number], self.display.placement.obstacles
        if any(bus.supply == feed.supply for bus in power.bus):
            return route(self.tap_mm(feed), hole, obstacles)
        if not board.supplies_mm:
            return ()
        x, y = board.supplies_mm[feed.supply]
        return route((x, y), hole, obstacles)

    def tap_mm(self, feed: FeedSection) -> tuple[float, float]:
        """Where a feed taps its bus."""
        wiring = self.display.wiring
        side = None if self.display.power.feed else self.outline.first[0]
        return self.outline.tap_mm(cell_of(wiring, wiring.line_starts[feed.line] + feed.led), side)

    @cached_property
    def lattice(self) -> Lattice:
        """The strips' lattice against the grid's, over the longest run."""
        board, runs = self.display.board, self.display.wiring.runs
        number = max(range(len(runs)), key=lambda n: (runs[n].leds, -n))
        run = runs[number]
        grid_mm = self.pitch_mm(run)
        strip_mm = 1000 / (board.strip_leds_per_m or self._density(grid_mm))
        over_mm = (run.leds - 1) * (strip_mm - grid_mm)
        joints = -(-run.leds // self.display.reel_leds) - 1
        joints_mm = joints * board.joint_mm
        return Lattice(
            strip_mm, grid_mm, number, over_mm, joints, joints_mm, (abs(over_mm) + joints_mm) / 2
        )

    def _density(self, grid_mm: float) -> float:
        """LEDs on a metre of the strip: the common density if the pitch is that of one."""
        each = self.display.chip.in_series
        near = min((d / each for d in DENSITIES), key=lambda d: abs(1000 / d - grid_mm))
        return near if abs(1000 / near / grid_mm - 1) <= _NEAR else 1000 / grid_mm

    @cached_property
    def remarks(self) -> tuple[str, ...]:
        """What does not go together on the board, in words; empty if all does."""
        return (*self._lattice_remarks(), *self._place_remarks(), *self._short_wires())

    def _lattice_remarks(self) -> Iterator[str]:
        found = self.lattice
        if found.most_mm > max(1.0, 0.05 * found.grid_mm):
            yield (
                f"The strip has an LED every {found.strip_mm:.2f} mm and the grid a cell every"
                f" {found.grid_mm:.2f} mm: over run {found.run} this adds up to"
                f" {abs(found.over_mm):.1f} mm, and {found.joints} joints add up to"
                f" {found.joints_mm:.1f} mm more. Aligned in the middle, LEDs at the ends are up to"
                f" {found.most_mm:.1f} mm off the middle of their cells. Set pitch_mm of [grid] to"
                f" {found.strip_mm:.3f}, or cut the strips into shorter pieces."
            )

    def _place_remarks(self) -> Iterator[str]:
        board, placement = self.display.board, self.display.placement
        (width, height), edge = placement.size_mm, board.frame_mm
        outside = [
            hole
            for hole in self.holes
            if not (
                edge <= hole.x_mm - hole.diameter_mm / 2
                and hole.x_mm + hole.diameter_mm / 2 <= width - edge
                and edge <= hole.y_mm - hole.diameter_mm / 2
                and hole.y_mm + hole.diameter_mm / 2 <= height - edge
            )
        ]
        if outside:
            yield (
                f"{len(outside)} holes are under the frame or off the board, the first for"
                f" {outside[0].use}: give [board] a larger size or a smaller frame_mm."
            )
        for obstacle in placement.obstacles:
            inside = [hole for hole in self.holes if obstacle.holds(hole.x_mm, hole.y_mm)]
            if inside:
                yield f"{obstacle.name} holds {len(inside)} holes, the first for {inside[0].use}."
            x, y = self.led_mm[~self.display.wiring.hidden].T
            under = (obstacle.left < x) & (x < obstacle.right)
            under &= (obstacle.top < y) & (y < obstacle.bottom)
            if under.any():
                yield (
                    f"{obstacle.name} is where {int(under.sum())} LEDs are: move it, or declare a"
                    " gap in [grid]."
                )
        (left, top), (right, bottom) = self.outline.corners_mm
        if self.display.whole_power.bus and (
            min(left, top) < edge or right > width - edge or bottom > height - edge
        ):
            yield "The bus is under the frame or off the board: give [board] a smaller bus_mm."

    def _short_wires(self) -> Iterator[str]:
        """Lengths that the display file states and that do not reach."""
        power, jumper = self.display.whole_power, self.display.power.jumper
        for number, feed in enumerate(power.feed):
            way = self.feed_way(feed, number)
            if way and (feed.length_m or 0) * 1000 < length_mm(way):
                yield (
                    f"feed {number} is {feed.length_m:g} m long and its way"
                    f" {length_mm(way) / 1000:.2f} m: give it a larger length_m, or none."
                )
        if jumper is not None and jumper.length_m is not None and self.jumpers:
            longest = max(self.jumpers, key=lambda j: j.length_mm)
            if jumper.length_m * 1000 < longest.length_mm - self.display.board.service_loop_mm:
                yield (
                    f"jumpers are {jumper.length_m:g} m long, but the one from run {longest.run} to"
                    f" {longest.run + 1} needs {longest.length_mm / 1000:.2f} m: give"
                    " [power.jumper] a larger length_m, or none."
                )
