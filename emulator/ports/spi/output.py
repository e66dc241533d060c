"""The SPI output: frames to the MOSI pin of a small computer, real or emulated."""

from __future__ import annotations

import logging
from dataclasses import replace
from itertools import zip_longest
from typing import ClassVar

import numpy as np

from emulator.arrays import Bytes
from emulator.canvas import line_bytes
from emulator.clock import RealClock
from emulator.description.display import Display
from emulator.errors import laid_out
from emulator.ports.address import Address
from emulator.ports.link import Link
from emulator.ports.output import Output
from emulator.ports.remote import RemoteOutput
from emulator.ports.spi.controller import in_mhz
from emulator.ports.spi.device import RealDevice, real_bufsiz
from emulator.ports.spi.kernel import Bus, OpenDevice
from emulator.ports.spi.line import Burst, SpiLine
from emulator.ports.spi.sending import spi_bytes
from emulator.ports.spi.setup import (
    Sending,
    Wires,
    only_known,
    out_of_tolerance,
    read_sending,
    read_wires,
)
from emulator.signal.spi import Transfer
from emulator.strip import Sent

_log = logging.getLogger("foreglow.output")


class SpiOutput(RemoteOutput):
    """Sends frames through /dev/spidev…, one device a line, one after the other.

    `counts` says how many frames were sent. The log `foreglow.output` warns if the controller's
    true clock makes times outside the chip's datasheet, and of frames longer than bufsiz.

    Raises SpiError if the library is missing or a device cannot be opened.
    """

    def __init__(self, display: Display, wires: Wires, sending: Sending) -> None:
        super().__init__(display, RealClock())
        self.sent = self.lost = 0
        self._wires, self._sending = wires, sending
        self._devices: list[RealDevice] = []
        warn(display, wires, sending)
        try:
            for device in wires.devices:
                self._devices.append(RealDevice(device, sending.hz))
        except BaseException:
            self.close()
            raise

    @classmethod
    def open(cls, address: Address, display: Display) -> Output:
        """spi:///dev/spidev0.0?hz=2400000&bits=3: the device of each line, separated by commas.

        Without a device it is emulated. hz: the clock to ask for. bits: SPI bits for each LED bit
        (3, 4, 5 or 8). Without them, the values that suit the chip. Options of the controller: see
        `read_wires`. Raises AddressError and SpiError.
        """
        only_known(address, sending=True)
        wires = read_wires(address, display)
        if address.place and "bufsiz" not in address.options:
            wires = replace(wires, bufsiz=real_bufsiz())
        sending = read_sending(address, display, wires.controller)
        return cls(display, wires, sending) if address.place else Emulated(display, wires, sending)

    @property
    def transport(self) -> Link:
        """The bits of all lines, one after the other, at the clock of the controller."""
        return spi_transport(self.bench.display, self._wires, self._sending)

    def _put(self, lines: list[Bytes]) -> None:
        chip = self.bench.display.chip
        try:
            for device, line in zip(self._devices, lines, strict=True):
                if line.size:
                    device.write(spi_bytes(line, chip, self._sending, self._wires))
        except OSError as error:
            if not self.lost:
                _log.warning("frames are lost: %s", error)
            self.lost += 1
            return
        self.sent += 1

    def _release(self) -> None:
        for device in self._devices:
            device.close()


class Emulated(RemoteOutput):
    """The same without a device: the signal of MOSI is decoded as the LEDs would decode it.

    Its bench shows the result, on simulated time. bursts: those of the last frame, for each line,
    with their timing.
    """

    returns: ClassVar[bool] = False

    def __init__(self, display: Display, wires: Wires, sending: Sending) -> None:
        super().__init__(display)
        self.bursts: list[list[Burst]] = []
        self._wires, self._sending = wires, sending
        warn(display, wires, sending)
        buses = {device.bus: Bus() for device in wires.devices}
        self._open = [OpenDevice(d, wires, buses[d.bus]) for d in wires.devices]
        self._lines = [SpiLine(display.chip, wires.controller.idle) for _ in wires.devices]

    @property
    def transport(self) -> Link:
        """As SpiOutput.transport."""
        return spi_transport(self.bench.display, self._wires, self._sending)

    def _put(self, lines: list[Bytes]) -> None:
        chip, now_ns = self.bench.display.chip, self.bench.clock.now_ns()
        self.bursts = []
        for device, line, data in zip(self._open, self._lines, lines, strict=True):
            sent = spi_bytes(data, chip, self._sending, self._wires).tobytes()
            self.bursts.append([])
            device.set_hz(self._sending.hz)
            for begin in range(0, len(sent), self._wires.bufsiz):
                piece = device.message(sent[begin : begin + self._wires.bufsiz], now_ns)
                assert isinstance(piece, Transfer)  # it is no longer than bufsiz
                self.bursts[-1] += line.add(piece)
            self.bursts[-1] += line.rest()

    def _show(self, lines: list[Bytes]) -> Sent:
        """Show the frames that the LEDs would read from the signal: none, one or several.

        The result of the last one is returned.
        """
        frames = [[one for burst in line for one in burst.whole_bytes()] for line in self.bursts]
        nothing = np.zeros(0, np.uint8)
        sent = None
        for came in zip_longest(*frames, fillvalue=nothing):
            sent = self.bench.send_frame(list(came))
        return sent if sent is not None else self.bench.send_frame([nothing] * len(frames))

    def _release(self) -> None:
        return


def spi_transport(display: Display, wires: Wires, sending: Sending) -> Link:
    """The limits of SPI for a display: all lines' bits at the controller's clock, and gaps."""
    hz = wires.controller.real_hz(sending.hz)
    sizes = [
        spi_bytes(np.zeros(count, np.uint8), display.chip, sending, wires).size
        for count in line_bytes(display)
    ]
    pieces = sum(-(-size // wires.bufsiz) for size in sizes)
    frame_s = sum(sizes) * 8 / hz + pieces * wires.gap_ns / 1e9
    return Link(
        1 / frame_s,
        frame_s,
        f"a frame takes {sum(sizes)} bytes, {frame_s * 1e3:.2f} ms, by SPI at {in_mhz(hz)}",
        "share the LEDs among more small computers",
    )


def warn(display: Display, wires: Wires, sending: Sending) -> None:
    """Log times outside the chip's datasheet, and frames longer than the longest message."""
    words = [out_of_tolerance(sending, display, wires.controller)]
    longest = max(
        spi_bytes(np.zeros(count, np.uint8), display.chip, sending, wires).size
        for count in line_bytes(display)
    )
    if longest > wires.bufsiz:
        parts = -(-longest // wires.bufsiz)
        words.append(
            laid_out(
                f"a frame of {longest} bytes goes in {parts} transfers: bufsiz is {wires.bufsiz},"
                " and the pause between two may end the frame",
                fix=f"set spidev.bufsiz={1 << (longest - 1).bit_length()} on the kernel's command"
                " line.",
            )
        )
    for one in filter(None, words):
        _log.warning("%s", one)
