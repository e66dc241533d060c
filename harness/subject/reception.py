"""The receiver for a program: an emulated board on a pseudo-terminal, or an E1.31 receiver.

Both take frames as hardware would, and pass each on with its time of arrival.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import NamedTuple

from numpy.typing import ArrayLike

from emulator import canvas
from emulator.arrays import Bytes
from emulator.bench import Bench, WireData
from emulator.canvas import line_bytes
from emulator.clock import Clock, SimulatedClock
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.e131.discard import Discard
from emulator.ports.e131.intake import Intake
from emulator.ports.e131.receiver import Receiver
from emulator.ports.e131.setup import read_setup
from emulator.ports.link import Link, in_a_row, wire_link
from emulator.ports.output import Output
from emulator.ports.serial.board import Board
from emulator.ports.serial.output import serial_transport
from emulator.ports.serial.protocol import TO_BOARD, Data, Decoder
from emulator.ports.serial.terminal import SerialPty
from emulator.strip import Sent
from harness.result.finding import Severity
from harness.result.words import many

BAUD = 2_000_000
_STEP_NS = 1_000_000  # between reads of the pseudo-terminal
_STEP_S = 0.005  # for which a step may wait for a datagram
# By the standard, every source sends some of these: 6.2.6 (the end is sent three times) and 4.3.
_EXPECTED = (Discard.ENDED, Discard.DISCOVERY)
_E131_SETTLE_NS = 25_000_000  # beyond the 10 ms in which the receiver gathers universes
_WHOLE = "send whole frames, of as many bytes as the lines take (`foreglow map` lists them)"
_SYNCHRONIZE = "synchronize by the address that the data packets name, or name none (0) in them"
_LAYOUT = "use the packet layout of ANSI E1.31-2018"
_FIX = {  # else the layout is wrong
    Discard.START_CODE: "send levels with start code 0",
    Discard.PREVIEW: "clear the preview bit in the options",
    Discard.SEQUENCE: "increase the sequence number of each universe by one for each packet; a"
    " network that delivers packets late or twice has the same effect",
    Discard.OUTRANKED: "end the other source, or give this one a higher priority",
    Discard.CROWDED: "end the sources that you do not need",
    Discard.SYNC_ADDRESS: _SYNCHRONIZE,
}


class Trouble(NamedTuple):
    """Data that was not a whole frame, or that damages frames.

    damages: whether LEDs then show something else than what was sent.
    """

    what: str
    fix: str
    severity: Severity = "fault"
    evidence: str = "counted at the receiving end"
    where: str = "all lines"
    damages: bool = True


@dataclass(frozen=True)
class Arrived:
    """A frame that has come: the time on the listener's clock, bytes of each line, and `sent`.

    The LEDs' wire runs on simulated time: `sent` says what happened to the frame there.
    """

    time_ns: int
    lines: tuple[Bytes, ...]
    sent: Sent


class Reception(Closing):
    """Takes what a program sends; use it as a context manager.

    placeholder: stands for the place in a program's command line. place: what replaces it.
    environment: variables for the program. words: its description for the user. hint: what to do if
    nothing comes. link: what the link to the LEDs can carry. settle_ns: how long a frame must last
    without another one before it is certainly whole.
    """

    placeholder: str = ""
    place: str
    hint: str = "start it before the time is over, and let it send to the place printed."
    words: str
    link: Link
    settle_ns: int
    environment: Mapping[str, str] = MappingProxyType({})
    carry_ns = 0  # how long a whole frame takes to arrive here

    @abstractmethod
    def step(self) -> None:
        """Take the data that has come, or wait a few ms for some."""

    @abstractmethod
    def trouble(self) -> tuple[Trouble, ...]:
        """Data so far that was not a whole frame; empty if there was none."""

    @abstractmethod
    def close(self) -> None:
        """Release the port; a second call does nothing."""


class BoardReception(Reception):
    """The board of the serial protocol on a pseudo-terminal, no faster than its baud rate."""

    placeholder = "{port}"
    settle_ns = 0

    def __init__(
        self, display: Display, clock: Clock, take: Callable[[Arrived], None], baud: int = BAUD
    ) -> None:
        self._clock = clock
        self._board = _MeasuringBoard(Tap(display, clock, take), baud)
        self._port = SerialPty(self._board, clock)
        self.place = self._port.path
        serial = serial_transport(display, baud)
        self.carry_ns = round(1e9 / serial.frames_per_s)
        self.link = in_a_row(serial, wire_link(display))
        self.words = f"the board of {display.name} on {self.place}, {baud} baud"

    def step(self) -> None:
        self._port.step()
        self._clock.wait_until(self._clock.now_ns() + _STEP_NS)

    def trouble(self) -> tuple[Trouble, ...]:
        status, board = self._board.status, self._board
        told = []
        if status.bad:
            stretches = "stretch of bytes was" if status.bad == 1 else "stretches of bytes were"
            told.append(f"{status.bad} {stretches} not a message of the serial protocol")
        if status.dropped:
            frames = "frame was" if status.dropped == 1 else "frames were"
            told.append(f"{status.dropped} {frames} dropped: incomplete, or of the wrong length")
        for line, ends in sorted(board.ends.items()):
            if line >= len(board.room):
                told.append(f"data came for line {line}; the last line is {len(board.room) - 1}")
            elif ends > board.room[line]:
                over = ends - board.room[line]
                told.append(f"line {line} takes {board.room[line]} bytes and got {over} too many")
        if board.heard and not (status.bad or status.dropped or status.latched):
            told.append(f"{many(board.heard, 'byte')} came, without a whole frame")
        return tuple(Trouble(what, _WHOLE) for what in told)

    def close(self) -> None:
        self._port.close()


class E131Reception(Reception):
    """A receiver of ANSI E1.31. Raises AddressError if it cannot receive at the address."""

    placeholder = "{e131}"
    settle_ns = _E131_SETTLE_NS

    def __init__(
        self, display: Display, clock: Clock, take: Callable[[Arrived], None], address: str
    ) -> None:
        parsed = Address.parse(address)
        setup = read_setup(parsed, display)
        self._display, self._clock = display, clock
        self._tap = Tap(display, clock, take)
        self._receiver = Receiver(setup.packing)
        self._setup = setup
        self._intake = Intake(setup, parsed)
        self.place = f"{setup.host}:{setup.port}"
        self.link = wire_link(display)
        self.words = setup.heard

    def step(self) -> None:
        datagrams = self._intake.receive(_STEP_S)
        now_ns = self._clock.now_ns()
        frames = self._receiver.advance(now_ns)
        for datagram in datagrams:
            frames += self._receiver.receive(datagram, now_ns)
        for frame in frames:
            self._tap.send_frame(canvas.to_wire(frame, self._display))

    def trouble(self) -> tuple[Trouble, ...]:
        tally, missed = self._receiver.tally, self._intake.missed
        fix = {
            Discard.UNIVERSE: f"send to {self._setup.universes}, or receive others with"
            " --address e131:?universe=…",
            **_FIX,
        }
        told = [
            Trouble(f"{many(count, 'datagram')} discarded: {why}", fix.get(why, _LAYOUT))
            for why, count in tally.discards.items()
            if why not in _EXPECTED
        ]
        if tally.used and not tally.frames:
            waiting = "levels wait for a synchronization packet, but none came"
            told.append(Trouble(waiting, _SYNCHRONIZE))
        if missed:
            over = f"{many(missed, 'datagram')} came too fast for this computer"
            told.append(Trouble(over, "send fewer frames a second"))
        return tuple(told)

    def close(self) -> None:
        self._intake.close()


class _MeasuringBoard(Board):
    """A board that also counts what came, and where the data of each line ended at most."""

    def __init__(self, output: Output, baud: int) -> None:
        super().__init__(output, baud)
        self.room = line_bytes(output.bench.display)
        self.heard = 0
        self.ends: dict[int, int] = {}
        self._measuring = Decoder(TO_BOARD)

    def look(self, now_ns: int) -> None:
        """Never go dark: the program has not sent such a frame."""

    def feed(self, data: bytes, now_ns: int) -> None:
        self.heard += len(data)
        for message in self._measuring.one_by_one(data):
            if isinstance(message, Data):
                ends = message.offset + len(message.data)
                self.ends[message.line] = max(ends, self.ends.get(message.line, 0))
        super().feed(data, now_ns)


class Tap(Output):
    """The output of a board or receiver: passes each frame on, and keeps none."""

    def __init__(self, display: Display, clock: Clock, take: Callable[[Arrived], None]) -> None:
        self.bench = Bench(display, keep=1)
        self._clock, self._take = clock, take
        self._canvas = canvas.Canvas(display)

    def send(self, picture: ArrayLike) -> Sent:
        return self.send_frame(self._canvas.wire(picture, self._clock.now_ns()))

    def send_frame(self, data: WireData) -> Sent:
        time_ns = self._clock.now_ns()
        wire = self.bench.clock
        assert isinstance(wire, SimulatedClock)
        wire.wait_until(time_ns)
        lines = self.bench.split(data)
        sent = self.bench.send_frame(lines)
        self._take(Arrived(time_ns, tuple(lines), sent))
        return sent

    def close(self) -> None:
        return
