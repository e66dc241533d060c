"""An output in its own thread, so that the show does not wait for it."""

from __future__ import annotations

import threading
from collections.abc import Callable

from emulator.ports.output import Output

Call = Callable[[Output], object]


class Beside:
    """Calls an output in a thread of its own. A new call replaces one that still waits.

    error: what a call has raised. If the output never returns, only its thread hangs.
    """

    def __init__(self, output: Output) -> None:
        self.error: Exception | None = None
        self._output = output
        self._next: Call | None = None
        self._busy = self._closing = False
        self._change = threading.Condition()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def put(self, call: Call) -> None:
        """Have the output called soon; this replaces a call that waits."""
        with self._change:
            self._next = call
            self._change.notify_all()

    def put_if_idle(self, call: Call) -> None:
        """Have the output called soon, unless another call waits or is being made."""
        with self._change:
            if self._next is None and not self._busy:
                self._next = call
                self._change.notify_all()

    def settle(self, seconds: float) -> bool:
        """Whether all calls have ended, after waiting at most so many seconds."""
        with self._change:
            return self._change.wait_for(
                lambda: self._next is None and not self._busy, timeout=seconds
            )

    def close(self, seconds: float) -> None:
        """Close the output after its calls; wait for that at most so many seconds."""
        with self._change:
            self._closing = True
            self._change.notify_all()
        self._thread.join(seconds)

    def _run(self) -> None:
        while (call := self._wait()) is not None:
            self._guarded(call)
            with self._change:
                self._busy = False
                self._change.notify_all()
        self._guarded(lambda output: output.close())

    def _wait(self) -> Call | None:
        with self._change:
            self._change.wait_for(lambda: self._next is not None or self._closing)
            call, self._next = self._next, None
            self._busy = call is not None
            return call

    def _guarded(self, call: Call) -> None:
        try:
            call(self._output)
        except Exception as error:
            self.error = error
