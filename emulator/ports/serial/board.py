"""The board at the other end of a serial link, emulated: bytes in, frames to the LEDs, answers out.

It receives while it writes a line, as a port with DMA does, and keeps one whole frame while the
next one comes: its credit is 2. When its sender is silent for too long, it goes dark. It opens no
files and has no clock: the caller gives the time.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from emulator.arrays import Bytes
from emulator.canvas import line_bytes, to_wire
from emulator.clock import SimulatedClock
from emulator.ports.output import Output
from emulator.ports.serial.assembly import Assembly, Settled
from emulator.ports.serial.protocol import (
    DEFAULT_HOLD,
    MOST_DATA,
    TO_BOARD,
    VERSION,
    Ack,
    Ask,
    Data,
    Decoder,
    Description,
    FromBoard,
    Hello,
    Latch,
    Status,
    encode,
)

CREDIT = 2
BITS_PER_BYTE = 10  # start bit, eight data bits, stop bit: common practice, no source
HOLD_UNIT_NS = 100_000_000  # of the hold time in hello
_MOST_WAITING = 4096  # bytes of answers kept for a program that does not read them


class Board:
    """Shows the frames of a link on an output: 'memory:', 'window:', or another.

    output: if its bench runs on simulated time, its clock follows the times given to `feed`.
    baud: rate of the answers; bytes are taken as fast as you feed them. hold: tenths of a second
    without a valid message after which the LEDs go dark, until a hello changes it; 0: never.
    dark: how often they went dark.
    """

    def __init__(self, output: Output, baud: int, hold: int = DEFAULT_HOLD) -> None:
        display = output.bench.display
        self.output = output
        self.dark = 0
        self._default_hold_ns = self._hold_ns = hold * HOLD_UNIT_NS
        self._heard_ns = 0  # when the last valid message came
        self._lit = False  # whether the LEDs show a frame of the sender
        self.byte_ns = BITS_PER_BYTE * 1_000_000_000 // baud
        self.answers_lost = 0
        self._decoder = Decoder(TO_BOARD)
        self._assembly = Assembly(line_bytes(display))
        self._description = Description(
            VERSION, CREDIT, MOST_DATA, display.wiring.line_lengths, display.chip.part
        )
        self._answers: deque[tuple[int, bytes]] = deque()  # with the time when each has been sent
        self._waiting = 0  # bytes of the answers
        self._answered_ns = 0  # when the link back is free

    @property
    def status(self) -> Status:
        """Frames latched and dropped, and messages that could not be read."""
        return Status(self._assembly.latched, self._assembly.dropped, self._decoder.bad)

    def feed(self, data: bytes, now_ns: int) -> None:
        """Take bytes that have arrived at `now_ns`. Raises what the output raises."""
        self.look(now_ns)
        for message in self._decoder.one_by_one(data):
            self._heard_ns = now_ns
            match message:
                case Hello(hold=hold):
                    self._hold_ns = self._default_hold_ns if hold is None else hold * HOLD_UNIT_NS
                    self._assembly.reset()
                    self._answer(self._description, now_ns)
                case Data():
                    self._settle(self._assembly.data(message), now_ns)
                case Latch():
                    self._settle(self._assembly.latch(message), now_ns)
                case Ask():
                    self._answer(self.status, now_ns)

    def look(self, now_ns: int) -> None:
        """Go dark if nothing was heard for the hold time; call it often.

        Raises what the output raises.
        """
        if self._lit and self._hold_ns and now_ns - self._heard_ns >= self._hold_ns:
            self._lit = False
            self.dark += 1
            self._assembly.spoil()
            display = self.output.bench.display
            drives = np.zeros((display.leds, len(display.chip.channels)), np.uint8)
            self._put(to_wire(drives, display), now_ns)

    def answers(self, now_ns: int) -> bytes:
        """The answers whose last bit has been sent at `now_ns`."""
        ready = b""
        while self._answers and self._answers[0][0] <= now_ns:
            ready += self._answers.popleft()[1]
        self._waiting -= len(ready)
        return ready

    def _settle(self, ended: list[Settled], now_ns: int) -> None:
        for frame in ended:
            if frame.lines is not None:
                self._lit = True
                lines = [np.frombuffer(line, np.uint8) for line in frame.lines]
                now_ns = self._put(lines, now_ns)
            self._answer(Ack(frame.frame, int(frame.dropped), CREDIT), now_ns)

    def _put(self, lines: list[Bytes], now_ns: int) -> int:
        """Put a frame on the LED wire as soon as it is free; returns when the frame is latched."""
        clock = self.output.bench.clock
        if isinstance(clock, SimulatedClock):
            clock.wait_until(now_ns)
            now_ns = clock.now_ns()  # the wire may be busy until later
        begin_ns = clock.now_ns()
        self.output.send_frame(lines)
        return now_ns + clock.now_ns() - begin_ns

    def _answer(self, message: FromBoard, from_ns: int) -> None:
        data = encode(message)
        if self._waiting + len(data) > _MOST_WAITING:
            self.answers_lost += 1
            return
        self._answered_ns = max(self._answered_ns, from_ns) + len(data) * self.byte_ns
        self._answers.append((self._answered_ns, data))
        self._waiting += len(data)
