"""The list of what to cut: parts with their counts, beds, where each piece goes, cautions."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from harness.cut.plan import CutPlan
from harness.cut.settings import OPERATIONS, WORDS
from harness.cut.writing import beds

CAUTIONS = (
    "Never cut PVC or vinyl, also not as foam board or film: it gives off hydrogen chloride, which"
    " harms lungs and machine. Cut only material whose maker says that it is for lasers.",
    "Cut with extraction and air assist, stay beside the machine, and have a CO2 extinguisher"
    " there: card, wood and acrylic burn.",
    "Keep the laser's cover and interlock closed. A reflection can blind.",
    "Cut one crossing of two slats first and try it: kerf and thickness differ from sheet to"
    " sheet.",
    "Glue with ventilation and gloves. Solvent cement and cyanoacrylate attack some sheets and"
    " leave white haze: try them on a rest.",
    "The LEDs get warm. Leave air behind the board, and take no material that softens below 70 °C"
    " (own figure).",
)


def print_cut(plan: CutPlan, console: Console) -> None:
    """Print the list."""
    settings = plan.settings
    console.print(
        Text.assemble(
            (plan.display.name, "bold"),
            f", bed {settings.bed_words}, kerf {settings.kerf:g} mm,"
            f" slots {settings.fit:g} mm wider than the slats",
        ),
        highlight=False,
    )
    for line in _construction(plan):
        console.print(Text(line), highlight=False)
    console.print(_parts(plan))
    console.print(_beds(plan))
    for material in plan.stacks:
        sheets, share = plan.sheets(material)
        console.print(
            Text(
                f"Material for {material}: {sheets} sheet{'s' * (sheets > 1)} of"
                f" {settings.bed_words}; the parts are {share:.0%} of them."
            ),
            highlight=False,
        )
    lines = ", ".join(
        f"{WORDS[one]}: layer {settings.lines[one].layer}, colour {settings.lines[one].colour}"
        for one in OPERATIONS
    )
    console.print(Text(f"Lines: {lines}. Set them as your cutter needs them."), highlight=False)
    if plan.slats:
        console.print(Text("Where the slats go:", "bold"))
        for line in _places(plan):
            console.print(Text(f"  {line}"), highlight=False)
    console.print(Text("Cautions:", "bold"))
    for caution in CAUTIONS:
        console.print(Text(f"- {caution}"), highlight=False)


def _construction(plan: CutPlan) -> Iterator[str]:
    """How the parts become the wall."""
    if plan.walls is None or plan.profile is None:
        yield "Construction: only the front; [cover] has no walls between the cells."
    else:
        rows, columns = plan.walls
        each = (
            f"{columns.thickness:g} mm thick"
            if columns.thickness == rows.thickness
            else f"{columns.thickness:g} mm thick between columns, {rows.thickness:g} between rows"
        )
        yield (
            f"Construction: crossed slats {plan.profile.height:g} mm high, {each}, with half-lap"
            " slots, and the front on them. Slats between rows have their slots at the front, slats"
            " between columns at the board. Where a slat is split, both pieces end in the middle of"
            " the slat that they cross: glue them there."
        )
        if plan.loose:
            yield (
                f"At {len(plan.loose)} crossing{'s' * (len(plan.loose) > 1)} both slats are split."
                " Nothing holds them there but glue: add a strip of sheet on a face."
            )
        if plan.profile.notch_height:
            yield (
                f"Notches of {plan.profile.notch_width:g} × {plan.profile.notch_height:g} mm let"
                " the strip pass. The slats stand on the board."
            )
        else:
            yield "No notch for the strip fits: the slats stand on the strips."
        across, down = plan.display.grid.pitches_mm
        opening, inside = plan.display.cover.opening_mm, (across - columns.thickness)
        if (
            abs((opening or across) - inside) > 0.005
            or abs((opening or down) - (down - rows.thickness)) > 0.005
        ):
            yield (
                f"Between the slats the cells are {inside:g} × {down - rows.thickness:g} mm. Write"
                f" opening_mm = {min(inside, down - rows.thickness):.4g} in [cover], so that"
                " `foreglow light` calculates with it."
            )
    camera = plan.display.camera
    if camera is not None:
        yield (
            f"The front covers gap {camera.gap} and has the camera's opening there, Ø"
            f" {camera.opening_mm:.1f} mm."
        )


def _parts(plan: CutPlan) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title="Parts", title_justify="left")
    for name in ("part", "of", "form", "cells", "size, mm", "count"):
        table.add_column(name, justify="right" if name == "count" else "left", no_wrap=True)
    for part in plan.parts:
        width, height = part.shape.size
        material = (
            part.material if part.thickness is None else f"{part.material} {part.thickness:g} mm"
        )
        cells = " × ".join(map(str, part.cells))
        table.add_row(
            part.name, material, part.form, cells, f"{width:.1f} × {height:.1f}", str(part.count)
        )
    return table


def _beds(plan: CutPlan) -> Table:
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, title="Beds", title_justify="left")
    table.add_column("file (.dxf and .svg)", no_wrap=True)
    table.add_column("cut", justify="right", no_wrap=True)
    table.add_column("parts on it")
    for name, one in beds(plan):
        counts: dict[str, int] = {}
        for placed in one.parts:
            part = plan.parts[placed.part].name
            counts[part] = counts.get(part, 0) + 1
        listed = ", ".join(f"{count} × {part}" for part, count in counts.items())
        table.add_row(name, f"{one.copies} ×", listed)
    return table


def _places(plan: CutPlan) -> Iterator[str]:
    """'between columns, lines 0 to 36: S1 S2 S1', lines with the same pieces together."""
    rows: list[tuple[str, int, str]] = []
    for (between, line), pieces in groupby(plan.slats, key=lambda one: (one.between, one.line)):
        words, end = [], None
        for one in pieces:
            part = plan.parts[one.part]
            if one.first != (0 if end is None else end):
                words.append(f"(free to {one.first})")
            words.append(part.name)
            end = one.first + part.cells[0]
        rows.append((between, line, " ".join(words)))
    for (between, words_), same in groupby(rows, key=lambda row: (row[0], row[2])):
        numbers = [line for _, line, _ in same]
        last = f" to {numbers[-1]}" if len(numbers) > 1 else ""
        from_ = "from the top" if between == "rows" else "from the left"
        noun = "lines" if last else "line"
        yield f"between {between}, {noun} {numbers[0]}{last} {from_}: {words_}"
