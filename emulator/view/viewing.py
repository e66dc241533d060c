"""From which distance, in which light and in which colours the window shows the wall."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from emulator.description.display import Display

# The steps of the keys: about even to the eye.
DISTANCES_M = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 20.0, 30.0, 50.0, 100.0)
AMBIENTS_LX = (0.0, 10.0, 50.0, 200.0, 500.0, 1000.0, 5000.0, 20_000.0, 100_000.0)


@dataclass(frozen=True)
class Viewing:
    """How the wall is seen; every change makes a new object.

    night: a dark room, seen by an adapted eye (emulator.light.adaptation); ambient_lx is kept for
    the end of the night. led_colours: the LEDs' own colours, not those that the picture means.
    """

    distance_m: float = 3.0
    ambient_lx: float = 0.0
    night: bool = False
    led_colours: bool = False

    @classmethod
    def of(
        cls, display: Display, distance_m: float | None = None, ambient_lx: float | None = None
    ) -> Viewing:
        """As given, else as in the display's [view]; a dark room if neither has ambient light."""
        view = display.view
        if ambient_lx is None:
            ambient_lx = view.ambient_lx if "ambient_lx" in view.model_fields_set else 0.0
        return cls(view.distance_m if distance_m is None else distance_m, ambient_lx)

    def moved(self, steps: int) -> Viewing:
        """The same view, so many steps further away; negative: nearer."""
        return replace(self, distance_m=_stepped(DISTANCES_M, self.distance_m, steps))

    def lit(self, steps: int) -> Viewing:
        """The same view with so many steps more ambient light; negative: less. Ends the night."""
        return replace(self, ambient_lx=_stepped(AMBIENTS_LX, self.around_lx, steps), night=False)

    @property
    def around_lx(self) -> float:
        """The light that falls on the front in lx; 0 at night."""
        return 0.0 if self.night else self.ambient_lx

    @property
    def distance_words(self) -> str:
        """'6 m'."""
        return f"{self.distance_m:g} m"

    @property
    def light_words(self) -> str:
        """'200 lx', 'dark room' or 'night'."""
        if self.night:
            return "night"
        return f"{self.ambient_lx:g} lx" if self.ambient_lx else "dark room"

    @property
    def words(self) -> str:
        """'from 6 m, 200 lx, colours as meant'."""
        return f"from {self.distance_words}, {self.light_words}, colours {self.colour_words}"

    @property
    def colour_words(self) -> str:
        """'as meant' or 'as the LEDs are'."""
        return "as the LEDs are" if self.led_colours else "as meant"


def _stepped(table: Sequence[float], value: float, steps: int) -> float:
    """The next value of a rising table above or below the present one; stays at its ends."""
    for _ in range(abs(steps)):
        beyond = [v for v in table if (v > value if steps > 0 else v < value)]
        if not beyond:
            break
        value = beyond[0] if steps > 0 else beyond[-1]
    return value
