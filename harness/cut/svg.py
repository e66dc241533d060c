"""A bed as SVG in millimetres, with a group for each operation."""

from __future__ import annotations

from collections.abc import Mapping
from xml.sax.saxutils import escape, quoteattr

from emulator.files import MARK
from emulator.plaintext import clean_line
from harness.cut.bed import Bed
from harness.cut.drawing import lines_of
from harness.cut.plan import CutPlan
from harness.cut.settings import OPERATIONS, Operation
from harness.cut.shape import Hole

_HAIRLINE = 0.1  # mm; many cutters follow thin lines only


def bed_svg(plan: CutPlan, name: str, one: Bed, colours: Mapping[Operation, str]) -> str:
    """The file of a bed, as large as the bed. The same plan gives the same text."""
    width, height = plan.settings.bed
    groups: dict[Operation, list[str]] = {operation: [] for operation in OPERATIONS}
    for drawn in lines_of(plan, one):
        if isinstance(drawn.line, Hole):
            hole = drawn.line
            place = f'cx="{_n(hole.x)}" cy="{_n(height - hole.y)}" r="{_n(hole.diameter / 2)}"'
            groups[drawn.operation].append(f"<circle {place}/>")
        else:
            corners = " ".join(f"{_n(x)},{_n(height - y)}" for x, y in drawn.line)
            kind = "polygon" if drawn.closed else "polyline"
            groups[drawn.operation].append(f'<{kind} points="{corners}"/>')
    title = clean_line(f"{plan.display.name}: {name}, cut {one.copies} ×")
    lines = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_n(width)}mm" height="{_n(height)}mm"'
        f' viewBox="0 0 {_n(width)} {_n(height)}">',
        f"<title>{escape(title)}</title>",
        f"<desc>{MARK}</desc>",
    ]
    for operation, content in groups.items():
        if content:
            layer = quoteattr(plan.settings.lines[operation].layer)
            lines.append(
                f'<g id={layer} fill="none" stroke="{colours[operation]}"'
                f' stroke-width="{_HAIRLINE}">'
            )
            lines += [*content, "</g>"]
    return "\n".join([*lines, "</svg>", ""])


def _n(value: float) -> str:
    return f"{round(value, 4) + 0.0:.10g}"
