"""The serial output: frames to a board, over a link that may lose bytes and be unplugged."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass

from emulator.arrays import Bytes
from emulator.canvas import line_bytes
from emulator.clock import Clock, RealClock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.link import Link
from emulator.ports.remote import RemoteOutput
from emulator.ports.reopening import Reopening
from emulator.ports.serial.board import BITS_PER_BYTE, HOLD_UNIT_NS
from emulator.ports.serial.connection import LOOK_NS, Connection
from emulator.ports.serial.port import LinkError, Port, SerialPort
from emulator.ports.serial.protocol import (
    DEFAULT_HOLD,
    MOST_DATA,
    MOST_HOLD,
    MOST_LINE,
    MOST_LINES,
    VERSION,
    Ask,
    Description,
    encode,
    encode_frame,
)

_BAUD = 2_000_000
_GRACE_NS = 250_000_000  # for an acknowledgement, beyond the time of link and wire
_MOST_REMINDERS = 3
_ASKS_A_HOLD = 4  # questions in a hold time, so that a board stays lit if one or two are lost


@dataclass
class Counts:
    """The counts of the frames sent.

    written: sent over the link. latched, dropped: as the board acknowledged them. unanswered:
    written without an acknowledgement. not_written: skipped, because the link was lost.
    """

    written: int = 0
    latched: int = 0
    dropped: int = 0
    unanswered: int = 0
    not_written: int = 0

    @property
    def lost(self) -> int:
        """Frames that are not known to have been shown."""
        return self.dropped + self.unanswered + self.not_written


class SerialOutput(RemoteOutput):
    """Sends frames in the project's serial protocol and keeps within the board's credit.

    `send` returns when the system has taken the bytes. While the link is lost, frames are skipped
    at the pace of the hardware. The port is tried again after 0.1 s, then more slowly, up to every
    2 s; the show continues when it is back. `counts` and `connection` (`outages`, `lost_ns`) say
    what was lost.

    open_port: opens the port again; raises LinkError if it is missing.
    answers: False for a link without a way back; `send` then waits only for the time of the bytes.
    hold: tenths of a second after which the board goes dark if it hears nothing; 0: never.
    `pump` keeps it lit.

    Raises LinkError if there is no port, if no board answers within 5 s, or if it is set up for
    another display.
    """

    def __init__(
        self,
        display: Display,
        open_port: Callable[[], Port],
        *,
        baud: int = _BAUD,
        answers: bool = True,
        hold: int = DEFAULT_HOLD,
        clock: Clock | None = None,
    ) -> None:
        super().__init__(display, clock or RealClock())
        self._room = line_bytes(display)
        if max(self._room) > MOST_LINE or len(self._room) > MOST_LINES:
            raise LinkError(
                f"'{display.name}' has {len(self._room)} lines of up to {max(self._room)} bytes;"
                f" the serial protocol carries {MOST_LINES} lines of {MOST_LINE} bytes",
                fix="share the LEDs among more lines, or among several displays.",
            )
        self.counts = Counts()
        self._closing = ExitStack()
        self._baud, self._answers = baud, answers
        self._transport: tuple[int, Link] | None = None  # kept, since every frame needs it
        self._next = 0  # number of the next frame
        self._last_latch = b""  # of the frame before it, with a 0 ahead
        self._waiting = 0  # frames written and not yet acknowledged
        self._credit: int | None = None  # of the last acknowledgement; None: the board's own
        self._hold_ns = hold * HOLD_UNIT_NS
        self._written_ns = self.clock.now_ns()  # when our last message was written
        self.connection = Connection(open_port, self.clock, self._mismatch, answers, hold)
        try:
            self.connection.wait_for_board()
        except BaseException:
            self.close()
            raise

    @classmethod
    def open(cls, address: Address, display: Display) -> SerialOutput:
        """serial://DEVICE, loop://, socket://HOST:PORT or rfc2217://HOST:PORT.

        Options: baud (300 to 12,000,000; default 2,000,000), answers (yes or no), hold (the board
        goes dark after so long without a message; default 10s; 0: never). Raises AddressError and
        LinkError.
        """
        address.only("baud", "answers", "hold", place=address.kind != "loop")
        baud = address.number("baud", _BAUD, 300, 12_000_000)
        answers = address.choice("answers", ("yes", "no")) == "yes"
        device = address.place if address.kind == "serial" else f"{address.kind}://{address.place}"
        hold = round(10 * address.seconds("hold", DEFAULT_HOLD / 10, 0.1, MOST_HOLD / 10))
        write_s = 2 + 4 * serial_transport(display, baud).latency_s
        opening = Reopening(lambda: SerialPort(device, baud, write_s))
        output = cls(display, opening, baud=baud, answers=answers, hold=hold)
        output._closing.callback(opening.close)
        return output

    @property
    def transport(self) -> Link:
        """The bytes of a frame at the baud rate."""
        most = self._most_data
        if self._transport is None or self._transport[0] != most:
            self._transport = most, serial_transport(self.bench.display, self._baud, most)
        return self._transport[1]

    @property
    def _most_data(self) -> int:
        board = self.connection.board
        return MOST_DATA if board is None else min(max(board.most_data, 1), MOST_DATA)

    def pump(self) -> None:
        """Call this often while the picture does not change.

        It asks the board for its state, often enough that the board does not go dark, and opens a
        lost link again.
        """
        now_ns = self.clock.now_ns()
        if self._hold_ns and now_ns - self._written_ns >= self._hold_ns // _ASKS_A_HOLD:
            self._written_ns = now_ns
            self._settle()
            if self.connection.ready():
                self.connection.write(encode(Ask()))

    def _put(self, lines: list[Bytes]) -> None:
        self._written_ns = self.clock.now_ns()
        if not self._answers or not self.connection.up:
            self.clock.wait_until(self.bench.clock.now_ns())  # the pace of the hardware
        self._settle()
        if self.connection.ready():
            self._wait_until(self._has_credit)
        # Bytes beyond the end of the line would fall off anyway.
        cut = [line[:room].tobytes() for line, room in zip(lines, self._room, strict=True)]
        data = encode_frame(self._next, cut, self._most_data)
        if not self.connection.up or not self.connection.write(data):
            self.counts.not_written += 1
            return
        self._last_latch = data[data.rindex(0, 0, -1) :]
        self.counts.written += 1
        self._next = (self._next + 1) & 0xFFFF
        self._waiting += int(self._answers)

    def _has_credit(self) -> bool:
        board = self.connection.board
        credit = board.credit if self._credit is None and board is not None else self._credit
        return not self._answers or self._waiting < max(credit or 1, 1)

    def _wait_until(self, met: Callable[[], bool]) -> None:
        """Take answers until a condition is met, the link is lost, or no answer comes.

        If an answer is overdue, the last latch is sent again: it, or the answer, was lost.
        """
        heard, reminders = self.connection.heard, 0
        patience_ns = _GRACE_NS + round(3e9 * self.link.latency_s)
        until_ns = self.clock.now_ns() + patience_ns
        self._settle()
        while self.connection.up and not met():
            if self.clock.now_ns() >= until_ns:
                if reminders == _MOST_REMINDERS:
                    self._give_up_waiting()
                    if self.connection.heard == heard:
                        self.connection.lose("the board has not answered")
                    return
                reminders += 1
                until_ns += patience_ns
                self.connection.write(self._last_latch)
            self.clock.wait_until(self.clock.now_ns() + LOOK_NS)
            self._settle()

    def _settle(self) -> None:
        """Take the acknowledgements that have come."""
        for ack in self.connection.listen():
            self._credit = ack.credit
            left = (self._next - 1 - ack.frame) & 0xFFFF
            if left < self._waiting:  # otherwise the frame was settled before
                self.counts.unanswered += self._waiting - left - 1  # their answers were lost
                self._waiting = left
                self.counts.dropped += int(ack.dropped != 0)
                self.counts.latched += int(ack.dropped == 0)
        if not self.connection.up:
            self._give_up_waiting()

    def _give_up_waiting(self) -> None:
        self.counts.unanswered += self._waiting
        self._waiting = 0
        self._credit = None

    def _mismatch(self, board: Description) -> LinkError | None:
        display = self.bench.display
        wanted = (VERSION, display.wiring.line_lengths, display.chip.part)
        found = (board.version, board.leds, board.chip)
        names = ("protocol version", "LEDs a line", "chip")
        for name, mine, theirs in zip(names, wanted, found, strict=True):
            if mine != theirs:
                return LinkError(
                    f"the board is set up for another display: {name} {theirs},"
                    f" and '{display.name}' has {mine}",
                    fix="give the display file that fits, or set up the board again.",
                )
        return None

    def _release(self) -> None:
        """Wait for the last acknowledgements and close the port."""
        with self._closing:
            self._wait_until(lambda: not self._waiting)
            self.connection.close()


def serial_transport(display: Display, baud: int, most_data: int = MOST_DATA) -> Link:
    """The limits of a serial link for a display: the bytes of a frame at a baud rate."""
    lines = [bytes(count) for count in line_bytes(display)]
    count = len(encode_frame(0, lines, most_data))
    frame_s = count * BITS_PER_BYTE / baud
    return Link(
        1 / frame_s,
        frame_s,
        f"a frame takes {count} bytes, {frame_s * 1e3:.2f} ms, at {baud} baud",
        "raise the baud rate",
    )
