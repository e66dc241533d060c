"""An emulated SPI device for a Python program, through a replacement of the module spidev."""

from __future__ import annotations

from collections.abc import Callable

from emulator.arrays import Bytes
from emulator.canvas import to_wire
from emulator.clock import Clock, queued_ns
from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.link import wire_link
from emulator.ports.spi.pitfalls import Pitfall
from emulator.ports.spi.receiver import SpiReceiver
from emulator.ports.spi.server import SpiServer
from emulator.ports.spi.setup import only_known, read_wires
from emulator.signal.timing import TimingVerdict
from harness.result.words import counted
from harness.subject.reception import Arrived, Reception, Tap, Trouble

_STEP_S = 0.002
_QUIET_NS = 15_000_000  # after so long without a transfer, the line is at rest


class SpiReception(Reception):
    """An emulated /dev/spidev… for each line; a program finds it through its module search path.

    one_a_picture: everything between two rests is one frame, even if the LEDs took it as several;
    the frame is what they show at the end. If False, each frame counts as it comes, and transfers
    last as long as on the wire. Raises AddressError.
    """

    settle_ns = 0
    place = "the module spidev"
    hint = (
        "let it import spidev in the Python that --program starts, and send a frame. sudo, python"
        " -I and python -E hide PYTHONPATH, which leads to the emulated spidev."
    )

    def __init__(
        self,
        display: Display,
        clock: Clock,
        take: Callable[[Arrived], None],
        address: str = "spi:",
        one_a_picture: bool = False,
    ) -> None:
        parsed = Address.parse(address)
        only_known(parsed, sending=False)
        wires = read_wires(parsed, display)
        self._clock, self._one_a_picture = clock, one_a_picture
        self._display, self._take = display, take
        self._came: list[Arrived] = []
        self._tap = Tap(display, clock, self._came.append)
        self._heard_ns: int | None = None  # of the last transfer, while its line is not at rest
        self._queued_ns = 0
        self._devices = [device.path for device in wires.devices]
        self._receiver = SpiReceiver(display, wires)
        self._server = SpiServer(wires, pace=not one_a_picture)
        self.environment = self._server.environment
        self.link = wire_link(display)
        devices = ", ".join(device.path for device in wires.devices)
        gated = "; assumes that chip select gates the devices of one bus" if wires.gated else ""
        self.words = f"{devices} at the SPI controller {wires.name}, for {display.name}{gated}"

    @property
    def verdict(self) -> TimingVerdict:
        """The verdict on the timing of MOSI, or of SCLK for chips with a clock line."""
        return self._receiver.verdict

    @property
    def pitfalls(self) -> list[Pitfall]:
        """What damaged frames, or would damage them."""
        return self._receiver.pitfalls(self._server)

    def step(self) -> None:
        before = self._receiver.transfers
        for frame in self._receiver.take(self._server, _STEP_S):
            self._tap.send_frame(frame)
        now_ns = self._clock.now_ns()
        if self._receiver.transfers > before:
            self._heard_ns, self._queued_ns = now_ns, queued_ns()
        elif self._heard_ns is not None and now_ns - self._heard_ns >= _QUIET_NS:
            for frame in self._receiver.rest():
                self._tap.send_frame(frame)
            if self._one_a_picture and self._came:
                # From now on, time that this thread waits for a processor is not the program's.
                waited_ns = queued_ns() - self._queued_ns
                self._came[:] = [self._joined(self._heard_ns + waited_ns)]
            self._heard_ns = None
        if not self._one_a_picture or self._heard_ns is None:
            for arrived in self._came:
                self._take(arrived)
            self._came.clear()

    def settle(self) -> None:
        """The program has ended: take what it sent, and end with the line at rest."""
        while self._heard_ns is not None:
            self.step()

    def _joined(self, time_ns: int) -> Arrived:
        """What came for a picture as one frame, at the time of its last transfer."""
        last = self._came[-1]
        lines: tuple[Bytes, ...] = last.lines
        if len(self._came) > 1:
            lines = tuple(to_wire(self._tap.bench.drives, self._display))
        return Arrived(time_ns, lines, last.sent)

    def trouble(self) -> tuple[Trouble, ...]:
        alike: dict[Trouble, list[int]] = {}  # and the lines on which it was found
        for one in self.pitfalls:
            told = Trouble(one.what, one.fix.removesuffix("."), one.severity, one.evidence)
            alike.setdefault(told, []).extend([] if one.line is None else [one.line])
        found = [
            told._replace(where=counted("line", sorted(lines)))
            if 0 < len(lines) < len(self._receiver.lines)
            else told
            for told, lines in alike.items()
        ]
        found += self._silent()
        if self._receiver.timing["fail"] and not any(t.severity == "fault" for t in found):
            found.append(self._out_of_tolerance())
        return tuple(found)

    def _silent(self) -> list[Trouble]:
        """Lines whose device got nothing, while another one's did."""
        heard = self._receiver.last
        return [
            Trouble(
                f"nothing was sent to {path}, the device of line {line}",
                f"open {path} too; a second device of the same bus shares its MOSI",
                where=f"line {line}",
            )
            for line, path in enumerate(self._devices)
            if heard and line not in heard
        ]

    def _out_of_tolerance(self) -> Trouble:
        burst = next(b for b in self._receiver.last.values() if b.timing.verdict == "fail")
        wrong = ", ".join(
            f"{s.name} {s.min_ns} to {s.max_ns} ns"
            for s in burst.timing.symbols
            if s.verdict == "fail"
        )
        line = "MOSI" if isinstance(self._display.chip.wire, OneWire) else "SCLK"
        return Trouble(
            f"the timing of {line} is out of tolerance for {self._display.chip.part}: {wrong}",
            "compare speed and encoding with emulator/ports/spi/README.md",
            damages=False,
        )

    def close(self) -> None:
        self._server.close()
