"""`foreglow record`, `export` and `compare`: recordings of what a display showed."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.options import (
    DisplayName,
    Faults,
    Force,
    Json,
    Now,
    SceneName,
    chosen_source,
    result_file,
    wall_of,
    write_png,
)
from harness.cli.options import seconds as seconds_of
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.clock import SimulatedClock
    from emulator.description.display import Display
    from emulator.recording.disk import DiskRecorder
    from emulator.recording.recording import Recording
    from harness.patterns.sources import PictureAt

Folder = Annotated[Path, typer.Argument(help="The folder of a recording.")]
_SECONDS = 10.0  # recorded, unless the user says otherwise
OfDisplay = Annotated[
    str | None,
    typer.Option("--display", help="The display file, if the recording's own no longer exists."),
]


def record(
    display: DisplayName,
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder to write.")],
    scene: SceneName = "aurora",
    seconds: Annotated[
        str | None,
        typer.Option(
            help="For how long: 10, 2min.",
            show_default="10, or all of a pattern that takes longer",
        ),
    ] = None,
    fault: Faults = None,
    now: Now = None,
) -> None:
    """Record a scene or pattern in simulated time, as the display shows it, into a folder."""
    from emulator.clock import SimulatedClock
    from harness.patterns.pattern import ALL_PATTERNS
    from harness.simulated.day import day_from

    shown, clock = wall_of(display, fault), SimulatedClock()
    lasts_s = _SECONDS if seconds is None else seconds_of(seconds)
    if seconds is None and scene in ALL_PATTERNS:
        lasts_s = max(lasts_s, ALL_PATTERNS[scene].lasts_s(shown))
    with day_from(now, clock), chosen_source(shown, scene) as (name, source):
        recorder = record_to(output, shown, source, lasts_s, clock)
    say(f"Wrote {output}: {shown.name}, {name}, {recorder.written} frames")
    if recorder.lost:
        say(f"{recorder.lost} frames were lost: {recorder.problem}")
        raise typer.Exit(1)


def record_to(
    folder: Path,
    display: Display,
    source: PictureAt,
    seconds: float,
    clock: SimulatedClock | None = None,
) -> DiskRecorder:
    """Record what a source shows on a display, in simulated time; the recorder, closed."""
    from emulator.bench import Bench
    from emulator.recording.disk import DiskRecorder
    from harness.patterns.showing import frames_in, show_for

    bench = Bench(display, clock)
    with DiskRecorder(folder, display) as recorder:
        bench.recorder = recorder
        sent = show_for(bench, source, seconds)
        for _ in progress(range(frames_in(bench, seconds)), "recording"):
            next(sent, None)
    return recorder


def export(
    recording: Folder,
    output: Annotated[Path, typer.Argument(help="What to write: .png .gif .apng .mp4 .npz .csv")],
    drives: Annotated[
        bool, typer.Option("--drives", help="The drives in plain squares, not the light.")
    ] = False,
    at: Annotated[
        str | None,
        typer.Option(help="For .png: the moment to show; without it, a contact sheet."),
    ] = None,
    begin: Annotated[
        str | None,
        typer.Option("--from", help="Only what was shown from then on, by the recording's clock."),
    ] = None,
    end: Annotated[
        str | None,
        typer.Option("--until", help="Only what was shown until then."),
    ] = None,
    width: Annotated[int, typer.Option(min=16, max=8192, help="Pixels across.")] = 360,
    display: OfDisplay = None,
    force: Force = False,
) -> None:
    """Write a recording as a picture, contact sheet, film, arrays or table.

    Either as the light that an eye sees behind the cover, or as the drives of the LEDs.
    """
    from emulator.recording.export import export as export_to

    found = loaded(recording)
    export_to(
        found,
        output,
        kind="drives" if drives else "light",
        display=_display(display),
        at_s=_seconds(at),
        from_s=_seconds(begin),
        to_s=_seconds(end),
        pixels_wide=width,
        watch=lambda frames: progress(frames, output.name),
        force=force,
    )
    say(f"Wrote {output}: {found.name}, {len(found)} frames recorded")


def compare(
    recording: Folder,
    other: Annotated[Path, typer.Argument(help="The recording to compare it with.")],
    tolerance: Annotated[
        int, typer.Option(min=0, max=255, help="By how much a drive may differ.")
    ] = 0,
    output: Annotated[
        Path | None,
        typer.Option(
            "--output",
            "-o",
            help="Where the picture of the first difference goes.",
            show_default="foreglow-out/",
        ),
    ] = None,
    display: OfDisplay = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Find where two recordings of a display first differ, by how much, and show both side by side.

    Exit status 0 if they are the same, 1 if not.
    """
    from emulator.recording.compare import compare as compared
    from emulator.recording.compare import comparison_json, difference_picture, told

    one, two = loaded(recording), loaded(other)
    found = compared(one, two, tolerance)
    target = None
    if not as_json:
        say(f"{told(one, two, found)}.")
    if found.first is not None:
        wall = _display(display)
        target = result_file(output, f"{one.name}-compare.png", wall, force, (".png",))
        write_png(difference_picture(one, two, found.first, wall), target)
    if as_json:
        data = comparison_json(one, two, found)
        say(json.dumps(data | {"picture": None if target is None else str(target)}, indent=2))
    elif target is not None:
        say(f"Side by side: {target}")
    raise typer.Exit(int(not found.same))


def loaded(folder: Path) -> Recording:
    """The recording, and a line on standard error about what is lost of it."""
    from emulator.recording.recording import load_recording

    found = load_recording(folder)
    if found.lost:
        typer.echo(f"{folder}: {found.lost} frames could not be recorded", err=True)
    for problem in found.problems:
        typer.echo(f"{folder}: cannot be read, left out: {problem}", err=True)
    return found


def _display(name: str | None) -> Display | None:
    from emulator.description.load import load_display

    return None if name is None else load_display(name)


def _seconds(text: str | None) -> float | None:
    return None if text is None else seconds_of(text)


def progress(frames: Sequence[int], doing: str) -> Iterable[int]:
    """The frames; shows a progress bar if standard error is a terminal."""
    from rich.progress import track

    console = terminal(stderr=True)
    return track(frames, doing, console=console, transient=True, disable=not console.is_terminal)
