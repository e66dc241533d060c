"""A program under test: starts it, asks it for pictures one by one, and ends it in every case.

A request is one line of JSON on the program's standard input:

    {"picture": 0, "columns": 8, "rows": 2, "rgb": "ff0000…"}

picture: counts up from 0. rgb: the cells from the top left, row after row, seen from the front;
three bytes of sRGB each, in hexadecimal. For each line the program sends one frame, and nothing
in between; it ends when its standard input does.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
from collections.abc import Callable

import numpy as np

from emulator.arrays import Bytes, Srgb
from emulator.clock import Clock, queued_ns
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import SubjectError
from emulator.processes import Leaving, apart, end_all, words_of
from harness.subject.printed import Printed
from harness.subject.reception import BAUD, Arrived, BoardReception, E131Reception, Reception
from harness.subject.spi import SpiReception
from harness.subject.subject import Subject

_PATIENCE_S = 10.0
_MOMENT_S = 0.0005  # to write a request, unless the program reads it slowly
_GRACE_NS = 1_000_000_000  # for a program to end by itself, and again after SIGTERM
_REPEATED = 8  # E1.31 sources repeat old levels: these must last so many times as long


class Program:
    """A running program and the reception it sends to; use it as a context manager.

    command: words as in a shell, with quotes around those with blanks; no shell runs. It contains
    the reception's placeholder. asked: whether the program gets requests; if not, its standard
    input is empty. What it prints, `printed`, goes to standard error.

    Raises SubjectError if it cannot be started.
    """

    def __init__(self, command: str, reception: Reception, asked: bool = True) -> None:
        self.reception = reception
        self.printed = Printed()
        words = _words(command)
        if reception.placeholder:
            words = [word.replace(reception.placeholder, reception.place) for word in words]
        try:
            self._process = subprocess.Popen(
                words,
                stdin=subprocess.PIPE if asked else subprocess.DEVNULL,
                stdout=self.printed.write_end,  # only the report goes to standard output
                stderr=self.printed.write_end,
                bufsize=0,
                env={**os.environ, **reception.environment},
                **apart(),
            )
        except (OSError, ValueError) as error:
            self.printed.close()
            reason = getattr(error, "strerror", None) or str(error)
            raise SubjectError(
                f"the program '{words[0]}' cannot be started: {reason}",
                fix="check its name and path; no shell is used, so begin a script with its"
                " interpreter, as in 'node show.js {port}'.",
            ) from error
        self.printed.start()
        self._leaving: Leaving | None = None
        if self._process.stdin is not None:
            self._leaving = Leaving(os.dup(self._process.stdin.fileno()))
            self._process.stdin.close()

    @property
    def number(self) -> int:
        """The process id."""
        return self._process.pid

    @property
    def ended(self) -> str:
        """How it ended, in words; '' while it runs."""
        status = self._process.poll()
        if status is None:
            return ""
        if status >= 0:
            return f"ended with status {status}"
        return f"was ended by signal {-status} ({signal.strsignal(-status)})"

    def ask(self, line: bytes, going_on: Callable[[], bool]) -> None:
        """Write a request, and take what the program sends meanwhile. Stops if it ends."""
        assert self._leaving is not None
        written = self._leaving.put(line)
        while not written.wait(_MOMENT_S) and going_on() and not self.ended:
            self.reception.step()

    def close(self, clock: Clock) -> None:
        """End it and its children: close its input, then SIGTERM, then SIGKILL.

        It does not find a child that has left the process group, as a daemon does.
        """
        try:
            if self._leaving is not None:
                self._leaving.close()
                self._wait(clock)
            if not self.ended:
                end_all(self._process, kindly=True)
                self._wait(clock)
        finally:
            end_all(self._process)
            self._process.wait()
            self.printed.close()

    def _wait(self, clock: Clock) -> None:
        until_ns = clock.now_ns() + _GRACE_NS
        while not self.ended and clock.now_ns() < until_ns:
            self.reception.step()  # it may wait for the answers to its last frame


class ProgramSubject(Closing):
    """A program as the subject of a check: `subject.to_wire` gives what it sent for a picture.

    patience_s: how long a picture may take. Use it as a context manager.

    Raises SubjectError if the program cannot be started, and AddressError if foreglow cannot
    receive E1.31. `to_wire` raises SubjectError if the program ends, sends no whole frame in time,
    or never stops sending.
    """

    def __init__(
        self,
        command: str,
        display: Display,
        clock: Clock,
        *,
        address: str | None = None,
        baud: int = BAUD,
        spi: bool = False,
        patience_s: float = _PATIENCE_S,
    ) -> None:
        self._clock = clock
        self._patience_s = patience_s
        self._asked = 0
        self._closed = False
        self._frame: Arrived | None = None
        self._before: tuple[Bytes, ...] = ()  # the answer to the picture before
        self._reception: Reception
        if spi:
            self._reception = SpiReception(display, clock, self._take, address or "spi:", True)
        else:
            self._reception = reception_for(command, display, clock, self._take, address, baud)
        try:
            self._program = Program(command, self._reception)
        except BaseException:
            self._reception.close()
            raise
        self._took_ns = 0
        printed = self._program.printed
        self.subject = Subject(
            f"the program {command}",
            self.to_wire,
            lambda: self._took_ns,
            lambda: printed.count,
            self._reception.trouble if spi else None,
        )

    def to_wire(self, picture: Srgb) -> list[Bytes]:
        """Ask for a picture (rows, columns, 3) uint8 sRGB; the bytes that came for each line."""
        rows, columns, _ = picture.shape
        request = {
            "picture": self._asked,
            "columns": columns,
            "rows": rows,
            "rgb": picture.tobytes().hex(),
        }
        self._reception.step()  # data still on its way belongs to the picture before
        self._frame = None
        begin_ns = self._clock.now_ns() - self._queued_ns()
        until_ns = self._clock.now_ns() + round(self._patience_s * 1e9)
        self._program.ask(
            json.dumps(request).encode() + b"\n", lambda: self._clock.now_ns() < until_ns
        )
        while self._frame is None or not self._settled(self._frame):
            ended = self._program.ended
            self._reception.step()
            late = self._clock.now_ns() >= until_ns
            if self._frame is None and (ended or late):
                raise self._nothing_came(ended)
            if self._frame is not None and late and not self._settled(self._frame):
                raise self._never_rests()
        took_ns = self._frame.time_ns - self._queued_ns() - begin_ns
        self._took_ns = max(took_ns - self._reception.carry_ns, 0)
        self._asked += 1
        self._before = self._frame.lines
        return list(self._before)

    def close(self) -> None:
        """End the program and release the port; a second call does nothing."""
        if not self._closed:
            self._closed = True
            try:
                self._program.close(self._clock)
            finally:
                self._reception.close()

    def _queued_ns(self) -> int:
        """How many ns the program and this thread have waited for a processor."""
        return queued_ns(self._program.number) + queued_ns()

    def _take(self, frame: Arrived) -> None:
        self._frame = frame

    def _settled(self, frame: Arrived) -> bool:
        same = len(self._before) == len(frame.lines) and all(
            map(np.array_equal, self._before, frame.lines)
        )
        settle_ns = self._reception.settle_ns * (_REPEATED if same else 1)
        return self._clock.now_ns() >= frame.time_ns + settle_ns

    def _never_rests(self) -> SubjectError:
        return SubjectError(
            f"{self.subject.name} keeps sending: no frame for picture {self._asked} lasted for"
            f" {self._reception.settle_ns / 1e6:g} ms in {self._patience_s:g} s",
            fix="send one frame for each line of standard input, and nothing in between;"
            " to judge what a program sends by itself, use --listen.",
        )

    def _nothing_came(self, ended: str) -> SubjectError:
        which = f"for picture {self._asked}"
        faults = [one for one in self._reception.trouble() if one.severity == "fault"]
        trouble = "; ".join(one.what for one in faults)
        by_spi = isinstance(self._reception, SpiReception) and bool(faults)
        if ended:
            return SubjectError(
                f"{self.subject.name} {ended} and had sent no frame {which}"
                f"{f' ({trouble})' if trouble else ''}",
                fix=f"{faults[0].fix}."
                if by_spi
                else "see its output above; let it run until its standard input ends.",
            )
        if trouble:
            return SubjectError(
                f"{self.subject.name} sent no whole frame {which} in {self._patience_s:g} s:"
                f" {trouble}",
                fix=f"{faults[0].fix}."
                if by_spi
                else f"compare what it writes to {self._reception.words} with"
                " emulator/ports/README.md.",
            )
        return SubjectError(
            f"{self.subject.name} sent nothing {which} in {self._patience_s:g} s",
            fix="let it read one line of JSON from its standard input for each picture,"
            f" and then send one frame to {self._reception.place}."
            + (f" Also {self._reception.hint}" if self._reception.environment else ""),
        )


def reception_for(
    command: str,
    display: Display,
    clock: Clock,
    take: Callable[[Arrived], None],
    address: str | None,
    baud: int,
) -> Reception:
    """The reception whose placeholder a command has. Raises SubjectError if it has none or both."""
    kinds = (BoardReception, E131Reception)
    wanted = [kind for kind in kinds if any(kind.placeholder in w for w in _words(command))]
    if len(wanted) != 1:
        raise SubjectError(
            f"'{command}' has {'both {port} and' if wanted else 'neither {port} nor'} {{e131}}",
            fix="put {port} where the program takes the name of its serial port, or {e131}"
            " where it takes the address (host:port) of its E1.31 receiver.",
        )
    if wanted[0] is BoardReception:
        return BoardReception(display, clock, take, baud)
    return E131Reception(display, clock, take, address or "e131:")


def _words(command: str) -> list[str]:
    try:
        words = words_of(command)
    except ValueError as error:
        raise SubjectError(
            f"'{command}' is not a valid command: {error}", fix="close every quote."
        ) from error
    if not words:
        raise SubjectError("the command is empty", fix="write 'node show.js {port}'.")
    return words
