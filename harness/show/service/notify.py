"""Reports the state of the show to the service manager: sd_notify(3)."""

from __future__ import annotations

import contextlib
import os
import socket
from collections.abc import MutableMapping

from emulator.clock import SECOND_NS
from emulator.closing import Closing


class Notify(Closing):
    """Datagrams to the socket that NOTIFY_SOCKET names; without it, nothing.

    A name that begins with @ is in the abstract namespace. WATCHDOG_USEC is the time within which
    the manager expects a sign of life, if it means this process (WATCHDOG_PID). These variables are
    removed from `environment`: they are not for processes that the show starts.
    """

    def __init__(self, environment: MutableMapping[str, str] = os.environ) -> None:
        address = environment.pop("NOTIFY_SOCKET", "")
        within = environment.pop("WATCHDOG_USEC", "")
        process = environment.pop("WATCHDOG_PID", "") or str(os.getpid())
        self._socket: socket.socket | None = None
        # Twice as often as required, as sd_watchdog_enabled(3) advises.
        meant = within.isdigit() and process == str(os.getpid())
        self._every_ns = int(within) * 1000 // 2 if meant else 0
        self._due_ns = 0
        if address[:1] in ("/", "@") and hasattr(socket, "AF_UNIX"):
            self._address = "\0" + address[1:] if address[0] == "@" else address
            self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
            self._socket.setblocking(False)  # a manager that does not read does not stop a show

    def ready(self, status: str) -> None:
        """The show begins; status: what the manager shows to people."""
        self._say(f"READY=1\nSTATUS={' '.join(status.split())}")

    def alive(self, now_ns: int) -> None:
        """The show goes on. Call it often: it sends a sign of life as often as the manager asks."""
        if self._every_ns and now_ns >= self._due_ns:
            self._due_ns = now_ns + min(self._every_ns, 3600 * SECOND_NS)
            self._say("WATCHDOG=1")

    def stopping(self) -> None:
        """The show ends."""
        self._say("STOPPING=1")

    def close(self) -> None:
        """Close the socket."""
        if self._socket is not None:
            self._socket.close()
            self._socket = None

    def _say(self, words: str) -> None:
        if self._socket is not None:
            with contextlib.suppress(OSError):
                self._socket.sendto(words.encode(), self._address)
