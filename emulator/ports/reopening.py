"""Opens something that may take long, while the show continues."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from typing import Generic, Protocol, TypeVar

from emulator.ports.serial.port import LinkError

_SOON_S = 0.02  # the show waits at most so long


class _Closes(Protocol):
    def close(self) -> None: ...


T = TypeVar("T", bound=_Closes)


class Reopening(Generic[T]):
    """Opens something that answers slowly, while the show continues.

    pyserial waits up to 5 s for a host that is switched off. The first call waits with it, unless
    `waits` is False. Later calls open in a thread. Until that has ended, they raise LinkError after
    20 ms. Then a call returns the opened thing, or raises the error, and the next call tries again.
    """

    def __init__(self, opens: Callable[[], T], waits: bool = True) -> None:
        self._opens, self._waits = opens, waits
        self._attempt: Future[T] | None = None

    def __call__(self) -> T:
        """The opened thing. Raises LinkError, and what opening raises."""
        if self._waits:
            self._waits = False
            return self._opens()
        if self._attempt is None:
            self._attempt = Future()
            threading.Thread(target=self._try, args=(self._attempt,), daemon=True).start()
        attempt = self._attempt
        try:
            opened = attempt.result(_SOON_S)
        except TimeoutError:
            if attempt.done():  # the error of the attempt itself
                raise
            raise LinkError("no answer yet", fix="wait; the host may be off.") from None
        finally:
            if attempt.done():
                self._attempt = None
        return opened

    def close(self) -> None:
        """Close without waiting: something that is being opened is closed once it is open."""
        if self._attempt is not None:
            self._attempt.add_done_callback(self._close)
            self._attempt = None

    def _try(self, attempt: Future[T]) -> None:
        try:
            attempt.set_result(self._opens())
        except BaseException as error:
            attempt.set_exception(error)

    def _close(self, attempt: Future[T]) -> None:
        if attempt.exception() is None:
            attempt.result().close()
