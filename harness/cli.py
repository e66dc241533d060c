"""The `foreglow` command.

Exit status: 0 all right, 1 findings, 2 bad input (with what is wrong, where, and how to mend it).
"""

from __future__ import annotations

import io
import json
import re
import sys
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Optional

import typer

from emulator.errors import ForeglowError

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.sources import Source

app = typer.Typer(
    help="A stand-in and test harness for displays of addressable LEDs, before they are built.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)

_DisplayName = Annotated[
    str, typer.Argument(help="A display file (TOML), or a demo such as foyer.")
]
_Json = Annotated[bool, typer.Option("--json", help="Print JSON instead of a report.")]
_Output = Annotated[
    Optional[Path], typer.Option("--output", "-o", help="Write to this file.")  # noqa: UP045
]
_Pattern = Annotated[Optional[str], typer.Option(help="Show this test pattern.")]  # noqa: UP045
_Scene = Annotated[Optional[str], typer.Option(help="Show this demo scene.")]  # noqa: UP045


def main() -> None:
    """Run the command; every ForeglowError becomes its message and exit status 2."""
    try:
        app()
    except ForeglowError as error:
        print(f"foreglow: {type(error).__name__}: {error}", file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        # Whoever read our output has gone; keep Python from complaining about it at exit.
        sys.stdout = io.TextIOWrapper(io.BytesIO())
        sys.exit(0)


@app.command()
def check(
    display: _DisplayName,
    map: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Check this map (CSV with line,led,column,row) against the wiring."),
    ] = None,
    call: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Check this function, module:function, picture → bytes on the wire."),
    ] = None,
    only: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Run only these checks, separated by commas."),
    ] = None,
    sheet: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Where the contact sheet goes.", show_default="foreglow-out/"),
    ] = None,
    as_json: _Json = False,
) -> None:
    """Replay the test patterns through the emulated hardware and explain what is wrong.

    Without --map or --call, foreglow's own map of the display is checked.
    """
    from emulator.description.load import load_display
    from harness import subject as subjects
    from harness.checks.check import run_checks
    from harness.report.sheet import check_sheet
    from harness.trial import Trial

    shown = load_display(display)
    if map is not None and call is not None:
        raise typer.BadParameter("give --map or --call, not both")
    if map is not None:
        subject = subjects.map_file(map, shown)
    elif call is not None:
        subject = subjects.function(call)
    else:
        subject = subjects.own_code(shown)
    trial = Trial(shown, subject)
    names = tuple(name.strip() for name in only.split(",")) if only else ()
    report = run_checks(trial, names)
    target = sheet or Path("foreglow-out") / f"{shown.name}-check.png"
    _write_png(check_sheet(trial), target)
    if as_json:
        print(json.dumps(report.to_json(), indent=2))
    else:
        from rich.console import Console

        from harness.report.verdict import print_report
        from harness.sources import example_picture

        console = Console()
        print_report(report, shown, *trial.compare(example_picture(shown)), console)
        console.print(f"Contact sheet: {target}")
    raise typer.Exit(0 if report.verdict == "pass" else 1)


@app.command()
def new(
    file: Annotated[Path, typer.Argument(help="The display file to write; it must not exist.")],
    columns: Annotated[int, typer.Option(help="Cells across.")],
    rows: Annotated[int, typer.Option(help="Cells down.")],
    pitch_mm: Annotated[float, typer.Option(help="From LED to LED.")] = 33.333,
    part: Annotated[str, typer.Option(help="Chip; `foreglow chips` lists them.")] = "WS2812B",
    start: Annotated[str, typer.Option(help="Corner of the first LED.")] = "top-left",
    along: Annotated[str, typer.Option(help="Strips lie along rows or columns.")] = "rows",
    path: Annotated[str, typer.Option(help="serpentine or progressive.")] = "serpentine",
    lines: Annotated[int, typer.Option(help="Controller outputs.")] = 1,
    frame_rate: Annotated[float, typer.Option(help="Frames a second wanted.")] = 30.0,
) -> None:
    """Write a commented display file to start from."""
    from emulator.description.new import new_display_text, write_new

    text = new_display_text(
        columns, rows, pitch_mm=pitch_mm, part=part, start=start, along=along, path=path,
        lines=lines, frame_rate=frame_rate,
    )  # fmt: skip
    write_new(file, text)
    print(f"Wrote {file}. Next: foreglow map {file}; foreglow check {file}")


@app.command()
def schema() -> None:
    """Print the JSON Schema of the display file, for editors."""
    from emulator.description.sections import DisplayFile

    print(json.dumps(DisplayFile.model_json_schema(by_alias=True), indent=2))


@app.command()
def chips() -> None:
    """List the chip catalogue with its sources."""
    from rich.console import Console

    from harness.report.catalogue import print_chips

    print_chips(Console())


class MapFormat(StrEnum):
    """Forms in which the map can be had."""

    table = "table"
    csv = "csv"
    json = "json"
    c = "c"
    svg = "svg"


@app.command(name="map")
def map_command(
    display: _DisplayName,
    format: Annotated[MapFormat, typer.Option(help="Form of the map.")] = MapFormat.table,
    reel: Annotated[
        Optional[int],  # noqa: UP045
        typer.Option(min=1, max=100_000, help="LEDs on a reel; default: the display file's."),
    ] = None,
    output: _Output = None,
) -> None:
    """Print the numbered grid, the runs and the cut list; or the map as CSV, JSON, C or SVG."""
    import dataclasses

    from emulator.description.load import load_display
    from harness.report import buildsheet, drawing, mapformats

    shown = load_display(display)
    if reel is not None:
        shown = dataclasses.replace(shown, reel_leds=reel)
    if format is MapFormat.table:
        from rich.console import Console

        if output is None:
            buildsheet.print_map(shown, Console())
        else:
            text = io.StringIO()
            buildsheet.print_map(shown, Console(file=text, width=200))
            _write_text(text.getvalue(), output)
        return
    forms = {
        MapFormat.csv: mapformats.map_csv,
        MapFormat.json: mapformats.map_json,
        MapFormat.c: mapformats.map_c,
        MapFormat.svg: drawing.map_svg,
    }
    _write_text(forms[format](shown), output)


@app.command()
def render(
    display: _DisplayName,
    pattern: _Pattern = None,
    scene: _Scene = None,
    at: Annotated[str, typer.Option(help="The moment to show: 1.5s, 200ms.")] = "0s",
    width: Annotated[int, typer.Option(min=16, max=8192, help="Pixels across.")] = 960,
    numbers: Annotated[bool, typer.Option(help="Write the LED numbers over the cells.")] = False,
    output: Annotated[Path, typer.Option("--output", "-o", help="The PNG to write.")] = Path(
        "wall.png"
    ),
) -> None:
    """Draw the wall as it looks at one moment, without a screen."""
    from emulator.bench import Bench
    from emulator.description.load import load_display
    from emulator.light.still import still

    shown = load_display(display)
    name, source = _source(shown, pattern, scene)
    bench = Bench(shown)
    time_s = _seconds(at)
    bench.send(source(time_s))
    _write_png(still(shown, bench.picture, width, numbers=numbers), output)
    print(f"Wrote {output}: {shown.name}, {name} at {time_s:g} s")


@app.command()
def view(
    display: _DisplayName,
    pattern: _Pattern = None,
    scene: _Scene = None,
    simulated: Annotated[
        bool, typer.Option("--simulated", help="Simulated time: as fast as the screen draws.")
    ] = False,
    width: Annotated[int, typer.Option(min=160, max=8192, help="Pixels across.")] = 960,
) -> None:
    """Open a window that shows the wall playing patterns and scenes; h lists its keys."""
    from emulator.description.load import load_display
    from emulator.window import WallWindow
    from harness.sources import all_sources

    shown = load_display(display)
    name, _ = _source(shown, pattern, scene)
    WallWindow(shown, all_sources(shown), name, real_time=not simulated, pixels_wide=width).run()


@app.command()
def decode(
    file: Annotated[Path, typer.Argument(help="A capture of data lines: VCD, plain or gzipped.")],
    chip: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="The chip it drives; `foreglow chips` lists them."),
    ] = None,
    display: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="Show the frames on this display, and take its chip."),
    ] = None,
    sheet: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(help="Where the contact sheet of the frames goes (with --display)."),
    ] = None,
    as_json: _Json = False,
) -> None:
    """Decode a capture: its frames, its timing against the chip's, and a verdict."""
    from emulator.description.chips import chip as chip_of
    from emulator.description.load import load_display
    from emulator.signal.capture import decode_capture
    from emulator.signal.vcd import read_vcd

    wall = load_display(display) if display is not None else None
    if chip is not None:
        part = chip_of(chip)
    elif wall is not None:
        part = wall.chip
    else:
        raise typer.BadParameter("give --chip or --display")
    capture = decode_capture(read_vcd(file).waveforms, part)
    if as_json:
        print(json.dumps(capture.to_json(), indent=2))
    else:
        from rich.console import Console

        from harness.report.capture import print_capture

        print_capture(capture, Console())
    if wall is not None:
        from harness.report.replay import show_capture

        picture = show_capture(capture, wall, None if as_json else sys.stdout)
        target = sheet or Path("foreglow-out") / f"{wall.name}-capture.png"
        _write_png(picture, target)
        if not as_json:
            print(f"Contact sheet: {target}")
    raise typer.Exit(1 if capture.verdict == "fail" else 0)


@app.callback(invoke_without_command=True)
def _version(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from importlib.metadata import version as installed

        print(installed("foreglow"))
        raise typer.Exit


def _source(display: Display, pattern: str | None, scene: str | None) -> tuple[str, Source]:
    from harness.sources import pattern_source, scene_source

    if pattern is not None and scene is not None:
        raise typer.BadParameter("give --pattern or --scene, not both")
    if pattern is not None:
        return f"pattern {pattern}", pattern_source(pattern, display)
    name = scene or "aurora"
    return f"scene {name}", scene_source(name, display)


def _seconds(text: str) -> float:
    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*(s|ms|min)?\s*", text)
    if match is None:
        raise typer.BadParameter(f"'{text}' is no time; write 1.5s, 200ms or 2min")
    return float(match.group(1)) * {"ms": 1e-3, "s": 1.0, "min": 60.0}[match.group(2) or "s"]


def _write_text(text: str, output: Path | None) -> None:
    from emulator.files import write_whole

    if output is None:
        sys.stdout.write(text)
    else:
        write_whole(output, text)
        print(f"Wrote {output}")


def _write_png(picture: Any, path: Path) -> None:
    from emulator.files import write_whole

    data = io.BytesIO()
    picture.save(data, format="PNG")
    write_whole(path, data.getvalue())


if __name__ == "__main__":
    main()
