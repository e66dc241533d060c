"""`foreglow firmware`: a firmware project for a display."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from harness.cli.options import DisplayName, seconds
from harness.report.terminal import say

ControllerName = Annotated[str, typer.Option(help="ATmega328P, ATmega1284P or ATmega2560.")]
Pins = Annotated[
    str | None,
    typer.Option(
        help="The pin of each line, as B0,B1; with a clock data and clock of each, as B3/B5.",
        show_default="the first ones",
    ),
]


def firmware(
    display: DisplayName,
    output: Annotated[Path, typer.Option("--output", "-o", help="The folder; it must not exist.")],
    controller: ControllerName = "ATmega328P",
    mhz: Annotated[float, typer.Option(help="The controller's clock: 16 or 20.")] = 16,
    baud: Annotated[
        int | None,
        typer.Option(
            help="Of its serial port.", show_default="the fastest that it can always handle"
        ),
    ] = None,
    pins: Pins = None,
    hold: Annotated[
        str, typer.Option(help="After so long without a message the LEDs go dark; 0s: never.")
    ] = "10s",
) -> None:
    """Write a firmware that takes frames by the serial protocol and puts them on the LEDs.

    `make` in the folder builds it. It writes nothing if flash, RAM or pins are not enough.
    """
    from emulator.description.load import load_display
    from emulator.ports.firmware.controller import controller as named
    from emulator.ports.firmware.plan import make_plan
    from emulator.ports.firmware.project import project_name, write_project

    plan = make_plan(
        load_display(display),
        named(controller),
        mhz,
        baud=baud,
        hold=round(10 * seconds(hold)),
        pins=None if pins is None else pins.split(","),
    )
    write_project(plan, output)
    wall, chosen = plan.display, plan.controller
    say(f"Wrote {output}: {chosen.name} at {plan.hz / 1e6:g} MHz, {plan.baud} baud.")
    for number, pin in enumerate(plan.pins):
        clock = "" if pin.clock is None else f", clock on {pin.clock}"
        port = " (its SPI port)" if number == plan.spi_line else ""
        leds = wall.wiring.line_lengths[number]
        say(f"Line {number}: {leds} {wall.chip.part}, data on {pin.data}{clock}{port}.")
    if len(plan.pins) > 1:
        say("The lines are written one after the other.")
        if not wall.in_turn:
            say('Write sends_lines = "in turn" in [controller], so that every check counts that.')
    say(
        f"It takes at most {plan.flash} of {chosen.flash} bytes of flash"
        f" and {plan.ram} of {chosen.ram} bytes of RAM."
    )
    link = plan.link
    say(
        f"On this link {link.words}: at most {link.frames_per_s:.1f} frames/s,"
        f" {link.latency_s * 1e3:.2f} ms from the first byte until the LEDs show it."
    )
    if short := link.shortfall(wall.controller.frame_rate):
        say(short)
    built = output / f"{project_name(plan)}.elf"
    say(f"Next: make -C {output}; foreglow listen {display} --firmware {built}")
    say(f"In your program: serial://DEVICE?baud={plan.baud}")
