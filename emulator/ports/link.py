"""The frame rate and latency that the way from the program to the LEDs allows."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from emulator.canvas import line_bytes
from emulator.description.display import Display
from emulator.errors import laid_out
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


def wire_link(display: Display) -> Link:
    """Only the LED wire: the bits of the longest line and the reset, for the slowest picture.

    If lines are sent in turn, the bits of all lines.
    """
    hz = display.controller.clock_mhz * 1e6
    wires_ns, rests_ns = [], []
    for leds, count in zip(display.wiring.line_lengths, line_bytes(display), strict=True):
        strip = Strip(display.chip, leds, hz)
        slowest = np.stack([np.zeros(count, np.uint8), np.full(count, 255, np.uint8)])
        wires_ns.append(int(strip.wire_ns_each(slowest).max()))
        rests_ns.append(int(strip.latch_ns_each(slowest).max()) - wires_ns[-1])
    ends_ns = line_begins_ns(np.array(wires_ns), display) + wires_ns
    cycle_s = (int(ends_ns.max()) + strip.reset_ns) / 1e9
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
