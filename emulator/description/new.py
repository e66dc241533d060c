"""A new display file: TOML with comments for you to edit, made from the schema's descriptions."""

from __future__ import annotations

import inspect
from collections.abc import Container, Iterator, Mapping
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel

from emulator.description.board import BoardSection
from emulator.description.camera import Camera
from emulator.description.canvas import CanvasSection
from emulator.description.chips import CHIPS, OneWire
from emulator.description.chips import chip as known_chip
from emulator.description.display import Display
from emulator.description.light import Cover, View
from emulator.description.load import parse_display
from emulator.description.ownchip import ChipSection
from emulator.description.power import PowerSection
from emulator.description.sections import (
    Controller,
    DisplayFile,
    Grid,
    LineSection,
    RunSection,
    WiringSection,
)
from emulator.description.tomltext import toml_value
from emulator.errors import UnknownNameError
from emulator.files import write_whole


def new_display_text(
    columns: int,
    rows: int,
    *,
    pitch_mm: float = 33.3333,
    part: str = "WS2812B",
    start: str = "top-left",
    along: str = "rows",
    path: str = "serpentine",
    lines: int = 1,
    frame_rate: float = 30.0,
    about: str = "",
) -> str:
    """The text of a display file with these values; every other key is in it as a comment.

    A commented key shows its default, or an example if it has none. `write_new` and
    `parse_display` check the values.
    """
    try:
        chip = known_chip(part)
    except UnknownNameError:  # reported when the text is checked
        chip = None
    example = chip if chip and isinstance(chip.wire, OneWire) else CHIPS["WS2812B"]
    assert isinstance(example.wire, OneWire)  # both choices above are
    timing = {
        f"{name}_ns": list(getattr(example.wire, name)) for name in ("t0h", "t0l", "t1h", "t1l")
    }
    shown = chip or example
    figures = {
        name: list(value) if isinstance(value := getattr(shown, name), tuple) else value
        for name in ChipSection.model_fields
        if name not in ("part", "order", "reset_us", *timing)
    }
    if "W" not in shown.order:
        figures["forward_v"] = figures["forward_v"][:3]
    own = {"order", *figures} if chip else set()
    if chip and isinstance(chip.wire, OneWire):
        own |= {"reset_us", *timing}
    if "W" not in shown.order:
        own -= {"white_mcd", "white_k"}
    sections: list[tuple[str, type[BaseModel], Mapping[str, Any], Mapping[str, Any]]] = [
        (
            "grid",
            Grid,
            {"columns": columns, "rows": rows, "pitch_mm": pitch_mm},
            {
                "row_pitch_mm": pitch_mm,
                "gaps": [{"column": 0, "row": 0, "columns": 1, "rows": 1, "hidden_leds": False}],
            },
        ),
        (
            "chip",
            ChipSection,
            {"part": part},
            {
                "order": chip.order if chip else example.order,
                **timing,
                "reset_us": example.wire.reset_ns / 1000,
                **figures,
            },
        ),
        (
            "wiring",
            WiringSection,
            {"start": start, "along": along, "path": path, "lines": lines},
            {"map": "map.csv"},
        ),
        ("controller", Controller, {"frame_rate": frame_rate}, {"first_led_volts": 4.3}),
        ("canvas", CanvasSection, {}, {}),
        (
            "cover",
            Cover,
            {},
            {"opening_mm": pitch_mm, "least_min_to_mean": 0.8, "most_crosstalk": 0.1},
        ),
        ("view", View, {}, {"least_contrast": 3.0}),
        (
            "power",
            PowerSection,
            {},
            {
                "supply": [{"volts": chip.volts if chip else example.volts, "amps": 30.0}],
                "jumper": {"awg": 18, "length_m": 0.1},
                "limit_a": 1000.0,
            },
        ),
        (
            "board",
            BoardSection,
            {},
            {
                "width_mm": columns * pitch_mm + 120,
                "height_mm": rows * pitch_mm + 120,
                "left_mm": 60.0,
                "top_mm": 60.0,
                "hole_mm": 6.0,
                "opening": [
                    {"name": "camera", "x_mm": 0.0, "y_mm": 0.0, "width_mm": 9.0, "height_mm": 9.0}
                ],
                "controller_mm": [60.0, 30.0],
                "supplies_mm": [[60.0, 30.0]],
                "strip_leds_per_m": 1000 / pitch_mm,
                "pads": ["+", "DATA", "GND"],
            },
        ),
    ]
    about_field = DisplayFile.model_fields["about"]
    parts = [
        "# A display file of foreglow. A # directly before a key means that the key is not set.\n"
        "# Delete the # to set it. The value is the default or an example, as marked.\n"
        "# `foreglow schema` lists all keys.\n",
        f"# {about_field.description}\nabout = {toml_value(about)}\n",
    ]
    for name, model, given, examples in sections:
        keys = _keys(model, given, examples, own if name == "chip" else ())
        parts.append("\n".join([_words(model), f"[{name}]", *keys]) + "\n")
        if name == "wiring":
            parts.append(_explicit(columns))
            parts.append(_fault())
            parts.append(_camera())
    return "\n".join(parts)


def write_new(path: Path, text: str) -> Display:
    """Write a new display file and return its display; a failure leaves no part of the file.

    Raises DisplayFileError if the text is not a valid display file, and WriteError if `path`
    exists (nothing is overwritten) or cannot be written.
    """
    display = parse_display(text, path)
    write_whole(path, text, replace=False)
    return display


def _words(model: type[BaseModel]) -> str:
    return f"# {inspect.getdoc(model)}"


def _keys(
    model: type[BaseModel],
    given: Mapping[str, Any],
    examples: Mapping[str, Any],
    own: Container[str] = (),
) -> Iterator[str]:
    """Each key under its description: set if given, else commented out with its default.

    A key of `examples` is commented out with that value. The keys in `own` have values of the part.
    Required keys that are not given are left out: each is a table, which the caller writes.
    """
    for name, field in model.model_fields.items():
        key = field.alias or name
        if field.is_required() and key not in given:
            continue
        choices = [choice for choice in get_args(field.annotation) if isinstance(choice, str)]
        listed = (
            "" if all(c in f"{field.description}" for c in choices) else f" ({', '.join(choices)})"
        )
        yield f"# {field.description}{listed}"
        if key in given:
            yield f"{key} = {toml_value(given[key])}"
        else:
            mark = "example" if key in examples else "default"
            if key in own:
                mark = "this part's own"
            yield f"#{key} = {toml_value(examples.get(key, field.default))}  # {mark}"


def _fault() -> str:
    """A [[fault]] table as a comment."""
    words = DisplayFile.model_fields["fault"].description
    return f'# {words}\n#[[fault]]\n#kind = "data-open"\n#line = 0\n#after = 3\n'


def _camera() -> str:
    """The [camera] table as a comment: it needs a gap."""
    examples = {"behind_mm": 20.0, "field_deg": 70.0, "lens_mm": 3.0, "gap": 0, "hood_mm": 10.0}
    keys = (
        f"# {Camera.model_fields[name].description}\n#{name} = {toml_value(value)}"
        for name, value in examples.items()
    )
    return "\n".join([_words(Camera), "#[camera]", *keys, ""])


def _explicit(columns: int) -> str:
    """The [[line]] tables as a comment: the other way to describe the wiring."""
    entries = [
        _words(LineSection),
        "[[line]]",
        *_keys(LineSection, {"name": "left"}, {}),
        _words(RunSection),
        "[[line.run]]",
        *_keys(RunSection, {"from": [0, 0], "to": [columns - 1, 0]}, {}),
    ]
    commented = (entry if entry.startswith("#") else f"#{entry}" for entry in entries)
    return "\n".join(
        ["# Or leave out [wiring] and list every run, in the order of the data.", *commented, ""]
    )
