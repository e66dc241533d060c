"""An output in browsers, in real time: pages on this machine, or elsewhere, show the wall."""

from __future__ import annotations

import re
import sys

from emulator.browser import BrowserScreen
from emulator.clock import Clock
from emulator.description.display import Display
from emulator.ports.address import Address
from emulator.ports.surface import SurfaceOutput

PORT = 8080
_TOKEN = re.compile("[A-Za-z0-9_-]{16,128}", re.ASCII)


class BrowserOutput(SurfaceOutput[BrowserScreen]):
    """Serves the wall to as many browsers as come, as `foreglow view --browser` does.

    `send` waits for no viewer: other threads draw, encode and send. All else as for SurfaceOutput.

    port: 0 for a free one. host: the interface to serve; without it only this machine can look.
    token: what the address of the page must have; made for you if it is needed. url: that address.
    Raises WindowError, and UnsupportedError without aiohttp.
    """

    def __init__(
        self,
        display: Display,
        *,
        port: int = PORT,
        host: str = "",
        token: str = "",
        pixels_wide: int = 960,
        clock: Clock | None = None,
    ) -> None:
        super().__init__(
            display,
            lambda display, state, clock: BrowserScreen(
                display, state, clock, port, host=host, token=token, pixels_wide=pixels_wide
            ),
            clock,
        )
        self.url = self.screen.url

    @property
    def beside(self) -> bool:
        """As Output.beside: its emulated wire takes real time."""
        return True

    @classmethod
    def open(cls, address: Address, display: Display) -> BrowserOutput:
        """browser:, browser:8080 or browser:8080?host=0.0.0.0&token=…; prints where to look."""
        address.only("host", "token", place=bool(address.place))
        port, host = address.place or str(PORT), address.options.get("host", "")
        if not re.fullmatch(r"\d{1,5}", port, re.ASCII) or int(port) > 65535:
            raise address.error(f"the port '{port}'", "give one from 1 to 65535: browser:8080.")
        if "host" in address.options and not host:
            raise address.error("host=", "name an address of this machine, or 0.0.0.0 for all.")
        token = address.options.get("token", "")
        if "token" in address.options and not _TOKEN.fullmatch(token):
            fix = "use 16 letters, digits, - or _ at least; without token= foreglow makes one."
            raise address.error("token=…", fix)
        output = cls(display, port=int(port), host=host, token=token)
        print(f"The wall is at {output.url}", file=sys.stderr, flush=True)
        return output
