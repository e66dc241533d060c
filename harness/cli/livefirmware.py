"""`foreglow listen --firmware`: a firmware that runs here, its pins shown on the wall."""

from __future__ import annotations

import contextlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from harness.report.terminal import say

if TYPE_CHECKING:
    from emulator.description.display import Display
    from emulator.ports.firmware.live import LiveFirmware
    from emulator.ports.output import Output
    from emulator.signal.timing import TimingVerdict

_STEP_NS = 2_000_000  # between looks at the pins
_TOLD_AFTER_S = 1.0  # of the controller's time: the start is slower
_LIKE_REAL = 1.02


def show_firmware(
    elf: Path,
    output: Output,
    wall: Display,
    going_on: Callable[[], bool],
    *,
    part: str | None,
    mhz: float | None,
    pins: str | None,
    name: Path | None,
) -> None:
    """Run a firmware and send what its pins say to an output, until `going_on` says no.

    part, mhz: controller and clock, for an ELF file that does not say them. pins: as for `foreglow
    firmware`. Raises FirmwareError and UnsupportedError as `LiveFirmware` does.
    """
    from emulator.clock import RealClock, SimulatedClock
    from emulator.errors import OutputClosedError
    from emulator.ports.firmware.controller import controller
    from emulator.ports.firmware.live import LiveFirmware, told_by
    from emulator.ports.firmware.pins import PinReader
    from emulator.ports.firmware.plan import default_pins, read_pins
    from emulator.ports.replay import frames_of
    from emulator.signal.capture import joint_verdict
    from harness.result.words import many

    told = told_by(elf) or ("ATmega328P", 16_000_000)
    used, hz = part or told[0], told[1] if mhz is None else round(mhz * 1e6)
    places = (
        default_pins(wall, controller(used)) if pins is None else read_pins(wall, pins.split(","))
    )
    reader = PinReader(wall.chip, places)
    clock, wire = RealClock(), output.bench.clock
    verdicts: list[TimingVerdict] = []
    shown, spoken = 0, False
    with LiveFirmware(elf, reader.pins, name=name, part=used.lower(), hz=hz) as live:
        say(f"The firmware {elf.name} on {used} at {hz / 1e6:g} MHz: {live.path}")

        def look(last: bool = False) -> bool:
            """Show what has come at the pins. Returns whether anything has."""
            nonlocal shown
            changes = live.read()
            for capture in reader.take(
                changes, live.cycle, live.hz or hz, last or live.ended != ""
            ):
                verdicts.extend(line.verdict for line in capture.lines if line.carried)
                for time_ns, lines in frames_of(capture, len(places)):
                    if isinstance(wire, SimulatedClock):
                        wire.wait_until(time_ns)
                    output.send_frame(lines)
                    shown += 1
            return bool(changes.size)

        try:
            while going_on() and not live.ended:
                if not look():
                    clock.wait_until(clock.now_ns() + _STEP_NS)
                if not spoken and live.cycle > _TOLD_AFTER_S * hz:
                    spoken = True
                    say(_pace(live))
        finally:
            with contextlib.suppress(OutputClosedError):
                look(last=True)
            if live.ended:
                say(f"The firmware has stopped: {live.ended}.")
            say(f"{many(shown, 'frame')} at the pins; timing: {joint_verdict(verdicts)}.")
            if live.lost:
                say(
                    f"{many(live.lost, 'byte')} lost at the serial port: they came before the"
                    " firmware had read the three before them."
                )
            if live.cycle:
                say(_pace(live))


def _pace(live: LiveFirmware) -> str:
    slowness, work = live.slowness, live.work
    assert slowness is not None
    assert work is not None
    ran = f"{live.cycle / live.hz:.1f} s of the controller's time"
    if slowness > _LIKE_REAL:
        return f"{ran}: {slowness:.2f} times slower than a real one."
    return f"{ran}: as fast as a real one; this machine could run it {1 / work:.1f} times as fast."
