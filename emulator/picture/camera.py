"""A live camera, read by OpenCV; a recorded clip can replace it."""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Callable, Iterator
from math import floor, isclose
from pathlib import Path
from typing import ClassVar, Literal, get_args

import numpy as np

from emulator.arrays import Light
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import SourceError, UnknownNameError, of_extra
from emulator.picture.fit import How, Region
from emulator.picture.levels import AutoLevels
from emulator.picture.live import Frame, LiveFrames
from emulator.picture.source import ClosingSource, on_wall
from emulator.picture.srgb import LUMINANCE

Levels = Literal["auto", "as is"]
Channel = Literal["red", "green", "blue"]

_LOG = logging.getLogger(__name__)

_MOST_S = 3.0  # between two attempts to open it; a Fallback adds 1 s before and after each
_BY_HAND = 1  # V4L2_EXPOSURE_MANUAL, Linux media documentation; other drivers may refuse it
_CLIP_RATE = 25.0  # frames/s of a clip that does not state its own


class Camera(ClosingSource):
    """The picture of a camera, on the wall.

    camera: its number (0 is the first), or another source that OpenCV opens: a device path, the
    address of a network camera. A file can replace the camera, as in tests: its frames come at
    their own rate by the time of the show, and at its end it begins again.
    levels: 'auto' slowly maps the darkest part to black and the brightest to full light, so that
    you see a passer-by in a dim room, too (`levels.AutoLevels`); 'as is' leaves them.
    grey: luminance only. channel: 'red', 'green' or 'blue' alone, as grey. mirrored: as in a
    mirror. region, how: as for `fit`; the region is that of the picture as the camera gives it,
    before mirroring.
    exposure: fixes the exposure, in the driver's units, if the driver allows it. The log and
    `refused` name the settings that the driver refuses.
    patience_s: after this time without a frame the camera is lost.

    The wall shows the newest frame; nothing waits for the camera. Before its first frame the
    picture is dark. While the camera is lost, this raises SourceError and opens the camera again,
    after 1 s at first, then every 3 s. Also under a Fallback the picture is back within 5 s of
    plugging in, plus the time that the camera takes to open.
    """

    _before: ClassVar[tuple[Callable[[], None], ...]] = ()

    @classmethod
    @contextlib.contextmanager
    def asked_after(cls, before: Callable[[], None]) -> Iterator[None]:
        """Inside this block, every Camera calls `before` when it is asked for a picture.

        Use it to test a show whose camera fails: the camera raises what `before` raises.
        """
        outside, cls._before = cls._before, (*cls._before, before)
        try:
            yield
        finally:
            cls._before = outside

    def __init__(
        self,
        camera: int | Path | str = 0,
        *,
        levels: Levels = "auto",
        grey: bool = False,
        channel: Channel | None = None,
        mirrored: bool = False,
        region: Region | None = None,
        how: How = "crop",
        exposure: float | None = None,
        patience_s: float = 3.0,
    ) -> None:
        for name, value, known in (("levels", levels, Levels), ("channel", channel, Channel)):
            if value is not None and value not in get_args(known):
                raise UnknownNameError(f"choice of {name}", value, get_args(known))
        self._mirrored = mirrored
        self._levels = AutoLevels() if levels == "auto" else None
        self._weights = None if channel is None and not grey else LUMINANCE.astype(np.float32)
        if channel is not None:
            self._weights = np.eye(3, dtype=np.float32)[get_args(Channel).index(channel)]
        self._region = region
        self._how: How = how
        self._exposure = exposure
        self.refused: tuple[str, ...] = ()
        opened = str(camera) if isinstance(camera, Path) else camera
        name = f"the camera {camera}"
        with of_extra("camera", "a camera needs OpenCV", kind=SourceError):
            import cv2  # noqa: F401
        self._frames: LiveFrames | _ClipFrames
        if _is_file(opened):
            self._frames = _ClipFrames(self._open(opened))
        else:
            self._frames = LiveFrames(
                lambda: self._open(opened), name, patience_s=patience_s, most_s=_MOST_S
            )

    def __call__(self, time_s: float, display: Display) -> Light:
        for before in self._before:
            before()
        frame = self._frames.at(time_s)
        if frame is None:
            return np.zeros(display.picture_shape, dtype=np.float32)
        light = on_wall(frame, display, self._how, self._region)
        if self._weights is not None:
            light = np.repeat((light @ self._weights)[..., None], 3, axis=2)
        if self._levels is not None:
            light = self._levels(light, time_s)
        return light[:, ::-1] if self._mirrored else light

    def wait(self, seconds: float) -> bool:
        """Wait for a frame, at most so long; returns whether one has come."""
        return self._frames.wait(seconds)

    def close(self) -> None:
        """Release the camera; a second call does nothing."""
        self._frames.close()

    def _open(self, camera: int | str) -> Capture:
        capture = Capture(camera)
        if self._exposure is not None:
            self.refused = capture.fix_exposure(self._exposure)
            for what in self.refused:
                _LOG.warning("the camera %s refuses %s", camera, what)
        return capture


class Capture(Closing):
    """A camera or file in OpenCV, as a device of frames. Raises SourceError if it does not open."""

    def __init__(self, camera: int | str) -> None:
        import cv2  # of the extra `camera`

        self.camera = camera
        self.capture = cv2.VideoCapture(camera)
        if not self.capture.isOpened():
            self.capture.release()
            fix = "check that it is plugged in and that no other program uses it."
            if _is_file(camera):
                fix = "save it again, as MP4 with H.264."
            raise SourceError(f"the camera {camera} cannot be opened", fix=fix)

    def reopened(self) -> Capture:
        """Open it again from the beginning; this one is closed."""
        self.close()
        return Capture(self.camera)

    def read(self) -> Frame:
        """The next frame, uint8 RGB (h, w, 3). Raises SourceError if there is none."""
        there, frame = self.capture.read()
        if not there:
            raise SourceError("no more frames come")
        return np.ascontiguousarray(frame[..., ::-1]).astype(np.uint8, copy=False)

    def fix_exposure(self, exposure: float) -> tuple[str, ...]:
        """Turn off automatic exposure and set a fixed one; returns what the driver refuses."""
        import cv2  # of the extra `camera`

        wanted = (
            (cv2.CAP_PROP_AUTO_EXPOSURE, _BY_HAND, "to turn off automatic exposure"),
            (cv2.CAP_PROP_EXPOSURE, exposure, f"an exposure of {exposure:g}"),
        )
        return tuple(
            what
            for which, value, what in wanted
            if not (
                self.capture.set(which, value)
                and isclose(self.capture.get(which), value, abs_tol=1e-6)
            )
        )

    def close(self) -> None:
        self.capture.release()


class _ClipFrames(Closing):
    """The frames of a file at the time of the show, in a loop."""

    def __init__(self, clip: Capture) -> None:
        import cv2  # of the extra `camera`

        self._clip = clip
        rate = clip.capture.get(cv2.CAP_PROP_FPS)
        self._rate = rate if 0 < rate < 1000 else _CLIP_RATE
        self._next = 0  # the number of the frame that is read next
        self._count: int | None = None  # unknown until the end was reached
        self._frame: Frame | None = None

    def at(self, time_s: float) -> Frame:
        """The frame at a time. Raises SourceError if the file has none."""
        number = max(floor(time_s * self._rate + 1e-6), 0)  # 29 / 25 s * 25 is just below 29
        number = number % self._count if self._count else number
        if self._frame is None or number < self._next - 1:
            self._rewind()
        while self._next <= number:
            try:
                self._frame = self._clip.read()
            except SourceError:
                if self._next == 0:
                    raise SourceError(
                        f"the clip {self._clip.camera} has no picture that OpenCV can read",
                        fix="save it again, as MP4 with H.264.",
                    ) from None
                self._count = self._next
                number %= self._count
                self._rewind()
            else:
                self._next += 1
        assert self._frame is not None
        return self._frame

    def wait(self, seconds: float) -> bool:
        """A file is ready at once."""
        return True

    def close(self) -> None:
        self._clip.close()

    def _rewind(self) -> None:
        self._clip = self._clip.reopened()  # not every file can seek to its beginning
        self._next = 0


def _is_file(camera: int | str) -> bool:
    return isinstance(camera, str) and Path(camera).is_file()
