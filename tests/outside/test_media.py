"""Exported files, read by other decoders, and compared with their standards.

GIF, APNG and PNG are written by Pillow and read by FFmpeg (through PyAV) and OpenCV; MP4 is
written by FFmpeg and read by OpenCV's own copy of it, and by hand from its bytes.
"""

from __future__ import annotations

import struct
from fractions import Fraction

import av
import cv2
import numpy as np
import pytest
from PIL import Image

from emulator import load_display
from emulator.light.look import Look
from emulator.light.wall import WallView
from emulator.recording.disk import DiskRecorder
from emulator.recording.export import export
from emulator.recording.recording import load_recording

FOYER = load_display("foyer")
TIMES_MS = [0, 40, 70, 500, 530]  # 10 ms apart at least, so that a GIF can tell them
CELL = 10  # pixels of a cell in a picture 360 wide


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("media")


@pytest.fixture(scope="module")
def recording(folder):
    """Five frames, each cell in one of 27 colours: few enough for the palette of a GIF."""
    levels = np.random.default_rng(7).integers(0, 3, (5, FOYER.leds, 3))
    with DiskRecorder(folder / "rec", FOYER) as recorder:
        recorder.extend(
            np.array(TIMES_MS) * 1_000_000, np.array([0, 90, 220], dtype=np.uint8)[levels]
        )
    return load_recording(folder / "rec")


@pytest.fixture(scope="module")
def exported(folder, recording):
    """Paths of every format, as drives."""
    paths = {form: folder / f"drives.{form}" for form in ("gif", "apng", "mp4", "png")}
    for form, path in paths.items():
        export(recording, path, kind="drives", at_s=0.5 if form == "png" else None)
    return paths


def cells(picture):
    """(rows, columns, 3) the colours in the middle of each cell of a picture 360 wide."""
    return np.asarray(picture)[CELL // 2 :: CELL, CELL // 2 :: CELL].astype(int)


def drives(recording, frame):
    """(rows, columns, 3) what was asked for, placed by the wiring of the display, not by ours."""
    shown = np.zeros(FOYER.picture_shape, dtype=int)
    shown[FOYER.wiring.row, FOYER.wiring.column] = recording.drives[frame]
    return shown


def by_pyav(path):
    """(RGB pictures, times in s) as FFmpeg decodes a file."""
    with av.open(str(path)) as film:
        frames = [
            (frame.to_ndarray(format="rgb24"), float(frame.pts * frame.time_base))
            for frame in film.decode(video=0)
        ]
    return [picture for picture, _ in frames], [time for _, time in frames]


def by_opencv(path):
    """(RGB pictures, times in s) as OpenCV decodes a film."""
    film, pictures, times = cv2.VideoCapture(str(path)), [], []
    while True:
        more, picture = film.read()
        if not more:
            film.release()
            return pictures, times
        pictures.append(picture[..., ::-1])
        times.append(film.get(cv2.CAP_PROP_POS_MSEC) / 1000)


@pytest.mark.parametrize("form", ["gif", "apng"])
def test_ffmpeg_reads_animations_with_all_colours_and_times(exported, recording, form):
    pictures, times = by_pyav(exported[form])
    assert times == pytest.approx([ms / 1000 for ms in TIMES_MS], abs=1e-9)
    for frame, picture in enumerate(pictures):
        assert (cells(picture) == drives(recording, frame)).all()


@pytest.mark.parametrize("form", ["gif", "apng", "png"])
def test_pillow_reads_what_was_written(exported, recording, form):
    with Image.open(exported[form]) as image:
        frames = getattr(image, "n_frames", 1)
        assert frames == (1 if form == "png" else 5)
        for number in range(frames):
            image.seek(number)
            shown = 3 if form == "png" else number  # frame 3 is shown at 0.5 s
            assert (cells(image.convert("RGB")) == drives(recording, shown)).all()


def test_opencv_reads_a_still(exported, recording):
    picture = cv2.imread(str(exported["png"]))
    assert picture.shape == (200, 360, 3)
    assert (cells(picture[..., ::-1]) == drives(recording, 3)).all()


@pytest.mark.parametrize("read", [by_pyav, by_opencv])
def test_two_readers_find_every_frame_of_a_film_at_its_time_and_in_its_colours(
    exported, recording, read
):
    pictures, times = read(exported["mp4"])
    assert times == pytest.approx([ms / 1000 for ms in TIMES_MS], abs=1e-6)
    for frame, picture in enumerate(pictures):
        assert picture.shape == (200, 360, 3)
        off = np.abs(cells(picture) - drives(recording, frame))
        # H.264 is lossy, and 4:2:0 has one colour for four pixels; this noise is its worst case.
        assert off.mean() < 2
        assert off.max() < 20


def test_a_film_of_light_looks_like_the_wall(folder, recording):
    path = folder / "light.mp4"
    export(recording, path)
    view = WallView(FOYER, 360, Look(led_colours=True))
    for read in (by_pyav, by_opencv):
        for frame, picture in enumerate(read(path)[0]):
            wall = view.draw(recording.cells(frame)).astype(int)
            # 4:2:0 smears colours at the edges of cells, but not luma (weights of BT.709).
            luma = np.abs((picture.astype(int) - wall) @ [0.2126, 0.7152, 0.0722])
            assert luma.mean() < 3
            assert np.abs(cells(picture) - cells(wall)).mean() < 3


def test_luma_and_chroma_are_those_of_bt_709(exported, recording):
    # ITU-R BT.709-6, 3.2 and 3.5: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', Cb = (B' - Y') / 1.8556,
    # Cr = (R' - Y') / 1.5748; 8 bits: Y' on 16…235, colour differences on 16…240 around 128.
    with av.open(str(exported["mp4"])) as film:
        frame = next(film.decode(video=0))
    assert frame.format.name == "yuv420p"
    red, green, blue = np.moveaxis(drives(recording, 0) / 255, -1, 0)
    luma = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    wanted = (
        219 * luma + 16,
        224 * (blue - luma) / 1.8556 + 128,
        224 * (red - luma) / 1.5748 + 128,
    )
    for plane, want, cell in zip(frame.planes, wanted, (10, 5, 5), strict=True):
        rows = np.frombuffer(plane, np.uint8).reshape(-1, plane.line_size)[:, : plane.width]
        middle = rows[cell // 2 :: cell, cell // 2 :: cell].astype(float)
        assert np.abs(middle - want).mean() < 1.5


def boxes(data):
    """(type, content) of each box: ISO/IEC 14496-12, 4.2: size, type, and a large size after 1."""
    at = 0
    while at < len(data):
        size, kind = struct.unpack_from(">I4s", data, at)
        head = 8
        if size == 1:
            (size,) = struct.unpack_from(">Q", data, at + 8)
            head = 16
        yield kind.decode(), data[at + head : at + size]
        at += size


def inside(data, *path):
    for kind in path:
        data = dict(boxes(data))[kind]
    return data


def test_the_bytes_of_a_film_say_so_by_the_standard_of_the_file(exported):
    data = exported["mp4"].read_bytes()
    order = [kind for kind, _ in boxes(data)]
    assert order.index("moov") < order.index("mdat"), "a player can begin before it has all"
    media = inside(data, "moov", "trak", "mdia")
    # ISO/IEC 14496-12, 8.4.2 (version 0): creation, modification, timescale, duration.
    (ticks_per_s,) = struct.unpack_from(">I", inside(media, "mdhd"), 12)
    table = inside(media, "minf", "stbl")
    # 8.6.1.2: version and flags, count of entries, then (count, delta) each.
    times = inside(table, "stts")
    (count,) = struct.unpack_from(">I", times, 4)
    deltas = []
    for n, delta in struct.iter_unpack(">II", times[8 : 8 + 8 * count]):
        deltas += [Fraction(delta, ticks_per_s)] * n
    last = Fraction(530, 4 * 1000)  # as long as the four before it on average, to the microsecond
    assert deltas == [Fraction(ms, 1000) for ms in (40, 30, 430, 30)] + [last]
    assert "ctts" not in dict(boxes(table)), "frames are decoded in the order of their times"
    # 8.5.2 and 12.1.3: an entry of avc1 with width and height after 24 bytes; H.273 in its colr.
    entries = inside(table, "stsd")[8:]
    assert entries[4:8] == b"avc1"
    assert struct.unpack_from(">HH", entries, 32) == (360, 200)
    assert b"colrnclx" + struct.pack(">HHHB", 1, 13, 1, 0) in entries
