"""The `foreglow` command.

Exit status: 0 all right, 1 findings, 2 bad input (with what is wrong, where, and how to mend it).
Commands import what they need when they run, so that each starts quickly.
"""

from __future__ import annotations

import io
import sys
from typing import Annotated

import typer

from emulator.errors import ForeglowError
from harness.cli import check, decode, describe, light, listen, power, show

app = typer.Typer(
    help="A stand-in and test harness for displays of addressable LEDs, before they are built.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode="markdown",
    pretty_exceptions_enable=False,
)
for command in (
    check.check,
    describe.new,
    describe.schema,
    describe.chips,
    describe.map_command,
    show.render,
    show.view,
    decode.decode,
    power.power,
    light.light,
    listen.listen,
):
    app.command(name=command.__name__.removesuffix("_command"))(command)


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


@app.callback(invoke_without_command=True)
def _version(
    version: Annotated[bool, typer.Option("--version", help="Print the version.")] = False,
) -> None:
    if version:
        from importlib.metadata import version as installed

        print(installed("foreglow"))
        raise typer.Exit


if __name__ == "__main__":
    main()
