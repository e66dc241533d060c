"""One line of LEDs at the pins of an SPI controller: transfers in, frames out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from emulator.arrays import Bytes
from emulator.description.chips import Chip, Clocked, OneWire
from emulator.signal import clocked, onewire
from emulator.signal.frames import LineFrames
from emulator.signal.spi import CPOL, Idle, Transfer, mosi, sclk
from emulator.signal.timing import Timing, judge, judge_clock
from emulator.signal.waveform import Waveform

_START_BITS = 32  # APA102 datasheet: zero bits before a frame
_MOST_BYTES = 1 << 22  # most bytes that are kept of transfers without a latch between them


@dataclass(frozen=True, eq=False)
class Burst:
    """The signals on a line from one latching rest to the next.

    mosi, sclk: the waveforms; sclk is None for one-wire chips. frames: the bits that the first LED
    took. timing: of those bits. low_ns: how long zero bits kept MOSI low at the end. rose_ns: when
    MOSI rose before the burst and stayed high; None if it did not.
    """

    transfers: tuple[Transfer, ...]
    mosi: Waveform
    sclk: Waveform | None
    frames: LineFrames
    timing: Timing
    low_ns: int
    rose_ns: int | None

    def whole_bytes(self) -> list[Bytes]:
        """The whole bytes of each frame, uint8 (B,)."""
        return [
            data[: int(bits) // 8]
            for data, bits in zip(self.frames.frames(), self.frames.bit_counts, strict=True)
        ]


class SpiLine:
    """MOSI and SCLK at the first LED of a line.

    A burst ends when the LEDs have certainly latched it. If they never do, because MOSI or the
    clock rests high, `waiting` has the transfers so far; those beyond 4 MiB are dropped.
    """

    def __init__(self, chip: Chip, idle: Idle) -> None:
        self._chip, self._idle = chip, idle
        self.waiting: list[Transfer] = []
        self._size = 0
        self._low_from_ns = 0  # since when MOSI is low; valid after a transfer
        self._high = idle == "high"  # level of MOSI before the waiting transfers
        self._rose_ns: int | None = None  # when it rose; None if it was not low before

    def add(self, transfer: Transfer) -> list[Burst]:
        """Take a transfer, which begins after the end of the last; returns the bursts it ends."""
        ended = [self._finish(transfer.begin_ns, transfer)] if self._parts(transfer) else []
        if self._size <= _MOST_BYTES:
            self.waiting.append(transfer)
            self._size += transfer.data.size
        if transfer.after_ones:
            self._low_from_ns = transfer.end_ns - transfer.low_tail_ns
        elif len(self.waiting) == 1 or self._rests_high(self.waiting[-2]):
            self._low_from_ns = transfer.begin_ns
        wire = self._chip.wire
        if isinstance(wire, OneWire) and transfer.end_ns - self._low_from_ns >= wire.reset_ns:
            ended.append(self._finish(transfer.end_ns + wire.reset_ns))
        return ended

    def rest(self) -> list[Burst]:
        """Nothing follows for a long time: returns the burst that waits, if the LEDs latch it."""
        if not self.waiting or self.stuck:
            return []
        last, wire = self.waiting[-1], self._chip.wire
        rest_ns = wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns
        return [self._finish(last.end_ns + max(rest_ns, round(last.bit_ns)))]

    @property
    def stuck(self) -> bool:
        """Whether the waiting transfers will never be latched, however long nothing follows."""
        if not self.waiting:
            return False
        last, wire = self.waiting[-1], self._chip.wire
        if isinstance(wire, OneWire):
            return self._rests_high(last)
        return wire.latch == "rest" and bool(last.mode & CPOL)

    def _rests_high(self, after: Transfer) -> bool:
        """Whether MOSI is high after a transfer."""
        return self._idle == "high" or (self._idle == "last" and bool(after.bits[-1:].any()))

    def _parts(self, then: Transfer) -> bool:
        """Whether the LEDs latch the waiting transfers before another transfer continues them."""
        if not self.waiting:
            return False
        last, wire = self.waiting[-1], self._chip.wire
        first = then.first_one
        if isinstance(wire, OneWire):
            if self._rests_high(last):
                lead_ns = round(first * then.bit_ns)
                return max(last.end_ns - self._low_from_ns, lead_ns) >= wire.reset_ns
            low_to_ns = then.begin_ns + round(first * then.bit_ns)
            return low_to_ns - self._low_from_ns >= wire.reset_ns
        if wire.latch == "rest":
            return not last.mode & CPOL and then.begin_ns - last.end_ns >= wire.rest_ns
        lit = any(one.after_ones for one in self.waiting)
        if wire.latch == "end frame":
            return lit and then.after_ones > 0 and first >= _START_BITS
        return lit and then.after_ones > 0 and last.bits.size > 0 and not last.bits[-8:].any()

    def _finish(self, until_ns: int, then: Transfer | None = None) -> Burst:
        """The burst of the waiting transfers, up to a time, or up to the next transfer."""
        transfers, wire = tuple(self.waiting), self._chip.wire
        first, last = transfers[0], transfers[-1]
        rest_ns = wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns + 1_000_000
        low_ns = max(last.end_ns - self._low_from_ns, 0)
        high = self._rests_high(last)
        end_ns = max(until_ns, last.end_ns + 1)
        start_ns = first.begin_ns - rest_ns if self._rose_ns is None else self._rose_ns
        line = judged = mosi(transfers, self._idle, self._high, start_ns, end_ns)
        if self._rose_ns is not None:  # MOSI was low before: the chip counts this pulse
            edges = np.concatenate([[start_ns], line.edges_ns])
            line = Waveform(edges, False, start_ns - rest_ns, end_ns)
        if high and then is not None and low_ns < rest_ns:  # leading zeros of the next one latch
            edges = np.append(line.edges_ns, then.begin_ns)
            line = Waveform(edges, line.first_level, line.start_ns, then.begin_ns + rest_ns)
            high = False
        elif line.edges_ns.size and line.last_level and line.edges_ns[-1] == last.end_ns:
            line = line.parted(last.end_ns - 1, end_ns)[0]  # what it does next is of the next burst
        clock: Waveform | None = None
        if isinstance(wire, Clocked):
            clock = sclk(transfers, start_ns, end_ns)
            frames, timing = clocked.decode(clock, line, wire), judge_clock(clock, wire)
        else:
            # The rests are not judged: the program did not send them as pulses.
            seen = onewire.pulses(line, wire)
            frames = onewire.decode(line, wire, seen)
            timing = judge(judged, wire, seen if line is judged else None)
        burst = Burst(transfers, line, clock, frames, timing, low_ns, self._rose_ns)
        self.waiting, self._size = [], 0
        self._high = high
        self._rose_ns = last.end_ns if self._high else None
        return burst
