"""Films and stills as files, as telephones and webcams write them."""

from __future__ import annotations

import itertools
import struct
from collections.abc import Iterable
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import av
import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tests.harness.survey.filming.settings import Clip, Setting

Picture = NDArray[np.uint8]
_TICKS = 90_000  # a second, as telephones count in MP4
_CODECS = {"h264": "libx264", "hevc": "libx265", "mjpeg": "mjpeg", "vp8": "vp8"}


def write_film(path: Path, frames: Iterable[tuple[float, Picture]], setting: Setting) -> int:
    """Write (time in s, frame (h, w, 3) uint8 RGB); returns how many there were.

    The name's ending chooses the container. Times become timestamps as they are.
    """
    clip = setting.clip
    frames = iter(frames)
    first = next(frames)
    count = 0
    with av.open(str(path), "w") as container:
        stream = container.add_stream(_CODECS[clip.codec], rate=max(round(clip.fps), 1))
        stream.width, stream.height = first[1].shape[1] // 2 * 2, first[1].shape[0] // 2 * 2
        stream.pix_fmt = "yuvj420p" if clip.codec == "mjpeg" else "yuv420p"
        stream.bit_rate = int(clip.mbit * 1e6)
        stream.codec_context.time_base = stream.time_base = Fraction(1, _TICKS)
        if clip.codec in ("h264", "hevc"):
            # As telephones, which have no time for more. At these rates, slower presets came out
            # no nearer to the frames (within 0.2 dB).
            stream.options = {"preset": "ultrafast", "threads": "1"}
        for time_s, picture in itertools.chain([first], frames):
            # BT.601, half of the lines and columns of colour.
            planes = cv2.cvtColor(picture, cv2.COLOR_RGB2YUV_I420)
            frame = av.VideoFrame.from_ndarray(planes, format="yuv420p")
            frame.time_base, frame.pts = Fraction(1, _TICKS), round(time_s * _TICKS)
            container.mux(stream.encode(frame))
            count += 1
        container.mux(stream.encode(None))
    if clip.rotation_deg:
        flag_rotation(path, clip)
    return count


def flag_rotation(path: Path, clip: Clip) -> None:
    """Write the turn into the display matrix of an MP4's track (ISO/IEC 14496-12, 8.3.2).

    The matrix is (a b u; c d v; x y w), 16.16 except the last column; a player turns the picture
    clockwise by rotation_deg.
    """
    cos, sin = {90: (0, 1), 180: (-1, 0), 270: (0, -1)}[clip.rotation_deg]
    one = 1 << 16
    matrix = struct.pack(">9i", cos * one, sin * one, 0, -sin * one, cos * one, 0, 0, 0, 1 << 30)
    data = bytearray(path.read_bytes())
    begin = data.index(b"tkhd") + 4
    # Version and flags, five fields of times and number, then 8 reserved and 8 of layer and volume.
    begin += 4 + (32 if data[begin] == 1 else 20) + 16
    data[begin : begin + 36] = matrix
    path.write_bytes(data)


def write_stills(
    folder: Path, frames: Iterable[tuple[float, Picture]], names: Iterable[str], turned: int = 0
) -> list[Path]:
    """Each frame as a JPEG of its own, in a folder, with the time in its Exif data.

    names: of the files, in order. turned: degrees clockwise that a viewer has to turn it.
    """
    paths = []
    begin = datetime(2026, 5, 14, 20, 31, 7)
    for (time_s, picture), name in zip(frames, names, strict=False):
        exif = Image.Exif()
        when = begin + timedelta(seconds=time_s)
        # Exif 2.32, from memory: 274 orientation, 306 time, in 34665 its finer parts.
        exif[274] = {0: 1, 90: 6, 180: 3, 270: 8}[turned]
        exif[306] = when.strftime("%Y:%m:%d %H:%M:%S")
        exif.get_ifd(34665)[36867] = exif[306]
        exif.get_ifd(34665)[37521] = f"{when.microsecond // 1000:03d}"
        paths.append(folder / name)
        still = Image.fromarray(picture)
        still.save(paths[-1], "JPEG", quality=88, subsampling="4:2:0", exif=exif)
    return paths
