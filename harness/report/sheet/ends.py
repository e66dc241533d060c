"""The ends of every strip: its pads in their order, and what is soldered to each."""

from __future__ import annotations

from collections.abc import Iterator

from emulator.description.board import Pad
from emulator.description.display import Display
from emulator.description.geometry import Geometry
from harness.report.sheet.flow import Flow
from harness.report.sheet.pads import PAD_COLOURS, pad_names
from harness.report.sheet.page import EDGE_MM, Anchor, Line, Shape, Words, arrow, box, fitted
from harness.report.sheet.wires import jumper_number

_SIZE = 2.4
_STEP = 3.3


def ends_pages(flow: Flow, display: Display, geometry: Geometry) -> None:
    """Each run as it lies on the front: its left and right end, or its upper and lower one."""
    flow.begin("Ends of the strips")
    upright = display.wiring.along == "columns"
    sides = "upper end on the left, lower end on the right" if upright else "left and right end"
    flow.paragraph(
        f"Each strip as you see it from the front: {sides}. Pads from top to bottom"
        f"{', turned a quarter to the left' if upright else ''}. From the back, left and right are"
        " swapped. Solder to a pad what stands beside it."
    )
    pads = display.board.pads_of(display.chip)
    high = len(pads) * _STEP + 5
    for number in range(len(display.wiring.runs)):
        flow.need(high)
        flow.add(*_run(flow, display, geometry, number, pads))
        flow.y += high


def _run(
    flow: Flow, display: Display, geometry: Geometry, number: int, pads: tuple[Pad, ...]
) -> Iterator[Shape]:
    run, (dx, dy) = display.wiring.runs[number], geometry.headings[number]
    # A strip down a column is drawn as turned a quarter to the left: down becomes right.
    onwards = (dx or dy) > 0
    top, left = flow.y + 2, EDGE_MM + 34
    wide, tall = flow.width - 68, len(pads) * _STEP + 1
    yield box(left, top, wide, tall, "#336699", 0.3, "#eef3f7")
    middle = top + tall / 2
    heading = (1.0 if onwards else -1.0, 0.0)
    text = (
        f"run {number}, line {run.line}: LEDs {run.first} to {run.last}, {run.leds} LEDs,"
        f" {geometry.pitch_mm(run) * run.leds:.0f} mm"
    )
    yield Words(left + wide / 2, middle - 0.6, fitted(text, _SIZE, wide - 30), _SIZE, "middle")
    x0, x1 = left + wide / 2 - 12, left + wide / 2 + 12
    yield Line(((x0, middle + 1.8), (x1, middle + 1.8)), "#336699", 0.3)
    yield arrow((x1 if onwards else x0, middle + 1.8), heading, 2.2, "#336699")
    for end in (False, True):
        right = end == onwards
        names = pad_names(pads, end=end)
        order = list(zip(pads, names, strict=True))
        joined = _joined(display, geometry, number, end=end)
        for row, (pad, name) in enumerate(order if onwards else order[::-1]):
            y = top + 0.5 + (row + 0.5) * _STEP
            x = left + wide - 0.5 if right else left + 0.5
            inwards = -1 if right else 1
            yield box(x - 1 if right else x, y - 1.2, 1, 2.4, PAD_COLOURS[pad], 0.2, "#e7b66b")
            anchor: Anchor = "end" if right else "start"
            yield Words(x + 1.8 * inwards, y + 0.9, name, _SIZE, anchor, True, PAD_COLOURS[pad])
            to = joined.get(pad, "")
            if to:
                out = x - 3 * inwards
                yield Line(((x, y), (out, y)), PAD_COLOURS[pad], 0.35)
                yield Words(out - 0.6 * inwards, y + 0.9, fitted(to, _SIZE, 30), _SIZE,
                            "start" if right else "end")  # fmt: skip


def _joined(display: Display, geometry: Geometry, number: int, *, end: bool) -> dict[Pad, str]:
    """Pad → what is soldered to it, at one end of a run."""
    runs, power = display.wiring.runs, display.whole_power
    run = runs[number]
    other = number + 1 if end else number - 1
    found: dict[Pad, list[str]] = {}

    def add(pads: tuple[Pad, ...], text: str) -> None:
        for pad in pads:
            found.setdefault(pad, []).append(text)

    signals: tuple[Pad, ...] = ("DATA", "CLOCK", "BACKUP")
    if 0 <= other < len(runs) and runs[other].line == run.line:
        jumper = jumper_number(geometry, min(number, other))
        text = f"{jumper} {'to' if end else 'from'} run {other}"
        add(signals, text)
        if display.power.jumper is not None:
            add(("+", "GND"), jumper)
    elif not end:
        add(signals, f"D{run.line}, controller")
        add(("GND",), f"D{run.line}")
    else:
        add(("DATA",), "last: nothing")
    led = run.last if end else run.first
    for feed_number, feed in enumerate(power.feed):
        if feed.line == run.line and feed.led == led and (run.leds > 1 or not end):
            add(("+", "GND"), f"F{feed_number}")
    pads = display.board.pads_of(display.chip)
    return {pad: ", ".join(texts) for pad, texts in found.items() if pad in pads}
