"""The template at 1:1 over several pages, with overlaps, crosses and a control line of 100 mm."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

import numpy as np

from emulator.description.cutlist import cut_list
from emulator.description.display import Display
from emulator.description.geometry import Geometry
from harness.report.sheet.flow import FOOT_MM, Flow
from harness.report.sheet.page import EDGE_MM, Anchor, Dot, Line, Shape, Words, box
from harness.report.sheet.pieces import Joint, joint_ticks, letters

OVERLAP_MM = 10.0
CONTROL_MM = 100.0
_TOP_MM = 22.0  # where a tile begins on its page
_CONTROL_ROOM_MM = 9.0


def template_pages(flow: Flow, display: Display, geometry: Geometry) -> None:
    """The tiles of the board that have something on them, row by row; seen from the front."""
    width, height = display.placement.size_mm
    wide = flow.size[0] - 2 * EDGE_MM
    tall = flow.size[1] - _TOP_MM - EDGE_MM - FOOT_MM - _CONTROL_ROOM_MM
    across, down = wide - OVERLAP_MM, tall - OVERLAP_MM
    columns, rows = _count(width, across), _count(height, down)
    joints = joint_ticks(display, geometry, cut_list(display))
    marks = np.array([*geometry.led_mm.tolist(), *((h.x_mm, h.y_mm) for h in geometry.holes)])
    for row in range(rows):
        for column in range(columns):
            left, top = column * across, row * down
            x, y = marks.T
            inside = (x >= left) & (x <= left + wide) & (y >= top) & (y <= top + tall)
            if not inside.any():
                continue
            name = f"{row + 1}{letters(column)}"
            page = flow.begin(f"Template {name}, 1:1, from the front")
            shapes = list(_tile(display, geometry, joints, left, top, wide, tall))
            page.show(EDGE_MM, _TOP_MM, wide, tall, shapes)
            flow.add(*_frame(flow, name, column, row, columns, rows, wide, tall))
            flow.y = flow.bottom


def _count(size: float, step: float) -> int:
    return max(1, math.ceil((size - OVERLAP_MM) / step))


def _tile(
    display: Display, geometry: Geometry, joints: Sequence[Joint], left: float, top: float,
    wide: float, tall: float,
) -> Iterator[Shape]:  # fmt: skip
    ox, oy = EDGE_MM - left, _TOP_MM - top

    def near(x: float, y: float) -> bool:
        return left - 15 <= x <= left + wide + 15 and top - 15 <= y <= top + tall + 15

    width, height = display.placement.size_mm
    yield box(ox, oy, width, height, "#222222", 0.4)
    for obstacle in display.placement.obstacles:
        yield box(ox + obstacle.left, oy + obstacle.top, obstacle.right - obstacle.left,
                  obstacle.bottom - obstacle.top, "#555555", 0.25, "", (3, 2))  # fmt: skip
    for number, strip in enumerate(geometry.strips):
        (x0, y0), (x1, y1), _ = strip
        if max(x0, x1) < left or min(x0, x1) > left + wide:
            continue
        if max(y0, y1) < top or min(y0, y1) > top + tall:
            continue
        yield Line(((ox + x0, oy + y0), (ox + x1, oy + y1)), "#336699", 0.15)
        for (x, y), name in ((strip.start, f"run {number} starts"), (strip.end, f"{number} ends")):
            tick = (abs(strip.heading[1]) * 5, abs(strip.heading[0]) * 5)
            yield Line(((ox + x - tick[0], oy + y - tick[1]), (ox + x + tick[0], oy + y + tick[1])),
                       "#336699", 0.25)  # fmt: skip
            inwards = 1 if name.endswith("starts") else -1
            dx, dy = (inwards * part for part in strip.heading)
            anchor: Anchor = "start" if dx > 0 or dy < 0 else "end"
            yield Words(ox + x + dx * 1 - abs(dy) * 1.2, oy + y + dy * 1 - abs(dx) * 1.2, name, 2.2,
                        anchor, turned=bool(dy))  # fmt: skip
    for name, ((x0, y0), (x1, y1)) in joints:
        a, b = (ox + x0, oy + y0), (ox + x1, oy + y1)
        if near(x0, y0):
            yield Line((a, b), "#336699", 0.25)
            yield Words(b[0] + 1, b[1], f"joint to {name}", 2.2)
    low, high = (left - 15, top - 15), (left + wide + 15, top + tall + 15)
    shown = ((geometry.led_mm >= low) & (geometry.led_mm <= high)).all(axis=1)
    for x, y in (geometry.led_mm[shown] + (ox, oy)).tolist():
        yield Line(((x - 2, y), (x + 2, y)), "#222222", 0.15)
        yield Line(((x, y - 2), (x, y + 2)), "#222222", 0.15)
    for hole in geometry.holes:
        if near(hole.x_mm, hole.y_mm):
            x, y, radius = ox + hole.x_mm, oy + hole.y_mm, hole.diameter_mm / 2
            yield Dot(x, y, radius, "#c00000", 0.2)
            yield Line(((x - radius - 1, y), (x + radius + 1, y)), "#c00000", 0.12)
            yield Line(((x, y - radius - 1), (x, y + radius + 1)), "#c00000", 0.12)


def _frame(
    flow: Flow, name: str, column: int, row: int, columns: int, rows: int, wide: float, tall: float
) -> Iterator[Shape]:
    yield box(EDGE_MM, _TOP_MM, wide, tall, "#aaaaaa", 0.15)
    half = OVERLAP_MM / 2
    for x in (EDGE_MM + half, EDGE_MM + wide - half):
        for y in (_TOP_MM + half, _TOP_MM + tall - half):
            yield Line(((x - 4, y), (x + 4, y)), "#222222", 0.2)
            yield Line(((x, y - 4), (x, y + 4)), "#222222", 0.2)
    y = _TOP_MM + tall + 5
    x = EDGE_MM
    yield Line(((x, y), (x + CONTROL_MM, y)), "#222222", 0.25)
    for at in (x, x + CONTROL_MM):
        yield Line(((at, y - 1.5), (at, y + 1.5)), "#222222", 0.25)
    beside = []
    if column:
        beside.append(f"left: {row + 1}{letters(column - 1)}")
    if column + 1 < columns:
        beside.append(f"right: {row + 1}{letters(column + 1)}")
    if row:
        beside.append(f"above: {row}{letters(column)}")
    if row + 1 < rows:
        beside.append(f"below: {row + 2}{letters(column)}")
    yield Words(
        x, y + 4, "100 mm: measure it. Crosses of neighbouring pages lie on each other.", 2.4
    )
    yield Words(flow.size[0] - EDGE_MM, y + 0.5, "; ".join(beside), 2.4, "end")
