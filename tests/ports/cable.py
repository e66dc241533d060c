"""A serial cable between a SerialOutput and an emulated board, in simulated time."""

from __future__ import annotations

from emulator.clock import RealClock, SimulatedClock
from emulator.ports.memory import MemoryOutput
from emulator.ports.serial.board import BITS_PER_BYTE, Board
from emulator.ports.serial.output import SerialOutput
from emulator.ports.serial.port import LinkError

BAUD = 1_000_000


class PatientClock(RealClock):
    """A quarter of real time: a sender waits four times as long before it calls a link lost,

    so that a test on real ports does not fail because the machine is busy.
    """

    def now_ns(self):
        return super().now_ns() // 4


class Cable:
    """Carries bytes both ways at a baud rate; may be unplugged, and may damage what it carries."""

    def __init__(self, display, spoil=None):
        self.clock = SimulatedClock()
        self.wall = MemoryOutput(display)
        self.board = Board(self.wall, BAUD)
        self.plugged = True
        self.silent = False
        self.answers_twice = False
        self.spoil = spoil or (lambda data: data)
        self.opened = 0
        self.closed = 0
        self._coming = []
        self._free_ns = 0

    def open_port(self):
        if not self.plugged:
            raise LinkError("not there\n  Fix: plug it in.")
        self.opened += 1
        return _Port(self)

    def output(self, **options):
        return SerialOutput(
            self.wall.bench.display, self.open_port, baud=BAUD, clock=self.clock, **options
        )

    def unplug(self):
        self.plugged = False
        self._coming.clear()

    def carry(self):
        """Bring to the board what has come by now."""
        now_ns = self.clock.now_ns()
        while self._coming and self._coming[0][0] <= now_ns:
            time_ns, data = self._coming.pop(0)
            self.board.feed(data, time_ns)
        self.board.look(now_ns)

    def send(self, data):
        start_ns = max(self.clock.now_ns(), self._free_ns)
        self._free_ns = start_ns + len(data) * BITS_PER_BYTE * 1_000_000_000 // BAUD
        self._coming.append((self._free_ns, self.spoil(data)))


class _Port:
    def __init__(self, cable):
        self.cable = cable
        self.is_open = True

    def _check(self):
        assert self.is_open, "used after close"
        if not self.cable.plugged:
            raise LinkError("the link has gone\n  Fix: plug it in again.")

    def read(self):
        self._check()
        self.cable.carry()
        answers = self.cable.board.answers(self.cable.clock.now_ns())
        return answers * (0 if self.cable.silent else 1 + self.cable.answers_twice)

    def write(self, data):
        self._check()
        self.cable.send(data)

    def close(self):
        self.cable.closed += self.is_open
        self.is_open = False
