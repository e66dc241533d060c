"""A firmware under simavr: its serial port as a pseudo-terminal, its pins with exact cycles."""

from __future__ import annotations

import contextlib
import os
import subprocess
from collections.abc import Sequence
from pathlib import Path
from typing import IO

import numpy as np
from numpy.typing import NDArray

from emulator.closing import Closing
from emulator.files import check_file
from emulator.ports.firmware.controller import FirmwareError
from emulator.ports.firmware.simulator import simulator
from emulator.ports.serial.name import TerminalName
from emulator.ports.serial.terminal import check_pty
from emulator.processes import apart, end_all

_RECORD = np.dtype([("cycle", "=u8"), ("kind", "=u4"), ("value", "=u4")])
_TIME, _WORK, _CLOCK, _LOST, _CAME, _STACK, _ENDED = range(1000, 1007)  # kinds; live.c tells them
_MOST_BYTES = 1 << 18  # read at a time
_EM_AVR = (83).to_bytes(2, "little")


class LiveFirmware(Closing):
    """Runs a firmware, no faster than a real controller.

    pins: those to watch, as 'B0'. name: make a link with this name to the port's terminal. part,
    hz: for an ELF file that does not contain them (.mmcu). trace: a VCD file that simavr itself
    writes, with the signals that the ELF file asks for.

    path: the terminal. hz: the controller's clock. cycle: the number of cycles so far. lost: how
    many bytes came while three before them had not been read, which a real serial port loses, too.
    came: how many other bytes came. lowest_stack: an address; None if not known yet. ended: why it
    no longer runs, or "".

    Raises FirmwareError if it is not a firmware, UnsupportedError if a tool is missing.
    """

    def __init__(
        self,
        elf: Path,
        pins: Sequence[str],
        *,
        name: Path | None = None,
        part: str = "-",
        hz: int = 0,
        trace: Path | None = None,
    ) -> None:
        check_pty()
        _check_elf(elf)
        import tty  # imported here: Windows does not have it

        program = simulator()
        self.hz, self.cycle, self.lost, self.came, self.ended = 0, 0, 0, 0, ""
        self.lowest_stack: int | None = None
        self._passed_us = self._worked_us = 0
        self._rest = b""
        self._name: TerminalName | None = None
        self._process: subprocess.Popen[bytes] | None = None
        self._end, self._program_end = os.openpty()
        try:
            tty.setraw(self._program_end)
            terminal = os.ttyname(self._program_end)
            if name is not None:
                self._name = TerminalName(name, terminal)
            self.path = str(name or terminal)
            words = [str(program), str(elf), part, str(hz), str(self._end), *pins]
            words += [f"={trace}"] if trace is not None else []
            self._process = subprocess.Popen(
                words,
                stdin=subprocess.DEVNULL,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                pass_fds=[self._end],
                **apart(),
            )
            self._pipe: IO[bytes] = self._process.stdout  # type: ignore[assignment]
            os.set_blocking(self._pipe.fileno(), False)
        except BaseException:
            self.close()
            raise

    @property
    def slowness(self) -> float | None:
        """Seconds of this machine for one second of the controller; None before the first."""
        return self._passed_us * self.hz / 1e6 / self.cycle if self.cycle and self.hz else None

    @property
    def work(self) -> float | None:
        """CPU seconds of this machine for one second of the controller; None before the first."""
        return self._worked_us * self.hz / 1e6 / self.cycle if self.cycle and self.hz else None

    def read(self) -> NDArray[np.void]:
        """The changes of the pins since the last call; updates `cycle` and the other counts.

        A structured array (n,): cycle, kind (the number of the pin), value (its level). Does not
        wait. Raises FirmwareError if the firmware cannot be run.
        """
        if not self._pipe.closed:
            with contextlib.suppress(BlockingIOError):
                data = os.read(self._pipe.fileno(), _MOST_BYTES)
                self._rest += data
                if not data:
                    self._see_the_end()
        whole = len(self._rest) - len(self._rest) % _RECORD.itemsize
        records = np.frombuffer(self._rest[:whole], _RECORD)
        self._rest = self._rest[whole:]
        if records.size:
            self.cycle = max(self.cycle, int(records["cycle"].max()))
        kinds, values = records["kind"], records["value"]
        self._passed_us += int(values[kinds == _TIME].sum())
        self._worked_us += int(values[kinds == _WORK].sum())
        self.lost += int(values[kinds == _LOST].sum())
        self.came += int(values[kinds == _CAME].sum())
        for value in values[kinds == _CLOCK]:
            self.hz = int(value)
        for value in values[kinds == _STACK][-1:]:
            self.lowest_stack = int(value)
        for value in values[kinds == _ENDED]:
            self.ended = "it sleeps forever" if value == 1 else "it has crashed"
        return records[kinds < _TIME]

    def close(self) -> None:
        """End it and remove the terminal; a second call does nothing."""
        if self._process is not None:
            end_all(self._process)
            self._process.communicate()
            self._process = None
        for end in (self._end, self._program_end):
            if end >= 0:
                os.close(end)
        self._end = self._program_end = -1
        if self._name is not None:
            self._name.close()
            self._name = None

    def _see_the_end(self) -> None:
        assert self._process is not None
        _, told = self._process.communicate()
        words = told.decode(errors="replace").strip()
        self.ended = self.ended or "it has ended"
        if self._process.returncode == 2:
            raise FirmwareError(f"{words}", fix="give an .elf that avr-gcc made, and its pins.")


def told_by(elf: Path) -> tuple[str, int] | None:
    """Controller and clock (Hz) that a firmware gives for simavr (.mmcu); None if it has none.

    Raises FirmwareError if it is not a firmware, UnsupportedError if a tool is missing.
    """
    _check_elf(elf)
    done = subprocess.run([simulator(), elf], capture_output=True, text=True, errors="replace")
    if done.returncode:
        raise FirmwareError(f"{done.stderr.strip()}", fix="give an .elf that avr-gcc made.")
    part, hz = done.stdout.split()
    return None if part == "-" or hz == "0" else (part, int(hz))


def _check_elf(elf: Path) -> None:
    """Raise FirmwareError if it is not an ELF file for an AVR (ELF: e_machine 83)."""
    try:
        check_file(elf)
        with elf.open("rb") as file:
            head = file.read(20)
    except OSError as error:
        raise FirmwareError(
            f"cannot be read ({error.strerror})", place=elf, fix="give the .elf that `make` made."
        ) from error
    if head[:4] != b"\x7fELF" or head[18:] != _EM_AVR:
        raise FirmwareError(
            "is not an ELF file for an AVR", place=elf, fix="give the .elf that avr-gcc made."
        )
