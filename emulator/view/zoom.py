"""Which part of a wall a window shows."""

from __future__ import annotations

from dataclasses import dataclass, replace

from emulator.description.display import Display

KEY_STEP = 2**0.5  # so much nearer with each press of a key, and with each notch of the wheel
WHEEL_STEP = 2**0.25
_LEAST_CELLS = 4  # of the longer side of the wall that stay in sight


@dataclass(frozen=True)
class Zoom:
    """A part of the wall; every change makes a new object.

    factor: how much larger the wall is than as a whole in the window, from 1 to `most`. x, y: what
    is in the middle, as shares 0…1 of the wall.
    """

    factor: float = 1.0
    x: float = 0.5
    y: float = 0.5
    most: float = 1.0

    @classmethod
    def of(cls, display: Display) -> Zoom:
        """The whole wall of a display."""
        return cls(most=max(display.grid.columns, display.grid.rows) / _LEAST_CELLS)

    def nearer(self, by: float, at: tuple[float, float] | None = None) -> Zoom:
        """So many times as large; what is at shares of the wall stays where it is: its middle."""
        factor = min(self.factor * by, max(self.most, 1.0))
        if factor <= 1 + 1e-9:
            return self.whole()
        x, y = at or (self.x, self.y)
        kept = self.factor / factor
        return replace(self, factor=factor, x=x + (self.x - x) * kept, y=y + (self.y - y) * kept)

    def whole(self) -> Zoom:
        """The whole wall."""
        return Zoom(most=self.most)

    @property
    def words(self) -> str:
        """'2.8 times as large', 'the whole wall'."""
        return "the whole wall" if self.factor == 1 else f"{self.factor:.3g} times as large"
