"""The kinds of faults of a built wall: all of them, one in detail, and one as a picture."""

from __future__ import annotations

from itertools import islice
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from emulator.bench import Bench
from emulator.clock import SECOND_NS
from emulator.description.display import Display
from emulator.description.faults.fault import STAGES, Fault
from emulator.description.faults.kinds import KINDS
from emulator.light.still import page, still, tile_wide
from harness.patterns.sources import example_picture

_MOST_PLACES = 100_000  # searched for an example
_MOST_FRAMES = 8  # until it shows: a fault may need the current of the frame before
_PAGE_WIDE = 1200  # pixels


def print_kinds(console: Console) -> None:
    """Print every kind by its stage: parameters, what it is, how it looks, what to measure."""
    for stage in STAGES:
        console.print(f"{stage.capitalize()}", style="bold")
        for kind in KINDS.values():
            if kind.stage == stage:
                console.print(Text.assemble("\n", (kind.name, "bold"), f"  {sentence(kind)}"))
                table = Table.grid(padding=(0, 2, 0, 0))
                for label, text in (
                    ("is", kind.what()),
                    ("looks", kind.looks),
                    ("alike", kind.alike),
                    ("measure", kind.measure),
                ):
                    table.add_row(f"  {label}", text)
                console.print(table)
        console.print()
    console.print("One kind with its parameters: foreglow faults data-open; --picture draws it.")
    console.print('Use: foreglow view foyer --fault "data-open line=0 after=143"')


def print_kind(console: Console, kind: type[Fault]) -> None:
    """Print a kind with its parameters, how it looks, what looks the same, and what to measure."""
    console.print(f"{kind.name}: {' '.join((kind.__doc__ or '').split())}", highlight=False)
    console.print(f"It acts at the stage '{kind.stage}' of the path of a frame.", highlight=False)
    console.print(f"Write it as: {kind.name} {sentence(kind)}", highlight=False)
    table = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    for heading in ("parameter", "default", "allowed", "meaning"):
        table.add_column(heading, overflow="fold")
    for entry in parameters(kind):
        default = "needed" if entry["needed"] else _written(entry["default"])
        table.add_row(entry["name"], default, entry["allowed"], entry["meaning"])
    console.print(table)
    for heading, text in (
        ("Looks", kind.looks),
        ("Looks alike", kind.alike),
        ("Measure first", kind.measure),
        ("Source", kind.source),
    ):
        end = "" if text.endswith("?") else "."
        console.print(f"{heading}: {text}{end}", highlight=False)
    console.print("Switch the power off before you solder.", highlight=False)


def kind_json(kind: type[Fault]) -> dict[str, Any]:
    """A kind as data."""
    words = {name: getattr(kind, name) for name in ("looks", "alike", "measure", "source")}
    head = {"kind": kind.name, "stage": kind.stage, "what": kind.what()}
    return {**head, "parameters": parameters(kind), **words}


def parameters(kind: type[Fault]) -> list[dict[str, Any]]:
    """The parameters of a kind: name, whether needed, default, allowed values, meaning."""
    found = []
    for name, entry in kind.model_json_schema()["properties"].items():
        needed = kind.model_fields[name].is_required()
        found.append(
            {
                "name": name,
                "needed": needed,
                "default": None if needed else entry.get("default"),
                "allowed": _allowed(entry),
                "meaning": entry.get("description", ""),
            }
        )
    return found


def sentence(kind: type[Fault]) -> str:
    """The parameters as in a sentence; those that may be left out in brackets, without value."""
    needed = [f"{name}=…" for name, entry in kind.model_fields.items() if entry.is_required()]
    more = [name for name, entry in kind.model_fields.items() if not entry.is_required()]
    return " ".join([*needed, *([f"[{' '.join(more)}]"] if more else [])])


def example(kind: type[Fault], display: Display) -> Fault | None:
    """A fault of a kind at some place of a display, not at its start; None if it has none.

    One that comes and goes is there all the time.
    """
    places = list(islice(kind.everywhere(display), _MOST_PLACES))
    if not places:
        return None
    return places[len(places) * 2 // 5].lasting()


def fault_sheet(display: Display, fault: Fault) -> Image.Image:
    """The wall as planned, and as built with the fault; RGB."""
    width, picture = tile_wide(display, 2, _PAGE_WIDE), _picture(display, fault)
    planned, built = Bench(display, powered=True), Bench(display, powered=True, faults=[fault])
    for step in range(_MOST_FRAMES):
        for bench in (planned, built):
            bench.clock.wait_until(step * SECOND_NS // 10)
            bench.send(picture)
        as_planned = still(planned.display, planned.picture, width)
        as_built = still(built.display, built.picture, width)
        if as_planned != as_built:
            break
    label = str(fault) if as_planned != as_built else f"{fault}: looks the same here"
    return page(display, [("as planned", as_planned), (label, as_built)], 2, _PAGE_WIDE)


def _picture(display: Display, fault: Fault) -> NDArray[np.uint8]:
    """White for faults of power and light; else letters on a grey that grows down the wall."""
    if fault.stage in ("power", "light"):
        return np.full(display.picture_shape, 255, dtype=np.uint8)
    grey = np.linspace(60, 150, display.grid.rows).astype(np.uint8)[:, None, None]
    return np.maximum(example_picture(display), grey)


def _written(default: object) -> str:
    if isinstance(default, bool):
        return "yes" if default else "no"
    return "–" if default is None else str(default)


def _allowed(entry: dict[str, Any]) -> str:
    if "anyOf" in entry:  # None, for what is left out, is nothing that you write
        return " or ".join(_allowed(one) for one in entry["anyOf"] if one.get("type") != "null")
    if "const" in entry:
        return str(entry["const"])
    if "enum" in entry:
        return ", ".join(entry["enum"])
    if entry.get("type") == "boolean":
        return "yes, no"
    if entry.get("type") == "string":
        return "text"
    least = entry.get("minimum", entry.get("exclusiveMinimum", ""))
    most = entry.get("maximum", entry.get("exclusiveMaximum", ""))
    whole = "whole number " if entry.get("type") == "integer" else ""
    if isinstance(most, int) and most >= 1 << 20:
        return f"{whole}from {least} on"
    above = "above " if "exclusiveMinimum" in entry else ""
    below = "below " if "exclusiveMaximum" in entry else ""
    return f"{whole}{above}{least} to {below}{most}"
