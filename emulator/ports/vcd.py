"""A capture file as an output: what the data pins would do, for a logic analyser's viewer."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from emulator.description.chips import OneWire
from emulator.description.display import Display
from emulator.errors import WriteError
from emulator.ports.address import Address
from emulator.ports.link import Link
from emulator.ports.remote import RemoteOutput
from emulator.signal import clocked, onewire
from emulator.signal.vcd import write_vcd
from emulator.signal.waveform import Waveform
from emulator.strip import Bytes

MOST_BYTES = 1 << 20  # on all lines: every byte becomes 16 edges


class VcdOutput(RemoteOutput):
    """Keeps what is sent and writes it as VCD when closed, gzipped if the name ends in .gz.

    Time is simulated: frames follow one another as fast as the wire lets them. A line is called
    `line_0`, `line_1` …; chips with a clock have `data_0` and `clk_0` … instead.

    Raises WriteError where the folder does not exist, and from `send` once 1 MiB has been sent;
    what came before is written.
    """

    def __init__(self, display: Display, path: Path) -> None:
        super().__init__(display)
        if not path.parent.is_dir() or path.is_dir():
            raise WriteError(
                f"{path}: cannot be written\n  To mend: name a file in a folder that exists."
            )
        self.path = path
        self._sent: list[list[tuple[int, Bytes]]] = [[] for _ in self.bench.strips]
        self._bytes = 0

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
        self._bytes += sum(line.size for line in lines)
        if self._bytes > MOST_BYTES:
            raise WriteError(
                f"{self.path}: over {MOST_BYTES >> 20} MiB of frames\n"
                "  To mend: close the output and go on in another file, or send fewer frames."
            )
        starts_ns = self.bench.clock.now_ns()
        for sent, data in zip(self._sent, lines, strict=True):
            if data.size:
                sent.append((starts_ns, data.copy()))

    def _release(self) -> None:
        """Write the file. Raises CaptureError."""
        if any(self._sent):
            write_vcd(self.path, self._waveforms())

    def _waveforms(self) -> dict[str, Waveform]:
        wire = self.bench.display.chip.wire
        waveforms: dict[str, Waveform] = {}
        for number, (strip, sent) in enumerate(zip(self.bench.strips, self._sent, strict=True)):
            starts = [starts_ns for starts_ns, _ in sent]
            if isinstance(wire, OneWire):
                pieces = [onewire.encode(data, wire, starts_ns) for starts_ns, data in sent]
                waveforms[f"line_{number}"] = _joined(pieces, starts)
            else:
                hz, rest_ns = strip.clock_hz, wire.rest_ns
                pairs = [clocked.encode(data, hz, starts_ns, rest_ns) for starts_ns, data in sent]
                waveforms[f"clk_{number}"] = _joined([clock for clock, _ in pairs], starts)
                waveforms[f"data_{number}"] = _joined([data for _, data in pairs], starts)
        return waveforms


def _joined(pieces: list[Waveform], starts_ns: list[int]) -> Waveform:
    """One waveform of the frames that begin at `starts_ns`, one after the other."""
    edges, high = [], False
    for piece, start_ns in zip(pieces, starts_ns, strict=True):
        # A data line that the frame before left high begins high: one toggle more, or less.
        edges.append(np.setxor1d(piece.edges_ns, [start_ns]) if high else piece.edges_ns)
        high ^= bool(edges[-1].size & 1)
    if not pieces:
        return Waveform(np.zeros(0, np.int64), False, 0, 1)
    return Waveform(np.concatenate(edges), False, pieces[0].start_ns, pieces[-1].end_ns)
