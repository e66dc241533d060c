"""Where each part goes: the slats and the front, seen from the front, as one SVG to print."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from emulator.description.camera import gap_middle_mm
from emulator.files import MARK
from emulator.plaintext import clean_line
from harness.cut.plan import CutPlan

_PAGE_MM = (277.0, 190.0)  # an A4 page, landscape, within its margins
# Blue and vermilion of Okabe & Ito 2008, distinct with any common colour blindness.
_STYLE = """<style>
text { font-family: sans-serif; fill: #111; text-anchor: middle; dominant-baseline: central }
.note { text-anchor: start }
line { stroke: #0072B2 }
.across { stroke: #D55E00 }
.panel { fill: none; stroke: #111 }
.gap { fill: #ddd }
.lens { fill: white; stroke: #111 }
</style>"""


def assembly_svg(plan: CutPlan) -> str:
    """Both views side by side, or one above the other on a wide wall; lengths in mm of the wall."""
    across, down = plan.display.grid.pitches_mm
    wide, high = plan.display.grid.columns * across, plan.display.grid.rows * down
    cell = min(across, down)
    text, space = min(max(0.35 * cell, max(wide, high) / 60), wide / 16), 1.5 * cell
    views = [("Slats", list(_slats(plan)))] if plan.slats else []
    views.append(("Front", list(_front(plan))))
    beside = high > wide
    step = (wide + space, 0.0) if beside else (0.0, high + space + 2 * text)
    body, top = [], space + 2 * text
    for number, (name, content) in enumerate(views):
        x, y = space + number * step[0], top + number * step[1]
        body.append(f'<g transform="translate({x:.6g} {y:.6g})" stroke-width="{cell / 25:.4g}">')
        body.append(f'<text class="note" x="0" y="{-1.2 * text:.6g}" font-size="{text:.4g}">')
        body.append(f"{name}, seen from the front</text>")
        body += [*content, "</g>"]
    width = 2 * space + wide + (len(views) - 1) * step[0]
    height = top + space + high + (len(views) - 1) * step[1]
    scale = min(_PAGE_MM[0] / max(width, height), _PAGE_MM[1] / min(width, height))
    return "\n".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:.6g} {height:.6g}"'
            f' width="{width * scale:.6g}mm" height="{height * scale:.6g}mm">',
            f"<title>{escape(clean_line(plan.display.name))}: where the parts go</title>",
            f"<desc>{MARK}</desc>",
            _STYLE,
            '<rect width="100%" height="100%" fill="white"/>',
            *body,
            "</svg>",
            "",
        ]
    )


def _slats(plan: CutPlan) -> Iterator[str]:
    """Each piece as a line, a little apart from the next one, with its name."""
    across, down = plan.display.grid.pitches_mm
    size = 0.3 * min(across, down)
    yield from _gaps(plan)
    names = []
    for placed in plan.slats:
        part = plan.parts[placed.part]
        upright = placed.between == "columns"
        pitch, side = (down, across) if upright else (across, down)
        at = placed.line * side
        begin = (placed.first + 0.08) * pitch
        end = (placed.first + part.cells[0] - 0.08) * pitch
        # The names of both directions stand in cells of their own.
        middle = placed.first * pitch + pitch / 2
        if upright:
            yield f'<line x1="{at:.6g}" y1="{begin:.6g}" x2="{at:.6g}" y2="{end:.6g}"/>'
            place = f'x="{at:.6g}" y="{middle:.6g}" transform="rotate(-90 {at:.6g} {middle:.6g})"'
        else:
            yield (
                f'<line class="across" x1="{begin:.6g}" y1="{at:.6g}" x2="{end:.6g}"'
                f' y2="{at:.6g}"/>'
            )
            place = f'x="{middle:.6g}" y="{at:.6g}"'
        names.append(
            f'<text {place} font-size="{size:.4g}" stroke="white" stroke-width="{size / 3:.4g}"'
            f' paint-order="stroke">{part.name}</text>'
        )
    yield from names


def _front(plan: CutPlan) -> Iterator[str]:
    """Each panel with its name, the gaps, the camera's opening."""
    across, down = plan.display.grid.pitches_mm
    camera = plan.display.camera
    yield from _gaps(plan, but=None if camera is None else camera.gap)
    for placed in plan.front:
        part = plan.parts[placed.part]
        x, y = placed.column * across, placed.row * down
        wide, high = part.cells[0] * across, part.cells[1] * down
        size = 0.25 * min(wide, high)
        yield (
            f'<rect class="panel" x="{x:.6g}" y="{y:.6g}" width="{wide:.6g}" height="{high:.6g}"/>'
        )
        yield (
            f'<text x="{x + wide / 2:.6g}" y="{y + high / 4:.6g}" font-size="{size:.4g}">'
            f"{part.name}</text>"
        )
    if camera is not None:
        grid = plan.display.grid
        (x, y), radius = gap_middle_mm(grid.gaps[camera.gap], grid), camera.opening_mm / 2
        yield f'<circle class="lens" cx="{x:.6g}" cy="{y:.6g}" r="{radius:.6g}"/>'


def _gaps(plan: CutPlan, but: int | None = None) -> Iterator[str]:
    across, down = plan.display.grid.pitches_mm
    for number, gap in enumerate(plan.display.grid.gaps):
        if number != but:
            yield (
                f'<rect class="gap" x="{gap.column * across:.6g}" y="{gap.row * down:.6g}"'
                f' width="{gap.columns * across:.6g}" height="{gap.rows * down:.6g}"/>'
            )
