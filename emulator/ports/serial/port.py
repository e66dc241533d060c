"""One serial port, opened with pyserial: a device, loop://, socket:// or rfc2217://."""

from __future__ import annotations

from contextlib import suppress
from typing import Protocol

from emulator.errors import ForeglowError

_PIECE = 4096

_FIX_HOST = "write HOST:PORT, and check that the host is on and offers its serial port there."
_FIX_DEVICE = (
    "check that the board is plugged in, its name (`python -m serial.tools.list_ports`), and that"
    " you may use it (group dialout), and that no other program does."
)


class LinkError(ForeglowError, OSError):
    """The other side of a link is missing, is gone, does not answer, or is not the expected one."""


class Port(Protocol):
    """A stream of bytes both ways. All methods except `close` raise LinkError if it is gone."""

    def read(self) -> bytes:
        """The bytes that have come; does not wait."""

    def write(self, data: bytes) -> None:
        """Return when the system has taken all bytes."""

    def close(self) -> None:
        """Release it; never raises."""


class SerialPort:
    """A Port behind a pyserial URL.

    write_s: how long a write may wait before the other side counts as gone.
    Raises LinkError if it cannot be opened.
    """

    def __init__(self, url: str, baud: int, write_s: float) -> None:
        try:
            import serial  # type: ignore[import-untyped]  # here: few outputs are serial
        except ImportError:
            raise LinkError("pyserial is missing", fix="pip install pyserial") from None
        self.url = url
        # A device that has just gone may raise termios.error, which is not an OSError.
        self._errors: tuple[type[Exception], ...] = (OSError, ValueError, *_termios_errors())
        # pyserial raises TypeError if the port is closed meanwhile.
        self._gone_errors: tuple[type[Exception], ...] = (*self._errors, TypeError)
        # pyserial 3.5 has only its own limit, 5 s, for rfc2217://.
        limit_s = None if url.startswith("rfc2217:") else write_s
        try:
            self._port = serial.serial_for_url(
                url,
                baudrate=baud,
                timeout=0,
                write_timeout=limit_s,
                exclusive=True,  # two shows on one wall would break each other's frames
            )
        except self._errors as error:
            fix = _FIX_HOST if url.startswith(("socket:", "rfc2217:")) else _FIX_DEVICE
            raise LinkError(f"cannot be opened: {error}", place=url, fix=fix) from error

    def read(self) -> bytes:
        data = b""
        try:  # rfc2217:// gives one byte at a time
            while len(data) < _PIECE and (piece := self._port.read(_PIECE - len(data))):
                data += piece
        except self._gone_errors as error:
            if not data:  # otherwise the next call reports it
                raise self._gone(error) from error
        return data

    def write(self, data: bytes) -> None:
        try:
            self._port.write(data)
        except self._gone_errors as error:
            raise self._gone(error) from error

    def close(self) -> None:
        # pyserial 3.5 leaves the socket of socket:// open if the other side has closed it first.
        of_tcp = getattr(self._port, "_socket", None)
        with suppress(*self._errors):  # it may be gone already
            self._port.close()
        if of_tcp is not None:
            of_tcp.close()

    def _gone(self, error: Exception) -> LinkError:
        return LinkError(f"the link is lost: {error}", place=self.url, fix="plug it in again.")


def _termios_errors() -> tuple[type[Exception], ...]:
    try:
        import termios  # not on Windows
    except ImportError:
        return ()
    return (termios.error,)
