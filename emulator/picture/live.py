"""Frames from a device: a thread reads them, and the wall shows the newest one."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from emulator.closing import Closing
from emulator.errors import SourceError

_LOG = logging.getLogger(__name__)
_GRACE_S = 3.0
_MOST_HANGING = 4  # if so many devices have threads that do not end, no more are opened

Frame = NDArray[np.uint8]
"""(h, w, 3) uint8 sRGB."""


class Device(Protocol):
    """A source of frames. One thread opens, reads and closes it."""

    def read(self) -> Frame | None:
        """The next frame; None if none has come for a moment. Raises SourceError at the end."""

    def close(self) -> None:
        """Release it."""


class LiveFrames(Closing):
    """The newest frame of a device. A thread opens and reads it; nothing else waits for it.

    open_device: opens it; may be slow, and may raise SourceError. name: for messages.
    patience_s: after this time without a new frame the device is lost. It is opened again after
    `retry_s`, then after twice as long each time, up to `most_s`. All times are in seconds of the
    show.
    """

    def __init__(
        self,
        open_device: Callable[[], Device],
        name: str,
        *,
        patience_s: float = 3.0,
        retry_s: float = 1.0,
        most_s: float = 30.0,
    ) -> None:
        self._open = open_device
        self._name = name
        self._patience_s = patience_s
        self._retry_s, self._most_s = retry_s, most_s
        self._wait_s = retry_s
        self._reader: _Reader | None = None
        self._stopped: list[_Reader] = []  # some may not have ended yet
        self._seen = 0
        self._fresh_s = 0.0  # when the last frame came; before the first, when it was opened
        self._lost: str | None = None
        self._retry_at_s = 0.0

    def at(self, time_s: float) -> Frame | None:
        """The newest frame; None until the first has come. Raises SourceError while lost."""
        self._fresh_s = min(self._fresh_s, time_s)  # the show may have been started again
        if self._reader is None:
            self._reopen(time_s)
        reader = self._reader
        if reader is not None:
            frame, count, ended = reader.newest()
            if count != self._seen:
                self._found(time_s, count)
            elif ended:
                self._lose(time_s, ended)
            elif time_s - self._fresh_s > self._patience_s:
                self._lose(time_s, f"no frame for {self._patience_s:g} s")
            if self._lost is None:
                return frame
        raise SourceError(
            f"{self._name} is lost: {self._lost}",
            fix="check that it is plugged in and runs; foreglow tries it again by itself.",
        )

    def wait(self, seconds: float) -> bool:
        """Wait for a frame, at most so long; returns whether one has come."""
        if self._reader is None:
            self._reopen(self._fresh_s)
        return self._reader is not None and self._reader.came.wait(seconds)

    def close(self) -> None:
        """Stop reading, and wait until the device is released, unless it hangs."""
        reader, self._reader = self._reader, None
        if reader is not None:
            reader.stop()
            reader.join(_GRACE_S)

    def _reopen(self, time_s: float) -> None:
        waits = self._retry_at_s - self._wait_s <= time_s < self._retry_at_s
        self._stopped = [reader for reader in self._stopped if reader.is_alive()]
        if len(self._stopped) < _MOST_HANGING and (self._lost is None or not waits):
            self._reader, self._seen, self._fresh_s = _Reader(self._open, self._name), 0, time_s

    def _found(self, time_s: float, count: int) -> None:
        self._seen, self._fresh_s = count, time_s
        if self._lost is not None:
            _LOG.info("%s is back", self._name)
        self._lost, self._wait_s = None, self._retry_s

    def _lose(self, time_s: float, why: str) -> None:
        if self._reader is not None:
            self._reader.stop()  # it releases the device by itself: the show does not wait
            self._stopped.append(self._reader)
        self._reader = None
        if self._lost is None:
            _LOG.warning("%s is lost: %s", self._name, why)
        else:
            self._wait_s = min(2 * self._wait_s, self._most_s)
        self._lost, self._retry_at_s = why, time_s + self._wait_s


class _Reader(threading.Thread):
    """Opens a device, reads it until it ends or `stop` is called, and closes it."""

    def __init__(self, open_device: Callable[[], Device], name: str) -> None:
        super().__init__(name=name, daemon=True)
        self.came = threading.Event()
        self._open = open_device
        self._stopped = threading.Event()
        self._newest: tuple[Frame | None, int, str] = (None, 0, "")
        self.start()

    def newest(self) -> tuple[Frame | None, int, str]:
        """The newest frame, how many have come, and why no more will come ('' if they may)."""
        return self._newest

    def stop(self) -> None:
        """Make it end as soon as the device returns."""
        self._stopped.set()

    def run(self) -> None:
        try:
            device = self._open()
            try:
                self._take(device)
            finally:
                device.close()
        except Exception as error:  # whatever a driver raises: the show continues
            frame, count, _ = self._newest
            self._newest = frame, count, str(error).partition("\n")[0] or repr(error)

    def _take(self, device: Device) -> None:
        while not self._stopped.is_set():
            frame = device.read()
            if frame is not None:
                self._newest = frame, self._newest[1] + 1, ""  # one assignment: no lock is needed
                self.came.set()
