"""The frame rate and latency that the way from the program to the LEDs allows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from emulator.description.display import Display
from emulator.errors import laid_out
from emulator.signal.framing import frame_bytes
from emulator.strip import Strip, line_begins_ns


@dataclass(frozen=True)
class Link:
    """The limits of a link for one display.

    frames_per_s: the most whole frames a second. latency_s: from `send` until the LEDs of a
    frame latch, if no other frame is being sent. words: the reason for the limit. fix: how to raise
    it.
    """

    frames_per_s: float
    latency_s: float
    words: str
    fix: str

    def shortfall(self, wanted: float) -> str | None:
        """The message that so many frames a second are not possible; None if they are."""
        short = self.too_slow(wanted)
        return None if short is None else laid_out(short[0], fix=short[1])

    def too_slow(self, wanted: float) -> tuple[str, str] | None:
        """Problem and fix if so many frames a second are not possible; None if they are."""
        if wanted <= self.frames_per_s:
            return None
        most = math.floor(self.frames_per_s * 10) / 10
        return (
            f"{wanted:g} frames/s are not possible: {self.words}, at most {most:g} frames/s",
            f"{self.fix}, or ask for at most {most:g} frames/s.",
        )


def line_ns(display: Display, leds: int) -> tuple[int, int, int]:
    """For a line of some of the display's LEDs and the slowest picture, in ns: its bits, from their
    end until the last LED shows them, and the reset."""
    chip = display.chip
    strip = Strip(chip, leds, display.controller.clock_mhz * 1e6)
    count = frame_bytes(np.zeros((leds, chip.bytes_per_led), np.uint8), chip).size
    slowest = np.stack([np.zeros(count, np.uint8), np.full(count, 255, np.uint8)])
    wire_ns = int(strip.wire_ns_each(slowest).max())
    return wire_ns, int(strip.latch_ns_each(slowest).max()) - wire_ns, strip.reset_ns


def wire_link(display: Display) -> Link:
    """Only the LED wire: the bits of the longest line and the reset, for the slowest picture.

    If lines are sent in turn, the bits of all lines.
    """
    found = [line_ns(display, leds) for leds in display.wiring.line_lengths]
    wires_ns, rests_ns, resets_ns = np.array(found).T
    ends_ns = line_begins_ns(wires_ns, display) + wires_ns
    cycle_s = int((ends_ns + resets_ns).max()) / 1e9
    return Link(
        1 / cycle_s,
        int((ends_ns + rests_ns).max()) / 1e9,
        f"a frame takes {cycle_s * 1e3:.2f} ms on the LED wire"
        + (f" for {len(wires_ns)} lines in turn" if display.in_turn else ""),
        "send the lines together" if display.in_turn else "share the LEDs among more lines",
    )


def in_a_row(first: Link, then: Link) -> Link:
    """Two links in series; a frame can pass the second while the next frame passes the first."""
    slowest = min(first, then, key=lambda link: link.frames_per_s)
    latency_s = first.latency_s + then.latency_s
    return Link(slowest.frames_per_s, latency_s, slowest.words, slowest.fix)
