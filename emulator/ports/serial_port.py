"""One serial port, opened with pyserial: a device, loop://, socket:// or rfc2217://."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from contextlib import suppress
from typing import Protocol

from emulator.errors import ForeglowError

_PIECE = 4096
_SOON_S = 0.02  # in which a host on a local network answers


_MEND_HOST = "write HOST:PORT, and check that it is on and gives out its serial port there."
_MEND_DEVICE = (
    "check that the board is plugged in, its name (`python -m serial.tools.list_ports`), and that"
    " you may use it (group dialout), and that no other program does."
)


class LinkError(ForeglowError, OSError):
    """The other side of a link is not there, has gone, does not answer, or is another one."""


class Port(Protocol):
    """A stream of bytes both ways. Every method but `close` raises LinkError when it is gone."""

    def read(self) -> bytes:
        """What has come; never waits."""

    def write(self, data: bytes) -> None:
        """Return when the system has taken all of it."""

    def close(self) -> None:
        """Give it back; never raises."""


class SerialPort:
    """A Port behind a pyserial URL.

    write_s: how long a write may be held back before the other side counts as gone.
    Raises LinkError where it cannot be opened.
    """

    def __init__(self, url: str, baud: int, write_s: float) -> None:
        try:
            import serial  # type: ignore[import-untyped]
        except ImportError:
            raise LinkError("pyserial is missing\n  To mend: pip install pyserial") from None
        self.url = url
        # termios.error, which a device that has just gone may raise, is no OSError.
        self._errors: tuple[type[Exception], ...] = (OSError, ValueError, *_termios_errors())
        # pyserial raises TypeError for a port closed under it.
        self._gone_errors: tuple[type[Exception], ...] = (*self._errors, TypeError)
        # pyserial 3.5 knows no other limit on rfc2217:// than its own, of 5 s.
        limit_s = None if url.startswith("rfc2217:") else write_s
        try:
            self._port = serial.serial_for_url(
                url,
                baudrate=baud,
                timeout=0,
                write_timeout=limit_s,
                exclusive=True,  # two shows on one wall would tear each other's frames
            )
        except self._errors as error:
            mend = _MEND_HOST if url.startswith(("socket:", "rfc2217:")) else _MEND_DEVICE
            raise LinkError(f"{url}: cannot be opened: {error}\n  To mend: {mend}") from error

    def read(self) -> bytes:
        data = b""
        try:  # rfc2217:// gives one byte at a time
            while len(data) < _PIECE and (piece := self._port.read(_PIECE - len(data))):
                data += piece
        except self._gone_errors as error:
            if not data:  # otherwise the next call tells
                raise self._gone(error) from error
        return data

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except self._gone_errors as error:
            raise self._gone(error) from error

    def close(self) -> None:
        # pyserial 3.5 leaves the socket of socket:// open where the other side hung up first.
        of_tcp = getattr(self._port, "_socket", None)
        with suppress(*self._errors):  # it may have gone already
            self._port.close()
        if of_tcp is not None:
            of_tcp.close()

    def _gone(self, error: Exception) -> LinkError:
        return LinkError(f"{self.url}: the link has gone: {error}\n  To mend: plug it in again.")


class Reopening:
    """Opens a port that is long in answering, and lets the show go on the while.

    pyserial waits up to 5 s for a host that is switched off. The first call waits with it. Later
    ones try in a thread of their own: while that lasts they raise LinkError after 20 ms, and
    then give the port, or raise what went wrong, after which the next call tries anew.
    """

    def __init__(self, open_port: Callable[[], Port]) -> None:
        self._open_port = open_port
        self._first = True
        self._attempt: Future[Port] | None = None

    def __call__(self) -> Port:
        """The port. Raises LinkError."""
        if self._first:
            self._first = False
            return self._open_port()
        if self._attempt is None:
            self._attempt = Future()
            threading.Thread(target=self._try, args=(self._attempt,), daemon=True).start()
        attempt = self._attempt
        try:
            port = attempt.result(_SOON_S)
        except TimeoutError:
            raise LinkError("no answer yet\n  To mend: wait; the host may be off.") from None
        finally:
            if attempt.done():
                self._attempt = None
        return port

    def close(self) -> None:
        """Wait for nothing: a port that is being opened is closed as soon as it is open."""
        if self._attempt is not None:
            self._attempt.add_done_callback(_close_port)
            self._attempt = None

    def _try(self, attempt: Future[Port]) -> None:
        try:
            attempt.set_result(self._open_port())
        except BaseException as error:
            attempt.set_exception(error)


def _close_port(attempt: Future[Port]) -> None:
    if attempt.exception() is None:
        attempt.result().close()


def _termios_errors() -> tuple[type[Exception], ...]:
    try:
        import termios
    except ImportError:  # Windows
        return ()
    return (termios.error,)
