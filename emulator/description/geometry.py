"""The wall as it is built, in mm: LEDs, strip ends, jumpers, holes, feeds and the strips' lattice.

Every report, drawing and template takes its places and lengths from here. x runs right and y runs
down from the board's top left corner, seen from the front. Lengths are of wires as you cut them.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise, product
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
_BESIDE_MM = 13.0  # from a strip's middle to a hole beside it, at most: own figure

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
        return tuple(self.jumpers_of.values())

    @cached_property
    def jumpers_of(self) -> dict[int, Jumper]:
        """The number of a run → the wires from it to the next."""
        return {number: self._jumper(number) for number in self._jumped()}

    def _jumped(self) -> Iterator[int]:
        runs = self.display.wiring.runs
        for number, (one, two) in enumerate(pairwise(runs)):
            if one.line == two.line:
                yield number

    def _jumper(self, run: int) -> Jumper:
        """The wires from a run to the next."""
        board, obstacles = self.display.board, self.display.placement.obstacles
        one, two = self.strips[run], self.strips[run + 1]
        if board.wires == "front":
            way = route(one.end, two.start, obstacles)
            return Jumper(run, way, (), self._cut_mm(length_mm(way)))
        ends = (one.end, one.heading), (two.start, (-two.heading[0], -two.heading[1]))
        pairs = list(product(*(self._hole_places(*end) for end in ends)))
        apart = [pair for pair in pairs if self._are_two(*pair)]
        if not apart:  # across a narrow gap, both would be in its middle
            beside = list(product(*(self._beside_end(*end) for end in ends)))
            apart = [pair for pair in beside if self._are_two(*pair)]
        found = []
        for out, into in apart or pairs:
            way = route(out, into, obstacles)
            on_front = length_mm((one.end, out)) + length_mm((into, two.start))
            through = 2 * board.thickness_mm
            cut_mm = self._cut_mm(on_front + through + length_mm(way))
            found.append(Jumper(run, way, (out, into), cut_mm))
        return min(found, key=lambda jumper: (jumper.length_mm, length_mm(jumper.way)))

    def _are_two(self, one: tuple[float, float], two: tuple[float, float]) -> bool:
        """Whether at least a millimetre of the board is left between two holes."""
        return math.dist(one, two) >= self.display.placement.hole_mm + 1

    def _cut_mm(self, way_mm: float) -> float:
        """A wire's way and its service loop, in whole centimetres."""
        return 10 * float(np.ceil(round((way_mm + self.display.board.service_loop_mm) / 10, 6)))

    def _hole_places(
        self, end: tuple[float, float], outwards: tuple[int, int]
    ) -> list[tuple[float, float]]:
        """Where the hole of the wires at a strip's end can be: beyond it, else on both sides."""
        x, y = end[0] + outwards[0] * _BEYOND_MM, end[1] + outwards[1] * _BEYOND_MM
        obstacles = self.display.placement.obstacles
        if not self._on_a_strip(x, y) and not any(o.holds(x, y) for o in obstacles):
            return [(x, y)]
        return self._beside_end(end, outwards)

    def _beside_end(
        self, end: tuple[float, float], outwards: tuple[int, int]
    ) -> list[tuple[float, float]]:
        """Beside a strip, a little before its end."""
        x, y = end[0] - outwards[0] * _BEYOND_MM, end[1] - outwards[1] * _BEYOND_MM
        return self._beside((x, y), outwards, 0.5)

    def _beside(
        self, place: tuple[float, float], heading: tuple[int, int], share: float
    ) -> list[tuple[float, float]]:
        """On both sides of a strip, `share` of a pitch away, where no obstacle is.

        The first of them if an obstacle is at both.
        """
        (x, y), (dx, dy) = place, heading
        across, down = self.display.grid.pitches_mm
        aside_x = abs(dy) * min(share * across, _BESIDE_MM)
        aside_y = abs(dx) * min(share * down, _BESIDE_MM)
        both = [(x + side * aside_x, y + side * aside_y) for side in (1, -1)]
        obstacles = self.display.placement.obstacles
        return [p for p in both if not any(o.holds(*p) for o in obstacles)] or both[:1]

    def _on_a_strip(self, x: float, y: float) -> bool:
        """Whether there is an LED less than half a pitch away, across and down."""
        across, down = self.display.grid.pitches_mm
        apart = np.abs(self.led_mm - (x, y))
        return bool(((apart[:, 0] < across / 2) & (apart[:, 1] < down / 2)).any())

    @cached_property
    def feed_holes(self) -> tuple[tuple[float, float], ...]:
        """The place beside the pads of each feed's LED, where its wires come through the board."""
        pads = (self.feed_pads(number) for number in range(len(self.display.whole_power.feed)))
        return tuple(self._beside(place, heading, 0.4)[0] for place, heading, _ in pads)

    def feed_pads(self, number: int) -> tuple[tuple[float, float], tuple[int, int], bool]:
        """Where the pads of a feed's LED are: the place, where the data goes, whether at its end.

        They are half a pitch before the LED, and behind it if it is the last of its run.
        """
        at = self._position(self.display.whole_power.feed[number])
        wiring = self.display.wiring
        run_number, led = int(wiring.run[at]), int(wiring.led[at])
        run, (dx, dy) = wiring.runs[run_number], self.headings[run_number]
        end = led == run.last and led != run.first
        ahead = self.pitch_mm(run) / 2 * (1 if end else -1)
        x, y = self.led_mm[at].tolist()
        return (x + dx * ahead, y + dy * ahead), (dx, dy), end

    @cached_property
    def holes(self) -> tuple[Hole, ...]:
        """All holes to drill for wires, those of the jumpers first; none if wires run in front."""
        if self.display.board.wires == "front":
            return ()
        size, found = self.display.placement.hole_mm, []
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
        wiring, found = self.display.wiring, {}
        for line, at in enumerate(wiring.line_starts):
            strip = self.strips[int(wiring.run[at])]
            back = (-strip.heading[0], -strip.heading[1])
            found[line] = self._hole_places(strip.start, back)[0]
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

    def feed_way(self, number: int) -> Way:
        """The way of a feed from its bus, or its supply where that has no bus; empty if unknown."""
        power, board = self.display.whole_power, self.display.board
        feed = power.feed[number]
        hole, obstacles = self.feed_holes[number], self.display.placement.obstacles
        if any(bus.supply == feed.supply for bus in power.bus):
            return route(self.tap_mm(number), hole, obstacles)
        if not board.supplies_mm:
            return ()
        x, y = board.supplies_mm[feed.supply]
        return route((x, y), hole, obstacles)

    def tap_mm(self, number: int) -> tuple[float, float]:
        """Where a feed, by its number, taps its bus: level with its hole."""
        wiring, feed = self.display.wiring, self.display.whole_power.feed[number]
        cell = cell_of(wiring, self._position(feed))
        side = self.outline.first[0] if not self.display.power.feed else self.outline.nearest(cell)
        (x, y), hole = self.outline.tap_mm(cell, side), self.feed_holes[number]
        return (x, hole[1]) if side in ("left", "right") else (hole[0], y)

    @cached_property
    def bus_ways(self) -> tuple[tuple[Way, ...], ...]:
        """The ways of each bus of a complete section: to its first feed, then from tap to tap.

        The first is empty if [board] does not say where the supply is.
        """
        power, places = self.display.whole_power, self.display.board.supplies_mm
        side = None if self.display.power.feed else self.outline.first[0]
        found = []
        for bus in power.bus:
            feeds = [n for n, feed in enumerate(power.feed) if feed.supply == bus.supply]
            ways: list[Way] = []
            if feeds:
                x, y = places[bus.supply] if places else (0.0, 0.0)
                tap, obstacles = self.tap_mm(feeds[0]), self.display.placement.obstacles
                ways.append(route((x, y), tap, obstacles) if places else ())
            for a, b in pairwise(feeds):
                ends = [
                    self.outline.tap_m(
                        cell_of(self.display.wiring, self._position(power.feed[n])), side
                    )
                    for n in (a, b)
                ]
                corners = self.outline.corners_between_mm(*ends)
                ways.append((self.tap_mm(a), *corners, self.tap_mm(b)))
            found.append(tuple(ways))
        return tuple(found)

    def _position(self, feed: FeedSection) -> int:
        return self.display.wiring.line_starts[feed.line] + feed.led

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
