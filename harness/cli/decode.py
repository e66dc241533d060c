"""`foreglow decode`: captures of data lines."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import (
    Bits,
    FirstSample,
    Force,
    Json,
    Packed,
    SampleRate,
    hertz,
    progress_bar,
    result_file,
    write_png,
)
from harness.report.terminal import say, terminal


def decode(
    file: Annotated[Path, typer.Argument(help="A capture of data lines: VCD, CSV or samples.")],
    chip: Annotated[
        str | None,
        typer.Option(help="The chip it drives; `foreglow chips` lists them."),
    ] = None,
    display: Annotated[
        str | None,
        typer.Option(help="Show the frames on this display, and take its chip."),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(help="Where the contact sheet of the frames goes (with --display)."),
    ] = None,
    rate: SampleRate = "",
    bit: Bits = None,
    packed: Packed = False,
    first_sample: FirstSample = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Decode a capture of a data line: its frames, and a verdict on its timing.

    Takes VCD, CSV (a column of time, columns of 0 and 1) or raw samples (--rate, with --bit or
    --packed), plain or gzipped.
    """
    from emulator.description.chips import chip as chip_of
    from emulator.description.load import load_display
    from emulator.signal.capture import decode_capture
    from emulator.signal.capturefile import CaptureFile

    wall = load_display(display) if display is not None else None
    if chip is not None:
        part = chip_of(chip)
    elif wall is not None:
        part = wall.chip
    else:
        raise typer.BadParameter("give --chip or --display")
    hz = hertz(rate) if rate else None
    source = CaptureFile(file, hz, tuple(bit or ()), packed, first_sample)
    with progress_bar(file) as progress:
        waveforms = source.waveforms(progress)
    capture = decode_capture(waveforms, part)
    if wall is not None:
        from harness.report.capture.replay import check_lines

        check_lines(capture, wall)
    if as_json:
        say(json.dumps(capture.to_json(), indent=2))
    else:
        from harness.report.capture.terminal import print_capture

        print_capture(capture, terminal())
    if wall is not None:
        from harness.report.capture.replay import show_capture

        picture = show_capture(capture, wall, None if as_json else sys.stdout)
        target = result_file(sheet, f"{wall.name}-capture.png", wall, force, (".png",))
        write_png(picture, target)
        if not as_json:
            say(f"Contact sheet: {target}")
    raise typer.Exit(1 if capture.verdict == "fail" else 0)
