"""The pins of a firmware as captures: frames and timing of every line."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from emulator.description.chips import Chip, OneWire
from emulator.ports.firmware.plan import LinePins
from emulator.signal.capture import Capture, decode_capture
from emulator.signal.waveform import Waveform, from_toggles

_REST_NS = 50_000  # ends a capture for chips that do not latch at a rest. Our choice
_MOST_CHANGES = 1 << 21  # in memory at a time: lines that never rest are cut


class PinReader:
    """Collects the changes of pins, and gives a capture when all lines are at rest.

    Its lines are `line_0` …, or `clk_0`, `data_0` … for a chip with a clock. Memory is bounded.
    """

    def __init__(self, chip: Chip, pins: Sequence[LinePins]) -> None:
        wire = chip.wire
        self._chip = chip
        self._names: list[str] = []
        self.pins: list[str] = []  # to be watched, in the order of their numbers
        for number, pin in enumerate(pins):
            for name, place in (
                (f"clk_{number}", pin.clock),
                (f"{'line' if pin.clock is None else 'data'}_{number}", pin.data),
            ):
                if place is not None:
                    self._names.append(name)
                    self.pins.append(place)
        self._rest_ns = max(wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns, _REST_NS)
        self._held: list[NDArray[np.void]] = []
        self._count = 0
        self._levels = [False] * len(self._names)
        self._begin_ns = 0

    def take(
        self, changes: NDArray[np.void], cycle: int, hz: int, last: bool = False
    ) -> list[Capture]:
        """Take changes (`LiveFirmware.read`) up to a cycle; returns the captures that are complete.

        hz: the controller's clock. last: nothing follows, so the rest is returned, too.
        """
        if changes.size:
            self._held.append(changes)
            self._count += changes.size
        if not self._count:
            return []
        held = np.concatenate(self._held)
        times_ns = held["cycle"].astype(np.int64) * 1_000_000_000 // hz
        now_ns = cycle * 1_000_000_000 // hz
        order = np.argsort(times_ns, kind="stable")
        held, times_ns = held[order], times_ns[order]
        rests = np.flatnonzero(np.diff(times_ns, append=now_ns) >= self._rest_ns) + 1
        if (last and not (rests == self._count).any()) or self._count > _MOST_CHANGES:
            rests = np.append(rests, self._count)
        found, begun = [], 0
        for end in rests:
            until_ns = int(times_ns[end]) if end < len(times_ns) else now_ns
            # The rest itself belongs to both, so that it is judged as the reset that it is.
            found.append(self._capture(held[begun:end], times_ns[begun:end], until_ns))
            begun = int(end)
        self._held, self._count = [held[begun:]], len(held) - begun
        return found

    def _capture(
        self, changes: NDArray[np.void], times_ns: NDArray[np.int64], end_ns: int
    ) -> Capture:
        waveforms: dict[str, Waveform] = {}
        for number, name in enumerate(self._names):
            edges = times_ns[changes["kind"] == number]
            waveforms[name] = from_toggles(
                edges, self._levels[number], self._begin_ns, max(end_ns, self._begin_ns)
            )
            self._levels[number] ^= bool(len(edges) & 1)
        self._begin_ns = int(times_ns[-1])
        return decode_capture(waveforms, self._chip)
