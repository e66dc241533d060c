"""Counts what a show has shown so far."""

from __future__ import annotations

from collections import Counter

from emulator.description.display import Display
from harness.show.loop import Slot
from harness.show.record.current import CurrentLog
from harness.show.wall import LiveWall


class Tally:
    """Counts slots: give `take` to a Show to watch with.

    frames: sent. late: slots for which the scene's picture had not come. skipped: slots left out
    because the output was busy. unsent: slots while the output was out. lost: frames that a serial
    link did not carry, or its board did not acknowledge. shown: slots by whose picture it was.
    current: of the frames sent, as the emulated display or the twin shows them.
    """

    def __init__(self, wall: LiveWall) -> None:
        self._wall = wall
        self.display: Display = wall.display
        self.frames = self.late = self.skipped = self.unsent = 0
        self.shown: Counter[str] = Counter()
        self.current = CurrentLog(self.display)

    def take(self, slot: Slot) -> None:
        """Count a slot."""
        self.skipped += slot.skipped
        self.late += slot.late
        self.shown[slot.shown] += 1
        bench = self._wall.bench
        if slot.sent is None or bench is None:
            self.unsent += 1
        else:
            self.frames += 1
            self.current.take(slot.sent.latched_ns, bench.drives)

    @property
    def lost(self) -> int:
        return self._wall.lost

    def line(self) -> str:
        """The counts as one line."""
        amps = f"{self.current.mean_a:.2f} A on average, {self.current.most_a:.2f} A at most"
        left_out = self.skipped + self.unsent
        shown = ", ".join(f"{count} {name}" for name, count in self.shown.items())
        return (
            f"{self.frames} frames ({shown}), {self.late} late, {left_out} left out,"
            f" {self.lost} lost on the link, {amps}"
        )
