"""The end a program sends to: an emulated board on a pseudo-terminal, or an E1.31 receiver.

Both take frames as hardware would and hand each on with the time it came.
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
# Of these the standard has every source send some: 6.2.6 (an end is said three times) and 4.3.
_EXPECTED = (Discard.ENDED, Discard.DISCOVERY)
_E131_SETTLE_NS = 25_000_000  # beyond the 10 ms in which the receiver gathers universes
_WHOLE = "send whole frames, of as many bytes as the lines take (`foreglow map` lists them)"
_SYNCHRONIZE = "synchronize by the address that the data packets name, or name none (0) in them"
_LAYOUT = "lay the packets out as ANSI E1.31-2018 has them"
_FIX = {  # else the layout is wrong
    Discard.START_CODE: "send levels with start code 0",
    Discard.PREVIEW: "clear the preview bit in the options",
    Discard.SEQUENCE: "count the sequence numbers of each universe up by one a packet; a network"
    " that delivers late or twice does this too",
    Discard.OUTRANKED: "end the other source, or give this one a higher priority",
    Discard.CROWDED: "end the sources that are not wanted",
    Discard.SYNC_ADDRESS: _SYNCHRONIZE,
}


class Trouble(NamedTuple):
    """What came and was no whole frame, or spoils some: how to fix it, how bad, what shows it."""

    what: str
    fix: str
    severity: Severity = "fault"
    evidence: str = "counted at the receiving end"


@dataclass(frozen=True)
class Arrived:
    """A frame that has come: when, by the listener's clock, its bytes a line, its way to the LEDs.

    The LEDs' wire runs on simulated time: `sent` tells what it made of the frame.
    """

    time_ns: int
    lines: tuple[Bytes, ...]
    sent: Sent


class Reception(Closing):
    """Takes what a program sends; use it as a context manager.

    placeholder: what stands for the place in a program's command line. place: what it becomes.
    environment: what the program gets in its environment. words: what to tell a user. hint: what
    to do where nothing comes. link: what the way to the LEDs can carry. settle_ns: how long a frame
    must last without another one before it is surely whole.
    """

    placeholder: str = ""
    place: str
    hint: str = "start it before the time is over, and let it send to the place printed."
    words: str
    link: Link
    settle_ns: int
    environment: Mapping[str, str] = MappingProxyType({})
    carry_ns = 0  # how long a whole frame is under way to here

    @abstractmethod
    def step(self) -> None:
        """Take the data that has come, or wait a few milliseconds for some."""

    @abstractmethod
    def trouble(self) -> tuple[Trouble, ...]:
        """Data so far that was not a whole frame; empty if there was none."""

    @abstractmethod
    def close(self) -> None:
        """Give back the port; a second call does nothing."""


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
            told.append(f"{status.bad} {stretches} no message of the serial protocol")
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
    """A receiver of ANSI E1.31. Raises AddressError where the address cannot be listened on."""

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
            Discard.UNIVERSE: f"send to {self._setup.universes}, or hear others by"
            " --address e131:?universe=…",
            **_FIX,
        }
        told = [
            Trouble(f"{many(count, 'datagram')} discarded: {why}", fix.get(why, _LAYOUT))
            for why, count in tally.discards.items()
            if why not in _EXPECTED
        ]
        if tally.used and not tally.frames:
            waiting = "levels came that wait for a synchronization packet; none came"
            told.append(Trouble(waiting, _SYNCHRONIZE))
        if missed:
            over = f"{many(missed, 'datagram')} came too fast for this machine to take"
            told.append(Trouble(over, "send fewer frames a second"))
        return tuple(told)

    def close(self) -> None:
        self._intake.close()


class _MeasuringBoard(Board):
    """A board that also notes how much came, and where the data of each line ended at most."""

    def __init__(self, output: Output, baud: int) -> None:
        super().__init__(output, baud)
        self.room = line_bytes(output.bench.display)
        self.heard = 0
        self.ends: dict[int, int] = {}
        self._measuring = Decoder(TO_BOARD)

    def look(self, now_ns: int) -> None:
        """Never go dark: that would be a frame which the program has not sent."""

    def feed(self, data: bytes, now_ns: int) -> None:
        self.heard += len(data)
        for message in self._measuring.one_by_one(data):
            if isinstance(message, Data):
                ends = message.offset + len(message.data)
                self.ends[message.line] = max(ends, self.ends.get(message.line, 0))
        super().feed(data, now_ns)


class Tap(Output):
    """Where a board or receiver puts its frames: passes each on, and keeps none."""

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
