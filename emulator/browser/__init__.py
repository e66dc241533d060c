"""The wall in browsers, with aiohttp: a server in a thread of its own, and the page it serves.

aiohttp is HTTP, WebSocket and their limits in one library, and runs in any thread's event loop.
README.md in emulator/ports says how to use it.
"""

from emulator.errors import of_extra

with of_extra("browser", "the wall in a browser needs aiohttp"):
    import aiohttp  # noqa: F401

from emulator.browser.screen import BrowserScreen

__all__ = ["BrowserScreen"]
