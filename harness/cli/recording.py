"""`foreglow record`, `export` and `compare`: what a display showed, kept and looked at again."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Optional

import typer

from harness.cli.options import (
    RESULTS,
    DisplayName,
    PatternName,
    SceneName,
    chosen_source,
    write_png,
)
from harness.cli.options import seconds as seconds_of

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.recording.recording import Recording

Folder = Annotated[Path, typer.Argument(help="The folder of a recording.")]
OfDisplay = Annotated[
    Optional[str],  # noqa: UP045
    typer.Option("--display", help="The display file, where the recording's is no longer there."),
]


def record(
    display: DisplayName,
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder to write.")],
    pattern: PatternName = None,
    scene: SceneName = None,
    seconds: Annotated[str, typer.Option(help="For how long: 10, 2min.")] = "10",
) -> None:
    """Record a scene or pattern as the display shows it, in simulated time, into a folder."""
    from emulator.bench import Bench
    from emulator.description.load import load_display
    from emulator.recording.disk import DiskRecorder
    from harness.showing import frames_in, show_for

    shown = load_display(display)
    name, source = chosen_source(shown, pattern, scene)
    lasts_s = seconds_of(seconds)
    bench = Bench(shown)
    frames = 0
    with DiskRecorder(output, shown) as recorder:
        bench.recorder = recorder
        sent = show_for(bench, source, lasts_s)
        for number in _progress(range(frames_in(bench, lasts_s)), "recording"):
            if next(sent, None) is not None:
                frames = number + 1
        next(sent, None)  # lets it record the last frame
    print(f"Wrote {output}: {shown.name}, {name}, {frames} frames")
    if recorder.lost:
        print(f"{recorder.lost} frames were lost: {recorder.problem}")
        raise typer.Exit(1)


def export(
    recording: Folder,
    output: Annotated[Path, typer.Argument(help="What to write: .png .gif .apng .npz .csv")],
    drives: Annotated[
        bool, typer.Option("--drives", help="The drives in plain squares, not the light.")
    ] = False,
    at: Annotated[
        Optional[str],  # noqa: UP045
        typer.Option(help="For .png: the moment to show; without it, a contact sheet."),
    ] = None,
    width: Annotated[int, typer.Option(min=16, max=8192, help="Pixels across.")] = 360,
    display: OfDisplay = None,
) -> None:
    """Write a recording as a picture, contact sheet, animation, arrays or table.

    As the light an eye sees behind the cover, or as the drives of the LEDs.
    """
    from emulator.recording.export import export as export_to

    found = _loaded(recording)
    export_to(
        found,
        output,
        kind="drives" if drives else "light",
        display=_display(display),
        at_s=None if at is None else seconds_of(at),
        pixels_wide=width,
        watch=lambda frames: _progress(frames, output.name),
    )
    print(f"Wrote {output}: {found.name}, {len(found)} frames recorded")


def compare(
    recording: Folder,
    other: Annotated[Path, typer.Argument(help="The recording to compare it with.")],
    tolerance: Annotated[
        int, typer.Option(min=0, max=255, help="By how much a drive may differ.")
    ] = 0,
    output: Annotated[
        Optional[Path],  # noqa: UP045
        typer.Option(
            "--output",
            "-o",
            help="Where the picture of the first difference goes.",
            show_default="foreglow-out/",
        ),
    ] = None,
    display: OfDisplay = None,
) -> None:
    """Tell where two recordings of a display first differ, by how much, and show it side by side.

    Exit status 0 when they are the same, 1 when not.
    """
    from emulator.recording.compare import compare as compared
    from emulator.recording.compare import difference_picture, told

    one, two = _loaded(recording), _loaded(other)
    found = compared(one, two, tolerance)
    print(f"{told(one, two, found)}.")
    if found.first is not None:
        target = output or RESULTS / f"{one.name}-compare.png"
        write_png(difference_picture(one, two, found.first, _display(display)), target)
        print(f"Side by side: {target}")
    raise typer.Exit(int(not found.same))


def _loaded(folder: Path) -> Recording:
    """The recording, and a line on standard error about what is lost of it."""
    from emulator.recording.recording import load_recording

    found = load_recording(folder)
    if found.lost:
        typer.echo(f"{folder}: {found.lost} frames could not be written then", err=True)
    for problem in found.problems:
        typer.echo(f"{folder}: cannot be read, left out: {problem}", err=True)
    return found


def _display(name: str | None) -> Display | None:
    from emulator.description.load import load_display

    return None if name is None else load_display(name)


def _progress(frames: Sequence[int], doing: str) -> Iterable[int]:
    """The frames, with a bar on standard error while they pass, where that is a terminal."""
    from rich.console import Console
    from rich.progress import track

    console = Console(stderr=True)
    return track(frames, doing, console=console, transient=True, disable=not console.is_terminal)
