"""A window of the wall as shapes: strips with their LEDs, holes, wires; from the front or back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

from emulator.description.board import Pad
from emulator.description.cutlist import cut_list
from emulator.description.display import Display
from emulator.description.geometry import Geometry, Strip
from emulator.description.route import Rectangle, Way, length_mm
from emulator.plaintext import clean_line
from harness.report.sheet.pads import PAD_COLOURS, pad_names, pad_row
from harness.report.sheet.page import (
    Anchor,
    Dot,
    Line,
    Point,
    Shape,
    Words,
    box,
    fitted,
    width_of,
    words_bounds,
)
from harness.report.sheet.pieces import joint_ticks
from harness.report.sheet.strips import led_shapes, number_shapes, strip_shape

STRIP_MM = 10.0  # a common width of strips: common practice, no source
LEAST_PITCH_MM = 2.8  # of strips on paper, so that their numbers can be read
PAD_MM = 1.6  # pads are drawn where each has so much of the strip on paper


@dataclass(frozen=True)
class WallView:
    """A window of the wall, in mm of the board, drawn at (x, y) of a page at a scale.

    mirrored: from the back. fuses: amperes of the fuse at the start of feeds, by their number.
    """

    display: Display
    geometry: Geometry
    window: Rectangle
    x: float
    y: float
    scale: float
    mirrored: bool
    fuses: Mapping[int, float]

    @property
    def size(self) -> Point:
        """Width and height on the page."""
        window = self.window
        return (
            (window.right - window.left) * self.scale,
            (window.bottom - window.top) * self.scale,
        )

    def at(self, point: Point) -> Point:
        """A point of the board on the page."""
        x, y = point
        across = self.window.right - x if self.mirrored else x - self.window.left
        return self.x + across * self.scale, self.y + (y - self.window.top) * self.scale

    def _ways(self, points: Sequence[Point]) -> tuple[Point, ...]:
        return tuple(self.at(point) for point in points)

    def rectangle(self, r: Rectangle, colour: str, line: float, fill: str = "",
                   dash: tuple[float, ...] = ()) -> Line:  # fmt: skip
        """A rectangle of the board on the page."""
        (x0, y0), (x1, y1) = self.at((r.left, r.top)), self.at((r.right, r.bottom))
        return box(min(x0, x1), y0, abs(x1 - x0), y1 - y0, colour, line, fill, dash)

    @cached_property
    def pitch(self) -> float:
        """From strip to strip on paper."""
        across, down = self.display.grid.pitches_mm
        return self.scale * (down if self.display.wiring.along == "rows" else across)

    @cached_property
    def half(self) -> float:
        """Half the width of a strip, mm of the board."""
        across, down = self.display.grid.pitches_mm
        return min(STRIP_MM / 2, 0.4 * min(across, down))

    @cached_property
    def pads_fit(self) -> bool:
        """Whether the letters of pads can be read."""
        pads = self._pad_kinds
        return 2 * self.half * self.scale >= PAD_MM * len(pads)

    @property
    def behind(self) -> bool:
        """Whether wires are on the other side from here."""
        return (self.display.board.wires == "back") != self.mirrored

    def shapes(self) -> Iterator[Shape]:
        """All of the window; what is outside it must be clipped."""
        yield from self._board()
        strips = [
            (number, strip)
            for number, strip in enumerate(self.geometry.strips)
            if self.seen([strip.start, strip.end])
        ]
        for number, strip in strips:
            yield strip_shape(self, number, strip)
        for name, tick in joint_ticks(self.display, self.geometry, cut_list(self.display)):
            if self.seen(tick):
                yield Line(self._ways(tick), "#336699", 0.5)
                yield from self._label(tick[0], name, 1.8, "#336699")
        yield from self._buses()
        yield from self._jumpers()
        yield from self._feeds()
        yield from self._inputs()
        for hole in self.geometry.holes:
            if self.seen([(hole.x_mm, hole.y_mm)]):
                x, y = self.at((hole.x_mm, hole.y_mm))
                radius = max(hole.diameter_mm / 2 * self.scale, 0.3)
                yield Dot(x, y, radius, "#222222", 0.15, "#ffffff")
        for number, strip in strips:  # over the wires, so that they can be read
            yield from led_shapes(self, number, strip)
        yield from self._labels()
        yield from self._ends()

    def seen(self, points: Sequence[Point]) -> bool:
        """Whether what has these points can be in the window."""
        w, more = self.window, 60.0
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return (
            max(xs) >= w.left - more and min(xs) <= w.right + more
            and max(ys) >= w.top - more and min(ys) <= w.bottom + more
        )  # fmt: skip

    def _board(self) -> Iterator[Shape]:
        width, height = self.display.placement.size_mm
        yield self.rectangle(Rectangle(0, 0, width, height), "#222222", 0.5, "#fdfcf8")
        edge = self.display.board.frame_mm
        if edge:
            inner = Rectangle(edge, edge, width - edge, height - edge)
            yield self.rectangle(inner, "#999999", 0.2, "", (1.5, 1.0))
        for obstacle in self.display.placement.obstacles:
            yield self.rectangle(obstacle, "#555555", 0.3, "#dddddd")
            (x0, y0), (x1, y1) = (self.at(p) for p in (obstacle[:2], obstacle[2:4]))
            yield Line(((x0, y0), (x1, y1)), "#aaaaaa", 0.2)
            yield Line(((x0, y1), (x1, y0)), "#aaaaaa", 0.2)
            if obstacle.name.endswith(", camera") and self.display.camera is not None:
                radius = self.display.camera.opening_mm / 2 * self.scale
                yield Dot((x0 + x1) / 2, (y0 + y1) / 2, radius, "#222222", 0.3, "#ffffff")
            name, wide = clean_line(obstacle.name), abs(x1 - x0) - 0.6
            if wide > 4:
                text = fitted(name, 2.2, wide)
                yield Words((x0 + x1) / 2, min(y0, y1) + 2.4, text, 2.2, "middle")

    def heading_of(self, strip: Strip) -> Point:
        """Where a strip's data goes on the page."""
        dx, dy = strip.heading
        return (-dx if self.mirrored else dx), dy

    def _ends(self) -> Iterator[Shape]:
        """Arrows, numbers, and pads where there is room."""
        for number, strip in enumerate(self.geometry.strips):
            if self.seen([strip.start, strip.end]):
                yield from number_shapes(self, number, strip)
                if self.pads_fit:
                    yield from self._pads(strip, end=False)
                    yield from self._pads(strip, end=True)

    def _pad_points(self, strip: Strip, *, end: bool) -> list[Point]:
        place = strip.end if end else strip.start
        return pad_row(self._pad_kinds, place, strip.heading, 2 * self.half, end=end)

    @property
    def _pad_kinds(self) -> tuple[Pad, ...]:
        return self.display.board.pads_of(self.display.chip)

    def _pads(self, strip: Strip, *, end: bool) -> Iterator[Shape]:
        pads = self._pad_kinds
        names = pad_names(pads, end=end)
        dx, dy = self.heading_of(strip)
        inwards = (-dx, -dy) if end else (dx, dy)
        size = min(2.4, 2 * self.half * 0.8 * self.scale / len(pads) * 0.95)
        for pad, name, point in zip(pads, names, self._pad_points(strip, end=end), strict=True):
            x, y = self.at(point)
            yield Dot(x, y, size * 0.32, PAD_COLOURS[pad], 0.15, "#e7b66b")
            if dx:
                anchor: Anchor = "start" if inwards[0] > 0 else "end"
                at = x + inwards[0] * size * 0.6
                yield Words(at, y + 0.36 * size, name, size, anchor, False, PAD_COLOURS[pad])
            else:
                anchor = "end" if inwards[1] > 0 else "start"
                at = y + inwards[1] * size * 0.6
                yield Words(
                    x + 0.36 * size, at, name, size, anchor, False, PAD_COLOURS[pad], turned=True
                )

    @property
    def _hidden(self) -> tuple[float, ...]:
        """The dashes of a wire on the other side of the board."""
        return (0.8, 0.8) if self.behind else ()

    def _jumpers(self) -> Iterator[Shape]:
        for jumper in self.geometry.jumpers:
            if self.seen(jumper.way):
                yield Line(self._ways(jumper.way), "#00743f", 0.35, self._hidden)
                for end, hole in zip((True, False), jumper.holes, strict=False):
                    yield from self._jumper_pads(jumper.run + (not end), hole, end=end)

    def _jumper_pads(self, run: int, hole: Point, *, end: bool) -> Iterator[Shape]:
        """The wires of a jumper from a hole to the pads of a strip's end."""
        strip = self.geometry.strips[run]
        if not self.pads_fit:
            place = strip.end if end else strip.start
            yield Line(self._ways((place, hole)), "#00743f", 0.25, self._here)
            return
        pads = self._pad_kinds
        for pad, point in zip(pads, self._pad_points(strip, end=end), strict=True):
            if pad not in ("+", "GND") or self.display.power.jumper is not None:
                yield Line(self._ways((point, hole)), PAD_COLOURS[pad], 0.3, self._here)

    def _feeds(self) -> Iterator[Shape]:
        for number, hole in enumerate(self.geometry.feed_holes):
            way = self.geometry.feed_way(number)
            if way and self.seen(way):
                yield from self._pair(way, 0.45)
            if self.seen([hole]):
                yield from self._feed_pads(number)

    def _feed_pads(self, number: int) -> Iterator[Shape]:
        """A feed's wires from its hole to + and GND of the strip."""
        place, heading, end = self.geometry.feed_pads(number)
        hole = self.geometry.feed_holes[number]
        pads = self._pad_kinds
        points = pad_row(pads, place, heading, 2 * self.half, end=end)
        for pad, point in zip(pads, points, strict=True):
            if pad in ("+", "GND"):
                yield Line(self._ways((hole, point)), PAD_COLOURS[pad], 0.3, self._here)

    @property
    def _here(self) -> tuple[float, ...]:
        """The dashes of a wire on the side of the strips, the front."""
        return (0.8, 0.8) if self.mirrored else ()

    def _pair(self, way: Way, width: float) -> Iterator[Shape]:
        """A pair of + and ground: red with a black core."""
        points = self._ways(way)
        yield Line(points, "#c00000", 2 * width, self._hidden)
        yield Line(points, "#ffffff", 0.9 * width, ())
        yield Line(points, "#111111", 0.5 * width, self._hidden)

    def _buses(self) -> Iterator[Shape]:
        for ways in self.geometry.bus_ways:
            for way in ways:
                if len(way) > 1 and length_mm(way) > 0 and self.seen(way):
                    yield from self._pair(way, 0.7)

    def _inputs(self) -> Iterator[Shape]:
        for line in range(len(self.display.wiring.line_names)):
            way, _ = self.geometry.data_in(line)
            if way and self.seen(way):
                yield Line(self._ways(way), "#00743f", 0.5, self._hidden)

    def _labels(self) -> Iterator[Shape]:
        size = min(2.4, max(1.6, 0.55 * self.pitch))
        for number, jumper in enumerate(self.geometry.jumpers, 1):
            yield from self._label(_middle(jumper.way), f"J{number}", size, "#00743f")
        power, wiring = self.display.whole_power, self.display.wiring
        for number, hole in enumerate(self.geometry.feed_holes):
            way = self.geometry.feed_way(number)
            place = way[0] if way else hole
            fuse = self.fuses.get(number)
            text = f"F{number}" if fuse is None else f"F{number} {fuse:g} A"
            aside = 0.0 if way else self.display.placement.hole_mm / 2 * self.scale
            yield from self._beside(place, text, size, aside)
        for bus, ways in zip(power.bus, self.geometry.bus_ways, strict=True):
            if len(ways) > 1:
                yield from self._beside(_middle(ways[1]), f"B{bus.supply}", size)
        for line, place in self.geometry.inputs.items():
            radius = self.display.placement.hole_mm / 2 * self.scale
            first = int(wiring.run[wiring.line_starts[line]])
            down = -self.geometry.headings[first][1] or -1
            aside = down * (radius + 0.8 * size)
            yield from self._label(place, f"D{line}", size, "#00743f", down=aside)
        board = self.display.board
        names = [supply.name or "supply" for supply in power.supply]
        places = list(zip(board.supplies_mm, names, strict=False))
        if board.controller_mm is not None:
            places.append((board.controller_mm, "controller"))
        for spot, name in places:
            x, y = self.at((spot[0], spot[1]))
            wide = width_of(clean_line(name), size) + 2
            yield box(x - wide / 2, y - size, wide, 2 * size, "#222222", 0.4, "#ffffff")
            yield Words(x, y + 0.36 * size, clean_line(name), size, "middle")

    def _beside(self, place: Point, text: str, size: float, aside: float = 0.0) -> Iterator[Shape]:
        """A label outside the bus, on the side of the wall that is nearest."""
        if not self.seen([place]):
            return
        (left, top), (right, bottom) = self.geometry.outline.corners_mm
        apart = {(-1, 0): place[0] - left, (1, 0): right - place[0], (0, -1): place[1] - top,
                 (0, 1): bottom - place[1]}  # fmt: skip
        dx, dy = min(apart, key=lambda side: apart[side])
        dx = -dx if self.mirrored else dx
        x, y = self.at(place)
        out, tall = 1.6 + aside, 0.73 * size
        if dx:
            anchor: Anchor = "start" if dx > 0 else "end"
            wide, left = width_of(text, size), x + dx * out
            left = left if dx > 0 else left - wide
            yield box(left - 0.2, y - tall / 2 - 0.2, wide + 0.4, tall + 0.4, "", 0, "#ffffff")
            yield Words(x + dx * out, y + tall / 2, text, size, anchor, False, "#c00000")
        else:
            anchor = "end" if dy > 0 else "start"
            at = x + tall / 2, y + dy * out
            words = Words(*at, text, size, anchor, False, "#c00000", turned=True)
            left, top, right, bottom = words_bounds(words)
            yield box(
                left - 0.2, top - 0.2, right - left + 0.4, bottom - top + 0.4, "", 0, "#ffffff"
            )
            yield words

    def _label(
        self, place: Point, text: str, size: float, colour: str, *, down: float = 0.0
    ) -> Iterator[Shape]:
        if not self.seen([place]):
            return
        x, y = self.at(place)
        y += down
        wide, tall = width_of(text, size), 0.73 * size
        yield box(x - wide / 2 - 0.25, y - tall / 2 - 0.25, wide + 0.5, tall + 0.5, colour, 0.12,
                  "#ffffff")  # fmt: skip
        yield Words(x, y + tall / 2, text, size, "middle", False, colour)


def _middle(way: Way) -> Point:
    """The middle of the longest leg of a way."""
    if len(way) < 2:
        return way[0]
    a, b = max(pairwise(way), key=length_mm)
    return (a[0] + b[0]) / 2, (a[1] + b[1]) / 2
