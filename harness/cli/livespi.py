"""Shows a Python program that sends with the module spidev, while it runs."""

from __future__ import annotations

from collections.abc import Callable

from emulator.clock import Clock
from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.errors import laid_out
from emulator.ports.output import Output
from harness.report.terminal import say
from harness.result.words import many
from harness.subject.program import Program
from harness.subject.reception import Arrived
from harness.subject.spi import SpiReception


def show_program(
    program: str,
    output: Output,
    wall: Display,
    address: str,
    clock: Clock,
    going_on: Callable[[], bool],
) -> None:
    """Run a program with an emulated SPI device until it ends or `going_on` says no; report.

    address: the controller, as spi:?idle=high. Raises AddressError and SubjectError.
    """
    count = 0

    def show(frame: Arrived) -> None:
        nonlocal count
        count += 1
        output.send_frame(list(frame.lines))

    with SpiReception(wall, clock, show, address) as reception:
        running = Program(program, reception, asked=False)
        try:
            say(f"The program sends to {reception.words}.")
            while going_on() and not running.ended:
                reception.step()
            ended = running.ended
            reception.settle()
        finally:
            running.close(clock)
            line = "MOSI" if isinstance(wall.chip.wire, OneWire) else "SCLK"
            say(f"{many(count, 'frame')}; timing of {line}: {reception.verdict}.")
            for one in reception.trouble():
                say(laid_out(f"{one.what} ({one.evidence})", fix=f"{one.fix}."))
    if ended:
        say(f"The program {ended}.")
    if not count and not reception.trouble():
        say(laid_out("No frame came.", fix=reception.hint))
