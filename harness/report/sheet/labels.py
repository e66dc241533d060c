"""Labels for runs and wires to cut out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from emulator.description.cutlist import cut_list
from emulator.description.display import Display
from harness.report.sheet.flow import Flow
from harness.report.sheet.page import EDGE_MM, Line, Shape, Words, box, fitted
from harness.report.sheet.pieces import named_pieces
from harness.report.sheet.wires import COLOURS, CutWire

_HIGH = 12.0
_ACROSS = 3


def label_pages(flow: Flow, display: Display, wires: Sequence[CutWire]) -> None:
    """A label for each piece of strip; two for each wire, one for each end."""
    flow.begin("Labels of the runs")
    runs = [
        ((f"run {name}", f"line {display.wiring.runs[piece.run].line}, LEDs {piece.first} to"
          f" {piece.last}", f"{piece.leds} LEDs, {piece.length_mm:.0f} mm, reel {reel}"),)
        for name, piece, reel in named_pieces(cut_list(display))
    ]  # fmt: skip
    _lay(flow, runs)
    flow.begin("Labels of the wires: one half for each end")
    halves = []
    for wire in wires:
        texts = (wire.label, wire.start, wire.end, f"{wire.length_mm:.0f} mm {COLOURS[wire.use]}")
        halves.append((texts, texts))
    _lay(flow, halves)


def _lay(flow: Flow, labels: Sequence[Sequence[Sequence[str]]]) -> None:
    wide = flow.width / _ACROSS
    for at in range(0, len(labels), _ACROSS):
        flow.need(_HIGH)
        for place, label in enumerate(labels[at : at + _ACROSS]):
            flow.add(*_label(EDGE_MM + place * wide, flow.y, wide, label))
        flow.y += _HIGH


def _label(x: float, y: float, wide: float, parts: Sequence[Sequence[str]]) -> Iterator[Shape]:
    yield box(x, y, wide, _HIGH, "#888888", 0.15, "", (1.5, 1.0))
    each = wide / len(parts)
    for number, texts in enumerate(parts):
        left = x + number * each
        if number:
            yield Line(((left, y), (left, y + _HIGH)), "#888888", 0.15, (0.6, 0.6))
        yield Words(left + 1, y + 3.4, fitted(texts[0], 3.0, each - 2, True), 3.0, bold=True)
        step = 2.5 if len(texts) > 3 else 3.2
        for line, text in enumerate(texts[1:], 1):
            yield Words(left + 1, y + 3.4 + line * step, fitted(text, 2.1, each - 2), 2.1)
