"""What the commands share: options, and the writing of their results."""

from __future__ import annotations

import contextlib
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from emulator.files import check_target, write_whole
from emulator.plaintext import clean
from harness.report.terminal import say, terminal

if TYPE_CHECKING:
    from emulator.description.display import Display
    from harness.patterns.sources import PictureAt
    from harness.report.page.page import Page
    from harness.result.finding import Finding

DisplayName = Annotated[str, typer.Argument(help="A display file (TOML), or a demo such as foyer.")]
Json = Annotated[bool, typer.Option("--json", help="Print JSON instead of a report.")]
OutputFile = Annotated[Path | None, typer.Option("--output", "-o", help="Write to this file.")]
Force = Annotated[
    bool, typer.Option("--force", help="Overwrite a file that foreglow did not write.")
]
ChartFile = Annotated[
    Path | None,
    typer.Option(
        "--plot", help="Where the chart goes, .png or .svg.", show_default="foreglow-out/"
    ),
]
HtmlFile = Annotated[
    Path | None,
    typer.Option("--html", help="Write the report as one page for a browser, .html."),
]
SCENE_HELP = (
    "A demo scene or test pattern by name; or a scene file (.py), picture, clip, folder of pictures"
    " or recording."
)
SceneName = Annotated[str, typer.Argument(help=SCENE_HELP)]

Now = Annotated[
    str | None,
    typer.Option("--now", help="The time of day at the start: 2026-12-24T19:00, local time."),
]
SampleRate = Annotated[
    str, typer.Option("--rate", help="Samples a second, as 24MHz, if the capture does not say it.")
]
Bits = Annotated[
    list[int] | None,
    typer.Option("--bit", help="Raw samples, a byte each: a bit that is a line; may be repeated."),
]
Packed = Annotated[
    bool,
    typer.Option(
        "--packed",
        help="Raw samples of one line, eight in every byte. foreglow finds out whether the lowest "
        "or the highest bit is the first sample; or say it with --first-sample.",
    ),
]
FirstSample = Annotated[
    Literal["lowest", "highest"] | None,
    typer.Option(help="With --packed: the bit of each byte that holds its first sample."),
]

Faults = Annotated[
    list[str] | None,
    typer.Option(
        "--fault",
        help='A fault of the wall as built, as "data-open line=0 after=143"; may be repeated.'
        " `foreglow faults` lists them.",
    ),
]

_MOST_TOLD = 4  # faults of a wall
_LEAST_BYTES = 100_000_000  # a little more than Python and numpy take

RESULTS = Path("foreglow-out")  # where pictures go unless the user says otherwise


def wall_of(name: str, faults: Sequence[str] | None) -> Display:
    """The display of a name, with these faults beside those of its file; says which it has.

    Raises what `load_display` raises, and FaultError.
    """
    from emulator.description.load import load_display

    display = load_display(name)
    if faults:
        from emulator.description.faults.reading import with_faults

        display = with_faults(display, faults)
    if display.faults:
        told = "; ".join(map(str, display.faults[:_MOST_TOLD]))
        more = f" and {rest} more" if (rest := len(display.faults) - _MOST_TOLD) > 0 else ""
        typer.echo(clean(f"{display.name} is emulated with faults: {told}{more}"), err=True)
    return display


@contextlib.contextmanager
def chosen_source(display: Display, name: str) -> Iterator[tuple[str, PictureAt]]:
    """The pattern, scene or file of a name, in words and as time → picture; closed at the end.

    Raises what `named_source` raises.
    """
    from harness.patterns.pattern import ALL_PATTERNS
    from harness.patterns.sources import named_source

    with named_source(name, display) as source:
        yield f"{'pattern' if name in ALL_PATTERNS else 'scene'} {name}", source


def result_file(
    asked: Path | None, default: str, display: Display | None, force: bool, endings: tuple[str, ...]
) -> Path:
    """Where a result goes: the path asked for, else the default name in the results folder.

    Checked before the work begins: a usage error for an ending that is not in `endings`; WriteError
    for a file that foreglow did not write, unless `force`, and always for the display file itself.
    """
    path = asked if asked is not None else RESULTS / default
    if path.suffix.lower() not in endings:
        raise typer.BadParameter(f"{path}: end the name in {' or '.join(endings)}")
    if asked is None and not RESULTS.exists():
        return path
    check_target(path, force=force, keep=_kept(display))
    return path


def html_file(asked: Path | None, display: Display, force: bool) -> Path | None:
    """Where the page goes, if one is asked for; checks as `result_file`."""
    return None if asked is None else result_file(asked, "", display, force, (".html", ".htm"))


def write_page(page: Page, path: Path, quiet: bool) -> None:
    """Write a page as HTML, whole or not at all; say so unless `quiet`."""
    from harness.report.page.render import page_html

    write_whole(path, page_html(page))
    if not quiet:
        say(f"Page: {path}")


def _kept(display: Display | None) -> list[Path]:
    """What no result may overwrite, even with --force."""
    return [] if display is None or display.path is None else [display.path]


def chart_file(asked: Path | None, name: str, display: Display, force: bool) -> Path:
    """Where a chart goes, by default `name`.png in the results folder; checks as `result_file`."""
    return result_file(asked, f"{name}.png", display, force, (".png", ".svg"))


def exit_status(findings: Sequence[Finding]) -> int:
    """1 if there is a fault or a warning, else 0."""
    return int(any(finding.severity != "note" for finding in findings))


def seconds(text: str) -> float:
    """A time such as 1.5s, 200ms, 2min or 10h in seconds; a usage error for anything else."""
    match = re.fullmatch(r"\s*(\d+(?:\.\d*)?|\.\d+)\s*(s|ms|min|h)?\s*", text)
    if match is None:
        raise typer.BadParameter(f"'{text}' is not a valid time; write 1.5s, 200ms, 2min or 10h")
    units = {"ms": 1e-3, "s": 1.0, "min": 60.0, "h": 3600.0}
    return float(match.group(1)) * units[match.group(2) or "s"]


def size(text: str) -> int:
    """A size such as 1GB, 500MB or 1.5GiB in bytes, at least 100 MB; else a usage error."""
    match = re.fullmatch(r"\s*(\d{1,9}(?:\.\d{1,9})?)\s*([MG])(i?)B\s*", text, re.ASCII)
    if match is None:
        raise typer.BadParameter(f"'{text}' is not a valid size; write 1GB or 500MB")
    unit = (1024 if match[3] else 1000) ** (3 if match[2] == "G" else 2)
    count = round(float(match[1]) * unit)
    if count < _LEAST_BYTES:
        raise typer.BadParameter(f"'{text}' is too little for any scene; give at least 100MB")
    return count


def hertz(text: str) -> int:
    """A rate such as 24MHz, 500kHz or 1000000 in hertz; a usage error for anything else."""
    match = re.fullmatch(r"\s*(\d{1,12}(?:\.\d{1,9})?)\s*(k|M|G)?(?:Hz)?\s*", text)
    if match is None:
        raise typer.BadParameter(f"'{text}' is not a valid rate; write 24MHz, 500kHz or 1000000")
    return round(float(match.group(1)) * {"k": 1e3, "M": 1e6, "G": 1e9, None: 1}[match.group(2)])


@contextlib.contextmanager
def progress_bar(path: Path) -> Iterator[Callable[[int], None]]:
    """A progress bar while a file is read, if standard error is a terminal; takes bytes read."""
    from rich.progress import Progress

    console = terminal(stderr=True)
    size = path.stat().st_size if path.is_file() else None
    with Progress(console=console, transient=True, disable=not console.is_terminal) as bar:
        task = bar.add_task(path.name, total=size)
        yield lambda done: bar.update(task, completed=done)


def write_text(text: str, output: Path | None) -> None:
    """Print text, or write it to a file and say so."""
    if output is None:
        sys.stdout.write(clean(text))
    else:
        write_whole(output, text)
        say(f"Wrote {output}")


def write_png(picture: Any, path: Path) -> None:
    """Write a Pillow image as PNG, whole or not at all."""
    from emulator.light.still import png

    write_whole(path, png(picture))
