"""Walls to cut, and what is cut, read from the files by ezdxf alone."""

from __future__ import annotations

import io
from pathlib import Path

import ezdxf
import numpy as np

from emulator.description.load import parse_display
from harness.cut.dxf import bed_dxf
from harness.cut.plan import make_plan
from harness.cut.settings import Settings
from harness.cut.writing import beds


def wall(columns, rows, pitch=10.0, row_pitch=None, gaps=(), cover="", more="", along="rows"):
    """A display of a grid, with 8 mm deep black walls unless `cover` says otherwise."""
    listed = ", ".join(
        f"{{ column = {c}, row = {r}, columns = {w}, rows = {h} }}" for c, r, w, h in gaps
    )
    text = f"""
[grid]
columns = {columns}
rows = {rows}
pitch_mm = {pitch}
row_pitch_mm = {row_pitch or pitch}
gaps = [{listed}]
[chip]
part = "WS2812B"
[wiring]
along = "{along}"
[cover]
{cover or "depth_mm = 8"}
{more}
"""
    return parse_display(text, Path("wall.toml"))


def plan_of(display, bed=(45.0, 45.0), kerf=0.2, thickness=1.0, strip=(0.0, 0.0), **more):
    """The plan with small beds and thin slats, which count well by hand."""
    return make_plan(
        display, Settings(bed=bed, kerf=kerf, thickness=thickness, strip=strip, **more)
    )


def read(content):
    """The document of a DXF file's bytes."""
    return ezdxf.read(io.StringIO(content.decode("ascii")))


def documents(plan):
    """(bed, document) of every bed."""
    return [(one, read(bed_dxf(plan, one))) for _, one in beds(plan)]


def outlines(document, layer):
    """The closed lines of a layer as arrays (corners, 2)."""
    return [
        np.array([point[:2] for point in line.get_points()])
        for line in document.modelspace().query(f'LWPOLYLINE[layer=="{layer}"]')
    ]


def slots(outline, height, kerf):
    """(front, board): (middle, width) of each slot and notch at either edge, x from the outline."""
    return [
        [
            ((a + b) / 2 - kerf / 2, b - a + kerf)
            for a, b in zip(at[1:-1:2], at[2:-1:2], strict=True)
        ]
        for at in crossed(outline, height)
    ]


def crossed(outline, height):
    """(front, board): where a ruler just inside either edge crosses the outline, x from its left.

    Material is between the first and the second crossing, the third and the fourth, and so on.
    """
    found = []
    low, left = outline[:, 1].min(), outline[:, 0].min()
    for y in (low + height - 0.3, low + 0.3):
        at = sorted(
            float(a[0] - left)
            for a, b in zip(outline, np.roll(outline, -1, axis=0), strict=True)
            if a[0] == b[0] and min(a[1], b[1]) < y < max(a[1], b[1])
        )
        found.append(at)
    return found
