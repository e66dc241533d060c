"""`foreglow new`, `schema`, `chips` and `map`: the display before it is built."""

from __future__ import annotations

import json
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from emulator.files import MARK
from harness.cli.options import DisplayName, Force, OutputFile, result_file, write_text
from harness.report.terminal import as_text, say, terminal
from harness.result.words import many


def new(
    file: Annotated[Path, typer.Argument(help="The display file to write; it must not exist.")],
    columns: Annotated[int, typer.Option(help="Cells across.")],
    rows: Annotated[int, typer.Option(help="Cells down.")],
    pitch_mm: Annotated[float, typer.Option(help="From LED to LED.")] = 33.333,
    chip: Annotated[
        str, typer.Option(help="The LEDs' chip; `foreglow chips` lists them.")
    ] = "WS2812B",
    start: Annotated[str, typer.Option(help="Corner of the first LED.")] = "top-left",
    along: Annotated[str, typer.Option(help="Strips run along rows or columns.")] = "rows",
    path: Annotated[str, typer.Option(help="serpentine or progressive.")] = "serpentine",
    lines: Annotated[
        str, typer.Option(help="Controller outputs; 'auto': as few as the frame rate allows.")
    ] = "1",
    frame_rate: Annotated[float, typer.Option(help="Frames a second wanted.")] = 30.0,
) -> None:
    """Write a commented display file to start from."""
    from emulator.description.new import new_display_text, write_new

    if lines != "auto" and not lines.isdecimal():
        raise typer.BadParameter("--lines takes a number or auto")

    def text_of(count: int) -> str:
        return new_display_text(
            columns, rows, pitch_mm=pitch_mm, part=chip, start=start, along=along, path=path,
            lines=count, frame_rate=frame_rate,
        )  # fmt: skip

    if lines == "auto":
        from emulator.description.load import parse_display
        from emulator.ports.lines import enough_lines

        count = enough_lines(parse_display(text_of(1), file))
    else:
        count = int(lines)
    display = write_new(file, text_of(count))
    if lines == "auto":
        say(f"{many(count, 'line')}, {max(display.wiring.line_lengths)} LEDs on the longest.")
    say(f"Wrote {file}. Next: foreglow map {file}; foreglow check {file}")


def schema() -> None:
    """Print the JSON Schema of the display file, for editors."""
    from emulator.description.faults.kinds import fault_schema
    from emulator.description.sections import DisplayFile

    whole = DisplayFile.model_json_schema(by_alias=True)
    whole["properties"]["fault"]["items"] = fault_schema()
    say(json.dumps(whole, indent=2))


def chips(
    sources: Annotated[
        bool, typer.Option("--sources", help="Say where each figure is from.")
    ] = False,
) -> None:
    """List the chip catalogue."""
    from harness.report.build.catalogue import print_chips

    print_chips(terminal(), sources)


class MapFormat(StrEnum):
    """Forms of the map."""

    table = "table"
    csv = "csv"
    json = "json"
    c = "c"


_ENDINGS = {
    ".txt": MapFormat.table,
    ".csv": MapFormat.csv,
    ".json": MapFormat.json,
    ".h": MapFormat.c,
    ".c": MapFormat.c,
}


def map_command(
    display: DisplayName,
    format: Annotated[
        MapFormat | None,
        typer.Option(help="Form of the map.", show_default="by the ending of -o; else table"),
    ] = None,
    reel: Annotated[
        int | None,
        typer.Option(min=1, max=100_000, help="LEDs on a reel; default: the display file's."),
    ] = None,
    output: OutputFile = None,
    force: Force = False,
) -> None:
    """Print the numbered grid, the runs and the cut list, or the map as CSV, JSON or C.

    `foreglow sheet` draws it."""
    import dataclasses

    from emulator.description.load import load_display
    from harness.report.build import buildsheet, mapformats

    shown = load_display(display)
    if reel is not None:
        shown = dataclasses.replace(shown, reel_leds=reel)
    if output is not None:
        endings = _ENDINGS if format is None else {e: f for e, f in _ENDINGS.items() if f is format}
        output = result_file(output, "", shown, force, tuple(endings))
        format = endings[output.suffix.lower()]
    if format is None or format is MapFormat.table:
        if output is None:
            buildsheet.print_map(shown, terminal())
        else:
            console, text = as_text(200)
            buildsheet.print_map(shown, console)
            write_text(f"{text.getvalue()}{MARK}\n", output)
        return
    forms = {
        MapFormat.csv: mapformats.map_csv,
        MapFormat.json: mapformats.map_json,
        MapFormat.c: mapformats.map_c,
    }
    write_text(forms[format](shown), output)
