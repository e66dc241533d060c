"""A film of the wall, taken by a camera of this computer until the pattern is over.

A thread reads the camera and notes when each frame came; all frames go into a file. What is seen of
the pattern is looked for while it grows. It is then read as any film.
"""

from __future__ import annotations

import logging
import queue
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from emulator.arrays import Floats, Srgb
from emulator.clock import SECOND_NS, RealClock
from emulator.closing import Closing
from emulator.errors import SourceError, of_extra
from emulator.files import MARK
from emulator.picture.camera import Capture
from emulator.recording.movie import encoder
from harness.patterns.film import FilmStep, film_steps
from harness.survey.footage import Film, Footage, Frame
from harness.survey.rhythm import NoMarkerError, Rhythm, Watch

_LOG = logging.getLogger(__name__)

_OPENS_S, _PATIENCE_S = 20.0, 3.0  # until the first frame, and between two: then it is lost
_MOST_BYTES = 200_000_000  # of frames that wait to be looked at; more are dropped
_LOOKS_S, _AGAIN_S = 2.0, 8.0  # between two looks for the pattern, and once it is seen
_MOST_WAIT_S = 300.0  # until the pattern begins
_BEFORE_S = 2.0  # of the film before the pattern that is read
_TICKS = 1000  # a second


@dataclass(frozen=True)
class Taking:
    """How far a film has come.

    pictures: of the pattern since its marker, of how many; None while no marker was seen. pace_s:
    seconds a picture. rate: frames a second. light: (rows, columns) of blocks of the frame, how
    much each blinks with the pattern; None without a marker.
    """

    pictures: int | None
    of: int
    rate: float
    pace_s: float | None = None
    light: Floats | None = None


Show = Callable[[Frame, Taking], bool]
"""Shows the newest frame and how far the film is; returns whether to go on."""


def take_film(camera: str, leds: int, path: Path, show: Show, *, mirrored: bool = False) -> Footage:
    """Film the pattern for so many LEDs into a file, and return the part that shows it.

    camera: its number, 0 is the first, or another source that OpenCV opens; a film can replace it,
    and is read as fast as it can be. A Ctrl-C ends the film, as `show` does.

    Raises SourceError if there is no camera, if it is lost before the pattern begins, or if that
    does not begin; UnsupportedError without OpenCV or PyAV.
    """
    steps = film_steps(leds)
    seen = _Watched(steps)
    with Kept(path) as kept, _source(camera, mirrored) as source:
        try:
            for frame in source.frames():
                kept.take(frame)
                if not show(frame, seen.take(frame)) or seen.over:
                    break
        except KeyboardInterrupt:
            pass
        except SourceError as lost:
            if seen.begin_s is None:
                raise
            _LOG.warning("%s; what it has filmed is read", lost.what)
    if seen.begin_s is None:
        seen.look()
    if seen.begin_s is None:
        raise SourceError(
            "the film ended before the pattern coded-film was seen in it",
            place=f"camera {camera}",
            fix="start it with `foreglow run … coded-film` while the whole wall is in the picture.",
        )
    return _Part(Film(path), seen.begin_s - _BEFORE_S)


class _Watched:
    """What is seen of the pattern so far."""

    def __init__(self, steps: tuple[FilmStep, ...]) -> None:
        self._steps, self._watch = steps, Watch()
        self._rhythm: Rhythm | None = None
        self._times_s: list[float] = []
        self._looked_s = 0.0
        self.begin_s: float | None = None
        self.over = False  # the whole pattern has been filmed

    def take(self, frame: Frame) -> Taking:
        """How far the film is with this frame. Raises SourceError if no pattern has begun yet."""
        self._watch.take(frame)
        self._times_s.append(frame.time_s)
        now_s = frame.time_s - self._times_s[0]
        count = len(self._steps)
        every_s = _LOOKS_S if self._rhythm is None else _AGAIN_S
        if now_s > self._looked_s + every_s or self._pictures() > count:
            self._looked_s = now_s
            self.look()
            self.over = self._pictures() > count
        if self.begin_s is None and now_s > _MOST_WAIT_S:
            raise SourceError(
                f"no pattern coded-film began within {_MOST_WAIT_S / 60:g} minutes",
                fix="start this command first, then the pattern.",
            )
        recent = self._times_s[-60:]
        rate = (len(recent) - 1) / max(recent[-1] - recent[0], 1e-3)
        if self._rhythm is None:
            return Taking(None, count, rate)
        pictures = min(max(int(self._pictures()), 0), count)
        return Taking(pictures, count, rate, self._rhythm.pace_s, self._rhythm.light)

    def look(self) -> None:
        """Look for the pattern in all frames so far."""
        try:
            self._rhythm = self._watch.rhythm(self._steps)
        except NoMarkerError:
            return
        begins_s = self._rhythm.begins_s
        self.begin_s = float(begins_s[begins_s >= self._times_s[0] - self._rhythm.pace_s][0])

    def _pictures(self) -> float:
        """Pictures since the pattern began."""
        if self._rhythm is None or self.begin_s is None:
            return -1.0
        return (self._times_s[-1] - self.begin_s) / self._rhythm.pace_s


class _Part:
    """The frames of a film from a moment on."""

    moving = True

    def __init__(self, film: Film, from_s: float) -> None:
        self.name = film.name
        self._film, self._from_s = film, from_s

    def frames(self) -> Iterator[Frame]:
        return (frame for frame in self._film.frames() if frame.time_s >= self._from_s)


class Kept(Closing):
    """A film file that grows frame by frame; what is in it stays if the program dies."""

    def __init__(self, path: Path) -> None:
        """Raises UnsupportedError without PyAV, WriteError."""
        with of_extra("survey", "a film needs PyAV", place=path):
            import av  # slow to load
        self._by = encoder()
        path.parent.mkdir(parents=True, exist_ok=True)
        self._file: Any = av.open(str(path), "w", format="matroska")
        self._file.metadata["comment"] = MARK
        self._stream: Any = None
        self._last = -1

    def take(self, frame: Frame) -> None:
        """Add a frame."""
        from av import VideoFrame  # of the extra `survey`

        picture = frame.rgb()
        tick = round(frame.time_s * _TICKS)
        if tick <= self._last:
            return
        self._last = tick
        picture = picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]  # for 4:2:0
        if self._stream is None:
            fast = {"preset": "ultrafast", "crf": "16"} if self._by.name == "libx264" else {}
            self._stream = self._file.add_stream(self._by.name, options=self._by.options | fast)
            self._stream.pix_fmt = "yuv420p"
            self._stream.height, self._stream.width = picture.shape[:2]
            self._stream.codec_context.time_base = Fraction(1, _TICKS)
        shown = VideoFrame.from_ndarray(np.ascontiguousarray(picture), format="rgb24")
        shown.pts, shown.time_base = tick, Fraction(1, _TICKS)
        self._file.mux(self._stream.encode(shown))

    def close(self) -> None:
        if self._file is not None:
            if self._stream is not None:
                self._file.mux(self._stream.encode(None))
            self._file.close()
            self._file = None


class _FromFile(Closing):
    """A film in place of a camera."""

    def __init__(self, path: Path, mirrored: bool) -> None:
        self.frames = Film(path, mirrored).frames

    def close(self) -> None:
        pass


class _FromCamera(Closing):
    """The frames of a camera, with the times at which they came."""

    def __init__(self, camera: int | str, mirrored: bool) -> None:
        with of_extra("survey", "a camera needs OpenCV"):
            import cv2  # noqa: F401
        self._camera, self._mirrored = camera, mirrored
        self._waiting: queue.Queue[tuple[float, Srgb] | SourceError] = queue.Queue()
        self._stopped = threading.Event()
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def frames(self) -> Iterator[Frame]:
        """All frames. Raises SourceError if there is no camera, and once it is lost."""
        patience_s = _OPENS_S
        while True:
            try:
                came = self._waiting.get(timeout=patience_s)
            except queue.Empty:
                came = SourceError(f"no frame came for {patience_s:g} s")
            if isinstance(came, SourceError):
                if patience_s == _OPENS_S:
                    raise came
                raise SourceError(
                    f"the camera {self._camera} is lost: {came.problem}",
                    fix="check that it is plugged in, and film again.",
                )
            patience_s = _PATIENCE_S
            yield self._frame(*came)

    def close(self) -> None:
        self._stopped.set()
        self._reader.join(_PATIENCE_S)

    def _frame(self, time_s: float, rgb: Srgb) -> Frame:
        import cv2  # of the extra `camera`

        if self._mirrored:
            rgb = np.ascontiguousarray(rgb[:, ::-1])
        luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
        return Frame(time_s, luma, lambda: rgb)

    def _read(self) -> None:
        try:
            with Capture(self._camera) as capture:
                clock = RealClock()
                while not self._stopped.is_set():
                    rgb = capture.read()
                    if (self._waiting.qsize() + 1) * rgb.nbytes < _MOST_BYTES:
                        self._waiting.put((clock.now_ns() / SECOND_NS, rgb))
        except SourceError as error:
            self._waiting.put(error)


def _source(camera: str, mirrored: bool) -> _FromFile | _FromCamera:
    path = Path(camera)
    if path.is_file():
        return _FromFile(path, mirrored)
    return _FromCamera(int(camera) if camera.isdigit() else camera, mirrored)
