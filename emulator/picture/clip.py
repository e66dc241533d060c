"""A video file, GIF or APNG, played at its own times, in a loop."""

from __future__ import annotations

from abc import abstractmethod
from bisect import bisect_right
from itertools import accumulate
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageSequence

from emulator.arrays import Light
from emulator.closing import Closing
from emulator.description.display import Display
from emulator.errors import SourceError, of_extra
from emulator.files import check_file
from emulator.picture.fit import How, Region
from emulator.picture.source import ClosingSource, on_wall
from emulator.picture.still import Rgb, opened, rgb_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from av import VideoFrame

_LEAST_FRAME_S = 0.02  # a GIF that asks for less means 'as fast as possible'; common practice
_USUAL_FRAME_S = 0.1  # is to show it at 10 frames/s then
# Matroska rounds times to 1 ms (RFC 9559, TimestampScale), a show rounds them to 1 ns. Without
# this, a clip of 30 frames/s on a wall of 30 frames/s would repeat some frames and miss others.
_EARLY_S = 0.001
_FAR_S = 2.0  # further ahead than this, decoding every frame takes longer than seeking


class Clip(ClosingSource):
    """A clip in a loop, each frame at the time that the file gives it.

    GIF, APNG and WebP are read by Pillow; everything else by PyAV, which is in the extra
    [video]. Frames are read as they are needed; the time may also go back. region, how: as for
    `fit`. Raises SourceError if the file is missing or has no pictures.
    """

    def __init__(
        self, path: Path | str, *, how: How = "crop", region: Region | None = None
    ) -> None:
        self._how: How = how
        self._region = region
        self._frames = frames_of(path)
        self._kept: tuple[Display, float, Light] | None = None

    def __call__(self, time_s: float, display: Display) -> Light:
        begin_s = self._frames.seek((time_s + _EARLY_S) % self._frames.length_s)
        if self._kept is None or self._kept[0] is not display or self._kept[1] != begin_s:
            light = on_wall(self._frames.frame(), display, self._how, self._region)
            self._kept = display, begin_s, light
        return self._kept[2].copy()

    def close(self) -> None:
        """Close the file; a second call does nothing."""
        self._frames.close()


class Frames(Closing):
    """The frames of a file by their times; after `length_s` it begins again."""

    length_s: float

    @abstractmethod
    def seek(self, time_s: float) -> float:
        """Go to the frame shown at a time, 0 up to `length_s`; returns when it begins, in s."""

    @abstractmethod
    def frame(self) -> Rgb:
        """That frame, (h, w, 3) uint8 sRGB."""


def frames_of(path: Path | str) -> Frames:
    """The frames of a file, by Pillow if it knows the file as an animation, else by PyAV.

    Raises SourceError if neither finds pictures in it.
    """
    if not Path(path).is_file():
        raise SourceError(f"there is no clip {path}", fix="check its path.")
    try:
        image = opened(path)
    except Image.DecompressionBombError as error:
        raise _broken(path, f"it is too large, {error}") from error
    except Exception:  # see opened
        return _Video(path)
    return _Moving(image, path)


class _Moving(Frames):
    """GIF, APNG, WebP; a still picture is a clip of one frame."""

    def __init__(self, image: Image.Image, path: Path | str) -> None:
        self._image, self._path = image, path
        try:
            lengths_s = [
                float(frame.info.get("duration", 0)) / 1000
                for frame in ImageSequence.Iterator(image)
            ]
        except Exception as error:  # see opened
            image.close()
            raise _broken(path, error) from error
        ends_s = list(accumulate(s if s >= _LEAST_FRAME_S else _USUAL_FRAME_S for s in lengths_s))
        self._number = 0
        self._begins_s = [0.0, *ends_s[:-1]]
        self.length_s = ends_s[-1]

    def seek(self, time_s: float) -> float:
        self._number = max(bisect_right(self._begins_s, time_s) - 1, 0)
        return self._begins_s[self._number]

    def frame(self) -> Rgb:
        try:
            self._image.seek(self._number)
            return rgb_of(self._image)
        except Exception as error:  # see opened
            raise _broken(self._path, error) from error

    def close(self) -> None:
        self._image.close()


class _Video(Frames):
    """What PyAV decodes."""

    def __init__(self, path: Path | str) -> None:
        with of_extra("video", "video needs PyAV", kind=SourceError, place=path):
            import av  # slow to load
        self._path = path
        self._error = av.FFmpegError
        self._shown: VideoFrame | None = None
        self._coming: VideoFrame | None = None
        try:
            check_file(path)
            # So that it plays even if a title is not UTF-8.
            self._file = av.open(str(path), metadata_errors="replace")
        except (av.FFmpegError, OSError) as error:
            raise _broken(path, error) from error
        try:
            self._begin()
        except BaseException:
            self._file.close()
            raise

    def seek(self, time_s: float) -> float:
        wanted_s = self._start_s + time_s
        try:
            far_s = _time_s(self._coming) + _FAR_S if self._coming is not None else wanted_s
            if wanted_s < _time_s(self._shown) or wanted_s > far_s:
                self._jump(wanted_s)
            while self._coming is not None and _time_s(self._coming) <= wanted_s:
                self._shown, self._coming = self._coming, next(self._decoded, None)
        except self._error as error:
            raise _broken(self._path, error) from error
        return _time_s(self._shown)

    def frame(self) -> Rgb:
        assert self._shown is not None
        picture = self._shown.to_ndarray(format="rgb24")
        # A telephone held upright writes pictures on their side, with the angle to turn them by.
        return np.rot90(picture, round(self._shown.rotation / 90))

    def close(self) -> None:
        self._file.close()

    def _begin(self) -> None:
        """Decode the first frame. Raises SourceError if there is none, or none with a time."""
        if not self._file.streams.video:
            raise _broken(self._path, "it has no video")
        self._stream = self._file.streams.video[0]
        self._stream.thread_type = "AUTO"
        try:
            self._decode()
        except self._error as error:
            raise _broken(self._path, error) from error
        if self._shown is None or self._shown.time is None:
            raise _broken(self._path, "its video has no frames, or no times for them")
        self._start_s = _time_s(self._shown)
        try:
            self.length_s = self._length_s()
        except self._error as error:
            raise _broken(self._path, error) from error

    def _decode(self) -> None:
        self._decoded: Iterator[VideoFrame] = self._file.decode(self._stream)
        self._shown, self._coming = next(self._decoded, None), next(self._decoded, None)

    def _jump(self, time_s: float) -> None:
        """Go to the last frame before a time that does not need earlier frames."""
        time_base = self._stream.time_base
        assert time_base is not None  # a decoded frame has a time
        for back_s in (time_s, self._start_s):
            self._file.seek(round(back_s / time_base), stream=self._stream)
            self._decode()
            if self._shown is not None and _time_s(self._shown) <= time_s:
                return
        raise _broken(self._path, "it cannot go back to its beginning")

    def _length_s(self) -> float:
        """Its length from the stream or the file; if neither gives it, from its packets.

        Matroska counts the length of a file from 0, but a cut film may begin later.
        """
        if self._stream.duration and self._stream.time_base:
            return float(self._stream.duration * self._stream.time_base)
        if self._file.duration and self._start_s < 1:
            return self._file.duration / 1e6
        self._file.seek(0)
        ends_s = [
            float((packet.pts + (packet.duration or 0)) * packet.time_base)
            for packet in self._file.demux(self._stream)
            if packet.pts is not None and packet.time_base is not None
        ]
        self._jump(self._start_s)
        length_s = max(ends_s, default=self._start_s) - self._start_s
        return length_s if length_s > 0 else _USUAL_FRAME_S


def _time_s(frame: VideoFrame | None) -> float:
    """The time of a frame; a frame without time comes before all others."""
    return frame.time if frame is not None and frame.time is not None else 0.0


def _broken(path: Path | str, why: object) -> SourceError:
    return SourceError(f"{path} cannot be played: {why}", fix="save it again, as MP4 with H.264.")
