"""The cutter's files against the wall: every wall and cell once, nothing outside the bed."""

from __future__ import annotations

import random
from pathlib import Path

import ezdxf
from ezdxf import bbox

from tests.outside.generated_bench.walls import Wall
from tests.outside.generated_physical.run import foreglow


def faults(wall: Wall, display: Path, number: int) -> list[str]:
    """What is wrong with the files for the cutter."""
    r = random.Random(f"bed {number}")
    bed = r.choice(((300, 200), (600, 400), (250, 420)))
    kerf, folder = r.choice((0.0, 0.15, 0.3)), display.with_suffix("")
    answer = foreglow(
        "cut", display, "-o", folder, "--bed", f"{bed[0]}x{bed[1]}", "--kerf", kerf, "--json"
    )
    if answer.status:
        return [f"cut: status {answer.status}: {answer.err[-300:]}"]
    wrong, parts = [], answer.data["parts"]
    p, columns, rows = wall.pitch, wall.columns, wall.rows
    slats = [x for x in parts if x["material"] == "slats"]
    front = [x for x in parts if x["material"] == "front"]
    for part in parts:
        a, b = part["size_mm"]
        if not ((a <= bed[0] and b <= bed[1]) or (b <= bed[0] and a <= bed[1])):
            wrong.append(f"{part['part']} of {a} × {b} mm is larger than the bed")
    thick = slats[0]["thickness_mm"] if slats else 0.0
    cells = sum(x["count"] * x["cells"][0] * x["cells"][1] for x in front)
    if cells != columns * rows:
        wrong.append(f"panels cover {cells} cells of {columns * rows}")
    area = sum(x["count"] * x["size_mm"][0] * x["size_mm"][1] for x in front)
    true = (columns * p + thick) * (rows * p + thick)
    if abs(area / true - 1) > 1e-4:
        wrong.append(f"panels cover {area:.0f} mm² of {true:.0f}")
    if slats or wall.walls != "none":
        sides = (rows + 1) * columns + (columns + 1) * rows
        sides -= sum((h - 1) * w + (w - 1) * h for _, _, w, h in wall.gaps)
        for c, r_, w, h in wall.gaps:  # no cell is beside a gap's sides at the outside
            sides -= w * ((r_ == 0) + (r_ + h == rows)) + h * ((c == 0) + (c + w == columns))
        got = sum(x["count"] * x["cells"][0] for x in slats)
        if got != sides:
            wrong.append(f"slats stand at {got} sides of cells, not {sides}")
    on_beds: dict[str, int] = {}
    for sheet in answer.data["beds"]:
        for name in sheet["parts"]:
            on_beds[name] = on_beds.get(name, 0) + sheet["copies"]
        drawing = ezdxf.readfile(folder / f"{sheet['file']}.dxf")
        if drawing.audit().has_errors:
            wrong.append(f"{sheet['file']}: audit")
        box = bbox.extents(drawing.modelspace(), fast=True)
        if box.size.x > bed[0] + 1e-6 or box.size.y > bed[1] + 1e-6:
            wrong.append(f"{sheet['file']} is {box.size.x:.2f} × {box.size.y:.2f} mm")
        if box.extmin.x < -1e-6 or box.extmin.y < -1e-6:
            wrong.append(f"{sheet['file']} begins left of or below 0")
    if on_beds != {x["part"]: x["count"] for x in parts}:
        wrong.append("beds hold other counts than the list")
    return wrong
