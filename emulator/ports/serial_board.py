"""The board at the other end of a serial link, emulated: bytes in, frames to the LEDs, answers out.

It receives while a line is being written, as a port with DMA does, and holds one frame whole
while the next one comes: its credit is 2. It keeps no files and no time of its own.
"""

from __future__ import annotations

from collections import deque

import numpy as np

from emulator.canvas import line_bytes
from emulator.clock import SimulatedClock
from emulator.ports.assembly import Assembly, Settled
from emulator.ports.output import Output
from emulator.ports.protocol import (
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
_MOST_WAITING = 4096  # bytes of answers held for a program that does not read them


class Board:
    """Shows what comes over the link on an output: 'memory:', 'window:', or another.

    output: one whose bench runs on simulated time is brought to the times given to `feed`.
    baud: of the answers; the bytes that come are taken as fast as they are fed.
    """

    def __init__(self, output: Output, baud: int) -> None:
        display = output.bench.display
        self.output = output
        self.byte_ns = BITS_PER_BYTE * 1_000_000_000 // baud
        self.answers_lost = 0
        self._decoder = Decoder(TO_BOARD)
        self._assembly = Assembly(line_bytes(display))
        self._description = Description(
            VERSION, CREDIT, MOST_DATA, display.wiring.line_lengths, display.chip.part
        )
        self._answers: deque[tuple[int, bytes]] = deque()  # when each has been sent
        self._waiting = 0  # bytes of them
        self._answered_ns = 0  # when the link back is free

    @property
    def status(self) -> Status:
        """Frames latched and dropped, and messages that could not be read."""
        return Status(self._assembly.latched, self._assembly.dropped, self._decoder.bad)

    def feed(self, data: bytes, now_ns: int) -> None:
        """Take bytes that have come by `now_ns`. Raises what the output raises."""
        for message in self._decoder.one_by_one(data):
            match message:
                case Hello():
                    self._assembly.reset()
                    self._answer(self._description, now_ns)
                case Data():
                    self._settle(self._assembly.data(message), now_ns)
                case Latch():
                    self._settle(self._assembly.latch(message), now_ns)
                case Ask():
                    self._answer(self.status, now_ns)

    def answers(self, now_ns: int) -> bytes:
        """The answers whose last bit has gone out by `now_ns`."""
        ready = b""
        while self._answers and self._answers[0][0] <= now_ns:
            ready += self._answers.popleft()[1]
        self._waiting -= len(ready)
        return ready

    def _settle(self, ended: list[Settled], now_ns: int) -> None:
        for frame in ended:
            if frame.lines is not None:
                now_ns = self._show(frame.lines, now_ns)
            self._answer(Ack(frame.frame, int(frame.dropped), CREDIT), now_ns)

    def _show(self, lines: tuple[bytes, ...], now_ns: int) -> int:
        """Put a frame on the LED wire as soon as that is free; returns when it is latched."""
        clock = self.output.bench.clock
        if isinstance(clock, SimulatedClock):
            clock.wait_until(now_ns)
            now_ns = clock.now_ns()  # the wire may be busy until later
        begin_ns = clock.now_ns()
        self.output.send_frame([np.frombuffer(line, np.uint8) for line in lines])
        return now_ns + clock.now_ns() - begin_ns

    def _answer(self, message: FromBoard, from_ns: int) -> None:
        data = encode(message)
        if self._waiting + len(data) > _MOST_WAITING:
            self.answers_lost += 1
            return
        self._answered_ns = max(self._answered_ns, from_ns) + len(data) * self.byte_ns
        self._answers.append((self._answered_ns, data))
        self._waiting += len(data)
