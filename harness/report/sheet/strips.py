"""Strips in a view of the wall: their LEDs, numbers and arrows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from emulator.description.geometry import Strip
from emulator.description.route import Rectangle
from harness.report.sheet.page import Anchor, Point, Shape, Words, arrow, box, width_of

if TYPE_CHECKING:
    from harness.report.sheet.wall import WallView

LINE_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8a6d00", "#56B4E9")  # Okabe, Ito 2008
_SQUARES_FROM_MM = 1.8  # on paper from LED to LED, so that each can have a square
_LEAST_NUMBER_MM = 1.4  # a smaller number of an LED cannot be read: about 4 point
_BESIDE_MM = 18.0  # on paper from LED to LED, so that numbers have room beside LEDs and pads
_NAME_MM = 2.2  # of a run's name beside its strip


def _pitch(view: WallView, number: int) -> float:
    """From LED to LED of a run on paper."""
    return view.geometry.pitch_mm(view.display.wiring.runs[number]) * view.scale


def led_number_size(view: WallView, number: int) -> float | None:
    """The size at which every LED of a run has its number; None if there is no room for that."""
    run = view.display.wiring.runs[number]
    wide = width_of(f"({run.last})" if view.display.wiring.hidden.any() else f"{run.last}", 1.0)
    size = min(2.2, 0.85 * _pitch(view, number) / wide, 2 * view.half * view.scale)
    between = view.pitch - 2 * view.half * view.scale  # for the run's name
    if view.pads_fit or size < _LEAST_NUMBER_MM or between < _NAME_MM + 0.8:
        return None
    return size


_STRIP = "#eef3f7"  # the colour of strips


def strip_shape(view: WallView, number: int, strip: Strip) -> Shape:
    """The strip's outline."""
    run = view.display.wiring.runs[number]
    colour = LINE_COLOURS[run.line % len(LINE_COLOURS)]
    (x0, y0), (x1, y1), (dx, dy) = strip
    half = view.half
    body = Rectangle(
        min(x0, x1) - abs(dy) * half, min(y0, y1) - abs(dx) * half,
        max(x0, x1) + abs(dy) * half, max(y0, y1) + abs(dx) * half,
    )  # fmt: skip
    dash = () if run.line % 2 == 0 else (1.2, 0.6)
    return view.rectangle(body, colour, 0.25, _STRIP, dash)


def led_shapes(view: WallView, number: int, strip: Strip) -> Iterator[Shape]:
    """The LEDs of a strip: as numbers, as squares, or not at all, by the room for them."""
    run, wiring = view.display.wiring.runs[number], view.display.wiring
    first, pitch = wiring.line_starts[run.line] + run.first, _pitch(view, number)
    size = led_number_size(view, number)
    if size is None and pitch < _SQUARES_FROM_MM:
        return
    # The pads' letters cover the LED at each end where LEDs are close together.
    beside = view.pads_fit and pitch >= _BESIDE_MM
    under = int(view.pads_fit and not beside)
    for led in range(under, run.leds - under):
        place = view.geometry.led_mm[first + led].tolist()
        if not view.seen([(place[0], place[1])]):
            continue
        x, y = view.at((place[0], place[1]))
        hidden = bool(wiring.hidden[first + led])
        if size is not None:
            text = f"({run.first + led})" if hidden else f"{run.first + led}"
            wide, tall = width_of(text, size), 0.73 * size
            yield box(x - wide / 2, y - tall / 2, wide, tall, "", 0, _STRIP)
            yield Words(x, y + tall / 2, text, size, "middle")
            continue
        yield from _led(view, number, (x, y), strip, hidden=hidden)
        if beside:
            text = f"({run.first + led})" if hidden else f"{run.first + led}"
            yield Words(x, y + view.half * view.scale - 0.5, text, _NAME_MM, "middle")


def _led(
    view: WallView, number: int, place: Point, strip: Strip, *, hidden: bool
) -> Iterator[Shape]:
    """An LED as a square, or the LEDs of a group in series as squares along the strip."""
    each = view.display.chip.in_series
    pitch = _pitch(view, number)
    side = min(1.25 * view.scale, 0.22 * pitch / each)
    dx, dy = strip.heading
    for part in range(each):
        along = ((part + 0.5) / each - 0.5) * pitch
        x, y = place[0] + abs(dx) * along, place[1] + abs(dy) * along
        fill = "#999999" if hidden else "#ffffff"
        yield box(x - side, y - side, 2 * side, 2 * side, "#8899aa", 0.1, fill)


def number_shapes(view: WallView, number: int, strip: Strip) -> Iterator[Shape]:
    """Arrows where data enters and leaves; the run's name; its first and last LED."""
    run = view.display.wiring.runs[number]
    colour = LINE_COLOURS[run.line % len(LINE_COLOURS)]
    (x0, y0), (x1, y1) = view.at(strip.start), view.at(strip.end)
    dx, dy = view.heading_of(strip)
    long = abs(x1 - x0) + abs(y1 - y0)
    size = min(2.6, 0.62 * view.pitch)
    head = min(0.5 * size, 0.12 * long)
    numbered = view.pads_fit and _pitch(view, number) >= _BESIDE_MM
    if numbered or led_number_size(view, number) is not None:
        yield arrow((x0, y0), (dx, dy), head, colour)
        yield arrow((x1 + dx * head, y1 + dy * head), (dx, dy), head, colour)
        yield from _name(view, (x0, y0), (dx, dy), f"run {number}")
        return
    inset = head + 0.5
    if view.pads_fit:  # beyond the pads
        inset = 9.0
    yield arrow((x0 + dx * head, y0 + dy * head), (dx, dy), head, colour)
    yield arrow((x1, y1), (dx, dy), head, colour)
    room = long - 2 * inset
    name, last = f"run {number}: {run.first}", f"{run.last}"
    if width_of(name, size, True) + width_of(last, size) + 1 > room:
        name = f"{number}: {run.first}"
    both = width_of(name, size, True) + width_of(last, size) + 1 <= room
    if not both:
        name = f"{number}"
        size = max(1.2, min(size, size * room / max(width_of(name, size, True), 0.1)))
    yield from _along((x0, y0), (dx, dy), inset, name, size, bold=True)
    if both and run.leds > 1:
        yield from _along((x1, y1), (-dx, -dy), inset, last, size, bold=False)


def _name(view: WallView, start: Point, heading: Point, text: str) -> Iterator[Shape]:
    """A run's name beside the beginning of its strip: above it, or left of it."""
    (x, y), (dx, dy) = start, heading
    away = view.half * view.scale + 0.5
    if dx:
        anchor: Anchor = "start" if dx > 0 else "end"
        yield Words(x + dx * 2.5, y - away, text, _NAME_MM, anchor, True)
    else:
        anchor = "end" if dy > 0 else "start"
        yield Words(x - away, y + dy * 2.5, text, _NAME_MM, anchor, True, turned=True)


def _along(
    end: Point, inwards: Point, inset: float, text: str, size: float, *, bold: bool
) -> Iterator[Shape]:
    """A text along a strip, from its end inwards, on white."""
    (x, y), (dx, dy) = end, inwards
    wide, tall = width_of(text, size, bold), 0.73 * size
    x, y = x + dx * inset, y + dy * inset
    if dx:
        left = x if dx > 0 else x - wide
        yield box(left - 0.2, y - tall / 2 - 0.2, wide + 0.4, tall + 0.4, "", 0, "#ffffff")
        yield Words(left, y + tall / 2, text, size, "start", bold)
    else:
        top = y if dy > 0 else y - wide
        yield box(x - tall / 2 - 0.2, top - 0.2, tall + 0.4, wide + 0.4, "", 0, "#ffffff")
        yield Words(x + tall / 2, top + wide, text, size, "start", bold, turned=True)
