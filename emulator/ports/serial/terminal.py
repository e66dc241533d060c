"""A pseudo-terminal that behaves as the serial port of a board: any program can open it."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from emulator.clock import Clock
from emulator.closing import Closing
from emulator.errors import UnsupportedError
from emulator.ports.serial.board import Board
from emulator.ports.serial.name import TerminalName

_SLICE_NS = 2_000_000  # between looks at the port
_SLACK_NS = 50_000_000  # so much time of bytes fits into a board's own buffer while it is busy


class SerialPty(Closing):
    """Carries bytes between a pseudo-terminal and a Board, no faster than its baud rate.

    More bytes wait in the kernel's buffer (Linux: some 64 KiB); when it is full, the program must
    wait, as with a real port. `path` is the terminal's name, or `name` if you give one for a link
    to it. Answers that a program does not read are dropped.

    It replaces a link that a killed board has left. Raises WriteError if the link cannot be made,
    and UnsupportedError if there are no pseudo-terminals. Use it as a context manager.
    """

    def __init__(self, board: Board, clock: Clock, name: Path | None = None) -> None:
        self.board = board
        self.clock = clock
        check_pty()
        import tty  # imported here: Windows does not have it

        self._name: TerminalName | None = None
        # The program's end stays open here, so that programs may come and go.
        self._end, self._program_end = os.openpty()
        try:
            tty.setraw(self._program_end)
            os.set_blocking(self._end, False)
            terminal = os.ttyname(self._program_end)
            if name is not None:
                self._name = TerminalName(name, terminal)
        except BaseException:
            self.close()
            raise
        self.path = str(name or terminal)
        self._carried_ns = clock.now_ns()  # when the last byte arrived

    def step(self) -> None:
        """Take the bytes that have arrived, and send the answers that are due. Raises as Board."""
        now_ns, byte_ns = self.clock.now_ns(), self.board.byte_ns
        self.board.look(now_ns)
        self._carried_ns = max(self._carried_ns, now_ns - _SLACK_NS)
        while (most := (now_ns - self._carried_ns) // byte_ns) > 0:
            data = self._read(min(most, 1 << 16))
            if not data:
                self._carried_ns = now_ns
                break
            self._carried_ns += len(data) * byte_ns
            self.board.feed(data, max(now_ns, self.clock.now_ns()))
        answers = self.board.answers(self.clock.now_ns())
        if answers:
            try:
                os.write(self._end, answers)
            except BlockingIOError:
                self.board.answers_lost += 1

    def run(self, going_on: Callable[[], bool]) -> None:
        """Step until `going_on`, called before every step, returns False."""
        while going_on():
            self.step()
            self.clock.wait_until(self.clock.now_ns() + _SLICE_NS)

    def close(self) -> None:
        """Close both ends and remove the link; a second call does nothing."""
        for end in (self._end, self._program_end):
            if end >= 0:
                os.close(end)
        self._end = self._program_end = -1
        if self._name is not None:
            self._name.close()
            self._name = None

    def _read(self, most: int) -> bytes:
        try:
            return os.read(self._end, most)
        except BlockingIOError:
            return b""


def check_pty() -> None:
    """Raise UnsupportedError if the system has no pseudo-terminals, as on Windows."""
    if not hasattr(os, "openpty"):
        raise UnsupportedError(
            "this system has no pseudo-terminals, which a board in place of a serial port needs",
            fix="let the program send by E1.31 ({e131} in --program, --e131), use --call,"
            " or do this on Linux or macOS.",
        )
