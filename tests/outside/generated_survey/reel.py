"""Writes pictures as a film or as stills."""

import struct
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path

import numpy as np

CODECS = {
    "h264": ("libx264", ".mp4"),
    "hevc": ("libx265", ".mp4"),
    "mjpeg": ("mjpeg", ".avi"),
    "vp9": ("libvpx-vp9", ".webm"),
}


def film(
    path: Path,
    frames: Iterable[tuple[float, np.ndarray]],
    fps: float,
    codec: str,
    kbit: int,
    quarter_turns: int = 0,
) -> None:
    """Writes (seconds, picture) frames; the file tells players by how many quarters to turn
    them."""
    import av

    name, _ = CODECS[codec]
    options = {
        "libx264": {"preset": "ultrafast"},
        "libx265": {"preset": "ultrafast", "x265-params": "log-level=none"},
    }
    options |= {"libvpx-vp9": {"deadline": "realtime", "cpu-used": "8"}}
    ticks = Fraction(1, 600) if codec != "mjpeg" else Fraction(1, round(fps))
    with av.open(str(path), "w") as container:
        stream, last = None, -1
        for seconds, picture in frames:
            picture = np.ascontiguousarray(np.rot90(picture, quarter_turns))
            if stream is None:
                stream = container.add_stream(name, rate=round(fps), options=options.get(name, {}))
                stream.height, stream.width = picture.shape[:2]
                stream.pix_fmt = "yuvj420p" if codec == "mjpeg" else "yuv420p"
                stream.bit_rate = kbit * 1000
                stream.codec_context.time_base = ticks
            frame = av.VideoFrame.from_ndarray(picture, format="rgb24")
            last = max(last + 1, round(seconds / ticks))
            frame.pts, frame.time_base = last, ticks
            container.mux(stream.encode(frame))
        if stream is not None:
            container.mux(stream.encode(None))
    if quarter_turns % 4:
        _flag(path, quarter_turns % 4)


def _flag(path: Path, quarter_turns: int) -> None:
    """Writes the turn into the track header's matrix (ISO 14496-12, 8.3.2)."""
    whole = bytearray(path.read_bytes())
    at = whole.index(b"tkhd") + 4
    matrix = at + (52 if whole[at] else 40)
    one = 1 << 16
    turn = {1: (0, one, -one, 0), 2: (-one, 0, 0, -one), 3: (0, -one, one, 0)}[quarter_turns]
    a, b, c, d = turn
    whole[matrix : matrix + 36] = struct.pack(">9i", a, b, 0, c, d, 0, 0, 0, 1 << 30)
    path.write_bytes(whole)


def stills(folder: Path, frames: Iterable[tuple[float, np.ndarray]], suffix: str) -> None:
    """Writes one file a picture, numbered as cameras do."""
    from PIL import Image

    folder.mkdir()
    for number, (_, picture) in enumerate(frames):
        quality = {"quality": 90} if suffix == ".jpg" else {}
        Image.fromarray(picture).save(folder / f"IMG_{number + 1207:04}{suffix}", **quality)
