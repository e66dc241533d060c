"""The folder for the cutter: a DXF and an SVG for each bed, the list of parts, their places."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from emulator.files import whole_folder
from harness.cut.assembly import assembly_svg
from harness.cut.bed import Bed
from harness.cut.dxf import bed_dxf, colour_hex
from harness.cut.plan import CutPlan
from harness.cut.settings import OPERATIONS
from harness.cut.svg import bed_svg


def beds(plan: CutPlan) -> Iterator[tuple[str, Bed]]:
    """Each bed and the name of its files: 'slats-1', 'slats-2', 'front-1'."""
    for material, stack in plan.stacks.items():
        for number, one in enumerate(stack, 1):
            yield f"{material}-{number}", one


def write_parts(plan: CutPlan, folder: Path, listed: str) -> None:
    """Write the folder, whole or not at all. listed: the list of parts as text.

    Raises WriteError if the folder is not empty, and UnsupportedError without ezdxf.
    """
    colours = {one: colour_hex(plan.settings.lines[one].colour) for one in OPERATIONS}
    with whole_folder(folder) as beside:
        for name, one in beds(plan):
            (beside / f"{name}.dxf").write_bytes(bed_dxf(plan, one))
            (beside / f"{name}.svg").write_bytes(bed_svg(plan, name, one, colours).encode())
        (beside / "assembly.svg").write_bytes(assembly_svg(plan).encode())
        (beside / "parts.txt").write_bytes(listed.encode())
        text = json.dumps(parts_json(plan), indent=2, ensure_ascii=False)
        (beside / "parts.json").write_bytes(f"{text}\n".encode())


def parts_json(plan: CutPlan) -> dict[str, Any]:
    """Parts with their counts, beds, and where each piece goes; lengths in mm."""
    settings = plan.settings
    return {
        "display": plan.display.name,
        "bed_mm": list(settings.bed),
        "kerf_mm": settings.kerf,
        "fit_mm": settings.fit,
        "slat_height_mm": plan.profile.height if plan.profile else None,
        "notch_mm": [plan.profile.notch_width, plan.profile.notch_height] if plan.profile else None,
        "lines": {
            one: {
                "layer": settings.lines[one].layer,
                "colour": settings.lines[one].colour,
                "rgb": colour_hex(settings.lines[one].colour),
            }
            for one in OPERATIONS
        },
        "parts": [
            {
                "part": part.name,
                "material": part.material,
                "thickness_mm": part.thickness,
                "form": part.form,
                "cells": list(part.cells),
                "size_mm": [round(side, 3) for side in part.shape.size],
                "count": part.count,
            }
            for part in plan.parts
        ],
        "sheets": {material: plan.sheets(material)[0] for material in plan.stacks},
        "beds": [
            {
                "file": name,
                "copies": one.copies,
                "parts": [plan.parts[placed.part].name for placed in one.parts],
            }
            for name, one in beds(plan)
        ],
        "slats": [
            {
                "between": placed.between,
                "line": placed.line,
                "first": placed.first,
                "part": plan.parts[placed.part].name,
            }
            for placed in plan.slats
        ],
        "front": [
            {"column": placed.column, "row": placed.row, "part": plan.parts[placed.part].name}
            for placed in plan.front
        ],
    }
