"""A capture file as an output: what the data pins would do, for a logic analyser's viewer."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.files import check_target
from emulator.ports.address import Address
from emulator.ports.link import Link
from emulator.ports.remote import RemoteOutput
from emulator.signal import clocked, onewire
from emulator.signal.vcdfile import VcdFile
from emulator.signal.waveform import Waveform
from emulator.strip import Bytes


class VcdOutput(RemoteOutput):
    """Writes what is sent as VCD, gzipped if the name ends in .gz; the file appears when closed.

    Memory does not grow; the file does, by some 220 bytes for each that is sent (gzipped, by
    some 40). Time is simulated: frames follow one another as fast as the wire lets them. A
    line is called `line_0`, `line_1` …; chips with a clock have `clk_0`, `data_0` … instead.

    Raises WriteError where the folder does not exist, and from `send` where the file cannot be
    written (nothing of it is then left), or would hold over 1 GiB of text, which is as much as is
    read again: what came before then appears all the same.
    """

    def __init__(self, display: Display, path: Path) -> None:
        super().__init__(display)
        check_target(path)
        self.path = path
        self._file: VcdFile | None = None  # once there is something to write
        self._later_ns = 0  # VCD has no time before 0, where the rest before the first frame lies
        self._high = [False] * len(self.bench.strips)  # data lines, as the last frame left them

    @classmethod
    def open(cls, address: Address, display: Display) -> VcdOutput:
        """vcd:FILE; no options."""
        address.only(place=True)
        return cls(display, Path(address.place))

    @property
    def transport(self) -> Link:
        """Nothing lies between here and the pins."""
        return Link(math.inf, 0.0, "", "")

    def _put(self, lines: list[Bytes]) -> None:
        if not any(line.size for line in lines):
            return
        starts_ns = self.bench.clock.now_ns()
        waveforms: dict[str, Waveform] = {}
        for number, data in enumerate(lines):
            waveforms |= self._waveforms(number, data, starts_ns)
        if self._file is None:
            begin_ns = min(line.start_ns for line in waveforms.values())
            self._later_ns = max(0, -begin_ns)
            self._file = VcdFile(self.path, dict.fromkeys(waveforms, False), max(0, begin_ns))
        self._file.add({name: line.moved(self._later_ns) for name, line in waveforms.items()})
        self._high = [line.last_level for name, line in waveforms.items() if "clk" not in name]

    def _release(self) -> None:
        """Let the file appear. Raises WriteError."""
        if self._file is not None:
            self._file.close()

    def _waveforms(self, number: int, data: Bytes, starts_ns: int) -> dict[str, Waveform]:
        """What one line does, or its clock and data, for one frame."""
        strip, wire = self.bench.strips[number], self.bench.display.chip.wire
        if isinstance(wire, OneWire):
            return {f"line_{number}": onewire.encode(data, wire, starts_ns)}
        clock, line = clocked.encode(data, strip.clock_hz, starts_ns, wire.rest_ns)
        if self._high[number]:  # data stays as it was until the first bit: one toggle more, or less
            toggled = np.setxor1d(line.edges_ns, [starts_ns] if data.size else [])
            line = Waveform(toggled.astype(np.int64), True, line.start_ns, line.end_ns)
        return {f"clk_{number}": clock, f"data_{number}": line}
