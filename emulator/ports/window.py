"""An output on the screen, in real time: the window shows what the LEDs have latched."""

from __future__ import annotations

from emulator.clock import Clock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.surface import SurfaceOutput
from emulator.view.controls import State
from emulator.window.screen import Screen


class WindowOutput(SurfaceOutput[Screen]):
    """A window with the controls of `foreglow view`. All else as for SurfaceOutput.

    `send` also takes a few milliseconds to draw, at most 60 times a second. The window takes events
    only during `send`: if a program computes for seconds between pictures, the window does not
    respond during that time.

    full_screen: fill the screen. Raises WindowError.
    """

    def __init__(
        self,
        display: Display,
        *,
        pixels_wide: int = 960,
        clock: Clock | None = None,
        full_screen: bool = False,
    ) -> None:
        def opens(display: Display, state: State, clock: Clock) -> Screen:
            screen = Screen(display, state, clock, pixels_wide)
            if full_screen:
                screen.fill_screen()
            return screen

        super().__init__(display, opens, clock)

    @classmethod
    def open(cls, address: Address, display: Display) -> WindowOutput:
        """window: or window:?full-screen=yes."""
        address.only("full-screen", place=False)
        full_screen = address.choice("full-screen", ("no", "yes")) == "yes"
        return cls(display, full_screen=full_screen)
