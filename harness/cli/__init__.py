"""The `foreglow` command.

Exit status: 0 right or remarks at most, 1 faults or warnings, 2 bad input (the message says what is
wrong, where, and how to fix it). Commands import what they need when they run, so that each, and
`--help`, starts quickly.
"""

from __future__ import annotations

import io
import sys
from collections.abc import Callable
from typing import Annotated

import typer

from emulator.errors import ForeglowError
from emulator.plaintext import clean
from harness.cli import (
    campaign,
    check,
    cut,
    decode,
    describe,
    faults,
    find,
    firmware,
    flash,
    light,
    listen,
    mutate,
    power,
    recording,
    report,
    run,
    service,
    sheet,
    soak,
    survey,
    view,
)
from harness.cli.help import EXAMPLES, START, as_written, help_of
from harness.report.terminal import complain, say

app = typer.Typer(
    help="A stand-in and test harness for displays of addressable LEDs, before they are built.",
    epilog="Exit status: 0 right, or remarks at most; 1 faults or warnings; 2 bad input.",
    add_completion=False,
    rich_markup_mode="rich",
    pretty_exceptions_enable=False,
)
_COMMANDS: dict[str, tuple[Callable[..., None], ...]] = {
    "Describe the wall": (
        describe.new,
        describe.map_command,
        sheet.sheet,
        describe.chips,
        describe.schema,
    ),
    "Prove code and wiring": (
        check.check,
        mutate.mutate,
        decode.decode,
        faults.faults,
        campaign.campaign,
        find.find,
        survey.survey,
    ),
    "See and calculate": (view.view, view.render, light.light, power.power, flash.flash),
    "Build it": (cut.cut,),
    "Show and keep": (
        run.run,
        service.service,
        firmware.firmware,
        soak.soak,
        listen.listen,
        recording.record,
        recording.export,
        recording.compare,
    ),
}
for panel, commands in _COMMANDS.items():
    for command in commands:
        name = command.__name__.removesuffix("_command")
        app.command(
            name,
            help=help_of(command),
            epilog=f"Example: {as_written(EXAMPLES[name])}",
            rich_help_panel=panel,
        )(command)
reports = typer.Typer(help="Compare reports of two runs.", no_args_is_help=True)
reports.command(
    "compare",
    help=help_of(report.compare),
    epilog=f"Example: {as_written(EXAMPLES['report compare'])}",
)(report.compare)
app.add_typer(reports, name="report", rich_help_panel="Prove code and wiring")


_READER_GONE = 141  # 128 + SIGPIPE, as shells report it


def main() -> None:
    """Run the command; every ForeglowError becomes its message and exit status 2."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")  # a picture in a console of another code page
    try:
        status = app(standalone_mode=False)
        sys.stdout.flush()
    except SystemExit as stop:
        # typer ends with 1, which means findings here, when the reader of a pipe has gone.
        status = _READER_GONE if isinstance(stop.__context__, BrokenPipeError) else stop.code
    except ForeglowError as error:
        complain(f"foreglow: {type(error).__name__}: {error}")
        status = 2
    except BrokenPipeError:
        sys.stdout = io.TextIOWrapper(io.BytesIO())  # keeps Python from complaining at exit
        status = _READER_GONE
    except OSError as error:
        complain(f"foreglow: the output cannot be written: {error}")
        sys.stdout = io.TextIOWrapper(io.BytesIO())
        status = 2
    except (KeyboardInterrupt, typer.Abort):
        status = 130
    except Exception as error:
        if not hasattr(error, "exit_code"):
            raise
        if hasattr(error, "message"):
            error.message = clean(str(error.message))
        error.show()  # type: ignore[attr-defined]  # wrong use of the command, in typer's words
        status = error.exit_code
    sys.exit(status)


@app.callback(invoke_without_command=True)
def _start(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from importlib.metadata import version as installed

        say(installed("foreglow"))
        raise typer.Exit
    if context.invoked_subcommand is None:
        say(START)
