"""How a controller drives a display: pins, memory, baud rate and frame rate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from emulator.canvas import line_bytes
from emulator.description.chips import Clocked, OneWire
from emulator.description.display import Display
from emulator.ports.firmware.controller import Controller, FirmwareError
from emulator.ports.firmware.cycles import LEAST, Cycles, one_wire_cycles
from emulator.ports.link import Link
from emulator.ports.serial.board import BITS_PER_BYTE
from emulator.ports.serial.output import serial_transport
from emulator.ports.serial.protocol import MOST_DATA, MOST_HOLD, MOST_LINE, MOST_LINES, Ack, encode

RING = 256  # bytes from the interrupt to the main loop: take.S needs a page
# Measured with avr-gcc 5.4 and simavr; tests/outside/test_firmware_project.py checks them.
_FLASH, _FLASH_A_LINE = 3_400, 50  # bytes, at most
_FLASH_A_CYCLE = 16  # of a bit beyond the least: onewire.S waits by a `nop` in each of 8 bits
_RAM, _RAM_A_LINE = 80, 16  # bytes of variables besides ring, message and frame, at most
_STACK, _STACK_A_LINE = 120, 4  # bytes, at most, with the answers
_MESSAGE = 12  # bytes of a message around its LED data, and of its state
_TAKEN = 10  # cycles of take.S itself for a byte
_HANDLED = 73  # cycles of the main loop for a byte; zeros take most
_SUMMED = 24  # cycles for a byte of the frame's CRC, before it is shown
_PIN_BIT = 35  # cycles of clocked.c for a bit, without its waits
# Of the baud rate, so that 16 MHz can make 115200 (2.1 %). ATmega datasheets (from memory): a
# receiver at double speed tolerates about 4 %; 1.5 % are recommended for both ends together.
_MOST_ERROR = 0.022
_BAUDS = (2_000_000, 1_250_000, 1_000_000, 500_000, 250_000, 115_200, 57_600)
_DIVIDERS = {2: 4, 4: 0, 8: 5, 16: 1, 32: 6, 64: 2, 128: 3}  # of the SPI clock: SPI2X, SPR1, SPR0


@dataclass(frozen=True)
class LinePins:
    """The pins of a line: data, and clock if the chip has one."""

    data: str
    clock: str | None = None


@dataclass(frozen=True)
class Plan:
    """A display on a controller.

    hz: its clock. baud: as given or chosen. hold: tenths of a second of silence until the LEDs go
    dark; 0: never. most_data: LED bytes in a message. spi_line: the number of the line on the SPI
    port; None: no line.
    """

    display: Display
    controller: Controller
    hz: int
    baud: int
    hold: int
    pins: tuple[LinePins, ...]
    most_data: int
    cycles: Cycles | None
    spi_line: int | None
    spi_divider: int | None

    @property
    def room(self) -> tuple[int, ...]:
        """Bytes of a frame on each line."""
        return line_bytes(self.display)

    @property
    def flash(self) -> int:
        """Bytes of flash, at most."""
        waits = self.cycles.bit - sum(LEAST) if self.cycles else 0
        return _FLASH + _FLASH_A_LINE * len(self.pins) + _FLASH_A_CYCLE * waits

    @property
    def ram(self) -> int:
        """Bytes of RAM, stack included, at most."""
        return _ram(self.display, self.most_data)

    @property
    def spi_rate(self) -> int:
        """The bits SPI2X, SPR1 and SPR0 of the SPI port."""
        assert self.spi_divider is not None
        return _DIVIDERS[self.spi_divider]

    @property
    def clock_hz(self) -> int:
        """The highest frequency of the clock lines. [Hz]"""
        return _clock_hz(self.display)

    @property
    def rest_us(self) -> int:
        """How long the lines rest between frames. [µs]"""
        wire = self.display.chip.wire
        rest_ns = wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns
        return math.ceil(rest_ns / 1000)

    @property
    def lines_s(self) -> float:
        """Time of a whole frame on the lines, one after the other, with the rest. [s]"""
        cycles = sum(8 * count * self._bit_cycles(number) for number, count in enumerate(self.room))
        return cycles / self.hz + self.rest_us / 1e6

    def _bit_cycles(self, line: int) -> float:
        if self.cycles is not None:
            return self.cycles.bit
        if line == self.spi_line and self.spi_divider is not None:
            return self.spi_divider + 11 / 8  # eleven cycles from byte to byte
        return 6 * math.ceil(self.hz / 6 / self.clock_hz) + _PIN_BIT  # two waits of 3-cycle loops

    @property
    def link(self) -> Link:
        """The limits of the serial port and this firmware.

        A frame comes over the link; the firmware checks its sum, puts it on the lines one after the
        other, and acknowledges it. Then the next one may come. The time of the computer's own port
        is not included.
        """
        transport = serial_transport(self.display, self.baud, self.most_data)
        answer_s = len(encode(Ack(0, 0, 1))) * BITS_PER_BYTE / self.baud
        summed_s = sum(self.room) * _SUMMED / self.hz
        frame_s = 1 / transport.frames_per_s + summed_s + self.lines_s + answer_s
        return Link(
            1 / frame_s,
            frame_s - answer_s,
            f"{transport.words}, then {self.lines_s * 1e3:.2f} ms on the LED lines",
            "raise the baud rate, or share the LEDs among several controllers"
            if self.baud < fitting_bauds(self.display, self.controller, self.hz)[0]
            else "share the LEDs among several controllers",
        )


def make_plan(
    display: Display,
    controller: Controller,
    mhz: float,
    *,
    baud: int | None = None,
    hold: int = 100,
    pins: Sequence[str] | None = None,
) -> Plan:
    """The plan for a display on a controller.

    mhz: its clock. baud: None: the fastest with which it always keeps up. hold: tenths of a second.
    pins: one a line ('B0'), or data and clock ('B3/B5') if the chip has a clock; None: chosen.
    Raises FirmwareError if flash, RAM, pins, the baud rate or the clock are not enough.
    """
    hz = round(mhz * 1e6)
    if hz not in (16_000_000, 20_000_000):
        raise FirmwareError(
            f"a clock of {mhz:g} MHz", fix="use 16 or 20 MHz, for which this is proven."
        )
    if not 0 <= hold <= MOST_HOLD:
        raise FirmwareError(
            f"a hold time of {hold / 10:g} s", fix=f"give 0 (never dark) to {MOST_HOLD / 10:g} s."
        )
    wire = display.chip.wire
    chosen = _pins(display, controller, pins)
    spi_line, divider = None, None
    if isinstance(wire, Clocked):
        ports = [(pin.data, pin.clock) for pin in chosen]
        if (controller.mosi, controller.sck) in ports:
            spi_line = ports.index((controller.mosi, controller.sck))
            divider = _divider(display, hz)
    plan = Plan(
        display,
        controller,
        hz,
        _baud(display, controller, hz, baud),
        hold,
        chosen,
        _most_data(display, controller),
        one_wire_cycles(display.chip, hz) if isinstance(wire, OneWire) else None,
        spi_line,
        divider,
    )
    if plan.flash > controller.flash:
        raise FirmwareError(
            f"the firmware takes {plan.flash} bytes of flash, {controller.name} has"
            f" {controller.flash}",
            fix="use a controller with more flash.",
        )
    return plan


def default_pins(display: Display, controller: Controller) -> tuple[LinePins, ...]:
    """The pins of the lines if you name none; the first clocked line gets the SPI port.

    Raises FirmwareError if there are too few.
    """
    count = len(display.wiring.line_lengths)
    clocked = isinstance(display.chip.wire, Clocked)
    free = list(controller.pins)
    chosen: list[LinePins] = []
    if clocked:
        chosen.append(LinePins(controller.mosi, controller.sck))
        free = [p for p in free if p not in (controller.mosi, controller.sck, controller.ss)]
    while len(chosen) < count and len(free) > clocked:
        data = free.pop(0)
        chosen.append(LinePins(data, free.pop(0) if clocked else None))
    if len(chosen) < count:
        raise FirmwareError(
            f"'{display.name}' has {count} lines, {controller.name} has pins for {len(chosen)}",
            fix="use another controller, or share the LEDs among fewer lines.",
        )
    return tuple(chosen[:count])


def _pins(
    display: Display, controller: Controller, names: Sequence[str] | None
) -> tuple[LinePins, ...]:
    if names is None:
        return default_pins(display, controller)
    chosen = read_pins(display, names)
    used = [name for pin in chosen for name in (pin.data, pin.clock) if name is not None]
    if (controller.mosi, controller.sck) in [(pin.data, pin.clock) for pin in chosen]:
        used.append(controller.ss)
    for name in used:
        if name not in controller.pins or used.count(name) > 1:
            why = "is used twice" if used.count(name) > 1 else "is not free for LED lines"
            if name == controller.ss and used.count(name) > 1:
                why = "is used twice: the SPI port needs it as well"
            raise FirmwareError(
                f"pin {name} of {controller.name} {why}",
                fix=f"use others of {_ranges(controller.pins)}.",
            )
    return chosen


def read_pins(display: Display, names: Sequence[str]) -> tuple[LinePins, ...]:
    """The pins with these names: 'B0', or 'B3/B5' for data and clock. Raises FirmwareError."""
    clocked = isinstance(display.chip.wire, Clocked)
    count = len(display.wiring.line_lengths)
    parts = [name.strip().upper().split("/") for name in names]
    if len(names) != count or any(len(part) != 1 + clocked for part in parts):
        form = "B3/B5, data and clock" if clocked else "B0"
        raise FirmwareError(
            f"pins {','.join(names)} for {count} line(s) of {display.chip.part}",
            fix=f"name one for each line, as {form}.",
        )
    return tuple(LinePins(*part) for part in parts)


def _ranges(pins: Sequence[str]) -> str:
    """B0, B1, B2, C0 → 'B0-B2 C0-C0'."""
    ports: dict[str, list[str]] = {}
    for pin in pins:
        ports.setdefault(pin[0], []).append(pin)
    return ", ".join(f"{found[0]}-{found[-1]}" for found in ports.values())


def _clock_hz(display: Display) -> int:
    wire = display.chip.wire
    assert isinstance(wire, Clocked)
    return min(round(display.controller.clock_mhz * 1e6), wire.most_hz)


def _divider(display: Display, hz: int) -> int:
    for divider in _DIVIDERS:
        if hz / divider <= _clock_hz(display):
            return divider
    raise FirmwareError(
        f"a clock of {_clock_hz(display) / 1e6:g} MHz, but the lowest of the SPI port is"
        f" {hz / 128e6:g} MHz",
        fix="raise clock_mhz under [controller], or name other pins.",
    )


def baud_error(hz: int, baud: int) -> float:
    """The error of the nearest rate that a clock can make, as a share of the rate."""
    divider = max(round(hz / 8 / baud), 1)
    return abs(hz / 8 / divider / baud - 1)


def keeps_up(controller: Controller, hz: int, baud: int) -> float:
    """The most bytes of a frame that it can take at a baud rate, whatever they are; inf: any.

    Bytes that come faster than the main loop handles them wait in the ring.
    """
    left = hz * BITS_PER_BYTE / baud - controller.interrupt_cycles - _TAKEN
    if left >= _HANDLED:
        return math.inf
    return 0 if left <= 0 else math.floor((RING - 1) / (1 - left / _HANDLED) * 0.95)


def fitting_bauds(display: Display, controller: Controller, hz: int) -> list[int]:
    """Common baud rates that the clock can make and that it keeps up with, fastest first."""
    frame = sum(line_bytes(display))
    fit = [rate for rate in _BAUDS if baud_error(hz, rate) <= _MOST_ERROR]
    return [rate for rate in fit if keeps_up(controller, hz, rate) >= frame]


def _baud(display: Display, controller: Controller, hz: int, asked: int | None) -> int:
    frame = sum(line_bytes(display))
    fit = fitting_bauds(display, controller, hz)
    if asked is None:
        return fit[0]
    others = ", ".join(map(str, fit))
    if baud_error(hz, asked) > _MOST_ERROR or asked < 300:
        raise FirmwareError(
            f"{hz / 1e6:g} MHz cannot make {asked} baud within {_MOST_ERROR:.1%}",
            fix=f"use one of {others}, or the other clock.",
        )
    if keeps_up(controller, hz, asked) < frame:
        raise FirmwareError(
            f"at {asked} baud {controller.name} at {hz / 1e6:g} MHz keeps up with frames of"
            f" {keeps_up(controller, hz, asked):g} bytes, and '{display.name}' has {frame}",
            fix=f"use one of {others}.",
        )
    return asked


def _ram(display: Display, most_data: int) -> int:
    lines = len(display.wiring.line_lengths)
    fixed = _RAM + RING + _MESSAGE + _STACK + len(display.chip.part)
    return fixed + most_data + sum(line_bytes(display)) + (_RAM_A_LINE + _STACK_A_LINE) * lines


def _most_data(display: Display, controller: Controller) -> int:
    """LED bytes of the longest messages for which there is RAM. Raises FirmwareError."""
    room = line_bytes(display)
    if len(room) > MOST_LINES or sum(room) > MOST_LINE:
        raise FirmwareError(
            f"'{display.name}' has {len(room)} lines and {sum(room)} bytes in a frame; the serial"
            f" protocol carries {MOST_LINES} lines, the receiver {MOST_LINE} bytes",
            fix="share the LEDs among several displays.",
        )
    for most_data in (MOST_DATA, 120, 60, 30):
        if _ram(display, most_data) <= controller.ram:
            return most_data
    needed = _ram(display, 30)
    spare = controller.ram - needed + sum(room)
    fit = max(spare // display.chip.bytes_per_led, 0)
    raise FirmwareError(
        f"the firmware takes {needed} bytes of RAM for '{display.name}' ({sum(room)} of them for a"
        f" frame of {display.leds} LEDs), {controller.name} has {controller.ram}: room for about"
        f" {fit} LEDs",
        fix="use a controller with more RAM, or share the LEDs among several.",
    )
