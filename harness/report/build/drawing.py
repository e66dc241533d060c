"""The drawing of the wall for the workbench: front, and back (mirrored), as one SVG.

The sheet fits A3, portrait or landscape, whichever shows the wall larger.
"""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from emulator.description.display import Display
from emulator.files import MARK
from emulator.plaintext import clean_line
from harness.report.build.buildsheet import line_label
from harness.report.build.svg import n, paint, shorten, text
from harness.report.build.wall import CELL, WallDrawing, cell_size, number_size
from harness.result.words import counted

_SMALLEST_MM = 1.4  # smaller printed numbers cannot be read at arm's length; about 4 point
_TEXT_MM = 3.2  # of title, legend and notes
_PAGES_MM = ((420.0, 297.0), (297.0, 420.0))  # A3, landscape and portrait
_LARGEST_CELL_MM = 14.0
_MOST_IN_LEGEND = 24
_HEADINGS = {
    "front": "Seen from the front",
    "back": "Seen from the back, the side you solder (mirrored)",
}


def map_svg(display: Display) -> str:
    """The drawing as SVG text: both views, legend and scale bar; groups `front` and `back`.

    It numbers every LED if the numbers can be read on A3, otherwise the first and the last of each
    run.
    """
    return _Sheet(display).svg()


class _Sheet:
    """Both views on one sheet, with title, legend and scale."""

    def __init__(self, display: Display) -> None:
        self.display = display
        # The printed size of a cell decides the size of the views' edges, and these change the
        # printed size a little. So place the views twice, the second time with the size found.
        edge = 0.36 * CELL
        for _ in range(2):
            self._place(edge)
            edge = min(max(0.36 * CELL, 2.0 / self.unit_mm), _TEXT_MM / self.unit_mm)
        self.em = _TEXT_MM / self.unit_mm

    def _place(self, edge: float) -> None:
        """Place the views side by side or one above the other, whichever prints larger."""
        probe = WallDrawing(self.display, False, True, edge)
        (left, top, right, bottom), size = probe.margins, probe.size
        # Title, headings, scale bar and a legend of two entries a row.
        lines = min(len(self.display.wiring.line_names), _MOST_IN_LEGEND)
        around_mm = _TEXT_MM * (21 + 1.9 * (lines + 5) / 2)
        layouts = (
            (True, 2 * (size[0] + left + right), size[1] + top + bottom),
            (False, size[0] + 2 * max(left, right), 2 * (size[1] + top + bottom)),
        )
        fits = (
            (min((page[0] - 20) / width, max(page[1] - around_mm, 50) / height), beside)
            for beside, width, height in layouts
            for page in _PAGES_MM
        )
        fitted, self.beside = max(fits)
        self.unit_mm = min(fitted, _LARGEST_CELL_MM / CELL)
        numbered = number_size(self.display) * self.unit_mm >= _SMALLEST_MM
        self.views = [
            WallDrawing(self.display, mirrored, numbered, edge) for mirrored in (False, True)
        ]

    def svg(self) -> str:
        em, pad = self.em, 2 * self.em
        body = [*self._title(pad)]
        x, y = pad, (8 if self.display.about else 6.5) * em
        right = low = 0.0
        for view, (name, heading) in zip(self.views, _HEADINGS.items(), strict=True):
            before, above, after, below = view.margins
            if not self.beside:  # one above the other: align their cells
                before = after = max(before, after)
            body.append(text("view", x, y + 0.5 * em, heading, 1.3 * em))
            top = y + 1.8 * em + above
            body.append(f'<g id="{name}" transform="translate({n(x + before)} {n(top)})">')
            body += view.draw()
            body.append("</g>")
            end = max(x + before + view.size[0] + after, x + 0.75 * em * len(heading))
            right, low = max(right, end), max(low, top + view.size[1] + below)
            x, y = (end + pad, y) if self.beside else (x, low + 1.5 * em)
        width = max(right + pad, 64 * em)
        legend, height = self._legend(pad, low + 2 * em, width - pad)
        scale = min(self.unit_mm, max(min(w / width, h / height) for w, h in _PAGES_MM))
        return "\n".join(
            [
                f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {n(width)} {n(height)}"'
                f' width="{n(width * scale)}mm" height="{n(height * scale)}mm">',
                f"<title>{escape(clean_line(self.display.name))}: wiring map</title>",
                f"<desc>{MARK}</desc>",
                self._style(),
                f'<rect width="{n(width)}" height="{n(height)}" fill="white"/>',
                *body,
                *legend,
                "</svg>",
                "",
            ]
        )

    def _style(self) -> str:
        cell = min(cell_size(self.display))
        return f"""<defs>
<pattern id="hatch" width="8" height="8" patternUnits="userSpaceOnUse"
  patternTransform="rotate(45)">
<path d="M0 0V8" stroke="#999" stroke-width="2.5"/></pattern>
<marker id="head" viewBox="0 0 6 6" refX="6" refY="3" markerWidth="5" markerHeight="5"
  orient="auto">
<path d="M0 0L6 3L0 6Z" fill="#222"/></marker>
</defs>
<style>
text {{ font-family: sans-serif; fill: #111; text-anchor: middle }}
.name, .view, .note {{ text-anchor: start }}
.name, .view {{ font-weight: bold }}
.edge {{ fill: #555 }}
.grid {{ fill: none; stroke: #ddd; stroke-width: {n(0.02 * cell)} }}
.gap {{ fill: url(#hatch); stroke: #777; stroke-width: {n(0.03 * cell)} }}
.run, .tag {{ stroke-width: {n(0.05 * cell)}; fill-opacity: 0.25 }}
.jumper {{ fill: none; stroke: #222; stroke-width: {n(0.045 * cell)}; stroke-linejoin: round;
  marker-end: url(#head) }}
.lamp {{ fill: #222 }}
.scale {{ fill: none; stroke: #111; stroke-width: {n(0.15 * self.em)} }}
</style>"""

    def _title(self, x: float) -> Iterator[str]:
        display, em = self.display, self.em
        wiring, (across, down) = display.wiring, display.grid.pitches_mm
        pitch = (
            f"{across:.1f} mm" if across == down else f"{across:.1f} mm across, {down:.1f} mm down"
        )
        lines = len(wiring.line_names)
        facts = [
            f"{wiring.columns} columns × {wiring.rows} rows",
            display.leds_in_words,
            f"pitch {pitch}",
            f"{lines} line{'s' if lines > 1 else ''}",
            f"{len(wiring.runs)} run{'s' if len(wiring.runs) > 1 else ''}",
        ]
        yield text("name", x, 2.2 * em, shorten(display.name, 45), 2.2 * em)
        yield text("note", x, 4.4 * em, " · ".join(facts), em)
        if display.about:
            yield text("note", x, 5.9 * em, shorten(display.about, 115), em)

    def _legend(self, left: float, top: float, right: float) -> tuple[list[str], float]:
        """The legend and a scale bar, from left to right; and where they end."""
        em, wiring = self.em, self.display.wiring
        entries: list[tuple[str, str]] = []
        front = self.views[0].inputs
        lines = len(wiring.line_names)
        for line, length in enumerate(wiring.line_lengths[:_MOST_IN_LEGEND]):
            label = f"{shorten(line_label(self.display, line), 40)}: {length} LEDs"
            if hidden := wiring.hidden_on(line).tolist():
                label += f" ({counted('LED', hidden)} without a cell)"
            if line in front:
                run = front[line][0]
                label += f", data in at column {run.from_column}, row {run.from_row}"
            swatch = f'<rect x="2" y="5" width="56" height="18" rx="4" {paint(line)} class="run"/>'
            entries.append((swatch, label))
        if lines > _MOST_IN_LEGEND:
            entries.append(("", f"lines {_MOST_IN_LEGEND} to {lines - 1} in the same way"))
        strip = '<rect x="10" y="5" width="40" height="18" rx="4" fill="#ddd" stroke="#555"/>'
        strip += '<path d="M2 9L11 14L2 19ZM50 9L59 14L50 19Z" fill="#555"/>'
        entries.append((strip, "a run: data enters at its first LED and leaves at its last"))
        wire = '<path class="jumper" style="stroke-width:1.4" d="M2 14H58"/>'
        entries.append((wire, "jumper wire to the next run"))
        if self.display.grid.gaps:
            entries.append(
                ('<rect x="2" y="3" width="56" height="22" class="gap"/>', "gap, no cell")
            )
        if (each := self.display.chip.in_series) > 1:
            middles = (30 + 14 * (number - (each - 1) / 2) for number in range(each))
            dots = "".join(f'<circle cx="{x:g}" cy="14" r="3"/>' for x in middles)
            entries.append((dots, f"{each} LEDs in series: one chip, one number"))
        if not self.views[0].numbered:
            prefix = "line:LED" if lines > 1 else "LED"
            entries.append(
                (
                    f'<text x="30" y="19" font-size="13">{prefix}</text>',
                    "only each run's ends are numbered",
                )
            )
        parts: list[str] = []
        step = (5 + 0.52 * max(len(label) for _, label in entries)) * em
        across = max(1, int((right - left) / step))
        for number, (drawing, label) in enumerate(entries):
            x, y = left + number % across * step, top + number // across * 1.9 * em
            parts.append(
                f'<svg x="{n(x)}" y="{n(y - 0.7 * em)}" width="{n(3 * em)}" height="{n(1.4 * em)}"'
                f' viewBox="0 0 60 28">{drawing}</svg>'
            )
            parts.append(text("note", x + 3.6 * em, y, label, em))
        y += 3 * em
        pitch = self.display.grid.pitches_mm[0]
        mm = _round_length(max(wiring.columns * pitch / 3, pitch))
        bar = mm * self.views[0].cell[0] / pitch
        tick = 0.4 * em
        parts.append(
            f'<path class="scale" d="M{n(left)} {n(y - tick)}v{n(2 * tick)}m0 {n(-tick)}'
            f'h{n(bar)}m0 {n(-tick)}v{n(2 * tick)}"/>'
        )
        parts.append(text("note", left + bar + em, y, f"{mm:g} mm", em))
        return parts, y + 2 * em


def _round_length(most: float) -> float:
    """The largest of 1, 2, 5 times a power of ten that is at most `most`."""
    power = 1e-3
    while power * 10 <= most:
        power *= 10
    return next(m * power for m in (5, 2, 1) if m * power <= most)
