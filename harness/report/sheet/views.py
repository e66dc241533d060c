"""Pages with views of the whole wall, and details of a turn and of a feed."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from emulator.description.display import Display
from emulator.description.geometry import Geometry
from emulator.description.route import Rectangle
from harness.report.sheet.flow import FOOT_MM, Flow
from harness.report.sheet.page import EDGE_MM, Point, Words, fitted
from harness.report.sheet.wall import LEAST_PITCH_MM, PAD_MM, STRIP_MM, WallView

_LEGEND_MM = 12.0
_HEAD_MM = 16.0


def view_pages(
    flow: Flow, display: Display, geometry: Geometry, fuses: Mapping[int, float]
) -> None:
    """Front and back of the wall: on one page each, or on several where numbers would be tiny."""
    side = display.board.wires
    for mirrored, name in (
        (False, "Seen from the front"),
        (True, "Seen from the back (mirrored)"),
    ):
        wires = "wires here" if (side == "back") == mirrored else "wires, dashed, on the other side"
        _view(flow, display, geometry, f"{name}; {wires}", mirrored, fuses)


def _view(
    flow: Flow,
    display: Display,
    geometry: Geometry,
    title: str,
    mirrored: bool,
    fuses: Mapping[int, float],
) -> None:
    paper = flow.size
    whole = _extent(display, geometry)
    across, down = display.grid.pitches_mm
    pitch = down if display.wiring.along == "rows" else across
    shown, size, scale, parts = min(
        (_split(whole, turned, pitch) for turned in (paper, paper[::-1])),
        key=lambda found: (found[3][0] * found[3][1], -found[2]),
    )
    behind = (display.board.wires == "back") == mirrored
    for number, window in enumerate(_windows(whole, parts), 1):
        part = f", part {number} of {parts[0] * parts[1]}" if parts != (1, 1) else ""
        flow.size = shown
        page = flow.begin(f"{title}{part}")
        wide, tall = ((window.right - window.left) * scale, (window.bottom - window.top) * scale)
        x, y = EDGE_MM + (size[0] - wide) / 2, EDGE_MM + _HEAD_MM - 5
        view = WallView(display, geometry, window, x, y, scale, mirrored, fuses if behind else {})
        page.show(x, y, wide, tall, view.shapes())
        _legend(flow, display, window, scale)
    flow.size = paper


def _extent(display: Display, geometry: Geometry) -> Rectangle:
    """The board and what is beside it."""
    width, height = display.placement.size_mm
    xs, ys = [0.0, width], [0.0, height]
    places = [*display.board.supplies_mm]
    if display.board.controller_mm is not None:
        places.append(display.board.controller_mm)
    for x, y in places:
        xs += [x - 40, x + 40]
        ys += [y - 20, y + 20]
    (left, top), (right, bottom) = geometry.outline.corners_mm
    label = max(15.0, 0.06 * (right - left), 0.06 * (bottom - top))
    xs += [left - label, right + label]
    ys += [top - label, bottom + label]
    return Rectangle(min(xs) - 5, min(ys) - 5, max(xs) + 5, max(ys) + 5)


def _split(
    whole: Rectangle, paper: Point, pitch: float
) -> tuple[Point, Point, float, tuple[int, int]]:
    """Paper, room on it, scale, and into how many parts across and down."""
    room = (
        paper[0] - 2 * EDGE_MM,
        paper[1] - 2 * EDGE_MM - _HEAD_MM - _LEGEND_MM - FOOT_MM,
    )
    wide, tall = whole.right - whole.left, whole.bottom - whole.top
    for count in range(1, 400):
        fits = [(a, math.ceil(count / a)) for a in range(1, count + 1) if count % a == 0]
        scales = [(min(room[0] * a / wide, room[1] * b / tall), (a, b)) for a, b in fits]
        scale, parts = max(scales)
        if scale * pitch >= LEAST_PITCH_MM:
            return paper, room, min(scale, 1.0), parts
    return paper, room, scale, parts


def _windows(whole: Rectangle, parts: tuple[int, int]) -> Iterator[Rectangle]:
    wide = (whole.right - whole.left) / parts[0]
    tall = (whole.bottom - whole.top) / parts[1]
    for row in range(parts[1]):
        for column in range(parts[0]):
            left, top = whole.left + column * wide, whole.top + row * tall
            yield Rectangle(left, top, left + wide, top + tall)


def _legend(flow: Flow, display: Display, window: Rectangle, scale: float) -> None:
    y = flow.size[1] - EDGE_MM - FOOT_MM - _LEGEND_MM + 4
    texts = [
        f"Scale 1 : {1 / scale:.3g}. Board x from {window.left:.0f} to {window.right:.0f} mm, y"
        f" from {window.top:.0f} to {window.bottom:.0f} mm, from the top left seen from the front.",
        "Strips: run, LEDs or first and last LED; hidden LEDs in brackets; arrows as the data runs."
        " D data from the controller, J jumper,",
        "F feed with its fuse, B bus, circles: holes. Red and black pairs: bus (thick), feeds."
        " Lengths: 'Wire list'; pads: 'Ends of the strips'.",
    ]
    for number, text in enumerate(texts):
        flow.add(
            Words(EDGE_MM, y + number * 3.5, fitted(text, 2.5, flow.size[0] - 2 * EDGE_MM), 2.5)
        )
    flow.y = flow.bottom


def detail_page(flow: Flow, display: Display, geometry: Geometry) -> None:
    """A turn and a feed, enlarged, from the front and from the back."""
    flow.begin("Details")
    across, down = display.grid.pitches_mm
    wide, pitch = (flow.width - 6) / 2, max(across, down)
    # As far as the pads can be read, and at least both ends of a turn.
    pads_mm = 1.5 * PAD_MM * len(display.board.pads_of(display.chip))
    readable = wide / 2 * min(STRIP_MM, 0.8 * min(across, down)) / pads_mm * 0.99
    reach = max(pitch / 2 + 18, min(1.7 * max(pitch, 12.0), readable))
    spots: list[tuple[str, Point]] = []
    turn = next(
        (j for j in geometry.jumpers if _apart(geometry, j.run) <= 2 * max(across, down)), None
    )
    if turn is not None:
        (x0, y0), (x1, y1) = geometry.strips[turn.run].end, geometry.strips[turn.run + 1].start
        number = geometry.jumpers.index(turn) + 1
        spots.append(
            (f"A turn: jumper J{number}, from run {turn.run} to run {turn.run + 1}",
             ((x0 + x1) / 2, (y0 + y1) / 2))
        )  # fmt: skip
    feed = display.whole_power.feed[0]
    led = geometry.led_mm[display.wiring.line_starts[feed.line] + feed.led].tolist()
    spots.append((f"A feed: F0, at LED {feed.led} of line {feed.line}", (led[0], led[1])))
    for name, (x, y) in spots:
        flow.heading(name, keep=wide + 8)
        top = flow.y + 2
        for number, mirrored in enumerate((False, True)):
            window = Rectangle(x - reach, y - reach, x + reach, y + reach)
            left = EDGE_MM + number * (wide + 6)
            scale = wide / (2 * reach)
            view = WallView(display, geometry, window, left, top, scale, mirrored, {})
            flow.pages[-1].show(left, top, wide, wide, view.shapes())
            side = "from the back" if mirrored else "from the front"
            text = f"{side}, {scale:.2g} : 1"
            flow.add(Words(left, top + wide + 4, text, 2.8))
        flow.y = top + wide + 6
    pads = " ".join(display.board.pads_of(display.chip))
    flow.paragraph(
        f"Pads from top to bottom with the strip's arrow pointing right: {pads}. Makers differ:"
        " compare with the letters on your strip before you solder, and give pads in [board] if"
        " yours differ."
    )


def _apart(geometry: Geometry, run: int) -> float:
    (x0, y0), (x1, y1) = geometry.strips[run].end, geometry.strips[run + 1].start
    return abs(x0 - x1) + abs(y0 - y1)
