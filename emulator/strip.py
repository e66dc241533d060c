"""A chain of chips on one line: which bytes each chip takes, and when it shows them.

A one-wire chip keeps the first bits after a reset and passes the rest on. Bits left after the last
LED fall off the end. Bits that come before the reset time has passed continue the frame before
them. An LED that did not get all its bits keeps its old value.

A one-wire chip passes data on after a delay (`pass_on_ns`), so each LED sees data and reset, and
latches, that much later than the LED before. The datasheets give only the largest delay; every
chip is assumed to have it. Chips with a clock line are assumed to latch together. If zero bytes
latch them, each zero byte latches 32 LEDs; without one, the data waits for more bytes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Bytes
from emulator.chain import Chain
from emulator.description.chips import Chip, Clocked, OneWire
from emulator.description.display import Display
from emulator.signal.framing import (
    LEDS_A_ZERO,
    START_BYTES,
    eight_bits,
    end_bytes,
    has_end_frame,
    has_seven_bits,
    in_order,
    is_framed,
    is_marked,
    led_bytes,
    unmarked,
    zero_bytes,
)

_END_OF_ONES = np.array([31, 255, 255, 255], dtype=np.uint8)


@dataclass(frozen=True)
class Arrival:
    """What happened to the bytes of one line: times in ns, counts of bytes and LEDs.

    ends_ns: the last bit has left the controller. ready_ns: the line has rested long enough for
    the next frame. latches_ns: the last LED shows the bytes, if nothing follows before `ready_ns`.
    early: the bytes came before the reset time had passed. bytes_over: bytes that fell off the end.
    leds_short: LEDs at the end that got nothing.
    """

    ends_ns: int
    ready_ns: int
    latches_ns: int
    early: bool
    bytes_over: int
    leds_short: int


@dataclass(frozen=True)
class Sent:
    """What happened to one frame. Times are integer nanoseconds on the bench's clock.

    starts_ns: its first bit left the controller. wire_ns: from then until its last one did, on
    whichever line that is. ready_ns: all lines have rested long enough for the next frame.
    latched_ns: the last LED of all lines shows this frame, if nothing follows before `ready_ns`.
    early: a line got the frame before its reset time had passed, so that its bits went to LEDs
    further down. lines: an Arrival for each line.
    """

    starts_ns: int
    wire_ns: int
    ready_ns: int
    latched_ns: int
    early: bool
    lines: tuple[Arrival, ...]

    @property
    def bytes_over(self) -> int:
        """Bytes that fell off the ends of the lines."""
        return sum(line.bytes_over for line in self.lines)

    @property
    def leds_short(self) -> int:
        """LEDs that got nothing, because a line's bytes ended before them."""
        return sum(line.leds_short for line in self.lines)


def line_begins_ns(wires_ns: NDArray[np.int64], display: Display) -> NDArray[np.int64]:
    """When each line begins (L, …), in ns after the frame does.

    wires_ns: (L, …) how long each line takes. Lines sent in turn follow one another at once; one
    that has no bytes takes no time.
    """
    return np.cumsum(wires_ns, axis=0) - wires_ns if display.in_turn else np.zeros_like(wires_ns)


def sent_of(starts_ns: int, lines: tuple[Arrival, ...]) -> Sent:
    """What happened to a frame, from what happened on each line."""
    return Sent(
        starts_ns,
        max(line.ends_ns for line in lines) - starts_ns,
        max(line.ready_ns for line in lines),
        max(line.latches_ns for line in lines),
        any(line.early for line in lines),
        lines,
    )


class Strip:
    """The state of one line of `leds` chips.

    chain: what each takes of the bytes, if the line as built differs from a line of such chips in
    a row; it may change from frame to frame. low_ns: how long the line is low after a frame, if
    that ends before the next one.
    """

    def __init__(
        self, chip: Chip, leds: int, clock_hz: float = 1e6, chain: Chain | None = None
    ) -> None:
        self.chip = chip
        self.chain = chain
        self.low_ns: int | None = None
        self.leds = leds
        self.clock_hz = clock_hz  # of chips with a clock line
        self._from_wire = chip.from_wire
        self._shown: Bytes = np.zeros((leds, chip.bytes_per_led), dtype=np.uint8)
        # Frames that the LEDs latch one after the other, oldest first: when LED 0 does, and what.
        self._latching: list[tuple[int, Bytes]] = []
        self._since_reset: Bytes = np.zeros(0, dtype=np.uint8)
        self._ends_ns = 0

    @cached_property
    def reset_ns(self) -> int:
        """How long the line must rest before the next frame."""
        wire = self.chip.wire
        return wire.reset_ns if isinstance(wire, OneWire) else wire.rest_ns

    @cached_property
    def pass_on_ns(self) -> int:
        """How much later each LED latches than the one before."""
        return self.chip.wire.pass_on_ns if isinstance(self.chip.wire, OneWire) else 0

    def wire_ns_each(self, data: Bytes) -> NDArray[np.int64]:
        """How long frames of bytes (…, B) take on the wire, int64 (…)."""
        bits = np.full(data.shape[:-1], data.shape[-1] * 8, dtype=np.int64)
        return self._wire_ns(bits, lambda: np.bitwise_count(data).sum(axis=-1, dtype=np.int64))

    def wire_ns_parts(self, data: Bytes, starts: NDArray[np.int64]) -> NDArray[np.int64]:
        """How long each part of bytes (B,) takes, (L,); they begin at `starts` (L,), none empty."""
        return self._wire_ns(
            8 * np.diff(starts, append=data.size),
            lambda: np.add.reduceat(np.bitwise_count(data), starts, dtype=np.int64),
        )

    def _wire_ns(
        self, bits: NDArray[np.int64], ones_of: Callable[[], NDArray[np.int64]]
    ) -> NDArray[np.int64]:
        """How long so many bits take, of which so many are ones."""
        wire = self.chip.wire
        if isinstance(wire, Clocked):
            return bits * round(1e9 / self.clock_hz)
        zero_ns, one_ns = wire.bit_ns
        if zero_ns == one_ns:
            return bits * one_ns
        ones = ones_of()
        return ones * one_ns + (bits - ones) * zero_ns

    def latch_ns_each(self, data: Bytes) -> NDArray[np.int64]:
        """How long after its start the last LED shows a frame of bytes (…, B), int64 (…)."""
        return self.wire_ns_each(data) + self.reset_ns + self._spread_ns

    @cached_property
    def _spread_ns(self) -> int:
        """How much later the last LED latches than the first."""
        return (self.leds - 1) * self.pass_on_ns

    def drives_at(self, time_ns: int) -> Bytes:
        """What the LEDs show, (leds, C) in drives order; not before the last `receive`. [ns]"""
        shown = self._shown
        for first_ns, coming in self._latching:
            if time_ns >= first_ns + self._spread_ns:
                shown = coming
            elif time_ns >= first_ns:
                latched = 1 + (time_ns - first_ns) // self.pass_on_ns
                shown = np.concatenate([coming[:latched], shown[latched:]])
        return shown[:, self._from_wire]

    def frame_at(self, time_ns: int) -> Bytes:
        """As `drives_at`, but with all LEDs latching a frame together with the first."""
        shown = self._shown
        for first_ns, coming in self._latching:
            if time_ns >= first_ns:
                shown = coming
        return shown[:, self._from_wire]

    @property
    def latched(self) -> Bytes:
        """What the last frame leaves them showing: (leds, C) in drives order."""
        return (self._latching[-1][1] if self._latching else self._shown)[:, self._from_wire]

    def lose(self, which: NDArray[np.bool_]) -> None:
        """Chips (leds,) that had no supply forget what they latched."""
        if which.any():
            self._shown = np.where(which[:, None], np.uint8(0), self._shown)
            self._latching = [
                (at_ns, np.where(which[:, None], np.uint8(0), frame))
                for at_ns, frame in self._latching
            ]

    def goes_on_at(self, time_ns: int) -> bool:
        """Whether bytes that start then would continue the frame before them."""
        waits = has_seven_bits(self.chip) or time_ns < self._ends_ns + self.reset_ns
        waits |= self._never_rests
        return waits and self._since_reset.size > 0

    @property
    def _never_rests(self) -> bool:
        """Whether the line is never low for long enough to latch."""
        return self.low_ns is not None and self.low_ns < self.reset_ns

    def receive(self, data: Bytes, starts_ns: int, ends_ns: int | None = None) -> Arrival:
        """Take bytes (B,) that start on the wire at `starts_ns`, after all before have ended.

        An empty array leaves the line as it was. ends_ns: when the controller has sent its last
        bit, if the chips read something else than it sent.
        """
        if not data.size:
            return self._arrival(ends_ns or starts_ns, False, 0, self.leds)
        while self._latching and self._latching[0][0] + self._spread_ns <= starts_ns:
            self._shown = self._latching.pop(0)[1]
        early = self.goes_on_at(starts_ns)
        if early:
            del self._latching[-1:]  # these bytes still waited for a zero byte
            data_in_frame = np.concatenate([self._since_reset, data])
        else:
            data_in_frame = data
        # Later bytes fall off the end.
        room = self.leds * self.chip.bytes_per_led if self.chain is None else self.chain.length
        if has_end_frame(self.chip):
            taken = led_bytes(data, self.chip)
            # The end frame may be ones (APA102 datasheet): to a longer chain they would be LEDs.
            over = int((taken[self.leds :] != _END_OF_ONES).any(axis=1).sum()) * taken.shape[1]
            taken = _clocked_down(taken, data.size * 8)
            self._since_reset = data[:0]
        elif has_seven_bits(self.chip):
            body = np.trim_zeros(data_in_frame, "f")
            taken = led_bytes(body, self.chip)
            over = max(len(taken) - self.leds, 0) * self.chip.bytes_per_led
            zeros = body.size - np.trim_zeros(body, "b").size
            taken = taken[: LEDS_A_ZERO * zeros]
            self._since_reset = body[: 0 if zeros else room]
        else:
            taken = led_bytes(data_in_frame, self.chip)
            over = max(data_in_frame.size - room, 0)
            self._since_reset = data_in_frame[:room]
        coming = (self._latching[-1][1] if self._latching else self._shown).copy()
        if self.chain is None:
            count = min(len(taken), self.leds)
            coming[:count] = taken[:count]
        else:
            framed = is_framed(self.chip)
            values, got = self.chain.take(taken.reshape(-1) if framed else data_in_frame)
            coming[got] = values[got][:, self.chip.to_wire]
            count = int(got.sum())
        self._ends_ns = ends_ns or starts_ns + int(self.wire_ns_each(data))
        if not self._never_rests:
            self._latching.append((self._ends_ns + self.reset_ns, coming))
        return self._arrival(self._ends_ns, early, over, self.leds - count)

    def _arrival(self, ends_ns: int, early: bool, bytes_over: int, leds_short: int) -> Arrival:
        ready_ns = ends_ns + self.reset_ns
        return Arrival(ends_ns, ready_ns, ready_ns + self._spread_ns, early, bytes_over, leds_short)

    def takes_whole(self, data: Bytes) -> NDArray[np.bool_]:
        """bool (T,): which frames (T, B) hold all LEDs and no more, in the chip's framing."""
        size = self.leds * self.chip.bytes_per_led
        if has_seven_bits(self.chip):
            if data.shape[1] < size + zero_bytes(self.leds):
                return np.zeros(len(data), dtype=np.bool_)
            high = (data[:, :size] >= 0x80).all(axis=1)
            return np.asarray(high & ~data[:, size:].any(axis=1))
        if not has_end_frame(self.chip):
            return np.full(len(data), data.shape[1] == size)
        body = data[:, START_BYTES : START_BYTES + size]
        end = data[:, START_BYTES + size :]
        if end.shape[1] < end_bytes(self.leds):
            return np.zeros(len(data), dtype=np.bool_)
        ended = ~is_marked(end[:, 0]) | (end == 255).all(axis=1)
        marked = is_marked(body[:, :: self.chip.bytes_per_led]).all(axis=1)
        whole: NDArray[np.bool_] = ~data[:, :START_BYTES].any(axis=1) & marked & ended
        return whole

    def whole_arrivals(self, data: Bytes, starts_ns: NDArray[np.int64]) -> list[Arrival]:
        """What happens to frames (T, B) that `receive_stack` takes at starts_ns (T,) int64."""
        ends_ns = starts_ns + self.wire_ns_each(data)
        return [self.whole_arrival(end) for end in ends_ns.tolist()]

    def whole_arrival(self, ends_ns: int) -> Arrival:
        """What happens to a frame for all LEDs of a line at rest, whose last bit leaves then."""
        return self._arrival(ends_ns, False, 0, 0)

    def receive_stack(self, data: Bytes, starts_ns: NDArray[np.int64]) -> Bytes:
        """Take frames (T, B) at starts_ns (T,); T is at least 1.

        Each must be whole (`takes_whole`), and none may continue the one before (`goes_on_at`).
        Returns (T, leds, C) in drives order: what the LEDs show after each frame.
        """
        self.receive(data[-1], int(starts_ns[-1]))
        size = self.leds * self.chip.bytes_per_led
        begin = START_BYTES if has_end_frame(self.chip) else 0
        body = data[:, begin : begin + size]
        if has_seven_bits(self.chip):
            body = eight_bits(body)
        words = body.reshape(len(data), self.leds, self.chip.bytes_per_led)
        if has_end_frame(self.chip):
            words = unmarked(words)
        return in_order(words, self._from_wire)


def _clocked_down(taken: Bytes, bits: int) -> Bytes:
    """The LEDs of `taken` (n, C) whose data reaches them with so many more clock bits.

    Each chip passes data on half a clock later, so LED k needs k/2 clock bits after its own
    bits (APA102 datasheet: an end frame of at least n/2 clock edges).
    """
    number = np.arange(len(taken))
    needed = 8 * START_BYTES + 8 * taken.shape[1] * (number + 1) + (number + 1) // 2
    carried: Bytes = taken[needed <= bits]
    return carried
