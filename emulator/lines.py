"""The strips of all lines of a wall, which most often take whole frames together.

A frame that has the bytes of all LEDs, and begins when every line is at rest, leaves nothing of
what was there before. Such frames are kept as they came, and one calculation does what each strip
would do for its line. The strips take them only when somebody looks at a strip, or when something
else comes.
"""

from __future__ import annotations

from collections import deque
from typing import NamedTuple

import numpy as np

from emulator.arrays import Bytes, Ints
from emulator.chain import Chain
from emulator.description.display import Display
from emulator.signal.framing import in_order, is_framed
from emulator.strip import Arrival, Strip


class _Whole(NamedTuple):
    """A frame for all LEDs: bytes (N · C,) of all lines in a row; times (L,) in ns."""

    data: Bytes
    begins_ns: Ints
    ends_ns: Ints


class Lines:
    """The state of all lines of a display.

    clock_hz: of chips with a clock line. chains: what the chips of each line take of the bytes, if
    the wall is not as planned.
    """

    def __init__(
        self, display: Display, clock_hz: float, chains: tuple[Chain, ...] | None = None
    ) -> None:
        chip, leds = display.chip, display.wiring.line_lengths
        self._strips = (
            tuple(Strip(chip, count, clock_hz) for count in leds)
            if chains is None
            else tuple(Strip(chip, chain.chips, clock_hz, chain) for chain in chains)
        )
        self._chip = chip
        self._plain = chains is None and not is_framed(chip) and min(leds) > 0
        self._sizes = [count * chip.bytes_per_led for count in leds]
        self._starts = np.cumsum([0, *self._sizes[:-1]])
        # Oldest first; the strips do not have them yet. Bits take longer to come than to be passed
        # on, so the frame before the last may still be latching, and no other.
        self._kept: deque[_Whole] = deque(maxlen=2)

    @property
    def strips(self) -> tuple[Strip, ...]:
        """Each line, as it is now."""
        self._catch_up()
        return self._strips

    def receive(self, lines: list[Bytes], begins_ns: list[int]) -> tuple[Arrival, ...]:
        """Let each line take bytes (B,) from a time on, after all before have ended."""
        if not self._replaces_all(lines, begins_ns):
            self._catch_up()
            return self._take(lines, begins_ns)
        data, begins = np.concatenate(lines), np.array(begins_ns)
        ends = begins + self._strips[0].wire_ns_parts(data, self._starts)
        self._kept.append(_Whole(data, begins, ends))
        arrivals: dict[tuple[int, int], Arrival] = {}  # most lines are alike
        for strip, end_ns in zip(self._strips, ends.tolist(), strict=True):
            key = end_ns, strip.leds
            if key not in arrivals:
                arrivals[key] = strip.whole_arrival(end_ns)
        return tuple(
            arrivals[end_ns, strip.leds]
            for strip, end_ns in zip(self._strips, ends.tolist(), strict=True)
        )

    def frame_at(self, time_ns: int) -> Bytes:
        """What all LEDs (N, C) show, in drives order; those of a line latch together with its
        first."""
        if self._kept and time_ns >= int(self._kept[-1].ends_ns.max()) + self._strips[0].reset_ns:
            words = self._kept[-1].data.reshape(-1, self._chip.bytes_per_led)
            return in_order(words, self._chip.from_wire)
        return np.concatenate([strip.frame_at(time_ns) for strip in self.strips])

    def _catch_up(self) -> None:
        """Give the strips what they do not have yet."""
        while self._kept:
            frame = self._kept.popleft()
            self._take(np.split(frame.data, self._starts[1:]), frame.begins_ns.tolist())

    def _take(self, lines: list[Bytes], begins_ns: list[int]) -> tuple[Arrival, ...]:
        """As `receive`, line by line."""
        return tuple(
            strip.receive(data, begin_ns)
            for strip, data, begin_ns in zip(self._strips, lines, begins_ns, strict=True)
        )

    def _replaces_all(self, lines: list[Bytes], begins_ns: list[int]) -> bool:
        """Whether these bytes are whole frames for lines at rest."""
        if not self._plain or [data.size for data in lines] != self._sizes:
            return False
        if not self._kept:
            return not any(map(Strip.goes_on_at, self._strips, begins_ns))
        ready_ns = self._kept[-1].ends_ns + self._strips[0].reset_ns
        return bool((np.array(begins_ns) >= ready_ns).all())
