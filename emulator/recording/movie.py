"""MP4 films, by PyAV, an interface to FFmpeg's libraries; the extra `[video]` installs it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Literal

import numpy as np

from emulator.arrays import Srgb
from emulator.errors import RecordingError, of_extra
from emulator.files import MARK
from emulator.recording.pace import Moments

if TYPE_CHECKING:
    from av import VideoFrame  # of the extra `video`


# Values of ITU-T H.273: colours and matrix of BT.709, the transfer curve of sRGB.
_BT709, _SRGB_CURVE = 1, 13


@dataclass(frozen=True)
class Encoder:
    """An encoder of FFmpeg by name, with its ticks a second and its options for good pictures."""

    name: Literal["libx264", "mpeg4"]
    ticks_per_s: int
    options: dict[str, str]


# H.264 if the library has it. MPEG-4 counts time in 16 bits a second (ISO/IEC 14496-2). With both
# settings a cell in a colour of its own keeps that colour to about one code value in a hundred.
_ENCODERS = (
    Encoder("libx264", 1_000_000, {"crf": "12"}),
    Encoder("mpeg4", 60_000, {"flags": "+qscale", "global_quality": "236"}),
)


def encoder() -> Encoder:
    """The best encoder that the installed PyAV has.

    Raises RecordingError if PyAV is missing or has none.
    """
    problem, instead = "an MP4 needs PyAV, which is not installed", "write a .gif or .apng"
    with of_extra("video", problem, kind=RecordingError, instead=instead):
        from av.codec.codec import Codec, UnknownCodecError  # slow to load
    for found in _ENCODERS:
        try:
            Codec(found.name, "w")
        except UnknownCodecError:
            continue
        return found
    raise RecordingError(
        f"the installed PyAV has no encoder of {', '.join(each.name for each in _ENCODERS)}",
        fix="pip install --force-reinstall 'foreglow[video]', or write a .gif or .apng.",
    )


def write_movie(
    path: Path, pictures: Iterable[Srgb], moments: Moments, size: tuple[int, int], by: Encoder
) -> None:
    """Write an MP4 of sRGB pictures (height, width, 3), each shown from its moment to the next.

    moments: (K + 1,) in ticks of the encoder, from 0. size: width and height; an odd one gets a
    dark column or row, since 4:2:0 halves the colours. Only one picture is in memory at a time. The
    index comes first in the file, so that a player can start before it has the whole file.

    Raises RecordingError if the encoder cannot use the size, and OSError.
    """
    import av  # of the extra `video`
    from av.error import FFmpegError

    wide, high = (side + side % 2 for side in size)
    ticks = Fraction(1, by.ticks_per_s)
    lasts = iter(np.diff(moments))  # durations; packets come in the order of the pictures
    with av.open(str(path), "w", format="mp4", options={"movflags": "+faststart"}) as film:
        film.metadata["comment"] = MARK
        stream = film.add_stream(by.name, options=by.options)
        context = stream.codec_context
        context.width, context.height, context.pix_fmt = wide, high, "yuv420p"
        context.time_base = stream.time_base = ticks
        context.max_b_frames = 0
        context.colorspace = context.color_primaries = _BT709
        context.color_trc, context.color_range = _SRGB_CURVE, 1
        try:
            context.open()
        except FFmpegError as error:
            raise RecordingError(
                f"{by.name} cannot make a video of {wide} × {high} pixels ({error})",
                fix="make it less wide.",
            ) from error
        frames = (
            _frame(picture, wide, high, int(moment), ticks)
            for picture, moment in zip(pictures, moments[:-1], strict=True)
        )
        for frame in itertools.chain(frames, [None]):  # None: write what the encoder still has
            for packet in stream.encode(frame):
                packet.duration = int(next(lasts))
                film.mux(packet)


def _frame(picture: Srgb, wide: int, high: int, moment: int, ticks: Fraction) -> VideoFrame:
    from av import VideoFrame  # of the extra `video`

    beside = ((0, high - picture.shape[0]), (0, wide - picture.shape[1]), (0, 0))
    frame = VideoFrame.from_ndarray(np.pad(picture, beside), format="rgb24").reformat(
        format="yuv420p",
        dst_colorspace=_BT709,
        dst_color_range="MPEG",
        dst_color_primaries=_BT709,
        dst_color_trc=_SRGB_CURVE,
        interpolation="AREA",
    )
    frame.pts, frame.time_base = moment, ticks
    return frame
