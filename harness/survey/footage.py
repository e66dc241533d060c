"""The frames of a film or of a folder of stills, with their times, as often as you ask."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Srgb
from emulator.errors import SourceError, of_extra
from emulator.files import check_file
from emulator.picture.srgb import srgb_to_linear
from emulator.picture.still import read_picture
from harness.survey.stills import stills_of

if TYPE_CHECKING:
    from av import VideoFrame

Luma = NDArray[np.uint8]


@dataclass(frozen=True)
class Frame:
    """One frame.

    luma: (h, w) its code values, as the film holds them. rgb: makes its (h, w, 3) sRGB code values
    0…255. narrow: luma is from 16 to 235, the range of video (ITU-R BT.601), not from 0 to 255.
    """

    time_s: float
    luma: Luma
    rgb: Callable[[], Srgb]
    narrow: bool = False


class Footage(Protocol):
    """Frames in the order of their times; each call of `frames` begins again."""

    name: str
    moving: bool  # a film; not stills, whose times are only their order

    def frames(self) -> Iterator[Frame]:
        """All frames."""
        ...


def footage(path: Path, *, mirrored: bool = False) -> Footage:
    """A film, or a folder of stills. mirrored: its pictures are, as those of many webcams.

    Raises SourceError if there is nothing that can be read, UnsupportedError without PyAV.
    """
    if path.is_dir():
        return Stills(path, mirrored)
    if not path.exists():
        raise SourceError("there is no such film", place=path, fix="name a film, or a folder.")
    return Film(path, mirrored)


class Film:
    """A file that PyAV decodes. Turned as the file says."""

    moving = True

    def __init__(self, path: Path, mirrored: bool = False) -> None:
        self.name = path.name
        self._path, self._mirrored = path, mirrored
        with of_extra("survey", "a film needs PyAV", place=path):
            import av  # slow to load
        self._av = av

    def frames(self) -> Iterator[Frame]:
        """All frames. Raises SourceError if the file has none, not for an end that is cut off."""
        count = 0
        try:
            check_file(self._path)
            with self._av.open(str(self._path), metadata_errors="replace") as file:
                if not file.streams.video:
                    raise self._unreadable("it has no video")
                stream = file.streams.video[0]
                stream.thread_type = "AUTO"
                last_s = -1.0
                for shown in file.decode(stream):
                    if shown.time is not None and shown.time > last_s:
                        last_s = shown.time
                        count += 1
                        yield self._frame(shown)
        except (self._av.FFmpegError, OSError) as error:
            if not count:
                raise self._unreadable(error) from error
        if not count:
            raise self._unreadable("it has no frames with times")

    def _frame(self, shown: VideoFrame) -> Frame:
        import cv2  # of the extra `camera`

        turn = [
            None, cv2.ROTATE_90_COUNTERCLOCKWISE, cv2.ROTATE_180, cv2.ROTATE_90_CLOCKWISE,
        ][round(shown.rotation / 90) % 4]  # fmt: skip

        def upright(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
            turned = picture if turn is None else cv2.rotate(picture, turn)
            return np.asarray(cv2.flip(turned, 1) if self._mirrored else turned, dtype=np.uint8)

        luma, narrow = _luma(shown)
        return Frame(
            float(shown.time or 0.0),
            upright(luma),
            lambda: upright(np.asarray(shown.to_ndarray(format="rgb24"), dtype=np.uint8)),
            narrow,
        )

    def _unreadable(self, why: object) -> SourceError:
        return SourceError(
            f"the film cannot be read: {why}", place=self._path, fix="save it as MP4 with H.264."
        )


class Stills:
    """The pictures of a folder, in the order in which they were taken (`stills_of`)."""

    moving = False

    def __init__(self, folder: Path, mirrored: bool = False) -> None:
        self.name = folder.name
        self._mirrored = mirrored
        self._paths = stills_of(folder)

    def frames(self) -> Iterator[Frame]:
        """All pictures, one a second. Raises SourceError for one that cannot be read."""
        for number, path in enumerate(self._paths):
            rgb = read_picture(path)
            if self._mirrored:
                rgb = np.ascontiguousarray(rgb[:, ::-1])
            luma = (rgb @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)).round()
            yield Frame(float(number), luma.astype(np.uint8), lambda rgb=rgb: rgb)  # type: ignore[misc]


def _luma(shown: VideoFrame) -> tuple[Luma, bool]:
    """(h, w) code values, of the usual formats without conversion; whether they are narrow."""
    if shown.format.name not in ("yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "nv12"):
        return np.asarray(shown.to_ndarray(format="gray")), False
    plane = shown.planes[0]
    luma = np.frombuffer(memoryview(plane), np.uint8).reshape(plane.height, plane.line_size)[
        :, : plane.width
    ]
    full = shown.format.name.startswith("yuvj") or int(shown.color_range) == _FULL_RANGE
    return luma, not full


_FULL_RANGE = 2  # AVCOL_RANGE_JPEG of FFmpeg


@lru_cache(maxsize=2)
def linear_of_code(narrow: bool = False) -> NDArray[np.float32]:
    """(256,) linear light 0…1 of code values: of sRGB, which films' curves resemble."""
    code = np.arange(256.0)
    share = np.clip((code - 16) / 219, 0, 1) if narrow else code / 255
    return srgb_to_linear(share).astype(np.float32)
