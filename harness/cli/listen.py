"""`foreglow listen`: shows other programs, boards' protocols and captures on the wall."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from harness.cli.ending import end_as_by_ctrl_c
from harness.cli.firmware import Pins
from harness.cli.livefirmware import show_firmware
from harness.cli.options import (
    Bits,
    DisplayName,
    Faults,
    FirstSample,
    Packed,
    SampleRate,
    hertz,
    progress_bar,
    result_file,
    seconds,
    wall_of,
    write_png,
)
from harness.report.terminal import say

if TYPE_CHECKING:
    from emulator.clock import Clock
    from emulator.description.display import Display
    from emulator.ports.e131.listen import OnLoss
    from emulator.ports.output import Output
    from emulator.ports.surface import SurfaceOutput
    from emulator.signal.capturefile import CaptureFile
    from emulator.signal.timing import TimingVerdict
    from emulator.signal.waveform import Waveform

_MOST_TILES = 60


# What belongs to some ways in only.
_WAYS = {
    "--serial": ("baud", "name"),
    "--e131": ("address", "on_loss"),
    "--spi": ("address", "program"),
    "--capture": ("rate", "bit", "packed", "first_sample"),
    "--firmware": ("controller", "mhz", "pins", "name"),
}


def listen(
    context: typer.Context,
    display: DisplayName,
    serial: Annotated[
        bool, typer.Option("--serial", help="Act as a board on a serial port (pseudo-terminal).")
    ] = False,
    e131: Annotated[
        bool,
        typer.Option("--e131", help="Receive ANSI E1.31: 170 RGB or 128 RGBW LEDs a universe."),
    ] = False,
    spi: Annotated[
        bool,
        typer.Option(
            "--spi", help="Run --program, in Python, with an emulated SPI device: module spidev."
        ),
    ] = False,
    program: Annotated[
        str | None,
        typer.Option(help="With --spi: the program, as 'python3 show.py'."),
    ] = None,
    capture: Annotated[
        Path | None,
        typer.Option(help="Play a capture of the data lines: VCD, CSV or samples."),
    ] = None,
    firmware: Annotated[
        Path | None,
        typer.Option(
            help="Run a firmware (.elf) under simavr; its serial port is a pseudo-terminal."
        ),
    ] = None,
    rate: SampleRate = "",
    bit: Bits = None,
    packed: Packed = False,
    first_sample: FirstSample = None,
    to: Annotated[
        list[str] | None,
        typer.Option(
            help="Where to show it: window:, browser:, memory:, vcd:FILE … may be repeated."
        ),
    ] = None,
    baud: Annotated[int, typer.Option(min=300, max=12_000_000, help="With --serial.")] = 2_000_000,
    name: Annotated[
        Path | None,
        typer.Option(help="With --serial, --firmware: a link of this name to the port."),
    ] = None,
    address: Annotated[
        str | None,
        typer.Option(
            help="With --e131: what to receive, as e131://0.0.0.0?universe=1 or e131://239.255.0.1."
            " Also packing=continuous (LEDs straddle universes), order=GRB, sync=7, interface=…"
            " With --spi: the controller, as spi:?controller=bcm2711; also gap_us=200, idle=high."
        ),
    ] = None,
    on_loss: Annotated[
        str,
        typer.Option(help="With --e131, after 2.5 s without data: hold, dark, or a scene."),
    ] = "hold",
    controller: Annotated[
        str | None,
        typer.Option(help="With --firmware, if the .elf does not name it: ATmega328P …"),
    ] = None,
    mhz: Annotated[
        float | None,
        typer.Option(min=1, max=20, help="With --firmware, if the .elf does not say it."),
    ] = None,
    pins: Pins = None,
    fault: Faults = None,
    for_: Annotated[str, typer.Option("--for", help="End after this time: 10s, 2min.")] = "",
) -> None:
    """Show what other programs send, as the wall would show it, until you close it or press Ctrl-C.

    With `--to memory:` there is no window; a contact sheet is written at the end.
    """
    from emulator.clock import RealClock, SimulatedClock
    from emulator.errors import OutputClosedError
    from emulator.ports.opening import open_output
    from emulator.signal.capturefile import CaptureFile
    from harness.patterns.sources import named_source

    given = {
        "--serial": serial,
        "--e131": e131,
        "--spi": spi,
        "--capture": capture is not None,
        "--firmware": firmware is not None,
    }
    if sum(given.values()) != 1:
        raise typer.BadParameter(
            "give one of --serial, --e131, --spi, --capture FILE and --firmware ELF"
        )
    if spi and program is None:
        raise typer.BadParameter("--spi runs a program: give --program 'python3 show.py'")
    _judge_options(context, next(way for way, there in given.items() if there))
    wall = wall_of(display, fault)
    end_s = seconds(for_) if for_ else None
    places = to or ["window:"]
    end_as_by_ctrl_c()
    with contextlib.ExitStack() as closing:
        lost: OnLoss = "dark" if on_loss == "dark" else "hold"
        if on_loss not in ("hold", "dark"):
            lost = closing.enter_context(named_source(on_loss, wall))
        to_open = places if len(places) > 1 else places[0]
        output = closing.enter_context(open_output(to_open, wall))
        clock = RealClock()
        windows = _windows(output)
        for window in windows:
            way = (
                "the serial port" if serial else "E1.31" if e131 else program or capture or firmware
            )
            window.playing = f"pictures from {way}"

        def going_on() -> bool:
            output.pump()
            closed = any(window.state.closed for window in windows)
            return not closed and (end_s is None or clock.now_ns() < end_s * 1e9)

        try:
            if serial:
                _serial(output, wall, baud, name, clock, going_on)
            elif e131:
                _e131(output, wall, address or "e131:", lost, going_on)
            elif program is not None:
                from harness.cli.livespi import show_program

                show_program(program, output, wall, address or "spi:", clock, going_on)
            elif firmware is not None:
                show_firmware(
                    firmware, output, wall, going_on,
                    part=controller, mhz=mhz, pins=pins, name=name,
                )  # fmt: skip
            else:
                assert capture is not None
                hz = hertz(rate) if rate else None
                file = CaptureFile(capture, hz, tuple(bit or ()), packed, first_sample)
                time = SimulatedClock() if places == ["memory:"] else clock
                _replay(file, wall, output, time, going_on)
        except (OutputClosedError, KeyboardInterrupt):
            say("Closed.")
        if "memory:" in places:
            _sheet(output, wall)


def _judge_options(context: typer.Context, chosen: str) -> None:
    """A usage error for an option that belongs to another kind of input."""
    for name in sorted({name for names in _WAYS.values() for name in names}):
        ways = [way for way, names in _WAYS.items() if name in names]
        source = context.get_parameter_source(name)
        if chosen not in ways and source is not None and source.name == "COMMANDLINE":
            option = f"--{name.replace('_', '-')}"
            raise typer.BadParameter(f"{option} goes with {' or '.join(ways)}, not with {chosen}")


def _serial(
    output: Output,
    wall: Display,
    baud: int,
    name: Path | None,
    clock: Clock,
    going_on: Callable[[], bool],
) -> None:
    from emulator.canvas import line_bytes
    from emulator.ports.link import in_a_row
    from emulator.ports.serial.board import Board
    from emulator.ports.serial.output import serial_transport
    from emulator.ports.serial.terminal import SerialPty
    from harness.result.words import many

    board = Board(output, baud)
    link = in_a_row(serial_transport(wall, baud), output.link)
    with SerialPty(board, clock, name) as port:
        say(f"The board of {wall.name}: {port.path}")
        say(
            f"On this link {link.words}: at most {link.frames_per_s:.1f} frames/s,"
            f" {link.latency_s * 1e3:.2f} ms from the first byte until the LEDs show it."
        )
        if short := link.shortfall(wall.controller.frame_rate):
            say(short)
        try:
            port.run(going_on)
        finally:
            status = board.status
            say(
                f"{many(status.latched, 'frame')} latched, {status.dropped} dropped,"
                f" {many(status.bad, 'message')} could not be read."
            )
            if status.dropped and not status.latched:
                say(f"A frame is latched if it fits lines of {line_bytes(wall)} bytes or less.")


def _e131(
    output: Output, wall: Display, address: str, lost: OnLoss, going_on: Callable[[], bool]
) -> None:
    from emulator.ports.e131 import listen_e131
    from emulator.ports.e131.receiver import Tally

    tally = Tally()
    with contextlib.suppress(KeyboardInterrupt):  # the usual end
        listen_e131(
            output,
            address,
            on_loss=lost,
            until=lambda: not going_on(),
            tally=tally,
            say=lambda heard: say(f"Hearing {heard}, for {wall.name}."),
        )
    say(tally.describe())


def _replay(
    file: CaptureFile, wall: Display, output: Output, clock: Clock, going_on: Callable[[], bool]
) -> None:
    from emulator.ports.replay import replay
    from emulator.signal.capture import Capture, decode_capture, joint_verdict
    from harness.result.words import many

    verdicts: list[TimingVerdict] = []

    def decoded(stretches: Iterable[Mapping[str, Waveform]]) -> Iterator[Capture]:
        for waveforms in stretches:
            capture = decode_capture(waveforms, wall.chip)
            verdicts.extend(line.verdict for line in capture.lines if line.carried)
            yield capture

    with progress_bar(file.path) as progress:
        count = replay(decoded(file.stretches(wall.chip, progress)), output, clock, going_on)
    say(f"{many(count, 'frame')} of {file.path}; timing: {joint_verdict(verdicts)}.")


def _windows(output: Output) -> list[SurfaceOutput[Any]]:
    """The windows among the outputs, also those in browsers."""
    from emulator.ports.several import SeveralOutput
    from emulator.ports.surface import SurfaceOutput

    parts = output.outputs if isinstance(output, SeveralOutput) else (output,)
    return [part for part in parts if isinstance(part, SurfaceOutput)]


def _sheet(output: Output, wall: Display) -> None:
    import numpy as np

    from emulator.bench import cell_light, led_light
    from emulator.light.still import contact_sheet

    bench = output.bench
    frames, times_ns = bench.frames, bench.recorder.times_ns
    if not len(frames):
        say("No frame came.")
        return
    kept = np.linspace(0, len(frames) - 1, min(len(frames), _MOST_TILES)).round().astype(int)
    light = cell_light(led_light(frames[kept], wall.chip.channels), wall)
    words = [f"frame {n}, {times_ns[n] / 1e6:.1f} ms" for n in kept]
    path = result_file(None, f"{wall.name}-listen.png", wall, True, (".png",))
    write_png(contact_sheet(wall, list(zip(words, light, strict=True))), path)
    say(f"Contact sheet: {path}")
