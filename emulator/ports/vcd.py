"""A capture file as an output: the levels of the data pins, for a logic analyser's viewer."""

from __future__ import annotations

import itertools
import logging
import math
from pathlib import Path
from typing import ClassVar

import numpy as np

from emulator.arrays import Bytes
from emulator.clock import SECOND_NS, Clock, RealClock
from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.files import check_target
from emulator.ports.address import Address
from emulator.ports.link import Link
from emulator.ports.remote import RemoteOutput
from emulator.signal import clocked, onewire
from emulator.signal.vcdfile import FullError, VcdFile
from emulator.signal.waveform import Waveform

_log = logging.getLogger("foreglow.output")


class VcdOutput(RemoteOutput):
    """Writes the sent frames as VCD, gzipped if the name ends in .gz; the file appears at `close`.

    Memory does not grow. The file grows by some 220 bytes for each byte sent (gzipped, by some 40).
    Time is simulated: frames follow one another as fast as the wire allows. Lines are called
    `line_0`, `line_1` …; chips with a clock have `clk_0`, `data_0` … instead.

    A file has at most 1 GiB of text, the most that foreglow reads. Then the file appears, no more
    is written, and the log `foreglow.output` says so.

    each_s: continue in a new file after so many seconds of `clock`, or when one is full; 0: never.
    The files are called trace-1.vcd, trace-2.vcd …; numbers that exist are skipped.

    Raises WriteError if the folder does not exist or foreglow did not write the file. `send` raises
    it if the file cannot be written; nothing of the file is then left.
    """

    returns: ClassVar[bool] = False  # a full disk stays full

    def __init__(
        self, display: Display, path: Path, each_s: float = 0, clock: Clock | None = None
    ) -> None:
        super().__init__(display)
        self.path = path
        self._each_ns, self._real = round(each_s * SECOND_NS), clock or RealClock()
        self._begun_ns = 0  # of the present file
        check_target(self._next_path())
        self._file: VcdFile | None = None  # once there is something to write
        self._full = False
        self._later_ns: int | None = None  # VCD has no time before 0, but the first rest needs one
        self._high = [False] * len(self.bench.strips)  # data lines, as the last frame left them

    @classmethod
    def open(cls, address: Address, display: Display) -> VcdOutput:
        """vcd:FILE; each=10min: a new file every ten minutes (1 s to a week)."""
        address.only("each", place=True)
        return cls(display, Path(address.place), address.seconds("each", 0, 1, 7 * 86_400))

    @property
    def transport(self) -> Link:
        """There is no link between foreglow and the pins."""
        return Link(math.inf, 0.0, "", "")

    def _put(self, lines: list[Bytes]) -> None:
        if self._full or not any(line.size for line in lines):
            return
        waveforms: dict[str, Waveform] = {}
        begins_ns = self.bench.begins_ns(lines, self.bench.clock.now_ns())
        for number, data in enumerate(lines):
            waveforms |= self._waveforms(number, data, begins_ns[number])
        if self._later_ns is None:
            self._later_ns = max(0, -min(line.start_ns for line in waveforms.values()))
        waveforms = {name: line.moved(self._later_ns) for name, line in waveforms.items()}
        if self._each_ns and self._real.now_ns() - self._begun_ns >= self._each_ns:
            self._release()
        try:
            self._add(waveforms)
        except FullError as error:
            self._go_on(waveforms, error)
        self._high = [line.last_level for name, line in waveforms.items() if "clk" not in name]

    def _add(self, waveforms: dict[str, Waveform]) -> None:
        if self._file is None:
            self._begun_ns = self._real.now_ns()
            levels = {name: line.first_level for name, line in waveforms.items()}
            begin_ns = min(line.start_ns for line in waveforms.values())
            self._file = VcdFile(self._next_path(), levels, begin_ns)
        self._file.add(waveforms)

    def _go_on(self, waveforms: dict[str, Waveform], error: FullError) -> None:
        """The file is full: finish it, and begin the next one if `each_s` says so."""
        self._release()
        if self._each_ns:
            self._add(waveforms)
            return
        self._full = True
        _log.warning("%s; foreglow writes no more", str(error).partition("\n")[0])

    def _next_path(self) -> Path:
        if not self._each_ns:
            return self.path
        stem, dot, endings = self.path.name.partition(".")
        numbered = (
            self.path.with_name(f"{stem}-{number}{dot}{endings}") for number in itertools.count(1)
        )
        return next(path for path in numbered if not path.exists())

    def _release(self) -> None:
        """Finish the file. Raises WriteError."""
        file, self._file = self._file, None
        if file is not None:
            file.close()

    def _waveforms(self, number: int, data: Bytes, starts_ns: int) -> dict[str, Waveform]:
        """The waveform of one line, or of its clock and data, for one frame."""
        strip, wire = self.bench.strips[number], self.bench.display.chip.wire
        if isinstance(wire, OneWire):
            return {f"line_{number}": onewire.encode(data, wire, starts_ns)}
        clock, line = clocked.encode(data, strip.clock_hz, starts_ns, wire.rest_ns)
        if self._high[number]:  # data keeps its level until the first bit: a toggle more or less
            toggled = np.setxor1d(line.edges_ns, [starts_ns] if data.size else [])
            line = Waveform(toggled.astype(np.int64), True, line.start_ns, line.end_ns)
        return {f"clk_{number}": clock, f"data_{number}": line}
