"""A receiver of SPI for a display: transfers in, frames of all lines and pitfalls out."""

from __future__ import annotations

import errno
from collections import Counter

import numpy as np

from emulator.arrays import Bytes
from emulator.description.display import Display
from emulator.ports.spi.line import Burst, SpiLine
from emulator.ports.spi.pitfalls import Pitfall, Pitfalls
from emulator.ports.spi.server import SpiServer
from emulator.ports.spi.setup import Wires
from emulator.signal.timing import TimingVerdict

_NOTHING = np.zeros(0, np.uint8)


class SpiReceiver:
    """Joins the lines of a display: its frame is one frame of each line.

    timing: how many bursts got each verdict. transfers: how many came. last: the last burst of each
    line.
    """

    def __init__(self, display: Display, wires: Wires) -> None:
        self._display, self._wires = display, wires
        lines = range(len(wires.devices))
        self.lines = [SpiLine(display.chip, wires.controller.idle) for _ in lines]
        self._pitfalls = [Pitfalls(display, wires, line) for line in lines]
        self._frames: list[list[Bytes]] = [[] for _ in lines]
        self.timing: Counter[TimingVerdict] = Counter()
        self.transfers = 0
        self.last: dict[int, Burst] = {}

    def take(self, server: SpiServer, seconds: float) -> list[list[Bytes]]:
        """Wait for a transfer of a program, at most so long; returns the frames it completes.

        A frame is a list of the bytes, uint8 (B,), of each line.
        """
        came = server.take(seconds)
        while came is not None:
            lines, transfer = came
            self.transfers += 1
            for line in lines:
                self._ended(line, self.lines[line].add(transfer))
            came = server.take(0)
        return self._whole(resting=False)

    def rest(self) -> list[list[Bytes]]:
        """Nothing follows for a long time: returns the frames that still waited, as `take` does."""
        for number, line in enumerate(self.lines):
            self._ended(number, line.rest())
            if line.stuck:
                self._pitfalls[number].stuck(line)
        return self._whole(resting=True)

    @property
    def verdict(self) -> TimingVerdict:
        """The verdict on the timing of everything that came."""
        if self.timing["fail"]:
            return "fail"
        return "pass" if self.timing["pass"] and not self.timing["cannot tell"] else "cannot tell"

    def pitfalls(self, server: SpiServer) -> list[Pitfall]:
        """The pitfalls, first those that spoilt frames."""
        found = [*self._refused(server), *self._missing(server)]
        found += [one for line in self._pitfalls for one in line.found.values()]
        return sorted(found, key=lambda one: not one.spoils)

    def _ended(self, line: int, bursts: list[Burst]) -> None:
        for burst in bursts:
            self._pitfalls[line].note(burst)
            if len(burst.frames):
                self.timing[burst.timing.verdict] += 1
                self.last[line] = burst
            self._frames[line] += burst.whole_bytes()

    def _whole(self, resting: bool) -> list[list[Bytes]]:
        """Frames of all lines; at rest, or once a line has another frame, lines may be missing."""
        whole = []
        while any(self._frames) and (
            all(self._frames) or resting or any(len(line) > 1 for line in self._frames)
        ):
            whole.append([line.pop(0) if line else _NOTHING for line in self._frames])
        return whole

    def _refused(self, server: SpiServer) -> list[Pitfall]:
        bufsiz, found = self._wires.bufsiz, []
        for (call, value, why), count in server.refused.items():
            times = f"{count} time{'s' * (count != 1)}"
            raise_it = f"spidev.bufsiz=65536 on the kernel's command line (now {bufsiz})"
            if why == "OverflowError":
                what = f"{call} got {value} bytes and takes 4096: OverflowError"
                fix = f"send by writebytes2 or xfer3, and set {raise_it}."
            elif why == "wrapped":
                what = f"{call} counts in 16 bits: of {value} bytes it sent {int(value) & 0xFFFF}"
                fix = f"send by writebytes2 or xfer3, and set {raise_it}."
            elif why == errno.errorcode[errno.EMSGSIZE]:
                what = f"{call} got {value} bytes, more than bufsiz: EMSGSIZE, Message too long"
                fix = f"set {raise_it}, or send by writebytes2 or xfer3."
            else:
                what = f"{call} = {value} was refused: {why}"
                fix = f"leave it out: the controller {self._wires.name} does not support it."
            found.append(Pitfall("refused", what, times, fix, True))
        return found

    def _missing(self, server: SpiServer) -> list[Pitfall]:
        there = ", ".join(device.path for device in self._wires.devices)
        return [
            Pitfall(
                "device",
                f"the program opened {path}, but there is only {there}: No such file or directory",
                "one device a line",
                "open that one, or name yours: --address spi:?lines=0.1",
                True,
            )
            for path in sorted(server.missing)
        ]
