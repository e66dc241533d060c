"""`foreglow check`: replay the test patterns and explain what is wrong."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from harness.cli.ending import end_as_by_ctrl_c
from harness.cli.options import (
    DisplayName,
    Faults,
    Force,
    HtmlFile,
    Json,
    exit_status,
    html_file,
    result_file,
    seconds,
    wall_of,
    write_page,
    write_png,
)
from harness.report.terminal import complain, say, terminal

if TYPE_CHECKING:
    from emulator.arrays import Light
    from emulator.description.display import Display
    from harness.result.report import Report
    from harness.subject.subject import Subject


def check(
    display: DisplayName,
    map: Annotated[
        Path | None,
        typer.Option(help="Check this map (CSV with line,led,column,row) against the wiring."),
    ] = None,
    call: Annotated[
        str | None,
        typer.Option(help="Check this function, module:function, picture → bytes on the wire."),
    ] = None,
    leds: Annotated[
        str | None,
        typer.Option(help="Check this function, module:function, that sets LEDs by number."),
    ] = None,
    program: Annotated[
        str | None,
        typer.Option(help="Check this program, as 'node show.js {port}' or with {e131}."),
    ] = None,
    listen: Annotated[
        str, typer.Option(help="Judge what a program sends by itself, for this time: 10s, 2min.")
    ] = "",
    address: Annotated[
        str | None,
        typer.Option(
            help="Where to receive E1.31, as e131:?universe=5; see `foreglow listen --help`."
            " With --spi: the controller, as spi:?controller=bcm2711; also gap_us=200."
        ),
    ] = None,
    baud: Annotated[
        int, typer.Option(min=300, max=12_000_000, help="Of the serial port {port}.")
    ] = 2_000_000,
    spi: Annotated[
        bool,
        typer.Option(
            "--spi",
            help="The program is in Python and sends with the module spidev: it gets an emulated"
            " one. Controller, gap and more: --address 'spi:?idle=high'.",
        ),
    ] = False,
    only: Annotated[
        str | None,
        typer.Option(help="Run only these checks, separated by commas."),
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(help="Where the contact sheet goes.", show_default="foreglow-out/"),
    ] = None,
    html: HtmlFile = None,
    fault: Faults = None,
    force: Force = False,
    as_json: Json = False,
) -> None:
    """Replay the test patterns through the emulated wiring and explain what is wrong.

    Without --map, --call, --leds or --program, foreglow checks its own map of the display. With
    --listen it asks nothing: it judges what a program sends by itself.
    """
    from emulator.clock import RealClock
    from harness.checks.listening import hear
    from harness.subject import subject as subjects
    from harness.subject.called import CalledFunction
    from harness.subject.program import ProgramSubject

    wall = wall_of(display, fault)
    page = html_file(html, wall, force)
    if sum(given is not None for given in (map, call, leds, program)) > 1:
        raise typer.BadParameter("give one of --map, --call, --leds and --program")
    if spi and program is None:
        raise typer.BadParameter("--spi needs a program: give --program 'python3 show.py'")
    if listen or any(given is not None for given in (program, call, leds)):
        end_as_by_ctrl_c()
    if listen:
        if any(given is not None for given in (map, call, leds)):
            raise typer.BadParameter(
                "--listen judges what a program sends: leave out --map, --call and --leds"
            )
        if only is not None or sheet is not None:
            raise typer.BadParameter("--listen runs no checks: leave out --only and --sheet")
        heard = hear(
            wall,
            RealClock(),
            seconds(listen),
            program=program,
            address=address,
            baud=baud,
            spi=spi,
            say=complain,
        )
        _tell(heard.report, wall, heard.shown, heard.shown, as_json)
        if page is not None:
            from harness.report.page.check import heard_page

            write_page(heard_page(heard.report, wall, heard.shown), page, as_json)
        raise typer.Exit(exit_status(heard.report.findings))
    target = result_file(sheet, f"{wall.name}-check.png", wall, force, (".png",))
    with contextlib.ExitStack() as stack:
        if map is not None:
            subject = subjects.map_file(map, wall)
        elif (function := call or leds) is not None:
            called = CalledFunction(function, wall, RealClock(), leds=leds is not None)
            subject = stack.enter_context(called).subject
        elif program is not None:
            running = ProgramSubject(
                program, wall, RealClock(), address=address, baud=baud, spi=spi
            )
            subject = stack.enter_context(running).subject
        else:
            subject = subjects.own_code(wall)
        report = _check(wall, subject, only, target, page, as_json)
    raise typer.Exit(exit_status(report.findings))


def _check(
    wall: Display,
    subject: Subject,
    only: str | None,
    target: Path,
    page: Path | None,
    as_json: bool,
) -> Report:
    from harness.checks.check import run_checks
    from harness.patterns.sources import example_picture
    from harness.report.check.sheet import check_sheet
    from harness.subject.trial import Trial

    trial = Trial(wall, subject)
    names = tuple(name.strip() for name in only.split(",")) if only else ()
    report = run_checks(trial, names)
    write_png(check_sheet(trial), target)
    _tell(report, wall, *trial.compare(example_picture(wall)), as_json)
    if not as_json:
        say(f"Contact sheet: {target}")
    if page is not None:
        from harness.report.page.check import check_page

        write_page(check_page(report, trial), page, as_json)
    return report


def _tell(report: Report, wall: Display, meant: Light, shown: Light, as_json: bool) -> None:
    if as_json:
        say(json.dumps(report.to_json(), indent=2))
    else:
        from harness.report.check.verdict import print_report

        print_report(report, wall, meant, shown, terminal())
