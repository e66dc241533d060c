"""Keeps what a show has shown in a folder, whatever happens to the disk."""

from __future__ import annotations

import errno
import logging
from pathlib import Path

from emulator.arrays import Bytes
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import WriteError
from emulator.recording.disk import INDEX, DiskRecorder

_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EROFS, errno.EIO)  # of the disk, not of the name
_MOST_FOLDERS = 10_000

_log = logging.getLogger("foreglow.show")


class Kept(Closing):
    """Records frames to a folder; if that already holds a recording, to the next: rec-2, rec-3 …

    So a show that restarts by itself goes on recording. Frames that do not fit on a full disk are
    lost and counted; the log says when this begins. `folder` is None if not even the start of a
    recording fits. Raises WriteError for an impossible folder.
    """

    def __init__(self, folder: Path, display: Display) -> None:
        self.folder: Path | None = _free(folder)
        self._lost = 0
        try:
            self._recorder: DiskRecorder | None = DiskRecorder(self.folder, display)
        except WriteError as error:
            cause = error.__cause__
            if not (isinstance(cause, OSError) and cause.errno in _FULL):
                raise
            _log.warning("nothing is recorded: %s", str(error).partition("\n")[0])
            self.folder = self._recorder = None

    def take(self, time_ns: int, drives: Bytes) -> None:
        """Add a frame (N, C) shown from a time of the show on."""
        if self._recorder is not None:
            self._recorder.append(time_ns, drives)
            self._tell(self._recorder)

    def close(self) -> None:
        """Write the frames that wait."""
        if self._recorder is not None:
            self._recorder.close()
            self._tell(self._recorder)

    def line(self) -> str:
        """How much was kept, in words."""
        if self._recorder is None:
            return "nothing was recorded"
        lost = f", {self._recorder.lost} lost" if self._recorder.lost else ""
        return f"{self._recorder.written} frames recorded in {self.folder}{lost}"

    def _tell(self, recorder: DiskRecorder) -> None:
        if recorder.lost and not self._lost:
            why = str(recorder.problem).partition("\n")[0]
            _log.warning("frames are not recorded: %s; the show goes on", why)
        self._lost = recorder.lost


def _free(folder: Path) -> Path:
    """The folder, or the next of its name that holds no recording."""
    names = (folder.name, *(f"{folder.name}-{number}" for number in range(2, _MOST_FOLDERS)))
    free = (folder.with_name(name) for name in names)
    return next((one for one in free if not (one / INDEX).exists()), folder)
